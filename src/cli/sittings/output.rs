//! How a command prints its result.

use super::super::failure::Failure;
use crate::console;
use clap::ValueEnum;
use serde::Serialize;
use std::process::ExitCode;

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    Json,
}

/// Prints one result.
pub fn print(
    format: Format,
    json: &impl Serialize,
    text: impl FnOnce() -> String,
) -> Result<ExitCode, Failure> {
    match format {
        Format::Text => console::print(text())?,
        Format::Json => console::print(serde_json::to_string_pretty(json)? + "\n")?,
    }
    Ok(ExitCode::SUCCESS)
}
