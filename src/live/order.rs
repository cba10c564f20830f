//! What the engine's thread is asked to do.

use super::mark::About;
use crate::engine::Event;
use crate::meter::TypedClick;
use crate::source::Repeat;
use crate::time::Time;

/// An order to the engine's thread, on a keyboard or on a file. Orders are absolute: two
/// of a kind mean the second.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// A setting that changes readings, from now on and wherever a file goes; or what the
    /// player says beside the music: that stays at its moment of the file.
    Set(Event),
    /// A marker now, of this name; [`Feed::markers`](super::Feed::markers) has it soon, and
    /// so has the recording, where there is one.
    Mark(String, About),
    /// The sitting with this number is called so. Means nothing to a file.
    NameSitting(u64, String),
    /// The sitting ends here; the next note begins another. Means nothing to a file.
    EndSitting,
    /// The notes of the last aside leave the sitting and the recording for good; an aside that
    /// goes on ends. Means nothing to a file.
    ThrowAside,
    /// A tap at this moment: what it makes of the click. Means nothing to a file.
    Tap(Time),
    /// A tempo and a meter from now on, or none. Means nothing to a file.
    Click(TypedClick),
    /// Why things are as they stand; [`Feed::explanation`](super::Feed::explanation) has
    /// the answer soon.
    Explain,
    /// Pauses a file. This and what follows mean nothing to a keyboard.
    Pause,
    /// Lets a paused file go on.
    Resume,
    /// To a moment of the file.
    Seek(Time),
    /// 0.25-4 times the file's own pace; beyond that the nearest.
    Speed(f32),
    /// What of the file is repeated. Less than 0.2 s is not.
    Repeat(Repeat),
}
