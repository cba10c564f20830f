//! Chords: the kinds that are known, and the name of a set of notes.

use super::catalogue::Degree;
use super::naming::Names;
use super::notation::Notation;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::{Glyphs, Spelling};
use serde::Deserialize;
use std::sync::LazyLock;

/// A member of a chord, as a step above the root: number 1-13 and semitones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Member {
    pub number: u8,
    pub semitones: u8,
    /// As Harte writes it: `b7`, `#11`.
    alter: i8,
}

/// A kind of chord, from `config/chords.toml`.
#[derive(Clone, Debug)]
pub struct Kind {
    /// Lead-sheet suffix with plain b and #: `m7b5`.
    pub symbol: String,
    /// Root first.
    pub members: Vec<Member>,
    /// How far-fetched it is as a reading; 0 for the plain triads.
    pub cost: f32,
    /// Named only where just its notes sound together.
    pub exact: bool,
    /// Named only over its root.
    pub root_position: bool,
    /// Played without its root where a bassist plays the roots.
    pub rootless: bool,
    harte: Option<String>,
    set: PitchClassSet,
    core: PitchClassSet,
}

impl Kind {
    /// The members without which it may not be named: all but a perfect fifth. Without it
    /// a sixth chord is a triad on its sixth, and a suspended triad no more than a fourth.
    pub fn core(&self) -> PitchClassSet {
        self.core
    }

    /// Semitones above the root.
    pub fn set(&self) -> PitchClassSet {
        self.set
    }

    pub(super) fn has(&self, semitones: i32) -> bool {
        self.set.contains(PitchClass::new(semitones))
    }

    /// Third and fifth, as far as they are there.
    pub fn triad(&self) -> Triad {
        let suspended = self.members.iter().all(|m| m.number != 3);
        match () {
            _ if suspended => Triad::Suspended,
            _ if self.has(4) && self.has(8) && !self.has(7) => Triad::Augmented,
            _ if self.has(4) => Triad::Major,
            _ if self.has(6) && !self.has(7) => Triad::Diminished,
            _ => Triad::Minor,
        }
    }

    /// Semitones of the seventh above the root, if there is one.
    pub fn seventh(&self) -> Option<u8> {
        self.members
            .iter()
            .find(|m| m.number == 7)
            .map(|m| m.semitones)
    }
}

/// The triad at the bottom of a chord. The order is that of what was learned of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Triad {
    Major,
    Minor,
    Diminished,
    Augmented,
    /// No third.
    Suspended,
}

/// A kind's place in `config/chords.toml`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KindId(pub u8);

/// A named chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Chord {
    pub root: PitchClass,
    pub kind: KindId,
    /// The lowest note; need not be a member of the kind (C/D).
    pub bass: PitchClass,
}

/// What sounds, named as far as a musician would name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sonority {
    Note(PitchClass),
    Interval {
        low: PitchClass,
        high: PitchClass,
    },
    Chord(Chord),
    /// No chord that a musician would name: its notes.
    Notes {
        set: PitchClassSet,
        bass: PitchClass,
    },
}

impl Sonority {
    /// The lowest note.
    pub fn bass(self) -> PitchClass {
        match self {
            Sonority::Note(pc) => pc,
            Sonority::Interval { low, .. } => low,
            Sonority::Chord(c) => c.bass,
            Sonority::Notes { bass, .. } => bass,
        }
    }

    /// The chord, if it is one.
    pub fn chord(self) -> Option<Chord> {
        match self {
            Sonority::Chord(c) => Some(c),
            _ => None,
        }
    }

    /// All its pitch classes, the bass included.
    pub fn set(self) -> PitchClassSet {
        match self {
            Sonority::Note(pc) => PitchClassSet::EMPTY.with(pc),
            Sonority::Interval { low, high } => PitchClassSet::EMPTY.with(low).with(high),
            Sonority::Chord(c) => c.set(),
            Sonority::Notes { set, .. } => set,
        }
    }
}

/// The kinds, in the order of the file.
#[derive(Debug)]
pub struct Kinds {
    kinds: Vec<Kind>,
    pub(super) names: Names,
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

fn member(text: &str) -> Result<Member, String> {
    let digits = text.trim_start_matches(['b', '#']);
    let number: u8 = digits
        .parse()
        .map_err(|_| format!("'{text}' is no chord member"))?;
    if !(1..=13).contains(&number) {
        return Err(format!("'{text}' is no chord member: 1 to 13"));
    }
    let marks = &text[..text.len() - digits.len()];
    let alter = marks.chars().map(|c| if c == 'b' { -1 } else { 1 }).sum();
    let degree = Degree {
        number: (number - 1) % 7 + 1,
        alter,
    };
    Ok(Member {
        number,
        semitones: degree.semitones() as u8,
        alter,
    })
}

impl Kinds {
    /// The ones embedded at build from `config/chords.toml`.
    pub fn standard() -> &'static Kinds {
        &STANDARD
    }

    /// Reads the TOML of `config/chords.toml`.
    pub fn parse(text: &str) -> Result<Kinds, String> {
        let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
        let mut kinds: Vec<Kind> = Vec::new();
        for e in file.chord {
            let members = e
                .degrees
                .split_whitespace()
                .map(member)
                .collect::<Result<Vec<_>, _>>()
                .map_err(|what| format!("chord '{}': {what}", e.symbol))?;
            let set: PitchClassSet = members
                .iter()
                .map(|m| PitchClass::new(m.semitones as i32))
                .collect();
            if set.len() != members.len() || !set.contains(PitchClass::new(0)) {
                return Err(format!(
                    "chord '{}': its members must differ and begin with 1",
                    e.symbol
                ));
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
        if kinds.is_empty() || kinds.len() > 250 {
            return Err("chords.toml holds 1 to 250 kinds".into());
        }
        let names = Names::new(&kinds);
        Ok(Kinds { kinds, names })
    }

    pub fn kind(&self, id: KindId) -> &Kind {
        &self.kinds[(id.0 as usize).min(self.kinds.len() - 1)]
    }

    /// The kinds that may be fitted to notes heard one after the other.
    pub fn iter(&self) -> impl Iterator<Item = (KindId, &Kind)> {
        self.all().filter(|(_, k)| !k.exact)
    }

    /// Every kind, those too that are named only where just their notes sound.
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

/// C/D: the bass is no member of the chord above it.
pub const FOREIGN_BASS: f32 = 0.45;

/// What a bass at `semitones` above the root adds to a reading's cost: nothing
/// for the root, a little for the third and fifth, more for the rest. Our own
/// order, after common practice (no source): the lower the figure's number of
/// sharp dissonances above the bass, the likelier the inversion.
pub fn bass_cost(kind: &Kind, semitones: usize) -> f32 {
    match kind
        .members
        .iter()
        .find(|m| m.semitones as usize == semitones)
        .map(|m| m.number)
    {
        Some(1) => 0.0,
        Some(3) => 0.2,
        Some(5) => 0.24,
        Some(7) => 0.28,
        Some(_) => 0.4,
        None => FOREIGN_BASS,
    }
}

impl Chord {
    /// All its pitch classes, the bass included.
    pub fn set(self) -> PitchClassSet {
        Kinds::standard()
            .kind(self.kind)
            .set()
            .up(self.root.index() as i32)
            .with(self.bass)
    }

    /// The member that the bass is.
    pub fn bass_member(self) -> Option<Member> {
        let above = self.bass.above(self.root);
        Kinds::standard()
            .kind(self.kind)
            .members
            .iter()
            .copied()
            .find(|m| m.semitones as usize == above)
    }

    /// Lead-sheet label with the root spelled, in the default conventions: `E♭m7/G♭`.
    pub fn label(self, root: Spelling, glyphs: Glyphs) -> String {
        Notation {
            glyphs,
            ..Notation::PLAIN
        }
        .chord(self, root)
    }

    /// The bass as a stacked third where it is a member, else as the step that
    /// the Harte label names too: D♭ under C, F♯ under C.
    pub fn spell_bass(self, root: Spelling) -> Spelling {
        let (number, semitones) = match self.bass_member() {
            Some(m) => (m.number as usize, m.semitones as usize),
            None => PLAIN[self.bass.above(self.root)].0,
        };
        let stacked = root.up((number - 1) % 7, semitones as i32);
        // Where the note only lies under the chord, no double accidental, and none
        // for a white key unless it leads to the root (C♯m/B♯).
        let near = Spelling::nearest(self.bass, f32::from(root.fifths()) + 1.0);
        let white = Spelling::nearest(self.bass, 2.0);
        match (self.bass_member(), white.accidental()) {
            (None, 0) if semitones != 11 => white,
            (None, _) if stacked.accidental().abs() > 1 => near,
            _ => stacked,
        }
    }

    /// Harte's syntax (Harte et al., ISMIR 2005): `Eb:min7/b3`.
    pub fn harte(self, root: Spelling) -> String {
        let kind = Kinds::standard().kind(self.kind);
        let mut text = root.text(Glyphs::Ascii);
        text.push(':');
        match &kind.harte {
            Some(h) => text.push_str(h),
            None => {
                let all: Vec<String> = kind
                    .members
                    .iter()
                    .map(|m| harte_degree(m.number, m.alter))
                    .collect();
                text.push_str(&format!("({})", all.join(",")));
            }
        }
        if self.bass != self.root {
            text.push('/');
            text.push_str(&match self.bass_member() {
                // A ninth in the bass is a second there.
                Some(m) if m.number > 7 => harte_degree(m.number - 7, m.alter),
                Some(m) => harte_degree(m.number, m.alter),
                None => PLAIN[self.bass.above(self.root)].1.to_owned(),
            });
        }
        text
    }
}

/// Semitones above a root as a degree, for notes that the kind does not spell:
/// number and semitones, and as Harte writes it.
const PLAIN: [((usize, usize), &str); 12] = [
    ((1, 0), "1"),
    ((2, 1), "b2"),
    ((2, 2), "2"),
    ((3, 3), "b3"),
    ((3, 4), "3"),
    ((4, 5), "4"),
    ((4, 6), "#4"),
    ((5, 7), "5"),
    ((6, 8), "b6"),
    ((6, 9), "6"),
    ((7, 10), "b7"),
    ((7, 11), "7"),
];

fn harte_degree(number: u8, alter: i8) -> String {
    let mark = if alter < 0 { "b" } else { "#" };
    format!("{}{number}", mark.repeat(alter.unsigned_abs() as usize))
}

impl Sonority {
    /// Harte's syntax for anything that sounds.
    pub fn harte(self, spell: impl Fn(PitchClass) -> Spelling) -> String {
        let degrees = |root: PitchClass, set: PitchClassSet| {
            let list: Vec<&str> = set
                .seen_from(root)
                .iter()
                .map(|pc| PLAIN[pc.index()].1)
                .collect();
            format!("{}:({})", spell(root).text(Glyphs::Ascii), list.join(","))
        };
        match self {
            Sonority::Note(pc) => format!("{}:1", spell(pc).text(Glyphs::Ascii)),
            Sonority::Interval { low, .. } => degrees(low, self.set()),
            Sonority::Notes { set, bass } => degrees(bass, set),
            Sonority::Chord(c) => c.harte(spell(c.root)),
        }
    }

    /// A few words where the label alone is bare: "one note", "cluster", "whole-tone".
    pub fn words(self) -> &'static str {
        match self {
            Sonority::Note(_) => "one note",
            Sonority::Notes { set, .. } if quartal(set).is_none() => match () {
                _ if turns(set, 2) && set.len() == 6 => "whole-tone",
                _ if turns(set, 3) && set.len() == 8 => "octatonic",
                _ if cluster(set) => "cluster",
                _ => "",
            },
            _ => "",
        }
    }

    /// The lowest of a stack of perfect fourths, where it is shown as one.
    pub fn quartal(self) -> Option<PitchClass> {
        match self {
            Sonority::Notes { set, .. } => quartal(set),
            _ => None,
        }
    }
}

/// Whether a set turns into itself `semitones` higher.
fn turns(set: PitchClassSet, semitones: i32) -> bool {
    set.up(semitones) == set
}

/// What two notes are called, by the semitones from the lower up.
pub(super) const INTERVALS: [&str; 12] = [
    "unison",
    "minor second",
    "major second",
    "minor third",
    "major third",
    "perfect fourth",
    "tritone",
    "perfect fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
];

/// The lowest of a stack of perfect fourths, if the set is one of three to five.
pub(super) fn quartal(set: PitchClassSet) -> Option<PitchClass> {
    let stack = |low: PitchClass| -> PitchClassSet {
        (0..set.len() as i32).map(|i| low.up(5 * i)).collect()
    };
    if !(3..=5).contains(&set.len()) {
        return None;
    }
    set.iter().find(|&low| stack(low) == set)
}

/// Neighbours a semitone or whole tone apart, all within a fifth.
pub(super) fn cluster(set: PitchClassSet) -> bool {
    set.iter().any(|low| {
        let above = set.seen_from(low);
        let mut last = 0;
        above.len() >= 3
            && above.iter().all(|pc| {
                let near = pc.index() - last <= 2;
                last = pc.index();
                near && pc.index() <= 7
            })
    })
}
