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
use crate::plan::{ChordSpan, Marker, TonalPlan};
use crate::recording::Recording;
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
    pub markers: Vec<Marker>,
}

impl Study {
    /// How much of it belongs to the plan: all but asides.
    pub fn counted(&self) -> Time {
        let aside = |(from, to): (Time, Time)| to.min(self.duration).since(from);
        let asides = self.heard.asides().map(aside);
        asides.fold(self.duration, |left, aside| left.since(aside))
    }
}

struct Both {
    heard: History,
    hindsight: Hindsight,
    chords: Chords,
    /// What is heard stays out of the plan.
    aside: bool,
}

impl Observer for Both {
    fn change(&mut self, at: Time, change: Change) {
        self.heard.change(at, change);
        match change {
            Change::Rest if !self.aside => {
                self.hindsight.rest();
                self.chords.rest(at);
            }
            Change::Aside(true) => {
                self.hindsight.leave(at);
                self.chords.rest(at);
                self.aside = true;
            }
            Change::Aside(false) => {
                self.hindsight.come_back(at);
                // Without a stroke in it there is no chord.
                self.chords.rest(at);
                self.aside = false;
            }
            _ => {}
        }
    }

    fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.hindsight.keys(at, struck, sounding);
        self.chords.keys(at, struck, sounding);
    }

    fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, another: bool) {
        if !self.aside {
            self.chords.stroke(stroke, judgement, another);
        }
    }

    fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        if !self.aside {
            self.hindsight.step(at, frame, evidence);
        }
    }
}

/// Runs a recording through `monitor` as fast as it goes.
pub fn study(recording: &Recording, mut monitor: Monitor, catalogue: &Arc<Catalogue>) -> Study {
    let mut both = Both {
        heard: History::default(),
        hindsight: Hindsight::new(Arc::clone(catalogue), monitor.backward(), monitor.fading()),
        chords: Chords::default(),
        aside: false,
    };
    for (at, event) in recording.events() {
        if let Event::Fading(fading) = event {
            both.hindsight.set_fading(fading);
        }
        monitor.on_event(at, event, &mut both);
    }
    monitor.advance_to(recording.end, &mut both);
    both.heard.advance_to(recording.end);
    let hindsight = both.hindsight.finish(recording.end);
    Study {
        duration: recording.end,
        chords: both.chords.finish(recording.end, &hindsight, catalogue),
        hindsight,
        heard: both.heard,
        markers: recording.markers.clone(),
    }
}
