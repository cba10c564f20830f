//! A tonality as the user writes it: a tonic and a mode.

use super::catalogue::Catalogue;
use super::convention::Letters;
use super::mode::{Mode, ModeId, SpelledTonality, Tonality, plain_name};
use super::spelling::{Glyphs, NotANote};
use crate::nearest::nearest;
use crate::plain;

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
    /// A slip of the pen, or a word that stands for one mode.
    #[error("unknown mode '{text}'; did you mean {meant}?")]
    Misspelt { text: String, meant: String },
    /// A word that stands for several, each with its degrees.
    #[error(
        "'{text}' may be {}: write the one that is meant",
        plain::list(meant, "or")
    )]
    Several { text: String, meant: Vec<String> },
    #[error("unknown mode '{0}'; peregrinus modes lists those that are known")]
    Unknown(String),
    #[error(
        "'{0}' is no mode: it holds all twelve notes, so none of them is its center; write a \
         mode, such as ionian or minor"
    )]
    Chromatic(String),
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
            .map_err(|e| match self.known(text) {
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

    /// A mode or scale by id, name or another name, with or without "scale" or "mode" behind
    /// it. The error names what is meant: the sense of the word first, then the spelling.
    pub fn parse_mode(&self, text: &str) -> Result<ModeId, UnknownMode> {
        let text = text.trim();
        if let Some(mode) = self.known(text) {
            return Ok(mode);
        }
        let bare = without_kind(text);
        let text = text.to_owned();
        if plain_name(bare) == "chromatic" {
            return Err(UnknownMode::Chromatic(text));
        }
        let senses: Vec<ModeId> = senses(bare).iter().filter_map(|id| self.find(id)).collect();
        if senses.len() > 1 {
            let meant = senses.iter().map(|&id| {
                let mode = self.mode(id);
                let degrees = mode.degrees.iter().map(|d| d.text(Glyphs::Unicode));
                let degrees: Vec<String> = degrees.collect();
                format!("{} ({})", mode.id, degrees.join(" "))
            });
            let meant = meant.collect();
            return Err(UnknownMode::Several { text, meant });
        }
        let turned = || self.with_the_words_of(bare);
        let spelled = || {
            let modes = self.all();
            let names = modes.flat_map(|(_, m)| m.also.iter().chain([&m.id, &m.name]));
            nearest(bare, names.map(String::as_str)).and_then(|name| self.find(name))
        };
        let meant = senses.first().copied().or_else(turned).or_else(spelled);
        Err(match meant {
            Some(mode) => UnknownMode::Misspelt {
                text,
                meant: self.mode(mode).id.clone(),
            },
            None => UnknownMode::Unknown(text),
        })
    }

    /// The mode of this name, with or without "scale" or "mode" behind it.
    fn known(&self, text: &str) -> Option<ModeId> {
        self.find(text).or_else(|| self.find(without_kind(text)))
    }

    /// The mode whose name has these words in another order: blues major.
    fn with_the_words_of(&self, text: &str) -> Option<ModeId> {
        let words = |text: &str| -> Vec<String> {
            let words = text.split([' ', '_', '-']).filter(|w| !w.is_empty());
            let mut words: Vec<String> = words.map(plain_name).collect();
            words.sort_unstable();
            words
        };
        let typed = words(text);
        let called = |m: &Mode| {
            let mut names = m.also.iter().chain([&m.id, &m.name]);
            names.any(|name| words(name) == typed)
        };
        self.all().find(|(_, m)| called(m)).map(|(id, _)| id)
    }
}

/// Without "scale" or "mode" behind it.
fn without_kind(text: &str) -> &str {
    let text = text.trim();
    match text.rsplit_once([' ', '_', '-']) {
        Some((name, kind))
            if ["scale", "mode"]
                .iter()
                .any(|k| kind.eq_ignore_ascii_case(k)) =>
        {
            name.trim_end()
        }
        _ => text,
    }
}

/// What a word of the trade may stand for that is no name of its own: one mode that it is
/// less clearly a name of, or several, the likeliest first. Common practice, no source.
fn senses(word: &str) -> &'static [&'static str] {
    match plain_name(word).as_str() {
        "diminished" | "symmetricdiminished" | "symmetricaldiminished" => {
            &["octatonic_whole_half", "octatonic_half_whole"]
        }
        "octatonic" => &["octatonic_half_whole", "octatonic_whole_half"],
        "symmetric" | "symmetrical" => {
            &["octatonic_half_whole", "octatonic_whole_half", "whole_tone"]
        }
        "augmented" => &["whole_tone", "lydian_augmented", "ionian_sharp5"],
        "dominant" => &[
            "mixolydian",
            "lydian_dominant",
            "phrygian_dominant",
            "bebop_dominant",
            "octatonic_half_whole",
        ],
        "bebop" => &[
            "bebop_dominant",
            "bebop_major",
            "bebop_dorian",
            "bebop_melodic_minor",
        ],
        "bebopminor" | "minorbebop" => &["bebop_dorian", "bebop_melodic_minor"],
        "pentatonic" => &["major_pentatonic", "minor_pentatonic"],
        "harmonic" => &["harmonic_minor", "ionian_flat6", "double_harmonic"],
        "melodic" => &["melodic_minor"],
        "jazz" => &["melodic_minor", "mixolydian", "bebop_dominant"],
        "gypsy" => &["hungarian_minor", "double_harmonic", "phrygian_dominant"],
        "gypsyminor" | "hungarian" => &["hungarian_minor"],
        "gypsymajor" | "arabic" | "arabian" => &["double_harmonic"],
        "spanishgypsy" | "hijaz" => &["phrygian_dominant"],
        "romanian" => &["dorian_sharp4"],
        "hindu" => &["mixolydian_flat6"],
        "javanese" => &["dorian_flat2"],
        "lydianminor" => &["lydian_flat3"],
        _ => &[],
    }
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
            ("D Super-Locrian", "altered"),
            ("D superlocrian scale", "altered"),
            ("C lydian ♭7", "lydian_dominant"),
            ("C Lydian flat 7", "lydian_dominant"),
            ("C Locrian natural 2 mode", "locrian_nat2"),
            ("A harmonic minor", "harmonic_minor"),
            ("A Melodic-Minor", "melodic_minor"),
            ("A jazz minor", "melodic_minor"),
            ("a natural minor", "aeolian"),
            ("C whole-tone", "whole_tone"),
            ("C dominant diminished", "octatonic_half_whole"),
            (
                "C chromatic scale",
                "'chromatic scale' is no mode: it holds all twelve notes, so none of them is its center; write a mode, such as ionian or minor",
            ),
            // What a word means goes before how it is spelled.
            (
                "C diminished",
                "'diminished' may be octatonic_whole_half (1 2 ♭3 4 ♭5 ♭6 6 7) or octatonic_half_whole (1 ♭2 ♭3 3 ♯4 5 6 ♭7): write the one that is meant",
            ),
            (
                "C gypsy",
                "'gypsy' may be hungarian_minor (1 2 ♭3 ♯4 5 ♭6 7), double_harmonic (1 ♭2 3 4 5 ♭6 7) or phrygian_dominant (1 ♭2 3 4 5 ♭6 ♭7): write the one that is meant",
            ),
            (
                "C gypsy major",
                "unknown mode 'gypsy major'; did you mean double_harmonic?",
            ),
            (
                "C blues major",
                "unknown mode 'blues major'; did you mean major_blues?",
            ),
            (
                "altered scale",
                "'altered scale' is a mode without its tonic: write it before, such as D altered",
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

    /// Each sense is of a word that is no name, and is known by its id.
    #[test]
    fn the_senses_of_words_are_known() {
        let c = Catalogue::standard();
        let words = [
            "diminished",
            "symmetrical diminished",
            "octatonic",
            "symmetric",
            "augmented",
            "dominant",
            "bebop",
            "minor bebop",
            "pentatonic",
            "harmonic",
            "melodic",
            "jazz",
            "gypsy",
            "gypsy minor",
            "Hungarian",
            "Arabic",
            "gypsy major",
            "Spanish gypsy",
            "hijaz",
            "Romanian",
            "Hindu",
            "Javanese",
            "Lydian minor",
        ];
        for word in words {
            assert_eq!(c.find(word), None, "{word}");
            assert!(!senses(word).is_empty(), "{word}");
            for id in senses(word) {
                let mode = c.find(id).expect(id);
                assert_eq!(c.mode(mode).id, *id, "{word}");
            }
        }
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
