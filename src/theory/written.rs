//! For tests: chords and tonalities as a musician writes them.

use super::chord::{Chord, Kinds};
use super::catalogue::{Catalogue, Tonality};
use super::spelling::Spelling;

pub fn within(text: &str) -> (Tonality, Spelling) {
    let t = Catalogue::standard().parse_tonality(text).expect(text);
    (t.tonality, t.tonic)
}

/// `Am7` or `C/E`.
pub fn chord(label: &str) -> Chord {
    let (head, bass) = label.split_once('/').unwrap_or((label, ""));
    let signs = head[1..].chars().take_while(|c| "b#".contains(*c)).count();
    let (root, symbol) = head.split_at(1 + signs);
    let pc = |s: &str| s.parse::<Spelling>().expect(s).pitch_class();
    Chord {
        root: pc(root),
        kind: Kinds::standard().find(symbol).expect(symbol),
        bass: pc(if bass.is_empty() { root } else { bass }),
    }
}
