//! The real clock, behind a seam.

use crate::time::Time;
use crossbeam_channel::{Receiver, never};
use std::time::{Duration, Instant};

/// Tells the time of a stream and how long to wait for a moment of it.
pub trait Clock: Send + Sync {
    /// Since the stream began, never going back.
    fn now(&self) -> Time;

    /// How long a thread may sleep until `at`.
    fn until(&self, at: Time) -> Duration {
        at.since(self.now()).duration()
    }

    /// Wakes sleepers before their time: for clocks that jump. The real one never does.
    fn jumps(&self) -> Receiver<()> {
        never()
    }
}

/// The machine's monotonic clock, from the moment it was made.
pub struct SystemClock(Instant);

impl SystemClock {
    pub fn start() -> SystemClock {
        SystemClock(Instant::now())
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Time {
        Time::from_duration(self.0.elapsed())
    }
}
