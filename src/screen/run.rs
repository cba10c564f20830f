//! The loop: waits for something to happen, turns keys into actions, and draws
//! when the picture has changed.

use super::draw;
use super::entry::{self, Entry};
use super::keys::{self, Action, Direction, Keys, Toward};
use super::layout::{LARGEST, Panels, Wanted, Way};
use super::look::Look;
use super::mouse;
use super::palette::{Depth, Palette};
use super::panels::brightness;
use super::past::{self, Still};
use super::picture::Picture;
use super::stage::{Command, Stage};
use super::surface::{Alarm, Surface};
use super::terminal::Ground;
use super::view::{BarOrder, View};
use super::wording::{clock, length};
use crate::engine::{self, Inertia, KeySet, Reading, each};
use crate::theory::{Catalogue, Glyphs, Notation, PitchClass};
use crate::time::Time;
use crossbeam_channel::{Receiver, never, select};
use ratatui::buffer::Buffer;
use ratatui::crossterm::event::Event;
use ratatui::crossterm::style::force_color_output;
use ratatui::layout::Rect;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How the screen is to look.
#[derive(Clone, Debug)]
pub struct Options {
    /// Its glyphs decide between Unicode and ASCII for the whole screen.
    pub notation: Notation,
    pub palette: Palette,
    /// How many colours are to be used, where the user says; else what the terminal says.
    pub depth: Option<Depth>,
    pub terminal: Depth,
    pub keys: Keys,
    /// How to begin, and what is to be seen.
    pub way: Way,
    pub panels: Panels,
    /// Whether the mouse counts.
    pub mouse: bool,
    /// The actions that the piano sets off, in the order of their triggers: what
    /// [`Stage::job`] counts.
    pub jobs: Vec<&'static str>,
    /// The catalogue that the readings' tonalities belong to.
    pub catalogue: Arc<Catalogue>,
    /// Where standard error goes while the terminal is ours; none: nowhere.
    pub log: Option<PathBuf>,
    /// Nobody has told this player yet which key shows the keys.
    pub hint: bool,
    /// What changes in the settings meanwhile.
    pub updates: Receiver<Update>,
}

/// A change of the settings while the screen is there: only what is otherwise than before.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Update {
    pub notation: Option<Notation>,
    pub palette: Option<Palette>,
    pub depth: Option<Option<Depth>>,
    pub panels: Option<Panels>,
    pub keys: Option<Keys>,
    pub mouse: Option<bool>,
    /// Settings that change readings, for the stage.
    pub events: Vec<engine::Event>,
    /// A line for the player, until a key is pressed.
    pub said: Option<String>,
    /// What is wrong with the settings, until the next update; those before stay in force.
    pub refused: Option<String>,
}

/// How it ended. The terminal is back when it is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The player quit.
    Quit,
    /// A signal asked for the end: its number.
    Signal(i32),
    /// The stage failed, with its message.
    Failed(String),
    /// A thread panicked; its message is already on standard error.
    Lost,
}

impl Outcome {
    /// For the shell: 0, 128 + signal, or 1.
    pub fn exit_code(&self) -> u8 {
        match self {
            Outcome::Quit => 0,
            Outcome::Signal(n) => u8::try_from(128 + n).unwrap_or(1),
            Outcome::Failed(_) | Outcome::Lost => 1,
        }
    }
}

/// Not more than sixty pictures a second.
const FRAME: Duration = Duration::from_micros(16_667);
/// What decides is asked for at most so often, as working it out costs some fifty
/// milliseconds; and sooner where it is about another tonality than the one shown.
const ASK: Duration = Duration::from_millis(1500);
const ASK_ANEW: Duration = Duration::from_millis(300);
/// What is shown again moves on so often.
const AGAIN: Duration = Duration::from_millis(50);

/// Takes the terminal and shows `stage` until the player quits, a signal comes,
/// or the stage fails. `keys` are the terminal's events; see [`super::keyboard`].
pub fn run(stage: &mut dyn Stage, options: &Options, keys: Receiver<Event>) -> io::Result<Outcome> {
    // NO_COLOR had its say in the palette; crossterm would take the colours of any other.
    force_color_output(true);
    let mut ground = Ground::take(options.log.as_deref(), options.mouse)?;
    let alarms = ground.alarms();
    turn(stage, options, keys, alarms, &mut ground)
}

pub(super) fn turn(
    stage: &mut dyn Stage,
    options: &Options,
    keys: Receiver<Event>,
    alarms: Receiver<Alarm>,
    surface: &mut impl Surface,
) -> io::Result<Outcome> {
    let mut desk = Desk::new(options);
    let quiet = never();
    let mut updates = options.updates.clone();
    let mut deaf = false;
    let mut dirty = true;
    let mut drawn: Option<Instant> = None;
    loop {
        if let Some(message) = stage.failed() {
            return Ok(Outcome::Failed(message));
        }
        let due = drawn.map_or(Duration::ZERO, |t| FRAME.saturating_sub(t.elapsed()));
        if dirty && due.is_zero() {
            if !desk.draw(stage, surface)? {
                return Ok(Outcome::Lost);
            }
            drawn = Some(Instant::now());
            dirty = false;
        }
        while let Some(action) = desk.job(stage) {
            if desk.perform(action, stage, surface)? {
                return Ok(Outcome::Quit);
            }
            dirty = true;
        }
        // The stage may have changed its source of news.
        let source = stage.news().clone();
        // Once something is to be drawn, news can wait until it is.
        let (wait, listen) = match dirty {
            true => (due, &quiet),
            false => {
                let patience = desk
                    .waits
                    .map_or(stage.patience(), |w| w.min(stage.patience()));
                (patience, if deaf { &quiet } else { &source })
            }
        };
        select! {
            recv(alarms) -> alarm => match alarm {
                Ok(Alarm::Signal(n)) => return Ok(Outcome::Signal(n)),
                Ok(Alarm::Lost) | Err(_) => return Ok(Outcome::Lost),
                Ok(Alarm::Stop) => {
                    surface.stop()?;
                    desk.forget(surface);
                }
                Ok(Alarm::Resized) => desk.forget(surface),
                Ok(Alarm::Continued) => {
                    surface.resume()?;
                    desk.forget(surface);
                }
            },
            recv(keys) -> event => match event {
                Ok(event) => {
                    if desk.on_event(&event, stage, surface)? {
                        return Ok(Outcome::Quit);
                    }
                }
                Err(_) => return Err(io::Error::other(
                    "the terminal gives no more keys; start again in a working terminal",
                )),
            },
            recv(updates) -> update => match update {
                Ok(update) => desk.take(update, stage, surface)?,
                // Nobody follows the settings any more.
                Err(_) => updates = never(),
            },
            recv(listen) -> sent => {
                if sent.is_err() {
                    // Whoever sent news is gone; the stage says whether that is a failure.
                    deaf = true;
                }
            },
            default(wait) => {}
        }
        dirty = true;
    }
}

/// Which key shows the keys, if one does.
fn hint(options: &Options) -> Option<String> {
    let key = options.keys.first(Action::Help)?;
    let ascii = options.notation.glyphs == Glyphs::Ascii;
    Some(format!("{} shows the keys.", key.shown(ascii)))
}

/// What a stop of inertia does.
fn told(inertia: Inertia) -> String {
    let name = inertia.name();
    match inertia.takes(5.0).map(Time::seconds) {
        Some(seconds) if seconds < 0.1 => format!("{name}: what is likelier is shown at once."),
        Some(seconds) => {
            format!("{name}: what is five times likelier is shown after {seconds:.1} s.")
        }
        None => format!("{name}: what is five times likelier is not enough."),
    }
}

/// What the player says home is: the note of this key, or nothing any longer.
fn home_is(key: Option<u8>) -> Command {
    Command::Set(engine::Event::HomeIs(key.map(PitchClass::of_key)))
}

/// The sitting, shown again from a moment until the one at which that was asked for.
struct Again {
    from: Time,
    until: Time,
    began: Instant,
}

impl Again {
    fn now(&self) -> Time {
        self.from + Time::from_seconds(self.began.elapsed().as_secs_f64())
    }
}

/// What the loop carries from picture to picture.
pub(super) struct Desk<'a> {
    catalogue: &'a Catalogue,
    notation: Notation,
    palette: Palette,
    depth: Option<Depth>,
    terminal: Depth,
    keys: Keys,
    jobs: &'a [&'static str],
    /// A line for the player until a key is pressed, and one until the settings change.
    said: Option<String>,
    refused: Option<String>,
    view: View,
    /// The picture that stands still.
    frozen: Option<Box<Still>>,
    hidden: bool,
    /// The chord shown in the place of the present one, by its beginning.
    step: Option<Time>,
    /// The sitting is shown again.
    again: Option<Again>,
    /// A tonality that is being typed.
    entry: Option<Entry>,
    /// Another stroke than this one is to say what home is.
    asking: Option<(KeySet, Time)>,
    shown: Option<Buffer>,
    /// When it was asked last what decides, and of which reading.
    asked: Option<(Instant, Reading)>,
    /// When the file was first seen to have ended.
    ended: Option<Instant>,
    /// How long a label is held back that is to be drawn without further news.
    waits: Option<Duration>,
}

impl<'a> Desk<'a> {
    pub(super) fn new(options: &'a Options) -> Desk<'a> {
        Desk {
            catalogue: &options.catalogue,
            notation: options.notation,
            palette: options.palette,
            depth: options.depth,
            terminal: options.terminal,
            keys: options.keys.clone(),
            jobs: &options.jobs,
            said: options.hint.then(|| hint(options)).flatten(),
            refused: None,
            view: View {
                wanted: Wanted {
                    way: options.way,
                    panels: options.panels,
                    ..Wanted::default()
                },
                ..View::default()
            },
            frozen: None,
            hidden: false,
            step: None,
            again: None,
            entry: None,
            asking: None,
            shown: None,
            asked: None,
            ended: None,
            waits: None,
        }
    }

    fn forget(&mut self, surface: &mut impl Surface) {
        self.shown = None;
        surface.forget();
    }

    /// Takes what is new in the settings.
    fn take(
        &mut self,
        update: Update,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<()> {
        self.notation = update.notation.unwrap_or(self.notation);
        self.palette = update.palette.unwrap_or(self.palette);
        self.depth = update.depth.unwrap_or(self.depth);
        let panels = &mut self.view.wanted.panels;
        *panels = update.panels.unwrap_or(*panels);
        if let Some(keys) = update.keys {
            self.keys = keys;
        }
        for event in update.events {
            stage.act(Command::Set(event));
        }
        (self.said, self.refused) = (update.said, update.refused);
        update.mouse.map_or(Ok(()), |told| surface.mouse(told))
    }

    /// Draws the present picture, or the one that is kept, unless it is the one that is
    /// shown; false when the surface is lost.
    pub(super) fn draw(
        &mut self,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<bool> {
        let (width, height) = surface.size()?;
        let size = Rect::new(0, 0, width.min(LARGEST.0), height.min(LARGEST.1));
        let mut buffer = Buffer::empty(size);
        let present = stage.reading();
        if self.view.wanted.why {
            self.ask(&present, stage);
        }
        self.hear_home(&present, stage);
        let explanation = stage.explanation();
        let mut source = stage.source();
        // What the player has just caused comes first; then what comes from outside.
        let own = [&self.said, &self.refused].into_iter().flatten().cloned();
        let lines: Vec<String> = own.chain(source.notice.take()).collect();
        source.notice = (!lines.is_empty()).then(|| lines.join("  "));
        let now = stage.now();
        self.ended = match source.transport {
            Some(t) if t.ended => self.ended.or_else(|| Some(Instant::now())),
            _ => None,
        };
        let ended = self
            .ended
            .map(|at| Time::from_seconds(at.elapsed().as_secs_f64()));
        let present_now = now;
        self.settle(now);
        let banners = self.banners(&present, now);
        let (history, markers) = stage.past();
        let live = (present, history, markers, explanation.as_ref(), now);
        let (mut reading, history, markers, explanation, mut now) = match &self.frozen {
            Some(s) => (
                s.seen(present),
                &s.history,
                s.markers.as_slice(),
                s.explanation.as_ref(),
                s.now,
            ),
            None => live,
        };
        let mut past = None;
        if let Some(again) = &self.again {
            now = again.now();
            reading = past::reading(history, reading, now);
            past = past::chord_at(history, now);
        } else if let Some(start) = self.step {
            // The past may have been replaced meanwhile.
            past = past::chord_at(history, start).filter(|span| span.start == start);
            match past {
                Some(span) => reading = past::with_chord(reading, span),
                None => self.step = None,
            }
        }
        if self.hidden {
            reading = past::without_names(reading);
        }
        let picture = Picture {
            reading: &reading,
            history,
            // A marker may bear the name that is to be found.
            markers: if self.hidden { &[] } else { markers },
            source: &source,
            explanation,
            now,
            ended: ended.filter(|_| self.frozen.is_none() && self.again.is_none()),
            hidden: self.hidden,
            past,
            frozen: self
                .frozen
                .as_ref()
                .map(|still| present_now.since(still.now)),
            still: self.frozen.is_some() || self.step.is_some(),
            banners: &banners,
        };
        let look = Look {
            notation: self.notation,
            palette: self.palette,
            depth: self.depth.unwrap_or(self.terminal),
            catalogue: self.catalogue,
            keys: &self.keys,
        };
        self.view.follow(&picture, buffer.area);
        self.view.drawn = draw::draw(&mut buffer, &picture, &self.view, &look);
        // A file's time runs at its own pace.
        let speed = source.transport.map_or(1.0, |t| f64::from(t.speed));
        let speed = if speed >= 0.1 { speed } else { 1.0 };
        let waits = self.view.label.waits;
        self.waits = waits.map(|w| Duration::from_secs_f64(w.seconds() / speed));
        if self.again.is_some() {
            self.waits = Some(AGAIN);
        }
        if self.shown.as_ref() == Some(&buffer) {
            return Ok(true);
        }
        let there = surface.show(&buffer)?;
        self.shown = Some(buffer);
        Ok(there)
    }

    /// What was shown again has come to its end.
    fn settle(&mut self, now: Time) {
        let end = self.frozen.as_ref().map_or(now, |still| still.now);
        self.again = self
            .again
            .take()
            .filter(|again| again.now() < again.until.min(end));
    }

    /// What must be known of a picture that is not simply the present.
    fn banners(&self, reading: &Reading, now: Time) -> Vec<String> {
        let ascii = self.notation.glyphs == Glyphs::Ascii;
        let mut all = Vec::new();
        if let Some(entry) = &self.entry {
            all.push(entry.line(ascii));
        }
        if self.asking.is_some() {
            all.push("home is the next key you play".to_owned());
        }
        let back = |action: Action| {
            let key = self.keys.first(action);
            key.map_or(String::new(), |key| format!(", {}: now", key.shown(ascii)))
        };
        if let Some(again) = &self.again {
            all.push(format!("again {}", clock(again.now())));
        } else if let Some(step) = self.step {
            all.push(format!("chord at {}{}", clock(step), back(Action::Close)));
        } else if let Some(at) = self.view.looks_at() {
            all.push(format!("looking at {}{}", clock(at), back(Action::Follow)));
        }
        if let Some(since) = reading.aside {
            all.push(format!("aside {}", length(now.since(since))));
        }
        if self.hidden {
            all.push("names hidden".to_owned());
            return all;
        }
        if let Some((tonality, tonic)) = reading.pinned {
            let name = self.notation.tonality(tonality, tonic, self.catalogue);
            all.push(format!("pinned {name}"));
        }
        if let Some((note, _)) = reading.stated {
            let note = self.notation.note_name(note, None, self.catalogue);
            all.push(format!("you say: home is {note}"));
        }
        all
    }

    /// The player says what home is, by a key of the piano struck after the question.
    fn hear_home(&mut self, reading: &Reading, stage: &mut dyn Stage) {
        let Some(asked) = self.asking else { return };
        let struck = each(reading.struck).next();
        if let Some(key) = struck.filter(|_| (reading.struck, reading.struck_at) != asked) {
            self.asking = None;
            stage.act(home_is(Some(key)));
        }
    }

    /// Closes what lies on top, one thing at a time.
    fn close(&mut self) {
        let view = &mut self.view;
        if view.help.is_open() {
            view.help.close();
            return;
        }
        let closed = self.asking.take().is_some()
            || self.again.take().is_some()
            || self.step.take().is_some()
            || self.frozen.take().is_some();
        if closed {
            return;
        }
        match view.looks_at() {
            Some(_) => view.past().follow(),
            None => view.compared = None,
        }
    }

    fn freeze(&mut self, stage: &mut dyn Stage) {
        if self.frozen.take().is_some() {
            return;
        }
        self.frozen = Some(Box::new(Still {
            reading: stage.reading(),
            explanation: stage.explanation(),
            now: stage.now(),
            history: stage.past().0.clone(),
            markers: stage.past().1.to_vec(),
        }));
    }

    fn step(&mut self, direction: Direction, stage: &mut dyn Stage) {
        let chords = match &self.frozen {
            Some(still) => still.history.chords(),
            None => stage.past().0.chords(),
        };
        // The last one is the present.
        let last = chords.len().saturating_sub(1);
        let at = match self.step {
            Some(start) => chords.partition_point(|c| c.start < start),
            None => last,
        };
        let to = match direction {
            Direction::Back => at.saturating_sub(1),
            Direction::Forward => at + 1,
        };
        self.step = chords.get(to).filter(|_| to < last).map(|c| c.start);
    }

    /// What the player sees: the picture that stands still, or the present.
    fn seen(&self, stage: &mut dyn Stage) -> Reading {
        let present = stage.reading();
        match &self.frozen {
            Some(still) => still.seen(present),
            None => present,
        }
    }

    /// Moves the mode compared with by a step of the brightness order.
    fn compare(&mut self, toward: Toward, stage: &mut dyn Stage) {
        let Some((reference, _)) = self.seen(stage).within() else {
            return;
        };
        let from = self.view.compared.unwrap_or(reference.mode);
        let to = brightness::neighbour(self.catalogue, from, toward);
        self.view.compared = (to != reference.mode).then_some(to);
    }

    /// A file goes there; of what was played live the readings are shown again.
    fn show_again(&mut self, stage: &mut dyn Stage) {
        let Some(from) = self.view.past().chosen() else {
            self.said = Some("Choose a moment first: a marker, or by scrolling back.".into());
            return;
        };
        match stage.source().transport {
            Some(_) => stage.act(Command::SeekTo(from)),
            None => {
                self.again = Some(Again {
                    from,
                    until: stage.now(),
                    began: Instant::now(),
                });
            }
        }
    }

    fn ask_for_home(&mut self, stage: &mut dyn Stage) {
        let reading = stage.reading();
        if stage.source().transport.is_some() {
            // Whoever plays a file has no hand on its keys: its bass is what sounds now.
            match each(reading.sounding()).next() {
                Some(key) => stage.act(home_is(Some(key))),
                None if reading.stated.is_some() => stage.act(home_is(None)),
                None => self.said = Some("Nothing sounds that could be home.".into()),
            }
            return;
        }
        match each(reading.held).next() {
            Some(key) => stage.act(home_is(Some(key))),
            // Asked again, the question or what was said is taken back.
            None if self.asking.take().is_some() => {}
            None if reading.stated.is_some() => stage.act(home_is(None)),
            None => self.asking = Some((reading.struck, reading.struck_at)),
        }
    }

    /// Asks what decides, unless nothing has happened since it was asked: time alone
    /// changes nothing, and in silence nothing is heard.
    fn ask(&mut self, reading: &Reading, stage: &mut dyn Stage) {
        let now = Reading {
            at: Time::ZERO,
            ..*reading
        };
        let tonality = |r: &Reading| r.here.map(|h| h.tonality);
        let new = self.asked.is_none_or(|(at, before)| {
            let moved = tonality(&before) != tonality(&now);
            let silent = now.silent_since.is_some() && now.silent_since == before.silent_since;
            let happened = moved || !silent && before != now;
            happened && at.elapsed() >= if moved { ASK_ANEW } else { ASK }
        });
        if new && reading.begun {
            stage.act(Command::Explain);
            self.asked = Some((Instant::now(), now));
        }
    }

    /// What a job asks for that was set off from the piano. One whose action is not known
    /// is no reason to leave those behind it.
    fn job(&self, stage: &mut dyn Stage) -> Option<Action> {
        std::iter::from_fn(|| stage.job())
            .find_map(|number| self.jobs.get(number).and_then(|name| Action::named(name)))
    }

    /// Does what a key or the mouse asks for; true to quit.
    pub(super) fn on_event(
        &mut self,
        event: &Event,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<bool> {
        if let Event::Resize(..) = event {
            self.forget(surface);
        }
        if let Event::Mouse(event) = event {
            return match mouse::action(event, &self.view) {
                Some(action) => self.perform(action, stage, surface),
                None => Ok(false),
            };
        }
        let Some(key) = keys::pressed(event) else {
            return Ok(false);
        };
        self.said = None;
        if self.entry.is_some() {
            match self.keys.action(key) {
                Some(Action::Quit) if key == keys::QUITS => return Ok(true),
                Some(Action::Suspend) if !key.writes() => surface.suspend()?,
                Some(Action::Redraw) if !key.writes() => self.forget(surface),
                _ => {}
            }
            let Some(entry) = &mut self.entry else {
                return Ok(false);
            };
            match entry.take(event, self.catalogue, self.notation.letters) {
                entry::Outcome::Open => {}
                entry::Outcome::Left => self.entry = None,
                entry::Outcome::Pinned(tonality, tonic) => {
                    self.entry = None;
                    stage.act(Command::Set(engine::Event::Pin(Some((tonality, tonic)))));
                }
            }
            return Ok(false);
        }
        let view = &mut self.view;
        if view.drawn.help_pages > 1 && view.help.is_open() && key == keys::TURNS {
            view.help.turn(view.drawn.help_pages);
            return Ok(false);
        }
        match self.keys.action(key) {
            Some(action) => self.perform(action, stage, surface),
            None => Ok(false),
        }
    }

    /// Does what is asked for, from wherever; true to quit.
    fn perform(
        &mut self,
        action: Action,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<bool> {
        self.said = None;
        let view = &mut self.view;
        match action {
            Action::Quit => return Ok(true),
            Action::Suspend => surface.suspend()?,
            Action::Redraw => self.forget(surface),
            Action::Help => view.help.press(view.drawn.help_pages),
            Action::Close => self.close(),
            Action::Inertia(_) | Action::Pin | Action::Aside | Action::Ask(_) => {
                // What is pinned is what is seen, which may stand still.
                let reading = self.seen(stage);
                match action.command(&reading) {
                    Some(command) => {
                        if let Command::Inertia(inertia) = command {
                            self.said = Some(told(inertia));
                        }
                        stage.act(command);
                    }
                    None if action == Action::Pin => {
                        self.said = Some("Nothing is established yet that could be pinned.".into());
                    }
                    None => {}
                }
            }
            Action::Scroll(direction) => view.past().scroll(direction, stage.now()),
            Action::Zoom(zoom) => {
                let whole = view.drawn.past.map(|p| p.whole).unwrap_or_default();
                view.past().zoom(zoom, whole);
            }
            Action::Follow => view.past().follow(),
            Action::Moment(moment) => {
                let now = stage.now();
                view.past().choose(moment, now);
            }
            Action::Why => {
                view.wanted.why = !view.wanted.why;
                self.asked = None;
            }
            Action::Scale => {
                view.wanted.scale = !view.wanted.scale;
                let beside = view.wanted.scale && view.wanted.way == Way::Teaching;
                let reading = self.seen(stage);
                let home = reading.home.map(|h| h.tonality);
                if beside && home.is_some() && home == reading.within().map(|w| w.0) {
                    self.said = Some("Home is here: there is nothing to set beside it.".into());
                }
            }
            Action::Compare(toward) => self.compare(toward, stage),
            Action::Jump(direction) => {
                let now = stage.now();
                view.past().jump(direction, stage.past().1, now);
            }
            Action::Again => self.show_again(stage),
            Action::Way(way) => {
                view.wanted.way = way;
                self.step = None;
            }
            Action::Freeze => self.freeze(stage),
            Action::Hide => self.hidden = !self.hidden,
            Action::Step(direction) => self.step(direction, stage),
            Action::PinOther => {
                view.help.close();
                self.entry.get_or_insert_default();
            }
            Action::HomeIs => self.ask_for_home(stage),
            Action::Order => {
                view.bars = match view.bars {
                    BarOrder::Fifths => BarOrder::Chromatic,
                    BarOrder::Chromatic => BarOrder::Fifths,
                }
            }
            Action::Colours => self.palette = self.palette.next(),
        }
        Ok(false)
    }
}
