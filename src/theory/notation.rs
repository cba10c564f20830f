//! How the user wants things written: a value that whoever makes text is given.

use super::chord::{Chord, Kinds, Sonority, Triad};
use super::mode::{Catalogue, Tonality, spell_degree};
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

/// The user's conventions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notation {
    pub glyphs: Glyphs,
    pub measure: Measure,
    /// Ionian is written "major".
    pub ionian_is_major: bool,
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
                .replace('𝄫', "bb")
                .replace('♮', "nat "),
        }
    }

    /// A note inside or beside a tonality: the mode's own degrees as they stand,
    /// others as the common chromatic degrees (common practice, no source).
    pub fn note(
        &self,
        pc: PitchClass,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Spelling {
        let Some((t, tonic)) = within else {
            return Spelling::nearest(pc, 1.5);
        };
        let mode = catalogue.mode(t.mode);
        if let Some(d) = mode.degree_at(pc.above(t.center)) {
            return spell_degree(tonic, d);
        }
        // The chromatic scale upon the center: ♭2, ♭3, ♯4, ♭6, ♭7, and the major
        // scale's degrees (B in G Phrygian, not C♭).
        const CHROMATIC: [i8; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];
        let near = Spelling::at(tonic.fifths() + CHROMATIC[pc.above(t.center)]);
        match near.accidental() {
            -1..=1 => near,
            // No double accidentals for a note that only passes.
            a => Spelling::at(near.fifths() - 12 * a.signum()),
        }
    }

    /// A chord's root: the mode's own degree, else by what the chord is. A
    /// diminished one stands on a raised leading note (C♯°7 before Dm), any other
    /// on a lowered degree (D♭, A♭7 in C). Common practice, no source.
    pub fn root(
        &self,
        chord: Chord,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Spelling {
        let plain = self.note(chord.root, within, catalogue);
        let Some((t, tonic)) = within else {
            return plain;
        };
        if catalogue.all_forms(t).contains(chord.root) {
            return plain;
        }
        let kind = Kinds::standard().kind(chord.kind);
        let around = f32::from(tonic.fifths());
        match kind.triad() {
            Triad::Diminished => {
                let sharp = Spelling::nearest(chord.root, around + 7.5);
                if sharp.accidental() <= 1 {
                    sharp
                } else {
                    plain
                }
            }
            Triad::Major => Spelling::nearest(chord.root, around - 1.5),
            _ => plain,
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
        let (chord, (t, tonic)) = (s.chord()?, within?);
        Some(super::numeral::numeral(chord, t, tonic, catalogue, self))
    }
}
