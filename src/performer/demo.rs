//! The étude that plays while there is no keyboard.

use crate::engine::Monitor;
use crate::live::{Order, Player, SystemClock, play};
use crate::midi::FileError;
use crate::recording;
use std::sync::Arc;

const NAME: &str = "One Hearth, an étude";
const FILE: &[u8] = include_bytes!("../../recordings/01_one_hearth.mid");

/// Plays it. `monitor` has been told the settings in force.
pub fn demo(monitor: Monitor) -> Result<Player, FileError> {
    let recording = recording::read(FILE, monitor.catalogue())?;
    Ok(play(
        NAME,
        recording.events().collect(),
        recording.end,
        monitor,
        Arc::new(SystemClock::start()),
        Order::Speed(1.0),
    ))
}
