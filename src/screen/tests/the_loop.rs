//! The loop with a stage, a surface and keys of the test's own.

use super::*;
use crate::correction::{Center, Correction, Revision};
use crate::engine;
use crate::listing::{Listing, Progress, Row, words};
use crate::screen::keys::Action;
use crate::screen::layout::LARGEST;
use crate::screen::run::follow;
use crate::screen::state::ScreenState;
use crate::screen::surface::{Alarm, MouseReports, Presence, Surface};
use crate::screen::{Key, LeftInertia, Options, Outcome, Update};
use crate::source::{Keeping, Opened};
use crate::stage::{Job, Pace, Request, Stage, StageError};
use crossbeam_channel::{Receiver, Sender, unbounded};
use ratatui::crossterm::event::{
    Event, KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};
use std::io;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

struct FakeStage {
    scene: Scene,
    /// Milliseconds, moved by the test.
    clock: Arc<AtomicU64>,
    news: Receiver<()>,
    acts: Vec<Request>,
    failure: Option<StageError>,
    patience: Duration,
    /// What is different each time that the reading is fetched.
    happens: Option<fn(u32, &mut Scene)>,
    fetched: u32,
    /// The jobs set off from the piano, the last first.
    jobs: Vec<usize>,
    listing: Listing,
    /// The sittings that were to be opened.
    opens: Vec<String>,
    /// What was to become of the corrected plan.
    revisions: Vec<Revision>,
}

impl Stage for FakeStage {
    fn usual_inertia(&self) -> Inertia {
        Inertia::default()
    }

    fn reading(&mut self) -> Reading {
        self.fetched += 1;
        if let Some(happens) = self.happens {
            happens(self.fetched, &mut self.scene);
        }
        self.scene.reading
    }
    fn explanation(&mut self) -> Option<Explanation> {
        self.scene.explanation
    }
    fn past(&mut self) -> (&History, &[Marker]) {
        (&self.scene.history, &self.scene.markers)
    }
    fn source(&mut self) -> Source {
        self.scene.source.clone()
    }
    fn now(&self) -> Time {
        self.scene.now + Time::millis(self.clock.load(Ordering::SeqCst))
    }
    fn act(&mut self, request: Request) {
        self.acts.push(request);
        if request == Request::CloseSitting {
            self.scene.source.opened = None;
        }
    }
    fn name_sitting(&mut self, _: u64, name: String) {
        self.scene.source.notice = Some(format!("[{name}] it is."));
    }
    fn listing(&mut self) -> Listing {
        self.listing.clone()
    }
    fn open_sitting(&mut self, id: &str) {
        self.opens.push(id.into());
        self.scene.source.opened = Some(Opened {
            date: "2026-11-29 20:15".into(),
            number: self.opens.len(),
            corrected: None,
        });
    }
    fn revise(&mut self, revision: Revision) {
        self.revisions.push(revision);
    }
    fn job(&mut self) -> Option<Job> {
        let at = Time::millis(700);
        self.jobs.pop().map(|number| Job { number, at })
    }
    fn news(&self) -> &Receiver<()> {
        &self.news
    }
    fn failed(&mut self) -> Option<StageError> {
        self.failure.clone()
    }
    fn patience(&self) -> Duration {
        self.patience
    }
}

struct FakeSurface {
    size: (u16, u16),
    /// Typed from the last to the first, one word after each picture.
    presses: Vec<&'static str>,
    into: Option<Sender<Event>>,
    /// The last picture, for another thread.
    seen: Arc<Mutex<String>>,
    shows: usize,
    last: String,
    lost: bool,
    stops: usize,
    suspends: usize,
    forgets: usize,
    /// What it was last asked to report of the mouse.
    mouse: Option<MouseReports>,
    /// Pressed as soon as this many pictures were shown.
    quit_after: Option<(usize, Sender<Event>)>,
}

impl Default for FakeSurface {
    fn default() -> FakeSurface {
        FakeSurface {
            size: (80, 24),
            presses: Vec::new(),
            into: None,
            seen: Arc::default(),
            shows: 0,
            last: String::new(),
            lost: false,
            stops: 0,
            suspends: 0,
            forgets: 0,
            mouse: None,
            quit_after: None,
        }
    }
}

impl Surface for FakeSurface {
    fn size(&self) -> io::Result<(u16, u16)> {
        Ok(self.size)
    }
    fn show(&mut self, picture: &Buffer) -> io::Result<Presence> {
        self.shows += 1;
        self.last = as_text(picture);
        *self
            .seen
            .lock()
            .map_err(|e| io::Error::other(e.to_string()))? = self.last.clone();
        if let (Some(keys), Some(word)) = (&self.into, self.presses.pop()) {
            for c in word.chars() {
                keys.send(sign(c)).map_err(io::Error::other)?;
            }
        }
        if let Some((n, keys)) = &self.quit_after
            && self.shows == *n
        {
            keys.send(q()).map_err(io::Error::other)?;
        }
        Ok(if self.lost {
            Presence::Lost
        } else {
            Presence::There
        })
    }
    fn forget(&mut self) {
        self.forgets += 1;
    }
    fn report_mouse(&mut self, reports: MouseReports) -> io::Result<()> {
        self.mouse = Some(reports);
        Ok(())
    }
    fn suspend(&mut self) -> io::Result<()> {
        self.suspends += 1;
        Ok(())
    }
    fn stop(&mut self) -> io::Result<()> {
        self.stops += 1;
        Ok(())
    }
    fn resume(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// The actions of the piano's jobs, as the settings would give them.
const JOBS: [&str; 4] = ["marker", "help", "quit", "no such action"];

/// Arrows, Enter, Tab and Esc have signs of their own.
fn sign(c: char) -> Event {
    let code = match c {
        '\n' => KeyCode::Enter,
        '\t' => KeyCode::Tab,
        '\u{1b}' => KeyCode::Esc,
        '↑' => KeyCode::Up,
        '↓' => KeyCode::Down,
        c => KeyCode::Char(c),
    };
    Event::Key(KeyEvent::new(code, KeyModifiers::NONE))
}

fn q() -> Event {
    sign('q')
}

struct Rig {
    stage: FakeStage,
    surface: FakeSurface,
    clock: Arc<AtomicU64>,
    news: Sender<()>,
    keys: (Sender<Event>, Receiver<Event>),
    alarms: (Sender<Alarm>, Receiver<Alarm>),
    bound: KeyBindings,
    hint: bool,
    left: Option<LeftInertia>,
    updates: (Sender<Update>, Receiver<Update>),
}

impl Rig {
    fn new(scene: Scene) -> Rig {
        let (news, receiver) = unbounded();
        let clock = Arc::new(AtomicU64::new(0));
        Rig {
            stage: FakeStage {
                scene,
                clock: clock.clone(),
                news: receiver,
                acts: Vec::new(),
                failure: None,
                patience: Duration::from_secs(3600),
                happens: None,
                fetched: 0,
                jobs: Vec::new(),
                listing: Listing::default(),
                opens: Vec::new(),
                revisions: Vec::new(),
            },
            surface: FakeSurface::default(),
            clock,
            news,
            keys: unbounded(),
            alarms: unbounded(),
            bound: KeyBindings::default(),
            hint: false,
            left: None,
            updates: unbounded(),
        }
    }

    fn press(&self, code: KeyCode, modifiers: KeyModifiers) {
        let key = KeyEvent::new(code, modifiers);
        self.keys
            .0
            .send(Event::Key(key))
            .expect("the loop's end is here");
    }

    fn types(&self, text: &str) {
        for c in text.chars() {
            self.press(KeyCode::Char(c), KeyModifiers::NONE);
        }
    }

    fn options(&self) -> Options {
        Options {
            notation: Notation::default(),
            palette: Palette::Dark,
            depth: None,
            terminal: Depth::default(),
            way: Way::Playing,
            panels: Panels::default(),
            keys: self.bound.clone(),
            mouse: true,
            jobs: JOBS.to_vec(),
            catalogue: Arc::new(Catalogue::standard().clone()),
            log: None,
            hint: self.hint,
            left: self.left,
            updates: self.updates.1.clone(),
        }
    }

    fn run(&mut self) -> io::Result<Outcome> {
        let options = self.options();
        follow(
            &mut self.stage,
            &options,
            self.keys.1.clone(),
            self.alarms.1.clone(),
            &mut self.surface,
        )
    }
}

#[test]
fn q_and_control_c_quit() {
    let mut rig = Rig::new(Scene::dorian());
    rig.types("q");
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(
        rig.surface.last.contains("6th not heard"),
        "{}",
        rig.surface.last
    );
    rig.press(KeyCode::Char('c'), KeyModifiers::CONTROL);
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
}

#[test]
fn keys_become_commands() {
    let mut rig = Rig::new(Scene::file());
    rig.types(" -+rm][");
    rig.press(KeyCode::Left, KeyModifiers::NONE);
    rig.types("q");
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(
        rig.stage.acts,
        [
            Request::Pause,
            Request::Pace(Pace::Slower),
            Request::Pace(Pace::Faster),
            Request::Repeat,
            Request::Mark,
            Request::Inertia(Inertia::Period),
            Request::Inertia(Inertia::Motif),
            Request::SeekBy(-5.0),
        ]
    );
}

/// Only while it is shown, now and then, and only when something has happened.
#[test]
fn what_decides_is_asked_for_when_it_is_wanted() {
    let asked = |keys: &str, happens: fn(u32, &mut Scene), pictures: u32| {
        let mut rig = Rig::new(Scene::dorian());
        rig.types(keys);
        let (news, keys) = (rig.news.clone(), rig.keys.0.clone());
        rig.stage.happens = Some(happens);
        let player = std::thread::spawn(move || {
            for _ in 0..pictures {
                std::thread::sleep(Duration::from_millis(100));
                let _ = news.send(());
            }
            keys.send(q()).is_ok()
        });
        let start = Instant::now();
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        assert!(player.join().is_ok_and(|sent| sent));
        let asks = rig.stage.acts.iter();
        let asks = asks.filter(|a| **a == Request::Explain).count() as f64;
        (asks, start.elapsed().as_secs_f64())
    };
    let later = |n: u32, s: &mut Scene| s.reading.at = sec(14.2) + Time::millis(u64::from(n));
    let played = |n: u32, s: &mut Scene| s.reading.window[0] = n as f32;
    assert_eq!(asked("", played, 3).0, 0.0);
    // Time alone is nothing new.
    assert_eq!(asked("e", later, 8).0, 1.0);
    let silent = |n: u32, s: &mut Scene| {
        s.reading.silent_since = Some(sec(14.0));
        s.reading.window[0] = n as f32;
    };
    assert_eq!(asked("e", silent, 20).0, 1.0);
    let (asks, seconds) = asked("e", played, 20);
    assert!(
        asks >= 2.0 && asks <= 1.0 + seconds / 1.5,
        "{asks} in {seconds} s"
    );
    // What is shown about another tonality would stand there as being worked out.
    let moved = |n: u32, s: &mut Scene| {
        let name = if n < 6 { "D dorian" } else { "G mixolydian" };
        s.reading.here = Some(established(name, 2.0, 3.5));
    };
    assert_eq!(asked("e", moved, 12).0, 2.0);
    // On and off again: at most the one between.
    assert!(asked("ee", played, 8).0 <= 1.0);
}

#[test]
fn help_opens_and_closes() {
    let mut rig = Rig::new(Scene::dorian());
    rig.types("?");
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    let help = &rig.surface.last;
    assert!(help.contains("Take breaks."), "{help}");
    // Keys that need a file are not in force.
    assert!(!help.contains("pause and go on"), "{help}");
}

/// Where it has pages its key and the space bar turn them, and nothing plays or pauses.
#[test]
fn the_help_turns_its_pages() {
    let last = |words: &[&'static str]| {
        let mut rig = Rig::new(Scene::file());
        rig.surface.size = (60, 18);
        rig.surface.presses = words.iter().rev().copied().collect();
        rig.surface.into = Some(rig.keys.0.clone());
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        (rig.surface.last, rig.stage.acts)
    };
    let page = |words: &[&'static str]| {
        let (text, acts) = last(words);
        assert_eq!(acts, [], "{words:?}");
        let mut pages = text.lines().filter_map(|l| l.split_once("page "));
        pages.next().and_then(|(_, page)| page.chars().next())
    };
    assert_eq!(page(&["?", "q"]), Some('1'));
    assert_eq!(page(&["?", "?", "q"]), Some('2'));
    assert_eq!(page(&["?", "?", "?", "q"]), Some('3'));
    assert_eq!(page(&["?", "?", "?", "?", "?", "q"]), Some('5'));
    assert_eq!(page(&["?", "?", "?", "?", "?", "?", "q"]), None);
    assert_eq!(page(&["?", " ", "q"]), Some('2'));
    assert_eq!(page(&["?", " ", " ", " ", " ", " ", "q"]), Some('1'));
    // Closed, the space bar is the player's again.
    assert_eq!(
        last(&["?", "?", "?", "?", "?", "?", " q"]).1,
        [Request::Pause]
    );
}

#[test]
fn keys_of_the_users_own_count_and_no_others() {
    let mut rig = Rig::new(Scene::file());
    let key = |name: &str| name.parse().expect("a key");
    rig.bound.bind("marker", &[key("F5"), key("Ctrl-K")]);
    rig.bound.bind("quit", &[key("x")]);
    rig.bound.bind("help", &[]);
    rig.types("m q?");
    rig.press(KeyCode::F(5), KeyModifiers::NONE);
    rig.press(KeyCode::Char('k'), KeyModifiers::CONTROL);
    rig.types("x");
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(
        rig.stage.acts,
        [Request::Pause, Request::Mark, Request::Mark]
    );
    assert!(!rig.surface.last.contains("help"), "{}", rig.surface.last);
}

#[test]
fn jobs_from_the_piano_do_what_keys_do() {
    let mut rig = Rig::new(Scene::dorian());
    rig.hint = true;
    // What no action has, and what has no number, is passed over.
    rig.stage.jobs = vec![2, 0, 3, 99, 1, 0];
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(rig.stage.acts, [Request::Mark, Request::Mark]);
    // Set off while it runs: the help opens, and the hint has been seen.
    let mut rig = Rig::new(Scene::dorian());
    rig.hint = true;
    rig.stage.jobs = vec![1];
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    let help = &rig.surface.last;
    assert!(help.contains("Take breaks."), "{help}");
    assert!(!help.contains("shows the keys"), "{help}");
}

#[test]
fn the_mouse_works_over_the_history() {
    let mut rig = Rig::new(Scene::wandering());
    // Wherever the history is: the row of its scale.
    let (seen, keys) = (rig.surface.seen.clone(), rig.keys.0.clone());
    let hand = std::thread::spawn(move || {
        let last = || seen.lock().map(|s| s.clone()).unwrap_or_default();
        let row_of = |span: &str| {
            let start = Instant::now();
            loop {
                let text = last();
                let row = text
                    .lines()
                    .position(|l| l.trim_start().starts_with(&format!("{span} ")));
                if let Some(row) = row {
                    return row as u16;
                }
                assert!(start.elapsed() < Duration::from_secs(10), "{span}\n{text}");
                std::thread::sleep(Duration::from_millis(5));
            }
        };
        let point = |kind, column, row, modifiers| {
            let event = MouseEvent {
                kind,
                column,
                row,
                modifiers,
            };
            keys.send(Event::Mouse(event)).expect("open");
        };
        let (none, shift) = (KeyModifiers::NONE, KeyModifiers::SHIFT);
        let row = row_of("1min");
        // Elsewhere nothing happens.
        point(MouseEventKind::ScrollUp, 20, 0, shift);
        point(MouseEventKind::ScrollUp, 20, row, shift);
        row_of("30s");
        point(MouseEventKind::ScrollUp, 20, row, none);
        row_of("◂30s");
        point(MouseEventKind::ScrollDown, 20, row, none);
        row_of("30s");
        point(MouseEventKind::Down(MouseButton::Left), 8, row, none);
        row_of("◂30s");
        point(MouseEventKind::ScrollDown, 20, row, none);
        point(MouseEventKind::ScrollDown, 20, row, none);
        point(MouseEventKind::ScrollDown, 20, row, none);
        point(MouseEventKind::ScrollDown, 20, row, none);
        row_of("30s");
        keys.send(q()).expect("open");
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    hand.join().expect("all was seen");
    assert_eq!(rig.stage.acts, []);
    assert_eq!(rig.surface.mouse, None, "as it was taken");
}

/// What changes in the settings counts at once; what was chosen by a key and did not
/// change there stays.
#[test]
fn settings_change_while_it_runs() {
    let mut rig = Rig::new(Scene::file());
    let mut keys = KeyBindings::default();
    keys.bind("quit", &["x".parse().expect("a key")]);
    let update = Update {
        notation: Some(Notation {
            glyphs: Glyphs::Ascii,
            ..Notation::default()
        }),
        keys: Some(keys),
        mouse: Some(false),
        events: vec![
            engine::Event::Bassist(engine::Bassist::Plays),
            engine::Event::Inertia(Inertia::Motif),
        ],
        ..Update::default()
    };
    rig.updates.0.send(update).expect("open");
    rig.surface.presses = vec!["x", "q"];
    rig.surface.into = Some(rig.keys.0.clone());
    // A picture for each: at first, in ASCII, and with a new age.
    let (clock, news) = (rig.clock.clone(), rig.news.clone());
    let time = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(200));
        clock.store(5000, Ordering::SeqCst);
        news.send(()).is_ok()
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(time.join().is_ok());
    assert!(rig.surface.last.is_ascii(), "{}", rig.surface.last);
    assert_eq!(rig.surface.mouse, Some(MouseReports::Off));
    assert_eq!(
        rig.stage.acts,
        [
            Request::Set(engine::Event::Bassist(engine::Bassist::Plays)),
            Request::Set(engine::Event::Inertia(Inertia::Motif)),
        ]
    );
}

/// Refused settings are shown until they are mended, whatever is pressed; other lines
/// until a key is pressed, beside what the way in says.
#[test]
fn lines_about_the_settings_come_and_go() {
    let mut rig = Rig::new(Scene::lost());
    rig.hint = true;
    let (updates, keys) = (rig.updates.0.clone(), rig.keys.0.clone());
    let wrong = "settings.toml: line 1, column 1";
    let refused = Update {
        refused: Some(wrong.into()),
        ..Update::default()
    };
    let said = Update {
        said: Some("modes.toml counts from the next start.".into()),
        ..Update::default()
    };
    let seen = rig.surface.seen.clone();
    let typist = std::thread::spawn(move || {
        let last = || seen.lock().map(|s| s.clone()).unwrap_or_default();
        let until = |what: &str, there: bool| {
            let start = Instant::now();
            while last().contains(what) != there {
                assert!(
                    start.elapsed() < Duration::from_secs(10),
                    "{what}\n{}",
                    last()
                );
                std::thread::sleep(Duration::from_millis(5));
            }
        };
        until("? shows the keys.  Digital Piano is gone", true);
        updates.send(refused).expect("open");
        until(wrong, true);
        until("shows the keys", false);
        keys.send(sign('w')).expect("open");
        until("chromatic", true);
        until(wrong, true);
        updates.send(Update::default()).expect("open");
        until(wrong, false);
        updates.send(said).expect("open");
        until("modes.toml counts from the next start.", true);
        keys.send(sign('w')).expect("open");
        until("modes.toml", false);
        keys.send(q()).expect("open");
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    typist.join().expect("all was seen");
}

/// An inertia of the last time is said at the start, until a key is pressed; a key brings
/// the usual one back.
#[test]
fn an_inertia_left_last_time_is_said() {
    let left = Some(LeftInertia {
        left: Inertia::Section,
        usual: Inertia::Phrase,
    });
    let shown = |words: &[&'static str], bound: &[Key]| {
        let mut rig = Rig::new(Scene::dorian());
        rig.left = left;
        rig.bound.bind("inertia-default", bound);
        rig.surface.presses = words.to_vec();
        rig.surface.presses.reverse();
        rig.surface.into = Some(rig.keys.0.clone());
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        (rig.surface.last, rig.stage.acts)
    };
    let key = |name: &str| name.parse().expect("a key");
    let said = "inertia: section, as you left it last time";
    let (picture, acts) = shown(&["q"], &[key("i")]);
    assert!(
        picture.contains(&format!("{said}; i brings back phrase.")),
        "{picture}"
    );
    assert_eq!(acts, []);
    let (picture, acts) = shown(&["i", "q"], &[key("i")]);
    assert!(!picture.contains(said), "{picture}");
    assert_eq!(acts, [Request::UsualInertia]);
    let (picture, _) = shown(&["q"], &[]);
    assert!(picture.contains(&format!("{said}.")), "{picture}");
}

/// With no key for the help there is nothing to point out.
#[test]
fn the_hint_names_the_key_in_force() {
    let first = |keys: &[&str]| {
        let mut rig = Rig::new(Scene::dorian());
        rig.hint = true;
        let own: Vec<_> = keys.iter().filter_map(|k| k.parse().ok()).collect();
        rig.bound.bind("help", &own);
        rig.surface.quit_after = Some((1, rig.keys.0.clone()));
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        rig.surface.last
    };
    assert!(first(&["F1", "?"]).contains("F1 shows the keys."));
    assert!(!first(&[]).contains("shows the keys"));
}

#[test]
fn harmony_opens_and_closes() {
    let last = |keys: &str| {
        let mut rig = Rig::new(Scene::wandering());
        rig.types(keys);
        // All keys are taken before a second picture may be drawn.
        rig.surface.quit_after = Some((2, rig.keys.0.clone()));
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        // Nothing of it goes to whoever plays.
        assert_eq!(rig.stage.acts, []);
        rig.surface.last
    };
    let shown = last("h");
    assert!(shown.contains("scale") && shown.contains("[7]"), "{shown}");
    assert!(!shown.contains("heard lately"), "{shown}");
}

#[test]
fn signals_failure_and_loss_end_it() {
    let mut rig = Rig::new(Scene::dorian());
    rig.alarms.0.send(Alarm::Signal(15)).expect("open");
    let outcome = rig.run().expect("an outcome");
    assert_eq!((outcome.exit_code(), outcome), (143, Outcome::Signal(15)));

    rig.alarms.0.send(Alarm::Lost).expect("open");
    let outcome = rig.run().expect("an outcome");
    assert_eq!((outcome.exit_code(), outcome), (1, Outcome::Lost));

    rig.surface.lost = true;
    assert_eq!(rig.run().ok(), Some(Outcome::Lost));
    // The signal's own thread has restored the terminal before the loop hears of it.
    rig.alarms.0.send(Alarm::Signal(1)).expect("open");
    assert_eq!(rig.run().ok(), Some(Outcome::Signal(1)));

    let stopped = StageError::Stopped {
        part: "the engine",
        why: "provoked".into(),
    };
    rig.stage.failure = Some(stopped.clone());
    let outcome = rig.run().expect("an outcome");
    assert_eq!(outcome.exit_code(), 1);
    assert_eq!(outcome, Outcome::Failed(stopped));
}

#[test]
fn without_keys_it_ends_with_an_error() {
    let mut rig = Rig::new(Scene::dorian());
    let (sender, receiver) = unbounded();
    drop(sender);
    rig.keys.1 = receiver;
    let error = rig.run().expect_err("no keys, no end");
    assert!(error.to_string().contains("no more keys"), "{error}");
}

#[test]
fn stop_and_continue_draw_everything_anew() {
    let mut rig = Rig::new(Scene::dorian());
    rig.press(KeyCode::Char('z'), KeyModifiers::CONTROL);
    rig.alarms.0.send(Alarm::Stop).expect("open");
    // Once at first, once after the stop.
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    let s = &rig.surface;
    assert_eq!((s.suspends, s.stops, s.forgets, s.shows), (1, 1, 1, 2));
}

/// Even if the terminal's own event is lost.
#[test]
fn another_size_draws_everything_anew() {
    let mut rig = Rig::new(Scene::dorian());
    rig.alarms.0.send(Alarm::Resized).expect("open");
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!((rig.surface.forgets, rig.surface.shows), (1, 2));
}

/// Whatever size a terminal says that it has.
#[test]
fn no_more_is_drawn_than_memory_allows() {
    let mut rig = Rig::new(Scene::wandering());
    rig.surface.size = (u16::MAX, u16::MAX);
    rig.surface.quit_after = Some((1, rig.keys.0.clone()));
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    let rows: Vec<&str> = rig.surface.last.split('\n').collect();
    assert_eq!(rows.len(), usize::from(LARGEST.1));
    let widest = rows.iter().map(|r| r.chars().count()).max();
    assert!(widest.is_some_and(|w| w > 900 && w <= LARGEST.0.into()));
    assert!(rig.surface.last.contains("home: D Dorian"));
}

#[test]
fn the_same_picture_is_not_drawn_twice() {
    let mut rig = Rig::new(Scene::dorian());
    let (news, keys) = (rig.news.clone(), rig.keys.0.clone());
    let player = std::thread::spawn(move || {
        for _ in 0..10 {
            std::thread::sleep(Duration::from_millis(20));
            if news.send(()).is_err() {
                return false;
            }
        }
        keys.send(q()).is_ok()
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(player.join().is_ok_and(|sent| sent));
    assert_eq!(rig.surface.shows, 1);
}

#[test]
fn not_more_than_sixty_pictures_a_second() {
    let mut rig = Rig::new(Scene::wandering());
    let (news, keys, clock) = (rig.news.clone(), rig.keys.0.clone(), rig.clock.clone());
    let start = Instant::now();
    let player = std::thread::spawn(move || {
        // Every message brings a second of ages and a new picture.
        for _ in 0..300 {
            clock.fetch_add(1000, Ordering::SeqCst);
            if news.send(()).is_err() {
                return false;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        keys.send(q()).is_ok()
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(player.join().is_ok_and(|sent| sent));
    let most = start.elapsed().as_secs_f64() * 60.0 + 2.0;
    assert!(rig.surface.shows > 2 && (rig.surface.shows as f64) < most);
}

/// A file's own time stands still after its end; the age does not.
#[test]
fn an_ended_file_grows_old() {
    let mut rig = Rig::new(Scene::ended());
    rig.stage.patience = Duration::from_millis(50);
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    let start = Instant::now();
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(start.elapsed() >= Duration::from_secs(1));
    assert!(rig.surface.last.contains("1 s ago"), "{}", rig.surface.last);
}

/// Nothing happens after the stroke, and yet its label is drawn when it is due.
#[test]
fn a_label_held_back_is_drawn_without_news() {
    let mut scene = Scene::dorian();
    scene.reading.struck = scene.reading.held;
    scene.reading.struck_at = scene.now;
    let mut rig = Rig::new(scene);
    rig.stage.patience = Duration::from_secs(5);
    let clock = rig.clock.clone();
    let time = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(30));
        clock.store(50, Ordering::SeqCst);
    });
    rig.surface.quit_after = Some((2, rig.keys.0.clone()));
    let start = Instant::now();
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(start.elapsed() < Duration::from_secs(4));
    assert_eq!(rig.surface.shows, 2);
    assert!(
        rig.surface.last.contains("D3 F3 A3 C4"),
        "{}",
        rig.surface.last
    );
    assert!(time.join().is_ok());
}

/// A stage whose news have ended must not keep the loop spinning or end it.
#[test]
fn ended_news_leave_the_keys_in_force() {
    let mut rig = Rig::new(Scene::dorian());
    let (closed, receiver) = unbounded();
    drop(closed);
    rig.stage.news = receiver;
    let keys = rig.keys.0.clone();
    let typist = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(50));
        keys.send(q())
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert!(typist.join().is_ok_and(|sent| sent.is_ok()));
    assert_eq!(rig.surface.shows, 1);
}

/// The last picture, and what was asked of the stage, after these words.
fn after(scene: Scene, words: &[&'static str]) -> (String, Vec<Request>) {
    let mut rig = Rig::new(scene);
    rig.surface.size = (120, 36);
    rig.surface.presses = words.iter().rev().copied().collect();
    rig.surface.into = Some(rig.keys.0.clone());
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    (rig.surface.last, rig.stage.acts)
}

#[test]
fn each_way_has_a_key() {
    let (teaching, _) = after(Scene::wandering(), &["t", "q"]);
    let (back, _) = after(Scene::wandering(), &["l", "q"]);
    let (playing, _) = after(Scene::wandering(), &["l", "p", "q"]);
    let (first, _) = after(Scene::wandering(), &["q"]);
    assert_eq!(playing, first);
    assert!(teaching != first && back != first && teaching != back);
    assert!(first.contains("heard lately") && !teaching.contains("heard lately"));
}

#[test]
fn a_frozen_picture_stays_while_everything_goes_on() {
    let run = |words: &[&'static str]| {
        let mut rig = Rig::new(Scene::wandering());
        rig.surface.size = (120, 36);
        rig.surface.presses = words.iter().rev().copied().collect();
        rig.surface.into = Some(rig.keys.0.clone());
        // It goes on once it was frozen.
        rig.stage.happens = Some(|n, scene| {
            if n > 2 {
                scene.reading.home = None;
                scene.reading.contender = None;
            }
        });
        assert_eq!(rig.run().ok(), Some(Outcome::Quit));
        rig.surface.last
    };
    let frozen = run(&["f", "w", "q"]);
    assert!(
        frozen.contains("home: D Dorian") && frozen.contains("frozen"),
        "{frozen}"
    );
    assert!(frozen.contains("leaning"), "{frozen}");
    for thawed in [run(&["f", "w", "f", "q"]), run(&["f", "w", "\u{1b}", "q"])] {
        assert!(
            !thawed.contains("home: D Dorian") && !thawed.contains("frozen"),
            "{thawed}"
        );
    }
}

#[test]
fn no_name_is_read_until_it_is_revealed() {
    let names = [
        "D Dorian",
        "Mixol",
        "Aeolian",
        "G9",
        "ahead",
        "F♯ heard",
        "Dm7",
        "♭7",
    ];
    for way in ["px", "tx", "lx"] {
        for size in [(80, 24), (120, 36), (240, 67)] {
            let mut rig = Rig::new(Scene::wandering().explained());
            rig.surface.size = size;
            rig.surface.presses = vec!["q", way];
            rig.surface.into = Some(rig.keys.0.clone());
            assert_eq!(rig.run().ok(), Some(Outcome::Quit));
            let hidden = rig.surface.last;
            for name in names {
                assert!(!hidden.contains(name), "{name} in {hidden}");
            }
            assert!(hidden.contains("names hidden"), "{hidden}");
        }
    }
    let (shown, _) = after(Scene::wandering(), &["x", "x", "q"]);
    assert!(shown.contains("home: D Dorian"), "{shown}");
}

#[test]
fn one_steps_back_chord_by_chord_and_forth() {
    let scene = Scene::wandering;
    let (first, _) = after(scene(), &["q"]);
    let (before, _) = after(scene(), &["↑", "q"]);
    assert!(before.contains(" ago") && before != first, "{before}");
    let (twice, _) = after(scene(), &["↑", "↑", "q"]);
    assert!(twice != before, "{twice}");
    for back in [&["↑", "↓", "q"][..], &["↑", "↑", "\u{1b}", "q"]] {
        assert_eq!(after(scene(), back).0, first);
    }
    // Nothing lies before the first chord.
    let many = after(scene(), &["↑↑↑↑↑↑↑↑↑↑↑↑", "q"]).0;
    assert_eq!(after(scene(), &["↑↑↑↑↑↑↑↑↑↑↑↑↑↑", "q"]).0, many);
}

#[test]
fn what_is_here_is_pinned_or_what_is_typed() {
    let here = Scene::wandering().reading.here.expect("a tonality");
    let (_, acts) = after(Scene::wandering(), &["nq"]);
    assert_eq!(acts, [Request::Set(engine::Event::Pin(Some(here.spelled)))]);

    let mut pinned = Scene::wandering();
    pinned.reading.pinned = Some(here.spelled);
    let (picture, acts) = after(pinned, &["nq"]);
    assert_eq!(acts, [Request::Set(engine::Event::Pin(None))]);
    assert!(picture.contains("pinned G Mixolydian"), "{picture}");

    let written = Catalogue::standard().parse_tonality("Eb lydian");
    let written = written.expect("a tonality");
    // While it is typed, a q is a letter.
    let (_, acts) = after(
        Scene::wandering(),
        &["N", "Eb q", "\n", "\u{1b}", "N", "Eb lydian\nq"],
    );
    assert_eq!(acts, [Request::Set(engine::Event::Pin(Some(written)))]);
    let (picture, acts) = after(Scene::nothing(), &["n", "q"]);
    assert_eq!(acts, []);
    assert!(picture.contains("Nothing is established"), "{picture}");
}

#[test]
fn the_sitting_is_named_while_it_goes_on_and_ended() {
    let keeping = |keeping| {
        let mut scene = Scene::wandering();
        scene.source.keeping = keeping;
        scene
    };
    let growing = || keeping(Keeping::Growing);
    let (picture, acts) = after(growing(), &["s", "q for Anna", "\n", "q"]);
    assert_eq!(acts, []);
    assert!(
        picture.contains("This sitting is called q for Anna.  [q for Anna] it is."),
        "{picture}"
    );
    let (picture, _) = after(growing(), &["s", "Anna", "\u{1b}", "q"]);
    assert!(!picture.contains("Anna"), "{picture}");
    let (picture, acts) = after(growing(), &["S", "q"]);
    assert_eq!(acts, [Request::EndSitting]);
    assert!(
        picture.contains("the next note begins another"),
        "{picture}"
    );
    for key in ["s", "S"] {
        let (picture, _) = after(keeping(Keeping::Ready), &[key, "q"]);
        assert!(picture.contains("No sitting is going on"), "{picture}");
        let (picture, _) = after(keeping(Keeping::Off), &[key, "q"]);
        assert!(picture.contains("No sittings are kept here."), "{picture}");
    }
}

#[test]
fn a_tempo_is_tapped_and_typed() {
    let with = |click| {
        let mut scene = Scene::wandering();
        scene.source.click = click;
        scene
    };
    let common = || with(in_bar(96.0, "4/4", (3, 2.0)));
    let (picture, acts) = after(with(None), &["\t", "q"]);
    assert_eq!(acts, [Request::Tap(None)]);
    assert!(picture.contains("with the second tap"), "{picture}");
    // What is said stands there already: no other picture comes between.
    let (picture, acts) = after(common(), &["\tq"]);
    assert_eq!(acts, [Request::Tap(None)]);
    assert!(picture.contains("96 beats a minute, 4/4."), "{picture}");
    let click = |text: &str| Request::Click(text.parse().expect("a tempo"));
    for (typed, asked) in [("72 3/4\n", "72 3/4"), ("6/8\n", "6/8"), ("\n", "")] {
        let (_, acts) = after(common(), &["T", typed, "q"]);
        assert_eq!(acts, [click(asked)], "{typed}");
    }
    // What is no tempo stays to be mended.
    let (_, acts) = after(common(), &["T", "fast\n", "\u{1b}", "q"]);
    assert_eq!(acts, []);
    let (picture, acts) = after(with(None), &["T", "5/4\n", "q"]);
    assert_eq!(acts, [click("5/4")]);
    assert!(picture.contains("5/4: tap the tempo now"), "{picture}");
    // A file has its own.
    for key in ["\t", "T"] {
        let (picture, acts) = after(Scene::file(), &[key, "q"]);
        assert_eq!(acts, [], "{key}");
        assert!(picture.contains("Only to what is played live"), "{picture}");
    }
}

/// Whoever made it so: another tempo is said, and that there is none any longer.
#[test]
fn another_tempo_is_said_once() {
    let mut rig = Rig::new(Scene::wandering());
    rig.stage.happens = Some(|fetched, scene| {
        scene.source.click = match fetched {
            1 => None,
            2..5 => in_bar(96.0, "3/4", (1, fetched as f64 % 3.0 + 1.0)),
            _ => None,
        };
    });
    let options = rig.options();
    let mut state = ScreenState::new(&options);
    let mut said = Vec::new();
    for _ in 0..6 {
        let _ = state.advance(Instant::now(), &mut rig.stage);
        said.push(state.said.take());
    }
    let tempo = Some("96 beats a minute, 3/4.".to_owned());
    let over = Some("There are no bars any longer.".to_owned());
    assert_eq!(said, [None, tempo, None, None, over, None]);
}

/// The time of a tap at the piano is when it was struck, not when the screen came to it.
#[test]
fn a_job_taps_at_its_own_time() {
    let tap = Action::named("tap").expect("an action");
    let at = Time::millis(700);
    assert_eq!(tap.at(at), Action::Ask(Request::Tap(Some(at))));
    let marker = Action::named("marker").expect("an action");
    assert_eq!(marker.at(at), marker);
}

/// A key that changes nothing to be seen says why.
#[test]
fn no_key_is_silently_without_effect() {
    let at = |inertia| {
        let mut scene = Scene::wandering();
        scene.reading.inertia = inertia;
        scene
    };
    let first = || at(engine::Inertia::Chord);
    let last = || at(engine::Inertia::Section);
    let mut at_home = Scene::wandering();
    at_home.reading.home = at_home.reading.here;
    let mut nowhere = Scene::wandering();
    nowhere.reading.home = None;
    let mut pinned = Scene::wandering();
    pinned.reading.pinned = pinned.reading.home.map(|h| h.spelled);
    for (scene, keys, said) in [
        (
            first(),
            &["[", "q"][..],
            "chord is the last stop: nothing changes more quickly.",
        ),
        (
            last(),
            &["]", "q"],
            "section is the last stop: nothing changes more slowly.",
        ),
        (
            Scene::wandering(),
            &["x", "e", "q"],
            "evidence would name what the class is to find",
        ),
        (
            Scene::wandering(),
            &["x", "h", "q"],
            "chords would name what the class is to find",
        ),
        (
            Scene::wandering(),
            &["l", "h", "q"],
            "Looking back there is no scale.",
        ),
        (
            Scene::wandering(),
            &["t", "b", "h", "q"],
            "put it away first (Esc).",
        ),
        (
            at_home,
            &["t", "h", "q"],
            "Home is here: there is nothing to set beside it.",
        ),
        (
            nowhere,
            &["t", "h", "q"],
            "There is no home yet to set beside here.",
        ),
        (pinned, &["t", "h", "q"], "What is pinned is home"),
    ] {
        let (picture, acts) = after(scene, keys);
        let asked = acts.iter().all(|act| *act == Request::Explain);
        assert!(asked, "{keys:?}: {acts:?}");
        assert!(picture.contains(said), "{keys:?}\n{picture}");
    }
}

#[test]
fn a_stop_of_inertia_says_the_way_back_unless_it_is_the_usual_one() {
    use Inertia::{Motif, Period, Phrase};
    let usual = "This is the usual stop.";
    let back = "i goes back to the usual stop.";
    for (before, becomes, said, unsaid) in
        [(Motif, Phrase, usual, back), (Phrase, Period, back, usual)]
    {
        let mut scene = Scene::wandering();
        scene.reading.inertia = before;
        let (picture, acts) = after(scene, &["]", "q"]);
        assert_eq!(acts, [Request::Inertia(becomes)]);
        // Over two lines, perhaps.
        let words: Vec<&str> = picture.split_whitespace().collect();
        let read = words.join(" ");
        assert!(read.contains(said) && !read.contains(unsaid), "{picture}");
    }
}

#[test]
fn home_is_said_from_the_piano_and_asides_begin_and_end() {
    let home_is = |key| Request::Set(engine::Event::HomeIs(Some(PitchClass::of_key(key))));
    let mut held = Scene::wandering();
    held.reading.held = keys(&[50, 57]);
    let (_, acts) = after(held, &["oq"]);
    assert_eq!(acts, [home_is(50)]);

    // Nothing is held: the next key counts.
    let mut rig = Rig::new(Scene::wandering());
    rig.stage.scene.reading.held = KeySet::EMPTY;
    rig.surface.presses = vec!["q", "w", "o"];
    rig.surface.into = Some(rig.keys.0.clone());
    rig.stage.happens = Some(|n, scene| {
        if n > 3 {
            scene.reading.struck = keys(&[53]);
            scene.reading.struck_at = scene.now;
        }
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(rig.stage.acts, [home_is(53)]);

    let mut aside = Scene::wandering();
    assert_eq!(
        after(aside.clone(), &["aq"]).1,
        [Request::Set(engine::Event::Aside(engine::Aside::Begins))]
    );
    aside.reading.aside = Some(aside.now);
    let (picture, acts) = after(aside, &["aq"]);
    assert_eq!(
        acts,
        [Request::Set(engine::Event::Aside(engine::Aside::Ends))]
    );
    assert!(picture.contains("aside"), "{picture}");
}

/// The label of a chord before is not held back for more of its stroke: nothing comes.
#[test]
fn a_chord_before_is_named_in_a_frozen_picture() {
    let mut scene = Scene::wandering();
    scene.reading.at = scene.now - Time::millis(3);
    scene.source = Scene::file().source;
    if let Some(transport) = &mut scene.source.transport {
        transport.paused = false;
    }
    let mut rig = Rig::new(scene);
    rig.surface.size = (60, 18);
    rig.surface.presses = vec!["q", "↑", "f"];
    rig.surface.into = Some(rig.keys.0.clone());
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    let text = rig.surface.last;
    assert!(
        text.contains("chord   Dm ") && text.contains(" ago"),
        "{text}"
    );
}

/// It comes to the moment at which it was asked for, and then the present is there again.
#[test]
fn what_is_shown_again_comes_to_its_end() {
    let scene = || {
        let mut scene = Scene::wandering();
        scene.markers = vec![Marker {
            at: scene.now - Time::millis(150),
            about: None,
            name: "just now".into(),
        }];
        scene
    };
    let (first, _) = after(scene(), &["<", "q"]);
    let (again, acts) = after(scene(), &["<", "\n", "q"]);
    assert!(again.contains("replay 1:0"), "{again}");
    assert_eq!(acts, []);
    // Left alone it ends, long before this.
    let mut rig = Rig::new(scene());
    rig.surface.size = (120, 36);
    rig.surface.presses = vec!["\n", "<"];
    rig.surface.into = Some(rig.keys.0.clone());
    let keys = rig.keys.0.clone();
    let quits = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(1500));
        keys.send(q()).is_ok()
    });
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(quits.join().ok(), Some(true));
    assert_eq!(rig.surface.last, first);
    // Nothing was chosen.
    let (nothing, _) = after(scene(), &["\n", "q"]);
    assert!(nothing.contains("Choose a moment first"), "{nothing}");
}

fn listing(dates: &[&str]) -> Listing {
    let row = |date: &&str| Row {
        id: format!("id of {date}"),
        date: (*date).into(),
        length: sec(60.0),
        name: None,
        tags: Vec::new(),
        markers: Vec::new(),
        cut_off: false,
        corrected: false,
        way: Vec::new(),
        words: words([*date].into_iter()),
    };
    Listing {
        rows: dates.iter().map(row).collect(),
        count: dates.len(),
        bytes: 3000,
        progress: Progress::Done,
        ..Listing::default()
    }
}

impl Rig {
    /// Types a word after each picture; the pictures after each, and how it ended.
    fn pictures(&mut self, words: &[&'static str]) -> String {
        self.surface.presses = words.to_vec();
        self.surface.presses.reverse();
        self.surface.into = Some(self.keys.0.clone());
        // What a word changes may be drawn in more than one picture.
        self.stage.patience = Duration::from_millis(20);
        assert_eq!(self.run().ok(), Some(Outcome::Quit));
        self.surface.last.clone()
    }
}

/// While sittings are listed the keys are letters, whatever else they do.
#[test]
fn a_list_is_opened_searched_and_left() {
    let mut rig = Rig::new(Scene::dorian());
    rig.stage.listing = listing(&["2026-11-29 20:15", "2026-11-28 20:15"]);
    let quits = |rig: &mut Rig| rig.press(KeyCode::Char('c'), KeyModifiers::CONTROL);
    rig.types("Lqfx");
    quits(&mut rig);
    assert_eq!(rig.run().ok(), Some(Outcome::Quit));
    assert_eq!(rig.stage.acts, [Request::ListSittings]);

    let mut rig = Rig::new(Scene::dorian());
    rig.stage.listing = listing(&["2026-11-29 20:15", "2026-11-28 20:15"]);
    let last = rig.pictures(&["L", "11-28", "\u{1b}", "q"]);
    assert!(
        !last.contains("find:") && last.contains("heard lately"),
        "{last}"
    );
    assert_eq!(rig.stage.acts, [Request::ListSittings, Request::CloseList]);
    assert_eq!(rig.stage.opens, [""; 0]);
}

/// What was to be seen before a sitting was opened is there again when it is closed.
#[test]
fn a_sitting_is_opened_and_closed_again() {
    for close in ["q", "\u{1b}"] {
        let mut rig = Rig::new(Scene::wandering());
        rig.stage.listing = listing(&["2026-11-29 20:15", "2026-11-28 20:15"]);
        // Teaching, with another mode beside, and frozen.
        let last = rig.pictures(&["td", "f", "L", "11-28", "\n", close, "q"]);
        assert!(
            last.contains("▸ chosen") && last.contains("frozen"),
            "{last}"
        );
        assert_eq!(rig.stage.opens, ["id of 2026-11-28 20:15"]);
        let acts = [Request::ListSittings, Request::CloseSitting];
        assert_eq!(rig.stage.acts, acts, "{close:?}");
    }
}

#[test]
fn an_opened_sitting_is_looked_back_on() {
    let mut rig = Rig::new(Scene::file());
    rig.stage.listing = listing(&["2026-11-29 20:15", "2026-11-28 20:15"]);
    let quit = [
        "L",
        "\n",
        // Over it another.
        "L",
        "\u{2193}\n",
        // The keys of a file.
        " ",
    ];
    rig.surface.quit_after = None;
    let clock = rig.keys.0.clone();
    let ends = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(1500));
        let key = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        clock.send(Event::Key(key)).is_ok()
    });
    let last = rig.pictures(&quit);
    assert!(ends.join().is_ok_and(|sent| sent));
    assert_eq!(rig.stage.opens.len(), 2);
    assert_eq!(rig.stage.opens[1], "id of 2026-11-28 20:15");
    assert!(
        last.contains("sitting of 2026-11-29 20:15, Esc: back"),
        "{last}"
    );
    // A lane for each center.
    assert!(
        last.contains(" all ") && !last.contains("heard lately"),
        "{last}"
    );
    let acts: Vec<_> = rig
        .stage
        .acts
        .iter()
        .filter(|a| **a == Request::Pause)
        .collect();
    assert_eq!(acts.len(), 1);
}

/// What is so at the moment that is looked at is typed, and goes to the stage as it is meant.
#[test]
fn a_plan_is_corrected_where_it_is_looked_at() {
    let at = sec(19.0);
    let spelled = established("G mixolydian", 0.0, 0.0).spelled;
    let label = |center, word: Option<&str>| {
        let word = word.map(Into::into);
        Revision::Correct(Correction::Label { at, center, word })
    };
    for (typed, wanted) in [
        ("G mixolydian\n", label(Some(Center::In(spelled)), None)),
        ("none\n", label(Some(Center::None), None)),
        ("\"q? \n", label(None, Some("q?"))),
        ("split\n", Revision::Correct(Correction::Split { at })),
        ("undo\n", Revision::Undo),
    ] {
        let mut rig = Rig::new(Scene::file());
        rig.stage.scene.markers = Scene::wandering().markers;
        rig.stage.listing = listing(&["2026-11-29 20:15"]);
        // To the last marker, and to the one before.
        rig.pictures(&["L", "\n", "<", "<", "C", typed, "q", "q"]);
        assert_eq!(rig.stage.revisions, [wanted], "{typed}");
    }
    let mut rig = Rig::new(Scene::file());
    rig.stage.scene.markers = Scene::wandering().markers;
    rig.stage.listing = listing(&["2026-11-29 20:15"]);
    rig.surface.size = (120, 36);
    let keys = rig.keys.0.clone();
    let ends = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(1500));
        let key = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        keys.send(Event::Key(key)).is_ok()
    });
    let last = rig.pictures(&["L", "\n", "<", "<", "C", "G mixolidian\n"]);
    assert!(ends.join().is_ok_and(|sent| sent));
    assert!(
        last.contains("correct 0:19.0, D Dorian: G mixolidian") && last.contains("mixolydian?"),
        "{last}"
    );
    assert_eq!(rig.stage.revisions, []);
}

/// Only a sitting can be corrected, and only where there is a moment.
#[test]
fn what_cannot_be_corrected_is_said() {
    let (last, _) = after(Scene::dorian(), &["C", "q"]);
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let says = "Only a sitting of another day can be corrected: open it (L).";
    assert!(words(&last).contains(says), "{last}");
    let (last, _) = after(Scene::file(), &["C", "q"]);
    let says = "peregrinus sittings import makes one of a file.";
    assert!(words(&last).contains(says), "{last}");
    let (last, _) = after(Scene::wandering(), &["x", "C", "q"]);
    assert!(
        words(&last).contains("What would be corrected is hidden (x)."),
        "{last}"
    );
}
