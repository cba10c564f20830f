//! Pure music theory: no clock, no I/O, no state.
//!
//! Notes are [`PitchClass`]es until they are shown; then a tonality spells them
//! ([`Spelling`], a place on the line of fifths). A [`Catalogue`] of modes gives
//! [`Tonality`] its meaning, [`Kinds`] of chord name what sounds, and
//! [`Notation`] holds the user's conventions for turning all that into text.
//! [`Harmonized`] is a tonality with the chords on its degrees.

mod chord;
mod mode;
mod notation;
mod numeral;
mod pitch;
mod scale;
mod spelling;

pub use chord::{Chord, FOREIGN_BASS, Kind, KindId, Kinds, Member, Sonority, Triad, bass_cost};
pub use mode::{
    Catalogue, CatalogueError, Degree, MAX_MODES, Mode, ModeId, Tonality, WrittenTonality,
    spell_degree,
};
pub use notation::{Measure, Notation};
pub use numeral::numeral;
pub use pitch::{PitchClass, PitchClassSet};
pub use scale::{
    Beside, Changes, Common, Form, Harmonized, Pair, Place, Shade, Size, Stack, Step,
    brightness_order, relatives,
};
pub use spelling::{Glyphs, NotANote, Spelling, accidentals};
