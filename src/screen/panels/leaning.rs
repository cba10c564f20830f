//! What the music is leaning to: the tonality that gains on the one established, how near
//! it is to taking over, and on which evidence.

use crate::engine::Contender;
use crate::screen::claim::Claim;
use crate::screen::large::{self, Size};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;

/// Columns of the caption and of the name: the gauge stands at a fixed place.
const CAPTION: u16 = 9;
const NAME: u16 = 22;
/// The same where the name has large letters.
const LARGE_NAME: u16 = 68;

pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let glyphs = look.glyphs();
    // While the mode here is undecided, another mode on the same center is no change.
    let open = picture.reading.here;
    let open = open.filter(|h| h.open.claim() == Claim::Undecided);
    let told =
        |c: &Contender| open.is_none_or(|h| h.spelled.tonality.center != c.spelled.tonality.center);
    let contender = picture.reading.contender.filter(told);
    let Some(c) = contender.filter(|_| picture.asleep().is_none()) else {
        return;
    };
    let (w, h) = (pen.width(), pen.height());
    let name = look.notation.tonality(c.spelled, look.catalogue);
    let tonic = look.center(c.spelled);
    let arrow = format!("{} {name}", look.sign("→", ">"));
    let evidence = reasons(&c, &tonic, look);

    if h >= 4 && w >= LARGE_NAME + 30 {
        // Large letters; gauge and evidence to their right.
        let size = large::fitting(&name, Size::Four, LARGE_NAME - CAPTION - 3, glyphs);
        let y = match size {
            Size::One => 1,
            _ => 0,
        };
        // The caption stands before the name: the music is not there yet.
        let x = pen.put(0, 1, "leaning", styles.quiet) + 1;
        let x = pen.put(x, 1, look.sign("→", ">"), styles.contender) + 1;
        large::write(pen, (x, y), &name, size, styles.contender, glyphs);
        let start = LARGE_NAME;
        let long = (w - start).min(50);
        for row in 1..h - 2 {
            gauge(pen, (start, row), long, c.nearness, look);
        }
        let text = fit_words(&evidence, w - start, glyphs);
        pen.put(start, h - 2, &text, styles.text);
        pen.put(start, h - 1, legend(w - start), styles.quiet);
        return;
    }
    pen.put(0, 0, "leaning", styles.quiet);
    pen.put(CAPTION, 0, &fit(&arrow, NAME, glyphs), styles.contender);
    let start = CAPTION + NAME + 1;
    // On one row the words stand after the gauge, on more below the name.
    let below = h > 1;
    let words = 26;
    let end = match below {
        true => w,
        false => w.saturating_sub(words + 2),
    };
    let long = end.saturating_sub(start).min(60);
    gauge(pen, (start, 0), long, c.nearness, look);
    if below {
        let room = w.saturating_sub(CAPTION + 2);
        pen.put(
            CAPTION + 2,
            1,
            &fit_words(&evidence, room, glyphs),
            styles.text,
        );
        if h > 2 {
            pen.put(CAPTION + 2, 2, legend(room), styles.quiet);
        }
    } else {
        pen.put(
            end + 2,
            0,
            &fit_words(&evidence, words, glyphs),
            styles.text,
        );
    }
}

/// What the gauge tells, in as many words as there is room for.
fn legend(room: u16) -> &'static str {
    let all = [
        "half: as likely as here; full: it takes over",
        "full: it takes over",
    ];
    let fits = all.into_iter().find(|text| columns(text) <= room);
    fits.unwrap_or_default()
}

/// `E in the bass, F♯ heard`; without either what there is.
fn reasons(c: &Contender, tonic: &str, look: &Look) -> String {
    if !c.in_bass && c.heard.is_none() {
        return "by the notes as a whole".into();
    }
    let bass = c.in_bass.then(|| format!("{tonic} in the bass"));
    let heard = c.heard.map(|pc| {
        let within = Some(c.spelled);
        let note = look.notation.note_named(pc, within, look.catalogue);
        format!("{note} heard")
    });
    [bass, heard]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", ")
}

/// How near it is to being established: a full line is all the way.
fn gauge(pen: &mut Pen, (x, y): (u16, u16), long: u16, part: f32, look: &Look) {
    let styles = look.styles();
    let part = if part.is_finite() {
        part.clamp(0.0, 1.0)
    } else {
        0.0
    };
    let on = ((part * long as f32).round() as u16).min(long);
    pen.line(x, y, on, look.sign('━', '='), styles.contender);
    pen.line(x + on, y, long - on, look.sign('╌', '.'), styles.faint);
}
