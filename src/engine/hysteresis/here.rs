//! Here: the tonality established at the moment.

use super::gathered::Gathered;
use super::inertia::Inertia;
use super::probabilities::Modes;
use super::rivals::{Rival, Rivals};
use crate::engine::estimator::{STEP, Scores};
use crate::engine::features::total;
use crate::theory::{Catalogue, PitchClass, PitchClassSet, Tonality};
use crate::time::Time;

/// Minimum number of steps with sound before anything is established.
const BEGIN_STEPS: u32 = 5;
/// While nothing is established, a center must be likelier than this …
const NOTHING: f32 = 0.35;
/// … for so long, as a share of the patience.
const FIRST: f32 = 0.25;
/// … and for longer where having no center was likelier than `SELDOM` lately: up to this many
/// patiences more. So a few notes in the midst of drumming do not establish a center.
const AFTER_NONE: f32 = 6.0;
const SELDOM: f32 = 0.12;
/// Time constant of that, in seconds.
const LATELY: f32 = 8.0;
/// A center is in the running while it is likelier than this.
const IN_THE_RUNNING: f32 = 0.1;

/// The tonality established here, and the one that is about to be.
#[derive(Clone, Debug)]
pub struct Here {
    modes: Modes,
    now: Option<Tonality>,
    /// Steps with sound so far.
    steps: u32,
    gathered: Gathered,
    rivals: Rivals,
    /// How likely it was lately that there is no center.
    none_lately: f32,
    /// Since when each center has been in the running.
    noticed: [Option<Time>; 12],
}

/// The result of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Same,
    /// Another tonality is established.
    Changed,
    /// No tonality is established any longer.
    Lost,
}

impl Here {
    pub fn new(catalogue: &Catalogue) -> Here {
        Here {
            modes: Modes::new(catalogue),
            now: None,
            steps: 0,
            gathered: Gathered::ZERO,
            rivals: Rivals::NONE,
            none_lately: 0.0,
            noticed: [None; 12],
        }
    }

    pub fn reset(&mut self) {
        self.establish(None);
        self.steps = 0;
        self.none_lately = 0.0;
        self.noticed = [None; 12];
    }

    fn establish(&mut self, now: Option<Tonality>) {
        self.now = now;
        self.gathered = Gathered::ZERO;
        self.rivals = Rivals::NONE;
    }

    pub fn now(&self) -> Option<Tonality> {
        self.now
    }

    /// Since when a center has been in the running, if it is.
    pub fn since(&self, center: PitchClass) -> Option<Time> {
        self.noticed[center.index()]
    }

    /// The tonality that gains on the established one.
    pub fn contender(&self) -> Option<Rival> {
        self.rivals.contender()
    }

    /// One step of the grid, with sound in it. `heard`: the notes by which modes may be
    /// named; `home`: the center of the larger scale.
    pub fn step(
        &mut self,
        at: Time,
        scores: &Scores,
        heard: PitchClassSet,
        home: Option<PitchClass>,
        inertia: Inertia,
    ) -> Verdict {
        let rules = inertia.rules();
        let p = self.modes.weigh(scores, heard);
        let centers = p.centers();
        self.steps = self.steps.saturating_add(1);
        for (since, q) in self.noticed.iter_mut().zip(centers) {
            *since = if q > IN_THE_RUNNING {
                since.or(Some(at))
            } else {
                None
            };
        }
        let adrift = total(scores.collections);
        self.none_lately += (adrift - self.none_lately) * STEP.seconds() as f32 / LATELY;

        let Some(now) = self.now else {
            self.gathered
                .step_from_nothing(&centers, adrift.max(NOTHING));
            let (center, gathered) = self.gathered.foremost(&centers, None);
            let need = (FIRST + AFTER_NONE * (self.none_lately - SELDOM).max(0.0)) * rules.patience;
            if self.steps < BEGIN_STEPS || gathered <= need {
                return Verdict::Same;
            }
            let (mode, _) = p.best_mode(center);
            self.establish(Some(Tonality { center, mode }));
            return Verdict::Changed;
        };

        self.gathered
            .step_centers(&centers, adrift, now.center, rules);
        let (center, near) = self.gathered.nearest(&centers, now.center, home, rules);
        if near > 1.0 && centers[center.index()] > centers[now.center.index()] {
            let (mode, _) = p.best_mode(center);
            self.establish(Some(Tonality { center, mode }));
            return Verdict::Changed;
        }
        if self.gathered.is_adrift(rules) {
            self.establish(None);
            return Verdict::Lost;
        }

        let (mode, near) = self.gathered.step_modes(p, now, rules);
        if near > 1.0 {
            self.gathered.forget_modes();
            self.rivals.forget_modes();
            self.now = Some(Tonality { mode, ..now });
            return Verdict::Changed;
        }
        self.rivals.follow(p, now, home, &self.gathered, rules);
        Verdict::Same
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::estimator::place;

    /// Where the tonality that is established stands in scores.
    fn now(here: &Here) -> usize {
        here.now().and_then(place).expect("established")
    }

    fn likely(center: usize, p: f32, none: f32) -> Scores {
        let mut s = Scores::ZERO;
        // Dorian and nothing else.
        let dorian = Catalogue::standard().find("dorian").expect("dorian");
        for c in 0..12 {
            let q = if c == center {
                p
            } else {
                (1.0 - p - none) / 11.0
            };
            s.tonalities[dorian.index() * 12 + c] = q;
        }
        s.collections[5] = none;
        s
    }

    /// Steps until something happens, of at most 200.
    fn wait(here: &mut Here, p: &Scores, home: Option<PitchClass>) -> Option<usize> {
        (1..200).find(|_| {
            let all = PitchClassSet::ALL;
            here.step(Time(0), p, all, home, Inertia::Phrase) != Verdict::Same
        })
    }

    /// Two centers in turn beside the one established: what one has gathered is not the
    /// other's, a moment makes no contender, and one that was reported stays a while.
    #[test]
    fn a_contender_is_told_by_itself_and_long_enough() {
        let mut here = Here::new(Catalogue::standard());
        assert!(wait(&mut here, &likely(2, 0.9, 0.0), None).is_some());
        // Beside D at so much another center at so much.
        let beside = |center: usize, own: f32, other: f32| {
            let mut s = likely(center, other, 0.0);
            let dorian = Catalogue::standard().find("dorian").expect("dorian");
            for c in (0..12).filter(|&c| c != center) {
                let rest = (1.0 - own - other) / 10.0;
                s.tonalities[dorian.index() * 12 + c] = if c == 2 { own } else { rest };
            }
            s
        };
        let mut step = |s: &Scores| {
            let all = PitchClassSet::ALL;
            let verdict = here.step(Time(0), s, all, None, Inertia::Phrase);
            assert_eq!(verdict, Verdict::Same);
            let told = here.contender();
            told.map(|r| (r.tonality.center.index(), r.nearness))
        };
        let calm = beside(7, 0.9, 0.01);
        assert_eq!(step(&calm), None);
        assert_eq!(step(&beside(7, 0.5, 0.45)), None, "a moment");
        let g = beside(7, 0.5, 0.45);
        let told: Vec<_> = (0..30).map(|_| step(&g)).collect();
        let first = told.iter().position(Option::is_some).expect("told");
        assert!((3..15).contains(&first), "{told:?}");
        let (center, near) = told[29].expect("still");
        assert_eq!(center, 7);
        // It has no lead, so that it has gathered nothing.
        assert!((0.4..=0.5).contains(&near), "{near}");
        // G is gone and A as likely as it was: G stays for a moment, and A begins low.
        let a = beside(9, 0.5, 0.45);
        let after: Vec<_> = (0..30).map(|_| step(&a)).collect();
        assert_eq!(after[2].map(|r| r.0), Some(7), "{after:?}");
        let change = after.iter().position(|r| r.is_some_and(|r| r.0 == 9));
        let change = change.expect("A is told");
        let (before, begins) = (after[change - 1], after[change]);
        assert!(begins.is_some_and(|r| r.1 < near), "{before:?} {begins:?}");
        assert!(after[..change].iter().all(|r| r.is_none_or(|r| r.0 == 7)));
        // A rival that is no longer gaining is still shown for a while.
        let ends: Vec<_> = (0..40).map(|_| step(&calm)).collect();
        assert!(ends[4].is_some() && ends[39].is_none(), "{ends:?}");
    }

    #[test]
    fn a_clear_lead_is_told_at_once_and_a_vague_one_late_or_never() {
        let mut here = Here::new(Catalogue::standard());
        assert!(wait(&mut here, &likely(2, 0.9, 0.0), None).is_some_and(|n| n <= 6));
        let mut waits = [0.97, 0.6, 0.3].map(|p| {
            let mut here = here.clone();
            let mut s = likely(7, p, 0.0);
            s.tonalities[now(&here)] = 0.2 * (1.0 - p);
            wait(&mut here, &s, None)
        });
        assert!(waits[0].is_some_and(|n| n <= 4), "{waits:?}");
        assert!(waits[0] < waits[1], "{waits:?}");
        let mut vague = likely(7, 0.3, 0.0);
        vague.tonalities[now(&here)] = 0.25;
        waits[2] = wait(&mut here.clone(), &vague, None);
        assert_eq!(waits[2], None);
        // The way back home is shorter.
        let mut middling = likely(7, 0.5, 0.0);
        middling.tonalities[now(&here)] = 0.15;
        let away = wait(&mut here.clone(), &middling, None);
        let back = wait(&mut here.clone(), &middling, Some(PitchClass::new(7)));
        assert!(back.is_some() && back < away, "{back:?} {away:?}");
    }

    #[test]
    fn nothing_is_established_in_the_midst_of_drumming() {
        let mut here = Here::new(Catalogue::standard());
        for _ in 0..20 {
            assert_eq!(wait(&mut here.clone(), &likely(0, 0.05, 0.9), None), None);
            // Four seconds of drumming, then for nearly one it sounds like C.
            for (steps, p, none) in [(40, 0.05, 0.9), (8, 0.7, 0.2)] {
                let p = likely(0, p, none);
                for _ in 0..steps {
                    here.step(Time(0), &p, PitchClassSet::ALL, None, Inertia::Phrase);
                }
            }
            assert_eq!(here.now(), None);
        }
        // A tune is heard all the same.
        assert!(wait(&mut here, &likely(0, 0.95, 0.01), None).is_some_and(|n| n < 60));
    }
}
