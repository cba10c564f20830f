//! The harmonized scale: the triad and the seventh on each degree of a tonality, what
//! in them differs from the parallel major or natural minor, and two tonalities side
//! by side.
//!
//! Chords are every other step of the scale: thirds on seven notes, wider on five.
//! What comes of it is named as it is, and where it is no chord its notes stand alone.

use super::chord::{Chord, KindId, Kinds, Sonority};
use super::catalogue::{Catalogue, Degree, Mode, ModeId, Tonality, spell_degree};
use super::notation::Notation;
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;
use std::cmp::Reverse;

/// A triad or a seventh.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// Three notes.
    Triad,
    /// Four notes.
    Seventh,
}

impl Size {
    pub const BOTH: [Size; 2] = [Size::Triad, Size::Seventh];

    /// How many notes.
    pub fn notes(self) -> usize {
        match self {
            Size::Triad => 3,
            Size::Seventh => 4,
        }
    }
}

/// What stands on a degree.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// From the root up, as the tonality spells them.
    pub notes: Vec<Spelling>,
    /// The chord of stacked thirds on this root where it has a name, else what these
    /// notes are over this bass.
    pub sonority: Sonority,
    /// Whether its quality is another than on this degree of the parallel scale;
    /// `None` where there is none to compare.
    pub differs: Option<bool>,
    /// Whether it holds a characteristic note of the mode.
    pub characteristic: bool,
}

impl Stack {
    /// The chord that it is, and its root as the scale spells it.
    pub fn chord(&self) -> Option<(Chord, Spelling)> {
        let chord = self.sonority.chord()?;
        let root = |n: &&Spelling| n.pitch_class() == chord.root;
        Some((chord, *self.notes.iter().find(root)?))
    }

    /// Its pitch classes as semitones above its root: the quality.
    fn quality(&self) -> PitchClassSet {
        match self.notes.first() {
            Some(root) => self.set().seen_from(root.pitch_class()),
            None => PitchClassSet::EMPTY,
        }
    }

    /// Its pitch classes.
    pub fn set(&self) -> PitchClassSet {
        self.notes.iter().map(|n| n.pitch_class()).collect()
    }
}

/// A degree with its chords.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub degree: Degree,
    pub root: Spelling,
    /// Semitones by which its root lies above (negative: below) that degree of the
    /// parallel scale; 0 where there is none to compare.
    pub moved: i8,
    pub triad: Stack,
    /// None where a fourth note would be the root again, as in six notes.
    pub seventh: Option<Stack>,
}

impl Step {
    pub fn stack(&self, size: Size) -> Option<&Stack> {
        match size {
            Size::Triad => Some(&self.triad),
            Size::Seventh => self.seventh.as_ref(),
        }
    }
}

/// A scale with its chords: the usual form of a mode, or one with degrees moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// The degrees that it has otherwise than the usual form; empty for that itself.
    pub moved: Vec<Degree>,
    pub steps: Vec<Step>,
}

/// A tonality with the chords on its degrees.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmonized {
    pub tonality: Tonality,
    pub tonic: Spelling,
    /// The scale on the same center that qualities are compared with: major where the
    /// mode has a major third, natural minor where a minor one. None where the mode
    /// has not each of the seven degrees once.
    pub parallel: Option<ModeId>,
    /// The usual form first. Degrees that move do so from the highest down: of minor
    /// the natural form, the harmonic (7), the melodic (6 and 7).
    pub forms: Vec<Form>,
}

/// Each of the degrees 1 to 7 once, in order.
fn is_heptatonic(degrees: &[Degree]) -> bool {
    degrees.iter().map(|d| d.number).eq(1..=7)
}

impl Harmonized {
    /// Of `tonality`, spelled from `tonic`.
    pub fn new(tonality: Tonality, tonic: Spelling, catalogue: &Catalogue) -> Harmonized {
        let mode = catalogue.mode(tonality.mode);
        // By its third degree: Altered has a minor third and a diminished fourth, which
        // sounds like a major third.
        let minor = mode.degrees.iter().any(|d| d.number == 3 && d.alter < 0);
        let parallel = match minor {
            _ if !is_heptatonic(&mode.degrees) => None,
            true => catalogue.find("aeolian"),
            false => catalogue.find("ionian"),
        };
        let beside = parallel.map(|p| catalogue.mode(p));
        let home = catalogue.all_forms(tonality);
        let form = |degrees: &[Degree]| {
            let degree = |i: usize| degrees[i % degrees.len()];
            let stack = |at: usize, size: Size| {
                let members: Vec<Degree> = (0..size.notes()).map(|i| degree(at + 2 * i)).collect();
                if members[1..].contains(&members[0]) {
                    return None;
                }
                let notes: Vec<Spelling> =
                    members.iter().map(|&d| spell_degree(tonic, d)).collect();
                let mut stack = Stack {
                    sonority: name(&notes, home),
                    notes,
                    differs: None,
                    characteristic: members.iter().any(|d| mode.characteristic.contains(d)),
                };
                stack.differs = beside.map(|p| {
                    let like = (0..size.notes()).map(|i| p.degrees[(at + 2 * i) % p.degrees.len()]);
                    let like: PitchClassSet = like.map(|d| pitch(tonality.center, d)).collect();
                    let root = pitch(tonality.center, p.degrees[at]);
                    like.seen_from(root) != stack.quality()
                });
                Some(stack)
            };
            let steps = degrees.iter().enumerate().filter_map(|(at, &d)| {
                Some(Step {
                    degree: d,
                    root: spell_degree(tonic, d),
                    moved: beside.map_or(0, |p| d.alter - p.degrees[at].alter),
                    triad: stack(at, Size::Triad)?,
                    seventh: stack(at, Size::Seventh),
                })
            });
            steps.collect()
        };
        let mut forms = vec![Form {
            moved: Vec::new(),
            steps: form(&mode.degrees),
        }];
        let mut moved: Vec<Degree> = Vec::new();
        for &d in mode.movable.iter().rev() {
            // One that only adds a note to the scale makes no other form of it.
            if mode.degrees.iter().any(|own| own.number == d.number) {
                moved.insert(0, d);
                let put =
                    |own: &Degree| *moved.iter().find(|m| m.number == own.number).unwrap_or(own);
                forms.push(Form {
                    steps: form(&mode.degrees.iter().map(put).collect::<Vec<_>>()),
                    moved: moved.clone(),
                });
            }
        }
        Harmonized {
            tonality,
            tonic,
            parallel,
            forms,
        }
    }

    /// The degrees of the usual form, with their chords.
    pub fn usual(&self) -> &[Step] {
        self.forms.first().map_or(&[], |f| &f.steps)
    }

    /// A chord's label, its root as the scale spells it: in G♭ minor pentatonic no F♯m.
    /// Notes that are no chord have the label of notes.
    pub fn label(&self, s: &Stack, notation: &Notation, catalogue: &Catalogue) -> String {
        let within = Some((self.tonality, self.tonic));
        match s.chord() {
            Some((chord, root)) => notation.chord(chord, root),
            None => notation.sonority(s.sonority, within, catalogue),
        }
    }

    /// A chord's numeral in this tonality; `None` where the notes are no chord.
    pub fn numeral(&self, s: &Stack, notation: &Notation, catalogue: &Catalogue) -> Option<String> {
        notation.numeral(s.sonority, Some((self.tonality, self.tonic)), catalogue)
    }

    /// Where in the further forms (form, step) a triad or seventh stands that no form
    /// before has: of minor V, vii° and the others of the harmonic form, then those of
    /// the melodic.
    pub fn further(&self) -> Vec<(usize, usize)> {
        let mut list = Vec::new();
        for (place, form) in self.forms.iter().enumerate().skip(1) {
            for (at, step) in form.steps.iter().enumerate() {
                let before = self.forms[..place].iter().filter_map(|f| f.steps.get(at));
                let known = |size| {
                    let set = step.stack(size).map(Stack::set);
                    before.clone().any(|s| s.stack(size).map(Stack::set) == set)
                };
                if !Size::BOTH.into_iter().all(known) {
                    list.push((place, at));
                }
            }
        }
        list
    }

    /// The step at a place that this scale gave.
    pub fn step(&self, (form, at): (usize, usize)) -> Option<&Step> {
        self.forms.get(form)?.steps.get(at)
    }

    /// The degree on which `chord` stands in this tonality, in any inversion: form,
    /// step, and what of it sounds (a ninth holds the seventh). None where a note of
    /// it lies outside the form. Of several forms the first.
    pub fn locate(&self, chord: Chord) -> Option<Place> {
        let sounding = Kinds::standard()
            .kind(chord.kind)
            .set()
            .up(chord.root.index() as i32);
        self.forms.iter().enumerate().find_map(|(form, f)| {
            let scale: PitchClassSet = f.steps.iter().map(|s| s.root.pitch_class()).collect();
            let at = f
                .steps
                .iter()
                .position(|s| s.root.pitch_class() == chord.root)?;
            if !sounding.is_subset(scale) {
                return None;
            }
            let step = &f.steps[at];
            // What is left out (a fifth) makes no other chord of it, what is added neither.
            let has = |size: Size| {
                let stack = step.stack(size)?.notes.get(1..)?;
                let (third, top) = (stack.first()?, stack.last()?);
                let third = sounding.contains(third.pitch_class());
                let top = size == Size::Triad || sounding.contains(top.pitch_class());
                (third && top).then_some(size)
            };
            let size = has(Size::Seventh).or_else(|| has(Size::Triad));
            Some(Place { form, at, size })
        })
    }
}

/// Where a chord stands in a harmonized scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    pub form: usize,
    /// Of the form's steps.
    pub at: usize,
    /// None: on this root, but neither its triad nor its seventh (a suspended chord).
    pub size: Option<Size>,
}

fn pitch(center: PitchClass, d: Degree) -> PitchClass {
    center.up(d.semitones() as i32)
}

/// The chord of these notes as stacked thirds, or else what they are over the first.
fn name(notes: &[Spelling], home: PitchClassSet) -> Sonority {
    let Some(root) = notes.first() else {
        return Sonority::Notes {
            set: PitchClassSet::EMPTY,
            bass: PitchClass::new(0),
        };
    };
    let bass = root.pitch_class();
    let kinds = Kinds::standard();
    if let Some(kind) = tertian(notes, *root, kinds) {
        return Sonority::Chord(Chord {
            root: bass,
            kind,
            bass,
        });
    }
    let set: PitchClassSet = notes.iter().map(|n| n.pitch_class()).collect();
    let named = kinds.name(set, bass, home);
    // Triads, sixths and sevenths in an inversion are read at once; more is far-fetched.
    let plain = |c: Chord| {
        let mut members = kinds.kind(c.kind).members.iter();
        c.bass_member().is_some() && members.all(|m| m.number <= 7)
    };
    match named {
        Sonority::Chord(c) if !plain(c) => Sonority::Notes { set, bass },
        named => named,
    }
}

/// The kind whose members are these notes, letter by letter.
fn tertian(notes: &[Spelling], root: Spelling, kinds: &Kinds) -> Option<KindId> {
    let same = |members: &[super::chord::Member]| {
        members.len() == notes.len()
            && members.iter().zip(notes).all(|(m, n)| {
                (usize::from(m.number) + 6) % 7 == (n.letter() + 7 - root.letter()) % 7
                    && usize::from(m.semitones) == n.pitch_class().above(root.pitch_class())
            })
    };
    kinds
        .iter()
        .find(|(_, k)| same(&k.members))
        .map(|(id, _)| id)
}

/// What of a chord is another beside the one on the same degree of another tonality.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    pub notes: bool,
    pub quality: bool,
    pub numeral: bool,
}

/// A degree in two tonalities: places in their usual forms; what only one has stands alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// 1-7.
    pub number: u8,
    pub left: Option<usize>,
    pub right: Option<usize>,
    /// Triad and seventh, where both have them.
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

    /// Two centers share notes, not degrees: what stands on the same letter side by side,
    /// in the order of the left one, and after it what the right one has alone. That a
    /// numeral is another goes without saying here, and is no change.
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

    /// The notes that change, with those of the same letter opposite where there are
    /// any: `(Some(B), Some(B♭))` from D Dorian to D Aeolian. Usual forms. On one tonic
    /// what is spelled otherwise is another degree; on two, a note is what it sounds.
    pub fn altered(&self) -> Vec<(Option<Spelling>, Option<Spelling>)> {
        let notes =
            |h: &Harmonized| -> Vec<Spelling> { h.usual().iter().map(|s| s.root).collect() };
        let (left, right) = (notes(&self.left), notes(&self.right));
        let one = self.left.tonic == self.right.tonic;
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

    /// The same as text. Without a tonic in common the two have no do in common either,
    /// and keep their letters.
    pub fn altered_names(&self, notation: &Notation) -> Vec<(Option<String>, Option<String>)> {
        let (left, right) = (self.left.tonic, self.right.tonic);
        let name = |n: Spelling| match left == right {
            true => notation.above(n, left),
            false => notation.name(n),
        };
        let pairs = self.altered().into_iter();
        pairs.map(|(l, r)| (l.map(name), r.map(name))).collect()
    }
}

/// What is another in the triads and the sevenths of two steps.
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
                    // A form brings again most of what the one before has.
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

/// A mode in the order of brightness.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shade {
    pub mode: ModeId,
    /// Its degrees that the next brighter one has otherwise; empty for the brightest.
    pub altered: Vec<Degree>,
}

/// The modes of a family (see [`Mode::parent`]) whose degrees do not move, on one
/// center, from bright to dark: of the diatonic ones Lydian to Locrian, each of which
/// alters one note of the one before.
pub fn brightness_order(catalogue: &Catalogue, parent: &str) -> Vec<Shade> {
    let mut modes: Vec<(ModeId, &Mode)> = catalogue
        .iter()
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

/// The degrees of `to` (usual form) that `from` has otherwise, each with what `from` has
/// under the same number instead, or `None` where it has nothing there to give up: from
/// Lydian to Ionian `[(Some(♯4), 4)]`. What `to` leaves out is not told.
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
pub fn relatives(t: Tonality, tonic: Spelling, catalogue: &Catalogue) -> Vec<(Tonality, Spelling)> {
    let own = catalogue.mode(t.mode);
    let set = catalogue.set(t);
    let degrees = own.degrees.iter().skip(1);
    degrees
        .flat_map(|&d| {
            let center = pitch(t.center, d);
            catalogue
                .iter()
                .filter(|(_, m)| m.parent == own.parent && m.movable.is_empty())
                .map(move |(mode, _)| Tonality { center, mode })
                .filter(|&other| catalogue.set(other) == set)
                .map(move |other| (other, spell_degree(tonic, d)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn harmonized(text: &str) -> Harmonized {
        let c = Catalogue::standard();
        let t = c.parse_tonality(text).expect("a tonality");
        Harmonized::new(t.tonality, t.tonic, c)
    }

    fn labels(h: &Harmonized, steps: &[&Step], size: Size) -> Vec<String> {
        let n = Notation::default();
        let within = Some((h.tonality, h.tonic));
        let stacks = steps.iter().filter_map(|s| s.stack(size));
        stacks
            .map(|s| n.sonority(s.sonority, within, Catalogue::standard()))
            .collect()
    }

    fn usual(h: &Harmonized) -> Vec<&Step> {
        h.usual().iter().collect()
    }

    #[test]
    fn what_differs_from_the_parallel_scale_is_known() {
        let h = harmonized("D dorian");
        let c = Catalogue::standard();
        assert_eq!(h.parallel, c.find("aeolian"));
        let triads: Vec<Option<bool>> = h.usual().iter().map(|s| s.triad.differs).collect();
        // ii for ii°, IV for iv, vi° on a raised root for VI.
        let want = [false, true, false, true, false, true, false].map(Some);
        assert_eq!(triads, want);
        let moved: Vec<i8> = h.usual().iter().map(|s| s.moved).collect();
        assert_eq!(moved, [0, 0, 0, 0, 0, 1, 0]);
        let sixth: Vec<bool> = h.usual().iter().map(|s| s.triad.characteristic).collect();
        assert_eq!(sixth, [false, true, false, true, false, true, false]);
        for (text, parallel) in [("C lydian", "ionian"), ("C altered", "aeolian")] {
            assert_eq!(harmonized(text).parallel, c.find(parallel), "{text}");
        }
        // The parallel scales themselves differ in nothing.
        for text in ["C ionian", "C aeolian", "C minor"] {
            let h = harmonized(text);
            for s in h.usual() {
                assert_eq!((s.moved, s.triad.differs), (0, Some(false)), "{text}");
            }
        }
    }

    #[test]
    fn minor_has_the_chords_of_its_forms_second() {
        let h = harmonized("A minor");
        assert_eq!(h.forms.len(), 3);
        let all = h.further();
        let of = |form| -> Vec<&Step> {
            let places = all.iter().filter(|a| a.0 == form);
            places.filter_map(|&a| h.step(a)).collect()
        };
        let harmonic = of(1);
        assert_eq!(
            labels(&h, &harmonic, Size::Seventh),
            ["Am(maj7)", "Cmaj7♯5", "E7", "G♯°7"]
        );
        assert_eq!(
            labels(&h, &of(2), Size::Seventh),
            ["Bm7", "D7", "F♯m7♭5", "G♯m7♭5"]
        );
        assert!(harmonic.iter().any(|s| s.triad.characteristic));
    }

    #[test]
    fn on_five_and_six_notes_the_stacks_are_what_they_are() {
        let five = harmonized("C major pentatonic");
        assert_eq!(five.parallel, None);
        assert_eq!(
            labels(&five, &usual(&five), Size::Triad),
            [
                "Am/C",
                "quartal on D",
                "quartal on E",
                "C/G",
                "quartal on A"
            ]
        );
        let six = harmonized("C blues");
        assert!(six.usual().iter().all(|s| s.seventh.is_none()));
        assert_eq!(six.usual().len(), 6);
        assert_eq!(six.usual()[0].triad.differs, None);
    }

    #[test]
    fn thirds_that_make_no_known_chord_stay_notes() {
        let own = "[[mode]]\nid='dh'\nname='Double harmonic'\ndegrees='1 b2 3 4 5 b6 7'\n\
                   scored_as='major'\nparent='own'\n";
        let c = Catalogue::standard().extended(own).expect("a catalogue");
        let t = c.parse_tonality("C dh").expect("a tonality");
        let h = Harmonized::new(t.tonality, t.tonic, &c);
        let seventh = &h.usual()[6].triad;
        let spelled: Vec<String> = seventh.notes.iter().map(|n| n.to_string()).collect();
        assert_eq!(spelled, ["B", "D♭", "F"]);
        assert_eq!(seventh.sonority.chord().filter(|c| c.root == c.bass), None);
        assert_eq!(seventh.differs, Some(true));
    }

    #[test]
    fn a_chord_that_sounds_finds_its_degree() {
        let chord = |notes: &[i32], h: &Harmonized| {
            let set = notes.iter().map(|&n| PitchClass::new(n)).collect();
            let home = Catalogue::standard().all_forms(h.tonality);
            let s = Kinds::standard().name(set, PitchClass::new(notes[0]), home);
            h.locate(s.chord().expect("a chord"))
                .map(|p| (p.form, p.at, p.size))
        };
        let h = harmonized("D dorian");
        assert_eq!(chord(&[7, 11, 2], &h), Some((0, 3, Some(Size::Triad))));
        assert_eq!(chord(&[11, 2, 7], &h), Some((0, 3, Some(Size::Triad))));
        assert_eq!(
            chord(&[7, 11, 2, 5, 9], &h),
            Some((0, 3, Some(Size::Seventh)))
        );
        assert_eq!(chord(&[7, 0, 2], &h), Some((0, 3, None)));
        // E major is no chord of it, though E is a degree.
        assert_eq!(chord(&[4, 8, 11], &h), None);
        let h = harmonized("A minor");
        assert_eq!(chord(&[4, 8, 11, 2], &h), Some((1, 4, Some(Size::Seventh))));
        assert_eq!(chord(&[4, 7, 11], &h), Some((0, 4, Some(Size::Triad))));
    }

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
        let names: Vec<String> = relatives(t.tonality, t.tonic, c)
            .into_iter()
            .map(|(t, tonic)| n.tonality(t, tonic, c))
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
