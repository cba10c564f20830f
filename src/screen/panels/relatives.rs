//! The relatives: the other modes that have the same notes.

use crate::screen::claim::{Claim, Reference, reference};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit};
use crate::screen::picture::Picture;
use crate::screen::wording::abbreviated;
use crate::theory::{SpelledTonality, relatives as same_notes};

/// The modes with the notes of the tonality pinned or here, each on its own center, from
/// C upwards, so that each has its place whichever is present; that one in brackets,
/// one heard beside a pin in round ones.
///
/// In one row as much as fits: with the names of all modes, else with that of the present
/// one; in more rows one beside the other and one below.
pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < 20 || h < 1 {
        return;
    }
    let styles = look.styles();
    let caption = "relatives";
    let x = pen.put(1, 0, caption, styles.quiet) + 2;
    let Some(reference) = reference(picture, look) else {
        pen.put(
            x,
            0,
            &fit("no center yet", w.saturating_sub(x), look.glyphs()),
            styles.quiet,
        );
        return;
    };
    if reference.claim == Claim::Undecided {
        let words = fit("the mode is still open", w.saturating_sub(x), look.glyphs());
        pen.put(x, 0, &words, styles.quiet);
        return;
    }
    let all = Relative::all(reference, picture, look);
    if all.len() < 2 {
        let words = fit(
            "no other mode has these notes",
            w.saturating_sub(x),
            look.glyphs(),
        );
        pen.put(x, 0, &words, styles.quiet);
        return;
    }
    if h > 1 && all.iter().map(Relative::wide).max() < Some(w) {
        columns_of(pen, &all, look);
    } else {
        one_row(pen, &all, x, look);
    }
    if reference.is_dim(picture) {
        pen.tint(0, h, styles.asleep);
    }
}

struct Relative {
    center: String,
    mode: String,
    name: String,
    present: bool,
    heard: bool,
}

impl Relative {
    fn all(reference: Reference, picture: &Picture, look: &Look) -> Vec<Relative> {
        let own = reference.spelled;
        let heard = picture.reading.here.map(|h| h.spelled.tonality);
        let mut all: Vec<SpelledTonality> = same_notes(own, look.catalogue);
        // Beside what music is taken for stand its like; beside a pinned scale all of them.
        let scale = look.catalogue.is_scale(own.tonality.mode);
        all.retain(|t| scale || !look.catalogue.is_scale(t.tonality.mode));
        all.push(own);
        all.sort_by_key(|t| t.tonality.center);
        all.into_iter()
            .map(|SpelledTonality { tonality: t, tonic }| Relative {
                center: look.notation.name(tonic),
                mode: look.notation.mode(t, look.catalogue),
                name: format!(
                    "{} {}",
                    look.notation.name(tonic),
                    look.notation.mode(t, look.catalogue)
                ),
                present: t == reference.spelled.tonality,
                heard: reference.pinned && heard == Some(t),
            })
            .collect()
    }

    /// Columns with its brackets.
    fn wide(&self) -> u16 {
        columns(&self.name) + 2
    }

    fn draw(&self, pen: &mut Pen, (x, y): (u16, u16), text: &str, look: &Look) {
        let styles = look.styles();
        let (open, close, style) = match (self.present, self.heard) {
            (true, _) => ('[', ']', styles.lit),
            (_, true) => ('(', ')', styles.home),
            _ => (' ', ' ', styles.text),
        };
        pen.put(x, y, &format!("{open}{text}{close}"), style);
    }
}

/// Below the caption, in columns as wide as the longest, row by row.
fn columns_of(pen: &mut Pen, all: &[Relative], look: &Look) {
    let wide = all.iter().map(Relative::wide).max().unwrap_or(1).max(1);
    let (w, rows) = (pen.width(), pen.height() - 1);
    let across = (w / wide).clamp(1, all.len() as u16);
    let needed = (all.len() as u16).div_ceil(across);
    if needed > rows {
        return one_row(pen, all, 0, look);
    }
    // As few columns as the rows allow, with the air between them.
    let across = (all.len() as u16).div_ceil(rows).max(1);
    let wide = (w / across).min(wide + 4);
    for (i, one) in all.iter().enumerate() {
        let i = i as u16;
        one.draw(pen, (i % across * wide, 1 + i / across), &one.name, look);
    }
}

/// From (x, last row) on.
fn one_row(pen: &mut Pen, all: &[Relative], x: u16, look: &Look) {
    let y = pen.height().min(2) - 1;
    let w = pen.width();
    let short = |r: &Relative| {
        if r.present {
            r.name.clone()
        } else {
            r.center.clone()
        }
    };
    let whole: Vec<String> = all.iter().map(|r| r.name.clone()).collect();
    let short: Vec<String> = all.iter().map(short).collect();
    let long = |texts: &[String]| texts.iter().map(|t| columns(t) + 2).sum::<u16>();
    let bare: Vec<String> = all.iter().map(|r| r.center.clone()).collect();
    // The modes in three letters, the present one whole where that has room.
    let letters = |r: &Relative| format!("{} {}", r.center, abbreviated(&r.mode, 3));
    let own = |r: &Relative| {
        if r.present {
            r.name.clone()
        } else {
            letters(r)
        }
    };
    let cut: Vec<String> = all.iter().map(own).collect();
    let all_cut: Vec<String> = all.iter().map(letters).collect();
    let ways = [
        (x, &whole),
        (x, &cut),
        (x, &all_cut),
        (x, &short),
        (0, &short),
        (0, &bare),
    ];
    let (x, texts) = ways
        .into_iter()
        .find(|(x, texts)| x + long(texts) <= w)
        .unwrap_or((0, &bare));
    let mut x = x;
    if x == 0 && y == 0 {
        pen.wipe(0, 0, w, 1, look.styles().ground());
    }
    for (one, text) in all.iter().zip(texts) {
        let wide = columns(text) + 2;
        if x + wide > w {
            return;
        }
        one.draw(pen, (x, y), text, look);
        x += wide;
    }
}
