//! The commands, one file each: they wire the rooms together.

mod analyze;
mod harmonize;
mod lines;
mod listen;
mod modes;
mod monitor;
mod ports;
mod replay;
mod stage;

use crate::screen::Palette;
use crate::settings::Settings;
use clap::{Parser, Subcommand};
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Follow the tonal center and the mode of what is played at a keyboard.
#[derive(Parser)]
#[command(name = "peregrinus", version, about, max_term_width = 100)]
struct Cli {
    /// Read this settings file instead of the usual one.
    #[arg(long, global = true, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Colours: dark, light, projector or none; without this NO_COLOR and the settings decide.
    #[arg(long, global = true, value_name = "NAME")]
    palette: Option<Palette>,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Follow what is played on a MIDI keyboard.
    Listen(listen::Args),
    /// Play a MIDI file through the monitor at its own pace.
    Replay(replay::Args),
    /// List the MIDI inputs.
    Ports,
    /// Read MIDI files and print their tonal plan.
    Analyze(analyze::Args),
    /// Print the triads and sevenths on each degree of a tonality.
    Harmonize(harmonize::Args),
    /// Print the modes that are known, or one of them in detail.
    Modes(modes::Args),
}

/// What went wrong, as one says it to the user; exit code 1.
pub type Failure = Box<dyn std::error::Error>;

/// Runs the program; exit codes: 0 ok, 1 failed, 2 usage.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let result = run(cli);
    match result {
        Ok(code) => code,
        // Whoever read our output has enough: no failure of ours.
        Err(e) if closed_pipe(&*e) => ExitCode::SUCCESS,
        Err(e) => {
            // Standard error may be a terminal that is gone; `eprintln` would panic.
            let _ = writeln!(std::io::stderr(), "peregrinus: {e}");
            ExitCode::FAILURE
        }
    }
}

fn closed_pipe(e: &(dyn std::error::Error + 'static)) -> bool {
    e.downcast_ref::<std::io::Error>()
        .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
}

fn run(cli: Cli) -> Result<ExitCode, Failure> {
    let mut settings = Settings::load(cli.settings.as_deref())?;
    let no_color = std::env::var_os("NO_COLOR");
    settings.palette = Palette::choose(cli.palette, no_color.as_deref(), settings.palette);
    match cli.command {
        Some(Command::Analyze(args)) => analyze::run(args, &settings),
        Some(Command::Listen(args)) => listen::run(args, &settings),
        Some(Command::Replay(args)) => replay::run(args, &settings),
        Some(Command::Ports) => ports::run(),
        Some(Command::Harmonize(args)) => harmonize::run(args, &settings),
        Some(Command::Modes(args)) => modes::run(args, &settings),
        None => monitor::run(&settings),
    }
}
