//! A tonality as the user writes it: a tonic and a mode.

use super::catalogue::Catalogue;
use super::convention::Letters;
use super::mode::{ModeId, SpelledTonality, Tonality};
use super::spelling::NotANote;
use crate::nearest::nearest;

/// What [`TonalityError`] shows.
const EXAMPLE: &str = "write a tonic and a mode, such as E♭ mixolydian";

/// Not a tonality; which half is wrong, and what to write.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TonalityError {
    #[error("there is no tonality: {EXAMPLE}")]
    Empty,
    #[error("{0}; {EXAMPLE}")]
    NotANote(#[from] NotANote),
    #[error("'{text}' is a mode without its tonic: write it before, such as D {mode}")]
    NoTonic { text: String, mode: String },
    #[error("'{0}' is a tonic without its mode: {EXAMPLE}")]
    NoMode(String),
    #[error(transparent)]
    UnknownMode(#[from] UnknownMode),
}

/// Not a mode of the catalogue.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnknownMode {
    /// A slip of the pen, or another name for the same notes.
    #[error("unknown mode '{text}'; did you mean {meant}?")]
    Misspelt { text: String, meant: String },
    #[error("unknown mode '{0}'; peregrinus modes lists those that are known")]
    Unknown(String),
    #[error(
        "'{0}' is no mode but a collection that repeats within the octave, so none of its notes \
         is its center; write a mode, such as ionian or minor"
    )]
    Collection(String),
}

impl Catalogue {
    /// Parses `E♭ mixolydian`. The error says which half is wrong, and names the mode
    /// that is meant or all of them.
    pub fn parse_tonality(&self, text: &str) -> Result<SpelledTonality, TonalityError> {
        self.parse_tonality_in(text, Letters::English)
    }

    /// The same with the tonic in the user's letters: `Es mixolydian`.
    pub fn parse_tonality_in(
        &self,
        text: &str,
        letters: Letters,
    ) -> Result<SpelledTonality, TonalityError> {
        let text = text.trim();
        let (note, mode) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let tonic = letters
            .understand(note)
            .map_err(|e| match self.find(text) {
                _ if text.is_empty() => TonalityError::Empty,
                Some(mode) => TonalityError::NoTonic {
                    text: text.to_owned(),
                    mode: self.mode(mode).id.clone(),
                },
                None => e.into(),
            })?;
        if mode.trim().is_empty() {
            return Err(TonalityError::NoMode(text.to_owned()));
        }
        Ok(SpelledTonality {
            tonality: Tonality {
                center: tonic.pitch_class(),
                mode: self.parse_mode(mode)?,
            },
            tonic,
        })
    }

    /// A mode by id or name; `major` is Ionian by its common name, and the natural,
    /// harmonic or melodic form of minor is minor, whose 6th and 7th move. The error names
    /// the mode that is meant, or all of them; a collection without a center is no mode.
    pub fn parse_mode(&self, text: &str) -> Result<ModeId, UnknownMode> {
        let text = text.trim();
        if let Some(mode) = self.find(text) {
            return Ok(mode);
        }
        let plain = text.to_lowercase();
        let words: Vec<&str> = plain.split([' ', '_', '-']).collect();
        let other_name = match words[..] {
            ["major"] => self.find("ionian"),
            // Its forms are no modes of their own: minor holds them all.
            ["natural" | "harmonic" | "melodic", "minor"] => self.find("minor"),
            _ => None,
        };
        if let Some(mode) = other_name {
            return Ok(mode);
        }
        let text = text.to_owned();
        if let ["octatonic" | "chromatic"] | ["whole", "tone"] = words[..] {
            return Err(UnknownMode::Collection(text));
        }
        let modes = || self.iter().map(|(_, m)| m);
        let names = modes().flat_map(|m| [m.id.as_str(), &m.name]);
        let meant = also_called(&words.join(" ")).and_then(|id| self.find(id));
        let meant = meant.or_else(|| nearest(&text, names).and_then(|name| self.find(name)));
        Err(match meant {
            Some(mode) => UnknownMode::Misspelt {
                text,
                meant: self.mode(mode).id.clone(),
            },
            None => UnknownMode::Unknown(text),
        })
    }
}

/// The mode that is also called so, in words of small letters. Common practice, no source.
fn also_called(name: &str) -> Option<&'static str> {
    let name = name.replace('♭', "b").replace('♯', "#");
    Some(match name.as_str() {
        "super locrian"
        | "superlocrian"
        | "altered scale"
        | "altered dominant"
        | "diminished whole tone"
        | "locrian b4" => "altered",
        "super locrian bb7" | "superlocrian bb7" | "altered diminished" => "ultralocrian",
        "acoustic" | "overtone" | "lydian b7" | "mixolydian #4" => "lydian_dominant",
        "lydian #5" => "lydian_augmented",
        "aeolian dominant" | "melodic major" | "hindu" => "mixolydian_flat6",
        "half diminished" | "locrian #2" | "locrian 2" | "aeolian b5" => "locrian_nat2",
        "phrygian #6" | "phrygian nat6" | "javanese" => "dorian_flat2",
        "phrygian major" | "freygish" | "spanish phrygian" => "phrygian_dominant",
        "ukrainian dorian" | "romanian minor" | "romanian" => "dorian_sharp4",
        "ionian augmented" | "major #5" => "ionian_sharp5",
        "harmonic major" | "major b6" => "ionian_flat6",
        "lydian diminished" | "lydian minor" => "lydian_flat3",
        "super phrygian" => "phrygian_flat4",
        "jazz minor" => "minor",
        "pentatonic" => "major_pentatonic",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bad_tonality_says_what_to_write() {
        let c = Catalogue::standard();
        let says = |text: &str| match c.parse_tonality(text) {
            Ok(t) => c.mode(t.tonality.mode).id.clone(),
            Err(e) => e.to_string(),
        };
        for (text, want) in [
            ("C major", "ionian"),
            ("c Major Pentatonic", "major_pentatonic"),
            ("F♯ LYDIAN ♭3", "lydian_flat3"),
            (
                "dorian",
                "'dorian' is a mode without its tonic: write it before, such as D dorian",
            ),
            (
                "D",
                "'D' is a tonic without its mode: write a tonic and a mode, such as E♭ mixolydian",
            ),
            (
                "D mixolidian",
                "unknown mode 'mixolidian'; did you mean mixolydian?",
            ),
            (
                "D Super-Locrian",
                "unknown mode 'Super-Locrian'; did you mean altered?",
            ),
            (
                "C lydian ♭7",
                "unknown mode 'lydian ♭7'; did you mean lydian_dominant?",
            ),
            ("A harmonic minor", "minor"),
            ("A Melodic-Minor", "minor"),
            ("a natural minor", "minor"),
            (
                "C octatonic",
                "'octatonic' is no mode but a collection that repeats within the octave, so none of its notes is its center; write a mode, such as ionian or minor",
            ),
            (
                "C whole-tone",
                "'whole-tone' is no mode but a collection that repeats within the octave, so none of its notes is its center; write a mode, such as ionian or minor",
            ),
            (
                "",
                "there is no tonality: write a tonic and a mode, such as E♭ mixolydian",
            ),
        ] {
            assert_eq!(says(text), want, "{text}");
        }
        let unknown = says("D zzz");
        let said = "unknown mode 'zzz'; peregrinus modes lists those that are known";
        assert_eq!(unknown, said);
        let note = says("H dorian");
        assert!(note.starts_with("'H' is no note name"), "{note}");
    }

    #[test]
    fn tonalities_are_read_in_the_users_letters() {
        let c = Catalogue::standard();
        let tonic = |text: &str, letters| {
            let t = c.parse_tonality_in(text, letters).expect(text);
            t.tonic.to_string()
        };
        for (text, english, german) in [
            ("B mixolydian", "B", "B♭"),
            ("Bb mixolydian", "B♭", "B♭"),
            ("eb dorian", "E♭", "E♭"),
        ] {
            assert_eq!(tonic(text, Letters::English), english);
            assert_eq!(tonic(text, Letters::German), german);
        }
        assert_eq!(tonic("h dorian", Letters::German), "B");
        assert_eq!(tonic("Fis minor", Letters::German), "F♯");
        assert_eq!(tonic("Mi♭ lydian", Letters::FixedDo), "E♭");
        assert!(c.parse_tonality_in("H dorian", Letters::English).is_err());
    }
}
