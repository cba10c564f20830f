//! What a chord is in its context.

use super::context::{Around, Context};
use super::place::Within;
use super::value::{Numeral, Role};
use crate::theory::catalogue::Catalogue;
use crate::theory::chord::Chord;

/// What `chord` is in its context.
pub fn analyse(chord: Chord, context: &Context, catalogue: &Catalogue) -> Numeral {
    let mode = catalogue.mode(context.within.tonality.mode);
    let within = Within {
        catalogue,
        mode,
        center: context.within.tonality.center,
        tonic: context.within.tonic,
    };
    let Around { before, ahead } = context.around;
    let found = within.read(chord, before, ahead);
    let notes = within.spell(chord, &found, ahead[0]);
    let named = within.stands(&found, chord.root);
    let bass = within.stands(&found, chord.bass);
    let mut own = [0; 7];
    for d in mode.degrees.iter().rev() {
        own[(d.number as usize + 6) % 7] = d.alter;
    }
    Numeral {
        role: found.role,
        chord: found.chord,
        degree: found.degree,
        named: (chord, named),
        bass,
        own,
        center: within.center,
        minor: mode.id == "minor",
        minor_key: !mode.is_major(),
        notes,
    }
}

/// Whether a tonality contains the chord, by stacked thirds where its degrees move.
pub(in crate::theory) fn belongs(chord: Chord, context: &Context, catalogue: &Catalogue) -> bool {
    let role = analyse(chord, &Context::new(context.within), catalogue).role;
    role == Role::Diatonic
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::SpelledTonality;
    use crate::theory::convention::{Cadential, Notation, NumeralBasis, NumeralCase};
    use crate::theory::degree::spell_degree;
    use crate::theory::kinds::Kinds;
    use crate::theory::mode::{ModeId, Tonality};
    use crate::theory::pitch::{PitchClass, PitchClassSet};
    use crate::theory::spelling::Spelling;

    /// Each chord in every inversion on every note of every mode: the numerals do not
    /// turn with the music, the notes do, and none is written doubled or as C♭, F♭, B♯,
    /// E♯ but for a reason.
    #[test]
    fn numerals_stay_and_notes_turn_with_the_music() {
        let c = Catalogue::standard();
        let styles = [
            Notation::default(),
            Notation {
                case: NumeralCase::Capitals,
                numeral_basis: NumeralBasis::Mode,
                cadential: Cadential::Dominant,
                ..Notation::default()
            },
        ];
        let modes: Vec<ModeId> = c.iter().map(|(id, _)| id).collect();
        let kinds = Kinds::standard();
        let triads = ["", "m"].map(|s| kinds.find(s).expect(s));
        let mut count = 0;
        for &mode in &modes {
            for (kind, k) in kinds.iter() {
                for above in 0..12 {
                    for bass in k.set().iter().map(|b| b.index() as i32) {
                        // A different neighbour each time; none in one of 13 cases.
                        count += 1;
                        let next = count % 13;
                        let mut first = None;
                        for center in (0..12).map(PitchClass::new) {
                            let t = Tonality { center, mode };
                            let tonic = c.spell(t, None);
                            let root = center.up(above);
                            let chord = Chord {
                                root,
                                kind,
                                bass: root.up(bass),
                            };
                            let after = (next < 12).then(|| Chord {
                                root: center.up(next),
                                kind: triads[(count % 2) as usize],
                                bass: center.up(next),
                            });
                            let context =
                                Context::new(SpelledTonality::new(t, tonic)).among((None, after));
                            let numeral = analyse(chord, &context, c);
                            let text = styles.each_ref().map(|s| numeral.text(s));
                            let roman = numeral.roman_text();
                            let this = (text, roman, numeral.role);
                            match &first {
                                None => first = Some(this),
                                Some(first) => assert_eq!(*first, this, "{chord:?} in {t}"),
                            }
                            plainly_spelled(chord, &numeral, SpelledTonality::new(t, tonic));
                        }
                    }
                }
            }
        }
        assert!(count > 100_000, "{count}");
    }

    fn plainly_spelled(
        chord: Chord,
        numeral: &Numeral,
        SpelledTonality { tonality: t, tonic }: SpelledTonality,
    ) {
        let mode = Catalogue::standard().mode(t.mode);
        let own: Vec<Spelling> = mode
            .degrees
            .iter()
            .chain(&mode.movable)
            .map(|d| spell_degree(tonic, *d))
            .collect();
        let mut set = PitchClassSet::EMPTY;
        for pc in chord.set().iter() {
            let s = numeral.note(pc).expect("each note is spelled");
            assert_eq!(s.pitch_class(), pc);
            set = set.with(pc);
            assert!(
                (-1..=2).contains(&s.accidental()) || own.contains(&s),
                "{s} in {chord:?}, {tonic} {}",
                mode.id
            );
        }
        assert_eq!(numeral.notes().count(), set.len());
        // Its root C♭ or F♭ only as the mode's own degree or a lowered one of the numeral;
        // B♯ and E♯ only as the mode's, or where they lead.
        let root = numeral.root();
        let leads = matches!(numeral.role, Role::Applied(_)) && root.fifths() <= 12;
        let altered = matches!(
            numeral.role,
            Role::Neapolitan | Role::TritoneSubstitute(None) | Role::Borrowed | Role::Chromatic
        );
        let lowered = altered && numeral.degree.alter < 0 && (-8..=-7).contains(&root.fifths());
        assert!(
            (-6..=10).contains(&root.fifths()) || own.contains(&root) || leads || lowered,
            "{root} for {chord:?} in {tonic} {}",
            mode.id
        );
    }
}
