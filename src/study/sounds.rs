//! Keys from their onsets to their ends.

use crate::engine::PerKey;
use crate::theory::KeySet;
use crate::time::Time;

/// A key from its onset to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sound {
    pub key: u8,
    pub on: Time,
    pub off: Time,
}

/// Gathers sounds.
#[derive(Default)]
pub(super) struct Sounds {
    list: Vec<Sound>,
    /// When each key that sounds was struck.
    since: PerKey<Option<Time>>,
    sounding: KeySet,
}

impl Sounds {
    /// A key was struck, or something stopped sounding.
    pub fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        let again = struck.map_or(KeySet::EMPTY, KeySet::of);
        for key in (self.sounding & (!sounding | again)).iter() {
            if let Some(on) = self.since[key].take() {
                self.list.push(Sound { key, on, off: at });
            }
        }
        for key in (sounding & (!self.sounding | again)).iter() {
            self.since[key] = Some(at);
        }
        self.sounding = sounding;
    }

    /// The sounds since the last call. What still sounds is cut at `at` and begins anew there.
    pub fn until(&mut self, at: Time) -> Vec<Sound> {
        for key in self.sounding.iter() {
            if let Some(on) = self.since[key].replace(at) {
                self.list.push(Sound { key, on, off: at });
            }
        }
        std::mem::take(&mut self.list)
    }
}

/// Which sounds lap over a span, for spans in order of time.
pub(super) struct Overlapping<'a> {
    sounds: &'a [Sound],
    /// Those that did not begin yet, the earliest last.
    coming: Vec<u32>,
    /// Those that may sound, in the order of the list.
    now: Vec<u32>,
}

impl<'a> Overlapping<'a> {
    pub fn new(sounds: &'a [Sound]) -> Overlapping<'a> {
        let mut coming: Vec<u32> = (0..sounds.len() as u32).collect();
        coming.sort_by_key(|&i| std::cmp::Reverse(sounds[i as usize].on));
        Overlapping {
            sounds,
            coming,
            now: Vec::new(),
        }
    }

    /// Those that sound between `start` and `stop`, in the order of the list; neither is
    /// earlier than the last time.
    pub fn with(&mut self, start: Time, stop: Time) -> impl Iterator<Item = &'a Sound> {
        let sounds = self.sounds;
        self.now.retain(|&i| sounds[i as usize].off > start);
        while let Some(i) = self.coming.pop_if(|i| sounds[*i as usize].on < stop) {
            if sounds[i as usize].off > start {
                self.now.push(i);
            }
        }
        self.now.sort_unstable();
        self.now.iter().map(|&i| &sounds[i as usize])
    }
}
