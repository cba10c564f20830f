//! Music theory against tables that others made: tests/reference/, whose README.md
//! names the sources.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use peregrinus::theory::{
    Around, Catalogue, Chord, Context, Glyphs, Harmonized, Hearing, Kinds, Mode, ModeId, Notation,
    Numeral, NumeralBasis, PitchClass, PitchClassSet, Role, Sonority, SpelledTonality, Spelling,
    Tonality, analyse,
};

#[path = "python/mod.rs"]
mod python;
use python::Python;

/// A table: rows by column name.
struct Table {
    head: Vec<&'static str>,
    rows: Vec<Vec<&'static str>>,
}

struct Row<'t>(&'t Table, &'t [&'static str]);

impl Table {
    fn new(text: &'static str, rows: usize) -> Table {
        let mut lines = text
            .lines()
            .filter(|l| !l.starts_with('#') && !l.is_empty());
        let head: Vec<&str> = lines.next().expect("a head").split('\t').collect();
        let table = Table {
            rows: lines.map(|l| l.split('\t').collect()).collect(),
            head,
        };
        assert_eq!(table.rows.len(), rows, "the table is not whole");
        table
    }

    fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|r| Row(self, r))
    }
}

impl Row<'_> {
    fn get(&self, column: &str) -> &'static str {
        let i = self.0.head.iter().position(|h| *h == column);
        self.1[i.unwrap_or_else(|| panic!("no column {column}"))]
    }

    fn set(&self, column: &str) -> PitchClassSet {
        set(self.get(column))
    }

    fn number(&self, column: &str) -> i32 {
        self.get(column).parse().expect("a number")
    }
}

fn set(list: &str) -> PitchClassSet {
    list.split(',')
        .map(|n| PitchClass::new(n.parse().expect("a pitch class")))
        .collect()
}

fn modes() -> Table {
    Table::new(include_str!("reference/modes.tsv"), 54)
}

fn diatonic_chords() -> Table {
    Table::new(include_str!("reference/diatonic_chords.tsv"), 63)
}

fn chord_names() -> Table {
    Table::new(include_str!("reference/chord_names.tsv"), 194)
}

const BRIGHT_TO_DARK: [&str; 7] = [
    "lydian",
    "ionian",
    "mixolydian",
    "dorian",
    "aeolian",
    "phrygian",
    "locrian",
];

fn find(id: &str) -> (ModeId, &'static Mode) {
    Catalogue::standard()
        .all()
        .find(|(_, m)| m.id == id)
        .unwrap_or_else(|| panic!("no mode {id}"))
}

/// Centers on which a mode stands, spelled as a musician would: 0-11.
fn tonality(center: i32, mode: ModeId) -> SpelledTonality {
    let t = Tonality {
        center: PitchClass::new(center),
        mode,
    };
    SpelledTonality::new(t, Catalogue::standard().spell(t, None))
}

// ---- modes ----

/// What the table has under another name: our id, the table's, the name that we show.
const CALLED_OTHERWISE: [(&str, &str, &str); 12] = [
    ("harmonic_minor", "harmonic_minor", "harmonic minor"),
    ("melodic_minor", "melodic_minor", "melodic minor"),
    ("double_harmonic", "double_harmonic", "double harmonic"),
    ("whole_tone", "whole_tone", "whole-tone"),
    (
        "octatonic_half_whole",
        "octatonic_hw",
        "octatonic half-whole",
    ),
    (
        "octatonic_whole_half",
        "octatonic_wh",
        "octatonic whole-half",
    ),
    ("major_blues", "blues_major", "major blues"),
    ("ionian_flat6", "harmonic_major", "Ionian b6"),
    ("locrian_dim7", "locrian_flatflat7", "Locrian bb7"),
    ("major_pentatonic", "pentatonic_major", "major pentatonic"),
    ("minor_pentatonic", "pentatonic_minor", "minor pentatonic"),
    ("blues", "blues_minor", "blues"),
];

#[test]
fn every_mode_has_the_notes_and_the_parent_of_the_table() {
    let table = modes();
    let rows: BTreeMap<&str, Row> = table.rows().map(|r| (r.get("id"), r)).collect();
    let mut compared = 0;
    for (_, mode) in Catalogue::standard().all() {
        if mode.id == "minor" {
            // One tonality: its usual form is the natural one, and the harmonic and
            // the melodic form bring nothing that it does not hold.
            let forms =
                ["aeolian", "harmonic_minor", "melodic_minor"].map(|id| rows[id].set("set"));
            assert_eq!(mode.set(), forms[0]);
            assert_eq!(mode.all_forms(), forms[0].or(forms[1]).or(forms[2]));
            continue;
        }
        let otherwise = CALLED_OTHERWISE.iter().find(|c| c.0 == mode.id);
        let row = rows
            .get(otherwise.map_or(mode.id.as_str(), |c| c.1))
            .unwrap_or_else(|| panic!("{} is not in the table", mode.id));
        assert_eq!(mode.set(), row.set("set"), "{}", mode.id);
        assert_eq!(
            i32::from(mode.set().mask()),
            row.number("mask"),
            "{}",
            mode.id
        );
        assert_eq!(mode.parent, row.get("parent"), "{}", mode.id);
        let name = mode
            .name
            .replace('♮', "natural ")
            .replace('♭', "b")
            .replace('♯', "#")
            .replace('𝄫', "bb");
        assert_eq!(name, otherwise.map_or(row.get("name"), |c| c.2));
        compared += 1;
    }
    assert_eq!(compared, 47);
    // And none of the collections is left incomplete.
    for row in table.rows() {
        let parent = row.get("parent");
        // Another name of Lydian dominant.
        let covered = row.get("id") == "acoustic";
        let collections = [
            "diatonic",
            "harmonic minor",
            "melodic minor",
            "harmonic major",
            "double harmonic",
            "whole-tone",
            "octatonic",
            "blues",
            "bebop",
        ];
        if collections.contains(&parent) && !covered {
            let otherwise = CALLED_OTHERWISE.iter().find(|c| c.1 == row.get("id"));
            find(otherwise.map_or(row.get("id"), |c| c.0));
        }
    }
}

#[test]
fn a_set_turns_into_itself_as_often_as_the_table_says() {
    for row in modes().rows() {
        let set = row.set("set");
        let different: BTreeSet<PitchClassSet> = (0..12).map(|n| set.up(n)).collect();
        assert_eq!(
            different.len() as i32,
            row.number("transpositions"),
            "{}",
            row.get("id")
        );
    }
}

/// Order: Open Music Theory v2. Sums and differences: computed.
#[test]
fn brightness_falls_by_one_from_lydian_to_locrian() {
    let found: Vec<&Mode> = BRIGHT_TO_DARK.map(|id| find(id).1).to_vec();
    let sums: Vec<usize> = found
        .iter()
        .map(|m| m.set().iter().map(PitchClass::index).sum())
        .collect();
    assert_eq!(sums, [39, 38, 37, 36, 35, 34, 33]);
    assert_eq!(
        found.iter().map(|m| m.brightness()).collect::<Vec<_>>(),
        [1, 0, -1, -2, -3, -4, -5]
    );
    // The degree that falls by a semitone on the way to the next.
    for (pair, number) in found.windows(2).zip([4, 7, 3, 6, 2, 5]) {
        let fallen: Vec<u8> = pair[0]
            .degrees
            .iter()
            .zip(&pair[1].degrees)
            .filter(|(a, b)| a != b)
            .map(|(a, b)| {
                assert_eq!(a.alter, b.alter + 1);
                a.number
            })
            .collect();
        assert_eq!(fallen, [number]);
    }
    assert!(found[..3].iter().all(|m| m.is_major()));
    assert!(found[3..].iter().all(|m| !m.is_major()));
    // Mirror images: Dorian of itself, the others in pairs.
    let mirror = |m: &Mode| -> PitchClassSet {
        m.set()
            .iter()
            .map(|p| PitchClass::new(-(p.index() as i32)))
            .collect()
    };
    for i in 0..7 {
        assert_eq!(mirror(found[i]), found[6 - i].set());
    }
}

/// Signature = place of the tonic on the line of fifths + offset of the mode;
/// 119 of 119 equal music21's `Key.sharps`.
#[test]
fn signatures_of_seventeen_tonics() {
    let c = Catalogue::standard();
    for fifths in -6..=10i8 {
        for (id, offset) in BRIGHT_TO_DARK.iter().zip([1, 0, -1, -2, -3, -4, -5]) {
            let tonic = Spelling::at(fifths);
            let signature = c.signature(tonic, find(id).0);
            assert_eq!(signature, i32::from(fifths) + offset, "{tonic} {id}");
        }
    }
    // By name, as printed music has them.
    for (name, sharps) in [
        ("Gb locrian", -11),
        ("F# locrian", 1),
        ("F# lydian", 7),
        ("Gb lydian", -5),
        ("Eb dorian", -5),
        ("C# aeolian", 4),
        ("E mixolydian", 3),
    ] {
        let t = c.parse_tonality(name).expect(name);
        assert_eq!(c.signature(t.tonic, t.tonality.mode), sharps, "{name}");
    }
}

/// The practical rule: the signature lies within six sharps or flats; of six
/// sharps and six flats the flat one, unless the center before was sharper.
#[test]
fn a_center_is_spelled_with_the_fewest_accidentals() {
    let c = Catalogue::standard();
    let mut ties = 0;
    // Major is Ionian; minor stands beside Aeolian.
    for id in BRIGHT_TO_DARK.into_iter().chain(["minor"]) {
        let (mode, _) = find(id);
        for center in 0..12 {
            let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
            assert_eq!(tonic.pitch_class(), t.center);
            let signature = c.signature(tonic, mode);
            assert!((-6..=6).contains(&signature), "{tonic} {id}: {signature}");
            // Every other way to write it has more accidentals, or as many sharps.
            for other in [tonic.fifths() - 12, tonic.fifths() + 12].map(Spelling::at) {
                let alternative = c.signature(other, mode);
                let plainer = other.accidental().abs() - tonic.accidental().abs();
                let flat = signature == -6;
                assert!(
                    alternative.abs() > signature.abs()
                        || alternative == -signature && (plainer > 0 || plainer == 0 && flat)
                );
                if alternative == -signature {
                    ties += 1;
                    // Of two tonics as plain, the one nearer to the center before.
                    let near = |f: i8| c.spell(t, Some(Spelling::at(f)));
                    let from_there =
                        near(other.fifths() + (other.fifths() - tonic.fifths()).signum());
                    assert_eq!(from_there, if plainer == 0 { other } else { tonic }, "{id}");
                    assert_eq!(near(tonic.fifths()), tonic, "{id}");
                }
            }
        }
    }
    assert_eq!(ties, 8, "one center of each mode");
    let tonic = tonality(6, find("ionian").0).tonic;
    assert_eq!(tonic.to_string(), "G♭");
}

// ---- symmetry: computed facts, which our sets must reproduce ----

#[test]
fn cycles_of_centers_and_tones_in_common() {
    for (step, centers) in [
        (1, 12),
        (2, 6),
        (3, 4),
        (4, 3),
        (5, 12),
        (6, 2),
        (7, 12),
        (11, 12),
    ] {
        let mut at = PitchClass::new(0);
        let mut seen = PitchClassSet::EMPTY;
        while !seen.contains(at) {
            seen = seen.with(at);
            at = at.up(step);
        }
        assert_eq!(seen.len(), centers, "by {step} semitones");
    }
    for (what, common) in [
        ("0,2,4,5,7,9,11", [7, 2, 5, 4, 3, 6, 2, 6, 3, 4, 5, 2]),
        ("0,4,7", [3, 0, 0, 1, 1, 1, 0, 1, 1, 1, 0, 0]),
        ("0,2,4,7,9", [5, 0, 3, 2, 1, 4, 0, 4, 1, 2, 3, 0]),
    ] {
        let s = set(what);
        let shared: Vec<usize> = (0..12).map(|n| s.and(s.up(n)).len()).collect();
        assert_eq!(shared, common, "{what}");
    }
    // Major thirds do not close: C E G♯ B♯. Minor thirds neither: C E♭ G♭ B𝄫.
    let up = |steps, semitones, times| {
        (0..times).fold(Spelling::C, |s: Spelling, _| s.up(steps, semitones))
    };
    assert_eq!(up(2, 4, 3).to_string(), "B♯");
    assert_eq!(up(2, 3, 3).to_string(), "B♭♭");
}

/// Twelve sets, seven tonalities each, over the diatonic modes.
#[test]
fn relatives_share_their_notes() {
    let c = Catalogue::standard();
    let mut by_set: BTreeMap<PitchClassSet, usize> = BTreeMap::new();
    for id in BRIGHT_TO_DARK {
        for center in 0..12 {
            *by_set
                .entry(c.set(tonality(center, find(id).0).tonality))
                .or_default() += 1;
        }
    }
    assert_eq!(by_set.len(), 12);
    assert!(by_set.values().all(|&n| n == 7));
}

/// Sets that more than one chord has: the bass decides.
#[test]
fn chords_that_share_their_notes_are_told_apart_by_the_bass() {
    for (symbol, roots) in [("aug", 3), ("dim7", 4), ("7b5", 2)] {
        let kinds = Kinds::standard();
        let kind = kinds.find(symbol).expect(symbol);
        let notes = kinds.kind(kind).set();
        let named: BTreeSet<PitchClass> = notes
            .iter()
            .filter_map(|bass| kinds.name(notes, bass, PitchClassSet::ALL).chord())
            .filter(|c| c.kind == kind && c.root == c.bass)
            .map(|c| c.root)
            .collect();
        assert_eq!(named.len(), roots, "{symbol}");
    }
}

// ---- chords on the degrees of scales ----

const ASCII: Glyphs = Glyphs::Ascii;

/// The table's `viio7`, `bVII` in our glyphs.
fn pretty(numeral: &str) -> String {
    numeral
        .replace('o', "°")
        .replace('b', "♭")
        .replace('#', "♯")
}

fn notation(numeral_basis: NumeralBasis) -> Notation {
    Notation {
        glyphs: Glyphs::Unicode,
        numeral_basis,
        ..Notation::PLAIN
    }
}

/// The numeral with nothing around it.
fn numeral(chord: Chord, t: Tonality, tonic: Spelling, c: &Catalogue, n: &Notation) -> String {
    analyse(chord, &Context::new(SpelledTonality::new(t, tonic)), c).text(n)
}

/// The members of a chord as stacked thirds.
fn spelled(chord: Chord, root: Spelling) -> Vec<Spelling> {
    let kind = Kinds::standard().kind(chord.kind);
    kind.members
        .iter()
        .map(|m| root.up((m.number as usize - 1) % 7, i32::from(m.semitones)))
        .collect()
}

#[test]
fn triads_and_sevenths_of_every_scale_in_every_transposition() {
    let c = Catalogue::standard();
    let kinds = Kinds::standard();
    let mut faults = String::new();
    let mut compared = 0;
    for row in diatonic_chords().rows() {
        // Harmonic and melodic minor are forms of minor.
        let id = row.get("mode");
        let minor = id.ends_with("_minor");
        let (mode, _) = find(if minor { "minor" } else { id });
        for center in 0..12 {
            let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
            let root = t.center.up(row.number("root_semitones"));
            let triad = match row.get("triad") {
                "major" => "",
                "minor" => "m",
                "diminished" => "dim",
                "augmented" => "aug",
                other => panic!("{other}"),
            };
            let seventh = match row.get("seventh_symbol") {
                "+maj7" => "maj7#5",
                other => other,
            };
            for (prefix, symbol) in [("triad", triad), ("seventh", seventh)] {
                let roman = if prefix == "triad" { "" } else { "seventh_" };
                let at = format!("{tonic} {id} {} {prefix}", row.get("degree"));
                let pcs = row.set(&format!("{prefix}_pcs")).up(center);
                let Sonority::Chord(chord) = kinds.name(pcs, root, c.all_forms(t)) else {
                    let _ = writeln!(faults, "{at}: no chord");
                    continue;
                };
                let mut differs = |what: &str, want: String, is: String| {
                    compared += 1;
                    if want != is {
                        let _ = writeln!(faults, "{at}: {what} {want} expected, is {is}");
                    }
                };
                let is = &kinds.kind(chord.kind).symbol;
                differs("kind", symbol.to_owned(), is.clone());
                let root_spelled = notation(NumeralBasis::MajorScale).root(
                    chord,
                    Some(SpelledTonality { tonality: t, tonic }),
                    c,
                );
                let notes: Vec<String> = spelled(chord, root_spelled)
                    .iter()
                    .map(|s| s.text(ASCII))
                    .collect();
                let want: Vec<String> = row
                    .get(&format!("{prefix}_notes_on_C"))
                    .split(' ')
                    .map(|n| {
                        let on_c: Spelling = n.parse().expect("a note");
                        Spelling::at(on_c.fifths() + tonic.fifths()).text(ASCII)
                    })
                    .collect();
                differs("notes", want.join(" "), notes.join(" "));
                // A note by itself inside the tonality is spelled the same.
                let alone: Vec<String> = spelled(chord, root_spelled)
                    .iter()
                    .map(|s| {
                        notation(NumeralBasis::MajorScale).note(
                            s.pitch_class(),
                            Some(SpelledTonality { tonality: t, tonic }),
                            c,
                        )
                    })
                    .map(|s| s.text(ASCII))
                    .collect();
                differs("notes by themselves", want.join(" "), alone.join(" "));
                // Minor counts by its own degrees either way.
                let by = |column: &str| pretty(row.get(&format!("{roman}{column}")));
                let against_major = if minor {
                    "roman_modal"
                } else {
                    "roman_vs_major"
                };
                for (basis, column) in [
                    (NumeralBasis::MajorScale, against_major),
                    (NumeralBasis::Mode, "roman_modal"),
                ] {
                    let is = numeral(chord, t, tonic, c, &notation(basis));
                    differs(&format!("numeral by {basis:?}"), by(column), is);
                }
            }
        }
    }
    assert!(faults.is_empty(), "\n{faults}");
    assert_eq!(compared, 63 * 12 * 2 * 5);
}

#[test]
fn modal_progressions_have_the_numerals_of_the_textbooks() {
    let c = Catalogue::standard();
    let table = Table::new(include_str!("reference/modal_progressions.tsv"), 30);
    for row in table.rows() {
        let id = row.get("id");
        let mode = match row.get("mode") {
            "harmonic_minor" => "minor",
            other => other,
        };
        let (mode, _) = find(mode);
        let mut all = PitchClassSet::EMPTY;
        for chord in row.get("chords").split(' ') {
            let parts: Vec<&str> = chord.split(':').collect();
            let bass = PitchClass::new(parts[2].parse().expect("a bass"));
            all = all.or(set(parts[1]));
            for center in 0..12 {
                let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
                let pcs = set(parts[1]).up(center);
                let s = Kinds::standard().name(pcs, bass.up(center), c.all_forms(t));
                let chord = s
                    .chord()
                    .unwrap_or_else(|| panic!("{id}: {parts:?} is no chord"));
                let is = numeral(chord, t, tonic, c, &notation(NumeralBasis::MajorScale));
                assert_eq!(is, pretty(parts[0]), "{id} on {tonic}");
            }
        }
        // Which modes the notes alone cannot tell apart.
        let fits: BTreeSet<&str> = BRIGHT_TO_DARK
            .into_iter()
            .filter(|m| all.is_subset(find(m).1.set()))
            .collect();
        let want: BTreeSet<&str> = row
            .get("fits")
            .split(',')
            .filter(|m| !m.is_empty() && *m != "harmonic_minor")
            .collect();
        assert_eq!(fits, want, "{id}");
        let outside = if row.get("outside_mode").is_empty() {
            PitchClassSet::EMPTY
        } else {
            row.set("outside_mode")
        };
        if row.get("mode") != "harmonic_minor" {
            assert_eq!(all.minus(c.mode(mode).set()), outside, "{id}");
        }
    }
}

/// RomanText to our figures; `None` for what rests on context: chords applied to
/// another degree.
fn textbook(numeral: &str, mode: &str) -> Option<String> {
    if numeral.contains('/') {
        return None;
    }
    let numeral = match numeral {
        "Cad64" if mode == "major" => "I64",
        "Cad64" => "i64",
        other => other,
    };
    let numeral = match numeral.strip_suffix('2') {
        Some(stem) if !stem.ends_with('4') => format!("{stem}42"),
        _ => numeral.to_owned(),
    };
    // Our half-diminished and diminished chords carry the same signs.
    Some(pretty(&numeral))
}

/// Numerals of the textbook table that we write otherwise on purpose: mode, theirs, ours.
const TEXTBOOK_OTHERWISE: [(&str, &str, &str); 2] = [
    // Minor counts by its own degrees: VII is the natural one.
    ("minor", "bVII", "VII"),
    ("minor", "bVII6", "VII6"),
];

/// Whether two chords have the same notes and each its own right to the root: the
/// inverted seventh of the textbooks is a sixth chord on lead sheets (C6 or Am7/C),
/// a diminished seventh has as many roots as notes. There the bass decides.
fn bass_decides(chord: Chord) -> bool {
    let symbol = Kinds::standard().kind(chord.kind).symbol.as_str();
    chord.root == chord.bass && ["6", "m6", "dim7"].contains(&symbol)
}

#[test]
fn textbook_chords_have_root_inversion_and_numeral() {
    let c = Catalogue::standard();
    let table = Table::new(include_str!("reference/textbook_chords.tsv"), 499);
    let mut faults = BTreeSet::new();
    let (mut numerals, mut by_bass, mut otherwise) = (0, 0, BTreeSet::new());
    for row in table.rows() {
        let key = row.get("mode");
        let (mode, _) = find(if key == "major" { "ionian" } else { "minor" });
        let tonic: Spelling = row.get("key").parse().expect("a key");
        let t = Tonality {
            center: tonic.pitch_class(),
            mode,
        };
        let bass = PitchClass::new(row.number("bass"));
        let named = Kinds::standard().name(row.set("pcs"), bass, c.all_forms(t));
        let at = format!("{} {key}: {}", row.get("key"), row.get("numeral"));
        let Some(chord) = named.chord() else {
            faults.insert(format!("{at}: no chord"));
            continue;
        };
        let inversion = match chord.bass_member().map(|m| m.number) {
            Some(1) => 0,
            Some(3) => 1,
            Some(5) => 2,
            Some(7) => 3,
            other => panic!("{at}: bass {other:?}"),
        };
        let root = chord.root.index() as i32;
        if (root, inversion) != (row.number("root"), row.number("inversion")) {
            if bass_decides(chord) && row.number("inversion") > 0 {
                by_bass += 1;
            } else {
                faults.insert(format!("{at}: root {root}, inversion {inversion}"));
            }
            continue;
        }
        let Some(want) = textbook(row.get("numeral"), key) else {
            continue;
        };
        numerals += 1;
        let is = numeral(chord, t, tonic, c, &notation(NumeralBasis::Mode));
        if is != want {
            let known = TEXTBOOK_OTHERWISE
                .iter()
                .find(|k| **k == (key, row.get("numeral"), is.as_str()));
            match known {
                Some(k) => {
                    otherwise.insert(*k);
                }
                None => {
                    faults.insert(format!("{at}: {want} expected, is {is}"));
                }
            }
        }
    }
    assert!(
        faults.is_empty(),
        "\n{}",
        faults.iter().cloned().collect::<Vec<_>>().join("\n")
    );
    assert!(numerals > 350, "{numerals} numerals compared");
    assert_eq!(by_bass, 14, "seventh chords that are named from their bass");
    assert_eq!(
        otherwise.len(),
        TEXTBOOK_OTHERWISE.len(),
        "an exception is idle"
    );
}

// ---- numerals in context ----

/// The rows of a textbook example with the chords around each.
struct Placed {
    row: usize,
    chord: Chord,
    within: SpelledTonality,
    /// Live, and in hindsight.
    around: [Around; 2],
}

impl Placed {
    fn numeral(&self, hindsight: bool) -> Numeral {
        let around = self.around[usize::from(hindsight)];
        let context = Context::new(self.within).among(around);
        analyse(self.chord, &context, Catalogue::standard())
    }
}

fn textbook_in_context() -> Vec<Placed> {
    let c = Catalogue::standard();
    let table = Table::new(include_str!("reference/textbook_chords.tsv"), 499);
    let rows: Vec<Row> = table.rows().collect();
    let all: Vec<(Chord, SpelledTonality)> = rows
        .iter()
        .map(|row| {
            let id = match row.get("mode") {
                "major" => "ionian",
                other => other,
            };
            let tonic: Spelling = row.get("key").parse().expect("a key");
            let t = Tonality {
                center: tonic.pitch_class(),
                mode: find(id).0,
            };
            let bass = PitchClass::new(row.number("bass"));
            let named = Kinds::standard().name(row.set("pcs"), bass, c.all_forms(t));
            (
                named.chord().expect("a chord"),
                SpelledTonality::new(t, tonic),
            )
        })
        .collect();
    let same = |i: usize, j: &usize| rows[i].get("example") == rows[*j].get("example");
    (0..all.len())
        .map(|i| {
            let (chord, within) = all[i];
            let earlier = (0..i).rev().take_while(|j| same(i, j)).map(|j| all[j].0);
            let later = (i + 1..all.len())
                .take_while(|j| same(i, j))
                .map(|j| all[j].0);
            Placed {
                row: i,
                chord,
                within,
                around: [
                    Around::new(chord, earlier.clone(), []),
                    Around::new(chord, earlier, later),
                ],
            }
        })
        .collect()
}

/// Every chord of the textbooks, by its key, the harmony before and the next ones, against
/// the answers that a musician accepts: the corpus' own, and where `class` says why,
/// another.
#[test]
fn textbook_numerals_are_those_that_a_musician_accepts() {
    let chords = Table::new(include_str!("reference/textbook_chords.tsv"), 499);
    let table = Table::new(include_str!("reference/textbook_numerals.tsv"), 499);
    let accepted = |row: &Row| -> Vec<String> {
        let all = row.get("accepted").split('|');
        all.map(pretty).collect()
    };
    let rows: Vec<Row> = table.rows().collect();
    for (a, b) in chords.rows().zip(&rows) {
        for column in ["example", "measure", "key", "mode", "numeral"] {
            assert_eq!(a.get(column), b.get(column), "the tables are of one order");
        }
    }
    let mut faults = String::new();
    let mut classes: BTreeMap<&str, usize> = BTreeMap::new();
    let mut live = 0;
    for placed in textbook_in_context() {
        let row = &rows[placed.row];
        let all = accepted(row);
        assert_eq!(
            row.get("class").is_empty(),
            all.len() == 1,
            "a reason for each"
        );
        assert_eq!(row.get("class").is_empty(), row.get("reason").is_empty());
        let is = placed.numeral(true).text(&Notation::default());
        if !all.contains(&is) {
            let at = ["example", "key", "mode", "numeral"]
                .map(|c| row.get(c))
                .join(" ");
            let _ = writeln!(faults, "{at}: {all:?} accepted, is {is}");
        }
        // The corpus' reading stands last.
        let class = match all.last() {
            Some(last) if *last == is => "as the corpus",
            _ => row.get("class"),
        };
        *classes.entry(class).or_default() += 1;
        live += usize::from(all.contains(&placed.numeral(false).text(&Notation::default())));
    }
    assert!(faults.is_empty(), "\n{faults}");
    let want = [
        ("as the corpus", 466),
        ("borrowed", 4),
        ("mode", 13),
        ("region", 11),
        ("target", 5),
    ];
    assert_eq!(classes, BTreeMap::from(want));
    // What has not been heard yet decides the others.
    assert_eq!(live, 474, "known before the next chord");
}

/// What the mode itself contains wins, in every mode of the catalogue, whatever follows.
#[test]
fn what_the_mode_contains_is_nothing_else() {
    let c = Catalogue::standard();
    let kinds = Kinds::standard();
    let follows: Vec<Option<Chord>> = [None]
        .into_iter()
        .chain((0..24).map(|n| {
            let root = PitchClass::new(n % 12);
            let kind = kinds.find(if n < 12 { "" } else { "m" });
            kind.map(|kind| Chord {
                root,
                kind,
                bass: root,
            })
        }))
        .collect();
    let mut seen = 0;
    for (id, mode) in c.iter() {
        let within = tonality(0, id);
        for (kind, k) in kinds.iter() {
            for root in (0..12).map(PitchClass::new) {
                let set = k.set().up(root.index() as i32);
                // The dim(maj7) of the table is a triad with a foreign note.
                if !set.is_subset(mode.set()) || k.symbol == "dim(maj7)" {
                    continue;
                }
                let chord = Chord {
                    root,
                    kind,
                    bass: root,
                };
                for &after in &follows {
                    let context = Context::new(within).among((None, after));
                    let numeral = analyse(chord, &context, c);
                    let applied = matches!(numeral.role, Role::Applied(_));
                    // Functional minor alone hears VII7 before III as its dominant.
                    if mode.id == "minor" && (after.is_some() && applied || k.members.len() > 4) {
                        continue;
                    }
                    assert_eq!(
                        numeral.role,
                        Role::Diatonic,
                        "{}: {chord:?} {after:?}",
                        mode.id
                    );
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 50_000, "{seen}");
}

/// A key in RomanText: small for minor, and for modes with a minor third.
fn roman_key(SpelledTonality { tonality: t, tonic }: SpelledTonality) -> String {
    let name = tonic.text(ASCII);
    match Catalogue::standard().mode(t.mode).is_major() {
        true => name,
        false => name.to_lowercase(),
    }
}

/// A chord upon the note so far above the center.
fn above(t: Tonality, up: i32, symbol: &str) -> Chord {
    let root = t.center.up(up);
    Chord {
        root,
        kind: Kinds::standard().find(symbol).expect(symbol),
        bass: root,
    }
}

/// In hindsight and in all inversions: chords resolved to V, iv, ii and what is foreign.
fn resolved(within: SpelledTonality) -> Vec<(Chord, Numeral)> {
    let mut all = Vec::new();
    for (symbol, up, to, third) in [
        ("7", 8, 7, ""),
        ("7b5", 8, 7, ""),
        ("7(no5)", 8, 7, ""),
        ("7", 1, 0, "m"),
        ("7", 0, 5, "m"),
        ("dim7", 1, 2, "m"),
        ("7", 10, 3, ""),
        ("m7b5", 9, 2, ""),
        ("7", 2, 7, ""),
        ("dim7", 6, 7, ""),
        ("7", 3, 2, "m"),
        // Augmented sixths of V and iv, common-tone diminished sevenths.
        ("7", 3, 2, ""),
        ("7b5", 3, 2, ""),
        ("7(no5)", 3, 2, ""),
        ("7", 1, 0, "7"),
        ("dim7", 3, 0, ""),
        ("dim7", 6, 0, "m"),
    ] {
        let root = above(within.tonality, up, symbol);
        let after = above(within.tonality, to, third);
        let context = Context::new(within).among((None, Some(after)));
        for m in &Kinds::standard().kind(root.kind).members {
            let bass = root.root.up(i32::from(m.semitones));
            let chord = Chord { bass, ..root };
            all.push((chord, analyse(chord, &context, Catalogue::standard())));
        }
    }
    all
}

/// Textbook chords in their context; triads and sevenths of major and minor in twelve
/// keys and all inversions; what is applied, borrowed, Neapolitan, augmented: all read
/// by music21 as the notes and the bass that they are.
#[test]
fn music21_reads_our_roman_text_as_the_notes_that_sound() {
    let c = Catalogue::standard();
    let kinds = Kinds::standard();
    let mut rows: BTreeSet<String> = BTreeSet::new();
    let mut add = |chord: Chord, within, numeral: Numeral, must: bool| {
        let Some(text) = numeral.roman_text() else {
            assert!(!must, "RomanText can say {chord:?} in {within:?}");
            return;
        };
        let pcs: Vec<String> = chord.set().iter().map(|p| p.index().to_string()).collect();
        let (key, bass) = (roman_key(within), chord.bass.index());
        rows.insert(format!("{key}\t{text}\t{}\t{bass}\n", pcs.join(",")));
    };
    for placed in textbook_in_context() {
        for hindsight in [false, true] {
            add(placed.chord, placed.within, placed.numeral(hindsight), true);
        }
    }
    // Each kind on each of the twelve notes in C, the common ones in two more keys; in the
    // others what belongs to the key, and what is applied in it.
    let common = [
        "", "m", "7", "m7", "maj7", "dim", "m7b5", "dim7", "aug", "m(maj7)",
    ];
    // Aeolian is written as minor.
    for (id, centers) in [("ionian", 0..12), ("minor", 0..12), ("aeolian", 0..1)] {
        for center in centers {
            let within = tonality(center, find(id).0);
            for (kind, k) in kinds.iter() {
                let usual = common.contains(&k.symbol.as_str());
                if !usual && center != 0 {
                    continue;
                }
                for root in (0..12).map(PitchClass::new) {
                    let own = k
                        .set()
                        .up(root.index() as i32)
                        .is_subset(c.all_forms(within.tonality));
                    if !own && ![0, 3, 6].contains(&center) {
                        continue;
                    }
                    for member in &k.members {
                        let bass = root.up(i32::from(member.semitones));
                        if !usual && bass != root {
                            continue;
                        }
                        let chord = Chord { root, kind, bass };
                        let context = Context::new(within);
                        // A ninth in the bass has no figure, nor has D♭ under C E G.
                        let said = member.number < 8 && k.symbol != "dim(maj7)";
                        add(chord, within, analyse(chord, &context, c), said);
                    }
                }
            }
            for (chord, numeral) in resolved(within) {
                add(chord, within, numeral, true);
            }
            for up in [0, 4, 7] {
                let neapolitan = above(within.tonality, 1, "");
                let chord = Chord {
                    bass: neapolitan.root.up(up),
                    ..neapolitan
                };
                add(
                    chord,
                    within,
                    analyse(chord, &Context::new(within), c),
                    true,
                );
            }
        }
    }
    // Every other mode, written in the nearest key: its own chords, those beside it, and
    // what resolves.
    for (id, mode) in c.iter() {
        let within = tonality(2, id);
        for (chord, numeral) in resolved(within) {
            add(chord, within, numeral, true);
        }
        for symbol in common {
            let kind = kinds.find(symbol).expect(symbol);
            let k = kinds.kind(kind);
            for root in (0..12).map(PitchClass::new) {
                let set = k.set().up(root.index() as i32);
                let own = set.is_subset(c.all_forms(within.tonality));
                if !own && mode.parent != "diatonic" {
                    continue;
                }
                for member in k.members.iter().take(if own { 4 } else { 1 }) {
                    let bass = root.up(i32::from(member.semitones));
                    let chord = Chord { root, kind, bass };
                    let numeral = analyse(chord, &Context::new(within), c);
                    // Its ♭♭7 has no name in RomanText.
                    let must = numeral.degree.alter > -2;
                    add(chord, within, numeral, must);
                }
            }
        }
    }
    let said = python::run(
        Python::Checks,
        "python/check_roman.py",
        &[],
        &rows.iter().map(String::as_str).collect::<String>(),
    );
    assert_eq!(said.trim(), format!("{} chords", rows.len()));
    assert!(rows.len() > 2000, "{}", rows.len());
    // The check can fail.
    let wrong = python::fails(
        Python::Checks,
        "python/check_roman.py",
        &[],
        "C\tIV7\t0,3,5,9\t5\n",
    );
    assert!(wrong.contains("C: IV7"), "{wrong}");
}

/// RomanText has major and minor keys; a mode's degrees are those of the nearest.
#[test]
fn roman_text_of_modes_counts_in_the_nearest_key() {
    let c = Catalogue::standard();
    let said = |id: &str, up: i32, symbol: &str| {
        let within = tonality(2, find(id).0);
        let root = PitchClass::new(2 + up);
        let kind = Kinds::standard().find(symbol).expect("a kind");
        let chord = Chord {
            root,
            kind,
            bass: root,
        };
        analyse(chord, &Context::new(within), c).roman_text()
    };
    for (id, up, symbol, want) in [
        ("dorian", 0, "m", "i"),
        ("dorian", 5, "", "IV"),
        ("dorian", 10, "", "VII"),
        ("dorian", 9, "dim", "vio"),
        ("dorian", 3, "maj7", "III7"),
        ("phrygian", 1, "", "bII"),
        ("phrygian", 10, "m", "bvii"),
        ("lydian", 2, "", "II"),
        ("lydian", 6, "dim", "#ivo"),
        ("mixolydian", 10, "", "bVII"),
        ("locrian", 6, "", "bV"),
    ] {
        assert_eq!(said(id, up, symbol).as_deref(), Some(want), "{id}");
    }
}

/// Twelve centers, nine modes: the notes and the signature of music21's keys.
#[test]
fn music21_spells_the_scales_as_we_do() {
    let c = Catalogue::standard();
    let plain = Notation::default();
    let mut lines = String::new();
    for id in BRIGHT_TO_DARK.into_iter().chain(["minor", "major"]) {
        let (mode, m) = find(if id == "major" { "ionian" } else { id });
        for center in 0..12 {
            let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
            let notes: Vec<String> = m
                .degrees
                .iter()
                .map(|d| t.center.up(d.semitones() as i32))
                .map(|pc| {
                    plain
                        .note(pc, Some(SpelledTonality { tonality: t, tonic }), c)
                        .text(ASCII)
                })
                .collect();
            let (name, sharps) = (tonic.text(ASCII), c.signature(tonic, mode));
            let _ = writeln!(lines, "{name}\t{id}\t{}\t{sharps}", notes.join(" "));
        }
    }
    let said = python::run(Python::Checks, "python/check_scales.py", &[], &lines);
    assert_eq!(said.trim(), "108 scales");
    let wrong = python::fails(
        Python::Checks,
        "python/check_scales.py",
        &[],
        "C\tlydian\tC D E F G A B\t0\n",
    );
    assert!(wrong.contains("C lydian"), "{wrong}");
}

/// On twelve centers: music21 has classes for these, written otherwise, so by their sound.
#[test]
fn music21_has_the_notes_of_the_scales() {
    let mut lines = String::new();
    for (id, class) in [
        ("harmonic_minor", "HarmonicMinorScale"),
        ("melodic_minor", "MelodicMinorScale"),
        ("whole_tone", "WholeToneScale"),
        ("octatonic_whole_half", "OctatonicScale"),
        ("octatonic_half_whole", "OctatonicScale m2"),
    ] {
        let (mode, m) = find(id);
        for center in 0..12 {
            let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
            let pcs = m.degrees.iter().map(|d| t.center.up(d.semitones() as i32));
            let pcs: Vec<String> = pcs.map(|pc| pc.index().to_string()).collect();
            let _ = writeln!(lines, "{}\t{class}\t{}\t", tonic.text(ASCII), pcs.join(" "));
        }
    }
    let said = python::run(Python::Checks, "python/check_scales.py", &[], &lines);
    assert_eq!(said.trim(), "60 scales");
    let wrong = "C\tWholeToneScale\t0 2 4 6 8 9\t\n";
    let wrong = python::fails(Python::Checks, "python/check_scales.py", &[], wrong);
    assert!(wrong.contains("C WholeToneScale"), "{wrong}");
}

/// Scales are what their degrees are on every center, written with one letter for each
/// degree where there are seven, and as plain notes where they are symmetric.
#[test]
fn scales_turn_with_their_tonic_and_are_written_plainly() {
    let c = Catalogue::standard();
    let mut count = 0;
    for (mode, m) in c.scales() {
        for center in 0..12 {
            let SpelledTonality { tonality: t, tonic } = tonality(center, mode);
            let h = Harmonized::new(SpelledTonality::new(t, tonic), c);
            assert_eq!(h.notes.len(), m.degrees.len());
            let notes = h.notes.iter().map(|n| n.pitch_class());
            let set: PitchClassSet = notes.collect();
            assert_eq!(set, m.set().up(center), "{tonic} {}", m.id);
            let chordal: Vec<u8> = m.chordal().map(|d| d.number).collect();
            if chordal.iter().copied().eq(1..=7) {
                let letters: BTreeSet<usize> = h.usual().iter().map(|s| s.root.letter()).collect();
                assert_eq!(letters.len(), 7, "{tonic} {}", m.id);
            }
            if m.is_symmetric() {
                for n in &h.notes {
                    let odd = ["Cb", "Fb", "B#", "E#"].contains(&n.text(ASCII).as_str());
                    assert!(!odd && n.accidental().abs() < 2, "{tonic} {}: {n}", m.id);
                }
            }
            // No chord of thirds leaves the scale, and each is what its name says.
            for stack in h.thirds.iter().flat_map(|t| &t.chords) {
                assert!(stack.set().is_subset(set), "{tonic} {}", m.id);
                let (chord, root) = stack.chord().expect("a chord");
                let kind = Kinds::standard().kind(chord.kind);
                let sounds = kind.set().up(root.pitch_class().index() as i32);
                assert_eq!(stack.set(), sounds, "{tonic} {}", m.id);
                count += 1;
            }
        }
    }
    assert!(count > 12 * 100, "{count}");
}

// ---- names of chords ----

/// Rows that we read otherwise, on purpose: symbol in the table, our label, why.
#[rustfmt::skip]
const NAMED_OTHERWISE: &[(&str, &str, &str)] = &[
    ("C5", "perfect fifth", "two notes are shown as an interval"),
    ("C(no5)", "major third", "two notes are shown as an interval"),
    ("Cm(no5)", "minor third", "two notes are shown as an interval"),
    ("Cmb6", "Abmaj7/C", "a plain triad or seventh with its bass is the commoner reading"),
    ("C11(no3)", "C9sus4", "the same notes and bass stand in the table under the plainer name"),
    ("Cdim9", "D7b9/C", "the same notes and bass stand in the table under the plainer name, a dominant over its seventh"),
    ("Cmaj13(no11)", "Cmaj13", "the eleventh is understood to be absent"),
    ("phrygian_sus on C", "Csus4(b9)", "the fourth and the ninth say the same in the trade's own signs"),
    ("C13(no11)", "C13", "the eleventh is understood to be absent"),
    ("Cm13(no11)", "Cm13", "the eleventh is understood to be absent"),
    ("C13#11", "C D E F# G A Bb", "seven notes and more are a scale, shown as notes"),
    ("Cmaj13#11", "C D E F# G A B", "seven notes and more are a scale, shown as notes"),
    ("C13", "C D E F G A Bb", "seven notes and more are a scale, shown as notes"),
    ("Cmaj13", "C D E F G A B", "seven notes and more are a scale, shown as notes"),
    ("Cm13", "C D Eb F G A Bb", "seven notes and more are a scale, shown as notes"),
    ("C13(no5,no9,no11)", "C13(no5)", "the eleventh is understood to be absent"),
    ("C5add9", "Csus2", "the same notes and bass stand in the table under the plainer name"),
    ("C6(no5)", "Am/C", "a plain triad or seventh with its bass is the commoner reading"),
    ("quartal3 on C", "quartal on C", "fourths upon the bass"),
    ("quartal4 on C", "quartal on C", "fourths upon the bass"),
    ("quartal5 on C", "quartal on C", "fourths upon the bass"),
    ("so_what on C", "Cm7(11)", "the same notes and bass stand in the table under the plainer name"),
    ("quintal3 on C", "Csus2", "the same notes and bass stand in the table under the plainer name"),
    ("phrygian(b9,no3) on C", "C C# G", "no name of the trade that a player would read at once: shown as notes"),
    ("lydian_triad on C", "C F# G", "no name of the trade that a player would read at once: shown as notes"),
    ("viennese on C", "C F# B", "no name of the trade that a player would read at once: shown as notes"),
    ("cluster012 on C", "C C# D", "no name of the trade that a player would read at once: shown as notes"),
    ("cluster024 on C", "C D E", "no name of the trade that a player would read at once: shown as notes"),
    ("cluster0235 on C", "C D Eb F", "no name of the trade that a player would read at once: shown as notes"),
    ("whole_tone on C", "C D E F# Ab Bb", "no name of the trade that a player would read at once: shown as notes"),
    ("split_third on C", "C Eb E G", "no name of the trade that a player would read at once: shown as notes"),
    ("tritone on C", "tritone", "two notes are shown as an interval"),
    ("octatonic8 on C", "C C# Eb E F# G A Bb", "seven notes and more are a scale, shown as notes"),
    ("Cmajor_scale", "C D E F G A B", "seven notes and more are a scale, shown as notes"),
    ("unison on C", "C", "one note is shown as a note"),
    ("It+6(b6 root) on C", "C7(no5)", "the same notes and bass stand in the table under the plainer name"),
    ("Fr+6(b6 root) on C", "C7b5", "the same notes and bass stand in the table under the plainer name"),
    ("Ger+6(b6 root) on C", "C7", "the same notes and bass stand in the table under the plainer name"),
    ("Caug/E", "Eaug", "a symmetrical chord is named from its bass"),
    ("Caug/G#", "Abaug", "a symmetrical chord is named from its bass"),
    ("Csus4/F", "Fsus2", "sus2 or sus4: the bass decides"),
    ("Csus4/G", "quartal on G", "fourths upon the bass"),
    ("Csus2/D", "quartal on D", "fourths upon the bass"),
    ("Csus2/G", "Gsus4", "sus2 or sus4: the bass decides"),
    ("Cm7/Eb", "Eb6", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("Cm7b5/Eb", "Ebm6", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("Cdim7/Eb", "Ebdim7", "a symmetrical chord is named from its bass"),
    ("Cdim7/Gb", "F#dim7", "a symmetrical chord is named from its bass"),
    ("Cdim7/Bbb", "Adim7", "a symmetrical chord is named from its bass"),
    ("Cm(maj7)/B", "Cm/B", "the same notes and bass stand in the table under the plainer name"),
    ("C6/E", "Am7/E", "a plain triad or seventh with its bass is the commoner reading"),
    ("C6/G", "Am7/G", "a plain triad or seventh with its bass is the commoner reading"),
    ("C6/A", "Am7", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("Cm6/Eb", "Am7b5/Eb", "a plain triad or seventh with its bass is the commoner reading"),
    ("Cm6/G", "Am7b5/G", "a plain triad or seventh with its bass is the commoner reading"),
    ("Cm6/A", "Am7b5", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("C7sus4/G", "quartal on G", "fourths upon the bass"),
    ("C9/D", "C7/D", "the same notes and bass stand in the table under the plainer name"),
    ("Cmaj9/D", "Cmaj7/D", "the same notes and bass stand in the table under the plainer name"),
    ("Cm9/Eb", "Ebmaj7(13)", "the same notes and bass stand in the table under the plainer name"),
    ("Cm9/D", "Cm7/D", "the same notes and bass stand in the table under the plainer name"),
    ("Cadd9/D", "C/D", "the same notes and bass stand in the table under the plainer name"),
    ("C7b9/Db", "C7/Db", "the same notes and bass stand in the table under the plainer name"),
    ("C/Bb", "C7/Bb", "the same notes and bass stand in the table under the plainer name"),
    ("C/A", "Am7", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("C/Ab", "Abmaj7#5", "the root in the bass makes it a seventh chord"),
    ("C/Db", "C#dim(maj7)", "the root in the bass makes it a seventh chord"),
    ("Cm/Ab", "Abmaj7", "the root in the bass makes it a seventh chord"),
    ("Cm/A", "Am7b5", "C6 or Am7, Cm6 or Am7b5: the bass decides"),
    ("Cm7/F", "F9sus4", "the same notes and bass stand in the table under the plainer name"),
    ("C7sus2", "Gm/C", "over a pedal point a triad and its bass are the commoner reading"),
    ("Cmaj7sus2", "G/C", "over a pedal point a triad and its bass are the commoner reading"),
    ("C6sus4", "Fadd9/C", "an added ninth over its fifth is plainer than 6sus4"),
    ("Cmaj7b5", "Cmaj7#11", "the chord of the fourth degree of a major scale, its fifth left out"),
    ("Caug/D", "E7#5/D", "the same notes and bass stand in the table under the plainer name"),
];

/// A row of the table as it should stand on `root`.
fn on_root(row: &Row, root: Spelling) -> (String, String) {
    let symbol = row.get("symbol");
    let (head, bass) = symbol.split_once('/').unwrap_or((symbol, ""));
    let mut label = head.replacen('C', &root.text(ASCII), 1);
    if symbol.contains("6/9") {
        label = symbol.replacen('C', &root.text(ASCII), 1);
    } else if !bass.is_empty() {
        let on_c: Spelling = bass.parse().expect("a bass");
        let mut up = Spelling::at(on_c.fifths() + root.fifths());
        // F♯/C, not F♯/B♯: a tritone away from the root a white key is one.
        let white = Spelling::nearest(up.pitch_class(), 2.0);
        if row.get("bass_degree") == "#4" && white.accidental() == 0 {
            up = white;
        }
        // F♯7♯5/D, not a C double sharp for the raised fifth: lead sheets avoid them (common
        // practice, no source).
        if row.get("bass_degree") == "#5" && up.accidental() > 1 {
            up = Spelling::at(up.fifths() - 12);
        }
        let _ = write!(label, "/{}", up.text(ASCII));
    }
    (label, row.get("harte").replacen('C', &root.text(ASCII), 1))
}

/// What we say for the notes of a row, `n` semitones higher, on the root as a
/// musician would spell it there.
fn named(row: &Row, n: i32) -> (String, String, Spelling) {
    let bass = PitchClass::new(row.number("bass") + n);
    let s = Kinds::standard().name(row.set("pcs").up(n), bass, PitchClassSet::ALL);
    let c = Catalogue::standard();
    let plain = Notation {
        glyphs: ASCII,
        ..Notation::default()
    };
    let root = plain.note(PitchClass::new(n), None, c);
    let (label, harte) = match s {
        // The root spelled as the table's is, wherever it is.
        Sonority::Chord(chord) if chord.root == PitchClass::new(n) => {
            (plain.chord(chord, root), chord.harte(root))
        }
        _ => (plain.sonority(s, None, c), plain.harte(s, None, c)),
    };
    (label, harte, root)
}

#[test]
fn chord_names_and_harte_labels_of_the_table_in_every_transposition() {
    let table = chord_names();
    let mut faults = String::new();
    let exceptions = || NAMED_OTHERWISE.iter();
    let mut idle: BTreeSet<&str> = exceptions().map(|k| k.0).collect();
    assert_eq!(idle.len(), exceptions().count(), "a row is excepted twice");
    let mut same = 0;
    for row in table.rows() {
        assert_eq!(row.get("harte_ok"), "yes");
        let otherwise = exceptions().find(|k| k.0 == row.get("symbol"));
        for n in 0..12 {
            let (label, harte, root) = named(&row, n);
            let (want, want_harte) = on_root(&row, root);
            match otherwise {
                None => {
                    if (&label, &harte) != (&want, &want_harte) {
                        let _ = writeln!(faults, "{want} {want_harte}: we say {label} {harte}");
                    } else {
                        same += 1;
                    }
                }
                Some((symbol, ours, _)) if n == 0 => {
                    if label != *ours {
                        let _ = writeln!(faults, "{symbol}: we say {label}, not {ours}");
                    }
                    if label != want {
                        idle.remove(symbol);
                    }
                }
                // The exceptions turn with the rest: `a_set_is_named_alike_wherever_it_stands`.
                Some(_) => {}
            }
        }
    }
    assert!(faults.is_empty(), "\n{faults}");
    assert!(
        idle.is_empty(),
        "these rows are named as the table has them: {idle:?}"
    );
    assert!(same >= 12 * 100, "only {same} names compared");
}

/// Every set of notes over every bass, in every transposition.
#[test]
fn a_set_is_named_alike_wherever_it_stands() {
    let kinds = Kinds::standard();
    let bass = PitchClass::new(0);
    for mask in (1..4096u16).step_by(2) {
        let set = PitchClassSet::from_mask(mask);
        let here = kinds.name(set, bass, PitchClassSet::ALL);
        for n in 1..12 {
            let there = kinds.name(set.up(n), bass.up(n), PitchClassSet::ALL);
            match (here, there) {
                (Sonority::Chord(a), Sonority::Chord(b)) => {
                    assert_eq!((a.root.up(n), a.kind), (b.root, b.kind), "{set:?} up {n}");
                }
                (a, b) => assert_eq!((a.set().up(n), a.bass().up(n)), (b.set(), b.bass())),
            }
        }
    }
}

/// What keys sound, in whatever order and octave they come.
fn of_keys(keys: &[u8]) -> Sonority {
    let set = keys.iter().map(|&k| PitchClass::of_key(k)).collect();
    let lowest = keys.iter().min().expect("keys");
    Kinds::standard().name(set, PitchClass::of_key(*lowest), Hearing::default())
}

#[test]
fn the_order_of_keys_their_octaves_and_doublings_change_no_name() {
    let mut chords = 0;
    for row in chord_names().rows() {
        let bass = 36 + row.number("bass") as u8;
        // Above the bass upwards.
        let mut keys: Vec<u8> = row
            .set("pcs")
            .iter()
            .map(|pc| bass + pc.above(PitchClass::of_key(bass)) as u8)
            .collect();
        keys.sort();
        let plain = of_keys(&keys);
        assert_eq!(plain.set(), row.set("pcs"));
        assert_eq!(
            plain.bass(),
            PitchClass::of_key(bass),
            "the bass is a member"
        );
        chords += usize::from(plain.chord().is_some());
        for turn in 0..keys.len() {
            keys.rotate_left(1);
            assert_eq!(of_keys(&keys), plain, "begun at another key");
            let mut reversed = keys.clone();
            reversed.reverse();
            assert_eq!(of_keys(&reversed), plain);
            let mut doubled = keys.clone();
            doubled.extend(keys.iter().take(turn + 1).map(|k| k + 24));
            assert_eq!(of_keys(&doubled), plain, "doubled");
            let spread: Vec<u8> = keys
                .iter()
                .enumerate()
                .map(|(i, &k)| if k == bass { k } else { k + 12 * (i as u8 % 4) })
                .collect();
            assert_eq!(of_keys(&spread), plain, "in other octaves");
        }
    }
    assert!(chords > 150, "{chords}");
}

/// Nick names of the table, which are never shown.
#[test]
fn no_nick_name_is_shown() {
    let c = Catalogue::standard();
    let nick = [
        "so_what", "so what", "viennese", "phrygian", "lydian", "split", "+6", "quintal",
    ];
    let kinds = Kinds::standard();
    for mask in (1..4096u16).step_by(2) {
        let set = PitchClassSet::from_mask(mask);
        let found = kinds.names(set, PitchClass::new(0), Hearing::default());
        for s in std::iter::once(&found.best()).chain(found.alternatives()) {
            let label = Notation::PLAIN.sonority(*s, None, c).to_lowercase() + s.words();
            assert!(nick.iter().all(|n| !label.contains(n)), "{label}");
        }
    }
    let table = chord_names();
    let nicked = |r: &Row| nick.iter().any(|n| r.get("symbol").contains(n));
    assert!(table.rows().filter(nicked).count() >= 4);
}

/// Every set of notes above C that is called more than its notes: label, Harte
/// label, the other readings. The other 11 transpositions turn with it:
/// `a_set_is_named_alike_wherever_it_stands`.
#[test]
fn every_name_is_the_one_that_was_agreed() {
    let c = Catalogue::standard();
    let plain = Notation {
        glyphs: ASCII,
        ..Notation::PLAIN
    };
    let mut fresh = String::from(
        "# What we call each set of notes above C: made by this program, judged by eye.\n\
         # pcs\tlabel\tHarte label\tother readings\n",
    );
    for mask in (1..4096u16).step_by(2) {
        let set = PitchClassSet::from_mask(mask);
        let found = Kinds::standard().names(set, PitchClass::new(0), Hearing::default());
        let best = found.best();
        if matches!(best, Sonority::Notes { .. }) && best.quartal().is_none() {
            continue;
        }
        let pcs: Vec<String> = set.iter().map(|p| p.index().to_string()).collect();
        let others: Vec<String> = found
            .alternatives()
            .iter()
            .map(|s| plain.sonority(*s, None, c))
            .collect();
        let label = plain.sonority(best, None, c);
        let harte = plain.harte(best, None, c);
        let line = format!("{}\t{label}\t{harte}\t{}", pcs.join(","), others.join(", "));
        let _ = writeln!(fresh, "{}", line.trim_end());
    }
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("chord_names.tsv");
    std::fs::write(&path, &fresh).expect("written");
    let agreed = include_str!("golden/chord_names.tsv");
    let differs: Vec<String> = fresh
        .lines()
        .filter(|l| !agreed.lines().any(|a| a == *l))
        .map(|l| format!("now:    {l}"))
        .chain(
            agreed
                .lines()
                .filter(|a| !fresh.lines().any(|l| l == *a))
                .map(|l| format!("agreed: {l}")),
        )
        .collect();
    assert!(
        fresh == agreed,
        "\n{}\nif that is right: cp {} tests/golden/chord_names.tsv",
        differs.join("\n"),
        path.display()
    );
}

/// Every label that can be given, parsed by mir_eval: exactly the notes that sound.
#[test]
fn mir_eval_reads_our_harte_labels_as_the_notes_that_sound() {
    let mut lines = BTreeSet::new();
    let mut expect = |label: String, set: PitchClassSet, bass: PitchClass| {
        let pcs: Vec<String> = set.iter().map(|p| p.index().to_string()).collect();
        lines.insert(format!("{label}\t{}\t{}\n", pcs.join(","), bass.index()));
    };
    for row in chord_names().rows() {
        for n in 0..12 {
            let (_, harte, _) = named(&row, n);
            let bass = PitchClass::new(row.number("bass") + n);
            expect(harte, row.set("pcs").up(n), bass);
        }
    }
    // Every kind on every root over every bass, foreign ones too; the roots spelled
    // in all usual ways, G♭ to A♯ on the line of fifths.
    let kinds = Kinds::standard();
    for (kind, _) in kinds.all() {
        for root in (-6..=10).map(Spelling::at) {
            for bass in PitchClass::all() {
                let chord = Chord {
                    root: root.pitch_class(),
                    kind,
                    bass,
                };
                expect(chord.harte(root), chord.set(), bass);
            }
        }
    }
    // Every set over every bass, with all its readings, and as mere notes.
    let c = Catalogue::standard();
    for mask in 1..4096u16 {
        let set = PitchClassSet::from_mask(mask);
        for bass in set.iter() {
            let found = kinds.names(set, bass, Hearing::default());
            let notes = Sonority::Notes { set, bass };
            for s in [found.best(), notes].iter().chain(found.alternatives()) {
                expect(Notation::PLAIN.harte(*s, None, c), set, bass);
            }
        }
    }
    assert!(lines.len() > 40_000, "{} labels", lines.len());
    let lines: String = lines.into_iter().collect();
    let expected = lines.lines().count();
    let said = python::run(Python::Checks, "python/check_harte.py", &[], &lines);
    assert_eq!(said.trim(), format!("{expected} labels"));
    // The check can fail.
    let wrong = python::fails(
        Python::Checks,
        "python/check_harte.py",
        &[],
        "C:maj\t0,4,8\t0\n",
    );
    assert!(wrong.contains("C:maj"), "{wrong}");
}
