//! The chord that sounds: label, numeral, and how it is voiced.
//!
//! Rows: a caption with the numeral, the label, and below it as many of these as there
//! is room for: the keys from bottom to top, a stroke between the hands; the intervals
//! between neighbours and how it is built; the notes of the chord. With one row the
//! keys share it with what fits of the second. With two rows in all, the label is
//! ordinary text.

use crate::engine::{HarmonyNow, VoicedChord};
use crate::screen::label::{Label, Shown};
use crate::screen::large::{self, Size};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;
use crate::screen::wording::length;
use crate::theory::{Around, Chord, Hands, Interval, Sonority, SpelledTonality};

pub(in crate::screen) fn draw(
    pen: &mut Pen,
    size: Size,
    picture: &Picture,
    label: &Label,
    look: &Look,
) {
    let styles = look.styles();
    let glyphs = look.glyphs();
    let mut end = pen.put(0, 0, "chord", styles.quiet);
    if let Some(span) = picture.past.filter(|_| picture.still) {
        let text = format!("{} ago", length(picture.now.since(span.start)));
        match pen.height() {
            // The label stands beside the caption.
            ..3 => pen.put_right(pen.width(), 0, &text, styles.strong),
            _ => end = pen.put(end + 2, 0, &text, styles.strong),
        }
    }
    let pinned = picture
        .reading
        .pinned
        .filter(|_| pen.height() >= 3 && picture.past.is_none());
    if let Some(t) = pinned {
        // Its numeral is not that of what is heard.
        let name = look.notation.tonality(t, look.catalogue);
        let text = fit(
            &format!("in {name}"),
            pen.width().saturating_sub(end + 20),
            glyphs,
        );
        end = pen.put(end + 2, 0, &text, styles.strong);
    }
    let Some(shown) = label.shown.filter(|_| !picture.hidden) else {
        return;
    };
    let (sonority, within) = (shown.sonority, shown.within);
    let around = Around::from((label.before, None));
    let label = look
        .notation
        .sonority(sonority, (within, around), look.catalogue);
    let numeral = look
        .notation
        .numeral(sonority, (within, around), look.catalogue);
    let gap = 3;
    if size > Size::One
        && let Some(text) = harmony(picture, &shown, around, look)
    {
        // The numeral may need the end of the row.
        let numeral = numeral.as_deref().map_or(0, columns);
        let room = pen.width().saturating_sub(end + 2 + numeral + 1);
        if columns(&text) <= room {
            pen.put(end + 2, 0, &text, styles.text);
        }
    }

    if size == Size::One {
        let x = pen.put(
            8,
            0,
            &fit(&label, pen.width().saturating_sub(8), glyphs),
            styles.chord,
        );
        if let Some(n) = &numeral {
            pen.put(x.max(22) + gap, 0, n, styles.numeral);
        }
        below(pen, (8, 1), &shown, around, look);
    } else {
        let fits = large::fitting(&label, size, pen.width(), glyphs);
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
            glyphs,
        );
        let end = large::write(pen, (0, y), &text, fits, styles.chord, glyphs);
        if let Some(n) = &numeral {
            // Large at the right edge where there is room, else in the caption.
            let room = pen.width().saturating_sub(end + gap);
            let large_fits = large::fitting(n, size, room, glyphs);
            let wide = large::width(n, large_fits, glyphs);
            if large_fits > Size::One && wide <= room {
                let at = (pen.width() - wide, 1 + size.rows() - large_fits.rows());
                large::write(pen, at, n, large_fits, styles.numeral, glyphs);
            } else {
                pen.put_right(pen.width(), 0, n, styles.numeral);
            }
        }
        below(pen, (0, 1 + size.rows()), &shown, around, look);
    }
    if picture.asleep().is_some() {
        pen.tint(0, pen.height(), styles.asleep);
    }
}

/// The harmony at its own pace, where it is another than the chord of the moment, and the line
/// that moves through it: `harmony Am, line A G♯ G`.
fn harmony(picture: &Picture, shown: &Shown, around: Around, look: &Look) -> Option<String> {
    let HarmonyNow { chord, line, .. } = picture.reading.harmony.filter(|h| !h.doubted)?;
    let same = |c: Chord| (c.root, c.kind) == (chord.root, chord.kind);
    let moment = shown.sonority.chord();
    if picture.still || (line.is_none() && moment.is_none_or(same)) {
        return None;
    }
    let (notation, context) = (&look.notation, (shown.within, around));
    let label = notation.sonority(Sonority::Chord(chord), context, look.catalogue);
    let mut text = format!("harmony {label}");
    if let Some(line) = line {
        let root = notation.root(chord, context, look.catalogue);
        let notes: Vec<String> = line.spelled(root).map(|n| notation.name(n)).collect();
        text += &format!(", line {}", notes.join(" "));
    }
    Some(text)
}

/// What stands below the label, from (x, y) to the end of the rows.
fn below(pen: &mut Pen, (x, y): (u16, u16), shown: &Shown, around: Around, look: &Look) {
    let (styles, glyphs) = (look.styles(), look.glyphs());
    let (sonority, within) = (shown.sonority, shown.within);
    let room = pen.width().saturating_sub(x);
    let rows = pen.height().saturating_sub(y);
    // Under a new label the keys of the chord before say nothing yet.
    let own = |v: &VoicedChord| {
        let (keys, label) = (v.sonority.set(), sonority.set());
        keys.is_subset(label) || label.is_subset(keys)
    };
    let Some(voiced) = shown.voiced.filter(own) else {
        let words = words(sonority, within, around, look);
        pen.put(x, y, &fit(&words, room, glyphs), styles.text);
        return;
    };
    let voicing = voiced.voicing();
    let (notation, catalogue) = (&look.notation, look.catalogue);
    let notes = voicing.notes(voiced.sonority, (within, around), notation, catalogue);
    let mut keys = by_hands(&notes, voicing.hands(), look);
    let intervals = voicing.intervals(voiced.sonority, within, catalogue);
    let intervals: Vec<String> = intervals.iter().map(Interval::reduced).collect();
    let intervals = intervals.join(" ");
    let built = voicing.words(voiced.sonority, (within, around), notation, catalogue);
    // The label in words goes with the keys, unless it has a row of its own.
    if rows < 3 && !sonority.words().is_empty() {
        keys = format!("{}   {keys}", sonority.words());
    }
    let end = x + columns(&keys);
    pen.put(x, y, &fit_words(&keys, room, glyphs), styles.text);
    let right = |pen: &mut Pen, y: u16, end: u16, text: &str| {
        let fits = !text.is_empty() && end + 2 + columns(text) <= pen.width();
        if fits {
            pen.put_right(pen.width(), y, text, styles.quiet);
        }
        fits
    };
    if rows < 2 {
        let _ = built.is_some_and(|b| right(pen, y, end, &b)) || right(pen, y, end, &intervals);
        return;
    }
    let end = x + columns(&intervals);
    pen.put(x, y + 1, &fit_words(&intervals, room, glyphs), styles.quiet);
    if let Some(built) = built {
        right(pen, y + 1, end, &built);
    }
    if rows > 2 {
        let words = words(sonority, within, around, look);
        pen.put(x, y + 2, &fit(&words, room, glyphs), styles.text);
    }
}

/// The keys from bottom to top, a stroke between the left hand and the right.
fn by_hands(notes: &[String], hands: Option<Hands>, look: &Look) -> String {
    let left = match hands {
        Some(Hands::Left) => notes.len(),
        Some(Hands::Right) => 0,
        Some(Hands::Both { left }) => left.min(notes.len()),
        Some(Hands::Beyond) | None => return notes.join(" "),
    };
    let (left, right) = notes.split_at(left);
    let text = format!(
        "{} {} {}",
        left.join(" "),
        look.sign('│', '|'),
        right.join(" ")
    );
    text.trim().to_owned()
}

/// Its notes upwards from the bass, after a word where the label is bare.
fn words(s: Sonority, within: Option<SpelledTonality>, around: Around, look: &Look) -> String {
    let notation = &look.notation;
    let notes = notation.notes(s, (within, around), look.catalogue);
    let name = |&note| notation.note_name(note, within, look.catalogue);
    let notes: Vec<String> = notes.iter().map(name).collect();
    let notes = notes.join(" ");
    match (s, s.words()) {
        (Sonority::Note(_), words) => words.to_owned(),
        (_, "") => notes,
        (_, words) => format!("{words}   {notes}"),
    }
}
