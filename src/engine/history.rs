//! The plan as heard, gathered from the engine's changes.

use super::chords::CLUSTER;
use super::monitor::{Change, Observer};
use super::reading::Established;
use crate::plan::{ChordSpan, Region, TonalPlan};
use crate::time::Time;

/// Regions, homes and chords so far. The last of each may still be running: it
/// ends at [`History::until`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    plan: TonalPlan,
    chords: Vec<ChordSpan>,
    here: bool,
    home: bool,
    chord: bool,
    until: Time,
    /// Stretches without a sound that were long enough to matter.
    rests: Vec<(Time, Time)>,
    silent: Option<Time>,
}

/// A chord's label that stands for less is not seen: the screen waits so long for more
/// of a stroke.
pub const SEEN: Time = Time::millis(150);
/// Silence shorter than this is breath.
pub const BREATH: Time = Time::millis(2000);

impl History {
    /// Lets everything that runs reach to `at`.
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
    }

    /// The plan as heard so far.
    pub fn plan(&self) -> &TonalPlan {
        &self.plan
    }

    pub fn chords(&self) -> &[ChordSpan] {
        &self.chords
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

    /// Takes back what [`History::advance_to`] let run beyond `at`: the engine's
    /// time is a little behind the clock that a screen asks for.
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
        if let Some(c) = self.chords.last_mut() {
            c.end = c.end.min(at.max(c.start));
        }
    }

    fn sound(&mut self, at: Time) {
        if let Some(since) = self.silent.take() {
            if at.since(since) >= BREATH {
                self.rests.push((since, at));
            }
            // A breath between two strokes does not end a chord.
            if at.since(since) < BREATH
                && let Some(c) = self.chords.last_mut()
            {
                c.end = at;
            }
            // A region that outlives a rest takes it in; the strip draws the rest over it.
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
        tonality: e.tonality,
        tonic: e.tonic,
        open: e.open,
        probability: e.probability,
    }
}

/// Drops a region that never lasted.
fn close(list: &mut Vec<Region>) {
    list.pop_if(|r| r.end <= r.start);
}

impl Observer for History {
    fn change(&mut self, at: Time, change: Change) {
        if matches!(change, Change::Voiced(_)) {
            // Moves no boundary: a span has the keys that sounded when it began.
            return;
        }
        self.take_back(at);
        // A stroke after silence always tells its chord; the rest may come in silence too.
        if matches!(change, Change::Chord { .. }) {
            self.sound(at);
        }
        self.advance_to(at);
        match change {
            Change::Here(e) => {
                close(&mut self.plan.regions);
                self.plan.regions.push(region(e));
                self.here = true;
            }
            Change::Refined(e) => {
                if self.here
                    && let Some(r) = self.plan.regions.last_mut()
                {
                    // What was heard once in a region is not open in it any more.
                    if e.open.degrees.count_ones() <= r.open.degrees.count_ones() {
                        r.open = e.open;
                    }
                    r.probability = r.probability.max(e.probability);
                }
            }
            Change::NoCenter => self.here = false,
            Change::Home(e) => {
                close(&mut self.plan.home);
                self.plan.home.push(region(e));
                self.home = true;
            }
            Change::Chord { sonority, keys } => {
                // Labels that stood only while the hands were striking are one with
                // what the stroke came to; so is a first one that nobody could read.
                let n = self.chords.len();
                let follows = n > 1 && self.chords[n - 2].end == self.chords[n - 1].start;
                if self.chord
                    && let Some(c) = self.chords.last_mut()
                    && at.since(c.start) < if follows { CLUSTER } else { SEEN }
                {
                    (c.sonority, c.keys, c.end) = (sonority, keys, at);
                    return;
                }
                // Through one between two others the one before it stood on.
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
                    self.chord = true;
                    return;
                }
                let within = self
                    .here
                    .then(|| self.plan.regions.last().map(|r| (r.tonality, r.tonic)))
                    .flatten();
                self.chords.push(ChordSpan {
                    start: at,
                    end: at,
                    sonority,
                    within,
                    keys,
                });
                self.chord = true;
            }
            Change::Voiced(_) => {}
            Change::Silence => {
                self.chord = false;
                self.silent = Some(at);
            }
            Change::Rest => {
                (self.here, self.home, self.chord) = (false, false, false);
            }
        }
    }
}
