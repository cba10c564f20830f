//! The top line and the rest in different modes, in words.

use crate::engine::Polymodal;
use crate::screen::look::Look;

/// `top line Lydian, the rest Ionian`: both on the center here.
pub(in crate::screen) fn polymodal_words(polymodal: Polymodal, look: &Look) -> String {
    let mode = |t| look.notation.mode(t, look.catalogue);
    format!(
        "top line {}, the rest {}",
        mode(polymodal.top),
        mode(polymodal.rest)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::keys::KeyBindings;
    use crate::screen::{Depth, Palette};
    use crate::theory::{Catalogue, Glyphs, IonianName, Notation};

    #[test]
    fn the_modes_are_named_as_the_user_wants_them() {
        let catalogue = Catalogue::standard();
        let t = |name: &str| catalogue.parse_tonality(name).unwrap().tonality;
        let polymodal = Polymodal {
            top: t("C lydian_dominant"),
            rest: t("C ionian"),
        };
        let keys = KeyBindings::default();
        let said = |notation| {
            let look = Look {
                notation,
                palette: Palette::Dark,
                depth: Depth::default(),
                catalogue,
                keys: &keys,
            };
            polymodal_words(polymodal, &look)
        };
        let plain = Notation::default();
        assert_eq!(said(plain), "top line Lydian dominant, the rest Ionian");
        let glyphs = Glyphs::Ascii;
        assert_eq!(
            said(Notation {
                ionian: IonianName::Major,
                glyphs,
                ..plain
            }),
            "top line Lydian dominant, the rest major"
        );
    }
}
