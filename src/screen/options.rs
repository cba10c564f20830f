//! How the screen is to be, what changes in that meanwhile, and how it ended.

use super::keys::KeyBindings;
use super::layout::{Panels, Way};
use super::palette::{Depth, Palette};
use crate::engine::{self, Inertia};
use crate::stage::StageError;
use crate::theory::{Catalogue, Notation};
use crossbeam_channel::Receiver;
use std::path::PathBuf;
use std::sync::Arc;

/// How the screen is to look and to begin.
#[derive(Clone, Debug)]
pub struct Options {
    /// Its glyphs decide between Unicode and ASCII for the whole screen.
    pub notation: Notation,
    pub palette: Palette,
    /// How many colours are to be used, where the user says; else what the terminal says.
    pub depth: Option<Depth>,
    pub terminal: Depth,
    pub keys: KeyBindings,
    /// The way to begin, and the panels to be seen.
    pub way: Way,
    pub panels: Panels,
    /// Whether the mouse counts.
    pub mouse: bool,
    /// The actions that the piano sets off, in the order of their triggers: what
    /// [`Stage::job`](crate::stage::Stage::job) counts.
    pub jobs: Vec<&'static str>,
    /// The catalogue that the readings' tonalities belong to.
    pub catalogue: Arc<Catalogue>,
    /// Where standard error goes while the terminal is ours; none: nowhere.
    pub log: Option<PathBuf>,
    /// Whether to say which key opens the help, as to somebody who starts for the first time.
    pub hint: bool,
    /// The inertia as the player left it last time, where that is another than the usual.
    pub left: Option<LeftInertia>,
    /// Changes of the settings while the screen is shown.
    pub updates: Receiver<Update>,
}

/// A stop of inertia that the player chose last time, and the one that a key brings back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftInertia {
    pub left: Inertia,
    pub usual: Inertia,
}

/// What has changed in the settings while the screen is shown; `None` is as before.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Update {
    pub notation: Option<Notation>,
    pub palette: Option<Palette>,
    pub depth: Option<Option<Depth>>,
    pub panels: Option<Panels>,
    pub keys: Option<KeyBindings>,
    pub mouse: Option<bool>,
    /// Settings that change readings, for the stage.
    pub events: Vec<engine::Event>,
    /// A line for the player, until a key is pressed.
    pub said: Option<String>,
    /// What is wrong with the settings, until the next update; those before stay in force.
    pub refused: Option<String>,
}

/// How the screen ended. The terminal has been restored by then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The player quit.
    Quit,
    /// A signal asked for the end: its number.
    Signal(i32),
    /// The stage failed.
    Failed(StageError),
    /// A thread panicked; its message is already on standard error.
    Lost,
}

impl Outcome {
    /// For the shell: 0, 128 + signal, or 1.
    pub fn exit_code(&self) -> u8 {
        match self {
            Outcome::Quit => 0,
            Outcome::Signal(n) => u8::try_from(128 + n).unwrap_or(1),
            Outcome::Failed(_) | Outcome::Lost => 1,
        }
    }
}
