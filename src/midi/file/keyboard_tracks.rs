//! A file of several keyboards with a track for each, as other programs show them.

use midly::num::{u7, u28};
use midly::{MetaMessage, Smf, TrackEvent, TrackEventKind};

use super::last_track::counts_as_we_do;
use crate::midi::event::Keyboard;

/// The file with a track for each keyboard, which begins with its name; the texts stay with the
/// first. `None`: the file is not one of [`FileWriter`](super::FileWriter), or only the first
/// keyboard plays in it.
///
/// Events at one time are read in the order of the tracks: so no two keyboards may speak at the
/// same tick, nor one of the later ones at the tick of a text.
pub fn keyboard_tracks(bytes: &[u8]) -> Option<Vec<u8>> {
    if !counts_as_we_do(bytes) {
        return None;
    }
    let mut smf = Smf::parse(bytes).ok()?;
    let played = smf.tracks.get(1)?;
    let mut names: [&[u8]; Keyboard::COUNT] = Default::default();
    let mut tracks: [Apart; Keyboard::COUNT] = Default::default();
    let (mut from, mut tick) = (Keyboard::FIRST, 0);
    for event in played {
        tick += u64::from(event.delta.as_int());
        match event.kind {
            TrackEventKind::Meta(MetaMessage::MidiPort(port)) => {
                from = *Keyboard::ALL.get(usize::from(port.as_int()))?;
            }
            TrackEventKind::Meta(MetaMessage::DeviceName(name)) => names[from.index()] = name,
            TrackEventKind::Midi { .. } => tracks[from.index()].put(tick, event.kind),
            kind => tracks[0].put(tick, kind),
        }
    }
    let last = tracks.iter().rposition(|track| !track.events.is_empty())?;
    if last == 0 {
        return None;
    }
    let each = Keyboard::ALL.into_iter().zip(tracks).zip(names);
    let apart: Vec<Vec<TrackEvent>> = each
        .take(last + 1)
        .map(|((keyboard, track), name)| track.finish(keyboard, name))
        .collect();
    smf.tracks.splice(1..2, apart);
    let mut out = Vec::with_capacity(bytes.len());
    smf.write_std(&mut out).ok()?;
    Some(out)
}

/// Events of one keyboard, with the times between them.
#[derive(Default)]
struct Apart<'a> {
    events: Vec<TrackEvent<'a>>,
    now: u64,
}

impl<'a> Apart<'a> {
    fn put(&mut self, tick: u64, kind: TrackEventKind<'a>) {
        let largest = u64::from(u28::max_value().as_int());
        let mut delta = tick - self.now;
        self.now = tick;
        // As when it was written: a long time goes in steps that say nothing.
        while delta > largest {
            self.events.push(TrackEvent {
                delta: u28::max_value(),
                kind: TrackEventKind::Meta(MetaMessage::SequencerSpecific(&[])),
            });
            delta -= largest;
        }
        let delta = u28::from_int_lossy(delta as u32);
        self.events.push(TrackEvent { delta, kind });
    }

    /// With what says whose it is before all, and its end.
    fn finish(mut self, keyboard: Keyboard, name: &'a [u8]) -> Vec<TrackEvent<'a>> {
        let port = u7::from_int_lossy(keyboard.index() as u8);
        let said = [
            (true, MetaMessage::MidiPort(port)),
            (!name.is_empty(), MetaMessage::TrackName(name)),
            (!name.is_empty(), MetaMessage::DeviceName(name)),
        ];
        let said = said.into_iter().filter(|(is, _)| *is);
        let mut all: Vec<_> = said
            .map(|(_, meta)| TrackEvent {
                delta: u28::from(0),
                kind: TrackEventKind::Meta(meta),
            })
            .collect();
        all.append(&mut self.events);
        let end = TrackEventKind::Meta(MetaMessage::EndOfTrack);
        if all.last().is_none_or(|last| last.kind != end) {
            all.push(TrackEvent {
                delta: u28::from(0),
                kind: end,
            });
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::read_all;
    use super::super::{FileWriter, Performance, TextKind};
    use super::*;
    use crate::midi::{Channel, Event, Timed};
    use crate::time::Time;
    use proptest::prelude::*;
    use std::io::Cursor;

    const SECOND: Keyboard = Keyboard::ALL[1];

    fn key(keyboard: Keyboard, key: u8) -> Event {
        Event::NoteOn {
            channel: Channel::ALL[0].of(keyboard),
            key,
            velocity: 64,
        }
    }

    fn writer() -> FileWriter<Cursor<Vec<u8>>> {
        let mut writer = FileWriter::new(Cursor::new(Vec::new())).expect("in memory");
        writer.keyboard(Keyboard::FIRST, "Teacher's");
        writer.keyboard(SECOND, "Pupil's é");
        writer
    }

    fn file(events: &[(u64, Event)], end: u64) -> Vec<u8> {
        let mut writer = writer();
        for (at, event) in events {
            writer.push(&Timed {
                at: Time(*at),
                event: *event,
            });
        }
        let done = writer.finish(Time(end)).expect("in memory");
        done.into_inner()
    }

    fn whole(bytes: &[u8]) -> Performance {
        let performance = read_all(bytes);
        assert!(performance.faults.is_empty(), "{:?}", performance.faults);
        performance
    }

    #[test]
    fn each_keyboard_has_a_track_with_its_name() {
        let mut writer = writer();
        for (at, event) in [
            (1, key(Keyboard::FIRST, 60)),
            (2, key(SECOND, 72)),
            (4, Event::ReleaseKeyboard { keyboard: SECOND }),
            (5, key(Keyboard::FIRST, 62)),
        ] {
            let at = Time(at);
            writer.push(&Timed { at, event });
            if at == Time(2) {
                writer.text(Time(3), TextKind::Text, "a text");
            }
        }
        let grown = writer.finish(Time(9)).expect("in memory").into_inner();
        let apart = keyboard_tracks(&grown).expect("two keyboards");
        // As another reader has it.
        let smf = midly::Smf::parse(&apart).expect("sound");
        let named = |n: usize| {
            smf.tracks[n].iter().find_map(|event| match event.kind {
                TrackEventKind::Meta(MetaMessage::TrackName(name)) => Some(name),
                _ => None,
            })
        };
        let names = [1, 2].map(named);
        let expected = ["Teacher's", "Pupil's é"].map(|n| Some(n.as_bytes()));
        assert_eq!((smf.tracks.len(), names), (3, expected));
        let played = |n: usize| {
            let midi = |e: &&TrackEvent| matches!(e.kind, TrackEventKind::Midi { .. });
            smf.tracks[n].iter().filter(midi).count()
        };
        assert_eq!([1, 2].map(played), [2, 4], "a release is three messages");
        // As ours has it: what it was, but for the number of tracks.
        let (grown, apart) = (whole(&grown), whole(&apart));
        assert_eq!(grown.keyboards, ["Teacher's", "Pupil's é"]);
        let texts = apart.texts.iter().filter(|t| t.kind != TextKind::TrackName);
        assert_eq!(texts.cloned().collect::<Vec<_>>(), grown.texts);
        let said = |p: Performance| (p.events, p.end, p.keyboards);
        assert_eq!(said(apart), said(grown));
    }

    #[test]
    fn one_keyboard_stays_as_it_is() {
        let one = file(&[(1, key(Keyboard::FIRST, 60)), (5, Event::Release)], 9);
        assert_eq!(keyboard_tracks(&one), None);
        assert!(whole(&one).keyboards.is_empty());
        // Nothing was written of a second one.
        let mut alone = FileWriter::new(Cursor::new(Vec::new())).expect("in memory");
        for (at, event) in [(1, key(Keyboard::FIRST, 60)), (5, Event::Release)] {
            let at = Time(at);
            alone.push(&Timed { at, event });
        }
        let alone = alone.finish(Time(9)).expect("in memory").into_inner();
        assert_eq!(one, alone);
        for other in [&b""[..], b"MThd", &one[..one.len() - 1]] {
            assert_eq!(keyboard_tracks(other), None);
        }
    }

    proptest! {
        /// Whatever four keyboards play, at times of their own.
        #[test]
        fn what_is_read_is_the_same(
            steps in prop::collection::vec((0usize..4, 0u8..3, 58u8..62, 1u64..900_000_000), 1..40),
        ) {
            let mut at = 0;
            let events = steps.into_iter().map(|(keyboard, kind, note, wait)| {
                at += wait;
                let keyboard = Keyboard::ALL[keyboard];
                let channel = Channel::ALL[3].of(keyboard);
                (at, match kind {
                    0 => Event::NoteOff { channel, key: note },
                    1 => Event::Damper { channel, value: note },
                    _ => key(keyboard, note),
                })
            });
            let events: Vec<_> = events.collect();
            let grown = file(&events, at + 1);
            let Some(apart) = keyboard_tracks(&grown) else {
                let first = |e: &Event| e.keyboard() == Some(Keyboard::FIRST);
                prop_assert!(events.iter().all(|(_, e)| first(e)));
                return Ok(());
            };
            let (grown, apart) = (whole(&grown), whole(&apart));
            let written = events.iter().map(|&(at, event)| Timed { at: Time(at), event });
            prop_assert_eq!(&grown.events, &written.collect::<Vec<_>>());
            prop_assert_eq!(apart.events, grown.events);
            prop_assert_eq!(apart.end, grown.end);
        }
    }
}
