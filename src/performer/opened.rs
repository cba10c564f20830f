//! A sitting of another day, on the stage in the place of what is played now.

use super::said::Said;
use crate::engine::Monitor;
use crate::live::{Chosen, Order, Player, SystemClock, play};
use crate::source::Opened;
use std::sync::Arc;

pub(super) struct OpenedSitting {
    pub player: Player,
    pub said: Said,
    pub shown: Opened,
    /// What is wrong with its file.
    pub damage: Option<String>,
}

impl OpenedSitting {
    /// It stands at its end, so that all of it is there to look back on; it plays from the
    /// beginning when it is told to go on. `fresh` has been told the settings in force.
    pub fn new(chosen: Chosen, fresh: Monitor, number: usize) -> OpenedSitting {
        let Chosen {
            row,
            events,
            end,
            markers,
            damage,
        } = chosen;
        let name = row.name.as_deref().unwrap_or(&row.id);
        let clock = Arc::new(SystemClock::start());
        let player = play(name, events, end, fresh, clock, Order::Pause);
        player.order(Order::Seek(end));
        player.order(Order::Resume);
        OpenedSitting {
            player,
            said: Said::of(markers),
            shown: Opened {
                date: row.date,
                number,
            },
            damage,
        }
    }
}
