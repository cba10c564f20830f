//! The difference between new settings and those in force.

use super::values::Settings;
use crate::engine::Event;
use crate::screen::Update;

impl Settings {
    /// What the screen receives when these are replaced by `new` ones: only what differs.
    /// An inertia that the user no longer names stays as it is. What needs a new start is
    /// mentioned as long as it differs from what was there at the `start`.
    pub(super) fn update(&self, new: &Settings, start: &Settings) -> Update {
        let named = |s: &Settings| s.inertia_is_set.then_some(s.inertia);
        let inertia = named(new).filter(|_| named(new) != named(self));
        let changed = |event: &Event| match event {
            Event::Inertia(_) => inertia.is_some(),
            _ => !self.events().contains(event),
        };
        let later = [
            ("keyboard.port", start.ports != new.ports),
            ("reading.weights", start.weights != new.weights),
            ("modes.toml", start.catalogue != new.catalogue),
            (
                "[sittings]",
                start.keep != new.keep
                    || start.sittings_folder != new.sittings_folder
                    || start.sitting_rest != new.sitting_rest
                    || start.sitting_days != new.sitting_days,
            ),
            (
                "[click]",
                start.tempo != new.tempo || start.meter != new.meter,
            ),
            ("[jobs]", start.jobs != new.jobs),
            ("screen.lines", start.lines != new.lines),
        ];
        let later: Vec<&str> = later.iter().filter(|l| l.1).map(|l| l.0).collect();
        let said = match later.as_slice() {
            [] => None,
            [one] => Some(format!("{one} counts from the next start.")),
            several => Some(format!(
                "{} count from the next start.",
                several.join(" and ")
            )),
        };
        Update {
            notation: (self.notation != new.notation).then_some(new.notation),
            palette: (self.palette != new.palette).then_some(new.palette),
            depth: (self.depth != new.depth).then_some(new.depth),
            panels: (self.panels != new.panels).then_some(new.panels),
            mouse: (self.mouse != new.mouse).then_some(new.mouse),
            keys: (self.keys != new.keys).then(|| new.keys.clone()),
            events: new.events().into_iter().filter(changed).collect(),
            said,
            refused: None,
        }
    }
}
