//! `peregrinus` alone, and what `listen` and `replay` share: the monitor on a
//! keyboard, on a file, or on a demo étude while there is no keyboard.

use super::stage::{Desk, demo_notice};
use super::{Failure, lines};
use crate::engine::Reading;
use crate::live::{
    self, Link, Listener, Order, Player, Remember, SystemClock, Wanted, World, play,
};
use crate::midi;
use crate::plan::Marker;
use crate::screen::{self, Outcome};
use crate::settings::{Settings, state_dir};
use crate::study;
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
pub fn run(settings: &Settings) -> Result<ExitCode, Failure> {
    let (mut listener, idle) = start(settings, None)?;
    let status = listener.feed.status();
    if status.link == Link::Keyboard {
        return show_keyboard(listener, None, idle, settings, lines::Format::Text);
    }
    let mut player = demo(settings)?;
    if !std::io::stdout().is_terminal() {
        // Nobody would follow it: the demo plays to its end.
        drop(listener);
        eprintln!("peregrinus: {}", demo_notice(status.notice.as_deref()));
        let position = player.watch();
        return lines::follow(
            &mut player.feed,
            || position().ended,
            settings,
            lines::Format::Text,
        );
    }
    // Draining keeps the engine that waits for a keyboard from waiting for us.
    listener.feed.history();
    screen(
        Desk::new(idle)
            .with_keyboard(listener, None)
            .with_file(player, None),
        settings,
    )
}

/// `listen`.
pub fn listen(
    settings: &Settings,
    record: Option<&Path>,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    let (listener, idle) = start(settings, record)?;
    show_keyboard(
        listener,
        record.map(|r| r.display().to_string()),
        idle,
        settings,
        format,
    )
}

fn start(settings: &Settings, record: Option<&Path>) -> Result<(Listener, Reading), Failure> {
    let idle = settings.monitor().reading();
    let memory = state_dir().map(|d| d.join("keyboard"));
    let wanted = Wanted {
        port: settings.port.clone(),
        remembered: memory
            .as_deref()
            .and_then(|f| std::fs::read_to_string(f).ok()),
        remember: memory.map(|file| -> Remember { Box::new(move |name| remember(&file, name)) }),
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

/// Failing to remember costs a choice next time, no more.
fn remember(file: &Path, name: &str) {
    if let Some(folder) = file.parent() {
        let _ = std::fs::create_dir_all(folder);
    }
    let _ = std::fs::write(file, name);
}

fn demo(settings: &Settings) -> Result<Player, Failure> {
    let performance = midi::read(DEMO.1)?;
    Ok(play(
        DEMO.0,
        study::events(&performance),
        performance.end,
        settings.monitor(),
        Arc::new(SystemClock::start()),
        Order::Speed(1.0),
    ))
}

fn show_keyboard(
    mut listener: Listener,
    recording: Option<String>,
    idle: Reading,
    settings: &Settings,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    if std::io::stdout().is_terminal() {
        screen(Desk::new(idle).with_keyboard(listener, recording), settings)
    } else {
        let result = lines::follow(&mut listener.feed, || false, settings, format);
        whole(listener.finish(), result)
    }
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
    mut player: Player,
    notice: Option<String>,
    markers: Vec<Marker>,
    idle: Reading,
    settings: &Settings,
    format: lines::Format,
) -> Result<ExitCode, Failure> {
    if std::io::stdout().is_terminal() {
        let desk = Desk::new(idle)
            .with_file(player, notice)
            .with_markers(markers);
        return screen(desk, settings);
    }
    if let Some(notice) = notice {
        eprintln!("peregrinus: {notice}");
    }
    let position = player.watch();
    lines::follow(&mut player.feed, || position().ended, settings, format)
}

fn screen(mut desk: Desk, settings: &Settings) -> Result<ExitCode, Failure> {
    let options = screen::Options {
        catalogue: Arc::clone(&settings.catalogue),
        notation: settings.notation,
        palette: settings.palette,
        keys: settings.keys.clone(),
        log: log_file(),
    };
    let outcome = match screen::run(&mut desk, &options, screen::keyboard()) {
        Ok(Outcome::Failed(why)) => Err(why.into()),
        Ok(other) => Ok(ExitCode::from(other.exit_code())),
        Err(e) => Err(e.into()),
    };
    // The recording is whole before the program says that it is over.
    whole(desk.finish(), outcome)
}

/// Where other libraries' chatter goes while the terminal is ours.
fn log_file() -> Option<PathBuf> {
    let folder = state_dir()?;
    std::fs::create_dir_all(&folder).ok()?;
    Some(folder.join("log"))
}
