//! The engine: a deterministic state machine from timed events to readings.

use super::change::{Change, Observer};
use super::chords::ChordTracker;
use super::collection::Collection;
use super::estimator::{Estimator, Learned, Model, STEP, Scores, at_place};
use super::event::{Aside, Event};
use super::explain::{Case, Recent, likeliest_center};
use super::features::Frames;
use super::hysteresis::{Here, Home, Inertia, Rival, Verdict};
use super::keys::{Fading, Happened, Keys};
use super::open_degrees::open;
use super::polymodal::PolymodalTracker;
use super::progression::Progression;
use super::reading::{Contender, Established, Reading};
use super::voicing::{StruckKey, VoicingTracker};
use super::weights::ModelError;
use super::window::Window;
use crate::midi;
use crate::plan::Open;
use crate::theory::{
    Bassist, Catalogue, Hearing, KeySet, PitchClass, PitchClassSet, SpelledTonality, Spelling,
    Tonality,
};
use crate::time::Time;
use std::sync::Arc;

/// After this long without a sound the next note starts the analysis over.
pub const REST: Time = Time::millis(8000);
/// The same after this long without a key struck, whatever is held.
pub const STANDING: Time = Time::millis(120_000);
/// A change of probability alone is reported every few steps.
const REFINE_STEPS: u32 = 5;
/// A collection without a center is named from this probability on.
const CLEARLY_FREE: f32 = 0.3;

/// The engine: timed events go in, [`Reading`]s and [`Change`]s come out.
///
/// ```
/// use peregrinus::engine::{Change, Event, Monitor, Observer};
/// use peregrinus::midi;
/// use peregrinus::theory::{Catalogue, PitchClass};
/// use peregrinus::time::Time;
/// use std::sync::Arc;
///
/// /// Prints every tonality that is established.
/// struct Printer(Arc<Catalogue>);
///
/// impl Observer for Printer {
///     fn change(&mut self, at: Time, change: Change) {
///         if let Change::Here(here) = change {
///             let mode = &self.0.mode(here.spelled.tonality.mode).name;
///             println!("{at}: {} {mode}", here.spelled.tonic);
///         }
///     }
/// }
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let catalogue = Arc::new(Catalogue::standard().clone());
/// let mut monitor = Monitor::new(Arc::clone(&catalogue))?;
/// let mut printer = Printer(catalogue);
/// let mut at = Time::ZERO;
/// // C, F, G7 and C, twice, a second each.
/// for chord in [[48, 64, 67, 72], [53, 65, 69, 72], [55, 65, 71, 74], [48, 64, 67, 72]].repeat(2) {
///     let (channel, velocity) = (midi::Channel::ALL[0], 80);
///     for key in chord {
///         monitor.on_event(at, midi::Event::NoteOn { channel, key, velocity }, &mut printer);
///     }
///     at += Time::millis(1000);
///     for key in chord {
///         monitor.on_event(at, midi::Event::NoteOff { channel, key }, &mut printer);
///     }
/// }
/// let reading = monitor.reading();
/// let here = reading.here.ok_or("a tonality is established")?;
/// assert_eq!(here.spelled.tonality.center, PitchClass::new(0));
/// let (sonority, _) = reading.chord.ok_or("a chord was struck")?;
/// assert_eq!(sonority.bass(), PitchClass::new(0));
/// // What the player states is an event too.
/// monitor.on_event(at, Event::HomeIs(Some(PitchClass::new(0))), &mut printer);
/// # Ok(())
/// # }
/// ```
///
/// Keys, frames, window, estimator, hysteresis and chord tracker in one. Time comes from
/// its caller and never goes back: an earlier time counts as the latest one.
///
/// The grid begins with the first note and again after [`REST`] without a
/// sound; while it rests, `advance_to` costs nothing.
#[derive(Clone)]
pub struct Monitor<E: Estimator = Learned> {
    catalogue: Arc<Catalogue>,
    now: Time,
    /// When the next step is due, while the grid runs.
    next_step: Option<Time>,
    inertia: Inertia,
    bassist: Bassist,
    keys: Keys,
    frames: Frames,
    window: Window,
    estimator: E,
    here: Here,
    home: Home,
    chords: ChordTracker,
    progression: Progression,
    voicing: VoicingTracker,
    polymodal: PolymodalTracker,
    established: Option<Established>,
    /// Its degrees that have not been heard since it was established.
    unheard: Open,
    home_established: Option<Established>,
    /// Whether home has not been reported yet since the beginning or the last long rest.
    home_untold: bool,
    pinned: Option<SpelledTonality>,
    stated: Option<(Spelling, Time)>,
    aside: Option<Time>,
    /// The spelling that the next tonic stays near to.
    last_tonic: Option<Spelling>,
    /// The same when the aside began: what follows it is spelled as without it.
    tonic_before_aside: Option<Spelling>,
    silent_since: Option<Time>,
    last_onset: Time,
    begun: bool,
    steps_since_refined: u32,
    /// What [`Monitor::case`] is made of.
    recent: Recent<E::State>,
}

impl Monitor {
    /// With the learned estimator and its embedded weights.
    pub fn new(catalogue: Arc<Catalogue>) -> Result<Monitor, ModelError> {
        let model = Model::standard()?;
        let estimator = Learned::new(&catalogue, model);
        Ok(Monitor::with_estimator(catalogue, estimator))
    }
}

impl Monitor<Learned> {
    /// A fresh estimator like its own.
    pub fn forward(&self) -> Learned {
        Learned::new(&self.catalogue, self.estimator.model())
    }

    /// The same for music that is heard from its end.
    pub fn backward(&self) -> Learned {
        Learned::backward(&self.catalogue, self.estimator.model())
    }
}

impl<E: Estimator> Monitor<E> {
    pub fn with_estimator(catalogue: Arc<Catalogue>, estimator: E) -> Monitor<E> {
        Monitor {
            here: Here::new(&catalogue),
            home: Home::new(&catalogue),
            catalogue,
            now: Time::ZERO,
            next_step: None,
            inertia: Inertia::default(),
            bassist: Bassist::Absent,
            keys: Keys::new(STEP),
            frames: Frames::new(),
            window: Window::new(STEP),
            recent: Recent::new(&estimator),
            estimator,
            chords: ChordTracker::default(),
            progression: Progression::default(),
            voicing: VoicingTracker::default(),
            polymodal: PolymodalTracker::new(STEP),
            established: None,
            unheard: Open::default(),
            home_established: None,
            home_untold: true,
            pinned: None,
            stated: None,
            aside: None,
            last_tonic: None,
            tonic_before_aside: None,
            silent_since: None,
            last_onset: Time::ZERO,
            begun: false,
            steps_since_refined: 0,
        }
    }

    /// The modes that it knows.
    pub fn catalogue(&self) -> &Arc<Catalogue> {
        &self.catalogue
    }

    /// How notes die away.
    pub fn fading(&self) -> Fading {
        self.keys.fading()
    }

    /// The latest time that it was given.
    pub fn now(&self) -> Time {
        self.now
    }

    /// The keys that sound, held or by a pedal.
    pub fn sounding(&self) -> KeySet {
        self.keys.sounding()
    }

    /// When something will happen by itself; `None` while the grid rests.
    pub fn next_step(&self) -> Option<Time> {
        self.next_step
    }

    /// One event. Steps due strictly before it are taken first.
    pub fn on_event(&mut self, at: Time, event: impl Into<Event>, observer: &mut impl Observer) {
        self.advance_to(at, observer);
        let at = self.now;
        match event.into() {
            Event::Midi(e) => self.on_midi(at, e, observer),
            Event::Inertia(i) => self.inertia = i,
            Event::Fading(f) => self.keys.set_fading(f),
            Event::Bassist(bassist) => self.bassist = bassist,
            Event::Filter(f) => {
                self.keys.set_filter(f);
                self.after_release(at, observer);
            }
            Event::HarmonyFrom(from) => {
                self.keys.set_harmony_from(from);
                self.after_release(at, observer);
            }
            Event::Pin(pinned) => {
                self.pinned = pinned;
                observer.change(at, Change::Pinned(pinned));
            }
            Event::HomeIs(center) => {
                let note = center.map(|c| self.spelled(c));
                self.stated = note.map(|note| (note, at));
                observer.change(at, Change::HomeIs(note));
            }
            Event::Aside(edge) => {
                match (edge, self.aside) {
                    (Aside::Begins, None) => {
                        self.aside = Some(at);
                        self.tonic_before_aside = self.last_tonic;
                    }
                    (Aside::Ends, Some(_)) => {
                        self.aside = None;
                        self.last_tonic = self.tonic_before_aside;
                        self.rest();
                    }
                    (Aside::Begins, Some(_)) | (Aside::Ends, None) => return,
                }
                observer.change(at, Change::Aside(edge));
            }
        }
    }

    /// Spells a note that the player names as the centers around it are spelled.
    fn spelled(&self, note: PitchClass) -> Spelling {
        let pinned = self.pinned.map(|t| t.tonic);
        let centers = [self.established, self.home_established];
        let centers = centers.map(|e| e.map(|e| e.spelled.tonic));
        let mut known = std::iter::once(pinned).chain(centers).flatten();
        let same = known.find(|tonic| tonic.pitch_class() == note);
        same.unwrap_or_else(|| {
            let around = pinned.or(self.last_tonic);
            let around = around.map_or(Spelling::MIDDLE, |tonic| f32::from(tonic.fifths()));
            // Further out, notes would have two accidentals.
            Spelling::nearest(note, around.clamp(-1.0, 5.0))
        })
    }

    /// Takes the steps of the grid that lie before `at`.
    pub fn advance_to(&mut self, at: Time, observer: &mut impl Observer) {
        while let Some(step) = self.next_step.filter(|&s| s < at) {
            self.now = self.now.max(step);
            self.next_step = Some(step + STEP);
            self.step(step, observer);
        }
        self.now = self.now.max(at);
    }

    fn on_midi(&mut self, at: Time, event: midi::Event, observer: &mut impl Observer) {
        match self.keys.on_event(at, event) {
            Happened::Struck(key) => {
                observer.keys(at, Some(key), self.keys.sounding());
                if self.next_step.is_none() {
                    self.begin(at);
                }
                self.begun = true;
                self.last_onset = at;
                let after_silence = self.silent_since.take().is_some();
                let hearing = self.hearing();
                if self.chords.on_onset(at, &self.keys, key, hearing) || after_silence {
                    self.tell_chord(at, observer);
                }
                if let Some((stroke, judgement, arrival)) = self.chords.stroke() {
                    observer.stroke(stroke, judgement, arrival);
                    if self.progression.hear(stroke, judgement, arrival, hearing) {
                        self.tell_harmony(at, observer);
                    }
                }
                self.follow_voicing(at, key, observer);
                let (start, bass) = (self.chords.struck().1, self.chords.bass());
                self.polymodal.on_onset(key, start, bass, &self.keys);
                self.frames.on_onset(key);
                self.recent.on_onset(at, key, &self.chords);
            }
            Happened::Released => {
                if matches!(event, midi::Event::Damper { .. }) {
                    self.chords.on_pedal_up(at);
                }
                self.after_release(at, observer);
            }
            Happened::Nothing => {}
        }
    }

    fn after_release(&mut self, at: Time, observer: &mut impl Observer) {
        observer.keys(at, None, self.keys.sounding());
        self.voicing.on_release(at, self.keys.sounding());
        let hearing = self.hearing();
        if self.chords.on_time(at, &self.keys, hearing) {
            self.tell_chord(at, observer);
        }
        if self.keys.sounding().is_empty() && self.begun && self.silent_since.is_none() {
            self.silent_since = Some(at);
            observer.change(at, Change::Silence);
        }
    }

    fn tell_chord(&self, at: Time, observer: &mut impl Observer) {
        if let Some((sonority, _)) = self.chords.now() {
            observer.change(
                at,
                Change::Chord {
                    sonority,
                    keys: self.keys.sounding(),
                },
            );
        }
    }

    fn tell_harmony(&self, at: Time, observer: &mut impl Observer) {
        if let Some(harmony) = self.progression.now() {
            observer.change(at, Change::Harmony(harmony));
        }
    }

    fn follow_voicing(&mut self, at: Time, key: u8, observer: &mut impl Observer) {
        let changed = self.voicing.on_onset(&StruckKey {
            at,
            key,
            stroke: self.chords.struck().0,
            bass: self.chords.bass(),
            keys: &self.keys,
            sonority: self.chords.now().map(|(s, _)| s),
        });
        if let (true, Some(voiced)) = (changed, self.voicing.now()) {
            observer.change(at, Change::VoicedChord(voiced));
        }
    }

    /// The first note, or the first after a long rest.
    fn begin(&mut self, at: Time) {
        self.forget(at);
        self.next_step = Some(at + STEP);
    }

    /// Forgets everything but home.
    fn forget(&mut self, at: Time) {
        self.window.reset();
        self.estimator.reset();
        self.here.reset();
        self.chords.reset();
        self.progression.reset();
        self.voicing.rest();
        self.polymodal.reset();
        self.established = None;
        self.home_untold = true;
        self.recent.begin(at, &self.estimator, &self.frames);
    }

    /// As after a long rest: the next note starts the analysis over.
    fn rest(&mut self) {
        // What was struck since the last step.
        self.frames
            .close_step(self.keys.sounding(), self.keys.fading());
        self.forget(self.now);
        self.next_step = None;
    }

    /// What chords are named against.
    fn hearing(&self) -> Hearing {
        let pinned = self.pinned.map(|t| t.tonality);
        let tonality = pinned.or(self.established.map(|e| e.spelled.tonality));
        Hearing {
            scale: tonality.map_or(PitchClassSet::ALL, |t| self.catalogue.all_forms(t)),
            center: tonality.map(|t| t.center),
            before: None,
            bassist: self.bassist,
        }
    }

    fn step(&mut self, at: Time, observer: &mut impl Observer) {
        let frame = self
            .frames
            .close_step(self.keys.sounding(), self.keys.fading());
        self.window.step(&frame);
        self.keys.fade();
        let hearing = self.hearing();
        if self.chords.on_time(at, &self.keys, hearing) {
            self.tell_chord(at, observer);
        }
        if self.progression.on_time(at, hearing) {
            self.tell_harmony(at, observer);
        }
        self.estimator.step(&frame);
        let keys = (self.keys.sounding(), self.keys.fading());
        let bass = self.chords.bass();
        self.recent
            .step(at, keys, bass, &self.estimator, &self.frames);
        observer.step(at, &frame, self.estimator.evidence());
        if frame.any() {
            let p = self.estimator.probabilities();
            let verdict = {
                let home = self.home.now().map(|t| t.center);
                self.here
                    .step(at, p, self.window.heard(), home, self.inertia)
            };
            self.follow(at, verdict, observer);
        }
        let here = self.established.map(|e| e.spelled.tonality);
        if self.polymodal.step(at, &self.keys, here, &self.catalogue) {
            observer.change(at, Change::Polymodal(self.polymodal.now()));
        }
        let silent = self
            .silent_since
            .is_some_and(|since| at.since(since) >= REST);
        if silent || at.since(self.last_onset) >= STANDING {
            // The last reading stays; the grid rests.
            self.next_step = None;
            observer.change(at, Change::Rest);
        }
    }

    fn follow(&mut self, at: Time, verdict: Verdict, observer: &mut impl Observer) {
        let heard = self.window.heard();
        let p = self.estimator.probabilities();
        match (verdict, self.here.now()) {
            (Verdict::Changed, Some(tonality)) => {
                let before = self.established;
                let same_center = before.filter(|e| e.spelled.tonality.center == tonality.center);
                let spelled = self.catalogue.spelled(tonality, self.last_tonic);
                if let Some(before) = same_center
                    && self.unheard.may_be(tonality.mode)
                {
                    self.decide(at, before, spelled, observer);
                    return self.follow_home(at, observer);
                }
                let since = match same_center {
                    Some(_) => at,
                    None => self.here.since(tonality.center).unwrap_or(at),
                };
                let e = Established {
                    spelled,
                    at,
                    since: since.min(at),
                    probability: probability(p, tonality),
                    open: open(&self.catalogue, tonality, heard, |t| probability(p, t)),
                };
                self.established = Some(e);
                self.unheard = e.open;
                self.last_tonic = Some(spelled.tonic);
                self.steps_since_refined = 0;
                observer.change(at, Change::Here(e));
            }
            (Verdict::Lost, _) => {
                self.established = None;
                observer.change(at, Change::NoCenter);
            }
            _ => {
                self.steps_since_refined += 1;
                if let Some(e) = &mut self.established {
                    e.probability = probability(p, e.spelled.tonality);
                    let now = open(&self.catalogue, e.spelled.tonality, heard, |t| {
                        probability(p, t)
                    });
                    let moved = now != e.open;
                    e.open = now;
                    self.unheard = self.unheard.and_then(now);
                    if let Some(home) = &mut self.home_established
                        && self.aside.is_none()
                        && home.spelled.tonality == e.spelled.tonality
                    {
                        home.open = home.open.and_then(now);
                    }
                    if moved || self.steps_since_refined >= REFINE_STEPS {
                        self.steps_since_refined = 0;
                        observer.change(at, Change::Refined(*e));
                    }
                }
            }
        }
        self.follow_home(at, observer);
    }

    /// An open degree has been heard: the mode is the one that has it, and counts as such from
    /// the beginning of the region. So does the mode of home, if it was as open, but not by what is
    /// played aside.
    fn decide(
        &mut self,
        at: Time,
        before: Established,
        to: SpelledTonality,
        observer: &mut impl Observer,
    ) {
        let p = self.estimator.probabilities();
        let e = Established {
            spelled: to,
            probability: probability(p, to.tonality),
            open: open(&self.catalogue, to.tonality, self.window.heard(), |t| {
                probability(p, t)
            }),
            ..before
        };
        if let Some(home) = &mut self.home_established
            && self.aside.is_none()
            && home.spelled.tonality.center == e.spelled.tonality.center
            && home.open.may_be(e.spelled.tonality.mode)
        {
            self.home
                .decide(home.spelled.tonality.mode, e.spelled.tonality);
            (home.spelled, home.open) = (e.spelled, e.open);
        }
        self.established = Some(e);
        self.unheard = e.open;
        self.last_tonic = Some(e.spelled.tonic);
        self.steps_since_refined = 0;
        observer.change(at, Change::Refined(e));
    }

    fn follow_home(&mut self, at: Time, observer: &mut impl Observer) {
        if self.aside.is_some() {
            return;
        }
        let heard = self.window.heard();
        let p = self.estimator.probabilities();
        let moved = self.home.step(self.here.now(), self.inertia);
        if let Some(tonality) = self.home.now()
            && (moved || self.home_untold && self.here.now().is_some())
        {
            // After a rest the same home begins again.
            let before = self
                .home_established
                .filter(|h| h.spelled.tonality.center == tonality.center && !self.home_untold);
            // The first time, home on the center here has the mode that is established here:
            // the one that weighs most so far may have been abandoned since.
            let tonality = match self.established {
                Some(e) if self.home_untold && e.spelled.tonality.center == tonality.center => {
                    e.spelled.tonality
                }
                _ => tonality,
            };
            self.home_untold = false;
            if before.is_some_and(|h| h.spelled.tonality == tonality) {
                return;
            }
            let tonic = match (before, self.established) {
                (Some(h), _) => h.spelled.tonic,
                (None, Some(e)) if e.spelled.tonality.center == tonality.center => e.spelled.tonic,
                _ => self.catalogue.spell(tonality, self.last_tonic),
            };
            let home = Established {
                spelled: SpelledTonality::new(tonality, tonic),
                at,
                since: match before {
                    Some(h) => h.since,
                    None => self.here.since(tonality.center).unwrap_or(at).min(at),
                },
                probability: probability(p, tonality),
                open: match self.established {
                    Some(e) if e.spelled.tonality == tonality => e.open,
                    _ => open(&self.catalogue, tonality, heard, |t| probability(p, t)),
                },
            };
            self.home_established = Some(home);
            observer.change(at, Change::Home(home));
        }
    }

    /// Everything that can be said of this moment.
    pub fn reading(&self) -> Reading {
        let p = self.estimator.probabilities();
        let (struck, struck_at) = self.chords.struck();
        Reading {
            at: self.now,
            held: self.keys.held(),
            pedalled: self.keys.pedalled(),
            damper: self.keys.damper(),
            struck,
            struck_at,
            window: self.window.shares(),
            heard: self.window.heard(),
            chord: self.chords.now(),
            harmony: self.progression.now(),
            voiced_chord: self.voicing.now(),
            here: self.established,
            home: self.home_established,
            contender: self.contender(),
            polymodal: self.polymodal.now(),
            pinned: self.pinned,
            stated: self.stated,
            aside: self.aside,
            ranking: ranking(p, &self.catalogue),
            collection: self.collection(p),
            silent_since: self.silent_since,
            begun: self.begun,
            inertia: self.inertia,
            harmony_from: self.keys.harmony_from(),
        }
    }

    /// The probabilities after the last step; see [`Estimator::probabilities`].
    pub fn probabilities(&self) -> &Scores {
        self.estimator.probabilities()
    }

    /// The last seconds, to be explained elsewhere: why the tonality established here is
    /// likely, or while none is, why the likeliest center is and what else is in question.
    /// `None` before the first step. Allocates.
    pub fn case(&self) -> Option<Case<E>> {
        let p = self.estimator.probabilities();
        let tonality = match self.established {
            Some(e) => e.spelled,
            None => {
                let bass = self
                    .chords
                    .bass()
                    .map_or(PitchClass::new(0), PitchClass::of_key);
                let likeliest = likeliest_center(p, &self.catalogue, bass)?;
                let tonic = self.catalogue.spell(likeliest, self.last_tonic);
                SpelledTonality::new(likeliest, tonic)
            }
        };
        self.recent.case(&self.estimator, &self.catalogue, tonality)
    }

    fn collection(&self, p: &Scores) -> Option<Collection> {
        if self.established.is_some() || !self.begun {
            return None;
        }
        let best = Collection::all().max_by(|&a, &b| p.free(a).total_cmp(&p.free(b)))?;
        (p.free(best) > CLEARLY_FREE).then_some(best)
    }

    fn contender(&self) -> Option<Contender> {
        let now = self.established?;
        let Rival {
            tonality,
            probability,
            nearness,
        } = self.here.contender()?;
        let heard = self.window.heard();
        let own = self
            .catalogue
            .all_forms(tonality)
            .minus(self.catalogue.all_forms(now.spelled.tonality));
        let shares = self.window.shares();
        let telling = own
            .and(heard)
            .iter()
            .max_by(|a, b| shares[a.index()].total_cmp(&shares[b.index()]));
        Some(Contender {
            spelled: self.catalogue.spelled(tonality, Some(now.spelled.tonic)),
            probability,
            nearness,
            // Of the keys alone: the chord's bass depends on what is pinned.
            in_bass: self
                .keys
                .sounding()
                .lowest()
                .or(self.chords.struck().0.lowest())
                .is_some_and(|key| PitchClass::of_key(key) == tonality.center),
            heard: telling,
        })
    }
}

/// That of a scale is 0: music is never taken for one.
fn probability(p: &Scores, t: Tonality) -> f32 {
    p.of(t).unwrap_or(0.0)
}

fn ranking(p: &Scores, catalogue: &Catalogue) -> [Option<(Tonality, f32)>; 5] {
    let mut best: [Option<(Tonality, f32)>; 5] = [None; 5];
    for (i, &q) in p.tonalities[..catalogue.len() * 12].iter().enumerate() {
        if let Some(slot) = best
            .iter()
            .position(|b| b.is_none_or(|(_, other)| q > other))
        {
            best[slot..].rotate_right(1);
            best[slot] = at_place(i, catalogue).map(|t| (t, q));
        }
    }
    best
}

/// A new monitor; the weights are read once for all tests.
#[cfg(test)]
pub(super) fn fresh() -> Monitor {
    static ONE: std::sync::LazyLock<Monitor> = std::sync::LazyLock::new(|| {
        let catalogue = Arc::new(Catalogue::standard().clone());
        Monitor::new(catalogue).expect("the embedded weights")
    });
    ONE.clone()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::Glyphs;

    /// Spelled as the pinned tonality and the centers about are, and never with two accidentals.
    #[test]
    fn home_is_spelled_in_context() {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let mut monitor = Monitor::new(Arc::clone(&catalogue)).unwrap();
        let mut said = |pinned: Option<&str>, note: i32| {
            let t = pinned.map(|name| catalogue.parse_tonality(name).unwrap());
            let pinned = t;
            monitor.on_event(Time::ZERO, Event::Pin(pinned), &mut ());
            monitor.on_event(
                Time::ZERO,
                Event::HomeIs(Some(PitchClass::new(note))),
                &mut (),
            );
            monitor.reading().stated.unwrap().0.text(Glyphs::Ascii)
        };
        assert_eq!(
            [3, 6, 8, 10].map(|n| said(None, n)),
            ["Eb", "F#", "G#", "Bb"]
        );
        assert_eq!(said(Some("Db lydian"), 6), "Gb");
        assert_eq!(said(Some("F# dorian"), 3), "D#");
        assert_eq!(said(Some("Cb ionian"), 11), "Cb", "its own");
        for center in -10..=15 {
            let name = Spelling::at(center).text(Glyphs::Ascii);
            for note in (0..12).filter(|&n| Spelling::at(center).pitch_class().index() as i32 != n)
            {
                let spelled = said(Some(&format!("{name} dorian")), note);
                assert!(spelled.len() < 3, "{spelled} in {name}");
            }
        }
    }

    /// The same first stroke, C E♭ F A♭, before anything is established.
    #[test]
    fn chords_are_named_in_the_pinned_tonality() {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let fresh = Monitor::new(Arc::clone(&catalogue)).unwrap();
        let root = |pinned: &str| {
            let mut monitor = fresh.clone();
            let t = catalogue.parse_tonality(pinned).unwrap();
            let pin = Event::Pin(Some(t));
            monitor.on_event(Time::ZERO, pin, &mut ());
            for key in [48, 51, 53, 56] {
                let on = midi::Event::NoteOn {
                    channel: midi::Channel::ALL[0],
                    key,
                    velocity: 80,
                };
                monitor.on_event(Time::millis(5), on, &mut ());
            }
            let reading = monitor.reading();
            assert_eq!(reading.within(), Some(t));
            let (sonority, _) = reading.chord.unwrap();
            sonority.chord().map(|c| c.root.index())
        };
        assert_eq!(root("C ionian"), Some(5), "Fm7/C");
        // A♭ is a note of E♭ Phrygian, F is none.
        assert_eq!(root("Eb phrygian"), Some(8), "A♭6/C");
        // In a scale that no music is taken for as well.
        assert_eq!(root("Eb bebop major"), Some(5), "Fm7/C");
    }

    #[test]
    fn an_aside_begins_and_ends_once() {
        use Aside::{Begins, Ends};
        #[derive(Default)]
        struct Told(Vec<(Time, Aside)>);
        impl Observer for Told {
            fn change(&mut self, at: Time, change: Change) {
                if let Change::Aside(edge) = change {
                    self.0.push((at, edge));
                }
            }
        }
        let mut monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let mut told = Told::default();
        let ms = Time::millis;
        let edges = [Ends, Begins, Begins, Ends, Ends];
        for (at, edge) in (1..).zip(edges) {
            monitor.on_event(ms(at), Event::Aside(edge), &mut told);
            let since = (2..4).contains(&at).then_some(ms(2));
            assert_eq!(monitor.reading().aside, since);
        }
        assert_eq!(told.0, [(ms(2), Begins), (ms(4), Ends)]);
    }

    /// D, E, F, G, A and C over D; the 6th comes late: what it decides holds from the beginning,
    /// here and at home, and nothing is told as altered that never sounded.
    #[test]
    fn a_degree_heard_late_decides_from_the_beginning() {
        for (late, mode) in [(71, "dorian"), (70, "aeolian")] {
            let mut monitor = fresh();
            let catalogue = Catalogue::standard();
            let mut history = super::super::history::History::default();
            let mut play = |at: u64, keys: &[u8]| {
                let on = |key| midi::Event::NoteOn {
                    channel: midi::Channel::ALL[0],
                    key,
                    velocity: 80,
                };
                for &key in keys {
                    monitor.on_event(Time::millis(at), on(key), &mut history);
                }
                for &key in keys {
                    let off = midi::Event::NoteOff {
                        channel: midi::Channel::ALL[0],
                        key,
                    };
                    monitor.on_event(Time::millis(at + 550), off, &mut history);
                }
            };
            let figures: [&[u8]; 4] = [&[38, 57, 62, 65], &[64], &[60, 64, 69], &[67]];
            for beat in 0..60 {
                let at = 600 * beat as u64;
                match (beat > 24, beat % 4) {
                    (true, 1) => play(at, &[late]),
                    (_, n) => play(at, figures[n]),
                }
            }
            monitor.advance_to(Time::millis(36_000), &mut history);
            let tonality = catalogue
                .parse_tonality(&format!("D {mode}"))
                .unwrap()
                .tonality;
            let plan = history.plan();
            let said: Vec<_> = plan.regions.iter().map(|r| r.spelled.tonality).collect();
            assert_eq!(said, [tonality], "{mode}");
            assert!(plan.regions[0].start < Time::millis(5_000), "{mode}");
            assert!(
                plan.home.iter().all(|r| r.spelled.tonality == tonality),
                "{mode}"
            );
            assert!(plan.regions[0].open.is_empty(), "{mode}");
        }
    }
}
