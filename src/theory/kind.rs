//! A kind of chord: its members above a root, whatever the root.

use super::degree::Degree;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;

/// A member of a chord, as a step above the root: number 1-13 and semitones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Member {
    pub number: u8,
    pub semitones: u8,
    /// Against the major scale on the root, in semitones: -1 for `b7`, 1 for `#11`.
    pub(super) alter: i8,
}

impl Member {
    /// A degree of the major scale on the root, `number` 1-13, altered.
    pub(super) fn new(number: u8, alter: i8) -> Member {
        let degree = Degree {
            number: (number + 6) % 7 + 1,
            alter,
        };
        Member {
            number,
            semitones: degree.semitones() as u8,
            alter,
        }
    }

    /// A raised fifth, ninth or eleventh, or a lowered thirteenth: written as the degree
    /// that the mode has there, if it has one.
    pub(super) fn is_altered(self) -> bool {
        matches!(
            (self.number, self.semitones),
            (5, 8) | (9, 3) | (11, 6) | (13, 8)
        )
    }

    /// The note that it is above `root`, as a stacked third.
    pub(super) fn above(self, root: Spelling) -> Spelling {
        root.up((self.number as usize + 6) % 7, i32::from(self.semitones))
    }
}

/// A kind of chord, from `config/chords.toml`.
#[derive(Clone, Debug)]
pub struct Kind {
    /// Lead-sheet suffix with plain b and #: `m7b5`.
    pub symbol: String,
    /// Root first.
    pub members: Vec<Member>,
    /// How far-fetched it is as a name; 0 for the plain triads.
    pub cost: f32,
    /// Named only where exactly its notes sound together.
    pub exact: bool,
    /// Named only over its root.
    pub root_position: bool,
    /// Played without its root where a bassist plays the roots.
    pub rootless: bool,
    /// In the Harte syntax, where that has a shorthand.
    pub(super) harte: Option<String>,
    pub(super) set: PitchClassSet,
    pub(super) core: PitchClassSet,
}

impl Kind {
    /// The members that must sound for it to be named: all but a perfect fifth, which only
    /// sixth chords and suspended triads need (without it a sixth chord is a triad on its
    /// sixth, and a suspended triad just a fourth).
    pub fn core(&self) -> PitchClassSet {
        self.core
    }

    /// Semitones above the root.
    pub fn set(&self) -> PitchClassSet {
        self.set
    }

    /// Whether its name is not far-fetched: a bound of our own choosing.
    pub fn is_plain(&self) -> bool {
        self.cost <= 0.3
    }

    pub(super) fn has(&self, semitones: i32) -> bool {
        self.set.contains(PitchClass::new(semitones))
    }

    /// The triad that its third and fifth make, as far as it has them.
    pub fn triad(&self) -> Triad {
        let suspended = self.members.iter().all(|m| m.number != 3);
        match () {
            _ if suspended => Triad::Suspended,
            _ if self.has(4) && self.has(8) && !self.has(7) => Triad::Augmented,
            _ if self.has(4) => Triad::Major,
            _ if self.has(6) && !self.has(7) => Triad::Diminished,
            _ => Triad::Minor,
        }
    }

    /// Semitones of the seventh above the root, if there is one.
    pub fn seventh(&self) -> Option<u8> {
        self.members
            .iter()
            .find(|m| m.number == 7)
            .map(|m| m.semitones)
    }
}

/// The triad at the bottom of a chord. The order is that of the learned weights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Triad {
    Major,
    Minor,
    Diminished,
    Augmented,
    /// No third.
    Suspended,
}

/// A kind's place in `config/chords.toml`; [`Kinds`](super::Kinds) alone makes ids.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KindId(pub(super) u8);

/// What a bass that is no member of the chord adds to a name's cost: C/D.
pub const FOREIGN_BASS: f32 = 0.45;

/// What a bass at `semitones` above the root adds to a name's cost: nothing
/// for the root, a little for the third and fifth, more for the rest. Our own
/// order, after common practice (no source): the lower the figure's number of
/// sharp dissonances above the bass, the likelier the inversion.
pub fn bass_cost(kind: &Kind, semitones: usize) -> f32 {
    match kind
        .members
        .iter()
        .find(|m| m.semitones as usize == semitones)
        .map(|m| m.number)
    {
        Some(1) => 0.0,
        Some(3) => 0.2,
        Some(5) => 0.24,
        Some(7) => 0.28,
        Some(_) => 0.4,
        None => FOREIGN_BASS,
    }
}
