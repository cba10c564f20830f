//! Writes to standard output and standard error. A stream that is closed or full ends nothing
//! that only reports.

use crate::plain;
use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};

/// Writes a result to standard output, all of it or an error.
pub fn print(result: impl AsRef<[u8]>) -> io::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(result.as_ref())?;
    out.flush()
}

/// Writes a message for the user to standard error. If that is closed or full the message is
/// lost, which is no reason to stop.
pub fn report(what: &str) {
    let text = format!("peregrinus: {}\n", plain::lines(what));
    // In one go, so that the lines of two threads do not mix.
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// How long work may take before progress is shown.
const PATIENCE: Duration = Duration::from_secs(1);
/// How often the progress is drawn.
const EVERY: Duration = Duration::from_millis(200);
/// Share of the work that must be done before the time left is said; a smaller share foretells nothing.
const ENOUGH: f64 = 0.02;

/// A line on standard error that shows how far long work has got, only where that is a
/// terminal. It is cleared when it is dropped.
pub struct ProgressLine {
    began: Instant,
    terminal: bool,
    told: Option<Instant>,
    hint: &'static str,
}

impl ProgressLine {
    pub fn new() -> ProgressLine {
        ProgressLine::with_hint("")
    }

    /// `hint` stands behind the time left.
    pub fn with_hint(hint: &'static str) -> ProgressLine {
        ProgressLine {
            began: Instant::now(),
            terminal: io::stderr().is_terminal(),
            told: None,
            hint,
        }
    }

    /// `share` of the work is done, 0 to 1; `what` says so in words.
    pub fn tell(&mut self, share: f64, what: &str) {
        if !self.terminal || self.began.elapsed() < PATIENCE {
            return;
        }
        if self.told.is_some_and(|at| at.elapsed() < EVERY) {
            return;
        }
        self.told = Some(Instant::now());
        let hint = self.hint;
        let left = left(self.began.elapsed(), share);
        // Cut off at a narrow terminal's edge rather than broken into a second line.
        let line = format!("\r\x1b[?7l{}{left}{hint}\x1b[K\x1b[?7h", plain::name(what));
        let _ = io::stderr().lock().write_all(line.as_bytes());
    }

    /// Takes the line away: something else is to be written, or the work is over.
    pub fn clear(&mut self) {
        if self.told.take().is_some() {
            let _ = io::stderr().lock().write_all(b"\r\x1b[K");
        }
    }
}

impl Drop for ProgressLine {
    fn drop(&mut self) {
        self.clear();
    }
}

/// The time left, if the rest goes as quickly as what is done: `, 1:05 left`.
fn left(gone: Duration, share: f64) -> String {
    if !(ENOUGH..=1.0).contains(&share) {
        return String::new();
    }
    let seconds = (gone.as_secs_f64() * (1.0 / share - 1.0)).ceil() as u64;
    match seconds {
        0..3600 => format!(", {}:{:02} left", seconds / 60, seconds % 60),
        _ => format!(
            ", {}:{:02}:{:02} left",
            seconds / 3600,
            seconds / 60 % 60,
            seconds % 60
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_follows_from_what_was_done() {
        let after = |seconds, share| left(Duration::from_secs(seconds), share);
        assert_eq!(after(10, 0.5), ", 0:10 left");
        assert_eq!(after(65, 0.5), ", 1:05 left");
        assert_eq!(after(3700, 0.25), ", 3:05:00 left");
        assert_eq!(after(10, 1.0), ", 0:00 left");
        for nothing in [0.0, 0.01, -1.0, 1.5, f64::NAN] {
            assert_eq!(after(10, nothing), "");
        }
    }
}
