//! The rolling pitch-class window: what is shown as heard lately, and what decides
//! which degrees are open.

use super::features::{Frame, PitchClassProfile, total};
use crate::theory::{PitchClass, PitchClassSet};
use crate::time::Time;

/// Collects one step after another and keeps windows of two lengths.
#[derive(Clone, Debug)]
pub struct Window {
    step: f32,
    short: PitchClassProfile,
    long: PitchClassProfile,
    keep_short: f32,
    keep_long: f32,
}

/// Time constants in seconds: what is shown, and what decides which degrees are open.
const SHORT: f32 = 3.0;
pub(super) const LONG: f32 = 12.0;
/// An onset weighs as much as this many seconds of sounding.
pub(super) const ONSET: f32 = 0.15;
/// The share of the long window from which a pitch class counts as heard.
const HEARD: f32 = 0.012;

impl Window {
    pub fn new(step: Time) -> Window {
        let step = step.seconds() as f32;
        Window {
            step,
            short: [0.0; 12],
            long: [0.0; 12],
            keep_short: (-step / SHORT).exp(),
            keep_long: (-step / LONG).exp(),
        }
    }

    /// After a long rest: forgets everything.
    pub fn reset(&mut self) {
        self.short = [0.0; 12];
        self.long = [0.0; 12];
    }

    /// Adds what was heard in a step. Silence does not make the window fade.
    pub fn step(&mut self, frame: &Frame) {
        if !frame.any() {
            return;
        }
        for pc in 0..12 {
            let heard = self.step * frame.sounding[pc] + ONSET * f32::from(frame.onsets[pc]);
            self.short[pc] = self.short[pc] * self.keep_short + heard;
            self.long[pc] = self.long[pc] * self.keep_long + heard;
        }
    }

    /// The window that is shown: shares summing to 1, or all 0.
    pub fn shares(&self) -> PitchClassProfile {
        let sum = total(self.short);
        if sum < 1e-6 {
            [0.0; 12]
        } else {
            self.short.map(|w| w / sum)
        }
    }

    /// What was heard in the long window.
    pub fn heard(&self) -> PitchClassSet {
        let sum = total(self.long);
        PitchClass::all()
            .filter(|pc| self.long[pc.index()] > HEARD * sum + 1e-6)
            .collect()
    }
}
