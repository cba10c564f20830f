//! Strokes of the hands: keys struck together, and what sounded with them.

use super::features::PitchClassProfile;
use super::keys::Keys;
use crate::theory::{KeySet, PitchClass};
use crate::time::Time;

/// Keys struck no farther apart belong to one stroke.
pub const CLUSTER: Time = Time::millis(70);
/// Seconds in which a sounding note is forgotten to 1/e.
pub(super) const FADE: f32 = 4.0;

/// Whether a key that was struck begins a stroke or joins the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    Begins,
    Joins,
}

/// Keys struck together, and what sounded with them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// When the first of them was struck.
    pub at: Time,
    pub struck: KeySet,
    /// What sounds, 1 for a fresh note.
    pub sound: PitchClassProfile,
    /// Everything that sounds.
    pub sounding: KeySet,
}

impl Stroke {
    /// At `now`, when its latest key was struck.
    pub fn new(at: Time, struck: KeySet, now: Time, keys: &Keys) -> Stroke {
        let mut sound = [0.0f32; 12];
        for key in keys.sounding().iter() {
            let age = now.since(keys.strike(key).at).seconds() as f32;
            let pc = PitchClass::of_key(key).index();
            sound[pc] = sound[pc].max((-age / FADE).exp());
        }
        // A key released within its own stroke still belongs to it.
        for key in struck.iter() {
            sound[PitchClass::of_key(key).index()] = 1.0;
        }
        Stroke {
            at,
            struck,
            sound,
            sounding: keys.sounding() | struck,
        }
    }
}
