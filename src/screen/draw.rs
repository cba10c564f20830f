//! The whole picture: who sits where, and in which size.

use super::help::HelpView;
use super::keys::Keys;
use super::large::Size;
use super::palette::{Depth, Palette, Styles};
use super::pen::{Pen, columns};
use super::strip::StripView;
use super::{Source, chord, contender, help, here, piano, scale, status, strip, why, window};
use crate::engine::{Explanation, History, Reading};
use crate::plan::Marker;
use crate::theory::{Catalogue, Glyphs, Notation, Spelling, Tonality};
use crate::time::Time;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The smallest size in which everything has its place.
pub(super) const SMALLEST: (u16, u16) = (60, 18);

/// What is to be seen: snapshots only.
pub(super) struct Picture<'a> {
    pub reading: &'a Reading,
    pub history: &'a History,
    pub markers: &'a [Marker],
    pub source: &'a Source,
    /// The latest, if any was asked for.
    pub explanation: Option<&'a Explanation>,
    pub now: Time,
    /// How long ago the file ended, if it has: its own time stands still then.
    pub ended: Option<Time>,
}

impl Picture<'_> {
    /// How long it has been still, once that is more than a breath, or since the
    /// file ended.
    pub fn asleep(&self) -> Option<Time> {
        let silent = self.reading.silent_since.map(|s| self.now.since(s));
        if let Some(ended) = self.ended {
            return Some(ended + silent.unwrap_or_default());
        }
        silent.filter(|&s| s >= Time::millis(2000))
    }

    /// Now, or when the last sound ended.
    pub fn moment(&self) -> Time {
        self.reading.silent_since.unwrap_or(self.now)
    }
}

/// How it is to be written.
pub(super) struct Look<'a> {
    pub notation: Notation,
    pub palette: Palette,
    pub depth: Depth,
    pub catalogue: &'a Catalogue,
    /// The keys in force, where they are named.
    pub keys: &'a Keys,
}

impl Look<'_> {
    pub fn ascii(&self) -> bool {
        self.notation.glyphs == Glyphs::Ascii
    }

    /// A tonic in the user's letters.
    pub fn center(&self, t: Tonality, tonic: Spelling) -> String {
        self.notation.center(t, tonic, self.catalogue)
    }

    pub fn styles(&self) -> &'static Styles {
        self.palette.styles(self.depth)
    }

    /// A sign, or what stands for it in ASCII.
    pub fn sign<T>(&self, unicode: T, ascii: T) -> T {
        if self.ascii() { ascii } else { unicode }
    }
}

/// What the screen itself remembers between two pictures.
#[derive(Clone, Debug)]
pub(super) struct View {
    pub help: HelpView,
    /// What decides is shown.
    pub why: bool,
    /// The harmonized scale is shown.
    pub scale: bool,
    pub strip: StripView,
    /// The window's bars in chromatic order, not in fifths.
    pub chromatic: bool,
    /// The lowest key shown, where not all have room.
    pub lowest_key: u8,
    /// The center that the window's bars stand around: the last one known.
    pub around: Spelling,
    pub label: chord::Label,
}

impl Default for View {
    fn default() -> View {
        View {
            help: HelpView::default(),
            why: false,
            scale: false,
            strip: StripView::default(),
            chromatic: false,
            lowest_key: 24,
            around: Spelling::at(2),
            label: chord::Label::default(),
        }
    }
}

/// Where each panel is. A panel without room is empty.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Places {
    pub here: Rect,
    pub chord: Rect,
    pub window: Rect,
    /// In the window's place; where there is none, in the strip's.
    pub scale: Rect,
    pub contender: Rect,
    /// Where no row is free, in the contender's place.
    pub why: Rect,
    pub piano: Rect,
    pub strip: Rect,
    pub notice: Rect,
    pub status: Rect,
    pub size: Sizes,
}

/// The letters' sizes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sizes {
    pub here: Size,
    pub home: Size,
    pub chord: Size,
}

impl Default for Sizes {
    fn default() -> Sizes {
        Sizes {
            here: Size::Four,
            home: Size::Four,
            chord: Size::Four,
        }
    }
}

/// Rows of the blocks from top to bottom: least, and most.
struct Plan {
    size: Sizes,
    chord: (u16, u16),
    contender: (u16, u16),
    piano: (u16, u16),
    strip: (u16, u16),
    /// The window's columns; none: no window.
    window: u16,
}

/// Rows of what decides.
const WHY: u16 = 2;

/// Lays out `area`, with room for what decides and for the harmonized scale if asked;
/// `None` where it is too small.
pub(super) fn places(area: Rect, why: bool, scale: bool) -> Option<Places> {
    let (w, h) = (area.width, area.height);
    if w < SMALLEST.0 || h < SMALLEST.1 {
        return None;
    }
    let size = |here, home, chord| Sizes { here, home, chord };
    use Size::{Eight, Four, One, Sixteen};
    let plan = if w >= 184 && h >= 54 {
        Plan {
            size: size(Sixteen, Eight, Eight),
            chord: (12, 12),
            contender: (5, 5),
            piano: (6, 8),
            strip: (10, 10),
            window: 74,
        }
    } else if w >= 112 && h >= 33 {
        Plan {
            size: size(Eight, Four, Four),
            chord: (7, 8),
            contender: (4, 5),
            piano: (3, 6),
            strip: (6, 7),
            window: 50,
        }
    } else if w >= 72 && h >= 22 {
        Plan {
            size: size(Four, Four, Four),
            chord: (6, 8),
            contender: (1, 3),
            piano: (3, 4),
            strip: (4, 7),
            window: 38,
        }
    } else {
        Plan {
            size: size(Four, Four, One),
            chord: (2, 3),
            contender: (1, 2),
            piano: (3, 3),
            strip: (4, 6),
            window: 0,
        }
    };
    let here = plan.size.here.rows() + 2;
    let fixed = here + 2;
    let mut rows = [plan.chord, plan.contender, plan.piano, plan.strip].map(|r| r.0);
    let most = [plan.chord, plan.contender, plan.piano, plan.strip].map(|r| r.1);
    let mut gaps = [0u16; 4];
    let mut spare = h.saturating_sub(fixed + rows.iter().sum::<u16>());
    let reasons = if why { spare.min(WHY) } else { 0 };
    spare -= reasons;
    // What is over goes round: the strip and the contender first, then air.
    'rounds: for round in 0.. {
        let before = spare;
        for i in [3, 1, 2, 0] {
            if rows[i] < most[i] {
                if spare == 0 {
                    break 'rounds;
                }
                rows[i] += 1;
                spare -= 1;
            }
            if gaps[i] < round.min(4) {
                if spare == 0 {
                    break 'rounds;
                }
                gaps[i] += 1;
                spare -= 1;
            }
        }
        if spare == before && round > 4 {
            break;
        }
    }
    let margin = if w >= 72 { 1 } else { 0 };
    let (left, wide) = (area.x + margin, w - 2 * margin);
    let mut y = area.y;
    let mut take = |height: u16, gap: u16| {
        y += gap;
        let r = Rect::new(left, y, wide, height);
        y += height;
        r
    };
    let here = take(here, 0);
    let both = take(rows[0], gaps[0]);
    let contender = take(rows[1], gaps[1]);
    let (contender, why) = match (why, reasons) {
        (false, _) => (contender, Rect::default()),
        (true, 0) => (Rect::default(), contender),
        (true, rows) => (contender, take(rows, 0)),
    };
    let piano = take(rows[2], gaps[2]);
    let strip = take(rows[3], gaps[3]);
    let bottom = area.bottom();
    let window = Rect {
        x: both.right().saturating_sub(plan.window),
        width: plan.window,
        ..both
    };
    let gutter = if plan.window > 0 { 2 } else { 0 };
    let (window, strip, scale) = match scale {
        false => (window, strip, Rect::default()),
        true if plan.window > 0 => (Rect::default(), strip, window),
        true => (window, Rect::default(), strip),
    };
    Some(Places {
        here,
        chord: Rect {
            width: both.width - plan.window - gutter,
            ..both
        },
        window,
        scale,
        contender,
        why,
        piano,
        strip,
        notice: Rect::new(left, bottom - 2, wide, 1),
        status: Rect::new(left, bottom - 1, wide, 1),
        size: plan.size,
    })
}

/// Draws everything into the buffer, which is empty before.
pub(super) fn draw(buf: &mut Buffer, picture: &Picture, view: &mut View, look: &Look) {
    let area = buf.area;
    buf.set_style(area, look.styles().ground());
    if let Some(here) = picture.reading.here {
        view.around = here.tonic;
    }
    view.label.follow(picture);
    match places(area, view.why, view.scale) {
        None => too_small(buf, look),
        Some(p) => {
            here::draw(&mut Pen::new(buf, p.here), p.size, picture, look);
            let mut pen = Pen::new(buf, p.chord);
            chord::draw(&mut pen, p.size.chord, picture, &view.label, look);
            window::draw(&mut Pen::new(buf, p.window), picture, view, look);
            if view.scale {
                scale::draw(&mut Pen::new(buf, p.scale), picture, &view.label, look);
            }
            contender::draw(&mut Pen::new(buf, p.contender), picture, look);
            if view.why {
                why::draw(&mut Pen::new(buf, p.why), picture, look);
            }
            piano::draw(&mut Pen::new(buf, p.piano), picture, view, look);
            strip::draw(&mut Pen::new(buf, p.strip), picture, &mut view.strip, look);
            status::notice(&mut Pen::new(buf, p.notice), picture, look);
            status::draw(&mut Pen::new(buf, p.status), picture, look);
        }
    }
    if view.help.is_open() {
        help::draw(&mut Pen::new(buf, area), picture, &mut view.help, look);
    }
}

fn too_small(buf: &mut Buffer, look: &Look) {
    let area = buf.area;
    let mut pen = Pen::new(buf, area);
    let (w, h) = SMALLEST;
    let by = look.sign("×", "x");
    let texts = [
        format!(
            "Too small: Peregrinus needs {w}{by}{h}, this is {}{by}{}.",
            area.width, area.height
        ),
        format!("Too small: needs {w}{by}{h}"),
        format!("needs {w}{by}{h}"),
        format!("{w}{by}{h}"),
    ];
    let text = texts.iter().find(|t| columns(t) <= area.width);
    if let Some(text) = text {
        let x = (area.width - columns(text)) / 2;
        pen.put(x, area.height / 2, text, look.styles().text);
    } else {
        pen.put(0, area.height / 2, "!", look.styles().warning);
    }
}

/// Length of time in words: `6 s`, `4 min`, `2 h`.
pub(super) fn length(t: Time) -> String {
    match t.seconds() as u64 {
        s @ 0..60 => format!("{s} s"),
        s @ 60..3600 => format!("{} min", s / 60),
        s => format!("{} h", s / 3600),
    }
}

/// A place in time: `1:04`, `1:02:03`.
pub(super) fn clock(t: Time) -> String {
    let s = t.seconds() as u64;
    if s < 3600 {
        format!("{}:{:02}", s / 60, s % 60)
    } else {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    }
}
