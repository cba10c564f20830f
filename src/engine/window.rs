//! The rolling pitch-class window, and what else the estimator is told each step.

use super::keys::{Keys, each, highest};
use crate::theory::{PitchClass, PitchClassSet};
use crate::time::Time;

/// Twelve weights, by pitch class.
pub type Weights = [f32; 12];

/// What was heard during one grid step, each note counted once.
#[derive(Clone, Copy, Debug, Default)]
pub struct Heard {
    /// Onsets, each weighted by how hard it was struck (about 1).
    pub onsets: Weights,
    /// Seconds sounded, after fading.
    pub sounding: Weights,
    /// The bass: onsets and seconds of the lowest voice.
    pub bass_onsets: Weights,
    pub bass: Weights,
    /// Seconds of the highest voice.
    pub top: Weights,
    /// Whether anything was heard.
    pub any: bool,
}

/// Collects one step after another and keeps windows of several lengths.
#[derive(Clone, Debug)]
pub struct Window {
    step: f32,
    now: Heard,
    short: Weights,
    long: Weights,
    keep_short: f32,
    keep_long: f32,
}

/// Time constants in seconds: what is shown, and what decides which degrees are open.
const SHORT: f32 = 3.0;
const LONG: f32 = 12.0;
/// An onset weighs as much as this many seconds of sounding.
const ONSET: f32 = 0.15;
/// The share of the long window from which a pitch class counts as heard.
const HEARD: f32 = 0.012;
/// A bass is a bass below this key, or when it lies so far below the top.
const BASS_BELOW: u8 = 57;
const BASS_GAP: u8 = 10;

impl Window {
    pub fn new(step: Time) -> Window {
        let step = step.seconds() as f32;
        Window {
            step,
            now: Heard::default(),
            short: [0.0; 12],
            long: [0.0; 12],
            keep_short: (-step / SHORT).exp(),
            keep_long: (-step / LONG).exp(),
        }
    }

    /// After a rest that ends all: nothing was heard.
    pub fn reset(&mut self) {
        self.now = Heard::default();
        self.short = [0.0; 12];
        self.long = [0.0; 12];
    }

    /// A key was struck.
    pub fn on_onset(&mut self, keys: &Keys, key: u8, bass: Option<u8>) {
        let pc = PitchClass::of_key(key).index();
        let weight = 0.5 + f32::from(keys.strike(key).velocity) / 128.0;
        self.now.any = true;
        self.now.onsets[pc] += weight;
        if bass_of(keys, bass) == Some(key) {
            self.now.bass_onsets[pc] += weight;
        }
    }

    /// Ends a step: what sounded in it is added up.
    pub fn close_step(&mut self, keys: &Keys, bass: Option<u8>) -> Heard {
        let mut now = std::mem::take(&mut self.now);
        let sounding = keys.sounding();
        for key in each(sounding) {
            now.sounding[PitchClass::of_key(key).index()] += self.step * keys.strike(key).left;
        }
        now.any |= sounding != 0;
        if let Some(key) = bass_of(keys, bass) {
            now.bass[PitchClass::of_key(key).index()] += self.step * keys.strike(key).left;
        }
        if let Some(key) = highest(keys.held()) {
            now.top[PitchClass::of_key(key).index()] += self.step * keys.strike(key).left;
        }
        if now.any {
            for pc in 0..12 {
                let heard = now.sounding[pc] + ONSET * now.onsets[pc];
                self.short[pc] = self.short[pc] * self.keep_short + heard;
                self.long[pc] = self.long[pc] * self.keep_long + heard;
            }
        }
        now
    }

    /// The window that is shown: shares summing to 1, or all 0.
    pub fn shares(&self) -> Weights {
        let sum: f32 = self.short.iter().sum();
        if sum < 1e-6 {
            [0.0; 12]
        } else {
            self.short.map(|w| w / sum)
        }
    }

    /// What was heard in the long window.
    pub fn heard(&self) -> PitchClassSet {
        let sum: f32 = self.long.iter().sum();
        PitchClass::all()
            .filter(|pc| self.long[pc.index()] > HEARD * sum + 1e-6)
            .collect()
    }
}

/// The bass as evidence for a center: the key that the chord stands on, if it
/// lies low or well below the rest. A lone melody has none.
fn bass_of(keys: &Keys, bass: Option<u8>) -> Option<u8> {
    let bass = bass?;
    let apart = highest(keys.sounding()).is_some_and(|top| top >= bass.saturating_add(BASS_GAP));
    (bass < BASS_BELOW || apart).then_some(bass)
}
