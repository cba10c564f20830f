//! How a command prints its result.

use super::super::failure::Failure;
use crate::console;
use clap::ValueEnum;
use serde::Serialize;
use std::process::ExitCode;

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum AnswerFormat {
    Text,
    Json,
}

/// Prints one result.
pub fn print(
    format: AnswerFormat,
    json: &impl Serialize,
    text: impl FnOnce() -> String,
) -> Result<ExitCode, Failure> {
    match format {
        AnswerFormat::Text => console::print(text())?,
        AnswerFormat::Json => console::print(serde_json::to_string_pretty(json)? + "\n")?,
    }
    Ok(ExitCode::SUCCESS)
}
