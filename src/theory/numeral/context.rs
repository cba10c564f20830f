//! What surrounds a chord: the tonality, and the harmonies before and after it.

use crate::theory::chord::Chord;
use crate::theory::kinds::Kinds;
use crate::theory::mode::SpelledTonality;

/// How many harmonies after a chord say what it does: as many as make a cadence upon
/// another degree, VI, ii and V before it.
pub(super) const AHEAD: usize = 3;

/// The next harmonies in order, as far as they are known.
pub(super) type Ahead = [Option<Chord>; AHEAD];

/// The harmonies around a chord.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Around {
    /// The one before, if it is known.
    pub(super) before: Option<Chord>,
    /// Those after, known in hindsight only.
    pub(super) ahead: Ahead,
}

impl Around {
    /// The harmonies around `chord` among the chords before it, the nearest first, and,
    /// in hindsight, those after it.
    pub fn new(
        chord: Chord,
        before: impl IntoIterator<Item = Chord>,
        after: impl IntoIterator<Item = Chord>,
    ) -> Around {
        let mut ahead = [None; AHEAD];
        let (mut after, mut this) = (after.into_iter(), chord);
        for place in &mut ahead {
            let Some(next) = neighbour(this, after.by_ref()) else {
                break;
            };
            (*place, this) = (Some(next), next);
        }
        Around {
            before: neighbour(chord, before),
            ahead,
        }
    }
}

/// The harmony before, and the one after.
impl From<(Option<Chord>, Option<Chord>)> for Around {
    fn from((before, after): (Option<Chord>, Option<Chord>)) -> Around {
        let mut ahead = [None; AHEAD];
        ahead[0] = after;
        Around { before, ahead }
    }
}

/// The harmonies after the next one.
pub(super) fn beyond(ahead: Ahead) -> Ahead {
    let mut beyond = [None; AHEAD];
    beyond[..AHEAD - 1].copy_from_slice(&ahead[1..]);
    beyond
}

/// What surrounds a chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Context {
    /// Spelled by the region before it.
    pub within: SpelledTonality,
    pub around: Around,
}

impl Context {
    /// A tonality, and nothing before or after.
    pub fn new(within: SpelledTonality) -> Context {
        Context {
            within,
            around: Around::default(),
        }
    }

    /// With the harmonies around it.
    #[must_use]
    pub fn among(self, around: impl Into<Around>) -> Context {
        Context {
            around: around.into(),
            ..self
        }
    }
}

/// What stands around something that is to be written: the tonality in force and its tonic
/// as spelled, if there is one, and the harmonies before and, in hindsight, after it. Made
/// of a tonality alone, or of a tonality and the harmonies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Surroundings {
    pub within: Option<SpelledTonality>,
    pub around: Around,
}

impl Surroundings {
    /// What a chord is analysed in, where a tonality is in force.
    pub(in crate::theory) fn context(self) -> Option<Context> {
        Some(Context::new(self.within?).among(self.around))
    }
}

impl From<Option<SpelledTonality>> for Surroundings {
    fn from(within: Option<SpelledTonality>) -> Surroundings {
        Surroundings {
            within,
            ..Surroundings::default()
        }
    }
}

impl<A: Into<Around>> From<(Option<SpelledTonality>, A)> for Surroundings {
    fn from((within, around): (Option<SpelledTonality>, A)) -> Surroundings {
        Surroundings {
            within,
            around: around.into(),
        }
    }
}

/// The nearest of `others` that is another harmony than `chord`. A chord, its seventh and
/// its inversions are one harmony; but a six-four and what it resolves to are two, and so
/// are a triad and the diminished seventh on its root that embellishes it.
pub fn neighbour(chord: Chord, others: impl IntoIterator<Item = Chord>) -> Option<Chord> {
    let six_four = chord.bass_member().is_some_and(|m| m.number == 5);
    let diminished = |c: Chord| Kinds::standard().kind(c.kind).symbol == "dim7";
    others.into_iter().find(|&o| match six_four {
        true => o != chord,
        false => o.root != chord.root || diminished(o) != diminished(chord),
    })
}
