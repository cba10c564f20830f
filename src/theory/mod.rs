//! Pure music theory: no clock, no I/O, no state.
//!
//! Notes are [`PitchClass`]es until they are shown; then a tonality spells them
//! ([`Spelling`], a place on the line of fifths). A [`Catalogue`] of modes gives
//! [`Tonality`] its meaning, [`Kinds`] of chord name what sounds, and
//! [`Notation`] holds the user's conventions for turning all that into text.
//! [`Harmonized`] is a tonality with the chords on its degrees.

mod chord;
mod convention;
mod catalogue;
mod naming;
mod notation;
mod numeral;
mod pitch;
mod pivot;
mod scale;
mod spelling;
mod voicing;
#[cfg(test)]
mod written;

pub use chord::{Chord, FOREIGN_BASS, Kind, KindId, Kinds, Member, Sonority, Triad, bass_cost};
pub use convention::{
    Accidentals, AugmentedMark, ChordMarks, DiminishedMark, Enharmonic, HalfDiminished, Letters,
    MajorSeventh, MinorMark, syllable,
};
pub use catalogue::{
    Catalogue, CatalogueError, Degree, MAX_MODES, Mode, ModeId, Tonality, WrittenTonality,
    spell_degree,
};
pub use naming::{ChordNames, Hearing, MAX_NAMES};
pub use notation::{Cadential, Notation, NumeralBasis, NumeralCase};
pub use numeral::{Around, Context, Numeral, Role, Sixth, Target, analyse, degree_in, neighbour};
pub use pitch::{PitchClass, PitchClassSet};
pub use pivot::{Pivot, altered, pivot};
pub use scale::{
    Beside, Changes, Common, Form, Harmonized, Pair, Place, Shade, Size, Stack, Step, alterations,
    brightness_order, relatives,
};
pub use spelling::{Glyphs, NotANote, Spelling, accidentals};
pub use voicing::{Hands, Structure, Voicing};
