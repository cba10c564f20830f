//! What happens between chords, and from region to region.

use super::Analysis;
use crate::plan::{ChordSpan, Region};
use crate::theory::{
    Around, Chord, Context, Glyphs, Numeral, Pivot, Spelling, Tonality, altered, analyse, pivot,
};
use crate::time::Time;

/// The harmonies around a place in a list; those after it only in hindsight.
pub(super) fn around(spans: &[ChordSpan], i: usize, hindsight: bool) -> Around {
    let chord = |c: &ChordSpan| c.sonority.chord().filter(|_| c.end > c.start);
    let Some(this) = spans.get(i).and_then(chord) else {
        return Around::default();
    };
    let before = spans.iter().take(i).rev().filter_map(chord);
    let after = spans.iter().skip(i + 1).filter(|_| hindsight);
    Around::new(this, before, after.filter_map(chord))
}

/// The label of a chord, its root spelled as its numeral between those neighbours has it.
pub(super) fn label(a: &Analysis, c: &ChordSpan, around: Around) -> String {
    a.notation
        .sonority_between(c.sonority, c.within, around, a.catalogue)
}

/// What a chord is in its tonality among those harmonies, for every format to write.
pub(super) fn numeral(a: &Analysis, c: &ChordSpan, around: Around) -> Option<Numeral> {
    let context = Context::new(c.within?).among(around);
    Some(analyse(c.sonority.chord()?, &context, a.catalogue))
}

/// A region's tonality with its tonic as the user wants it.
fn placed(a: &Analysis, r: &Region) -> (Tonality, Spelling) {
    let tonic = a.notation.tonic(r.tonality, r.tonic, a.catalogue);
    (r.tonality, tonic)
}

/// The common chord of a change of center, by the chords as heard, and when it began.
pub(super) fn common_chord(a: &Analysis, before: &Region, r: &Region) -> Option<(Time, Pivot)> {
    if before.tonality.center == r.tonality.center {
        return None;
    }
    let first = before.since.min(before.start);
    let inside = |c: &&ChordSpan| c.end > c.start && c.end > first && c.start < r.end;
    let spans = a.study.heard.chords().iter().filter(inside);
    // One entry for each harmony, whatever its bass does meanwhile.
    let mut harmonies: Vec<(Time, Chord)> = Vec::new();
    for (at, chord) in spans.filter_map(|c| Some((c.start, c.sonority.chord()?))) {
        let same = |l: &(Time, Chord)| (l.1.root, l.1.kind) == (chord.root, chord.kind);
        if !harmonies.last().is_some_and(same) {
            harmonies.push((at, chord));
        }
    }
    let chords: Vec<Chord> = harmonies.iter().map(|h| h.1).collect();
    let turn = r.since.min(r.start);
    let change = harmonies.iter().filter(|h| h.0 < turn).count();
    let p = pivot(
        placed(a, before),
        placed(a, r),
        &chords,
        change,
        a.catalogue,
    )?;
    Some((harmonies[p.index].0, p))
}

/// The notes that a region alters, `F→F♯`.
pub(super) fn notes_altered(a: &Analysis, before: &Region, r: &Region) -> Vec<String> {
    let arrow = match a.notation.glyphs {
        Glyphs::Unicode => "→",
        Glyphs::Ascii => "->",
    };
    // Another center is another movable do: there notes keep their letters.
    let same = before.tonality.center == r.tonality.center;
    let name = |note, (_, tonic): (Tonality, Spelling)| match same {
        true => a.notation.above(note, tonic),
        false => a.notation.name(note),
    };
    let (left, reached) = (placed(a, before), placed(a, r));
    altered(left, reached, a.catalogue)
        .iter()
        .map(|&(old, new)| format!("{}{arrow}{}", name(old, left), name(new, reached)))
        .collect()
}
