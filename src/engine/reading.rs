//! What the engine says at one moment: a value of fixed size, without text.

use super::collection::Collection;
use super::hysteresis::Inertia;
use super::keys::HarmonyFrom;
use super::polymodal::Polymodal;
use super::progression::HarmonyNow;
use super::voicing::VoicedChord;
use crate::plan::Open;
use crate::theory::{
    KeySet, PitchClass, PitchClassSet, Sonority, SpelledTonality, Spelling, Tonality,
};
use crate::time::Time;

/// One tonality as it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Established {
    /// Spelled by those before it.
    pub spelled: SpelledTonality,
    /// When the display first said so.
    pub at: Time,
    /// When its evidence began.
    pub since: Time,
    /// Now, 0-1.
    pub probability: f32,
    /// Degrees not heard yet, and what else would fit.
    pub open: Open,
}

/// A tonality that gains on the one established.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contender {
    /// Spelled by the one established.
    pub spelled: SpelledTonality,
    pub probability: f32,
    /// 0 just noticed, 1 about to be established.
    pub nearness: f32,
    /// Its center was in the bass just now.
    pub in_bass: bool,
    /// A note of it that the established tonality lacks and that was heard just now.
    pub heard: Option<PitchClass>,
}

/// Everything that the engine says of one moment. All that is shown or written comes from
/// here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    pub at: Time,
    /// Keys under the fingers.
    pub held: KeySet,
    /// Keys that only a pedal holds.
    pub pedalled: KeySet,
    pub damper: bool,
    /// The keys of the last stroke, and when it began.
    pub struck: KeySet,
    pub struck_at: Time,
    /// The rolling window: the share of each pitch class, summing to 1 (or all 0).
    pub window: [f32; 12],
    /// The pitch classes heard lately.
    pub heard: PitchClassSet,
    pub chord: Option<(Sonority, Time)>,
    /// The harmony at its own pace; it stays in silence.
    pub harmony: Option<HarmonyNow>,
    /// The keys of the chord that was struck last, together or one by one; it stays in
    /// silence. `None` before the first note.
    pub voiced_chord: Option<VoicedChord>,
    pub here: Option<Established>,
    pub home: Option<Established>,
    pub contender: Option<Contender>,
    /// The top line and the rest keep to different modes of the center here. It stays in
    /// silence.
    pub polymodal: Option<Polymodal>,
    /// The tonality that the player wants names to refer to, whatever is heard.
    pub pinned: Option<SpelledTonality>,
    /// What the player said is home, and when; the engine does not follow it.
    pub stated: Option<(Spelling, Time)>,
    /// When the aside began, while there is one: what is played in it stays out of the plan.
    pub aside: Option<Time>,
    /// The likeliest tonalities, best first, with their probabilities.
    pub ranking: [Option<(Tonality, f32)>; 5],
    /// What the notes are while they have no center.
    pub collection: Option<Collection>,
    /// When the last sound ended; `None` while something sounds, or before the first note.
    pub silent_since: Option<Time>,
    /// Whether a note was heard at all.
    pub begun: bool,
    pub inertia: Inertia,
    /// Which of several keyboards are heard.
    pub harmony_from: HarmonyFrom,
}

impl Reading {
    /// Everything that sounds.
    pub fn sounding(&self) -> KeySet {
        self.held | self.pedalled
    }

    /// The tonality that names are made in: the pinned one, else that established here.
    pub fn within(&self) -> Option<SpelledTonality> {
        self.pinned.or(self.here.map(|h| h.spelled))
    }
}
