//! The program in a pseudo-terminal, as a player has it before him: keys go in, bytes come out,
//! and a terminal of our own says what is to be seen.
#![cfg(unix)]

use std::io::{Read, Write};
use std::num::NonZeroU16;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, SlavePty, native_pty_system};
use rustix::process::{Pid, Signal, kill_process};

const BIN: &str = env!("CARGO_BIN_EXE_peregrinus");
/// How the étude that plays without a keyboard is called on the screen.
const DEMO: &str = "One Hearth";
/// What ALSA's and JACK's libraries begin their complaints with.
const NOISE: [&str; 5] = [
    "ALSA lib",
    "annot connect to server",
    "jack server is not",
    "JackShm",
    "Cannot read socket",
];
const ENTER: &[u8] = b"\x1b[?1049h";
const LEAVE: &[u8] = b"\x1b[?1049l";
/// The mouse is told, in the form of SGR; and no longer.
const MOUSE: &[u8] = b"\x1b[?1000h\x1b[?1006h";
const NO_MOUSE: &[u8] = b"\x1b[?1006l\x1b[?1000l";

struct Seen {
    terminal: vt100::Parser,
    bytes: Vec<u8>,
}

struct Term {
    master: Box<dyn MasterPty + Send>,
    /// Kept, so that the line's settings outlive the program.
    slave: Box<dyn SlavePty + Send>,
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    seen: Arc<Mutex<Seen>>,
    reader: JoinHandle<()>,
    settings: String,
    home: tempfile::TempDir,
}

/// What is left when the program has ended.
struct End {
    code: u32,
    /// The main screen, without empty lines.
    screen: String,
    bytes: Vec<u8>,
}

fn size(cols: u16, rows: u16) -> PtySize {
    PtySize {
        rows,
        cols,
        ..PtySize::default()
    }
}

fn cells(n: u16) -> NonZeroU16 {
    NonZeroU16::new(n).unwrap()
}

fn command(program: &str, home: &Path) -> CommandBuilder {
    let config = home.join("config/peregrinus");
    std::fs::create_dir_all(&config).unwrap();
    // Whatever is connected to this machine, the demo plays.
    let text = "[keyboard]\nport = \"none that is there\"\n";
    std::fs::write(config.join("settings.toml"), text).unwrap();
    let mut command = CommandBuilder::new(program);
    command.cwd(home);
    command.env("HOME", home);
    command.env("XDG_CONFIG_HOME", home.join("config"));
    command.env("XDG_STATE_HOME", home.join("state"));
    command.env("XDG_DATA_HOME", home.join("data"));
    command.env("TERM", "xterm-256color");
    command.env("JACK_DEFAULT_SERVER", "peregrinus-none-of-this-name");
    command.env("JACK_NO_START_SERVER", "1");
    command.env_remove("COLORTERM");
    command.env_remove("NO_COLOR");
    command.env_remove("PEREGRINUS_PANIC_AT");
    command
}

impl Term {
    fn start(args: &[&str]) -> Term {
        let home = tempfile::tempdir().unwrap();
        let mut command = command(BIN, home.path());
        command.args(args);
        Term::run(command, home)
    }

    fn run(command: CommandBuilder, home: tempfile::TempDir) -> Term {
        let pair = native_pty_system().openpty(size(80, 24)).unwrap();
        let settings = format!("{:?}", pair.master.get_termios().unwrap());
        let mut from = pair.master.try_clone_reader().unwrap();
        let keys = pair.master.take_writer().unwrap();
        let seen = Arc::new(Mutex::new(Seen {
            terminal: vt100::Parser::new(cells(24), cells(80), 0),
            bytes: Vec::new(),
        }));
        let child = pair.slave.spawn_command(command).unwrap();
        let into = Arc::clone(&seen);
        let reader = std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            // At the end Linux gives an error, others nothing.
            while let Ok(n @ 1..) = from.read(&mut buffer) {
                let mut seen = into.lock().unwrap();
                seen.terminal.process(&buffer[..n]);
                seen.bytes.extend_from_slice(&buffer[..n]);
            }
        });
        Term {
            master: pair.master,
            slave: pair.slave,
            child,
            keys,
            seen,
            reader,
            settings,
            home,
        }
    }

    /// The demo, running.
    fn demo() -> Term {
        let term = Term::start(&[]);
        term.see("the demo plays", |t| {
            t.contains(DEMO) && t.contains("playing")
        });
        term
    }

    fn press(&mut self, keys: &str) {
        self.send(keys.as_bytes());
    }

    fn send(&mut self, bytes: &[u8]) {
        self.keys.write_all(bytes).unwrap();
        self.keys.flush().unwrap();
    }

    fn text(&self) -> String {
        self.seen.lock().unwrap().terminal.screen().contents()
    }

    /// The colour behind the upper left letter.
    fn ground(&self) -> Option<vt100::Color> {
        let seen = self.seen.lock().unwrap();
        Some(seen.terminal.screen().cell(0, 0)?.bgcolor())
    }

    fn full(&self) -> bool {
        let seen = self.seen.lock().unwrap();
        seen.terminal.screen().alternate_screen()
    }

    fn written(&self) -> usize {
        self.seen.lock().unwrap().bytes.len()
    }

    fn settings(&self) -> String {
        format!("{:?}", self.master.get_termios().unwrap())
    }

    /// Waits until the screen is so.
    fn see(&self, what: &str, check: impl Fn(&str) -> bool) {
        self.wait(what, || check(&self.text()));
    }

    fn wait(&self, what: &str, mut check: impl FnMut() -> bool) {
        let start = Instant::now();
        while !check() {
            let late = start.elapsed() > Duration::from_secs(10);
            assert!(!late, "{what}; the screen:\n{}", self.text());
            sleep(Duration::from_millis(10));
        }
    }

    /// Where the demo stands, in seconds, from the status line: `0:31/1:22`.
    fn position(&self) -> u64 {
        let text = self.text();
        let seconds = |clock: &str| {
            let (minutes, seconds) = clock.split_once(':')?;
            Some(minutes.parse::<u64>().ok()? * 60 + seconds.parse::<u64>().ok()?)
        };
        let mut clocks = text
            .split_whitespace()
            .filter_map(|word| word.split_once('/'))
            .filter_map(|(at, all)| seconds(all).and(seconds(at)));
        clocks.next().expect(&text)
    }

    fn signal(&self, signal: Signal) {
        let pid = self.child.process_id().unwrap();
        kill_process(Pid::from_raw(pid as i32).unwrap(), signal).unwrap();
    }

    fn resize(&self, cols: u16, rows: u16) {
        let mut seen = self.seen.lock().unwrap();
        seen.terminal.set_size(cells(rows), cells(cols));
        drop(seen);
        self.master.resize(size(cols, rows)).unwrap();
    }

    /// Whether it ends in so many milliseconds.
    fn ends_within(&mut self, ms: u64) -> bool {
        let start = Instant::now();
        while start.elapsed() < Duration::from_millis(ms) {
            if self.child.try_wait().unwrap().is_some() {
                return true;
            }
            sleep(Duration::from_millis(10));
        }
        false
    }

    /// Waits for its own end; the terminal must be as it was.
    fn end(self) -> End {
        let (end, signal) = self.over();
        assert_eq!(signal, None, "it ended by itself");
        end
    }

    /// Waits for the end, its own or by a signal, whose name is given; the terminal must be
    /// as it was.
    fn over(mut self) -> (End, Option<String>) {
        let mut status = None;
        let start = Instant::now();
        while status.is_none() {
            let late = start.elapsed() > Duration::from_secs(10);
            assert!(!late, "it does not end; the screen:\n{}", self.text());
            sleep(Duration::from_millis(10));
            status = self.child.try_wait().unwrap();
        }
        let status = status.unwrap();
        assert_eq!(self.settings(), self.settings, "the line's settings");
        drop(self.slave);
        self.reader.join().unwrap();
        let seen = self.seen.lock().unwrap();
        let screen = seen.terminal.screen();
        assert!(!screen.alternate_screen(), "the main screen is back");
        assert!(!screen.hide_cursor(), "the cursor is back");
        let plain = (
            screen.fgcolor(),
            screen.bgcolor(),
            screen.bold(),
            screen.inverse(),
        );
        let default = vt100::Color::Default;
        assert_eq!(plain, (default, default, false, false), "plain letters");
        let (entered, left) = (count(&seen.bytes, ENTER), count(&seen.bytes, LEAVE));
        assert_eq!(entered, left, "as often left as entered");
        let (told, untold) = (count(&seen.bytes, MOUSE), count(&seen.bytes, NO_MOUSE));
        assert_eq!(told, untold, "the mouse is the shell's again");
        let mode = screen.mouse_protocol_mode();
        assert_eq!(mode, vt100::MouseProtocolMode::None);
        let all = String::from_utf8_lossy(&seen.bytes).into_owned();
        for noise in NOISE {
            assert!(!all.contains(noise), "{noise:?} reached the terminal");
        }
        let lines: Vec<_> = screen
            .contents()
            .lines()
            .map(str::trim_end)
            .map(String::from)
            .collect();
        let end = End {
            code: status.exit_code(),
            screen: lines
                .into_iter()
                .filter(|l| !l.is_empty())
                .collect::<Vec<_>>()
                .join("\n"),
            bytes: seen.bytes.clone(),
        };
        (end, status.signal().map(str::to_owned))
    }
}

fn count(bytes: &[u8], what: &[u8]) -> usize {
    bytes.windows(what.len()).filter(|w| *w == what).count()
}

#[test]
fn the_demo_plays_and_its_keys_work() {
    let mut term = Term::demo();
    let during = term.settings();
    assert_ne!(during, term.settings, "keys are read raw");
    assert!(term.full());
    assert!(term.seen.lock().unwrap().terminal.screen().hide_cursor());
    term.see("how to connect a keyboard", |t| t.contains("demo: "));

    // Help has two pages here; it opens, and closes in two ways.
    for close in ["??", "\x1b"] {
        term.press("?");
        term.see("help", |t| {
            t.contains("mark the phrase") && t.contains("Take breaks.")
        });
        term.press(close);
        term.see("no help", |t| !t.contains("Take breaks."));
    }

    // Inertia, to both ends and no further.
    for (keys, stop) in [
        ("]", "···●· period"),
        ("]]]", "····● section"),
        ("[[[[[[[", "●···· chord"),
        ("]]", "··●·· phrase"),
    ] {
        term.press(keys);
        term.see(stop, |t| t.contains(stop));
    }

    // Pause stops the transport, once more lets it go on.
    term.press(" ");
    term.see("it pauses", |t| t.contains("paused"));
    let at = term.position();
    sleep(Duration::from_millis(1300));
    assert_eq!(term.position(), at, "it stands");
    term.press("\x1b[C\x1b[C\x1b[C");
    term.wait("fifteen seconds on", || term.position() == at + 15);
    term.press("\x1b[D");
    term.wait("five seconds back", || term.position() == at + 10);
    term.see("the étude's first tonality in the history", |t| {
        t.contains("D Dorian")
    });
    for _ in 0..6 {
        term.press("\x1b[D");
    }
    term.wait("not before the beginning", || term.position() == 0);
    term.press("\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C");
    term.wait("half a minute", || term.position() == 30);

    // A marker, where it stands.
    assert!(!term.text().contains("▾1"));
    term.press("m");
    term.see("a marker", |t| t.contains("mark") && t.contains("▾1"));

    // What decides, on and off, while the music stands.
    assert!(!term.text().contains(" heard  "));
    term.press("e");
    term.see("what decides", |t| {
        let mut lines = t.lines();
        lines.any(|l| l.contains(" heard  ") && l.contains("█") && l.contains(" +"))
    });
    term.press("e");
    term.see("it is gone", |t| !t.contains(" heard  "));

    // The history: nearer, farther, back, and following again.
    let span = |t: &str, span: &str| t.lines().any(|l| l.trim_start().starts_with(span));
    term.see("a minute", |t| span(t, "1min"));
    term.press("z");
    term.see("half a minute", |t| span(t, "30s"));
    term.press("z");
    term.see("twenty seconds", |t| span(t, "20s"));
    term.press(",");
    term.see("scrolled back", |t| span(t, "◂20s"));
    term.press(".");
    term.see("forward again", |t| span(t, "20s"));
    term.press(",");
    term.see("scrolled back", |t| span(t, "◂20s"));
    term.press("\x1b[F");
    term.see("following", |t| span(t, "20s"));
    // A minute would be longer than what was heard.
    term.press("ZZ");
    term.see("all of it", |t| span(t, "all"));

    // Pace and repeat.
    term.press("+");
    term.see("faster", |t| t.contains("×1.5"));
    term.press("--");
    term.see("slower", |t| t.contains("×0.75"));
    term.press("=");
    term.see("as written", |t| t.contains("paused") && !t.contains('×'));
    term.press("r");
    term.see("the first point", |t| t.contains("repeat from 0:30"));
    term.press("\x1b[C");
    term.wait("on", || term.position() == 35);
    term.press("r");
    term.see("both points", |t| t.contains("repeat 0:30–0:35"));
    term.press("r");
    term.see("no more", |t| !t.contains("repeat"));

    // Colours: at last there are none, and it is still all there.
    let painted = term.ground();
    assert!(
        matches!(painted, Some(vt100::Color::Idx(16..))),
        "{painted:?}"
    );
    term.press("ccc");
    let plain = || term.ground() == Some(vt100::Color::Default);
    term.wait("no ground", plain);
    // What was still painted on the way must not count.
    sleep(Duration::from_millis(300));
    let before = term.written();
    term.press("\x0c");
    term.wait("drawn anew", || term.written() > before + 500);
    sleep(Duration::from_millis(200));
    let anew = term.seen.lock().unwrap().bytes[before..].to_vec();
    assert_eq!(count(&anew, b"\x1b[38;"), 0, "no colours");
    assert_eq!(count(&anew, b"\x1b[48;"), 0, "no ground");
    assert_eq!(term.ground(), Some(vt100::Color::Default));
    term.see("all there", |t| t.contains(DEMO));

    term.press(" ");
    term.see("it plays", |t| t.contains("playing"));
    term.wait("on it goes", || term.position() > 35);
    term.press("q");
    let end = term.end();
    assert_eq!(
        (end.code, end.screen.as_str()),
        (0, ""),
        "nothing is left behind"
    );
}

/// NO_COLOR takes every colour away, unless a palette is asked for.
#[test]
fn a_palette_asked_for_overrides_no_color() {
    for (args, painted) in [(&[][..], false), (&["--palette", "light"], true)] {
        let home = tempfile::tempdir().unwrap();
        let mut command = command(BIN, home.path());
        command.args(args);
        command.env("NO_COLOR", "1");
        let mut term = Term::run(command, home);
        term.see("the demo", |t| t.contains(DEMO) && t.contains("? help"));
        let ground = term.ground();
        let own = matches!(ground, Some(vt100::Color::Idx(16..)));
        assert_eq!(own, painted, "{args:?}: {ground:?}");
        let colours = count(&term.seen.lock().unwrap().bytes, b"\x1b[38;");
        assert_eq!(colours > 0, painted, "{args:?}");
        term.press("q");
        assert_eq!(term.end().code, 0);
    }
}

#[test]
fn sizes_down_to_one_cell_and_back() {
    let mut term = Term::demo();
    let sizes = [
        (120, 36, "playing"),
        (240, 67, "playing"),
        (60, 18, "playing"),
        (59, 18, "needs 60×18"),
        (40, 12, "needs 60×18"),
        (20, 5, "needs 60×18"),
        (8, 3, "60×18"),
        (3, 2, "!"),
        (1, 1, "!"),
        (200, 1, "needs 60×18"),
        (1, 60, "!"),
        (80, 24, "playing"),
    ];
    for (cols, rows, text) in sizes {
        term.resize(cols, rows);
        // Help over it, too, as many pages as it has: closed before the next size.
        let start = Instant::now();
        while !term.text().contains(text) {
            let late = start.elapsed() > Duration::from_secs(10);
            assert!(!late, "{cols}x{rows}: {text}; the screen:\n{}", term.text());
            sleep(Duration::from_millis(100));
            term.press("\x1b");
        }
        term.press("?");
        sleep(Duration::from_millis(100));
        term.press("\x1b");
        sleep(Duration::from_millis(100));
    }
    // Faster than anybody pulls a window.
    for i in 0..40 {
        term.resize(1 + i * 37 % 150, 1 + i * 17 % 50);
    }
    term.resize(80, 24);
    term.see("all there", |t| {
        t.contains(DEMO) && t.contains("playing") && t.contains("demo: ") && t.contains("? help")
    });
    term.press("q");
    assert_eq!(term.end().code, 0);
}

#[test]
fn every_end_puts_the_terminal_back() {
    let etude = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
    let ways: [(&[&str], Result<&str, Signal>, u32); 6] = [
        (&["replay", etude], Ok("q"), 0),
        (&["listen"], Ok("\x03"), 0),
        (&[], Err(Signal::TERM), 143),
        (&[], Err(Signal::HUP), 129),
        (&["listen"], Err(Signal::TERM), 143),
        (&["replay", etude], Err(Signal::INT), 130),
    ];
    for (args, way, code) in ways {
        let mut term = Term::start(args);
        term.see("the screen", |t| t.contains("? help"));
        match way {
            Ok(key) => term.press(key),
            Err(signal) => term.signal(signal),
        }
        let end = term.end();
        assert_eq!(
            (end.code, end.screen.as_str()),
            (code, ""),
            "{args:?} {way:?}"
        );
        assert_eq!(count(&end.bytes, ENTER), 1);
        assert_eq!(count(&end.bytes, MOUSE), 1);
    }
}

/// A signal that ends a program where it stands does so, once the terminal is put back.
#[test]
fn signals_that_kill_find_the_terminal_put_back() {
    for (signal, name) in [
        (Signal::QUIT, "Quit"),
        (Signal::USR1, "User defined signal 1"),
        (Signal::USR2, "User defined signal 2"),
        (Signal::ALARM, "Alarm clock"),
    ] {
        let term = Term::start(&["listen"]);
        term.see("the screen", |t| t.contains("? help"));
        term.signal(signal);
        let (end, by) = term.over();
        assert!(by.is_some_and(|by| by.contains(name)), "{name}");
        assert_eq!((end.screen.as_str(), count(&end.bytes, LEAVE)), ("", 1));
    }
}

/// A sequence that was broken off, as a line that is cut or a mouse that is let go leaves it
/// behind: it is given up, and Ctrl-C does not even wait for that.
#[test]
fn no_broken_sequence_makes_the_keys_dead() {
    let broken: [&[u8]; 4] = [
        b"\x1b[",
        b"\x1b[<0;1;",
        b"\x1b[200~pasted without an end",
        b"\xc3",
    ];
    for bytes in broken {
        for (key, wait) in [(&b"\x03"[..], 0), (b"q", 200)] {
            let mut term = Term::start(&["listen"]);
            term.see("the screen", |t| t.contains("? help"));
            term.send(bytes);
            // On a busy machine a key may come so soon after it as to belong to it; the next
            // one, later, does not.
            for _ in 0..3 {
                sleep(Duration::from_millis(wait));
                term.send(key);
                if term.ends_within(1_000) {
                    break;
                }
            }
            assert_eq!(term.end().code, 0, "{bytes:?} {key:?}");
        }
    }
}

/// Bytes of a key that come one after the other are one key still.
#[test]
fn a_key_may_come_in_pieces() {
    let mut term = Term::demo();
    term.press(" ");
    term.see("it pauses", |t| t.contains("paused"));
    let at = term.position();
    for byte in b"\x1b[C" {
        term.send(&[*byte]);
        sleep(Duration::from_millis(10));
    }
    term.wait("five seconds on", || term.position() == at + 5);
    // Alone it is Esc after a moment.
    term.press("?");
    term.see("help", |t| t.contains("Take breaks."));
    term.press("\x1b");
    term.see("no help", |t| !t.contains("Take breaks."));
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// A terminal may say that it is as large as it likes.
#[test]
fn a_window_beyond_measure_is_drawn_in_part() {
    let mut term = Term::demo();
    term.press(" ");
    term.see("it pauses", |t| t.contains("paused"));
    let before = term.written();
    term.master.resize(size(u16::MAX, u16::MAX)).unwrap();
    let drawn = |what: &[u8]| count(&term.seen.lock().unwrap().bytes[before..], what);
    term.wait("the last row that is drawn", || drawn(b"\x1b[500;") > 0);
    term.resize(80, 24);
    term.see("all there", |t| t.contains(DEMO) && t.contains("paused"));
    assert_eq!(drawn(b"\x1b[501;"), 0, "beyond the part that is drawn");
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// The window is closed: nobody reads any longer, and nothing may be left running.
#[test]
fn a_terminal_that_goes_away_ends_it() {
    let Term {
        master,
        slave,
        mut child,
        keys,
        reader,
        home,
        ..
    } = Term::demo();
    drop((master, slave, keys));
    // The reader's copy is the last that keeps the terminal: ended by a hang-up from here.
    let pid = Pid::from_raw(child.process_id().unwrap() as i32).unwrap();
    kill_process(pid, Signal::HUP).unwrap();
    let start = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        assert!(start.elapsed() < Duration::from_secs(4), "it goes on");
        sleep(Duration::from_millis(10));
    };
    assert_eq!(status.exit_code(), 129);
    reader.join().unwrap();
    drop(home);
}

/// A terminal that takes no more bytes, as one that is stopped or hangs: the program ends all
/// the same, though nothing can be restored.
#[test]
fn a_terminal_that_takes_nothing_keeps_nobody() {
    let home = tempfile::tempdir().unwrap();
    let pair = native_pty_system().openpty(size(80, 24)).unwrap();
    let mut child = pair.slave.spawn_command(command(BIN, home.path())).unwrap();
    // Nobody reads: drawn again and again whole, the pictures soon fill the line.
    for width in (80..2000).step_by(20) {
        pair.master.resize(size(width % 200 + 80, 60)).unwrap();
        sleep(Duration::from_millis(20));
    }
    let pid = Pid::from_raw(child.process_id().unwrap() as i32).unwrap();
    kill_process(pid, Signal::TERM).unwrap();
    let start = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        assert!(start.elapsed() < Duration::from_secs(20), "it goes on");
        sleep(Duration::from_millis(10));
    };
    assert_eq!(status.signal(), Some("Terminated"));
}

/// What is noted goes to a file; where a pipe has its name, nobody waits for its other end.
#[test]
fn a_log_that_is_no_file_is_done_without() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("state/peregrinus");
    std::fs::create_dir_all(&folder).unwrap();
    let made = std::process::Command::new("mkfifo")
        .arg(folder.join("log"))
        .status();
    assert!(made.unwrap().success());
    let mut term = Term::run(command(BIN, home.path()), home);
    term.see("the demo plays", |t| t.contains(DEMO));
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// Through a shell with job control, which alone can wake a job again.
#[test]
fn suspended_and_resumed() {
    let home = tempfile::tempdir().unwrap();
    let mut command = command("/bin/sh", home.path());
    let script = format!(
        "'{BIN}'; for n in 1 2; do echo \"stopped $n\"; read -r line; fg; done; echo \"ended $?\""
    );
    command.args(["-m", "-c", &script]);
    let mut term = Term::run(command, home);
    term.see("the demo plays", |t| {
        t.contains(DEMO) && t.contains("playing")
    });
    for round in 1..=2 {
        term.press("\x1a");
        let stopped = format!("stopped {round}");
        term.see("the shell is there", |t| t.contains(&stopped));
        assert!(!term.full(), "round {round}");
        assert!(!term.seen.lock().unwrap().terminal.screen().hide_cursor());
        assert_eq!(term.settings(), term.settings, "the line's settings");
        let still = term.written();
        sleep(Duration::from_millis(1500));
        assert_eq!(term.written(), still, "nothing is drawn over the shell");
        term.press("\n");
        term.see("drawn again", |t| t.contains(DEMO) && t.contains("? help"));
        assert!(term.full());
    }
    // The keys are read raw again.
    term.press("?");
    term.see("help", |t| t.contains("Take breaks."));
    term.press("?q");
    let end = term.end();
    assert!(end.screen.contains("ended 0"), "{}", end.screen);
    assert!(!end.screen.contains(DEMO), "{}", end.screen);
    assert_eq!(count(&end.bytes, ENTER), 3);
    assert_eq!(count(&end.bytes, MOUSE), 3);
}

/// Stopped from outside without warning, and the terminal used by another meanwhile.
#[test]
fn continued_after_a_stop_that_was_not_ours() {
    let mut term = Term::demo();
    term.signal(Signal::STOP);
    sleep(Duration::from_millis(300));
    let before = term.written();
    term.signal(Signal::CONT);
    term.wait("the screen is entered anew", || {
        count(&term.seen.lock().unwrap().bytes[before..], ENTER) == 1
    });
    term.see("all there", |t| t.contains(DEMO) && t.contains("? help"));
    term.press("q");
    assert_eq!(term.end().code, 0);
}

#[test]
fn a_panic_in_the_engine_is_readable() {
    let home = tempfile::tempdir().unwrap();
    let mut command = command(BIN, home.path());
    command.env("PEREGRINUS_PANIC_AT", "1.5");
    command.env("RUST_BACKTRACE", "0");
    let end = Term::run(command, home).end();
    assert_eq!(end.code, 1);
    let text = &end.screen;
    assert!(text.contains("thread 'engine'"), "{text}");
    assert!(text.contains("provoked by PEREGRINUS_PANIC_AT"), "{text}");
    assert!(!text.contains(DEMO), "{text}");
    assert_eq!((count(&end.bytes, ENTER), count(&end.bytes, LEAVE)), (1, 1));
    assert_eq!(count(&end.bytes, NO_MOUSE), 1);
}

#[test]
fn nothing_is_drawn_while_nothing_changes() {
    let mut term = Term::demo();
    term.press(" ");
    term.see("it pauses", |t| t.contains("paused"));
    sleep(Duration::from_millis(500));
    let before = term.written();
    sleep(Duration::from_secs(3));
    assert_eq!(
        term.written() - before,
        0,
        "bytes in three seconds of pause"
    );
    // With no keyboard and no demo, nothing to tell either.
    term.press("q");
    assert_eq!(term.end().code, 0);
    let mut term = Term::start(&["listen"]);
    term.see("the screen", |t| t.contains("? help"));
    sleep(Duration::from_millis(500));
    let before = term.written();
    sleep(Duration::from_secs(3));
    assert_eq!(
        term.written() - before,
        0,
        "bytes in three seconds of waiting"
    );
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// The wheel over the history, with Shift and Control; a click there, and on the help. As xterm
/// reports them: the button, 4 more with Shift, 16 with Control, then column and row from 1.
#[test]
fn the_mouse_works_and_may_be_left_alone() {
    let mut term = Term::demo();
    let shown = |t: &str, span: &str| t.lines().position(|l| l.trim_start().starts_with(span));
    term.press(" ");
    term.see("it pauses", |t| t.contains("paused"));
    term.press("\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C\x1b[C");
    term.wait("almost a minute on", || term.position() >= 50);
    term.see("the history", |t| shown(t, "1min").is_some());
    let row = 1 + shown(&term.text(), "1min").unwrap();
    let point = |term: &mut Term, button: u8, column: u16, row: usize| {
        term.press(&format!("\x1b[<{button};{column};{row}M"));
        // The wheel is never let go.
        if button < 64 {
            term.press(&format!("\x1b[<{button};{column};{row}m"));
        }
    };
    let (left, up, down, shift, control) = (0, 64, 65, 4, 16);
    point(&mut term, up + shift, 30, row);
    term.see("nearer", |t| shown(t, "30s").is_some());
    point(&mut term, up + control, 30, row);
    term.see("nearer", |t| shown(t, "20s").is_some());
    point(&mut term, down + control, 30, row + 1);
    term.see("farther", |t| shown(t, "30s").is_some());
    point(&mut term, up, 30, row);
    term.see("back", |t| shown(t, "◂30s").is_some());
    point(&mut term, down, 30, row);
    term.see("forward", |t| shown(t, "30s").is_some());
    // Elsewhere it does nothing.
    let at = term.position();
    point(&mut term, up, 30, 1);
    point(&mut term, left, 30, 1);
    // A moment is chosen, and the file goes there: the middle of half a minute.
    point(&mut term, left, 8 + 36, row);
    term.see("the moment", |t| t.contains('┃'));
    term.press("\r");
    term.wait("it goes there", || {
        (at - 18..at - 11).contains(&term.position())
    });
    // The right edge leads back to the present.
    point(&mut term, left, 79, row);
    term.see("following", |t| {
        shown(t, "30s").is_some() && !t.contains('┃')
    });
    term.press("?");
    term.see("help", |t| t.contains("these keys, on and off"));
    point(&mut term, left, 40, 12);
    term.see("no help", |t| !t.contains("these keys, on and off"));

    // Left alone while it runs, and wanted again.
    let file = term.home.path().join("config/peregrinus/settings.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{text}[screen]\nmouse = false\n")).unwrap();
    let (told, untold) = (
        |t: &Term| count(&t.seen.lock().unwrap().bytes, MOUSE),
        |t: &Term| count(&t.seen.lock().unwrap().bytes, NO_MOUSE),
    );
    term.wait("left alone", || (told(&term), untold(&term)) == (1, 1));
    std::fs::write(&file, text).unwrap();
    term.wait("told again", || (told(&term), untold(&term)) == (2, 1));
    term.press("q");
    assert_eq!(term.end().code, 0);

    let home = tempfile::tempdir().unwrap();
    let named = home.path().join("named.toml");
    std::fs::write(&named, "[screen]\nmouse = false\n").unwrap();
    let mut term = Term::start(&["listen", "--settings", named.to_str().unwrap()]);
    term.see("the screen", |t| t.contains("? help"));
    term.press("q");
    let end = term.end();
    assert_eq!((end.code, count(&end.bytes, MOUSE)), (0, 0));
}

/// For a screen reader: at a terminal too a line for each change, nothing drawn, and not
/// one escape sequence.
#[test]
fn plain_lines_at_a_terminal() {
    let etude = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
    let plain = |bytes: &[u8]| {
        let control = |b: &u8| *b < b' ' && *b != b'\r' && *b != b'\n';
        let wrong = bytes.iter().position(|b| control(b) || !b.is_ascii());
        assert_eq!(wrong, None, "{}", String::from_utf8_lossy(bytes));
    };
    // A file to its end, as it is asked for before or behind the command.
    for args in [
        &["replay", etude, "--speed", "4", "--from", "40", "--lines"][..],
        &["--lines", "replay", etude, "--speed", "4", "--from", "40"],
    ] {
        let term = Term::start(args);
        // Wide enough that no line is broken.
        term.resize(200, 200);
        let end = term.end();
        assert_eq!(end.code, 0);
        plain(&end.bytes);
        let lines: Vec<&str> = end.screen.lines().collect();
        assert_eq!(lines[0], "peregrinus: playing 05_ferry_lamp.mid");
        for begin in ["now ", "chord ", "silence"] {
            let said = lines.iter().any(|l| l.starts_with(begin));
            assert!(said, "{begin}: {}", end.screen);
        }
    }
    // The demo while there is no keyboard, as the settings want it, until Control-C.
    let home = tempfile::tempdir().unwrap();
    let named = home.path().join("named.toml");
    let text = "[keyboard]\nport = 'none that is there'\n[screen]\nlines = true\n";
    std::fs::write(&named, text).unwrap();
    let named = named.to_str().unwrap();
    let mut term = Term::start(&["--settings", named]);
    term.see("the first tonality", |t| {
        t.contains("playing One Hearth, an") && t.contains("chord ") && t.contains("now D")
    });
    let during = term.settings();
    assert_eq!(during, term.settings, "the terminal's line is left alone");
    term.press("\x03");
    let end = term.end();
    assert_eq!(end.code, 0);
    assert!(end.screen.contains("demo: "), "{}", end.screen);
    assert_eq!(count(&end.bytes, b"\x1b"), 0);
    let mut term = Term::start(&["listen", "--settings", named]);
    term.see("why nothing is heard", |t| t.contains("peregrinus: "));
    term.press("\x03");
    let end = term.end();
    assert_eq!(end.code, 0);
    plain(&end.bytes);
}

/// What libraries print while the screen is ours is kept for whoever asks.
#[test]
fn the_log_is_where_it_is_said() {
    let mut term = Term::demo();
    let log: PathBuf = term.home.path().join("state/peregrinus/log");
    term.wait("the log is there", || log.is_file());
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// A home that outlives the program, for what is remembered from one start to the next.
fn at_home(home: &Path, args: &[&str]) -> Term {
    let mut command = command(BIN, home);
    command.args(args);
    Term::run(command, tempfile::tempdir().unwrap())
}

/// The settings change under the running monitor: what is right counts, what is wrong is
/// told until it is mended.
/// Every key of the help, one after the other and once more, in each way: nothing ends it
/// but the last.
#[test]
fn every_key_in_every_way() {
    let mut term = Term::demo();
    term.resize(120, 36);
    term.see("the wide picture", |t| t.contains("inertia"));
    let up = "\x1b[A";
    let down = "\x1b[B";
    let (left, right) = ("\x1b[D", "\x1b[C");
    let (end, redraw) = ("\x1b[F", "\x0c");
    for way in ["p", "t", "l"] {
        for key in [
            "e",
            "h",
            "b",
            "d",
            "d",
            "n",
            "n",
            "a",
            "a",
            "[",
            "]",
            "m",
            "k",
            "<",
            ">",
            "\r",
            " ",
            " ",
            left,
            right,
            "-",
            "+",
            "=",
            "r",
            "r",
            "r",
            ",",
            ",",
            "\r",
            ".",
            "z",
            "Z",
            end,
            "w",
            "c",
            "c",
            "c",
            "c",
            up,
            up,
            down,
            "x",
            "x",
            "f",
            "f",
            "o",
            "o",
            redraw,
            "?",
            "?",
            "L",
            "q\x1b[6~\x1b[F\r",
            "\x1b",
            "N",
            "D dorain\r",
            "\x7f",
            "\x1b",
            "e",
            "h",
        ] {
            term.press(way);
            term.press(key);
            sleep(Duration::from_millis(30));
            match key {
                "L" => term.see("the list", |t| t.contains("find:")),
                "N" => term.see("what is typed", |t| t.contains("pin:")),
                _ => {}
            }
            // An escape by itself is told from a sequence by the time after it.
            if key == "\x1b" {
                term.see("nothing is typed any longer", |t| {
                    !t.contains("pin:") && !t.contains("find:")
                });
            }
        }
        term.press("x");
        term.see("no names", |t| t.contains("names hidden"));
        term.press("x");
        term.see("names", |t| !t.contains("names hidden"));
    }
    term.press("p");
    term.see("the playing way", |t| t.contains("heard lately"));
    term.press("N");
    term.press("Eb lydian\r");
    term.see("the pin", |t| t.contains("pinned E♭ Lydian"));
    term.press("t");
    term.see("the ladder", |t| t.contains("brightness on E♭"));
    term.press("q");
    let end = term.end();
    assert_eq!(end.code, 0, "{}", end.screen);
}

#[test]
fn the_settings_are_followed() {
    let mut term = Term::demo();
    let file = term.home.path().join("config/peregrinus/settings.toml");
    let port = "[keyboard]\nport = \"none that is there\"\n";
    let write = |text: &str| std::fs::write(&file, format!("{port}{text}")).unwrap();
    let keys = "[keys]\nhelp = \"F1\"\nquit = [\"y\"]\n";
    write(keys);
    term.see("the key of the help", |t| t.contains("F1 help"));
    term.press("q?");
    term.press("\x1bOP");
    term.see("the help by its new key", |t| t.contains("Take breaks."));
    term.press("\x1b");
    term.see("no help", |t| !t.contains("Take breaks."));

    write(&format!("{keys}[reading]\ninertia = \"secton\"\n"));
    let wrong = "settings.toml: line 7, column 11: reading.inertia is 'secton'; did you mean";
    term.see("what is wrong", |t| {
        t.contains(wrong) && t.contains("F1 help")
    });
    term.press("w");
    term.see("still", |t| t.contains("chromatic") && t.contains(wrong));
    write(&format!("{keys}[reading]\ninertia = \"section\"\n"));
    term.see("it is mended", |t| {
        !t.contains(wrong) && t.contains("····● section")
    });

    // A stop chosen by a key stays when something else changes.
    term.press("[");
    term.see("by a key", |t| t.contains("···●· period"));
    let ascii = "[notation]\nglyphs = \"ascii\"\n";
    write(&format!("{keys}[reading]\ninertia = \"section\"\n{ascii}"));
    term.see("in ASCII", |t| {
        !t.contains('█') && t.contains("...O. period")
    });
    std::fs::write(&file, "").unwrap();
    term.see("what needs a new start", |t| {
        t.contains("keyboard.port counts from the next start.") && t.contains("? help")
    });
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// The inertia chosen at the monitor counts at its next start, unless the settings name
/// one; never in an analysis. The hint is there the first time only, until a key is pressed.
#[test]
fn what_is_remembered() {
    let home = tempfile::tempdir().unwrap();
    let hint = "? shows the keys.";
    let etude = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
    let analysis = || {
        let mut command = std::process::Command::new(BIN);
        command.env("HOME", home.path());
        command.env("XDG_CONFIG_HOME", home.path().join("config"));
        command.env("XDG_STATE_HOME", home.path().join("state"));
        command.env("XDG_DATA_HOME", home.path().join("data"));
        let output = command.args(["analyze", etude]).output().unwrap();
        assert!(output.status.success());
        output.stdout
    };
    let before = analysis();
    let mut term = at_home(home.path(), &[]);
    term.see("the hint", |t| t.contains(hint) && t.contains("demo: "));
    term.see("as it is set", |t| t.contains("··●·· phrase"));
    term.press("[[");
    term.see("chosen", |t| t.contains("●···· chord") && !t.contains(hint));
    term.press("q");
    assert_eq!(term.end().code, 0);

    for args in [&[][..], &["listen"], &["replay", etude]] {
        let mut term = at_home(home.path(), args);
        term.see("as it was chosen", |t| {
            t.contains("●···· chord") && !t.contains(hint)
        });
        term.press("q");
        assert_eq!(term.end().code, 0);
    }
    let left = "as you left it last time";
    let mut term = at_home(home.path(), &["listen", "--inertia", "section"]);
    term.see("as it is asked", |t| {
        t.contains("····● section") && !t.contains(left)
    });
    term.press("q");
    assert_eq!(term.end().code, 0);
    assert_eq!(analysis(), before);

    // What was left is said, and one key brings the usual stop back for good.
    let mut term = at_home(home.path(), &[]);
    term.see("what was left", |t| {
        t.contains("inertia: chord, as you left it last time; i brings back phrase.")
    });
    term.press("i");
    term.see("the usual", |t| {
        t.contains("··●·· phrase") && !t.contains(left)
    });
    term.press("q");
    assert_eq!(term.end().code, 0);
    let mut term = at_home(home.path(), &[]);
    term.see("nothing is left", |t| {
        t.contains("··●·· phrase") && !t.contains(left)
    });
    term.press("q");
    assert_eq!(term.end().code, 0);

    // `command` writes the settings anew: named there, it counts.
    let mut named = command(BIN, home.path());
    let file = home.path().join("named.toml");
    std::fs::write(&file, "[reading]\ninertia = \"phrase\"\n").unwrap();
    named.args([
        "listen",
        "--port",
        "none",
        "--settings",
        file.to_str().unwrap(),
    ]);
    let mut term = Term::run(named, tempfile::tempdir().unwrap());
    term.see("as the settings say", |t| t.contains("··●·· phrase"));
    term.press("q");
    assert_eq!(term.end().code, 0);

    // A folder that cannot be written costs nothing.
    let locked = tempfile::tempdir().unwrap();
    std::fs::write(
        locked.path().join("state"),
        "a file where the folder should be",
    )
    .unwrap();
    let mut term = at_home(locked.path(), &[]);
    term.see("the hint", |t| t.contains(hint));
    term.press("]");
    term.see("chosen all the same", |t| t.contains("···●· period"));
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// A note a second for this long. To study six hours takes a minute and more.
fn write_hours(path: &Path, hours: usize) {
    write_notes(path, 3600 * hours);
}

/// So many seconds with a note each, in a file that claims a track more than it has.
fn write_notes(path: &Path, notes: usize) {
    let beat = [0x83, 0x60, 0x90, 60, 64, 0x83, 0x60, 0x80, 60, 64];
    let mut track = beat.repeat(notes);
    track.extend([0, 0xff, 0x2f, 0]);
    let mut file = b"MThd\0\0\0\x06\0\x01\0\x02\x01\xe0MTrk".to_vec();
    file.extend((track.len() as u32).to_be_bytes());
    file.extend(track);
    std::fs::write(path, file).unwrap();
}

const CLAIM: &str = "byte 10: ";

/// `analyze` at work on six hours, so long that it says how far it is.
fn studying() -> Term {
    let home = tempfile::tempdir().unwrap();
    let path = home.path().join("hours.mid");
    write_hours(&path, 6);
    let mut command = command(BIN, home.path());
    command.args(["analyze", "hours.mid"]);
    let term = Term::run(command, home);
    term.see("how far it is, and its way out", |t| {
        t.contains(" left; q ends it")
    });
    term
}

#[test]
fn one_key_ends_a_study() {
    assert_soon(|| {
        let mut term = studying();
        let during = term.settings();
        assert_ne!(during, term.settings, "a single key arrives");
        // What is typed ahead for the shell is no order to us.
        term.press("grep -q");
        sleep(Duration::from_millis(300));
        term.see("it goes on", |t| t.contains(" left; q ends it"));
        let pressed = Instant::now();
        term.press("q");
        let (end, signal) = term.over();
        assert_eq!(signal.as_deref(), Some("Interrupt"), "as Control-C ends it");
        assert!(!end.screen.contains("q ends it"), "{}", end.screen);
        pressed.elapsed()
    });
}

#[test]
fn signals_end_a_study_as_ever() {
    for (signal, name) in [
        (Signal::INT, "Interrupt"),
        (Signal::TERM, "Terminated"),
        (Signal::QUIT, "Quit"),
        (Signal::USR1, "User defined signal 1"),
    ] {
        let mut term = studying();
        match signal {
            Signal::INT => term.press("\x03"),
            other => term.signal(other),
        }
        let (_, ended) = term.over();
        let ended = ended.unwrap_or_default();
        assert!(ended.starts_with(name), "{ended} by {name}");
    }
}

/// Through a shell with job control.
#[test]
fn a_study_is_suspended_and_goes_on() {
    let home = tempfile::tempdir().unwrap();
    write_hours(&home.path().join("hours.mid"), 6);
    let mut command = command("/bin/sh", home.path());
    let script = format!("'{BIN}' analyze hours.mid; echo stopped; read -r line; fg");
    command.args(["-m", "-c", &script]);
    let mut term = Term::run(command, home);
    let goes_on = |t: &str| t.contains(" left; q ends it");
    term.see("it is at work", goes_on);
    term.press("\x1a");
    term.see("the shell is there", |t| t.contains("stopped"));
    assert_eq!(term.settings(), term.settings, "the line's settings");
    let still = term.written();
    sleep(Duration::from_millis(700));
    assert_eq!(term.written(), still, "nothing is drawn over the shell");
    term.press("\n");
    term.wait("a single key arrives again", || {
        term.settings() != term.settings && term.written() > still
    });
    term.press("q");
    let (_, signal) = term.over();
    assert_eq!(signal.as_deref(), Some("Interrupt"), "the shell as well");
}

/// Who reads the pipe may use the terminal.
#[test]
fn a_study_for_a_pipe_leaves_the_terminal_alone() {
    let home = tempfile::tempdir().unwrap();
    write_hours(&home.path().join("hours.mid"), 6);
    let mut command = command("/bin/sh", home.path());
    command.args(["-c", &format!("'{BIN}' analyze hours.mid | cat")]);
    let mut term = Term::run(command, home);
    term.see("how far it is", |t| t.contains(" left"));
    assert!(!term.text().contains("q ends it"), "{}", term.text());
    let during = term.settings();
    assert_eq!(during, term.settings, "the line's settings");
    term.press("\x03");
    term.over();
}

#[test]
fn one_key_ends_reading_before_the_screen_opens() {
    let home = tempfile::tempdir().unwrap();
    write_hours(&home.path().join("hours.mid"), 2000);
    let hours = home.path().join("hours.mid");
    assert_soon(|| {
        let home = tempfile::tempdir().unwrap();
        let mut command = command(BIN, home.path());
        command.args(["replay", "--no-limits", hours.to_str().unwrap()]);
        let mut term = Term::run(command, home);
        let pressed = Instant::now();
        term.press("q");
        let (end, signal) = term.over();
        assert_eq!(signal.as_deref(), Some("Interrupt"));
        assert_eq!(count(&end.bytes, ENTER), 0, "no screen was opened");
        pressed.elapsed()
    });
}

/// It takes less than a second: one time of three, as others may have the processor.
fn assert_soon(mut once: impl FnMut() -> Duration) {
    let mut took = Vec::new();
    while took.len() < 3 {
        took.push(once());
        if took.iter().any(|&time| time < Duration::from_secs(1)) {
            return;
        }
    }
    panic!("{took:?}");
}

/// What is wrong with a file is said once it is read, not when it is studied, and once.
#[test]
fn faults_are_said_first_and_once() {
    let mut term = studying();
    assert!(term.text().contains(CLAIM), "{}", term.text());
    term.press("q");
    term.over();
    let home = tempfile::tempdir().unwrap();
    write_notes(&home.path().join("short.mid"), 20);
    for format in ["text", "romantext"] {
        let mut command = command(BIN, home.path());
        command.args(["analyze", "--format", format, "short.mid"]);
        let end = Term::run(command, tempfile::tempdir().unwrap()).end();
        assert_eq!(end.code, 1);
        assert_eq!(end.screen.matches(CLAIM).count(), 1, "{}", end.screen);
        assert!(end.screen.starts_with("peregrinus: short.mid: "));
    }
}

/// The engine hears five hours before it is there.
#[test]
fn a_long_way_is_shown() {
    let home = tempfile::tempdir().unwrap();
    write_hours(&home.path().join("hours.mid"), 20);
    let mut command = command(BIN, home.path());
    command.args(["replay", "hours.mid", "--from", "70000"]);
    let mut term = Term::run(command, home);
    term.see("where it goes", |t| {
        t.contains("0:00/20:00:00 going to 19:26:40, ")
    });
    assert!(!term.text().contains("playing"), "{}", term.text());
    term.see("how far it is", |t| {
        !t.contains(", 0 %") && t.contains(" %")
    });
    // Keys are answered meanwhile.
    term.press("?");
    term.see("help", |t| t.contains("mark the phrase"));
    term.press("\x1b");
    term.see("still on its way", |t| t.contains("going to 19:26:40, "));
    // Five seconds less far.
    term.press("\x1b[D");
    term.see("the other place", |t| t.contains("going to 19:26:35, "));
    term.press("q");
    assert_eq!(term.end().code, 1, "the file is damaged");
}

/// Études kept as sittings in this home.
fn keep(home: &Path, etudes: &[&str]) {
    for etude in etudes {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("recordings/{etude}.mid"));
        let imported = std::process::Command::new(BIN)
            .args(["sittings", "import"])
            .arg(file)
            .env("HOME", home)
            .env("XDG_CONFIG_HOME", home.join("config"))
            .env("XDG_DATA_HOME", home.join("data"))
            .env("XDG_STATE_HOME", home.join("state"))
            .output()
            .unwrap();
        assert!(imported.status.success(), "{imported:?}");
    }
}

/// From the monitor to the list, to a sitting that is looked back on and played, to another, and
/// back to the monitor as it was.
#[test]
fn a_sitting_of_another_day_is_found_and_opened() {
    let home = tempfile::tempdir().unwrap();
    keep(home.path(), &["02_seven_stones", "05_ferry_lamp"]);
    let mut term = at_home(home.path(), &[]);
    term.see("the demo plays", |t| t.contains(DEMO));
    term.press("t");
    term.see("teaching", |t| t.contains("brightness on"));
    term.press("L");
    term.see("the list", |t| {
        let all = ["2 sittings, ", "find:", "02_seven_stones", "05_ferry_lamp"];
        all.iter().all(|what| t.contains(what))
    });
    // Letters are letters here: q does not quit.
    term.press("q");
    term.see("nothing like it", |t| t.contains("0 of 2 sittings"));
    term.press("\x7fdb ion");
    term.see("by its center", |t| {
        t.contains("find: db ion") && t.contains("05_ferry") && !t.contains("02_seven")
    });
    term.press("\r");
    term.see("the whole of it, looked back on", |t| {
        let lanes = t.contains(" home  F ") && t.contains("Ionian") && t.contains("D♭");
        t.contains("sitting of ") && t.contains("1:02/1:02 ended") && lanes
    });
    term.press(" ");
    term.see("it plays from its beginning", |t| {
        t.contains("0:01/1:02 playing")
    });
    term.press(" ");
    term.see("it is paused", |t| t.contains("/1:02 paused"));
    // Over it another.
    term.press("Lseven");
    term.see("the other", |t| t.contains("1 of 2 sittings"));
    term.press("\r");
    term.see("the other is there", |t| t.contains("1:16/1:16 ended"));
    // A moment is chosen, and played from.
    term.press("z,\r");
    term.see("it plays from there", |t| t.contains("/1:16 playing"));
    term.press("q");
    term.see("the monitor as it was", |t| {
        t.contains(DEMO) && t.contains("brightness on") && !t.contains("sitting of")
    });
    term.press("q");
    assert_eq!(term.end().code, 0);
}

/// A list without anything in it, and one that cannot be had.
#[test]
fn no_list_is_a_blank() {
    let home = tempfile::tempdir().unwrap();
    let mut term = at_home(home.path(), &[]);
    term.see("the demo plays", |t| t.contains(DEMO));
    term.press("L");
    term.see("nothing yet", |t| {
        t.contains("0 sittings") && t.contains("There are no sittings yet")
    });
    term.press("\x1b");
    term.see("the demo again", |t| t.contains("heard lately"));
    // An index of rubbish, and a file that is none.
    keep(home.path(), &["05_ferry_lamp"]);
    let folder = home.path().join("data/peregrinus/sittings");
    std::fs::write(folder.join("index.sqlite"), "a shopping list").unwrap();
    term.press("L");
    term.see("the list, and what was wrong", |t| {
        t.contains("05_ferry_lamp") && t.contains("the index of the sittings is damaged")
    });
    // A sitting that goes away under the hand.
    for file in std::fs::read_dir(&folder).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_some_and(|e| e == "mid") {
            std::fs::remove_file(path).unwrap();
        }
    }
    term.press("\r");
    term.see("that it cannot be opened", |t| {
        t.contains("This sitting cannot be opened: ")
    });
    term.send(b"\x03");
    assert_eq!(term.end().code, 0);
}
