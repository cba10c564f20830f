//! The chords in question: the one that stands, that of a figure, that of the weighed notes.

use super::super::harmony::RootedTriad;
use super::super::keys::Keys;
use super::fit::{HarmonyEstimate, Needs, audible, fit, likeliest, meant_by, on_its_bass};
use super::follower::Follower;
use super::salience::PASSING;
use crate::theory::{Bassist, Chord, Hearing, KeySet, Kinds, PitchClass, Sonority};
use crate::time::Time;

/// A roll that takes no longer is as good as a block.
const FAST_ROLL: Time = Time::millis(250);
/// A chord stands for this long while one or two of its notes go on.
const TRUST: Time = Time::millis(4000);
/// How far from the likeliest harmony a chord may lie that was struck as a block.
const BLOCK: f32 = 1.0;
/// The same if nothing else sounds and its kind is plain.
const WHOLE: f32 = 4.0;
/// The same for a figure whose keys are all held, and for one of single keys.
const WHOLE_FIGURE: f32 = 6.0;
const LINE: f32 = 3.0;
/// Number of strokes that are compared to tell an even pace …
const EVEN: usize = 5;
/// … and the greatest deviation from it, as a share.
const UNEVEN: f32 = 0.2;
/// By how much another chord of the same harmony must fit better: one that has all the
/// notes of the one that stands and more, and any other.
const FULLER: f32 = 0.7;
const OTHER: f32 = 3.0;
/// From this probability of a harmony on, notes that form no chord are taken for a part of it …
const SURE: f32 = 0.8;
/// … and one or two notes between chords.
const FLOWING: f32 = 0.4;

impl Follower {
    /// What sounds, if all of it was struck in this harmony, together or in a roll.
    pub(super) fn as_it_stands(
        &self,
        likely: &HarmonyEstimate,
        at: Time,
        keys: &Keys,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let sounding = keys.sounding();
        let from = self.horizon.max(self.began);
        let passing = |k: u8| at.since(keys.strike(k).at) < PASSING;
        let melody: KeySet = (self.alone & sounding)
            .iter()
            .filter(|&k| passing(k))
            .collect();
        let under = sounding & !melody;
        let melody_sounds = under != sounding;
        let fresh = under.iter().all(|k| keys.strike(k).at >= from);
        let set = under.classes().with(bass);
        let together =
            self.cluster.classes().len() >= 3 || self.rolling && at.since(self.roll_at) < FAST_ROLL;
        let whole = together && sounding == self.cluster;
        // A melody note that was struck with it may have gone.
        let block = self.block & sounding;
        // The melody moved, the chord under it did not.
        if let Some((c, _)) = self.standing()
            && under == block
            && melody_sounds
            && c.set() == set
            && c.bass == bass
        {
            return Some(Sonority::Chord(c));
        }
        if !fresh || set.len() < 3 || !(together || self.rolling || block.classes().len() >= 3) {
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
                    // A plainer stroke of the harmony that stands does not replace it.
                    () if standing.is_some_and(plainer) => false,
                    // The learned weights know no voicings without their root.
                    () if whole && hearing.bassist == Bassist::Plays => true,
                    // Nothing but a plain chord sounds: then it is that.
                    () if whole && Kinds::standard().kind(c.kind).is_plain() => nats > -WHOLE,
                    () => (together || c.root == c.bass) && (nats > -BLOCK || agreed(c)),
                }
            }
            None => whole || together && likely.sure < SURE,
        };
        holds.then_some(named)
    }

    /// The chord of a figure. A figure that is repeated is one harmony, and so are keys struck
    /// evenly one by one, or rolled and held.
    pub(super) fn as_figure(
        &self,
        likely: &HarmonyEstimate,
        keys: &Keys,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let figure = self.figure.keys();
        let all = self.figure_on(keys);
        let set = all.classes();
        let bass = PitchClass::of_key(all.lowest()?);
        let again = self.figure.again();
        let named = Kinds::standard().name(set, bass, hearing);
        let chord = named.chord()?;
        let whole = figure.is_subset(keys.held());
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
        let plain = again || line || Kinds::standard().kind(chord.kind).is_plain();
        let means = meant_by(chord);
        (plain && (means == meant || likely.nats(means) > -far)).then_some(named)
    }

    /// The keys of the figure; a bass that is held on below belongs to it.
    fn figure_on(&self, keys: &Keys) -> KeySet {
        self.figure.keys() | keys.held().lowest().map_or(KeySet::EMPTY, KeySet::of)
    }

    /// The chord that stands, if the figure has only notes of it, over its bass: the same keys
    /// again, or some of them, are the same chord.
    pub(super) fn comes_round(&self, keys: &Keys) -> Option<Sonority> {
        let all = self.figure_on(keys);
        let (chord, _) = self.standing()?;
        let set = all.classes();
        // Where the figure is not repeated the root must be there: after a change of the pedal
        // B D F♯ is no longer Gmaj7.
        let again = self.figure.again();
        let least = if again { 2 } else { 3 };
        let bass = PitchClass::of_key(all.lowest()?);
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
        let all = latest.iter().all(|s| !s.1.is_empty());
        all && gap.iter().all(|g| (g - mean).abs() < UNEVEN * mean)
    }

    /// Most of the latest strokes were single keys.
    fn single(&self) -> bool {
        let single = self.recent[..6].iter().filter(|s| s.1.len() <= 2);
        single.count() >= 4
    }

    /// The kind of chord that the harmony is, by what was heard of it; or its notes.
    pub(super) fn explained(
        &self,
        likely: &HarmonyEstimate,
        at: Time,
        keys: &Keys,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Sonority {
        let kinds = Kinds::standard();
        let standing = self.standing();
        let heard = self.salience(at, keys, self.horizon);
        let audible = audible(&heard);
        // Notes of the triad count as heard lately, others only as struck since the harmony
        // began.
        let mut w = match self.began > self.horizon {
            true => self.salience(at, keys, self.began),
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
            best = likeliest(
                &likely.judgement.degrees_on(meant.0),
                &w,
                bass,
                meant,
                Needs::TwoOfATriad,
            );
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
                let said = |c: Chord| fit(&likely.judgement.degrees_on(c.root), &w, c);
                let stays = said(old) + margin >= said(new);
                Sonority::Chord(on_its_bass(if stays { stands } else { new }, hearing))
            }
            // Dm/B♭ is never written for what is a chord on B♭.
            (Some(new), _) if new.bass_member().is_none() => {
                let sounds = kinds.name(keys.sounding().classes().with(bass), bass, hearing);
                let plain = |c: &Chord| c.root == bass && kinds.kind(c.kind).is_plain();
                Sonority::Chord(sounds.chord().filter(plain).unwrap_or(new))
            }
            (Some(new), _) => Sonority::Chord(on_its_bass(new, hearing)),
            // The chord stands while only notes of it are heard, and while too few notes are
            // heard to say that it is over.
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
            _ => kinds.name(keys.sounding().classes().with(bass), bass, hearing),
        }
    }
}
