//! What is wrong with the user's files.

use crate::engine::ModelError;
use crate::file::ReadError;
use crate::meter::NoMeter;
use crate::midi::{Keyboard, Trigger, TriggerError};
use crate::plain;
use crate::screen::{Clash, KeyError, Panel};
use crate::theory::CatalogueError;

/// What is wrong, and where.
#[derive(Debug)]
pub struct Fault {
    /// Line and column, both from 1, where it is at a place of the text.
    pub place: Option<(usize, usize)>,
    pub kind: FaultKind,
}

/// What is wrong. Names of values are full, such as `screen.palette`.
#[derive(Debug, thiserror::Error)]
pub enum FaultKind {
    /// The file, or one that it names, cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The weights that it names are none.
    #[error(transparent)]
    Weights(#[from] ModelError),
    /// The user's own modes.
    #[error("{}", .0.to_string().trim_end())]
    Modes(#[from] CatalogueError),
    /// Not TOML, in the parser's words.
    #[error("{0}; a line is written as name = value, with \"quotation marks\" around words")]
    NotToml(String),
    #[error("there is no table [{written}]; {}", instead(*.nearest, .tables, |n| format!("[{n}]")))]
    UnknownTable {
        written: String,
        nearest: Option<&'static str>,
        tables: Vec<&'static str>,
    },
    #[error("[{table}] has no '{written}'; {}", instead(*.nearest, .names, quoted))]
    UnknownName {
        table: &'static str,
        written: String,
        nearest: Option<&'static str>,
        names: Vec<&'static str>,
    },
    /// `is`: the value that stands for the table, in words.
    #[error("{name} is {is}; it must be a table: write [{name}] in a line of its own")]
    NotATable { name: &'static str, is: String },
    /// A value of another type, in words, as that which is wanted.
    #[error("{name} is {is}; it must be {wanted}")]
    Type {
        name: String,
        is: String,
        wanted: &'static str,
    },
    /// A list that holds something else than texts.
    #[error("{name} holds something else than texts; it must be {wanted}")]
    NotTexts { name: String, wanted: &'static str },
    #[error(
        "{name} is '{written}'{} must be {}",
        .nearest.map_or("; it".into(), |near| format!("; did you mean '{near}'? It")),
        one_of(.choices, quoted)
    )]
    NoChoice {
        name: String,
        written: String,
        nearest: Option<&'static str>,
        choices: Vec<&'static str>,
    },
    #[error("keyboard.port names {0} keyboards; at most {most} play together", most = Keyboard::COUNT)]
    Ports(usize),
    #[error("keyboard.transpose is {0}; it must lie between -48 and 48")]
    Transpose(i64),
    #[error("sittings.rest is {0}; it must lie between 10 and 86400 seconds")]
    Rest(i64),
    #[error("sittings.forget_after is {0}; it must lie between 0 (never) and 36500 days")]
    ForgetAfter(i64),
    #[error("click.tempo is {0}; it must lie between 20 and 300 beats a minute, or be 0 for none")]
    Tempo(i64),
    #[error("click.meter is '{0}'; {NoMeter}")]
    Meter(String),
    #[error("keyboard.channels holds {0}; channels are numbered 1 to 16")]
    Channel(i64),
    #[error(
        "screen.panels: '{written}' is no panel; {}It may be {}",
        .nearest.map_or(String::new(), |near| format!("did you mean '{near}'? ")),
        Panel::ALL.map(Panel::name).join(", ")
    )]
    NoPanel {
        written: String,
        nearest: Option<&'static str>,
    },
    #[error("{name}: {why}")]
    NoKey { name: String, why: KeyError },
    #[error("keys: {0}")]
    Clash(Clash),
    #[error("{name}: {why}")]
    NoTrigger { name: String, why: TriggerError },
    #[error(
        "jobs: '{trigger}' has two jobs, {} and {}: give one of them another controller or key",
        actions[0], actions[1]
    )]
    TwoJobs {
        trigger: Trigger,
        actions: [&'static str; 2],
    },
}

/// What to write instead of a name that is not known.
fn instead(
    nearest: Option<&str>,
    names: &[&'static str],
    shown: impl Fn(&str) -> String,
) -> String {
    match nearest {
        Some(near) => format!("did you mean {}?", shown(near)),
        None => format!("it must be {}", one_of(names, shown)),
    }
}

fn one_of(names: &[&'static str], shown: impl Fn(&str) -> String) -> String {
    let names: Vec<String> = names.iter().map(|name| shown(name)).collect();
    plain::list(&names, "or")
}

fn quoted(name: &str) -> String {
    format!("'{name}'")
}
