//! The harmonized scale of the tonality pinned or here: the triad and the seventh on
//! each degree, what in them differs from the parallel major or minor, and the chord
//! that sounds in brackets.
//!
//! With rows enough for large letters it is to be read from the back of the room. Else
//! where there are rows enough a degree has a row, and its notes where there is room;
//! else a column. With twice as many rows the degrees stand apart, to be read from afar;
//! notes without room beside their chords go between the degrees.

use crate::screen::claim::{Claim, reference};
use crate::screen::label::Label;
use crate::screen::large;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns, fit};
use crate::screen::picture::Picture;
use crate::theory::{ChordPlace, Glyphs, Harmonized, Size, Spelling, Stack, Step, spell_degree};
use ratatui::style::Style;

pub(in crate::screen) fn draw(pen: &mut Pen, picture: &Picture, label: &Label, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < 24 || h < 4 {
        return;
    }
    let styles = look.styles();
    let mut x = pen.put(1, 0, "scale", styles.quiet);
    let say = |pen: &mut Pen, words: &str| {
        let words = fit(words, w.saturating_sub(1), look.glyphs());
        pen.put(1, h / 2, &words, styles.quiet);
    };
    let Some(reference) = reference(picture, look) else {
        return say(pen, "no center, no scale");
    };
    if reference.claim == Claim::Undecided {
        return say(pen, "not yet: the mode is still open");
    }
    let scale = Harmonized::new(reference.spelled, look.catalogue);
    let place = label.sonority().and_then(|s| s.chord());
    let place = place.and_then(|chord| scale.locate(chord));
    if reference.pinned {
        let name = look.notation.tonality(scale.spelled, look.catalogue);
        let name = fit(
            &format!("of {name}"),
            w.saturating_sub(x + 1),
            look.glyphs(),
        );
        x = pen.put(x + 1, 0, &name, styles.strong);
    }
    legend(pen, x + 2, &scale, look);
    let usual = scale.usual().len();
    if Table::new(&scale, place, 0, look).afar(pen, look) {
        if reference.is_dim(picture) {
            pen.tint(0, h, styles.asleep);
        }
        return;
    }
    let spare = usize::from(h).saturating_sub(usual + 1);
    let all = Table::new(&scale, place, spare, look);
    if usual < usize::from(h) {
        all.down(pen, look);
    } else {
        all.across(pen, look);
    }
    if reference.is_dim(picture) {
        pen.tint(0, h, styles.asleep);
    }
}

/// On the right of the caption what the marks mean, in as many words as there is room for.
fn legend(pen: &mut Pen, x: u16, scale: &Harmonized, look: &Look) {
    let other = scale.parallel.filter(|&p| p != scale.spelled.tonality.mode);
    let parallel = other.map(|mode| {
        look.notation
            .tonality(scale.spelled.with_mode(mode), look.catalogue)
    });
    let own = &look
        .catalogue
        .mode(scale.spelled.tonality.mode)
        .characteristic;
    let notes: Vec<String> = own
        .iter()
        .map(|&d| look.notation.name(spell_degree(scale.spelled.tonic, d)))
        .collect();
    let say = |not: &str, with: &str| {
        let parallel = parallel.as_ref();
        let mut parts: Vec<String> = parallel
            .map(|p| format!("{} {not}{p}", look.sign("≠", "!")))
            .into_iter()
            .collect();
        if !notes.is_empty() {
            parts.push(format!("{} {with}{}", look.sign("•", "*"), notes.join(" ")));
        }
        parts.join("  ")
    };
    let room = pen.width().saturating_sub(x);
    let long = say("not as in ", "with ");
    // If there is no room: in fewer words, then without the characteristic note, which the
    // chords mark anyway.
    let short = say("", "");
    let differs = short.split("  ").next().unwrap_or_default();
    let text = [long.as_str(), &short, differs]
        .into_iter()
        .find(|t| columns(t) <= room)
        .unwrap_or_default();
    pen.put_right(pen.width(), 0, text, look.styles().quiet);
}

/// One chord as text.
struct Cell {
    numeral: String,
    label: String,
    /// The label without its root, where the root is the degree.
    suffix: String,
    notes: String,
    marks: Marks,
}

/// What is marked of a chord.
#[derive(Clone, Copy)]
struct Marks {
    differs: bool,
    characteristic: bool,
}

/// The degrees with their chords: triad, and seventh where there is one.
struct Table {
    rows: Vec<[Option<Cell>; 2]>,
    /// The degree that sounds, and which of its chords.
    lit: Option<(usize, Option<Size>)>,
}

impl Table {
    /// The usual form, and below it the chords of the others where `spare` rows are
    /// enough for one; without, on the degree that sounds the form that it sounds in.
    fn new(scale: &Harmonized, place: Option<ChordPlace>, spare: usize, look: &Look) -> Table {
        let text = |&n: &Spelling| look.notation.name(n);
        let cell = |step: &Step, s: &Stack| {
            let notes: Vec<String> = s.notes.iter().map(text).collect();
            let notes = notes.join(" ");
            let label = match s.chord() {
                Some(_) => scale.label(s, &look.notation, look.catalogue),
                None => notes.clone(),
            };
            let numeral = scale.numeral(s, &look.notation, look.catalogue);
            let own = s.sonority.chord().is_some_and(|c| c.root == c.bass);
            Cell {
                numeral: numeral.unwrap_or_else(|| step.degree.text(look.notation.glyphs)),
                suffix: match label.strip_prefix(&text(&step.root)) {
                    Some(suffix) if own => suffix.to_owned(),
                    _ => label.clone(),
                },
                label,
                notes,
                marks: Marks {
                    differs: s.differs == Some(true),
                    characteristic: s.characteristic,
                },
            }
        };
        let mut places: Vec<(usize, usize)> = (0..scale.usual().len()).map(|at| (0, at)).collect();
        let mut further = scale.further();
        while further.len() > spare {
            let last = further.last().map(|f| f.0);
            further.retain(|f| Some(f.0) != last);
        }
        places.extend(further);
        let sounding = place.map(|p| (p.form, p.at));
        if let Some(there) = sounding.filter(|s| !places.contains(s)) {
            // No row of its own: in the place of the usual one.
            let usual = places.iter_mut().find(|p| **p == (0, there.1));
            usual.into_iter().for_each(|p| *p = there);
        }
        let row = |&place: &(usize, usize)| {
            let step = scale.step(place);
            Size::BOTH.map(|size| step.and_then(|s| Some(cell(s, s.stack(size)?))))
        };
        let lit = place.and_then(|p| {
            let at = places.iter().position(|&q| Some(q) == sounding)?;
            Some((at, p.size))
        });
        Table {
            rows: places.iter().map(row).collect(),
            lit,
        }
    }

    fn is_lit(&self, at: usize, size: Size) -> bool {
        self.lit == Some((at, Some(size)))
    }

    /// In large letters: numerals, triads, sevenths, and their marks. Returns whether they
    /// have room.
    fn afar(&self, pen: &mut Pen, look: &Look) -> bool {
        let room = pen.height().saturating_sub(1);
        let Some((top, stride)) = large::afar(room, self.rows.len(), look.glyphs()) else {
            return false;
        };
        let wide = |of: &dyn Fn(&Cell) -> u16, half: usize| -> u16 {
            let cells = self.rows.iter().filter_map(|r| r[half].as_ref());
            cells.map(of).max().unwrap_or(0)
        };
        let numeral: [u16; 2] = [0, 1].map(|i| {
            wide(
                &|c| large::width(&c.numeral, large::Size::Four, Glyphs::Unicode),
                i,
            )
        });
        let label: [u16; 2] = [0, 1].map(|i| wide(&|c| large::wide_in_brackets(&c.label), i));
        // A blank, the marks, and air before the next chord.
        let half = |i: usize| numeral[i] + 2 + label[i] + 3;
        let whole = 1 + half(0) + 3 + half(1) <= pen.width();
        if 1 + half(0) > pen.width() {
            return false;
        }
        let spare = match whole {
            true => pen.width() - (1 + half(0) + 3 + half(1)),
            false => 0,
        };
        for (at, row) in self.rows.iter().enumerate() {
            let y = top + at as u16 * stride;
            let mut x = 1;
            for (i, size) in Size::BOTH
                .into_iter()
                .enumerate()
                .take(1 + usize::from(whole))
            {
                if let Some(cell) = &row[i] {
                    let lit = self.is_lit(at, size);
                    let alone = i == 0 && self.lit == Some((at, None));
                    let styles = look.styles();
                    let [first, second] = match (lit, alone) {
                        (true, _) => [styles.chord; 2],
                        (_, true) => [styles.chord, styles.text],
                        _ => [styles.quiet, styles.text],
                    };
                    large::write(
                        pen,
                        (x, y),
                        &cell.numeral,
                        large::Size::Four,
                        first,
                        Glyphs::Unicode,
                    );
                    let start = x + numeral[i] + 2;
                    large::in_brackets(
                        pen,
                        (start, y),
                        &cell.label,
                        large::Brackets::around(lit),
                        second,
                    );
                    let after = start + label[i] + 1;
                    marks(pen, (after, y + 2), cell.marks, look);
                }
                x += half(i) + 3 + spare.min(8);
            }
        }
        true
    }

    /// One row a degree, below the caption.
    fn down(&self, pen: &mut Pen, look: &Look) {
        let wide = |of: fn(&Cell) -> &str, half: usize| -> u16 {
            let cells = self.rows.iter().filter_map(|r| r[half].as_ref());
            cells.map(|c| columns(of(c))).max().unwrap_or(0)
        };
        let numeral: [u16; 2] = [0, 1].map(|i| wide(|c| &c.numeral, i));
        let label: [u16; 2] = [0, 1].map(|i| wide(|c| &c.label, i));
        let notes: [u16; 2] = [0, 1].map(|i| wide(|c| &c.notes, i) + 1);
        // Numeral, blank, bracket, label, bracket, marks; a gap between the halves.
        let bare = 1 + numeral[0] + label[0] + 5 + 1 + numeral[1] + label[1] + 5;
        let with_notes = bare + notes[0] + notes[1] <= pen.width();
        let count = self.rows.len() as u16;
        let room = pen.height().saturating_sub(1);
        let apart = count * 2 <= room + 1;
        let between = apart && !with_notes && count * 2 <= room;
        // Rows that are apart have columns that are apart.
        let bare = bare + if with_notes { notes[0] + notes[1] } else { 0 };
        let spare = pen.width().saturating_sub(bare + 1) / 5;
        let (near, far) = match apart {
            true => (spare.min(2), spare.min(6)),
            false => (0, 0),
        };
        let gap = far + if with_notes { 3 } else { 1 };
        let first = u16::from(apart && count * 2 + u16::from(between) <= room);
        for (at, row) in self.rows.iter().enumerate() {
            let y = at as u16 * if apart { 2 } else { 1 } + 1 + first;
            let mut x = 1;
            for (i, size) in Size::BOTH.into_iter().enumerate() {
                if let Some(cell) = &row[i] {
                    let lit = self.is_lit(at, size);
                    let alone = i == 0 && self.lit == Some((at, None));
                    let style = style(lit || alone, look);
                    let start = x + numeral[i] + near + 1;
                    let end = start + 1 + columns(&cell.label);
                    if lit {
                        // One bar from the numeral to the label.
                        pen.line(x - 1, y, end - x + 2, ' ', style);
                        bracket(pen, (start, end), y, look);
                    }
                    pen.put(x, y, &cell.numeral, style);
                    if alone {
                        bracket(pen, (x - 1, x + columns(&cell.numeral)), y, look);
                    }
                    let plain = if alone { look.styles().chord } else { style };
                    pen.put(start + 1, y, &cell.label, plain);
                    let mut x = start + 2 + label[i];
                    if with_notes {
                        x += near.min(1);
                        pen.put(x, y, &cell.notes, look.styles().text);
                        x += notes[i];
                    } else if between {
                        pen.put(start + 1, y + 1, &cell.notes, look.styles().quiet);
                    }
                    marks(pen, (x, y), cell.marks, look);
                }
                x += numeral[i] + near + 3 + label[i] + 2 + gap;
                if with_notes {
                    x += notes[i] + near.min(1);
                }
            }
        }
    }

    /// One column a degree: numerals, triads, sevenths, and below them their marks. With
    /// fewer rows the degree's marks stand beside its numeral.
    fn across(&self, pen: &mut Pen, look: &Look) {
        let count = self.rows.len().max(1) as u16;
        let slot = (pen.width().saturating_sub(1) / count).max(2);
        let own_rows = pen.height() >= 6;
        let glyphs = look.glyphs();
        let whole = |c: &Cell| columns(&c.label) < slot;
        let sevenths = self.rows.iter().filter_map(|r| r[1].as_ref());
        let whole = sevenths.into_iter().all(whole);
        for (at, row) in self.rows.iter().enumerate() {
            let x = at as u16 * slot;
            let room = slot - 1;
            let here = self.lit.filter(|l| l.0 == at);
            if let Some(triad) = &row[0] {
                let alone = matches!(here, Some((_, None)));
                let text = fit(&triad.numeral, room, glyphs);
                let end = pen.put(x + 1, 1, &text, style(here.is_some(), look));
                if alone {
                    bracket(pen, (x, end), 1, look);
                }
                if !own_rows {
                    let any = |of: fn(Marks) -> bool| row.iter().flatten().any(|c| of(c.marks));
                    let all = Marks {
                        differs: any(|m| m.differs),
                        characteristic: any(|m| m.characteristic),
                    };
                    let at = (end + u16::from(alone), 1);
                    marks(pen, at, all, look);
                }
            }
            for (i, size) in Size::BOTH.into_iter().enumerate() {
                let Some(cell) = &row[i] else { continue };
                let y = match own_rows {
                    true => 2 + 2 * i as u16,
                    false => 2 + i as u16,
                };
                let text = match i {
                    1 if !whole => &cell.suffix,
                    _ => &cell.label,
                };
                let lit = self.is_lit(at, size);
                let end = pen.put(x + 1, y, &fit(text, room, glyphs), style(lit, look));
                if lit {
                    bracket(pen, (x, end), y, look);
                }
                if own_rows {
                    marks(pen, (x + 1, y + 1), cell.marks, look);
                }
            }
        }
    }
}

fn style(lit: bool, look: &Look) -> Style {
    let styles = look.styles();
    if lit { styles.lit } else { styles.text }
}

/// Brackets, so that shape shows it as well as colour.
fn bracket(pen: &mut Pen, (left, right): (u16, u16), y: u16, look: &Look) {
    let style = look.styles().lit;
    pen.dot(left, y, '[', style);
    pen.dot(right, y, ']', style);
}

fn marks(pen: &mut Pen, (x, y): (u16, u16), marks: Marks, look: &Look) {
    let style = look.styles().away;
    let mut x = x;
    for (on, sign) in [
        (marks.differs, look.sign('≠', '!')),
        (marks.characteristic, look.sign('•', '*')),
    ] {
        if on {
            pen.dot(x, y, sign, style);
            x += 1;
        }
    }
}
