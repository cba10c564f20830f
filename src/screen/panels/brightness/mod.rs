//! The brightness order: the parallel modes on the tonic of the tonality pinned or here,
//! from Lydian down to Locrian, and the one note that each step alters.
//!
//! Rows: a caption, a row a mode, and where there is room a line or two in words. With
//! twice as many rows each step stands between its modes; with four times as many the
//! modes are to be read from the back of the room. The modes keep their rows
//! whatever is played; only where not all have room they move, the present one in the
//! middle. Brackets are the present mode, round ones what is heard beside a pin, a
//! pointer the chosen one. A mode of another family points at the row that is as bright.

use crate::screen::claim::{self, Claim, Reference, reference};
use crate::screen::keys::Toward;
use crate::screen::large;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words};
use crate::screen::picture::Picture;
use crate::theory::{
    Catalogue, Degree, Mode, ModeId, Shade, Spelling, Tonality, alterations, brightness_order,
    spell_degree,
};
use ratatui::style::Style;

/// The family whose modes are the rows, as `config/modes.toml` calls it.
const FAMILY: &str = "diatonic";

pub(in crate::screen) fn draw(
    pen: &mut Pen,
    picture: &Picture,
    chosen: Option<ModeId>,
    look: &Look,
) {
    let (w, h) = (pen.width(), pen.height());
    if w < 20 || h < 3 {
        return;
    }
    let styles = look.styles();
    let order = brightness_order(look.catalogue, FAMILY);
    let reference = reference(picture, look);
    let mut ladder = Ladder::new(&order, reference, look);
    ladder.mark(picture, chosen, look);
    let mut x = pen.put(1, 0, "brightness", styles.quiet) + 2;
    let caption = match reference {
        None => "no center yet".to_owned(),
        Some(_) => ladder.legend(w.saturating_sub(x), look),
    };
    if let Some(r) = reference {
        let on = format!("on {}", look.notation.name(r.tonic));
        if x + columns(&on) + 1 + columns(&caption) <= w {
            x = pen.put(x - 1, 0, &on, styles.quiet) + 2;
        }
    }
    pen.put_right(
        w,
        0,
        &fit(&caption, w - x.min(w), look.glyphs()),
        styles.quiet,
    );
    if ladder.rungs.is_empty() {
        return;
    }
    let foot = match (h - 1).saturating_sub(ladder.rungs.len() as u16) {
        0 => 0,
        1 => 1,
        _ => 2,
    };
    let end = ladder.rows(pen, h - 1 - foot, look);
    let y = (end + 1).min(h - foot);
    let words = ladder.words(usize::from(foot), look);
    for (i, (long, short, style)) in words.iter().enumerate() {
        let room = w.saturating_sub(2);
        let text = if columns(long) <= room { long } else { short };
        pen.put(
            1,
            y + i as u16,
            &fit_words(text, room, look.glyphs()),
            *style,
        );
    }
    if reference.is_some_and(|r| r.is_dim(picture)) {
        pen.tint(0, h, styles.asleep);
    }
}

/// The mode one step brighter or darker in the order, or the same at its end: where the
/// cursor goes. From a mode of another family to the next one that is brighter or darker.
pub(in crate::screen) fn neighbour(catalogue: &Catalogue, mode: ModeId, toward: Toward) -> ModeId {
    let order = brightness_order(catalogue, FAMILY);
    let at = order.iter().position(|s| s.mode == mode);
    let next = match (at, toward) {
        (Some(at), Toward::Brighter) => at.checked_sub(1),
        (Some(at), Toward::Darker) => Some(at + 1),
        (None, _) => {
            let own = light(catalogue, &order, mode);
            let light = |s: &Shade| catalogue.mode(s.mode).brightness();
            match toward {
                Toward::Brighter => order.iter().rposition(|s| light(s) > own),
                Toward::Darker => order.iter().position(|s| light(s) < own),
            }
        }
    };
    let beyond = || match (at, toward) {
        (Some(_), _) => None,
        (None, Toward::Brighter) => order.first(),
        (None, Toward::Darker) => order.last(),
    };
    let next = next.and_then(|at| order.get(at)).or_else(beyond);
    next.map_or(mode, |s| s.mode)
}

/// The mode of the order that differs from this one in the fewest notes; of equals the
/// one that the catalogue calls the nearest.
fn nearest(catalogue: &Catalogue, order: &[Shade], mode: ModeId) -> Option<ModeId> {
    let own = catalogue.mode(mode);
    let distance = |s: &Shade| {
        let rung = catalogue.mode(s.mode);
        (alterations(rung, own).len(), rung.id != own.scored_as)
    };
    order.iter().min_by_key(|s| distance(s)).map(|s| s.mode)
}

/// How bright a mode is, compared with those of the order. The sum of its alterations says
/// so only of a mode with each of the seven degrees once; any other counts as bright as the
/// nearest mode of the order.
fn light(catalogue: &Catalogue, order: &[Shade], mode: ModeId) -> i32 {
    let own = catalogue.mode(mode);
    let seven = own.degrees.iter().map(|d| d.number).eq(1..=7);
    match nearest(catalogue, order, mode) {
        Some(other) if !seven => catalogue.mode(other).brightness(),
        _ => own.brightness(),
    }
}

/// What is known of a mode.
#[derive(Clone, Copy, PartialEq)]
enum Said {
    Nothing,
    /// It is possible, as others are.
    Open,
    Present,
    /// It is a guess: a degree that decides it has not been heard.
    Guess,
    Heard,
}

struct Rung {
    mode: ModeId,
    name: String,
    said: Said,
    chosen: bool,
    /// Each degree's note, and whether the step down to it lowers it.
    notes: Vec<(String, bool)>,
    /// From the brighter one to this: as notes, as degrees.
    step: Option<[String; 2]>,
}

struct Ladder<'a> {
    reference: Option<Reference>,
    rungs: Vec<Rung>,
    order: &'a [Shade],
    /// A present mode that is not among the rungs: its name, and beside which it stands.
    beside: Option<(String, usize)>,
    /// A mode heard beside a pin that is not among them.
    heard: Option<String>,
    chosen: Option<ModeId>,
}

impl<'a> Ladder<'a> {
    fn new(order: &'a [Shade], reference: Option<Reference>, look: &Look) -> Ladder<'a> {
        let tonic = reference.map(|r| r.tonic);
        let mut rungs: Vec<Rung> = Vec::with_capacity(order.len());
        let mut before: Option<&Mode> = None;
        for shade in order {
            let mode = look.catalogue.mode(shade.mode);
            let step = before.map(|b| {
                let all = alterations(b, mode);
                [
                    tonic.map_or(String::new(), |t| {
                        said_alterations(&all, look, note(t, look))
                    }),
                    said_alterations(&all, look, degree(look)),
                ]
            });
            let notes = tonic.into_iter().flat_map(|t| {
                let note = note(t, look);
                let altered = |d: &Degree| shade.altered.contains(d);
                mode.degrees.iter().map(move |&d| (note(d), altered(&d)))
            });
            rungs.push(Rung {
                mode: shade.mode,
                name: name(shade.mode, reference, look),
                said: Said::Nothing,
                chosen: false,
                notes: notes.collect(),
                step,
            });
            before = Some(mode);
        }
        Ladder {
            reference,
            rungs,
            order,
            beside: None,
            heard: None,
            chosen: None,
        }
    }

    fn mark(&mut self, picture: &Picture, chosen: Option<ModeId>, look: &Look) {
        let Some(reference) = self.reference else {
            return;
        };
        let own = reference.tonality.mode;
        let mut say =
            |mode: ModeId, said: Said| match self.rungs.iter_mut().find(|r| r.mode == mode) {
                Some(rung) => {
                    rung.said = said;
                    true
                }
                None => false,
            };
        if reference.claim != Claim::Decided {
            for other in reference.open.others() {
                say(other, Said::Open);
            }
        }
        let present = match reference.claim {
            Claim::Decided => Said::Present,
            Claim::Guess => Said::Guess,
            Claim::Undecided => Said::Open,
        };
        let among = say(own, present);
        if let Some(here) = picture.reading.here.filter(|_| reference.pinned) {
            let t = here.tonality;
            let other = t.center == reference.tonality.center && t.mode != own;
            if other
                && let Some(heard) = claim::mode(t, here.open, look)
                && !say(t.mode, Said::Heard)
            {
                self.heard = Some(heard);
            }
        }
        if !among && reference.claim != Claim::Undecided {
            let light = light(look.catalogue, self.order, own);
            let bright = |r: &Rung| look.catalogue.mode(r.mode).brightness();
            let at = self.rungs.iter().position(|r| bright(r) <= light);
            let at = at.unwrap_or(self.rungs.len().saturating_sub(1));
            self.beside = Some((name(own, self.reference, look), at));
        }
        self.chosen = chosen.filter(|&c| c != own);
        for rung in &mut self.rungs {
            rung.chosen = Some(rung.mode) == chosen;
        }
    }

    /// What the brackets mean, as far as they are there.
    fn legend(&self, room: u16, look: &Look) -> String {
        // What is needed least stands last, and is left out first.
        let mut parts = Vec::new();
        let present = |r: &Rung| matches!(r.said, Said::Present | Said::Guess);
        let word = match self.reference {
            Some(r) if r.pinned => "pinned",
            _ => "here",
        };
        if let Some((name, _)) = &self.beside {
            parts.push(format!("{word}: {name}"));
        }
        match &self.heard {
            Some(heard) => parts.push(format!("heard: {heard}")),
            None if self.rungs.iter().any(|r| r.said == Said::Heard) => {
                parts.push("(heard)".to_owned());
            }
            None => {}
        }
        let pointer = look.sign("▸", ">");
        if self.rungs.iter().any(|r| r.chosen) {
            parts.push(format!("{pointer} chosen"));
        }
        if self.rungs.iter().any(present) {
            parts.push(format!("[{word}]"));
        }
        while parts.len() > 1 && columns(&parts.join("  ")) > room {
            parts.pop();
        }
        parts.join("  ")
    }

    /// The row that must be in view, and the one that should be in the middle.
    fn middle(&self) -> (Option<usize>, usize) {
        let said = |said: &[Said]| self.rungs.iter().position(|r| said.contains(&r.said));
        let present = said(&[Said::Present, Said::Guess]);
        let present = present.or(self.beside.as_ref().map(|b| b.1));
        let middle = present.or(said(&[Said::Open]));
        let chosen = self.rungs.iter().position(|r| r.chosen);
        (chosen, middle.unwrap_or(self.rungs.len() / 2))
    }

    /// The modes in large letters, below the caption, and at the right the step to each;
    /// returns the row after the last. None where they have no room.
    fn afar(&self, pen: &mut Pen, rows: u16, look: &Look) -> Option<u16> {
        let (top, stride) = large::afar(rows, self.rungs.len(), look.glyphs())?;
        let text = |r: &Rung| match r.said {
            Said::Open | Said::Guess => format!("{}?", r.name),
            _ => r.name.clone(),
        };
        // A question mark may follow the name.
        let name = |r: &Rung| large::wide_in_brackets(&format!("{}?", r.name));
        let name = self.rungs.iter().map(name).max().unwrap_or(0);
        let steps = |r: &Rung| r.step.iter().flatten().map(|s| columns(s)).max();
        let step = self.rungs.iter().filter_map(steps).max().unwrap_or(0);
        let x = 2 + name + 1;
        if x + step > pen.width() {
            return None;
        }
        let styles = look.styles();
        for (at, rung) in self.rungs.iter().enumerate() {
            let y = top + at as u16 * stride;
            let style = match rung.said {
                Said::Present => styles.chord,
                Said::Guess => styles.asleep,
                Said::Heard => styles.home,
                Said::Open => styles.strong,
                Said::Nothing if rung.chosen => styles.strong,
                Said::Nothing => styles.text,
            };
            let lit = matches!(rung.said, Said::Present | Said::Guess);
            large::in_brackets(pen, (2, y), &text(rung), lit, style);
            if rung.said == Said::Heard {
                pen.put(x, y, "(heard)", styles.home);
            }
            if rung.chosen {
                for row in y..y + large::AFAR - 1 {
                    pen.dot(0, row, look.sign('▸', '>'), styles.center);
                }
            }
            for (i, text) in rung.step.iter().flatten().enumerate() {
                let style = if i == 0 { styles.away } else { styles.quiet };
                pen.put(x, y + 1 + i as u16, text, style);
            }
            if let Some((name, _)) = self.beside.as_ref().filter(|b| b.1 == at) {
                let text = format!("{}[{name}]", look.sign("◂", "<"));
                pen.put(
                    x,
                    y,
                    &fit(&text, pen.width() - x, look.glyphs()),
                    styles.lit,
                );
            }
        }
        Some(top + self.rungs.len() as u16 * stride)
    }

    /// The modes, in `rows` rows below the caption; returns the row after the last.
    fn rows(&self, pen: &mut Pen, rows: u16, look: &Look) -> u16 {
        if let Some(end) = self.afar(pen, rows, look) {
            return end;
        }
        let count = self.rungs.len();
        let apart = rows as usize >= 2 * count - 1;
        let shown = match apart {
            true => count,
            false => count.min(rows as usize),
        };
        let (chosen, middle) = self.middle();
        let mut from = middle.saturating_sub(shown / 2).min(count - shown);
        if let Some(chosen) = chosen {
            from = from.clamp((chosen + 1).saturating_sub(shown), chosen);
        }
        let stride = if apart { 2 } else { 1 };
        let used = shown as u16 * stride + 1 - stride;
        let top = 1 + u16::from(rows > used);
        let place = Columns::new(self, pen.width(), apart);
        let rungs = self.rungs.iter().enumerate().skip(from).take(shown);
        for (i, (at, rung)) in rungs.enumerate() {
            let y = top + i as u16 * stride;
            self.rung(pen, rung, (y, apart), &place, look);
            if let Some((name, _)) = self.beside.as_ref().filter(|b| b.1 == at) {
                let style = look.styles().lit;
                let points = look.sign('◂', '<');
                let x = place.beside + 1;
                pen.dot(place.beside, y, points, look.styles().chord);
                if x + columns(name) + 2 <= pen.width() {
                    pen.put(x, y, &format!("[{name}]"), style);
                }
            }
        }
        top + used
    }

    fn rung(
        &self,
        pen: &mut Pen,
        rung: &Rung,
        (y, apart): (u16, bool),
        place: &Columns,
        look: &Look,
    ) {
        let styles = look.styles();
        let (signs, style) = match rung.said {
            Said::Nothing => (
                None,
                if rung.chosen {
                    styles.strong
                } else {
                    styles.text
                },
            ),
            Said::Open => (None, styles.strong),
            Said::Present => (Some(('[', ']')), styles.lit),
            Said::Guess => (Some(('[', ']')), styles.asleep),
            Said::Heard => (Some(('(', ')')), styles.home),
        };
        let style = match self.reference {
            None => styles.quiet,
            Some(_) => style,
        };
        if rung.chosen {
            pen.dot(0, y, look.sign('▸', '>'), styles.center);
        }
        let mark = match rung.said {
            Said::Open | Said::Guess => "?",
            _ => "",
        };
        let text = format!("{}{mark}", rung.name);
        if let Some((open, close)) = signs {
            // All brackets of the panel close in one column: a bar as long as any name.
            pen.line(1, y, place.name, ' ', style);
            pen.dot(1, y, open, style);
            pen.dot(place.name, y, close, style);
        }
        pen.put(
            2,
            y,
            &fit(&text, place.name.saturating_sub(2), look.glyphs()),
            style,
        );
        let lowered = look.sign('↓', 'v');
        let before = if apart { y.saturating_sub(1) } else { y };
        if !place.notes.is_empty() {
            let plain = match rung.said {
                Said::Present | Said::Guess => styles.strong,
                _ => styles.text,
            };
            for ((note, altered), &x) in rung.notes.iter().zip(&place.notes) {
                let style = if *altered { styles.away } else { plain };
                pen.put(x, y, note, style);
                if *altered {
                    let at = if apart { x } else { x - 1 };
                    pen.dot(at, before, lowered, styles.away);
                }
            }
        }
        let texts = rung.step.iter().flatten();
        for (text, x) in texts.zip(place.steps) {
            if let Some(x) = x {
                let style = if x == place.main {
                    styles.away
                } else {
                    styles.quiet
                };
                pen.put(x, before, text, style);
            }
        }
    }

    /// At most `lines` lines, each in full and shortened, the most important first.
    fn words(&self, lines: usize, look: &Look) -> Vec<(String, String, Style)> {
        let styles = look.styles();
        let Some(reference) = self.reference else {
            return Vec::new();
        };
        let mut list = Vec::new();
        let own = reference.tonality.mode;
        let note = note(reference.tonic, look);
        let mode = |id: ModeId| look.catalogue.mode(id);
        if let Some((name, _)) = &self.beside
            && let Some(other) = nearest(look.catalogue, self.order, own)
        {
            let with = alterations(mode(other), mode(own));
            let with = match &with[..] {
                [] if mode(own).movable.is_empty() => "with notes left out".to_owned(),
                [] => {
                    let moved = mode(own).movable.iter().map(|&d| note(d));
                    format!("also with {}", moved.collect::<Vec<_>>().join(" "))
                }
                some => said_alterations(some, look, &note),
            };
            let points = look.sign("◂", "<");
            let like = self.name_of(other, look);
            let long = format!("{points} {name}: like {like}, {with}");
            let short = format!("{points} like {like}, {with}");
            list.push((long, short, styles.strong));
        }
        if let Some(chosen) = self.chosen {
            let with = alterations(mode(own), mode(chosen));
            let with = match &with[..] {
                [] => "the same notes".to_owned(),
                some => said_alterations(some, look, &note),
            };
            let pointer = look.sign("▸", ">");
            let to = self.name_of(chosen, look);
            let long = format!("{pointer} to {to}: {with}");
            list.push((long, format!("{pointer} {with}"), styles.strong));
        }
        if list.is_empty()
            && reference.claim == Claim::Decided
            && let Some(at) = self.rungs.iter().position(|r| r.mode == own)
        {
            let step = |at: Option<usize>, word: &str| {
                let other = self.rungs.get(at?)?.mode;
                let with = said_alterations(&alterations(mode(own), mode(other)), look, &note);
                Some(format!("{word} {with}"))
            };
            let both = |up: &str, down: &str| -> Vec<String> {
                let both = [step(at.checked_sub(1), up), step(Some(at + 1), down)];
                both.into_iter().flatten().collect()
            };
            // The brightest stands on top.
            let (up, down) = (look.sign("▲", "^"), look.sign("▼", "v"));
            let long = both("brighter:", "darker:").join("    ");
            list.push((long, both(up, down).join("  "), styles.quiet));
        }
        list.truncate(lines);
        list
    }

    fn name_of(&self, mode: ModeId, look: &Look) -> String {
        name(mode, self.reference, look)
    }
}

/// The columns of a row.
struct Columns {
    /// The column of the closing bracket.
    name: u16,
    /// The column of each degree's note; none where they have no room.
    notes: Vec<u16>,
    /// The step as notes, as degrees.
    steps: [Option<u16>; 2],
    /// The step that is read first.
    main: u16,
    /// What stands beside a row.
    beside: u16,
}

impl Columns {
    fn new(ladder: &Ladder, w: u16, apart: bool) -> Columns {
        let widest = |texts: &mut dyn Iterator<Item = u16>| texts.max().unwrap_or(0);
        let rungs = &ladder.rungs;
        // A question mark may follow the name.
        let name = 4 + widest(&mut rungs.iter().map(|r| columns(&r.name)));
        let most = rungs.iter().map(|r| r.notes.len()).max().unwrap_or(0);
        // A blank and the sign of what is lowered before each note.
        let sign = if apart { 1 } else { 2 };
        let of = |i: usize| rungs.iter().filter_map(move |r| r.notes.get(i));
        let slot = |i: usize| sign + widest(&mut of(i).map(|n| columns(&n.0)));
        let mut slots: Vec<u16> = (0..most).map(slot).collect();
        let step =
            |i: usize| widest(&mut rungs.iter().flat_map(|r| &r.step).map(|s| columns(&s[i])));
        let beside = ladder.beside.as_ref().map_or(0, |b| columns(&b.0) + 4);
        let mut x = name + 2;
        let mut room = w.saturating_sub(x);
        let mut take = |wide: u16, gap: u16| {
            let fits = wide > 0 && wide <= room;
            room = room.saturating_sub(if fits { wide + gap } else { 0 });
            fits
        };
        let gap = 2;
        let first = take(step(0), gap);
        // As wide as the widest, or where that is too much each as wide as its own.
        let even = slots.iter().max().copied().unwrap_or(0);
        let noted = match take(even * most as u16, gap) {
            true => {
                slots.fill(even);
                true
            }
            false => take(slots.iter().sum(), gap),
        };
        let steps = [first, take(step(1), gap)];
        // What stands beside takes its room before the notes spread.
        let _ = take(beside, 0);
        let mut notes = Vec::new();
        if noted {
            let air = (room / most.max(1) as u16).min(3);
            x += u16::from(!apart);
            for slot in slots {
                notes.push(x);
                x += slot + air;
            }
            x += gap - u16::from(!apart);
        }
        let mut places = [None; 2];
        for (i, place) in places.iter_mut().enumerate() {
            if steps[i] {
                *place = Some(x);
                x += step(i) + gap;
            }
        }
        Columns {
            name: name - 1,
            notes,
            steps: places,
            main: places[0].or(places[1]).unwrap_or(0),
            beside: x.min(w.saturating_sub(1)),
        }
    }
}

fn name(mode: ModeId, reference: Option<Reference>, look: &Look) -> String {
    let center = reference.map_or(Spelling::C.pitch_class(), |r| r.tonality.center);
    look.notation
        .mode(Tonality { center, mode }, look.catalogue)
}

fn note<'a>(tonic: Spelling, look: &'a Look) -> impl Fn(Degree) -> String + 'a {
    move |d| look.notation.above(spell_degree(tonic, d), tonic)
}

fn degree<'a>(look: &'a Look) -> impl Fn(Degree) -> String + 'a {
    move |d| d.text(look.notation.glyphs)
}

/// `F♯ → F, B → B♭`; what comes without one that goes is `+ E♭`.
fn said_alterations(
    all: &[(Option<Degree>, Degree)],
    look: &Look,
    text: impl Fn(Degree) -> String,
) -> String {
    let becomes = look.sign("→", "->");
    let one = |&(from, to): &(Option<Degree>, Degree)| match from {
        Some(from) => format!("{} {becomes} {}", text(from), text(to)),
        None => format!("+ {}", text(to)),
    };
    all.iter().map(one).collect::<Vec<_>>().join(", ")
}
