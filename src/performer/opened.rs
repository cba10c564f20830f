//! A sitting of another day, on the stage in the place of what is played now.

use super::said::Said;
use crate::engine::Monitor;
use crate::live::{Chosen, Order, Player, RevisedPlan, SystemClock, play};
use crate::source::Opened;
use std::sync::Arc;

pub(super) struct OpenedSitting {
    pub player: Player,
    pub said: Said,
    pub shown: Opened,
    /// What is wrong with its file.
    pub damage: Option<String>,
    id: String,
    /// What is to be said of its corrections.
    about: Option<String>,
}

impl OpenedSitting {
    /// It stands at its end, so that all of it is there to look back on; it plays from the
    /// beginning when it is told to go on. `fresh` has been told the settings in force.
    pub fn new(chosen: Chosen, fresh: Monitor, number: usize) -> OpenedSitting {
        let Chosen {
            row,
            events,
            end,
            keyboards,
            markers,
            corrected,
            damage,
        } = chosen;
        let name = row.name.as_deref().unwrap_or(&row.id);
        let clock = Arc::new(SystemClock::start());
        let player = play(name, events, end, fresh, clock, Order::Pause).with_keyboards(keyboards);
        player.order(Order::Seek(end));
        player.order(Order::Resume);
        OpenedSitting {
            player,
            said: Said::of(markers),
            shown: Opened {
                date: row.date,
                number,
                corrected: corrected.map(Arc::new),
            },
            id: row.id,
            about: None,
            damage,
        }
    }

    pub fn id(&self) -> &str {
        &self.id
    }

    /// What is to be said of its corrections.
    pub fn about(&self) -> Option<String> {
        self.about.clone()
    }

    /// A correction is on its way.
    pub fn begin_correction(&mut self) {
        self.about = Some("The correction is being written.".into());
    }

    /// What came of it.
    pub fn take(&mut self, plan: RevisedPlan) {
        self.about = Some(match plan {
            Ok(plan) => {
                let count = plan.as_ref().map_or(0, |plan| plan.steps().len());
                self.shown.corrected = plan.map(Arc::new);
                match count {
                    0 => "Nothing is corrected any longer.".into(),
                    1 => "Written: one correction.".into(),
                    count => format!("Written: {count} corrections."),
                }
            }
            Err(why) => format!("Not corrected: {why}"),
        });
    }
}
