//! The engine's estimator against the one that was trained, as music is heard and told
//! from its end, and so its chords: notes, probabilities and logarithms written by
//! tests/training/golden.py. Neither Python nor PyTorch is needed here.

use peregrinus::engine::{
    Arrival, Change, Estimator, Event, Fading, Frame, Harmony, Judgement, Learned, Model, Monitor,
    Observer, ReadingDirection, Scores, Stroke,
};
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

/// What is said of chords, stroke by stroke.
#[derive(Deserialize)]
struct GoldenChords {
    weights: u32,
    pieces: Vec<Stroked>,
}

#[derive(Deserialize)]
struct Stroked {
    /// That of a piece among the estimator's, where its notes are.
    name: String,
    /// How many they are.
    strokes: usize,
    heard: Vec<Said>,
    /// The strokes told from the last.
    backward: Vec<Said>,
}

#[derive(Deserialize)]
struct Said {
    stroke: usize,
    /// Its first onset, in ticks.
    at: u64,
    millionths: Below,
}

#[derive(Deserialize)]
struct Below {
    /// How far each logarithm lies below the greatest, by root, then class.
    chords: Vec<i32>,
    /// The same.
    bass: Vec<i32>,
    /// By root, then semitones above it: as they are.
    degrees: Vec<i32>,
}

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const AGAIN: &str = "run  python tests/training/golden.py  again";

fn read<T: serde::de::DeserializeOwned>(name: &str) -> T {
    let path = Path::new(ROOT).join("tests/golden").join(name);
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{name}: {e}; {AGAIN}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}; {AGAIN}"))
}

fn golden() -> Golden {
    read("estimator.json")
}

fn golden_chords() -> GoldenChords {
    read("harmony.json")
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

/// When the first note is played.
const BEGIN: Time = Time(12_345);

/// As MIDI events.
fn events(piece: &Piece) -> Vec<(Time, midi::Event)> {
    let mut events: Vec<(Time, midi::Event)> = Vec::new();
    for &(on, off, key) in &piece.notes {
        let note = midi::Event::NoteOn {
            channel: midi::Channel::ALL[0],
            key,
            velocity: 1 + key % 120,
        };
        events.push((BEGIN + Time(on), note));
        events.push((
            BEGIN + Time(off),
            midi::Event::NoteOff {
                channel: midi::Channel::ALL[0],
                key,
            },
        ));
    }
    events.sort_by_key(|(at, e)| (*at, !e.releases()));
    events
}

/// Through the monitor.
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
    for (at, event) in events(piece) {
        monitor.on_event(at, event, &mut ());
    }
    let last = piece.probabilities.last().expect("steps").step as u64;
    monitor.advance_to(BEGIN + Time::millis(100 * (last + 1)) + Time(1), &mut ());
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

/// Whole strokes, each with what was said of it at its last key.
#[derive(Default)]
struct Strokes(Vec<(Stroke, Judgement)>);

impl Observer for Strokes {
    fn change(&mut self, at: Time, change: Change) {
        let afresh = change == Change::Rest;
        assert!(
            !afresh,
            "{at:?}: what follows would begin afresh here, but not there"
        );
    }
    fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, arrival: Arrival) {
        if arrival == Arrival::Joins {
            self.0.pop();
        }
        self.0.push((*stroke, *judgement));
    }
}

fn strokes(piece: &Piece) -> Vec<(Stroke, Judgement)> {
    let mut monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).expect("the weights");
    let mut strokes = Strokes::default();
    for (at, event) in events(piece) {
        monitor.on_event(at, event, &mut strokes);
    }
    strokes.0
}

/// The same strokes from the last to the first, as hindsight hears them.
fn strokes_backward(strokes: &[(Stroke, Judgement)]) -> Vec<(Stroke, Judgement)> {
    let mut harmony = Harmony::standard(ReadingDirection::Backward);
    let told = strokes.iter().rev();
    told.map(|(s, _)| (*s, *harmony.hear(s, Arrival::Begins)))
        .collect()
}

/// The CRC-32 of a file without the one at its end.
fn checksum(weights: &str) -> u32 {
    let weights = std::fs::read(Path::new(ROOT).join(weights)).expect("weights");
    let (body, _) = weights.split_at(weights.len() - 4);
    crc32fast::hash(body)
}

#[test]
fn the_golden_data_belong_to_the_weights_and_the_modes() {
    let golden = golden();
    assert_eq!(
        checksum("config/estimator.weights"),
        golden.weights,
        "{AGAIN}"
    );
    let chords = golden_chords();
    assert_eq!(
        checksum("config/harmony.weights"),
        chords.weights,
        "{AGAIN}"
    );
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

/// What [`Below`] says.
fn below(judgement: &Judgement) -> [Vec<f32>; 3] {
    let by_root = |said: &[[f32; 12]]| -> Vec<f32> {
        (0..12)
            .flat_map(|root| said.iter().map(move |s| s[root]))
            .collect()
    };
    let [chords, bass] = [by_root(&judgement.chords), judgement.bass.to_vec()].map(|said| {
        let top = said.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        said.iter().map(|x| top - x).collect()
    });
    [chords, bass, by_root(&judgement.degrees)]
}

/// As logarithms, up to the constant that they are free of.
#[test]
fn what_is_said_of_every_chord_is_that_of_the_training() {
    let (golden, chords) = (golden(), golden_chords());
    assert!(chords.pieces.len() >= 5);
    let mut greatest = 0.0f32;
    let mut compare = |way: &str, strokes: &[(Stroke, Judgement)], rows: &[Said]| {
        assert!(rows.len() >= 8, "{way}");
        for row in rows {
            let (stroke, judgement) = &strokes[row.stroke];
            let way = format!("{way}, stroke {}", row.stroke);
            assert_eq!(stroke.at, BEGIN + Time(row.at), "{way}");
            let m = &row.millionths;
            let wanted = [&m.chords, &m.bass, &m.degrees];
            assert_eq!(wanted.map(Vec::len), [60, 12, 132], "{way}");
            for (found, wanted) in below(judgement).iter().zip(wanted) {
                for (i, (&x, &want)) in found.iter().zip(wanted).enumerate() {
                    let want = want as f32 / 1e6;
                    greatest = greatest.max((x - want).abs());
                    assert!((x - want).abs() < 1e-4, "{way}, place {i}: {x}, not {want}");
                }
            }
        }
    };
    for row in &chords.pieces {
        let piece = golden.pieces.iter().find(|p| p.name == row.name);
        let heard = strokes(piece.expect("its notes"));
        assert_eq!(heard.len(), row.strokes, "{}", row.name);
        compare(&row.name, &heard, &row.heard);
        let backward = strokes_backward(&heard);
        compare(&format!("{}, backward", row.name), &backward, &row.backward);
    }
    println!("the greatest difference is {greatest:.1e}");
}

/// The comparison would hold of one and the same judgement everywhere as well.
#[test]
fn the_golden_chords_are_worth_comparing() {
    for piece in golden_chords().pieces {
        for rows in [&piece.heard, &piece.backward] {
            for (a, b) in rows.iter().zip(&rows[1..]) {
                let most =
                    |a: &[i32], b: &[i32]| a.iter().zip(b).map(|(a, b)| a.abs_diff(*b)).max();
                let (a, b) = (&a.millionths, &b.millionths);
                let most = [
                    most(&a.chords, &b.chords),
                    most(&a.bass, &b.bass),
                    most(&a.degrees, &b.degrees),
                ];
                assert!(
                    most.iter().all(|&m| m > Some(100_000)),
                    "{}: {most:?}",
                    piece.name
                );
            }
        }
        // Nor is it the same from both ends.
        let first = |rows: &[Said]| rows[0].millionths.chords.clone();
        assert_ne!(
            first(&piece.heard),
            first(&piece.backward),
            "{}",
            piece.name
        );
    }
}
