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
    Harmony, Judgement, KeySet, RootedTriad, Stroke, TRIADS, each, likeliest, lowest, on_its_bass,
};
use crate::plan::{ChordSpan, TonalPlan};
use crate::theory::{Catalogue, Hearing, Kinds, PitchClass, PitchClassSet, Sonority};
use crate::time::Time;

/// What the way back weighs, and the price of a change of harmony and of bass, in
/// logarithms: chosen on analysts' chords (tests/training).
const BACK: f32 = 0.8;
const CHANGE: f32 = 1.0;
const NEW_BASS: f32 = 1.5;
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

    let states: Vec<RootedTriad> = (0..12)
        .flat_map(|n| TRIADS.map(|triad| (from.up(n), triad)))
        .collect();
    let meant = course(&both, CHANGE, states.len(), |j, s| j.of(states[s]));
    let basses = course(&both, NEW_BASS, 12, |j, s| {
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
        let start = strokes[i].0.at;
        let stop = match strokes.get(next) {
            Some((stroke, _)) => stroke.at,
            None => end.unwrap_or(start).max(start),
        };
        let span = Span {
            start,
            stop,
            keys: strokes[i..next].iter().fold(0, |k, s| k | s.0.struck),
        };
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
        let said = both[i..next]
            .iter()
            .skip(1)
            .fold(both[i], |all, j| all.with(j, 1.0));
        let bass = from.up(basses[i] as i32);
        let sonority = span.named(sounds, &said, states[meant[i]], bass, hearing);
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

struct Span {
    start: Time,
    stop: Time,
    keys: KeySet,
}

impl Span {
    /// The chord of a harmony that explains best what sounded.
    fn named(
        &self,
        sounds: &[Sound],
        said: &Judgement,
        meant: RootedTriad,
        bass: PitchClass,
        hearing: Hearing,
    ) -> Sonority {
        let whole = self.stop.since(self.start).seconds();
        let mut seconds = [0.0f64; 12];
        for &Sound { key, on, off } in sounds {
            let lap = off.min(self.stop).since(on.max(self.start)).seconds();
            seconds[PitchClass::of_key(key).index()] += lap;
        }
        let full = (SHARE * whole).clamp(1e-3, LONG);
        let heard = seconds.map(|s| (s / full).min(1.0) as f32);
        let set: PitchClassSet = each(self.keys).map(PitchClass::of_key).collect();
        match likeliest(said, &heard, bass, meant, true) {
            Some(chord) => Sonority::Chord(on_its_bass(chord, hearing)),
            None => Kinds::standard().name(set.with(bass), bass, hearing),
        }
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
