//! The list of the sittings of other days, over everything else: a row each, with its way
//! through the centers as the history would draw it.

use crate::listing::{Listing, Opening, Progress, Row, Stretch};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words, wrapped};
use crate::screen::picture::Picture;
use crate::screen::sittings::SittingList;
use crate::screen::wording::{clock, number, room};
use crate::source::Keeping;
use crate::theory::Glyphs;
use crate::time::Time;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Rows above the list: how many there are, what is typed, captions.
const HEAD: u16 = 3;
/// Rows below it: the chosen one in words, and the keys.
const FOOT: u16 = 2;
/// The lines at the bottom of the screen, which stay.
pub(in crate::screen) const BELOW: u16 = 2;
/// Where the date, the length and the way begin.
const DATE: u16 = 2;
const LENGTH: (u16, u16) = (20, 27);
const WAY: u16 = 29;
/// Columns of the way: at least, and at most.
const WIDE: (u16, u16) = (12, 60);
/// Columns of the number of markers.
const MARKERS: u16 = 5;

/// Where the rows are, over everything on the screen but the lines at its bottom.
pub(in crate::screen) fn rows(screen: Rect) -> Rect {
    Rect {
        y: screen.y + HEAD,
        height: screen.height.saturating_sub(HEAD + FOOT + BELOW),
        ..screen
    }
}

pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, list: &SittingList, look: &Look) {
    let styles = look.styles();
    let (w, h) = (pen.width(), pen.height());
    pen.wipe(0, 0, w, h, styles.ground());
    let listing = list.listing();
    let how_far = how_far(listing);
    pen.put_right(w.saturating_sub(1), 0, &how_far, styles.quiet);
    let left = w.saturating_sub(columns(&how_far) + 3);
    let title = fit(&how_many(list), left, look.glyphs());
    pen.put(1, 0, &title, styles.strong);
    let cursor = look.sign('▏', '_');
    pen.put(
        1,
        1,
        &format!("find: {}{cursor}", list.typed()),
        styles.text,
    );
    let wide = (w.saturating_sub(WAY) / 3).clamp(WIDE.0, WIDE.1);
    let name = WAY + wide + 1 + MARKERS + 1;
    for (x, caption) in [
        (DATE, "played"),
        (LENGTH.0 + 1, "length"),
        (WAY, "centers"),
        (name, "name"),
    ] {
        pen.put(x, 2, caption, styles.quiet);
    }
    let foot = h.saturating_sub(FOOT);
    let rows = foot.saturating_sub(HEAD);
    for (y, (row, chosen)) in (HEAD..).zip(list.shown(rows.into())) {
        let style = if chosen { styles.lit } else { styles.text };
        if chosen {
            pen.put(0, y, look.sign("▸", ">"), style);
        }
        pen.put(DATE, y, &row.date, style);
        pen.put_right(LENGTH.1, y, &clock(row.length), style);
        way(pen, (WAY, y), wide, row, look);
        if !row.markers.is_empty() {
            let count = format!("{}{}", look.sign('▾', 'v'), row.markers.len());
            pen.put_right(WAY + wide + 1 + MARKERS, y, &count, style);
        }
        about(pen, (name, y), row, (style, look));
    }
    if list.found() == 0 {
        let says = wrapped(&nothing(list, picture), w.saturating_sub(DATE + 1));
        for (y, line) in (HEAD..foot).zip(says) {
            pen.put(DATE, y, &line, styles.text);
        }
    }
    let space = w.saturating_sub(2);
    let words = list.chosen().map(|row| in_words(row, look));
    let words = fit_words(&words.unwrap_or_default(), space, look.glyphs());
    pen.put(1, foot, &words, styles.quiet);
    let (last, style) = last(list, look);
    pen.put(1, foot + 1, &fit_words(&last, space, look.glyphs()), style);
}

/// `214 sittings, 12 MB`, or `3 of 214 sittings, 12 MB`.
fn how_many(list: &SittingList) -> String {
    let listing = list.listing();
    let noun = if listing.count == 1 {
        "sitting"
    } else {
        "sittings"
    };
    if listing.count == 0 && listing.progress != Progress::Done {
        return "sittings".into();
    }
    let all = format!("{} {noun}, {}", number(listing.count), room(listing.bytes));
    match (list.typed().trim().is_empty(), listing.count) {
        (false, 1..) => format!("{} of {all}", number(list.found())),
        _ => all,
    }
}

/// How far the list has been read.
fn how_far(listing: &Listing) -> String {
    match listing.progress {
        Progress::Reading { done, of } => format!("reading {} of {}", number(done), number(of)),
        Progress::Started if listing.rows.len() < listing.count => "reading".into(),
        _ => String::new(),
    }
}

/// Why there is no row.
fn nothing(list: &SittingList, picture: &Picture) -> String {
    let listing = list.listing();
    match (&listing.progress, picture.source.keeping) {
        (Progress::Failed(why), _) => format!("The sittings cannot be listed: {why}."),
        _ if listing.count > 0 && !listing.rows.is_empty() => {
            "No sitting matches what you typed.".into()
        }
        (Progress::Started | Progress::Reading { .. }, _) => "The list is being read.".into(),
        (Progress::Done, Keeping::Growing | Keeping::Stuck) => {
            "There are no sittings yet: the one that is going on is listed when it has ended."
                .into()
        }
        (Progress::Done, Keeping::Ready) => {
            "There are no sittings yet: the next note begins one.".into()
        }
        (Progress::Done, Keeping::Off) => "There are no sittings yet.".into(),
    }
}

/// What is wrong, or else the keys.
fn last(list: &SittingList, look: &Look) -> (String, Style) {
    let styles = look.styles();
    let listing = list.listing();
    match &listing.opening {
        Opening::Failed(why) => {
            return (
                format!("This sitting cannot be opened: {why}."),
                styles.warning,
            );
        }
        Opening::Reading => return ("The sitting is being read.".into(), styles.text),
        Opening::None => {}
    }
    if let Some(said) = listing.said.first() {
        let more = match listing.said.len() {
            1 => String::new(),
            n => format!(" (and {} more)", n - 1),
        };
        return (format!("{said}{more}"), styles.warning);
    }
    let arrows = look.sign("↑ ↓", "Up Down");
    let keys = format!("letters: find  {arrows}: choose  Enter: open  Esc: close");
    (keys, styles.quiet)
}

/// Name and tags, and whether it was corrected or cut off.
fn about(pen: &mut Pen, (x, y): (u16, u16), row: &Row, (style, look): (Style, &Look)) {
    let tags = (!row.tags.is_empty()).then(|| format!("[{}]", row.tags.join(", ")));
    let states = match (row.corrected, row.cut_off) {
        (true, true) => "corrected, cut off",
        (true, false) => "corrected",
        (false, true) => "cut off",
        (false, false) => "",
    };
    let more = format!("{} {states}", tags.unwrap_or_default());
    let more = more.trim();
    let glyphs = look.glyphs();
    let room = pen.width().saturating_sub(x + 1);
    let name = fit(row.name.as_deref().unwrap_or_default(), room, glyphs);
    let end = match name.is_empty() {
        true => x,
        false => pen.put(x, y, &name, style) + 1,
    };
    let room = pen.width().saturating_sub(end + 1);
    // Less than this says nothing.
    if room >= 4 {
        pen.put(end, y, &fit(more, room, glyphs), look.styles().quiet);
    }
}

/// The way through the centers on so many columns, in the signs of the history: each
/// center is named where it begins, if that has room.
fn way(pen: &mut Pen, (x, y): (u16, u16), wide: u16, row: &Row, look: &Look) {
    let styles = look.styles();
    let end = row.way.iter().map(|s| s.end).chain([row.length]).max();
    let whole = end.unwrap_or_default().0.max(1);
    let column = |at: Time| {
        let column = u128::from(at.0.min(whole)) * u128::from(wide) / u128::from(whole);
        column as u16
    };
    pen.line(x, y, wide, look.sign('·', '.'), styles.quiet);
    let mut said = None;
    for stretch in &row.way {
        let (a, b) = (column(stretch.start), column(stretch.end));
        let (c, style) = match stretch.at_home {
            true => (look.sign('█', '#'), styles.home),
            false => (look.sign('▓', '+'), styles.away),
        };
        pen.line(x + a, y, b.saturating_sub(a), c, style);
        if a >= b {
            continue;
        }
        let center = stretch.spelled.map(|t| t.tonic);
        let name = center
            .filter(|_| said != Some(center))
            .map(|tonic| look.notation.name(tonic));
        match name.filter(|name| columns(name) < b - a) {
            Some(name) => {
                let end = pen.put(x + a, y, &name, styles.strong);
                // In ASCII a sharp looks like the line.
                if name.ends_with('#') && end < x + b {
                    pen.dot(end, y, '|', style);
                }
                said = Some(center);
            }
            // A notch tells it from what was before.
            None if a > 0 => {
                pen.dot(x + a, y, look.sign('▐', '|'), style);
                said = said.filter(|said| *said == center);
            }
            None => {}
        }
    }
}

/// Its tonalities in order, and its markers.
fn in_words(row: &Row, look: &Look) -> String {
    let mut names: Vec<String> = Vec::new();
    let spelled = |s: &Stretch| s.spelled;
    for spelled in row.way.iter().filter_map(spelled) {
        let name = look.notation.tonality(spelled, look.catalogue);
        if names.last() != Some(&name) {
            names.push(name);
        }
    }
    let dash = match look.glyphs() {
        Glyphs::Unicode => " – ",
        Glyphs::Ascii => " - ",
    };
    let mut words = names.join(dash);
    if !row.markers.is_empty() {
        let gap = if words.is_empty() { "" } else { "   " };
        let sign = look.sign('▾', 'v');
        words += &format!("{gap}{sign} {}", row.markers.join(", "));
    }
    words
}
