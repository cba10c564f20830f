//! The bass: kept through the notes above it.

use super::super::harmony::Judgement;
use super::super::keys::Keys;
use super::figure::ROUND;
use super::follower::Follower;
use crate::theory::{Chord, PitchClass};
use crate::time::Time;

/// A bass that was released stays the bass for this long, unless something as low follows.
const BASS_STAYS: Time = Time::millis(2500);
/// A bass held this long into what follows is meant to sound: once released it is over.
const HELD_ON: Time = Time::millis(150);
/// How much likelier the lowest note must be than a bass that was let go …
const NEW_BASS: f32 = 1.0;
/// … if both are notes of the chord that stands, and if it was struck in another harmony.
const FIGURE_BASS: f32 = 3.0;
const PAST_BASS: f32 = 0.3;

impl Follower {
    /// Keeps the bass through the notes above it: a lower key that was let go goes on
    /// being the bass as long as what was learned says so. True if a new one was struck.
    pub(super) fn follow_bass(
        &mut self,
        at: Time,
        keys: &Keys,
        key: u8,
        judgement: &Judgement,
    ) -> bool {
        let low = keys.sounding().lowest().unwrap_or(key);
        let before = self.bass;
        let likely = |key: u8| judgement.bass[PitchClass::of_key(key).index()];
        // The bass that was there before this stroke, so that the order in which
        // its notes arrive does not matter.
        let stays = self.bass_before.filter(|&(b, t)| {
            let sounds = keys.sounding().contains(b);
            // A chord follows a bass that was struck alone and not held on under others.
            let short = self.ended[b].is_some_and(|e| e.since(self.after_bass) < HELD_ON);
            let follows = self.bass_alone && short || self.cluster.classes().len() < 3;
            // Struck by the same hands just now.
            let just = self.cluster.contains(b);
            // Another note of a figure over it: C A F A.
            let own = |c: Chord| {
                [b, low]
                    .iter()
                    .all(|&k| c.set().contains(PitchClass::of_key(k)))
            };
            let margin = match self.standing() {
                _ if t < self.began => PAST_BASS,
                Some((c, _)) if own(c) => FIGURE_BASS,
                _ => NEW_BASS,
            };
            let goes_on =
                !sounds && follows && at.since(t) < BASS_STAYS && likely(b) + margin > likely(low);
            low > b && (just || goes_on)
        });
        self.bass = stays.or(Some((low, keys.strike(low).at)));
        self.bass.map(|b| b.0) != before.map(|b| b.0) && low == key
    }

    /// The lowest key that a finger holds or that was struck in this harmony.
    pub(super) fn lowest_of_it(&self, at: Time, keys: &Keys) -> Option<u8> {
        let now = |k: u8| {
            let on = keys.strike(k).at;
            on >= self.began && at.since(on) < ROUND
        };
        (keys.held() | self.heard)
            .iter()
            .find(|&k| keys.held().contains(k) || now(k))
    }
}
