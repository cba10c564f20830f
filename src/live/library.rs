//! The sittings of other days: listed and read on threads of their own, so that neither the
//! screen nor the engine waits for a disk.

use super::status::lock;
use crate::correction::{CorrectedPlan, Revision, Signature};
use crate::engine::{Event, Monitor};
use crate::listing::{Listing, Opening, Progress, Row, Stretch, words};
use crate::plain;
use crate::plan::Marker;
use crate::sittings::{
    self, ChangeError, CorrectError, Folder, Index, IndexError, Query, Sitting, Stay,
};
use crate::theory::{Catalogue, Letters, SpelledTonality, Tonality};
use crate::time::Time;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use std::cell::RefCell;
use std::collections::HashMap;
use std::io;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Rows that are listed at once, before the index is compared with the files: more than fit on
/// a screen.
const FIRST: usize = 200;

/// Lists the sittings of a folder, and reads one of them.
pub struct Library {
    folder: Folder,
    catalogue: Arc<Catalogue>,
    state: Arc<Mutex<State>>,
    /// Held by the thread that compares the index with the files, so that only one does.
    comparing: Arc<Mutex<()>>,
    /// Says who corrects something, and when.
    sign: fn() -> Signature,
    /// The thread that writes, or has written, the last correction.
    correcting: Mutex<Option<Correcting>>,
}

/// A thread that writes a correction.
struct Correcting {
    id: String,
    thread: JoinHandle<()>,
    /// Nothing is sent: it is closed when the thread ends.
    over: Receiver<()>,
}

/// How long the end of the program waits for a correction without a word.
const MOMENT: Duration = Duration::from_secs(1);

/// What the threads have found out.
#[derive(Default)]
struct State {
    listing: Listing,
    /// How many times the list was asked for, and a sitting: a thread's answer to an earlier
    /// request is dropped.
    list: usize,
    asked: usize,
    chosen: Option<Box<Chosen>>,
    /// Whether a correction is being written, and what came of the last one: the sitting's id,
    /// and its plan or why there is none.
    revising: bool,
    revised: Option<(String, RevisedPlan)>,
}

/// The corrected plan after a revision, or why there was none.
pub type RevisedPlan = Result<Option<CorrectedPlan>, RevisionError>;

/// Why a sitting's plan was not revised; its file is as it was.
#[derive(Debug, thiserror::Error)]
pub enum RevisionError {
    #[error("the correction before it is still being written")]
    Busy,
    #[error(transparent)]
    Refused(#[from] CorrectError),
    #[error("correcting it has stopped")]
    Panicked,
    #[error("{}", plain::reason(.0))]
    NoThread(io::Error),
}

/// A sitting that was asked for, as it was read.
#[derive(Clone, Debug)]
pub struct Chosen {
    pub row: Row,
    /// Notes, settings and what the player said, in order.
    pub events: Vec<(Time, Event)>,
    pub end: Time,
    /// The names of the keyboards, where there are several.
    pub keyboards: Vec<String>,
    pub markers: Vec<Marker>,
    /// The plan as its listener has corrected it.
    pub corrected: Option<CorrectedPlan>,
    /// What is wrong with its file.
    pub damage: Option<String>,
}

impl Library {
    /// `sign` says who corrects something, and when.
    pub fn new(folder: Folder, catalogue: Arc<Catalogue>, sign: fn() -> Signature) -> Library {
        Library {
            folder,
            catalogue,
            sign,
            correcting: Mutex::default(),
            state: Arc::default(),
            comparing: Arc::default(),
        }
    }

    /// Lists the sittings anew, on a thread of its own; `wake` gets a message whenever
    /// [`Library::listing`] has changed.
    pub fn list(&self, wake: Sender<()>) {
        let mut state = lock(&self.state);
        state.list += 1;
        state.listing = Listing::default();
        let worker = self.worker(&state, wake);
        drop(state);
        let (folder, catalogue) = (self.folder.clone(), Arc::clone(&self.catalogue));
        let comparing = Arc::clone(&self.comparing);
        let told = worker.clone();
        let failed = start("list of sittings", move || {
            let done = catch_unwind(AssertUnwindSafe(|| {
                list(&folder, &catalogue, &comparing, &worker)
            }));
            let why = match done {
                Ok(Ok(())) => return,
                Ok(Err(e)) => e.to_string(),
                Err(_) => "the thread that lists them has panicked".into(),
            };
            worker.update(|listing| listing.progress = Progress::Failed(why));
        });
        if let Err(e) = failed {
            let why = plain::reason(&e);
            told.update(|listing| listing.progress = Progress::Failed(why));
        }
    }

    /// Reads one of the listed sittings, on a thread of its own: [`Library::chosen`] has it soon,
    /// or [`Listing::opening`] says why not.
    pub fn open(&self, id: &str, wake: Sender<()>) {
        let mut state = lock(&self.state);
        let Some(row) = state.listing.rows.iter().find(|row| row.id == id).cloned() else {
            return;
        };
        state.asked += 1;
        state.chosen = None;
        state.listing.opening = Opening::Reading;
        let worker = self.worker(&state, wake);
        drop(state);
        let (folder, catalogue) = (self.folder.clone(), Arc::clone(&self.catalogue));
        let told = worker.clone();
        let failed = start("a sitting", move || {
            let read = catch_unwind(AssertUnwindSafe(|| read(&folder, &catalogue, row)));
            let why = match read {
                Ok(Ok(chosen)) => return worker.deliver(chosen),
                Ok(Err(e)) => e.to_string(),
                Err(_) => "the thread that reads it has panicked".into(),
            };
            worker.fail(why);
        });
        if let Err(e) = failed {
            told.fail(plain::reason(&e));
        }
    }

    /// One that answers the latest requests.
    fn worker(&self, state: &State, wake: Sender<()>) -> Worker {
        Worker {
            state: Arc::clone(&self.state),
            list: state.list,
            asked: state.asked,
            wake,
        }
    }

    /// The list as far as it is known.
    pub fn listing(&self) -> Listing {
        lock(&self.state).listing.clone()
    }

    /// The sitting that was asked for, once it has been read.
    pub fn chosen(&self) -> Option<Box<Chosen>> {
        lock(&self.state).chosen.take()
    }

    /// Revises the corrected plan of a sitting, and its file: [`Library::revised`] has soon what
    /// came of it. `fresh`: a monitor as it is before anything was heard. One at a time.
    pub fn revise(&self, id: &str, revision: Revision, fresh: Monitor, wake: Sender<()>) {
        let id = id.to_owned();
        let mut state = lock(&self.state);
        if state.revising {
            state.revised = Some((id, Err(RevisionError::Busy)));
            let _ = wake.try_send(());
            return;
        }
        state.revising = true;
        drop(state);
        let (folder, catalogue) = (self.folder.clone(), Arc::clone(&self.catalogue));
        let (state, by) = (Arc::clone(&self.state), (self.sign)());
        let told = (Arc::clone(&self.state), id.clone(), wake.clone());
        let (ends, over) = bounded(0);
        let started = start("a correction", move || {
            let _ends: Sender<()> = ends;
            let done = catch_unwind(AssertUnwindSafe(|| {
                let go_on = |_| ControlFlow::Continue(());
                sittings::correct(&folder, &id, (&revision, &by), fresh, &catalogue, go_on)
            }));
            let plan = match done {
                Ok(Ok(revised)) => Ok(revised.recording.facts.corrected),
                Ok(Err(e)) => Err(e.into()),
                Err(_) => Err(RevisionError::Panicked),
            };
            leave(&state, id, plan, &wake);
        });
        match started {
            Ok(thread) => {
                let (_, id, _) = told;
                *lock(&self.correcting) = Some(Correcting { id, thread, over });
            }
            Err(e) => {
                let (state, id, wake) = told;
                leave(&state, id, Err(RevisionError::NoThread(e)), &wake);
            }
        }
    }

    /// Waits until a correction that is being written has reached the disk; the first one of a
    /// long sitting may take a while: `waits` is told its id. The error is why a correction was
    /// not written that has not been reported yet.
    pub fn finish(self, waits: impl FnOnce(&str)) -> Result<(), RevisionError> {
        if let Some(last) = lock(&self.correcting).take() {
            if let Err(RecvTimeoutError::Timeout) = last.over.recv_timeout(MOMENT) {
                waits(&last.id);
            }
            // What it panicked with stands in what it left.
            let _ = last.thread.join();
        }
        match self.revised() {
            Some((_, Err(why))) => Err(why),
            _ => Ok(()),
        }
    }

    /// The sitting that was revised last, and what came of it; once.
    pub fn revised(&self) -> Option<(String, RevisedPlan)> {
        lock(&self.state).revised.take()
    }

    /// Forgets the list, and a sitting that is still being read.
    pub fn close(&self) {
        let mut state = lock(&self.state);
        state.list += 1;
        state.asked += 1;
        state.listing = Listing::default();
        state.chosen = None;
    }
}

fn leave(state: &Mutex<State>, id: String, plan: RevisedPlan, wake: &Sender<()>) {
    let mut state = lock(state);
    state.revising = false;
    state.revised = Some((id, plan));
    let _ = wake.try_send(());
}

fn start(name: &str, work: impl FnOnce() + Send + 'static) -> io::Result<JoinHandle<()>> {
    std::thread::Builder::new().name(name.into()).spawn(work)
}

/// What a thread needs to report: it answers these requests.
#[derive(Clone)]
struct Worker {
    state: Arc<Mutex<State>>,
    list: usize,
    asked: usize,
    wake: Sender<()>,
}

impl Worker {
    fn update(&self, change: impl FnOnce(&mut Listing)) {
        let mut state = lock(&self.state);
        if state.list == self.list {
            change(&mut state.listing);
            let _ = self.wake.try_send(());
        }
    }

    fn deliver(&self, chosen: Chosen) {
        let mut state = lock(&self.state);
        if state.asked == self.asked {
            state.chosen = Some(Box::new(chosen));
            state.listing.opening = Opening::None;
            let _ = self.wake.try_send(());
        }
    }

    fn fail(&self, why: String) {
        let mut state = lock(&self.state);
        if state.asked == self.asked {
            state.listing.opening = Opening::Failed(why);
            let _ = self.wake.try_send(());
        }
    }
}

/// Lists the first rows as the index has them, then all of them, and at last as the files are.
fn list(
    folder: &Folder,
    catalogue: &Arc<Catalogue>,
    comparing: &Mutex<()>,
    worker: &Worker,
) -> Result<(), IndexError> {
    let mut index = Index::open(folder, catalogue)?;
    let stays = Stays::of(catalogue);
    let publish = |index: &mut Index, limit, progress| -> Result<(), IndexError> {
        let (count, bytes) = index.room()?;
        let query = Query {
            limit,
            ..Query::default()
        };
        let rows = index.list_as(&query, |sitting| row(sitting, &stays))?;
        let said = index.said();
        worker.update(|listing| {
            listing.rows = rows.into();
            (listing.count, listing.bytes, listing.progress) = (count, bytes, progress);
            listing.said.extend(said);
        });
        Ok(())
    };
    publish(&mut index, Some(FIRST), Progress::Started)?;
    publish(&mut index, None, Progress::Started)?;
    let alone = lock(comparing);
    let changed = index.refresh(&mut |done, of| {
        worker.update(|listing| listing.progress = Progress::Reading { done, of });
    })?;
    drop(alone);
    if changed {
        return publish(&mut index, None, Progress::Done);
    }
    let said = index.said();
    worker.update(|listing| {
        listing.progress = Progress::Done;
        listing.said.extend(said);
    });
    Ok(())
}

fn read(folder: &Folder, catalogue: &Catalogue, row: Row) -> Result<Chosen, ChangeError> {
    let mut recording = sittings::read(folder, &row.id, catalogue)?;
    Ok(Chosen {
        events: recording.events().collect(),
        end: recording.end,
        keyboards: std::mem::take(&mut recording.keyboards),
        markers: std::mem::take(&mut recording.markers),
        corrected: recording.facts.corrected.take(),
        damage: recording.faults.sentence(),
        row,
    })
}

/// The row of a sitting.
fn row(s: Sitting, stays: &Stays) -> Row {
    let date = s.date();
    let markers: Vec<String> = s.markers.into_iter().map(|(_, name)| name).collect();
    let texts = s.name.iter().chain(&s.tags).chain(&markers).chain([&date]);
    let words = words(texts.map(String::as_str));
    let at_home = |stay: &Stay| {
        let home = s.home.iter().rev().find(|home| home.start <= stay.start);
        home.is_none_or(|home| home.center == stay.center)
    };
    let way = s.here.iter().map(|stay| Stretch {
        start: Time::from_seconds(stay.start),
        end: Time::from_seconds(stay.end),
        spelled: stays.spelled(stay),
        at_home: at_home(stay),
    });
    Row {
        way: way.collect(),
        // A file of another program does not say when it began: its id is its name.
        name: s.name.or_else(|| s.begun.is_none().then(|| s.id.clone())),
        id: s.id,
        date,
        length: Time::from_seconds(s.seconds),
        tags: s.tags,
        markers,
        cut_off: s.cut_off,
        corrected: s.corrections > 0,
        words,
    }
}

/// Reads tonalities as the index writes them, each once.
struct Stays<'c> {
    catalogue: &'c Catalogue,
    /// By label.
    known: RefCell<HashMap<String, Option<SpelledTonality>>>,
}

impl Stays<'_> {
    fn of(catalogue: &Catalogue) -> Stays<'_> {
        Stays {
            catalogue,
            known: RefCell::default(),
        }
    }

    fn spelled(&self, stay: &Stay) -> Option<SpelledTonality> {
        if let Some(known) = self.known.borrow().get(&stay.label) {
            return *known;
        }
        let tonic = stay.label.split(' ').next().unwrap_or_default();
        let spelled = || {
            let tonic = Letters::English.understand(tonic).ok()?;
            let mode = self.catalogue.find(&stay.mode)?;
            let center = tonic.pitch_class();
            Some(SpelledTonality::new(Tonality { center, mode }, tonic))
        };
        let spelled = spelled();
        self.known.borrow_mut().insert(stay.label.clone(), spelled);
        spelled
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::Correction;

    const ETUDE: &[u8] = include_bytes!("../../recordings/05_ferry_lamp.mid");

    fn signed() -> Signature {
        Signature {
            who: "anna".into(),
            when: "2026-11-29T12:00:00Z".into(),
        }
    }

    #[test]
    fn a_sitting_is_corrected_and_its_file_is_written() {
        let (_dir, library) = library(&[("ferry", ETUDE)]);
        let (wake, woken) = bounded(1);
        let fresh = Monitor::new(Arc::clone(&library.catalogue)).expect("the weights");
        let revise = |revision: Revision| {
            library.revise("ferry", revision, fresh.clone(), wake.clone());
            woken.recv_timeout(Duration::from_secs(60)).expect("news");
            library.revised().expect("what came of it")
        };
        let split = |seconds| {
            let at = Time::from_seconds(seconds);
            Revision::Correct(Correction::Split { at })
        };
        let (id, plan) = revise(split(10.0));
        let plan = plan.expect("corrected").expect("a plan");
        assert_eq!((&*id, plan.steps().len()), ("ferry", 1));
        assert_eq!(plan.steps()[0].by, signed());
        let read = |library: &Library| {
            let read = sittings::read(&library.folder, "ferry", &library.catalogue);
            read.expect("a file").facts.corrected
        };
        assert_eq!(read(&library).as_ref(), Some(&plan));
        let (_, late) = revise(split(1000.0));
        assert!(
            late.expect_err("past the end")
                .to_string()
                .contains("past the end")
        );
        assert_eq!(read(&library), Some(plan));
        assert_eq!(revise(Revision::Undo).1.expect("undone"), None);
        assert_eq!(read(&library), None);
        assert!(library.revised().is_none(), "once");
    }

    fn library(files: &[(&str, &[u8])]) -> (tempfile::TempDir, Library) {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = Folder::new(dir.path().join("sittings"));
        if !files.is_empty() {
            folder.make().expect("made");
        }
        for (id, bytes) in files {
            std::fs::write(folder.path(id), bytes).expect("written");
        }
        let catalogue = Arc::new(Catalogue::standard().clone());
        (dir, Library::new(folder, catalogue, signed))
    }

    /// The list when all of it is there.
    fn listed(library: &Library) -> Listing {
        let (wake, woken) = bounded(1);
        library.list(wake);
        loop {
            woken.recv_timeout(Duration::from_secs(20)).expect("news");
            let listing = library.listing();
            if !matches!(
                listing.progress,
                Progress::Started | Progress::Reading { .. }
            ) {
                return listing;
            }
        }
    }

    #[test]
    fn where_there_is_nothing_the_list_is_empty() {
        let (_dir, library) = library(&[]);
        let listing = listed(&library);
        assert_eq!(
            (listing.rows.len(), listing.count, listing.bytes),
            (0, 0, 0)
        );
        assert_eq!((listing.progress, listing.said), (Progress::Done, vec![]));
    }

    #[test]
    fn what_is_there_is_listed_and_read() {
        let (_dir, library) = library(&[("ferry", ETUDE), ("bad", b"no music")]);
        let listing = listed(&library);
        assert_eq!((listing.count, listing.bytes), (1, ETUDE.len() as u64));
        assert_eq!(listing.rows[0].name.as_deref(), Some("ferry"));
        assert_eq!(listing.said.len(), 1, "{:?}", listing.said);
        assert!(listing.said[0].contains("bad.mid: left out"));

        let (wake, woken) = bounded(1);
        library.open("ferry", wake.clone());
        woken.recv_timeout(Duration::from_secs(20)).expect("news");
        let chosen = library.chosen().expect("read");
        assert_eq!((&chosen.row, chosen.damage), (&listing.rows[0], None));
        assert_eq!(chosen.end, chosen.row.length);
        assert!(library.chosen().is_none(), "once");
        // One that goes away in the meantime.
        std::fs::remove_file(library.folder.path("ferry")).expect("removed");
        library.open("ferry", wake.clone());
        woken.recv_timeout(Duration::from_secs(20)).expect("news");
        let opening = library.listing().opening;
        assert!(
            matches!(&opening, Opening::Failed(why) if why.contains("no such file")),
            "{opening:?}"
        );
        // Nobody waits any longer.
        library.open("ferry", wake);
        library.close();
        assert_eq!(library.listing(), Listing::default());
        assert!(library.chosen().is_none());
    }

    #[test]
    fn a_tonality_is_what_the_index_says() {
        let catalogue = Catalogue::standard();
        let stays = Stays::of(catalogue);
        let stay = |mode: &str, label: &str| Stay {
            start: 0.0,
            end: 1.0,
            center: 3,
            mode: mode.into(),
            label: label.into(),
        };
        let read = stays.spelled(&stay("mixolydian", "E\u{266d} Mixolydian"));
        assert_eq!(read, catalogue.parse_tonality("Eb mixolydian").ok());
        assert_eq!(stays.spelled(&stay("gone", "E\u{266d} Gone")), None);
    }
}
