//! Ticks to time.

use super::header::Timing;
use super::limits::LONGEST;
use crate::time::{TICKS_PER_SECOND, Time};

/// Ticks to time, exactly: elapsed time is a whole number of `1/unit` ticks of ours, and only what
/// is handed out is rounded, so that it does not drift.
pub(super) struct Clock {
    timing: Timing,
    tempo: u32,
    tick: u64,
    elapsed: u128,
    unit: u128,
    now: Time,
}

/// Microseconds to the quarter where the file says nothing: 120 quarters a minute (Standard MIDI
/// Files 1.0).
pub(super) const DEFAULT_TEMPO: u32 = 500_000;

impl Clock {
    pub fn new(timing: Timing) -> Clock {
        let microseconds = 1_000_000 / TICKS_PER_SECOND;
        let unit = match timing {
            Timing::Quarter(division) => u128::from(division) * u128::from(microseconds),
            Timing::Frames { per_second, ticks } => u128::from(per_second.0) * u128::from(ticks),
        };
        Clock {
            timing,
            tempo: DEFAULT_TEMPO,
            tick: 0,
            elapsed: 0,
            unit,
            now: Time::ZERO,
        }
    }

    /// The next pattern of a file of type 2 begins here.
    pub fn restart(&mut self) {
        (self.tick, self.tempo) = (0, DEFAULT_TEMPO);
    }

    /// From here on a quarter takes `tempo` microseconds.
    pub fn set_tempo(&mut self, tempo: u32) {
        self.tempo = tempo;
    }

    /// Goes on to `tick`, which must not be earlier, and says when that is; none if it is beyond
    /// [`LONGEST`].
    pub fn at(&mut self, tick: u64) -> Option<Time> {
        if tick > self.tick {
            let each = match self.timing {
                Timing::Quarter(_) => u64::from(self.tempo),
                Timing::Frames { per_second, .. } => TICKS_PER_SECOND * per_second.1,
            };
            let span = u128::from(tick - self.tick) * u128::from(each);
            self.elapsed = self.elapsed.saturating_add(span);
            self.tick = tick;
            let rounded = self.elapsed.saturating_add(self.unit / 2) / self.unit;
            self.now = Time(u64::try_from(rounded).unwrap_or(u64::MAX));
        }
        (self.now <= LONGEST).then_some(self.now)
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::event::Event;
    use super::super::testing::*;
    use super::*;
    use crate::midi::Timed;
    use proptest::prelude::*;

    #[test]
    fn a_tempo_in_any_track_moves_all() {
        // After one quarter at 120 the tempo halves: the second quarter takes 1 s.
        let notes = [0x60, 0x90, 0x3c, 0x40, 0x60, 0x80, 0x3c, 0x40];
        let tempo = [0x60, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40];
        let bytes = file(1, 96, &[ended(&notes), ended(&tempo)]);
        assert_eq!(
            events(&bytes),
            [(25_000, ON(0, 60, 64)), (75_000, OFF(0, 60))]
        );
    }

    /// SMPTE division: E7 28 is 25 frames of 40, milliseconds (common practice, no source);
    /// 29 stands for 30000/1001 frames a second.
    #[test]
    fn frames() {
        let content = [0x87, 0x68, 0x90, 0x3c, 0x40]; // after 1000 ticks
        let at = |division| events(&file(0, division, &[ended(&content)]))[0].0;
        assert_eq!(at(0xe728), 50_000);
        assert_eq!(at(0xe20a), 166_667); // 100 frames of 30
        assert_eq!(at(0xe30a), 166_833); // 100 * 1001/30000 s = 3.336667 s
        assert_eq!(at(0xe80a), 208_333); // 100 frames of 24
        // The tempo does not count.
        let tempo = [&[0x00, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40][..], &content].concat();
        assert_eq!(events(&file(0, 0xe728, &[ended(&tempo)]))[0].0, 50_000);
        assert_eq!(
            faults(&file(0, 0xec0a, &[ended(&[])])),
            [
                "byte 12: 20 frames a second is none of 24, 25, 29.97 and 30; it is used as it stands"
            ]
        );
    }

    /// A track of notes at given ticks, with its tempo changes.
    fn tempo_file(division: u16, steps: &[(u32, Option<u32>)]) -> Vec<u8> {
        let mut content = Vec::new();
        for (delta, tempo) in steps {
            for shift in [21, 14, 7] {
                content.push((delta >> shift) as u8 & 0x7f | 0x80);
            }
            content.push(*delta as u8 & 0x7f);
            match tempo {
                Some(tempo) => {
                    content.extend([0xff, 0x51, 0x03]);
                    content.extend(&tempo.to_be_bytes()[1..]);
                }
                None => content.extend([0x90, 60, 64]),
            }
        }
        file(0, division, &[ended(&content)])
    }

    /// Notes and tempo changes, given as ticks since the one before, come at the times that
    /// plain arithmetic finds.
    fn agrees(division: u16, steps: &[(u32, Option<u32>)]) -> Result<(), TestCaseError> {
        let performance = read_all(&tempo_file(division, steps));
        let (mut seconds, mut tempo) = (0.0, 500_000.0);
        let mut expected = Vec::new();
        for (delta, change) in steps {
            seconds += f64::from(*delta) * tempo / f64::from(division) / 1e6;
            match change {
                Some(change) => tempo = f64::from(*change),
                None => expected.push(seconds),
            }
        }
        // What is later than that is left out; what sounds there is let go.
        let longest = LONGEST.seconds();
        let most = expected.iter().filter(|s| **s < longest + 1e-3).count();
        let least = expected.iter().filter(|s| **s < longest - 1e-3).count();
        let all = performance.events.iter();
        let notes = all.filter(|t| matches!(t.event, Event::NoteOn { .. }));
        let notes: Vec<_> = notes.collect();
        prop_assert!((least..=most).contains(&notes.len()));
        for (timed, seconds) in notes.into_iter().zip(expected) {
            // Half a tick of rounding, and the reference's own error.
            let tolerance = 0.500_001 / TICKS_PER_SECOND as f64 + seconds * 1e-12;
            prop_assert!((timed.at.seconds() - seconds).abs() <= tolerance);
        }
        Ok(())
    }

    /// A third note at the latest moment of all, and a second later than that.
    #[test]
    fn what_is_later_than_the_longest_is_left_out() {
        let steps = [
            (0, None),
            (4, None),
            (0, Some(1_000_000)),
            (3_599_998, None),
        ];
        agrees(1, &steps).unwrap();
        let late = [&steps[..3], &[(3_599_999, None)]].concat();
        agrees(1, &late).unwrap();
        assert_eq!(read_all(&tempo_file(1, &steps)).events.len(), 3);
        let events = read_all(&tempo_file(1, &late)).events;
        assert_eq!(
            events.last(),
            Some(&Timed {
                at: Time::millis(2000),
                event: OFF(0, 60)
            })
        );
    }

    proptest! {
        #[test]
        fn tempo_maps_agree_with_a_plain_reference(
            division in 1u16..0x8000,
            steps in prop::collection::vec(
                (0u32..200_000, prop::option::of(1u32..5_000_000)),
                1..60,
            ),
        ) {
            agrees(division, &steps)?;
        }
    }
}
