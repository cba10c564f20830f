use super::{draw, panel};
use crate::engine::{CANDIDATES, CAUSES};
use crate::engine::{Cause, Collection, Removed};
use crate::plan::Open;
use crate::screen::look::Look;
use crate::screen::pen::Pen;
use crate::screen::picture::Picture;
use crate::screen::tests::{Scene, as_text, established};
use crate::theory::{Catalogue, Glyphs, Kinds, PitchClass, PitchClassSet};
use crate::time::Time;
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
    let sentence = "G Mixolydian, 88 %: mostly because G is in the bass and F, not F♯, was heard.";
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
    let sentence = "nothing is established; likeliest: G, 97 %: mostly because G is in the bass";
    assert!(told.starts_with(sentence), "{told}");
    assert!(told.contains("against it: B♭ −9"), "{told}");
    assert!(rows_of(&s, 78).starts_with("evidence G? 97 %"), "{told}");
}

#[test]
fn what_is_likelier_now_speaks_against() {
    let mut s = mixolydian();
    let e = s.explanation.as_mut().expect("explained");
    e.likeliest = established("E aeolian", 1.0, 1.0).spelled.tonality;
    let told = panel_of(&s, (100, 12), Glyphs::Unicode);
    let line = "against it: E Aeolian is likelier now · B♭ −9";
    assert!(told.contains(line), "{told}");
    for c in e_causes(&mut s) {
        c.change = c.change.abs();
    }
    let e = s.explanation.as_mut().expect("explained");
    e.likeliest = e.spelled.tonality;
    let told = panel_of(&s, (100, 12), Glyphs::Unicode);
    assert!(told.contains("nothing heard speaks against it"), "{told}");
}

fn e_causes(s: &mut Scene) -> impl Iterator<Item = &mut Cause> {
    s.explanation
        .iter_mut()
        .flat_map(|e| e.causes.iter_mut().flatten())
}

/// A class that asks why nothing is established is told why, and no guess of nought in a hundred.
#[test]
fn where_no_center_is_likeliest_that_is_explained() {
    let mut s = mixolydian();
    s.reading.here = None;
    let e = s.explanation.as_mut().expect("explained");
    (e.center_probability, e.no_center_probability) = (0.12, 0.8);
    e.causes = [None; CAUSES];
    s.reading.collection = None;
    s.reading.heard = PitchClassSet::ALL;
    let told = panel_of(&s, (140, 16), Glyphs::Unicode);
    let sentence = "no center is likeliest, 80 %: 12 different notes were heard lately, none of \
                    them as a resting point. Of the centers G, 12 %.";
    assert!(told.starts_with(sentence), "{told}");
    assert!(
        told.contains("nothing heard speaks clearly for one center"),
        "{told}"
    );
    assert!(!told.contains("against it"), "{told}");
    s.reading.collection = Some(Collection::WHOLE_TONE);
    let rows = rows_of(&s, 78);
    assert!(
        rows.starts_with("evidence no center 80 %  the notes are whole-tone"),
        "{rows}"
    );
}
