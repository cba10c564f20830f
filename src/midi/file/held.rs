//! What sounds at a moment of a file, so that nothing is left sounding where it breaks off.

use crate::midi::event::{Channel, Event};

/// The keys held and the pedals down, by channel.
pub(super) struct Held {
    keys: [u128; Channel::COUNT],
    /// Damper, sostenuto.
    pedals: [[bool; 2]; Channel::COUNT],
}

impl Default for Held {
    fn default() -> Held {
        Held {
            keys: [0; Channel::COUNT],
            pedals: [[false; 2]; Channel::COUNT],
        }
    }
}

impl Held {
    pub fn hear(&mut self, event: Event) {
        let channel = event.channel().map_or(0, Channel::index);
        let (keys, pedals) = (&mut self.keys[channel], &mut self.pedals[channel]);
        match event {
            Event::NoteOn { key, .. } => *keys |= 1 << (key & 127),
            Event::NoteOff { key, .. } => *keys &= !(1 << (key & 127)),
            Event::AllNotesOff { .. } | Event::AllSoundOff { .. } => *keys = 0,
            Event::Damper { value, .. } => pedals[0] = value > 0,
            Event::Sostenuto { value, .. } => pedals[1] = value > 0,
            Event::Soft { .. } => {}
            Event::ResetControllers { .. } => *pedals = [false; 2],
            Event::Release => *self = Held::default(),
            Event::ReleaseKeyboard { keyboard } => {
                for channel in Channel::ALL.iter().filter(|c| c.keyboard() == keyboard) {
                    self.keys[channel.index()] = 0;
                    self.pedals[channel.index()] = [false; 2];
                }
            }
        }
    }

    /// What lets all of it go: keys, then pedals, by channel.
    pub fn releases(&self) -> Vec<Event> {
        let mut out = Vec::new();
        for (channel, keys) in Channel::ALL.into_iter().zip(self.keys) {
            let held = (0..128).filter(|key| keys >> key & 1 == 1);
            out.extend(held.map(|key| Event::NoteOff { channel, key }));
        }
        for (channel, [damper, sostenuto]) in Channel::ALL.into_iter().zip(self.pedals) {
            let ups = [
                (damper, Event::Damper { channel, value: 0 }),
                (sostenuto, Event::Sostenuto { channel, value: 0 }),
            ];
            out.extend(ups.into_iter().filter(|(down, _)| *down).map(|(_, up)| up));
        }
        out
    }
}
