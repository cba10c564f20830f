//! `listen`: what is played on a keyboard.

use super::{Failure, lines, monitor};
use crate::engine::Inertia;
use crate::settings::Settings;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// The MIDI input: its exact name, or a part of it that no other has.
    #[arg(long, value_name = "NAME")]
    port: Option<String>,
    /// Write what is played into a new MIDI file.
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// How slowly a new tonality is established: chord, motif, phrase, period, section.
    #[arg(long, value_name = "STOP")]
    inertia: Option<Inertia>,
    /// Without a terminal: how each line looks.
    #[arg(long, value_enum, default_value_t = lines::Format::Text)]
    format: lines::Format,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let mut settings = settings.clone();
    if args.port.is_some() {
        settings.port = args.port;
    }
    if let Some(i) = args.inertia {
        settings.inertia = i;
    }
    monitor::listen(&settings, args.record.as_deref(), args.format)
}
