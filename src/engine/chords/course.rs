//! The likeliest course through what may be meant, stroke by stroke.

use super::super::stroke::Arrival;
use crate::theory::PitchClass;

/// The likeliest course so far through what may be meant, as logarithms (Viterbi 1967): what
/// leads goes on leading until another has made up for the price of a change. `N`: twelve for
/// each sort.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course<const N: usize> {
    /// Up to the stroke before.
    before: [f32; N],
    now: [f32; N],
}

/// Everything is equally likely.
impl<const N: usize> Default for Course<N> {
    fn default() -> Course<N> {
        Course {
            before: [0.0; N],
            now: [0.0; N],
        }
    }
}

impl<const N: usize> Course<N> {
    /// `arrival`: of a key that joins its stroke the whole stroke is judged anew.
    pub fn go_on(&mut self, arrival: Arrival, price: f32, said: &[f32]) {
        if arrival == Arrival::Begins {
            self.before = self.now;
        }
        let top = self.before.iter().fold(f32::MIN, |a, &b| a.max(b));
        for ((now, before), said) in self.now.iter_mut().zip(&self.before).zip(said) {
            *now = (before - top).max(-price) + said;
        }
    }

    /// Makes this as likely as what leads.
    pub fn hold(&mut self, (root, sort): (PitchClass, usize)) {
        let top = self.now.iter().fold(f32::MIN, |a, &b| a.max(b));
        if let Some(now) = self.now.get_mut(12 * sort + root.index()) {
            *now = top;
        }
    }

    /// What leads; in a tie, the one nearest above `from`.
    pub fn best(&self, from: PitchClass) -> (PitchClass, usize) {
        let mut best = (from, 0);
        let said = |(root, sort): (PitchClass, usize)| self.now[12 * sort + root.index()];
        for root in (0..12).map(|n| from.up(n)) {
            for sort in 0..N / 12 {
                if said((root, sort)) > said(best) {
                    best = (root, sort);
                }
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(pc: usize, lead: f32) -> [f32; 12] {
        std::array::from_fn(|i| if i == pc { lead } else { 0.0 })
    }

    fn best(course: &Course<12>) -> usize {
        course.best(PitchClass::new(0)).0.index()
    }

    #[test]
    fn a_course_changes_when_a_lead_makes_up_for_its_price() {
        let mut course = Course::<12>::default();
        course.go_on(Arrival::Begins, 1.0, &said(2, 3.0));
        assert_eq!(best(&course), 2);
        // Less than the price at once, and then once more.
        course.go_on(Arrival::Begins, 1.0, &said(7, 0.7));
        assert_eq!(best(&course), 2);
        course.go_on(Arrival::Begins, 1.0, &said(7, 0.7));
        assert_eq!(best(&course), 7);
        // However long something led, it leads by no more than the price.
        for _ in 0..20 {
            course.go_on(Arrival::Begins, 1.0, &said(4, 5.0));
        }
        course.go_on(Arrival::Begins, 1.0, &said(9, 1.1 + 5.0));
        assert_eq!(best(&course), 9);
    }

    #[test]
    fn a_key_more_of_the_same_stroke_counts_once() {
        let mut course = Course::<12>::default();
        course.go_on(Arrival::Begins, 1.0, &said(2, 3.0));
        for _ in 0..9 {
            course.go_on(Arrival::Joins, 1.0, &said(7, 0.7));
        }
        let mut once = Course::<12>::default();
        once.go_on(Arrival::Begins, 1.0, &said(7, 0.7));
        assert_eq!(course.now, once.now);
    }

    #[test]
    fn what_is_held_leads_and_equals_are_told_from_the_bass() {
        let mut course = Course::<12>::default();
        let from = PitchClass::new(5);
        assert_eq!(course.best(from).0, from);
        course.go_on(Arrival::Begins, 1.0, &said(2, 3.0));
        course.hold((PitchClass::new(7), 0));
        assert_eq!(course.best(from).0, PitchClass::new(7));
        assert_eq!(course.best(PitchClass::new(8)).0, PitchClass::new(2));
    }
}
