//! What happens between chords, and from region to region.

use super::Analysis;
use crate::plan::{self, ChordSpan, HarmonySpan, Region};
use crate::study::Plan;
use crate::theory::{Around, Context, Glyphs, Numeral, Pivot, analyse};
use crate::time::Time;

/// What is known of a chord: the chords before it, or those after it as well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Known {
    AsHeard,
    InHindsight,
}

impl From<Plan> for Known {
    fn from(plan: Plan) -> Known {
        match plan {
            Plan::Heard => Known::AsHeard,
            Plan::Hindsight | Plan::Corrected => Known::InHindsight,
        }
    }
}

/// The harmonies around a place in a list; those after it only in hindsight.
pub(super) fn around(spans: &[ChordSpan], i: usize, known: Known) -> Around {
    let chord = |c: &ChordSpan| c.sonority.chord().filter(|_| c.end > c.start);
    let Some(this) = spans.get(i).and_then(chord) else {
        return Around::default();
    };
    let before = spans.iter().take(i).rev().filter_map(chord);
    let after = spans
        .iter()
        .skip(i + 1)
        .filter(|_| known == Known::InHindsight);
    Around::new(this, before, after.filter_map(chord))
}

/// The label of a chord, its root spelled as its numeral between those neighbours has it.
pub(super) fn label(a: &Analysis, c: &ChordSpan, around: Around) -> String {
    a.notation
        .sonority(c.sonority, (c.within, around), a.catalogue)
}

/// What a chord is in its tonality among those harmonies, for every format to write.
pub(super) fn numeral(a: &Analysis, c: &ChordSpan, around: Around) -> Option<Numeral> {
    let context = Context::new(c.within?).among(around);
    Some(analyse(c.sonority.chord()?, &context, a.catalogue))
}

/// A harmony at its own pace, in words.
pub(super) struct Harmony {
    pub span: ChordSpan,
    pub around: Around,
    pub label: String,
    pub numeral: Option<Numeral>,
    /// The notes of the line that moves through it.
    pub line: Option<Vec<String>>,
}

/// The harmonies in words, without those that last no time.
pub(super) fn harmonies(a: &Analysis, list: &[HarmonySpan], known: Known) -> Vec<Harmony> {
    let spans: Vec<ChordSpan> = list.iter().map(|h| h.span).collect();
    let harmony = |(i, h): (usize, &HarmonySpan)| {
        let around = around(&spans, i, known);
        Harmony {
            span: h.span,
            around,
            label: label(a, &h.span, around),
            numeral: numeral(a, &h.span, around),
            line: line(a, h, around),
        }
    };
    let lasts = |(_, h): &(usize, &HarmonySpan)| h.span.end > h.span.start;
    list.iter().enumerate().filter(lasts).map(harmony).collect()
}

/// The notes of the line that moves through a harmony, if one does.
pub(super) fn line(a: &Analysis, h: &HarmonySpan, around: Around) -> Option<Vec<String>> {
    let (line, chord) = h.line.zip(h.span.sonority.chord())?;
    let root = a.notation.root(chord, (h.span.within, around), a.catalogue);
    Some(line.spelled(root).map(|n| a.notation.name(n)).collect())
}

/// The common chord of a change of center, by the chords as heard, and when it began.
pub(super) fn common_chord(a: &Analysis, before: &Region, r: &Region) -> Option<(Time, Pivot)> {
    let chords = a.study.heard.chords();
    plan::common_chord(chords, (before, r), a.notation, a.catalogue)
}

/// The notes that a region alters, `F→F♯`.
pub(super) fn notes_altered(a: &Analysis, before: &Region, r: &Region) -> Vec<String> {
    let arrow = match a.notation.glyphs {
        Glyphs::Unicode => "→",
        Glyphs::Ascii => "->",
    };
    plan::notes_altered((before, r), a.notation, a.catalogue)
        .iter()
        .map(|(old, new)| format!("{old}{arrow}{new}"))
        .collect()
}
