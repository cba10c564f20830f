//! The history: which tonality was established when, home below it, rests,
//! asides, markers and what the player said, on a scale of time.

use crate::plan::Region;
use crate::screen::claim;
use crate::screen::large::{self, Size};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns};
use crate::screen::picture::Picture;
use crate::screen::timeline::{self, Columns, Drawn, TimelineView};
use crate::screen::transition::Transition;
use crate::screen::wording::abbreviated;
use crate::theory::Spelling;
use ratatui::style::Style;

/// Columns of the rows' names.
const GUTTER: u16 = 6;

/// Returns the columns of time that are drawn; none where there is no room.
pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    view: &TimelineView,
    look: &Look,
) -> Option<Drawn> {
    let h = pen.height();
    if pen.width() < GUTTER + 10 || h < 3 {
        return None;
    }
    let styles = look.styles();
    let window = Columns::new(pen.width() - GUTTER, view, picture);

    // From the top: scale, markers, and where there is room what changed and the chords;
    // names, the bar (as tall as there is room), home.
    let markers = h >= 5 || (h >= 4 && !picture.markers.is_empty());
    let moves = h >= 8;
    let chords = h >= 7;
    timeline::scale(pen, (GUTTER, 0), &window, view, look);
    let mut y = 1;
    if markers {
        timeline::markers(pen, (GUTTER, y), 1, &window, picture, look);
        y += 1;
    }
    if chords {
        pen.put(0, y, "chord", styles.quiet);
        draw_chords(pen, y, &window, picture, look);
        y += 1;
    }
    if moves {
        pen.put(0, y, "moved", styles.quiet);
        draw_transitions(pen, y, &window, picture, look);
        y += 1;
    }
    let home = h.saturating_sub(y) >= 3;
    let left = h.saturating_sub(y + home as u16);
    // Large names where the bar still has a row.
    let size = match left {
        5.. if !look.ascii() => Size::Four,
        _ => Size::One,
    };
    let bar = left.saturating_sub(size.rows()).clamp(1, 2);
    pen.put(0, y + size.rows() - 1, "here", styles.quiet);
    let bar_top = y + size.rows();
    let plan = picture.history.plan();
    for (_, r) in window.regions(&plan.regions) {
        let (c, style) = match at_home(&plan.home, r) {
            true => (look.sign('█', '#'), styles.home),
            false => (look.sign('▓', '+'), styles.away),
        };
        if let Some((a, b)) = window.part(r.start, r.end) {
            for row in bar_top..bar_top + bar {
                pen.line(GUTTER + a, row, b - a, c, style);
                // A notch at its beginning tells it from the region before.
                if window.at(r.start) == Some(a) && a > 0 {
                    pen.dot(GUTTER + a, row, look.sign('▐', '|'), style);
                }
            }
        }
    }
    for (a, b) in picture.history.rests() {
        if let Some((a, b)) = window.rest(a, b) {
            for row in bar_top..bar_top + bar {
                pen.line(GUTTER + a, row, b - a, ' ', styles.text);
            }
            pen.line(
                GUTTER + a,
                bar_top + bar - 1,
                b - a,
                look.sign('·', '.'),
                styles.quiet,
            );
        }
    }
    let mut asides = Vec::new();
    for (a, b) in picture.history.asides() {
        if let Some((a, b)) = window.part(a, b) {
            for row in bar_top..bar_top + bar {
                pen.line(GUTTER + a, row, b - a, look.sign('░', ':'), styles.faint);
            }
            if b - a > columns("aside") {
                pen.put(GUTTER + a, bar_top - 1, "aside", styles.quiet);
            }
            asides.push(a);
        }
    }
    names(
        pen,
        (y, size),
        &plan.regions,
        (&window, &asides),
        (look, styles.strong),
    );
    if home {
        let y = bar_top + bar;
        pen.put(0, y, "home", styles.quiet);
        for (_, r) in window.regions(&plan.home) {
            if let Some((a, b)) = window.part(r.start, r.end) {
                pen.line(GUTTER + a, y, b - a, look.sign('─', '-'), styles.home);
            }
        }
        let stated = draw_stated(pen, y, &window, picture, look);
        names(
            pen,
            (y, Size::One),
            &plan.home,
            (&window, &stated),
            (look, styles.home),
        );
    }
    Some(Drawn::new(pen.left() + GUTTER, window, picture))
}

/// Whether a region's center is that of home.
pub(in crate::screen) fn at_home(home: &[Region], r: &Region) -> bool {
    let home = home.iter().rev().find(|h| h.start <= r.start);
    home.is_none_or(|h| h.spelled.tonality.center == r.spelled.tonality.center)
}

/// The sign of what the player said is home, a note, and of taking it back, none.
pub(in crate::screen) fn stated_sign(note: Option<Spelling>, look: &Look) -> char {
    match note {
        Some(_) => look.sign('⌂', '@'),
        None => look.sign('×', 'x'),
    }
}

/// What the player said is home, where it was said, with the note; where it was taken
/// back, the sign alone. Returns the columns.
fn draw_stated(
    pen: &mut Pen,
    y: u16,
    window: &Columns,
    picture: &Picture,
    look: &Look,
) -> Vec<u16> {
    let style = look.styles().strong;
    let mut taken: Vec<u16> = Vec::new();
    for &(at, note) in picture.history.stated() {
        let Some(x) = window.past(at) else {
            continue;
        };
        let name = note.map(|n| look.notation.name(n)).unwrap_or_default();
        let text = format!("{}{name}", stated_sign(note, look));
        let end = pen.put(GUTTER + x, y, &text, style);
        // A space parts it from the line of home.
        if end < GUTTER + window.count {
            pen.put(end, y, " ", style);
        }
        taken.push(x);
    }
    taken
}

/// The transitions between regions, as much of each as has room before the next.
fn draw_transitions(pen: &mut Pen, y: u16, window: &Columns, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let regions = &picture.history.plan().regions;
    let mut shown = window.regions(regions).peekable();
    while let Some((before, after)) = shown.next() {
        let (Some(before), Some(x)) = (before, window.at(after.start)) else {
            continue;
        };
        let end = shown
            .peek()
            .map_or(window.count, |n| window.begin(n.1.start));
        let room = end.saturating_sub(x + 1);
        // The shortest word has two letters.
        if room < 2 {
            continue;
        }
        let transition = Transition { before, after };
        let fits = |text: &String| columns(text) <= room;
        let Some(interval) = transition.interval(look).into_iter().find(fits) else {
            continue;
        };
        // More is worked out only if there is room for a word of it.
        let mut text = interval;
        if columns(&text) + 4 <= room {
            let pivot = transition.pivot(picture, look);
            let pivot = pivot.map(|(chord, numerals)| format!("{chord}: {numerals}"));
            for more in [pivot, transition.altered(look)].into_iter().flatten() {
                let longer = format!("{text}; {more}");
                if fits(&longer) {
                    text = longer;
                }
            }
        }
        pen.put(GUTTER + x, y, &text, styles.text);
    }
}

/// Names where they have room, and a dot where changes are left out: without it
/// two names side by side would look like neighbours.
fn draw_chords(pen: &mut Pen, y: u16, window: &Columns, picture: &Picture, look: &Look) {
    let styles = look.styles();
    // The first column that is free.
    let mut free = 0;
    for c in window.chords(picture.history.chords()) {
        let Some((a, b)) = window.part(c.start, c.end) else {
            continue;
        };
        // Room for the whole name or none; the rest is seen by zooming in. A dot
        // before it may push it on by one.
        let start = a.max(free);
        // Where not even one letter has room there is no label to make.
        let label = (start <= a + 1 && start + 1 < b)
            .then(|| look.notation.brief(c.sonority, c.within, look.catalogue))
            .filter(|label| start + columns(label) < b);
        if let Some(label) = label {
            free = pen.put(GUTTER + start, y, &label, styles.numeral) + 1 - GUTTER;
        } else if start <= b {
            pen.dot(GUTTER + start, y, look.sign('·', '.'), styles.quiet);
            free = start + 1;
        }
    }
}

/// The regions' names, each within its own columns: as much of each as has room. No name
/// goes beyond one of the columns `taken`, which are in order.
fn names(
    pen: &mut Pen,
    (y, size): (u16, Size),
    regions: &[Region],
    (window, taken): (&Columns, &[u16]),
    (look, style): (&Look, Style),
) {
    let glyphs = look.glyphs();
    // The center that the name before has shown.
    let mut said = None;
    let mut shown = window.regions(regions).peekable();
    while let Some((_, r)) = shown.next() {
        // A name may run on into empty time, up to the next region.
        let a = window.begin(r.start);
        let b = shown
            .peek()
            .map_or(window.count, |n| window.begin(n.1.start));
        let b = taken
            .iter()
            .copied()
            .find(|&t| t >= a)
            .map_or(b, |t| b.min(t));
        let room = b.saturating_sub(a + 1);
        // In a long past most regions have no room: no name is made for them.
        if room == 0 {
            said = said.filter(|&center| center == r.spelled.tonic);
            continue;
        }
        let tonic = look.center(r.spelled);
        let small = match claim::mode(r.spelled.tonality, r.open, look) {
            Some(mode) if said == Some(r.spelled.tonic) => same_center(&tonic, &mode),
            Some(mode) => new_center(&tonic, &mode),
            None if said == Some(r.spelled.tonic) => Vec::new(),
            None => vec![tonic],
        };
        // Only a whole name is large: a small whole one says more than a large center alone.
        let large = small.first().map(|whole| (whole, size));
        let fits = large
            .into_iter()
            .chain(small.iter().map(|t| (t, Size::One)))
            .find(|(t, s)| large::width(t, *s, glyphs) <= room);
        // A center that stands there already is not said again.
        said = match fits {
            Some(_) => Some(r.spelled.tonic),
            None => said.filter(|&center| center == r.spelled.tonic),
        };
        if let Some((text, fitting)) = fits {
            // Small letters stand on the last of the rows, next to the bar.
            let row = y + size.rows() - fitting.rows();
            let end = large::write(pen, (GUTTER + a, row), text, fitting, style, glyphs);
            if fitting == Size::One && end < GUTTER + b {
                pen.put(end, row, " ", style);
            }
        }
    }
}

/// A mode's name from whole to short.
fn shorter(mode: &str) -> impl Iterator<Item = String> {
    let short = [5, 4, 3].map(|letters| abbreviated(mode, letters));
    std::iter::once(mode.to_owned()).chain(short)
}

/// A name from whole to the center alone.
pub(super) fn new_center(tonic: &str, mode: &str) -> Vec<String> {
    let names = shorter(mode).map(|mode| format!("{tonic} {mode}"));
    names.chain([tonic.to_owned()]).collect()
}

/// A name from whole to short where the center has been said just before: the mode may stand
/// alone, as it is what is new, and the center never does.
fn same_center(tonic: &str, mode: &str) -> Vec<String> {
    let both = |mode: String| [format!("{tonic} {mode}"), mode];
    shorter(mode).flat_map(both).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_grow_shorter_step_by_step() {
        assert_eq!(
            new_center("C", "Phrygian"),
            ["C Phrygian", "C Phryg", "C Phry", "C Phr", "C"]
        );
        assert_eq!(
            same_center("C", "Phrygian"),
            [
                "C Phrygian",
                "Phrygian",
                "C Phryg",
                "Phryg",
                "C Phry",
                "Phry",
                "C Phr",
                "Phr"
            ]
        );
    }
}
