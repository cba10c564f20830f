//! How far a study has got, and whether it is to go on.

use crate::time::Time;
use std::ops::ControlFlow;

/// How much of the whole each part of the work takes, as measured on the études: hearing it as
/// it was played, the tonalities in hindsight, and the chords.
const SHARES: [f64; 3] = [4.0, 3.0, 1.0];
/// The same of music that is worked out block by block: hindsight hears it once more in each
/// direction.
const SHARES_IN_BLOCKS: [f64; 3] = [4.0, 11.0, 1.0];
/// Progress is reported once in this many steps of the work.
const OFTEN: usize = 64;

/// How far each part is.
pub(super) struct Progress<'a, B> {
    tell: &'a mut dyn FnMut(f32) -> ControlFlow<B>,
    /// How long the recording is.
    end: Time,
    shares: [f64; 3],
    reached: [Time; 3],
    steps: usize,
}

/// A piece of work, in steps that take about the same time.
pub(super) struct Work<'p, 'a, B> {
    progress: &'p mut Progress<'a, B>,
    part: usize,
    from: Time,
    to: Time,
    steps: usize,
    done: usize,
}

impl<'a, B> Progress<'a, B> {
    /// `block`: how much is worked on at once. `tell`: breaks off for a reason, which becomes
    /// the error of the work.
    pub fn new(
        end: Time,
        block: Time,
        tell: &'a mut dyn FnMut(f32) -> ControlFlow<B>,
    ) -> Progress<'a, B> {
        Progress {
            tell,
            end,
            shares: match end > block {
                true => SHARES_IN_BLOCKS,
                false => SHARES,
            },
            reached: [Time::ZERO; 3],
            steps: 0,
        }
    }

    /// The music was heard as far as here, in one step of the work.
    pub fn heard(&mut self, at: Time) -> Result<(), B> {
        self.steps += 1;
        match self.steps.is_multiple_of(OFTEN) {
            true => self.reach(0, at),
            false => Ok(()),
        }
    }

    /// Finding tonalities as far as `to`, in `steps` steps.
    pub fn hindsight(&mut self, to: Time, steps: usize) -> Work<'_, 'a, B> {
        self.part(1, to, steps)
    }

    /// Finding chords as far as `to`, in `steps` steps.
    pub fn chords(&mut self, to: Time, steps: usize) -> Work<'_, 'a, B> {
        self.part(2, to, steps)
    }

    fn part(&mut self, part: usize, to: Time, steps: usize) -> Work<'_, 'a, B> {
        Work {
            from: self.reached[part],
            progress: self,
            part,
            to,
            steps,
            done: 0,
        }
    }

    fn reach(&mut self, part: usize, at: Time) -> Result<(), B> {
        self.reached[part] = at.max(self.reached[part]);
        let end = self.end.seconds().max(1e-9);
        let parts = self.reached.iter().zip(self.shares);
        let done: f64 = parts
            .map(|(at, share)| share * (at.seconds() / end).min(1.0))
            .sum();
        match (self.tell)((done / self.shares.iter().sum::<f64>()) as f32) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(reason) => Err(reason),
        }
    }
}

impl<B> Work<'_, '_, B> {
    /// A step of it is done.
    pub fn step(&mut self) -> Result<(), B> {
        self.done += 1;
        if !self.done.is_multiple_of(OFTEN) {
            return Ok(());
        }
        let whole = self.to.since(self.from).seconds();
        let done = whole * self.done as f64 / self.steps.max(1) as f64;
        let at = self.from + Time::from_seconds(done.min(whole));
        self.progress.reach(self.part, at)
    }
}
