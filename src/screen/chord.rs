//! The chord that sounds: label, numeral, and its notes or its name in words.
//!
//! Rows: a caption with the numeral, the label, the notes. With two rows only,
//! the label is ordinary text.

use super::draw::{Look, Picture};
use super::large::{self, Size};
use super::pen::{Pen, fit};
use crate::engine::{KeySet, SEEN};
use crate::theory::{Chord, Sonority, Spelling, Tonality, neighbour};
use crate::time::Time;

/// What is shown, and the tonality that it is named in.
type Shown = (Sonority, Option<(Tonality, Spelling)>);

/// After a key was struck a new label waits so long for more of the same stroke:
/// a chord rolled at 20 ms a note would have as many labels as notes.
const SETTLE: Time = Time::millis(50);
/// A new label waits no longer than this, whatever is struck meanwhile.
const LONGEST: Time = SEEN;

/// The label on the screen, which may be a little behind the reading's.
#[derive(Clone, Debug, Default)]
pub(super) struct Label {
    shown: Option<Shown>,
    /// The harmony before it.
    before: Option<Chord>,
    /// The stroke seen last, and when its last key was struck.
    stroke: (KeySet, Time),
    struck_at: Time,
    /// Since when the reading has had another label.
    differs: Option<Time>,
    /// How long, in the stream's time, a new label still waits.
    pub waits: Option<Time>,
}

impl Label {
    /// What is shown.
    pub fn sonority(&self) -> Option<Sonority> {
        self.shown.map(|s| s.0)
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
        // A file that stands still will say no more, and one that was set back
        // is not to wait for the time that it came from.
        let transport = picture.source.transport;
        let stands = transport.is_some_and(|t| t.paused || t.ended);
        let back = left > LONGEST || self.struck_at > picture.now + LONGEST;
        if left > Time::ZERO && !stands && !back {
            self.waits = Some(left);
        } else {
            self.shown = fresh;
            self.before = fresh.and_then(|(s, _)| {
                let all = picture.history.chords().iter().rev();
                neighbour(s.chord()?, all.filter_map(|c| c.sonority.chord()))
            });
            self.differs = None;
        }
    }
}

pub(super) fn draw(pen: &mut Pen, size: Size, picture: &Picture, label: &Label, look: &Look) {
    let styles = look.styles();
    let ascii = look.ascii();
    pen.put(0, 0, "chord", styles.quiet);
    let Some((sonority, within)) = label.shown else {
        return;
    };
    let around = (label.before, None);
    let label = look.notation.sonority(sonority, within, look.catalogue);
    let numeral = look
        .notation
        .numeral_between(sonority, within, around, look.catalogue);
    let words = words(sonority, within, look);
    let gap = 3;

    if size == Size::One {
        let x = pen.put(
            8,
            0,
            &fit(&label, pen.width().saturating_sub(8), ascii),
            styles.chord,
        );
        if let Some(n) = &numeral {
            pen.put(x.max(22) + gap, 0, n, styles.numeral);
        }
        pen.put(
            8,
            1,
            &fit(&words, pen.width().saturating_sub(8), ascii),
            styles.text,
        );
    } else {
        let fits = large::fitting(&label, size, pen.width(), ascii);
        let y = 1 + match fits {
            Size::One => size.rows() / 2,
            _ => size.rows() - fits.rows(),
        };
        let text = fit(
            &label,
            if fits == Size::One {
                pen.width()
            } else {
                u16::MAX
            },
            ascii,
        );
        let end = large::write(pen, (0, y), &text, fits, styles.chord, ascii);
        if let Some(n) = &numeral {
            // Large at the right edge where there is room, else in the caption.
            let room = pen.width().saturating_sub(end + gap);
            let large_fits = large::fitting(n, size, room, ascii);
            let wide = large::width(n, large_fits, ascii);
            if large_fits > Size::One && wide <= room {
                let at = (pen.width() - wide, 1 + size.rows() - large_fits.rows());
                large::write(pen, at, n, large_fits, styles.numeral, ascii);
            } else {
                pen.put_right(pen.width(), 0, n, styles.numeral);
            }
        }
        pen.put(
            0,
            1 + size.rows(),
            &fit(&words, pen.width(), ascii),
            styles.text,
        );
    }
    if picture.asleep().is_some() {
        pen.tint(0, pen.height(), styles.asleep);
    }
}

/// The chord of the moment; in silence the last one.
fn named(picture: &Picture) -> Option<Shown> {
    let reading = picture.reading;
    match reading.chord {
        Some((sonority, _)) => Some((sonority, reading.within())),
        None => {
            reading.silent_since?;
            let last = picture.history.chords().last()?;
            Some((last.sonority, last.within))
        }
    }
}

/// Its notes upwards from the bass, after a word where the label is bare.
fn words(s: Sonority, within: Option<(Tonality, Spelling)>, look: &Look) -> String {
    let notation = &look.notation;
    let notes = notation.notes(s, within, (None, None), look.catalogue);
    let name = |&note| notation.note_name(note, within, look.catalogue);
    let notes: Vec<String> = notes.iter().map(name).collect();
    let notes = notes.join(" ");
    match (s, s.words()) {
        (Sonority::Note(_), words) => words.to_owned(),
        (_, "") => notes,
        (_, words) => format!("{words}   {notes}"),
    }
}
