//! `peregrinus` alone, and what `listen` and `replay` share: the monitor on a
//! keyboard, on a file, or on a demo étude while there is no keyboard.

use super::failure::Failure;
use super::own::{Lines, Own};
use super::{engine, memory, signature};
use crate::console;
use crate::engine::{Inertia, Reading};
use crate::lines;
use crate::live::{
    self, Keep, Library, Listener, SetClick, Sittings, SystemClock, Unwritten, Wanted, World,
};
use crate::midi::{self, Keyboard};
use crate::performer::{Performer, demo, demo_notice};
use crate::plain;
use crate::screen::{self, Depth, LeftInertia, Outcome};
use crate::settings::Settings;
use crate::sittings::Folder;
use crate::source::Link;
use crate::stage::Stage;
use jiff::ZonedDateTime;
use std::fs::File;
use std::io::IsTerminal;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

/// What `listen` and `replay` are both asked for.
#[derive(clap::Args)]
// The group of the command that they belong to has this name already.
#[group(skip)]
pub struct Args {
    /// How slowly a new tonality is established: chord, motif, phrase, period, section.
    #[arg(long, value_name = "STOP")]
    pub inertia: Option<Inertia>,
    /// Without a terminal, or with --lines: how each line looks.
    #[arg(long, value_enum, default_value_t = lines::LineFormat::Text)]
    pub format: lines::LineFormat,
    #[command(flatten)]
    lines: Lines,
}

impl Args {
    /// The settings with what was asked for.
    pub fn taken(&self, mut settings: Settings, own: &Own) -> Settings {
        settings.lines |= own.lines.asked || self.lines.asked;
        settings.inertia = inertia(&settings, self.inertia);
        settings
    }

    /// The stop of inertia that a key brings back: the one asked for, or of the settings.
    pub fn usual(&self, own: &Own) -> Inertia {
        self.inertia.unwrap_or(own.settings.inertia)
    }
}

/// `peregrinus` alone.
pub fn run(named: Vec<String>, own: &Own) -> Result<ExitCode, Failure> {
    let mut settings = own.settings.clone();
    settings.ports = ports(named, settings.ports)?;
    settings.lines |= own.lines.asked;
    settings.inertia = inertia(&settings, None);
    let settings = &settings;
    let (mut listener, idle) = start(settings, None)?;
    let status = listener.feed.status();
    let performer = performer(idle, own.settings.inertia);
    if status.link == Link::Keyboard {
        let performer = performer.with_keyboard(listener, None);
        return show(performer, settings, own, lines::LineFormat::Text);
    }
    let player = demo(engine::monitor(settings))?;
    if !std::io::stdout().is_terminal() {
        // No keyboard is waited for in a pipe: the demo plays to its end.
        drop(listener);
        let mut performer = performer.with_file(player, Some(demo_notice(status.notice)));
        return follow(&mut performer, settings, lines::LineFormat::Text).1;
    }
    // Draining keeps the engine that waits for a keyboard from waiting for us.
    listener.feed.history();
    let performer = performer
        .with_keyboard(listener, None)
        .with_file(player, None);
    show(performer, settings, own, lines::LineFormat::Text)
}

/// The keyboards that are named now, else those of the settings.
pub fn ports(named: Vec<String>, usual: Vec<String>) -> Result<Vec<String>, Failure> {
    let most = Keyboard::COUNT;
    match named.len() {
        0 => Ok(usual),
        n if n <= most => Ok(named),
        n => Err(Failure::Usage(format!(
            "--port names {n} keyboards; at most {most} play together"
        ))),
    }
}

/// A performer without a keyboard or file yet; it remembers the stop of inertia that is chosen.
pub fn performer(idle: Reading, usual: Inertia) -> Performer {
    let remember = |stop: Option<Inertia>| match stop {
        Some(stop) => memory::remember(memory::INERTIA, stop.name()),
        None => memory::forget(memory::INERTIA),
    };
    Performer::new(idle).remembering(Box::new(remember), usual)
}

/// `listen`.
pub fn listen(
    settings: &Settings,
    own: &Own,
    record: Option<&Path>,
    args: &Args,
) -> Result<ExitCode, Failure> {
    let (listener, idle) = start(settings, record)?;
    let recording = record.map(|r| r.display().to_string());
    let performer = performer(idle, args.usual(own)).with_keyboard(listener, recording);
    show(performer, settings, own, args.format)
}

/// The inertia to begin with: what is `asked` for now, else what the user's settings
/// name, else at the screen the stop that was chosen there last.
pub fn inertia(settings: &Settings, asked: Option<Inertia>) -> Inertia {
    let remembered = || {
        let screen = !settings.inertia_is_set && draws(settings);
        let stop = screen.then(|| memory::recall(memory::INERTIA)).flatten();
        stop.and_then(|s| s.trim().parse().ok())
    };
    asked.or_else(remembered).unwrap_or(settings.inertia)
}

fn start(settings: &Settings, record: Option<&Path>) -> Result<(Listener, Reading), Failure> {
    let idle = engine::monitor(settings).reading();
    let wanted = Wanted {
        ports: settings.ports.clone(),
        remembered: memory::recall(memory::KEYBOARD),
        remember: Some(Box::new(|name| memory::remember(memory::KEYBOARD, name))),
        jobs: settings.jobs.iter().map(|job| job.trigger).collect(),
    };
    let world = World {
        clock: Arc::new(SystemClock::start()),
        ports: midi::system("peregrinus"),
    };
    let listener = live::listen(
        world,
        wanted,
        engine::untold_monitor(settings),
        &settings.events(),
        Keep {
            record: record.map(Path::to_owned),
            sittings: sittings(settings),
            click: SetClick {
                tempo: settings.tempo,
                meter: settings.meter,
            },
        },
    )?;
    Ok((listener, idle))
}

/// Where what is played is kept, unless the user does not want it, or the system has no place.
fn sittings(settings: &Settings) -> Option<Sittings> {
    let folder = settings.sittings().filter(|_| settings.keep)?;
    Some(Sittings {
        folder: Folder::new(folder),
        calendar: Box::new(ZonedDateTime::now),
        to_disk: Box::new(File::sync_data),
        rest: settings.sitting_rest,
        days: settings.sitting_days,
    })
}

/// Whether there is a screen, not lines. A terminal that calls itself dumb moves no cursor.
pub fn draws(settings: &Settings) -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    !settings.lines && !dumb && std::io::stdout().is_terminal()
}

/// On a screen, or in lines.
pub fn show(
    mut performer: Performer,
    settings: &Settings,
    own: &Own,
    format: lines::LineFormat,
) -> Result<ExitCode, Failure> {
    if draws(settings) {
        return screen(performer, settings, own);
    }
    let (told, result) = follow(&mut performer, settings, format);
    whole(performer.finish(wait), result, told.as_deref())
}

fn follow(
    performer: &mut Performer,
    settings: &Settings,
    format: lines::LineFormat,
) -> (Option<String>, Result<ExitCode, Failure>) {
    let jobs: Vec<&str> = settings.jobs.iter().map(|job| job.action).collect();
    let options = lines::Options {
        format,
        spoken: settings.lines,
        notation: settings.notation,
        catalogue: &settings.catalogue,
        jobs: &jobs,
    };
    let lines::LinesOutcome { told, end } = lines::follow(performer, &options);
    (told, end.map(|()| ExitCode::SUCCESS).map_err(Failure::from))
}

/// Says why the program does not end yet.
fn wait(id: &str) {
    console::report(&format!(
        "the correction of {id} is still being written: the first one of a long sitting takes a \
         while; Ctrl-C gives it up"
    ));
}

/// What was played is said to be kept. A recording or a sitting that is not whole makes the
/// outcome a failure; all of it is said, but for what was `told` already.
fn whole(
    kept: Result<Option<String>, Vec<Unwritten>>,
    outcome: Result<ExitCode, Failure>,
    told: Option<&str>,
) -> Result<ExitCode, Failure> {
    let unwritten = match kept {
        Ok(None) => return outcome,
        Ok(Some(id)) => {
            console::report(&format!(
                "kept as {id}; to see it again: peregrinus replay last"
            ));
            return outcome;
        }
        Err(unwritten) => unwritten,
    };
    for what in unwritten {
        let what = what.to_string();
        if told != Some(&*plain::name(&what)) {
            console::report(&what);
        }
    }
    outcome.and(Err(Failure::Reported))
}

fn screen(performer: Performer, settings: &Settings, own: &Own) -> Result<ExitCode, Failure> {
    let mut performer = with_library(performer, settings);
    let (_watch, updates) = own.follow();
    let usual = performer.usual_inertia();
    let hint = memory::recall(memory::WELCOMED).is_none();
    if hint {
        memory::remember(memory::WELCOMED, "yes");
    }
    let options = screen::Options {
        catalogue: Arc::clone(&settings.catalogue),
        notation: settings.notation,
        palette: settings.palette,
        depth: settings.depth,
        terminal: terminal_depth(),
        keys: settings.keys.clone(),
        way: settings.way,
        panels: settings.panels,
        mouse: settings.mouse,
        jobs: settings.jobs.iter().map(|job| job.action).collect(),
        log: memory::log(),
        hint,
        left: (settings.inertia != usual).then_some(LeftInertia {
            left: settings.inertia,
            usual,
        }),
        updates,
    };
    let outcome = match screen::run(&mut performer, &options, screen::keyboard()) {
        Ok(Outcome::Failed(why)) => Err(Failure::Stage(why)),
        Ok(other) => Ok(ExitCode::from(other.exit_code())),
        Err(e) => Err(Failure::Terminal(e)),
    };
    // The recording is whole before the program says that it is over.
    whole(performer.finish(wait), outcome, None)
}

/// With the sittings of other days, where the system or the settings have a place for them.
fn with_library(performer: Performer, settings: &Settings) -> Performer {
    let Some(folder) = settings.sittings() else {
        return performer;
    };
    let catalogue = Arc::clone(&settings.catalogue);
    let library = Library::new(Folder::new(folder), catalogue, signature::now);
    performer.with_library(library, engine::monitor(settings))
}

/// How many colours the terminal says that it shows.
fn terminal_depth() -> Depth {
    let says = |name| std::env::var_os(name);
    Depth::of_terminal(says("COLORTERM").as_deref(), says("TERM").as_deref())
}
