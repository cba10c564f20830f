//! Where the user's files lie, as the platform has it (XDG Base Directories on Unix).

use etcetera::BaseStrategy;
use std::path::PathBuf;

const NAME: &str = "peregrinus";

/// What the user writes: settings, modes of their own.
pub fn config() -> Option<PathBuf> {
    let dirs = etcetera::choose_base_strategy().ok()?;
    Some(dirs.config_dir().join(NAME))
}

/// What the program remembers by itself: the last keyboard, the log.
pub fn state() -> Option<PathBuf> {
    let dirs = etcetera::choose_base_strategy().ok()?;
    let folder = dirs.state_dir().unwrap_or_else(|| dirs.data_dir());
    Some(folder.join(NAME))
}
