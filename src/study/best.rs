//! The likeliest course through a few states (Viterbi 1967; Rabiner 1989), decided as soon as
//! every course that is still likely has the same beginning.

use std::collections::VecDeque;

/// Minimum number of undecided moments before it is checked what is decided.
const WAIT: usize = 64;

/// The likeliest courses so far through `N` states; `T`: what is to be told with a moment once
/// its state is decided.
pub(super) struct Best<const N: usize, T> {
    score: [f32; N],
    /// Undecided moments: the state that each comes from, one moment before.
    open: VecDeque<([u8; N], T)>,
    /// Check what is decided when there are more.
    full: usize,
}

impl<const N: usize, T> Best<N, T> {
    pub fn new() -> Best<N, T> {
        const { assert!(N <= 256) };
        Best {
            score: [0.0; N],
            open: VecDeque::new(),
            full: WAIT,
        }
    }

    /// Goes on by a moment in which each state is so likely, as a logarithm, and a change to any
    /// has this price. `tell`: those that are decided, in order.
    pub fn go_on(
        &mut self,
        likely: &[f32; N],
        price: f32,
        told: T,
        tell: &mut impl FnMut((usize, T)),
    ) {
        let top = self.best();
        let most = self.score[top];
        let mut from = [0; N];
        // Counted from the best, so that long music stays in range.
        for (s, (x, from)) in self.score.iter_mut().zip(&mut from).enumerate() {
            let stays = *x >= most - price;
            *from = if stays { s } else { top } as u8;
            let moved = if stays { *x } else { most - price };
            *x = moved - most + likely[s];
        }
        self.open.push_back((from, told));
        if self.open.len() > self.full {
            self.decide(tell);
            self.full = WAIT.max(2 * self.open.len());
        }
    }

    /// The best state; in a tie, the first.
    fn best(&self) -> usize {
        let score = &self.score;
        (0..N).fold(0, |b, s| if score[s] > score[b] { s } else { b })
    }

    /// Tells the beginning that all courses share.
    fn decide(&mut self, tell: &mut impl FnMut((usize, T))) {
        let mut states: Vec<u8> = (0..N).map(|s| s as u8).collect();
        for last in (1..self.open.len()).rev() {
            let (from, _) = &self.open[last];
            for s in &mut states {
                *s = from[usize::from(*s)];
            }
            states.sort_unstable();
            states.dedup();
            if let [state] = states[..] {
                self.tell(last, usize::from(state), tell);
                return;
            }
        }
    }

    /// Passes `count` moments on, the last of them in this state.
    fn tell(&mut self, count: usize, last: usize, tell: &mut impl FnMut((usize, T))) {
        let mut states = vec![last];
        for (from, _) in self.open.range(..count).rev() {
            states.push(usize::from(from[states[states.len() - 1]]));
        }
        // The state before the first of them was passed on already.
        states.pop();
        for (state, (_, told)) in states.into_iter().rev().zip(self.open.drain(..count)) {
            tell((state, told));
        }
    }

    /// Decides the rest: there are no more moments.
    pub fn finish(mut self, tell: &mut impl FnMut((usize, T))) {
        let (count, last) = (self.open.len(), self.best());
        self.tell(count, last, tell);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the textbook: all moments kept, pointers followed back from the end.
    #[test]
    fn what_is_decided_early_is_what_pointers_back_give() {
        const N: usize = 5;
        let mut seed = 3u32;
        let mut random = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        for price in [0.0, 0.7, 2.5] {
            let moments: Vec<[f32; N]> = (0..3000)
                .map(|_| std::array::from_fn(|_| 2.0 * random()))
                .collect();
            let mut score = [0.0f32; N];
            let mut back: Vec<[usize; N]> = Vec::new();
            for moment in &moments {
                let top = (0..N).fold(0, |b, s| if score[s] > score[b] { s } else { b });
                let stays = |s: usize| score[s] >= score[top] - price;
                back.push(std::array::from_fn(|s| if stays(s) { s } else { top }));
                let moved = |s: usize| score[s].max(score[top] - price) - score[top];
                score = std::array::from_fn(|s| moved(s) + moment[s]);
            }
            let last = (0..N).fold(0, |b, s| if score[s] > score[b] { s } else { b });
            let mut want = vec![last];
            for from in back[1..].iter().rev() {
                want.push(from[want[want.len() - 1]]);
            }
            want.reverse();

            let mut found = Vec::new();
            let mut most_open = 0;
            let mut best = Best::<N, usize>::new();
            let mut tell = |(state, told): (usize, usize)| {
                assert_eq!(told, found.len());
                found.push(state);
            };
            for (i, moment) in moments.iter().enumerate() {
                best.go_on(moment, price, i, &mut tell);
                most_open = most_open.max(best.open.len());
            }
            best.finish(&mut tell);
            assert_eq!(found, want);
            assert!(most_open < 300, "{most_open}");
        }
    }
}
