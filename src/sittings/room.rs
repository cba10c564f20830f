//! Room on the disk: how much is left, and which sittings may go by themselves.

use super::files;
use super::folder::Folder;
use super::index::{Index, IndexError, Query};
use super::sitting::Sitting;
use crate::theory::Catalogue;
use jiff::Timestamp;
use std::path::Path;
use std::sync::Arc;

/// Below this many free bytes the player is warned: sittings of some years, and what a system
/// needs to go on working.
pub(super) const LOW: u64 = 200_000_000;

/// Tells how many bytes are free where a path is; none if the system does not say.
pub(super) type Space = Box<dyn Fn(&Path) -> Option<u64> + Send>;

/// As the system says it. The folder may not be there yet.
pub(super) fn free(path: &Path) -> Option<u64> {
    let there = path.ancestors().find(|p| p.is_dir())?;
    fs4::available_space(there).ok()
}

/// Whether the system has a trash at all. Where it has one it may still refuse a file.
pub fn has_trash() -> bool {
    // Where the desktop's specification has it: below the user's data folder.
    let named = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    cfg!(any(windows, target_os = "macos")) || named("XDG_DATA_HOME") || named("HOME")
}

/// The system's trash did not take a sitting's file, which stays where it is.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct TrashError {
    /// In the system's own words.
    pub why: String,
}

/// Takes a sitting's file away, so that its owner can have it back.
pub fn to_trash(folder: &Folder, id: &str) -> Result<(), TrashError> {
    trash::delete(folder.path(id)).map_err(|e| TrashError { why: e.to_string() })
}

/// What clearing old sittings away did.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Cleared {
    /// Number of those that are gone.
    pub gone: usize,
    /// Number of those that stay, and why the first of them does.
    pub left: Option<(usize, TrashError)>,
}

/// Takes away by `take` what was played before `until` and has no name, tag, marker or
/// correction. A file that does not say when it was played stays.
pub fn clear(
    folder: &Folder,
    catalogue: &Arc<Catalogue>,
    until: Timestamp,
    take: impl Fn(&str) -> Result<(), TrashError>,
) -> Result<Cleared, IndexError> {
    let mut index = Index::open(folder, catalogue)?;
    index.refresh(&mut |_, _| ())?;
    let query = Query {
        until: Some(until),
        ..Query::default()
    };
    let mut cleared = Cleared::default();
    for old in index.list(&query)?.iter().filter(|s| may_go(s)) {
        // As it is now: another program may have named it meanwhile, or taken it away.
        let now = files::read(folder, &old.id, catalogue);
        if !now.is_ok_and(|now| may_go(&Sitting::of(&old.id, &now, catalogue))) {
            continue;
        }
        match take(&old.id) {
            Ok(()) => cleared.gone += 1,
            Err(why) => cleared.left.get_or_insert((0, why)).0 += 1,
        }
    }
    index.refresh(&mut |_, _| ())?;
    Ok(cleared)
}

/// It was played here, and has no name, tag, marker or correction.
fn may_go(s: &Sitting) -> bool {
    s.begun.is_some()
        && s.name.is_none()
        && s.tags.is_empty()
        && s.markers.is_empty()
        && s.corrections == 0
}
