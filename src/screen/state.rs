//! What the screen is doing, and all that the loop carries from picture to picture.
//!
//! A key, the mouse and the settings change it (`respond`), and so does time
//! ([`ScreenState::advance`]). Then a picture is made of it (`frame`) and drawn, which asks
//! nothing of the stage.

use super::doing::{Doing, Ended, Moment, Names, Showing};
use super::draw;
use super::frame::{Frame, Present};
use super::keys::Action;
use super::label::Label;
use super::layout::{LARGEST, Wanted, Way};
use super::look::LookSettings;
use super::options::{LeftInertia, Options, Outcome};
use super::panels::sittings;
use super::past::{self, Still};
use super::surface::{Presence, Surface};
use super::timeline::TimelineView;
use super::view::View;
use super::wording::tempo;
use crate::engine::{self, Reading};
use crate::meter::Click;
use crate::source::Source;
use crate::stage::{Request, Stage};
use crate::theory::{ModeId, PitchClass};
use crate::time::Time;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io;
use std::ops::ControlFlow;
use std::time::{Duration, Instant};

/// Minimum time between two requests for an explanation, as working one out takes some fifty
/// milliseconds; and where the one shown is about another tonality.
const ASK: Duration = Duration::from_millis(1500);
const ASK_ANEW: Duration = Duration::from_millis(300);
const PAUSE: Action = Action::Ask(Request::Pause);
/// How often a sitting that is shown again moves on.
const AGAIN: Duration = Duration::from_millis(50);

/// What the loop carries from picture to picture.
pub(super) struct ScreenState<'a> {
    pub look: LookSettings<'a>,
    /// The actions that the piano's jobs set off.
    pub jobs: &'a [&'static str],
    /// A line for the player until a key is pressed.
    pub said: Option<String>,
    /// Whether the last action asked for an aside to be thrown away: a second time it is.
    pub throws: bool,
    /// A line until the settings change.
    pub refused: Option<String>,
    pub showing: Showing,
    pub view: View,
    /// The sitting of another day that is shown, by its number, and what it is shown in the place
    /// of.
    pub opened: Option<(usize, Box<Before>)>,
    /// The click that was last seen.
    pub click: Option<Click>,
    /// When an explanation was last asked for, and of which reading.
    pub asked: Option<(Instant, Reading)>,
    /// The last picture, so that the same is not shown twice.
    pub shown: Option<Buffer>,
    /// When a picture is due without further news: a label held back, a sitting that is
    /// shown again.
    pub waits: Option<Duration>,
}

/// What was to be seen before a sitting was opened, to go back to it.
pub(super) struct Before {
    way: Way,
    history: TimelineView,
    lanes: TimelineView,
    compared: Option<ModeId>,
    frozen: Option<Box<Still>>,
}

impl<'a> ScreenState<'a> {
    pub fn new(options: &'a Options) -> ScreenState<'a> {
        ScreenState {
            look: LookSettings {
                catalogue: &options.catalogue,
                notation: options.notation,
                palette: options.palette,
                depth: options.depth,
                terminal: options.terminal,
                keys: options.keys.clone(),
            },
            jobs: &options.jobs,
            said: greeting(options),
            throws: false,
            refused: None,
            showing: Showing {
                doing: Doing::Showing(Moment::Present),
                frozen: None,
                names: Names::Shown,
                ended: None,
            },
            view: View {
                wanted: Wanted {
                    way: options.way,
                    panels: options.panels,
                    ..Wanted::default()
                },
                ..View::default()
            },
            opened: None,
            click: None,
            asked: None,
            shown: None,
            waits: None,
        }
    }

    /// Draws the present picture, or the one that is kept, unless it is the one that is
    /// shown.
    pub fn draw(
        &mut self,
        mut present: Present,
        surface: &mut impl Surface,
    ) -> io::Result<ControlFlow<Outcome>> {
        let (width, height) = surface.size()?;
        let area = Rect::new(0, 0, width.min(LARGEST.0), height.min(LARGEST.1));
        if let Doing::Listing { list, .. } = &mut self.showing.doing {
            list.follow(sittings::rows(area).height.into());
        }
        // What the player has just caused comes first; then what comes from outside.
        let own = [&self.said, &self.refused].into_iter().flatten().cloned();
        let lines: Vec<String> = own.chain(present.source.notice.take()).collect();
        present.source.notice = (!lines.is_empty()).then(|| lines.join("  "));
        let frame = Frame::new(present, &self.showing, &self.look, self.view.looks_at());
        let picture = frame.picture();
        self.view.follow(&picture, area);

        let mut buffer = Buffer::empty(area);
        self.view.drawn = draw::draw(&mut buffer, &picture, &self.view, &self.look.look());
        self.waits = self.waits_for(&frame.source);
        if self.shown.as_ref() == Some(&buffer) {
            return Ok(ControlFlow::Continue(()));
        }
        let presence = surface.show(&buffer)?;
        self.shown = Some(buffer);
        Ok(match presence {
            Presence::There => ControlFlow::Continue(()),
            Presence::Lost => ControlFlow::Break(Outcome::Lost),
        })
    }

    /// Takes in that it is `now`, and what the stage has played until then, which is what
    /// there is to draw.
    pub fn advance<'s>(&mut self, now: Instant, stage: &'s mut dyn Stage) -> Present<'s> {
        let (reading, source, played) = (stage.reading(), stage.source(), stage.now());
        self.follow_opened(&source);
        self.follow_click(&source);
        if let Doing::Listing { list, .. } = &mut self.showing.doing {
            list.fill(stage.listing(), self.look.notation, self.look.catalogue);
        }
        if self.view.wanted.evidence {
            self.ask(&reading, now, stage);
        }
        self.hear_home(&reading, stage);
        let ended = source.transport.is_some_and(|t| t.ended);
        let showing = &mut self.showing;
        let before = showing.ended.unwrap_or(Ended::at(now));
        showing.ended = ended.then(|| before.advanced(now));
        let end = showing.frozen.as_ref().map_or(played, |still| still.now);
        let moment = match showing.doing.moment() {
            Moment::Present => Some(Moment::Present),
            Moment::Again(again) => again.advanced(now, end).map(Moment::Again),
            // The past may have been replaced meanwhile.
            Moment::Chord(start) => {
                let history = match &showing.frozen {
                    Some(still) => &still.history,
                    None => stage.past().0,
                };
                let span = past::chord_at(history, start);
                span.filter(|s| s.start == start)
                    .map(|_| Moment::Chord(start))
            }
        };
        if moment != Some(showing.doing.moment()) {
            showing.doing.show(moment.unwrap_or(Moment::Present));
        }
        let explanation = stage.explanation();
        let (history, markers) = stage.past();
        Present {
            reading,
            explanation,
            source,
            now: played,
            history,
            markers,
        }
    }

    /// A sitting of another day has come on the stage, to be looked back on; or it has gone, and
    /// all is as it was before.
    fn follow_opened(&mut self, source: &Source) {
        let number = source.opened.as_ref().map(|opened| opened.number);
        if number == self.opened.as_ref().map(|(number, _)| *number) {
            return;
        }
        let (view, showing) = (&mut self.view, &mut self.showing);
        let now = Before {
            way: std::mem::replace(&mut view.wanted.way, Way::LookingBack),
            history: std::mem::take(&mut view.history),
            lanes: std::mem::replace(&mut view.lanes, TimelineView::all()),
            compared: view.compared.take(),
            frozen: showing.frozen.take(),
        };
        // One that was opened over another leads back to what was there before both.
        let before = self
            .opened
            .take()
            .map_or(Box::new(now), |(_, before)| before);
        match number {
            Some(number) => self.opened = Some((number, before)),
            None => {
                view.wanted.way = before.way;
                (view.history, view.lanes) = (before.history, before.lanes);
                view.compared = before.compared;
                showing.frozen = before.frozen;
            }
        }
        showing.doing = Doing::Showing(Moment::Present);
        showing.ended = None;
        view.label = Label::default();
        self.asked = None;
        self.said = self
            .opened
            .as_ref()
            .and(self.look.keys.first(PAUSE))
            .map(|key| {
                let key = key.shown(self.look.glyphs());
                format!("{key} plays it from its beginning.")
            });
    }

    /// What a tap, or what was typed, has made of the click is said.
    fn follow_click(&mut self, source: &Source) {
        let click = source.click.map(|(click, _)| click);
        let said = |click: Option<Click>| click.map(tempo);
        if said(click) != said(self.click) {
            self.said = Some(said(click).unwrap_or("There are no bars any longer.".into()));
        }
        self.click = click;
    }

    /// When the next picture is due without news. A file's time runs at its own pace.
    fn waits_for(&self, source: &Source) -> Option<Duration> {
        if let Moment::Again(_) = self.showing.doing.moment() {
            return Some(AGAIN);
        }
        let speed = source.transport.map_or(1.0, |t| f64::from(t.speed));
        let speed = if speed >= 0.1 { speed } else { 1.0 };
        let waits = self.view.label.waits?;
        Some(Duration::from_secs_f64(waits.seconds() / speed))
    }

    /// The player says what home is, by a key of the piano struck after the question.
    fn hear_home(&mut self, reading: &Reading, stage: &mut dyn Stage) {
        let Doing::AwaitingHome { stroke } = self.showing.doing else {
            return;
        };
        let struck = reading.struck.iter().next();
        if let Some(key) = struck.filter(|_| (reading.struck, reading.struck_at) != stroke) {
            self.showing.doing = Doing::Showing(Moment::Present);
            stage.act(home_is(Some(key)));
        }
    }

    /// Asks for an explanation, unless nothing has happened since the last one: time alone
    /// changes nothing, and in silence nothing is heard.
    fn ask(&mut self, reading: &Reading, now: Instant, stage: &mut dyn Stage) {
        let asked = Reading {
            at: Time::ZERO,
            ..*reading
        };
        let tonality = |r: &Reading| r.here.map(|h| h.spelled.tonality);
        let new = self.asked.is_none_or(|(at, before)| {
            let moved = tonality(&before) != tonality(&asked);
            let silent = asked.silent_since.is_some() && asked.silent_since == before.silent_since;
            let happened = moved || !silent && before != asked;
            happened && now.saturating_duration_since(at) >= if moved { ASK_ANEW } else { ASK }
        });
        if new && reading.begun {
            stage.act(Request::Explain);
            self.asked = Some((now, asked));
        }
    }
}

/// What the player says home is: the note of this key, or nothing any longer.
pub(super) fn home_is(key: Option<u8>) -> Request {
    Request::Set(engine::Event::HomeIs(key.map(PitchClass::of_key)))
}

/// What the player should know at the start: which key shows the keys, and an inertia that
/// they may have forgotten.
fn greeting(options: &Options) -> Option<String> {
    let glyphs = options.notation.glyphs;
    let key = |action| options.keys.first(action).map(|key| key.shown(glyphs));
    let help = options.hint.then(|| key(Action::Help)).flatten();
    let help = help.map(|key| format!("{key} shows the keys."));
    let left = options.left.map(|LeftInertia { left, usual }| {
        let back = key(Action::UsualInertia);
        let back = back.map(|key| format!("; {key} brings back {}", usual.name()));
        let (left, back) = (left.name(), back.unwrap_or_default());
        format!("inertia: {left}, as you left it last time{back}.")
    });
    let lines: Vec<String> = left.into_iter().chain(help).collect();
    (!lines.is_empty()).then(|| lines.join("  "))
}
