//! Voices in unison: two tracks that hold one key of one channel.

use std::collections::HashMap;

use crate::midi::event::{Channel, Event};

/// Which tracks hold which keys, on the channels that several tracks play.
pub(super) struct Unison {
    shared: [bool; Channel::COUNT],
    /// By track and channel: the keys held, and the age of the channel in which they were struck.
    held: HashMap<(usize, Channel), (u32, u128)>,
    /// By channel: raised when everything on it is released at once.
    age: [u32; Channel::COUNT],
    /// By channel and key: how many tracks hold it.
    holders: Box<[[u32; 128]; Channel::COUNT]>,
}

impl Unison {
    /// `channels`: those that each track strikes keys on, as [`Channel::bit`] has them.
    pub fn of(channels: impl Iterator<Item = u64>) -> Unison {
        let (mut once, mut twice) = (0u64, 0u64);
        for channels in channels {
            twice |= once & channels;
            once |= channels;
        }
        Unison {
            shared: std::array::from_fn(|channel| twice >> channel & 1 == 1),
            held: HashMap::new(),
            age: [0; Channel::COUNT],
            holders: Box::new([[0; 128]; Channel::COUNT]),
        }
    }

    fn clear(&mut self, channel: usize) {
        self.age[channel] += 1;
        self.holders[channel] = [0; 128];
    }

    /// Takes note of the event; false if it must not be heard.
    pub fn passes(&mut self, track: usize, event: Event) -> bool {
        let (channel, key, on) = match event {
            Event::NoteOn { channel, key, .. } => (channel, key, true),
            Event::NoteOff { channel, key } => (channel, key, false),
            Event::AllSoundOff { channel } | Event::AllNotesOff { channel } => {
                let channel = channel.index();
                if self.shared[channel] {
                    self.clear(channel);
                }
                return true;
            }
            Event::Release => {
                (0..Channel::COUNT).for_each(|channel| self.clear(channel));
                return true;
            }
            Event::ReleaseKeyboard { keyboard } => {
                let of_it = Channel::ALL.iter().filter(|c| c.keyboard() == keyboard);
                of_it.for_each(|channel| self.clear(channel.index()));
                return true;
            }
            _ => return true,
        };
        let index = channel.index();
        if !self.shared[index] {
            return true;
        }
        let (age, keys) = self.held.entry((track, channel)).or_default();
        if *age != self.age[index] {
            (*age, *keys) = (self.age[index], 0);
        }
        let bit = 1u128 << (key & 127);
        let holders = &mut self.holders[index][usize::from(key & 127)];
        match (on, *keys & bit != 0) {
            (true, false) => *holders += 1,
            (false, true) => *holders = holders.saturating_sub(1),
            _ => {}
        }
        *keys = if on { *keys | bit } else { *keys & !bit };
        on || *holders == 0
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::*;
    use super::*;

    #[test]
    fn two_voices_in_unison() {
        let upper = ended(&[0x00, 0x90, 60, 64, 0x60, 0x80, 60, 64]);
        let lower = ended(&[0x30, 0x90, 60, 64, 0x60, 0x80, 60, 64, 0x00, 0x80, 60, 64]);
        let expected = [
            (0, ON(0, 60, 64)),
            (12_500, ON(0, 60, 64)),
            // not 25,000, where the upper voice lets go
            (37_500, OFF(0, 60)),
            (37_500, OFF(0, 60)),
        ];
        assert_eq!(events(&file(1, 96, &[upper.clone(), lower])), expected);
        // All notes off takes the key from both.
        let off = ended(&[0x30, 0x90, 60, 64, 0x00, 0xb0, 123, 0]);
        assert_eq!(
            events(&file(1, 96, &[upper, off])),
            [
                (0, ON(0, 60, 64)),
                (12_500, ON(0, 60, 64)),
                (
                    12_500,
                    Event::AllNotesOff {
                        channel: Channel::ALL[0]
                    }
                ),
                (25_000, OFF(0, 60)),
            ]
        );
    }
}
