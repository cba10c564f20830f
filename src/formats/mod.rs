//! Studies to open formats, one file a format. They make bytes; writing them to
//! files is the caller's affair.

mod change;
mod json;
mod readings;
mod text;
mod voicing;

pub use json::analysis as analysis_json;
pub use text::analysis as analysis_text;
pub use voicing::list as voicings_text;

use crate::midi::Fault;
use crate::study::Study;
use crate::theory::{Catalogue, Notation};

/// A studied file and how it is to be written.
pub struct Analysis<'a> {
    pub file: &'a str,
    pub study: &'a Study,
    /// What could not be read of the file.
    pub faults: &'a [Fault],
    pub catalogue: &'a Catalogue,
    pub notation: &'a Notation,
}
