//! Music files from disk.

use super::failure::Failure;
use crate::file::{self, ReadError};
use crate::midi::{FileError, Limits};
use crate::recording::{self, Recording};
use crate::theory::Catalogue;
use std::ops::ControlFlow;
use std::path::Path;

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
