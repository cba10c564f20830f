//! The likeliest course through a stretch of music (Viterbi 1967; Rabiner 1989), with what
//! the steps amount to on the way.
//!
//! Every state carries the runs of the likeliest course that ends in it: the present one and,
//! shared with other states, those before. So a step need not be kept once it was taken: the
//! memory depends on the number of runs, not on the length of the music.

use crate::engine::{COLLECTIONS, STEP};
use crate::theory::PitchClassSet;

/// Prices of a change, in logarithms times seconds.
#[derive(Clone, Copy)]
pub(super) struct Prices {
    pub anywhere: f32,
    pub same_center: f32,
}

/// One step of the music.
pub(super) struct Moment<'a> {
    /// How likely each state is, as a logarithm.
    pub log: &'a [f32],
    /// How likely the modes on each center are, center after center.
    pub likely: &'a [f32],
    /// What was heard.
    pub heard: PitchClassSet,
}

/// Steps on end in one state.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Run {
    pub state: usize,
    pub start: usize,
    /// The step after the last.
    pub stop: usize,
    pub heard: PitchClassSet,
    /// The last step with sound.
    pub sounded: Option<usize>,
    /// The sum over its steps of how likely each mode on its center is; of a collection
    /// without a center it is empty.
    pub likely: Vec<f32>,
}

/// A run that goes on.
#[derive(Clone, Copy, Debug)]
struct Running {
    start: usize,
    heard: PitchClassSet,
    sounded: Option<usize>,
    /// The run before, among those that are over.
    before: Option<u32>,
}

/// A run that is over on some course.
#[derive(Clone, Debug)]
struct Over {
    run: Run,
    before: Option<u32>,
}

/// The likeliest courses so far, one for each state.
pub(super) struct Course {
    prices: Prices,
    modes: usize,
    taken: usize,
    score: Vec<f32>,
    running: Vec<Running>,
    /// For each tonality the sums of its run, mode after mode.
    likely: Vec<f32>,
    over: Vec<Over>,
    /// With more of these, those that no course has are dropped.
    full: usize,
    /// The state that each comes from in the present step.
    from: Vec<u16>,
}

const FULL: usize = 4096;

impl Course {
    /// Through the tonalities of `modes` modes and the collections without a center.
    pub fn new(modes: usize, prices: Prices) -> Course {
        let states = modes * 12 + COLLECTIONS;
        let none = Running {
            start: 0,
            heard: PitchClassSet::EMPTY,
            sounded: None,
            before: None,
        };
        Course {
            prices,
            modes,
            taken: 0,
            score: vec![0.0; states],
            running: vec![none; states],
            likely: vec![0.0; modes * 12 * modes],
            over: Vec::new(),
            full: FULL,
            from: vec![0; states],
        }
    }

    /// Goes on by a step.
    pub fn step(&mut self, moment: &Moment) {
        let step = STEP.seconds() as f32;
        if self.taken == 0 {
            for (x, log) in self.score.iter_mut().zip(moment.log) {
                *x = log * step;
            }
        } else {
            self.choose();
            self.change();
            for (x, log) in self.score.iter_mut().zip(moment.log) {
                *x += step * log;
            }
        }
        for run in &mut self.running {
            run.heard = run.heard.or(moment.heard);
            if !moment.heard.is_empty() {
                run.sounded = Some(self.taken);
            }
        }
        for (state, sums) in self.likely.chunks_exact_mut(self.modes).enumerate() {
            let of_center = &moment.likely[state % 12 * self.modes..][..self.modes];
            for (sum, likely) in sums.iter_mut().zip(of_center) {
                *sum += likely;
            }
        }
        self.taken += 1;
        if self.over.len() > self.full {
            self.sweep();
        }
    }

    /// Where the likeliest course to each state comes from.
    fn choose(&mut self) {
        let none = self.modes * 12;
        let mut any = (f32::MIN, 0usize);
        let mut centers = [(f32::MIN, 0usize); 12];
        for (s, &x) in self.score.iter().enumerate() {
            if x > any.0 {
                any = (x, s);
            }
        }
        for (m, row) in self.score[..none].chunks_exact(12).enumerate() {
            for (c, (best, &x)) in centers.iter_mut().zip(row).enumerate() {
                if x > best.0 {
                    *best = (x, m * 12 + c);
                }
            }
        }
        // The best way to change to each state of a center, or to any other.
        let anywhere = (any.0 - self.prices.anywhere, any.1);
        let change = centers.map(|(x, s)| {
            let same = (x - self.prices.same_center, s);
            if same.0 > anywhere.0 { same } else { anywhere }
        });
        let (tonal, free) = self.score.split_at_mut(none);
        let (from_tonal, from_free) = self.from.split_at_mut(none);
        let rows = tonal
            .chunks_exact_mut(12)
            .zip(from_tonal.chunks_exact_mut(12));
        let rows = rows.map(|row| (row, &change[..]));
        let elsewhere = [anywhere; COLLECTIONS];
        let rest = std::iter::once(((free, from_free), &elsewhere[..]));
        let mut s = 0;
        for ((scores, from), change) in rows.chain(rest) {
            for ((x, from), &(other, state)) in scores.iter_mut().zip(from).zip(change) {
                *from = if other > *x { state } else { s } as u16;
                // Only differences matter: the best of each step counts as 0.
                *x = x.max(other) - any.0;
                s += 1;
            }
        }
    }

    /// Where a course changes its state its run is over, and another begins.
    fn change(&mut self) {
        // Courses come from thirteen states at most: the best of all and of each center.
        let mut left: [Option<(u16, u32)>; 13] = [None; 13];
        for (s, &from) in self.from.iter().enumerate() {
            if usize::from(from) == s || left.iter().flatten().any(|l| l.0 == from) {
                continue;
            }
            let over = Over {
                run: self.run(usize::from(from)),
                before: self.running[usize::from(from)].before,
            };
            if let Some(place) = left.iter_mut().find(|l| l.is_none()) {
                *place = Some((from, self.over.len() as u32));
            }
            self.over.push(over);
        }
        for (s, &from) in self.from.iter().enumerate() {
            if usize::from(from) == s {
                continue;
            }
            let before = left.iter().flatten().find(|l| l.0 == from);
            self.running[s] = Running {
                start: self.taken,
                heard: PitchClassSet::EMPTY,
                sounded: None,
                before: before.map(|l| l.1),
            };
            if let Some(sums) = self.likely.chunks_exact_mut(self.modes).nth(s) {
                sums.fill(0.0);
            }
        }
    }

    /// The run of a state as far as it goes.
    fn run(&self, state: usize) -> Run {
        let running = &self.running[state];
        let sums = self.likely.chunks_exact(self.modes).nth(state);
        Run {
            state,
            start: running.start,
            stop: self.taken,
            heard: running.heard,
            sounded: running.sounded,
            likely: sums.unwrap_or_default().to_vec(),
        }
    }

    /// Drops the runs that no course has.
    fn sweep(&mut self) {
        let mut kept = vec![false; self.over.len()];
        for running in &self.running {
            let mut next = running.before;
            while let Some(i) = next.map(|i| i as usize).filter(|&i| !kept[i]) {
                kept[i] = true;
                next = self.over[i].before;
            }
        }
        let mut count = 0;
        let places: Vec<u32> = kept
            .iter()
            .map(|&kept| {
                count += u32::from(kept);
                count.saturating_sub(1)
            })
            .collect();
        let mut i = 0;
        self.over.retain(|_| {
            i += 1;
            kept[i - 1]
        });
        let before = self.running.iter_mut().map(|r| &mut r.before);
        for place in before.chain(self.over.iter_mut().map(|o| &mut o.before)) {
            *place = place.map(|i| places[i as usize]);
        }
        self.full = FULL.max(2 * self.over.len());
    }

    /// The runs of the likeliest course, in order of time.
    pub fn finish(mut self) -> Vec<Run> {
        if self.taken == 0 {
            return Vec::new();
        }
        let score = &self.score;
        let last = (0..score.len()).fold(0, |b, s| if score[s] > score[b] { s } else { b });
        let mut runs = vec![self.run(last)];
        let mut next = self.running[last].before;
        while let Some(over) = next.and_then(|i| self.over.get_mut(i as usize)) {
            next = over.before;
            let Run {
                state,
                start,
                stop,
                heard,
                sounded,
                ..
            } = over.run;
            runs.push(Run {
                state,
                start,
                stop,
                heard,
                sounded,
                likely: std::mem::take(&mut over.run.likely),
            });
        }
        runs.reverse();
        runs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRICES: Prices = Prices {
        anywhere: 1.5,
        same_center: 1.0,
    };

    /// Through rows for two modes, all of it heard.
    fn through(rows: &[Vec<f32>], sweep: bool) -> Vec<Run> {
        let mut course = Course::new(2, PRICES);
        for log in rows {
            let likely: Vec<f32> = (0..24).map(|i| log[i % 2 * 12 + i / 2].exp()).collect();
            course.step(&Moment {
                log,
                likely: &likely,
                heard: PitchClassSet::ALL,
            });
            if sweep {
                course.sweep();
            }
        }
        course.finish()
    }

    #[test]
    fn a_course_pays_for_each_change() {
        // Two states; the second is better for three steps, then for thirty.
        let row = |best: usize| -> Vec<f32> {
            (0..24 + COLLECTIONS)
                .map(|s| if s == best { 0.0 } else { -3.0 })
                .collect()
        };
        let rows: Vec<Vec<f32>> = [(0, 20), (5, 3), (0, 20), (5, 30)]
            .into_iter()
            .flat_map(|(best, n)| vec![row(best); n])
            .collect();
        let runs = through(&rows, false);
        let found: Vec<_> = runs.iter().map(|r| (r.state, r.start, r.stop)).collect();
        let want = [(0, 0, 43), (5, 43, 73)];
        assert_eq!(found, want, "three steps are not worth it, thirty are");
        assert!((runs[0].likely[0] - (40.0 + 3.0 * (-3.0f32).exp())).abs() < 1e-4);
        assert_eq!((runs[0].sounded, runs[1].sounded), (Some(42), Some(72)));
    }

    /// Against the textbook: all steps kept, pointers followed back from the end.
    #[test]
    fn it_is_the_course_that_pointers_back_give() {
        let states = 24 + COLLECTIONS;
        let mut seed = 7u32;
        let mut random = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        // Some state leads for a while, with much noise.
        let mut rows = Vec::new();
        for _ in 0..60 {
            let lead = (random() * states as f32) as usize;
            for _ in 0..(random() * 40.0) as usize + 1 {
                let row = (0..states).map(|s| if s == lead { -0.5 } else { -6.0 * random() });
                rows.push(row.collect::<Vec<f32>>());
            }
        }
        let step = STEP.seconds() as f32;
        let price = |a: usize, b: usize| match () {
            () if a == b => 0.0,
            () if a < 24 && b < 24 && a % 12 == b % 12 => PRICES.same_center,
            () => PRICES.anywhere,
        };
        let mut score: Vec<f32> = rows[0].iter().map(|x| x * step).collect();
        let mut back = Vec::new();
        for row in &rows[1..] {
            let best = |s: usize| {
                let way = |&a: &usize| score[a] - price(a, s);
                let all = (0..states).map(|a| (way(&a), a));
                all.reduce(|b, x| if x.0 > b.0 { x } else { b })
                    .expect("states")
            };
            let next: Vec<(f32, usize)> = (0..states).map(best).collect();
            score = next.iter().zip(row).map(|(n, x)| n.0 + x * step).collect();
            back.push(next.iter().map(|n| n.1).collect::<Vec<usize>>());
        }
        let mut state = (0..states).fold(0, |b, s| if score[s] > score[b] { s } else { b });
        let mut path = vec![state];
        for from in back.iter().rev() {
            state = from[state];
            path.push(state);
        }
        path.reverse();
        for sweep in [false, true] {
            let runs = through(&rows, sweep);
            assert!(runs.len() > 10);
            let found: Vec<usize> = runs
                .iter()
                .flat_map(|r| vec![r.state; r.stop - r.start])
                .collect();
            assert_eq!(found, path);
            for run in runs.iter().filter(|r| r.state < 24) {
                for mode in 0..2 {
                    let state = mode * 12 + run.state % 12;
                    let rows = rows[run.start..run.stop].iter();
                    let sum: f32 = rows.map(|row| row[state].exp()).sum();
                    assert_eq!(run.likely[mode], sum);
                }
            }
        }
    }
}
