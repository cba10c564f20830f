//! What each rival has gathered against what is established.
//!
//! A rival gathers its lead: the logarithm of how many times likelier it is, less a bar,
//! summed over time and never below 0 (Page's cumulative sum, 1954, Biometrika 41). Past
//! the patience of the inertia it takes over.

use super::inertia::{Inertia, Rules};
use super::probabilities::Probabilities;
use crate::engine::estimator::STEP;
use crate::theory::{MAX_MODES, ModeId, PitchClass, Tonality};
use crate::time::Time;

/// The greatest lead that counts in a step, as a logarithm.
const CLEAR: f32 = 3.0;
/// A new mode on the same center needs no bar, and this share of the patience.
const MODE_PATIENCE: f32 = 0.4;
/// The way back home needs this share of the patience.
const BACK_HOME: f32 = 0.7;
/// The bar for losing the center, and how many patiences it takes.
const ADRIFT_BAR: f32 = 0.5;
const ADRIFT_PATIENCE: f32 = 6.0;

impl Inertia {
    /// How long it takes until another center is established that is this many times
    /// likelier; `None` where that is never enough.
    pub fn takes(self, times: f32) -> Option<Time> {
        let rules = self.rules();
        let gains = times.ln().min(CLEAR) - rules.bar;
        (gains > 0.0).then(|| Time::from_seconds(f64::from(rules.patience / gains)))
    }
}

/// In logarithms times seconds: what each center, each mode of the established center, and
/// having no center have gathered.
#[derive(Clone, Debug)]
pub(super) struct Gathered {
    centers: [f32; 12],
    modes: [f32; MAX_MODES],
    adrift: f32,
}

impl Gathered {
    pub const ZERO: Gathered = Gathered {
        centers: [0.0; 12],
        modes: [0.0; MAX_MODES],
        adrift: 0.0,
    };

    /// One step while nothing is established: each center against `base`.
    pub fn step_from_nothing(&mut self, centers: &[f32; 12], base: f32) {
        for (gathered, &q) in self.centers.iter_mut().zip(centers) {
            gather(gathered, lead(q, base));
        }
    }

    /// One step against the established center `now`: the other centers, and having none.
    pub fn step_centers(
        &mut self,
        centers: &[f32; 12],
        adrift: f32,
        now: PitchClass,
        rules: Rules,
    ) {
        let base = centers[now.index()];
        for (i, gathered) in self.centers.iter_mut().enumerate() {
            if i != now.index() {
                gather(gathered, lead(centers[i], base) - rules.bar);
            }
        }
        gather(&mut self.adrift, lead(adrift, base) - ADRIFT_BAR);
    }

    /// One step for the modes of the established center: the foremost other one, and
    /// how near it is to taking over, at 1.
    pub fn step_modes(&mut self, p: Probabilities, now: Tonality, rules: Rules) -> (ModeId, f32) {
        let together = p.together(now.center);
        let own = |m: usize| p.of(m, now.center);
        let mine = now.mode.index();
        let forbidden = !p.allowed(mine, now.center);
        let mut best = (now.mode, 0.0);
        for m in p.modes().filter(|&m| m != mine) {
            let lead = match p.kin(m) == p.kin(mine) {
                true if forbidden => CLEAR,
                true => lead(own(m), own(mine)),
                false => lead(together[p.kin(m)], together[p.kin(mine)]),
            };
            if !p.allowed(m, now.center) {
                self.modes[m] = 0.0;
                continue;
            }
            let gathered = &mut self.modes[m];
            gather(gathered, lead);
            let near = *gathered / (MODE_PATIENCE * rules.patience);
            let likelier = best.1 > 0.0 && near == best.1 && own(m) > own(best.0.index());
            if lead > 0.0 && (near > best.1 || likelier) {
                best = (p.id(m), near);
            }
        }
        best
    }

    /// Another mode of the same center is established.
    pub fn forget_modes(&mut self) {
        self.modes = [0.0; MAX_MODES];
    }

    /// Of the centers other than the established one, the foremost, and what it has gathered.
    pub fn foremost(&self, centers: &[f32; 12], now: Option<PitchClass>) -> (PitchClass, f32) {
        let from = now.unwrap_or(PitchClass::new(0));
        (i32::from(now.is_some())..12)
            .map(|n| from.up(n))
            .map(|c| (c, self.centers[c.index()]))
            .reduce(|best, x| {
                let tie = x.1 == best.1 && centers[x.0.index()] > centers[best.0.index()];
                if x.1 > best.1 || tie { x } else { best }
            })
            .unwrap_or((from, 0.0))
    }

    /// The center that is nearest to taking over from `now`, the foremost or home, and how
    /// near it is, at 1.
    pub fn nearest(
        &self,
        centers: &[f32; 12],
        now: PitchClass,
        home: Option<PitchClass>,
        rules: Rules,
    ) -> (PitchClass, f32) {
        let (center, gathered) = self.foremost(centers, Some(now));
        let near = gathered / rules.patience;
        let back = home.filter(|&h| h != now).map(|h| {
            let near = self.centers[h.index()] / (rules.patience * BACK_HOME);
            (h, near)
        });
        back.filter(|b| b.1 >= near).unwrap_or((center, near))
    }

    /// Whether having no center has lasted long enough.
    pub fn is_adrift(&self, rules: Rules) -> bool {
        self.adrift > ADRIFT_PATIENCE * rules.patience
    }

    /// How near a center is to taking over, 0 to 1.
    pub fn nearness_of_center(
        &self,
        center: PitchClass,
        home: Option<PitchClass>,
        rules: Rules,
    ) -> f32 {
        let way = if home == Some(center) { BACK_HOME } else { 1.0 };
        let gathered = self.centers[center.index()] / way;
        (gathered / rules.patience).clamp(0.0, 1.0)
    }

    /// How near the modes with the notes of `kin` are to taking over, 0 to 1.
    pub fn nearness_of_kin(&self, p: Probabilities, kin: usize, rules: Rules) -> f32 {
        let own = p.modes().filter(|&m| p.kin(m) == kin);
        let gathered = own.map(|m| self.modes[m]).fold(0.0, f32::max) / MODE_PATIENCE;
        (gathered / rules.patience).clamp(0.0, 1.0)
    }
}

/// How many times likelier, as a bounded logarithm.
fn lead(rival: f32, base: f32) -> f32 {
    (rival.max(1e-9) / base.max(1e-9)).ln().clamp(-CLEAR, CLEAR)
}

fn gather(sum: &mut f32, lead: f32) {
    *sum = (*sum + lead * STEP.seconds() as f32).max(0.0);
}
