//! What a file holds.

use super::fault::Faults;
use crate::meter::Bars;
use crate::midi::event::Timed;
use crate::time::Time;

/// A file's content on one line of time.
///
/// Events keep the order of the file: by time; at equal times by track, and within a track as
/// written. In a file of type 1 two tracks may hold the same key of the same channel, as two
/// voices in unison do; a note-off that comes while another track still holds the key is dropped,
/// since it would cut the other voice. In a file of type 2 the patterns follow one another, each
/// ending with the release of what it left sounding.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Performance {
    pub events: Vec<Timed>,
    /// The latest end of a track, at least the last event's time.
    pub end: Time,
    pub texts: Vec<Text>,
    pub key_signatures: Vec<KeySignature>,
    /// Where the file has a time signature, counts in quarters, and is not of type 2.
    pub bars: Option<Bars>,
    /// Where events come from several ports (meta event 21): the name of each (09), empty where it
    /// has none. Else empty.
    pub keyboards: Vec<String>,
    /// 0, 1 or 2, as the file says.
    pub format: u8,
    /// How many tracks were read.
    pub tracks: usize,
    /// Empty if the file is whole.
    pub faults: Faults,
}

/// A text event. Two that say the same at one place of the music are equal, wherever they stand
/// in their files.
#[derive(Clone, Debug)]
pub struct Text {
    pub at: Time,
    /// How many of the performance's events precede it.
    pub before_event: usize,
    pub kind: TextKind,
    /// Bytes from the start of the file.
    pub offset: u64,
    /// Read as UTF-8 if it is that, else as Latin-1.
    pub text: String,
}

impl PartialEq for Text {
    fn eq(&self, other: &Text) -> bool {
        let said = |t: &Text| (t.at, t.before_event, t.kind);
        said(self) == said(other) && self.text == other.text
    }
}

impl Eq for Text {}

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
