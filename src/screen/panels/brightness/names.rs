//! Modes, notes and what is altered, as the user writes them.

use crate::screen::claim::Reference;
use crate::screen::look::Look;
use crate::theory::{Degree, ModeId, Spelling, Tonality, spell_degree};

pub(super) fn name(mode: ModeId, reference: Option<Reference>, look: &Look) -> String {
    let center = reference.map_or(Spelling::C.pitch_class(), |r| r.spelled.tonality.center);
    look.notation
        .mode(Tonality { center, mode }, look.catalogue)
}

pub(super) fn note<'a>(tonic: Spelling, look: &'a Look) -> impl Fn(Degree) -> String + 'a {
    move |d| look.notation.above(spell_degree(tonic, d), tonic)
}

pub(super) fn degree<'a>(look: &'a Look) -> impl Fn(Degree) -> String + 'a {
    move |d| d.text(look.notation.glyphs)
}

/// `F♯ → F, B → B♭`; a note that is added and replaces none is `+ E♭`.
pub(super) fn said_alterations(
    all: &[(Option<Degree>, Degree)],
    look: &Look,
    text: impl Fn(Degree) -> String,
) -> String {
    let becomes = look.sign("→", "->");
    let one = |&(from, to): &(Option<Degree>, Degree)| match from {
        Some(from) => format!("{} {becomes} {}", text(from), text(to)),
        None => format!("+ {}", text(to)),
    };
    all.iter().map(one).collect::<Vec<_>>().join(", ")
}
