//! The kinds of chord that are known, from `config/chords.toml`.

use super::kind::{Kind, KindId, Member, Triad};
use super::name_table::NameTable;
use super::pitch::{PitchClass, PitchClassSet};
use serde::Deserialize;
use std::sync::LazyLock;

/// The kinds, in the order of the file. There is one list of them, [`Kinds::standard`], so that
/// every [`KindId`] is valid.
#[derive(Debug)]
pub struct Kinds {
    kinds: Vec<Kind>,
    pub(super) table: NameTable,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    chord: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    symbol: String,
    degrees: String,
    harte: Option<String>,
    cost: f32,
    #[serde(default)]
    exact: bool,
    #[serde(default)]
    root_position: bool,
    #[serde(default)]
    rootless: bool,
}

static STANDARD: LazyLock<Kinds> = LazyLock::new(|| {
    Kinds::parse(include_str!("../../config/chords.toml"))
        .unwrap_or_else(|e| panic!("the embedded config/chords.toml does not hold: {e}"))
});

/// What is wrong with a list of kinds.
#[derive(Debug, PartialEq, thiserror::Error)]
enum KindsError {
    #[error(transparent)]
    Toml(#[from] toml::de::Error),
    #[error("chord '{chord}': '{member}' is no chord member: write 1 to 13 after b or #")]
    NoMember { chord: String, member: String },
    #[error("chord '{0}': its members must differ and begin with 1")]
    Members(String),
    #[error("it must hold 1 to {MAX_KINDS} kinds, not {0}")]
    Count(usize),
}

/// What fits a [`KindId`], with room to spare.
const MAX_KINDS: usize = 250;

fn member(text: &str) -> Option<Member> {
    let digits = text.trim_start_matches(['b', '#']);
    let number = digits.parse().ok().filter(|n| (1..=13).contains(n))?;
    let marks = &text[..text.len() - digits.len()];
    let alter = marks.chars().map(|c| if c == 'b' { -1 } else { 1 }).sum();
    Some(Member::new(number, alter))
}

impl Kinds {
    /// The ones embedded at build from `config/chords.toml`.
    pub fn standard() -> &'static Kinds {
        &STANDARD
    }

    /// Reads the TOML of `config/chords.toml`.
    fn parse(text: &str) -> Result<Kinds, KindsError> {
        let file: File = toml::from_str(text)?;
        let mut kinds: Vec<Kind> = Vec::new();
        for e in file.chord {
            let read = |text: &str| {
                member(text).ok_or_else(|| KindsError::NoMember {
                    chord: e.symbol.clone(),
                    member: text.to_owned(),
                })
            };
            let members: Vec<Member> = e
                .degrees
                .split_whitespace()
                .map(read)
                .collect::<Result<_, _>>()?;
            let set: PitchClassSet = members
                .iter()
                .map(|m| PitchClass::new(m.semitones as i32))
                .collect();
            let root = members.first().is_some_and(|m| m.semitones == 0);
            if set.len() != members.len() || !root {
                return Err(KindsError::Members(e.symbol));
            }
            let sixth = members.iter().any(|m| m.number == 6);
            let suspended = members.len() == 3 && members.iter().all(|m| m.number != 3);
            let core = members
                .iter()
                .filter(|m| m.semitones != 7 || sixth || suspended)
                .map(|m| PitchClass::new(m.semitones as i32))
                .collect();
            kinds.push(Kind {
                symbol: e.symbol,
                members,
                cost: e.cost,
                exact: e.exact,
                root_position: e.root_position,
                rootless: e.rootless,
                harte: e.harte,
                set,
                core,
            });
        }
        if kinds.is_empty() || kinds.len() > MAX_KINDS {
            return Err(KindsError::Count(kinds.len()));
        }
        let table = NameTable::new(&kinds);
        Ok(Kinds { kinds, table })
    }

    /// The kind of an id.
    pub fn kind(&self, id: KindId) -> &Kind {
        &self.kinds[id.0 as usize]
    }

    /// The kinds that may be fitted to notes heard one after the other.
    pub fn iter(&self) -> impl Iterator<Item = (KindId, &Kind)> {
        self.all().filter(|(_, k)| !k.exact)
    }

    /// Every kind, including those named only where exactly their notes sound.
    pub fn all(&self) -> impl Iterator<Item = (KindId, &Kind)> {
        self.kinds
            .iter()
            .enumerate()
            .map(|(i, k)| (KindId(i as u8), k))
    }

    /// The plain triad of a sort, as semitones above its root.
    pub fn plain(&self, triad: Triad) -> PitchClassSet {
        let plain = |k: &&Kind| k.members.len() == 3 && k.triad() == triad;
        self.kinds
            .iter()
            .find(plain)
            .map_or(PitchClassSet::EMPTY, Kind::set)
    }

    /// By lead-sheet suffix.
    pub fn find(&self, symbol: &str) -> Option<KindId> {
        self.all().find(|(_, k)| k.symbol == symbol).map(|(i, _)| i)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bad_list_says_which_chord() {
        let says = |text: &str| Kinds::parse(text).map(|_| ()).map_err(|e| e.to_string());
        let one = |degrees: &str| {
            says(&format!(
                "[[chord]]\nsymbol = 'own'\ndegrees = '{degrees}'\ncost = 0.1\n"
            ))
        };
        assert_eq!(one("1 3 5"), Ok(()));
        let fails = |what: &str| Err(what.to_owned());
        assert_eq!(
            one("1 x 5"),
            fails("chord 'own': 'x' is no chord member: write 1 to 13 after b or #")
        );
        assert_eq!(
            one("1 3 14"),
            fails("chord 'own': '14' is no chord member: write 1 to 13 after b or #")
        );
        for degrees in ["3 5", "3 1 5", "1 3 b4"] {
            assert_eq!(
                one(degrees),
                fails("chord 'own': its members must differ and begin with 1")
            );
        }
        assert_eq!(
            says("chord = []"),
            fails("it must hold 1 to 250 kinds, not 0")
        );
        let unknown = says("[[chord]]\ncolour = 1\n").expect_err("no such key");
        assert!(unknown.contains("unknown field `colour`"), "{unknown}");
    }
}
