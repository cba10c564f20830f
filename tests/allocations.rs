//! What runs where nothing may wait must not allocate. Every thread counts its own.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

use allocation_counter::measure;
use peregrinus::engine::{self, Change, Monitor, Observer, Phrases};
use peregrinus::midi::{Channel, Event, IntakeReceiver, Keyboards, Trigger, intake};
use peregrinus::theory::{Bassist, Catalogue, Hearing, Kinds, PitchClass, PitchClassSet};
use peregrinus::time::Time;

/// Bytes of every kind: notes with and without running status, pedals, real-time bytes inside
/// messages, messages cut off, data without a status, and a long system exclusive message.
fn bytes() -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    for i in 0..2_000u32 {
        let key = (i % 128) as u8;
        out.push(vec![0x90 | (i % 16) as u8, key, 64]);
        out.push(vec![key, 0]);
        out.push(vec![0x80, 0xfe, key, 64]);
        out.push(vec![0xb0, 20, key, 67, 127 - key]);
        out.push(vec![0xb0, 64, key, 0xf8]);
        out.push(vec![
            0x90, 0x80, key, 0xf1, 0xf2, 1, 0xf6, 0xf7, key, key, key,
        ]);
        if i % 100 == 0 {
            let mut exclusive = vec![0xf0];
            exclusive.resize(50_000, 1);
            exclusive.push(0xf7);
            out.push(exclusive);
        }
        out.push(vec![0xfe, 0xff]);
    }
    out
}

fn count(jobs: &[Trigger], read: impl Fn(&mut IntakeReceiver)) -> (u64, u64) {
    let ticks = AtomicU64::new(0);
    let clock = move || Time(ticks.fetch_add(1, Relaxed));
    let (mut sender, mut receiver) = intake(512, jobs, Keyboards::One, clock);
    let bytes = bytes();
    let mut counted = 0;
    for chunk in bytes.chunks(50) {
        let info = measure(|| {
            for bytes in chunk {
                sender.bytes(bytes);
            }
        });
        counted += info.count_total;
        read(&mut receiver);
    }
    (counted, receiver.dropped())
}

#[test]
fn the_midi_callback() {
    // That the counter counts:
    assert!(measure(|| drop(std::hint::black_box(vec![1u8]))).count_total > 0);
    let jobs = [
        Trigger::Controller(67),
        Trigger::Controller(20),
        Trigger::Key(60),
    ];
    for jobs in [&[][..], &jobs] {
        // A reader that keeps up; what it accepts costs nothing either.
        let fired = AtomicU64::new(0);
        let emptied = count(jobs, |receiver| {
            let info = measure(|| {
                while let Ok(incoming) = receiver.receiver().try_recv() {
                    receiver.accept(incoming, |_| ());
                }
                fired.fetch_add(receiver.fired().count() as u64, Relaxed);
            });
            assert_eq!(info.count_total, 0);
        });
        assert_eq!(emptied, (0, 0));
        assert_eq!(fired.into_inner() > 20, !jobs.is_empty());
        // None: the channel is full, releases go into the table.
        let (counted, dropped) = count(jobs, |_| ());
        assert_eq!(counted, 0);
        assert!(dropped > 1_000);
    }
}

/// Playing of every kind for the engine: chords, runs, pedals, silences long enough to rest.
fn playing(events: usize) -> Vec<(Time, Event)> {
    let mut seed = 7u64;
    let mut random = move |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 33) % below
    };
    let mut at = Time::millis(10);
    let mut out = Vec::new();
    while out.len() < events {
        let root = 40 + random(24) as u8;
        let keys = [
            root,
            root + 4 + random(2) as u8,
            root + 7,
            root + 12 + random(12) as u8,
        ];
        let value = if random(2) == 0 { 0 } else { 127 };
        out.push((
            at,
            Event::Damper {
                channel: Channel::ALL[0],
                value,
            },
        ));
        for key in keys {
            at += Time::millis(random(20));
            out.push((
                at,
                Event::NoteOn {
                    channel: Channel::ALL[0],
                    key,
                    velocity: 60,
                },
            ));
        }
        at += Time::millis(100 + random(400));
        for key in keys {
            out.push((
                at,
                Event::NoteOff {
                    channel: Channel::ALL[0],
                    key,
                },
            ));
        }
        if random(200) == 0 {
            out.push((at, Event::Release));
            at += Time::millis(9_000);
        }
    }
    out
}

#[test]
fn the_engine() {
    let catalogue = std::sync::Arc::new(Catalogue::standard().clone());
    let mut monitor = Monitor::new(catalogue).expect("the embedded numbers hold");
    let all = playing(11_000);
    let (warm, counted) = all.split_at(1_000);
    let mut changes = 0u64;
    let mut observer = Count(&mut changes, Phrases::of_late());
    for &(at, event) in warm {
        monitor.on_event(at, event, &mut observer);
    }
    let dorian = Catalogue::standard().parse_tonality("D dorian");
    let dorian = dorian.ok();
    let said = [
        engine::Event::Pin(dorian),
        engine::Event::HomeIs(Some(PitchClass::new(3))),
        engine::Event::Aside(engine::Aside::Begins),
        engine::Event::Pin(None),
        engine::Event::Aside(engine::Aside::Ends),
        engine::Event::HomeIs(None),
    ];
    let info = measure(|| {
        for (i, &(at, event)) in counted.iter().enumerate() {
            monitor.on_event(at, event, &mut observer);
            if i % 100 == 0 {
                monitor.on_event(at, said[i / 100 % said.len()], &mut observer);
                std::hint::black_box(observer.1.before(at));
            }
            std::hint::black_box(monitor.reading());
        }
    });
    assert!(counted.len() >= 10_000);
    assert!(changes > 1_000, "it did say something: {changes} changes");
    assert_eq!(
        info.count_total,
        0,
        "allocations over {} events",
        counted.len()
    );
}

#[test]
fn naming_a_chord() {
    let kinds = Kinds::standard();
    let mut hearing = Hearing {
        scale: PitchClassSet::from_mask(0xab5),
        center: Some(PitchClass::new(0)),
        ..Hearing::default()
    };
    let mut chords = 0;
    let info = measure(|| {
        for mask in 1..4096u16 {
            let set = PitchClassSet::from_mask(mask);
            for bass in set.iter() {
                let found = std::hint::black_box(kinds.names(set, bass, hearing));
                if let Some(chord) = found.best().chord() {
                    hearing.before = Some(chord);
                    chords += 1;
                }
                hearing.bassist = match hearing.bassist {
                    Bassist::Plays => Bassist::Absent,
                    Bassist::Absent => Bassist::Plays,
                };
            }
        }
    });
    assert!(chords > 2_000, "{chords}");
    assert_eq!(info.count_total, 0);
}

struct Count<'a>(&'a mut u64, Phrases);

impl Observer for Count<'_> {
    fn change(&mut self, at: Time, change: Change) {
        *self.0 += 1;
        self.1.change(at, change);
    }
}
