//! Recordings: what was played, the settings it was played with, what the player said beside the
//! music, and the moments flagged.
//!
//! A recording is a Standard MIDI File that every program plays. What has no message of its own
//! stands in it as text events, the words of a recording: see `words`. Files of others have none
//! of these, and are read all the same.

mod read;
mod words;
mod write;

pub use read::{Recording, Said, read, read_with};
pub use write::{Writer, write};
