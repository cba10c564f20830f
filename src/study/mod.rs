//! Whole recordings: the plan as heard, and the plan in hindsight.
//!
//! As heard is what the live display said, moment by moment. In hindsight is
//! what the whole recording makes likeliest. They are never mixed.

mod chords;
mod hindsight;
mod sounds;

use crate::engine::{
    Change, Event, Frame, History, Judgement, KeySet, Monitor, Observer, Scores, Stroke,
};
use crate::midi::{OURS, Performance};
use crate::plan::{ChordSpan, TonalPlan};
use crate::theory::Catalogue;
use crate::time::Time;
use chords::Chords;
use hindsight::Hindsight;
pub use hindsight::frames_backward;
pub use sounds::Sound;
use std::sync::Arc;

/// A recording, studied.
#[derive(Clone, Debug)]
pub struct Study {
    pub duration: Time,
    /// Regions, homes and chords as the live display said them.
    pub heard: History,
    /// What the whole makes likeliest.
    pub hindsight: TonalPlan,
    /// And its chords.
    pub chords: Vec<ChordSpan>,
}

struct Both {
    heard: History,
    hindsight: Hindsight,
    chords: Chords,
}

impl Observer for Both {
    fn change(&mut self, at: Time, change: Change) {
        self.heard.change(at, change);
        if change == Change::Rest {
            self.hindsight.rest();
            self.chords.rest(at);
        }
    }

    fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.hindsight.keys(at, struck, sounding);
        self.chords.keys(at, struck, sounding);
    }

    fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, another: bool) {
        self.chords.stroke(stroke, judgement, another);
    }

    fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        self.hindsight.step(at, frame, evidence);
    }
}

/// Runs a recording through `monitor` as fast as it goes.
pub fn study(performance: &Performance, mut monitor: Monitor, catalogue: &Arc<Catalogue>) -> Study {
    let mut both = Both {
        heard: History::default(),
        hindsight: Hindsight::new(Arc::clone(catalogue), monitor.backward(), monitor.fading()),
        chords: Chords::default(),
    };
    for (at, event) in events(performance) {
        if let Event::Fading(fading) = event {
            both.hindsight.set_fading(fading);
        }
        monitor.on_event(at, event, &mut both);
    }
    monitor.advance_to(performance.end, &mut both);
    both.heard.advance_to(performance.end);
    let hindsight = both.hindsight.finish(performance.end);
    Study {
        duration: performance.end,
        chords: both.chords.finish(performance.end, &hindsight, catalogue),
        hindsight,
        heard: both.heard,
    }
}

/// A recording's notes and the settings it carries, in order.
pub fn events(performance: &Performance) -> Vec<(Time, Event)> {
    let mut settings = performance
        .texts
        .iter()
        .filter_map(|t| {
            let event = Event::from_setting(t.text.strip_prefix(OURS)?)?;
            Some((t.before_event, t.at, event))
        })
        .peekable();
    let mut all = Vec::with_capacity(performance.events.len());
    for (i, timed) in performance.events.iter().enumerate() {
        while let Some((_, at, event)) = settings.next_if(|s| s.0 <= i) {
            all.push((at, event));
        }
        all.push((timed.at, Event::Midi(timed.event)));
    }
    all.extend(settings.map(|(_, at, event)| (at, event)));
    all
}
