//! The plan as its listener corrected it, in a row below the lanes: a thick line where something
//! was corrected, a thin one where it is as in hindsight.

use super::history::new_center;
use crate::correction::{Center, CorrectedPlan, CorrectedRegion};
use crate::screen::claim;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, columns};
use crate::screen::timeline::Columns;
use crate::time::Time;

const CAPTION: &str = "yours";

pub(super) fn draw(
    pen: &mut Pen,
    (left, row): (u16, u16),
    plan: &CorrectedPlan,
    window: &Columns,
    look: &Look,
) {
    let styles = look.styles();
    pen.put(0, row, CAPTION, styles.quiet);
    let mut names = Vec::new();
    for (r, end) in plan.stretches() {
        let Some((a, b)) = window.part(r.start, end) else {
            continue;
        };
        let (line, style) = match &r.by {
            Some(_) => (look.sign('━', '='), styles.strong),
            None => (look.sign('─', '-'), styles.quiet),
        };
        pen.line(left + a, row, b - a, line, style);
        if r.start > Time::ZERO && window.at(r.start) == Some(a) {
            pen.dot(left + a, row, look.sign('┃', '|'), style);
        }
        names.push((r, a + 1, b));
    }
    for (r, a, b) in names {
        // Some of the line remains.
        let room = b.saturating_sub(a + 1);
        let fits = |text: &String| columns(text) <= room;
        if let Some(text) = texts(r, look).into_iter().find(fits) {
            pen.put(left + a, row, &text, styles.strong);
        }
    }
}

/// What a region is called, from whole to short.
fn texts(r: &CorrectedRegion, look: &Look) -> Vec<String> {
    let names = match r.center {
        Center::None => vec!["no center".into(), "none".into()],
        Center::In(spelled) => {
            let tonic = look.center(spelled);
            match claim::mode(spelled.tonality, r.open, look) {
                Some(mode) => new_center(&tonic, &mode),
                None => vec![tonic],
            }
        }
    };
    let quotes = look.sign(('“', '”'), ('"', '"'));
    let word = r
        .word
        .as_ref()
        .map(|w| format!("{}{w}{}", quotes.0, quotes.1));
    let first = names.first().cloned().unwrap_or_default();
    let both = word.map(|word| format!("{first} {word}"));
    both.into_iter().chain(names).collect()
}
