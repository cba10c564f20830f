//! The plan as heard, gathered from the engine's changes.

use super::change::{Change, Observer};
use super::event::Aside;
use super::phrases::Phrases;
use super::progression::HarmonyNow;
use super::reading::Established;
use super::stroke::CLUSTER;
use super::voicing::VoicedChord;
use crate::plan::{ChordSpan, HarmonySpan, Region, TonalPlan};
use crate::theory::{KeySet, Sonority, SpelledTonality, Spelling};
use crate::time::Time;

/// Regions, homes and chords so far. The last of each may still be running: it
/// ends at [`History::until`]. Asides are left out; what the player stated is kept
/// separately.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    plan: TonalPlan,
    chords: Vec<ChordSpan>,
    harmonies: Vec<HarmonySpan>,
    here: bool,
    home: bool,
    chord: bool,
    harmony: bool,
    /// The last chord has the keys that it is voiced with, not what sounded as it began.
    voiced: bool,
    until: Time,
    /// Stretches without a sound that were long enough to matter.
    rests: Vec<(Time, Time)>,
    silent: Option<Time>,
    pinned: Option<SpelledTonality>,
    stated: Vec<(Time, Option<Spelling>)>,
    /// Those that are over.
    asides: Vec<(Time, Time)>,
    aside: Option<Time>,
    phrases: Phrases,
}

/// A chord label that stands for less time is not shown: the screen waits this long for the
/// rest of a stroke.
pub const SEEN: Time = Time::millis(150);
/// A shorter silence is a breath, not a rest.
pub const BREATH: Time = Time::millis(2000);

impl History {
    /// Extends everything that still runs to `at`.
    pub fn advance_to(&mut self, at: Time) {
        if at <= self.until {
            return;
        }
        self.until = at;
        // In silence a region lasts until the rest has become one.
        let end = match self.silent {
            Some(s) => at.min(s + BREATH),
            None => at,
        };
        if self.here
            && let Some(r) = self.plan.regions.last_mut()
        {
            r.end = r.end.max(end);
        }
        if self.home
            && let Some(r) = self.plan.home.last_mut()
        {
            r.end = r.end.max(end);
        }
        if self.chord
            && let Some(c) = self.chords.last_mut()
        {
            c.end = at;
        }
        if self.harmony
            && let Some(h) = self.harmonies.last_mut()
        {
            h.span.end = h.span.end.max(end);
        }
    }

    /// The plan as heard so far.
    pub fn plan(&self) -> &TonalPlan {
        &self.plan
    }

    pub fn chords(&self) -> &[ChordSpan] {
        &self.chords
    }

    /// The harmonies at their own pace, as they were known in the end.
    pub fn harmonies(&self) -> &[HarmonySpan] {
        &self.harmonies
    }

    /// Forgets the chords and harmonies, but for the last two: for whoever wants the plan alone,
    /// which does not depend on them.
    pub fn forget_chords(&mut self) {
        let older = |count: usize| ..count.saturating_sub(2);
        self.chords.drain(older(self.chords.len()));
        self.harmonies.drain(older(self.harmonies.len()));
    }

    /// How far it reaches.
    pub fn until(&self) -> Time {
        self.until
    }

    /// Rests of at least two seconds; the last may still be going on.
    pub fn rests(&self) -> impl Iterator<Item = (Time, Time)> {
        let running = self.silent.map(|s| (s, self.until));
        self.rests
            .iter()
            .copied()
            .chain(running)
            .filter(|(a, b)| b.since(*a) >= BREATH)
    }

    /// Stretches that the plan leaves out; the last may still be going on.
    pub fn asides(&self) -> impl Iterator<Item = (Time, Time)> {
        let running = self.aside.map(|since| (since, self.until.max(since)));
        self.asides.iter().copied().chain(running)
    }

    /// The home that the player stated, and from when on; `None`: taken back.
    pub fn stated(&self) -> &[(Time, Option<Spelling>)] {
        &self.stated
    }

    /// The stretch that a marker set at `at` is about: see [`Phrases::before`].
    pub fn phrase_before(&self, at: Time) -> (Time, Time) {
        self.phrases.before(at)
    }

    /// Takes back what [`History::advance_to`] extended beyond `at`: the engine's time is a
    /// little behind the clock that a screen asks for.
    fn take_back(&mut self, at: Time) {
        if at >= self.until {
            return;
        }
        self.until = at;
        for list in [&mut self.plan.regions, &mut self.plan.home] {
            if let Some(r) = list.last_mut() {
                r.end = r.end.min(at.max(r.start));
            }
        }
        let harmony = self.harmonies.last_mut().map(|h| &mut h.span);
        for c in self.chords.last_mut().into_iter().chain(harmony) {
            c.end = c.end.min(at.max(c.start));
        }
    }

    /// The label comes with the first keys of a stroke, the voicing with all of them. A broken
    /// chord grows; the same chord struck again in another way keeps its first voicing.
    fn voice(&mut self, voiced: VoicedChord) {
        if self.chord
            && let Some(c) = self.chords.last_mut()
            && c.sonority == voiced.sonority
            && (!self.voiced || c.keys.is_subset(voiced.keys))
        {
            c.keys = voiced.keys;
            self.voiced = true;
        }
    }

    /// Replaces what was written down since the harmony began.
    fn harmonize(&mut self, at: Time, harmony: HarmonyNow) {
        let HarmonyNow {
            chord, since, line, ..
        } = harmony;
        while self.harmonies.pop_if(|h| h.span.start >= since).is_some() {}
        let sonority = Sonority::Chord(chord);
        if let Some(before) = self.harmonies.last_mut() {
            let goes_on = before.span.end >= since;
            if goes_on && before.span.sonority == sonority {
                before.span.end = at;
                before.line = line.or(before.line);
                self.harmony = true;
                return;
            }
            before.span.end = before.span.end.min(since);
        }
        let here = self.plan.regions.last().filter(|_| self.here);
        let within = self.pinned.or(here.map(|r| r.spelled));
        self.harmonies.push(HarmonySpan {
            span: ChordSpan {
                start: since,
                end: at,
                sonority,
                within,
                keys: KeySet::EMPTY,
            },
            line,
        });
        self.harmony = true;
    }

    fn sound(&mut self, at: Time) {
        if let Some(since) = self.silent.take() {
            if at.since(since) >= BREATH {
                self.rests.push((since, at));
            }
            // A breath between two strokes does not end a chord; an aside does.
            let aside = self.asides.last().is_some_and(|a| a.1 >= since);
            if at.since(since) < BREATH
                && !aside
                && self.aside.is_none()
                && let Some(c) = self.chords.last_mut()
            {
                c.end = at;
            }
            if self.harmony
                && let Some(h) = self.harmonies.last_mut()
            {
                h.span.end = at;
            }
            // A region that goes on after a rest covers it; the screen draws the rest over it.
            for (running, list) in [
                (self.here, &mut self.plan.regions),
                (self.home, &mut self.plan.home),
            ] {
                if running && let Some(r) = list.last_mut() {
                    r.end = at;
                }
            }
        }
    }
}

fn region(e: Established) -> Region {
    Region {
        start: e.at,
        end: e.at,
        since: e.since,
        spelled: e.spelled,
        open: e.open,
        probability: e.probability,
    }
}

/// What has been heard since decides the mode, from the beginning of the region.
fn refine(r: &mut Region, e: Established) {
    match r.spelled.tonality == e.spelled.tonality {
        true => r.open = r.open.and_then(e.open),
        false => (r.spelled, r.open) = (e.spelled, e.open),
    }
}

/// Drops a region that never lasted.
fn close(list: &mut Vec<Region>) {
    list.pop_if(|r| r.end <= r.start);
}

impl Observer for History {
    fn change(&mut self, at: Time, change: Change) {
        // A new voicing moves no boundary, nor does polymodality.
        if !matches!(change, Change::VoicedChord(_) | Change::Polymodal(_)) {
            self.take_back(at);
            // A stroke after silence always tells its chord; the rest may come in silence too.
            if matches!(change, Change::Chord { .. }) {
                self.sound(at);
            }
            self.advance_to(at);
        }
        self.phrases.change(at, change);
        match change {
            Change::Pinned(pinned) => self.pinned = pinned,
            Change::HomeIs(note) => self.stated.push((at, note)),
            Change::Aside(edge) => {
                (self.here, self.home, self.chord, self.harmony) = (false, false, false, false);
                match edge {
                    Aside::Begins => self.aside = Some(at),
                    Aside::Ends => {
                        let since = self.aside.take();
                        self.asides.extend(since.map(|since| (since, at)));
                    }
                }
            }
            Change::Silence => {
                self.chord = false;
                self.silent = Some(at);
            }
            Change::Rest => {
                (self.here, self.home, self.chord, self.harmony) = (false, false, false, false);
            }
            _ if self.aside.is_some() => {}
            Change::Here(e) => {
                close(&mut self.plan.regions);
                self.plan.regions.push(region(e));
                self.here = true;
            }
            Change::Refined(e) => {
                if self.here
                    && let Some(r) = self.plan.regions.last_mut()
                {
                    refine(r, e);
                    r.probability = r.probability.max(e.probability);
                }
                if self.home
                    && let Some(home) = self.plan.home.last_mut()
                    && home.spelled.tonality.center == e.spelled.tonality.center
                    && (home.spelled.tonality == e.spelled.tonality
                        || home.open.may_be(e.spelled.tonality.mode))
                {
                    refine(home, e);
                }
            }
            Change::NoCenter => self.here = false,
            Change::Home(e) => {
                close(&mut self.plan.home);
                self.plan.home.push(region(e));
                self.home = true;
            }
            Change::Chord { sonority, keys } => {
                // A label that stood only while the hands were striking is replaced by that of
                // the whole stroke; so is a first label that stood too briefly to be read.
                let n = self.chords.len();
                let follows = n > 1 && self.chords[n - 2].end == self.chords[n - 1].start;
                if self.chord
                    && let Some(c) = self.chords.last_mut()
                    && at.since(c.start) < if follows { CLUSTER } else { SEEN }
                {
                    (c.sonority, c.keys, c.end) = (sonority, keys, at);
                    self.voiced = false;
                    return;
                }
                // Where a label was too brief to be read, the one before it lasts until now.
                if self.chord
                    && self.chords.pop_if(|c| at.since(c.start) < SEEN).is_some()
                    && let Some(before) = self.chords.last_mut()
                {
                    before.end = at;
                }
                if let Some(c) = self.chords.last_mut()
                    && c.end == at
                    && c.sonority == sonority
                {
                    // The same again after a breath.
                    (self.chord, self.voiced) = (true, true);
                    return;
                }
                let here = self.plan.regions.last().filter(|_| self.here);
                let within = self.pinned.or(here.map(|r| r.spelled));
                self.chords.push(ChordSpan {
                    start: at,
                    end: at,
                    sonority,
                    within,
                    keys,
                });
                (self.chord, self.voiced) = (true, false);
            }
            Change::Harmony(harmony) => self.harmonize(at, harmony),
            Change::VoicedChord(voiced) => self.voice(voiced),
            Change::Polymodal(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::monitor::Monitor;
    use super::*;
    use crate::midi::{Channel, Event};
    use crate::theory::Catalogue;
    use std::sync::Arc;

    /// Milliseconds and a key: struck, or let go. The keys of each chord.
    fn listed(script: &[(u64, i8)], end: u64) -> Vec<Vec<u8>> {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let mut monitor = Monitor::new(catalogue).expect("the weights");
        let mut history = History::default();
        for &(ms, key) in script {
            let (channel, velocity) = (Channel::ALL[0], 80);
            let event = match u8::try_from(key) {
                Ok(key) => Event::NoteOn {
                    channel,
                    key,
                    velocity,
                },
                Err(_) => Event::NoteOff {
                    channel,
                    key: key.unsigned_abs(),
                },
            };
            monitor.on_event(Time::millis(ms), event, &mut history);
        }
        monitor.advance_to(Time::millis(end), &mut history);
        let chords = history.chords().iter().filter(|c| c.end > c.start);
        chords.map(|c| c.keys.iter().collect()).collect()
    }

    #[test]
    fn a_block_struck_with_scatter_is_listed_whole() {
        let mut script = Vec::new();
        let chords: [&[i8]; 4] = [
            &[60, 64, 67],
            &[53, 60, 65, 69],
            &[55, 59, 65, 62],
            &[60, 64, 67],
        ];
        for (i, keys) in chords.iter().enumerate() {
            let at = 1000 * i as u64;
            script.extend(keys.iter().zip(0..).map(|(&k, n)| (at + 10 * n, k)));
            script.extend(keys.iter().map(|&k| (at + 900, -k)));
        }
        let want: [&[u8]; 4] = [
            &[60, 64, 67],
            &[53, 60, 65, 69],
            &[55, 59, 62, 65],
            &[60, 64, 67],
        ];
        assert_eq!(listed(&script, 4000), want);
    }

    /// Restruck with other keys under the same label it is listed as it was first.
    #[test]
    fn a_chord_is_listed_as_it_was_struck_first() {
        let first = [
            (0, 48),
            (8, 64),
            (16, 67),
            (900, -48),
            (900, -64),
            (900, -67),
        ];
        let second = [(1000, 48), (1010, 67), (1020, 72), (1030, 76)];
        let all: Vec<(u64, i8)> = first.into_iter().chain(second).collect();
        assert_eq!(listed(&all, 2000), [[48, 64, 67]]);
    }
}
