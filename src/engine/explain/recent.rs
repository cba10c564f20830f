//! The last seconds, kept as they pass.

use super::case::Case;
use super::explanation::{CHORDS, ENDS};
use super::passage::{Onset, Passage, Step};
use crate::engine::chords::ChordTracker;
use crate::engine::estimator::Estimator;
use crate::engine::features::Frames;
use crate::engine::keys::Fading;
use crate::theory::{Catalogue, KeySet, SpelledTonality};
use crate::time::Time;
use std::sync::Arc;

/// Number of steps from one saved state of the estimator to the next …
const EVERY: u64 = 10;
/// … and number of states that are kept, the latest: seven to eight seconds.
const SAVED: usize = 8;
/// Maximum number of steps since the oldest of them.
const STEPS: usize = EVERY as usize * SAVED;
/// Number of strikes that are kept: 64 a second. Where playing is denser less is explained.
const STRIKES: usize = 512;
/// Maximum number of estimator steps for an explanation, so that it takes less than 0.1 s;
/// where many pitch classes are heard it reaches less far back.
const BUDGET: usize = 750;

/// What was remembered after some step.
#[derive(Clone, Debug)]
struct Saved<S> {
    state: S,
    frames: Frames,
    /// Strikes before it.
    struck: u64,
}

/// The last seconds, kept as they pass. Allocates nothing after construction.
#[derive(Clone, Debug)]
pub(in crate::engine) struct Recent<S> {
    /// Steps taken and strikes heard since the beginning or the last long rest.
    taken: u64,
    struck: u64,
    /// The time of the last step, or of the beginning.
    at: Time,
    /// Rings: the n-th at n modulo their length. Of `saved`, n counts by [`EVERY`].
    steps: Vec<Step>,
    strikes: Vec<Onset>,
    saved: Vec<Saved<S>>,
}

impl<S: Clone> Recent<S> {
    pub fn new(estimator: &impl Estimator<State = S>) -> Recent<S> {
        let saved = Saved {
            state: estimator.state(),
            frames: Frames::new(),
            struck: 0,
        };
        let step = Step {
            sounding: KeySet::EMPTY,
            fading: Fading::Struck,
            bass: None,
        };
        let strike = Onset {
            key: 0,
            step: 0,
            at: Time::ZERO,
            stroke: Time::ZERO,
            sonority: None,
        };
        Recent {
            taken: 0,
            struck: 0,
            at: Time::ZERO,
            steps: vec![step; STEPS],
            strikes: vec![strike; STRIKES],
            saved: vec![saved; SAVED],
        }
    }

    /// A piece begins, with the estimator as new.
    pub fn begin(&mut self, at: Time, estimator: &impl Estimator<State = S>, frames: &Frames) {
        (self.taken, self.struck, self.at) = (0, 0, at);
        self.save(estimator, frames);
    }

    /// A key was struck, and the chords know of it.
    pub fn on_onset(&mut self, at: Time, key: u8, chords: &ChordTracker) {
        self.strikes[self.struck as usize % STRIKES] = Onset {
            key,
            step: self.taken,
            at,
            stroke: chords.struck().1,
            sonority: chords.now().map(|n| n.0),
        };
        self.struck += 1;
    }

    /// A step was taken.
    pub fn step(
        &mut self,
        at: Time,
        (sounding, fading): (KeySet, Fading),
        bass: Option<u8>,
        estimator: &impl Estimator<State = S>,
        frames: &Frames,
    ) {
        self.steps[self.taken as usize % STEPS] = Step {
            sounding,
            fading,
            bass,
        };
        self.taken += 1;
        self.at = at;
        if self.taken.is_multiple_of(EVERY) {
            self.save(estimator, frames);
        }
    }

    fn save(&mut self, estimator: &impl Estimator<State = S>, frames: &Frames) {
        let saved = &mut self.saved[(self.taken / EVERY) as usize % SAVED];
        estimator.save(&mut saved.state);
        saved.frames.clone_from(frames);
        saved.struck = self.struck;
    }

    /// A copy that reaches as far back as is kept and as can be explained in time; `None`
    /// without a step to explain, or where playing is too dense.
    pub fn case<E: Estimator<State = S>>(
        &self,
        estimator: &E,
        catalogue: &Arc<Catalogue>,
        spelled: SpelledTonality,
    ) -> Option<Case<E>> {
        let last = self.taken / EVERY;
        let kept = (last + 1).min(SAVED as u64);
        (last + 1 - kept..=last).find_map(|n| {
            let (first, saved) = (n * EVERY, &self.saved[n as usize % SAVED]);
            let forgotten = self.struck - saved.struck > STRIKES as u64;
            if first == self.taken || forgotten {
                return None;
            }
            let steps: Vec<Step> = (first..self.taken)
                .map(|i| self.steps[i as usize % STEPS])
                .collect();
            let strikes: Vec<Onset> = (saved.struck..self.struck)
                .map(|i| self.strikes[i as usize % STRIKES])
                .filter(|s| s.step < self.taken)
                .map(|s| Onset {
                    step: s.step - first,
                    ..s
                })
                .collect();
            let sounding: KeySet = steps.iter().map(|s| s.sounding).collect();
            let struck: KeySet = strikes.iter().map(|s| s.key).collect();
            let heard = (sounding | struck).classes().len();
            // The whole once, and without the bass and each pitch class; chords and
            // phrase ends lie half way and a quarter way back, on average.
            let halves = 2 * (2 + heard) + CHORDS + ENDS / 2;
            (steps.len() * halves / 2 <= BUDGET).then(|| Case {
                at: self.at,
                catalogue: Arc::clone(catalogue),
                spelled,
                estimator: estimator.clone(),
                state: saved.state.clone(),
                frames: saved.frames.clone(),
                passage: Passage { steps, strikes },
            })
        })
    }
}
