//! Whole recordings: the plan as heard, and the plan in hindsight.
//!
//! As heard is what the live display said, moment by moment. In hindsight is
//! what the whole recording makes likeliest. They are never mixed.

mod best;
mod by_plan;
mod chords;
mod course;
mod hindsight;
mod progress;
mod progression;
mod sounds;

use crate::correction::CorrectedPlan;
use crate::engine::{
    Arrival, Aside, Change, Event, Frame, History, Judgement, Monitor, Observer, Scores, Stroke,
};
use crate::meter::Bars;
use crate::plan::{ChordSpan, HarmonySpan, Marker, TonalPlan};
use crate::recording::Recording;
use crate::theory::{Catalogue, KeySet};
use crate::time::Time;
pub use by_plan::{ByPlan, Plan};
use chords::Chords;
use hindsight::Hindsight;
pub use hindsight::frames_backward;
use progress::{Blocks, Piece, Progress};
pub use sounds::Sound;
use sounds::Sounds;
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
    /// The harmonies at their own pace: those of a lead sheet.
    pub harmonies: Vec<HarmonySpan>,
    pub markers: Vec<Marker>,
    /// Where bars and beats are: [`Study::harmonies`] then begin on beats.
    pub bars: Option<Bars>,
}

impl Study {
    /// How much of it belongs to the plan: all but asides.
    pub fn counted(&self) -> Time {
        let aside = |(from, to): (Time, Time)| to.min(self.duration).since(from);
        let asides = self.heard.asides().map(aside);
        asides.fold(self.duration, |left, aside| left.since(aside))
    }
}

impl Study {
    /// Its music read by the plan as heard.
    pub fn by_heard(&self) -> ByPlan {
        let heard = &self.heard;
        ByPlan::own(Plan::Heard, heard.plan(), heard.chords(), heard.harmonies())
    }

    /// By the plan in hindsight.
    pub fn by_hindsight(&self) -> ByPlan {
        let plan = &self.hindsight;
        ByPlan::own(Plan::Hindsight, plan, &self.chords, &self.harmonies)
    }

    /// By a plan that its listener has corrected.
    pub fn by_corrected(&self, corrected: &CorrectedPlan) -> ByPlan {
        ByPlan::corrected(corrected, &self.chords, &self.harmonies)
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
    /// What progress broke off with, if it did.
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
            Change::Aside(Aside::Begins) => {
                self.unless_stopped(|all| all.close(at, Some(at)));
                self.aside = true;
            }
            Change::Aside(Aside::Ends) => {
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
        self.unless_stopped(|all| all.progress.done(Piece::HeardNote));
    }

    fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        if !self.aside {
            self.hindsight.step(at, frame, evidence);
        }
        self.unless_stopped(|all| all.progress.done(Piece::HeardStep));
    }
}

/// Runs a recording through `monitor` as fast as it goes.
///
/// The time that it takes depends on what is in the recording: silence costs nothing, nor does
/// what is held for more than two minutes. The memory is a small multiple of the notes.
///
/// ```
/// use peregrinus::engine::Monitor;
/// use peregrinus::recording;
/// use peregrinus::study::study;
/// use peregrinus::theory::Catalogue;
/// use std::sync::Arc;
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let catalogue = Arc::new(Catalogue::standard().clone());
/// let bytes = std::fs::read("recordings/01_one_hearth.mid")?;
/// let recording = recording::read(&bytes, &catalogue)?;
/// let study = study(&recording, Monitor::new(Arc::clone(&catalogue))?, &catalogue);
/// for region in &study.hindsight.regions {
///     let mode = &catalogue.mode(region.spelled.tonality.mode).name;
///     println!("{} to {}: {} {mode}", region.start, region.end, region.spelled.tonic);
/// }
/// assert!(!study.hindsight.regions.is_empty() && !study.chords.is_empty());
/// # Ok(())
/// # }
/// ```
pub fn study(recording: &Recording, monitor: Monitor, catalogue: &Arc<Catalogue>) -> Study {
    let go_on = |_| ControlFlow::<Infallible>::Continue(());
    let ControlFlow::Continue(study) = study_with(recording, monitor, catalogue, go_on);
    study
}

/// The same, reporting how much of the work is done, from 0 to 1, some hundred times a second.
/// `progress` may break it off, for a reason of its own.
pub fn study_with<B>(
    recording: &Recording,
    monitor: Monitor,
    catalogue: &Arc<Catalogue>,
    mut progress: impl FnMut(f32) -> ControlFlow<B>,
) -> ControlFlow<B, Study> {
    let blocks = Blocks {
        steps: hindsight::BLOCK,
        strokes: chords::BLOCK,
    };
    in_blocks(recording, monitor, catalogue, &mut progress, blocks)
}

fn in_blocks<B>(
    recording: &Recording,
    mut monitor: Monitor,
    catalogue: &Arc<Catalogue>,
    progress: &mut dyn FnMut(f32) -> ControlFlow<B>,
    blocks: Blocks,
) -> ControlFlow<B, Study> {
    let end = recording.end;
    let directions = (monitor.forward(), monitor.backward());
    let fading = monitor.fading();
    let mut all = Gathering {
        heard: History::default(),
        hindsight: Hindsight::new(Arc::clone(catalogue), directions, fading, blocks.steps),
        chords: Chords::new(blocks.strokes, recording.bars.clone()),
        catalogue,
        aside: false,
        progress: Progress::new(&recording.notes, blocks, progress),
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
        None => {
            let (chords, harmonies) = all.chords.finish();
            ControlFlow::Continue(Study {
                duration: end,
                hindsight: all.hindsight.finish(),
                chords,
                harmonies,
                heard: all.heard,
                markers: recording.markers.clone(),
                bars: recording.bars.clone(),
            })
        }
    }
}

/// What sounds in a recording, as the engine takes it in: keys from their onsets until neither
/// hand nor pedal holds them, in the order of their onsets. `monitor` is as it is before anything
/// was heard.
pub fn sounds(recording: &Recording, mut monitor: Monitor) -> Vec<Sound> {
    struct Listening(Sounds);
    impl Observer for Listening {
        fn change(&mut self, _: Time, _: Change) {}

        fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
            self.0.keys(at, struck, sounding);
        }
    }
    let mut listening = Listening(Sounds::default());
    for (at, event) in recording.events() {
        monitor.on_event(at, event, &mut listening);
    }
    let mut sounds = listening.0.until(recording.end);
    sounds.retain(|sound| sound.off > sound.on);
    sounds.sort_by_key(|sound| (sound.on, sound.key));
    sounds
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi;
    use std::path::Path;

    const WHOLE: Blocks = Blocks {
        steps: hindsight::BLOCK,
        strokes: chords::BLOCK,
    };

    fn etude(name: &str) -> (Recording, Monitor, Arc<Catalogue>) {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        let bytes = std::fs::read(folder.join(name)).expect("an étude");
        let recording = crate::recording::read(&bytes, &catalogue).expect("a recording");
        let monitor = Monitor::new(Arc::clone(&catalogue)).expect("the weights");
        (recording, monitor, catalogue)
    }

    /// Longer than a block, as a sitting of hours is: to the last bit the same.
    #[test]
    fn blocks_change_nothing() {
        let (recording, monitor, catalogue) = etude("01_one_hearth.mid");
        let read = |blocks| {
            let mut go_on = |_| ControlFlow::<Infallible>::Continue(());
            let monitor = monitor.clone();
            let ControlFlow::Continue(study) =
                in_blocks(&recording, monitor, &catalogue, &mut go_on, blocks);
            (study.hindsight, study.chords)
        };
        let whole = read(WHOLE);
        assert!(whole.0.regions.len() > 1 && whole.1.len() > 20);
        for (steps, strokes) in [(100, 37), (7, 1), (1, 5)] {
            let blocks = Blocks { steps, strokes };
            assert_eq!(read(blocks), whole, "{blocks:?}");
        }
    }

    #[test]
    fn progress_goes_from_nothing_to_all_and_can_break_it_off() {
        let (recording, monitor, catalogue) = etude("02_seven_stones.mid");
        let mut told = Vec::new();
        let _ = study_with(&recording, monitor.clone(), &catalogue, |done| {
            told.push(done);
            ControlFlow::<Infallible>::Continue(())
        });
        assert!(told.is_sorted() && told.len() > 20, "{told:?}");
        assert!(told[0] < 0.1 && told[told.len() - 1] > 0.9, "{told:?}");
        assert!(told.iter().all(|done| (0.0..=1.0).contains(done)));
        for enough in [0.0, 0.4, 0.8] {
            let mut after = 0;
            let stopped = study_with(&recording, monitor.clone(), &catalogue, |done| {
                after += usize::from(done >= enough);
                match done >= enough {
                    true => ControlFlow::Break("enough"),
                    false => ControlFlow::Continue(()),
                }
            });
            assert!(matches!(stopped, ControlFlow::Break("enough")));
            assert_eq!(after, 1, "nothing goes on after {enough}");
        }
    }

    /// Notes spread evenly, a few at once, with a rest of a minute in the middle.
    fn spread(strokes: u64, together: u8, apart: Time) -> Recording {
        let mut recording = Recording::default();
        for i in 0..strokes {
            let rest = Time::millis(if i < strokes / 2 { 0 } else { 60_000 });
            let at = Time(apart.0 * i) + rest;
            for k in 0..together {
                let key = 48 + (i % 5) as u8 + 4 * k;
                let channel = midi::Channel::ALL[0];
                let (on, off) = (
                    midi::Event::NoteOn {
                        channel,
                        key,
                        velocity: 80,
                    },
                    midi::Event::NoteOff { channel, key },
                );
                recording.notes.push(midi::Timed { at, event: on });
                let at = at + Time(apart.0 * 4 / 5);
                recording.notes.push(midi::Timed { at, event: off });
                recording.end = at;
            }
        }
        recording.notes.sort_by_key(|note| note.at);
        recording
    }

    /// Dense or sparse, in blocks or not: what was expected is what is done.
    #[test]
    fn the_work_is_weighed_beforehand() {
        let (_, monitor, catalogue) = etude("02_seven_stones.mid");
        let small = Blocks {
            steps: 40,
            strokes: 30,
        };
        for (strokes, together, apart) in [(2000, 8, 5), (300, 4, 100), (60, 1, 1500)] {
            let recording = spread(strokes, together, Time::millis(apart));
            for blocks in [WHOLE, small] {
                let mut told = Vec::new();
                let mut tell = |done| {
                    told.push(done);
                    ControlFlow::<Infallible>::Continue(())
                };
                let monitor = monitor.clone();
                let _ = in_blocks(&recording, monitor, &catalogue, &mut tell, blocks);
                let what = format!("{strokes} of {together}, {blocks:?}: {told:?}");
                assert!(told.is_sorted() && told.len() > 20, "{what}");
                assert!(told[told.len() - 1] > 0.93, "{what}");
                let over = told.iter().filter(|&&done| done >= 1.0).count();
                assert!(over * 20 <= told.len(), "{what}");
            }
        }
    }

    /// A thousand hours of silence and a chord held through a thousand more cost no steps.
    #[test]
    fn time_in_which_nothing_happens_costs_nothing() {
        let (_, monitor, catalogue) = etude("02_seven_stones.mid");
        let at = |hours: u64| Time::millis(3_600_000 * hours);
        let on = |hours: u64, key: u8| midi::Timed {
            at: at(hours),
            event: midi::Event::NoteOn {
                channel: midi::Channel::ALL[0],
                key,
                velocity: 80,
            },
        };
        let release = midi::Timed {
            at: at(1000),
            event: midi::Event::Release,
        };
        let recording = Recording {
            notes: vec![on(0, 48), on(0, 52), on(0, 55), release, on(2000, 50)],
            end: at(3000),
            ..Recording::default()
        };
        let mut told = 0;
        let study = study_with(&recording, monitor, &catalogue, |_| {
            told += 1;
            ControlFlow::<Infallible>::Continue(())
        });
        let ControlFlow::Continue(study) = study;
        assert_eq!(study.duration, at(3000));
        assert_eq!(study.chords.first().map(|c| c.start), Some(at(0)));
        // Two notes of two minutes each are heard, and read in hindsight.
        assert!(told < 200, "{told} reports of 64 steps");
    }
}
