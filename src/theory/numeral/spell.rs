//! How the notes of a chord are spelled in its tonality.

use super::place::{Interpretation, Within, kind, leads};
use super::value::{Notes, Role};
use crate::theory::chord::Chord;
use crate::theory::degree::{Degree, spell_degree};
use crate::theory::kind::Member;
use crate::theory::pitch::PitchClass;
use crate::theory::spelling::Spelling;

impl Within<'_> {
    /// A note of the chord as a degree of the tonality, as theory spells it.
    pub fn stands(&self, found: &Interpretation, pc: PitchClass) -> Degree {
        let Some(m) = found.chord.member(pc) else {
            return self.beside_the_mode(pc).1;
        };
        let spelled = match (found.role, m.number) {
            // The augmented sixth itself is ♯4.
            (Role::AugmentedSixth(..), 7) => m.above(found.root).along(12),
            _ => m.above(found.root),
        };
        // What stacks as a third is no other degree that sounds alike: D♯ in B7 in C
        // minor. What the chord only alters is.
        if m.is_altered() && self.mode.set().contains(self.center_to(pc)) {
            return self.degree_of(pc, spelled);
        }
        let number = ((spelled.letter() + 7 - self.tonic.letter()) % 7) as u8 + 1;
        match Degree::at(number, pc.above(self.center)) {
            // Not ♭♭6 where a reader expects 5.
            d if d.alter.abs() > 1 => self.beside_the_mode(pc).1,
            d => d,
        }
    }

    /// The notes as they are shown: stacked thirds upon a root that reads plainly, but
    /// without doubled flats, and what the tonality has as a degree is written so where
    /// the chord only alters it: E♭ in G+ in C minor.
    pub fn spell(&self, chord: Chord, found: &Interpretation, after: Option<Chord>) -> Notes {
        let k = kind(found.chord.kind);
        let own = |s: Spelling| {
            let mut all = self.mode.degrees.iter().chain(&self.mode.movable);
            all.any(|d| d.alter > -2 && spell_degree(self.tonic, *d) == s)
        };
        let leading = matches!(found.role, Role::Applied(_)) && leads(found.chord) == Some(1);
        let sharpest = if leading { 12 } else { 10 };
        let plain = |s: Spelling| (-6..=sharpest).contains(&s.fifths()) || own(s);
        // Each note of a diminished seventh is read by itself, as any may be the root;
        // so is what the lowered fifth and the augmented sixth make.
        let augmented = matches!(found.role, Role::AugmentedSixth(..)) && plain(found.root);
        let fixed = k.symbol == "dim7" || augmented;
        // Where it goes down a semitone it keeps its spelling: G♭7 before F.
        let goes = after.is_some_and(|a| a.root == found.chord.root.up(-1));
        // ♭II is written on that degree, C♭ in B♭, unless that is doubled: D in D♭.
        let lowered = match found.role {
            Role::Neapolitan | Role::TritoneSubstitute(None) => true,
            Role::Borrowed | Role::Chromatic => found.degree.alter < 0,
            _ => false,
        };
        let on_degree = lowered && (-8..=10).contains(&found.root.fifths());
        let clumsy = |root: Spelling| {
            let of_degree = matches!(found.role, Role::TritoneSubstitute(Some(_)));
            let demanded = |m: &&Member| match m.number {
                3 => true,
                // A♯m7♭5 in F, not B♭m7♭5 with F♭.
                5 => m.semitones == 7 || found.role == Role::Chromatic,
                // F♯7 in C, not G♭7 with F♭.
                7 => of_degree && !goes,
                _ => false,
            };
            let clumsy = |s: Spelling| match s.accidental() {
                ..=-2 => 2,
                // A chord without a function is spelled by itself.
                _ if (of_degree || found.role == Role::Chromatic) && !plain(s) => 1,
                _ => 0,
            };
            // A♭m has its C♭; who would look for G♯m in C?
            let flat = |m: &Member| m.number == 3 && m.above(root).fifths() == -7;
            let members = k.members.iter().filter(demanded).filter(|m| !flat(m));
            let all: usize = members.map(|m| clumsy(m.above(root))).sum();
            all + 6 * usize::from(!plain(root))
        };
        let root = if fixed || on_degree {
            found.root
        } else {
            [0, 12, -12]
                .into_iter()
                .map(|f| found.root.along(f))
                .min_by_key(|&r| clumsy(r))
                .unwrap_or(found.root)
        };
        let mut by_class = [None; 12];
        for &m in &k.members {
            let pc = found.chord.root.up(i32::from(m.semitones));
            let s = m.above(root);
            let s = match s {
                s if augmented && m.number == 7 => s.along(12),
                // The French sixth's is the second degree: F♯ above C in E.
                s if augmented && (m.number, m.semitones) == (5, 6) => s.along(12),
                s if own(s) => s,
                _ if m.is_altered() && self.mode.set().contains(self.center_to(pc)) => {
                    self.mode.note(pc, self.center, self.tonic)
                }
                _ if fixed && !plain(s) => s.plain(),
                _ if s.accidental() < -1 || s.accidental() > 2 => s.plain(),
                _ => s,
            };
            by_class[pc.index()] = Some(s);
        }
        for pc in chord.set().iter() {
            let foreign = || self.mode.note(pc, self.center, self.tonic);
            by_class[pc.index()].get_or_insert_with(foreign);
        }
        let root = match by_class[chord.root.index()] {
            // A lead sheet's other name for the notes: B6, not C♭6.
            Some(s) if chord.root != found.chord.root && !plain(s) => s.plain(),
            named => named.unwrap_or(root),
        };
        Notes { root, by_class }
    }
}

#[cfg(test)]
mod tests {
    use super::super::analysis::analyse;
    use super::super::context::Context;
    use super::*;
    use crate::theory::catalogue::Catalogue;
    use crate::theory::convention::{Notation, NumeralCase};
    use crate::theory::kinds::Kinds;
    use crate::theory::mode::{SpelledTonality, Tonality};
    use crate::theory::testing::{numerals, spelled};

    /// Outside the tonality by resolution; by the chord where that asks for it; what the
    /// tonality has as it has it.
    #[test]
    fn notes_are_spelled_by_what_they_do() {
        let cases = [
            ("C ionian", "C#dim7", Some("Dm"), "C♯ E G B♭"),
            ("C ionian", "Edim7", Some("Dm"), "E G B♭ C♯"),
            ("C ionian", "Ab7", None, "A♭ C E♭ G♭"),
            ("C ionian", "Ab7", Some("G"), "A♭ C E♭ F♯"),
            ("C ionian", "Ab7b5", Some("G"), "A♭ C D F♯"),
            ("C minor", "Gaug", None, "G B E♭"),
            ("C ionian", "Gaug", None, "G B D♯"),
            ("C ionian", "Bdim7", Some("Am"), "B D F G♯"),
            ("Gb ionian", "Fdim7", None, "F A♭ C♭ D"),
            ("Gb ionian", "B", None, "C♭ E♭ G♭"),
            ("Ab ionian", "E", None, "F♭ A♭ C♭"),
            ("Bb ionian", "B", None, "C♭ E♭ G♭"),
            ("Bb ionian", "B7", Some("Bb"), "C♭ E♭ G♭ A"),
            ("Db ionian", "D", None, "D F♯ A"),
            ("E ionian", "F#7b5/C", Some("B"), "C E F♯ A♯"),
            ("E ionian", "F#7b5/C", None, "C E F♯ A♯"),
            ("F ionian", "Bbm7b5/E", None, "E G♯ A♯ C♯"),
            ("C ionian", "Abm", None, "A♭ C♭ E♭"),
            ("C ionian", "C#m", None, "C♯ E G♯"),
            ("F ionian", "Dbm", None, "D♭ F♭ A♭"),
            ("C ionian", "F#m", None, "F♯ A C♯"),
            ("Db ionian", "Ebm7b5", None, "E♭ G♭ A D♭"),
            ("E ionian", "Fdim7", Some("F#m"), "E♯ G♯ B D"),
            ("E ionian", "D#7", Some("G#m"), "D♯ Fx A♯ C♯"),
            // What leads on keeps its letter; what the mode has is written so.
            ("E ionian", "D#7#5", Some("G#m"), "D♯ Fx B C♯"),
            ("E ionian", "F#7#5", Some("B"), "F♯ A♯ Cx E"),
            ("B ionian", "C#7#9", Some("F#"), "C♯ E E♯ G♯ B"),
            // In the bass D♯ rises, E♭ falls.
            ("C ionian", "Ebdim7", None, "D♯ F♯ A C"),
            ("C ionian", "Ebdim7", Some("C/E"), "D♯ F♯ A C"),
            ("C ionian", "Ebdim7", Some("Dm7"), "E♭ F♯ A C"),
            ("C ionian", "Gb7", None, "F♯ A♯ C♯ E"),
        ];
        for (key, label, after, want) in cases {
            assert_eq!(spelled(key, label, after), want, "{label} in {key}");
        }
    }

    #[test]
    fn what_resolves_is_spelled_by_where_it_goes() {
        let cases = [
            ("C ionian", "Eb7", "D7", "E♭ G B♭ C♯"),
            ("C minor", "Db7", "C7", "D♭ F A♭ B"),
            ("C minor", "F#dim7", "Cm", "F♯ A C E♭"),
            ("C ionian", "Gb7", "F", "G♭ B♭ D♭ F♭"),
        ];
        for (key, label, after, want) in cases {
            assert_eq!(spelled(key, label, Some(after)), want, "{label} in {key}");
        }
    }

    /// The bass as a degree is the note that is written, also of an augmented sixth (♯4, not
    /// ♭5) and of what leads (D♯ of B7 in C minor, not its E♭): every chord over every bass
    /// in the main modes, resolving everywhere.
    #[test]
    fn the_bass_has_the_degree_of_its_spelling() {
        let c = Catalogue::standard();
        let kinds = Kinds::standard();
        let triad = kinds.find("").expect("a triad");
        let (mut compared, mut otherwise) = (0, 0);
        for (mode, m) in c.iter().take(8) {
            let center = PitchClass::new(2);
            let t = Tonality { center, mode };
            let tonic = c.spell(t, None);
            let number = |s: Spelling| ((s.letter() + 7 - tonic.letter()) % 7) as u8 + 1;
            let all = kinds.iter().flat_map(|(kind, _)| {
                let roots = PitchClass::all().map(move |root| (kind, root));
                roots.flat_map(|(kind, root)| {
                    PitchClass::all().map(move |bass| Chord { root, kind, bass })
                })
            });
            for chord in all {
                for next in 0..13 {
                    let after = (next < 12).then(|| Chord {
                        root: center.up(next),
                        kind: triad,
                        bass: center.up(next),
                    });
                    let context = Context::new(SpelledTonality::new(t, tonic)).among((None, after));
                    let n = analyse(chord, &context, c);
                    let bass = n.note(chord.bass).expect("spelled");
                    let written = Degree::at(number(bass), chord.bass.above(center));
                    // Read on another letter: as a whole (D♭maj7 on VII, B7 for ♭II7/♭VI),
                    // the plain note for C♭ in a diminished seventh, and what would be a
                    // doubled degree.
                    let plain = spell_degree(tonic, n.bass).plain();
                    let respelled = number(n.root()) != n.named.1.number
                        || matches!(n.role, Role::TritoneSubstitute(Some(_)))
                        || n.chord.root != chord.root && n.role == Role::Chromatic;
                    let diminished = kind(n.chord.kind).symbol == "dim7" && plain == bass;
                    if respelled || diminished || written.alter.abs() > 1 {
                        otherwise += 1;
                    } else {
                        assert_eq!(n.bass, written, "{bass} of {chord:?} in {}: {n:?}", m.id);
                        compared += 1;
                    }
                }
            }
        }
        assert!(compared > 9 * otherwise, "{compared} and {otherwise}");
        let capitals = Notation {
            case: NumeralCase::Capitals,
            ..Notation::default()
        };
        let cases = [
            ("C ionian", "Ab7/Gb G", "subV7/V/♯4 V"),
            ("C minor", "B7/D# Em", "V7/♯III/♯2 ♯IIIm"),
            ("C minor", "G7/B Cm Bb/D Eb", "V7/7 Im VII/2 III"),
        ];
        for (key, chords, want) in cases {
            assert_eq!(
                numerals(key, chords, true, &capitals),
                want,
                "{key}: {chords}"
            );
        }
    }
}
