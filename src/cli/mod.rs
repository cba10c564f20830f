//! The commands, one file each: they wire the rooms together.

mod analyze;
mod completions;
mod harmonize;
mod lines;
mod listen;
mod man;
mod memory;
mod modes;
mod monitor;
mod ports;
mod replay;
mod spoken;
mod stage;

use crate::screen::Palette;
use crate::screen::Update;
use crate::settings::{self, Settings, SettingsError, Watch};
use clap::{CommandFactory, Parser, Subcommand};
use crossbeam_channel::Receiver;
use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// What the program is called.
const NAME: &str = "peregrinus";

/// Follow the tonal center and the mode of what is played at a keyboard.
#[derive(Parser)]
#[command(name = NAME, version, about, max_term_width = 100)]
struct Cli {
    /// Read this settings file instead of the usual one.
    #[arg(long, global = true, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Colours: dark, light, projector or none; without this NO_COLOR and the settings decide.
    #[arg(long, global = true, value_name = "NAME")]
    palette: Option<Palette>,
    #[command(flatten)]
    lines: lines::Asked,
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
    /// Print the script by which a shell completes these commands.
    Completions(completions::Args),
    /// Print the manual page of the program, or of a command.
    Man(man::Args),
}

/// Where the settings come from, so that they can be read again: the user's file, and
/// what stands above it.
#[derive(Clone)]
struct Origin {
    file: Option<PathBuf>,
    palette: Option<Palette>,
    no_color: Option<OsString>,
}

impl Origin {
    fn load(&self) -> Result<Settings, SettingsError> {
        let mut s = Settings::load(self.file.as_deref())?;
        s.palette = Palette::choose(self.palette, self.no_color.as_deref(), s.palette);
        Ok(s)
    }
}

/// The user's settings, and how to follow them.
pub struct Own {
    settings: Settings,
    origin: Origin,
    /// Before the command.
    lines: lines::Asked,
}

impl Own {
    /// What changes in them from now on.
    fn follow(&self) -> (Watch, Receiver<Update>) {
        let origin = self.origin.clone();
        let files = Settings::files(origin.file.as_deref());
        let load = move || origin.load();
        settings::follow(files, settings::EVERY, self.settings.clone(), load)
    }
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
    // These two need no settings, right or wrong.
    match &cli.command {
        Some(Command::Completions(args)) => return completions::run(args, Cli::command()),
        Some(Command::Man(args)) => return man::run(args, Cli::command()),
        _ => {}
    }
    let origin = Origin {
        file: cli.settings,
        palette: cli.palette,
        no_color: std::env::var_os("NO_COLOR"),
    };
    let settings = origin.load()?;
    let own = Own {
        settings,
        origin,
        lines: cli.lines,
    };
    let settings = &own.settings;
    match cli.command {
        Some(Command::Analyze(args)) => analyze::run(args, settings),
        Some(Command::Listen(args)) => listen::run(args, &own),
        Some(Command::Replay(args)) => replay::run(args, &own),
        Some(Command::Ports) => ports::run(),
        Some(Command::Harmonize(args)) => harmonize::run(args, settings),
        Some(Command::Modes(args)) => modes::run(args, settings),
        // Above.
        Some(Command::Completions(_) | Command::Man(_)) => Ok(ExitCode::SUCCESS),
        None => monitor::run(&own),
    }
}
