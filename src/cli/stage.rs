//! What stands behind the screen: a keyboard, a file, or a demo until there is a keyboard.

use super::memory;
use crate::engine::{Event, Explanation, History, Inertia, Reading};
use crate::live::{self, About, Feed, Listener, Order, Player};
use crate::plan::Marker;
use crate::screen::{Intent, Link, Source, Stage, Transport};
use crate::theory::{Spelling, Tonality};
use crate::time::Time;
use crossbeam_channel::{Receiver, never};
use std::time::Duration;

/// The seam between the screen and whoever plays.
pub struct Desk {
    /// A file or a demo; shown as long as it is there.
    file: Option<Player>,
    keyboard: Option<Listener>,
    /// In order of time.
    markers: Vec<Marker>,
    /// How many were asked for, by name and to be kept: keys may come faster than markers.
    marked: usize,
    kept: usize,
    recording: Option<String>,
    /// A line of our own, shown while the way in has none.
    notice: Option<String>,
    /// The first repeat point, while the second is not set.
    repeat_from: Option<Time>,
    asked: Asked,
    idle: Reading,
    nothing: (History, Receiver<()>),
}

/// What was asked for and is not in a reading yet: keys may come faster than readings, and
/// the second press of a key must take back the first.
#[derive(Clone, Copy, Default)]
struct Asked {
    inertia: Option<Inertia>,
    pinned: Option<Option<(Tonality, Spelling)>>,
    aside: Option<bool>,
}

impl Asked {
    fn note(&mut self, event: Event) {
        match event {
            Event::Inertia(inertia) => self.inertia = Some(inertia),
            Event::Pin(pinned) => self.pinned = Some(pinned),
            Event::Aside(on) => self.aside = Some(on),
            _ => {}
        }
    }

    /// Forgets what has come.
    fn settle(&mut self, reading: &Reading) {
        self.inertia = self.inertia.filter(|&i| i != reading.inertia);
        self.pinned = self.pinned.filter(|&p| p != reading.pinned);
        self.aside = self.aside.filter(|&on| on != reading.aside.is_some());
    }

    fn over(&self, reading: Reading) -> Reading {
        let aside = match self.aside {
            Some(true) => Some(reading.aside.unwrap_or(reading.at)),
            Some(false) => None,
            None => reading.aside,
        };
        Reading {
            inertia: self.inertia.unwrap_or(reading.inertia),
            pinned: self.pinned.unwrap_or(reading.pinned),
            aside,
            ..reading
        }
    }
}

impl Desk {
    pub fn new(idle: Reading) -> Desk {
        Desk {
            file: None,
            keyboard: None,
            markers: Vec::new(),
            marked: 0,
            kept: 0,
            recording: None,
            notice: None,
            repeat_from: None,
            asked: Asked::default(),
            idle,
            nothing: (History::default(), never()),
        }
    }

    pub fn with_keyboard(self, listener: Listener, recording: Option<String>) -> Desk {
        Desk {
            keyboard: Some(listener),
            recording,
            ..self
        }
    }

    /// With a keyboard as well, the file is a demo: it ends when one is connected.
    pub fn with_file(self, player: Player, notice: Option<String>) -> Desk {
        Desk {
            file: Some(player),
            notice,
            ..self
        }
    }

    /// Ends everything; the error is what is missing of a recording, and why.
    pub fn finish(self) -> Result<(), String> {
        self.keyboard.map_or(Ok(()), Listener::finish)
    }

    /// What the way in says; in a demo that is why there is no keyboard, as things are now.
    fn notice(&self, file: Option<String>) -> Option<String> {
        match (&self.file, &self.keyboard) {
            (Some(_), Some(l)) => Some(demo_notice(l.feed.status().notice.as_deref())),
            _ => file.or_else(|| self.notice.clone()),
        }
    }

    /// The moments that a file names.
    pub fn with_markers(self, markers: Vec<Marker>) -> Desk {
        Desk {
            marked: markers.len(),
            markers,
            ..self
        }
    }

    /// Without a screen: hands on what is new.
    pub fn changes(&mut self, f: impl FnMut(live::News)) {
        self.leave_demo_for_a_keyboard();
        if let Some(feed) = self.feed_mut() {
            feed.changes(f);
        }
    }

    pub fn status(&self) -> live::Status {
        self.feed().map(Feed::status).unwrap_or_default()
    }

    /// The latest reading, with what was asked for.
    pub fn latest(&self) -> Reading {
        let reading = self.feed().and_then(Feed::reading).unwrap_or(self.idle);
        self.asked.over(reading)
    }

    /// Nothing more is to come.
    pub fn ended(&self) -> bool {
        let played = self.file.as_ref().is_some_and(|p| p.position().ended);
        played && self.keyboard.is_none()
    }

    fn feed_mut(&mut self) -> Option<&mut Feed> {
        let file = self.file.as_mut().map(|p| &mut p.feed);
        file.or(self.keyboard.as_mut().map(|l| &mut l.feed))
    }

    /// What the player says goes to whoever plays.
    fn say(&mut self, event: Event) {
        self.asked.note(event);
        match (&self.file, &self.keyboard) {
            (Some(player), _) => player.order(Order::Set(event)),
            (None, Some(listener)) => listener.set(event),
            (None, None) => {}
        }
    }

    fn mark(&self, name: String, about: About) {
        match (&self.file, &self.keyboard) {
            (Some(player), _) => player.order(Order::Mark(name, about)),
            (None, Some(listener)) => listener.mark(&name, about),
            (None, None) => {}
        }
    }

    fn feed(&self) -> Option<&Feed> {
        let file = self.file.as_ref().map(|p| &p.feed);
        file.or(self.keyboard.as_ref().map(|l| &l.feed))
    }

    /// A setting stays in force when a demo gives way to a keyboard.
    fn set(&mut self, event: Event) {
        self.asked.note(event);
        if let Some(player) = &self.file {
            player.order(Order::Set(event));
        }
        if let Some(listener) = &self.keyboard {
            listener.set(event);
        }
    }

    fn repeat(&mut self) {
        let from = self.repeat_from.take();
        let Some(player) = &self.file else { return };
        let at = player.ahead();
        match (at.repeat, from) {
            (Some(_), _) => player.order(Order::Repeat(None)),
            (None, None) => self.repeat_from = Some(at.at),
            (None, Some(from)) => player.order(Order::Repeat(Some((from, at.at)))),
        }
    }

    fn leave_demo_for_a_keyboard(&mut self) {
        let (Some(_), Some(listener)) = (&self.file, &self.keyboard) else {
            return;
        };
        if listener.feed.status().link == live::Link::Keyboard {
            (self.file, self.notice, self.repeat_from) = (None, None, None);
            // It was begun in the demo.
            self.asked.aside = None;
            self.markers.clear();
            (self.marked, self.kept) = (0, 0);
        }
    }
}

/// Why the demo plays. The word that must not be cut off on a narrow screen comes first.
pub fn demo_notice(why: Option<&str>) -> String {
    format!("demo: {}", why.unwrap_or("no keyboard found"))
}

/// So much is kept of what was played last.
const KEPT: Time = Time::millis(30_000);

/// The paces that one key steps through.
const SPEEDS: [f32; 7] = [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0];

fn next_speed(now: f32, faster: bool) -> Option<f32> {
    if faster {
        SPEEDS.into_iter().find(|&s| s > now + 0.01)
    } else {
        SPEEDS.into_iter().rev().find(|&s| s < now - 0.01)
    }
}

impl Stage for Desk {
    fn reading(&mut self) -> Reading {
        self.leave_demo_for_a_keyboard();
        let new = self.feed_mut().map(Feed::markers).unwrap_or_default();
        if !new.is_empty() {
            self.markers.extend(new);
            self.markers.sort_by_key(|m| m.at);
        }
        let reading = self.feed().and_then(Feed::reading).unwrap_or(self.idle);
        self.asked.settle(&reading);
        self.asked.over(reading)
    }

    fn explanation(&mut self) -> Option<Explanation> {
        self.feed().and_then(Feed::explanation)
    }

    fn past(&mut self) -> (&History, &[Marker]) {
        let now = self.now();
        let feed = match (&mut self.file, &mut self.keyboard) {
            (Some(p), _) => &mut p.feed,
            (None, Some(l)) => &mut l.feed,
            (None, None) => return (&self.nothing.0, &self.markers),
        };
        let history = feed.history();
        history.advance_to(now);
        (history, &self.markers)
    }

    fn source(&mut self) -> Source {
        let status = self.status();
        let transport = self.file.as_ref().map(|p| {
            let at = p.position();
            Transport {
                position: at.at,
                duration: at.duration,
                speed: at.speed,
                paused: at.paused,
                ended: at.ended,
                repeat: match at.repeat {
                    Some((a, b)) => (Some(a), Some(b)),
                    None => (self.repeat_from, None),
                },
            }
        });
        Source {
            name: status.name,
            link: match status.link {
                live::Link::Keyboard => Link::Keyboard,
                live::Link::Lost => Link::Lost,
                live::Link::None => Link::None,
                live::Link::File => Link::File,
            },
            transport,
            recording: self.recording.clone(),
            dropped: status.dropped,
            notice: self.notice(status.notice),
        }
    }

    fn now(&self) -> Time {
        match (&self.file, &self.keyboard) {
            (Some(p), _) => p.position().at,
            (None, Some(l)) => l.now(),
            (None, None) => Time::ZERO,
        }
    }

    fn act(&mut self, intent: Intent) {
        match intent {
            Intent::Inertia(i) => {
                memory::remember(memory::INERTIA, i.name());
                self.set(Event::Inertia(i));
            }
            Intent::Set(event) => self.set(event),
            Intent::Pin(pinned) => self.set(Event::Pin(pinned)),
            Intent::HomeIs(note) => self.say(Event::HomeIs(note)),
            Intent::Aside(on) => self.say(Event::Aside(on)),
            Intent::Mark => {
                self.marked += 1;
                self.mark(self.marked.to_string(), About::Phrase);
            }
            Intent::KeepLast => {
                self.kept += 1;
                self.mark(format!("kept {}", self.kept), About::Last(KEPT));
            }
            Intent::Explain => match (&self.file, &self.keyboard) {
                (Some(player), _) => player.order(Order::Explain),
                (None, Some(listener)) => listener.explain(),
                (None, None) => {}
            },
            Intent::Repeat => self.repeat(),
            Intent::SeekTo(to) => {
                if let Some(player) = &self.file {
                    player.order(Order::Seek(to));
                }
            }
            Intent::Pause | Intent::Seek(_) | Intent::Speed(_) => {
                let Some(player) = &self.file else { return };
                let at = player.ahead();
                match intent {
                    Intent::Pause if at.ended => player.order(Order::Seek(Time::ZERO)),
                    Intent::Pause => player.order(Order::Pause(!at.paused)),
                    Intent::Seek(seconds) => {
                        let to = at.at.seconds() + f64::from(seconds);
                        player.order(Order::Seek(Time::from_seconds(to)));
                    }
                    _ => {
                        let faster = intent == Intent::Speed(true);
                        if let Some(speed) = next_speed(at.speed, faster) {
                            player.order(Order::Speed(speed));
                        }
                    }
                }
            }
        }
    }

    fn job(&mut self) -> Option<usize> {
        self.keyboard.as_ref().and_then(|l| l.feed.jobs().next())
    }

    fn news(&self) -> &Receiver<()> {
        self.feed().map_or(&self.nothing.1, Feed::news)
    }

    fn failed(&mut self) -> Option<String> {
        self.feed().and_then(|f| f.status().failed)
    }

    fn patience(&self) -> Duration {
        // Ages are told by the second; before the first note there are none.
        let begun = self.feed().and_then(Feed::reading).is_some_and(|r| r.begun);
        let demo = self.file.is_some() && self.keyboard.is_some();
        if begun || demo {
            Duration::from_secs(1)
        } else {
            Duration::from_secs(3600)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Settings;

    #[test]
    fn a_second_press_takes_back_the_first_before_a_reading_has_come() {
        let Ok(settings) = Settings::standard() else {
            panic!("the embedded settings");
        };
        let mut desk = Desk::new(settings.monitor().reading());
        desk.act(Intent::Aside(true));
        assert!(desk.reading().aside.is_some());
        desk.act(Intent::Aside(false));
        assert_eq!(desk.reading().aside, None);
        // What has come is asked for no more.
        assert_eq!(desk.asked.aside, None);

        let here = settings.catalogue.parse_tonality("D dorian").ok();
        let here = here.map(|w| (w.tonality, w.tonic));
        desk.act(Intent::Pin(here));
        assert_eq!(desk.reading().pinned, here);
        desk.act(Intent::Pin(None));
        assert_eq!(desk.reading().pinned, None);
    }
}
