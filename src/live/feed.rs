//! From the engine's thread to whoever shows or writes what it says.

use super::explain::{Explainer, Slot};
use crate::engine::{Change, Explanation, History, Monitor, Observer, Reading};
use crate::plan::Marker;
use crate::theory::{Spelling, Tonality};
use crate::time::Time;
use crossbeam_channel::{Receiver, Sender, bounded, never, unbounded};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// How the notes come in just now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Link {
    Keyboard,
    /// It was unplugged; it is looked for.
    Lost,
    /// None was found; one is looked for.
    #[default]
    None,
    File,
}

/// What there is to say about the way in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Status {
    pub link: Link,
    /// The keyboard's or the file's name.
    pub name: String,
    pub notice: Option<String>,
    pub dropped: u64,
    /// What of the recording is not in its file, and why.
    pub unwritten: Option<String>,
    /// Set when the engine's thread has ended for good, and why.
    pub failed: Option<String>,
}

/// What reaches the history.
enum Item {
    Change(Time, Change),
    /// The past is another one: after seeking.
    Past(Box<Past>),
    Marker(Marker),
}

struct Past {
    history: History,
    here: Option<(Tonality, Spelling)>,
    pinned: Option<(Tonality, Spelling)>,
}

/// What [`Feed::changes`] tells.
#[derive(Clone, Debug)]
pub enum News {
    Change(Time, Change),
    /// The past is another one, after seeking; what is established and what pinned there.
    Past {
        here: Option<(Tonality, Spelling)>,
        pinned: Option<(Tonality, Spelling)>,
    },
    /// A marker was set.
    Marker(Marker),
}

/// The engine's end.
pub(super) struct Publisher {
    latest: Arc<Mutex<Option<Reading>>>,
    items: Sender<Item>,
    news: Sender<()>,
    jobs: Sender<usize>,
    explainer: Explainer,
}

/// The reader's end.
pub struct Feed {
    latest: Arc<Mutex<Option<Reading>>>,
    explanation: Slot,
    items: Receiver<Item>,
    news: Receiver<()>,
    jobs: Receiver<usize>,
    history: History,
    markers: Vec<Marker>,
    status: Arc<Mutex<Status>>,
}

/// So many changes may wait for a reader before the engine waits too.
const WAITING: usize = 16_384;
/// So many jobs may wait for the screen; further ones are not done.
const JOBS: usize = 16;

/// A lock whose holder died holds a whole value all the same: each is written in one go.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Both ends, and the status that the way in writes.
pub(super) fn feed() -> (Publisher, Feed, StatusDesk) {
    let latest = Arc::new(Mutex::new(None));
    let status = Arc::new(Mutex::new(Status::default()));
    let (items, items_in) = bounded(WAITING);
    // One message is enough to say that there is something new.
    let (news, news_in) = bounded(1);
    let (jobs, jobs_in) = bounded(JOBS);
    let desk = StatusDesk {
        status: Arc::clone(&status),
        news: news.clone(),
    };
    let explanation = Slot::default();
    let publisher = Publisher {
        latest: Arc::clone(&latest),
        items,
        news,
        jobs,
        explainer: Explainer::new(Arc::clone(&explanation), desk.clone()),
    };
    let feed = Feed {
        latest,
        explanation,
        items: items_in,
        news: news_in,
        jobs: jobs_in,
        history: History::default(),
        markers: Vec::new(),
        status,
    };
    (publisher, feed, desk)
}

impl Publisher {
    /// Makes the monitor's reading the latest one.
    pub fn publish(&self, monitor: &Monitor) {
        let reading = monitor.reading();
        *lock(&self.latest) = Some(reading);
        let _ = self.news.try_send(());
    }

    /// Has the moment explained elsewhere; see [`Feed::explanation`].
    pub fn explain(&mut self, monitor: &Monitor) {
        if let Some(case) = monitor.case() {
            self.explainer.hand(case);
        }
    }

    /// Replaces the past.
    pub fn past(&self, history: &History, monitor: &Monitor) {
        let reading = monitor.reading();
        let past = Past {
            history: history.clone(),
            here: reading.here.map(|e| (e.tonality, e.tonic)),
            pinned: reading.pinned,
        };
        let _ = self.items.send(Item::Past(Box::new(past)));
    }

    /// A marker was set.
    pub fn mark(&self, marker: Marker) {
        let _ = self.items.send(Item::Marker(marker));
    }

    /// A job was set off from the piano. Never waits.
    pub fn job(&self, number: usize) {
        let _ = self.jobs.try_send(number);
        let _ = self.news.try_send(());
    }
}

impl Observer for Publisher {
    fn change(&mut self, at: Time, change: Change) {
        // The reader gone means the program is ending.
        let _ = self.items.send(Item::Change(at, change));
    }
}

/// Where the way in writes its status.
#[derive(Clone)]
pub(super) struct StatusDesk {
    status: Arc<Mutex<Status>>,
    news: Sender<()>,
}

impl StatusDesk {
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

    /// The recording is not whole: said at once, and again when the program ends.
    pub fn unwritten(&self, what: String) {
        self.update(|s| {
            s.notice = Some(what.clone());
            s.unwritten = Some(what);
        });
    }

    /// Runs a thread's work; if it panics, the status says so.
    pub fn guard(self, what: &'static str, work: impl FnOnce()) {
        if let Err(panic) = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)) {
            let why = panic
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("no reason given");
            self.update(|s| s.failed = Some(format!("{what} has stopped: {why}")));
        }
    }
}

impl Feed {
    /// The latest reading; `None` before the first.
    pub fn reading(&self) -> Option<Reading> {
        *lock(&self.latest)
    }

    /// The latest explanation that was asked for: of [`super::Listener::explain`] or
    /// [`super::Order::Explain`].
    pub fn explanation(&self) -> Option<Explanation> {
        *lock(&self.explanation)
    }

    pub fn status(&self) -> Status {
        lock(&self.status).clone()
    }

    /// Gets a message when anything is new.
    pub fn news(&self) -> &Receiver<()> {
        &self.news
    }

    /// The history with every change so far.
    pub fn history(&mut self) -> &mut History {
        self.changes(|_| ());
        &mut self.history
    }

    /// The markers set since this was asked last.
    pub fn markers(&mut self) -> Vec<Marker> {
        self.changes(|_| ());
        std::mem::take(&mut self.markers)
    }

    /// The jobs set off from the piano since this was asked last: their places in
    /// [`super::Wanted::jobs`].
    pub fn jobs(&self) -> impl Iterator<Item = usize> + use<'_> {
        self.jobs.try_iter()
    }

    /// Hands each change so far to `f` and into the history.
    pub fn changes(&mut self, mut f: impl FnMut(News)) {
        for item in self.items.try_iter() {
            match item {
                Item::Change(at, change) => {
                    self.history.change(at, change);
                    f(News::Change(at, change));
                }
                Item::Past(past) => {
                    let Past {
                        history,
                        here,
                        pinned,
                    } = *past;
                    self.history = history;
                    f(News::Past { here, pinned });
                }
                Item::Marker(marker) => {
                    self.markers.push(marker.clone());
                    f(News::Marker(marker));
                }
            }
        }
    }

    /// Takes no more: the engine, which waits for a slow reader, can end.
    pub(super) fn close(&mut self) {
        self.items = never();
    }
}

/// A channel without a bound, for orders of a person: they are few.
pub(super) fn orders<T>() -> (Sender<T>, Receiver<T>) {
    unbounded()
}
