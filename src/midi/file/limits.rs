//! How much of a file is read.

use super::fault::FileError;
use crate::time::{TICKS_PER_SECOND, Time};

/// Nothing is placed later than this in any file, read or written: 1,000 hours.
pub const LONGEST: Time = hours(1_000);

/// What a file may claim before it is taken to be out of proportion. What a person can have
/// played passes; what goes beyond is left out and said as a
/// [`Fault`](super::Fault) of kind [`Limit`](super::FaultKind::Limit), or the file is refused
/// where nothing sensible could be read.
///
/// The defaults are of our own choosing: a day of music, the densest piano rolls and full
/// orchestras stay below them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of a file; a larger one is refused. 128 MiB: a note takes about 8.
    pub bytes: u64,
    /// Tracks; those that follow are not read. 4,096: a large orchestra has some hundreds.
    pub tracks: usize,
    /// How long it lasts; what comes later is left out. 24 hours; at most [`LONGEST`].
    pub length: Time,
    /// Notes; what follows the last of them is left out. 4 million: 46 a second for a day.
    pub notes: usize,
    /// Notes that begin within one second; more of them are left out. 10,000: more than every key
    /// of every channel four times.
    pub notes_a_second: usize,
    /// Texts and key signatures; those that follow are left out. 100,000: one a second for a day.
    pub texts: usize,
    /// How long notes may come more slowly than [`pace`](Limits::pace) on average, pauses counted
    /// for two minutes at most; what comes after that is left out. 1 hour.
    ///
    /// This is what a wrong division or tempo runs into: a piece of some minutes would last for
    /// many hours.
    pub patience: Time,
    /// From a note to the next, on average. 5 seconds.
    pub pace: Time,
}

/// A longer pause counts as this long, as nothing is played in it.
pub(super) const PAUSE: Time = Time(120 * TICKS_PER_SECOND);

const fn hours(hours: u64) -> Time {
    Time(hours * 3_600 * TICKS_PER_SECOND)
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            bytes: 128 << 20,
            tracks: 4_096,
            length: hours(24),
            notes: 4_000_000,
            notes_a_second: 10_000,
            texts: 100_000,
            patience: hours(1),
            pace: Time(5 * TICKS_PER_SECOND),
        }
    }
}

impl Limits {
    /// Everything is read, up to [`LONGEST`].
    pub fn none() -> Limits {
        Limits {
            bytes: u64::MAX,
            tracks: usize::MAX,
            length: LONGEST,
            notes: usize::MAX,
            notes_a_second: usize::MAX,
            texts: usize::MAX,
            patience: Time(u64::MAX),
            pace: Time(u64::MAX),
        }
    }

    /// Whether a file of this size is read; to be checked before it is loaded.
    pub fn admit(&self, bytes: u64) -> Result<(), FileError> {
        if bytes <= self.bytes {
            return Ok(());
        }
        let limit = self.bytes;
        Err(FileError::TooLarge { bytes, limit })
    }
}
