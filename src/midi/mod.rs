//! Bytes and files to timed events, and back. Knows no music.

mod event;
mod file;
mod intake;
mod message;
mod ports;
mod trigger;
mod wire;

pub use event::{Channel, Event, PERCUSSION, Timed};
pub use file::{
    Fault, FaultKind, Faults, FileError, FileWriter, KeySignature, LONGEST, Limits, Performance,
    Text, TextKind, read, read_with, write,
};
pub use intake::{Incoming, IntakeReceiver, IntakeSender, intake};
pub use ports::{ChoiceError, Connection, PortError, PortInfo, Ports, Sink, choose, system};
pub use trigger::{Trigger, TriggerError};
pub use wire::{Sensing, Wire, WireEvent};
