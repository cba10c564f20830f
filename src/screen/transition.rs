//! What happened from one region to the next, in words: the interval that the center
//! moved, the common chord, the notes altered.

use super::claim::Claim;
use super::look::Look;
use super::picture::Picture;
use crate::plan::{Region, common_chord, notes_altered};
use crate::theory::Spelling;
use crate::time::Time;

/// One change of region.
#[derive(Clone, Copy)]
pub(super) struct Transition<'a> {
    pub before: &'a Region,
    pub after: &'a Region,
}

/// A region that lasted less than this was only passed through: the music did not come from
/// it. Common practice, no source.
const MOMENT: Time = Time::millis(1500);

impl<'a> Transition<'a> {
    /// The transition to the region at this place: from the last one before it that lasted
    /// long enough, or if there is none from its neighbour.
    pub fn to(regions: &'a [Region], at: usize) -> Option<Transition<'a>> {
        let after = regions.get(at)?;
        let earlier = regions.get(..at)?;
        let lasted = |r: &&Region| r.end.since(r.start) >= MOMENT;
        let before = earlier.iter().rev().find(lasted).or(earlier.last())?;
        Some(Transition { before, after })
    }
}

impl Transition<'_> {
    /// `minor third up`, and shorter: `m3 up`, `m3↑`.
    pub fn interval(&self, look: &Look) -> [String; 3] {
        let tonic = |r: &Region| r.placed(&look.notation, look.catalogue).tonic;
        let (from, to) = (tonic(self.before), tonic(self.after));
        match moved(from, to) {
            Move::Stays => self.stays(look).map(str::to_owned),
            Move::Tritone => ["tritone", "tritone", "TT"].map(str::to_owned),
            Move::By { name, short, up } => {
                let way = if up { "up" } else { "down" };
                let arrow = match up {
                    true => look.sign("↑", "^"),
                    false => look.sign("↓", "v"),
                };
                [
                    format!("{name} {way}"),
                    format!("{short} {way}"),
                    format!("{short}{arrow}"),
                ]
            }
        }
    }

    /// What is new if the center stays the same.
    fn stays(&self, look: &Look) -> [&'static str; 3] {
        let decided = |r: &Region| r.open.claim() == Claim::Decided;
        match (decided(self.before), decided(self.after)) {
            (true, true) if self.altered(look).is_none() => {
                ["same center, same notes", "same notes", "same"]
            }
            (false, true) => ["the mode is known now", "mode known", "mode"],
            _ => ["same center, new mode", "new mode", "mode"],
        }
    }

    /// `Am7`, `v7 = ii7`; none where a mode may not be said.
    pub fn pivot(&self, picture: &Picture, look: &Look) -> Option<(String, String)> {
        let said = |r: &Region| r.open.claim() != Claim::Undecided;
        if !said(self.before) || !said(self.after) {
            return None;
        }
        let both = (self.before, self.after);
        let chords = picture.history.chords();
        let (_, p) = common_chord(chords, both, &look.notation, look.catalogue)?;
        let label = look.notation.chord(p.chord, p.from.root());
        let (from, to) = (p.from.text(&look.notation), p.to.text(&look.notation));
        Some((label, format!("{from} = {to}")))
    }

    /// `F → F♯, C → C♯`; nothing where a note of either was not heard.
    pub fn altered(&self, look: &Look) -> Option<String> {
        let decided = |r: &Region| r.open.claim() == Claim::Decided;
        if !decided(self.before) || !decided(self.after) {
            return None;
        }
        let both = (self.before, self.after);
        let arrow = look.sign("→", "->");
        let all: Vec<String> = notes_altered(both, &look.notation, look.catalogue)
            .iter()
            .map(|(old, new)| format!("{old} {arrow} {new}"))
            .collect();
        (!all.is_empty()).then(|| all.join(", "))
    }
}

/// How far a center moved.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Move {
    Stays,
    /// It is as far up as down.
    Tritone,
    By {
        name: &'static str,
        short: &'static str,
        up: bool,
    },
}

/// The shorter way, in fifths rather than fourths. An enharmonic change of spelling, which
/// would make it an augmented third or the like, does not count.
fn moved(from: Spelling, to: Spelling) -> Move {
    let above = |a: Spelling, b: Spelling| {
        let semitones = (b.pitch_class().index() + 12 - a.pitch_class().index()) % 12;
        (semitones, (b.letter() + 7 - a.letter()) % 7)
    };
    let (semitones, steps, up) = match (above(from, to), above(to, from)) {
        ((0, _), _) => return Move::Stays,
        ((6, _), _) => return Move::Tritone,
        ((up, steps), _) if up < 6 => (up, steps, true),
        (_, (down, steps)) => (down, steps, false),
    };
    let (name, short) = match (semitones, steps) {
        (1, 0) => ("chromatic semitone", "A1"),
        (1, _) => ("minor second", "m2"),
        (2, _) => ("major second", "M2"),
        (3, 1) => ("augmented second", "A2"),
        (3, _) => ("minor third", "m3"),
        (4, 3) => ("diminished fourth", "d4"),
        (4, _) => ("major third", "M3"),
        // Centers move in fifths: C to G is a fifth up, C to F a fifth down.
        _ => {
            return Move::By {
                name: "fifth",
                short: "P5",
                up: !up,
            };
        }
    };
    Move::By { name, short, up }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Open;
    use crate::theory::{Catalogue, PitchClass, SpelledTonality, Tonality};

    /// What flashed by between two regions is not what the music came from.
    #[test]
    fn the_music_comes_from_where_it_was_for_more_than_a_moment() {
        let region = |center: i32, from: u64, to: u64| Region {
            start: Time::millis(from),
            end: Time::millis(to),
            since: Time::millis(from),
            spelled: SpelledTonality::new(
                Tonality {
                    center: PitchClass::new(center),
                    mode: Catalogue::standard().id(0).expect("a mode"),
                },
                Spelling::nearest(PitchClass::new(center), 0.0),
            ),
            probability: 0.9,
            open: Open::default(),
        };
        let regions = [
            region(2, 0, 9000),
            region(7, 9000, 10_499),
            region(9, 10_499, 30_000),
        ];
        let from =
            |at| Transition::to(&regions, at).map(|t| t.before.spelled.tonality.center.index());
        assert_eq!(from(0), None);
        assert_eq!((from(1), from(2), from(3)), (Some(2), Some(2), None));
        // Where nothing before was longer, its neighbour is all there is.
        let brief = [region(2, 0, 400), region(7, 400, 900), region(9, 900, 9000)];
        let from =
            |at| Transition::to(&brief, at).map(|t| t.before.spelled.tonality.center.index());
        assert_eq!(from(2), Some(7));
    }

    #[test]
    fn a_center_moves_the_nearer_way() {
        let named = |from: &str, to: &str| -> String {
            let note = |s: &str| s.parse().expect("a note");
            match moved(note(from), note(to)) {
                Move::Stays => "stays".into(),
                Move::Tritone => "tritone".into(),
                Move::By { name, up, .. } => format!("{name} {}", if up { "up" } else { "down" }),
            }
        };
        for (from, to, want) in [
            ("D", "G", "fifth down"),
            ("C", "G", "fifth up"),
            ("C", "Eb", "minor third up"),
            ("C", "A", "minor third down"),
            ("Ab", "C", "major third up"),
            ("E", "D", "major second down"),
            ("C", "Db", "minor second up"),
            ("C", "C#", "chromatic semitone up"),
            ("C", "B", "minor second down"),
            ("Ab", "B", "augmented second up"),
            ("C#", "F", "diminished fourth up"),
            ("B", "F", "tritone"),
            ("D", "D", "stays"),
            // Written otherwise.
            ("F#", "Gb", "stays"),
            ("F#", "Db", "fifth up"),
            ("B", "Gb", "fifth up"),
        ] {
            assert_eq!(named(from, to), want, "{from} to {to}");
        }
    }
}
