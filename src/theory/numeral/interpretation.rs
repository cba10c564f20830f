//! What a chord does in a tonality, of all that it might do there.
//!
//! What the mode itself contains wins: II in Lydian is no V/V, ♭II in Phrygian no
//! Neapolitan. Only then comes what resolves (applied chords, augmented sixths,
//! tritone substitutes), then what the parallel major or minor lends, then what
//! would be applied if it resolved as it commonly does. In hindsight the next three
//! harmonies tell which degree is tonicized. Common practice of the
//! textbooks, no single source; checked against tests/reference/.

use super::context::{Ahead, beyond};
use super::place::{Interpretation, Within, is_dominant, is_half_diminished, kind, leads};
use super::value::{Role, Sixth, Target};
use crate::theory::chord::Chord;
use crate::theory::degree::{Degree, spell_degree};
use crate::theory::kind::Triad;
use crate::theory::kinds::Kinds;
use crate::theory::mode::Mode;
use crate::theory::pitch::PitchClass;

/// The names of the same notes that a numeral may be written for, the given one first.
fn names(chord: Chord) -> Vec<Chord> {
    let mut all = vec![chord];
    let this = kind(chord.kind);
    let mut add = |up: i32, symbol: &str| {
        if let Some(kind) = Kinds::standard().find(symbol) {
            all.push(Chord {
                root: chord.root.up(up),
                kind,
                bass: chord.bass,
            });
        }
    };
    match this.symbol.as_str() {
        "dim7" => [3, 6, 9].into_iter().for_each(|up| add(up, "dim7")),
        "aug" => [4, 8].into_iter().for_each(|up| add(up, "aug")),
        "7b5" => add(6, "7b5"),
        // Over its own root; over another note it is named as the seventh already.
        "6" if chord.bass == chord.root => add(9, "m7"),
        "m6" if chord.bass == chord.root => add(9, "m7b5"),
        // The major triad a semitone lower, and a foreign note.
        "dim(maj7)" => add(11, ""),
        _ => {}
    }
    all
}

impl Within<'_> {
    pub fn read(&self, chord: Chord, before: Option<Chord>, ahead: Ahead) -> Interpretation {
        let names = names(chord);
        let after = ahead[0];
        if let Some(r) = self.cadential(chord, before, ahead) {
            return r;
        }
        // In a symmetric scale any degree is as good a root: the chord keeps the one it has.
        let own_names = match self.mode.is_symmetric() {
            true => &names[..1],
            false => &names,
        };
        let (own, by_thirds) = self.own(own_names, self.mode);
        if let Some(own) = own {
            let moves = !self.mode.movable.is_empty();
            // In minor a seventh chord or a raised note tells: VII7 before III is V7/III,
            // IV before VII is V/VII.
            let k = kind(own.kind);
            let set = k.set().up(own.root.above(self.center) as i32);
            let raised = !set.is_subset(self.mode.set());
            if moves && (is_dominant(own) || raised) {
                // Any note of a diminished seventh may lead.
                let leading = names.iter().filter(|_| k.symbol == "dim7").chain([&own]);
                if let Some(r) = leading.copied().find_map(|n| self.resolving(n, after)) {
                    return r;
                }
                // viø7 before V7/V is its ii.
                if raised
                    && is_half_diminished(own)
                    && let Some(r) = self.in_the_key_of(&[own], ahead)
                {
                    return r;
                }
            }
            if by_thirds || !moves || set.is_subset(self.mode.set()) {
                return self.plain(own, Role::Diatonic, self.mode);
            }
        }
        if let Some(after) = after {
            if let Some(r) = self.augmented_sixth(chord, ahead) {
                return r;
            }
            let resolved = names.iter().find_map(|&n| self.resolving(n, Some(after)));
            if let Some(r) = resolved {
                return r;
            }
            if let Some(r) = self.common_tone(chord, before, after) {
                return r;
            }
            // A triad that an applied chord has led to is that degree: iv after V7/iv.
            let k = kind(chord.kind);
            let goal = k.members.len() == 3
                && before.is_some_and(|b| {
                    let to = leads(b).map(|up| b.root.up(up as i32));
                    to == Some(chord.root) && kind(b.kind).seventh().is_some()
                });
            if !goal && let Some(r) = self.in_the_key_of(&names, ahead) {
                return r;
            }
            if let Some(r) = self.substitute(chord, Some(after)) {
                return r;
            }
            if let Some(r) = self.mediant(chord, before, after) {
                return r;
            }
        }
        // The tonic's own dominants, in modes that lack the leading note as well.
        if let Some(&dominant) = names.iter().find(|&&n| self.of_the_tonic(n)) {
            return self.plain(dominant, Role::Borrowed, self.mode);
        }
        for parallel in ["ionian", "minor"] {
            let lends = self.catalogue.iter().find(|(_, m)| m.id == parallel);
            if let Some((_, mode)) = lends
                && let (Some(name), true) = self.own(&names, mode)
            {
                return self.plain(name, Role::Borrowed, mode);
            }
        }
        if let Some(r) = self.applied(&names, before, after) {
            return r;
        }
        let k = kind(chord.kind);
        let above = chord.root.above(self.center);
        if above == 1 && k.triad() == Triad::Major && k.seventh() != Some(10) {
            return self.at(chord, Role::Neapolitan, self.tonic.up(1, 1));
        }
        if let Some(r) = self.substitute(chord, None) {
            return r;
        }
        let name = match k.symbol.as_str() {
            "dim(maj7)" => names.last().copied().unwrap_or(chord),
            _ => chord,
        };
        let root = match kind(name.kind).triad() {
            Triad::Major => self.target(name.root).0,
            Triad::Minor => self.with_minor_triad(name.root).0,
            _ => self.beside_the_mode(name.root).0,
        };
        self.at(name, Role::Chromatic, root)
    }

    /// The name under which `mode` on our center contains the chord, and whether it
    /// does so by stacked thirds.
    fn own(&self, names: &[Chord], mode: &Mode) -> (Option<Chord>, bool) {
        let contains = |c: &&Chord| {
            let set = kind(c.kind).set().up(c.root.index() as i32);
            set.is_subset(mode.all_forms().up(self.center.index() as i32))
        };
        let thirds = |c: &&Chord| {
            let Some(root) = mode.degree_at(c.root.above(self.center)) else {
                return false;
            };
            kind(c.kind).members.iter().all(|m| {
                let number = (root.number + m.number - 2) % 7 + 1;
                let at = (root.semitones() + m.semitones as usize) % 12;
                let mut all = mode.degrees.iter().chain(&mode.movable);
                m.number > 7 || all.any(|d| d.number == number && d.semitones() == at)
            })
        };
        let sixth = |c: &Chord| matches!(kind(c.kind).symbol.as_str(), "6" | "m6");
        let contained: Vec<&Chord> = names.iter().filter(contains).collect();
        // An added sixth belongs to the tonic; elsewhere it is a seventh chord's third
        // in the bass.
        let order = |c: &&Chord| sixth(c) && c.root != self.center;
        // The dominant keeps its name where another root has the better thirds.
        let dominant = |c: &&Chord| c.root == c.bass && c.root == self.center.up(7);
        let mut found: Vec<&Chord> = contained.iter().copied().filter(|c| thirds(c)).collect();
        found.sort_by_key(|c| order(c));
        if let Some(&&aug) = contained.iter().find(|c| dominant(c))
            && kind(aug.kind).symbol == "aug"
        {
            return (Some(aug), true);
        }
        match found.first() {
            Some(&&c) => (Some(c), true),
            None => (contained.first().map(|c| **c), false),
        }
    }

    /// V, V7, vii°, viiø7, vii°7 of the tonic itself.
    fn of_the_tonic(&self, c: Chord) -> bool {
        match leads(c) {
            Some(5) => c.root.above(self.center) == 7,
            Some(_) => c.root.above(self.center) == 11,
            None => false,
        }
    }

    /// A chord applied to `pc`; `steps` letters above it lies the root.
    fn applied_to(
        &self,
        chord: Chord,
        pc: PitchClass,
        minor: bool,
        steps: usize,
    ) -> Interpretation {
        let (spelled, degree) = match self.target(pc) {
            (_, _, None) if minor => self.with_minor_triad(pc),
            (spelled, degree, _) => (spelled, degree),
        };
        let above = chord.root.above(pc);
        Interpretation {
            role: Role::Applied(Target { degree, minor }),
            chord,
            degree: Degree::at(steps as u8 + 1, above),
            root: spelled.up(steps, above as i32),
        }
    }

    /// A dominant, or a chord on the leading note, that goes where it leads.
    fn resolving(&self, chord: Chord, after: Option<Chord>) -> Option<Interpretation> {
        let (up, after) = (leads(chord)?, after?);
        let to = chord.root.up(up as i32);
        let fifth = self.center.up(7);
        let six_four = after.root == self.center && after.bass == fifth;
        if to == self.center
            || self.is_blue(chord)
            || !(after.root == to || to == fifth && six_four)
        {
            return None;
        }
        let k = kind(after.kind);
        if !six_four && !matches!(k.triad(), Triad::Major | Triad::Minor) {
            return None;
        }
        let (_, _, triad) = self.target(to);
        let seventh = kind(chord.kind).seventh().is_some() || up == 1;
        let known = self.mode.all_forms().contains(self.center_to(to));
        if !known && !seventh {
            // ♭VI before ♭II stays ♭VI and is no V/♭II.
            return None;
        }
        // The tonic's triad made major is V/iv before iv; before IV it stays I.
        let tonic = chord.root == self.center && !is_dominant(chord);
        if tonic && triad != Some(k.triad()) {
            return None;
        }
        // A degree that comes as a dominant itself counts with its own triad.
        let itself = !six_four && k.seventh() != Some(10);
        let minor = match triad {
            Some(t) if !itself => t == Triad::Minor,
            _ => k.triad() == Triad::Minor,
        };
        let minor = minor && !six_four;
        Some(self.applied_to(chord, to, minor, if up == 5 { 4 } else { 6 }))
    }

    /// What belongs to the degree that the next chord is applied to: iiø7/V before V7/V,
    /// VI/ii before iiø7/ii.
    fn in_the_key_of(&self, names: &[Chord], ahead: Ahead) -> Option<Interpretation> {
        let (&chord, after) = (names.first()?, ahead[0]?);
        let target = self.read(after, Some(chord), beyond(ahead)).role.target();
        let target = target.map(|t| (t, self.center.up(t.degree.semitones() as i32)));
        let dominant = kind(after.kind).triad() == Triad::Major && leads(after) == Some(5);
        let ii = |c: &&Chord| is_half_diminished(**c) && after.root == c.root.up(5);
        if let Some(&chord) = names.iter().find(ii).filter(|_| dominant) {
            // A half-diminished chord before a dominant a fourth higher is its ii.
            let to = chord.root.up(10);
            let (_, _, triad) = self.target(to);
            let known = self.mode.degree_at(to.above(self.center)).is_some();
            if to == self.center {
                return None;
            }
            let resolves = ahead[1].is_some_and(|c| c.root == to);
            let minor = match target {
                Some((t, there)) if there == to && resolves => Some(t.minor),
                // V stays major though its ii is that of minor; IV becomes iv.
                _ if to == self.center.up(5) => Some(true),
                _ if known => Some(triad.is_none_or(|t| t == Triad::Minor)),
                _ => None,
            };
            return minor.map(|minor| self.applied_to(chord, to, minor, 1));
        }
        let (target, to) = target?;
        if [to, self.center].contains(&chord.root) || self.of_the_tonic(chord) {
            return None;
        }
        let id = if target.minor { "minor" } else { "ionian" };
        let (_, mode) = self.catalogue.iter().find(|(_, m)| m.id == id)?;
        let there = Within {
            center: to,
            mode,
            ..*self
        };
        let (name, by_thirds) = there.own(names, mode);
        let name = name.filter(|_| by_thirds)?;
        let d = mode.degree_at(name.root.above(to))?;
        Some(self.applied_to(name, to, target.minor, d.number as usize - 1))
    }

    /// A diminished seventh that shares the root of the triad after it: of the tonic, or
    /// of V and IV where it comes from them as well. Before a six-four it leads to V.
    fn common_tone(
        &self,
        chord: Chord,
        before: Option<Chord>,
        after: Chord,
    ) -> Option<Interpretation> {
        let k = kind(after.kind);
        let to = after.root;
        let shared = kind(chord.kind).symbol == "dim7" && chord.set().contains(to);
        let plain = matches!(k.triad(), Triad::Major | Triad::Minor);
        let six_four = after.bass == to.up(7);
        if !shared || !plain || six_four {
            return None;
        }
        let above = to.above(self.center);
        let target = match above {
            0 => None,
            5 | 7 if before.is_some_and(|b| b.root == to) => Some(Target {
                degree: self.target(to).1,
                minor: k.triad() == Triad::Minor,
            }),
            _ => return None,
        };
        // ♯2 and ♯4 rise to major's third and fifth; minor has ♭3.
        let (number, up) = match k.triad() {
            Triad::Minor => (4, 6),
            _ => (2, 3),
        };
        let chord = Chord {
            root: to.up(up),
            ..chord
        };
        Some(Interpretation {
            role: Role::CommonTone(target),
            chord,
            degree: Degree::at(number, up as usize),
            root: self.target(to).0.up(number as usize - 1, up),
        })
    }

    /// A major triad a third from the tonic, between it and the tonic again or another
    /// chromatic one a third away: III in I III I. Else it is V of something.
    fn mediant(&self, chord: Chord, before: Option<Chord>, after: Chord) -> Option<Interpretation> {
        let third = |from: PitchClass, to: PitchClass| [3, 4, 8, 9].contains(&to.above(from));
        let from_tonic = before?.root == self.center && third(self.center, chord.root);
        let beside = !self.mode.all_forms().contains(self.center_to(after.root));
        let on = after.root == self.center || beside && third(chord.root, after.root);
        let triad = kind(chord.kind).symbol.is_empty();
        (triad && from_tonic && on).then(|| {
            let root = self.beside_the_mode(chord.root).0;
            self.at(chord, Role::Chromatic, root)
        })
    }

    /// The commonest target of a chord that goes nowhere yet, or elsewhere.
    fn applied(
        &self,
        names: &[Chord],
        before: Option<Chord>,
        after: Option<Chord>,
    ) -> Option<Interpretation> {
        // Of the names of an augmented triad the bass decides.
        let augmented = kind(names[0].kind).symbol == "aug";
        let names = if augmented { &names[..1] } else { names };
        let mut best: Option<(usize, Interpretation)> = None;
        for &chord in names {
            let Some(up) = leads(chord) else { continue };
            let to = chord.root.up(up as i32);
            let above = to.above(self.center);
            let (_, degree, triad) = self.target(to);
            let Some(triad) = triad else { continue };
            // IV7 is as blue as it is applied; I+ alone is an altered I.
            let fourth = chord.root.above(self.center) == 5 && is_dominant(chord);
            let tonic = chord.root == self.center && kind(chord.kind).triad() == Triad::Augmented;
            if above == 0 || fourth || tonic || self.is_blue(chord) {
                continue;
            }
            // V, ii, vi, IV, iii, and what is left.
            const RANK: [usize; 8] = [9, 9, 1, 4, 3, 0, 2, 5];
            let minor_first = self.minorish() && degree.number == 4;
            let rank = if minor_first {
                0
            } else {
                2 * RANK[degree.number as usize % 8] + 1
            };
            // A diminished seventh leads from its bass upwards, unless that falls.
            let falls = after.is_some_and(|a| a.bass.up(1) == chord.bass);
            let rank = match chord.bass == chord.root && up == 1 && !falls {
                true => rank.min(1),
                false => rank + 1,
            };
            if best.as_ref().is_none_or(|(r, _)| rank < *r) {
                let steps = if up == 5 { 4 } else { 6 };
                // Before VI of iv it is V7/iv, deceived.
                let sixth = |a: Chord| {
                    a.root == to.up(8) && above == 5 && kind(a.kind).triad() == Triad::Major
                };
                // After iiø7/iv as well.
                let ii = |b: Chord| {
                    is_half_diminished(b) && b.root == chord.root.up(7) && above == 5 && up == 5
                };
                let minor =
                    triad == Triad::Minor || after.is_some_and(sixth) || before.is_some_and(ii);
                let r = self.applied_to(chord, to, minor, steps);
                best = Some((rank, r));
            }
        }
        best.map(|(_, r)| r)
            .or_else(|| self.after_its_ii(names[0], before?))
    }

    /// A dominant after the ii of where it leads, far from the key: E♭7 after B♭m7 in C.
    fn after_its_ii(&self, chord: Chord, ii: Chord) -> Option<Interpretation> {
        let to = chord.root.up(5);
        let half = is_half_diminished(ii);
        let k = kind(ii.kind);
        let seventh = k.triad() == Triad::Minor && k.seventh() == Some(10);
        // ♭II7 rather is the tonic's substitute.
        let far = ![0, 6].contains(&to.above(self.center));
        let goes = is_dominant(chord) && ii.root == chord.root.up(7) && far;
        (goes && (half || seventh) && !self.is_blue(chord))
            .then(|| self.applied_to(chord, to, half, 4))
    }

    /// ♭6 in the bass and ♯4 above it, or the two exchanged, before V or the six-four that
    /// stands for it: of the tonic, or of the degree that the next chord is applied to.
    fn augmented_sixth(&self, chord: Chord, ahead: Ahead) -> Option<Interpretation> {
        let after = ahead[0]?;
        let k = kind(after.kind);
        let before_dominant = |to: PitchClass| {
            let dominant = after.root == to.up(7) && k.triad() == Triad::Major;
            dominant || after.root == to && after.bass == to.up(7)
        };
        let (target, to, tonic) = if before_dominant(self.center) {
            (None, self.center, self.tonic)
        } else if names(chord).iter().any(|c| is_dominant(*c)) {
            let t = self.read(after, Some(chord), beyond(ahead)).role.target()?;
            let to = self.center.up(t.degree.semitones() as i32);
            (Some(t), to, spell_degree(self.tonic, t.degree))
        } else {
            return None;
        };
        if !before_dominant(to) {
            return None;
        }
        let root = to.up(8);
        let chord = names(chord).into_iter().find(|c| c.root == root)?;
        let sixth = match kind(chord.kind).symbol.as_str() {
            "7(no5)" => Sixth::Italian,
            "7" => Sixth::German,
            // Upon its other notes it is V with a lowered fifth.
            "7b5" if [root, root.up(10)].contains(&chord.bass) => Sixth::French,
            _ => return None,
        };
        Some(Interpretation {
            role: Role::AugmentedSixth(sixth, target),
            chord,
            degree: Degree::at(6, 8),
            root: tonic.up(5, 8),
        })
    }

    /// A dominant seventh a semitone above where it goes; unresolved, only that of the
    /// tonic and that a tritone from it (of IV).
    fn substitute(&self, chord: Chord, after: Option<Chord>) -> Option<Interpretation> {
        if !is_dominant(chord) || kind(chord.kind).triad() != Triad::Major {
            return None;
        }
        let to = chord.root.up(-1);
        let above = to.above(self.center);
        let (spelled, degree, triad) = self.target(to);
        match after {
            Some(after) if after.root == to => {
                let known = above == 0 || triad.is_some();
                let plain = matches!(kind(after.kind).triad(), Triad::Major | Triad::Minor);
                if !known || !plain {
                    return None;
                }
            }
            Some(_) => return None,
            None if above == 0 || above == 5 && triad.is_some() => {}
            None => return None,
        }
        let minor = after.map_or(triad == Some(Triad::Minor), |a| {
            let k = kind(a.kind);
            match triad {
                Some(t) if k.seventh() == Some(10) => t == Triad::Minor,
                _ => k.triad() == Triad::Minor,
            }
        });
        let target = (above != 0).then_some(Target { degree, minor });
        Some(Interpretation {
            role: Role::TritoneSubstitute(target),
            chord,
            degree: Degree {
                number: 2,
                alter: -1,
            },
            root: spelled.up(1, 1),
        })
    }

    /// A six-four whose bass becomes the root of the dominant after it.
    fn cadential(
        &self,
        chord: Chord,
        before: Option<Chord>,
        ahead: Ahead,
    ) -> Option<Interpretation> {
        let after = ahead[0];
        let k = kind(chord.kind);
        let triad = matches!(k.triad(), Triad::Major | Triad::Minor);
        let fifth = chord.root.up(7);
        if !triad || k.members.len() != 3 || chord.bass != fifth {
            return None;
        }
        let tonic = |target, root| Interpretation {
            role: Role::Cadential(target),
            chord,
            degree: Degree::at(1, 0),
            root,
        };
        let dominant =
            |c: Chord| c.root == fifth && c.bass == fifth && kind(c.kind).triad() == Triad::Major;
        if chord.root == self.center {
            let is = match (before, after) {
                (_, Some(after)) => dominant(after),
                // Live: after a chord that goes to the dominant.
                (Some(before), None) => {
                    let bass = before.bass.above(self.center);
                    before.root != self.center && [5, 6, 8, 9].contains(&bass)
                }
                (None, None) => false,
            };
            return is.then(|| tonic(None, self.tonic));
        }
        let after = after.filter(|&a| dominant(a))?;
        let (spelled, degree, _) = self.target(chord.root);
        match self.read(after, None, beyond(ahead)).role {
            Role::Applied(t) if t.degree == degree => {
                let minor = k.triad() == Triad::Minor;
                Some(tonic(Some(Target { degree, minor }), spelled))
            }
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::theory::convention::Notation;
    use crate::theory::testing::numerals;

    /// Common practice of the textbooks, no single source.
    #[test]
    fn what_a_chord_leads_to_is_said_in_hindsight() {
        let plain = Notation::default();
        #[rustfmt::skip]
        let cases = [
            // Augmented sixths, told by V or by the six-four before it.
            ("C ionian", "C Ab7 G", "I Ger6 V", "I ♭VI7 V"),
            ("C ionian", "Ab7 C/G G7 C", "Ger6 I64 V7 I", "♭VI7 I64 V7 I"),
            ("C minor", "Ab7b5 G Ab7(no5) G", "Fr6 V It6 V", "V43(♭5)/V V VI7 V"),
            ("C ionian", "Ab7 Db", "V7/♭II ♭II", "♭VI7 ♭II"),
            ("C ionian", "Ab7 F", "♭VI7 IV", "♭VI7 IV"),
            // Applied chords, with inversions.
            ("C ionian", "D7/F# G E7/G# Am A7 Dm", "V65/V V V65/vi vi V7/ii ii", "V65/V V V65/vi vi V7/ii ii"),
            ("C ionian", "C7 F C7 Fm C7 Db", "V7/IV IV V7/iv iv V7/iv ♭II", "V7/IV IV V7/IV iv V7/IV ♭II"),
            ("C ionian", "F#dim7 G F#m7b5 G F#dim/A G", "vii°7/V V viiø7/V V vii°6/V V", "vii°7/V V viiø7/V V vii°6/V V"),
            ("C ionian", "Bdim7 C Bdim7 Am", "vii°7 I vii°65/vi vi", "vii°7 I vii°7 vi"),
            ("C ionian", "Am7b5/C D7 G Em7b5 A7 Dm", "iiø65/V V7/V V iiø7/ii V7/ii ii", "viø65 V7/V V viiø7/IV V7/ii ii"),
            ("C ionian", "Gm7b5 C7 Fm", "iiø7/iv V7/iv iv", "vø7 V7/iv iv"),
            ("C ionian", "Gm7 C7 F", "ii7/IV V7/IV IV", "v7 V7/IV IV"),
            ("C ionian", "F#dim7 C/G G", "vii°7/V I64 V", "vii°7/V I64 V"),
            ("C minor", "Bb7 Eb F7 Bb C7 Fm D7 G", "V7/III III V7/VII VII V7/iv iv V7/V V", "VII7 III IV7 VII V7/iv iv V7/V V"),
            // Borrowed, by their accidental.
            ("C ionian", "Fm Ab Bb Eb Dm7b5 Cm", "iv ♭VI ♭VII ♭III iiø7 i", "iv ♭VI ♭VII ♭III iiø7 i"),
            ("C minor", "C F Dm", "I IV ii", "I IV ii"),
            // Neapolitan.
            ("C minor", "Db/F G Db G", "N6 V ♭II V", "N6 V ♭II V"),
            // Tritone substitutes.
            ("C ionian", "Db7 C Eb7 Dm", "♭II7 I ♭II7/ii ii", "♭II7 I ♭III7 ii"),
            ("C ionian", "F#7 F", "♭II7/IV IV", "♭II7/IV IV"),
            // An added sixth is the tonic's; elsewhere the third of a seventh lies low.
            ("C ionian", "C6 F6 G7 Fm6", "Iadd6 ii65 V7 iiø65", "Iadd6 ii65 V7 iiø65"),
            // Tensions.
            ("C ionian", "Dm9 G13 Cmaj7 G7b9 G7#5 Cadd9", "ii9 V13 IM7 V7♭9 V+7 Iadd9", "ii9 V13 IM7 V7♭9 V+7 Iadd9"),
            // A foreign note is no reason for ♭ii°M42.
            ("C ionian", "C#dim(maj7)/C C#dim(maj7)", "Iadd♭9 I over ♭2", "Iadd♭9 I over ♭2"),
        ];
        for (key, chords, hindsight, live) in cases {
            assert_eq!(
                numerals(key, chords, true, &plain),
                hindsight,
                "{key}: {chords}"
            );
            assert_eq!(
                numerals(key, chords, false, &plain),
                live,
                "{key}: {chords}, live"
            );
        }
    }

    /// A degree tonicized over several chords: all of them are written relative to it, but
    /// for those that the mode itself contains. Common practice, no single source.
    #[test]
    fn a_degree_is_tonicized_over_several_chords() {
        let plain = Notation::default();
        #[rustfmt::skip]
        let cases = [
            ("C ionian", "Em7b5 A7 Dm G7 C", "iiø7/ii V7/ii ii V7 I"),
            ("C ionian", "C Gm7 C7 F", "I ii7/IV V7/IV IV"),
            ("C ionian", "C F#dim7 D7/F# G", "I vii°7/V V65/V V"),
            ("C ionian", "B7 E7 A7 D7 G7 C", "V7/iii V7/vi V7/ii V7/V V7 I"),
            ("C ionian", "F#m7b5 B7 Em", "iiø7/iii V7/iii iii"),
            // The mode contains them: vi before V7/V and iii7 before V7/ii; ii of vi as well,
            // viiø7, and iv of vi, ii.
            ("C ionian", "Am D7 G", "vi V7/V V"),
            ("C ionian", "Em7 A7 Dm7 G7", "iii7 V7/ii ii7 V7"),
            ("C ionian", "Bm7b5 E7 Am", "viiø7 V7/vi vi"),
            ("C ionian", "Dm/F E7 Am", "ii6 V7/vi vi"),
            ("C minor", "Fm7 Bb7 Eb", "iv7 V7/III III"),
            // But in minor viø7, on the raised degree, is ii of V before its dominant.
            ("C minor", "Am7b5 D7 G Am7b5 D7 Gm", "iiø7/V V7/V V iiø7/v V7/v v"),
            ("C minor", "Am7b5 Abmaj7 G7", "viø7 VIM7 V7"),
            // What the chord after the next one says: ♭III and ♭VI, not iv7 and ♭vii7.
            ("C ionian", "C Fm7 Bb7 Eb", "I ii7/♭III V7/♭III ♭III"),
            ("C ionian", "Bbm7 Eb7 Ab", "ii7/♭VI V7/♭VI ♭VI"),
            ("C ionian", "Fm7 Bb7 C", "iv7 ♭VII7 I"),
            ("C ionian", "C#m7 F#7 Bm7 E7 Am", "ii7/vii V7/vii ii7/vi V7/vi vi"),
            // ii of major IV, and of minor.
            ("C ionian", "Gm7b5 C7 F Gm7b5 C7 Fm", "iiø7/IV V7/IV IV iiø7/iv V7/iv iv"),
            // Three chords before the degree; a six-four on the way.
            ("C ionian", "Bbmaj7 Em7b5 A7 Dm", "VIM7/ii iiø7/ii V7/ii ii"),
            ("C ionian", "Gm7 F/C C7 F", "ii7/IV I64/IV V7/IV IV"),
            // Before a substitute as well.
            ("C ionian", "Gm7 Gb7 F Em7b5 Eb7 Dm", "ii7/IV ♭II7/IV IV iiø7/ii ♭II7/ii ii"),
            // A triad that an applied chord has led to is that degree.
            ("C ionian", "C7/E Fm Bb7 Eb", "V65/iv iv V7/♭III ♭III"),
            // A raised degree of minor has its leading note too.
            ("C minor", "Ddim7 Eb", "vii°7/III III"),
        ];
        for (key, chords, want) in cases {
            assert_eq!(numerals(key, chords, true, &plain), want, "{key}: {chords}");
        }
        // Live the ii before tells as much, where the key has no such degree.
        #[rustfmt::skip]
        let live = [
            ("C ionian", "C Bbm7 Eb7 Ab", "I ♭vii7 V7/♭VI ♭VI"),
            ("C ionian", "C Eb7 Ab", "I ♭III7 ♭VI"),
            ("C ionian", "C#m7 F#7 Gm7b5 C7", "♯i7 V7/VII vø7 V7/iv"),
            ("C ionian", "Fm7 Bb7 C Abm7 Db7 C", "iv7 ♭VII7 I ♭vi7 ♭II7 I"),
        ];
        for (key, chords, want) in live {
            assert_eq!(
                numerals(key, chords, false, &plain),
                want,
                "{key}: {chords}"
            );
        }
    }

    /// Progressions that a teacher of theory would ask for, by what was written otherwise
    /// before: textbooks' common practice, no single source.
    #[test]
    fn progressions_of_a_theory_class() {
        let plain = Notation::default();
        #[rustfmt::skip]
        let cases = [
            // Augmented sixths in all inversions, by the spelled bass: ♯4 below ♭6 is a
            // diminished third. Upon 2 and 1 the French one is V7 with a lowered fifth.
            ("C minor", "Ab7 G Ab7/Gb G Ab7/C G Ab7/Eb G", "Ger6 V Ger°3 V Ger43 V Ger42 V"),
            ("C minor", "Ab7(no5)/F# G Ab7(no5)/C G", "It°3 V It64 V"),
            ("C ionian", "Ab7b5 G D7b5/F# G D7b5 G D7b5/C G/B", "Fr6 V Fr°3 V V7(♭5)/V V V42(♭5)/V V6"),
            // To the dominant of a degree, or to its six-four.
            ("C ionian", "Eb7 D7 G F7 E7 Am Bb7 A Dm", "Ger6/V V7/V V Ger6/vi V7/vi vi Ger6/ii V/ii ii"),
            ("C ionian", "F7 Am/E E7 Am", "Ger6/vi i64/vi V7/vi vi"),
            ("C minor", "Db7 C7 Fm Eb7 D7 G", "Ger6/iv V7/iv iv Ger6/V V7/V V"),
            // Common-tone diminished sevenths share the root of what they embellish.
            ("C ionian", "C Cdim7 C D#dim7 C/E F#dim7 C", "I CT°7 I CT°7 I6 CT°7 I"),
            ("C ionian", "G Gdim7 G7 F G#dim7 F/A", "V CT°7/V V7 IV CT°7/IV IV6"),
            ("C minor", "Cm F#dim7 Cm F#dim7 Cm/G G7", "i CT°7 i vii°7/V i64 V7"),
            ("C ionian", "C F#dim7 C/G G7 C", "I vii°7/V I64 V7 I"),
            // Chromatic mediants between tonics are no dominants; V of vi before I is one.
            ("C ionian", "C E C A C Ab C Eb C", "I III I VI I ♭VI I ♭III I"),
            ("C ionian", "C E Ab C", "I III ♭VI I"),
            ("C ionian", "C E Am E C E F", "I V/vi vi V/vi I V/vi IV"),
            ("C minor", "Cm E Cm A Cm", "i ♯III i ♯VI i"),
            // C♯ minor is no ♭ii: it has E.
            ("C ionian", "C C#m C Abm C F#m", "I ♯i I ♭vi I ♯iv"),
            // Two sixths and sevenths: vi and vii stand on the raised degrees.
            ("C minor", "Cm Am Cm Abm Cm Bbm Cm Bbdim Cm Bdim Cm", "i vi i ♭vi i ♭vii i ♭vii° i vii° i"),
            ("C minor", "Cm G/B Bb F/A Ab G", "i V6 VII IV6 VI V"),
            // The Neapolitan sixth with its dominant, and before the six-four.
            ("C minor", "Ab7 Db/F Cm/G G7 Cm", "V7/♭II N6 i64 V7 i"),
            // Backdoor, borrowed; substitutes that step down.
            ("C ionian", "Cmaj7 Fm7 Bb7 Cmaj7 Em7 Eb7 Dm7 Db7 C", "IM7 iv7 ♭VII7 IM7 iii7 ♭II7/ii ii7 ♭II7 I"),
            // The modes' cadences.
            ("C phrygian", "Cm Db Cm Bbm7 Dbmaj7 Cm", "i ♭II i ♭vii7 ♭IIM7 i"),
            ("C lydian", "C D C Bm7 D7 C", "I II I vii7 II7 I"),
            ("C mixolydian", "C7 Gm C7 Bb F C", "I7 v I7 ♭VII IV I"),
            ("C dorian", "Cm7 F7 Cm Dm7 Ebmaj7 Cm", "i7 IV7 i ii7 ♭IIIM7 i"),
            ("C locrian", "Cdim Db Gbmaj7 Cm7b5", "i° ♭II ♭VM7 iø7"),
        ];
        for (key, chords, want) in cases {
            assert_eq!(numerals(key, chords, true, &plain), want, "{key}: {chords}");
        }
    }

    /// The mode's own, applied chords and what is borrowed, mode by mode.
    #[test]
    fn what_the_mode_contains_wins() {
        let plain = Notation::default();
        #[rustfmt::skip]
        let cases = [
            ("C lydian", "C D G D7 Bm7 F", "I II V II7 vii7 IV"),
            ("C ionian", "D G D7 G", "V/V V V7/V V"),
            ("C dorian", "Cm F7 Bb F Gm Ab Db/F", "i IV7 ♭VII IV v ♭VI N6"),
            ("C ionian", "F7 Bb F7 C", "V7/♭VII ♭VII IV7 I"),
            ("C phrygian", "Cm Db Db/F Dbmaj7 Eb7 Ab", "i ♭II ♭II6 ♭IIM7 ♭III7 ♭VI"),
            ("C mixolydian", "C Bb F Gm C7 F D7 Gm", "I ♭VII IV v I7 IV V7/v v"),
            ("C aeolian", "Cm Bb Fm G7 Cm Eb7 Ab", "i ♭VII iv V7 i V7/♭VI ♭VI"),
            ("C locrian", "Cdim Gb Ebm Ab7 Db", "i° ♭V ♭iii ♭VI7 ♭II"),
            ("C phrygian_dominant", "C Db Bbm Edim7", "I ♭II ♭vii iii°7"),
            ("C blues", "C7 F7 C7 G7 F7 C7", "I7 IV7 I7 V7 IV7 I7"),
        ];
        for (key, chords, want) in cases {
            assert_eq!(numerals(key, chords, true, &plain), want, "{key}: {chords}");
        }
    }
}
