//! What runs where nothing may wait must not allocate. Every thread counts its own.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

use allocation_counter::measure;
use peregrinus::midi::{Outlet, intake};
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

fn count(read: impl Fn(&mut Outlet)) -> (u64, u64) {
    let ticks = AtomicU64::new(0);
    let (mut feeder, mut outlet) = intake(256, move || Time(ticks.fetch_add(1, Relaxed)));
    let bytes = bytes();
    let mut counted = 0;
    for chunk in bytes.chunks(50) {
        let info = measure(|| {
            for bytes in chunk {
                feeder.bytes(bytes);
            }
        });
        counted += info.count_total;
        read(&mut outlet);
    }
    (counted, outlet.dropped())
}

#[test]
fn the_midi_callback() {
    // That the counter counts:
    assert!(measure(|| drop(std::hint::black_box(vec![1u8]))).count_total > 0);
    // A reader that keeps up.
    let emptied = count(|outlet| {
        while outlet.receiver().try_recv().is_ok() {
            outlet.take_releases(|_| ());
        }
    });
    assert_eq!(emptied, (0, 0));
    // None: the channel is full, releases go into the table.
    let (counted, dropped) = count(|_| ());
    assert_eq!(counted, 0);
    assert!(dropped > 1_000);
}
