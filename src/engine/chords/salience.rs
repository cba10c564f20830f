//! The salience of notes: how much each counts for the chord, held by a finger, by the pedal,
//! or let go.

use super::super::keys::Keys;
use super::follower::Follower;
use crate::theory::PitchClass;
use crate::time::Time;

/// Seconds in which a note that was let go is forgotten to 1/e.
const MEMORY: f32 = 2.5;
/// The same for a note that only the pedal holds, in the middle of the keyboard …
const PEDAL_MEMORY: f32 = 1.0;
/// … and for a bass.
const PEDAL_BASS_MEMORY: f32 = 3.6;
/// A lone melody note above a chord counts in full only after this long.
pub(super) const PASSING: Time = Time::millis(800);
/// What it counts before.
const PASSING_WEIGHT: f32 = 0.3;
/// What a note counts while a finger holds it: at least this, the rest fades.
const HELD: f32 = 0.6;
/// What it counts at first while only the pedal holds it, and if it was struck
/// before the present harmony.
const PEDALLED: f32 = 0.95;
const PAST: f32 = 0.35;
/// What it counts just after it was let go, and a bass that was.
const LET_GO: f32 = 0.8;
const BASS_LET_GO: f32 = 0.9;
/// Seconds that it must have sounded before, to count that much.
const LASTED: f32 = 0.2;

impl Follower {
    /// The salience of each pitch class, 0-1.
    /// `horizon`: what was struck before counts for little while a pedal holds it, and
    /// for nothing when it was let go.
    pub(super) fn salience(&self, at: Time, keys: &Keys, horizon: Time) -> [f32; 12] {
        let mut w = [0.0f32; 12];
        let mut put = |key: u8, weight: f32| {
            let pc = PitchClass::of_key(key).index();
            w[pc] = w[pc].max(weight);
        };
        let bass = self.bass.map(|b| b.0);
        for key in keys.held().iter() {
            let strike = keys.strike(key);
            let passing = self.alone.contains(key) && at.since(strike.at) < PASSING;
            put(
                key,
                if passing {
                    PASSING_WEIGHT
                } else {
                    HELD + (1.0 - HELD) * strike.left
                },
            );
        }
        for key in keys.pedalled().iter() {
            let strike = keys.strike(key);
            let old = strike.at < horizon && Some(key) != bass;
            // What was struck over the present bass belongs to it.
            let over = self.bass.is_some_and(|(_, since)| strike.at >= since);
            let memory = if over || key < 48 {
                PEDAL_BASS_MEMORY
            } else {
                PEDAL_MEMORY
            };
            let left = (-(at.since(strike.at).seconds() as f32) / memory).exp();
            put(key, left * if old { PAST } else { PEDALLED });
        }
        // A hand that holds a whole chord has left the one before.
        let whole = (keys.held() & !self.alone).classes().len() >= 3;
        for (key, ended) in self.ended.iter() {
            let Some(ended) = *ended else { continue };
            let since = at.since(ended).seconds() as f32;
            if since > 3.0 * MEMORY {
                continue;
            }
            if Some(key) == bass {
                put(key, BASS_LET_GO);
            } else if !whole && keys.strike(key).at >= horizon && !self.alone.contains(key) {
                let lasted = self.lasted[key].seconds() as f32;
                put(
                    key,
                    LET_GO * (lasted / LASTED).min(1.0) * (-since / MEMORY).exp(),
                );
            }
        }
        w
    }
}
