//! `completions`: the script by which a shell completes our command lines.

use super::failure::Failure;
use crate::console;
use clap::ValueEnum;
use clap_complete::Shell;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// The shell that is to complete.
    #[arg(value_enum)]
    shell: For,
}

#[derive(Clone, Copy, ValueEnum)]
enum For {
    Bash,
    Zsh,
    Fish,
    #[value(name = "powershell")]
    PowerShell,
}

pub fn run(args: &Args, mut command: clap::Command) -> Result<ExitCode, Failure> {
    let shell = match args.shell {
        For::Bash => Shell::Bash,
        For::Zsh => Shell::Zsh,
        For::Fish => Shell::Fish,
        For::PowerShell => Shell::PowerShell,
    };
    // Into memory first: `generate` would panic where the reader closes the pipe.
    let mut script = Vec::new();
    let name = command.get_name().to_owned();
    clap_complete::generate(shell, &mut command, name, &mut script);
    console::print(&script)?;
    Ok(ExitCode::SUCCESS)
}
