//! Which stretch of music a marker is about, decided when the marker is set.

use crate::plan::Marker;
use crate::time::Time;

/// Which stretch before the present moment a marker is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// The phrase before: see [`crate::engine::History::phrase_before`].
    Phrase,
    /// The last stretch of this length.
    Last(Time),
}

impl About {
    /// The marker set at `at`. `phrase` gives the phrase before a moment.
    pub(super) fn marker(
        self,
        at: Time,
        name: String,
        phrase: impl FnOnce(Time) -> (Time, Time),
    ) -> Marker {
        let about = match self {
            About::Phrase => phrase(at),
            About::Last(long) => (at - long, at),
        };
        Marker {
            at,
            about: Some(about),
            name,
        }
    }
}
