//! Where time and threads are.
//!
//! A performance reaches the engine in one of two ways: [`listen`] takes it from a
//! keyboard as it is played, [`play`] from a file at the file's own pace. Both run
//! the same [`Monitor`](crate::engine::Monitor) on a thread of their own and
//! publish what it says through a [`Feed`]: the latest reading in a slot, changes
//! in order through a channel, and on demand the latest explanation, which a thread
//! beside the engine's works out. The seams to the outside are in [`World`].

mod clock;
mod explain;
mod feed;
mod keeper;
mod listen;
mod mark;
mod provoke;
mod record;
mod transport;

pub use clock::{Clock, SystemClock};
pub use feed::{Feed, Link, News, Status};
pub use keeper::{Remember, Wanted};
pub use listen::{Listener, listen};
pub use mark::About;
pub use record::RecordError;
pub use transport::{Order, Player, Position, play};

use crate::midi::Ports;
use std::sync::Arc;

/// Everything outside the program that the live part touches.
pub struct World {
    pub clock: Arc<dyn Clock>,
    pub ports: Box<dyn Ports>,
}
