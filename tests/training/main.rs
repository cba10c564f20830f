//! Learns the numbers of `config/estimator.toml` from labelled music.
//!
//! cargo run --release --example tune -- TRAIN.jsonl… [SECONDS]
//!
//! Each line of a training file is one piece: `quarter` (seconds), `notes`
//! ([onset, length, key] in quarters), `kind` and `segments` (start, end in
//! seconds, center, mode). The music itself is not part of the project. What is
//! maximised is the mean, over the kinds of piece, of the share of time in which
//! the center (and for tunes in one of seven modes the mode too) that the monitor
//! establishes is the labelled one, less a little for each change shown. The
//! search is a random walk uphill from the numbers in force; what it finds is
//! printed as TOML. Report figures on other music than this.

use peregrinus::engine::{Change, Event, Markov, Monitor, Observer, Parameters};
use peregrinus::midi;
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

#[derive(Clone, Deserialize)]
struct Piece {
    kind: String,
    quarter: f64,
    notes: Vec<(f64, f64, u8)>,
    segments: Vec<Segment>,
}

#[derive(Clone, Deserialize)]
struct Segment {
    start: f64,
    end: f64,
    center: u8,
    mode: String,
}

struct Item {
    kind: String,
    events: Vec<(Time, Event)>,
    segments: Vec<Segment>,
}

/// A small generator of random numbers (xorshift64*), so that every run is the same.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() * n as f64) as usize % n.max(1)
    }

    /// About normal, variance 1.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

fn main() {
    let mut files: Vec<String> = std::env::args().skip(1).collect();
    let seconds = files
        .last()
        .and_then(|s| s.parse::<u64>().ok())
        .inspect(|_| {
            files.pop();
        });
    let mut random = Random(20_261_125);
    let mut kinds: BTreeMap<String, Vec<Piece>> = BTreeMap::new();
    for file in &files {
        let text = std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{file}: {e}"));
        for line in text.lines() {
            let piece: Piece = serde_json::from_str(line).unwrap_or_else(|e| panic!("{file}: {e}"));
            kinds.entry(piece.kind.clone()).or_default().push(piece);
        }
    }
    let mut items = Vec::new();
    for (kind, pieces) in &kinds {
        for _ in 0..if kind == "folk-mode" { 160 } else { 45 } {
            let piece = pieces[random.below(pieces.len())].clone();
            let transpose = random.below(12) as i8 - 6;
            items.push(item(kind, &[(piece, transpose)]));
        }
    }
    // Tunes played straight on, so that center and mode move.
    if let Some(folk) = kinds.get("folk-mode") {
        for _ in 0..25 {
            let set: Vec<(Piece, i8)> = (0..5)
                .map(|_| {
                    (
                        folk[random.below(folk.len())].clone(),
                        random.below(12) as i8 - 6,
                    )
                })
                .collect();
            items.push(item("folk-set", &set));
        }
    }
    println!("# {} pieces", items.len());

    let mut best = Parameters::standard().unwrap_or_else(|e| panic!("{e}"));
    let (mut top, report) = score(&best, &items);
    println!("# {top:.4}  {report}");
    let end = Instant::now() + Duration::from_secs(seconds.unwrap_or(600));
    while Instant::now() < end {
        let trial = perturbed(&best, &mut random);
        let (value, report) = score(&trial, &items);
        if value > top {
            (top, best) = (value, trial);
            println!("# {top:.4}  {report}");
        }
    }
    println!(
        "{}",
        toml::to_string(&best).unwrap_or_else(|e| panic!("{e}"))
    );
}

fn perturbed(p: &Parameters, random: &mut Random) -> Parameters {
    let mut value = toml::Table::try_from(p).unwrap_or_else(|e| panic!("{e}"));
    let keys: Vec<String> = value.keys().cloned().collect();
    for _ in 0..1 + random.below(3) {
        let key = &keys[random.below(keys.len())];
        if let Some(toml::Value::Float(f)) = value.get_mut(key) {
            *f = (*f * (0.25 * random.normal()).exp()).clamp(1e-4, 20.0);
        }
    }
    // The shares of where a change goes leave room for the rest.
    let share = |k: &str| value.get(k).and_then(toml::Value::as_float).unwrap_or(0.0);
    let sum = share("same_center") + share("same_collection") + share("fifth_related");
    if sum > 0.9 {
        for k in ["same_center", "same_collection", "fifth_related"] {
            if let Some(toml::Value::Float(f)) = value.get_mut(k) {
                *f *= 0.9 / sum;
            }
        }
    }
    value.try_into().unwrap_or_else(|e| panic!("{e}"))
}

fn item(kind: &str, pieces: &[(Piece, i8)]) -> Item {
    let mut events = Vec::new();
    let mut segments = Vec::new();
    let mut at = 0.0;
    for (p, transpose) in pieces {
        let mut end = at;
        for &(onset, length, key) in &p.notes {
            let Some(key) = key.checked_add_signed(*transpose).filter(|k| *k < 128) else {
                continue;
            };
            let (a, b) = (
                at + onset * p.quarter,
                at + (onset + length.max(0.05)) * p.quarter,
            );
            end = b.max(end);
            let on = midi::Event::NoteOn {
                channel: 0,
                key,
                velocity: 80,
            };
            let off = midi::Event::NoteOff { channel: 0, key };
            events.push((Time::from_seconds(a), 1, Event::Midi(on)));
            events.push((Time::from_seconds(b - 0.005), 0, Event::Midi(off)));
        }
        for s in &p.segments {
            segments.push(Segment {
                start: s.start + at,
                end: s.end + at,
                center: (i32::from(s.center) + i32::from(*transpose)).rem_euclid(12) as u8,
                mode: s.mode.clone(),
            });
        }
        at = end;
    }
    events.sort_by_key(|e| (e.0, e.1));
    let events = events.into_iter().map(|(t, _, e)| (t, e)).collect();
    Item {
        kind: kind.to_owned(),
        events,
        segments,
    }
}

/// What is established, second by second.
struct Shown<'a> {
    catalogue: &'a Catalogue,
    now: Option<(u8, String)>,
    spans: Vec<(f64, Option<(u8, String)>)>,
}

impl Observer for Shown<'_> {
    fn change(&mut self, at: Time, change: Change) {
        match change {
            Change::Here(e) => {
                let mode = self.catalogue.mode(e.tonality.mode);
                self.now = Some((e.tonality.center.index() as u8, mode.scored_as.clone()));
            }
            Change::NoCenter => self.now = None,
            _ => return,
        }
        self.spans.push((at.seconds(), self.now.clone()));
    }
}

fn seven(mode: &str) -> &str {
    match mode {
        "major" => "ionian",
        "minor" => "aeolian",
        m => m,
    }
}

fn score(p: &Parameters, items: &[Item]) -> (f64, String) {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let halves = std::thread::available_parallelism().map_or(1, |n| n.get());
    let parts: Vec<BTreeMap<String, [f64; 4]>> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..halves)
            .map(|h| {
                let catalogue = &catalogue;
                scope.spawn(move || {
                    let mut sums: BTreeMap<String, [f64; 4]> = BTreeMap::new();
                    for item in items.iter().skip(h).step_by(halves) {
                        let s = run(p, item, catalogue);
                        let sum = sums.entry(item.kind.clone()).or_default();
                        (0..4).for_each(|i| sum[i] += s[i]);
                    }
                    sums
                })
            })
            .collect();
        handles
            .into_iter()
            .map(|h| h.join().unwrap_or_default())
            .collect()
    });
    let mut sums: BTreeMap<String, [f64; 4]> = BTreeMap::new();
    for part in parts {
        for (kind, s) in part {
            let sum = sums.entry(kind).or_default();
            (0..4).for_each(|i| sum[i] += s[i]);
        }
    }
    let mut total = 0.0;
    let mut report = String::new();
    for (kind, [time, exact, center, changes]) in &sums {
        let per_minute = changes / (time / 60.0);
        total += (exact + center) / 2.0 / time - 0.008 * per_minute;
        report += &format!(
            "{kind} {:.3}/{:.3} {per_minute:.1}  ",
            exact / time,
            center / time
        );
    }
    (total / sums.len() as f64, report)
}

/// Seconds in all, right, right in center, and changes shown.
fn run(p: &Parameters, item: &Item, catalogue: &Arc<Catalogue>) -> [f64; 4] {
    let mut monitor =
        Monitor::with_estimator(Arc::clone(catalogue), Markov::new(catalogue, p.clone()));
    let mut shown = Shown {
        catalogue,
        now: None,
        spans: Vec::new(),
    };
    for &(at, event) in &item.events {
        monitor.on_event(at, event, &mut shown);
    }
    let modal = item.kind.starts_with("folk");
    let mut sums = [0.0; 4];
    sums[3] = shown.spans.len() as f64;
    for s in &item.segments {
        let mut t = s.start.max(2.0);
        while t < s.end {
            let i = shown.spans.partition_point(|x| x.0 <= t);
            sums[0] += 0.1;
            if let Some((center, mode)) = i.checked_sub(1).and_then(|i| shown.spans[i].1.as_ref())
                && *center == s.center
            {
                sums[2] += 0.1;
                if !modal || seven(mode) == seven(&s.mode) {
                    sums[1] += 0.1;
                }
            }
            t += 0.1;
        }
    }
    sums
}
