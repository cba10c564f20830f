//! Large letters, made of the 8 by 8 glyphs of a public-domain bitmap font and
//! a few signs of music drawn in the same grid.
//!
//! A line of text becomes one bitmap with the empty columns between letters
//! trimmed; quadrant blocks carry two by two of its dots a cell. Larger sizes
//! double the bitmap, rounding corners on the way.

use super::pen::{Pen, columns};
use crate::theory::Glyphs;
use ratatui::style::Style;

/// The height of letters, in rows of the terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Size {
    /// Ordinary text.
    One,
    Four,
    Eight,
    Sixteen,
}

impl Size {
    pub fn rows(self) -> u16 {
        match self {
            Size::One => 1,
            Size::Four => 4,
            Size::Eight => 8,
            Size::Sixteen => 16,
        }
    }

    /// This size and all smaller ones, the largest first.
    fn and_smaller(self) -> impl Iterator<Item = Size> {
        [Size::Sixteen, Size::Eight, Size::Four, Size::One]
            .into_iter()
            .filter(move |s| *s <= self)
    }
}

/// The largest size up to `wanted` in which the text fits `room` columns.
pub(super) fn fitting(text: &str, wanted: Size, room: u16, glyphs: Glyphs) -> Size {
    wanted
        .and_smaller()
        .find(|&s| width(text, s, glyphs) <= room && (glyphs, s) != (Glyphs::Ascii, Size::Four))
        .unwrap_or(Size::One)
}

/// Columns that a text takes.
pub(super) fn width(text: &str, size: Size, glyphs: Glyphs) -> u16 {
    match size {
        Size::One => columns(text),
        _ => {
            let dots = line_width(text) << doublings(size, glyphs);
            let cells = match glyphs {
                Glyphs::Unicode => dots.div_ceil(2),
                Glyphs::Ascii => dots,
            };
            cells.min(u16::MAX as usize) as u16
        }
    }
}

/// Writes `text` with its upper left corner at (x, y); returns the column after
/// it. Ordinary text stands on the third of four rows.
pub(super) fn write(
    pen: &mut Pen,
    (x, y): (u16, u16),
    text: &str,
    size: Size,
    style: Style,
    glyphs: Glyphs,
) -> u16 {
    if size == Size::One {
        return pen.put(x, y, text, style);
    }
    let mut map = Bitmap::of(text);
    for _ in 0..doublings(size, glyphs) {
        map = match glyphs {
            Glyphs::Unicode => map.doubled(),
            Glyphs::Ascii => map.coarse(),
        };
    }
    if glyphs == Glyphs::Ascii {
        for row in 0..map.height {
            for column in 0..map.width {
                if map.at(column as isize, row as isize) {
                    pen.dot(x.saturating_add(column as u16), y + row as u16, '#', style);
                }
            }
        }
        return x.saturating_add(map.width as u16);
    }
    const QUADRANTS: [char; 16] = [
        ' ', '▘', '▝', '▀', '▖', '▌', '▞', '▛', '▗', '▚', '▐', '▜', '▄', '▙', '▟', '█',
    ];
    let cells = map.width.div_ceil(2);
    for row in 0..map.height / 2 {
        for column in 0..cells {
            let bit = |dx: usize, dy: usize| {
                map.at((column * 2 + dx) as isize, (row * 2 + dy) as isize) as usize
            };
            let code = bit(0, 0) | bit(1, 0) << 1 | bit(0, 1) << 2 | bit(1, 1) << 3;
            if code != 0 {
                pen.dot(
                    x.saturating_add(column as u16),
                    y + row as u16,
                    QUADRANTS[code & 15],
                    style,
                );
            }
        }
    }
    x.saturating_add(cells as u16)
}

/// Rows of a line that is to be read from the back of the room.
pub(super) const AFAR: u16 = 4;

/// Where `lines` lines of [`AFAR`] rows stand below a caption, in a panel of `rows` more
/// rows: the first row, and the rows from one line to the next. `None` where there is no
/// room, and in ASCII, which has no letters of that height.
pub(super) fn afar(rows: u16, lines: usize, glyphs: Glyphs) -> Option<(u16, u16)> {
    let lines = u16::try_from(lines).ok();
    let lines = lines.filter(|&n| n > 0 && glyphs == Glyphs::Unicode)?;
    let stride = (rows / lines).min(AFAR + 1);
    (stride >= AFAR).then_some((1 + u16::from(rows > lines * stride), stride))
}

/// Columns of a text in [`AFAR`] rows with brackets around it.
pub(super) fn wide_in_brackets(text: &str) -> u16 {
    ["[", text, "]"]
        .map(|t| width(t, Size::Four, Glyphs::Unicode))
        .iter()
        .sum()
}

/// Whether brackets are drawn around a text that has room for them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Brackets {
    Drawn,
    LeftOut,
}

impl Brackets {
    /// Around what is lit.
    pub fn around(lit: bool) -> Brackets {
        match lit {
            true => Brackets::Drawn,
            false => Brackets::LeftOut,
        }
    }
}

/// A text in [`AFAR`] rows; without brackets it stands where it would stand in them. Not
/// for ASCII, which has no letters of that height.
pub(super) fn in_brackets(
    pen: &mut Pen,
    (x, y): (u16, u16),
    text: &str,
    brackets: Brackets,
    style: Style,
) {
    // Brackets and not reversed letters, which would touch the edges of their background.
    let inner = x + width("[", Size::Four, Glyphs::Unicode);
    let end = write(pen, (inner, y), text, Size::Four, style, Glyphs::Unicode);
    if brackets == Brackets::Drawn {
        write(pen, (x, y), "[", Size::Four, style, Glyphs::Unicode);
        write(pen, (end, y), "]", Size::Four, style, Glyphs::Unicode);
    }
}

/// How often the 8 by 8 dots are doubled. In ASCII a dot is a whole cell.
fn doublings(size: Size, glyphs: Glyphs) -> usize {
    let times = match size {
        Size::One | Size::Four => 0,
        Size::Eight => 1,
        Size::Sixteen => 2,
    };
    match glyphs {
        Glyphs::Unicode => times,
        Glyphs::Ascii => usize::saturating_sub(times, 1),
    }
}

/// Dots between letters, and those of a space.
const GAP: usize = 1;
const SPACE: usize = 4;

/// Rows from the top; bit 0 is the leftmost dot, as in the font.
type Glyph = [u8; 8];

/// The signs of music that the font lacks.
const SIGNS: [(char, Glyph); 6] = [
    ('♭', [0x03, 0x03, 0x03, 0x0f, 0x1b, 0x1b, 0x0f, 0x00]),
    ('♯', [0x08, 0x0a, 0x1e, 0x0a, 0x0a, 0x0f, 0x0a, 0x02]),
    ('♮', [0x01, 0x01, 0x0d, 0x0b, 0x09, 0x0d, 0x0b, 0x08]),
    ('ø', [0x00, 0x20, 0x1e, 0x3b, 0x37, 0x33, 0x1e, 0x01]),
    ('°', [0x06, 0x09, 0x09, 0x06, 0x00, 0x00, 0x00, 0x00]),
    ('–', [0x00, 0x00, 0x00, 0x0f, 0x00, 0x00, 0x00, 0x00]),
];

fn glyph(c: char) -> Glyph {
    if let Some((_, g)) = SIGNS.iter().find(|(s, _)| *s == c) {
        return *g;
    }
    let table = &font8x8::legacy::BASIC_LEGACY;
    // A question mark for what cannot be drawn.
    table
        .get(c as usize)
        .or(table.get('?' as usize))
        .copied()
        .unwrap_or_default()
}

/// The first dot column and how many, without the empty ones.
fn ink(g: &Glyph) -> (usize, usize) {
    let all = g.iter().fold(0u8, |a, row| a | row);
    if all == 0 {
        return (0, SPACE - GAP);
    }
    let first = all.trailing_zeros() as usize;
    (first, 8 - all.leading_zeros() as usize - first)
}

fn line_width(text: &str) -> usize {
    text.chars().map(|c| ink(&glyph(c)).1 + GAP).sum()
}

struct Bitmap {
    width: usize,
    height: usize,
    dots: Vec<bool>,
}

impl Bitmap {
    fn blank(width: usize, height: usize) -> Bitmap {
        Bitmap {
            width,
            height,
            dots: vec![false; width * height],
        }
    }

    fn of(text: &str) -> Bitmap {
        let mut map = Bitmap::blank(line_width(text), 8);
        let mut x = 0;
        for c in text.chars() {
            let g = glyph(c);
            let (first, wide) = ink(&g);
            for (y, row) in g.iter().enumerate() {
                for i in 0..wide {
                    if row >> (first + i) & 1 == 1 {
                        map.set(x + i, y);
                    }
                }
            }
            x += wide + GAP;
        }
        map
    }

    fn set(&mut self, x: usize, y: usize) {
        if let Some(dot) = self.dots.get_mut(y * self.width + x) {
            *dot = true;
        }
    }

    /// Whether a dot is set; beyond the edge none is.
    fn at(&self, x: isize, y: isize) -> bool {
        let inside = |v: isize, n: usize| usize::try_from(v).ok().filter(|&v| v < n);
        match (inside(x, self.width), inside(y, self.height)) {
            (Some(x), Some(y)) => self.dots.get(y * self.width + x) == Some(&true),
            _ => false,
        }
    }

    /// Twice as large: each dot becomes four.
    fn coarse(&self) -> Bitmap {
        self.scaled(|_, _, here| [here; 4])
    }

    /// Twice as large; a corner takes its neighbours' side where the two that
    /// meet in it agree and the other two do not, which rounds stairs to slopes.
    fn doubled(&self) -> Bitmap {
        self.scaled(|x, y, here| {
            let (up, left) = (self.at(x, y - 1), self.at(x - 1, y));
            let (right, down) = (self.at(x + 1, y), self.at(x, y + 1));
            let corner = |a: bool, b: bool, c: bool, d: bool| {
                if a == b && a != c && b != d { a } else { here }
            };
            [
                corner(left, up, down, right),
                corner(up, right, left, down),
                corner(down, left, right, up),
                corner(right, down, up, left),
            ]
        })
    }

    /// `four` gives the upper left, upper right, lower left and lower right dot.
    fn scaled(&self, four: impl Fn(isize, isize, bool) -> [bool; 4]) -> Bitmap {
        let mut map = Bitmap::blank(self.width * 2, self.height * 2);
        for y in 0..self.height {
            for x in 0..self.width {
                let (ix, iy) = (x as isize, y as isize);
                for (i, on) in four(ix, iy, self.at(ix, iy)).into_iter().enumerate() {
                    if on {
                        map.set(x * 2 + i % 2, y * 2 + i / 2);
                    }
                }
            }
        }
        map
    }
}
