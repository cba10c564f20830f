//! How far the reading has got, and whether it goes on.

use super::fault::FileError;

/// Called with the share of a step that is done, from 0 to 1; an error ends the reading.
pub(super) type Progress<'a> = dyn FnMut(f32) -> Result<(), FileError> + 'a;

/// It is called each time this many events have passed.
pub(super) const EVERY: usize = 4_096;
