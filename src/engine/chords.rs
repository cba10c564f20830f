//! The chord of the moment: what sounds, and what was struck or broken just before.
//!
//! What was learned ([`super::harmony`]) says at each stroke which harmony is meant, a
//! root and a triad; the harmony that stands gives way by a margin. A block of
//! notes is named as it stands. Otherwise the notes that sound, those the pedal holds and
//! those just let go are weighed, and decide which kind of chord the harmony is; a
//! passing note in the melody does not change it. Where too little was heard for a chord
//! its notes are shown.
//!
//! The weights and margins below were chosen on analysts' chords and on the textures of
//! tests/textures.rs (tests/training/README.md).

use super::harmony::{Harmony, Judgement, RootedTriad, Stroke};
use super::keys::{KeySet, Keys, each, highest, lowest};
use crate::theory::{
    Chord, FOREIGN_BASS, Hearing, Kinds, PitchClass, PitchClassSet, Sonority, bass_cost,
};
use crate::time::Time;

/// Onsets this close belong to one stroke of the hands.
pub const CLUSTER: Time = Time::millis(70);
/// Seconds in which a note that was let go is forgotten to 1/e.
const MEMORY: f32 = 2.5;
/// The same for a note that only the pedal holds, in the middle of the keyboard …
const PEDAL_MEMORY: f32 = 1.0;
/// … and for a bass.
const PEDAL_BASS_MEMORY: f32 = 3.6;
/// A bass that was let go stays the bass for so long, while nothing as low follows.
const BASS_STAYS: Time = Time::millis(2500);
/// A bass that sounds on for so long under what follows it was meant to: let go, it is over.
const HELD_ON: Time = Time::millis(150);
/// A key struck so soon after a lower one that is held belongs to the same roll.
const ROLL: Time = Time::millis(220);
/// Two hands strike together within so much; later, it is a roll.
const AT_ONCE: Time = Time::millis(20);
/// The foot changes the pedal at most so long after the hands have changed.
const FOOT: Time = Time::millis(300);
/// A chord that stands is taken on trust so long while one or two of its notes go on.
const TRUST: Time = Time::millis(4000);
/// Two keys so far apart are struck by two hands, more often than not, in semitones.
const ANOTHER_HAND: u8 = 8;
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
/// Seconds that it must have sounded before, to count so much.
const LASTED: f32 = 0.2;
/// How much a note outside the chord costs, and a missing member.
const OUTSIDE: f32 = 0.95;
const MISSING: f32 = 0.45;
/// What a kind's far-fetchedness weighs against the notes.
const COST: f32 = 2.2;
/// How much likelier, as a logarithm, another harmony must be than the one that stands:
/// when a new bass or several notes were struck at once …
const CHANGE_STRUCK: f32 = 0.2;
/// … when a note was struck that the chord holds already, and while all of it sounds …
const CHANGE_OWN: f32 = 1.0;
const CHANGE_WHOLE: f32 = 3.0;
/// … and otherwise.
const CHANGE: f32 = 0.6;
/// How far from the likeliest harmony a chord may lie that was struck as a block.
const BLOCK: f32 = 0.5;
/// The same if nothing else sounds and its kind costs no more than [`PLAIN`].
const WHOLE: f32 = 4.0;
const PLAIN: f32 = 0.3;
/// By how much another chord of the same harmony must fit better: one that has all the
/// notes of the one that stands and more, and any other.
const FULLER: f32 = 1.0;
const OTHER: f32 = 3.0;
/// How much likelier a new bass must be than one that was let go.
const NEW_BASS: f32 = 1.0;
/// The same of a note in a figure that comes down to it from a higher one.
const FIGURE_BASS: f32 = 3.0;
/// So sure of a harmony, notes that are no chord are taken for a part of it …
const SURE: f32 = 0.8;
/// … and one or two notes between chords.
const FLOWING: f32 = 0.4;
/// However unlikely a harmony is, it counts for no less than this logarithm.
const UNLIKELY: f32 = -6.0;
/// A pitch class that weighs less is not part of anything.
const AUDIBLE: f32 = 0.15;

fn meant_by(chord: Chord) -> RootedTriad {
    (chord.root, Kinds::standard().kind(chord.kind).triad())
}

/// What is likely at a stroke.
struct Likely {
    judgement: Judgement,
    best: RootedTriad,
    /// The probability of the best.
    sure: f32,
}

impl Likely {
    fn new(judgement: Judgement, bass: PitchClass) -> Likely {
        let (best, sure) = judgement.best(bass);
        Likely {
            judgement,
            best,
            sure,
        }
    }

    /// How much less likely than the best a harmony is, as a logarithm: 0 or less.
    fn nats(&self, harmony: RootedTriad) -> f32 {
        self.judgement.of(harmony) - self.judgement.of(self.best)
    }
}

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
    /// Whether the stroke before was a chord.
    chord_before: bool,
    /// The lowest key of the stroke before, if that was no chord.
    low_before: Option<u8>,
    /// Whether the bass was struck alone, or with a melody note: then a chord follows.
    bass_alone: bool,
    /// When the first stroke after the bass came.
    after_bass: Time,
    harmony: Harmony,
    /// The latest stroke, and whether its latest key began it.
    stroke: Option<(Stroke, bool)>,
    /// How long each key sounded when it ended.
    lasted: [Time; 128],
    /// The latest onset, and whether it went on a roll.
    latest: Option<(Time, u8)>,
    rolling: bool,
    /// The harmony that is meant.
    meant: Option<RootedTriad>,
    /// When that harmony began.
    began: Time,
}

impl Default for ChordTracker {
    fn default() -> ChordTracker {
        ChordTracker {
            harmony: Harmony::standard(false),
            stroke: None,
            latest: None,
            lasted: [Time::ZERO; 128],
            rolling: false,
            meant: None,
            began: Time::ZERO,
            now: None,
            cluster: 0,
            cluster_at: Time::ZERO,
            ended: [None; 128],
            sounding: 0,
            alone: 0,
            horizon: Time::ZERO,
            bass: None,
            bass_before: None,
            chord_before: false,
            low_before: None,
            bass_alone: false,
            after_bass: Time::ZERO,
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

    /// The latest stroke as far as it goes, what is likely at it, and whether its latest
    /// key began it.
    pub fn stroke(&self) -> Option<(&Stroke, &Judgement, bool)> {
        let (stroke, another) = self.stroke.as_ref()?;
        Some((stroke, self.harmony.judgement(), *another))
    }

    /// The key of the bass, sounding or let go.
    pub fn bass(&self) -> Option<u8> {
        self.bass.map(|(key, _)| key)
    }

    /// A key was struck. True if the chord changed.
    pub fn on_onset(&mut self, at: Time, keys: &Keys, key: u8, hearing: Hearing) -> bool {
        self.mark_ends(at, keys);
        let bit = 1u128 << key;
        let another = at.since(self.cluster_at) > CLUSTER || self.cluster == 0;
        if another {
            self.chord_before = self.cluster.count_ones() > 2;
            self.low_before = lowest(self.cluster).filter(|_| !self.chord_before);
            if self.bass.is_some_and(|(b, _)| self.cluster >> b & 1 == 1) {
                self.bass_alone = !self.chord_before;
                self.after_bass = at;
            }
            self.bass_before = self.bass;
            self.cluster = 0;
            self.cluster_at = at;
        }
        self.cluster |= bit;
        let stroke = Stroke::new(self.cluster_at, self.cluster, at, keys);
        self.harmony.hear(&stroke, another);
        self.stroke = Some((stroke, another));
        self.ended[key as usize & 127] = None;

        let below = keys.sounding() & (bit - 1);
        // A roll goes on upward and at once.
        let roll = self.latest.is_some_and(|(t, k)| {
            at.since(t) > AT_ONCE && at.since(t) < ROLL && k < key && keys.held() >> k & 1 == 1
        });
        self.latest = Some((at, key));
        self.rolling = roll;
        let lone = self.cluster.count_ones() == 1 && key >= 60 && below.count_ones() >= 2 && !roll;
        self.alone = if lone {
            self.alone | bit
        } else {
            self.alone & !self.cluster
        };
        // So is a melody note that meets a note of the figure, if the chord lacks it.
        let top = highest(self.cluster).unwrap_or(key);
        let under = lowest(self.cluster).unwrap_or(key);
        let foreign = |c: Chord| !c.set().contains(PitchClass::of_key(top));
        if !roll
            && self.cluster.count_ones() == 2
            && top >= 60
            && top - under >= ANOTHER_HAND
            && self
                .standing()
                .is_some_and(|(c, _)| foreign(c) && c.set().contains(PitchClass::of_key(under)))
        {
            self.alone |= 1u128 << top;
        }

        // A stroke of three or more different notes is a harmony of its own:
        // what came before is past, but for a bass that still sounds.
        let struck = classes(self.cluster);
        let new_bass = self.follow_bass(at, keys, key);
        // So is it after a chord when a new bass begins all by itself.
        let afresh = new_bass && self.chord_before && keys.sounding() & !self.cluster == 0;
        if struck.len() >= 3 || afresh {
            self.horizon = self.cluster_at;
        }
        self.name(at, keys, hearing, new_bass || struck.len() >= 3)
    }

    /// The damper went up. What it held is past, but for what was struck just
    /// before: the foot follows the hand.
    pub fn on_pedal_up(&mut self, at: Time) {
        let just = at.since(self.cluster_at) < FOOT;
        self.horizon = if just { self.cluster_at } else { at };
    }

    /// Something was let go, or a step of the grid passed.
    pub fn on_time(&mut self, at: Time, keys: &Keys, hearing: Hearing) -> bool {
        self.mark_ends(at, keys);
        // A lone note may have become a part of the chord that sounds under it.
        let under = keys.sounding() & !self.alone;
        if self.alone & keys.sounding() == 0 || under.count_ones() < 2 {
            return false;
        }
        self.name(at, keys, hearing, false)
    }

    /// Silence, or a new beginning. Nothing is allocated.
    pub fn reset(&mut self) {
        self.harmony.reset();
        (self.now, self.stroke, self.latest, self.meant) = (None, None, None, None);
        (self.cluster, self.sounding, self.alone) = (0, 0, 0);
        (self.cluster_at, self.horizon, self.began) = (Time::ZERO, Time::ZERO, Time::ZERO);
        (self.ended, self.lasted) = ([None; 128], [Time::ZERO; 128]);
        (self.bass, self.bass_before) = (None, None);
        (self.rolling, self.bass_alone, self.chord_before) = (false, false, false);
        (self.after_bass, self.low_before) = (Time::ZERO, None);
    }

    fn mark_ends(&mut self, at: Time, keys: &Keys) {
        let sounding = keys.sounding();
        for key in each(self.sounding & !sounding) {
            self.ended[key as usize] = Some(at);
            self.lasted[key as usize] = at.since(keys.strike(key).at);
        }
        self.sounding = sounding;
    }

    /// Keeps the bass through the notes above it: a lower key that was let go goes on
    /// being the bass as long as what was learned says so. True if a new one was struck.
    fn follow_bass(&mut self, at: Time, keys: &Keys, key: u8) -> bool {
        let low = lowest(keys.sounding()).unwrap_or(key);
        let before = self.bass;
        let likely = |key: u8| self.harmony.judgement().bass[PitchClass::of_key(key).index()];
        // The bass that was there before this stroke, so that the order in which
        // its notes arrive does not matter.
        let stays = self.bass_before.filter(|&(b, t)| {
            let sounds = keys.sounding() >> b & 1 == 1;
            // A chord follows a bass that was struck alone and not held on under others.
            let short =
                self.ended[b as usize & 127].is_some_and(|e| e.since(self.after_bass) < HELD_ON);
            let follows = self.bass_alone && short || classes(self.cluster).len() < 3;
            // Down again to a note of a figure over it: C A F A.
            let own = |c: Chord| {
                [b, low]
                    .iter()
                    .all(|&k| c.set().contains(PitchClass::of_key(k)))
            };
            let figure = short
                && self.low_before.is_some_and(|before| before > low)
                && self.standing().is_some_and(|(c, _)| own(c));
            let margin = if figure { FIGURE_BASS } else { NEW_BASS };
            low > b
                && !sounds
                && follows
                && at.since(t) < BASS_STAYS
                && likely(b) + margin > likely(low)
        });
        self.bass = stays.or(Some((low, keys.strike(low).at)));
        self.bass.map(|b| b.0) != before.map(|b| b.0) && low == key
    }

    /// `horizon`: what was struck before counts for little while a pedal holds it, and
    /// for nothing when it was let go.
    fn weights(&self, at: Time, keys: &Keys, horizon: Time) -> [f32; 12] {
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
            let old = strike.at < horizon && Some(key) != bass;
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
            } else if !whole && keys.strike(key).at >= horizon && self.alone >> key & 1 == 0 {
                let lasted = self.lasted[key as usize].seconds() as f32;
                put(
                    key,
                    LET_GO * (lasted / LASTED).min(1.0) * (-since / MEMORY).exp(),
                );
            }
        }
        w
    }

    fn name(&mut self, at: Time, keys: &Keys, hearing: Hearing, struck: bool) -> bool {
        let Some((bass, _)) = self.bass else {
            return false;
        };
        let bass = PitchClass::of_key(bass);
        let likely = Likely::new(*self.harmony.judgement(), bass);
        let meant = self.harmony_meant(&likely, keys, struck);
        if self.meant != Some(meant) {
            self.began = self.latest_stroke(at);
        }
        let hearing = Hearing {
            before: self.standing().map(|(c, _)| c),
            ..hearing
        };
        let found = self
            .as_it_stands(&likely, keys, bass, hearing)
            .unwrap_or_else(|| self.explained(&likely, at, keys, bass, meant, hearing));
        self.meant = found.chord().map(meant_by).or(Some(meant));
        let changed = self.now.map(|n| n.0) != Some(found);
        if changed {
            self.now = Some((found, at));
        }
        changed
    }

    /// The chord that stands, and since when.
    fn standing(&self) -> Option<(Chord, Time)> {
        let (sonority, since) = self.now?;
        Some((sonority.chord()?, since))
    }

    /// The harmony that stands, or one that is likelier by a margin.
    fn harmony_meant(&self, likely: &Likely, keys: &Keys, struck: bool) -> RootedTriad {
        let Some(old) = self.meant else {
            return likely.best;
        };
        let mut margin = if struck { CHANGE_STRUCK } else { CHANGE };
        // A note of the chord that stands is that chord still.
        if let Some((c, _)) = self.standing()
            && !struck
            && meant_by(c) == old
            && classes(self.cluster).is_subset(c.set())
        {
            let sounds = classes(keys.sounding());
            let whole = c.set().is_subset(sounds.with(c.bass));
            margin = margin.max(if whole { CHANGE_WHOLE } else { CHANGE_OWN });
        }
        if likely.nats(old) > -margin {
            old
        } else {
            likely.best
        }
    }

    /// What sounds, if all of it was struck in this harmony, together or in a roll.
    fn as_it_stands(
        &self,
        likely: &Likely,
        keys: &Keys,
        bass: PitchClass,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let sounding = keys.sounding();
        let from = self.horizon.max(self.began);
        let fresh = each(sounding).all(|k| keys.strike(k).at >= from);
        let set = classes(sounding).with(bass);
        let together = classes(self.cluster).len() >= 3;
        let whole = together && sounding == self.cluster;
        let lone = self.alone & sounding != 0;
        if !fresh || lone || set.len() < 3 || !(together || self.rolling) {
            return None;
        }
        let standing = self.standing().map(|(c, _)| c).filter(|_| !whole);
        let named = match standing {
            // The same notes again are the same chord.
            Some(c) if c.set() == set && c.bass == bass => Sonority::Chord(c),
            _ => Kinds::standard().name(set, bass, hearing),
        };
        let holds = match named.chord() {
            Some(c) => {
                let nats = likely.nats(meant_by(c));
                let plainer = |old: Chord| {
                    meant_by(c) == meant_by(old)
                        && c.bass == old.bass
                        && c.set().is_subset(old.set())
                };
                match () {
                    // A plainer stroke of the harmony that stands takes nothing from it.
                    () if standing.is_some_and(plainer) => false,
                    // What was learned knows no voicings without their root.
                    () if whole && hearing.bassist => true,
                    // Nothing but a plain chord sounds: then it is that.
                    () if whole && Kinds::standard().kind(c.kind).cost <= PLAIN => nats > -WHOLE,
                    () => (together || c.root == c.bass) && nats > -BLOCK,
                }
            }
            None => whole || together && likely.sure < SURE,
        };
        holds.then_some(named)
    }

    /// The kind of chord that the harmony is, by what was heard of it; or its notes.
    fn explained(
        &self,
        likely: &Likely,
        at: Time,
        keys: &Keys,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Sonority {
        let kinds = Kinds::standard();
        let standing = self.standing();
        let heard = self.weights(at, keys, self.horizon);
        let audible = audible(&heard);
        // A note or two between chords are named only as what they are likely part of.
        let flows = standing.is_some() && likely.sure >= FLOWING;
        let mut best = (None, 0.0);
        let mut w = heard;
        if audible.len() >= 3 || flows {
            // Of the triad all counts that was heard lately, of the rest what was
            // struck since the harmony began.
            let own = match self.began > self.horizon {
                true => self.weights(at, keys, self.began),
                false => heard,
            };
            let triad = kinds.plain(meant.1).up(meant.0.index() as i32);
            for pc in PitchClass::all().filter(|&pc| !triad.contains(pc)) {
                w[pc.index()] = own[pc.index()];
            }
            // A second or fourth for a third that was not heard: nothing is expected.
            let sounds = |n: i32| own[meant.0.up(n).index()] > AUDIBLE;
            let third = triad.seen_from(meant.0).iter().nth(1);
            let no_third = third.is_some_and(|t| !audible.contains(meant.0.up(t.index() as i32)));
            let suspended = sounds(0) && (sounds(2) || sounds(5)) && sounds(7) && no_third;
            best = best_fit(
                &w,
                audible,
                bass,
                hearing,
                Some(meant),
                &|_| 0.0,
                !suspended,
            );
            if best.0.is_none() && audible.len() >= 3 {
                let learned = |c: Chord| likely.nats(meant_by(c)).max(UNLIKELY);
                w = heard;
                best = best_fit(&w, audible, bass, hearing, None, &learned, false);
            }
        }
        match (best.0, standing) {
            (Some(new), Some((old, _))) if meant_by(new) == meant_by(old) => {
                let stands = Chord { bass, ..old };
                // A fuller chord of the same harmony comes more easily than another one.
                let fuller = old.set().is_subset(new.set());
                let margin = if fuller { FULLER } else { OTHER };
                let stays = fit_of(&w, stands, hearing) + margin >= best.1;
                Sonority::Chord(on_its_bass(if stays { stands } else { new }, hearing))
            }
            (Some(new), _) => Sonority::Chord(on_its_bass(new, hearing)),
            // A note of the chord that stands is that chord still.
            (None, Some((old, since)))
                if audible.is_subset(old.set()) && at.since(since) < TRUST =>
            {
                Sonority::Chord(old)
            }
            _ if audible.len() < 3 => kinds.name(audible.with(bass), bass, hearing),
            _ => kinds.name(classes(keys.sounding()).with(bass), bass, hearing),
        }
    }

    fn latest_stroke(&self, at: Time) -> Time {
        if at.since(self.cluster_at) <= CLUSTER {
            self.cluster_at
        } else {
            at
        }
    }
}

/// Am7 for C6/A: nobody writes a sixth chord on its sixth.
fn on_its_bass(chord: Chord, hearing: Hearing) -> Chord {
    let kinds = Kinds::standard();
    let sixth = chord.bass_member().is_some_and(|m| m.number == 6);
    match kinds.name(chord.set(), chord.bass, hearing) {
        Sonority::Chord(c) if sixth && c.root == c.bass => c,
        _ => chord,
    }
}

/// The chord of a harmony that explains weights best, its bass given; `None` if
/// too little of it was heard.
pub fn fitting(
    w: &[f32; 12],
    bass: PitchClass,
    hearing: Hearing,
    meant: RootedTriad,
) -> Option<Chord> {
    let found = best_fit(w, audible(w), bass, hearing, Some(meant), &|_| 0.0, true).0;
    found.map(|c| on_its_bass(c, hearing))
}

/// The pitch classes that are part of something.
fn audible(w: &[f32; 12]) -> PitchClassSet {
    PitchClass::all()
        .filter(|pc| w[pc.index()] > AUDIBLE)
        .collect()
}

fn classes(keys: KeySet) -> PitchClassSet {
    each(keys).map(PitchClass::of_key).collect()
}

/// How well a chord explains the weights.
fn fit_of(w: &[f32; 12], chord: Chord, hearing: Hearing) -> f32 {
    let total: f32 = (0..12).map(|above| w[chord.root.up(above).index()]).sum();
    let above = std::array::from_fn(|i| w[chord.root.up(i as i32).index()]);
    fit(&above, total, chord, hearing)
}

/// `above`: the weights by distance above the root.
fn fit(above: &[f32; 12], total: f32, chord: Chord, hearing: Hearing) -> f32 {
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
    let strange = if hearing.scale.contains(chord.root) {
        0.0
    } else {
        0.05
    };
    let penalty = kind.cost + bass_cost(kind, bass) + strange;
    inside - OUTSIDE * outside - MISSING * missing - COST * penalty
}

fn best_fit(
    w: &[f32; 12],
    audible: PitchClassSet,
    bass: PitchClass,
    hearing: Hearing,
    only: Option<RootedTriad>,
    learned: &impl Fn(Chord) -> f32,
    expecting: bool,
) -> (Option<Chord>, f32) {
    let mut best = (None, f32::MIN);
    // Roots from the bass upwards, so that ties fall alike in every transposition.
    for root in (0..12).map(|n| bass.up(n)) {
        if only.is_some_and(|(r, _)| r != root) || only.is_none() && !audible.contains(root) {
            continue;
        }
        let above: [f32; 12] = std::array::from_fn(|i| w[root.up(i as i32).index()]);
        let heard = audible.seen_from(root);
        let total: f32 = above.iter().sum();
        for (id, kind) in Kinds::standard().iter() {
            if only.is_some_and(|(_, triad)| triad != kind.triad()) {
                continue;
            }
            let foreign = kind
                .members
                .iter()
                .all(|m| m.semitones as usize != bass.above(root));
            // No note is named that was not heard, but for a fifth; of a triad that is
            // expected two notes are enough while no third one speaks against it.
            let expected = expecting && kind.members.len() == 3 && kind.set().and(heard).len() >= 2;
            let far = foreign && (kind.members.len() > 4 || kind.cost + FOREIGN_BASS > 0.7);
            if far || !(expected || kind.core().is_subset(heard)) {
                continue;
            }
            let chord = Chord {
                root,
                kind: id,
                bass,
            };
            let fit = fit(&above, total, chord, hearing) + learned(chord);
            if fit > best.1 + 1e-4 {
                best = (Some(chord), fit);
            }
        }
    }
    if best.1 < 0.3 && only.is_none() {
        (None, best.1)
    } else {
        best
    }
}
