//! What a step makes likely: centers, and of the modes on a center those that may be named.

use crate::engine::estimator::Scores;
use crate::theory::{Catalogue, MAX_MODES, ModeId, PitchClass, PitchClassSet};

/// The modes of a catalogue.
#[derive(Clone, Debug)]
pub(super) struct Modes {
    count: usize,
    ids: [ModeId; MAX_MODES],
    /// For each mode [`Catalogue::needed`] and [`Catalogue::kin`].
    needs: [PitchClassSet; MAX_MODES],
    kin: [usize; MAX_MODES],
}

impl Modes {
    pub fn new(catalogue: &Catalogue) -> Modes {
        let mut needs = [PitchClassSet::EMPTY; MAX_MODES];
        let mut kin = std::array::from_fn(|m| m);
        for (id, _) in catalogue.iter() {
            needs[id.index()] = catalogue.needed(id);
            kin[id.index()] = catalogue.kin(id).index();
        }
        Modes {
            count: catalogue.len(),
            ids: catalogue.ids(),
            needs,
            kin,
        }
    }

    /// A step's scores, and the notes heard by then.
    pub fn weigh<'a>(&'a self, scores: &'a Scores, heard: PitchClassSet) -> Probabilities<'a> {
        Probabilities {
            modes: self,
            scores,
            heard,
        }
    }
}

/// What a step makes likely.
#[derive(Clone, Copy)]
pub(super) struct Probabilities<'a> {
    modes: &'a Modes,
    scores: &'a Scores,
    heard: PitchClassSet,
}

impl Probabilities<'_> {
    /// All modes by number.
    pub fn modes(&self) -> impl Iterator<Item = usize> {
        0..self.modes.count
    }

    /// The mode of a number.
    pub fn id(&self, m: usize) -> ModeId {
        self.modes.ids[m]
    }

    /// The first mode with the same notes.
    pub fn kin(&self, m: usize) -> usize {
        self.modes.kin[m]
    }

    /// Of a mode on a center.
    pub fn of(&self, m: usize, center: PitchClass) -> f32 {
        self.scores.tonalities[m * 12 + center.index()]
    }

    /// The sum of each center's tonalities.
    pub fn centers(&self) -> [f32; 12] {
        let mut sums = [0.0; 12];
        let all = &self.scores.tonalities[..self.modes.count * 12];
        for (i, q) in all.iter().enumerate() {
            sums[i % 12] += q;
        }
        sums
    }

    /// The modes of a center, those with the same notes summed at the first of them.
    pub fn together(&self, center: PitchClass) -> [f32; MAX_MODES] {
        let mut sums = [0.0; MAX_MODES];
        for m in self.modes() {
            sums[self.kin(m)] += self.of(m, center);
        }
        sums
    }

    /// Whether a mode may be named, given what was heard.
    pub fn allowed(&self, m: usize, center: PitchClass) -> bool {
        self.modes.needs[m].is_subset(self.heard.seen_from(center))
    }

    /// The likeliest mode on a center of those that may be named: by the sum over modes
    /// with the same notes, then among them. With that sum.
    pub fn best_mode(&self, center: PitchClass) -> (ModeId, f32) {
        let together = self.together(center);
        self.modes()
            .filter(|&m| self.allowed(m, center))
            .map(|m| (m, together[self.kin(m)]))
            .reduce(|best, x| {
                let better = if self.kin(best.0) == self.kin(x.0) {
                    self.of(x.0, center) > self.of(best.0, center)
                } else {
                    x.1 > best.1
                };
                if better { x } else { best }
            })
            .map_or((self.id(0), 0.0), |(m, q)| (self.id(m), q))
    }

    /// The likeliest that may be named of the modes with the notes of `kin`.
    pub fn best_of_kin(&self, center: PitchClass, kin: usize) -> Option<ModeId> {
        let own = |m: usize| self.of(m, center);
        self.modes()
            .filter(|&m| self.kin(m) == kin && self.allowed(m, center))
            .reduce(|best, m| if own(m) > own(best) { m } else { best })
            .map(|m| self.id(m))
    }
}
