//! The click in force while a keyboard is played, and the bars of the sitting that is going on.

use crate::meter::{Bars, Click, Meter, Tap, Tempo, TypedClick};
use crate::time::Time;

/// The click that the settings have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetClick {
    /// It begins with the first note of each sitting, unless another is in force.
    pub tempo: Option<Tempo>,
    /// Of what is tapped, too.
    pub meter: Meter,
}

impl Default for SetClick {
    fn default() -> SetClick {
        SetClick {
            tempo: None,
            meter: Meter::COMMON,
        }
    }
}

/// A click in force, with the bars that it gives at present.
#[derive(Clone, Debug, PartialEq)]
pub struct ClickNow {
    pub click: Click,
    pub bars: Bars,
}

pub(super) struct Clicks {
    set: SetClick,
    /// Whether the one in force comes from the settings.
    is_set: bool,
    tap: Tap,
    bars: Bars,
}

impl Clicks {
    pub fn new(set: SetClick) -> Clicks {
        Clicks {
            set,
            is_set: false,
            tap: Tap::new(set.meter),
            bars: Bars::default(),
        }
    }

    /// A tap, which the engine takes in at `now`: whether it gives another click.
    pub fn tap(&mut self, at: Time, now: Time) -> bool {
        let given = self.tap.at(at).is_some();
        if given {
            self.take(now);
        }
        given
    }

    /// What the player types: whether there is another click, or none any longer.
    pub fn typed(&mut self, now: Time, typed: TypedClick) -> bool {
        let before = self.tap.click();
        self.tap.typed(now, typed);
        let changed = self.tap.click() != before;
        if changed {
            self.take(now);
        }
        changed
    }

    /// A sitting begins: its bars count from 1. Whether the click of the settings begins with it.
    pub fn begin(&mut self, now: Time) -> bool {
        let set = self
            .set
            .tempo
            .filter(|_| self.is_set || self.tap.click().is_none());
        if let Some(tempo) = set {
            self.tap.set(Click {
                tempo,
                meter: self.set.meter,
                from: now,
            });
        }
        // As the sitting's file will have it.
        self.bars = Bars::default();
        if let Some(click) = self.tap.click() {
            let from = now + click.since(now).from;
            self.bars.click(now, Some(Click { from, ..click }));
        }
        self.is_set = set.is_some();
        self.is_set
    }

    /// The click in force.
    pub fn click(&self) -> Option<Click> {
        self.tap.click()
    }

    pub fn now(&self) -> Option<ClickNow> {
        Some(ClickNow {
            click: self.click()?,
            bars: self.bars.latest(),
        })
    }

    fn take(&mut self, now: Time) {
        self.is_set = false;
        self.bars.click(now, self.tap.click());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(clicks: &Clicks, ms: u64) -> Option<(u64, f64)> {
        let place = clicks.now()?.bars.place(Time::millis(ms))?;
        Some((place.bar, place.beat))
    }

    #[test]
    fn the_tempo_of_the_settings_begins_with_each_sitting() {
        let mut clicks = Clicks::new(SetClick {
            tempo: Tempo::per_minute(120.0),
            meter: "3/4".parse().expect("a meter"),
        });
        assert_eq!(clicks.now(), None);
        assert!(clicks.begin(Time::millis(700)));
        assert_eq!(place(&clicks, 700), Some((1, 1.0)));
        assert_eq!(place(&clicks, 2200), Some((2, 1.0)));
        assert!(clicks.begin(Time::millis(10_000)));
        assert_eq!(place(&clicks, 10_000), Some((1, 1.0)));
        // What the player ended stays so until the next sitting.
        assert!(clicks.typed(Time::millis(11_000), TypedClick::End));
        assert!(!clicks.typed(Time::millis(11_000), TypedClick::End));
        assert_eq!(clicks.now(), None);
        assert!(clicks.begin(Time::millis(20_000)));
        // What is tapped counts for later sittings too, from the bar that it is in.
        for ms in [21_000, 22_000] {
            clicks.tap(Time::millis(ms), Time::millis(ms + 5));
        }
        assert!(!clicks.begin(Time::millis(40_000)));
        assert_eq!(place(&clicks, 40_000), Some((1, 2.0)));
        assert_eq!(place(&clicks, 42_000), Some((2, 1.0)));
    }
}
