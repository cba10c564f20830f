//! Sittings: what was played at the keyboard on other days, kept and found again.
//!
//! The MIDI files in the user's data folder are the truth: each holds what was played and, in a
//! track of its own, what is known of it ([`Facts`](crate::recording::Facts)). The index beside
//! them is made of the files, and made anew whenever it is not to be trusted.
//!
//! ```text
//!  DATA/peregrinus/sittings/2026-11-29_20-15-03.mid           a sitting that has ended
//!  DATA/peregrinus/sittings/growing/2026-11-29_21-40-11.mid   one that is being played
//!  DATA/peregrinus/sittings/growing/2026-11-29_21-40-11.lock  held while its program lives
//!  DATA/peregrinus/sittings/index.sqlite
//!  DATA/peregrinus/sittings/changing.lock                     held while a file is replaced
//! ```

mod correct;
mod files;
mod folder;
mod import;
mod in_force;
mod index;
mod journal;
mod keeper;
mod recover;
mod room;
mod sitting;
#[cfg(test)]
mod tests;
mod words;

pub use correct::{CorrectError, Revised, correct};
pub use files::{ChangeError, change, export, read};
pub use folder::Folder;
pub use import::import;
pub use in_force::InForce;
pub use index::{FindError, Index, IndexError, Query, Unknown};
pub use journal::ToDisk;
pub use keeper::{Calendar, Keeper, News};
pub use recover::{Recovered, recover};
pub use room::{Cleared, TrashError, clear, has_trash, to_trash};
pub use sitting::{Heading, Sitting, Stay};
pub use words::{WordsError, words};
