use super::super::{history, lanes};
use crate::engine::{Aside, Change, Observer};
use crate::plan::Marker;
use crate::screen::keys::{Direction, Zoom};
use crate::screen::look::Look;
use crate::screen::palette::{Depth, Palette};
use crate::screen::pen::Pen;
use crate::screen::picture::Picture;
use crate::screen::tests::any_size::any_scene;
use crate::screen::tests::{Scene, as_text, established, named, sec};
use crate::screen::timeline::{self, Drawn, TimelineView};
use crate::theory::{Catalogue, Glyphs, KeySet, Notation, PitchClass, Spelling};
use proptest::prelude::*;
use ratatui::buffer::Buffer;
use ratatui::buffer::Cell;
use ratatui::layout::Rect;

/// Ten minutes around D: out on the flat side as far as the seam and over it, home, a
/// rest, some words to the class, then the sharp side by a tritone.
fn sitting() -> Scene {
    let mut s = Scene::nothing();
    let h = &mut s.history;
    let chord = |at: f64, keys: &[u8], within: &str| {
        let sonority = named(keys, within);
        (
            sec(at),
            Change::Chord {
                sonority,
                keys: KeySet::EMPTY,
            },
        )
    };
    let here = |at: f64, name: &str| (sec(at), Change::Here(established(name, at - 2.0, at)));
    let changes = [
        chord(4.0, &[50, 53, 57], "D dorian"),
        here(6.0, "D dorian"),
        (sec(6.0), Change::Home(established("D dorian", 4.0, 6.0))),
        chord(40.0, &[52, 55, 59], "D dorian"),
        chord(60.0, &[45, 48, 52, 55], "D dorian"),
        chord(70.0, &[43, 47, 50, 53], "G mixolydian"),
        here(75.0, "G mixolydian"),
        chord(110.0, &[46, 50, 53], "G mixolydian"),
        here(120.0, "Bb lydian"),
        here(150.0, "Eb lydian"),
        here(190.0, "Ab lydian"),
        (sec(200.0), Change::HomeIs(Some(Spelling::at(-4)))),
        here(222.0, "Ab mixolydian"),
        here(240.0, "Eb ionian"),
        (sec(262.0), Change::HomeIs(None)),
        here(270.0, "D phrygian"),
        here(300.0, "D dorian"),
        (sec(345.0), Change::Silence),
        chord(365.0, &[50, 53, 57], "D dorian"),
        (sec(390.0), Change::Aside(Aside::Begins)),
        (sec(428.0), Change::Aside(Aside::Ends)),
        chord(430.0, &[50, 53, 57], "D dorian"),
        here(432.0, "D dorian"),
        chord(462.0, &[45, 49, 52], "A ionian"),
        here(466.0, "A ionian"),
        here(490.0, "E mixolydian"),
        here(520.0, "Bb phrygian_dominant"),
        here(545.0, "E minor"),
        chord(546.0, &[52, 55, 59], "E minor"),
        chord(560.0, &[45, 48, 52], "E minor"),
        here(570.0, "D dorian"),
        chord(572.0, &[50, 53, 57], "D dorian"),
    ];
    for (at, change) in changes {
        h.change(at, change);
    }
    s.now = sec(600.0);
    h.advance_to(s.now);
    s.reading.at = s.now;
    s.reading.begun = true;
    s.reading.here = Some(established("D dorian", 568.0, 570.0));
    s.reading.home = Some(established("D dorian", 4.0, 6.0));
    let marker = |at: f64, about: Option<(f64, f64)>, name: &str| Marker {
        at: sec(at),
        about: about.map(|(a, b)| (sec(a), sec(b))),
        name: name.into(),
    };
    s.markers = vec![
        marker(130.0, Some((72.0, 128.0)), "opening out"),
        marker(236.0, Some((150.0, 230.0)), "far away"),
        marker(430.0, None, "again"),
        marker(560.0, Some((516.0, 544.0)), "tritone"),
    ];
    s
}

type Panel = fn(&mut Pen, &Picture, &TimelineView, &Look) -> Option<Drawn>;

fn shown(
    scene: &Scene,
    panel: Panel,
    view: &TimelineView,
    (w, h): (u16, u16),
    glyphs: Glyphs,
) -> String {
    let area = Rect::new(0, 0, w, h);
    let mut buf = Buffer::empty(area);
    let look = scene.look(glyphs);
    let _ = panel(&mut Pen::new(&mut buf, area), &scene.picture(), view, &look);
    as_text(&buf)
}

fn all(size: (u16, u16), glyphs: Glyphs) -> String {
    shown(&sitting(), lanes::draw, &TimelineView::all(), size, glyphs)
}

#[test]
fn the_plan_wanders_through_the_lanes() {
    for (w, h) in [(60, 18), (80, 24), (120, 36), (240, 67)] {
        let text = all((w, h), Glyphs::Unicode);
        insta::assert_snapshot!(format!("lanes_{w}x{h}"), text);
    }
    let text = all((80, 24), Glyphs::Ascii);
    assert!(text.is_ascii(), "{text}");
    insta::assert_snapshot!("lanes_80x24_ascii", text);
}

#[test]
fn the_history_tells_what_moved() {
    let drawn =
        |view: &TimelineView, size, glyphs| shown(&sitting(), history::draw, view, size, glyphs);
    let text = drawn(&TimelineView::all(), (120, 9), Glyphs::Unicode);
    insta::assert_snapshot!("history_120x9", text);
    let mut view = TimelineView::all();
    let whole = timeline::whole(&sitting().picture());
    view.jump(Direction::Forward, &sitting().markers, sitting().now);
    view.zoom(Zoom::Nearer, whole);
    let text = drawn(&view, (160, 12), Glyphs::Unicode);
    insta::assert_snapshot!("history_160x12", text);
    let text = drawn(&view, (80, 8), Glyphs::Ascii);
    assert!(text.is_ascii(), "{text}");
    // Too low for it.
    let low = drawn(&TimelineView::all(), (120, 7), Glyphs::Unicode);
    assert!(!low.contains("moved"), "{low}");
}

/// What was home longest stays in the middle when the music moves its home; the lane of
/// the present home has the word, and a center the name that it was given.
#[test]
fn the_lanes_stand_around_the_longest_home() {
    let caption = |scene: &Scene| -> Vec<String> {
        let text = shown(
            scene,
            lanes::draw,
            &TimelineView::all(),
            (80, 24),
            Glyphs::Unicode,
        );
        let rows = text.lines().map(|l| l.chars().take(8).collect::<String>());
        let rows = rows.map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "));
        let is_lane = |l: &String| {
            let name = l.trim_start_matches("home ");
            name.len() < 5 && name.starts_with(|c: char| ('A'..='G').contains(&c))
        };
        rows.filter(is_lane).collect()
    };
    let mut scene = sitting();
    let before = caption(&scene);
    assert_eq!(before.len(), 12, "{before:?}");
    assert_eq!(before[6], "home D", "{before:?}");
    // It was called so when it was here.
    assert!(before.contains(&"A♭".to_owned()), "{before:?}");
    let end = scene.now.seconds();
    let mut moves = |at: f64, name: &str| {
        scene
            .history
            .change(sec(at), Change::Home(established(name, at, at)));
        scene.now = sec(at + 30.0);
        scene.history.advance_to(scene.now);
        caption(&scene)
    };
    let after = moves(end + 1.0, "Ab lydian");
    assert_eq!(
        (&after[6][..], &after[0][..]),
        ("D", "home A♭"),
        "{after:?}"
    );
    let back = moves(end + 60.0, "D dorian");
    assert_eq!(back, before);
}

/// Lanes follow one another by fifths, home is in the middle, and each has one name.
#[test]
fn twelve_lanes_around_home() {
    for fifths in -12..=12 {
        let home = Spelling::at(fifths);
        let order = lanes::LaneOrder {
            middle: home,
            home: None,
            said: [None; 12],
        };
        assert_eq!(order.lane(home.pitch_class()), lanes::MIDDLE);
        let mut seen: Vec<u16> = PitchClass::all().map(|c| order.lane(c)).collect();
        seen.sort();
        assert_eq!(seen, (0..12).collect::<Vec<_>>());
        for c in PitchClass::all() {
            let name = order.name(order.lane(c));
            assert_eq!(name.pitch_class(), c, "around {home}");
            assert!(name.accidental().abs() < 2);
            // The next lane up is a fifth above, round the circle.
            let up = (order.lane(c) + 11) % 12;
            assert_eq!(order.lane(c.up(7)), up);
        }
    }
    let order = lanes::LaneOrder {
        middle: Spelling::at(2),
        home: None,
        said: [None; 12],
    };
    let names: Vec<String> = (0..12).map(|l| order.name(l).to_string()).collect();
    assert_eq!(names.join(" "), "G♯ C♯ F♯ B E A D G C F B♭ E♭");
}

/// Of markers that begin in one column none hides another.
#[test]
fn markers_at_one_place_are_all_named() {
    let mut s = sitting();
    let long = |name: &str| Marker {
        at: sec(500.0),
        about: Some((sec(470.0), sec(500.0))),
        name: name.into(),
    };
    s.markers = vec![long("7"), long("kept 1")];
    for size in [(80, 24), (160, 40)] {
        let text = shown(&s, lanes::draw, &TimelineView::all(), size, Glyphs::Unicode);
        assert!(text.contains("▾7, kept 1"), "{text}");
        assert_eq!(text.matches('▾').count(), 1, "{text}");
    }
}

/// From marker to marker, by where the stretches begin; what is chosen is the middle.
#[test]
fn markers_are_gone_to_and_come_back_from() {
    let s = sitting();
    let chosen = |v: &TimelineView| v.chosen().map(|t| t.seconds());
    let mut view = TimelineView::default();
    assert_eq!(chosen(&view), None);
    for (way, at) in [
        (Direction::Back, 516.0),
        (Direction::Back, 430.0),
        (Direction::Forward, 516.0),
        (Direction::Forward, 516.0),
        (Direction::Back, 430.0),
        (Direction::Back, 150.0),
        (Direction::Back, 72.0),
        (Direction::Back, 72.0),
    ] {
        view.jump(way, &s.markers, s.now);
        assert_eq!(chosen(&view), Some(at));
    }
    // Scrolled on, it is the left edge: of a minute around 72 s, a quarter further.
    view.scroll(Direction::Forward, s.now);
    assert_eq!(chosen(&view), Some(57.0));
    view.jump(Direction::Forward, &s.markers, s.now);
    assert_eq!(chosen(&view), Some(72.0));
    view.follow();
    assert_eq!(chosen(&view), None);

    // In all of it the first is first, and the view stays whole.
    let mut view = TimelineView::all();
    let draw = |view: &TimelineView| shown(&s, lanes::draw, view, (100, 20), Glyphs::Unicode);
    let whole = timeline::whole(&s.picture());
    let first = draw(&view);
    view.scroll(Direction::Back, s.now);
    assert_eq!(draw(&view), first);
    view.jump(Direction::Forward, &s.markers, s.now);
    let text = draw(&view);
    for words in [
        "all",
        "┃1:12",
        "D Dorian → G Mixolydian: fifth down",
        "pivot G7: IV7 = I7",
    ] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    // Nearer it stays in view; a sitting of ten minutes begins with five.
    view.zoom(Zoom::Nearer, whole);
    let text = draw(&view);
    assert!(text.contains("◂5min") && text.contains("┃1:12"), "{text}");
    view.zoom(Zoom::Farther, whole);
    view.zoom(Zoom::Farther, whole);
    assert!(draw(&view).contains("\nall"));
    view.follow();
    assert_eq!(draw(&view), first);
}

/// All of a sitting is in view, however long, and its columns stand still most of the time.
#[test]
fn all_is_all() {
    let mut s = sitting();
    let mut scales = Vec::new();
    for tenths in 6_000..9_000u32 {
        s.now = sec(f64::from(tenths) / 10.0);
        let view = TimelineView::all();
        let window = super::Columns::new(70, &view, &s.picture());
        assert_eq!(window.at(sec(4.0)), Some(0));
        assert!(window.at(s.now).is_some_and(|x| x > 60), "{tenths}");
        scales.push(window.at(sec(500.0)));
    }
    scales.dedup();
    assert!(scales.len() < 9, "{scales:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_past_at_any_size(
        scene in any_scene(), w in 0..250u16, h in 0..70u16, ascii in any::<bool>(),
        whole in any::<bool>(), steps in prop::collection::vec((0..4u8, any::<bool>()), 0..8),
    ) {
        let area = Rect::new(0, 0, 256, 74);
        let place = Rect::new(4, 3, w, h);
        let look = Look {
            notation: Notation { glyphs: if ascii { Glyphs::Ascii } else { Glyphs::Unicode }, ..Notation::default() },
            palette: Palette::Plain,
            depth: Depth::default(),
            catalogue: Catalogue::standard(),
            keys: &scene.keys,
        };
        let mut view = if whole { TimelineView::all() } else { TimelineView::default() };
        for (what, on) in std::iter::once((9, true)).chain(steps) {
            let way = if on { Direction::Forward } else { Direction::Back };
            match what {
                0 => view.zoom(if on { Zoom::Nearer } else { Zoom::Farther }, timeline::whole(&scene.picture())),
                1 => view.scroll(way, scene.now),
                2 => view.jump(way, &scene.markers, scene.now),
                3 => view.follow(),
                _ => {}
            }
            for panel in [lanes::draw as Panel, history::draw] {
                let mut buf = Buffer::filled(area, Cell::new("x"));
                let _ = panel(&mut Pen::new(&mut buf, place), &scene.picture(), &view, &look);
                for p in area.positions().filter(|p| !place.contains(*p)) {
                    prop_assert_eq!(buf[p].symbol(), "x", "at {:?}", p);
                }
            }
            if let Some(t) = view.chosen() {
                prop_assert!(t <= scene.now);
            }
        }
    }
}

/// Where many regions share a column, the line goes where most of its time is, and what
/// is too short for a stroke leaves a dash.
#[test]
fn a_long_past_is_still_one_line() {
    let mut s = sitting();
    let names = ["D dorian", "G mixolydian", "Eb lydian", "Ab lydian"];
    for i in 0..1600u32 {
        // Of each minute and a half all but a few seconds at home.
        let at = 600.0 + f64::from(i / 4) * 90.0 + f64::from(i % 4) * 3.0 + 60.0;
        let name = names[(i as usize + 1) % 4];
        s.history
            .change(sec(at), Change::Here(established(name, at, at)));
        s.now = sec(at + 30.0);
    }
    s.history.advance_to(s.now);
    let text = shown(
        &s,
        lanes::draw,
        &TimelineView::all(),
        (120, 20),
        Glyphs::Unicode,
    );
    let lane = |name: &str| {
        text.lines()
            .find(|l| l.trim_start().starts_with(name))
            .unwrap_or("")
    };
    let count = |name: &str, sign: char| lane(name).chars().filter(|&c| c == sign).count();
    assert!(count("home", '═') > 80, "{text}");
    assert!(count("G ", '╴') > 60, "{text}");
    assert!(count("C ", '│') < 5, "{text}");
}

/// A file gone back in shows nothing of what is to come, and no lane is home's before one
/// is known.
#[test]
fn nothing_is_told_beforehand() {
    let mut s = sitting();
    s.now = sec(100.0);
    for panel in [lanes::draw as Panel, history::draw] {
        for view in [TimelineView::all(), TimelineView::default()] {
            let text = shown(&s, panel, &view, (120, 20), Glyphs::Unicode);
            for later in ["far away", "aside", "Lyd", "⌂", "9:30"] {
                assert!(!text.contains(later), "{later} in\n{text}");
            }
            assert!(text.contains("fifth down"), "{text}");
        }
    }
    let text = shown(
        &Scene::nothing(),
        lanes::draw,
        &TimelineView::all(),
        (120, 20),
        Glyphs::Unicode,
    );
    assert!(!text.contains("home"), "{text}");
}
