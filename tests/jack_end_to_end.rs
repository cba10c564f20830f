//! The whole way over real JACK ports: another client plays, Peregrinus listens.

#[path = "common/jackd.rs"]
mod jackd;

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

use jackd::{Keyboard, Server, eventually, with_server};
use peregrinus::engine::{Monitor, STEP};
use peregrinus::live::{Keep, Listener, SystemClock, Wanted, World, listen};
use peregrinus::midi::{self, Event};
use peregrinus::source::Link;
use peregrinus::theory::{Catalogue, KeySet};
use peregrinus::time::Time;
use serde_json::Value;

/// The period of the dummy driver: 256 frames at 48,000 a second.
const PERIOD: f64 = 256.0 / 48_000.0;

/// The program as a process of its own, its lines gathered as they come.
struct Program {
    child: Child,
    out: Arc<Mutex<Vec<String>>>,
    err: Arc<Mutex<Vec<String>>>,
}

fn gather(from: impl std::io::Read + Send + 'static) -> Arc<Mutex<Vec<String>>> {
    let lines = Arc::new(Mutex::new(Vec::new()));
    let into = Arc::clone(&lines);
    std::thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            into.lock().unwrap().push(line);
        }
    });
    lines
}

fn program(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_peregrinus"));
    command
        .env("HOME", home)
        .env("XDG_CONFIG_HOME", home.join("config"))
        .env("XDG_STATE_HOME", home.join("state"))
        .env("XDG_DATA_HOME", home.join("data"));
    command
}

impl Program {
    fn start(home: &Path, args: &[&str]) -> Program {
        let mut child = program(home)
            .args(args)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let out = gather(child.stdout.take().unwrap());
        let err = gather(child.stderr.take().unwrap());
        Program { child, out, err }
    }

    fn said(&self, what: &str) -> bool {
        self.err.lock().unwrap().iter().any(|l| l.contains(what))
    }

    fn lines(&self) -> Vec<Value> {
        let lines = self.out.lock().unwrap();
        let parse = |l: &String| serde_json::from_str(l).unwrap_or_else(|e| panic!("{l}: {e}"));
        lines.iter().map(parse).collect()
    }

    /// Seconds of processor time so far: fields 14 and 15 of proc(5)'s stat, in
    /// hundredths (sysconf's clock tick, 100 on every Linux).
    fn worked(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let after_name = stat.rsplit_once(") ").unwrap().1;
        let fields: Vec<&str> = after_name.split(' ').collect();
        let ticks = |i: usize| fields[i - 3].parse::<f64>().unwrap();
        (ticks(14) + ticks(15)) / 100.0
    }

    fn running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    fn stop(&mut self) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
        let mut code = None;
        eventually("the program ends", || {
            code = self.child.try_wait().unwrap();
            code.is_some()
        });
        assert_eq!(code.and_then(|c| c.code()), Some(0), "{:?}", self.err);
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn analyze(home: &Path, file: &Path) -> Value {
    let output = program(home)
        .args(["analyze", "--format", "json"])
        .arg(file)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// (center, mode, seconds) of each region as it was heard.
type Plan = Vec<(u64, String, f64)>;

fn plan(list: &Value, what: &str, time: &str) -> Plan {
    let all = list.as_array().unwrap().iter();
    all.filter(|l| what.is_empty() || l["what"] == what)
        .map(|l| {
            let mode = l["mode"].as_str().unwrap().to_owned();
            (
                l["center"].as_u64().unwrap(),
                mode,
                l[time].as_f64().unwrap(),
            )
        })
        .collect()
}

fn bytes(event: Event) -> [u8; 3] {
    match event {
        Event::NoteOn {
            channel,
            key,
            velocity,
        } => [0x90 | channel.number(), key, velocity],
        Event::NoteOff { channel, key } => [0x80 | channel.number(), key, 64],
        Event::Damper { channel, value } => [0xb0 | channel.number(), 64, value],
        Event::Sostenuto { channel, value } => [0xb0 | channel.number(), 66, value],
        Event::Soft { channel, value } => [0xb0 | channel.number(), 67, value],
        other => panic!("no étude holds {other:?}"),
    }
}

/// Forty-four seconds hold its three centers.
const PLAYED: Time = Time::millis(44_000);

#[test]
fn an_etude_gives_the_plan_of_its_file() {
    with_server("an_etude_gives_the_plan_of_its_file", true, |_| {
        let folder = tempfile::tempdir().unwrap();
        let home = folder.path();
        let take = home.join("take.mid");
        let etude: PathBuf =
            concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid").into();
        let score = midi::read(&std::fs::read(&etude).unwrap()).unwrap();
        let keyboard = Keyboard::new("keyboard");
        let record = take.to_str().unwrap();
        let mut listening = Program::start(
            home,
            &[
                "listen", "--port", "keyboard", "--format", "json", "--record", record,
            ],
        );
        // Notes that nobody hears yet are lost: wait for the connection.
        let client = keyboard.client.as_client();
        eventually("it connects", || {
            client
                .port_by_name("peregrinus:in")
                .is_some_and(|p| p.connected_count() == Ok(1))
        });
        sleep(Duration::from_millis(50));
        let start = Instant::now();
        for e in score.events.iter().filter(|e| e.at <= PLAYED) {
            sleep(e.at.duration().saturating_sub(start.elapsed()));
            keyboard.send.send(bytes(e.event)).unwrap();
        }
        // One step more, so that what was said last is written.
        sleep(Duration::from_millis(400));
        listening.stop();
        // Of the recording nothing; what was played is kept besides.
        eventually("it says what it kept", || listening.said("kept as "));
        let said = listening.err.lock().unwrap().clone();
        assert_eq!(said.len(), 1, "{said:?}");

        let live = Value::Array(listening.lines());
        let again = analyze(home, &take);
        assert_eq!(again["complete"], true);
        // The recording: the very same, to the microsecond that JSON keeps.
        for (what, list) in [("here", "regions"), ("home", "home")] {
            let (live, again) = (
                plan(&live, what, "at"),
                plan(&again["heard"][list], "", "start"),
            );
            assert!(!live.is_empty(), "{what}: nothing was established");
            let rounded = |p: &Plan| -> Plan {
                let micro = |t: f64| (t * 1e6).round() / 1e6;
                p.iter()
                    .map(|(c, m, t)| (*c, m.clone(), micro(*t)))
                    .collect()
            };
            // The plan has the mode that was decided later from the beginning; live it was told
            // as it was known then.
            let moments = |p: &Plan| -> Vec<(u64, f64)> {
                rounded(p).into_iter().map(|(c, _, t)| (c, t)).collect()
            };
            assert_eq!(moments(&live), moments(&again), "{what}: live and recorded");
        }

        // The étude: the same centers, each a few steps of the engine early or late at most:
        // JACK's periods move the notes, and with them the moment at which a slow lead is
        // enough. A mode that is guessed while its degree is open may turn on less.
        let recorded = midi::read(&std::fs::read(&take).unwrap()).unwrap();
        let first = |p: &midi::Performance| {
            let struck = p
                .events
                .iter()
                .find(|e| matches!(e.event, Event::NoteOn { .. }));
            struck.unwrap().at.seconds()
        };
        let offset = first(&recorded) - first(&score);
        let mut written = plan(&analyze(home, &etude)["heard"]["regions"], "", "start");
        written.retain(|r| r.2 < PLAYED.seconds());
        let live = plan(&live, "here", "at");
        let centers = |mut p: Plan| {
            p.dedup_by_key(|r| r.0);
            p
        };
        let (live, written) = (centers(live), centers(written));
        let names = |p: &Plan| p.iter().map(|r| r.0).collect::<Vec<_>>();
        assert_eq!(names(&live), names(&written));
        assert!(live.len() >= 3, "{live:?}");
        for (live, written) in live.iter().zip(&written) {
            let away = (live.2 - offset - written.2).abs();
            assert!(
                away <= 3.0 * STEP.seconds() + 2.0 * PERIOD,
                "{live:?} {written:?}"
            );
        }
    });
}

/// Numbers that look random and are the same each time (xorshift).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

fn hears() -> Listener {
    let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
    let world = World {
        clock: Arc::new(SystemClock::start()),
        ports: midi::system("peregrinus"),
    };
    listen(world, Wanted::default(), monitor, &[], Keep::default()).unwrap()
}

#[test]
fn unplugged_while_playing() {
    with_server("unplugged_while_playing", true, |_| {
        let keyboard = Keyboard::new("keyboard");
        let mut listener = hears();
        let mut dice = Dice(0x7065_7265_6772_696e);
        let reading = |l: &Listener| l.feed.reading().unwrap();
        eventually("it connects", || {
            listener.feed.status().link == Link::Keyboard
        });
        let send = |bytes: [u8; 3]| keyboard.send.send(bytes).unwrap();
        let (mut short, mut struck) = (0, 0);
        let mut away = Vec::new();
        for round in 0..20 {
            // Some notes, the pedal in some rounds, some notes let go under it.
            let keys: Vec<u8> = (0..1 + dice.below(5))
                .map(|_| 36 + dice.below(50) as u8)
                .collect();
            let pedal = dice.below(3) > 0;
            if pedal {
                send([0xb0, 64, 127]);
            }
            for &key in &keys {
                send([0x90, key, 1 + dice.below(127) as u8]);
            }
            if pedal && dice.below(2) == 0 {
                send([0x80, keys[0], 0]);
            }
            eventually("the notes are heard", || {
                let r = reading(&listener);
                keys.iter().all(|k| r.sounding().contains(*k)) && r.damper == pedal
            });
            sleep(Duration::from_millis(dice.below(150)));

            let gap = if round % 2 == 0 {
                dice.below(30)
            } else {
                dice.below(900)
            };
            short += u32::from(gap < 30);
            keyboard.unplug();
            let gone = Instant::now();
            sleep(Duration::from_millis(gap));
            keyboard.plug();
            eventually("no note is stuck", || {
                let r = reading(&listener);
                r.sounding().is_empty() && !r.damper
            });
            eventually("it is back", || {
                listener.feed.status().link == Link::Keyboard
            });
            // A key of its own, struck until it is heard: connected, not only shown so.
            let key = 90 + (round % 20) as u8;
            let mut last = Instant::now() - Duration::from_secs(1);
            eventually("it plays again", || {
                if last.elapsed() > Duration::from_millis(50) {
                    last = Instant::now();
                    send([0x90, key, 64]);
                    struck += 1;
                }
                reading(&listener).held.contains(key)
            });
            away.push(gone.elapsed() - Duration::from_millis(gap));
            assert_eq!(
                reading(&listener).held,
                KeySet::of(key),
                "round {round}: nothing else"
            );
            send([0x80, key, 0]);
            eventually("it is let go", || reading(&listener).sounding().is_empty());
        }
        assert!(short >= 8, "{short} gaps were short");
        // Not each of them: the server may make us wait.
        away.sort_unstable();
        assert!(away[away.len() / 2] < Duration::from_secs(2), "{away:?}");
        let notice = listener.feed.status().notice;
        assert_eq!(notice.as_deref(), Some("keyboard:out is back"));
        assert!(
            listener.feed.history().chords().len() >= 20,
            "{struck} struck"
        );
    });
}

#[test]
fn the_server_is_killed_and_started_again() {
    with_server("the_server_is_killed_and_started_again", false, |name| {
        let folder = tempfile::tempdir().unwrap();
        let server = Server::start(name);
        let keyboard = Keyboard::new("keyboard");
        let mut program = Program::start(folder.path(), &["listen", "--format", "json"]);
        let client = keyboard.client.as_client();
        eventually("it connects", || {
            client
                .port_by_name("peregrinus:in")
                .is_some_and(|p| p.connected_count() == Ok(1))
        });
        sleep(Duration::from_millis(50));
        keyboard.send.send([0x90, 60, 64]).unwrap();
        let chords = |p: &Program| p.lines().iter().filter(|l| l["what"] == "chord").count();
        eventually("the note is heard", || chords(&program) == 1);

        server.kill();
        eventually("the end of the server is said", || {
            program.said("no JACK server answers: start one")
        });
        let before = program.worked();
        sleep(Duration::from_secs(2));
        let worked = program.worked() - before;
        assert!(
            worked < 0.4,
            "{worked} s of processor time in 2 s of waiting"
        );
        assert!(program.running());
        let silence = |p: &Program| p.lines().iter().any(|l| l["what"] == "silence");
        assert!(silence(&program), "the held note was released");

        // A client of a server that is gone must be closed before another is opened.
        drop(keyboard);
        let _server = Server::start(name);
        let keyboard = Keyboard::new("keyboard");
        eventually("it is back", || program.said("keyboard:out is back"));
        eventually("it plays again", || {
            keyboard.send.send([0x90, 64, 64]).unwrap();
            sleep(Duration::from_millis(50));
            chords(&program) > 1
        });
        program.stop();
        eventually("it says what it kept", || program.said("kept as "));
        let said = program.err.lock().unwrap().clone();
        // The server may be seen before the keyboard is there again; nothing else is said.
        let mut expected = vec!["no JACK server answers", "keyboard:out is back", "kept as "];
        if said.len() > 3 {
            expected.insert(1, "keyboard:out is not there yet; waiting for it");
        }
        assert_eq!(said.len(), expected.len(), "no noise: {said:?}");
        for (line, what) in said.iter().zip(expected) {
            assert!(line.contains(what), "{said:?}");
        }
    });
}

/// As the settings give them: the music goes on, a marker is set, and a key ends it all.
#[test]
fn jobs_from_the_piano_are_done() {
    with_server("jobs_from_the_piano_are_done", true, |_| {
        let folder = tempfile::tempdir().unwrap();
        let (take, settings) = (folder.path().join("t.mid"), folder.path().join("s.toml"));
        let jobs = "[jobs]\nquit = 'key C8'\nmarker = ['key A0', 'controller 67']\n\
                    inertia-heavier = 'controller 20'\n";
        std::fs::write(&settings, jobs).unwrap();
        let keyboard = Keyboard::new("keyboard");
        let paths = [&take, &settings].map(|p| p.to_str().unwrap());
        let args = ["listen", "--format", "json", "--record", paths[0]];
        let args = [&args[..], &["--settings", paths[1]]].concat();
        let mut program = Program::start(folder.path(), &args);
        let client = keyboard.client.as_client();
        eventually("it connects", || {
            client
                .port_by_name("peregrinus:in")
                .is_some_and(|p| p.connected_count() == Ok(1))
        });
        sleep(Duration::from_millis(50));
        let send = |bytes: [u8; 3]| keyboard.send.send(bytes).unwrap();
        send([0x90, 60, 80]);
        send([0xb0, 67, 127]);
        send([0xb0, 20, 127]);
        let names = |program: &Program, what: &str| -> Vec<String> {
            let lines = program.lines().into_iter().filter(|l| l["what"] == what);
            lines.map(|l| l["name"].as_str().unwrap().into()).collect()
        };
        eventually("a marker", || names(&program, "marker") == ["1"]);
        eventually("inertia", || program.said("inertia period"));
        send([0x90, 21, 1]);
        eventually("another", || names(&program, "marker") == ["1", "2"]);
        assert!(program.running());
        assert_eq!(names(&program, "chord"), ["C"]);
        send([0x90, 108, 1]);
        eventually("the end", || !program.running());
        let code = program.child.wait().unwrap().code();
        assert_eq!(code, Some(0), "{:?}", program.err);
        let read = midi::read(&std::fs::read(&take).unwrap()).unwrap();
        assert!(read.faults.is_empty());
        let notes = read.events.iter().filter_map(|e| match e.event {
            Event::NoteOn { key, .. } => Some(key),
            Event::Soft { .. } => Some(0),
            _ => None,
        });
        assert_eq!(notes.collect::<Vec<_>>(), [60]);
    });
}

#[test]
fn a_recording_is_whole_after_a_signal() {
    with_server("a_recording_is_whole_after_a_signal", true, |_| {
        let folder = tempfile::tempdir().unwrap();
        let take = folder.path().join("take.mid");
        let keyboard = Keyboard::new("keyboard");
        let record = take.to_str().unwrap();
        let mut program = Program::start(folder.path(), &["listen", "--record", record]);
        let client = keyboard.client.as_client();
        eventually("it connects", || {
            client
                .port_by_name("peregrinus:in")
                .is_some_and(|p| p.connected_count() == Ok(1))
        });
        sleep(Duration::from_millis(50));
        for key in [60, 64, 67] {
            keyboard.send.send([0x90, key, 80]).unwrap();
        }
        eventually("the chord is said", || {
            !program.out.lock().unwrap().is_empty()
        });
        sleep(Duration::from_millis(200));
        program.stop();
        let read = midi::read(&std::fs::read(&take).unwrap()).unwrap();
        assert!(read.faults.is_empty());
        let struck = read
            .events
            .iter()
            .filter(|e| matches!(e.event, Event::NoteOn { .. }));
        assert_eq!(struck.count(), 3);
    });
}

/// A teacher's and a pupil's: heard as one music, each with a track of its own.
#[test]
fn two_keyboards_play_together() {
    with_server("two_keyboards_play_together", true, |_| {
        let folder = tempfile::tempdir().unwrap();
        let take = folder.path().join("take.mid");
        let (teacher, pupil) = (Keyboard::new("teacher"), Keyboard::new("pupil"));
        let record = take.to_str().unwrap();
        let args = [
            "listen", "--port", "teach", "--port", "pup", "--format", "json",
        ];
        let mut program =
            Program::start(folder.path(), &[&args[..], &["--record", record]].concat());
        let connected = |keyboard: &Keyboard, name: &str| {
            let port = keyboard.client.as_client().port_by_name(name);
            port.is_some_and(|p| p.connected_count() == Ok(1))
        };
        eventually("both connect", || {
            connected(&teacher, "teacher:out") && connected(&pupil, "pupil:out")
        });
        sleep(Duration::from_millis(50));
        let names = |p: &Program| -> Vec<Value> {
            let chords = p.lines().into_iter().filter(|l| l["what"] == "chord");
            chords.map(|l| l["name"].clone()).collect()
        };
        for (keyboard, key) in [(&teacher, 48), (&pupil, 64), (&pupil, 67)] {
            keyboard.send.send([0x90, key, 80]).unwrap();
        }
        eventually("one chord of both", || {
            names(&program).contains(&"C".into())
        });
        pupil.unplug();
        eventually("its loss is said", || {
            program.said("pupil:out was unplugged")
        });
        for key in [53, 57] {
            teacher.send.send([0x90, key, 80]).unwrap();
        }
        eventually("what the teacher holds alone", || {
            names(&program).contains(&"F/C".into())
        });
        pupil.plug();
        eventually("it is back", || program.said("pupil:out is back"));
        program.stop();
        let bytes = std::fs::read(&take).unwrap();
        let smf = midly::Smf::parse(&bytes).unwrap();
        let tracks = smf.tracks.iter().filter_map(|track| {
            track.iter().find_map(|event| match event.kind {
                midly::TrackEventKind::Meta(midly::MetaMessage::TrackName(name)) => Some(name),
                _ => None,
            })
        });
        let tracks: Vec<&[u8]> = tracks.collect();
        assert_eq!(tracks, [&b"teacher:out"[..], b"pupil:out"]);
        let read = midi::read(&bytes).unwrap();
        // Each key once: a port that is plugged in again may hold what it held before, until its
        // client has cleared it.
        let struck = |n: usize| -> KeySet {
            let key = |e: &midi::Timed| match e.event {
                Event::NoteOn { channel, key, .. } if channel.keyboard().index() == n => Some(key),
                _ => None,
            };
            read.events.iter().filter_map(key).map(KeySet::of).collect()
        };
        let keys = |keys: &[u8]| keys.iter().map(|&key| KeySet::of(key)).collect::<KeySet>();
        assert_eq!(struck(0), keys(&[48, 53, 57]));
        assert_eq!(struck(1), keys(&[64, 67]));
    });
}

/// The program at a terminal, its screen read.
struct Screen {
    child: Box<dyn portable_pty::Child + Send + Sync>,
    keys: Box<dyn std::io::Write + Send>,
    _master: Box<dyn portable_pty::MasterPty + Send>,
    seen: Arc<Mutex<vt100::Parser>>,
}

impl Screen {
    fn start(home: &Path) -> Screen {
        use portable_pty::{CommandBuilder, PtySize, native_pty_system};
        let size = PtySize {
            rows: 24,
            cols: 80,
            ..PtySize::default()
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_peregrinus"));
        command.cwd(home);
        for (name, below) in [
            ("HOME", ""),
            ("XDG_CONFIG_HOME", "config"),
            ("XDG_STATE_HOME", "state"),
            ("XDG_DATA_HOME", "data"),
        ] {
            command.env(name, home.join(below));
        }
        command.env("TERM", "xterm-256color");
        let child = pair.slave.spawn_command(command).unwrap();
        let mut from = pair.master.try_clone_reader().unwrap();
        let keys = pair.master.take_writer().unwrap();
        let rows = 24.try_into().unwrap();
        let parser = vt100::Parser::new(rows, 80.try_into().unwrap(), 0);
        let seen = Arc::new(Mutex::new(parser));
        let into = Arc::clone(&seen);
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(n @ 1..) = from.read(&mut buffer) {
                into.lock().unwrap().process(&buffer[..n]);
            }
        });
        Screen {
            child,
            keys,
            _master: pair.master,
            seen,
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    fn shows(&self, what: &str) -> bool {
        self.seen.lock().unwrap().screen().contents().contains(what)
    }
}

/// A note every eight milliseconds, and beside it somebody types: opens the list, looks for
/// something, opens a sitting, plays it, comes back. Every note is in the file.
#[test]
fn typing_into_the_list_costs_no_note() {
    with_server("typing_into_the_list_costs_no_note", true, |_| {
        let folder = tempfile::tempdir().unwrap();
        let home = folder.path();
        let etude = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
        let imported = program(home).args(["sittings", "import", etude]).output();
        assert!(imported.unwrap().status.success());
        let keyboard = Keyboard::new("keyboard");
        let mut screen = Screen::start(home);
        let client = keyboard.client.as_client();
        eventually("it connects", || {
            client
                .port_by_name("peregrinus:in")
                .is_some_and(|p| p.connected_count() == Ok(1))
        });
        eventually("the screen", || screen.shows("connected"));
        let mut sent = Vec::new();
        let mut play = |notes: u8| {
            for i in 0..notes {
                let key = 36 + (sent.len() * 7 % 49) as u8 + i % 2;
                keyboard.send.send([0x90, key, 80]).unwrap();
                sleep(Duration::from_millis(4));
                keyboard.send.send([0x80, key, 0]).unwrap();
                sleep(Duration::from_millis(4));
                sent.push(key);
            }
        };
        play(20);
        screen.press("L");
        for keys in "ferry evening 2026".chars().map(String::from) {
            screen.press(&keys);
            play(5);
        }
        for keys in ["\x1b[6~", "\x1b[F", "\x1b[H"]
            .into_iter()
            .chain(["\x7f"; 13])
        {
            screen.press(keys);
            play(5);
        }
        eventually("what is typed", || {
            screen.shows("find: ferry") && screen.shows("1 of 1 sitting,")
        });
        screen.press("\r");
        play(60);
        eventually("the sitting", || {
            screen.shows("sitting of ") && screen.shows("1:02/1:02 ended")
        });
        // That what is played meanwhile is kept is on the screen.
        assert!(screen.shows("● sitting"));
        for keys in [" ", ",", "z", "+", "m", "q"] {
            screen.press(keys);
            play(20);
        }
        eventually("what is played now", || {
            screen.shows("connected") && !screen.shows("sitting of ")
        });
        play(20);
        sleep(Duration::from_millis(100));
        screen.press("q");
        eventually("the end", || screen.child.try_wait().unwrap().is_some());

        let sittings = home.join("data/peregrinus/sittings");
        let files = std::fs::read_dir(sittings)
            .unwrap()
            .map(|f| f.unwrap().path());
        let struck = |path: PathBuf| -> Vec<u8> {
            let read = midi::read(&std::fs::read(path).unwrap()).unwrap();
            assert!(read.faults.is_empty());
            let keys = read.events.iter().filter_map(|e| match e.event {
                Event::NoteOn { key, .. } => Some(key),
                _ => None,
            });
            keys.collect()
        };
        let midis = files.filter(|f| f.extension().is_some_and(|e| e == "mid"));
        let all: Vec<Vec<u8>> = midis.map(struck).collect();
        assert_eq!(all.len(), 2);
        assert!(sent.len() > 300);
        assert!(all.contains(&sent), "{} notes were struck", sent.len());
    });
}
