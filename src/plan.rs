//! The values that engine, study, formats and screen share: regions, plans, markers.

use crate::theory::{ModeId, PitchClassSet, Sonority, Spelling, Tonality};
use crate::time::Time;

/// The degrees of a tonality that nothing has decided yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Open {
    /// Degree numbers, bit 0 for the first.
    pub degrees: u8,
    /// The other modes that fit what has been heard as well, likeliest first.
    others: [Option<ModeId>; 5],
}

impl Open {
    pub fn new(degrees: u8, modes: impl IntoIterator<Item = ModeId>) -> Open {
        let mut others = [None; 5];
        for (slot, mode) in others.iter_mut().zip(modes) {
            *slot = Some(mode);
        }
        Open { degrees, others }
    }

    /// Degree numbers, 1-7.
    pub fn numbers(self) -> impl Iterator<Item = u8> {
        (1..=7).filter(move |n| self.degrees >> (n - 1) & 1 == 1)
    }

    /// The modes that fit as well.
    pub fn others(self) -> impl Iterator<Item = ModeId> {
        self.others.into_iter().flatten()
    }

    pub fn is_empty(self) -> bool {
        self.degrees == 0
    }
}

/// A stretch of time with one established tonality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Region {
    /// When the display first said so.
    pub start: Time,
    pub end: Time,
    /// When its evidence began.
    pub since: Time,
    pub tonality: Tonality,
    pub tonic: Spelling,
    /// What was still open when it ended.
    pub open: Open,
    /// As heard: the highest probability that it had. In hindsight: the share of
    /// what sounded that belongs to it.
    pub probability: f32,
}

/// Regions in time. Between them: silence, or no center.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TonalPlan {
    pub regions: Vec<Region>,
    /// The same on the larger scale.
    pub home: Vec<Region>,
}

/// A moment that the player flagged, or that a file names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marker {
    /// When it was set: after what was worth it.
    pub at: Time,
    /// The stretch that it is about, from and to; a file of others knows none.
    pub about: Option<(Time, Time)>,
    pub name: String,
}

/// One chord in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChordSpan {
    pub start: Time,
    pub end: Time,
    pub sonority: Sonority,
    /// The tonality that it was heard in.
    pub within: Option<(Tonality, Spelling)>,
    /// The keys that it is voiced with, bit n for MIDI note n.
    pub keys: u128,
}

impl ChordSpan {
    /// Pitch classes that sounded.
    pub fn set(&self) -> PitchClassSet {
        self.sonority.set()
    }
}
