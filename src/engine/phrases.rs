//! Where phrases begin: a marker is set after the phrase that it is about.

use super::change::{Change, Observer};
use crate::time::Time;
use std::collections::VecDeque;

/// Gathers the beginnings of phrases from the engine's changes: the first sound after a
/// breath, another region, and the edges of asides.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Phrases {
    /// When a beginning was reported, and where it lies: the evidence of a region begins
    /// before it is established.
    begin: VecDeque<(Time, Time)>,
    /// How many of the latest are kept; `None`: all.
    most: Option<usize>,
    /// When silence began, while it lasts.
    silent: Option<Time>,
    sounded: bool,
    /// Whether a region is running.
    here: bool,
}

/// Between phrases hands and pedal leave the keys for this long: common practice, no source.
const PAUSE: Time = Time::millis(600);
/// A hand takes this long to reach the key that sets a marker; a phrase that began in that time
/// is not meant: common practice, no source.
const REACTION: Time = Time::millis(1500);
/// The longest stretch that a marker is about.
const LONGEST: Time = Time::millis(60_000);
/// Maximum number that begin within [`REACTION`]: regions change on a grid of 100 ms.
const LATELY: usize = 32;

impl Phrases {
    /// For live use: keeps only the latest, and does not allocate after this.
    pub fn of_late() -> Phrases {
        Phrases {
            begin: VecDeque::with_capacity(LATELY),
            most: Some(LATELY),
            ..Phrases::default()
        }
    }

    /// The stretch that a marker set at `at` is about: from the beginning of the phrase
    /// before to `at`; not less than 1.5 and not more than 60 seconds.
    pub fn before(&self, at: Time) -> (Time, Time) {
        let latest = at - REACTION;
        // The player could not know what was reported later.
        let known = self.begin.iter().filter(|(told, _)| *told < at);
        let begun = known.map(|b| b.1).filter(|&t| t <= latest).max();
        (begun.unwrap_or(latest).max(at - LONGEST), at)
    }

    fn begins(&mut self, told: Time, at: Time) {
        if self.most.is_some_and(|most| self.begin.len() >= most) {
            self.begin.pop_front();
        }
        self.begin.push_back((told, at));
    }
}

impl Observer for Phrases {
    fn change(&mut self, at: Time, change: Change) {
        match change {
            // A stroke after silence always reports its chord.
            Change::Chord { .. } => {
                let silent = self.silent.take();
                if !self.sounded || silent.is_some_and(|since| at.since(since) >= PAUSE) {
                    self.begins(at, at);
                }
                self.sounded = true;
            }
            Change::Silence => self.silent = Some(at),
            Change::Here(e) => {
                if self.here {
                    self.begins(at, e.since);
                }
                self.here = true;
            }
            Change::NoCenter | Change::Rest => self.here = false,
            Change::Aside(_) => {
                self.here = false;
                self.begins(at, at);
            }
            Change::Refined(_)
            | Change::Home(_)
            | Change::VoicedChord(_)
            | Change::Polymodal(_)
            | Change::Harmony(_)
            | Change::Pinned(_)
            | Change::HomeIs(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::event::Aside;
    use super::super::reading::Established;
    use super::*;
    use crate::plan::Open;
    use crate::theory::{Catalogue, KeySet, Kinds, PitchClass, PitchClassSet};

    fn ms(ms: u64) -> Time {
        Time::millis(ms)
    }

    fn sound(phrases: &mut Phrases, at: u64) {
        let c = PitchClass::new(0);
        let sonority = Kinds::standard().name(PitchClassSet::EMPTY.with(c), c, PitchClassSet::ALL);
        phrases.change(
            ms(at),
            Change::Chord {
                sonority,
                keys: KeySet::of(0),
            },
        );
    }

    fn here(phrases: &mut Phrases, name: &str, since: u64, at: u64) {
        let t = Catalogue::standard().parse_tonality(name).unwrap();
        let here = Established {
            spelled: t,
            at: ms(at),
            since: ms(since),
            probability: 0.9,
            open: Open::default(),
        };
        phrases.change(ms(at), Change::Here(here));
    }

    /// The seconds of a marker's stretch are those of the latest phrase that had begun when
    /// the hand set out.
    #[test]
    fn a_phrase_begins_after_a_breath_or_with_a_region() {
        let mut all = Phrases::default();
        assert_eq!(all.before(ms(900)), (ms(0), ms(900)), "nothing was heard");
        assert_eq!(all.before(ms(5000)), (ms(3500), ms(5000)));
        sound(&mut all, 1000);
        here(&mut all, "D dorian", 1200, 3000);
        assert_eq!(all.before(ms(9000)), (ms(1000), ms(9000)), "no change yet");
        // Too short for a breath, then long enough.
        for (silence, again) in [(4000, 4599), (5000, 5600)] {
            all.change(ms(silence), Change::Silence);
            sound(&mut all, again);
        }
        sound(&mut all, 6000);
        assert_eq!(all.before(ms(9000)).0, ms(5600));
        assert_eq!(all.before(ms(7100)).0, ms(5600), "just long enough ago");
        assert_eq!(all.before(ms(7099)).0, ms(1000), "the one before is meant");
        assert_eq!(all.before(ms(2000)).0, ms(500), "it has hardly begun");
        here(&mut all, "G mixolydian", 8000, 10_000);
        assert_eq!(all.before(ms(12_000)).0, ms(8000));
        assert_eq!(all.before(ms(10_000)).0, ms(5600), "not told yet");
        // Having no center between them is no change of region.
        all.change(ms(13_000), Change::NoCenter);
        here(&mut all, "A aeolian", 14_000, 15_000);
        assert_eq!(all.before(ms(20_000)).0, ms(8000));
        assert_eq!(all.before(ms(100_000)).0, ms(40_000), "a minute at most");
        // In silence the phrase that is over is meant.
        all.change(ms(20_000), Change::Silence);
        assert_eq!(all.before(ms(30_000)), (ms(8000), ms(30_000)));
        all.change(ms(31_000), Change::Aside(Aside::Begins));
        all.change(ms(35_000), Change::Aside(Aside::Ends));
        assert_eq!(all.before(ms(34_000)).0, ms(31_000));
        assert_eq!(all.before(ms(37_000)).0, ms(35_000));
    }

    #[test]
    fn those_of_late_are_enough_now() {
        let (mut all, mut late) = (Phrases::default(), Phrases::of_late());
        for i in 0..500u64 {
            for phrases in [&mut all, &mut late] {
                sound(phrases, 2000 * i);
                if i % 3 == 0 {
                    phrases.change(ms(2000 * i + 1000), Change::Silence);
                }
            }
            let at = ms(2000 * i + 1400);
            assert_eq!(all.before(at), late.before(at));
        }
        assert_eq!(late.begin.len(), LATELY);
        assert!(late.begin.capacity() >= LATELY && all.begin.len() > 100);
    }
}
