//! Roman numerals: a chord as seen from a tonality.

use super::chord::{Chord, Kinds, Triad};
use super::mode::{Catalogue, Degree, Tonality};
use super::notation::{Measure, Notation};
use super::spelling::{Glyphs, Spelling, accidentals};

const ROMAN: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];

/// The numeral of `chord` in `tonality`: degree with its accidental, case and
/// mark by the triad, figures by the seventh and the bass: `♭VII`, `viiø65`.
///
/// Capital: major third; small: minor third; `°` diminished, `ø` half-diminished
/// seventh, `+` augmented, `M7` a major seventh. Common practice of the
/// textbooks; checked against tests/reference/diatonic_chords.tsv.
pub fn numeral(
    chord: Chord,
    tonality: Tonality,
    tonic: Spelling,
    catalogue: &Catalogue,
    notation: &Notation,
) -> String {
    let kind = Kinds::standard().kind(chord.kind);
    let mode = catalogue.mode(tonality.mode);
    let glyphs = notation.glyphs;
    let above = chord.root.above(tonality.center);

    // The root as a degree: the mode's own, or else by its spelling.
    let degree = mode.degree_at(above).unwrap_or_else(|| {
        let root = notation.root(chord, Some((tonality, tonic)), catalogue);
        let number = ((root.letter() + 7 - tonic.letter()) % 7) as u8 + 1;
        let plain = Degree { number, alter: 0 };
        let alter = (above as i32 - plain.semitones() as i32 + 18).rem_euclid(12) - 6;
        Degree {
            number,
            alter: alter as i8,
        }
    });
    // Common-practice minor counts by its own degrees: VI and VII are the natural ones.
    let own = notation.measure == Measure::Mode || mode.id == "minor";
    let reference = match mode.degrees.iter().find(|d| d.number == degree.number) {
        Some(d) if own => d.alter,
        _ => 0,
    };
    let mut alter = degree.alter - reference;
    let triad = kind.triad();
    if mode.id == "minor" && alter == 1 && triad != Triad::Major {
        // vii° and vi° of minor stand on the raised degree without a sign.
        alter = 0;
    }

    let roman = ROMAN[(degree.number as usize + 6) % 7];
    let small = matches!(triad, Triad::Minor | Triad::Diminished);
    let mut text = accidentals(alter, glyphs);
    text.push_str(&if small {
        roman.to_lowercase()
    } else {
        roman.to_owned()
    });

    let seventh = kind.seventh();
    match (triad, seventh) {
        (Triad::Diminished, Some(10)) => {
            text.push(if glyphs == Glyphs::Ascii { '0' } else { 'ø' })
        }
        (Triad::Diminished, _) => text.push(if glyphs == Glyphs::Ascii { 'o' } else { '°' }),
        (Triad::Augmented, _) => text.push('+'),
        _ => {}
    }
    if seventh == Some(11) {
        text.push('M');
    }
    let member = chord.bass_member().map(|m| m.number);
    text.push_str(match (seventh.is_some(), member) {
        (false, Some(3)) => "6",
        (false, Some(5)) => "64",
        (true, Some(3)) => "65",
        (true, Some(5)) => "43",
        (true, Some(7)) => "42",
        (true, _) => "7",
        (false, _) => "",
    });
    if triad == Triad::Suspended {
        text.push_str(if kind.members.iter().any(|m| m.number == 4) {
            "sus4"
        } else {
            "sus2"
        });
    } else if kind.members.iter().any(|m| m.number == 6) && member == Some(1) {
        text.push_str("(6)");
    }
    if member.is_none() && chord.bass != chord.root {
        // A bass of its own: its degree. A stroke would read as an applied chord.
        text.push_str(", bass ");
        let bass = chord.bass.above(tonality.center);
        text.push_str(&match mode.degree_at(bass) {
            Some(d) => d.text(glyphs),
            None => format!(
                "{}{}",
                accidentals(1, glyphs),
                mode.degree_at((bass + 11) % 12).map_or(1, |d| d.number)
            ),
        });
    }
    text
}
