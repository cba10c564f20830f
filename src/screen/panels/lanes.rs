//! Looking back: the whole sitting, one lane a center, in the order of fifths with home
//! in the middle: the one that has been home longest, so that the lanes stay where they
//! are when the music moves its home. The tonal plan is a line that wanders through them.
//!
//! The lanes are a circle: where the line crosses the seam between the top and the bottom
//! one, it leaves at one edge and comes back at the other.

use super::history::{self, at_home, stated_sign};
use super::yours;
use crate::correction::CorrectedPlan;
use crate::plan::Region;
use crate::screen::claim;
use crate::screen::large::{self, Size};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit_words};
use crate::screen::picture::Picture;
use crate::screen::timeline::{self, Columns, Drawn, TimelineView};
use crate::screen::transition::Transition;
use crate::screen::wording::abbreviated;
use crate::screen::wording::clock;
use crate::theory::{PitchClass, Spelling};
use crate::time::Time;

/// One a center.
const LANES: u16 = 12;
/// The middle's place from the top: six fifths on the sharp side above it, five below.
const MIDDLE: u16 = 6;
/// Below this there is the history instead.
const SMALLEST: (u16, u16) = (48, LANES + 1);
/// The most rows a lane has: a large name and the line.
const TALLEST: u16 = 5;

const CAPTION: &str = "home ";

/// Returns the columns of time that are drawn.
pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    view: &TimelineView,
    look: &Look,
) -> Option<Drawn> {
    if pen.width() < SMALLEST.0 || pen.height() < SMALLEST.1 {
        return history::draw(pen, picture, view, look);
    }
    let order = LaneOrder::new(picture, look);
    let yours = u16::from(corrected(picture).is_some());
    let p = Places::new((pen.width(), pen.height()), yours, &order, look);
    let window = Columns::new(pen.width() - p.gutter, view, picture);
    let lanes = Lanes {
        picture,
        look,
        window: &window,
        order: &order,
        p: &p,
        rests: covered(&window, picture.history.rests()),
        asides: picture
            .history
            .asides()
            .filter_map(|(a, b)| window.part(a, b))
            .collect(),
    };
    lanes.ground(pen);
    let spans = lanes.spans();
    lanes.line(pen, &spans);
    lanes.signs(pen);
    lanes.names(pen, &spans);
    lanes.gutter(pen);
    if let Some(plan) = corrected(picture).filter(|_| p.yours > 0) {
        let place = (p.gutter, p.bottom() + 1);
        yours::draw(pen, place, plan, &window, look);
    }
    if p.markers > 0 {
        timeline::markers(pen, (p.gutter, 0), p.markers, &window, picture, look);
    }
    timeline::scale(pen, (p.gutter, p.scale), &window, view, look);
    words(pen, (p.words, p.words_rows), picture, view, look);
    Some(Drawn::new(pen.left() + p.gutter, window, picture))
}

/// The corrected plan, where there is one that may be seen.
fn corrected<'a>(picture: &Picture<'a>) -> Option<&'a CorrectedPlan> {
    let opened = picture.source.opened.as_ref();
    opened.filter(|_| !picture.hidden)?.corrected.as_deref()
}

/// Which center is in which lane.
struct LaneOrder {
    /// In the middle: the center that has been home longest until now, else the center here.
    middle: Spelling,
    /// Home at the moment.
    home: Option<PitchClass>,
    /// How each pitch class was last spelled as a center.
    said: [Option<Spelling>; 12],
}

impl LaneOrder {
    fn new(picture: &Picture, look: &Look) -> LaneOrder {
        let begun = |r: &&Region| r.start <= picture.now;
        let homes = || picture.history.plan().home.iter().filter(begun);
        let mut long = [Time::ZERO; 12];
        for r in homes() {
            let time = &mut long[r.spelled.tonality.center.index()];
            *time += r.end.min(picture.now).since(r.start);
        }
        // In a tie, the one that was home first.
        let most = homes()
            .map(|r| long[r.spelled.tonality.center.index()])
            .max();
        let longest = homes().find(|r| Some(long[r.spelled.tonality.center.index()]) == most);
        let home = longest.map(|r| r.placed(&look.notation, look.catalogue).tonic);
        let here = picture.reading.here.map(|e| e.spelled.tonic);
        let mut said = [None; 12];
        for r in picture.history.plan().regions.iter().rev().filter(begun) {
            let tonic = || r.placed(&look.notation, look.catalogue).tonic;
            said[r.spelled.tonality.center.index()].get_or_insert_with(tonic);
        }
        LaneOrder {
            said,
            middle: home.or(here).unwrap_or(Spelling::C),
            home: homes().next_back().map(|r| r.spelled.tonality.center),
        }
    }

    /// Counted from the top.
    fn lane(&self, center: PitchClass) -> u16 {
        // A fifth is seven semitones, and seven times seven is one more than four octaves.
        let above = center.index() + 12 - self.middle.pitch_class().index();
        let fifths = (above * 7 % 12) as u16;
        (MIDDLE + LANES - fifths) % LANES
    }

    /// What a lane is called: as its center was said, else on the line of fifths around
    /// the middle.
    fn name(&self, lane: u16) -> Spelling {
        let up = i32::from(MIDDLE) - i32::from(lane);
        let center = self.middle.pitch_class().up(7 * up);
        if let Some(said) = self.said[center.index()] {
            return said;
        }
        let fifths = i32::from(self.middle.fifths()) + up;
        // Neighbours are a fifth apart but where signatures of seven would begin.
        match i8::try_from(fifths) {
            Ok(fifths @ -6..=10) => Spelling::at(fifths),
            _ => Spelling::nearest(center, 0.0),
        }
    }
}

/// Rows and columns of what is drawn.
struct Places {
    gutter: u16,
    /// Rows of the markers, at the top.
    markers: u16,
    /// The first row of the lanes.
    top: u16,
    /// Rows of each lane; the line is in the last of them.
    tall: u16,
    /// Of the names.
    size: Size,
    /// Rows of the corrected plan, below the lanes.
    yours: u16,
    scale: u16,
    words: u16,
    words_rows: u16,
}

impl Places {
    /// `yours`: rows that the corrected plan needs.
    fn new((w, h): (u16, u16), yours: u16, order: &LaneOrder, look: &Look) -> Places {
        let mut spare = h - SMALLEST.1;
        let mut take = |rows: u16, leave: u16| {
            let taken = if spare >= rows + leave { rows } else { 0 };
            spare -= taken;
            taken
        };
        let yours = take(yours, 0);
        let mut markers = take(1, 0);
        let mut words_rows = take(1, 0);
        // Tall lanes are worth more than a second row of markers or of words.
        let mut tall = 1;
        while tall < TALLEST && take(LANES, 0) > 0 {
            tall += 1;
        }
        markers += take(markers, 0);
        if w < 120 {
            words_rows += take(1, 0);
        }
        let above_words = take(1, 0);
        let above_lanes = take(1, 0);
        let size = match tall >= TALLEST && !look.ascii() {
            true => Size::Four,
            false => Size::One,
        };
        let widest = (0..LANES)
            .map(|l| look.notation.name(order.name(l)))
            .map(|name| large::width(&name, size, look.glyphs()))
            .max();
        let top = markers + above_lanes;
        let scale = top + LANES * tall + yours;
        Places {
            gutter: columns(CAPTION) + widest.unwrap_or(0) + 2,
            markers,
            top,
            tall,
            size,
            yours,
            scale,
            words: scale + 1 + above_words,
            words_rows,
        }
    }

    /// The row of a lane's line.
    fn row(&self, lane: u16) -> u16 {
        self.top + lane * self.tall + self.tall - 1
    }

    fn bottom(&self) -> u16 {
        self.top + LANES * self.tall - 1
    }
}

/// The signs that the line is made of. Home and away differ in shape.
struct Signs {
    along: char,
    /// Into the stroke from the left, then down or up; out to the right, from above or
    /// from below; and a new mode on the same center.
    down: char,
    up: char,
    from_above: char,
    from_below: char,
    notch: char,
}

const HOME_LINE: Signs = Signs {
    along: '═',
    down: '╕',
    up: '╛',
    from_above: '╘',
    from_below: '╒',
    notch: '╪',
};
const AWAY_LINE: Signs = Signs {
    along: '━',
    down: '┑',
    up: '┙',
    from_above: '┕',
    from_below: '┍',
    notch: '┿',
};
/// In tall lanes the line is as thick as a row, and read from afar.
const HOME_BAND: Signs = Signs {
    along: '█',
    down: '▌',
    up: '▌',
    from_above: '█',
    from_below: '█',
    notch: '▐',
};
const AWAY_BAND: Signs = Signs {
    along: '▓',
    down: '▌',
    up: '▌',
    from_above: '▓',
    from_below: '▓',
    notch: '▐',
};
const HOME_ASCII: Signs = Signs {
    along: '=',
    down: '+',
    up: '+',
    from_above: '+',
    from_below: '+',
    notch: '|',
};
const AWAY_ASCII: Signs = Signs {
    along: '-',
    ..HOME_ASCII
};

/// The columns that a region has.
struct RegionColumns<'a> {
    region: &'a Region,
    start: u16,
    end: u16,
}

struct Lanes<'a> {
    picture: &'a Picture<'a>,
    look: &'a Look<'a>,
    window: &'a Columns,
    order: &'a LaneOrder,
    p: &'a Places,
    /// The columns that are silent.
    rests: Vec<bool>,
    asides: Vec<(u16, u16)>,
}

impl Lanes<'_> {
    fn is_rest(&self, x: u16) -> bool {
        self.rests.get(x as usize) == Some(&true)
    }

    fn lane(&self, r: &Region) -> u16 {
        self.order.lane(r.spelled.tonality.center)
    }

    /// Each column goes to the region that takes the most of it, so that the line stays
    /// one line however much is in view.
    fn spans(&self) -> Vec<RegionColumns<'_>> {
        let mut owners: Vec<Option<(&Region, Time)>> = vec![None; self.window.count as usize];
        for (r, (a, b)) in self.regions() {
            for x in a..b {
                let share = self.window.share(x, r.start, r.end);
                if let Some(owner) = owners.get_mut(x as usize)
                    && owner.is_none_or(|o| share > o.1)
                {
                    *owner = Some((r, share));
                }
            }
        }
        let mut all: Vec<RegionColumns> = Vec::new();
        for (x, owner) in (0..).zip(owners) {
            let Some((region, _)) = owner else { continue };
            match all.last_mut() {
                Some(s) if s.end == x && std::ptr::eq(s.region, region) => s.end += 1,
                _ => all.push(RegionColumns {
                    region,
                    start: x,
                    end: x + 1,
                }),
            }
        }
        all
    }

    /// The regions in view, and the columns that they touch.
    fn regions(&self) -> impl Iterator<Item = (&Region, (u16, u16))> {
        let plan = self.picture.history.plan();
        let shown = self.window.regions(&plan.regions);
        shown.filter_map(|(_, r)| Some((r, self.window.part(r.start, r.end)?)))
    }

    fn signs_of(&self, home: bool) -> &'static Signs {
        match (self.look.ascii(), self.p.tall >= 3, home) {
            (true, _, true) => &HOME_ASCII,
            (true, _, false) => &AWAY_ASCII,
            (false, true, true) => &HOME_BAND,
            (false, true, false) => &AWAY_BAND,
            (false, false, true) => &HOME_LINE,
            (false, false, false) => &AWAY_LINE,
        }
    }

    /// What lies under the line: the scale's moments as dots, home's lanes, the asides.
    fn ground(&self, pen: &mut Pen) {
        let (look, p) = (self.look, self.p);
        let styles = look.styles();
        for (x, _) in self.window.ticks() {
            for lane in 0..LANES {
                let dot = look.sign('·', '\'');
                pen.dot(p.gutter + x, p.row(lane), dot, styles.faint);
            }
        }
        for (_, r) in self.window.regions(&self.picture.history.plan().home) {
            if let Some((a, b)) = self.window.part(r.start, r.end) {
                for x in (a..b).filter(|&x| !self.is_rest(x)) {
                    let rail = look.sign('┄', '.');
                    pen.dot(p.gutter + x, p.row(self.lane(r)), rail, styles.home);
                }
            }
        }
        for &(a, b) in &self.asides {
            for row in p.top..=p.bottom() {
                let shade = look.sign('░', ':');
                pen.line(p.gutter + a, row, b - a, shade, styles.faint);
            }
        }
    }

    /// The line: a stroke a region, joined to the one before. What is too short for a
    /// stroke leaves a dash in its lane.
    fn line(&self, pen: &mut Pen, spans: &[RegionColumns]) {
        let (p, plan) = (self.p, self.picture.history.plan());
        let styles = self.look.styles();
        for (r, (a, b)) in self.regions() {
            let near = spans.get(spans.partition_point(|s| s.end <= a)..);
            let mut near = near.into_iter().flatten().take_while(|s| s.start < b);
            if !near.any(|s| std::ptr::eq(s.region, r)) {
                let dash = self.look.sign('╴', '~');
                pen.dot(p.gutter + a, p.row(self.lane(r)), dash, styles.away);
            }
        }
        let mut last: Option<&RegionColumns> = None;
        for s in spans {
            let home = at_home(&plan.home, s.region);
            let signs = self.signs_of(home);
            let style = if home { styles.home } else { styles.away };
            let row = p.row(self.lane(s.region));
            for x in (s.start..s.end).filter(|&x| !self.is_rest(x)) {
                pen.dot(p.gutter + x, row, signs.along, style);
            }
            // Joined only where nothing is between them.
            let joined = |l: &&RegionColumns| {
                l.end == s.start && !self.is_rest(s.start) && !self.is_rest(l.end - 1)
            };
            if let Some(before) = last.filter(joined) {
                self.join(pen, (before.region, s.region), s.start);
            }
            last = Some(s);
        }
    }

    /// The vertical in column `x` from one lane to another.
    fn join(&self, pen: &mut Pen, (before, r): (&Region, &Region), x: u16) {
        let (look, p, plan) = (self.look, self.p, self.picture.history.plan());
        let styles = look.styles();
        let place = |r: &Region| {
            let home = at_home(&plan.home, r);
            let style = if home { styles.home } else { styles.away };
            (self.lane(r), self.signs_of(home), style)
        };
        let ((from, old, old_style), (to, new, new_style)) = (place(before), place(r));
        let x = p.gutter + x;
        if from == to {
            // The same again, after something too short to be seen, is no change.
            if before.spelled.tonality != r.spelled.tonality {
                pen.dot(x, p.row(to), new.notch, new_style);
            }
            return;
        }
        // The nearer way round the circle; a tritone, as far either way, needs no seam.
        let seam = from.abs_diff(to) > LANES / 2;
        let down = (to > from) != seam;
        let vertical = match (look.ascii(), p.tall >= 3) {
            (true, _) => '|',
            (false, true) => '▌',
            (false, false) => '│',
        };
        let (start, end) = (p.row(from), p.row(to));
        let mut rows = |a: u16, b: u16| {
            for row in a..=b {
                pen.dot(x, row, vertical, styles.lane);
            }
        };
        match (seam, down) {
            (false, _) => rows(start.min(end), start.max(end)),
            (true, true) => {
                rows(start, p.bottom());
                rows(p.top, end);
            }
            (true, false) => {
                rows(p.top, start);
                rows(end, p.bottom());
            }
        }
        let leaving = if down { old.down } else { old.up };
        pen.dot(x, start, leaving, old_style);
        let arriving = if down { new.from_above } else { new.from_below };
        pen.dot(x, end, arriving, new_style);
        if seam {
            let sign = match down {
                true => look.sign('▼', 'v'),
                false => look.sign('▲', '^'),
            };
            pen.dot(x, p.top, sign, styles.strong);
            pen.dot(x, p.bottom(), sign, styles.strong);
        }
    }

    /// What the player said is home, and the present.
    fn signs(&self, pen: &mut Pen) {
        let (look, p) = (self.look, self.p);
        let styles = look.styles();
        for (x, lane, note) in self.stated() {
            let sign = stated_sign(note, look);
            pen.dot(p.gutter + x, p.row(lane), sign, styles.strong);
        }
        if let Some((x, lane)) = self.present() {
            pen.dot(
                p.gutter + x,
                p.row(lane),
                look.sign('●', 'O'),
                styles.center,
            );
        }
    }

    /// Column and lane of each statement, and whether it was one: what is taken back is
    /// so in the lane of the one before.
    fn stated(&self) -> impl Iterator<Item = (u16, u16, Option<Spelling>)> + '_ {
        let all = self.picture.history.stated();
        all.iter().enumerate().filter_map(move |(i, &(at, note))| {
            let before = || all.get(..i)?.iter().rev().find_map(|s| s.1);
            let said = note.or_else(before)?;
            let lane = self.order.lane(said.pitch_class());
            Some((self.window.past(at)?, lane, note))
        })
    }

    /// Where the music is, while it sounds.
    fn present(&self) -> Option<(u16, u16)> {
        let reading = self.picture.reading;
        let here = reading.here.filter(|_| self.picture.asleep().is_none())?;
        let sounds = reading.aside.is_none();
        let x = self.window.at(self.picture.now).filter(|_| sounds)?;
        Some((x, self.order.lane(here.spelled.tonality.center)))
    }

    /// The modes' names: in a lane of one row on the line, else above it.
    fn names(&self, pen: &mut Pen, spans: &[RegionColumns]) {
        let (look, p) = (self.look, self.p);
        let styles = look.styles();
        let on_line = p.tall == 1;
        let row_of = |lane: u16| p.row(lane) - u16::from(!on_line);
        let mut taken: Vec<(u16, u16)> = Vec::new();
        if on_line {
            taken.extend(self.stated().map(|(x, lane, _)| (x, lane)));
            taken.extend(self.present());
        }
        for s in spans {
            let r = s.region;
            let lane = self.lane(r);
            let free = |x: u16| !self.is_rest(x) && !taken.contains(&(x, lane));
            // The longest piece; the column where the line comes in stays the line's.
            let Some((a, b)) = longest(s.start + 1, s.end, free) else {
                continue;
            };
            let Some(mode) = claim::mode(r.spelled.tonality, r.open, look) else {
                continue;
            };
            let room = b - a;
            let wide = large::width(&mode, Size::Four, look.glyphs());
            if p.size == Size::Four && wide < room {
                let at = (p.gutter + a, p.row(lane) - Size::Four.rows());
                large::write(pen, at, &mode, Size::Four, styles.strong, look.glyphs());
                continue;
            }
            let names = [5, 4, 3].map(|letters| abbreviated(&mode, letters));
            for name in std::iter::once(mode).chain(names) {
                // A space before and after where there is room; on the line some of it
                // must remain.
                let texts = [format!(" {name} "), name];
                let fits = |t: &&String| columns(t) + u16::from(on_line) <= room;
                if let Some(text) = texts.iter().find(fits) {
                    pen.put(p.gutter + a, row_of(lane), text, styles.strong);
                    break;
                }
            }
        }
        self.name_asides(pen);
    }

    /// Along where there is room, else from top to bottom.
    fn name_asides(&self, pen: &mut Pen) {
        let (p, style) = (self.p, self.look.styles().quiet);
        for &(a, b) in &self.asides {
            let middle = (p.top + p.bottom()) / 2;
            let (word, room) = (" aside ", b - a);
            if room >= columns(word) {
                let x = a + (room - columns(word)) / 2;
                pen.put(p.gutter + x, middle, word, style);
            } else {
                for (row, letter) in (middle.saturating_sub(2)..).zip("aside".chars()) {
                    pen.dot(p.gutter + a + room / 2, row, letter, style);
                }
            }
        }
    }

    /// The lanes' names; home's is said.
    fn gutter(&self, pen: &mut Pen) {
        let (look, p) = (self.look, self.p);
        let styles = look.styles();
        for lane in 0..LANES {
            let name = look.notation.name(self.order.name(lane));
            let home = self.order.home.is_some_and(|h| self.order.lane(h) == lane);
            let style = if home { styles.home } else { styles.lane };
            let wide = large::width(&name, p.size, look.glyphs());
            let x = p.gutter.saturating_sub(wide + 2);
            // Large letters stand in the lane's last rows, as the line does.
            let row = p.row(lane) + 1 - p.size.rows();
            large::write(pen, (x, row), &name, p.size, style, look.glyphs());
            if home {
                pen.put(0, p.row(lane), CAPTION.trim_end(), style);
            }
        }
    }
}

/// The columns that the rests take.
fn covered(window: &Columns, rests: impl Iterator<Item = (Time, Time)>) -> Vec<bool> {
    let mut all = vec![false; window.count as usize];
    for (a, b) in rests.filter_map(|(a, b)| window.rest(a, b)) {
        if let Some(part) = all.get_mut(a as usize..b as usize) {
            part.fill(true);
        }
    }
    all
}

/// The longest run of free columns in `a..b`, the first of equals.
fn longest(a: u16, b: u16, free: impl Fn(u16) -> bool) -> Option<(u16, u16)> {
    let mut best: Option<(u16, u16)> = None;
    let mut x = a;
    while x < b {
        let end = (x..b).find(|&x| !free(x)).unwrap_or(b);
        if end > x && best.is_none_or(|(a, b)| end - x > b - a) {
            best = Some((x, end));
        }
        x = end + 1;
    }
    best
}

/// The change nearest to the chosen moment, or the last one.
fn words(
    pen: &mut Pen,
    (y, rows): (u16, u16),
    picture: &Picture,
    view: &TimelineView,
    look: &Look,
) {
    if rows == 0 || picture.hidden {
        return;
    }
    let styles = look.styles();
    let regions = &picture.history.plan().regions;
    let been = regions.partition_point(|r| r.start <= picture.now);
    let regions = regions.get(..been).unwrap_or_default();
    let last = regions.len().checked_sub(1).filter(|&i| i > 0);
    let place = match view.chosen() {
        None => last,
        Some(t) => {
            let next = regions.partition_point(|r| r.start < t).max(1);
            let near = [next, next - 1].into_iter().filter(|&i| i > 0);
            let apart = |i: &usize| regions.get(*i).map(|r| r.start.0.abs_diff(t.0));
            near.filter(|i| apart(i).is_some()).min_by_key(apart)
        }
    };
    let Some(transition) = place.and_then(|i| Transition::to(regions, i)) else {
        pen.put(0, y, "no change yet", styles.quiet);
        return;
    };
    let Transition { before, after } = transition;
    let name = |r: &Region| claim::name(r.spelled, r.open, look);
    let arrow = look.sign("→", "->");
    let [interval, ..] = transition.interval(look);
    let moved = format!("{} {arrow} {}: {interval}", name(before), name(after));
    let pivot = transition.pivot(picture, look);
    let pivot = pivot.map(|(chord, numerals)| format!("pivot {chord}: {numerals}"));
    let more: Vec<String> = [pivot, transition.altered(look)]
        .into_iter()
        .flatten()
        .collect();
    let more = more.join("; ");
    let x = pen.put(0, y, &clock(after.start), styles.quiet) + 2;
    let room = pen.width().saturating_sub(x);
    let line = |text: &str| fit_words(text, room, look.glyphs());
    if rows > 1 {
        pen.put(x, y, &line(&moved), styles.text);
        pen.put(x, y + 1, &line(&more), styles.text);
    } else if more.is_empty() {
        pen.put(x, y, &line(&moved), styles.text);
    } else {
        pen.put(x, y, &line(&format!("{moved}; {more}")), styles.text);
    }
}

#[cfg(test)]
mod tests;
