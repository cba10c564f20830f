//! `analyze --bars`: harmonies on the file's own bars and beats.

use serde_json::Value;
use std::process::Command;

/// A file in 4/4, if `signed`: each chord for so many quarters, at 120.
fn file(signed: bool) -> Vec<u8> {
    let chords: [(&[u8], u16); 5] = [
        (&[38, 53, 57, 60], 2),
        (&[43, 53, 59, 62], 2),
        (&[36, 52, 55, 60], 8),
        (&[41, 53, 57, 60], 4),
        (&[36, 52, 55, 60], 4),
    ];
    let mut track = Vec::new();
    if signed {
        // FF 58 04 nn dd cc bb (Standard MIDI Files 1.0).
        track.extend([0x00, 0xff, 0x58, 0x04, 4, 2, 24, 8]);
    }
    for (keys, quarters) in chords {
        for &key in keys {
            track.extend([0x00, 0x90, key, 80]);
        }
        // 96 ticks to the quarter.
        let ticks = 96 * quarters;
        let mut delta = vec![0x80 | (ticks >> 7) as u8, (ticks & 0x7f) as u8];
        for &key in keys {
            track.append(&mut delta);
            track.extend([0x80, key, 0]);
            delta = vec![0x00];
        }
    }
    whole(track)
}

/// A file of one track.
fn whole(mut track: Vec<u8>) -> Vec<u8> {
    track.extend([0x00, 0xff, 0x2f, 0x00]);
    let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec();
    bytes.extend((track.len() as u32).to_be_bytes());
    bytes.extend(track);
    bytes
}

/// What `analyze` prints of such a file, on standard output and standard error, and whether all
/// was well.
fn analyze(signed: bool, args: &[&str]) -> (String, String, bool) {
    analyze_bytes(&file(signed), args)
}

fn analyze_bytes(bytes: &[u8], args: &[&str]) -> (String, String, bool) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("sheet.mid"), bytes).expect("a file");
    let out = Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .current_dir(folder.path())
        .args(["analyze", "sheet.mid"])
        .args(args)
        .env("HOME", folder.path())
        .env("XDG_CONFIG_HOME", folder.path())
        .output()
        .expect("the program starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (text(&out.stdout), text(&out.stderr), out.status.success())
}

/// Bar and beat of each harmony in a list of the JSON.
fn places(list: &Value) -> Vec<(u64, f64)> {
    let place = |h: &Value| Some((h["bar"].as_u64()?, h["beat"].as_f64()?));
    let list = list.as_array().expect("a list").iter();
    list.filter_map(place).collect()
}

#[test]
fn harmonies_stand_on_the_bars_of_the_file() {
    let (text, said, well) = analyze(true, &["--bars"]);
    assert!(well && said.is_empty(), "{said}");
    let (_, sheet) = text
        .split_once("  bar by bar, in hindsight\n")
        .expect("a sheet");
    let bars: Vec<&str> = sheet.split('|').map(str::trim).collect();
    assert_eq!(bars, ["1", "Dm7 / G7 /", "C", "%", "F", "5", "C", ""]);

    let (text, _, _) = analyze(true, &["--bars", "--format", "json"]);
    let json: Value = serde_json::from_str(&text).expect("JSON");
    let wanted = [(1, 1.0), (1, 3.0), (2, 1.0), (4, 1.0), (5, 1.0)];
    assert_eq!(places(&json["hindsight"]["harmonies"]), wanted);
    assert_eq!(places(&json["harmonies"]), []);
}

#[test]
fn bars_are_not_counted_unasked() {
    let (text, _, _) = analyze(true, &[]);
    assert!(
        text.contains("harmonies at their own pace, in hindsight"),
        "{text}"
    );
    assert!(!text.contains("bar by bar"), "{text}");
    let (text, _, _) = analyze(true, &["--format", "json"]);
    let json: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(places(&json["hindsight"]["harmonies"]), []);
}

#[test]
fn without_bars_the_file_is_said_to_have_none() {
    let (text, said, well) = analyze(false, &["--bars"]);
    let wanted = "peregrinus: sheet.mid: has no time signature and no click, and so no bars: leave --bars out\n";
    assert_eq!((text.as_str(), said.as_str(), well), ("", wanted, false));
    let (_, said, well) = analyze(true, &["--bars", "--format", "romantext"]);
    assert!(!well && said.contains("counts seconds, not bars"), "{said}");
}

/// A quarter of a microsecond, and one chord through 268 million ticks of it.
#[test]
fn a_tempo_out_of_proportion_makes_no_endless_sheet() {
    let mut track = vec![0x00, 0xff, 0x58, 0x04, 4, 2, 24, 8];
    track.extend([0x00, 0xff, 0x51, 0x03, 0, 0, 1]);
    for key in [48, 64, 67] {
        track.extend([0x00, 0x90, key, 80]);
    }
    let mut delta = vec![0xff, 0xff, 0xff, 0x7f];
    for key in [48, 64, 67] {
        track.append(&mut delta);
        track.extend([0x80, key, 0]);
        delta = vec![0x00];
    }
    let (text, said, well) = analyze_bytes(&whole(track), &["--bars"]);
    assert!(well && said.is_empty(), "{said}");
    let end = "    more than 10,000 bars, as with a wrong tempo: not written\n";
    assert!(text.ends_with(end), "{}", text.len());
}
