//! A channel message as an event.

use midly::MidiMessage;

use super::event::{Channel, Event};

/// The event that a channel message is, if it matters here. A note-on of velocity 0 is a note-off
/// (MIDI 1.0).
pub(super) fn translate(channel: Channel, message: MidiMessage) -> Option<Event> {
    Some(match message {
        MidiMessage::NoteOn { key, vel } if vel.as_int() > 0 => Event::NoteOn {
            channel,
            key: key.as_int(),
            velocity: vel.as_int(),
        },
        MidiMessage::NoteOn { key, .. } | MidiMessage::NoteOff { key, .. } => Event::NoteOff {
            channel,
            key: key.as_int(),
        },
        MidiMessage::Controller { controller, value } => {
            let value = value.as_int();
            match controller.as_int() {
                64 => Event::Damper { channel, value },
                66 => Event::Sostenuto { channel, value },
                67 => Event::Soft { channel, value },
                120 => Event::AllSoundOff { channel },
                121 => Event::ResetControllers { channel },
                123..=127 => Event::AllNotesOff { channel },
                _ => return None,
            }
        }
        _ => return None,
    })
}
