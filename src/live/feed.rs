//! From the engine's thread to the front ends that show or print what it says.

use super::explain::{Explainer, Slot};
use super::status::{Status, StatusBoard, lock};
use crate::engine::{Change, Explanation, History, Monitor, Observer, Reading};
use crate::plan::Marker;
use crate::stage::{Job, News};
use crate::theory::SpelledTonality;
use crate::time::Time;
use crossbeam_channel::{Receiver, Sender, bounded, never};
use std::sync::{Arc, Mutex};

/// What reaches the history.
enum Item {
    Change(Time, Change),
    /// Replaces the past, after seeking.
    Past(Box<Past>),
    Marker(Marker),
}

struct Past {
    history: History,
    here: Option<SpelledTonality>,
    pinned: Option<SpelledTonality>,
}

/// The engine's end.
pub(super) struct Publisher {
    latest: Arc<Mutex<Option<Reading>>>,
    items: Sender<Item>,
    news: Sender<()>,
    jobs: Sender<Job>,
    explainer: Explainer,
}

/// The reader's end.
pub struct Feed {
    latest: Arc<Mutex<Option<Reading>>>,
    explanation: Slot,
    items: Receiver<Item>,
    news: Receiver<()>,
    jobs: Receiver<Job>,
    history: History,
    markers: Vec<Marker>,
    board: StatusBoard,
}

/// How many changes may wait for a reader before the engine waits too.
const WAITING: usize = 16_384;
/// How many jobs may wait for the screen; further ones are dropped.
const JOBS: usize = 16;

/// Both ends, and the board where the way in writes its status.
pub(super) fn feed() -> (Publisher, Feed, StatusBoard) {
    let latest = Arc::new(Mutex::new(None));
    let (items, items_in) = bounded(WAITING);
    // One message is enough: it says that there is something new, not what.
    let (news, news_in) = bounded(1);
    let (jobs, jobs_in) = bounded(JOBS);
    let board = StatusBoard::new(news.clone());
    let explanation = Slot::default();
    let publisher = Publisher {
        latest: Arc::clone(&latest),
        items,
        news,
        jobs,
        explainer: Explainer::new(Arc::clone(&explanation), board.clone()),
    };
    let feed = Feed {
        latest,
        explanation,
        items: items_in,
        news: news_in,
        jobs: jobs_in,
        history: History::default(),
        markers: Vec::new(),
        board: board.clone(),
    };
    (publisher, feed, board)
}

impl Publisher {
    /// Makes the monitor's reading the latest one.
    pub fn publish(&self, monitor: &Monitor) {
        let reading = monitor.reading();
        *lock(&self.latest) = Some(reading);
        let _ = self.news.try_send(());
    }

    /// Where a file stands is new, and nothing else.
    pub fn moved(&self) {
        let _ = self.news.try_send(());
    }

    /// Has the present moment explained on another thread; see [`Feed::explanation`].
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
            here: reading.here.map(|e| e.spelled),
            pinned: reading.pinned,
        };
        let _ = self.items.send(Item::Past(Box::new(past)));
    }

    /// A marker was set.
    pub fn mark(&self, marker: Marker) {
        let _ = self.items.send(Item::Marker(marker));
    }

    /// A job was set off from the piano. Never waits.
    pub fn job(&self, job: Job) {
        let _ = self.jobs.try_send(job);
        let _ = self.news.try_send(());
    }
}

impl Observer for Publisher {
    fn change(&mut self, at: Time, change: Change) {
        // Without a reader the program is ending.
        let _ = self.items.send(Item::Change(at, change));
    }
}

impl Feed {
    /// The latest reading; `None` before the first.
    pub fn reading(&self) -> Option<Reading> {
        *lock(&self.latest)
    }

    /// The latest explanation that was asked for: with
    /// [`super::Order::Explain`].
    pub fn explanation(&self) -> Option<Explanation> {
        *lock(&self.explanation)
    }

    pub(super) fn name_keyboards(&self, names: Vec<String>) {
        self.board.update(|s| s.keyboards = names);
    }

    pub fn status(&self) -> Status {
        self.board.status()
    }

    /// What wakes the reader, for threads that have something else for it.
    pub fn waker(&self) -> Sender<()> {
        self.board.waker()
    }

    /// Receives a message when anything is new.
    pub fn news(&self) -> &Receiver<()> {
        &self.news
    }

    /// The history with every change so far.
    pub fn history(&mut self) -> &mut History {
        self.changes(|_| ());
        &mut self.history
    }

    /// The markers set since the last call.
    pub fn markers(&mut self) -> Vec<Marker> {
        self.changes(|_| ());
        std::mem::take(&mut self.markers)
    }

    /// The jobs set off from the piano since the last call; their numbers are places in
    /// [`super::Wanted::jobs`].
    pub fn jobs(&self) -> impl Iterator<Item = Job> + use<'_> {
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

    /// Stops receiving, so that an engine that waits for a slow reader can end.
    pub(super) fn close(&mut self) {
        self.items = never();
    }
}
