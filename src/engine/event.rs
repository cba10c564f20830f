//! What the engine takes in.

use super::hysteresis::Inertia;
use super::keys::{Fading, Filter};
use crate::midi;
use crate::theory::{PitchClass, Spelling, Tonality};

/// What the engine is told: what was played, settings that change a reading, and what the
/// player says beside the music.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Event {
    Midi(midi::Event),
    Inertia(Inertia),
    Filter(Filter),
    Fading(Fading),
    /// Whether somebody else plays the roots of the chords.
    Bassist(bool),
    /// Names refer to this tonality from here on, or again to what is heard.
    Pin(Option<(Tonality, Spelling)>),
    /// Home is this note, the player says, or says so no more. Kept beside what is heard.
    HomeIs(Option<PitchClass>),
    /// What follows stays out of the tonal plan, or belongs to it again.
    Aside(bool),
}

impl From<midi::Event> for Event {
    fn from(e: midi::Event) -> Event {
        Event::Midi(e)
    }
}
