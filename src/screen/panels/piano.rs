//! The piano: which keys the fingers hold, which only the pedal, and what each
//! note is to the center.
//!
//! One or two columns a key, black keys above white ones. A filled shape is
//! held, a hollow one hangs on the pedal; a diamond is the center, a disc a note
//! of the mode, a triangle a note outside it. Where there are rows enough, the degree
//! of each stands below.

use crate::screen::claim::{Claim, reference};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns};
use crate::screen::picture::Picture;
use crate::theory::{KeySet, PitchClass, degree_in};
use ratatui::style::Style;

/// The keys of a full piano.
const LOWEST: u8 = 21;
const HIGHEST: u8 = 108;

/// Which degrees are written below the keys, where there are rows enough.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::screen) enum Degrees {
    OfWhatSounds,
    /// Those of every note of the mode: the keys are as wide as that needs.
    OfTheMode,
}

/// Draws the keys; where not all have room, from `lowest` on (see [`lowest`]).
pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    lowest: u8,
    look: &Look,
    degrees: Degrees,
) {
    let (w, h) = (pen.width(), pen.height());
    if w < 30 || h < 3 {
        return;
    }
    let styles = look.styles();
    let sounding = picture.reading.sounding();
    let (first, last, wide) = range(w, lowest, degrees);
    let keys = (last - first + 1) as u16;
    let left = (w - keys * wide) / 2;
    // Black keys, white keys, degrees (with rows enough those of black keys above those of
    // white ones), names of the octaves.
    let below = match h {
        ..5 => 0,
        5 | 6 => 1,
        _ => 2,
    };
    let black_rows = (h - 1 - below) / 2;
    let white_rows = h - 1 - below - black_rows;

    // At the front edge there are only white keys.
    let front = black_rows + white_rows - 1;
    pen.line(left, front, keys * wide, look.sign('─', '-'), styles.faint);
    for key in first..=last {
        let x = left + (key - first) as u16 * wide;
        let black = is_black(key);
        let (from, rows) = match black {
            true => (0, black_rows),
            false => (black_rows, white_rows),
        };
        let mark = mark(key, picture, look);

        for row in from..from + rows {
            for column in x..x + wide {
                match mark {
                    Some((c, style)) => pen.dot(column, row, c, style),
                    None if black => pen.dot(column, row, look.sign('█', ':'), styles.faint),
                    None => {}
                }
            }
        }
        if key % 12 == 0 {
            pen.put(x, h - 1, &format!("C{}", key as i32 / 12 - 1), styles.quiet);
        }
    }
    if below > 0 {
        let keys = VisibleKeys {
            first,
            last,
            left,
            wide,
        };
        write_degrees(pen, (front + 1, below), keys, picture, look, degrees);
    }
    // Arrows for keys that sound out of view.
    let below = sounding.iter().any(|k| k < first);
    let above = sounding.iter().any(|k| k > last);
    if below {
        pen.dot(
            left.saturating_sub(1),
            black_rows,
            look.sign('‹', '<'),
            styles.strong,
        );
    }
    if above {
        let x = (left + keys * wide).min(w - 1);
        pen.dot(x, black_rows, look.sign('›', '>'), styles.strong);
    }
    if picture.reading.damper {
        // The blanks before it clear the name of an octave.
        pen.put_right(w, h - 1, "   pedal", styles.text);
    }
}

/// Which keys are shown, and where.
#[derive(Clone, Copy)]
struct VisibleKeys {
    first: u8,
    last: u8,
    /// The first one's column, and columns a key.
    left: u16,
    wide: u16,
}

/// Degrees of the reference, below what sounds or below every key of the mode. In `rows` from
/// `y` on: with two, black keys have the first and white keys the second, so that no degree
/// moves whatever is played. What sounds goes first where there is not room for all.
fn write_degrees(
    pen: &mut Pen,
    (y, rows): (u16, u16),
    keys: VisibleKeys,
    picture: &Picture,
    look: &Look,
    degrees: Degrees,
) {
    let whole = degrees == Degrees::OfTheMode;
    let Some(reference) = reference(picture, look) else {
        return;
    };
    let (center, styles) = (reference.spelled.tonality.center, look.styles());
    let mode = look.catalogue.mode(reference.spelled.tonality.mode);
    let above = |key: u8| PitchClass::of_key(key).above(center);
    let sounding = picture.reading.sounding();
    let sounds = |key: &u8| sounding.contains(*key);
    let shown = keys.first..=keys.last;
    let mut list: Vec<u8> = shown.clone().filter(sounds).collect();
    // A mode that is still open has no notes yet that could be written.
    if whole && reference.claim != Claim::Undecided {
        let own = |key: &u8| mode.degrees.iter().any(|d| d.semitones() == above(*key));
        list.extend(shown.filter(own).filter(|key| !sounds(key)));
    }
    // Row, first column and the one after, of what stands already.
    let mut taken: Vec<(u16, u16, u16)> = Vec::with_capacity(list.len());
    for key in list {
        let text = degree_in(above(key), mode).text(look.notation.glyphs);
        let style = mark(key, picture, look).map_or(styles.quiet, |(_, style)| style);
        let x = keys.left + (key - keys.first) as u16 * keys.wide;
        let long = columns(&text);
        let row = if rows > 1 && !is_black(key) { 1 } else { 0 };
        // The number below its key's first column, the sign before it, or from there on.
        let places = [(x + 1).saturating_sub(long), x];
        let free = |x: u16, near: bool| {
            let mut others = taken.iter().filter(|t| t.0 == row);
            x + long <= pen.width()
                && others.all(|&(_, a, b)| {
                    // Single digits can be told apart without a blank between.
                    let gap = u16::from(!near && (long > 1 || b - a > 1));
                    x + long + gap <= a || x >= b + gap
                })
        };
        // What sounds is shown even where it must stand close; with two columns a key the
        // names are apart anyway.
        let close = sounds(&key) || keys.wide > 1;
        let place = match whole && keys.wide > 1 {
            // Each has its own place, whatever else is written.
            true => Some(places[0]).filter(|&x| free(x, true)),
            false => {
                let near = || places.into_iter().find(|&x| close && free(x, true));
                places.into_iter().find(|&x| free(x, false)).or_else(near)
            }
        };
        if let Some(x) = place {
            pen.put(x, y + row, &text, style);
            taken.push((row, x, x + long));
        }
    }
}

/// Columns that a piano with degrees needs for two columns a key: three octaves.
const WIDE_ENOUGH: u16 = 2 + 3 * 24;

/// How the keys fit into the columns there are.
enum Room {
    /// All of them, each `wide` columns.
    All { wide: u16 },
    /// As many as `keys`, each `wide` columns; the lowest is at most `top`.
    Some { keys: u8, wide: u16, top: u8 },
}

fn room(w: u16, degrees: Degrees) -> Room {
    let all = (HIGHEST - LOWEST + 1) as u16;
    let wide = match degrees {
        Degrees::OfTheMode if w >= WIDE_ENOUGH => 2,
        _ => 1,
    };
    if w >= all * wide {
        return Room::All {
            wide: (w / all).min(2),
        };
    }
    let octaves = w.saturating_sub(2) / (12 * wide);
    let keys = (octaves * 12) as u8;
    let top = ((HIGHEST + 1).saturating_sub(keys) / 12 * 12).max(24);
    Room::Some { keys, wide, top }
}

/// The first and last key shown, and columns a key.
fn range(w: u16, lowest: u8, degrees: Degrees) -> (u8, u8, u16) {
    match room(w, degrees) {
        Room::All { wide } => (LOWEST, HIGHEST, wide),
        Room::Some { keys, wide, top } => {
            let lowest = lowest.clamp(24, top);
            (lowest, lowest + keys - 1, wide)
        }
    }
}

/// The lowest key that is to be shown where not all have room. It moves by whole
/// octaves, and only when something sounds outside of what is shown.
pub(in crate::screen) fn lowest(w: u16, sounding: KeySet, before: u8, degrees: Degrees) -> u8 {
    let Room::Some { keys, top, .. } = room(w, degrees) else {
        return before;
    };
    let before = before.clamp(24, top);
    let outside = |low: u8| {
        sounding
            .iter()
            .filter(|&k| k < low || k >= low + keys)
            .count()
    };
    let now = outside(before);
    let better = (24..=top)
        .step_by(12)
        .min_by_key(|&low| (outside(low), low.abs_diff(before)));
    better.filter(|&low| outside(low) < now).unwrap_or(before)
}

/// The sign of a key that sounds.
fn mark(key: u8, picture: &Picture, look: &Look) -> Option<(char, Style)> {
    let reading = picture.reading;
    let held = reading.held.contains(key);
    if !held && !reading.pedalled.contains(key) {
        return None;
    }
    let styles = look.styles();
    let pc = PitchClass::of_key(key);
    let (filled, hollow, plain, small, style) = match reading.within() {
        Some(t) if t.tonality.center == pc => ('◆', '◇', '*', '+', styles.center),
        Some(t) if !look.catalogue.all_forms(t.tonality).contains(pc) => {
            ('▲', '△', 'X', 'x', styles.outside)
        }
        _ => ('●', '○', 'O', 'o', styles.inside),
    };
    let c = match held {
        true => look.sign(filled, plain),
        false => look.sign(hollow, small),
    };
    Some((c, style))
}

fn is_black(key: u8) -> bool {
    matches!(key % 12, 1 | 3 | 6 | 8 | 10)
}
