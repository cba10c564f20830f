//! What decides: how much of the reading's probability hangs on what was heard.

use super::claim::{self, Claim};
use super::draw::{Look, Picture, length};
use super::pen::{Pen, columns, fit};
use crate::engine::{Cause, Explanation, What};
use crate::theory::PitchClassSet;
use crate::time::Time;

/// Columns of the caption.
const CAPTION: u16 = 9;
/// What changes less is not worth a word.
const LEAST: f32 = 0.005;
/// So many notes of a bass line or a last chord are named.
const NOTES: usize = 4;

pub(super) fn draw(pen: &mut Pen, picture: &Picture, look: &Look) {
    let (w, h) = (pen.width(), pen.height());
    let styles = look.styles();
    let style = match picture.asleep() {
        Some(_) => styles.asleep,
        None => styles.text,
    };
    pen.put(0, 0, "because", styles.quiet);
    let Some(e) = picture.explanation else { return };
    // Of a mode that is not claimed the center alone is explained.
    let open = picture.reading.here.filter(|h| h.tonality == e.tonality);
    let open = open.map(|h| h.open);
    let center = open.is_none_or(|o| claim::claim(o) == Claim::Undecided);
    let change = |c: &Cause| if center { c.center_change } else { c.change };
    let mut causes: Vec<Cause> = e.causes.iter().flatten().copied().collect();
    causes.sort_by(|a, b| change(b).total_cmp(&change(a)));
    let say = |c: &Cause| format!("{} {}", words(c.what, e, look), figure(change(c), look));
    let pro: Vec<String> = causes
        .iter()
        .filter(|c| change(c) >= LEAST)
        .map(say)
        .collect();
    let con = causes.iter().rev().filter(|c| change(c) <= -LEAST);
    let con: Vec<String> = con.map(say).collect();

    let name = match open.filter(|_| !center) {
        Some(open) => claim::name(e.tonality, e.tonic, open, look),
        None => look.center(e.tonality, e.tonic),
    };
    let whole = if center {
        e.center_probability
    } else {
        e.probability
    };
    let name = format!("{name} {whole:.2}");
    let ascii = look.ascii();
    let x = pen.put(
        CAPTION,
        0,
        &fit(&name, w.saturating_sub(CAPTION), ascii),
        styles.strong,
    ) + 2;
    let against = "against ";
    if h > 1 {
        let room = w.saturating_sub(x);
        match pro.is_empty() {
            false => pen.put(x, 0, &listed(&pro, room, look), style),
            true => pen.put(x, 0, &fit("no single thing decides", room, ascii), style),
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
    // What decides goes before what does not.
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

/// `+0.41`.
fn figure(change: f32, look: &Look) -> String {
    let sign = if change < 0.0 {
        look.sign("−", "-")
    } else {
        "+"
    };
    format!("{sign}{:.2}", change.abs())
}

/// `D in the bass`, `F`, `G7 2 s ago`, `D triad`, `ends on D`.
fn words(what: What, e: &Explanation, look: &Look) -> String {
    let within = Some((e.tonality, e.tonic));
    let note = |pc| look.notation.note_named(pc, within, look.catalogue);
    let notes = |set: PitchClassSet| {
        // From the center up.
        let own = (0..12).map(|n| e.tonality.center.up(n));
        let named: Vec<String> = own.filter(|&pc| set.contains(pc)).map(note).collect();
        let more = if named.len() > NOTES {
            look.sign("…", "...")
        } else {
            ""
        };
        let shown = &named[..named.len().min(NOTES)];
        format!("{}{more}", shown.join(" "))
    };
    match what {
        What::PitchClass(pc) => note(pc),
        What::Bass(set) => format!("{} in the bass", notes(set)),
        What::Chord(sonority, at) => {
            let mut label = look.notation.sonority(sonority, within, look.catalogue);
            // A major triad is written as its root is.
            if sonority.chord().is_some_and(|c| label == note(c.root)) {
                label.push_str(" triad");
            }
            match e.at.since(at) {
                now if now < Time::millis(1000) => label,
                ago => format!("{label} {} ago", length(ago)),
            }
        }
        What::PhraseEnd(set, _) => format!("ends on {}", notes(set)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::CAUSES;
    use crate::plan::Open;
    use crate::screen::Palette;
    use crate::screen::tests::{Scene, as_text};
    use crate::theory::{Glyphs, Kinds, PitchClass};

    /// Where the mode is not claimed, the figures are the center's.
    #[test]
    fn a_mode_that_is_not_claimed_is_not_explained() {
        let mut s = Scene::fifth().explained();
        let told = |s: &Scene| as_text(&s.draw(80, 24, Palette::Dark, Glyphs::Unicode));
        let undecided = told(&s);
        assert!(undecided.contains("because  D 0.97"), "{undecided}");
        assert!(undecided.contains("D in the bass +0.31"), "{undecided}");
        if let Some(here) = &mut s.reading.here {
            here.open = Open::default();
        }
        let decided = told(&s);
        assert!(decided.contains("because  D Ionian 0.88"), "{decided}");
        assert!(decided.contains("D in the bass +0.41"), "{decided}");
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
            What::PitchClass(PitchClass::new(2)),
            What::Chord(of(&[50, 54, 57]), e.at),
            What::Chord(of(&[50, 53, 57]), e.at),
        ];
        e.causes = [None; CAUSES];
        for (place, what) in e.causes.iter_mut().zip(causes) {
            let (center_change, change) = (0.3, 0.3);
            *place = Some(Cause {
                what,
                center_change,
                change,
            });
        }
        let told = as_text(&s.draw(120, 36, Palette::Dark, Glyphs::Unicode));
        let line = "D +0.30 · D triad +0.30 · Dm +0.30";
        assert!(told.contains(line), "{told}");
    }

    #[test]
    fn where_nothing_alone_decides_it_says_so() {
        let mut s = Scene::wandering().explained();
        let e = s.explanation.as_mut().expect("explained");
        for c in e.causes.iter_mut().flatten() {
            (c.change, c.center_change) = (0.004, -0.004);
        }
        let told = as_text(&s.draw(80, 24, Palette::Dark, Glyphs::Unicode));
        assert!(told.contains("0.88  no single thing decides"), "{told}");
        assert!(!told.contains("against"), "{told}");
    }
}
