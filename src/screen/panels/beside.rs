//! Two tonalities side by side, degree by degree.
//!
//! Rows: the names, a row a degree (two where its sevenths have no room beside its
//! triads), and below them what is altered and how many chords both have. What differs on
//! the right is marked by a sign and stands out; what is the same is quiet.

use crate::screen::claim::{Claim, reference};
use crate::screen::label::Label;
use crate::screen::large;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;
use crate::theory::{Beside, Changes, ChordPlace, Glyphs, Harmonized, Pair, Size, SpelledTonality};

/// The fields of a side: the note, then numeral and label of the triad and the seventh.
const FIELDS: usize = 5;

pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    other: SpelledTonality,
    label: &Label,
    look: &Look,
) {
    let (w, h) = (pen.width(), pen.height());
    if w < 24 || h < 4 {
        return;
    }
    let styles = look.styles();
    let say = |pen: &mut Pen, words: &str| {
        pen.put(1, 0, "side by side", styles.quiet);
        let words = fit_words(words, w.saturating_sub(1), look.glyphs());
        pen.put(1, h / 2, &words, styles.quiet);
    };
    let Some(reference) = reference(picture, look) else {
        return say(pen, "no center, nothing to set beside");
    };
    if reference.claim == Claim::Undecided {
        return say(pen, "not yet: the mode is still open");
    }
    let own = reference.spelled;
    let other = SpelledTonality {
        tonic: look.notation.tonic(other, look.catalogue),
        ..other
    };
    let harmonized = |t: SpelledTonality| Harmonized::new(t, look.catalogue);
    let both = Beside::new(
        harmonized(own),
        harmonized(other),
        look.catalogue,
        &look.notation,
    );
    // On one tonic degrees are compared; of two centers what stands on the same note.
    let pairs = match both.left.spelled.tonic == both.right.spelled.tonic {
        true => both.pairs.clone(),
        false => both.by_letter(),
    };
    let sounding = label.sonority().and_then(|s| s.chord());
    let place = |h: &Harmonized| sounding.and_then(|chord| h.locate(chord));
    let lit = [place(&both.left), place(&both.right)];
    let row = |pair: &Pair| Row::new(&both, pair, lit, look);
    let rows: Vec<Row> = pairs.iter().map(row).collect();
    let layout = Layout::new(&rows, w, h);

    // The names head their sides.
    let name = |t: SpelledTonality| look.notation.tonality(t, look.catalogue);
    let room = layout.right.saturating_sub(4);
    let guess = if reference.claim == Claim::Guess {
        "?"
    } else {
        ""
    };
    let text = fit(&format!("{}{guess}", name(own)), room, look.glyphs());
    pen.put(1, 0, &text, styles.mode);
    let text = fit(&name(other), w.saturating_sub(layout.right), look.glyphs());
    pen.put(layout.right, 0, &text, styles.mode);
    let (end, lines) = match afar(pen, &rows, layout.right, look) {
        Some(end) => (end, (h - end).min(3)),
        None => {
            let end = layout.end(rows.len() as u16).min(h - layout.foot);
            for (at, row) in rows.iter().enumerate() {
                let y = 1 + layout.first + at as u16 * layout.stride;
                if y >= end {
                    break;
                }
                row.draw(pen, y, &layout, look);
            }
            (end, layout.foot)
        }
    };
    for y in 0..end {
        pen.dot(layout.right - 2, y, look.sign('│', '|'), styles.faint);
    }
    let foot = (end + 1).min(h - lines);
    for (i, text) in words(&both, &rows, lines, w, look).iter().enumerate() {
        let text = fit_words(text, w.saturating_sub(1), look.glyphs());
        let style = if i == 0 { styles.strong } else { styles.text };
        pen.put(1, foot + i as u16, &text, style);
    }
    if reference.is_dim(picture) {
        pen.tint(0, h, styles.asleep);
    }
}

/// The triads in large letters, below the names, to be read from the back of the room;
/// returns the row after the last, or `None` if they have no room.
fn afar(pen: &mut Pen, rows: &[Row], right: u16, look: &Look) -> Option<u16> {
    // Two rows are kept for what is altered.
    let room = pen.height().saturating_sub(1);
    let glyphs = look.glyphs();
    let (top, stride) = large::afar(room.saturating_sub(2), rows.len(), glyphs)
        .or_else(|| large::afar(room, rows.len(), glyphs))?;
    let wide = |field: usize, of: &dyn Fn(&str) -> u16| -> u16 {
        let texts = rows.iter().flat_map(|r| &r.sides);
        texts.map(|s| of(&s[field])).max().unwrap_or(0)
    };
    let numeral = wide(1, &|t| large::width(t, large::Size::Four, Glyphs::Unicode));
    let label = wide(2, &large::wide_in_brackets);
    // Its sign stands before a numeral.
    let half = 2 + numeral + 2 + label;
    if half + 4 > right || right + half > pen.width() {
        return None;
    }
    let styles = look.styles();
    for (at, row) in rows.iter().enumerate() {
        let y = top + at as u16 * stride;
        for (side, x) in [1, right].into_iter().enumerate() {
            let texts = &row.sides[side];
            let lit = row.lit[side].is_some();
            let changed = side == 1 && (row.signs[0].is_some() || row.moved || row.single);
            let plain = match side {
                0 => [styles.quiet, styles.text],
                _ if changed => [styles.away; 2],
                _ => [styles.quiet; 2],
            };
            let [first, second] = if lit { [styles.chord; 2] } else { plain };
            if let (1, Some(sign)) = (side, row.signs[0]) {
                pen.dot(x, y + 2, sign.char(look), styles.away);
            }
            large::write(
                pen,
                (x + 2, y),
                &texts[1],
                large::Size::Four,
                first,
                Glyphs::Unicode,
            );
            large::in_brackets(
                pen,
                (x + 4 + numeral, y),
                &texts[2],
                large::Brackets::around(lit),
                second,
            );
        }
    }
    Some(top + rows.len() as u16 * stride)
}

/// What differs, with the signs of `harmonize --beside`.
#[derive(Clone, Copy, PartialEq)]
enum Sign {
    Quality,
    Numeral,
    Notes,
}

impl Sign {
    const ALL: [Sign; 3] = [Sign::Quality, Sign::Numeral, Sign::Notes];

    fn of(changes: Option<Changes>) -> Option<Sign> {
        match changes? {
            c if c.quality => Some(Sign::Quality),
            c if c.numeral => Some(Sign::Numeral),
            c if c.notes => Some(Sign::Notes),
            _ => None,
        }
    }

    fn char(self, look: &Look) -> char {
        match self {
            Sign::Quality => look.sign('≠', '!'),
            Sign::Numeral => look.sign('≈', '%'),
            Sign::Notes => '~',
        }
    }

    fn words(self) -> &'static str {
        match self {
            Sign::Quality => "another quality",
            Sign::Numeral => "another numeral",
            Sign::Notes => "other notes",
        }
    }
}

/// A degree on both sides, as text.
struct Row {
    /// Empty where a side has no such degree.
    sides: [[String; FIELDS]; 2],
    /// Of the triad and the seventh.
    signs: [Option<Sign>; 2],
    /// Which chord of each side sounds.
    lit: [Option<Size>; 2],
    /// The note on the right differs.
    moved: bool,
    /// Only one side has it.
    single: bool,
}

impl Row {
    fn new(both: &Beside, pair: &Pair, lit: [Option<ChordPlace>; 2], look: &Look) -> Row {
        let side = |h: &Harmonized, at: Option<usize>| -> [String; FIELDS] {
            let Some(step) = at.and_then(|at| h.usual().get(at)) else {
                return Default::default();
            };
            let mut texts: [String; FIELDS] = Default::default();
            texts[0] = look.notation.above(step.root, h.spelled.tonic);
            for (i, size) in Size::BOTH.into_iter().enumerate() {
                if let Some(s) = step.stack(size) {
                    let numeral = h.numeral(s, &look.notation, look.catalogue);
                    texts[1 + 2 * i] = numeral.unwrap_or_else(|| look.sign("–", "-").to_owned());
                    texts[2 + 2 * i] = h.label(s, &look.notation, look.catalogue);
                }
            }
            texts
        };
        let note = |h: &Harmonized, at: Option<usize>| h.usual().get(at?).map(|s| s.root);
        let (left, right) = (note(&both.left, pair.left), note(&both.right, pair.right));
        Row {
            sides: [side(&both.left, pair.left), side(&both.right, pair.right)],
            signs: pair.changes.map(Sign::of),
            lit: [(pair.left, lit[0]), (pair.right, lit[1])].map(|(at, lit)| {
                let lit = lit.filter(|p| p.form == 0 && Some(p.at) == at)?;
                lit.size
            }),
            moved: left.is_some() && right.is_some() && left != right,
            single: left.is_none() || right.is_none(),
        }
    }

    fn draw(&self, pen: &mut Pen, y: u16, layout: &Layout, look: &Look) {
        let styles = look.styles();
        for (side, x) in [1, layout.right].into_iter().enumerate() {
            for (field, text) in self.sides[side].iter().enumerate() {
                let Some((at, below)) = layout.fields[field] else {
                    continue;
                };
                // The note's sign, else that of its chord.
                let sign = match field {
                    0 => None,
                    _ => self.signs[(field - 1) / 2],
                };
                let changed = match field {
                    0 => self.moved,
                    _ => sign.is_some(),
                } || self.single;
                let style = match (side, field) {
                    (1, _) if changed => styles.away,
                    (1, _) => styles.quiet,
                    (_, 0) => styles.strong,
                    (_, 1 | 3) => styles.numeral,
                    _ => styles.text,
                };
                let (x, y) = (x + at, y + below);
                let room = layout.half.saturating_sub(at);
                // In the order of the fields.
                let size = [None, None, Some(Size::Triad), None, Some(Size::Seventh)][field];
                let lit = size.is_some() && self.lit[side] == size;
                let style = if lit { styles.lit } else { style };
                let end = pen.put(x, y, &fit(text, room, look.glyphs()), style);
                if lit {
                    pen.dot(x - 1, y, '[', style);
                    pen.dot(end, y, ']', style);
                }
                // The sign of what differs stands before the numeral.
                if let (1, 1 | 3, Some(sign)) = (side, field, sign) {
                    pen.dot(x - 1, y, sign.char(look), styles.away);
                }
            }
        }
    }
}

/// The columns and rows of the table.
struct Layout {
    /// The right side's first column, and columns a side.
    right: u16,
    half: u16,
    /// Each field's column on its side, and rows below the first of its degree.
    fields: [Option<(u16, u16)>; FIELDS],
    /// Blank rows below the names, rows a degree, and rows in words.
    first: u16,
    stride: u16,
    foot: u16,
    /// Rows of a degree that are written.
    lines: u16,
}

impl Layout {
    /// The row after the last of `count` degrees.
    fn end(&self, count: u16) -> u16 {
        1 + self.first + count.max(1) * self.stride - (self.stride - self.lines)
    }

    fn new(rows: &[Row], w: u16, h: u16) -> Layout {
        let wide = |field: usize| -> u16 {
            let texts = rows.iter().flat_map(|r| &r.sides);
            texts.map(|s| columns(&s[field])).max().unwrap_or(0)
        };
        let wide: [u16; FIELDS] = std::array::from_fn(wide);
        let count = rows.len().max(1) as u16;
        // A margin, and a blank, the line and a blank between the sides.
        let half = w.saturating_sub(4) / 2;
        let room = h - 1;
        // The gaps before each field; before a numeral stands its sign.
        let gaps = [
            [0, 4, 2, 5, 2],
            [0, 3, 1, 4, 1],
            [0, 2, 1, 3, 1],
            [0, 2, 1, 2, 1],
        ];
        let beside = |gaps: &[u16; FIELDS], fields: &[usize]| -> u16 {
            fields.iter().map(|&f| gaps[f] + wide[f]).sum()
        };
        let fits = |fields: &[usize]| gaps.iter().find(|g| beside(g, fields) <= half);
        let mut fields = [None; FIELDS];
        let mut put = |list: &[usize], gaps: &[u16; FIELDS], below: u16, from: u16| {
            let mut x = from;
            for &f in list {
                x += gaps[f];
                fields[f] = Some((x, below));
                x += wide[f];
            }
        };
        let tall = room >= 2 * count;
        let below = wide[0] + 2;
        let two = |g: &&[u16; FIELDS]| {
            let triads = beside(g, &[0, 1, 2]);
            triads <= half && below + wide[3] + g[2] + wide[4] <= half
        };
        let mut lines = 1;
        if let Some(g) = fits(&[0, 1, 2, 3, 4]) {
            put(&[0, 1, 2, 3, 4], g, 0, 0);
        } else if let Some(g) = gaps.iter().skip(2).find(two).filter(|_| tall) {
            // The seventh below its triad, numeral below numeral and label below label.
            let numeral = wide[1].max(wide[3]);
            let label = below + numeral + g[2];
            let aligned = label + wide[2].max(wide[4]) <= half;
            put(&[0], g, 0, 0);
            fields[1] = Some((below, 0));
            fields[3] = Some((below, 1));
            let (triad, seventh) = match aligned {
                true => (label, label),
                false => (below + wide[1] + g[2], below + wide[3] + g[4]),
            };
            fields[2] = Some((triad, 0));
            fields[4] = Some((seventh, 1));
            lines = 2;
        } else if let Some(g) = fits(&[0, 1, 2, 4]) {
            put(&[0, 1, 2, 4], g, 0, 0);
        } else if let Some(g) = fits(&[0, 1, 2]) {
            put(&[0, 1, 2], g, 0, 0);
        } else {
            // Long labels are cut.
            put(&[0, 1, 2], &gaps[2], 0, 0);
        }
        // As many rows in words as are over, then air between the degrees.
        let spare = room.saturating_sub(count * lines);
        let foot = match spare {
            0 => 0,
            1 => 1,
            2 | 3 => 2,
            _ => 3,
        };
        let airy = count * (lines + 1) <= room.saturating_sub(foot) + 1;
        let stride = lines + u16::from(airy);
        let used = count * stride + 1 - (stride - lines) - 1;
        Layout {
            right: half + 4,
            half,
            fields,
            first: u16::from(room.saturating_sub(foot) > used + 1),
            stride,
            foot,
            lines,
        }
    }
}

/// What is altered, what both have in common, and what the signs mean, in `lines` lines.
fn words(both: &Beside, rows: &[Row], lines: u16, w: u16, look: &Look) -> Vec<String> {
    let becomes = look.sign("→", "->");
    let pairs = both.altered_names(&look.notation).into_iter();
    let one = |(l, r): (Option<String>, Option<String>)| match (l, r) {
        (Some(l), Some(r)) => format!("{l} {becomes} {r}"),
        (Some(l), None) => format!("{} {l}", look.sign("−", "-")),
        (None, Some(r)) => format!("+ {r}"),
        (None, None) => String::new(),
    };
    let altered: Vec<String> = pairs.map(one).collect();
    let altered = match altered.is_empty() {
        true => "the same notes".to_owned(),
        false => format!("altered: {}", altered.join(", ")),
    };
    let count = |size: Size| both.common.iter().filter(|c| c.size == size).count();
    let many = |n: usize, what: &str| match n {
        1 => format!("1 {what}"),
        n => format!("{n} {what}s"),
    };
    let common = match (count(Size::Triad), count(Size::Seventh)) {
        (0, 0) => "no chord in common".to_owned(),
        (triads, 0) => format!("in common: {}", many(triads, "triad")),
        (0, sevenths) => format!("in common: {}", many(sevenths, "seventh")),
        (triads, sevenths) => format!(
            "in common: {}, {}",
            many(triads, "triad"),
            many(sevenths, "seventh")
        ),
    };
    let seen = |sign: &Sign| rows.iter().any(|r| r.signs.contains(&Some(*sign)));
    let signs = Sign::ALL.into_iter().filter(seen);
    let signs: Vec<String> = signs
        .map(|s| format!("{} {}", s.char(look), s.words()))
        .collect();
    let signs = signs.join("   ");
    if lines == 1 {
        let whole = format!("{altered}   {common}");
        return vec![if columns(&whole) < w { whole } else { altered }];
    }
    let mut list = vec![altered, common, signs];
    list.truncate(usize::from(lines));
    list
}
