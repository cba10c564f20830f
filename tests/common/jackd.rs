//! A JACK server for a test, the dummy driver behind it, and a keyboard on it. Needs `jackd`
//! (Debian: jackd2).
//!
//! libjack takes the server's name from the environment, which a test must not change under other
//! threads. So each test starts a server of its own and then itself once more, with the name set.

// Each test target uses a part of this.
#![allow(dead_code)]

use std::fs::File;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

use jack::{Client, ClientOptions, Control, MidiOut, Port, ProcessHandler, ProcessScope, RawMidi};

const NAME: &str = "PEREGRINUS_TEST_SERVER";

/// Ends when dropped.
pub struct Server(Child);

impl Server {
    pub fn start(name: &str) -> Server {
        let said = std::env::temp_dir().join(format!("{name}.log"));
        let log = File::create(&said).expect("the server's words can be written down");
        let child = Command::new("jackd")
            .args([
                "-n", name, "-r", "-S", "-d", "dummy", "-r", "48000", "-p", "256",
            ])
            .env("JACK_NO_AUDIO_RESERVATION", "1")
            .stdout(log.try_clone().expect("the file can be shared"))
            .stderr(log)
            .spawn()
            .expect("jackd starts (Debian: apt-get install jackd2)");
        let server = Server(child);
        let up = Command::new("jack_wait")
            .args(["-s", name, "-w", "-t", "10"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .expect("jack_wait runs");
        let words = std::fs::read_to_string(&said).unwrap_or_default();
        let _ = std::fs::remove_file(&said);
        assert!(
            up.success(),
            "the server is up; it said:\n{words}\nin /dev/shm: {:?}",
            left_behind().collect::<Vec<_>>()
        );
        server
    }
}

impl Server {
    /// Without a chance to say goodbye. It keeps its place in the table of servers.
    pub fn kill(mut self) {
        self.0.kill().expect("the server can be killed");
        self.0.wait().expect("the server ends");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if !matches!(self.0.try_wait(), Ok(None)) {
            return;
        }
        // Killed, it would keep its place in the table of servers.
        if let Some(pid) = rustix::process::Pid::from_raw(self.0.id() as i32) {
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        }
        let _ = self.0.wait();
    }
}

/// Runs `body` in a process of its own, with the server's name set and, if `up`, the server
/// running. Nothing may be printed: it would be on a player's screen.
pub fn with_server(test: &str, up: bool, body: impl FnOnce(&str)) {
    if let Ok(name) = std::env::var(NAME) {
        return body(&name);
    }
    let name = format!("peregrinus-{test}-{}", std::process::id());
    // One after the other: they share that table, and the machine.
    static TURN: Mutex<()> = Mutex::new(());
    let _turn = TURN.lock();
    let _turn_of_the_process = turn_of_the_process();
    forget_the_dead();
    let server = up.then(|| Server::start(&name));
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", test, "--quiet", "--nocapture"])
        .env("JACK_DEFAULT_SERVER", &name)
        .env("JACK_NO_START_SERVER", "1")
        .env(NAME, &name)
        .output()
        .unwrap();
    drop(server);
    sweep(&name);
    let (out, err) = (quoted(&output.stdout), quoted(&output.stderr));
    assert!(output.status.success(), "{}\n{out}\n{err}", output.status);
    assert_eq!(err, "", "noise on standard error");
    assert!(out.contains("test result: ok. 1 passed"), "{out}");
    assert!(out.lines().count() <= 5, "noise on standard output: {out}");
}

/// Waits until no other test program has a server, for as long as the file is kept open: clients
/// listen at a socket named after themselves and not after their server (jack2 1.9), so that two
/// of one name, on two servers, take each other's calls.
fn turn_of_the_process() -> File {
    let path = std::env::temp_dir().join("peregrinus-jack-tests.lock");
    let file = File::create(path).expect("the lock file can be written");
    while let Err(error) = rustix::fs::flock(&file, rustix::fs::FlockOperation::LockExclusive) {
        assert_eq!(error, rustix::io::Errno::INTR, "the lock can be taken");
    }
    file
}

/// Removes what a server leaves behind.
pub fn sweep(name: &str) {
    for path in left_behind() {
        if path.to_string_lossy().contains(name) {
            let _ = std::fs::remove_file(path);
        }
    }
}

/// The table of servers has eight places (jack2 1.9), and a server that was killed keeps its own:
/// after eight test programs that were broken off none could start. If no server lives at all,
/// the table and everything beside it is of the dead, and the next server makes it anew. Not for
/// a program that has already been a client: it would keep the old table.
pub fn forget_the_dead() {
    let processes = std::fs::read_dir("/proc").into_iter().flatten().flatten();
    let lives = processes
        .filter_map(|process| std::fs::read_to_string(process.path().join("comm")).ok())
        .any(|program| program.starts_with("jackd"));
    if !lives {
        for path in left_behind() {
            let _ = if path.is_dir() {
                std::fs::remove_dir_all(path)
            } else {
                std::fs::remove_file(path)
            };
        }
    }
}

/// What servers and their clients keep in memory under a name.
fn left_behind() -> impl Iterator<Item = PathBuf> {
    let entries = std::fs::read_dir("/dev/shm").into_iter().flatten();
    let paths = entries.flatten().map(|entry| entry.path());
    paths.filter(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        name.starts_with("jack")
    })
}

/// So that whoever counts results does not count the inner one as well.
fn quoted(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.lines().map(|line| format!("| {line}\n")).collect()
}

type Shared = Arc<Mutex<Option<Port<MidiOut>>>>;

/// Another client: a keyboard that can be unplugged.
pub struct Keyboard {
    pub client: jack::AsyncClient<(), Player>,
    port: Shared,
    pub send: SyncSender<[u8; 3]>,
}

pub struct Player {
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
    pub fn new(name: &str) -> Keyboard {
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

    pub fn plug(&self) {
        let port = self
            .client
            .as_client()
            .register_port("out", MidiOut::default())
            .unwrap();
        *self.port.lock().unwrap() = Some(port);
    }

    pub fn unplug(&self) {
        let port = self.port.lock().unwrap().take().unwrap();
        self.client.as_client().unregister_port(port).unwrap();
    }
}

/// How long a test waits for what must happen. It is no claim of speed: the server itself waits
/// up to two seconds for a client that a busy machine does not let answer.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// Waits until `check` holds; fails if it never does.
pub fn eventually(what: &str, mut check: impl FnMut() -> bool) {
    let start = Instant::now();
    while !check() {
        assert!(start.elapsed() < PATIENCE, "{what}, after {PATIENCE:?}");
        sleep(Duration::from_millis(1));
    }
}
