//! The tonality in which a chord is read: its degrees, and what stands on them.

use super::value::Role;
use crate::theory::catalogue::Catalogue;
use crate::theory::chord::Chord;
use crate::theory::degree::{Degree, spell_degree};
use crate::theory::kind::{Kind, KindId, Triad};
use crate::theory::kinds::Kinds;
use crate::theory::mode::Mode;
use crate::theory::pitch::PitchClass;
use crate::theory::spelling::Spelling;

/// What a chord would be in the tonality.
pub(super) struct Interpretation {
    pub role: Role,
    pub chord: Chord,
    pub degree: Degree,
    /// The root as theory spells it.
    pub root: Spelling,
}

/// The tonality in which a chord is read.
pub(super) struct Within<'a> {
    pub catalogue: &'a Catalogue,
    pub mode: &'a Mode,
    pub center: PitchClass,
    pub tonic: Spelling,
}

pub(super) fn kind(id: KindId) -> &'static Kind {
    Kinds::standard().kind(id)
}

/// Major third and minor seventh, with a fifth and tensions of any kind.
pub(super) fn is_dominant(chord: Chord) -> bool {
    let k = kind(chord.kind);
    matches!(k.triad(), Triad::Major | Triad::Augmented) && k.seventh() == Some(10)
}

/// A diminished triad, alone or with a minor seventh.
pub(super) fn is_half_diminished(chord: Chord) -> bool {
    let k = kind(chord.kind);
    k.triad() == Triad::Diminished && matches!(k.seventh(), None | Some(10))
}

/// What a chord leads to as a dominant or from the leading note: semitones up.
pub(super) fn leads(chord: Chord) -> Option<usize> {
    let k = kind(chord.kind);
    match (k.triad(), k.seventh()) {
        (Triad::Major, None) => Some(5),
        (Triad::Augmented, None | Some(10)) | (Triad::Major, Some(10)) => Some(5),
        (Triad::Diminished, None | Some(9 | 10)) => Some(1),
        _ => None,
    }
}

impl Within<'_> {
    /// A root as a degree of the mode, or else by its spelling.
    pub fn degree_of(&self, root: PitchClass, spelled: Spelling) -> Degree {
        let above = root.above(self.center);
        self.mode.degree_at(above).unwrap_or_else(|| {
            let number = ((spelled.letter() + 7 - self.tonic.letter()) % 7) as u8 + 1;
            Degree::at(number, above)
        })
    }

    /// A chord on the degree of its root, as `mode` spells that.
    pub fn plain(&self, chord: Chord, role: Role, mode: &Mode) -> Interpretation {
        let above = chord.root.above(self.center);
        let root = match mode.degree_at(above) {
            Some(d) => spell_degree(self.tonic, d),
            // The leading note and the fifth, which a mode may lack.
            None if above == 11 => self.tonic.up(6, 11),
            None => self.tonic.up(4, 7),
        };
        self.at(chord, role, root)
    }

    /// A chord on a root with this spelling.
    pub fn at(&self, chord: Chord, role: Role, root: Spelling) -> Interpretation {
        Interpretation {
            role,
            degree: self.degree_of(chord.root, root),
            chord,
            root,
        }
    }

    /// A degree of the mode, or else one beside it.
    pub fn beside_the_mode(&self, pc: PitchClass) -> (Spelling, Degree) {
        let above = pc.above(self.center);
        let own = self.mode.degree_at(above);
        let d = own.unwrap_or_else(|| Degree::chromatic(above));
        (spell_degree(self.tonic, d), d)
    }

    /// A degree for a minor triad: beside the mode ♯i, whose third is E in C, not ♭ii with
    /// its F♭.
    pub fn with_minor_triad(&self, pc: PitchClass) -> (Spelling, Degree) {
        let above = pc.above(self.center);
        if above == 1 && self.mode.degree_at(above).is_none() {
            return (self.tonic.up(0, 1), Degree::at(1, 1));
        }
        self.beside_the_mode(pc)
    }

    /// Semitones above the center, as sets of modes have them.
    pub fn center_to(&self, pc: PitchClass) -> PitchClass {
        PitchClass::new(pc.above(self.center) as i32)
    }

    /// A degree as a tonic of the moment: its spelling, and the triad upon it in the
    /// mode's usual form.
    pub fn target(&self, pc: PitchClass) -> (Spelling, Degree, Option<Triad>) {
        let above = pc.above(self.center);
        let own = self.mode.degrees.iter().find(|d| d.semitones() == above);
        let moved = || self.mode.movable.iter().find(|d| d.semitones() == above);
        let Some(d) = own.or_else(moved) else {
            // A tritone away a major triad stands on ♭V.
            let d = match above {
                6 => Degree::at(5, above),
                _ => Degree::chromatic(above),
            };
            return (spell_degree(self.tonic, d), d, None);
        };
        let at = |steps: u8| {
            let number = (d.number + steps - 1) % 7 + 1;
            let mut all = self.mode.degrees.iter().chain(&self.mode.movable);
            all.find(|o| o.number == number)
                .map(|o| (o.semitones() + 12 - d.semitones()) % 12)
        };
        let triad = match (at(2), at(4)) {
            (Some(4), Some(7)) => Some(Triad::Major),
            (Some(3), Some(7)) => Some(Triad::Minor),
            // Modes of five notes may lack the fifth.
            (Some(4), None) => Some(Triad::Major),
            (Some(3), None) => Some(Triad::Minor),
            _ => None,
        };
        // The dominant of minor is major, and the raised sixth has a minor triad.
        let triad = match (above, self.mode.id.as_str()) {
            (7, "minor") => Some(Triad::Major),
            (9, "minor") => Some(Triad::Minor),
            (7, _) => triad.or(Some(Triad::Major)),
            _ => triad,
        };
        (spell_degree(self.tonic, *d), *d, triad)
    }

    /// Pentatonic modes and the blues have a dominant seventh on each of their degrees.
    pub fn is_blue(&self, chord: Chord) -> bool {
        let own = self.mode.degree_at(chord.root.above(self.center));
        self.mode.degrees.len() < 7 && is_dominant(chord) && own.is_some()
    }

    pub fn minorish(&self) -> bool {
        !self.mode.is_major()
    }
}
