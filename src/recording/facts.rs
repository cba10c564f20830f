//! What a file says of itself as a sitting: when it began, its name and tags, the plan as heard,
//! and as its listener corrected it.
//!
//! The facts stand in a track of their own, the last, so that the music before it stays byte for
//! byte what it was: text events that begin with `peregrinus: sitting `, and for other programs
//! the regions as markers, the player's markers as cue points, and key signatures.

use super::corrected;
use super::tonality::{self, seconds};
use crate::correction::CorrectedPlan;
use crate::midi::{KeySignature, Text, TextKind, track};
use crate::plan::{Claim, Marker, Region, TonalPlan};
use crate::theory::{Catalogue, Notation};
use crate::time::Time;

/// The name of the track, by which it is known.
pub const TRACK: &str = "peregrinus sitting";
const OURS: &str = "peregrinus: sitting ";

/// What is known of a sitting.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// When its first note sounded, as the clock of the place had it (RFC 3339).
    pub begun: Option<String>,
    pub name: Option<String>,
    /// In order, none twice.
    pub tags: Vec<String>,
    /// It did not end by itself: the program or the machine stopped.
    pub cut_off: bool,
    /// The plan as heard.
    pub heard: TonalPlan,
    /// The plan as its listener corrected it.
    pub corrected: Option<CorrectedPlan>,
    /// Its words, where some of them are not known here, and what was made of the others. As long
    /// as that is not corrected anew they are written again as they were read.
    pub partly: Option<(Vec<String>, Option<CorrectedPlan>)>,
    /// What is not known here: of a later version, or with a mode that the catalogue does not
    /// have. Written again as it was read.
    pub unknown: Vec<String>,
}

/// Whether the track's times are those of the music: not in a file that counts in its own beats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beat {
    Ours,
    Foreign,
}

impl Facts {
    /// Takes a text event, if it is a fact.
    pub(super) fn take(&mut self, text: &str, catalogue: &Catalogue) -> bool {
        let Some(said) = said(text) else {
            return false;
        };
        if self.known(said, catalogue).is_none() {
            self.unknown.push(said.into());
        }
        true
    }

    fn known(&mut self, said: &str, catalogue: &Catalogue) -> Option<()> {
        let (word, rest) = said.split_once(' ').unwrap_or((said, ""));
        match word {
            "begun" => self.begun = Some(rest.into()),
            "name" => self.name = Some(rest.into()).filter(|name: &String| !name.is_empty()),
            "tag" => self.tag(rest),
            "cut-off" if rest.is_empty() => self.cut_off = true,
            "here" => self.heard.regions.push(region(rest, catalogue)?),
            "home" => self.heard.home.push(region(rest, catalogue)?),
            _ => return None,
        }
        Some(())
    }

    /// Adds a tag, if it is not there.
    pub fn tag(&mut self, tag: &str) {
        if !self.tags.iter().any(|t| t == tag) {
            self.tags.push(tag.into());
        }
    }

    fn corrected_words(&self, catalogue: &Catalogue) -> Vec<String> {
        match (&self.partly, &self.corrected) {
            (Some((words, plan)), corrected) if plan == corrected => words.clone(),
            (_, Some(plan)) => corrected::written(plan, catalogue),
            (_, None) => Vec::new(),
        }
    }

    /// The bytes of the track. `markers`: the player's.
    pub fn track(&self, markers: &[Marker], beat: Beat, catalogue: &Catalogue) -> Vec<u8> {
        let text = |at, kind, text: String| Text {
            at: match beat {
                Beat::Ours => at,
                Beat::Foreign => Time::ZERO,
            },
            before_event: 0,
            kind,
            offset: 0,
            text,
        };
        let fact = |at, said: String| text(at, TextKind::Text, format!("{OURS}{said}"));
        let start = Time::ZERO;
        let mut texts = vec![text(start, TextKind::TrackName, TRACK.into())];
        texts.extend(self.begun.iter().map(|b| fact(start, format!("begun {b}"))));
        // That a sitting has no name is said: it may have had one while it was played.
        if self.begun.is_some() || self.name.is_some() {
            let name = self.name.as_deref().unwrap_or_default();
            texts.push(fact(start, format!("name {name}")));
        }
        texts.extend(self.tags.iter().map(|t| fact(start, format!("tag {t}"))));
        if self.cut_off {
            texts.push(fact(start, "cut-off".into()));
        }
        texts.extend(self.unknown.iter().map(|said| fact(start, said.clone())));
        texts.extend((self.corrected_words(catalogue).into_iter()).map(|said| fact(start, said)));
        let mut keys = Vec::new();
        let mut later = Vec::new();
        for r in &self.heard.regions {
            if beat == Beat::Ours {
                later.push(text(r.start, TextKind::Marker, marked(r, catalogue)));
                keys.extend(key_signature(r, catalogue));
            }
            later.push(fact(r.start, format!("here {}", written(r, catalogue))));
        }
        for r in &self.heard.home {
            later.push(fact(r.start, format!("home {}", written(r, catalogue))));
        }
        if beat == Beat::Ours {
            let cues = markers.iter();
            later.extend(cues.map(|m| text(m.at, TextKind::Cue, m.name.clone())));
        }
        later.sort_by_key(|text| text.at);
        texts.extend(later);
        track(&texts, &keys)
    }
}

/// What a text says of a sitting, if it does.
pub(super) fn said(text: &str) -> Option<&str> {
    text.strip_prefix(OURS)
}

/// The fact that a growing file has.
pub(super) fn begun(when: &str) -> String {
    format!("{OURS}begun {when}")
}

/// The name, as a growing file gets it.
pub(super) fn named(name: &str) -> String {
    format!("{OURS}name {name}")
}

/// Whether a marker is one of the plan's, by the text after it.
pub(super) fn is_of_the_plan(next: Option<&Text>, at: Time) -> bool {
    next.is_some_and(|t| {
        t.at == at && t.kind == TextKind::Text && t.text.starts_with("peregrinus: sitting here ")
    })
}

/// As a musician reads it: what is open is said.
fn marked(region: &Region, catalogue: &Catalogue) -> String {
    let name = Notation::PLAIN.tonality(region.spelled, catalogue);
    match region.open.claim() {
        Claim::Decided => name,
        Claim::Guess | Claim::Undecided => format!("{name}?"),
    }
}

/// The standard has major and minor only, of up to seven sharps or flats.
fn key_signature(region: &Region, catalogue: &Catalogue) -> Option<KeySignature> {
    let minor = match &*catalogue.mode(region.spelled.tonality.mode).id {
        "ionian" => false,
        "aeolian" | "minor" => true,
        _ => return None,
    };
    // Fifths above C, or above A for minor.
    let sharps = region
        .spelled
        .tonic
        .fifths()
        .saturating_sub(if minor { 3 } else { 0 });
    if !(-7..=7).contains(&sharps) {
        return None;
    }
    (region.open.claim() == Claim::Decided).then_some(KeySignature {
        at: region.start,
        sharps,
        minor,
    })
}

/// `12.000000 40.000000 11.200000 0.9231 D dorian / 6 aeolian`: from, to, since, how probable;
/// and the open degrees with the modes that fit as well.
fn written(r: &Region, catalogue: &Catalogue) -> String {
    format!(
        "{:.6} {:.6} {:.6} {:.4} {}",
        r.start.seconds(),
        r.end.seconds(),
        r.since.seconds(),
        r.probability,
        tonality::written(r.spelled, r.open, catalogue),
    )
}

fn region(text: &str, catalogue: &Catalogue) -> Option<Region> {
    let mut parts = text.splitn(5, ' ');
    let mut number = || seconds(parts.next()?);
    let (start, end, since) = (number()?, number()?, number()?);
    let probability = number()? as f32;
    let (spelled, open) = tonality::read(parts.next()?, catalogue)?;
    Some(Region {
        start: Time::from_seconds(start),
        end: Time::from_seconds(end),
        since: Time::from_seconds(since),
        spelled,
        open,
        probability,
    })
}
