//! A tempo that is tapped.

use super::{Click, Meter, Tempo, TypedClick};
use crate::time::Time;

/// The click in force, and the taps that may give another. Time comes from its caller.
#[derive(Clone, Debug, PartialEq)]
pub struct Tap {
    /// Of a click that is tapped.
    meter: Meter,
    click: Option<Click>,
    /// The latest of the series, in order.
    taps: Vec<Time>,
    /// How many of the series came before these.
    before: u64,
}

/// A series of taps is over after this long without one.
const SERIES: Time = Time::millis(2000);
/// Maximum number of taps that a tempo is made of: with older ones it would lag behind.
const MOST: usize = 8;

impl Tap {
    /// Nothing is in force; what will be tapped has this meter.
    pub fn new(meter: Meter) -> Tap {
        Tap {
            meter,
            click: None,
            taps: Vec::with_capacity(MOST + 1),
            before: 0,
        }
    }

    /// The click in force.
    pub fn click(&self) -> Option<Click> {
        self.click
    }

    /// A tap: the click that it gives, if any. The first of a series is a downbeat of the click in
    /// force; from the second on there is a tempo. What comes sooner than the fastest beat after
    /// another is no tap, but a switch that bounces.
    pub fn at(&mut self, at: Time) -> Option<Click> {
        if let Some(&last) = self.taps.last() {
            match at.since(last) {
                soon if soon < Tempo::SHORTEST_BEAT => return None,
                late if late > SERIES => self.end_series(),
                _ => {}
            }
        }
        self.taps.push(at);
        if self.taps.len() > MOST {
            self.taps.remove(0);
            self.before += 1;
        }
        let given = match self.taps.len() {
            1 => self.click.map(|click| Click { from: at, ..click }),
            _ => self.tapped(),
        };
        self.click = given.or(self.click);
        given
    }

    /// What the player types at a moment. A new tempo or meter keeps the latest downbeat.
    pub fn typed(&mut self, at: Time, typed: TypedClick) {
        self.end_series();
        let TypedClick::Set { tempo, meter } = typed else {
            self.click = None;
            return;
        };
        self.meter = meter.unwrap_or(self.meter);
        let before = self.click;
        let tempo = tempo.or(before.map(|click| click.tempo));
        self.click = tempo.map(|tempo| Click {
            tempo,
            meter: self.meter,
            from: before.map_or(at, |click| click.downbeat(at)),
        });
    }

    /// This click is in force from now on.
    pub fn set(&mut self, click: Click) {
        self.end_series();
        self.meter = click.meter;
        self.click = Some(click);
    }

    fn end_series(&mut self) {
        self.taps.clear();
        self.before = 0;
    }

    /// The line through the taps, by their number, that a tap or two amiss hardly moves: its slope
    /// is the median of the slopes between any two, its place the median of theirs. (The estimator
    /// of Theil, 1950, and Sen, 1968; from memory.)
    fn tapped(&self) -> Option<Click> {
        let taps: Vec<(i64, i64)> = (self.before as i64..)
            .zip(self.taps.iter().map(|t| t.0 as i64))
            .collect();
        let mut slopes = Vec::new();
        for (i, (n, from)) in taps.iter().enumerate() {
            for (m, to) in &taps[i + 1..] {
                // Rounded to the tick.
                slopes.push((2 * (to - from) + (m - n)).div_euclid(2 * (m - n)));
            }
        }
        let beat = median(slopes)?;
        let first = median(taps.iter().map(|(n, at)| at - n * beat).collect())?;
        let beats = i64::from(self.meter.beats());
        let (last, _) = taps.last()?;
        let from = first + last / beats * beats * beat;
        Some(Click {
            tempo: Tempo::of_beat(Time(u64::try_from(beat).ok()?))?,
            meter: self.meter,
            from: Time(u64::try_from(from).unwrap_or_default()),
        })
    }
}

/// Of an even number the lower of the two in the middle.
fn median(mut of: Vec<i64>) -> Option<i64> {
    of.sort_unstable();
    of.get(of.len().checked_sub(1)? / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tap(ms: &[u64]) -> (Tap, Vec<Option<(String, u64)>>) {
        let mut tap = Tap::new(Meter::COMMON);
        let given = ms.iter().map(|&ms| {
            let click = tap.at(Time::millis(ms))?;
            Some((click.tempo.to_string(), click.from.0 / 50))
        });
        let given = given.collect();
        (tap, given)
    }

    #[test]
    fn the_second_tap_gives_a_tempo_and_the_first_is_one() {
        let (tap, given) = tap(&[1000, 1500, 2000, 2500, 3000, 3500]);
        let click = |from| Some(("120".to_owned(), from));
        let expected = [
            None,
            click(1000),
            click(1000),
            click(1000),
            click(3000),
            click(3000),
        ];
        assert_eq!(given, expected);
        assert_eq!(tap.click().map(Click::bar), Some(Time::millis(2000)));
    }

    #[test]
    fn a_tap_that_is_late_changes_little() {
        // The last one, and one in the middle.
        let (_, given) = tap(&[0, 500, 1000, 1500, 2080]);
        assert_eq!(given[4].as_ref().map(|g| &*g.0), Some("120"));
        let (_, given) = tap(&[0, 500, 1080, 1500, 2000]);
        assert_eq!(given[4], Some(("120".into(), 2000)));
    }

    #[test]
    fn after_two_seconds_a_series_begins() {
        let (_, given) = tap(&[0, 2000, 4001, 4501]);
        let click = |tempo: &str, from| Some((tempo.to_owned(), from));
        // A tap alone says that one is here, and keeps the tempo.
        assert_eq!(
            given,
            [None, click("30", 0), click("30", 4001), click("120", 4001)]
        );
    }

    #[test]
    fn a_switch_that_bounces_is_one_tap() {
        let (_, given) = tap(&[0, 15, 500, 520, 1000]);
        let click = Some(("120".to_owned(), 0));
        assert_eq!(given, [None, None, click.clone(), None, click]);
        // Nor does time that goes back count.
        let (_, given) = tap(&[1000, 500, 1500]);
        assert_eq!(given[1], None);
    }

    /// The series may become quicker or slower without a pause.
    #[test]
    fn the_latest_taps_count() {
        let slow = (0..10).map(|i| 600 * i);
        let quick = (1..=12).map(|i| 5400 + 500 * i);
        let all: Vec<u64> = slow.chain(quick).collect();
        let (_, given) = tap(&all);
        assert_eq!(given[9].as_ref().map(|g| &*g.0), Some("100"));
        assert_eq!(given[21].as_ref().map(|g| &*g.0), Some("120"));
    }

    #[test]
    fn what_is_typed_keeps_the_downbeat() {
        let (mut tap, _) = tap(&[1000, 1500]);
        let at = Time::millis(4000);
        let from = |tap: &Tap| tap.click().map(|c| c.from);
        tap.typed(at, "6/8".parse().expect("a meter"));
        let text = |tap: &Tap| tap.click().map(|c| format!("{} {}", c.tempo, c.meter));
        assert_eq!(text(&tap).as_deref(), Some("120 6/8"));
        assert_eq!(from(&tap), Some(Time::millis(3000)));
        tap.typed(at, "90 3/4".parse().expect("both"));
        assert_eq!(text(&tap).as_deref(), Some("90 3/4"));
        assert_eq!(from(&tap), Some(at));
        tap.typed(at, TypedClick::End);
        assert_eq!(tap.click(), None);
        // A meter alone is that of what will be tapped.
        tap.typed(at, "5/4".parse().expect("a meter"));
        assert_eq!(tap.click(), None);
        tap.typed(at, "60".parse().expect("a tempo"));
        assert_eq!(text(&tap).as_deref(), Some("60 5/4"));
        assert_eq!(from(&tap), Some(at));
    }

    proptest! {
        /// Taps at another time give the same click at that time.
        #[test]
        fn time_shift(
            distances in prop::collection::vec(0u64..120_000, 1..30),
            by in 0u64..10_000_000_000,
            count in 1u8..=15,
        ) {
            let meter = Meter::new(count, 4).expect("a meter");
            let (mut here, mut there) = (Tap::new(meter), Tap::new(meter));
            // Late enough for a downbeat before the first tap.
            let mut at = Time(3_000_000);
            for distance in distances {
                at += Time(distance);
                let moved = here.at(at).map(|c| Click { from: c.from + Time(by), ..c });
                prop_assert_eq!(there.at(at + Time(by)), moved);
            }
        }

        /// Steady taps, each a little off: the tempo is near, and so is every downbeat.
        #[test]
        fn a_hand_is_not_exact(
            beat in 15_000u64..90_000,
            off in prop::collection::vec(0u64..1_000, 8..24),
        ) {
            let mut tap = Tap::new(Meter::COMMON);
            let mut last = None;
            for (i, off) in (0..).zip(&off) {
                last = tap.at(Time(1_000_000 + i * beat + off)).or(last);
            }
            let click = last.expect("a tempo");
            prop_assert!(click.tempo.beat().0.abs_diff(beat) <= 300, "{:?}", click);
            let bar = 4 * beat;
            let off = (click.from.0 - 1_000_000) % bar;
            prop_assert!(off <= 1_300 || bar - off <= 300, "{:?}", click);
        }
    }
}
