//! Studies to open formats, one file a format. They make bytes; writing them to
//! files is the caller's affair.

mod json;
mod text;

pub use json::analysis as analysis_json;
pub use text::analysis as analysis_text;

use crate::midi::Fault;
use crate::plan::ChordSpan;
use crate::study::Study;
use crate::theory::{Catalogue, Chord, Notation, neighbour};

/// A studied file and how it is to be written.
pub struct Analysis<'a> {
    pub file: &'a str,
    pub study: &'a Study,
    /// What could not be read of the file.
    pub faults: &'a [Fault],
    pub catalogue: &'a Catalogue,
    pub notation: &'a Notation,
}

/// The harmonies before and after a place in a list; after it only in hindsight.
fn around(spans: &[ChordSpan], i: usize, hindsight: bool) -> (Option<Chord>, Option<Chord>) {
    let chord = |c: &ChordSpan| c.sonority.chord().filter(|_| c.end > c.start);
    let Some(this) = spans.get(i).and_then(chord) else {
        return (None, None);
    };
    let before = neighbour(this, spans.iter().take(i).rev().filter_map(chord));
    let next = spans.iter().skip(i + 1).filter_map(chord);
    let after = hindsight.then(|| neighbour(this, next)).flatten();
    (before, after)
}
