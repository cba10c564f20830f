//! Runs a script of tests/ with an interpreter that has what it needs.

// Each test target uses a part of this.
#![allow(dead_code)]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

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

fn output(python: Python, script: &str, arguments: &[&str], input: &str) -> Output {
    let path = python.path();
    let script = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join(script);
    let mut child = Command::new(&path)
        .arg(&script)
        .args(arguments)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| {
            panic!(
                "{} does not start ({e}): {}",
                path.display(),
                python.wanted()
            )
        });
    let mut stdin = child.stdin.take().expect("a pipe");
    let input = input.to_owned();
    // A script that fails early closes the pipe: its message says more than ours.
    let writer = std::thread::spawn(move || drop(stdin.write_all(input.as_bytes())));
    let output = child.wait_with_output().expect("the script ends");
    writer.join().expect("the writer ends");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(
        !errors.contains("ModuleNotFoundError") && !errors.contains("is not installed"),
        "{}: {errors}\n{}",
        path.display(),
        python.wanted()
    );
    output
}

/// What a script of tests/ prints; it must succeed.
pub fn run(python: Python, script: &str, arguments: &[&str], input: &str) -> String {
    let out = output(python, script, arguments, input);
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{script}: {errors}");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// What it complains of; it must fail, and not for want of a library.
pub fn fails(python: Python, script: &str, arguments: &[&str], input: &str) -> String {
    let out = output(python, script, arguments, input);
    let errors = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(1), "{script}: {errors}");
    assert!(!errors.contains("Traceback"), "{script}: {errors}");
    errors
}
