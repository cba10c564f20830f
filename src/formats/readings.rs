//! What else a chord might have been called.

use super::Analysis;
use crate::plan::ChordSpan;
use crate::theory::{Hearing, Kinds, SpelledTonality};

/// The other readings of the same notes in the tonality that it was heard in, best first: Am7
/// beside C6. Empty where the notes are no chord.
pub(super) fn others(a: &Analysis, c: &ChordSpan) -> Vec<String> {
    if c.sonority.chord().is_none() {
        return Vec::new();
    }
    let known = match c.within {
        None => Hearing::default(),
        Some(SpelledTonality { tonality: t, .. }) => Hearing {
            scale: a.catalogue.all_forms(t),
            center: Some(t.center),
            ..Hearing::default()
        },
    };
    let found = Kinds::standard().names(c.sonority.set(), c.sonority.bass(), known);
    std::iter::once(found.best())
        .chain(found.alternatives().iter().copied())
        .filter(|s| *s != c.sonority && s.chord().is_some())
        .map(|s| a.notation.sonority(s, c.within, a.catalogue))
        .collect()
}
