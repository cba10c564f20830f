//! The two lines at the bottom: what the player should know, and how the notes
//! come in.

use crate::engine::Inertia;
use crate::meter::{BarBeat, BeatNote, Click};
use crate::screen::keys::Action;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words, wrapped_after};
use crate::screen::picture::Picture;
use crate::screen::wording::{clock, keyboard_name};
use crate::source::{Keeping, Link, Repeat, Transport};

/// The most rows that the notice takes: its own, and those above it while it is long.
pub(in crate::screen) const NOTICE: u16 = 3;

/// The notice, or nothing. It stands in the last row of the pen, and where it is long in the
/// rows above too, over what they show.
pub(in crate::screen) fn notice(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (styles, glyphs, w) = (look.styles(), look.glyphs(), pen.width());
    // Where each banner stands: one that no longer fits begins a row.
    let mut banners = Vec::new();
    let (mut x, mut row) = (0, 0);
    for text in picture.banners {
        let text = fit(&format!(" {text} "), w, glyphs);
        if x > 0 && x + columns(&text) > w {
            (x, row) = (0, row + 1);
        }
        let end = x + columns(&text);
        banners.push((x, row, text));
        x = end + 1;
    }
    let mut lines = Vec::new();
    if let Some(text) = &picture.source.notice {
        let room = w.saturating_sub(x);
        let first = text.split(' ').next().map_or(0, columns);
        // Behind the banners, unless so little room is left that it is better below.
        if x > 0 && columns(text) > room && (room < ROOM || first > room) {
            (x, row) = (0, row + 1);
        }
        lines = wrapped_after(text, x, w);
    }
    let rows = (row + lines.len() as u16).max(row + 1).min(pen.height());
    if banners.is_empty() && lines.is_empty() {
        return;
    }
    let top = pen.height() - rows;
    // What is covered would be read with it.
    pen.wipe(0, top, if rows > 1 { w } else { 0 }, rows, styles.ground());
    for (x, row, text) in banners {
        if row < rows {
            pen.put(x, top + row, &text, styles.banner);
        }
    }
    let shown = usize::from(rows.saturating_sub(row));
    for (i, line) in lines.iter().take(shown).enumerate() {
        let x = if i == 0 { x } else { 0 };
        let cut = i + 1 == shown && lines.len() > shown;
        let line = match cut {
            // The mark says that more was to come.
            true => fit_words(&lines[i..].join(" "), w - x, glyphs),
            false => line.clone(),
        };
        pen.put(x, top + row + i as u16, &line, styles.warning);
    }
}

/// The least room behind the banners that a notice too long for it begins in.
const ROOM: u16 = 24;

pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let glyphs = look.glyphs();
    let source = picture.source;
    let w = pen.width();
    // On the right, at fixed places: inertia and help.
    let word = if w < 100 { "" } else { "inertia " };
    let help = look.keys.first(Action::Help);
    let help = help.map_or(String::new(), |key| format!("  {} help", key.shown(glyphs)));
    let stop = picture.reading.inertia;
    let stops: String = Inertia::ALL
        .iter()
        .map(|&i| match i == stop {
            true => look.sign('●', 'O'),
            false => look.sign('·', '.'),
        })
        .collect();
    let stops = if w < 72 { String::new() } else { stops + " " };
    let right = format!("{word}{stops}{:<7}{help}", stop.name());
    let right_start = w.saturating_sub(columns(&right));
    pen.put(right_start, 0, &right, styles.quiet);

    // On the left as much as there is room for, the most important first.
    let room = right_start.saturating_sub(2);
    let mut parts = Vec::new();
    match source.link {
        Link::Keyboard if source.away > 0 => {
            let all = source.keyboards.len();
            let there = all.saturating_sub(source.away);
            parts.push((format!("{there} of {all} connected"), styles.warning));
        }
        Link::Keyboard => parts.push(("connected".into(), styles.text)),
        Link::Lost => parts.push(("unplugged".into(), styles.warning)),
        Link::None => parts.push(("no keyboard".into(), styles.warning)),
        Link::File => {}
    }
    if let Some(one) = picture.reading.harmony_from.one() {
        let name = keyboard_name(&source.keyboards, one);
        parts.push((format!("harmony from {name}"), styles.warning));
    }
    if source.dropped > 0 {
        parts.push((format!("{} dropped", source.dropped), styles.warning));
    }
    if let Some(t) = &source.transport {
        parts.push((transport(t, look), styles.text));
    }
    if let Some(file) = &source.recording {
        parts.push((
            format!("{} rec {file}", look.sign("●", "*")),
            styles.warning,
        ));
    }
    match source.keeping {
        Keeping::Off => {}
        Keeping::Ready => parts.push((look.sign("○ sitting", "o sitting").into(), styles.quiet)),
        Keeping::Growing => parts.push((look.sign("● sitting", "* sitting").into(), styles.text)),
        Keeping::Stuck => parts.push(("sitting not written".into(), styles.warning)),
    }
    if let Some(click) = source.click {
        let taken = parts.iter().map(|p: &(String, _)| columns(&p.0) + 2);
        let left = room.saturating_sub(taken.sum::<u16>() + NAME + 2);
        parts.push((clicked(click, left, look), styles.text));
    }
    let taken = parts.iter().fold(0u16, |sum, p| {
        sum.saturating_add(columns(&p.0)).saturating_add(2)
    });
    // The name of a file may give the answer away.
    let name = if picture.hidden { "" } else { &source.name };
    let name = fit(name, room.saturating_sub(taken).max(NAME), glyphs);
    let mut x = 0;
    if !name.is_empty() {
        x = pen.put(0, 0, &name, styles.strong) + 2;
    }
    for (text, style) in parts {
        let left = room.saturating_sub(x);
        if left < 4 {
            break;
        }
        x = pen.put(x, 0, &fit(&text, left, glyphs), style) + 2;
    }
}

/// The least room for the name of the keyboard or the file.
const NAME: u16 = 8;

/// `♩= 96  4/4  bar 3 beat 2`, or as much of it as there is room for, the place first.
fn clicked((click, place): (Click, BarBeat), room: u16, look: &Look) -> String {
    let Click { tempo, meter, .. } = click;
    let note = match meter.note() {
        BeatNote::Quarter => look.sign("♩=", "tempo"),
        BeatNote::Eighth => look.sign("♪=", "tempo"),
        BeatNote::DottedQuarter => look.sign("♩.=", "tempo"),
    };
    let BarBeat { bar, beat } = place;
    let place = format!("bar {bar} beat {}", beat.floor());
    let ways = [
        format!("{note} {tempo}  {meter}  {place}"),
        format!("{tempo}  {meter}  {place}"),
        place,
    ];
    let fits = ways.into_iter().find(|way| columns(way) <= room);
    fits.unwrap_or(format!("bar {bar}"))
}

/// `0:31/1:10 paused ×0.5 repeat 0:10–0:20`, or `0:31/1:10:00 going to 50:00, 40 %`.
fn transport(t: &Transport, look: &Look) -> String {
    let state = match t {
        Transport { ended: true, .. } => "ended  ",
        Transport { paused: true, .. } => "paused ",
        _ => "playing",
    };
    let state = t.going.map_or(state.into(), |going| {
        let percent = (100.0 * going.share) as u32;
        format!("going to {}, {percent} %", clock(going.to))
    });
    let mut text = format!("{}/{} {state}", clock(t.position), clock(t.duration));
    if t.speed != 1.0 {
        text.push_str(&format!(" {}{}", look.sign("×", "x"), t.speed));
    }
    let dash = look.sign("–", "-");
    match t.repeat {
        Repeat::Between(a, b) => text.push_str(&format!(" repeat {}{dash}{}", clock(a), clock(b))),
        Repeat::From(a) => text.push_str(&format!(" repeat from {}", clock(a))),
        Repeat::Off => {}
    }
    text
}
