//! Runs a script of tests/python with the interpreter that has mir_eval and mido.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// `PEREGRINUS_PYTHON`, else the virtual environment under target/.
fn interpreter() -> PathBuf {
    match std::env::var_os("PEREGRINUS_PYTHON") {
        Some(p) => PathBuf::from(p),
        None => Path::new(env!("CARGO_MANIFEST_DIR")).join("target/venv/bin/python"),
    }
}

fn output(script: &str, arguments: &[&str], input: &str) -> Output {
    let python = interpreter();
    let script = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/python")
        .join(script);
    let mut child = Command::new(&python)
        .arg(&script)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|e| {
            panic!(
                "this test needs Python with mir_eval and mido, and {} does not start ({e}).\n\
                 Make it with  sh tests/prepare --tests\n\
                 or name another interpreter in PEREGRINUS_PYTHON.",
                python.display()
            )
        });
    let mut stdin = child.stdin.take().expect("a pipe");
    let input = input.to_owned();
    // A script that fails early closes the pipe: its message says more than ours.
    let writer = std::thread::spawn(move || drop(stdin.write_all(input.as_bytes())));
    let output = child.wait_with_output().expect("the script ends");
    writer.join().expect("the writer ends");
    output
}

/// What it prints; it must succeed.
pub fn run(script: &str, arguments: &[&str], input: &str) -> String {
    let out = output(script, arguments, input);
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{script}: {errors}");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// What it complains of; it must fail, and not for want of a library.
pub fn fails(script: &str, arguments: &[&str], input: &str) -> String {
    let out = output(script, arguments, input);
    let errors = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(1), "{script}: {errors}");
    assert!(!errors.contains("Traceback"), "{script}: {errors}");
    errors
}
