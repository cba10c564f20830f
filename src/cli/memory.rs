//! What the program remembers by itself, a small file each in the state folder: the
//! keyboard used last, the inertia chosen at the monitor, that the keys were pointed out.
//!
//! Failing to remember costs a choice next time, no more. Nothing here blocks, whatever
//! stands in the place of a file.

use crate::file;
use crate::folders;
use std::path::{Path, PathBuf};

pub const KEYBOARD: &str = "keyboard";
pub const INERTIA: &str = "inertia";
/// Exists once the monitor has been seen.
pub const WELCOMED: &str = "welcomed";

/// Maximum number of bytes of a file: no keyboard has a longer name.
const MOST: u64 = 4096;

pub fn recall(what: &str) -> Option<String> {
    recall_from(&folders::state()?, what)
}

/// If this fails, it is recalled once more.
pub fn forget(what: &str) {
    if let Some(folder) = folders::state() {
        let _ = std::fs::remove_file(folder.join(what));
    }
}

pub fn remember(what: &str, value: &str) {
    if let Some(folder) = folders::state() {
        remember_in(&folder, what, value);
    }
}

/// Where the log is to be written.
pub fn log() -> Option<PathBuf> {
    let folder = folders::state()?;
    std::fs::create_dir_all(&folder).ok()?;
    Some(folder.join("log"))
}

fn recall_from(folder: &Path, what: &str) -> Option<String> {
    file::text(&folder.join(what), MOST).ok()
}

fn remember_in(folder: &Path, what: &str, value: &str) {
    let _ = std::fs::create_dir_all(folder);
    let _ = file::replace(&folder.join(what), value.as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_remembered_is_recalled() {
        let folder = tempfile::tempdir().expect("a folder");
        let state = folder.path().join("made/when/needed");
        assert_eq!(recall_from(&state, INERTIA), None);
        for stop in ["section", "chord"] {
            remember_in(&state, INERTIA, stop);
            assert_eq!(recall_from(&state, INERTIA).as_deref(), Some(stop));
        }
        // Nothing is left beside it.
        let names = std::fs::read_dir(&state).expect("listed");
        let names: Vec<_> = names.map(|e| e.expect("an entry").file_name()).collect();
        assert_eq!(names, [INERTIA]);
        std::fs::write(state.join(KEYBOARD), "k".repeat(5000)).expect("written");
        assert_eq!(recall_from(&state, KEYBOARD), None);
    }

    /// Each of these would hold up the program for ever, if it were opened as a file is.
    #[cfg(unix)]
    #[test]
    fn what_is_no_ordinary_file_holds_nothing_up() {
        let folder = tempfile::tempdir().expect("a folder");
        let state = folder.path();
        let mode = rustix::fs::Mode::from_raw_mode(0o600);
        let kind = rustix::fs::FileType::Fifo;
        let pipe = state.join(KEYBOARD);
        rustix::fs::mknodat(rustix::fs::CWD, &pipe, kind, mode, 0).expect("a pipe");
        std::os::unix::fs::symlink("/dev/zero", state.join(INERTIA)).expect("a link");
        std::fs::create_dir(state.join(WELCOMED)).expect("made");
        for what in [KEYBOARD, INERTIA, WELCOMED] {
            assert_eq!(recall_from(state, what), None, "{what}");
        }
        // What is written takes their place, but for a folder's.
        for what in [KEYBOARD, INERTIA, WELCOMED] {
            remember_in(state, what, "phrase");
            let expected = (what != WELCOMED).then_some("phrase");
            assert_eq!(recall_from(state, what).as_deref(), expected, "{what}");
        }
    }
}
