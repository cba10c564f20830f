//! How much of a tonality's name may be said: what has not been heard is not claimed.

use super::look::Look;
use super::picture::Picture;
use super::wording::abbreviated;
use crate::engine::Established;
pub(super) use crate::plan::Claim;
use crate::plan::Open;
use crate::theory::{ModeId, SpelledTonality, Tonality};

/// The tonality that panels refer to (see `Reading::within`), and how much of its name may
/// be shown: all of a pinned one, and of the one established here as much as was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Reference {
    /// With its tonic as the user wants it written.
    pub spelled: SpelledTonality,
    pub open: Open,
    pub claim: Claim,
    pub pinned: bool,
}

pub(super) fn reference(picture: &Picture, look: &Look) -> Option<Reference> {
    let within = picture.reading.within()?;
    let pinned = picture.reading.pinned.is_some();
    let open = match picture.reading.here {
        Some(here) if !pinned => here.open,
        _ => Open::default(),
    };
    Some(Reference {
        spelled: look.notation.placed(within, look.catalogue),
        open,
        claim: open.claim(),
        pinned,
    })
}

impl Reference {
    /// Whether what refers to it is dimmed: because it is a guess, or because nothing is
    /// played any longer. What is pinned is never dimmed.
    pub fn is_dim(&self, picture: &Picture) -> bool {
        self.claim == Claim::Guess || (!self.pinned && picture.asleep().is_some())
    }
}

/// The names of the modes that are still possible, the likeliest first.
pub(super) fn modes(t: Tonality, open: Open, look: &Look) -> Vec<String> {
    let mode = |mode: ModeId| look.notation.mode(Tonality { mode, ..t }, look.catalogue);
    std::iter::once(t.mode)
        .chain(open.others())
        .map(mode)
        .collect()
}

/// The mode's name if enough of it was heard; a guess has a question mark.
pub(super) fn mode(t: Tonality, open: Open, look: &Look) -> Option<String> {
    let mode = look.notation.mode(t, look.catalogue);
    match open.claim() {
        Claim::Decided => Some(mode),
        Claim::Guess => Some(format!("{mode}?")),
        Claim::Undecided => None,
    }
}

/// `D Dorian`, `D Dorian?`, `D`.
pub(super) fn name(t: SpelledTonality, open: Open, look: &Look) -> String {
    let tonic = look.center(t);
    match mode(t.tonality, open, look) {
        Some(mode) => format!("{tonic} {mode}"),
        None => tonic,
    }
}

/// The same with at most `letters` letters of each word of the mode: `D Mixol`.
pub(super) fn short_name(e: &Established, letters: usize, look: &Look) -> String {
    let tonic = look.center(e.spelled);
    match mode(e.spelled.tonality, e.open, look) {
        Some(mode) => format!("{tonic} {}", abbreviated(&mode, letters)),
        None => tonic,
    }
}
