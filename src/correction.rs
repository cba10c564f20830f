//! The plan of a recording as a listener corrects it, and what can be done to it: pure values.
//!
//! A corrected plan covers its recording from beginning to end: regions in order, each as far as
//! the next begins. Every correction says by whom and when, and can be taken back.

use crate::plan::{Open, Region, TonalPlan};
use crate::theory::SpelledTonality;
use crate::time::Time;
use std::ops::Range;

/// What the music is in, in a region of a corrected plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Center {
    /// Silence, or notes without a center.
    None,
    In(SpelledTonality),
}

/// Who corrected something, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    pub who: String,
    /// In UTC (RFC 3339).
    pub when: String,
}

/// A stretch of a corrected plan. It ends where the next begins, the last with the recording.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectedRegion {
    pub start: Time,
    pub center: Center,
    /// What hindsight left open; nothing where the listener has said the tonality.
    pub open: Open,
    /// The listener's word for it.
    pub word: Option<String>,
    /// Who changed it last; none where it is as it was in hindsight.
    pub by: Option<Signature>,
}

/// A correction that was made, with what it takes to take it back.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The place of the first region that it replaced, from 0.
    pub first: usize,
    /// How many regions stand there since.
    pub count: usize,
    /// Those that stood there before.
    pub before: Vec<CorrectedRegion>,
    pub by: Signature,
}

/// The plan as a listener has corrected it.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectedPlan {
    /// The first begins with the recording; none is empty.
    regions: Vec<CorrectedRegion>,
    end: Time,
    steps: Vec<Step>,
}

/// What is to be corrected. A moment stands for the region that holds it.
#[derive(Clone, Debug, PartialEq)]
pub enum Correction {
    /// Sets what a region is in, and the word for it. What is `None` stays as it is; an empty
    /// word removes the word.
    Label {
        at: Time,
        center: Option<Center>,
        word: Option<String>,
    },
    /// The same of a stretch, which becomes one region.
    Stretch {
        from: Time,
        to: Time,
        center: Center,
        word: Option<String>,
    },
    /// A region becomes two.
    Split { at: Time },
    /// The border nearest to a moment moves.
    Border { near: Time, to: Time },
    /// A region takes in the one beside it.
    Join { at: Time, with: Neighbour },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Neighbour {
    Previous,
    Next,
}

/// What becomes of a corrected plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Revision {
    Correct(Correction),
    /// The last correction is taken back.
    Undo,
    /// All of them are.
    Restore,
}

/// Why something cannot be corrected like that.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CorrectionError {
    #[error("{at} lies past the end, {end}: name an earlier moment")]
    PastTheEnd { at: Time, end: Time },
    #[error("a stretch from {from} to {to} has no length: its end must come after its beginning")]
    NoStretch { from: Time, to: Time },
    #[error("a region begins at {0} already: name a moment within one")]
    BorderThere(Time),
    #[error("there is one region, and so no border: split it first")]
    NoBorder,
    #[error(
        "the border at {border} cannot move to {to}: it stays between {after} and {before}, \
         where its two regions end; join regions to go further"
    )]
    BeyondNeighbours {
        border: Time,
        to: Time,
        after: Time,
        before: Time,
    },
    #[error("the region at {0} is the first: join it with the next")]
    NoPrevious(Time),
    #[error("the region at {0} is the last: join it with the previous")]
    NoNext(Time),
    #[error("this changes nothing: the corrected plan says so already")]
    Nothing,
}

/// A list of regions that is no plan, or a step that cannot be taken back in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotAPlan;

/// Another center is home once the corrected plan stays there for so long: about as long as the
/// live display waits at its usual inertia.
const HOME: Time = Time::millis(30_000);

impl CorrectedPlan {
    /// A plan to begin with, as it is before the first correction. What lies between its regions
    /// has no center.
    pub fn of(plan: &TonalPlan, end: Time) -> CorrectedPlan {
        let nothing = |start| CorrectedRegion {
            start,
            center: Center::None,
            open: Open::default(),
            word: None,
            by: None,
        };
        let mut regions = Vec::new();
        let mut reached = Time::ZERO;
        for r in &plan.regions {
            let (start, stop) = (r.start.max(reached), r.end.min(end));
            if start >= stop {
                continue;
            }
            if start > reached {
                regions.push(nothing(reached));
            }
            regions.push(CorrectedRegion {
                center: Center::In(r.spelled),
                open: r.open,
                ..nothing(start)
            });
            reached = stop;
        }
        if reached < end || regions.is_empty() {
            regions.push(nothing(reached));
        }
        CorrectedPlan {
            regions,
            end,
            steps: Vec::new(),
        }
    }

    /// As it was kept: refused where it is no plan of a recording that lasts until `end`, or
    /// where the `steps` do not lead to it.
    pub fn kept(
        regions: Vec<CorrectedRegion>,
        end: Time,
        steps: Vec<Step>,
    ) -> Result<CorrectedPlan, NotAPlan> {
        let plan = CorrectedPlan {
            regions,
            end,
            steps,
        };
        let mut back = plan.clone();
        let mut new = 0..back.regions.len();
        loop {
            if !back.is_whole(new) {
                return Err(NotAPlan);
            }
            let Some(step) = back.steps.last() else {
                return Ok(plan);
            };
            new = step.first..step.first.saturating_add(step.before.len());
            back.undo().map_err(|_| NotAPlan)?;
        }
    }

    /// In order, without a gap, from the beginning, none empty; where that was so before there
    /// were `new` regions at these places.
    fn is_whole(&self, new: Range<usize>) -> bool {
        let first = self.regions.first().map(|r| r.start);
        let to = new.end.saturating_add(1).min(self.regions.len());
        let near = self.regions.get(new.start.saturating_sub(1)..to);
        first == Some(Time::ZERO)
            && near.is_some_and(|near| near.windows(2).all(|r| r[0].start < r[1].start))
            && self
                .regions
                .last()
                .is_some_and(|r| r.start < self.end || r.start == Time::ZERO)
    }

    pub fn regions(&self) -> &[CorrectedRegion] {
        &self.regions
    }

    /// When the recording ends.
    pub fn end(&self) -> Time {
        self.end
    }

    /// The corrections, in the order in which they were made.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// Each region with its end.
    pub fn stretches(&self) -> impl DoubleEndedIterator<Item = (&CorrectedRegion, Time)> {
        let ends = self.regions.iter().skip(1).map(|r| r.start);
        let ends: Vec<Time> = ends.chain([self.end]).collect();
        self.regions.iter().zip(ends)
    }

    /// The place of the region that holds a moment.
    pub fn place(&self, at: Time) -> Result<usize, CorrectionError> {
        if at >= self.end {
            return Err(CorrectionError::PastTheEnd { at, end: self.end });
        }
        Ok(self.regions.partition_point(|r| r.start <= at) - 1)
    }

    /// The border nearest to a moment, the later of two that are as near.
    pub fn nearest_border(&self, near: Time) -> Option<Time> {
        let borders = self.regions.iter().skip(1).map(|r| r.start);
        borders
            .rev()
            .min_by_key(|b| b.since(near).max(near.since(*b)))
    }

    fn end_of(&self, place: usize) -> Time {
        self.regions.get(place + 1).map_or(self.end, |r| r.start)
    }

    /// Makes a correction. An error leaves everything as it was.
    pub fn correct(
        &mut self,
        correction: &Correction,
        by: &Signature,
    ) -> Result<(), CorrectionError> {
        let mut new = self.clone();
        new.apply(correction)?;
        new.sign(self, by);
        let step = step(&self.regions, &new.regions, by);
        let step = step.ok_or(CorrectionError::Nothing)?;
        self.regions = new.regions;
        self.steps.push(step);
        Ok(())
    }

    /// The places of the regions that the last correction left.
    pub fn last_changed(&self) -> std::ops::Range<usize> {
        let step = self.steps.last();
        step.map_or(0..0, |s| s.first..s.first + s.count)
    }

    /// Takes the last correction back.
    pub fn undo(&mut self) -> Result<Undone, NothingToUndo> {
        let step = self.steps.last().ok_or(NothingToUndo)?;
        let to = step.first.checked_add(step.count).ok_or(NothingToUndo)?;
        if to > self.regions.len() {
            return Err(NothingToUndo);
        }
        if let Some(step) = self.steps.pop() {
            self.regions.splice(step.first..to, step.before);
        }
        // Of a damaged plan the earlier steps may be missing: what they did still stands.
        let as_in_hindsight = self.regions.iter().all(|r| r.by.is_none());
        Ok(match self.steps.is_empty() && as_in_hindsight {
            true => Undone::First,
            false => Undone::Step,
        })
    }

    fn apply(&mut self, correction: &Correction) -> Result<(), CorrectionError> {
        match *correction {
            Correction::Label {
                at,
                center,
                ref word,
            } => {
                let place = self.place(at)?;
                let region = &mut self.regions[place];
                if let Some(center) = center {
                    (region.center, region.open) = (center, Open::default());
                }
                if let Some(word) = word {
                    region.word = Some(word.clone()).filter(|word| !word.is_empty());
                }
            }
            Correction::Stretch {
                from,
                to,
                center,
                ref word,
            } => {
                self.place(from)?;
                if from >= to {
                    return Err(CorrectionError::NoStretch { from, to });
                }
                let first = self.cut(from);
                let last = match to < self.end {
                    true => self.cut(to),
                    false => self.regions.len(),
                };
                let words = self.regions[first..last]
                    .iter()
                    .filter_map(|r| r.word.clone());
                let words = words.collect::<Vec<_>>().join("; ");
                let word = word.clone().unwrap_or(words);
                let one = CorrectedRegion {
                    start: from,
                    center,
                    open: Open::default(),
                    word: Some(word).filter(|word| !word.is_empty()),
                    by: None,
                };
                self.regions.splice(first..last, [one]);
            }
            Correction::Split { at } => {
                let place = self.place(at)?;
                if self.regions[place].start == at {
                    return Err(CorrectionError::BorderThere(at));
                }
                self.cut(at);
            }
            Correction::Border { near, to } => {
                let border = self.nearest_border(near);
                let border = border.ok_or(CorrectionError::NoBorder)?;
                let place = self.place(border)?;
                let after = self.regions[place - 1].start;
                let before = self.end_of(place);
                if to <= after || to >= before {
                    return Err(CorrectionError::BeyondNeighbours {
                        border,
                        to,
                        after,
                        before,
                    });
                }
                self.regions[place].start = to;
            }
            Correction::Join { at, with } => {
                let place = self.place(at)?;
                let other = match with {
                    Neighbour::Previous => place
                        .checked_sub(1)
                        .ok_or(CorrectionError::NoPrevious(at))?,
                    Neighbour::Next if place + 1 < self.regions.len() => place + 1,
                    Neighbour::Next => return Err(CorrectionError::NoNext(at)),
                };
                let gone = self.regions.remove(place.max(other));
                let stays = &mut self.regions[place.min(other)];
                let words: Vec<String> = [stays.word.take(), gone.word.clone()]
                    .into_iter()
                    .flatten()
                    .collect();
                if place > other {
                    let start = stays.start;
                    *stays = gone;
                    stays.start = start;
                }
                stays.word = Some(words.join("; ")).filter(|words| !words.is_empty());
            }
        }
        Ok(())
    }

    /// Makes a region begin at a moment before the end, and gives its place. The listener's word
    /// stays with what comes before.
    fn cut(&mut self, at: Time) -> usize {
        let after = self.regions.partition_point(|r| r.start < at);
        if self.regions.get(after).is_some_and(|r| r.start == at) {
            return after;
        }
        if let Some(before) = after.checked_sub(1).and_then(|i| self.regions.get(i)) {
            let new = CorrectedRegion {
                start: at,
                word: None,
                ..before.clone()
            };
            self.regions.insert(after, new);
        }
        after
    }

    /// Signs what is not as it was.
    fn sign(&mut self, before: &CorrectedPlan, by: &Signature) {
        for place in 0..self.regions.len() {
            let end = self.end_of(place);
            let new = &mut self.regions[place];
            let old = before.place(new.start).ok();
            let same = old.is_some_and(|old| {
                let r = &before.regions[old];
                r.start == new.start && before.end_of(old) == end && r.says(new)
            });
            if !same {
                new.by = Some(by.clone());
            }
        }
    }

    /// The same as a plan: what has no center is left out. Home is where the corrected plan stays
    /// for half a minute; shorter stays leave it where it was, and coming back is no change.
    pub fn plan(&self) -> TonalPlan {
        let regions = self.stretches().filter_map(|(r, end)| match r.center {
            Center::None => None,
            Center::In(spelled) => Some(Region {
                start: r.start,
                end,
                since: r.start,
                spelled,
                open: r.open,
                probability: 1.0,
            }),
        });
        let regions: Vec<Region> = regions.collect();
        TonalPlan {
            home: home(&regions),
            regions,
        }
    }
}

/// What was taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Undone {
    /// There are others before it.
    Step,
    /// The very first: nothing is corrected any longer.
    First,
}

/// There is no correction left, or what is kept of the last one does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("there is no correction that could be taken back")]
pub struct NothingToUndo;

impl CorrectedRegion {
    /// Whether two say the same of their stretches, whoever said it.
    fn says(&self, other: &CorrectedRegion) -> bool {
        (self.center, self.open, &self.word) == (other.center, other.open, &other.word)
    }
}

/// What became of the regions: those that differ, but for what is the same before and after them.
fn step(before: &[CorrectedRegion], after: &[CorrectedRegion], by: &Signature) -> Option<Step> {
    let alike = |pair: &(&CorrectedRegion, &CorrectedRegion)| {
        pair.0.start == pair.1.start && pair.0.says(pair.1)
    };
    if before.len() == after.len() && before.iter().zip(after).all(|pair| alike(&pair)) {
        return None;
    }
    let same = |pair: &(&CorrectedRegion, &CorrectedRegion)| pair.0 == pair.1;
    let first = before.iter().zip(after).take_while(same).count();
    let backward = before[first..]
        .iter()
        .rev()
        .zip(after[first..].iter().rev());
    let last = backward.take_while(same).count();
    Some(Step {
        first,
        count: after.len() - last - first,
        before: before[first..before.len() - last].to_vec(),
        by: by.clone(),
    })
}

/// Home of a plan: see [`CorrectedPlan::plan`].
fn home(regions: &[Region]) -> Vec<Region> {
    let mut home: Vec<Region> = Vec::new();
    let same = |a: &&Region, b: &&Region| {
        a.spelled.tonality.center == b.spelled.tonality.center && a.end == b.start
    };
    let all: Vec<&Region> = regions.iter().collect();
    for stay in all.chunk_by(same) {
        let (Some(first), Some(last)) = (stay.first(), stay.last()) else {
            continue;
        };
        let length = last.end.since(first.start);
        let center = first.spelled.tonality.center;
        let there = (home.last()).is_some_and(|h| h.spelled.tonality.center == center);
        if !there && !home.is_empty() && length < HOME {
            if let Some(h) = home.last_mut() {
                h.end = last.end;
            }
            continue;
        }
        for r in stay {
            match home.last_mut() {
                Some(h) if h.spelled == r.spelled => h.end = r.end,
                Some(h) => {
                    h.end = r.start;
                    home.push(**r);
                }
                None => home.push(**r),
            }
        }
    }
    home
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::Catalogue;
    use proptest::prelude::*;

    fn spelled(text: &str) -> SpelledTonality {
        Catalogue::standard()
            .parse_tonality(text)
            .expect("a tonality")
    }

    fn by(when: u32) -> Signature {
        Signature {
            who: "anna".into(),
            when: format!("2026-11-29T12:00:{:02}Z", when % 60),
        }
    }

    fn region(from: u64, to: u64, tonality: &str) -> Region {
        Region {
            start: Time::millis(1000 * from),
            end: Time::millis(1000 * to),
            since: Time::millis(1000 * from),
            spelled: spelled(tonality),
            open: Open::default(),
            probability: 0.9,
        }
    }

    /// D Dorian from 0 to 20 s, nothing until 25, G Mixolydian until 60, of 70 s.
    fn plan() -> CorrectedPlan {
        let regions = vec![region(0, 20, "D dorian"), region(25, 60, "G mixolydian")];
        let home = Vec::new();
        CorrectedPlan::of(&TonalPlan { regions, home }, at(70))
    }

    fn at(seconds: u64) -> Time {
        Time::millis(1000 * seconds)
    }

    fn told(plan: &CorrectedPlan) -> String {
        let one = |(r, end): (&CorrectedRegion, Time)| {
            let center = match r.center {
                Center::None => "none".to_owned(),
                Center::In(t) => {
                    let mode = &Catalogue::standard().mode(t.tonality.mode).id;
                    format!("{} {mode}", t.tonic)
                }
            };
            let word = r.word.as_ref().map_or(String::new(), |w| format!(" “{w}”"));
            let signed = if r.by.is_some() { "*" } else { "" };
            let (from, to) = (r.start.seconds(), end.seconds());
            format!("{from}-{to} {center}{word}{signed}")
        };
        plan.stretches().map(one).collect::<Vec<_>>().join(", ")
    }

    const BEFORE: &str = "0-20 D dorian, 20-25 none, 25-60 G mixolydian, 60-70 none";

    #[test]
    fn what_lies_between_regions_has_no_center() {
        assert_eq!(told(&plan()), BEFORE);
        let nothing = CorrectedPlan::of(&TonalPlan::default(), at(3));
        assert_eq!(told(&nothing), "0-3 none");
        // Regions that lap over, or reach past the end.
        let regions = vec![region(2, 9, "D dorian"), region(5, 20, "E phrygian")];
        let home = Vec::new();
        let lapping = CorrectedPlan::of(&TonalPlan { regions, home }, at(12));
        assert_eq!(told(&lapping), "0-2 none, 2-9 D dorian, 9-12 E phrygian");
    }

    #[test]
    fn each_correction_and_back() {
        let label = |s, center, word: Option<&str>| Correction::Label {
            at: at(s),
            center,
            word: word.map(Into::into),
        };
        let g = Some(Center::In(spelled("G lydian")));
        let stretch = |from, to, word: Option<&str>| Correction::Stretch {
            from: at(from),
            to: at(to),
            center: Center::In(spelled("A aeolian")),
            word: word.map(Into::into),
        };
        let join = |s, with| Correction::Join { at: at(s), with };
        let border = |near, to| Correction::Border {
            near: at(near),
            to: at(to),
        };
        for (correction, after) in [
            (
                label(59, g, None),
                "0-20 D dorian, 20-25 none, 25-60 G lydian*, 60-70 none",
            ),
            (
                label(0, None, Some("verse")),
                "0-20 D dorian “verse”*, 20-25 none, 25-60 G mixolydian, 60-70 none",
            ),
            (
                label(30, Some(Center::None), Some("noise")),
                "0-20 D dorian, 20-25 none, 25-60 none “noise”*, 60-70 none",
            ),
            (
                stretch(10, 40, None),
                "0-10 D dorian*, 10-40 A aeolian*, 40-60 G mixolydian*, 60-70 none",
            ),
            (
                stretch(20, 25, Some("bridge")),
                "0-20 D dorian, 20-25 A aeolian “bridge”*, 25-60 G mixolydian, 60-70 none",
            ),
            (stretch(0, 99, None), "0-70 A aeolian*"),
            (
                Correction::Split { at: at(30) },
                "0-20 D dorian, 20-25 none, 25-30 G mixolydian*, 30-60 G mixolydian*, 60-70 none",
            ),
            (
                border(22, 24),
                "0-24 D dorian*, 24-25 none*, 25-60 G mixolydian, 60-70 none",
            ),
            (
                border(70, 69),
                "0-20 D dorian, 20-25 none, 25-69 G mixolydian*, 69-70 none*",
            ),
            (
                join(19, Neighbour::Next),
                "0-25 D dorian*, 25-60 G mixolydian, 60-70 none",
            ),
            (
                join(25, Neighbour::Previous),
                "0-20 D dorian, 20-60 G mixolydian*, 60-70 none",
            ),
        ] {
            let mut plan = plan();
            plan.correct(&correction, &by(1)).expect("possible");
            assert_eq!(told(&plan), after, "{correction:?}");
            assert_eq!(plan.steps().len(), 1);
            assert_eq!(plan.undo(), Ok(Undone::First));
            assert_eq!(plan, super::tests::plan(), "{correction:?}");
        }
    }

    #[test]
    fn words_are_not_lost() {
        let mut plan = plan();
        let word = |s, word: &str| Correction::Label {
            at: at(s),
            center: None,
            word: Some(word.into()),
        };
        for (s, text) in [(1, "a"), (21, "b"), (30, "c")] {
            plan.correct(&word(s, text), &by(1)).expect("possible");
        }
        let mut joined = plan.clone();
        let with = Neighbour::Previous;
        let join = Correction::Join { at: at(30), with };
        joined.correct(&join, &by(2)).expect("possible");
        assert!(
            told(&joined).contains("20-60 G mixolydian “b; c”*"),
            "{}",
            told(&joined)
        );
        let all = Correction::Stretch {
            from: at(0),
            to: at(60),
            center: Center::None,
            word: None,
        };
        plan.correct(&all, &by(2)).expect("possible");
        assert!(told(&plan).starts_with("0-60 none “a; b; c”*"));
        plan.correct(&word(1, ""), &by(3)).expect("possible");
        assert!(told(&plan).starts_with("0-60 none*"));
    }

    #[test]
    fn what_cannot_be_is_said() {
        let mut plan = plan();
        let unchanged = plan.clone();
        let with = Neighbour::Previous;
        let next = Neighbour::Next;
        let mut fails = |correction: Correction| match plan.correct(&correction, &by(1)) {
            Ok(()) => panic!("{correction:?} is possible"),
            Err(e) => e.to_string(),
        };
        let stretch = |from, to| Correction::Stretch {
            from: at(from),
            to: at(to),
            center: Center::None,
            word: None,
        };
        for (correction, says) in [
            (Correction::Split { at: at(70) }, "1:10.0 lies past the end"),
            (Correction::Split { at: at(25) }, "begins at 0:25.0 already"),
            (stretch(9, 9), "has no length"),
            (stretch(60, 70), "changes nothing"),
            (Correction::Join { at: at(3), with }, "is the first"),
            (
                Correction::Join {
                    at: at(65),
                    with: next,
                },
                "is the last",
            ),
            (
                Correction::Border {
                    near: at(21),
                    to: at(25),
                },
                "the border at 0:20.0 cannot move to 0:25.0: it stays between 0:00.0 and 0:25.0",
            ),
            (
                Correction::Label {
                    at: at(3),
                    center: Some(Center::In(spelled("D dorian"))),
                    word: Some(String::new()),
                },
                "changes nothing",
            ),
        ] {
            let said = fails(correction);
            assert!(said.contains(says), "{said}");
        }
        assert_eq!(plan, unchanged);
        let mut one = CorrectedPlan::of(&TonalPlan::default(), at(3));
        let border = Correction::Border {
            near: at(1),
            to: at(2),
        };
        assert_eq!(one.correct(&border, &by(1)), Err(CorrectionError::NoBorder));
        assert_eq!(one.undo(), Err(NothingToUndo));
    }

    #[test]
    fn home_is_where_it_stays() {
        let home_of = |regions: &[Region]| {
            let regions = regions.to_vec();
            let home = Vec::new();
            let plan = CorrectedPlan::of(&TonalPlan { regions, home }, at(200)).plan();
            let told = |r: &Region| {
                let mode = &Catalogue::standard().mode(r.spelled.tonality.mode).id;
                let (from, to) = (r.start.seconds(), r.end.seconds());
                format!("{from}-{to} {} {mode}", r.spelled.tonic)
            };
            plan.home.iter().map(told).collect::<Vec<_>>().join(", ")
        };
        let short = [
            region(0, 40, "D dorian"),
            region(40, 60, "G mixolydian"),
            region(60, 90, "D dorian"),
        ];
        assert_eq!(home_of(&short), "0-90 D dorian");
        let long = [
            region(0, 40, "D dorian"),
            region(45, 60, "G mixolydian"),
            region(60, 90, "G ionian"),
            region(95, 100, "D dorian"),
        ];
        assert_eq!(
            home_of(&long),
            "0-45 D dorian, 45-60 G mixolydian, 60-100 G ionian"
        );
        assert_eq!(home_of(&[]), "");
    }

    fn a_center() -> impl Strategy<Value = Center> {
        const SOME: [&str; 4] = ["D dorian", "G mixolydian", "Eb lydian", "F# minor"];
        prop_oneof![
            Just(Center::None),
            prop::sample::select(&SOME[..]).prop_map(|text| Center::In(spelled(text))),
        ]
    }

    fn a_moment() -> impl Strategy<Value = Time> {
        prop_oneof![(0u64..75).prop_map(at), (0u64..3_700_000).prop_map(Time)]
    }

    fn a_word() -> impl Strategy<Value = Option<String>> {
        prop::option::of(prop_oneof![Just(String::new()), "[a-z]{1,3}"])
    }

    fn a_correction() -> impl Strategy<Value = Correction> {
        let beside = prop_oneof![Just(Neighbour::Previous), Just(Neighbour::Next)];
        prop_oneof![
            (a_moment(), prop::option::of(a_center()), a_word())
                .prop_map(|(at, center, word)| Correction::Label { at, center, word }),
            (a_moment(), a_moment(), a_center(), a_word()).prop_map(|(from, to, center, word)| {
                Correction::Stretch {
                    from,
                    to,
                    center,
                    word,
                }
            }),
            a_moment().prop_map(|at| Correction::Split { at }),
            (a_moment(), a_moment()).prop_map(|(near, to)| Correction::Border { near, to }),
            (a_moment(), beside).prop_map(|(at, with)| Correction::Join { at, with }),
        ]
    }

    /// What a plan says, whoever said it.
    fn said(plan: &CorrectedPlan) -> Vec<CorrectedRegion> {
        let unsigned = |r: &CorrectedRegion| CorrectedRegion {
            by: None,
            ..r.clone()
        };
        plan.regions().iter().map(unsigned).collect()
    }

    proptest! {
        /// In order, without gap or overlap, the whole; each correction can be taken back, and
        /// what is kept is taken as it is.
        #[test]
        fn whatever_is_done_it_stays_a_plan(all in prop::collection::vec(a_correction(), 1..24)) {
            let mut plan = plan();
            let mut states = vec![plan.clone()];
            for (i, correction) in all.iter().enumerate() {
                let before = plan.clone();
                match plan.correct(correction, &by(i as u32)) {
                    Ok(()) => states.push(plan.clone()),
                    Err(_) => prop_assert_eq!(&plan, &before),
                }
                prop_assert!(plan.is_whole(0..plan.regions.len()), "{}", told(&plan));
                let ends: Vec<Time> = plan.stretches().map(|(_, end)| end).collect();
                let starts: Vec<Time> = plan.regions().iter().map(|r| r.start).collect();
                prop_assert_eq!(&starts[1..], &ends[..ends.len() - 1]);
                prop_assert_eq!(ends.last(), Some(&at(70)));
            }
            let (regions, steps) = (plan.regions().to_vec(), plan.steps().to_vec());
            prop_assert_eq!(CorrectedPlan::kept(regions, at(70), steps), Ok(plan.clone()));
            while let Some(state) = states.pop() {
                prop_assert_eq!(&plan, &state);
                if !states.is_empty() {
                    prop_assert!(plan.undo().is_ok());
                }
            }
            prop_assert_eq!(plan.undo(), Err(NothingToUndo));
        }

        #[test]
        fn joining_what_was_split_changes_nothing(
            all in prop::collection::vec(a_correction(), 0..8),
            split in a_moment(),
            next in any::<bool>(),
        ) {
            let mut plan = plan();
            for correction in &all {
                let _ = plan.correct(correction, &by(1));
            }
            let before = said(&plan);
            if plan.correct(&Correction::Split { at: split }, &by(2)).is_ok() {
                prop_assert_eq!(plan.regions().len(), before.len() + 1);
                let join = match next {
                    true => Correction::Join { at: Time(split.0 - 1), with: Neighbour::Next },
                    false => Correction::Join { at: split, with: Neighbour::Previous },
                };
                plan.correct(&join, &by(3)).expect("two regions");
                prop_assert_eq!(said(&plan), before);
            }
        }

        /// A border that moves and comes back leaves what is said as it was.
        #[test]
        fn a_border_can_be_moved_back(near in a_moment(), to in a_moment()) {
            let mut plan = plan();
            let before = said(&plan);
            let border = plan.nearest_border(near).expect("borders");
            if plan.correct(&Correction::Border { near, to }, &by(1)).is_ok() {
                let place = plan.place(to).expect("within");
                prop_assert_eq!(plan.regions()[place].start, to);
                plan.correct(&Correction::Border { near: to, to: border }, &by(2)).expect("free");
                prop_assert_eq!(said(&plan), before);
            }
        }

        /// Only the stretch that is said changes, and the whole of it.
        #[test]
        fn a_stretch_is_what_it_is_said_to_be(
            from in a_moment(), to in a_moment(), center in a_center(), probe in a_moment(),
        ) {
            let before = plan();
            let mut plan = before.clone();
            let word = None;
            let stretch = Correction::Stretch { from, to, center, word };
            if plan.correct(&stretch, &by(1)).is_ok() && probe < at(70) {
                let of = |p: &CorrectedPlan| p.regions()[p.place(probe).expect("within")].center;
                let inside = from <= probe && probe < to;
                prop_assert_eq!(of(&plan), if inside { center } else { of(&before) });
            }
        }

        /// Steps from anywhere are refused rather than believed.
        #[test]
        fn what_does_not_fit_is_refused(
            first in 0usize..9, count in 0usize..9, starts in prop::collection::vec(a_moment(), 0..4),
        ) {
            let plan = plan();
            let before = starts.iter().map(|&start| CorrectedRegion {
                start,
                ..plan.regions()[0].clone()
            });
            let before: Vec<CorrectedRegion> = before.collect();
            let step = Step { first, count, before, by: by(1) };
            let kept = CorrectedPlan::kept(plan.regions().to_vec(), at(70), vec![step]);
            if let Ok(mut kept) = kept {
                prop_assert_eq!(kept.undo(), Ok(Undone::First));
                prop_assert!(kept.is_whole(0..kept.regions.len()));
            }
        }
    }
}
