//! Two tonalities side by side: what changes, and what they have in common.

use super::catalogue::Catalogue;
use super::convention::Notation;
use super::pitch::{PitchClass, PitchClassSet};
use super::scale::{Harmonized, Size, Stack};
use super::spelling::Spelling;

/// How a chord differs from the one on the same degree of another tonality.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    pub notes: bool,
    pub quality: bool,
    pub numeral: bool,
}

/// A degree in two tonalities, as places in their usual forms. A degree that only one of
/// them has stands alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// 1-7.
    pub number: u8,
    pub left: Option<usize>,
    pub right: Option<usize>,
    /// Of the triad and of the seventh, where both tonalities have them.
    pub changes: [Option<Changes>; 2],
}

/// A chord that two tonalities have in common, with its places in both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Common {
    pub size: Size,
    pub left: (usize, usize),
    pub right: (usize, usize),
}

/// Two tonalities side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Beside {
    pub left: Harmonized,
    pub right: Harmonized,
    /// From the first degree up.
    pub pairs: Vec<Pair>,
    /// In the order of the left one's degrees.
    pub common: Vec<Common>,
}

impl Beside {
    /// Numerals are compared as `notation` writes them.
    pub fn new(
        left: Harmonized,
        right: Harmonized,
        catalogue: &Catalogue,
        notation: &Notation,
    ) -> Beside {
        let mut pairs = Vec::new();
        let of = |h: &Harmonized, number: u8| -> Vec<usize> {
            let steps = h.usual().iter().enumerate();
            steps
                .filter(|(_, s)| s.degree.number == number)
                .map(|(i, _)| i)
                .collect()
        };
        let numeral = |h: &Harmonized, stack: &Stack| h.numeral(stack, notation, catalogue);
        for number in 1..=7 {
            let (l, r) = (of(&left, number), of(&right, number));
            for i in 0..l.len().max(r.len()) {
                let (l, r) = (l.get(i).copied(), r.get(i).copied());
                let changes = changes((&left, l), (&right, r), |a, b| {
                    numeral(&left, a) != numeral(&right, b)
                });
                pairs.push(Pair {
                    number,
                    left: l,
                    right: r,
                    changes,
                });
            }
        }
        let common = common(&left, &right);
        Beside {
            left,
            right,
            pairs,
            common,
        }
    }

    /// The degrees paired by letter, for two centers, which share notes rather than degrees:
    /// in the order of the left tonality, then those that the right one alone has. Numerals
    /// always differ here and do not count as a change.
    pub fn by_letter(&self) -> Vec<Pair> {
        let (left, right) = (self.left.usual(), self.right.usual());
        let mut free: Vec<usize> = (0..right.len()).collect();
        let mut pairs = Vec::with_capacity(left.len());
        for (at, step) in left.iter().enumerate() {
            let like = |&i: &usize| right[i].root.letter() == step.root.letter();
            let other = free.iter().position(like).map(|i| free.remove(i));
            pairs.push(Pair {
                number: step.degree.number,
                left: Some(at),
                right: other,
                changes: changes((&self.left, Some(at)), (&self.right, other), |_, _| false),
            });
        }
        pairs.extend(free.into_iter().map(|at| Pair {
            number: right[at].degree.number,
            left: None,
            right: Some(at),
            changes: [None; 2],
        }));
        pairs
    }

    /// The notes that change, paired by letter where both sides have one:
    /// `(Some(B), Some(B♭))` from D Dorian to D Aeolian. Usual forms. On the same tonic a
    /// note that is spelled otherwise is another degree; on two tonics notes are compared by
    /// their sound.
    pub fn altered(&self) -> Vec<(Option<Spelling>, Option<Spelling>)> {
        let (left, right) = (self.left.notes.clone(), self.right.notes.clone());
        let one = self.left.spelled.tonic == self.right.spelled.tonic;
        let lacks = |list: &[Spelling], n: &Spelling| {
            let mut all = list.iter();
            all.all(|m| m != n && (one || m.pitch_class() != n.pitch_class()))
        };
        let gone: Vec<Spelling> = left.iter().copied().filter(|n| lacks(&right, n)).collect();
        let mut come: Vec<Spelling> = right.into_iter().filter(|n| lacks(&left, n)).collect();
        let mut list: Vec<_> = gone
            .into_iter()
            .map(|n| {
                let same = come.iter().position(|m| m.letter() == n.letter());
                (Some(n), same.map(|i| come.remove(i)))
            })
            .collect();
        list.extend(come.into_iter().map(|n| (None, Some(n))));
        list
    }

    /// The same as text. Two tonics have no do in common, so their notes keep their letters.
    pub fn altered_names(&self, notation: &Notation) -> Vec<(Option<String>, Option<String>)> {
        let (left, right) = (self.left.spelled.tonic, self.right.spelled.tonic);
        let name = |n: Spelling| match left == right {
            true => notation.above(n, left),
            false => notation.name(n),
        };
        let pairs = self.altered().into_iter();
        pairs.map(|(l, r)| (l.map(name), r.map(name))).collect()
    }
}

/// How the triads and the sevenths of two steps differ.
fn changes(
    (left, l): (&Harmonized, Option<usize>),
    (right, r): (&Harmonized, Option<usize>),
    numeral: impl Fn(&Stack, &Stack) -> bool,
) -> [Option<Changes>; 2] {
    Size::BOTH.map(|size| {
        let a = left.usual().get(l?)?.stack(size)?;
        let b = right.usual().get(r?)?.stack(size)?;
        Some(Changes {
            notes: a.notes != b.notes,
            quality: a.quality() != b.quality(),
            numeral: numeral(a, b),
        })
    })
}

fn common(left: &Harmonized, right: &Harmonized) -> Vec<Common> {
    let mut list = Vec::new();
    for size in Size::BOTH {
        let all = |h: &Harmonized| -> Vec<((usize, usize), PitchClass, PitchClassSet)> {
            let mut all: Vec<((usize, usize), PitchClass, PitchClassSet)> = Vec::new();
            for (form, f) in h.forms.iter().enumerate() {
                for (at, step) in f.steps.iter().enumerate() {
                    let Some(stack) = step.stack(size) else {
                        continue;
                    };
                    let (root, set) = (step.root.pitch_class(), stack.set());
                    // Most chords of a form are in the form before it already.
                    if all.iter().all(|a| (a.1, a.2) != (root, set)) {
                        all.push(((form, at), root, set));
                    }
                }
            }
            all
        };
        let others = all(right);
        for (place, root, set) in all(left) {
            if let Some(other) = others.iter().find(|o| (o.1, o.2) == (root, set)) {
                list.push(Common {
                    size,
                    left: place,
                    right: other.0,
                });
            }
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::super::testing::harmonized;
    use super::*;

    /// F Lydian has the chords of D Dorian, each on its own note.
    #[test]
    fn two_centers_meet_on_their_notes() {
        let (c, n) = (Catalogue::standard(), Notation::default());
        let between = |left: &str, right: &str| -> Vec<(String, String, bool)> {
            let b = Beside::new(harmonized(left), harmonized(right), c, &n);
            let name = |h: &Harmonized, at: Option<usize>| {
                at.map_or(String::new(), |at| n.name(h.usual()[at].root))
            };
            let pairs = b.by_letter().into_iter().map(|p| {
                let another = p.changes[0].is_none_or(|c| c.notes || c.quality || c.numeral);
                (name(&b.left, p.left), name(&b.right, p.right), another)
            });
            pairs.collect()
        };
        let same = between("F lydian", "D dorian");
        let letters: Vec<&str> = same.iter().map(|p| p.0.as_str()).collect();
        assert_eq!(letters.concat(), "FGABCDE");
        assert!(same.iter().all(|p| p.0 == p.1 && !p.2), "{same:?}");
        // A neighbour in fifths: the chords with the note that moves are others.
        let moved = between("C ionian", "G ionian");
        let others: Vec<&str> = moved.iter().filter(|p| p.2).map(|p| p.1.as_str()).collect();
        assert_eq!(others, ["D", "F♯", "B"]);
        // What has no partner stands alone, nothing twice and nothing left out.
        let five = between("C ionian", "A minor_pentatonic");
        assert_eq!(five.iter().filter(|p| p.1.is_empty()).count(), 2);
        let back = between("A minor_pentatonic", "C ionian");
        assert_eq!(back.len(), 7);
        assert_eq!(back.iter().filter(|p| p.0.is_empty()).count(), 2);
    }

    #[test]
    fn side_by_side_what_changed_is_marked() {
        let c = Catalogue::standard();
        let n = Notation::default();
        let b = Beside::new(harmonized("D dorian"), harmonized("D aeolian"), c, &n);
        let altered: Vec<_> = b
            .altered()
            .iter()
            .map(|(a, b)| (a.map(|n| n.to_string()), b.map(|n| n.to_string())))
            .collect();
        assert_eq!(altered, [(Some("B".into()), Some("B♭".into()))]);
        let quality: Vec<bool> = b
            .pairs
            .iter()
            .filter_map(|p| p.changes[0].map(|c| c.quality))
            .collect();
        assert_eq!(quality, [false, true, false, true, false, true, false]);
        // Of the triads four are common, of the sevenths i7, III and v7 hold no sixth: D F A C, A C E G.
        let count = |size| b.common.iter().filter(|c| c.size == size).count();
        assert_eq!((count(Size::Triad), count(Size::Seventh)), (4, 3));
        // Two centers: the same quality throughout, other notes.
        let b = Beside::new(harmonized("D dorian"), harmonized("E dorian"), c, &n);
        for p in &b.pairs {
            let want = Changes {
                notes: true,
                ..Changes::default()
            };
            assert_eq!(p.changes, [Some(want); 2]);
        }
        // F and C become sharp: the triads on E, G, A, B without them... ii = i, IV = III, vi° not.
        let triads: Vec<_> = b
            .common
            .iter()
            .filter(|c| c.size == Size::Triad)
            .map(|c| (c.left.1, c.right.1))
            .collect();
        assert_eq!(triads, [(1, 0), (3, 2)]);
        // Five notes beside seven.
        let b = Beside::new(
            harmonized("C major pentatonic"),
            harmonized("C ionian"),
            c,
            &n,
        );
        let alone: Vec<u8> = b
            .pairs
            .iter()
            .filter(|p| p.left.is_none())
            .map(|p| p.number)
            .collect();
        assert_eq!(alone, [4, 7]);
    }
}
