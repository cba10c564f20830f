//! The keys in force, over everything else.

use super::draw::{Look, Picture};
use super::keys::BINDINGS;
use super::pen::{Pen, columns, fit};

/// Columns of the keys.
const KEYS: u16 = 10;
const CARE: &str = " Take breaks. If it hurts, stop and ask a professional. ";

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
    if pen.height() as usize > lines.len() + 4 {
        lines.push(("", ""));
    }
    lines.extend(shapes);

    let wide = lines.iter().map(|l| columns(l.1)).max().unwrap_or(0);
    let width = (KEYS + wide + 8).max(columns(CARE) + 4).min(pen.width());
    let height = (lines.len() as u16 + 2).min(pen.height());
    let (x, y) = ((pen.width() - width) / 2, (pen.height() - height) / 2);
    pen.wipe(x, y, width, height);
    frame_at(pen, (x, y), (width, height), look);
    let room = width.saturating_sub(4);
    pen.put(x + 2, y, &fit(" Keys ", room, ascii), styles.strong);
    for (row, (key, words)) in (y + 1..(y + height).saturating_sub(1)).zip(&lines) {
        pen.put(x + 3, row, &fit(key, room, ascii), styles.strong);
        let words = fit(words, room.saturating_sub(KEYS + 1), ascii);
        pen.put(x + 3 + KEYS, row, &words, styles.text);
    }
    if height > 2 {
        pen.put(
            x + 2,
            y + height - 1,
            &fit(CARE, room, ascii),
            styles.strong,
        );
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
