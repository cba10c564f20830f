//! Tempo, meter and bars: what a click is, how it is tapped or typed, and where bars and beats fall
//! in time.

mod bars;
mod tap;
mod typed;

pub use bars::{BarBeat, Bars, Grid, Line};
pub use tap::Tap;
pub use typed::{TypedClick, TypedClickError};

use crate::time::{TICKS_PER_SECOND, Time};
use std::fmt;
use std::str::FromStr;

/// How fast the beats follow one another, as the length of one: 20 to 300 a minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tempo(Time);

const TICKS_PER_MINUTE: u64 = 60 * TICKS_PER_SECOND;

impl Tempo {
    /// Beats a minute.
    pub const SLOWEST: u64 = 20;
    pub const FASTEST: u64 = 300;
    pub const SHORTEST_BEAT: Time = Time(TICKS_PER_MINUTE / Tempo::FASTEST);
    pub const LONGEST_BEAT: Time = Time(TICKS_PER_MINUTE / Tempo::SLOWEST);

    /// None beyond the slowest and the fastest.
    pub fn of_beat(beat: Time) -> Option<Tempo> {
        let lies = (Tempo::SHORTEST_BEAT..=Tempo::LONGEST_BEAT).contains(&beat);
        lies.then_some(Tempo(beat))
    }

    /// In beats a minute; the beat is rounded to the tick.
    pub fn per_minute(beats: f64) -> Option<Tempo> {
        let lies = (Tempo::SLOWEST as f64..=Tempo::FASTEST as f64).contains(&beats);
        let beat = || Time((TICKS_PER_MINUTE as f64 / beats).round() as u64);
        lies.then(beat).and_then(Tempo::of_beat)
    }

    pub fn beat(self) -> Time {
        self.0
    }
}

/// In whole beats a minute.
impl fmt::Display for Tempo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", (TICKS_PER_MINUTE + self.0.0 / 2) / self.0.0)
    }
}

/// The meter of a bar: 1 to 15 quarters or eighths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    count: u8,
    unit: Unit,
}

/// What is counted below the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    Quarter,
    Eighth,
}

/// The note that a beat is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeatNote {
    Quarter,
    Eighth,
    /// In compound meters.
    DottedQuarter,
}

impl Meter {
    /// Four quarters, where nothing else is said.
    pub const COMMON: Meter = Meter {
        count: 4,
        unit: Unit::Quarter,
    };
    /// Maximum number above the line.
    pub const LARGEST: u8 = 15;

    /// `count` over `unit`: none unless it is 1 to 15 over 4 or 8.
    pub fn new(count: u8, unit: u8) -> Option<Meter> {
        let unit = match unit {
            4 => Unit::Quarter,
            8 => Unit::Eighth,
            _ => return None,
        };
        (1..=Meter::LARGEST)
            .contains(&count)
            .then_some(Meter { count, unit })
    }

    /// The number above the line.
    pub fn count(self) -> u8 {
        self.count
    }

    /// What a beat is written as: in 6/8, 9/8, 12/8 and 15/8 a dotted quarter (common practice, no
    /// source).
    pub fn note(self) -> BeatNote {
        match (self.unit, self.count) {
            (Unit::Quarter, _) => BeatNote::Quarter,
            (Unit::Eighth, 6 | 9 | 12 | 15) => BeatNote::DottedQuarter,
            (Unit::Eighth, _) => BeatNote::Eighth,
        }
    }

    /// How many beats a bar has.
    pub fn beats(self) -> u8 {
        match self.note() {
            BeatNote::DottedQuarter => self.count / 3,
            BeatNote::Quarter | BeatNote::Eighth => self.count,
        }
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = match self.unit {
            Unit::Quarter => 4,
            Unit::Eighth => 8,
        };
        write!(f, "{}/{unit}", self.count)
    }
}

/// Not a meter that a click can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a meter is 1 to 15 over 4 or 8, such as 3/4 or 6/8")]
pub struct NoMeter;

impl FromStr for Meter {
    type Err = NoMeter;

    fn from_str(text: &str) -> Result<Meter, NoMeter> {
        let digits = |s: &str| {
            let digits = !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
            digits.then(|| s.parse().ok()).flatten()
        };
        let (count, unit) = text.split_once('/').ok_or(NoMeter)?;
        let (count, unit) = digits(count).zip(digits(unit)).ok_or(NoMeter)?;
        Meter::new(count, unit).ok_or(NoMeter)
    }
}

/// A tempo and a meter, tied to a moment. Nothing sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Click {
    pub tempo: Tempo,
    pub meter: Meter,
    /// A downbeat, one of many: before or after the moment from which the click is in force.
    pub from: Time,
}

impl Click {
    /// The length of a bar.
    pub fn bar(self) -> Time {
        Time(self.tempo.beat().0 * u64::from(self.meter.beats()))
    }

    /// The latest downbeat at or before a moment, or the first of all.
    pub fn downbeat(self, at: Time) -> Time {
        let bar = self.bar().0;
        let first = self.from.0 % bar;
        Time(at.0.saturating_sub(first) / bar * bar + first)
    }

    /// The same click in a time that begins at `start`.
    pub fn since(self, start: Time) -> Click {
        let from = match self.from >= start {
            true => self.from.since(start),
            // The first downbeat of that time.
            false => {
                let bar = self.bar().0;
                Time((bar - start.since(self.from).0 % bar) % bar)
            }
        };
        Click { from, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tempo_is_the_length_of_its_beat() {
        let tempo = |beats| Tempo::per_minute(beats).map(|t| (t.beat(), t.to_string()));
        assert_eq!(tempo(96.0), Some((Time::millis(625), "96".into())));
        assert_eq!(tempo(20.0), Some((Time::millis(3000), "20".into())));
        assert_eq!(tempo(300.0), Some((Time::millis(200), "300".into())));
        for beats in [19.9, 300.1, 0.0, -60.0, f64::NAN, f64::INFINITY] {
            assert_eq!(tempo(beats), None, "{beats}");
        }
        for beats in 20..=300 {
            let tempo = Tempo::per_minute(f64::from(beats)).expect("within bounds");
            assert_eq!(tempo.to_string(), beats.to_string());
        }
    }

    /// Common practice, no source.
    #[test]
    fn three_eighths_are_a_beat_of_a_compound_meter() {
        let beats = |text: &str| text.parse::<Meter>().map(|m| (m.beats(), m.note()));
        assert_eq!(beats("3/4"), Ok((3, BeatNote::Quarter)));
        assert_eq!(beats("6/4"), Ok((6, BeatNote::Quarter)));
        assert_eq!(beats("5/8"), Ok((5, BeatNote::Eighth)));
        assert_eq!(beats("3/8"), Ok((3, BeatNote::Eighth)));
        assert_eq!(beats("6/8"), Ok((2, BeatNote::DottedQuarter)));
        assert_eq!(beats("12/8"), Ok((4, BeatNote::DottedQuarter)));
        for text in [
            "", "4", "4/", "/4", "0/4", "16/4", "4/2", "4/16", "+4/4", "a/b", "4/4/4", "256/4",
        ] {
            assert_eq!(beats(text), Err(NoMeter), "{text}");
        }
        for count in 1..=Meter::LARGEST {
            for unit in [4, 8] {
                let meter = Meter::new(count, unit).expect("one");
                assert_eq!(meter.to_string().parse(), Ok(meter));
            }
        }
    }

    #[test]
    fn a_downbeat_is_known_from_any_other() {
        let click = Click {
            tempo: Tempo::of_beat(Time(10_000)).expect("one"),
            meter: Meter::COMMON,
            from: Time(90_000),
        };
        for (at, downbeat) in [
            (9_999, 10_000),
            (10_000, 10_000),
            (89_999, 50_000),
            (90_001, 90_000),
            (130_000, 130_000),
        ] {
            assert_eq!(click.downbeat(Time(at)), Time(downbeat), "{at}");
        }
        for (start, from) in [
            (0, 90_000),
            (90_000, 0),
            (95_000, 35_000),
            (131_000, 39_000),
        ] {
            assert_eq!(click.since(Time(start)).from, Time(from), "{start}");
        }
    }
}
