//! `listen`: what is played on a keyboard.

use super::{Failure, Own, lines, monitor};
use crate::engine::Inertia;
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
    /// Without a terminal, or with --lines: how each line looks.
    #[arg(long, value_enum, default_value_t = lines::Format::Text)]
    format: lines::Format,
    #[command(flatten)]
    lines: lines::Asked,
}

pub fn run(args: Args, own: &Own) -> Result<ExitCode, Failure> {
    let mut settings = own.settings.clone();
    if args.port.is_some() {
        settings.port = args.port;
    }
    own.lines.or(args.lines).take_into(&mut settings);
    settings.inertia = monitor::inertia(&settings, args.inertia);
    monitor::listen(&settings, own, args.record.as_deref(), args.format)
}
