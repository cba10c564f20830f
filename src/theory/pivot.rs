//! From one tonality to the next: the common chord, and the notes that change.

use super::catalogue::Catalogue;
use super::chord::Chord;
use super::degree::spell_degree;
use super::kind::Triad;
use super::kinds::Kinds;
use super::mode::SpelledTonality;
use super::numeral::{Context, Numeral, analyse, belongs};
use super::spelling::Spelling;

/// A chord that belongs to the tonality left and to the one reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pivot {
    /// Its place in the list that was given.
    pub index: usize,
    pub chord: Chord,
    /// What it is in the tonality left.
    pub from: Numeral,
    /// What it is in the one reached.
    pub to: Numeral,
}

/// How many chords before the first foreign one may be the common one: what stands
/// between is passing. Common practice, no source.
const BACK: usize = 2;
/// How many chords after the change the first foreign one may come. Common practice, no
/// source.
const AHEAD: usize = 4;

/// The common chord of a modulation: the last before the first chord that the tonality
/// left does not contain. `None` where there is none, as when phrases stand side by side.
///
/// `chords`: the harmonies of both regions in order; `change`: the place of the first
/// one that counts as evidence for the tonality reached.
pub fn pivot(
    left: SpelledTonality,
    reached: SpelledTonality,
    chords: &[Chord],
    change: usize,
    catalogue: &Catalogue,
) -> Option<Pivot> {
    let (left, reached) = (Context::new(left), Context::new(reached));
    let foreign = chords
        .iter()
        .skip(change)
        .take(AHEAD)
        .position(|&c| !belongs(c, &left, catalogue))
        .map_or(change, |i| change + i)
        .min(chords.len());
    // A suspension says too little to be common.
    let common = |&i: &usize| {
        let c = chords[i];
        Kinds::standard().kind(c.kind).triad() != Triad::Suspended
            && belongs(c, &left, catalogue)
            && belongs(c, &reached, catalogue)
    };
    let back = foreign.saturating_sub(BACK)..foreign;
    let index = back.rev().find(common)?;
    let chord = chords[index];
    let before = index.checked_sub(1).map(|i| chords[i]);
    let after = chords.get(index + 1).copied();
    Some(Pivot {
        index,
        chord,
        from: analyse(chord, &left.among((before, None)), catalogue),
        to: analyse(chord, &reached.among((None, after)), catalogue),
    })
}

/// The notes of the tonality left that the one reached alters, each as it was and as it
/// becomes: F and F♯ from C to G. Of minor the leading tone counts, G♯ in A minor.
/// In the order of the tonality reached. Where one is written in sharps and the other
/// in flats, notes are matched as if both were written alike.
pub fn altered(
    left: SpelledTonality,
    reached: SpelledTonality,
    catalogue: &Catalogue,
) -> Vec<(Spelling, Spelling)> {
    let notes = |t: SpelledTonality| -> Vec<Spelling> {
        let mode = catalogue.mode(t.tonality.mode);
        let moved = |number: u8| mode.characteristic.iter().find(|d| d.number == number);
        let degrees = mode.degrees.iter().map(|d| match mode.movable.is_empty() {
            true => d,
            false => moved(d.number).unwrap_or(d),
        });
        degrees.map(|d| spell_degree(t.tonic, *d)).collect()
    };
    let (old, new) = (notes(left), notes(reached));
    let middle = |all: &[Spelling]| {
        let sum: i32 = all.iter().map(|s| i32::from(s.fifths())).sum();
        sum / all.len().max(1) as i32
    };
    // Twelve fifths on, a note has another name on the same key.
    let apart = middle(&new) - middle(&old);
    let shift = [-12, 0, 12]
        .into_iter()
        .min_by_key(|s: &i32| (apart - s).abs())
        .unwrap_or(0);
    new.iter()
        .filter_map(|&to| {
            let alike = |s: &&Spelling| s.along(shift as i8).letter() == to.letter();
            let from = *old.iter().find(alike)?;
            (from.pitch_class() != to.pitch_class()).then_some((from, to))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::{chord, within};
    use super::super::{Notation, PitchClass, Tonality};
    use super::*;

    fn chords(list: &str) -> Vec<Chord> {
        list.split(' ').map(chord).collect()
    }

    fn found(
        left: &str,
        reached: &str,
        list: &str,
        change: usize,
    ) -> Option<(usize, String, String)> {
        let c = Catalogue::standard();
        let p = pivot(within(left), within(reached), &chords(list), change, c)?;
        let n = Notation::default();
        Some((p.index, p.from.text(&n), p.to.text(&n)))
    }

    /// Common practice, no source.
    #[test]
    fn common_chords_of_the_usual_modulations() {
        let is = |i: usize, from: &str, to: &str| Some((i, from.to_owned(), to.to_owned()));
        // C to G: vi is ii, whether the change counts from it or from the D7 after it.
        for change in [2, 3] {
            assert_eq!(
                found("C ionian", "G ionian", "C G/B Am D7 G", change),
                is(2, "vi", "ii")
            );
        }
        // I is IV; a first inversion stays one.
        assert_eq!(
            found("C ionian", "G ionian", "F C/E D7/F# G", 2),
            is(1, "I6", "IV6")
        );
        // To the relative minor: ii is iv.
        assert_eq!(
            found("C ionian", "A minor", "C G7 C Dm E7 Am", 4),
            is(3, "ii", "iv")
        );
        // To the relative major: i is vi.
        assert_eq!(
            found("A minor", "C ionian", "Am E Am G7 C", 3),
            is(2, "i", "vi")
        );
        // To the subdominant, where B♭ is the first foreign note.
        assert_eq!(
            found("C ionian", "F ionian", "C G Am Gm7 C7 F", 3),
            is(2, "vi", "iii")
        );
        // From mode to mode.
        assert_eq!(
            found("D dorian", "A dorian", "Dm Em Am Bm Am", 3),
            is(2, "v", "i")
        );
        // What passes between does not hide it.
        assert_eq!(
            found("C ionian", "G ionian", "C Am Fmaj7 D7 G", 3),
            is(1, "vi", "ii")
        );
        // Where all is common the last before the change; a suspension is not asked.
        assert_eq!(
            found("A dorian", "E aeolian", "Am D Em Csus2 Em Am", 4),
            is(2, "v", "i")
        );
        // Phrases side by side have none.
        assert_eq!(found("C ionian", "Ab ionian", "C F G7 Ab Db", 3), None);
        assert!(
            pivot(
                within("C ionian"),
                within("G ionian"),
                &[],
                3,
                Catalogue::standard()
            )
            .is_none()
        );
    }

    #[test]
    fn the_notes_altered() {
        let c = Catalogue::standard();
        let text = |left: &str, reached: &str| -> String {
            let all = altered(within(left), within(reached), c);
            let all: Vec<String> = all.iter().map(|(a, b)| format!("{a}→{b}")).collect();
            all.join(" ")
        };
        assert_eq!(text("C ionian", "G ionian"), "F→F♯");
        assert_eq!(text("C ionian", "F ionian"), "B→B♭");
        assert_eq!(text("C ionian", "A minor"), "G→G♯");
        assert_eq!(text("C ionian", "A aeolian"), "");
        assert_eq!(text("D dorian", "D phrygian"), "E→E♭ B→B♭");
        assert_eq!(text("C ionian", "Eb ionian"), "E→E♭ A→A♭ B→B♭");
        // Written in flats before and in sharps after.
        assert_eq!(text("Gb ionian", "A ionian"), "B♭→A E♭→D F→E");
        // Five notes have nothing to say about the others.
        assert_eq!(text("C major_pentatonic", "C minor_pentatonic"), "E→E♭");
    }

    /// Every pair of tonalities, and a few chords, twelve times.
    #[test]
    fn both_turn_with_the_music() {
        let c = Catalogue::standard();
        let list = chords("C F Dm7 Am G7 E7 Am D7 G Bb Eb");
        let n = Notation::default();
        let modes: Vec<_> = c.iter().map(|(id, _)| id).collect();
        for up in 1..12 {
            let moved: Vec<Chord> = list
                .iter()
                .map(|c| Chord {
                    root: c.root.up(up),
                    bass: c.bass.up(up),
                    ..*c
                })
                .collect();
            for &mode in &modes {
                for center in 0..12 {
                    let at = |n: i32, mode| {
                        let center = PitchClass::new(n);
                        let t = Tonality { center, mode };
                        SpelledTonality::new(t, c.spell(t, None))
                    };
                    let (here, there) = (at(0, modes[1]), at(center, mode));
                    let (here_up, there_up) = (at(up, modes[1]), at(center + up, mode));
                    for change in [2, 5, 9] {
                        let a = pivot(here, there, &list, change, c);
                        let b = pivot(here_up, there_up, &moved, change, c);
                        let text = |p: Pivot| (p.index, p.from.text(&n), p.to.text(&n));
                        assert_eq!(a.map(text), b.map(text));
                    }
                    let classes = |from, to, down: i32| -> Vec<[usize; 2]> {
                        let all = altered(from, to, c);
                        let mut all: Vec<[usize; 2]> = all
                            .iter()
                            .map(|(a, b)| [a, b].map(|s| s.pitch_class().up(-down).index()))
                            .collect();
                        all.sort();
                        all
                    };
                    // Enharmonic names may pair the notes of far keys otherwise: near ones do not.
                    if here.tonic.fifths().abs_diff(there.tonic.fifths()) < 5 {
                        assert_eq!(
                            classes(here, there, 0).len(),
                            classes(here_up, there_up, up).len(),
                            "{center} {mode:?} up {up}"
                        );
                    }
                }
            }
        }
    }
}
