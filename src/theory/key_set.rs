//! Sets of keys of the keyboard.

use super::pitch::{PitchClass, PitchClassSet};
use std::fmt;
use std::ops::{BitAnd, BitAndAssign, BitOr, BitOrAssign, Not};

/// A set of keys: MIDI notes 0 to 127.
#[derive(Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct KeySet(u128);

impl KeySet {
    pub const EMPTY: KeySet = KeySet(0);

    /// From a mask, bit n for MIDI note n.
    pub const fn from_mask(mask: u128) -> KeySet {
        KeySet(mask)
    }

    /// One key alone.
    pub const fn of(key: u8) -> KeySet {
        KeySet(1 << (key & 127))
    }

    /// All keys lower than this one.
    pub const fn below(key: u8) -> KeySet {
        KeySet(KeySet::of(key).0 - 1)
    }

    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    pub const fn contains(self, key: u8) -> bool {
        self.0 & KeySet::of(key).0 != 0
    }

    pub const fn is_subset(self, of: KeySet) -> bool {
        self.0 & !of.0 == 0
    }

    /// The pitch classes of its keys.
    pub fn classes(self) -> PitchClassSet {
        self.iter().map(PitchClass::of_key).collect()
    }

    /// From the lowest key upwards.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        let mut rest = self;
        std::iter::from_fn(move || {
            let key = rest.lowest()?;
            rest.0 &= rest.0 - 1;
            Some(key)
        })
    }

    pub fn lowest(self) -> Option<u8> {
        (self.0 != 0).then(|| self.0.trailing_zeros() as u8)
    }

    pub fn highest(self) -> Option<u8> {
        (self.0 != 0).then(|| 127 - self.0.leading_zeros() as u8)
    }
}

impl BitOr for KeySet {
    type Output = KeySet;

    fn bitor(self, other: KeySet) -> KeySet {
        KeySet(self.0 | other.0)
    }
}

impl BitOrAssign for KeySet {
    fn bitor_assign(&mut self, other: KeySet) {
        self.0 |= other.0;
    }
}

impl BitAnd for KeySet {
    type Output = KeySet;

    fn bitand(self, other: KeySet) -> KeySet {
        KeySet(self.0 & other.0)
    }
}

impl BitAndAssign for KeySet {
    fn bitand_assign(&mut self, other: KeySet) {
        self.0 &= other.0;
    }
}

impl Not for KeySet {
    type Output = KeySet;

    fn not(self) -> KeySet {
        KeySet(!self.0)
    }
}

impl Extend<u8> for KeySet {
    fn extend<I: IntoIterator<Item = u8>>(&mut self, keys: I) {
        keys.into_iter().for_each(|key| *self |= KeySet::of(key));
    }
}

impl FromIterator<u8> for KeySet {
    fn from_iter<I: IntoIterator<Item = u8>>(keys: I) -> KeySet {
        let mut set = KeySet::EMPTY;
        set.extend(keys);
        set
    }
}

/// The union.
impl FromIterator<KeySet> for KeySet {
    fn from_iter<I: IntoIterator<Item = KeySet>>(sets: I) -> KeySet {
        sets.into_iter().fold(KeySet::EMPTY, KeySet::bitor)
    }
}

impl fmt::Debug for KeySet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_from_the_lowest_to_the_highest() {
        let set: KeySet = [64, 0, 127, 60].into_iter().collect();
        assert_eq!(set.iter().collect::<Vec<_>>(), [0, 60, 64, 127]);
        assert_eq!((set.lowest(), set.highest()), (Some(0), Some(127)));
        assert_eq!(
            (set.len(), set.contains(60), set.contains(61)),
            (4, true, false)
        );
        assert_eq!((KeySet::below(61) & set).len(), 2);
        assert_eq!(set.classes().mask(), 1 << 0 | 1 << 4 | 1 << 7);
        assert_eq!(format!("{set:?}"), "{0, 60, 64, 127}");
    }

    #[test]
    fn union_and_what_is_empty() {
        let sets = [KeySet::of(60), KeySet::EMPTY, KeySet::of(72)];
        let union: KeySet = sets.into_iter().collect();
        assert_eq!(union, KeySet::of(60) | KeySet::of(72));
        assert!(KeySet::of(72).is_subset(union) && !union.is_subset(KeySet::of(72)));
        assert!((union & !union).is_empty());
        assert_eq!(
            (KeySet::EMPTY.lowest(), KeySet::EMPTY.highest()),
            (None, None)
        );
    }
}
