//! The engine's estimator against the one that was trained, as music is heard and told
//! from its end: notes and probabilities written by tests/training/golden.py. Neither
//! Python nor PyTorch is needed here.

use peregrinus::engine::{Estimator, Event, Fading, Frame, Learned, Model, Monitor, Scores};
use peregrinus::midi;
use peregrinus::study::{Sound, frames_backward};
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use serde::Deserialize;
use std::path::Path;
use std::sync::{Arc, Mutex};

#[derive(Deserialize)]
struct Golden {
    modes: Vec<String>,
    /// CRC-32 of the weights that it was made from, without the one at their end: with
    /// it all files of weights would have the same.
    weights: u32,
    pieces: Vec<Piece>,
}

#[derive(Deserialize)]
struct Piece {
    name: String,
    sustained: bool,
    /// Onset, end, in ticks from the first onset; key.
    notes: Vec<(u64, u64, u8)>,
    probabilities: Vec<Row>,
    /// The same told from the end, as hindsight hears it.
    backward: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    step: usize,
    /// By mode and center, then the collections.
    millionths: Vec<u32>,
}

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const AGAIN: &str = "run  python tests/training/golden.py  again";

fn golden() -> Golden {
    let path = Path::new(ROOT).join("tests/golden/estimator.json");
    let text = std::fs::read_to_string(path).expect("tests/golden/estimator.json");
    serde_json::from_str(&text).expect("what golden.py wrote")
}

/// The estimator, overheard.
#[derive(Clone)]
struct Overheard {
    inner: Learned,
    steps: Arc<Mutex<Vec<Scores>>>,
}

impl Estimator for Overheard {
    type State = <Learned as Estimator>::State;
    fn state(&self) -> Self::State {
        self.inner.state()
    }
    fn save(&self, over: &mut Self::State) {
        self.inner.save(over);
    }
    fn restore(&mut self, state: &Self::State) {
        self.inner.restore(state);
    }
    fn reset(&mut self) {
        self.inner.reset();
    }
    fn step(&mut self, frame: &Frame) {
        self.inner.step(frame);
        let now = self.inner.probabilities().clone();
        self.steps.lock().expect("one thread").push(now);
    }
    fn probabilities(&self) -> &Scores {
        self.inner.probabilities()
    }
    fn evidence(&self) -> &Scores {
        self.inner.evidence()
    }
}

/// Through the monitor, as MIDI events, from some moment on.
fn played(piece: &Piece) -> Vec<Scores> {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let model = Model::standard().expect("the embedded weights");
    let steps = Arc::default();
    let estimator = Overheard {
        inner: Learned::new(&catalogue, model),
        steps: Arc::clone(&steps),
    };
    let mut monitor = Monitor::with_estimator(catalogue, estimator);
    if piece.sustained {
        monitor.on_event(Time::ZERO, Event::Fading(Fading::Sustained), &mut ());
    }
    let begin = Time(12_345);
    let mut events: Vec<(Time, midi::Event)> = Vec::new();
    for &(on, off, key) in &piece.notes {
        let note = midi::Event::NoteOn {
            channel: 0,
            key,
            velocity: 1 + key % 120,
        };
        events.push((begin + Time(on), note));
        events.push((begin + Time(off), midi::Event::NoteOff { channel: 0, key }));
    }
    events.sort_by_key(|(at, e)| (*at, !e.releases()));
    for (at, event) in events {
        monitor.on_event(at, event, &mut ());
    }
    let last = piece.probabilities.last().expect("steps").step as u64;
    monitor.advance_to(begin + Time::millis(100 * (last + 1)) + Time(1), &mut ());
    drop(monitor);
    Arc::into_inner(steps)
        .expect("the monitor is gone")
        .into_inner()
        .expect("one thread")
}

/// By the frames of hindsight, from the end to the first onset.
fn told_backward(piece: &Piece) -> Vec<Scores> {
    let sound = |&(on, off, key): &(u64, u64, u8)| Sound {
        key,
        on: Time(on),
        off: Time(off),
    };
    let sounds: Vec<Sound> = piece.notes.iter().map(sound).collect();
    let end = sounds.iter().map(|s| s.off).max().expect("notes");
    let fading = match piece.sustained {
        true => Fading::Sustained,
        false => Fading::Struck,
    };
    let model = Model::standard().expect("the embedded weights");
    let mut estimator = Learned::backward(Catalogue::standard(), model);
    let frames = frames_backward(&sounds, Time::ZERO, end, fading);
    let step = |frame: &Frame| {
        estimator.step(frame);
        estimator.probabilities().clone()
    };
    frames.iter().map(step).collect()
}

#[test]
fn the_golden_data_belong_to_the_weights_and_the_modes() {
    let weights = std::fs::read(Path::new(ROOT).join("config/estimator.weights")).expect("weights");
    let golden = golden();
    let (body, _) = weights.split_at(weights.len() - 4);
    assert_eq!(crc32fast::hash(body), golden.weights, "{AGAIN}");
    let modes: Vec<&str> = Catalogue::standard()
        .iter()
        .map(|(_, m)| m.id.as_str())
        .collect();
    assert_eq!(golden.modes, modes, "{AGAIN}");
}

#[test]
fn every_probability_is_that_of_the_training() {
    let golden = golden();
    assert!(golden.pieces.len() >= 5);
    let modes = golden.modes.len();
    let mut greatest = 0.0f32;
    let mut compare = |way: &str, steps: &[Scores], rows: &[Row]| {
        assert!(rows.len() >= 8, "{way}");
        for row in rows {
            let found = &steps[row.step];
            let found = found.tonalities[..modes * 12]
                .iter()
                .chain(&found.collections);
            assert_eq!(row.millionths.len(), found.clone().count());
            for (i, (&p, &want)) in found.zip(&row.millionths).enumerate() {
                let want = want as f32 / 1e6;
                greatest = greatest.max((p - want).abs());
                assert!(
                    (p - want).abs() < 1e-4,
                    "{way}, step {}, place {i}: {p}, not {want}",
                    row.step
                );
            }
        }
    };
    for piece in &golden.pieces {
        compare(&piece.name, &played(piece), &piece.probabilities);
        let backward = told_backward(piece);
        let last = piece.backward.last().expect("rows");
        assert_eq!(backward.len(), last.step + 1, "{}", piece.name);
        let way = format!("{}, backward", piece.name);
        compare(&way, &backward, &piece.backward);
    }
    println!("the greatest difference is {greatest:.1e}");
}

/// The comparison would hold of numbers that are all next to 0 as well.
#[test]
fn the_golden_data_are_worth_comparing() {
    let golden = golden();
    fn both(piece: &Piece) -> [&Vec<Row>; 2] {
        [&piece.probabilities, &piece.backward]
    }
    let rows = || golden.pieces.iter().flat_map(both).flatten();
    let clear = |r: &&Row| r.millionths.iter().any(|&p| p > 100_000);
    assert!(rows().filter(clear).count() * 2 > rows().count());
    for (piece, rows) in golden.pieces.iter().flat_map(|p| both(p).map(|r| (p, r))) {
        for (a, b) in rows.iter().zip(&rows[1..]) {
            let apart = a.millionths.iter().zip(&b.millionths);
            let most = apart.map(|(a, b)| a.abs_diff(*b)).max();
            assert!(
                most > Some(1_000),
                "{}: step {} is as {}",
                piece.name,
                b.step,
                a.step
            );
        }
    }
}
