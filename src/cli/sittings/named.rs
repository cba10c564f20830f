//! What the user types: which sitting, and names, tags and words for it.

use super::super::failure::Failure;
use crate::plain;
use crate::sittings::words;

#[derive(clap::Args)]
pub struct One {
    /// Its id, its name, a part of one that no other has; last, or last-2 for the second last.
    #[arg(value_name = "NAME")]
    pub name: String,
}

/// A name, a tag or a word without the space around it.
pub fn typed(text: &str) -> Result<&str, Failure> {
    words(text).map_err(|e| Failure::Usage(format!("{}: {e}", plain::name(text))))
}
