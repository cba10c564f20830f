//! Modes and tonalities: a tonality is a center and a mode.

use super::degree::{Degree, spell_degree};
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;
use std::fmt;

/// A mode: degrees above a center. See `config/modes.toml` for what the fields mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Mode {
    pub id: String,
    pub name: String,
    /// Its other names of the trade.
    pub also: Vec<String>,
    /// Its usual form, in order.
    pub degrees: Vec<Degree>,
    /// Further forms of degrees that move (common-practice minor).
    pub movable: Vec<Degree>,
    /// Degrees that only lead from one neighbour to the other, as the eighth note of a bebop
    /// scale does: no chord stands on them.
    pub passing: Vec<Degree>,
    /// The degrees that tell it from the parallel major or natural minor, whichever is
    /// nearer. Of a mode whose degrees move: those that must be heard for it to be named
    /// (the leading tone).
    pub characteristic: Vec<Degree>,
    /// The nearest of major, minor and the seven diatonic modes.
    pub scored_as: String,
    /// The family: modes with the same parent and the same notes are relatives.
    pub parent: String,
    /// How likely it is before a note is heard, against the others; 1 is as likely as any.
    /// Without meaning for a scale.
    pub weight: f32,
    pub(super) set: PitchClassSet,
    pub(super) all: PitchClassSet,
}

impl Mode {
    /// Semitones above the center, usual form.
    pub fn set(&self) -> PitchClassSet {
        self.set
    }

    /// The same with the other forms of its movable degrees.
    pub fn all_forms(&self) -> PitchClassSet {
        self.all
    }

    /// Whether the third above the center is major (or there is no minor one).
    pub fn is_major(&self) -> bool {
        !self.set.contains(PitchClass::new(3)) || self.set.contains(PitchClass::new(4))
    }

    /// The degree at `semitones` above the center, movable forms included.
    pub fn degree_at(&self, semitones: usize) -> Option<Degree> {
        self.degrees
            .iter()
            .chain(&self.movable)
            .copied()
            .find(|d| d.semitones() == semitones)
    }

    /// The degrees that chords stand on: all but those that are passing.
    pub fn chordal(&self) -> impl Iterator<Item = Degree> {
        let own = self.degrees.iter().copied();
        own.filter(|d| !self.passing.contains(d))
    }

    /// Whether it turns into itself within the octave, as the whole-tone and the octatonic
    /// scales do: it has fewer than twelve transpositions.
    pub fn is_symmetric(&self) -> bool {
        (1..12).any(|by| self.set.up(by) == self.set)
    }

    /// Brightness: the alterations of the degrees summed, passing ones left out. Lydian 1,
    /// Ionian 0, … Locrian -5.
    pub fn brightness(&self) -> i32 {
        self.chordal().map(|d| d.alter as i32).sum()
    }

    /// A degree of it on `tonic`. The notes of a symmetric scale belong to no one tonic, and
    /// are not seven: they are written as plain notes, D and not E𝄫 in the half-whole
    /// octatonic scale on D♭. Common practice, no source.
    pub fn spell(&self, tonic: Spelling, degree: Degree) -> Spelling {
        match (spell_degree(tonic, degree), self.is_symmetric()) {
            (spelled, true) if degree.number > 1 => spelled.plain(),
            (spelled, _) => spelled,
        }
    }

    /// Whether this is its id or name, as [`plain_name`] writes them.
    pub(super) fn is_called(&self, plain: &str) -> bool {
        plain_name(&self.id) == plain || plain_name(&self.name) == plain
    }

    /// Whether this is another name of it, as [`plain_name`] writes it.
    pub(super) fn is_also_called(&self, plain: &str) -> bool {
        self.also.iter().any(|name| plain_name(name) == plain)
    }

    /// What tells it from other modes: its id, its name and its degrees. FNV-1a, 32 bits, folded
    /// to 24 (Fowler, Noll, Vo; draft-eastlake-fnv): one in 16 million others has the same.
    fn fingerprint(&self) -> [u8; 3] {
        let texts = [&self.id, &self.name].map(|text| text.bytes().chain([0]));
        let lists = [&self.degrees, &self.movable, &self.passing];
        let degrees = lists.into_iter().flat_map(|list| {
            let degrees = list
                .iter()
                .flat_map(|d| [d.number, d.alter.cast_unsigned()]);
            degrees.chain([0])
        });
        let hash = texts
            .into_iter()
            .flatten()
            .chain(degrees)
            .fold(0x811c_9dc5_u32, |hash, byte| {
                (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
            });
        let [a, b, c, d] = hash.to_le_bytes();
        [a ^ d, b, c]
    }

    /// What stands for a mode that is not in the catalogue. Its degrees are the major scale's,
    /// so that notes have plain names beside it.
    pub(super) fn unknown() -> Mode {
        let degrees: Vec<Degree> = (1..=7).map(|number| Degree { number, alter: 0 }).collect();
        let classes = degrees.iter().map(|d| d.semitones() as i32);
        let set = classes.map(PitchClass::new).collect();
        Mode {
            id: "unknown".into(),
            name: "unknown mode".into(),
            also: Vec::new(),
            degrees,
            movable: Vec::new(),
            passing: Vec::new(),
            characteristic: Vec::new(),
            scored_as: "major".into(),
            parent: "unknown".into(),
            weight: 1.0,
            set,
            all: set,
        }
    }

    /// A note by itself, inside or beside the tonality on `tonic`: the mode's own degrees
    /// as they stand, others as the common chromatic degrees: ♭2, ♭3, ♯4, ♭6, ♭7 and the
    /// major scale's (B in G Phrygian, not C♭). Beside the mode C♭, F♭, B♯, E♯ and doubled
    /// accidentals are written as the plain note. Common practice, no source.
    pub(super) fn note(&self, pc: PitchClass, center: PitchClass, tonic: Spelling) -> Spelling {
        let above = pc.above(center);
        let spelled = self.spell(tonic, degree_in(above, self));
        match self.degree_at(above) {
            Some(d) if d.alter > -2 => spelled,
            _ => spelled.plain(),
        }
    }
}

/// A mode's id or name as it may be written: in small letters, without spaces and the
/// like; ♭ and "flat" as b, ♯ and "sharp" as #, ♮ and "natural" as nat.
pub(super) fn plain_name(text: &str) -> String {
    let mut plain = text.to_lowercase();
    plain.retain(|c| !matches!(c, '_' | '-') && !c.is_whitespace());
    for (written, sign) in [
        ("𝄫", "bb"),
        ("♭", "b"),
        ("flat", "b"),
        ("♯", "#"),
        ("sharp", "#"),
        ("♮", "nat"),
        ("natural", "nat"),
    ] {
        plain = plain.replace(written, sign);
    }
    plain
}

/// The degree of a note `above` semitones (0-11) over the center: the mode's own, else
/// the common chromatic one, as [`super::Notation::note`] spells it.
pub fn degree_in(above: usize, mode: &Mode) -> Degree {
    let own = mode.degree_at(above % 12);
    own.unwrap_or_else(|| Degree::chromatic(above))
}

/// Which mode of a [`Catalogue`](super::Catalogue), which alone makes ids: its place, and a
/// fingerprint of the mode that stands there.
///
/// Another catalogue takes an id for its own where it has the same mode (id, name and degrees)
/// at the same place, as one that extends the first has; otherwise it knows no mode of that id.
/// Four bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ModeId {
    place: u8,
    print: [u8; 3],
}

impl ModeId {
    /// The id of no mode of any catalogue.
    pub(crate) const NOBODYS: ModeId = ModeId {
        place: u8::MAX,
        print: [0; 3],
    };

    /// The place in the catalogue, from 0; of a scale [`super::MAX_MODES`] and more.
    pub const fn index(self) -> usize {
        self.place as usize
    }

    /// Of the mode that stands at `place` in a catalogue; [`Self::NOBODYS`] past the last place
    /// that there can be.
    pub(super) fn new(place: usize, mode: &Mode) -> ModeId {
        match u8::try_from(place) {
            Ok(place) if place < u8::MAX => ModeId {
                place,
                print: mode.fingerprint(),
            },
            _ => ModeId::NOBODYS,
        }
    }
}

/// A center and a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tonality {
    pub center: PitchClass,
    pub mode: ModeId,
}

/// A tonality and its tonic as it is written: E♭ or D♯ Dorian.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SpelledTonality {
    pub tonality: Tonality,
    /// On the pitch class of the center.
    pub tonic: Spelling,
}

impl SpelledTonality {
    pub fn new(tonality: Tonality, tonic: Spelling) -> SpelledTonality {
        SpelledTonality { tonality, tonic }
    }

    /// Another mode on the same tonic.
    pub fn with_mode(self, mode: ModeId) -> SpelledTonality {
        let tonality = Tonality {
            mode,
            ..self.tonality
        };
        SpelledTonality { tonality, ..self }
    }
}

/// Plain numbers, for messages of tests: names need a catalogue and a spelling.
impl fmt::Display for Tonality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.center.index(), self.mode.index())
    }
}
