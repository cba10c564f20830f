//! Where bars and beats fall: what a file's signatures and tempos say, or clicks.

use super::{Click, Meter};
use crate::time::Time;

/// Where bars and beats fall, stretch by stretch. There may be stretches without any.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bars {
    /// In order; before the first it is as in the first.
    stretches: Vec<Stretch>,
}

/// Maximum number of stretches, so that memory is bounded.
const MOST: usize = 100_000;

#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    at: Time,
    grid: Option<Grid>,
}

/// One tempo and one meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Ticks to a beat.
    pub beat: f64,
    /// Beats to a bar.
    pub beats: u64,
    /// The bar that it begins in, and how many beats after that bar's beginning.
    pub bar: u64,
    pub into: f64,
    /// Of a click.
    meter: Option<Meter>,
    /// Nothing lies before this place, so that places never go back where a bar line moves.
    least: BarBeat,
}

/// A place in the music.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct BarBeat {
    /// From 1.
    pub bar: u64,
    /// From 1, with what lies between beats as a fraction.
    pub beat: f64,
}

impl BarBeat {
    const FIRST: BarBeat = BarBeat { bar: 1, beat: 1.0 };
}

/// Where a bar begins, or bars end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    pub at: Time,
    /// The meter of the bar, and the ticks of a beat; none: bars end here.
    pub bar: Option<(Meter, f64)>,
}

impl Grid {
    pub fn new(beat: f64, beats: u64, bar: u64, into: f64) -> Grid {
        Grid {
            beat,
            beats,
            bar,
            into,
            meter: None,
            least: BarBeat::FIRST,
        }
    }

    /// Beats since the beginning of the first bar, of a moment so long after the grid's beginning.
    fn position(&self, since: Time) -> f64 {
        let beats = self.into + since.0 as f64 / self.beat;
        // Rounded, so that an error of less than a tick does not put a moment into the beat
        // before.
        (beats * 1e4).round() / 1e4
    }

    /// The bar of a position, and how many beats after that bar's beginning.
    fn bar(&self, position: f64) -> (u64, f64) {
        let bars = (position / self.beats as f64).floor();
        let bar = self.bar.saturating_add_signed(bars as i64);
        (bar, position - bars * self.beats as f64)
    }

    fn place(&self, since: Time) -> BarBeat {
        let (bar, into) = self.bar(self.position(since));
        let beat = into + 1.0;
        let place = BarBeat { bar, beat };
        match place < self.least {
            true => self.least,
            false => place,
        }
    }
}

impl Bars {
    /// A grid from here on, or none. Beyond the maximum number further changes are ignored.
    pub fn push(&mut self, at: Time, grid: Option<Grid>) {
        self.stretches.pop_if(|last| last.at >= at);
        if self.stretches.len() < MOST {
            self.stretches.push(Stretch { at, grid });
        }
    }

    /// Clicks, each from its moment on, in order.
    pub fn of_clicks(clicks: impl IntoIterator<Item = (Time, Option<Click>)>) -> Bars {
        let mut bars = Bars::default();
        for (at, click) in clicks {
            bars.click(at, click);
        }
        bars
    }

    /// A click from here on, or none; times never go back.
    ///
    /// Bars go on counting. A new downbeat begins the next bar, and the bar before it may be
    /// short; one less than half a beat after a bar line is that bar line, moved. The first click
    /// reaches back to its downbeat.
    pub fn click(&mut self, at: Time, click: Option<Click>) {
        let at = self.stretches.last().map_or(at, |last| at.max(last.at));
        // Of two at one moment the second counts.
        self.stretches.pop_if(|last| last.at == at);
        let last = self.stretches.last().copied();
        let Some(click) = click else {
            if last.is_some_and(|last| last.grid.is_some()) {
                self.push(at, None);
            }
            return;
        };
        let beat = click.tempo.beat().0 as f64;
        let half = beat / 2.0;
        // The latest downbeat before a moment, also before all time.
        let downbeat = |before: f64| {
            let bar = click.bar().0 as f64;
            before - (before - click.from.0 as f64).rem_euclid(bar)
        };
        let (start, line, bar, least) = match last {
            Some(Stretch {
                at: since,
                grid: Some(old),
            }) => {
                let (bar, into) = old.bar(old.position(at.since(since)));
                let old_line = at.0 as f64 - into * old.beat;
                let line = downbeat(at.0 as f64 + half);
                let next = line > old_line + half.min(old.beat / 2.0);
                let within = since.0 as f64..at.0 as f64;
                let start = match next && line > within.start && within.contains(&line) {
                    true => Time(line as u64),
                    false => at,
                };
                let least = old.place(start.since(since));
                (start, line, bar + u64::from(next), least)
            }
            none => {
                let earliest = none.map_or(Time::ZERO, |none| none.at);
                let start = match click.from <= at {
                    true => click.downbeat(at).max(earliest),
                    false => at,
                };
                let bar = self.bars_until(earliest) + 1;
                let line = downbeat(start.0 as f64 + half);
                if none.is_none() && start > Time::ZERO {
                    self.push(Time::ZERO, None);
                }
                (start, line, bar, BarBeat { bar, beat: 1.0 })
            }
        };
        let grid = Grid {
            meter: Some(click.meter),
            least,
            ..Grid::new(
                beat,
                click.meter.beats().into(),
                bar,
                (start.0 as f64 - line) / beat,
            )
        };
        self.push(start, Some(grid));
    }

    /// What holds from the last change on.
    pub fn latest(&self) -> Bars {
        let last = self.stretches.last().copied();
        Bars {
            stretches: last.into_iter().collect(),
        }
    }

    /// How many bars have begun before a moment.
    fn bars_until(&self, end: Time) -> u64 {
        let before = self.stretches.iter().rev();
        let mut before = before.filter(|s| s.at < end);
        let bar = before.find_map(|s| Some(s.grid?.place(end.since(s.at) - Time(1)).bar));
        bar.unwrap_or(0)
    }

    /// The stretch of a moment, and when the next begins.
    fn stretch(&self, at: Time) -> Option<(Time, Grid, Option<Time>)> {
        let after = self.stretches.partition_point(|s| s.at <= at).max(1);
        let next = self.stretches.get(after).map(|s| s.at);
        let stretch = self.stretches.get(after - 1)?;
        Some((stretch.at, stretch.grid?, next))
    }

    /// Where a moment lies; none where there are no bars. What comes before the first signature of
    /// a file counts in the first bar.
    pub fn place(&self, at: Time) -> Option<BarBeat> {
        let (since, grid, _) = self.stretch(at)?;
        Some(grid.place(at.since(since)))
    }

    /// When the nearest beat is; none where there are no bars.
    pub fn nearest(&self, at: Time) -> Option<Time> {
        let (since, grid, next) = self.stretch(at)?;
        let beats = (grid.into + at.since(since).0 as f64 / grid.beat).round();
        let time = since + Time(((beats - grid.into).max(0.0) * grid.beat).round() as u64);
        Some(next.map_or(time, |next| time.min(next)))
    }

    /// When the next beat after a moment begins; none where there are no bars.
    pub fn next_beat(&self, at: Time) -> Option<Time> {
        let (since, grid, next) = self.stretch(at)?;
        let beats = grid.position(at.since(since)).floor() + 1.0;
        let ticks = ((beats - grid.into) * grid.beat).round() as u64;
        let time = (since + Time(ticks)).max(at + Time(1));
        Some(next.map_or(time, |next| time.min(next)))
    }

    /// How many beats the bar of a moment has; none where there are no bars.
    pub fn beats(&self, at: Time) -> Option<u64> {
        Some(self.stretch(at)?.1.beats)
    }

    /// The first moment after `at` from which there are no bars.
    pub fn stop(&self, at: Time) -> Option<Time> {
        let after = self.stretches.partition_point(|s| s.at <= at);
        let mut rest = self.stretches[after..].iter();
        Some(rest.find(|s| s.grid.is_none())?.at)
    }

    /// The bar lines of clicks before `end`, in order, and where bars end.
    pub fn lines(&self, end: Time) -> impl Iterator<Item = Line> + '_ {
        let mut drawn = 0;
        let stretches = self.stretches.iter().enumerate();
        let stretches = stretches.take_while(move |(_, s)| s.at < end);
        stretches.flat_map(move |(i, stretch)| {
            let next = self.stretches.get(i + 1).map_or(end, |s| s.at.min(end));
            let grid = stretch.grid;
            let meter = grid.and_then(|grid| Some((grid.meter?, grid.beat)));
            let before = drawn;
            // The bar that the stretch begins in, those after it, and how many lines there are.
            let first = grid.map_or(0, |grid| grid.place(Time::ZERO).bar);
            // Exact to half a tick: a place is rounded, and may be that of the bar behind.
            let last = grid.map_or(0, |grid| {
                let length = next.since(stretch.at).0 as f64 - 0.5;
                let bars = (grid.into + length / grid.beat) / grid.beats as f64;
                let last = grid.bar.saturating_add_signed(bars.ceil() as i64 - 1);
                last.max(first)
            });
            drawn = drawn.max(last);
            let end_of_bars = Line {
                at: stretch.at,
                bar: None,
            };
            let numbers = (before + 1).max(first)..=last;
            let lines = numbers.filter_map(move |bar| {
                let grid = grid?;
                if bar == first {
                    return Some(Line {
                        at: stretch.at,
                        bar: meter,
                    });
                }
                let bars = bar as f64 - grid.bar as f64;
                let ticks = (bars * grid.beats as f64 - grid.into) * grid.beat;
                let at = stretch.at + Time(ticks.round().max(0.0) as u64);
                // The stretch may end right where a bar does.
                let at = at.min(next - Time(1)).max(stretch.at);
                Some(Line { at, bar: meter })
            });
            let over = (grid.is_none() && before > 0).then_some(end_of_bars);
            over.into_iter().chain(lines)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Tap, Tempo};
    use super::*;
    use proptest::prelude::*;

    fn click(per_minute: f64, meter: &str, ms: u64) -> Option<Click> {
        Some(Click {
            tempo: Tempo::per_minute(per_minute).expect("a tempo"),
            meter: meter.parse().expect("a meter"),
            from: Time::millis(ms),
        })
    }

    fn of(clicks: &[(u64, Option<Click>)]) -> Bars {
        Bars::of_clicks(clicks.iter().map(|&(ms, click)| (Time::millis(ms), click)))
    }

    fn place(bars: &Bars, ms: u64) -> Option<(u64, f64)> {
        let place = bars.place(Time::millis(ms))?;
        Some((place.bar, (place.beat * 1e6).round() / 1e6))
    }

    fn lines(bars: &Bars, end: u64) -> Vec<(u64, Option<String>)> {
        let lines = bars.lines(Time::millis(end));
        lines
            .map(|line| (line.at.0 / 50, line.bar.map(|(meter, _)| meter.to_string())))
            .collect()
    }

    #[test]
    fn the_first_click_reaches_back_to_its_downbeat() {
        let bars = of(&[(1500, click(120.0, "4/4", 1000))]);
        assert_eq!(place(&bars, 999), None);
        assert_eq!(place(&bars, 1000), Some((1, 1.0)));
        assert_eq!(place(&bars, 1750), Some((1, 2.5)));
        assert_eq!(place(&bars, 3000), Some((2, 1.0)));
        assert_eq!(bars.nearest(Time::millis(900)), None);
        assert_eq!(bars.nearest(Time::millis(1800)), Some(Time::millis(2000)));
        assert_eq!(bars.next_beat(Time::millis(1500)), Some(Time::millis(2000)));
        assert_eq!(bars.beats(Time::millis(1500)), Some(4));
        let four = |at| (at, Some("4/4".to_owned()));
        assert_eq!(lines(&bars, 5001), [four(1000), four(3000), four(5000)]);
    }

    /// In a time that begins with the first note the downbeat may lie ahead.
    #[test]
    fn a_beginning_within_a_bar() {
        let early = of(&[(0, click(120.0, "4/4", 20))]);
        assert_eq!(place(&early, 0), Some((1, 1.0)));
        assert_eq!(place(&early, 1020), Some((1, 3.0)));
        assert_eq!(place(&early, 2020), Some((2, 1.0)));
        assert_eq!(early.nearest(Time::ZERO), Some(Time::millis(20)));
        let upbeat = of(&[(0, click(120.0, "4/4", 500))]);
        assert_eq!(place(&upbeat, 0), Some((1, 4.0)));
        assert_eq!(place(&upbeat, 500), Some((2, 1.0)));
        let four = |at| (at, Some("4/4".to_owned()));
        assert_eq!(lines(&upbeat, 2000), [four(0), four(500)]);
    }

    #[test]
    fn one_in_the_middle_of_a_bar_begins_the_next() {
        let bars = of(&[
            (0, click(120.0, "4/4", 0)),
            (3000, click(120.0, "4/4", 3000)),
        ]);
        assert_eq!(place(&bars, 2900), Some((2, 2.8)));
        assert_eq!(place(&bars, 3000), Some((3, 1.0)));
        assert_eq!(place(&bars, 5000), Some((4, 1.0)));
        let four = |at| (at, Some("4/4".to_owned()));
        assert_eq!(lines(&bars, 4000), [four(0), four(2000), four(3000)]);
    }

    /// A little late: the bar line moves, and no place comes twice.
    #[test]
    fn a_bar_line_may_move() {
        let bars = of(&[
            (0, click(120.0, "4/4", 0)),
            (2100, click(120.0, "4/4", 2100)),
        ]);
        assert_eq!(place(&bars, 2050), Some((2, 1.1)));
        assert_eq!(place(&bars, 2120), Some((2, 1.2)));
        assert_eq!(place(&bars, 4090), Some((2, 4.98)));
        assert_eq!(place(&bars, 4100), Some((3, 1.0)));
        // A little early.
        let bars = of(&[
            (0, click(120.0, "4/4", 0)),
            (1900, click(120.0, "4/4", 1900)),
        ]);
        assert_eq!(place(&bars, 1899), Some((1, 4.798)));
        assert_eq!(place(&bars, 1900), Some((2, 1.0)));
        assert_eq!(place(&bars, 3900), Some((3, 1.0)));
    }

    #[test]
    fn another_meter_keeps_the_downbeat() {
        let bars = of(&[
            (0, click(120.0, "4/4", 0)),
            (1250, click(120.0, "2/4", 0)),
            (2250, click(80.0, "6/8", 2000)),
        ]);
        assert_eq!(place(&bars, 750), Some((1, 2.5)));
        assert_eq!(place(&bars, 1000), Some((2, 1.0)));
        assert_eq!(place(&bars, 2000), Some((3, 1.0)));
        assert_eq!(place(&bars, 2750), Some((3, 2.0)));
        assert_eq!(place(&bars, 3500), Some((4, 1.0)));
        let line = |at, meter: &str| (at, Some(meter.to_owned()));
        let expected = [
            line(0, "4/4"),
            line(1000, "2/4"),
            line(2000, "2/4"),
            line(3500, "6/8"),
        ];
        assert_eq!(lines(&bars, 4000), expected);
    }

    #[test]
    fn where_there_is_no_click_there_are_no_bars() {
        let bars = of(&[
            (0, None),
            (1000, click(120.0, "4/4", 1000)),
            (4000, None),
            (4500, None),
            (9000, click(60.0, "3/4", 9000)),
        ]);
        for ms in [0, 999, 4000, 8999] {
            assert_eq!(place(&bars, ms), None, "{ms}");
        }
        assert_eq!(place(&bars, 3999), Some((2, 2.998)));
        // Bars go on counting.
        assert_eq!(place(&bars, 9000), Some((3, 1.0)));
        assert_eq!(bars.stop(Time::millis(2000)), Some(Time::millis(4000)));
        assert_eq!(bars.stop(Time::millis(9000)), None);
        let line = |at, meter: Option<&str>| (at, meter.map(str::to_owned));
        let expected = [
            line(1000, Some("4/4")),
            line(3000, Some("4/4")),
            line(4000, None),
            line(9000, Some("3/4")),
        ];
        assert_eq!(lines(&bars, 10_000), expected);
        assert_eq!(Bars::default().place(Time::ZERO), None);
        assert_eq!(of(&[(5, None)]), Bars::default());
    }

    fn clicks() -> impl Strategy<Value = Vec<(Time, Option<Click>)>> {
        let beat = prop::sample::select(vec![10_000u64, 25_000, 31_250, 97_003, 150_000]);
        let click = (beat, 1u8..=15, prop::bool::ANY, 0u64..3_000_000).prop_map(
            |(beat, count, eighths, from)| Click {
                tempo: Tempo::of_beat(Time(beat)).expect("a tempo"),
                meter: Meter::new(count, if eighths { 8 } else { 4 }).expect("a meter"),
                from: Time(from),
            },
        );
        let step = (0u64..600_000, prop::option::weighted(0.9, click));
        prop::collection::vec(step, 1..12).prop_map(|steps| {
            let mut at = Time::ZERO;
            let mut next = |(delta, click)| {
                at += Time(delta);
                (at, click)
            };
            steps.into_iter().map(&mut next).collect()
        })
    }

    proptest! {
        /// Whatever clicks follow one another: no bar comes twice or is left out, no place goes
        /// back, and each bar begins on its line.
        #[test]
        fn places_go_on(clicks in clicks()) {
            let end = clicks.last().map_or(Time::ZERO, |c| c.0) + Time(400_000);
            let bars = Bars::of_clicks(clicks);
            let mut before: Option<BarBeat> = None;
            for at in (0..end.0).step_by(1_777) {
                let Some(place) = bars.place(Time(at)) else { continue };
                prop_assert!(place.bar >= 1 && place.beat >= 1.0, "{:?}", place);
                prop_assert!(place.beat < 16.0, "{:?}", place);
                if let Some(before) = before {
                    prop_assert!(place >= before, "{:?} {:?} at {}", before, place, at);
                }
                before = Some(place);
            }
            let lines: Vec<Line> = bars.lines(end).collect();
            prop_assert!(lines.is_sorted_by_key(|line| line.at), "{:?}", lines);
            let begun = lines.iter().filter(|line| line.bar.is_some());
            for (number, line) in (1..).zip(begun) {
                let place = bars.place(line.at).map(|p| p.bar);
                prop_assert_eq!(place, Some(number), "{:?}", lines);
            }
        }

        /// Clicks at another time give the same bars at that time.
        #[test]
        fn time_shift(clicks in clicks(), by in 1u64..100_000_000) {
            let moved = clicks.iter().map(|(at, click)| {
                let click = click.map(|c| Click { from: c.from + Time(by), ..c });
                (*at + Time(by), click)
            });
            let there = Bars::of_clicks(moved);
            let here = Bars::of_clicks(clicks.iter().copied());
            for at in (0..1_000_000).step_by(7_777) {
                prop_assert_eq!(there.place(Time(at + by)), here.place(Time(at)));
            }
        }

        /// What is tapped are beats.
        #[test]
        fn taps_are_beats(beat in 10_000u64..100_000, first in 0u64..1_000_000, taps in 2u64..30) {
            let mut tap = Tap::new(Meter::COMMON);
            let mut bars = Bars::default();
            for i in 0..taps {
                let at = Time(first + i * beat);
                if let Some(click) = tap.at(at) {
                    bars.click(at, Some(click));
                }
            }
            for i in 0..taps + 8 {
                let place = bars.place(Time(first + i * beat));
                let expected = BarBeat { bar: 1 + i / 4, beat: 1.0 + (i % 4) as f64 };
                prop_assert_eq!(place, Some(expected));
            }
        }
    }
}
