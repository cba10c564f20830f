//! Modes, the catalogue of them, and tonalities: a center and a mode.

use super::convention::Letters;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::{Glyphs, Spelling, accidentals};
use crate::nearest::nearest;
use serde::Deserialize;
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

/// The most modes that a catalogue may hold. Fixed, so that what the engine keeps is of fixed size.
pub const MAX_MODES: usize = 48;

/// A step of a mode: `b3` is number 3, lowered by one against the major scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Degree {
    /// 1-7.
    pub number: u8,
    /// Against the major scale on the same center, in semitones.
    pub alter: i8,
}

/// Semitones of the major scale's degrees.
const MAJOR: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

impl Degree {
    /// Semitones above the center, 0-11.
    pub fn semitones(self) -> usize {
        (MAJOR[(self.number as usize + 6) % 7] + self.alter as i32).rem_euclid(12) as usize
    }

    /// `♭3`.
    pub fn text(self, glyphs: Glyphs) -> String {
        format!("{}{}", accidentals(self.alter, glyphs), self.number)
    }
}

impl FromStr for Degree {
    type Err = String;

    fn from_str(s: &str) -> Result<Degree, String> {
        let digits = s.trim_start_matches(['b', '#', '♭', '♯']);
        let marks = &s[..s.len() - digits.len()];
        let flats = marks.chars().filter(|c| matches!(c, 'b' | '♭')).count() as i8;
        let sharps = marks.chars().filter(|c| matches!(c, '#' | '♯')).count() as i8;
        match digits.parse::<u8>() {
            Ok(number @ 1..=7) if flats + sharps <= 2 => Ok(Degree {
                number,
                alter: sharps - flats,
            }),
            _ => Err(format!(
                "'{s}' is no degree: write 1 to 7 after at most two b or #"
            )),
        }
    }
}

/// A mode: degrees above a center. See `config/modes.toml` for what the fields mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Mode {
    pub id: String,
    pub name: String,
    /// Its usual form, in order.
    pub degrees: Vec<Degree>,
    /// Further forms of degrees that move (common-practice minor).
    pub movable: Vec<Degree>,
    /// What tells it from the parallel major or natural minor, whichever is nearer; of
    /// a mode whose degrees move, what must be heard for it to be named (the leading
    /// tone).
    pub characteristic: Vec<Degree>,
    /// The nearest of major, minor and the seven diatonic modes.
    pub scored_as: String,
    /// The collection it is a rotation of.
    pub parent: String,
    /// How likely it is beforehand, against the others.
    pub weight: f32,
    set: PitchClassSet,
    all: PitchClassSet,
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

    /// Brightness: the degrees' alterations summed. Lydian 1, Ionian 0, … Locrian -5.
    pub fn brightness(&self) -> i32 {
        self.degrees.iter().map(|d| d.alter as i32).sum()
    }
}

/// A mode's place in the catalogue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ModeId(pub u8);

/// A center and a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tonality {
    pub center: PitchClass,
    pub mode: ModeId,
}

/// The modes that are known, in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    modes: Vec<Mode>,
}

/// What is wrong with a catalogue, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct CatalogueError(pub String);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    mode: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    id: String,
    name: String,
    degrees: String,
    #[serde(default)]
    movable: String,
    #[serde(default)]
    characteristic: String,
    scored_as: String,
    parent: String,
    #[serde(default = "one")]
    weight: f32,
}

/// What other programs know: major and minor, and the seven diatonic modes.
const SCORED_AS: [&str; 9] = [
    "major",
    "minor",
    "ionian",
    "dorian",
    "phrygian",
    "lydian",
    "mixolydian",
    "aeolian",
    "locrian",
];

fn one() -> f32 {
    1.0
}

/// The catalogue embedded at build.
static STANDARD: LazyLock<Catalogue> = LazyLock::new(|| {
    Catalogue::parse(include_str!("../../config/modes.toml"))
        .unwrap_or_else(|e| panic!("the embedded config/modes.toml does not hold: {e}"))
});

impl Catalogue {
    /// The one embedded at build from `config/modes.toml`.
    pub fn standard() -> &'static Catalogue {
        &STANDARD
    }

    /// Reads the TOML of `config/modes.toml`.
    pub fn parse(text: &str) -> Result<Catalogue, CatalogueError> {
        let file: File = toml::from_str(text).map_err(|e| CatalogueError(e.to_string()))?;
        let mut modes: Vec<Mode> = Vec::new();
        for e in file.mode {
            let fail = |what: String| CatalogueError(format!("mode '{}': {what}", e.id));
            let list = |text: &str| {
                text.split_whitespace()
                    .map(Degree::from_str)
                    .collect::<Result<Vec<_>, _>>()
            };
            let (degrees, movable, characteristic) = (
                list(&e.degrees).map_err(fail)?,
                list(&e.movable).map_err(fail)?,
                list(&e.characteristic).map_err(fail)?,
            );
            let set: PitchClassSet = degrees
                .iter()
                .map(|d| PitchClass::new(d.semitones() as i32))
                .collect();
            let all = movable
                .iter()
                .fold(set, |s, d| s.with(PitchClass::new(d.semitones() as i32)));
            if degrees.first()
                != Some(&Degree {
                    number: 1,
                    alter: 0,
                })
            {
                return Err(fail("its degrees must begin with 1".into()));
            }
            if degrees.len() < 5 || set.len() != degrees.len() {
                return Err(fail(
                    "it needs at least five degrees, each of its own pitch".into(),
                ));
            }
            if modes.iter().any(|m| m.id == e.id) {
                return Err(fail("the id is taken by a mode above it".into()));
            }
            if !(e.weight > 0.0 && e.weight <= 1000.0) {
                return Err(fail(
                    "its weight must be greater than 0, and at most 1000".into(),
                ));
            }
            if !SCORED_AS.contains(&e.scored_as.as_str()) {
                return Err(fail(format!(
                    "scored_as is '{}'; it must be one of {}",
                    e.scored_as,
                    SCORED_AS.join(", ")
                )));
            }
            modes.push(Mode {
                id: e.id,
                name: e.name,
                degrees,
                movable,
                characteristic,
                scored_as: e.scored_as,
                parent: e.parent,
                weight: e.weight,
                set,
                all,
            });
        }
        if modes.is_empty() || modes.len() > MAX_MODES {
            return Err(CatalogueError(format!(
                "a catalogue holds 1 to {MAX_MODES} modes, not {}",
                modes.len()
            )));
        }
        Ok(Catalogue { modes })
    }

    /// This catalogue and the modes of another text after it.
    pub fn extended(&self, text: &str) -> Result<Catalogue, CatalogueError> {
        let mut all = self.clone();
        for mode in Catalogue::parse(text)?.modes {
            if all.modes.iter().any(|m| m.id == mode.id) {
                return Err(CatalogueError(format!(
                    "mode '{}': the id is taken",
                    mode.id
                )));
            }
            all.modes.push(mode);
        }
        if all.modes.len() > MAX_MODES {
            return Err(CatalogueError(format!(
                "together with ours it holds more than {MAX_MODES} modes"
            )));
        }
        Ok(all)
    }

    /// How many modes.
    pub fn len(&self) -> usize {
        self.modes.len()
    }

    /// Never: a catalogue has at least one mode.
    pub fn is_empty(&self) -> bool {
        self.modes.is_empty()
    }

    /// The mode at a place that this catalogue gave.
    pub fn mode(&self, id: ModeId) -> &Mode {
        &self.modes[(id.0 as usize).min(self.modes.len() - 1)]
    }

    pub fn iter(&self) -> impl Iterator<Item = (ModeId, &Mode)> {
        self.modes
            .iter()
            .enumerate()
            .map(|(i, m)| (ModeId(i as u8), m))
    }

    /// By id or name, in any case.
    pub fn find(&self, name: &str) -> Option<ModeId> {
        let plain = |s: &str| {
            s.to_lowercase()
                .replace(['_', '-', ' '], "")
                .replace('♭', "b")
                .replace('♯', "#")
        };
        let want = plain(name);
        self.iter()
            .find(|(_, m)| plain(&m.id) == want || plain(&m.name) == want)
            .map(|(i, _)| i)
    }

    /// The first mode with the same notes in their usual form, for most modes itself:
    /// Aeolian for common-practice minor. No pitch tells the two apart by its presence,
    /// so against all others they stand together.
    pub fn kin(&self, mode: ModeId) -> ModeId {
        let set = self.mode(mode).set();
        self.iter()
            .find(|(_, m)| m.set() == set)
            .map_or(mode, |(first, _)| first)
    }

    /// The notes, in semitones above the center, without which a mode is not named: of
    /// one whose degrees move its characteristic ones, if a plain mode has the same
    /// notes to be called by instead. Common-practice minor needs its leading tone.
    pub fn needed(&self, mode: ModeId) -> PitchClassSet {
        let m = self.mode(mode);
        if m.movable.is_empty() || self.plain(m).is_none() {
            return PitchClassSet::EMPTY;
        }
        m.characteristic
            .iter()
            .map(|d| PitchClass::new(d.semitones() as i32))
            .collect()
    }

    /// What a tonality is called where `heard` was heard: without what [`Self::needed`]
    /// asks for, by the plain mode with the same notes. A minor without leading tone
    /// is Aeolian.
    pub fn named(&self, t: Tonality, heard: PitchClassSet) -> Tonality {
        if self.needed(t.mode).is_subset(heard.seen_from(t.center)) {
            return t;
        }
        let mode = self.plain(self.mode(t.mode)).unwrap_or(t.mode);
        Tonality { mode, ..t }
    }

    /// The first mode with the notes of `like` none of whose degrees move.
    fn plain(&self, like: &Mode) -> Option<ModeId> {
        self.iter()
            .find(|(_, m)| m.movable.is_empty() && m.set() == like.set())
            .map(|(mode, _)| mode)
    }

    /// Pitch classes of a tonality, usual form.
    pub fn set(&self, t: Tonality) -> PitchClassSet {
        self.mode(t.mode).set().up(t.center.index() as i32)
    }

    /// Pitch classes of a tonality with the other forms of its movable degrees.
    pub fn all_forms(&self, t: Tonality) -> PitchClassSet {
        self.mode(t.mode).all_forms().up(t.center.index() as i32)
    }

    /// Sharps (flats negative) of the scale written on `tonic`: the sum of its degrees' accidentals.
    pub fn signature(&self, tonic: Spelling, mode: ModeId) -> i32 {
        self.mode(mode)
            .degrees
            .iter()
            .map(|d| spell_degree(tonic, *d).accidental() as i32)
            .sum()
    }

    /// The tonic's spelling: fewest accidentals in the scale; of equals the plainer
    /// tonic (B, not C♭), then the one nearest on the line of fifths to `before`,
    /// else the flat one (G♭, not F♯).
    /// Source: the practical spelling rule, signature within -7..7, better
    /// -6..6 (common practice, no source); property-tested against it.
    pub fn spell(&self, t: Tonality, before: Option<Spelling>) -> Spelling {
        let base = (t.center.index() as i32 * 7).rem_euclid(12);
        let cost = |s: &Spelling| -> (i32, i32, i32) {
            let accidentals: i32 = self
                .mode(t.mode)
                .degrees
                .iter()
                .map(|d| (spell_degree(*s, *d).accidental() as i32).abs())
                .sum();
            let distance = match before {
                Some(b) => (s.fifths() as i32 - b.fifths() as i32).abs(),
                None => s.fifths() as i32,
            };
            (accidentals, (s.accidental() as i32).abs(), distance)
        };
        (-2..=2)
            .map(|k| Spelling::at((base + 12 * k) as i8))
            .min_by_key(cost)
            .unwrap_or(Spelling::C)
    }
}

/// A degree of the scale on `tonic`.
pub fn spell_degree(tonic: Spelling, degree: Degree) -> Spelling {
    tonic.up(degree.number as usize - 1, degree.semitones() as i32)
}

/// A tonality as the user writes it: `E♭ mixolydian`, `d dorian`, `F# minor`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WrittenTonality {
    pub tonality: Tonality,
    pub tonic: Spelling,
}

impl Catalogue {
    /// Parses `E♭ mixolydian`. The error says which half is wrong, and names the mode
    /// that is meant or all of them.
    pub fn parse_tonality(&self, text: &str) -> Result<WrittenTonality, CatalogueError> {
        self.parse_tonality_in(text, Letters::English)
    }

    /// The same with the tonic in the user's letters: `Es mixolydian`.
    pub fn parse_tonality_in(
        &self,
        text: &str,
        letters: Letters,
    ) -> Result<WrittenTonality, CatalogueError> {
        let text = text.trim();
        let example = "write a tonic and a mode, such as E♭ mixolydian";
        let (note, mode) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let tonic = letters.understand(note).map_err(|e| {
            CatalogueError(match self.find(text) {
                _ if text.is_empty() => format!("there is no tonality: {example}"),
                Some(mode) => {
                    let id = &self.mode(mode).id;
                    format!("'{text}' is a mode without its tonic: write it before, such as D {id}")
                }
                None => format!("{e}; {example}"),
            })
        })?;
        if mode.trim().is_empty() {
            return Err(CatalogueError(format!(
                "'{text}' is a tonic without its mode: {example}"
            )));
        }
        Ok(WrittenTonality {
            tonality: Tonality {
                center: tonic.pitch_class(),
                mode: self.parse_mode(mode)?,
            },
            tonic,
        })
    }

    /// A mode by id or name; `major` is Ionian, as everybody calls it, and the natural,
    /// harmonic or melodic form of minor is minor, whose 6th and 7th move. The error names
    /// the mode that is meant, or all of them; a collection without a center is none.
    pub fn parse_mode(&self, text: &str) -> Result<ModeId, CatalogueError> {
        let text = text.trim();
        if let Some(mode) = self.find(text) {
            return Ok(mode);
        }
        let plain = text.to_lowercase();
        let words: Vec<&str> = plain.split([' ', '_', '-']).collect();
        if words == ["major"]
            && let Some(ionian) = self.find("ionian")
        {
            return Ok(ionian);
        }
        let what = format!("'{text}' is no mode of the catalogue");
        // Its forms are no modes of their own: minor holds them all.
        if let ["natural" | "harmonic" | "melodic", "minor"] = words[..]
            && let Some(minor) = self.find("minor")
        {
            return Ok(minor);
        }
        if let ["octatonic" | "chromatic"] | ["whole", "tone"] = words[..] {
            return Err(CatalogueError(format!(
                "{what} but a collection that repeats within the octave, so none of its notes \
                 is its center; write a mode, such as ionian or minor"
            )));
        }
        let names = self.modes.iter().flat_map(|m| [m.id.as_str(), &m.name]);
        let meant = nearest(text, names).and_then(|name| self.find(name));
        if let Some(mode) = meant {
            let id = &self.mode(mode).id;
            return Err(CatalogueError(format!("{what}; did you mean {id}?")));
        }
        let known: Vec<&str> = self.modes.iter().map(|m| m.id.as_str()).collect();
        Err(CatalogueError(format!(
            "{what}; write one of: {}",
            known.join(", ")
        )))
    }
}

/// For messages: the plain numbers. Names need a catalogue and a spelling.
impl fmt::Display for Tonality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.center.index(), self.mode.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_catalogue_holds() {
        let c = Catalogue::standard();
        assert_eq!(c.len(), 31);
        let dorian = c.parse_tonality("e♭ Dorian").expect("a tonality");
        assert_eq!(dorian.tonic.to_string(), "E♭");
        assert_eq!(c.signature(dorian.tonic, dorian.tonality.mode), -5);
    }

    #[test]
    fn a_bad_tonality_says_what_to_write() {
        let c = Catalogue::standard();
        let says = |text: &str| match c.parse_tonality(text) {
            Ok(t) => c.mode(t.tonality.mode).id.clone(),
            Err(e) => e.0,
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
                "'mixolidian' is no mode of the catalogue; did you mean mixolydian?",
            ),
            ("A harmonic minor", "minor"),
            ("A Melodic-Minor", "minor"),
            ("a natural minor", "minor"),
            (
                "C octatonic",
                "'octatonic' is no mode of the catalogue but a collection that repeats within the octave, so none of its notes is its center; write a mode, such as ionian or minor",
            ),
            (
                "C whole-tone",
                "'whole-tone' is no mode of the catalogue but a collection that repeats within the octave, so none of its notes is its center; write a mode, such as ionian or minor",
            ),
            (
                "",
                "there is no tonality: write a tonic and a mode, such as E♭ mixolydian",
            ),
        ] {
            assert_eq!(says(text), want, "{text}");
        }
        let unknown = says("D zzz");
        assert!(
            unknown.contains("write one of: lydian, ionian"),
            "{unknown}"
        );
        let note = says("H dorian");
        assert!(note.starts_with("'H' is no note name"), "{note}");
    }

    #[test]
    fn a_bad_catalogue_says_which_mode() {
        let e = Catalogue::parse(
            "[[mode]]\nid='x'\nname='X'\ndegrees='1 2 9'\nscored_as='major'\nparent='p'\n",
        );
        assert_eq!(
            e.map(|_| ()).map_err(|e| e.0),
            Err("mode 'x': '9' is no degree: write 1 to 7 after at most two b or #".to_owned())
        );
    }

    /// The rule at the head of `config/modes.toml`.
    #[test]
    fn what_is_characteristic_tells_a_mode_from_the_nearer_of_major_and_minor() {
        let c = Catalogue::standard();
        let degrees = |id| &c.mode(c.find(id).expect("a mode")).degrees;
        let (major, minor) = (degrees("ionian"), degrees("aeolian"));
        for (_, m) in c.iter() {
            let beside = |of: &[Degree]| -> Vec<Degree> {
                let all = m.degrees.iter().copied();
                all.filter(|d| !of.contains(d)).collect()
            };
            let (major, minor) = (beside(major), beside(minor));
            if !m.movable.is_empty() {
                let moved = |d: &Degree| m.movable.contains(d);
                assert!(m.characteristic.iter().all(moved), "{}", m.id);
                assert!(!m.characteristic.is_empty(), "{}", m.id);
                continue;
            }
            // Neither is ever as near as the other, but for what is in both.
            assert!(major.len() != minor.len() || major == minor, "{}", m.id);
            let nearer = if minor.len() < major.len() {
                minor
            } else {
                major
            };
            assert_eq!(m.characteristic, nearer, "{}", m.id);
        }
    }

    #[test]
    fn only_minor_shares_its_notes_and_goes_with_aeolian() {
        let c = Catalogue::standard();
        let (aeolian, minor) = (c.find("aeolian"), c.find("minor"));
        for (mode, _) in c.iter() {
            let kin = if Some(mode) == minor {
                aeolian
            } else {
                Some(mode)
            };
            assert_eq!(Some(c.kin(mode)), kin);
        }
    }

    #[test]
    fn minor_is_named_once_its_leading_tone_is_heard() {
        let c = Catalogue::standard();
        let heard =
            |keys: &[i32]| -> PitchClassSet { keys.iter().map(|&k| PitchClass::new(k)).collect() };
        let t = |text: &str| c.parse_tonality(text).expect("a tonality").tonality;
        let white = heard(&[9, 11, 0, 2, 4, 5, 7]);
        assert_eq!(c.named(t("a minor"), white), t("a aeolian"));
        let raised = white.with(PitchClass::new(8));
        assert_eq!(c.named(t("a minor"), raised), t("a minor"));
        assert_eq!(c.named(t("a aeolian"), raised), t("a aeolian"));
        // The raised sixth alone is not enough, nor another center's leading tone.
        let sixth = white.with(PitchClass::new(6));
        assert_eq!(c.named(t("a minor"), sixth), t("a aeolian"));
        assert_eq!(c.named(t("d minor"), raised), t("d aeolian"));
        // Nothing else waits for a note.
        for (mode, m) in c.iter().filter(|(_, m)| m.movable.is_empty()) {
            assert!(c.needed(mode).is_empty(), "{}", m.id);
        }
    }

    /// A mode of the user's whose degrees move: it waits only where another name is left.
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

    #[test]
    fn a_mode_without_another_name_is_named_in_any_case() {
        let text = |degrees: &str| {
            format!(
                "[[mode]]\nid='own'\nname='own'\ndegrees='{degrees}'\nmovable='7'\n\
                 characteristic='7'\nscored_as='minor'\nparent='own'\n"
            )
        };
        let own = |degrees: &str| {
            let c = Catalogue::standard().extended(&text(degrees));
            let c = c.expect("a catalogue");
            let mode = c.find("own").expect("the mode");
            (c.needed(mode), c.kin(mode) == mode)
        };
        assert_eq!(own("1 b2 b3 b7 #4 5"), (PitchClassSet::EMPTY, true));
        let leading = PitchClassSet::EMPTY.with(PitchClass::new(11));
        assert_eq!(own("1 2 b3 4 5 6 b7"), (leading, false));
    }
}
