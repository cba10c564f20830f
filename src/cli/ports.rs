//! `ports`: the MIDI inputs there are.

use super::Failure;
use crate::midi;
use std::io::Write;
use std::process::ExitCode;

pub fn run() -> Result<ExitCode, Failure> {
    let list = midi::system("peregrinus").list()?;
    if list.is_empty() {
        eprintln!("peregrinus: no MIDI input found: connect a keyboard and try again");
    }
    let mut out = std::io::stdout().lock();
    for port in list {
        writeln!(out, "{}", port.name)?;
    }
    Ok(ExitCode::SUCCESS)
}
