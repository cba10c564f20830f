//! Bytes, files and ports as timed events, and back. Knows no music.
//!
//! To read a file's bytes, from any program:
//!
//! ```
//! use peregrinus::midi::{self, Channel, Event};
//!
//! # fn main() -> Result<(), midi::FileError> {
//! // Type 0, 96 ticks to the quarter, one track: middle C for a quarter.
//! let bytes = b"MThd\0\0\0\x06\0\0\0\x01\0\x60\
//!     MTrk\0\0\0\x0c\0\x90\x3c\x40\x60\x80\x3c\x40\0\xff\x2f\0";
//! let performance = midi::read(bytes)?;
//! assert!(performance.faults.is_empty());
//! let (channel, key) = (Channel::ALL[0], 60);
//! let last = performance.events[1];
//! assert_eq!(last.event, Event::NoteOff { channel, key });
//! assert_eq!(last.at.seconds(), 0.5);
//! # Ok(())
//! # }
//! ```

mod event;
mod file;
mod intake;
mod message;
mod ports;
mod trigger;
mod wire;

pub use event::{Channel, Event, Keyboard, PERCUSSION, Timed};
pub use file::{
    BadEvent, Damage, Excess, Fault, FaultKind, Faults, FileError, FileWriter, KeySignature,
    LONGEST, Limits, Performance, Text, TextKind, counts_as_we_do, keyboard_tracks, read,
    read_with, track, with_bar_lines, with_last_track, write,
};
pub use intake::{Incoming, IntakeReceiver, IntakeSender, Keyboards, intake};
pub use ports::{ChoiceError, Connection, PortError, PortInfo, Ports, Sink, choose, system};
pub use trigger::{Trigger, TriggerError};
pub use wire::{Sensing, Wire, WireEvent};
