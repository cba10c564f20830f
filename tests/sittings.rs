//! `peregrinus sittings` from end to end, and sittings where a file is asked for.

use midly::{MetaMessage, TrackEventKind};
use peregrinus::engine::Event;
use peregrinus::meter::{Click, Meter, Tempo};
use peregrinus::midi;
use peregrinus::recording::Writer;
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use serde_json::Value;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// A home of its own for each test.
struct Home(tempfile::TempDir);

impl Home {
    fn new() -> Home {
        Home(tempfile::tempdir().unwrap())
    }

    /// With three of the études, played on three days; their ids.
    fn with_three() -> (Home, [String; 3]) {
        let home = Home::new();
        let days = [
            ("01_one_hearth", 1),
            ("02_seven_stones", 2),
            ("05_ferry_lamp", 3),
        ];
        let ids = days.map(|(etude, day)| {
            let copy = home.at(&format!("{etude}.mid"));
            std::fs::copy(
                Path::new(ROOT).join(format!("recordings/{etude}.mid")),
                &copy,
            )
            .unwrap();
            written(&copy, day);
            home.printed(&["sittings", "import", copy.to_str().unwrap()]);
            format!("2026-01-0{}_12-00-00", day + 1)
        });
        (home, ids)
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn folder(&self) -> PathBuf {
        self.at("data/peregrinus/sittings")
    }

    fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_peregrinus"))
            .args(args)
            .current_dir(self.0.path())
            .env("HOME", self.0.path())
            .env("XDG_CONFIG_HOME", self.at("config"))
            .env("XDG_DATA_HOME", self.at("data"))
            .env("XDG_STATE_HOME", self.at("state"))
            .env("TZ", "UTC")
            .env("USER", "anna")
            .stdin(Stdio::null())
            .output()
            .unwrap()
    }

    fn printed(&self, args: &[&str]) -> String {
        let output = self.run(args);
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && err.is_empty(), "{args:?}: {err}");
        String::from_utf8(output.stdout).unwrap()
    }

    fn json(&self, args: &[&str]) -> Value {
        let text = self.printed(&[args, &["--format", "json"]].concat());
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{args:?}: {e}: {text}"))
    }

    /// What is said on standard error, with the exit code.
    fn refused(&self, args: &[&str]) -> (i32, String) {
        let output = self.run(args);
        let err = String::from_utf8(output.stderr).unwrap();
        (output.status.code().unwrap(), err)
    }

    fn ids(&self, args: &[&str]) -> Vec<String> {
        let list = self.json(&[&["sittings", "list"], args].concat());
        let ids = list["sittings"].as_array().unwrap().iter();
        ids.map(|s| s["id"].as_str().unwrap().to_owned()).collect()
    }
}

/// At noon, so many days after the first of January 2026.
fn written(path: &Path, day: u64) {
    let noon = 1_767_225_600 + 43_200 + 86_400 * day;
    let file = std::fs::File::options().write(true).open(path).unwrap();
    file.set_modified(SystemTime::UNIX_EPOCH + Duration::from_secs(noon))
        .unwrap();
}

#[test]
fn the_list() {
    let (home, [a, b, c]) = Home::with_three();
    let list = home.printed(&["sittings"]);
    let lines: Vec<&str> = list.lines().collect();
    assert_eq!(lines.len(), 3, "{list}");
    for (line, (name, day)) in lines.iter().zip([
        ("05_ferry_lamp", "2026-01-04 12:00"),
        ("02_seven_stones", "2026-01-03 12:00"),
        ("01_one_hearth", "2026-01-02 12:00"),
    ]) {
        assert!(line.starts_with(name) && line.contains(day), "{line}");
        assert!(line.contains(" notes  "), "{line}");
    }
    assert!(
        lines[0].contains("1:02") && lines[0].contains("F Ionian – D♭ Ionian"),
        "{list}"
    );
    assert_eq!(home.printed(&["sittings", "list"]), list);
    assert_eq!(home.ids(&[]), [&*c, &b, &a]);
    for (args, wanted) in [
        (&["--limit", "2"][..], &[&c, &b][..]),
        (&["--since", "2026-01-03"], &[&c, &b]),
        (&["--until", "2026-01-03"], &[&b, &a]),
        (&["--until", "2026-01-03T12:00"], &[&a]),
        (&["--since", "2026-01-03", "--until", "2026-01-03"], &[&b]),
        (&["--center", "C#", "--mode", "ionian"], &[&c]),
        (&["--center", "Db", "--mode", "Ionian"], &[&c]),
        (&["--text", "FERRY"], &[&c]),
        (&["--text", "nowhere"], &[]),
    ] {
        let wanted: Vec<&str> = wanted.iter().map(|id| id.as_str()).collect();
        assert_eq!(home.ids(args), wanted, "{args:?}");
        let without = home.json(&[&["sittings"], args].concat());
        assert_eq!(without["sittings"].as_array().unwrap().len(), wanted.len());
    }
    let (code, said) = home.refused(&["sittings", "--text", "nowhere"]);
    assert_eq!((code, said.as_str()), (0, "peregrinus: no sitting fits\n"));
    for (args, said) in [
        (
            ["--since", "yestreen"],
            "--since yestreen: write a day, such as 2026-11-29",
        ),
        (["--center", "H#b"], "--center: "),
        (
            ["--mode", "dorain"],
            "--mode: unknown mode 'dorain'; did you mean dorian?",
        ),
    ] {
        let (code, err) = home.refused(&["sittings", args[0], args[1]]);
        assert!(code == 2 && err.contains(said), "{code}: {err}");
    }
}

#[test]
fn where_nothing_is_kept() {
    let home = Home::new();
    let (code, said) = home.refused(&["sittings"]);
    assert!(
        code == 0 && said.starts_with("peregrinus: no sittings yet in "),
        "{said}"
    );
    assert_eq!(home.json(&["sittings"])["sittings"], serde_json::json!([]));
    assert!(!home.folder().exists(), "looking makes nothing");
    let (code, said) = home.refused(&["sittings", "show", "last"]);
    assert_eq!(
        (code, &*said),
        (1, "peregrinus: last: there are no sittings yet\n")
    );
    // No hint where there is nothing to name.
    let (code, said) = home.refused(&["replay", "last"]);
    assert_eq!(code, 1);
    assert!(
        said.ends_with("last: there is no such file: check its name\n"),
        "{said}"
    );
    std::fs::create_dir_all(home.at("config/peregrinus")).unwrap();
    let settings = home.at("config/peregrinus/settings.toml");
    std::fs::write(settings, "[sittings]\nkeep = false\n").unwrap();
    let (code, said) = home.refused(&["sittings"]);
    assert_eq!(code, 0);
    assert!(
        said.contains("what is played is not kept: keep = false"),
        "{said}"
    );
}

#[test]
fn one_in_detail() {
    let (home, [_, _, id]) = Home::with_three();
    let shown = home.printed(&["sittings", "show", "ferry"]);
    let path = home.folder().join(format!("{id}.mid"));
    for says in [
        "05_ferry_lamp\n",
        &format!("  id      {id}\n"),
        "  played  2026-01-04 12:00\n",
        "  length  1:02\n",
        &format!("  file    {}\n", path.display()),
        "\nhere\n",
        "F Ionian\n",
        "\nhome\n",
    ] {
        assert!(shown.contains(says), "{says}: {shown}");
    }
    let json = home.json(&["sittings", "show", "last"]);
    assert_eq!(json["id"], id);
    assert_eq!(json["name"], "05_ferry_lamp");
    assert_eq!(json["begun"], "2026-01-04T12:00:00+00:00");
    assert_eq!(json["cut_off"], false);
    let here = json["here"].as_array().unwrap();
    assert_eq!(
        (&here[0]["label"], &here[0]["mode"]),
        (&"F Ionian".into(), &"ionian".into())
    );
    assert_eq!(json["bytes"], std::fs::metadata(&path).unwrap().len());
    // Its plan as heard is what analyze finds in the file.
    let etude = Path::new(ROOT).join("recordings/05_ferry_lamp.mid");
    let study = home.json(&["analyze", etude.to_str().unwrap()]);
    let regions = study["heard"]["regions"].as_array().unwrap();
    assert_eq!(regions.len(), here.len());
    for (region, stay) in regions.iter().zip(here) {
        for field in ["center", "mode"] {
            assert_eq!(region[field], stay[field]);
        }
        let apart = region["start"].as_f64().unwrap() - stay["start"].as_f64().unwrap();
        assert!(apart.abs() < 0.001, "{region} {stay}");
    }
    assert_eq!(
        home.printed(&["sittings", "path", "last"]),
        format!("{}\n", path.display())
    );
    let json = home.json(&["sittings", "path", "last"]);
    assert_eq!(json["file"], path.display().to_string());
    let (code, said) = home.refused(&["sittings", "show", "0"]);
    assert!(
        code == 1 && said.contains("this may be ") && said.contains(&id),
        "{said}"
    );
    let (code, said) = home.refused(&["sittings", "show", "last-4"]);
    assert_eq!(
        (code, &*said),
        (1, "peregrinus: last-4: there are only 3 sittings\n")
    );
}

/// The MIDI file is the truth: without the index nothing is lost.
#[test]
fn names_and_tags() {
    let (home, [a, _, _]) = Home::with_three();
    let music = std::fs::read(home.folder().join(format!("{a}.mid"))).unwrap();
    let renamed = home.printed(&["sittings", "rename", &a, "  Evening in E♭ "]);
    assert!(
        renamed.starts_with("Evening in E♭  2026-01-02"),
        "{renamed}"
    );
    home.printed(&["sittings", "tag", "evening", "blue", "slow"]);
    let json = home.json(&["sittings", "tag", "Evening in E♭", "slow", "--remove"]);
    assert_eq!(
        (&json["id"], &json["tags"]),
        (&a.as_str().into(), &serde_json::json!(["blue"]))
    );
    assert_eq!(home.ids(&["--text", "blue"]), [&*a]);
    for entry in std::fs::read_dir(home.folder()).unwrap() {
        let path = entry.unwrap().path();
        if path
            .file_name()
            .unwrap()
            .to_str()
            .unwrap()
            .starts_with("index")
        {
            std::fs::remove_file(path).unwrap();
        }
    }
    let json = home.json(&["sittings", "show", &a]);
    assert_eq!(
        (&json["name"], &json["tags"]),
        (&"Evening in E♭".into(), &serde_json::json!(["blue"]))
    );
    // What was played is as it was: but for the header's count of tracks, up to the facts.
    let changed = std::fs::read(home.folder().join(format!("{a}.mid"))).unwrap();
    let facts = |bytes: &[u8]| {
        bytes
            .windows(18)
            .position(|w| w == b"peregrinus sitting")
            .unwrap()
    };
    assert_eq!(music[..facts(&music) - 8], changed[..facts(&changed) - 8]);
    home.printed(&["sittings", "rename", &a, ""]);
    assert_eq!(home.json(&["sittings", "show", &a])["name"], Value::Null);
    for (words, said) in [
        (
            &["rename", &a, "a\nb"][..],
            "line break or another control character",
        ),
        (&["tag", &a, &"x".repeat(101)], "longer than 100 characters"),
        (&["tag", &a, " "], "a tag has at least one character"),
    ] {
        let (code, err) = home.refused(&[&["sittings"], words].concat());
        assert!(code == 2 && err.contains(said), "{code}: {err}");
    }
}

/// Bytes up to the track of what is known of a sitting, but for the header's count of tracks.
fn music(bytes: &[u8]) -> &[u8] {
    let facts = bytes.windows(18).position(|w| w == b"peregrinus sitting");
    &bytes[12..facts.unwrap() - 8]
}

/// Start, end, label and word of each region, and which have changed.
fn regions(json: &Value) -> Vec<(f64, f64, String, String, bool)> {
    let list = json["regions"].as_array().unwrap().iter();
    let text = |v: &Value| v.as_str().unwrap_or("-").to_owned();
    let seconds = |v: &Value| v.as_f64().unwrap();
    list.map(|r| {
        let (start, end) = (seconds(&r["start"]), seconds(&r["end"]));
        let changed = r["changed"].as_bool().unwrap();
        (start, end, text(&r["label"]), text(&r["word"]), changed)
    })
    .collect()
}

#[test]
fn a_plan_is_corrected_and_the_music_stays() {
    let (home, [_, _, id]) = Home::with_three();
    let file = home.folder().join(format!("{id}.mid"));
    let before = std::fs::read(&file).unwrap();
    let study = home.printed(&["analyze", file.to_str().unwrap()]);
    let hindsight = home.json(&["analyze", file.to_str().unwrap(), "--plan", "hindsight"]);
    let hindsight = hindsight["hindsight"]["regions"]
        .as_array()
        .unwrap()
        .clone();
    let correct = |args: &[&str]| home.json(&[&["sittings", "correct", "ferry"], args].concat());

    let json = correct(&["--at", "0:20", "G mixolydian", "--word", "Verse"]);
    assert_eq!(
        (&json["id"], &json["corrections"]),
        (&id.as_str().into(), &1.into())
    );
    let now = regions(&json);
    // The others are those of hindsight, and nothing is left out.
    let labels: Vec<&str> = now.iter().map(|r| &*r.2).collect();
    assert_eq!(labels, ["-", "G Mixolydian", "D♭ Ionian", "F Ionian"]);
    let ends: Vec<f64> = now.iter().map(|r| r.1).collect();
    let starts: Vec<f64> = now.iter().map(|r| r.0).collect();
    assert_eq!((starts[0], &starts[1..]), (0.0, &ends[..3]));
    for (region, now) in hindsight.iter().zip(&now[1..]) {
        assert!((region["start"].as_f64().unwrap() - now.0).abs() < 1e-6);
    }
    let changed: Vec<bool> = now.iter().map(|r| r.4).collect();
    assert_eq!(changed, [false, true, false, false]);
    let said = &json["regions"][1];
    assert_eq!(
        (&said["who"], &said["word"]),
        (&"anna".into(), &"Verse".into())
    );
    let when = said["when"].as_str().unwrap();
    assert!(
        when.parse::<jiff::Timestamp>().is_ok() && when.ends_with('Z'),
        "{when}"
    );
    assert_eq!(json["regions"][2]["who"], Value::Null);

    // Each of the others, and its way back.
    for (args, count, holds) in [
        (
            &["--from", "10", "--to", "0:15.5", "A minor"][..],
            6,
            "A minor",
        ),
        (&["--split", "0:40"], 5, "F Ionian"),
        (&["--border", "0:21", "--to", "19"], 4, "D♭ Ionian"),
        (&["--join", "0:30"], 3, "D♭ Ionian"),
        (&["--join", "0:30", "--previous"], 3, "D♭ Ionian"),
        (&["--at", "1:00", "--none"], 4, "-"),
        (&["--at", "1:00", "--word", "the end"], 4, "F Ionian"),
    ] {
        let there = regions(&correct(args));
        assert_eq!(there.len(), count, "{args:?}: {there:?}");
        assert!(
            there.iter().any(|r| r.4 && r.2 == holds),
            "{args:?}: {there:?}"
        );
        let back = regions(&correct(&["--undo"]));
        let same = |a: &[(f64, f64, String, String, bool)]| -> Vec<_> {
            a.iter()
                .map(|r| (r.0, r.1, r.2.clone(), r.3.clone()))
                .collect()
        };
        assert_eq!(same(&back), same(&now), "{args:?}");
    }

    // What was played, and what was heard, is as it was.
    let after = std::fs::read(&file).unwrap();
    assert_eq!(music(&before), music(&after));
    assert_eq!(home.printed(&["analyze", file.to_str().unwrap()]), study);
    let shown = home.json(&["sittings", "show", &id]);
    assert_eq!(shown["corrections"], 1);
    assert_eq!(home.ids(&["--corrected"]), [&*id]);
    assert!(
        home.printed(&["sittings"])
            .lines()
            .next()
            .unwrap()
            .ends_with("  corrected")
    );
    home.printed(&["sittings", "rebuild"]);
    assert_eq!(home.json(&["sittings", "show", &id]), shown);
    // A name goes well with it, and taking all back leaves nothing behind.
    home.printed(&["sittings", "rename", &id, "Lamp"]);
    assert_eq!(
        regions(&home.json(&["sittings", "show", &id, "--plan", "corrected"])).len(),
        4
    );
    home.printed(&["sittings", "rename", &id, "05_ferry_lamp"]);
    let told = home.printed(&["sittings", "correct", &id, "--split", "50"]);
    let line = "*   0:36.8    0:50.0  F Ionian  (";
    assert!(
        told.contains("2 corrections") && told.contains(line),
        "{told}"
    );
    let told = home.printed(&["sittings", "correct", &id, "--restore"]);
    assert!(told.contains("2 corrections taken back"), "{told}");
    assert_eq!(std::fs::read(&file).unwrap(), before);
    assert_eq!(home.ids(&["--corrected"]), [""; 0]);
}

#[test]
fn what_cannot_be_corrected_is_said() {
    let (home, [_, _, id]) = Home::with_three();
    let file = home.folder().join(format!("{id}.mid"));
    let before = std::fs::read(&file).unwrap();
    for (args, code, says) in [
        (
            &["--at", "0:20", "G mixolidian"][..],
            2,
            "did you mean mixolydian?",
        ),
        (
            &["--at", "0:2x", "G mixolydian"],
            2,
            "--at 0:2x: write a moment",
        ),
        (&["--at", "0:20"], 2, "--at needs what is so there"),
        (
            &["--from", "1", "--to", "2"],
            2,
            "--from and --to need what is so there",
        ),
        (
            &["--split", "3", "G mixolydian"],
            2,
            "correct one thing at a time",
        ),
        (
            &["--split", "3", "--to", "5"],
            2,
            "--to goes with --from or --border",
        ),
        (
            &["--at", "5:00", "--none"],
            1,
            "5:00.0 lies past the end, 1:02.8",
        ),
        (&["--undo"], 1, "nothing is corrected in this sitting"),
        (&["--restore"], 1, "nothing is corrected in this sitting"),
        (
            &["--at", "9", "--word", "a\nb"],
            2,
            "line break or another control character",
        ),
        (&[], 2, "--at <TIME>"),
    ] {
        let (ended, said) = home.refused(&[&["sittings", "correct", "last"], args].concat());
        assert!(
            ended == code && said.contains(says),
            "{args:?}: {ended}: {said}"
        );
    }
    assert_eq!(std::fs::read(&file).unwrap(), before);
    let (code, said) = home.refused(&["analyze", "last", "--plan", "corrected"]);
    assert!(
        code == 1 && said.contains("nobody has corrected its plan"),
        "{said}"
    );
    let (code, said) = home.refused(&["sittings", "show", "last", "--plan", "corrected"]);
    assert!(
        code == 1 && said.contains("nobody has corrected its plan"),
        "{said}"
    );
    let (code, said) = home.refused(&["sittings", "labels", "-o", "labels"]);
    assert!(
        code == 1 && said.contains("no sitting is corrected yet"),
        "{said}"
    );
    let (code, said) = home.refused(&["sittings", "labels", "-o", "labels", "last"]);
    assert!(
        code == 1 && said.contains("nobody has corrected its plan"),
        "{said}"
    );

    // Words that cannot be read: said, and the rest is used and kept.
    home.printed(&[
        "sittings",
        "correct",
        "last",
        "--at",
        "0:20",
        "G mixolydian",
    ]);
    let whole = std::fs::read(&file).unwrap();
    let word = b"G mixolydian";
    let place = whole.windows(word.len()).position(|w| w == word).unwrap();
    let mut bad = whole.clone();
    bad[place..place + word.len()].copy_from_slice(b"G myxolodian");
    std::fs::write(&file, &bad).unwrap();
    let output = home.run(&["analyze", "last", "--plan", "corrected", "--format", "json"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("G myxolodian' is not known here"), "{said}");
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let used = json["corrected"]["regions"].as_array().unwrap();
    let modes: Vec<&Value> = used.iter().map(|r| &r["mode"]).collect();
    assert_eq!(
        modes,
        ["ionian", "ionian"],
        "the region without a known mode claims nothing"
    );
    home.printed(&["sittings", "rename", "last", "Lamp"]);
    let kept = std::fs::read(&file).unwrap();
    assert!(kept.windows(word.len()).any(|w| w == b"G myxolodian"));
}

#[test]
fn all_is_read_by_the_plan_that_is_chosen() {
    let (home, [_, _, id]) = Home::with_three();
    home.printed(&[
        "sittings", "correct", &id, "--from", "0", "--to", "9:00", "C dorian",
    ]);
    let by = |plan| home.json(&["analyze", &id_file(&home, &id), "--plan", plan]);
    let (heard, hindsight, corrected) = (by("heard"), by("hindsight"), by("corrected"));
    let without = home.json(&["analyze", &id_file(&home, &id)]);
    for part in ["heard", "hindsight"] {
        for all in [&heard, &hindsight, &corrected] {
            assert_eq!(all[part], without[part]);
        }
    }
    for part in ["chords", "harmonies", "summary"] {
        assert_eq!(heard[part], without[part], "{part}");
    }
    assert_eq!(hindsight["chords"], without["hindsight"]["chords"]);
    assert_eq!(hindsight["harmonies"], without["hindsight"]["harmonies"]);
    assert_eq!(
        (&corrected["plan"], &without["plan"]),
        (&"corrected".into(), &Value::Null)
    );
    let one = &corrected["corrected"]["regions"];
    assert_eq!(one.as_array().unwrap().len(), 1);
    assert_eq!(
        (&one[0]["center"], &one[0]["who"]),
        (&0.into(), &"anna".into())
    );
    assert_eq!(corrected["corrected"]["home"][0]["mode"], "dorian");
    let share = &corrected["summary"]["tonalities"];
    assert_eq!(share.as_array().unwrap().len(), 1);
    assert_eq!(share[0]["name"], "C Dorian");
    // F is the tonic there, and the subdominant here.
    let numeral = |all: &Value| -> Value {
        let chords = all["chords"].as_array().unwrap();
        chords.iter().find(|c| c["label"] == "F").unwrap()["numeral"].clone()
    };
    assert_eq!(
        (numeral(&hindsight), numeral(&corrected)),
        ("I".into(), "IV".into())
    );
    let text = home.printed(&["analyze", &id_file(&home, &id), "--plan", "corrected"]);
    assert!(
        text.contains("  as corrected\n      0:00.0 –   1:02.8  C Dorian\n"),
        "{text}"
    );
    assert!(
        !text.contains("as heard") && !text.contains("in hindsight"),
        "{text}"
    );
    let args = [
        "analyze",
        &id_file(&home, &id),
        "--format",
        "romantext",
        "--plan",
    ];
    let document = home.printed(&[&args[..], &["corrected"]].concat());
    assert!(
        document.contains("Note: keys and numerals as corrected\n"),
        "{document}"
    );
    assert!(
        document.contains("C Dorian, written in minor"),
        "{document}"
    );
    let heard = home.json(&["sittings", "show", &id, "--plan", "heard"]);
    let plain = home.json(&["sittings", "show", &id]);
    assert_eq!(
        (&heard["here"], &heard["home"]),
        (&plain["here"], &plain["home"])
    );
    let shown = home.json(&["sittings", "show", &id, "--plan", "hindsight"]);
    assert_eq!(shown["here"][0]["label"], "F Ionian");
    let shown = home.printed(&["sittings", "show", &id, "--plan", "corrected"]);
    assert!(
        shown.contains("here, as corrected\n*") || shown.contains("here, as corrected\n "),
        "{shown}"
    );
    assert!(shown.contains("C Dorian  (20"), "{shown}");
}

fn id_file(home: &Home, id: &str) -> String {
    let path = home.folder().join(format!("{id}.mid"));
    path.to_str().unwrap().to_owned()
}

#[test]
fn corrected_sittings_become_labelled_music() {
    let (home, [a, _, c]) = Home::with_three();
    home.printed(&["sittings", "correct", &c, "--at", "0:20", "G mixolydian"]);
    home.printed(&["sittings", "correct", &a, "--at", "0:05", "--none"]);
    let json = home.json(&["sittings", "labels", "-o", "labels"]);
    let files = json["labels"].as_array().unwrap();
    assert_eq!(files.len(), 2);
    let told = home.printed(&["sittings", "labels", "-o", "labels", "ferry"]);
    assert!(told.ends_with("05_ferry_lamp, 3 labels\n"), "{told}");
    let text = std::fs::read_to_string(home.at(&format!("labels/{c}.jsonl"))).unwrap();
    let piece: Value = serde_json::from_str(text.trim_end()).unwrap();
    let corrected = home.json(&["sittings", "show", &c, "--plan", "corrected"]);
    let labelled = corrected["regions"].as_array().unwrap().iter();
    let labelled: Vec<Value> = labelled
        .filter(|r| !r["mode"].is_null())
        .map(|r| {
            ["start", "end", "center", "mode"]
                .iter()
                .map(|f| r[f].clone())
                .collect()
        })
        .collect();
    let segments = piece["segments"].as_array().unwrap().iter();
    let segments: Vec<Value> = segments
        .map(|s| {
            ["start", "end", "center", "mode"]
                .iter()
                .map(|f| s[f].clone())
                .collect()
        })
        .collect();
    assert_eq!(segments, labelled);
    // Every key that was struck is there.
    let notes = piece["notes"].as_array().unwrap();
    assert_eq!(notes.len() as u64, corrected["notes"].as_u64().unwrap());
    // No center where the listener says so.
    let text = std::fs::read_to_string(home.at(&format!("labels/{a}.jsonl"))).unwrap();
    assert!(text.contains("\"mode\":\"chromatic\""), "{text:.300}");
}

#[test]
fn deleting() {
    let (home, [a, b, c]) = Home::with_three();
    let (code, said) = home.refused(&["sittings", "delete", "last"]);
    assert!(code == 2 && said.contains("add --yes"), "{said}");
    // One that is not there: none goes.
    let (code, _) = home.refused(&["sittings", "delete", &a, "none of them", "--yes"]);
    assert_eq!((code, home.ids(&[]).len()), (1, 3));
    let json = home.json(&["sittings", "delete", &c, "last", "--yes"]);
    assert_eq!(
        json["deleted"],
        serde_json::json!([{"id": c, "to_trash": true}])
    );
    assert!(!home.folder().join(format!("{c}.mid")).exists());
    assert_eq!(
        home.printed(&["sittings", "delete", "seven", "--yes"]),
        "deleted 1 sitting\n"
    );
    assert_eq!(home.ids(&[]), [&*a]);
    #[cfg(target_os = "linux")]
    for id in [b, c] {
        let there = home.at(&format!("data/Trash/files/{id}.mid"));
        assert!(there.exists(), "{there:?}");
    }
}

/// Where the trash takes nothing a sitting stays, and why is said; only where there is no trash
/// at all is one deleted for good.
#[cfg(target_os = "linux")]
#[test]
fn what_cannot_go_to_the_trash_stays() {
    let (home, [a, b, c]) = Home::with_three();
    std::fs::write(home.at("data/Trash"), "in the way").unwrap();
    let (code, said) = home.refused(&["sittings", "delete", &c, &b, "--yes"]);
    assert_eq!(code, 1, "{said}");
    for id in [&b, &c] {
        let why = format!("{id}.mid: stays, as it cannot go to the trash: ");
        assert!(said.contains(&why), "{said}");
    }
    assert_eq!(home.ids(&[]).len(), 3);

    // A user without a home, whose settings name a folder.
    let config = home.at("config/peregrinus");
    std::fs::create_dir_all(&config).unwrap();
    let folder = format!("[sittings]\nfolder = {:?}\n", home.folder());
    std::fs::write(config.join("settings.toml"), folder).unwrap();
    let out = Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(["sittings", "delete", &a, "--yes", "--format", "json"])
        .current_dir(home.0.path())
        .env_clear()
        .env("XDG_CONFIG_HOME", home.at("config"))
        .env("TZ", "UTC")
        .output()
        .unwrap();
    assert!(out.status.success(), "{out:?}");
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let gone = serde_json::json!([{"id": a, "to_trash": false}]);
    assert_eq!(json["deleted"], gone);
    assert_eq!(home.ids(&[]), [c, b]);
}

#[test]
fn out_and_in_again() {
    let (home, [_, _, c]) = Home::with_three();
    home.printed(&["sittings", "rename", "last", "Lamp"]);
    home.printed(&["sittings", "tag", "Lamp", "ferry"]);
    let out = home.at("out.mid");
    let out = out.to_str().unwrap();
    assert_eq!(
        home.printed(&["sittings", "export", "Lamp", "-o", out]),
        format!("{out}: Lamp\n")
    );
    let bytes = std::fs::read(out).unwrap();
    assert_eq!(
        bytes,
        std::fs::read(home.folder().join(format!("{c}.mid"))).unwrap()
    );
    let (code, said) = home.refused(&["sittings", "export", "Lamp", "-o", out]);
    assert!(
        code == 1 && said.contains("exists already: name another file"),
        "{said}"
    );
    // The same music, whatever the file is called and whatever is known of it.
    let etude = Path::new(ROOT).join("recordings/05_ferry_lamp.mid");
    for file in [out, etude.to_str().unwrap()] {
        let said = home.printed(&["sittings", "import", file]);
        assert_eq!(said, format!("{file}: there already: {c}\n"));
    }
    // Elsewhere it is what it was here.
    let other = Home::new();
    let json = other.json(&["sittings", "import", out]);
    assert_eq!(
        json["imported"],
        serde_json::json!([{"file": out, "id": c, "new": true}])
    );
    let (mut there, mut here) = (
        other.json(&["sittings", "show", "last"]),
        home.json(&["sittings", "show", "last"]),
    );
    for json in [&mut there, &mut here] {
        json["file"] = Value::Null;
    }
    assert_eq!(there, here);
}

#[test]
fn every_midi_file_becomes_a_sitting() {
    let home = Home::new();
    let mut files: Vec<PathBuf> = (std::fs::read_dir(Path::new(ROOT).join("recordings")).unwrap())
        .map(|e| e.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "mid"))
        .collect();
    files.sort();
    let names: Vec<&str> = files.iter().map(|f| f.to_str().unwrap()).collect();
    let first = home.json(&[&["sittings", "import"], &names[..]].concat());
    let again = home.json(&[&["sittings", "import"], &names[..]].concat());
    let (first, again) = (&first["imported"], &again["imported"]);
    let count = first.as_array().unwrap().len();
    assert_eq!(count, names.len());
    for i in 0..count {
        assert_eq!(
            (&first[i]["new"], &again[i]["new"]),
            (&true.into(), &false.into())
        );
        assert_eq!(first[i]["id"], again[i]["id"]);
    }
    assert_eq!(home.ids(&[]).len(), names.len());
    // One of another program, in the old format of one track, with beats of its own.
    let foreign = home.at("a waltz.mid");
    let bytes = [
        &b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\0\0\x16"[..],
        b"\0\xff\x58\x04\x03\x02\x18\x08\0\x90\x3c\x40\x60\x80\x3c\0\0\xff\x2f\0\0\0",
    ]
    .concat();
    std::fs::write(&foreign, &bytes[..bytes.len() - 1]).unwrap();
    written(&foreign, 9);
    let said = home.run(&["sittings", "import", "a waltz.mid"]);
    assert!(said.status.success(), "{said:?}");
    let json = home.json(&["sittings", "show", "waltz"]);
    assert_eq!(
        (&json["notes"], &json["name"]),
        (&1.into(), &"a waltz".into())
    );
    let said = home.run(&["sittings", "import", "a waltz.mid"]);
    assert!(
        String::from_utf8_lossy(&said.stdout).contains("there already"),
        "{said:?}"
    );
    // What is none is said, and the others are taken all the same.
    std::fs::write(home.at("none.mid"), b"no music").unwrap();
    let (code, said) = home.refused(&["sittings", "import", "none.mid", "missing.mid", names[0]]);
    assert_eq!(code, 1);
    assert!(
        said.contains("peregrinus: none.mid: ") && said.contains("missing.mid: "),
        "{said}"
    );
}

#[test]
fn a_damaged_index_is_said_and_made_anew() {
    let (home, ids) = Home::with_three();
    std::fs::write(
        home.folder().join("index.sqlite"),
        b"not an index, but a note to myself",
    )
    .unwrap();
    let output = home.run(&["sittings", "list", "--format", "json"]);
    assert!(output.status.success());
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        said,
        "peregrinus: the index of the sittings is damaged: it was set aside as \
         index.sqlite.set-aside, and another is made of the files\n"
    );
    assert_eq!(home.ids(&[]).len(), 3);
    assert_eq!(home.printed(&["sittings", "rebuild"]), "3 sittings\n");
    assert_eq!(home.json(&["sittings", "rebuild"])["sittings"], 3);
    assert_eq!(home.ids(&[]), [&*ids[2], &ids[1], &ids[0]]);
}

#[test]
fn a_sitting_is_taken_where_a_file_is() {
    let (home, [a, b, c]) = Home::with_three();
    let analyzed = |word: &str| -> (String, Value) {
        let output = home.run(&["analyze", word, "--format", "json"]);
        let err = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.success(), "{word}: {err}");
        (err, serde_json::from_slice(&output.stdout).unwrap())
    };
    for (word, id, length) in [
        ("last", &c, "1:02"),
        ("last-3", &a, ""),
        ("seven", &b, ""),
        (&*c, &c, "1:02"),
    ] {
        let (err, study) = analyzed(word);
        assert!(
            err.starts_with(&format!("peregrinus: {word}: {id}, {length}")),
            "{err}"
        );
        assert_eq!(err.lines().count(), 1, "{err}");
        let path = home.folder().join(format!("{id}.mid"));
        assert_eq!(study["file"], path.display().to_string());
    }
    // A file of that name comes first, and a path is a path.
    let etude = Path::new(ROOT).join("recordings/03_three_ridges.mid");
    std::fs::copy(etude, home.at("last")).unwrap();
    let (err, study) = analyzed("last");
    assert_eq!((&*err, &study["file"]), ("", &"last".into()));
    let (code, said) = home.refused(&["analyze", "./seven"]);
    assert_eq!(code, 1);
    assert_eq!(
        said,
        "peregrinus: ./seven: there is no such file: check its name\n"
    );
    let hint = "there is no such file: check its name; no sitting has this name; peregrinus \
                sittings lists them\n";
    for command in ["analyze", "replay"] {
        let (code, said) = home.refused(&[command, "zzzzzzzz"]);
        assert_eq!(
            (code, &*said),
            (1, &*format!("peregrinus: zzzzzzzz: {hint}"))
        );
    }
    // To its end, at four times its pace.
    let output = home.run(&[
        "replay", "last-2", "--speed", "4", "--from", "40", "--repeat", "1-9999",
    ]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.starts_with(&format!("peregrinus: last-2: {b}, ")),
        "{said}"
    );
    assert!(said.contains("lies past the end"), "{said}");
}

/// At a terminal of 70 by 3 characters: what is printed there, and the exit code.
#[cfg(unix)]
fn at_a_terminal(home: &Home, args: &[&str], answer: &str) -> (String, u32) {
    use portable_pty::{CommandBuilder, PtySize, native_pty_system};
    use std::io::{Read, Write};
    let size = PtySize {
        rows: 3,
        cols: 70,
        ..PtySize::default()
    };
    let pair = native_pty_system().openpty(size).unwrap();
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_peregrinus"));
    command.args(args);
    command.cwd(home.0.path());
    for (name, value) in [
        ("HOME", home.0.path()),
        ("XDG_CONFIG_HOME", &home.at("config")),
        ("XDG_DATA_HOME", &home.at("data")),
        ("XDG_STATE_HOME", &home.at("state")),
        ("TZ", Path::new("UTC")),
        ("PAGER", Path::new("tee paged")),
    ] {
        command.env(name, value);
    }
    let mut child = pair.slave.spawn_command(command).unwrap();
    drop(pair.slave);
    let mut from = pair.master.try_clone_reader().unwrap();
    let reading = std::thread::spawn(move || {
        let mut seen = Vec::new();
        // It ends with an error where the other side is closed.
        let _ = from.read_to_end(&mut seen);
        String::from_utf8_lossy(&seen).replace("\r\n", "\n")
    });
    let mut keys = pair.master.take_writer().unwrap();
    keys.write_all(answer.as_bytes()).unwrap();
    let code = child.wait().unwrap().exit_code();
    drop((keys, pair.master));
    (reading.join().unwrap(), code)
}

#[cfg(unix)]
#[test]
fn deleting_asks_at_a_terminal() {
    let (home, [_, _, c]) = Home::with_three();
    for answer in ["n\n", "\n", "delete it\n"] {
        let (seen, code) = at_a_terminal(&home, &["sittings", "delete", "last"], answer);
        assert!(seen.contains("05_ferry_lamp  2026-01-04 12:00"), "{seen}");
        assert!(seen.contains("Delete 1 sitting? [y/N] "), "{seen}");
        assert!(
            seen.contains("nothing was deleted") && code == 1,
            "{code}: {seen}"
        );
        assert_eq!(home.ids(&[]).len(), 3);
    }
    let (seen, code) = at_a_terminal(&home, &["sittings", "delete", "last"], "y\n");
    assert!(
        seen.contains("deleted 1 sitting") && code == 0,
        "{code}: {seen}"
    );
    assert!(!home.ids(&[]).contains(&c));
}

#[cfg(unix)]
#[test]
fn a_long_list_is_shown_a_page_at_a_time() {
    let (home, _) = Home::with_three();
    let (seen, code) = at_a_terminal(&home, &["sittings"], "");
    assert_eq!(code, 0, "{seen}");
    let paged = std::fs::read_to_string(home.at("paged")).expect("by the pager");
    // The terminal's side is closed with a line break.
    assert_eq!(seen.trim_end(), paged.trim_end());
    assert_eq!(paged.lines().count(), 3);
    assert!(
        paged.lines().all(|line| line.chars().count() <= 70),
        "{paged}"
    );
    assert!(paged.contains(" – …\n"), "{paged}");
    std::fs::remove_file(home.at("paged")).unwrap();
    // A short one is not.
    let (seen, _) = at_a_terminal(&home, &["sittings", "--limit", "1"], "");
    assert!(seen.starts_with("05_ferry_lamp "), "{seen}");
    assert!(!home.at("paged").exists());
}

/// Chords of two bars and more at 120 a minute after a second without bars; the click ends with
/// them, and one more chord follows.
fn clicked() -> Vec<u8> {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut writer = Writer::new(Cursor::new(Vec::new()), catalogue).expect("memory");
    let chords: [(&[u8], u64); 7] = [
        (&[45, 57, 60, 64], 2),
        (&[38, 53, 57, 60], 2),
        (&[43, 53, 59, 62], 2),
        (&[36, 52, 55, 60], 8),
        (&[41, 53, 57, 60], 4),
        (&[36, 52, 55, 60], 4),
        (&[43, 55, 59, 62], 4),
    ];
    let channel = midi::Channel::ALL[0];
    let mut at = Time::ZERO;
    for (number, (keys, beats)) in chords.into_iter().enumerate() {
        if number == 1 {
            writer.click(
                at,
                Some(Click {
                    tempo: Tempo::per_minute(120.0).expect("a tempo"),
                    meter: Meter::COMMON,
                    from: at,
                }),
            );
        }
        if number == 6 {
            writer.click(at, None);
        }
        let mut all = |at, event: &dyn Fn(u8) -> midi::Event| {
            for &key in keys {
                writer.event(at, Event::Midi(event(key)));
            }
        };
        let velocity = 80;
        all(at, &|key| midi::Event::NoteOn {
            channel,
            key,
            velocity,
        });
        at += Time::millis(500 * beats);
        all(at, &|key| midi::Event::NoteOff { channel, key });
    }
    writer.finish(at).expect("memory").into_inner()
}

#[test]
fn a_click_gives_a_sitting_bars() {
    let home = Home::new();
    let file = home.at("clicked.mid");
    std::fs::write(&file, clicked()).unwrap();
    written(&file, 1);
    home.printed(&["sittings", "import", file.to_str().unwrap()]);
    // What was taken is said on standard error.
    let printed = |args: &[&str]| {
        let out = home.run(args);
        assert!(out.status.success(), "{args:?}");
        String::from_utf8(out.stdout).unwrap()
    };
    let text = printed(&["analyze", "last", "--bars"]);
    let (_, sheet) = text
        .split_once("  bar by bar, in hindsight\n")
        .expect("a sheet");
    let bars: Vec<&str> = sheet.split('|').map(str::trim).take(7).collect();
    assert_eq!(bars[..5], ["1", "Dm7 / G7 /", "C", "%", "F"], "{text}");
    assert!(bars.contains(&"C"), "{text}");
    assert!(
        sheet.contains("2 harmonies stand where there are no bars"),
        "{text}"
    );
    let json = printed(&["analyze", "last", "--bars", "--format", "json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    let list = json["hindsight"]["harmonies"].as_array().unwrap();
    let places: Vec<Option<(u64, f64)>> = list
        .iter()
        .map(|h| Some((h["bar"].as_u64()?, h["beat"].as_f64()?)))
        .collect();
    let at = |bar, beat| Some((bar, beat));
    let wanted = [
        None,
        at(1, 1.0),
        at(1, 3.0),
        at(2, 1.0),
        at(4, 1.0),
        at(5, 1.0),
        None,
    ];
    assert_eq!(places, wanted, "{json}");

    // For other programs: one second is a bar of four, and the click's first beat a bar line.
    let out = home.at("out.mid");
    home.printed(&["sittings", "export", "last", "-o", out.to_str().unwrap()]);
    let bytes = std::fs::read(&out).unwrap();
    let smf = midly::Smf::parse(&bytes).unwrap();
    assert_eq!(smf.header.timing, midly::Timing::Metrical(960.into()));
    let mut tick = 0;
    let mut first = Vec::new();
    for event in &smf.tracks[0] {
        tick += event.delta.as_int();
        match event.kind {
            TrackEventKind::Meta(MetaMessage::Tempo(tempo)) => first.push((tick, tempo.as_int())),
            TrackEventKind::Meta(MetaMessage::TimeSignature(4, 2, ..)) => first.push((tick, 4)),
            _ => {}
        }
    }
    assert_eq!(first[..3], [(0, 4), (0, 250_000), (3840, 500_000)]);
    let mut struck = Vec::new();
    let mut tick = 0;
    for event in &smf.tracks[1] {
        tick += event.delta.as_int();
        if let TrackEventKind::Midi {
            message: midly::MidiMessage::NoteOn { .. },
            ..
        } = event.kind
        {
            struck.push(tick);
        }
    }
    struck.dedup();
    assert_eq!(struck, [0, 3840, 5760, 7680, 15_360, 19_200, 23_040]);

    // Without a click nothing pretends.
    let (home, _) = Home::with_three();
    let (code, said) = home.refused(&["analyze", "last", "--bars"]);
    assert!(
        code == 1 && said.contains("no time signature and no click"),
        "{said}"
    );
}
