//! What ends a command before its end, and the exit code.

use crate::file::ReadError;
use crate::formats::CsvError;
use crate::lines::LinesError;
use crate::live::RecordError;
use crate::manual::MarkupError;
use crate::midi::{FileError, PortError};
use crate::plain;
use crate::settings::SettingsError;
use crate::stage::StageError;
use std::io;

/// Why a command failed. Exit code 1, but 2 for wrong usage.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// What was asked for makes no sense, and what to write instead: a finished sentence for
    /// a person; a script goes by the exit code.
    #[error("{0}")]
    Usage(String),
    /// Any other reason, likewise a finished sentence.
    #[error("{0}")]
    Failed(String),
    /// The user has been told already.
    #[error("told already")]
    Reported,
    /// A result could not be written.
    #[error("the output cannot be written: {}", plain::reason(.0))]
    Write(#[from] io::Error),
    #[error("{}", plain::reason(.0))]
    Terminal(io::Error),
    #[error(transparent)]
    Settings(#[from] SettingsError),
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Port(#[from] PortError),
    #[error(transparent)]
    Record(#[from] RecordError),
    #[error(transparent)]
    Stage(#[from] StageError),
    #[error(transparent)]
    Lines(#[from] LinesError),
    #[error(transparent)]
    Manual(#[from] MarkupError),
    #[error("the result cannot be put into JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error("the result cannot be put into CSV: {0}")]
    Csv(#[from] CsvError),
}

impl Failure {
    /// For the shell.
    pub fn exit_code(&self) -> u8 {
        match self {
            Failure::Usage(_) => 2,
            _ => 1,
        }
    }

    /// The reader of the output has closed it, as `head` does: not a failure.
    pub fn is_closed_pipe(&self) -> bool {
        let (Failure::Write(e) | Failure::Lines(LinesError::Write(e))) = self else {
            return false;
        };
        e.kind() == io::ErrorKind::BrokenPipe
    }
}
