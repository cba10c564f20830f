//! The plain text that `analyze` prints: the tonal plan as a table.

use super::Analysis;
use super::change::{Harmony, around, common_chord, harmonies, label, notes_altered, numeral};
use crate::meter::Bars;
use crate::midi::FaultKind;
use crate::plain;
use crate::plan::{Claim, Region};
use crate::study::Plan;
use crate::time::Time;
use std::fmt::Write;

/// Lines, each ended.
pub fn analysis(a: &Analysis) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let name = plain::name(a.file);
    let _ = writeln!(out, "{name}  {}", a.study.duration);
    for f in a.faults.first() {
        let kind = match &f.kind {
            FaultKind::Damage(_) => "damaged",
            FaultKind::Limit(_) => "not read",
            FaultKind::Unknown { .. } => "not known",
        };
        let _ = writeln!(out, "  {kind}: {f}");
    }
    if let Some(more) = a.faults.and_more() {
        let _ = writeln!(out, "  {more}");
    }
    for (from, to) in a.study.heard.asides() {
        let (from, to) = (from.to_string(), to.to_string());
        let _ = writeln!(out, "  left out, an aside: {from} – {to}");
    }
    let heard = a.study.heard.plan();
    let plans = match a.by {
        None => vec![(Plan::Heard, heard), (Plan::Hindsight, &a.study.hindsight)],
        Some(by) => vec![(by.which, &by.plan)],
    };
    let lists = plans.into_iter().flat_map(|(which, plan)| {
        let title = which.title();
        let home = format!("home, {title}");
        [(title.to_owned(), &plan.regions), (home, &plan.home)]
    });
    for (title, list) in lists {
        let _ = writeln!(out, "  {title}");
        if list.is_empty() {
            let _ = writeln!(out, "    no center");
        }
        for (i, r) in list.iter().enumerate() {
            let change = i.checked_sub(1).map(|b| change(a, &list[b], r));
            let word = word(a, r).unwrap_or_default();
            let change = change.unwrap_or_default();
            let _ = writeln!(out, "    {}{word}{change}", region(a, r));
        }
    }
    if !a.study.markers.is_empty() {
        let _ = writeln!(out, "  markers");
    }
    for m in &a.study.markers {
        let about = m.about.map(|(from, to)| format!("  ({from} – {to})"));
        // A file of others may name them anything.
        let name = plain::name(&m.name);
        let about = about.unwrap_or_default();
        let line = format!("    {:>8}  {name}{about}", m.at.to_string());
        let _ = writeln!(out, "{}", line.trim_end());
    }
    let chords = match a.by {
        None => vec![
            (Plan::Heard, a.study.heard.chords()),
            (Plan::Hindsight, &a.study.chords[..]),
        ],
        Some(by) => vec![(by.which, &by.chords[..])],
    };
    for (which, spans) in chords {
        let known = which.into();
        let title = format!("chords, {}", which.title());
        let _ = writeln!(out, "  {title}");
        for (i, c) in spans.iter().enumerate().filter(|(_, c)| c.end > c.start) {
            let around = around(spans, i, known);
            let label = label(a, c, around);
            let numeral = numeral(a, c, around).map(|n| n.text(a.notation));
            let numeral = numeral.unwrap_or_default();
            let line = format!("    {:>8}  {label:<12} {numeral}", c.start.to_string());
            let _ = writeln!(out, "{}", line.trim_end());
        }
    }
    let paced = match a.by {
        None => vec![
            (Plan::Heard, a.study.heard.harmonies()),
            (Plan::Hindsight, &a.study.harmonies[..]),
        ],
        Some(by) => vec![(by.which, &by.harmonies[..])],
    };
    for (which, list) in paced {
        let known = which.into();
        let title = format!("harmonies at their own pace, {}", which.title());
        let _ = writeln!(out, "  {title}");
        for h in harmonies(a, list, known) {
            let at = h.span.start.to_string();
            let numeral = h.numeral.map(|n| n.text(a.notation)).unwrap_or_default();
            let line = h.line.map_or(String::new(), |notes| {
                format!("  (line {})", notes.join(" "))
            });
            let line = format!("    {at:>8}  {:<12} {numeral}{line}", h.label);
            let _ = writeln!(out, "{}", line.trim_end());
        }
    }
    if let Some(bars) = &a.study.bars {
        out += &sheet(a, bars);
    }
    out
}

/// Bars in a row of a sheet, and columns of one.
const ROW: u64 = 4;
const BAR: usize = 14;
/// More bars than a sheet has: a wrong tempo makes millions of them.
const MOST: u64 = 10_000;

/// The harmonies, in hindsight unless another plan is chosen, as a lead sheet has them, four bars a row: `Dm7 / G7 /` where one
/// begins within a bar, `%` where the one before goes on, nothing in silence.
fn sheet(a: &Analysis, bars: &Bars) -> String {
    let (which, list) = match a.by {
        None => (Plan::Hindsight, &a.study.harmonies),
        Some(by) => (by.which, &by.harmonies),
    };
    let mut out = format!("  bar by bar, {}\n", which.title());
    let list = harmonies(a, list, which.into());
    let place = |at: Time| {
        let place = bars.place(at)?;
        Some((place.bar, place.beat.round() as u64))
    };
    // With the places where they begin and end; what goes on after the last bar ends with it.
    let ends = |h: &Harmony| {
        let stop = bars.stop(h.span.start).filter(|stop| *stop <= h.span.end);
        place(stop.map_or(h.span.end, |stop| stop - Time(1)))
    };
    let placed = list
        .iter()
        .filter_map(|h| Some((place(h.span.start)?, ends(h)?, h)));
    let placed: Vec<_> = placed.collect();
    let last = placed.last().map_or(0, |(_, (bar, beat), _)| {
        // What ends with a bar does not reach into the next.
        bar - u64::from(*beat == 1)
    });
    if last > MOST {
        out += "    more than 10,000 bars, as with a wrong tempo: not written\n";
        return out;
    }
    let mut rest = placed.iter().peekable();
    let mut before: Option<(u64, u64)> = None;
    for bar in 1..=last {
        let mut cells: Vec<(u64, &str)> = Vec::new();
        let goes_on = before.is_some_and(|end| end > (bar, 1));
        let mut beats = 0;
        while let Some((start, end, h)) = rest.next_if(|(start, ..)| start.0 <= bar) {
            cells.push((start.1, &h.label));
            beats = bars.beats(h.span.start).unwrap_or(0).max(start.1);
            before = Some(*end);
        }
        let text = match &cells[..] {
            [] if goes_on => "%".to_owned(),
            [] => String::new(),
            [(1, label)] => (*label).to_owned(),
            several => {
                let cell = |beat| match several.iter().find(|c| c.0 == beat) {
                    Some((_, label)) => label,
                    None if beat == 1 && goes_on => "%",
                    None => "/",
                };
                let cells: Vec<&str> = (1..=beats).map(cell).collect();
                cells.join(" ")
            }
        };
        if bar % ROW == 1 {
            let _ = write!(out, "    {bar:>4}  ");
        }
        let _ = write!(out, "| {text:<BAR$}");
        if bar % ROW == 0 || bar == last {
            let _ = writeln!(out, "|");
        }
    }
    match list.len() - placed.len() {
        0 => {}
        1 => out += "    one harmony stands where there are no bars\n",
        left => {
            let _ = writeln!(out, "    {left} harmonies stand where there are no bars");
        }
    }
    out
}

/// When, and as much of its name as was heard: `G, mode open  (not heard: 3; Ionian or
/// Dorian)`, `D Dorian?  (not heard: 6; or Aeolian)`.
fn region(a: &Analysis, r: &Region) -> String {
    let whole = || a.notation.tonality(r.spelled, a.catalogue);
    let claim = r.open.claim();
    let name = match claim {
        Claim::Decided => whole(),
        Claim::Guess => format!("{}?", whole()),
        Claim::Undecided => {
            let center = a.notation.center(r.spelled, a.catalogue);
            format!("{center}, mode open")
        }
    };
    let mut line = format!(
        "{:>8} – {:>8}  {name}",
        r.start.to_string(),
        r.end.to_string()
    );
    if !r.open.is_empty() {
        let numbers: Vec<String> = r.open.numbers().map(|n| n.to_string()).collect();
        let _ = write!(line, "  (not heard: {}", numbers.join(", "));
        let own = (claim == Claim::Undecided).then_some(r.spelled.tonality.mode);
        let modes = own.into_iter().chain(r.open.others());
        let names: Vec<&str> = modes.map(|m| &*a.catalogue.mode(m).name).collect();
        let _ = match names.split_last() {
            None => Ok(()),
            Some((last, [])) if own.is_some() => write!(line, "; {last}"),
            Some((last, [])) => write!(line, "; or {last}"),
            Some((last, before)) => write!(line, "; {} or {last}", before.join(", ")),
        };
        line.push(')');
    }
    line
}

/// The listener's word for it.
fn word(a: &Analysis, r: &Region) -> Option<String> {
    let word = a.by?.said(r)?.word.as_ref()?;
    Some(format!(", “{}”", plain::name(word)))
}

/// How it was reached: the common chord with its numeral on both sides, the notes altered.
fn change(a: &Analysis, before: &Region, r: &Region) -> String {
    let mut said = Vec::new();
    if let Some((_, p)) = common_chord(a, before, r) {
        let label = a.notation.chord(p.chord, p.from.root());
        let (from, to) = (p.from.text(a.notation), p.to.text(a.notation));
        said.push(format!("{label}: {from} = {to}"));
    }
    said.extend(notes_altered(a, before, r));
    match said.is_empty() {
        true => String::new(),
        false => format!("  [{}]", said.join(", ")),
    }
}
