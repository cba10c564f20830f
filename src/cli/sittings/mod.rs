//! `sittings`: what was played on other days, listed, found again, named, and taken elsewhere.

mod correct;
mod labels;
mod list;
mod named;
mod open;
mod output;
mod pager;
mod show;

use super::engine;
use super::failure::Failure;
use crate::console;
use crate::file;
use crate::midi::Limits;
use crate::plain;
use crate::recording::{self, Facts};
use crate::settings::Settings;
use crate::sittings::{self, Query, Sitting};
use crate::study::Plan;
use clap::Subcommand;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};
use list::Shown;
pub use list::length;
use named::{One, typed};
use open::Deleting;
pub use open::Open;
use output::{AnswerFormat, print};
use serde_json::json;
use std::fs::OpenOptions;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Args {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    which: Which,
    /// How to print: for people, or one JSON object.
    #[arg(long, value_enum, default_value_t = AnswerFormat::Text, global = true)]
    format: AnswerFormat,
}

#[derive(Subcommand)]
enum Command {
    /// List the sittings, the newest first; this is what is done without a word.
    List(Which),
    /// Show one sitting in detail.
    Show {
        #[command(flatten)]
        one: One,
        /// Its plan as heard, in hindsight, or as you corrected it; as heard without this.
        #[arg(long, value_enum, value_name = "PLAN")]
        plan: Option<Plan>,
    },
    /// Give a sitting a name.
    Rename {
        #[command(flatten)]
        one: One,
        /// What it is to be called; "" takes the name away.
        #[arg(value_name = "NEW")]
        new: String,
    },
    /// Give a sitting tags.
    Tag {
        #[command(flatten)]
        one: One,
        /// Words by which it is found again.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
        /// Take the tags away instead.
        #[arg(long)]
        remove: bool,
    },
    /// Correct the tonal plan of a sitting; what was heard stays as it was.
    Correct(correct::Args),
    /// Move sittings to the system's trash; where there is none at all, they are deleted.
    Delete {
        /// Ids, names, or parts of them that no other sitting has.
        #[arg(required = true, value_name = "NAME")]
        names: Vec<String>,
        /// Do not ask.
        #[arg(long)]
        yes: bool,
    },
    /// Copy a sitting's MIDI file, with what is known of it.
    Export {
        #[command(flatten)]
        one: One,
        /// The file to write, which must not exist yet.
        #[arg(short, long, value_name = "FILE")]
        output: PathBuf,
    },
    /// Make sittings of MIDI files; the files stay as they are.
    Import {
        /// MIDI files.
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
    },
    /// Write corrected sittings as labelled music, from which weights can be learned.
    Labels {
        /// The folder for a file of each; files of the same names in it are replaced.
        #[arg(short, long, value_name = "DIR")]
        output: PathBuf,
        /// Ids, names, or parts of them; all that are corrected if none is named.
        #[arg(value_name = "NAME")]
        names: Vec<String>,
    },
    /// Print where a sitting's MIDI file is.
    Path {
        #[command(flatten)]
        one: One,
    },
    /// Make the index anew, of the MIDI files.
    Rebuild,
}

/// Which sittings are listed: those that fit all of it.
#[derive(clap::Args)]
struct Which {
    /// Played on this day or later: 2026-11-29, or 2026-11-29T20:15.
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Played on this day or earlier, or before this time.
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
    /// This center was visited: D, Bb, F#.
    #[arg(long, value_name = "NOTE")]
    center: Option<String>,
    /// This mode was visited; with --center, on that center.
    #[arg(long, value_name = "MODE")]
    mode: Option<String>,
    /// This is a part of the name, of a tag, or of a marker.
    #[arg(long, value_name = "WORDS")]
    text: Option<String>,
    /// Their plan was corrected.
    #[arg(long)]
    corrected: bool,
    /// No more than this number.
    #[arg(long, value_name = "NUMBER")]
    limit: Option<usize>,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let format = args.format;
    let command = args.command.unwrap_or(Command::List(args.which));
    // Wrong usage is said before anything is read.
    let query = match &command {
        Command::List(which) => query(which, settings)?,
        _ => Query::default(),
    };
    if let Command::Correct(args) = &command {
        return correct::run(args, settings, format);
    }
    let mut open = match command {
        // While it is listed.
        Command::List(_) if format == AnswerFormat::Text => Open::as_it_is(settings)?,
        _ => Open::new(settings)?,
    };
    match command {
        Command::List(_) => list(&mut open, &query, settings, format),
        Command::Show { one, plan: None } => show(&open.find(&one.name)?, &open, format),
        Command::Show {
            one,
            plan: Some(plan),
        } => show::run(&open.find(&one.name)?, plan, &open, settings, format),
        Command::Rename { one, new } => {
            let name = typed(&new)?.to_owned();
            let name = Some(name).filter(|name| !name.is_empty());
            change(&mut open, &one, format, |facts| facts.name = name)
        }
        Command::Tag { one, tags, remove } => {
            let tags = tags.iter().map(|tag| match typed(tag)? {
                "" => Err(Failure::Usage("a tag has at least one character".into())),
                tag => Ok(tag.to_owned()),
            });
            let tags = tags.collect::<Result<Vec<_>, _>>()?;
            change(&mut open, &one, format, |facts| match remove {
                true => facts.tags.retain(|tag| !tags.contains(tag)),
                false => tags.iter().for_each(|tag| facts.tag(tag)),
            })
        }
        // Done above.
        Command::Correct(_) => Ok(ExitCode::SUCCESS),
        Command::Delete { names, yes } => delete(&mut open, &names, yes, format),
        Command::Export { one, output } => export(&open.find(&one.name)?, &open, &output, format),
        Command::Import { files } => import(&mut open, &files, settings, format),
        Command::Labels { output, names } => {
            labels::run(&mut open, &names, &output, settings, format)
        }
        Command::Path { one } => {
            let sitting = open.find(&one.name)?;
            let path = open.folder.path(&sitting.id);
            let path = path.display().to_string();
            // As it is: a script takes it.
            print(format, &json!({"id": sitting.id, "file": path}), || {
                path.clone() + "\n"
            })
        }
        Command::Rebuild => {
            let count = open.rebuild()?;
            let text = || format!("{count} {}\n", of(count));
            print(format, &json!({"sittings": count}), text)
        }
    }
}

fn of(count: usize) -> &'static str {
    match count {
        1 => "sitting",
        _ => "sittings",
    }
}

// ---- listing ----

fn query(which: &Which, settings: &Settings) -> Result<Query, Failure> {
    let catalogue = &settings.catalogue;
    let usage =
        |option: &str, why: &dyn std::fmt::Display| Failure::Usage(format!("{option}: {why}"));
    let center = which.center.as_deref().map(|text| {
        let note = settings.notation.letters.understand(text.trim());
        let note = note.map_err(|e| usage("--center", &e))?;
        Ok::<_, Failure>(note.pitch_class().index() as u8)
    });
    let mode = which.mode.as_deref().map(|text| {
        let mode = catalogue
            .parse_mode(text)
            .map_err(|e| usage("--mode", &e))?;
        Ok::<_, Failure>(catalogue.mode(mode).id.clone())
    });
    Ok(Query {
        since: which
            .since
            .as_deref()
            .map(|text| day("--since", text, Side::Begin))
            .transpose()?,
        until: which
            .until
            .as_deref()
            .map(|text| day("--until", text, Side::End))
            .transpose()?,
        center: center.transpose()?,
        mode: mode.transpose()?,
        text: which.text.clone(),
        corrected: which.corrected,
        limit: which.limit,
    })
}

/// Of a day.
#[derive(Clone, Copy)]
enum Side {
    Begin,
    End,
}

/// The beginning or the end of a day, or a moment in it, by the clock of this place.
fn day(option: &str, text: &str, side: Side) -> Result<Timestamp, Failure> {
    let text = text.trim();
    let moment = || -> Result<Timestamp, jiff::Error> {
        // The day alone has ten characters.
        let at = match text.len() > 10 {
            true => text.parse::<DateTime>()?,
            false => {
                let day: Date = text.parse()?;
                match side {
                    Side::Begin => day,
                    Side::End => day.tomorrow()?,
                }
                .to_datetime(jiff::civil::Time::midnight())
            }
        };
        Ok(at.to_zoned_datetime(TimeZone::system())?.timestamp())
    };
    moment().map_err(|_| {
        Failure::Usage(format!(
            "{option} {text}: write a day, such as 2026-11-29, or a day and a time, such as \
             2026-11-29T20:15"
        ))
    })
}

fn list(
    open: &mut Open,
    query: &Query,
    settings: &Settings,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    if !settings.keep {
        console::report(
            "what is played is not kept: keep = false stands under [sittings] in your settings",
        );
    }
    if format == AnswerFormat::Json {
        let list = open.list(query)?;
        let shown: Vec<Shown> = list.iter().map(|s| Shown::of(s, &open.folder)).collect();
        return print(format, &json!({"sittings": shown}), String::new);
    }
    let list = open.refreshed_headings(query)?;
    if list.is_empty() {
        let none = match *query == Query::default() {
            true => format!("no sittings yet in {}", plain::path(open.folder.root())),
            false => "no sitting fits".into(),
        };
        console::report(&none);
        return Ok(ExitCode::SUCCESS);
    }
    let width = pager::size().map(|(columns, _)| columns.into());
    pager::print(&list::list_text(&list, width))?;
    Ok(ExitCode::SUCCESS)
}

fn show(sitting: &Sitting, open: &Open, format: AnswerFormat) -> Result<ExitCode, Failure> {
    let json = Shown::of(sitting, &open.folder);
    print(format, &json, || list::show_text(sitting, &open.folder))
}

// ---- changing ----

fn change(
    open: &mut Open,
    one: &One,
    format: AnswerFormat,
    change: impl FnOnce(&mut Facts),
) -> Result<ExitCode, Failure> {
    let sitting = open.change(&one.name, change)?;
    let json = Shown::of(&sitting, &open.folder);
    print(format, &json, || {
        list::list_text(&[sitting.heading()], None)
    })
}

fn delete(
    open: &mut Open,
    names: &[String],
    yes: bool,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    let mut all: Vec<Sitting> = Vec::new();
    for name in names {
        let sitting = open.find(name)?;
        if all.iter().all(|s| s.id != sitting.id) {
            all.push(sitting);
        }
    }
    let way = match sittings::has_trash() {
        true => Deleting::ToTrash,
        false => Deleting::ForGood,
    };
    if !yes {
        if !io::stdin().is_terminal() {
            let what = "deleting asks first, and there is no terminal to ask at: add --yes";
            return Err(Failure::Usage(what.into()));
        }
        let headings: Vec<_> = all.iter().map(Sitting::heading).collect();
        let shown = list::list_text(&headings, None);
        let for_good = match way {
            Deleting::ToTrash => "",
            Deleting::ForGood => " for good, as there is no trash here",
        };
        let (count, of) = (all.len(), of(all.len()));
        let question = format!("{shown}Delete {count} {of}{for_good}? [y/N] ");
        io::stderr().write_all(question.as_bytes())?;
        let mut answer = String::new();
        io::stdin().read_line(&mut answer)?;
        if !matches!(answer.trim().to_lowercase().as_str(), "y" | "yes") {
            console::report("nothing was deleted");
            return Ok(ExitCode::FAILURE);
        }
    }
    let mut deleted = Vec::new();
    let mut stays = false;
    for sitting in &all {
        match open.delete(sitting, way) {
            Ok(()) => {
                let to_trash = way == Deleting::ToTrash;
                deleted.push(json!({"id": sitting.id, "to_trash": to_trash}));
            }
            Err(why) => {
                stays = true;
                console::report(&why.to_string());
            }
        }
    }
    let count = deleted.len();
    let text = || format!("deleted {count} {}\n", of(count));
    let done = print(format, &json!({"deleted": deleted}), text)?;
    Ok(if stays { ExitCode::FAILURE } else { done })
}

// ---- in and out ----

fn export(
    sitting: &Sitting,
    open: &Open,
    to: &Path,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    let failed = |why: &str| Failure::Failed(format!("{}: {why}", plain::path(to)));
    let bytes = sittings::export(&open.folder, &sitting.id, open.catalogue())
        .map_err(|why| Failure::Failed(format!("{}: {why}", sitting.id)))?;
    let mut file = match OpenOptions::new().write(true).create_new(true).open(to) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::AlreadyExists => {
            return Err(failed("this exists already: name another file"));
        }
        Err(e) => return Err(failed(&format!("cannot be written: {}", plain::reason(&e)))),
    };
    if let Err(e) = file.write_all(&bytes).and_then(|()| file.sync_all()) {
        drop(file);
        let _ = std::fs::remove_file(to);
        return Err(failed(&format!("cannot be written: {}", plain::reason(&e))));
    }
    let json = json!({"id": sitting.id, "file": to.display().to_string()});
    print(format, &json, || {
        format!("{}: {}\n", plain::path(to), plain::name(sitting.title()))
    })
}

fn import(
    open: &mut Open,
    files: &[PathBuf],
    settings: &Settings,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    let (mut text, mut imported, mut failed) = (String::new(), Vec::new(), false);
    for path in files {
        let shown = plain::path(path);
        match import_one(open, path, settings) {
            Ok(Imported { sitting, new }) => {
                let what = if new { "" } else { "there already: " };
                text += &format!("{shown}: {what}{}\n", plain::name(&sitting.id));
                let file = path.display().to_string();
                imported.push(json!({"file": file, "id": sitting.id, "new": new}));
            }
            Err(why) => {
                failed = true;
                console::report(&format!("{shown}: {why}"));
            }
        }
    }
    let done = print(format, &json!({"imported": imported}), || text)?;
    Ok(if failed { ExitCode::FAILURE } else { done })
}

/// What came of a file.
struct Imported {
    sitting: Sitting,
    /// No sitting with the same music was there before.
    new: bool,
}

fn import_one(open: &mut Open, path: &Path, settings: &Settings) -> Result<Imported, Failure> {
    let bytes = file::bytes(path, Limits::default().bytes)?;
    let recording = recording::read(&bytes, &settings.catalogue)?;
    if let Some(sitting) = open.same(&recording)? {
        return Ok(Imported {
            sitting,
            new: false,
        });
    }
    for fault in recording.faults.lines() {
        console::report(&format!("{}: {fault}", plain::path(path)));
    }
    let written = std::fs::metadata(path).and_then(|m| m.modified());
    let written = written.ok().and_then(|at| ZonedDateTime::try_from(at).ok());
    let written = written.unwrap_or_else(ZonedDateTime::now);
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    let monitor = engine::monitor(settings);
    let known = (&*name, &written);
    let catalogue = &settings.catalogue;
    let sitting = sittings::import(&open.folder, &bytes, &recording, known, monitor, catalogue)
        .map_err(|e| Failure::Failed(e.to_string()))?;
    open.put(&sitting)?;
    Ok(Imported { sitting, new: true })
}
