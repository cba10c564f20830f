//! Degrees: the steps of a scale, counted against the major scale on the same center.

use super::pitch::PitchClass;
use super::spelling::{Glyphs, Spelling, accidentals};
use std::str::FromStr;

/// A step of a mode: `b3` is number 3, lowered by one against the major scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Degree {
    /// 1-7.
    pub number: u8,
    /// Against the major scale on the same center, in semitones.
    pub alter: i8,
}

/// Semitones of the major scale's degrees, and so of the major and perfect intervals.
pub(super) const MAJOR: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

/// The numbers of the common chromatic degrees: the major scale's, and ♭2 ♭3 ♯4 ♭6 ♭7.
/// Common practice, no source.
const CHROMATIC: [u8; 12] = [1, 2, 2, 3, 3, 4, 4, 5, 6, 6, 7, 7];

impl Degree {
    /// The degree of this number that lies `semitones` above the center.
    pub(super) fn at(number: u8, semitones: usize) -> Degree {
        let plain = Degree { number, alter: 0 };
        let alter = (semitones as i32 - plain.semitones() as i32 + 18).rem_euclid(12) - 6;
        Degree {
            number,
            alter: alter as i8,
        }
    }

    /// The common chromatic degree `semitones` (0-11) above the center.
    pub(super) fn chromatic(semitones: usize) -> Degree {
        Degree::at(CHROMATIC[semitones % 12], semitones % 12)
    }

    /// Semitones above the center, 0-11.
    pub fn semitones(self) -> usize {
        (MAJOR[(self.number as usize + 6) % 7] + self.alter as i32).rem_euclid(12) as usize
    }

    /// The pitch class of the degree above a center.
    pub fn above(self, center: PitchClass) -> PitchClass {
        center.up(self.semitones() as i32)
    }

    /// `♭3`.
    pub fn text(self, glyphs: Glyphs) -> String {
        format!("{}{}", accidentals(self.alter, glyphs), self.number)
    }
}

/// A degree of the scale on `tonic`.
pub fn spell_degree(tonic: Spelling, degree: Degree) -> Spelling {
    tonic.up((degree.number as usize + 6) % 7, degree.semitones() as i32)
}

/// Not a degree.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no degree: write 1 to 7 after at most two b or #")]
pub struct NotADegree(pub String);

impl FromStr for Degree {
    type Err = NotADegree;

    /// `b3`, `♯4`, `bb7`.
    fn from_str(s: &str) -> Result<Degree, NotADegree> {
        let digits = s.trim_start_matches(['b', '#', '♭', '♯']);
        let marks = &s[..s.len() - digits.len()];
        let flats = marks.chars().filter(|c| matches!(c, 'b' | '♭')).count();
        let sharps = marks.chars().filter(|c| matches!(c, '#' | '♯')).count();
        match digits.parse::<u8>() {
            Ok(number @ 1..=7) if flats + sharps <= 2 => Ok(Degree {
                number,
                alter: sharps as i8 - flats as i8,
            }),
            _ => Err(NotADegree(s.to_owned())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_degree_is_read_or_said_to_be_none() {
        let is = |number, alter| Ok(Degree { number, alter });
        assert_eq!("b3".parse(), is(3, -1));
        assert_eq!("♯4".parse(), is(4, 1));
        assert_eq!("bb7".parse(), is(7, -2));
        let many = "b".repeat(128) + "3";
        for text in ["", "8", "0", "b", "bbb7", "3b", "III", " 3", many.as_str()] {
            assert_eq!(text.parse::<Degree>(), Err(NotADegree(text.to_owned())));
        }
    }

    #[test]
    fn degrees_keep_their_semitones() {
        for semitones in 0..12 {
            assert_eq!(Degree::chromatic(semitones).semitones(), semitones);
            for number in 1..=7 {
                assert_eq!(Degree::at(number, semitones).semitones(), semitones);
            }
        }
    }
}
