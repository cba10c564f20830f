//! The loop: waits for something to happen, has the state take it, and draws when the
//! picture may have changed.

use super::options::{Options, Outcome};
use super::state::ScreenState;
use super::surface::{Alarm, MouseReports, Surface};
use super::terminal::Ground;
use crate::stage::Stage;
use crossbeam_channel::{Receiver, never, select};
use ratatui::crossterm::event::Event;
use ratatui::crossterm::style::force_color_output;
use std::io;
use std::ops::ControlFlow::Break;
use std::time::{Duration, Instant};

/// At most sixty pictures a second.
const FRAME: Duration = Duration::from_micros(16_667);

/// Takes the terminal and shows `stage` until the player quits, a signal comes,
/// or the stage fails. `keys` are the terminal's events; see [`super::keyboard()`].
pub fn run(stage: &mut dyn Stage, options: &Options, keys: Receiver<Event>) -> io::Result<Outcome> {
    // NO_COLOR has already been heeded in the choice of palette; crossterm would take the
    // colours of any palette away.
    force_color_output(true);
    let mut ground = Ground::take(options.log.as_deref(), MouseReports::wanted(options.mouse))?;
    let alarms = ground.alarms();
    follow(stage, options, keys, alarms, &mut ground)
}

/// The same on any surface.
pub(super) fn follow(
    stage: &mut dyn Stage,
    options: &Options,
    keys: Receiver<Event>,
    alarms: Receiver<Alarm>,
    surface: &mut impl Surface,
) -> io::Result<Outcome> {
    let ended = until_it_ends(stage, options, keys, &alarms, surface);
    // A signal's alarm is sent before it restores the terminal: the loop may see that the
    // terminal is lost before it has received the signal.
    let signal = alarms.try_iter().find_map(|alarm| match alarm {
        Alarm::Signal(n) => Some(Outcome::Signal(n)),
        _ => None,
    });
    match (ended, signal) {
        (Ok(Outcome::Lost) | Err(_), Some(signal)) => Ok(signal),
        (ended, _) => ended,
    }
}

fn until_it_ends(
    stage: &mut dyn Stage,
    options: &Options,
    keys: Receiver<Event>,
    alarms: &Receiver<Alarm>,
    surface: &mut impl Surface,
) -> io::Result<Outcome> {
    let mut state = ScreenState::new(options);
    let quiet = never();
    let mut updates = options.updates.clone();
    let mut deaf = false;
    let mut dirty = true;
    let mut drawn: Option<Instant> = None;
    loop {
        if let Some(why) = stage.failed() {
            return Ok(Outcome::Failed(why));
        }
        let due = drawn.map_or(Duration::ZERO, |t| FRAME.saturating_sub(t.elapsed()));
        if dirty && due.is_zero() {
            let present = state.advance(Instant::now(), stage);
            if let Break(outcome) = state.draw(present, surface)? {
                return Ok(outcome);
            }
            drawn = Some(Instant::now());
            dirty = false;
        }
        while let Some(action) = state.job(stage) {
            if let Break(outcome) = state.perform(action, stage, surface)? {
                return Ok(outcome);
            }
            dirty = true;
        }
        // The stage may have changed its source of news.
        let source = stage.news().clone();
        // Once something is to be drawn, news can wait until it is.
        let (wait, listen) = match dirty {
            true => (due, &quiet),
            false => {
                let patience = state
                    .waits
                    .map_or(stage.patience(), |w| w.min(stage.patience()));
                (patience, if deaf { &quiet } else { &source })
            }
        };
        select! {
            recv(alarms) -> alarm => match alarm {
                Ok(Alarm::Signal(n)) => return Ok(Outcome::Signal(n)),
                Ok(Alarm::Lost) | Err(_) => return Ok(Outcome::Lost),
                Ok(Alarm::Stop) => {
                    surface.stop()?;
                    state.forget(surface);
                }
                Ok(Alarm::Resized) => state.forget(surface),
                Ok(Alarm::Continued) => {
                    surface.resume()?;
                    state.forget(surface);
                }
            },
            recv(keys) -> event => match event {
                Ok(event) => {
                    if let Break(outcome) = state.on_event(&event, stage, surface)? {
                        return Ok(outcome);
                    }
                }
                Err(_) => return Err(io::Error::other(
                    "the terminal gives no more keys; start again in a working terminal",
                )),
            },
            recv(updates) -> update => match update {
                Ok(update) => state.update(update, stage, surface)?,
                // The thread that follows the settings is gone.
                Err(_) => updates = never(),
            },
            recv(listen) -> sent => {
                if sent.is_err() {
                    // The sender of news is gone; the stage says whether that is a failure.
                    deaf = true;
                }
            },
            default(wait) => {}
        }
        dirty = true;
    }
}
