//! What a marker is about, decided at the moment that it is set.

use crate::plan::Marker;
use crate::time::Time;

/// Which stretch before the present moment is flagged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// The phrase before: see [`crate::engine::History::phrase_before`].
    Phrase,
    /// So much of what was played last.
    Last(Time),
}

impl About {
    /// The marker set at `at`, where `phrase` tells the phrase before.
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
