//! The terminal: reads readings, draws them, and turns keys into intents.
//!
//! It knows nothing of threads or ports: what it shows comes from a [`Stage`],
//! and what the player wants goes back to it.

mod beside;
mod brightness;
mod chord;
mod claim;
mod contender;
mod draw;
mod entry;
mod help;
mod here;
mod keys;
mod lanes;
mod large;
mod layout;
mod mouse;
mod palette;
mod past;
mod pen;
mod piano;
mod polymodal;
mod run;
mod scale;
mod status;
mod strip;
mod terminal;
#[cfg(test)]
mod tests;
mod timeline;
mod turn;
mod why;
mod window;

pub use keys::{Clash, Deed, Key, KeyError, Keys};
pub use layout::{Panel, Panels, Way};
pub use palette::{Depth, Palette, Styles};
pub use run::{Options, Outcome, Update, run};
pub use terminal::keyboard;

use crate::engine::{Event, Explanation, History, Inertia, Reading};
use crate::plan::Marker;
use crate::theory::{PitchClass, Spelling, Tonality};
use crate::time::Time;
use crossbeam_channel::Receiver;
use std::time::Duration;

/// How the notes come in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Source {
    /// The keyboard's or file's name, as shown.
    pub name: String,
    pub link: Link,
    /// Where in a file, when one is played.
    pub transport: Option<Transport>,
    /// The file that is being written.
    pub recording: Option<String>,
    /// Messages that the queue could not take.
    pub dropped: u64,
    /// A line that tells the player something: a keyboard gone, how to connect one.
    pub notice: Option<String>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Link {
    /// A keyboard is connected.
    Keyboard,
    /// It was unplugged; it is looked for.
    Lost,
    /// No keyboard was found; it is looked for.
    #[default]
    None,
    /// A file plays.
    File,
}

/// Where a file stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transport {
    pub position: Time,
    pub duration: Time,
    /// 0.25-4.
    pub speed: f32,
    pub paused: bool,
    pub ended: bool,
    /// The first, or both, of the points between which it repeats.
    pub repeat: (Option<Time>, Option<Time>),
}

/// What the player wants of whoever plays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Intent {
    /// A stop that the player has chosen: to be remembered.
    Inertia(Inertia),
    /// A setting that changes readings.
    Set(Event),
    /// Pause or go on.
    Pause,
    /// Seconds, negative for back.
    Seek(f32),
    /// To a moment of the file.
    SeekTo(Time),
    /// Faster (true) or slower.
    Speed(bool),
    /// Sets the first repeat point, then the second, then clears both.
    Repeat,
    /// A marker now, about the phrase before.
    Mark,
    /// A marker about the last 30 seconds.
    KeepLast,
    /// Names refer to this tonality, or again to what is heard.
    Pin(Option<(Tonality, Spelling)>),
    /// The player says that home is this note, or takes it back.
    HomeIs(Option<PitchClass>),
    /// An aside begins, or is over.
    Aside(bool),
    /// Why things are as they stand: see [`Stage::explanation`].
    Explain,
}

/// What stands behind the screen.
pub trait Stage {
    /// The latest reading.
    fn reading(&mut self) -> Reading;
    /// The latest explanation of those asked for with [`Intent::Explain`].
    fn explanation(&mut self) -> Option<Explanation>;
    /// The history so far, brought up to date.
    fn past(&mut self) -> (&History, &[Marker]);
    fn source(&mut self) -> Source;
    /// The stream's time now, for ages and the strip's right edge.
    fn now(&self) -> Time;
    fn act(&mut self, intent: Intent);
    /// The next job set off from the piano, by its place in the settings.
    fn job(&mut self) -> Option<usize> {
        None
    }
    /// Gets a message when there is something new to draw.
    fn news(&self) -> &Receiver<()>;
    /// Whether a part behind the screen has failed for good, and its message.
    fn failed(&mut self) -> Option<String>;
    /// How long drawing may wait while nothing happens (ages grow by the second).
    fn patience(&self) -> Duration;
}
