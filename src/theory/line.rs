//! A voice that moves by step through a harmony whose other voices stay: A G♯ G F♯ in A minor.

use super::degree::Degree;
use super::pitch::PitchClass;
use super::spelling::Spelling;

/// Maximum number of notes.
const NOTES: usize = 8;

/// Notes one step apart, all upwards or all downwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    notes: [PitchClass; NOTES],
    count: usize,
}

/// Where a line goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    Rising,
    Falling,
}

impl Line {
    /// From one note to the next; `None` unless they are a step apart.
    pub fn step(from: PitchClass, to: PitchClass) -> Option<Line> {
        motion(from, to)?;
        let mut notes = [from; NOTES];
        notes[1] = to;
        Some(Line { notes, count: 2 })
    }

    /// With one note more; `None` if it turns, leaps, or would be too long.
    pub fn on(self, to: PitchClass) -> Option<Line> {
        let goes_on = motion(self.last(), to) == Some(self.motion());
        (goes_on && self.count < NOTES).then(|| {
            let mut line = self;
            line.notes[line.count] = to;
            line.count += 1;
            line
        })
    }

    /// Two or more.
    pub fn notes(&self) -> &[PitchClass] {
        &self.notes[..self.count]
    }

    pub fn last(&self) -> PitchClass {
        self.notes[self.count - 1]
    }

    pub fn motion(&self) -> Motion {
        motion(self.notes[0], self.notes[1]).unwrap_or(Motion::Falling)
    }

    /// Its notes as they are written over a chord on this root: sharps lead up, flats down, and
    /// a falling line has the leading tone of the root.
    pub fn spelled(&self, root: Spelling) -> impl Iterator<Item = Spelling> + '_ {
        let rising = self.motion() == Motion::Rising;
        self.notes().iter().map(move |pc| {
            let above = pc.above(root.pitch_class());
            let degree = match (above, rising) {
                (1, true) => Degree::at(1, 1),
                (3, true) => Degree::at(2, 3),
                (6, false) => Degree::at(5, 6),
                (8, true) => Degree::at(5, 8),
                _ => Degree::chromatic(above),
            };
            root.up(usize::from(degree.number) - 1, above as i32)
        })
    }
}

fn motion(from: PitchClass, to: PitchClass) -> Option<Motion> {
    match to.above(from) {
        1 | 2 => Some(Motion::Rising),
        10 | 11 => Some(Motion::Falling),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(notes: &[i32]) -> Option<Line> {
        let pc = |i: usize| PitchClass::new(notes[i]);
        let first = Line::step(pc(0), pc(1));
        (2..notes.len()).fold(first, |line, i| line?.on(pc(i)))
    }

    fn written(notes: &[i32], root: &str) -> String {
        let root: Spelling = root.parse().expect("a note");
        let line = line(notes).expect("a line");
        let notes: Vec<String> = line.spelled(root).map(|n| n.to_string()).collect();
        notes.join(" ")
    }

    /// Common practice, no source: the line over a minor tonic, and that over a major one.
    #[test]
    fn a_line_is_spelled_by_where_it_goes() {
        assert_eq!(written(&[9, 8, 7, 6], "A"), "A G♯ G F♯");
        assert_eq!(written(&[0, 11, 10, 9], "C"), "C B B♭ A");
        assert_eq!(written(&[7, 8, 9, 10], "C"), "G G♯ A B♭");
        assert_eq!(written(&[10, 9, 8, 7], "C"), "B♭ A A♭ G");
    }

    #[test]
    fn a_line_neither_turns_nor_leaps_nor_grows_without_end() {
        assert_eq!(line(&[9, 8, 9]), None);
        assert_eq!(line(&[9, 8, 5]), None);
        assert_eq!(line(&[9, 5]), None);
        let chromatic: Vec<i32> = (0..12).collect();
        assert!(line(&chromatic[..NOTES]).is_some());
        assert_eq!(line(&chromatic[..=NOTES]), None);
    }
}
