//! The keys in force, over everything else.

use super::draw::{Look, Picture};
use super::keys::BINDINGS;
use super::pen::{Pen, columns, fit, fit_words};

/// Columns of the keys.
const KEYS: u16 = 10;
/// On one line, or where the screen is narrow on two.
const CARE: [&str; 2] = [
    "Take breaks. If playing hurts, stop,",
    "and ask a professional if it goes on.",
];

pub(super) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let ascii = look.ascii();
    let file = picture.source.transport.is_some();
    let mut lines: Vec<(&str, &str)> = BINDINGS
        .iter()
        .filter(|b| file || !b.file)
        .map(|b| (look.sign(b.shown, b.shown_ascii), b.words))
        .collect();
    let shapes = [
        (
            look.sign("◆ ● ▲", "* O X"),
            "held: center, in the mode, outside it",
        ),
        (look.sign("◇ ○ △", "+ o x"), "held by the pedal alone"),
    ];
    let whole = CARE.join(" ");
    let care = match columns(&whole) + 6 <= pen.width() {
        true => vec![whole.as_str()],
        false => CARE.to_vec(),
    };

    // Where rows are short, first the empty lines go, then the frame.
    let least = (lines.len() + shapes.len() + care.len()) as u16;
    let frame = (least + 2 <= pen.height()) as u16;
    let spare = pen.height().saturating_sub(least + 2);
    if spare >= 2 {
        lines.push(("", ""));
    }
    lines.extend(shapes);
    if spare >= 1 {
        lines.push(("", ""));
    }

    let wide = lines.iter().map(|l| KEYS + columns(l.1)).max().unwrap_or(0);
    let wide = care.iter().map(|c| columns(c)).fold(wide, u16::max);
    // Without a frame nothing beside it is left to be read into it.
    let width = match frame {
        0 => pen.width(),
        _ => (wide + 6).min(pen.width()),
    };
    let height = ((lines.len() + care.len()) as u16 + 2 * frame).min(pen.height());
    let (x, y) = ((pen.width() - width) / 2, (pen.height() - height) / 2);
    pen.wipe(x, y, width, height, styles.ground());
    let room = width.saturating_sub(4);
    if frame > 0 {
        frame_at(pen, (x, y), (width, height), look);
        pen.put(x + 2, y, &fit(" Keys ", room, ascii), styles.strong);
    }
    let mut row = y + frame;
    for (key, words) in lines {
        pen.put(x + 3, row, &fit(key, room, ascii), styles.strong);
        let words = fit(words, room.saturating_sub(KEYS + 1), ascii);
        pen.put(x + 3 + KEYS, row, &words, styles.text);
        row += 1;
    }
    for words in care {
        pen.put(x + 3, row, &fit_words(words, room, ascii), styles.strong);
        row += 1;
    }
}

fn frame_at(pen: &mut Pen, (x, y): (u16, u16), (width, height): (u16, u16), look: &Look) {
    if width < 2 || height < 2 {
        return;
    }
    let style = look.styles().quiet;
    let (across, down) = look.sign(('─', '│'), ('-', '|'));
    let corners = look.sign(['╭', '╮', '╰', '╯'], ['+'; 4]);
    let (right, bottom) = (x + width - 1, y + height - 1);
    pen.line(x, y, width, across, style);
    pen.line(x, bottom, width, across, style);
    for row in y + 1..bottom {
        pen.dot(x, row, down, style);
        pen.dot(right, row, down, style);
    }
    let places = [(x, y), (right, y), (x, bottom), (right, bottom)];
    for ((x, y), c) in places.into_iter().zip(corners) {
        pen.dot(x, y, c, style);
    }
}
