//! The list of sittings, and one of them in detail, as text and as JSON.

use crate::plain;
use crate::sittings::{Folder, Heading, Sitting, Stay};
use crate::time::Time;
use serde::Serialize;
use std::borrow::Cow;
use std::fmt::Write;
use textwrap::core::display_width;
use unicode_width::UnicodeWidthChar;

/// Columns of the longest title that is not cut.
const TITLE: usize = 32;
/// Columns that the way through the centers has at least.
const WAY: usize = 12;

/// A line for each, of `width` columns if there is a limit.
pub fn list_text(list: &[Heading], width: Option<usize>) -> String {
    let titles = list.iter().map(|s| cut(&plain::name(s.title()), TITLE));
    let titles: Vec<(String, usize)> = titles
        .map(|title| {
            let width = display_width(&title);
            (title, width)
        })
        .collect();
    let widest = titles.iter().map(|title| title.1).max().unwrap_or_default();
    let mut text = String::new();
    for (s, (title, title_width)) in list.iter().zip(titles) {
        let gap = widest - title_width;
        let line = format!(
            "{title}{:gap$}  {}  {:>7}  {:>6} notes  ",
            "",
            s.date,
            length(s.seconds),
            s.notes
        );
        let mut tail = String::new();
        if !s.tags.is_empty() {
            let _ = write!(tail, "  [{}]", plain::name(&s.tags.join(", ")));
        }
        if s.cut_off {
            tail += "  cut off";
        }
        if s.corrections > 0 {
            tail += "  corrected";
        }
        let room = width.map(|width| {
            let used = display_width(&line) + display_width(&tail);
            width.saturating_sub(used).max(WAY)
        });
        let _ = writeln!(text, "{}", (line + &way(&s.way, room) + &tail).trim_end());
    }
    text
}

/// As much of the way through the tonalities as goes into `room` columns, if there is a limit.
fn way(whole: &str, room: Option<usize>) -> Cow<'_, str> {
    let Some(room) = room.filter(|room| *room < display_width(whole)) else {
        return whole.into();
    };
    for (end, _) in whole.rmatch_indices(Heading::TO) {
        let part = format!("{}{}…", &whole[..end], Heading::TO);
        if display_width(&part) <= room {
            return part.into();
        }
    }
    cut(whole, room).into()
}

/// The beginning of a text that is too long, with `…`.
fn cut(text: &str, columns: usize) -> String {
    if display_width(text) <= columns {
        return text.to_owned();
    }
    let mut short = String::new();
    let mut left = columns.saturating_sub(1);
    for c in text.chars() {
        let wide = c.width().unwrap_or_default();
        if wide > left {
            break;
        }
        left -= wide;
        short.push(c);
    }
    short + "…"
}

/// In minutes and seconds, or with hours: `4:12`, `1:04:12`.
pub fn length(seconds: f64) -> String {
    let seconds = seconds as u64;
    let (hours, minutes) = (seconds / 3600, seconds / 60);
    match hours {
        0 => format!("{minutes}:{:02}", seconds % 60),
        _ => format!("{hours}:{:02}:{:02}", minutes % 60, seconds % 60),
    }
}

/// One sitting in detail.
pub fn show_text(s: &Sitting, folder: &Folder) -> String {
    head_text(s, folder)
        + &stays_text("here", &s.here)
        + &stays_text("home", &s.home)
        + &markers_text(s)
}

/// What is known of a sitting but its plan.
pub fn head_text(s: &Sitting, folder: &Folder) -> String {
    let mut text = format!("{}\n", plain::name(s.title()));
    let mut row = |what: &str, says: &str| {
        let _ = writeln!(text, "  {what:<8}{says}");
    };
    row("id", &plain::name(&s.id));
    row("played", &s.date());
    row("length", &length(s.seconds));
    row("notes", &s.notes.to_string());
    if !s.tags.is_empty() {
        row("tags", &plain::name(&s.tags.join(", ")));
    }
    if s.cut_off {
        row("cut off", "the program stopped before it ended");
    }
    match s.corrections {
        0 => {}
        1 => row("plan", "corrected once; --plan corrected shows it"),
        times => row(
            "plan",
            &format!("corrected {times} times; --plan corrected shows it"),
        ),
    }
    row("file", &plain::path(&folder.path(&s.id)));
    text
}

/// A part of a plan, under its title.
pub fn stays_text(what: &str, stays: &[Stay]) -> String {
    let mut text = String::new();
    if !stays.is_empty() {
        let _ = writeln!(text, "\n{what}");
    }
    for stay in stays {
        let [from, to] = [stay.start, stay.end].map(|t| Time::from_seconds(t).to_string());
        let _ = writeln!(text, "  {from:>8}  {to:>8}  {}", stay.label);
    }
    text
}

/// The player's markers, under their title.
pub fn markers_text(s: &Sitting) -> String {
    let mut text = String::new();
    if !s.markers.is_empty() {
        text += "\nmarkers\n";
    }
    for (at, name) in &s.markers {
        let at = Time::from_seconds(*at).to_string();
        let _ = writeln!(text, "  {at:>8}  {}", plain::name(name));
    }
    text
}

/// A sitting for a program.
#[derive(Serialize)]
pub struct Shown<'s> {
    id: &'s str,
    name: Option<&'s str>,
    tags: &'s [String],
    begun: Option<&'s str>,
    seconds: f64,
    notes: u64,
    cut_off: bool,
    corrections: u64,
    here: Vec<ShownStay<'s>>,
    home: Vec<ShownStay<'s>>,
    markers: Vec<ShownMarker<'s>>,
    file: String,
    bytes: u64,
}

#[derive(Serialize)]
struct ShownStay<'s> {
    start: f64,
    end: f64,
    center: u8,
    mode: &'s str,
    label: &'s str,
}

#[derive(Serialize)]
struct ShownMarker<'s> {
    at: f64,
    name: &'s str,
}

impl Shown<'_> {
    pub fn of<'s>(s: &'s Sitting, folder: &Folder) -> Shown<'s> {
        let stays = |stays: &'s [Stay]| {
            let shown = stays.iter().map(|s| ShownStay {
                start: s.start,
                end: s.end,
                center: s.center,
                mode: &s.mode,
                label: &s.label,
            });
            shown.collect()
        };
        let markers = s.markers.iter();
        Shown {
            id: &s.id,
            name: s.name.as_deref(),
            tags: &s.tags,
            begun: s.begun.as_deref(),
            seconds: s.seconds,
            notes: s.notes,
            cut_off: s.cut_off,
            corrections: s.corrections,
            here: stays(&s.here),
            home: stays(&s.home),
            markers: markers
                .map(|(at, name)| ShownMarker { at: *at, name })
                .collect(),
            file: folder.path(&s.id).display().to_string(),
            bytes: s.size,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heading() -> Heading {
        sitting().heading()
    }

    fn sitting() -> Sitting {
        let stay = |start, label: &str| Stay {
            start,
            end: start + 10.0,
            center: 2,
            mode: "dorian".into(),
            label: label.into(),
        };
        Sitting {
            id: "2026-11-29_20-15-03".into(),
            begun: Some("2026-11-29T20:15:03+01:00".into()),
            seconds: 252.9,
            notes: 834,
            here: vec![
                stay(0.0, "D Dorian"),
                stay(10.0, "D Dorian"),
                stay(20.0, "F Lydian"),
                stay(30.0, "D Dorian"),
            ],
            ..Sitting::default()
        }
    }

    #[test]
    fn a_line_for_each() {
        let named = Heading {
            name: Some("Rain\u{1b}".into()),
            tags: vec!["blue".into(), "slow".into()],
            cut_off: true,
            seconds: 3852.0,
            ..heading()
        };
        let wanted = "\
2026-11-29_20-15-03  2026-11-29 20:15     4:12     834 notes  D Dorian – F Lydian – D Dorian
Rain\\x1b             2026-11-29 20:15  1:04:12     834 notes  D Dorian – F Lydian – D Dorian  [blue, slow]  cut off
";
        assert_eq!(list_text(&[heading(), named], None), wanted);
        let narrow = list_text(&[heading()], Some(90));
        assert!(narrow.ends_with("  D Dorian – F Lydian – …\n"), "{narrow}");
        for columns in [75, 80, 90, 100] {
            let narrow = list_text(&[heading()], Some(columns));
            assert!(display_width(narrow.trim_end()) <= columns, "{narrow}");
        }
        // What is cut is never what says which sitting it is.
        let least = list_text(&[heading()], Some(20));
        assert!(least.ends_with("notes  D Dorian – …\n"), "{least}");
    }

    #[test]
    fn lengths() {
        let all = [
            (0.0, "0:00"),
            (59.99, "0:59"),
            (252.0, "4:12"),
            (3600.0, "1:00:00"),
        ];
        for (seconds, shown) in all {
            assert_eq!(length(seconds), shown);
        }
    }
}
