//! How the user wants things written: a value that whoever makes text is given.

use super::chord::{Chord, Sonority};
use super::mode::{Catalogue, Tonality};
use super::numeral::{self, Context, analyse};
use super::pitch::PitchClass;
use super::spelling::{Glyphs, Spelling};

/// What a numeral's accidental is measured against.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Measure {
    /// The major scale on the same center: ♭VII in Dorian.
    #[default]
    Major,
    /// The degrees of the mode itself: VII in Dorian.
    Mode,
}

/// How a numeral tells the quality of its chord.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NumeralCase {
    /// Capital for a major third, small for a minor one, with figures: `ii65`.
    #[default]
    Textbook,
    /// All capitals, with the lead sheet's suffix, as in jazz: `IIm7`.
    Capitals,
}

/// How a six-four before the dominant is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Cadential {
    /// By its notes: `I64`.
    #[default]
    Tonic,
    /// By its function: `V64`.
    Dominant,
}

/// The user's conventions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notation {
    pub glyphs: Glyphs,
    pub measure: Measure,
    /// Ionian is written "major".
    pub ionian_is_major: bool,
    pub case: NumeralCase,
    pub cadential: Cadential,
}

impl Notation {
    /// `E♭ Dorian`.
    pub fn tonality(&self, t: Tonality, tonic: Spelling, catalogue: &Catalogue) -> String {
        format!("{} {}", tonic.text(self.glyphs), self.mode(t, catalogue))
    }

    /// `Dorian`.
    pub fn mode(&self, t: Tonality, catalogue: &Catalogue) -> String {
        let mode = catalogue.mode(t.mode);
        if mode.id == "ionian" && self.ionian_is_major {
            return "major".into();
        }
        match self.glyphs {
            Glyphs::Unicode => mode.name.clone(),
            Glyphs::Ascii => mode
                .name
                .replace('♭', "b")
                .replace('♯', "#")
                .replace('♮', "nat "),
        }
    }

    /// A note by itself, inside or beside a tonality: the mode's own degrees as they
    /// stand, others as the common chromatic degrees.
    pub fn note(
        &self,
        pc: PitchClass,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Spelling {
        match within {
            None => Spelling::nearest(pc, 1.5),
            Some((t, tonic)) => numeral::note(pc, t.center, tonic, catalogue.mode(t.mode)),
        }
    }

    /// A chord's root: as its numeral has it, else by the chord alone.
    pub fn root(
        &self,
        chord: Chord,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Spelling {
        match within {
            None => self.note(chord.root, None, catalogue),
            Some(w) => analyse(chord, &Context::new(w), catalogue).root(),
        }
    }

    /// The label of whatever sounds.
    pub fn sonority(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> String {
        match s {
            Sonority::Chord(c) => c.label(self.root(c, within, catalogue), self.glyphs),
            other => other.label(|pc| self.note(pc, within, catalogue), self.glyphs),
        }
    }

    /// The Harte label of whatever sounds, spelled as shown.
    pub fn harte(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> String {
        match s {
            Sonority::Chord(c) => c.harte(self.root(c, within, catalogue)),
            other => other.harte(|pc| self.note(pc, within, catalogue)),
        }
    }

    /// The numeral, where a chord sounds and a tonality is in force.
    pub fn numeral(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Option<String> {
        self.numeral_between(s, within, (None, None), catalogue)
    }

    /// The same between the harmonies before and, in hindsight, after it.
    pub fn numeral_between(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        (before, after): (Option<Chord>, Option<Chord>),
        catalogue: &Catalogue,
    ) -> Option<String> {
        let context = Context::new(within?).between(before, after);
        Some(analyse(s.chord()?, &context, catalogue).text(self))
    }

    /// The notes of what sounds from the bass upwards: a chord's as its numeral has
    /// them, or as stacked thirds where no tonality is in force; others by themselves.
    pub fn notes(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        (before, after): (Option<Chord>, Option<Chord>),
        catalogue: &Catalogue,
    ) -> Vec<Spelling> {
        let upwards = || {
            (0..12)
                .map(|i| s.bass().up(i))
                .filter(|&pc| s.set().contains(pc))
        };
        match (s, within) {
            (Sonority::Chord(c), Some(w)) => {
                let context = Context::new(w).between(before, after);
                analyse(c, &context, catalogue).notes().collect()
            }
            (Sonority::Chord(c), None) => {
                let root = self.root(c, None, catalogue);
                upwards().map(|pc| numeral::alone(c, root, pc)).collect()
            }
            _ => upwards()
                .map(|pc| self.note(pc, within, catalogue))
                .collect(),
        }
    }
}
