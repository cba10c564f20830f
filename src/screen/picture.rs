//! One picture to be drawn: what is to be seen in it, and nothing of how.

use super::sittings::SittingList;
use crate::engine::{Explanation, History, Reading};
use crate::plan::{ChordSpan, Marker};
use crate::source::Source;
use crate::time::Time;

/// What is to be seen: a snapshot, all references.
pub(super) struct Picture<'a> {
    pub reading: &'a Reading,
    pub history: &'a History,
    pub markers: &'a [Marker],
    pub source: &'a Source,
    /// The latest explanation, if one was asked for.
    pub explanation: Option<&'a Explanation>,
    pub now: Time,
    /// How long ago the file ended, if it has: its own time stands still then.
    pub ended: Option<Time>,
    /// Whether all names are hidden, for a class to find them.
    pub hidden: bool,
    /// An earlier chord that is shown in the place of the present one.
    pub past: Option<&'a ChordSpan>,
    /// Whether its time stands still, so that nothing more is to be waited for.
    pub still: bool,
    /// How long ago the player froze it.
    pub frozen: Option<Time>,
    /// The sittings of other days, where they are listed over all this.
    pub list: Option<&'a SittingList>,
    /// What stands before the notice: that names are pinned or hidden, that this is an aside.
    pub banners: &'a [String],
}

impl Picture<'_> {
    /// How long nothing has been played, once that is more than a breath, or since the file
    /// ended.
    pub fn asleep(&self) -> Option<Time> {
        let silent = self.reading.silent_since.map(|s| self.now.since(s));
        if let Some(ended) = self.ended {
            return Some(ended + silent.unwrap_or_default());
        }
        silent.filter(|&s| s >= Time::millis(2000))
    }

    /// Now, or when the last sound ended.
    pub fn moment(&self) -> Time {
        self.reading.silent_since.unwrap_or(self.now)
    }
}
