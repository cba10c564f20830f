//! The user's settings, and where they come from, so that they can be followed.

use super::monitor::Lines;
use crate::screen::{Palette, Update};
use crate::settings::{self, Settings, SettingsError, Watch};
use crossbeam_channel::Receiver;
use std::ffi::OsString;
use std::path::PathBuf;

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
