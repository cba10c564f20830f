//! The index of the sittings: what the list shows and finds, without reading every file.
//!
//! It holds only what the files say. An index that cannot be trusted is set aside and made anew;
//! where none can be opened, one in memory is used for this time.

mod query;
mod table;
#[cfg(test)]
mod tests;

use super::files;
use super::folder::Folder;
use super::sitting::{Heading, Sitting};
use crate::plain;
use crate::recording::Recording;
use crate::theory::Catalogue;
pub use query::{Query, Unknown};
use std::io;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use table::{Entry, Stamp, Table, Trouble};

/// No index can be had, not even in memory.
#[derive(Debug, thiserror::Error)]
#[error("the index of the sittings {0}")]
pub struct IndexError(Trouble);

/// Why a word leads to no sitting.
#[derive(Debug, thiserror::Error)]
pub enum FindError {
    #[error(transparent)]
    Unknown(#[from] Unknown),
    #[error(transparent)]
    Index(#[from] IndexError),
}

/// The sittings of a folder, in order.
pub struct Index {
    folder: Folder,
    catalogue: Arc<Catalogue>,
    table: Table,
    place: Place,
    /// Whether the table has been found whole.
    checked: bool,
    said: Vec<String>,
}

/// Where the table is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    File,
    Memory,
}

impl Index {
    /// Opens the index of a folder as it is: [`Index::refresh`] checks it, and compares it with
    /// the files.
    pub fn open(folder: &Folder, catalogue: &Arc<Catalogue>) -> Result<Index, IndexError> {
        let mut index = Index {
            folder: folder.clone(),
            catalogue: Arc::clone(catalogue),
            table: Table::in_memory().map_err(IndexError)?,
            place: Place::Memory,
            checked: false,
            said: Vec::new(),
        };
        // Where there is no folder there is nothing to keep an index of.
        if folder.root().is_dir() {
            index.place = Place::File;
            match Table::open(&folder.index()) {
                Ok(table) => index.table = table,
                Err(trouble) => index.without(trouble)?,
            }
        }
        Ok(index)
    }

    /// What there is to say to the user since this was last asked, a sentence each.
    pub fn said(&mut self) -> Vec<String> {
        std::mem::take(&mut self.said)
    }

    /// Reads what is new or changed in the folder, and forgets what is gone; whether anything
    /// was. `progress` gets how many files have been read, and of how many.
    pub fn refresh(&mut self, progress: &mut dyn FnMut(usize, usize)) -> Result<bool, IndexError> {
        let mut anew = false;
        loop {
            match self.fill(progress) {
                Ok(changed) => return Ok(changed || anew),
                Err(trouble) => self.without(trouble)?,
            }
            anew = true;
        }
    }

    /// Reads all files again. The number of sittings.
    pub fn rebuild(&mut self, progress: &mut dyn FnMut(usize, usize)) -> Result<usize, IndexError> {
        self.with(Table::clear)?;
        self.refresh(progress)?;
        Ok(self.with(Table::names)?.len())
    }

    /// Takes in a sitting whose file has just been written.
    pub fn put(&mut self, sitting: &Sitting) -> Result<(), IndexError> {
        let Ok(stamp) = Stamp::of(&self.folder.path(&sitting.id)) else {
            // Its file is gone already.
            return Ok(());
        };
        let sitting = stamped(sitting.clone(), stamp);
        self.with(|table| table.put(&sitting))
    }

    /// The sittings that fit, the newest first.
    pub fn list(&mut self, query: &Query) -> Result<Vec<Sitting>, IndexError> {
        self.list_as(query, |sitting| sitting)
    }

    /// The same, each mapped by `made`, so that of ten thousand not all is kept.
    pub fn list_as<T>(
        &mut self,
        query: &Query,
        made: impl Fn(Sitting) -> T,
    ) -> Result<Vec<T>, IndexError> {
        self.with(|table| {
            found(table, query, |entry| {
                let sitting = entry.sitting()?;
                Ok(query.fits(&sitting).then(|| made(sitting)))
            })
        })
    }

    /// The same, with no more of each than a line says.
    pub fn headings(&mut self, query: &Query) -> Result<Vec<Heading>, IndexError> {
        self.with(|table| headings(table, query))
    }

    /// [`Index::refresh`] and [`Index::headings`] in one: the rows are read while the index is
    /// compared with the files, and again if it differs.
    pub fn refreshed_headings(
        &mut self,
        query: &Query,
        progress: &mut dyn FnMut(usize, usize),
    ) -> Result<Vec<Heading>, IndexError> {
        if self.place == Place::Memory {
            self.refresh(progress)?;
            return self.headings(query);
        }
        let file = self.folder.index();
        let (changed, early) = std::thread::scope(|scope| {
            // Whatever is wrong with the index is found out, and said, by the other.
            let early = scope.spawn(|| headings(&Table::open(&file)?, query));
            (self.refresh(progress), early.join())
        });
        match (changed?, early) {
            (false, Ok(Ok(list))) => Ok(list),
            _ => self.headings(query),
        }
    }

    /// How many sittings there are, and how many bytes their files take.
    pub fn room(&mut self) -> Result<(usize, u64), IndexError> {
        self.with(Table::room)
    }

    /// The sitting that a word means: `last`, `last-2` for the second last, an id or a name, or a
    /// part of one that no other has.
    pub fn find(&mut self, word: &str) -> Result<Sitting, FindError> {
        let all = self.with(Table::names)?;
        let id = &all[query::choose(word, &all)?].0;
        match self.with(|table| table.get(id))? {
            Some(sitting) => Ok(sitting),
            // It has gone since.
            None => Err(Unknown::NoSuch(None).into()),
        }
    }

    /// The sitting in which the very same was played, if there is one.
    pub fn same(&mut self, music: &Recording) -> Result<Option<Sitting>, IndexError> {
        let notes = Sitting::of("", music, &self.catalogue).notes;
        for id in self.with(|table| table.with_notes(notes))? {
            let there = files::read(&self.folder, &id, &self.catalogue);
            if there.is_ok_and(|there| there.notes == music.notes && there.said == music.said) {
                return self.with(|table| table.get(&id));
            }
        }
        Ok(None)
    }

    /// Does something with the table, or with the one that takes its place.
    fn with<T>(&mut self, work: impl Fn(&Table) -> Result<T, Trouble>) -> Result<T, IndexError> {
        loop {
            match work(&self.table) {
                Ok(done) => return Ok(done),
                Err(trouble) => self.without(trouble)?,
            }
            self.refresh(&mut |_, _| {})?;
        }
    }

    fn fill(&mut self, progress: &mut dyn FnMut(usize, usize)) -> Result<bool, Trouble> {
        if !self.checked {
            self.table.check()?;
            self.checked = true;
        }
        let mut known = self.table.stamps()?;
        let files = match self.folder.files() {
            Ok(files) => files,
            Err(e) => {
                let folder = plain::path(self.folder.root());
                let why = plain::reason(&e);
                self.said.push(format!("{folder}: cannot be read: {why}"));
                return Ok(false);
            }
        };
        let mut new = Vec::new();
        for (id, file) in files {
            match Stamp::of_entry(&file) {
                Ok(stamp) if known.get(&id) == Some(&stamp) => drop(known.remove(&id)),
                Ok(stamp) => new.push((id, stamp)),
                Err(e) if e.kind() == io::ErrorKind::NotFound => {}
                Err(e) => self.unread(&id, &plain::reason(&e)),
            }
        }
        for (done, (id, stamp)) in new.iter().enumerate() {
            progress(done, new.len());
            match files::read(&self.folder, id, &self.catalogue) {
                Ok(recording) => {
                    let sitting = Sitting::of(id, &recording, &self.catalogue);
                    self.table.put(&stamped(sitting, *stamp))?;
                    known.remove(id);
                }
                Err(e) => self.unread(id, &e.to_string()),
            }
        }
        known.keys().try_for_each(|id| self.table.remove(id))?;
        Ok(!new.is_empty() || !known.is_empty())
    }

    fn unread(&mut self, id: &str, why: &str) {
        let file = plain::path(&self.folder.path(id));
        self.said
            .push(format!("{file}: left out of the sittings: {why}"));
    }

    /// Puts another table in the place of one that is of no use.
    fn without(&mut self, trouble: Trouble) -> Result<(), IndexError> {
        if self.place == Place::Memory {
            return Err(IndexError(trouble));
        }
        // Closes the file.
        self.table = Table::in_memory().map_err(IndexError)?;
        self.place = Place::Memory;
        let file = self.folder.index();
        let trouble = match trouble {
            Trouble::Damaged | Trouble::Later => match set_aside(&file) {
                Ok(aside) => {
                    let name = aside.file_name().unwrap_or_default();
                    self.said.push(format!(
                        "the index of the sittings {trouble}: it was set aside as {}, and another \
                         is made of the files",
                        plain::name(&name.to_string_lossy())
                    ));
                    match Table::open(&file) {
                        Ok(table) => {
                            self.table = table;
                            self.place = Place::File;
                            return Ok(());
                        }
                        Err(trouble) => trouble,
                    }
                }
                Err(_) => trouble,
            },
            trouble => trouble,
        };
        self.said.push(format!(
            "the index of the sittings {trouble}: this time the files themselves are read"
        ));
        Ok(())
    }
}

fn headings(table: &Table, query: &Query) -> Result<Vec<Heading>, Trouble> {
    found(table, query, |entry| {
        if query.takes_any() {
            return entry.heading().map(Some);
        }
        let sitting = entry.sitting()?;
        Ok(query.fits(&sitting).then(|| sitting.heading()))
    })
}

/// What is made of those that were played in the query's time, as many as it wants.
fn found<T>(
    table: &Table,
    query: &Query,
    made: impl Fn(&Entry) -> Result<Option<T>, Trouble>,
) -> Result<Vec<T>, Trouble> {
    let mut list = Vec::new();
    let most = query.limit.unwrap_or(usize::MAX);
    if most == 0 {
        return Ok(list);
    }
    table.each(query.since, query.until, |entry| {
        list.extend(made(&entry)?);
        Ok(match list.len() < most {
            true => ControlFlow::Continue(()),
            false => ControlFlow::Break(()),
        })
    })?;
    Ok(list)
}

fn stamped(sitting: Sitting, stamp: Stamp) -> Sitting {
    Sitting {
        size: stamp.size,
        modified: stamp.modified,
        ..sitting
    }
}

/// Renames an index and what SQLite keeps beside it; the new name.
fn set_aside(index: &Path) -> io::Result<PathBuf> {
    let with = |path: &Path, ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let mut aside = with(index, ".set-aside");
    let mut number = 2;
    while aside.symlink_metadata().is_ok() {
        aside = with(index, &format!(".set-aside-{number}"));
        number += 1;
    }
    std::fs::rename(index, &aside)?;
    for ending in ["-wal", "-shm"] {
        // Not there, mostly.
        let _ = std::fs::rename(with(index, ending), with(&aside, ending));
    }
    Ok(aside)
}
