//! Any bytes as a Standard MIDI File: read, or refused with a reason; never a panic, and
//! events in the order of their times.
#![no_main]

use libfuzzer_sys::fuzz_target;
use peregrinus::midi;

fuzz_target!(|bytes: &[u8]| {
    match midi::read(bytes) {
        Ok(p) => {
            assert!(p.events.is_sorted_by_key(|e| e.at));
            assert!(p.events.last().is_none_or(|e| e.at <= p.end));
            assert!(p.end <= midi::LONGEST);
        }
        Err(e) => assert!(!e.to_string().is_empty()),
    }
});
