//! The engine's end of the sittings: where one begins and ends.

use super::record::Recorder;
use super::status::{StatusBoard, WRITTEN_AGAIN};
use crate::engine::{Change, Event, Monitor};
use crate::midi;
use crate::plain;
use crate::sittings::{self, Calendar, Cleared, Folder, Keeper, News, Recovered, ToDisk, recover};
use crate::source::Keeping;
use crate::time::Time;
use jiff::{Timestamp, ToSpan};
use std::sync::Arc;

/// Where sittings are kept, and how they end.
pub struct Sittings {
    pub folder: Folder,
    pub calendar: Calendar,
    /// Makes what was written reach the disk: [`File::sync_data`](std::fs::File).
    pub to_disk: ToDisk,
    /// A sitting ends after this much silence.
    pub rest: Time,
    /// Days after which a sitting goes to the trash if it has no name, tag, marker or
    /// correction; none: it never does.
    pub days: Option<u32>,
}

/// Whether an event begins a sitting, and not the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Begins {
    Nothing,
    Another,
}

pub(super) struct SittingTap {
    pub recorder: Recorder,
    rest: Time,
    /// The latest note or pedal of the sitting that is going on.
    last: Option<Time>,
    /// Whether there was one before.
    before: bool,
}

impl SittingTap {
    /// Sittings that were cut off are looked after on a thread of their own. None if there can
    /// be no threads, which the status says.
    pub fn start(sittings: Sittings, fresh: &Monitor, board: &StatusBoard) -> Option<SittingTap> {
        let Sittings {
            folder,
            calendar,
            to_disk,
            rest,
            days,
        } = sittings;
        let catalogue = Arc::clone(fresh.catalogue());
        let until = days.and_then(|days| {
            let begun = calendar().checked_sub(i64::from(days).days());
            Some(begun.ok()?.timestamp())
        });
        look_after(folder.clone(), fresh.clone(), until, board.clone());
        let told = board.clone();
        let say = move |news| tell(&told, news);
        let keeper = Keeper::new(folder, catalogue, calendar, to_disk, say);
        match Recorder::keep(keeper, board.clone()) {
            Ok(recorder) => {
                board.update(|s| s.keeping = Keeping::Ready);
                Some(SittingTap {
                    recorder,
                    rest,
                    last: None,
                    before: false,
                })
            }
            Err(e) => {
                let why = plain::reason(&e);
                board.update(|s| s.about_sittings = Some(format!("no sitting is kept: {why}")));
                None
            }
        }
    }

    /// An event, before the engine takes it in.
    pub fn event(&mut self, at: Time, event: Event) -> Begins {
        self.advance_to(at);
        let mut begins = Begins::Nothing;
        if let Event::Midi(midi) = event {
            let strikes = matches!(midi, midi::Event::NoteOn { .. });
            if strikes && self.last.is_none() {
                if self.before {
                    begins = Begins::Another;
                }
                self.before = true;
            }
            if strikes || self.last.is_some() {
                self.last = Some(at);
            }
        }
        self.recorder.note(at, event);
        begins
    }

    /// Whether a note would begin a sitting.
    pub fn rests(&self) -> bool {
        self.last.is_none()
    }

    pub fn change(&mut self, at: Time, change: Change) {
        if self.last.is_some() {
            self.recorder.change(at, change);
        }
    }

    /// When the sitting ends if nothing more is played.
    pub fn over(&self) -> Option<Time> {
        self.last.map(|last| last + self.rest)
    }

    /// Ends the sitting once its rest has been long enough.
    pub fn advance_to(&mut self, now: Time) {
        if let Some(last) = self.last
            && now.since(last) >= self.rest
        {
            self.end(last);
        }
    }

    /// The sitting ends; the next note begins another.
    pub fn end(&mut self, at: Time) {
        if self.last.take().is_some() {
            self.recorder.end(at);
        }
    }
}

fn tell(board: &StatusBoard, news: News) {
    board.update(|s| match news {
        News::Begun { number } => {
            s.keeping = Keeping::Growing;
            s.sitting = number;
            s.about_sittings = None;
        }
        News::Waiting { why } => {
            s.keeping = Keeping::Stuck;
            s.about_sittings = Some(format!(
                "this sitting is in memory alone, and tried again: {why}"
            ));
        }
        News::Again => {
            s.keeping = Keeping::Growing;
            s.about_sittings = Some(WRITTEN_AGAIN.into());
        }
        News::Missed(events) => {
            s.about_sittings = Some(format!(
                "{events} events of this sitting found no room in memory: make room on its disk"
            ));
        }
        // That nothing can be written says more.
        News::Narrow { .. } if s.keeping == Keeping::Stuck => {}
        News::Narrow { free } => {
            s.about_sittings = Some(format!(
                "{} MB are left on the disk of the sittings: make room",
                free / 1_000_000
            ));
        }
        News::Named { id, name, failed } => {
            s.about_sittings = Some(match (failed, &*name) {
                (Some(why), _) => format!("{id} was not named: {why}"),
                (None, "") => format!("{id} has no name"),
                (None, name) => format!("{id} is called {name}"),
            });
        }
        News::Thrown { length } => {
            s.about_sittings = Some(format!(
                "the notes of the last aside, {:.1} s long, are gone from this sitting for good",
                length.seconds()
            ));
        }
        News::NotThrown { why: Some(why) } => {
            s.about_sittings = Some(format!("the aside could not be thrown away: {why}"));
        }
        News::NotThrown { why: None } => {
            s.about_sittings = Some("no aside of this sitting has notes to throw away".into());
        }
        News::Kept { sitting, another } => {
            if !another {
                s.keeping = Keeping::Ready;
            }
            s.about_sittings = Some(format!("kept as {}", sitting.id));
            s.kept = Some(sitting.id);
        }
    });
}

/// Completes the sittings that were cut off, and says which; takes away those from before
/// `until` without a name, a tag, a marker or a correction.
fn look_after(folder: Folder, fresh: Monitor, until: Option<Timestamp>, board: StatusBoard) {
    let say = board.clone();
    let work = move || {
        let catalogue = Arc::clone(fresh.catalogue());
        let mut lines: Vec<String> = match recover(&folder, &catalogue, &fresh) {
            Ok(all) => all.into_iter().map(said).collect(),
            Err(e) => vec![format!("sittings: {}", plain::reason(&e))],
        };
        if let Some(until) = until {
            let take = |id: &str| sittings::to_trash(&folder, id);
            match sittings::clear(&folder, &catalogue, until, take) {
                Ok(cleared) => lines.extend(cleared_away(&cleared)),
                Err(e) => lines.push(format!("sittings: {e}")),
            }
        }
        if !lines.is_empty() {
            say.update(|s| s.about_sittings = Some(lines.join("; ")));
        }
    };
    // Without a thread they are looked after the next time.
    let _ = std::thread::Builder::new()
        .name("cut off".into())
        .spawn(move || board.guard("looking after sittings", work));
}

fn cleared_away(cleared: &Cleared) -> Vec<String> {
    let mut lines = Vec::new();
    match cleared.gone {
        0 => {}
        1 => lines.push("one old sitting without a name went to the trash".into()),
        n => lines.push(format!("{n} old sittings without a name went to the trash")),
    }
    if let Some((count, why)) = &cleared.left {
        let what = match count {
            1 => "one old sitting is".to_owned(),
            n => format!("each of {n} old sittings is"),
        };
        lines.push(format!(
            "{what}, as there is no trash for it: {}",
            plain::name(&why.to_string())
        ));
    }
    lines
}

fn said(recovered: Recovered) -> String {
    match recovered {
        Recovered::Kept(sitting) => {
            format!("{} was cut off and has been kept whole", sitting.id)
        }
        Recovered::Left { path, why } => {
            format!("{} was cut off and stays there: {why}", plain::path(&path))
        }
    }
}
