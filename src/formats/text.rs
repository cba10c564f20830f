//! The plain text that `analyze` prints: the tonal plan as a table.

use super::{Analysis, around};
use crate::plan::Region;
use std::fmt::Write;

/// Lines, each ended.
pub fn analysis(a: &Analysis) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(out, "{}  {}", a.file, a.study.duration);
    for f in a.faults {
        let _ = writeln!(out, "  damaged: {f}");
    }
    let heard = a.study.heard.plan();
    for (title, list) in [
        ("as heard", &heard.regions),
        ("home, as heard", &heard.home),
        ("in hindsight", &a.study.hindsight.regions),
        ("home, in hindsight", &a.study.hindsight.home),
    ] {
        let _ = writeln!(out, "  {title}");
        if list.is_empty() {
            let _ = writeln!(out, "    no center");
        }
        for r in list {
            let _ = writeln!(out, "    {}", region(a, r));
        }
    }
    let _ = writeln!(out, "  chords");
    let spans = a.study.heard.chords();
    for (i, c) in spans.iter().enumerate().filter(|(_, c)| c.end > c.start) {
        let label = a.notation.sonority(c.sonority, c.within, a.catalogue);
        let numeral = a
            .notation
            .numeral_between(c.sonority, c.within, around(spans, i, false), a.catalogue)
            .unwrap_or_default();
        let _ = writeln!(out, "    {:>8}  {label:<12} {numeral}", c.start.to_string());
    }
    out
}

fn region(a: &Analysis, r: &Region) -> String {
    let name = a.notation.tonality(r.tonality, r.tonic, a.catalogue);
    let mut line = format!(
        "{:>8} – {:>8}  {name}",
        r.start.to_string(),
        r.end.to_string()
    );
    if !r.open.is_empty() {
        let numbers: Vec<String> = r.open.numbers().map(|n| n.to_string()).collect();
        let _ = write!(line, "  (not heard: {}", numbers.join(", "));
        for m in r.open.others() {
            let _ = write!(line, "; or {}", a.catalogue.mode(m).name);
        }
        line.push(')');
    }
    line
}
