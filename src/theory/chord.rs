//! Chords and whatever else sounds, as values.

use super::degree::Degree;
use super::kind::{KindId, Member};
use super::kinds::Kinds;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;

/// A named chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Chord {
    pub root: PitchClass,
    pub kind: KindId,
    /// The lowest note; need not be a member of the kind (C/D).
    pub bass: PitchClass,
}

/// What sounds, with the name that a musician would give it, if there is one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sonority {
    Note(PitchClass),
    Interval {
        low: PitchClass,
        high: PitchClass,
    },
    Chord(Chord),
    /// No chord with a name: the notes.
    Notes {
        set: PitchClassSet,
        bass: PitchClass,
    },
}

impl Sonority {
    /// The lowest note.
    pub fn bass(self) -> PitchClass {
        match self {
            Sonority::Note(pc) => pc,
            Sonority::Interval { low, .. } => low,
            Sonority::Chord(c) => c.bass,
            Sonority::Notes { bass, .. } => bass,
        }
    }

    /// The chord, if it is one.
    pub fn chord(self) -> Option<Chord> {
        match self {
            Sonority::Chord(c) => Some(c),
            _ => None,
        }
    }

    /// All its pitch classes, the bass included.
    pub fn set(self) -> PitchClassSet {
        match self {
            Sonority::Note(pc) => PitchClassSet::EMPTY.with(pc),
            Sonority::Interval { low, high } => PitchClassSet::EMPTY.with(low).with(high),
            Sonority::Chord(c) => c.set(),
            Sonority::Notes { set, .. } => set,
        }
    }
}

impl Chord {
    /// All its pitch classes, the bass included.
    pub fn set(self) -> PitchClassSet {
        Kinds::standard()
            .kind(self.kind)
            .set()
            .up(self.root.index() as i32)
            .with(self.bass)
    }

    /// The member of its kind that a note is.
    pub fn member(self, pc: PitchClass) -> Option<Member> {
        let above = pc.above(self.root);
        let members = &Kinds::standard().kind(self.kind).members;
        let mut all = members.iter().copied();
        all.find(|m| m.semitones as usize == above)
    }

    /// The member that the bass is.
    pub fn bass_member(self) -> Option<Member> {
        self.member(self.bass)
    }

    /// A note of the chord above its spelled root as a stacked third, or the bass that is
    /// no member.
    pub(super) fn stacked(self, root: Spelling, pc: PitchClass) -> Spelling {
        let member = self.member(pc);
        member.map_or_else(|| self.spell_bass(root), |m| m.above(root))
    }

    /// The same as a lead sheet has it: an altered note without a double sharp, F♯7♯5/D. The
    /// third keeps its letter, D♯7/Fx. Inside a tonality a note is spelled by what it does
    /// there, and may be Cx: see [`super::analyse`].
    pub(super) fn spell(self, root: Spelling, pc: PitchClass) -> Spelling {
        let altered = self.member(pc).is_some_and(Member::is_altered);
        match self.stacked(root, pc) {
            double if altered && double.accidental() > 1 => double.plain(),
            stacked => stacked,
        }
    }

    /// The bass as the chord has it where it is a member, else as the step that the Harte
    /// label names too: D♭ under C, F♯ under C.
    pub fn spell_bass(self, root: Spelling) -> Spelling {
        if self.bass_member().is_some() {
            return self.spell(root, self.bass);
        }
        let step = Degree::chromatic(self.bass.above(self.root));
        let stacked = root.up(step.number as usize - 1, step.semitones() as i32);
        // Where the note only lies under the chord, no double accidental, and none
        // for a white key unless it leads to the root (C♯m/B♯).
        let white = Spelling::nearest(self.bass, Spelling::MIDDLE);
        match (white.accidental(), stacked.accidental()) {
            (0, _) if step.semitones() != 11 => white,
            (_, -1..=1) => stacked,
            _ => Spelling::nearest(self.bass, f32::from(root.fifths()) + 1.0),
        }
    }
}

impl Sonority {
    /// What two notes are called: `major third`.
    pub fn interval(self) -> Option<&'static str> {
        match self {
            Sonority::Interval { low, high } => Some(INTERVALS[high.above(low)]),
            _ => None,
        }
    }

    /// A few words where the label says little: "one note", "cluster", "whole-tone".
    pub fn words(self) -> &'static str {
        match self {
            Sonority::Note(_) => "one note",
            Sonority::Notes { set, .. } if set.quartal().is_none() => match () {
                _ if turns(set, 2) && set.len() == 6 => "whole-tone",
                _ if turns(set, 3) && set.len() == 8 => "octatonic",
                _ if set.is_cluster() => "cluster",
                _ => "",
            },
            _ => "",
        }
    }

    /// The lowest of a stack of perfect fourths, where it is shown as one.
    pub fn quartal(self) -> Option<PitchClass> {
        match self {
            Sonority::Notes { set, .. } => set.quartal(),
            _ => None,
        }
    }
}

/// Whether a set is itself again when transposed up by `semitones`.
fn turns(set: PitchClassSet, semitones: i32) -> bool {
    set.up(semitones) == set
}

/// What two notes are called, by the semitones from the lower up.
const INTERVALS: [&str; 12] = [
    "unison",
    "minor second",
    "major second",
    "minor third",
    "major third",
    "perfect fourth",
    "tritone",
    "perfect fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
];
