//! What is drawn: one file or folder a panel.
//!
//! A panel draws its part of the picture into the rectangle that it is given, and changes
//! nothing. A new one is a file here, a place in `layout`, and a line in `draw`, which puts
//! them all together.

pub(super) mod beside;
pub(super) mod brightness;
pub(super) mod chord;
pub(super) mod evidence;
pub(super) mod heard_lately;
pub(super) mod help;
pub(super) mod here;
pub(super) mod history;
pub(super) mod lanes;
pub(super) mod leaning;
pub(super) mod piano;
mod polymodal;
pub(super) mod relatives;
pub(super) mod scale;
pub(super) mod sittings;
pub(super) mod status;
mod yours;
