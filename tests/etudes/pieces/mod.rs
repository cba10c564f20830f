//! The music. One file an étude.

mod ferry_lamp;
mod kite_over_water;
mod one_hearth;
mod seven_stones;
mod three_ridges;

use super::score::Piece;

pub const ALL: [&Piece; 5] = [
    &one_hearth::PIECE,
    &seven_stones::PIECE,
    &three_ridges::PIECE,
    &kite_over_water::PIECE,
    &ferry_lamp::PIECE,
];
