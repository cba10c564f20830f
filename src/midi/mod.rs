//! Bytes and files to timed events, and back. Knows no music.

mod event;
mod file;
mod intake;
mod ports;
mod record;
mod trigger;
mod wire;

pub use event::{Channel, Event, PERCUSSION, Timed};
pub use file::{Fault, FileError, KeySignature, LONGEST, Performance, Text, TextKind, read};
pub use intake::{Fed, Feeder, Outlet, intake};
pub use ports::{ChoiceError, Connection, PortError, PortInfo, Ports, Sink, choose, system};
pub use record::{FileWriter, write};
pub use trigger::{Trigger, TriggerError};
pub use wire::{Sensing, Wire, WireEvent};
