//! What the engine takes in.

use super::hysteresis::Inertia;
use super::keys::{Fading, Filter, HarmonyFrom};
use crate::midi;
use crate::theory::{Bassist, PitchClass, SpelledTonality};

/// The engine's input: notes and pedals, settings that change a reading, and what the player
/// states by a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Event {
    Midi(midi::Event),
    Inertia(Inertia),
    Filter(Filter),
    /// Which of several keyboards are heard.
    HarmonyFrom(HarmonyFrom),
    Fading(Fading),
    Bassist(Bassist),
    /// Names refer to this tonality from here on; `None`: again to what is heard.
    Pin(Option<SpelledTonality>),
    /// The player states that home is this note, or takes it back. Kept beside what is heard.
    HomeIs(Option<PitchClass>),
    Aside(Aside),
}

/// Either end of an aside: of music that stays out of the tonal plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aside {
    /// What follows stays out of the plan.
    Begins,
    /// What follows belongs to the plan again.
    Ends,
}

impl From<midi::Event> for Event {
    fn from(e: midi::Event) -> Event {
        Event::Midi(e)
    }
}
