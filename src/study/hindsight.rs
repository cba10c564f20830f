//! The likeliest course of tonalities through a whole recording.
//!
//! The network hears the recording twice: as it was played, and from its end to its
//! beginning, as it was taught to. What it says of a moment from the past and from
//! the future is put together (the product of both, divided by what is likely
//! beforehand), and Viterbi's algorithm (Viterbi 1967; Rabiner 1989) finds the course
//! that is likeliest in all, with a price for each change: less for a new mode on the
//! same center. Home is the same course at a higher price.

use crate::engine::{
    BREATH, COLLECTIONS, Estimator, Fading, Frame, Frames, KeySet, Learned, STEP, Scores,
    TONALITIES, at_place, each, open,
};
use crate::plan::{Region, TonalPlan};
use crate::theory::{Catalogue, PitchClass, PitchClassSet, Tonality};
use crate::time::Time;
use std::sync::Arc;

/// Prices of a change, in logarithms times seconds: chosen on the labelled music
/// (tests/training).
#[derive(Clone, Copy)]
struct Prices {
    anywhere: f32,
    same_center: f32,
}

const HERE: Prices = Prices {
    anywhere: 1.5,
    same_center: 1.0,
};
const HOME: Prices = Prices {
    anywhere: 30.0,
    same_center: 15.0,
};
/// However unlikely something is at a moment, it counts for no less than this logarithm.
const UNLIKELY: f32 = -6.0;
/// So much of what is said of modes with the same notes counts for each of them alone.
const OWN: f32 = 0.25;
/// So many different notes are needed for a center.
const ENOUGH: usize = 3;

/// A key from its onset to its end.
#[derive(Clone, Copy, Debug)]
struct Sound {
    key: u8,
    on: Time,
    off: Time,
}

pub(super) struct Hindsight {
    catalogue: Arc<Catalogue>,
    /// The estimator for the way back.
    backward: Learned,
    fading: Fading,
    /// Tonalities; the states after them are collections without a center.
    none: usize,
    /// For each tonality the first one with the same notes on the same center.
    kin: Vec<usize>,
    /// When each key that sounds was struck.
    since: [Option<Time>; 128],
    sounding: KeySet,
    stretches: Vec<Stretch>,
    /// The next step begins another stretch.
    rested: bool,
}

/// What lies between two long rests.
#[derive(Default)]
struct Stretch {
    sounds: Vec<Sound>,
    at: Vec<Time>,
    heard: Vec<PitchClassSet>,
    /// What was likely after each step, as logarithms, state after state.
    forward: Vec<f32>,
}

impl Hindsight {
    pub fn new(catalogue: Arc<Catalogue>, backward: Learned, fading: Fading) -> Hindsight {
        let none = catalogue.len() * 12;
        let kin = (0..none)
            .map(|i| {
                let (m, c) = (at_place(i).mode, i % 12);
                let same = catalogue
                    .iter()
                    .find(|(_, mode)| mode.set() == catalogue.mode(m).set());
                same.map_or(i, |(first, _)| first.0 as usize * 12 + c)
            })
            .collect();
        Hindsight {
            catalogue,
            backward,
            fading,
            none,
            kin,
            since: [None; 128],
            sounding: 0,
            stretches: Vec::new(),
            rested: true,
        }
    }

    fn states(&self) -> usize {
        self.none + COLLECTIONS
    }

    /// What follows begins afresh.
    pub fn rest(&mut self) {
        self.rested = true;
    }

    fn stretch(&mut self) -> &mut Stretch {
        if std::mem::take(&mut self.rested) || self.stretches.is_empty() {
            self.stretches.push(Stretch::default());
        }
        let last = self.stretches.len() - 1;
        &mut self.stretches[last]
    }

    /// A key was struck, or something stopped sounding.
    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        if struck.is_some() {
            self.stretch();
        }
        let again = struck.map_or(0, |key| 1 << key);
        let over = self.sounding & (!sounding | again);
        for key in each(over) {
            if let (Some(on), Some(stretch)) =
                (self.since[key as usize].take(), self.stretches.last_mut())
            {
                stretch.sounds.push(Sound { key, on, off: at });
            }
        }
        for key in each(sounding & !self.sounding | again) {
            self.since[key as usize] = Some(at);
        }
        self.sounding = sounding;
    }

    pub fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        let none = self.none;
        let stretch = self.stretch();
        stretch.at.push(at);
        stretch.heard.push(frame.set());
        stretch.forward.extend(&evidence.tonalities[..none]);
        stretch.forward.extend(&evidence.collections);
    }

    /// Reads the courses back.
    pub fn finish(mut self, end: Time) -> TonalPlan {
        self.keys(end, None, 0);
        let stretches = std::mem::take(&mut self.stretches);
        let mut plan = TonalPlan::default();
        let mut spelled = (None, None);
        for stretch in stretches.iter().filter(|s| !s.at.is_empty()) {
            let log = self.together(stretch);
            let read = |prices, before: &mut _, into: &mut Vec<Region>| {
                let path = course(&log, self.states(), self.none, prices);
                self.read(stretch, &path, &log, end, before, into);
            };
            read(HERE, &mut spelled.0, &mut plan.regions);
            read(HOME, &mut spelled.1, &mut plan.home);
        }
        plan
    }

    /// What past and future together say of each step, as bounded logarithms.
    fn together(&mut self, stretch: &Stretch) -> Vec<f32> {
        let states = self.states();
        let (begin, steps) = (stretch.at[0] - STEP, stretch.at.len());
        let end = stretch.sounds.iter().map(|s| s.off).max();
        let end = end.unwrap_or(begin).max(begin);
        self.backward.reset();
        let prior = flat(self.backward.evidence(), self.none);
        let mut back = Vec::new();
        for frame in frames_backward(&stretch.sounds, begin, end, self.fading) {
            self.backward.step(&frame);
            back.extend(flat(self.backward.evidence(), self.none));
        }
        let mut log = Vec::with_capacity(steps * states);
        for (i, &at) in stretch.at.iter().enumerate() {
            let forward = &stretch.forward[i * states..][..states];
            // All steps of the way back that lie after this moment.
            let known = (end.since(at).0 / STEP.0) as usize;
            let mut row: Vec<f32> = match known.checked_sub(1).map(|j| &back[j * states..]) {
                Some(b) => (0..states).map(|s| forward[s] + b[s] - prior[s]).collect(),
                None => forward.to_vec(),
            };
            let top = row.iter().fold(f32::MIN, |b, &x| b.max(x));
            let sum: f32 = row.iter().map(|x| (x - top).exp()).sum();
            let all = top + sum.ln();
            row.iter_mut().for_each(|x| *x -= all);
            let mut kin = vec![0.0; self.none];
            for s in 0..self.none {
                kin[self.kin[s]] += row[s].exp();
            }
            for (s, x) in row.iter_mut().enumerate() {
                let shared = match self.kin.get(s) {
                    Some(&k) => kin[k].max(1e-9).ln(),
                    None => *x,
                };
                *x = (shared + OWN * (*x - shared).max(UNLIKELY)).max(UNLIKELY);
            }
            log.extend(row);
        }
        log
    }

    fn read(
        &self,
        stretch: &Stretch,
        path: &[usize],
        log: &[f32],
        end: Time,
        before: &mut Option<crate::theory::Spelling>,
        regions: &mut Vec<Region>,
    ) {
        let mut i = 0;
        while i < path.len() {
            let stop = (i + 1..path.len())
                .find(|&j| path[j] != path[i])
                .unwrap_or(path.len());
            let heard = stretch.heard[i..stop]
                .iter()
                .fold(PitchClassSet::EMPTY, |s, h| s.or(*h));
            // One or two notes have no center.
            if path[i] < self.none && heard.len() >= ENOUGH {
                let tonality = self.named(at_place(path[i]), heard);
                let tonic = self.catalogue.spell(tonality, *before);
                *before = Some(tonic);
                let start = stretch.at[i] - STEP;
                let end = if stop < path.len() {
                    stretch.at[stop] - STEP
                } else {
                    // Before a rest: a breath after the last sound.
                    let sound = (i..stop).rev().find(|&j| !stretch.heard[j].is_empty());
                    sound.map_or(start, |j| end.min(stretch.at[j] + BREATH))
                };
                let states = self.states();
                let likely = |s: usize| {
                    let sum: f32 = (i..stop).map(|j| log[j * states + s].exp()).sum();
                    sum / (stop - i) as f32
                };
                regions.push(Region {
                    start,
                    end: end.max(start),
                    since: start,
                    tonality,
                    tonic,
                    open: open(&self.catalogue, tonality, heard, |t| {
                        likely(crate::engine::place(t))
                    }),
                    probability: likely(path[i]).min(1.0),
                });
            }
            i = stop;
        }
    }

    /// Without its leading tone common-practice minor is called by the mode whose
    /// notes it has.
    fn named(&self, t: Tonality, heard: PitchClassSet) -> Tonality {
        let mode = self.catalogue.mode(t.mode);
        let above = heard.seen_from(t.center);
        let telling: PitchClassSet = mode
            .characteristic
            .iter()
            .map(|d| PitchClass::new(d.semitones() as i32))
            .collect();
        if mode.movable.is_empty() || telling.is_subset(above) {
            return t;
        }
        let plain = self
            .catalogue
            .iter()
            .find(|(_, m)| m.movable.is_empty() && m.set() == mode.set());
        plain.map_or(t, |(mode, _)| Tonality { mode, ..t })
    }
}

fn flat(scores: &Scores, none: usize) -> Vec<f32> {
    let mut all = Vec::with_capacity(TONALITIES + COLLECTIONS);
    all.extend(&scores.tonalities[..none]);
    all.extend(&scores.collections);
    all
}

/// The frames of a stretch from its end to its beginning: ends are onsets, and
/// onsets ends.
fn frames_backward(sounds: &[Sound], begin: Time, end: Time, fading: Fading) -> Vec<Frame> {
    let mut onsets: Vec<(Time, u8)> = sounds.iter().map(|s| (end.since(s.off), s.key)).collect();
    let mut ends: Vec<(Time, u8)> = sounds.iter().map(|s| (end.since(s.on), s.key)).collect();
    onsets.sort_unstable();
    ends.sort_unstable();
    let mut frames = Frames::new();
    let mut counts = [0u16; 128];
    let mut sounding: KeySet = 0;
    let (mut next_on, mut next_off) = (0, 0);
    let steps = end.since(begin).0.div_ceil(STEP.0);
    (1..=steps)
        .map(|i| {
            let until = Time(i * STEP.0);
            while let Some(&(_, key)) = onsets.get(next_on).filter(|o| o.0 <= until) {
                counts[key as usize & 127] += 1;
                sounding |= 1 << (key & 127);
                frames.on_onset(key);
                next_on += 1;
            }
            while let Some(&(_, key)) = ends.get(next_off).filter(|o| o.0 <= until) {
                let count = &mut counts[key as usize & 127];
                *count = count.saturating_sub(1);
                if *count == 0 {
                    sounding &= !(1 << (key & 127));
                }
                next_off += 1;
            }
            frames.close_step(sounding, fading)
        })
        .collect()
}

/// Viterbi's course through `log`, a row of `states` for each step.
fn course(log: &[f32], states: usize, none: usize, prices: Prices) -> Vec<usize> {
    let steps = log.len() / states;
    let step = STEP.seconds() as f32;
    let mut score: Vec<f32> = log[..states].iter().map(|x| x * step).collect();
    let mut back = vec![0u16; steps * states];
    for i in 1..steps {
        let mut any = (f32::MIN, 0usize);
        let mut centers = [(f32::MIN, 0usize); 12];
        for (s, &x) in score.iter().enumerate() {
            if x > any.0 {
                any = (x, s);
            }
            if s < none && x > centers[s % 12].0 {
                centers[s % 12] = (x, s);
            }
        }
        for s in 0..states {
            let mut best = (score[s], s);
            if any.0 - prices.anywhere > best.0 {
                best = (any.0 - prices.anywhere, any.1);
            }
            if s < none && centers[s % 12].0 - prices.same_center > best.0 {
                best = (centers[s % 12].0 - prices.same_center, centers[s % 12].1);
            }
            back[i * states + s] = best.1 as u16;
            // Only differences matter: the best of each step counts as 0.
            score[s] = best.0 - any.0;
        }
        for (s, x) in score.iter_mut().enumerate() {
            *x += step * log[i * states + s];
        }
    }
    let mut state = (0..states).fold(0, |b, s| if score[s] > score[b] { s } else { b });
    let mut path = vec![0; steps];
    for i in (0..steps).rev() {
        path[i] = state;
        state = back[i * states + state] as usize;
    }
    path
}
