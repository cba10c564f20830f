//! The chords of a whole recording, in hindsight.
//!
//! Each stroke is judged from what came before it and from what comes after it
//! ([`Harmony`], as it was taught); Viterbi's algorithm (Viterbi 1967; Rabiner 1989)
//! finds the course of harmonies, and that of the bass, that is likeliest in
//! all. What sounded within a harmony then decides its kind.
//!
//! All is reckoned as seen from the first bass, so that of equals the same comes first
//! in every transposition.

use super::sounds::{Sound, Sounds};
use crate::engine::{
    Harmony, Judgement, KeySet, RootedTriad, Stroke, TRIADS, classes, likeliest, lowest,
    on_its_bass,
};
use crate::plan::{ChordSpan, TonalPlan};
use crate::theory::{Catalogue, Hearing, Kinds, PitchClass, PitchClassSet, Sonority};
use crate::time::Time;
use std::ops::Range;

/// What the way back weighs, and the price of a change of harmony and of bass, in
/// logarithms: chosen on analysts' chords (tests/training).
const BACK: f32 = 0.8;
const CHANGE: f32 = 1.0;
const CHANGE_BASS: f32 = 1.5;
/// What speaks for a chord struck together and costs no more than [`PLAIN`], and for
/// the bass under it.
const TOGETHER: f32 = 1.5;
const TOGETHER_BASS: f32 = 1.5;
const PLAIN: f32 = 0.3;
/// Chords follow a bass that was struck alone for so long.
const AFTER_BASS: Time = Time::millis(1500);
/// What speaks for the lowest note within so long, in the same harmony.
const LOWEST: f32 = 1.5;
const ABOUT: Time = Time::millis(1000);
/// A note counts in full that sounded through so much of a harmony, or for so many seconds.
const SHARE: f64 = 0.35;
const LONG: f64 = 0.5;

/// What lies between two long rests.
#[derive(Default)]
struct Stretch {
    strokes: Vec<(Stroke, Judgement)>,
    sounds: Vec<Sound>,
}

/// Gathers strokes and what sounded.
#[derive(Default)]
pub(super) struct Chords {
    now: Stretch,
    past: Vec<Stretch>,
    sounds: Sounds,
}

impl Chords {
    pub fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, another: bool) {
        if !another {
            self.now.strokes.pop();
        }
        self.now.strokes.push((*stroke, *judgement));
    }

    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.sounds.keys(at, struck, sounding);
    }

    /// What follows begins afresh.
    pub fn rest(&mut self, at: Time) {
        self.now.sounds = self.sounds.until(at);
        self.past.push(std::mem::take(&mut self.now));
    }

    pub fn finish(mut self, at: Time, plan: &TonalPlan, catalogue: &Catalogue) -> Vec<ChordSpan> {
        self.rest(at);
        self.past
            .iter()
            .flat_map(|s| spans(&s.strokes, &s.sounds, plan, catalogue))
            .collect()
    }
}

fn spans(
    strokes: &[(Stroke, Judgement)],
    sounds: &[Sound],
    plan: &TonalPlan,
    catalogue: &Catalogue,
) -> Vec<ChordSpan> {
    let Some((first, _)) = strokes.first() else {
        return Vec::new();
    };
    let from = lowest(first.sounding).map_or(PitchClass::new(0), PitchClass::of_key);
    let mut harmony = Harmony::standard(true);
    let mut both: Vec<Judgement> = strokes
        .iter()
        .rev()
        .map(|(stroke, heard)| heard.with(harmony.hear(stroke, true), BACK))
        .collect();
    both.reverse();
    let mut bass: Option<(Time, u8)> = None;
    for ((stroke, _), said) in strokes.iter().zip(&mut both) {
        let low = lowest(stroke.sounding).unwrap_or(0);
        // A chord after its bass has that bass.
        bass = bass.filter(|&(at, key)| key < low && stroke.at.since(at) < AFTER_BASS);
        if stroke.struck.count_ones() == 1 {
            bass = bass.or(Some((stroke.at, low)));
        } else if bass.is_none() {
            struck_together(stroke, said);
        }
    }

    let states: Vec<RootedTriad> = (0..12)
        .flat_map(|n| TRIADS.map(|triad| (from.up(n), triad)))
        .collect();
    let meant = course(&both, CHANGE, states.len(), |j, s| j.of(states[s]));
    figures(strokes, &meant, &mut both);
    let basses = course(&both, CHANGE_BASS, 12, |j, s| {
        j.bass[from.up(s as i32).index()]
    });

    let end = sounds.iter().map(|s| s.off).max();
    let mut out: Vec<ChordSpan> = Vec::new();
    let mut i = 0;
    while i < strokes.len() {
        let same = |k: usize| (meant[k], basses[k]) == (meant[i], basses[i]);
        let next = (i..strokes.len())
            .find(|&k| !same(k))
            .unwrap_or(strokes.len());
        let span = Span::new(strokes, i..next, end);
        let (start, stop) = (span.start, span.stop);
        let within = plan
            .regions
            .iter()
            .find(|r| r.start <= start && start < r.end)
            .map(|r| (r.tonality, r.tonic));
        let hearing = Hearing {
            scale: within.map_or(PitchClassSet::ALL, |(t, _)| catalogue.all_forms(t)),
            center: within.map(|(t, _)| t.center),
            before: out.last().and_then(|c| c.sonority.chord()),
            bassist: false,
        };
        let bass = from.up(basses[i] as i32);
        let harmony = states[meant[i]];
        let likely = |span: &Span| {
            let said = Judgement::mean(&both[span.strokes.clone()]);
            likeliest(&said, &span.heard(sounds), bass, harmony, true)
        };
        // A note or two under a harmony that goes on are a part of it.
        let whole = || {
            let moved = |k: &usize| meant[*k] != meant[i];
            let first = (0..i).rev().find(moved).map_or(0, |k| k + 1);
            let last = (next..strokes.len()).find(moved);
            Span::new(strokes, first..last.unwrap_or(strokes.len()), end)
        };
        let few = classes(span.keys).len() < 3;
        let chord = Some(&span)
            .filter(|_| !few)
            .and_then(likely)
            .or_else(|| likely(&whole()));
        let sonority = match (span.as_it_stands(bass, harmony, hearing), chord) {
            (Some(named), _) => named,
            (None, Some(chord)) => Sonority::Chord(on_its_bass(chord, hearing)),
            (None, None) => Kinds::standard().name(classes(span.keys).with(bass), bass, hearing),
        };
        // The same chord again, where only what is meant by it moved, is one.
        match out.last_mut() {
            Some(before) if before.sonority == sonority && before.end == start => {
                before.end = stop;
                before.keys |= span.keys;
            }
            _ => out.push(ChordSpan {
                start,
                end: stop,
                sonority,
                within,
                keys: span.keys,
            }),
        }
        i = next;
    }
    out
}

/// Some strokes on end.
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
    let set = classes(stroke.struck);
    let Some(low) = lowest(stroke.sounding).filter(|_| set.len() >= 3) else {
        return;
    };
    let bass = PitchClass::of_key(low);
    let kinds = Kinds::standard();
    let named = kinds.name(set.with(bass), bass, Hearing::default());
    said.bass[bass.index()] += TOGETHER_BASS;
    if let Some(c) = named.chord().filter(|c| kinds.kind(c.kind).cost <= PLAIN) {
        said.chords[kinds.kind(c.kind).triad() as usize][c.root.index()] += TOGETHER;
    }
}

/// The lowest note of a figure is its bass: that of the strokes about, in the same harmony.
fn figures(strokes: &[(Stroke, Judgement)], meant: &[usize], both: &mut [Judgement]) {
    for (k, said) in both.iter_mut().enumerate() {
        let at = strokes[k].0.at;
        let near = |i: &usize| {
            let other = strokes[*i].0.at;
            meant[*i] == meant[k] && at.since(other).max(other.since(at)) <= ABOUT
        };
        let before = (0..k).rev().take_while(near);
        let low = before
            .chain((k..strokes.len()).take_while(near))
            .filter_map(|i| lowest(strokes[i].0.sounding))
            .min();
        if let Some(low) = low {
            said.bass[PitchClass::of_key(low).index()] += LOWEST;
        }
    }
}

impl Span {
    /// `end`: when the last sound ends. There is a stroke in `range`.
    fn new(strokes: &[(Stroke, Judgement)], range: Range<usize>, end: Option<Time>) -> Span {
        let start = strokes[range.start].0.at;
        let sounding = |s: &(Stroke, Judgement)| classes(s.0.sounding);
        let own = &strokes[range.clone()];
        Span {
            start,
            stop: match strokes.get(range.end) {
                Some((stroke, _)) => stroke.at,
                None => end.unwrap_or(start).max(start),
            },
            keys: own.iter().fold(0, |k, s| k | s.0.struck),
            alone: own.iter().all(|s| sounding(s) == sounding(&own[0])),
            strokes: range,
        }
    }

    /// How much each pitch class counts, 0-1.
    fn heard(&self, sounds: &[Sound]) -> [f32; 12] {
        let whole = self.stop.since(self.start).seconds();
        let mut seconds = [0.0f64; 12];
        for &Sound { key, on, off } in sounds {
            let lap = off.min(self.stop).since(on.max(self.start)).seconds();
            seconds[PitchClass::of_key(key).index()] += lap;
        }
        let full = (SHARE * whole).clamp(1e-3, LONG);
        seconds.map(|s| (s / full).min(1.0) as f32)
    }

    /// All of it struck at once and nothing else: as it stands, if that is what is meant.
    fn as_it_stands(
        &self,
        bass: PitchClass,
        meant: RootedTriad,
        hearing: Hearing,
    ) -> Option<Sonority> {
        let (set, kinds) = (classes(self.keys), Kinds::standard());
        let named = kinds.name(set.with(bass), bass, hearing);
        let c = named.chord()?;
        let same = (c.root, kinds.kind(c.kind).triad()) == meant;
        (self.alone && set.len() >= 3 && same).then_some(named)
    }
}

/// The likeliest course through states, one for each judgement.
fn course(
    judgements: &[Judgement],
    price: f32,
    states: usize,
    likely: impl Fn(&Judgement, usize) -> f32,
) -> Vec<usize> {
    let best = |v: &[f32]| {
        let mut best = 0;
        for (s, x) in v.iter().enumerate() {
            if *x > v[best] {
                best = s;
            }
        }
        best
    };
    let mut v = vec![0.0; states];
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(judgements.len());
    for j in judgements {
        let top = best(&v);
        let from: Vec<usize> = (0..states)
            .map(|s| if v[s] >= v[top] - price { s } else { top })
            .collect();
        let moved = |s: usize| if from[s] == s { v[s] } else { v[top] - price };
        // Counted from the best, so that long music stays in range.
        let next: Vec<f32> = (0..states)
            .map(|s| moved(s) - v[top] + likely(j, s))
            .collect();
        v = next;
        back.push(from);
    }
    let mut path = vec![best(&v)];
    for from in back.iter().skip(1).rev() {
        path.push(from[path[path.len() - 1]]);
    }
    path.reverse();
    path
}
