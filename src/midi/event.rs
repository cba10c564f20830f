//! What a keyboard can say, whatever bytes say it.

use crate::time::Time;

/// A channel as the wire numbers it, 0-15. Players say 1-16.
pub type Channel = u8;

/// The channel that General MIDI gives to percussion (players say 10).
pub const PERCUSSION: Channel = 9;

/// One thing that happened. A note-on of velocity 0 never appears: it is a note-off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
    NoteOn {
        channel: Channel,
        key: u8,
        velocity: u8,
    },
    NoteOff {
        channel: Channel,
        key: u8,
    },
    /// CC 64, 0-127, as sent; from which value on it counts as down is for the listener to decide.
    Damper {
        channel: Channel,
        value: u8,
    },
    /// CC 66, 0-127.
    Sostenuto {
        channel: Channel,
        value: u8,
    },
    /// CC 67, 0-127.
    Soft {
        channel: Channel,
        value: u8,
    },
    /// CC 120: silence at once, pedals or not.
    AllSoundOff {
        channel: Channel,
    },
    /// CC 121: pedals up (RP-015).
    ResetControllers {
        channel: Channel,
    },
    /// CC 123-127: every key up; the pedals keep what they hold.
    AllNotesOff {
        channel: Channel,
    },
    /// The connection is gone, or active sensing ran out: everything up, pedals too, on every channel.
    Release,
}

impl Event {
    /// The channel it belongs to, if to one.
    pub fn channel(self) -> Option<Channel> {
        use Event::*;
        match self {
            NoteOn { channel, .. }
            | NoteOff { channel, .. }
            | Damper { channel, .. }
            | Sostenuto { channel, .. }
            | Soft { channel, .. }
            | AllSoundOff { channel }
            | ResetControllers { channel }
            | AllNotesOff { channel } => Some(channel),
            Release => None,
        }
    }

    /// Whether losing it could leave a note hanging.
    pub fn releases(self) -> bool {
        use Event::*;
        match self {
            NoteOn { .. } => false,
            Damper { value, .. } | Sostenuto { value, .. } => value < 64,
            Soft { .. } => false,
            _ => true,
        }
    }
}

/// An event and the moment it happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Timed {
    pub at: Time,
    pub event: Event,
}
