//! Chords and tonalities for the tests, as a musician writes them.

use super::catalogue::Catalogue;
use super::chord::Chord;
use super::convention::Notation;
use super::kinds::Kinds;
use super::mode::SpelledTonality;
use super::numeral::{Around, Context, analyse};
use super::scale::Harmonized;
use super::spelling::Spelling;

pub fn within(text: &str) -> SpelledTonality {
    Catalogue::standard().parse_tonality(text).expect(text)
}

/// `Am7` or `C/E`.
pub fn chord(label: &str) -> Chord {
    // Six and nine are no bass.
    let bass = label.rsplit_once('/').filter(|(_, bass)| *bass != "9");
    let (head, bass) = bass.unwrap_or((label, ""));
    let signs = head[1..].chars().take_while(|c| "b#".contains(*c)).count();
    let (root, symbol) = head.split_at(1 + signs);
    let pc = |s: &str| s.parse::<Spelling>().expect(s).pitch_class();
    Chord {
        root: pc(root),
        kind: Kinds::standard().find(symbol).expect(symbol),
        bass: pc(if bass.is_empty() { root } else { bass }),
    }
}

/// The numerals of a progression: each chord between its neighbours, or live.
pub fn numerals(key: &str, chords: &str, hindsight: bool, notation: &Notation) -> String {
    let list: Vec<Chord> = chords.split(' ').map(chord).collect();
    let text = |i: usize| {
        let after = list[i + 1..].iter().copied().filter(|_| hindsight);
        let around = Around::new(list[i], list[..i].iter().rev().copied(), after);
        let context = Context::new(within(key)).among(around);
        analyse(list[i], &context, Catalogue::standard()).text(notation)
    };
    (0..list.len()).map(text).collect::<Vec<_>>().join(" ")
}

/// A chord's notes from the bass up, as they are spelled in a tonality before another chord.
pub fn spelled(key: &str, label: &str, after: Option<&str>) -> String {
    let context = Context::new(within(key)).among((None, after.map(chord)));
    let numeral = analyse(chord(label), &context, Catalogue::standard());
    let all: Vec<String> = numeral.notes().map(|n| n.to_string()).collect();
    all.join(" ")
}

/// A tonality with its chords.
pub fn harmonized(text: &str) -> Harmonized {
    Harmonized::new(within(text), Catalogue::standard())
}
