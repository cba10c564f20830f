//! A corrected sitting as labelled music, in the format that tests/training/corpus.py reads: a
//! line of JSON.

use crate::correction::{Center, CorrectedPlan};
use crate::study::{ByPlan, Sound};
use crate::theory::Catalogue;
use crate::time::Time;
use serde::Serialize;

/// Seconds in a quarter: those of the files that we write, 120 to the minute.
const QUARTER: f64 = 0.5;

/// As music with local keys: what the training recasts, cuts and sets anew.
#[derive(Serialize)]
struct Piece<'a> {
    name: &'a str,
    kind: &'static str,
    corpus: &'static str,
    quarter: f64,
    /// Onset and length in quarters, key.
    notes: Vec<(f64, f64, u8)>,
    segments: Vec<Segment<'a>>,
    /// Start, end, root, bass, pitch classes.
    chords: Vec<(f64, f64, usize, usize, Vec<usize>)>,
}

#[derive(Serialize)]
struct Segment<'a> {
    start: f64,
    end: f64,
    center: usize,
    mode: &'a str,
}

/// The line, with its break, and how many segments are labelled in it; none where there is no
/// note, or nothing labelled. Silence stays without a label; what the listener says has no center
/// is labelled so.
pub fn line(
    name: &str,
    sounds: &[Sound],
    corrected: &CorrectedPlan,
    by: &ByPlan,
    catalogue: &Catalogue,
) -> Result<Option<(String, usize)>, serde_json::Error> {
    let segment = |start: Time, end: Time, center, mode| Segment {
        start: round(start.seconds()),
        end: round(end.seconds()),
        center,
        mode,
    };
    let segments = corrected.stretches().filter_map(|(r, end)| match r.center {
        Center::In(spelled) => {
            let t = spelled.tonality;
            let mode = &*catalogue.mode(t.mode).id;
            Some(segment(r.start, end, t.center.index(), mode))
        }
        Center::None if r.by.is_some() => Some(segment(r.start, end, 0, "chromatic")),
        Center::None => None,
    });
    let segments: Vec<Segment> = segments.collect();
    let notes = sounds.iter().map(|s| {
        let (on, length) = (s.on.seconds(), s.off.since(s.on).seconds());
        (round(on / QUARTER), round(length / QUARTER), s.key)
    });
    let chords = by.chords.iter().filter_map(|c| {
        let chord = c.sonority.chord().filter(|_| c.end > c.start)?;
        let (start, end) = (round(c.start.seconds()), round(c.end.seconds()));
        let classes = c.set().iter().map(|pc| pc.index()).collect();
        let bass = c.sonority.bass().index();
        Some((start, end, chord.root.index(), bass, classes))
    });
    let count = segments.len();
    let piece = Piece {
        name,
        kind: "local-key",
        corpus: "sittings",
        quarter: QUARTER,
        notes: notes.collect(),
        segments,
        chords: chords.collect(),
    };
    if piece.notes.is_empty() || count == 0 {
        return Ok(None);
    }
    Ok(Some((serde_json::to_string(&piece)? + "\n", count)))
}

/// Microseconds are finer than a tick.
fn round(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}
