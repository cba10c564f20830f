//! What is played, into a file: on a thread of its own, on disk at least once a second.

use super::feed::StatusDesk;
use crate::engine::Event;
use crate::midi::{OURS, Recorder, TextKind, Timed};
use crate::time::Time;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The recording cannot begin.
#[derive(Debug, thiserror::Error)]
#[error("{}: {}", path.display(), remedy(why))]
pub struct RecordError {
    path: PathBuf,
    why: std::io::Error,
}

/// What stands in the way, and what to do.
fn remedy(why: &std::io::Error) -> String {
    match why.kind() {
        ErrorKind::AlreadyExists => {
            "is there already and is not written over: choose another name".into()
        }
        ErrorKind::NotFound => "its folder is not there: make it, or choose another".into(),
        ErrorKind::PermissionDenied => {
            "there is no permission to write here: choose another folder".into()
        }
        _ => format!("cannot be written: {why}; choose another place"),
    }
}

enum Note {
    Event(Time, Event),
    End(Time),
}

/// The engine's end of a recording.
pub(super) struct Recording {
    notes: Sender<Note>,
    writer: JoinHandle<()>,
}

/// So many events may wait for a slow disk.
const WAITING: usize = 65_536;
const FLUSH: Duration = Duration::from_millis(900);

impl Recording {
    /// A file that exists is not written over.
    pub fn start(path: &Path, desk: StatusDesk) -> Result<Recording, RecordError> {
        let fail = |why| RecordError {
            path: path.to_owned(),
            why,
        };
        let file = File::options()
            .write(true)
            .read(true)
            .create_new(true)
            .open(path)
            .map_err(fail)?;
        let recorder = Recorder::new(file).map_err(fail)?;
        let (notes, receiver) = bounded(WAITING);
        let name = path.display().to_string();
        let writer = std::thread::Builder::new()
            .name("recorder".into())
            .spawn(move || {
                let say = desk.clone();
                desk.guard("the recorder", move || {
                    if let Err(e) = write(recorder, &receiver) {
                        say.update(|s| {
                            s.notice = Some(format!("{name}: cannot be written any more: {e}"));
                        });
                    }
                });
            })
            .map_err(fail)?;
        Ok(Recording { notes, writer })
    }

    /// An event as the engine took it in.
    pub fn note(&self, at: Time, event: Event) {
        // A recorder that has failed has said so; the monitor goes on without it.
        let _ = self.notes.try_send(Note::Event(at, event));
    }

    /// Ends the file and waits until it is written.
    pub fn finish(self, end: Time) {
        let _ = self.notes.send(Note::End(end));
        let _ = self.writer.join();
    }
}

fn write(mut recorder: Recorder<File>, notes: &Receiver<Note>) -> std::io::Result<()> {
    let mut last = Time::ZERO;
    let mut flushed = Instant::now();
    let mut dirty = false;
    loop {
        match notes.recv_timeout(if dirty {
            FLUSH
        } else {
            Duration::from_secs(3600)
        }) {
            Ok(Note::Event(at, event)) => {
                last = at;
                dirty = true;
                match event.setting() {
                    Some(text) => recorder.text(at, TextKind::Text, &format!("{OURS}{text}")),
                    None => {
                        if let Event::Midi(event) = event {
                            recorder.push(&Timed { at, event });
                        }
                    }
                }
            }
            Ok(Note::End(end)) => {
                let file = recorder.finish(end)?;
                return file.sync_all();
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                return recorder.finish(last)?.sync_all();
            }
        }
        if dirty && flushed.elapsed() >= FLUSH {
            recorder.flush()?;
            recorder.get_ref().sync_data()?;
            flushed = Instant::now();
            dirty = false;
        }
    }
}
