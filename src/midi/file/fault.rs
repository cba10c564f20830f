//! What is wrong with a file.

use crate::time::{TICKS_PER_SECOND, Time};
use std::fmt;

/// Something in the file that is not as the standard has it, or that goes beyond the
/// [`Limits`](super::Limits).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub kind: FaultKind,
    /// Bytes from the start of the file.
    pub offset: u64,
    /// Counted from 1, in the order of the file.
    pub track: Option<usize>,
}

/// Whether the file is damaged, or only large, and in what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// It is not as the standard has it.
    Damage(Damage),
    /// It goes beyond a limit, and is not read there.
    Limit(Excess),
    /// It is well formed, but `count` of its texts are in no words known here; `first` is the
    /// first of them.
    Unknown { first: String, count: usize },
}

/// How a file departs from the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Damage {
    /// This many bytes stand before the header.
    BeforeHeader(usize),
    /// The RIFF wrapper declares more bytes than the file holds.
    RiffLength {
        declared: usize,
        held: usize,
    },
    /// The header declares a length in bytes that it cannot have.
    HeaderLength(usize),
    /// The header names a type that there is not.
    Type(u16),
    /// The header counts time in frames at a rate that no time code has.
    FrameRate(u8),
    SecondHeader,
    /// The header declares another number of tracks than there are.
    TrackCount {
        declared: usize,
        held: usize,
    },
    /// More tracks than one in a file of type 0.
    TypeZeroTracks,
    /// This many bytes between two chunks belong to neither.
    BetweenChunks(usize),
    /// This many bytes follow the last chunk.
    AfterChunks(usize),
    /// The file ends within the eight bytes with which a track begins.
    CutTrackHeader,
    /// A track's chunk declares more bytes than the file holds.
    ChunkLength {
        declared: usize,
        held: usize,
    },
    /// A track's chunk declares more bytes than there are before the next track.
    ChunkTooLong {
        declared: usize,
        next: usize,
    },
    /// A track goes on behind the length in bytes that its chunk declares.
    ChunkTooShort {
        declared: usize,
        ended: usize,
    },
    /// A track's chunk reaches this many bytes into the next track.
    ChunkOverNext(usize),
    /// This many bytes stand between the end of a track and that of its chunk.
    AfterTrack(usize),
    /// A track without an end-of-track event. `used`: how many of its events are used.
    NoEndOfTrack {
        used: usize,
    },
    /// A track that is cut off within an event.
    CutEvent {
        used: usize,
    },
    /// An event that cannot be, where the reading of its track ends.
    BadEvent {
        why: BadEvent,
        used: usize,
    },
    /// The content of a meta event, given by its type byte.
    MetaEvent(u8),
    ZeroTempo,
    /// A key signature of more than seven sharps; flats are negative.
    KeySignature(i8),
}

/// Why an event cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadEvent {
    /// A variable-length number that does not end within four bytes.
    LongNumber,
    /// Data bytes without a running status.
    StrayData,
    /// System common or real-time, which files cannot hold.
    SystemMessage,
    /// A status byte in the place of data.
    StrayStatus,
}

/// What goes beyond the [`Limits`](super::Limits), and the limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Excess {
    Tracks(usize),
    /// Events that come later.
    Length(Time),
    /// Events later than in any file, whatever the limits.
    Longest(Time),
    Notes(usize),
    /// Notes that begin within one second.
    NotesASecond(usize),
    /// Texts and key signatures.
    Texts(usize),
    /// Notes that come more slowly than `pace` for more than `patience`.
    Slow {
        patience: Time,
        pace: Time,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}", grouped(self.offset))?;
        if let Some(track) = self.track {
            write!(f, ", track {}", grouped(track as u64))?;
        }
        write!(f, ": {}", self.kind)
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FaultKind::Damage(damage) => damage.fmt(f),
            FaultKind::Limit(excess) => excess.fmt(f),
            FaultKind::Unknown { first, count } => {
                const SHOWN: usize = 40;
                match first.char_indices().nth(SHOWN) {
                    Some((cut, _)) => write!(f, "'{}…'", &first[..cut])?,
                    None => write!(f, "'{first}'")?,
                }
                match count {
                    1 => write!(f, " is not known here and passed over"),
                    n => write!(
                        f,
                        " is not known here, the first of {n} words that are passed over"
                    ),
                }
            }
        }
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bytes = |n| count(n, "byte");
        let plain = |n: usize| grouped(n as u64);
        match *self {
            Damage::BeforeHeader(n) => {
                write!(f, "{} before the header {} skipped", bytes(n), be(n))
            }
            Damage::RiffLength { declared, held } => write!(
                f,
                "the RIFF wrapper says {}, the file holds {}",
                bytes(declared),
                plain(held)
            ),
            Damage::HeaderLength(n) => {
                write!(f, "the header's length says {}, it needs 6", bytes(n))
            }
            Damage::Type(n) => write!(
                f,
                "type {n} is none of 0, 1 and 2; the tracks are played together, as in type 1"
            ),
            Damage::FrameRate(n) => write!(
                f,
                "{n} frames a second is none of 24, 25, 29.97 and 30; it is used as it stands"
            ),
            Damage::SecondHeader => {
                f.write_str("a second header begins here; what follows is not read")
            }
            Damage::TrackCount { declared, held } => write!(
                f,
                "the header says {}, the file holds {held}",
                count(declared, "track")
            ),
            Damage::TypeZeroTracks => {
                f.write_str("a file of type 0 holds one track; these are played together")
            }
            Damage::BetweenChunks(n) => {
                write!(f, "{} outside of all chunks {} skipped", bytes(n), be(n))
            }
            Damage::AfterChunks(n) => {
                write!(f, "{} after the last chunk {} skipped", bytes(n), be(n))
            }
            Damage::CutTrackHeader => f.write_str("the file ends inside the header of a track"),
            Damage::ChunkLength { declared, held } => write!(
                f,
                "the chunk's length says {}, the file holds {}",
                bytes(declared),
                plain(held)
            ),
            Damage::ChunkTooLong { declared, next } => write!(
                f,
                "the chunk's length says {}, but the next track begins after {}",
                bytes(declared),
                plain(next)
            ),
            Damage::ChunkTooShort { declared, ended } => write!(
                f,
                "the chunk's length says {}, but the track goes on for {}; it is read to its end",
                bytes(declared),
                plain(ended)
            ),
            Damage::ChunkOverNext(n) => write!(
                f,
                "the chunk's length runs {} past the end of the track, over the next one",
                bytes(n)
            ),
            Damage::AfterTrack(n) => write!(
                f,
                "{} between the end of the track and the end of its chunk {} skipped",
                bytes(n),
                be(n)
            ),
            Damage::NoEndOfTrack { used } => {
                write!(f, "the track has no end-of-track event; {}", Used(used))
            }
            Damage::CutEvent { used } => {
                write!(
                    f,
                    "the track ends in the middle of an event; {}",
                    Used(used)
                )
            }
            Damage::BadEvent { why, used } => {
                write!(f, "{why}; the track is read up to here, {}", Used(used))
            }
            Damage::MetaEvent(kind) => write!(
                f,
                "the content of a meta event {kind:02X} is damaged; it is skipped"
            ),
            Damage::ZeroTempo => f.write_str("a tempo of 0 microseconds to the quarter is ignored"),
            Damage::KeySignature(sharps) => {
                write!(f, "a key signature of {sharps} sharps is ignored")
            }
        }
    }
}

/// How many events of a track are used, in words.
struct Used(usize);

impl fmt::Display for Used {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            0 => f.write_str("none of its events is used"),
            1 => f.write_str("its first event is used"),
            n => write!(f, "its first {} are used", count(n, "event")),
        }
    }
}

impl fmt::Display for BadEvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            BadEvent::LongNumber => "a number of more than four bytes",
            BadEvent::StrayData => "data bytes where an event should begin",
            BadEvent::SystemMessage => "a system message that no file may hold",
            BadEvent::StrayStatus => "a status byte in the middle of an event",
        })
    }
}

impl fmt::Display for Excess {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const MINUTE: u64 = 60 * TICKS_PER_SECOND;
        match *self {
            Excess::Tracks(most) => write!(
                f,
                "more than {}; those that follow are left out (--no-limits reads them)",
                count(most, "track")
            ),
            Excess::Length(most) => write!(f, "{}{READS_ON}", Excess::Longest(most)),
            Excess::Longest(most) => write!(
                f,
                "this is later than {} hours; it and what follows are left out",
                grouped(most.0 / (60 * MINUTE))
            ),
            Excess::Notes(most) => write!(
                f,
                "more than {}; those that follow are left out{READS_ON}",
                count(most, "note")
            ),
            Excess::NotesASecond(most) => write!(
                f,
                "more than {} begin within a second; the rest of them are left out{READS_ON}",
                count(most, "note")
            ),
            Excess::Texts(most) => write!(
                f,
                "more than {} and key signatures; the rest of them are left out{READS_ON}",
                count(most, "text")
            ),
            Excess::Slow { patience, pace } => write!(
                f,
                "for more than {} minutes notes come less often than every {} seconds, as with a \
                 wrong division or tempo; what follows is left out{READS_ON}",
                patience.0 / MINUTE,
                pace.0 / TICKS_PER_SECOND
            ),
        }
    }
}

/// How to read more.
const READS_ON: &str = " (--no-limits reads on)";

/// The first faults of a file in full, and how many more there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    first: Vec<Fault>,
    more: usize,
}

impl Faults {
    /// How many are kept in full.
    pub const KEPT: usize = 20;

    /// Whether the file is whole.
    pub fn is_empty(&self) -> bool {
        self.first.is_empty()
    }

    /// How many there are in all.
    pub fn count(&self) -> usize {
        self.first.len() + self.more
    }

    /// The first of them, [`Faults::KEPT`] at most, in the order of the file.
    pub fn first(&self) -> &[Fault] {
        &self.first
    }

    /// How many there are beside the first.
    pub fn more(&self) -> usize {
        self.more
    }

    /// A sentence about the whole file, unless it is whole.
    pub fn sentence(&self) -> Option<String> {
        let first = self.first.first()?;
        Some(match (&first.kind, self.count()) {
            (FaultKind::Limit(_), _) => format!("this file is not read in full: {first}"),
            (FaultKind::Unknown { .. }, _) => {
                format!("this file is not understood in full: {first}")
            }
            (FaultKind::Damage(_), 1) => format!("this file is damaged: {first}"),
            (FaultKind::Damage(_), n) => {
                format!("this file is damaged in {n} places; the first: {first}")
            }
        })
    }

    /// A line for each of the first, and one that counts the rest.
    pub fn lines(&self) -> impl Iterator<Item = String> + '_ {
        self.first
            .iter()
            .map(Fault::to_string)
            .chain(self.and_more())
    }

    /// What stands after the first, if there are more: `... and 1,234 more faults`.
    pub fn and_more(&self) -> Option<String> {
        (self.more > 0).then(|| format!("... and {}", count(self.more, "more fault")))
    }

    /// Takes in one more, in the order of the file; of those at one place the earlier comes first.
    pub fn push(&mut self, fault: Fault) {
        let place = self.first.partition_point(|f| f.offset <= fault.offset);
        self.first.insert(place, fault);
        if self.first.len() > Faults::KEPT {
            self.first.pop();
            self.more += 1;
        }
    }

    pub(super) fn damage(&mut self, offset: usize, track: Option<usize>, damage: Damage) {
        self.push(Fault {
            kind: FaultKind::Damage(damage),
            offset: offset as u64,
            track,
        });
    }

    pub(super) fn limit(&mut self, offset: usize, track: Option<usize>, excess: Excess) {
        self.push(Fault {
            kind: FaultKind::Limit(excess),
            offset: offset as u64,
            track,
        });
    }

    /// Takes over those of a part of the file.
    pub(super) fn append(&mut self, others: Faults) {
        self.more += others.more;
        others.first.into_iter().for_each(|fault| self.push(fault));
    }
}

/// Why nothing can be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    #[error("the file is empty: export or record it again")]
    Empty,
    #[error(
        "this is {0}, not a Standard MIDI File: export it as MIDI (.mid) from the program that made it"
    )]
    Other(&'static str),
    #[error(
        "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi"
    )]
    NotMidi,
    #[error(
        "byte {offset}: the file ends inside its header, before the first track: get a whole copy of it"
    )]
    CutInHeader { offset: u64 },
    #[error(
        "byte {offset}: the header gives a division of zero ticks, so no event has a time: export the file again"
    )]
    NoDivision { offset: u64 },
    #[error("byte {offset}: after the header there is no track: export the file again")]
    NoTracks { offset: u64 },
    #[error(
        "the file holds {}, and {} are many days of music: choose another, or read all of it with --no-limits",
        count(*bytes as usize, "byte"),
        count(*limit as usize, "byte")
    )]
    TooLarge { bytes: u64, limit: u64 },
    #[error("stopped")]
    Stopped,
}

/// 1234567 as 1,234,567.
fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out
}

/// The verb that agrees with the number: is, are.
fn be(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}

/// `1 track`, `1,234 tracks`.
fn count(n: usize, thing: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {thing}{s}", grouped(n as u64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_are_kept_in_order_and_the_rest_counted() {
        let mut faults = Faults::default();
        assert_eq!(faults.lines().count(), 0);
        for i in 0..1_000_000usize {
            // From the end, the middle and the start of a file.
            faults.damage(
                [3_000_000 - i, 10 + i, 5][i % 3],
                None,
                Damage::AfterTrack(i),
            );
        }
        assert_eq!((faults.first().len(), faults.count()), (20, 1_000_000));
        assert!(faults.first().iter().all(|f| f.offset == 5));
        let kinds: Vec<&FaultKind> = faults.first().iter().map(|f| &f.kind).collect();
        let expected = [2, 5, 8].map(|i| FaultKind::Damage(Damage::AfterTrack(i)));
        assert_eq!(kinds[..3], expected.each_ref());
        let last = faults.lines().last();
        assert_eq!(last.as_deref(), Some("... and 999,980 more faults"));
        assert_eq!(faults.lines().count(), 21);

        let mut other = Faults::default();
        other.limit(1, Some(2), Excess::Notes(3));
        other.append(faults);
        assert_eq!((other.first().len(), other.more()), (20, 999_981));
        let first = other.lines().next();
        assert_eq!(
            first.as_deref(),
            Some(
                "byte 1, track 2: more than 3 notes; those that follow are left out \
                 (--no-limits reads on)"
            )
        );
    }
}
