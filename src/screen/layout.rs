//! Which panel is where, and how large, in each of the three ways.

use super::large::{self, Size};
use ratatui::layout::Rect;

/// The smallest size in which everything has its place.
pub(super) const SMALLEST: (u16, u16) = (60, 18);

/// The largest part of a terminal that is drawn in: whatever size it says that it has, a
/// picture takes no more memory than this many cells.
pub(super) const LARGEST: (u16, u16) = (1000, 500);

/// The three ways of the screen, after what the user does in front of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Way {
    /// At the keys: the largest letters, the chord, what is about to change.
    #[default]
    Playing,
    /// Beside the keys: what the mode gives, and where it stands among others.
    Teaching,
    /// Afterwards: the whole sitting.
    LookingBack,
}

impl Way {
    pub const ALL: [Way; 3] = [Way::Playing, Way::Teaching, Way::LookingBack];

    /// As the settings write it.
    pub fn name(self) -> &'static str {
        match self {
            Way::Playing => "playing",
            Way::Teaching => "teaching",
            Way::LookingBack => "looking back",
        }
    }
}

/// The panels that the settings may leave out. The large letters, the chord and the two
/// bottom lines are always there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Panel {
    HeardLately,
    Leaning,
    Piano,
    History,
    Brightness,
    Scale,
    Relatives,
}

/// Which panels are to be seen: a bit for each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Panels(u32);

// There is a bit for every panel.
const _: () = assert!(Panel::ALL.len() <= u32::BITS as usize);

impl Default for Panels {
    fn default() -> Panels {
        Panel::ALL.into_iter().collect()
    }
}

impl FromIterator<Panel> for Panels {
    fn from_iter<I: IntoIterator<Item = Panel>>(panels: I) -> Panels {
        Panels(panels.into_iter().fold(0, |set, p| set | 1 << p as u32))
    }
}

impl Panels {
    fn has(self, panel: Panel) -> bool {
        self.0 >> panel as u32 & 1 == 1
    }
}

impl Panel {
    pub const ALL: [Panel; 7] = [
        Panel::HeardLately,
        Panel::Leaning,
        Panel::Piano,
        Panel::History,
        Panel::Brightness,
        Panel::Scale,
        Panel::Relatives,
    ];

    /// As the settings write it, and as the screen and its help call it.
    pub fn name(self) -> &'static str {
        match self {
            Panel::HeardLately => "heard lately",
            Panel::Leaning => "leaning",
            Panel::Piano => "piano",
            Panel::History => "history",
            Panel::Brightness => "brightness",
            Panel::Scale => "scale",
            Panel::Relatives => "relatives",
        }
    }
}

/// What the user wants to see.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Wanted {
    pub way: Way,
    pub panels: Panels,
    /// The evidence.
    pub evidence: bool,
    /// The harmonized scale in the place of what was heard lately.
    pub scale: bool,
}

/// Where each panel is. A panel that has no room is an empty rectangle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Places {
    pub here: Rect,
    pub chord: Rect,
    pub heard_lately: Rect,
    /// In the place of what was heard lately; where that is not shown, in the history's.
    pub scale: Rect,
    pub leaning: Rect,
    /// In the place of what was heard lately; where that is narrow in those of the piano and
    /// the history, and on the smallest screens in few rows.
    pub evidence: Rect,
    pub brightness: Rect,
    pub relatives: Rect,
    pub lanes: Rect,
    pub piano: Rect,
    pub history: Rect,
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

/// The blocks of the way for playing, from top to bottom: the least and the most rows.
#[derive(Clone, Copy)]
struct Blocks {
    size: Sizes,
    chord: (u16, u16),
    leaning: (u16, u16),
    piano: (u16, u16),
    history: (u16, u16),
    /// Columns of what was heard lately; 0: not shown.
    heard_lately: u16,
}

/// The letters and the chord at the top of the two other ways, with their sizes.
#[derive(Clone, Copy)]
enum Top {
    Beside(Size, Size),
    Stacked(Size, Size),
    /// The letters alone.
    Alone(Size),
}

/// How everything is laid out on a screen of at least some size.
struct Step {
    /// The least columns and rows.
    from: (u16, u16),
    playing: Blocks,
    teaching: Top,
    looking_back: Top,
    /// Rows that the tables to teach from need for large letters, where their columns are
    /// enough: a caption, seven degrees of four rows, two rows in words.
    tables: Option<u16>,
}

/// The smallest blocks of the way for playing.
const SMALL: Blocks = Blocks {
    size: sizes(Size::Four, Size::Four, Size::One),
    chord: (2, 3),
    leaning: (1, 2),
    piano: (3, 3),
    history: (4, 6),
    heard_lately: 0,
};

/// The steps, from the largest screen to the smallest.
const STEPS: [Step; 5] = [
    Step {
        from: (184, 54),
        playing: Blocks {
            size: sizes(Size::Sixteen, Size::Eight, Size::Eight),
            chord: (12, 12),
            leaning: (5, 5),
            piano: (6, 8),
            history: (10, 10),
            heard_lately: 74,
        },
        teaching: Top::Beside(Size::Eight, Size::Eight),
        looking_back: Top::Beside(Size::Eight, Size::Eight),
        tables: Some(1 + 7 * large::AFAR + 2),
    },
    Step {
        from: (112, 33),
        playing: Blocks {
            size: sizes(Size::Eight, Size::Four, Size::Four),
            chord: (7, 8),
            leaning: (4, 5),
            piano: (3, 6),
            history: (6, 7),
            heard_lately: 50,
        },
        teaching: Top::Beside(Size::Four, Size::Four),
        looking_back: Top::Beside(Size::Four, Size::Four),
        tables: None,
    },
    Step {
        from: (72, 22),
        playing: Blocks {
            size: sizes(Size::Four, Size::Four, Size::Four),
            chord: (6, 8),
            leaning: (1, 3),
            piano: (3, 4),
            history: (4, 7),
            heard_lately: 38,
        },
        teaching: Top::Stacked(Size::Four, Size::One),
        looking_back: Top::Beside(Size::One, Size::One),
        tables: None,
    },
    Step {
        from: (SMALLEST.0, 22),
        playing: SMALL,
        teaching: Top::Stacked(Size::Four, Size::One),
        looking_back: Top::Stacked(Size::One, Size::One),
        tables: None,
    },
    Step {
        from: SMALLEST,
        playing: SMALL,
        teaching: Top::Stacked(Size::One, Size::One),
        looking_back: Top::Alone(Size::One),
        tables: None,
    },
];

const fn sizes(here: Size, home: Size, chord: Size) -> Sizes {
    Sizes { here, home, chord }
}

/// Rows of the evidence on the smallest screens.
const EVIDENCE: u16 = 2;
/// Columns and rows that the evidence needs for bars beside its words.
const BARS: (u16, u16) = (44, 7);

/// Lays out `area`; `None` where it is too small.
pub(super) fn places(area: Rect, wanted: &Wanted) -> Option<Places> {
    let (w, h) = (area.width, area.height);
    let step = STEPS.iter().find(|s| w >= s.from.0 && h >= s.from.1)?;
    let mut places = match wanted.way {
        Way::Playing => playing(area, wanted, step),
        Way::Teaching => teaching(area, wanted, step),
        Way::LookingBack => looking_back(area, wanted, step),
    };
    let margin = margin(w);
    let line = |y| Rect::new(area.x + margin, y, w - 2 * margin, 1);
    (places.notice, places.status) = (line(area.bottom() - 2), line(area.bottom() - 1));
    Some(places)
}

fn margin(w: u16) -> u16 {
    if w >= 72 { 1 } else { 0 }
}

fn playing(area: Rect, wanted: &Wanted, step: &Step) -> Places {
    let (w, h) = (area.width, area.height);
    let (evidence, scale) = (wanted.evidence, wanted.scale);
    let plan = step.playing;
    let has = |panel, rows| {
        if wanted.panels.has(panel) {
            rows
        } else {
            (0, 0)
        }
    };
    let heard_lately = wanted.panels.has(Panel::HeardLately) || evidence || scale;
    let plan = Blocks {
        leaning: has(Panel::Leaning, plan.leaning),
        piano: has(Panel::Piano, plan.piano),
        history: has(Panel::History, plan.history),
        heard_lately: if heard_lately { plan.heard_lately } else { 0 },
        ..plan
    };
    let in_rows = evidence && plan.heard_lately == 0;
    let here = plan.size.here.rows() + 2;
    let fixed = here + 2;
    let mut rows = [plan.chord, plan.leaning, plan.piano, plan.history].map(|r| r.0);
    let most = [plan.chord, plan.leaning, plan.piano, plan.history].map(|r| r.1);
    let mut gaps = [0u16; 4];
    let mut spare = h.saturating_sub(fixed + rows.iter().sum::<u16>());
    let reasons = if in_rows { spare.min(EVIDENCE) } else { 0 };
    spare -= reasons;
    // Rows to spare are dealt out in turns: first to the history and the leaning, then
    // as blank rows.
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
    let margin = margin(w);
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
    let leaning = take(rows[1], gaps[1]);
    let (leaning, reasons) = match (in_rows, reasons) {
        (false, _) => (leaning, Rect::default()),
        (true, 0) => (Rect::default(), leaning),
        (true, rows) => (leaning, take(rows, 0)),
    };
    let piano = take(rows[2], gaps[2]);
    let history = take(rows[3], gaps[3]);
    let heard_lately = Rect {
        x: both.right().saturating_sub(plan.heard_lately),
        width: plan.heard_lately,
        ..both
    };
    let gutter = if plan.heard_lately > 0 { 2 } else { 0 };
    let none = Rect::default();
    let (heard_lately, history, scale) = match scale {
        false => (heard_lately, history, none),
        true if plan.heard_lately > 0 => (none, history, heard_lately),
        true => (heard_lately, none, history),
    };
    let (mut heard_lately, mut piano, mut history, mut scale) =
        (heard_lately, piano, history, scale);
    let reasons = match evidence && plan.heard_lately > 0 {
        false => reasons,
        // Beside the chord, and the scale gives way to it; or below, where it is wider.
        true if plan.heard_lately >= BARS.0 && rows[0] >= BARS.1 => {
            let place = if scale.is_empty() {
                heard_lately
            } else {
                scale
            };
            (heard_lately, scale) = (none, none);
            place
        }
        true => {
            let low = Rect {
                height: history.bottom().saturating_sub(piano.y),
                ..piano
            };
            (piano, history) = (none, none);
            low
        }
    };
    Places {
        here,
        chord: Rect {
            width: both.width - plan.heard_lately - gutter,
            ..both
        },
        heard_lately,
        scale,
        leaning,
        evidence: reasons,
        piano,
        history,
        size: plan.size,
        ..Places::default()
    }
}

/// Rows that the history needs at least, to show its markers.
const HISTORY: u16 = 5;

/// `parts` of `of` equal parts of a whole.
fn part(whole: u16, parts: u32, of: u32) -> u16 {
    (u32::from(whole) * parts / of) as u16
}

/// Rows from the top, one block after another.
struct Rows {
    left: u16,
    wide: u16,
    y: u16,
}

impl Rows {
    fn new(area: Rect) -> Rows {
        let margin = margin(area.width);
        Rows {
            left: area.x + margin,
            wide: area.width - 2 * margin,
            y: area.y,
        }
    }

    fn take(&mut self, rows: u16) -> Rect {
        let place = Rect::new(self.left, self.y, self.wide, rows);
        self.y += rows;
        if rows == 0 { Rect::default() } else { place }
    }
}

/// The left `columns` of a place, and what is right of them and of a gutter.
fn beside(place: Rect, columns: u16) -> (Rect, Rect) {
    let columns = columns.min(place.width);
    let gone = (columns + 2).min(place.width);
    let left = Rect {
        width: columns,
        ..place
    };
    let right = Rect {
        x: place.x + gone,
        width: place.width - gone,
        ..place
    };
    (left, right)
}

/// Maximum columns of the chord's panel beside the letters, and how many more for each of
/// its own rows.
const CHORD: u16 = 24;

/// Places the letters and the chord.
fn top(rows: &mut Rows, places: &mut Places, top: Top) {
    match top {
        Top::Beside(here, chord) => {
            // Beside the chord there is room for home's name in words alone.
            places.size = sizes(here, Size::One, chord);
            let both = rows.take((here.rows() + 2).max(chord.rows() + 2));
            (places.here, places.chord) = beside(both, part(both.width, 11, 20));
            // The numeral at its right edge must stay near the name.
            places.chord.width = places.chord.width.min(CHORD + 10 * chord.rows());
        }
        Top::Stacked(here, chord) => {
            places.size = sizes(here, here.min(Size::Four), chord);
            places.here = rows.take(here.rows() + 2);
            places.chord = rows.take(2);
        }
        Top::Alone(here) => {
            places.size = sizes(here, here, here);
            places.here = rows.take(here.rows() + 1);
        }
    }
}

fn teaching(area: Rect, wanted: &Wanted, step: &Step) -> Places {
    let h = area.height;
    let mut places = Places::default();
    let mut rows = Rows::new(area);
    top(&mut rows, &mut places, step.teaching);
    let rest = h.saturating_sub(rows.y - area.y + 2);
    let has = |panel, rows| if wanted.panels.has(panel) { rows } else { 0 };
    let piano = has(
        Panel::Piano,
        match rest {
            0..12 => 0,
            12..20 => 4,
            20..30 => 7,
            _ => 8,
        },
    );
    let relatives = has(Panel::Relatives, u16::from(rest >= 12));
    let mut history = has(Panel::History, if rest >= 36 { 8 } else { 0 });
    let mut air = u16::from(rest >= 20);
    let mut main = rest.saturating_sub(piano + relatives + history + 3 * air);
    // Large letters in the tables are worth the blank rows, and then some of the history's.
    if let Some(tables) = step.tables.filter(|&t| t > main) {
        let missing = (tables - main).saturating_sub(3 * air);
        if missing <= history.saturating_sub(HISTORY) {
            (air, history) = (0, history - missing);
            main = rest - piano - relatives - history;
        }
    }
    rows.y += air;
    let main = rows.take(main);
    places.relatives = rows.take(relatives);
    rows.y += air;
    places.piano = rows.take(piano);
    rows.y += air;
    places.history = rows.take(history);
    let ladder = part(main.width, 2, 5).clamp(28, 64);
    let (left, right) = match (
        wanted.panels.has(Panel::Brightness),
        wanted.panels.has(Panel::Scale),
    ) {
        (true, true) => beside(main, ladder),
        (true, false) => (main, Rect::default()),
        (false, true) => (Rect::default(), main),
        (false, false) => (Rect::default(), Rect::default()),
    };
    places.brightness = left;
    match wanted.evidence {
        true if right.is_empty() => places.evidence = main,
        true => places.evidence = right,
        false => places.scale = right,
    }
    if places.evidence == main {
        places.brightness = Rect::default();
    }
    places
}

fn looking_back(area: Rect, wanted: &Wanted, step: &Step) -> Places {
    let h = area.height;
    let mut places = Places::default();
    let mut rows = Rows::new(area);
    top(&mut rows, &mut places, step.looking_back);
    let rest = h.saturating_sub(rows.y - area.y + 2);
    let evidence = if wanted.evidence { rest / 3 } else { 0 };
    places.lanes = rows.take(rest - evidence);
    places.evidence = rows.take(evidence);
    places
}
