//! MIDI inputs of the system, behind a trait, so that the program also runs with others.
//!
//! midir speaks to the system: ALSA on Linux, or JACK with the feature of that name; CoreMIDI and
//! Windows MM elsewhere. What midir lacks is here: names that stay the same when a keyboard is
//! plugged in again, errors that say what to do, and, with JACK, news of ports that come and go.

mod choice;
mod input;
// midir has JACK everywhere but on Windows.
#[cfg(all(feature = "jack", not(windows)))]
mod jack;
mod names;
#[cfg(not(all(feature = "jack", not(windows))))]
mod plain;

pub use choice::{ChoiceError, choose};
pub use input::{Connection, PortError, PortInfo, Ports, Sink};

#[cfg(all(feature = "jack", not(windows)))]
use jack::System;
#[cfg(not(all(feature = "jack", not(windows))))]
use plain::System;

/// The system's own inputs. Nothing is opened before it is asked for.
pub fn system(client_name: &str) -> Box<dyn Ports> {
    // The backends panic at a NUL in a name.
    Box::new(System::new(client_name.replace('\0', "")))
}
