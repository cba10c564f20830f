//! The heart: timed events in, readings out. Deterministic; no clock, no I/O, and
//! after the first steps no allocation.
//!
//! [`Monitor`] puts the parts together: `keys` know what sounds, `features`
//! gather it step by step, an [`Estimator`] gives every tonality a probability (the
//! learned one: `features`, `network`, `weights`), `hysteresis` decides what is
//! established here and at home, `chords` follows the chord (by what is learned in
//! `harmony`), `voicing` the keys that it is voiced with, `polymodal` whether the top line and
//! the rest are in different modes, and a [`Reading`] is all of this at one moment. `explain`
//! works out, on demand and elsewhere, why a tonality is likely.

mod change;
mod chords;
mod collection;
mod estimator;
mod event;
mod explain;
mod features;
mod harmony;
mod history;
mod hysteresis;
mod keys;
mod monitor;
mod network;
mod open_degrees;
mod phrases;
mod polymodal;
mod progression;
mod reading;
mod stroke;
mod voicing;
mod weights;
mod window;

pub use crate::theory::Bassist;
pub use change::{Change, Observer};
pub use chords::{LATELY, Needs, SILENCE, likeliest, on_its_bass};
pub use collection::Collection;
pub use estimator::{
    COLLECTIONS, Estimator, Learned, Model, STEP, Scores, TONALITIES, at_place, place,
};
pub use event::{Aside, Event};
pub use explain::{CANDIDATES, CAUSES, Candidate, Case, Cause, Explanation, Removed};
pub use features::{Frame, Frames, PitchClassProfile, ReadingDirection};
pub use harmony::{Degrees, Harmony, HarmonyModel, HarmonyState, Judgement, RootedTriad, TRIADS};
pub use history::{BREATH, History, SEEN};
pub use hysteresis::{Inertia, UnknownInertia};
pub use keys::{Fading, Filter, HarmonyFrom, PerKey, UnknownFading};
pub use monitor::{Monitor, REST, STANDING};
pub use open_degrees::open;
pub use phrases::Phrases;
pub use polymodal::Polymodal;
pub use progression::{
    CHANGE, HARMONIES, HarmonyEvidence, HarmonyNow, LineFollower, Meant, Progression, evidence,
    harmonies_from, weight,
};
pub use reading::{Contender, Established, Reading};
pub use stroke::{Arrival, CLUSTER, Stroke};
pub use voicing::VoicedChord;
pub use weights::ModelError;
