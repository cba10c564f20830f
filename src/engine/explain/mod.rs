//! Why a tonality is likely: each thing heard lately is removed in turn, and the rest is
//! analysed again.
//!
//! [`Recent`] keeps what that needs while the engine runs: about every second what
//! the estimator remembered, and since then what sounded and what was struck. A
//! [`Case`] is a copy of it that any thread may work out. The resulting [`Explanation`] says
//! what would be likely now if the last seconds had been played without this one thing.
//!
//! A removed note is not struck, and does not sound until its key is struck again. The grid
//! goes on even if the removal leaves a long silence.

use super::chords::ChordTracker;
use super::estimator::{Estimator, Learned, STEP, Scores};
use super::features::{Frame, Frames, total};
use super::keys::{Fading, KeySet, classes, each};
use crate::theory::{
    Catalogue, ModeId, PitchClass, PitchClassSet, Sonority, SpelledTonality, Spelling, Tonality,
};
use crate::time::Time;
use std::ops::Range;
use std::sync::Arc;

/// The estimator is saved every so many steps …
const EVERY: u64 = 10;
/// … and the latest so many are kept: seven to eight seconds.
const SAVED: usize = 8;
/// Steps since the oldest of them, at most.
const STEPS: usize = EVERY as usize * SAVED;
/// Strikes that are kept: 64 a second. Of denser playing less is explained.
const STRIKES: usize = 512;
/// Maximum number of estimator steps for an explanation, so that it takes less than 0.1 s;
/// where many pitch classes are heard it reaches less far back.
const BUDGET: usize = 750;
/// Maximum number of chords and of phrase ends that are removed, the latest.
const CHORDS: usize = 6;
const ENDS: usize = 2;
/// A pause after a stroke is a phrase end from so many steps on …
const PAUSE: usize = 8;
/// … and so many are left of it: fewer than the features count as lingering.
const LEFT: usize = 4;
/// Places for causes: the pitch classes, the bass, chords and phrase ends.
pub const CAUSES: usize = 12 + 1 + CHORDS + ENDS;
/// Centers that are told beside one another.
pub const CANDIDATES: usize = 3;

/// What was removed from the music, to see what it contributes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Removed {
    /// All keys of a pitch class.
    PitchClass(PitchClass),
    /// The bass line, with its pitch classes.
    Bass(PitchClassSet),
    /// What was struck together as this chord, last at that time.
    Chord(Sonority, Time),
    /// The pause after what was struck last, at that time, as if the next note had come at
    /// once. The notes themselves stay.
    PhraseEnd(PitchClassSet, Time),
}

impl Explanation {
    /// The tonality explained, as it is spelled.
    pub fn spelled(&self) -> SpelledTonality {
        SpelledTonality::new(self.tonality, self.tonic)
    }
}

/// The effect of removing one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cause {
    pub removed: Removed,
    /// What the center's probability loses without it (0-1); negative: gains.
    pub center_change: f32,
    /// The same for center and mode together.
    pub change: f32,
    /// The same for each of [`Explanation::candidates`]: what that center loses without it.
    /// The greatest of them is the center that it speaks for.
    pub candidate_changes: [f32; CANDIDATES],
    /// What is likeliest without it, and how its center is spelled; `None` where that is
    /// what is likeliest with it. Common-practice minor and Aeolian count as one.
    pub instead: Option<SpelledTonality>,
}

/// A center in question, with the mode that is likeliest on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    pub tonality: Tonality,
    pub tonic: Spelling,
    /// Of any mode on the center.
    pub center_probability: f32,
    /// Of center and mode together.
    pub probability: f32,
}

/// Why a tonality is as likely as it is, and what else is in question.
///
/// While nothing is established it is about the likeliest center, and a class that asks why
/// is answered by [`Explanation::candidates`]: "C 38 %, A 30 %, no center 20 %; G in the bass
/// speaks for C, E in the melody for A".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explanation {
    /// After the step at this time.
    pub at: Time,
    /// How far back things were removed.
    pub since: Time,
    /// The tonality established, or else the likeliest center with its likeliest mode.
    pub tonality: Tonality,
    pub tonic: Spelling,
    /// Of any mode on the center.
    pub center_probability: f32,
    pub probability: f32,
    /// What is likeliest: that tonality, or one that gains on it.
    pub likeliest: Tonality,
    /// The likeliest centers, the likeliest first, established or not.
    pub candidates: [Option<Candidate>; CANDIDATES],
    /// Of the notes having no center at all.
    pub no_center_probability: f32,
    /// Sorted by `change`, greatest first: what speaks for the tonality, then what speaks
    /// against it.
    pub causes: [Option<Cause>; CAUSES],
}

/// Something was struck.
#[derive(Clone, Copy, Debug)]
struct Strike {
    key: u8,
    /// In which step, and when.
    step: u64,
    at: Time,
    /// When the stroke of the hands began that it belongs to, and how it is named.
    stroke: Time,
    sonority: Option<Sonority>,
}

/// The end of a step.
#[derive(Clone, Copy, Debug)]
struct Step {
    sounding: KeySet,
    fading: Fading,
    /// The key of the bass.
    bass: Option<u8>,
}

/// What was remembered after some step.
#[derive(Clone, Debug)]
struct Saved<S> {
    state: S,
    frames: Frames,
    /// Strikes before it.
    struck: u64,
}

/// The last seconds, kept as they pass. Allocates nothing after construction.
#[derive(Clone, Debug)]
pub(super) struct Recent<S> {
    /// Steps taken and strikes heard since the beginning or the last long rest.
    taken: u64,
    struck: u64,
    /// The time of the last step, or of the beginning.
    at: Time,
    /// Rings: the n-th at n modulo their length. Of `saved`, n counts by [`EVERY`].
    steps: Vec<Step>,
    strikes: Vec<Strike>,
    saved: Vec<Saved<S>>,
}

impl<S: Clone> Recent<S> {
    pub fn new(estimator: &impl Estimator<State = S>) -> Recent<S> {
        let saved = Saved {
            state: estimator.state(),
            frames: Frames::new(),
            struck: 0,
        };
        let step = Step {
            sounding: 0,
            fading: Fading::Struck,
            bass: None,
        };
        let strike = Strike {
            key: 0,
            step: 0,
            at: Time::ZERO,
            stroke: Time::ZERO,
            sonority: None,
        };
        Recent {
            taken: 0,
            struck: 0,
            at: Time::ZERO,
            steps: vec![step; STEPS],
            strikes: vec![strike; STRIKES],
            saved: vec![saved; SAVED],
        }
    }

    /// A piece begins: the estimator has forgotten all.
    pub fn begin(&mut self, at: Time, estimator: &impl Estimator<State = S>, frames: &Frames) {
        (self.taken, self.struck, self.at) = (0, 0, at);
        self.save(estimator, frames);
    }

    /// A key was struck, and the chords know of it.
    pub fn on_onset(&mut self, at: Time, key: u8, chords: &ChordTracker) {
        self.strikes[self.struck as usize % STRIKES] = Strike {
            key,
            step: self.taken,
            at,
            stroke: chords.struck().1,
            sonority: chords.now().map(|n| n.0),
        };
        self.struck += 1;
    }

    /// A step was taken.
    pub fn step(
        &mut self,
        at: Time,
        (sounding, fading): (KeySet, Fading),
        bass: Option<u8>,
        estimator: &impl Estimator<State = S>,
        frames: &Frames,
    ) {
        self.steps[self.taken as usize % STEPS] = Step {
            sounding,
            fading,
            bass,
        };
        self.taken += 1;
        self.at = at;
        if self.taken.is_multiple_of(EVERY) {
            self.save(estimator, frames);
        }
    }

    fn save(&mut self, estimator: &impl Estimator<State = S>, frames: &Frames) {
        let saved = &mut self.saved[(self.taken / EVERY) as usize % SAVED];
        estimator.save(&mut saved.state);
        saved.frames.clone_from(frames);
        saved.struck = self.struck;
    }

    /// As far back as is kept, and as can be explained in time.
    pub fn case<E: Estimator<State = S>>(
        &self,
        estimator: &E,
        catalogue: &Arc<Catalogue>,
        SpelledTonality { tonality, tonic }: SpelledTonality,
    ) -> Option<Case<E>> {
        let last = self.taken / EVERY;
        let kept = (last + 1).min(SAVED as u64);
        (last + 1 - kept..=last).find_map(|n| {
            let (first, saved) = (n * EVERY, &self.saved[n as usize % SAVED]);
            let forgotten = self.struck - saved.struck > STRIKES as u64;
            if first == self.taken || forgotten {
                return None;
            }
            let steps: Vec<Step> = (first..self.taken)
                .map(|i| self.steps[i as usize % STEPS])
                .collect();
            let strikes: Vec<Strike> = (saved.struck..self.struck)
                .map(|i| self.strikes[i as usize % STRIKES])
                .filter(|s| s.step < self.taken)
                .map(|s| Strike {
                    step: s.step - first,
                    ..s
                })
                .collect();
            let sounding = steps.iter().fold(0, |all, s| all | s.sounding);
            let struck = strikes.iter().fold(0, |all, s| all | 1 << s.key);
            let heard = classes(sounding | struck).len();
            // The whole once, and without the bass and each pitch class; chords and
            // phrase ends lie half way and a quarter way back, on average.
            let halves = 2 * (2 + heard) + CHORDS + ENDS / 2;
            (steps.len() * halves / 2 <= BUDGET).then(|| Case {
                at: self.at,
                catalogue: Arc::clone(catalogue),
                tonality,
                tonic,
                estimator: estimator.clone(),
                state: saved.state.clone(),
                frames: saved.frames.clone(),
                steps,
                strikes,
            })
        })
    }
}

/// The last seconds of the music, and what was remembered before them.
#[derive(Clone, Debug)]
pub struct Case<E: Estimator = Learned> {
    at: Time,
    catalogue: Arc<Catalogue>,
    tonality: Tonality,
    tonic: Spelling,
    estimator: E,
    state: E::State,
    frames: Frames,
    steps: Vec<Step>,
    /// With their steps counted from the first of these.
    strikes: Vec<Strike>,
}

/// From one strike of a key to its next.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Note {
    key: u8,
    /// Steps at whose end it may sound.
    from: usize,
    until: usize,
    /// None: it was struck before.
    strike: Option<usize>,
}

/// What is left out in reading again.
#[derive(Clone, Debug, Default, PartialEq)]
struct Without {
    notes: Vec<Note>,
    /// These steps do not happen.
    cut: Range<usize>,
}

/// What was remembered before a step.
struct Moment<S> {
    step: usize,
    state: S,
    frames: Frames,
}

impl<E: Estimator> Case<E> {
    /// Works it out: some hundred steps of the estimator.
    pub fn explain(mut self) -> Explanation {
        let (moments, whole) = self.read_whole();
        let candidates = self.candidates(&whole);
        let mut found = Vec::with_capacity(CAUSES);
        for (removed, without) in self.removable() {
            let left = self.read_without(&moments, &without);
            found.push(Cause {
                removed,
                center_change: whole.center - left.center,
                change: whole.tonality - left.tonality,
                candidate_changes: candidates.map(|candidate| {
                    candidate.map_or(0.0, |c| {
                        c.center_probability - left.centers[c.tonality.center.index()]
                    })
                }),
                instead: self.instead(&whole, &left),
            });
        }
        // Stable: in a transposition ties fall alike.
        found.sort_by(|a, b| b.change.total_cmp(&a.change));
        let mut causes = [None; CAUSES];
        for (place, cause) in causes.iter_mut().zip(found) {
            *place = Some(cause);
        }
        Explanation {
            at: self.at,
            since: self.at.since(Time(STEP.0 * self.steps.len() as u64)),
            tonality: self.tonality,
            tonic: self.tonic,
            center_probability: whole.center,
            probability: whole.tonality,
            likeliest: whole.likeliest,
            candidates,
            no_center_probability: whole.no_center,
            causes,
        }
    }

    /// The likeliest centers after the last step, which `whole` is about.
    fn candidates(&self, whole: &Likely) -> [Option<Candidate>; CANDIDATES] {
        let p = self.estimator.probabilities();
        let mut centers: Vec<PitchClass> = (0..12).map(|n| self.tonality.center.up(n)).collect();
        let of = |c: &PitchClass| whole.centers[c.index()];
        // Stable: in a transposition ties fall alike.
        centers.sort_by(|a, b| of(b).total_cmp(&of(a)));
        std::array::from_fn(|place| {
            let center = *centers.get(place)?;
            let tonality = match center == self.tonality.center {
                true => self.tonality,
                false => likeliest_on(p, center, self.catalogue.len()),
            };
            Some(Candidate {
                tonality,
                tonic: self.catalogue.spell(tonality, Some(self.tonic)),
                center_probability: of(&center),
                probability: p.of(tonality),
            })
        })
    }

    /// What is likeliest in `left`, if something else is in `whole`.
    fn instead(&self, whole: &Likely, left: &Likely) -> Option<SpelledTonality> {
        let kin = |t: Tonality| (t.center, self.catalogue.kin(t.mode));
        let t = left.likeliest;
        (kin(t) != kin(whole.likeliest))
            .then(|| SpelledTonality::new(t, self.catalogue.spell(t, Some(self.tonic))))
    }

    /// How likely things are after the last step.
    fn likely(&self) -> Likely {
        likely(
            self.estimator.probabilities(),
            self.tonality,
            self.catalogue.len(),
        )
    }

    /// As it was played: what was remembered after the beginning, and how likely things
    /// are at the end.
    fn read_whole(&mut self) -> (Vec<Moment<E::State>>, Likely) {
        let mut moments = Vec::new();
        self.estimator.restore(&self.state);
        let mut frames = self.frames.clone();
        let mut strikes = self.strikes.iter().peekable();
        for (i, step) in self.steps.iter().enumerate() {
            if i > 0 && i % 5 == 0 {
                moments.push(Moment {
                    step: i,
                    state: self.estimator.state(),
                    frames: frames.clone(),
                });
            }
            while let Some(strike) = strikes.next_if(|s| s.step == i as u64) {
                frames.on_onset(strike.key);
            }
            let frame = frames.close_step(step.sounding, step.fading);
            self.estimator.step(&frame);
        }
        (moments, self.likely())
    }

    /// The same without something, from the last moment before it would be missed.
    fn read_without(&mut self, moments: &[Moment<E::State>], without: &Without) -> Likely {
        let mut gone = vec![false; self.strikes.len()];
        let mut silent: Vec<KeySet> = vec![0; self.steps.len()];
        // At least one step is taken, even if the end is cut off.
        let mut first = match without.cut.is_empty() {
            true => self.steps.len(),
            false => without.cut.start.saturating_sub(1),
        };
        for note in &without.notes {
            first = first.min(note.from);
            if let Some(strike) = note.strike {
                gone[strike] = true;
            }
            for keys in &mut silent[note.from..note.until] {
                *keys |= 1 << note.key;
            }
        }
        let before = moments.iter().rev().find(|m| m.step <= first);
        let (begin, state, frames) = match before {
            Some(m) => (m.step, &m.state, &m.frames),
            None => (0, &self.state, &self.frames),
        };
        self.estimator.restore(state);
        let mut frames = frames.clone();
        let mut strikes = self.strikes.iter().zip(gone).peekable();
        while strikes.next_if(|(s, _)| s.step < begin as u64).is_some() {}
        for (i, (step, silent)) in self.steps.iter().zip(silent).enumerate().skip(begin) {
            while let Some((strike, gone)) = strikes.next_if(|(s, _)| s.step == i as u64) {
                if !gone {
                    frames.on_onset(strike.key);
                }
            }
            if without.cut.contains(&i) {
                continue;
            }
            let frame: Frame = frames.close_step(step.sounding & !silent, step.fading);
            self.estimator.step(&frame);
        }
        self.likely()
    }

    /// All that is taken away, one at a time.
    fn removable(&self) -> Vec<(Removed, Without)> {
        let notes = self.notes();
        let mut all: Vec<(Removed, Without)> = Vec::with_capacity(CAUSES);
        let mut offer = |removed: Removed, notes: Vec<Note>| {
            // Where the bass has all notes of its pitch class, it is listed once.
            if !notes.is_empty() && all.iter().all(|(_, w)| w.notes != notes) {
                let cut = 0..0;
                all.push((removed, Without { notes, cut }));
            }
        };
        let (bass, over): (Vec<Note>, Vec<Note>) = notes.iter().partition(|n| self.is_bass(n));
        // A single voice without its bass would be silence.
        if !over.is_empty() {
            let set = bass.iter().map(|n| PitchClass::of_key(n.key)).collect();
            offer(Removed::Bass(set), bass);
        }
        for pc in (0..12).map(|n| self.tonality.center.up(n)) {
            let own = notes.iter().filter(|n| PitchClass::of_key(n.key) == pc);
            offer(Removed::PitchClass(pc), own.copied().collect());
        }
        for (sonority, at, strikes) in self.chords() {
            let own = notes
                .iter()
                .filter(|n| n.strike.is_some_and(|s| strikes.contains(&s)));
            offer(Removed::Chord(sonority, at), own.copied().collect());
        }
        all.extend(self.ends().map(|(set, at, cut)| {
            let notes = Vec::new();
            (Removed::PhraseEnd(set, at), Without { notes, cut })
        }));
        all
    }

    fn notes(&self) -> Vec<Note> {
        let end = self.steps.len();
        let mut notes: Vec<Note> = Vec::new();
        let mut latest: [Option<usize>; 128] = [None; 128];
        let mut strikes = self.strikes.iter().enumerate().peekable();
        for (i, step) in self.steps.iter().enumerate() {
            while let Some((n, strike)) = strikes.next_if(|(_, s)| s.step == i as u64) {
                let latest = &mut latest[strike.key as usize & 127];
                if let Some(before) = *latest {
                    notes[before].until = i;
                }
                *latest = Some(notes.len());
                notes.push(Note {
                    key: strike.key,
                    from: i,
                    until: end,
                    strike: Some(n),
                });
            }
            for key in each(step.sounding) {
                let latest = &mut latest[key as usize & 127];
                if latest.is_none() {
                    *latest = Some(notes.len());
                    notes.push(Note {
                        key,
                        from: 0,
                        until: end,
                        strike: None,
                    });
                }
            }
        }
        notes
    }

    fn is_bass(&self, note: &Note) -> bool {
        let steps = &self.steps[note.from..note.until];
        steps.iter().any(|s| s.bass == Some(note.key))
    }

    /// Strokes of several notes, strokes of the same chord after one another taken
    /// together: its name, the time of the last, and the strikes.
    fn chords(&self) -> Vec<(Sonority, Time, Vec<usize>)> {
        let mut chords: Vec<(Sonority, Time, Vec<usize>)> = Vec::new();
        let mut first = 0;
        for stroke in self.strikes.chunk_by(|a, b| a.stroke == b.stroke) {
            let strikes = first..first + stroke.len();
            first = strikes.end;
            let keys = stroke.iter().fold(0, |all, s| all | 1 << s.key);
            let Some(last) = stroke.last().filter(|_| classes(keys).len() > 1) else {
                continue;
            };
            match (last.sonority, chords.last_mut()) {
                (Some(s), Some((same, at, all))) if s == *same => {
                    *at = last.stroke;
                    all.extend(strikes);
                }
                (Some(s), _) => chords.push((s, last.stroke, strikes.collect())),
                (None, _) => {}
            }
        }
        let older = chords.len().saturating_sub(CHORDS);
        chords.split_off(older)
    }

    /// Pauses after a stroke: what was struck, when, and the steps to leave out.
    fn ends(&self) -> impl Iterator<Item = (PitchClassSet, Time, Range<usize>)> {
        let ends = (0..self.strikes.len()).rev().filter_map(|i| {
            let last = self.strikes[i];
            let next = self.strikes.get(i + 1).map(|s| s.step as usize);
            let (from, next) = (last.step as usize, next.unwrap_or(self.steps.len()));
            let strokes = self.strikes.iter().filter(|s| s.stroke == last.stroke);
            let struck = strokes.map(|s| PitchClass::of_key(s.key)).collect();
            (next >= from + PAUSE).then_some((struck, last.at, from + LEFT..next))
        });
        ends.take(ENDS)
    }
}

/// How likely a tonality is, and what is likeliest.
#[derive(Clone, Copy, Debug)]
struct Likely {
    /// Of its center, with any mode, and of every center.
    center: f32,
    centers: [f32; 12],
    no_center: f32,
    tonality: f32,
    likeliest: Tonality,
}

fn likely(p: &Scores, tonality: Tonality, modes: usize) -> Likely {
    let centers = centers(p);
    let mut likeliest = tonality;
    // From its center up: in a transposition ties fall alike.
    for mode in (0..modes).map(ModeId::at) {
        for center in (0..12).map(|n| tonality.center.up(n)) {
            let t = Tonality { center, mode };
            if p.of(t) > p.of(likeliest) {
                likeliest = t;
            }
        }
    }
    Likely {
        center: centers[tonality.center.index()],
        centers,
        no_center: total(p.collections),
        tonality: p.of(tonality),
        likeliest,
    }
}

/// How likely each center is, with any mode.
fn centers(p: &Scores) -> [f32; 12] {
    std::array::from_fn(|c| p.tonalities.iter().skip(c).step_by(12).sum())
}

/// The likeliest mode on a center.
fn likeliest_on(p: &Scores, center: PitchClass, modes: usize) -> Tonality {
    let on = |m: usize| Tonality {
        center,
        mode: ModeId::at(m),
    };
    let better = |best, t| if p.of(t) > p.of(best) { t } else { best };
    (1..modes).map(on).fold(on(0), better)
}

/// The likeliest center with its likeliest mode; of equals the nearest above `from`.
pub(super) fn likeliest_center(p: &Scores, modes: usize, from: PitchClass) -> Tonality {
    let all = centers(p);
    let better = |best: PitchClass, c: PitchClass| {
        let more = all[c.index()] > all[best.index()];
        if more { c } else { best }
    };
    let center = (1..12).map(|n| from.up(n)).fold(from, better);
    likeliest_on(p, center, modes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::monitor::fresh;
    use crate::engine::{Fading, Monitor};
    use crate::midi::Event;
    use proptest::prelude::*;

    // ---- the same played again, without the engine's own means ----

    /// Each key has a channel of its own, so that one can be silenced alone.
    const CHANNELS: [u8; 15] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15];

    #[derive(Clone, Debug, Default)]
    struct Scene {
        keys: Vec<u8>,
        events: Vec<(Time, Event)>,
    }

    impl Scene {
        fn channel(&mut self, key: u8) -> u8 {
            let known = self.keys.iter().position(|&k| k == key);
            let n = known.unwrap_or_else(|| {
                self.keys.push(key);
                self.keys.len() - 1
            });
            CHANNELS[n]
        }

        fn note(&mut self, at: f64, long: f64, key: u8) {
            let channel = self.channel(key);
            let velocity = 70;
            let on = Event::NoteOn {
                channel,
                key,
                velocity,
            };
            let off = Event::NoteOff { channel, key };
            self.events.push((Time::from_seconds(at), on));
            self.events.push((Time::from_seconds(at + long), off));
        }

        fn chord(&mut self, at: f64, long: f64, keys: &[u8]) {
            for &key in keys {
                self.note(at, long, key);
            }
        }

        fn pedal(&mut self, at: f64, value: u8) {
            for channel in CHANNELS {
                let damper = Event::Damper { channel, value };
                self.events.push((Time::from_seconds(at), damper));
            }
        }

        fn sorted(mut self) -> Scene {
            self.events.sort_by_key(|(at, e)| (*at, !e.releases()));
            self
        }
    }

    fn heard(scene: &Scene, until: Time) -> Monitor {
        let mut m = fresh();
        for &(at, event) in scene.events.iter().take_while(|e| e.0 <= until) {
            m.on_event(at, event, &mut ());
        }
        m.advance_to(until, &mut ());
        m
    }

    /// How likely things are when the scene is played to the saved moment,
    /// and from there on without something.
    fn played_without(
        scene: &Scene,
        (saved, at_saved): (Time, &Monitor),
        case: &Case,
        without: &Without,
    ) -> Likely {
        let mut m = at_saved.clone();
        let silence = |m: &mut Monitor, at: Time, key: u8| {
            let n = scene.keys.iter().position(|&k| k == key).expect("a key");
            let channel = CHANNELS[n];
            m.on_event(at, Event::AllSoundOff { channel }, &mut ());
        };
        for note in without.notes.iter().filter(|n| n.strike.is_none()) {
            silence(&mut m, saved + Time(1), note.key);
        }
        let struck = |n: &Note| n.strike.map(|s| (case.strikes[s].at, n.key));
        let gone: Vec<(Time, u8)> = without.notes.iter().filter_map(struck).collect();
        let place = |step: usize| saved + Time(STEP.0 * step as u64);
        let (from, to) = (place(without.cut.start), place(without.cut.end));
        let end = case.at - to.since(from);
        let moved = |at: Time| match at {
            at if without.cut.is_empty() || at <= from => at,
            at if at <= to => from + Time(1),
            at => at - to.since(from),
        };
        for &(at, event) in scene.events.iter().filter(|e| e.0 > saved) {
            let new = moved(at);
            if at > case.at || new > end {
                break;
            }
            match event {
                Event::NoteOn { key, .. } if gone.contains(&(at, key)) => {
                    silence(&mut m, new, key);
                }
                _ => m.on_event(new, event, &mut ()),
            }
        }
        m.advance_to(end + Time(1), &mut ());
        likely(m.probabilities(), case.tonality, m.catalogue().len())
    }

    /// Compares every change that is stated with what playing again does.
    fn check(scene: &Scene, until: f64) -> Explanation {
        let m = heard(scene, Time::from_seconds(until));
        let case = m.case().expect("something was heard");
        let told = case.clone().explain();
        let near = |a: f32, b: f32| (a - b).abs() < 1e-6;
        assert!(near(m.probabilities().of(told.tonality), told.probability));
        let all = case.removable();
        let causes: Vec<Cause> = told.causes.iter().flatten().copied().collect();
        assert_eq!(causes.len(), all.len());
        let now = m.reading().ranking[0].map(|r| r.0);
        assert_eq!(Some(told.likeliest), now);
        let candidates: Vec<Candidate> = told.candidates.iter().flatten().copied().collect();
        let of_center = |p: &Scores, c: PitchClass| -> f32 {
            (0..m.catalogue().len())
                .map(|m| p.tonalities[m * 12 + c.index()])
                .sum()
        };
        assert!(candidates.iter().all(|c| {
            let p = m.probabilities();
            near(of_center(p, c.tonality.center), c.center_probability)
                && near(p.of(c.tonality), c.probability)
        }));
        assert!(candidates.is_sorted_by(|a, b| a.center_probability >= b.center_probability));
        let others = (0..12)
            .map(PitchClass::new)
            .filter(|&c| candidates.iter().all(|k| k.tonality.center != c));
        let least = candidates[CANDIDATES - 1].center_probability;
        assert!(
            others
                .into_iter()
                .all(|c| of_center(m.probabilities(), c) <= least + 1e-6)
        );
        let kin = |t: Tonality| (t.center, m.catalogue().kin(t.mode));
        let saved = told.since;
        let mut at_saved = heard(scene, saved);
        at_saved.advance_to(saved + Time(1), &mut ());
        for (removed, without) in all {
            let same = |c: &&Cause| c.removed == removed;
            let cause = causes.iter().find(same).expect("each is told");
            let left = played_without(scene, (saved, &at_saved), &case, &without);
            assert!(
                near(told.center_probability - cause.center_change, left.center)
                    && near(told.probability - cause.change, left.tonality),
                "{cause:?} of {told:?}: {left:?}"
            );
            for (candidate, change) in candidates.iter().zip(cause.candidate_changes) {
                let center = left.centers[candidate.tonality.center.index()];
                assert!(
                    near(candidate.center_probability - change, center),
                    "{cause:?}"
                );
            }
            let other = Some(left.likeliest).filter(|&t| kin(t) != kin(told.likeliest));
            assert_eq!(
                cause.instead.map(|i| i.tonality),
                other,
                "{cause:?}: {left:?}"
            );
            if let Some(SpelledTonality { tonality: t, tonic }) = cause.instead {
                assert_eq!(tonic, m.catalogue().spell(t, Some(told.tonic)));
            }
        }
        told
    }

    /// Notes, chords, pauses and pedals on at most fifteen keys.
    fn playing() -> impl Strategy<Value = Scene> {
        let keys = proptest::sample::subsequence((36..84u8).collect::<Vec<_>>(), 4..=15);
        let gesture = (0..8u8, any::<u16>(), 0..1400u64, 50..2500u64, 0..50u64);
        (keys, proptest::collection::vec(gesture, 20..60)).prop_map(|(keys, gestures)| {
            let mut scene = Scene::default();
            let mut now = 0.05;
            for (what, which, gap, long, odd) in gestures {
                let key = |n: usize| keys[(which as usize / 7 + 3 * n) % keys.len()];
                let long = long as f64 / 1000.0;
                // Off the grid, as hands are.
                let at = |n: usize| now + odd as f64 / 50_000.0 + n as f64 * 0.011;
                match what {
                    0 => scene.pedal(at(0), if which % 3 == 0 { 0 } else { 127 }),
                    1..=3 => scene.note(at(0), long, key(0)),
                    // Twice in a step.
                    4 => (0..2).for_each(|n| scene.note(at(3 * n), long, key(0))),
                    _ => (0..4).for_each(|n| scene.note(at(n), long, key(n))),
                }
                now += if what < 6 {
                    gap as f64 / 2500.0
                } else {
                    gap as f64 / 900.0
                };
            }
            scene.sorted()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn what_is_told_is_what_playing_again_does(scene in playing(), part in 0.4..1.0f64) {
            let last = scene.events.last().map_or(0.0, |e| e.0.seconds());
            // Later than the first note's own step: without it the grid would begin later.
            check(&scene, (last * part).max(9.0));
        }
    }

    /// All of it is tried, and most of it matters.
    #[test]
    fn the_random_playing_has_causes_of_every_kind() {
        use proptest::strategy::ValueTree;
        let mut runner = proptest::test_runner::TestRunner::deterministic();
        let mut kinds = [0; 4];
        let (mut held, mut turned, mut stood) = (0, 0, 0);
        for _ in 0..20 {
            let scene = playing().new_tree(&mut runner).expect("a scene").current();
            let last = scene.events.last().map_or(0.0, |e| e.0.seconds());
            let case = heard(&scene, Time::from_seconds(last.max(9.0) * 0.8)).case();
            let case = case.expect("heard");
            held += case.notes().iter().filter(|n| n.strike.is_none()).count();
            for cause in case.explain().causes.iter().flatten() {
                let kind = match cause.removed {
                    Removed::PitchClass(_) => 0,
                    Removed::Bass(_) => 1,
                    Removed::Chord(..) => 2,
                    Removed::PhraseEnd(..) => 3,
                };
                kinds[kind] += usize::from(cause.change.abs() > 1e-4);
                match cause.instead {
                    Some(_) => turned += 1,
                    None => stood += 1,
                }
            }
        }
        assert!(
            kinds.iter().all(|&n| n > 5) && held > 5 && turned > 5 && stood > 5,
            "{kinds:?}, {held} held, {turned} turn it, {stood} do not"
        );
    }

    // ---- scenes ----

    fn tonality(name: &str) -> Tonality {
        let t = Catalogue::standard().parse_tonality(name);
        t.expect("a tonality").tonality
    }

    fn pc(n: i32) -> Removed {
        Removed::PitchClass(PitchClass::new(n))
    }

    fn change(e: &Explanation, which: impl Fn(Removed) -> bool) -> Cause {
        let mut causes = e.causes.iter().flatten();
        *causes.find(|c| which(c.removed)).expect("among the causes")
    }

    /// Dm and G over a D that is struck again and again: without it, it would be about C.
    fn dorian_vamp() -> Scene {
        let mut s = Scene::default();
        for bar in 0..4 {
            let at = 0.2 + f64::from(bar) * 2.4;
            for beat in 0..4 {
                s.note(at + 0.6 * f64::from(beat), 0.55, 38);
            }
            s.chord(at, 1.1, &[53, 57, 60, 64]);
            s.chord(at + 1.2, 1.1, &[55, 59, 65]);
        }
        s.sorted()
    }

    /// C and F over a D that is struck again and again: without it, it would be about C.
    fn triads_over_a_pedal() -> Scene {
        let mut s = Scene::default();
        for bar in 0..4 {
            let at = 0.2 + f64::from(bar) * 2.4;
            for beat in 0..4 {
                s.note(at + 0.6 * f64::from(beat), 0.55, 38);
            }
            s.chord(at, 1.1, &[60, 64, 67]);
            s.chord(at + 1.2, 1.1, &[60, 65, 69]);
        }
        s.sorted()
    }

    #[test]
    fn a_center_in_the_bass_is_decided_by_the_bass() {
        let told = check(&triads_over_a_pedal(), 9.7);
        assert_eq!(told.tonality, tonality("D dorian"));
        let first = told.causes[0].expect("a cause");
        let set = PitchClassSet::EMPTY.with(PitchClass::new(2));
        assert_eq!(first.removed, Removed::Bass(set), "{told:?}");
        assert!(first.change > 0.2 && first.center_change > 0.2, "{first:?}");
        let other = first.instead.map(|t| t.tonality.center);
        assert!(
            other.is_some_and(|c| c != PitchClass::new(2)),
            "without it another note is home: {first:?}"
        );
        let own = change(&told, |r| r == pc(9));
        assert_eq!(own.instead, None, "{own:?}");
    }

    #[test]
    fn without_its_raised_fourth_lydian_is_less_likely() {
        let mut s = Scene::default();
        for bar in 0..4 {
            let at = 0.2 + f64::from(bar) * 2.4;
            s.note(at, 2.3, 36);
            // It is first heard after what is remembered begins.
            if bar > 0 {
                s.chord(at, 1.1, &[52, 55, 60]);
                s.chord(at + 1.2, 1.1, &[54, 57, 62]);
            }
        }
        let told = check(&s.sorted(), 9.7);
        assert_eq!(told.tonality, tonality("C lydian"), "{told:?}");
        let sharp = change(&told, |r| r == pc(6));
        assert!(sharp.change > 0.05, "{told:?}");
        let others = told.causes.iter().flatten();
        let mode = |c: &Cause| c.change - c.center_change;
        let most = others.max_by(|a, b| mode(a).total_cmp(&mode(b)));
        assert_eq!(most.map(|c| c.removed), Some(pc(6)), "{told:?}");
    }

    /// The white keys up and down, resting on one note.
    #[test]
    fn the_note_that_is_rested_on_speaks_for_itself() {
        let mut s = Scene::default();
        let mut at = 0.2;
        for _ in 0..3 {
            for key in [64, 65, 67, 69, 67, 65] {
                s.note(at, 0.19, key);
                at += 0.2;
            }
            s.note(at, 1.4, 64);
            at += 1.6;
        }
        let told = check(&s.sorted(), at - 0.2);
        assert_eq!(told.tonality.center, PitchClass::new(4), "{told:?}");
        let end = change(&told, |w| matches!(w, Removed::PhraseEnd(..)));
        assert!(end.center_change > 0.0, "{told:?}");
    }

    #[test]
    fn a_foreign_note_speaks_against() {
        let mut s = dorian_vamp();
        s.note(8.9, 0.5, 70);
        let told = check(&s.sorted(), 9.7);
        assert_eq!(told.tonality, tonality("D dorian"));
        let foreign = change(&told, |r| r == pc(10));
        assert!(foreign.change < -0.05, "{told:?}");
    }

    /// In the first steps nothing is established whatever is played: the explanation is about
    /// the likeliest center and compares it with others.
    #[test]
    fn where_nothing_is_established_the_centers_in_question_are_explained() {
        let s = dorian_vamp();
        for at in [0.45, 0.55, 0.65] {
            let m = heard(&s, Time::from_seconds(at));
            assert_eq!(m.reading().here, None);
            let told = m.case().map(Case::explain).expect("something was heard");
            let first = told.candidates[0].expect("a candidate");
            assert_eq!(told.tonality, first.tonality);
            assert_eq!(told.center_probability, first.center_probability);
            let candidates = told.candidates.iter().flatten();
            let centers: f32 = candidates.map(|c| c.center_probability).sum();
            assert!(centers + told.no_center_probability <= 1.0 + 1e-4);
            let moved = |c: &Cause| c.candidate_changes.iter().any(|x| x.abs() > 0.005);
            assert!(told.causes.iter().flatten().any(moved), "{told:?}");
        }
    }

    #[test]
    fn there_is_nothing_to_explain_before_the_first_step() {
        let mut m = fresh();
        assert!(m.case().is_none());
        let (channel, key, velocity) = (0, 60, 60);
        let on = Event::NoteOn {
            channel,
            key,
            velocity,
        };
        m.on_event(Time::millis(500), on, &mut ());
        assert!(m.case().is_none());
        m.advance_to(Time::millis(601), &mut ());
        let told = m.case().map(Case::explain).expect("a step");
        assert_eq!(
            (told.since, told.at),
            (Time::millis(500), Time::millis(600))
        );
        // After a rest the music begins again.
        m.on_event(Time::millis(700), Event::Release, &mut ());
        m.on_event(Time::millis(20_000), on, &mut ());
        assert!(m.case().is_none());
    }

    /// More notes than are kept: the explanation reaches less far back, and stays correct.
    #[test]
    fn dense_playing_is_explained_less_far_back() {
        let mut s = Scene::default();
        for i in 0..1000 {
            let key = [50, 55, 60, 64, 69][i % 5];
            s.note(0.2 + 0.01 * i as f64, 0.005, key);
        }
        let told = check(&s.sorted(), 10.0);
        let seconds = told.at.since(told.since).seconds();
        assert!((4.0..5.2).contains(&seconds), "{seconds}");
        let mut m = fresh();
        m.on_event(
            Time::ZERO,
            crate::engine::Event::Fading(Fading::Sustained),
            &mut (),
        );
        for i in 0..4000u64 {
            let key = 40 + (i % 40) as u8;
            let (channel, velocity) = (0, 50);
            let on = Event::NoteOn {
                channel,
                key,
                velocity,
            };
            m.on_event(Time(100 + 50 * i), on, &mut ());
        }
        // A thousand strikes a second: too many are lost for any explanation.
        assert!(m.case().is_none());
    }

    /// Transposed playing is explained alike, to the last bit.
    #[test]
    fn transposition_changes_nothing() {
        let told = |by: i8| {
            let mut m = fresh();
            let transpose = crate::engine::Filter {
                transpose: by,
                ..Default::default()
            };
            m.on_event(Time::ZERO, crate::engine::Event::Filter(transpose), &mut ());
            for (at, event) in dorian_vamp().events {
                m.on_event(at, event, &mut ());
            }
            let told = m.case().expect("heard").explain();
            let down = -i32::from(by);
            let causes = told.causes.map(|c| {
                c.map(|c| {
                    let removed = match c.removed {
                        Removed::PitchClass(p) => format!("{:?}", p.up(down)),
                        Removed::Bass(s) => format!("bass {:?}", s.up(down)),
                        Removed::Chord(s, at) => format!("chord {:?} {at:?}", s.set().up(down)),
                        Removed::PhraseEnd(s, at) => format!("end {:?} {at:?}", s.up(down)),
                    };
                    let instead = c
                        .instead
                        .map(|t| (t.tonality.center.up(down), t.tonality.mode));
                    let others = c.candidate_changes.map(f32::to_bits);
                    let bits = (c.change.to_bits(), c.center_change.to_bits(), others);
                    (removed, bits, instead)
                })
            });
            let candidates = told.candidates.map(|c| {
                c.map(|c| {
                    (
                        c.tonality.center.up(down),
                        c.tonality.mode,
                        c.probability.to_bits(),
                    )
                })
            });
            (told.tonality.center.up(down), candidates, causes)
        };
        let here = told(0);
        for by in [-7, -2, 1, 6] {
            assert_eq!(told(by), here, "{by}");
        }
    }
}
