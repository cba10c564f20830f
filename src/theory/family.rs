//! Modes among their relatives: the order of brightness, and tonalities with the same notes.

use super::catalogue::Catalogue;
use super::degree::Degree;
use super::mode::{Mode, ModeId, SpelledTonality, Tonality};
use std::cmp::Reverse;

/// A mode in the order of brightness.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shade {
    pub mode: ModeId,
    /// Its degrees that the next brighter mode does not have; empty for the brightest.
    pub altered: Vec<Degree>,
}

/// The modes and scales of a family (see [`Mode::parent`]) whose degrees do not move, on one
/// center, from bright to dark: of the diatonic ones Lydian to Locrian, each of which
/// alters one note of the one before.
pub fn brightness_order(catalogue: &Catalogue, parent: &str) -> Vec<Shade> {
    let mut modes: Vec<(ModeId, &Mode)> = catalogue
        .all()
        .filter(|(_, m)| m.parent == parent && m.movable.is_empty())
        .collect();
    modes.sort_by_key(|(_, m)| Reverse(m.brightness()));
    let mut before: Option<&Mode> = None;
    modes
        .into_iter()
        .map(|(mode, m)| {
            let altered = match before.replace(m) {
                Some(b) => {
                    let own = m.degrees.iter().copied();
                    own.filter(|d| !b.degrees.contains(d)).collect()
                }
                None => Vec::new(),
            };
            Shade { mode, altered }
        })
        .collect()
}

/// The degrees of `to` (usual form) that `from` does not have, each with the degree of the
/// same number that it replaces, or `None` where it replaces none: from Lydian to Ionian
/// `[(Some(♯4), 4)]`. Degrees that `to` merely leaves out are not listed.
pub fn alterations(from: &Mode, to: &Mode) -> Vec<(Option<Degree>, Degree)> {
    let lacks = |of: &Mode, d: &Degree| !of.degrees.contains(d);
    let mut gone: Vec<Degree> = from.degrees.clone();
    gone.retain(|d| lacks(to, d));
    let come = to.degrees.iter().filter(|d| lacks(from, d));
    come.map(|&d| {
        let same = gone.iter().position(|g| g.number == d.number);
        (same.map(|at| gone.remove(at)), d)
    })
    .collect()
}

/// The tonalities of the same family with the same notes, in the order of the degrees
/// that they stand on: of D Dorian E Phrygian, F Lydian and so on.
pub fn relatives(of: SpelledTonality, catalogue: &Catalogue) -> Vec<SpelledTonality> {
    let SpelledTonality { tonality: t, tonic } = of;
    let own = catalogue.mode(t.mode);
    let set = catalogue.set(t);
    let degrees = own.degrees.iter().skip(1);
    degrees
        .flat_map(|&d| {
            let center = d.above(t.center);
            catalogue
                .all()
                .filter(|(_, m)| m.parent == own.parent && m.movable.is_empty())
                .map(move |(mode, _)| Tonality { center, mode })
                .filter(|&other| catalogue.set(other) == set)
                .map(move |other| SpelledTonality::new(other, own.spell(tonic, d)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::convention::Notation;
    use super::*;

    #[test]
    fn each_step_from_bright_to_dark_alters_one_note() {
        let c = Catalogue::standard();
        let order = brightness_order(c, "diatonic");
        let ids: Vec<&str> = order.iter().map(|s| c.mode(s.mode).id.as_str()).collect();
        assert_eq!(
            ids,
            [
                "lydian",
                "ionian",
                "mixolydian",
                "dorian",
                "aeolian",
                "phrygian",
                "locrian"
            ]
        );
        let altered: Vec<Vec<u8>> = order
            .iter()
            .map(|s| s.altered.iter().map(|d| d.number).collect())
            .collect();
        let want: [&[u8]; 7] = [&[], &[4], &[7], &[3], &[6], &[2], &[5]];
        assert_eq!(altered, want);
    }

    #[test]
    fn relatives_are_spelled_like_the_scale() {
        let c = Catalogue::standard();
        let t = c.parse_tonality("Gb lydian").expect("a tonality");
        let n = Notation::default();
        let names: Vec<String> = relatives(t, c)
            .into_iter()
            .map(|t| n.tonality(t, c))
            .collect();
        assert_eq!(
            names,
            [
                "A♭ Mixolydian",
                "B♭ Aeolian",
                "C Locrian",
                "D♭ Ionian",
                "E♭ Dorian",
                "F Phrygian"
            ]
        );
    }
}
