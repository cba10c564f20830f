//! Any bytes from a port, cut anyhow: the same events as when they come one by one.
#![no_main]

use libfuzzer_sys::fuzz_target;
use peregrinus::midi::Wire;

fuzz_target!(|bytes: &[u8]| {
    let (&cut, bytes) = bytes.split_first().unwrap_or((&0, &[]));
    let (mut pieces, mut single) = (Vec::new(), Vec::new());
    let mut wire = Wire::new();
    for piece in bytes.chunks(usize::from(cut) + 1) {
        wire.feed(piece, &mut |e| pieces.push(e));
    }
    let mut wire = Wire::new();
    for byte in bytes.chunks(1) {
        wire.feed(byte, &mut |e| single.push(e));
    }
    assert_eq!(pieces, single);
});
