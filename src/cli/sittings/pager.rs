//! What is longer than the screen is shown a page at a time.

use crate::console;
use std::io::{self, IsTerminal, Write};
use std::process::{Command, Stdio};

/// Prints a text: through `$PAGER`, or else less, where standard output is a terminal and the
/// text is longer than it.
pub fn print(text: &str) -> io::Result<()> {
    let long = |(_, rows): (u16, u16)| text.lines().count() >= usize::from(rows);
    match size().is_some_and(long) && paged(text) {
        true => Ok(()),
        false => console::print(text),
    }
}

/// Columns and rows, where standard output is a terminal.
pub fn size() -> Option<(u16, u16)> {
    // Asked elsewhere, it would look for a program that knows.
    let terminal = io::stdout().is_terminal();
    terminal.then(|| ratatui::crossterm::terminal::size().ok())?
}

/// Whether there was a pager.
fn paged(text: &str) -> bool {
    let own = std::env::var("PAGER").unwrap_or_default();
    let own: Vec<&str> = own.split_whitespace().collect();
    let usual = ["less", "-FRX"];
    let (program, args) = match own.split_first() {
        Some((program, args)) => (*program, args),
        None => (usual[0], &usual[1..]),
    };
    let pager = Command::new(program)
        .args(args)
        .stdin(Stdio::piped())
        .spawn();
    let Ok(mut pager) = pager else { return false };
    if let Some(mut input) = pager.stdin.take() {
        // Fails where the user quits the pager early.
        let _ = input.write_all(text.as_bytes());
    }
    let _ = pager.wait();
    true
}
