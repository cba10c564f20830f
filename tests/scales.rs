//! The harmonized scale and the catalogue, as the commands print them, against the
//! tables of tests/reference, whose README.md names the sources.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::process::Command;

use peregrinus::formats::{Words, beside_csv, scale_csv, scale_json};
use peregrinus::theory::{
    Beside, Catalogue, Glyphs, Harmonized, Notation, NumeralBasis, PitchClass, SpelledTonality,
    Spelling, Tonality,
};
use serde_json::Value;

type Row = BTreeMap<String, String>;

/// Rows by column name.
fn rows(text: &str, delimiter: u8) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .quoting(delimiter == b',')
        .from_reader(text.as_bytes());
    let rows = reader.deserialize();
    rows.map(|r| r.expect("a row as long as its head"))
        .collect()
}

fn diatonic_chords() -> Vec<Row> {
    let rows = rows(include_str!("reference/diatonic_chords.tsv"), b'\t');
    assert_eq!(rows.len(), 63, "the table is not whole");
    rows
}

const fn notation(numeral_basis: NumeralBasis) -> Notation {
    Notation {
        glyphs: Glyphs::Ascii,
        numeral_basis,
        ..Notation::PLAIN
    }
}

/// Harmonic and melodic minor are forms of minor, and scales of their own: the mode, and the
/// form as we name it.
fn modes_and_forms(mode: &str) -> Vec<(&str, &str)> {
    match mode {
        "harmonic_minor" => vec![("minor", "harmonic"), (mode, "")],
        "melodic_minor" => vec![("minor", "melodic"), (mode, "")],
        other => vec![(other, "")],
    }
}

/// The table's `viio7`, `viø7` in our letters.
fn ascii(numeral: &str) -> String {
    numeral.replace('ø', "0")
}

/// All 63 degrees, on all twelve centers: triad and seventh with notes, label, Harte
/// label and numerals both ways, what differs from the parallel scale, whether the root
/// does, and what holds a characteristic note.
#[test]
fn every_degree_of_the_table_on_every_center() {
    let c = Catalogue::standard();
    let table = diatonic_chords();
    let by_degree: BTreeMap<(&str, &str), &Row> = table
        .iter()
        .map(|r| ((r["mode"].as_str(), r["degree"].as_str()), r))
        .collect();
    let mut faults = String::new();
    let (mut compared, mut degrees) = (0, BTreeSet::new());
    let readings = table.iter().flat_map(|want| {
        let readings = modes_and_forms(&want["mode"]).into_iter();
        readings.map(move |(id, form)| (want, id, form))
    });
    for (want, id, form) in readings {
        let mode = c.find(id).expect("a mode");
        let minor_third = by_degree[&(want["mode"].as_str(), "3")]["root_semitones"] == "3";
        let parallel = if minor_third { "aeolian" } else { "ionian" };
        let like = by_degree[&(parallel, want["degree"].as_str())];
        // Semitones above the center of the notes that tell the mode.
        let telling: &[i32] = match id {
            "lydian" => &[6],
            "mixolydian" => &[10],
            "dorian" => &[9],
            "phrygian" => &[1],
            "locrian" => &[1, 6],
            "minor" | "harmonic_minor" => &[11],
            "melodic_minor" => &[9, 11],
            _ => &[],
        };
        let number = |row: &Row| -> i32 { row["root_semitones"].parse().expect("a number") };
        for center in 0..12 {
            let t = Tonality {
                center: PitchClass::new(center),
                mode,
            };
            let tonic = c.spell(t, None);
            let h = Harmonized::new(SpelledTonality::new(t, tonic), c);
            let printed: Vec<Vec<Row>> = [NumeralBasis::MajorScale, NumeralBasis::Mode]
                .map(|basis| {
                    let w = Words {
                        catalogue: c,
                        notation: &notation(basis),
                    };
                    rows(&scale_csv(&w, &h).expect("a table"), b',')
                })
                .to_vec();
            for size in ["triad", "seventh"] {
                let at = format!("{tonic} {} {} {size}", want["mode"], want["degree"]);
                let find = |printed: &[Row]| -> Row {
                    let all = printed.iter().filter(|r| {
                        let own = form.is_empty() || r["form"] == form;
                        let degree = r["degree"].trim_start_matches(['b', '#']);
                        own && r["size"] == size && degree == want["degree"]
                    });
                    let all: Vec<&Row> = all.collect();
                    assert_eq!(all.len(), 1, "{at}");
                    all[0].clone()
                };
                let (major, modal) = (find(&printed[0]), find(&printed[1]));
                let mut differs = |what: &str, want: String, is: &str| {
                    compared += 1;
                    if want != is {
                        let _ = writeln!(faults, "{at}: {what} {want} expected, is {is}");
                    }
                };
                let moved = |note: &str| {
                    let on_c: Spelling = note.parse().expect("a note");
                    Spelling::at(on_c.fifths() + tonic.fifths()).text(Glyphs::Ascii)
                };
                let notes: Vec<String> = want[&format!("{size}_notes_on_C")]
                    .split(' ')
                    .map(moved)
                    .collect();
                differs("notes", notes.join(" "), &major["notes"]);
                differs("root", notes[0].clone(), &major["root"]);
                let (symbol, harte) = match (size, want["triad"].as_str()) {
                    ("triad", "major") => ("", "maj"),
                    ("triad", "minor") => ("m", "min"),
                    ("triad", "diminished") => ("dim", "dim"),
                    ("triad", "augmented") => ("aug", "aug"),
                    ("triad", other) => panic!("{other}"),
                    _ => match want["seventh_symbol"].as_str() {
                        "maj7" => ("maj7", "maj7"),
                        "m7" => ("m7", "min7"),
                        "7" => ("7", "7"),
                        "m7b5" => ("m7b5", "hdim7"),
                        "m(maj7)" => ("m(maj7)", "minmaj7"),
                        "dim7" => ("dim7", "dim7"),
                        "+maj7" => ("maj7#5", "(1,3,#5,7)"),
                        other => panic!("{other}"),
                    },
                };
                differs("label", format!("{}{symbol}", notes[0]), &major["label"]);
                differs("harte", format!("{}:{harte}", notes[0]), &major["harte"]);
                let prefix = if size == "triad" { "" } else { "seventh_" };
                // Minor counts by its own degrees either way.
                let against_major = if id == "minor" {
                    "roman_modal"
                } else {
                    "roman_vs_major"
                };
                let numeral = |column: &str| ascii(&want[&format!("{prefix}{column}")]);
                differs("numeral", numeral(against_major), &major["numeral"]);
                differs("modal numeral", numeral("roman_modal"), &modal["numeral"]);
                let quality = if size == "triad" { "triad" } else { "seventh" };
                let yes = |b: bool| if b { "yes" } else { "no" }.to_owned();
                differs(
                    "differs",
                    yes(want[quality] != like[quality]),
                    &major["differs"],
                );
                let root = (number(want) - number(like)).to_string();
                differs("root moved", root, &major["root_moved"]);
                let holds = want[&format!("{size}_pcs")]
                    .split(',')
                    .any(|n| telling.contains(&n.parse().expect("a pitch class")));
                differs("characteristic", yes(holds), &major["characteristic"]);
                degrees.insert((want["mode"].clone(), want["degree"].clone()));
            }
        }
    }
    assert!(faults.is_empty(), "\n{faults}");
    assert_eq!(degrees.len(), 63);
    // Fourteen of them twice.
    assert_eq!(compared, (63 + 14) * 12 * 2 * 9);
}

/// What changes from mode to mode on one center, for all pairs of the table.
#[test]
fn what_changes_side_by_side_is_what_the_table_says() {
    let c = Catalogue::standard();
    let table = diatonic_chords();
    let modes: BTreeSet<&str> = table
        .iter()
        .map(|r| r["mode"].as_str())
        .filter(|m| !m.ends_with("_minor"))
        .collect();
    let n = notation(NumeralBasis::MajorScale);
    let w = Words {
        catalogue: c,
        notation: &n,
    };
    let on_c = |id: &str| {
        let t = c.parse_tonality(&format!("C {id}")).expect("a tonality");
        Harmonized::new(t, c)
    };
    let find = |mode: &str, degree: &str| -> &Row {
        let mut rows = table.iter();
        rows.find(|r| r["mode"] == mode && r["degree"] == degree)
            .expect("a row")
    };
    let mut compared = 0;
    for left in &modes {
        for right in &modes {
            let both = Beside::new(on_c(left), on_c(right), c, &n);
            for row in rows(&beside_csv(&w, &both).expect("a table"), b',') {
                let (l, r) = (find(left, &row["number"]), find(right, &row["number"]));
                let seventh = row["size"] == "seventh";
                let (notes, numeral) = match seventh {
                    true => ("seventh_notes_on_C", "seventh_roman_vs_major"),
                    false => ("triad_notes_on_C", "roman_vs_major"),
                };
                let yes = |b: bool| if b { "yes" } else { "no" };
                let at = format!("{left} {right} {} {}", row["number"], row["size"]);
                for (column, want) in [
                    ("notes_changed", l[notes] != r[notes]),
                    ("quality_changed", l[&row["size"]] != r[&row["size"]]),
                    ("numeral_changed", l[numeral] != r[numeral]),
                ] {
                    assert_eq!(row[column], yes(want), "{at} {column}");
                }
                assert_eq!(row["left_notes"], l[notes], "{at}");
                assert_eq!(row["right_notes"], r[notes], "{at}");
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 7 * 7 * 7 * 2);
}

/// The program, in a home of its own; exit code, standard output and error.
fn peregrinus(args: &[&str]) -> (Option<i32>, String, String) {
    let home = tempfile::tempdir().expect("a folder");
    let out = Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(args)
        .env("HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path().join("config"))
        .output()
        .expect("the program");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (out.status.code(), text(out.stdout), text(out.stderr))
}

fn printed(args: &[&str]) -> String {
    let (code, out, err) = peregrinus(args);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{args:?}");
    out
}

fn json(args: &[&str]) -> Value {
    serde_json::from_str(&printed(args)).expect("JSON")
}

/// Our ids of modes that the table has under another.
const CALLED_OTHERWISE: [(&str, &str); 8] = [
    ("octatonic_half_whole", "octatonic_hw"),
    ("octatonic_whole_half", "octatonic_wh"),
    ("major_blues", "blues_major"),
    ("ionian_flat6", "harmonic_major"),
    ("locrian_dim7", "locrian_flatflat7"),
    ("major_pentatonic", "pentatonic_major"),
    ("minor_pentatonic", "pentatonic_minor"),
    ("blues", "blues_minor"),
];

#[test]
fn the_catalogue_printed_has_the_sets_of_the_table() {
    let table = rows(include_str!("reference/modes.tsv"), b'\t');
    assert_eq!(table.len(), 54, "the table is not whole");
    let csv = rows(&printed(&["modes", "--format", "csv"]), b',');
    let all = json(&["modes", "--format", "json"]);
    let text = printed(&["modes"]);
    let list = all["modes"].as_array().expect("a list");
    assert_eq!((csv.len(), list.len()), (48, 48));
    let mut compared = 0;
    for (row, object) in csv.iter().zip(list) {
        let id = row["id"].as_str();
        assert_eq!(object["id"], id);
        let called = CALLED_OTHERWISE.iter().find(|c| c.0 == id);
        // The usual form of minor is the natural one.
        let called = called.map_or(if id == "minor" { "aeolian" } else { id }, |c| c.1);
        let want = table.iter().find(|r| r["id"] == called);
        let want = want.unwrap_or_else(|| panic!("{id} is not in the table"));
        assert_eq!(row["semitones"].replace(' ', ","), want["set"], "{id}");
        assert_eq!(row["family"], want["parent"], "{id}");
        let semitones: Vec<String> = object["semitones"]
            .as_array()
            .expect("a list")
            .iter()
            .map(Value::to_string)
            .collect();
        assert_eq!(semitones.join(","), want["set"], "{id}");
        // On C the notes are these pitch classes.
        let notes: Vec<String> = row["notes"]
            .split(' ')
            .map(|n| n.parse::<Spelling>().expect("a note").pitch_class())
            .map(|pc| pc.index().to_string())
            .collect();
        assert_eq!(notes.join(","), want["set"], "{id}");
        // In the text: name, brightness, degrees, notes.
        let words = |text: &str| -> Vec<String> {
            let words = text.split([' ', '•', '›', '◦']).filter(|w| !w.is_empty());
            words.map(str::to_owned).collect()
        };
        let sign = row["brightness"].replace('-', "−");
        let sign = match sign.starts_with(|c: char| c.is_ascii_digit() && c != '0') {
            true => format!("+{sign}"),
            false => sign,
        };
        let want = format!("{} {sign} {} {}", row["name"], row["degrees"], row["notes"]);
        let mut lines = text.lines().map(words);
        assert!(lines.any(|l| l == words(&want)), "{want} is not in\n{text}");
        compared += 1;
    }
    assert_eq!(compared, 48);
    // Music is taken for the modes alone.
    let estimated = list.iter().filter(|m| m["estimated"] == true);
    assert_eq!(estimated.count(), 31);
    // Within a family from bright to dark, as the JSON says it too.
    for (pair, objects) in csv.windows(2).zip(list.windows(2)) {
        let bright = |row: &Row| -> i32 { row["brightness"].parse().expect("a number") };
        let (a, b) = (bright(&pair[0]), bright(&pair[1]));
        assert!(
            pair[0]["family"] != pair[1]["family"] || a >= b,
            "{}",
            pair[1]["id"]
        );
        assert_eq!(objects[0]["brightness"], a);
    }
    // Of the diatonic ones Dorian is told by its sixth, and falls from Mixolydian by its third.
    let dorian = list.iter().find(|m| m["id"] == "dorian").expect("dorian");
    assert_eq!(dorian["characteristic"][0]["note"], "A");
    assert_eq!(dorian["altered"][0]["degree"], "♭3");
}

#[test]
fn the_commands_print_what_was_asked_for() {
    // In one word or several, in any case, with any accidental.
    let text = printed(&["harmonize", "E♭ mixolydian"]);
    for other in [
        &["harmonize", "Eb", "mixolydian"][..],
        &["harmonize", "eb", "MIXOLYDIAN", "--format", "text"],
    ] {
        assert_eq!(printed(other), text);
    }
    assert!(text.contains("♭VIIM7  D♭maj7  D♭ F A♭ C   ≠•"), "{text}");

    let both = printed(&["harmonize", "D", "dorian", "--beside", "D", "aeolian"]);
    let turned = printed(&["harmonize", "--beside", "D aeolian", "D dorian"]);
    assert_eq!(turned, both);

    let one = json(&["harmonize", "D dorian", "--format", "json"]);
    assert_eq!(one["tonality"]["mode"], "dorian");
    assert_eq!(one["parallel"], "aeolian");
    let fourth = &one["forms"][0]["degrees"][3];
    assert_eq!(fourth["seventh"]["label"], "G7");
    assert_eq!(fourth["seventh"]["numeral"], "IV7");
    assert_eq!(fourth["triad"]["differs"], true);
    assert_eq!(
        fourth["triad"]["pitch_classes"],
        serde_json::json!([7, 11, 2])
    );

    let minor = json(&["harmonize", "A", "minor", "--format", "json"]);
    let forms: Vec<&Value> = (0..3).map(|i| &minor["forms"][i]["form"]).collect();
    assert_eq!(forms, ["natural", "harmonic", "melodic"]);
    assert_eq!(minor["forms"][1]["degrees"][4]["seventh"]["label"], "E7");

    let both = json(&[
        "harmonize",
        "D dorian",
        "--beside",
        "G",
        "ionian",
        "--format",
        "json",
    ]);
    assert_eq!(
        both["altered"],
        serde_json::json!([{"left": "F", "right": "F♯"}])
    );
    assert_eq!(both["common"].as_array().map(Vec::len), Some(7));
    assert_eq!(both["degrees"][3]["triad"]["quality"], false);
    let csv = printed(&[
        "harmonize",
        "D dorian",
        "--beside",
        "G ionian",
        "--format",
        "csv",
    ]);
    let csv = rows(&csv, b',');
    assert_eq!(csv.len(), 14);
    assert_eq!(
        (&*csv[2]["left_label"], &*csv[2]["left_numeral_in_right"]),
        ("Em", "vi")
    );
    assert_eq!(
        (&*csv[2]["right_label"], &*csv[2]["right_numeral_in_left"]),
        ("Am", "v")
    );
    assert_eq!(csv[0]["left_numeral_in_right"], "");

    let card = json(&["modes", "phrygian", "--on", "E", "--format", "json"]);
    assert_eq!(card["same_notes"][5], "D Dorian");
    assert_eq!(card["scale"]["tonality"]["name"], "E Phrygian");
    let csv = printed(&["modes", "phrygian", "--on", "E", "--format", "csv"]);
    assert_eq!(rows(&csv, b',')[1]["label"], "Em7");
}

/// Minor of common practice is one mode, whose sixth and seventh move; its three forms by
/// name are scales of seven notes.
#[test]
fn minor_has_its_forms_and_each_has_seven_chords() {
    let minor = printed(&["harmonize", "A minor"]);
    assert!(minor.contains("G♯") && minor.contains("F♯"), "{minor}");
    let sevenths = |name: &str| -> Vec<String> {
        let csv = printed(&["harmonize", &format!("C {name}"), "--format", "csv"]);
        let rows = rows(&csv, b',').into_iter();
        let rows = rows.filter(|r| r["size"] == "seventh");
        rows.map(|r| r["label"].clone()).collect()
    };
    // The jazz scale, in both directions as it ascends. Common practice, no source.
    let melodic = ["Cm(maj7)", "Dm7", "E♭maj7♯5", "F7", "G7", "Am7♭5", "Bm7♭5"];
    assert_eq!(sevenths("melodic minor"), melodic);
    assert_eq!(sevenths("jazz minor"), melodic);
    assert_eq!(
        sevenths("harmonic minor"),
        [
            "Cm(maj7)",
            "Dm7♭5",
            "E♭maj7♯5",
            "Fm7",
            "G7",
            "A♭maj7",
            "B°7"
        ]
    );
    assert_eq!(sevenths("natural minor"), sevenths("aeolian"));
}

/// A scale is found by any of its names wherever a tonality is typed, and a word that
/// stands for several names them.
#[test]
fn scales_are_found_by_the_names_of_the_trade() {
    for (name, other) in [
        ("altered", "super-Locrian"),
        ("altered", "diminished whole-tone scale"),
        ("lydian_dominant", "overtone scale"),
        ("phrygian_dominant", "Spanish"),
        ("locrian_nat2", "half-diminished scale"),
        ("ionian_flat6", "harmonic major"),
        ("octatonic_half_whole", "dominant diminished"),
        ("octatonic_whole_half", "whole-half diminished"),
        ("hungarian_minor", "double harmonic minor"),
    ] {
        let args = |name: &str| printed(&["harmonize", &format!("E♭ {name}"), "--format", "json"]);
        assert_eq!(args(other), args(name), "{other}");
        assert_eq!(printed(&["modes", other]), printed(&["modes", name]));
        let card = json(&["modes", name, "--format", "json"]);
        assert_eq!(card["id"], name);
        let scale = card["estimated"] == false;
        assert_eq!(
            scale,
            name.contains("octatonic") || name.contains("hungarian")
        );
    }
    let (code, out, err) = peregrinus(&["harmonize", "C diminished"]);
    assert_eq!((code, out.as_str()), (Some(2), ""));
    for meant in [
        "octatonic_whole_half (1 2 ♭3 4",
        "octatonic_half_whole (1 ♭2 ♭3 3",
    ] {
        assert!(err.contains(meant), "{err}");
    }
    // Plain notes, in German as well: the fourth is no Eis.
    let home = tempfile::tempdir().expect("a folder");
    let settings = home.path().join("settings.toml");
    std::fs::write(&settings, "[notation]\nletters = 'german'\n").expect("written");
    let file = settings.to_str().expect("a path");
    let text = printed(&["--settings", file, "harmonize", "H octatonic half-whole"]);
    assert!(
        text.starts_with("H octatonic half-whole   H C D Dis F Fis Gis A\n"),
        "{text}"
    );
}

/// The user's conventions hold in all of it, and modes of the user's own are known.
#[test]
fn settings_and_modes_of_ones_own_are_heeded() {
    let home = tempfile::tempdir().expect("a folder");
    let settings = home.path().join("settings.toml");
    let glyphs = "[notation]\nglyphs = 'ascii'\nnumerals = 'mode'\nionian = 'major'\n";
    std::fs::write(&settings, glyphs).expect("written");
    // Nine steps, which no stack of thirds has; a name with a comma and a quotation mark.
    let own = "[[mode]]\nid = 'own'\nname = 'a \"strange\", long one'\n\
               degrees = '1 b2 2 b3 3 4 #4 5 b7'\nscored_as = 'mixolydian'\nparent = 'own'\n";
    std::fs::write(home.path().join("modes.toml"), own).expect("written");
    let file = settings.to_str().expect("a path");
    let text = printed(&[
        "--settings",
        file,
        "harmonize",
        "F dorian",
        "--beside",
        "F major",
    ]);
    assert!(text.is_ascii(), "{text}");
    assert!(text.contains("F Dorian beside F major"), "{text}");
    assert!(text.contains("VII    Eb"), "{text}");
    for format in ["text", "json", "csv"] {
        let args = ["--settings", file, "harmonize", "E own", "--format", format];
        assert!(printed(&args).contains("strange"), "{format}");
        let args = ["--settings", file, "modes", "own", "--format", format];
        assert!(printed(&args).contains("strange"), "{format}");
        let args = ["--settings", file, "modes", "--format", format];
        assert!(printed(&args).contains("strange"), "{format}");
    }
    let csv = printed(&["--settings", file, "harmonize", "E own", "--format", "csv"]);
    let all = rows(&csv, b',');
    assert_eq!(all.iter().filter(|r| r["form"].is_empty()).count(), 18);
    assert!(
        all.iter()
            .any(|r| r["form"] == "thirds" && r["label"] == "E7")
    );
    assert!(
        all.iter()
            .all(|r| r["tonality"] == "E a \"strange\", long one")
    );
    assert!(all.iter().all(|r| r["differs"].is_empty()));
}

/// JSON and CSV say the same of every mode on every center.
#[test]
fn json_and_csv_agree() {
    let c = Catalogue::standard();
    let n = Notation::default();
    let w = Words {
        catalogue: c,
        notation: &n,
    };
    let (mut chords, mut thirds) = (0, 0);
    for (mode, m) in c.all() {
        for center in (0..12).map(PitchClass::new) {
            let t = Tonality { center, mode };
            let h = Harmonized::new(c.spelled(t, None), c);
            let json = scale_json(&w, &h).expect("JSON");
            let json: Value = serde_json::from_str(&json).expect("JSON");
            let mut csv = rows(&scale_csv(&w, &h).expect("a table"), b',').into_iter();
            for form in json["forms"].as_array().expect("forms") {
                for step in form["degrees"].as_array().expect("degrees") {
                    for size in ["triad", "seventh"] {
                        let stack = &step[size];
                        if stack.is_null() {
                            continue;
                        }
                        let row = csv.next().expect("as many rows");
                        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
                        assert_eq!(row["size"], size, "{}", m.id);
                        assert_eq!(row["label"], text(&stack["label"]));
                        assert_eq!(row["numeral"], text(&stack["numeral"]));
                        assert_eq!(row["degree"], text(&step["degree"]));
                        assert_eq!(row["form"], text(&form["form"]));
                        chords += 1;
                    }
                }
            }
            for degree in json["thirds"].as_array().expect("thirds") {
                for stack in degree["chords"].as_array().expect("chords") {
                    let row = csv.next().expect("as many rows");
                    assert_eq!(row["form"], "thirds", "{}", m.id);
                    assert_eq!(degree["degree"], row["degree"].as_str());
                    assert_eq!(stack["label"], row["label"].as_str());
                    let notes = stack["notes"].as_array().expect("notes").len();
                    assert_eq!(row["size"], if notes == 3 { "triad" } else { "seventh" });
                    thirds += 1;
                }
            }
            assert_eq!(csv.next(), None, "{}", m.id);
        }
    }
    assert!(chords > 48 * 12 * 10 && thirds > 12 * 100);
}
