//! Keeps what is played: from the first note a file grows, valid after every write; when the
//! sitting ends, its facts are added and it takes its place among the others.
//!
//! Nothing here reads a clock but the calendar it is given, and nothing waits: the owner's
//! thread calls [`Keeper::write`] when it is due. What cannot be written is kept in memory up to
//! a bound, and written when that is possible again.

use super::files::{self, ChangeError};
use super::folder::Folder;
use super::in_force::InForce;
use super::journal::{Journal, Room, ToDisk, WAITING};
use super::room::{LOW, Space, free};
use super::sitting::Sitting;
use super::words::words;
use crate::engine::{Change, Event};
use crate::meter::Click;
use crate::midi::{self, Keyboard};
use crate::plan::Marker;
use crate::theory::Catalogue;
use crate::time::Time;
use jiff::ZonedDateTime;
use std::sync::Arc;

/// What a keeper has to say.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// A sitting has begun: the number that it has in this run of the program, from 1.
    Begun { number: u64 },
    /// It cannot be written at present, and why.
    Waiting { why: String },
    /// It can be written again.
    Again,
    /// The number of events that found no room in memory either.
    Missed(u64),
    /// Little room is left on its disk: the number of free bytes.
    Narrow { free: u64 },
    /// A sitting that had ended already has got this name (empty: none), or why not.
    Named {
        id: String,
        name: String,
        failed: Option<String>,
    },
    /// The notes of the last aside are out of the sitting's file, for good: how long the aside is.
    Thrown { length: Time },
    /// They are not, and why; or there are none.
    NotThrown { why: Option<String> },
    /// It has ended and stands among the others; `another`: the next has begun already.
    Kept {
        sitting: Box<Sitting>,
        another: bool,
    },
}

/// Tells what time it is where the player is.
pub type Calendar = Box<dyn Fn() -> ZonedDateTime + Send>;

/// Keeps one sitting after another.
pub struct Keeper {
    folder: Folder,
    catalogue: Arc<Catalogue>,
    calendar: Calendar,
    say: Box<dyn FnMut(News) + Send>,
    /// The settings and pedals that a sitting begins with.
    in_force: InForce,
    /// The click in force.
    click: Option<Click>,
    /// The names of several keyboards, each once.
    keyboards: Vec<(Keyboard, String)>,
    sitting: Option<Journal>,
    /// Number of sittings that have begun.
    begun: u64,
    to_disk: ToDisk,
    /// Sittings that have ended and could not be completed yet.
    ended: Vec<Journal>,
    /// The numbers and ids of those that stand among the others.
    kept: Vec<(u64, String)>,
    /// Whether the last attempt to write failed.
    failing: bool,
    /// Maximum number of events of a sitting that wait.
    most: usize,
    missed: u64,
    space: Space,
    /// Number of writes until the room on the disk is looked at again.
    until_look: u32,
    /// Whether it was too little the last time.
    narrow: bool,
}

/// How many writes there are to a look at the room on the disk: with two a second, this is every
/// half a minute.
const LOOK: u32 = 64;

impl Keeper {
    /// `to_disk` makes what was written reach the disk: [`File::sync_data`](std::fs::File).
    pub fn new(
        folder: Folder,
        catalogue: Arc<Catalogue>,
        calendar: Calendar,
        to_disk: ToDisk,
        say: impl FnMut(News) + Send + 'static,
    ) -> Keeper {
        Keeper {
            folder,
            catalogue,
            calendar,
            to_disk,
            say: Box::new(say),
            in_force: InForce::default(),
            click: None,
            keyboards: Vec::new(),
            sitting: None,
            begun: 0,
            ended: Vec::new(),
            kept: Vec::new(),
            failing: false,
            most: WAITING,
            missed: 0,
            space: Box::new(free),
            until_look: 0,
            narrow: false,
        }
    }

    /// With another way to tell how much room there is.
    #[cfg(test)]
    pub(super) fn with_space(self, space: Space) -> Keeper {
        Keeper { space, ..self }
    }

    /// With room for fewer events that wait.
    #[cfg(test)]
    pub(super) fn with_room_for(self, most: usize) -> Keeper {
        Keeper { most, ..self }
    }

    /// An event as the engine took it in. The first note begins a sitting.
    pub fn event(&mut self, at: Time, event: Event) {
        let strikes = matches!(event, Event::Midi(midi::Event::NoteOn { .. }));
        if self.sitting.is_none() {
            if !strikes {
                self.in_force.take(event);
                return;
            }
            let begun = (self.calendar)();
            let number = self.begun + 1;
            // In memory: it does not fail.
            let from = at - self.in_force.lead();
            let Ok(mut journal) = Journal::new(number, from, begun, self.catalogue.clone()) else {
                return;
            };
            for (keyboard, name) in &self.keyboards {
                journal.keyboard(*keyboard, name);
            }
            self.begun = number;
            for event in self.in_force.events() {
                journal.event(from, event, self.most);
            }
            if self.click.is_some() {
                journal.click(at, self.click);
            }
            self.sitting = Some(journal);
            (self.until_look, self.narrow) = (0, false);
            // Whatever keeps it from the disk is said anew.
            self.failing = false;
            (self.say)(News::Begun { number });
        }
        self.in_force.take(event);
        if let Some(journal) = &mut self.sitting
            && journal.event(at, event, self.most) == Room::None
        {
            self.missed += 1;
            (self.say)(News::Missed(self.missed));
        }
    }

    /// The name of one of several keyboards, before its first event.
    pub fn keyboard(&mut self, keyboard: Keyboard, name: String) {
        if let Some(journal) = &mut self.sitting {
            journal.keyboard(keyboard, &name);
        }
        self.keyboards.push((keyboard, name));
    }

    /// A moment that the player flagged.
    pub fn marker(&mut self, marker: &Marker) {
        if let Some(journal) = &mut self.sitting {
            journal.marker(marker);
        }
    }

    /// A click is in force from here on, or none. It begins no sitting.
    pub fn click(&mut self, at: Time, click: Option<Click>) {
        self.click = click;
        if let Some(journal) = &mut self.sitting {
            journal.click(at, click);
        }
    }

    /// The notes of the last aside leave the sitting that is going on.
    pub fn throw_away_aside(&mut self) {
        let journal = self.sitting.as_mut();
        let thrown =
            journal.map(|j| j.throw_away_aside(&self.folder, &self.catalogue, &mut self.to_disk));
        (self.say)(match thrown {
            Some(Ok(Some(length))) => News::Thrown { length },
            Some(Err(why)) => News::NotThrown {
                why: Some(why.to_string()),
            },
            Some(Ok(None)) | None => News::NotThrown { why: None },
        });
    }

    /// The player names the sitting with this number, which may have ended meanwhile. What is no
    /// name is passed over.
    pub fn name(&mut self, number: u64, name: &str) {
        let Ok(name) = words(name) else { return };
        let mut journals = self.sitting.iter_mut().chain(&mut self.ended);
        if let Some(journal) = journals.find(|journal| journal.number == number) {
            journal.name(name);
        } else if let Some((_, id)) = self.kept.iter().find(|kept| kept.0 == number) {
            let new = Some(name.to_owned()).filter(|name| !name.is_empty());
            let named = files::change(&self.folder, id, &self.catalogue, |f| f.name = new);
            (self.say)(News::Named {
                id: id.clone(),
                name: name.to_owned(),
                failed: named.err().map(|e| e.to_string()),
            });
        }
    }

    /// What the engine says: the plan as heard is made of it.
    pub fn change(&mut self, at: Time, change: Change) {
        if let Some(journal) = &mut self.sitting {
            journal.change(at, change);
        }
    }

    /// The sitting ends; the next note begins another.
    pub fn end(&mut self, at: Time) {
        if let Some(mut journal) = self.sitting.take() {
            journal.end(at);
            self.ended.push(journal);
            self.write();
        }
    }

    /// Whether anything waits to be written.
    pub fn is_due(&self) -> bool {
        !self.ended.is_empty() || self.sitting.as_ref().is_some_and(Journal::is_dirty)
    }

    /// Writes everything so far, and makes it reach the disk.
    pub fn write(&mut self) {
        let mut failed = None;
        let mut waiting = Vec::new();
        for mut journal in std::mem::take(&mut self.ended) {
            match journal.complete(&self.folder, &self.catalogue, &mut self.to_disk) {
                Ok(sitting) => {
                    self.kept.push((journal.number, sitting.id.clone()));
                    (self.say)(News::Kept {
                        sitting: Box::new(sitting),
                        another: self.sitting.is_some(),
                    });
                }
                Err(why) => {
                    failed = Some(why);
                    waiting.push(journal);
                }
            }
        }
        self.ended = waiting;
        if let Some(journal) = &mut self.sitting
            && journal.is_dirty()
            && let Err(why) = journal.write(&self.folder, &mut self.to_disk)
        {
            failed = Some(why.into());
        }
        match failed {
            Some(why) if !self.failing => {
                self.failing = true;
                (self.say)(News::Waiting {
                    why: why.to_string(),
                });
            }
            Some(_) => {}
            None if self.failing => {
                self.failing = false;
                if self.sitting.is_some() {
                    (self.say)(News::Again);
                }
            }
            None => {}
        }
        if self.sitting.is_some() {
            self.look_at_room();
        }
    }

    fn look_at_room(&mut self) {
        if self.until_look > 0 {
            self.until_look -= 1;
            return;
        }
        self.until_look = LOOK;
        let low = (self.space)(self.folder.root()).filter(|&free| free < LOW);
        if let Some(free) = low
            && !self.narrow
        {
            (self.say)(News::Narrow { free });
        }
        self.narrow = low.is_some();
    }

    /// The program ends: the error is why something could not be written.
    pub fn finish(mut self, at: Time) -> Result<(), ChangeError> {
        self.end(at);
        let mut first = Ok(());
        // One that cannot be written keeps none of the others from the disk.
        for journal in &mut self.ended {
            let done = journal.complete(&self.folder, &self.catalogue, &mut self.to_disk);
            first = first.and(done.map(|_| ()));
        }
        first
    }
}
