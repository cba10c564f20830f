//! The harmony at its own pace: the one that a lead sheet would show, while the label of the
//! moment ([`super::chords`]) follows every note.
//!
//! What was learned ([`super::harmony`]) says at each stroke which harmony is meant. Here each
//! stroke counts by the time that it stands, and a change costs more, so that a bass that walks
//! or alternates moves under one harmony, and what passes changes none. The course that is
//! likeliest so far (Viterbi 1967; Rabiner 1989) is the harmony now, from where that course
//! entered it. What sounded since then decides the kind, and a voice that moves by step through
//! it is its line.

use super::chords::{Needs, likeliest, on_its_bass};
use super::harmony::{Degrees, Judgement, RootedTriad, TRIADS};
use super::stroke::{Arrival, Stroke};
use crate::theory::{Chord, Hearing, KeySet, Line, PitchClass};
use crate::time::Time;

/// Roots and triads that may be meant.
pub const HARMONIES: usize = 12 * TRIADS.len();

/// The price of a change, in logarithms; chosen, as the other numbers here, on analysts' chords
/// and on chords that were played from a sheet (tests/training/README.md).
pub const CHANGE: f32 = 3.0;
/// A stroke that stands for this many seconds counts once, others in proportion, …
const UNIT: f64 = 0.5;
/// … within these bounds.
const LEAST: f32 = 0.15;
const MOST: f32 = 2.0;
/// Lower bound of what a stroke says against a harmony, as a logarithm.
const FLOOR: f32 = -10.0;
/// A note counts in full that sounded through this share of a harmony, or for this many seconds.
const SHARE: f32 = 0.5;
const LONG: f32 = 2.0;
/// The root is the bass where it has this share of the bass's time.
const ROOT: f32 = 0.2;
/// Another bass where it has this share.
const OTHER: f32 = 0.6;
/// A stroke that makes a harmony less likely than this, against the likeliest, may begin
/// another.
const DOUBT: f32 = 0.2;

/// How much a stroke counts that stands for `seconds`.
pub fn weight(seconds: f64) -> f32 {
    ((seconds / UNIT) as f32).clamp(LEAST, MOST)
}

/// The log-likelihood of each harmony at a stroke, relative to the likeliest, times `weight`, in
/// the order of `states`.
pub fn evidence(
    judgement: &Judgement,
    weight: f32,
    states: &[RootedTriad; HARMONIES],
) -> [f32; HARMONIES] {
    let top = highest(judgement);
    states.map(|harmony| weight * (judgement.of(harmony) - top).max(FLOOR))
}

/// The log-likelihood of the likeliest.
fn highest(judgement: &Judgement) -> f32 {
    let all = judgement.chords.as_flattened().iter();
    all.copied().fold(f32::NEG_INFINITY, f32::max)
}

/// All harmonies, as seen from a note, so that ties fall alike in every transposition.
pub fn harmonies_from(from: PitchClass) -> [RootedTriad; HARMONIES] {
    std::array::from_fn(|s| (from.up((s / TRIADS.len()) as i32), TRIADS[s % TRIADS.len()]))
}

/// What a stroke says of one harmony.
#[derive(Clone, Copy, Debug)]
pub struct Meant {
    degrees: Degrees,
    /// Against the likeliest, 0-1.
    likely: f32,
}

impl Meant {
    pub fn by(judgement: &Judgement, harmony: RootedTriad) -> Meant {
        Meant::against(highest(judgement), judgement, harmony)
    }

    /// `top`: the log-likelihood of the likeliest.
    fn against(top: f32, judgement: &Judgement, harmony: RootedTriad) -> Meant {
        Meant {
            degrees: judgement.degrees_on(harmony.0),
            likely: (judgement.of(harmony) - top).exp(),
        }
    }
}

/// What was heard of one harmony.
#[derive(Clone, Copy, Debug)]
pub struct HarmonyEvidence {
    seconds: f32,
    weight: f32,
    degrees: Degrees,
    heard: [f32; 12],
    bass: [f32; 12],
    first_bass: Option<PitchClass>,
}

impl HarmonyEvidence {
    pub const NOTHING: HarmonyEvidence = HarmonyEvidence {
        seconds: 0.0,
        weight: 0.0,
        degrees: [0.0; 11],
        heard: [0.0; 12],
        bass: [0.0; 12],
        first_bass: None,
    };

    /// A stroke that stands for so many seconds, as far as this harmony is meant by it.
    pub fn take(&mut self, stroke: &Stroke, seconds: f64, meant: Meant) {
        let Meant { degrees, likely } = meant;
        let weight = likely * weight(seconds);
        let seconds = likely * seconds.min(f64::from(MOST) * UNIT) as f32;
        self.seconds += seconds;
        self.weight += weight;
        for (sum, said) in self.degrees.iter_mut().zip(degrees) {
            *sum += weight * said;
        }
        for pc in stroke.sounding.classes().iter() {
            self.heard[pc.index()] += seconds;
        }
        if let Some(low) = stroke.sounding.lowest() {
            let bass = PitchClass::of_key(low);
            self.bass[bass.index()] += seconds;
            if likely > 0.5 {
                self.first_bass.get_or_insert(bass);
            }
        }
    }

    /// The chord that a harmony is; `None` if too little of it was heard. The notes that a line
    /// passes on to do not belong to it, unless no chord is left without them.
    pub fn chord(
        &self,
        harmony: RootedTriad,
        line: Option<Line>,
        hearing: Hearing,
    ) -> Option<Chord> {
        let without = line.and_then(|_| self.chord_beside(harmony, line, hearing));
        without.or_else(|| self.chord_beside(harmony, None, hearing))
    }

    fn chord_beside(
        &self,
        (root, triad): RootedTriad,
        line: Option<Line>,
        hearing: Hearing,
    ) -> Option<Chord> {
        let full = (SHARE * self.seconds).clamp(1e-3, LONG);
        let mut heard = self.heard.map(|s| (s / full).min(1.0));
        for pc in line.iter().flat_map(|line| &line.notes()[1..]) {
            heard[pc.index()] = 0.0;
        }
        let degrees = self.degrees.map(|sum| sum / self.weight.max(1e-3));
        let bass = self.bass_of(root)?;
        let chord = likeliest(&degrees, &heard, bass, (root, triad), Needs::EveryNote)?;
        Some(on_its_bass(chord, hearing))
    }

    /// The bass under the whole of it.
    fn bass_of(&self, root: PitchClass) -> Option<PitchClass> {
        let all: f32 = (0..12).map(|n| self.bass[root.up(n).index()]).sum();
        let share = |pc: PitchClass| self.bass[pc.index()] / all.max(1e-3);
        if self.first_bass == Some(root) || share(root) >= ROOT {
            return Some(root);
        }
        let other = (1..12).map(|n| root.up(n)).find(|&pc| share(pc) >= OTHER);
        Some(other.unwrap_or(root)).filter(|_| all > 0.0)
    }
}

/// Follows a voice that moves by step while all others stay.
#[derive(Clone, Copy, Debug)]
pub struct LineFollower {
    before: KeySet,
    line: Option<Line>,
    /// When its first note was struck.
    since: Time,
    last: Time,
}

impl Default for LineFollower {
    fn default() -> LineFollower {
        LineFollower {
            before: KeySet::EMPTY,
            line: None,
            since: Time::ZERO,
            last: Time::ZERO,
        }
    }
}

impl LineFollower {
    /// A stroke, when all of it was struck.
    pub fn hear(&mut self, stroke: &Stroke) {
        let keys = stroke.struck;
        if keys.classes().len() < 3 || keys == self.before {
            return;
        }
        // A voice may be doubled in octaves.
        let one = |keys: KeySet| {
            let set = keys.classes();
            set.iter().next().filter(|_| set.len() == 1)
        };
        let moved = one(self.before & !keys).zip(one(keys & !self.before));
        let on =
            |line: Line| moved.and_then(|(from, to)| line.on(to).filter(|_| line.last() == from));
        let goes_on = self.line.and_then(on);
        if goes_on.is_none() {
            self.since = self.last;
        }
        self.line = goes_on.or_else(|| moved.and_then(|(from, to)| Line::step(from, to)));
        (self.before, self.last) = (keys, stroke.at);
    }

    /// The line, if it has three notes and began no earlier than `since`.
    pub fn within(&self, since: Time) -> Option<Line> {
        let long = self.line.filter(|line| line.notes().len() >= 3);
        long.filter(|_| self.since >= since)
    }
}

/// The harmony now, and since when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarmonyNow {
    pub chord: Chord,
    pub since: Time,
    /// Whether what sounds speaks for another that may be about to begin.
    pub doubted: bool,
    pub line: Option<Line>,
}

/// A stroke that still stands.
#[derive(Clone, Copy, Debug)]
struct Standing {
    stroke: Stroke,
    judgement: Judgement,
}

/// Follows the harmony as it is heard.
#[derive(Clone, Debug)]
pub struct Progression {
    /// In which order harmonies are looked at.
    states: [RootedTriad; HARMONIES],
    score: [f32; HARMONIES],
    /// When the likeliest course to each entered it, and what was heard since.
    since: [Time; HARMONIES],
    gathered: [HarmonyEvidence; HARMONIES],
    standing: Option<Standing>,
    line: LineFollower,
    now: Option<HarmonyNow>,
}

impl Default for Progression {
    fn default() -> Progression {
        Progression {
            states: harmonies_from(PitchClass::new(0)),
            score: [0.0; HARMONIES],
            since: [Time::ZERO; HARMONIES],
            gathered: [HarmonyEvidence::NOTHING; HARMONIES],
            standing: None,
            line: LineFollower::default(),
            now: None,
        }
    }
}

impl Progression {
    pub fn now(&self) -> Option<HarmonyNow> {
        self.now
    }

    /// A stroke, or the one before with one more key. True if the harmony changed.
    pub fn hear(
        &mut self,
        stroke: &Stroke,
        judgement: &Judgement,
        arrival: Arrival,
        hearing: Hearing,
    ) -> bool {
        if arrival == Arrival::Begins {
            match self.standing.take() {
                Some(before) => {
                    self.line.hear(&before.stroke);
                    self.settle(&before, stroke.at.since(before.stroke.at).seconds());
                }
                None => {
                    let low = stroke.sounding.lowest().unwrap_or(0);
                    self.states = harmonies_from(PitchClass::of_key(low));
                    self.since = [stroke.at; HARMONIES];
                }
            }
        }
        self.standing = Some(Standing {
            stroke: *stroke,
            judgement: *judgement,
        });
        self.on_time(stroke.at, hearing)
    }

    /// Time goes on. True if the harmony changed.
    pub fn on_time(&mut self, at: Time, hearing: Hearing) -> bool {
        let Some(standing) = &self.standing else {
            return false;
        };
        let seconds = at.since(standing.stroke.at).seconds();
        let said = evidence(&standing.judgement, weight(seconds), &self.states);
        let top = best(&self.score);
        let (moved, mut here) = (self.score[top] - CHANGE, (0, f32::NEG_INFINITY));
        for (s, said) in said.iter().enumerate() {
            let score = self.score[s].max(moved) + said;
            if score > here.1 {
                here = (s, score);
            }
        }
        let (state, _) = here;
        let stays = self.score[state] >= moved;
        let mut gathered = if stays {
            self.gathered[state]
        } else {
            HarmonyEvidence::NOTHING
        };
        let since = if stays {
            self.since[state]
        } else {
            standing.stroke.at
        };
        let meant = Meant::by(&standing.judgement, self.states[state]);
        gathered.take(&standing.stroke, seconds, meant);
        let mut line = self.line;
        line.hear(&standing.stroke);
        // A line that was heard stays a part of its harmony.
        let kept = self.now.filter(|now| now.since == since);
        let line = line.within(since).or(kept.and_then(|now| now.line));
        let chord = gathered.chord(self.states[state], line, hearing);
        let now = chord.map(|chord| HarmonyNow {
            chord,
            since,
            doubted: meant.likely < DOUBT && seconds < f64::from(MOST) * UNIT,
            line,
        });
        // Too little of it was heard yet: the one before goes on.
        let changed = now.is_some() && now != self.now;
        self.now = now.or(self.now);
        changed
    }

    /// A stroke is over: it stood for so many seconds.
    fn settle(&mut self, standing: &Standing, seconds: f64) {
        let said = evidence(&standing.judgement, weight(seconds), &self.states);
        let top = best(&self.score);
        let most = self.score[top];
        let likeliest = highest(&standing.judgement);
        for (s, said) in said.into_iter().enumerate() {
            // Counted from the best, so that long music stays in range.
            let stays = self.score[s] >= most - CHANGE;
            if !stays {
                self.gathered[s] = HarmonyEvidence::NOTHING;
                self.since[s] = standing.stroke.at;
            }
            let from = if stays { self.score[s] - most } else { -CHANGE };
            self.score[s] = from + said;
            let meant = Meant::against(likeliest, &standing.judgement, self.states[s]);
            self.gathered[s].take(&standing.stroke, seconds, meant);
        }
    }

    /// Forgets everything. Allocates nothing.
    pub fn reset(&mut self) {
        *self = Progression::default();
    }
}

/// The best state; in a tie, the first.
fn best(score: &[f32; HARMONIES]) -> usize {
    (0..HARMONIES).fold(0, |b, s| if score[s] > score[b] { s } else { b })
}
