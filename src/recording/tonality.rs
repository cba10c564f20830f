//! A tonality in the words of a recording, with what is open of it: `D dorian / 6 aeolian`.

use crate::plan::Open;
use crate::theory::{Catalogue, Glyphs, SpelledTonality};

/// The tonality; and the open degrees, with the modes that fit as well.
pub(super) fn written(spelled: SpelledTonality, open: Open, catalogue: &Catalogue) -> String {
    let SpelledTonality { tonality, tonic } = spelled;
    let id = &catalogue.mode(tonality.mode).id;
    let mut text = format!("{} {id}", tonic.text(Glyphs::Ascii));
    if !open.is_empty() {
        text += " /";
        for number in open.numbers() {
            text += &format!(" {number}");
        }
        for mode in open.others() {
            text += &format!(" {}", catalogue.mode(mode).id);
        }
    }
    text
}

/// What was written; none where a mode is not known here.
pub(super) fn read(text: &str, catalogue: &Catalogue) -> Option<(SpelledTonality, Open)> {
    let (text, open) = text.split_once(" / ").unwrap_or((text, ""));
    let spelled = catalogue.parse_tonality(text).ok()?;
    let mut degrees = 0;
    let mut modes = Vec::new();
    for word in open.split_whitespace() {
        match word.parse::<u8>() {
            Ok(n) if (1..=7).contains(&n) => degrees |= 1 << (n - 1),
            Ok(_) => return None,
            Err(_) => modes.push(catalogue.iter().find(|(_, mode)| mode.id == word)?.0),
        }
    }
    // Modes are open only where a degree is.
    (degrees != 0 || modes.is_empty()).then(|| (spelled, Open::new(degrees, modes)))
}

/// A moment or a length in seconds.
pub(super) fn seconds(text: &str) -> Option<f64> {
    let value: f64 = text.parse().ok()?;
    (value.is_finite() && value >= 0.0).then_some(value)
}
