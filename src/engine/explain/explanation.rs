//! What an explanation says.

use crate::theory::{PitchClass, PitchClassSet, Sonority, SpelledTonality, Tonality};
use crate::time::Time;

/// Maximum number of chords and of phrase ends that are removed, the latest.
pub(super) const CHORDS: usize = 6;
pub(super) const ENDS: usize = 2;
/// Maximum number of causes: the pitch classes, the bass, chords and phrase ends.
pub const CAUSES: usize = 12 + 1 + CHORDS + ENDS;
/// How many centers are compared.
pub const CANDIDATES: usize = 3;

/// What was removed from the music, to see what it contributes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Removed {
    /// All keys of a pitch class.
    PitchClass(PitchClass),
    /// The bass line, with its pitch classes.
    Bass(PitchClassSet),
    /// What was struck together as this chord, last at that time.
    Chord(Sonority, Time),
    /// The pause after what was struck last, at that time, as if the next note had come at
    /// once. The notes themselves stay.
    PhraseEnd(PitchClassSet, Time),
}

/// The effect of removing one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cause {
    pub removed: Removed,
    /// What the center's probability loses without it (0-1); negative: gains.
    pub center_change: f32,
    /// The same for center and mode together.
    pub change: f32,
    /// The same for each of [`Explanation::candidates`]: what that center loses without it.
    /// The greatest of them is the center that it speaks for.
    pub candidate_changes: [f32; CANDIDATES],
    /// What is likeliest without it, and how its center is spelled; `None` where that is
    /// what is likeliest with it. Common-practice minor and Aeolian count as one.
    pub instead: Option<SpelledTonality>,
}

/// A center in question, with the mode that is likeliest on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    pub spelled: SpelledTonality,
    /// Of any mode on the center.
    pub center_probability: f32,
    /// Of center and mode together.
    pub probability: f32,
}

/// Why a tonality is as likely as it is, and what else is in question.
///
/// While nothing is established it is about the likeliest center, and a class that asks why
/// is answered by [`Explanation::candidates`]: "C 38 %, A 30 %, no center 20 %; G in the bass
/// speaks for C, E in the melody for A".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explanation {
    /// After the step at this time.
    pub at: Time,
    /// How far back things were removed.
    pub since: Time,
    /// The tonality established, or else the likeliest center with its likeliest mode.
    pub spelled: SpelledTonality,
    /// Of any mode on the center.
    pub center_probability: f32,
    pub probability: f32,
    /// What is likeliest: that tonality, or one that gains on it.
    pub likeliest: Tonality,
    /// The likeliest centers, the likeliest first, established or not.
    pub candidates: [Option<Candidate>; CANDIDATES],
    /// That the notes have no center.
    pub no_center_probability: f32,
    /// Sorted by `change`, greatest first: what speaks for the tonality, then what speaks
    /// against it.
    pub causes: [Option<Cause>; CAUSES],
}
