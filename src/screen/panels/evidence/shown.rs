//! An explanation, as far as it may be shown.

use crate::engine::{Cause, Explanation, Removed};
use crate::plan::Open;
use crate::screen::claim::{self, Claim};
use crate::screen::look::Look;
use crate::screen::picture::Picture;
use crate::theory::PitchClassSet;

/// The least change that is shown: a smaller one would be rounded to nothing.
const LEAST: f32 = 0.0051;

/// An explanation, as far as it may be shown.
pub(super) struct Evidence<'a> {
    pub e: &'a Explanation,
    /// Of the tonality here, if that is what is explained.
    pub open: Option<Open>,
    /// Only the center is explained, as the mode is undecided.
    pub center: bool,
    pub look: &'a Look<'a>,
}

impl<'a> Evidence<'a> {
    pub fn new(e: &'a Explanation, picture: &Picture, look: &'a Look<'a>) -> Evidence<'a> {
        let open = picture
            .reading
            .here
            .filter(|h| h.spelled.tonality == e.spelled.tonality);
        let open = open.map(|h| h.open);
        let center = open.is_none_or(|o| o.claim() == Claim::Undecided);
        Evidence {
            e,
            open,
            center,
            look,
        }
    }

    /// Whether it is likelier that the notes have no center than that they have this one.
    pub fn no_center(&self) -> bool {
        self.open.is_none() && self.e.no_center_probability > self.e.center_probability
    }

    /// What is lost without a cause (0-1): probability of the center or of the tonality.
    pub fn change(&self, c: &Cause) -> f32 {
        if self.center {
            c.center_change
        } else {
            c.change
        }
    }

    /// The causes that are shown, those that speak for it first.
    pub fn causes(&self) -> Vec<Cause> {
        let causes = self.e.causes.iter().flatten().copied();
        let mut causes: Vec<Cause> = causes.filter(|c| self.change(c).abs() >= LEAST).collect();
        causes.sort_by(|a, b| self.change(b).total_cmp(&self.change(a)));
        causes
    }

    /// `D Dorian`, or of an open mode `D`.
    pub fn name(&self) -> String {
        let (e, look) = (self.e, self.look);
        match self.open.filter(|_| !self.center) {
            Some(open) => claim::name(e.spelled, open, look),
            None => look.center(e.spelled),
        }
    }

    /// Of the center or of the tonality.
    pub fn probability(&self) -> f32 {
        if self.center {
            self.e.center_probability
        } else {
            self.e.probability
        }
    }

    /// Whether the second only says in other words what the first does.
    pub fn says_again(&self, first: &Cause, second: &Cause) -> bool {
        let alone = |removed: Removed| match removed {
            Removed::PitchClass(pc) => Some(PitchClassSet::EMPTY.with(pc)),
            Removed::Bass(set) | Removed::PhraseEnd(set, _) => Some(set),
            Removed::Chord(..) => None,
        };
        alone(first.removed).is_some_and(|set| alone(second.removed) == Some(set))
    }
}
