//! Follows the strokes, and says which harmony is meant and which chord it is.

use super::super::harmony::{Judgement, RootedTriad, TRIADS};
use super::super::keys::{Keys, PerKey};
use super::super::stroke::{Arrival, CLUSTER, Stroke};
use super::course::Course;
use super::figure::{Figure, Floor};
use super::fit::{HarmonyEstimate, meant_by};
use crate::theory::{Chord, Hearing, KeySet, Kinds, PitchClass, Sonority};
use crate::time::Time;

/// A key struck within this time after a lower one that is held belongs to the same roll.
const ROLL: Time = Time::millis(220);
/// Two hands strike together within this time; later, it is a roll.
const AT_ONCE: Time = Time::millis(20);
/// The foot changes the pedal at most this long after the hands.
const FOOT: Time = Time::millis(300);
/// Two keys at least this many semitones apart are, more often than not, struck by two hands.
const ANOTHER_HAND: u8 = 8;
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
/// The bonus, as a logarithm, of the lowest note of a harmony as its bass; and in a single
/// line.
const LOWEST: f32 = 1.5;
const LOWEST_OF_LINE: f32 = 2.0;
/// After this much silence nothing that was heard before belongs to the harmony.
pub const SILENCE: Time = Time::millis(2000);
/// A third heard this short a time ago belongs to the harmony, though it may seem to begin later.
pub const LATELY: Time = Time::millis(2500);
/// A harmony is recognized at most this long after its first note.
const FIRST: Time = Time::millis(1200);

/// Whether a stroke is one that often brings a new harmony.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Weight {
    Light,
    /// A new bass, or several notes at once.
    Heavy,
}

/// A key that was struck.
#[derive(Clone, Copy)]
struct KeyArrival {
    arrival: Arrival,
    weight: Weight,
}

/// What was struck so far, and what it was taken for. Its methods in the files beside this one
/// are about the bass, about how much each note counts, and about the chords in question.
#[derive(Clone, Debug, Default)]
pub(super) struct Follower {
    pub(super) harmonies: Course<{ 12 * TRIADS.len() }>,
    pub(super) basses: Course<12>,
    /// What the present notes are taken for, and since when.
    pub(super) taken_for: Option<(Sonority, Time)>,
    /// The label: the same, or an interval where its third was not heard.
    pub(super) now: Option<(Sonority, Time)>,
    /// The keys of the last stroke, and when it began.
    pub(super) cluster: KeySet,
    pub(super) cluster_at: Time,
    /// When each key stopped sounding.
    pub(super) ended: PerKey<Option<Time>>,
    pub(super) sounding: KeySet,
    /// Keys struck alone above a chord.
    pub(super) alone: KeySet,
    /// What was struck before this time no longer counts.
    pub(super) horizon: Time,
    /// The key of the bass, sounding or let go, and when it was struck.
    pub(super) bass: Option<(u8, Time)>,
    /// The same before the present stroke.
    pub(super) bass_before: Option<(u8, Time)>,
    /// Whether the stroke before was a chord.
    pub(super) chord_before: bool,
    /// Whether the bass was struck alone, or with a melody note: then a chord follows.
    pub(super) bass_alone: bool,
    /// When the first stroke after the bass came.
    pub(super) after_bass: Time,
    /// The latest stroke, and whether its latest key began it.
    pub(super) stroke: Option<(Stroke, Arrival)>,
    /// How long each key sounded when it ended.
    pub(super) lasted: PerKey<Time>,
    /// Every key that was struck at all.
    pub(super) heard: KeySet,
    /// The lowest key of the bass that is meant, sounding or let go.
    pub(super) deepest: Option<u8>,
    /// The latest strokes, the last first.
    pub(super) recent: [(Time, KeySet); 8],
    /// The latest onset, and whether it continued a roll.
    pub(super) latest: Option<(Time, u8)>,
    pub(super) rolling: bool,
    /// When the latest roll began.
    pub(super) roll_at: Time,
    /// The keys that were struck as a chord last, together or in a roll.
    pub(super) block: KeySet,
    /// The harmony that is meant.
    pub(super) meant: Option<RootedTriad>,
    /// When that harmony began.
    pub(super) began: Time,
    /// The figure of accompaniment, and the same before the present stroke.
    pub(super) figure: Figure,
    pub(super) figure_before: Figure,
}

impl Follower {
    /// The label now, and since when.
    pub fn now(&self) -> Option<(Sonority, Time)> {
        self.now
    }

    /// The keys of the last stroke, and when it began.
    pub fn struck(&self) -> (KeySet, Time) {
        (self.cluster, self.cluster_at)
    }

    /// The latest stroke so far, and whether its latest key began it.
    pub fn stroke(&self) -> Option<(&Stroke, Arrival)> {
        let (stroke, arrival) = self.stroke.as_ref()?;
        Some((stroke, *arrival))
    }

    /// The key of the bass that is meant, sounding or let go.
    pub fn meant_bass(&self) -> Option<u8> {
        self.deepest
    }

    /// A key was struck: its stroke so far, and whether the key begins it. To be followed by
    /// [`Follower::judge`].
    pub fn strike(&mut self, at: Time, keys: &Keys, key: u8) -> (Stroke, Arrival) {
        self.mark_ends(at, keys);
        let bit = KeySet::of(key);
        let silent = keys.sounding().is_subset(bit);
        if silent && self.last_end().is_some_and(|end| at.since(end) >= SILENCE) {
            *self = Follower::default();
            self.sounding = keys.sounding();
        }
        let arrival = if at.since(self.cluster_at) > CLUSTER || self.cluster.is_empty() {
            Arrival::Begins
        } else {
            Arrival::Joins
        };
        if arrival == Arrival::Begins {
            self.chord_before = self.cluster.len() > 2;
            if self.bass.is_some_and(|(b, _)| self.cluster.contains(b)) {
                self.bass_alone = !self.chord_before;
                self.after_bass = at;
            }
            self.bass_before = self.bass;
            self.cluster = KeySet::EMPTY;
            self.cluster_at = at;
        }
        self.cluster |= bit;
        self.heard |= bit;
        if arrival == Arrival::Begins {
            self.recent.rotate_right(1);
        }
        self.recent[0] = (self.cluster_at, self.cluster);
        let stroke = Stroke::new(self.cluster_at, self.cluster, at, keys);
        self.stroke = Some((stroke, arrival));
        self.ended[key] = None;
        (stroke, arrival)
    }

    /// What that stroke means. True if the chord changed.
    pub fn judge(
        &mut self,
        at: Time,
        keys: &Keys,
        (key, arrival): (u8, Arrival),
        judgement: &Judgement,
        hearing: Hearing,
    ) -> bool {
        let bit = KeySet::of(key);
        let below = keys.sounding() & KeySet::below(key);
        // A roll goes on upward, each key soon after the one before.
        let roll = self.latest.is_some_and(|(t, k)| {
            at.since(t) > AT_ONCE && at.since(t) < ROLL && k < key && keys.held().contains(k)
        });
        self.latest = Some((at, key));
        if !roll {
            self.roll_at = self.cluster_at;
        }
        self.rolling = roll;
        let lone = self.cluster.len() == 1 && key >= 60 && below.len() >= 2 && !roll;
        self.alone = if lone {
            self.alone | bit
        } else {
            self.alone & !self.cluster
        };
        // Alone, too, is a melody note struck together with a note of the figure, if the chord
        // lacks it.
        let top = self.cluster.highest().unwrap_or(key);
        let bottom = self.cluster.lowest().unwrap_or(key);
        let foreign = |c: Chord| !c.set().contains(PitchClass::of_key(top));
        if !roll
            && self.cluster.len() == 2
            && top >= 60
            && top - bottom >= ANOTHER_HAND
            && self
                .standing()
                .is_some_and(|(c, _)| foreign(c) && c.set().contains(PitchClass::of_key(bottom)))
        {
            self.alone |= KeySet::of(top);
        }

        // Like everything else it is judged anew with every key of a stroke.
        match arrival {
            Arrival::Begins => self.figure_before = self.figure,
            Arrival::Joins => self.figure = self.figure_before,
        }
        let floor = self.figure.floor();
        let standing = match floor {
            Some(f) if keys.held().contains(f) => Floor::Held,
            _ => Floor::LetGo,
        };
        // A melody over two or more keys that are held is no part of the figure, nor is one
        // that meets a key in the middle of it.
        let under = (keys.held() & KeySet::below(key)).len();
        let met = self.cluster.len() == 2 && self.alone.contains(top);
        let line = match under {
            _ if met && floor.is_some_and(|f| bottom > f) => KeySet::of(bottom),
            0 | 1 => self.cluster,
            _ => self.cluster & !self.alone,
        };
        self.figure.go_on(self.cluster_at, line, standing);
        // A stroke of three or more different notes is a harmony of its own:
        // what came before is past, but for a bass that still sounds.
        let struck = self.cluster.classes();
        let one = if roll {
            self.since(keys, self.roll_at)
        } else {
            self.cluster
        };
        if one.classes().len() >= 3 {
            self.block = one;
        }
        let new_bass = self.follow_bass(at, keys, key, judgement);
        // A new bass that begins all by itself after a chord is a harmony of its own, too.
        let afresh = new_bass && self.chord_before && keys.sounding().is_subset(self.cluster);
        if struck.len() >= 3 || afresh {
            self.horizon = if roll { self.roll_at } else { self.cluster_at };
        }
        self.name(
            at,
            keys,
            judgement,
            hearing,
            Some(KeyArrival {
                arrival,
                weight: match new_bass || struck.len() >= 3 {
                    true => Weight::Heavy,
                    false => Weight::Light,
                },
            }),
        )
    }

    /// The damper went up. What it held no longer counts, except what was struck just before:
    /// the foot follows the hand.
    pub fn on_pedal_up(&mut self, at: Time) {
        let just = at.since(self.cluster_at) < FOOT;
        self.horizon = match just {
            true if self.rolling => self.roll_at,
            true => self.cluster_at,
            false => at,
        };
    }

    /// Something was let go, or a step of the grid passed.
    pub fn on_time(
        &mut self,
        at: Time,
        keys: &Keys,
        judgement: &Judgement,
        hearing: Hearing,
    ) -> bool {
        self.mark_ends(at, keys);
        // A lone note may have become a part of the chord that sounds under it.
        let under = keys.sounding() & !self.alone;
        if (self.alone & keys.sounding()).is_empty() || under.len() < 2 {
            return false;
        }
        self.name(at, keys, judgement, hearing, None)
    }

    /// When the latest of the keys that were heard stopped sounding.
    fn last_end(&self) -> Option<Time> {
        self.heard.iter().filter_map(|key| self.ended[key]).max()
    }

    fn mark_ends(&mut self, at: Time, keys: &Keys) {
        let sounding = keys.sounding();
        for key in (self.sounding & !sounding).iter() {
            self.ended[key] = Some(at);
            self.lasted[key] = at.since(keys.strike(key).at);
        }
        self.sounding = sounding;
    }

    /// `onset`: a key was struck just now.
    fn name(
        &mut self,
        at: Time,
        keys: &Keys,
        judgement: &Judgement,
        hearing: Hearing,
        onset: Option<KeyArrival>,
    ) -> bool {
        let Some((lowest, _)) = self.bass else {
            return false;
        };
        let lowest = PitchClass::of_key(lowest);
        let likely = HarmonyEstimate::new(*judgement, lowest);
        let j = &likely.judgement;
        if let Some(KeyArrival { arrival, weight }) = onset {
            let price = self.price(keys, weight);
            self.harmonies
                .go_on(arrival, price, j.chords.as_flattened());
        }
        let (root, triad) = self.harmonies.best(lowest);
        let meant = (root, TRIADS[triad]);
        let new = self.meant != Some(meant);
        if new {
            self.began = self.first_of(meant).unwrap_or(self.latest_stroke(at));
        }
        if let Some(KeyArrival { arrival, weight }) = onset {
            // A new harmony has a bass of its own.
            let price = match () {
                () if new => 0.0,
                () if weight == Weight::Heavy => CHANGE_BASS_STRUCK,
                () => CHANGE_BASS,
            };
            let mut said = j.bass;
            let line = self.recent[..4].iter().all(|s| s.1.len() == 1);
            if let Some(low) = self.lowest_of_it(at, keys) {
                said[PitchClass::of_key(low).index()] += if line { LOWEST_OF_LINE } else { LOWEST };
            }
            self.basses.go_on(arrival, price, &said);
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
            .or_else(|| self.bare_fifth(keys))
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
                && (keys.sounding().contains(*k) || keys.strike(*k).at >= self.began)
        };
        self.deepest = (keys.sounding() | self.heard)
            .iter()
            .find(of_it)
            .or(self.bass.map(|(key, _)| key));
        if self.taken_for.map(|n| n.0) != Some(found) {
            self.taken_for = Some((found, at));
        }
        let said = self.without_its_third(at, found, keys).unwrap_or(found);
        let changed = self.now.map(|n| n.0) != Some(said);
        if changed {
            self.now = Some((said, at));
        }
        changed
    }

    /// The two notes of a harmony whose third was not heard in it: an interval, whatever chord is
    /// expected.
    fn without_its_third(&self, at: Time, found: Sonority, keys: &Keys) -> Option<Sonority> {
        let chord = found.chord()?;
        let thirds = [3, 4].map(|n| chord.root.up(n));
        let third = thirds.into_iter().find(|&pc| chord.set().contains(pc))?;
        let all = keys.sounding() | self.heard;
        let since = |from: Time| -> KeySet {
            let of_it = |&key: &u8| {
                keys.sounding().contains(key)
                    || keys.strike(key).at >= from
                    || self.ended[key].is_some_and(|end| end > from)
            };
            all.iter().filter(of_it).collect()
        };
        let lately = self.began.min(Time(at.0.saturating_sub(LATELY.0)));
        if since(lately).classes().contains(third) {
            return None;
        }
        let notes = since(self.began) | self.cluster;
        let low = PitchClass::of_key(notes.lowest()?);
        let mut above = notes.classes().iter().filter(|&pc| pc != low);
        let high = above.next()?;
        let interval = Sonority::Interval { low, high };
        above.next().is_none().then_some(interval)
    }

    /// A bare fifth that is all that sounds, after another one: together they are no chord.
    fn bare_fifth(&self, keys: &Keys) -> Option<Sonority> {
        let bare = |keys: KeySet| {
            let (set, low) = (keys.classes(), PitchClass::of_key(keys.lowest()?));
            let high = low.up(7);
            let fifth = set.len() == 2 && set.contains(high);
            fifth.then_some(Sonority::Interval { low, high })
        };
        bare(self.recent[1].1)?;
        bare(self.cluster).filter(|_| keys.sounding() == self.cluster)
    }

    /// The chord that stands, and since when.
    pub(super) fn standing(&self) -> Option<(Chord, Time)> {
        let (sonority, since) = self.taken_for?;
        Some((sonority.chord()?, since))
    }

    /// What a change of harmony costs at this stroke.
    fn price(&self, keys: &Keys, weight: Weight) -> f32 {
        if weight == Weight::Heavy {
            return CHANGE_STRUCK;
        }
        // A stroke of notes that the chord already has is still that chord.
        match self.standing() {
            Some((c, _)) if self.cluster.classes().is_subset(c.set()) => {
                let sounds = keys.sounding().classes();
                let whole = c.set().is_subset(sounds.with(c.bass));
                if whole { CHANGE_WHOLE } else { CHANGE_OWN }
            }
            _ => CHANGE,
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
            let set = keys.classes();
            let low = keys.lowest().unwrap_or(0);
            if keys.is_empty() || !set.is_subset(full) || self.cluster_at.since(at) > FIRST {
                break;
            }
            // What was said a moment ago may have been a guess at this one.
            let guess = short && at >= self.began;
            if short && !guess {
                break;
            }
            // The bass comes first, and may belong to both chords.
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

    /// What sounds and was struck at `from` or later.
    fn since(&self, keys: &Keys, from: Time) -> KeySet {
        let late = keys
            .sounding()
            .iter()
            .filter(|&k| keys.strike(k).at >= from);
        late.collect()
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
