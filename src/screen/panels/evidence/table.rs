//! What was heard, a row each, with a bar and what would be said without it.

use super::shown::Evidence;
use super::words::figure;
use crate::engine::Cause;
use crate::screen::look::Look;
use crate::screen::pen::Pen;

/// The columns of the table.
pub(super) struct Table {
    words: u16,
    /// The left end of the bars, their middle, and the cells of a half.
    left: u16,
    axis: u16,
    half: u16,
    figure: u16,
    other: u16,
    /// Room for what would be likeliest without it.
    otherwise: u16,
}

impl Table {
    pub fn new(w: u16) -> Table {
        let (words, otherwise) = match w {
            0..40 => (13, 0),
            40..44 => (13, 12),
            44..56 => (15, 13),
            56..84 => (19, 19),
            84..120 => (26, 24),
            _ => (26, 34),
        };
        // Between the columns a blank, between figure and what follows it too.
        let bar = w.saturating_sub(words + otherwise + 8).clamp(3, 61);
        let half = (bar - 1) / 2;
        let left = words + 1;
        let axis = left + half;
        let figure = axis + half + 2;
        Table {
            words,
            left,
            axis,
            half,
            figure,
            other: figure + 6,
            otherwise,
        }
    }

    pub fn heads(&self, pen: &mut Pen, y: u16, look: &Look) {
        let quiet = look.styles().quiet;
        pen.put(0, y, "what was heard", quiet);
        if self.half >= 6 {
            pen.put_right(self.axis, y, "takes ", quiet);
            pen.put(self.axis + 2, y, "adds", quiet);
        }
        if self.otherwise > 0 {
            pen.put(self.other, y, "without it", quiet);
        }
    }

    pub fn row(&self, pen: &mut Pen, y: u16, cause: &Cause, full: f32, evidence: &Evidence) {
        let look = evidence.look;
        let styles = look.styles();
        let glyphs = look.glyphs();
        let words = evidence.row_words(cause.removed, self.words, glyphs);
        pen.put(0, y, &words, styles.text);
        self.bar(pen, y, evidence.change(cause) / full, look);
        let figure = format!("{} %", figure(evidence.change(cause), look));
        pen.put_right(self.figure + 5, y, &figure, styles.text);
        if let Some(text) = evidence.instead(cause, self.otherwise, glyphs) {
            pen.put(self.other, y, &text, styles.contender);
        }
    }

    /// From the axis to the right what is added, to the left what is taken. To the left
    /// there are no eighths of a block in most fonts: one eighth, a half, a whole.
    fn bar(&self, pen: &mut Pen, y: u16, part: f32, look: &Look) {
        let styles = look.styles();
        pen.dot(self.axis, y, look.sign('│', '|'), styles.quiet);
        let part = if part.is_nan() {
            0.0
        } else {
            part.clamp(-1.0, 1.0)
        };
        let cells = part.abs() * f32::from(self.half);
        let (right, style) = match part >= 0.0 {
            true => (true, styles.center),
            false => (false, styles.outside),
        };
        if look.ascii() {
            let n = cells.round() as u16;
            let from = if right { self.axis + 1 } else { self.axis - n };
            return pen.line(from, y, n, '#', style);
        }
        let whole = cells as u16;
        let over = cells - f32::from(whole);
        if right {
            pen.line(self.axis + 1, y, whole, '█', style);
            let eighths = ['▏', '▎', '▍', '▌', '▋', '▊', '▉', '█'];
            let n = (over * 8.0).round() as usize;
            if let Some(&c) = n.checked_sub(1).and_then(|n| eighths.get(n)) {
                pen.dot(self.axis + 1 + whole, y, c, style);
            }
            return;
        }
        pen.line(self.axis - whole, y, whole, '█', style);
        let c = match over {
            over if over < 0.0625 => None,
            over if over < 0.3 => Some('▕'),
            over if over < 0.75 => Some('▐'),
            _ => Some('█'),
        };
        // A whole bar leaves nothing over.
        if let Some(c) = c.filter(|_| self.axis - whole > self.left) {
            pen.dot(self.axis - whole - 1, y, c, style);
        }
    }
}

/// The change that fills half of a bar: one of few, so that bars can be compared from one
/// explanation to the next.
pub(super) fn scale(most: f32) -> f32 {
    [0.125, 0.25, 0.5]
        .into_iter()
        .find(|&s| most <= s)
        .unwrap_or(1.0)
}
