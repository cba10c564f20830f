//! Music files from disk, and sittings, which may be named wherever a file may.

use super::failure::Failure;
use super::sittings::{Open, length};
use crate::console;
use crate::file::{self, ReadError};
use crate::midi::{FileError, Limits};
use crate::plain;
use crate::recording::{self, Recording};
use crate::settings::Settings;
use crate::sittings::{FindError, Unknown};
use crate::theory::Catalogue;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf, is_separator};

/// How much of a file is read.
#[derive(Clone, Copy, clap::Args)]
#[group(skip)]
pub struct Much {
    /// Read all that a file claims, however long or dense. Without this, what nobody can have
    /// played is left out, and said.
    #[arg(long)]
    no_limits: bool,
}

impl Much {
    pub fn limits(self) -> Limits {
        match self.no_limits {
            true => Limits::none(),
            false => Limits::default(),
        }
    }
}

/// The file that is meant: one of this name, or else that of a sitting, which is said.
pub fn meant(path: &Path, settings: &Settings) -> Result<PathBuf, Failure> {
    let as_it_is = || Ok(path.to_owned());
    let word = path.to_str().filter(|word| !word.contains(is_separator));
    let Some(word) = word else { return as_it_is() };
    let kept = settings.sittings().is_some_and(|folder| folder.is_dir());
    if word.is_empty() || !kept || path.symlink_metadata().is_ok() {
        return as_it_is();
    }
    let mut open = Open::new(settings)?;
    match open.find_or_why(word) {
        Ok(sitting) => {
            let (id, length) = (plain::name(&sitting.id), length(sitting.seconds));
            console::report(&format!("{}: {id}, {length}", plain::name(word)));
            Ok(open.folder.path(&sitting.id))
        }
        Err(FindError::Unknown(Unknown::None)) => as_it_is(),
        Err(e) => Err(Failure::Failed(format!("{}; {e}", ReadError::Missing))),
    }
}

/// Reads a recording from disk; `catalogue` is of the modes that its words name. `progress`
/// gets the share that is read, 0 to 1, and may break off.
pub fn read(
    path: &Path,
    catalogue: &Catalogue,
    limits: &Limits,
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Result<Recording, Failure> {
    let bytes = match file::bytes(path, limits.bytes) {
        // Said as all that is out of proportion is.
        Err(ReadError::TooLarge(limit)) => {
            let bytes = std::fs::metadata(path).map_or(limit, |m| m.len());
            return Err(FileError::TooLarge { bytes, limit }.into());
        }
        other => other?,
    };
    Ok(recording::read_with(&bytes, catalogue, limits, progress)?)
}
