//! Music files from disk.

use super::failure::Failure;
use crate::file;
use crate::recording::{self, Recording};
use crate::theory::Catalogue;
use std::path::Path;

/// Reads a recording from disk; `catalogue` is of the modes that its words name.
pub fn read(path: &Path, catalogue: &Catalogue) -> Result<Recording, Failure> {
    Ok(recording::read(&file::bytes(path, u64::MAX)?, catalogue)?)
}
