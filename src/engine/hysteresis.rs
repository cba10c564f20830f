//! What is shown: a tonality is established only when it has been clearly and
//! long enough the likelier one, and home moves more slowly than here.

use super::estimator::{STEP, Scores, TONALITIES, place};
use super::features::total;
use crate::theory::{Catalogue, MAX_MODES, ModeId, PitchClass, PitchClassSet, Tonality};
use crate::time::Time;
use std::str::FromStr;

/// How long and how clearly something must last to be established: five stops.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Inertia {
    Chord,
    Motif,
    #[default]
    Phrase,
    Period,
    Section,
}

impl Inertia {
    pub const ALL: [Inertia; 5] = [
        Inertia::Chord,
        Inertia::Motif,
        Inertia::Phrase,
        Inertia::Period,
        Inertia::Section,
    ];

    pub fn name(self) -> &'static str {
        ["chord", "motif", "phrase", "period", "section"][self as usize]
    }

    fn rules(self) -> Rules {
        // margin: how many times likelier; dwell: for how many seconds; home: time
        // constant in seconds. Chosen on the training music, see tests/training.
        let (margin, dwell, home) = [
            (1.0, 0.0, 6.0),
            (1.5, 0.2, 12.0),
            (3.0, 0.5, 20.0),
            (6.0, 1.5, 40.0),
            (10.0, 4.0, 80.0),
        ][self as usize];
        Rules {
            margin,
            dwell,
            home,
        }
    }
}

impl FromStr for Inertia {
    type Err = String;
    fn from_str(s: &str) -> Result<Inertia, String> {
        Inertia::ALL
            .into_iter()
            .find(|i| i.name() == s)
            .ok_or_else(|| {
                let all: Vec<&str> = Inertia::ALL.iter().map(|i| i.name()).collect();
                format!(
                    "'{s}' is no stop of inertia; write one of: {}",
                    all.join(", ")
                )
            })
    }
}

#[derive(Clone, Copy)]
struct Rules {
    margin: f32,
    dwell: f32,
    home: f32,
}

/// How sure the first tonality must be, and a mode among those of its center.
const FIRST: f32 = 0.25;
/// A new mode on the same center needs this part of the margin and of the dwell.
const SAME_CENTER: f32 = 0.3;
/// A mode that is less likely than this is not established, however faint the others are.
const FAINT: f32 = 0.15;
/// A contender is worth showing from this share of the established one's probability.
const NOTICED: f32 = 0.35;
/// Without a center: the collections' share must exceed this for as long as a change dwells.
const NO_CENTER: f32 = 0.6;
/// Steps with sound before anything is established.
const BEGIN_STEPS: u32 = 5;
/// Seconds on a center before it is home at all.
const FIRST_HOME: f32 = 3.0;
/// Home gives way to a center that weighs this many times more …
const LEAVE_HOME: f32 = 1.6;
/// … unless that center has been home before.
const RETURN_HOME: f32 = 1.0;
/// A mode at home gives way to one that weighs so many times more.
const HOME_MODE: f32 = 2.0;

/// What is established here, and what is about to be.
#[derive(Clone, Debug)]
pub struct Here {
    modes: usize,
    /// For each mode the notes above its center without which it is not named:
    /// common-practice minor without a leading tone is Aeolian.
    needs: [PitchClassSet; MAX_MODES],
    now: Option<Tonality>,
    steps: u32,
    /// Challenger for the center or the mode, and for how many steps it has led.
    rival: Option<(Tonality, u32)>,
    /// Steps for which no collection with a center has led.
    lost: u32,
    /// For each center, since when it has been worth noticing.
    noticed: [Option<Time>; 12],
    nearness: f32,
}

/// What a step did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Same,
    /// Another tonality is established.
    Changed,
    /// Nothing is any more.
    Lost,
}

impl Here {
    pub fn new(catalogue: &Catalogue) -> Here {
        let mut needs = [PitchClassSet::EMPTY; MAX_MODES];
        for (id, mode) in catalogue.iter().filter(|(_, m)| !m.movable.is_empty()) {
            needs[id.0 as usize] = mode
                .characteristic
                .iter()
                .map(|d| PitchClass::new(d.semitones() as i32))
                .collect();
        }
        Here {
            modes: catalogue.len(),
            needs,
            now: None,
            steps: 0,
            rival: None,
            lost: 0,
            noticed: [None; 12],
            nearness: 0.0,
        }
    }

    pub fn reset(&mut self) {
        (self.now, self.steps, self.rival, self.lost) = (None, 0, None, 0);
        self.noticed = [None; 12];
        self.nearness = 0.0;
    }

    pub fn now(&self) -> Option<Tonality> {
        self.now
    }

    /// Since when the center of the established tonality has been in the running.
    pub fn since(&self, center: PitchClass) -> Option<Time> {
        self.noticed[center.index()]
    }

    /// The one gaining on the established, how likely it is and how near.
    pub fn contender(&self, p: &Scores, heard: PitchClassSet) -> Option<(Tonality, f32, f32)> {
        let now = self.now?;
        let centers = self.centers(p);
        let (rival, q) = self.best_besides(p, &centers, now, heard);
        let share = q / self
            .weight(p, &centers, now, rival.center == now.center)
            .max(1e-9);
        (share > NOTICED).then(|| (rival, q, self.nearness.clamp(0.0, 1.0)))
    }

    fn centers(&self, p: &Scores) -> [f32; 12] {
        let mut sums = [0.0; 12];
        for (i, q) in p.tonalities[..self.modes * 12].iter().enumerate() {
            sums[i % 12] += q;
        }
        sums
    }

    /// The likeliest mode on a center, of those that `heard` allows.
    fn best_mode(
        &self,
        p: &Scores,
        center: PitchClass,
        heard: PitchClassSet,
        but: Option<ModeId>,
    ) -> (ModeId, f32) {
        let above = heard.seen_from(center);
        (0..self.modes)
            .filter(|&m| self.needs[m].is_subset(above) && but != Some(ModeId(m as u8)))
            .fold((ModeId(0), f32::MIN), |best, m| {
                let q = p.tonalities[m * 12 + center.index()];
                if q > best.1 {
                    (ModeId(m as u8), q)
                } else {
                    best
                }
            })
    }

    /// What a rival has to beat: the center's sum, or the mode's own share.
    fn weight(&self, p: &Scores, centers: &[f32; 12], t: Tonality, same_center: bool) -> f32 {
        if same_center {
            p.of(t)
        } else {
            centers[t.center.index()]
        }
    }

    /// The likeliest other center with its best mode, or the likeliest other mode here.
    fn best_besides(
        &self,
        p: &Scores,
        centers: &[f32; 12],
        now: Tonality,
        heard: PitchClassSet,
    ) -> (Tonality, f32) {
        let (mode, q) = self.best_mode(p, now.center, heard, Some(now.mode));
        // Distances above the established center, so that ties fall alike in every transposition.
        let (center, sum) =
            (1..12)
                .map(|n| now.center.up(n))
                .fold((now.center, f32::MIN), |best, c| {
                    if centers[c.index()] > best.1 {
                        (c, centers[c.index()])
                    } else {
                        best
                    }
                });
        let by_center = sum / centers[now.center.index()].max(1e-9);
        let by_mode = q / p.of(now).max(1e-9);
        if by_center >= by_mode {
            (
                Tonality {
                    center,
                    mode: self.best_mode(p, center, heard, None).0,
                },
                sum,
            )
        } else {
            (
                Tonality {
                    center: now.center,
                    mode,
                },
                q,
            )
        }
    }

    /// One step of the grid, with sound in it.
    pub fn step(
        &mut self,
        at: Time,
        p: &Scores,
        heard: PitchClassSet,
        inertia: Inertia,
    ) -> Verdict {
        let rules = inertia.rules();
        let centers = self.centers(p);
        self.steps = self.steps.saturating_add(1);
        for (since, q) in self.noticed.iter_mut().zip(centers) {
            *since = if q > 0.1 { since.or(Some(at)) } else { None };
        }

        let adrift = total(p.collections);
        self.lost = if adrift > NO_CENTER { self.lost + 1 } else { 0 };
        if self.now.is_some() && seconds(self.lost) > rules.dwell.max(0.3) {
            self.now = None;
            self.rival = None;
            self.nearness = 0.0;
            return Verdict::Lost;
        }

        let Some(now) = self.now else {
            let (center, sum) = first_best(&centers);
            let clear = sum > FIRST && sum > adrift;
            if self.steps < BEGIN_STEPS || !clear {
                return Verdict::Same;
            }
            let (mode, _) = self.best_mode(p, center, heard, None);
            self.now = Some(Tonality { center, mode });
            return Verdict::Changed;
        };

        let (rival, q) = self.best_besides(p, &centers, now, heard);
        let same_center = rival.center == now.center;
        let ease = if same_center { SAME_CENTER } else { 1.0 };
        let need = 1.0 + (rules.margin - 1.0) * ease;
        let share = q / self.weight(p, &centers, now, same_center).max(1e-9);
        let led = match self.rival {
            Some((r, n)) if r.center == rival.center && (!same_center || r.mode == rival.mode) => n,
            _ => 0,
        };
        self.nearness = (share / need).min(1.0);
        let faint = same_center && q < FAINT;
        if share <= need || faint {
            self.rival = None;
            return Verdict::Same;
        }
        if seconds(led) >= rules.dwell * ease {
            self.now = Some(rival);
            self.rival = None;
            self.nearness = 0.0;
            return Verdict::Changed;
        }
        self.rival = Some((rival, led + 1));
        Verdict::Same
    }
}

fn seconds(steps: u32) -> f32 {
    steps as f32 * STEP.seconds() as f32
}

fn first_best(centers: &[f32; 12]) -> (PitchClass, f32) {
    let mut best = (PitchClass::new(0), f32::MIN);
    for (i, &q) in centers.iter().enumerate() {
        if q > best.1 {
            best = (PitchClass::new(i as i32), q);
        }
    }
    best
}

/// The tonality that the music is in on the larger scale.
#[derive(Clone, Debug)]
pub struct Home {
    now: Option<Tonality>,
    /// Seconds spent lately in each tonality, forgotten slowly.
    weights: [f32; TONALITIES],
    modes: usize,
    /// Centers that have been home, by pitch class.
    been: u16,
}

impl Home {
    pub fn new(catalogue: &Catalogue) -> Home {
        Home {
            now: None,
            weights: [0.0; TONALITIES],
            modes: catalogue.len(),
            been: 0,
        }
    }

    pub fn now(&self) -> Option<Tonality> {
        self.now
    }

    /// Seconds spent lately on a center, and the mode that had most of them.
    fn on(&self, center: PitchClass) -> (f32, ModeId) {
        let mut best = (f32::MIN, ModeId(0));
        let mut sum = 0.0;
        for m in 0..self.modes {
            let w = self.weights[m * 12 + center.index()];
            sum += w;
            if w > best.0 {
                best = (w, ModeId(m as u8));
            }
        }
        (sum, best.1)
    }

    /// One step of the grid with what is established here. True if home changed.
    pub fn step(&mut self, here: Option<Tonality>, inertia: Inertia) -> bool {
        let Some(here) = here else { return false };
        let step = STEP.seconds() as f32;
        let keep = 1.0 - step / inertia.rules().home;
        for w in &mut self.weights[..self.modes * 12] {
            *w *= keep;
        }
        self.weights[place(here)] += step;
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
                let weight = |mode| self.weights[place(Tonality { center, mode })];
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
                mode: ModeId(1),
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
    fn inertia_is_read_by_name() {
        assert_eq!("period".parse(), Ok(Inertia::Period));
        assert!("slow".parse::<Inertia>().is_err());
    }
}
