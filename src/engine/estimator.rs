//! From what is heard to a probability for every tonality. The engine knows the
//! [`Estimator`] trait alone; what stands behind it can be replaced.

use super::collection::Collection;
use super::features::{BLOCKS, Features, Frame, ReadingDirection, SCALARS, TEXT};
use super::network::{Memories, Nets, Network, Views, exp};
use super::weights::{ModelError, Shape, fingerprint};
use crate::theory::{Catalogue, MAX_MODES, PitchClass, Tonality};
use crate::time::Time;
use std::sync::{Arc, LazyLock};

/// The grid on which center and mode move.
pub const STEP: Time = Time::millis(100);

/// Places for every tonality of the largest catalogue.
pub const TONALITIES: usize = MAX_MODES * 12;
/// Places for collections without a center.
pub const COLLECTIONS: usize = Collection::COUNT;

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

    /// Of a tonality of the catalogue that these are about; `None` of a scale's, which music is
    /// never taken for.
    pub fn of(&self, t: Tonality) -> Option<f32> {
        Some(self.tonalities[place(t)?])
    }

    /// Of a collection without a center.
    pub fn free(&self, collection: Collection) -> f32 {
        self.collections[collection.index()]
    }

    /// Those of `modes` modes and of the collections, with centers and collections
    /// counted from `center`: of transposed music from its transposed center the same.
    pub fn seen_from(&self, center: PitchClass, modes: usize) -> impl Iterator<Item = f32> {
        let up = center.index();
        let turned =
            move |mode: &[f32; 12]| std::array::from_fn::<f32, 12, _>(|c| mode[(c + up) % 12]);
        let (modes, _) = self.tonalities[..modes * 12].as_chunks();
        let collections = Collection::all().map(move |c| self.free(c.up(up as i32)));
        modes.iter().flat_map(turned).chain(collections)
    }
}

/// Where a tonality stands in [`Scores`], below [`TONALITIES`]; `None` of a scale's.
pub fn place(t: Tonality) -> Option<usize> {
    (t.mode.index() < MAX_MODES).then(|| t.mode.index() * 12 + t.center.index())
}

/// The tonality at a place of [`Scores`]; `None` past the last mode of the catalogue.
pub fn at_place(place: usize, catalogue: &Catalogue) -> Option<Tonality> {
    Some(Tonality {
        center: PitchClass::new((place % 12) as i32),
        mode: catalogue.id(place / 12)?,
    })
}

/// Hears one grid step after another. Deterministic; transposed input gives transposed
/// output, to the last bit.
pub trait Estimator: Clone + Send {
    /// What it remembers from step to step.
    type State: Clone + Send;

    /// Forgets everything: the next step begins a piece.
    fn reset(&mut self);

    /// One step, with or without sound.
    fn step(&mut self, frame: &Frame);

    /// What is likely now, given all steps: sums to 1.
    fn probabilities(&self) -> &Scores;

    /// Their logarithms, for hindsight. None is below -100.
    fn evidence(&self) -> &Scores;

    /// What it remembers now.
    fn state(&self) -> Self::State;

    /// The same, written over an older one without allocating.
    fn save(&self, over: &mut Self::State);

    /// Goes back to what it remembered. [`Estimator::probabilities`] are right again only
    /// after the next step.
    fn restore(&mut self, state: &Self::State);
}

/// How likely the collections of [`SEEN`] are before a note is heard, seen from one of
/// their notes, as a share of all modes together. Chosen so that random notes and
/// drums are seldom taken for a tonality, and tunes never for music without one
/// (tests/training).
const NO_CENTER_SHARE: [f32; 4] = [0.01, 0.01, 0.01, 0.04];

/// The collections as a view has them, in semitones above it: the whole-tone one, both
/// forms of the octatonic one, the chromatic one.
const SEEN: [Collection; 4] = [
    Collection::WHOLE_TONE,
    Collection::OCTATONIC_HALF_STEP_FIRST,
    Collection::OCTATONIC_WHOLE_STEP_FIRST,
    Collection::CHROMATIC,
];

/// Units of the shares in 1.
const UNITS: f64 = (1u64 << 40) as f64;

/// The smallest logarithm.
const IMPOSSIBLE: f32 = -100.0;

/// Of the estimator's network. Outputs of a view: center, no center, twelve degrees, and the
/// root of the chord, which only the training uses.
const SHAPE: Shape = Shape {
    blocks: BLOCKS,
    scalars: SCALARS,
    heads: 15,
    fingerprint: fingerprint(TEXT),
};

/// The weights of the estimator's network: one net or several.
#[derive(Debug)]
pub struct Model(Arc<Nets>);

impl Model {
    /// Maximum number of bytes of a file of weights.
    pub const MAX_BYTES: usize = SHAPE.max_bytes();

    /// The one embedded at build from `config/estimator.weights`.
    pub fn standard() -> Result<Arc<Model>, ModelError> {
        static STANDARD: LazyLock<Result<Arc<Model>, ModelError>> = LazyLock::new(|| {
            let bytes = include_bytes!("../../config/estimator.weights");
            Model::parse(bytes).map(Arc::new)
        });
        STANDARD.clone()
    }

    /// Reads weights as the training wrote them.
    pub fn parse(bytes: &[u8]) -> Result<Model, ModelError> {
        Ok(Model(Arc::new(Nets::parse(bytes, &SHAPE)?)))
    }

    /// Divides the scores before they become probabilities.
    pub fn temperature(&self) -> f32 {
        self.0.temperature
    }

    /// The same for what was learned for hindsight.
    pub fn temperature_hindsight(&self) -> f32 {
        self.0.temperature_hindsight
    }
}

/// The learned estimator. A view, one of the twelve pitch classes, gives a weight
/// for being the center, one for having none, and one for each degree above it; the
/// score of a mode there is the sum over its interval set. So modes that it never
/// learned are scored like the others.
#[derive(Clone, Debug)]
pub struct Learned {
    model: Arc<Model>,
    features: Features,
    network: Network,
    temperature: f32,
    /// For each mode, how far each degree belongs to it, and the logarithm of its weight.
    member: Vec<[f32; 12]>,
    log_weight: Vec<f32>,
    /// The same for [`SEEN`].
    log_free: [f32; 4],
    /// Which collection a view has as each of [`SEEN`].
    whose: [[usize; 12]; 4],
    /// Room to work in: scores by mode and view, then those of [`SEEN`].
    scores: Vec<Views>,
    /// The same as shares, in whole units of 2^-40.
    shares: Vec<[f64; 12]>,
    prior: Scores,
    probabilities: Scores,
    evidence: Scores,
}

impl Learned {
    /// `catalogue`: the modes to tell apart; `model`: the weights.
    pub fn new(catalogue: &Catalogue, model: Arc<Model>) -> Learned {
        Learned::facing(catalogue, model, ReadingDirection::Forward)
    }

    /// The same for music that is heard from its end to its beginning.
    pub fn backward(catalogue: &Catalogue, model: Arc<Model>) -> Learned {
        Learned::facing(catalogue, model, ReadingDirection::Backward)
    }

    fn facing(catalogue: &Catalogue, model: Arc<Model>, direction: ReadingDirection) -> Learned {
        let member = catalogue.iter().map(|(_, mode)| {
            let mut member = [0.0; 12];
            for d in mode.degrees.iter().chain(&mode.movable) {
                // Either form of a movable degree counts half.
                let moves = mode.movable.iter().any(|m| m.number == d.number);
                member[d.semitones()] = if moves { 0.5 } else { 1.0 };
            }
            member
        });
        let whose = SEEN.map(|seen| std::array::from_fn(|view| seen.up(view as i32).index()));
        let modes: f32 = catalogue.iter().map(|(_, m)| m.weight).sum();
        let free = NO_CENTER_SHARE.map(|share| share * modes);
        let all = (modes + free.iter().sum::<f32>()) * 12.0;
        let mut prior = Scores::ZERO;
        for (id, mode) in catalogue.iter() {
            let first = id.index() * 12;
            prior.tonalities[first..first + 12].fill(mode.weight / all);
        }
        for (whose, weight) in whose.iter().zip(free) {
            for &c in whose {
                prior.collections[c] += weight / all;
            }
        }
        let mut learned = Learned {
            features: Features::new(direction),
            temperature: match direction {
                ReadingDirection::Forward => model.temperature(),
                ReadingDirection::Backward => model.temperature_hindsight(),
            },
            network: Network::new(Arc::clone(&model.0)),
            model,
            member: member.collect(),
            log_weight: catalogue.iter().map(|(_, m)| m.weight.ln()).collect(),
            log_free: free.map(f32::ln),
            whose,
            scores: vec![[0.0; 12]; catalogue.len() + SEEN.len()],
            shares: vec![[0.0; 12]; catalogue.len() + SEEN.len()],
            probabilities: prior.clone(),
            evidence: Scores::ZERO,
            prior,
        };
        learned.reset();
        learned
    }

    /// The sum over an interval set, for each view: `first` and so much of each degree.
    fn score(heads: &[Views], first: usize, member: &[f32; 12], log: f32) -> Views {
        let mut sum = heads[first];
        for (degree, member) in heads[2..14].iter().zip(member) {
            for (s, d) in sum.iter_mut().zip(degree) {
                *s += d * member;
            }
        }
        sum.map(|s| s + log)
    }
}

impl Learned {
    /// The model that it was made from.
    pub fn model(&self) -> Arc<Model> {
        Arc::clone(&self.model)
    }
}

impl Estimator for Learned {
    type State = (Features, Memories);

    fn reset(&mut self) {
        self.features.reset();
        self.network.reset();
        self.probabilities.clone_from(&self.prior);
        let log = |p: f32| p.ln().max(IMPOSSIBLE);
        self.evidence.tonalities = self.prior.tonalities.map(log);
        self.evidence.collections = self.prior.collections.map(log);
    }

    fn step(&mut self, frame: &Frame) {
        let inputs = self.features.step(frame);
        let heads = self.network.step(&inputs.blocks, &inputs.scalars);
        let modes = self.member.len();
        let (tonal, free) = self.scores.split_at_mut(modes);
        for ((score, member), &log) in tonal.iter_mut().zip(&self.member).zip(&self.log_weight) {
            *score = Learned::score(heads, 0, member, log);
        }
        for ((score, seen), log) in free.iter_mut().zip(SEEN).zip(self.log_free) {
            let mask = seen.set().mask();
            let member = std::array::from_fn(|d| f32::from(mask >> d & 1));
            *score = Learned::score(heads, 1, &member, log);
        }
        let best = self
            .scores
            .as_flattened()
            .iter()
            .fold(f32::NEG_INFINITY, |b, &s| b.max(s));
        // Shares in whole numbers, which are exact as far as 2^53: the order of the sum,
        // which transposition turns, leaves no trace.
        let scores = self.scores.as_flattened_mut();
        for s in scores.iter_mut() {
            *s = (*s - best) / self.temperature;
        }
        let shares = self.shares.as_flattened_mut();
        for (share, s) in shares.iter_mut().zip(scores) {
            // Adding it leaves whole numbers.
            const WHOLE: f64 = (1u64 << 52) as f64;
            *share = (f64::from(exp::<false>(*s)) * UNITS + WHOLE) - WHOLE;
        }
        let all: f64 = shares.iter().sum();
        let log_all = ((all / UNITS) as f32).ln();
        let part = |share: f64| (share / all) as f32;
        let (tonal, free) = self.shares.split_at(modes);
        let places = self.probabilities.tonalities.iter_mut();
        for (p, &share) in places.zip(tonal.as_flattened()) {
            *p = part(share);
        }
        let places = self.evidence.tonalities.iter_mut();
        for (log, s) in places.zip(self.scores[..modes].as_flattened()) {
            *log = (s - log_all).max(IMPOSSIBLE);
        }
        let mut collections = [0.0; COLLECTIONS];
        for (&share, &c) in free.as_flattened().iter().zip(self.whose.as_flattened()) {
            collections[c] += share;
        }
        self.probabilities.collections = collections.map(part);
        self.evidence.collections =
            collections.map(|c| ((c.max(1.0) / UNITS) as f32).ln() - log_all);
    }

    fn probabilities(&self) -> &Scores {
        &self.probabilities
    }

    fn evidence(&self) -> &Scores {
        &self.evidence
    }

    fn state(&self) -> Self::State {
        (self.features.clone(), self.network.memories().clone())
    }

    fn save(&self, (features, memories): &mut Self::State) {
        features.clone_from(&self.features);
        memories.clone_from(self.network.memories());
    }

    fn restore(&mut self, (features, memories): &Self::State) {
        self.features.clone_from(features);
        self.network.restore(memories);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learned() -> Learned {
        let model = Model::standard().expect("the embedded weights");
        Learned::new(Catalogue::standard(), model)
    }

    #[test]
    fn a_movable_degree_counts_half_in_either_form() {
        let minor = Catalogue::standard().find("minor").expect("minor");
        assert_eq!(
            learned().member[minor.index()],
            [1.0, 0.0, 1.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.5, 0.5, 0.5, 0.5]
        );
    }

    #[test]
    fn each_collection_is_seen_from_each_of_its_notes() {
        let mut seen = [0; COLLECTIONS];
        let all: Vec<Collection> = Collection::all().collect();
        for (collection, whose) in SEEN.iter().zip(learned().whose) {
            for (view, c) in whose.into_iter().enumerate() {
                assert_eq!(collection.set().up(view as i32), all[c].set());
                seen[c] += 1;
            }
        }
        assert_eq!(seen, [6, 6, 8, 8, 8, 12]);
    }

    #[test]
    fn scores_are_seen_from_a_center() {
        let mut s = Scores::ZERO;
        let dorian = |c| Tonality {
            center: PitchClass::new(c),
            mode: Catalogue::standard().find("dorian").expect("dorian"),
        };
        let place = |c| place(dorian(c)).expect("a mode");
        s.tonalities[place(2)] = 1.0;
        // Whole tones on C, octatonic on C sharp and D.
        s.collections = [2.0, 0.0, 0.0, 3.0, 0.0, 4.0];
        let seen = |from: i32| s.seen_from(PitchClass::new(from), 31).collect::<Vec<f32>>();
        for (from, collections) in [
            (0, s.collections),
            (1, [0.0, 2.0, 3.0, 0.0, 0.0, 4.0]),
            (5, [0.0, 2.0, 0.0, 0.0, 3.0, 4.0]),
        ] {
            let seen = seen(from);
            assert_eq!(seen.len(), 31 * 12 + COLLECTIONS);
            assert_eq!(seen[place(2 - from)], 1.0);
            assert_eq!(seen[31 * 12..], collections);
        }
    }

    #[test]
    fn probabilities_sum_to_one_before_and_after_a_step() {
        let mut e = learned();
        let sum = |e: &Learned| {
            let p = e.probabilities();
            let all = p.tonalities.iter().chain(&p.collections);
            all.map(|&p| f64::from(p)).sum::<f64>()
        };
        assert!((sum(&e) - 1.0).abs() < 1e-5);
        let frame = Frame {
            onsets: [1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0],
            ..Frame::default()
        };
        for _ in 0..20 {
            e.step(&frame);
            assert!((sum(&e) - 1.0).abs() < 1e-5);
            let p = e.probabilities().tonalities[0];
            assert!((e.evidence().tonalities[0] - p.ln()).abs() < 1e-3);
        }
    }
}
