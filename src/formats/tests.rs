//! What the tables of scales and modes look like, as text.

use super::*;
use crate::theory::{
    Beside, Catalogue, Glyphs, Harmonized, Measure, Notation, PitchClass, Spelling, Tonality,
    WrittenTonality,
};
use unicode_width::UnicodeWidthStr;

const ASCII: Notation = Notation {
    glyphs: Glyphs::Ascii,
    measure: Measure::Mode,
    ionian_is_major: true,
    ..Notation::PLAIN
};

fn with<T>(notation: Notation, f: impl FnOnce(&Words) -> T) -> T {
    f(&Words {
        catalogue: Catalogue::standard(),
        notation: &notation,
    })
}

fn written(text: &str) -> WrittenTonality {
    let t = Catalogue::standard().parse_tonality(text);
    t.expect("a tonality")
}

fn harmonized(text: &str) -> Harmonized {
    let t = written(text);
    Harmonized::new(t.tonality, t.tonic, Catalogue::standard())
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
    for notation in [Notation::default(), ASCII] {
        with(notation, |w| {
            for (mode, m) in c.iter() {
                for center in (0..12).map(PitchClass::new) {
                    let t = Tonality { center, mode };
                    let tonic = c.spell(t, None);
                    let h = Harmonized::new(t, tonic, c);
                    let text = scale_text(w, &h);
                    assert_eq!(wide(&text), [""; 0], "{tonic} {}\n{text}", m.id);
                    let written = WrittenTonality { tonality: t, tonic };
                    let text = mode_text(w, written);
                    assert_eq!(wide(&text), [""; 0], "{tonic} {}\n{text}", m.id);
                    for (other, n) in c.iter() {
                        let u = Tonality {
                            center,
                            mode: other,
                        };
                        let h = h.clone();
                        let other = Harmonized::new(u, tonic, c);
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
            let left = Harmonized::new(t, Spelling::C, c);
            for (mode, m) in c.iter() {
                for center in (0..12).map(PitchClass::new) {
                    let t = Tonality { center, mode };
                    let tonic = c.spell(t, None);
                    let both =
                        Beside::new(left.clone(), Harmonized::new(t, tonic, c), c, w.notation);
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
                for (mode, m) in c.iter() {
                    let center = tonic.pitch_class();
                    let h = Harmonized::new(Tonality { center, mode }, tonic, c);
                    for (step, d) in h.usual().iter().zip(&m.degrees) {
                        let above = step.root.pitch_class().above(center);
                        assert_eq!(above, d.semitones(), "{tonic} {}", m.id);
                    }
                    assert!(scale_text(w, &h).lines().count() > m.degrees.len());
                }
            });
        }
    }
}

#[test]
fn notes_and_labels_have_the_letters_of_the_user() {
    use crate::theory::Letters;
    let said = |letters| {
        let notation = Notation {
            letters,
            ..Notation::PLAIN
        };
        let c = Catalogue::standard();
        let t = c.parse_tonality("Eb mixolydian").expect("a tonality");
        let h = Harmonized::new(t.tonality, t.tonic, c);
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
            let h = Harmonized::new(t, tonic, c);
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
