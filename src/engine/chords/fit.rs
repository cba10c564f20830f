//! Which chord a harmony is: how well each kind on its triad explains what was heard.

use super::super::harmony::{Degrees, Judgement, RootedTriad, TRIADS};
use crate::theory::{Chord, Hearing, Kinds, PitchClass, PitchClassSet, Sonority, Triad, bass_cost};

/// The factor of what was learned of a chord's degrees. Against it, each note of the chord that
/// was heard counts 1, …
const SAID: f32 = 0.3;
/// … each note outside the chord and each missing member costs this much, …
const OUTSIDE: f32 = 0.95;
const MISSING: f32 = 0.45;
/// … and a kind's own cost (`config/chords.toml`) has this factor.
const COST: f32 = 2.2;
/// Minimum weight of a pitch class that counts as heard.
const AUDIBLE: f32 = 0.15;

/// What must have been heard of a chord to be named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Every note but a fifth.
    EveryNote,
    /// The same, but of a triad two notes are enough.
    TwoOfATriad,
}

/// The harmony that a chord is.
pub(super) fn meant_by(chord: Chord) -> RootedTriad {
    (chord.root, Kinds::standard().kind(chord.kind).triad())
}

/// What is likely at a stroke.
pub(super) struct HarmonyEstimate {
    pub judgement: Judgement,
    best: RootedTriad,
    /// The probability of the best.
    pub sure: f32,
}

impl HarmonyEstimate {
    pub fn new(judgement: Judgement, bass: PitchClass) -> HarmonyEstimate {
        let (best, sure) = judgement.best(bass);
        HarmonyEstimate {
            judgement,
            best,
            sure,
        }
    }

    /// The likeliest chord of all whose notes were heard.
    pub fn of_all(&self, heard: &[f32; 12], bass: PitchClass) -> Option<Chord> {
        let mut best: Option<(Chord, f32)> = None;
        let audible = audible(heard);
        for root in (0..12).map(|n| bass.up(n)).filter(|&r| audible.contains(r)) {
            for triad in TRIADS {
                let nats = self.nats((root, triad));
                if best.is_none_or(|(_, most)| nats > most)
                    && let Some(c) = likeliest(
                        &self.judgement.degrees_on(root),
                        heard,
                        bass,
                        (root, triad),
                        Needs::EveryNote,
                    )
                {
                    best = Some((c, nats));
                }
            }
        }
        best.map(|(chord, _)| chord)
    }

    /// How much less likely than the best a harmony is, as a logarithm: 0 or less.
    pub fn nats(&self, harmony: RootedTriad) -> f32 {
        self.judgement.of(harmony) - self.judgement.of(self.best)
    }
}

/// Am7 for C6/A: a sixth chord is never written with its sixth in the bass.
pub fn on_its_bass(chord: Chord, hearing: Hearing) -> Chord {
    let kinds = Kinds::standard();
    let sixth = chord.bass_member().is_some_and(|m| m.number == 6);
    match kinds.name(chord.set(), chord.bass, hearing) {
        Sonority::Chord(c) if sixth && c.root == c.bass => c,
        _ => chord,
    }
}

/// The likeliest chord of a harmony, its bass given; `None` if too little of it was heard.
/// `degrees`: what is said of those on its root; `heard`: how much each pitch class counts,
/// 0-1.
pub fn likeliest(
    degrees: &Degrees,
    heard: &[f32; 12],
    bass: PitchClass,
    (root, triad): RootedTriad,
    needs: Needs,
) -> Option<Chord> {
    let above = audible(heard).seen_from(root);
    let mut best: Option<(Chord, f32)> = None;
    for (id, kind) in Kinds::standard().iter().filter(|(_, k)| k.triad() == triad) {
        // No note is named that was not heard, but for a fifth; of a triad that is
        // expected two notes are enough.
        let expected = needs == Needs::TwoOfATriad
            && kind.members.len() == 3
            && triad != Triad::Suspended
            && kind.set().and(above).len() >= 2;
        if !(expected || kind.core().is_subset(above)) {
            continue;
        }
        let chord = Chord {
            root,
            kind: id,
            bass,
        };
        let fit = fit(degrees, heard, chord);
        if best.is_none_or(|(_, most)| fit > most) {
            best = Some((chord, fit));
        }
    }
    best.map(|(chord, _)| chord)
}

/// How well a chord explains what was heard, with what was learned of its degrees: up to a
/// number that is the same for all chords on one triad.
pub(super) fn fit(degrees: &Degrees, heard: &[f32; 12], chord: Chord) -> f32 {
    let kind = Kinds::standard().kind(chord.kind);
    let above = |n: usize| heard[chord.root.up(n as i32).index()];
    let (mut inside, mut missing) = (0.0, 0.0);
    for m in &kind.members {
        let w = above(usize::from(m.semitones));
        inside += w;
        // The fifth is the member that is left out most easily.
        missing += if m.semitones == 7 { 0.6 } else { 1.0 } * (1.0 - w).max(0.0);
    }
    // A foreign bass is heard as such: it is not counted as a wrong note too.
    let foreign = chord.bass_member().is_none();
    let total: f32 = (0..12).map(above).sum();
    let bass = chord.bass.above(chord.root);
    let outside = total - inside - if foreign { above(bass) } else { 0.0 };
    let penalty = kind.cost + bass_cost(kind, bass);
    let members = kind.members.iter().map(|m| usize::from(m.semitones));
    let said: f32 = members.filter_map(|n| degrees.get(n.checked_sub(1)?)).sum();
    SAID * said + inside - OUTSIDE * outside - MISSING * missing - COST * penalty
}

/// The pitch classes that count as heard.
pub(super) fn audible(w: &[f32; 12]) -> PitchClassSet {
    PitchClass::all()
        .filter(|pc| w[pc.index()] > AUDIBLE)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chord_names_no_note_that_was_not_heard() {
        let none = [0.0; 11];
        let heard = |pcs: &[i32]| {
            let mut w = [0.0; 12];
            pcs.iter().for_each(|&pc| w[pc as usize] = 1.0);
            w
        };
        let c = PitchClass::new(0);
        let name = |pcs: &[i32], triad| {
            let found = likeliest(&none, &heard(pcs), c, (c, triad), Needs::TwoOfATriad);
            found.map(|f| Kinds::standard().kind(f.kind).symbol.clone())
        };
        assert_eq!(name(&[0, 4, 7], Triad::Major).as_deref(), Some(""));
        assert_eq!(name(&[0, 4, 7, 10], Triad::Major).as_deref(), Some("7"));
        // Of a triad two notes are enough, but a fourth alone is no suspension.
        assert_eq!(name(&[0, 4], Triad::Major).as_deref(), Some(""));
        assert_eq!(name(&[0, 5], Triad::Suspended), None);
        assert_eq!(name(&[0, 5, 7], Triad::Suspended).as_deref(), Some("sus4"));
        assert_eq!(name(&[0], Triad::Minor), None);
    }
}
