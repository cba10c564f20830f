//! Answers ahead of the engine: what was asked for and is not in a reading yet. Keys may
//! come faster than readings, and the second press of a key must take back the first.

use crate::engine::{Aside, Event, HarmonyFrom, Inertia, Reading};
use crate::theory::SpelledTonality;

/// What was asked for and has not come yet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Asked {
    inertia: Option<Inertia>,
    pinned: Option<Option<SpelledTonality>>,
    aside: Option<Aside>,
    harmony_from: Option<HarmonyFrom>,
}

impl Asked {
    pub fn note(&mut self, event: Event) {
        match event {
            Event::Inertia(inertia) => self.inertia = Some(inertia),
            Event::Pin(pinned) => self.pinned = Some(pinned),
            Event::Aside(edge) => self.aside = Some(edge),
            Event::HarmonyFrom(from) => self.harmony_from = Some(from),
            _ => {}
        }
    }

    /// Forgets what the reading already shows.
    pub fn settle(&mut self, reading: &Reading) {
        self.inertia = self.inertia.filter(|&i| i != reading.inertia);
        self.pinned = self.pinned.filter(|&p| p != reading.pinned);
        self.harmony_from = self.harmony_from.filter(|&f| f != reading.harmony_from);
        self.aside = self.aside.filter(|&edge| match edge {
            Aside::Begins => reading.aside.is_none(),
            Aside::Ends => reading.aside.is_some(),
        });
    }

    /// The performer that was asked for an aside is gone.
    pub fn forget_aside(&mut self) {
        self.aside = None;
    }

    /// The reading as it will be once everything asked for is in it.
    pub fn over(&self, reading: Reading) -> Reading {
        let aside = match self.aside {
            Some(Aside::Begins) => Some(reading.aside.unwrap_or(reading.at)),
            Some(Aside::Ends) => None,
            None => reading.aside,
        };
        Reading {
            inertia: self.inertia.unwrap_or(reading.inertia),
            pinned: self.pinned.unwrap_or(reading.pinned),
            harmony_from: self.harmony_from.unwrap_or(reading.harmony_from),
            aside,
            ..reading
        }
    }
}
