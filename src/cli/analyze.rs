//! `analyze FILE…`: whole files, as fast as they go, on all cores.

use super::Failure;
use crate::engine::{Inertia, Monitor};
use crate::formats::{Analysis, analysis_json, analysis_text};
use crate::midi::{self, Performance};
use crate::settings::Settings;
use crate::study;
use clap::ValueEnum;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};

#[derive(clap::Args)]
pub struct Args {
    /// MIDI files, or folders of them.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// How to print: a table, one JSON object, or one object a line.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// How slowly a new tonality is established: chord, motif, phrase, period, section.
    #[arg(long, value_name = "STOP")]
    inertia: Option<Inertia>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
    Jsonl,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let files = expand(&args.files)?;
    if args.format == Format::Json && files.len() != 1 {
        eprintln!(
            "peregrinus: --format json prints one file's object, and these are {}; use --format jsonl",
            files.len()
        );
        return Ok(ExitCode::from(2));
    }
    let mut settings = settings.clone();
    if let Some(i) = args.inertia {
        settings.inertia = i;
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let mut all_well = true;
    let progress = files.len() > 1 && std::io::stderr().is_terminal();
    let mut done = 0;
    each_file(&files, &settings, args.format, |path, result| {
        done += 1;
        match result {
            Ok(report) => {
                out.write_all(report.text.as_bytes())?;
                for fault in &report.faults {
                    all_well = false;
                    eprintln!("peregrinus: {}: {fault}", path.display());
                }
            }
            Err(e) => {
                all_well = false;
                eprintln!("peregrinus: {}: {e}", path.display());
            }
        }
        if progress {
            eprint!("\r{done} of {} files", files.len());
        }
        Ok(())
    })?;
    if progress {
        eprintln!();
    }
    out.flush()?;
    Ok(if all_well {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

struct Report {
    text: String,
    faults: Vec<midi::Fault>,
}

/// Works on all cores and hands the results on in the order of the files.
fn each_file(
    files: &[PathBuf],
    settings: &Settings,
    format: Format,
    mut take: impl FnMut(&Path, Result<Report, Failure>) -> std::io::Result<()>,
) -> Result<(), Failure> {
    let workers = std::thread::available_parallelism()
        .map_or(1, |n| n.get())
        .min(files.len());
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        let (send, receive) = mpsc::channel();
        for _ in 0..workers {
            let (send, next) = (send.clone(), &next);
            scope.spawn(move || {
                while let Some(path) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let i = files
                        .iter()
                        .position(|f| std::ptr::eq(f, path))
                        .unwrap_or(0);
                    let report = report(path, settings, format).map_err(|e| e.to_string());
                    if send.send((i, report)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(send);
        let mut waiting = std::collections::BTreeMap::new();
        let mut turn = 0;
        for (i, report) in receive {
            waiting.insert(i, report);
            while let Some(report) = waiting.remove(&turn) {
                take(&files[turn], report.map_err(Failure::from))?;
                turn += 1;
            }
        }
        Ok(())
    })
}

fn report(path: &Path, settings: &Settings, format: Format) -> Result<Report, Failure> {
    let performance = read(path)?;
    let mut monitor = Monitor::new(Arc::clone(&settings.catalogue))?;
    for event in settings.events() {
        monitor.on_event(crate::time::Time::ZERO, event, &mut ());
    }
    let study = study::study(&performance, monitor, &settings.catalogue);
    let name = path.display().to_string();
    let analysis = Analysis {
        file: &name,
        study: &study,
        faults: &performance.faults,
        catalogue: &settings.catalogue,
        notation: &settings.notation,
    };
    let text = match format {
        Format::Text => analysis_text(&analysis),
        Format::Json => analysis_json(&analysis, true)? + "\n",
        Format::Jsonl => analysis_json(&analysis, false)? + "\n",
    };
    Ok(Report {
        text,
        faults: performance.faults,
    })
}

/// Reads a performance from disk.
pub fn read(path: &Path) -> Result<Performance, Failure> {
    let bytes = std::fs::read(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file: check its name".into(),
        std::io::ErrorKind::IsADirectory => "this is a folder: name a file in it".into(),
        std::io::ErrorKind::PermissionDenied => {
            "there is no permission to read it: ask its owner, or copy it".into()
        }
        _ => format!("cannot be read: {e}"),
    })?;
    Ok(midi::read(&bytes)?)
}

const ENDINGS: [&str; 4] = ["mid", "midi", "smf", "rmi"];

/// Folders become the MIDI files in and below them, in order of name.
fn expand(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let before = files.len();
        walk(path, &mut files, 0)?;
        if files.len() == before {
            return Err(format!("{}: no MIDI file in this folder (they end in .mid, .midi, .smf or .rmi): name another", path.display()).into());
        }
        files[before..].sort();
    }
    Ok(files)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>, depth: usize) -> Result<(), Failure> {
    let entries = std::fs::read_dir(folder)
        .map_err(|e| format!("{}: cannot be read: {e}", folder.display()))?;
    for entry in entries {
        let path = entry?.path();
        let ending = path
            .extension()
            .and_then(|e| e.to_str())
            .unwrap_or_default()
            .to_lowercase();
        if path.is_dir() {
            // A link that leads back up would lead round for ever.
            if depth < 32 {
                walk(&path, files, depth + 1)?;
            }
        } else if ENDINGS.contains(&ending.as_str()) {
            files.push(path);
        }
    }
    Ok(())
}
