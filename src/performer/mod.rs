//! Who plays: a keyboard, a file, or a demo until there is a keyboard; and in the place of each
//! a sitting of another day that was opened. What front ends show comes from here, and the
//! player's commands go to the one that plays. A keyboard is heard, and its sitting kept,
//! whatever is shown.

mod asked;
mod demo;
mod opened;
mod said;

use crate::correction::Revision;
use crate::engine::{Event, Explanation, History, Inertia, Monitor, Reading};
use crate::listing::{Listing, Progress};
use crate::live::{About, ClickNow, Feed, Library, Listener, Order, Player, Unwritten};
use crate::meter::{BarBeat, Click};
use crate::plain;
use crate::plan::Marker;
use crate::source::{Link, Repeat, Source, Transport};
use crate::stage::{Chronicle, Job, News, Pace, Request, Stage, StageError};
use crate::time::Time;
use crossbeam_channel::{Receiver, Sender, bounded, never};
use opened::OpenedSitting;
use said::Said;
use std::time::Duration;

pub use demo::demo;

/// Called with the stop of inertia that the player chose, to remember it for the next time;
/// with none to forget it.
pub type RememberInertia = Box<dyn Fn(Option<Inertia>)>;

/// A keyboard, a file or a demo, behind one interface.
pub struct Performer {
    /// A file or a demo; shown as long as it is there.
    file: Option<Player>,
    keyboard: Option<Listener>,
    /// Over the keyboard, the file or the demo.
    opened: Option<OpenedSitting>,
    /// How many were opened.
    openings: usize,
    /// The file or the demo goes on when the sitting over it is closed.
    goes_on: bool,
    library: Option<Library>,
    /// Told the settings in force, for a sitting that is opened.
    fresh: Option<Monitor>,
    /// What the player has said of the keyboard, the file or the demo.
    said: Said,
    recording: Option<String>,
    /// A line of our own, shown while the way in has none.
    notice: Option<String>,
    remember: Option<RememberInertia>,
    /// The stop of inertia where none is chosen.
    usual: Inertia,
    /// The reading while nothing plays.
    idle: Reading,
    nothing: (History, Receiver<()>),
}

impl Performer {
    /// Nothing plays yet; the reading is `idle`.
    pub fn new(idle: Reading) -> Performer {
        Performer {
            file: None,
            keyboard: None,
            opened: None,
            openings: 0,
            goes_on: false,
            library: None,
            fresh: None,
            said: Said::default(),
            recording: None,
            notice: None,
            remember: None,
            usual: idle.inertia,
            idle,
            nothing: (History::default(), never()),
        }
    }

    pub fn with_keyboard(self, listener: Listener, recording: Option<String>) -> Performer {
        Performer {
            keyboard: Some(listener),
            recording,
            ..self
        }
    }

    /// With a keyboard as well, the file is a demo: it ends when one is connected.
    pub fn with_file(self, player: Player, notice: Option<String>) -> Performer {
        Performer {
            file: Some(player),
            notice,
            ..self
        }
    }

    /// The moments that a file names.
    pub fn with_markers(self, markers: Vec<Marker>) -> Performer {
        Performer {
            said: Said::of(markers),
            ..self
        }
    }

    /// With the sittings of other days; one that is opened is played through `fresh`, a monitor
    /// that has been told the settings in force.
    pub fn with_library(self, library: Library, fresh: Monitor) -> Performer {
        Performer {
            library: Some(library),
            fresh: Some(fresh),
            ..self
        }
    }

    /// `usual` is the stop of inertia where none is chosen, and `remember` keeps one that is.
    pub fn remembering(self, remember: RememberInertia, usual: Inertia) -> Performer {
        Performer {
            remember: Some(remember),
            usual,
            ..self
        }
    }

    fn remember(&self, inertia: Option<Inertia>) {
        if let Some(remember) = &self.remember {
            remember(inertia);
        }
    }

    /// Ends everything: the id of the latest sitting that was kept, if any. The error is what is
    /// missing of a recording, a sitting and a correction, and why. `waits` is told which
    /// sitting's correction is waited for, if that takes more than a moment.
    pub fn finish(self, waits: impl FnOnce(&str)) -> Result<Option<String>, Vec<Unwritten>> {
        let kept = self.keyboard.map_or(Ok(None), Listener::finish);
        let corrected = self.library.map_or(Ok(()), |library| library.finish(waits));
        let uncorrected = corrected
            .err()
            .map(|e| Unwritten::Correction { why: e.to_string() });
        match (kept, uncorrected) {
            (Ok(kept), None) => Ok(kept),
            (kept, uncorrected) => Err(kept.err().into_iter().chain(uncorrected).collect()),
        }
    }

    /// What the way in says; in a demo that is why there is no keyboard, as things are now.
    fn notice(&self, file: Option<String>) -> Option<String> {
        match (&self.file, &self.keyboard) {
            (Some(_), Some(l)) => Some(demo_notice(l.feed.status().notice)),
            _ => file.or_else(|| self.notice.clone()),
        }
    }

    /// Of the one that plays.
    fn feed_mut(&mut self) -> Option<&mut Feed> {
        let file = self.opened.as_mut().map(|o| &mut o.player.feed);
        let file = file.or(self.file.as_mut().map(|p| &mut p.feed));
        file.or(self.keyboard.as_mut().map(|l| &mut l.feed))
    }

    fn feed(&self) -> Option<&Feed> {
        let file = self.player().map(|p| &p.feed);
        file.or(self.keyboard.as_ref().map(|l| &l.feed))
    }

    /// The file, the demo or the sitting that plays.
    fn player(&self) -> Option<&Player> {
        let opened = self.opened.as_ref().map(|o| &o.player);
        opened.or(self.file.as_ref())
    }

    fn said(&mut self) -> &mut Said {
        match &mut self.opened {
            Some(opened) => &mut opened.said,
            None => &mut self.said,
        }
    }

    /// An order to the one that plays.
    fn order(&self, order: Order) {
        match (self.player(), &self.keyboard) {
            (Some(player), _) => player.order(order),
            (None, Some(listener)) => listener.order(order),
            (None, None) => {}
        }
    }

    /// An order about the sitting that is going on, whatever is shown.
    fn order_to_the_keyboard(&self, order: Order) {
        if let Some(listener) = &self.keyboard {
            listener.order(order);
        }
    }

    /// A setting: it stays in force when a demo gives way to a keyboard, and when a sitting that
    /// was opened gives way to what was there before.
    fn set(&mut self, event: Event) {
        self.said().asked.note(event);
        let below = self.opened.as_ref().and(self.file.as_ref());
        if let Some(player) = below {
            player.order(Order::Set(event));
        }
        if self.player().is_some() {
            self.order_to_the_keyboard(Order::Set(event));
        }
        if let Some(fresh) = &mut self.fresh {
            fresh.on_event(Time::ZERO, event, &mut ());
        }
        self.order(Order::Set(event));
    }

    /// What the player says is about the music that plays.
    fn say(&mut self, event: Event) {
        self.said().asked.note(event);
        // A pin is about the mode that is talked about, which a demo may have given.
        if let (Event::Pin(_), None, Some(_)) = (event, &self.opened, &self.file) {
            self.order_to_the_keyboard(Order::Set(event));
        }
        self.order(Order::Set(event));
    }

    /// Where the file will stand, to go on from there.
    fn ahead(&self) -> Option<Transport> {
        self.player().map(Player::ahead)
    }

    fn leave_demo_for_a_keyboard(&mut self) {
        let (Some(_), Some(listener)) = (&self.file, &self.keyboard) else {
            return;
        };
        if listener.feed.status().link == Link::Keyboard {
            (self.file, self.notice) = (None, None);
            // An aside was begun in the demo.
            self.said.asked.forget_aside();
            self.said = Said {
                asked: self.said.asked,
                ..Said::default()
            };
        }
    }

    /// Takes in what has happened meanwhile: a sitting that was asked for has been read, a
    /// keyboard was connected.
    fn follow(&mut self) {
        self.leave_demo_for_a_keyboard();
        let chosen = self.library.as_ref().and_then(Library::chosen);
        if let (Some(chosen), Some(fresh)) = (chosen, &self.fresh) {
            self.openings += 1;
            self.library.iter().for_each(Library::close);
            self.opened = Some(OpenedSitting::new(*chosen, fresh.clone(), self.openings));
            // What is below goes on where nobody could see it.
            let plays = |file: &&Player| !file.ahead().paused && !file.ahead().ended;
            if let Some(file) = self.file.as_ref().filter(plays) {
                file.order(Order::Pause);
                self.goes_on = true;
            }
        }
        let revised = self.library.as_ref().and_then(Library::revised);
        if let Some((id, plan)) = revised {
            match (&mut self.opened, plan) {
                (Some(opened), plan) if opened.id() == id => opened.take(plan),
                // It was closed meanwhile.
                (_, Err(why)) => self.notice = Some(format!("{id} was not corrected: {why}")),
                (_, Ok(_)) => {}
            }
        }
        // What nobody takes would in the end hold up the engine.
        if self.player().is_some()
            && let Some(listener) = &mut self.keyboard
        {
            listener.feed.history();
        }
    }

    /// The click that the keyboard is played to, and where its bars stand.
    fn click(&self) -> Option<(Click, BarBeat)> {
        let listener = self.keyboard.as_ref()?;
        let ClickNow { click, bars } = listener.feed.status().click?;
        Some((click, bars.place(listener.now())?))
    }

    /// How long it is to the next beat.
    fn until_beat(&self) -> Option<Duration> {
        let listener = self.keyboard.as_ref()?;
        let now = listener.now();
        let next = listener.feed.status().click?.bars.next_beat(now)?;
        Some(next.since(now).duration())
    }

    fn close_sitting(&mut self) {
        self.opened = None;
        let goes_on = std::mem::take(&mut self.goes_on);
        if let Some(file) = self.file.as_ref().filter(|_| goes_on) {
            file.order(Order::Resume);
        }
    }

    /// Wakes whoever waits for news of the one that plays.
    fn waker(&self) -> Sender<()> {
        self.feed().map_or_else(|| bounded(1).0, Feed::waker)
    }
}

/// Why the demo plays. The word that must not be cut off on a narrow screen comes first.
pub fn demo_notice(why: Option<String>) -> String {
    let why = why.as_deref().unwrap_or("no keyboard found");
    format!("demo: {why}")
}

/// How much of what was played last is kept.
const KEPT: Time = Time::millis(30_000);

/// The paces that one key steps through.
const SPEEDS: [f32; 7] = [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0];

fn next_speed(now: f32, pace: Pace) -> Option<f32> {
    match pace {
        Pace::Faster => SPEEDS.into_iter().find(|&s| s > now + 0.01),
        Pace::Slower => SPEEDS.into_iter().rev().find(|&s| s < now - 0.01),
    }
}

impl Stage for Performer {
    fn usual_inertia(&self) -> Inertia {
        self.usual
    }

    fn reading(&mut self) -> Reading {
        self.follow();
        let reading = self.feed().and_then(Feed::reading).unwrap_or(self.idle);
        let asked = &mut self.said().asked;
        asked.settle(&reading);
        asked.over(reading)
    }

    fn explanation(&mut self) -> Option<Explanation> {
        self.feed().and_then(Feed::explanation)
    }

    fn past(&mut self) -> (&History, &[Marker]) {
        let now = self.now();
        let (feed, said) = match (&mut self.opened, &mut self.file, &mut self.keyboard) {
            (Some(o), ..) => (&mut o.player.feed, &mut o.said),
            (None, Some(p), _) => (&mut p.feed, &mut self.said),
            (None, None, Some(l)) => (&mut l.feed, &mut self.said),
            (None, None, None) => return (&self.nothing.0, &self.said.markers),
        };
        let new = feed.markers();
        if !new.is_empty() {
            said.markers.extend(new);
            said.markers.sort_by_key(|m| m.at);
        }
        let history = feed.history();
        history.advance_to(now);
        (history, &said.markers)
    }

    fn source(&mut self) -> Source {
        let status = self.feed().map(Feed::status).unwrap_or_default();
        let recording = self.recording.as_deref();
        let source = Source {
            name: plain::name(&status.name).into_owned(),
            link: status.link,
            keyboards: status
                .keyboards
                .iter()
                .map(|k| plain::name(k).into_owned())
                .collect(),
            away: status.away,
            transport: self.player().map(Player::transport),
            recording: recording.map(|r| plain::name(r).into_owned()),
            keeping: status.keeping,
            sitting: status.sitting,
            click: self.click(),
            opened: None,
            dropped: status.dropped,
            notice: None,
        };
        let clean = |notice: Option<String>| notice.map(|n| plain::name(&n).into_owned());
        let Some(opened) = &self.opened else {
            return Source {
                notice: clean(self.notice(status.notice.or(status.about_sittings))),
                ..source
            };
        };
        // What is played meanwhile is kept all the same.
        let played = self.keyboard.as_ref().map(|l| l.feed.status());
        let played = played.unwrap_or_default();
        // A keyboard that was lost comes first; one that was never there is no news.
        let lost = played.notice.filter(|_| played.link == Link::Lost);
        let about = lost.or(opened.about()).or(played.about_sittings);
        Source {
            keeping: played.keeping,
            sitting: played.sitting,
            opened: Some(opened.shown.clone()),
            dropped: played.dropped,
            notice: clean(about.or_else(|| opened.damage.clone())),
            ..source
        }
    }

    fn now(&self) -> Time {
        match (self.player(), &self.keyboard) {
            (Some(p), _) => p.transport().position,
            (None, Some(l)) => l.now(),
            (None, None) => Time::ZERO,
        }
    }

    fn act(&mut self, request: Request) {
        match request {
            Request::Inertia(inertia) => {
                self.remember(Some(inertia));
                self.set(Event::Inertia(inertia));
            }
            Request::UsualInertia => {
                self.remember(None);
                self.set(Event::Inertia(self.usual));
            }
            Request::Set(event) => {
                // The settings name another.
                if let Event::Inertia(inertia) = event {
                    self.usual = inertia;
                }
                match event {
                    Event::Pin(_) | Event::HomeIs(_) | Event::Aside(_) => self.say(event),
                    _ => self.set(event),
                }
            }
            Request::Mark => {
                let said = self.said();
                said.marked += 1;
                let name = said.marked.to_string();
                self.order(Order::Mark(name, About::Phrase));
            }
            Request::KeepLast => {
                let said = self.said();
                said.kept += 1;
                let name = format!("kept {}", said.kept);
                self.order(Order::Mark(name, About::Last(KEPT)));
            }
            Request::Tap(at) => {
                if let Some(listener) = &self.keyboard {
                    listener.order(Order::Tap(at.unwrap_or_else(|| listener.now())));
                }
            }
            Request::Click(typed) => self.order_to_the_keyboard(Order::Click(typed)),
            Request::EndSitting => self.order_to_the_keyboard(Order::EndSitting),
            Request::ThrowAside => self.order_to_the_keyboard(Order::ThrowAside),
            Request::ListSittings => {
                if let Some(library) = &self.library {
                    library.list(self.waker());
                }
            }
            Request::CloseList => {
                if let Some(library) = &self.library {
                    library.close();
                }
            }
            Request::CloseSitting => self.close_sitting(),
            Request::Explain => self.order(Order::Explain),
            Request::SeekTo(to) => self.order(Order::Seek(to)),
            Request::Pause | Request::SeekBy(_) | Request::Pace(_) | Request::Repeat => {
                let Some(at) = self.ahead() else { return };
                match request {
                    Request::Pause if at.ended => self.order(Order::Seek(Time::ZERO)),
                    Request::Pause if at.paused => self.order(Order::Resume),
                    Request::Pause => self.order(Order::Pause),
                    Request::SeekBy(seconds) => {
                        let to = at.position.seconds() + f64::from(seconds);
                        self.order(Order::Seek(Time::from_seconds(to)));
                    }
                    Request::Pace(pace) => {
                        if let Some(speed) = next_speed(at.speed, pace) {
                            self.order(Order::Speed(speed));
                        }
                    }
                    _ => self.order(Order::Repeat(match at.repeat {
                        Repeat::Off => Repeat::From(at.position),
                        Repeat::From(from) => Repeat::Between(from, at.position),
                        Repeat::Between(..) => Repeat::Off,
                    })),
                }
            }
        }
    }

    fn name_sitting(&mut self, number: u64, name: String) {
        self.order_to_the_keyboard(Order::NameSitting(number, name));
    }

    fn listing(&mut self) -> Listing {
        let nowhere = || Listing {
            progress: Progress::Failed("there is no folder for them".into()),
            ..Listing::default()
        };
        self.library.as_ref().map_or_else(nowhere, Library::listing)
    }

    fn open_sitting(&mut self, id: &str) {
        if let Some(library) = &self.library {
            library.open(id, self.waker());
        }
    }

    fn revise(&mut self, revision: Revision) {
        let waker = self.waker();
        let parts = (&mut self.opened, &self.library, &self.fresh);
        if let (Some(opened), Some(library), Some(fresh)) = parts {
            opened.begin_correction();
            library.revise(opened.id(), revision, fresh.clone(), waker);
        }
    }

    fn job(&mut self) -> Option<Job> {
        self.keyboard.as_ref().and_then(|l| l.feed.jobs().next())
    }

    fn news(&self) -> &Receiver<()> {
        self.feed().map_or(&self.nothing.1, Feed::news)
    }

    fn failed(&mut self) -> Option<StageError> {
        let keyboard = self.keyboard.as_ref().map(|l| &l.feed);
        let mut feeds = self.feed().into_iter().chain(keyboard);
        feeds.find_map(|feed| feed.status().failed)
    }

    fn patience(&self) -> Duration {
        // Ages are shown in seconds; before the first note there are none.
        let begun = self.feed().and_then(Feed::reading).is_some_and(|r| r.begun);
        let demo = self.file.is_some() && self.keyboard.is_some();
        let patience = match begun || demo {
            true => Duration::from_secs(1),
            false => Duration::from_secs(3600),
        };
        self.until_beat()
            .map_or(patience, |beat| patience.min(beat))
    }
}

impl Chronicle for Performer {
    fn changes(&mut self, f: &mut dyn FnMut(News)) {
        self.follow();
        if let Some(feed) = self.feed_mut() {
            feed.changes(f);
        }
    }

    fn ended(&self) -> bool {
        let played = self.file.as_ref().is_some_and(|p| p.transport().ended);
        played && self.keyboard.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::asked::Asked;
    use super::*;
    use crate::engine::Aside;
    use crate::theory::Catalogue;
    use std::cell::RefCell;
    use std::rc::Rc;
    use std::sync::Arc;

    #[test]
    fn a_second_press_takes_back_the_first_before_a_reading_has_come() {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let monitor = Monitor::new(Arc::clone(&catalogue)).expect("the embedded weights");
        let mut performer = Performer::new(monitor.reading());
        let set = |performer: &mut Performer, event| performer.act(Request::Set(event));
        set(&mut performer, Event::Aside(Aside::Begins));
        assert!(performer.reading().aside.is_some());
        set(&mut performer, Event::Aside(Aside::Ends));
        assert_eq!(performer.reading().aside, None);
        // An answer that has come is not waited for any longer.
        assert_eq!(performer.said.asked, Asked::default());

        let here = catalogue.parse_tonality("D dorian").ok();
        set(&mut performer, Event::Pin(here));
        assert_eq!(performer.reading().pinned, here);
        set(&mut performer, Event::Pin(None));
        assert_eq!(performer.reading().pinned, None);
    }

    #[test]
    fn the_usual_inertia_comes_back_and_the_chosen_one_is_forgotten() {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let monitor = Monitor::new(catalogue).expect("the embedded weights");
        let kept = Rc::new(RefCell::new(Vec::new()));
        let keep = Rc::clone(&kept);
        let mut performer = Performer::new(monitor.reading()).remembering(
            Box::new(move |stop| keep.borrow_mut().push(stop)),
            Inertia::Motif,
        );
        performer.act(Request::Inertia(Inertia::Section));
        assert_eq!(performer.reading().inertia, Inertia::Section);
        performer.act(Request::UsualInertia);
        assert_eq!(performer.reading().inertia, Inertia::Motif);
        // A change of the settings changes the default; the player has chosen nothing.
        performer.act(Request::Set(Event::Inertia(Inertia::Period)));
        performer.act(Request::Inertia(Inertia::Chord));
        performer.act(Request::UsualInertia);
        assert_eq!(performer.reading().inertia, Inertia::Period);
        let chosen = [Some(Inertia::Section), None, Some(Inertia::Chord), None];
        assert_eq!(*kept.borrow(), chosen);
    }
}
