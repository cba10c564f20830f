//! The evidence in one row or two.

use super::shown::Evidence;
use super::words::{listed, percent, why_no_center, without};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;

/// Columns of the caption.
const CAPTION: u16 = 9;

/// What speaks for it, then what speaks against it: in two rows, or the strongest in one.
pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    let styles = look.styles();
    let style = match picture.asleep() {
        Some(_) => styles.asleep,
        None => styles.text,
    };
    pen.put(0, 0, "evidence", styles.quiet);
    let Some(e) = picture.explanation else {
        let room = w.saturating_sub(CAPTION);
        let text = fit_words(without(picture), room, look.glyphs());
        pen.put(CAPTION, 0, &text, styles.quiet);
        return;
    };
    let evidence = Evidence::new(e, picture, look);
    if evidence.no_center() {
        let share = percent(e.no_center_probability);
        let room = w.saturating_sub(CAPTION);
        let name = fit(&format!("no center {share}"), room, look.glyphs());
        let x = pen.put(CAPTION, 0, &name, styles.strong) + 2;
        let why = why_no_center(picture);
        let room = w.saturating_sub(x);
        pen.put(x, 0, &fit_words(&why, room, look.glyphs()), style);
        return;
    }
    let causes = evidence.causes();
    let pro = causes.iter().filter(|c| evidence.change(c) > 0.0);
    let pro: Vec<String> = pro.map(|c| evidence.item(c)).collect();
    let con = evidence.against();
    // What is not established is no more than a guess.
    let guess = if evidence.open.is_none() { "?" } else { "" };
    let name = format!(
        "{}{guess} {}",
        evidence.name(),
        percent(evidence.probability())
    );
    let glyphs = look.glyphs();
    let x = pen.put(
        CAPTION,
        0,
        &fit(&name, w.saturating_sub(CAPTION), glyphs),
        styles.strong,
    ) + 2;
    let against = "against ";
    if h > 1 {
        let room = w.saturating_sub(x);
        match pro.is_empty() {
            false => pen.put(x, 0, &listed(&pro, room, look), style),
            true => pen.put(x, 0, &fit("no single thing decides", room, glyphs), style),
        };
        let room = w.saturating_sub(CAPTION + columns(against));
        let con = listed(&con, room, look);
        if !con.is_empty() {
            pen.put(CAPTION, 1, against, styles.quiet);
            pen.put(CAPTION + columns(against), 1, &con, style);
        }
        return;
    }
    // On one row the strongest cause against it, after what speaks for it.
    let con = con.first().map(|c| format!("{against}{c}"));
    let taken = con.as_ref().map_or(0, |c| columns(c) + 2);
    let room = w.saturating_sub(x);
    let first = pro.first().map_or(0, |p| columns(p));
    // What speaks for it goes before what speaks against it.
    let both = first + taken <= room;
    let pro = listed(&pro, if both { room - taken } else { room }, look);
    let after = match pro.is_empty() {
        true => x,
        false => pen.put(x, 0, &pro, style) + 2,
    };
    if let Some(con) = con.filter(|_| both) {
        pen.put(after, 0, &con, styles.quiet);
    }
}
