//! How long the engine takes. `cargo bench --bench engine`
//!
//! Prints the median and the 99th percentile over many events, after warm-up.
//! What they are held against: 48 µs is the twentieth part of the 0.96 ms that a
//! three-byte message takes on a DIN cable (31,250 baud, MIDI 1.0).

use peregrinus::engine::{Event, Monitor, STEP};
use peregrinus::midi;
use peregrinus::recording::{self, Recording};
use peregrinus::study::study;
use peregrinus::theory::{Bassist, Catalogue, Hearing, Kinds, PitchClass, PitchClassSet, Tonality};
use peregrinus::time::Time;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

fn main() {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let files = recordings();
    let mut plain = Vec::new();
    let mut steps = Vec::new();
    let mut chord = Vec::new();
    for _ in 0..4 {
        for (_, bytes) in &files {
            let recording = read(bytes);
            let mut monitor = new(&catalogue);
            for (at, event) in recording.events() {
                // The grid's steps first, for themselves.
                while let Some(next) = monitor.next_step().filter(|&n| n < at) {
                    let start = Instant::now();
                    monitor.advance_to(next + Time(1), &mut ());
                    steps.push(start.elapsed());
                }
                let start = Instant::now();
                monitor.on_event(at, event, &mut ());
                plain.push(start.elapsed());

                // The same with a step due before it: the worst that a chord waits.
                if let Event::Midi(midi::Event::NoteOn { .. }) = event {
                    let mut late = monitor.clone();
                    let due = late.next_step().map_or(at, |n| n + Time(1));
                    let start = Instant::now();
                    late.on_event(due, event, &mut ());
                    black_box(late.reading().chord);
                    chord.push(start.elapsed());
                }
            }
        }
    }
    println!(
        "{} études, {} events, grid of {} ms",
        files.len(),
        plain.len(),
        STEP.0 / 50
    );
    report("an event without a grid step", &mut plain);
    report("a grid step", &mut steps);
    report("event to chord across a step", &mut chord);

    report("naming a chord", &mut names(&catalogue));

    let mut cases = Vec::new();
    let mut explained = Vec::new();
    for (_, bytes) in &files {
        let recording = read(bytes);
        let mut monitor = new(&catalogue);
        let mut next = Time::millis(8000);
        for (at, event) in recording.events() {
            monitor.on_event(at, event, &mut ());
            if at < next {
                continue;
            }
            next = at + Time::millis(2500);
            let start = Instant::now();
            let case = monitor.case();
            cases.push(start.elapsed());
            if let Some(case) = case {
                let (start, own) = (Instant::now(), own_time());
                black_box(case.explain());
                // Long enough for others to come between.
                let own = own_time().zip(own).map(|(after, before)| after - before);
                explained.push(own.unwrap_or(start.elapsed()));
            }
        }
    }
    report("handing out a case", &mut cases);
    report("an explanation", &mut explained);

    let mut parse = Vec::new();
    let mut whole = Vec::new();
    for _ in 0..3 {
        for (_, bytes) in &files {
            let start = Instant::now();
            let recording = black_box(read(bytes));
            parse.push(start.elapsed());
            let start = Instant::now();
            black_box(study(&recording, new(&catalogue), &catalogue));
            whole.push(start.elapsed());
        }
    }
    let music: f64 = files.iter().map(|(_, b)| read(b).end.seconds()).sum();
    let sum = |d: &[Duration]| d.iter().sum::<Duration>().as_secs_f64() / 3.0;
    println!(
        "whole files: parse {:.2} ms, analysis {:.0} ms for {music:.0} s of music: {:.0} times the parse, {:.0} times real time",
        sum(&parse) * 1e3,
        sum(&whole) * 1e3,
        sum(&whole) / sum(&parse),
        music / sum(&whole)
    );
}

/// Naming every set of three to seven notes over every bass, in all centers, after
/// the chord before, with a bassist and without. A clock's own cost is in it.
fn names(catalogue: &Catalogue) -> Vec<Duration> {
    let kinds = Kinds::standard();
    let mut times = Vec::new();
    let mode = catalogue.iter().map(|(id, _)| id).next();
    for center in PitchClass::all() {
        let Some(mode) = mode else { break };
        let mut hearing = Hearing {
            scale: catalogue.all_forms(Tonality { center, mode }),
            center: Some(center),
            ..Hearing::default()
        };
        for mask in 1..4096u16 {
            let set = PitchClassSet::from_mask(mask);
            if !(3..=7).contains(&set.len()) {
                continue;
            }
            for bass in set.iter() {
                let start = Instant::now();
                let found = kinds.names(black_box(set), black_box(bass), hearing);
                times.push(start.elapsed());
                hearing.before = black_box(found).best().chord().or(hearing.before);
                hearing.bassist = match hearing.bassist {
                    Bassist::Plays => Bassist::Absent,
                    Bassist::Absent => Bassist::Plays,
                };
            }
        }
    }
    times
}

/// How long this thread has had a processor, where the system tells it (Linux).
fn own_time() -> Option<Duration> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds = text.split(' ').next()?.parse().ok()?;
    Some(Duration::from_nanos(nanoseconds))
}

fn new(catalogue: &Arc<Catalogue>) -> Monitor {
    Monitor::new(Arc::clone(catalogue)).unwrap_or_else(|e| panic!("{e}"))
}

fn read(bytes: &[u8]) -> Recording {
    recording::read(bytes, Catalogue::standard()).unwrap_or_else(|e| panic!("{e}"))
}

fn recordings() -> Vec<(String, Vec<u8>)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap_or_else(|e| panic!("{folder}: {e}"))
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "mid"))
        .collect();
    files.sort();
    let read = |p: &std::path::PathBuf| std::fs::read(p).unwrap_or_else(|e| panic!("{e}"));
    files
        .iter()
        .map(|p| (p.display().to_string(), read(p)))
        .collect()
}

fn report(what: &str, times: &mut [Duration]) {
    times.sort_unstable();
    let at = |q: f64| times[((times.len() - 1) as f64 * q) as usize].as_nanos() as f64 / 1e3;
    println!(
        "{what:<30} median {:>8.2} µs   p99 {:>8.2} µs   max {:>8.1} µs",
        at(0.5),
        at(0.99),
        at(1.0)
    );
}
