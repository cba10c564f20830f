//! How a picture is to be written: conventions, colours, signs.

use super::keys::KeyBindings;
use super::palette::{Depth, Palette, Styles};
use crate::theory::{Catalogue, Glyphs, Notation, SpelledTonality};

/// How it is to be written.
pub(super) struct Look<'a> {
    pub notation: Notation,
    pub palette: Palette,
    pub depth: Depth,
    pub catalogue: &'a Catalogue,
    /// The keys in force, where they are named.
    pub keys: &'a KeyBindings,
}

impl Look<'_> {
    pub fn glyphs(&self) -> Glyphs {
        self.notation.glyphs
    }

    pub fn ascii(&self) -> bool {
        self.glyphs() == Glyphs::Ascii
    }

    /// A tonic in the user's letters.
    pub fn center(&self, t: SpelledTonality) -> String {
        self.notation.center(t, self.catalogue)
    }

    pub fn styles(&self) -> &'static Styles {
        self.palette.styles(self.depth)
    }

    /// A sign, or what stands for it in ASCII.
    pub fn sign<T>(&self, unicode: T, ascii: T) -> T {
        if self.ascii() { ascii } else { unicode }
    }
}

/// How pictures are written, as far as settings and keys change it.
pub(super) struct LookSettings<'a> {
    pub catalogue: &'a Catalogue,
    pub notation: Notation,
    pub palette: Palette,
    /// How many colours, where the user says; else as many as the terminal says.
    pub depth: Option<Depth>,
    pub terminal: Depth,
    pub keys: KeyBindings,
}

impl LookSettings<'_> {
    pub fn glyphs(&self) -> Glyphs {
        self.notation.glyphs
    }

    pub fn look(&self) -> Look<'_> {
        Look {
            notation: self.notation,
            palette: self.palette,
            depth: self.depth.unwrap_or(self.terminal),
            catalogue: self.catalogue,
            keys: &self.keys,
        }
    }
}
