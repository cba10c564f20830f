//! Where time and threads are.
//!
//! A performance reaches the engine in one of two ways: [`listen`] takes it from a
//! keyboard as it is played, [`play`] from a file at the file's own pace. Both run
//! the same [`Monitor`](crate::engine::Monitor) on a thread of their own and
//! publish what it says through a [`Feed`]: the latest reading in a slot, changes
//! in order through a channel, and on demand the latest explanation, which a thread
//! beside the engine's works out. The seams to the outside are in [`World`]. Sittings of other
//! days are listed and read on threads of a [`Library`].

mod click;
mod clock;
mod explain;
mod feed;
mod finder;
mod library;
mod listen;
mod mark;
mod order;
mod player;
mod provoke;
mod record;
mod sitting;
mod status;
mod thread;

pub use click::{ClickNow, SetClick};
pub use clock::{Clock, SystemClock};
pub use feed::Feed;
pub use finder::{Remember, Wanted};
pub use library::{Chosen, Library, RevisedPlan, RevisionError};
pub use listen::{Keep, Listener, World, listen};
pub use mark::About;
pub use order::Order;
pub use player::{Player, SHORTEST_REPEAT, SPEEDS, play};
pub use record::RecordError;
pub use sitting::Sittings;
pub use status::{Status, Unwritten};
