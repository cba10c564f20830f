//! Finds the keyboard, holds on to it, and finds it again.

use super::status::StatusBoard;
use crate::midi::{
    ChoiceError, Connection, IntakeSender, Keyboard, PortError, PortInfo, Ports, Trigger, choose,
};
use crate::source::Link;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use std::thread::JoinHandle;
use std::time::Duration;

/// Called with the name of a keyboard that was connected, to remember it for the next time.
pub type Remember = Box<dyn Fn(&str) + Send>;

/// Which keyboards, and what they are for beside the music.
#[derive(Default)]
pub struct Wanted {
    /// What the user named, of each the exact name or a part of it: several keyboards where
    /// there are several, [`Keyboard::COUNT`] at most; any where there is none.
    pub ports: Vec<String>,
    /// The one used last.
    pub remembered: Option<String>,
    /// Called with the name of the first keyboard when it is connected.
    pub remember: Option<Remember>,
    /// Controllers and keys that have a job: they are no music, and set it off by its place
    /// in this list. See [`super::Feed::jobs`].
    pub jobs: Vec<Trigger>,
}

/// How often the list of ports is read, as no port says that it is gone. A keyboard is back
/// within two of these.
const LOOK: Duration = Duration::from_millis(300);
/// How often a backend that reports changes is asked for them: soon enough for a hand that
/// plugs, seldom enough to cost nothing.
const ASK: Duration = Duration::from_millis(50);

/// The thread that does it; dropping it closes the connection.
pub(super) struct Finder {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Finder {
    /// When the keyboard is gone, a release follows its notes.
    pub fn start(
        ports: Box<dyn Ports>,
        wanted: Wanted,
        sender: IntakeSender,
        board: StatusBoard,
    ) -> Finder {
        let (stop, stopped) = bounded(0);
        let guard = board.clone();
        let mut wanted_ports = wanted.ports.into_iter();
        let first = Place::new(Keyboard::FIRST, wanted_ports.next(), wanted.remembered);
        let others = Keyboard::ALL.into_iter().skip(1).zip(wanted_ports);
        let others = others.map(|(keyboard, port)| Place::new(keyboard, Some(port), None));
        let mut search = Search {
            ports,
            places: std::iter::once(first).chain(others).collect(),
            remember: wanted.remember,
            sender,
            board,
            blind: false,
        };
        // Once at the start, so that it is known at once whether there is a keyboard.
        search.look();
        let thread = std::thread::Builder::new()
            .name("keeper".into())
            .spawn(move || {
                guard.guard("the search for keyboards", move || search.run(&stopped));
            });
        // Without the thread nothing is connected, which the screen shows.
        Finder {
            stop: Some(stop),
            thread: thread.ok(),
        }
    }
}

impl Drop for Finder {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Search {
    ports: Box<dyn Ports>,
    places: Vec<Place>,
    remember: Option<Remember>,
    sender: IntakeSender,
    board: StatusBoard,
    /// Whether the list of ports could not be read last time.
    blind: bool,
}

/// Where one keyboard is connected.
struct Place {
    keyboard: Keyboard,
    /// What the user named, and the one used last.
    wanted: Option<String>,
    remembered: Option<String>,
    held: Option<(PortInfo, Box<dyn Connection>)>,
    /// The keyboard that was connected: from then on no other will do, since the player
    /// who unplugs it means to come back to it.
    own: Option<String>,
    link: Link,
    /// Its name in the status: of the keyboard held or lost, or of one that does not open.
    name: String,
    notice: Option<String>,
}

impl Place {
    fn new(keyboard: Keyboard, wanted: Option<String>, remembered: Option<String>) -> Place {
        Place {
            keyboard,
            wanted,
            remembered,
            held: None,
            own: None,
            link: Link::None,
            name: String::new(),
            notice: None,
        }
    }

    fn is(&self, port: &PortInfo) -> bool {
        // Of two with one name the list tells which is which, and that may change.
        match &self.held {
            Some((held, _)) => held.id == port.id,
            None => self.own.as_ref().is_some_and(|own| *own == port.name),
        }
    }

    /// Whether its keyboard is no longer there.
    fn has_lost(&self, list: &[PortInfo]) -> bool {
        self.held.as_ref().is_some_and(|(port, connection)| {
            let broken = connection.alive() == Some(false);
            broken || !list.iter().any(|p| p.id == port.id)
        })
    }

    /// The input for it, or why there is none; nothing to say where its own is still away.
    fn choose(&self, list: &[PortInfo]) -> Result<PortInfo, Option<ChoiceError>> {
        match &self.own {
            Some(own) => list.iter().find(|p| p.name == *own).cloned().ok_or(None),
            None => choose(list, self.wanted.as_deref(), self.remembered.as_deref())
                .cloned()
                .map_err(Some),
        }
    }

    fn say(&mut self, link: Link, name: &str, notice: Option<String>) {
        self.link = link;
        self.name = name.to_owned();
        self.notice = notice;
    }

    /// There is no keyboard, and why; the name of one that was held stays in the status.
    fn fail(&mut self, why: String) {
        match self.own.clone() {
            Some(own) => self.say(Link::Lost, &own, Some(why)),
            None => self.say(Link::None, "", Some(why)),
        }
    }
}

impl Search {
    fn run(&mut self, stopped: &Receiver<()>) {
        let mut since_look = Duration::ZERO;
        loop {
            let told = self.ports.changed();
            if told == Some(true) || since_look >= LOOK {
                since_look = Duration::ZERO;
                self.look();
            }
            let wait = if told.is_some() { ASK } else { LOOK };
            match stopped.recv_timeout(wait) {
                Err(RecvTimeoutError::Timeout) => since_look += wait,
                _ => return,
            }
        }
    }

    fn look(&mut self) {
        let list = match self.ports.list() {
            Ok(list) => list,
            Err(e) => {
                self.blind = true;
                for at in 0..self.places.len() {
                    self.let_go(at);
                    self.places[at].fail(e.to_string());
                }
                self.tell();
                return;
            }
        };
        let seeing_again = std::mem::take(&mut self.blind);
        let mut news = false;
        for at in 0..self.places.len() {
            news |= self.look_for(at, &list, seeing_again);
        }
        if news {
            self.tell();
        }
    }

    /// Looks after one place; true if its status changed.
    fn look_for(&mut self, at: usize, list: &[PortInfo], seeing_again: bool) -> bool {
        let mut news = false;
        if self.places[at].held.is_some() {
            if !self.places[at].has_lost(list) {
                return false;
            }
            let notice = format!(
                "{} was unplugged; its notes are released; waiting for it",
                self.places[at].name
            );
            self.let_go(at);
            self.places[at].fail(notice);
            news = true;
        }
        // What another has, or waits for, is not for this one.
        let others = |port: &PortInfo| {
            let mut places = self.places.iter().enumerate();
            places.any(|(other, place)| other != at && place.is(port))
        };
        let free: Vec<PortInfo> = list.iter().filter(|p| !others(p)).cloned().collect();
        match self.places[at].choose(&free) {
            Ok(port) => return self.connect(at, port) || news,
            Err(Some(e)) => self.places[at].fail(e.to_string()),
            // The line that says what was lost stays, unless something else was said since.
            Err(None) if seeing_again => {
                let place = &mut self.places[at];
                let own = place.own.as_deref().unwrap_or_default();
                place.fail(format!("{own} is not there yet; waiting for it"));
            }
            Err(None) => return news,
        }
        true
    }

    /// Connects a place to a port; true if its status changed.
    fn connect(&mut self, at: usize, port: PortInfo) -> bool {
        let place = &mut self.places[at];
        let mut sender = self.sender.another(place.keyboard);
        let sink = Box::new(move |bytes: &[u8]| sender.bytes(bytes));
        match self.ports.open(&port, sink) {
            Ok(connection) => {
                let back = match &place.own {
                    Some(_) => Some(format!("{} is back", port.name)),
                    None => {
                        if let Some(remember) = &self.remember
                            && place.keyboard == Keyboard::FIRST
                        {
                            remember(&port.name);
                        }
                        place.own = Some(port.name.clone());
                        None
                    }
                };
                place.say(Link::Keyboard, &port.name, back);
                place.held = Some((port, connection));
                true
            }
            // It went away between the list and here: the next look sees that.
            Err(PortError::Gone { .. }) => false,
            Err(e) => {
                let link = match place.own {
                    Some(_) => Link::Lost,
                    None => Link::None,
                };
                place.say(link, &port.name, Some(e.to_string()));
                true
            }
        }
    }

    fn let_go(&mut self, at: usize) {
        // Closed first: what it still sent comes before the release.
        let place = &mut self.places[at];
        if place.held.take().is_some() {
            self.sender.another(place.keyboard).release();
        }
    }

    /// Writes all places into the status; of several, those that are away are marked.
    fn tell(&self) {
        let several = self.places.len() > 1;
        let links = [Link::Keyboard, Link::Lost, Link::None];
        let link = links
            .into_iter()
            .find(|link| self.places.iter().any(|p| p.link == *link));
        let names = self.places.iter().map(|place| {
            let wanted = place.wanted.as_deref().unwrap_or_default();
            match place.link {
                _ if !several => place.name.clone(),
                Link::Keyboard => place.name.clone(),
                Link::Lost => format!("{} (unplugged)", place.name),
                _ => format!("{wanted} (not there)"),
            }
        });
        let names: Vec<String> = names.collect();
        let notices = self.places.iter().filter_map(|place| place.notice.clone());
        let notices: Vec<String> = notices.collect();
        self.board.update(|s| {
            s.link = link.unwrap_or_default();
            s.name = names.join(" + ");
            s.notice = Some(notices.join("; ")).filter(|n| !n.is_empty());
            if several {
                let own = self
                    .places
                    .iter()
                    .map(|p| p.own.clone().unwrap_or_default());
                s.keyboards = own.collect();
                let away = self.places.iter().filter(|p| p.link != Link::Keyboard);
                s.away = away.count();
            }
        });
    }
}
