//! The likeliest course of tonalities through a whole recording.
//!
//! The network hears the recording twice: as it was played, and from its end to its
//! beginning, as it was taught to. What it says of a moment from the past and from
//! the future is put together (the product of both, divided by what is likely
//! beforehand), and Viterbi's algorithm (Viterbi 1967; Rabiner 1989) finds the course
//! that is likeliest in all, with a price for each change: less for a new mode on the
//! same center. Home is the same course at a higher price.
//!
//! Everything is computed as seen from the first bass, so that transposition changes nothing,
//! to the last bit: neither the order of a sum nor which of a tie comes first.

use super::course::{Course, Moment, Prices, Run};
use super::progress::{Piece, Progress};
use super::sounds::{Sound, Sounds};
use crate::engine::{
    BREATH, COLLECTIONS, Estimator, Fading, Frame, Frames, Learned, PerKey, STEP, Scores, at_place,
    open,
};
use crate::plan::{Region, TonalPlan};
use crate::theory::{Catalogue, KeySet, PitchClass, PitchClassSet, Spelling, Tonality};
use crate::time::Time;
use std::sync::Arc;

/// Chosen on the labelled music (tests/training).
const HERE: Prices = Prices {
    anywhere: 1.5,
    same_center: 1.0,
};
const HOME: Prices = Prices {
    anywhere: 30.0,
    same_center: 15.0,
};
/// The smallest logarithm of a probability at a moment.
const UNLIKELY: f32 = -6.0;
/// The weight of what tells modes with the same notes apart.
const OWN: f32 = 0.25;
/// Minimum number of different notes for a center.
const ENOUGH: usize = 3;

/// Number of steps that are worked on at once: nearly fourteen minutes. Longer stretches are
/// worked out a block at a time, so that probabilities are kept for no more steps than this.
pub(super) const BLOCK: usize = 8192;

pub(super) struct Hindsight {
    catalogue: Arc<Catalogue>,
    /// [`BLOCK`], or less in tests.
    block: usize,
    /// Estimators for the second way forward and for the way back.
    forward: Learned,
    backward: Learned,
    fading: Fading,
    /// Tonalities; the states after them are collections without a center.
    none: usize,
    /// Modes with the same notes ([`Catalogue::kin`]), where there are several.
    kin: Vec<Vec<usize>>,
    sounds: Sounds,
    stretch: Stretch,
    plan: TonalPlan,
    /// The spelling that the next tonic stays near to, here and at home.
    spelled: (Option<Spelling>, Option<Spelling>),
}

/// What lies between two long rests.
#[derive(Default)]
struct Stretch {
    /// When the grid began: the first step ends a step later.
    begin: Time,
    /// What was heard in each step.
    frames: Vec<Frame>,
    /// The bass of the first step: centers are counted from it.
    first: PitchClass,
    /// What is likely of each step given the past, as logarithms, state after state; empty
    /// where there are more steps than a block.
    log: Vec<f32>,
}

impl Stretch {
    /// When a step ends.
    fn at(&self, step: usize) -> Time {
        self.begin + Time(STEP.0 * (step as u64 + 1))
    }
}

impl Hindsight {
    /// `forward` and `backward`: the same estimator for the two directions.
    pub fn new(
        catalogue: Arc<Catalogue>,
        (forward, backward): (Learned, Learned),
        fading: Fading,
        block: usize,
    ) -> Hindsight {
        let none = catalogue.len() * 12;
        let modes = |first| {
            let catalogue = &catalogue;
            let all = catalogue.iter().map(|(mode, _)| mode);
            let own = all.filter(move |&mode| catalogue.kin(mode) == first);
            own.map(|mode| mode.index()).collect::<Vec<_>>()
        };
        let kin = catalogue.iter().map(|(first, _)| modes(first));
        let kin = kin.filter(|modes| modes.len() > 1).collect();
        Hindsight {
            catalogue,
            block,
            forward,
            backward,
            fading,
            none,
            kin,
            sounds: Sounds::default(),
            stretch: Stretch::default(),
            plan: TonalPlan::default(),
            spelled: (None, None),
        }
    }

    fn states(&self) -> usize {
        self.none + COLLECTIONS
    }

    /// How notes die away from here on.
    pub fn set_fading(&mut self, fading: Fading) {
        self.fading = fading;
    }

    /// Reads the stretch so far, and lets it go: what follows begins afresh. `end`: where an
    /// aside or the end of the recording cuts it off.
    pub fn close<B>(&mut self, end: Option<Time>, progress: &mut Progress<B>) -> Result<(), B> {
        let mut stretch = std::mem::take(&mut self.stretch);
        let Some(last) = stretch.frames.len().checked_sub(1) else {
            return Ok(());
        };
        let last = stretch.at(last);
        // What still sounds counts to the last step, however long it goes on.
        let mut sounds = self.sounds.until(last);
        for sound in &mut sounds {
            sound.off = sound.off.min(last);
        }
        let (here, home) = self.courses(&mut stretch, &sounds, progress)?;
        let (mut near_here, mut near_home) = self.spelled;
        let here = self.read(&stretch, here, end, &mut near_here);
        let home = self.read(&stretch, home, end, &mut near_home);
        self.plan.regions.extend(here);
        self.plan.home.extend(home);
        self.spelled = (near_here, near_home);
        Ok(())
    }

    /// The plan of what was read so far.
    pub fn plan(&self) -> &TonalPlan {
        &self.plan
    }

    /// The aside is over: what sounded in it is let go.
    pub fn come_back(&mut self, at: Time) {
        self.sounds.until(at);
    }

    /// A key was struck, or something stopped sounding.
    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.sounds.keys(at, struck, sounding);
    }

    pub fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        let stretch = &mut self.stretch;
        if stretch.frames.is_empty() {
            stretch.begin = at - STEP;
            stretch.first = frame.bass.unwrap_or_default();
        }
        stretch.frames.push(*frame);
        debug_assert_eq!(stretch.at(stretch.frames.len() - 1), at);
        if stretch.frames.len() <= self.block {
            let seen = evidence.seen_from(stretch.first, self.catalogue.len());
            stretch.log.extend(seen);
        } else {
            stretch.log = Vec::new();
        }
    }

    /// Everything was read.
    pub fn finish(self) -> TonalPlan {
        self.plan
    }

    /// The likeliest courses through a stretch, here and at home.
    ///
    /// What the past says of a step comes from its beginning and what the future says from its
    /// end, while the courses need both, step by step. So the way back is gone once as far as
    /// the first block, remembering where each block begins, and then block by block.
    fn courses<B>(
        &mut self,
        stretch: &mut Stretch,
        sounds: &[Sound],
        progress: &mut Progress<B>,
    ) -> Result<(Vec<Run>, Vec<Run>), B> {
        let (states, modes) = (self.states(), self.catalogue.len());
        let (steps, size) = (stretch.frames.len(), self.block);
        let blocks = steps.div_ceil(size);
        let mut back = WayBack::new(&mut self.backward, stretch, sounds, self.fading, modes);
        let mut places = Vec::with_capacity(blocks);
        for block in (1..blocks).rev() {
            places.push(back.place());
            for step in (block * size..steps.min((block + 1) * size)).rev() {
                back.step(stretch.at(step));
                progress.done(Piece::StepAgain)?;
            }
        }
        let (mut here, mut home) = (Course::new(modes, HERE), Course::new(modes, HOME));
        let mut log = std::mem::take(&mut stretch.log);
        let mut likely = vec![0.0; self.none];
        // Most of them are this unlikely.
        let unlikely = UNLIKELY.exp();
        self.forward.reset();
        for block in 0..blocks {
            let steps = block * size..steps.min((block + 1) * size);
            if blocks > 1 {
                log.clear();
                for frame in &stretch.frames[steps.clone()] {
                    self.forward.step(frame);
                    log.extend(self.forward.evidence().seen_from(stretch.first, modes));
                    progress.done(Piece::StepAgain)?;
                }
            }
            if block > 0
                && let Some(place) = places.pop()
            {
                back.go_to(place);
            }
            for (row, step) in log.chunks_exact_mut(states).zip(steps.clone()).rev() {
                back.step(stretch.at(step));
                back.add_to(row);
                bound(&self.kin, row);
                progress.done(Piece::StepAgain)?;
            }
            for (row, frame) in log.chunks_exact(states).zip(&stretch.frames[steps]) {
                for (state, &x) in row[..self.none].iter().enumerate() {
                    let p = if x == UNLIKELY { unlikely } else { x.exp() };
                    likely[state % 12 * modes + state / 12] = p;
                }
                let moment = Moment {
                    log: row,
                    likely: &likely,
                    heard: frame.set(),
                };
                here.step(&moment);
                home.step(&moment);
                progress.done(Piece::StepDecided)?;
            }
        }
        Ok((here.finish(), home.finish()))
    }

    /// The regions of a course.
    fn read(
        &self,
        stretch: &Stretch,
        runs: Vec<Run>,
        end: Option<Time>,
        before: &mut Option<Spelling>,
    ) -> Vec<Region> {
        let steps = stretch.frames.len();
        let first = stretch.first.index() as i32;
        let mut regions: Vec<Region> = Vec::new();
        // The notes of the last region so far.
        let mut heard = PitchClassSet::EMPTY;
        for run in runs {
            // One or two notes have no center.
            if run.state >= self.none || run.heard.len() < ENOUGH {
                continue;
            }
            let Some(relative) = at_place(run.state, &self.catalogue) else {
                continue;
            };
            let tonality = Tonality {
                center: relative.center.up(first),
                ..relative
            };
            let tonality = self.catalogue.named(tonality, run.heard);
            let spelled = self.catalogue.spelled(tonality, *before);
            *before = Some(spelled.tonic);
            let start = stretch.at(run.start) - STEP;
            let end = if run.stop < steps {
                stretch.at(run.stop) - STEP
            } else {
                // Before a rest: a breath after the last sound.
                run.sounded.map_or(start, |step| {
                    let breath = stretch.at(step) + BREATH;
                    end.map_or(breath, |end| end.min(breath))
                })
            };
            let likely = |t: Tonality| {
                let sum = run.likely.get(t.mode.index()).copied();
                sum.unwrap_or(0.0) / (run.stop - run.start) as f32
            };
            let region = Region {
                start,
                end: end.max(start),
                since: start,
                spelled,
                open: open(&self.catalogue, tonality, run.heard, likely),
                probability: likely(relative).min(1.0),
            };
            if let Some(last) = regions.last_mut()
                && let Some(decides) = one(*last, region)
            {
                heard = heard.or(run.heard);
                last.spelled = decides.spelled;
                last.open = open(&self.catalogue, decides.spelled.tonality, heard, likely);
                last.end = region.end;
                last.probability = last.probability.max(region.probability);
            } else {
                heard = run.heard;
                regions.push(region);
            }
        }
        regions
    }
}

/// Of two regions on one center without a rest between them, the one whose mode holds for both:
/// what was heard in the other allows that mode as well.
fn one(before: Region, after: Region) -> Option<Region> {
    if before.spelled.tonality.center != after.spelled.tonality.center || before.end < after.start {
        return None;
    }
    if before.open.may_be(after.spelled.tonality.mode) {
        return Some(after);
    }
    after
        .open
        .may_be(before.spelled.tonality.mode)
        .then_some(before)
}

/// Makes logarithms of shares of what is likely, bounded, with modes of the same
/// notes together.
fn bound(kin: &[Vec<usize>], row: &mut [f32]) {
    let top = row.iter().fold(f32::MIN, |b, &x| b.max(x));
    // The rest is too small to change the sum.
    let part = |x: f32| if x > top - 20.0 { (x - top).exp() } else { 0.0 };
    let all = top + row.iter().map(|&x| part(x)).sum::<f32>().ln();
    for modes in kin {
        for center in 0..12 {
            let states = || modes.iter().map(|mode| mode * 12 + center);
            let sum: f32 = states().map(|s| part(row[s])).sum();
            let shared = top + sum.max(1e-9).ln();
            for s in states() {
                row[s] = shared + OWN * (row[s] - shared).max(UNLIKELY);
            }
        }
    }
    row.iter_mut().for_each(|x| *x = (*x - all).max(UNLIKELY));
}

/// From the end of a stretch to its beginning.
struct WayBack<'a> {
    ears: &'a mut Learned,
    frames: FramesBackward,
    /// Steps taken.
    known: u64,
    end: Time,
    first: PitchClass,
    modes: usize,
    prior: Vec<f32>,
}

/// Where it was before some step.
struct StepState {
    state: <Learned as Estimator>::State,
    frames: FramesBackward,
    known: u64,
}

impl<'a> WayBack<'a> {
    fn new(
        ears: &'a mut Learned,
        stretch: &Stretch,
        sounds: &[Sound],
        fading: Fading,
        modes: usize,
    ) -> WayBack<'a> {
        let begin = stretch.begin;
        let end = sounds.iter().map(|s| s.off).max();
        let end = end.unwrap_or(begin).max(begin);
        ears.reset();
        WayBack {
            prior: ears.evidence().seen_from(stretch.first, modes).collect(),
            frames: FramesBackward::new(sounds, begin, end, fading),
            ears,
            known: 0,
            end,
            first: stretch.first,
            modes,
        }
    }

    /// Takes the steps that lie after this moment.
    fn step(&mut self, at: Time) {
        while self.known < self.end.since(at).0 / STEP.0
            && let Some(frame) = self.frames.next()
        {
            self.ears.step(&frame);
            self.known += 1;
        }
    }

    /// Adds what the future says of that moment to what the past says.
    fn add_to(&self, row: &mut [f32]) {
        if self.known > 0 {
            let back = self.ears.evidence().seen_from(self.first, self.modes);
            for ((x, back), prior) in row.iter_mut().zip(back).zip(&self.prior) {
                *x += back - prior;
            }
        }
    }

    fn place(&self) -> StepState {
        StepState {
            state: self.ears.state(),
            frames: self.frames.clone(),
            known: self.known,
        }
    }

    fn go_to(&mut self, place: StepState) {
        self.ears.restore(&place.state);
        (self.frames, self.known) = (place.frames, place.known);
    }
}

/// The frames of a stretch from its end to its beginning, one a step of the grid: ends
/// are onsets, and onsets ends. `sounds`: those between `begin` and `end`, in any order.
pub fn frames_backward(sounds: &[Sound], begin: Time, end: Time, fading: Fading) -> Vec<Frame> {
    FramesBackward::new(sounds, begin, end, fading).collect()
}

/// The same one after another.
#[derive(Clone)]
struct FramesBackward {
    /// From the end: when keys are struck, and when they are let go, the latest last.
    onsets: Arc<[(Time, u8)]>,
    ends: Arc<[(Time, u8)]>,
    next_on: usize,
    next_off: usize,
    frames: Frames,
    /// How often each key sounds.
    counts: PerKey<u32>,
    sounding: KeySet,
    fading: Fading,
    taken: u64,
    steps: u64,
}

impl FramesBackward {
    fn new(sounds: &[Sound], begin: Time, end: Time, fading: Fading) -> FramesBackward {
        let sorted = |time: fn(&Sound) -> Time| {
            let mut all: Vec<(Time, u8)> = Vec::with_capacity(sounds.len());
            all.extend(sounds.iter().map(|s| (end.since(time(s)), s.key)));
            all.sort_unstable();
            all.into()
        };
        FramesBackward {
            onsets: sorted(|s| s.off),
            ends: sorted(|s| s.on),
            next_on: 0,
            next_off: 0,
            frames: Frames::new(),
            counts: PerKey::default(),
            sounding: KeySet::EMPTY,
            fading,
            taken: 0,
            steps: end.since(begin).0.div_ceil(STEP.0),
        }
    }
}

impl Iterator for FramesBackward {
    type Item = Frame;

    fn next(&mut self) -> Option<Frame> {
        if self.taken >= self.steps {
            return None;
        }
        self.taken += 1;
        let until = Time(self.taken * STEP.0);
        while let Some(&(_, key)) = self.onsets.get(self.next_on).filter(|o| o.0 <= until) {
            self.counts[key] += 1;
            self.sounding |= KeySet::of(key);
            self.frames.on_onset(key);
            self.next_on += 1;
        }
        while let Some(&(_, key)) = self.ends.get(self.next_off).filter(|o| o.0 <= until) {
            let count = &mut self.counts[key];
            *count = count.saturating_sub(1);
            if *count == 0 {
                self.sounding &= !KeySet::of(key);
            }
            self.next_off += 1;
        }
        Some(self.frames.close_step(self.sounding, self.fading))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Open;

    fn sound(key: u8, on: u64, off: u64) -> Sound {
        let t = |ms| Time::millis(ms);
        Sound {
            key,
            on: t(on),
            off: t(off),
        }
    }

    #[test]
    fn what_one_region_leaves_open_is_heard_in_the_next() {
        let catalogue = Catalogue::standard();
        let region = |name: &str, from: u64, to: u64, open: Option<(u8, &str)>| {
            let spelled = catalogue.parse_tonality(name).expect("a tonality");
            let open = open.map_or(Open::default(), |(degree, mode)| {
                let other = catalogue.parse_tonality(mode).expect("a tonality");
                Open::new(1 << (degree - 1), [other.tonality.mode])
            });
            Region {
                start: Time::millis(1000 * from),
                end: Time::millis(1000 * to),
                since: Time::millis(1000 * from),
                spelled,
                open,
                probability: 0.9,
            }
        };
        let open = region("D aeolian", 0, 5, Some((6, "D dorian")));
        let dorian = region("D dorian", 5, 9, None);
        assert_eq!(one(open, dorian), Some(dorian), "B was heard");
        let aeolian = region("D aeolian", 0, 5, None);
        let unheard = region("D dorian", 5, 9, Some((6, "D aeolian")));
        assert_eq!(one(aeolian, unheard), Some(aeolian), "no B was heard");
        assert_eq!(one(aeolian, dorian), None, "B♭, then B");
        let later = region("D dorian", 8, 9, None);
        assert_eq!(one(open, later), None, "a rest between them");
        let elsewhere = region("E dorian", 5, 9, Some((6, "E aeolian")));
        assert_eq!(one(aeolian, elsewhere), None, "another center");
    }

    /// Backward is what the frames would be, had the mirrored notes been played.
    #[test]
    fn the_way_back_is_the_mirrored_piece() {
        // Ends on the grid and off it, a restrike, a note within one step.
        let sounds = [
            sound(48, 0, 1000),
            sound(60, 130, 420),
            sound(60, 420, 990),
            sound(72, 510, 530),
        ];
        let end = Time::millis(1000);
        let back = frames_backward(&sounds, Time(0), end, Fading::Struck);
        assert_eq!(back.len(), 10);
        let set = |i: usize| back[i].set().mask();
        assert_eq!(
            back[0].onsets[0], 2,
            "48 ends at the end, 60 just before it"
        );
        assert_eq!((back[0].bass_struck, back[0].span), (true, 12));
        assert_eq!(back[4].onsets[0], 1, "72 lies within one step");
        assert_eq!(back[4].span, 24);
        assert_eq!(back[5].onsets[0], 1, "60 once more");
        assert_eq!((back[5].span, back[8].span), (12, 0));
        assert!((0..9).all(|i| set(i) == 1));
        assert!(!back[9].any(), "at its onset 48 has ended");
    }
}
