//! The likeliest course of tonalities through a whole recording.
//!
//! Viterbi's algorithm (Viterbi 1967; Rabiner 1989) over the estimator's evidence
//! of each step, with a price for each change: less for a new mode on the same
//! center and for the same notes around another center. Home is the same course
//! at a higher price.

use crate::engine::{BREATH, COLLECTIONS, Frame, STEP, Scores, TONALITIES, at_place, open};
use crate::plan::{Region, TonalPlan};
use crate::theory::{Catalogue, PitchClassSet, Tonality};
use crate::time::Time;
use std::collections::HashMap;
use std::sync::Arc;

/// Prices of a change, in the evidence's log units: set by hand, so that tunes keep
/// their mode and pieces still modulate on the labelled music (tests/training).
#[derive(Clone, Copy)]
struct Prices {
    anywhere: f32,
    same_center: f32,
    same_notes: f32,
}

const HERE: Prices = Prices {
    anywhere: 9.0,
    same_center: 6.0,
    same_notes: 8.0,
};
const HOME: Prices = Prices {
    anywhere: 60.0,
    same_center: 20.0,
    same_notes: 50.0,
};
/// What a collection without a center costs beforehand.
const NO_CENTER: f32 = 6.0;
/// So many different notes are needed for a center.
const ENOUGH: usize = 3;

pub(super) struct Hindsight {
    catalogue: Arc<Catalogue>,
    states: usize,
    /// From here on the states are collections without a center.
    none: usize,
    /// Which states share their notes.
    groups: Vec<u16>,
    group_count: usize,
    at: Vec<Time>,
    heard: Vec<PitchClassSet>,
    /// Where the recording begins afresh after a rest, as indices into `at`.
    breaks: Vec<usize>,
    here: Course,
    home: Course,
}

struct Course {
    prices: Prices,
    score: Vec<f32>,
    back: Vec<u16>,
    begin: bool,
    /// The best last state of each stretch that a rest has ended.
    ends: Vec<usize>,
}

impl Hindsight {
    pub fn new(catalogue: Arc<Catalogue>) -> Hindsight {
        let places = catalogue.len() * 12;
        let mut index: HashMap<u16, u16> = HashMap::new();
        let groups: Vec<u16> = (0..places)
            .map(|i| {
                let next = index.len() as u16;
                *index
                    .entry(catalogue.set(at_place(i)).mask())
                    .or_insert(next)
            })
            .collect();
        let course = |prices| Course {
            prices,
            score: vec![0.0; places + COLLECTIONS],
            back: Vec::new(),
            begin: true,
            ends: Vec::new(),
        };
        Hindsight {
            states: places + COLLECTIONS,
            none: places,
            group_count: index.len(),
            groups,
            at: Vec::new(),
            heard: Vec::new(),
            breaks: Vec::new(),
            here: course(HERE),
            home: course(HOME),
            catalogue,
        }
    }

    /// What follows begins afresh.
    pub fn rest(&mut self) {
        if self.here.begin {
            return;
        }
        self.breaks.push(self.at.len());
        for course in [&mut self.here, &mut self.home] {
            course.begin = true;
            course.ends.push(best_of(&course.score));
        }
    }

    pub fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        let mut e = [0.0f32; TONALITIES + COLLECTIONS];
        e[..self.none].copy_from_slice(&evidence.tonalities[..self.none]);
        e[self.none..self.states].copy_from_slice(&evidence.collections);
        for course in [&mut self.here, &mut self.home] {
            course.step(
                &e[..self.states],
                &self.groups,
                self.group_count,
                &self.catalogue,
            );
        }
        self.at.push(at);
        self.heard.push(frame.set());
    }

    /// Reads the courses back.
    pub fn finish(self, end: Time) -> TonalPlan {
        TonalPlan {
            regions: self.read(&self.here, end),
            home: self.read(&self.home, end),
        }
    }

    fn read(&self, course: &Course, end: Time) -> Vec<Region> {
        let path = course.path(self.at.len(), self.states, &self.breaks);
        let mut regions: Vec<Region> = Vec::new();
        let mut before = None;
        let mut i = 0;
        while i < path.len() {
            let stop = (i + 1..path.len())
                .find(|&j| path[j] != path[i] || self.breaks.contains(&j))
                .unwrap_or(path.len());
            let heard = self.heard[i..stop]
                .iter()
                .fold(PitchClassSet::EMPTY, |s, h| s.or(*h));
            // One or two notes have no center.
            if path[i] < self.none && heard.len() >= ENOUGH {
                let tonality = at_place(path[i]);
                let tonic = self.catalogue.spell(tonality, before);
                before = Some(tonic);
                let start = self.at[i] - STEP;
                let end = if stop < path.len() && !self.breaks.contains(&stop) {
                    self.at[stop] - STEP
                } else {
                    // Before a rest: a breath after the last sound.
                    let sound = (i..stop).rev().find(|&j| !self.heard[j].is_empty());
                    sound.map_or(start, |j| end.min(self.at[j] + BREATH))
                };
                regions.push(Region {
                    start,
                    end: end.max(start),
                    since: start,
                    tonality,
                    tonic,
                    open: open(&self.catalogue, tonality, heard, |t| self.weight(t)),
                    probability: self.share(i, stop, tonality),
                });
            }
            i = stop;
        }
        regions
    }

    fn weight(&self, t: Tonality) -> f32 {
        self.catalogue.mode(t.mode).weight
    }

    /// How much of what was heard in a region its tonality contains, 0-1.
    fn share(&self, from: usize, to: usize, t: Tonality) -> f32 {
        let own = self.catalogue.all_forms(t);
        let (mut inside, mut all) = (0, 0);
        for h in &self.heard[from..to] {
            inside += h.and(own).len();
            all += h.len();
        }
        if all == 0 {
            0.0
        } else {
            inside as f32 / all as f32
        }
    }
}

impl Course {
    fn step(&mut self, e: &[f32], groups: &[u16], group_count: usize, catalogue: &Catalogue) {
        let none = e.len() - COLLECTIONS;
        let row = self.back.len();
        self.back.resize(row + e.len(), 0);
        if self.begin {
            self.begin = false;
            for (i, s) in self.score.iter_mut().enumerate() {
                let prior = match i {
                    _ if i >= none => -NO_CENTER,
                    _ => catalogue.mode(at_place(i).mode).weight.ln(),
                };
                *s = e[i] + prior;
                self.back[row + i] = i as u16;
            }
            return;
        }
        let mut any = (f32::MIN, 0usize);
        let mut centers = [(f32::MIN, 0usize); 12];
        let mut same = vec![(f32::MIN, 0usize); group_count];
        for (i, &s) in self.score.iter().enumerate() {
            let better = |best: &mut (f32, usize)| {
                if s > best.0 {
                    *best = (s, i);
                }
            };
            better(&mut any);
            if i < none {
                better(&mut centers[i % 12]);
                better(&mut same[groups[i] as usize]);
            }
        }
        let before = self.score.clone();
        for i in 0..e.len() {
            let prior = if i >= none {
                -NO_CENTER
            } else {
                catalogue.mode(at_place(i).mode).weight.ln()
            };
            let mut best = (before[i], i);
            let mut try_from = |from: (f32, usize), price: f32| {
                let s = from.0 - price + prior;
                if s > best.0 {
                    best = (s, from.1);
                }
            };
            try_from(any, self.prices.anywhere);
            if i < none {
                try_from(centers[i % 12], self.prices.same_center);
                try_from(same[groups[i] as usize], self.prices.same_notes);
            }
            self.score[i] = best.0 + e[i];
            self.back[row + i] = best.1 as u16;
        }
        // Only differences matter: keep the numbers small.
        let top = self.score.iter().fold(f32::MIN, |b, &s| b.max(s));
        for s in &mut self.score {
            *s -= top;
        }
    }

    /// The best course, each stretch between rests read from its end back.
    fn path(&self, steps: usize, states: usize, breaks: &[usize]) -> Vec<usize> {
        let mut path = vec![0; steps];
        let starts = std::iter::once(0).chain(breaks.iter().copied());
        let stops = breaks.iter().copied().chain(std::iter::once(steps));
        let lasts = self
            .ends
            .iter()
            .copied()
            .chain(std::iter::once(best_of(&self.score)));
        for ((start, stop), last) in starts.zip(stops).zip(lasts) {
            let mut state = last;
            for i in (start..stop).rev() {
                path[i] = state;
                state = self.back[i * states + state] as usize;
            }
        }
        path
    }
}

fn best_of(score: &[f32]) -> usize {
    score
        .iter()
        .enumerate()
        .fold((0, f32::MIN), |b, (i, &s)| if s > b.1 { (i, s) } else { b })
        .0
}
