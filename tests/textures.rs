//! One harmony in many textures: block, rolled, broken, over a pedal, under a melody.
//! All of them must be given the label of the block. The textures are common practice
//! at the keyboard (no source), and were written before the recognizer was tuned; its
//! margins were then chosen on them, among others, and the network was taught figures of
//! the same families (`tests/training/playing.py`). Six more were written after that, and
//! no margin was chosen on them but for two faults mended since (a waltz's second chord
//! was named without its bass; pairs of keys were no line): they say what other playing
//! may expect.

use std::collections::BTreeMap;
use std::sync::Arc;

use peregrinus::engine::{Change, Monitor, Observer};
use peregrinus::midi;
use peregrinus::theory::{Catalogue, Kinds, PitchClass, PitchClassSet, Sonority};
use peregrinus::time::Time;

/// Milliseconds a beat, and beats a chord.
const BEAT: u64 = 400;
const BEATS: u64 = 8;
const SPAN: u64 = BEAT * BEATS;
/// Triads, sevenths, sixths, suspensions and plain ninths cost no more.
const PLAIN: f32 = 0.2;

/// A chord under the hands: the bass, and the other members above it.
#[derive(Clone, Debug)]
struct Hands {
    bass: u8,
    upper: Vec<u8>,
}

impl Hands {
    /// `above`: semitones above the root; `lowest`: which of them is the bass.
    fn new(root: u8, above: &[u8], lowest: usize) -> Hands {
        let bass = 36 + (root + above[lowest]) % 12;
        let mut upper: Vec<u8> = Vec::new();
        let mut at = 55;
        // In thirds from the member above the bass, the bass itself on top where there is room.
        let order = (1..above.len()).map(|i| above[(lowest + i) % above.len()]);
        for member in order.chain((above.len() == 3).then_some(above[lowest])) {
            let pc = (root + member) % 12;
            at += (pc + 120 - at % 12) % 12;
            upper.push(at);
            at += 1;
        }
        Hands { bass, upper }
    }

    fn set(&self) -> PitchClassSet {
        let all = self.upper.iter().chain([&self.bass]);
        all.map(|&k| PitchClass::of_key(k)).collect()
    }
}

/// What is played: key, onset and end in milliseconds from the chord's beginning.
type Played = Vec<(u8, u64, u64)>;

fn all_at(keys: &[u8], from: u64, to: u64) -> Played {
    keys.iter().map(|&k| (k, from, to)).collect()
}

fn everything(h: &Hands) -> Vec<u8> {
    let mut keys = vec![h.bass];
    keys.extend(&h.upper);
    keys
}

/// Keys struck one after another, `each` ms apart, and held to the end.
fn rolled(h: &Hands, each: u64) -> Played {
    let keys = everything(h);
    (0..)
        .zip(keys)
        .map(|(i, k)| (k, i * each, SPAN - 40))
        .collect()
}

/// Single keys in a circle, each for its own length.
fn circle(keys: &[u8], length: u64) -> Played {
    (0..SPAN / length)
        .map(|i| {
            let key = keys[i as usize % keys.len()];
            (key, i * length, (i + 1) * length - 20)
        })
        .collect()
}

fn there_and_back(keys: &[u8]) -> Vec<u8> {
    let back = keys.iter().rev().skip(1).take(keys.len().saturating_sub(2));
    keys.iter().chain(back).copied().collect()
}

struct Texture {
    name: &'static str,
    /// Whether the damper is changed with each chord, just after it.
    pedal: bool,
    play: fn(&Hands) -> Played,
}

const TEXTURES: [Texture; 10] = [
    Texture {
        name: "block",
        pedal: false,
        play: |h| all_at(&everything(h), 0, SPAN - 40),
    },
    Texture {
        name: "repeated block",
        pedal: false,
        play: |h| {
            (0..BEATS)
                .flat_map(|b| all_at(&everything(h), b * BEAT, b * BEAT + 250))
                .collect()
        },
    },
    Texture {
        name: "rolled",
        pedal: false,
        play: |h| rolled(h, 35),
    },
    Texture {
        name: "rolled slowly",
        pedal: false,
        play: |h| rolled(h, 150),
    },
    Texture {
        name: "bass, then chord",
        pedal: false,
        play: |h| {
            (0..BEATS / 2)
                .flat_map(|b| {
                    let at = 2 * b * BEAT;
                    let mut all = vec![(h.bass, at, at + 250)];
                    all.extend(all_at(&h.upper, at + BEAT, at + BEAT + 250));
                    all
                })
                .collect()
        },
    },
    Texture {
        name: "bass held, the rest broken",
        pedal: false,
        play: |h| {
            let mut all = circle(&there_and_back(&h.upper), BEAT / 2);
            all.push((h.bass, 0, SPAN - 40));
            all
        },
    },
    Texture {
        name: "broken upward and back",
        pedal: false,
        play: |h| circle(&there_and_back(&everything(h)), BEAT / 2),
    },
    Texture {
        name: "low, high, middle, high",
        pedal: false,
        play: |h| {
            // All in the left hand's octave, under a held top note.
            let mut keys: Vec<u8> = h.upper.iter().map(|k| 48 + k % 12).collect();
            let low = 36 + h.bass % 12 + if h.bass % 12 < 5 { 12 } else { 0 };
            keys.iter_mut()
                .filter(|k| **k <= low)
                .for_each(|k| *k += 12);
            keys.retain(|k| k % 12 != low % 12);
            keys.sort_unstable();
            let mut cell = vec![low];
            let high = keys.pop().unwrap_or(low);
            for middle in keys {
                cell.extend([high, middle]);
            }
            cell.push(high);
            circle(&cell, BEAT / 2)
        },
    },
    Texture {
        name: "wide, over the pedal",
        pedal: true,
        play: |h| circle(&there_and_back(&everything(h)), BEAT / 2),
    },
    Texture {
        name: "block under a melody with passing notes",
        pedal: false,
        play: |h| {
            let mut all = all_at(&everything(h), 0, SPAN - 40);
            for i in 0..BEATS {
                let tone = h.upper[i as usize % h.upper.len()] % 12 + 84;
                let at = i * BEAT;
                all.push((tone, at, at + BEAT / 2 - 20));
                all.push((tone + 2, at + BEAT / 2, at + BEAT - 20));
            }
            all
        },
    },
];

/// Written after the margins were chosen.
const UNSEEN: [Texture; 6] = [
    Texture {
        name: "waltz",
        pedal: false,
        play: |h| {
            (0..BEATS)
                .flat_map(|b| {
                    let at = b * BEAT;
                    match b % 3 {
                        0 => vec![(h.bass, at, at + 350)],
                        _ => all_at(&h.upper, at, at + 200),
                    }
                })
                .collect()
        },
    },
    Texture {
        name: "triplets upward",
        pedal: false,
        play: |h| circle(&everything(h), BEAT / 3),
    },
    Texture {
        name: "down from the top over the pedal",
        pedal: true,
        play: |h| {
            let mut keys = vec![h.bass];
            keys.extend(h.upper.iter().rev());
            circle(&keys, BEAT / 2)
        },
    },
    Texture {
        name: "low, high, middle, high, quickly",
        pedal: false,
        play: |h| {
            let Some((&high, middle)) = h.upper.split_last() else {
                return Vec::new();
            };
            let mut cell = vec![h.bass + 12];
            for &m in middle {
                cell.extend([high, m]);
            }
            cell.push(high);
            circle(&cell, BEAT / 4)
        },
    },
    Texture {
        name: "pairs over a bass",
        pedal: false,
        play: |h| {
            let mut all = vec![(h.bass, 0, SPAN / 2 - 20), (h.bass, SPAN / 2, SPAN - 40)];
            for i in 0..2 * BEATS {
                let at = i * BEAT / 2;
                let (a, b) = (i as usize % h.upper.len(), (i as usize + 1) % h.upper.len());
                all.extend(all_at(&[h.upper[a], h.upper[b]], at, at + BEAT / 2 - 20));
            }
            all
        },
    },
    Texture {
        name: "tremolo",
        pedal: false,
        play: |h| {
            (0..8 * BEATS)
                .flat_map(|i| {
                    let at = i * BEAT / 8;
                    match i % 2 {
                        0 => vec![(h.bass, at, at + 45)],
                        _ => all_at(&h.upper, at, at + 45),
                    }
                })
                .collect()
        },
    },
];

/// What each reaches, of every kind of chord and of the plain ones, less a little.
const FLOORS: [(&str, f64, f64); 16] = [
    ("block", 1.0, 1.0),
    ("repeated block", 0.98, 1.0),
    ("rolled", 1.0, 1.0),
    ("rolled slowly", 0.98, 1.0),
    ("bass, then chord", 0.98, 0.97),
    ("bass held, the rest broken", 0.97, 0.97),
    ("broken upward and back", 1.0, 1.0),
    ("low, high, middle, high", 0.93, 0.98),
    ("wide, over the pedal", 1.0, 1.0),
    ("block under a melody with passing notes", 1.0, 1.0),
    ("waltz", 0.91, 0.93),
    ("triplets upward", 0.98, 1.0),
    ("down from the top over the pedal", 0.98, 1.0),
    ("low, high, middle, high, quickly", 0.57, 0.59),
    ("pairs over a bass", 0.83, 0.88),
    ("tremolo", 0.40, 0.34),
];

struct Labels(Vec<(Time, Sonority)>);

impl Observer for Labels {
    fn change(&mut self, at: Time, change: Change) {
        if let Change::Chord { sonority, .. } = change {
            self.0.push((at, sonority));
        }
    }
}

/// The labels of the middle chord of three, with their microseconds, from the moment on
/// when all its notes have been heard and the hand has had time to put them down.
fn hear(monitor: &Monitor, texture: &Texture, chords: &[Hands; 3]) -> Vec<(Sonority, u64)> {
    let mut events: Vec<(u64, bool, midi::Event)> = Vec::new();
    for (i, h) in (0..).zip(chords) {
        let begin = 1000 + i * SPAN;
        for (key, from, to) in (texture.play)(h) {
            let on = midi::Event::NoteOn {
                channel: 0,
                key,
                velocity: 70,
            };
            events.push((begin + from, true, on));
            let off = midi::Event::NoteOff { channel: 0, key };
            events.push((begin + to, false, off));
        }
        if texture.pedal {
            for (after, value) in [(60, 0), (160, 127)] {
                let event = midi::Event::Damper { channel: 0, value };
                events.push((begin + after, false, event));
            }
        }
    }
    events.sort_by_key(|e| (e.0, e.1));
    let mut monitor = monitor.clone();
    let mut labels = Labels(Vec::new());
    for (at, _, event) in events {
        monitor.on_event(Time::millis(at), event, &mut labels);
    }
    let mut first = [None; 12];
    for (key, at, _) in (texture.play)(&chords[1]) {
        let seen = first[usize::from(key % 12)].get_or_insert(at);
        *seen = at.min(*seen);
    }
    let mut wanted = chords[1].set().iter().filter_map(|pc| first[pc.index()]);
    let whole = wanted.by_ref().max().unwrap_or(0) + 100;
    // What is let go at the very end is no label.
    let (from, to) = (
        Time::millis(1000 + SPAN + whole),
        Time::millis(1000 + 2 * SPAN - 60),
    );
    monitor.advance_to(to, &mut labels);
    let ends = labels.0.iter().skip(1).map(|l| l.0).chain([to]);
    labels
        .0
        .iter()
        .zip(ends)
        .map(|(l, end)| {
            (
                l.1,
                (end.min(to).since(l.0.max(from)).seconds() * 1e6) as u64,
            )
        })
        .collect()
}

#[test]
fn every_harmony_is_named_alike_in_every_texture() {
    let kinds = Kinds::standard();
    let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).expect("a monitor");
    let major = |root| Hands::new(root, &[0, 4, 7], 0);
    let mut score: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    let mut plain: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    let mut faults = String::new();
    let mut turn = 0u32;
    for (_, kind) in kinds.iter() {
        let above: Vec<u8> = kind.members.iter().map(|m| m.semitones).collect();
        // Triads and sevenths in every inversion, the rest on their roots.
        let inversions = if above.len() <= 4 && kind.cost < 0.13 {
            above.len()
        } else {
            1
        };
        for lowest in 0..inversions {
            for texture in TEXTURES.iter().chain(&UNSEEN) {
                for _ in 0..2 {
                    turn += 7;
                    let root = (turn % 12) as u8;
                    let h = Hands::new(root, &above, lowest);
                    let bass = PitchClass::of_key(h.bass);
                    let want = kinds.name(h.set(), bass, PitchClassSet::ALL);
                    if want.chord().is_none() {
                        // Not named at all: quartal, or a scale.
                        continue;
                    }
                    // From the chord a fifth above, on to the one a fourth above.
                    let chords = [major((root + 7) % 12), h, major((root + 5) % 12)];
                    let heard = hear(&monitor, texture, &chords);
                    // C6 or Am7/C, one diminished seventh or another: what came before may
                    // decide, but not for a part of the time.
                    let mut times: BTreeMap<String, u64> = BTreeMap::new();
                    for (s, time) in &heard {
                        // A fifth is understood: nobody writes it, and nobody misses it.
                        let fifth = want.chord().map(|c| c.root.up(7));
                        let same = |set: PitchClassSet| fifth.map_or(set, |f| set.without(f));
                        let set = s.set() == want.set()
                            || s.chord().map(|c| c.root) == want.chord().map(|c| c.root)
                                && same(s.set()) == same(want.set());
                        if s.chord().is_some() && set && s.bass() == want.bass() {
                            *times.entry(format!("{s:?}")).or_default() += time;
                        }
                    }
                    let right = times.into_values().max().unwrap_or(0);
                    let whole: u64 = heard.iter().map(|l| l.1).sum();
                    let good = 10 * right >= 9 * whole;
                    let count = |into: &mut BTreeMap<&'static str, (u32, u32)>| {
                        let (well, all) = into.entry(texture.name).or_default();
                        (*well, *all) = (*well + u32::from(good), *all + 1);
                    };
                    count(&mut score);
                    if kind.cost <= PLAIN {
                        count(&mut plain);
                    }
                    if good {
                        continue;
                    }
                    if std::env::var("SHOW_FAULTS").is_ok() {
                        let name = |s: Sonority| {
                            s.harte(|pc| peregrinus::theory::Spelling::nearest(pc, 1.0))
                        };
                        let list: Vec<String> = heard
                            .iter()
                            .filter(|l| l.1 > 0)
                            .map(|l| format!("{} {:.1}", name(l.0), l.1 as f64 / 1e6))
                            .collect();
                        faults += &format!(
                            "{}: {} heard {}\n",
                            texture.name,
                            name(want),
                            list.join(", ")
                        );
                    }
                }
            }
        }
    }
    let share = |(well, all): (u32, u32)| f64::from(well) / f64::from(all);
    let sum = |score: &BTreeMap<&str, (u32, u32)>, of: &[Texture]| {
        let scores = of.iter().filter_map(|t| score.get(t.name));
        scores.fold((0, 0), |t, s| (t.0 + s.0, t.1 + s.1))
    };
    let total = sum(&score, &TEXTURES);
    let unseen = sum(&score, &UNSEEN);
    let lines: Vec<String> = score
        .iter()
        .map(|(name, s)| format!("{:.3} {name} ({} of {})", share(*s), s.0, s.1))
        .collect();
    let plain_total = sum(&plain, &TEXTURES);
    println!(
        "unseen {:.4} of {}, plain {:.4}",
        share(unseen),
        unseen.1,
        share(sum(&plain, &UNSEEN))
    );
    for (name, s) in &plain {
        println!("plain {:.3} {name}", share(*s));
    }
    println!("plain {:.4} of {}", share(plain_total), plain_total.1);
    println!(
        "{faults}{}\n{:.4} of {}",
        lines.join("\n"),
        share(total),
        total.1
    );
    assert!(total.1 > 2000);
    // Aimed at, and reached where the margins were chosen; what other figures may expect
    // is said by those that were written afterwards.
    assert!(share(total) >= 0.98, "\n{}", lines.join("\n"));
    assert!(share(plain_total) >= 0.99, "\n{}", lines.join("\n"));
    assert!(share(unseen) >= 0.78, "\n{}", lines.join("\n"));
    for (name, floor, plain_floor) in FLOORS {
        assert!(share(score[name]) >= floor, "{name}: {}", lines.join("\n"));
        assert!(
            share(plain[name]) >= plain_floor,
            "plain {name}: {}",
            lines.join("\n")
        );
    }
    assert_eq!(FLOORS.len(), score.len());
}
