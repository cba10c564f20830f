//! Pictures of the scenes in tests/scenarios/: played through the engine, keys pressed at
//! the computer's keyboard, and the screen looked at.

#[path = "../../../tests/common/scenario.rs"]
mod scenario;
#[path = "shown.rs"]
mod shown;

use super::*;
use crate::correction::Revision;
use crate::engine::{Event, Monitor};
use crate::listing::Listing;
use crate::screen::Options;
use crate::screen::state::ScreenState;
use crate::screen::surface::{MouseReports, Presence, Surface};
use crate::stage::{Request, Stage, StageError};
use crossbeam_channel::{Receiver, never};
use ratatui::crossterm::event::{self, KeyCode, KeyEvent, KeyModifiers};
use ratatui::style::Modifier;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// What is expected of the engine is no business of the screen.
type Scenario = scenario::Scenario<toml::Value>;

/// A keyboard at which a scene is played.
#[derive(Clone)]
struct Playing {
    monitor: Monitor,
    history: History,
    markers: Vec<Marker>,
    rest: std::vec::IntoIter<(Time, Event)>,
    next: Option<(Time, Event)>,
    explanation: Option<Explanation>,
    source: Source,
    news: Receiver<()>,
}

impl Playing {
    fn new(scenario: &Scenario) -> Result<Playing, String> {
        let mut monitor =
            Monitor::new(Arc::new(Catalogue::standard().clone())).map_err(|e| e.to_string())?;
        let mut history = History::default();
        for setting in scenario.settings()? {
            monitor.on_event(Time::ZERO, setting, &mut history);
        }
        let source = Source {
            name: "Digital Piano".into(),
            link: Link::Keyboard,
            ..Source::default()
        };
        let events = scenario.performance()?;
        Ok(Playing::of(monitor, history, events, source))
    }

    /// These events, none of which has been heard yet.
    fn of(
        monitor: Monitor,
        history: History,
        events: Vec<(Time, Event)>,
        source: Source,
    ) -> Playing {
        let mut rest = events.into_iter();
        Playing {
            monitor,
            history,
            markers: Vec::new(),
            next: rest.next(),
            rest,
            explanation: None,
            source,
            news: never(),
        }
    }

    fn advance_to(&mut self, at: Time) {
        while let Some((when, event)) = self.next.filter(|e| e.0 < at) {
            self.monitor.on_event(when, event, &mut self.history);
            self.next = self.rest.next();
        }
        self.monitor.advance_to(at, &mut self.history);
        self.history.advance_to(at);
    }

    fn say(&mut self, event: Event) {
        let now = self.monitor.now();
        self.monitor.on_event(now, event, &mut self.history);
    }
}

impl Stage for Playing {
    fn usual_inertia(&self) -> Inertia {
        Inertia::default()
    }

    fn reading(&mut self) -> Reading {
        self.monitor.reading()
    }
    fn explanation(&mut self) -> Option<Explanation> {
        self.explanation
    }
    fn past(&mut self) -> (&History, &[Marker]) {
        (&self.history, &self.markers)
    }
    fn source(&mut self) -> Source {
        self.source.clone()
    }
    fn now(&self) -> Time {
        self.monitor.now()
    }
    fn name_sitting(&mut self, _: u64, name: String) {
        panic!("{name} is for a keyboard whose playing is kept");
    }
    fn listing(&mut self) -> Listing {
        panic!("no other days here")
    }
    fn open_sitting(&mut self, id: &str) {
        panic!("{id} is of another day")
    }
    fn revise(&mut self, revision: Revision) {
        panic!("{revision:?} is for a sitting of another day")
    }
    fn act(&mut self, request: Request) {
        let at = self.monitor.now();
        match request {
            Request::Inertia(inertia) => self.say(Event::Inertia(inertia)),
            Request::UsualInertia => self.say(Event::Inertia(Inertia::default())),
            Request::Set(event) => self.say(event),
            Request::Explain => self.explanation = self.monitor.case().map(|c| c.explain()),
            Request::Mark => self.markers.push(Marker {
                at,
                about: Some(self.history.phrase_before(at)),
                name: (self.markers.len() + 1).to_string(),
            }),
            Request::KeepLast => self.markers.push(Marker {
                at,
                about: Some((at - Time::millis(30_000), at)),
                name: "kept 1".into(),
            }),
            Request::ListSittings | Request::CloseList | Request::CloseSitting => {
                panic!("{request:?} is about other days")
            }
            Request::EndSitting | Request::ThrowAside | Request::Tap(_) | Request::Click(_) => {
                panic!("{request:?} is for a keyboard whose playing is kept")
            }
            Request::Pause
            | Request::SeekBy(_)
            | Request::SeekTo(_)
            | Request::Pace(_)
            | Request::Repeat => panic!("{request:?} is for files"),
        }
    }
    fn news(&self) -> &Receiver<()> {
        &self.news
    }
    fn failed(&mut self) -> Option<StageError> {
        None
    }
    fn patience(&self) -> Duration {
        Duration::from_secs(1)
    }
}

/// Keeps the last picture.
struct Paper {
    size: (u16, u16),
    last: Buffer,
}

impl Surface for Paper {
    fn size(&self) -> io::Result<(u16, u16)> {
        Ok(self.size)
    }
    fn show(&mut self, picture: &Buffer) -> io::Result<Presence> {
        self.last = picture.clone();
        Ok(Presence::There)
    }
    fn forget(&mut self) {}
    fn report_mouse(&mut self, _: MouseReports) -> io::Result<()> {
        Ok(())
    }
    fn suspend(&mut self) -> io::Result<()> {
        Ok(())
    }
    fn stop(&mut self) -> io::Result<()> {
        Ok(())
    }
    fn resume(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn key(name: &str) -> Result<event::Event, String> {
    let code = match name {
        "Enter" => KeyCode::Enter,
        "Esc" => KeyCode::Esc,
        "Up" => KeyCode::Up,
        "Down" => KeyCode::Down,
        "End" => KeyCode::End,
        "Space" => KeyCode::Char(' '),
        sign => match sign.parse() {
            Ok(c) => KeyCode::Char(c),
            Err(_) => return Err(format!("'{name}' is no key")),
        },
    };
    let key = KeyEvent::new(code, KeyModifiers::NONE);
    Ok(event::Event::Key(key))
}

/// The last stretch, looked at often as a player would, so that labels settle.
const SETTLING: Time = Time::millis(1000);
/// How often it is looked at.
const LOOK: Time = Time::millis(50);

/// In the usual conventions.
fn options(glyphs: Glyphs, palette: Palette) -> Options {
    Options {
        notation: Notation {
            glyphs,
            ..Notation::default()
        },
        palette,
        depth: None,
        terminal: Depth::default(),
        way: Way::Playing,
        panels: Panels::default(),
        keys: KeyBindings::default(),
        mouse: true,
        jobs: Vec::new(),
        catalogue: Arc::new(Catalogue::standard().clone()),
        log: None,
        hint: false,
        left: None,
        updates: never(),
    }
}

/// Somebody at the keys, and the screen before them.
struct Sitting<'a> {
    state: ScreenState<'a>,
    playing: Playing,
    paper: Paper,
}

impl<'a> Sitting<'a> {
    fn new(
        scenario: &Scenario,
        size: (u16, u16),
        options: &'a Options,
    ) -> Result<Sitting<'a>, String> {
        Ok(Sitting::of(Playing::new(scenario)?, size, options))
    }

    fn of(playing: Playing, size: (u16, u16), options: &'a Options) -> Sitting<'a> {
        Sitting {
            state: ScreenState::new(options),
            playing,
            paper: Paper {
                size,
                last: Buffer::empty(Rect::new(0, 0, size.0, size.1)),
            },
        }
    }

    fn draw(&mut self) -> Result<(), String> {
        let present = self.state.advance(Instant::now(), &mut self.playing);
        let there = self.state.draw(present, &mut self.paper);
        there.map(|_| ()).map_err(|e| e.to_string())
    }

    fn press(&mut self, name: &str) -> Result<(), String> {
        let event = key(name)?;
        let quits = self
            .state
            .on_event(&event, &mut self.playing, &mut self.paper);
        quits.map(|_| ()).map_err(|e| e.to_string())
    }

    /// Plays on until `at`; the last of it is looked at.
    fn play(&mut self, at: Time) -> Result<(), String> {
        let mut now = self.playing.monitor.now().max(at - SETTLING);
        while now < at {
            self.playing.advance_to(now);
            self.draw()?;
            now += LOOK;
        }
        self.playing.advance_to(at);
        self.draw()
    }
}

/// The scene until the first moment that the screen of `look` can depend on.
fn begun(scenario: &Scenario, look: &scenario::Look) -> Result<Playing, String> {
    let first = look.press.iter().map(|p| p.0).chain([look.at]).min();
    let mut playing = Playing::new(scenario)?;
    playing.advance_to(first.unwrap_or(look.at) - SETTLING);
    Ok(playing)
}

/// Plays on until `look`, with the keys that are pressed on the way, and draws.
fn seen(
    begun: &Playing,
    look: &scenario::Look,
    size: (u16, u16),
    glyphs: Glyphs,
    palette: Palette,
) -> Result<Buffer, String> {
    let options = options(glyphs, palette);
    let mut sitting = Sitting::of(begun.clone(), size, &options);
    for &(when, name) in &look.press {
        sitting.play(when)?;
        sitting.press(name)?;
    }
    sitting.play(look.at)?;
    // What was asked for by the last key has come.
    sitting.draw()?;
    Ok(sitting.paper.last)
}

/// The signs by which letters differ where there is no colour: dim, bold, underlined and
/// reversed, each a bit of a hexadecimal digit. A row without any is left out.
pub(super) fn marks(buf: &Buffer) -> String {
    let all = [
        Modifier::DIM,
        Modifier::BOLD,
        Modifier::UNDERLINED,
        Modifier::REVERSED,
    ];
    let mut text = String::new();
    for y in 0..buf.area.height {
        let row: String = (0..buf.area.width)
            .map(|x| {
                let modifier = buf[(x, y)].modifier;
                let bits = all.iter().enumerate();
                let bits = bits.map(|(i, &m)| u32::from(modifier.contains(m)) << i);
                let sum = bits.sum();
                match sum {
                    0 => ' ',
                    n => char::from_digit(n, 16).unwrap_or('?'),
                }
            })
            .collect();
        if !row.trim().is_empty() {
            let _ = writeln!(text, "{y:3} {}", row.trim_end());
        }
    }
    text
}

fn scenarios() -> Vec<(String, Scenario)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios");
    let files = std::fs::read_dir(folder).expect("tests/scenarios");
    let paths: BTreeSet<_> = files.map(|f| f.expect("a file").path()).collect();
    let toml = paths
        .iter()
        .filter(|p| p.extension().is_some_and(|e| e == "toml"));
    let read = toml.map(|path| {
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        let text = std::fs::read_to_string(path).expect("a text");
        let scenario = Scenario::read(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        (name.into_owned(), scenario)
    });
    read.collect()
}

/// Every picture in every size, in ASCII, and without colour.
#[test]
fn every_picture_of_every_scene() {
    let mut number = 0;
    for (name, scenario) in scenarios() {
        for look in scenario.looks().expect("read before") {
            let begun = begun(&scenario, &look).unwrap_or_else(|e| panic!("{name}: {e}"));
            let see = |size, glyphs, palette| {
                seen(&begun, &look, size, glyphs, palette)
                    .unwrap_or_else(|e| panic!("{name}, {}: {e}", look.name))
            };
            let mut all = format!("{} at {}\n", name, scenario.where_is(look.at));
            for size in [(60, 18), (80, 24), (120, 36), (240, 67)] {
                let buf = see(size, Glyphs::Unicode, Palette::Dark);
                let _ = write!(all, "\n== {}x{}\n{}\n", size.0, size.1, as_text(&buf));
            }
            let buf = see((80, 24), Glyphs::Ascii, Palette::Plain);
            let text = as_text(&buf);
            assert!(text.is_ascii(), "{name}, {}: {text}", look.name);
            let _ = write!(all, "\n== ASCII\n{text}\n\n== no colour\n{}", marks(&buf));
            insta::assert_snapshot!(format!("{name}_{}", look.name), all);
            number += 1;
        }
    }
    // No picture stays behind of a scene that has it no more.
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/screen/tests/snapshots");
    let files = std::fs::read_dir(folder).expect("the snapshots");
    let names = files.map(|f| f.expect("a file").file_name());
    let ours = names.filter(|n| {
        let name = n.to_string_lossy();
        name.contains("__scenes__") && name.ends_with(".snap")
    });
    assert_eq!(number, ours.count());
    assert!(number >= 30, "only {number} pictures");
}

/// From the first note to the last silence no caption moves: only what is said changes.
#[test]
fn through_a_whole_scene_nothing_jumps() {
    let all = scenarios();
    let journey = all.iter().find(|s| s.0 == "journey").map(|s| &s.1);
    let journey = journey.expect("the scene");
    let end = journey
        .looks()
        .expect("read before")
        .into_iter()
        .map(|l| l.at);
    let end = end.max().unwrap_or_default();
    let ways: [(&str, &[&str]); 3] = [
        ("p", &["here", "chord", "heard lately", "phrase", "? help"]),
        ("t", &["here", "chord", "brightness", "phrase", "? help"]),
        ("l", &["here", "chord", "all ", "phrase", "? help"]),
    ];
    for size in [(80, 24), (120, 36), (240, 67)] {
        for (way, captions) in ways {
            let options = options(Glyphs::Unicode, Palette::Dark);
            let mut sitting = Sitting::new(journey, size, &options).expect("a sitting");
            sitting.press(way).expect("a key");
            let mut first = None;
            let mut at = Time::millis(500);
            while at < end {
                sitting.playing.advance_to(at);
                sitting.draw().expect("drawn");
                let text = as_text(&sitting.paper.last);
                let place = |caption: &&str| {
                    let mut rows = text.lines().enumerate();
                    rows.find_map(|(y, row)| {
                        let x = row[..row.find(caption)?].chars().count();
                        Some((x, y))
                    })
                };
                let places: Vec<_> = captions.iter().map(place).collect();
                let first = first.get_or_insert_with(|| places.clone());
                assert!(
                    first.iter().all(Option::is_some),
                    "{way}: {first:?} in\n{text}"
                );
                assert_eq!(&places, first, "{way} at {} s:\n{text}", at.seconds());
                at += Time::millis(500);
            }
        }
    }
}
