//! The brightness order: the parallel modes on the tonic of the tonality pinned or here,
//! from Lydian down to Locrian, and the one note that each step alters.
//!
//! Rows: a caption, a row a mode, and where there is room a line or two in words. With
//! twice as many rows each step stands between its modes; with four times as many the
//! modes can be read from the back of the room. Each mode keeps its row whatever is
//! played; only a panel too low for all of them scrolls, with the present one in the middle.
//! Brackets are the present mode, round ones what is heard beside a pin, a pointer the
//! chosen one. A mode of another family points at the row that is as bright.

mod ladder;
mod names;
mod order;
mod panel;
mod rows;
mod words;

pub(in crate::screen) use order::neighbour;
pub(in crate::screen) use panel::draw;
