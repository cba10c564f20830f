//! What there is to say about the way in, as threads write it and front ends read it.

use super::click::ClickNow;
use crate::source::{Keeping, Link};
use crate::stage::StageError;
use crossbeam_channel::Sender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What of a recording is not in its file, and why.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unwritten {
    /// Nothing more can be written; `why` is the system's reason.
    #[error("{file}: cannot be written any more: {why}")]
    Failed { file: String, why: String },
    #[error("{file}: {events} events are missing, the disk is too slow: record on another")]
    Missed { file: String, events: u64 },
    /// The last correction of a sitting's plan.
    #[error("the last correction was not written: {why}")]
    Correction { why: String },
}

/// What there is to say about the way in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Status {
    pub link: Link,
    /// The keyboard's or the file's name.
    pub name: String,
    /// Where several keyboards play together: their names, empty for one that has not been there
    /// yet. Else empty.
    pub keyboards: Vec<String>,
    /// Number of these that are not connected.
    pub away: usize,
    /// A line that tells the player something.
    pub notice: Option<String>,
    /// Messages that the queue could not take.
    pub dropped: u64,
    /// What of the recording is not in its file, and why.
    pub unwritten: Option<Unwritten>,
    /// Whether what is played is kept as a sitting.
    pub keeping: Keeping,
    /// The number of the latest sitting in this run of the program, from 1.
    pub sitting: u64,
    /// The click in force.
    pub click: Option<ClickNow>,
    /// The id of the latest sitting that has ended and stands among the others.
    pub kept: Option<String>,
    /// A line about sittings, while the way in has none.
    pub about_sittings: Option<String>,
    /// Set when the engine's thread has ended for good, and why.
    pub failed: Option<StageError>,
}

const SLOW: &str = "the disk of the sittings is slow: ";
/// Said of the sitting that is going on.
pub(super) const WRITTEN_AGAIN: &str = "the sitting is written again, nothing is missing";

/// A lock whose holder panicked still holds a whole value: each is written in one go.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Where the live part's threads write the status.
#[derive(Clone)]
pub(super) struct StatusBoard {
    status: Arc<Mutex<Status>>,
    news: Sender<()>,
}

impl StatusBoard {
    /// `news` gets a message when anything is new.
    pub fn new(news: Sender<()>) -> StatusBoard {
        StatusBoard {
            status: Arc::default(),
            news,
        }
    }

    pub fn status(&self) -> Status {
        lock(&self.status).clone()
    }

    pub fn update(&self, change: impl FnOnce(&mut Status)) {
        let mut status = lock(&self.status);
        let before = status.clone();
        change(&mut status);
        if *status != before {
            self.tell();
        }
    }

    /// There is something new beside the status.
    pub fn tell(&self) {
        let _ = self.news.try_send(());
    }

    pub fn waker(&self) -> Sender<()> {
        self.news.clone()
    }

    /// The recording is not whole: said at once, and again when the program ends.
    pub fn unwritten(&self, what: Unwritten) {
        self.update(|s| {
            s.notice = Some(what.to_string());
            s.unwritten = Some(what);
        });
    }

    /// The disk of the sittings keeps so much waiting.
    pub fn slow(&self, waiting: usize) {
        self.update(|s| {
            s.keeping = Keeping::Stuck;
            s.about_sittings = Some(format!("{SLOW}{waiting} notes and changes wait in memory"));
        });
    }

    /// Nothing waits for the disk of the sittings any longer.
    pub fn caught_up(&self) {
        self.update(|s| {
            // Unless something else has been said since.
            let slow = |said: &String| said.starts_with(SLOW);
            if s.about_sittings.as_ref().is_some_and(slow) {
                s.keeping = Keeping::Growing;
                s.about_sittings = Some(WRITTEN_AGAIN.into());
            }
        });
    }

    /// Runs a thread's work; if it panics, the status says so.
    pub fn guard(self, part: &'static str, work: impl FnOnce()) {
        if let Err(panic) = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)) {
            let why = panic
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("no reason given")
                .to_owned();
            self.update(|s| s.failed = Some(StageError::Stopped { part, why }));
        }
    }
}
