//! The time signatures and tempos of a file, and the bars that come of them.

use super::clock::DEFAULT_TEMPO;
use crate::meter::{Bars, Grid};
use crate::time::{TICKS_PER_SECOND, Time};

/// Gathers what says where bars and beats fall. A beat is the written one, and three of them where
/// the signature is compound: 6/8 has two (common practice, no source).
pub(super) struct Signatures {
    /// Ticks to the quarter.
    division: u16,
    last: Stretch,
    bars: Bars,
}

/// One tempo and one signature. Ticks are those of the file.
#[derive(Clone, Copy)]
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

impl Signatures {
    /// A file that begins with this signature, at `at` and `tick`.
    pub fn begin(
        division: u16,
        (at, tick): (Time, u64),
        tempo: Option<u32>,
        signature: Signature,
    ) -> Signatures {
        let first = Stretch {
            at,
            tick,
            tempo: tempo.unwrap_or(DEFAULT_TEMPO),
            signature,
            bar: 1,
            bar_tick: tick,
        };
        let mut signatures = Signatures {
            division,
            last: first,
            bars: Bars::default(),
        };
        signatures.push(first);
        signatures
    }

    /// Another tempo from here on.
    pub fn tempo(&mut self, (at, tick): (Time, u64), tempo: u32) {
        let last = self.last;
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
    pub fn signature(&mut self, (at, tick): (Time, u64), signature: Signature) {
        let last = self.last;
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

    /// The bars that come of them.
    pub fn bars(self) -> Bars {
        self.bars
    }

    fn push(&mut self, stretch: Stretch) {
        self.last = stretch;
        let beats = stretch.signature.beats();
        let ticks = stretch.signature.bar(self.division) as f64 / beats as f64;
        let quarter = f64::from(stretch.tempo) * TICKS_PER_SECOND as f64 / 1e6;
        let beat = ticks * quarter / f64::from(self.division);
        let into = (stretch.tick - stretch.bar_tick) as f64 / ticks;
        let grid = Grid::new(beat, beats, stretch.bar, into);
        self.bars.push(stretch.at, Some(grid));
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::*;
    use super::*;

    fn place(bars: &Bars, ms: u64) -> (u64, f64) {
        let place = bars.place(Time::millis(ms)).expect("bars");
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
        assert_eq!(bars.nearest(Time::millis(1690)), Some(Time::millis(1500)));
        assert_eq!(bars.nearest(Time::millis(1800)), Some(Time::millis(2000)));
        assert_eq!(bars.beats(Time::millis(9000)), Some(3));
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
        assert_eq!(bars.nearest(Time::millis(3400)), Some(Time::millis(3500)));
        assert_eq!(bars.beats(Time::millis(6000)), Some(2));
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
