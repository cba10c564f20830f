//! Finds the keyboard, holds on to it, and finds it again.

use super::status::StatusBoard;
use crate::midi::{Connection, IntakeSender, PortError, PortInfo, Ports, Trigger, choose};
use crate::source::Link;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use std::thread::JoinHandle;
use std::time::Duration;

/// Called with the name of a keyboard that was connected, to remember it for the next time.
pub type Remember = Box<dyn Fn(&str) + Send>;

/// Which keyboard, and what it is for beside the music.
#[derive(Default)]
pub struct Wanted {
    /// What the user named: the exact name or a part of it.
    pub port: Option<String>,
    /// The one used last.
    pub remembered: Option<String>,
    /// Called with the name of each keyboard that is connected.
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
        let mut search = Search {
            ports,
            wanted,
            sender,
            board,
            held: None,
            own: None,
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
    wanted: Wanted,
    sender: IntakeSender,
    board: StatusBoard,
    held: Option<(PortInfo, Box<dyn Connection>)>,
    /// The keyboard that was connected: from then on no other will do, since the player
    /// who unplugs it means to come back to it.
    own: Option<String>,
    /// Whether the list of ports could not be read last time.
    blind: bool,
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
                self.let_go();
                self.fail(e.to_string());
                return;
            }
        };
        if let Some((port, connection)) = &self.held {
            let broken = connection.alive() == Some(false);
            if !broken && list.iter().any(|p| p.id == port.id) {
                return;
            }
            let notice = format!(
                "{} was unplugged; its notes are released; waiting for it",
                port.name
            );
            self.let_go();
            self.fail(notice);
        }
        let seeing_again = std::mem::take(&mut self.blind);
        let found = match &self.own {
            Some(own) => list.iter().find(|p| p.name == *own).cloned().ok_or(None),
            None => choose(
                &list,
                self.wanted.port.as_deref(),
                self.wanted.remembered.as_deref(),
            )
            .cloned()
            .map_err(Some),
        };
        match found {
            Ok(port) => self.connect(port),
            Err(Some(e)) => self.fail(e.to_string()),
            // The line that says what was lost stays, unless something else was said since.
            Err(None) if seeing_again => {
                let own = self.own.as_deref().unwrap_or_default();
                self.fail(format!("{own} is not there yet; waiting for it"));
            }
            Err(None) => {}
        }
    }

    fn connect(&mut self, port: PortInfo) {
        let mut sender = self.sender.another();
        match self
            .ports
            .open(&port, Box::new(move |bytes| sender.bytes(bytes)))
        {
            Ok(connection) => {
                let back = match &self.own {
                    Some(_) => Some(format!("{} is back", port.name)),
                    None => {
                        if let Some(remember) = &self.wanted.remember {
                            remember(&port.name);
                        }
                        self.own = Some(port.name.clone());
                        None
                    }
                };
                self.say(Link::Keyboard, &port.name, back);
                self.held = Some((port, connection));
            }
            // It went away between the list and here: the next look sees that.
            Err(PortError::Gone { .. }) => {}
            Err(e) => {
                let link = match self.own {
                    Some(_) => Link::Lost,
                    None => Link::None,
                };
                self.say(link, &port.name, Some(e.to_string()));
            }
        }
    }

    fn let_go(&mut self) {
        // Closed first: what it still sent comes before the release.
        if self.held.take().is_some() {
            self.sender.release();
        }
    }

    /// There is no keyboard, and why; the name of one that was held stays in the status.
    fn fail(&self, why: String) {
        match &self.own {
            Some(own) => self.say(Link::Lost, own, Some(why)),
            None => self.say(Link::None, "", Some(why)),
        }
    }

    fn say(&self, link: Link, name: &str, notice: Option<String>) {
        self.board.update(|s| {
            s.link = link;
            s.name = name.to_owned();
            s.notice = notice;
        });
    }
}
