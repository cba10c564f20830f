//! Files for the tests, built by hand.

use super::{Limits, Performance, read, read_with};
use crate::midi::event::{Channel, Event};
use std::ops::ControlFlow;

pub const ON: fn(usize, u8, u8) -> Event = |channel, key, velocity| Event::NoteOn {
    channel: Channel::ALL[channel],
    key,
    velocity,
};
pub const OFF: fn(usize, u8) -> Event = |channel, key| Event::NoteOff {
    channel: Channel::ALL[channel],
    key,
};

/// The events of a track: a note of a quarter.
pub const NOTE: [u8; 8] = [0x60, 0x90, 60, 64, 0x60, 0x80, 60, 64];
/// The same on another channel.
pub const OTHER: [u8; 8] = [0x60, 0x91, 60, 64, 0x60, 0x81, 60, 64];

pub fn header(format: u16, tracks: u16, division: u16) -> Vec<u8> {
    let mut out = b"MThd\0\0\0\x06".to_vec();
    for word in [format, tracks, division] {
        out.extend(word.to_be_bytes());
    }
    out
}

pub fn chunk(id: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((content.len() as u32).to_be_bytes());
    out.extend(content);
    out
}

pub fn track(content: &[u8]) -> Vec<u8> {
    chunk(b"MTrk", content)
}

/// Ends the content given.
pub fn ended(content: &[u8]) -> Vec<u8> {
    track(&[content, &[0x00, 0xff, 0x2f, 0x00]].concat())
}

pub fn file(format: u16, division: u16, tracks: &[Vec<u8>]) -> Vec<u8> {
    let mut out = header(format, tracks.len() as u16, division);
    out.extend(tracks.concat());
    out
}

/// With ticks of ours.
pub fn events(bytes: &[u8]) -> Vec<(u64, Event)> {
    let events = read(bytes).unwrap().events;
    events.iter().map(|t| (t.at.0, t.event)).collect()
}

pub fn faults(bytes: &[u8]) -> Vec<String> {
    read(bytes).unwrap().faults.lines().collect()
}

/// Whatever it claims.
pub fn read_all(bytes: &[u8]) -> Performance {
    read_with(bytes, &Limits::none(), &mut |_| ControlFlow::Continue(())).unwrap()
}
