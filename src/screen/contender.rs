//! What is about to change: the tonality that gains on the one established, how
//! near it is, and on which evidence.

use super::draw::{Look, Picture};
use super::pen::{Pen, fit};

/// Columns of the caption and of the name: the gauge stands at a fixed place.
const CAPTION: u16 = 9;
const NAME: u16 = 22;

pub(super) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let ascii = look.ascii();
    let Some(c) = picture
        .reading
        .contender
        .filter(|_| picture.asleep().is_none())
    else {
        return;
    };
    let w = pen.width();
    pen.put(0, 0, "leaning", styles.quiet);
    let name = look.notation.tonality(c.tonality, c.tonic, look.catalogue);
    let name = format!("{} {name}", look.sign("→", ">"));
    pen.put(CAPTION, 0, &fit(&name, NAME, ascii), styles.contender);

    let mut evidence = Vec::new();
    if c.in_bass {
        let tonic = c.tonic.text(look.notation.glyphs);
        evidence.push(format!("{tonic} in the bass"));
    }
    if let Some(pc) = c.heard {
        let note = look
            .notation
            .note(pc, Some((c.tonality, c.tonic)), look.catalogue)
            .text(look.notation.glyphs);
        evidence.push(format!("{note} heard"));
    }
    let evidence = evidence.join(", ");

    let start = CAPTION + NAME + 1;
    // On one row the words stand after the gauge, on more below the name.
    let below = pen.height() > 1;
    let words = 26;
    let end = if below {
        w
    } else {
        w.saturating_sub(words + 2)
    };
    let long = end.saturating_sub(start).min(60);
    gauge(pen, start, long, c.nearness, look);
    if below {
        pen.put(
            CAPTION + 2,
            1,
            &fit(&evidence, w.saturating_sub(CAPTION + 2), ascii),
            styles.text,
        );
    } else {
        pen.put(end + 2, 0, &fit(&evidence, words, ascii), styles.text);
    }
}

/// How near: full means that it is about to be established.
fn gauge(pen: &mut Pen, x: u16, long: u16, part: f32, look: &Look) {
    let styles = look.styles();
    let part = if part.is_finite() {
        part.clamp(0.0, 1.0)
    } else {
        0.0
    };
    let on = (part * long as f32).round() as u16;
    pen.line(x, 0, on, look.sign('━', '='), styles.contender);
    pen.line(
        x + on,
        0,
        long - on.min(long),
        look.sign('╌', '.'),
        styles.faint,
    );
}
