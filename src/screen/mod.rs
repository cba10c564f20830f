//! The terminal: keys and time change what the screen is doing, and that is drawn.
//!
//! It knows nothing of threads or ports: what it shows comes from a [`Stage`](crate::stage::Stage),
//! and what the player wants goes back to it as a [`Request`](crate::stage::Request).
//!
//! One way through it: `terminal` and `keyboard` → `run` (the loop) → `respond` (what a
//! key does) → `state` (what the screen is doing) → `frame` (the picture of it) → `draw`
//! and one file a panel in `panels`, in the places of `layout`.

mod claim;
mod doing;
mod draw;
mod entry;
mod frame;
mod keyboard;
mod keys;
mod label;
mod large;
mod layout;
mod look;
mod mouse;
mod options;
mod palette;
mod panels;
mod past;
mod pen;
mod picture;
mod respond;
mod run;
#[cfg(any(unix, test))]
mod sequences;
mod sittings;
mod state;
mod surface;
mod terminal;
#[cfg(test)]
mod tests;
mod timeline;
mod transition;
mod view;
mod wording;

pub use keyboard::keyboard;
pub use keys::{Action, Clash, Direction, InertiaStep, Key, KeyBindings, KeyError, Toward, Zoom};
pub use layout::{Panel, Panels, Way};
pub use options::{LeftInertia, Options, Outcome, Update};
pub use palette::{Depth, Palette, Styles, UnknownName};
pub use run::run;
