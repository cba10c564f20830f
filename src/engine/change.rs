//! What the engine says as it goes.

use super::estimator::Scores;
use super::event::Aside;
use super::features::Frame;
use super::harmony::Judgement;
use super::polymodal::Polymodal;
use super::progression::HarmonyNow;
use super::reading::Established;
use super::stroke::{Arrival, Stroke};
use super::voicing::VoicedChord;
use crate::theory::{KeySet, Sonority, SpelledTonality, Spelling};
use crate::time::Time;

/// What changed, for an [`Observer`] such as the history.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// A tonality is established here.
    Here(Established),
    /// The one before it is refined: its open degrees or probability moved. Its mode is
    /// another where a degree that was open has been heard since.
    Refined(Established),
    /// No tonality is established here any longer.
    NoCenter,
    Home(Established),
    Chord {
        sonority: Sonority,
        keys: KeySet,
    },
    /// The harmony at its own pace: another, or the same as it is known now. What was said of
    /// the time after [`HarmonyNow::since`] holds no longer.
    Harmony(HarmonyNow),
    /// The chord is voiced otherwise: see [`Reading::voiced_chord`](super::Reading::voiced_chord).
    VoicedChord(VoicedChord),
    /// The top line and the rest keep to different modes, or no longer: see
    /// [`Reading::polymodal`](super::Reading::polymodal). It is over with a rest and after an aside, too.
    Polymodal(Option<Polymodal>),
    /// Nothing sounds; the chord is over.
    Silence,
    /// After a rest this long ([`super::REST`]) the analysis starts over.
    Rest,
    /// The player pinned a tonality, or let it go: see [`Event::Pin`](super::Event::Pin).
    Pinned(Option<SpelledTonality>),
    /// The player said what is home, or took it back.
    HomeIs(Option<Spelling>),
    /// An aside begins, or ends; after it everything begins afresh.
    Aside(Aside),
}

/// Receives every change and every step of the grid, in order of time.
pub trait Observer {
    fn change(&mut self, at: Time, change: Change);

    /// What sounds now, after a key was struck or something ended.
    fn keys(&mut self, _at: Time, _struck: Option<u8>, _sounding: KeySet) {}

    /// A key was struck: its stroke as far as it goes, and what chord is likely at it.
    fn stroke(&mut self, _stroke: &Stroke, _judgement: &Judgement, _arrival: Arrival) {}

    /// What was heard in one step, and what is likely after it; see
    /// [`Estimator::evidence`](super::Estimator::evidence).
    fn step(&mut self, _at: Time, _frame: &Frame, _evidence: &Scores) {}
}

/// Discards everything.
impl Observer for () {
    fn change(&mut self, _: Time, _: Change) {}
}
