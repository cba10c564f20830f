//! `analyze FILE…`: whole files, as fast as they go, on all cores.

use super::failure::Failure;
use super::quit::QuitKey;
use super::{engine, file};
use crate::console::{self, ProgressLine};
use crate::engine::Inertia;
use crate::formats::{
    Analysis, JsonLayout, analysis_json, analysis_text, roman_text, voicings_text,
};
use crate::midi::Faults;
use crate::plain;
use crate::settings::Settings;
use crate::study::{self, Plan};
use clap::ValueEnum;
use crossbeam_channel::{Receiver, RecvTimeoutError, bounded};
use std::collections::VecDeque;
use std::io::{IsTerminal, StdoutLock, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::Duration;
use walkdir::WalkDir;

#[derive(clap::Args)]
pub struct Args {
    /// MIDI files, folders of them, or sittings: last, last-2, an id or a name.
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
    /// Put the harmonies on the file's own bars and beats, and write them as a sheet of bars.
    #[arg(long)]
    bars: bool,
    /// Read all by one plan alone: as heard, in hindsight, or as you corrected it. (Without this,
    /// as heard and in hindsight are printed side by side.)
    #[arg(long, value_enum, value_name = "PLAN")]
    plan: Option<Plan>,
    #[command(flatten)]
    much: file::Much,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Text,
    Json,
    Jsonl,
    Romantext,
}

impl Format {
    /// For a terminal and people: no character may command the terminal.
    fn is_text(self) -> bool {
        matches!(self, Format::Text | Format::Romantext)
    }
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let (files, unread) = expand(&args.files, settings);
    refuse_nonsense(&args, files.len())?;
    let mut settings = settings.clone();
    if let Some(i) = args.inertia {
        settings.inertia = i;
    }
    unread.iter().for_each(|what| console::report(what));
    let quit = QuitKey::heed();
    let mut output = Output {
        out: std::io::stdout().lock(),
        progress: ProgressLine::with_hint(quit.hint()),
        what: match &files[..] {
            [one] => plain::path(one),
            several => format!("{} files", several.len()),
        },
        all_well: unread.is_empty(),
    };
    each_file(&files, &settings, &args, &mut output)?;
    Ok(match output.all_well {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// What becomes of the work: texts on standard output; beside them what is wrong, and the
/// progress.
struct Output<'a> {
    out: StdoutLock<'a>,
    progress: ProgressLine,
    /// All that is worked on.
    what: String,
    all_well: bool,
}

impl Output<'_> {
    fn result(&mut self, path: &Path, result: FileResult) -> std::io::Result<()> {
        self.progress.clear();
        match result {
            Ok(text) => {
                self.out.write_all(text.as_bytes())?;
                self.out.flush()?;
            }
            Err(e) => self.wrong(path, &e.to_string()),
        }
        Ok(())
    }

    fn faults(&mut self, path: &Path, faults: &Faults) {
        self.progress.clear();
        faults.lines().for_each(|fault| self.wrong(path, &fault));
    }

    fn wrong(&mut self, path: &Path, what: &str) {
        self.all_well = false;
        console::report(&format!("{}: {what}", plain::path(path)));
    }

    /// `done`: the share of the whole, 0 to 1.
    fn progress(&mut self, done: f64) {
        let percent = (100.0 * done) as u32;
        let what = format!("{}: {percent} %", self.what);
        self.progress.tell(done, &what);
    }
}

/// Whether a text lands where what is wrong has been said a moment ago.
fn is_beside_messages(format: Format) -> bool {
    format.is_text() && std::io::stdout().is_terminal() && std::io::stderr().is_terminal()
}

/// What cannot be printed in the format that was asked for.
fn refuse_nonsense(args: &Args, files: usize) -> Result<(), Failure> {
    let wrong = match args.format {
        Format::Json if files > 1 => format!(
            "--format json prints one file's object, and these are {files}; use --format jsonl"
        ),
        Format::Romantext if files > 1 => format!(
            "--format romantext prints one file's document, and these are {files}; call it \
             once for each file"
        ),
        Format::Romantext if args.bars => "--format romantext counts seconds, not bars; leave \
             --bars out, or take --format text or json"
            .into(),
        Format::Romantext if args.voicings => "--format romantext has no voicings; leave \
             --voicings out, or take --format json"
            .into(),
        _ => return Ok(()),
    };
    Err(Failure::Usage(wrong))
}

/// The text that is to be printed of a file.
type FileResult = Result<String, Failure>;

/// What there is to say of a file.
enum News {
    /// It is read, but for these, and about to be studied.
    Read(Faults),
    Done(FileResult),
}

/// Works on all cores and hands on what comes of it in the order of the files. At most twice as
/// many files as cores are begun and not handed on yet, so that memory is bounded.
fn each_file(
    files: &[PathBuf],
    settings: &Settings,
    args: &Args,
    output: &mut Output,
) -> Result<(), Failure> {
    let most = 2 * rayon::current_num_threads();
    let stop = AtomicBool::new(false);
    let stop = &stop;
    rayon::in_place_scope(|scope| {
        let mut rest = files.iter();
        let mut waiting: VecDeque<Work> = VecDeque::new();
        let mut taken = 0;
        loop {
            for path in rest.by_ref().take(most - waiting.len()) {
                // Room for all: nobody waits to say something.
                let (send, news) = bounded(2);
                let work = Work {
                    path,
                    done: Share::default(),
                    news,
                };
                let done = work.done.clone();
                let tell = move |share| {
                    done.set(share);
                    match stop.load(Ordering::Relaxed) {
                        true => ControlFlow::Break(()),
                        false => ControlFlow::Continue(()),
                    }
                };
                // Without a receiver nothing is wanted any longer.
                scope.spawn(move |_| {
                    let read = |faults: &Faults| drop(send.send(News::Read(faults.clone())));
                    let result = report(path, settings, args, read, tell);
                    drop(send.send(News::Done(result)));
                });
                waiting.push_back(work);
            }
            let Some(next) = waiting.front() else {
                return Ok(());
            };
            let result = match next.news.recv_timeout(OFTEN) {
                Ok(News::Read(faults)) => {
                    output.faults(next.path, &faults);
                    continue;
                }
                Ok(News::Done(result)) => result,
                Err(RecvTimeoutError::Timeout) => {
                    let begun: f64 = waiting.iter().map(|work| work.done.get()).sum();
                    output.progress((f64::from(taken) + begun) / files.len() as f64);
                    continue;
                }
                Err(RecvTimeoutError::Disconnected) => Err(Failure::Failed(
                    "the program failed at this file, which is its fault: report it".into(),
                )),
            };
            let path = next.path;
            waiting.pop_front();
            taken += 1;
            if let Err(e) = output.result(path, result) {
                stop.store(true, Ordering::Relaxed);
                return Err(e.into());
            }
        }
    })
}

/// How often the progress is looked at.
const OFTEN: Duration = Duration::from_millis(200);

/// A file that is being worked on.
struct Work<'f> {
    path: &'f Path,
    done: Share,
    news: Receiver<News>,
}

/// How much of a file is done, 0 to 1, told from thread to thread.
#[derive(Clone, Default)]
struct Share(Arc<AtomicU32>);

impl Share {
    fn set(&self, share: f32) {
        self.0.store(share.to_bits(), Ordering::Relaxed);
    }

    fn get(&self) -> f64 {
        f64::from(f32::from_bits(self.0.load(Ordering::Relaxed)))
    }
}

/// What `--bars` needs.
const NO_BARS: &str = "has no time signature and no click, and so no bars: leave --bars out";

/// What `--plan corrected` needs.
const NOT_CORRECTED: &str = "nobody has corrected its plan: peregrinus sittings correct does that, \
                             for a file after peregrinus sittings import; or choose --plan \
                             hindsight";

/// Of the work on a file, reading takes about this share, and putting into words.
const READING: f32 = 0.005;
const WRITING: f32 = 0.02;

/// `read` gets what is wrong with the file as soon as it is read; `tell` gets the share that is
/// done, 0 to 1, and may break off.
fn report(
    path: &Path,
    settings: &Settings,
    args: &Args,
    read: impl FnOnce(&Faults),
    mut tell: impl FnMut(f32) -> ControlFlow<()>,
) -> FileResult {
    let limits = args.much.limits();
    let mut reading = |share| tell(READING * share);
    let mut recording = file::read(path, &settings.catalogue, &limits, &mut reading)?;
    if args.inertia.is_some() {
        recording.drop_inertia();
    }
    // Many files of freely played music say 4/4 and mean nothing by it.
    if !args.bars {
        recording.bars = None;
    } else if recording.bars.is_none() {
        return Err(Failure::Failed(NO_BARS.into()));
    }
    let corrected = recording.facts.corrected.take();
    if args.plan == Some(Plan::Corrected) && corrected.is_none() {
        return Err(Failure::Failed(NOT_CORRECTED.into()));
    }
    read(&recording.faults);
    let monitor = engine::monitor(settings);
    let study = |share| tell(READING + (1.0 - READING - WRITING) * share);
    let study = study::study_with(&recording, monitor, &settings.catalogue, study);
    let ControlFlow::Continue(study) = study else {
        return Err(Failure::Reported);
    };
    // What was played has been heard: hours of it need not stay while they are written about.
    recording.notes = Vec::new();
    if is_beside_messages(args.format) {
        recording.faults = Faults::default();
    }
    let by = args.plan.map(|plan| match (plan, &corrected) {
        (Plan::Heard, _) => study.by_heard(),
        (Plan::Corrected, Some(corrected)) => study.by_corrected(corrected),
        (Plan::Hindsight | Plan::Corrected, _) => study.by_hindsight(),
    });
    let analysis = Analysis {
        file: &path.display().to_string(),
        study: &study,
        by: by.as_ref(),
        faults: &recording.faults,
        catalogue: &settings.catalogue,
        notation: &settings.notation,
    };
    let text = match args.format {
        Format::Text if args.voicings => analysis_text(&analysis) + &voicings_text(&analysis),
        Format::Text => analysis_text(&analysis),
        Format::Json => analysis_json(&analysis, JsonLayout::Indented)? + "\n",
        Format::Jsonl => analysis_json(&analysis, JsonLayout::OneLine)? + "\n",
        Format::Romantext => roman_text(&analysis),
    };
    Ok(match args.format.is_text() {
        true => plain::lines(&text).into_owned(),
        false => text,
    })
}

const ENDINGS: [&str; 4] = ["mid", "midi", "smf", "rmi"];

/// Folders become the MIDI files in and below them, in order of name, and words the files of
/// sittings; beside them what cannot be read, and why. Links to folders are passed over: one
/// that leads back up would lead round for ever.
fn expand(paths: &[PathBuf], settings: &Settings) -> (Vec<PathBuf>, Vec<String>) {
    let (mut files, mut unread) = (Vec::new(), Vec::new());
    for path in paths {
        if !path.is_dir() {
            match file::meant(path, settings) {
                Ok(path) => files.push(path),
                Err(e) => unread.push(format!("{}: {e}", plain::path(path))),
            }
            continue;
        }
        let (before, faults) = (files.len(), unread.len());
        for entry in WalkDir::new(path) {
            match entry {
                Ok(entry) if is_music(entry.path()) => files.push(entry.into_path()),
                Ok(_) => {}
                Err(e) => {
                    let folder = plain::path(e.path().unwrap_or(path));
                    let why = e.io_error().map(ToString::to_string);
                    let why = why.unwrap_or_else(|| e.to_string());
                    unread.push(format!("{folder}: cannot be read: {why}"));
                }
            }
        }
        files[before..].sort();
        if files.len() == before && unread.len() == faults {
            unread.push(format!(
                "{}: no MIDI file in this folder (they end in .mid, .midi, .smf or .rmi): name \
                 another",
                plain::path(path)
            ));
        }
    }
    (files, unread)
}

/// By its ending, and no folder; whether it can be read is seen when it is.
fn is_music(path: &Path) -> bool {
    let ending = path.extension().and_then(|e| e.to_str());
    let ending = ending.unwrap_or_default().to_lowercase();
    ENDINGS.contains(&ending.as_str()) && !path.is_dir()
}
