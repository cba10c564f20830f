//! The corpus of bad input under tests/bad: each with what must be said and how it must end.

use std::collections::BTreeSet;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::thread::sleep;
use std::time::{Duration, Instant};

use peregrinus::engine::{Event, Monitor};
use peregrinus::live::{Keep, SystemClock, Wanted, World, listen};
use peregrinus::midi::{Connection, PortError, PortInfo, Ports, Sink};
use peregrinus::recording;
use peregrinus::source::Link;
use peregrinus::theory::Catalogue;
use serde::Deserialize;
use serde::de::DeserializeOwned;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
/// Nothing here needs as long as that, on the slowest machine.
const LIMIT: Duration = Duration::from_secs(30);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    name: String,
    args: Vec<String>,
    code: i32,
    #[serde(default)]
    stderr: Vec<String>,
    #[serde(default)]
    stdout: Vec<String>,
    settings: Option<String>,
    settings_bytes: Option<String>,
    modes: Option<String>,
    modes_bytes: Option<String>,
    weights_bytes: Option<String>,
}

#[derive(Deserialize)]
struct Cases<T> {
    case: Vec<T>,
}

fn cases<T: DeserializeOwned>(file: &str) -> Vec<T> {
    let path = Path::new(ROOT).join("tests/bad").join(file);
    let text = std::fs::read_to_string(&path).unwrap();
    let all: Cases<T> = toml::from_str(&text).unwrap_or_else(|e| panic!("{file}: {e}"));
    all.case
}

/// Two digits are a byte, "letters" are themselves, `#` begins a comment.
fn bytes(text: &str) -> Vec<u8> {
    let mut out = Vec::new();
    for line in text.lines().filter(|l| !l.starts_with('#')) {
        // Every second part is between quotation marks.
        for (i, part) in line.split('"').enumerate() {
            if i % 2 == 1 {
                out.extend_from_slice(part.as_bytes());
                continue;
            }
            for digits in part.split_whitespace() {
                assert_eq!(digits.len(), 2, "{line}");
                out.push(u8::from_str_radix(digits, 16).unwrap_or_else(|e| panic!("{line}: {e}")));
            }
        }
    }
    out
}

/// Writes the corpus as files; their names without the ending.
fn write_files(to: &Path) -> BTreeSet<String> {
    std::fs::create_dir_all(to).unwrap();
    let mut names = BTreeSet::new();
    for entry in std::fs::read_dir(Path::new(ROOT).join("tests/bad/files")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(to.join(&name).with_extension("mid"), bytes(&text)).unwrap();
        names.insert(name);
    }
    names
}

/// A home of its own for each run, so that the user's settings never matter.
struct Home {
    folder: tempfile::TempDir,
}

impl Home {
    fn new() -> Home {
        let home = Home {
            folder: tempfile::tempdir().unwrap(),
        };
        std::fs::create_dir_all(home.config()).unwrap();
        let tmp = home.tmp();
        let etude = Path::new(ROOT).join("recordings/05_ferry_lamp.mid");
        for folder in ["empty", "two"] {
            std::fs::create_dir_all(tmp.join(folder)).unwrap();
        }
        for copy in ["taken.mid", "two/one.mid", "two/other.MID"] {
            std::fs::copy(&etude, tmp.join(copy)).unwrap();
        }
        home
    }

    fn config(&self) -> PathBuf {
        self.folder.path().join("config/peregrinus")
    }

    fn tmp(&self) -> PathBuf {
        self.folder.path().join("tmp")
    }

    fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_peregrinus"));
        let path = self.folder.path();
        command
            .env("HOME", path)
            .env("XDG_CONFIG_HOME", path.join("config"))
            .env("XDG_STATE_HOME", path.join("state"))
            .env("XDG_DATA_HOME", path.join("data"))
            .env("JACK_DEFAULT_SERVER", "peregrinus-none-of-this-name")
            .env("JACK_NO_START_SERVER", "1")
            .stdin(Stdio::null());
        command
    }

    /// Exit code, standard output, standard error.
    fn run(&self, args: &[String], name: &str) -> (Option<i32>, String, String) {
        let (out, err) = (
            self.folder.path().join("out"),
            self.folder.path().join("err"),
        );
        let mut child = self
            .command()
            .args(args)
            .stdout(File::create(&out).unwrap())
            .stderr(File::create(&err).unwrap())
            .spawn()
            .unwrap();
        let start = Instant::now();
        let status = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status;
            }
            if start.elapsed() > LIMIT {
                let _ = child.kill();
                panic!("{name}: it does not end");
            }
            sleep(Duration::from_millis(2));
        };
        let read = |p| String::from_utf8(std::fs::read(p).unwrap()).unwrap();
        (status.code(), read(&out), read(&err))
    }
}

#[test]
fn each_case_is_answered() {
    let shared = tempfile::tempdir().unwrap();
    let files = shared.path().join("files");
    let corpus = write_files(&files);
    let cases: Vec<Case> = cases("cases.toml");
    let mut used = BTreeSet::new();
    let mut wrong = Vec::new();
    for case in &cases {
        let home = Home::new();
        let write = |name: &str, text: &Option<String>, hex: &Option<String>| {
            let content = text
                .clone()
                .map(String::into_bytes)
                .or(hex.as_deref().map(bytes));
            if let Some(content) = content {
                std::fs::write(home.config().join(name), content).unwrap();
            }
        };
        write("settings.toml", &case.settings, &case.settings_bytes);
        write("modes.toml", &case.modes, &case.modes_bytes);
        write("own.weights", &None, &case.weights_bytes);
        let tmp = home.tmp();
        let fill = |text: &String| {
            text.replace("{files}", files.to_str().unwrap())
                .replace("{etudes}", &format!("{ROOT}/recordings"))
                .replace("{tmp}", tmp.to_str().unwrap())
        };
        for name in &corpus {
            if case
                .args
                .iter()
                .any(|a| a.ends_with(&format!("/{name}.mid")))
            {
                used.insert(name.clone());
            }
        }
        let args: Vec<String> = case.args.iter().map(fill).collect();
        let (code, out, err) = home.run(&args, &case.name);
        let mut complain = |what: String| {
            wrong.push(format!(
                "{}: {what}\n  out: {}\n  err: {err}",
                case.name,
                &out[..out.len().min(300)]
            ));
        };
        if code != Some(case.code) {
            complain(format!("exit code {code:?}, not {}", case.code));
        }
        for (texts, stream) in [(&case.stderr, &err), (&case.stdout, &out)] {
            for text in texts.iter().map(fill).filter(|t| !stream.contains(t)) {
                complain(format!("not said: {text}"));
            }
        }
        if err.contains("panicked") || err.contains("RUST_BACKTRACE") {
            complain("a panic".into());
        }
        // Every failure says why, in our name or the option parser's; success and usage are quiet.
        let ours = err.starts_with("peregrinus: ") || err.starts_with("error: ");
        if case.code != 0 && (!ours || case.stderr.is_empty()) {
            complain("no reason".into());
        }
        if case.code == 2 && !out.is_empty() {
            complain("a result in spite of wrong usage".into());
        }
    }
    let unused: Vec<_> = corpus.difference(&used).collect();
    assert!(unused.is_empty(), "no case for the files {unused:?}");
    assert!(
        wrong.is_empty(),
        "{} of {} cases:\n{}",
        wrong.len(),
        cases.len(),
        wrong.join("\n")
    );
    assert!(cases.len() > 80);
}

#[test]
fn what_is_there_is_not_written_over() {
    let home = Home::new();
    let taken = home.tmp().join("taken.mid");
    let before = std::fs::read(&taken).unwrap();
    let args = ["listen", "--record"].map(String::from);
    let args = [&args[..], &[taken.to_str().unwrap().to_owned()]].concat();
    assert_eq!(home.run(&args, "taken").0, Some(1));
    assert_eq!(std::fs::read(&taken).unwrap(), before);
}

/// What is no ordinary file has no end, or nobody at its other end.
#[cfg(target_os = "linux")]
#[test]
fn no_ordinary_file_stops_the_others() {
    let home = Home::new();
    let two = home.tmp().join("two");
    let mode = rustix::fs::Mode::from_raw_mode(0o600);
    let fifo = rustix::fs::FileType::Fifo;
    rustix::fs::mknodat(rustix::fs::CWD, two.join("a pipe.mid"), fifo, mode, 0).unwrap();
    std::os::unix::fs::symlink("/dev/zero", two.join("endless.mid")).unwrap();
    let pipe = two.join("a pipe.mid");
    let (pipe, two) = (pipe.to_str().unwrap(), two.to_str().unwrap());
    let run = |args: &[&str]| {
        let args: Vec<String> = args.iter().map(|a| (*a).to_owned()).collect();
        home.run(&args, &args.join(" "))
    };
    let (code, out, err) = run(&["analyze", two, "/dev/zero", "--format", "jsonl"]);
    assert_eq!((code, out.lines().count()), (Some(1), 2), "{err}");
    let refused = |name: &str| format!("peregrinus: {name}: this is no ordinary file\n");
    let names = [pipe, &format!("{two}/endless.mid"), "/dev/zero"];
    assert_eq!(err, names.map(refused).concat());
    for args in [&["replay", pipe][..], &["replay", "/dev/zero"]] {
        let (code, out, err) = run(args);
        assert_eq!((code, out.as_str(), err), (Some(1), "", refused(args[1])));
    }
    let (code, _, err) = run(&["modes", "--settings", "/dev/zero"]);
    assert_eq!((code, err), (Some(1), refused("/dev/zero")));
    let settings = home.config().join("settings.toml");
    std::fs::write(&settings, format!("[reading]\nweights = '{pipe}'\n")).unwrap();
    let (code, _, err) = run(&["modes"]);
    assert_eq!((code, err), (Some(1), refused(pipe)));
}

/// Standard error that is full or closed takes nothing away from the result.
#[cfg(target_os = "linux")]
#[test]
fn reports_that_nobody_can_read_end_nothing() {
    let home = Home::new();
    let files = home.folder.path().join("files");
    write_files(&files);
    let (broken, cut) = (files.join("empty.mid"), files.join("cut_in_a_track.mid"));
    let (broken, cut) = (broken.to_str().unwrap(), cut.to_str().unwrap());
    let etude = format!("{ROOT}/recordings/05_ferry_lamp.mid");
    let empty = home.tmp().join("empty");
    for args in [
        &[
            "analyze",
            "--format",
            "jsonl",
            broken,
            empty.to_str().unwrap(),
            cut,
            &etude,
        ][..],
        &["analyze", "--format", "json", cut, &etude],
        &["replay", cut, "--speed", "4"],
        &["replay", cut, "--speed", "9"],
        &["harmonize", "D zzz"],
        &["modes", "zzz"],
        &["man", "zzz"],
        &["--zzz"],
    ] {
        let words: Vec<String> = args.iter().map(|a| (*a).to_owned()).collect();
        let (code, out, err) = home.run(&words, &words.join(" "));
        assert!(!err.is_empty(), "{args:?}");
        for full in [true, false] {
            let shell = format!(
                "exec \"$0\" \"$@\" 2>{}",
                if full { "/dev/full" } else { "&-" }
            );
            let mut command = Command::new("sh");
            let program = home.command();
            for (name, value) in program.get_envs() {
                command.env(name, value.unwrap());
            }
            let done = command
                .args(["-c", &shell])
                .arg(program.get_program())
                .args(args)
                .stdin(Stdio::null())
                .output()
                .unwrap();
            assert_eq!(done.status.code(), code, "{args:?}, full: {full}");
            assert_eq!(String::from_utf8_lossy(&done.stdout), out, "{args:?}");
        }
    }
}

/// A result that cannot be written is a failure, said once.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_a_failure_said_once() {
    let home = Home::new();
    let etude = format!("{ROOT}/recordings/05_ferry_lamp.mid");
    for args in [
        &["--version"][..],
        &["--help"],
        &["modes"],
        &["harmonize", "D dorian", "--format", "csv"],
        &["man"],
        &["completions", "bash"],
        &["analyze", &etude],
        &["analyze", &etude, &etude, "--format", "jsonl"],
        &["replay", &etude, "--speed", "4"],
        &["replay", &etude, "--speed", "4", "--format", "json"],
    ] {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let done = home
            .command()
            .args(args)
            .stdout(full)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
            .wait_with_output()
            .unwrap();
        let err = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(1), "{args:?}: {err}");
        let says = "peregrinus: the output cannot be written: the disk is full\n";
        assert_eq!(err, says, "{args:?}");
    }
}

/// A name may hold what a terminal would obey: people are shown it as text, programs get it
/// as it is.
#[cfg(unix)]
#[test]
fn names_do_not_command_the_terminal() {
    let home = Home::new();
    let folder = home.tmp().join("\u{1b}[31mred\u{7}");
    std::fs::create_dir(&folder).unwrap();
    let etude = std::fs::read(format!("{ROOT}/recordings/05_ferry_lamp.mid")).unwrap();
    std::fs::write(folder.join("whole.mid"), &etude).unwrap();
    std::fs::write(folder.join("half.mid"), &etude[..etude.len() / 2]).unwrap();
    let name = folder.to_str().unwrap();
    let whole = format!("{name}/whole.mid");
    let commands = |text: &str| text.chars().any(|c| c.is_control() && c != '\n');
    for args in [
        &["analyze", name][..],
        &["analyze", "--format", "romantext", &whole],
        &["analyze", &format!("{name}/none")],
        &["replay", &whole, "--from", "9999"],
        &["modes", "--settings", &format!("{name}/none.toml")],
        &["listen", "--record", &whole],
    ] {
        let args: Vec<String> = args.iter().map(|a| (*a).to_owned()).collect();
        let (_, out, err) = home.run(&args, &args.join(" "));
        assert!(!commands(&out) && !commands(&err), "{args:?}: {out}{err}");
        let shown = "\\x1b[31mred\\x07/";
        // A document has a title, not a path.
        let shows = out.contains(shown) || err.contains(shown);
        let document = args.contains(&"romantext".to_owned());
        assert!(shows || document, "{args:?}: {out}{err}");
        if args == ["analyze", name] {
            assert!(out.contains(shown), "{args:?}: {out}");
        }
    }
    let args = ["analyze", "--format", "json", &whole].map(String::from);
    let (code, out, _) = home.run(&args, "json");
    assert_eq!(code, Some(0));
    let out: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(out["file"].as_str(), Some(whole.as_str()));
}

/// Whoever reads our output may stop at any time.
#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let home = Home::new();
    let etudes = format!("{ROOT}/recordings");
    for args in [
        vec!["analyze", &etudes, "--format", "jsonl"],
        vec!["replay", &etudes, "--speed", "4"],
        vec!["--help"],
    ] {
        let mut args: Vec<String> = args.into_iter().map(String::from).collect();
        if args[0] == "replay" {
            args[1] = format!("{etudes}/01_one_hearth.mid");
        }
        let mut child = home
            .command()
            .args(&args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let start = Instant::now();
        while child.try_wait().unwrap().is_none() {
            assert!(start.elapsed() < LIMIT, "{args:?}");
            sleep(Duration::from_millis(2));
        }
        let output = child.wait_with_output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(err, "", "{args:?}");
        assert!(output.status.success(), "{args:?}: {}", output.status);
    }
}

/// Whoever reads us stands still, so that we wait in a write: the first signal asks, the
/// second ends; so do five seconds after the first.
#[cfg(target_os = "linux")]
#[test]
fn a_signal_ends_a_program_that_nobody_reads() {
    use rustix::fs::{OFlags, fcntl_setfl};
    use rustix::process::{Pid, Signal, kill_process};
    use std::io::Write;
    use std::os::unix::process::ExitStatusExt;
    let home = Home::new();
    for again in [true, false] {
        let (reader, mut writer) = std::io::pipe().unwrap();
        fcntl_setfl(&writer, OFlags::NONBLOCK).unwrap();
        while writer.write(&[b' '; 512]).is_ok() {}
        while writer.write(b" ").is_ok() {}
        fcntl_setfl(&writer, OFlags::empty()).unwrap();
        let mut child = home
            .command()
            .args(["replay", &format!("{ROOT}/recordings/05_ferry_lamp.mid")])
            .args(["--from", "20", "--speed", "4"])
            .stdout(writer)
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Until it has something to say.
        sleep(Duration::from_secs(2));
        let pid = Pid::from_child(&child);
        kill_process(pid, Signal::TERM).unwrap();
        let asked = Instant::now();
        sleep(Duration::from_secs(1));
        assert!(child.try_wait().unwrap().is_none(), "it waits in a write");
        if again {
            kill_process(pid, Signal::TERM).unwrap();
        }
        let status = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status;
            }
            assert!(asked.elapsed() < LIMIT, "again: {again}");
            sleep(Duration::from_millis(5));
        };
        assert_eq!(status.signal(), Some(Signal::TERM.as_raw()));
        let early = asked.elapsed() < Duration::from_secs(4);
        assert_eq!(early, again, "{:?}", asked.elapsed());
        drop(reader);
    }
}

/// A folder with a link back up to itself is read once.
#[cfg(unix)]
#[test]
fn links_to_folders_are_passed_over() {
    let home = Home::new();
    let two = home.tmp().join("two");
    std::os::unix::fs::symlink(&two, two.join("round")).unwrap();
    let args = ["analyze", two.to_str().unwrap(), "--format", "jsonl"].map(String::from);
    let (code, out, err) = home.run(&args, "links");
    assert_eq!((code, out.lines().count(), err.as_str()), (Some(0), 2, ""));
}

/// A recording of ours carries the inertia that it was made with; one asked for now counts.
#[test]
fn an_inertia_asked_for_beats_the_recorded_one() {
    let home = Home::new();
    let etude = std::fs::read(format!("{ROOT}/recordings/05_ferry_lamp.mid")).unwrap();
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut recording = recording::read(&etude, &catalogue).unwrap();
    let file = home.tmp().join("take.mid");
    let mut analyze = |recorded: Option<&str>, asked: Option<&str>| {
        recording.said.clear();
        if let Some(stop) = recorded {
            recording.said.push(recording::Said {
                before_note: 0,
                at: peregrinus::time::Time::ZERO,
                event: Event::Inertia(stop.parse().unwrap()),
            });
        }
        let out = std::fs::File::create(&file).unwrap();
        recording::write(&recording, &catalogue, out).unwrap();
        let mut args = vec!["analyze".to_owned(), file.to_str().unwrap().to_owned()];
        args.extend(asked.map(|stop| format!("--inertia={stop}")));
        home.run(&args, "inertia").1
    };
    let plain = analyze(None, Some("section"));
    assert_eq!(analyze(Some("chord"), Some("section")), plain);
    assert_ne!(analyze(Some("chord"), None), plain, "recorded, it counts");
}

/// A file of so many tracks, each with these events, 96 ticks to the quarter.
fn midi_file(tracks: u16, content: &[u8]) -> Vec<u8> {
    let content = [content, &[0, 0xff, 0x2f, 0]].concat();
    let length = (content.len() as u32).to_be_bytes();
    let track = [b"MTrk", &length[..], &content].concat();
    let [high, low] = tracks.to_be_bytes();
    let header = [b"MThd\0\0\0\x06\0\x01", &[high, low, 0, 96][..]].concat();
    [header, track.repeat(usize::from(tracks))].concat()
}

const NOTE: [u8; 8] = [0, 0x90, 60, 64, 96, 0x80, 60, 64];

/// Of a file's faults the first twenty are said, and how many more there are.
#[test]
fn faults_by_the_thousand_are_twenty_and_a_count() {
    let home = Home::new();
    let file = home.tmp().join("faults.mid");
    let tempo_of_zero = [0, 0xff, 0x51, 3, 0, 0, 0];
    let content = [&tempo_of_zero.repeat(50_000)[..], &NOTE].concat();
    std::fs::write(&file, midi_file(1, &content)).unwrap();
    let name = file.to_str().unwrap();
    let run = |format: &str| {
        home.run(
            &["analyze", name, "--format", format].map(String::from),
            "faults",
        )
    };
    let (code, out, err) = run("text");
    assert_eq!(code, Some(1));
    let last = "... and 49,980 more faults";
    let lines: Vec<&str> = err.lines().collect();
    assert_eq!(lines.len(), 21, "{err}");
    assert!(
        lines[0].ends_with(
            "faults.mid: byte 22, track 1: a tempo of 0 microseconds to the quarter is ignored"
        ),
        "{err}"
    );
    assert!(lines[20].ends_with(last), "{err}");
    assert_eq!(
        out.lines().filter(|l| l.starts_with("  damaged: ")).count(),
        20,
        "{out}"
    );
    assert!(out.lines().any(|l| l.trim() == last), "{out}");
    let (_, out, _) = run("json");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["faults"].as_array().map(Vec::len), Some(20));
    assert_eq!(json["more_faults"], 49_980);
}

/// What no person can have played is left out, and that is said.
#[test]
fn more_than_anybody_plays_is_left_out() {
    let home = Home::new();
    let file = home.tmp().join("tracks.mid");
    std::fs::write(&file, midi_file(5_000, &NOTE)).unwrap();
    let args = ["analyze", file.to_str().unwrap()].map(String::from);
    let (code, out, err) = home.run(&args, "tracks");
    assert_eq!(code, Some(1));
    let said = "byte 81,934: more than 4,096 tracks; those that follow are left out (--no-limits reads them)";
    assert_eq!(err.lines().count(), 1, "{err}");
    assert!(err.trim_end().ends_with(said), "{err}");
    assert!(out.contains(&format!("  not read: {said}")), "{out}");
}

/// Without a keyboard `listen` says so and waits for one; a signal ends it in order.
#[cfg(unix)]
#[test]
fn listening_to_nothing_says_so_and_waits() {
    use rustix::process::{Pid, Signal, kill_process};
    let home = Home::new();
    let err = home.folder.path().join("err");
    let mut child = home
        .command()
        .args(["listen", "--port", "none that is there"])
        .stdout(Stdio::null())
        .stderr(File::create(&err).unwrap())
        .spawn()
        .unwrap();
    let start = Instant::now();
    while !std::fs::read_to_string(&err).unwrap().ends_with('\n') {
        assert!(start.elapsed() < LIMIT, "nothing is said");
        sleep(Duration::from_millis(5));
    }
    sleep(Duration::from_millis(1600));
    assert!(child.try_wait().unwrap().is_none(), "it waits");
    kill_process(Pid::from_child(&child), Signal::TERM).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    let said = std::fs::read_to_string(&err).unwrap();
    let reasons = [
        "no JACK server",
        "no ALSA sequencer",
        "no permission",
        "no MIDI input is named",
    ];
    assert!(reasons.iter().any(|r| said.contains(r)), "{said}");
    assert_eq!(said.lines().count(), 1, "once, and no noise: {said}");
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PortCase {
    name: String,
    there: Vec<String>,
    wanted: Option<String>,
    remembered: Option<String>,
    fault: Option<String>,
    connected: Option<String>,
    notice: Option<String>,
}

struct FakePorts {
    there: Vec<PortInfo>,
    fault: Option<PortError>,
}

struct Wire;
impl Connection for Wire {}

impl Ports for FakePorts {
    fn list(&mut self) -> Result<Vec<PortInfo>, PortError> {
        match &self.fault {
            Some(PortError::Busy { .. }) | None => Ok(self.there.clone()),
            Some(fault) => Err(fault.clone()),
        }
    }

    fn open(&mut self, _: &PortInfo, _: Sink) -> Result<Box<dyn Connection>, PortError> {
        self.fault.clone().map_or(Ok(Box::new(Wire)), Err)
    }

    fn changed(&mut self) -> Option<bool> {
        Some(false)
    }
}

#[test]
fn each_state_of_the_ports_is_told() {
    for case in cases::<PortCase>("ports.toml") {
        let fault = case.fault.as_deref().map(|f| match f {
            "sequencer" => PortError::NoSequencer,
            "permission" => PortError::NoPermission,
            "library" => PortError::NoLibrary,
            "server" => PortError::NoServer,
            "busy" => PortError::Busy {
                port: case.there[0].clone(),
            },
            other => panic!("{}: no fault '{other}'", case.name),
        });
        let info = |name: &String| PortInfo {
            name: name.clone(),
            id: name.clone(),
        };
        let world = World {
            clock: Arc::new(SystemClock::start()),
            ports: Box::new(FakePorts {
                there: case.there.iter().map(info).collect(),
                fault,
            }),
        };
        let wanted = Wanted {
            ports: case.wanted.into_iter().collect(),
            remembered: case.remembered,
            ..Wanted::default()
        };
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let listener = listen(world, wanted, monitor, &[], Keep::default()).unwrap();
        let status = listener.feed.status();
        assert_eq!(status.notice, case.notice, "{}", case.name);
        let link = match case.connected {
            Some(_) => Link::Keyboard,
            None => Link::None,
        };
        assert_eq!(status.link, link, "{}", case.name);
        if let Some(name) = case.connected {
            assert_eq!(status.name, name, "{}", case.name);
        }
    }
}
