//! What the index knows of a sitting.

use crate::midi::Event;
use crate::plan::Region;
use crate::recording::{Facts, Recording};
use crate::theory::{Catalogue, Notation};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// A sitting, as the list shows it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sitting {
    /// The name of its file, without the ending; nothing else has it.
    pub id: String,
    /// When its first note sounded, as the clock of the place had it (RFC 3339).
    pub begun: Option<String>,
    pub seconds: f64,
    /// How many keys were struck.
    pub notes: u64,
    /// The player's name for it.
    pub name: Option<String>,
    pub tags: Vec<String>,
    /// It did not end by itself.
    pub cut_off: bool,
    /// How many corrections its listener has made.
    pub corrections: u64,
    /// Where the music was, as heard, in order.
    pub here: Vec<Stay>,
    /// And what was home.
    pub home: Vec<Stay>,
    /// The player's markers: seconds, name.
    pub markers: Vec<(f64, String)>,
    /// Of its file, in bytes.
    pub size: u64,
    /// When its file was last written.
    pub modified: Timestamp,
}

/// What a line of the list says of a sitting.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heading {
    pub id: String,
    /// See [`Sitting::date`].
    pub date: String,
    pub seconds: f64,
    pub notes: u64,
    pub name: Option<String>,
    pub tags: Vec<String>,
    pub cut_off: bool,
    pub corrections: u64,
    /// The tonalities of [`Sitting::here`] in order, with [`Heading::TO`] between them; one that
    /// goes on is said once.
    pub way: String,
}

/// A region, in plain values.
#[derive(Clone, Debug, PartialEq)]
pub struct Stay {
    /// In seconds.
    pub start: f64,
    pub end: f64,
    /// The pitch class of the center.
    pub center: u8,
    /// The mode's id.
    pub mode: String,
    /// As a musician reads it: "D Dorian".
    pub label: String,
}

impl Sitting {
    /// What a sitting's file says. Its size, and when it was written, are the index's to find.
    pub fn of(id: &str, recording: &Recording, catalogue: &Catalogue) -> Sitting {
        let facts = &recording.facts;
        let stays = |regions: &[Region]| {
            let stays = regions.iter().map(|r| Stay::of(r, catalogue));
            stays.collect::<Vec<_>>()
        };
        let struck = |e: &Event| matches!(e, Event::NoteOn { .. });
        let markers = recording.markers.iter();
        Sitting {
            id: id.into(),
            begun: facts.begun.clone(),
            seconds: recording.end.seconds(),
            notes: recording.notes.iter().filter(|t| struck(&t.event)).count() as u64,
            name: facts.name.clone(),
            tags: facts.tags.clone(),
            cut_off: facts.cut_off,
            corrections: corrections(facts),
            here: stays(&facts.heard.regions),
            home: stays(&facts.heard.home),
            markers: markers.map(|m| (m.at.seconds(), m.name.clone())).collect(),
            ..Sitting::default()
        }
    }

    /// The moment that it is ordered by: when it began, or else when its file was last written.
    pub fn at(&self) -> Timestamp {
        let begun = self.begun.as_deref().and_then(|b| b.parse().ok());
        begun.unwrap_or(self.modified)
    }

    /// When it was played, as the clock of the place had it: `2026-11-29 20:15`.
    pub fn date(&self) -> String {
        date(self.begun.as_deref(), self.modified)
    }

    /// What it is called: its name, or else that of its file.
    pub fn title(&self) -> &str {
        self.name.as_deref().unwrap_or(&self.id)
    }

    pub fn heading(&self) -> Heading {
        Heading {
            id: self.id.clone(),
            date: self.date(),
            seconds: self.seconds,
            notes: self.notes,
            name: self.name.clone(),
            tags: self.tags.clone(),
            cut_off: self.cut_off,
            corrections: self.corrections,
            way: way(self.here.iter().map(|stay| &*stay.label)),
        }
    }
}

/// `begun` as the clock of the place had it, or else when the file was last written.
pub(super) fn date(begun: Option<&str>, modified: Timestamp) -> String {
    let begun = begun.and_then(|b| b.parse().ok());
    let here = || modified.to_zoned_datetime(TimeZone::system()).datetime();
    let at: DateTime = begun.unwrap_or_else(here);
    at.strftime("%Y-%m-%d %H:%M").to_string()
}

/// Labels in order, each that goes on once.
pub(super) fn way<'l>(labels: impl Iterator<Item = &'l str>) -> String {
    let (mut way, mut before) = (String::new(), None);
    for label in labels {
        if before.is_some_and(|before| before != label) {
            way += Heading::TO;
        }
        if before != Some(label) {
            way += label;
        }
        before = Some(label);
    }
    way
}

impl Heading {
    pub const TO: &str = " – ";

    /// What it is called: its name, or else that of its file.
    pub fn title(&self) -> &str {
        self.name.as_deref().unwrap_or(&self.id)
    }
}

/// One at least where the plan is corrected, even if it cannot be said how often.
fn corrections(facts: &Facts) -> u64 {
    let plan = facts.corrected.as_ref();
    plan.map_or(0, |plan| plan.steps().len().max(1) as u64)
}

impl Stay {
    /// As a musician reads it without settings of their own.
    pub fn of(region: &Region, catalogue: &Catalogue) -> Stay {
        let t = region.spelled.tonality;
        Stay {
            start: region.start.seconds(),
            end: region.end.seconds(),
            center: t.center.index() as u8,
            mode: catalogue.mode(t.mode).id.clone(),
            label: Notation::PLAIN.tonality(region.spelled, catalogue),
        }
    }
}
