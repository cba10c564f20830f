//! What to call a set of notes: each name that it may have with what it costs, and what
//! the tonality, the chord before and a bassist change about that.
//!
//! `name_table` holds the names of all 2048 sets above a bass. Naming looks one up, weighs
//! it by the context and allocates nothing.
//!
//! The order of the costs is our own, after common practice (no source); what it
//! must decide is tested below and in tests/reference.rs.

use super::chord::{Chord, Sonority};
use super::kind::{Kind, Triad};
use super::kinds::Kinds;
use super::pitch::{PitchClass, PitchClassSet};

/// Whether somebody else plays the roots of the chords.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Bassist {
    /// The roots need not sound: a rootless voicing is named with its root as the bass.
    Plays,
    #[default]
    Absent,
}

/// What is known beside the notes themselves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hearing {
    /// The notes of the tonality in force, movable ones in all their forms; all
    /// twelve where none is.
    pub scale: PitchClassSet,
    /// Its center.
    pub center: Option<PitchClass>,
    /// The chord that sounded last.
    pub before: Option<Chord>,
    pub bassist: Bassist,
}

impl Default for Hearing {
    /// Nothing is known.
    fn default() -> Hearing {
        Hearing {
            scale: PitchClassSet::ALL,
            center: None,
            before: None,
            bassist: Bassist::Absent,
        }
    }
}

impl From<PitchClassSet> for Hearing {
    /// The notes of the tonality alone.
    fn from(scale: PitchClassSet) -> Hearing {
        Hearing {
            scale,
            ..Hearing::default()
        }
    }
}

/// The root is no note of the tonality.
const STRANGE_ROOT: i32 = 120;
/// The root is the center; the chord is its dominant.
const TONIC: i32 = 60;
const DOMINANT: i32 = 60;
/// The chord before has the same root.
const SAME_ROOT: i32 = 150;
/// The root lies a fifth below the one before: of a dominant, of another chord.
const RESOLVES: i32 = 130;
const FALLS: i32 = 40;
/// A symmetrical chord is named from the note that leads on, whatever the bass: this
/// outweighs any inversion and a root outside the tonality.
const LEADS: i32 = 420;
/// The minor subdominant with its sixth, in major after the tonic or the
/// subdominant: Fm6 in C, whatever its bass, not Dm7♭5.
const MINOR_SUBDOMINANT: i32 = 80;
/// Where a bassist plays the roots, a chord of four notes has no need of its own …
const OWN_ROOT: i32 = 200;
const OWN_ROOT_HALF_DIMINISHED: i32 = 120;
/// … and a minor sixth or major seventh over a minor third is the tonic's.
const NOT_TONIC: i32 = 200;

impl Hearing {
    fn in_minor(&self) -> bool {
        self.center
            .is_some_and(|c| self.scale.contains(c.up(3)) && !self.scale.contains(c.up(4)))
    }

    /// Whether the chord before was the tonic or the subdominant.
    fn plagal(&self) -> bool {
        let from = |center| self.before.map(|b| b.root.above(center));
        matches!(self.center.and_then(from), Some(0 | 5))
    }

    /// What this context adds to the cost of a name, in thousandths of
    /// [`Kind::cost`]; less than 0 where it speaks for it. `set`: the notes that sound.
    fn thousandths(&self, kind: &Kind, chord: Chord, set: PitchClassSet) -> i32 {
        let root = chord.root;
        let dominant = kind.dominant();
        let mut cost = 0;
        if !self.scale.contains(root) {
            cost += STRANGE_ROOT;
        }
        if let Some(before) = self.before {
            let last = Kinds::standard().kind(before.kind);
            let resolves = last.dominant();
            let triad = last.members.len() == 3 && last.triad() != Triad::Suspended;
            cost -= match root.above(before.root) {
                // An inverted diminished seventh is a diminished seventh on its own bass.
                0 if kind.symmetrical() && kind.has(3) && chord.bass != root => 0,
                // A plain triad is suspended; after anything else fourths are heard from
                // their bass.
                0 if kind.triad() == Triad::Suspended && chord.bass != root && !triad => 0,
                0 => SAME_ROOT,
                5 if resolves => RESOLVES,
                5 => FALLS,
                _ => 0,
            };
        }
        if let Some(center) = self.center {
            let degree = root.above(center);
            cost -= match degree {
                0 => TONIC,
                7 if dominant => DOMINANT,
                5 if kind.minor_sixth() && !self.in_minor() && self.plagal() => MINOR_SUBDOMINANT,
                _ => 0,
            };
            let own_bass = set.len() == kind.members.len();
            if kind.symmetrical()
                && own_bass
                && self.bassist == Bassist::Absent
                && self.leads(kind, chord, set)
            {
                cost -= LEADS;
            }
        }
        if self.bassist == Bassist::Plays && set.len() >= 4 {
            let minor_tonic = self.center == Some(root) && self.scale.contains(root.up(3));
            cost += match kind.triad() {
                // The hands leave the root out.
                _ if !set.contains(root) => match kind.triad() {
                    Triad::Minor if kind.seventh() != Some(10) && !minor_tonic => NOT_TONIC,
                    _ => 0,
                },
                Triad::Diminished if kind.seventh() == Some(10) => OWN_ROOT_HALF_DIMINISHED,
                _ => OWN_ROOT,
            };
        }
        cost
    }

    /// Whether a diminished seventh or an augmented triad has its root on the
    /// note that leads on. An augmented triad: the dominant's, but for III in minor
    /// over its root. A diminished
    /// seventh: the bass, if it is altered and leads up to a note of the scale;
    /// else to the center; else to the dominant, to the second degree in major,
    /// to the fourth in minor.
    fn leads(&self, kind: &Kind, chord: Chord, set: PitchClassSet) -> bool {
        let Some(center) = self.center else {
            return false;
        };
        if kind.triad() == Triad::Augmented {
            let third_degree = self.in_minor() && chord.bass == center.up(3);
            return chord.root == center.up(7) && !third_degree;
        }
        if !self.scale.contains(chord.bass) && self.scale.contains(chord.bass.up(1)) {
            return chord.root == chord.bass;
        }
        let leading = center.up(11);
        if set.contains(leading) {
            return chord.root == leading;
        }
        if set.is_subset(self.scale) {
            // The mode's own chord, as in Locrian ♮6, leads nowhere.
            return false;
        }
        let next = if self.in_minor() { 4 } else { 1 };
        chord.root == center.up(6) || chord.root == center.up(next)
    }
}

impl Kind {
    fn dominant(&self) -> bool {
        self.seventh() == Some(10) && self.has(4)
    }

    fn minor_sixth(&self) -> bool {
        self.triad() == Triad::Minor && self.members.iter().any(|m| m.number == 6)
    }

    /// It turns into itself: a diminished seventh, an augmented triad.
    fn symmetrical(&self) -> bool {
        let set = self.set();
        set.up(3) == set || set.up(4) == set
    }
}

/// How many names of a set are kept.
pub const MAX_NAMES: usize = 5;

/// The names that what sounds may have, the best first; at least one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChordNames {
    list: [Sonority; MAX_NAMES],
    len: u8,
}

impl ChordNames {
    fn of(best: Sonority) -> ChordNames {
        ChordNames {
            list: [best; MAX_NAMES],
            len: 1,
        }
    }

    /// The name that a musician would give.
    pub fn best(&self) -> Sonority {
        self.list[0]
    }

    /// The names that it might have in another context, the likeliest first.
    pub fn alternatives(&self) -> &[Sonority] {
        &self.list[1..self.len as usize]
    }
}

/// The cost of calling a stack of fourths from the bass up just that.
const QUARTAL: i32 = 300;

impl Kinds {
    /// Names a set of notes above its lowest: the first of [`Kinds::names`].
    ///
    /// ```
    /// use peregrinus::theory::{
    ///     Catalogue, Hearing, Kinds, Notation, PitchClass, PitchClassSet,
    /// };
    ///
    /// let keys = [52, 55, 58, 60]; // MIDI note numbers: E G B♭ C
    /// let notes: PitchClassSet = keys.into_iter().map(PitchClass::of_key).collect();
    /// let bass = PitchClass::of_key(keys[0]);
    /// let chord = Kinds::standard().name(notes, bass, Hearing::default());
    /// let label = Notation::default().sonority(chord, None, Catalogue::standard());
    /// assert_eq!(label, "C7/E");
    /// ```
    pub fn name(
        &self,
        set: PitchClassSet,
        bass: PitchClass,
        hearing: impl Into<Hearing>,
    ) -> Sonority {
        self.names(set, bass, hearing).best()
    }

    /// All that a set of notes above its lowest may be called, the least
    /// far-fetched first: the kind's own cost, what the bass adds (see
    /// [`bass_cost`](super::bass_cost)), and what is known beside them.
    pub fn names(
        &self,
        set: PitchClassSet,
        bass: PitchClass,
        hearing: impl Into<Hearing>,
    ) -> ChordNames {
        let hearing = hearing.into();
        let set = set.with(bass);
        match set.len() {
            1 => return ChordNames::of(Sonority::Note(bass)),
            2 => {
                let high = set.without(bass).iter().next().unwrap_or(bass);
                return ChordNames::of(Sonority::Interval { low: bass, high });
            }
            _ => {}
        }
        let notes = Sonority::Notes { set, bass };
        let mut found = ChordNames::of(notes);
        let mut costs = [i32::MAX; MAX_NAMES];
        let mut len = 0;
        let mut put = |cost: i32, reading: Sonority| {
            // Ties stay in the order in which they came.
            let at = costs[..len].iter().position(|&c| cost < c).unwrap_or(len);
            if at < MAX_NAMES {
                len = (len + 1).min(MAX_NAMES);
                costs[at..len].rotate_right(1);
                found.list[at..len].rotate_right(1);
                (costs[at], found.list[at]) = (cost, reading);
            }
        };
        if set.quartal() == Some(bass) {
            put(QUARTAL, notes);
        }
        let seen = set.seen_from(bass);
        for c in self.table.whole.get(seen) {
            let root = bass.up(i32::from(c.above));
            let kind = c.kind;
            let chord = Chord { root, kind, bass };
            let context = hearing.thousandths(self.kind(kind), chord, set);
            put(i32::from(c.cost) + context, Sonority::Chord(chord));
        }
        if hearing.bassist == Bassist::Plays {
            for c in self.table.rootless.get(seen) {
                let root = bass.up(i32::from(c.above));
                let kind = c.kind;
                let chord = Chord {
                    root,
                    kind,
                    bass: root,
                };
                let context = hearing.thousandths(self.kind(kind), chord, set);
                put(i32::from(c.cost) + context, Sonority::Chord(chord));
            }
        }
        found.len = len.max(1) as u8;
        found
    }
}

#[cfg(test)]
mod tests {
    use super::super::catalogue::Catalogue;
    use super::super::convention::Notation;
    use super::super::mode::Tonality;
    use super::super::spelling::Spelling;
    use super::*;

    fn pcs(notes: &str) -> Vec<PitchClass> {
        let pc = |n: &str| n.parse::<Spelling>().expect("a note").pitch_class();
        notes.split(' ').map(pc).collect()
    }

    /// The notes from the bass up, named when nothing is known.
    fn chord(notes: &str) -> Chord {
        let all = pcs(notes);
        let set = all.iter().copied().collect();
        let named = Kinds::standard().name(set, all[0], Hearing::default());
        named.chord().expect("a chord")
    }

    fn within(tonality: &str) -> Hearing {
        let c = Catalogue::standard();
        let t = c.parse_tonality(tonality).expect("a tonality").tonality;
        Hearing {
            scale: c.all_forms(t),
            center: Some(t.center),
            ..Hearing::default()
        }
    }

    /// All names in a tonality after a chord, the best first.
    fn readings(notes: &str, hearing: Hearing) -> Vec<String> {
        let all = pcs(notes);
        let set = all.iter().copied().collect();
        let found = Kinds::standard().names(set, all[0], hearing);
        let label = |s: &Sonority| Notation::PLAIN.sonority(*s, None, Catalogue::standard());
        std::iter::once(&found.best())
            .chain(found.alternatives())
            .map(label)
            .collect()
    }

    fn after(before: &str, tonality: &str) -> Hearing {
        Hearing {
            before: Some(chord(before)),
            ..within(tonality)
        }
    }

    fn say(notes: &str, hearing: Hearing) -> String {
        readings(notes, hearing).swap_remove(0)
    }

    #[test]
    fn the_tonality_and_the_chord_before_decide_what_the_bass_leaves_open() {
        let fm6 = "F Ab C D";
        for key in ["c ionian", "c minor"] {
            for before in ["C E G", "F A C", "F Ab C", "C Eb G"] {
                let found = readings(fm6, after(before, key));
                assert_eq!(found[0], "Fm6", "{key} after {before}");
                assert!(found.contains(&"Dm7♭5/F".to_owned()), "{found:?}");
            }
        }
        // The half-diminished chord that stands turns over, and a dominant resolves to it.
        assert_eq!(say(fm6, after("D F Ab C", "c minor")), "Dm7♭5/F");
        assert_eq!(say(fm6, after("A C# E G", "c minor")), "Dm7♭5/F");
        // Whatever its bass, in major it is the minor subdominant after the tonic.
        assert_eq!(say("C D F Ab", after("C E G", "c ionian")), "Fm6/C");
        assert_eq!(say("Ab C D F", after("C E G", "c ionian")), "Fm6/A♭");
        assert_eq!(say("Ab C D F", within("c minor")), "Dm7♭5/A♭");
        assert_eq!(say("Ab C D F", within("c ionian")), "Dm7♭5/A♭");

        assert_eq!(say("C E G A", within("c ionian")), "C6");
        assert_eq!(say("C E G A", after("A C E G", "c ionian")), "Am7/C");
        assert_eq!(say("C E G A", after("G B D F", "c ionian")), "C6");
        assert_eq!(say("G C E A", within("c ionian")), "Am7/G");
        assert_eq!(say("G C E A", after("C E G", "c ionian")), "C6/G");
        assert_eq!(say("A C E G", after("C E G", "c ionian")), "Am7");
        assert_eq!(say("G C F", within("f ionian")), "quartal on G");
        assert_eq!(say("G C F", after("C E G", "c ionian")), "Csus4/G");
        // A root outside the tonality makes a chord less likely.
        assert_eq!(say("Db C E G", within("c ionian")), "C/D♭");
        assert_eq!(say("Db C E G", Hearing::default()), "C♯°(maj7)");
    }

    #[test]
    fn symmetrical_chords_have_the_root_that_leads_on() {
        let of = |key: &str| within(key);
        for bass in ["B D F Ab", "D F Ab B", "F Ab B D", "Ab B D F"] {
            assert!(say(bass, of("c minor")).starts_with("B°7"), "{bass}");
            let own = if bass.starts_with('A') {
                "A♭°7"
            } else {
                "B°7"
            };
            assert!(say(bass, of("c ionian")).starts_with(own), "{bass}");
            assert!(say(bass, of("eb minor")).starts_with("D°7"), "{bass}");
        }
        // On its way up to a note of the scale it is named from the bass (G♯°7 before Am).
        assert_eq!(say("C# E G Bb", of("c ionian")), "C♯°7");
        assert_eq!(say("F# A C Eb", of("c ionian")), "F♯°7");
        assert_eq!(say("A C Eb F#", of("c ionian")), "F♯°7/A");
        assert_eq!(say("E G Bb C#", of("c ionian")), "C♯°7/E");
        assert_eq!(say("Bb C# E G", of("c minor")), "E°7/B♭");
        // The common tone with the chord before.
        assert_eq!(say("C Eb Gb A", after("C E G", "c ionian")), "C°7");
        assert_eq!(say("C Eb Gb A", Hearing::default()), "C°7");
        // V+ rather than its third's.
        assert_eq!(say("B D# G", of("c ionian")), "Gaug/B");
        assert_eq!(say("B Eb G", of("c minor")), "Gaug/B");
        assert_eq!(say("Eb G B", of("c minor")), "E♭aug");
        assert_eq!(say("E G# C", after("C E G", "c ionian")), "Caug/E");
    }

    /// What stands on a degree of its scale over its root is called by it, whatever
    /// center is known and whatever came before.
    #[test]
    fn the_chords_of_a_scale_keep_their_roots() {
        let c = Catalogue::standard();
        let mut named = 0;
        for (mode, m) in c.iter().filter(|(_, m)| m.degrees.len() == 7) {
            let scale: Vec<i32> = m.degrees.iter().map(|d| d.semitones() as i32).collect();
            let center = PitchClass::new(0);
            let t = Tonality { center, mode };
            let known = Hearing {
                scale: c.all_forms(t),
                center: Some(center),
                ..Hearing::default()
            };
            for degree in 0..7 {
                let third = |n: usize| PitchClass::new(scale[(degree + 2 * n) % 7]);
                let root = third(0);
                for size in [3, 4] {
                    let set: PitchClassSet = (0..size).map(third).collect();
                    let alone = Kinds::standard().name(set, root, known.scale);
                    // Triads with a name of their own, sevenths that no sixth chord shares.
                    let Some(plain) = alone.chord().filter(|p| p.root == root) else {
                        continue;
                    };
                    let kind = Kinds::standard().kind(plain.kind);
                    if kind.symmetrical() && set.contains(center.up(11)) {
                        // It leads to the center from whatever degree.
                        continue;
                    }
                    let mut befores = vec![None];
                    if kind.cost < 0.3 && !kind.symmetrical() {
                        // After C an E+ may be C+/E, an A♭maj7♯5 C/A♭.
                        befores.extend(["C E G", "G B D F"].map(|b| Some(chord(b))));
                    }
                    for before in befores {
                        let here = Hearing { before, ..known };
                        let is = Kinds::standard().name(set, root, here).chord();
                        assert_eq!(is, Some(plain), "{} {degree} {before:?}", m.id);
                        named += 1;
                    }
                }
            }
        }
        assert!(named > 600, "{named}");
    }

    #[test]
    fn a_bassist_completes_the_left_hand() {
        let with = |h: Hearing| Hearing {
            bassist: Bassist::Plays,
            ..h
        };
        for key in ["c ionian", "g mixolydian"] {
            assert_eq!(say("F A C E", with(within(key))), "Dm9", "{key}");
        }
        // The pianist alone has played what sounds.
        assert_eq!(say("F A C E", within("c ionian")), "Fmaj7");
        // Two times ii-V-I, in both positions, each after the chord before.
        for voicings in [
            ["F A C E", "F A B E", "E G B D"],
            ["C E F A", "B E F A", "B D E G"],
        ] {
            let mut hearing = with(within("c ionian"));
            let mut said = Vec::new();
            for v in voicings {
                said.push(say(v, hearing));
                let set = pcs(v).into_iter().collect();
                hearing.before = Kinds::standard().name(set, pcs(v)[0], hearing).chord();
            }
            assert_eq!(said, ["Dm9", "G13", "Cmaj9"], "{voicings:?}");
        }
        let minor = with(within("c minor"));
        assert_eq!(say("B Eb F Ab", minor), "G7♯5♭9");
        assert_eq!(say("Eb G A D", minor), "Cm6/9");
        assert_eq!(say("F A B D", with(within("c ionian"))), "G9");
        assert_eq!(say("B D F Ab", minor), "G7♭9");
        // The root that the hands play after all is the chord's, where it resolves to it.
        let tonic = with(after("G B D F", "c ionian"));
        assert_eq!(say("C E G B", tonic), "Cmaj7");
        // Triads, and what is no left-hand voicing, stay what they are.
        assert_eq!(say("C E G", with(within("c ionian"))), "C");
        assert_eq!(say("F A C", with(within("c ionian"))), "F");
        // The root is the bass, and the notes are all there.
        let dm9 = Kinds::standard().name(
            pcs("F A C E").into_iter().collect(),
            PitchClass::new(5),
            with(within("c ionian")),
        );
        assert_eq!(dm9.bass(), PitchClass::new(2));
        assert_eq!(dm9.set(), pcs("D F A C E").into_iter().collect());
    }

    #[test]
    fn what_is_no_chord_is_shown_as_what_it_is() {
        let words = |notes: &str| {
            let all = pcs(notes);
            let set = all.iter().copied().collect();
            let s = Kinds::standard().name(set, all[0], Hearing::default());
            (say(notes, Hearing::default()), s.words())
        };
        assert_eq!(words("D G C F"), ("quartal on D".into(), ""));
        assert_eq!(words("C C# D"), ("C C♯ D".into(), "cluster"));
        let whole = words("C D E F# G# A#");
        assert_eq!(whole, ("C D E F♯ A♭ B♭".into(), "whole-tone"));
        let octatonic = words("C Db Eb E F# G A Bb");
        assert_eq!(octatonic.1, "octatonic");
        assert_eq!(words("C D E F G A B"), ("C D E F G A B".into(), ""));
        assert_eq!(words("C F# B"), ("C F♯ B".into(), ""));
        assert_eq!(words("C E").0, "major third");
        assert_eq!(words("E C").0, "minor sixth");
        assert_eq!(words("B"), ("B".into(), "one note"));
    }

    /// Every set over every bass: each name holds exactly the notes that sound.
    #[test]
    fn a_reading_holds_what_sounds_and_the_best_costs_least() {
        let kinds = Kinds::standard();
        let hearings = [
            Hearing::default(),
            within("c ionian"),
            after("G B D F", "c minor"),
        ];
        let mut readings = 0;
        for mask in 1..4096u16 {
            let set = PitchClassSet::from_mask(mask);
            for bass in set.iter() {
                for hearing in hearings {
                    let found = kinds.names(set, bass, hearing);
                    let all = std::iter::once(found.best());
                    let all: Vec<Sonority> =
                        all.chain(found.alternatives().iter().copied()).collect();
                    for (i, s) in all.iter().enumerate() {
                        assert_eq!((s.set(), s.bass()), (set, bass));
                        assert!(!all[..i].contains(s), "{s:?} twice");
                        readings += 1;
                    }
                    assert_eq!(kinds.name(set, bass, hearing), all[0]);
                }
            }
        }
        assert!(readings > 3 * 12 * 2048 + 3 * 12 * 100, "{readings}");
    }

    /// Transposing the notes and the context transposes the names.
    #[test]
    fn context_turns_with_the_notes() {
        let kinds = Kinds::standard();
        let up = |s: Sonority, n: i32| match s {
            Sonority::Note(pc) => Sonority::Note(pc.up(n)),
            Sonority::Interval { low, high } => Sonority::Interval {
                low: low.up(n),
                high: high.up(n),
            },
            Sonority::Chord(c) => Sonority::Chord(moved(c, n)),
            Sonority::Notes { set, bass } => Sonority::Notes {
                set: set.up(n),
                bass: bass.up(n),
            },
        };
        fn moved(c: Chord, n: i32) -> Chord {
            Chord {
                root: c.root.up(n),
                bass: c.bass.up(n),
                ..c
            }
        }
        for bassist in [Bassist::Absent, Bassist::Plays] {
            for hearing in [
                within("c ionian"),
                after("G B D F", "c minor"),
                after("A C E G", "d dorian"),
            ] {
                for mask in (1..4096u16).step_by(2) {
                    let set = PitchClassSet::from_mask(mask);
                    for bass in [0, 5].map(PitchClass::new) {
                        let hearing = Hearing { bassist, ..hearing };
                        let here = kinds.names(set, bass, hearing);
                        for n in [1, 6, 11] {
                            let there = Hearing {
                                scale: hearing.scale.up(n),
                                center: hearing.center.map(|c| c.up(n)),
                                before: hearing.before.map(|c| moved(c, n)),
                                bassist,
                            };
                            let there = kinds.names(set.up(n), bass.up(n), there);
                            assert_eq!(up(here.best(), n), there.best());
                            let alternatives = here.alternatives().iter();
                            let alternatives: Vec<_> = alternatives.map(|&s| up(s, n)).collect();
                            assert_eq!(alternatives, there.alternatives());
                        }
                    }
                }
            }
        }
    }
}
