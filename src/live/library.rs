//! The sittings of other days: listed and read on threads of their own, so that neither the
//! screen nor the engine waits for a disk.

use super::status::lock;
use crate::engine::Event;
use crate::plain;
use crate::plan::Marker;
use crate::shelf::{Filling, Opening, Row, Shelf, Stretch, words};
use crate::sittings::{self, Folder, Index, IndexError, Query, Sitting, Stay};
use crate::theory::{Catalogue, Letters, SpelledTonality, Tonality};
use crate::time::Time;
use crossbeam_channel::Sender;
use std::cell::RefCell;
use std::collections::HashMap;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex};

/// So many rows are there at once, before the index is compared with the files: no screen has
/// more.
const FIRST: usize = 200;

/// Lists the sittings of a folder, and reads one of them.
pub struct Library {
    folder: Folder,
    catalogue: Arc<Catalogue>,
    desk: Arc<Mutex<Desk>>,
    /// Held by the thread that compares the index with the files: one is enough.
    comparing: Arc<Mutex<()>>,
}

/// Where the threads leave what they have.
#[derive(Default)]
struct Desk {
    shelf: Shelf,
    /// Counts the lists, and the sittings that were asked for: what comes for an earlier one
    /// is thrown away.
    list: usize,
    asked: usize,
    chosen: Option<Box<Chosen>>,
}

/// A sitting that was asked for, as it was read.
#[derive(Clone, Debug)]
pub struct Chosen {
    pub row: Row,
    /// Notes, settings and what the player said, in order.
    pub events: Vec<(Time, Event)>,
    pub end: Time,
    pub markers: Vec<Marker>,
    /// What is wrong with its file.
    pub damage: Option<String>,
}

impl Library {
    pub fn new(folder: Folder, catalogue: Arc<Catalogue>) -> Library {
        Library {
            folder,
            catalogue,
            desk: Arc::default(),
            comparing: Arc::default(),
        }
    }

    /// Lists the sittings anew; `wake` gets a message whenever the shelf has changed.
    pub fn list(&self, wake: Sender<()>) {
        let mut desk = lock(&self.desk);
        desk.list += 1;
        desk.shelf = Shelf::default();
        let librarian = Librarian {
            desk: Arc::clone(&self.desk),
            list: desk.list,
            asked: desk.asked,
            wake,
        };
        drop(desk);
        let (folder, catalogue) = (self.folder.clone(), Arc::clone(&self.catalogue));
        let comparing = Arc::clone(&self.comparing);
        let told = librarian.clone();
        let failed = start("list of sittings", move || {
            let done = catch_unwind(AssertUnwindSafe(|| {
                list(&folder, &catalogue, &comparing, &librarian)
            }));
            let why = match done {
                Ok(Ok(())) => return,
                Ok(Err(e)) => e.to_string(),
                Err(_) => "the list of sittings has stopped".into(),
            };
            librarian.shelve(|shelf| shelf.filling = Filling::Failed(why));
        });
        if let Err(e) = failed {
            let why = plain::reason(&e);
            told.shelve(|shelf| shelf.filling = Filling::Failed(why));
        }
    }

    /// Reads one of those that are listed: [`Library::chosen`] has it soon, or
    /// [`Shelf::opening`] says why not.
    pub fn open(&self, id: &str, wake: Sender<()>) {
        let mut desk = lock(&self.desk);
        let Some(row) = desk.shelf.rows.iter().find(|row| row.id == id).cloned() else {
            return;
        };
        desk.asked += 1;
        desk.chosen = None;
        desk.shelf.opening = Opening::Reading;
        let librarian = Librarian {
            desk: Arc::clone(&self.desk),
            list: desk.list,
            asked: desk.asked,
            wake,
        };
        drop(desk);
        let (folder, catalogue) = (self.folder.clone(), Arc::clone(&self.catalogue));
        let told = librarian.clone();
        let failed = start("a sitting", move || {
            let read = catch_unwind(AssertUnwindSafe(|| read(&folder, &catalogue, row)));
            let why = match read {
                Ok(Ok(chosen)) => return librarian.hand_out(chosen),
                Ok(Err(why)) => why,
                Err(_) => "reading it has stopped".into(),
            };
            librarian.refuse(why);
        });
        if let Err(e) = failed {
            told.refuse(plain::reason(&e));
        }
    }

    /// What there is of the list.
    pub fn shelf(&self) -> Shelf {
        lock(&self.desk).shelf.clone()
    }

    /// The sitting that was asked for, once it has been read.
    pub fn chosen(&self) -> Option<Box<Chosen>> {
        lock(&self.desk).chosen.take()
    }

    /// Nobody looks at the list any longer, or waits for a sitting.
    pub fn close(&self) {
        let mut desk = lock(&self.desk);
        desk.list += 1;
        desk.asked += 1;
        desk.shelf = Shelf::default();
        desk.chosen = None;
    }
}

fn start(name: &str, work: impl FnOnce() + Send + 'static) -> io::Result<()> {
    let thread = std::thread::Builder::new().name(name.into());
    thread.spawn(work).map(|_| ())
}

/// A thread's way to the desk.
#[derive(Clone)]
struct Librarian {
    desk: Arc<Mutex<Desk>>,
    list: usize,
    asked: usize,
    wake: Sender<()>,
}

impl Librarian {
    fn shelve(&self, change: impl FnOnce(&mut Shelf)) {
        let mut desk = lock(&self.desk);
        if desk.list == self.list {
            change(&mut desk.shelf);
            let _ = self.wake.try_send(());
        }
    }

    fn hand_out(&self, chosen: Chosen) {
        let mut desk = lock(&self.desk);
        if desk.asked == self.asked {
            desk.chosen = Some(Box::new(chosen));
            desk.shelf.opening = Opening::None;
            let _ = self.wake.try_send(());
        }
    }

    fn refuse(&self, why: String) {
        let mut desk = lock(&self.desk);
        if desk.asked == self.asked {
            desk.shelf.opening = Opening::Failed(why);
            let _ = self.wake.try_send(());
        }
    }
}

/// The first rows as the index has them, then all as the files say.
fn list(
    folder: &Folder,
    catalogue: &Arc<Catalogue>,
    comparing: &Mutex<()>,
    librarian: &Librarian,
) -> Result<(), IndexError> {
    let mut index = Index::open(folder, catalogue)?;
    let stays = Stays::of(catalogue);
    let shelve = |index: &mut Index, limit, filling| -> Result<(), IndexError> {
        let (count, bytes) = index.room()?;
        let query = Query {
            limit,
            ..Query::default()
        };
        let rows = index.list_as(&query, |sitting| row(sitting, &stays))?;
        let said = index.said();
        librarian.shelve(|shelf| {
            shelf.rows = rows.into();
            (shelf.count, shelf.bytes, shelf.filling) = (count, bytes, filling);
            shelf.said.extend(said);
        });
        Ok(())
    };
    shelve(&mut index, Some(FIRST), Filling::Begun)?;
    let alone = lock(comparing);
    index.refresh(&mut |done, of| {
        librarian.shelve(|shelf| shelf.filling = Filling::Reading { done, of });
    })?;
    drop(alone);
    shelve(&mut index, None, Filling::Whole)
}

fn read(folder: &Folder, catalogue: &Catalogue, row: Row) -> Result<Chosen, String> {
    let recording = sittings::read(folder, &row.id, catalogue);
    let mut recording = recording.map_err(|e| e.to_string())?;
    Ok(Chosen {
        events: recording.events().collect(),
        end: recording.end,
        markers: std::mem::take(&mut recording.markers),
        damage: recording.faults.sentence(),
        row,
    })
}

/// What a front end is shown of a sitting.
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
        // A file of another program says nothing of when it began: its name tells it.
        name: s.name.or_else(|| s.begun.is_none().then(|| s.id.clone())),
        id: s.id,
        date,
        length: Time::from_seconds(s.seconds),
        tags: s.tags,
        markers,
        cut_off: s.cut_off,
        words,
    }
}

/// The tonalities that the index writes, read once each.
struct Stays<'c> {
    catalogue: &'c Catalogue,
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
    use crossbeam_channel::bounded;
    use std::time::Duration;

    const ETUDE: &[u8] = include_bytes!("../../recordings/05_ferry_lamp.mid");

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
        (dir, Library::new(folder, catalogue))
    }

    /// The list when all of it is there.
    fn listed(library: &Library) -> Shelf {
        let (wake, woken) = bounded(1);
        library.list(wake);
        loop {
            woken.recv_timeout(Duration::from_secs(20)).expect("news");
            let shelf = library.shelf();
            if !matches!(shelf.filling, Filling::Begun | Filling::Reading { .. }) {
                return shelf;
            }
        }
    }

    #[test]
    fn where_there_is_nothing_the_list_is_empty() {
        let (_dir, library) = library(&[]);
        let shelf = listed(&library);
        assert_eq!((shelf.rows.len(), shelf.count, shelf.bytes), (0, 0, 0));
        assert_eq!((shelf.filling, shelf.said), (Filling::Whole, vec![]));
    }

    #[test]
    fn what_is_there_is_listed_and_read() {
        let (_dir, library) = library(&[("ferry", ETUDE), ("bad", b"no music")]);
        let shelf = listed(&library);
        assert_eq!((shelf.count, shelf.bytes), (1, ETUDE.len() as u64));
        assert_eq!(shelf.rows[0].name.as_deref(), Some("ferry"));
        assert_eq!(shelf.said.len(), 1, "{:?}", shelf.said);
        assert!(shelf.said[0].contains("bad.mid: left out"));

        let (wake, woken) = bounded(1);
        library.open("ferry", wake.clone());
        woken.recv_timeout(Duration::from_secs(20)).expect("news");
        let chosen = library.chosen().expect("read");
        assert_eq!((&chosen.row, chosen.damage), (&shelf.rows[0], None));
        assert_eq!(chosen.end, chosen.row.length);
        assert!(library.chosen().is_none(), "once");
        // One that goes away in the meantime.
        std::fs::remove_file(library.folder.path("ferry")).expect("removed");
        library.open("ferry", wake.clone());
        woken.recv_timeout(Duration::from_secs(20)).expect("news");
        let opening = library.shelf().opening;
        assert!(
            matches!(&opening, Opening::Failed(why) if why.contains("no such file")),
            "{opening:?}"
        );
        // Nobody waits any longer.
        library.open("ferry", wake);
        library.close();
        assert_eq!(library.shelf(), Shelf::default());
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
