//! Whole recordings: the plan as heard, and the plan in hindsight.
//!
//! As heard is what the live display said, moment by moment. In hindsight is
//! what the whole recording makes likeliest. They are never mixed.

mod best;
mod chords;
mod course;
mod hindsight;
mod progress;
mod sounds;

use crate::engine::{
    Arrival, Change, Event, Frame, History, Judgement, KeySet, Monitor, Observer, Scores, Stroke,
};
use crate::plan::{ChordSpan, Marker, TonalPlan};
use crate::recording::Recording;
use crate::theory::Catalogue;
use crate::time::Time;
use chords::Chords;
use hindsight::Hindsight;
pub use hindsight::frames_backward;
use progress::Progress;
pub use sounds::Sound;
use std::convert::Infallible;
use std::ops::ControlFlow;
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

/// Everything that is gathered while the music is heard.
struct Gathering<'a, B> {
    heard: History,
    hindsight: Hindsight,
    chords: Chords,
    catalogue: &'a Catalogue,
    /// What is heard stays out of the plan.
    aside: bool,
    progress: Progress<'a, B>,
    /// Why nobody wants to know any longer.
    stopped: Option<B>,
}

impl<B> Gathering<'_, B> {
    /// What follows begins afresh: what was gathered so far is read, and let go. `end`: see
    /// [`Hindsight::close`].
    fn close(&mut self, at: Time, end: Option<Time>) -> Result<(), B> {
        self.hindsight.close(end, &mut self.progress)?;
        let regions = &self.hindsight.plan().regions;
        self.chords
            .close(at, regions, self.catalogue, &mut self.progress)
    }

    fn unless_stopped(&mut self, work: impl FnOnce(&mut Self) -> Result<(), B>) {
        if self.stopped.is_none() {
            self.stopped = work(self).err();
        }
    }
}

impl<B> Observer for Gathering<'_, B> {
    fn change(&mut self, at: Time, change: Change) {
        self.heard.change(at, change);
        match change {
            Change::Rest if !self.aside => self.unless_stopped(|all| all.close(at, None)),
            Change::Aside(true) => {
                self.unless_stopped(|all| all.close(at, Some(at)));
                self.aside = true;
            }
            Change::Aside(false) => {
                // What sounded in it is let go.
                self.hindsight.come_back(at);
                self.chords.come_back(at);
                self.aside = false;
            }
            _ => {}
        }
    }

    fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.hindsight.keys(at, struck, sounding);
        self.chords.keys(at, struck, sounding);
    }

    fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, arrival: Arrival) {
        if !self.aside {
            self.chords.stroke(stroke, judgement, arrival);
        }
        self.unless_stopped(|all| all.progress.heard(stroke.at));
    }

    fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        if !self.aside {
            self.hindsight.step(at, frame, evidence);
        }
        self.unless_stopped(|all| all.progress.heard(at));
    }
}

/// Runs a recording through `monitor` as fast as it goes.
///
/// The time that it takes depends on what is in the recording: silence costs nothing, nor does
/// what is held for more than two minutes. The memory is a small multiple of the notes.
pub fn study(recording: &Recording, monitor: Monitor, catalogue: &Arc<Catalogue>) -> Study {
    let go_on = |_| ControlFlow::<Infallible>::Continue(());
    let ControlFlow::Continue(study) = study_with(recording, monitor, catalogue, go_on);
    study
}

/// The same, telling how much of the work is done, from 0 to 1, some hundred times a second.
/// `progress` may break it off, for a reason of its own.
pub fn study_with<B>(
    recording: &Recording,
    mut monitor: Monitor,
    catalogue: &Arc<Catalogue>,
    mut progress: impl FnMut(f32) -> ControlFlow<B>,
) -> ControlFlow<B, Study> {
    let end = recording.end;
    let directions = (monitor.forward(), monitor.backward());
    let fading = monitor.fading();
    let mut all = Gathering {
        heard: History::default(),
        hindsight: Hindsight::new(Arc::clone(catalogue), directions, fading),
        chords: Chords::new(),
        catalogue,
        aside: false,
        progress: Progress::new(end, &mut progress),
        stopped: None,
    };
    for (at, event) in recording.events() {
        if let Event::Fading(fading) = event {
            all.hindsight.set_fading(fading);
        }
        monitor.on_event(at, event, &mut all);
        if let Some(reason) = all.stopped {
            return ControlFlow::Break(reason);
        }
    }
    monitor.advance_to(end, &mut all);
    all.heard.advance_to(end);
    all.unless_stopped(|all| all.close(end, Some(end)));
    match all.stopped {
        Some(reason) => ControlFlow::Break(reason),
        None => ControlFlow::Continue(Study {
            duration: end,
            hindsight: all.hindsight.finish(),
            chords: all.chords.finish(),
            heard: all.heard,
            markers: recording.markers.clone(),
        }),
    }
}
