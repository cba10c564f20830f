//! The chords of a whole recording, in hindsight.
//!
//! Each stroke is judged from what came before it and from what comes after it
//! ([`Harmony`], as it was taught); Viterbi's algorithm (Viterbi 1967; Rabiner 1989)
//! finds the course of harmonies, and that of the bass, that is likeliest in
//! all. What sounded within a harmony then decides its kind.
//!
//! Everything is computed as seen from the first bass, so that ties fall alike in every
//! transposition.

use super::best::Best;
use super::progress::{Piece, Progress};
use super::progression::{self, Sheet};
use super::sounds::{Overlapping, Sound, Sounds};
use crate::engine::{
    Arrival, Degrees, HARMONIES, Harmony, Judgement, LATELY, Meant, Needs, ReadingDirection,
    RootedTriad, SILENCE, Stroke, evidence, harmonies_from, likeliest, on_its_bass, weight,
};
use crate::meter::Bars;
use crate::plan::{ChordSpan, HarmonySpan, Region};
use crate::theory::{
    Bassist, Catalogue, Chord, Hearing, KeySet, Kinds, PitchClass, PitchClassSet, Sonority,
};
use crate::time::Time;
use std::ops::Range;

/// The weight of the way back, and the price of a change of harmony and of bass, in
/// logarithms: chosen on analysts' chords (tests/training).
const BACK: f32 = 0.8;
const CHANGE: f32 = 1.0;
const CHANGE_BASS: f32 = 1.5;
/// The bonus of a plain chord struck together, and of the bass under it.
const TOGETHER: f32 = 1.5;
const TOGETHER_BASS: f32 = 1.5;
/// A chord follows a bass that was struck alone within this time.
const AFTER_BASS: Time = Time::millis(1500);
/// The bonus of the lowest note within this time, in the same harmony.
const LOWEST: f32 = 1.5;
const ABOUT: Time = Time::millis(1000);
/// A note counts in full that sounded through this share of a harmony, or for this many
/// seconds.
const SHARE: f64 = 0.35;
const LONG: f64 = 0.5;

/// Number of strokes that are worked on at once. Longer stretches are worked out a block at a
/// time, so that judgements are kept for no more strokes than this.
pub(super) const BLOCK: usize = 4096;
/// Gathers strokes and what sounded between two long rests, and finds the chords.
pub(super) struct Chords {
    strokes: Vec<Stroke>,
    /// What was said of each as it was heard; empty where there are more than a block.
    heard: Vec<Judgement>,
    sounds: Sounds,
    forward: Harmony,
    backward: Harmony,
    /// [`BLOCK`], or less in tests.
    block: usize,
    bars: Option<Bars>,
    found: Vec<ChordSpan>,
    harmonies: Vec<HarmonySpan>,
}

impl Chords {
    pub fn new(block: usize, bars: Option<Bars>) -> Chords {
        Chords {
            strokes: Vec::new(),
            heard: Vec::new(),
            sounds: Sounds::default(),
            forward: Harmony::standard(ReadingDirection::Forward),
            backward: Harmony::standard(ReadingDirection::Backward),
            block,
            bars,
            found: Vec::new(),
            harmonies: Vec::new(),
        }
    }

    pub fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, arrival: Arrival) {
        if arrival == Arrival::Joins {
            self.strokes.pop();
            self.heard.truncate(self.strokes.len());
        }
        self.strokes.push(*stroke);
        if self.strokes.len() <= self.block {
            self.heard.push(*judgement);
        } else {
            self.heard = Vec::new();
        }
    }

    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.sounds.keys(at, struck, sounding);
    }

    /// An aside is over: what sounded in it is let go.
    pub fn come_back(&mut self, at: Time) {
        self.sounds.until(at);
    }

    /// Finds the chords so far: what follows begins afresh. `regions`: the plan up to here.
    pub fn close<B>(
        &mut self,
        at: Time,
        regions: &[Region],
        catalogue: &Catalogue,
        progress: &mut Progress<B>,
    ) -> Result<(), B> {
        let sounds = self.sounds.until(at);
        let strokes = std::mem::take(&mut self.strokes);
        let heard = std::mem::take(&mut self.heard);
        if let Some(first) = strokes.first() {
            let from = first
                .sounding
                .lowest()
                .map_or(PitchClass::new(0), PitchClass::of_key);
            let end = sounds.iter().map(|s| s.off).max().unwrap_or(at);
            let bars = self.bars.clone();
            let mut sheet = Sheet::new(&strokes, end, (regions, catalogue), bars.as_ref());
            let courses = self.courses(&strokes, heard, (at, from), &mut sheet, progress)?;
            self.harmonies.extend(sheet.finish());
            let chords = spans(&strokes, &sounds, &courses, regions, catalogue);
            self.found.extend(chords);
        }
        Ok(())
    }

    /// All chords, and the harmonies at their own pace.
    pub fn finish(self) -> (Vec<ChordSpan>, Vec<HarmonySpan>) {
        (self.found, self.harmonies)
    }

    /// The likeliest courses of harmony and bass through strokes, as seen from `from`; what
    /// is meant at the harmony's own pace goes to the `sheet`.
    ///
    /// They need what is said of each stroke from before it and from after it, stroke by
    /// stroke. So the way back is gone once as far as the first block, remembering where each
    /// block begins, and then block by block.
    fn courses<B>(
        &mut self,
        strokes: &[Stroke],
        mut heard: Vec<Judgement>,
        (at, from): (Time, PitchClass),
        sheet: &mut Sheet,
        progress: &mut Progress<B>,
    ) -> Result<Courses, B> {
        let (count, size) = (strokes.len(), self.block);
        let blocks = count.div_ceil(size);
        self.backward.reset();
        let mut places = Vec::with_capacity(blocks);
        for block in (1..blocks).rev() {
            places.push(self.backward.state());
            for stroke in strokes[block * size..count.min((block + 1) * size)]
                .iter()
                .rev()
            {
                self.backward.hear(stroke, Arrival::Begins);
                progress.done(Piece::StrokeAgain)?;
            }
        }
        let states = harmonies_from(from);
        let mut harmonies = Best::<HARMONIES, Judgement>::new();
        let mut meant = Vec::with_capacity(count);
        let mut said = Vec::with_capacity(count);
        let mut decided = |(state, both): (usize, Judgement)| {
            meant.push(states[state]);
            said.push(StrokeEvidence {
                bass: both.bass,
                degrees: both.degrees_on(states[state].0),
            });
        };
        let bars = sheet.bars;
        let mut at_pace = Best::<HARMONIES, Judgement>::new();
        let mut paced = |(state, both): (usize, Judgement)| {
            let harmony = states[state];
            sheet.take(harmony, Meant::by(&both, harmony));
        };
        let mut bass: Option<(Time, u8)> = None;
        self.forward.reset();
        for block in 0..blocks {
            let first = block * size;
            let next = |k: usize| strokes.get(first + k + 1).map_or(at, |s| s.at);
            let strokes = &strokes[first..count.min(first + size)];
            if blocks > 1 {
                heard.clear();
                for stroke in strokes {
                    heard.push(*self.forward.hear(stroke, Arrival::Begins));
                    progress.done(Piece::StrokeAgain)?;
                }
            }
            if block > 0
                && let Some(place) = places.pop()
            {
                self.backward.restore(&place);
            }
            for (heard, stroke) in heard.iter_mut().zip(strokes).rev() {
                *heard = heard.with(self.backward.hear(stroke, Arrival::Begins), BACK);
                progress.done(Piece::StrokeAgain)?;
            }
            for (k, (both, stroke)) in heard.iter_mut().zip(strokes).enumerate() {
                let low = stroke.sounding.lowest().unwrap_or(0);
                // A chord after its bass has that bass.
                bass = bass.filter(|&(at, key)| key < low && stroke.at.since(at) < AFTER_BASS);
                if stroke.struck.len() == 1 {
                    bass = bass.or(Some((stroke.at, low)));
                } else if bass.is_none() {
                    struck_together(stroke, both);
                }
                let likely = states.map(|harmony| both.of(harmony));
                harmonies.go_on(&likely, CHANGE, *both, &mut decided);
                let stands = weight(next(k).since(stroke.at).seconds());
                let likely = evidence(both, stands, &states);
                let price = progression::price(bars, stroke.at);
                at_pace.go_on(&likely, price, *both, &mut paced);
                progress.done(Piece::StrokeDecided)?;
            }
        }
        harmonies.finish(&mut decided);
        at_pace.finish(&mut paced);

        figures(strokes, &meant, &mut said);
        let mut course = Best::<12, ()>::new();
        let mut basses = Vec::with_capacity(count);
        let mut decided = |(state, ()): (usize, ())| basses.push(from.up(state as i32));
        for said in &said {
            let likely = std::array::from_fn(|s| said.bass[from.up(s as i32).index()]);
            course.go_on(&likely, CHANGE_BASS, (), &mut decided);
        }
        course.finish(&mut decided);
        Ok(Courses {
            meant,
            basses,
            said,
        })
    }
}

/// What is meant by each stroke.
struct Courses {
    meant: Vec<RootedTriad>,
    basses: Vec<PitchClass>,
    said: Vec<StrokeEvidence>,
}

/// What is said of a stroke, as far as it matters once its harmony is known.
struct StrokeEvidence {
    bass: [f32; 12],
    /// On the root that is meant.
    degrees: Degrees,
}

fn spans(
    strokes: &[Stroke],
    sounds: &[Sound],
    courses: &Courses,
    mut regions: &[Region],
    catalogue: &Catalogue,
) -> Vec<ChordSpan> {
    let end = sounds.iter().map(|s| s.off).max();
    let (mut of_span, mut of_run) = (Overlapping::new(sounds), Overlapping::new(sounds));
    let mut out: Vec<ChordSpan> = Vec::new();
    // Strokes of one harmony, and in it those over one bass.
    for run in runs(strokes, sounds, &courses.meant) {
        let harmony = courses.meant[run.start];
        let whole = Span::new(strokes, run.clone(), end);
        let mut of_whole: Option<(Degrees, [f32; 12])> = None;
        let mut start = run.start;
        for basses in courses.basses[run].chunk_by(|a, b| a == b) {
            let span = Span::new(strokes, start..start + basses.len(), end);
            start += basses.len();
            let bass = courses.basses[span.strokes.start];
            // Regions that are over stay over: spans come in order of time.
            let over = regions.iter().take_while(|r| r.end <= span.start).count();
            regions = &regions[over..];
            let mut within = regions.iter().take_while(|r| r.start <= span.start);
            let within = within.find(|r| span.start < r.end);
            let within = within.map(|r| r.spelled);
            let hearing = Hearing {
                scale: within.map_or(PitchClassSet::ALL, |t| catalogue.all_forms(t.tonality)),
                center: within.map(|t| t.tonality.center),
                before: out.last().and_then(|c| c.sonority.chord()),
                bassist: Bassist::Absent,
            };
            let likely = |degrees: &Degrees, heard: &[f32; 12]| {
                likeliest(degrees, heard, bass, harmony, Needs::TwoOfATriad)
            };
            let few = span.keys.classes().len() < 3;
            let mut chord = |of_whole: &mut Option<(Degrees, [f32; 12])>| {
                let own = (!few)
                    .then(|| likely(&courses.mean(&span), &span.heard(&mut of_span)))
                    .flatten();
                // A note or two under a harmony that goes on are a part of it.
                own.or_else(|| {
                    let (degrees, heard) = of_whole
                        .get_or_insert_with(|| (courses.mean(&whole), whole.heard(&mut of_run)));
                    likely(degrees, heard)
                })
            };
            let stands = span.as_it_stands(bass, harmony, hearing);
            let sonority = stands.unwrap_or_else(|| match chord(&mut of_whole) {
                Some(chord) => {
                    let chord = on_its_bass(chord, hearing);
                    without_its_third(chord, strokes, &whole).unwrap_or(Sonority::Chord(chord))
                }
                None => Kinds::standard().name(span.keys.classes().with(bass), bass, hearing),
            });
            // The same chord again, where only the harmony meant has changed, is one span.
            match out.last_mut() {
                Some(before) if before.sonority == sonority && before.end == span.start => {
                    before.end = span.stop;
                    before.keys |= span.keys;
                }
                _ => out.push(ChordSpan {
                    start: span.start,
                    end: span.stop,
                    sonority,
                    within,
                    keys: span.keys,
                }),
            }
        }
    }
    out
}

/// Strokes of one harmony, without a silence between them.
fn runs(strokes: &[Stroke], sounds: &[Sound], meant: &[RootedTriad]) -> Vec<Range<usize>> {
    let mut sounds: Vec<&Sound> = sounds.iter().collect();
    sounds.sort_by_key(|sound| sound.on);
    let mut sounds = sounds.into_iter().peekable();
    let mut runs: Vec<Range<usize>> = Vec::new();
    let mut over = Time::default();
    for (k, stroke) in strokes.iter().enumerate() {
        while let Some(sound) = sounds.next_if(|sound| sound.on < stroke.at) {
            over = over.max(sound.off);
        }
        let goes_on = k > 0 && meant[k - 1] == meant[k] && stroke.at.since(over) < SILENCE;
        match runs.last_mut() {
            Some(run) if goes_on => run.end = k + 1,
            _ => runs.push(k..k + 1),
        }
    }
    runs
}

/// The two notes of a harmony whose third was not heard in it, nor shortly before: an interval,
/// whatever chord is expected.
fn without_its_third(chord: Chord, strokes: &[Stroke], harmony: &Span) -> Option<Sonority> {
    let thirds = [3, 4].map(|n| chord.root.up(n));
    let third = thirds.into_iter().find(|&pc| chord.set().contains(pc))?;
    let own = &strokes[harmony.strokes.clone()];
    let before = strokes[..harmony.strokes.start].iter().rev();
    let lately = before.take_while(|s| harmony.start.since(s.at) <= LATELY);
    let has_it = |s: &Stroke| s.sounding.classes().contains(third);
    if own.iter().chain(lately).any(has_it) {
        return None;
    }
    let sounding: KeySet = own.iter().map(|s| s.sounding).collect();
    let notes = match harmony.keys.classes().len() {
        1 => sounding,
        _ => harmony.keys,
    };
    let low = PitchClass::of_key(notes.lowest()?);
    let mut above = notes.classes().iter().filter(|&pc| pc != low);
    let high = above.next()?;
    above
        .next()
        .is_none()
        .then_some(Sonority::Interval { low, high })
}

impl Courses {
    /// The mean of what is said of the degrees in strokes on one root.
    fn mean(&self, span: &Span) -> Degrees {
        let said = &self.said[span.strokes.clone()];
        let mut mean = said[0].degrees;
        for said in &said[1..] {
            for (sum, x) in mean.iter_mut().zip(said.degrees) {
                *sum += x;
            }
        }
        mean.map(|sum| sum / said.len() as f32)
    }
}

/// Consecutive strokes.
struct Span {
    strokes: Range<usize>,
    start: Time,
    stop: Time,
    /// What was struck.
    keys: KeySet,
    /// Whether the same notes sound at all of its strokes.
    alone: bool,
}

/// A plain chord struck together is more likely meant than not, over its own bass.
fn struck_together(stroke: &Stroke, said: &mut Judgement) {
    let set = stroke.struck.classes();
    let Some(low) = stroke.sounding.lowest().filter(|_| set.len() >= 3) else {
        return;
    };
    let bass = PitchClass::of_key(low);
    let kinds = Kinds::standard();
    let named = kinds.name(set.with(bass), bass, Hearing::default());
    said.bass[bass.index()] += TOGETHER_BASS;
    if let Some(c) = named.chord().filter(|c| kinds.kind(c.kind).is_plain()) {
        said.chords[kinds.kind(c.kind).triad() as usize][c.root.index()] += TOGETHER;
    }
}

/// The bass of a figure is its lowest note: the lowest of the strokes around, in the same
/// harmony.
fn figures(strokes: &[Stroke], meant: &[RootedTriad], said: &mut [StrokeEvidence]) {
    for (k, said) in said.iter_mut().enumerate() {
        let at = strokes[k].at;
        let near = |i: &usize| {
            let other = strokes[*i].at;
            meant[*i] == meant[k] && at.since(other).max(other.since(at)) <= ABOUT
        };
        let before = (0..k).rev().take_while(near);
        let low = before
            .chain((k..strokes.len()).take_while(near))
            .filter_map(|i| strokes[i].sounding.lowest())
            .min();
        if let Some(low) = low {
            said.bass[PitchClass::of_key(low).index()] += LOWEST;
        }
    }
}

impl Span {
    /// `end`: when the last sound ends. There is a stroke in `range`.
    fn new(strokes: &[Stroke], range: Range<usize>, end: Option<Time>) -> Span {
        let start = strokes[range.start].at;
        let sounding = |s: &Stroke| s.sounding.classes();
        let own = &strokes[range.clone()];
        Span {
            start,
            stop: match strokes.get(range.end) {
                Some(stroke) => stroke.at,
                None => end.unwrap_or(start).max(start),
            },
            keys: own.iter().map(|s| s.struck).collect(),
            alone: own.iter().all(|s| sounding(s) == sounding(&own[0])),
            strokes: range,
        }
    }

    /// How much each pitch class counts, 0-1.
    fn heard(&self, sounds: &mut Overlapping) -> [f32; 12] {
        let whole = self.stop.since(self.start).seconds();
        let mut seconds = [0.0f64; 12];
        for &Sound { key, on, off } in sounds.with(self.start, self.stop) {
            let lap = off.min(self.stop).since(on.max(self.start)).seconds();
            seconds[PitchClass::of_key(key).index()] += lap;
        }
        let full = (SHARE * whole).clamp(1e-3, LONG);
        seconds.map(|s| (s / full).min(1.0) as f32)
    }

    /// The name of its notes as they stand, if the same ones sound at all of its strokes and
    /// are the harmony meant.
    fn as_it_stands(
        &self,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let (set, kinds) = (self.keys.classes(), Kinds::standard());
        let named = kinds.name(set.with(bass), bass, hearing);
        let c = named.chord()?;
        let same = (c.root, kinds.kind(c.kind).triad()) == meant;
        (self.alone && set.len() >= 3 && same).then_some(named)
    }
}
