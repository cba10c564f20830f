//! `analyze --format romantext`: whole documents, read by music21.

use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

#[path = "python/mod.rs"]
mod python;
use python::Python;

fn recordings() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings")
}

fn peregrinus(args: &[&str]) -> Output {
    let folder = tempfile::tempdir().expect("a folder");
    Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(args)
        .env("HOME", folder.path())
        .env("XDG_CONFIG_HOME", folder.path())
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

/// The document of a file, and its harmonies in hindsight as the JSON has them.
fn analyzed(file: &str) -> (String, Vec<Value>) {
    let out = peregrinus(&["analyze", file, "--format", "romantext"]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let all = peregrinus(&["analyze", file, "--format", "json"]);
    let all: Value = serde_json::from_slice(&all.stdout).expect("JSON");
    let chords = all["hindsight"]["harmonies"].as_array().expect("chords");
    (text(&out.stdout), chords.clone())
}

/// `E♭` to 3.
fn pitch_class(name: &str) -> i64 {
    let mut signs = name.chars();
    let letter = signs.next().and_then(|l| "C D EF G A B".find(l));
    let alter: i64 = signs.map(|s| if s == '♯' { 1 } else { -1 }).sum();
    (letter.expect("a letter") as i64 + alter).rem_euclid(12)
}

fn asked(document: &str, chords: &[Value]) -> String {
    let chords: Vec<Value> = chords
        .iter()
        .map(|c| {
            let notes = c["notes"].as_array().expect("notes").iter();
            let pcs: Vec<i64> = notes
                .map(|n| pitch_class(n.as_str().expect("a name")))
                .collect();
            json!({"start": c["start"], "pcs": pcs, "bass": c["bass"], "label": c["label"]})
        })
        .collect();
    json!({"document": document, "chords": chords}).to_string()
}

const CHECK: &str = "python/check_roman_document.py";

/// All études: music21 reads every chord that was said as the notes over the bass that
/// the JSON has; the others are written as notes, and the header counts them.
#[test]
fn music21_reads_the_etudes_chord_by_chord() {
    let mut files: Vec<PathBuf> = std::fs::read_dir(recordings())
        .expect("the études")
        .map(|e| e.expect("an étude").path())
        .filter(|p| p.extension().is_some_and(|e| e == "mid"))
        .collect();
    files.sort();
    assert_eq!(files.len(), 5);
    let (mut said, mut of) = (0, 0);
    for file in files {
        let file = file.display().to_string();
        let (document, chords) = analyzed(&file);
        let told = python::run(Python::Checks, CHECK, &[], &asked(&document, &chords));
        let told: Value = serde_json::from_str(&told).expect("JSON");
        let read = told["said"].as_u64().expect("a number") as usize;
        let unsaid = told["unsaid"].as_array().expect("a list");
        println!("{file}: {read} of {} said; not {unsaid:?}", chords.len());
        let head = format!("Note: {read} of {} harmonies have a numeral;", chords.len());
        assert!(document.contains(&head), "{head} is not in\n{document}");
        assert_eq!(read + unsaid.len(), chords.len());
        said += read;
        of += chords.len();
    }
    assert!(of > 100, "{of}");
    assert!(10 * said >= 8 * of, "{said} of {of}");
}

/// The check can fail: with another chord, a chord too many, and one too few.
#[test]
fn the_check_tells_what_is_wrong() {
    let file = recordings().join("01_one_hearth.mid");
    let (document, chords) = analyzed(&file.display().to_string());
    let first = chords
        .iter()
        .position(|c| !c["numeral"].is_null())
        .expect("a chord");
    let mut wrong = chords.clone();
    wrong[first]["bass"] = json!((wrong[first]["bass"].as_u64().expect("a bass") + 1) % 12);
    let said = python::fails(Python::Checks, CHECK, &[], &asked(&document, &wrong));
    assert!(said.contains(" over "), "{said}");
    let mut few = chords.clone();
    few.remove(first);
    let said = python::fails(Python::Checks, CHECK, &[], &asked(&document, &few));
    assert!(said.contains("chords were read"), "{said}");
    let mut many = chords;
    let mut late = many[first].clone();
    late["start"] = json!(100_000.0);
    many.push(late);
    let said = python::fails(Python::Checks, CHECK, &[], &asked(&document, &many));
    assert!(said.contains("neither a chord nor told"), "{said}");
}

#[test]
fn one_file_makes_one_document() {
    let folder = recordings().display().to_string();
    for (args, words) in [
        (
            vec!["analyze", folder.as_str(), "--format", "romantext"],
            "these are 5; call it once for each file",
        ),
        (
            vec!["analyze", "a.mid", "--format", "romantext", "--voicings"],
            "leave --voicings out",
        ),
    ] {
        let out = peregrinus(&args);
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        assert_eq!(text(&out.stdout), "");
        assert!(text(&out.stderr).contains(words), "{}", text(&out.stderr));
    }
}

/// What could be read of a damaged file is printed, and that it is damaged stands in it.
#[test]
fn a_damaged_file_says_so_in_its_document() {
    let folder = tempfile::tempdir().expect("a folder");
    let whole = std::fs::read(recordings().join("01_one_hearth.mid")).expect("an étude");
    let cut = folder.path().join("cut.mid");
    std::fs::write(&cut, &whole[..whole.len() / 2]).expect("written");
    let name = cut.display().to_string();
    let out = peregrinus(&["analyze", &name, "--format", "romantext"]);
    assert_eq!(out.status.code(), Some(1));
    let document = text(&out.stdout);
    assert!(document.starts_with("Title: cut\n"), "{document}");
    assert!(
        document.contains("\nNote: the recording is damaged: "),
        "{document}"
    );
    assert!(document.contains("\nm1 "), "{document}");
}

/// A recording without a note is a document all the same.
#[test]
fn music21_reads_a_recording_without_chords() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("m1 empty.mid");
    // A header, and a track that only ends.
    let bytes = [
        b"MThd".as_slice(),
        &[0, 0, 0, 6, 0, 0, 0, 1, 1, 0xe0],
        b"MTrk",
        &[0, 0, 0, 4, 0, 0xff, 0x2f, 0],
    ];
    std::fs::write(&file, bytes.concat()).expect("written");
    let (document, chords) = analyzed(&file.display().to_string());
    assert!(document.ends_with("\nm1 NC\n"), "{document}");
    let told = python::run(Python::Checks, CHECK, &[], &asked(&document, &chords));
    assert_eq!(told.trim(), r#"{"said": 0, "unsaid": []}"#);
}
