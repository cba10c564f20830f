//! `analyze FILE…`: whole files, as fast as they go, on all cores.

use super::Failure;
use crate::engine::Inertia;
use crate::formats::{Analysis, analysis_json, analysis_text, roman_text, voicings_text};
use crate::midi;
use crate::recording::{self, Recording};
use crate::settings::Settings;
use crate::study;
use crate::theory::Catalogue;
use clap::ValueEnum;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

#[derive(clap::Args)]
pub struct Args {
    /// MIDI files, or folders of them.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// How to print: a table, one JSON object, one object a line, or the analysis in
    /// hindsight as a RomanText document.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// How slowly a new tonality is established: chord, motif, phrase, period, section.
    #[arg(long, value_name = "STOP")]
    inertia: Option<Inertia>,
    /// List too how each chord was voiced: the hands, the intervals, how it is built.
    /// (JSON has it always.)
    #[arg(long)]
    voicings: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
    Jsonl,
    Romantext,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let (files, unread) = expand(&args.files)?;
    if args.format == Format::Json && files.len() != 1 {
        eprintln!(
            "peregrinus: --format json prints one file's object, and these are {}; use --format jsonl",
            files.len()
        );
        return Ok(ExitCode::from(2));
    }
    if args.format == Format::Romantext && files.len() != 1 {
        eprintln!(
            "peregrinus: --format romantext prints one file's document, and these are {}; call it once for each file",
            files.len()
        );
        return Ok(ExitCode::from(2));
    }
    if args.format == Format::Romantext && args.voicings {
        eprintln!(
            "peregrinus: --format romantext has no voicings; leave --voicings out, or take --format json"
        );
        return Ok(ExitCode::from(2));
    }
    let mut settings = settings.clone();
    if let Some(i) = args.inertia {
        settings.inertia = i;
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let mut all_well = unread.is_empty();
    for what in unread {
        eprintln!("peregrinus: {what}");
    }
    let progress = files.len() > 1 && std::io::stderr().is_terminal();
    let mut done = 0;
    each_file(&files, &settings, &args, |path, result| {
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
    args: &Args,
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
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(path) = files.get(i) else { return };
                    let report = report(path, settings, args).map_err(|e| e.to_string());
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

fn report(path: &Path, settings: &Settings, args: &Args) -> Result<Report, Failure> {
    let mut recording = read(path, &settings.catalogue)?;
    if args.inertia.is_some() {
        recording.drop_inertia();
    }
    let study = study::study(&recording, settings.monitor(), &settings.catalogue);
    let name = path.display().to_string();
    let analysis = Analysis {
        file: &name,
        study: &study,
        faults: &recording.faults,
        catalogue: &settings.catalogue,
        notation: &settings.notation,
    };
    let text = match args.format {
        Format::Text if args.voicings => analysis_text(&analysis) + &voicings_text(&analysis),
        Format::Text => analysis_text(&analysis),
        Format::Json => analysis_json(&analysis, true)? + "\n",
        Format::Jsonl => analysis_json(&analysis, false)? + "\n",
        Format::Romantext => roman_text(&analysis),
    };
    Ok(Report {
        text,
        faults: recording.faults,
    })
}

/// Reads a recording from disk.
pub fn read(path: &Path, catalogue: &Catalogue) -> Result<Recording, Failure> {
    let bytes = std::fs::read(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file: check its name".into(),
        std::io::ErrorKind::IsADirectory => "this is a folder: name a file in it".into(),
        std::io::ErrorKind::PermissionDenied => {
            "there is no permission to read it: ask its owner, or copy it".into()
        }
        _ => format!("cannot be read: {e}"),
    })?;
    Ok(recording::read(&bytes, catalogue)?)
}

const ENDINGS: [&str; 4] = ["mid", "midi", "smf", "rmi"];

/// Folders become the MIDI files in and below them, in order of name; beside them what
/// cannot be read, and why.
fn expand(paths: &[PathBuf]) -> Result<(Vec<PathBuf>, Vec<String>), Failure> {
    let (mut files, mut unread) = (Vec::new(), Vec::new());
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let before = files.len();
        let faults = unread.len();
        walk(path, &mut files, &mut unread);
        if files.len() == before && unread.len() == faults {
            return Err(format!("{}: no MIDI file in this folder (they end in .mid, .midi, .smf or .rmi): name another", path.display()).into());
        }
        files[before..].sort();
    }
    if files.is_empty() {
        return Err(unread.join("\nperegrinus: ").into());
    }
    Ok((files, unread))
}

/// Links to folders are passed over: one that leads back up would lead round for ever.
fn walk(folder: &Path, files: &mut Vec<PathBuf>, unread: &mut Vec<String>) {
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        let mut fault = |e| unread.push(format!("{}: cannot be read: {e}", folder.display()));
        let entries = match std::fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(e) => {
                fault(e);
                continue;
            }
        };
        for entry in entries {
            let (path, kind) = match entry.and_then(|e| Ok((e.path(), e.file_type()?))) {
                Ok(entry) => entry,
                Err(e) => {
                    fault(e);
                    continue;
                }
            };
            let ending = path
                .extension()
                .and_then(|e| e.to_str())
                .unwrap_or_default()
                .to_lowercase();
            if kind.is_dir() {
                folders.push(path);
            } else if ENDINGS.contains(&ending.as_str()) && !path.is_dir() {
                files.push(path);
            }
        }
    }
}
