//! Bytes and files to timed events, and back. Knows no music.

mod event;
mod file;
mod record;

pub use event::{Channel, Event, PERCUSSION, Timed};
pub use file::{Fault, FileError, KeySignature, LONGEST, OURS, Performance, Text, TextKind, read};
pub use record::{Recorder, write};
