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

// What unit and integration tests share calls the crate by its name.
#[cfg(test)]
extern crate self as peregrinus;

pub mod cli;
mod console;
pub mod engine;
mod file;
pub mod formats;
pub mod lines;
pub mod live;
pub mod midi;
mod nearest;
pub mod performer;
mod plain;
pub mod plan;
pub mod quiet;
pub mod recording;
pub mod screen;
pub mod settings;
pub mod source;
pub mod study;
pub mod theory;
pub mod time;
