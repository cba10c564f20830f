//! The voicing of each chord of a recording: a part of the JSON, and a list.

use super::change::{Known, around, label};
use super::{Analysis, Words};
use crate::plan::ChordSpan;
use crate::theory::{Around, Hands, Interval, Sonority, SpelledTonality, Voicing};
use serde::Serialize;
use std::fmt::Write;

/// A voicing as readers of JSON get it.
#[derive(Serialize)]
pub struct VoicingOut {
    /// From bottom to top, with octaves: C4 is middle C.
    notes: Vec<String>,
    /// Between neighbours, by their numbers, for programs: P5, m3, M10, m17.
    intervals: Vec<String>,
    /// A guess; null where two hands cannot hold it.
    hands: Option<HandsOut>,
    /// `D over C7`, `quartal, three fourths`.
    structure: Option<String>,
}

/// Their notes, each from bottom to top.
#[derive(Serialize)]
struct HandsOut {
    left: Vec<String>,
    right: Vec<String>,
}

pub(super) fn of(a: &Analysis, c: &ChordSpan, around: Around) -> VoicingOut {
    let words = Words {
        catalogue: a.catalogue,
        notation: a.notation,
    };
    let voicing = Voicing::new(c.keys.iter());
    written(&voicing, c.sonority, c.within, around, words)
}

/// The keys of a chord, spelled by what it is, the tonality that it is heard in and the
/// harmonies around it.
pub fn written(
    voicing: &Voicing,
    s: Sonority,
    within: Option<SpelledTonality>,
    around: Around,
    words: Words,
) -> VoicingOut {
    let notes = voicing.notes(s, (within, around), words.notation, words.catalogue);
    let split = |left: usize| {
        let (left, right) = notes.split_at(left.min(notes.len()));
        HandsOut {
            left: left.to_vec(),
            right: right.to_vec(),
        }
    };
    let intervals = voicing.intervals(s, within, words.catalogue);
    let hands = voicing.hands().and_then(|h| match h {
        Hands::Left => Some(split(notes.len())),
        Hands::Right => Some(split(0)),
        Hands::Both { left } => Some(split(left)),
        Hands::Beyond => None,
    });
    VoicingOut {
        hands,
        intervals: intervals.iter().map(Interval::to_string).collect(),
        structure: voicing.words(s, (within, around), words.notation, words.catalogue),
        notes,
    }
}

/// A line a chord: when, the label, the left hand | the right, the intervals, and
/// how it is built where that has a name.
pub fn list(a: &Analysis) -> String {
    let mut out = String::from("  voicings\n");
    let (spans, known) = match a.by {
        None => (a.study.heard.chords(), Known::AsHeard),
        Some(by) => (&by.chords[..], by.which.into()),
    };
    for (i, c) in spans.iter().enumerate().filter(|(_, c)| c.end > c.start) {
        let around = around(spans, i, known);
        let label = label(a, c, around);
        let v = of(a, c, around);
        let notes = match &v.hands {
            Some(h) => format!("{} | {}", h.left.join(" "), h.right.join(" ")),
            None => v.notes.join(" "),
        };
        let intervals = Voicing::new(c.keys.iter()).intervals(c.sonority, c.within, a.catalogue);
        let intervals: Vec<String> = intervals.iter().map(Interval::reduced).collect();
        let line = format!(
            "    {:>8}  {label:<14} {:<32} {:<20} {}",
            c.start.to_string(),
            notes.trim(),
            intervals.join(" "),
            v.structure.unwrap_or_default()
        );
        // Writing to a String cannot fail.
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}
