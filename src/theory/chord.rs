//! Chords: the kinds that are known, and the name of a set of notes.

use super::mode::Degree;
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
    harte: Option<String>,
    set: PitchClassSet,
    core: PitchClassSet,
}

impl Kind {
    /// The members without which it may not be named: all but the fifth.
    pub fn core(&self) -> PitchClassSet {
        self.core
    }

    /// Semitones above the root.
    pub fn set(&self) -> PitchClassSet {
        self.set
    }

    fn has(&self, semitones: i32) -> bool {
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

/// The triad at the bottom of a chord.
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
            let core = members
                .iter()
                .filter(|m| m.number != 5)
                .map(|m| PitchClass::new(m.semitones as i32))
                .collect();
            kinds.push(Kind {
                symbol: e.symbol,
                members,
                cost: e.cost,
                harte: e.harte,
                set,
                core,
            });
        }
        if kinds.is_empty() || kinds.len() > 250 {
            return Err("chords.toml holds 1 to 250 kinds".into());
        }
        Ok(Kinds { kinds })
    }

    pub fn kind(&self, id: KindId) -> &Kind {
        &self.kinds[(id.0 as usize).min(self.kinds.len() - 1)]
    }

    pub fn iter(&self) -> impl Iterator<Item = (KindId, &Kind)> {
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
        self.iter()
            .find(|(_, k)| k.symbol == symbol)
            .map(|(i, _)| i)
    }

    /// Names a set of notes above its lowest.
    ///
    /// Of several readings the least far-fetched wins: the kind's own cost, and
    /// what the bass adds (see [`bass_cost`]). `home` are the notes of the
    /// tonality in force: a root outside it costs a little.
    pub fn name(&self, set: PitchClassSet, bass: PitchClass, home: PitchClassSet) -> Sonority {
        let set = set.with(bass);
        match set.len() {
            1 => return Sonority::Note(bass),
            2 => {
                let high = set.without(bass).iter().next().unwrap_or(bass);
                return Sonority::Interval { low: bass, high };
            }
            _ => {}
        }
        let mut best: Option<(f32, Chord)> = None;
        let mut consider = |cost: f32, root: PitchClass, kind: KindId| {
            let outside = if home.contains(root) { 0.0 } else { 0.05 };
            let cost = cost + outside;
            // Equal costs may differ in their last bit: the root nearest above the bass stays.
            if best.is_none_or(|(c, _)| cost < c - 1e-4) {
                best = Some((cost, Chord { root, kind, bass }));
            }
        };
        // From the bass upwards, so that ties fall alike in every transposition.
        for root in (0..12).map(|n| bass.up(n)).filter(|&r| set.contains(r)) {
            let above = set.seen_from(root);
            let upper = set.without(bass).seen_from(root);
            for (id, kind) in self.iter() {
                if kind.set == above {
                    consider(kind.cost + bass_cost(kind, bass.above(root)), root, id);
                } else if kind.set == upper
                    && root != bass
                    && kind.members.len() <= 4
                    && kind.cost < 0.3
                {
                    // A plain chord over a bass of its own.
                    consider(kind.cost + FOREIGN_BASS, root, id);
                }
            }
        }
        if quartal(set) == Some(bass) && best.is_none_or(|(cost, _)| cost > QUARTAL) {
            return Sonority::Notes { set, bass };
        }
        match best {
            Some((cost, chord)) if cost < FAR_FETCHED => Sonority::Chord(chord),
            _ => Sonority::Notes { set, bass },
        }
    }
}

/// A reading that costs more is no name but a riddle.
const FAR_FETCHED: f32 = 1.0;
/// A stack of fourths from the bass up is called that before it is called an inversion.
const QUARTAL: f32 = 0.3;
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

    /// Lead-sheet label with the root spelled: `E♭m7/G♭`.
    pub fn label(self, root: Spelling, glyphs: Glyphs) -> String {
        let symbol = &Kinds::standard().kind(self.kind).symbol;
        let mut text = root.text(glyphs);
        text.push_str(&match glyphs {
            Glyphs::Unicode => pretty(symbol),
            Glyphs::Ascii => symbol.clone(),
        });
        if self.bass != self.root {
            text.push('/');
            text.push_str(&self.spell_bass(root).text(glyphs));
        }
        text
    }

    /// The bass as a stacked third where it is a member, else near the root.
    pub fn spell_bass(self, root: Spelling) -> Spelling {
        match self.bass_member() {
            Some(m) => root.up((m.number as usize - 1) % 7, m.semitones as i32),
            None => Spelling::nearest(self.bass, root.fifths() as f32 + 1.0),
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
                None => PLAIN[self.bass.above(self.root)].to_owned(),
            });
        }
        text
    }
}

/// Semitones above a root as a degree, for notes that the kind does not spell.
const PLAIN: [&str; 12] = [
    "1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7",
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
                .map(|pc| PLAIN[pc.index()])
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

    /// As shown: a chord's label, an interval's name, a note, or the notes.
    pub fn label(self, spell: impl Fn(PitchClass) -> Spelling, glyphs: Glyphs) -> String {
        match self {
            Sonority::Note(pc) => spell(pc).text(glyphs),
            Sonority::Interval { low, high } => {
                format!("{}–{}", spell(low).text(glyphs), spell(high).text(glyphs))
                    .replace('–', if glyphs == Glyphs::Ascii { "-" } else { "–" })
            }
            Sonority::Chord(c) => c.label(spell(c.root), glyphs),
            Sonority::Notes { set, bass } => {
                if let Some(low) = quartal(set) {
                    return format!("quartal on {}", spell(low).text(glyphs));
                }
                let up = (0..12).map(|i| bass.up(i)).filter(|&pc| set.contains(pc));
                up.map(|pc| spell(pc).text(glyphs))
                    .collect::<Vec<_>>()
                    .join(" ")
            }
        }
    }

    /// A few words where the label alone is bare: "major third", "cluster".
    pub fn words(self) -> &'static str {
        match self {
            Sonority::Interval { low, high } => INTERVALS[high.above(low)],
            Sonority::Notes { set, .. } if quartal(set).is_none() && cluster(set) => "cluster",
            _ => "",
        }
    }
}

const INTERVALS: [&str; 12] = [
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
fn quartal(set: PitchClassSet) -> Option<PitchClass> {
    let stack = |low: PitchClass| -> PitchClassSet {
        (0..set.len() as i32).map(|i| low.up(5 * i)).collect()
    };
    if !(3..=5).contains(&set.len()) {
        return None;
    }
    set.iter().find(|&low| stack(low) == set)
}

/// Neighbours a semitone or whole tone apart, all within a fifth.
fn cluster(set: PitchClassSet) -> bool {
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

/// `m7b5` with the proper accidentals.
fn pretty(symbol: &str) -> String {
    let chars: Vec<char> = symbol.replace("dim", "°").chars().collect();
    chars
        .iter()
        .enumerate()
        .map(|(i, &c)| match c {
            // A b before a figure is an accidental.
            'b' if chars.get(i + 1).is_some_and(char::is_ascii_digit) => '♭',
            '#' => '♯',
            c => c,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(keys: &[i32]) -> String {
        let set = keys.iter().map(|&k| PitchClass::new(k)).collect();
        let home = PitchClassSet::from_mask(2741);
        Kinds::standard()
            .name(set, PitchClass::new(keys[0]), home)
            .label(|pc| Spelling::nearest(pc, 1.5), Glyphs::Unicode)
    }

    #[test]
    fn the_bass_decides_between_equal_sets() {
        assert_eq!(name(&[0, 4, 7, 9]), "C6");
        assert_eq!(name(&[9, 0, 4, 7]), "Am7");
        assert_eq!(name(&[5, 8, 0, 2]), "Fm6");
        assert_eq!(name(&[2, 5, 8, 0]), "Dm7♭5");
        assert_eq!(name(&[0, 2, 7]), "Csus2");
        assert_eq!(name(&[7, 0, 2]), "Gsus4");
        assert_eq!(name(&[4, 7, 0]), "C/E");
        assert_eq!(name(&[7, 0, 2, 5]), "G7sus4");
        assert_eq!(name(&[2, 0, 4, 7]), "C/D");
    }

    #[test]
    fn what_is_no_chord_is_shown_as_it_is() {
        assert_eq!(name(&[2, 7, 0, 5]), "quartal on D");
        assert_eq!(name(&[0, 1, 2]), "C C♯ D");
        assert_eq!(name(&[0, 4]), "C–E");
        assert_eq!(name(&[11]), "B");
    }
}
