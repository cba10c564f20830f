//! Which chord is meant, stroke by stroke: what was learned from analysts' chords.
//!
//! At each stroke of the hands the music is described as seen from each of the twelve
//! possible roots, and the network says for each how likely it is the root of a major,
//! minor, diminished, augmented or other chord, how likely the bass that is meant, and
//! how much each degree above it speaks for belonging to its chord: which chord of those
//! on one triad is the sum over its degrees, so that a chord is a row of a table.
//! `tests/training/harmony.py` computes the same over whole pieces, and learned it;
//! the golden test holds the two together.
//!
//! A stroke is judged anew with every key that joins it, always from what was
//! remembered before it. What is twelve wide turns with the music to the last bit,
//! but for keys that a transposition carries over the edge of the left hand ([`LOW`]).

use super::features::{PitchClassProfile, ReadingDirection, total};
use super::network::{Memories, Nets, Network, Views, exp};
use super::stroke::{Arrival, Stroke};
use super::weights::{ModelError, Shape, fingerprint};
use crate::theory::{PitchClass, Triad};
use crate::time::Time;
use std::sync::{Arc, LazyLock};

/// The inputs of a view, as `harmony.py` has them.
const TEXT: &str = "\
struck
lowest struck
highest struck
sound, faded by age/4 s
bass: lowest sounding
struck below key 55, window 2
bass, windows 1 and 4, held between strokes
sound, windows 0.5 2 8 30, held between strokes
struck, windows 0.3 1
scalars: since the stroke before/1 at most 2; that under 0.2; struck/5 at most 2; sounding/8 at most 2; lowest struck above the bass/24 at most 2; highest struck above the bass/48 at most 2; alone and not lowest; backward
";
const BLOCKS: usize = 14;
const SCALARS: usize = 8;
/// The triads that a root may carry, in the order of the heads; the suspended one stands for
/// every chord that is none of the others.
pub const TRIADS: [Triad; 5] = [
    Triad::Major,
    Triad::Minor,
    Triad::Diminished,
    Triad::Augmented,
    Triad::Suspended,
];

/// Semitones above a root that speak for themselves: 1 to 11.
const DEGREES: usize = 11;
/// Outputs of a view: root of a chord on each of [`TRIADS`]; bass; degrees.
const HEADS: usize = TRIADS.len() + 1 + DEGREES;

const SHAPE: Shape = Shape {
    blocks: BLOCKS,
    scalars: SCALARS,
    heads: HEADS,
    fingerprint: fingerprint(TEXT),
};

/// The weights of the chords' network.
#[derive(Clone, Debug)]
pub struct HarmonyModel(Arc<Nets>);

impl HarmonyModel {
    /// The one embedded at build from `config/harmony.weights`.
    pub fn standard() -> Result<HarmonyModel, ModelError> {
        static STANDARD: LazyLock<Result<HarmonyModel, ModelError>> =
            LazyLock::new(|| HarmonyModel::parse(include_bytes!("../../config/harmony.weights")));
        STANDARD.clone()
    }

    /// Reads weights as the training wrote them.
    pub fn parse(bytes: &[u8]) -> Result<HarmonyModel, ModelError> {
        Ok(HarmonyModel(Arc::new(Nets::parse(bytes, &SHAPE)?)))
    }
}

/// Keys below this are more often than not the left hand's.
const LOW: u8 = 55;
const WINDOWS: usize = 9;
/// Seconds, in the order of the blocks: low notes struck; bass; sound; struck.
const TAU: [f32; WINDOWS] = [2.0, 1.0, 4.0, 0.5, 2.0, 8.0, 30.0, 0.3, 1.0];
/// The windows of the bass, of the sound, and of what was struck.
const OF_BASS: std::ops::Range<usize> = 1..3;
const OF_SOUND: std::ops::Range<usize> = 3..7;
const OF_STRUCK: std::ops::Range<usize> = 7..9;
/// What an onset adds to its windows, and a low one to its own.
const ONSET: f32 = 0.3;
const LOW_ONSET: f32 = 0.5;
const FIRST_WINDOW: usize = 5;
/// Added below every window's sum: an empty window is all 0.
const SOFT: f32 = 0.15;
/// Seconds since the stroke before: for the first stroke, and the bounds for all others.
const BEGUN: f32 = 2.0;
const LONGEST: f32 = 8.0;
const SHORTEST: f32 = 0.02;

/// For 1 to 11 semitones above a root, how much they speak for a chord that has them, as
/// logarithms. Which chord it is of those on one triad is the sum over its degrees.
pub type Degrees = [f32; DEGREES];

/// A harmony as far as it is learned: the root, and the triad upon it.
pub type RootedTriad = (PitchClass, Triad);

/// What is likely at a stroke, as logarithms up to one number that is the same for all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judgement {
    /// For each of [`TRIADS`] and each root.
    pub chords: [Views; TRIADS.len()],
    pub bass: Views,
    /// For each of [`Degrees`] and each root.
    pub degrees: [Views; DEGREES],
}

impl Judgement {
    const NONE: Judgement = Judgement {
        chords: [[0.0; 12]; TRIADS.len()],
        bass: [0.0; 12],
        degrees: [[0.0; 12]; DEGREES],
    };

    /// How likely a triad on a root is.
    pub fn of(&self, (root, triad): RootedTriad) -> f32 {
        self.chords[triad as usize][root.index()]
    }

    /// How much each degree above a root speaks for a chord on it that has this degree.
    pub fn degrees_on(&self, root: PitchClass) -> Degrees {
        self.degrees.each_ref().map(|said| said[root.index()])
    }

    /// The likeliest root and triad, with its probability. In a tie, the one nearest above
    /// `from`.
    pub fn best(&self, from: PitchClass) -> (RootedTriad, f32) {
        let mut best = (from, Triad::Major);
        for root in (0..12).map(|n| from.up(n)) {
            for triad in TRIADS {
                if self.of((root, triad)) > self.of(best) {
                    best = (root, triad);
                }
            }
        }
        let top = self.of(best);
        let all = self.chords.as_flattened();
        let all = total(all.iter().map(|x| exp::<false>(x - top)));
        (best, 1.0 / all)
    }

    /// The sum of two judgements, of the music before and after a stroke.
    /// `weight`: the factor for the other one's chords; its bass and degrees count in full.
    pub fn with(&self, other: &Judgement, weight: f32) -> Judgement {
        let mut both = *self;
        for (a, b) in both.chords.iter_mut().zip(&other.chords) {
            for (a, b) in a.iter_mut().zip(b) {
                *a += weight * b;
            }
        }
        let (of_both, of_other) = (
            both.degrees.as_flattened_mut(),
            other.degrees.as_flattened(),
        );
        for (a, b) in both.bass.iter_mut().zip(&other.bass) {
            *a += b;
        }
        for (a, b) in of_both.iter_mut().zip(of_other) {
            *a += b;
        }
        both
    }
}

/// What is remembered between strokes.
#[derive(Clone, Debug)]
struct Past {
    windows: [PitchClassProfile; WINDOWS],
    sound: PitchClassProfile,
    bass: Option<PitchClass>,
    last: Option<Time>,
}

impl Past {
    const NONE: Past = Past {
        windows: [[0.0; 12]; WINDOWS],
        sound: [0.0; 12],
        bass: None,
        last: None,
    };
}

/// What a [`Harmony`] remembers after a stroke.
#[derive(Clone, Debug)]
pub struct HarmonyState {
    past: Past,
    memories: Memories,
}

/// Judges strokes, one after another.
#[derive(Clone, Debug)]
pub struct Harmony {
    network: Network,
    direction: ReadingDirection,
    /// Before the stroke that is being judged, and after it.
    before: Past,
    after: Past,
    memories: Memories,
    judgement: Judgement,
}

impl Harmony {
    /// With the embedded weights.
    pub fn standard(direction: ReadingDirection) -> Harmony {
        let model = HarmonyModel::standard()
            .unwrap_or_else(|e| panic!("the embedded config/harmony.weights do not hold: {e}"));
        Harmony::new(model, direction)
    }

    fn new(model: HarmonyModel, direction: ReadingDirection) -> Harmony {
        let network = Network::new(model.0);
        Harmony {
            memories: network.memories().clone(),
            network,
            direction,
            before: Past::NONE,
            after: Past::NONE,
            judgement: Judgement::NONE,
        }
    }

    pub fn reset(&mut self) {
        self.network.reset();
        self.memories.clone_from(self.network.memories());
        (self.before, self.after) = (Past::NONE, Past::NONE);
        self.judgement = Judgement::NONE;
    }

    /// What it said last.
    pub fn judgement(&self) -> &Judgement {
        &self.judgement
    }

    /// What it remembers now.
    pub fn state(&self) -> HarmonyState {
        HarmonyState {
            past: self.after.clone(),
            memories: self.network.memories().clone(),
        }
    }

    /// Goes back to what it remembered after some stroke. [`Harmony::judgement`] is right again
    /// only after the next stroke.
    pub fn restore(&mut self, state: &HarmonyState) {
        self.after.clone_from(&state.past);
        self.network.restore(&state.memories);
    }

    /// Judges a stroke that begins, or the one before with one more key.
    pub fn hear(&mut self, stroke: &Stroke, arrival: Arrival) -> &Judgement {
        match arrival {
            Arrival::Begins => {
                self.before.clone_from(&self.after);
                self.memories.clone_from(self.network.memories());
            }
            Arrival::Joins => self.network.restore(&self.memories),
        }
        let low = stroke.struck.lowest().unwrap_or(0);
        let high = stroke.struck.highest().unwrap_or(0);
        let deep = stroke.sounding.lowest().unwrap_or(low);
        let dt = match self.before.last {
            // Heard from the end, time goes back.
            Some(last) => {
                let gap = stroke.at.since(last).max(last.since(stroke.at));
                (gap.seconds() as f32).clamp(SHORTEST, LONGEST)
            }
            None => BEGUN,
        };

        let past = &mut self.after;
        past.clone_from(&self.before);
        let mut bass = [0.0; 12];
        if let Some(pc) = past.bass {
            bass[pc.index()] = 1.0;
        }
        for (i, window) in past.windows.iter_mut().enumerate() {
            let keep = (-dt / TAU[i]).exp();
            let gain = TAU[i] * (1.0 - keep);
            let held = match i {
                _ if OF_BASS.contains(&i) => &bass,
                _ if OF_SOUND.contains(&i) => &past.sound,
                _ => &[0.0; 12],
            };
            for (w, h) in window.iter_mut().zip(held) {
                *w = *w * keep + gain * h;
            }
        }
        let mut blocks = [[0.0; 12]; BLOCKS];
        for key in stroke.struck.iter() {
            blocks[0][PitchClass::of_key(key).index()] = 1.0;
        }
        for window in &mut past.windows[OF_STRUCK] {
            for (w, struck) in window.iter_mut().zip(&blocks[0]) {
                *w += ONSET * struck;
            }
        }
        let place = |key: u8| PitchClass::of_key(key).index();
        if low < LOW {
            past.windows[0][place(low)] += LOW_ONSET;
        }
        past.sound = stroke.sound;
        past.bass = Some(PitchClass::of_key(deep));
        past.last = Some(stroke.at);

        blocks[1][place(low)] = 1.0;
        blocks[2][place(high)] = 1.0;
        blocks[3] = stroke.sound;
        blocks[4][place(deep)] = 1.0;
        for (block, window) in blocks[FIRST_WINDOW..].iter_mut().zip(&past.windows) {
            let sum = total(window.iter().copied()) + SOFT;
            *block = window.map(|w| (w / sum).sqrt());
        }
        let struck = stroke.struck.len() as f32;
        let over = |key: u8| f32::from(key - deep);
        let scalars: [f32; SCALARS] = [
            dt.min(2.0),
            f32::from(dt < 0.2),
            (struck / 5.0).min(2.0),
            (stroke.sounding.len() as f32 / 8.0).min(2.0),
            (over(low) / 24.0).min(2.0),
            (over(high) / 48.0).min(2.0),
            f32::from(struck == 1.0 && low > deep),
            f32::from(self.direction == ReadingDirection::Backward),
        ];
        let heads = self.network.step(&blocks, &scalars);
        for (said, head) in self.judgement.chords.iter_mut().zip(heads) {
            *said = *head;
        }
        self.judgement.bass = heads[TRIADS.len()];
        for (said, head) in self
            .judgement
            .degrees
            .iter_mut()
            .zip(&heads[TRIADS.len() + 1..])
        {
            *said = *head;
        }
        &self.judgement
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_is_that_of_the_training() {
        let python = include_str!("../../tests/training/harmony.py");
        let blocks = python
            .split_once("BLOCKS = \"\"\"")
            .and_then(|(_, rest)| rest.split_once("\"\"\""))
            .map(|(text, _)| text);
        assert_eq!(blocks, Some(TEXT));
        let number = |name: &str| {
            let line = python.lines().find_map(|l| l.strip_prefix(name));
            line.and_then(|l| l.split_whitespace().next()?.parse::<f32>().ok())
        };
        let same = [
            ("CLUSTER = ", super::super::stroke::CLUSTER.seconds() as f32),
            ("FADE = ", super::super::stroke::FADE),
            ("LOW = ", f32::from(LOW)),
            ("BLOCK_COUNT = ", BLOCKS as f32),
            ("SCALARS = ", SCALARS as f32),
            ("KINDS = ", TRIADS.len() as f32),
            ("DEGREES = ", DEGREES as f32),
        ];
        for (name, value) in same {
            assert_eq!(number(name), Some(value), "{name}");
        }
    }

    #[test]
    fn the_weights_were_learned_on_this_text() {
        // Where `weights` says that it stands in the file.
        let file = include_bytes!("../../config/harmony.weights");
        assert_eq!(file[36..44], fingerprint(TEXT).to_le_bytes());
        HarmonyModel::standard().expect("the embedded weights");
    }
}
