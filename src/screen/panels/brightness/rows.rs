//! The modes in rows, small or in large letters, each with the step to it.

use super::ladder::{Ladder, ModeStatus, Rung};
use crate::screen::large;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit};

impl Ladder<'_> {
    /// The modes, in `rows` rows below the caption; returns the row after the last.
    pub fn rows(&self, pen: &mut Pen, rows: u16, look: &Look) -> u16 {
        if let Some(end) = self.afar(pen, rows, look) {
            return end;
        }
        let count = self.rungs.len();
        let spacing = match rows as usize >= 2 * count - 1 {
            true => Spacing::Apart,
            false => Spacing::Close,
        };
        let shown = match spacing {
            Spacing::Apart => count,
            Spacing::Close => count.min(rows as usize),
        };
        let (chosen, middle) = self.middle();
        let mut from = middle.saturating_sub(shown / 2).min(count - shown);
        if let Some(chosen) = chosen {
            from = from.clamp((chosen + 1).saturating_sub(shown), chosen);
        }
        let stride = match spacing {
            Spacing::Apart => 2,
            Spacing::Close => 1,
        };
        let used = shown as u16 * stride + 1 - stride;
        let top = 1 + u16::from(rows > used);
        let place = Columns::new(self, pen.width(), spacing);
        let rungs = self.rungs.iter().enumerate().skip(from).take(shown);
        for (i, (at, rung)) in rungs.enumerate() {
            let y = top + i as u16 * stride;
            self.rung(pen, rung, (y, spacing), &place, look);
            if let Some((name, _)) = self.beside.as_ref().filter(|b| b.1 == at) {
                let style = look.styles().lit;
                let points = look.sign('◂', '<');
                let x = place.beside + 1;
                pen.dot(place.beside, y, points, look.styles().chord);
                if x + columns(name) + 2 <= pen.width() {
                    pen.put(x, y, &format!("[{name}]"), style);
                }
            }
        }
        top + used
    }

    /// The modes in large letters, below the caption, and at the right the step to each;
    /// returns the row after the last. `None` where there is no room for them.
    fn afar(&self, pen: &mut Pen, rows: u16, look: &Look) -> Option<u16> {
        let (top, stride) = large::afar(rows, self.rungs.len(), look.glyphs())?;
        let text = |r: &Rung| match r.said {
            ModeStatus::Open | ModeStatus::Guess => format!("{}?", r.name),
            _ => r.name.clone(),
        };
        // A question mark may follow the name.
        let name = |r: &Rung| large::wide_in_brackets(&format!("{}?", r.name));
        let name = self.rungs.iter().map(name).max().unwrap_or(0);
        let steps = |r: &Rung| r.step.iter().flatten().map(|s| columns(s)).max();
        let step = self.rungs.iter().filter_map(steps).max().unwrap_or(0);
        let x = 2 + name + 1;
        if x + step > pen.width() {
            return None;
        }
        let styles = look.styles();
        for (at, rung) in self.rungs.iter().enumerate() {
            let y = top + at as u16 * stride;
            let style = match rung.said {
                ModeStatus::Present => styles.chord,
                ModeStatus::Guess => styles.asleep,
                ModeStatus::Heard => styles.home,
                ModeStatus::Open => styles.strong,
                ModeStatus::Nothing if rung.chosen => styles.strong,
                ModeStatus::Nothing => styles.text,
            };
            let lit = matches!(rung.said, ModeStatus::Present | ModeStatus::Guess);
            large::in_brackets(
                pen,
                (2, y),
                &text(rung),
                large::Brackets::around(lit),
                style,
            );
            if rung.said == ModeStatus::Heard {
                pen.put(x, y, "(heard)", styles.home);
            }
            if rung.chosen {
                for row in y..y + large::AFAR - 1 {
                    pen.dot(0, row, look.sign('▸', '>'), styles.center);
                }
            }
            for (i, text) in rung.step.iter().flatten().enumerate() {
                let style = if i == 0 { styles.away } else { styles.quiet };
                pen.put(x, y + 1 + i as u16, text, style);
            }
            if let Some((name, _)) = self.beside.as_ref().filter(|b| b.1 == at) {
                let text = format!("{}[{name}]", look.sign("◂", "<"));
                pen.put(
                    x,
                    y,
                    &fit(&text, pen.width() - x, look.glyphs()),
                    styles.lit,
                );
            }
        }
        Some(top + self.rungs.len() as u16 * stride)
    }

    fn rung(
        &self,
        pen: &mut Pen,
        rung: &Rung,
        (y, spacing): (u16, Spacing),
        place: &Columns,
        look: &Look,
    ) {
        let styles = look.styles();
        let (signs, style) = match rung.said {
            ModeStatus::Nothing => (
                None,
                if rung.chosen {
                    styles.strong
                } else {
                    styles.text
                },
            ),
            ModeStatus::Open => (None, styles.strong),
            ModeStatus::Present => (Some(('[', ']')), styles.lit),
            ModeStatus::Guess => (Some(('[', ']')), styles.asleep),
            ModeStatus::Heard => (Some(('(', ')')), styles.home),
        };
        let style = match self.reference {
            None => styles.quiet,
            Some(_) => style,
        };
        if rung.chosen {
            pen.dot(0, y, look.sign('▸', '>'), styles.center);
        }
        let mark = match rung.said {
            ModeStatus::Open | ModeStatus::Guess => "?",
            _ => "",
        };
        let text = format!("{}{mark}", rung.name);
        if let Some((open, close)) = signs {
            // All brackets of the panel close in one column: a bar as long as any name.
            pen.line(1, y, place.name, ' ', style);
            pen.dot(1, y, open, style);
            pen.dot(place.name, y, close, style);
        }
        pen.put(
            2,
            y,
            &fit(&text, place.name.saturating_sub(2), look.glyphs()),
            style,
        );
        let lowered = look.sign('↓', 'v');
        let apart = spacing == Spacing::Apart;
        let before = if apart { y.saturating_sub(1) } else { y };
        if !place.notes.is_empty() {
            let plain = match rung.said {
                ModeStatus::Present | ModeStatus::Guess => styles.strong,
                _ => styles.text,
            };
            for (note, &x) in rung.notes.iter().zip(&place.notes) {
                let style = if note.lowered { styles.away } else { plain };
                pen.put(x, y, &note.text, style);
                if note.lowered {
                    let at = if apart { x } else { x - 1 };
                    pen.dot(at, before, lowered, styles.away);
                }
            }
        }
        let texts = rung.step.iter().flatten();
        for (text, x) in texts.zip(place.steps) {
            if let Some(x) = x {
                let style = if x == place.main {
                    styles.away
                } else {
                    styles.quiet
                };
                pen.put(x, before, text, style);
            }
        }
    }
}

/// Whether the rungs have rows between them.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Spacing {
    Close,
    Apart,
}

/// The columns of a row.
struct Columns {
    /// The column of the closing bracket.
    name: u16,
    /// The column of each degree's note; empty where there is no room for the notes.
    notes: Vec<u16>,
    /// The step as notes, as degrees.
    steps: [Option<u16>; 2],
    /// The step that is read first.
    main: u16,
    /// The row beside which the present mode stands, if it has no row itself.
    beside: u16,
}

impl Columns {
    fn new(ladder: &Ladder, w: u16, spacing: Spacing) -> Columns {
        let apart = spacing == Spacing::Apart;
        let widest = |texts: &mut dyn Iterator<Item = u16>| texts.max().unwrap_or(0);
        let rungs = &ladder.rungs;
        // A question mark may follow the name.
        let name = 4 + widest(&mut rungs.iter().map(|r| columns(&r.name)));
        let most = rungs.iter().map(|r| r.notes.len()).max().unwrap_or(0);
        // A blank and the sign of what is lowered before each note.
        let sign = if apart { 1 } else { 2 };
        let of = |i: usize| rungs.iter().filter_map(move |r| r.notes.get(i));
        let slot = |i: usize| sign + widest(&mut of(i).map(|n| columns(&n.text)));
        let mut slots: Vec<u16> = (0..most).map(slot).collect();
        let step =
            |i: usize| widest(&mut rungs.iter().flat_map(|r| &r.step).map(|s| columns(&s[i])));
        let beside = ladder.beside.as_ref().map_or(0, |b| columns(&b.0) + 4);
        let mut x = name + 2;
        let mut room = w.saturating_sub(x);
        let mut take = |wide: u16, gap: u16| {
            let fits = wide > 0 && wide <= room;
            room = room.saturating_sub(if fits { wide + gap } else { 0 });
            fits
        };
        let gap = 2;
        let first = take(step(0), gap);
        // As wide as the widest, or where that is too much each as wide as its own.
        let even = slots.iter().max().copied().unwrap_or(0);
        let noted = match take(even * most as u16, gap) {
            true => {
                slots.fill(even);
                true
            }
            false => take(slots.iter().sum(), gap),
        };
        let steps = [first, take(step(1), gap)];
        // What stands beside takes its room before the notes spread.
        let _ = take(beside, 0);
        let mut notes = Vec::new();
        if noted {
            let air = (room / most.max(1) as u16).min(3);
            x += u16::from(!apart);
            for slot in slots {
                notes.push(x);
                x += slot + air;
            }
            x += gap - u16::from(!apart);
        }
        let mut places = [None; 2];
        for (i, place) in places.iter_mut().enumerate() {
            if steps[i] {
                *place = Some(x);
                x += step(i) + gap;
            }
        }
        Columns {
            name: name - 1,
            notes,
            steps: places,
            main: places[0].or(places[1]).unwrap_or(0),
            beside: x.min(w.saturating_sub(1)),
        }
    }
}
