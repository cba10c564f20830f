//! Pure music theory: no clock, no I/O, no state.
//!
//! Notes are [`PitchClass`]es until they are shown; then a tonality spells them
//! ([`Spelling`], a place on the line of fifths). A [`Catalogue`] of modes gives
//! [`Tonality`] its meaning, [`Kinds`] of chord name what sounds, and
//! [`Notation`] holds the user's conventions for turning all that into text.
//! [`Harmonized`] is a tonality with the chords on its degrees.

mod beside;
mod catalogue;
mod chord;
mod convention;
mod degree;
mod family;
mod harte;
mod key_set;
mod kind;
mod kinds;
mod line;
mod mode;
mod modes_file;
mod name_table;
mod naming;
mod notation;
mod numeral;
mod pitch;
mod pivot;
mod scale;
mod spelling;
#[cfg(test)]
mod testing;
mod tonality;
mod voicing;

pub use beside::{Beside, Changes, Common, Pair};
pub use catalogue::Catalogue;
pub use chord::{Chord, Sonority};
pub use convention::{
    Accidentals, AugmentedMark, Cadential, ChordMarks, DiminishedMark, Enharmonic, HalfDiminished,
    IonianName, Letters, MajorSeventh, MinorMark, Notation, NumeralBasis, NumeralCase, syllable,
};
pub use degree::{Degree, NotADegree, spell_degree};
pub use family::{Shade, alterations, brightness_order, relatives};
pub use key_set::KeySet;
pub use kind::{FOREIGN_BASS, Kind, KindId, Member, Triad, bass_cost};
pub use kinds::Kinds;
pub use line::{Line, Motion};
pub use mode::{Mode, ModeId, SpelledTonality, Tonality, degree_in};
pub use modes_file::{CatalogueError, FileFault, MAX_MODES, ModeFault};
pub use naming::{Bassist, ChordNames, Hearing, MAX_NAMES};
pub use numeral::{
    Around, Context, Numeral, Role, Sixth, Surroundings, Target, analyse, neighbour,
};
pub use pitch::{PitchClass, PitchClassSet};
pub use pivot::{Pivot, altered, pivot};
pub use scale::{ChordPlace, Form, Harmonized, Size, Stack, Step, Thirds};
pub use spelling::{Glyphs, NotANote, Spelling, accidentals};
pub use tonality::{TonalityError, UnknownMode};
pub use voicing::{Hands, Interval, Structure, Voicing};
