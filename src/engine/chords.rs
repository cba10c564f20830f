//! The chord of the moment: what sounds, and what was struck or broken just before.
//!
//! What was learned ([`super::harmony`]) says at each stroke which harmony is meant, a
//! root and a triad, and which bass; a change of either must make up for its price
//! ([`Course`]). A block of notes is named as it stands. Otherwise the notes that sound,
//! those the pedal holds and those just let go are weighed, and decide together with what
//! was learned of each degree which kind of chord the harmony is; a passing note in the
//! melody does not change it. Where too little was heard for a chord its notes are shown.
//!
//! The weights and margins below were chosen on analysts' chords and on the textures of
//! tests/textures.rs (tests/training/README.md).

use super::figure::{Figure, ROUND};
use super::harmony::{Harmony, Judgement, RootedTriad, Stroke, TRIADS};
use super::keys::{KeySet, Keys, classes, each, highest, lowest};
use crate::theory::{Chord, Hearing, Kinds, PitchClass, PitchClassSet, Sonority, Triad, bass_cost};
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
/// A roll that takes no longer is as good as a block.
const FAST_ROLL: Time = Time::millis(250);
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
/// What a change of harmony costs, as a logarithm: at a new bass or several notes struck
/// at once …
const CHANGE_STRUCK: f32 = 0.2;
/// … when a note was struck that the chord holds already, and while all of it sounds …
const CHANGE_OWN: f32 = 1.0;
const CHANGE_WHOLE: f32 = 3.0;
/// … and otherwise.
const CHANGE: f32 = 0.8;
/// The same for the bass that is meant.
const CHANGE_BASS_STRUCK: f32 = 0.5;
const CHANGE_BASS: f32 = 1.0;
/// What speaks for the lowest note of a harmony to be its bass, and in a single line.
const LOWEST: f32 = 1.5;
const LOWEST_OF_LINE: f32 = 2.0;
/// A harmony is recognized at most so long after its first note.
const FIRST: Time = Time::millis(1200);
/// How far from the likeliest harmony a chord may lie that was struck as a block.
const BLOCK: f32 = 1.0;
/// The same if nothing else sounds and its kind costs no more than [`PLAIN`].
const WHOLE: f32 = 4.0;
const PLAIN: f32 = 0.3;
/// The same for a figure whose keys are all held, and for one of single keys.
const WHOLE_FIGURE: f32 = 6.0;
const LINE: f32 = 3.0;
/// So many strokes are compared to tell an even pace, …
const EVEN: usize = 5;
/// … from which none may differ by more than this part of it.
const UNEVEN: f32 = 0.2;
/// What was learned of a chord's degrees, against how well it explains what was heard:
/// each note that it has counts 1, …
const SAID: f32 = 0.3;
/// … a note outside and a missing member cost so much, …
const OUTSIDE: f32 = 0.95;
const MISSING: f32 = 0.45;
/// … and so much a kind's far-fetchedness.
const COST: f32 = 2.2;
/// By how much another chord of the same harmony must fit better: one that has all the
/// notes of the one that stands and more, and any other.
const FULLER: f32 = 0.7;
const OTHER: f32 = 3.0;
/// How much likelier the lowest note must be than a bass that was let go …
const NEW_BASS: f32 = 1.0;
/// … if both are notes of the chord that stands, and if it was struck in another harmony.
const FIGURE_BASS: f32 = 3.0;
const PAST_BASS: f32 = 0.3;
/// So sure of a harmony, notes that are no chord are taken for a part of it …
const SURE: f32 = 0.8;
/// … and one or two notes between chords.
const FLOWING: f32 = 0.4;
/// A pitch class that weighs less is not part of anything.
const AUDIBLE: f32 = 0.15;

fn meant_by(chord: Chord) -> RootedTriad {
    (chord.root, Kinds::standard().kind(chord.kind).triad())
}

/// A key that was struck.
#[derive(Clone, Copy)]
struct Onset {
    /// It began a stroke.
    another: bool,
    /// A new bass or several notes at once: such a stroke often brings a new harmony.
    weighty: bool,
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

    /// The likeliest chord of all whose notes were heard.
    fn of_all(&self, heard: &[f32; 12], bass: PitchClass) -> Option<Chord> {
        let mut best: Option<(Chord, f32)> = None;
        let audible = audible(heard);
        for root in (0..12).map(|n| bass.up(n)).filter(|&r| audible.contains(r)) {
            for triad in TRIADS {
                let nats = self.nats((root, triad));
                if best.is_none_or(|(_, most)| nats > most)
                    && let Some(c) = likeliest(&self.judgement, heard, bass, (root, triad), false)
                {
                    best = Some((c, nats));
                }
            }
        }
        best.map(|(chord, _)| chord)
    }

    /// How much less likely than the best a harmony is, as a logarithm: 0 or less.
    fn nats(&self, harmony: RootedTriad) -> f32 {
        self.judgement.of(harmony) - self.judgement.of(self.best)
    }
}

/// The likeliest course up to now through things that may be meant, as logarithms (Viterbi
/// 1967): what led leads on until another has made up for the price of a change.
/// `N`: twelve for each sort.
#[derive(Clone, Copy, Debug)]
struct Course<const N: usize> {
    /// Up to the stroke before.
    before: [f32; N],
    now: [f32; N],
}

impl<const N: usize> Course<N> {
    const NONE: Course<N> = Course {
        before: [0.0; N],
        now: [0.0; N],
    };

    /// `another`: the stroke is a new one, not the same with one more key.
    fn go_on(&mut self, another: bool, price: f32, said: &[f32]) {
        if another {
            self.before = self.now;
        }
        let top = self.before.iter().fold(f32::MIN, |a, &b| a.max(b));
        for ((now, before), said) in self.now.iter_mut().zip(&self.before).zip(said) {
            *now = (before - top).max(-price) + said;
        }
    }

    /// This is meant, whatever led.
    fn hold(&mut self, (root, sort): (PitchClass, usize)) {
        let top = self.now.iter().fold(f32::MIN, |a, &b| a.max(b));
        if let Some(now) = self.now.get_mut(12 * sort + root.index()) {
            *now = top;
        }
    }

    /// What leads: of equals the one nearest above `from`.
    fn best(&self, from: PitchClass) -> (PitchClass, usize) {
        let mut best = (from, 0);
        let said = |(root, sort): (PitchClass, usize)| self.now[12 * sort + root.index()];
        for root in (0..12).map(|n| from.up(n)) {
            for sort in 0..N / 12 {
                if said((root, sort)) > said(best) {
                    best = (root, sort);
                }
            }
        }
        best
    }
}

/// Follows the chord.
#[derive(Clone, Debug)]
pub struct ChordTracker {
    harmonies: Course<{ 12 * TRIADS.len() }>,
    basses: Course<12>,
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
    /// Whether the bass was struck alone, or with a melody note: then a chord follows.
    bass_alone: bool,
    /// When the first stroke after the bass came.
    after_bass: Time,
    harmony: Harmony,
    /// The latest stroke, and whether its latest key began it.
    stroke: Option<(Stroke, bool)>,
    /// How long each key sounded when it ended.
    lasted: [Time; 128],
    /// Every key that was struck at all.
    heard: KeySet,
    /// The lowest key of the bass that is meant.
    deepest: Option<u8>,
    /// The latest strokes, the last first.
    recent: [(Time, KeySet); 8],
    /// The latest onset, and whether it went on a roll.
    latest: Option<(Time, u8)>,
    rolling: bool,
    /// When the latest roll began.
    roll_at: Time,
    /// The keys that were struck as a chord last, together or in a roll.
    block: KeySet,
    /// The harmony that is meant.
    meant: Option<RootedTriad>,
    /// When that harmony began.
    began: Time,
    /// What comes round, and the same before the present stroke.
    figure: Figure,
    figure_before: Figure,
}

impl Default for ChordTracker {
    fn default() -> ChordTracker {
        ChordTracker {
            harmonies: Course::NONE,
            basses: Course::NONE,
            figure: Figure::NONE,
            figure_before: Figure::NONE,
            recent: [(Time::ZERO, 0); 8],
            heard: 0,
            deepest: None,
            harmony: Harmony::standard(false),
            stroke: None,
            latest: None,
            lasted: [Time::ZERO; 128],
            rolling: false,
            roll_at: Time::ZERO,
            block: 0,
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

    /// The key of the bass that is meant, sounding or let go.
    pub fn bass(&self) -> Option<u8> {
        self.deepest
    }

    /// A key was struck. True if the chord changed.
    pub fn on_onset(&mut self, at: Time, keys: &Keys, key: u8, hearing: Hearing) -> bool {
        self.mark_ends(at, keys);
        let bit = 1u128 << key;
        let another = at.since(self.cluster_at) > CLUSTER || self.cluster == 0;
        if another {
            self.chord_before = self.cluster.count_ones() > 2;
            if self.bass.is_some_and(|(b, _)| self.cluster >> b & 1 == 1) {
                self.bass_alone = !self.chord_before;
                self.after_bass = at;
            }
            self.bass_before = self.bass;
            self.cluster = 0;
            self.cluster_at = at;
        }
        self.cluster |= bit;
        self.heard |= bit;
        if another {
            self.recent.rotate_right(1);
        }
        self.recent[0] = (self.cluster_at, self.cluster);
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
        if !roll {
            self.roll_at = self.cluster_at;
        }
        self.rolling = roll;
        let lone = self.cluster.count_ones() == 1 && key >= 60 && below.count_ones() >= 2 && !roll;
        self.alone = if lone {
            self.alone | bit
        } else {
            self.alone & !self.cluster
        };
        // So is a melody note that meets a note of the figure, if the chord lacks it.
        let top = highest(self.cluster).unwrap_or(key);
        let bottom = lowest(self.cluster).unwrap_or(key);
        let foreign = |c: Chord| !c.set().contains(PitchClass::of_key(top));
        if !roll
            && self.cluster.count_ones() == 2
            && top >= 60
            && top - bottom >= ANOTHER_HAND
            && self
                .standing()
                .is_some_and(|(c, _)| foreign(c) && c.set().contains(PitchClass::of_key(bottom)))
        {
            self.alone |= 1u128 << top;
        }

        // Like everything else it is judged anew with every key of a stroke.
        match another {
            true => self.figure_before = self.figure,
            false => self.figure = self.figure_before,
        }
        let floor = self.figure.floor();
        let held = floor.is_some_and(|f| keys.held() >> f & 1 == 1);
        // A melody over two or more keys that are held is no part of the figure, nor is one
        // that meets a key in the middle of it.
        let under = (keys.held() & (bit - 1)).count_ones();
        let met = self.cluster.count_ones() == 2 && self.alone >> top & 1 == 1;
        let line = match under {
            _ if met && floor.is_some_and(|f| bottom > f) => 1 << bottom,
            0 | 1 => self.cluster,
            _ => self.cluster & !self.alone,
        };
        self.figure.go_on(self.cluster_at, line, held);
        // A stroke of three or more different notes is a harmony of its own:
        // what came before is past, but for a bass that still sounds.
        let struck = classes(self.cluster);
        let one = if roll {
            self.since(keys, self.roll_at)
        } else {
            self.cluster
        };
        if classes(one).len() >= 3 {
            self.block = one;
        }
        let new_bass = self.follow_bass(at, keys, key);
        // So is it after a chord when a new bass begins all by itself.
        let afresh = new_bass && self.chord_before && keys.sounding() & !self.cluster == 0;
        if struck.len() >= 3 || afresh {
            self.horizon = if roll { self.roll_at } else { self.cluster_at };
        }
        self.name(
            at,
            keys,
            hearing,
            Some(Onset {
                another,
                weighty: new_bass || struck.len() >= 3,
            }),
        )
    }

    /// The damper went up. What it held is past, but for what was struck just
    /// before: the foot follows the hand.
    pub fn on_pedal_up(&mut self, at: Time) {
        let just = at.since(self.cluster_at) < FOOT;
        self.horizon = match just {
            true if self.rolling => self.roll_at,
            true => self.cluster_at,
            false => at,
        };
    }

    /// Something was let go, or a step of the grid passed.
    pub fn on_time(&mut self, at: Time, keys: &Keys, hearing: Hearing) -> bool {
        self.mark_ends(at, keys);
        // A lone note may have become a part of the chord that sounds under it.
        let under = keys.sounding() & !self.alone;
        if self.alone & keys.sounding() == 0 || under.count_ones() < 2 {
            return false;
        }
        self.name(at, keys, hearing, None)
    }

    /// Silence, or a new beginning. Nothing is allocated.
    pub fn reset(&mut self) {
        self.harmony.reset();
        (self.harmonies, self.basses) = (Course::NONE, Course::NONE);
        self.recent = [(Time::ZERO, 0); 8];
        (self.figure, self.figure_before) = (Figure::NONE, Figure::NONE);
        (self.heard, self.deepest) = (0, None);
        (self.now, self.stroke, self.latest, self.meant) = (None, None, None, None);
        (self.cluster, self.sounding, self.alone) = (0, 0, 0);
        (self.cluster_at, self.horizon, self.began) = (Time::ZERO, Time::ZERO, Time::ZERO);
        (self.ended, self.lasted) = ([None; 128], [Time::ZERO; 128]);
        (self.bass, self.bass_before) = (None, None);
        (self.rolling, self.bass_alone, self.chord_before) = (false, false, false);
        (self.roll_at, self.block) = (Time::ZERO, 0);
        self.after_bass = Time::ZERO;
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
            // Struck by the same hands just now.
            let just = self.cluster >> b & 1 == 1;
            // Another note of a figure over it: C A F A.
            let own = |c: Chord| {
                [b, low]
                    .iter()
                    .all(|&k| c.set().contains(PitchClass::of_key(k)))
            };
            let margin = match self.standing() {
                _ if t < self.began => PAST_BASS,
                Some((c, _)) if own(c) => FIGURE_BASS,
                _ => NEW_BASS,
            };
            let goes_on =
                !sounds && follows && at.since(t) < BASS_STAYS && likely(b) + margin > likely(low);
            low > b && (just || goes_on)
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

    /// `onset`: a key was struck just now.
    fn name(&mut self, at: Time, keys: &Keys, hearing: Hearing, onset: Option<Onset>) -> bool {
        let Some((lowest, _)) = self.bass else {
            return false;
        };
        let lowest = PitchClass::of_key(lowest);
        let likely = Likely::new(*self.harmony.judgement(), lowest);
        let j = &likely.judgement;
        if let Some(Onset { another, weighty }) = onset {
            let price = self.price(keys, weighty);
            self.harmonies
                .go_on(another, price, j.chords.as_flattened());
        }
        let (root, triad) = self.harmonies.best(lowest);
        let meant = (root, TRIADS[triad]);
        let new = self.meant != Some(meant);
        if new {
            self.began = self.first_of(meant).unwrap_or(self.latest_stroke(at));
        }
        if let Some(Onset { another, weighty }) = onset {
            // A new harmony has a bass of its own.
            let price = match () {
                () if new => 0.0,
                () if weighty => CHANGE_BASS_STRUCK,
                () => CHANGE_BASS,
            };
            let mut said = j.bass;
            let line = self.recent[..4].iter().all(|s| s.1.count_ones() == 1);
            if let Some(low) = self.lowest_of_it(at, keys) {
                said[PitchClass::of_key(low).index()] += if line { LOWEST_OF_LINE } else { LOWEST };
            }
            self.basses.go_on(another, price, &said);
        }
        let bass = self.basses.best(lowest).0;
        let hearing = Hearing {
            before: self.standing().map(|(c, _)| c),
            ..hearing
        };
        let round = self.comes_round(keys);
        // A chord that follows its bass is no block of its own.
        let follows = round.filter(|_| self.figure.on_bass());
        let stands = follows
            .or_else(|| self.as_it_stands(&likely, at, keys, lowest, meant, hearing))
            .or(round)
            .or_else(|| self.as_figure(&likely, keys, meant, hearing));
        let found = match stands {
            Some(found) => {
                self.basses.hold((found.bass(), 0));
                found
            }
            None => self.explained(&likely, at, keys, bass, meant, hearing),
        };
        if let Some(c) = found.chord() {
            let (root, triad) = meant_by(c);
            self.harmonies.hold((root, triad as usize));
        }
        self.meant = found.chord().map(meant_by).or(Some(meant));
        let bass = found.bass();
        let of_it = |k: &u8| {
            PitchClass::of_key(*k) == bass
                && (keys.sounding() >> k & 1 == 1 || keys.strike(*k).at >= self.began)
        };
        self.deepest = each(keys.sounding() | self.heard)
            .find(of_it)
            .or(self.bass.map(|(key, _)| key));
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

    /// What a change of harmony costs at this stroke.
    fn price(&self, keys: &Keys, weighty: bool) -> f32 {
        if weighty {
            return CHANGE_STRUCK;
        }
        // A note of the chord that stands is that chord still.
        match self.standing() {
            Some((c, _)) if classes(self.cluster).is_subset(c.set()) => {
                let sounds = classes(keys.sounding());
                let whole = c.set().is_subset(sounds.with(c.bass));
                if whole { CHANGE_WHOLE } else { CHANGE_OWN }
            }
            _ => CHANGE,
        }
    }

    /// What sounds, if all of it was struck in this harmony, together or in a roll.
    fn as_it_stands(
        &self,
        likely: &Likely,
        at: Time,
        keys: &Keys,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let sounding = keys.sounding();
        let from = self.horizon.max(self.began);
        let passing = |k: u8| at.since(keys.strike(k).at) < PASSING;
        let melody = each(self.alone & sounding).filter(|&k| passing(k));
        let under = sounding & !melody.fold(0, |set, k| set | 1 << k);
        let melody_sounds = under != sounding;
        let fresh = each(under).all(|k| keys.strike(k).at >= from);
        let set = classes(under).with(bass);
        let together =
            classes(self.cluster).len() >= 3 || self.rolling && at.since(self.roll_at) < FAST_ROLL;
        let whole = together && sounding == self.cluster;
        // A melody note that was struck with it may have gone.
        let block = self.block & sounding;
        // Under a melody nothing changed.
        if let Some((c, _)) = self.standing()
            && under == block
            && melody_sounds
            && c.set() == set
            && c.bass == bass
        {
            return Some(Sonority::Chord(c));
        }
        if !fresh || set.len() < 3 || !(together || self.rolling || classes(block).len() >= 3) {
            return None;
        }
        let standing = self.standing().map(|(c, _)| c).filter(|_| !whole);
        let agreed = |c: Chord| meant == meant_by(c);
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
                    () => (together || c.root == c.bass) && (nats > -BLOCK || agreed(c)),
                }
            }
            None => whole || together && likely.sure < SURE,
        };
        holds.then_some(named)
    }

    /// The chord of a figure: what comes round is one harmony, and so is what is struck
    /// evenly, key by key, or rolled and held.
    fn as_figure(
        &self,
        likely: &Likely,
        keys: &Keys,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let figure = self.figure.keys();
        let all = self.figure_on(keys);
        let set = classes(all);
        let bass = PitchClass::of_key(lowest(all)?);
        let again = self.figure.again();
        let named = Kinds::standard().name(set, bass, hearing);
        let chord = named.chord()?;
        let whole = figure & !keys.held() == 0;
        let even = self.even();
        if !(again || even || whole) {
            return None;
        }
        let line = even && self.single();
        let far = match () {
            () if whole => WHOLE_FIGURE,
            () if line => LINE,
            () => BLOCK,
        };
        let plain = again || line || Kinds::standard().kind(chord.kind).cost <= PLAIN;
        let means = meant_by(chord);
        (plain && (means == meant || likely.nats(means) > -far)).then_some(named)
    }

    /// The keys of the figure; a bass that is held on below belongs to it.
    fn figure_on(&self, keys: &Keys) -> KeySet {
        self.figure.keys() | lowest(keys.held()).map_or(0, |k| 1 << k)
    }

    /// The chord that stands, if the figure has but its notes over its bass: the same
    /// keys again are the same chord, and so is a part of it.
    fn comes_round(&self, keys: &Keys) -> Option<Sonority> {
        let all = self.figure_on(keys);
        let (chord, _) = self.standing()?;
        let set = classes(all);
        // Of what does not come round the root must be there: after a change of the pedal
        // B D F♯ is no Gmaj7 any more.
        let again = self.figure.again();
        let least = if again { 2 } else { 3 };
        let bass = PitchClass::of_key(lowest(all)?);
        let rooted = again || set.contains(chord.root);
        let stands =
            rooted && chord.bass == bass && set.is_subset(chord.set()) && set.len() >= least;
        stands.then_some(Sonority::Chord(chord))
    }

    /// The latest strokes came at one pace.
    fn even(&self) -> bool {
        let latest = &self.recent[..EVEN];
        let gap: [f32; EVEN - 1] =
            std::array::from_fn(|i| latest[i].0.since(latest[i + 1].0).seconds() as f32);
        let mean = gap.iter().sum::<f32>() / gap.len() as f32;
        let all = latest.iter().all(|s| s.1 != 0);
        all && gap.iter().all(|g| (g - mean).abs() < UNEVEN * mean)
    }

    /// Most of the latest strokes were single keys.
    fn single(&self) -> bool {
        let single = self.recent[..6].iter().filter(|s| s.1.count_ones() <= 2);
        single.count() >= 4
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
        // Of the triad all counts that was heard lately, of the rest what was
        // struck since the harmony began.
        let mut w = match self.began > self.horizon {
            true => self.weights(at, keys, self.began),
            false => heard,
        };
        let triad = kinds.plain(meant.1).up(meant.0.index() as i32);
        for pc in PitchClass::all().filter(|&pc| triad.contains(pc)) {
            w[pc.index()] = heard[pc.index()];
        }
        // A note or two between chords are named only as what they are likely part of.
        let flows = standing.is_some() && likely.sure >= FLOWING;
        let mut best = None;
        if audible.len() >= 3 || flows {
            best = likeliest(&likely.judgement, &w, bass, meant, true);
            if best.is_none() && audible.len() >= 3 {
                w = heard;
                best = likely.of_all(&heard, bass);
            }
        }
        match (best, standing) {
            // The same notes over the same bass are the same chord: C6 is no Am7/C.
            (Some(new), Some((old, _))) if new.bass == old.bass && new.set() == old.set() => {
                Sonority::Chord(old)
            }
            (Some(new), Some((old, _))) if meant_by(new) == meant_by(old) => {
                let stands = Chord { bass, ..old };
                // A fuller chord of the same harmony comes more easily than another one.
                let fuller = old.set().is_subset(new.set());
                let margin = if fuller { FULLER } else { OTHER };
                let said = |c: Chord| fit(&likely.judgement, &w, c);
                let stays = said(old) + margin >= said(new);
                Sonority::Chord(on_its_bass(if stays { stands } else { new }, hearing))
            }
            // Nobody writes Dm/B♭ where B♭ sounds.
            (Some(new), _) if new.bass_member().is_none() => {
                let sounds = kinds.name(classes(keys.sounding()).with(bass), bass, hearing);
                let plain = |c: &Chord| c.root == bass && kinds.kind(c.kind).cost <= PLAIN;
                Sonority::Chord(sounds.chord().filter(plain).unwrap_or(new))
            }
            (Some(new), _) => Sonority::Chord(on_its_bass(new, hearing)),
            // A note of the chord that stands is that chord still, and so is any while
            // nothing says that it is over.
            (None, Some((old, since)))
                if at.since(since) < TRUST
                    && (audible.is_subset(old.set())
                        || audible.len() < 3 && meant == meant_by(old)) =>
            {
                Sonority::Chord(match old.set().contains(bass) {
                    true => on_its_bass(Chord { bass, ..old }, hearing),
                    false => old,
                })
            }
            _ if audible.len() < 3 => kinds.name(audible.with(bass), bass, hearing),
            _ => kinds.name(classes(keys.sounding()).with(bass), bass, hearing),
        }
    }

    /// The stroke at which a new harmony began: a note of it that the chord before lacks,
    /// with nothing after it but its triad and a seventh.
    fn first_of(&self, (root, triad): RootedTriad) -> Option<Time> {
        let (old, _) = self.standing()?;
        let new = Kinds::standard().plain(triad).up(root.index() as i32);
        let full = new.with(root.up(10)).with(root.up(11));
        let mut first = None;
        let short = self.cluster_at.since(self.began) < FIRST;
        let mut deep = u8::MAX;
        for &(at, keys) in &self.recent {
            let set = classes(keys);
            let low = lowest(keys).unwrap_or(0);
            if keys == 0 || !set.is_subset(full) || self.cluster_at.since(at) > FIRST {
                break;
            }
            // What was said a moment ago may have been a guess at this one.
            let guess = short && at >= self.began;
            if short && !guess {
                break;
            }
            // A bass comes first, that both may hold.
            let bass = first.is_some() && low < deep && set.is_subset(new);
            if guess || bass || !set.is_subset(old.set()) {
                first = Some(at);
            } else if first.is_some() {
                break;
            }
            deep = deep.min(low);
        }
        first
    }

    /// The lowest key that a finger holds or that was struck in this harmony.
    fn lowest_of_it(&self, at: Time, keys: &Keys) -> Option<u8> {
        let now = |k: u8| {
            let on = keys.strike(k).at;
            on >= self.began && at.since(on) < ROUND
        };
        each(keys.held() | self.heard).find(|&k| keys.held() >> k & 1 == 1 || now(k))
    }

    /// What sounds and was struck at `from` or later.
    fn since(&self, keys: &Keys, from: Time) -> KeySet {
        let late = each(keys.sounding()).filter(|&k| keys.strike(k).at >= from);
        late.fold(0, |set, k| set | 1 << k)
    }

    fn latest_stroke(&self, at: Time) -> Time {
        if self.rolling {
            self.roll_at
        } else if at.since(self.cluster_at) <= CLUSTER {
            self.cluster_at
        } else {
            at
        }
    }
}

/// Am7 for C6/A: nobody writes a sixth chord on its sixth.
pub fn on_its_bass(chord: Chord, hearing: Hearing) -> Chord {
    let kinds = Kinds::standard();
    let sixth = chord.bass_member().is_some_and(|m| m.number == 6);
    match kinds.name(chord.set(), chord.bass, hearing) {
        Sonority::Chord(c) if sixth && c.root == c.bass => c,
        _ => chord,
    }
}

/// The likeliest chord of a harmony, its bass given; `None` if too little of it was heard.
/// `heard`: how much each pitch class counts, 0-1. `expecting`: of a triad two notes are
/// enough.
pub fn likeliest(
    judgement: &Judgement,
    heard: &[f32; 12],
    bass: PitchClass,
    (root, triad): RootedTriad,
    expecting: bool,
) -> Option<Chord> {
    let above = audible(heard).seen_from(root);
    let mut best: Option<(Chord, f32)> = None;
    for (id, kind) in Kinds::standard().iter().filter(|(_, k)| k.triad() == triad) {
        // No note is named that was not heard, but for a fifth; of a triad that is
        // expected two notes are enough.
        let expected = expecting
            && kind.members.len() == 3
            && triad != Triad::Suspended
            && kind.set().and(above).len() >= 2;
        if !(expected || kind.core().is_subset(above)) {
            continue;
        }
        let chord = Chord {
            root,
            kind: id,
            bass,
        };
        let fit = fit(judgement, heard, chord);
        if best.is_none_or(|(_, most)| fit > most) {
            best = Some((chord, fit));
        }
    }
    best.map(|(chord, _)| chord)
}

/// How well a chord explains what was heard, and what is said of it: up to a number that
/// is the same for all on one triad.
fn fit(judgement: &Judgement, heard: &[f32; 12], chord: Chord) -> f32 {
    let kind = Kinds::standard().kind(chord.kind);
    let above = |n: usize| heard[chord.root.up(n as i32).index()];
    let (mut inside, mut missing) = (0.0, 0.0);
    for m in &kind.members {
        let w = above(usize::from(m.semitones));
        inside += w;
        // The fifth is the member that is left out most easily.
        missing += if m.semitones == 7 { 0.6 } else { 1.0 } * (1.0 - w).max(0.0);
    }
    // A foreign bass is heard as such: it is not counted as a wrong note too.
    let foreign = chord.bass_member().is_none();
    let total: f32 = (0..12).map(above).sum();
    let bass = chord.bass.above(chord.root);
    let outside = total - inside - if foreign { above(bass) } else { 0.0 };
    let penalty = kind.cost + bass_cost(kind, bass);
    SAID * judgement.of_kind(chord.root, kind) + inside
        - OUTSIDE * outside
        - MISSING * missing
        - COST * penalty
}

/// The pitch classes that are part of something.
fn audible(w: &[f32; 12]) -> PitchClassSet {
    PitchClass::all()
        .filter(|pc| w[pc.index()] > AUDIBLE)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(pc: usize, lead: f32) -> [f32; 12] {
        std::array::from_fn(|i| if i == pc { lead } else { 0.0 })
    }

    fn best(course: &Course<12>) -> usize {
        course.best(PitchClass::new(0)).0.index()
    }

    #[test]
    fn a_course_changes_when_a_lead_makes_up_for_its_price() {
        let mut course = Course::<12>::NONE;
        course.go_on(true, 1.0, &said(2, 3.0));
        assert_eq!(best(&course), 2);
        // Less than the price at once, and then once more.
        course.go_on(true, 1.0, &said(7, 0.7));
        assert_eq!(best(&course), 2);
        course.go_on(true, 1.0, &said(7, 0.7));
        assert_eq!(best(&course), 7);
        // However long something led, it leads by no more than the price.
        for _ in 0..20 {
            course.go_on(true, 1.0, &said(4, 5.0));
        }
        course.go_on(true, 1.0, &said(9, 1.1 + 5.0));
        assert_eq!(best(&course), 9);
    }

    #[test]
    fn a_key_more_of_the_same_stroke_counts_once() {
        let mut course = Course::<12>::NONE;
        course.go_on(true, 1.0, &said(2, 3.0));
        for _ in 0..9 {
            course.go_on(false, 1.0, &said(7, 0.7));
        }
        let mut once = Course::<12>::NONE;
        once.go_on(true, 1.0, &said(7, 0.7));
        assert_eq!(course.now, once.now);
    }

    #[test]
    fn what_is_held_leads_and_equals_are_told_from_the_bass() {
        let mut course = Course::<12>::NONE;
        let from = PitchClass::new(5);
        assert_eq!(course.best(from).0, from);
        course.go_on(true, 1.0, &said(2, 3.0));
        course.hold((PitchClass::new(7), 0));
        assert_eq!(course.best(from).0, PitchClass::new(7));
        assert_eq!(course.best(PitchClass::new(8)).0, PitchClass::new(2));
    }

    #[test]
    fn a_chord_names_no_note_that_was_not_heard() {
        let none = *Harmony::standard(false).judgement();
        let heard = |pcs: &[i32]| {
            let mut w = [0.0; 12];
            pcs.iter().for_each(|&pc| w[pc as usize] = 1.0);
            w
        };
        let c = PitchClass::new(0);
        let name = |pcs: &[i32], triad| {
            let found = likeliest(&none, &heard(pcs), c, (c, triad), true);
            found.map(|f| Kinds::standard().kind(f.kind).symbol.clone())
        };
        assert_eq!(name(&[0, 4, 7], Triad::Major).as_deref(), Some(""));
        assert_eq!(name(&[0, 4, 7, 10], Triad::Major).as_deref(), Some("7"));
        // Of a triad two notes are enough, but a fourth alone is no suspension.
        assert_eq!(name(&[0, 4], Triad::Major).as_deref(), Some(""));
        assert_eq!(name(&[0, 5], Triad::Suspended), None);
        assert_eq!(name(&[0, 5, 7], Triad::Suspended).as_deref(), Some("sus4"));
        assert_eq!(name(&[0], Triad::Minor), None);
    }
}
