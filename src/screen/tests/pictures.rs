//! What the panels look like, as text, where no scene at the keyboard shows it.

use super::*;
use crate::source::Keeping;

/// What no scene at the keyboard shows: rare states, and ends of what there is. These
/// are pictures.
fn rare() -> Vec<(&'static str, Scene)> {
    vec![
        ("nothing", Scene::nothing()),
        ("fifth", Scene::fifth()),
        ("one_center", Scene::one_center()),
        ("upper", Scene::upper()),
        ("file", Scene::file()),
        ("ended", Scene::ended()),
        ("lost", Scene::lost()),
        ("clicked", clicked()),
        ("harmony_guessed", Scene::dorian().harmonized()),
    ]
}

/// A sitting is kept, and played to a click.
fn clicked() -> Scene {
    let mut scene = Scene::dorian();
    scene.source.keeping = Keeping::Growing;
    scene.source.click = in_bar(96.0, "4/4", (3, 2.5));
    scene
}

/// Every scene, with its name.
fn scenes() -> Vec<(&'static str, Scene)> {
    let help = Scene {
        help: true,
        ..Scene::file()
    };
    let teaching_evidence = Scene {
        way: Way::Teaching,
        ..Scene::wandering().explained()
    };
    let mut all = vec![
        ("dorian", Scene::dorian()),
        ("wandering", Scene::wandering()),
        ("stopped", Scene::stopped()),
        ("whole_tone", Scene::whole_tone()),
        ("quartal", Scene::quartal()),
        ("help", help),
        ("evidence", Scene::wandering().explained()),
        ("harmony", Scene::wandering().harmonized()),
        ("harmony_minor", Scene::dominant().harmonized()),
        (
            "harmony_evidence",
            Scene::wandering().explained().harmonized(),
        ),
        ("teaching", ways(Way::Teaching)),
        ("teaching_evidence", teaching_evidence),
        ("looking_back", ways(Way::LookingBack)),
        ("hidden", hidden()),
        ("pinned", pinned()),
    ];
    all.extend(rare());
    all
}

fn ways(way: Way) -> Scene {
    Scene {
        way,
        ..Scene::wandering()
    }
}

/// As the loop hands it over: without a name.
fn hidden() -> Scene {
    let scene = Scene::wandering();
    Scene {
        reading: crate::screen::past::without_names(scene.reading),
        hidden: true,
        banners: vec!["names hidden".into()],
        ..scene
    }
}

/// Frozen, pinned, and a chord before shown, all at once.
fn pinned() -> Scene {
    let mut scene = ways(Way::Teaching);
    scene.reading.pinned = scene.reading.home.map(|h| h.spelled);
    scene.past = scene.history.chords().iter().rev().nth(1).copied();
    scene.still = true;
    scene.frozen = Some(Time::millis(4000));
    scene.banners = vec!["pinned D Dorian".into()];
    scene
}

fn pictures(width: u16, height: u16, glyphs: Glyphs, suffix: &str) {
    for (name, scene) in rare() {
        let text = scene.text(width, height, glyphs);
        insta::assert_snapshot!(format!("{name}_{width}x{height}{suffix}"), text);
    }
}

#[test]
fn on_the_common_terminal() {
    pictures(80, 24, Glyphs::Unicode, "");
}

#[test]
fn on_a_wider_one() {
    pictures(120, 36, Glyphs::Unicode, "");
}

#[test]
fn on_a_projector() {
    pictures(240, 67, Glyphs::Unicode, "");
}

#[test]
fn on_the_smallest() {
    pictures(60, 18, Glyphs::Unicode, "");
}

#[test]
fn in_ascii() {
    for (width, height) in [(80, 24), (120, 36)] {
        for (name, scene) in scenes() {
            let text = scene.text(width, height, Glyphs::Ascii);
            let odd: String = text.chars().filter(|c| !c.is_ascii()).collect();
            assert_eq!(odd, "", "{name} at {width}x{height}");
        }
    }
    pictures(80, 24, Glyphs::Ascii, "_ascii");
}

/// In few columns the tempo goes first, and the place in the bar stays.
#[test]
fn the_place_in_the_bar_stays() {
    let row = |width, click| {
        let mut scene = clicked();
        scene.source.click = click;
        let text = scene.text(width, 24, Glyphs::Unicode);
        let last = text.lines().rfind(|line| line.contains("sitting"));
        last.unwrap_or_default().to_owned()
    };
    let compound = || in_bar(60.0, "12/8", (128, 4.0));
    let wide = row(120, compound());
    assert!(wide.contains("♩.= 60  12/8  bar 128 beat 4"), "{wide}");
    let wide = row(120, in_bar(200.0, "5/8", (1, 5.9)));
    assert!(wide.contains("♪= 200  5/8  bar 1 beat 5"), "{wide}");
    let common = row(80, compound());
    assert!(common.contains("bar 128 beat 4"), "{common}");
    let without = row(120, None);
    assert!(!without.contains("bar"), "{without}");
}

/// In few columns the names are cut off: that one is away must not be.
#[test]
fn a_keyboard_that_is_away_is_counted() {
    let row = |width, away, one: bool| {
        let mut scene = clicked();
        scene.source.name = "Teacher + Pupil".into();
        scene.source.keyboards = vec!["Teacher".into(), "Pupil".into()];
        scene.source.away = away;
        if one {
            scene.reading.harmony_from = scene.reading.harmony_from.next(2);
        }
        let text = scene.text(width, 24, Glyphs::Ascii);
        text.lines().last().unwrap_or_default().to_owned()
    };
    for width in [60, 80, 120] {
        let (all, one) = (row(width, 0, false), row(width, 1, false));
        assert!(
            all.contains(" connected") && !all.contains(" of 2"),
            "{all}"
        );
        assert!(one.contains(" 1 of 2 connected"), "{one}");
    }
    let alone = row(120, 0, true);
    assert!(alone.contains("harmony from Teacher  "), "{alone}");
}

/// Whatever the size and the keys: every action is on one of the help's pages, once.
#[test]
fn the_help_has_a_line_for_every_action() {
    let key = |name: &str| name.parse().expect("a key");
    let mut scene = Scene::file();
    scene.keys.bind("marker", &[]);
    scene
        .keys
        .bind("pause", &[key("Ctrl-Alt-PageDown"), key("ö")]);
    scene.keys.bind("seek-back", &[key("Alt-Left")]);
    for (width, height) in [
        (60, 18),
        (72, 20),
        (80, 24),
        (120, 36),
        (240, 67),
        (60, 60),
        (30, 10),
    ] {
        for glyphs in [Glyphs::Unicode, Glyphs::Ascii] {
            let mut view = View::default();
            view.help.press(0);
            let mut all = String::new();
            while view.help.is_open() {
                let page = scene.draw_after(&mut view, width, height, Palette::Dark, glyphs);
                all.push_str(&as_text(&page));
                view.help.press(view.drawn.help_pages);
                if width >= 60 {
                    for foot in ["Take breaks.", "goes on."] {
                        assert!(as_text(&page).contains(foot), "{width}x{height}: {foot}");
                    }
                }
            }
            for line in scene.keys.lines() {
                let shown: String = line.words.chars().take(usize::from(width) - 20).collect();
                let times = all.matches(&shown).count();
                // One may be the beginning of another.
                assert!(
                    times >= 1,
                    "{width}x{height}: {shown} {times} times in\n{all}"
                );
            }
            if width >= 60 {
                for sign in [
                    "held: center, in the mode",
                    "held by the pedal alone",
                    "leaning: half, as likely",
                    "history: at home, away from",
                    "differs from the parallel",
                    "what sounds or is here;",
                    "looking back: at what was",
                    "looking back: the plan goes",
                    "a marker: what it is about",
                    "what you said is home",
                ] {
                    let times = all.matches(sign).count();
                    assert_eq!(times, 1, "{width}x{height}: {sign}\n{all}");
                }
            }
            assert!(all.contains("no key"), "{all}");
            assert!(all.contains("Ctrl-C"), "{all}");
            let back = if glyphs == Glyphs::Ascii {
                "Alt-Left"
            } else {
                "Alt-←"
            };
            assert!(all.contains(back), "{all}");
            assert!(glyphs == Glyphs::Unicode || all.is_ascii(), "{all}");
        }
    }
}

/// Colour is never the only cue: without it every letter is the same.
#[test]
fn no_colour_takes_no_letter_away() {
    for (name, scene) in scenes() {
        let dark = scene.draw(80, 24, Palette::Dark, Glyphs::Unicode);
        for (palette, depth) in colours() {
            let other = scene.draw_coloured((80, 24), (palette, depth));
            assert_eq!(as_text(&other), as_text(&dark), "{name}");
        }
        let plain = scene.draw(80, 24, Palette::Plain, Glyphs::Unicode);
        let coloured = plain
            .content
            .iter()
            .find(|c| c.fg != ratatui::style::Color::Reset || c.bg != ratatui::style::Color::Reset);
        assert_eq!(coloured, None, "{name}");
    }
}

/// Every palette at every depth.
fn colours() -> impl Iterator<Item = (Palette, Depth)> {
    let all = |p: Palette| Depth::ALL.map(|d| (p, d));
    Palette::ALL.into_iter().flat_map(all)
}

/// Where a palette has its own ground, there is no hole in it, and no letter in the
/// terminal's own colour; elsewhere the terminal's ground stays.
#[test]
fn the_ground_is_painted_whole_or_not_at_all() {
    for (palette, depth) in colours() {
        let ground = palette.styles(depth).ground();
        for (name, scene) in scenes() {
            for size in [(40, 10), (60, 18), (80, 24), (120, 36)] {
                let buf = scene.draw_coloured(size, (palette, depth));
                let odd = buf.content.iter().find(|c| {
                    let own = c.fg != ratatui::style::Color::Reset || ground.bg.is_none();
                    c.bg != ground.bg.unwrap_or_default() || !own
                });
                assert_eq!(odd, None, "{name}, {} at {}", palette.name(), depth.name());
            }
        }
    }
}

/// Labels change, places do not: captions stand where they stood.
#[test]
fn nothing_jumps() {
    let captions = [
        "here",
        "chord",
        "heard lately",
        "in fifths",
        "C3",
        "phrase",
        "? help",
    ];
    for (width, height) in [(80, 24), (120, 36), (200, 60)] {
        let places = |scene: &Scene| -> Vec<Option<(usize, usize)>> {
            let text = scene.text(width, height, Glyphs::Unicode);
            captions
                .iter()
                .map(|c| {
                    let mut rows = text.lines().enumerate();
                    rows.find_map(|(y, row)| {
                        let at = row.find(c)?;
                        Some((row[..at].chars().count(), y))
                    })
                })
                .collect()
        };
        let first = places(&Scene::nothing());
        assert!(first.iter().all(Option::is_some), "{first:?}");
        for (name, scene) in scenes()
            .iter()
            .filter(|s| s.1.way == Way::Playing && !s.1.hidden)
            .filter(|s| !s.1.help && !s.1.scale && s.1.explanation.is_none())
        {
            assert_eq!(places(scene), first, "{name} at {width}x{height}");
        }
    }
}

#[test]
fn below_the_smallest_size_one_line_says_so() {
    let scene = Scene::wandering();
    let told = |w, h| {
        let text = scene.text(w, h, Glyphs::Unicode);
        let lines: Vec<String> = text
            .lines()
            .map(str::trim)
            .filter(|l| !l.is_empty())
            .map(str::to_owned)
            .collect();
        lines
    };
    assert_eq!(
        told(59, 18),
        ["Too small: Peregrinus needs 60×18, this is 59×18."]
    );
    assert_eq!(told(30, 5), ["Too small: needs 60×18"]);
    assert_eq!(told(6, 1), ["60×18"]);
    assert_eq!(told(1, 1), ["!"]);
}

/// Words that a picture must have, whatever it looks like.
#[test]
fn it_says_what_it_knows() {
    let says = |scene: &Scene, words: &[&str]| {
        let text = scene.text(80, 24, Glyphs::Unicode);
        for w in words {
            assert!(text.contains(w), "no '{w}' in\n{text}");
        }
    };
    says(
        &Scene::dorian(),
        &[
            "6th not heard: Dorian or Aeolian",
            "for 12 s",
            "D3 F3 A3 C4",
            "pedal",
        ],
    );
    says(
        &Scene::fifth(),
        &["2nd, 3rd, 4th, 6th and 7th not heard: Ionian, Mixolydian, Dorian or Aeolian"],
    );
    says(
        &Scene::wandering(),
        &["home: D Dorian", "→ E Aeolian", "E in the bass, F♯ heard"],
    );
    says(&Scene::stopped(), &["8 s ago"]);
    says(&Scene::ended(), &["3 s ago", "1:22/1:22 ended"]);
    says(
        &Scene::lost(),
        &["unplugged", "12 dropped", "rec evening.mid", "comes back"],
    );
    let mut narrow = Scene::lost();
    // What is long goes on in the rows above, and is cut only where it would cover more.
    narrow.source.notice = Some("The keyboard is gone; ".repeat(5).trim_end().into());
    says(
        &narrow,
        &[
            "The keyboard is gone; The keyboard is gone; The keyboard is gone; The",
            "keyboard is gone; The keyboard is gone;",
        ],
    );
    narrow.source.notice = Some("The keyboard is gone; ".repeat(50));
    says(&narrow, &["The keyboard is gone; The keyboard is…"]);
    says(
        &Scene::file(),
        &["1:07/1:22 paused", "×0.5", "repeat 1:00–1:10"],
    );
}

/// The chord that sounds has brackets, in any inversion and with notes added;
/// what is no chord of the scale is not lit.
#[test]
fn the_chord_that_sounds_is_lit_by_its_shape() {
    let lit = |chord: &[u8], within: &str, width, height| -> Vec<String> {
        let mut s = Scene::wandering().harmonized();
        s.reading.here = Some(established(within, 61.0, 63.0));
        s.reading.chord = Some((named(chord, within), sec(65.0)));
        let buf = s.draw(width, height, Palette::Plain, Glyphs::Ascii);
        let text = as_text(&buf);
        let parts = text.split('[').skip(1).filter_map(|p| p.split_once(']'));
        parts.map(|p| p.0.trim().to_owned()).collect()
    };
    for (chord, sized) in [
        ([43, 59, 62].as_slice(), ["G", "G", "G"]),
        (&[47, 55, 62], ["G", "G", "G"]),
        (&[43, 59, 62, 65], ["7", "G7", "G7"]),
        (&[43, 59, 62, 65, 69], ["7", "G7", "G7"]),
        (&[47, 53, 57, 62], ["m7b5", "Bm7b5", "Bm7b5"]),
        // Suspended: the degree alone.
        (&[43, 60, 62], ["I", "I", "I"]),
    ] {
        for ((width, height), want) in [(80, 24), (120, 36), (240, 67)].into_iter().zip(sized) {
            let is = lit(chord, "G mixolydian", width, height);
            assert_eq!(is, [want], "{chord:?} at {width}x{height}");
        }
    }
    // A major chord on the second degree is not of the scale, nor is one note.
    assert!(lit(&[45, 61, 64], "G mixolydian", 80, 24).is_empty());
    assert!(lit(&[43], "G mixolydian", 80, 24).is_empty());
    // A chord of a form is shown in the place of the usual one.
    assert_eq!(lit(&[40, 56, 59], "A minor", 80, 24), ["E"]);
    assert_eq!(lit(&[44, 59, 62, 65], "A minor", 120, 36), ["G#dim7"]);
    assert_eq!(lit(&[44, 59, 62, 65], "A minor", 240, 67), ["G#dim7"]);
    assert_eq!(lit(&[42, 57, 60, 64], "A minor", 240, 67), ["F#m7b5"]);
}

/// A scale that was not heard is not claimed.
#[test]
fn no_harmony_without_a_mode() {
    let text = |s: Scene| s.harmonized().text(80, 24, Glyphs::Unicode);
    for (scene, words) in [
        (Scene::nothing(), "no center, no scale"),
        (Scene::whole_tone(), "no center, no scale"),
        (Scene::fifth(), "not yet: the mode is still open"),
    ] {
        let text = text(scene);
        assert!(text.contains(words), "{text}");
        assert!(!text.contains("vii"), "{text}");
    }
}

/// Nothing large, and nothing in the history, claims a mode that was not heard.
#[test]
fn a_mode_not_heard_is_not_claimed() {
    use ratatui::style::Modifier;
    let fifth = Scene::fifth().text(80, 24, Glyphs::Ascii);
    let rows = |word: &str| fifth.lines().filter(|l| l.contains(word)).count();
    // Only in the line that says what is open.
    assert_eq!(rows("Ionian"), 1, "{fifth}");
    assert_eq!(rows("I o n i a n"), 0, "{fifth}");
    assert_eq!(rows("D   . . ."), 1, "{fifth}");

    let dorian = Scene::dorian();
    let text = dorian.text(80, 24, Glyphs::Ascii);
    assert!(text.contains("here      D Dorian?"), "{text}");
    // The guess is dim, its center is not; once decided neither is.
    let dim = |scene: &Scene| {
        let buf = scene.draw(80, 24, Palette::Plain, Glyphs::Ascii);
        let row = (0..24).find(|&y| buf[(1, y)].symbol() == "D" && buf[(5, y)].symbol() == "D");
        let y = row.unwrap_or(0);
        [1, 5].map(|x| buf[(x, y)].modifier.contains(Modifier::DIM))
    };
    assert_eq!(dim(&dorian), [false, true]);
    let mut decided = dorian;
    decided.reading.here = Some(established("D dorian", 2.0, 3.5));
    assert_eq!(dim(&decided), [false, false]);
}

/// While the mode is open, another center may be near, but no other mode.
#[test]
fn an_open_mode_leans_to_no_other() {
    let leans = |scene: &Scene, name: &str| {
        let mut s = scene.clone();
        let e = established(name, 1.0, 1.0);
        s.reading.contender = Some(Contender {
            spelled: e.spelled,
            probability: 0.2,
            nearness: 0.4,
            in_bass: false,
            heard: None,
        });
        s.text(80, 24, Glyphs::Unicode).contains("leaning")
    };
    assert!(!leans(&Scene::fifth(), "D dorian"));
    assert!(leans(&Scene::fifth(), "A dorian"));
    assert!(leans(&Scene::dorian(), "D aeolian"));
    assert!(leans(&Scene::wandering(), "G dorian"));
}

/// Deciding the mode moves no letter of the center.
#[test]
fn the_center_stands_while_its_mode_is_open() {
    let center = |scene: &Scene| -> Vec<String> {
        let text = scene.text(120, 36, Glyphs::Unicode);
        let rows = text.lines().skip(1).take(8);
        rows.map(|l| l.chars().take(9).collect::<String>().trim_end().to_owned())
            .collect()
    };
    let open = Scene::fifth();
    let mut decided = open.clone();
    decided.reading.here = Some(established("D dorian", 1.0, 3.0));
    assert_eq!(center(&open), center(&decided));
}

/// Each region's name is as long as it has room, and never wider than the region.
#[test]
fn the_history_says_as_much_as_has_room() {
    let here = |width, height| -> String {
        let text = Scene::one_center().text(width, height, Glyphs::Unicode);
        let row = text
            .lines()
            .rfind(|l| l.contains("D Dorian?") && l.contains("here"));
        let words: Vec<&str> = row.unwrap_or("").split_whitespace().collect();
        words.join(" ")
    };
    assert_eq!(
        here(80, 24),
        "here D Dorian? D Phrygian D Aeolian Phr dom A♭ Lyd D♭ Mixol"
    );
    assert_eq!(here(60, 18), "here D Dorian? Phrygian D Aeol A♭ D♭ Mixo");
}

/// Changes that have no room for their names leave a dot.
#[test]
fn the_history_shows_where_chords_are_left_out() {
    let mut scene = Scene::dorian();
    scene.history = History::default();
    // Between two that last, three that have less than a column each.
    let quick = [[50, 53, 57], [52, 55, 59], [53, 57, 60], [55, 59, 62]];
    let starts = [0.0, 6.0, 6.4, 6.8, 7.2, 12.0];
    let chords = [quick[0], quick[1], quick[2], quick[3], quick[1], quick[2]];
    for (at, chord) in starts.into_iter().zip(chords) {
        let sonority = named(&chord, "D dorian");
        scene.history.change(
            sec(at),
            Change::Chord {
                sonority,
                keys: KeySet::EMPTY,
            },
        );
    }
    scene.now = sec(20.0);
    scene.history.advance_to(scene.now);
    let row = |glyphs| -> String {
        let text = scene.text(120, 36, glyphs);
        let row = text.lines().rfind(|l| l.trim_start().starts_with("chord "));
        let words: Vec<&str> = row.unwrap_or("").split_whitespace().collect();
        words.join(" ")
    };
    assert_eq!(row(Glyphs::Unicode), "chord Dm ···Em F");
    assert_eq!(row(Glyphs::Ascii), "chord Dm ...Em F");
}

/// In silence the picture stays and is dimmed; the age is not.
#[test]
fn a_picture_that_stopped_is_dimmed() {
    use ratatui::style::Modifier;
    let dim = |scene: &Scene| {
        let buf = scene.draw(80, 24, Palette::Plain, Glyphs::Unicode);
        (1..5u16)
            .flat_map(|y| (1..40u16).map(move |x| (x, y)))
            .filter(|&p| buf[p].symbol() != " ")
            .all(|p| buf[p].modifier.contains(Modifier::DIM))
    };
    assert!(!dim(&Scene::wandering()));
    assert!(dim(&Scene::stopped()));
    assert!(!dim(&Scene::file()));
    assert!(dim(&Scene::ended()));
    let letters = |s: &Scene| -> Vec<String> {
        let text = s.text(80, 24, Glyphs::Unicode);
        text.lines().skip(1).take(4).map(str::to_owned).collect()
    };
    assert_eq!(letters(&Scene::stopped()), letters(&Scene::wandering()));
}

/// A chord rolled at 20 ms a note goes from the label before it to its own.
#[test]
fn a_rolled_chord_has_one_label() {
    let mut scene = Scene::dorian();
    let mut view = View::default();
    // The row in words below the label, on the smallest screen.
    let mut words = |scene: &Scene| -> String {
        let buf = scene.draw_after(&mut view, 60, 18, Palette::Dark, Glyphs::Ascii);
        let text = as_text(&buf);
        let label = text.lines().find(|l| l.starts_with("chord"));
        let first = label.unwrap_or("").split_whitespace().nth(1);
        first.unwrap_or("").to_owned()
    };
    assert_eq!(words(&scene), "Dm7");
    let start = scene.now;
    let roll = [43, 47, 50, 53, 57];
    let mut at = |ms: u64, struck: usize, scene: &mut Scene| {
        let notes = &roll[..struck];
        scene.now = start + Time::millis(ms);
        scene.reading.at = start + Time::millis(20 * (struck as u64 - 1));
        scene.reading.struck = keys(notes);
        scene.reading.struck_at = start;
        scene.reading.chord = Some((named(notes, "D dorian"), scene.reading.at));
        words(scene)
    };
    for (ms, struck) in [(0, 1), (20, 2), (41, 3), (65, 4), (80, 5), (129, 5)] {
        assert_eq!(at(ms, struck, &mut scene), "Dm7", "after {ms} ms");
    }
    assert_eq!(at(130, 5, &mut scene), "G9");
    // A trill of new strokes does not hold a label back for good.
    let mut trill = Vec::new();
    for i in 0..12u64 {
        let notes = [43 + (i % 2) as u8, 60];
        scene.now = start + Time::millis(1000 + 30 * i);
        scene.reading.at = scene.now;
        scene.reading.struck_at = scene.now;
        scene.reading.struck = keys(&notes);
        scene.reading.chord = Some((named(&notes, "D dorian"), scene.now));
        trill.push(words(&scene));
    }
    trill.dedup();
    assert!((2..=4).contains(&trill.len()), "{trill:?}");
    // A moment without a chord does not blank the label.
    scene.reading.chord = None;
    assert_eq!(Some(&words(&scene)), trill.last());
}

/// The keys are shown when the label is, those of a roll together; where a melody moves
/// above them nothing does.
#[test]
fn the_keys_come_with_their_label() {
    let mut scene = Scene::dorian();
    let mut view = View::default();
    let mut row = |scene: &Scene| -> String {
        let buf = scene.draw_after(&mut view, 60, 18, Palette::Dark, Glyphs::Ascii);
        let text = as_text(&buf);
        let mut lines = text.lines().skip_while(|l| !l.starts_with("chord"));
        lines.nth(1).unwrap_or("").trim().to_owned()
    };
    let first = row(&scene);
    assert!(first.starts_with("D3 F3 A3 C4 |  "), "{first}");
    assert!(first.ends_with("  m3 M3 m3"), "{first}");
    let start = scene.now;
    let roll = [43, 55, 59, 62, 65];
    for (i, _) in roll.iter().enumerate() {
        let notes = &roll[..=i];
        scene.now = start + Time::millis(20 * i as u64);
        scene.reading.at = scene.now;
        scene.reading.struck = keys(notes);
        scene.reading.struck_at = start;
        scene.reading.chord = Some((named(notes, "D dorian"), scene.now));
        scene.reading.voiced_chord = voiced_chord(notes, "D dorian");
        assert_eq!(row(&scene), first);
    }
    scene.now += Time::millis(50);
    let settled = row(&scene);
    assert!(settled.starts_with("G2 | G3 B3 D4 F4"), "{settled}");
    scene.reading.struck = keys(&[76]);
    scene.reading.struck_at = scene.now;
    scene.reading.held |= keys(&[76]);
    assert_eq!(row(&scene), settled);
}

/// The keys stand in one place below the label however many they are.
#[test]
fn the_keys_stand_where_they_stood() {
    for (width, height) in [(60, 18), (80, 24), (120, 36), (240, 67)] {
        let place = |chord: &[u8], words: &str| -> (usize, usize) {
            let mut scene = Scene::dorian();
            scene.reading.chord = Some((named(chord, "D dorian"), sec(14.0)));
            scene.reading.voiced_chord = voiced_chord(chord, "D dorian");
            let text = scene.text(width, height, Glyphs::Ascii);
            let found = text.lines().enumerate();
            let found = found.filter_map(|(y, l)| Some((y, l.find(words)?)));
            let found: Vec<(usize, usize)> = found.collect();
            assert_eq!(found.len(), 1, "{words} in\n{text}");
            found[0]
        };
        let three = place(&[48, 52, 55], "C3 E3 G3 |");
        let six = place(&[36, 52, 58, 66, 69, 74], "C2 E3 | Bb3 F#4 A4 D5");
        assert_eq!(three, six, "{width}x{height}");
    }
}

/// What was set back, or stands still, has its label at once.
#[test]
fn a_paused_file_does_not_wait_for_its_label() {
    let mut scene = Scene::file();
    scene.reading.struck = scene.reading.held;
    scene.reading.struck_at = scene.now;
    let has_label = |scene: &Scene| {
        scene
            .text(60, 18, Glyphs::Ascii)
            .contains("F#3 | A#3 C#4 E4 G4")
    };
    assert!(has_label(&scene));
    if let Some(t) = &mut scene.source.transport {
        t.paused = false;
    }
    assert!(!has_label(&scene));
    scene.now = sec(10.0);
    assert!(has_label(&scene));
}

/// Long names of notes stand apart, the center's is never left out, and no letter
/// of another convention is on the screen.
#[test]
fn in_other_letters() {
    use crate::theory::{Accidentals, Letters};
    let german = [
        "C", "Cis", "Des", "D", "Dis", "Es", "E", "F", "Fis", "Ges", "G", "Gis", "As", "A", "Ais",
        "B", "H",
    ];
    let fixed = ["Do", "Re", "Mi", "Fa", "Sol", "La", "Si"];
    let movable = [
        "do", "di", "ra", "re", "ri", "me", "mi", "fa", "fi", "se", "sol", "si", "le", "la", "li",
        "te", "ti",
    ];
    let plain = |name: &str| name.replace(['♯', '♭'], "");
    for (letters, known, center) in [
        (Letters::German, &german[..], "D"),
        (Letters::FixedDo, &fixed[..], "Re"),
        (Letters::MovableDo, &movable[..], "do"),
    ] {
        for accidentals in [Accidentals::ByContext, Accidentals::Sharps] {
            for (width, height) in [(80, 24), (120, 36)] {
                let notation = Notation {
                    letters,
                    accidentals,
                    ..Notation::default()
                };
                let scene = Scene::dorian();
                let drawn = scene.draw_in(
                    notation,
                    &mut View::default(),
                    (width, height),
                    (Palette::Dark, Depth::Sixteen),
                );
                let text = as_text(&drawn);
                // The row of names lies over the row of degrees, below the caption.
                let rows: Vec<&str> = text.lines().collect();
                let at = rows.iter().find_map(|r| {
                    let bytes = r.find("heard lately")?;
                    Some(r[..bytes].chars().count())
                });
                let at = at.unwrap_or_else(|| panic!("no window in\n{text}"));
                let tokens = |row: &str| -> Vec<String> {
                    let panel: String = row.chars().skip(at).collect();
                    panel.split_whitespace().map(str::to_owned).collect()
                };
                let degrees = rows
                    .iter()
                    .position(|r| tokens(r).concat().contains("♭741526"))
                    .unwrap_or_else(|| panic!("no degrees in\n{text}"));
                let found = tokens(rows[degrees - 1]);
                let strange = found.iter().find(|n| !known.contains(&plain(n).as_str()));
                assert_eq!(strange, None, "in\n{text}");
                assert!(found.len() >= 6, "{found:?} in\n{text}");
                assert!(found.iter().any(|n| n == center), "{found:?}");
            }
        }
    }
}

/// Of the header each part is whole or not there, in whatever state and size.
#[test]
fn the_parts_of_the_header_never_run_into_each_other() {
    for size in [(60, 18), (80, 24), (120, 36), (240, 67)] {
        for way in Way::ALL {
            for state in 0..16u8 {
                let has = |bit: u8| state >> bit & 1 == 1;
                let mut s = Scene::wandering();
                s.way = way;
                if has(0) {
                    s.frozen = Some(Time::millis(95_000));
                }
                if has(1) {
                    s.reading.silent_since = Some(s.now);
                    s.now += Time::millis(5000);
                }
                if has(2) {
                    // Home again a moment ago.
                    let back = established("D dorian", 66.0, 66.0);
                    s.history.change(sec(66.0), Change::Here(back));
                    s.reading.here = Some(back);
                }
                if has(3) {
                    s.reading.home = Some(established("F# phrygian dominant", 1.0, 2.0));
                }
                s.history.advance_to(s.now);
                let text = s.text(size.0, size.1, Glyphs::Unicode);
                let row = text.lines().next().unwrap_or_default();
                // The chord's caption may stand to its right.
                let row = row.split("chord").next().unwrap_or_default();
                let parts = row.split("  ").map(str::trim).filter(|p| !p.is_empty());
                let whole = |p: &str| {
                    let timed = |before: &str, after: &str| {
                        p.strip_prefix(before)
                            .and_then(|p| p.strip_suffix(after))
                            .is_some_and(|p| p.ends_with(" s") || p.ends_with(" min"))
                    };
                    ["here", "home again"].contains(&p)
                        || timed("frozen ", " ago")
                        || timed("", " ago")
                        || timed("for ", "")
                        || p.starts_with("home: ")
                };
                let odd: Vec<&str> = parts.filter(|p| !whole(p)).collect();
                assert!(odd.is_empty(), "{odd:?} in '{row}' at {size:?}, {way:?}");
            }
        }
    }
}
