//! How far a study has got, and whether to go on.
//!
//! The work is weighed beforehand, by what the recording holds: some of it is done for each step
//! of the grid, some for each note, some for each stroke.

use crate::engine::{CLUSTER, REST, STANDING, STEP};
use crate::midi::{Event, Timed};
use crate::time::Time;
use std::ops::ControlFlow;

/// How many steps and strokes are worked on at once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blocks {
    pub steps: usize,
    pub strokes: usize,
}

/// Progress is reported once in this many pieces of the work.
const OFTEN: usize = 64;

/// A piece of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    /// A step or a note, heard as it was played.
    HeardStep,
    HeardNote,
    /// A step or a stroke goes through a network once more, forward or backward.
    StepAgain,
    StrokeAgain,
    /// The likeliest courses have gone on by a step or a stroke.
    StepDecided,
    StrokeDecided,
}

impl Piece {
    /// How long it takes, in microseconds: measured on one machine with scattered notes, with
    /// chords and with a million notes in ten minutes. Only their ratios matter.
    fn cost(self) -> f64 {
        match self {
            Piece::HeardStep => 270.0,
            Piece::HeardNote => 70.0,
            Piece::StepAgain => 90.0,
            Piece::StrokeAgain => 45.0,
            Piece::StepDecided => 340.0,
            Piece::StrokeDecided => 75.0,
        }
    }
}

/// How far the whole is.
pub(super) struct Progress<'a, B> {
    tell: &'a mut dyn FnMut(f32) -> ControlFlow<B>,
    /// What is expected in all, and what is done of it.
    all: f64,
    done: f64,
    pieces: usize,
}

impl<'a, B> Progress<'a, B> {
    /// Of a recording with these notes. `tell` gets the share that is done, 0 to 1, and breaks
    /// off for a reason, which becomes the error of the work.
    pub fn new(
        notes: &[Timed],
        blocks: Blocks,
        tell: &'a mut dyn FnMut(f32) -> ControlFlow<B>,
    ) -> Progress<'a, B> {
        Progress {
            tell,
            all: expected(notes, blocks),
            done: 0.0,
            pieces: 0,
        }
    }

    /// A piece of the work is done.
    pub fn done(&mut self, piece: Piece) -> Result<(), B> {
        self.done += piece.cost();
        self.pieces += 1;
        if !self.pieces.is_multiple_of(OFTEN) {
            return Ok(());
        }
        // What was expected is about right, never more.
        let share = (self.done / self.all.max(1.0)).min(1.0);
        match (self.tell)(share as f32) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(reason) => Err(reason),
        }
    }
}

/// What lies between two long rests.
#[derive(Default)]
struct Stretch {
    time: Time,
    notes: usize,
    strokes: usize,
}

impl Stretch {
    fn cost(&self, blocks: Blocks) -> f64 {
        let steps = self.time.0.div_ceil(STEP.0) as usize;
        let times = |count: usize, piece: Piece| count as f64 * piece.cost();
        // Backward; in blocks once more in each direction, but for the first on the way back.
        let again = |count: usize, block: usize| match count > block {
            true => 3 * count - block,
            false => count,
        };
        times(steps, Piece::HeardStep)
            + times(self.notes, Piece::HeardNote)
            + times(again(steps, blocks.steps), Piece::StepAgain)
            + times(steps, Piece::StepDecided)
            + times(again(self.strokes, blocks.strokes), Piece::StrokeAgain)
            + times(self.strokes, Piece::StrokeDecided)
    }
}

/// What studying these notes takes, about: pedals are passed over.
fn expected(notes: &[Timed], blocks: Blocks) -> f64 {
    let mut cost = 0.0;
    let mut stretch = Stretch::default();
    let mut held = 0_usize;
    let mut before: Option<Time> = None;
    let mut stroke: Option<Time> = None;
    for &Timed { at, event } in notes {
        let gap = before.map_or(Time::ZERO, |before| at.since(before));
        before = before.map(|_| at);
        if held == 0 && gap > REST {
            stretch.time += REST;
            cost += std::mem::take(&mut stretch).cost(blocks);
            (before, stroke) = (None, None);
        } else {
            stretch.time += gap.min(STANDING);
        }
        match event {
            Event::NoteOn { .. } => {
                before = Some(at);
                held += 1;
                stretch.notes += 1;
                if stroke.is_none_or(|first| at.since(first) > CLUSTER) {
                    stroke = Some(at);
                    stretch.strokes += 1;
                }
            }
            Event::NoteOff { .. } => held = held.saturating_sub(1),
            Event::AllSoundOff { .. }
            | Event::AllNotesOff { .. }
            | Event::Release
            | Event::ReleaseKeyboard { .. } => held = 0,
            _ => {}
        }
    }
    cost + stretch.cost(blocks)
}
