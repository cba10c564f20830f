//! The help, over everything else: the keys in force and what the signs mean, in two
//! columns on a wide screen, on several pages on a small one.

use crate::screen::keys::{Action, HelpLine, TURNS, WORDS};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words, wrapped};
use crate::screen::picture::Picture;
use crate::theory::Glyphs;

/// On one line, or where the screen is narrow on two.
const CARE: [&str; 2] = [
    "Take breaks. If playing hurts, stop,",
    "and ask a professional if it goes on.",
];
/// Columns of the keys of an action: at least, and at most.
const KEYS: (u16, u16) = (6, 14);
/// Columns of a sign, before what it means.
const SIGN: u16 = 9;
/// Between two columns.
const GAP: u16 = 2;
/// Beside the text, with and without a frame.
const MARGIN: u16 = 2;

/// Whether the help is open, and where.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::screen) struct HelpView {
    open: bool,
    page: usize,
}

impl HelpView {
    pub fn is_open(&self) -> bool {
        self.open
    }

    /// Opens it, goes to the next of `pages` pages, and closes it after the last.
    pub fn press(&mut self, pages: usize) {
        *self = match self.open && self.page + 1 < pages {
            true => HelpView {
                open: true,
                page: self.page + 1,
            },
            false => HelpView {
                open: !self.open,
                page: 0,
            },
        };
    }

    /// The next of `pages` pages; after the last the first.
    pub fn turn(&mut self, pages: usize) {
        self.page = (self.page + 1) % pages.max(1);
    }

    pub fn close(&mut self) {
        *self = HelpView::default();
    }
}

/// How the lines are laid out in the room there is.
#[derive(Clone, Copy)]
struct Layout {
    columns: usize,
    rows: usize,
    /// Columns of the keys, and of one column of lines.
    keys: u16,
    wide: u16,
}

impl Layout {
    fn new(lines: &[(String, &str)], width: u16, rows: u16) -> Layout {
        let keys = lines.iter().map(|l| columns(&l.0)).max().unwrap_or(0);
        let keys = keys.clamp(KEYS.0, KEYS.1);
        let half = width.saturating_sub(GAP) / 2;
        // Keys may be cut before a second column is given up.
        let (columns, keys) = match half.checked_sub(WORDS + 1) {
            Some(room) if room >= KEYS.0 => (2, keys.min(room)),
            _ => (1, keys),
        };
        Layout {
            columns,
            rows: usize::from(rows.max(1)),
            keys,
            wide: keys + 1 + WORDS,
        }
    }

    /// Number of rows that these lines need on one page.
    fn down(&self, lines: usize) -> usize {
        lines.div_ceil(self.columns).min(self.rows)
    }

    /// Shares keys and signs out among pages.
    fn pages(&self, lines: usize, legend: &[(&str, String)]) -> Pages {
        let per_page = self.columns * self.rows;
        let keys = lines.div_ceil(per_page).max(1);
        // A blank row between them.
        let used = self.down(lines - (keys - 1) * per_page) + 1;
        let mut first = self.rows.saturating_sub(used).min(legend.len());
        // No sign without all of its words.
        while legend.get(first).is_some_and(|row| row.0.is_empty()) {
            first -= 1;
        }
        let of = |signs: usize| signs.div_ceil(self.rows);
        // Signs are told apart from keys unless that costs a page.
        if of(legend.len() - first) == of(legend.len()) {
            first = 0;
        }
        Pages {
            keys,
            first,
            signs: of(legend.len() - first),
        }
    }
}

/// What is on which page.
#[derive(Clone, Copy)]
struct Pages {
    /// Pages with keys.
    keys: usize,
    /// Rows of signs below the last keys.
    first: usize,
    /// Further pages, with signs alone.
    signs: usize,
}

impl Pages {
    fn count(self) -> usize {
        self.keys + self.signs
    }
}

/// Returns how many pages it has at this size.
pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    view: &HelpView,
    look: &Look,
) -> usize {
    let styles = look.styles();
    let glyphs = look.glyphs();
    let file = picture.source.transport.is_some();
    let lines: Vec<(String, &str)> = look
        .keys
        .lines()
        .filter(|l| file || !l.file)
        .map(|l| (shown(&l, glyphs), l.words))
        .collect();
    let held = look.sign("◆ ● ▲", "* O X");
    let pedalled = look.sign("◇ ○ △", "+ o x");
    let mut signs = vec![
        (held, "held: center, in the mode, outside it"),
        (pedalled, "held by the pedal alone"),
        (
            look.sign("━━╌╌", "==.."),
            "leaning: half, as likely as what is here; full, it takes over",
        ),
        (
            look.sign("█ ▓ ░ ·", "# + : ."),
            "history: at home, away from home, an aside, silence",
        ),
        (
            look.sign("≠ •", "! *"),
            "differs from the parallel major or minor; the mode's characteristic note",
        ),
        (
            look.sign("[ ] ( )", "[ ] ( )"),
            "what sounds or is here; what is heard while another is pinned",
        ),
        (
            look.sign("═ ━ ┄", "= - ."),
            "looking back: at what was home then, away from it, home meanwhile",
        ),
        (
            look.sign("▲ ▼", "^ v"),
            "looking back: the plan goes on at the other edge of the lanes",
        ),
        (
            look.sign("▾ ╵", "v '"),
            "a marker: what it is about, and where it was set",
        ),
        (
            look.sign("⌂ ×", "@ x"),
            "what you said is home, and where you took it back",
        ),
    ];
    let opened = picture.source.opened.as_ref();
    if opened.is_some_and(|opened| opened.corrected.is_some()) {
        signs.push((
            look.sign("━ ─", "= -"),
            "yours: where you corrected the plan, and where it is as in hindsight",
        ));
    }
    let room = pen.width().saturating_sub(2 * MARGIN);
    let whole = CARE.join(" ");
    let care = match columns(&whole) <= room {
        true => vec![whole.as_str()],
        false => CARE.to_vec(),
    };

    // The signs stand below the last keys where that saves a page, else on pages of their
    // own. The foot is on every page. A frame only where it costs no page; without one a
    // title tells the pages.
    let legend = legend(&signs, room);
    let laid_out = |told: usize, titled: u16| {
        let with = |edges: u16| {
            let foot = (told + care.len()) as u16 + edges;
            let layout = Layout::new(&lines, room, pen.height().saturating_sub(foot));
            let own = if told > 0 { &[][..] } else { legend.as_slice() };
            (layout, layout.pages(lines.len(), own))
        };
        let (framed, bare) = (with(2), with(titled));
        let frame = framed.1.count() == bare.1.count();
        (if frame { framed } else { bare }, frame)
    };
    let whole = laid_out(legend.len(), 0);
    let one = whole.0.1.count() == 1;
    let ((layout, shared), frame) = if one { whole } else { laid_out(0, 1) };
    let pages = shared.count();
    let told = if one { legend.as_slice() } else { &[] };
    let foot = (told.len() + care.len()) as u16;
    let page = view.page.min(pages - 1);
    let both = page + 1 == shared.keys && shared.first > 0;
    let name = match page < shared.keys {
        true if both => "Keys and signs",
        true => "Keys",
        false => "Signs",
    };
    let title = match pages {
        1 => "Keys and signs".to_owned(),
        n => format!("{name}, page {} of {n}: {} turns", page + 1, turning(look)),
    };

    // All pages are as high as the longest, so that nothing jumps when they turn.
    let per_page = layout.columns * layout.rows;
    let signs_below = match shared.first {
        0 => 0,
        first => layout.down(lines.len() - (shared.keys - 1) * per_page) + 1 + first,
    };
    let signs_alone = match shared.signs {
        0 => 0,
        _ => (legend.len() - shared.first).min(layout.rows),
    };
    let rows = layout.down(lines.len()).max(signs_below).max(signs_alone);
    let titled = (frame || pages > 1) as u16;
    let high = rows as u16 + foot + titled + frame as u16;
    // Air before the foot, where there is some to spare.
    let air = [u16::from(one), 1];
    let air = air.map(|n| n * (high + 2 <= pen.height()) as u16);
    let height = (high + air[0] + air[1]).min(pen.height());
    let keys_wide = layout.wide * layout.columns as u16 + GAP * (layout.columns as u16 - 1);
    let wide = legend.iter().map(|(_, words)| SIGN + columns(words));
    let wide = wide.fold(keys_wide, u16::max);
    let wide = care.iter().map(|c| columns(c)).fold(wide, u16::max);
    // Without a frame all of the width is wiped, so that nothing beside it seems part of it.
    let width = match frame {
        false => pen.width(),
        true => (wide + 2 * MARGIN).min(pen.width()),
    };
    let (x, y) = ((pen.width() - width) / 2, (pen.height() - height) / 2);
    pen.wipe(x, y, width, height, styles.ground());
    if frame {
        frame_at(pen, (x, y), (width, height), look);
        let title = format!(" {title} ");
        pen.put(
            x + MARGIN,
            y,
            &fit(&title, width.saturating_sub(4), glyphs),
            styles.strong,
        );
    } else if titled > 0 {
        pen.put(x + MARGIN, y, &fit(&title, room, glyphs), styles.strong);
    }
    let left = x + MARGIN;
    let top = y + titled;
    let shown = lines.iter().skip(page * per_page).take(per_page);
    let down = layout.down(shown.len());
    for (i, (keys, words)) in shown.enumerate() {
        let (column, row) = (i / down, i % down);
        let x = left + column as u16 * (layout.wide + GAP);
        let y = top + row as u16;
        let style = match keys.is_empty() {
            true => styles.quiet,
            false => styles.strong,
        };
        let keys = if keys.is_empty() { "no key" } else { keys };
        pen.put(x, y, &fit(keys, layout.keys, glyphs), style);
        let gone = (x - left) + layout.keys + 1;
        let words = fit(words, room.saturating_sub(gone), glyphs);
        pen.put(x + layout.keys + 1, y, &words, styles.text);
    }
    let sign = |pen: &mut Pen, y: u16, (sign, words): &(&str, String)| {
        pen.put(left, y, sign, styles.text);
        pen.put(left + SIGN, y, words, styles.text);
    };
    if both {
        let below = top + down as u16 + 1;
        for (y, row) in (below..).zip(&legend[..shared.first]) {
            sign(pen, y, row);
        }
    } else if let Some(page) = page.checked_sub(shared.keys) {
        let shown = legend.iter().skip(shared.first + page * layout.rows);
        for (y, row) in (top..).zip(shown.take(layout.rows)) {
            sign(pen, y, row);
        }
    }
    let mut row = top + rows as u16 + air[0];
    for line in told {
        sign(pen, row, line);
        row += 1;
    }
    row += air[1];
    for words in care {
        pen.put(left, row, &fit_words(words, room, glyphs), styles.strong);
        row += 1;
    }
    pages
}

/// The signs with what they mean, a row each, or more where the words are wrapped.
fn legend<'a>(signs: &[(&'a str, &str)], room: u16) -> Vec<(&'a str, String)> {
    let rows = signs.iter().flat_map(|&(sign, words)| {
        let words = wrapped(words, room.saturating_sub(SIGN).max(1));
        let first = move |i| if i == 0 { sign } else { "" };
        words
            .into_iter()
            .enumerate()
            .map(move |(i, words)| (first(i), words))
    });
    rows.collect()
}

/// The keys of an action, as many as have room.
fn shown(line: &HelpLine, glyphs: Glyphs) -> String {
    let mut text = String::new();
    for key in &line.keys {
        let key = key.shown(glyphs);
        if text.is_empty() {
            text = key;
        } else if columns(&text) + 1 + columns(&key) <= KEYS.1 {
            text = format!("{text} {key}");
        }
    }
    text
}

/// What turns the pages.
fn turning(look: &Look) -> String {
    let space = TURNS.shown(look.glyphs());
    match look.keys.first(Action::Help) {
        Some(key) => format!("{space} or {}", key.shown(look.glyphs())),
        None => space,
    }
}

fn frame_at(pen: &mut Pen, (x, y): (u16, u16), (width, height): (u16, u16), look: &Look) {
    if width < 2 || height < 2 {
        return;
    }
    let style = look.styles().quiet;
    let (across, down) = look.sign(('─', '│'), ('-', '|'));
    let corners = look.sign(['╭', '╮', '╰', '╯'], ['+'; 4]);
    let (right, bottom) = (x + width - 1, y + height - 1);
    pen.line(x, y, width, across, style);
    pen.line(x, bottom, width, across, style);
    for row in y + 1..bottom {
        pen.dot(x, row, down, style);
        pen.dot(right, row, down, style);
    }
    let places = [(x, y), (right, y), (x, bottom), (right, bottom)];
    for ((x, y), c) in places.into_iter().zip(corners) {
        pen.dot(x, y, c, style);
    }
}
