//! An aside whose notes are thrown away.

use super::read::Recording;
use crate::engine::{Aside, Event};
use crate::midi;
use crate::time::Time;
use std::collections::HashSet;

/// Takes the notes and markers out of the last aside that has notes and begins before `before`:
/// the stretch from its begin to its end, or to the last note while it goes on. `None`: there
/// is no such aside. Pedals and settings stay, as what follows depends on them.
pub fn throw_away_aside(recording: &mut Recording, before: Time) -> Option<(Time, Time)> {
    let strikes = |event| matches!(event, midi::Event::NoteOn { .. });
    let (first, end, from, to) = asides(recording)
        .into_iter()
        .rev()
        .filter(|&(.., from, _)| from < before)
        .find(|&(first, end, ..)| {
            let notes = recording.notes.get(first..end).unwrap_or_default();
            notes.iter().any(|t| strikes(t.event))
        })?;
    // Keys that were struck in it.
    let mut struck = HashSet::new();
    let mut kept_before = vec![0; recording.notes.len() + 1];
    let mut notes = Vec::with_capacity(recording.notes.len());
    for (i, timed) in recording.notes.iter().enumerate() {
        let goes = match timed.event {
            midi::Event::NoteOn { channel, key, .. } if (first..end).contains(&i) => {
                struck.insert((channel, key));
                true
            }
            midi::Event::NoteOn { channel, key, .. } => {
                struck.remove(&(channel, key));
                false
            }
            midi::Event::NoteOff { channel, key } => struck.remove(&(channel, key)),
            _ => false,
        };
        if !goes {
            notes.push(*timed);
        }
        if let Some(kept) = kept_before.get_mut(i + 1) {
            *kept = notes.len();
        }
    }
    for said in &mut recording.said {
        let kept = kept_before.get(said.before_note).copied();
        said.before_note = kept.unwrap_or(notes.len());
    }
    recording.notes = notes;
    recording.markers.retain(|m| m.at < from || m.at > to);
    Some((from, to))
}

/// Each aside: which notes lie in it (the first, and the one behind the last), and its stretch.
fn asides(recording: &Recording) -> Vec<(usize, usize, Time, Time)> {
    let mut all = Vec::new();
    let mut open: Option<(usize, Time)> = None;
    for said in &recording.said {
        match (said.event, open) {
            (Event::Aside(Aside::Begins), None) => open = Some((said.before_note, said.at)),
            (Event::Aside(Aside::Ends), Some((first, from))) => {
                all.push((first, said.before_note, from, said.at));
                open = None;
            }
            _ => {}
        }
    }
    if let Some((first, from)) = open {
        all.push((first, recording.notes.len(), from, recording.end));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{History, Monitor};
    use crate::midi::{Channel, Timed};
    use crate::plan::Marker;
    use crate::recording::Said;
    use crate::theory::Catalogue;
    use proptest::prelude::*;
    use std::sync::Arc;

    const LATE: Time = Time(u64::MAX);

    fn on(ms: u64, key: u8) -> Timed {
        let event = midi::Event::NoteOn {
            channel: Channel::ALL[0],
            key,
            velocity: 80,
        };
        let at = Time::millis(ms);
        Timed { at, event }
    }

    fn off(ms: u64, key: u8) -> Timed {
        let event = midi::Event::NoteOff {
            channel: Channel::ALL[0],
            key,
        };
        let at = Time::millis(ms);
        Timed { at, event }
    }

    fn said(before_note: usize, ms: u64, aside: Aside) -> Said {
        Said {
            before_note,
            at: Time::millis(ms),
            event: Event::Aside(aside),
        }
    }

    fn marker(ms: u64) -> Marker {
        Marker {
            at: Time::millis(ms),
            about: None,
            name: ms.to_string(),
        }
    }

    /// A key over its begin and one over its end; the same key struck again behind it.
    #[test]
    fn what_was_struck_in_it_goes_and_nothing_else() {
        let pedal = Timed {
            at: Time::millis(250),
            event: midi::Event::Damper {
                channel: Channel::ALL[0],
                value: 127,
            },
        };
        let mut recording = Recording {
            notes: vec![
                on(0, 60),
                on(200, 64),
                pedal,
                off(260, 60),
                on(270, 67),
                off(280, 64),
                off(400, 67),
                on(500, 64),
                off(600, 64),
            ],
            said: vec![said(1, 100, Aside::Begins), said(6, 300, Aside::Ends)],
            markers: vec![marker(90), marker(150), marker(310)],
            end: Time::millis(700),
            ..Recording::default()
        };
        let stretch = throw_away_aside(&mut recording, LATE);
        assert_eq!(stretch, Some((Time::millis(100), Time::millis(300))));
        let left = [on(0, 60), pedal, off(260, 60), on(500, 64), off(600, 64)];
        assert_eq!(recording.notes, left);
        let places: Vec<usize> = recording.said.iter().map(|s| s.before_note).collect();
        assert_eq!(places, [1, 3]);
        assert_eq!(recording.markers, [marker(90), marker(310)]);
        // There is nothing more in it to throw away.
        assert_eq!(throw_away_aside(&mut recording, LATE), None);
    }

    #[test]
    fn the_last_one_with_notes_goes_first() {
        let mut recording = Recording {
            notes: vec![on(10, 60), off(20, 60), on(110, 62), off(120, 62)],
            said: vec![
                said(0, 0, Aside::Begins),
                said(2, 50, Aside::Ends),
                said(2, 100, Aside::Begins),
                said(4, 150, Aside::Ends),
                said(4, 200, Aside::Begins),
            ],
            end: Time::millis(300),
            ..Recording::default()
        };
        let mut from = |before| {
            let thrown = throw_away_aside(&mut recording, before);
            thrown.map(|(from, _)| from)
        };
        assert_eq!(from(Time::ZERO), None);
        assert_eq!(from(LATE), Some(Time::millis(100)));
        assert_eq!(from(LATE), Some(Time::ZERO));
        assert_eq!(from(LATE), None);
        assert!(recording.notes.is_empty());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// As it stays out of the plan, the plan is the same without it.
        #[test]
        fn the_plan_stays_as_it_was(
            keys in prop::collection::vec((40u8..80, 100u64..700), 20..80),
            from in any::<prop::sample::Index>(),
            length in 1usize..20,
        ) {
            let first = from.index(keys.len());
            let end = (first + length).min(keys.len());
            let mut recording = Recording::default();
            let mut at = 0;
            for (i, (key, wait)) in keys.iter().enumerate() {
                if i == first {
                    let word = said(recording.notes.len(), at, Aside::Begins);
                    recording.said.push(word);
                }
                if i == end {
                    let word = said(recording.notes.len(), at, Aside::Ends);
                    recording.said.push(word);
                }
                recording.notes.push(on(at, *key));
                at += wait;
                recording.notes.push(off(at, *key));
            }
            recording.end = Time::millis(at);
            let catalogue = Arc::new(Catalogue::standard().clone());
            let plan = |recording: &Recording| {
                let mut monitor = Monitor::new(Arc::clone(&catalogue)).expect("the weights fit");
                let mut history = History::default();
                for (at, event) in recording.events() {
                    monitor.on_event(at, event, &mut history);
                }
                monitor.advance_to(recording.end, &mut history);
                history.advance_to(recording.end);
                history.plan().clone()
            };
            let before = plan(&recording);
            prop_assert!(throw_away_aside(&mut recording, LATE).is_some());
            prop_assert_eq!(plan(&recording), before);
        }
    }
}
