//! Bars and beats of a file: its time signatures and tempos on the line of time.

use super::clock::DEFAULT_TEMPO;
use crate::time::{TICKS_PER_SECOND, Time};

/// Where bars and beats fall. A beat is the written one, and three of them where the signature is
/// compound: 6/8 has two (common practice, no source).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bars {
    /// Ticks to the quarter.
    division: u16,
    /// Never empty.
    stretches: Vec<Stretch>,
}

/// Maximum number of stretches, so that memory is bounded.
const MOST: usize = 100_000;

/// One tempo and one signature. Ticks are those of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stretch {
    at: Time,
    tick: u64,
    /// Microseconds to the quarter.
    tempo: u32,
    signature: Signature,
    /// The bar that it begins in, and where that bar began.
    bar: u64,
    bar_tick: u64,
}

/// The meta event 58.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Signature {
    /// Above the line, at least 1.
    pub count: u8,
    /// Below the line, as a power of two.
    pub unit: u8,
}

impl Signature {
    /// How many beats a bar has.
    fn beats(self) -> u64 {
        match self.count {
            6 | 9 | 12 | 15 if self.unit >= 3 => u64::from(self.count / 3),
            count => u64::from(count.max(1)),
        }
    }

    /// Ticks of a bar, at least one a beat.
    fn bar(self, division: u16) -> u64 {
        let whole = 4 * u64::from(division);
        let unit = whole >> self.unit.min(6);
        (u64::from(self.count) * unit).max(self.beats())
    }
}

/// A place in the music.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarBeat {
    /// From 1.
    pub bar: u64,
    /// From 1, with what lies between beats as a fraction.
    pub beat: f64,
}

impl Bars {
    /// A file that begins with this signature, at `at` and `tick`.
    pub(super) fn begin(
        division: u16,
        (at, tick): (Time, u64),
        tempo: Option<u32>,
        signature: Signature,
    ) -> Bars {
        let tempo = tempo.unwrap_or(DEFAULT_TEMPO);
        let first = Stretch {
            at,
            tick,
            tempo,
            signature,
            bar: 1,
            bar_tick: tick,
        };
        Bars {
            division,
            stretches: vec![first],
        }
    }

    /// Another tempo from here on.
    pub(super) fn tempo(&mut self, (at, tick): (Time, u64), tempo: u32) {
        let last = self.last();
        let length = last.signature.bar(self.division);
        let passed = tick.saturating_sub(last.bar_tick) / length;
        self.push(Stretch {
            at,
            tick,
            tempo,
            bar: last.bar + passed,
            bar_tick: last.bar_tick + passed * length,
            ..last
        });
    }

    /// Another signature from here on: a bar begins.
    pub(super) fn signature(&mut self, (at, tick): (Time, u64), signature: Signature) {
        let last = self.last();
        let length = last.signature.bar(self.division);
        let passed = tick.saturating_sub(last.bar_tick).div_ceil(length);
        self.push(Stretch {
            at,
            tick,
            signature,
            bar: last.bar + passed,
            bar_tick: tick,
            ..last
        });
    }

    /// Beyond [`MOST`] further changes are ignored.
    fn push(&mut self, stretch: Stretch) {
        self.stretches.pop_if(|last| last.tick >= stretch.tick);
        if self.stretches.len() < MOST {
            self.stretches.push(stretch);
        }
    }

    fn last(&self) -> Stretch {
        self.stretches[self.stretches.len() - 1]
    }

    /// The stretch of a moment, and when the next begins.
    fn stretch(&self, at: Time) -> (Stretch, Option<Time>) {
        let after = self.stretches.partition_point(|s| s.at <= at).max(1);
        let next = self.stretches.get(after).map(|s| s.at);
        (self.stretches[after - 1], next)
    }

    /// Our ticks to a beat of a stretch.
    fn beat(&self, s: &Stretch) -> f64 {
        let ticks = s.signature.bar(self.division) as f64 / s.signature.beats() as f64;
        let quarter = f64::from(s.tempo) * TICKS_PER_SECOND as f64 / 1e6;
        ticks * quarter / f64::from(self.division)
    }

    /// How many beats after the beginning of its first bar a stretch begins.
    fn into(&self, s: &Stretch) -> f64 {
        let ticks = s.signature.bar(self.division) as f64 / s.signature.beats() as f64;
        (s.tick - s.bar_tick) as f64 / ticks
    }

    /// Where a moment lies; what comes before the first signature counts in the first bar.
    pub fn place(&self, at: Time) -> BarBeat {
        let (s, _) = self.stretch(at);
        let beats = self.into(&s) + at.since(s.at).0 as f64 / self.beat(&s);
        // Rounded, so that an error of less than a tick does not put a moment into the beat
        // before.
        let beats = (beats * 1e4).round() / 1e4;
        let whole = s.signature.beats();
        let bars = (beats / whole as f64).floor();
        BarBeat {
            bar: s.bar + bars as u64,
            beat: beats - bars * whole as f64 + 1.0,
        }
    }

    /// When the nearest beat is.
    pub fn nearest(&self, at: Time) -> Time {
        let (s, next) = self.stretch(at);
        let (beat, into) = (self.beat(&s), self.into(&s));
        let beats = (into + at.since(s.at).0 as f64 / beat).round();
        let time = s.at + Time(((beats - into).max(0.0) * beat).round() as u64);
        next.map_or(time, |next| time.min(next))
    }

    /// How many beats the bar of a moment has.
    pub fn beats(&self, at: Time) -> u64 {
        self.stretch(at).0.signature.beats()
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::*;
    use super::*;

    fn place(bars: &Bars, ms: u64) -> (u64, f64) {
        let place = bars.place(Time::millis(ms));
        (place.bar, place.beat)
    }

    fn bars(content: &[u8]) -> Option<Bars> {
        read_all(&file(0, 96, &[ended(content)])).bars
    }

    /// FF 58 04 nn dd cc bb: nn over 2^dd (Standard MIDI Files 1.0).
    #[test]
    fn three_quarters_to_a_bar_at_the_default_tempo() {
        let waltz = [0x00, 0xff, 0x58, 0x04, 3, 2, 24, 8, 0x00, 0x90, 60, 64];
        let bars = bars(&waltz).expect("a signature");
        assert_eq!(place(&bars, 0), (1, 1.0));
        assert_eq!(place(&bars, 750), (1, 2.5));
        assert_eq!(place(&bars, 1500), (2, 1.0));
        assert_eq!(place(&bars, 4000), (3, 3.0));
        assert_eq!(bars.nearest(Time::millis(1690)), Time::millis(1500));
        assert_eq!(bars.nearest(Time::millis(1800)), Time::millis(2000));
        assert_eq!(bars.beats(Time::millis(9000)), 3);
    }

    #[test]
    fn a_tempo_and_a_signature_change_what_follows() {
        let content = [
            &[0x00, 0xff, 0x58, 0x04, 4, 2, 24, 8][..],
            // After a quarter at 120 quarters last a second.
            &[0x60, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40],
            // At the second bar 6/8, two beats of three eighths.
            &[0x82, 0x20, 0xff, 0x58, 0x04, 6, 3, 36, 8],
            &[0x00, 0x90, 60, 64],
        ]
        .concat();
        let bars = bars(&content).expect("a signature");
        assert_eq!(place(&bars, 500), (1, 2.0));
        assert_eq!(place(&bars, 2500), (1, 4.0));
        assert_eq!(place(&bars, 3500), (2, 1.0));
        assert_eq!(place(&bars, 5000), (2, 2.0));
        assert_eq!(place(&bars, 6500), (3, 1.0));
        assert_eq!(bars.nearest(Time::millis(3400)), Time::millis(3500));
        assert_eq!(bars.beats(Time::millis(6000)), 2);
    }

    #[test]
    fn without_a_signature_there_are_no_bars() {
        assert_eq!(bars(&[0x00, 0x90, 60, 64]), None);
        // Nor with frames instead of quarters, nor with nothing above the line.
        let waltz = [0x00, 0xff, 0x58, 0x04, 3, 2, 24, 8, 0x00, 0x90, 60, 64];
        assert_eq!(read_all(&file(0, 0xe728, &[ended(&waltz)])).bars, None);
        let nothing = [0x00, 0xff, 0x58, 0x04, 0, 2, 24, 8, 0x00, 0x90, 60, 64];
        assert_eq!(bars(&nothing), None);
    }
}
