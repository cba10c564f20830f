//! What a keyboard can say, whatever bytes say it.

use crate::time::Time;

/// One of the keyboards that play together; most often there is one, the first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Keyboard(u8);

impl Keyboard {
    /// Maximum number of keyboards.
    pub const COUNT: usize = 4;
    pub const FIRST: Keyboard = Keyboard(0);

    pub const ALL: [Keyboard; Keyboard::COUNT] = {
        let mut all = [Keyboard::FIRST; Keyboard::COUNT];
        let mut n = 0;
        while n < all.len() {
            all[n] = Keyboard(n as u8);
            n += 1;
        }
        all
    };

    /// For lists with an entry for each keyboard, from 0.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// As a person counts them, from 1.
    pub const fn number(self) -> u8 {
        self.0 + 1
    }

    /// By that number; `None` if there is no such keyboard.
    pub const fn numbered(number: u8) -> Option<Keyboard> {
        match number {
            1.. if (number as usize) <= Keyboard::COUNT => Some(Keyboard(number - 1)),
            _ => None,
        }
    }
}

/// A channel of a keyboard: one of sixteen, which the wire numbers 0-15. Players say 1-16.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Channel(u8);

impl Channel {
    /// Number of channels of all keyboards.
    pub const COUNT: usize = 16 * Keyboard::COUNT;

    /// The channels of all keyboards, each at its index. Those of the first keyboard come first,
    /// each at the place that is its number on the wire.
    pub const ALL: [Channel; Channel::COUNT] = {
        let mut all = [Channel(0); Channel::COUNT];
        let mut n = 0;
        while n < all.len() {
            all[n] = Channel(n as u8);
            n += 1;
        }
        all
    };

    /// Of the first keyboard, by its number on the wire; `None` from 16 on.
    pub const fn new(number: u8) -> Option<Channel> {
        match number {
            0..16 => Some(Channel(number)),
            _ => None,
        }
    }

    /// The channel of this number of another keyboard.
    pub const fn of(self, keyboard: Keyboard) -> Channel {
        Channel(16 * keyboard.0 + self.number())
    }

    /// Its number on the wire, 0-15.
    pub const fn number(self) -> u8 {
        self.0 % 16
    }

    pub const fn keyboard(self) -> Keyboard {
        Keyboard(self.0 / 16)
    }

    /// For lists with an entry for each channel of each keyboard.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// For sets of these: bit n stands for the channel of index n.
    pub const fn bit(self) -> u64 {
        1 << self.0
    }

    /// For sets of numbers on the wire, whatever the keyboard: bit n stands for number n.
    pub const fn number_bit(self) -> u16 {
        1 << self.number()
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
    /// The same for one of several keyboards.
    ReleaseKeyboard {
        keyboard: Keyboard,
    },
}

impl Event {
    /// The channel it belongs to, if to one.
    pub fn channel(mut self) -> Option<Channel> {
        self.channel_mut().copied()
    }

    fn channel_mut(&mut self) -> Option<&mut Channel> {
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
            Release | ReleaseKeyboard { .. } => None,
        }
    }

    /// The keyboard it comes from, where it does not concern them all.
    pub fn keyboard(self) -> Option<Keyboard> {
        match self {
            Event::ReleaseKeyboard { keyboard } => Some(keyboard),
            _ => self.channel().map(Channel::keyboard),
        }
    }

    /// The same event on another keyboard.
    pub fn of(mut self, on: Keyboard) -> Event {
        if let Event::ReleaseKeyboard { keyboard } = &mut self {
            *keyboard = on;
        } else if let Some(channel) = self.channel_mut() {
            *channel = channel.of(on);
        }
        self
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
    fn each_keyboard_has_sixteen_channels() {
        for (n, channel) in (0u8..).zip(Channel::ALL) {
            let of_the_first = Channel::new(n % 16).expect("below 16");
            let keyboard = Keyboard::ALL[usize::from(n / 16)];
            assert_eq!(of_the_first.of(keyboard), channel);
            assert_eq!(
                (channel.number(), channel.index()),
                (n % 16, usize::from(n))
            );
            assert_eq!(channel.keyboard(), keyboard);
            assert_eq!(channel.bit(), 1u64 << n);
            assert_eq!(channel.number_bit(), 1u16 << (n % 16));
        }
        let numbered = [0, 1, 4, 5, 255].map(Keyboard::numbered);
        let there = [Some(Keyboard::FIRST), Some(Keyboard::ALL[3])];
        assert_eq!(numbered, [None, there[0], there[1], None, None]);
        assert_eq!(Keyboard::ALL.map(Keyboard::number), [1, 2, 3, 4]);
        assert_eq!([16, 127, 128, 255].map(Channel::new), [None; 4]);
        assert_eq!(PERCUSSION.number() + 1, 10);
    }
}
