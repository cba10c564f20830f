//! The history strip: which tonality was established when, home below it, rests
//! and markers, on a scale of time.

use super::claim;
use super::draw::{Look, Picture, clock};
use super::large::{self, Size};
use super::pen::{Pen, columns, fit};
use crate::plan::Region;
use crate::time::{TICKS_PER_SECOND, Time};
use ratatui::style::Style;

/// How many seconds the strip spans, from near to far.
const SPANS: [u64; 11] = [10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200];

/// What part of the past is shown.
#[derive(Clone, Debug)]
pub(super) struct StripView {
    zoom: usize,
    /// The right edge while scrolled back; `None` follows the present.
    end: Option<Time>,
}

impl Default for StripView {
    fn default() -> StripView {
        StripView { zoom: 3, end: None }
    }
}

impl StripView {
    fn span(&self) -> Time {
        let seconds = SPANS.get(self.zoom).copied().unwrap_or(60);
        Time(seconds * TICKS_PER_SECOND)
    }

    /// Nearer (true) or farther.
    pub fn zoom(&mut self, nearer: bool) {
        self.zoom = match nearer {
            true => self.zoom.saturating_sub(1),
            false => (self.zoom + 1).min(SPANS.len() - 1),
        };
    }

    /// A quarter of the span back (true) or forward; the present is followed again.
    pub fn scroll(&mut self, back: bool, now: Time) {
        let step = Time(self.span().0 / 4);
        let end = self.end.unwrap_or(now);
        let end = match back {
            true => (end - step).max(self.span().min(now)),
            false => end + step,
        };
        self.end = (end < now).then_some(end);
    }

    pub fn follow(&mut self) {
        self.end = None;
    }
}

/// Columns of the rows' names.
const GUTTER: u16 = 6;

pub(super) fn draw(pen: &mut Pen, picture: &Picture, view: &mut StripView, look: &Look) {
    let h = pen.height();
    if pen.width() < GUTTER + 10 || h < 3 {
        return;
    }
    let styles = look.styles();
    let window = Columns::new(pen.width() - GUTTER, view, picture.now);

    // From the top: scale, markers, chords where there is room, names, the bar
    // (as tall as there is room), home.
    let markers = h >= 5 || (h >= 4 && !picture.markers.is_empty());
    let chords = h >= 7;
    let mut y = 0;
    let back = view.end.is_some();
    let span = span_text(view.span());
    let span = match back {
        true => format!("{}{span}", look.sign("◂", "<")),
        false => span,
    };
    pen.put(0, y, &span, if back { styles.strong } else { styles.quiet });
    scale(pen, y, &window, look);
    y += 1;
    if markers {
        draw_markers(pen, y, &window, picture, look);
        y += 1;
    }
    if chords {
        pen.put(0, y, "chord", styles.quiet);
        draw_chords(pen, y, &window, picture, look);
        y += 1;
    }
    let home = h.saturating_sub(y) >= 3;
    let left = h.saturating_sub(y + home as u16);
    // Large names where the bar still has two rows.
    let size = match left {
        6.. if !look.ascii() => Size::Four,
        _ => Size::One,
    };
    let bar = left.saturating_sub(size.rows()).clamp(1, 2);
    pen.put(0, y + size.rows() - 1, "here", styles.quiet);
    let bar_top = y + size.rows();
    let plan = picture.history.plan();
    for r in &plan.regions {
        let at_home =
            home_at(&plan.home, r.start).is_none_or(|h| h.tonality.center == r.tonality.center);
        let (c, style) = match at_home {
            true => (look.sign('█', '#'), styles.home),
            false => (look.sign('▓', '+'), styles.away),
        };
        if let Some((a, b)) = window.part(r.start, r.end, picture.now) {
            for row in bar_top..bar_top + bar {
                pen.line(GUTTER + a, row, b - a, c, style);
                // A notch where it begins tells it from the one before.
                if window.at(r.start) == Some(a) && a > 0 {
                    pen.dot(GUTTER + a, row, look.sign('▐', '|'), style);
                }
            }
        }
    }
    for (a, b) in picture.history.rests() {
        if let Some((a, b)) = window.part(a, b, picture.now) {
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
    names(
        pen,
        (y, size),
        &plan.regions,
        &window,
        picture,
        (look, styles.strong),
    );
    if home {
        let y = bar_top + bar;
        pen.put(0, y, "home", styles.quiet);
        for r in &plan.home {
            if let Some((a, b)) = window.part(r.start, r.end, picture.now) {
                pen.line(GUTTER + a, y, b - a, look.sign('─', '-'), styles.home);
            }
        }
        names(
            pen,
            (y, Size::One),
            &plan.home,
            &window,
            picture,
            (look, styles.home),
        );
    }
}

fn home_at(home: &[Region], at: Time) -> Option<&Region> {
    home.iter().rev().find(|r| r.start <= at)
}

/// Time on columns. The columns are whole multiples from zero, so that nothing
/// shimmers while the strip moves.
struct Columns {
    start: Time,
    each: u64,
    count: u16,
}

impl Columns {
    fn new(count: u16, view: &StripView, now: Time) -> Columns {
        let each = view.span().0.div_ceil(count.max(1) as u64).max(1);
        let end = match view.end {
            Some(end) => end.0.div_ceil(each),
            None => now.0 / each + 1,
        };
        let start = end.saturating_sub(count as u64);
        Columns {
            start: Time(start * each),
            each,
            count,
        }
    }

    /// The column of a moment, if it is in view.
    fn at(&self, t: Time) -> Option<u16> {
        let column = t.0.checked_sub(self.start.0)? / self.each;
        (column < self.count as u64).then_some(column as u16)
    }

    /// The columns that a stretch takes, at least one; nothing after `now`.
    fn part(&self, from: Time, to: Time, now: Time) -> Option<(u16, u16)> {
        let to = to.min(now.max(from));
        let end = self
            .start
            .0
            .saturating_add(self.each.saturating_mul(self.count as u64));
        if to < self.start || from.0 >= end || to < from {
            return None;
        }
        let a = (from.0.max(self.start.0) - self.start.0) / self.each;
        let b = to.0.saturating_sub(self.start.0).div_ceil(self.each);
        let (a, b) = (a as u16, b.min(self.count as u64) as u16);
        Some((a, b.max(a + 1)))
    }
}

fn span_text(span: Time) -> String {
    match span.0 / TICKS_PER_SECOND {
        s @ 0..60 => format!("{s}s"),
        s @ 60..3600 => format!("{}min", s / 60),
        s => format!("{}h", s / 3600),
    }
}

fn scale(pen: &mut Pen, y: u16, window: &Columns, look: &Look) {
    const STEPS: [u64; 13] = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];
    let styles = look.styles();
    let step = STEPS
        .into_iter()
        .map(|s| s * TICKS_PER_SECOND)
        .find(|s| s / window.each >= 10)
        .unwrap_or(7200 * TICKS_PER_SECOND);
    let first = window.start.0.div_ceil(step);
    for i in 0..window.count as u64 {
        let t = Time((first + i).saturating_mul(step));
        let Some(x) = window.at(t) else { break };
        let text = clock(t);
        if x + 1 + columns(&text) <= window.count {
            let x = pen.put(GUTTER + x, y, look.sign("╷", "|"), styles.faint);
            pen.put(x, y, &text, styles.quiet);
        }
    }
}

fn draw_markers(pen: &mut Pen, y: u16, window: &Columns, picture: &Picture, look: &Look) {
    let styles = look.styles();
    let mut in_view: Vec<(u16, &str)> = picture
        .markers
        .iter()
        .filter_map(|m| Some((window.at(m.at)?, m.name.as_str())))
        .collect();
    in_view.sort_by_key(|m| m.0);
    for (i, &(x, name)) in in_view.iter().enumerate() {
        let end = in_view.get(i + 1).map_or(window.count, |next| next.0);
        let after = pen.put(GUTTER + x, y, look.sign("▾", "v "), styles.strong);
        let room = end.saturating_sub(after - GUTTER + 1);
        if room >= 2 || columns(name) <= room {
            pen.put(after, y, &fit(name, room, look.ascii()), styles.text);
        }
    }
    if !in_view.is_empty() {
        pen.put(0, y, "mark", styles.quiet);
    }
}

/// Names where they have room, and a dot where changes are left out: without it
/// two names side by side would look like neighbours.
fn draw_chords(pen: &mut Pen, y: u16, window: &Columns, picture: &Picture, look: &Look) {
    let styles = look.styles();
    // The first column that is free.
    let mut free = 0;
    for c in picture.history.chords() {
        let Some((a, b)) = window.part(c.start, c.end, picture.now) else {
            continue;
        };
        // Room for the whole name or none; the rest is seen by zooming in. A dot
        // before it may push it on by one.
        let start = a.max(free);
        let label = look.notation.brief(c.sonority, c.within, look.catalogue);
        if start <= a + 1 && start + columns(&label) < b {
            free = pen.put(GUTTER + start, y, &label, styles.numeral) + 1 - GUTTER;
        } else if start <= b {
            pen.dot(GUTTER + start, y, look.sign('·', '.'), styles.quiet);
            free = start + 1;
        }
    }
}

/// The regions' names, each within its own columns: as much of each as has room.
fn names(
    pen: &mut Pen,
    (y, size): (u16, Size),
    regions: &[Region],
    window: &Columns,
    picture: &Picture,
    (look, style): (&Look, Style),
) {
    let ascii = look.ascii();
    // The center that the name before has said.
    let mut said = None;
    for (i, r) in regions.iter().enumerate() {
        if window.part(r.start, r.end, picture.now).is_none() {
            continue;
        }
        // A name may run on into empty time, up to the next region.
        let end = regions.get(i + 1).map_or(Time(u64::MAX), |n| n.start);
        let a = window.at(r.start.max(window.start)).unwrap_or(0);
        let b = window.at(end).unwrap_or(window.count);
        let room = b.saturating_sub(a + 1);
        let tonic = look.center(r.tonality, r.tonic);
        let small = match claim::mode(r.tonality, r.open, look) {
            Some(mode) => shorter(&tonic, &mode, said == Some(r.tonic)),
            None => vec![tonic],
        };
        // Large the whole name only: a small whole one says more than a large center.
        let large = small.first().map(|whole| (whole, size));
        let fits = large
            .into_iter()
            .chain(small.iter().map(|t| (t, Size::One)))
            .find(|(t, s)| large::width(t, *s, ascii) <= room);
        said = fits.map(|_| r.tonic);
        if let Some((text, fitting)) = fits {
            // Small letters stand on the last of the rows, next to the bar.
            let row = y + size.rows() - fitting.rows();
            let end = large::write(pen, (GUTTER + a, row), text, fitting, style, ascii);
            if fitting == Size::One && end < GUTTER + b {
                pen.put(end, row, " ", style);
            }
        }
    }
}

/// A name from whole to the center alone. Where the center has been said just
/// before, the mode may stand alone: it is what is new.
fn shorter(tonic: &str, mode: &str, said: bool) -> Vec<String> {
    let mut names = vec![format!("{tonic} {mode}")];
    if said {
        names.push(mode.to_owned());
    }
    for letters in [5, 4, 3] {
        let short = abbreviated(mode, letters);
        names.push(format!("{tonic} {short}"));
        if said {
            names.push(short);
        }
    }
    names.push(tonic.to_owned());
    names
}

/// The first letters of each word: `Phr dom`. A guess keeps its mark. A word that would lose one
/// or two is left whole.
fn abbreviated(mode: &str, letters: usize) -> String {
    let word = |w: &str| match w.chars().count() {
        n if n > letters + 2 => w.chars().take(letters).collect(),
        _ => w.to_owned(),
    };
    let (mode, mark) = mode.strip_suffix('?').map_or((mode, ""), |m| (m, "?"));
    let words: Vec<String> = mode.split(' ').map(word).collect();
    words.join(" ") + mark
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_grow_shorter_step_by_step() {
        assert_eq!(
            shorter("C", "Phrygian", false),
            ["C Phrygian", "C Phryg", "C Phry", "C Phr", "C"]
        );
        assert_eq!(
            shorter("C", "Phrygian", true),
            [
                "C Phrygian",
                "Phrygian",
                "C Phryg",
                "Phryg",
                "C Phry",
                "Phry",
                "C Phr",
                "Phr",
                "C"
            ]
        );
        assert_eq!(abbreviated("Phrygian dominant", 3), "Phr dom");
        assert_eq!(abbreviated("Dorian \u{266d}2", 3), "Dor \u{266d}2");
        assert_eq!(abbreviated("Dorian?", 3), "Dor?");
        assert_eq!(abbreviated("Dorian", 4), "Dorian");
    }
}
