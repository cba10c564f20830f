//! Standard MIDI Files, read and written.
//!
//! What can be read is read, what cannot is reported with its place: all that departs from the
//! standard is a [`Fault`], so that a damaged file is never taken for a whole one. The chunks are
//! walked here and the events of each track parsed by midly, because a whole-file parse tells no
//! byte offsets.
//!
//! Numbers in a file are claims. What is read is bounded by [`Limits`], memory by the file's own
//! bytes and the events that come of them, time by a small multiple of the bytes.
//!
//! Source of the format: Standard MIDI Files 1.0, as summarised at
//! somascape.org/midi/tech/mfile.html; times are computed in whole numbers and rounded once each,
//! so they do not drift.

mod bars;
mod bytes;
mod chunks;
mod clock;
mod fault;
mod header;
mod held;
mod keyboard_tracks;
mod last_track;
mod limits;
mod merge;
mod performance;
mod progress;
mod tempo_map;
#[cfg(test)]
mod testing;
mod track;
mod unison;
mod write;

pub use fault::{BadEvent, Damage, Excess, Fault, FaultKind, Faults, FileError};
pub use keyboard_tracks::keyboard_tracks;
pub use last_track::{counts_as_we_do, with_last_track};
pub use limits::{LONGEST, Limits};
pub use performance::{KeySignature, Performance, Text, TextKind};
pub use tempo_map::with_bar_lines;
pub use write::{FileWriter, track, write};

use std::ops::ControlFlow;

use chunks::{Chunks, Found};
use header::{Header, find_header};
use merge::Merge;

/// Reads a file of type 0, 1 or 2, or one wrapped in RIFF (RMID), within the default [`Limits`].
pub fn read(bytes: &[u8]) -> Result<Performance, FileError> {
    read_with(
        bytes,
        &Limits::default(),
        &mut |_| ControlFlow::Continue(()),
    )
}

/// The same within other limits. `progress` is called with the share that is done, from 0
/// to 1, every few thousand events, and may stop the reading with [`FileError::Stopped`].
pub fn read_with(
    bytes: &[u8],
    limits: &Limits,
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Result<Performance, FileError> {
    limits.admit(bytes.len() as u64)?;
    let mut faults = Faults::default();
    let (bytes, start) = find_header(bytes, &mut faults)?;
    let header = Header::read(bytes, start, &mut faults)?;
    let mut reached = |done| match progress(done) {
        ControlFlow::Continue(()) => Ok(()),
        ControlFlow::Break(()) => Err(FileError::Stopped),
    };
    // To find the tracks takes less than to merge them.
    const FOUND: f32 = 0.4;
    let mut finding = |done: f32| reached(FOUND * done);
    let Found { tracks, all } =
        Chunks::walk(bytes, header.next, limits, &mut faults, &mut finding)?;
    if tracks.is_empty() {
        return Err(FileError::NoTracks {
            offset: header.next.min(bytes.len()) as u64,
        });
    }
    if all && tracks.len() != usize::from(header.tracks) {
        let (declared, held) = (header.tracks.into(), tracks.len());
        faults.damage(start + 10, None, Damage::TrackCount { declared, held });
    }
    if header.format == 0 && tracks.len() > 1 {
        faults.damage(start + 8, None, Damage::TypeZeroTracks);
    }
    let mut merging = |done: f32| reached(FOUND + (1.0 - FOUND) * done);
    let (format, timing) = (header.format, header.timing);
    let mut performance = Merge::run(format, timing, &tracks, limits, &mut faults, &mut merging)?;
    performance.faults = faults;
    Ok(performance)
}

#[cfg(test)]
mod tests {
    use super::testing::*;
    use super::*;
    use crate::midi::event::{Channel, Event};
    use crate::time::{TICKS_PER_SECOND, Time};
    use proptest::prelude::*;

    fn check_order(performance: &Performance) {
        assert!(performance.events.is_sorted_by_key(|t| t.at));
        assert!(
            performance
                .texts
                .is_sorted_by_key(|t| (t.at, t.before_event))
        );
        assert!(performance.events.iter().all(|t| t.at <= performance.end));
        assert!(
            performance
                .texts
                .iter()
                .all(|t| t.before_event <= performance.events.len())
        );
        assert!(performance.faults.first().is_sorted_by_key(|f| f.offset));
    }

    /// Notes one after the other, each `delta` ticks long.
    fn melody(notes: usize, delta: u8) -> Vec<u8> {
        let mut content = Vec::new();
        for _ in 0..notes {
            content.extend([0, 0x90, 60, 64, delta | 0x80, 0, 0x80, 60, 64]);
        }
        ended(&content)
    }

    fn within(limits: Limits, bytes: &[u8]) -> (Performance, Vec<String>) {
        let performance = read_with(bytes, &limits, &mut |_| ControlFlow::Continue(())).unwrap();
        let faults = performance.faults.lines().collect();
        (performance, faults)
    }

    /// A few kilobytes that would last for a day: the notes of minutes, with a header that makes
    /// a quarter of each tick.
    #[test]
    fn a_wrong_division_does_not_last_for_hours() {
        let bytes = file(0, 1, &[melody(600, 1)]);
        let (read, said) = within(Limits::default(), &bytes);
        assert_eq!(
            said,
            [
                "byte 580, track 1: for more than 60 minutes notes come less often than every 5 seconds, as with a wrong division or tempo; what follows is left out (--no-limits reads on)"
            ]
        );
        let Limits { patience, pace, .. } = Limits::default();
        let slow = Excess::Slow { patience, pace };
        assert_eq!(read.faults.first()[0].kind, FaultKind::Limit(slow));
        assert!(
            read.end < Time(2 * 3_600 * TICKS_PER_SECOND),
            "{}",
            read.end
        );
        assert!(read.end > Time(3_600 * TICKS_PER_SECOND), "{}", read.end);
        let all = read_all(&bytes);
        assert_eq!(
            (all.events.len(), all.end),
            (1_200, Time(600 * 64 * TICKS_PER_SECOND))
        );
        // Music with such a division: a note each second, for ten hours.
        let slow: Vec<u8> = [0, 0x90, 60, 64, 2, 0x80, 60, 64].repeat(36_000);
        let (read, said) = within(Limits::default(), &file(0, 1, &[ended(&slow)]));
        assert_eq!((read.events.len(), said), (72_000, vec![]));
        // And a sitting with long pauses: a chord every half hour, from morning to night.
        let chord = [
            0, 0x90, 60, 64, 0, 0x90, 64, 64, 0, 0x90, 67, 64, 0x9c, 0x10, 0x80, 60, 64,
        ];
        let (read, said) = within(Limits::default(), &file(0, 1, &[ended(&chord.repeat(24))]));
        assert_eq!((read.events.len(), said), (96, vec![]));
    }

    #[test]
    fn days_are_left_out_and_nothing_is_left_sounding() {
        // 25 ticks a second; the pedal goes up a day after the second note, the key later still.
        let content = [
            &[0, 0x90, 60, 64, 0, 0xb0, 64, 127, 25, 0x90, 62, 64][..],
            &[0x81, 0x83, 0xeb, 0x00, 0xb0, 64, 0, 25, 0x80, 60, 64],
        ]
        .concat();
        let bytes = file(0, 0xe701, &[ended(&content)]);
        let all = read_all(&bytes);
        assert_eq!(all.events.len(), 5);
        let (read, said) = within(Limits::default(), &bytes);
        assert_eq!(
            said,
            [
                "byte 34, track 1: this is later than 24 hours; it and what follows are left out (--no-limits reads on)"
            ]
        );
        let end = Time(TICKS_PER_SECOND);
        assert_eq!(read.end, end);
        let last: Vec<_> = read.events[3..].iter().map(|t| (t.at, t.event)).collect();
        let up = Event::Damper {
            channel: Channel::ALL[0],
            value: 0,
        };
        assert_eq!(last, [(end, OFF(0, 60)), (end, OFF(0, 62)), (end, up)]);
    }

    #[test]
    fn no_file_is_read_beyond_the_longest() {
        // A tick is half a second; the key goes up 37,000 hours later.
        let content = [0, 0x90, 60, 64, 0xff, 0xff, 0xff, 0x7f, 0x80, 60, 64];
        let bytes = file(0, 1, &[ended(&content)]);
        let (read, said) = within(Limits::none(), &bytes);
        assert_eq!(
            said,
            ["byte 26, track 1: this is later than 1,000 hours; it and what follows are left out"]
        );
        let longest = FaultKind::Limit(Excess::Longest(LONGEST));
        assert_eq!(read.faults.first()[0].kind, longest);
    }

    #[test]
    fn more_tracks_than_any_score_are_left_out() {
        let bytes = file(1, 96, &vec![ended(&NOTE); 5_000]);
        let (read, said) = within(Limits::default(), &bytes);
        assert_eq!((read.tracks, read.events.len()), (4_096, 4_097));
        let place = 14 + 4_096 * 20;
        assert_eq!(place, 81_934);
        assert_eq!(
            said,
            [
                "byte 81,934: more than 4,096 tracks; those that follow are left out (--no-limits reads them)"
            ]
        );
        assert_eq!(read_all(&bytes).tracks, 5_000);
    }

    #[test]
    fn a_million_notes_at_one_time() {
        let mut content = vec![0x00, 0x90, 60, 64];
        for i in 1..1_000_000u32 {
            content.extend([0x00, (i % 127) as u8, 64]);
        }
        let later = [0x60, 0x90, 60, 64];
        let bytes = file(0, 24, &[ended(&[&content[..], &later].concat())]);
        let (read, said) = within(Limits::default(), &bytes);
        assert_eq!(read.events.len(), 10_001);
        assert_eq!(
            said,
            [
                "byte 30,023, track 1: more than 10,000 notes begin within a second; the rest of them are left out (--no-limits reads on)"
            ]
        );
        assert_eq!(read_all(&bytes).events.len(), 1_000_001);
    }

    #[test]
    fn more_notes_and_texts_than_allowed() {
        let limits = Limits {
            notes: 3,
            texts: 1,
            ..Limits::default()
        };
        let texts = [
            0, 0xff, 1, 1, b'a', 0, 0xff, 5, 1, b'b', 0, 0xff, 0x59, 2, 0, 0,
        ];
        let content = [&texts[..], &NOTE.repeat(5)].concat();
        let (read, said) = within(limits, &file(0, 96, &[ended(&content)]));
        assert_eq!((read.texts.len(), read.key_signatures.len()), (1, 0));
        assert_eq!(read.events.len(), 6);
        assert_eq!(
            said,
            [
                "byte 27, track 1: more than 1 text and key signatures; the rest of them are left out (--no-limits reads on)",
                "byte 62, track 1: more than 3 notes; those that follow are left out (--no-limits reads on)",
            ]
        );
    }

    #[test]
    fn a_file_too_large_is_refused() {
        let limits = Limits {
            bytes: 100,
            ..Limits::default()
        };
        let bytes = [file(0, 96, &[ended(&NOTE)]), vec![0; 100]].concat();
        let error = read_with(&bytes, &limits, &mut |_| ControlFlow::Continue(())).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the file holds 134 bytes, and 100 bytes are many days of music: choose another, or read all of it with --no-limits"
        );
        assert_eq!(Limits::default().admit(1 << 27), Ok(()));
        assert!(Limits::default().admit((1 << 27) + 1).is_err());
        assert_eq!(Limits::none().admit(u64::MAX), Ok(()));
    }

    #[test]
    fn a_hundred_thousand_faults_are_twenty_and_a_count() {
        let content = [0x00, 0xff, 0x51, 0x03, 0, 0, 0].repeat(100_000);
        let said = faults(&file(0, 96, &[ended(&content)]));
        assert_eq!(said.len(), 21);
        assert!(
            said[19].starts_with("byte 155, track 1: a tempo of 0 "),
            "{}",
            said[19]
        );
        assert_eq!(said[20], "... and 99,980 more faults");
    }

    #[test]
    fn reading_tells_how_far_it_is_and_can_be_stopped() {
        let bytes = file(
            1,
            96,
            &[ended(&NOTE.repeat(20_000)), ended(&OTHER.repeat(20_000))],
        );
        let mut told = Vec::new();
        let mut all = |done| {
            told.push(done);
            ControlFlow::Continue(())
        };
        read_with(&bytes, &Limits::none(), &mut all).unwrap();
        assert!(told.len() > 30, "{told:?}");
        assert!(told.is_sorted(), "{told:?}");
        assert!((0.0..0.2).contains(&told[0]), "{told:?}");
        assert!((0.9..=1.0).contains(&told[told.len() - 1]), "{told:?}");
        // Also over what is only passed over.
        let bends = file(0, 96, &[ended(&[0, 0xe0, 1, 2].repeat(20_000))]);
        let mut told = 0;
        let mut count = |_| {
            told += 1;
            ControlFlow::Continue(())
        };
        read_with(&bends, &Limits::none(), &mut count).unwrap();
        assert_eq!(told, 8);
        for after in [0, 5, 25] {
            let mut left = after;
            let mut stop = |_| {
                let more = left > 0;
                left -= usize::from(more);
                match more {
                    true => ControlFlow::Continue(()),
                    false => ControlFlow::Break(()),
                }
            };
            let outcome = read_with(&bytes, &Limits::none(), &mut stop);
            assert_eq!(outcome, Err(FileError::Stopped), "{after}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            // Behind a sound header, so that the chunks are reached.
            for bytes in [bytes.clone(), [header(1, 2, 96), bytes].concat()] {
                if let Ok(performance) = read(&bytes) {
                    check_order(&performance);
                }
            }
        }

        #[test]
        fn a_mutated_file_is_survived_and_a_cut_one_is_never_whole(
            notes in prop::collection::vec((0u8..128, 0u8..128, 0u8..128), 1..40),
            at in any::<prop::sample::Index>(),
            value in any::<u8>(),
            cut in any::<prop::sample::Index>(),
        ) {
            let mut content = Vec::new();
            for (delta, key, velocity) in &notes {
                content.extend([*delta, 0x90, *key, *velocity]);
            }
            let whole = file(1, 96, &[ended(&content), ended(&content)]);
            prop_assert!(read(&whole).unwrap().faults.is_empty());

            let mut mutated = whole.clone();
            *at.get_mut(&mut mutated) = value;
            if let Ok(performance) = read(&mutated) {
                check_order(&performance);
            }

            let cut = cut.index(whole.len());
            if let Ok(performance) = read(&whole[..cut]) {
                prop_assert!(!performance.faults.is_empty());
                check_order(&performance);
                // What stood before the cut is there.
                let complete = (cut.min(22 + content.len()).saturating_sub(22)) / 4;
                let ons = notes.iter().take(complete).filter(|(_, _, v)| *v > 0).count();
                let read = performance
                    .events
                    .iter()
                    .filter(|t| matches!(t.event, Event::NoteOn { .. }))
                    .count();
                prop_assert!(read >= ons);
            }
        }
    }
}
