//! Harmonized scales as tables for a terminal of 80 columns.

use super::Words;
use super::scale::{common, common_with};
use crate::theory::{Beside, Changes, Glyphs, Harmonized, Mode, ModeId, Size, Stack, Step};
use unicode_width::UnicodeWidthStr;

/// What a terminal has, as far as one can rely on it.
pub(super) const COLUMNS: usize = 80;

/// The signs of the tables.
pub(super) struct Signs {
    /// Another quality.
    pub differs: &'static str,
    /// Holds a characteristic note.
    pub characteristic: &'static str,
    /// A passing note, and a scale beside modes.
    pub passing: &'static str,
    pub scale: &'static str,
    pub raised: &'static str,
    pub lowered: &'static str,
    /// Other notes alone; other notes and another numeral.
    pub notes: &'static str,
    pub numeral: &'static str,
    /// In both tonalities.
    pub common: &'static str,
    pub becomes: &'static str,
    pub minus: &'static str,
}

pub(super) fn signs(w: &Words) -> Signs {
    match w.notation.glyphs {
        Glyphs::Unicode => Signs {
            differs: "≠",
            characteristic: "•",
            passing: "›",
            scale: "◦",
            raised: "↑",
            lowered: "↓",
            notes: "~",
            numeral: "≈",
            common: "=",
            becomes: "→",
            minus: "−",
        },
        Glyphs::Ascii => Signs {
            differs: "!",
            characteristic: "*",
            passing: ">",
            scale: "+",
            raised: "^",
            lowered: "v",
            notes: "~",
            numeral: "%",
            common: "=",
            becomes: "->",
            minus: "-",
        },
    }
}

/// A row of a table, or a line of its own between them.
pub(super) enum Row {
    Cells(Vec<String>),
    Line(String),
}

/// Lines with cells under each other: a column is as wide as its widest cell, those in
/// `right` end under each other. Two blanks between columns; one, where that is more
/// than a terminal has.
pub(super) fn aligned(rows: &[Row], right: &[usize]) -> String {
    let cells = |row: &Row| match row {
        Row::Cells(c) => c.len(),
        Row::Line(_) => 0,
    };
    let mut wide = vec![0; rows.iter().map(cells).max().unwrap_or(0)];
    for row in rows {
        if let Row::Cells(cells) = row {
            for (w, cell) in wide.iter_mut().zip(cells) {
                *w = cell.width().max(*w);
            }
        }
    }
    let used = wide.iter().filter(|w| **w > 0).count();
    let whole = 1 + wide.iter().sum::<usize>() + 2 * used.saturating_sub(1);
    let gap = if whole > COLUMNS { 1 } else { 2 };
    let mut out = String::new();
    for row in rows {
        match row {
            Row::Line(line) => out.push_str(line),
            Row::Cells(cells) => {
                let mut line = String::from(" ");
                for (i, (cell, &w)) in cells.iter().zip(&wide).enumerate().filter(|c| *c.1.1 > 0) {
                    let blanks = " ".repeat(w - cell.width());
                    match right.contains(&i) {
                        true => line.extend([blanks.as_str(), cell]),
                        false => line.extend([cell, blanks.as_str()]),
                    }
                    line.push_str(&" ".repeat(gap));
                }
                out.push_str(line.trim_end());
            }
        }
        out.push('\n');
    }
    out
}

/// Items one after another on as many lines as they need, each begun by `margin`.
pub(super) fn wrapped(first: &str, margin: usize, items: &[String], between: &str) -> String {
    let mut out = String::new();
    let mut line = format!(
        "{first}{}",
        " ".repeat(margin.saturating_sub(first.width()))
    );
    let mut empty = true;
    for (i, item) in items.iter().enumerate() {
        let last = i + 1 == items.len();
        let item = format!("{item}{}", if last { "" } else { between.trim_end() });
        let gap = if empty { "" } else { " " };
        if !empty && line.width() + gap.len() + item.width() > COLUMNS {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(margin) + &item;
        } else {
            line.push_str(gap);
            line.push_str(&item);
        }
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

fn heading(w: &Words, h: &Harmonized) -> String {
    format!(
        "{}   {}\n",
        w.tonality(h),
        w.notes(h.spelled.tonic, &h.notes)
    )
}

/// Lines, each ended: a heading and the table.
pub fn text(w: &Words, h: &Harmonized) -> String {
    format!("{}\n{}", heading(w, h), scale(w, h))
}

/// The table alone, with its legend.
pub(super) fn scale(w: &Words, h: &Harmonized) -> String {
    let signs = signs(w);
    // Another quality, a characteristic note, a root raised, one lowered.
    let mut seen = [false; 4];
    let mut half = |s: Option<&Stack>| -> [String; 4] {
        let Some(s) = s else {
            return Default::default();
        };
        let differs = s.differs == Some(true);
        seen[0] |= differs;
        seen[1] |= s.characteristic;
        let mark = |on: bool, sign| if on { sign } else { " " };
        [
            w.numeral(h, s),
            label(w, h, s),
            w.notes(h.spelled.tonic, &s.notes),
            mark(differs, signs.differs).to_owned() + mark(s.characteristic, signs.characteristic),
        ]
    };
    let mut row = |step: &Step| {
        let moved = match step.moved {
            0 => "",
            1.. => signs.raised,
            _ => signs.lowered,
        };
        let mut cells = vec![format!("{moved}{}", w.degree(step.degree))];
        cells.extend(half(Some(&step.triad)));
        cells.extend(half(step.seventh.as_ref()));
        Row::Cells(cells)
    };
    let six = h.usual().iter().all(|s| s.seventh.is_none());
    let seven = h.parallel.is_some();
    let titles = match (seven, six) {
        (true, _) => ["triad", "seventh"],
        (false, true) => ["every other note", ""],
        (false, false) => ["every other note: three", "four"],
    };
    let mut rows = vec![Row::Line(String::new())];
    rows.extend(h.usual().iter().map(&mut row));
    let mut last = 0;
    for (place, at) in h.further() {
        let form = &h.forms[place];
        let step = &form.steps[at];
        if place != last {
            let degrees = form.moved.iter().map(|&d| {
                let note = w.note(
                    h.spelled.tonic,
                    crate::theory::spell_degree(h.spelled.tonic, d),
                );
                format!("{} ({note})", w.degree(d))
            });
            let degrees: Vec<String> = degrees.collect();
            let with = format!("with {}", degrees.join(" and "));
            let name = w.form(h, form).filter(|n| !n.starts_with("with"));
            let what = name.map_or(with.clone(), |n| format!("{n} form, {with}"));
            rows.push(Row::Line(format!("\n {what}")));
            last = place;
        }
        rows.push(row(step));
    }
    let roots = || h.forms.iter().flat_map(|f| &f.steps).map(|s| s.moved);
    seen[2] = roots().any(|m| m > 0);
    seen[3] = roots().any(|m| m < 0);
    // The titles stand over their columns, and are often wider than those.
    let first = |cells: &[usize]| -> usize {
        let widest = |i: usize| {
            let all = rows.iter().map(|r| match r {
                Row::Cells(c) => c.get(i).map_or(0, |c| c.width()),
                Row::Line(_) => 0,
            });
            all.max().unwrap_or(0)
        };
        cells
            .iter()
            .map(|&i| widest(i))
            .filter(|&w| w > 0)
            .map(|w| w + 2)
            .sum()
    };
    let (a, b) = (1 + first(&[0]), first(&[1, 2, 3, 4]));
    let b = b.max(titles[0].width() + 2);
    let title = format!("{}{:<b$}{}", " ".repeat(a), titles[0], titles[1]);
    rows[0] = Row::Line(title.trim_end().to_owned());
    let mut table = aligned(&rows, &[0]);
    if table.lines().any(|line| line.width() > COLUMNS) {
        // Doubled accidentals: the notes of the sevenths are left to their labels.
        for row in &mut rows {
            if let Row::Cells(cells) = row {
                cells[7].clear();
            }
        }
        table = aligned(&rows, &[0]);
    }
    table + &thirds(w, h, &mut seen[1]) + &legend(w, h, seen)
}

/// The chords of thirds beside the table, a degree a line: lines, each ended.
fn thirds(w: &Words, h: &Harmonized, characteristic: &mut bool) -> String {
    let degrees: Vec<String> = h.thirds.iter().map(|t| w.degree(t.degree)).collect();
    let wide = degrees.iter().map(|d| d.width()).max().unwrap_or(0);
    let passing = passing(w, h);
    let mut out = match (h.thirds.is_empty(), passing.is_empty()) {
        (true, _) => return String::new(),
        (_, true) => "\n chords of thirds that its notes hold\n".to_owned(),
        _ => format!("\n chords of thirds with {}\n", passing.join(" or ")),
    };
    let sign = signs(w).characteristic;
    for (t, degree) in h.thirds.iter().zip(&degrees) {
        let chords = t.chords.iter().map(|s| {
            *characteristic |= s.characteristic;
            w.label(h, s) + if s.characteristic { sign } else { "" }
        });
        let blanks = " ".repeat(wide - degree.width());
        let first = format!(" {blanks}{degree}  ");
        out.push_str(&wrapped(
            &first,
            first.width(),
            &chords.collect::<Vec<_>>(),
            " ",
        ));
    }
    out
}

/// The passing notes with their degrees: `B (7)`.
fn passing(w: &Words, h: &Harmonized) -> Vec<String> {
    let mode = w.catalogue.mode(h.spelled.tonality.mode);
    let passing = super::scale::on_tonic(w, mode, h.spelled.tonic, &mode.passing);
    let passing = passing.into_iter();
    passing
        .map(|n| format!("{} ({})", n.note, n.degree))
        .collect()
}

/// A chord's label; of what is no chord its name, if it has one beside its notes.
fn label(w: &Words, h: &Harmonized, s: &Stack) -> String {
    let label = w.label(h, s);
    let notes = w.notes(h.spelled.tonic, &s.notes);
    let bare = s.sonority.chord().is_none() && sorted(&label) == sorted(&notes);
    if bare { String::new() } else { label }
}

fn sorted(notes: &str) -> Vec<&str> {
    let mut all: Vec<&str> = notes.split(' ').collect();
    all.sort_unstable();
    all
}

fn legend(w: &Words, h: &Harmonized, seen: [bool; 4]) -> String {
    let signs = signs(w);
    let mut lines = Vec::new();
    let passing = passing(w, h);
    if !passing.is_empty() {
        let own = w.catalogue.mode(h.spelled.tonality.mode);
        let is_it = |m: &&(ModeId, &Mode)| m.1.degrees.iter().copied().eq(own.chordal());
        let without = w.catalogue.all().collect::<Vec<_>>();
        let chords = match without.iter().find(is_it) {
            Some((mode, _)) => format!("the chords are those of {}; ", w.beside(h, *mode)),
            None => String::new(),
        };
        let (is, note) = match passing.len() {
            1 => ("is", "a passing note"),
            _ => ("are", "passing notes"),
        };
        lines.push(format!("{chords}{} {is} {note}", passing.join(" and ")));
    }
    match h.parallel.map(|p| w.beside(h, p)) {
        Some(parallel) => {
            let what = [
                (signs.differs, "another quality than in"),
                (signs.raised, "its root is higher than in"),
                (signs.lowered, "its root is lower than in"),
            ];
            let seen = [seen[0], seen[2], seen[3]];
            let what = what.iter().zip(seen).filter(|(_, seen)| *seen);
            lines.extend(what.map(|((sign, words), _)| format!("{sign} {words} {parallel}")));
        }
        None => {
            lines.push("no parallel major or minor has these degrees: nothing to compare".into())
        }
    }
    let mode = w.catalogue.mode(h.spelled.tonality.mode);
    if seen[1] {
        let notes: Vec<String> =
            super::scale::on_tonic(w, mode, h.spelled.tonic, &mode.characteristic)
                .into_iter()
                .map(|n| format!("{} ({})", n.note, n.degree))
                .collect();
        lines.push(format!(
            "{} with {}, which {} characteristic",
            signs.characteristic,
            notes.join(" or "),
            if notes.len() == 1 { "is" } else { "are" }
        ));
    }
    lines.extend(w.which_do(h.spelled.tonic));
    if lines.is_empty() {
        return String::new();
    }
    lines
        .iter()
        .fold(String::from("\n"), |all, l| format!("{all} {l}\n"))
}

/// Lines, each ended.
pub fn beside_text(w: &Words, b: &Beside) -> String {
    let signs = signs(w);
    let (left, right) = (&b.left, &b.right);
    let title = format!("{} beside {}", w.tonality(left), w.tonality(right));
    let altered: Vec<String> = w
        .altered(b)
        .into_iter()
        .map(|pair| match pair {
            (Some(a), Some(b)) => format!("{a} {} {b}", signs.becomes),
            (Some(a), None) => format!("without {a}"),
            (None, Some(b)) => format!("with {b}"),
            (None, None) => String::new(),
        })
        .collect();
    let altered = match altered.is_empty() {
        true => vec!["the same notes".to_owned()],
        false => altered,
    };
    let mut out = wrapped(&title, title.width() + 3, &altered, ",");

    let moved = left.spelled.tonality.center != right.spelled.tonality.center;
    let sides = [left, right].map(|h| h.usual().iter().any(|s| s.triad.characteristic));
    let common = moved && !b.common.is_empty();
    let mut seen = [false, false, false, common, sides.contains(&true)];
    let mut rows = Vec::new();
    for (i, size) in Size::BOTH.into_iter().enumerate() {
        let side = |h: &Harmonized, at: Option<usize>| -> [String; 4] {
            let step = at.and_then(|at| h.usual().get(at));
            let (Some(at), Some(s)) = (at, step.and_then(|s| s.stack(size))) else {
                return Default::default();
            };
            // On one center they are the rows where nothing changes.
            let common = moved && common_with(b, size, h, at).is_some();
            let mark = |on: bool, sign: &'static str| if on { sign } else { "" };
            [
                w.numeral(h, s),
                label(w, h, s),
                w.notes(h.spelled.tonic, &s.notes),
                mark(common, signs.common).to_owned()
                    + mark(s.characteristic, signs.characteristic),
            ]
        };
        let mut lines = Vec::new();
        for p in &b.pairs {
            let mut cells = vec![p.number.to_string()];
            cells.extend(side(left, p.left));
            cells.push(String::new());
            cells.extend(side(right, p.right));
            let (mark, which) = mark(p.changes[i], &signs);
            if cells[1..].iter().all(String::is_empty) {
                continue;
            }
            // Both sides stay apart also where nothing changes.
            cells[5] = format!("{mark:1}");
            if let Some(which) = which {
                seen[which] = true;
            }
            lines.push(Row::Cells(cells));
        }
        if !lines.is_empty() {
            let title = match size {
                Size::Triad => "\n triads",
                Size::Seventh => "\n sevenths",
            };
            rows.push(Row::Line(title.into()));
            rows.extend(lines);
        }
    }
    out.push_str(&aligned(&rows, &[]));

    for h in [left, right] {
        for (place, form) in h.forms.iter().enumerate().skip(1) {
            let chords = new_chords(w, h, place);
            let name = w.form(h, form).unwrap_or_default();
            let name = match name.starts_with("with") {
                true => name,
                false => format!("{name} form"),
            };
            let name = format!("\n {}, {name}:  ", w.tonality(h));
            out.push_str(&wrapped(&name, 3, &chords, ","));
        }
    }
    if moved {
        out.push_str(&common_text(w, b));
    }

    let what = [
        (signs.differs, "another quality"),
        (signs.numeral, "the same quality, another numeral"),
        (signs.notes, "other notes alone"),
        (signs.common, "in both tonalities"),
        (
            signs.characteristic,
            "with a characteristic note of its mode",
        ),
    ];
    let mut lines: Vec<String> = what
        .iter()
        .zip(seen)
        .filter(|(_, seen)| *seen)
        .map(|((sign, words), _)| format!("{sign} {words}"))
        .collect();
    let which = [left, right].map(|h| w.notation.which_do(h.spelled.tonic));
    lines.extend(match which {
        [Some(l), Some(r)] if l != r => Some(format!(
            "movable do, the tonic in every mode: do = {l} on the left, {r} on the right"
        )),
        _ => w.which_do(left.spelled.tonic),
    });
    if !lines.is_empty() {
        out.push('\n');
    }
    lines.iter().fold(out, |all, l| format!("{all} {l}\n"))
}

/// Numeral and label of what a further form has and none before it.
fn new_chords(w: &Words, h: &Harmonized, place: usize) -> Vec<String> {
    let further = h.further().into_iter();
    let steps = further.filter(|(form, _)| *form == place);
    steps
        .filter_map(|place| h.step(place))
        .flat_map(|step| Size::BOTH.map(|size| step.stack(size).map(|s| (size, s))))
        .flatten()
        .filter(|(size, s)| {
            let before = h.forms.iter().take(place).flat_map(|f| &f.steps);
            let mut stacks = before.filter_map(|b| b.stack(*size));
            stacks.all(|b| (b.notes.first(), b.set()) != (s.notes.first(), s.set()))
        })
        .map(|(_, s)| format!("{} {}", w.numeral(h, s), w.label(h, s)))
        .collect()
}

/// The sign of what changed, and its place in the legend.
fn mark(changes: Option<Changes>, signs: &Signs) -> (&'static str, Option<usize>) {
    match changes {
        None => ("", None),
        Some(Changes { quality: true, .. }) => (signs.differs, Some(0)),
        Some(Changes { numeral: true, .. }) => (signs.numeral, Some(1)),
        Some(Changes { notes: true, .. }) => (signs.notes, Some(2)),
        Some(_) => ("", None),
    }
}

/// Which chords lead from one to the other: label, numeral here = numeral there.
fn common_text(w: &Words, b: &Beside) -> String {
    let one = |(label, l, r): (String, String, String)| match l.is_empty() || r.is_empty() {
        true => label,
        false => format!("{label} {l} = {r}"),
    };
    let all: Vec<String> = Size::BOTH
        .into_iter()
        .flat_map(|size| common(w, b, size))
        .map(one)
        .collect();
    match all.is_empty() {
        true => "\n no chord in common\n".to_owned(),
        false => format!("\n{}", wrapped(" in common", 13, &all, ",")),
    }
}
