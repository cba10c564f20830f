//! Bars for other programs: tempos and time signatures so that their bar lines fall where ours do.

use super::last_track::{counts_as_we_do, with_last_track};
use crate::meter::{BeatNote, Line, Meter};
use crate::time::{TICKS_PER_SECOND, Time};
use midly::num::{u15, u24, u28};
use midly::{MetaMessage, Smf, Timing, TrackEvent, TrackEventKind};

/// Ticks to the quarter, as many programs have it.
const DIVISION: u16 = 960;
/// How far, in microseconds, a bar line may be off before a tempo is corrected: less than half a
/// tick at the fastest tempo.
const OFF: f64 = 100.0;
/// The largest tempo that the standard can hold, in microseconds to the quarter.
const SLOWEST: f64 = 0x00ff_ffff as f64;

/// A file of ours (see [`counts_as_we_do`]) with these bar lines, in the division that is usual
/// among other programs: every time is rounded to its tick. None if the file is not ours or not
/// whole, or has no bar lines.
///
/// A bar that was cut short, or is a little longer, gets the nearest number of beats, at a tempo
/// that makes them last as long. So does a stretch without bars, in quarters.
pub fn with_bar_lines(bytes: &[u8], lines: impl IntoIterator<Item = Line>) -> Option<Vec<u8>> {
    if !counts_as_we_do(bytes) {
        return None;
    }
    // What is cut short midly would read as far as it goes.
    with_last_track(bytes, "", &[])?;
    let map = TempoMap::of(lines.into_iter().collect())?;
    let mut file = Smf::parse(bytes).ok()?;
    file.header.timing = Timing::Metrical(u15::new(DIVISION));
    for (number, track) in file.tracks.iter_mut().enumerate() {
        let mut at = 0u64;
        let mut events: Vec<(u64, TrackEventKind)> = Vec::new();
        for event in track.drain(..) {
            at += u64::from(event.delta.as_int());
            if !matches!(event.kind, TrackEventKind::Meta(MetaMessage::Tempo(_))) {
                events.push((map.tick(Time(at)), event.kind));
            }
        }
        if number == 0 {
            let end = events.pop()?;
            events.extend(map.events());
            // What stood there stays before what is new.
            events.sort_by_key(|(tick, _)| *tick);
            let last = events.last().map_or(0, |(tick, _)| *tick);
            events.push((end.0.max(last), end.1));
        }
        let mut before = 0;
        for (tick, kind) in events {
            let delta = u28::try_from(u32::try_from(tick - before).ok()?)?;
            track.push(TrackEvent { delta, kind });
            before = tick;
        }
    }
    let mut out = Vec::new();
    file.write_std(&mut out).ok()?;
    Some(out)
}

/// One tempo, and one meter.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    tick: u64,
    /// When it begins, as the tempos before it make it, in microseconds.
    at: f64,
    /// Microseconds to the quarter.
    tempo: u32,
    meter: Written,
}

/// The meta event 58, as far as it is not the same for all: what is above the line, the power of
/// two below it, and how many MIDI clocks a beat lasts.
type Written = (u8, u8, u8);

const QUARTERS: Written = (4, 2, 24);

struct TempoMap {
    /// In order, the first at 0.
    stretches: Vec<Stretch>,
    /// Where the next begins.
    tick: u64,
    at: f64,
}

fn micros(at: f64) -> f64 {
    at * 1e6 / TICKS_PER_SECOND as f64
}

impl TempoMap {
    fn of(lines: Vec<Line>) -> Option<TempoMap> {
        let mut map = TempoMap {
            stretches: Vec::new(),
            tick: 0,
            at: 0.0,
        };
        let begins = lines.first()?.at;
        if begins > Time::ZERO {
            map.without_bars(begins);
        }
        for (i, line) in lines.iter().enumerate() {
            let next = lines.get(i + 1).map(|line| line.at);
            match (line.bar, next) {
                (Some((meter, beat)), Some(next)) => {
                    let beats = (next.since(line.at).0 as f64 / beat).round();
                    map.bar(meter, beats.clamp(1.0, 64.0) as u8, beat, Some(next));
                }
                (Some((meter, beat)), None) => map.bar(meter, meter.beats(), beat, None),
                (None, Some(next)) => map.without_bars(next),
                // As in a file that says nothing.
                (None, None) => map.push(4.0, 500_000.0, QUARTERS, None),
            }
        }
        Some(map)
    }

    /// A bar of so many beats, each of so many of our ticks, until `next`.
    fn bar(&mut self, meter: Meter, beats: u8, beat: f64, next: Option<Time>) {
        let (quarters, written) = match meter.note() {
            BeatNote::Quarter => (1.0, (beats, 2, 24)),
            BeatNote::Eighth => (0.5, (beats, 3, 12)),
            BeatNote::DottedQuarter => (1.5, (beats.saturating_mul(3), 3, 36)),
        };
        let tempo = micros(beat) / quarters;
        self.push(f64::from(beats) * quarters, tempo, written, next);
    }

    /// Quarters until `next`.
    fn without_bars(&mut self, next: Time) {
        let length = micros(next.0 as f64) - self.at;
        if length < 1e6 {
            return self.push(1.0, length, (1, 2, 24), Some(next));
        }
        let bars = (length / 2e6).round().max(1.0);
        let tempo = length / (4.0 * bars);
        // The last bar takes what rounding leaves.
        if bars > 1.0 {
            self.push(4.0 * (bars - 1.0), tempo, QUARTERS, None);
        }
        self.push(4.0, tempo, QUARTERS, Some(next));
    }

    /// So many quarters, at about this tempo, until `next`.
    fn push(&mut self, quarters: f64, tempo: f64, meter: Written, next: Option<Time>) {
        let rounded = tempo.round().clamp(1.0, SLOWEST);
        let left = next.map(|next| micros(next.0 as f64) - self.at);
        let tempo = match left {
            Some(left) if (left - quarters * rounded).abs() > OFF => {
                (left / quarters).round().clamp(1.0, SLOWEST)
            }
            _ => rounded,
        };
        self.stretches.push(Stretch {
            tick: self.tick,
            at: self.at,
            tempo: tempo as u32,
            meter,
        });
        self.tick += (quarters * f64::from(DIVISION)) as u64;
        self.at += quarters * tempo;
    }

    /// The nearest tick to a moment.
    fn tick(&self, at: Time) -> u64 {
        let at = micros(at.0 as f64);
        let after = self.stretches.partition_point(|s| s.at <= at).max(1);
        let Some(s) = self.stretches.get(after - 1) else {
            return 0;
        };
        let ticks = (at - s.at) * f64::from(DIVISION) / f64::from(s.tempo);
        let tick = s.tick + ticks.round().max(0.0) as u64;
        self.stretches
            .get(after)
            .map_or(tick, |next| tick.min(next.tick))
    }

    /// Where a tempo or a meter is another.
    fn events(&self) -> Vec<(u64, TrackEventKind<'static>)> {
        let mut events = Vec::new();
        let mut before: Option<Stretch> = None;
        for s in &self.stretches {
            if before.is_none_or(|before| before.meter != s.meter) {
                let (count, unit, clocks) = s.meter;
                let meter = MetaMessage::TimeSignature(count, unit, clocks, 8);
                events.push((s.tick, TrackEventKind::Meta(meter)));
            }
            if before.is_none_or(|before| before.tempo != s.tempo) {
                let tempo = MetaMessage::Tempo(u24::new(s.tempo));
                events.push((s.tick, TrackEventKind::Meta(tempo)));
            }
            before = Some(*s);
        }
        events
    }
}

#[cfg(test)]
mod tests {
    use super::super::{FileWriter, TextKind, read};
    use super::*;
    use crate::meter::{Bars, Click, Tempo};
    use crate::midi::{Channel, Event, Timed};
    use proptest::prelude::*;
    use std::io::Cursor;

    /// A file of ours with a text at each of these moments.
    fn file(moments: &[Time]) -> Vec<u8> {
        let mut writer = FileWriter::new(Cursor::new(Vec::new())).expect("memory");
        for (&at, key) in moments.iter().zip((0..128).cycle()) {
            let channel = Channel::ALL[0];
            let event = Event::NoteOff { channel, key };
            writer.push(&Timed { at, event });
            writer.text(at, TextKind::Lyric, "la");
        }
        let end = moments.last().copied().unwrap_or_default() + Time(9);
        writer.finish(end).expect("memory").into_inner()
    }

    /// The bar lines that another program draws until a tick, as midly reads the file: from its
    /// tempos and signatures alone. In microseconds, with the length of a tick there.
    fn drawn(bytes: &[u8], until: f64) -> Vec<(f64, f64)> {
        let smf = Smf::parse(bytes).expect("a file");
        let Timing::Metrical(division) = smf.header.timing else {
            panic!("no quarters")
        };
        let division = f64::from(division.as_int());
        let mut changes: Vec<(u64, MetaMessage)> = Vec::new();
        let mut tick = 0;
        for event in &smf.tracks[0] {
            tick += u64::from(event.delta.as_int());
            if let TrackEventKind::Meta(meta) = event.kind {
                changes.push((tick, meta));
            }
        }
        let (mut tick, mut at, mut tempo, mut bar) = (0u64, 0.0, 500_000.0, 4 * 960u64);
        let mut next_line = 0u64;
        let mut lines = Vec::new();
        let mut changes = changes.into_iter().peekable();
        loop {
            while let Some((_, meta)) = changes.next_if(|(when, _)| *when <= tick) {
                match meta {
                    MetaMessage::Tempo(t) => tempo = f64::from(t.as_int()),
                    MetaMessage::TimeSignature(count, unit, ..) => {
                        assert_eq!(tick, next_line, "a meter changes on a bar line");
                        bar = u64::from(count) * ((4 * 960) >> unit);
                    }
                    _ => {}
                }
            }
            if at > until {
                return lines;
            }
            if tick == next_line {
                lines.push((at, tempo / division));
                next_line = tick + bar;
            }
            let change = changes.peek().map_or(u64::MAX, |(when, _)| *when);
            let to = next_line.min(change);
            at += (to - tick) as f64 * tempo / division;
            tick = to;
        }
    }

    fn click(beat: u64, meter: &str, from: u64) -> Option<Click> {
        Some(Click {
            tempo: Tempo::of_beat(Time(beat)).expect("a tempo"),
            meter: meter.parse().expect("a meter"),
            from: Time(from),
        })
    }

    /// 96 a minute from the first note: one tempo, one signature, as by hand.
    #[test]
    fn a_steady_click_is_one_tempo_and_one_signature() {
        let bars = Bars::of_clicks([(Time::ZERO, click(31_250, "3/4", 0))]);
        let bytes = file(&[Time::ZERO, Time(31_250), Time(1_000_000)]);
        let lines = bars.lines(Time(1_000_000));
        let exported = with_bar_lines(&bytes, lines).expect("bars");
        let smf = Smf::parse(&exported).expect("a file");
        let first: Vec<_> = smf.tracks[0]
            .iter()
            .map(|e| (e.delta.as_int(), e.kind))
            .collect();
        let meta = TrackEventKind::Meta;
        let expected = [
            (0, meta(MetaMessage::TimeSignature(3, 2, 24, 8))),
            (0, meta(MetaMessage::Tempo(u24::new(625_000)))),
            (0, meta(MetaMessage::EndOfTrack)),
        ];
        assert_eq!(first, expected);
        // A beat is 960 ticks, and 1,000,000 of ours 32 beats.
        let read = read(&exported).expect("a file");
        assert!(read.faults.is_empty());
        let times: Vec<Time> = read.events.iter().map(|t| t.at).collect();
        assert_eq!(times, [Time::ZERO, Time(31_250), Time(1_000_000)]);
        let place = read
            .bars
            .expect("bars")
            .place(Time(1_000_000))
            .expect("one");
        assert_eq!((place.bar, place.beat), (11, 3.0));
    }

    #[test]
    fn without_bars_or_in_another_division_there_is_no_such_file() {
        let bytes = file(&[Time(5)]);
        assert_eq!(with_bar_lines(&bytes, []), None);
        let bars = Bars::of_clicks([(Time::ZERO, click(31_250, "3/4", 0))]);
        let exported = with_bar_lines(&bytes, bars.lines(Time(10))).expect("bars");
        assert_eq!(with_bar_lines(&exported, bars.lines(Time(10))), None);
        assert_eq!(
            with_bar_lines(&bytes[..bytes.len() - 1], bars.lines(Time(10))),
            None
        );
    }

    proptest! {
        /// Every bar line of ours is one of another program's, within one tick of the file; every
        /// event is within one tick of when it was.
        #[test]
        fn bar_lines_fall_on_the_click(
            steps in prop::collection::vec(
                (20_000u64..600_000, prop::option::weighted(0.9, (10_000u64..=150_000, 1u8..=15, any::<bool>()))),
                1..8,
            ),
        ) {
            let mut at = Time::ZERO;
            let clicks: Vec<_> = steps
                .into_iter()
                .map(|(delta, click)| {
                    at += Time(delta);
                    let click = click.map(|(beat, count, eighths)| Click {
                        tempo: Tempo::of_beat(Time(beat)).expect("a tempo"),
                        meter: Meter::new(count, if eighths { 8 } else { 4 }).expect("a meter"),
                        from: at,
                    });
                    (at, click)
                })
                .collect();
            prop_assume!(clicks.iter().any(|c| c.1.is_some()));
            let end = at + Time(3_000_000);
            let bars = Bars::of_clicks(clicks);
            let moments: Vec<Time> = (0..end.0).step_by(33_333).map(Time).collect();
            let exported = with_bar_lines(&file(&moments), bars.lines(end)).expect("bars");
            let theirs = drawn(&exported, micros(end.0 as f64));
            for line in bars.lines(end).filter(|line| line.bar.is_some()) {
                let at = micros(line.at.0 as f64);
                let near = theirs.iter().any(|(other, tick)| (other - at).abs() <= tick.max(OFF));
                prop_assert!(near, "no line at {at}: {theirs:?}");
            }
            let read = read(&exported).expect("a file");
            prop_assert!(read.faults.is_empty());
            prop_assert_eq!(read.events.len(), moments.len());
            for (event, moment) in read.events.iter().zip(&moments) {
                // The longest tick, of eighths at 20 a minute.
                let tick = 6_000_000.0 / 960.0 / 20.0;
                prop_assert!((event.at.0 as f64 - moment.0 as f64).abs() <= tick, "{event:?}");
            }
        }
    }
}
