//! The chord of the moment: what sounds, and what was struck or broken just before.
//!
//! A block of notes is named as it stands. Otherwise the notes that sound, those
//! the pedal holds and those just let go are weighed, the kinds of chord are
//! fitted to the weights, and the chord that stands gives way only to one that
//! fits clearly better: a passing note in the melody does not change it.
//!
//! The weights below were found by a search on labelled chamber and keyboard
//! music (tests/training/README.md), then rounded.

use super::keys::{KeySet, Keys, each, lowest};
use crate::theory::{Chord, FOREIGN_BASS, Kinds, PitchClass, PitchClassSet, Sonority, bass_cost};
use crate::time::Time;

/// Onsets this close belong to one stroke of the hands.
pub const CLUSTER: Time = Time::millis(70);
/// Seconds in which a note that was let go is forgotten to 1/e.
const MEMORY: f32 = 0.9;
/// The same for a note that only the pedal holds, in the middle of the keyboard …
const PEDAL_MEMORY: f32 = 1.0;
/// … and for a bass.
const PEDAL_BASS_MEMORY: f32 = 3.6;
/// A bass that was let go stays the bass for so long, while nothing as low follows.
const BASS_STAYS: Time = Time::millis(1800);
/// The foot changes the pedal at most so long after the hands have changed.
const FOOT: Time = Time::millis(300);
/// A chord that stands is taken on trust so long while one or two of its notes go on.
const TRUST: Time = Time::millis(4000);
/// A lone melody note above a chord counts in full only after so long.
const PASSING: Time = Time::millis(800);
/// What it counts before.
const PASSING_WEIGHT: f32 = 0.3;
/// What a note counts while a finger holds it: at least this, the rest fades.
const HELD: f32 = 0.6;
/// What it counts at first while only the pedal holds it, and if it was struck
/// before the present harmony.
const PEDALLED: f32 = 0.95;
const PAST: f32 = 0.35;
/// What it counts just after it was let go, and a bass that was.
const LET_GO: f32 = 0.8;
const BASS_LET_GO: f32 = 0.9;
/// How much a note outside the chord costs, and a missing member.
const OUTSIDE: f32 = 0.95;
const MISSING: f32 = 0.45;
/// What a kind's far-fetchedness weighs against the notes.
const COST: f32 = 2.2;
/// By how much another chord must fit better than the one that stands.
const SWITCH: f32 = 0.55;
/// The same when a new bass or several notes were struck at once.
const SWITCH_STRUCK: f32 = 0.19;
/// How far over a bass that was let go another low note is not a new bass, in
/// semitones: more than a step in a figure, a fifth otherwise; and how far a
/// figure reaches.
const STEP_OVER: u8 = 3;
const WELL_OVER: u8 = 7;
const FIGURE: u8 = 19;
/// A kind that costs no more than this is plain enough to be taken for granted.
const PLAIN: f32 = 0.3;
/// A pitch class that weighs less is not part of anything.
const AUDIBLE: f32 = 0.15;

/// Follows the chord.
#[derive(Clone, Debug)]
pub struct ChordTracker {
    now: Option<(Sonority, Time)>,
    /// Keys struck together last, and when the first of them was.
    cluster: KeySet,
    cluster_at: Time,
    /// When each key stopped sounding.
    ended: [Option<Time>; 128],
    sounding: KeySet,
    /// Keys struck alone above a chord.
    alone: KeySet,
    /// Nothing from before here counts any more.
    horizon: Time,
    /// The key of the bass, sounding or let go, and when it was struck.
    bass: Option<(u8, Time)>,
    /// The same before the present stroke.
    bass_before: Option<(u8, Time)>,
    /// The lowest key of the stroke before, if that was a note of a figure.
    low_before: Option<u8>,
    /// Whether the stroke before was a chord.
    chord_before: bool,
    /// Whether the bass was struck alone, or with a melody note: then a chord follows.
    bass_alone: bool,
}

impl Default for ChordTracker {
    fn default() -> ChordTracker {
        ChordTracker {
            now: None,
            cluster: 0,
            cluster_at: Time::ZERO,
            ended: [None; 128],
            sounding: 0,
            alone: 0,
            horizon: Time::ZERO,
            bass: None,
            bass_before: None,
            low_before: None,
            chord_before: false,
            bass_alone: false,
        }
    }
}

impl ChordTracker {
    /// What it says, and since when.
    pub fn now(&self) -> Option<(Sonority, Time)> {
        self.now
    }

    /// The keys struck together last, and when.
    pub fn struck(&self) -> (KeySet, Time) {
        (self.cluster, self.cluster_at)
    }

    /// The key of the bass, sounding or let go.
    pub fn bass(&self) -> Option<u8> {
        self.bass.map(|(key, _)| key)
    }

    /// A key was struck. True if the chord changed.
    pub fn on_onset(&mut self, at: Time, keys: &Keys, key: u8, home: PitchClassSet) -> bool {
        self.mark_ends(at, keys);
        let bit = 1u128 << key;
        if at.since(self.cluster_at) > CLUSTER || self.cluster == 0 {
            if self.bass.is_some_and(|(b, _)| self.cluster >> b & 1 == 1) {
                self.bass_alone = self.cluster.count_ones() <= 2;
            }
            // A figure is made of single notes, with a melody note at most.
            let single = self.cluster.count_ones() <= 2;
            self.low_before = lowest(self.cluster).filter(|_| single);
            self.chord_before = !single;
            self.bass_before = self.bass;
            self.cluster = 0;
            self.cluster_at = at;
        }
        self.cluster |= bit;
        self.ended[key as usize & 127] = None;

        let below = keys.sounding() & (bit - 1);
        let lone = self.cluster.count_ones() == 1 && key >= 60 && below.count_ones() >= 2;
        self.alone = if lone {
            self.alone | bit
        } else {
            self.alone & !self.cluster
        };

        // A stroke of three or more different notes is a harmony of its own:
        // what came before is past, but for a bass that still sounds.
        let struck = classes(self.cluster);
        let new_bass = self.follow_bass(at, keys, key);
        // So is it after a chord when a new bass begins all by itself.
        let afresh = new_bass && self.chord_before && keys.sounding() & !self.cluster == 0;
        if struck.len() >= 3 || afresh {
            self.horizon = self.cluster_at;
        }
        self.name(at, keys, home, new_bass || struck.len() >= 3)
    }

    /// The damper went up. What it held is past, but for what was struck just
    /// before: the foot follows the hand.
    pub fn on_pedal_up(&mut self, at: Time) {
        let just = at.since(self.cluster_at) < FOOT;
        self.horizon = if just { self.cluster_at } else { at };
    }

    /// Something was let go, or a step of the grid passed.
    pub fn on_time(&mut self, at: Time, keys: &Keys, home: PitchClassSet) -> bool {
        self.mark_ends(at, keys);
        if self.alone & keys.sounding() == 0 {
            return false;
        }
        self.name(at, keys, home, false)
    }

    /// Silence, or a new beginning.
    pub fn reset(&mut self) {
        *self = ChordTracker::default();
    }

    fn mark_ends(&mut self, at: Time, keys: &Keys) {
        let sounding = keys.sounding();
        for key in each(self.sounding & !sounding) {
            self.ended[key as usize] = Some(at);
        }
        self.sounding = sounding;
    }

    /// Keeps the bass through the notes above it. True if a new one was struck.
    fn follow_bass(&mut self, at: Time, keys: &Keys, key: u8) -> bool {
        let low = lowest(keys.sounding()).unwrap_or(key);
        let before = self.bass;
        // The bass that was there before this stroke, so that the order in which
        // its notes arrive does not matter.
        let stays = self.bass_before.filter(|&(b, t)| {
            let sounds = keys.sounding() >> b & 1 == 1;
            low > b && !sounds && at.since(t) < BASS_STAYS && self.is_above(b, low)
        });
        self.bass = stays.or(Some((low, keys.strike(low).at)));
        self.bass.map(|b| b.0) != before.map(|b| b.0) && low == key
    }

    /// Whether what was just struck lies over a bass that was let go: notes
    /// together above it that are no chord of their own (bass A, then C E G: Am7;
    /// but not E D B), one note well above it, or a note of a figure that went
    /// higher before (C G E G, but not the step from C to D).
    fn is_above(&self, bass: u8, low: u8) -> bool {
        let struck = classes(self.cluster);
        let root = PitchClass::of_key(bass);
        if struck.len() >= 3 && !self.bass_alone {
            return false;
        }
        if struck.len() >= 3 && !struck.contains(root) {
            match Kinds::standard().name(struck, root, PitchClassSet::ALL) {
                Sonority::Chord(c)
                    if c.root == root && Kinds::standard().kind(c.kind).cost <= PLAIN => {}
                _ => return false,
            }
        }
        if struck.len() >= 2 {
            return low
                >= bass.saturating_add(if self.bass_alone {
                    STEP_OVER
                } else {
                    WELL_OVER
                });
        }
        // Down again from a chord: the next bass.
        let figure = self
            .low_before
            .is_some_and(|before| before > low && before <= bass.saturating_add(FIGURE));
        low >= bass.saturating_add(if figure { STEP_OVER } else { WELL_OVER }) && !self.chord_before
    }

    fn weights(&self, at: Time, keys: &Keys) -> [f32; 12] {
        let mut w = [0.0f32; 12];
        let mut put = |key: u8, weight: f32| {
            let pc = PitchClass::of_key(key).index();
            w[pc] = w[pc].max(weight);
        };
        let bass = self.bass.map(|b| b.0);
        for key in each(keys.held()) {
            let strike = keys.strike(key);
            let passing = self.alone >> key & 1 == 1 && at.since(strike.at) < PASSING;
            put(
                key,
                if passing {
                    PASSING_WEIGHT
                } else {
                    HELD + (1.0 - HELD) * strike.left
                },
            );
        }
        for key in each(keys.pedalled()) {
            let strike = keys.strike(key);
            let old = strike.at < self.horizon && Some(key) != bass;
            // What was struck over the present bass belongs to it.
            let over = self.bass.is_some_and(|(_, since)| strike.at >= since);
            let memory = if over || key < 48 {
                PEDAL_BASS_MEMORY
            } else {
                PEDAL_MEMORY
            };
            let left = (-(at.since(strike.at).seconds() as f32) / memory).exp();
            put(key, left * if old { PAST } else { PEDALLED });
        }
        // A hand that holds a whole chord has left the one before.
        let whole = classes(keys.held() & !self.alone).len() >= 3;
        for (key, ended) in self.ended.iter().enumerate() {
            let Some(ended) = *ended else { continue };
            let since = at.since(ended).seconds() as f32;
            if since > 3.0 * MEMORY {
                continue;
            }
            let key = key as u8;
            if Some(key) == bass {
                put(key, BASS_LET_GO);
            } else if !whole && keys.strike(key).at >= self.horizon && self.alone >> key & 1 == 0 {
                put(key, LET_GO * (-since / MEMORY).exp());
            }
        }
        w
    }

    fn name(&mut self, at: Time, keys: &Keys, home: PitchClassSet, struck: bool) -> bool {
        let Some((bass_key, _)) = self.bass else {
            return false;
        };
        let bass = PitchClass::of_key(bass_key);
        let w = self.weights(at, keys);
        let audible: PitchClassSet = PitchClass::all()
            .filter(|pc| w[pc.index()] > AUDIBLE)
            .collect();

        let block = classes(self.cluster);
        let whole = keys.held() & !self.cluster == 0 && self.cluster & !keys.held() == 0;
        let found = if whole && block.len() >= 3 && keys.pedalled() & !self.cluster == 0 {
            Kinds::standard().name(block, bass, home)
        } else if audible.len() < 3 {
            match self.now {
                // A note of the chord that stands is that chord still.
                Some((s @ Sonority::Chord(_), since))
                    if audible.is_subset(s.set()) && at.since(since) < TRUST =>
                {
                    s
                }
                _ => Kinds::standard().name(audible.with(bass), bass, home),
            }
        } else {
            let (best, fit) = best_fit(&w, audible, bass, home);
            match (best, self.now) {
                (Some(new), Some((Sonority::Chord(old), _))) if new != old => {
                    let stands = Chord { bass, ..old };
                    let switch = if struck { SWITCH_STRUCK } else { SWITCH };
                    if fit_of(&w, stands, home) + switch >= fit {
                        Sonority::Chord(stands)
                    } else {
                        Sonority::Chord(new)
                    }
                }
                (Some(new), _) => Sonority::Chord(new),
                (None, _) => Kinds::standard().name(audible, bass, home),
            }
        };
        let changed = self.now.map(|n| n.0) != Some(found);
        if changed {
            self.now = Some((found, at));
        }
        changed
    }
}

fn classes(keys: KeySet) -> PitchClassSet {
    each(keys).map(PitchClass::of_key).collect()
}

/// How well a chord explains the weights.
fn fit_of(w: &[f32; 12], chord: Chord, home: PitchClassSet) -> f32 {
    let total: f32 = (0..12).map(|above| w[chord.root.up(above).index()]).sum();
    let above = std::array::from_fn(|i| w[chord.root.up(i as i32).index()]);
    fit(&above, total, chord, home)
}

/// `above`: the weights by distance above the root.
fn fit(above: &[f32; 12], total: f32, chord: Chord, home: PitchClassSet) -> f32 {
    let kind = Kinds::standard().kind(chord.kind);
    let (mut inside, mut missing) = (0.0, 0.0);
    for (i, m) in kind.members.iter().enumerate() {
        let w = above[m.semitones as usize];
        inside += w;
        // The fifth is the member that is left out most easily.
        let matters = match (i, m.number) {
            (0, _) => 1.3,
            (_, 5) => 0.6,
            _ => 1.0,
        };
        missing += matters * (1.0 - w).max(0.0);
    }
    let bass = chord.bass.above(chord.root);
    let foreign = kind.members.iter().all(|m| m.semitones as usize != bass);
    // A foreign bass is heard as such: it is not counted as a wrong note too.
    let outside = total - inside - if foreign { above[bass] } else { 0.0 };
    let strange = if home.contains(chord.root) { 0.0 } else { 0.05 };
    let penalty = kind.cost + bass_cost(kind, bass) + strange;
    inside - OUTSIDE * outside - MISSING * missing - COST * penalty
}

fn best_fit(
    w: &[f32; 12],
    audible: PitchClassSet,
    bass: PitchClass,
    home: PitchClassSet,
) -> (Option<Chord>, f32) {
    let mut best = (None, f32::MIN);
    // Roots from the bass upwards, so that ties fall alike in every transposition.
    for root in (0..12).map(|n| bass.up(n)).filter(|&r| audible.contains(r)) {
        let above: [f32; 12] = std::array::from_fn(|i| w[root.up(i as i32).index()]);
        let total: f32 = above.iter().sum();
        for (id, kind) in Kinds::standard().iter() {
            let foreign = kind
                .members
                .iter()
                .all(|m| m.semitones as usize != bass.above(root));
            // No note is named that was not heard, but for a fifth.
            let heard = kind.core().is_subset(audible.seen_from(root));
            let far = foreign && (kind.members.len() > 4 || kind.cost + FOREIGN_BASS > 0.7);
            if far || !heard {
                continue;
            }
            let chord = Chord {
                root,
                kind: id,
                bass,
            };
            let fit = fit(&above, total, chord, home);
            if fit > best.1 + 1e-4 {
                best = (Some(chord), fit);
            }
        }
    }
    if best.1 < 0.3 { (None, best.1) } else { best }
}
