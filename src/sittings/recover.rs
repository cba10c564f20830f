//! After a kill, a power loss or a full disk: what was being played is kept whole.

use super::files::{ChangeError, complete};
use super::folder::{Folder, Growing};
use super::sitting::Sitting;
use crate::engine::{History, Monitor};
use crate::file;
use crate::midi::{Event, Limits};
use crate::plan::TonalPlan;
use crate::recording::{self, Facts, Recording, Writer};
use crate::theory::Catalogue;
use std::io::{self, Cursor};
use std::path::PathBuf;
use std::sync::Arc;

/// What became of a sitting that was cut off.
#[derive(Debug)]
pub enum Recovered {
    /// It stands among the others.
    Kept(Box<Sitting>),
    /// It could not be read or written, and stays where it is.
    Left { path: PathBuf, why: ChangeError },
}

/// Completes the sittings whose program stopped before it could. `fresh`: a monitor as it is
/// before anything was heard; the plan as heard is worked out anew.
pub fn recover(
    folder: &Folder,
    catalogue: &Arc<Catalogue>,
    fresh: &Monitor,
) -> io::Result<Vec<Recovered>> {
    let mut all = Vec::new();
    for growing in folder.cut_off()? {
        let growing = match growing {
            Ok(growing) => growing,
            Err((path, why)) => {
                let why = why.into();
                all.push(Recovered::Left { path, why });
                continue;
            }
        };
        match one(folder, &growing, catalogue, fresh.clone()) {
            Ok(Some(sitting)) => {
                growing.done();
                all.push(Recovered::Kept(Box::new(sitting)));
            }
            Ok(None) => growing.done(),
            Err(why) => {
                let path = growing.path.clone();
                all.push(Recovered::Left { path, why });
            }
        }
    }
    Ok(all)
}

/// None: nothing of it is to be kept.
fn one(
    folder: &Folder,
    growing: &Growing,
    catalogue: &Arc<Catalogue>,
    monitor: Monitor,
) -> Result<Option<Sitting>, ChangeError> {
    let bytes = file::bytes(&growing.path, Limits::default().bytes)?;
    if is_empty(&bytes, catalogue)? {
        return Ok(None);
    }
    let read = recording::read(&bytes, catalogue)?;
    let strikes = |event| matches!(event, Event::NoteOn { .. });
    if !read.notes.iter().any(|t| strikes(t.event)) {
        return match read.faults.is_empty() {
            true => Ok(None),
            // What was played may still be in it, for whoever can mend it.
            false => Err(ChangeError::NoNote),
        };
    }
    // It had ended and was put in its place, and only the growing one was left.
    if folder.path(&growing.id).exists() {
        return Ok(None);
    }
    let facts = Facts {
        cut_off: true,
        heard: heard(&read, monitor),
        ..read.facts
    };
    let recording = complete(folder, growing, &facts, catalogue)?;
    Ok(Some(Sitting::of(&growing.id, &recording, catalogue)))
}

/// The plan as heard of a whole recording.
pub(super) fn heard(recording: &Recording, mut monitor: Monitor) -> TonalPlan {
    let mut history = History::default();
    for (at, event) in recording.events() {
        monitor.on_event(at, event, &mut history);
    }
    monitor.advance_to(recording.end, &mut history);
    history.advance_to(recording.end);
    history.plan().clone()
}

/// Whether a file holds no more than what stands in one before anything was played.
fn is_empty(bytes: &[u8], catalogue: &Arc<Catalogue>) -> io::Result<bool> {
    let empty = Writer::new(Cursor::new(Vec::new()), Arc::clone(catalogue))?;
    Ok(empty.into_inner().get_ref().starts_with(bytes))
}
