//! The picture of one moment: gathered from the stage and from what the screen is doing.

use super::doing::{Doing, Moment, Names, Showing};
use super::keys::Action;
use super::look::LookSettings;
use super::past;
use super::picture::Picture;
use super::sittings::SittingList;
use super::wording::{clock, length};
use crate::engine::{Explanation, History, Reading};
use crate::plan::{ChordSpan, Marker};
use crate::source::Source;
use crate::time::Time;

/// What the stage says at this moment.
pub(super) struct Present<'a> {
    pub reading: Reading,
    pub explanation: Option<Explanation>,
    pub source: Source,
    pub now: Time,
    pub history: &'a History,
    pub markers: &'a [Marker],
}

/// What a picture is made of.
pub(super) struct Frame<'a> {
    reading: Reading,
    explanation: Option<Explanation>,
    pub source: Source,
    now: Time,
    history: &'a History,
    markers: &'a [Marker],
    ended: Option<Time>,
    names: Names,
    past: Option<&'a ChordSpan>,
    frozen: Option<Time>,
    still: bool,
    list: Option<&'a SittingList>,
    banners: Vec<String>,
}

impl<'a> Frame<'a> {
    /// The present, or what is shown in its place. `looks_at` is the moment of the past
    /// that the history or the lanes are scrolled to.
    pub fn new(
        present: Present<'a>,
        showing: &'a Showing,
        look: &LookSettings,
        looks_at: Option<Time>,
    ) -> Frame<'a> {
        let banners = banners(&present, showing, look, looks_at);
        let frozen = showing.frozen.as_deref();
        let since = frozen.map(|still| present.now.since(still.now));
        let (mut reading, explanation, mut now, history, markers) = match frozen {
            Some(still) => (
                still.seen(present.reading),
                still.explanation,
                still.now,
                &still.history,
                still.markers.as_slice(),
            ),
            None => (
                present.reading,
                present.explanation,
                present.now,
                present.history,
                present.markers,
            ),
        };
        let moment = showing.doing.moment();
        let past = match moment {
            Moment::Present => None,
            Moment::Again(again) => {
                now = again.at;
                reading = past::reading(history, reading, now);
                past::chord_at(history, now)
            }
            Moment::Chord(start) => {
                let span = past::chord_at(history, start);
                if let Some(span) = span {
                    reading = past::with_chord(reading, span);
                }
                span
            }
        };
        let hidden = showing.names == Names::Hidden;
        if hidden {
            reading = past::without_names(reading);
        }
        let again = matches!(moment, Moment::Again(_));
        let ended = showing.ended.filter(|_| frozen.is_none() && !again);
        Frame {
            reading,
            explanation,
            source: present.source,
            now,
            history,
            // A marker may bear the name that is to be found.
            markers: if hidden { &[] } else { markers },
            ended: ended.map(|ended| ended.ago),
            names: showing.names,
            past,
            frozen: since,
            still: frozen.is_some() || matches!(moment, Moment::Chord(_)),
            list: match &showing.doing {
                Doing::Listing { list, .. } => Some(list),
                _ => None,
            },
            banners,
        }
    }

    pub fn picture(&self) -> Picture<'_> {
        Picture {
            reading: &self.reading,
            history: self.history,
            markers: self.markers,
            source: &self.source,
            explanation: self.explanation.as_ref(),
            now: self.now,
            ended: self.ended,
            hidden: self.names == Names::Hidden,
            past: self.past,
            frozen: self.frozen,
            still: self.still,
            list: self.list,
            banners: &self.banners,
        }
    }
}

/// What must be known of a picture that is not simply the present.
fn banners(
    present: &Present,
    showing: &Showing,
    look: &LookSettings,
    looks_at: Option<Time>,
) -> Vec<String> {
    let glyphs = look.glyphs();
    let mut all = Vec::new();
    match &showing.doing {
        Doing::Typing { entry, .. } => all.push(entry.line(glyphs)),
        Doing::AwaitingHome { .. } => all.push("play the key that is home".to_owned()),
        Doing::Showing(_) | Doing::Listing { .. } => {}
    }
    let back = |action: Action| {
        let key = look.keys.first(action);
        key.map_or(String::new(), |key| format!(", {}: now", key.shown(glyphs)))
    };
    if let Some(opened) = &present.source.opened {
        let key = look.keys.first(Action::Close);
        let key = key.map_or(String::new(), |key| {
            format!(", {}: back", key.shown(glyphs))
        });
        let corrected = match opened.corrected {
            Some(_) => ", corrected",
            None => "",
        };
        all.push(format!("sitting of {}{corrected}{key}", opened.date));
    }
    match (showing.doing.moment(), looks_at) {
        (Moment::Again(again), _) => all.push(format!("replay {}", clock(again.at))),
        (Moment::Chord(start), _) => {
            all.push(format!("chord at {}{}", clock(start), back(Action::Close)));
        }
        (Moment::Present, Some(at)) => {
            all.push(format!("looking at {}{}", clock(at), back(Action::Follow)));
        }
        (Moment::Present, None) => {}
    }
    let reading = &present.reading;
    if let Some(since) = reading.aside {
        all.push(format!("aside {}", length(present.now.since(since))));
    }
    if showing.names == Names::Hidden {
        all.push("names hidden".to_owned());
        return all;
    }
    if let Some(t) = reading.pinned {
        let name = look.notation.tonality(t, look.catalogue);
        all.push(format!("pinned {name}"));
    }
    if let Some((note, _)) = reading.stated {
        let note = look.notation.note_name(note, None, look.catalogue);
        all.push(format!("you say: home is {note}"));
    }
    all
}
