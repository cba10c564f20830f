//! What the player has said of the one that plays: markers, and what is not in a reading yet.

use super::asked::Asked;
use crate::plan::Marker;

#[derive(Default)]
pub(super) struct Said {
    /// In order of time.
    pub markers: Vec<Marker>,
    /// How many were asked for, by name and to be kept: keys may come faster than markers.
    pub marked: usize,
    pub kept: usize,
    pub asked: Asked,
}

impl Said {
    /// The moments that a file names are its first markers.
    pub fn of(markers: Vec<Marker>) -> Said {
        Said {
            marked: markers.len(),
            markers,
            ..Said::default()
        }
    }
}
