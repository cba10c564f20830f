//! Recordings: what was played, the settings it was played with, what the player said beside the
//! music, and the moments flagged.
//!
//! A recording is a Standard MIDI File that every program plays. What MIDI has no message for
//! stands in it as text events, the words of a recording: see `words`; what is known of it as a
//! sitting, in a track of its own: see `facts`. Files of other programs
//! have none of these and are read all the same.
//!
//! To study a file's bytes:
//!
//! ```
//! use peregrinus::{engine::Monitor, recording, study::study, theory::Catalogue};
//! use std::sync::Arc;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let catalogue = Arc::new(Catalogue::standard().clone());
//! # let path = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/01_one_hearth.mid");
//! let recording = recording::read(&std::fs::read(path)?, &catalogue)?;
//! for fault in recording.faults.lines() {
//!     eprintln!("{fault}");
//! }
//! let study = study(&recording, Monitor::new(Arc::clone(&catalogue))?, &catalogue);
//! for region in &study.hindsight.regions {
//!     println!("{} to {}: {:?}", region.start, region.end, region.spelled.tonality);
//! }
//! # assert!(!study.hindsight.regions.is_empty());
//! # Ok(())
//! # }
//! ```

mod aside;
mod corrected;
mod facts;
mod read;
mod tonality;
mod words;
mod write;

pub use aside::throw_away_aside;
pub use facts::{Beat, Facts, TRACK};
pub use read::{Recording, Said, read, read_with};
pub use write::{Writer, with_keyboard_tracks, write, write_into};
