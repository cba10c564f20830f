//! The project's one unit of time. Depends on no other room; any may use it.
//!
//! Times are whole ticks of 20 µs from the start of a stream (a sitting, a
//! file). That is the tick of the files we write, 25,000 to the quarter at 120
//! to the minute, so a performance keeps its exact times through capture, file
//! and replay.

use std::fmt;
use std::ops::{Add, AddAssign, Sub};
use std::str::FromStr;
use std::time::Duration;

/// Ticks in one second.
pub const TICKS_PER_SECOND: u64 = 50_000;

/// A moment in a stream, or the distance between two, in ticks of 20 µs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Time(pub u64);

impl Time {
    pub const ZERO: Time = Time(0);

    /// From whole milliseconds.
    pub const fn millis(ms: u64) -> Time {
        Time(ms * (TICKS_PER_SECOND / 1000))
    }

    /// From seconds, rounded to the nearest tick. Negative numbers and NaN become zero, what is too
    /// large the latest time of all.
    pub fn from_seconds(s: f64) -> Time {
        Time((s * TICKS_PER_SECOND as f64).round() as u64)
    }

    /// In seconds.
    pub fn seconds(self) -> f64 {
        self.0 as f64 / TICKS_PER_SECOND as f64
    }

    /// The distance back to `earlier`, or zero if it is later.
    pub fn since(self, earlier: Time) -> Time {
        Time(self.0.saturating_sub(earlier.0))
    }

    /// For threads that wait on a real clock.
    pub fn duration(self) -> Duration {
        Duration::from_micros(self.0.saturating_mul(1_000_000 / TICKS_PER_SECOND))
    }

    /// From a real clock, rounded down to the tick.
    pub fn from_duration(d: Duration) -> Time {
        Time((d.as_nanos() / (1_000_000_000 / TICKS_PER_SECOND as u128)) as u64)
    }
}

impl Add for Time {
    type Output = Time;
    fn add(self, other: Time) -> Time {
        Time(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Time {
    fn add_assign(&mut self, other: Time) {
        *self = *self + other;
    }
}

/// Saturates at zero.
impl Sub for Time {
    type Output = Time;
    fn sub(self, other: Time) -> Time {
        self.since(other)
    }
}

/// Minutes and seconds as a player reads them: `1:04.3`.
impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = self.0 / (TICKS_PER_SECOND / 10);
        write!(
            f,
            "{}:{:02}.{}",
            tenths / 600,
            tenths / 10 % 60,
            tenths % 10
        )
    }
}

/// Not a moment as a player writes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "write a moment in minutes and seconds, such as 1:23 or 1:23.5, or in seconds, such as 83.5"
)]
pub struct NotAMoment;

/// As a player writes it: `1:23`, `1:23.5`, `1:02:03` with hours, or in seconds, `83.5`.
impl FromStr for Time {
    type Err = NotAMoment;

    fn from_str(text: &str) -> Result<Time, NotAMoment> {
        let mut parts = text.trim().rsplit(':');
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        let seconds = parts.next().unwrap_or_default();
        let (whole, tenths) = seconds.split_once('.').unwrap_or((seconds, "0"));
        if !digits(whole) || !digits(tenths) {
            return Err(NotAMoment);
        }
        let mut sum: f64 = seconds.parse().map_err(|_| NotAMoment)?;
        let mut below = sum;
        for unit in [60.0, 3600.0] {
            let Some(part) = parts.next() else { break };
            if !digits(part) || below >= 60.0 {
                return Err(NotAMoment);
            }
            below = part.parse().map_err(|_| NotAMoment)?;
            sum += unit * below;
        }
        // A year, and more than any recording: nothing overflows.
        match parts.next().is_none() && sum < 3.2e7 {
            true => Ok(Time::from_seconds(sum)),
            false => Err(NotAMoment),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_as_it_is_written() {
        for (text, seconds) in [
            ("1:23", 83.0),
            (" 1:23.5 ", 83.5),
            ("83.5", 83.5),
            ("0", 0.0),
            ("90", 90.0),
            ("75:00", 4500.0),
            ("1:02:03.25", 3723.25),
        ] {
            assert_eq!(text.parse(), Ok(Time::from_seconds(seconds)), "{text}");
        }
        for tenths in [0, 7, 599, 600, 12_345] {
            let at = Time::millis(100 * tenths);
            assert_eq!(at.to_string().parse(), Ok(at));
        }
        for text in [
            "",
            ":",
            "1:",
            ":1",
            "1:60",
            "1:75:00",
            "1:1:1:1",
            "-1",
            "1,5",
            "1e3",
            "x",
            "1:2.",
            "nan",
            "+1",
            "inf",
            "99999999999999999999",
        ] {
            assert_eq!(text.parse::<Time>(), Err(NotAMoment), "{text}");
        }
    }

    #[test]
    fn a_tick_is_twenty_microseconds() {
        assert_eq!(Time(1).duration(), Duration::from_micros(20));
        assert_eq!(Time::from_duration(Duration::from_micros(59)), Time(2));
        assert_eq!(Time::millis(3), Time(150));
        assert_eq!(Time::from_seconds(64.31), Time(3_215_500));
        assert_eq!(Time::from_seconds(-1.0), Time::ZERO);
        assert_eq!(Time::from_seconds(64.31).to_string(), "1:04.3");
    }
}
