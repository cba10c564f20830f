//! The chord's label on the screen, which follows the reading's a little behind, so that
//! a rolled chord does not flicker through a label a note.

use super::picture::Picture;
use crate::engine::{SEEN, VoicedChord};
use crate::theory::{Chord, KeySet, Sonority, SpelledTonality, neighbour};
use crate::time::Time;

/// A chord, with the tonality that its name refers to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shown {
    pub sonority: Sonority,
    pub within: Option<SpelledTonality>,
    pub voiced: Option<VoicedChord>,
}

/// How long a new label waits after each key for more of the same stroke: a chord rolled
/// at 20 ms a note would otherwise flicker through a label a note.
const SETTLE: Time = Time::millis(50);
/// A new label waits no longer than this, whatever is struck meanwhile.
const LONGEST: Time = SEEN;

/// The label on the screen, which may be a little behind the reading's.
#[derive(Clone, Debug, Default)]
pub(super) struct Label {
    pub shown: Option<Shown>,
    /// The harmony before it.
    pub before: Option<Chord>,
    /// The stroke seen last, and when its last key was struck.
    stroke: (KeySet, Time),
    struck_at: Time,
    /// Since when the reading has had another label.
    differs: Option<Time>,
    /// Whether the last picture was not the present: then, and just after, nothing is waited
    /// for.
    past: bool,
    /// How long, in the stream's time, a new label still waits.
    pub waits: Option<Time>,
}

impl Label {
    /// What is shown.
    pub fn sonority(&self) -> Option<Sonority> {
        self.shown.map(|s| s.sonority)
    }

    /// Follows the picture's chord.
    pub fn follow(&mut self, picture: &Picture) {
        let reading = picture.reading;
        let stroke = (reading.struck, reading.struck_at);
        if stroke != self.stroke {
            self.stroke = stroke;
            self.struck_at = reading.at.max(reading.struck_at);
        }
        self.waits = None;
        let fresh = named(picture);
        if fresh == self.shown || (fresh.is_none() && reading.begun) {
            self.differs = None;
            return;
        }
        let differs = *self.differs.get_or_insert(picture.now);
        let until = (self.struck_at + SETTLE).min(differs + LONGEST);
        let left = until.since(picture.now);
        // While a file is paused no more keys come; after a jump back in it, the wait
        // of the time before must not go on.
        let transport = picture.source.transport;
        let past = picture.still || picture.past.is_some();
        let turned = std::mem::replace(&mut self.past, past) != past;
        let stands = past || turned || transport.is_some_and(|t| t.paused || t.ended);
        let back = left > LONGEST || self.struck_at > picture.now + LONGEST;
        if left > Time::ZERO && !stands && !back {
            self.waits = Some(left);
        } else {
            self.shown = fresh;
            self.before = fresh.and_then(|shown| {
                let all = picture.history.chords().iter().rev();
                let until = picture.past.map_or(Time(u64::MAX), |span| span.start);
                let all = all.skip_while(|c| c.start >= until);
                neighbour(
                    shown.sonority.chord()?,
                    all.filter_map(|c| c.sonority.chord()),
                )
            });
            self.differs = None;
        }
    }
}

/// The chord of the moment; in silence the last one.
fn named(picture: &Picture) -> Option<Shown> {
    let reading = picture.reading;
    let voiced = reading.voiced_chord;
    let (sonority, within) = match reading.chord {
        // A chord of the past keeps the name that it had.
        Some((sonority, _)) => match picture.past {
            Some(span) => (sonority, span.within),
            None => (sonority, reading.within()),
        },
        None => {
            reading.silent_since?;
            let last = picture.history.chords().last()?;
            (last.sonority, last.within)
        }
    };
    Some(Shown {
        sonority,
        within,
        voiced,
    })
}
