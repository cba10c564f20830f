//! A numeral as text, by the user's conventions.

use super::place::kind;
use super::value::{LetterCase, Numeral, Role, Sixth, Target, roman};
use crate::theory::convention::{Cadential, Notation, NumeralBasis, NumeralCase};
use crate::theory::degree::Degree;
use crate::theory::kind::{Kind, Member, Triad};
use crate::theory::spelling::{Glyphs, accidentals};

impl Numeral {
    /// The numeral by the user's conventions: `♭VII`, `viiø65`, `V7/ii`, `Ger6`.
    ///
    /// As the textbooks have it, capital: major third; small: minor third; `°`
    /// diminished, `ø` half-diminished seventh, `+` augmented, `M7` a major seventh;
    /// figures by the seventh and the bass. In capitals, as jazz has it, the lead
    /// sheet's own suffix: `IIm7`, `V7/II`, and a bass by its degree: `V7/7`.
    pub fn text(&self, notation: &Notation) -> String {
        match notation.case {
            NumeralCase::Textbook => self.textbook(notation),
            NumeralCase::Capitals => self.capitals(notation),
        }
    }

    /// The accidental of a degree on the user's basis. `case`: small where a minor
    /// or diminished triad stands upon it.
    fn sign(&self, d: Degree, case: LetterCase, notation: &Notation) -> i8 {
        let own = notation.numeral_basis == NumeralBasis::Mode || self.minor;
        let sign = match own {
            true => d.alter - self.own[(d.number as usize + 6) % 7],
            false => d.alter,
        };
        // vi° and vii° of minor stand on the raised degrees without a sign, so ♭vi and
        // ♭vii on its own, as in RomanText.
        match self.minor && case == LetterCase::Small && matches!(d.number, 6 | 7) {
            true => sign - 1,
            false => sign,
        }
    }

    fn target(&self, target: Target, notation: &Notation) -> String {
        let capitals = notation.case == NumeralCase::Capitals;
        let upon = LetterCase::small_if(target.minor);
        let sign = self.sign(target.degree, upon, notation);
        let case = if capitals { LetterCase::Capital } else { upon };
        accidentals(sign, notation.glyphs) + &roman(target.degree.number, case)
    }

    fn textbook(&self, notation: &Notation) -> String {
        let glyphs = notation.glyphs;
        let ascii = glyphs == Glyphs::Ascii;
        let k = kind(self.chord.kind);
        let triad = k.triad();
        let bass = self.chord.bass_member().map(|m| m.number);
        match self.role {
            Role::AugmentedSixth(sixth, target) => {
                let name = match sixth {
                    Sixth::Italian => "It",
                    Sixth::German => "Ger",
                    Sixth::French => "Fr",
                };
                // By the bass as it is spelled: ♭6; ♯4, the diminished third; 1; ♭3.
                let figure = match (bass, sixth) {
                    (Some(1), _) => "6".to_owned(),
                    (Some(7), _) => format!("{}3", if ascii { 'o' } else { '°' }),
                    (Some(3), Sixth::Italian) => "64".to_owned(),
                    (Some(3), _) => "43".to_owned(),
                    (Some(5), _) => "42".to_owned(),
                    _ => {
                        let of = self.of(target, notation);
                        return format!("{name}6{of}{}", self.over(notation));
                    }
                };
                return format!("{name}{figure}{}", self.of(target, notation));
            }
            Role::CommonTone(target) => {
                let ring = if ascii { 'o' } else { '°' };
                return format!("CT{ring}7{}", self.of(target, notation));
            }
            Role::Neapolitan if bass == Some(3) && k.symbol.is_empty() => return "N6".into(),
            _ => {}
        }
        let minor = matches!(triad, Triad::Minor | Triad::Diminished);
        let mut case = LetterCase::small_if(minor);
        let sign = match self.role {
            Role::Applied(_) | Role::Cadential(_) => 0,
            Role::TritoneSubstitute(_) => -1,
            _ => self.sign(self.degree, case, notation),
        };
        let mut number = self.degree.number;
        if matches!(self.role, Role::Cadential(_)) && notation.cadential == Cadential::Dominant {
            (number, case) = (5, LetterCase::Capital);
        }
        let mut text = accidentals(sign, glyphs) + &roman(number, case);
        let seventh = k.seventh();
        match (triad, seventh) {
            (Triad::Diminished, Some(10)) => text.push(if ascii { '0' } else { 'ø' }),
            (Triad::Diminished, _) => text.push(if ascii { 'o' } else { '°' }),
            (Triad::Augmented, _) => text.push('+'),
            _ => {}
        }
        if seventh == Some(11) {
            text.push('M');
        }
        text.push_str(match (seventh.is_some(), bass) {
            (false, Some(3)) => "6",
            (false, Some(5)) => "64",
            (true, Some(3)) => "65",
            (true, Some(5)) => "43",
            (true, Some(7)) => "42",
            (true, Some(1)) => ninths(k),
            (true, _) => "7",
            (false, _) => "",
        });
        if triad == Triad::Suspended {
            let has = |number| k.members.iter().any(|m| m.number == number);
            text.push_str(match (has(4), has(2)) {
                (true, _) => "sus4",
                (false, true) => "sus2",
                _ => "(no3)",
            });
        }
        let lowered = |m: &Member| (m.number, m.semitones) == (5, 6);
        if bass == Some(1) {
            text.push_str(&tensions(k, glyphs));
        } else if triad == Triad::Major && k.members.iter().any(lowered) {
            // Other added notes are left out in inversions.
            text.push_str(&format!("({}5)", accidentals(-1, glyphs)));
        }
        let named = self.named.0;
        if named.kind != self.chord.kind && bass.is_some() && k.members.len() == 3 {
            // C E G under or among which D♭ sounds.
            text.push_str(&format!("add{}9", accidentals(-1, glyphs)));
        }
        text.push_str(&self.of(self.role.target(), notation));
        // Figures tell the third, the fifth and the seventh.
        if bass.is_none_or(|n| !matches!(n, 3 | 5 | 7)) && self.chord.bass != self.chord.root {
            text.push_str(&self.over(notation));
        }
        text
    }

    /// `/V`, or nothing.
    fn of(&self, target: Option<Target>, notation: &Notation) -> String {
        target.map_or(String::new(), |t| format!("/{}", self.target(t, notation)))
    }

    /// The bass that no figure says: ` over ♭7`. A slash would read as an applied chord.
    fn over(&self, notation: &Notation) -> String {
        format!(" over {}", self.bass_degree(notation))
    }

    /// The bass as a degree, on the user's basis.
    fn bass_degree(&self, notation: &Notation) -> String {
        let d = self.bass;
        let sign = match notation.numeral_basis {
            NumeralBasis::Mode => d.alter - self.own[(d.number as usize + 6) % 7],
            NumeralBasis::MajorScale => d.alter,
        };
        format!("{}{}", accidentals(sign, notation.glyphs), d.number)
    }

    fn capitals(&self, notation: &Notation) -> String {
        let glyphs = notation.glyphs;
        let (chord, d) = self.named;
        let suffix = notation.marks.suffix(&kind(chord.kind).symbol, glyphs);
        let suffix = suffix.replace("(no5)", "");
        let stand = |d: Degree| {
            let minor = matches!(kind(chord.kind).triad(), Triad::Minor | Triad::Diminished);
            let sign = self.sign(d, LetterCase::small_if(minor), notation);
            accidentals(sign, glyphs) + &roman(d.number, LetterCase::Capital)
        };
        let local = || roman(self.degree.number, LetterCase::Capital);
        // V of the tonic, or of the degree.
        let five = |t: Option<Target>| {
            let d = t.map_or(Degree::at(1, 0), |t| t.degree);
            Target {
                degree: Degree::at((d.number + 3) % 7 + 1, (d.semitones() + 7) % 12),
                minor: false,
            }
        };
        let (stem, target) = match self.role {
            Role::Applied(t) if self.degree.number != 7 && chord == self.chord => {
                (local(), Some(t))
            }
            Role::TritoneSubstitute(t) => ("subV".to_owned(), t),
            Role::AugmentedSixth(_, t) if chord == self.chord => ("subV".to_owned(), Some(five(t))),
            _ => (stand(d), None),
        };
        let mut text = stem + &suffix + &self.of(target, notation);
        if chord.bass != chord.root {
            text.push('/');
            text.push_str(&self.bass_degree(notation));
        }
        text
    }
}

/// The figure of a seventh chord in root position by its highest natural tension.
fn ninths(k: &Kind) -> &'static str {
    let has = |n: u8, semitones: u8| {
        let mut all = k.members.iter();
        all.any(|m| m.number == n && m.semitones == semitones)
    };
    match (has(9, 2), has(11, 5), has(13, 9)) {
        (true, _, true) => "13",
        (true, true, _) => "11",
        (true, false, false) => "9",
        _ => "7",
    }
}

/// What the figures do not say: an altered fifth, altered and added tensions.
fn tensions(k: &Kind, glyphs: Glyphs) -> String {
    let seventh = k.seventh().is_some();
    let figure = ninths(k);
    let mut text = String::new();
    let has = |n, semitones| {
        let mut all = k.members.iter();
        all.any(|m| m.number == n && m.semitones == semitones)
    };
    // As the trade writes it.
    let six_nine = !seventh && k.triad() != Triad::Suspended && has(6, 9) && has(9, 2);
    if six_nine {
        text.push_str("6/9");
    }
    for m in &k.members {
        let plain = Degree {
            number: (m.number - 1) % 7 + 1,
            alter: 0,
        };
        let alter = m.semitones as i32 - plain.semitones() as i32;
        let said = match m.number {
            5 => alter == 0 || k.triad() != Triad::Major,
            6 => six_nine && alter == 0,
            9 => alter == 0 && (six_nine || seventh && figure != "7"),
            11 => alter == 0 && seventh && matches!(figure, "11" | "13"),
            13 => alter == 0 && seventh && figure == "13",
            _ => true,
        };
        if said {
            continue;
        }
        let figure = accidentals(alter as i8, glyphs) + &m.number.to_string();
        text.push_str(&match (m.number, alter, seventh) {
            (5, ..) | (_, 0, true) => format!("({figure})"),
            (_, _, true) => figure,
            // Isus4(add6): what is added to a suspension stands by itself.
            (_, _, false) if k.triad() == Triad::Suspended => format!("(add{figure})"),
            (_, _, false) => format!("add{figure}"),
        });
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::testing::numerals;

    /// Common practice, no source: without a third there is nothing to be small.
    #[test]
    fn a_suspension_has_a_large_numeral() {
        let plain = Notation::default();
        let text = |key: &str, chords: &str| numerals(key, chords, false, &plain);
        assert_eq!(text("D dorian", "Dsus4 Dm Gsus4"), "Isus4 i IVsus4");
        assert_eq!(
            text("C ionian", "Csus4 Dsus4 Asus4 G"),
            "Isus4 IIsus4 VIsus4 V"
        );
        assert_eq!(text("A minor", "Asus4 Esus4"), "Isus4 Vsus4");
    }

    /// Common practice, no source.
    #[test]
    fn six_and_nine_are_written_together() {
        let plain = Notation::default();
        let text = |key: &str, chords: &str| numerals(key, chords, false, &plain);
        assert_eq!(text("C ionian", "C6/9 F6/9 Am6/9"), "I6/9 IV6/9 vi6/9");
        assert_eq!(text("C ionian", "Cadd9 C6"), "Iadd9 Iadd6");
    }

    /// A figure tells the third, the fifth or the seventh in the bass, and no other note.
    #[test]
    fn a_bass_that_no_figure_tells_is_said() {
        let plain = Notation::default();
        let text = |key: &str, chords: &str| numerals(key, chords, false, &plain);
        assert_eq!(
            text("G ionian", "Dsus4/G Dsus2/E"),
            "Vsus4 over 1 Vsus2 over 6"
        );
        assert_eq!(
            text("C ionian", "G7sus4/C G/B G7/F"),
            "V7sus4 over 1 V6 V42"
        );
    }

    #[test]
    fn the_conventions_of_the_user() {
        let capitals = Notation {
            case: NumeralCase::Capitals,
            ..Notation::default()
        };
        let progression = "Dm7 G7/B Cmaj7 A7 Dm Db7 C Bm7b5 E7 Ab7 G F#dim7 G";
        assert_eq!(
            numerals("C ionian", progression, true, &capitals),
            "IIm7 V7/7 Imaj7 V7/II IIm subV7 I VIIm7♭5 V7/VI subV7/V V ♯IV°7 V"
        );
        assert_eq!(
            numerals("C dorian", "Cm7 F7 Bb", true, &capitals),
            "Im7 IV7 ♭VII"
        );
        let own = Notation {
            numeral_basis: NumeralBasis::Mode,
            ..Notation::default()
        };
        assert_eq!(numerals("C dorian", "Bb Eb Ab", true, &own), "VII III ♭VI");
        assert_eq!(numerals("C lydian", "F#dim F", true, &own), "iv° ♭IV");
        let dominant = Notation {
            cadential: Cadential::Dominant,
            glyphs: Glyphs::Ascii,
            ..Notation::default()
        };
        assert_eq!(
            numerals("C ionian", "F C/G G F C/G F", true, &dominant),
            "IV V64 V IV I64 IV"
        );
        // Live a six-four after a chord that goes to the dominant is taken for one.
        assert_eq!(
            numerals("C ionian", "F C/G C C/G", false, &dominant),
            "IV V64 I I64"
        );
        assert_eq!(
            numerals("C minor", "Bm7b5 Dm7b5 Bdim7", false, &dominant),
            "vii07 ii07 viio7"
        );
        let ascii = Notation {
            glyphs: Glyphs::Ascii,
            ..Notation::default()
        };
        let said = numerals("C minor", "Cm F#dim7 Cm Ab7/Gb G", true, &ascii);
        assert_eq!(said, "i CTo7 i Gero3 V");
        let said = numerals("C ionian", "F7 E7 Am C Cdim7 C", true, &capitals);
        assert_eq!(said, "subV7/III V7/VI VIm I I°7 I");
    }
}
