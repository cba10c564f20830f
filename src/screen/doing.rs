//! What the screen is doing: of which moment the picture is, what keys are, and whether
//! names are shown.

use super::entry::Entry;
use super::past::Still;
use super::sittings::SittingList;
use crate::theory::KeySet;
use crate::time::Time;
use std::time::Instant;

/// What is to be seen, and how much of it. Each part goes with each of the others.
pub(super) struct Showing {
    pub doing: Doing,
    /// A picture that stands still, in the place of what goes on.
    pub frozen: Option<Box<Still>>,
    pub names: Names,
    pub ended: Option<Ended>,
}

/// That the file has ended.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ended {
    seen: Instant,
    /// How long ago.
    pub ago: Time,
}

impl Ended {
    /// First seen now.
    pub fn at(now: Instant) -> Ended {
        Ended {
            seen: now,
            ago: Time::ZERO,
        }
    }

    pub fn advanced(self, now: Instant) -> Ended {
        Ended {
            ago: Time::from_seconds(now.saturating_duration_since(self.seen).as_secs_f64()),
            ..self
        }
    }
}

/// What the screen is doing: one thing at a time.
pub(super) enum Doing {
    /// It shows a moment, and keys are commands.
    Showing(Moment),
    /// A tonality or a name is being typed, and keys are letters; the moment stays in sight.
    Typing { entry: Entry, moment: Moment },
    /// The sittings of other days are listed over the picture, and keys are letters to look for
    /// one.
    Listing {
        list: Box<SittingList>,
        moment: Moment,
    },
    /// It shows the present and waits for the piano key that is home: for another stroke
    /// than this one.
    AwaitingHome { stroke: LatestStroke },
}

/// The keys struck together last, and when.
pub(super) type LatestStroke = (KeySet, Time);

/// Which moment is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moment {
    Present,
    /// The chord that began then, in the place of the one that sounds.
    Chord(Time),
    /// The sitting once more.
    Again(Again),
}

/// The sitting, shown again from a moment until the one at which that was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Again {
    from: Time,
    until: Time,
    /// When time first went on after it was asked for.
    began: Option<Instant>,
    /// Where it is now.
    pub at: Time,
}

impl Again {
    pub fn begin(from: Time, until: Time) -> Again {
        Again {
            from,
            until,
            began: None,
            at: from,
        }
    }

    /// Where it is now; none once it has come to its end, or to `end`.
    pub fn advanced(self, now: Instant, end: Time) -> Option<Again> {
        let began = self.began.unwrap_or(now);
        let seconds = now.saturating_duration_since(began).as_secs_f64();
        let again = Again {
            began: Some(began),
            at: self.from + Time::from_seconds(seconds),
            ..self
        };
        (again.at < self.until.min(end)).then_some(again)
    }
}

/// Whether names are to be read, or to be found by the class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Names {
    Shown,
    Hidden,
}

impl Doing {
    pub fn moment(&self) -> Moment {
        match self {
            Doing::Showing(moment)
            | Doing::Typing { moment, .. }
            | Doing::Listing { moment, .. } => *moment,
            Doing::AwaitingHome { .. } => Moment::Present,
        }
    }

    /// Shows another moment. What is being typed or listed stays; a key of the piano is no longer
    /// waited for.
    pub fn show(&mut self, new: Moment) {
        match self {
            Doing::Typing { moment, .. } | Doing::Listing { moment, .. } => *moment = new,
            Doing::Showing(_) | Doing::AwaitingHome { .. } => *self = Doing::Showing(new),
        }
    }
}
