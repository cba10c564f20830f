//! A numeral in RomanText.

use super::place::kind;
use super::value::{LetterCase, Numeral, Role, Sixth, roman};
use crate::theory::degree::Degree;
use crate::theory::kind::Triad;
use crate::theory::pitch::PitchClass;
use crate::theory::spelling::{Glyphs, accidentals};

/// The keys that RomanText knows.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Key {
    Major,
    Minor,
}

impl Key {
    fn minor_if(minor: bool) -> Key {
        match minor {
            true => Key::Minor,
            false => Key::Major,
        }
    }
}

impl Numeral {
    /// In RomanText, as its reader in music21 takes it: the same pitch classes over the
    /// same bass. `None` for a bass that no figure says, and for what its reader does not
    /// take as written.
    ///
    /// RomanText has major and minor keys alone: another mode's chords are written in the one
    /// on its center with the same third ([`Mode::is_major`](crate::theory::Mode::is_major)),
    /// on the degrees that they have there: IV of Dorian as IV in minor, II of Lydian as II in
    /// major.
    ///
    /// Augmented sixths over another bass than the usual one or of a degree, and
    /// common-tone sevenths, have no name of their own there: they are altered chords,
    /// `VI7[b7]/vi`.
    ///
    /// Its traps: a seventh is the key's own unless a bracket alters it (`IV7[b7]`), so
    /// are added notes; in minor VI and VII stand on the natural degrees, vi and vii on
    /// the raised ones.
    pub fn roman_text(&self) -> Option<String> {
        let key = Key::minor_if(self.minor_key);
        let k = kind(self.chord.kind);
        let bass = self.chord.bass_member()?.number;
        match (self.role, bass) {
            (Role::AugmentedSixth(Sixth::Italian, None), 1) => return Some("It6".into()),
            (Role::AugmentedSixth(Sixth::German, None), 1) => return Some("Ger65".into()),
            (Role::AugmentedSixth(Sixth::French, None), 1) => return Some("Fr43".into()),
            (Role::Neapolitan, 3) if k.symbol.is_empty() => return Some("N6".into()),
            _ => {}
        }
        let target = self.role.target();
        let local = target.map_or(key, |t| Key::minor_if(t.minor));
        let triad = k.triad();
        let small = matches!(triad, Triad::Minor | Triad::Diminished);
        let seventh = k.seventh();
        let half = triad == Triad::Diminished && seventh == Some(10);
        let mut text = roman_degree(self.degree, LetterCase::small_if(small), local)?;
        text.push_str(match triad {
            Triad::Diminished if half => "ø",
            Triad::Diminished => "o",
            Triad::Augmented => "+",
            _ => "",
        });
        text.push_str(match (seventh.is_some(), bass) {
            (false, 1) => "",
            (false, 3) => "6",
            (false, 5) => "64",
            (true, 1) => "7",
            (true, 3) => "65",
            (true, 5) => "43",
            (true, 7) => "42",
            _ => return None,
        });
        // What the key itself has on a number, against the major scale.
        let has = |number: u8| -i8::from(local == Key::Minor && [3, 6, 7].contains(&number));
        let altered = |number: u8, semitones: u8| {
            let on = (self.degree.number + number - 2) % 7 + 1;
            let above = self.degree.semitones() + semitones as usize;
            accidentals(Degree::at(on, above).alter - has(on), Glyphs::Ascii)
        };
        // Upon a minor triad the reader has a minor seventh where the key has a major one.
        let number = (self.degree.number + 5) % 7 + 1;
        let in_key = Degree {
            number,
            alter: has(number),
        };
        let lowered = (in_key.semitones() + 12 - self.degree.semitones()) % 12 == 11;
        for m in &k.members {
            match (m.number, m.semitones) {
                (1 | 3, _) | (5, 7) => {}
                (5, _) if triad != Triad::Major => {}
                // Against the perfect fifth, whatever the key has.
                (5, _) => text.push_str("[b5]"),
                (7, _) if half || (triad, seventh) == (Triad::Diminished, Some(9)) => {}
                (7, 10) if triad == Triad::Minor && lowered => {}
                (7, 11) if triad == Triad::Minor && lowered => text.push_str("[#7]"),
                (7, up) => match altered(7, up).as_str() {
                    "" => {}
                    sign => text.push_str(&format!("[{sign}7]")),
                },
                (n, up) => text.push_str(&format!("[add{}{n}]", altered(n, up))),
            }
        }
        // What the lead sheet's chord has beside: C E G and D♭.
        let beside = self.named.0.set().minus(self.chord.set());
        for up in beside
            .seen_from(self.chord.root)
            .iter()
            .map(PitchClass::index)
        {
            let number = Degree::chromatic(up).number + 7;
            text.push_str(&format!("[add{}{number}]", altered(number, up as u8)));
        }
        for number in [3, 5] {
            if k.members.iter().all(|m| m.number != number) {
                text.push_str(&format!("[no{number}]"));
            }
        }
        if let Some(t) = target {
            text.push('/');
            text.push_str(&roman_degree(t.degree, LetterCase::small_if(t.minor), key)?);
        }
        Some(text)
    }
}

/// A degree in a key of RomanText. `None` for ♭♭VI and ♭♭VII in minor: its reader takes
/// bVI and bVII for the natural ones.
fn roman_degree(d: Degree, case: LetterCase, key: Key) -> Option<String> {
    let minor = key == Key::Minor;
    let natural = minor && case == LetterCase::Capital && matches!(d.number, 6 | 7);
    let usual = match d.number {
        3 if minor => -1,
        6 | 7 if natural => -1,
        _ => 0,
    };
    if d.alter < usual && natural {
        return None;
    }
    let sign = accidentals(d.alter - usual, Glyphs::Ascii);
    Some(sign + &roman(d.number, case))
}
