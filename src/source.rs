//! How the notes come in: the live part says it, `performer` puts it together, the front ends
//! show it.

use crate::correction::CorrectedPlan;
use crate::meter::{BarBeat, Click};
use crate::time::Time;
use std::sync::Arc;

/// The way in, as a front end shows it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Source {
    /// The keyboard's or file's name.
    pub name: String,
    pub link: Link,
    /// Where several keyboards play together: their names. Else empty.
    pub keyboards: Vec<String>,
    /// Number of these that are not connected.
    pub away: usize,
    /// Where the file stands, when one plays.
    pub transport: Option<Transport>,
    /// The file that is being written.
    pub recording: Option<String>,
    /// Whether what is played is kept as a sitting.
    pub keeping: Keeping,
    /// The number of the sitting that is kept, or was last, in this run of the program, from 1.
    pub sitting: u64,
    /// The click that is played to, and where in its bars the present is.
    pub click: Option<(Click, BarBeat)>,
    /// The sitting of another day that is shown in the place of what is played now.
    pub opened: Option<Opened>,
    /// Messages that the queue could not take.
    pub dropped: u64,
    /// A line that tells the player something: a keyboard gone, how to connect one.
    pub notice: Option<String>,
}

/// A sitting of another day that was opened.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Opened {
    /// When it began, by the clock of the place.
    pub date: String,
    /// Counts those that were opened: the same may be opened again.
    pub number: usize,
    /// The plan as its listener has corrected it.
    pub corrected: Option<Arc<CorrectedPlan>>,
}

/// Whether what is played is kept as a sitting.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Keeping {
    #[default]
    Off,
    /// The next note begins one.
    Ready,
    /// One is being kept.
    Growing,
    /// One is in memory alone: its disk takes nothing.
    Stuck,
}

/// What the notes come from just now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Link {
    /// A keyboard is connected.
    Keyboard,
    /// It was unplugged; it is looked for.
    Lost,
    /// No keyboard was found; one is looked for.
    #[default]
    None,
    /// A file plays.
    File,
}

/// Where a file that plays stands, and how it goes on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transport {
    pub position: Time,
    pub duration: Time,
    /// 0.25-4 times the file's own pace.
    pub speed: f32,
    pub paused: bool,
    pub ended: bool,
    pub repeat: Repeat,
    /// A seek that takes a while; `position` is where it began.
    pub going: Option<Going>,
}

/// A seek that is under way: the engine hears what lies between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Going {
    pub to: Time,
    /// How much of it is done, 0 to 1.
    pub share: f32,
}

impl Transport {
    /// At the beginning of a file of this length, playing at its own pace.
    pub fn start(duration: Time) -> Transport {
        Transport {
            position: Time::ZERO,
            duration,
            speed: 1.0,
            paused: false,
            ended: false,
            repeat: Repeat::Off,
            going: None,
        }
    }
}

/// What of a file is repeated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Repeat {
    #[default]
    Off,
    /// The first point is set; it plays on until there is a second.
    From(Time),
    /// From the second point back to the first.
    Between(Time, Time),
}
