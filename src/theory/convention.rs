//! The ways to write the same thing, of which the user chooses: letters, the marks of a
//! chord's quality, numerals. [`Notation`] holds the choice, and is passed to all that makes text.
//!
//! All of it common practice (no source); the German names and the syllables from memory.

use super::spelling::{Glyphs, NotANote, Spelling, accidentals};

/// What notes are called.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Letters {
    /// A B C D E F G, B♭.
    #[default]
    English,
    /// H for B, B for B♭, Cis, Es, As.
    German,
    /// Do Re Mi Fa Sol La Si for C to B, whatever the tonality, with ♭ and ♯.
    FixedDo,
    /// Notes inside a tonality as syllables above its tonic, do = 1 in every mode
    /// (re in Dorian is 2, me its third), raised di ri fi si li, lowered ra me se
    /// le te. Chords and tonalities keep their English letters.
    MovableDo,
}

/// The mark of a minor third: `Cm7`, `Cmin7`, `C−7`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MinorMark {
    #[default]
    M,
    Min,
    Dash,
}

/// The mark of a major seventh: `Cmaj7`, `CΔ7`, `CM7`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MajorSeventh {
    #[default]
    Maj,
    /// In ASCII `maj`.
    Delta,
    M,
}

/// The half-diminished seventh: `Cm7♭5`, `Cø7`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HalfDiminished {
    #[default]
    FlatFive,
    /// In ASCII `m7b5`.
    Slashed,
}

/// The diminished chord: `C°7`, `Cdim7`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DiminishedMark {
    /// In ASCII `dim`.
    #[default]
    Ring,
    Dim,
}

/// The augmented triad: `Caug`, `C+`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AugmentedMark {
    #[default]
    Aug,
    Plus,
}

/// Notes outside a tonality, or without one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Accidentals {
    /// By their degree, or as members of the chord.
    #[default]
    ByContext,
    Flats,
    Sharps,
}

/// Which of two enharmonic spellings a tonality has that needs as many accidentals
/// either way: G♭ or F♯ major.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Enharmonic {
    /// The one nearest to the center before; flats at the beginning.
    #[default]
    Nearest,
    Flats,
    Sharps,
}

/// Which scale a numeral's accidentals are counted from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NumeralBasis {
    /// The major scale on the same center: ♭VII in Dorian.
    #[default]
    MajorScale,
    /// The degrees of the mode itself: VII in Dorian.
    Mode,
}

/// How a numeral tells the quality of its chord.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NumeralCase {
    /// Capital for a major third, small for a minor one, with figures: `ii65`.
    #[default]
    Textbook,
    /// All capitals, with the lead sheet's suffix, as in jazz: `IIm7`.
    Capitals,
}

/// How a six-four before the dominant is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Cadential {
    /// By its notes: `I64`.
    #[default]
    Tonic,
    /// By its function: `V64`.
    Dominant,
}

/// How the marks of a chord's quality are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ChordMarks {
    pub minor: MinorMark,
    pub major_seventh: MajorSeventh,
    pub half_diminished: HalfDiminished,
    pub diminished: DiminishedMark,
    pub augmented: AugmentedMark,
}

impl ChordMarks {
    /// The defaults.
    pub const PLAIN: ChordMarks = ChordMarks {
        minor: MinorMark::M,
        major_seventh: MajorSeventh::Maj,
        half_diminished: HalfDiminished::FlatFive,
        diminished: DiminishedMark::Ring,
        augmented: AugmentedMark::Aug,
    };

    /// A symbol of `config/chords.toml` in these marks: `m7b5` to `ø7`.
    pub fn suffix(&self, symbol: &str, glyphs: Glyphs) -> String {
        let ascii = glyphs == Glyphs::Ascii;
        let minor = match self.minor {
            MinorMark::M => "m",
            MinorMark::Min => "min",
            MinorMark::Dash if ascii => "-",
            MinorMark::Dash => "−",
        };
        let seventh = match self.major_seventh {
            MajorSeventh::Delta if !ascii => "Δ",
            MajorSeventh::M => "M",
            _ => "maj",
        };
        let slashed = self.half_diminished == HalfDiminished::Slashed && !ascii;
        let ring = self.diminished == DiminishedMark::Ring && !ascii;
        let (mark, rest) = if let Some(rest) = symbol.strip_prefix("m7b5").filter(|_| slashed) {
            ("ø7", rest)
        } else if let Some(rest) = symbol.strip_prefix("m11b5").filter(|_| slashed) {
            ("ø11", rest)
        } else if symbol.starts_with("maj") {
            ("", symbol)
        } else if let Some(rest) = symbol.strip_prefix('m') {
            (minor, rest)
        } else if let Some(rest) = symbol.strip_prefix("dim") {
            (if ring { "°" } else { "dim" }, rest)
        } else if let Some(rest) = symbol.strip_prefix("aug") {
            let plus = self.augmented == AugmentedMark::Plus;
            (if plus { "+" } else { "aug" }, rest)
        } else {
            ("", symbol)
        };
        let rest = rest.replace("maj", seventh);
        let mut text = String::from(mark);
        let chars: Vec<char> = rest.chars().collect();
        text.extend(chars.iter().enumerate().map(|(i, &c)| match c {
            _ if ascii => c,
            // A b before a figure is an accidental.
            'b' if chars.get(i + 1).is_some_and(char::is_ascii_digit) => '♭',
            '#' => '♯',
            c => c,
        }));
        text
    }
}

const FIXED_DO: [&str; 7] = ["Do", "Re", "Mi", "Fa", "Sol", "La", "Si"];
const GERMAN: [&str; 7] = ["C", "D", "E", "F", "G", "A", "H"];

impl Letters {
    /// A note's name outside any tonality: `E♭`, `Es`, `Mi♭`. Double sharps are `Fx`,
    /// `Fisis`, `Fa♯♯`: an x behind a syllable would be a letter of it.
    pub fn name(self, note: Spelling, glyphs: Glyphs) -> String {
        let (letter, sharps) = (note.letter(), note.accidental());
        match self {
            Letters::English | Letters::MovableDo => note.text(glyphs),
            Letters::FixedDo => FIXED_DO[letter].to_owned() + &accidentals(sharps, glyphs),
            Letters::German => {
                let stem = GERMAN[letter];
                let times = sharps.unsigned_abs() as usize;
                match (stem, sharps) {
                    ("H", -1) => "B".to_owned(),
                    ("E", ..0) => format!("Es{}", "es".repeat(times - 1)),
                    ("A", ..0) => format!("As{}", "as".repeat(times - 1)),
                    (_, ..0) => stem.to_owned() + &"es".repeat(times),
                    (_, _) => stem.to_owned() + &"is".repeat(times),
                }
            }
        }
    }

    /// Reads what [`Letters::name`] writes, in either glyphs; the first letter may be small.
    pub fn read(self, text: &str) -> Result<Spelling, NotANote> {
        let mut plain = String::new();
        for (i, c) in text.chars().enumerate() {
            match c {
                '♭' => plain.push('b'),
                '♯' => plain.push('#'),
                '𝄪' | 'x' => plain.push_str("##"),
                '𝄫' => plain.push_str("bb"),
                c if i == 0 => plain.push(c.to_ascii_uppercase()),
                c => plain.push(c),
            }
        }
        (-22..=26)
            .map(Spelling::at)
            .find(|&s| self.name(s, Glyphs::Ascii) == plain)
            .ok_or_else(|| NotANote(text.to_owned()))
    }

    /// Reads a note as the user may write it: in these letters, or else in English ones.
    /// In German B is B♭.
    pub fn understand(self, text: &str) -> Result<Spelling, NotANote> {
        match self {
            Letters::German | Letters::FixedDo => self.read(text).or_else(|_| text.parse()),
            Letters::English | Letters::MovableDo => text.parse(),
        }
    }
}

/// Natural, raised and lowered syllables of the seven degrees of the major scale;
/// where there is no syllable, an accidental is added to the natural one.
const SYLLABLES: [[&str; 3]; 7] = [
    ["do", "di", ""],
    ["re", "ri", "ra"],
    ["mi", "", "me"],
    ["fa", "fi", ""],
    ["sol", "si", "se"],
    ["la", "li", "le"],
    ["ti", "", "te"],
];

/// A note above a tonic, in movable do: `me` for the minor third.
pub fn syllable(note: Spelling, tonic: Spelling, glyphs: Glyphs) -> String {
    // As the note would stand above C.
    let above = Spelling::at(note.fifths().saturating_sub(tonic.fifths()));
    let names = SYLLABLES[above.letter()];
    let own = match above.accidental() {
        0 => names[0],
        1 => names[1],
        -1 => names[2],
        _ => "",
    };
    if own.is_empty() {
        names[0].to_owned() + &accidentals(above.accidental(), glyphs)
    } else {
        own.to_owned()
    }
}

/// What the Ionian mode is called.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum IonianName {
    /// By the name that it has among the modes.
    #[default]
    Ionian,
    /// `major`.
    Major,
}

/// The user's conventions. They change how a thing is written, never what it is:
/// the Harte labels do not depend on them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notation {
    pub glyphs: Glyphs,
    pub numeral_basis: NumeralBasis,
    pub ionian: IonianName,
    pub letters: Letters,
    pub marks: ChordMarks,
    pub accidentals: Accidentals,
    pub enharmonic: Enharmonic,
    pub case: NumeralCase,
    pub cadential: Cadential,
}

impl Notation {
    /// The defaults, where a constant is needed.
    pub const PLAIN: Notation = Notation {
        glyphs: Glyphs::Unicode,
        numeral_basis: NumeralBasis::MajorScale,
        ionian: IonianName::Ionian,
        letters: Letters::English,
        marks: ChordMarks::PLAIN,
        accidentals: Accidentals::ByContext,
        enharmonic: Enharmonic::Nearest,
        case: NumeralCase::Textbook,
        cadential: Cadential::Tonic,
    };

    /// A note's name where no tonality matters, a chord's root, a tonic: `E♭`, `Es`.
    pub fn name(&self, note: Spelling) -> String {
        self.letters.name(note, self.glyphs)
    }

    /// The name of a note that is spelled as a degree of `tonic`.
    pub fn above(&self, note: Spelling, tonic: Spelling) -> String {
        match self.letters {
            Letters::MovableDo => syllable(note, tonic, self.glyphs),
            _ => self.name(note),
        }
    }

    /// The English name of the note that do is, in a tonality on `tonic`; `None` where notes
    /// are called by letters.
    pub fn which_do(&self, tonic: Spelling) -> Option<String> {
        match self.letters {
            Letters::MovableDo => Some(tonic.text(self.glyphs)),
            Letters::FixedDo => Some(Spelling::C.text(self.glyphs)),
            Letters::English | Letters::German => None,
        }
    }
}
