//! Roman numerals: a chord as seen from a tonality.
//!
//! [`analyse`] says what a chord is there: on which degree it stands, in which [`Role`],
//! how its notes are spelled. `Numeral::text` writes that down by the user's conventions,
//! `Numeral::roman_text` for other programs.

mod analysis;
mod context;
mod interpretation;
mod place;
mod roman_text;
mod spell;
mod text;
mod value;

pub use analysis::analyse;
pub(super) use analysis::belongs;
pub use context::{Around, Context, Surroundings, neighbour};
pub use value::{Numeral, Role, Sixth, Target};
