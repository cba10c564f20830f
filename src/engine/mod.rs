//! The heart: timed events in, readings out. Deterministic; no clock, no I/O, and
//! after the first steps no allocation.
//!
//! [`Monitor`] puts the parts together: `keys` know what sounds, `features`
//! gather it step by step, an [`Estimator`] gives every tonality a probability (the
//! learned one: `features`, `network`, `weights`), `hysteresis` decides what is
//! established here and at home, `chords` follows the chord (by what is learned in
//! `harmony`), `voiced` the keys that it is voiced with, `voices` whether the top line and the rest
//! are in one mode, and a [`Reading`] says it all at one moment. `explain` works out, on
//! demand and elsewhere, what a reading hangs on.

mod chords;
mod estimator;
mod explain;
mod features;
mod figure;
mod harmony;
mod history;
mod hysteresis;
mod keys;
mod monitor;
mod network;
mod phrases;
mod polymodal;
mod reading;
mod voicing;
mod weights;
mod window;

pub use chords::{likeliest, on_its_bass};
pub use estimator::{COLLECTIONS, Estimator, Learned, STEP, Scores, TONALITIES, at_place, place};
pub use explain::{CAUSES, Case, Cause, Explanation, Removed};
pub use features::{Frame, Frames, Weights};
pub use harmony::{Harmony, Judgement, RootedTriad, Stroke, TRIADS};
pub use history::{BREATH, History, SEEN};
pub use hysteresis::Inertia;
pub use keys::{Fading, Filter, KeySet, classes, each, highest, lowest};
pub use monitor::{Change, Event, Monitor, Observer, REST, collection_name, open};
pub use phrases::Phrases;
pub use polymodal::Polymodal;
pub use reading::{CollectionId, Contender, Established, Reading};
pub use voicing::VoicedChord;
pub use weights::{Model, ModelError};
