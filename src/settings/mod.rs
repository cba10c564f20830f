//! The rooms' options, composed: defaults embedded from `config/default.toml`,
//! overridden by the user's file, each value checked by the room that owns it.

mod fault;
mod files;
mod read;
mod table;
mod update;
mod values;
mod watch;

pub use fault::{Fault, FaultKind};
pub use read::DEFAULTS;
pub use values::{Job, Settings, SettingsError};
pub use watch::{EVERY, Watch, follow};
