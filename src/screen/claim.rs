//! How much of a tonality's name may be said: what has not been heard is not claimed.

use super::draw::{Look, Picture};
use crate::plan::Open;
use crate::theory::{ModeId, Spelling, Tonality};

/// What is known of a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Claim {
    /// No other fits.
    Decided,
    /// One degree lies between this one and one other.
    Guess,
    /// The third, or more than one degree, has not been heard.
    Undecided,
}

pub(super) fn claim(open: Open) -> Claim {
    let mut degrees = open.numbers();
    if open.numbers().any(|n| n == 3) {
        return Claim::Undecided;
    }
    match (degrees.next(), degrees.next(), open.others().count()) {
        (None, ..) | (_, _, 0) => Claim::Decided,
        (Some(_), None, 1) => Claim::Guess,
        _ => Claim::Undecided,
    }
}

/// The tonality that panels refer to (see `Reading::within`), and how much of it may be
/// said: the pinned one whole, that here as far as it was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Reference {
    pub tonality: Tonality,
    /// As the user wants it written.
    pub tonic: Spelling,
    pub open: Open,
    pub claim: Claim,
    pub pinned: bool,
}

pub(super) fn reference(picture: &Picture, look: &Look) -> Option<Reference> {
    let (tonality, tonic) = picture.reading.within()?;
    let pinned = picture.reading.pinned.is_some();
    let open = match picture.reading.here {
        Some(here) if !pinned => here.open,
        _ => Open::default(),
    };
    Some(Reference {
        tonality,
        tonic: look.notation.tonic(tonality, tonic, look.catalogue),
        open,
        claim: claim(open),
        pinned,
    })
}

impl Reference {
    /// Whether what refers to it is to be dimmed: it is a guess, or of a picture that
    /// has stopped. What is pinned stands whatever sounds.
    pub fn is_dim(&self, picture: &Picture) -> bool {
        self.claim == Claim::Guess || (!self.pinned && picture.asleep().is_some())
    }
}

/// The modes that may still be meant, the likeliest first, as they are written.
pub(super) fn modes(t: Tonality, open: Open, look: &Look) -> Vec<String> {
    let mode = |mode: ModeId| look.notation.mode(Tonality { mode, ..t }, look.catalogue);
    std::iter::once(t.mode)
        .chain(open.others())
        .map(mode)
        .collect()
}

/// The mode where it may be said in ordinary text, a guess with a question mark.
pub(super) fn mode(t: Tonality, open: Open, look: &Look) -> Option<String> {
    let mode = look.notation.mode(t, look.catalogue);
    match claim(open) {
        Claim::Decided => Some(mode),
        Claim::Guess => Some(format!("{mode}?")),
        Claim::Undecided => None,
    }
}

/// `D Dorian`, `D Dorian?`, `D`.
pub(super) fn name(t: Tonality, tonic: Spelling, open: Open, look: &Look) -> String {
    let tonic = look.center(t, tonic);
    match mode(t, open, look) {
        Some(mode) => format!("{tonic} {mode}"),
        None => tonic,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mode_is_claimed_only_as_far_as_it_was_heard() {
        let open = |degrees: &[u8], others: u8| {
            let bits = degrees.iter().fold(0, |b, n| b | 1 << (n - 1));
            claim(Open::new(bits, (0..others).map(ModeId)))
        };
        assert_eq!(open(&[], 0), Claim::Decided);
        // Open, but whichever it is the mode is the same.
        assert_eq!(open(&[2], 0), Claim::Decided);
        assert_eq!(open(&[6], 1), Claim::Guess);
        assert_eq!(open(&[6], 2), Claim::Undecided);
        assert_eq!(open(&[2, 6], 1), Claim::Undecided);
        assert_eq!(open(&[2, 4, 6, 7], 3), Claim::Undecided);
        // Major or minor is the first thing to know.
        assert_eq!(open(&[3], 1), Claim::Undecided);
        assert_eq!(open(&[3], 0), Claim::Undecided);
    }
}
