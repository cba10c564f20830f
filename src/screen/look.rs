//! How a picture is to be written: conventions, colours, signs.

use super::keys::Keys;
use super::palette::{Depth, Palette, Styles};
use crate::theory::{Catalogue, Glyphs, Notation, Spelling, Tonality};

/// How it is to be written.
pub(super) struct Look<'a> {
    pub notation: Notation,
    pub palette: Palette,
    pub depth: Depth,
    pub catalogue: &'a Catalogue,
    /// The keys in force, where they are named.
    pub keys: &'a Keys,
}

impl Look<'_> {
    pub fn ascii(&self) -> bool {
        self.notation.glyphs == Glyphs::Ascii
    }

    /// A tonic in the user's letters.
    pub fn center(&self, t: Tonality, tonic: Spelling) -> String {
        self.notation.center(t, tonic, self.catalogue)
    }

    pub fn styles(&self) -> &'static Styles {
        self.palette.styles(self.depth)
    }

    /// A sign, or what stands for it in ASCII.
    pub fn sign<T>(&self, unicode: T, ascii: T) -> T {
        if self.ascii() { ascii } else { unicode }
    }
}
