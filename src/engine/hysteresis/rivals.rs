//! Who gains on what is established, reported long enough to be read.

use super::gathered::Gathered;
use super::inertia::Rules;
use super::probabilities::Probabilities;
use crate::engine::estimator::STEP;
use crate::theory::{MAX_MODES, ModeId, PitchClass, Tonality};

/// A contender's share of the probability that it and the established one have together,
/// averaged over a time constant in seconds, is noticed from this value on …
const NOTICED: f32 = 0.25;
const WHILE: f32 = 1.0;
/// … until it has fallen to this. Chosen by looking at recordings: a passing bass note is
/// no contender, and a contender stays long enough to be read.
const FORGOTTEN: f32 = 0.12;
/// Another contender must exceed the present one by this much.
const FOREMOST: f32 = 0.1;
/// The mode of a contender changes as soon as another one is this many times likelier.
const OTHER_MODE: f32 = 1.6;

/// Who may gain on the established tonality: another center, or another mode on its own,
/// by the first with the same notes.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Who {
    Center(PitchClass),
    Mode(usize),
}

/// The tonality that gains on the established one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rival {
    pub tonality: Tonality,
    /// Of its center, with any mode; of another mode on the established center, its own.
    pub probability: f32,
    /// 0 to 1: the first half is how likely it was lately, the second what it has
    /// gathered of what it needs.
    pub nearness: f32,
}

/// All rivals of the established tonality, and the one reported.
#[derive(Clone, Debug)]
pub(super) struct Rivals {
    /// The shares lately of the other centers, and of the other modes on the center.
    centers: [f32; 12],
    modes: [f32; MAX_MODES],
    contender: Option<Rival>,
}

impl Rivals {
    pub const NONE: Rivals = Rivals {
        centers: [0.0; 12],
        modes: [0.0; MAX_MODES],
        contender: None,
    };

    pub fn contender(&self) -> Option<Rival> {
        self.contender
    }

    /// Another mode of the same center is established.
    pub fn forget_modes(&mut self) {
        self.modes = [0.0; MAX_MODES];
        self.contender = None;
    }

    /// One step of who gains on `now`: other centers, and other modes on its own.
    pub fn follow(
        &mut self,
        p: Probabilities,
        now: Tonality,
        home: Option<PitchClass>,
        gathered: &Gathered,
        rules: Rules,
    ) {
        let centers = p.centers();
        let together = p.together(now.center);
        let own = p.kin(now.mode.index());
        self.step(&centers, now.center, &together, own);
        let modes = p.modes().filter(|&m| p.kin(m) == m && m != own);
        let modes = modes.filter(|&kin| p.best_of_kin(now.center, kin).is_some());
        // From the established center up, so that ties fall alike in every transposition.
        let others = (1..12).map(|n| Who::Center(now.center.up(n)));
        let foremost = modes.map(Who::Mode).chain(others);
        let foremost = foremost
            .map(|who| (who, self.lately(who)))
            .reduce(|best, x| if x.1 > best.1 { x } else { best });
        let named = |t: &Tonality| p.allowed(t.mode.index(), t.center);
        let said = self.contender.map(|c| c.tonality).filter(named);
        let kept = said.map(|t| match t.center == now.center {
            true => Who::Mode(p.kin(t.mode.index())),
            false => Who::Center(t.center),
        });
        let kept = kept.filter(|&who| who != Who::Mode(own) && self.lately(who) >= FORGOTTEN);
        let who = match (foremost, kept) {
            (Some((_, most)), Some(kept)) if most < self.lately(kept) + FOREMOST => Some(kept),
            (Some((who, most)), _) if most >= NOTICED => Some(who),
            _ => None,
        };
        self.contender = who.map(|who| {
            let (tonality, probability, gathered) = match who {
                Who::Mode(kin) => {
                    let mode = said
                        .filter(|_| kept == Some(who))
                        .map(|t| t.mode)
                        .or_else(|| p.best_of_kin(now.center, kin));
                    let mode = mode.unwrap_or(p.id(kin));
                    let near = gathered.nearness_of_kin(p, kin, rules);
                    (Tonality { mode, ..now }, together[kin], near)
                }
                Who::Center(center) => {
                    let (mode, q) = p.best_mode(center);
                    let others = p.together(center);
                    let before = said.filter(|t| t.center == center).map(|t| t.mode);
                    let stays = |m: &ModeId| others[p.kin(m.index())] * OTHER_MODE > q;
                    let mode = before.filter(stays).unwrap_or(mode);
                    let near = gathered.nearness_of_center(center, home, rules);
                    (Tonality { center, mode }, centers[center.index()], near)
                }
            };
            // An equal share (0.5) fills the whole of the first half.
            let likely = (self.lately(who) / 0.5).clamp(0.0, 1.0);
            Rival {
                tonality,
                probability,
                nearness: 0.5 * (likely + gathered),
            }
        });
    }

    /// One step of the shares, against the established center and the modes with the notes
    /// of the established one.
    fn step(
        &mut self,
        centers: &[f32; 12],
        center: PitchClass,
        modes: &[f32; MAX_MODES],
        kin: usize,
    ) {
        let step = STEP.seconds() as f32 / WHILE;
        let toward = |lately: &mut f32, q: f32, base: f32| {
            *lately += (q / (q + base).max(1e-9) - *lately) * step;
        };
        for (lately, &q) in self.centers.iter_mut().zip(centers) {
            toward(lately, q, centers[center.index()]);
        }
        for (lately, &q) in self.modes.iter_mut().zip(modes) {
            toward(lately, q, modes[kin]);
        }
    }

    fn lately(&self, who: Who) -> f32 {
        match who {
            Who::Center(center) => self.centers[center.index()],
            Who::Mode(kin) => self.modes[kin],
        }
    }
}
