//! The evidence: how much of the probability of the tonality here comes from what was
//! heard. In two rows, or large, with bars and with what would be established without it.

use crate::engine::{Cause, Explanation, Removed};
use crate::plan::Open;
use crate::screen::claim::{self, Claim};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit, fit_words, wrapped};
use crate::screen::picture::Picture;
use crate::screen::wording::abbreviated;
use crate::screen::wording::length;
use crate::theory::{Glyphs, PitchClassSet, SpelledTonality, Spelling, Tonality, spell_degree};
use crate::time::Time;

/// Columns of the caption.
const CAPTION: u16 = 9;
/// The least change that is shown: a smaller one would be rounded to nothing.
const LEAST: f32 = 0.0051;
/// The most notes of a bass line or a last chord that are named.
const NOTES: usize = 4;

/// A second cause is named in the sentence if it changes at least this share of what the
/// first one does.
const SECOND: f32 = 0.25;

/// An explanation, as far as it may be shown.
struct Told<'a> {
    e: &'a Explanation,
    open: Option<Open>,
    /// Only the center is explained, as the mode is not decided.
    center: bool,
    look: &'a Look<'a>,
}

impl<'a> Told<'a> {
    fn new(e: &'a Explanation, picture: &Picture, look: &'a Look<'a>) -> Told<'a> {
        let open = picture.reading.here.filter(|h| h.tonality == e.tonality);
        let open = open.map(|h| h.open);
        let center = open.is_none_or(|o| o.claim() == Claim::Undecided);
        Told {
            e,
            open,
            center,
            look,
        }
    }

    fn change(&self, c: &Cause) -> f32 {
        if self.center {
            c.center_change
        } else {
            c.change
        }
    }

    /// The causes that are shown, those that speak for it first.
    fn causes(&self) -> Vec<Cause> {
        let causes = self.e.causes.iter().flatten().copied();
        let mut causes: Vec<Cause> = causes.filter(|c| self.change(c).abs() >= LEAST).collect();
        causes.sort_by(|a, b| self.change(b).total_cmp(&self.change(a)));
        causes
    }

    /// `D Dorian`, or of an open mode `D`.
    fn name(&self) -> String {
        let (e, look) = (self.e, self.look);
        match self.open.filter(|_| !self.center) {
            Some(open) => claim::name(e.tonality, e.tonic, open, look),
            None => look.center(e.tonality, e.tonic),
        }
    }

    fn probability(&self) -> f32 {
        if self.center {
            self.e.center_probability
        } else {
            self.e.probability
        }
    }

    /// What speaks against it, the strongest first, with figures.
    fn against(&self) -> Vec<String> {
        let causes = self.causes();
        let con = causes.iter().rev().filter(|c| self.change(c) < 0.0);
        con.map(|c| self.item(c)).collect()
    }

    /// `D in the bass +41`.
    fn item(&self, c: &Cause) -> String {
        let words = words(c.removed, self.e, self.look);
        format!("{words} {}", figure(self.change(c), self.look))
    }
}

/// In one row or two.
pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    let styles = look.styles();
    let style = match picture.asleep() {
        Some(_) => styles.asleep,
        None => styles.text,
    };
    pen.put(0, 0, "evidence", styles.quiet);
    let Some(e) = picture.explanation else {
        let room = w.saturating_sub(CAPTION);
        let text = fit_words(without(picture), room, look.glyphs());
        pen.put(CAPTION, 0, &text, styles.quiet);
        return;
    };
    let told = Told::new(e, picture, look);
    let causes = told.causes();
    let pro = causes.iter().filter(|c| told.change(c) > 0.0);
    let pro: Vec<String> = pro.map(|c| told.item(c)).collect();
    let con = told.against();
    // What is not established is no more than a guess.
    let guess = if told.open.is_none() { "?" } else { "" };
    let name = format!("{}{guess} {}", told.name(), percent(told.probability()));
    let glyphs = look.glyphs();
    let x = pen.put(
        CAPTION,
        0,
        &fit(&name, w.saturating_sub(CAPTION), glyphs),
        styles.strong,
    ) + 2;
    let against = "against ";
    if h > 1 {
        let room = w.saturating_sub(x);
        match pro.is_empty() {
            false => pen.put(x, 0, &listed(&pro, room, look), style),
            true => pen.put(x, 0, &fit("no single thing decides", room, glyphs), style),
        };
        let room = w.saturating_sub(CAPTION + columns(against));
        let con = listed(&con, room, look);
        if !con.is_empty() {
            pen.put(CAPTION, 1, against, styles.quiet);
            pen.put(CAPTION + columns(against), 1, &con, style);
        }
        return;
    }
    // On one row the strongest cause against it, after what speaks for it.
    let con = con.first().map(|c| format!("{against}{c}"));
    let taken = con.as_ref().map_or(0, |c| columns(c) + 2);
    let room = w.saturating_sub(x);
    let first = pro.first().map_or(0, |p| columns(p));
    // What speaks for it goes before what speaks against it.
    let both = first + taken <= room;
    let pro = listed(&pro, if both { room - taken } else { room }, look);
    let after = match pro.is_empty() {
        true => x,
        false => pen.put(x, 0, &pro, style) + 2,
    };
    if let Some(con) = con.filter(|_| both) {
        pen.put(after, 0, &con, styles.quiet);
    }
}

/// The least size of the panel; below it the two rows are drawn.
const PANEL: (u16, u16) = (24, 5);

/// Large: a sentence, a row for each thing heard with a bar and what would be said
/// without it, and what speaks against. Where everything stands depends on the panel's
/// size alone.
pub(in crate::screen) fn panel(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < PANEL.0 || h < PANEL.1 {
        return draw(pen, picture, look);
    }
    let styles = look.styles();
    let here = picture.reading.here;
    // Without a tonality established, what speaks for the likeliest.
    let e = picture
        .explanation
        .filter(|e| here.is_none_or(|h| h.tonality == e.tonality));
    let Some(e) = e else {
        let text = fit_words(without(picture), w, look.glyphs());
        pen.put(0, 0, &text, styles.quiet);
        return;
    };
    let told = Told::new(e, picture, look);
    let causes = told.causes();
    let sentence = if w < 100 && h >= 8 { 2 } else { 1 };
    headline(pen, &told, &causes, sentence, look);
    let heads = u16::from(h >= 14);
    let air = u16::from(h >= 11);
    let first = sentence + air + heads;
    let last = h - 1;
    let rows = last.saturating_sub(first + air);
    let table = Columns::new(w);
    if heads > 0 {
        table.heads(pen, first - 1, look);
    }
    // The strongest, what speaks for it above what speaks against it.
    let mut shown = causes;
    shown.sort_by(|a, b| told.change(b).abs().total_cmp(&told.change(a).abs()));
    shown.truncate(rows.into());
    shown.sort_by(|a, b| told.change(b).total_cmp(&told.change(a)));
    let most = shown.iter().map(|c| told.change(c).abs());
    let full = scale(most.fold(0.0, f32::max));
    for (y, cause) in (first..).zip(&shown) {
        table.row(pen, y, cause, full, &told);
    }
    against(pen, last, &told);
    if picture.asleep().is_some() {
        pen.tint(0, h, styles.asleep);
    }
}

/// What there is to say without an explanation.
fn without(picture: &Picture) -> &'static str {
    match picture.reading.heard.len() {
        _ if picture.reading.here.is_some() => "being worked out",
        0 => "nothing has been heard yet",
        1 => "one note is not enough to tell a center by: play on",
        _ => "too little has been heard to tell a center by: play on",
    }
}

/// `G Mixolydian, 88 %: mostly because G is in the bass and F, not F♯, was heard.` As
/// many reasons as there is room for.
fn headline(pen: &mut Pen, told: &Told, causes: &[Cause], rows: u16, look: &Look) {
    let styles = look.styles();
    let name = format!("{}, {}", told.name(), percent(told.probability()));
    let (before, open) = match (told.open, told.center) {
        (None, _) => ("nothing is established; likeliest: ", ""),
        (Some(_), true) => ("", "; its mode is still open"),
        (Some(_), false) => ("", ""),
    };
    let for_it: Vec<&Cause> = causes.iter().filter(|c| told.change(c) > 0.0).collect();
    let mut endings: Vec<String> = Vec::new();
    if let [first, others @ ..] = &for_it[..] {
        let one = told.clause(first);
        let enough = |c: &&&Cause| told.change(c) >= SECOND * told.change(first);
        let again = |c: &&&Cause| told.says_again(first, c);
        let second = others.iter().filter(enough).find(|c| !again(c));
        if let Some(second) = second {
            let two = told.clause(second);
            endings.push(format!(": mostly because {one} and {two}{open}."));
        }
        endings.push(format!(": mostly because {one}{open}."));
        endings.push(format!(": mostly because {one}."));
        endings.push(format!(": {one}."));
    } else {
        endings.push(format!(": no single thing decides{open}."));
        endings.push(": no single thing decides.".into());
    }
    let w = pen.width();
    let lines = endings.iter().find_map(|ending| {
        let lines = wrapped(&format!("{before}{name}{ending}"), w);
        (lines.len() <= usize::from(rows)).then_some(lines)
    });
    let start = format!("{before}{name}");
    let start = fit_words(&start, w, look.glyphs());
    let lines = lines.unwrap_or_else(|| vec![start.clone()]);
    for (y, line) in (0..rows).zip(&lines) {
        pen.put(0, y, line, styles.text);
    }
    pen.put(0, 0, &start, styles.strong);
}

/// The change that fills a half of a bar: it moves in few steps, so that bars can be
/// compared from one explanation to the next.
fn scale(most: f32) -> f32 {
    [0.125, 0.25, 0.5]
        .into_iter()
        .find(|&s| most <= s)
        .unwrap_or(1.0)
}

/// What speaks against it, and what is likelier at the moment.
fn against(pen: &mut Pen, y: u16, told: &Told) {
    let (e, look) = (told.e, told.look);
    let styles = look.styles();
    let mut items: Vec<String> = Vec::new();
    let kin = |t: Tonality| (t.center, look.catalogue.kin(t.mode));
    let other = match told.center {
        true => e.likeliest.center != e.tonality.center,
        false => kin(e.likeliest) != kin(e.tonality),
    };
    if other {
        let tonic = look.catalogue.spell(e.likeliest, Some(e.tonic));
        let name = told.otherwise(e.likeliest, tonic);
        items.push(format!("{name} is likelier now"));
    }
    items.extend(told.against());
    let room = pen.width();
    if items.is_empty() {
        let text = fit_words("nothing heard speaks against it", room, look.glyphs());
        pen.put(0, y, &text, styles.quiet);
        return;
    }
    let x = pen.put(0, y, "against it: ", styles.quiet);
    let room = room.saturating_sub(x);
    let text = listed(&items, room, look);
    match text.is_empty() {
        false => pen.put(x, y, &text, styles.text),
        true => pen.put(
            x,
            y,
            &fit_words(&items[0], room, look.glyphs()),
            styles.text,
        ),
    };
}

/// Where the columns of the table stand.
struct Columns {
    words: u16,
    /// The left end of the bars, their middle, and the cells of a half.
    left: u16,
    axis: u16,
    half: u16,
    figure: u16,
    other: u16,
    /// Room for what would be said otherwise.
    otherwise: u16,
}

impl Columns {
    fn new(w: u16) -> Columns {
        let (words, otherwise) = match w {
            0..40 => (13, 0),
            40..44 => (13, 12),
            44..56 => (15, 13),
            56..84 => (19, 19),
            84..120 => (26, 24),
            _ => (26, 34),
        };
        // Between the columns a blank, between figure and what follows it too.
        let bar = w.saturating_sub(words + otherwise + 8).clamp(3, 61);
        let half = (bar - 1) / 2;
        let left = words + 1;
        let axis = left + half;
        let figure = axis + half + 2;
        Columns {
            words,
            left,
            axis,
            half,
            figure,
            other: figure + 6,
            otherwise,
        }
    }

    fn heads(&self, pen: &mut Pen, y: u16, look: &Look) {
        let quiet = look.styles().quiet;
        pen.put(0, y, "what was heard", quiet);
        if self.half >= 6 {
            pen.put_right(self.axis, y, "takes ", quiet);
            pen.put(self.axis + 2, y, "adds", quiet);
        }
        if self.otherwise > 0 {
            pen.put(self.other, y, "without it", quiet);
        }
    }

    fn row(&self, pen: &mut Pen, y: u16, cause: &Cause, full: f32, told: &Told) {
        let look = told.look;
        let styles = look.styles();
        let glyphs = look.glyphs();
        let words = told.row_words(cause.removed, self.words, glyphs);
        pen.put(0, y, &words, styles.text);
        self.bar(pen, y, told.change(cause) / full, look);
        let figure = format!("{} %", figure(told.change(cause), look));
        pen.put_right(self.figure + 5, y, &figure, styles.text);
        if let Some(text) = told.instead(cause, self.otherwise, glyphs) {
            pen.put(self.other, y, &text, styles.contender);
        }
    }

    /// From the axis to the right what is added, to the left what is taken. To the left
    /// there are no eighths of a block in most fonts: one eighth, a half, a whole.
    fn bar(&self, pen: &mut Pen, y: u16, part: f32, look: &Look) {
        let styles = look.styles();
        pen.dot(self.axis, y, look.sign('│', '|'), styles.quiet);
        let part = if part.is_nan() {
            0.0
        } else {
            part.clamp(-1.0, 1.0)
        };
        let cells = part.abs() * f32::from(self.half);
        let (right, style) = match part >= 0.0 {
            true => (true, styles.center),
            false => (false, styles.outside),
        };
        if look.ascii() {
            let n = cells.round() as u16;
            let from = if right { self.axis + 1 } else { self.axis - n };
            return pen.line(from, y, n, '#', style);
        }
        let whole = cells as u16;
        let over = cells - f32::from(whole);
        if right {
            pen.line(self.axis + 1, y, whole, '█', style);
            let eighths = ['▏', '▎', '▍', '▌', '▋', '▊', '▉', '█'];
            let n = (over * 8.0).round() as usize;
            if let Some(&c) = n.checked_sub(1).and_then(|n| eighths.get(n)) {
                pen.dot(self.axis + 1 + whole, y, c, style);
            }
            return;
        }
        pen.line(self.axis - whole, y, whole, '█', style);
        let c = match over {
            over if over < 0.0625 => None,
            over if over < 0.3 => Some('▕'),
            over if over < 0.75 => Some('▐'),
            _ => Some('█'),
        };
        // A whole bar leaves nothing over.
        if let Some(c) = c.filter(|_| self.axis - whole > self.left) {
            pen.dot(self.axis - whole - 1, y, c, style);
        }
    }
}

impl Told<'_> {
    /// A tonality beside the one explained, as far as its mode is claimed there.
    fn otherwise(&self, t: Tonality, tonic: Spelling) -> String {
        match self.center {
            true => self.look.center(t, tonic),
            false => self.look.notation.tonality(t, tonic, self.look.catalogue),
        }
    }

    /// What would be said without it, if that is something else, in as much as there is
    /// room for: `else D Aeolian`, `else Aeolian`, `else D Aeol`.
    fn instead(&self, cause: &Cause, room: u16, glyphs: Glyphs) -> Option<String> {
        let SpelledTonality { tonality: t, tonic } = cause.instead?;
        let look = self.look;
        if self.center && t.center == self.e.likeliest.center {
            return None;
        }
        let mut names = vec![self.otherwise(t, tonic)];
        if !self.center {
            let mode = look.notation.mode(t, look.catalogue);
            if t.center == self.e.tonality.center {
                names.push(mode.clone());
            }
            let center = look.center(t, tonic);
            let short = [5, 4, 3].map(|letters| abbreviated(&mode, letters));
            names.extend(short.map(|mode| format!("{center} {mode}")));
        }
        let texts: Vec<String> = names.iter().map(|n| format!("else {n}")).collect();
        let fits = texts.iter().find(|t| columns(t) <= room).or(texts.last());
        fits.map(|text| fit(text, room, glyphs))
    }

    /// `G in the bass`, `B♭ heard`, `G7 two seconds ago`, `ends on G`; with less room
    /// `bass G`, `B♭`, `G7 2 s ago`, `G7`.
    fn row_words(&self, removed: Removed, room: u16, glyphs: Glyphs) -> String {
        let (e, look) = (self.e, self.look);
        let plain = words(removed, e, look);
        let mut all = Vec::new();
        match removed {
            Removed::PitchClass(_) => all.push(format!("{plain} heard")),
            Removed::Chord(_, at) => {
                let label = chord(removed, e, look);
                if e.at.since(at) >= SOUNDS {
                    all.push(format!("{label} {} ago", in_words(e.at.since(at))));
                }
                all.extend([plain.clone(), label]);
            }
            Removed::Bass(set) => {
                all.extend([plain.clone(), format!("bass {}", notes(set, e, look))])
            }
            Removed::PhraseEnd(set, _) => {
                all.extend([plain.clone(), format!("end {}", notes(set, e, look))]);
            }
        }
        let fits = all.iter().find(|t| columns(t) <= room).or(all.last());
        fit(fits.unwrap_or(&plain), room, glyphs)
    }

    /// In a sentence: `G is in the bass`, `F, not F♯, was heard`.
    fn clause(&self, cause: &Cause) -> String {
        let (e, look) = (self.e, self.look);
        let within = Some(e.spelled());
        match cause.removed {
            Removed::Bass(set) => {
                let are = if set.len() > 1 { "are" } else { "is" };
                format!("{} {are} in the bass", notes(set, e, look))
            }
            Removed::PitchClass(pc) => {
                let note = look.notation.note_named(pc, within, look.catalogue);
                match self.rival(cause) {
                    Some(other) => format!("{note}, not {other}, was heard"),
                    None => format!("{note} was heard"),
                }
            }
            Removed::Chord(_, at) => {
                let label = chord(cause.removed, e, look);
                match e.at.since(at) {
                    now if now < SOUNDS => format!("{label} is struck"),
                    ago => format!("{label} was struck {} ago", in_words(ago)),
                }
            }
            Removed::PhraseEnd(set, _) => format!("it ends on {}", notes(set, e, look)),
        }
    }

    /// The note that the same degree has in the mode that would be said without this one,
    /// or, of a characteristic note, in the parallel major or minor.
    fn rival(&self, cause: &Cause) -> Option<String> {
        let (e, look) = (self.e, self.look);
        let Removed::PitchClass(pc) = cause.removed else {
            return None;
        };
        if self.center {
            return None;
        }
        let mode = look.catalogue.mode(e.tonality.mode);
        let own = mode.degree_at(pc.above(e.tonality.center))?;
        let instead = cause
            .instead
            .filter(|t| t.tonality.center == e.tonality.center)
            .map(|t| t.tonality.mode);
        let parallel = || {
            let like = if mode.is_major() { "ionian" } else { "aeolian" };
            let characteristic = mode.characteristic.contains(&own);
            look.catalogue.find(like).filter(|_| characteristic)
        };
        let other = look.catalogue.mode(instead.or_else(parallel)?);
        let mut degrees = other.degrees.iter().chain(&other.movable);
        // A mode that has this note too is no rival.
        if degrees.clone().any(|d| d.semitones() == own.semitones()) {
            return None;
        }
        let degree = degrees.find(|d| d.number == own.number)?;
        let tonic = look.notation.tonic(e.tonality, e.tonic, look.catalogue);
        Some(look.notation.above(spell_degree(tonic, *degree), tonic))
    }

    /// Whether the second only says in other words what the first does.
    fn says_again(&self, first: &Cause, second: &Cause) -> bool {
        let alone = |removed: Removed| match removed {
            Removed::PitchClass(pc) => Some(PitchClassSet::EMPTY.with(pc)),
            Removed::Bass(set) | Removed::PhraseEnd(set, _) => Some(set),
            Removed::Chord(..) => None,
        };
        alone(first.removed).is_some_and(|set| alone(second.removed) == Some(set))
    }
}

/// A chord struck less than this ago counts as sounding.
const SOUNDS: Time = Time::millis(1000);

/// `two seconds`.
fn in_words(t: Time) -> String {
    let number = match t.seconds() as u64 {
        0 | 1 => return "a second".into(),
        2 => "two",
        3 => "three",
        4 => "four",
        5 => "five",
        6 => "six",
        7 => "seven",
        8 => "eight",
        _ => return length(t),
    };
    format!("{number} seconds")
}

/// As many as there is room for, none cut.
fn listed(items: &[String], room: u16, look: &Look) -> String {
    let between = look.sign(" · ", ", ");
    let mut text = String::new();
    for item in items {
        let gap = if text.is_empty() { "" } else { between };
        if columns(&text) + columns(gap) + columns(item) > room {
            break;
        }
        text.push_str(gap);
        text.push_str(item);
    }
    text
}

/// A share of one: `88 %`.
fn percent(share: f32) -> String {
    format!("{} %", hundredths(share))
}

/// A change of probability in hundredths, `+41`.
fn figure(change: f32, look: &Look) -> String {
    let sign = if change < 0.0 {
        look.sign("−", "-")
    } else {
        "+"
    };
    format!("{sign}{}", hundredths(change.abs()))
}

/// In hundredths, rounded from the half up.
fn hundredths(share: f32) -> i32 {
    let rounded = (share * 100.0).round() as i32;
    // Only what is certain is shown as 100.
    if share < 1.0 {
        rounded.min(99)
    } else {
        rounded
    }
}

/// `D in the bass`, `F`, `G7 2 s ago`, `D triad`, `ends on D`.
fn words(removed: Removed, e: &Explanation, look: &Look) -> String {
    match removed {
        Removed::PitchClass(pc) => {
            let within = Some(e.spelled());
            look.notation.note_named(pc, within, look.catalogue)
        }
        Removed::Bass(set) => format!("{} in the bass", notes(set, e, look)),
        Removed::Chord(_, at) => {
            let label = chord(removed, e, look);
            match e.at.since(at) {
                now if now < SOUNDS => label,
                ago => format!("{label} {} ago", length(ago)),
            }
        }
        Removed::PhraseEnd(set, _) => format!("ends on {}", notes(set, e, look)),
    }
}

/// A few notes, from the center up.
fn notes(set: PitchClassSet, e: &Explanation, look: &Look) -> String {
    let within = Some(e.spelled());
    let own = (0..12).map(|n| e.tonality.center.up(n));
    let note = |pc| look.notation.note_named(pc, within, look.catalogue);
    let named: Vec<String> = own.filter(|&pc| set.contains(pc)).map(note).collect();
    let more = if named.len() > NOTES {
        look.sign("…", "...")
    } else {
        ""
    };
    let shown = &named[..named.len().min(NOTES)];
    format!("{}{more}", shown.join(" "))
}

/// A chord's label; nothing for what is no chord.
fn chord(removed: Removed, e: &Explanation, look: &Look) -> String {
    let Removed::Chord(sonority, _) = removed else {
        return String::new();
    };
    let within = Some(e.spelled());
    let note = |pc| look.notation.note_named(pc, within, look.catalogue);
    let mut label = look.notation.sonority(sonority, within, look.catalogue);
    // A major triad is written as its root is.
    if sonority.chord().is_some_and(|c| label == note(c.root)) {
        label.push_str(" triad");
    }
    label
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{CANDIDATES, CAUSES};
    use crate::plan::Open;
    use crate::screen::tests::{Scene, as_text, established};
    use crate::theory::{Catalogue, Kinds, PitchClass};
    use ratatui::buffer::Buffer;
    use ratatui::layout::Rect;

    /// Where the mode is not claimed, the figures are the center's.
    #[test]
    fn a_mode_that_is_not_claimed_is_not_explained() {
        let mut s = Scene::fifth().explained();
        let told = |s: &Scene| rows_of(s, 78);
        let undecided = told(&s);
        assert!(undecided.contains("evidence D 97 %"), "{undecided}");
        assert!(undecided.contains("D in the bass +31"), "{undecided}");
        if let Some(here) = &mut s.reading.here {
            here.open = Open::default();
        }
        let decided = told(&s);
        assert!(decided.contains("evidence D Ionian 88 %"), "{decided}");
        assert!(decided.contains("D in the bass +41"), "{decided}");
    }

    #[test]
    fn a_triad_is_told_from_its_root() {
        let mut s = Scene::wandering().explained();
        let e = s.explanation.as_mut().expect("explained");
        let of = |keys: &[u8]| {
            let set = keys.iter().map(|&k| PitchClass::of_key(k)).collect();
            Kinds::standard().name(set, PitchClass::of_key(keys[0]), PitchClassSet::ALL)
        };
        let causes = [
            Removed::PitchClass(PitchClass::new(2)),
            Removed::Chord(of(&[50, 54, 57]), e.at),
            Removed::Chord(of(&[50, 53, 57]), e.at),
        ];
        e.causes = [None; CAUSES];
        for (place, removed) in e.causes.iter_mut().zip(causes) {
            let (center_change, change) = (0.3, 0.3);
            *place = Some(Cause {
                removed,
                candidate_changes: [0.0; CANDIDATES],
                center_change,
                change,
                instead: None,
            });
        }
        let told = rows_of(&s, 118);
        let line = "D +30 · D triad +30 · Dm +30";
        assert!(told.contains(line), "{told}");
    }

    #[test]
    fn where_nothing_alone_decides_it_says_so() {
        let mut s = Scene::wandering().explained();
        let e = s.explanation.as_mut().expect("explained");
        for c in e.causes.iter_mut().flatten() {
            (c.change, c.center_change) = (0.004, -0.004);
        }
        let told = rows_of(&s, 78);
        assert!(told.contains("88 %  no single thing decides"), "{told}");
        assert!(!told.contains("against"), "{told}");
    }

    /// The two rows alone.
    fn rows_of(s: &Scene, w: u16) -> String {
        drawn(s, (w, 2), Glyphs::Unicode, draw)
    }

    /// The panel alone.
    fn panel_of(s: &Scene, size: (u16, u16), glyphs: Glyphs) -> String {
        drawn(s, size, glyphs, panel)
    }

    fn drawn(
        s: &Scene,
        (w, h): (u16, u16),
        glyphs: Glyphs,
        draw: impl Fn(&mut Pen, &Picture, &Look),
    ) -> String {
        let area = Rect::new(0, 0, w, h);
        let mut buf = Buffer::empty(area);
        let look = s.look(glyphs);
        draw(&mut Pen::new(&mut buf, area), &s.picture(), &look);
        as_text(&buf)
    }

    /// G Mixolydian: its bass, its seventh, which Ionian lacks, and a foreign note.
    fn mixolydian() -> Scene {
        let mut s = Scene::wandering().explained();
        let e = s.explanation.as_mut().expect("explained");
        let at = |name| {
            let t = Catalogue::standard().parse_tonality(name);
            t.ok()
        };
        let g7 = Kinds::standard().name(
            [7, 11, 2, 5].map(PitchClass::new).into_iter().collect(),
            PitchClass::new(7),
            PitchClassSet::ALL,
        );
        let g = PitchClassSet::EMPTY.with(PitchClass::new(7));
        let causes = [
            (Removed::Bass(g), 0.41, at("D dorian")),
            (Removed::PitchClass(PitchClass::new(5)), 0.3, at("G ionian")),
            (Removed::Chord(g7, e.at - Time::millis(2400)), 0.12, None),
            (Removed::PhraseEnd(g, e.at), 0.06, None),
            (Removed::PitchClass(PitchClass::new(10)), -0.09, None),
        ];
        e.causes = [None; CAUSES];
        for (place, (removed, change, instead)) in e.causes.iter_mut().zip(causes) {
            *place = Some(Cause {
                removed,
                candidate_changes: [0.0; CANDIDATES],
                center_change: change,
                change,
                instead,
            });
        }
        s
    }

    #[test]
    fn the_panel_says_it_in_a_sentence_and_in_bars() {
        let told = panel_of(&mixolydian(), (100, 16), Glyphs::Unicode);
        insta::assert_snapshot!("panel", told);
        let sentence =
            "G Mixolydian, 88 %: mostly because G is in the bass and F, not F♯, was heard.";
        assert!(told.starts_with(sentence), "{told}");
        for words in [
            "else D Dorian",
            "else G Ionian",
            "G7 two seconds ago",
            "ends on G",
            "against it: B♭ −9",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
        insta::assert_snapshot!(
            "panel_small",
            panel_of(&mixolydian(), (40, 8), Glyphs::Ascii)
        );
        insta::assert_snapshot!(
            "panel_least",
            panel_of(&mixolydian(), (40, 6), Glyphs::Unicode)
        );
    }

    /// Longer is more, and each on its own side.
    #[test]
    fn bars_grow_with_what_they_stand_for() {
        for glyphs in [Glyphs::Unicode, Glyphs::Ascii] {
            let told = panel_of(&mixolydian(), (120, 16), glyphs);
            let sign = if glyphs == Glyphs::Ascii { '|' } else { '│' };
            let blocks = |line: &str| line.chars().filter(|c| "#█▉▊▋▌▍▎▏▐▕".contains(*c)).count();
            let rows = told.lines().filter(|l| l.contains(sign));
            let rows: Vec<(usize, usize)> = rows
                .filter_map(|l| l.split_once(sign))
                .map(|(left, right)| (blocks(left), blocks(right)))
                .collect();
            assert_eq!(rows.len(), 5, "{told}");
            assert!(rows[..4].iter().all(|r| r.0 == 0 && r.1 > 0), "{rows:?}");
            assert!(rows[..4].is_sorted_by(|a, b| a.1 >= b.1), "{rows:?}");
            assert!(rows[4].0 > 0 && rows[4].1 == 0, "{rows:?}");
        }
    }

    /// Of an open mode nothing is said but its center.
    #[test]
    fn the_panel_explains_the_center_of_an_open_mode() {
        let told = panel_of(&Scene::fifth().explained(), (120, 12), Glyphs::Unicode);
        let sentence = "D, 97 %: mostly because D is in the bass; its mode is still open.";
        assert!(told.starts_with(sentence), "{told}");
        assert!(
            told.contains("else A ") || told.contains("else A\n"),
            "{told}"
        );
        // The third changes the mode alone.
        assert!(!told.contains("Ionian"), "{told}");
    }

    #[test]
    fn without_an_explanation_the_panel_is_quiet() {
        let mut s = mixolydian();
        s.explanation = None;
        assert_eq!(
            panel_of(&s, (60, 8), Glyphs::Unicode).trim(),
            "being worked out"
        );
        // One that was about something else.
        let mut s = mixolydian();
        s.reading.here = Some(established("E aeolian", 1.0, 1.0));
        assert_eq!(
            panel_of(&s, (60, 8), Glyphs::Unicode).trim(),
            "being worked out"
        );
        s.reading.here = None;
        s.explanation = None;
        for (heard, said) in [
            (0, "nothing has been heard yet"),
            (1, "one note is not enough"),
            (2, "too little has been heard"),
        ] {
            s.reading.heard = (0..heard).map(|n| PitchClass::new(7 * n)).collect();
            let told = panel_of(&s, (60, 8), Glyphs::Unicode);
            assert!(told.starts_with(said), "{told}");
        }
    }

    /// That is when the class asks why.
    #[test]
    fn without_a_tonality_the_likeliest_is_explained() {
        let mut s = mixolydian();
        s.reading.here = None;
        let told = panel_of(&s, (100, 12), Glyphs::Unicode);
        let sentence =
            "nothing is established; likeliest: G, 97 %: mostly because G is in the bass";
        assert!(told.starts_with(sentence), "{told}");
        assert!(told.contains("against it: B♭ −9"), "{told}");
        assert!(rows_of(&s, 78).starts_with("evidence G? 97 %"), "{told}");
    }

    #[test]
    fn what_is_likelier_now_speaks_against() {
        let mut s = mixolydian();
        let e = s.explanation.as_mut().expect("explained");
        e.likeliest = established("E aeolian", 1.0, 1.0).tonality;
        let told = panel_of(&s, (100, 12), Glyphs::Unicode);
        let line = "against it: E Aeolian is likelier now · B♭ −9";
        assert!(told.contains(line), "{told}");
        for c in e_causes(&mut s) {
            c.change = c.change.abs();
        }
        let e = s.explanation.as_mut().expect("explained");
        e.likeliest = e.tonality;
        let told = panel_of(&s, (100, 12), Glyphs::Unicode);
        assert!(told.contains("nothing heard speaks against it"), "{told}");
    }

    fn e_causes(s: &mut Scene) -> impl Iterator<Item = &mut Cause> {
        s.explanation
            .iter_mut()
            .flat_map(|e| e.causes.iter_mut().flatten())
    }
}
