//! The training's scripts, kept running: a few steps on invented pieces give weights that
//! the program takes, the golden data are those of today's network, figures are printed,
//! and public corpora become training files. `sh tests/prepare --tests` installs what
//! they need. Nothing is learned here that is worth anything.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use peregrinus::engine::{HarmonyModel, Model};

#[path = "python/mod.rs"]
mod python;
use python::Python;

/// A folder of this test's own, empty.
fn folder(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("training")
        .join(name);
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).expect("a folder for the files");
    path
}

fn text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

const MAJOR: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];

/// Up and down the scale from the tonic and back to it, the tonic held and below it all:
/// onset and length in quarters, key.
fn tune(tonic: u8, scale: [u8; 7], turns: usize) -> Vec<(f64, f64, u8)> {
    let mut notes = Vec::new();
    for turn in 0..turns {
        let begin = 16.0 * turn as f64;
        notes.push((begin, 16.0, 36 + tonic));
        for i in 0..16 {
            let step = [0, 4, 2, 1, 0, 3, 5, 4, 2, 6, 4, 3, 1, 6, 0, 0][(i + turn * 2) % 16];
            let key = 60 + tonic + if i == 15 { 0 } else { scale[step] };
            notes.push((begin + i as f64, 1.0, key));
        }
    }
    notes
}

/// The scale of a mode, by the degree of the major scale that it begins on.
fn mode(degree: usize) -> [u8; 7] {
    std::array::from_fn(|i| (MAJOR[(degree + i) % 7] + 12 - MAJOR[degree]) % 12)
}

fn piece(name: String, kind: &str, notes: &[(f64, f64, u8)], segments: Value) -> Value {
    json!({
        "name": name, "kind": kind, "corpus": "invented", "quarter": 0.25,
        "notes": notes, "segments": segments,
        "chords": [[0.0, 4.0, 0, 0, [0, 4, 7]]],
    })
}

/// A dozen pieces of the three kinds, in the format that tests/training/corpus.py tells.
fn invented() -> String {
    let mut lines = String::new();
    let mut add = |piece: Value| writeln!(lines, "{piece}").expect("a string");
    let modes = [
        ("ionian", 0),
        ("dorian", 1),
        ("mixolydian", 4),
        ("aeolian", 5),
    ];
    for (i, (name, degree)) in modes.into_iter().cycle().take(8).enumerate() {
        let tonic = (5 * i % 12) as u8;
        let notes = tune(tonic, mode(degree), 4);
        let segments = json!([{"start": 0.0, "end": 16.0, "center": tonic, "mode": name}]);
        add(piece(format!("tune {i}"), "folk-mode", &notes, segments));
    }
    for i in 0..2u8 {
        let mut notes = tune(i, MAJOR, 4);
        let after = tune(i + 7, MAJOR, 4);
        notes.extend(after.iter().map(|n| (n.0 + 64.0, n.1, n.2)));
        let segments = json!([
            {"start": 0.0, "end": 16.0, "center": i, "mode": "major"},
            {"start": 16.0, "end": 32.0, "center": i + 7, "mode": "major"},
        ]);
        add(piece(format!("piece {i}"), "local-key", &notes, segments));
        let notes = tune(i + 2, mode(5), 8);
        let segments = json!([{"start": 0.0, "end": 32.0, "center": i + 2, "mode": "minor"}]);
        add(piece(format!("song {i}"), "rock", &notes, segments));
    }
    lines
}

/// Weights after five small steps, and what the training printed.
fn learned(data: &Path, out: &Path, name: &str, more: &[&str]) -> (Vec<u8>, String) {
    let (data, folder) = (text(data), text(out));
    #[rustfmt::skip]
    let mut arguments = vec![
        "--data", &*data, "--check", &data, "--out", &folder, "--name", name,
        "--steps", "5", "--workers", "0", "--hidden", "16", "--batch", "4", "--length", "24",
        "--count-priors", "12",
    ];
    arguments.extend(more);
    let said = python::run(Python::Training, "training/train.py", &arguments, "");
    let weights = std::fs::read(out.join(format!("{name}.weights"))).expect("weights");
    (weights, said)
}

/// The figures of a row: exact, center, away, changes.
fn figures(table: &str, kind: &str) -> Vec<f64> {
    let row = table.lines().find(|l| l.starts_with(kind));
    let row = row.unwrap_or_else(|| panic!("no {kind} in {table}"));
    let words = row.split_whitespace().skip(1);
    words.map(|w| w.parse().expect("a figure")).collect()
}

#[test]
fn a_few_steps_give_weights_that_the_program_takes_the_same_every_time() {
    let out = folder("steps");
    let data = out.join("invented.jsonl");
    std::fs::write(&data, invented()).expect("a file");
    let (one, said) = learned(&data, &out, "one", &["--seed", "1"]);
    assert!(said.contains("12 pieces; prior"), "{said}");
    assert!(said.contains("\nsteps 5 "), "{said}");
    for kind in ["folk-mode", "local-key", "rock"] {
        assert_eq!(figures(&said, kind).len(), 4, "{said}");
    }
    Model::parse(&one).expect("weights that the program takes");
    let (again, _) = learned(&data, &out, "again", &["--seed", "1"]);
    assert!(one == again, "the same seed and steps gave other weights");
    // The comparison could fail.
    let (other, _) = learned(&data, &out, "other", &["--seed", "2"]);
    assert!(one != other, "another seed gave the same weights");

    // One of them goes on; two of them settle together.
    let file = |name: &str| text(&out.join(format!("{name}.weights")));
    let mix = "tunes=.4,jazz=.6";
    let (more, _) = learned(
        &data,
        &out,
        "more",
        &["--go-on", &file("one"), "--mix", mix],
    );
    assert!(more != one && more != other);
    let settled = |name: &str, mean: &[&str]| {
        let (data, one, other, to) = (text(&data), file("one"), file("other"), file(name));
        #[rustfmt::skip]
        let mut arguments = vec![
            "--data", &*data, "--weights", &one, &other, "--out", &to,
            "--pieces", "4", "--steps", "3", "--count-priors", "12", "--temperatures", "1.2", "1.5",
        ];
        arguments.extend(mean);
        python::run(Python::Training, "training/settle.py", &arguments, "");
        std::fs::read(&to).expect("weights")
    };
    let plain = settled("settled", &[]);
    let alike = settled("alike", &["--weigh", "1", "1", "--steps", "0"]);
    let weighed = settled("weighed", &["--weigh", "0.5", "1.5", "--steps", "0"]);
    Model::parse(&weighed).expect("weights that the program takes");
    // Nothing was learned: all but the heads is as it was, and those count otherwise.
    let differ = alike.iter().zip(&weighed).filter(|(a, b)| a != b).count();
    assert_eq!(alike.len(), weighed.len());
    assert!(differ > 0 && differ < alike.len() / 4, "{differ}");
    let model = Model::parse(&plain).expect("weights");
    assert_eq!(model.temperature(), 1.2);
    assert_eq!(model.temperature_hindsight(), 1.5);
    let between = settled("between", &["--mean", &file("more"), &file("other")]);
    Model::parse(&between).expect("weights");
    assert!(between != plain, "the mean of two is one of them");
    // Two networks in one file are nothing to go on from.
    let arguments = [
        "--data",
        &text(&data),
        "--out",
        &text(&out),
        "--go-on",
        &file("settled"),
    ];
    let said = python::fails(Python::Training, "training/train.py", &arguments, "");
    assert!(said.contains("it must hold one network"), "{said}");
}

#[test]
fn a_few_steps_give_weights_of_chords_the_same_every_time() {
    let out = folder("chords");
    let data = out.join("invented.jsonl");
    let mut lines = String::new();
    for line in invented().lines() {
        let mut piece: Value = serde_json::from_str(line).expect("a piece");
        // One a second; how well they suit the tune does not matter.
        let chord = |i: u8| {
            let root = [0, 5, 7, 9][usize::from(i) % 4];
            let above = [root, (root + 4) % 12, (root + 7) % 12];
            json!([f64::from(i), f64::from(i + 1), root, root, above])
        };
        piece["chords"] = (0..16).map(chord).collect();
        writeln!(lines, "{piece}").expect("a string");
    }
    std::fs::write(&data, lines).expect("a file");
    let (data, folder) = (text(&data), text(&out));
    let learned = |name: &str, seed: &str, checked: &[&str]| {
        #[rustfmt::skip]
        let arguments = [
            "--data", &*data, "--out", &folder, "--name", name, "--seed", seed,
            "--steps", "5", "--workers", "0", "--hidden", "16", "--batch", "4", "--count", "32",
        ];
        let arguments = [&arguments[..], checked].concat();
        let said = python::run(Python::Training, "training/harmony.py", &arguments, "");
        assert!(said.contains("12 pieces, "), "{said}");
        assert!(said.contains("\nsteps 5\n"), "{said}");
        if !checked.is_empty() {
            assert!(said.contains("\nlabels a minute 60.0\n"), "{said}");
            for way in ["causal 0", "causal 2", "hindsight 0", "hindsight 3"] {
                let row = said.lines().find(|l| l.starts_with(way));
                let words = row.unwrap_or_default().split_whitespace();
                let shares: Vec<f64> = words.filter_map(|w| w.parse().ok()).collect();
                // Root, kind and bass in shares; changes.
                assert_eq!(shares.len(), 4, "{way}: {said}");
                assert!(
                    shares[..3].iter().all(|s| (0.0..=1.0).contains(s)),
                    "{said}"
                );
            }
            for texture in ["alberti: ", "block: ", "held: ", "line: ", "rolled: "] {
                let row = said.lines().find(|l| l.starts_with(texture));
                let words = row.unwrap_or_default().split_whitespace();
                let shares: Vec<f64> = words.filter_map(|w| w.parse().ok()).collect();
                // Triad, chord and bass; a chord is right only where its triad is.
                assert_eq!(shares.len(), 3, "{texture}: {said}");
                assert!(
                    shares[1] <= shares[0] && shares.iter().all(|s| (0.0..=1.0).contains(s)),
                    "{said}"
                );
            }
        }
        std::fs::read(out.join(format!("{name}.weights"))).expect("weights")
    };
    // Figures once: the same weights have the same.
    let one = learned("one", "1", &["--check", &data]);
    HarmonyModel::parse(&one).expect("weights that the program takes");
    Model::parse(&one).expect_err("they are not the estimator's");
    assert!(
        one == learned("again", "1", &[]),
        "the same seed and steps gave other weights"
    );
    assert!(
        one != learned("other", "2", &[]),
        "another seed gave the same weights"
    );
}

#[test]
fn the_golden_data_are_those_of_the_network() {
    let out = folder("golden");
    python::run(Python::Training, "training/golden.py", &[&*text(&out)], "");
    let read = |path: &Path| -> Value {
        let text = std::fs::read_to_string(path).expect("golden data");
        serde_json::from_str(&text).expect("what golden.py wrote")
    };
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    // Of probabilities 1e-5, of logarithms 1e-4.
    for (name, apart, least) in [("estimator.json", 10, 10_000), ("harmony.json", 100, 5_000)] {
        let (new, old) = (read(&out.join(name)), read(&committed.join(name)));
        let mut compared = 0;
        alike(&new, &old, None, apart, &mut compared);
        assert!(compared > least, "{name}: {compared} numbers");
    }
}

/// The same but for so many of the `millionths`, all that stands under that name.
fn alike(new: &Value, old: &Value, within: Option<u64>, apart: u64, compared: &mut usize) {
    match (new, old) {
        (Value::Object(a), Value::Object(b)) => {
            assert!(a.keys().eq(b.keys()));
            for ((name, x), y) in a.iter().zip(b.values()) {
                let within = within.or((name == "millionths").then_some(apart));
                alike(x, y, within, apart, compared);
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len());
            for (x, y) in a.iter().zip(b) {
                alike(x, y, within, apart, compared);
            }
        }
        (a, b) if within.is_some() => {
            let (a, b) = (a.as_i64().expect("millionths"), b.as_i64().expect("them"));
            *compared += 1;
            assert!(
                Some(a.abs_diff(b)) <= within,
                "{a} millionths, and {b} in tests/golden: \
                 run  python tests/training/golden.py  again"
            );
        }
        (a, b) => assert_eq!(a, b, "run  python tests/training/golden.py  again"),
    }
}

#[test]
fn figures_are_printed_of_any_weights() {
    let out = folder("figures");
    let data = out.join("invented.jsonl");
    std::fs::write(&data, invented()).expect("a file");
    let weights = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/estimator.weights");
    let (weights, data) = (text(&weights), text(&data));
    let arguments = ["--weights", &weights, "--check", &data, "--held-out", "2"];
    let said = python::run(Python::Training, "training/measure.py", &arguments, "");
    // Over a held tonic there is little doubt.
    let folk = figures(&said, "folk-mode");
    assert!(folk[0] > 80.0 && folk[1] > 90.0, "{said}");
    assert!(folk[0] <= 100.0 && folk[1] <= 100.0, "{said}");
    // The first two families of held_out.py.
    for kind in ["playing-vamp", "playing-shuttle"] {
        let row = figures(&said, kind);
        assert!(row[0] <= row[1] && row[1] > 0.0, "{said}");
    }
}

#[test]
fn bad_files_are_named() {
    let out = folder("bad");
    let (path, bad) = (text(&out), text(&out.join("bad.jsonl")));
    let train = |data: &str, mix: &str| {
        let arguments = ["--data", data, "--out", &path, "--steps", "1", "--mix", mix];
        python::fails(Python::Training, "training/train.py", &arguments, "")
    };
    let said = train(&text(&out.join("none*.gz")), "tunes=1");
    assert!(said.contains("none*.gz: no such file"), "{said}");
    let good = invented();
    let first = good.lines().next().expect("a piece");
    let changed = |old: &str, new: &str| {
        assert!(first.contains(old), "{old} in {first}");
        first.replacen(old, new, 1)
    };
    let cases = [
        ("{".into(), "line 2: "),
        ("{}".into(), "line 2: 'notes' is missing"),
        (changed("folk-mode", "folk"), "line 2: kind 'folk'"),
        (
            changed("\"center\":0", "\"center\":12"),
            "a center of 0 to 11",
        ),
        (changed("[0.0,16.0,36]", "[0.0,16.0]"), "line 2: "),
        (changed("ionian", "martian"), "no mode 'martian'"),
    ];
    for (line, expected) in cases {
        std::fs::write(&bad, format!("{first}\n{line}\n")).expect("a file");
        let said = train(&bad, "tunes=1");
        assert!(said.contains(expected), "{line}: {said}");
    }
    std::fs::write(&bad, first).expect("a file");
    let said = train(&bad, "tunes=.5,songs=.5");
    assert!(
        said.contains("there are no rock songs in the data"),
        "{said}"
    );
    let said = train(&bad, "noise=.5,tunes=-1");
    assert!(said.contains("--mix tunes=-1: give shares"), "{said}");
    let said = train(&bad, "tunes=many");
    assert!(said.contains("--mix tunes=many: give shares"), "{said}");
    let arguments = ["--weights", &bad, "--held-out", "1"];
    let said = python::fails(Python::Training, "training/measure.py", &arguments, "");
    assert!(
        said.contains("bad.jsonl: this is no file of weights"),
        "{said}"
    );
}

/// What gather.py wrote, piece by piece, and what it printed. The training's own reader
/// must take it too.
fn gathered(out: &Path, arguments: &[&str]) -> (Vec<Value>, String) {
    let path = text(out);
    let all: Vec<&str> = arguments.iter().copied().chain([&*path]).collect();
    let said = python::run(Python::Checks, "training/gather.py", &all, "");
    let weights = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/estimator.weights");
    let arguments = ["--weights", &*text(&weights), "--check", &path];
    python::run(Python::Training, "training/measure.py", &arguments, "");
    let lines = std::fs::read_to_string(out).expect("JSON Lines");
    let pieces = lines
        .lines()
        .map(|l| serde_json::from_str(l).expect("JSON"));
    (pieces.collect(), said)
}

#[test]
fn folk_tunes_are_gathered() {
    let out = folder("folk").join("folk.jsonl");
    let (pieces, said) = gathered(&out, &["--music21", "--first", "5"]);
    let count = pieces.len();
    assert!((8..=25).contains(&count), "{said}");
    assert!(said.contains(&format!("{count} pieces in ")), "{said}");
    for collection in ["airdsAirs", "ryansMammoth", "essenFolksong", "oneills1850"] {
        let some = pieces.iter().any(|p| p["corpus"] == collection);
        assert!(some, "{collection}: {said}");
    }
    for p in &pieces {
        let notes = p["notes"].as_array().expect("notes");
        let segment = &p["segments"][0];
        let last = notes.last().expect("a note");
        assert!(notes.len() >= 28);
        assert_eq!(last[2].as_u64().map(|k| k % 12), segment["center"].as_u64());
        assert_eq!(
            (&p["kind"], &p["quarter"]),
            (&json!("folk-mode"), &json!(0.4))
        );
    }
}

const NOTES: &str = "\
mc\tmn\tquarterbeats\tduration_qb\tstaff\tduration\ttied\tgracenote\tmidi
1\t1\t0\t2.0\t2\t1/2\t\t\t57
1\t1\t0\t1.0\t1\t1/4\t\t\t72
1\t1\t1\t0.0\t1\t1/8\t\tacciaccatura\t75
1\t1\t1\t1.0\t1\t1/4\t1\t\t76
2\t2\t2\t1.0\t1\t1/4\t0\t\t76
3\t2\t3\t1/2\t1\t1/8\t-1\t\t76
3\t2\t\t1.0\t1\t1/4\t\t\t61
4\t3\t7/2\t1/2\t1\t1/8\t\t\t76
4\t3\t4\t4.0\t2\t1\t\t\t48
4\t3\t4\t4.0\t1\t1\t\t\t67
";

/// A minor; its relative major, C; the minor key on the lowered sixth of that, A flat.
const HARMONIES: &str = "\
mc\tmn\tquarterbeats\tlabel\tglobalkey\tlocalkey\tchord_tones\troot\tbass_note
1\t1\t0\ta.i\ta\ti\t0, -3, 1\t0\t0
1\t1\t1\tV65\ta\ti\t5, 2, -1, 1\t1\t5
3\t2\t\tI\ta\tIII\t0, 4, 1\t0\t0
3\t2\t3\tIII.I6\ta\tIII\t(4, 1, 0)\t0\t4
4\t3\t4\t@none\ta\tIII\t\t\t
4\t3\t6\tV\ta\tbvi/III\t1, 5, 2\t1\t1
";

#[test]
fn analysed_pieces_are_gathered() {
    let home = folder("dcml");
    let (notes, harmonies) = (home.join("a_set/notes"), home.join("a_set/harmonies"));
    for folder in [&notes, &harmonies] {
        std::fs::create_dir_all(folder).expect("a folder");
    }
    let notes_file = notes.join("op1.notes.tsv");
    let harmonies_file = harmonies.join("op1.harmonies.tsv");
    std::fs::write(&notes_file, NOTES).expect("a table");
    std::fs::write(&harmonies_file, HARMONIES).expect("a table");
    // Without an analysis.
    std::fs::write(notes.join("op2.notes.tsv"), NOTES).expect("a table");
    let (from, out) = (text(&home), home.join("dcml.jsonl"));
    let (pieces, said) = gathered(&out, &["--dcml", &from]);
    assert!(said.contains("a_set: 1 of 2"), "{said}");
    // Times of notes in quarters of 0.6 s; ties joined; no grace note, no first ending.
    let expected = json!({
        "name": "op1", "kind": "local-key", "corpus": "a_set", "quarter": 0.6,
        "notes": [
            [0.0, 2.0, 57], [0.0, 1.0, 72], [1.0, 2.5, 76], [3.5, 0.5, 76], [4.0, 4.0, 48],
            [4.0, 4.0, 67],
        ],
        "segments": [
            {"start": 0.0, "end": 1.8, "center": 9, "mode": "minor"},
            {"start": 1.8, "end": 3.6, "center": 0, "mode": "major"},
            {"start": 3.6, "end": 4.8, "center": 8, "mode": "minor"},
        ],
        "chords": [
            [0.0, 0.6, 9, 9, [0, 4, 9]],
            [0.6, 1.8, 4, 8, [2, 4, 8, 11]],
            [1.8, 2.4, 0, 4, [0, 4, 7]],
            [3.6, 4.8, 3, 3, [3, 7, 10]],
        ],
    });
    let sorted = |mut p: Value| {
        let notes = p["notes"].as_array_mut().expect("notes");
        notes.sort_by_key(|n| (n[0].to_string(), n[2].as_u64()));
        p
    };
    assert_eq!(sorted(pieces[0].clone()), sorted(expected));
    // What cannot be read is named.
    let path = text(&out);
    let fails = |from: &str| {
        let arguments = ["--dcml", from, &path];
        python::fails(Python::Checks, "training/gather.py", &arguments, "")
    };
    let cases = [
        ("\tIII\t(4", "\tIIII\t(4", "line 5: 'IIII' is no local key"),
        ("\ta\ti\t5", "\th\ti\t5", "line 3: 'h' is no key"),
        ("\t5, 2", "\t5, x", "line 3: 'x' is no number"),
        ("chord_tones", "tones", "no column chord_tones"),
    ];
    for (old, new, expected) in cases {
        std::fs::write(&harmonies_file, HARMONIES.replacen(old, new, 1)).expect("a table");
        let said = fails(&from);
        assert!(
            said.contains("op1.harmonies.tsv") && said.contains(expected),
            "{said}"
        );
    }
    let said = fails(&text(&notes));
    assert!(said.contains("no repository with the folders"), "{said}");
    let said = fails(&text(&home.join("nowhere")));
    assert!(said.contains("nowhere: no such folder"), "{said}");
}

/// A sitting that its player corrected is loaded by the training as it was written: the sounds of
/// the étude, the labels of the corrected plan.
#[test]
fn corrected_sittings_can_be_learned_from() {
    let home = folder("labels");
    let run = |arguments: &[&str]| -> String {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_peregrinus"))
            .args(arguments)
            .current_dir(&home)
            .env("HOME", &home)
            .env("XDG_CONFIG_HOME", home.join("config"))
            .env("XDG_DATA_HOME", home.join("data"))
            .env("XDG_STATE_HOME", home.join("state"))
            .output()
            .expect("the program");
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{arguments:?}: {err}");
        String::from_utf8(output.stdout).expect("text")
    };
    let etude = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings/05_ferry_lamp.mid");
    run(&["sittings", "import", &text(&etude)]);
    let correct = ["sittings", "correct", "last", "--format", "json"];
    let edits = [
        &["--at", "0:20", "F lydian"][..],
        &["--border", "0:21", "--to", "0:20.5"],
        &["--from", "50", "--to", "55", "--none"],
    ];
    let mut corrected = Value::Null;
    for edit in edits {
        let told = run(&[&correct, edit].concat());
        corrected = serde_json::from_str(&told).expect("JSON");
    }
    run(&["sittings", "labels", "-o", "labels"]);
    let pattern = text(&home.join("labels/*.jsonl"));
    let told = python::run(Python::Training, "python/check_labels.py", &[&pattern], "");
    let piece: Value = serde_json::from_str(told.trim_end()).expect("one piece");
    assert_eq!(
        (&piece["kind"], &piece["name"]),
        (&json!("local-key"), &corrected["id"])
    );
    let regions = corrected["regions"].as_array().expect("regions").iter();
    let labels = regions.filter_map(|r| {
        let (center, mode) = match (r["mode"].as_str(), r["who"].is_null()) {
            (Some(mode), _) => (r["center"].clone(), mode),
            (None, false) => (json!(0), "chromatic"),
            (None, true) => return None,
        };
        Some(json!({"start": r["start"], "end": r["end"], "center": center, "mode": mode}))
    });
    let labels: Vec<Value> = labels.collect();
    assert_eq!(labels.len(), 5);
    assert_eq!(piece["segments"], json!(labels));
    // The sounds of the étude, in seconds, by its keys.
    let bytes = std::fs::read(&etude).expect("an étude");
    let notes = peregrinus::midi::read(&bytes).expect("a file").events;
    let mut struck: Vec<(f64, u8)> = notes
        .iter()
        .filter_map(|t| match t.event {
            peregrinus::midi::Event::NoteOn { key, .. } => Some((t.at.seconds(), key)),
            _ => None,
        })
        .collect();
    struck.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let sounds = piece["sounds"].as_array().expect("sounds");
    assert_eq!(sounds.len(), struck.len());
    for (sound, (at, key)) in sounds.iter().zip(struck) {
        let number = |i: usize| sound[i].as_f64().expect("a number");
        assert!(
            (number(0) - at).abs() < 1e-5 && number(2) == f64::from(key),
            "{sound}"
        );
        assert!(number(1) > number(0), "{sound}");
    }
    assert!(piece["chords"].as_array().expect("chords").len() > 20);
    // As the manual has it, but for a few small steps.
    let out = text(&home);
    #[rustfmt::skip]
    let arguments = [
        "--data", &*pattern, "--mix", "pieces=.3,playing=.7", "--out", &out, "--name", "own",
        "--steps", "2", "--workers", "0", "--hidden", "16", "--batch", "4", "--length", "24",
        "--count-priors", "12",
    ];
    python::run(Python::Training, "training/train.py", &arguments, "");
    let weights = std::fs::read(home.join("own.weights")).expect("weights");
    Model::parse(&weights).expect("weights that the program takes");
}
