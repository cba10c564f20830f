//! The last seconds of the music, step by step, and what can be removed from them.

use super::explanation::{CAUSES, CHORDS, ENDS, Removed};
use crate::engine::keys::Fading;
use crate::theory::{KeySet, PitchClass, PitchClassSet, Sonority};
use crate::time::Time;
use std::ops::Range;

/// Minimum number of steps of a pause after a stroke that counts as a phrase end …
const PAUSE: usize = 8;
/// … and number of them that are left of it: fewer than the features count as lingering.
const LEFT: usize = 4;

/// Something was struck.
#[derive(Clone, Copy, Debug)]
pub(super) struct Onset {
    pub key: u8,
    /// In which step, and when.
    pub step: u64,
    pub at: Time,
    /// When the stroke of the hands began that it belongs to, and how it is named.
    pub stroke: Time,
    pub sonority: Option<Sonority>,
}

/// The end of a step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    pub sounding: KeySet,
    pub fading: Fading,
    /// The key of the bass.
    pub bass: Option<u8>,
}

/// What was played.
#[derive(Clone, Debug)]
pub(super) struct Passage {
    pub steps: Vec<Step>,
    /// With their steps counted from the first of these.
    pub strikes: Vec<Onset>,
}

/// From one strike of a key to its next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Note {
    pub key: u8,
    /// Steps at whose end it may sound.
    pub from: usize,
    pub until: usize,
    /// Which strike of the passage; `None`: it was struck before.
    pub strike: Option<usize>,
}

/// What is left out in reading again.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Without {
    pub notes: Vec<Note>,
    /// These steps do not happen.
    pub cut: Range<usize>,
}

impl Passage {
    /// Everything that is removed, one thing at a time; pitch classes from `center` up.
    pub fn removable(&self, center: PitchClass) -> Vec<(Removed, Without)> {
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
        for pc in (0..12).map(|n| center.up(n)) {
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

    pub fn notes(&self) -> Vec<Note> {
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
            for key in step.sounding.iter() {
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
            let keys: KeySet = stroke.iter().map(|s| s.key).collect();
            let Some(last) = stroke.last().filter(|_| keys.classes().len() > 1) else {
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
