//! The top line and the rest: whether they keep to different modes of one center, as a
//! melody in Lydian above chords in Ionian does.
//!
//! Of each stroke the highest key is the top line's if nothing is held above it, if it
//! lies a third or more above what else sounds, and if that reaches down more than an
//! octave, so that it is not all in one hand. What is struck under a key that is held,
//! or far below the line, belongs to the rest; what is neither is left out. Keys of the
//! line that a pedal holds on do not hide the next.
//!
//! It is reported cautiously, as a false alarm costs more than a miss. A note that only the
//! top line has and its neighbour that only the rest has must alternate several times, without
//! an exception, and the top line must have its own above the center in the bass too, so that
//! the altered note of a secondary dominant does not count. Each of the two must show enough of
//! a mode, and it must last. Parallel modes only: nothing is reported where one of them fits no
//! mode on the established center, or where the top line has another center, as the notes
//! alone do not tell G Ionian from C Lydian.
//!
//! All constants but the window's own are our choice, set on the études, the scenarios
//! and invented playing.

use super::features::{PitchClassProfile, total};
use super::keys::Keys;
use super::window::{LONG, ONSET};
use crate::theory::{Catalogue, KeySet, ModeId, PitchClass, PitchClassSet, Tonality};
use crate::time::Time;

/// A stroke is complete after this time.
const STROKE: Time = Time::millis(100);
/// Maximum time between two notes that alternate, and for which the line is remembered.
const SPAN: Time = Time::millis(12_000);
/// Semitones from the top line down to what lies next below it, at least.
const THIRD: u8 = 3;
const OCTAVE: u8 = 12;
/// The share of a window from which a pitch class is clearly in it.
const CLEAR: f32 = 0.04;
/// Minimum number of clear pitch classes.
const ENOUGH: usize = 5;
/// Minimum share of the notes in which the two differ: more than passing notes.
const TELLING: f32 = 0.07;
/// Minimum share of a window that lies in the mode that fits it.
const FITS: f32 = 0.95;
/// How often the line and the rest must alternate.
const ANSWERS: u8 = 3;
/// How long it must last before it is reported, and be over before that is taken back.
const HOLD: Time = Time::millis(4000);
const LET_GO: Time = Time::millis(2000);

/// The top line and the rest keep to different modes of the center established here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Polymodal {
    pub top: Tonality,
    pub rest: Tonality,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Part {
    Top,
    Rest,
}

/// Two neighbouring pitch classes, one in the top line alone and one in the rest alone.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    /// Which part had its own of them last, and how often they alternated.
    last: Option<Part>,
    answers: u8,
    at: Time,
    /// The basses above which the top line had its own.
    basses: PitchClassSet,
}

/// A stroke that may not be complete.
#[derive(Clone, Copy, Debug)]
struct OpenStroke {
    start: Time,
    keys: KeySet,
    /// What sounded at its last key, with it, and the bass that was meant.
    sounding: KeySet,
    bass: Option<u8>,
}

#[derive(Clone, Debug)]
pub(super) struct PolymodalTracker {
    step: f32,
    keep: f32,
    stroke: Option<OpenStroke>,
    /// Keys that sound, by whom they belong to.
    line: KeySet,
    under: KeySet,
    /// The line's latest key.
    latest: Option<(u8, Time)>,
    top: PitchClassProfile,
    rest: PitchClassProfile,
    /// By the lower of the two: first those whose lower note the top line has.
    pairs: [[Pair; 2]; 12],
    /// What is likely and since when, and what is reported.
    likely: Option<Polymodal>,
    since: Time,
    said: Option<Polymodal>,
}

impl PolymodalTracker {
    pub fn new(step: Time) -> PolymodalTracker {
        let step = step.seconds() as f32;
        PolymodalTracker {
            step,
            keep: (-step / LONG).exp(),
            stroke: None,
            line: KeySet::EMPTY,
            under: KeySet::EMPTY,
            latest: None,
            top: [0.0; 12],
            rest: [0.0; 12],
            pairs: [[Pair::default(); 2]; 12],
            likely: None,
            since: Time::ZERO,
            said: None,
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        (self.stroke, self.line, self.under) = (None, KeySet::EMPTY, KeySet::EMPTY);
        (self.latest, self.likely, self.said) = (None, None, None);
        (self.top, self.rest) = ([0.0; 12], [0.0; 12]);
        self.pairs = [[Pair::default(); 2]; 12];
    }

    pub fn now(&self) -> Option<Polymodal> {
        self.said
    }

    /// A key was struck, in the stroke of the hands that began at `start`, above that bass.
    pub fn on_onset(&mut self, key: u8, start: Time, bass: Option<u8>, keys: &Keys) {
        let (key, sounding) = (KeySet::of(key), keys.sounding());
        match &mut self.stroke {
            Some(stroke) if stroke.start == start => {
                stroke.keys |= key;
                stroke.sounding |= sounding;
                stroke.bass = bass;
            }
            _ => {
                self.settle(keys.held() & !key);
                self.stroke = Some(OpenStroke {
                    start,
                    keys: key,
                    sounding,
                    bass,
                });
            }
        }
    }

    /// Decides which part the keys of the stroke belong to. `held`: those still held.
    fn settle(&mut self, held: KeySet) {
        let Some(OpenStroke {
            start,
            keys,
            sounding,
            bass,
        }) = self.stroke.take()
        else {
            return;
        };
        let Some(top) = keys.highest() else { return };
        let own = !keys;
        self.line &= sounding & own;
        self.under &= sounding & own;
        let bit = KeySet::of(top);
        let higher = sounding & !(bit | KeySet::below(top));
        // Left by the fingers, a key of the line goes on in the pedal alone.
        let left = self.line & !held;
        // The line doubled in octaves is one line.
        let doubled = keys & top.checked_sub(OCTAVE).map_or(KeySet::EMPTY, KeySet::of);
        let lower = sounding & KeySet::below(top) & !self.line & !doubled;
        let latest = self.latest.filter(|l| start.since(l.1) <= SPAN);
        let is_line = higher.is_subset(left)
            && lower.highest().is_some_and(|next| {
                // Under what the pedal holds of the line it has to go on from there.
                let goes_on = higher.is_empty()
                    || latest.is_some_and(|(key, _)| 2 * key.abs_diff(top) <= top - next);
                top - next >= THIRD && goes_on
            })
            && lower.lowest().is_some_and(|low| top - low > OCTAVE);
        let rest = if is_line {
            self.line |= bit;
            self.latest = Some((top, start));
            self.count(Part::Top, top, start, bass);
            keys & !bit & !doubled
        } else if !(higher & !left & self.line).is_empty() {
            keys
        } else {
            let far = |key: u8| latest.is_some_and(|(line, _)| key + OCTAVE < line);
            keys.iter().filter(|&k| far(k)).collect()
        };
        self.under |= rest;
        for key in rest.iter() {
            self.count(Part::Rest, key, start, None);
        }
    }

    /// A note of one of the two, of the top line above a bass.
    fn count(&mut self, voice: Part, key: u8, at: Time, bass: Option<u8>) {
        let pc = PitchClass::of_key(key);
        match voice {
            Part::Top => self.top[pc.index()] += ONSET,
            Part::Rest => self.rest[pc.index()] += ONSET,
        }
        // As the lower of two neighbours, and as the upper.
        let roles = [(pc, Part::Top), (pc.up(-1), Part::Rest)];
        for (lower, first) in roles {
            for (n, pair) in self.pairs[lower.index()].iter_mut().enumerate() {
                let its_own = (voice == first) == (n == 0);
                if !its_own {
                    *pair = Pair::default();
                    continue;
                }
                if pair.last != Some(voice) {
                    if at.since(pair.at) > SPAN {
                        *pair = Pair::default();
                    }
                    pair.answers += u8::from(pair.last.is_some() && pair.answers < ANSWERS);
                    (pair.last, pair.at) = (Some(voice), at);
                }
                if let Some(bass) = bass {
                    pair.basses = pair.basses.with(PitchClass::of_key(bass));
                }
            }
        }
    }

    /// A step of the grid, with the tonality established. True if the report changes.
    pub fn step(
        &mut self,
        at: Time,
        keys: &Keys,
        here: Option<Tonality>,
        catalogue: &Catalogue,
    ) -> bool {
        let held = keys.held();
        if self.stroke.is_some_and(|s| at.since(s.start) >= STROKE) {
            self.settle(held);
        }
        if !keys.sounding().is_empty() {
            for pc in 0..12 {
                self.top[pc] *= self.keep;
                self.rest[pc] *= self.keep;
            }
            for key in (self.line & held).iter() {
                self.top[PitchClass::of_key(key).index()] += self.step;
            }
            for key in (self.under & held).iter() {
                self.rest[PitchClass::of_key(key).index()] += self.step;
            }
        }
        let likely = here.and_then(|here| self.differing(at, here, catalogue));
        if likely != self.likely {
            (self.likely, self.since) = (likely, at);
        }
        let lasted = at.since(self.since);
        let before = self.said;
        match likely {
            Some(_) if lasted >= HOLD => self.said = likely,
            None if lasted >= LET_GO => self.said = None,
            _ => {}
        }
        // Drop a report about another center.
        self.said = self
            .said
            .filter(|a| here.is_some_and(|h| h.center == a.top.center));
        self.said != before
    }

    /// What will be reported if it lasts.
    fn differing(&self, at: Time, here: Tonality, catalogue: &Catalogue) -> Option<Polymodal> {
        // Of a chord that the mode borrows the top line has the altered note as well, but not
        // above the center.
        let answered = |p: &Pair| {
            p.answers >= ANSWERS && at.since(p.at) <= SPAN && p.basses.contains(here.center)
        };
        if !self.pairs.iter().flatten().any(answered) {
            return None;
        }
        let top = fitting(&self.top, here, catalogue)?;
        let rest = fitting(&self.rest, here, catalogue)?;
        let forms = catalogue.all_forms(here);
        let (above, below) = (catalogue.set(top), catalogue.set(rest));
        let (sum_top, sum_rest) = (total(self.top), total(self.rest));
        let tells = |own: PitchClass, other: PitchClass| {
            // A degree that moves is in two forms by right.
            let moves = forms.contains(own) && forms.contains(other);
            let alone = above.minus(below).contains(own) && below.minus(above).contains(other);
            !moves
                && alone
                && self.top[own.index()] >= TELLING * sum_top
                && self.rest[other.index()] >= TELLING * sum_rest
        };
        let differ = PitchClass::all().any(|lower| {
            let [first, second] = &self.pairs[lower.index()];
            let upper = lower.up(1);
            answered(first) && tells(lower, upper) || answered(second) && tells(upper, lower)
        });
        differ.then_some(Polymodal { top, rest })
    }
}

/// The mode on the center of `here` that has all notes that are clearly in a window:
/// that of `here`, or else the one with the fewest others, then the nearest to it.
fn fitting(window: &PitchClassProfile, here: Tonality, catalogue: &Catalogue) -> Option<Tonality> {
    let sum = total(*window);
    let clear: PitchClassSet = PitchClass::all()
        .filter(|pc| window[pc.index()] > CLEAR * sum)
        .collect();
    if clear.len() < ENOUGH {
        return None;
    }
    let own = catalogue.set(here);
    let fits = |set: PitchClassSet| {
        let inside = PitchClass::all().filter(|&pc| set.contains(pc));
        clear.is_subset(set) && total(inside.map(|pc| window[pc.index()])) >= FITS * sum
    };
    if fits(own) {
        return Some(here);
    }
    let mut best: Option<((usize, usize), ModeId)> = None;
    for (mode, _) in catalogue.iter() {
        let set = catalogue.set(Tonality { mode, ..here });
        let far = (set.minus(clear).len(), set.minus(own).len());
        if fits(set) && best.is_none_or(|(least, _)| far < least) {
            best = Some((far, mode));
        }
    }
    best.map(|(_, mode)| Tonality { mode, ..here })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::monitor::fresh;
    use crate::engine::{Change, Monitor, Observer};
    use crate::midi::{Channel, Event};

    /// What was said, and when in seconds.
    #[derive(Default, Debug, PartialEq)]
    struct Changes(Vec<(f64, Option<Polymodal>)>);

    impl Observer for Changes {
        fn change(&mut self, at: Time, change: Change) {
            if let Change::Polymodal(polymodal) = change {
                self.0.push((at.seconds(), polymodal));
            }
        }
    }

    /// Keys from and to a second.
    #[derive(Clone, Debug, Default)]
    struct Playing(Vec<(f64, f64, u8)>);

    impl Playing {
        /// Bars of two seconds: a chord and a melody that shares them evenly, again and
        /// again. Keys are held for so much of their length.
        fn bars(rounds: usize, held: f64, bars: &[(&[u8], &[u8])]) -> Playing {
            let mut all = Playing::default();
            let bars = bars.iter().cycle().take(rounds * bars.len());
            for (n, (chord, melody)) in bars.enumerate() {
                let start = 0.2 + 2.0 * n as f64;
                for &key in *chord {
                    all.0.push((start, start + 2.0 * held, key));
                }
                let each = 2.0 / melody.len() as f64;
                for (i, &key) in melody.iter().enumerate() {
                    // Never quite with the chord.
                    let at = start + 0.008 + each * i as f64;
                    all.0.push((at, at + each * held, key));
                }
            }
            all
        }

        fn up(mut self, by: i32) -> Playing {
            for note in &mut self.0 {
                note.2 = (i32::from(note.2) + by) as u8;
            }
            self
        }

        fn events(&self) -> Vec<(Time, Event)> {
            let channel = Channel::ALL[0];
            let mut all: Vec<(Time, Event)> = Vec::new();
            for &(from, to, key) in &self.0 {
                let velocity = 70;
                let on = Event::NoteOn {
                    channel,
                    key,
                    velocity,
                };
                all.push((Time::from_seconds(from), on));
                all.push((Time::from_seconds(to), Event::NoteOff { channel, key }));
            }
            all.sort_by_key(|(at, e)| (*at, !e.releases()));
            all
        }

        /// With the damper changed on every bar, if it is used.
        fn pedalled(&self) -> Vec<(Time, Event)> {
            let channel = Channel::ALL[0];
            let mut all = self.events();
            let end = all.last().map_or(0.0, |e| e.0.seconds());
            for bar in 0..(end / 2.0) as usize {
                let at = 0.2 + 2.0 * bar as f64;
                for (at, value) in [(at + 0.02, 0), (at + 0.12, 127)] {
                    let at = Time::from_seconds(at);
                    all.push((at, Event::Damper { channel, value }));
                }
            }
            all.sort_by_key(|(at, e)| (*at, !e.releases()));
            all
        }
    }

    fn hear(events: &[(Time, Event)]) -> (Changes, Monitor) {
        let mut m = fresh();
        let mut told = Changes::default();
        for &(at, event) in events {
            m.on_event(at, event, &mut told);
        }
        m.advance_to(m.now() + Time::millis(500), &mut told);
        (told, m)
    }

    fn polymodal(top: &str, rest: &str) -> Option<Polymodal> {
        let t = |name| Some(Catalogue::standard().parse_tonality(name).ok()?.tonality);
        Some(Polymodal {
            top: t(top)?,
            rest: t(rest)?,
        })
    }

    const C: &[u8] = &[48, 52, 55];
    const F: &[u8] = &[53, 57, 60];
    const G: &[u8] = &[55, 59, 62];

    /// A melody in Lydian above the chords of C major.
    const LYDIAN: [(&[u8], &[u8]); 4] = [
        (C, &[76, 78, 79, 83]),
        (F, &[84, 83, 81, 79]),
        (G, &[78, 79, 74, 83]),
        (C, &[79, 78, 76, 72]),
    ];

    #[test]
    fn a_melody_in_another_mode_than_its_chords_is_said() {
        for held in [0.95, 1.04] {
            let (told, m) = hear(&Playing::bars(4, held, &LYDIAN).events());
            let expected = polymodal("C lydian", "C ionian");
            assert!(expected.is_some());
            assert_eq!(
                m.reading().polymodal,
                expected,
                "{told:?} {:?}",
                m.reading().here
            );
            let (first, _) = told.0[0];
            assert!((8.0..24.0).contains(&first), "{told:?}");
            assert_eq!(told.0.len(), 1, "{told:?}");
        }
    }

    #[test]
    fn so_it_is_under_the_pedal() {
        let (told, m) = hear(&Playing::bars(4, 0.9, &LYDIAN).pedalled());
        assert_eq!(
            m.reading().polymodal,
            polymodal("C lydian", "C ionian"),
            "{told:?}"
        );
    }

    #[test]
    fn a_blue_third_above_major_chords_is_said() {
        let bars: [(&[u8], &[u8]); 4] = [
            (&[48, 52, 58], &[79, 75, 77, 75, 72, 70, 72, 75]),
            (&[48, 53, 57], &[77, 75, 72, 70, 72, 79]),
            (&[48, 52, 58], &[75, 77, 79, 82, 79, 77, 75, 72]),
            (&[50, 55, 58], &[74, 77, 79, 77, 75, 72]),
        ];
        let (told, m) = hear(&Playing::bars(4, 0.9, &bars).events());
        let said = m.reading().polymodal.map(|a| a.top);
        let here = m.reading().here.map(|h| h.spelled.tonality);
        let third = said.map(|t| Catalogue::standard().set(t).contains(t.center.up(3)));
        assert_eq!(third, Some(true), "{told:?} in {here:?}");
    }

    #[test]
    fn it_transposes_and_moves_in_time() {
        let bare = |by: i32, later: f64| {
            let mut playing = Playing::bars(4, 0.9, &LYDIAN).up(by);
            for note in &mut playing.0 {
                (note.0, note.1) = (note.0 + later, note.1 + later);
            }
            let (told, _) = hear(&playing.events());
            let turned = |t: Tonality| (t.center.up(-by), t.mode);
            let said = told.0.into_iter().map(|(at, a)| {
                let ms = ((at - later) * 1000.0).round() as u64;
                (ms, a.map(|a| (turned(a.top), turned(a.rest))))
            });
            said.collect::<Vec<_>>()
        };
        let here = bare(0, 0.0);
        assert!(!here.is_empty());
        for by in [-12, -5, 1, 2, 6, 11] {
            assert_eq!(bare(by, 0.0), here, "{by}");
        }
        assert_eq!(bare(3, 71.26), here);
    }

    /// Whatever the clock does between the events.
    #[test]
    fn batching_changes_nothing() {
        let events = Playing::bars(4, 0.9, &LYDIAN).events();
        let (told, _) = hear(&events);
        let mut m = fresh();
        let mut often = Changes::default();
        for (at, event) in events {
            while m.now() + Time::millis(17) < at {
                m.advance_to(m.now() + Time::millis(17), &mut often);
            }
            m.on_event(at, event, &mut often);
        }
        m.advance_to(m.now() + Time::millis(500), &mut often);
        assert_eq!(told, often);
    }

    #[test]
    fn after_a_long_rest_nothing_is_said() {
        let mut playing = Playing::bars(4, 0.9, &LYDIAN);
        let (_, m) = hear(&playing.events());
        assert!(m.reading().polymodal.is_some());
        playing.0.push((60.0, 61.0, 60));
        let (_, m) = hear(&playing.events());
        assert_eq!(m.reading().polymodal, None);
    }

    fn silent(why: &str, rounds: usize, bars: &[(&[u8], &[u8])]) {
        for by in [0, 5] {
            let playing = Playing::bars(rounds, 0.95, bars).up(by);
            for events in [playing.events(), playing.pedalled()] {
                let (told, m) = hear(&events);
                assert_eq!(told, Changes::default(), "{why}");
                assert!(m.reading().here.is_some(), "{why}: it was music");
            }
        }
    }

    #[test]
    fn what_is_in_one_mode_says_nothing() {
        let plain = LYDIAN.map(|(chord, melody)| {
            let melody: Vec<u8> = melody
                .iter()
                .map(|&k| if k == 78 { 77 } else { k })
                .collect();
            (chord, melody)
        });
        let plain: Vec<(&[u8], &[u8])> = plain.iter().map(|(c, m)| (*c, &m[..])).collect();
        silent("C major", 4, &plain);
        silent(
            "Lydian in both",
            4,
            &[
                (C, &[76, 78, 79, 83]),
                (&[50, 54, 57], &[84, 83, 81, 78]),
                (G, &[78, 79, 74, 83]),
                (C, &[79, 78, 76, 72]),
            ],
        );
        silent(
            "a passing note",
            4,
            &[
                (C, &[76, 77, 78, 79, 81, 83, 84, 83]),
                (F, &[84, 83, 81, 79, 77, 76, 74, 72]),
                (G, &[74, 77, 76, 74, 71, 74, 79, 77]),
                (C, &[76, 74, 72, 71, 72, 74, 76, 72]),
            ],
        );
        silent(
            "a lower neighbour that the melody has in no other form",
            4,
            &[
                (C, &[76, 79, 78, 79, 81, 79, 76, 72]),
                (F, &[84, 83, 81, 79, 81, 84, 81, 79]),
                (G, &[74, 79, 83, 81, 79, 74, 71, 74]),
                (C, &[76, 74, 72, 71, 72, 74, 76, 72]),
            ],
        );
        silent(
            "the dominant of the dominant",
            4,
            &[
                (C, &[76, 79, 84, 79]),
                (&[50, 57, 60], &[78, 81, 78, 74]),
                (&[55, 59, 65], &[79, 83, 81, 79]),
                (C, &[76, 74, 72, 76]),
            ],
        );
        silent(
            "the leading tone of minor above its seventh degree",
            4,
            &[
                (&[45, 52, 60], &[76, 80, 81, 83, 84, 83, 81, 76]),
                (&[43, 55, 59], &[74, 79, 83, 81, 79, 77, 76, 74]),
                (&[41, 53, 60], &[72, 77, 81, 80, 81, 84, 81, 77]),
                (&[40, 52, 59], &[76, 80, 83, 80, 78, 80, 76, 71]),
            ],
        );
    }

    #[test]
    fn in_one_hand_there_is_no_top_line() {
        let near = LYDIAN.map(|(chord, melody)| {
            // Chord and melody within an octave, around the same place.
            let low: Vec<u8> = chord.iter().map(|&k| 60 + k % 12).collect();
            let melody: Vec<u8> = melody.iter().map(|&k| 60 + k % 12).collect();
            (low, melody)
        });
        let near: Vec<(&[u8], &[u8])> = near.iter().map(|(c, m)| (&c[..], &m[..])).collect();
        silent("one hand", 4, &near);
        let alone: [(&[u8], &[u8]); 4] = LYDIAN.map(|(_, melody)| (&[][..], melody));
        silent("one voice", 4, &alone);
    }

    #[test]
    fn saying_it_allocates_nothing() {
        let events = Playing::bars(6, 0.9, &LYDIAN).events();
        let (warm, counted) = events.split_at(events.len() / 3);
        let mut m = fresh();
        let mut said = 0;
        for &(at, event) in warm {
            m.on_event(at, event, &mut ());
        }
        let info = allocation_counter::measure(|| {
            for &(at, event) in counted {
                m.on_event(at, event, &mut ());
                said += usize::from(m.reading().polymodal.is_some());
            }
        });
        assert!(said > 50, "{said}");
        assert_eq!(info.count_total, 0);
    }

    /// None of the recordings is polymodal.
    #[test]
    fn the_etudes_say_nothing() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        let files = std::fs::read_dir(folder).expect("recordings");
        let paths = files.map(|f| f.expect("a file").path());
        let paths = paths.filter(|p| p.extension().is_some_and(|e| e == "mid"));
        let mut heard = 0;
        for path in paths {
            let bytes = std::fs::read(&path).expect("a file");
            let catalogue = Catalogue::standard();
            let recording = crate::recording::read(&bytes, catalogue).expect("a recording");
            let mut told = Changes::default();
            let mut m = fresh();
            for (at, event) in recording.events() {
                m.on_event(at, event, &mut told);
            }
            assert_eq!(told, Changes::default(), "{}", path.display());
            heard += 1;
        }
        assert!(heard >= 5);
    }
}
