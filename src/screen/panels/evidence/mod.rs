//! The evidence: how much of the probability of the tonality here comes from what was
//! heard. In two rows, or large, with bars and with what would be established without it.

mod panel;
mod rows;
mod shown;
mod table;
#[cfg(test)]
mod tests;
mod words;

pub(in crate::screen) use panel::panel;
pub(in crate::screen) use rows::draw;
