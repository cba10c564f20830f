//! `listen`: what is played on a keyboard.

use super::failure::Failure;
use super::monitor;
use super::own::Own;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// The MIDI input: its exact name, or a part of it that no other has. Several times: several
    /// keyboards, each with a track of its own in what is recorded.
    #[arg(long, value_name = "NAME")]
    port: Vec<String>,
    /// Write what is played into a new MIDI file.
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    #[command(flatten)]
    monitor: monitor::Args,
}

pub fn run(args: Args, own: &Own) -> Result<ExitCode, Failure> {
    let mut settings = own.settings.clone();
    settings.ports = monitor::ports(args.port, settings.ports)?;
    let settings = args.monitor.taken(settings, own);
    monitor::listen(&settings, own, args.record.as_deref(), &args.monitor)
}
