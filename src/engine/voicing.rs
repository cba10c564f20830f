//! Which keys the chord of the moment is voiced with.
//!
//! A chord struck as a block is voiced as it was struck, with what the fingers hold
//! over from before and with its bass while that sounds; a melody that moves above it
//! leaves it as it is until the chord itself changes. A broken chord has the keys struck for
//! it one after the other, sounding or released, so that C G E G under one hand reads C E G.
//! Until enough of a new chord was struck the one before stays.
//! Common practice of keyboard teaching, no source.

use super::keys::Keys;
use crate::theory::{KeySet, PitchClass, PitchClassSet, Sonority, Voicing};
use crate::time::Time;

/// Maximum number of keys of a broken chord.
const RUN: usize = 16;
/// A key released this long before the next is struck does not belong to the broken chord.
/// Common practice, no source.
const GAP: Time = Time::millis(2000);
/// Minimum number of different notes of a chord.
const CHORD: usize = 3;

/// The keys of a chord as it was struck last, and what they are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoicedChord {
    pub keys: KeySet,
    pub sonority: Sonority,
}

impl VoicedChord {
    /// The same from bottom to top. Allocates.
    pub fn voicing(self) -> Voicing {
        Voicing::new(self.keys.iter())
    }
}

/// Follows the voicing of the chord of the moment.
#[derive(Clone, Debug, Default)]
pub(super) struct VoicingTracker {
    now: Option<VoicedChord>,
    /// Whether it was struck as a block.
    block: bool,
    /// The keys struck after the last block, the latest first.
    latest: [Option<Past>; RUN],
}

/// A key that was struck alone.
#[derive(Clone, Copy, Debug)]
struct Past {
    key: u8,
    struck: Time,
    /// When it stopped sounding or was struck again.
    end: Option<Time>,
}

/// A key that was struck, and what it is a part of.
pub(super) struct StruckKey<'a> {
    pub at: Time,
    pub key: u8,
    /// All keys struck with it so far.
    pub stroke: KeySet,
    /// The key of the bass, sounding or let go.
    pub bass: Option<u8>,
    pub keys: &'a Keys,
    /// The chord's label now.
    pub sonority: Option<Sonority>,
}

impl VoicingTracker {
    pub fn now(&self) -> Option<VoicedChord> {
        self.now
    }

    /// Forgets the broken chord so far; the last voicing stays.
    pub fn rest(&mut self) {
        self.latest = [None; RUN];
    }

    /// Some keys may have stopped sounding.
    pub fn on_release(&mut self, at: Time, sounding: KeySet) {
        for past in self.latest.iter_mut().flatten() {
            if !sounding.contains(past.key) {
                past.end.get_or_insert(at);
            }
        }
    }

    /// A key was struck. True if the voicing changed.
    pub fn on_onset(&mut self, new: &StruckKey) -> bool {
        let block = new.stroke.classes().len() >= CHORD;
        if block {
            self.latest = [None; RUN];
        } else {
            let again = self.latest.iter_mut().flatten();
            for past in again.filter(|p| p.key == new.key) {
                past.end.get_or_insert(new.at);
            }
            self.latest.rotate_right(1);
            self.latest[0] = Some(Past {
                key: new.key,
                struck: new.at,
                end: None,
            });
        }
        let Some(sonority) = new.sonority else {
            return false;
        };
        let sounding = new.keys.sounding();
        // A bass that the pedal holds counts where the label stands on it.
        let bass = new
            .bass
            .filter(|&b| PitchClass::of_key(b) == sonority.bass())
            .map_or(KeySet::EMPTY, |b| KeySet::of(b) & sounding);
        let fresh = if block {
            new.stroke | new.keys.held() | bass
        } else {
            let set = sonority.set();
            let struck = self
                .now
                .filter(|_| self.block)
                .map_or(KeySet::EMPTY, |n| n.keys);
            let over = new.keys.held() | bass | struck & sounding;
            let members: KeySet = over
                .iter()
                .filter(|&k| set.contains(PitchClass::of_key(k)))
                .collect();
            let broken = members | self.run(new, set);
            if broken.classes().len() < CHORD.min(set.len()) {
                return false;
            }
            if let Some(now) = self.now.filter(|n| n.sonority == sonority) {
                let left = now.keys & sounding;
                let stands = self.block && 2 * left.len() >= now.keys.len();
                if stands || broken.is_subset(now.keys) {
                    return false;
                }
            }
            broken
        };
        let fresh = Some(VoicedChord {
            keys: fresh,
            sonority,
        });
        self.block = block;
        let changed = fresh != self.now;
        self.now = fresh;
        changed
    }

    /// The keys struck last, back to the bass that they stand on, or to one that is no
    /// part of the chord or was let go long before the next.
    fn run(&self, new: &StruckKey, set: PitchClassSet) -> KeySet {
        let mut next = new.at;
        let mut keys = KeySet::EMPTY;
        for &Past { key, struck, end } in self.latest.iter().flatten() {
            let over = end.is_some_and(|end| next.since(end) >= GAP);
            if over || !set.contains(PitchClass::of_key(key)) {
                break;
            }
            keys |= KeySet::of(key);
            next = struck;
            if new.bass == Some(key) {
                break;
            }
        }
        keys
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Change, Monitor, Observer};
    use crate::midi;
    use crate::theory::Catalogue;
    use std::sync::Arc;

    #[derive(Default)]
    struct Voicings(Vec<Vec<u8>>);

    impl Observer for Voicings {
        fn change(&mut self, _: Time, change: Change) {
            if let Change::VoicedChord(v) = change {
                self.0.push(v.keys.iter().collect());
            }
        }
    }

    /// Milliseconds, then keys struck (`48`), let go (`-48`), or the pedal (`down`, `up`).
    fn played(script: &str) -> (Vec<u8>, Vec<Vec<u8>>) {
        let catalogue = Arc::new(Catalogue::standard().clone());
        let mut monitor = Monitor::new(catalogue).expect("the weights");
        let mut told = Voicings::default();
        for line in script.split(',') {
            let mut words = line.split_whitespace();
            let ms: u64 = words.next().and_then(|w| w.parse().ok()).expect("a time");
            for word in words {
                let channel = midi::Channel::ALL[0];
                let event = match (word, word.strip_prefix('-')) {
                    ("down", _) => midi::Event::Damper {
                        channel,
                        value: 127,
                    },
                    ("up", _) => midi::Event::Damper { channel, value: 0 },
                    (_, Some(key)) => midi::Event::NoteOff {
                        channel,
                        key: key.parse().expect("a key"),
                    },
                    (key, None) => midi::Event::NoteOn {
                        channel,
                        key: key.parse().expect("a key"),
                        velocity: 80,
                    },
                };
                monitor.on_event(Time::millis(ms), event, &mut told);
            }
        }
        let reading = monitor.reading();
        let keys = reading.voiced_chord.map_or(KeySet::EMPTY, |v| v.keys);
        assert_eq!(
            told.0.last().cloned().unwrap_or_default(),
            keys.iter().collect::<Vec<_>>()
        );
        (keys.iter().collect(), told.0)
    }

    fn last(script: &str) -> Vec<u8> {
        played(script).0
    }

    #[test]
    fn nothing_is_voiced_before_the_first_note() {
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).expect("weights");
        assert_eq!(monitor.reading().voiced_chord, None);
    }

    #[test]
    fn a_block_is_voiced_as_struck_and_a_melody_changes_nothing() {
        let block = "0 48 55 64 67";
        assert_eq!(last(block), [48, 55, 64, 67]);
        assert_eq!(
            last(&format!("{block}, 300 72, 500 -72 74, 700 -74 76, 900 -76")),
            [48, 55, 64, 67]
        );
        // Let go, it stays; a double of a note struck at once belongs to it.
        assert_eq!(
            last("0 48 55 64 67, 30 72, 400 -48 -55 -64 -67 -72"),
            [48, 55, 64, 67, 72]
        );
        // The next block is another, with what the fingers hold over.
        let two = "0 48 55 64 67, 800 -55 -64 -67 57 60 65";
        assert_eq!(last(two), [48, 57, 60, 65]);
    }

    #[test]
    fn a_bass_that_the_pedal_holds_is_the_lowest_note() {
        let stride = "0 down 36, 200 -36, 400 52 55 60";
        assert_eq!(last(stride), [36, 52, 55, 60]);
        // Without the pedal it is gone.
        assert_eq!(last("0 36, 200 -36, 400 52 55 60"), [52, 55, 60]);
        // What else the pedal holds from before is no part of it.
        let blurred = "0 down 36 52 55 60, 300 -36 -52 -55 -60, 800 50 53 57 62";
        let above: Vec<u8> = last(blurred).into_iter().filter(|&k| k > 40).collect();
        assert_eq!(above, [50, 53, 57, 62]);
    }

    #[test]
    fn a_broken_chord_gathers_its_keys() {
        let figure = |at: u64, keys: [u8; 4]| -> String {
            let note = |(i, k): (usize, u8)| {
                let on = at + 200 * i as u64;
                format!("{on} {k}, {} -{k}", on + 190)
            };
            let all: Vec<String> = keys.into_iter().enumerate().map(note).collect();
            all.join(", ")
        };
        // Nothing but one key sounds at a time.
        let c = [48, 55, 52, 55];
        let alberti_of = |c: &[u8; 4]| [figure(0, *c), figure(800, *c)].join(", ");
        let alberti = alberti_of(&c);
        assert_eq!(last(&alberti), [48, 52, 55]);
        let f = [48, 57, 53, 57];
        let moved = [alberti, figure(1600, f), figure(2400, f)].join(", ");
        assert_eq!(last(&moved), [48, 53, 57]);
        // Over the pedal from bottom to top.
        let up = "0 down, 10 43, 200 -43 50, 400 -50 55, 600 -55 59, 800 -59 62";
        assert_eq!(last(up), [43, 50, 55, 59, 62]);
        // A new bass begins anew, whatever its chord has in common with the one before.
        let minor = [
            alberti_of(&c),
            figure(1600, [45, 52, 48, 52]),
            figure(2400, [45, 52, 48, 52]),
        ];
        assert_eq!(last(&minor.join(", ")), [45, 48, 52]);
        // It grows and is never shown with less.
        let (_, told) = played(up);
        let sizes: Vec<usize> = told.iter().map(Vec::len).collect();
        assert!(sizes.is_sorted(), "{told:?}");
    }

    #[test]
    fn a_finger_that_moves_makes_another_voicing() {
        let legato = "0 48 55 60 64, 900 -60 59";
        assert_eq!(last(legato), [48, 55, 59, 64]);
    }

    #[test]
    fn two_notes_are_an_interval_and_one_is_a_note() {
        assert_eq!(last("0 60 64"), [60, 64]);
        assert_eq!(last("0 60, 300 64"), [60, 64]);
        assert_eq!(last("0 60"), [60]);
        // After a long silence nothing of what was before belongs to what follows.
        assert_eq!(last("0 48 52 55, 500 -48 -52 -55, 20000 60"), [60]);
    }

    #[test]
    fn what_is_held_until_the_next_belongs_to_it() {
        assert_eq!(last("0 48, 2180 -48, 2200 52, 4380 -52"), [48, 52]);
        // Let go long before.
        let (_, told) = played("0 48, 100 -48, 2200 52, 4380 -52");
        assert!(!told.contains(&vec![48, 52]), "{told:?}");
    }
}
