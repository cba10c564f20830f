//! What a keyboard can say, whatever bytes say it.

use crate::time::Time;

/// A channel: one of sixteen, which the wire numbers 0-15. Players say 1-16.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Channel(u8);

impl Channel {
    /// All sixteen, each at the place that is its number on the wire.
    pub const ALL: [Channel; 16] = {
        let mut all = [Channel(0); 16];
        let mut n = 0;
        while n < all.len() {
            all[n] = Channel(n as u8);
            n += 1;
        }
        all
    };

    /// By its number on the wire; `None` from 16 on.
    pub const fn new(number: u8) -> Option<Channel> {
        match number {
            0..16 => Some(Channel(number)),
            _ => None,
        }
    }

    /// Its number on the wire, 0-15.
    pub const fn number(self) -> u8 {
        self.0
    }

    /// The same for lists with an entry for each channel.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// The same for sets of channels: bit n stands for channel n.
    pub const fn bit(self) -> u16 {
        1 << self.0
    }
}

impl From<midly::num::u4> for Channel {
    fn from(number: midly::num::u4) -> Channel {
        Channel(number.as_int())
    }
}

/// The channel that General MIDI gives to percussion (players say 10).
pub const PERCUSSION: Channel = Channel(9);

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_sixteen_channels() {
        for (n, channel) in (0u8..).zip(Channel::ALL) {
            assert_eq!(Channel::new(n), Some(channel));
            assert_eq!((channel.number(), channel.index()), (n, usize::from(n)));
            assert_eq!(channel.bit(), 1u16 << n);
        }
        assert_eq!([16, 127, 128, 255].map(Channel::new), [None; 4]);
        assert_eq!(PERCUSSION.number() + 1, 10);
    }
}
