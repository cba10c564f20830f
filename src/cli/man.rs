//! `man`: the manual page of the program, or of one of its commands.

use super::failure::Failure;
use crate::console;
use crate::nearest::nearest;
use clap_mangen::Man;
use std::process::ExitCode;

/// When what the pages say was last changed: a page must have a date.
const CHANGED: &str = "2026-11-26";

#[derive(clap::Args)]
pub struct Args {
    /// The command whose page it is; without one, the page of the whole program.
    command: Option<String>,
}

pub fn run(args: &Args, mut program: clap::Command) -> Result<ExitCode, Failure> {
    // So that a command's page has its full name, and the options that all commands have.
    program.build();
    let page = match &args.command {
        None => program,
        Some(name) => {
            let Some(command) = program.find_subcommand(name) else {
                let all: Vec<&str> = program.get_subcommands().map(|c| c.get_name()).collect();
                let help = match nearest(name, all.iter().copied()) {
                    Some(near) => format!("did you mean {near}?"),
                    None => format!("it must be one of: {}", all.join(", ")),
                };
                return Err(Failure::Usage(format!("'{name}' is no command; {help}")));
            };
            command.clone()
        }
    };
    let mut text = Vec::new();
    Man::new(page).date(CHANGED).render(&mut text)?;
    console::print(&text)?;
    Ok(ExitCode::SUCCESS)
}
