//! Roman numerals: a chord as seen from a tonality.

mod interpretation;

pub use interpretation::{Around, Context, Numeral, Role, Sixth, Target, analyse, degree_in, neighbour};
pub(super) use interpretation::{alone, belongs, note};
