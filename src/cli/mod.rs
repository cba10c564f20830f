//! The commands, one file each: they wire the rooms together.

mod analyze;
mod completions;
mod engine;
mod failure;
mod file;
mod harmonize;
mod listen;
mod man;
mod memory;
mod modes;
mod monitor;
mod own;
mod ports;
mod quit;
mod replay;
mod signature;
mod sittings;

use crate::screen::Palette;
use crate::{console, plain};
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use failure::Failure;
use own::{Lines, Origin, Own};
use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Follow the tonal center and the mode of what is played at a keyboard.
#[derive(Parser)]
#[command(
    name = "peregrinus",
    version,
    about,
    max_term_width = 100,
    after_help = "peregrinus man lists the topics of the manual."
)]
struct Cli {
    /// Read this settings file instead of the usual one.
    #[arg(long, global = true, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Colours: dark, light, projector or none; without this NO_COLOR and the settings decide.
    #[arg(long, global = true, value_name = "NAME")]
    palette: Option<Palette>,
    #[command(flatten)]
    lines: Lines,
    /// Without a command: the MIDI input, or several, as for listen.
    #[arg(long, value_name = "NAME")]
    port: Vec<String>,
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
    /// List what was played on other days, show it, name it, take it elsewhere.
    Sittings(Box<sittings::Args>),
    /// Print the triads and sevenths on each degree of a tonality.
    Harmonize(harmonize::Args),
    /// Print the modes and scales that are known, or one of them in detail.
    Modes(modes::Args),
    /// Print the script by which a shell completes these commands.
    Completions(completions::Args),
    /// Print a page of the manual: a topic, a command, or the whole program.
    Man(man::Args),
}

/// Runs the program; exit codes: 0 ok, 1 failed, 2 usage.
pub fn main() -> ExitCode {
    let result = match parse(std::env::args_os()) {
        Ok(cli) => run(cli),
        Err(e) => answer(e),
    };
    match result {
        Ok(code) => code,
        Err(e) if e.is_closed_pipe() => ExitCode::SUCCESS,
        Err(Failure::Reported) => ExitCode::FAILURE,
        Err(e) => {
            console::report(&e.to_string());
            ExitCode::from(e.exit_code())
        }
    }
}

/// The command line, as clap reads it.
fn program() -> clap::Command {
    man::with_topics(Cli::command())
}

fn parse(args: impl IntoIterator<Item = OsString>) -> Result<Cli, clap::Error> {
    let matches = program().try_get_matches_from(args)?;
    Cli::from_arg_matches(&matches)
}

/// What the option parser has to say: help, the version, or what is wrong.
fn answer(e: clap::Error) -> Result<ExitCode, Failure> {
    if e.use_stderr() {
        // It quotes the arguments, but drops what would command the terminal: shown as text,
        // they are wrong in the same way.
        let shown = |arg: OsString| plain::name(&arg.to_string_lossy()).into_owned().into();
        let e = parse(std::env::args_os().map(shown)).err().unwrap_or(e);
        let text = e.render().to_string();
        let _ = std::io::stderr().write_all(plain::lines(&text).as_bytes());
        let code = u8::try_from(e.exit_code()).unwrap_or(2);
        return Ok(ExitCode::from(code));
    }
    e.print()?;
    std::io::stdout().flush()?;
    Ok(ExitCode::SUCCESS)
}

fn run(cli: Cli) -> Result<ExitCode, Failure> {
    // These two need no settings, right or wrong.
    match &cli.command {
        Some(Command::Completions(args)) => return completions::run(args, program()),
        Some(Command::Man(args)) => return man::run(args, program()),
        _ => {}
    }
    let origin = Origin {
        file: cli.settings,
        palette: cli.palette,
        no_color: std::env::var_os("NO_COLOR"),
    };
    if !cli.port.is_empty() && cli.command.is_some() {
        let what = "--port stands behind listen: peregrinus listen --port NAME";
        return Err(Failure::Usage(what.into()));
    }
    let settings = origin.load()?;
    for (own, known) in settings.catalogue.doubles() {
        console::report(&format!(
            "the mode {} of your modes.toml has exactly the degrees of {}: no music can tell the \
             two apart",
            own.name, known.name
        ));
    }
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
        Some(Command::Sittings(args)) => sittings::run(*args, settings),
        Some(Command::Harmonize(args)) => harmonize::run(args, settings),
        Some(Command::Modes(args)) => modes::run(args, settings),
        // Done above.
        Some(Command::Completions(_) | Command::Man(_)) => Ok(ExitCode::SUCCESS),
        None => monitor::run(cli.port, &own),
    }
}
