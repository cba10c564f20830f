//! What the tables of scales and modes look like, as text.

use super::*;
use crate::theory::{
    Accidentals, AugmentedMark, Beside, Cadential, Catalogue, ChordMarks, DiminishedMark, Glyphs,
    HalfDiminished, Harmonized, IonianName, Letters, MajorSeventh, MinorMark, Notation,
    NumeralBasis, NumeralCase, PitchClass, SpelledTonality, Spelling, Tonality,
};
use unicode_width::UnicodeWidthStr;

const ASCII: Notation = Notation {
    glyphs: Glyphs::Ascii,
    numeral_basis: NumeralBasis::Mode,
    ionian: IonianName::Major,
    ..Notation::PLAIN
};

fn with<T>(notation: Notation, f: impl FnOnce(&Words) -> T) -> T {
    f(&Words {
        catalogue: Catalogue::standard(),
        notation: &notation,
    })
}

fn written(text: &str) -> SpelledTonality {
    let t = Catalogue::standard().parse_tonality(text);
    t.expect("a tonality")
}

fn harmonized(text: &str) -> Harmonized {
    let t = written(text);
    Harmonized::new(t, Catalogue::standard())
}

fn beside(w: &Words, left: &str, right: &str) -> Beside {
    Beside::new(harmonized(left), harmonized(right), w.catalogue, w.notation)
}

#[test]
fn scales_as_text() {
    for (name, tonality) in [
        ("mixolydian", "Eb mixolydian"),
        ("ionian", "C ionian"),
        ("minor", "A minor"),
        ("ultralocrian", "B ultralocrian"),
        ("pentatonic", "C major pentatonic"),
        ("blues", "G blues"),
        ("melodic_minor", "C melodic minor"),
        ("octatonic", "C octatonic half-whole"),
        ("whole_tone", "A♭ whole-tone"),
        ("bebop_dominant", "C bebop dominant"),
        ("hungarian_minor", "A Hungarian minor"),
        ("major_blues", "C major blues"),
    ] {
        let text = with(Notation::default(), |w| {
            scale_text(w, &harmonized(tonality))
        });
        insta::assert_snapshot!(format!("scale_{name}"), text);
    }
    let ascii = with(ASCII, |w| scale_text(w, &harmonized("Eb mixolydian")));
    assert!(ascii.is_ascii(), "{ascii}");
    insta::assert_snapshot!("scale_mixolydian_ascii", ascii);
}

#[test]
fn two_scales_as_text() {
    for (name, left, right) in [
        ("one_center", "D dorian", "D aeolian"),
        ("two_centers", "D dorian", "G major"),
        ("far", "C ionian", "Gb ionian"),
        ("minor", "A minor", "A dorian"),
        ("five_and_seven", "C major pentatonic", "C ionian"),
        ("the_same", "C ionian", "C ionian"),
    ] {
        let text = with(Notation::default(), |w| {
            beside_text(w, &beside(w, left, right))
        });
        insta::assert_snapshot!(format!("beside_{name}"), text);
    }
    let ascii = with(ASCII, |w| {
        beside_text(w, &beside(w, "D dorian", "Eb lydian"))
    });
    assert!(ascii.is_ascii(), "{ascii}");
    insta::assert_snapshot!("beside_ascii", ascii);
}

#[test]
fn the_catalogue_as_text() {
    let on = |notation, tonic: &str| {
        let tonic = tonic.parse().expect("a tonic");
        with(notation, |w| catalogue_text(w, tonic))
    };
    insta::assert_snapshot!("catalogue", on(Notation::default(), "C"));
    let ascii = on(ASCII, "Ab");
    assert!(ascii.is_ascii(), "{ascii}");
    insta::assert_snapshot!("catalogue_ascii", ascii);
    for (name, tonality) in [
        ("dorian", "D dorian"),
        ("minor", "A minor"),
        ("lydian_dominant", "C lydian dominant"),
        ("lydian", "C lydian"),
        ("octatonic", "D octatonic whole-half"),
        ("bebop_dorian", "G bebop dorian"),
    ] {
        let text = with(Notation::default(), |w| mode_text(w, written(tonality)));
        insta::assert_snapshot!(format!("mode_{name}"), text);
    }
}

fn wide(text: &str) -> Vec<&str> {
    text.lines().filter(|l| l.width() > 80).collect()
}

/// On every center as a musician would spell it, all modes.
#[test]
fn no_line_is_wider_than_a_terminal() {
    let c = Catalogue::standard();
    for notation in [Notation::default(), ASCII, MOVABLE] {
        with(notation, |w| {
            for (mode, m) in c.all() {
                for center in (0..12).map(PitchClass::new) {
                    let t = Tonality { center, mode };
                    let tonic = c.spell(t, None);
                    let h = Harmonized::new(SpelledTonality::new(t, tonic), c);
                    let text = scale_text(w, &h);
                    assert_eq!(wide(&text), [""; 0], "{tonic} {}\n{text}", m.id);
                    let written = SpelledTonality { tonality: t, tonic };
                    let text = mode_text(w, written);
                    assert_eq!(wide(&text), [""; 0], "{tonic} {}\n{text}", m.id);
                    // A scale beside the parallel major and natural minor.
                    let few = c.iter().filter(|(_, n)| {
                        let parallel = ["ionian", "aeolian"].contains(&n.id.as_str());
                        parallel || !c.is_scale(mode)
                    });
                    for (other, n) in few {
                        let u = Tonality {
                            center,
                            mode: other,
                        };
                        let h = h.clone();
                        let other = Harmonized::new(SpelledTonality::new(u, tonic), c);
                        let both = Beside::new(h, other, c, w.notation);
                        let text = beside_text(w, &both);
                        assert_eq!(wide(&text), [""; 0], "{tonic} {} {}\n{text}", m.id, n.id);
                    }
                }
            }
            for tonic in [
                "C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
            ] {
                let tonic: Spelling = tonic.parse().expect("a tonic");
                let text = catalogue_text(w, tonic);
                assert_eq!(wide(&text), [""; 0], "{tonic}\n{text}");
            }
        });
    }
}

/// From C in the usual modes to every tonality.
#[test]
fn two_centers_side_by_side_fit_a_terminal() {
    let c = Catalogue::standard();
    with(Notation::default(), |w| {
        let lefts = c.iter().filter(|(_, m)| m.parent == "diatonic");
        for left in lefts.map(|(mode, _)| mode) {
            let center = PitchClass::new(0);
            let t = Tonality { center, mode: left };
            let left = Harmonized::new(SpelledTonality::new(t, Spelling::C), c);
            for (mode, m) in c.all() {
                for center in (0..12).map(PitchClass::new) {
                    let t = Tonality { center, mode };
                    let tonic = c.spell(t, None);
                    let both = Beside::new(
                        left.clone(),
                        Harmonized::new(SpelledTonality::new(t, tonic), c),
                        c,
                        w.notation,
                    );
                    let text = beside_text(w, &both);
                    assert_eq!(wide(&text), [""; 0], "{tonic} {}\n{text}", m.id);
                }
            }
        }
    });
}

/// However far from C, and whatever the mode: no panic, and the degree stays in its place.
#[test]
fn any_tonic_can_be_written() {
    let c = Catalogue::standard();
    for letter in ["C", "D", "E", "F", "G", "A", "B"] {
        for accidental in ["bbb", "bb", "b", "", "#", "##", "###"] {
            let tonic: Spelling = format!("{letter}{accidental}").parse().expect("a tonic");
            with(Notation::default(), |w| {
                assert!(catalogue_text(w, tonic).contains("Dorian"));
                for (mode, m) in c.all() {
                    let center = tonic.pitch_class();
                    let h =
                        Harmonized::new(SpelledTonality::new(Tonality { center, mode }, tonic), c);
                    for (step, d) in h.usual().iter().zip(m.chordal()) {
                        let above = step.root.pitch_class().above(center);
                        assert_eq!(above, d.semitones(), "{tonic} {}", m.id);
                    }
                    assert!(scale_text(w, &h).lines().count() > m.chordal().count());
                }
            });
        }
    }
}

#[test]
fn notes_and_labels_have_the_letters_of_the_user() {
    let said = |letters| {
        let notation = Notation {
            letters,
            ..Notation::PLAIN
        };
        let c = Catalogue::standard();
        let t = c.parse_tonality("Eb mixolydian").expect("a tonality");
        let h = Harmonized::new(t, c);
        let text = with(notation, |w| scale_text(w, &h));
        let line = |start: &str| {
            let found = text.lines().find(|l| l.trim_start().starts_with(start));
            found
                .unwrap_or_default()
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
        };
        (line("1 "), line("3 "))
    };
    let (first, third) = said(Letters::German);
    assert!(
        first.starts_with("1 I Es Es G B I7 Es7 Es G B Des"),
        "{first}"
    );
    assert!(third.contains("Gm7♭5 G B Des F"), "{third}");
    let (first, _) = said(Letters::FixedDo);
    assert!(first.starts_with("1 I Mi♭ Mi♭ Sol Si♭"), "{first}");
    let (first, third) = said(Letters::MovableDo);
    assert!(
        first.starts_with("1 I E♭ do mi sol I7 E♭7 do mi sol te"),
        "{first}"
    );
    assert!(third.contains("Gm7♭5 mi sol te re"), "{third}");
}

const MOVABLE: Notation = Notation {
    letters: Letters::MovableDo,
    ..Notation::PLAIN
};

/// Syllables above the tonic, with altered degrees by their own (me, te, fi, ra); every
/// table says which note do is.
#[test]
fn tables_in_movable_do() {
    with(MOVABLE, |w| {
        let scale = |t| scale_text(w, &harmonized(t));
        insta::assert_snapshot!("scale_movable_do", scale("Eb mixolydian"));
        insta::assert_snapshot!("scale_movable_do_minor", scale("F# minor"));
        let two = |l, r| beside_text(w, &beside(w, l, r));
        insta::assert_snapshot!("beside_movable_do", two("D dorian", "D phrygian"));
        insta::assert_snapshot!("beside_movable_do_two", two("D dorian", "G ionian"));
        let tonic = "E".parse().expect("a tonic");
        insta::assert_snapshot!("catalogue_movable_do", catalogue_text(w, tonic));
        insta::assert_snapshot!("mode_movable_do", mode_text(w, written("E phrygian")));

        let one = |text: String| -> serde_json::Value {
            serde_json::from_str(&text).expect("one object")
        };
        let scale = one(scale_json(w, &harmonized("Eb mixolydian")).expect("JSON"));
        assert_eq!(scale["tonality"]["do"], "E♭");
        assert_eq!(scale["tonality"]["spelling"], "E♭");
        assert_eq!(scale["notes"][6], "te");
        let both = beside(w, "D dorian", "G ionian");
        let both = one(beside_json(w, &both).expect("JSON"));
        // Two tonics have no do in common: what changes between them keeps its letters.
        assert_eq!(both["altered"][0]["right"], "F♯");
        assert_eq!(both["right"]["notes"][6], "ti");
        let both = beside(w, "D dorian", "D aeolian");
        let altered = &one(beside_json(w, &both).expect("JSON"))["altered"][0];
        assert_eq!(altered, &serde_json::json!({"left": "la", "right": "le"}));
        let csv = beside_csv(w, &both).expect("a table");
        let ends = |line: Option<&str>, with| line.is_some_and(|l| l.ends_with(with));
        assert!(ends(csv.lines().next(), ",left_do,right_do"), "{csv}");
        assert!(ends(csv.lines().nth(1), ",D,D"), "{csv}");
        let csv = catalogue_csv(w, tonic).expect("a table");
        assert!(ends(csv.lines().next(), ",do"), "{csv}");
        assert!(csv.contains(",do re mi fi sol la ti,"), "{csv}");
        let all = one(catalogue_json(w, tonic).expect("JSON"));
        assert_eq!((&all["do"], &all["tonic"]), (&"E".into(), &"E".into()));
    });
    let fixed = Notation {
        letters: Letters::FixedDo,
        ..Notation::PLAIN
    };
    let text = with(fixed, |w| scale_text(w, &harmonized("Eb mixolydian")));
    assert!(text.ends_with("\n fixed do: Do = C\n"), "{text}");
    // Letters need no such word.
    let csv = with(Notation::PLAIN, |w| scale_csv(w, &harmonized("C ionian")));
    let csv = csv.expect("a table");
    assert!(
        csv.lines()
            .next()
            .is_some_and(|l| l.ends_with(",characteristic"))
    );
}

/// Every convention, once over the same tables: another way to write it, never another
/// analysis. Notes can be read back; what no convention touches stays to the letter.
#[test]
fn the_tables_say_the_same_under_every_convention() {
    let c = Catalogue::standard();
    let jazz = ChordMarks {
        minor: MinorMark::Dash,
        major_seventh: MajorSeventh::Delta,
        half_diminished: HalfDiminished::Slashed,
        diminished: DiminishedMark::Dim,
        augmented: AugmentedMark::Plus,
    };
    let mut notations = vec![
        Notation {
            marks: jazz,
            ..Notation::PLAIN
        },
        Notation {
            case: NumeralCase::Capitals,
            ..Notation::PLAIN
        },
        Notation {
            numeral_basis: NumeralBasis::Mode,
            ..Notation::PLAIN
        },
        Notation {
            cadential: Cadential::Dominant,
            ..Notation::PLAIN
        },
        Notation {
            ionian: IonianName::Major,
            ..Notation::PLAIN
        },
    ];
    for letters in [
        Letters::English,
        Letters::German,
        Letters::FixedDo,
        Letters::MovableDo,
    ] {
        for glyphs in [Glyphs::Unicode, Glyphs::Ascii] {
            for accidentals in [
                Accidentals::ByContext,
                Accidentals::Flats,
                Accidentals::Sharps,
            ] {
                notations.push(Notation {
                    letters,
                    glyphs,
                    accidentals,
                    ..Notation::PLAIN
                });
            }
        }
    }
    let object = |n: Notation, h: &Harmonized| -> serde_json::Value {
        let json = with(n, |w| scale_json(w, h)).expect("JSON");
        serde_json::from_str(&json).expect("one object")
    };
    let ascii = |text: &serde_json::Value| {
        let text = text.as_str().unwrap_or_default();
        text.replace('♭', "b")
            .replace('♯', "#")
            .replace('°', "o")
            .replace('ø', "0")
    };
    let mut compared = 0;
    for (mode, m) in c.iter() {
        for center in PitchClass::all() {
            let t = Tonality { center, mode };
            let tonic = c.spell(t, None);
            let h = Harmonized::new(SpelledTonality::new(t, tonic), c);
            let plain = object(Notation::PLAIN, &h);
            for n in &notations {
                let said = object(*n, &h);
                let at = format!("{tonic} {}, {n:?}", m.id);
                assert_eq!(said["parallel"], plain["parallel"], "{at}");
                for part in ["center", "mode"] {
                    assert_eq!(said["tonality"][part], plain["tonality"][part], "{at}");
                }
                // A note as written here is one note, and the same.
                let same = |here: &serde_json::Value, there: &serde_json::Value| {
                    let here = here.as_str().expect("a note");
                    let all = (-15..=19).map(Spelling::at);
                    let mut found = all.filter(|&s| n.above(s, tonic) == here);
                    let note = found.next().expect("a note that can be read");
                    assert_eq!(found.next(), None, "{here}: {at}");
                    assert_eq!(there, &serde_json::json!(note.to_string()), "{at}");
                };
                let steps = |o: &serde_json::Value| -> Vec<serde_json::Value> {
                    let forms = o["forms"].as_array().expect("forms").iter();
                    let degrees = forms.map(|f| f["degrees"].as_array().expect("degrees"));
                    degrees.flatten().cloned().collect()
                };
                let (here, there) = (steps(&said), steps(&plain));
                assert_eq!(here.len(), there.len(), "{at}");
                for (a, b) in here.iter().zip(&there) {
                    assert_eq!(ascii(&a["degree"]), ascii(&b["degree"]), "{at}");
                    assert_eq!(a["root_moved"], b["root_moved"], "{at}");
                    same(&a["root"], &b["root"]);
                    for size in ["triad", "seventh"] {
                        let (a, b) = (&a[size], &b[size]);
                        assert_eq!(a.is_null(), b.is_null(), "{at}");
                        if a.is_null() {
                            continue;
                        }
                        for part in ["harte", "pitch_classes", "differs", "characteristic"] {
                            assert_eq!(a[part], b[part], "{at}");
                        }
                        let notes = |v: &serde_json::Value| v["notes"].as_array().cloned();
                        let (l, r) = (notes(a).expect("notes"), notes(b).expect("notes"));
                        assert_eq!(l.len(), r.len(), "{at}");
                        l.iter().zip(&r).for_each(|(l, r)| same(l, r));
                        // Letters and marks are none of the numeral's affair.
                        if n.case == NumeralCase::Textbook
                            && n.numeral_basis == NumeralBasis::MajorScale
                        {
                            assert_eq!(ascii(&a["numeral"]), ascii(&b["numeral"]), "{at}");
                        }
                        compared += 1;
                    }
                }
            }
        }
    }
    assert!(compared > 100_000, "{compared}");
}

/// A chord is called by the notes that stand beside it.
#[test]
fn a_label_has_the_root_that_its_notes_have() {
    let c = Catalogue::standard();
    let mut chords = 0;
    for (mode, _) in c.iter() {
        for tonic in (-7..=7).map(Spelling::at) {
            let t = Tonality {
                center: tonic.pitch_class(),
                mode,
            };
            let h = Harmonized::new(SpelledTonality::new(t, tonic), c);
            let json = with(Notation::PLAIN, |w| scale_json(w, &h)).expect("JSON");
            let all: serde_json::Value = serde_json::from_str(&json).expect("one object");
            let forms = all["forms"].as_array().expect("forms");
            let steps = forms
                .iter()
                .flat_map(|f| f["degrees"].as_array().expect("degrees"));
            for stack in steps.flat_map(|d| [&d["triad"], &d["seventh"]]) {
                if stack["numeral"].is_null() {
                    continue;
                }
                let label = stack["label"].as_str().expect("a label");
                let mut notes = stack["notes"].as_array().expect("notes").iter();
                let has = notes.any(|n| {
                    let suffix = label.strip_prefix(n.as_str().expect("a note"));
                    suffix.is_some_and(|s| !s.starts_with(['♭', '♯']))
                });
                assert!(has, "{label} in {stack}");
                chords += 1;
            }
        }
    }
    assert!(chords > 1000, "{chords}");
}
