//! Peregrinus follows the tonal center and the mode of what is played at a
//! keyboard, live and from files.
//!
//! ```text
//!  MIDI port ──► midi (bytes → events) ──┐
//!                                        ├──► engine::Monitor ──► Reading ──► screen
//!  MIDI file ──► midi (file → events) ───┘          │
//!                                                   └──► Changes ──► History ──► formats
//! ```
//!
//! `theory` and `plan` hold the values that all of these speak in; `live` has the
//! threads and the clock; `study` looks at whole recordings; `cli` wires the
//! rooms together. Nothing points back.
//!
//! Four things that another program may want, each with an example where it is defined:
//!
//! - [`engine::Monitor`] is fed with timed events and says what is heard: which chord, which
//!   center and mode, which home. It is deterministic and reads no clock.
//! - [`study::study`] reads a whole recording, as heard and in hindsight.
//! - [`theory::Harmonized`] has the triads and sevenths on each degree of a tonality.
//! - [`theory::Kinds::name`] names the chord that some notes are.

// `console` writes instead: it neither panics nor hides a failure.
#![deny(clippy::print_stdout, clippy::print_stderr)]

// What unit and integration tests share calls the crate by its name.
#[cfg(test)]
extern crate self as peregrinus;

pub mod cli;
mod console;
pub mod correction;
pub mod engine;
mod file;
mod folders;
pub mod formats;
pub mod lines;
pub mod listing;
pub mod live;
pub mod manual;
pub mod meter;
pub mod midi;
mod nearest;
pub mod performer;
mod plain;
pub mod plan;
pub mod quiet;
pub mod recording;
pub mod screen;
pub mod settings;
pub mod sittings;
pub mod source;
pub mod stage;
pub mod study;
pub mod theory;
pub mod time;
