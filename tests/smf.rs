//! Standard MIDI Files that we write, read by mido as well as by our own reader.

use std::fmt::Write as _;
use std::ops::ControlFlow::Continue;

use peregrinus::midi::{
    self, Channel, Event, KeySignature, Limits, Performance, Text, TextKind, Timed,
};
use peregrinus::time::Time;

#[path = "python/mod.rs"]
mod python;
use python::Python;

/// What the reader of tests/python/check_smf.py expects.
fn line(t: &Timed) -> Option<String> {
    let (kind, channel, a, b) = match t.event {
        Event::NoteOn {
            channel,
            key,
            velocity,
        } => ("on", channel, key, velocity),
        Event::NoteOff { channel, key } => ("off", channel, key, 0),
        Event::Damper { channel, value } => ("control", channel, 64, value),
        Event::Sostenuto { channel, value } => ("control", channel, 66, value),
        Event::Soft { channel, value } => ("control", channel, 67, value),
        Event::AllSoundOff { channel } => ("control", channel, 120, 0),
        Event::ResetControllers { channel } => ("control", channel, 121, 0),
        Event::AllNotesOff { channel } => ("control", channel, 123, 0),
        // It has no message of its own: see src/midi/file/write.rs.
        Event::Release | Event::ReleaseKeyboard { .. } => return None,
    };
    Some(format!("{} {kind} {} {a} {b}", t.at.0, channel.number()))
}

/// Notes and pedals at odd ticks, in a fixed disorder.
fn performance(seed: u64, notes: usize, channels: u8, longest: u64) -> Performance {
    let mut state = seed;
    let mut next = |below: u64| {
        // Knuth's multiplicative congruence.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let mut events = Vec::new();
    let mut now = 0;
    for i in 0..notes {
        now += next(longest);
        let channel = Channel::ALL[next(u64::from(channels)) as usize];
        let key = 21 + next(88) as u8;
        let velocity = 1 + next(127) as u8;
        let on = Event::NoteOn {
            channel,
            key,
            velocity,
        };
        let value = next(128) as u8;
        let off = Event::NoteOff { channel, key };
        events.push((now, on));
        events.push((now + 1 + next(90_000), off));
        let control = match i % 9 {
            0 => Event::Damper { channel, value },
            3 => Event::Sostenuto { channel, value },
            5 => Event::Soft { channel, value },
            7 if i % 4 == 0 => Event::AllNotesOff { channel },
            _ => continue,
        };
        events.push((now, control));
    }
    events.sort_by_key(|e| e.0);
    let events: Vec<Timed> = events
        .into_iter()
        .map(|(at, event)| Timed {
            at: Time(at),
            event,
        })
        .collect();
    let end = events.last().map_or(Time::ZERO, |t| t.at) + Time(17);
    Performance {
        end,
        texts: vec![Text {
            at: Time(5),
            before_event: 0,
            kind: TextKind::Marker,
            offset: 0,
            text: "Dorian – ♭7".into(),
        }],
        key_signatures: vec![KeySignature {
            at: Time::ZERO,
            sharps: -3,
            minor: true,
        }],
        events,
        ..Performance::default()
    }
}

#[test]
fn mido_finds_in_our_files_what_we_find() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("smf");
    std::fs::create_dir_all(&folder).expect("a folder for the files");
    let mut lines = String::new();
    let mut count = 0;
    let shapes = [
        (1, 400, 1, 20_000),
        (2, 400, 16, 9_000),
        (3, 60, 3, 30_000_000),
        (4, 0, 1, 1),
        (5, 1, 1, 1),
    ];
    let mut last = String::new();
    for (seed, notes, channels, longest) in shapes {
        let written = performance(seed, notes, channels, longest);
        let mut bytes = Vec::new();
        midi::write(&written, &mut bytes).expect("a memory never fails");
        let path = folder.join(format!("{seed}.mid"));
        std::fs::write(&path, &bytes).expect("a file");
        let read =
            midi::read_with(&bytes, &Limits::none(), &mut |_| Continue(())).expect("our own file");
        assert_eq!(read.events, written.events);
        assert_eq!((read.end, read.faults.is_empty()), (written.end, true));
        last = format!("file {}\n", path.display());
        lines.push_str(&last);
        for t in &read.events {
            let _ = writeln!(lines, "{}", line(t).expect("no release here"));
            count += 1;
        }
    }
    assert!(count > 1800, "{count} events");
    let said = python::run(Python::Checks, "python/check_smf.py", &[], &lines);
    assert_eq!(
        said.trim(),
        format!("{} files, {count} events", shapes.len())
    );
    // The check can fail: a note that is not there.
    let wrong = python::fails(
        Python::Checks,
        "python/check_smf.py",
        &[],
        &format!("{last}0 on 0 60 64\n"),
    );
    assert!(wrong.contains("event 0"), "{wrong}");
}
