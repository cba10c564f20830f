//! The keys in force, over everything else.

use super::draw::{Look, Picture};
use super::keys::BINDINGS;
use super::pen::{Pen, columns, fit};

pub(super) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let file = picture.source.transport.is_some();
    let mut lines: Vec<(String, String)> = BINDINGS
        .iter()
        .filter(|b| file || !b.file)
        .map(|b| {
            (
                look.sign(b.shown, b.shown_ascii).to_owned(),
                b.words.to_owned(),
            )
        })
        .collect();
    let shapes = [
        (
            look.sign("◆ ● ▲", "C O X"),
            "held: center, in the mode, outside it",
        ),
        (look.sign("◇ ○ △", "c o x"), "held by the pedal alone"),
    ];
    lines.push((String::new(), String::new()));
    lines.extend(shapes.map(|(a, b)| (a.to_owned(), b.to_owned())));
    let care = "Take breaks. If playing hurts, stop and ask a professional.";

    // One column, or two where the height does not suffice.
    let frame = 4;
    let room = pen.height().saturating_sub(frame + 2).max(1) as usize;
    let halves = if lines.len() > room { 2 } else { 1 };
    let rows = lines.len().div_ceil(halves);
    let column = 10 + lines.iter().map(|l| columns(&l.1)).max().unwrap_or(0) + 3;
    let inner = (column * halves as u16).max(columns(care) + 2);
    let width = (inner + 4).min(pen.width());
    let height = (rows as u16 + frame + 2).min(pen.height());
    let (x, y) = ((pen.width() - width) / 2, (pen.height() - height) / 2);
    pen.wipe(x, y, width, height);
    frame_at(pen, (x, y), (width, height), look);
    pen.put(x + 2, y, " Keys ", styles.strong);

    let end = y + height.saturating_sub(1);
    let each = (width.saturating_sub(4)) / halves as u16;
    for (i, (key, words)) in lines.iter().enumerate() {
        let row = y + 1 + (i % rows) as u16;
        if row + 1 >= end {
            continue;
        }
        let left = x + 3 + (i / rows) as u16 * each;
        let edge = (x + width).saturating_sub(1);
        pen.put(
            left,
            row,
            &fit(key, edge.saturating_sub(left), look.ascii()),
            styles.strong,
        );
        let left = left + 10;
        pen.put(
            left,
            row,
            &fit(
                words,
                (each.saturating_sub(11)).min(edge.saturating_sub(left)),
                look.ascii(),
            ),
            styles.text,
        );
    }
    if height >= 4 {
        let text = fit(care, width.saturating_sub(5), look.ascii());
        pen.put(x + 3, end - 1, &text, styles.strong);
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
