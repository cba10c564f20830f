//! The user's sittings, opened: the folder of the settings, and its index brought up to date.

use super::super::failure::Failure;
use crate::console::{self, ProgressLine};
use crate::correction::{Revision, Signature};
use crate::engine::Monitor;
use crate::plain;
use crate::recording::{Facts, Recording};
use crate::settings::Settings;
use crate::sittings::{
    self, CorrectError, FindError, Folder, Heading, Index, IndexError, Query, Revised, Sitting,
};
use crate::theory::Catalogue;
use std::ops::ControlFlow;
use std::sync::Arc;

/// How sittings are taken away.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Deleting {
    ToTrash,
    /// Where the system has no trash.
    ForGood,
}

pub struct Open {
    pub folder: Folder,
    index: Index,
    catalogue: Arc<Catalogue>,
}

impl Open {
    pub fn catalogue(&self) -> &Catalogue {
        &self.catalogue
    }

    pub fn new(settings: &Settings) -> Result<Open, Failure> {
        let mut open = Open::as_it_is(settings)?;
        open.telling(|index, tell| index.refresh(tell))?;
        Ok(open)
    }

    /// The index is not brought up to date yet.
    pub fn as_it_is(settings: &Settings) -> Result<Open, Failure> {
        let Some(folder) = settings.sittings() else {
            return Err(Failure::Failed(
                "this system has no folder for sittings: name one as folder under [sittings] in \
                 your settings"
                    .into(),
            ));
        };
        let folder = Folder::new(folder);
        let catalogue = Arc::clone(&settings.catalogue);
        let index = Index::open(&folder, &catalogue).map_err(failed)?;
        Ok(Open {
            folder,
            index,
            catalogue,
        })
    }

    /// Works on the index, with a line that shows how far it is, and says what it has to say.
    fn telling<T, E>(
        &mut self,
        work: impl FnOnce(&mut Index, &mut dyn FnMut(usize, usize)) -> Result<T, E>,
    ) -> Result<T, Failure>
    where
        E: Into<FindError>,
    {
        let mut line = ProgressLine::new();
        let done = work(&mut self.index, &mut |done, of| {
            let share = done as f64 / of as f64;
            line.tell(share, &format!("reading sittings: {done} of {of}"));
        });
        drop(line);
        self.index
            .said()
            .iter()
            .for_each(|what| console::report(what));
        done.map_err(|e| Failure::Failed(e.into().to_string()))
    }

    pub fn list(&mut self, query: &Query) -> Result<Vec<Sitting>, Failure> {
        self.telling(|index, _| index.list(query))
    }

    /// Brings the index up to date, and lists.
    pub fn refreshed_headings(&mut self, query: &Query) -> Result<Vec<Heading>, Failure> {
        self.telling(|index, tell| index.refreshed_headings(query, tell))
    }

    pub fn find(&mut self, word: &str) -> Result<Sitting, Failure> {
        let found = self.find_or_why(word);
        found.map_err(|e| Failure::Failed(format!("{}: {e}", plain::name(word))))
    }

    pub fn find_or_why(&mut self, word: &str) -> Result<Sitting, FindError> {
        let found = self.index.find(word);
        self.index
            .said()
            .iter()
            .for_each(|what| console::report(what));
        found
    }

    pub fn same(&mut self, music: &Recording) -> Result<Option<Sitting>, Failure> {
        self.telling(|index, _| index.same(music))
    }

    pub fn put(&mut self, sitting: &Sitting) -> Result<(), Failure> {
        self.telling(|index, _| index.put(sitting))
    }

    pub fn rebuild(&mut self) -> Result<usize, Failure> {
        self.telling(|index, tell| index.rebuild(tell))
    }

    /// Changes what is known of the sitting that a word means; it as it is now.
    pub fn change(
        &mut self,
        word: &str,
        change: impl FnOnce(&mut Facts),
    ) -> Result<Sitting, Failure> {
        let id = self.find(word)?.id;
        let recording = sittings::change(&self.folder, &id, &self.catalogue, change);
        let recording = recording.map_err(|e| {
            Failure::Failed(format!("{}: {e}", plain::path(&self.folder.path(&id))))
        })?;
        self.put(&Sitting::of(&id, &recording, &self.catalogue))?;
        self.find(&id)
    }

    /// Revises the corrected plan of a sitting: see [`sittings::correct`].
    pub fn correct(
        &self,
        id: &str,
        to: (&Revision, &Signature),
        fresh: Monitor,
        progress: impl FnMut(f32) -> ControlFlow<()>,
    ) -> Result<Revised, CorrectError> {
        sittings::correct(&self.folder, id, to, fresh, &self.catalogue, progress)
    }

    /// Takes in a sitting that was revised; it as it is now.
    pub fn put_revised(&mut self, id: &str, revised: &Revised) -> Result<Sitting, Failure> {
        self.put(&Sitting::of(id, &revised.recording, &self.catalogue))?;
        self.find(id)
    }

    /// Takes a sitting away; the error says why it stays.
    pub fn delete(&mut self, sitting: &Sitting, way: Deleting) -> Result<(), Failure> {
        let path = self.folder.path(&sitting.id);
        let gone = match way {
            Deleting::ToTrash => sittings::to_trash(&self.folder, &sitting.id)
                .map_err(|why| format!("stays, as it cannot go to the trash: {why}")),
            Deleting::ForGood => std::fs::remove_file(&path)
                .map_err(|e| format!("cannot be deleted: {}", plain::reason(&e))),
        };
        gone.map_err(|why| {
            Failure::Failed(format!("{}: {}", plain::path(&path), plain::name(&why)))
        })?;
        self.telling(|index, tell| index.refresh(tell))?;
        Ok(())
    }
}

fn failed(e: IndexError) -> Failure {
    Failure::Failed(e.to_string())
}
