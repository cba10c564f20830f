//! Readings of the past: of a frozen picture, of an earlier chord, of the sitting played
//! back.

use crate::engine::{Established, Explanation, HarmonyNow, History, Reading, VoicedChord};
use crate::plan::{ChordSpan, HarmonySpan, Marker, Region};
use crate::theory::{KeySet, PitchClassSet};
use crate::time::Time;

/// A picture that was kept.
#[derive(Clone, Debug)]
pub(super) struct Still {
    pub reading: Reading,
    pub history: History,
    pub markers: Vec<Marker>,
    pub explanation: Option<Explanation>,
    pub now: Time,
}

impl Still {
    /// Its reading. What the player has said by a key since then counts in it as well: the
    /// pin, home, an aside, the inertia.
    pub fn seen(&self, present: Reading) -> Reading {
        Reading {
            pinned: present.pinned,
            stated: present.stated,
            aside: present.aside,
            inertia: present.inertia,
            harmony_from: present.harmony_from,
            ..self.reading
        }
    }
}

fn at(regions: &[Region], now: Time) -> Option<Established> {
    let region = regions.iter().rev().find(|r| r.start <= now)?;
    (now < region.end).then_some(Established {
        spelled: region.spelled,
        at: region.start,
        since: region.since,
        probability: region.probability,
        open: region.open,
    })
}

/// A reading with the keys of an earlier chord in the place of those that sound.
pub(super) fn with_chord(reading: Reading, span: &ChordSpan) -> Reading {
    Reading {
        held: span.keys,
        pedalled: KeySet::EMPTY,
        struck: span.keys,
        struck_at: span.start,
        chord: Some((span.sonority, span.start)),
        voiced_chord: Some(VoicedChord {
            keys: span.keys,
            sonority: span.sonority,
        }),
        ..reading
    }
}

/// The reading of a moment, as far as the history keeps it: without a contender, and without
/// what was heard lately.
pub(super) fn reading(history: &History, present: Reading, now: Time) -> Reading {
    let plan = history.plan();
    let silent = history.rests().find(|&(a, b)| a <= now && now < b);
    let bare = Reading {
        at: now,
        held: KeySet::EMPTY,
        pedalled: KeySet::EMPTY,
        damper: false,
        struck: KeySet::EMPTY,
        struck_at: Time::ZERO,
        window: [0.0; 12],
        chord: None,
        harmony: harmony_at(history, now),
        voiced_chord: None,
        here: at(&plan.regions, now),
        home: at(&plan.home, now),
        contender: None,
        collection: None,
        silent_since: silent.map(|s| s.0),
        begun: true,
        pinned: None,
        stated: None,
        aside: None,
        polymodal: None,
        heard: PitchClassSet::EMPTY,
        ranking: [None; 5],
        inertia: present.inertia,
        harmony_from: present.harmony_from,
    };
    match chord_at(history, now) {
        Some(span) if silent.is_none() => with_chord(bare, span),
        _ => bare,
    }
}

/// The chord that sounded at a moment.
pub(super) fn chord_at(history: &History, now: Time) -> Option<&ChordSpan> {
    let chords = history.chords();
    let after = chords.partition_point(|c| c.start <= now);
    let span = chords.get(after.checked_sub(1)?)?;
    (now < span.end).then_some(span)
}

/// The harmony of a moment, as it was known in the end.
fn harmony_at(history: &History, now: Time) -> Option<HarmonyNow> {
    let harmonies = history.harmonies();
    let after = harmonies.partition_point(|h| h.span.start <= now);
    let HarmonySpan { span, line } = *harmonies.get(after.checked_sub(1)?)?;
    let chord = span.sonority.chord().filter(|_| now < span.end)?;
    let since = span.start;
    Some(HarmonyNow {
        chord,
        since,
        doubted: false,
        line,
    })
}

/// A reading without any name, for a class that is to find them.
pub(super) fn without_names(reading: Reading) -> Reading {
    Reading {
        chord: None,
        harmony: None,
        voiced_chord: None,
        here: None,
        home: None,
        contender: None,
        collection: None,
        pinned: None,
        stated: None,
        polymodal: None,
        ranking: [None; 5],
        ..reading
    }
}
