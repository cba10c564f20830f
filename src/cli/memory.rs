//! What the program remembers by itself, a small file each in the state folder: the
//! keyboard used last, the inertia chosen at the monitor, that the keys were pointed out.
//!
//! Failing to remember costs a choice next time, no more.

use crate::settings::state_dir;

pub const KEYBOARD: &str = "keyboard";
pub const INERTIA: &str = "inertia";
/// Of whoever has seen the monitor before.
pub const WELCOMED: &str = "welcomed";

pub fn recall(what: &str) -> Option<String> {
    std::fs::read_to_string(state_dir()?.join(what)).ok()
}

/// Failing that, it is recalled once more.
pub fn forget(what: &str) {
    if let Some(folder) = state_dir() {
        let _ = std::fs::remove_file(folder.join(what));
    }
}

pub fn remember(what: &str, value: &str) {
    let Some(folder) = state_dir() else { return };
    let _ = std::fs::create_dir_all(&folder);
    let _ = std::fs::write(folder.join(what), value);
}
