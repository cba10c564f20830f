//! The list of the sittings of other days: what it looks like, and what its keys do.

use super::scenes::marks;
use super::*;
use crate::listing::{Listing, Opening, Progress, Row, Stretch, words};
use crate::screen::sittings::ListState;
use crate::source::Keeping;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use std::fmt::Write as _;

/// A way: the seconds at which each tonality begins; `*` is away from home.
fn way(stays: &[(f64, &str)], end: f64) -> Vec<Stretch> {
    let ends = stays.iter().skip(1).map(|s| s.0).chain([end]);
    let stretch = |(&(start, name), end): (&(f64, &str), f64)| Stretch {
        start: sec(start),
        end: sec(end),
        spelled: Some(established(name.trim_start_matches('*'), 0.0, 0.0).spelled),
        at_home: !name.starts_with('*'),
    };
    stays.iter().zip(ends).map(stretch).collect()
}

fn row(date: &str, seconds: f64, name: &str, stays: &[(f64, &str)]) -> Row {
    Row {
        id: date.replace(' ', "_"),
        date: date.into(),
        length: sec(seconds),
        name: (!name.is_empty()).then(|| name.into()),
        tags: Vec::new(),
        markers: Vec::new(),
        cut_off: false,
        corrected: false,
        way: way(stays, seconds),
        words: words([name, date].into_iter()),
    }
}

fn marked(mut row: Row, markers: &[&str], tags: &[&str]) -> Row {
    row.words += &words(markers.iter().chain(tags).copied());
    row.markers = markers.iter().map(|&m| m.into()).collect();
    row.tags = tags.iter().map(|&t| t.into()).collect();
    row
}

/// Long and short, named and not, many changes and none.
fn rows() -> Vec<Row> {
    let wandering = [
        (4.0, "D dorian"),
        (100.0, "*G mixolydian"),
        (140.0, "*F lydian"),
        (150.0, "*C ionian"),
        (200.0, "D dorian"),
        (230.0, "D aeolian"),
    ];
    let mut many = Vec::new();
    for i in 0..40 {
        let name = ["*Eb lydian", "*Bb mixolydian", "*F# phrygian dominant"][i % 3];
        many.push((90.0 * i as f64, name));
    }
    let mut all = vec![
        marked(
            row("2026-11-29 20:15", 252.0, "Évening rain", &wandering),
            &["the bridge", "kept 1"],
            &["blue", "slow"],
        ),
        row("2026-11-29 08:02", 3852.0, "", &many),
        Row {
            cut_off: true,
            corrected: true,
            ..row("2026-11-28 23:59", 8.4, "", &[])
        },
        marked(
            row(
                "2026-11-20 17:30",
                61.0,
                "a name that is longer than the column for it has room on most screens",
                &[(0.0, "F# major")],
            ),
            &["1"; 12],
            &[],
        ),
    ];
    for day in (1..=9).rev() {
        let date = format!("2026-10-0{day} 12:00");
        let from = f64::from(day);
        all.push(row(
            &date,
            75.0,
            "",
            &[(from, "A minor"), (40.0, "*C major")],
        ));
    }
    all
}

fn listing() -> Listing {
    let rows = rows();
    Listing {
        count: rows.len(),
        rows: rows.into(),
        bytes: 1_240_000,
        progress: Progress::Done,
        said: Vec::new(),
        opening: Opening::None,
    }
}

/// Filled, and these keys pressed: characters, and arrows by their signs.
fn list(listing: Listing, keys: &str) -> SittingList {
    let mut list = SittingList::default();
    list.fill(listing, Notation::default(), Catalogue::standard());
    for c in keys.chars() {
        assert_eq!(press(&mut list, c), ListState::Open);
    }
    list
}

fn press(list: &mut SittingList, c: char) -> ListState {
    let code = match c {
        '↑' => KeyCode::Up,
        '↓' => KeyCode::Down,
        '⇞' => KeyCode::PageUp,
        '⇟' => KeyCode::PageDown,
        '⇱' => KeyCode::Home,
        '⇲' => KeyCode::End,
        '<' => KeyCode::Backspace,
        '\n' => KeyCode::Enter,
        '\u{1b}' => KeyCode::Esc,
        c => KeyCode::Char(c),
    };
    let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
    list.take(&event, 5, Notation::default(), Catalogue::standard())
}

fn scene(list: SittingList) -> Scene {
    let mut scene = Scene::dorian();
    scene.source.keeping = Keeping::Growing;
    Scene {
        list: Some(list),
        ..scene
    }
}

fn seen(list: &SittingList, (w, h): (u16, u16), glyphs: Glyphs, palette: Palette) -> Buffer {
    let mut list = list.clone();
    // As the loop does.
    let rows = crate::screen::panels::sittings::rows(Rect::new(0, 0, w, h));
    list.follow(rows.height.into());
    scene(list).draw(w, h, palette, glyphs)
}

#[test]
fn pictures() {
    let gone = "2026-11-29_08-02: there is no such file";
    let refused = Listing {
        opening: Opening::Failed(gone.into()),
        ..listing()
    };
    let said = "/home/x/sittings/y.mid: left out of the sittings: this is no MIDI file";
    for (name, list) in [
        ("all", list(listing(), "↓")),
        ("found", list(listing(), "c ion↓")),
        ("last", list(listing(), "⇲")),
        ("refused", list(refused, "")),
        (
            "said",
            list(
                Listing {
                    said: vec![said.into(), "and another".into()],
                    progress: Progress::Reading { done: 7, of: 1200 },
                    count: 9000,
                    ..listing()
                },
                "",
            ),
        ),
    ] {
        let mut all = String::new();
        let sizes: &[(u16, u16)] = match name {
            "all" => &[(60, 18), (80, 24), (120, 36), (240, 67)],
            _ => &[(60, 18), (80, 24)],
        };
        for &size in sizes {
            let buf = seen(&list, size, Glyphs::Unicode, Palette::Dark);
            let _ = write!(all, "== {}x{}\n{}\n\n", size.0, size.1, as_text(&buf));
        }
        let buf = seen(&list, (80, 24), Glyphs::Ascii, Palette::Plain);
        let text = as_text(&buf);
        let own: String = text.chars().filter(|c| *c != 'É').collect();
        assert!(own.is_ascii(), "{text}");
        let _ = write!(all, "== ASCII\n{text}\n\n== no colour\n{}", marks(&buf));
        insta::assert_snapshot!(format!("list_{name}"), all);
    }
}

/// Never a blank: why there is no row is said.
#[test]
fn where_there_is_no_row_it_is_said_why() {
    let empty = Listing {
        progress: Progress::Done,
        ..Listing::default()
    };
    let failed = Listing {
        progress: Progress::Failed("the index of the sittings is damaged".into()),
        ..Listing::default()
    };
    for (listing, typed, keeping, says) in [
        (
            empty.clone(),
            "",
            Keeping::Ready,
            "There are no sittings yet: the next note begins one.",
        ),
        (
            empty.clone(),
            "x",
            Keeping::Growing,
            "the one that is going on is listed when it",
        ),
        (empty, "", Keeping::Off, "There are no sittings yet."),
        (
            failed,
            "",
            Keeping::Ready,
            "The sittings cannot be listed: the index of the sittings is damaged.",
        ),
        (
            Listing::default(),
            "",
            Keeping::Ready,
            "The list is being read.",
        ),
        (
            listing(),
            "zzz",
            Keeping::Ready,
            "No sitting matches what you typed.",
        ),
    ] {
        let mut scene = scene(list(listing, typed));
        scene.source.keeping = keeping;
        for (w, h) in [(80, 24), (60, 18)] {
            let text = scene.text(w, h, Glyphs::Ascii);
            let words: Vec<&str> = text.split_whitespace().collect();
            assert!(words.join(" ").contains(says), "{says}: {text}");
        }
    }
}

/// The music goes on below: the lines at the bottom are those of the monitor.
#[test]
fn what_is_kept_and_what_is_wrong_stay_in_sight() {
    let mut scene = scene(list(listing(), ""));
    scene.source.notice = Some("Digital Piano is gone.".into());
    let text = scene.text(80, 24, Glyphs::Unicode);
    let last: Vec<&str> = text.lines().rev().take(2).collect();
    assert!(
        last[0].contains("Digital Piano") && last[0].contains("● sitting"),
        "{text}"
    );
    assert!(last[1].contains("Digital Piano is gone."), "{text}");
}

#[test]
fn arrows_and_pages_go_through_it() {
    let place = |keys: &str| {
        let mut list = list(listing(), keys);
        list.follow(5);
        let seen: Vec<bool> = list.shown(5).map(|(_, chosen)| chosen).collect();
        let rows = rows();
        let id = &list.chosen().expect("one").id;
        let at = rows.iter().position(|row| row.id == *id);
        (
            at.expect("there"),
            seen.iter().position(|&chosen| chosen).expect("in sight"),
        )
    };
    assert_eq!(place(""), (0, 0));
    assert_eq!(place("↑"), (0, 0));
    assert_eq!(place("↓↓"), (2, 2));
    assert_eq!(place("⇟"), (5, 4));
    assert_eq!(place("⇟⇟↑"), (9, 4));
    assert_eq!(place("⇲"), (12, 4));
    assert_eq!(place("⇲↓⇟"), (12, 4));
    assert_eq!(place("⇲⇞"), (7, 4));
    assert_eq!(place("⇲⇱"), (0, 0));
    // What is typed begins at the first again.
    assert_eq!(place("⇲a"), (0, 0));
    assert_eq!(place("⇲zz<<"), (0, 0));
    // What is found is what is gone through.
    assert_eq!(place("a min⇲"), (12, 4));
    assert_eq!(place("rain↓"), (0, 0));
}

#[test]
fn one_is_opened_or_the_list_is_left() {
    let mut found = list(listing(), "08:02");
    assert_eq!(
        press(&mut found, '\n'),
        ListState::Chosen("2026-11-29_08:02".into())
    );
    assert_eq!(press(&mut found, '\u{1b}'), ListState::Left);
    let mut nothing = list(listing(), "zzz");
    assert_eq!(press(&mut nothing, '\n'), ListState::Open);
}

/// When the rest of the list comes, or a sitting that has just ended, another one does not slip
/// under the hand.
#[test]
fn what_is_chosen_stays_so_when_the_list_grows() {
    let first: Vec<Row> = rows().into_iter().skip(1).take(3).collect();
    let first = Listing {
        rows: first.into(),
        progress: Progress::Started,
        ..listing()
    };
    let mut chosen = list(first.clone(), "↓");
    let id = chosen.chosen().map(|row| row.id.clone());
    chosen.fill(listing(), Notation::default(), Catalogue::standard());
    assert_eq!(chosen.chosen().map(|row| row.id.clone()), id);
    // Where nobody has chosen yet it is the newest.
    let mut newest = list(first, "");
    newest.fill(listing(), Notation::default(), Catalogue::standard());
    assert_eq!(newest.chosen().map(|row| &row.id), Some(&rows()[0].id));
}

#[test]
fn the_mouse_goes_through_it() {
    use ratatui::crossterm::event::{MouseButton, MouseEvent, MouseEventKind};
    let mut list = list(listing(), "");
    let rows = Rect::new(0, 3, 80, 5);
    let mut point = |kind, row| {
        let event = MouseEvent {
            kind,
            column: 10,
            row,
            modifiers: KeyModifiers::NONE,
        };
        let state = list.point(&event, rows);
        list.follow(5);
        let date = list.chosen().map(|row| row.date.clone());
        (state, date.expect("one"))
    };
    let date = |at: usize| rows_at(at).date;
    let click = MouseEventKind::Down(MouseButton::Left);
    assert_eq!(
        point(MouseEventKind::ScrollDown, 20),
        (ListState::Open, date(3))
    );
    assert_eq!(
        point(MouseEventKind::ScrollDown, 4),
        (ListState::Open, date(6))
    );
    assert_eq!(
        point(MouseEventKind::ScrollUp, 4),
        (ListState::Open, date(3))
    );
    // Rows 2 to 6 are shown. The first click chooses, the second opens.
    assert_eq!(point(click, 6), (ListState::Open, date(5)));
    assert_eq!(point(click, 2), (ListState::Open, date(5)));
    assert_eq!(point(click, 8), (ListState::Open, date(5)));
    let opened = ListState::Chosen(rows_at(5).id);
    assert_eq!(point(click, 6), (opened, date(5)));
}

fn rows_at(at: usize) -> Row {
    rows().swap_remove(at)
}
