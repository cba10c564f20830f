//! The harmonized scale: the triad and the seventh on each degree of a tonality, and
//! what in them differs from the parallel major or natural minor.
//!
//! Chords take every other step of the scale: thirds on seven notes, wider intervals on five,
//! narrower ones on eight. The result is named as usual; where it is no chord, its notes are
//! listed. Chords skip passing notes. For scales with passing notes, and for those without
//! seven degrees, the tertian chords that their notes contain are listed as well.

use super::catalogue::Catalogue;
use super::chord::{Chord, Sonority};
use super::convention::Notation;
use super::degree::Degree;
use super::kind::{Kind, KindId, Member};
use super::kinds::Kinds;
use super::mode::{Mode, ModeId, SpelledTonality};
use super::pitch::{PitchClass, PitchClassSet};
use super::spelling::Spelling;

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
    /// The chord of stacked thirds on this root where that has a name, else the name of the
    /// notes over the first as their bass.
    pub sonority: Sonority,
    /// Whether its quality differs from that on the same degree of the parallel scale;
    /// `None` without a parallel scale.
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
    pub(super) fn quality(&self) -> PitchClassSet {
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
    /// Semitones by which its root lies above (negative: below) the same degree of the
    /// parallel scale; 0 without a parallel scale.
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
    /// The degrees that differ from the usual form; empty for the usual form.
    pub moved: Vec<Degree>,
    pub steps: Vec<Step>,
}

/// A degree with chords of thirds on it: triads, then sevenths, the plainest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Thirds {
    pub degree: Degree,
    pub root: Spelling,
    pub chords: Vec<Stack>,
}

/// A tonality with the chords on its degrees.
///
/// ```
/// use peregrinus::theory::{Catalogue, Harmonized, Notation, Size};
///
/// let (catalogue, notation) = (Catalogue::standard(), Notation::default());
/// let dorian = catalogue.parse_tonality("D dorian")?;
/// let scale = Harmonized::new(dorian, catalogue);
/// let sevenths = scale.usual().iter().filter_map(|step| step.stack(Size::Seventh));
/// let labels: Vec<String> = sevenths
///     .map(|seventh| scale.label(seventh, &notation, catalogue))
///     .collect();
/// assert_eq!(labels, ["Dm7", "Em7", "Fmaj7", "G7", "Am7", "Bm7♭5", "Cmaj7"]);
/// # Ok::<(), peregrinus::theory::TonalityError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Harmonized {
    pub spelled: SpelledTonality,
    /// The scale on the same center that qualities are compared with: major where the
    /// mode has a major third, natural minor where a minor one. None where the mode
    /// has not each of the seven degrees once, passing ones left out.
    pub parallel: Option<ModeId>,
    /// All its notes in their usual form, passing ones too.
    pub notes: Vec<Spelling>,
    /// The usual form first. Degrees that move do so from the highest down: of minor
    /// the natural form, the harmonic (7), the melodic (6 and 7).
    pub forms: Vec<Form>,
    /// Tertian chords. In a scale with passing notes: those that hold one. In a scale without
    /// seven degrees: all that its notes make, unless every one of them is a chord of `forms`.
    /// Degrees without any are left out. Empty for other scales.
    pub thirds: Vec<Thirds>,
}

/// The kinds listed as chords of thirds cost less than this. It leaves out the major triad with
/// a lowered fifth, which nobody looks for.
const FAR_FETCHED: f32 = 0.5;

/// Each of the degrees 1 to 7 once, in order.
fn is_heptatonic(degrees: &[Degree]) -> bool {
    degrees.iter().map(|d| d.number).eq(1..=7)
}

impl Harmonized {
    /// The chords on the degrees of `spelled`.
    pub fn new(spelled: SpelledTonality, catalogue: &Catalogue) -> Harmonized {
        let SpelledTonality { tonality, tonic } = spelled;
        let mode = catalogue.mode(tonality.mode);
        let chordal: Vec<Degree> = mode.chordal().collect();
        // By its third degree: Altered has a minor third and a diminished fourth, which
        // sounds like a major third.
        let minor = chordal.iter().any(|d| d.number == 3 && d.alter < 0);
        let parallel = match minor {
            _ if !is_heptatonic(&chordal) => None,
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
                let notes: Vec<Spelling> = members.iter().map(|&d| mode.spell(tonic, d)).collect();
                let (sonority, notes) = match by_sound(&notes).filter(|_| mode.is_symmetric()) {
                    Some((chord, notes)) => (Sonority::Chord(chord), notes),
                    None => (name(&notes, home), notes),
                };
                let mut stack = Stack {
                    sonority,
                    notes,
                    differs: None,
                    characteristic: members.iter().any(|d| mode.characteristic.contains(d)),
                };
                stack.differs = beside.map(|p| {
                    let like = (0..size.notes()).map(|i| p.degrees[(at + 2 * i) % p.degrees.len()]);
                    let like: PitchClassSet = like.map(|d| d.above(tonality.center)).collect();
                    let root = p.degrees[at].above(tonality.center);
                    like.seen_from(root) != stack.quality()
                });
                Some(stack)
            };
            let steps = degrees.iter().enumerate().filter_map(|(at, &d)| {
                Some(Step {
                    degree: d,
                    root: mode.spell(tonic, d),
                    moved: beside.map_or(0, |p| d.alter - p.degrees[at].alter),
                    triad: stack(at, Size::Triad)?,
                    seventh: stack(at, Size::Seventh),
                })
            });
            steps.collect()
        };
        let mut forms = vec![Form {
            moved: Vec::new(),
            steps: form(&chordal),
        }];
        let mut moved: Vec<Degree> = Vec::new();
        for &d in mode.movable.iter().rev() {
            // A degree that only adds a note to the scale makes no form of its own.
            if chordal.iter().any(|own| own.number == d.number) {
                moved.insert(0, d);
                let put =
                    |own: &Degree| *moved.iter().find(|m| m.number == own.number).unwrap_or(own);
                forms.push(Form {
                    steps: form(&chordal.iter().map(put).collect::<Vec<_>>()),
                    moved: moved.clone(),
                });
            }
        }
        let thirds = thirds(mode, tonic, &forms);
        Harmonized {
            spelled,
            parallel,
            notes: mode.degrees.iter().map(|&d| mode.spell(tonic, d)).collect(),
            forms,
            thirds,
        }
    }

    /// The degrees of the usual form, with their chords.
    pub fn usual(&self) -> &[Step] {
        self.forms.first().map_or(&[], |f| &f.steps)
    }

    /// A chord's label, its root as the scale spells it: in G♭ minor pentatonic no F♯m.
    /// Notes that are no chord have the label of notes.
    pub fn label(&self, s: &Stack, notation: &Notation, catalogue: &Catalogue) -> String {
        let within = Some(self.spelled);
        match s.chord() {
            Some((chord, root)) => notation.chord(chord, root),
            None => notation.sonority(s.sonority, within, catalogue),
        }
    }

    /// A chord's numeral in this tonality; `None` where the notes are no chord.
    pub fn numeral(&self, s: &Stack, notation: &Notation, catalogue: &Catalogue) -> Option<String> {
        notation.numeral(s.sonority, Some(self.spelled), catalogue)
    }

    /// The places (form, step) of the chords that a further form brings and no form before
    /// it has: of minor V, vii° and the other new ones of the harmonic form, then those of
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

    /// The degree on which `chord` stands in this tonality, in any inversion: form, step, and
    /// whether it holds the triad or the seventh there (a ninth holds the seventh). The first
    /// form that has all its notes; `None` if no form has them.
    pub fn locate(&self, chord: Chord) -> Option<ChordPlace> {
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
            // A fifth left out or a note added does not make it another chord.
            let has = |size: Size| {
                let stack = step.stack(size)?.notes.get(1..)?;
                let (third, top) = (stack.first()?, stack.last()?);
                let third = sounding.contains(third.pitch_class());
                let top = size == Size::Triad || sounding.contains(top.pitch_class());
                (third && top).then_some(size)
            };
            let size = has(Size::Seventh).or_else(|| has(Size::Triad));
            Some(ChordPlace { form, at, size })
        })
    }
}

/// See [`Harmonized::thirds`].
fn thirds(mode: &Mode, tonic: Spelling, forms: &[Form]) -> Vec<Thirds> {
    let passing = |d: &Degree| mode.passing.contains(d);
    if mode.passing.is_empty() && is_heptatonic(&mode.degrees) {
        return Vec::new();
    }
    let scale: Vec<(Degree, Spelling)> = mode
        .degrees
        .iter()
        .map(|&d| (d, mode.spell(tonic, d)))
        .collect();
    let list: Vec<Thirds> = scale
        .iter()
        .map(|&(degree, root)| {
            let chords = tertian_kinds().filter_map(|(id, kind)| {
                let members: Option<Vec<(Degree, Spelling)>> = kind
                    .members
                    .iter()
                    .map(|m| {
                        let written = m.above(root);
                        let same =
                            |s: &&(Degree, Spelling)| s.1.pitch_class() == written.pitch_class();
                        scale
                            .iter()
                            .find(same)
                            .map(|s| (s.0, written_as(written, s.1)))
                    })
                    .collect();
                let members = members?;
                let degrees = || members.iter().map(|m| m.0);
                if !mode.passing.is_empty() && !degrees().any(|d| passing(&d)) {
                    return None;
                }
                let bass = root.pitch_class();
                Some(Stack {
                    sonority: Sonority::Chord(Chord {
                        root: bass,
                        kind: id,
                        bass,
                    }),
                    differs: None,
                    characteristic: degrees().any(|d| mode.characteristic.contains(&d)),
                    notes: members.iter().map(|m| m.1).collect(),
                })
            });
            Thirds {
                degree,
                root,
                chords: chords.collect(),
            }
        })
        .filter(|t| !t.chords.is_empty())
        .collect();
    let steps = || forms.iter().flat_map(|f| &f.steps);
    let known = |chord: &Stack| {
        let mut stacks = steps().flat_map(|s| Size::BOTH.map(|size| s.stack(size)));
        stacks.any(|s| s.is_some_and(|s| s.set() == chord.set()))
    };
    match list.iter().flat_map(|t| &t.chords).all(known) {
        true => Vec::new(),
        false => list,
    }
}

/// The kinds of triads and sevenths that are stacked thirds: triads first, the plainest
/// before the others.
fn tertian_kinds() -> impl Iterator<Item = (KindId, &'static Kind)> {
    let numbers = |k: &Kind| -> Vec<u8> { k.members.iter().map(|m| m.number).collect() };
    let kinds = Kinds::standard().iter();
    let thirds = kinds.filter(move |(_, k)| matches!(numbers(k)[..], [1, 3, 5] | [1, 3, 5, 7]));
    let mut list: Vec<(KindId, &Kind)> = thirds.filter(|(_, k)| k.cost < FAR_FETCHED).collect();
    list.sort_by(|(_, a), (_, b)| {
        let size = a.members.len().cmp(&b.members.len());
        size.then(a.cost.total_cmp(&b.cost))
    });
    list.into_iter()
}

/// A chord's note as its thirds are written, but as the scale has it where that would be a
/// C♭, F♭, B♯, E♯ or a doubled accidental.
fn written_as(thirds: Spelling, scale: Spelling) -> Spelling {
    match thirds.plain() == thirds {
        true => thirds,
        false => scale,
    }
}

/// The chord of thirds on the first of these notes that sounds like them, with its notes
/// written as its thirds are. For scales without a letter for each note: their spelling does
/// not show which chords they have.
fn by_sound(notes: &[Spelling]) -> Option<(Chord, Vec<Spelling>)> {
    let root = *notes.first()?;
    let bass = root.pitch_class();
    let set: PitchClassSet = notes.iter().map(|n| n.pitch_class()).collect();
    let above = set.seen_from(bass);
    let (kind, members) = tertian_kinds().find(|(_, k)| k.set() == above)?;
    let chord = Chord {
        root: bass,
        kind,
        bass,
    };
    let written = members.members.iter().zip(notes);
    let written = written.map(|(m, &n)| written_as(m.above(root), n));
    Some((chord, written.collect()))
}

/// Where a chord stands in a harmonized scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChordPlace {
    pub form: usize,
    /// Of the form's steps.
    pub at: usize,
    /// `None` if it is on this root, but neither its triad nor its seventh (a suspended
    /// chord).
    pub size: Option<Size>,
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
    // Inversions of triads, sixths and sevenths are understood at once, those of larger chords
    // not.
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
    let same = |members: &[Member]| {
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

#[cfg(test)]
mod tests {
    use super::super::testing::harmonized;
    use super::*;

    fn labels(h: &Harmonized, steps: &[&Step], size: Size) -> Vec<String> {
        let n = Notation::default();
        let within = Some(h.spelled);
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
        // Stacks of five have all the chords of thirds; those of six have not.
        assert!(five.thirds.is_empty());
        let thirds = six.thirds.iter().map(|t| t.chords.len());
        assert_eq!(thirds.collect::<Vec<_>>(), [4, 2]);
    }

    /// Common practice, no source: a diminished seventh on every degree, and on the four
    /// degrees of one of them a dominant; in the whole-tone scale an augmented triad on
    /// each.
    #[test]
    fn symmetric_scales_have_the_chords_that_the_trade_knows() {
        let written = |s: &Stack| -> String {
            let notes: Vec<String> = s.notes.iter().map(|n| n.to_string()).collect();
            notes.join(" ")
        };
        let octatonic = harmonized("C octatonic half-whole");
        let steps = usual(&octatonic);
        assert_eq!(
            labels(&octatonic, &steps, Size::Seventh),
            ["C°7", "D♭°7", "E♭°7", "E°7", "F♯°7", "G°7", "A°7", "B♭°7"]
        );
        assert_eq!(octatonic.parallel, None);
        let n = Notation::default();
        let numerals: Vec<Option<String>> = steps
            .iter()
            .filter_map(|s| s.seventh.as_ref())
            .map(|s| octatonic.numeral(s, &n, Catalogue::standard()))
            .collect();
        assert_eq!(numerals[0].as_deref(), Some("i°7"));
        assert_eq!(numerals[6].as_deref(), Some("vi°7"));
        let dominants: Vec<String> = octatonic
            .thirds
            .iter()
            .flat_map(|t| &t.chords)
            .filter(|s| s.quality().iter().map(PitchClass::index).eq([0, 4, 7, 10]))
            .map(written)
            .collect();
        // As chords are written, whatever the scale calls their notes.
        assert_eq!(
            dominants,
            ["C E G B♭", "E♭ G B♭ D♭", "F♯ A♯ C♯ E", "A C♯ E G"]
        );
        let whole = harmonized("A♭ whole-tone");
        let steps = usual(&whole);
        assert_eq!(
            labels(&whole, &steps, Size::Triad),
            ["A♭aug", "B♭aug", "Caug", "Daug", "Eaug", "G♭aug"]
        );
        assert_eq!(written(&steps[0].triad), "A♭ C E");
        assert!(steps.iter().all(|s| s.seventh.is_none()));
    }

    #[test]
    fn a_passing_note_is_no_step_of_a_chord() {
        for (bebop, parent, passing) in [
            ("C bebop dominant", "C mixolydian", "B"),
            ("C bebop dorian", "C dorian", "E"),
            ("C bebop major", "C ionian", "G♯"),
            ("C bebop melodic minor", "C melodic minor", "G♯"),
        ] {
            let (h, parent) = (harmonized(bebop), harmonized(parent));
            assert_eq!(h.parallel, parent.parallel);
            for size in Size::BOTH {
                let own = labels(&h, &usual(&h), size);
                assert_eq!(own, labels(&parent, &usual(&parent), size), "{bebop}");
            }
            let passing: Spelling = passing.parse().expect("a note");
            assert_eq!(h.notes.len(), 8);
            assert!(h.notes.contains(&passing), "{bebop}");
            let mut held = h.thirds.iter().flat_map(|t| &t.chords).peekable();
            assert!(held.peek().is_some(), "{bebop}");
            assert!(held.all(|s| s.set().contains(passing.pitch_class())));
            assert!(parent.thirds.is_empty());
        }
        // The passing note of bebop major makes the diminished seventh between its sixths.
        let major = harmonized("C bebop major");
        let n = Notation::default();
        let all = major.thirds.iter().flat_map(|t| &t.chords);
        let all: Vec<String> = all
            .map(|s| major.label(s, &n, Catalogue::standard()))
            .collect();
        for label in ["D°7", "F°7", "G♯°7", "B°7"] {
            assert!(all.iter().any(|l| l == label), "{label}: {all:?}");
        }
    }

    #[test]
    fn thirds_that_make_no_known_chord_stay_notes() {
        let own = "[[mode]]\nid='dh'\nname='Double harmonic'\ndegrees='1 b2 3 4 5 b6 7'\n\
                   scored_as='major'\nparent='own'\n";
        let c = Catalogue::standard().extended(own).expect("a catalogue");
        let t = c.parse_tonality("C dh").expect("a tonality");
        let h = Harmonized::new(t, &c);
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
            let home = Catalogue::standard().all_forms(h.spelled.tonality);
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
}
