//! One picture to be drawn: what is to be seen in it, and nothing of how.

use crate::engine::{Explanation, History, Reading};
use crate::plan::{ChordSpan, Marker};
use crate::source::Source;
use crate::time::Time;

/// What is to be seen: snapshots only.
pub(super) struct Picture<'a> {
    pub reading: &'a Reading,
    pub history: &'a History,
    pub markers: &'a [Marker],
    pub source: &'a Source,
    /// The latest, if any was asked for.
    pub explanation: Option<&'a Explanation>,
    pub now: Time,
    /// How long ago the file ended, if it has: its own time stands still then.
    pub ended: Option<Time>,
    /// No name is to be read, until the class has found it.
    pub hidden: bool,
    /// A chord that was, in the place of the present one.
    pub past: Option<&'a ChordSpan>,
    /// Its time does not go on: nothing more is to be waited for.
    pub still: bool,
    /// How long it has stood still, where the player has frozen it.
    pub frozen: Option<Time>,
    /// What is to be said before the notice: that it is frozen, pinned, an aside.
    pub banners: &'a [String],
}

impl Picture<'_> {
    /// How long it has been still, once that is more than a breath, or since the
    /// file ended.
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
