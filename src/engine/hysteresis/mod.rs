//! Hysteresis: a tonality is established only after it has been clearly the likeliest for
//! long enough, and home moves more slowly than here. Meanwhile the tonality that gains on it
//! is reported, long enough to be read.

use super::estimator::{STEP, Scores, TONALITIES, place};
use super::features::total;
use crate::nearest::nearest;
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

    /// For a player: how long after a change of center the new one is shown, as a rule (the
    /// median over labelled music that moves, src/manual/pages/figures.md).
    pub fn shown_after(self) -> Time {
        Time::millis([400, 600, 800, 1700, 4900][self as usize])
    }

    /// For a player: how long after a long stay another center must be stayed on until it is
    /// home.
    pub fn home_moves_after(self) -> Time {
        // The weight of the old one falls as that of the new one rises, with one time constant.
        let seconds = self.rules().home * (1.0 + LEAVE_HOME).ln();
        Time::from_seconds(f64::from(seconds))
    }

    /// How long it takes until another center is established that is this many times
    /// likelier; `None` where that is never enough.
    pub fn takes(self, times: f32) -> Option<Time> {
        let rules = self.rules();
        let gains = times.ln().min(CLEAR) - rules.bar;
        (gains > 0.0).then(|| Time::from_seconds(f64::from(rules.patience / gains)))
    }

    fn rules(self) -> Rules {
        // Chosen on the labelled music; what each stop costs and gives stands in
        // src/manual/pages/figures.md.
        let (bar, patience, home) = [
            (0.0, 0.05, 6.0),
            (0.4, 0.3, 12.0),
            (0.7, 0.6, 20.0),
            (1.0, 2.5, 40.0),
            (1.2, 8.0, 80.0),
        ][self as usize];
        Rules {
            bar,
            patience,
            home,
        }
    }
}

/// A name that no stop of inertia has.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("unknown inertia '{0}'{rest}", rest = what_to_write(.0))]
pub struct UnknownInertia(pub String);

/// The stop that a misspelt name comes nearest to, if any, and all of them.
fn what_to_write(text: &str) -> String {
    let names = Inertia::ALL.map(Inertia::name);
    let all = names.join(", ");
    match nearest(text, names) {
        Some(meant) => format!("; did you mean {meant}? The stops are {all}"),
        None => format!(": write one of {all}"),
    }
}

impl FromStr for Inertia {
    type Err = UnknownInertia;
    fn from_str(s: &str) -> Result<Inertia, UnknownInertia> {
        let mut all = Inertia::ALL.into_iter();
        let found = all.find(|i| i.name() == s);
        found.ok_or_else(|| UnknownInertia(s.into()))
    }
}

/// A rival gathers its lead over the established center: the logarithm of how many
/// times likelier it is, less `bar`, summed over time and never below 0 (Page's
/// cumulative sum, 1954, Biometrika 41). Past `patience` it takes over.
#[derive(Clone, Copy)]
struct Rules {
    bar: f32,
    /// In logarithms times seconds.
    patience: f32,
    /// Time constant of home, in seconds.
    home: f32,
}

/// The greatest lead that counts in a step, as a logarithm.
const CLEAR: f32 = 3.0;
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
/// A new mode on the same center needs no bar, and this share of the patience.
const MODE_PATIENCE: f32 = 0.4;
/// The way back home needs this share of the patience.
const BACK_HOME: f32 = 0.7;
/// The bar for losing the center, and how many patiences it takes.
const ADRIFT_BAR: f32 = 0.5;
const ADRIFT_PATIENCE: f32 = 6.0;
/// A contender's share of the probability that it and the established one have together,
/// averaged over a time constant in seconds, is noticed from this value on …
const NOTICED: f32 = 0.25;
const WHILE: f32 = 1.0;
/// … until it has fallen to this. Chosen by looking at recordings: a passing bass note is
/// no contender, and what is begun to be read stays long enough.
const FORGOTTEN: f32 = 0.12;
/// Another contender must exceed the present one by this much.
const FOREMOST: f32 = 0.1;
/// The mode of a contender changes as soon as another one is this many times likelier.
const OTHER_MODE: f32 = 1.6;
/// Steps with sound before anything is established.
const BEGIN_STEPS: u32 = 5;
/// Seconds on a center before it is home at all.
const FIRST_HOME: f32 = 2.0;
/// Home changes to a center that weighs this many times more …
const LEAVE_HOME: f32 = 1.6;
/// … unless that center has been home before.
const RETURN_HOME: f32 = 1.0;
/// The mode at home changes to one that weighs this many times more.
const HOME_MODE: f32 = 2.0;

/// The tonality established here, and the one that is about to be.
#[derive(Clone, Debug)]
pub struct Here {
    modes: usize,
    /// For each mode [`Catalogue::needed`] and [`Catalogue::kin`].
    needs: [PitchClassSet; MAX_MODES],
    kin: [usize; MAX_MODES],
    now: Option<Tonality>,
    steps: u32,
    /// What each center, each mode of the established center, and having no center
    /// have gathered against what is established.
    centers: [f32; 12],
    on_center: [f32; MAX_MODES],
    adrift: f32,
    /// How likely it was lately that there is no center.
    none_lately: f32,
    /// For each center, since when it has been worth noticing.
    noticed: [Option<Time>; 12],
    /// The shares lately of the other centers, and of the other modes on the center.
    lately: [f32; 12],
    modes_lately: [f32; MAX_MODES],
    contender: Option<Rival>,
}

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
    /// Of its center, or of the same center its own.
    pub probability: f32,
    /// 0 to 1: the first half is how likely it was lately, the second what it has
    /// gathered of what it needs.
    pub nearness: f32,
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
        let mut needs = [PitchClassSet::EMPTY; MAX_MODES];
        let mut kin = std::array::from_fn(|m| m);
        for (id, _) in catalogue.iter() {
            needs[id.index()] = catalogue.needed(id);
            kin[id.index()] = catalogue.kin(id).index();
        }
        Here {
            modes: catalogue.len(),
            needs,
            kin,
            now: None,
            steps: 0,
            centers: [0.0; 12],
            on_center: [0.0; MAX_MODES],
            adrift: 0.0,
            none_lately: 0.0,
            noticed: [None; 12],
            lately: [0.0; 12],
            modes_lately: [0.0; MAX_MODES],
            contender: None,
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
        self.centers = [0.0; 12];
        self.on_center = [0.0; MAX_MODES];
        self.adrift = 0.0;
        self.lately = [0.0; 12];
        self.modes_lately = [0.0; MAX_MODES];
        self.contender = None;
    }

    pub fn now(&self) -> Option<Tonality> {
        self.now
    }

    /// Since when the center of the established tonality has been in the running.
    pub fn since(&self, center: PitchClass) -> Option<Time> {
        self.noticed[center.index()]
    }

    /// The one gaining on the established.
    pub fn contender(&self) -> Option<Rival> {
        self.contender
    }

    /// Follows who is gaining on `now`: other centers, and other modes on its own.
    fn follow(
        &mut self,
        p: &Scores,
        now: Tonality,
        heard: PitchClassSet,
        home: Option<PitchClass>,
        patience: f32,
    ) {
        let sums = self.sums(p);
        let together = self.together(p, now.center);
        let own = self.kin[now.mode.index()];
        let step = STEP.seconds() as f32 / WHILE;
        let toward = |lately: &mut f32, q: f32, base: f32| {
            *lately += (q / (q + base).max(1e-9) - *lately) * step;
        };
        for (lately, q) in self.lately.iter_mut().zip(sums) {
            toward(lately, q, sums[now.center.index()]);
        }
        for (lately, q) in self.modes_lately.iter_mut().zip(together) {
            toward(lately, q, together[own]);
        }
        let modes = (0..self.modes).filter(|&m| self.kin[m] == m && m != own);
        let modes = modes.filter(|&kin| self.named(p, now.center, kin, heard).is_some());
        // From the established center up, so that ties fall alike in every transposition.
        let centers = (1..12).map(|n| Who::Center(now.center.up(n)));
        let foremost = modes.map(Who::Mode).chain(centers);
        let foremost = foremost
            .map(|who| (who, self.lately(who)))
            .reduce(|best, x| if x.1 > best.1 { x } else { best });
        let named = |t: &Tonality| self.allowed(t.mode.index(), t.center, heard);
        let said = self.contender.map(|c| c.tonality).filter(named);
        let kept = said.map(|t| match t.center == now.center {
            true => Who::Mode(self.kin[t.mode.index()]),
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
                    let own = |m: &usize| self.kin[*m] == kin;
                    let most = (0..self.modes).filter(own).map(|m| self.on_center[m]);
                    let most = most.fold(0.0, f32::max);
                    let mode = said
                        .filter(|_| kept == Some(who))
                        .map(|t| t.mode)
                        .or_else(|| self.named(p, now.center, kin, heard));
                    let mode = mode.unwrap_or(ModeId::at(kin));
                    let tonality = Tonality { mode, ..now };
                    (tonality, together[kin], most / MODE_PATIENCE)
                }
                Who::Center(center) => {
                    let (mode, q) = self.best_mode(p, center, heard, None);
                    let others = self.together(p, center);
                    let before = said.filter(|t| t.center == center).map(|t| t.mode);
                    let stays = |m: &ModeId| others[self.kin[m.index()]] * OTHER_MODE > q;
                    let mode = before.filter(stays).unwrap_or(mode);
                    let way = if home == Some(center) { BACK_HOME } else { 1.0 };
                    let gathered = self.centers[center.index()] / way;
                    (Tonality { center, mode }, sums[center.index()], gathered)
                }
            };
            // An even share of what the two have is the whole of the first half.
            let likely = (self.lately(who) / 0.5).clamp(0.0, 1.0);
            let gathered = (gathered / patience).clamp(0.0, 1.0);
            Rival {
                tonality,
                probability,
                nearness: 0.5 * (likely + gathered),
            }
        });
    }

    fn lately(&self, who: Who) -> f32 {
        match who {
            Who::Center(center) => self.lately[center.index()],
            Who::Mode(kin) => self.modes_lately[kin],
        }
    }

    /// The sum of each center's tonalities.
    fn sums(&self, p: &Scores) -> [f32; 12] {
        let mut sums = [0.0; 12];
        for (i, q) in p.tonalities[..self.modes * 12].iter().enumerate() {
            sums[i % 12] += q;
        }
        sums
    }

    /// The modes of a center, those with the same notes summed at the first of them.
    fn together(&self, p: &Scores, center: PitchClass) -> [f32; MAX_MODES] {
        let mut sums = [0.0; MAX_MODES];
        for m in 0..self.modes {
            sums[self.kin[m]] += p.tonalities[m * 12 + center.index()];
        }
        sums
    }

    /// Whether a mode may be named, given what was heard.
    fn allowed(&self, m: usize, center: PitchClass, heard: PitchClassSet) -> bool {
        self.needs[m].is_subset(heard.seen_from(center))
    }

    /// The likeliest mode on a center of those that `heard` allows: by the sum over
    /// modes with the same notes, then among them.
    fn best_mode(
        &self,
        p: &Scores,
        center: PitchClass,
        heard: PitchClassSet,
        but: Option<ModeId>,
    ) -> (ModeId, f32) {
        let together = self.together(p, center);
        let own = |m: usize| p.tonalities[m * 12 + center.index()];
        (0..self.modes)
            .filter(|&m| self.allowed(m, center, heard) && but != Some(ModeId::at(m)))
            .map(|m| (m, together[self.kin[m]]))
            .reduce(|best, x| {
                let kin = self.kin[best.0] == self.kin[x.0];
                let better = if kin {
                    own(x.0) > own(best.0)
                } else {
                    x.1 > best.1
                };
                if better { x } else { best }
            })
            .map_or((ModeId::at(0), 0.0), |(m, q)| (ModeId::at(m), q))
    }

    /// The likeliest that may be named of the modes with the notes of `kin`.
    fn named(
        &self,
        p: &Scores,
        center: PitchClass,
        kin: usize,
        heard: PitchClassSet,
    ) -> Option<ModeId> {
        let own = |m: usize| p.tonalities[m * 12 + center.index()];
        (0..self.modes)
            .filter(|&m| self.kin[m] == kin && self.allowed(m, center, heard))
            .reduce(|best, m| if own(m) > own(best) { m } else { best })
            .map(ModeId::at)
    }

    /// One step of the grid, with sound in it. `home`: the center of the larger scale.
    pub fn step(
        &mut self,
        at: Time,
        p: &Scores,
        heard: PitchClassSet,
        home: Option<PitchClass>,
        inertia: Inertia,
    ) -> Verdict {
        let rules = inertia.rules();
        let sums = self.sums(p);
        self.steps = self.steps.saturating_add(1);
        for (since, q) in self.noticed.iter_mut().zip(sums) {
            *since = if q > 0.1 { since.or(Some(at)) } else { None };
        }
        let adrift = total(p.collections);
        self.none_lately += (adrift - self.none_lately) * STEP.seconds() as f32 / LATELY;

        let Some(now) = self.now else {
            let base = adrift.max(NOTHING);
            for (gathered, q) in self.centers.iter_mut().zip(sums) {
                gather(gathered, lead(q, base));
            }
            let (center, gathered) = self.foremost(&sums, PitchClass::new(0));
            let need = (FIRST + AFTER_NONE * (self.none_lately - SELDOM).max(0.0)) * rules.patience;
            if self.steps < BEGIN_STEPS || gathered <= need {
                return Verdict::Same;
            }
            let (mode, _) = self.best_mode(p, center, heard, None);
            self.establish(Some(Tonality { center, mode }));
            return Verdict::Changed;
        };

        let base = sums[now.center.index()];
        for (i, gathered) in self.centers.iter_mut().enumerate() {
            if i != now.center.index() {
                gather(gathered, lead(sums[i], base) - rules.bar);
            }
        }
        gather(&mut self.adrift, lead(adrift, base) - ADRIFT_BAR);

        let (center, gathered) = self.foremost(&sums, now.center);
        let back = home.filter(|&h| h != now.center).map(|h| {
            let near = self.centers[h.index()] / (rules.patience * BACK_HOME);
            (h, near)
        });
        let (center, near) = match back {
            Some((h, near)) if near >= gathered / rules.patience => (h, near),
            _ => (center, gathered / rules.patience),
        };
        if near > 1.0 && sums[center.index()] > base {
            let (mode, _) = self.best_mode(p, center, heard, None);
            self.establish(Some(Tonality { center, mode }));
            return Verdict::Changed;
        }
        if self.adrift > ADRIFT_PATIENCE * rules.patience {
            self.establish(None);
            return Verdict::Lost;
        }

        let (mode, near_mode) = self.step_mode(p, now, heard, rules);
        if near_mode > 1.0 {
            self.on_center = [0.0; MAX_MODES];
            self.modes_lately = [0.0; MAX_MODES];
            self.contender = None;
            self.now = Some(Tonality {
                center: now.center,
                mode,
            });
            return Verdict::Changed;
        }
        self.follow(p, now, heard, home, rules.patience);
        Verdict::Same
    }

    /// The foremost center but `now`, and what it has gathered.
    fn foremost(&self, sums: &[f32; 12], now: PitchClass) -> (PitchClass, f32) {
        let from = usize::from(self.now.is_some());
        (from as i32..12)
            .map(|n| now.up(n))
            .map(|c| (c, self.centers[c.index()]))
            .reduce(|best, x| {
                let tie = x.1 == best.1 && sums[x.0.index()] > sums[best.0.index()];
                if x.1 > best.1 || tie { x } else { best }
            })
            .unwrap_or((now, 0.0))
    }

    /// One step for the modes of the established center: the foremost other one, and
    /// how near it is to taking over.
    fn step_mode(
        &mut self,
        p: &Scores,
        now: Tonality,
        heard: PitchClassSet,
        rules: Rules,
    ) -> (ModeId, f32) {
        let together = self.together(p, now.center);
        let own = |m: usize| p.tonalities[m * 12 + now.center.index()];
        let mine = now.mode.index();
        let forbidden = !self.allowed(mine, now.center, heard);
        let mut best = (now.mode, 0.0);
        for m in (0..self.modes).filter(|&m| m != mine) {
            let lead = match self.kin[m] == self.kin[mine] {
                true if forbidden => CLEAR,
                true => lead(own(m), own(mine)),
                false => lead(together[self.kin[m]], together[self.kin[mine]]),
            };
            if !self.allowed(m, now.center, heard) {
                self.on_center[m] = 0.0;
                continue;
            }
            let gathered = &mut self.on_center[m];
            gather(gathered, lead);
            let near = *gathered / (MODE_PATIENCE * rules.patience);
            let likelier = best.1 > 0.0 && near == best.1 && own(m) > own(best.0.index());
            if lead > 0.0 && (near > best.1 || likelier) {
                best = (ModeId::at(m), near);
            }
        }
        best
    }
}

/// How many times likelier, as a bounded logarithm.
fn lead(rival: f32, base: f32) -> f32 {
    (rival.max(1e-9) / base.max(1e-9)).ln().clamp(-CLEAR, CLEAR)
}

fn gather(sum: &mut f32, lead: f32) {
    *sum = (*sum + lead * STEP.seconds() as f32).max(0.0);
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
        let mut best = (f32::MIN, ModeId::at(0));
        let mut sum = 0.0;
        for m in 0..self.modes {
            let w = self.weights[m * 12 + center.index()];
            sum += w;
            if w > best.0 {
                best = (w, ModeId::at(m));
            }
        }
        (sum, best.1)
    }

    /// What was taken for `before` on the same center has been `to` from the beginning.
    pub fn decide(&mut self, before: ModeId, to: Tonality) {
        let from = place(Tonality {
            center: to.center,
            mode: before,
        });
        let spent = std::mem::take(&mut self.weights[from]);
        self.weights[place(to)] += spent;
        if self
            .now
            .is_some_and(|now| now.center == to.center && now.mode == before)
        {
            self.now = Some(to);
        }
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
                mode: ModeId::at(1),
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
    /// other's, a moment makes no contender, and one that is told stays a while.
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
        // What is over is told a while longer, then no more.
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
            s.tonalities[place(here.now().expect("established"))] = 0.2 * (1.0 - p);
            wait(&mut here, &s, None)
        });
        assert!(waits[0].is_some_and(|n| n <= 4), "{waits:?}");
        assert!(waits[0] < waits[1], "{waits:?}");
        let mut vague = likely(7, 0.3, 0.0);
        vague.tonalities[place(here.now().expect("established"))] = 0.25;
        waits[2] = wait(&mut here.clone(), &vague, None);
        assert_eq!(waits[2], None);
        // The way back home is shorter.
        let mut middling = likely(7, 0.5, 0.0);
        middling.tonalities[place(here.now().expect("established"))] = 0.15;
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

    /// The table of the measured stops.
    #[test]
    fn a_change_is_shown_as_long_after_as_was_measured() {
        let measured = include_str!("../../manual/pages/figures.md");
        for stop in Inertia::ALL {
            let row = measured.lines().find_map(|line| {
                let (name, rest) = line.strip_prefix("| ")?.split_once(" | ")?;
                (name.trim_matches('*') == stop.name()).then_some(rest)
            });
            let lag = row.and_then(|r| r.split_once(" s, ")).expect("a row").0;
            let lag = Time::from_seconds(lag.parse().expect("seconds"));
            assert_eq!(stop.shown_after(), lag, "{stop:?}");
        }
    }

    #[test]
    fn home_moves_when_it_is_said_to() {
        let t = |c| {
            Some(Tonality {
                center: PitchClass::new(c),
                mode: ModeId::at(1),
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

    #[test]
    fn inertia_is_read_by_name() {
        assert_eq!("period".parse(), Ok(Inertia::Period));
        let error = "slow".parse::<Inertia>().expect_err("no stop");
        let said = "unknown inertia 'slow': write one of chord, motif, phrase, period, section";
        assert_eq!(error.to_string(), said);
        let error = "frase".parse::<Inertia>().expect_err("misspelt");
        let said = "unknown inertia 'frase'; did you mean phrase? The stops are chord, motif, \
                    phrase, period, section";
        assert_eq!(error.to_string(), said);
    }
}
