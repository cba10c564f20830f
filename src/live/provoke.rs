//! A panic of the engine's thread when a test asks for one.
//!
//! In debug builds `PEREGRINUS_PANIC_AT=2.5` provokes it at the first event or step
//! 2.5 seconds into the stream, to see that the terminal is put back and the message
//! is read. Release builds do not look.

use crate::time::Time;

/// The moment asked for, if any.
pub(super) fn wanted() -> Option<Time> {
    if !cfg!(debug_assertions) {
        return None;
    }
    let seconds: f64 = std::env::var("PEREGRINUS_PANIC_AT").ok()?.parse().ok()?;
    (seconds.is_finite() && seconds >= 0.0).then(|| Time::from_seconds(seconds))
}

/// Panics once that moment is reached.
pub(super) fn check(wanted: Option<Time>, now: Time) {
    if wanted.is_some_and(|at| now >= at) {
        panic!("provoked by PEREGRINUS_PANIC_AT");
    }
}
