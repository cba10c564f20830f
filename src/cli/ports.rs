//! `ports`: the MIDI inputs there are.

use super::failure::Failure;
use crate::console;
use crate::midi;
use crate::plain;
use std::process::ExitCode;

pub fn run() -> Result<ExitCode, Failure> {
    let list = midi::system("peregrinus").list()?;
    if list.is_empty() {
        console::report("no MIDI input found: connect a keyboard and try again");
    }
    let lines = list
        .iter()
        .map(|port| format!("{}\n", plain::name(&port.name)));
    console::print(lines.collect::<String>())?;
    Ok(ExitCode::SUCCESS)
}
