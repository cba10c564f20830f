//! From what is heard to a probability for every tonality. The engine knows the
//! [`Estimator`] trait alone; what stands behind it can be replaced.

use super::window::Heard;
use crate::theory::{Catalogue, MAX_MODES, ModeId, PitchClass, Tonality};
use crate::time::Time;

/// The grid on which center and mode move.
pub const STEP: Time = Time::millis(100);

/// Places for every tonality of the largest catalogue.
pub const TONALITIES: usize = MAX_MODES * 12;
/// Places for collections without a center.
pub const COLLECTIONS: usize = 6;

/// One number for every tonality and every collection without a center.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// Of mode m on center c at `m * 12 + c`.
    pub tonalities: [f32; TONALITIES],
    pub collections: [f32; COLLECTIONS],
}

impl Scores {
    pub const ZERO: Scores = Scores {
        tonalities: [0.0; TONALITIES],
        collections: [0.0; COLLECTIONS],
    };

    pub fn of(&self, t: Tonality) -> f32 {
        self.tonalities[place(t)]
    }
}

/// Where a tonality stands in [`Scores`].
pub fn place(t: Tonality) -> usize {
    t.mode.0 as usize * 12 + t.center.index()
}

/// The tonality at a place of [`Scores`].
pub fn at_place(place: usize) -> Tonality {
    Tonality {
        center: PitchClass::new((place % 12) as i32),
        mode: ModeId((place / 12) as u8),
    }
}

/// Hears one grid step after another. Deterministic, and even-handed: transposed
/// input gives transposed output.
pub trait Estimator: Clone + Send {
    /// Forgets all: the next step begins a piece.
    fn reset(&mut self);

    /// One step. Steps without sound are told too.
    fn step(&mut self, heard: &Heard);

    /// What is likely now, given all steps: sums to 1.
    fn probabilities(&self) -> &Scores;

    /// What the last step alone says, as log-likelihoods up to a constant: for a
    /// reader who knows the whole piece.
    fn evidence(&self) -> &Scores;
}

/// The catalogue of collections without a center, as masks from C, and their names.
pub const NO_CENTER: [(&str, u16); COLLECTIONS] = [
    ("whole-tone", 0b0101_0101_0101),
    ("whole-tone", 0b1010_1010_1010),
    ("octatonic", 0b0110_1101_1011),
    ("octatonic", 0b1101_1011_0110),
    ("octatonic", 0b1011_0110_1101),
    ("chromatic", 0b1111_1111_1111),
];

/// What the plain estimator goes by; see `config/estimator.toml`.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct Parameters {
    pub tonic: f32,
    pub fifth: f32,
    pub third: f32,
    pub member: f32,
    pub movable: f32,
    pub outside: f32,
    pub bass_tonic: f32,
    pub bass_fifth: f32,
    pub bass_member: f32,
    pub bass_outside: f32,
    pub onset: f32,
    pub duration: f32,
    pub bass_onset: f32,
    pub bass_duration: f32,
    pub top_duration: f32,
    pub change_per_second: f32,
    pub same_center: f32,
    pub same_collection: f32,
    pub fifth_related: f32,
    pub no_center: f32,
}

impl Parameters {
    /// The ones embedded at build from `config/estimator.toml`.
    pub fn standard() -> Result<Parameters, String> {
        Parameters::parse(include_str!("../../config/estimator.toml"))
    }

    pub fn parse(text: &str) -> Result<Parameters, String> {
        toml::from_str(text).map_err(|e| e.to_string())
    }
}

/// A hidden Markov model over the tonalities: each hides behind the notes it
/// favours, and seldom gives way to another. The forward algorithm (Rabiner 1989,
/// Proceedings of the IEEE 77(2)) keeps their probabilities.
#[derive(Clone, Debug)]
pub struct Markov {
    modes: usize,
    /// Log weight of a pitch class by mode and distance above the center.
    notes: Vec<[f32; 12]>,
    bass: Vec<[f32; 12]>,
    /// The same for the collections, by pitch class.
    collections: [[f32; 12]; COLLECTIONS],
    /// Prior of a mode, summing to 1; and of each collection.
    prior: Vec<f32>,
    no_center: f32,
    /// Which tonalities share a collection: a group for each, by parent and transposition.
    group: Vec<u16>,
    groups: usize,
    group_sums: Vec<f32>,
    p: Parameters,
    stay: f32,
    probabilities: Scores,
    evidence: Scores,
    empty: bool,
}

impl Markov {
    pub fn new(catalogue: &Catalogue, p: Parameters) -> Markov {
        let modes = catalogue.len();
        let mut notes = Vec::with_capacity(modes);
        let mut bass = Vec::with_capacity(modes);
        let mut parents: Vec<(&str, u16)> = Vec::new();
        let mut group = vec![0; modes * 12];
        for (id, mode) in catalogue.iter() {
            let fifth = mode
                .degrees
                .iter()
                .find(|d| d.number == 5)
                .map(|d| d.semitones());
            let third = mode
                .degrees
                .iter()
                .find(|d| d.number == 3)
                .map(|d| d.semitones());
            let weight = |i: usize| {
                let pc = PitchClass::new(i as i32);
                match i {
                    0 => p.tonic,
                    // A diminished fifth holds no center up.
                    7 if fifth == Some(7) => p.fifth,
                    _ if third == Some(i) => p.third,
                    _ if mode.set().contains(pc) => p.member,
                    _ if mode.all_forms().contains(pc) => p.movable,
                    _ => p.outside,
                }
            };
            let bass_weight = |i: usize| {
                let pc = PitchClass::new(i as i32);
                match i {
                    0 => p.bass_tonic,
                    7 if fifth == Some(7) => p.bass_fifth,
                    _ if mode.all_forms().contains(pc) => p.bass_member,
                    _ => p.bass_outside,
                }
            };
            notes.push(log_shares(std::array::from_fn(weight)));
            bass.push(log_shares(std::array::from_fn(bass_weight)));
            for c in 0..12 {
                let key = (mode.parent.as_str(), mode.set().up(c).mask());
                let g = parents.iter().position(|k| *k == key).unwrap_or_else(|| {
                    parents.push(key);
                    parents.len() - 1
                });
                group[id.0 as usize * 12 + c as usize] = g as u16;
            }
        }
        let total: f32 = catalogue.iter().map(|(_, m)| m.weight).sum();
        let prior = catalogue.iter().map(|(_, m)| m.weight / total).collect();
        let collections = NO_CENTER.map(|(_, mask)| {
            let in_it = |i: usize| {
                if mask >> i & 1 == 1 {
                    1.0
                } else {
                    p.outside / p.member
                }
            };
            log_shares(std::array::from_fn(in_it))
        });
        let mut m = Markov {
            modes,
            notes,
            bass,
            collections,
            prior,
            no_center: p.no_center,
            group,
            groups: parents.len(),
            group_sums: vec![0.0; parents.len()],
            stay: (-p.change_per_second * STEP.seconds() as f32).exp(),
            p,
            probabilities: Scores::ZERO,
            evidence: Scores::ZERO,
            empty: true,
        };
        m.reset();
        m
    }

    /// Where the model may be a step later, before that step is heard.
    fn predict(&mut self) {
        let p = &mut self.probabilities;
        let leave = 1.0 - self.stay;
        // Summed in double precision, so that the order, which transposition
        // turns, leaves no trace.
        let all = total(&p.tonalities[..self.modes * 12]) as f32;
        let none = total(&p.collections) as f32;
        let mut centers = [0.0; 12];
        self.group_sums[..self.groups].fill(0.0);
        for (i, &q) in p.tonalities[..self.modes * 12].iter().enumerate() {
            centers[i % 12] += q;
            self.group_sums[self.group[i] as usize] += q;
        }
        let anywhere =
            (1.0 - self.p.same_center - self.p.same_collection - self.p.fifth_related).max(0.01);
        let before = p.tonalities;
        for m in 0..self.modes {
            for c in 0..12 {
                let i = m * 12 + c;
                let fifths = before[m * 12 + (c + 5) % 12] + before[m * 12 + (c + 7) % 12];
                let arrive = self.prior[m]
                    * (self.p.same_center * centers[c]
                        + self.p.same_collection * self.group_sums[self.group[i] as usize]
                        + (anywhere * all + none) / 12.0)
                    + self.p.fifth_related * 0.5 * fifths;
                p.tonalities[i] = self.stay * before[i] + leave * arrive;
            }
        }
        for q in &mut p.collections {
            *q = self.stay * *q + leave * self.no_center * (all + none) / COLLECTIONS as f32;
        }
    }
}

fn total(weights: &[f32]) -> f64 {
    weights.iter().map(|&w| f64::from(w)).sum()
}

fn log_shares(weights: [f32; 12]) -> [f32; 12] {
    let sum: f32 = weights.iter().sum();
    weights.map(|w| (w.max(1e-6) / sum).ln())
}

impl Estimator for Markov {
    fn reset(&mut self) {
        self.empty = true;
        self.evidence = Scores::ZERO;
        self.probabilities = Scores::ZERO;
        for m in 0..self.modes {
            for c in 0..12 {
                self.probabilities.tonalities[m * 12 + c] =
                    self.prior[m] * (1.0 - self.no_center) / 12.0;
            }
        }
        self.probabilities.collections = [self.no_center / COLLECTIONS as f32; COLLECTIONS];
    }

    fn step(&mut self, heard: &Heard) {
        // Silence says nothing and makes nothing likelier to have changed.
        if !heard.any {
            self.evidence = Scores::ZERO;
            return;
        }
        if !self.empty {
            self.predict();
        }
        self.empty = false;
        let mut x = [0.0; 12];
        let mut b = [0.0; 12];
        for i in 0..12 {
            x[i] = self.p.onset * heard.onsets[i]
                + self.p.duration * heard.sounding[i]
                + self.p.top_duration * heard.top[i];
            b[i] = self.p.bass_onset * heard.bass_onsets[i] + self.p.bass_duration * heard.bass[i];
        }
        let bass_weight = total(&b) as f32;
        let mut best = f32::NEG_INFINITY;
        for m in 0..self.modes {
            let (notes, bass) = (&self.notes[m], &self.bass[m]);
            for c in 0..12 {
                let mut sum = 0.0;
                for above in 0..12 {
                    let i = (c + above) % 12;
                    sum += x[i] * notes[above] + b[i] * bass[above];
                }
                self.evidence.tonalities[m * 12 + c] = sum;
                best = best.max(sum);
            }
        }
        for (q, log) in self.evidence.collections.iter_mut().zip(&self.collections) {
            let sum: f64 = x
                .iter()
                .zip(log)
                .map(|(&x, &l)| f64::from(x) * f64::from(l))
                .sum();
            *q = sum as f32 + bass_weight * (1.0f32 / 12.0).ln();
            best = best.max(*q);
        }
        let mut sum = 0.0f64;
        let p = &mut self.probabilities;
        let used = self.modes * 12;
        let pairs = p.tonalities[..used]
            .iter_mut()
            .zip(&self.evidence.tonalities[..used])
            .chain(p.collections.iter_mut().zip(&self.evidence.collections));
        for (q, e) in pairs {
            *q *= (e - best).exp();
            sum += f64::from(*q);
        }
        // All but impossible input leaves nothing: then begin afresh.
        if sum < 1e-30 || !sum.is_finite() {
            self.reset();
            return;
        }
        let share = (1.0 / sum) as f32;
        for q in p.tonalities[..used].iter_mut().chain(&mut p.collections) {
            *q *= share;
        }
    }

    fn probabilities(&self) -> &Scores {
        &self.probabilities
    }

    fn evidence(&self) -> &Scores {
        &self.evidence
    }
}
