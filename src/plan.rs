//! The values that engine, study, formats and screen share: regions, plans, markers.

use crate::theory::{
    Catalogue, Chord, KeySet, Line, ModeId, Notation, PitchClassSet, Pivot, Sonority,
    SpelledTonality, Spelling, altered, pivot,
};
use crate::time::Time;

/// The degrees of a tonality that nothing has decided yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Open {
    /// Degree numbers, bit 0 for the first.
    pub degrees: u8,
    /// The other modes that fit what has been heard as well, likeliest first.
    others: [Option<ModeId>; 5],
}

impl Open {
    pub fn new(degrees: u8, modes: impl IntoIterator<Item = ModeId>) -> Open {
        let mut others = [None; 5];
        for (slot, mode) in others.iter_mut().zip(modes) {
            *slot = Some(mode);
        }
        Open { degrees, others }
    }

    /// Degree numbers, 1-7.
    pub fn numbers(self) -> impl Iterator<Item = u8> {
        (1..=7).filter(move |n| self.degrees >> (n - 1) & 1 == 1)
    }

    /// The modes that fit as well.
    pub fn others(self) -> impl Iterator<Item = ModeId> {
        self.others.into_iter().flatten()
    }

    pub fn is_empty(self) -> bool {
        self.degrees == 0
    }

    /// Whether it may be `mode` as well: what was not heard decides between them.
    pub fn may_be(self, mode: ModeId) -> bool {
        self.others().any(|other| other == mode)
    }

    /// What is open when the same mode is heard again, as `later`: a degree once heard does not
    /// become open again.
    pub fn and_then(self, later: Open) -> Open {
        match later.degrees.count_ones() <= self.degrees.count_ones() {
            true => later,
            false => self,
        }
    }

    /// How much of the mode may be said: what has not been heard is not claimed.
    pub fn claim(self) -> Claim {
        let mut degrees = self.numbers();
        if self.numbers().any(|n| n == 3) {
            return Claim::Undecided;
        }
        match (degrees.next(), degrees.next(), self.others().count()) {
            (None, ..) | (_, _, 0) => Claim::Decided,
            (Some(_), None, 1) => Claim::Guess,
            _ => Claim::Undecided,
        }
    }
}

/// What is known of a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claim {
    /// No other mode fits.
    Decided,
    /// One degree that was not heard decides between this mode and one other.
    Guess,
    /// The third, or more than one degree, has not been heard.
    Undecided,
}

/// A stretch of time with one established tonality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Region {
    /// When the display first said so.
    pub start: Time,
    pub end: Time,
    /// When its evidence began.
    pub since: Time,
    /// Spelled by the regions before it.
    pub spelled: SpelledTonality,
    /// What was still open when it ended.
    pub open: Open,
    /// As heard: the highest probability that it had. In hindsight: the share of
    /// what sounded that belongs to it.
    pub probability: f32,
}

impl Region {
    /// Its tonality, with its tonic as the user wants it written.
    pub fn placed(&self, notation: &Notation, catalogue: &Catalogue) -> SpelledTonality {
        notation.placed(self.spelled, catalogue)
    }
}

/// Regions in time. Between them: silence, or no center.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TonalPlan {
    pub regions: Vec<Region>,
    /// The same on the larger scale.
    pub home: Vec<Region>,
}

/// A moment that the player flagged, or that a file names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marker {
    /// When it was set: after what was worth it.
    pub at: Time,
    /// The stretch that it is about, from and to; `None` in files of other programs.
    pub about: Option<(Time, Time)>,
    pub name: String,
}

/// One chord in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChordSpan {
    pub start: Time,
    pub end: Time,
    pub sonority: Sonority,
    /// The tonality that it was heard in.
    pub within: Option<SpelledTonality>,
    /// The keys that it is voiced with.
    pub keys: KeySet,
}

impl ChordSpan {
    /// Pitch classes that sounded.
    pub fn set(&self) -> PitchClassSet {
        self.sonority.set()
    }
}

/// A harmony at its own pace, as a lead sheet shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarmonySpan {
    /// Its sonority is a chord.
    pub span: ChordSpan,
    /// A voice that moved by step through it.
    pub line: Option<Line>,
}

/// The common chord of a change of center from one region to the next, and when it began:
/// see [`pivot`]. `chords`: those as heard, in the order of time, of these regions or more.
pub fn common_chord(
    chords: &[ChordSpan],
    (before, after): (&Region, &Region),
    notation: &Notation,
    catalogue: &Catalogue,
) -> Option<(Time, Pivot)> {
    if before.spelled.tonality.center == after.spelled.tonality.center {
        return None;
    }
    let first = before.since.min(before.start);
    let from = chords.partition_point(|c| c.end <= first);
    let inside = chords.get(from..).unwrap_or_default().iter();
    let inside = inside.take_while(|c| c.start < after.end);
    let inside = inside.filter(|c| c.end > c.start);
    // One entry for each harmony, whatever its bass does meanwhile.
    let mut harmonies: Vec<(Time, Chord)> = Vec::new();
    for (at, chord) in inside.filter_map(|c| Some((c.start, c.sonority.chord()?))) {
        let same = |l: &(Time, Chord)| (l.1.root, l.1.kind) == (chord.root, chord.kind);
        if !harmonies.last().is_some_and(same) {
            harmonies.push((at, chord));
        }
    }
    let all: Vec<Chord> = harmonies.iter().map(|h| h.1).collect();
    let turn = after.since.min(after.start);
    let change = harmonies.iter().filter(|h| h.0 < turn).count();
    let (left, reached) = (
        before.placed(notation, catalogue),
        after.placed(notation, catalogue),
    );
    let found = pivot(left, reached, &all, change, catalogue)?;
    Some((harmonies.get(found.index)?.0, found))
}

/// The notes that a region alters against the one before, each as it was and as it becomes, in
/// the user's letters. Notes of an open degree are left out.
pub fn notes_altered(
    (before, after): (&Region, &Region),
    notation: &Notation,
    catalogue: &Catalogue,
) -> Vec<(String, String)> {
    // Another center has another do: there notes keep their letters.
    let same = before.spelled.tonality.center == after.spelled.tonality.center;
    let name = |note, t: SpelledTonality| match same {
        true => notation.above(note, t.tonic),
        false => notation.name(note),
    };
    let (left, reached) = (
        before.placed(notation, catalogue),
        after.placed(notation, catalogue),
    );
    let heard = |note: Spelling, r: &Region| {
        let degrees = &catalogue.mode(r.spelled.tonality.mode).degrees;
        let open = degrees
            .iter()
            .filter(|d| r.open.numbers().any(|n| n == d.number));
        let mut silent = open.map(|d| r.spelled.tonality.center.up(d.semitones() as i32));
        silent.all(|pc| pc != note.pitch_class())
    };
    altered(left, reached, catalogue)
        .iter()
        .filter(|&&(old, new)| heard(old, before) && heard(new, after))
        .map(|&(old, new)| (name(old, left), name(new, reached)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mode_is_claimed_only_as_far_as_it_was_heard() {
        let open = |degrees: &[u8], others: usize| {
            let bits = degrees.iter().fold(0, |b, n| b | 1 << (n - 1));
            let modes = Catalogue::standard().iter().map(|(id, _)| id);
            Open::new(bits, modes.take(others)).claim()
        };
        assert_eq!(open(&[], 0), Claim::Decided);
        // Open, but whichever it is the mode is the same.
        assert_eq!(open(&[2], 0), Claim::Decided);
        assert_eq!(open(&[6], 1), Claim::Guess);
        assert_eq!(open(&[6], 2), Claim::Undecided);
        assert_eq!(open(&[2, 6], 1), Claim::Undecided);
        assert_eq!(open(&[2, 4, 6, 7], 3), Claim::Undecided);
        // Major or minor is the first thing to know.
        assert_eq!(open(&[3], 1), Claim::Undecided);
        assert_eq!(open(&[3], 0), Claim::Undecided);
    }
}
