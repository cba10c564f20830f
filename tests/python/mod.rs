//! Runs a script of tests/ with an interpreter that has what it needs, which is started once
//! a test program.

// Each test target uses a part of this.
#![allow(dead_code)]

use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

use serde::Deserialize;
use serde_json::json;

/// Which interpreter.
#[derive(Clone, Copy)]
pub enum Python {
    /// colorspacious, mir_eval, mido and music21: `PEREGRINUS_PYTHON`, else the virtual environment
    /// under target/.
    Checks,
    /// numpy and PyTorch: `PEREGRINUS_TRAINING_PYTHON`, else Debian's own.
    Training,
}

impl Python {
    fn variable(self) -> &'static str {
        match self {
            Python::Checks => "PEREGRINUS_PYTHON",
            Python::Training => "PEREGRINUS_TRAINING_PYTHON",
        }
    }

    fn path(self) -> PathBuf {
        match (std::env::var_os(self.variable()), self) {
            (Some(p), _) => PathBuf::from(p),
            (None, Python::Checks) => {
                Path::new(env!("CARGO_MANIFEST_DIR")).join("target/venv/bin/python")
            }
            (None, Python::Training) => PathBuf::from("/usr/bin/python3"),
        }
    }

    fn wanted(self) -> String {
        let libraries = match self {
            Python::Checks => "colorspacious, mir_eval, mido and music21",
            Python::Training => "numpy and PyTorch",
        };
        format!(
            "this test needs Python with {libraries}. Install it with  sh tests/prepare --tests\n\
             or name another interpreter in {}.",
            self.variable()
        )
    }
}

/// What a script did: see serve.py.
#[derive(Deserialize)]
struct Output {
    status: i32,
    out: String,
    err: String,
}

/// One process an interpreter, which has loaded its libraries: see serve.py.
struct Server {
    /// Its standard input is closed when this test program ends; that ends it.
    _child: Child,
    socket: PathBuf,
}

impl Server {
    fn start(python: Python) -> Server {
        let path = python.path();
        // serve.py takes it away.
        let folder = tempfile::tempdir().expect("a folder for a socket").keep();
        let socket = folder.join("socket");
        let mut child = Command::new(&path)
            .arg(script_path("python/serve.py"))
            .arg(&socket)
            .env("PYTHONDONTWRITEBYTECODE", "1")
            // Tests run side by side as it is.
            .env("OMP_NUM_THREADS", "1")
            .env("OPENBLAS_NUM_THREADS", "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|e| {
                panic!(
                    "{} does not start ({e}): {}",
                    path.display(),
                    python.wanted()
                )
            });
        let mut ready = String::new();
        let mut said = BufReader::new(child.stdout.take().expect("a pipe"));
        said.read_line(&mut ready).expect("a line");
        assert_eq!(ready, "ready\n", "serve.py does not start");
        Server {
            _child: child,
            socket,
        }
    }

    fn of(python: Python) -> &'static Server {
        static SERVERS: [OnceLock<Server>; 2] = [OnceLock::new(), OnceLock::new()];
        SERVERS[python as usize].get_or_init(|| Server::start(python))
    }
}

fn script_path(script: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join(script)
}

fn output(python: Python, script: &str, arguments: &[&str], input: &str) -> Output {
    let server = Server::of(python);
    let mut stream = UnixStream::connect(&server.socket).expect("serve.py listens");
    let asked = json!({"script": script_path(script), "arguments": arguments, "input": input});
    writeln!(stream, "{asked}").expect("serve.py reads");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("an answer");
    let output: Output = serde_json::from_str(&answer)
        .unwrap_or_else(|e| panic!("{script}: serve.py gave no answer ({e}): {answer:?}"));
    let errors = &output.err;
    assert!(
        !errors.contains("ModuleNotFoundError") && !errors.contains("is not installed"),
        "{}: {errors}\n{}",
        python.path().display(),
        python.wanted()
    );
    output
}

/// What a script of tests/ prints; it must succeed.
pub fn run(python: Python, script: &str, arguments: &[&str], input: &str) -> String {
    let output = output(python, script, arguments, input);
    assert_eq!(output.status, 0, "{script}: {}", output.err);
    output.out
}

/// What it complains of; it must fail, and not for want of a library.
pub fn fails(python: Python, script: &str, arguments: &[&str], input: &str) -> String {
    let output = output(python, script, arguments, input);
    let errors = output.err;
    assert_eq!(output.status, 1, "{script}: {errors}");
    assert!(!errors.contains("Traceback"), "{script}: {errors}");
    errors
}
