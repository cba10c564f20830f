//! Standard MIDI Files, read. (Writing: `record`.)
//!
//! What can be read is read, what cannot is said with its place: everything that departs from the
//! standard is a [`Fault`], so that a damaged file is never taken for a whole one. The chunks are
//! walked here and the events of each track parsed by midly, because a whole-file parse tells no
//! byte offsets.
//!
//! Source of the format: Standard MIDI Files 1.0, as summarised at
//! somascape.org/midi/tech/mfile.html; times are computed in whole numbers and rounded once each,
//! so they do not drift.

use std::collections::HashMap;
use std::fmt;

use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};

use super::event::{Channel, Event, Timed};
use crate::time::{TICKS_PER_SECOND, Time};

/// Nothing is placed later than this: 1,000 hours. A damaged delta time would otherwise make a
/// performance of centuries.
pub const LONGEST: Time = Time(1_000 * 3_600 * TICKS_PER_SECOND);

/// A file's content on one line of time.
///
/// Events keep the order of the file: by time; at equal times by track, and within a track as
/// written. In a file of type 1 two tracks may hold the same key of the same channel, as two
/// voices in unison do; a note-off that comes while another track still holds the key is dropped,
/// since it would cut the other voice. In a file of type 2 the patterns follow one another, each
/// ending with the release of what it left sounding.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Performance {
    pub events: Vec<Timed>,
    /// The latest end of a track, at least the last event's time.
    pub end: Time,
    pub texts: Vec<Text>,
    pub key_signatures: Vec<KeySignature>,
    /// 0, 1 or 2, as the file says.
    pub format: u8,
    /// How many tracks were found.
    pub tracks: usize,
    /// In the order of the file; empty if it is whole.
    pub faults: Vec<Fault>,
}

/// A text event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    pub at: Time,
    /// How many of the performance's events precede it.
    pub before_event: usize,
    pub kind: TextKind,
    /// Read as UTF-8 if it is that, else as Latin-1.
    pub text: String,
}

/// What a text is for: the meta events 01 to 07.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TextKind {
    Text,
    Copyright,
    TrackName,
    Instrument,
    Lyric,
    Marker,
    Cue,
}

/// The meta event 59. It can say major or minor only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeySignature {
    pub at: Time,
    /// -7 (seven flats) to 7 (seven sharps).
    pub sharps: i8,
    pub minor: bool,
}

/// Something in the file that is not as the standard has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Bytes from the start of the file.
    pub offset: u64,
    /// Counted from 1, in the order of the file.
    pub track: Option<usize>,
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}", grouped(self.offset))?;
        if let Some(track) = self.track {
            write!(f, ", track {}", grouped(track as u64))?;
        }
        write!(f, ": {}", self.what)
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
}

/// Reads a file of type 0, 1 or 2, or one wrapped in RIFF (RMID).
pub fn read(bytes: &[u8]) -> Result<Performance, FileError> {
    let mut faults = Vec::new();
    let (bytes, start) = find_header(bytes, &mut faults)?;
    let header = Header::read(bytes, start, &mut faults)?;
    let mut tracks = Vec::new();
    Chunks {
        bytes,
        faults: &mut faults,
        tracks: &mut tracks,
        patience: bytes.len().saturating_mul(8),
    }
    .walk(header.next);
    if tracks.is_empty() {
        return Err(FileError::NoTracks {
            offset: header.next.min(bytes.len()) as u64,
        });
    }
    if tracks.len() != usize::from(header.tracks) {
        faults.push(Fault {
            offset: start as u64 + 10,
            track: None,
            what: format!(
                "the header says {}, the file holds {}",
                count(usize::from(header.tracks), "track"),
                tracks.len()
            ),
        });
    }
    if header.format == 0 && tracks.len() > 1 {
        faults.push(Fault {
            offset: start as u64 + 8,
            track: None,
            what: "a file of type 0 holds one track; these are played together".into(),
        });
    }
    let mut performance = Merge::new(header.timing, &mut faults).run(header.format, tracks);
    faults.sort_by_key(|f| f.offset);
    performance.faults = faults;
    Ok(performance)
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

fn be(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}

fn count(n: usize, thing: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {thing}{s}", grouped(n as u64))
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let b = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes(b.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let b = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(b.try_into().ok()?))
}

fn find(bytes: &[u8], from: usize, what: &[u8; 4]) -> Option<usize> {
    bytes
        .get(from..)?
        .windows(4)
        .position(|w| w == what)
        .map(|i| from + i)
}

fn starts(bytes: &[u8], at: usize, what: &[u8]) -> bool {
    bytes.get(at..).is_some_and(|b| b.starts_with(what))
}

/// Where the header begins, and the bytes as far as they belong to the file inside a wrapper.
fn find_header<'a>(
    bytes: &'a [u8],
    faults: &mut Vec<Fault>,
) -> Result<(&'a [u8], usize), FileError> {
    if bytes.is_empty() {
        return Err(FileError::Empty);
    }
    if bytes.starts_with(b"MThd") {
        return Ok((bytes, 0));
    }
    if bytes.len() < 4 && b"MThd".starts_with(bytes) {
        return Err(FileError::CutInHeader {
            offset: bytes.len() as u64,
        });
    }
    if bytes.starts_with(b"RIFF") && starts(bytes, 8, b"RMID") {
        return riff_data(bytes, faults);
    }
    // A header in the middle counts only with its usual length, so that prose about MIDI files
    // is not taken for one.
    if let Some(at) = find(bytes, 0, b"MThd")
        && u32_at(bytes, at + 4) == Some(6)
    {
        faults.push(Fault {
            offset: 0,
            track: None,
            what: format!("{} before the header {} skipped", count(at, "byte"), be(at)),
        });
        return Ok((bytes, at));
    }
    const OTHERS: [(&[u8], &str); 8] = [
        (b"RIFF", "a RIFF file (sound or video)"),
        (b"ID3", "an MP3 recording"),
        (b"OggS", "an Ogg recording"),
        (b"fLaC", "a FLAC recording"),
        (b"PK\x03\x04", "a zip archive (compressed MusicXML is one)"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"%PDF", "a PDF document"),
        (b"<?xml", "an XML document (MusicXML is one)"),
    ];
    if let Some((_, what)) = OTHERS.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return Err(FileError::Other(what));
    }
    let printable = |c: char| !c.is_control() || matches!(c, '\n' | '\r' | '\t' | '\u{c}');
    if std::str::from_utf8(bytes).is_ok_and(|text| text.chars().all(printable)) {
        return Err(FileError::Other("a text file"));
    }
    Err(FileError::NotMidi)
}

/// The content of the `data` chunk of an RMID file. RIFF lengths are little-endian.
fn riff_data<'a>(bytes: &'a [u8], faults: &mut Vec<Fault>) -> Result<(&'a [u8], usize), FileError> {
    let mut at = 12;
    while let Some(len) = u32_at(bytes, at + 4) {
        let len = len.swap_bytes() as usize;
        let start = at + 8;
        if starts(bytes, at, b"data") {
            let rest = bytes.len() - start;
            if len > rest {
                faults.push(Fault {
                    offset: at as u64 + 4,
                    track: None,
                    what: format!(
                        "the RIFF wrapper says {}, the file holds {}",
                        count(len, "byte"),
                        grouped(rest as u64)
                    ),
                });
            }
            return match bytes.get(..start + len.min(rest)) {
                Some(inner) if starts(inner, start, b"MThd") => Ok((inner, start)),
                _ => Err(FileError::NotMidi),
            };
        }
        at = start.saturating_add(len).saturating_add(len % 2);
    }
    Err(FileError::NotMidi)
}

/// How ticks become time.
#[derive(Clone, Copy)]
enum Timing {
    /// Ticks in a quarter; the tempo says how long that is.
    Quarter(u16),
    /// Ticks in `frame.0 / frame.1` seconds' frames: a fixed rate, tempo or not.
    Frames { per_second: (u64, u64), ticks: u8 },
}

struct Header {
    format: u8,
    tracks: u16,
    timing: Timing,
    /// Where the first chunk after it should be.
    next: usize,
}

impl Header {
    fn read(bytes: &[u8], start: usize, faults: &mut Vec<Fault>) -> Result<Header, FileError> {
        let cut = FileError::CutInHeader {
            offset: bytes.len() as u64,
        };
        let length = u32_at(bytes, start + 4).ok_or_else(|| cut.clone())? as usize;
        let format = u16_at(bytes, start + 8).ok_or_else(|| cut.clone())?;
        let tracks = u16_at(bytes, start + 10).ok_or_else(|| cut.clone())?;
        let division = u16_at(bytes, start + 12).ok_or(cut)?;
        let mut fault = |at: usize, what: String| {
            faults.push(Fault {
                offset: (start + at) as u64,
                track: None,
                what,
            })
        };
        let next = if length < 6 || length > bytes.len() - start - 8 {
            fault(
                4,
                format!(
                    "the header's length says {}, it needs 6",
                    count(length, "byte")
                ),
            );
            start + 14
        } else {
            start + 8 + length
        };
        let format = match u8::try_from(format) {
            Ok(format @ 0..=2) => format,
            _ => {
                fault(
                    8,
                    format!(
                        "type {format} is none of 0, 1 and 2; the tracks are played together, as in type 1"
                    ),
                );
                1
            }
        };
        let [high, low] = division.to_be_bytes();
        let offset = start as u64 + 12;
        let timing = if division < 0x8000 {
            if division == 0 {
                return Err(FileError::NoDivision { offset });
            }
            Timing::Quarter(division)
        } else {
            let frames = (high as i8).unsigned_abs();
            if low == 0 {
                return Err(FileError::NoDivision { offset });
            }
            if !matches!(frames, 24 | 25 | 29 | 30) {
                fault(
                    12,
                    format!(
                        "{frames} frames a second is none of 24, 25, 29.97 and 30; it is used as it stands"
                    ),
                );
            }
            // 29 means 30 with dropped frame numbers: 29.97, exactly 30000/1001.
            let per_second = if frames == 29 {
                (30_000, 1_001)
            } else {
                (u64::from(frames), 1)
            };
            Timing::Frames {
                per_second,
                ticks: low,
            }
        };
        Ok(Header {
            format,
            tracks,
            timing,
            next,
        })
    }
}

/// One event of a track that matters here.
struct Item<'a> {
    tick: u64,
    /// Of its first byte, in the file.
    offset: usize,
    /// From 0.
    track: u32,
    what: What<'a>,
}

#[derive(Clone, Copy)]
enum What<'a> {
    Event(Event),
    Text(TextKind, &'a [u8]),
    Key {
        sharps: i8,
        minor: bool,
    },
    /// Microseconds to the quarter.
    Tempo(u32),
    /// The track's end.
    End,
}

/// How the events of a track ended.
enum Stop {
    /// With an end-of-track event; the offset after it.
    Ended(usize),
    /// At the limit, between two events.
    RanOut,
    /// At an event that the limit cuts off.
    Cut(usize),
    /// At an event that cannot be.
    Bad(usize, &'static str),
}

struct Parsed<'a> {
    items: Vec<Item<'a>>,
    faults: Vec<Fault>,
    /// All events, also those that do not matter here.
    events: usize,
    stop: Stop,
}

/// The walk over the chunks.
struct Chunks<'a, 'f> {
    bytes: &'a [u8],
    faults: &'f mut Vec<Fault>,
    tracks: &'f mut Vec<Vec<Item<'a>>>,
    /// How many bytes may still be parsed twice, so that no file takes more than linear time.
    patience: usize,
}

impl<'a> Chunks<'a, '_> {
    fn fault(&mut self, offset: usize, track: Option<usize>, what: String) {
        self.faults.push(Fault {
            offset: offset as u64,
            track,
            what,
        });
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

    fn walk(&mut self, mut at: usize) {
        let bytes = self.bytes;
        while at < bytes.len() {
            if starts(bytes, at, b"MThd") {
                self.fault(
                    at,
                    None,
                    "a second header begins here; what follows is not read".into(),
                );
                return;
            }
            at = match u32_at(bytes, at + 4) {
                Some(len) if starts(bytes, at, b"MTrk") => self.track(at, len as usize),
                // An unknown chunk is to be skipped, says the standard.
                Some(len) if self.boundary(at) => at + 8 + len as usize,
                _ => match find(bytes, at + 1, b"MTrk") {
                    Some(next) => {
                        let skipped = count(next - at, "byte");
                        let be = be(next - at);
                        self.fault(
                            at,
                            None,
                            format!("{skipped} outside of all chunks {be} skipped"),
                        );
                        next
                    }
                    None => {
                        let rest = bytes.len() - at;
                        let what = if starts(bytes, at, b"MTrk") {
                            "the file ends inside the header of a track".into()
                        } else {
                            format!(
                                "{} after the last chunk {} skipped",
                                count(rest, "byte"),
                                be(rest)
                            )
                        };
                        self.fault(at, None, what);
                        return;
                    }
                },
            };
        }
    }

    /// Takes in the track whose chunk begins at `at` and says `declared` bytes; returns where the
    /// next chunk should begin.
    fn track(&mut self, at: usize, declared: usize) -> usize {
        let number = self.tracks.len() + 1;
        let data = at + 8;
        let end = self.bytes.len();
        let whole = declared <= end - data;
        let mut limit = if whole { data + declared } else { end };
        let mut parsed = self.parse(data, limit);
        let sound = match parsed.stop {
            Stop::Ended(_) => true,
            Stop::RanOut => whole && self.boundary(limit),
            _ => false,
        };
        // The length may be wrong: perhaps the track goes on, perhaps it swallows the next one.
        let other = if sound {
            limit
        } else {
            find(self.bytes, data, b"MTrk").unwrap_or(end)
        };
        let cost = other.max(limit) - data;
        if other != limit && self.patience >= cost {
            self.patience -= cost;
            let second = self.parse(data, other);
            let ended = match second.stop {
                Stop::Ended(after) if self.boundary(after) => Some(after),
                _ => None,
            };
            if let Some(after) = ended
                && after > limit
            {
                self.fault(
                    at + 4,
                    Some(number),
                    format!(
                        "the chunk's length says {}, but the track goes on for {}; it is read to its end",
                        count(declared, "byte"),
                        grouped((after - data) as u64)
                    ),
                );
                (parsed, limit) = (second, after);
            } else if other < limit {
                if whole {
                    self.fault(
                        at + 4,
                        Some(number),
                        format!(
                            "the chunk's length says {}, but the next track begins after {}",
                            count(declared, "byte"),
                            grouped((other - data) as u64)
                        ),
                    );
                }
                (parsed, limit) = (second, other);
            }
        }
        if !whole {
            self.fault(
                at + 4,
                Some(number),
                format!(
                    "the chunk's length says {}, the file holds {}",
                    count(declared, "byte"),
                    grouped((end - data) as u64)
                ),
            );
        }
        let used = match parsed.events {
            0 => "none of its events is used".into(),
            1 => "its first event is used".into(),
            n => format!("its first {} are used", count(n, "event")),
        };
        let next = match parsed.stop {
            Stop::Ended(after) if after == limit => limit,
            Stop::Ended(after) => {
                let swallowed = starts(self.bytes, after, b"MTrk");
                if whole {
                    let be = be(limit - after);
                    let rest = count(limit - after, "byte");
                    let what = if swallowed {
                        format!(
                            "the chunk's length runs {rest} past the end of the track, over the next one"
                        )
                    } else {
                        format!(
                            "{rest} between the end of the track and the end of its chunk {be} skipped"
                        )
                    };
                    self.fault(if swallowed { at + 4 } else { after }, Some(number), what);
                }
                if swallowed || !whole || !self.boundary(limit) {
                    after
                } else {
                    limit
                }
            }
            Stop::RanOut => {
                self.fault(
                    limit,
                    Some(number),
                    format!("the track has no end-of-track event; {used}"),
                );
                limit
            }
            Stop::Cut(from) => {
                self.fault(
                    from,
                    Some(number),
                    format!("the track ends in the middle of an event; {used}"),
                );
                limit
            }
            Stop::Bad(from, why) => {
                self.fault(
                    from,
                    Some(number),
                    format!("{why}; the track is read up to here, {used}"),
                );
                limit
            }
        };
        let ended = matches!(parsed.stop, Stop::Ended(_));
        self.faults.append(&mut parsed.faults);
        if !ended {
            let tick = parsed.items.last().map_or(0, |item| item.tick);
            close(&mut parsed.items, tick, limit, (number - 1) as u32);
        }
        self.tracks.push(parsed.items);
        next
    }

    /// The events between `data` and `limit`, for the track that comes next.
    fn parse(&self, data: usize, limit: usize) -> Parsed<'a> {
        let number = self.tracks.len() + 1;
        let raw = self.bytes.get(data..limit).unwrap_or_default();
        let mut parsed = Parsed {
            items: Vec::new(),
            faults: Vec::new(),
            events: 0,
            stop: Stop::RanOut,
        };
        let mut fault = |offset: usize, what: String| {
            parsed.faults.push(Fault {
                offset: offset as u64,
                track: Some(number),
                what,
            })
        };
        let mut tick = 0u64;
        let mut events = EventIter::new(raw);
        loop {
            let offset = limit - events.unread().len();
            let running = events.running_status();
            let event = match events.next() {
                None => break,
                Some(Ok(event)) => event,
                Some(Err(_)) => {
                    let raw = self.bytes.get(offset..limit).unwrap_or_default();
                    match measure(raw, running) {
                        // midly refuses a meta event for its content; its length is sound.
                        Measure::Meta {
                            delta,
                            kind,
                            length,
                        } => {
                            fault(
                                offset,
                                format!(
                                    "the content of a meta event {kind:02X} is damaged; it is skipped"
                                ),
                            );
                            tick += u64::from(delta);
                            parsed.events += 1;
                            events = EventIter::new(raw.get(length..).unwrap_or_default());
                            continue;
                        }
                        Measure::Cut => parsed.stop = Stop::Cut(offset),
                        Measure::Bad(why) => parsed.stop = Stop::Bad(offset, why),
                    }
                    break;
                }
            };
            parsed.events += 1;
            tick += u64::from(event.delta.as_int());
            let what = match event.kind {
                TrackEventKind::Midi { channel, message } => {
                    translate(channel.as_int(), message).map(What::Event)
                }
                TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => None,
                TrackEventKind::Meta(meta) => match meta {
                    MetaMessage::EndOfTrack => Some(What::End),
                    MetaMessage::Tempo(tempo) if tempo.as_int() == 0 => {
                        fault(
                            offset,
                            "a tempo of 0 microseconds to the quarter is ignored".into(),
                        );
                        None
                    }
                    MetaMessage::Tempo(tempo) => Some(What::Tempo(tempo.as_int())),
                    MetaMessage::KeySignature(sharps @ -7..=7, minor) => {
                        Some(What::Key { sharps, minor })
                    }
                    MetaMessage::KeySignature(sharps, _) => {
                        fault(
                            offset,
                            format!("a key signature of {sharps} sharps is ignored"),
                        );
                        None
                    }
                    MetaMessage::Text(text) => Some(What::Text(TextKind::Text, text)),
                    MetaMessage::Copyright(text) => Some(What::Text(TextKind::Copyright, text)),
                    MetaMessage::TrackName(text) => Some(What::Text(TextKind::TrackName, text)),
                    MetaMessage::InstrumentName(text) => {
                        Some(What::Text(TextKind::Instrument, text))
                    }
                    MetaMessage::Lyric(text) => Some(What::Text(TextKind::Lyric, text)),
                    MetaMessage::Marker(text) => Some(What::Text(TextKind::Marker, text)),
                    MetaMessage::CuePoint(text) => Some(What::Text(TextKind::Cue, text)),
                    _ => None,
                },
            };
            if let Some(what) = what {
                parsed.items.push(Item {
                    tick,
                    offset,
                    track: (number - 1) as u32,
                    what,
                });
                if matches!(what, What::End) {
                    parsed.stop = Stop::Ended(limit - events.unread().len());
                    break;
                }
            }
        }
        // A track without its end lasts until its last event, also if that does not matter here.
        if !matches!(parsed.stop, Stop::Ended(_)) {
            let track = (number - 1) as u32;
            parsed.items.push(Item {
                tick,
                offset: limit,
                track,
                what: What::End,
            });
        }
        parsed
    }
}

/// The event that a channel message is, if it matters here.
pub(super) fn translate(channel: Channel, message: MidiMessage) -> Option<Event> {
    Some(match message {
        MidiMessage::NoteOn { key, vel } if vel.as_int() > 0 => Event::NoteOn {
            channel,
            key: key.as_int(),
            velocity: vel.as_int(),
        },
        MidiMessage::NoteOn { key, .. } | MidiMessage::NoteOff { key, .. } => Event::NoteOff {
            channel,
            key: key.as_int(),
        },
        MidiMessage::Controller { controller, value } => {
            let value = value.as_int();
            match controller.as_int() {
                64 => Event::Damper { channel, value },
                66 => Event::Sostenuto { channel, value },
                67 => Event::Soft { channel, value },
                120 => Event::AllSoundOff { channel },
                121 => Event::ResetControllers { channel },
                123..=127 => Event::AllNotesOff { channel },
                _ => return None,
            }
        }
        _ => return None,
    })
}

/// What midly could not parse.
enum Measure {
    /// A meta event of so many bytes, its delta time included.
    Meta {
        delta: u32,
        kind: u8,
        length: usize,
    },
    Cut,
    Bad(&'static str),
}

/// Why the event at the start of `raw` cannot be parsed.
fn measure(raw: &[u8], running: Option<u8>) -> Measure {
    const LONG: Measure = Measure::Bad("a number of more than four bytes");
    let varlen = |at: usize| {
        let mut value = 0u32;
        for i in 0..4 {
            let byte = *raw.get(at + i).ok_or(Measure::Cut)?;
            value = value << 7 | u32::from(byte & 0x7f);
            if byte < 0x80 {
                return Ok((value, at + i + 1));
            }
        }
        Err(LONG)
    };
    let inner = || {
        let (delta, mut at) = varlen(0)?;
        let mut status = *raw.get(at).ok_or(Measure::Cut)?;
        if status < 0x80 {
            status = running.ok_or(Measure::Bad("data bytes where an event should begin"))?;
        } else {
            at += 1;
        }
        match status {
            0xff => {
                let kind = *raw.get(at).ok_or(Measure::Cut)?;
                let (length, at) = varlen(at + 1)?;
                let length = at + length as usize;
                Ok(if length > raw.len() {
                    Measure::Cut
                } else {
                    Measure::Meta {
                        delta,
                        kind,
                        length,
                    }
                })
            }
            0xf0 | 0xf7 => {
                varlen(at)?;
                Ok(Measure::Cut)
            }
            0xf1.. => Ok(Measure::Bad("a system message that no file may hold")),
            _ => {
                let needed = if matches!(status, 0xc0..=0xdf) { 1 } else { 2 };
                Ok(match raw.get(at..at + needed) {
                    None => Measure::Cut,
                    Some(_) => Measure::Bad("a status byte in the middle of an event"),
                })
            }
        }
    };
    inner().unwrap_or_else(|stop| stop)
}

/// Releases at `tick` what a track left sounding: keys, then pedals, by channel.
fn close(items: &mut Vec<Item>, tick: u64, offset: usize, track: u32) {
    let mut held = [0u128; 16];
    let mut pedals = [[false; 2]; 16];
    for item in items.iter() {
        let What::Event(event) = item.what else {
            continue;
        };
        let channel = event.channel().map_or(0, |c| usize::from(c & 15));
        match event {
            Event::NoteOn { key, .. } => held[channel] |= 1 << (key & 127),
            Event::NoteOff { key, .. } => held[channel] &= !(1 << (key & 127)),
            Event::AllNotesOff { .. } | Event::AllSoundOff { .. } => held[channel] = 0,
            Event::Damper { value, .. } => pedals[channel][0] = value > 0,
            Event::Sostenuto { value, .. } => pedals[channel][1] = value > 0,
            Event::Soft { .. } => {}
            Event::ResetControllers { .. } => pedals[channel] = [false; 2],
            Event::Release => (held, pedals) = ([0; 16], [[false; 2]; 16]),
        }
    }
    // The end stays last.
    let end = match items.last() {
        Some(Item {
            what: What::End, ..
        }) => items.pop(),
        _ => None,
    };
    for (channel, keys) in (0u8..).zip(held) {
        for key in (0..128).filter(|key| keys >> key & 1 == 1) {
            let what = What::Event(Event::NoteOff { channel, key });
            items.push(Item {
                tick,
                offset,
                track,
                what,
            });
        }
    }
    for (channel, [damper, sostenuto]) in (0u8..).zip(pedals) {
        let ups = [
            (damper, Event::Damper { channel, value: 0 }),
            (sostenuto, Event::Sostenuto { channel, value: 0 }),
        ];
        for (_, event) in ups.into_iter().filter(|(down, _)| *down) {
            items.push(Item {
                tick,
                offset,
                track,
                what: What::Event(event),
            });
        }
    }
    items.extend(end);
}

/// Ticks to time, exactly: elapsed time is a whole number of `1/unit` ticks of ours, and only what
/// is handed out is rounded.
struct Clock {
    timing: Timing,
    tempo: u32,
    tick: u64,
    elapsed: u128,
    unit: u128,
}

/// 120 quarters a minute, where the file says nothing.
const DEFAULT_TEMPO: u32 = 500_000;

impl Clock {
    fn new(timing: Timing) -> Clock {
        let microseconds = 1_000_000 / TICKS_PER_SECOND;
        let unit = match timing {
            Timing::Quarter(division) => u128::from(division) * u128::from(microseconds),
            Timing::Frames { per_second, ticks } => u128::from(per_second.0) * u128::from(ticks),
        };
        Clock {
            timing,
            tempo: DEFAULT_TEMPO,
            tick: 0,
            elapsed: 0,
            unit,
        }
    }

    /// The next pattern of a file of type 2 begins here.
    fn restart(&mut self) {
        (self.tick, self.tempo) = (0, DEFAULT_TEMPO);
    }

    /// Goes on to `tick`, which must not be earlier; false if that is beyond [`LONGEST`].
    fn advance(&mut self, tick: u64) -> bool {
        let each = match self.timing {
            Timing::Quarter(_) => u64::from(self.tempo),
            Timing::Frames { per_second, .. } => TICKS_PER_SECOND * per_second.1,
        };
        let span = u128::from(tick.saturating_sub(self.tick)) * u128::from(each);
        self.elapsed = self.elapsed.saturating_add(span);
        self.tick = tick;
        self.elapsed / self.unit <= u128::from(LONGEST.0)
    }

    fn now(&self) -> Time {
        let rounded = self.elapsed.saturating_add(self.unit / 2) / self.unit;
        Time(u64::try_from(rounded).unwrap_or(u64::MAX)).min(LONGEST)
    }
}

/// Tracks become one line of time.
struct Merge<'f> {
    clock: Clock,
    faults: &'f mut Vec<Fault>,
    performance: Performance,
    beyond: bool,
}

impl<'f> Merge<'f> {
    fn new(timing: Timing, faults: &'f mut Vec<Fault>) -> Merge<'f> {
        let performance = Performance::default();
        Merge {
            clock: Clock::new(timing),
            faults,
            performance,
            beyond: false,
        }
    }

    fn run(mut self, format: u8, tracks: Vec<Vec<Item>>) -> Performance {
        self.performance.format = format;
        self.performance.tracks = tracks.len();
        if format == 2 {
            for (track, mut items) in (0u32..).zip(tracks) {
                if let Some(Item { tick, offset, .. }) = items.last() {
                    let (tick, offset) = (*tick, *offset);
                    close(&mut items, tick, offset, track);
                }
                self.clock.restart();
                self.line(&items, &mut Unison::default());
            }
        } else {
            let mut unison = Unison::of(&tracks);
            let mut items: Vec<Item> = tracks.into_iter().flatten().collect();
            // Stable: at equal times the order of the tracks.
            items.sort_by_key(|item| item.tick);
            self.line(&items, &mut unison);
        }
        self.performance
    }

    fn line(&mut self, items: &[Item], unison: &mut Unison) {
        for item in items {
            if !self.clock.advance(item.tick) && !self.beyond {
                self.beyond = true;
                self.faults.push(Fault {
                    offset: item.offset as u64,
                    track: Some(item.track as usize + 1),
                    what: format!(
                        "a time of more than {} hours; this and what follows are put there",
                        grouped(LONGEST.0 / TICKS_PER_SECOND / 3_600)
                    ),
                });
            }
            let at = self.clock.now();
            let out = &mut self.performance;
            out.end = at;
            match item.what {
                What::Event(event) => {
                    if unison.passes(item.track, event) {
                        out.events.push(Timed { at, event });
                    }
                }
                What::Text(kind, text) => out.texts.push(Text {
                    at,
                    before_event: out.events.len(),
                    kind,
                    text: decode(text),
                }),
                What::Key { sharps, minor } => {
                    out.key_signatures.push(KeySignature { at, sharps, minor })
                }
                What::Tempo(tempo) => self.clock.tempo = tempo,
                What::End => {}
            }
        }
    }
}

fn decode(text: &[u8]) -> String {
    match std::str::from_utf8(text) {
        Ok(text) => text.into(),
        Err(_) => text.iter().copied().map(char::from).collect(),
    }
}

/// Which tracks hold which keys, on the channels that several tracks play.
#[derive(Default)]
struct Unison {
    shared: [bool; 16],
    /// By track and channel: the keys held, and the age of the channel in which they were struck.
    held: HashMap<(u32, Channel), (u32, u128)>,
    /// By channel: raised when everything on it is released at once.
    age: [u32; 16],
    holders: HashMap<(Channel, u8), u32>,
}

impl Unison {
    fn of(tracks: &[Vec<Item>]) -> Unison {
        let mut shared = [false; 16];
        let mut first = [None; 16];
        for item in tracks.iter().flatten() {
            if let What::Event(Event::NoteOn { channel, .. }) = item.what {
                let channel = usize::from(channel & 15);
                let first = first[channel].get_or_insert(item.track);
                shared[channel] |= *first != item.track;
            }
        }
        Unison {
            shared,
            ..Unison::default()
        }
    }

    fn clear(&mut self, channel: Channel) {
        self.age[usize::from(channel & 15)] += 1;
        self.holders.retain(|(c, _), _| *c != channel);
    }

    /// Takes note of the event; false if it must not be heard.
    fn passes(&mut self, track: u32, event: Event) -> bool {
        let (channel, key, on) = match event {
            Event::NoteOn { channel, key, .. } => (channel, key, true),
            Event::NoteOff { channel, key } => (channel, key, false),
            Event::AllSoundOff { channel } | Event::AllNotesOff { channel } => {
                self.clear(channel);
                return true;
            }
            Event::Release => {
                (0..16).for_each(|channel| self.clear(channel));
                return true;
            }
            _ => return true,
        };
        let index = usize::from(channel & 15);
        if !self.shared[index] {
            return true;
        }
        let (age, keys) = self.held.entry((track, channel)).or_default();
        if *age != self.age[index] {
            (*age, *keys) = (self.age[index], 0);
        }
        let bit = 1u128 << (key & 127);
        let holders = self.holders.entry((channel, key)).or_default();
        match (on, *keys & bit != 0) {
            (true, false) => *holders += 1,
            (false, true) => *holders = holders.saturating_sub(1),
            _ => {}
        }
        *keys = if on { *keys | bit } else { *keys & !bit };
        on || *holders == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ON: fn(u8, u8, u8) -> Event = |channel, key, velocity| Event::NoteOn {
        channel,
        key,
        velocity,
    };
    const OFF: fn(u8, u8) -> Event = |channel, key| Event::NoteOff { channel, key };

    fn header(format: u16, tracks: u16, division: u16) -> Vec<u8> {
        let mut out = b"MThd\0\0\0\x06".to_vec();
        for word in [format, tracks, division] {
            out.extend(word.to_be_bytes());
        }
        out
    }

    fn chunk(id: &[u8; 4], content: &[u8]) -> Vec<u8> {
        let mut out = id.to_vec();
        out.extend((content.len() as u32).to_be_bytes());
        out.extend(content);
        out
    }

    fn track(content: &[u8]) -> Vec<u8> {
        chunk(b"MTrk", content)
    }

    /// Ends the content given.
    fn ended(content: &[u8]) -> Vec<u8> {
        track(&[content, &[0x00, 0xff, 0x2f, 0x00]].concat())
    }

    fn file(format: u16, division: u16, tracks: &[Vec<u8>]) -> Vec<u8> {
        let mut out = header(format, tracks.len() as u16, division);
        out.extend(tracks.concat());
        out
    }

    fn events(bytes: &[u8]) -> Vec<(u64, Event)> {
        let performance = read(bytes).unwrap();
        performance
            .events
            .iter()
            .map(|t| (t.at.0, t.event))
            .collect()
    }

    fn faults(bytes: &[u8]) -> Vec<String> {
        read(bytes)
            .unwrap()
            .faults
            .iter()
            .map(Fault::to_string)
            .collect()
    }

    /// Running status in a track: `83 60 90 3C 40 83 60 3C 00`, as mido 1.3.3 writes it
    /// (reference/standards.md section 2). 480 ticks of 96 a quarter at 120: 2.5 s each.
    #[test]
    fn running_status_and_velocity_zero() {
        let bytes = file(
            0,
            96,
            &[ended(&[
                0x83, 0x60, 0x90, 0x3c, 0x40, 0x83, 0x60, 0x3c, 0x00,
            ])],
        );
        assert_eq!(
            events(&bytes),
            [(125_000, ON(0, 60, 64)), (250_000, OFF(0, 60))]
        );
        let performance = read(&bytes).unwrap();
        assert_eq!(performance.faults, []);
        assert_eq!((performance.format, performance.tracks), (0, 1));
        assert_eq!(performance.end, Time(250_000));
    }

    /// The table of variable-length numbers in reference/standards.md section 2, each as a delta
    /// time. 25,000 ticks a quarter at 120: one tick of the file is one of ours.
    #[test]
    fn variable_length_numbers() {
        let table: [(u64, &[u8]); 10] = [
            (0x00, &[0x00]),
            (0x40, &[0x40]),
            (0x7f, &[0x7f]),
            (0x80, &[0x81, 0x00]),
            (0x2000, &[0xc0, 0x00]),
            (0x3fff, &[0xff, 0x7f]),
            (0x4000, &[0x81, 0x80, 0x00]),
            (0x1f_ffff, &[0xff, 0xff, 0x7f]),
            (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
            (0x0fff_ffff, &[0xff, 0xff, 0xff, 0x7f]),
        ];
        for (value, delta) in table {
            let content = [delta, &[0x90, 0x3c, 0x40]].concat();
            let bytes = file(0, 25_000, &[ended(&content)]);
            assert_eq!(events(&bytes), [(value, ON(0, 60, 64))], "{delta:02x?}");
        }
    }

    /// Texts, the two key signatures and the default tempo of reference/standards.md section 2.
    #[test]
    fn texts_and_key_signatures() {
        let content = [
            &[0x00, 0xff, 0x51, 0x03, 0x07, 0xa1, 0x20][..],
            &[0x00, 0xff, 0x03, 0x01, b'n'],
            &[0x00, 0xff, 0x59, 0x02, 0xfd, 0x00],
            &[0x60, 0x90, 0x3c, 0x40],
            &[0x00, 0xff, 0x06, 0x01, 0x78],
            &[0x00, 0xff, 0x01, 0x02, 0xc3, 0xa9],
            &[0x00, 0xff, 0x01, 0x01, 0xe9],
            &[0x00, 0xff, 0x59, 0x02, 0x03, 0x01],
            &[0x00, 0xff, 0x59, 0x02, 0x08, 0x00],
        ]
        .concat();
        let performance = read(&file(0, 96, &[ended(&content)])).unwrap();
        let at = Time::millis(500);
        let text = |at, before_event, kind, text: &str| Text {
            at,
            before_event,
            kind,
            text: text.into(),
        };
        assert_eq!(
            performance.texts,
            [
                text(Time::ZERO, 0, TextKind::TrackName, "n"),
                text(at, 1, TextKind::Marker, "x"),
                text(at, 1, TextKind::Text, "é"),
                text(at, 1, TextKind::Text, "é"),
            ]
        );
        let key = |at, sharps, minor| KeySignature { at, sharps, minor };
        assert_eq!(
            performance.key_signatures,
            [key(Time::ZERO, -3, false), key(at, 3, true)]
        );
        assert_eq!(
            performance.faults[0].what,
            "a key signature of 8 sharps is ignored"
        );
    }

    /// MIDI 1.0 channel mode messages; reference/standards.md section 1.
    #[test]
    fn controllers() {
        let mut content = Vec::new();
        for number in 0..128 {
            content.extend([0x00, 0xb5, number, 0x40]);
        }
        content.extend([0x00, 0xc5, 0x01, 0x00, 0xd5, 0x01, 0x00, 0xe5, 0x01, 0x01]);
        let channel = 5;
        let expected = [
            Event::Damper { channel, value: 64 },
            Event::Sostenuto { channel, value: 64 },
            Event::Soft { channel, value: 64 },
            Event::AllSoundOff { channel },
            Event::ResetControllers { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
        ];
        let bytes = file(0, 96, &[ended(&content)]);
        assert_eq!(events(&bytes), expected.map(|event| (0, event)));
    }

    #[test]
    fn a_tempo_in_any_track_moves_all() {
        // After one quarter at 120 the tempo halves: the second quarter takes 1 s.
        let notes = [0x60, 0x90, 0x3c, 0x40, 0x60, 0x80, 0x3c, 0x40];
        let tempo = [0x60, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40];
        let bytes = file(1, 96, &[ended(&notes), ended(&tempo)]);
        assert_eq!(
            events(&bytes),
            [(25_000, ON(0, 60, 64)), (75_000, OFF(0, 60))]
        );
    }

    #[test]
    fn patterns_follow_one_another() {
        let first = [
            &[0x00, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40][..],
            &[0x00, 0x90, 0x3c, 0x40, 0x60, 0xff, 0x2f, 0x00],
        ]
        .concat();
        // The tempo of the first pattern does not reach the second.
        let second = [0x00, 0x91, 0x3e, 0x40, 0x60, 0x81, 0x3e, 0x40];
        let bytes = file(2, 96, &[track(&first), ended(&second)]);
        assert_eq!(
            events(&bytes),
            [
                (0, ON(0, 60, 64)),
                (50_000, OFF(0, 60)),
                (50_000, ON(1, 62, 64)),
                (75_000, OFF(1, 62)),
            ]
        );
        assert_eq!(faults(&bytes), [""; 0]);
    }

    /// SMPTE division: E7 28 is 25 frames of 40, milliseconds (common practice, no source);
    /// 29 stands for 30000/1001 frames a second.
    #[test]
    fn frames() {
        let content = [0x87, 0x68, 0x90, 0x3c, 0x40]; // after 1000 ticks
        let at = |division| events(&file(0, division, &[ended(&content)]))[0].0;
        assert_eq!(at(0xe728), 50_000);
        assert_eq!(at(0xe20a), 166_667); // 100 frames of 30
        assert_eq!(at(0xe30a), 166_833); // 100 * 1001/30000 s = 3.336667 s
        assert_eq!(at(0xe80a), 208_333); // 100 frames of 24
        // The tempo does not count.
        let tempo = [&[0x00, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40][..], &content].concat();
        assert_eq!(events(&file(0, 0xe728, &[ended(&tempo)]))[0].0, 50_000);
        assert_eq!(
            faults(&file(0, 0xec0a, &[ended(&[])])),
            [
                "byte 12: 20 frames a second is none of 24, 25, 29.97 and 30; it is used as it stands"
            ]
        );
    }

    #[test]
    fn two_voices_in_unison() {
        let upper = ended(&[0x00, 0x90, 60, 64, 0x60, 0x80, 60, 64]);
        let lower = ended(&[0x30, 0x90, 60, 64, 0x60, 0x80, 60, 64, 0x00, 0x80, 60, 64]);
        let expected = [
            (0, ON(0, 60, 64)),
            (12_500, ON(0, 60, 64)),
            // not 25,000, where the upper voice lets go
            (37_500, OFF(0, 60)),
            (37_500, OFF(0, 60)),
        ];
        assert_eq!(events(&file(1, 96, &[upper.clone(), lower])), expected);
        // All notes off takes the key from both.
        let off = ended(&[0x30, 0x90, 60, 64, 0x00, 0xb0, 123, 0]);
        assert_eq!(
            events(&file(1, 96, &[upper, off])),
            [
                (0, ON(0, 60, 64)),
                (12_500, ON(0, 60, 64)),
                (12_500, Event::AllNotesOff { channel: 0 }),
                (25_000, OFF(0, 60)),
            ]
        );
    }

    #[test]
    fn at_equal_times_the_order_of_the_file() {
        let one = ended(&[0x60, 0x90, 60, 64, 0x60, 0x80, 60, 64]);
        let two = ended(&[0x60, 0x91, 62, 64, 0x60, 0x81, 62, 64]);
        assert_eq!(
            events(&file(1, 25_000, &[one, two])),
            [
                (96, ON(0, 60, 64)),
                (96, ON(1, 62, 64)),
                (192, OFF(0, 60)),
                (192, OFF(1, 62)),
            ]
        );
    }

    const NOTE: [u8; 8] = [0x60, 0x90, 60, 64, 0x60, 0x80, 60, 64];
    const OTHER: [u8; 8] = [0x60, 0x91, 60, 64, 0x60, 0x81, 60, 64];

    #[test]
    fn the_header_is_longer_and_chunks_are_unknown() {
        let mut bytes = b"MThd\0\0\0\x08\0\x01\0\x01\0\x60\xca\xfe".to_vec();
        bytes.extend(chunk(b"XTRA", b"MTrk"));
        bytes.extend(ended(&NOTE));
        assert_eq!(faults(&bytes), [""; 0]);
        assert_eq!(events(&bytes).len(), 2);
    }

    #[test]
    fn wrapped_in_riff() {
        let smf = file(0, 96, &[ended(&NOTE)]);
        let mut riff = b"RIFF\0\0\0\0RMIDINFO\x03\0\0\0abc\0data".to_vec();
        riff.extend((smf.len() as u32).to_le_bytes());
        riff.extend(&smf);
        riff.push(0);
        assert_eq!(events(&riff).len(), 2);
        assert_eq!(faults(&riff), [""; 0]);
        let cut = &riff[..riff.len() - 3];
        assert_eq!(
            faults(cut),
            [
                "byte 28: the RIFF wrapper says 34 bytes, the file holds 32",
                "byte 50, track 1: the chunk's length says 12 bytes, the file holds 10",
                "byte 62, track 1: the track ends in the middle of an event; its first 2 events are used",
            ]
        );
    }

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

    #[test]
    fn a_damaged_track_leaves_nothing_sounding() {
        let content = [
            0x00, 0x93, 60, 64, 0x00, 0x93, 64, 64, 0x00, 0xb3, 64, 127, 0x10, 0x83, 64, 0, 0x60,
        ];
        let performance = read(&file(0, 25_000, &[track(&content)])).unwrap();
        assert_eq!(performance.faults.len(), 1);
        let at = Time(16);
        let channel = 3;
        assert_eq!(
            performance.events[3..],
            [
                Timed {
                    at,
                    event: OFF(3, 64)
                },
                Timed {
                    at,
                    event: OFF(3, 60)
                },
                Timed {
                    at,
                    event: Event::Damper { channel, value: 0 }
                },
            ]
        );
    }

    #[test]
    fn a_tempo_of_zero() {
        let content = [&[0x00, 0xff, 0x51, 0x03, 0, 0, 0], &NOTE[..]].concat();
        let bytes = file(0, 96, &[ended(&content)]);
        assert_eq!(events(&bytes)[0].0, 25_000);
        assert_eq!(
            faults(&bytes),
            ["byte 22, track 1: a tempo of 0 microseconds to the quarter is ignored"]
        );
    }

    #[test]
    fn centuries() {
        let mut content = vec![0x00, 0xff, 0x51, 0x03, 0xff, 0xff, 0xff];
        for _ in 0..3 {
            content.extend([0xff, 0xff, 0xff, 0x7f, 0x90, 60, 64]);
        }
        let bytes = file(0, 1, &[ended(&content)]);
        assert_eq!(events(&bytes), [(LONGEST.0, ON(0, 60, 64)); 3]);
        assert_eq!(
            faults(&bytes),
            [
                "byte 29, track 1: a time of more than 1,000 hours; this and what follows are put there"
            ]
        );
    }

    #[test]
    fn what_is_no_midi_file() {
        let head = |division| header(0, 1, division);
        let cases: [(&[u8], &str); 10] = [
            (b"", "the file is empty: export or record it again"),
            (
                b"C major, then G\n",
                "this is a text file, not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"<?xml version=\"1.0\"?>",
                "this is an XML document (MusicXML is one), not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"RIFF\0\0\0\0WAVE",
                "this is a RIFF file (sound or video), not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"\0\x01\x02",
                "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi",
            ),
            (
                b"RIFF\0\0\0\0RMIDdata\x04\0\0\0abcd",
                "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi",
            ),
            (
                b"MTh",
                "byte 3: the file ends inside its header, before the first track: get a whole copy of it",
            ),
            (
                b"MThd\0\0\0\x06\0\0\0",
                "byte 11: the file ends inside its header, before the first track: get a whole copy of it",
            ),
            (
                &head(0),
                "byte 12: the header gives a division of zero ticks, so no event has a time: export the file again",
            ),
            (
                &head(96),
                "byte 14: after the header there is no track: export the file again",
            ),
        ];
        for (bytes, expected) in cases {
            assert_eq!(read(bytes).unwrap_err().to_string(), expected);
        }
    }

    /// A track of notes at given ticks, with its tempo changes.
    fn tempo_file(division: u16, steps: &[(u32, Option<u32>)]) -> Vec<u8> {
        let mut content = Vec::new();
        for (delta, tempo) in steps {
            for shift in [21, 14, 7] {
                content.push((delta >> shift) as u8 & 0x7f | 0x80);
            }
            content.push(*delta as u8 & 0x7f);
            match tempo {
                Some(tempo) => {
                    content.extend([0xff, 0x51, 0x03]);
                    content.extend(&tempo.to_be_bytes()[1..]);
                }
                None => content.extend([0x90, 60, 64]),
            }
        }
        file(0, division, &[ended(&content)])
    }

    proptest! {
        #[test]
        fn tempo_maps_agree_with_a_plain_reference(
            division in 1u16..0x8000,
            steps in prop::collection::vec(
                (0u32..200_000, prop::option::of(1u32..5_000_000)),
                1..60,
            ),
        ) {
            let performance = read(&tempo_file(division, &steps)).unwrap();
            let (mut seconds, mut tempo) = (0.0, 500_000.0);
            let mut expected = Vec::new();
            for (delta, change) in steps {
                seconds += f64::from(delta) * tempo / f64::from(division) / 1e6;
                match change {
                    Some(change) => tempo = f64::from(change),
                    None => expected.push(seconds),
                }
            }
            prop_assert_eq!(performance.events.len(), expected.len());
            for (timed, seconds) in performance.events.iter().zip(expected) {
                if timed.at == LONGEST {
                    prop_assert!(seconds + 1e-5 >= LONGEST.seconds());
                    continue;
                }
                // Half a tick of rounding, and the reference's own error.
                let tolerance = 0.500_001 / TICKS_PER_SECOND as f64 + seconds * 1e-12;
                prop_assert!((timed.at.seconds() - seconds).abs() <= tolerance);
            }
        }

        #[test]
        fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            // Behind a sound header, so that the chunks are reached.
            for bytes in [bytes.clone(), [header(1, 2, 96), bytes].concat()] {
                if let Ok(performance) = read(&bytes) {
                    check_order(&performance);
                }
            }
        }

        #[test]
        fn a_mutated_file_is_survived_and_a_cut_one_is_never_whole(
            notes in prop::collection::vec((0u8..128, 0u8..128, 0u8..128), 1..40),
            at in any::<prop::sample::Index>(),
            value in any::<u8>(),
            cut in any::<prop::sample::Index>(),
        ) {
            let mut content = Vec::new();
            for (delta, key, velocity) in &notes {
                content.extend([*delta, 0x90, *key, *velocity]);
            }
            let whole = file(1, 96, &[ended(&content), ended(&content)]);
            prop_assert!(read(&whole).unwrap().faults.is_empty());

            let mut mutated = whole.clone();
            *at.get_mut(&mut mutated) = value;
            if let Ok(performance) = read(&mutated) {
                check_order(&performance);
            }

            let cut = cut.index(whole.len());
            if let Ok(performance) = read(&whole[..cut]) {
                prop_assert!(!performance.faults.is_empty());
                check_order(&performance);
                // What stood before the cut is there.
                let complete = (cut.min(22 + content.len()).saturating_sub(22)) / 4;
                let ons = notes.iter().take(complete).filter(|(_, _, v)| *v > 0).count();
                let read = performance
                    .events
                    .iter()
                    .filter(|t| matches!(t.event, Event::NoteOn { .. }))
                    .count();
                prop_assert!(read >= ons);
            }
        }
    }

    fn check_order(performance: &Performance) {
        assert!(performance.events.is_sorted_by_key(|t| t.at));
        assert!(
            performance
                .texts
                .is_sorted_by_key(|t| (t.at, t.before_event))
        );
        assert!(performance.events.iter().all(|t| t.at <= performance.end));
        assert!(
            performance
                .texts
                .iter()
                .all(|t| t.before_event <= performance.events.len())
        );
        assert!(performance.faults.is_sorted_by_key(|f| f.offset));
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
        assert!(read(&bytes).unwrap().faults.len() > 1);
        // Quadratic, it would be 10^10 steps.
        assert!(before.elapsed() < std::time::Duration::from_secs(5));
    }
}
