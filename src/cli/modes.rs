//! `modes [NAME]`: the catalogue, or one mode with its chords.

use super::failure::Failure;
use super::harmonize::{TableFormat, as_written, print};
use crate::formats::{
    Words, catalogue_csv, catalogue_json, catalogue_text, mode_json, mode_text, scale_csv,
};
use crate::settings::Settings;
use crate::theory::{Harmonized, SpelledTonality, Tonality};
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// One mode or scale in detail: dorian, bebop dominant. Without it all of them.
    #[arg(value_name = "NAME")]
    name: Vec<String>,
    /// The note that they stand on.
    #[arg(long, default_value = "C", value_name = "TONIC")]
    on: String,
    /// How to print: a table, one JSON object, or comma-separated values.
    #[arg(long, value_enum, default_value_t = TableFormat::Text)]
    format: TableFormat,
}

pub fn run(args: Args, settings: &Settings) -> Result<ExitCode, Failure> {
    let catalogue = &*settings.catalogue;
    let w = Words {
        catalogue,
        notation: &as_written(settings),
    };
    let letters = settings.notation.letters;
    let tonic = match letters.understand(args.on.trim()) {
        Ok(tonic) => tonic,
        Err(e) => return Err(Failure::Usage(format!("--on: {e}"))),
    };
    let name = args.name.join(" ");
    if args.name.is_empty() {
        let text = match args.format {
            TableFormat::Text => catalogue_text(&w, tonic),
            TableFormat::Json => catalogue_json(&w, tonic)? + "\n",
            TableFormat::Csv => catalogue_csv(&w, tonic)?,
        };
        return print(args.format, &text);
    }
    let mode = match catalogue.parse_mode(&name) {
        Ok(mode) => mode,
        Err(e) => {
            return Err(Failure::Usage(
                match catalogue.parse_tonality_in(&name, letters) {
                    Ok(t) => format!(
                        "'{name}' is a tonality, not a mode: write peregrinus modes {} --on {}",
                        catalogue.mode(t.tonality.mode).id,
                        t.tonic
                    ),
                    Err(_) => e.to_string(),
                },
            ));
        }
    };
    let t = SpelledTonality {
        tonality: Tonality {
            center: tonic.pitch_class(),
            mode,
        },
        tonic,
    };
    let text = match args.format {
        TableFormat::Text => mode_text(&w, t),
        TableFormat::Json => mode_json(&w, t)? + "\n",
        TableFormat::Csv => {
            let scale = Harmonized::new(t, catalogue);
            scale_csv(&w, &scale)?
        }
    };
    print(args.format, &text)
}
