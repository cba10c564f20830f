//! What a chord is in its tonality, as values: no text yet.

use crate::theory::chord::Chord;
use crate::theory::degree::Degree;
use crate::theory::pitch::PitchClass;
use crate::theory::spelling::Spelling;

/// The degree that a chord is applied to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Target {
    /// Against the major scale on the center.
    pub degree: Degree,
    /// Whether the triad upon it is a minor one.
    pub minor: bool,
}

/// The three augmented sixths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sixth {
    Italian,
    German,
    French,
}

/// What a chord does in its tonality.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The mode contains it.
    Diatonic,
    /// The parallel major or minor contains it.
    Borrowed,
    /// On an altered degree, and none of the others.
    Chromatic,
    /// As if the degree were a tonic for the moment: V7/ii.
    Applied(Target),
    /// The major triad on the lowered second degree.
    Neapolitan,
    /// Known by its resolution, so in hindsight only: to the dominant of the tonic, or of
    /// a degree.
    AugmentedSixth(Sixth, Option<Target>),
    /// A diminished seventh upon a note of the tonic, or of a degree, that it embellishes.
    CommonTone(Option<Target>),
    /// The dominant seventh a tritone from a dominant: of the tonic, or of a degree.
    TritoneSubstitute(Option<Target>),
    /// A tonic six-four before its dominant: of the tonality, or of a degree.
    Cadential(Option<Target>),
}

impl Role {
    /// The degree that is a tonic for the moment.
    pub(super) fn target(self) -> Option<Target> {
        match self {
            Role::Applied(t) => Some(t),
            Role::AugmentedSixth(_, t)
            | Role::CommonTone(t)
            | Role::TritoneSubstitute(t)
            | Role::Cadential(t) => t,
            Role::Diatonic | Role::Borrowed | Role::Chromatic | Role::Neapolitan => None,
        }
    }
}

/// A chord as analysed in a tonality. No text yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Numeral {
    pub role: Role,
    /// The chord by its function, which may be another name for the same notes than
    /// the lead sheet's: F6 before V in C is Dm7/F, and a diminished seventh stands
    /// on the note that leads.
    pub chord: Chord,
    /// Where its root stands, against the major scale: on the center, or on the
    /// degree that it is applied to.
    pub degree: Degree,
    /// The chord as a lead sheet names it, and the degree of that root.
    pub(super) named: (Chord, Degree),
    /// The bass as a degree.
    pub(super) bass: Degree,
    /// How the mode alters each of the seven degrees against the major scale, the first degree
    /// first.
    pub(super) own: [i8; 7],
    pub(super) center: PitchClass,
    /// Whether the mode is common-practice minor, whose numerals count from its own degrees.
    pub(super) minor: bool,
    /// Whether the nearest key is minor: RomanText knows major and minor keys alone.
    pub(super) minor_key: bool,
    pub(super) notes: Notes,
}

/// The notes of a chord, spelled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Notes {
    pub(super) root: Spelling,
    pub(super) by_class: [Option<Spelling>; 12],
}

impl Numeral {
    /// The root as the lead sheet's label has it.
    pub fn root(&self) -> Spelling {
        self.notes.root
    }

    /// A note of the chord as it is spelled there: Ger6 with F♯. `None` for a note
    /// that it does not have.
    pub fn note(&self, pc: PitchClass) -> Option<Spelling> {
        self.notes.by_class[pc.index()]
    }

    /// The notes from the bass upwards.
    pub fn notes(&self) -> impl Iterator<Item = Spelling> {
        let bass = self.named.0.bass;
        (0..12).filter_map(move |i| self.note(bass.up(i)))
    }
}

/// Whether a numeral is written in capital or in small letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LetterCase {
    Capital,
    Small,
}

impl LetterCase {
    /// As textbooks write what stands on a minor or diminished triad.
    pub fn small_if(minor: bool) -> LetterCase {
        match minor {
            true => LetterCase::Small,
            false => LetterCase::Capital,
        }
    }
}

/// The roman numeral of a degree, 1-7.
pub(super) fn roman(number: u8, case: LetterCase) -> String {
    const ROMAN: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];
    let capital = ROMAN[(number as usize + 6) % 7];
    match case {
        LetterCase::Small => capital.to_lowercase(),
        LetterCase::Capital => capital.to_owned(),
    }
}
