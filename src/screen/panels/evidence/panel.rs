//! The evidence, large.

use super::rows;
use super::shown::Evidence;
use super::table::{Table, scale};
use super::words::{listed, percent, why_no_center, without};
use crate::engine::Cause;
use crate::screen::look::Look;
use crate::screen::pen::{Pen, fit_words, wrapped};
use crate::screen::picture::Picture;
use crate::theory::Tonality;

/// Minimum size of the panel; below it the two rows are drawn.
const PANEL: (u16, u16) = (24, 5);
/// A second cause is named in the sentence if it changes at least this share of what the
/// first one does.
const SECOND: f32 = 0.25;

/// A sentence, a row for each thing heard with a bar and what would be said
/// without it, and what speaks against. Where everything stands depends on the panel's
/// size alone.
pub(in crate::screen) fn panel(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    if w < PANEL.0 || h < PANEL.1 {
        return rows::draw(pen, picture, look);
    }
    let styles = look.styles();
    let here = picture.reading.here;
    // Without a tonality established, what speaks for the likeliest.
    let e = picture
        .explanation
        .filter(|e| here.is_none_or(|h| h.spelled.tonality == e.spelled.tonality));
    let Some(e) = e else {
        let text = fit_words(without(picture), w, look.glyphs());
        pen.put(0, 0, &text, styles.quiet);
        return;
    };
    let evidence = Evidence::new(e, picture, look);
    let causes = evidence.causes();
    let sentence = if w < 100 && h >= 8 { 2 } else { 1 };
    match evidence.no_center() {
        true => no_center(pen, &evidence, picture, sentence),
        false => headline(pen, &evidence, &causes, sentence, look),
    }
    let heads = u16::from(h >= 14);
    let air = u16::from(h >= 11);
    let first = sentence + air + heads;
    let last = h - 1;
    let rows = last.saturating_sub(first + air);
    let table = Table::new(w);
    if heads > 0 {
        table.heads(pen, first - 1, look);
    }
    // The strongest, what speaks for it above what speaks against it.
    let mut shown = causes;
    shown.sort_by(|a, b| {
        evidence
            .change(b)
            .abs()
            .total_cmp(&evidence.change(a).abs())
    });
    shown.truncate(rows.into());
    shown.sort_by(|a, b| evidence.change(b).total_cmp(&evidence.change(a)));
    let most = shown.iter().map(|c| evidence.change(c).abs());
    let full = scale(most.fold(0.0, f32::max));
    for (y, cause) in (first..).zip(&shown) {
        table.row(pen, y, cause, full, &evidence);
    }
    against(pen, last, &evidence);
    if picture.asleep().is_some() {
        pen.tint(0, h, styles.asleep);
    }
}

/// `nothing is established: no center is likeliest, 97 %: the notes are whole-tone. Of the
/// centers C is, 1 %.`
fn no_center(pen: &mut Pen, evidence: &Evidence, picture: &Picture, rows: u16) {
    let look = evidence.look;
    let styles = look.styles();
    let start = format!(
        "no center is likeliest, {}",
        percent(evidence.e.no_center_probability)
    );
    let why = why_no_center(picture);
    let next = format!("{}, {}", evidence.name(), percent(evidence.probability()));
    let texts = [
        format!("{start}: {why}. Of the centers {next}."),
        format!("{start}: {why}."),
        format!("{start}."),
    ];
    let w = pen.width();
    let lines = texts.iter().map(|text| wrapped(text, w));
    let lines = lines.into_iter().find(|l| l.len() <= usize::from(rows));
    let start = fit_words(&start, w, look.glyphs());
    let lines = lines.unwrap_or_else(|| vec![start.clone()]);
    for (y, line) in (0..rows).zip(&lines) {
        pen.put(0, y, line, styles.text);
    }
    pen.put(0, 0, &start, styles.strong);
}

/// `G Mixolydian, 88 %: mostly because G is in the bass and F, not F♯, was heard.` As
/// many reasons as there is room for.
fn headline(pen: &mut Pen, evidence: &Evidence, causes: &[Cause], rows: u16, look: &Look) {
    let styles = look.styles();
    let name = format!("{}, {}", evidence.name(), percent(evidence.probability()));
    let (before, open) = match (evidence.open, evidence.center) {
        (None, _) => ("nothing is established; likeliest: ", ""),
        (Some(_), true) => ("", "; its mode is still open"),
        (Some(_), false) => ("", ""),
    };
    let for_it: Vec<&Cause> = causes.iter().filter(|c| evidence.change(c) > 0.0).collect();
    let mut endings: Vec<String> = Vec::new();
    if let [first, others @ ..] = &for_it[..] {
        let one = evidence.clause(first);
        let enough = |c: &&&Cause| evidence.change(c) >= SECOND * evidence.change(first);
        let again = |c: &&&Cause| evidence.says_again(first, c);
        let second = others.iter().filter(enough).find(|c| !again(c));
        if let Some(second) = second {
            let two = evidence.clause(second);
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

/// What speaks against it, and what is likelier at the moment.
fn against(pen: &mut Pen, y: u16, evidence: &Evidence) {
    let (e, look) = (evidence.e, evidence.look);
    let styles = look.styles();
    let mut items: Vec<String> = Vec::new();
    let kin = |t: Tonality| (t.center, look.catalogue.kin(t.mode));
    let other = match evidence.center {
        true => e.likeliest.center != e.spelled.tonality.center,
        false => kin(e.likeliest) != kin(e.spelled.tonality),
    };
    if other {
        let likeliest = look.catalogue.spelled(e.likeliest, Some(e.spelled.tonic));
        let name = evidence.otherwise(likeliest);
        items.push(format!("{name} is likelier now"));
    }
    items.extend(evidence.against());
    let room = pen.width();
    if items.is_empty() || evidence.no_center() {
        let text = match evidence.no_center() {
            true => "nothing heard speaks clearly for one center",
            false => "nothing heard speaks against it",
        };
        let text = fit_words(text, room, look.glyphs());
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
