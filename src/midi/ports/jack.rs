//! Inputs of a JACK server.
//!
//! midir takes the MIDI in; a client of our own lists the ports, makes the connections and hears
//! of ports that come and go, which midir does not tell. A port can vanish and be back within
//! milliseconds, under the same name and no longer connected to us.
//!
//! We open a port of our own and connect it ourselves, rather than let midir connect it: when
//! connecting fails, midir 0.11 frees what its process callback still uses.
//!
//! When a server has gone, all clients of the process must be closed before another is opened:
//! libjack (jack2) clears away those it finds, and closing one of them then is a use after free.

use std::collections::HashSet;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::thread::sleep;
use std::time::{Duration, Instant};

use ::jack::{
    AsyncClient, Client, ClientOptions, Control, NotificationHandler, PortFlags, PortId,
    ProcessHandler, ProcessScope,
};
use crossbeam_channel::{Receiver, Sender, bounded};
use midir::os::unix::VirtualInput;
use midir::{MidiInput, MidiInputConnection};

use super::input::{Connection, OUR_PORT, PortError, PortInfo, Ports, Sink};
use super::names::infos;
use crate::quiet::Quiet;

const MIDI: &str = "8 bit raw midi";

/// A server that has not called us for this long is gone: it calls with every period of sound.
const DEAD: Duration = Duration::from_secs(1);

pub struct System {
    client_name: String,
    watch: Option<Arc<Watch>>,
    /// Held by every client of ours until it is closed.
    open: Weak<()>,
}

impl System {
    pub fn new(client_name: String) -> System {
        System {
            client_name,
            watch: None,
            open: Weak::new(),
        }
    }

    /// Opened again after the server went, when the connections to it are closed.
    fn watch(&mut self) -> Result<Arc<Watch>, PortError> {
        if let Some(watch) = self.watch.take_if(|watch| !watch.dead()) {
            return Ok(self.watch.insert(watch).clone());
        }
        self.watch = None;
        if self.open.strong_count() > 0 {
            return Err(PortError::NoServer);
        }
        let open = Arc::new(());
        self.open = Arc::downgrade(&open);
        let watch = Arc::new(Watch::new(&self.client_name, open)?);
        Ok(self.watch.insert(watch).clone())
    }
}

impl Ports for System {
    fn list(&mut self) -> Result<Vec<PortInfo>, PortError> {
        let watch = self.watch()?;
        let ports = watch.client().ports(None, Some(MIDI), PortFlags::IS_OUTPUT);
        Ok(infos(
            ports.into_iter().map(|name| (name.clone(), name)).collect(),
        ))
    }

    fn open(&mut self, port: &PortInfo, mut sink: Sink) -> Result<Box<dyn Connection>, PortError> {
        let watch = self.watch()?;
        let there = |watch: &Watch| {
            let ports = watch.client().ports(None, Some(MIDI), PortFlags::IS_OUTPUT);
            ports.contains(&port.id)
        };
        let gone = || PortError::Gone {
            port: port.name.clone(),
        };
        let library = |why: String| PortError::Library { why };
        if !there(&watch) {
            return Err(gone());
        }
        let before = watch.inputs();
        if !watch.beats() {
            return Err(PortError::NoServer);
        }
        let _quiet = Quiet::new();
        let input = MidiInput::new(&self.client_name).map_err(|_| PortError::NoServer)?;
        let connection = input
            .create_virtual(OUR_PORT, move |_, bytes, _| sink(bytes), ())
            .map_err(|error| library(error.to_string()))?;
        // The server may have given our client another name.
        let input = watch
            .inputs()
            .into_iter()
            .find(|name| !before.contains(name));
        let input = input.ok_or(PortError::NotShown)?;
        let broken = watch.guard(&input);
        let opened = JackConnection {
            _connection: connection,
            watch,
            broken,
            port: port.id.clone(),
            input,
        };
        match opened
            .watch
            .client()
            .connect_ports_by_name(&opened.port, &opened.input)
        {
            Ok(()) | Err(::jack::Error::PortAlreadyConnected(..)) => {}
            Err(_) if !there(&opened.watch) => return Err(gone()),
            Err(error) => return Err(library(error.to_string())),
        }
        // The server takes it up between two periods; what is played before that is not heard.
        for _ in 0..2 {
            opened.watch.beats();
        }
        Ok(Box::new(opened))
    }

    fn changed(&mut self) -> Option<bool> {
        let watch = self.watch.as_ref()?;
        if watch.dead() {
            self.watch = None;
            return Some(true);
        }
        Some(watch.changed())
    }
}

struct JackConnection {
    // Closed first: the watch holds what says that a client is open.
    _connection: MidiInputConnection<()>,
    watch: Arc<Watch>,
    broken: Arc<AtomicBool>,
    port: String,
    input: String,
}

impl Connection for JackConnection {
    fn alive(&self) -> Option<bool> {
        self.watch.take_news();
        if self.broken.load(Relaxed) {
            return Some(false);
        }
        // News takes a moment; what is there now can be asked.
        let input = self.watch.client().port_by_name(&self.input);
        let connected = input.is_some_and(|p| p.is_connected_to(&self.port).unwrap_or(false));
        if !connected || self.watch.dead() {
            self.broken.store(true, Relaxed);
        }
        Some(!self.broken.load(Relaxed))
    }
}

/// What the server told.
#[derive(Clone, Copy)]
enum News {
    Registered(PortId),
    Unregistered(PortId),
    Disconnected(PortId, PortId),
}

/// Runs on a thread of the server's library, which must not wait for us.
struct Notices {
    news: Sender<News>,
    missed: Arc<AtomicBool>,
}

impl Notices {
    fn send(&self, news: News) {
        if self.news.try_send(news).is_err() {
            self.missed.store(true, Relaxed);
        }
    }
}

impl NotificationHandler for Notices {
    fn port_registration(&mut self, _: &Client, port: PortId, registered: bool) {
        self.send(if registered {
            News::Registered(port)
        } else {
            News::Unregistered(port)
        });
    }

    fn ports_connected(&mut self, _: &Client, a: PortId, b: PortId, connected: bool) {
        if !connected {
            self.send(News::Disconnected(a, b));
        }
    }
}

/// Notes that the server is alive. (JACK reports its end by a callback that safe Rust cannot take.)
struct Pulse {
    start: Instant,
    /// Nanoseconds since the start.
    last: Arc<AtomicU64>,
}

impl ProcessHandler for Pulse {
    fn process(&mut self, _: &Client, _: &ProcessScope) -> Control {
        self.last
            .store(self.start.elapsed().as_nanos() as u64, Relaxed);
        Control::Continue
    }
}

/// Our client that only watches.
struct Watch {
    client: AsyncClient<Notices, Pulse>,
    start: Instant,
    last: Arc<AtomicU64>,
    news: Receiver<News>,
    missed: Arc<AtomicBool>,
    /// What the names of our ports begin with.
    name: String,
    known: Mutex<Known>,
    // The last, dropped when the client is closed.
    _open: Arc<()>,
}

#[derive(Default)]
struct Known {
    changed: bool,
    /// Ports of ours.
    ours: HashSet<PortId>,
    /// Open inputs of ours, by name, and what to set when they are disconnected.
    inputs: Vec<(String, Weak<AtomicBool>)>,
}

impl Watch {
    fn new(name: &str, open: Arc<()>) -> Result<Watch, PortError> {
        let _quiet = Quiet::new();
        let watching = format!("{name}-watch");
        let (client, _) = Client::new(&watching, ClientOptions::NO_START_SERVER).map_err(
            |error| match error {
                ::jack::Error::LibraryError(_) => PortError::NoLibrary,
                _ => PortError::NoServer,
            },
        )?;
        let (sender, news) = bounded(1024);
        let missed = Arc::new(AtomicBool::new(false));
        let notices = Notices {
            news: sender,
            missed: missed.clone(),
        };
        let start = Instant::now();
        let last = Arc::new(AtomicU64::new(0));
        let pulse = Pulse {
            start,
            last: last.clone(),
        };
        let client = client
            .activate_async(notices, pulse)
            .map_err(|error| PortError::Library {
                why: error.to_string(),
            })?;
        Ok(Watch {
            client,
            start,
            last,
            news,
            missed,
            name: name.into(),
            known: Mutex::default(),
            _open: open,
        })
    }

    fn client(&self) -> &Client {
        self.client.as_client()
    }

    fn dead(&self) -> bool {
        let last = Duration::from_nanos(self.last.load(Relaxed));
        self.start.elapsed().saturating_sub(last) > DEAD
    }

    /// Waits for the server's next call: whether it is there this very moment.
    fn beats(&self) -> bool {
        let before = self.last.load(Relaxed);
        while self.last.load(Relaxed) == before {
            if self.dead() {
                return false;
            }
            sleep(Duration::from_millis(1));
        }
        true
    }

    /// Whether a port has a name as the server gives to ours: `peregrinus:in`, `peregrinus-01:in`.
    fn ours(&self, port: &str) -> bool {
        let Some((client, port)) = port.rsplit_once(':') else {
            return false;
        };
        let numbered = |rest: &str| {
            rest.strip_prefix('-')
                .is_some_and(|n| n.bytes().all(|b| b.is_ascii_digit()))
        };
        port == OUR_PORT
            && client
                .strip_prefix(&self.name)
                .is_some_and(|rest| rest.is_empty() || numbered(rest))
    }

    /// The names of inputs that are ours, or another Peregrinus's.
    fn inputs(&self) -> Vec<String> {
        let mut ports = self.client().ports(None, Some(MIDI), PortFlags::IS_INPUT);
        ports.retain(|port| self.ours(port));
        ports
    }

    /// The flag will be set when the input of this name is disconnected.
    fn guard(&self, input: &str) -> Arc<AtomicBool> {
        // What was reported so far is about its predecessors.
        self.take_news();
        let broken = Arc::new(AtomicBool::new(false));
        self.known()
            .inputs
            .push((input.into(), Arc::downgrade(&broken)));
        broken
    }

    fn changed(&self) -> bool {
        self.take_news();
        std::mem::take(&mut self.known().changed)
    }

    fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Draws the conclusions from what the server told. Asking for names needs no answer from the
    /// server, so that the lock is not kept for long.
    fn take_news(&self) {
        let name = |port| {
            self.client()
                .port_by_id(port)
                .and_then(|port| port.name().ok())
        };
        let mut known = self.known();
        known.inputs.retain(|(_, broken)| broken.strong_count() > 0);
        let Known {
            changed,
            ours,
            inputs,
        } = &mut *known;
        while let Ok(news) = self.news.try_recv() {
            match news {
                News::Registered(port) if name(port).is_some_and(|name| self.ours(&name)) => {
                    ours.insert(port);
                }
                News::Registered(_) => *changed = true,
                News::Unregistered(port) => *changed |= !ours.remove(&port),
                News::Disconnected(a, b) => {
                    let ends = [name(a), name(b)];
                    for (input, broken) in inputs.iter() {
                        if ends.iter().flatten().any(|end| end == input)
                            && let Some(broken) = broken.upgrade()
                        {
                            broken.store(true, Relaxed);
                        }
                    }
                }
            }
        }
        if self.missed.swap(false, Relaxed) {
            *changed = true;
            for (_, broken) in inputs.iter() {
                if let Some(broken) = broken.upgrade() {
                    broken.store(true, Relaxed);
                }
            }
        }
    }
}
