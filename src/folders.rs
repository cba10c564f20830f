//! Where the user's files lie, as the platform has it (XDG Base Directories on Unix).

use etcetera::BaseStrategy;
use std::path::{Path, PathBuf};

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

/// What belongs to the user and is made by the program: sittings.
pub fn data() -> Option<PathBuf> {
    let dirs = etcetera::choose_base_strategy().ok()?;
    Some(dirs.data_dir().join(NAME))
}

/// A path that may begin with `~/`, the user's home.
pub fn from_home(path: &Path) -> PathBuf {
    let home = |rest: &Path| Some(etcetera::home_dir().ok()?.join(rest));
    let rest = path.strip_prefix("~").ok();
    rest.and_then(home).unwrap_or_else(|| path.to_owned())
}
