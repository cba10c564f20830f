//! The corrected plan of a sitting that was opened, below its lanes, and what is typed to correct
//! it.

use super::scenes::marks;
use super::*;
use crate::correction::{Center, CorrectedPlan, Correction, Signature};
use crate::screen::entry::Entry;
use crate::source::Opened;
use std::fmt::Write as _;
use std::sync::Arc;

/// The wandering sitting with its plan corrected: a region by hand, a word, one without a center,
/// the others as in hindsight.
fn corrected() -> Scene {
    let scene = Scene::wandering();
    let mut plan = CorrectedPlan::of(scene.history.plan(), scene.now);
    let by = Signature {
        who: "anna".into(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let spelled = |name| established(name, 0.0, 0.0).spelled;
    for correction in [
        Correction::Stretch {
            from: sec(20.0),
            to: sec(33.5),
            center: Center::In(spelled("F lydian dominant")),
            word: Some("the bridge".into()),
        },
        Correction::Stretch {
            from: sec(33.5),
            to: sec(40.0),
            center: Center::None,
            word: None,
        },
    ] {
        plan.correct(&correction, &by).expect("possible");
    }
    let mut scene = Scene {
        way: Way::LookingBack,
        banners: vec!["sitting of 2026-11-29 20:15, corrected, Esc: back".into()],
        ..scene
    };
    scene.source.opened = Some(Opened {
        date: "2026-11-29 20:15".into(),
        number: 1,
        corrected: Some(Arc::new(plan)),
    });
    scene
}

#[test]
fn pictures() {
    let typing = Scene {
        banners: vec![
            Entry::correcting(sec(24.0), "F Lydian dominant".into()).line(Glyphs::Unicode),
        ],
        ..corrected()
    };
    for (name, scene) in [("plan", corrected()), ("typing", typing)] {
        let mut all = String::new();
        for (w, h) in [(60, 18), (80, 24), (120, 36), (240, 67)] {
            let buf = scene.draw(w, h, Palette::Dark, Glyphs::Unicode);
            let _ = write!(all, "== {w}x{h}\n{}\n\n", as_text(&buf));
        }
        let mut scene = scene;
        for banner in &mut scene.banners {
            *banner = banner.replace('▏', "_");
        }
        let buf = scene.draw(80, 24, Palette::Plain, Glyphs::Ascii);
        let text = as_text(&buf);
        assert!(text.is_ascii(), "{text}");
        let _ = write!(all, "== ASCII\n{text}\n\n== no colour\n{}", marks(&buf));
        insta::assert_snapshot!(format!("correcting_{name}"), all);
    }
}

/// The corrected plan is beside the plan as heard, whose lanes are what they are without it.
#[test]
fn what_was_heard_stays_what_it_was() {
    let with = corrected();
    let mut without = corrected();
    without.source.opened = None;
    let rows = |scene: &Scene| -> Vec<String> {
        let text = scene.text(240, 40, Glyphs::Unicode);
        text.lines().map(str::to_owned).collect()
    };
    let (with, without) = (rows(&with), rows(&without));
    let yours: Vec<&String> = with
        .iter()
        .filter(|row| row.trim_start().starts_with("yours"))
        .collect();
    assert_eq!(yours.len(), 1, "{with:#?}");
    assert!(
        yours[0].contains("F Lydian dominant “the bridge”"),
        "{}",
        yours[0]
    );
    let lanes = |rows: &[String]| -> Vec<String> {
        let lanes = rows
            .iter()
            .filter(|row| row.contains(['═', '━']) && !row.trim_start().starts_with("yours"));
        lanes.cloned().collect()
    };
    assert_eq!(lanes(&with), lanes(&without));
    assert!(
        without
            .iter()
            .all(|row| !row.trim_start().starts_with("yours"))
    );
}

#[test]
fn it_is_not_given_away_while_names_are_hidden() {
    let scene = corrected();
    let hidden = Scene {
        reading: crate::screen::past::without_names(scene.reading),
        hidden: true,
        ..scene
    };
    let text = hidden.text(120, 36, Glyphs::Unicode);
    assert!(
        !text.contains("yours") && !text.contains("bridge”"),
        "{text}"
    );
}

/// The signs of the row are told where it is there.
#[test]
fn the_help_tells_its_signs() {
    let help = |scene: Scene| {
        let text = Scene {
            help: true,
            ..scene
        }
        .text(240, 67, Glyphs::Unicode);
        text.contains("━ ─      yours: where you corrected the plan")
    };
    assert!(help(corrected()));
    let mut without = corrected();
    without.source.opened = None;
    assert!(!help(without));
}
