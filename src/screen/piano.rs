//! The piano: which keys the fingers hold, which only the pedal, and what each
//! note is to the center.
//!
//! One or two columns a key, black keys above white ones. A filled shape is
//! held, a hollow one hangs on the pedal; a diamond is the center, a disc a note
//! of the mode, a triangle a note outside it.

use super::draw::{Look, Picture, View};
use super::pen::Pen;
use crate::engine::each;
use crate::theory::PitchClass;
use ratatui::style::Style;

/// The keys of a full piano.
const LOWEST: u8 = 21;
const HIGHEST: u8 = 108;

pub(super) fn draw(pen: &mut Pen, picture: &Picture, view: &mut View, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < 30 || h < 3 {
        return;
    }
    let styles = look.styles();
    let sounding = picture.reading.sounding();
    let (first, last, wide) = range(w, sounding, view);
    let keys = (last - first + 1) as u16;
    let left = (w - keys * wide) / 2;
    // Black keys, white keys, names of the octaves.
    let black_rows = (h - 1) / 2;
    let white_rows = h - 1 - black_rows;

    // In front the white keys are as wide as all.
    pen.line(left, h - 2, keys * wide, look.sign('─', '-'), styles.faint);
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
                    None if black => pen.dot(column, row, look.sign('▒', ':'), styles.faint),
                    None => {}
                }
            }
        }
        if key % 12 == 0 {
            pen.put(x, h - 1, &format!("C{}", key as i32 / 12 - 1), styles.quiet);
        }
    }
    // Something sounds where there is no room to show it.
    let below = each(sounding).any(|k| k < first);
    let above = each(sounding).any(|k| k > last);
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
        // Its blanks clear the octave name below it.
        pen.put_right(w, h - 1, "   pedal", styles.text);
    }
}

/// The first and last key shown, and columns a key. Where not all have room, it
/// moves by whole octaves, and only when something sounds outside.
fn range(w: u16, sounding: u128, view: &mut View) -> (u8, u8, u16) {
    let all = (HIGHEST - LOWEST + 1) as u16;
    if w >= all {
        return (LOWEST, HIGHEST, (w / all).min(2));
    }
    let octaves = (w - 2) / 12;
    let keys = (octaves * 12) as u8;
    let top = (HIGHEST + 1).saturating_sub(keys) / 12 * 12;
    view.lowest_key = view.lowest_key.clamp(24, top.max(24));
    let outside = |low: u8| {
        each(sounding)
            .filter(|&k| k < low || k >= low + keys)
            .count()
    };
    let now = outside(view.lowest_key);
    if now > 0 {
        let better = (24..=top.max(24))
            .step_by(12)
            .min_by_key(|&low| (outside(low), low.abs_diff(view.lowest_key)));
        if let Some(low) = better.filter(|&low| outside(low) < now) {
            view.lowest_key = low;
        }
    }
    (view.lowest_key, view.lowest_key + keys - 1, 1)
}

/// The sign of a key that sounds.
fn mark(key: u8, picture: &Picture, look: &Look) -> Option<(char, Style)> {
    let reading = picture.reading;
    let held = reading.held >> key & 1 == 1;
    if !held && reading.pedalled >> key & 1 == 0 {
        return None;
    }
    let styles = look.styles();
    let pc = PitchClass::of_key(key);
    let (filled, hollow, plain, small, style) = match reading.here {
        Some(e) if e.tonality.center == pc => ('◆', '◇', '*', '+', styles.center),
        Some(e) if !look.catalogue.all_forms(e.tonality).contains(pc) => {
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
