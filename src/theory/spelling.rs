//! Note names as places on the line of fifths: … B♭ F C G D A E B F♯ …

use super::pitch::PitchClass;
use std::fmt;
use std::str::FromStr;

/// A spelled note without its octave: C = 0, G = 1, F = -1, each sharp 7 higher.
///
/// Places go from -128 to 127, B with 19 flats to G with 18 sharps, far beyond what music needs.
/// No arithmetic leaves that range, panics or wraps; each function says what it gives instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spelling(i8);

/// The letters in the order of fifths.
const BY_FIFTHS: [char; 7] = ['F', 'C', 'G', 'D', 'A', 'E', 'B'];
/// The letters in the order of the scale.
const BY_STEP: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];
/// Line-of-fifths place of the seven natural notes, in the order of the scale.
const NATURALS: [i8; 7] = [0, 2, 4, -1, 1, 3, 5];

/// Which characters are written: here accidentals; on the screen all other signs too.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Glyphs {
    /// `♭` and `♯`. A double flat is `♭♭`, a note's double sharp `x`, as in Fx: few
    /// terminals have signs of their own for them.
    #[default]
    Unicode,
    /// `b` and `#`, doubled where double.
    Ascii,
}

impl Spelling {
    pub const C: Spelling = Spelling(0);
    /// The middle of the names in use, E♭ to G♯: where nothing else decides, a note is spelled
    /// around it. Common practice, no source.
    pub const MIDDLE: f32 = 2.0;

    /// At a place on the line of fifths.
    pub const fn at(fifths: i8) -> Spelling {
        Spelling(fifths)
    }

    /// The place on the line of fifths, C = 0.
    pub const fn fifths(self) -> i8 {
        self.0
    }

    /// `letter` 0-6 from C, others an octave or more away the same; `accidental` in sharps (flats
    /// negative). Of more than fit, as many as fit: at least 17 of either for any letter.
    pub fn of(letter: usize, accidental: i8) -> Spelling {
        let natural = i16::from(NATURALS[letter % 7]);
        let place = |accidental: i8| i8::try_from(natural + 7 * i16::from(accidental)).ok();
        let sign = accidental.signum();
        let mut fitting = (0..=accidental.unsigned_abs().min(19)).rev();
        let found = fitting.find_map(|n| place(sign * n.cast_signed()));
        Spelling(found.unwrap_or(NATURALS[letter % 7]))
    }

    /// 0-6 from C.
    pub fn letter(self) -> usize {
        let c = BY_FIFTHS[(i16::from(self.0) + 1).rem_euclid(7) as usize];
        BY_STEP.iter().position(|&s| s == c).unwrap_or(0)
    }

    /// Sharps, flats negative.
    pub fn accidental(self) -> i8 {
        (i16::from(self.0) + 1).div_euclid(7) as i8
    }

    pub fn pitch_class(self) -> PitchClass {
        PitchClass::new(self.0 as i32 * 7)
    }

    /// The note that stands `steps` letters and `semitones` above this one:
    /// (2, 4) is a major third, (3, 5) a perfect fourth. Any numbers: octaves do not count, and
    /// the accidental is the one nearest to natural, from 6 flats to 5 sharps.
    pub fn up(self, steps: usize, semitones: i32) -> Spelling {
        let letter = (self.letter() + steps % 7) % 7;
        let plain = Spelling::of(letter, 0);
        let want = self.pitch_class().up(semitones);
        // The accidental nearest to natural that gives the pitch class.
        let off =
            (want.index() as i32 - plain.pitch_class().index() as i32 + 18).rem_euclid(12) - 6;
        Spelling::of(letter, off as i8)
    }

    /// The spelling of `pc` whose place is nearest to `around` (ties: the sharper one), of the
    /// places from -36 to 47.
    pub fn nearest(pc: PitchClass, around: f32) -> Spelling {
        let base = (pc.index() as i32 * 7).rem_euclid(12);
        (-3..=3)
            .map(|k| Spelling((base + 12 * k) as i8))
            .min_by(|a, b| {
                let d = |s: &Spelling| (s.0 as f32 - around).abs();
                d(a).total_cmp(&d(b)).then(b.0.cmp(&a.0))
            })
            .unwrap_or(Spelling::C)
    }

    /// The note so many fifths further up, flats negative; itself where there is no such place.
    pub(super) fn along(self, fifths: i8) -> Spelling {
        self.0.checked_add(fifths).map_or(self, Spelling)
    }

    /// The same key of the piano as the plain note: C♭, F♭, B♯, E♯ and what is doubled
    /// become B, E, C, F and the single note.
    pub(super) fn plain(self) -> Spelling {
        match self.0 {
            ..=-7 => Spelling(self.0 + 12),
            11.. => Spelling(self.0 - 12),
            _ => self,
        }
    }

    /// `E♭`, `Fx`; in ASCII `Eb`, `F##`.
    pub fn text(self, glyphs: Glyphs) -> String {
        let letter = String::from(BY_STEP[self.letter()]);
        match (self.accidental(), glyphs) {
            (sharps @ 2.., Glyphs::Unicode) => {
                letter + &accidentals(sharps % 2, glyphs) + &"x".repeat(sharps as usize / 2)
            }
            (sharps, _) => letter + &accidentals(sharps, glyphs),
        }
    }
}

/// `♭♭` for -2, `♯` for 1, nothing for 0.
pub fn accidentals(sharps: i8, glyphs: Glyphs) -> String {
    let mark = match (sharps < 0, glyphs) {
        (true, Glyphs::Unicode) => '♭',
        (true, Glyphs::Ascii) => 'b',
        (false, Glyphs::Unicode) => '♯',
        (false, Glyphs::Ascii) => '#',
    };
    std::iter::repeat_n(mark, sharps.unsigned_abs() as usize).collect()
}

impl fmt::Display for Spelling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text(Glyphs::Unicode))
    }
}

/// Not a note name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no note name: a letter A to G, then ♯ or #, ♭ or b")]
pub struct NotANote(pub String);

impl FromStr for Spelling {
    type Err = NotANote;

    /// `E♭`, `Eb`, `f#`, `B𝄫`.
    fn from_str(s: &str) -> Result<Spelling, NotANote> {
        let bad = || NotANote(s.to_owned());
        let mut chars = s.chars();
        let letter = chars.next().ok_or_else(bad)?.to_ascii_uppercase();
        let letter = BY_STEP.iter().position(|&c| c == letter).ok_or_else(bad)?;
        let mut accidental = 0i8;
        for c in chars {
            accidental += match c {
                '♯' | '#' => 1,
                '♭' | 'b' => -1,
                '𝄪' | 'x' => 2,
                '𝄫' => -2,
                '♮' => 0,
                _ => return Err(bad()),
            };
            if accidental.abs() > 3 {
                return Err(bad());
            }
        }
        Ok(Spelling::of(letter, accidental))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_place_has_one_name_and_every_name_its_place() {
        for f in -15..=19 {
            let s = Spelling::at(f);
            assert_eq!(s.to_string().parse(), Ok(s));
            assert_eq!(s.text(Glyphs::Ascii).parse(), Ok(s));
        }
        assert_eq!("E♭".parse(), Ok(Spelling::at(-3)));
        assert_eq!(Spelling::at(6).to_string(), "F♯");
        assert_eq!(Spelling::at(13).to_string(), "Fx");
        assert_eq!(Spelling::at(20).to_string(), "F♯x");
        assert_eq!(Spelling::at(13).text(Glyphs::Ascii), "F##");
        assert_eq!(
            "Gb".parse::<Spelling>().map(Spelling::pitch_class),
            Ok(PitchClass::new(6))
        );
        assert!("H".parse::<Spelling>().is_err());
        assert!("".parse::<Spelling>().is_err());
        assert!("Cbbbbbbb".parse::<Spelling>().is_err());
    }

    #[test]
    fn no_place_and_no_number_is_too_far() {
        for s in (i8::MIN..=i8::MAX).map(Spelling::at) {
            assert_eq!(Spelling::of(s.letter(), s.accidental()), s);
            let signs = s.text(Glyphs::Ascii).len() - 1;
            assert_eq!(signs, usize::from(s.accidental().unsigned_abs()));
            assert_eq!(s.plain().pitch_class(), s.pitch_class());
            for by in [-12, 12] {
                assert_eq!(s.along(by).pitch_class(), s.pitch_class());
            }
            for semitones in [i32::MIN, -1, 0, i32::MAX] {
                let up = s.up(usize::MAX, semitones);
                assert_eq!(up.pitch_class(), s.pitch_class().up(semitones));
                assert_eq!(up.letter(), (s.letter() + usize::MAX % 7) % 7);
            }
        }
        assert_eq!(Spelling::at(i8::MIN).accidental(), -19);
        assert_eq!(Spelling::at(i8::MAX).accidental(), 18);
        for letter in 0..7 {
            for accidental in i8::MIN..=i8::MAX {
                let s = Spelling::of(letter, accidental);
                assert_eq!(s.letter(), letter);
                match accidental {
                    -18..=17 => assert_eq!(s.accidental(), accidental),
                    ..-18 => assert!((-19..=-18).contains(&s.accidental())),
                    _ => assert!((17..=18).contains(&s.accidental())),
                }
            }
        }
        for around in [f32::NEG_INFINITY, -1e9, 1e9, f32::INFINITY, f32::NAN] {
            let near = Spelling::nearest(PitchClass::new(3), around);
            assert_eq!(near.pitch_class(), PitchClass::new(3));
        }
    }

    #[test]
    fn intervals_keep_their_letters() {
        let c = Spelling::C;
        assert_eq!(c.up(2, 4).to_string(), "E");
        assert_eq!(c.up(2, 3).to_string(), "E♭");
        assert_eq!(c.up(6, 9).to_string(), "B♭♭");
        assert_eq!(Spelling::at(-6).up(6, 10).to_string(), "F♭");
    }
}
