//! Home: the tonality that the music is in on the larger scale.

use super::inertia::Inertia;
use crate::engine::estimator::{STEP, TONALITIES, place};
use crate::theory::{Catalogue, MAX_MODES, ModeId, PitchClass, Tonality};
use crate::time::Time;

/// Seconds on the first center before it is home.
const FIRST_HOME: f32 = 2.0;
/// Home changes to a center that weighs this many times more …
const LEAVE_HOME: f32 = 1.6;
/// … unless that center has been home before.
const RETURN_HOME: f32 = 1.0;
/// The mode at home changes to one that weighs this many times more.
const HOME_MODE: f32 = 2.0;

impl Inertia {
    /// How long another center must be stayed on, after a long stay on home, until it is
    /// home.
    pub fn home_moves_after(self) -> Time {
        // The weight of the old one falls as that of the new one rises, with one time constant.
        let seconds = self.rules().home * (1.0 + LEAVE_HOME).ln();
        Time::from_seconds(f64::from(seconds))
    }
}

/// The tonality that the music is in on the larger scale.
#[derive(Clone, Debug)]
pub struct Home {
    now: Option<Tonality>,
    /// Seconds spent lately in each tonality, forgotten slowly.
    weights: [f32; TONALITIES],
    modes: usize,
    ids: [ModeId; MAX_MODES],
    /// Centers that have been home, by pitch class.
    been: u16,
}

impl Home {
    pub fn new(catalogue: &Catalogue) -> Home {
        Home {
            now: None,
            weights: [0.0; TONALITIES],
            modes: catalogue.len(),
            ids: catalogue.ids(),
            been: 0,
        }
    }

    pub fn now(&self) -> Option<Tonality> {
        self.now
    }

    /// Seconds spent lately on a center, and the mode that had most of them.
    fn on(&self, center: PitchClass) -> (f32, ModeId) {
        let mut best = (f32::MIN, self.ids[0]);
        let mut sum = 0.0;
        for m in 0..self.modes {
            let w = self.weights[m * 12 + center.index()];
            sum += w;
            if w > best.0 {
                best = (w, self.ids[m]);
            }
        }
        (sum, best.1)
    }

    /// Of a tonality; `None` of a scale's.
    fn weight(&mut self, t: Tonality) -> Option<&mut f32> {
        self.weights.get_mut(place(t)?)
    }

    /// What was taken for the mode `before` has been `to`, on the same center, from the
    /// beginning.
    pub fn decide(&mut self, before: ModeId, to: Tonality) {
        let from = Tonality {
            center: to.center,
            mode: before,
        };
        let spent = self.weight(from).map_or(0.0, std::mem::take);
        if let Some(weight) = self.weight(to) {
            *weight += spent;
        }
        if self
            .now
            .is_some_and(|now| now.center == to.center && now.mode == before)
        {
            self.now = Some(to);
        }
    }

    /// One step of the grid, with the tonality established here. True if home changed.
    pub fn step(&mut self, here: Option<Tonality>, inertia: Inertia) -> bool {
        let Some(here) = here else { return false };
        let step = STEP.seconds() as f32;
        let keep = 1.0 - step / inertia.rules().home;
        for w in &mut self.weights[..self.modes * 12] {
            *w *= keep;
        }
        if let Some(weight) = self.weight(here) {
            *weight += step;
        }
        let before = self.now;
        let center = match before {
            None if self.on(here.center).0 < FIRST_HOME => return false,
            None => here.center,
            Some(now) => {
                let been = self.been >> here.center.index() & 1 == 1;
                let need = if been { RETURN_HOME } else { LEAVE_HOME };
                let moved = self.on(here.center).0 > need * self.on(now.center).0;
                if moved { here.center } else { now.center }
            }
        };
        self.been |= 1 << center.index();
        let (_, most) = self.on(center);
        let mode = match before {
            Some(now) if now.center == center => {
                let mut weight = |mode| self.weight(Tonality { center, mode }).map_or(0.0, |w| *w);
                if weight(most) > HOME_MODE * weight(now.mode) {
                    most
                } else {
                    now.mode
                }
            }
            _ => most,
        };
        self.now = Some(Tonality { center, mode });
        before != self.now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_visit_leaves_home_and_a_long_one_moves_it() {
        let mut home = Home::new(Catalogue::standard());
        let t = |c| {
            Some(Tonality {
                center: PitchClass::new(c),
                mode: Catalogue::standard().find("lydian").expect("lydian"),
            })
        };
        let mut live = |c, seconds: usize| {
            for _ in 0..seconds * 10 {
                home.step(t(c), Inertia::Phrase);
            }
            home.now().map(|t| t.center.index())
        };
        assert_eq!(live(2, 30), Some(2));
        assert_eq!(
            live(7, 6),
            Some(2),
            "six seconds of G are a moment inside D"
        );
        assert_eq!(live(2, 10), Some(2));
        assert_eq!(live(7, 40), Some(7), "forty seconds are a move");
        assert_eq!(live(2, 20), Some(2), "and the way back is shorter");
    }

    #[test]
    fn home_moves_when_it_is_said_to() {
        let t = |c| {
            Some(Tonality {
                center: PitchClass::new(c),
                mode: Catalogue::standard().find("lydian").expect("lydian"),
            })
        };
        for stop in Inertia::ALL {
            let mut home = Home::new(Catalogue::standard());
            for _ in 0..20_000 {
                home.step(t(2), stop);
            }
            let steps = (1..).find(|_| home.step(t(7), stop)).expect("it moves");
            let (found, said) = (f64::from(steps) / 10.0, stop.home_moves_after().seconds());
            assert!(
                (found - said).abs() < 0.05 * said,
                "{stop:?}: {found} {said}"
            );
        }
    }
}
