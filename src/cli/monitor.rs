//! `peregrinus` alone, and what `listen` and `replay` share: the monitor on a
//! keyboard, on a file, or on a demo étude while there is no keyboard.

use super::stage::{Desk, demo_notice};
use super::{Failure, Own, lines, memory};
use crate::engine::{Inertia, Reading};
use crate::live::{self, Link, Listener, Order, Player, SystemClock, Wanted, World, play};
use crate::midi;
use crate::plan::Marker;
use crate::recording;
use crate::screen::{self, Depth, Outcome};
use crate::settings::{Settings, state_dir};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

/// The étude that plays while there is no keyboard.
const DEMO: (&str, &[u8]) = (
    "One Hearth, an étude",
    include_bytes!("../../recordings/01_one_hearth.mid"),
);

/// `peregrinus` alone.
pub fn run(own: &Own) -> Result<ExitCode, Failure> {
    let mut settings = own.settings.clone();
    own.lines.take_into(&mut settings);
    settings.inertia = inertia(&settings, None);
    let settings = &settings;
    let (mut listener, idle) = start(settings, None)?;
    let status = listener.feed.status();
    if status.link == Link::Keyboard {
        return show_keyboard(listener, None, idle, settings, own, lines::Format::Text);
    }
    let player = demo(settings)?;
    if !std::io::stdout().is_terminal() {
        // Nobody would follow it: the demo plays to its end.
        drop(listener);
        eprintln!("peregrinus: {}", demo_notice(status.notice.as_deref()));
        let mut desk = Desk::new(idle).with_file(player, None);
        return lines::follow(&mut desk, settings, lines::Format::Text);
    }
    // Draining keeps the engine that waits for a keyboard from waiting for us.
    listener.feed.history();
    let desk = Desk::new(idle)
        .with_keyboard(listener, None)
        .with_file(player, None);
    if !draws(settings) {
        lines::say(&demo_notice(status.notice.as_deref()));
    }
    show(desk, settings, own, lines::Format::Text)
}

/// `listen`.
pub fn listen(
    settings: &Settings,
    own: &Own,
    record: Option<&Path>,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    let (listener, idle) = start(settings, record)?;
    show_keyboard(
        listener,
        record.map(|r| r.display().to_string()),
        idle,
        settings,
        own,
        format,
    )
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
    let idle = settings.monitor().reading();
    let wanted = Wanted {
        port: settings.port.clone(),
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
        settings.untold_monitor(),
        &settings.events(),
        record,
    )?;
    Ok((listener, idle))
}

fn demo(settings: &Settings) -> Result<Player, Failure> {
    let recording = recording::read(DEMO.1, &settings.catalogue)?;
    Ok(play(
        DEMO.0,
        recording.events().collect(),
        recording.end,
        settings.monitor(),
        Arc::new(SystemClock::start()),
        Order::Speed(1.0),
    ))
}

fn show_keyboard(
    listener: Listener,
    recording: Option<String>,
    idle: Reading,
    settings: &Settings,
    own: &Own,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    let desk = Desk::new(idle).with_keyboard(listener, recording);
    show(desk, settings, own, format)
}

/// Whether there is a screen, not lines. A terminal that calls itself dumb moves no cursor.
pub fn draws(settings: &Settings) -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    !settings.lines && !dumb && std::io::stdout().is_terminal()
}

/// On a screen, or in lines.
fn show(
    mut desk: Desk,
    settings: &Settings,
    own: &Own,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    if draws(settings) {
        return screen(desk, settings, own);
    }
    let result = lines::follow(&mut desk, settings, format);
    whole(desk.finish(), result)
}

/// A recording that is not whole makes the outcome a failure; both are said.
fn whole(
    recording: Result<(), String>,
    outcome: Result<ExitCode, Failure>,
) -> Result<ExitCode, Failure> {
    match (recording, outcome) {
        (Ok(()), outcome) => outcome,
        (Err(what), Ok(_)) => Err(what.into()),
        (Err(what), Err(why)) => Err(format!("{why}\nperegrinus: {what}").into()),
    }
}

/// `replay`.
pub fn show_file(
    player: Player,
    notice: Option<String>,
    markers: Vec<Marker>,
    idle: Reading,
    settings: &Settings,
    own: &Own,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    let desk = Desk::new(idle)
        .with_file(player, notice)
        .with_markers(markers);
    show(desk, settings, own, format)
}

fn screen(mut desk: Desk, settings: &Settings, own: &Own) -> Result<ExitCode, Failure> {
    let (_watch, updates) = own.follow();
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
        log: log_file(),
        hint,
        updates,
    };
    let outcome = match screen::run(&mut desk, &options, screen::keyboard()) {
        Ok(Outcome::Failed(why)) => Err(why.into()),
        Ok(other) => Ok(ExitCode::from(other.exit_code())),
        Err(e) => Err(e.into()),
    };
    // The recording is whole before the program says that it is over.
    whole(desk.finish(), outcome)
}

/// How many colours the terminal says that it shows.
fn terminal_depth() -> Depth {
    let says = |name| std::env::var_os(name);
    Depth::of_terminal(says("COLORTERM").as_deref(), says("TERM").as_deref())
}

/// Where other libraries' chatter goes while the terminal is ours.
fn log_file() -> Option<PathBuf> {
    let folder = state_dir()?;
    std::fs::create_dir_all(&folder).ok()?;
    Some(folder.join("log"))
}
