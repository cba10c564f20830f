//! The catalogue of modes as a table, and one mode in detail, for a terminal of 80
//! columns.

use super::Words;
use super::catalogue::{also, families, name};
use super::scale_text::{Row, aligned, scale, signs, wrapped};
use crate::theory::{
    Degree, Harmonized, Mode, ModeId, SpelledTonality, Spelling, Tonality, brightness_order,
    relatives,
};
use unicode_width::UnicodeWidthStr;

/// Columns of degrees, and of notes: a mode with more goes on past them.
const DEGREES: usize = 7;

fn brightness(w: &Words, m: &Mode) -> String {
    match m.brightness() {
        b @ 1.. => format!("+{b}"),
        0 => "0".into(),
        b => format!("{}{}", signs(w).minus, -b),
    }
}

/// The whole catalogue on `tonic`: lines, each ended.
pub fn text(w: &Words, tonic: Spelling) -> String {
    let signs = signs(w);
    let mut out = String::new();
    // Those with more degrees stand below the others, and families of scales alone as well.
    // Columns are aligned among each, so that they fit into a terminal.
    let place = |modes: &[(ModeId, &Mode)]| {
        let wide = modes.iter().any(|(_, m)| m.degrees.len() > DEGREES);
        (wide, modes.iter().all(|(id, _)| w.catalogue.is_scale(*id)))
    };
    for at in [(false, false), (true, false), (false, true), (true, true)] {
        let families = families(w);
        let here = families.into_iter().filter(|(_, modes)| place(modes) == at);
        out.push_str(&table(w, tonic, here.collect()));
    }
    let named: Vec<(String, Vec<String>)> = families(w)
        .into_iter()
        .flat_map(|f| f.1)
        .map(|(id, m)| (name(w, id), also(w, m)))
        .filter(|(_, also)| !also.is_empty())
        .collect();
    let margin = named
        .iter()
        .map(|(name, _)| name.width())
        .max()
        .unwrap_or(0)
        + 3;
    let also = named
        .iter()
        .map(|(name, also)| wrapped(&format!(" {name}"), margin, also, ","));
    let which_do = w.which_do(tonic).map(|which| format!(" {which}\n"));
    format!(
        "Modes on {}, each family from bright to dark\n{}\n also called\n{}\n\
         \x20{} characteristic: tells it from the parallel major or natural minor,\n\
         \x20  whichever is nearer; of minor itself the leading tone, of melodic minor\n\
         \x20  what tells it from natural minor\n\
         \x20{} a passing note: no chord stands on it\n\
         \x20{} a scale: found by its name, never what music is taken for\n\
         \x20The figure after the name is the brightness: the degrees' sharps less their\n\
         \x20flats, against the major scale.\n{}",
        w.name(tonic),
        out,
        also.collect::<String>(),
        signs.characteristic,
        signs.passing,
        signs.scale,
        which_do.unwrap_or_default(),
    )
}

/// Families as a table of their own: lines, each ended.
fn table(w: &Words, tonic: Spelling, families: Vec<(&str, Vec<(ModeId, &Mode)>)>) -> String {
    let signs = signs(w);
    let note = |m: &Mode, d: Degree| w.note(tonic, m.spell(tonic, d));
    let mark = |m: &Mode, d: Degree| {
        let sign = match () {
            _ if m.characteristic.contains(&d) => signs.characteristic,
            _ if m.passing.contains(&d) => signs.passing,
            _ => "",
        };
        format!("{sign}{}", w.degree(d))
    };
    let most = families
        .iter()
        .flat_map(|f| &f.1)
        .map(|(_, m)| m.degrees.len());
    let most = most.max().unwrap_or(0).max(DEGREES);
    // A blank column between degrees and notes.
    let start = 2 + most + 1;
    let mut rows = Vec::new();
    for (family, modes) in families {
        rows.push(Row::Line(format!("\n {family}")));
        let steps = brightness_order(w.catalogue, family);
        for (id, m) in modes {
            let mut cells = vec![String::new(); start + most];
            cells[0] = match w.catalogue.is_scale(id) {
                true => format!("{} {}", name(w, id), signs.scale),
                false => name(w, id),
            };
            cells[1] = brightness(w, m);
            cells[start - 1] = " ".into();
            let mut moved = cells.clone();
            moved[0] = "  or with".into();
            moved[1] = String::new();
            for (i, &d) in m.degrees.iter().enumerate() {
                cells[2 + i] = mark(m, d);
                cells[start + i] = note(m, d);
                if let Some(&other) = m.movable.iter().find(|o| o.number == d.number) {
                    moved[2 + i] = mark(m, other);
                    moved[start + i] = note(m, other);
                }
            }
            rows.push(Row::Cells(cells));
            if !m.movable.is_empty() {
                rows.push(Row::Cells(moved));
            }
        }
        // Where each step alters a single note, which one.
        let altered: Option<Vec<(ModeId, Degree)>> = steps
            .iter()
            .skip(1)
            .map(|s| match s.altered[..] {
                [one] => Some((s.mode, one)),
                _ => None,
            })
            .collect();
        if let Some(altered) = altered.filter(|a| a.len() > 2) {
            let altered: Vec<String> = altered
                .iter()
                .map(|&(m, d)| format!("{} ({})", w.degree(d), note(w.catalogue.mode(m), d)))
                .collect();
            let line = wrapped("  each step down brings", 24, &altered, ",");
            rows.push(Row::Line(line.trim_end().to_owned()));
        }
    }
    let right: Vec<usize> = (1..start).collect();
    aligned(&rows, &right)
}

/// One mode in detail, with its chords: lines, each ended.
pub fn mode_text(w: &Words, t: SpelledTonality) -> String {
    const MARGIN: usize = 17;
    let m = w.catalogue.mode(t.tonality.mode);
    let h = Harmonized::new(t, w.catalogue);
    let note = |&d: &Degree| w.note(t.tonic, m.spell(t.tonic, d));
    let list = |degrees: &[Degree], between: &str| -> String {
        let all: Vec<String> = degrees.iter().map(note).collect();
        all.join(between)
    };
    let mut out = format!("{}\n\n", w.tonality(&h));
    let mut say = |what: &str, words: &[String], between: &str| {
        out.push_str(&wrapped(&format!(" {what}"), MARGIN, words, between));
    };
    let degrees: Vec<String> = m.degrees.iter().map(|&d| w.degree(d)).collect();
    let names = also(w, m);
    if !names.is_empty() {
        say("also called", &names, ",");
    }
    say("degrees", &[degrees.join(" ")], "");
    say("notes", &[list(&m.degrees, " ")], "");
    if !m.movable.is_empty() {
        let movable = m
            .movable
            .iter()
            .map(|d| format!("{} ({})", w.degree(*d), note(d)));
        say("or with", &movable.collect::<Vec<_>>(), ",");
    }
    if !m.passing.is_empty() {
        let passing = m.passing.iter();
        let passing = passing.map(|d| format!("{} ({})", w.degree(*d), note(d)));
        say("passing", &passing.collect::<Vec<_>>(), ",");
    }
    say("family", std::slice::from_ref(&m.parent), "");
    let characteristic: Vec<String> = m
        .characteristic
        .iter()
        .map(|d| format!("{} ({})", w.degree(*d), note(d)))
        .collect();
    if !characteristic.is_empty() {
        say("characteristic", &characteristic, ",");
    }
    let mut bright = vec![brightness(w, m)];
    let order = brightness_order(w.catalogue, &m.parent);
    let order = order
        .iter()
        .position(|s| s.mode == t.tonality.mode)
        .map(|at| (at, order));
    // A symmetric scale is its own relative, and no brighter or darker than it.
    if let Some((at, order)) = order.filter(|_| !m.is_symmetric()) {
        let beside = |id: ModeId, words: &str| {
            let other = w.catalogue.mode(id);
            let new = other.degrees.iter().filter(|d| !m.degrees.contains(d));
            let new: Vec<Degree> = new.copied().collect();
            // Where more than a few differ they tell nothing.
            match new.is_empty() || new.len() > 4 {
                true => format!("{words} is {}", name(w, id)),
                false => format!("{words} is {} with {}", name(w, id), list(&new, " and ")),
            }
        };
        let before = at.checked_sub(1).and_then(|i| order.get(i));
        bright.extend(before.map(|s| beside(s.mode, "next brighter")));
        bright.extend(order.get(at + 1).map(|s| beside(s.mode, "next darker")));
    }
    say("brightness", &bright, ";");
    if w.catalogue.is_scale(t.tonality.mode) {
        say(
            "estimated",
            &["never; found by its name alone".to_owned()],
            "",
        );
    }
    let name_of = |t: SpelledTonality| w.notation.tonality(t, w.catalogue);
    let same: Vec<String> = relatives(t, w.catalogue)
        .into_iter()
        .flat_map(|t| {
            // One whose degrees move has these notes in its usual form: A minor.
            let set = w.catalogue.mode(t.tonality.mode).set();
            let moving = w.catalogue.iter();
            let moving = moving.filter(move |(_, m)| !m.movable.is_empty() && m.set() == set);
            let moving = moving.map(move |(mode, _)| SpelledTonality {
                tonality: Tonality { mode, ..t.tonality },
                ..t
            });
            std::iter::once(t).chain(moving)
        })
        .map(name_of)
        .collect();
    if !same.is_empty() {
        say("same notes", &same, ",");
    }
    out.push('\n');
    out.push_str(&scale(w, &h));
    out
}
