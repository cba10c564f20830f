//! Any bytes as learned weights: read, and then good for a step without a number that is
//! none; or refused with a reason.
#![no_main]

use libfuzzer_sys::fuzz_target;
use peregrinus::engine::{Estimator, Frame, Learned, Model};
use peregrinus::theory::Catalogue;
use std::sync::Arc;

fuzz_target!(|bytes: &[u8]| {
    // As they come, and with the checksum that belongs to them: else all ends there.
    let mut sealed = bytes.to_vec();
    if let Some(end) = bytes.len().checked_sub(4) {
        let sum = crc32fast::hash(&bytes[..end]);
        sealed[end..].copy_from_slice(&sum.to_le_bytes());
    }
    for bytes in [bytes, &sealed] {
        match Model::parse(bytes) {
            Ok(model) => {
                let mut estimator = Learned::new(Catalogue::standard(), Arc::new(model));
                estimator.step(&Frame {
                    onsets: [1; 12],
                    sounding: [1.0; 12],
                    count: 12,
                    ..Frame::default()
                });
                let p = estimator.probabilities();
                let all = p.tonalities.iter().chain(&p.collections);
                assert!((all.map(|&p| f64::from(p)).sum::<f64>() - 1.0).abs() < 1e-3);
            }
            Err(e) => assert!(!e.to_string().is_empty()),
        }
    }
});
