//! The likeliest course of tonalities through a whole recording.
//!
//! The network hears the recording twice: as it was played, and from its end to its
//! beginning, as it was taught to. What it says of a moment from the past and from
//! the future is put together (the product of both, divided by what is likely
//! beforehand), and Viterbi's algorithm (Viterbi 1967; Rabiner 1989) finds the course
//! that is likeliest in all, with a price for each change: less for a new mode on the
//! same center. Home is the same course at a higher price.
//!
//! All of it is reckoned as seen from the first bass, so that transposition changes
//! nothing, to the last bit: neither the order of a sum nor which of equals comes first.

use super::sounds::{Sound, Sounds};
use crate::engine::{
    BREATH, COLLECTIONS, Estimator, Fading, Frame, Frames, KeySet, Learned, STEP, Scores, at_place,
    open, place,
};
use crate::plan::{Region, TonalPlan};
use crate::theory::{Catalogue, PitchClass, PitchClassSet, Spelling, Tonality};
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

pub(super) struct Hindsight {
    catalogue: Arc<Catalogue>,
    /// The estimator for the way back.
    backward: Learned,
    fading: Fading,
    /// Tonalities; the states after them are collections without a center.
    none: usize,
    /// Modes with the same notes ([`Catalogue::kin`]), where there are several.
    kin: Vec<Vec<usize>>,
    sounds: Sounds,
    stretch: Stretch,
    plan: TonalPlan,
    /// The spelling that the next tonic stays near to, here and at home.
    spelled: (Option<Spelling>, Option<Spelling>),
}

/// What lies between two long rests.
#[derive(Default)]
struct Stretch {
    sounds: Vec<Sound>,
    at: Vec<Time>,
    heard: Vec<PitchClassSet>,
    /// The bass of the first step: centers are counted from it.
    first: PitchClass,
    /// What is likely of each step, as logarithms, state after state: at first given
    /// the past alone, then given the whole.
    log: Vec<f32>,
}

impl Hindsight {
    pub fn new(catalogue: Arc<Catalogue>, backward: Learned, fading: Fading) -> Hindsight {
        let none = catalogue.len() * 12;
        let modes = |first| {
            let catalogue = &catalogue;
            let all = catalogue.iter().map(|(mode, _)| mode);
            let own = all.filter(move |&mode| catalogue.kin(mode) == first);
            own.map(|mode| mode.index()).collect::<Vec<_>>()
        };
        let kin = catalogue.iter().map(|(first, _)| modes(first));
        let kin = kin.filter(|modes| modes.len() > 1).collect();
        Hindsight {
            catalogue,
            backward,
            fading,
            none,
            kin,
            sounds: Sounds::default(),
            stretch: Stretch::default(),
            plan: TonalPlan::default(),
            spelled: (None, None),
        }
    }

    fn states(&self) -> usize {
        self.none + COLLECTIONS
    }

    /// How notes die away from here on.
    pub fn set_fading(&mut self, fading: Fading) {
        self.fading = fading;
    }

    /// What follows begins afresh: the stretch so far is read, and let go.
    pub fn rest(&mut self) {
        self.close(None);
    }

    /// An aside begins: it is no part of what the stretch so far is read in.
    pub fn leave(&mut self, at: Time) {
        self.close(Some(at));
    }

    /// The aside is over: what sounded in it is let go.
    pub fn come_back(&mut self, at: Time) {
        self.sounds.until(at);
    }

    /// A key was struck, or something stopped sounding.
    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.sounds.keys(at, struck, sounding);
    }

    pub fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        let stretch = &mut self.stretch;
        if stretch.at.is_empty() {
            stretch.first = frame.bass.unwrap_or_default();
        }
        stretch.at.push(at);
        stretch.heard.push(frame.set());
        let seen = evidence.seen_from(stretch.first, self.catalogue.len());
        stretch.log.extend(seen);
    }

    /// Reads the last stretch. `end`: of what belongs to the plan.
    pub fn finish(mut self, end: Time) -> TonalPlan {
        self.close(Some(end));
        self.plan
    }

    fn close(&mut self, end: Option<Time>) {
        let mut stretch = std::mem::take(&mut self.stretch);
        let Some(&last) = stretch.at.last() else {
            return;
        };
        // What sounds on, however long, sounded to the last step.
        stretch.sounds = self.sounds.until(last);
        for sound in &mut stretch.sounds {
            sound.off = sound.off.min(last);
        }
        self.together(&mut stretch);
        let read = |prices, before: &mut Option<Spelling>| {
            let path = course(&stretch.log, self.states(), self.none, prices);
            self.read(&stretch, &path, end, before)
        };
        let (mut here, mut home) = self.spelled;
        let regions = read(HERE, &mut here);
        let homes = read(HOME, &mut home);
        self.plan.regions.extend(regions);
        self.plan.home.extend(homes);
        self.spelled = (here, home);
    }

    /// Puts to what the past says of each step what the future says: bounded
    /// logarithms.
    fn together(&mut self, stretch: &mut Stretch) {
        let (states, modes) = (self.states(), self.catalogue.len());
        let begin = stretch.at[0] - STEP;
        let end = stretch.sounds.iter().map(|s| s.off).max();
        let end = end.unwrap_or(begin).max(begin);
        self.backward.reset();
        let prior: Vec<f32> = self
            .backward
            .evidence()
            .seen_from(stretch.first, modes)
            .collect();
        let mut frames = frames_backward(&stretch.sounds, begin, end, self.fading).into_iter();
        let mut known = 0;
        let rows = stretch.log.chunks_exact_mut(states);
        for (row, &at) in rows.zip(&stretch.at).rev() {
            // All steps of the way back that lie after this moment.
            while known < end.since(at).0 / STEP.0
                && let Some(frame) = frames.next()
            {
                self.backward.step(&frame);
                known += 1;
            }
            if known > 0 {
                let back = self.backward.evidence().seen_from(stretch.first, modes);
                for ((x, back), prior) in row.iter_mut().zip(back).zip(&prior) {
                    *x += back - prior;
                }
            }
            self.bound(row);
        }
    }

    /// Makes logarithms of shares of what is likely, bounded, with modes of the same
    /// notes together.
    fn bound(&self, row: &mut [f32]) {
        let top = row.iter().fold(f32::MIN, |b, &x| b.max(x));
        // What is this unlikely adds nothing.
        let part = |x: f32| if x > top - 20.0 { (x - top).exp() } else { 0.0 };
        let all = top + row.iter().map(|&x| part(x)).sum::<f32>().ln();
        for modes in &self.kin {
            for center in 0..12 {
                let states = || modes.iter().map(|mode| mode * 12 + center);
                let sum: f32 = states().map(|s| part(row[s])).sum();
                let shared = top + sum.max(1e-9).ln();
                for s in states() {
                    row[s] = shared + OWN * (row[s] - shared).max(UNLIKELY);
                }
            }
        }
        row.iter_mut().for_each(|x| *x = (*x - all).max(UNLIKELY));
    }

    fn read(
        &self,
        stretch: &Stretch,
        path: &[usize],
        end: Option<Time>,
        before: &mut Option<Spelling>,
    ) -> Vec<Region> {
        let turned = |t: Tonality, by| Tonality {
            center: t.center.up(by),
            ..t
        };
        let first = stretch.first.index() as i32;
        let mut regions = Vec::new();
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
                let tonality = turned(at_place(path[i]), first);
                let tonality = self.catalogue.named(tonality, heard);
                let tonic = self.catalogue.spell(tonality, *before);
                *before = Some(tonic);
                let start = stretch.at[i] - STEP;
                let end = if stop < path.len() {
                    stretch.at[stop] - STEP
                } else {
                    // Before a rest: a breath after the last sound.
                    let sound = (i..stop).rev().find(|&j| !stretch.heard[j].is_empty());
                    sound.map_or(start, |j| {
                        let breath = stretch.at[j] + BREATH;
                        end.map_or(breath, |end| end.min(breath))
                    })
                };
                let states = self.states();
                let likely = |s: usize| {
                    let sum: f32 = (i..stop).map(|j| stretch.log[j * states + s].exp()).sum();
                    sum / (stop - i) as f32
                };
                regions.push(Region {
                    start,
                    end: end.max(start),
                    since: start,
                    tonality,
                    tonic,
                    open: open(&self.catalogue, tonality, heard, |t| {
                        likely(place(turned(t, -first)))
                    }),
                    probability: likely(path[i]).min(1.0),
                });
            }
            i = stop;
        }
        regions
    }
}

/// The frames of a stretch from its end to its beginning, one a step of the grid: ends
/// are onsets, and onsets ends. `sounds`: those between `begin` and `end`, in any order.
pub fn frames_backward(sounds: &[Sound], begin: Time, end: Time, fading: Fading) -> Vec<Frame> {
    let mut onsets: Vec<(Time, u8)> = sounds.iter().map(|s| (end.since(s.off), s.key)).collect();
    let mut ends: Vec<(Time, u8)> = sounds.iter().map(|s| (end.since(s.on), s.key)).collect();
    onsets.sort_unstable();
    ends.sort_unstable();
    let mut frames = Frames::new();
    let mut counts = [0u32; 128];
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
        }
        for (m, row) in score[..none].chunks_exact(12).enumerate() {
            for (c, (best, &x)) in centers.iter_mut().zip(row).enumerate() {
                if x > best.0 {
                    *best = (x, m * 12 + c);
                }
            }
        }
        // The best way to change to each state of a center, or to any other.
        let anywhere = (any.0 - prices.anywhere, any.1);
        let change = centers.map(|(x, s)| {
            let same = (x - prices.same_center, s);
            if same.0 > anywhere.0 { same } else { anywhere }
        });
        let (tonal, free) = score.split_at_mut(none);
        let (back_tonal, back_free) = back[i * states..][..states].split_at_mut(none);
        let rows = tonal
            .chunks_exact_mut(12)
            .zip(back_tonal.chunks_exact_mut(12));
        let rows = rows.map(|row| (row, &change[..]));
        let elsewhere = [anywhere; COLLECTIONS];
        let rest = std::iter::once(((free, back_free), &elsewhere[..]));
        let mut s = 0;
        for ((scores, backs), change) in rows.chain(rest) {
            for ((x, from), &(other, state)) in scores.iter_mut().zip(backs).zip(change) {
                *from = if other > *x { state } else { s } as u16;
                // Only differences matter: the best of each step counts as 0.
                *x = x.max(other) - any.0;
                s += 1;
            }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn sound(key: u8, on: u64, off: u64) -> Sound {
        let t = |ms| Time::millis(ms);
        Sound {
            key,
            on: t(on),
            off: t(off),
        }
    }

    /// Backward is what the frames would be, had the mirrored notes been played.
    #[test]
    fn the_way_back_is_the_mirrored_piece() {
        // Ends on the grid and off it, a restrike, a note within one step.
        let sounds = [
            sound(48, 0, 1000),
            sound(60, 130, 420),
            sound(60, 420, 990),
            sound(72, 510, 530),
        ];
        let end = Time::millis(1000);
        let back = frames_backward(&sounds, Time(0), end, Fading::Struck);
        assert_eq!(back.len(), 10);
        let set = |i: usize| back[i].set().mask();
        assert_eq!(
            back[0].onsets[0], 2,
            "48 ends at the end, 60 just before it"
        );
        assert_eq!((back[0].bass_struck, back[0].span), (true, 12));
        assert_eq!(back[4].onsets[0], 1, "72 lies within one step");
        assert_eq!(back[4].span, 24);
        assert_eq!(back[5].onsets[0], 1, "60 once more");
        assert_eq!((back[5].span, back[8].span), (12, 0));
        assert!((0..9).all(|i| set(i) == 1));
        assert!(!back[9].any(), "at its onset 48 has ended");
    }

    #[test]
    fn a_course_pays_for_each_change() {
        // Two states; the second is better for three steps, then for thirty.
        let states = 24 + COLLECTIONS;
        let row = |best: usize| (0..states).map(move |s| if s == best { 0.0 } else { -3.0 });
        let log: Vec<f32> = [(0, 20), (5, 3), (0, 20), (5, 30)]
            .into_iter()
            .flat_map(|(best, n)| (0..n).flat_map(move |_| row(best)))
            .collect();
        let path = course(&log, states, 24, HERE);
        let changes: Vec<usize> = (1..path.len())
            .filter(|&i| path[i] != path[i - 1])
            .collect();
        assert_eq!(changes, [43], "three steps are not worth it, thirty are");
        assert_eq!((path[20], path[72]), (0, 5));
    }
}
