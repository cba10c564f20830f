//! The user's settings, and where they come from, so that they can be followed.

use crate::screen::{Palette, Update};
use crate::settings::{self, Settings, SettingsError, Watch};
use crossbeam_channel::Receiver;
use std::ffi::OsString;
use std::path::PathBuf;

/// Whether the user wants lines at a terminal too.
#[derive(Clone, Copy, clap::Args)]
#[group(skip)]
pub struct Lines {
    /// Plain lines instead of the screen, one for each change, worded to be read aloud.
    #[arg(id = "lines", long = "lines")]
    pub asked: bool,
}

/// The user's file, and what stands above it.
#[derive(Clone)]
pub struct Origin {
    pub file: Option<PathBuf>,
    pub palette: Option<Palette>,
    pub no_color: Option<OsString>,
}

impl Origin {
    pub fn load(&self) -> Result<Settings, SettingsError> {
        let mut s = Settings::load(self.file.as_deref())?;
        s.palette = Palette::choose(self.palette, self.no_color.as_deref(), s.palette);
        Ok(s)
    }
}

/// The user's settings, and how to follow them.
pub struct Own {
    pub settings: Settings,
    pub origin: Origin,
    /// Before the command.
    pub lines: Lines,
}

impl Own {
    /// What changes in them from now on.
    pub fn follow(&self) -> (Watch, Receiver<Update>) {
        let origin = self.origin.clone();
        let files = Settings::files(origin.file.as_deref());
        let load = move || origin.load();
        settings::follow(files, settings::EVERY, self.settings.clone(), load)
    }
}
