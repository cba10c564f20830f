//! The walk over the chunks of a file, which finds the tracks.
//!
//! Lengths are claims: where one cannot be right, the track is read as far as it goes, and the
//! walk continues where the next one begins.

use super::bytes::{find, starts, u32_at};
use super::fault::{Damage, Excess, Faults, FileError};
use super::limits::Limits;
use super::progress::{EVERY, Progress};
use super::track::{Content, Events, Stop};
use crate::midi::event::Event;

/// A track that was found, and what it holds.
pub(super) struct Track<'a> {
    /// Its events, and where they begin in the file.
    pub bytes: &'a [u8],
    pub start: usize,
    /// Whether an end-of-track event ends it.
    pub ended: bool,
    /// How many of its events matter here.
    pub items: usize,
    /// How many of these are played.
    pub played: usize,
    /// The channels that it strikes keys on, as [`Channel::bit`](crate::midi::Channel::bit) has them.
    pub channels: u64,
}

/// How one reading of a track went.
struct Scan<'a> {
    track: Track<'a>,
    faults: Faults,
    /// All events, also those that do not matter here.
    events: usize,
    stop: Stop,
}

/// The walk.
pub(super) struct Chunks<'a, 'f> {
    bytes: &'a [u8],
    limits: &'f Limits,
    faults: &'f mut Faults,
    progress: &'f mut Progress<'f>,
    tracks: Vec<Track<'a>>,
    /// How many bytes may still be parsed, so that no file takes more than linear time.
    patience: usize,
}

/// The tracks of a file, and whether that is all of them.
pub(super) struct Found<'a> {
    pub tracks: Vec<Track<'a>>,
    pub all: bool,
}

impl<'a, 'f> Chunks<'a, 'f> {
    /// Finds the tracks from `at` on.
    pub fn walk(
        bytes: &'a [u8],
        at: usize,
        limits: &'f Limits,
        faults: &'f mut Faults,
        progress: &'f mut Progress<'f>,
    ) -> Result<Found<'a>, FileError> {
        let mut chunks = Chunks {
            bytes,
            limits,
            faults,
            progress,
            tracks: Vec::new(),
            patience: bytes.len().saturating_mul(8),
        };
        let all = chunks.all(at)?;
        let tracks = chunks.tracks;
        Ok(Found { tracks, all })
    }

    /// Whether a chunk may begin here, or the file end.
    fn boundary(&self, at: usize) -> bool {
        let plausible = |id: &[u8]| id.iter().all(|b| b.is_ascii_alphanumeric() || *b == b' ');
        at == self.bytes.len()
            || starts(self.bytes, at, b"MTrk")
            || match (self.bytes.get(at..at + 4), u32_at(self.bytes, at + 4)) {
                (Some(id), Some(len)) => plausible(id) && len as usize <= self.bytes.len() - at - 8,
                _ => false,
            }
    }

    /// Goes on from `at`; false if tracks are left out.
    fn all(&mut self, mut at: usize) -> Result<bool, FileError> {
        let bytes = self.bytes;
        while at < bytes.len() {
            if starts(bytes, at, b"MThd") {
                self.faults.damage(at, None, Damage::SecondHeader);
                return Ok(true);
            }
            if starts(bytes, at, b"MTrk") && self.tracks.len() >= self.limits.tracks {
                let most = self.limits.tracks;
                self.faults.limit(at, None, Excess::Tracks(most));
                return Ok(false);
            }
            at = match u32_at(bytes, at + 4) {
                Some(len) if starts(bytes, at, b"MTrk") => self.track(at, len as usize)?,
                // An unknown chunk is to be skipped, says the standard.
                Some(len) if self.boundary(at) => at + 8 + len as usize,
                _ => match find(bytes, at + 1, b"MTrk") {
                    Some(next) => {
                        let between = Damage::BetweenChunks(next - at);
                        self.faults.damage(at, None, between);
                        next
                    }
                    None => {
                        let damage = match starts(bytes, at, b"MTrk") {
                            true => Damage::CutTrackHeader,
                            false => Damage::AfterChunks(bytes.len() - at),
                        };
                        self.faults.damage(at, None, damage);
                        return Ok(true);
                    }
                },
            };
        }
        Ok(true)
    }

    /// Takes in the track whose chunk begins at `at` and says `declared` bytes; returns where the
    /// next chunk should begin.
    fn track(&mut self, at: usize, declared: usize) -> Result<usize, FileError> {
        let number = Some(self.tracks.len() + 1);
        let data = at + 8;
        let end = self.bytes.len();
        let whole = declared <= end - data;
        let claimed = if whole { data + declared } else { end };
        let next_track = || find(self.bytes, data, b"MTrk").unwrap_or(end);
        let too_long = |next: usize| Damage::ChunkTooLong {
            declared,
            next: next - data,
        };
        // Where many lengths reach over all that follows, believing each would take quadratic
        // time.
        let mut limit = if self.patience >= claimed - data {
            claimed
        } else {
            claimed.min(next_track())
        };
        if whole && limit < claimed {
            self.faults.damage(at + 4, number, too_long(limit));
        }
        let mut scan = self.scan(data, limit)?;
        let sound = match scan.stop {
            Stop::Ended(_) => true,
            Stop::RanOut => whole && self.boundary(limit),
            _ => false,
        };
        // The length may be wrong: perhaps the track goes on, perhaps it swallows the next one.
        let other = if sound { limit } else { next_track() };
        if other != limit && self.patience >= other.max(limit) - data {
            let second = self.scan(data, other)?;
            let ended = match second.stop {
                Stop::Ended(after) if self.boundary(after) => Some(after),
                _ => None,
            };
            if let Some(after) = ended
                && after > limit
            {
                let ended = after - data;
                let too_short = Damage::ChunkTooShort { declared, ended };
                self.faults.damage(at + 4, number, too_short);
                (scan, limit) = (second, after);
            } else if other < limit {
                if whole {
                    self.faults.damage(at + 4, number, too_long(other));
                }
                (scan, limit) = (second, other);
            }
        }
        if !whole {
            let held = end - data;
            self.faults
                .damage(at + 4, number, Damage::ChunkLength { declared, held });
        }
        let used = scan.events;
        let mut next = limit;
        match scan.stop {
            Stop::Ended(after) if after == limit => {}
            Stop::Ended(after) => {
                let swallowed = starts(self.bytes, after, b"MTrk");
                if whole {
                    let rest = limit - after;
                    let (place, damage) = match swallowed {
                        true => (at + 4, Damage::ChunkOverNext(rest)),
                        false => (after, Damage::AfterTrack(rest)),
                    };
                    self.faults.damage(place, number, damage);
                }
                if swallowed || !whole || !self.boundary(limit) {
                    next = after;
                }
            }
            Stop::RanOut => self
                .faults
                .damage(limit, number, Damage::NoEndOfTrack { used }),
            Stop::Cut(from) => self.faults.damage(from, number, Damage::CutEvent { used }),
            Stop::Bad(from, why) => {
                self.faults
                    .damage(from, number, Damage::BadEvent { why, used });
            }
        }
        self.faults.append(scan.faults);
        self.tracks.push(scan.track);
        Ok(next)
    }

    /// Parses the events between `data` and `limit`, of the track that comes next.
    fn scan(&mut self, data: usize, limit: usize) -> Result<Scan<'a>, FileError> {
        let number = Some(self.tracks.len() + 1);
        let bytes = self.bytes.get(data..limit).unwrap_or_default();
        let mut track = Track {
            bytes,
            start: data,
            ended: false,
            items: 0,
            played: 0,
            channels: 0,
        };
        let mut faults = Faults::default();
        let mut events = Events::new(bytes, data);
        while let Some(item) =
            events.next(&mut |offset, damage| faults.damage(offset, number, damage))
        {
            track.items += 1;
            if track.items.is_multiple_of(EVERY) || matches!(item.what, Content::Nothing) {
                let done = events.offset() as f32 / self.bytes.len() as f32;
                (self.progress)(done)?;
            }
            match item.what {
                Content::Event(event) => {
                    track.played += 1;
                    if let Event::NoteOn { channel, .. } = event {
                        track.channels |= channel.bit();
                    }
                }
                Content::End => track.ended = true,
                _ => {}
            }
        }
        self.patience = self.patience.saturating_sub(events.offset() - data);
        let (events, stop) = (events.count(), events.stop());
        Ok(Scan {
            track,
            faults,
            events,
            stop,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::super::testing::*;

    /// Every way of being damaged, with the words that say it.
    #[test]
    fn faults_and_their_places() {
        let head = |tracks| header(1, tracks, 96);
        let long = |by: u32| {
            let mut track = ended(&NOTE);
            track[7] += by as u8;
            track
        };
        let short = {
            let mut track = ended(&NOTE);
            track[7] -= 2;
            track
        };
        let cases: [(&str, Vec<u8>, &[&str], usize); 14] = [
            (
                "no end of track",
                [head(1), track(&NOTE)].concat(),
                &[
                    "byte 30, track 1: the track has no end-of-track event; its first 2 events are used",
                ],
                2,
            ),
            (
                "cut",
                [head(1), track(&NOTE[..6])].concat(),
                &[
                    "byte 26, track 1: the track ends in the middle of an event; its first event is used",
                ],
                2,
            ),
            (
                "cut, and the length knows nothing of it",
                {
                    let mut all = [head(1), ended(&NOTE)].concat();
                    all.truncate(28);
                    all
                },
                &[
                    "byte 18, track 1: the chunk's length says 12 bytes, the file holds 6",
                    "byte 26, track 1: the track ends in the middle of an event; its first event is used",
                ],
                2,
            ),
            (
                "too long, last",
                [head(1), long(5)].concat(),
                &["byte 18, track 1: the chunk's length says 17 bytes, the file holds 12"],
                2,
            ),
            (
                "too long, over the next",
                [head(2), long(9), ended(&OTHER)].concat(),
                &[
                    "byte 18, track 1: the chunk's length runs 9 bytes past the end of the track, over the next one",
                ],
                4,
            ),
            (
                "too long, over the next, without an end",
                {
                    let mut first = track(&NOTE);
                    first[7] += 3;
                    [head(2), first, ended(&OTHER)].concat()
                },
                &[
                    "byte 18, track 1: the chunk's length says 11 bytes, but the next track begins after 8",
                    "byte 30, track 1: the track has no end-of-track event; its first 2 events are used",
                ],
                4,
            ),
            (
                "too short",
                [head(2), short, ended(&OTHER)].concat(),
                &[
                    "byte 18, track 1: the chunk's length says 10 bytes, but the track goes on for 12; it is read to its end",
                ],
                4,
            ),
            (
                "more in the chunk",
                [
                    head(1),
                    track(&[&NOTE[..], &[0, 0xff, 0x2f, 0, 1, 2, 3]].concat()),
                ]
                .concat(),
                &[
                    "byte 34, track 1: 3 bytes between the end of the track and the end of its chunk are skipped",
                ],
                2,
            ),
            (
                "the number of tracks",
                [head(3), ended(&NOTE)].concat(),
                &["byte 10: the header says 3 tracks, the file holds 1"],
                2,
            ),
            (
                "more after the last chunk",
                [head(1), ended(&NOTE), vec![0; 1_234]].concat(),
                &["byte 34: 1,234 bytes after the last chunk are skipped"],
                2,
            ),
            (
                "between the chunks",
                [head(2), ended(&NOTE), vec![0; 5], ended(&OTHER)].concat(),
                &["byte 34: 5 bytes outside of all chunks are skipped"],
                4,
            ),
            (
                "a status in an event",
                [head(1), ended(&[0, 0x90, 60, 64, 0, 0x90, 0x80, 64])].concat(),
                &[
                    "byte 26, track 1: a status byte in the middle of an event; the track is read up to here, its first event is used",
                ],
                2,
            ),
            (
                "a meta event with nothing in it",
                [
                    head(1),
                    ended(&[&[0x60, 0xff, 0x59, 0x00], &NOTE[..]].concat()),
                ]
                .concat(),
                &["byte 22, track 1: the content of a meta event 59 is damaged; it is skipped"],
                2,
            ),
            (
                "another file behind",
                [head(1), ended(&NOTE), head(1), ended(&NOTE)].concat(),
                &["byte 34: a second header begins here; what follows is not read"],
                2,
            ),
        ];
        for (name, bytes, expected, events) in cases {
            assert_eq!(faults(&bytes), expected, "{name}");
            let performance = read(&bytes).unwrap();
            assert_eq!(performance.events.len(), events, "{name}");
        }
    }

    /// Chunk lengths that reach over all that follows, many times: linear time all the same.
    #[test]
    fn nested_lengths_do_not_take_for_ever() {
        let one = [&b"MTrk\0\x10\0\0"[..], &[0, 0x90, 60, 64]].concat();
        let mut bytes = header(1, 1, 96);
        for _ in 0..40_000 {
            bytes.extend(&one);
        }
        let before = std::time::Instant::now();
        assert!(read(&bytes).unwrap().faults.count() > 1);
        // Quadratic, it would be 10^10 steps.
        assert!(before.elapsed() < std::time::Duration::from_secs(5));
    }
}
