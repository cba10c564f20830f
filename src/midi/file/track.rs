//! The events of one track, parsed by midly one after the other.

use midly::{EventIter, MetaMessage, TrackEventKind};

use super::bars::Signature;
use super::fault::{BadEvent, Damage};
use super::performance::TextKind;
use super::progress::EVERY;
use crate::midi::event::{Channel, Event, Keyboard};
use crate::midi::message::translate;

/// One event of a track that matters here, or [`Content::Nothing`].
pub(super) struct Item<'a> {
    pub tick: u64,
    /// Of its first byte, in the file.
    pub offset: usize,
    pub what: Content<'a>,
}

#[derive(Clone, Copy)]
pub(super) enum Content<'a> {
    Event(Event),
    /// What the keyboard that plays is called.
    Name(Keyboard, &'a [u8]),
    Text(TextKind, &'a [u8]),
    Key {
        sharps: i8,
        minor: bool,
    },
    /// Microseconds to the quarter.
    Tempo(u32),
    Signature(Signature),
    /// The track's end.
    End,
    /// Nothing that matters for [`EVERY`] events: an occasion to tell progress.
    Nothing,
}

/// How the events of a track ended.
#[derive(Clone, Copy)]
pub(super) enum Stop {
    /// With an end-of-track event; the offset after it.
    Ended(usize),
    /// At the limit, between two events.
    RanOut,
    /// At an event that the limit cuts off.
    Cut(usize),
    /// At an event that cannot be.
    Bad(usize, BadEvent),
}

/// Parses a track, as far as it goes.
pub(super) struct Events<'a> {
    bytes: &'a [u8],
    /// Where `bytes` begins, and its end, in the file.
    start: usize,
    limit: usize,
    parser: EventIter<'a>,
    tick: u64,
    /// Which keyboard the messages come from.
    from: Keyboard,
    /// All events so far, also those that do not matter here.
    count: usize,
    stop: Option<Stop>,
}

impl<'a> Events<'a> {
    /// Of a track whose events are `bytes`, which begin at `start` in the file.
    pub fn new(bytes: &'a [u8], start: usize) -> Events<'a> {
        Events {
            bytes,
            start,
            limit: start + bytes.len(),
            parser: EventIter::new(bytes),
            tick: 0,
            from: Keyboard::FIRST,
            count: 0,
            stop: None,
        }
    }

    /// The tick reached.
    pub fn tick(&self) -> u64 {
        self.tick
    }

    /// How many events there were so far, also those that do not matter here.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Where in the file it has got to.
    pub fn offset(&self) -> usize {
        self.limit - self.parser.unread().len()
    }

    /// Why there is no more, when there is none.
    pub fn stop(&self) -> Stop {
        self.stop.unwrap_or(Stop::RanOut)
    }

    /// The next one that matters; the track's end is the last. `faults` is called with what is
    /// skipped, and its offset.
    pub fn next(&mut self, faults: &mut dyn FnMut(usize, Damage)) -> Option<Item<'a>> {
        let first = self.count;
        while self.stop.is_none() {
            let offset = self.offset();
            if self.count - first == EVERY {
                return Some(Item {
                    tick: self.tick,
                    offset,
                    what: Content::Nothing,
                });
            }
            let running = self.parser.running_status();
            let event = match self.parser.next() {
                None => {
                    self.stop = Some(Stop::RanOut);
                    break;
                }
                Some(Ok(event)) => event,
                Some(Err(_)) => {
                    let raw = self.bytes.get(offset - self.start..).unwrap_or_default();
                    match unparsed(raw, running) {
                        // midly refuses a meta event for its content; its length is sound.
                        Unparsed::Meta {
                            delta,
                            kind,
                            length,
                        } => {
                            faults(offset, Damage::MetaEvent(kind));
                            self.tick += u64::from(delta);
                            self.count += 1;
                            self.parser = EventIter::new(raw.get(length..).unwrap_or_default());
                            continue;
                        }
                        Unparsed::Cut => self.stop = Some(Stop::Cut(offset)),
                        Unparsed::Bad(why) => self.stop = Some(Stop::Bad(offset, why)),
                    }
                    break;
                }
            };
            self.count += 1;
            self.tick += u64::from(event.delta.as_int());
            if let TrackEventKind::Meta(MetaMessage::MidiPort(port)) = event.kind {
                self.from = Keyboard::ALL[usize::from(port.as_int()) % Keyboard::COUNT];
            }
            let what = matters(event.kind, self.from, |damage| faults(offset, damage));
            let Some(what) = what else {
                continue;
            };
            if matches!(what, Content::End) {
                self.stop = Some(Stop::Ended(self.offset()));
            }
            return Some(Item {
                tick: self.tick,
                offset,
                what,
            });
        }
        None
    }
}

/// What of an event matters here.
fn matters<'a>(
    kind: TrackEventKind<'a>,
    from: Keyboard,
    fault: impl FnOnce(Damage),
) -> Option<Content<'a>> {
    let meta = match kind {
        TrackEventKind::Midi { channel, message } => {
            let channel = Channel::from(channel).of(from);
            return translate(channel, message).map(Content::Event);
        }
        TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => return None,
        TrackEventKind::Meta(meta) => meta,
    };
    let (kind, text) = match meta {
        MetaMessage::EndOfTrack => return Some(Content::End),
        MetaMessage::Tempo(tempo) if tempo.as_int() == 0 => {
            fault(Damage::ZeroTempo);
            return None;
        }
        MetaMessage::Tempo(tempo) => return Some(Content::Tempo(tempo.as_int())),
        // Nothing above the line is no signature.
        MetaMessage::TimeSignature(count @ 1.., unit, _, _) => {
            return Some(Content::Signature(Signature { count, unit }));
        }
        MetaMessage::KeySignature(sharps @ -7..=7, minor) => {
            return Some(Content::Key { sharps, minor });
        }
        MetaMessage::KeySignature(sharps, _) => {
            fault(Damage::KeySignature(sharps));
            return None;
        }
        MetaMessage::DeviceName(name) => return Some(Content::Name(from, name)),
        MetaMessage::Text(text) => (TextKind::Text, text),
        MetaMessage::Copyright(text) => (TextKind::Copyright, text),
        MetaMessage::TrackName(text) => (TextKind::TrackName, text),
        MetaMessage::InstrumentName(text) => (TextKind::Instrument, text),
        MetaMessage::Lyric(text) => (TextKind::Lyric, text),
        MetaMessage::Marker(text) => (TextKind::Marker, text),
        MetaMessage::CuePoint(text) => (TextKind::Cue, text),
        _ => return None,
    };
    Some(Content::Text(kind, text))
}

/// What midly could not parse.
enum Unparsed {
    /// A meta event, and its size in bytes with its delta time.
    Meta {
        delta: u32,
        kind: u8,
        length: usize,
    },
    Cut,
    Bad(BadEvent),
}

/// Why the event at the start of `raw` cannot be parsed.
fn unparsed(raw: &[u8], running: Option<u8>) -> Unparsed {
    const LONG: Unparsed = Unparsed::Bad(BadEvent::LongNumber);
    let varlen = |at: usize| {
        let mut value = 0u32;
        for i in 0..4 {
            let byte = *raw.get(at + i).ok_or(Unparsed::Cut)?;
            value = value << 7 | u32::from(byte & 0x7f);
            if byte < 0x80 {
                return Ok((value, at + i + 1));
            }
        }
        Err(LONG)
    };
    let inner = || {
        let (delta, mut at) = varlen(0)?;
        let mut status = *raw.get(at).ok_or(Unparsed::Cut)?;
        if status < 0x80 {
            status = running.ok_or(Unparsed::Bad(BadEvent::StrayData))?;
        } else {
            at += 1;
        }
        match status {
            0xff => {
                let kind = *raw.get(at).ok_or(Unparsed::Cut)?;
                let (length, at) = varlen(at + 1)?;
                let length = at + length as usize;
                Ok(if length > raw.len() {
                    Unparsed::Cut
                } else {
                    Unparsed::Meta {
                        delta,
                        kind,
                        length,
                    }
                })
            }
            0xf0 | 0xf7 => {
                varlen(at)?;
                Ok(Unparsed::Cut)
            }
            0xf1.. => Ok(Unparsed::Bad(BadEvent::SystemMessage)),
            _ => {
                let needed = if matches!(status, 0xc0..=0xdf) { 1 } else { 2 };
                Ok(match raw.get(at..at + needed) {
                    None => Unparsed::Cut,
                    Some(_) => Unparsed::Bad(BadEvent::StrayStatus),
                })
            }
        }
    };
    inner().unwrap_or_else(|stop| stop)
}

#[cfg(test)]
mod tests {
    use super::super::performance::{KeySignature, Text};
    use super::super::read;
    use super::super::testing::*;
    use super::*;
    use crate::midi::event::Channel;
    use crate::time::Time;

    /// Running status in a track: `83 60 90 3C 40 83 60 3C 00`, as mido 1.3.3 writes it
    /// (reference/standards.md section 2). 480 ticks of 96 a quarter at 120: 2.5 s each.
    #[test]
    fn running_status_and_velocity_zero() {
        let bytes = file(
            0,
            96,
            &[ended(&[
                0x83, 0x60, 0x90, 0x3c, 0x40, 0x83, 0x60, 0x3c, 0x00,
            ])],
        );
        assert_eq!(
            events(&bytes),
            [(125_000, ON(0, 60, 64)), (250_000, OFF(0, 60))]
        );
        let performance = read(&bytes).unwrap();
        assert!(performance.faults.is_empty());
        assert_eq!((performance.format, performance.tracks), (0, 1));
        assert_eq!(performance.end, Time(250_000));
    }

    /// The table of variable-length numbers in reference/standards.md section 2, each as a delta
    /// time. 25,000 ticks a quarter at 120: one tick of the file is one of ours.
    #[test]
    fn variable_length_numbers() {
        let table: [(u64, &[u8]); 10] = [
            (0x00, &[0x00]),
            (0x40, &[0x40]),
            (0x7f, &[0x7f]),
            (0x80, &[0x81, 0x00]),
            (0x2000, &[0xc0, 0x00]),
            (0x3fff, &[0xff, 0x7f]),
            (0x4000, &[0x81, 0x80, 0x00]),
            (0x1f_ffff, &[0xff, 0xff, 0x7f]),
            (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
            (0x0fff_ffff, &[0xff, 0xff, 0xff, 0x7f]),
        ];
        for (value, delta) in table {
            let content = [delta, &[0x90, 0x3c, 0x40]].concat();
            let bytes = file(0, 25_000, &[ended(&content)]);
            assert_eq!(events(&bytes), [(value, ON(0, 60, 64))], "{delta:02x?}");
        }
    }

    /// Texts, the two key signatures and the default tempo of reference/standards.md section 2.
    #[test]
    fn texts_and_key_signatures() {
        let content = [
            &[0x00, 0xff, 0x51, 0x03, 0x07, 0xa1, 0x20][..],
            &[0x00, 0xff, 0x03, 0x01, b'n'],
            &[0x00, 0xff, 0x59, 0x02, 0xfd, 0x00],
            &[0x60, 0x90, 0x3c, 0x40],
            &[0x00, 0xff, 0x06, 0x01, 0x78],
            &[0x00, 0xff, 0x01, 0x02, 0xc3, 0xa9],
            &[0x00, 0xff, 0x01, 0x01, 0xe9],
            &[0x00, 0xff, 0x59, 0x02, 0x03, 0x01],
            &[0x00, 0xff, 0x59, 0x02, 0x08, 0x00],
        ]
        .concat();
        let bytes = file(0, 96, &[ended(&content)]);
        let performance = read(&bytes).unwrap();
        let at = Time::millis(500);
        let text = |at, before_event, kind, text: &str| Text {
            at,
            before_event,
            kind,
            offset: 0,
            text: text.into(),
        };
        let kinds = performance
            .texts
            .iter()
            .map(|t| &bytes[t.offset as usize..][..3]);
        let kinds: Vec<_> = kinds.collect();
        assert_eq!(
            kinds,
            [[0, 0xff, 3], [0, 0xff, 6], [0, 0xff, 1], [0, 0xff, 1]]
        );
        assert_eq!(
            performance.texts,
            [
                text(Time::ZERO, 0, TextKind::TrackName, "n"),
                text(at, 1, TextKind::Marker, "x"),
                text(at, 1, TextKind::Text, "é"),
                text(at, 1, TextKind::Text, "é"),
            ]
        );
        let key = |at, sharps, minor| KeySignature { at, sharps, minor };
        assert_eq!(
            performance.key_signatures,
            [key(Time::ZERO, -3, false), key(at, 3, true)]
        );
        assert_eq!(
            performance.faults.first()[0].kind.to_string(),
            "a key signature of 8 sharps is ignored"
        );
    }

    /// MIDI 1.0 channel mode messages; reference/standards.md section 1.
    #[test]
    fn controllers() {
        let mut content = Vec::new();
        for number in 0..128 {
            content.extend([0x00, 0xb5, number, 0x40]);
        }
        content.extend([0x00, 0xc5, 0x01, 0x00, 0xd5, 0x01, 0x00, 0xe5, 0x01, 0x01]);
        let channel = Channel::ALL[5];
        let expected = [
            Event::Damper { channel, value: 64 },
            Event::Sostenuto { channel, value: 64 },
            Event::Soft { channel, value: 64 },
            Event::AllSoundOff { channel },
            Event::ResetControllers { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
            Event::AllNotesOff { channel },
        ];
        let bytes = file(0, 96, &[ended(&content)]);
        assert_eq!(events(&bytes), expected.map(|event| (0, event)));
    }

    #[test]
    fn a_tempo_of_zero() {
        let content = [&[0x00, 0xff, 0x51, 0x03, 0, 0, 0], &NOTE[..]].concat();
        let bytes = file(0, 96, &[ended(&content)]);
        assert_eq!(events(&bytes)[0].0, 25_000);
        assert_eq!(
            faults(&bytes),
            ["byte 22, track 1: a tempo of 0 microseconds to the quarter is ignored"]
        );
    }
}
