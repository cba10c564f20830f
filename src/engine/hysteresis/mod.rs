//! Hysteresis: a tonality is established only after it has been clearly the likeliest for
//! long enough, and home moves more slowly than here. Meanwhile the tonality that gains on it
//! is reported, long enough to be read.
//!
//! [`Here`] decides, step by step: from what a step makes likely (`probabilities`) each rival
//! gathers its lead over what is established (`gathered`), and the foremost is followed
//! (`rivals`). [`Home`] weighs how long each tonality has been here. [`Inertia`] says how
//! much either needs.

mod gathered;
mod here;
mod home;
mod inertia;
mod probabilities;
mod rivals;

pub use here::{Here, Verdict};
pub use home::Home;
pub use inertia::{Inertia, UnknownInertia};
pub use rivals::Rival;
