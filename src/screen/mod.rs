//! The terminal: reads readings, draws them, and turns keys into intents.
//!
//! It knows nothing of threads or ports: what it shows comes from a [`Stage`],
//! and what the player wants goes back to it.

mod claim;
mod draw;
mod entry;
mod keyboard;
mod keys;
mod label;
mod large;
mod layout;
mod look;
mod mouse;
mod palette;
mod panels;
mod past;
mod pen;
mod picture;
mod run;
#[cfg(any(unix, test))]
mod sequences;
mod stage;
mod surface;
mod terminal;
#[cfg(test)]
mod tests;
mod timeline;
mod transition;
mod view;
mod wording;

pub use keyboard::keyboard;
pub use keys::{Action, Clash, Direction, InertiaStep, Key, KeyError, Keys, Toward, Zoom};
pub use layout::{Panel, Panels, Way};
pub use palette::{Depth, Palette, Styles};
pub use run::{Options, Outcome, Update, run};
pub use stage::{Command, Pace, Stage};
