//! The list of the sittings of other days, as front ends show and search it; written by `live`.

use crate::theory::{Catalogue, Letters, Notation, PitchClass, SpelledTonality, Tonality};
use crate::time::Time;
use std::collections::HashMap;
use std::sync::Arc;

/// The list of sittings as far as it is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Listing {
    /// The newest first. The first of them come before the whole list does.
    pub rows: Arc<[Row]>,
    /// How many there are, and the bytes that they take on disk.
    pub count: usize,
    pub bytes: u64,
    pub progress: Progress,
    /// What there is to say about the index, a sentence each.
    pub said: Vec<String>,
    pub opening: Opening,
}

/// How far the list is.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Progress {
    #[default]
    Started,
    /// How many of the files that are new or changed have been read.
    Reading {
        done: usize,
        of: usize,
    },
    Done,
    /// It cannot be had, and why.
    Failed(String),
}

/// What has become of the sitting that was chosen.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Opening {
    #[default]
    None,
    /// It is being read.
    Reading,
    /// It cannot be shown, and why.
    Failed(String),
}

/// One sitting.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub id: String,
    /// When it began, by the clock of the place: `2026-11-29 20:15`.
    pub date: String,
    pub length: Time,
    /// The player's name for it, or the id of a file that does not say when it began.
    pub name: Option<String>,
    pub tags: Vec<String>,
    /// The names of its markers, in order.
    pub markers: Vec<String>,
    pub cut_off: bool,
    /// Whether its plan was corrected.
    pub corrected: bool,
    /// Its way through the centers, as heard.
    pub way: Vec<Stretch>,
    /// Its name, tags, markers and date: see [`words`].
    pub words: String,
}

/// A sitting's name, tags, markers and date, made ready to be searched.
pub fn words<'t>(texts: impl Iterator<Item = &'t str>) -> String {
    let mut all = String::new();
    for text in texts {
        all.push('\n');
        all += &folded(text);
    }
    all
}

/// A stretch of one tonality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    pub start: Time,
    pub end: Time,
    /// None where its mode is not in the catalogue any longer.
    pub spelled: Option<SpelledTonality>,
    pub at_home: bool,
}

/// What is searched for, as it is typed: parts between commas, all of which must match. A part
/// matches a sitting that has it in its name, a tag, a marker or its date; that visited this
/// center or this tonality, however it is spelled; or that visited a tonality whose name, or
/// whose mode's name, begins with it.
pub struct Search<'a> {
    parts: Vec<Part>,
    notation: Notation,
    catalogue: &'a Catalogue,
}

struct Part {
    /// In small letters, accidentals in ASCII.
    text: String,
    center: Option<PitchClass>,
    tonality: Option<Tonality>,
    /// Whether a tonality matches, for each that was asked about.
    known: HashMap<SpelledTonality, bool>,
}

impl<'a> Search<'a> {
    pub fn new(typed: &str, notation: Notation, catalogue: &'a Catalogue) -> Search<'a> {
        let parts = typed.split(',').map(str::trim).filter(|p| !p.is_empty());
        let part = |text: &str| {
            let tonality = catalogue.parse_tonality_in(text, notation.letters).ok();
            Part {
                text: folded(text),
                center: center(text, notation.letters),
                tonality: tonality.map(|t| t.tonality),
                known: HashMap::new(),
            }
        };
        Search {
            parts: parts.map(part).collect(),
            notation,
            catalogue,
        }
    }

    /// Whether a sitting matches.
    pub fn matches(&mut self, row: &Row) -> bool {
        let (notation, catalogue) = (self.notation, self.catalogue);
        self.parts.iter_mut().all(|part| {
            row.words.contains(&part.text)
                || row.way.iter().any(|stretch| {
                    let spelled = stretch.spelled;
                    spelled.is_some_and(|t| part.matches(t, notation, catalogue))
                })
        })
    }
}

impl Part {
    fn matches(&mut self, t: SpelledTonality, notation: Notation, catalogue: &Catalogue) -> bool {
        if let Some(&known) = self.known.get(&t) {
            return known;
        }
        let mode = folded(&notation.mode(t.tonality, catalogue));
        let name = folded(&notation.tonality(t, catalogue));
        let is = self.center == Some(t.tonality.center)
            || self.tonality == Some(t.tonality)
            || mode.starts_with(&self.text)
            || name.starts_with(&self.text);
        self.known.insert(t, is);
        is
    }
}

/// A note alone, in the user's letters.
fn center(text: &str, letters: Letters) -> Option<PitchClass> {
    letters.understand(text).ok().map(|note| note.pitch_class())
}

fn folded(text: &str) -> String {
    let plain = |c| match c {
        '♭' => 'b',
        '♯' => '#',
        c => c,
    };
    text.to_lowercase().chars().map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(name: &str, tags: &[&str], way: &[&str]) -> Row {
        let stretch = |name: &&str| Stretch {
            start: Time::ZERO,
            end: Time::millis(1000),
            spelled: Catalogue::standard().parse_tonality(name).ok(),
            at_home: true,
        };
        let date = "2026-11-29 20:15";
        Row {
            id: "2026-11-29_20-15-03".into(),
            date: date.into(),
            length: Time::millis(1000),
            name: Some(name.into()),
            tags: tags.iter().map(|&t| t.into()).collect(),
            markers: vec!["The bridge".into()],
            cut_off: false,
            corrected: false,
            way: way.iter().map(stretch).collect(),
            words: words(
                ["The bridge", name, date]
                    .into_iter()
                    .chain(tags.iter().copied()),
            ),
        }
    }

    fn found(typed: &str, letters: Letters) -> Vec<usize> {
        let rows = [
            row("Évening", &["Blue"], &["D dorian", "Eb mixolydian"]),
            row("rain", &[], &["B minor", "A# lydian"]),
            row("nothing", &["slow"], &[]),
        ];
        let notation = Notation {
            letters,
            ..Notation::default()
        };
        let mut search = Search::new(typed, notation, Catalogue::standard());
        let matching = rows.iter().map(|row| search.matches(row));
        (0..).zip(matching).filter(|f| f.1).map(|f| f.0).collect()
    }

    #[test]
    fn by_words() {
        for (typed, rows) in [
            ("", vec![0, 1, 2]),
            (" , ", vec![0, 1, 2]),
            ("éVEN", vec![0]),
            ("blue", vec![0]),
            ("bridge", vec![0, 1, 2]),
            ("2026-11", vec![0, 1, 2]),
            ("2025", vec![]),
            // No word goes over the end of one name into the next.
            ("bridgerain", vec![]),
            ("bridge, slow", vec![2]),
        ] {
            assert_eq!(found(typed, Letters::English), rows, "{typed:?}");
        }
    }

    #[test]
    fn by_centers_and_modes() {
        for (typed, rows) in [
            ("D dorian", vec![0]),
            ("d dor", vec![0]),
            ("dorian", vec![0]),
            ("Eb", vec![0]),
            ("e\u{266d} mixo", vec![0]),
            // However it is spelled.
            ("D# mixolydian", vec![0]),
            ("Bb lydian", vec![1]),
            ("b minor", vec![1]),
            // B, not B flat; and no mode of the one on the center of the other.
            ("B lydian", vec![]),
            ("D mixolydian", vec![]),
            ("lydian, rain", vec![1]),
            ("lydian, blue", vec![]),
        ] {
            assert_eq!(found(typed, Letters::English), rows, "{typed:?}");
        }
    }

    #[test]
    fn in_the_letters_of_the_user() {
        assert_eq!(found("h moll", Letters::German), [0; 0]);
        assert_eq!(found("h minor", Letters::German), [1]);
        assert_eq!(found("es mix", Letters::German), [0]);
        assert_eq!(found("Re dorian", Letters::FixedDo), [0]);
    }
}
