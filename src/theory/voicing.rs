//! A chord as it lies under the hands: its keys from bottom to top, what lies
//! between neighbours, a guess at the hands, and how it is built.

use super::catalogue::Catalogue;
use super::chord::{Chord, Sonority};
use super::convention::Notation;
use super::degree::MAJOR;
use super::kind::{KindId, Triad};
use super::kinds::Kinds;
use super::mode::SpelledTonality;
use super::numeral::Surroundings;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;
use std::fmt;

/// A hand takes no more than a tenth and five notes (common practice, no source).
const SPAN: u8 = 16;
const FINGERS: usize = 5;
/// What one hand takes at ease: an octave.
const AT_EASE: u8 = 12;
/// Middle C: a single hand lies left or right of it.
const MIDDLE: u8 = 60;

/// A guess at which hand plays which keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hands {
    /// The left hand plays all of them.
    Left,
    /// The right hand plays all of them.
    Right,
    /// The left hand plays the lowest `left` keys, the right hand the others.
    Both { left: usize },
    /// More than two hands can hold: the pedal held some.
    Beyond,
}

/// How a voicing is built, where that has a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Structure {
    /// A plain triad on top that adds to the seventh chord below: D over C7.
    UpperTriad { triad: Chord, over: Chord },
    /// Nothing but perfect fourths: how many.
    Quartal { fourths: usize },
}

/// MIDI note numbers from bottom to top, each once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Voicing {
    keys: Vec<u8>,
}

impl Voicing {
    /// MIDI note numbers in any order.
    pub fn new(keys: impl IntoIterator<Item = u8>) -> Voicing {
        let mut keys: Vec<u8> = keys.into_iter().collect();
        keys.sort_unstable();
        keys.dedup();
        Voicing { keys }
    }

    /// From bottom to top.
    pub fn keys(&self) -> &[u8] {
        &self.keys
    }

    pub fn set(&self) -> PitchClassSet {
        self.keys.iter().map(|&k| PitchClass::of_key(k)).collect()
    }

    /// Its notes with their octaves (C4 is middle C, key 60), spelled as
    /// [`Notation::notes`] has them among the same harmonies: `E3`, `B♭3`, `C♭4` for key 59.
    pub fn notes(
        &self,
        sonority: Sonority,
        at: impl Into<Surroundings>,
        notation: &Notation,
        catalogue: &Catalogue,
    ) -> Vec<String> {
        let at = at.into();
        let notes = notation.notes(sonority, at, catalogue);
        let name = |&key: &u8| {
            let pc = PitchClass::of_key(key);
            let found = notes.iter().copied().find(|n| n.pitch_class() == pc);
            let note = found.unwrap_or_else(|| notation.note(pc, at.within, catalogue));
            format!("{}{}", notation.name(note), octave(key, note))
        };
        self.keys.iter().map(name).collect()
    }

    /// The intervals between neighbours, from the bottom up: `P5`, `m3`, `M10`, `A4`,
    /// `d5`. They follow no convention, and those of a chord are of its stacked thirds:
    /// a diminished seventh is `m3 m3 m3` however it is spelled.
    pub fn intervals(
        &self,
        sonority: Sonority,
        within: Option<SpelledTonality>,
        catalogue: &Catalogue,
    ) -> Vec<Interval> {
        let plain = Notation::PLAIN;
        let spelled = |&key: &u8| {
            let pc = PitchClass::of_key(key);
            let note = match sonority.chord().filter(|c| c.set().contains(pc)) {
                Some(c) => c.stacked(plain.root(c, within, catalogue), pc),
                None => plain.note(pc, within, catalogue),
            };
            (key, note)
        };
        let notes: Vec<(u8, Spelling)> = self.keys.iter().map(spelled).collect();
        notes
            .windows(2)
            .map(|pair| Interval::between(pair[0], pair[1]))
            .collect()
    }

    /// A guess at the hands: one where an octave holds all, or a tenth on one side
    /// of middle C; else split at the widest gap that leaves each hand what it can
    /// take (common practice, no source). `None` of no keys.
    pub fn hands(&self) -> Option<Hands> {
        let (&low, &high) = (self.keys.first()?, self.keys.last()?);
        let n = self.keys.len();
        let span = high - low;
        let aside = high < MIDDLE || low >= MIDDLE;
        if n <= FINGERS && (span <= AT_EASE || aside && span <= SPAN) {
            let middle = u16::from(low) + u16::from(high) < 2 * u16::from(MIDDLE);
            return Some(if middle { Hands::Left } else { Hands::Right });
        }
        let fits = |keys: &[u8]| keys.len() <= FINGERS && keys[keys.len() - 1] - keys[0] <= SPAN;
        (1..n)
            .filter(|&i| fits(&self.keys[..i]) && fits(&self.keys[i..]))
            // Of equal gaps the one nearest to the middle of the keys.
            .max_by_key(|&i| {
                let gap = self.keys[i] - self.keys[i - 1];
                (gap, std::cmp::Reverse((2 * i).abs_diff(n)))
            })
            .map(|left| Hands::Both { left })
            .or(Some(Hands::Beyond))
    }

    /// How it is built over the chord that it is, where that has a name.
    pub fn structure(&self, sonority: Sonority) -> Option<Structure> {
        let gaps = self.keys.windows(2).map(|p| p[1] - p[0]);
        if self.keys.len() >= 3 && gaps.clone().all(|g| g == 5) {
            return Some(Structure::Quartal {
                fourths: self.keys.len() - 1,
            });
        }
        let chord = sonority.chord()?;
        let kinds = Kinds::standard();
        let kind = kinds.kind(chord.kind);
        let seventh = kind.seventh()?;
        let third = match kind.triad() {
            Triad::Major | Triad::Augmented => 4,
            Triad::Minor | Triad::Diminished => 3,
            Triad::Suspended => return None,
        };
        let (below, top) = self
            .keys
            .split_at_checked(self.keys.len().checked_sub(3)?)?;
        // The third and the seventh below make it that chord without the triad.
        let under: PitchClassSet = below.iter().map(|&k| PitchClass::of_key(k)).collect();
        let member = |semitones: u8| chord.root.up(i32::from(semitones));
        if !under.contains(member(third)) || !under.contains(member(seventh)) {
            return None;
        }
        let upper: PitchClassSet = top.iter().map(|&k| PitchClass::of_key(k)).collect();
        let plain = [kinds.find("")?, kinds.find("m")?];
        let (root, kind) = upper
            .iter()
            .flat_map(|root| plain.map(|kind| (root, kind)))
            .find(|&(root, kind)| kinds.kind(kind).set().up(root.index() as i32) == upper)?;
        if root == chord.root {
            return None;
        }
        let over: KindId = kinds.find(match (third, seventh) {
            (4, 10) => "7",
            (4, 11) => "maj7",
            (3, 10) => "m7",
            (3, 11) => "m(maj7)",
            _ => return None,
        })?;
        // C E G over Am7 says nothing new.
        let seventh_chord = kinds.kind(over).set().up(chord.root.index() as i32);
        if upper.is_subset(seventh_chord) {
            return None;
        }
        let on = |root: PitchClass, kind: KindId| Chord {
            root,
            kind,
            bass: root,
        };
        Some(Structure::UpperTriad {
            triad: on(root, kind),
            over: on(chord.root, over),
        })
    }

    /// The structure in words: `D over C7`, `quartal, three fourths`.
    pub fn words(
        &self,
        sonority: Sonority,
        at: impl Into<Surroundings>,
        notation: &Notation,
        catalogue: &Catalogue,
    ) -> Option<String> {
        let at = at.into();
        Some(match self.structure(sonority)? {
            Structure::Quartal { fourths } => {
                let number = ["two", "three", "four", "five", "six"].get(fourths - 2);
                match number {
                    Some(number) => format!("quartal, {number} fourths"),
                    None => format!("quartal, {fourths} fourths"),
                }
            }
            Structure::UpperTriad { triad, over } => {
                // A triad of its own, E♭ over C7 though D♯ is the ninth.
                let root = notation.root(triad, at.within, catalogue);
                let under = notation.root(sonority.chord()?, at, catalogue);
                format!(
                    "{} over {}",
                    notation.chord(triad, root),
                    notation.chord(over, under)
                )
            }
        })
    }
}

/// The octave in scientific pitch notation, which goes by the letter: C♭4 is key 59.
fn octave(key: u8, note: Spelling) -> i32 {
    (i32::from(key) - i32::from(note.accidental())).div_euclid(12) - 1
}

/// An interval as it is spelled, upwards. As text `m3`, `P12`, `m17`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Interval {
    /// `P`, `M`, `m`, `A` or `d`, the last two as often as it is altered.
    quality: String,
    /// 1 is the unison, 8 the octave.
    number: i32,
}

impl Interval {
    fn between((low, a): (u8, Spelling), (high, b): (u8, Spelling)) -> Interval {
        let place = |key: u8, note: Spelling| 7 * octave(key, note) + note.letter() as i32;
        let steps = place(high, b) - place(low, a);
        let semitones = i32::from(high) - i32::from(low);
        let degree = steps.rem_euclid(7);
        let plain = MAJOR[degree as usize] + 12 * steps.div_euclid(7);
        let perfect = [0, 3, 4].contains(&degree);
        let off = semitones - plain;
        let quality = match (perfect, off) {
            (true, 0) => "P".to_owned(),
            (false, 0) => "M".to_owned(),
            (false, -1) => "m".to_owned(),
            (_, 1..) => "A".repeat(off as usize),
            (true, _) => "d".repeat(-off as usize),
            (false, _) => "d".repeat((-off - 1) as usize),
        };
        Interval {
            quality,
            number: steps + 1,
        }
    }

    /// As a pianist reads it: up to a thirteenth by its number, beyond that by its octaves,
    /// `P26` as `P5+3oct`.
    pub fn reduced(&self) -> String {
        if self.number < 14 {
            return self.to_string();
        }
        let (simple, octaves) = ((self.number - 1) % 7 + 1, (self.number - 1) / 7);
        match (self.quality.as_str(), simple) {
            ("P", 1) => format!("{octaves}oct"),
            (quality, _) => format!("{quality}{simple}+{octaves}oct"),
        }
    }
}

impl fmt::Display for Interval {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.quality, self.number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(keys: &[u8]) -> (Voicing, Sonority) {
        let v = Voicing::new(keys.iter().copied());
        let bass = PitchClass::of_key(v.keys()[0]);
        let s = Kinds::standard().name(v.set(), bass, PitchClassSet::ALL);
        (v, s)
    }

    fn notes(keys: &[u8]) -> String {
        let (v, s) = of(keys);
        v.notes(s, None, &Notation::PLAIN, Catalogue::standard())
            .join(" ")
    }

    fn intervals(keys: &[u8]) -> String {
        let (v, s) = of(keys);
        let all = v.intervals(s, None, Catalogue::standard());
        let all: Vec<String> = all.iter().map(Interval::to_string).collect();
        all.join(" ")
    }

    fn built(keys: &[u8]) -> Option<String> {
        let (v, s) = of(keys);
        v.words(s, None, &Notation::PLAIN, Catalogue::standard())
    }

    /// By the harmonies around it, as the chord's own notes are.
    #[test]
    fn it_is_spelled_as_its_chord_is() {
        let c = Catalogue::standard();
        let c_major = super::super::testing::within("C ionian");
        let chord = super::super::testing::chord;
        for (keys, label, after, want) in [
            (&[56, 60, 63, 66][..], "Ab7", "G", "A♭3 C4 E♭4 F♯4"),
            (&[56, 60, 63, 66], "Ab7", "Db", "A♭3 C4 E♭4 G♭4"),
            (&[56, 59, 62, 65], "G#dim7", "Am", "G♯3 B3 D4 F4"),
            (&[56, 59, 62, 65], "Bdim7/Ab", "C", "A♭3 B3 D4 F4"),
        ] {
            let (v, _) = of(keys);
            let s = Sonority::Chord(chord(label));
            let around = (None, Some(chord(after)));
            let notes = v.notes(s, (Some(c_major), around), &Notation::PLAIN, c);
            assert_eq!(notes.join(" "), want, "{label} before {after}");
            let plain = Notation::PLAIN.notes(s, (Some(c_major), around), c);
            let plain: Vec<String> = plain.iter().map(|n| n.to_string()).collect();
            let letters: Vec<&str> = notes.iter().map(|n| &n[..n.len() - 1]).collect();
            assert_eq!(letters, plain);
        }
    }

    #[test]
    fn notes_have_their_octaves_and_intervals_their_names() {
        assert_eq!(notes(&[60, 48, 55, 64, 60]), "C3 G3 C4 E4");
        assert_eq!(intervals(&[48, 55, 60, 64]), "P5 P4 M3");
        assert_eq!(intervals(&[48, 64, 67]), "M10 m3");
        assert_eq!(intervals(&[48, 63, 67]), "m10 M3");
        // C♭ belongs to the octave above.
        assert_eq!(notes(&[56, 59, 63]), "G♯3 B3 D♯4");
        assert_eq!(
            notes(&[53, 56, 59, 62]),
            "F3 A♭3 C♭4 E𝄫4".replace("𝄫", "♭♭")
        );
        assert_eq!(intervals(&[53, 56, 59, 62]), "m3 m3 m3");
        assert_eq!(notes(&[48, 52, 56]), "C3 E3 G♯3");
        assert_eq!(intervals(&[55, 59, 62, 65]), "M3 m3 m3");
        assert_eq!(intervals(&[53, 59, 62, 67]), "A4 m3 P4");
        assert_eq!(intervals(&[59, 65, 67]), "d5 M2");
        assert_eq!(intervals(&[36, 48, 62]), "P8 M9");
        assert_eq!(notes(&[0, 127]), "C-1 G9");
        // German and the rest follow the notation; the intervals do not.
        let (v, s) = of(&[46, 58, 62]);
        let german = Notation {
            letters: super::super::Letters::German,
            ..Notation::PLAIN
        };
        let said = v.notes(s, None, &german, Catalogue::standard());
        assert_eq!(said, ["B2", "B3", "D4"]);
    }

    #[test]
    fn wide_intervals_are_told_by_their_octaves() {
        for (quality, number, want) in [
            ("P", 5, "P5"),
            ("m", 10, "m10"),
            ("M", 13, "M13"),
            ("m", 14, "m7+1oct"),
            ("P", 15, "2oct"),
            ("A", 15, "A1+2oct"),
            ("m", 17, "m3+2oct"),
            ("P", 26, "P5+3oct"),
            ("dd", 68, "dd5+9oct"),
        ] {
            let quality = quality.to_owned();
            assert_eq!(Interval { quality, number }.reduced(), want);
        }
    }

    #[test]
    fn every_interval_counts_its_letters() {
        for low in 40..52u8 {
            for high in low + 1..low + 25 {
                let text = intervals(&[low, high]);
                let digits = text.trim_start_matches(char::is_alphabetic);
                let number: u8 = digits.parse().expect("a number");
                let (steps, semitones) = (number - 1, high - low);
                // A step is a semitone or two: seven of them an octave.
                let plain = f32::from(semitones) * 7.0 / 12.0;
                assert!((f32::from(steps) - plain).abs() < 1.0, "{text} {semitones}");
            }
        }
    }

    #[test]
    fn hands_are_split_where_both_can_reach() {
        let hands = |keys: &[u8]| Voicing::new(keys.iter().copied()).hands();
        assert_eq!(hands(&[]), None);
        assert_eq!(hands(&[48, 52, 55]), Some(Hands::Left));
        assert_eq!(hands(&[60, 64, 67, 72]), Some(Hands::Right));
        assert_eq!(hands(&[38, 45, 50, 53]), Some(Hands::Left));
        assert_eq!(hands(&[60, 64, 67, 76]), Some(Hands::Right));
        assert_eq!(hands(&[36, 43, 60, 64, 67]), Some(Hands::Both { left: 2 }));
        assert_eq!(hands(&[48, 55, 64, 71, 74]), Some(Hands::Both { left: 2 }));
        // The widest gap would leave the right hand more than it can span.
        assert_eq!(hands(&[36, 52, 55, 60, 69]), Some(Hands::Both { left: 2 }));
        assert_eq!(hands(&[36, 55, 60, 64, 71]), Some(Hands::Both { left: 1 }));
        assert_eq!(
            hands(&[36, 40, 43, 46, 60, 62, 66, 69, 72]),
            Some(Hands::Both { left: 4 })
        );
        assert_eq!(hands(&[24, 48, 72]), Some(Hands::Beyond));
        // Whatever is played, no hand gets more than it can take.
        let mut seed = 1u64;
        for _ in 0..3000 {
            let mut keys = Vec::new();
            for _ in 0..(seed >> 60) + 1 {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                keys.push(30 + (seed >> 33) as u8 % 60);
            }
            let v = Voicing::new(keys);
            if let Some(Hands::Both { left }) = v.hands() {
                for hand in [&v.keys()[..left], &v.keys()[left..]] {
                    assert!((1..=FINGERS).contains(&hand.len()));
                    assert!(hand[hand.len() - 1] - hand[0] <= SPAN);
                }
            }
        }
    }

    #[test]
    fn upper_triads_and_fourths_are_named() {
        // C E B♭, and over it D F♯ A.
        assert_eq!(
            built(&[48, 52, 58, 62, 66, 69]).as_deref(),
            Some("D over C7")
        );
        // In another position, over a bass with more room.
        assert_eq!(
            built(&[36, 52, 58, 66, 69, 74]).as_deref(),
            Some("D over C7")
        );
        assert_eq!(
            built(&[48, 52, 59, 62, 66, 69]).as_deref(),
            Some("D over Cmaj7")
        );
        // C E B♭, and over it E♭ G B♭.
        assert_eq!(
            built(&[48, 52, 58, 63, 67, 70]).as_deref(),
            Some("E♭ over C7")
        );
        // A plain ninth is stacked thirds; a plain seventh has only its own notes.
        assert_eq!(built(&[48, 52, 55, 58, 62]), None);
        assert_eq!(built(&[48, 52, 58, 60, 64, 67]), None);
        assert_eq!(built(&[45, 48, 55, 59, 64, 67, 72]), None);
        assert_eq!(built(&[48, 52, 55]), None);
        assert_eq!(
            built(&[50, 55, 60, 65]).as_deref(),
            Some("quartal, three fourths")
        );
        assert_eq!(
            built(&[52, 57, 62]).as_deref(),
            Some("quartal, two fourths")
        );
        // The same notes otherwise are no stack.
        assert_eq!(built(&[50, 53, 55, 60]), None);
        assert_eq!(built(&[60, 64]), None);
    }
}
