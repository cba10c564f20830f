//! From a key to the screen, and what that costs: `cargo bench --features jack --bench
//! screen_latency` (Linux; some six minutes).
//!
//! The program itself, in a pseudo-terminal, hears a keyboard over JACK (periods of 256
//! frames at 48,000 a second, 5.3 ms). Measured are, in each way to stand before it and with
//! what decides shown: the time from handing a note to the
//! keyboard's client until the first bytes of the frame that draws its key arrive at the
//! terminal; the processor time of the process at rest and while much is played; the bytes
//! that the terminal is sent meanwhile.

#[path = "../common/jackd.rs"]
mod jackd;

use jackd::{Keyboard, Server, forget_the_dead, sweep};
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::collections::BTreeMap;
use std::error::Error;
use std::io::{Read, Write};
use std::num::NonZeroU16;
use std::path::Path;
use std::process::{Command, ExitCode};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::sleep;
use std::time::{Duration, Instant};

type Outcome<T> = Result<T, Box<dyn Error>>;

const NOTES: u32 = 400;
const USUAL: (u16, u16) = (120, 36);
const PROJECTOR: (u16, u16) = (240, 67);
const FRAME_MS: f64 = 1000.0 / 60.0;
const PERIOD_MS: f64 = 256.0 / 48.0;
/// How long is rested and played for a figure of processor time.
const REST: Duration = Duration::from_secs(20);
const DENSE: Duration = Duration::from_secs(15);
/// How the thread that libjack wakes is told.
const JACK: &str = "libjack";
const INNER: &str = "PEREGRINUS_BENCH_INNER";

fn main() -> ExitCode {
    let done = match std::env::var_os(INNER) {
        Some(_) => measure(),
        None => with_a_server(),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}

/// As in the tests: libjack reads the server's name from the environment.
fn with_a_server() -> Outcome<()> {
    let name = format!("peregrinus-screen-{}", std::process::id());
    forget_the_dead();
    let server = Server::start(&name);
    let status = Command::new(std::env::current_exe()?)
        .env("JACK_DEFAULT_SERVER", &name)
        .env("JACK_NO_START_SERVER", "1")
        .env(INNER, "1")
        .status();
    drop(server);
    sweep(&name);
    match status?.success() {
        true => Ok(()),
        false => Err("the measurement failed".into()),
    }
}

/// What has arrived at the terminal.
struct Seen {
    terminal: vt100::Parser,
    bytes: u64,
    /// Signs of keys that are drawn as held, and when the bytes of the first came.
    held: usize,
    since: Instant,
}

struct Program {
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    seen: Arc<(Mutex<Seen>, Condvar)>,
    _master: Box<dyn MasterPty + Send>,
}

/// The signs of held keys in the rows of the piano: those above the names of its octaves.
fn held(screen: &vt100::Screen) -> usize {
    let rows: Vec<String> = screen.rows(0, screen.size().1.get()).collect();
    let octaves = ["C2 ", "C3 ", "C4 ", "C5 "];
    let named = |row: &String| octaves.iter().filter(|c| row.contains(**c)).count() >= 3;
    let foot = rows.iter().rposition(named).unwrap_or(0);
    let piano = rows[..foot].iter().rev().take(7);
    let signs = piano.map(|row| row.chars().filter(|c| "◆●▲".contains(*c)).count());
    signs.sum()
}

impl Program {
    fn start(home: &Path, depth: &str, (cols, rows): (u16, u16)) -> Outcome<Program> {
        let file = home.join("settings.toml");
        std::fs::write(&file, format!("[screen]\ndepth = \"{depth}\"\n"))?;
        let size = PtySize {
            rows,
            cols,
            ..PtySize::default()
        };
        let pair = native_pty_system().openpty(size)?;
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_peregrinus"));
        command.args(["listen", "--port", "keyboard", "--settings"]);
        command.arg(&file);
        command.cwd(home);
        for (name, folder) in [
            ("HOME", ""),
            ("XDG_CONFIG_HOME", "config"),
            ("XDG_STATE_HOME", "state"),
            ("XDG_DATA_HOME", "data"),
        ] {
            command.env(name, home.join(folder));
        }
        command.env("TERM", "xterm-256color");
        command.env_remove("NO_COLOR");
        let child = pair.slave.spawn_command(command)?;
        drop(pair.slave);
        let mut from = pair.master.try_clone_reader()?;
        let cells = |n: u16| NonZeroU16::new(n).ok_or("no size");
        let seen = Arc::new((
            Mutex::new(Seen {
                terminal: vt100::Parser::new(cells(rows)?, cells(cols)?, 0),
                bytes: 0,
                held: 0,
                since: Instant::now(),
            }),
            Condvar::new(),
        ));
        let into = Arc::clone(&seen);
        std::thread::spawn(move || {
            let mut buffer = [0; 1 << 16];
            while let Ok(n @ 1..) = from.read(&mut buffer) {
                let at = Instant::now();
                let mut seen = into.0.lock().unwrap_or_else(PoisonError::into_inner);
                seen.terminal.process(&buffer[..n]);
                seen.bytes += n as u64;
                let held = held(seen.terminal.screen());
                if held > 0 && seen.held == 0 {
                    seen.since = at;
                }
                seen.held = held;
                into.1.notify_all();
            }
        });
        Ok(Program {
            child,
            keys: pair.master.take_writer()?,
            seen,
            _master: pair.master,
        })
    }

    /// Waits until the terminal shows this; the value of the moment.
    fn until<T>(&self, what: &str, check: impl Fn(&Seen) -> Option<T>) -> Outcome<T> {
        let limit = Instant::now() + Duration::from_secs(10);
        let mut seen = self.seen.0.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            if let Some(value) = check(&seen) {
                return Ok(value);
            }
            let left = limit.saturating_duration_since(Instant::now());
            if left.is_zero() {
                let screen = seen.terminal.screen().contents();
                return Err(format!("{what}: not seen in ten seconds\n{screen}").into());
            }
            let wait = self.seen.1.wait_timeout(seen, left);
            seen = wait.unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    fn connected(&self) -> Outcome<()> {
        self.until("the keyboard's name", |seen| {
            let text = seen.terminal.screen().contents();
            (text.contains("keyboard") && text.contains("help")).then_some(())
        })?;
        sleep(Duration::from_millis(300));
        Ok(())
    }

    fn press(&mut self, keys: &str) -> Outcome<()> {
        self.keys.write_all(keys.as_bytes())?;
        Ok(self.keys.flush()?)
    }

    fn bytes(&self) -> u64 {
        let seen = self.seen.0.lock().unwrap_or_else(PoisonError::into_inner);
        seen.bytes
    }

    fn pid(&self) -> Outcome<u32> {
        Ok(self.child.process_id().ok_or("the program has ended")?)
    }

    /// Seconds of processor time so far, of the whole process and by thread.
    fn worked(&self) -> Outcome<Worked> {
        let pid = self.pid()?.to_string();
        let folder = format!("/proc/{pid}");
        let all = worked(&std::fs::read_to_string(format!("{folder}/stat"))?)?;
        let mut threads = BTreeMap::new();
        for entry in std::fs::read_dir(format!("{folder}/task"))? {
            // It may have ended meanwhile.
            let path = entry?.path();
            let Ok(stat) = std::fs::read_to_string(path.join("stat")) else {
                continue;
            };
            let (mut name, seconds) = worked(&stat)?;
            // The thread that libjack wakes in every period has the program's name too.
            if path.file_name().and_then(|n| n.to_str()) == Some(pid.as_str()) {
                name = "screen".into();
            } else if name == "peregrinus" {
                name = JACK.into();
            }
            let status = std::fs::read_to_string(path.join("status")).unwrap_or_default();
            let wakes = status
                .lines()
                .find_map(|l| l.strip_prefix("voluntary_ctxt_switches:"))
                .and_then(|n| n.trim().parse::<f64>().ok());
            let thread: &mut (f64, f64) = threads.entry(name).or_default();
            thread.0 += seconds;
            thread.1 += wakes.unwrap_or_default();
        }
        Ok(Worked {
            all: all.1,
            threads,
        })
    }

    /// What share of a processor was used while `play` ran, and the bytes sent a second.
    fn cost(&self, what: &str, wanted: f64, play: impl FnOnce() -> Outcome<()>) -> Outcome<()> {
        let (before, sent, start) = (self.worked()?, self.bytes(), Instant::now());
        play()?;
        let (after, seconds) = (self.worked()?, start.elapsed().as_secs_f64());
        let share = |after: f64, before: f64| 100.0 * (after - before) / seconds;
        let used = share(after.all, before.all);
        let jacks = |w: &Worked| w.threads.get(JACK).copied().unwrap_or_default().0;
        let own = used - share(jacks(&after), jacks(&before));
        let sent = (self.bytes() - sent) as f64 / seconds;
        let threads: Vec<String> = after
            .threads
            .iter()
            .map(|(name, all)| {
                let before = before.threads.get(name).copied().unwrap_or_default();
                let wakes = (all.1 - before.1) / seconds;
                (name, share(all.0, before.0), wakes)
            })
            .filter(|(_, used, wakes)| *used > 0.0 || *wakes >= 1.0)
            .map(|(name, used, wakes)| format!("{name} {used:.2} % in {wakes:.0} wakes a second"))
            .collect();
        println!(
            "{what}: {used:.2} % of a core, {own:.2} % without libjack's thread (below {wanted} % wanted; {}), {sent:.0} bytes a second",
            threads.join(", ")
        );
        Ok(())
    }

    fn quit(mut self) -> Outcome<()> {
        self.keys.write_all(b"q")?;
        self.keys.flush()?;
        self.child.wait()?;
        Ok(())
    }
}

struct Worked {
    all: f64,
    /// Seconds, and how often it has waited.
    threads: BTreeMap<String, (f64, f64)>,
}

/// The name, and fields 14 and 15 of proc(5)'s stat, which are in hundredths of a second
/// (sysconf's clock tick, 100 on every Linux).
fn worked(stat: &str) -> Outcome<(String, f64)> {
    let parts = stat.split_once('(').and_then(|s| s.1.rsplit_once(") "));
    let (name, fields) = parts.ok_or("no stat of a process")?;
    let mut ticks = fields.split(' ').skip(14 - 3);
    let mut next = || ticks.next().unwrap_or_default().parse::<f64>();
    Ok((name.to_owned(), (next()? + next()?) / 100.0))
}

struct Hands<'a>(&'a Keyboard);

impl Hands<'_> {
    fn send(&self, bytes: [u8; 3]) -> Outcome<()> {
        Ok(self.0.send.send(bytes)?)
    }

    fn strike(&self, key: u8) -> Outcome<()> {
        self.send([0x90, key, 72])
    }

    fn let_go(&self, key: u8) -> Outcome<()> {
        self.send([0x80, key, 0])
    }

    fn pedal(&self, down: bool) -> Outcome<()> {
        self.send([0xb0, 64, if down { 127 } else { 0 }])
    }

    /// Twelve notes a second with the pedal, changed every second: a bass and broken chords
    /// of D Dorian, over three octaves.
    fn dense(&self, long: Duration) -> Outcome<()> {
        const ROOTS: [u8; 4] = [38, 43, 36, 45];
        const FIGURE: [u8; 12] = [0, 12, 19, 24, 27, 31, 34, 36, 31, 27, 24, 19];
        const DORIAN: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];
        let start = Instant::now();
        let mut sounding = None;
        for i in 0u32.. {
            let at = Duration::from_secs(1) * i / 12;
            if at >= long {
                break;
            }
            sleep(at.saturating_sub(start.elapsed()));
            if let Some(key) = sounding.take() {
                self.let_go(key)?;
            }
            let step = (i % 12) as usize;
            if step == 0 {
                self.pedal(false)?;
                self.pedal(true)?;
            }
            // To the nearest key of the mode, from below.
            let root = ROOTS[(i / 12) as usize % ROOTS.len()];
            let mut key = root + FIGURE[step];
            while !DORIAN.contains(&(key % 12)) {
                key += 1;
            }
            self.strike(key)?;
            sounding = Some(key);
        }
        if let Some(key) = sounding {
            self.let_go(key)?;
        }
        self.pedal(false)
    }
}

fn measure() -> Outcome<()> {
    let home = tempfile::tempdir()?;
    let keyboard = Keyboard::new("keyboard");
    let hands = Hands(&keyboard);
    // Each way with the keys that lead to it, and what decides.
    for (way, keys) in [
        ("playing", "p"),
        ("playing, what decides shown", "pe"),
        ("teaching", "t"),
        ("looking back", "l"),
    ] {
        let mut program = Program::start(home.path(), "256", USUAL)?;
        program.connected()?;
        program.press(keys)?;
        sleep(Duration::from_millis(300));
        // Looking back there is no piano in which a key could be seen.
        if keys != "l" {
            latency(way, &program, &hands)?;
        }
        // What was played last stays, and only its age changes.
        hands.dense(Duration::from_secs(3))?;
        sleep(Duration::from_secs(3));
        let rest = format!("{way}: at rest, {} s of silence", REST.as_secs());
        program.cost(&rest, 0.5, || {
            sleep(REST);
            Ok(())
        })?;
        let dense = format!("{way}: 12 notes a second with pedal");
        program.cost(&dense, 5.0, || hands.dense(DENSE))?;
        program.quit()?;
    }
    for (depth, size) in [
        ("16", USUAL),
        ("true", USUAL),
        ("256", PROJECTOR),
        ("true", PROJECTOR),
    ] {
        let program = Program::start(home.path(), depth, size)?;
        program.connected()?;
        // Until a tonality stands.
        hands.dense(Duration::from_secs(3))?;
        let what = format!(
            "playing, depth {depth}, {}x{}: 12 notes a second with pedal",
            size.0, size.1
        );
        program.cost(&what, 5.0, || hands.dense(DENSE))?;
        program.quit()?;
    }
    Ok(())
}

/// The times from the key to the screen.
fn latency(way: &str, program: &Program, hands: &Hands) -> Outcome<()> {
    // Notes of D Dorian, some six a second, not in step with frames or periods.
    let mut times = Vec::new();
    for i in 0..NOTES {
        const KEYS: [u8; 9] = [50, 57, 62, 65, 69, 71, 72, 67, 64];
        let key = KEYS[(i * 5 % 9) as usize];
        program.until("no key is down", |seen| (seen.held == 0).then_some(()))?;
        let start = Instant::now();
        hands.strike(key)?;
        let seen = program.until("the key is drawn", |seen| {
            (seen.held > 0 && seen.since >= start).then_some(seen.since)
        })?;
        times.push((seen - start).as_secs_f64() * 1e3);
        sleep(Duration::from_micros(
            60_000 + u64::from(i) * 7_919 % 30_000,
        ));
        hands.let_go(key)?;
        sleep(Duration::from_micros(
            50_000 + u64::from(i) * 6_133 % 40_000,
        ));
    }
    times.sort_by(f64::total_cmp);
    let at = |q: f64| times[((times.len() - 1) as f64 * q) as usize];
    println!(
        "{way}: key to screen over JACK, {NOTES} notes, 120x36: median {:.2} ms   p99 {:.2} ms   max {:.2} ms   (p99 within a frame and a period, {:.1} ms, wanted)",
        at(0.5),
        at(0.99),
        at(1.0),
        FRAME_MS + PERIOD_MS
    );
    Ok(())
}
