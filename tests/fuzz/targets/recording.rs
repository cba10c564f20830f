//! Any texts as the words of a recording: what is read of them is written, and read again as
//! the same; never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use peregrinus::midi::{Event, FileWriter, TextKind, Timed};
use peregrinus::recording;
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use std::io::Cursor;
use std::sync::Arc;

fuzz_target!(|lines: &str| {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut file = FileWriter::new(Cursor::new(Vec::new())).expect("a memory never fails");
    for (i, line) in (0u64..).zip(lines.lines()) {
        // Two at a time, so that markers meet what they are about.
        let at = Time(i / 2);
        match line.strip_prefix('#') {
            Some(name) => file.text(at, TextKind::Marker, name),
            None => file.text(at, TextKind::Text, &format!("peregrinus: {line}")),
        }
        let (channel, key) = (line.len() as u8 % 16, 60);
        let event = match line.len() % 3 {
            0 => Event::NoteOff { channel, key },
            1 => Event::Damper { channel, value: 0 },
            _ => Event::Release,
        };
        file.push(&Timed { at, event });
    }
    let bytes = file.finish(Time::ZERO).expect("a memory never fails");
    let read = |bytes: &[u8]| recording::read(bytes, &catalogue).expect("our own file");
    let first = read(bytes.get_ref());
    let again = recording::write(&first, &catalogue, Cursor::new(Vec::new()));
    let second = read(again.expect("a memory never fails").get_ref());
    assert_eq!(first, second);
});
