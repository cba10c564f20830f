//! One sitting while it is played: what is on the disk, and what waits to be.

use super::files::{ChangeError, complete};
use super::folder::{Folder, Growing, private};
use super::sitting::Sitting;
use crate::engine::{Change, Event, History, Observer};
use crate::plan::{Marker, Region, TonalPlan};
use crate::recording::{Facts, Writer};
use crate::theory::Catalogue;
use crate::time::Time;
use jiff::ZonedDateTime;
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::sync::Arc;

/// Maximum number of events that wait in memory for a disk that takes none.
const WAITING: usize = 1_000_000;

/// One sitting.
pub(super) struct Journal {
    /// When its first note sounded, in the engine's time and by the calendar.
    from: Time,
    begun: ZonedDateTime,
    /// Its file, once it could be made.
    paper: Option<Writer<Paper>>,
    /// What was played before that.
    early: Vec<Item>,
    /// Number of items that the disk does not have yet.
    waiting: usize,
    history: History,
    name: Option<String>,
    /// The latest event, and the end once there is one, from the beginning of the sitting.
    last: Time,
    ended: Option<Time>,
}

enum Item {
    Event(Time, Event),
    Marker(Marker),
    Name(Time, String),
}

/// A file that is made again if it is taken away.
struct Paper {
    growing: Growing,
    file: File,
}

/// Whether there was room for an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Room {
    Some,
    None,
}

impl Journal {
    /// `from`: when its first note sounded, in the engine's time; `begun`: by the calendar.
    pub fn new(from: Time, begun: ZonedDateTime) -> Journal {
        Journal {
            from,
            begun,
            paper: None,
            early: Vec::new(),
            waiting: 0,
            history: History::default(),
            name: None,
            last: from,
            ended: None,
        }
    }

    /// An event as the engine took it in.
    pub fn event(&mut self, at: Time, event: Event) -> Room {
        self.last = self.last.max(at);
        let at = at.since(self.from);
        if self.waiting >= WAITING {
            return Room::None;
        }
        self.waiting += 1;
        match &mut self.paper {
            Some(paper) => paper.event(at, event),
            None => self.early.push(Item::Event(at, event)),
        }
        Room::Some
    }

    pub fn marker(&mut self, marker: &Marker) {
        self.last = self.last.max(marker.at);
        let since = |at: Time| at.since(self.from);
        let marker = Marker {
            at: since(marker.at),
            about: marker.about.map(|(from, to)| (since(from), since(to))),
            name: marker.name.clone(),
        };
        self.waiting += 1;
        match &mut self.paper {
            Some(paper) => paper.marker(&marker),
            None => self.early.push(Item::Marker(marker)),
        }
    }

    /// The player calls it so; nothing takes the name away.
    pub fn name(&mut self, name: &str) {
        self.name = Some(name.to_owned()).filter(|name| !name.is_empty());
        let at = self.last.since(self.from);
        self.waiting += 1;
        match &mut self.paper {
            Some(paper) => paper.named(at, name),
            None => self.early.push(Item::Name(at, name.to_owned())),
        }
    }

    pub fn change(&mut self, at: Time, change: Change) {
        self.history.change(at, change);
    }

    /// Nothing more belongs to it.
    pub fn end(&mut self, at: Time) {
        self.last = self.last.max(at);
        self.history.advance_to(self.last);
        self.ended = Some(self.last.since(self.from));
    }

    /// Whether anything is not on the disk yet.
    pub fn is_dirty(&self) -> bool {
        self.waiting > 0 || self.ended.is_some()
    }

    /// Writes everything so far, and makes it reach the disk.
    pub fn write(&mut self, folder: &Folder, catalogue: &Arc<Catalogue>) -> io::Result<()> {
        let paper = match &mut self.paper {
            Some(paper) => {
                paper.get_mut().find_again(folder)?;
                paper
            }
            None => {
                let paper = Paper::new(folder, &self.begun)?;
                let made = paper.growing.paths();
                // A full disk takes the name of a file, but nothing in it: the next attempt must
                // find the name free.
                let mut paper = Writer::new(paper, catalogue.clone()).inspect_err(|_| {
                    for path in &made {
                        let _ = std::fs::remove_file(path);
                    }
                })?;
                paper.begun(&rfc3339(&self.begun));
                for item in self.early.drain(..) {
                    match item {
                        Item::Event(at, event) => paper.event(at, event),
                        Item::Marker(marker) => paper.marker(&marker),
                        Item::Name(at, name) => paper.named(at, &name),
                    }
                }
                self.paper.insert(paper)
            }
        };
        if let Some(end) = self.ended {
            paper.pass(end);
        }
        paper.flush()?;
        paper.get_ref().file.sync_data()?;
        self.waiting = 0;
        Ok(())
    }

    /// Writes everything, adds the facts, and puts the file among the others.
    pub fn complete(
        &mut self,
        folder: &Folder,
        catalogue: &Arc<Catalogue>,
    ) -> Result<Sitting, ChangeError> {
        self.write(folder, catalogue)?;
        let Some(paper) = &self.paper else {
            return Err(io::Error::other("its file was not made").into());
        };
        let facts = Facts {
            begun: Some(rfc3339(&self.begun)),
            name: self.name.clone(),
            heard: self.plan(),
            ..Facts::default()
        };
        let growing = &paper.get_ref().growing;
        let recording = complete(folder, growing, &facts, catalogue)?;
        let sitting = Sitting::of(&growing.id, &recording, catalogue);
        if let Some(paper) = self.paper.take() {
            paper.into_inner().growing.done();
        }
        Ok(sitting)
    }

    /// The plan as heard, from the sitting's own beginning to its end.
    fn plan(&self) -> TonalPlan {
        let end = self.last;
        let own = |regions: &[Region]| {
            let own = regions.iter().map(|r| Region {
                start: r.start.since(self.from),
                end: r.end.min(end).since(self.from),
                since: r.since.since(self.from),
                ..*r
            });
            own.filter(|r| r.start < r.end).collect()
        };
        let plan = self.history.plan();
        TonalPlan {
            regions: own(&plan.regions),
            home: own(&plan.home),
        }
    }
}

fn rfc3339(when: &ZonedDateTime) -> String {
    when.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

impl Paper {
    fn new(folder: &Folder, begun: &ZonedDateTime) -> io::Result<Paper> {
        let growing = folder.begin(begun)?;
        match private().create_new(true).open(&growing.path) {
            Ok(file) => Ok(Paper { growing, file }),
            Err(e) => {
                growing.done();
                Err(e)
            }
        }
    }

    /// If the file was taken away, what was written so far is put where it was.
    fn find_again(&mut self, folder: &Folder) -> io::Result<()> {
        if self.growing.path.exists() {
            return Ok(());
        }
        folder.make()?;
        self.growing.lock_again()?;
        let mut anew = private().create_new(true).open(&self.growing.path)?;
        let copied = self.file.seek(SeekFrom::Start(0));
        let copied = copied.and_then(|_| io::copy(&mut self.file, &mut anew));
        if let Err(e) = copied {
            let _ = std::fs::remove_file(&self.growing.path);
            return Err(e);
        }
        self.file = anew;
        Ok(())
    }
}

impl Write for Paper {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for Paper {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}
