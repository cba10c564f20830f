//! Figures of accompaniment: keys struck one after another, or in small strokes, over a low key
//! (the floor) that is struck again and again, as in Alberti basses, waltzes and wide left
//! hands (common practice, no source). One round of it, a cell, is one harmony.
//!
//! Where a cell begins is decided by the keys alone: at a stroke as low as its floor, at
//! one that steps far down towards it, and when as many strokes have passed as the cell
//! before had. What looked like two short cells is one when the lower floor comes again.

use crate::theory::KeySet;
use crate::time::Time;

/// After this long without a stroke a new figure begins.
const GAP: Time = Time::millis(1300);
/// A figure returns to its floor within this time.
pub(super) const ROUND: Time = Time::millis(4000);
/// Cells of at most this many strokes may be parts of one.
const SHORT: u32 = 2;
/// A stroke steps down to a new floor if it falls by more semitones than this …
const STEP: u32 = 2;
/// … and, before the cell's usual end, by more than this many times its own steps down.
const STEPS: u32 = 3;
/// Stands for no key.
const NONE: u8 = 127;

#[derive(Clone, Copy, Debug)]
struct Cell {
    keys: KeySet,
    floor: u8,
    /// The lowest key above the floor.
    above: u8,
    strokes: u32,
    /// Whether its floor was struck alone, or in octaves: a bass, after which a chord follows.
    bass: bool,
    /// The widest step down within it, in semitones.
    fall: u32,
}

impl Cell {
    const EMPTY: Cell = Cell {
        keys: KeySet::EMPTY,
        floor: NONE,
        above: NONE,
        strokes: 0,
        bass: false,
        fall: 0,
    };

    fn new(stroke: KeySet, low: u8) -> Cell {
        Cell {
            keys: stroke,
            floor: low,
            strokes: 1,
            bass: stroke.classes().len() == 1,
            ..Cell::EMPTY
        }
    }
}

/// The figure up to now.
#[derive(Clone, Copy, Debug)]
pub(super) struct Figure {
    cell: Cell,
    /// When its floor was struck.
    began: Time,
    /// The cell before, and the keys of the round that it belongs to.
    before: Cell,
    round: KeySet,
    /// The latest stroke, and the lowest key of it and of the last of the cell before.
    last: Time,
    low: u8,
    low_before: u8,
}

impl Default for Figure {
    fn default() -> Figure {
        Figure::NONE
    }
}

/// Whether a finger is on the floor of a figure: while it is held, no other follows above it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Floor {
    Held,
    LetGo,
}

impl Figure {
    pub const NONE: Figure = Figure {
        cell: Cell::EMPTY,
        began: Time::ZERO,
        before: Cell::EMPTY,
        round: KeySet::EMPTY,
        last: Time::ZERO,
        low: 0,
        low_before: 0,
    };

    /// The key that the present cell stands on.
    pub fn floor(&self) -> Option<u8> {
        (!self.cell.keys.is_empty()).then_some(self.cell.floor)
    }

    /// Keys struck together.
    pub fn go_on(&mut self, at: Time, stroke: KeySet, floor: Floor) {
        let Some(low) = stroke.lowest() else { return };
        let held = floor == Floor::Held;
        let late = at.since(self.began) > ROUND && !held;
        let complete = self.cell.strokes == self.before.strokes && self.again();
        if self.cell.keys.is_empty() || late || at.since(self.last) > GAP {
            *self = Figure {
                cell: Cell::new(stroke, low),
                began: at,
                ..Figure::NONE
            };
        } else if low <= self.cell.floor
            || !held && (complete && low < self.low || self.steps_down(low))
        {
            self.close(low);
            (self.cell, self.began) = (Cell::new(stroke, low), at);
        } else {
            let cell = &mut self.cell;
            cell.keys |= stroke;
            cell.above = cell.above.min(low);
            cell.fall = cell.fall.max(u32::from(self.low.saturating_sub(low)));
            cell.strokes += 1;
        }
        (self.last, self.low) = (at, low);
    }

    /// A new floor above the old one: nearer to it than to what lies above.
    fn steps_down(&self, low: u8) -> bool {
        let above = self.cell.above.min(self.before.above);
        let within = self.before.strokes > SHORT && self.cell.strokes < self.before.strokes;
        let expected = if within {
            STEPS * self.before.fall
        } else {
            STEP
        };
        u32::from(low) + expected < u32::from(self.low)
            && low < above
            && low - self.cell.floor < above - low
    }

    /// Ends the cell; the next one begins on `low`.
    fn close(&mut self, low: u8) {
        let (cell, before) = (self.cell, &mut self.before);
        let inner = low == before.floor && low < cell.floor;
        if inner && before.strokes <= SHORT && cell.strokes <= SHORT {
            // What looked like a floor lies in the middle.
            self.round |= cell.keys;
            let step = u32::from(self.low_before.saturating_sub(cell.floor));
            before.strokes += cell.strokes;
            before.above = before.above.min(cell.floor);
            before.fall = before.fall.max(cell.fall).max(step);
            return;
        }
        let same = cell.keys.is_subset(self.round) && self.round.contains(cell.floor);
        if !same {
            self.round = cell.keys;
        }
        self.before = cell;
        self.low_before = self.low;
    }

    /// Whether only keys of the round before were struck in this one.
    pub fn again(&self) -> bool {
        self.cell.keys.is_subset(self.round)
    }

    /// Whether it stands on a bass that was struck by itself.
    pub fn on_bass(&self) -> bool {
        self.cell.bass
    }

    /// Every key of the figure: of the whole round, where it is repeated.
    pub fn keys(&self) -> KeySet {
        if self.again() {
            self.round
        } else {
            self.cell.keys
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Single keys, 200 ms apart; then the keys of the figure.
    fn after(keys: &[u8]) -> (Vec<u8>, bool) {
        let mut figure = Figure::NONE;
        for (i, &key) in (0..).zip(keys) {
            figure.go_on(Time::millis(1000 + 200 * i), KeySet::of(key), Floor::LetGo);
        }
        (figure.keys().iter().collect(), figure.again())
    }

    #[test]
    fn what_comes_round_is_one_harmony() {
        let alberti = [48, 55, 52, 55, 48, 55, 52, 55, 48];
        assert_eq!(after(&alberti[..3]), (vec![48, 52, 55], false));
        assert_eq!(after(&alberti[..6]), (vec![48, 52, 55], true));
        assert_eq!(after(&alberti), (vec![48, 52, 55], true));
    }

    #[test]
    fn a_lower_key_begins_another() {
        let line = [48, 55, 52, 55, 48, 55, 52, 55, 47, 55];
        assert_eq!(after(&line), (vec![47, 55], false));
    }

    #[test]
    fn so_does_a_higher_one_after_a_whole_round_or_a_wide_step_down() {
        let round = [48, 55, 52, 55, 48, 55, 52, 55, 53, 60, 57];
        assert_eq!(after(&round), (vec![53, 57, 60], false));
        let step = [36, 55, 60, 64, 60, 55, 36, 55, 60, 64, 41, 57];
        assert_eq!(after(&step), (vec![41, 57], false));
    }

    #[test]
    fn a_middle_that_looked_like_a_floor_is_taken_back() {
        let line = [43, 59, 50, 59, 43];
        assert_eq!(after(&line[..4]), (vec![50, 59], false));
        assert_eq!(after(&line), (vec![43, 50, 59], true));
    }

    #[test]
    fn after_a_gap_nothing_is_left() {
        let mut figure = Figure::NONE;
        figure.go_on(Time::millis(0), KeySet::of(48), Floor::LetGo);
        figure.go_on(Time::millis(200), KeySet::of(55), Floor::LetGo);
        figure.go_on(Time::millis(2000), KeySet::of(57), Floor::LetGo);
        assert_eq!(figure.keys(), KeySet::of(57));
        assert_eq!(figure.floor(), Some(57));
    }
}
