//! A moment to explain: the music before it is read again, once as it was played and once
//! without each thing that can be removed.

use super::explanation::{CANDIDATES, CAUSES, Candidate, Cause, Explanation};
use super::likely::{Likely, likeliest_on, likely};
use super::passage::{Passage, Without};
use crate::engine::estimator::{Estimator, Learned, STEP};
use crate::engine::features::{Frame, Frames};
use crate::theory::{Catalogue, KeySet, PitchClass, SpelledTonality, Tonality};
use crate::time::Time;
use std::sync::Arc;

/// The last seconds of the music, and what was remembered before them.
#[derive(Clone, Debug)]
pub struct Case<E: Estimator = Learned> {
    /// The time of the last step.
    pub(super) at: Time,
    pub(super) catalogue: Arc<Catalogue>,
    /// What is explained.
    pub(super) spelled: SpelledTonality,
    pub(super) estimator: E,
    /// What was remembered before the passage.
    pub(super) state: E::State,
    pub(super) frames: Frames,
    pub(super) passage: Passage,
}

/// What was remembered before a step.
struct Moment<S> {
    step: usize,
    state: S,
    frames: Frames,
}

impl<E: Estimator> Case<E> {
    /// Works it out: some hundred steps of the estimator.
    pub fn explain(mut self) -> Explanation {
        let (moments, whole) = self.read_whole();
        let candidates = self.candidates(&whole);
        let mut found = Vec::with_capacity(CAUSES);
        for (removed, without) in self.passage.removable(self.spelled.tonality.center) {
            let left = self.read_without(&moments, &without);
            found.push(Cause {
                removed,
                center_change: whole.center - left.center,
                change: whole.tonality - left.tonality,
                candidate_changes: candidates.map(|candidate| {
                    candidate.map_or(0.0, |c| {
                        c.center_probability - left.centers[c.spelled.tonality.center.index()]
                    })
                }),
                instead: self.instead(&whole, &left),
            });
        }
        // Stable: in a transposition ties fall alike.
        found.sort_by(|a, b| b.change.total_cmp(&a.change));
        let mut causes = [None; CAUSES];
        for (place, cause) in causes.iter_mut().zip(found) {
            *place = Some(cause);
        }
        Explanation {
            at: self.at,
            since: self
                .at
                .since(Time(STEP.0 * self.passage.steps.len() as u64)),
            spelled: self.spelled,
            center_probability: whole.center,
            probability: whole.tonality,
            likeliest: whole.likeliest,
            candidates,
            no_center_probability: whole.no_center,
            causes,
        }
    }

    /// The likeliest centers after the last step, which `whole` is about.
    fn candidates(&self, whole: &Likely) -> [Option<Candidate>; CANDIDATES] {
        let p = self.estimator.probabilities();
        let mut centers: Vec<PitchClass> = (0..12)
            .map(|n| self.spelled.tonality.center.up(n))
            .collect();
        let of = |c: &PitchClass| whole.centers[c.index()];
        // Stable: in a transposition ties fall alike.
        centers.sort_by(|a, b| of(b).total_cmp(&of(a)));
        std::array::from_fn(|place| {
            let center = *centers.get(place)?;
            let tonality = match center == self.spelled.tonality.center {
                true => self.spelled.tonality,
                false => likeliest_on(p, center, &self.catalogue)?,
            };
            Some(Candidate {
                spelled: self.catalogue.spelled(tonality, Some(self.spelled.tonic)),
                center_probability: of(&center),
                probability: p.of(tonality)?,
            })
        })
    }

    /// What is likeliest in `left`, if it is not what is likeliest in `whole`.
    fn instead(&self, whole: &Likely, left: &Likely) -> Option<SpelledTonality> {
        let kin = |t: Tonality| (t.center, self.catalogue.kin(t.mode));
        let t = left.likeliest;
        (kin(t) != kin(whole.likeliest))
            .then(|| self.catalogue.spelled(t, Some(self.spelled.tonic)))
    }

    /// How likely things are after the last step.
    fn likely(&self) -> Likely {
        likely(
            self.estimator.probabilities(),
            self.spelled.tonality,
            &self.catalogue,
        )
    }

    /// As it was played: what was remembered after the beginning, and how likely things
    /// are at the end.
    fn read_whole(&mut self) -> (Vec<Moment<E::State>>, Likely) {
        let mut moments = Vec::new();
        self.estimator.restore(&self.state);
        let mut frames = self.frames.clone();
        let mut strikes = self.passage.strikes.iter().peekable();
        for (i, step) in self.passage.steps.iter().enumerate() {
            if i > 0 && i % 5 == 0 {
                moments.push(Moment {
                    step: i,
                    state: self.estimator.state(),
                    frames: frames.clone(),
                });
            }
            while let Some(strike) = strikes.next_if(|s| s.step == i as u64) {
                frames.on_onset(strike.key);
            }
            let frame = frames.close_step(step.sounding, step.fading);
            self.estimator.step(&frame);
        }
        (moments, self.likely())
    }

    /// The same without something, from the last moment before it would be missed.
    fn read_without(&mut self, moments: &[Moment<E::State>], without: &Without) -> Likely {
        let mut gone = vec![false; self.passage.strikes.len()];
        let mut silent: Vec<KeySet> = vec![KeySet::EMPTY; self.passage.steps.len()];
        // At least one step is taken, even if the end is cut off.
        let mut first = match without.cut.is_empty() {
            true => self.passage.steps.len(),
            false => without.cut.start.saturating_sub(1),
        };
        for note in &without.notes {
            first = first.min(note.from);
            if let Some(strike) = note.strike {
                gone[strike] = true;
            }
            for keys in &mut silent[note.from..note.until] {
                *keys |= KeySet::of(note.key);
            }
        }
        let before = moments.iter().rev().find(|m| m.step <= first);
        let (begin, state, frames) = match before {
            Some(m) => (m.step, &m.state, &m.frames),
            None => (0, &self.state, &self.frames),
        };
        self.estimator.restore(state);
        let mut frames = frames.clone();
        let mut strikes = self.passage.strikes.iter().zip(gone).peekable();
        while strikes.next_if(|(s, _)| s.step < begin as u64).is_some() {}
        for (i, (step, silent)) in self
            .passage
            .steps
            .iter()
            .zip(silent)
            .enumerate()
            .skip(begin)
        {
            while let Some((strike, gone)) = strikes.next_if(|(s, _)| s.step == i as u64) {
                if !gone {
                    frames.on_onset(strike.key);
                }
            }
            if without.cut.contains(&i) {
                continue;
            }
            let frame: Frame = frames.close_step(step.sounding & !silent, step.fading);
            self.estimator.step(&frame);
        }
        self.likely()
    }
}
