//! The panel as a whole.

use super::ladder::Ladder;
use super::order::FAMILY;
use crate::screen::claim::reference;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;
use crate::theory::{ModeId, brightness_order};

pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    chosen: Option<ModeId>,
    look: &Look,
) {
    let (w, h) = (pen.width(), pen.height());
    if w < 20 || h < 3 {
        return;
    }
    let styles = look.styles();
    let order = brightness_order(look.catalogue, FAMILY);
    let reference = reference(picture, look);
    let mut ladder = Ladder::new(&order, reference, look);
    ladder.mark(picture, chosen, look);
    let mut x = pen.put(1, 0, "brightness", styles.quiet) + 2;
    let caption = match reference {
        None => "no center yet".to_owned(),
        Some(_) => ladder.legend(w.saturating_sub(x), look),
    };
    if let Some(r) = reference {
        let on = format!("on {}", look.notation.name(r.spelled.tonic));
        if x + columns(&on) + 1 + columns(&caption) <= w {
            x = pen.put(x - 1, 0, &on, styles.quiet) + 2;
        }
    }
    pen.put_right(
        w,
        0,
        &fit(&caption, w - x.min(w), look.glyphs()),
        styles.quiet,
    );
    if ladder.rungs.is_empty() {
        return;
    }
    let foot = match (h - 1).saturating_sub(ladder.rungs.len() as u16) {
        0 => 0,
        1 => 1,
        _ => 2,
    };
    let end = ladder.rows(pen, h - 1 - foot, look);
    let y = (end + 1).min(h - foot);
    let words = ladder.words(usize::from(foot), look);
    for (i, (long, short, style)) in words.iter().enumerate() {
        let room = w.saturating_sub(2);
        let text = if columns(long) <= room { long } else { short };
        pen.put(
            1,
            y + i as u16,
            &fit_words(text, room, look.glyphs()),
            *style,
        );
    }
    if reference.is_some_and(|r| r.is_dim(picture)) {
        pen.tint(0, h, styles.asleep);
    }
}
