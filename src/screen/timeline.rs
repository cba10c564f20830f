//! Time on columns, for the history and the lanes: which part of the past is in
//! view, its scale and its markers.

use super::keys::{Direction, Zoom};
use super::look::Look;
use super::pen::{Pen, columns, fit};
use super::picture::Picture;
use super::wording::clock;
use crate::plan::{ChordSpan, Marker, Region};
use crate::time::{TICKS_PER_SECOND, Time};
use ratatui::style::Modifier;

/// How many seconds may be in view, from near to far. After the last: all.
const SPANS: [u64; 11] = [10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200];
const ALL: usize = SPANS.len();

/// The least that is in view of a whole sitting, so that its first chords do not rush by.
const LEAST: Time = Time::millis(30_000);

/// What part of the past is shown.
#[derive(Clone, Debug)]
pub(super) struct TimelineView {
    /// A place in [`SPANS`], or [`ALL`].
    zoom: usize,
    /// The right edge while scrolled back; `None` follows the present.
    end: Option<Time>,
    /// The moment that was chosen, by a marker or by the mouse.
    chosen: Option<Time>,
}

impl Default for TimelineView {
    /// The last minute.
    fn default() -> TimelineView {
        TimelineView {
            zoom: 3,
            end: None,
            chosen: None,
        }
    }
}

impl TimelineView {
    /// The whole sitting.
    pub fn all() -> TimelineView {
        TimelineView {
            zoom: ALL,
            ..TimelineView::default()
        }
    }

    /// `None`: all.
    fn span(&self) -> Option<Time> {
        let seconds = SPANS.get(self.zoom).copied();
        seconds.map(|s| Time(s * TICKS_PER_SECOND))
    }

    /// Shows less or more of the past, which is `whole` from its first sound to the
    /// present. Spans that are longer than all of it are one step.
    pub fn zoom(&mut self, zoom: Zoom, whole: (Time, Time)) {
        let length = whole.1.since(whole.0);
        let longer = |s: &u64| Time(s * TICKS_PER_SECOND) >= length;
        let first_longer = SPANS.iter().position(longer).unwrap_or(ALL);
        self.zoom = match (zoom, self.span()) {
            (Zoom::Nearer, None) => first_longer.saturating_sub(1),
            (Zoom::Nearer, Some(_)) => self.zoom.saturating_sub(1),
            (Zoom::Farther, None) => ALL,
            (Zoom::Farther, Some(span)) if span >= length && length > Time::ZERO => ALL,
            (Zoom::Farther, Some(_)) => self.zoom + 1,
        };
        if let Some(at) = self.chosen {
            self.center(at, whole.1);
        }
    }

    /// Moves by a quarter of the span; at its end the present is followed again. Where
    /// all is in view, there is nothing to scroll.
    pub fn scroll(&mut self, direction: Direction, now: Time) {
        let Some(span) = self.span() else { return };
        let step = Time(span.0 / 4);
        let end = self.end.unwrap_or(now);
        let end = match direction {
            Direction::Back => (end - step).max(span.min(now)),
            Direction::Forward => end + step,
        };
        self.end = (end < now).then_some(end);
        self.chosen = None;
    }

    /// Follows the present; no moment is chosen any longer.
    pub fn follow(&mut self) {
        self.end = None;
        self.chosen = None;
    }

    /// Chooses the next marker or the one before, and puts it in the middle of what is
    /// in view. From the present: the first, or the last.
    pub fn jump(&mut self, direction: Direction, markers: &[Marker], now: Time) {
        let moments = markers.iter().map(moment).filter(|&m| m <= now);
        let from = self.chosen();
        let next = match direction {
            Direction::Forward => moments.filter(|&m| from.is_none_or(|f| m > f)).min(),
            Direction::Back => moments.filter(|&m| from.is_none_or(|f| m < f)).max(),
        };
        if let Some(at) = next {
            self.chosen = Some(at);
            self.center(at, now);
        }
    }

    fn center(&mut self, at: Time, now: Time) {
        if let Some(span) = self.span() {
            let end = (at + Time(span.0 / 2)).min(now);
            self.end = Some(end.max(span.min(now)));
        }
    }

    /// The moment to play back from: the chosen one, else the left edge of what is in view
    /// while scrolled back.
    pub fn chosen(&self) -> Option<Time> {
        let left = || Some(self.end?.since(self.span()?));
        self.chosen.or_else(left)
    }

    /// Chooses this moment, and puts it in the middle of what is in view.
    pub fn choose(&mut self, at: Time, now: Time) {
        self.chosen = Some(at);
        self.center(at, now);
    }

    /// Whether it is scrolled back, as the caption in front of the scale says.
    pub fn is_back(&self) -> bool {
        self.end.is_some() && self.zoom < ALL
    }
}

/// Time as it was drawn on the screen: what the mouse points at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Drawn {
    /// The first column of time on the screen.
    left: u16,
    columns: Columns,
    /// From the first sound to the present.
    pub whole: (Time, Time),
}

/// What a column of the screen stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pointed {
    Moment(Time),
    Present,
}

impl Drawn {
    pub fn new(left: u16, columns: Columns, picture: &Picture) -> Drawn {
        Drawn {
            left,
            columns,
            whole: whole(picture),
        }
    }

    /// The moment that begins with a column of the screen; at the right edge, and where
    /// no later column has any time, the present. Nothing beside the columns of time.
    pub fn moment(&self, x: u16) -> Option<Pointed> {
        let columns = &self.columns;
        let from = |column: u16| {
            let away = columns.each.saturating_mul(u64::from(column));
            Time(columns.start.0.saturating_add(away))
        };
        let column = x.checked_sub(self.left).filter(|c| *c < columns.count)?;
        let past = column + 1 < columns.count && from(column + 1) <= columns.now;
        Some(match past {
            true => Pointed::Moment(from(column)),
            false => Pointed::Present,
        })
    }
}

/// From the first sound to the present.
pub(super) fn whole(picture: &Picture) -> (Time, Time) {
    (first(picture).min(picture.now), picture.now)
}

/// What a marker is about begins here.
fn moment(m: &Marker) -> Time {
    m.about.map_or(m.at, |(from, _)| from)
}

/// Time on columns. The columns are whole multiples from zero, so that nothing
/// shimmers while time goes on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Columns {
    start: Time,
    each: u64,
    pub count: u16,
    now: Time,
}

impl Columns {
    pub fn new(count: u16, view: &TimelineView, picture: &Picture) -> Columns {
        let now = picture.now;
        let Some(span) = view.span() else {
            return Columns::whole(count, whole(picture));
        };
        let each = span.0.div_ceil(count.max(1) as u64).max(1);
        let end = match view.end {
            Some(end) => end.0.div_ceil(each),
            None => now.0 / each + 1,
        };
        let start = end.saturating_sub(count as u64);
        Columns {
            start: Time(start * each),
            each,
            count,
            now,
        }
    }

    /// All of it. A column grows by a sixteenth at a time: between two steps nothing moves.
    fn whole(count: u16, (from, now): (Time, Time)) -> Columns {
        let length = now.since(from).max(LEAST).0;
        // One column is begun before the first sound, one stands for the present.
        let least = length.div_ceil(count.saturating_sub(2).max(1) as u64);
        let mut each = TICKS_PER_SECOND / 50;
        while each < least {
            each = each.saturating_add(each / 16);
        }
        Columns {
            start: Time(from.0 / each * each),
            each,
            count,
            now,
        }
    }

    /// The moment after the last column.
    fn end(&self) -> Time {
        let all = self.each.saturating_mul(self.count as u64);
        Time(self.start.0.saturating_add(all))
    }

    /// The column of a moment that has been, if it is in view.
    pub fn past(&self, t: Time) -> Option<u16> {
        self.at(t).filter(|_| t <= self.now)
    }

    /// The column of a moment, if it is in view.
    pub fn at(&self, t: Time) -> Option<u16> {
        let column = t.0.checked_sub(self.start.0)? / self.each;
        (column < self.count as u64).then_some(column as u16)
    }

    /// The column where a stretch begins that is in view.
    pub fn begin(&self, from: Time) -> u16 {
        self.at(from.max(self.start)).unwrap_or(self.count)
    }

    /// The columns that a stretch takes, at least one; nothing after the present.
    pub fn part(&self, from: Time, to: Time) -> Option<(u16, u16)> {
        let to = to.min(self.now);
        if to < self.start || from >= self.end() || to < from {
            return None;
        }
        let a = (from.0.max(self.start.0) - self.start.0) / self.each;
        let b = to.0.saturating_sub(self.start.0).div_ceil(self.each);
        let (a, b) = (a as u16, b.min(self.count as u64) as u16);
        Some((a, b.max(a + 1)))
    }

    /// How much of a column a stretch takes.
    pub fn share(&self, column: u16, from: Time, to: Time) -> Time {
        let start = Time(self.each.saturating_mul(u64::from(column))) + self.start;
        (start + Time(self.each)).min(to).since(start.max(from))
    }

    /// The columns of a rest: all that it touches where it is a few columns long, else
    /// those of which it takes more than half, so that breaths do not perforate an hour.
    pub fn rest(&self, from: Time, to: Time) -> Option<(u16, u16)> {
        if to.since(from).0 >= self.each.saturating_mul(2) {
            return self.part(from, to);
        }
        let half = Time(self.each / 2);
        let a = self.begin(from + half);
        let b = self.begin(to.min(self.now) + half);
        (to > self.start && a < b).then_some((a, b))
    }

    /// The regions that are in view, in the order of time, each with the one before it.
    pub fn regions<'a>(
        &self,
        all: &'a [Region],
    ) -> impl Iterator<Item = (Option<&'a Region>, &'a Region)> + use<'a> {
        let (start, end) = (self.start, self.end());
        let first = all.partition_point(|r| r.end < start);
        let rest = all.get(first..).unwrap_or_default();
        let now = self.now;
        let inside = rest
            .iter()
            .take_while(move |r| r.start < end && r.start <= now);
        let before = move |i: usize| (first + i).checked_sub(1).and_then(|b| all.get(b));
        inside.enumerate().map(move |(i, r)| (before(i), r))
    }

    /// The chords that are in view, in the order of time.
    pub fn chords<'a>(
        &self,
        all: &'a [ChordSpan],
    ) -> impl Iterator<Item = &'a ChordSpan> + use<'a> {
        let (start, end, now) = (self.start, self.end(), self.now);
        let first = all.partition_point(|c| c.end < start);
        let rest = all.get(first..).unwrap_or_default();
        rest.iter()
            .take_while(move |c| c.start < end && c.start <= now)
    }

    /// The moments that the scale names, with their columns.
    pub fn ticks(&self) -> impl Iterator<Item = (u16, Time)> + '_ {
        const STEPS: [u64; 15] = [
            1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18_000,
        ];
        let step = STEPS
            .into_iter()
            .map(|s| s * TICKS_PER_SECOND)
            .find(|s| s / self.each >= 10)
            .unwrap_or(self.each.saturating_mul(10));
        let first = self.start.0.div_ceil(step);
        (0..self.count as u64).map_while(move |i| {
            let t = Time((first + i).saturating_mul(step));
            Some((self.at(t)?, t))
        })
    }
}

/// When the first sound or the first marker of the sitting was.
fn first(picture: &Picture) -> Time {
    let h = picture.history;
    let firsts = [
        h.chords().first().map(|c| c.start),
        h.plan().regions.first().map(|r| r.start),
        h.asides().next().map(|a| a.0),
        h.stated().first().map(|s| s.0),
        picture.markers.iter().map(moment).min(),
    ];
    firsts.into_iter().flatten().min().unwrap_or(Time::ZERO)
}

/// How much is in view, in words.
fn caption(view: &TimelineView, look: &Look) -> String {
    let span = match view.span().map(|s| s.0 / TICKS_PER_SECOND) {
        None => "all".to_owned(),
        Some(s @ 0..60) => format!("{s}s"),
        Some(s @ 60..3600) => format!("{}min", s / 60),
        Some(s) => format!("{}h", s / 3600),
    };
    match view.is_back() {
        true => format!("{}{span}", look.sign("◂", "<")),
        false => span,
    }
}

/// The scale, with the chosen moment in it, and before it how much is in view.
pub(super) fn scale(
    pen: &mut Pen,
    (gutter, y): (u16, u16),
    window: &Columns,
    view: &TimelineView,
    look: &Look,
) {
    let styles = look.styles();
    let quiet = match view.is_back() {
        true => styles.strong,
        false => styles.quiet,
    };
    pen.put(0, y, &caption(view, look), quiet);
    let wide = |t: Time| 1 + columns(&clock(t));
    let chosen = view.chosen().and_then(|t| {
        // It stays whole at the right edge.
        let x = window.at(t.max(window.start))?;
        Some((x.min(window.count.saturating_sub(wide(t))), t))
    });
    for (x, t) in window.ticks() {
        let end = x + wide(t);
        let free = chosen.is_none_or(|(c, t)| end < c || c + wide(t) < x);
        if end <= window.count && free {
            let x = pen.put(gutter + x, y, look.sign("╷", "|"), styles.faint);
            pen.put(x, y, &clock(t), styles.quiet);
        }
    }
    if let Some((x, t)) = chosen {
        let text = format!("{}{}", look.sign("┃", "!"), clock(t));
        pen.put(gutter + x, y, &text, styles.lit);
    }
}

/// The markers. Each has a sign and its name where the stretch that it is about begins, a
/// line under the stretch, and a tick where it was set. The line is in the second row; with
/// one row alone it underlines the name and goes on after it.
pub(super) fn markers(
    pen: &mut Pen,
    (gutter, y): (u16, u16),
    rows: u16,
    window: &Columns,
    picture: &Picture,
    look: &Look,
) {
    let styles = look.styles();
    let below = y + rows.saturating_sub(1);
    let line = look.sign('─', '_');
    let mut in_view: Vec<(u16, u16, &Marker)> = Vec::new();
    for m in picture.markers {
        let (from, to) = m.about.unwrap_or((m.at, m.at));
        let part = window.part(from, to);
        if let Some((a, b)) = part.filter(|_| m.about.is_some()) {
            pen.line(gutter + a, below, b - a, line, styles.quiet);
        }
        in_view.extend(part.map(|(a, b)| (a, b, m)));
    }
    in_view.sort_by_key(|m| m.0);
    for (.., m) in in_view.iter().filter(|(.., m)| m.about.is_some()) {
        if let Some(x) = window.past(m.at) {
            pen.dot(gutter + x, below, look.sign('╵', '\''), styles.strong);
        }
    }
    let mut after = in_view.chunk_by(|a, b| a.0 == b.0).peekable();
    while let Some(together) = after.next() {
        let end = after.peek().map_or(window.count, |next| next[0].0);
        let (x, b, _) = together[0];
        // A marker whose beginning is out of view has no sign.
        let sign = match together.iter().any(|m| window.at(moment(m.2)).is_some()) {
            true => look.sign("▾", "v "),
            false => "",
        };
        let names: Vec<&str> = together.iter().map(|m| m.2.name.as_str()).collect();
        let names = names.join(", ");
        let start = pen.put(gutter + x, y, sign, styles.strong);
        let room = end.saturating_sub(start - gutter + 1);
        if room < 2 && columns(&names) > room {
            continue;
        }
        let name = fit(&names, room, look.glyphs());
        let under = match rows < 2 && together[0].2.about.is_some() {
            true => within(&name, (b + gutter).saturating_sub(start)),
            false => 0,
        };
        let (under, beyond) = name.split_at(under);
        let underlined = styles.text.add_modifier(Modifier::UNDERLINED);
        let x = pen.put(start, y, under, underlined);
        pen.put(x, y, beyond, styles.text);
    }
    if !in_view.is_empty() {
        pen.put(0, y, "mark", styles.quiet);
    }
}

/// How much of a text, in bytes, fits in `room` columns.
fn within(text: &str, room: u16) -> usize {
    let ends = text.char_indices().map(|(at, c)| at + c.len_utf8());
    let fits = |&end: &usize| columns(text.split_at(end).0) <= room;
    ends.take_while(fits).last().unwrap_or(0)
}
