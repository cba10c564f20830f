//! The inputs of the network: one [`Frame`] each step of the grid, and what it makes
//! of the frames so far. `tests/training/features.py` computes the same over whole
//! pieces; the golden test holds the two together.
//!
//! Nothing depends on octave, loudness or spelling, and whatever is twelve wide turns
//! with the music to the last bit: each pitch class goes through the same operations,
//! and sums over all twelve are taken in whole numbers, so that their order leaves
//! no trace.

use super::keys::Fading;
use crate::theory::{KeySet, PitchClass, PitchClassSet};

/// Which way music is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadingDirection {
    /// As it is played.
    Forward,
    /// From its end to its beginning: ends are onsets, and onsets ends.
    Backward,
}

/// A weight for each pitch class, from C.
pub type PitchClassProfile = [f32; 12];

/// Seconds in a step; see [`super::STEP`].
const STEP: f32 = 0.1;
/// What a struck string keeps over a step: 1/e after 5 s in every register. Common
/// practice, no source: how long a note serves a harmony.
const FADE: f32 = 0.980_198_7;
/// Steps for which a struck string is heard: until less than 0.05 is left.
const AUDIBLE: f32 = 150.0;
/// Seconds added below every window's sum: an empty window is all 0.
const SOFT: f32 = 0.15;

/// The twelve-wide blocks and the scalars, in order, as `features.py` has them.
pub(super) const TEXT: &str = "\
onset: notes struck in the step, at most 2
sound: what sounds, faded, at most 2
bass: the lowest sounding key, 1
top: the highest sounding key, 1
linger: the keys struck last, seconds since then / 2, at most 1
window 0.7 of 0.1 sound + 0.1 onset
window 3 of 0.1 sound + 0.1 onset
window 10 of 0.1 sound + 0.1 onset
window 40 of 0.1 sound + 0.1 onset
window 3 of 0.1 bass
window 15 of 0.1 bass
window 6 of 0.1 top
window 20 of 0.1 struck last, from 0.35 s to 2 s after that
window 8 of 0.5 bass struck in the step
scalars: count/6 at most 8/6; silence; since onset at most 3; span/24 at most 2; onsets a second/8 over 3 s at most 2; begun/20 at most 1; backward
";

/// Blocks of twelve, one for each pitch class.
pub const BLOCKS: usize = 14;
/// Numbers that are the same for every pitch class.
pub const SCALARS: usize = 7;
/// Time constants of the windows, in seconds, in the order of their blocks.
const WINDOWS: [f32; 9] = [0.7, 3.0, 10.0, 40.0, 3.0, 15.0, 6.0, 20.0, 8.0];
/// Where the windows' blocks begin.
const FIRST_WINDOW: usize = 5;

/// A sum that does not depend on the order: in units of 2^-40. Weights of at most a
/// few thousand, none of them negative.
pub(super) fn total(weights: impl IntoIterator<Item = f32>) -> f32 {
    let units: u64 = weights.into_iter().map(units).sum();
    weight(units)
}

/// A weight in units of 2^-40.
fn units(weight: f32) -> u64 {
    (f64::from(weight) * (1u64 << 40) as f64) as u64
}

/// A weight from units of 2^-40.
fn weight(units: u64) -> f32 {
    (units as f64 / (1u64 << 40) as f64) as f32
}

/// What happened in one step of the grid. A key counts in a step if it sounds at the
/// step's end or was struck in it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Frame {
    /// How many notes were struck.
    pub onsets: [u8; 12],
    /// What sounds: 1 for each key at its onset, then fading.
    pub sounding: PitchClassProfile,
    /// The lowest key that counts, and the highest.
    pub bass: Option<PitchClass>,
    pub top: Option<PitchClass>,
    /// Whether the lowest was struck in this step.
    pub bass_struck: bool,
    /// How many notes count.
    pub count: u32,
    /// Semitones between the lowest and the highest.
    pub span: u8,
}

impl Frame {
    /// Whether anything was heard.
    pub fn any(&self) -> bool {
        self.count > 0
    }

    /// The pitch classes that were heard.
    pub fn set(&self) -> PitchClassSet {
        PitchClass::all()
            .filter(|pc| self.sounding[pc.index()] > 0.0)
            .collect()
    }
}

/// Gathers frames from keys.
#[derive(Clone, Debug)]
pub struct Frames {
    /// What is left of each key, 1 at its onset.
    left: [f32; 128],
    /// How often each key was struck in this step, and which were.
    strikes: [u8; 128],
    struck: KeySet,
    /// A key with less than this left is not heard.
    audible: f32,
}

impl Default for Frames {
    fn default() -> Frames {
        Frames::new()
    }
}

impl Frames {
    pub fn new() -> Frames {
        Frames {
            left: [0.0; 128],
            strikes: [0; 128],
            struck: KeySet::EMPTY,
            // Half a step later than the last audible one: rounding decides nothing.
            audible: FADE.powf(AUDIBLE + 0.5),
        }
    }

    pub fn on_onset(&mut self, key: u8) {
        let i = key as usize & 127;
        self.left[i] = 1.0;
        self.strikes[i] = self.strikes[i].saturating_add(1);
        self.struck |= KeySet::of(key);
    }

    /// Ends a step. `sounding`: the keys that sound at its end.
    pub fn close_step(&mut self, sounding: KeySet, fading: Fading) -> Frame {
        let mut frame = Frame::default();
        let mut ends = None;
        for key in (sounding | self.struck).iter() {
            let i = key as usize & 127;
            let pc = PitchClass::of_key(key);
            let strikes = std::mem::take(&mut self.strikes[i]);
            if strikes > 0 {
                let onsets = &mut frame.onsets[pc.index()];
                *onsets = onsets.saturating_add(strikes);
                frame.sounding[pc.index()] += f32::from(strikes);
                frame.count += u32::from(strikes);
            } else if self.left[i] > self.audible {
                frame.sounding[pc.index()] += self.left[i];
                frame.count += 1;
            } else {
                continue;
            }
            let (low, _) = *ends.get_or_insert((key, key));
            ends = Some((low, key));
            if fading == Fading::Struck {
                self.left[i] *= FADE;
            }
        }
        if let Some((low, high)) = ends {
            frame.bass = Some(PitchClass::of_key(low));
            frame.top = Some(PitchClass::of_key(high));
            frame.bass_struck = self.struck.contains(low);
            frame.span = high - low;
        }
        self.struck = KeySet::EMPTY;
        frame
    }
}

/// One step's input to the network, before it is turned to each of the twelve centers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inputs {
    pub blocks: [PitchClassProfile; BLOCKS],
    pub scalars: [f32; SCALARS],
}

/// What the frames so far amount to.
#[derive(Clone, Debug)]
pub struct Features {
    keep: [f32; 9],
    windows: [PitchClassProfile; 9],
    /// The pitch classes struck last, and how many steps ago.
    struck: PitchClassProfile,
    since: Option<u32>,
    keep_density: f32,
    density: f32,
    steps: u32,
    direction: ReadingDirection,
}

impl Features {
    /// For frames that come in this direction.
    pub fn new(direction: ReadingDirection) -> Features {
        Features {
            keep: WINDOWS.map(|tau| (-STEP / tau).exp()),
            windows: [[0.0; 12]; 9],
            struck: [0.0; 12],
            since: None,
            keep_density: (-STEP / 3.0f32).exp(),
            density: 0.0,
            steps: 0,
            direction,
        }
    }

    /// Forgets everything: the next frame begins a piece.
    pub fn reset(&mut self) {
        *self = Features::new(self.direction);
    }

    /// One step.
    pub fn step(&mut self, frame: &Frame) -> Inputs {
        let onset = frame.onsets.map(|n| f32::from(n.min(2)));
        let sound = frame.sounding.map(|s| s.min(2.0));
        let one = |pc: Option<PitchClass>| -> PitchClassProfile {
            std::array::from_fn(|i| f32::from(u8::from(pc.is_some_and(|p| p.index() == i))))
        };
        let (bass, top) = (one(frame.bass), one(frame.top));
        let struck = onset.iter().any(|&n| n > 0.0);
        if struck {
            self.struck = onset.map(|n| n.min(1.0));
            self.since = Some(0);
        } else {
            self.since = self.since.map(|n| n.saturating_add(1));
        }
        let seconds = self.since.map_or(30.0, |n| n as f32 * STEP);
        let lingering = matches!(self.since, Some(4..=20));

        let source: PitchClassProfile = std::array::from_fn(|i| STEP * sound[i] + 0.1 * onset[i]);
        let bass_now = bass.map(|b| STEP * b);
        let sources = [
            source,
            source,
            source,
            source,
            bass_now,
            bass_now,
            top.map(|t| STEP * t),
            self.struck.map(|s| if lingering { STEP * s } else { 0.0 }),
            bass.map(|b| if frame.bass_struck { 0.5 * b } else { 0.0 }),
        ];
        let mut blocks = [[0.0; 12]; BLOCKS];
        blocks[0] = onset;
        blocks[1] = sound;
        blocks[2] = bass;
        blocks[3] = top;
        let linger = (seconds / 2.0).min(1.0);
        blocks[4] = self.struck.map(|s| s * linger);
        for (k, window) in self.windows.iter_mut().enumerate() {
            for (w, x) in window.iter_mut().zip(sources[k]) {
                *w = *w * self.keep[k] + x;
                // Arithmetic with subnormal numbers is slow.
                if *w < 1e-20 {
                    *w = 0.0;
                }
            }
            let sum = total(*window) + SOFT;
            blocks[FIRST_WINDOW + k] = window.map(|w| (w / sum).sqrt());
        }
        self.density = self.density * self.keep_density + f32::from(u8::from(struck));
        self.steps = self.steps.saturating_add(1);
        Inputs {
            blocks,
            scalars: [
                frame.count.min(8) as f32 / 6.0,
                f32::from(u8::from(frame.count == 0)),
                seconds.min(3.0),
                (f32::from(frame.span) / 24.0).min(2.0),
                (self.density / 3.0 / 8.0).min(2.0),
                (self.steps as f32 * STEP / 20.0).min(1.0),
                f32::from(u8::from(self.direction == ReadingDirection::Backward)),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_is_that_of_the_training() {
        let python = include_str!("../../tests/training/features.py");
        let blocks = python
            .split_once("BLOCKS = \"\"\"")
            .and_then(|(_, rest)| rest.split_once("\"\"\""))
            .map(|(text, _)| text);
        assert_eq!(blocks, Some(TEXT));
        assert!((FADE - (-STEP / 5.0f32).exp()).abs() < 1e-7);
        assert_eq!(STEP, crate::engine::STEP.seconds() as f32);
    }

    #[test]
    fn a_note_shorter_than_a_step_counts_once_and_a_held_one_fades() {
        let mut frames = Frames::new();
        frames.on_onset(60);
        let f = frames.close_step(KeySet::EMPTY, Fading::Struck);
        assert_eq!((f.count, f.sounding[0], f.bass_struck), (1, 1.0, true));
        assert!(!frames.close_step(KeySet::EMPTY, Fading::Struck).any());
        frames.on_onset(62);
        let heard: Vec<Frame> = (0..200)
            .map(|_| frames.close_step(KeySet::of(62), Fading::Struck))
            .collect();
        // The onset's step and AUDIBLE more.
        assert_eq!(heard.iter().filter(|f| f.any()).count(), 151);
        assert!((heard[50].sounding[2] - (-1.0f32).exp()).abs() < 1e-5);
        // An organ's key does not fade.
        frames.on_onset(62);
        let last = (0..2000)
            .map(|_| frames.close_step(KeySet::of(62), Fading::Sustained))
            .last();
        assert_eq!(
            last.map(|f| (f.sounding[2], f.bass_struck)),
            Some((1.0, false))
        );
    }

    #[test]
    fn a_key_struck_twice_in_a_step_counts_twice_and_then_once() {
        let mut frames = Frames::new();
        frames.on_onset(60);
        frames.on_onset(60);
        let f = frames.close_step(KeySet::of(60), Fading::Struck);
        assert_eq!((f.onsets[0], f.count, f.sounding[0]), (2, 2, 2.0));
        let f = frames.close_step(KeySet::of(60), Fading::Struck);
        assert_eq!((f.onsets[0], f.count, f.sounding[0]), (0, 1, FADE));
    }
}
