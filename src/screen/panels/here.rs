//! Where the music is: center and mode in large letters, home beside it where
//! it differs, and what is still open.
//!
//! Rows: a caption, the letters, a line in words.

use super::polymodal::polymodal_words;
use crate::engine::Established;
use crate::plain;
use crate::screen::claim::{self, Claim};
use crate::screen::large::{self, Size};
use crate::screen::layout::Sizes;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;
use crate::screen::wording::length;
use crate::time::Time;
use ratatui::style::Style;

pub(in crate::screen) fn draw(pen: &mut Pen, size: Sizes, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let glyphs = look.glyphs();
    let reading = picture.reading;
    let below = 1 + size.here.rows();
    let asleep = picture.asleep();

    let mut words = String::new();
    let mut left_end = 0;
    match reading.here {
        Some(e) => {
            left_end = tonality(pen, &e, size.here, look);
            words = match reading.polymodal {
                Some(polymodal) => polymodal_words(polymodal, look),
                None => open(&e, look),
            };
        }
        None => {
            let (big, small) = match reading.collection {
                _ if picture.hidden => ("?".to_owned(), "Which center, which mode?"),
                Some(c) => (format!("{}, no center", c.name()), ""),
                None if reading.begun => ("no center".to_owned(), ""),
                None => (
                    "no center yet".to_owned(),
                    "It shows here as soon as something is played.",
                ),
            };
            words.push_str(small);
            let fits = large::fitting(&big, size.here.min(Size::Eight), pen.width(), glyphs);
            large::write(
                pen,
                (0, top(size.here, fits)),
                &big,
                fits,
                styles.quiet,
                glyphs,
            );
        }
    }

    let x = caption(pen, picture, look);
    let words = fit_words(&words, pen.width(), glyphs);
    pen.put(0, below, &words, styles.strong);
    if let Some(home) = elsewhere(picture) {
        draw_home(pen, &home, (left_end, x), size, look);
    }
    if asleep.is_some() {
        // The caption tells about the present, and is not dimmed.
        pen.tint(1, below + 1, styles.asleep);
    }
}

/// The left side of the caption; what matters least is left out first where there is no
/// room. Home has the right side.
fn caption(pen: &mut Pen, picture: &Picture, look: &Look) -> u16 {
    let styles = look.styles();
    let mut parts: Vec<(String, Style)> = Vec::new();
    if let Some(age) = picture.frozen {
        parts.push((format!(" frozen {} ago ", length(age)), styles.banner));
    }
    if let Some(age) = picture.asleep().filter(|_| picture.reading.begun) {
        parts.push((format!("{} ago", length(age)), styles.strong));
    }
    if let Some(e) = picture.reading.here {
        let lasted = length(picture.moment().since(e.since));
        parts.push((format!("for {lasted}"), styles.text));
        if returned(picture, &e) {
            parts.push(("home again".to_owned(), styles.home));
        }
    }
    let room = match elsewhere(picture) {
        Some(_) => pen.width().saturating_sub(HOME),
        None => pen.width(),
    };
    let mut x = pen.put(0, 0, "here", styles.quiet);
    for (text, style) in parts {
        if x + 2 + columns(&text) <= room {
            x = pen.put(x + 2, 0, &text, style);
        }
    }
    x
}

/// Columns kept for home in the caption: `home: D Mixol`, and two before it.
const HOME: u16 = 15;

/// Home, where it is another tonality than here.
pub(in crate::screen) fn elsewhere(picture: &Picture) -> Option<Established> {
    let home = picture.reading.home?;
    match picture.reading.here {
        Some(here) if here.spelled.tonality.center == home.spelled.tonality.center => None,
        _ => Some(home),
    }
}

/// How long `home again` is shown.
const RETURN: Time = Time::millis(8000);

/// The music has come back to the center of home just now; home was there before.
fn returned(picture: &Picture, here: &Established) -> bool {
    let home = picture.reading.home.filter(|h| h.at < here.at);
    let home = home.map(|h| h.spelled.tonality.center);
    let at_home = home == Some(here.spelled.tonality.center);
    let before = picture.history.plan().regions.iter().rev();
    let before = before.map(|r| (r.spelled.tonality.center, r.start));
    let mut before = before.skip_while(|&(_, start)| start >= here.at);
    let away = before.next().is_some_and(|(c, _)| Some(c) != home);
    at_home && away && picture.moment().since(here.at) < RETURN
}

/// Smaller letters stand on the same base line as larger ones.
fn top(wanted: Size, taken: Size) -> u16 {
    1 + match taken {
        Size::One => wanted.rows() / 2,
        _ => wanted.rows() - taken.rows(),
    }
}

/// Center and mode in the largest size that has room; returns the column after.
///
/// The size is that of the longest mode that may be meant, so that the letters
/// stay as they are when it is decided. What is not decided is dim.
fn tonality(pen: &mut Pen, e: &Established, wanted: Size, look: &Look) -> u16 {
    let glyphs = look.glyphs();
    let styles = look.styles();
    let tonic = look.center(e.spelled);
    let modes = claim::modes(e.spelled.tonality, e.open, look);
    let own = modes.first().map_or("", String::as_str);
    let guess = format!("{own}?");
    let (mode, style) = match e.open.claim() {
        Claim::Decided => (own, styles.mode),
        Claim::Guess => (guess.as_str(), styles.asleep),
        Claim::Undecided => ("...", styles.asleep),
    };
    // With the question mark that a guess may have.
    let mark = if modes.len() > 1 { "?" } else { "" };
    let wholes = modes.iter().map(|m| format!("{tonic} {m}{mark}"));
    let longest = wholes
        .max_by_key(|w| large::width(w, Size::Four, glyphs))
        .unwrap_or_default();
    let size = large::fitting(&longest, wanted, pen.width(), glyphs);
    let y = top(wanted, size);
    if size == Size::One {
        let spaced = |s: &str| -> String { s.chars().flat_map(|c| [c, ' ']).collect() };
        let x = pen.put(0, y, &spaced(&tonic), styles.center);
        pen.put(x + 2, y, &spaced(mode), style);
        return columns(&spaced(&longest)) + 1;
    }
    let start = large::width(&format!("{tonic} "), size, glyphs);
    large::write(pen, (0, y), &tonic, size, styles.center, glyphs);
    large::write(pen, (start, y), mode, size, style, glyphs);
    large::width(&longest, size, glyphs)
}

/// On the right: in words in the caption, and as large as there is room.
fn draw_home(
    pen: &mut Pen,
    home: &Established,
    (letters_end, caption_end): (u16, u16),
    size: Sizes,
    look: &Look,
) {
    let styles = look.styles();
    let glyphs = look.glyphs();
    let name = claim::name(home.spelled, home.open, look);
    let room = pen.width().saturating_sub(caption_end + 2);
    let short = |letters| claim::short_name(home, letters, look);
    let names = [name.clone(), short(5), short(4), short(3)];
    let captions = names.map(|name| format!("home: {name}"));
    let fits = captions.iter().find(|c| columns(c) <= room);
    let caption = fits
        .cloned()
        .unwrap_or_else(|| fit(&captions[3], room, glyphs));
    pen.put_right(pen.width(), 0, &caption, styles.home);
    let room = pen.width().saturating_sub(letters_end + 4);
    let tonic = look.center(home.spelled);
    for text in [&name, &tonic] {
        let fits = large::fitting(text, size.home, room, glyphs);
        let wide = large::width(text, fits, glyphs);
        if fits > Size::One && wide <= room {
            let at = (pen.width() - wide, top(size.here, fits));
            large::write(pen, at, text, fits, styles.home, glyphs);
            return;
        }
    }
}

/// `6th not heard: Dorian or Aeolian`.
fn open(e: &Established, look: &Look) -> String {
    let degrees: Vec<String> = e.open.numbers().map(ordinal).collect();
    if degrees.is_empty() {
        return String::new();
    }
    let modes = claim::modes(e.spelled.tonality, e.open, look);
    let mut text = format!("{} not heard", plain::list(&degrees, "and"));
    if modes.len() > 1 {
        text.push_str(&format!(": {}", plain::list(&modes, "or")));
    }
    text
}

fn ordinal(n: u8) -> String {
    let end = match n {
        1 => "st",
        2 => "nd",
        3 => "rd",
        _ => "th",
    };
    format!("{n}{end}")
}
