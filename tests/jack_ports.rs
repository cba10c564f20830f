//! Our inputs over a real JACK server, the dummy driver behind it. Needs `jackd` (Debian: jackd2).
//!
//! libjack takes the server's name from the environment, which a test must not change under other
//! threads. So each test starts a server of its own and then itself once more, with the name set.

use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

use jack::{Client, ClientOptions, Control, MidiOut, Port, ProcessHandler, ProcessScope, RawMidi};
use peregrinus::midi::{Connection, PortError, PortInfo, Ports, system};

const NAME: &str = "PEREGRINUS_TEST_SERVER";

struct Server(Child);

impl Server {
    fn start(name: &str) -> Server {
        let child = Command::new("jackd")
            .args([
                "-n", name, "-r", "-S", "-d", "dummy", "-r", "48000", "-p", "256",
            ])
            .env("JACK_NO_AUDIO_RESERVATION", "1")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("jackd starts (Debian: apt-get install jackd2)");
        let up = Command::new("jack_wait")
            .args(["-s", name, "-w", "-t", "10"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .expect("jack_wait runs");
        assert!(up.success(), "the server is up");
        Server(child)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Killed, it would keep its place in the table of servers, which has eight.
        if let Some(pid) = rustix::process::Pid::from_raw(self.0.id() as i32) {
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        }
        let _ = self.0.wait();
    }
}

/// Runs `body` in a process of its own, with the server's name set and, if `up`, the server
/// running. Nothing may be printed: it would be on a player's screen.
fn with_server(test: &str, up: bool, body: impl FnOnce(&str)) {
    if let Ok(name) = std::env::var(NAME) {
        return body(&name);
    }
    let name = format!("peregrinus-{test}-{}", std::process::id());
    // One after the other: they share that table, and the machine.
    static TURN: Mutex<()> = Mutex::new(());
    let _turn = TURN.lock();
    let server = up.then(|| Server::start(&name));
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", test, "--quiet", "--nocapture"])
        .env("JACK_DEFAULT_SERVER", &name)
        .env("JACK_NO_START_SERVER", "1")
        .env(NAME, &name)
        .output()
        .unwrap();
    drop(server);
    for entry in std::fs::read_dir("/dev/shm")
        .into_iter()
        .flatten()
        .flatten()
    {
        if entry.file_name().to_string_lossy().contains(&name) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert!(output.status.success(), "{}\n{out}\n{err}", output.status);
    assert_eq!(err, "", "noise on standard error");
    assert!(out.contains("test result: ok. 1 passed"), "{out}");
    assert!(out.lines().count() <= 5, "noise on standard output: {out}");
}

type Shared = Arc<Mutex<Option<Port<MidiOut>>>>;

/// Another client: a keyboard that can be unplugged.
struct Keyboard {
    client: jack::AsyncClient<(), Player>,
    port: Shared,
    send: SyncSender<[u8; 3]>,
}

struct Player {
    port: Shared,
    messages: Receiver<[u8; 3]>,
}

impl ProcessHandler for Player {
    fn process(&mut self, _: &Client, scope: &ProcessScope) -> Control {
        if let Ok(mut port) = self.port.try_lock()
            && let Some(port) = port.as_mut()
        {
            let mut writer = port.writer(scope);
            while let Ok(bytes) = self.messages.try_recv() {
                let _ = writer.write(&RawMidi {
                    time: 0,
                    bytes: &bytes,
                });
            }
        }
        Control::Continue
    }
}

impl Keyboard {
    fn new(name: &str) -> Keyboard {
        let (client, _) = Client::new(name, ClientOptions::NO_START_SERVER).unwrap();
        let port = Shared::default();
        let (send, messages) = sync_channel(1_000);
        let player = Player {
            port: port.clone(),
            messages,
        };
        let client = client.activate_async((), player).unwrap();
        let keyboard = Keyboard { client, port, send };
        keyboard.plug();
        keyboard
    }

    fn plug(&self) {
        let port = self
            .client
            .as_client()
            .register_port("out", MidiOut::default())
            .unwrap();
        *self.port.lock().unwrap() = Some(port);
    }

    fn unplug(&self) {
        let port = self.port.lock().unwrap().take().unwrap();
        self.client.as_client().unregister_port(port).unwrap();
    }
}

type Heard = std::sync::mpsc::Receiver<Vec<u8>>;

fn open(ports: &mut dyn Ports, port: &PortInfo) -> (Box<dyn Connection>, Heard) {
    let (sink, heard) = channel();
    let connection = ports
        .open(port, Box::new(move |b| drop(sink.send(b.to_vec()))))
        .unwrap();
    (connection, heard)
}

fn within(what: &str, limit: u64, mut check: impl FnMut() -> bool) {
    let start = Instant::now();
    while !check() {
        assert!(
            start.elapsed() < Duration::from_millis(limit),
            "{what}, within {limit} ms"
        );
        sleep(Duration::from_millis(1));
    }
}

/// Waits until the note comes; what else comes before is lost.
fn hear(heard: &Heard, note: [u8; 3]) {
    loop {
        let bytes = heard
            .recv_timeout(Duration::from_secs(2))
            .expect("the note arrives");
        if bytes == note {
            return;
        }
    }
}

#[test]
fn listing_and_playing() {
    with_server("listing_and_playing", true, |_| {
        let mut ports = system("peregrinus");
        assert_eq!(ports.list(), Ok(vec![]));
        let keyboard = Keyboard::new("keyboard");
        within("the port is told", 500, || ports.changed() == Some(true));
        let list = ports.list().unwrap();
        let name = "keyboard:out".to_string();
        assert_eq!(
            list,
            [PortInfo {
                id: name.clone(),
                name
            }]
        );
        let (connection, heard) = open(&mut *ports, &list[0]);
        let inputs =
            keyboard
                .client
                .as_client()
                .ports(None, Some("midi"), jack::PortFlags::IS_INPUT);
        assert_eq!(inputs, ["peregrinus:in"]);
        assert_eq!(connection.alive(), Some(true));
        for key in 0..100 {
            keyboard.send.send([0x90, key, 1]).unwrap();
        }
        for key in 0..100 {
            let bytes = heard.recv_timeout(Duration::from_secs(2)).unwrap();
            assert_eq!(bytes, [0x90, key, 1]);
        }
        // Our own coming and going is no news, nor are our ports inputs to choose from.
        drop(connection);
        let (connection, _heard) = open(&mut *ports, &list[0]);
        sleep(Duration::from_millis(100));
        assert_eq!(ports.changed(), Some(false));
        assert_eq!(ports.list().unwrap(), list);
        // Others'  is, and leaves our connection alone.
        let other = Keyboard::new("other");
        within("the other port is told", 500, || {
            ports.changed() == Some(true)
        });
        assert_eq!(ports.list().unwrap().len(), 2);
        other.unplug();
        within("its end is told", 500, || ports.changed() == Some(true));
        assert_eq!(connection.alive(), Some(true));
        let gone = PortInfo {
            name: "other:out".into(),
            id: "other:out".into(),
        };
        let error = ports.open(&gone, Box::new(|_| ())).err();
        assert_eq!(
            error,
            Some(PortError::Gone {
                port: "other:out".into()
            })
        );
    });
}

/// Each time with a note held; the shorter gaps are not to be seen by listing ports.
#[test]
fn unplugged_and_back() {
    with_server("unplugged_and_back", true, |_| {
        let mut ports = system("peregrinus");
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (mut connection, mut heard) = open(&mut *ports, &list[0]);
        for gap in [
            0, 1, 2, 3, 5, 8, 13, 21, 29, 40, 80, 0, 0, 0, 0, 1, 1, 1, 250, 0,
        ] {
            keyboard.send.send([0x90, 60, 64]).unwrap();
            hear(&heard, [0x90, 60, 64]);
            assert_eq!(connection.alive(), Some(true));
            keyboard.unplug();
            sleep(Duration::from_millis(gap));
            keyboard.plug();
            within("the loss is noticed", 200, || {
                connection.alive() == Some(false)
            });
            assert_eq!(connection.alive(), Some(false), "it stays lost");
            within("the coming back is told", 200, || {
                ports.changed() == Some(true)
            });
            drop(connection);
            assert_eq!(ports.list().unwrap(), list);
            (connection, heard) = open(&mut *ports, &list[0]);
        }
        // Disconnected by somebody else.
        let other = keyboard.client.as_client();
        other
            .disconnect_ports_by_name("keyboard:out", "peregrinus:in")
            .unwrap();
        within("the loss is noticed", 200, || {
            connection.alive() == Some(false)
        });
    });
}

#[test]
fn two_at_once() {
    with_server("two_at_once", true, |_| {
        let keyboard = Keyboard::new("keyboard");
        let (mut one, mut two) = (system("peregrinus"), system("peregrinus"));
        let list = one.list().unwrap();
        let (first, heard_first) = open(&mut *one, &list[0]);
        let (second, heard_second) = open(&mut *two, &list[0]);
        keyboard.send.send([0x90, 60, 64]).unwrap();
        hear(&heard_first, [0x90, 60, 64]);
        hear(&heard_second, [0x90, 60, 64]);
        drop(first);
        sleep(Duration::from_millis(50));
        assert_eq!(second.alive(), Some(true));
    });
}

#[test]
fn the_server_goes_and_comes_back() {
    with_server("the_server_goes_and_comes_back", false, |name| {
        let server = Server::start(name);
        let mut ports = system("peregrinus");
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (connection, _heard) = open(&mut *ports, &list[0]);
        assert_eq!(connection.alive(), Some(true));
        drop(server);
        within("the loss is noticed", 2_000, || {
            connection.alive() == Some(false)
        });
        assert_eq!(ports.changed(), Some(true));
        assert_eq!(ports.list(), Err(PortError::NoServer));
        assert_eq!(ports.changed(), None);
        drop(keyboard);
        assert_eq!(ports.list(), Err(PortError::NoServer));
        drop(connection);
        assert_eq!(ports.list(), Err(PortError::NoServer));
        let _server = Server::start(name);
        let keyboard = Keyboard::new("keyboard");
        let list = ports.list().unwrap();
        let (connection, heard) = open(&mut *ports, &list[0]);
        keyboard.send.send([0x90, 60, 64]).unwrap();
        hear(&heard, [0x90, 60, 64]);
        assert_eq!(connection.alive(), Some(true));
    });
}

#[test]
fn no_server() {
    with_server("no_server", false, |_| {
        let mut ports = system("peregrinus");
        assert_eq!(ports.list(), Err(PortError::NoServer));
        let port = PortInfo {
            name: "a".into(),
            id: "a:b".into(),
        };
        assert_eq!(
            ports.open(&port, Box::new(|_| ())).err(),
            Some(PortError::NoServer)
        );
        assert_eq!(
            PortError::NoServer.to_string(),
            "no JACK server answers: start one, or use Peregrinus built without JACK"
        );
    });
}
