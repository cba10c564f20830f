//! Who plays, as the front ends see it, and what the player wants of them.

use crate::correction::Revision;
use crate::engine::{Change, Event, Explanation, History, Inertia, Reading};
use crate::listing::Listing;
use crate::meter::TypedClick;
use crate::plan::Marker;
use crate::source::Source;
use crate::theory::SpelledTonality;
use crate::time::Time;
use crossbeam_channel::Receiver;
use std::time::Duration;

/// What the player asks of the keyboard, file or demo that plays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Request {
    /// A stop of inertia that the player has chosen: remembered for the next time.
    Inertia(Inertia),
    /// The usual stop of inertia again; none is remembered any longer.
    UsualInertia,
    /// A setting that changes readings, or what the player says beside the music.
    Set(Event),
    /// Pause or go on.
    Pause,
    /// Forward by these seconds; back where negative.
    SeekBy(f32),
    /// To a moment of the file.
    SeekTo(Time),
    Pace(Pace),
    /// Sets the first repeat point, then the second, then clears both.
    Repeat,
    /// A marker now, about the phrase before.
    Mark,
    /// A marker about the last 30 seconds.
    KeepLast,
    /// A tap for the tempo at this moment of the keyboard's time; none: now.
    Tap(Option<Time>),
    /// The tempo and the meter that the player types, or none.
    Click(TypedClick),
    /// The sitting ends here; the next note begins another.
    EndSitting,
    /// The notes of the last aside leave what is kept, for good.
    ThrowAside,
    /// Works out what speaks for the tonality here: see [`Stage::explanation`].
    Explain,
    /// Lists the sittings of other days: see [`Stage::listing`].
    ListSittings,
    /// Nobody looks at the list any longer, or waits for a sitting of it.
    CloseList,
    /// Goes back from a sitting that was opened to what was there before.
    CloseSitting,
}

/// A job set off from the piano.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Job {
    /// Its place in the settings.
    pub number: usize,
    pub at: Time,
}

/// How a file is to play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    Slower,
    Faster,
}

/// Who plays, at this moment: a keyboard, a file or a demo.
pub trait Stage {
    /// The latest reading.
    fn reading(&mut self) -> Reading;
    /// The latest explanation of those asked for with [`Request::Explain`].
    fn explanation(&mut self) -> Option<Explanation>;
    /// The history so far, brought up to date.
    fn past(&mut self) -> (&History, &[Marker]);
    fn source(&mut self) -> Source;
    /// The stop of inertia where none is chosen.
    fn usual_inertia(&self) -> Inertia;
    /// The stream's time now, for ages and the history's right edge.
    fn now(&self) -> Time;
    fn act(&mut self, request: Request);
    /// The player calls the sitting with this number ([`Source::sitting`]) by this name, even if
    /// it has ended meanwhile; an empty one takes the name away.
    fn name_sitting(&mut self, number: u64, name: String);
    /// The list that [`Request::ListSittings`] asks for.
    fn listing(&mut self) -> Listing;
    /// Puts one of them on the stage: [`Source::opened`] says when it is there, [`Listing::opening`]
    /// that it is being read or why it cannot be.
    fn open_sitting(&mut self, id: &str);
    /// Revises the corrected plan of the sitting that was opened, and its file;
    /// [`Source::opened`] has what came of it, the notice why nothing did.
    fn revise(&mut self, revision: Revision);
    /// The next job set off from the piano.
    fn job(&mut self) -> Option<Job> {
        None
    }
    /// Receives a message whenever there is something new to show.
    fn news(&self) -> &Receiver<()>;
    /// Whether a part behind the front end has failed for good, and why.
    fn failed(&mut self) -> Option<StageError>;
    /// How long drawing may wait while nothing happens (ages grow by the second).
    fn patience(&self) -> Duration;
}

/// Why nothing more comes from a stage.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StageError {
    /// The engine's thread could not be started; `why` is the system's reason.
    #[error("the engine cannot start: {why}")]
    NotStarted { why: String },
    /// The thread of a part panicked; `why` is the panic's message.
    #[error("{part} has stopped: {why}")]
    Stopped { part: &'static str, why: String },
}

/// Who plays, change by change.
pub trait Chronicle: Stage {
    /// Hands on what is new since the last call.
    fn changes(&mut self, f: &mut dyn FnMut(News));
    /// Nothing more is to come.
    fn ended(&self) -> bool;
}

/// What a [`Chronicle`] hands on.
#[derive(Clone, Debug)]
pub enum News {
    Change(Time, Change),
    /// The past was replaced, after seeking; what is established and what is pinned there.
    Past {
        here: Option<SpelledTonality>,
        pinned: Option<SpelledTonality>,
    },
    /// A marker was set.
    Marker(Marker),
}
