//! Finds the keyboard, holds on to it, and finds it again.

use super::clock::Clock;
use super::feed::{Link, StatusDesk};
use crate::midi::{ChoiceError, Connection, Feeder, PortError, PortInfo, Ports, choose};
use crate::time::Time;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

/// Told the name of a keyboard that was connected, to keep it for the next time.
pub type Remember = Box<dyn Fn(&str) + Send>;

/// Which keyboard.
#[derive(Default)]
pub struct Wanted {
    /// What the user named: the exact name or a part of it.
    pub port: Option<String>,
    /// The one used last.
    pub remembered: Option<String>,
    /// Told the name of each one that is connected.
    pub remember: Option<Remember>,
}

/// No port says that it is gone: so look this often. A keyboard is back within
/// two of these.
const LOOK: Duration = Duration::from_millis(300);
/// Where the backend tells of changes, ask it this often.
const ASK: Duration = Duration::from_millis(5);

/// The thread that does it; dropping it closes the connection.
pub(super) struct Keeper {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Keeper {
    /// `lost` is told when the keyboard has gone, so that its notes are released.
    pub fn start(
        ports: Box<dyn Ports>,
        wanted: Wanted,
        feeder: Feeder,
        clock: Arc<dyn Clock>,
        lost: Sender<Time>,
        desk: StatusDesk,
    ) -> Keeper {
        let (stop, stopped) = bounded(0);
        let guard = desk.clone();
        let mut search = Search {
            ports,
            wanted,
            feeder,
            clock,
            lost,
            desk,
            held: None,
            was: false,
        };
        // Once before anybody asks, so that it is known from the start whether there is one.
        search.look();
        let thread = std::thread::Builder::new()
            .name("keeper".into())
            .spawn(move || {
                guard.guard("the search for keyboards", move || search.run(&stopped));
            });
        // Without the thread nothing is connected, which the screen shows.
        Keeper {
            stop: Some(stop),
            thread: thread.ok(),
        }
    }
}

impl Drop for Keeper {
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
    feeder: Feeder,
    clock: Arc<dyn Clock>,
    lost: Sender<Time>,
    desk: StatusDesk,
    held: Option<(PortInfo, Box<dyn Connection>)>,
    /// Whether a keyboard was connected before.
    was: bool,
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
                self.let_go(None);
                self.say(Link::None, "", Some(e.to_string()));
                return;
            }
        };
        if let Some((port, connection)) = &self.held {
            let broken = connection.alive() == Some(false);
            if !broken && list.iter().any(|p| p.id == port.id) {
                return;
            }
            let name = port.name.clone();
            self.let_go(Some(name));
        }
        match choose(
            &list,
            self.wanted.port.as_deref(),
            self.wanted.remembered.as_deref(),
        ) {
            Ok(port) => {
                let port = port.clone();
                self.connect(port);
            }
            Err(e) => self.none(&e),
        }
    }

    fn connect(&mut self, port: PortInfo) {
        let mut feeder = self.feeder.another();
        match self
            .ports
            .open(&port, Box::new(move |bytes| feeder.bytes(bytes)))
        {
            Ok(connection) => {
                let back = self.was.then(|| format!("{} is back", port.name));
                self.was = true;
                // From now on it is this one that is looked for.
                self.wanted.remembered = Some(port.name.clone());
                if let Some(remember) = &self.wanted.remember {
                    remember(&port.name);
                }
                self.say(Link::Keyboard, &port.name, back);
                self.held = Some((port, connection));
            }
            // It went away between the list and here: the next look sees that.
            Err(PortError::Gone { .. }) => {}
            Err(e) => self.say(Link::None, &port.name, Some(e.to_string())),
        }
    }

    fn let_go(&mut self, name: Option<String>) {
        if self.held.take().is_none() {
            return;
        }
        let _ = self.lost.send(self.clock.now());
        if let Some(name) = name {
            let notice = format!("{name} was unplugged; its notes are released; waiting for it");
            self.say(Link::Lost, &name, Some(notice));
        }
    }

    fn none(&self, e: &ChoiceError) {
        if self.was {
            // The line that says what was lost stands.
            self.desk.update(|s| s.link = Link::Lost);
        } else {
            self.say(Link::None, "", Some(e.to_string()));
        }
    }

    fn say(&self, link: Link, name: &str, notice: Option<String>) {
        self.desk.update(|s| {
            s.link = link;
            s.name = name.to_owned();
            s.notice = notice;
        });
    }
}
