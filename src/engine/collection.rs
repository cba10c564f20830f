//! Collections of notes without a center among them.

use crate::theory::PitchClassSet;

/// Notes without a home among them: one of the whole-tone, octatonic and chromatic scales.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Collection(u8);

/// From C: names and notes.
const ALL: [(&str, u16); Collection::COUNT] = [
    ("whole-tone", 0b0101_0101_0101),
    ("whole-tone", 0b1010_1010_1010),
    ("octatonic", 0b0110_1101_1011),
    ("octatonic", 0b1101_1011_0110),
    ("octatonic", 0b1011_0110_1101),
    ("chromatic", 0b1111_1111_1111),
];

impl Collection {
    /// How many there are.
    pub const COUNT: usize = 6;

    /// On C.
    pub const WHOLE_TONE: Collection = Collection(0);
    pub const OCTATONIC_HALF_STEP_FIRST: Collection = Collection(2);
    pub const OCTATONIC_WHOLE_STEP_FIRST: Collection = Collection(4);
    pub const CHROMATIC: Collection = Collection(5);

    /// All of them.
    pub fn all() -> impl DoubleEndedIterator<Item = Collection> + Clone {
        (0..Collection::COUNT as u8).map(Collection)
    }

    /// `whole-tone`.
    pub fn name(self) -> &'static str {
        ALL[self.index()].0
    }

    /// Its notes.
    pub fn set(self) -> PitchClassSet {
        PitchClassSet::from_mask(ALL[self.index()].1)
    }

    /// Its place in the order of [`Collection::all`].
    pub fn index(self) -> usize {
        usize::from(self.0)
    }

    /// Transposed by `semitones`: another collection, or itself.
    pub fn up(self, semitones: i32) -> Collection {
        let set = self.set().up(semitones);
        // Every transposition of the six is among them.
        Collection::all().find(|c| c.set() == set).unwrap_or(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_transposition_is_among_them() {
        for collection in Collection::all() {
            for by in -12..12 {
                assert_eq!(collection.up(by).set(), collection.set().up(by));
                assert_eq!(collection.up(by).name(), collection.name());
            }
        }
        let steps = |c: Collection| {
            c.set()
                .iter()
                .map(|p| p.index())
                .take(3)
                .collect::<Vec<_>>()
        };
        assert_eq!(steps(Collection::OCTATONIC_HALF_STEP_FIRST), [0, 1, 3]);
        assert_eq!(steps(Collection::OCTATONIC_WHOLE_STEP_FIRST), [0, 2, 3]);
    }
}
