//! Pitch classes, sets of them, and pitches with their octave.

use std::fmt;

/// A pitch class, 0-11, C = 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchClass(u8);

impl PitchClass {
    /// Any whole number of semitones above C, folded into the octave.
    pub const fn new(semitones: i32) -> PitchClass {
        PitchClass(semitones.rem_euclid(12) as u8)
    }

    /// Of a MIDI note number.
    pub const fn of_key(key: u8) -> PitchClass {
        PitchClass(key % 12)
    }

    /// 0-11.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// `semitones` higher.
    pub const fn up(self, semitones: i32) -> PitchClass {
        // In 64 bits, so that any number of semitones can be added.
        PitchClass((self.0 as i64 + semitones as i64).rem_euclid(12) as u8)
    }

    /// Semitones from `below` up to this one, 0-11.
    pub const fn above(self, below: PitchClass) -> usize {
        ((self.0 + 12 - below.0) % 12) as usize
    }

    /// All twelve, from C.
    pub fn all() -> impl Iterator<Item = PitchClass> {
        (0..12).map(PitchClass)
    }
}

/// A set of pitch classes, or of semitones above a root: bit n stands for n.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchClassSet(u16);

impl PitchClassSet {
    pub const EMPTY: PitchClassSet = PitchClassSet(0);
    pub const ALL: PitchClassSet = PitchClassSet(0xfff);

    /// From a mask; bits beyond the twelfth are dropped.
    pub const fn from_mask(mask: u16) -> PitchClassSet {
        PitchClassSet(mask & 0xfff)
    }

    pub const fn mask(self) -> u16 {
        self.0
    }

    pub const fn contains(self, pc: PitchClass) -> bool {
        self.0 >> pc.0 & 1 == 1
    }

    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    #[must_use]
    pub const fn with(self, pc: PitchClass) -> PitchClassSet {
        PitchClassSet(self.0 | 1 << pc.0)
    }

    #[must_use]
    pub const fn without(self, pc: PitchClass) -> PitchClassSet {
        PitchClassSet(self.0 & !(1 << pc.0))
    }

    /// The intersection.
    pub const fn and(self, other: PitchClassSet) -> PitchClassSet {
        PitchClassSet(self.0 & other.0)
    }

    /// The union.
    pub const fn or(self, other: PitchClassSet) -> PitchClassSet {
        PitchClassSet(self.0 | other.0)
    }

    /// The members that the other does not have.
    pub const fn minus(self, other: PitchClassSet) -> PitchClassSet {
        PitchClassSet(self.0 & !other.0)
    }

    pub const fn is_subset(self, of: PitchClassSet) -> bool {
        self.0 & !of.0 == 0
    }

    /// Every member moved up.
    #[must_use]
    pub const fn up(self, semitones: i32) -> PitchClassSet {
        let n = semitones.rem_euclid(12) as u32;
        PitchClassSet((self.0 << n | self.0 >> (12 - n)) & 0xfff)
    }

    /// The members as semitones above `root`.
    #[must_use]
    pub const fn seen_from(self, root: PitchClass) -> PitchClassSet {
        self.up(-(root.0 as i32))
    }

    /// The lowest of a stack of perfect fourths, if the set is one of three to five.
    pub(super) fn quartal(self) -> Option<PitchClass> {
        let stack = |low: PitchClass| -> PitchClassSet {
            (0..self.len() as i32).map(|i| low.up(5 * i)).collect()
        };
        if !(3..=5).contains(&self.len()) {
            return None;
        }
        self.iter().find(|&low| stack(low) == self)
    }

    /// Neighbours a semitone or whole tone apart, all within a fifth.
    pub(super) fn is_cluster(self) -> bool {
        self.iter().any(|low| {
            let above = self.seen_from(low);
            let mut last = 0;
            above.len() >= 3
                && above.iter().all(|pc| {
                    let near = pc.index() - last <= 2;
                    last = pc.index();
                    near && pc.index() <= 7
                })
        })
    }

    /// From C upwards.
    pub fn iter(self) -> impl Iterator<Item = PitchClass> {
        PitchClass::all().filter(move |&pc| self.contains(pc))
    }
}

impl FromIterator<PitchClass> for PitchClassSet {
    fn from_iter<I: IntoIterator<Item = PitchClass>>(pcs: I) -> PitchClassSet {
        pcs.into_iter()
            .fold(PitchClassSet::EMPTY, PitchClassSet::with)
    }
}

impl fmt::Debug for PitchClassSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter().map(|pc| pc.0)).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_turn_with_their_members() {
        let major: PitchClassSet = [0, 4, 7].map(PitchClass::new).into_iter().collect();
        for n in -13..13 {
            let moved: PitchClassSet = major.iter().map(|p| p.up(n)).collect();
            assert_eq!(major.up(n), moved);
            assert_eq!(moved.seen_from(PitchClass::new(n)), major);
        }
    }
}
