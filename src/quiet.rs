//! Keeps the noise of system libraries off the terminal. Depends on no other room; any may
//! use it.
//!
//! Sound libraries print to standard error as they please. While a guard lives, what goes to
//! standard error (from anywhere in the process) goes to the latest file given, else nowhere. Guards
//! may overlap in any order; with the last one the old standard error is back. On other systems
//! than Unix they do nothing.

use std::fs::File;
#[cfg(unix)]
use std::os::fd::{AsFd, OwnedFd};
#[cfg(unix)]
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Standard error is redirected as long as it lives.
#[must_use = "standard error is redirected only while the guard lives"]
pub struct Quiet {
    #[cfg(unix)]
    id: u64,
}

#[cfg(unix)]
struct State {
    /// The old standard error, while there are guards.
    saved: Option<OwnedFd>,
    guards: Vec<(u64, Option<File>)>,
    next: u64,
}

#[cfg(unix)]
static STATE: Mutex<State> = Mutex::new(State {
    saved: None,
    guards: Vec::new(),
    next: 0,
});

impl Quiet {
    /// Drops what is printed, unless another guard has a file for it.
    pub fn new() -> Quiet {
        Quiet::guard(None)
    }

    /// Sends what is printed to a file.
    pub fn to(file: File) -> Quiet {
        Quiet::guard(Some(file))
    }

    #[cfg(unix)]
    fn guard(file: Option<File>) -> Quiet {
        let mut state = state();
        if state.saved.is_none() {
            state.saved = std::io::stderr().as_fd().try_clone_to_owned().ok();
        }
        let id = state.next;
        state.next += 1;
        state.guards.push((id, file));
        state.apply();
        Quiet { id }
    }

    #[cfg(not(unix))]
    fn guard(_: Option<File>) -> Quiet {
        Quiet {}
    }
}

impl Default for Quiet {
    fn default() -> Quiet {
        Quiet::new()
    }
}

#[cfg(unix)]
impl Drop for Quiet {
    fn drop(&mut self) {
        let mut state = state();
        state.guards.retain(|(id, _)| *id != self.id);
        state.apply();
    }
}

#[cfg(unix)]
fn state() -> MutexGuard<'static, State> {
    STATE.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(unix)]
impl State {
    /// If this fails the noise stays on standard error: there is nothing else to be done.
    fn apply(&mut self) {
        // Standard error is not redirected where it could not be restored.
        let Some(saved) = &self.saved else { return };
        if self.guards.is_empty() {
            let _ = rustix::stdio::dup2_stderr(saved);
            self.saved = None;
            return;
        }
        match self.guards.iter().rev().find_map(|(_, file)| file.as_ref()) {
            Some(file) => {
                let _ = rustix::stdio::dup2_stderr(file);
            }
            None => {
                if let Ok(nowhere) = File::options().write(true).open("/dev/null") {
                    let _ = rustix::stdio::dup2_stderr(nowhere);
                }
            }
        }
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::io::Write;
    use std::os::unix::fs::MetadataExt;

    fn say(what: &str) {
        // Past the test harness, to the descriptor itself.
        rustix::io::write(rustix::stdio::stderr(), what.as_bytes()).unwrap();
    }

    fn place() -> (u64, u64) {
        let file = File::from(std::io::stderr().as_fd().try_clone_to_owned().unwrap());
        let meta = file.metadata().unwrap();
        (meta.dev(), meta.ino())
    }

    #[test]
    fn guards_overlap() {
        let path = std::env::temp_dir().join(format!("peregrinus-quiet-{}", std::process::id()));
        let before = place();
        let silent = Quiet::new();
        assert_ne!(place(), before);
        say("lost");
        let log = Quiet::to(File::create(&path).unwrap());
        say("kept ");
        let inner = Quiet::new();
        say("also ");
        drop(silent);
        say("and this");
        std::io::stderr().flush().unwrap();
        drop(log);
        say("lost again");
        drop(inner);
        assert_eq!(place(), before);
        assert_eq!(
            std::fs::read_to_string(&path).unwrap(),
            "kept also and this"
        );
        std::fs::remove_file(&path).unwrap();
    }
}
