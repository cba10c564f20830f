//! The bytes of a keyboard as events.

use midly::MidiMessage;
use midly::live::{LiveEvent, SystemRealtime};
use midly::stream::MidiStream;

use super::event::{Channel, Event};
use super::message::translate;
use crate::time::Time;

midly::stack_buffer! {
    /// Room for the longest message that matters. System exclusive messages are longer: the
    /// stream drops them when they overflow.
    struct Message([u8; 4]);
}

/// What a keyboard sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WireEvent {
    Event(Event),
    /// One of the controllers asked for that is not an event.
    Controller {
        channel: Channel,
        number: u8,
        value: u8,
    },
    /// FE: the sender is there and promises not to be silent for more than 300 ms from now on.
    ActiveSensing,
}

/// Parses the bytes of one connection, however they are divided into packets. Handles running
/// status and real-time bytes in the middle of messages; skips system exclusive and everything
/// else that is not an [`Event`]. A system reset (FF) releases everything. Never allocates.
pub struct Wire {
    stream: MidiStream<Message>,
    /// Controllers handed out beside the events, bit n for controller n.
    controllers: u128,
}

impl Default for Wire {
    fn default() -> Wire {
        Wire::new()
    }
}

impl Wire {
    pub fn new() -> Wire {
        Wire::with_controllers(0)
    }

    /// A parser that hands out these controllers too, bit n for controller n.
    pub fn with_controllers(controllers: u128) -> Wire {
        Wire {
            stream: MidiStream::with_buffer(Message::new()),
            controllers,
        }
    }

    /// Takes the next bytes and calls `out` for every message that they complete.
    pub fn feed(&mut self, bytes: &[u8], out: &mut impl FnMut(WireEvent)) {
        let controllers = self.controllers;
        self.stream.feed(bytes, |message| match message {
            LiveEvent::Midi { channel, message } => {
                let channel = channel.into();
                if let Some(event) = translate(channel, message) {
                    out(WireEvent::Event(event));
                } else if let MidiMessage::Controller { controller, value } = message
                    && controllers >> controller.as_int() & 1 == 1
                {
                    out(WireEvent::Controller {
                        channel,
                        number: controller.as_int(),
                        value: value.as_int(),
                    });
                }
            }
            LiveEvent::Realtime(SystemRealtime::ActiveSensing) => out(WireEvent::ActiveSensing),
            LiveEvent::Realtime(SystemRealtime::Reset) => out(WireEvent::Event(Event::Release)),
            LiveEvent::Realtime(_) | LiveEvent::Common(_) => {}
        });
    }
}

/// How long a sender that does active sensing may be silent (MIDI 1.0: 300 ms).
const SILENCE: Time = Time::millis(300);

/// Notices when a sender that does active sensing falls silent.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sensing {
    /// When the last bytes came; none before active sensing has begun.
    last: Option<Time>,
}

impl Sensing {
    pub fn new() -> Sensing {
        Sensing::default()
    }

    /// Bytes came, FE among them: active sensing has begun, if it had not.
    pub fn sensed(&mut self, at: Time) {
        self.last = self.last.max(Some(at));
    }

    /// Bytes came without FE.
    pub fn heard(&mut self, at: Time) {
        if self.last.is_some() {
            self.sensed(at);
        }
    }

    /// Whether the sender has been silent for too long: true once, until sensing begins again.
    pub fn expired(&mut self, now: Time) -> bool {
        let expired = self.deadline().is_some_and(|deadline| now >= deadline);
        if expired {
            self.last = None;
        }
        expired
    }

    /// From when on `expired` will be true if nothing comes. Ask again within 30 ms of it.
    pub fn deadline(&self) -> Option<Time> {
        self.last.map(|last| last + SILENCE + Time(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use WireEvent::ActiveSensing;
    use proptest::prelude::*;

    fn parse(bytes: &[u8]) -> Vec<WireEvent> {
        let mut out = Vec::new();
        Wire::new().feed(bytes, &mut |e| out.push(e));
        out
    }

    fn on(key: u8, velocity: u8) -> WireEvent {
        let channel = Channel::ALL[0];
        WireEvent::Event(Event::NoteOn {
            channel,
            key,
            velocity,
        })
    }

    fn off(channel: usize, key: u8) -> WireEvent {
        let channel = Channel::ALL[channel];
        WireEvent::Event(Event::NoteOff { channel, key })
    }

    fn damper(value: u8) -> WireEvent {
        WireEvent::Event(Event::Damper {
            channel: Channel::ALL[0],
            value,
        })
    }

    /// The check bytes of reference/standards.md section 1, made by hand from the MIDI 1.0 rules
    /// there, and more made by the same rules.
    #[test]
    fn byte_tables() {
        let table: [(&[u8], &[WireEvent]); 20] = [
            // Given there.
            (&[0x90, 0x3c, 0x40, 0x3e, 0x40], &[on(60, 64), on(62, 64)]),
            (&[0x90, 0x3c, 0xf8, 0x40], &[on(60, 64)]),
            (&[0x90, 0x3c, 0x00], &[off(0, 60)]),
            (&[0xb0, 0x40, 0x3f], &[damper(63)]),
            (&[0xb0, 0x40, 0x40], &[damper(64)]),
            (&[0xf0, 0x7e, 0xf8, 0x7f, 0xf7], &[]),
            // Note off with its velocity, on another channel.
            (&[0x8f, 0x3c, 0x40], &[off(15, 60)]),
            // Running status over note on with velocity 0.
            (&[0x90, 0x3c, 0x40, 0x3c, 0x00], &[on(60, 64), off(0, 60)]),
            // Every real-time byte at every place; F9 and FD are not defined. FE counts.
            (
                &[
                    0xf9, 0x90, 0xfd, 0x3c, 0xfe, 0x40, 0xfa, 0x3e, 0xfb, 0x40, 0xfc,
                ],
                &[ActiveSensing, on(60, 64), on(62, 64)],
            ),
            // System exclusive ends running status: the data bytes after it belong to nothing.
            (
                &[0x90, 0x3c, 0x40, 0xf0, 0x01, 0xf7, 0x3e, 0x40],
                &[on(60, 64)],
            ),
            // So do system common messages: song position, song select, tune request, quarter
            // frame.
            (
                &[0x90, 0x3c, 0x40, 0xf2, 0x01, 0x02, 0x3e, 0x40],
                &[on(60, 64)],
            ),
            (&[0x90, 0x3c, 0x40, 0xf3, 0x01, 0x3e, 0x40], &[on(60, 64)]),
            (&[0x90, 0x3c, 0x40, 0xf6, 0x3e, 0x40], &[on(60, 64)]),
            (&[0xf1, 0x71, 0x3e, 0x40, 0x90, 0x3c, 0x40], &[on(60, 64)]),
            // System exclusive cut off by a status.
            (
                &[0xf0, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x90, 0x3c, 0x40],
                &[on(60, 64)],
            ),
            // A message cut off by another.
            (&[0x90, 0x3c, 0x90, 0x3e, 0x40], &[on(62, 64)]),
            // Data before any status.
            (&[0x3c, 0x40, 0x90, 0x3c, 0x40], &[on(60, 64)]),
            // Messages of one data byte, and others that do not matter.
            (
                &[
                    0xc0, 0x01, 0x02, 0xd0, 0x40, 0xe0, 0x00, 0x40, 0xa0, 0x3c, 0x40, 0xb0, 0x07,
                    0x40,
                ],
                &[],
            ),
            // Running status between controllers.
            (&[0xb0, 0x01, 0x02, 0x40, 0x7f], &[damper(127)]),
            (
                &[0xfe, 0xff],
                &[ActiveSensing, WireEvent::Event(Event::Release)],
            ),
        ];
        for (bytes, expected) in table {
            assert_eq!(parse(bytes), expected, "{bytes:02x?}");
        }
    }

    /// Every controller. 120 all sound off, 121 reset, 123 all notes off, 124-127 act so too
    /// (reference/standards.md section 1).
    #[test]
    fn controllers() {
        let channel = Channel::ALL[3];
        let value = 5;
        for number in 0..128 {
            let expected = match number {
                64 => Some(Event::Damper { channel, value }),
                66 => Some(Event::Sostenuto { channel, value }),
                67 => Some(Event::Soft { channel, value }),
                120 => Some(Event::AllSoundOff { channel }),
                121 => Some(Event::ResetControllers { channel }),
                123..=127 => Some(Event::AllNotesOff { channel }),
                _ => None,
            };
            let expected: Vec<_> = expected.map(WireEvent::Event).into_iter().collect();
            assert_eq!(parse(&[0xb3, number, value]), expected);
        }
    }

    /// Those asked for, and what is an event anyway is one all the same.
    #[test]
    fn controllers_asked_for() {
        let mut out = Vec::new();
        let mut wire = Wire::with_controllers(1 << 20 | 1 << 64);
        wire.feed(&[0xb3, 20, 100, 21, 100, 64, 0, 20, 0], &mut |e| {
            out.push(e)
        });
        let asked = |value| WireEvent::Controller {
            channel: Channel::ALL[3],
            number: 20,
            value,
        };
        let damper = WireEvent::Event(Event::Damper {
            channel: Channel::ALL[3],
            value: 0,
        });
        assert_eq!(out, [asked(100), damper, asked(0)]);
    }

    /// Both sides of the limit: no cut before 300 ms, cut by 330 (reference/standards.md
    /// section 1).
    #[test]
    fn sensing() {
        let mut sensing = Sensing::new();
        let ms = Time::millis;
        sensing.heard(ms(0));
        assert!(!sensing.expired(ms(10_000)), "not armed");
        assert_eq!(sensing.deadline(), None);
        sensing.sensed(ms(1_000));
        assert!(!sensing.expired(ms(1_300)));
        sensing.heard(ms(1_300));
        assert!(!sensing.expired(ms(1_600)));
        assert!(sensing.deadline().unwrap() > ms(1_600));
        assert!(sensing.deadline().unwrap() <= ms(1_601));
        assert!(sensing.expired(ms(1_630)));
        assert!(!sensing.expired(ms(1_640)), "once");
        sensing.heard(ms(2_000));
        assert!(!sensing.expired(ms(3_000)), "not armed again");
        sensing.sensed(ms(3_000));
        assert!(sensing.expired(ms(3_301)));
    }

    /// One message, well-formed, with the events that it is.
    fn message() -> impl Strategy<Value = (Vec<u8>, Option<WireEvent>)> {
        prop_oneof![
            3 => (0u8..128, 0u8..128).prop_map(|(key, velocity)| {
                let event = if velocity > 0 { on(key, velocity) } else { off(0, key) };
                (vec![0x90, key, velocity], Some(event))
            }),
            3 => (0u8..128, 0u8..128).prop_map(|(k, v)| (vec![0x80, k, v], Some(off(0, k)))),
            2 => (0u8..128).prop_map(|v| (vec![0xb0, 64, v], Some(damper(v)))),
            1 => (0u8..128, 0u8..128).prop_map(|(a, b)| (vec![0xe0, a, b], None)),
            1 => (0u8..128).prop_map(|p| (vec![0xc0, p], None)),
            1 => prop::collection::vec(0u8..128, 0..300)
                .prop_map(|data| ([&[0xf0], &data[..], &[0xf7]].concat(), None)),
        ]
    }

    proptest! {
        /// However the bytes are cut, status bytes saved and real-time bytes strewn in.
        #[test]
        fn a_stream_of_messages(
            messages in prop::collection::vec(message(), 0..40),
            strewn in prop::collection::vec((any::<prop::sample::Index>(), 0xf8u8..0xfe), 0..20),
            cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..20),
        ) {
            let mut bytes = Vec::new();
            let mut running = None;
            for (message, _) in &messages {
                let status = message[0];
                let saved = running == Some(status);
                bytes.extend(&message[usize::from(saved)..]);
                running = (status < 0xf0).then_some(status);
            }
            for (at, byte) in strewn {
                bytes.insert(at.index(bytes.len() + 1), byte);
            }
            let mut cuts: Vec<usize> = cuts.iter().map(|c| c.index(bytes.len() + 1)).collect();
            cuts.extend([0, bytes.len()]);
            cuts.sort();
            let (mut wire, mut out) = (Wire::new(), Vec::new());
            for ends in cuts.windows(2) {
                wire.feed(&bytes[ends[0]..ends[1]], &mut |e| out.push(e));
            }
            let expected: Vec<_> = messages.iter().filter_map(|(_, event)| *event).collect();
            prop_assert_eq!(out, expected);
        }

        #[test]
        fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let sensing = bytes.iter().filter(|b| **b == 0xfe).count();
            let out = parse(&bytes);
            prop_assert_eq!(out.iter().filter(|e| **e == ActiveSensing).count(), sensing);
            prop_assert!(out.len() <= bytes.len());
        }
    }
}
