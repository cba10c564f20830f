//! The panels to teach from: the brightness order, two tonalities side by side, the
//! relatives, and the scale and the piano under a pin.

use super::*;
use crate::screen::layout::places;
use crate::screen::panels::piano::Degrees;
use crate::screen::panels::{beside, brightness, piano, relatives, scale};
use crate::theory::{Letters, ModeId, SpelledTonality, Tonality, alterations};
use proptest::prelude::*;
use ratatui::buffer::Cell;
use ratatui::layout::Position;
use std::collections::BTreeSet;

const SIZES: [(u16, u16); 3] = [(36, 12), (60, 20), (100, 30)];

fn mode(id: &str) -> ModeId {
    Catalogue::standard().find(id).expect("a mode")
}

fn tonality(name: &str) -> SpelledTonality {
    let t = Catalogue::standard().parse_tonality(name);
    t.expect("a tonality")
}

fn glyphs(glyphs: Glyphs) -> Notation {
    Notation {
        glyphs,
        ..Notation::default()
    }
}

/// Draws the piano as it follows the picture when its lowest key was this one before;
/// returns the lowest key that is shown.
fn piano_from(before: u8, pen: &mut Pen, picture: &Picture, look: &Look, degrees: Degrees) -> u8 {
    let sounding = picture.reading.sounding();
    let lowest = piano::lowest(pen.width(), sounding, before, degrees);
    piano::draw(pen, picture, lowest, look, degrees);
    lowest
}

/// Snapshots of a panel at each size, and in ASCII.
fn pictures(name: &str, scene: &Scene, panel: impl Fn(&mut Pen, &Picture, &Look)) {
    for (w, h) in SIZES {
        let text = as_text(&scene.panel((w, h), glyphs(Glyphs::Unicode), &panel));
        insta::assert_snapshot!(format!("{name}_{w}x{h}"), text);
    }
    let text = as_text(&scene.panel((60, 20), glyphs(Glyphs::Ascii), &panel));
    assert!(text.is_ascii(), "{text}");
    insta::assert_snapshot!(format!("{name}_60x20_ascii"), text);
}

#[test]
fn the_brightness_order() {
    let pinned = Scene::dorian().here("D aeolian").pinned("D dorian");
    for (name, scene, chosen) in [
        ("nothing", Scene::nothing(), None),
        ("here", Scene::wandering(), None),
        ("guess", Scene::dorian(), None),
        ("open", Scene::fifth(), None),
        ("pinned", pinned, Some("phrygian")),
        ("other_family", Scene::file(), Some("lydian")),
        ("minor", Scene::dominant(), None),
        (
            "five_notes",
            Scene::dorian().here("Eb minor pentatonic"),
            None,
        ),
    ] {
        let chosen = chosen.map(mode);
        pictures(
            &format!("brightness_{name}"),
            &scene,
            |pen, picture, look| {
                brightness::draw(pen, picture, chosen, look);
            },
        );
    }
}

#[test]
fn two_tonalities_side_by_side() {
    for (name, scene, other) in [
        ("nothing", Scene::nothing(), "D aeolian"),
        ("one_center", Scene::dorian().here("D dorian"), "D aeolian"),
        (
            "two_centers",
            Scene::dorian().pinned("C ionian"),
            "Eb lydian",
        ),
        ("minor", Scene::dominant(), "A phrygian dominant"),
        ("five_notes", Scene::dorian().here("C ionian"), "C blues"),
    ] {
        let other = tonality(other);
        pictures(&format!("beside_{name}"), &scene, |pen, picture, look| {
            let mut view = View::default();
            view.label.follow(picture);
            beside::draw(pen, picture, other, &view.label, look);
        });
    }
}

/// Where there is room the class reads letters of four rows; in ASCII there are none.
#[test]
fn from_the_back_of_the_room() {
    let scene = Scene::dorian().here("D dorian").pinned("D dorian");
    let draw = |size, glyphs| -> [String; 3] {
        [0, 1, 2].map(|panel| {
            let notation = Notation {
                glyphs,
                ..Notation::default()
            };
            let buf = scene.panel(size, notation, |pen, picture, look| {
                let mut view = View::default();
                view.label.follow(picture);
                match panel {
                    0 => brightness::draw(pen, picture, None, look),
                    1 => scale::draw(pen, picture, &view.label, look),
                    _ => beside::draw(pen, picture, tonality("D aeolian"), &view.label, look),
                }
            });
            as_text(&buf)
        })
    };
    let large = |text: &String| text.contains(['▜', '▛', '▙', '▟']);
    let all = draw((134, 33), Glyphs::Unicode);
    assert!(all.iter().all(large), "{}", all.join("\n"));
    for small in [
        draw((134, 28), Glyphs::Unicode),
        draw((20, 33), Glyphs::Unicode),
        draw((134, 33), Glyphs::Ascii),
    ] {
        assert!(!small.iter().any(large), "{}", small.join("\n"));
    }
    // What sounds has brackets: between them it is as wide as its name.
    let silent = Scene {
        reading: Reading {
            chord: None,
            ..scene.reading
        },
        ..scene.clone()
    };
    let rows = |scene: &Scene| -> Vec<String> {
        let buf = scene.panel((134, 33), Notation::default(), |pen, picture, look| {
            let mut view = View::default();
            view.label.follow(picture);
            scale::draw(pen, picture, &view.label, look);
        });
        as_text(&buf).lines().map(str::to_owned).collect()
    };
    let (with, without) = (rows(&scene), rows(&silent));
    let differ = (0..33).filter(|&y| with.get(y) != without.get(y));
    assert_eq!(differ.count(), 4, "{}", with.join("\n"));
}

/// With rows to spare the tables have them, whatever else there is.
#[test]
fn rows_to_spare_go_to_large_letters() {
    let mut scene = Scene::wandering().pinned("D dorian");
    scene.way = Way::Teaching;
    let wanted = Wanted {
        way: Way::Teaching,
        ..Wanted::default()
    };
    for (w, h) in [(200, 57), (200, 60), (240, 67)] {
        let buf = scene.draw(w, h, Palette::Dark, Glyphs::Unicode);
        let places = places(buf.area, &wanted).expect("room");
        assert!(!places.history.is_empty() && !places.piano.is_empty());
        for panel in [places.brightness, places.scale] {
            let large = |p: &Position| ["▜", "▛", "▙", "▟"].contains(&buf[*p].symbol());
            let rows: BTreeSet<u16> = panel.positions().filter(large).map(|p| p.y).collect();
            assert!(rows.len() >= 14, "{w}x{h}: {}", as_text(&buf));
        }
    }
}

#[test]
fn the_relatives() {
    for (name, scene) in [
        ("nothing", Scene::nothing()),
        ("here", Scene::dorian().here("D dorian")),
        (
            "pinned",
            Scene::dorian().here("B phrygian").pinned("A aeolian"),
        ),
        ("other_family", Scene::file()),
        ("alone", Scene::dorian().here("C blues")),
    ] {
        let mut all = String::new();
        for (size, set) in [
            ((100, 1), Glyphs::Unicode),
            ((60, 1), Glyphs::Unicode),
            ((36, 1), Glyphs::Ascii),
            ((100, 2), Glyphs::Unicode),
            ((60, 4), Glyphs::Unicode),
            ((36, 8), Glyphs::Unicode),
        ] {
            let buf = scene.panel(size, glyphs(set), relatives::draw);
            all.push_str(&format!("{}x{}\n{}\n", size.0, size.1, as_text(&buf)));
        }
        insta::assert_snapshot!(format!("relatives_{name}"), all);
    }
}

#[test]
fn the_scale_apart_and_under_a_pin() {
    for (name, scene) in [
        ("here", Scene::wandering()),
        ("pinned", Scene::wandering().pinned("G lydian")),
        ("minor", Scene::dominant()),
    ] {
        pictures(&format!("scale_{name}"), &scene, |pen, picture, look| {
            let mut view = View::default();
            view.label.follow(picture);
            scale::draw(pen, picture, &view.label, look);
        });
    }
}

#[test]
fn the_piano_with_degrees() {
    for (name, scene) in [
        ("nothing", Scene::nothing()),
        ("here", Scene::wandering()),
        ("pinned", Scene::wandering().pinned("E altered")),
    ] {
        let mut all = String::new();
        for (size, degrees, set) in [
            ((36, 5), Degrees::OfTheMode, Glyphs::Unicode),
            ((60, 5), Degrees::OfWhatSounds, Glyphs::Unicode),
            ((60, 7), Degrees::OfTheMode, Glyphs::Unicode),
            ((80, 5), Degrees::OfTheMode, Glyphs::Unicode),
            ((100, 6), Degrees::OfWhatSounds, Glyphs::Unicode),
            ((100, 8), Degrees::OfTheMode, Glyphs::Unicode),
            ((100, 8), Degrees::OfTheMode, Glyphs::Ascii),
        ] {
            let buf = scene.panel(size, glyphs(set), |pen, picture, look| {
                piano_from(24, pen, picture, look, degrees);
            });
            let whole = match degrees {
                Degrees::OfTheMode => ", the whole mode",
                Degrees::OfWhatSounds => "",
            };
            all.push_str(&format!(
                "{}x{}{whole}\n{}\n",
                size.0,
                size.1,
                as_text(&buf)
            ));
        }
        insta::assert_snapshot!(format!("piano_{name}"), all);
    }
}

/// From bright to dark after Open Music Theory v2, "Introduction to Diatonic Modes and
/// the Chromatic Scale" (tests/reference/README.md).
const PUBLISHED: [&str; 7] = [
    "lydian",
    "ionian",
    "mixolydian",
    "dorian",
    "aeolian",
    "phrygian",
    "locrian",
];

#[test]
fn the_cursor_goes_along_the_published_order_one_note_at_a_time() {
    use crate::screen::Toward::{Brighter, Darker};
    let c = Catalogue::standard();
    let order = PUBLISHED.map(mode);
    for pair in order.windows(2) {
        let (bright, dark) = (pair[0], pair[1]);
        assert_eq!(brightness::neighbour(c, bright, Darker), dark);
        assert_eq!(brightness::neighbour(c, dark, Brighter), bright);
        let altered = alterations(c.mode(bright), c.mode(dark));
        let [(Some(from), to)] = altered[..] else {
            panic!("{altered:?}");
        };
        assert_eq!((from.number, from.alter - 1), (to.number, to.alter));
    }
    assert_eq!(brightness::neighbour(c, order[0], Brighter), order[0]);
    assert_eq!(brightness::neighbour(c, order[6], Darker), order[6]);
    // From beside the order back into it, and from beyond its ends.
    for (from, toward, to) in [
        ("minor", Brighter, "dorian"),
        ("minor", Darker, "phrygian"),
        ("phrygian_dominant", Brighter, "dorian"),
        ("dorian_sharp4", Darker, "dorian"),
        ("major_pentatonic", Darker, "mixolydian"),
        ("blues", Brighter, "dorian"),
        ("lydian_augmented", Brighter, "lydian"),
        ("lydian_augmented", Darker, "lydian"),
        ("altered", Darker, "locrian"),
        ("altered", Brighter, "locrian"),
    ] {
        let found = brightness::neighbour(c, mode(from), toward);
        assert_eq!(c.mode(found).id, to, "{from}");
    }
}

/// What moves with the music moves among rows that stay.
#[test]
fn the_rows_stay_whatever_is_played() {
    let c = Catalogue::standard();
    for (w, h) in [(28, 9), (36, 12), (60, 20), (80, 12)] {
        let mut places = None;
        for (id, m) in c.iter() {
            let scene = Scene::dorian().pinned(&format!("D {}", m.id));
            let buf = scene.panel((w, h), glyphs(Glyphs::Unicode), |pen, picture, look| {
                brightness::draw(pen, picture, Some(id), look);
            });
            let text = as_text(&buf);
            let row = |name: &str| {
                let own = |line: &str| {
                    let line = line.trim_start_matches(|c: char| !c.is_alphabetic());
                    let rest = line.strip_prefix(name);
                    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', ']']))
                };
                text.lines().skip(1).position(own)
            };
            let rows = PUBLISHED.map(|id| row(&c.mode(mode(id)).name));
            assert!(rows.iter().all(Option::is_some), "{}: {text}", m.id);
            assert!(rows.is_sorted(), "{}: {text}", m.id);
            assert_eq!(*places.get_or_insert(rows), rows, "{}: {text}", m.id);
        }
    }
}

#[test]
fn a_pin_moves_what_the_panels_refer_to() {
    let heard = Scene::wandering();
    let pinned = heard.clone().pinned("Ab lydian");
    let text = |scene: &Scene, panel: &dyn Fn(&mut Pen, &Picture, &Look)| {
        as_text(&scene.panel((80, 20), glyphs(Glyphs::Unicode), panel))
    };
    let scale = |pen: &mut Pen, picture: &Picture, look: &Look| {
        scale::draw(pen, picture, &View::default().label, look);
    };
    assert!(
        text(&heard, &scale).contains("♭VII"),
        "{}",
        text(&heard, &scale)
    );
    let shown = text(&pinned, &scale);
    assert!(
        shown.contains("scale of A♭ Lydian") && shown.contains("♯iv°"),
        "{shown}"
    );
    let order = |pen: &mut Pen, picture: &Picture, look: &Look| {
        brightness::draw(pen, picture, None, look);
    };
    assert!(text(&heard, &order).contains("[Mixolydian ]"));
    assert!(text(&pinned, &order).contains("[Lydian     ]"));
    let same = |pen: &mut Pen, picture: &Picture, look: &Look| {
        relatives::draw(pen, picture, look);
    };
    assert!(text(&heard, &same).contains("[G Mixolydian]"));
    assert!(text(&pinned, &same).contains("[A♭ Lydian]"));
    // G A B D F: of A♭ the 7, ♭2, ♭3, ♯4 and 6.
    let keys = |pen: &mut Pen, picture: &Picture, look: &Look| {
        piano_from(24, pen, picture, look, Degrees::OfWhatSounds);
    };
    let shown = text(&pinned, &keys);
    assert!(
        shown.contains("♭3") && !text(&heard, &keys).contains("♭3"),
        "{shown}"
    );
    // A pin stands in silence as well: it is not dimmed.
    let silent = Scene::stopped().pinned("D dorian");
    let bright = silent.panel((60, 20), glyphs(Glyphs::Unicode), order);
    let styles = Palette::Dark.styles(Depth::default());
    assert_eq!(
        bright[(2, 8)].fg,
        styles.lit.fg.unwrap_or_default(),
        "{}",
        as_text(&bright)
    );
}

/// Numbers stand below their own keys, and keys that the pedal alone holds stay hollow.
#[test]
fn degrees_stand_below_their_keys() {
    let scene = Scene::wandering();
    let mut lowest = 24;
    let buf = scene.panel((100, 8), glyphs(Glyphs::Unicode), |pen, picture, look| {
        lowest = piano_from(lowest, pen, picture, look, Degrees::OfTheMode);
    });
    let at = |key: u8| 2 + (key - lowest) as u16 * 2;
    for (key, degree, sign) in [
        (43, "1", "◆"),
        (52, "6", "○"),
        (59, "3", "●"),
        (69, "2", "●"),
    ] {
        assert_eq!(buf[(at(key), 6)].symbol(), degree, "{}", as_text(&buf));
        assert_eq!(buf[(at(key), 3)].symbol(), sign, "{}", as_text(&buf));
    }
    // D4 does not sound and is a note of the mode; E♭4 is neither.
    assert_eq!(buf[(at(62), 6)].symbol(), "5", "{}", as_text(&buf));
    for row in [5, 6] {
        assert_eq!(buf[(at(63), row)].symbol(), " ", "{}", as_text(&buf));
    }
}

/// What is struck moves no degree: black keys have a row of their own.
#[test]
fn the_degrees_stay_whatever_is_played() {
    for within in ["F lydian", "Eb dorian", "A phrygian", "C altered"] {
        let rows = |sounding: &[u8]| -> Vec<String> {
            let mut scene = Scene::dorian().here(within);
            scene.reading.held = keys(sounding);
            scene.reading.pedalled = KeySet::EMPTY;
            let buf = scene.panel((120, 8), glyphs(Glyphs::Unicode), |pen, picture, look| {
                piano_from(36, pen, picture, look, Degrees::OfTheMode);
            });
            let text = as_text(&buf);
            text.lines().skip(5).take(2).map(str::to_owned).collect()
        };
        let mode = Scene::dorian().here(within).reading.here;
        let t = mode.expect("a mode").spelled.tonality;
        let set = Catalogue::standard()
            .mode(t.mode)
            .set()
            .up(t.center.index() as i32);
        let own: Vec<u8> = (48..72)
            .filter(|&k| set.contains(PitchClass::of_key(k)))
            .collect();
        let still = rows(&[]);
        assert!(still.iter().any(|r| r.contains('1')), "{within}: {still:?}");
        for key in own {
            assert_eq!(rows(&[key]), still, "{within}, {key}");
        }
    }
}

fn any_mode() -> impl Strategy<Value = ModeId> {
    let all = Catalogue::standard().iter().map(|(id, _)| id);
    prop::sample::select(all.collect::<Vec<_>>())
}

prop_compose! {
    fn any_tonality()(center in 0..12i32, mode in any_mode()) -> SpelledTonality {
        let t = Tonality { center: PitchClass::new(center), mode };
        SpelledTonality::new(t, Catalogue::standard().spell(t, None))
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_tonality_at_any_size_stays_inside(
        own in any_tonality(), other in any_tonality(), chosen in prop::option::of(any_mode()),
        (w, h) in (0..130u16, 0..40u16), pinned in any::<bool>(), look in 0..8usize,
    ) {
        let mut scene = Scene::wandering();
        match pinned {
            true => scene.reading.pinned = Some(own),
            false => {
                let e = established("C ionian", 0.0, 0.0);
                scene.reading.here = Some(Established { spelled: own, ..e });
            }
        }
        let letters = [Letters::English, Letters::German, Letters::FixedDo, Letters::MovableDo];
        let notation = Notation { letters: letters[look % 4], ..glyphs(if look < 4 { Glyphs::Unicode } else { Glyphs::Ascii }) };
        let place = Rect::new(3, 2, w, h);
        for panel in 0..5 {
            let mut out = Buffer::filled(Rect::new(0, 0, 136, 44), Cell::new("x"));
            scene.panel((0, 0), notation, |_, picture, look| {
                let mut pen = Pen::new(&mut out, place);
                let mut view = View::default();
                view.label.follow(picture);
                match panel {
                    0 => brightness::draw(&mut pen, picture, chosen, look),
                    1 => beside::draw(&mut pen, picture, other, &view.label, look),
                    2 => relatives::draw(&mut pen, picture, look),
                    3 => scale::draw(&mut pen, picture, &view.label, look),
                    _ => {
                        piano_from(24, &mut pen, picture, look, Degrees::OfTheMode);
                    }
                }
            });
            for p in out.area.positions() {
                let symbol = out[p].symbol();
                prop_assert!(place.contains(p) || symbol == "x", "panel {panel} at {p:?}");
                // Movable do and German have letters of their own, none of them beyond ASCII there.
                prop_assert!(look < 4 || symbol.is_ascii(), "panel {panel}: {symbol}");
            }
        }
    }
}
