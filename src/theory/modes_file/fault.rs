//! What is wrong with a file of modes, in words.

use crate::plain;
use crate::theory::degree::NotADegree;

/// Maximum number of characters of a name, an id or a family's name: what still fits on the
/// screen.
pub(super) const MAX_NAME: usize = 40;

/// What other programs know: major and minor, and the seven diatonic modes.
pub(super) const SCORED_AS: [&str; 9] = [
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

/// What errors show: all that a mode needs.
const WHOLE: &str = "A whole mode is:\n\n\
     [[mode]]\nname = \"Double harmonic\"\ndegrees = \"1 b2 3 4 5 b6 7\"\n";

/// What is wrong with a list of modes, and where. Each shows a whole mode.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CatalogueError {
    /// Not TOML, or TOML with something else than modes in it.
    #[error("line {line}: {fault}. {WHOLE}")]
    File { line: usize, fault: FileFault },
    #[error("there is no mode in it. {WHOLE}")]
    Empty,
    #[error(
        "it holds {own} {what}: with the {ours} that are there already that is more than {most}"
    )]
    TooMany {
        /// `modes` or `scales`.
        what: &'static str,
        own: usize,
        ours: usize,
        most: usize,
    },
    #[error("line {line}: {mode}: {fault}. {WHOLE}")]
    Mode {
        /// Where the fault stands, from 1: the value, or the table that lacks it.
        line: usize,
        /// What the mode is called there.
        mode: String,
        fault: ModeFault,
    },
}

/// What is wrong with a file before any of its modes is looked at.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileFault {
    /// `why` is in the words of the reader of TOML.
    #[error(
        "this cannot be read: write name = value in a line of its own, with \"quotation marks\" \
         around words ({why})"
    )]
    NotToml { why: String },
    #[error("this is no mode: {}", brackets("mode"))]
    NotAMode,
    /// `word`: `mode` or `scale`.
    #[error("{}", brackets(.word))]
    Brackets { word: &'static str },
    #[error("{name} is not known here: {}", brackets("mode"))]
    NotKnown { name: String },
    #[error("{name} stands above the first mode: {}", brackets("mode"))]
    AboveTheFirst { name: String },
}

fn brackets(word: &str) -> String {
    format!("write [[{word}]], with two brackets on either side, above each {word}")
}

/// What is wrong with a mode.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ModeFault {
    #[error("it has no name")]
    NoName,
    #[error("it has no degrees")]
    NoDegrees,
    #[error(transparent)]
    NotADegree(#[from] NotADegree),
    #[error("its degrees must begin with 1, the note that is home")]
    NotFromOne,
    #[error("it has {0} degrees; a mode has at least five")]
    TooFew(usize),
    #[error("its degrees {0} and {1} are the same key of the piano: leave one of them out")]
    SameKey(String, String),
    #[error("{0} is characteristic, but is none of its degrees")]
    NotItsOwn(String),
    #[error("{0} is passing, but is none of its degrees above the first")]
    NotPassing(String),
    #[error("a scale has no weight, as no music is ever taken for one: leave it out")]
    ScaleWeight,
    #[error("its {what} is {text}: that is the mode {owner} already; choose another")]
    Taken {
        what: &'static str,
        text: String,
        owner: String,
    },
    #[error("its {0} is empty")]
    EmptyText(&'static str),
    #[error("its {0} holds a character that cannot be shown: write letters, figures and signs")]
    ControlCharacter(&'static str),
    #[error("its {0} has more than {MAX_NAME} characters")]
    TooLong(&'static str),
    #[error("its name has no letter or figure")]
    NoLetter,
    #[error(
        "its id is {0}: write small letters a to z, figures, _ and - only, or leave the id out"
    )]
    BadId(String),
    #[error(
        "no id can be made of its name, which has no letter a to z: give it one, such as id = \"own\""
    )]
    NoId,
    #[error("its weight must be greater than 0, and at most 1000")]
    Weight,
    #[error("its {key} must be {wanted}, such as {key} = {example}")]
    Type {
        key: &'static str,
        wanted: &'static str,
        example: &'static str,
    },
    #[error("a mode has no {key}: {help}")]
    NoSuchKey { key: String, help: String },
    #[error("scored_as is {0}; it must be one of {all}", all = SCORED_AS.join(", "))]
    ScoredAs(String),
}

/// A text of the user's for a message: cut where it is long, and without what a terminal
/// would take for a command.
pub(super) fn quoted(text: &str) -> String {
    let shown: String = text.chars().take(MAX_NAME).collect();
    let cut = if shown.len() < text.len() { "…" } else { "" };
    format!("'{}{cut}'", plain::name(&shown))
}
