//! One sitting while it is played: what is on the disk, and what waits to be.

use super::files::{ChangeError, complete};
use super::folder::{Folder, Growing, is_at, private};
use super::sitting::Sitting;
use crate::engine::{Change, Event, History, Observer};
use crate::meter::Click;
use crate::midi::{self, Keyboard, Limits};
use crate::plan::{Marker, Region, TonalPlan};
use crate::recording::{self, Facts, Writer};
use crate::theory::Catalogue;
use crate::time::Time;
use jiff::ZonedDateTime;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom, Write};
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

/// Maximum number of events that wait in memory for a disk that takes none: some 5 MB.
pub(super) const WAITING: usize = 1_000_000;

/// Makes what was written to a file reach the disk.
pub type ToDisk = Box<dyn FnMut(&File) -> io::Result<()> + Send>;

/// One sitting.
pub(super) struct Journal {
    /// Its number among those of this program's run, from 1.
    pub number: u64,
    /// When its first note sounded, in the engine's time and by the calendar.
    from: Time,
    begun: ZonedDateTime,
    file: Writer<Paper>,
    /// Number of events, markers and names that the disk does not have yet.
    waiting: usize,
    /// Whether there was no room for the latest events: a release may be among them.
    gap: bool,
    history: History,
    name: Option<String>,
    /// The names of several keyboards.
    keyboards: Vec<(Keyboard, String)>,
    /// The latest event, and the end once there is one, from the beginning of the sitting.
    last: Time,
    ended: Option<Time>,
}

/// What a sitting's file is written on.
enum Paper {
    /// Its file could not be made yet.
    Memory(Cursor<Vec<u8>>),
    /// A file that is made again if it is taken away.
    Disk { growing: Growing, file: File },
}

/// Whether there was room for an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Room {
    Some,
    None,
}

impl Journal {
    /// `from`: when its first note sounded, in the engine's time; `begun`: by the calendar.
    pub fn new(
        number: u64,
        from: Time,
        begun: ZonedDateTime,
        catalogue: Arc<Catalogue>,
    ) -> io::Result<Journal> {
        let mut file = Writer::new(Paper::Memory(Cursor::default()), catalogue)?;
        file.begun(&rfc3339(&begun));
        Ok(Journal {
            number,
            from,
            begun,
            file,
            waiting: 0,
            gap: false,
            history: History::default(),
            name: None,
            keyboards: Vec::new(),
            last: from,
            ended: None,
        })
    }

    /// An event as the engine took it in; `most` may wait.
    pub fn event(&mut self, at: Time, event: Event, most: usize) -> Room {
        self.last = self.last.max(at);
        let at = at.since(self.from);
        self.gap |= self.waiting >= most;
        if self.waiting >= most {
            return Room::None;
        }
        if std::mem::take(&mut self.gap) {
            self.file.event(at, Event::Midi(midi::Event::Release));
        }
        self.waiting += 1;
        self.file.event(at, event);
        Room::Some
    }

    /// The name of one of several keyboards, before its first event.
    pub fn keyboard(&mut self, keyboard: Keyboard, name: &str) {
        self.file.keyboard(keyboard, name);
        self.keyboards.push((keyboard, name.to_owned()));
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
        self.file.marker(&marker);
    }

    /// A click is in force from here on, or none.
    pub fn click(&mut self, at: Time, click: Option<Click>) {
        self.last = self.last.max(at);
        let at = at.since(self.from);
        let click = click.map(|click| click.since(self.from));
        self.waiting += 1;
        self.file.click(at, click);
    }

    /// The notes of the last aside leave the file for good; how long the aside is. `None`: none
    /// of its asides has notes.
    pub fn throw_away_aside(
        &mut self,
        folder: &Folder,
        catalogue: &Arc<Catalogue>,
        to_disk: &mut ToDisk,
    ) -> Result<Option<Time>, ChangeError> {
        self.file.flush()?;
        let bytes = self.file.get_mut().bytes()?;
        let all = &mut |_| ControlFlow::Continue(());
        let mut recording = recording::read_with(&bytes, catalogue, &Limits::none(), all)?;
        if !recording.faults.is_empty() {
            return Err(io::Error::other("its file is not whole").into());
        }
        let latest = Time(u64::MAX);
        let Some((from, to)) = recording::throw_away_aside(&mut recording, latest) else {
            return Ok(None);
        };
        let mut anew = Writer::new(Paper::Memory(Cursor::default()), Arc::clone(catalogue))?;
        anew.begun(&rfc3339(&self.begun));
        for (keyboard, name) in &self.keyboards {
            anew.keyboard(*keyboard, name);
        }
        recording::write_into(&recording, &mut anew);
        if let Some(name) = &self.name {
            anew.named(self.last.since(self.from), name);
        }
        anew.flush()?;
        self.file.get_mut().become_like(anew.get_mut())?;
        self.file = anew;
        // They are gone, even if the disk takes nothing just now: the next writing tries again.
        self.waiting += 1;
        let _ = self.write(folder, to_disk);
        Ok(Some(to.since(from)))
    }

    /// The player calls it so; nothing takes the name away.
    pub fn name(&mut self, name: &str) {
        self.name = Some(name.to_owned()).filter(|name| !name.is_empty());
        self.waiting += 1;
        self.file.named(self.last.since(self.from), name);
    }

    pub fn change(&mut self, at: Time, change: Change) {
        self.history.change(at, change);
        self.history.forget_chords();
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
    pub fn write(&mut self, folder: &Folder, to_disk: &mut ToDisk) -> io::Result<()> {
        self.file.get_mut().have(folder, &self.begun)?;
        if let Some(end) = self.ended {
            self.file.pass(end);
        }
        self.file.flush()?;
        if let Paper::Disk { file, .. } = self.file.get_ref() {
            to_disk(file)?;
        }
        self.waiting = 0;
        Ok(())
    }

    /// Writes everything, adds the facts, and puts the file among the others.
    pub fn complete(
        &mut self,
        folder: &Folder,
        catalogue: &Arc<Catalogue>,
        to_disk: &mut ToDisk,
    ) -> Result<Sitting, ChangeError> {
        self.write(folder, to_disk)?;
        let Paper::Disk { growing, .. } = self.file.get_ref() else {
            return Err(io::Error::other("its file was not made").into());
        };
        let facts = Facts {
            begun: Some(rfc3339(&self.begun)),
            name: self.name.clone(),
            heard: self.plan(),
            ..Facts::default()
        };
        let recording = complete(folder, growing, &facts, catalogue)?;
        let sitting = Sitting::of(&growing.id, &recording, catalogue);
        growing.done();
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
    /// All that was written.
    fn bytes(&mut self) -> io::Result<Vec<u8>> {
        match self {
            Paper::Memory(memory) => Ok(memory.get_ref().clone()),
            Paper::Disk { file, .. } => {
                let mut bytes = Vec::new();
                file.seek(SeekFrom::Start(0))?;
                file.read_to_end(&mut bytes)?;
                Ok(bytes)
            }
        }
    }

    /// Puts what `anew` holds in memory in the place of this, and makes `anew` what this was.
    fn become_like(&mut self, anew: &mut Paper) -> io::Result<()> {
        if let Paper::Disk { growing, file } = self {
            *file = put(&mut Cursor::new(anew.bytes()?), &growing.path)?;
            std::mem::swap(self, anew);
        }
        Ok(())
    }

    /// Sees to it that there is a file, and in its place, with all that was written so far.
    fn have(&mut self, folder: &Folder, begun: &ZonedDateTime) -> io::Result<()> {
        match self {
            Paper::Memory(memory) => {
                let growing = folder.begin(begun)?;
                let made = private().create_new(true).open(&growing.path);
                let written = made.and_then(|mut file| {
                    file.write_all(memory.get_ref())?;
                    Ok(file)
                });
                match written {
                    Ok(file) => *self = Paper::Disk { growing, file },
                    // A full disk takes the name of a file, but nothing in it: the next attempt
                    // must find the name free.
                    Err(e) => {
                        growing.done();
                        return Err(e);
                    }
                }
            }
            Paper::Disk { growing, file } if !is_at(file, &growing.path) => {
                folder.make()?;
                growing.lock_again()?;
                *file = put(file, &growing.path)?;
            }
            Paper::Disk { .. } => {}
        }
        Ok(())
    }
}

/// Puts what `from` holds at a path, in the place of what may stand there; the file there.
fn put(from: &mut (impl Read + Seek), path: &Path) -> io::Result<File> {
    let beside = path.with_extension("new");
    // A disk that was full may have left one.
    let _ = std::fs::remove_file(&beside);
    let mut anew = private().create_new(true).open(&beside)?;
    let copied = from.seek(SeekFrom::Start(0));
    let copied = copied.and_then(|_| io::copy(from, &mut anew));
    let there = copied.and_then(|_| std::fs::rename(&beside, path));
    if let Err(e) = there {
        let _ = std::fs::remove_file(&beside);
        return Err(e);
    }
    Ok(anew)
}

impl Write for Paper {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Paper::Memory(memory) => memory.write(bytes),
            Paper::Disk { file, .. } => file.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Paper::Memory(memory) => memory.flush(),
            Paper::Disk { file, .. } => file.flush(),
        }
    }
}

impl Seek for Paper {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match self {
            Paper::Memory(memory) => memory.seek(to),
            Paper::Disk { file, .. } => file.seek(to),
        }
    }
}
