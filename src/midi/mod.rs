//! Bytes and files to timed events, and back. Knows no music.

mod event;

pub use event::{Channel, Event, PERCUSSION, Timed};
