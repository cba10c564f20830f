//! The chord of the moment: what sounds, and what was struck or broken just before.
//!
//! What was learned ([`super::harmony`]) says at each stroke which harmony is meant, a
//! root and a triad, and which bass; a change of either must make up for its price
//! ([`course`]). A block of notes is named as it stands. Otherwise the notes that sound,
//! those the pedal holds and those just let go are weighed ([`salience`]), and decide together
//! with what was learned of each degree which kind of chord the harmony is ([`fit`]); a
//! passing note in the melody does not change it. Where too little was heard for a chord its
//! notes are shown.
//!
//! The weights and margins in these files were chosen on analysts' chords and on the textures
//! of tests/textures.rs (tests/training/README.md).

mod bass;
mod candidates;
mod course;
mod figure;
mod fit;
mod follower;
mod salience;

pub use fit::{Needs, likeliest, on_its_bass};
pub use follower::{LATELY, SILENCE};

use super::features::ReadingDirection;
use super::harmony::{Harmony, Judgement};
use super::keys::Keys;
use super::stroke::{Arrival, Stroke};
use crate::theory::{Hearing, KeySet, Sonority};
use crate::time::Time;
use follower::Follower;

/// Follows the chord.
#[derive(Clone, Debug)]
pub struct ChordTracker {
    harmony: Harmony,
    follower: Follower,
}

impl Default for ChordTracker {
    fn default() -> ChordTracker {
        ChordTracker {
            harmony: Harmony::standard(ReadingDirection::Forward),
            follower: Follower::default(),
        }
    }
}

impl ChordTracker {
    /// The label now, and since when.
    pub fn now(&self) -> Option<(Sonority, Time)> {
        self.follower.now()
    }

    /// The keys of the last stroke, and when it began.
    pub fn struck(&self) -> (KeySet, Time) {
        self.follower.struck()
    }

    /// The latest stroke so far, the judgement of it, and whether its latest key began it.
    pub fn stroke(&self) -> Option<(&Stroke, &Judgement, Arrival)> {
        let (stroke, arrival) = self.follower.stroke()?;
        Some((stroke, self.harmony.judgement(), arrival))
    }

    /// The key of the bass that is meant, sounding or let go.
    pub fn bass(&self) -> Option<u8> {
        self.follower.meant_bass()
    }

    /// A key was struck. True if the chord changed.
    pub fn on_onset(&mut self, at: Time, keys: &Keys, key: u8, hearing: Hearing) -> bool {
        let (stroke, arrival) = self.follower.strike(at, keys, key);
        let judgement = self.harmony.hear(&stroke, arrival);
        self.follower
            .judge(at, keys, (key, arrival), judgement, hearing)
    }

    /// The damper went up. What it held no longer counts, except what was struck just before:
    /// the foot follows the hand.
    pub fn on_pedal_up(&mut self, at: Time) {
        self.follower.on_pedal_up(at);
    }

    /// Something was let go, or a step of the grid passed. True if the chord changed.
    pub fn on_time(&mut self, at: Time, keys: &Keys, hearing: Hearing) -> bool {
        self.follower
            .on_time(at, keys, self.harmony.judgement(), hearing)
    }

    /// Forgets everything. Allocates nothing.
    pub fn reset(&mut self) {
        self.harmony.reset();
        self.follower = Follower::default();
    }
}
