//! What was heard lately: twelve bars, one a pitch class, in fifths around the center or
//! chromatic from it, with the notes' names and the degrees of the mode below.

use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns};
use crate::screen::picture::Picture;
use crate::screen::view::{BarOrder, View};
use crate::theory::{Accidentals, Letters, PitchClass, Spelling};

/// The share of the whole that fills a bar: a little more than a third.
const FULL: f32 = 0.36;

pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, view: &View, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < 24 || h < 4 {
        return;
    }
    let styles = look.styles();
    let reading = picture.reading;
    let within = reading.within();
    let slot = w / 12;
    let bar = slot.saturating_sub(1).max(1);
    let left = w - slot * 12;
    let base = h - 2;
    pen.put(left, 0, "heard lately", styles.quiet);
    let order = match view.bars {
        BarOrder::Chromatic => "chromatic",
        BarOrder::Fifths => "in fifths",
    };
    pen.put_right(w.saturating_sub(1), 0, order, styles.quiet);

    // The center first, then the mode's notes: a name that would touch another, as
    // long ones do in narrow columns, is left out.
    let mut names: Vec<(u8, u16, String, ratatui::style::Style)> = Vec::with_capacity(12);
    for i in 0..12u16 {
        let x = left + i * slot;
        let pc = match view.bars {
            BarOrder::Chromatic => view.around.pitch_class().up(i as i32),
            // From five fifths below the center to six above: every mode is a
            // block of neighbours, and its brightness is where the block lies.
            BarOrder::Fifths => PitchClass::new((view.around.fifths() as i32 + i as i32 - 5) * 7),
        };
        let degree = within.and_then(|w| {
            let t = w.tonality;
            look.catalogue.mode(t.mode).degree_at(pc.above(t.center))
        });
        let is_center = within.is_some_and(|w| w.tonality.center == pc);
        let style = match (is_center, degree, within) {
            (true, ..) => styles.center,
            (_, Some(_), _) => styles.inside,
            (_, None, Some(_)) => styles.outside,
            (_, None, None) => styles.text,
        };
        let share = reading.window.get(pc.index()).copied().unwrap_or(0.0);
        let share = if share.is_finite() {
            share.clamp(0.0, FULL)
        } else {
            0.0
        };
        bar_at(pen, (x, base), bar, share / FULL, style, look);

        let name = match degree {
            Some(_) => look.notation.note_named(pc, within, look.catalogue),
            None => axis_name(pc, i, view, picture, look),
        };
        let name = narrow(name, slot, look);
        let centred = |text: &str| x + bar.saturating_sub(columns(text)) / 2;
        let heard = reading.heard.contains(pc);
        let name_style = if heard { style } else { styles.quiet };
        let rank = match (is_center, degree) {
            (true, _) => 0,
            (false, Some(_)) => 1,
            (false, None) => 2,
        };
        names.push((rank, centred(&name), name, name_style));
        if let Some(d) = degree {
            let text = d.text(look.notation.glyphs);
            pen.put(centred(&text), base + 1, &text, name_style);
        }
    }
    names.sort_by_key(|n| n.0);
    let mut put: Vec<(u16, u16)> = Vec::with_capacity(12);
    for (_, x, name, style) in names {
        let end = x + columns(&name);
        if put.iter().all(|&(a, b)| end < a || x > b) {
            pen.put(x, base, &name, style);
            put.push((x, end));
        }
    }
    if picture.asleep().is_some() {
        pen.tint(0, h, styles.asleep);
    }
}

/// The name of a note outside the mode: in the order of fifths as a fifth above its
/// neighbour, if that needs at most one accidental and the user has not asked for one kind
/// of accidental only.
fn axis_name(pc: PitchClass, at: u16, view: &View, picture: &Picture, look: &Look) -> String {
    let within = picture.reading.within();
    let fifths = i16::from(view.around.fifths()) + at as i16 - 5;
    let axis = i8::try_from(fifths).ok().map(Spelling::at);
    let axis = axis.filter(|s| s.accidental().abs() <= 1 && s.pitch_class() == pc);
    match axis {
        Some(note)
            if view.bars == BarOrder::Fifths
                && look.notation.accidentals == Accidentals::ByContext =>
        {
            look.notation.note_name(note, within, look.catalogue)
        }
        _ => look.notation.note_named(pc, within, look.catalogue),
    }
}

/// A German name that would touch the next one, with a sign in the place of its syllable:
/// `C♯` for `Cis`, `D♭` for `Des`.
fn narrow(name: String, slot: u16, look: &Look) -> String {
    if look.notation.letters != Letters::German || columns(&name) < slot {
        return name;
    }
    let sign = |syllable, sign| {
        let letter = name.strip_suffix(syllable)?;
        (columns(letter) == 1).then(|| format!("{letter}{sign}"))
    };
    let sharp = sign("is", look.sign('♯', '#'));
    sharp
        .or_else(|| sign("es", look.sign('♭', 'b')))
        .unwrap_or(name)
}

/// A bar that stands on row `base` (exclusive) and grows up to the caption.
fn bar_at(
    pen: &mut Pen,
    (x, base): (u16, u16),
    wide: u16,
    part: f32,
    style: ratatui::style::Style,
    look: &Look,
) {
    const EIGHTHS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let rows = base.saturating_sub(1);
    let mut left = (part * rows as f32 * 8.0).round() as usize;
    if part > 0.004 {
        left = left.max(1);
    }
    for up in 0..rows {
        let now = left.min(8);
        left -= now;
        let c = match (look.ascii(), now) {
            (_, 0) => break,
            (false, n) => EIGHTHS.get(n).copied().unwrap_or('█'),
            (true, n) if n > 4 => '#',
            (true, _) => '_',
        };
        pen.line(x, base - 1 - up, wide, c, style);
    }
}
