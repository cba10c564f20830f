//! `harmonize TONALITY`: the chords on its degrees, or two tonalities side by side.

use super::failure::Failure;
use crate::console;
use crate::formats::{
    Words, beside_csv, beside_json, beside_text, scale_csv, scale_json, scale_text,
};
use crate::plain;
use crate::settings::Settings;
use crate::theory::{Beside, Enharmonic, Harmonized, Notation};
use clap::ValueEnum;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// A tonic and a mode or scale: E♭ mixolydian, F# minor, Bb melodic minor.
    #[arg(required_unless_present = "beside", value_name = "TONALITY")]
    tonality: Vec<String>,
    /// Set another tonality beside it and mark what changes.
    #[arg(long, num_args = 1.., value_name = "TONALITY")]
    beside: Option<Vec<String>>,
    /// How to print: a table, one JSON object, or comma-separated values.
    #[arg(long, value_enum, default_value_t = TableFormat::Text)]
    format: TableFormat,
}

/// How a scale or the catalogue is printed.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum TableFormat {
    Text,
    Json,
    Csv,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let catalogue = &*settings.catalogue;
    let letters = settings.notation.letters;
    let parse = |text: &str| catalogue.parse_tonality_in(text, letters);
    let read = |words: &[String]| match parse(&words.join(" ")) {
        Ok(t) => Ok(Harmonized::new(t, catalogue)),
        Err(e) => Err(Failure::Usage(e.to_string())),
    };
    let (mut tonality, mut beside) = (&args.tonality[..], args.beside.as_deref());
    if let (true, Some([first, rest @ ..])) = (tonality.is_empty(), beside) {
        // The option came first and, as both are in quotation marks, has taken the two.
        if rest.is_empty() || parse(first).is_err() {
            return Err(Failure::Usage(
                "--beside needs a tonality to set it beside: write that first, such as \
                 peregrinus harmonize \"D dorian\" --beside \"D aeolian\""
                    .into(),
            ));
        }
        (tonality, beside) = (rest, Some(std::slice::from_ref(first)));
    }
    let (scale, beside) = (read(tonality)?, beside.map(read).transpose()?);
    let w = Words {
        catalogue,
        notation: &as_written(settings),
    };
    let text = match beside {
        None => match args.format {
            TableFormat::Text => scale_text(&w, &scale),
            TableFormat::Json => scale_json(&w, &scale)? + "\n",
            TableFormat::Csv => scale_csv(&w, &scale)?,
        },
        Some(other) => {
            let both = Beside::new(scale, other, catalogue, w.notation);
            match args.format {
                TableFormat::Text => beside_text(&w, &both),
                TableFormat::Json => beside_json(&w, &both)? + "\n",
                TableFormat::Csv => beside_csv(&w, &both)?,
            }
        }
    };
    print(args.format, &text)
}

/// The user's conventions, but the tonic is the one that was asked for: F♯, not G♭.
pub fn as_written(settings: &Settings) -> Notation {
    Notation {
        enharmonic: Enharmonic::Nearest,
        ..settings.notation
    }
}

/// Prints a result; as text it is for people, and no name in it may command the terminal.
pub fn print(format: TableFormat, text: &str) -> Result<ExitCode, Failure> {
    match format {
        TableFormat::Text => console::print(plain::lines(text).as_bytes())?,
        TableFormat::Json | TableFormat::Csv => console::print(text)?,
    }
    Ok(ExitCode::SUCCESS)
}
