//! How the user wants things written: a value that whoever makes text is given.

use super::chord::{Chord, Kinds, Sonority, Triad};
use super::convention::{Accidentals, ChordMarks, Letters, Ties, syllable};
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

/// The user's conventions. They change how a thing is written, never what it is:
/// the Harte labels do not depend on them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notation {
    pub glyphs: Glyphs,
    pub measure: Measure,
    /// Ionian is written "major".
    pub ionian_is_major: bool,
    pub letters: Letters,
    pub marks: ChordMarks,
    pub accidentals: Accidentals,
    pub ties: Ties,
}

/// A tonality and its tonic as spelled, where one is in force.
type Within = Option<(Tonality, Spelling)>;

impl Notation {
    /// The defaults, where a constant is needed.
    pub const PLAIN: Notation = Notation {
        glyphs: Glyphs::Unicode,
        measure: Measure::Major,
        ionian_is_major: false,
        letters: Letters::English,
        marks: ChordMarks::PLAIN,
        accidentals: Accidentals::ByContext,
        ties: Ties::Nearest,
    };

    /// A note's name where no tonality matters, a chord's root, a tonic: `E♭`, `Es`.
    pub fn name(&self, note: Spelling) -> String {
        self.letters.name(note, self.glyphs)
    }

    /// A note's name inside a tonality: its letter, or its syllable in movable do.
    pub fn note_name(&self, note: Spelling, within: Within, catalogue: &Catalogue) -> String {
        match (self.letters, within) {
            (Letters::MovableDo, Some((t, tonic))) => {
                syllable(note, self.tonic(t, tonic, catalogue), self.glyphs)
            }
            _ => self.name(note),
        }
    }

    /// The tonic as the user wants it where sharps and flats are equally many.
    pub fn tonic(&self, t: Tonality, tonic: Spelling, catalogue: &Catalogue) -> Spelling {
        let by = match self.ties {
            Ties::Nearest => return tonic,
            Ties::Flats => -12,
            Ties::Sharps => 12,
        };
        let other = Spelling::at(tonic.fifths().saturating_add(by));
        let signature = |s| catalogue.signature(s, t.mode);
        let plainer = other.accidental().abs() <= tonic.accidental().abs();
        if signature(other) == -signature(tonic) && plainer {
            other
        } else {
            tonic
        }
    }

    fn placed(&self, within: Within, catalogue: &Catalogue) -> Within {
        within.map(|(t, tonic)| (t, self.tonic(t, tonic, catalogue)))
    }

    /// Flats or sharps throughout, where the user wants them: the twelve places
    /// on the line of fifths from five flats or one flat below `tonic` on.
    fn always(&self, pc: PitchClass, tonic: Spelling) -> Option<Spelling> {
        let middle = match self.accidentals {
            Accidentals::ByContext => return None,
            Accidentals::Flats => -0.5,
            Accidentals::Sharps => 4.5,
        };
        let near = Spelling::nearest(pc, f32::from(tonic.fifths()) + middle);
        match near.accidental() {
            -1..=1 => Some(near),
            // No double accidentals.
            _ => Some(Spelling::nearest(pc, middle)),
        }
    }

    /// `E♭ Dorian`.
    pub fn tonality(&self, t: Tonality, tonic: Spelling, catalogue: &Catalogue) -> String {
        format!(
            "{} {}",
            self.name(self.tonic(t, tonic, catalogue)),
            self.mode(t, catalogue)
        )
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

    /// A note inside or beside a tonality: the mode's own degrees as they stand,
    /// others as the common chromatic degrees (common practice, no source).
    pub fn note(
        &self,
        pc: PitchClass,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Spelling {
        let Some((t, tonic)) = self.placed(within, catalogue) else {
            let plain = Spelling::nearest(pc, 1.5);
            return self.always(pc, Spelling::C).unwrap_or(plain);
        };
        let mode = catalogue.mode(t.mode);
        if let Some(d) = mode.degree_at(pc.above(t.center)) {
            return spell_degree(tonic, d);
        }
        if let Some(always) = self.always(pc, tonic) {
            return always;
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
        let always = self.accidentals != Accidentals::ByContext;
        let Some((t, tonic)) = self.placed(within, catalogue) else {
            return if always { plain } else { fewest(chord, plain) };
        };
        if always || catalogue.all_forms(t).contains(chord.root) {
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

    /// A chord's lead-sheet label with its root spelled: `E♭m7/G♭`.
    pub fn chord(&self, chord: Chord, root: Spelling) -> String {
        let symbol = &Kinds::standard().kind(chord.kind).symbol;
        let mut text = self.name(root) + &self.marks.suffix(symbol, self.glyphs);
        if chord.bass != chord.root {
            text.push('/');
            text.push_str(&self.name(chord.spell_bass(root)));
        }
        text
    }

    /// The label of whatever sounds: a chord's, an interval's name, a note, or the
    /// notes from the bass up.
    pub fn sonority(&self, s: Sonority, within: Within, catalogue: &Catalogue) -> String {
        let note = |pc| self.note_name(self.note(pc, within, catalogue), within, catalogue);
        match s {
            Sonority::Chord(c) => self.chord(c, self.root(c, within, catalogue)),
            Sonority::Note(pc) => note(pc),
            Sonority::Interval { .. } => s.interval().unwrap_or_default().to_owned(),
            Sonority::Notes { set, bass } => match s.quartal() {
                Some(low) => format!("quartal on {}", note(low)),
                None => {
                    let up = (0..12).map(|i| bass.up(i)).filter(|&pc| set.contains(pc));
                    up.map(note).collect::<Vec<_>>().join(" ")
                }
            },
        }
    }

    /// A note of what sounds: members of a chord as stacked thirds, others as the
    /// tonality spells them.
    pub fn member(
        &self,
        s: Sonority,
        pc: PitchClass,
        within: Within,
        catalogue: &Catalogue,
    ) -> Spelling {
        if let Sonority::Chord(c) = s {
            let root = self.root(c, within, catalogue);
            let kind = Kinds::standard().kind(c.kind);
            let above = pc.above(c.root);
            if let Some(m) = kind.members.iter().find(|m| m.semitones as usize == above) {
                return root.up((m.number as usize + 6) % 7, i32::from(m.semitones));
            }
            if pc == c.bass {
                return c.spell_bass(root);
            }
        }
        self.note(pc, within, catalogue)
    }

    /// The Harte label of whatever sounds. It follows no convention of the user's:
    /// spelled by the tonality, in ASCII.
    pub fn harte(&self, s: Sonority, within: Within, catalogue: &Catalogue) -> String {
        let plain = Notation::PLAIN;
        match s {
            Sonority::Chord(c) => c.harte(plain.root(c, within, catalogue)),
            other => other.harte(|pc| plain.note(pc, within, catalogue)),
        }
    }

    /// The numeral, where a chord sounds and a tonality is in force.
    pub fn numeral(
        &self,
        s: Sonority,
        within: Option<(Tonality, Spelling)>,
        catalogue: &Catalogue,
    ) -> Option<String> {
        let (chord, (t, tonic)) = (s.chord()?, self.placed(within, catalogue)?);
        Some(super::numeral::numeral(chord, t, tonic, catalogue, self))
    }
}

/// Of the ways to spell the root of a major or minor chord the one with the
/// fewest accidentals in its triad (D♭maj7, not C♯maj7); of equals the usual one.
fn fewest(chord: Chord, usual: Spelling) -> Spelling {
    let (third, fifth) = match Kinds::standard().kind(chord.kind).triad() {
        Triad::Major => (4, 7),
        Triad::Minor => (3, 7),
        _ => return usual,
    };
    let accidentals = |root: Spelling| -> i8 {
        let notes = [root, root.up(2, third), root.up(4, fifth)];
        notes.map(|n| n.accidental().abs()).iter().sum()
    };
    let others = [-12, 12].map(|by| Spelling::at(usual.fifths().saturating_add(by)));
    others.into_iter().fold(usual, |best, other| {
        if accidentals(other) < accidentals(best) {
            other
        } else {
            best
        }
    })
}
