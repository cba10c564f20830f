//! Studies, scales and the catalogue to open formats, one file a format. They make
//! bytes; writing them to files is the caller's affair.

mod catalogue;
mod catalogue_text;
mod change;
mod json;
mod labels;
mod readings;
mod roman_text;
mod scale;
mod scale_text;
#[cfg(test)]
mod tests;
mod text;
mod voicing;

pub use catalogue::{csv as catalogue_csv, json as catalogue_json, mode_json};
pub use catalogue_text::{mode_text, text as catalogue_text};
pub use json::{JsonLayout, analysis as analysis_json};
pub use labels::line as labels_line;
pub use roman_text::document as roman_text;
pub use scale::{CsvError, beside_csv, beside_json, csv as scale_csv, json as scale_json};
pub use scale_text::{beside_text, text as scale_text};
pub use text::analysis as analysis_text;
pub use voicing::{VoicingOut, list as voicings_text, written as voicing_out};

use crate::midi::Faults;
use crate::study::{ByPlan, Study};
use crate::theory::{Catalogue, Notation};

/// A studied file and how it is to be written.
pub struct Analysis<'a> {
    pub file: &'a str,
    pub study: &'a Study,
    /// The one plan that all is read by; none: as heard and in hindsight, side by side.
    pub by: Option<&'a ByPlan>,
    /// What could not be read of the file.
    pub faults: &'a Faults,
    pub catalogue: &'a Catalogue,
    pub notation: &'a Notation,
}

/// The modes that are known and how things are to be written.
#[derive(Clone, Copy)]
pub struct Words<'a> {
    pub catalogue: &'a Catalogue,
    pub notation: &'a Notation,
}
