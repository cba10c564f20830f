//! The engine as the settings want it.

use crate::engine::{Learned, Monitor};
use crate::settings::Settings;
use crate::time::Time;
use std::sync::Arc;

/// A monitor with the catalogue and the weights in force, told nothing yet.
pub fn untold_monitor(settings: &Settings) -> Monitor {
    let estimator = Learned::new(&settings.catalogue, Arc::clone(&settings.model));
    Monitor::with_estimator(Arc::clone(&settings.catalogue), estimator)
}

/// The same, told the settings in force.
pub fn monitor(settings: &Settings) -> Monitor {
    let mut monitor = untold_monitor(settings);
    for event in settings.events() {
        monitor.on_event(Time::ZERO, event, &mut ());
    }
    monitor
}
