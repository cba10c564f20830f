//! What a key, the mouse, a job from the piano and the settings do to what is on the
//! screen, and which of it goes on to the stage as commands.

use super::doing::{Again, Doing, Moment, Names};
use super::entry::{self, Entry, Purpose};
use super::keys::{self, Action, Direction, InertiaStep, Key, Toward};
use super::layout::Way;
use super::mouse;
use super::options::{Outcome, Update};
use super::panels::brightness;
use super::past::Still;
use super::sittings::{ListState, SittingList};
use super::state::{ScreenState, home_is};
use super::surface::{MouseReports, Surface};
use super::view::BarOrder;
use super::wording::{keyboard_name, length, tempo};
use crate::correction::{Center, CorrectedPlan};
use crate::engine::{self, Inertia, Reading};
use crate::meter::TypedClick;
use crate::source::{Keeping, Link, Source};
use crate::stage::{Request, Stage};
use crate::time::Time;
use ratatui::crossterm::event::Event;
use std::io;
use std::ops::ControlFlow;

/// Whether the loop goes on, or how it ends.
pub(super) type Next = ControlFlow<Outcome>;

const GO_ON: Next = ControlFlow::Continue(());
const QUIT: Next = ControlFlow::Break(Outcome::Quit);

impl ScreenState<'_> {
    /// Has everything drawn anew.
    pub fn forget(&mut self, surface: &mut impl Surface) {
        self.shown = None;
        surface.forget();
    }

    /// Takes what is new in the settings.
    pub fn update(
        &mut self,
        update: Update,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<()> {
        let look = &mut self.look;
        look.notation = update.notation.unwrap_or(look.notation);
        look.palette = update.palette.unwrap_or(look.palette);
        look.depth = update.depth.unwrap_or(look.depth);
        let panels = &mut self.view.wanted.panels;
        *panels = update.panels.unwrap_or(*panels);
        if let Some(keys) = update.keys {
            look.keys = keys;
        }
        for event in update.events {
            stage.act(Request::Set(event));
        }
        (self.said, self.refused) = (update.said, update.refused);
        match update.mouse {
            Some(mouse) => surface.report_mouse(MouseReports::wanted(mouse)),
            None => Ok(()),
        }
    }

    /// The action of the next job set off from the piano. Jobs without a known action are
    /// skipped.
    pub fn job(&self, stage: &mut dyn Stage) -> Option<Action> {
        std::iter::from_fn(|| stage.job()).find_map(|job| {
            let action = Action::named(self.jobs.get(job.number)?)?;
            Some(action.at(job.at))
        })
    }

    /// Does what a key or the mouse asks for.
    pub fn on_event(
        &mut self,
        event: &Event,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<Next> {
        if let Event::Resize(..) = event {
            self.forget(surface);
        }
        if let Event::Mouse(event) = event {
            if let Doing::Listing { list, .. } = &mut self.showing.doing {
                let state = list.point(event, self.view.drawn.list);
                self.listed(state, stage);
                return Ok(GO_ON);
            }
            return match mouse::action(event, &self.view) {
                Some(action) => self.perform(action, stage, surface),
                None => Ok(GO_ON),
            };
        }
        let Some(key) = keys::pressed(event) else {
            return Ok(GO_ON);
        };
        self.said = None;
        let action = self.look.keys.action(key);
        if let Doing::Typing { entry, moment } = &mut self.showing.doing {
            let taken = entry.take(event, self.look.catalogue, self.look.notation.letters);
            match taken {
                entry::EntryState::Open => {}
                entry::EntryState::Left => self.showing.doing = Doing::Showing(*moment),
                entry::EntryState::Pinned(tonality) => {
                    self.showing.doing = Doing::Showing(*moment);
                    stage.act(Request::Set(engine::Event::Pin(Some(tonality))));
                }
                entry::EntryState::Clicked(typed) => {
                    self.showing.doing = Doing::Showing(*moment);
                    self.said = match (typed, stage.source().click) {
                        (
                            TypedClick::Set {
                                tempo: None,
                                meter: Some(meter),
                            },
                            None,
                        ) => Some(format!("{meter}: tap the tempo now, or type it.")),
                        _ => None,
                    };
                    stage.act(Request::Click(typed));
                }
                entry::EntryState::Named(number, name) => {
                    self.showing.doing = Doing::Showing(*moment);
                    self.said = Some(match name.is_empty() {
                        true => "This sitting has no name.".into(),
                        false => format!("This sitting is called {name}."),
                    });
                    stage.name_sitting(number, name);
                }
                entry::EntryState::Revised(revision) => {
                    self.showing.doing = Doing::Showing(*moment);
                    stage.revise(revision);
                }
            }
            return self.beside_letters(key, action, surface);
        }
        if let Doing::Listing { list, .. } = &mut self.showing.doing {
            let page = self.view.drawn.list.height.into();
            let state = list.take(event, page, self.look.notation, self.look.catalogue);
            self.listed(state, stage);
            return self.beside_letters(key, action, surface);
        }
        if key == keys::QUITS {
            return Ok(QUIT);
        }
        let view = &mut self.view;
        let pages = view.drawn.help_pages;
        if view.help.is_open() && pages > 1 && key == keys::TURNS {
            view.help.turn(pages);
            return Ok(GO_ON);
        }
        match action {
            Some(action) => self.perform(action, stage, surface),
            None => Ok(GO_ON),
        }
    }

    /// What keys do while letters are taken as such.
    fn beside_letters(
        &mut self,
        key: Key,
        action: Option<Action>,
        surface: &mut impl Surface,
    ) -> io::Result<Next> {
        match action {
            Some(Action::Quit) if key == keys::QUITS => return Ok(QUIT),
            Some(Action::Suspend) if !key.writes() => surface.suspend()?,
            Some(Action::Redraw) if !key.writes() => self.forget(surface),
            _ => {}
        }
        Ok(GO_ON)
    }

    /// Follows what a key or the mouse did to the list of sittings.
    fn listed(&mut self, state: ListState, stage: &mut dyn Stage) {
        match state {
            ListState::Open => {}
            ListState::Left => {
                let moment = self.showing.doing.moment();
                self.showing.doing = Doing::Showing(moment);
                stage.act(Request::CloseList);
            }
            // The list stays until the sitting is there.
            ListState::Chosen(id) => stage.open_sitting(&id),
        }
    }

    /// Does what an action asks for, wherever it comes from.
    pub fn perform(
        &mut self,
        action: Action,
        stage: &mut dyn Stage,
        surface: &mut impl Surface,
    ) -> io::Result<Next> {
        self.said = None;
        let throws = std::mem::take(&mut self.throws);
        let view = &mut self.view;
        match action {
            // One step at a time: what is played now is behind a sitting of another day.
            Action::Quit if self.opened.is_some() => stage.act(Request::CloseSitting),
            Action::Quit => return Ok(QUIT),
            Action::Suspend => surface.suspend()?,
            Action::Redraw => self.forget(surface),
            Action::Help => view.help.press(view.drawn.help_pages),
            Action::Close => self.close(stage),
            Action::Ask(Request::Tap(_)) if !is_played(&stage.source()) => {
                self.said = Some(NO_CLICK.into());
            }
            Action::Inertia(_)
            | Action::UsualInertia
            | Action::Pin
            | Action::Aside
            | Action::Ask(_) => self.request(action, stage),
            Action::Scroll(direction) => view.past().scroll(direction, stage.now()),
            Action::Zoom(zoom) => {
                let whole = view.drawn.past.map(|p| p.whole).unwrap_or_default();
                view.past().zoom(zoom, whole);
            }
            Action::Follow => view.past().follow(),
            Action::Moment(moment) => view.past().choose(moment, stage.now()),
            Action::Evidence => {
                view.wanted.evidence = !view.wanted.evidence;
                self.asked = None;
                if view.wanted.evidence && self.showing.names == Names::Hidden {
                    self.said = Some(format!(
                        "The evidence would name what the class is to find: it waits until the \
                         names are back{}.",
                        self.by(Action::Hide)
                    ));
                }
            }
            Action::Scale => {
                view.wanted.scale = !view.wanted.scale;
                self.said = self.why_no_scale(stage);
            }
            Action::Compare(toward) => self.compare(toward, stage),
            Action::Jump(direction) => {
                let now = stage.now();
                view.past().jump(direction, stage.past().1, now);
            }
            Action::Again => self.show_again(stage),
            Action::Way(way) => {
                view.wanted.way = way;
                if let Moment::Chord(_) = self.showing.doing.moment() {
                    self.showing.doing.show(Moment::Present);
                }
            }
            Action::Freeze => self.freeze(stage),
            Action::Hide => {
                let names = &mut self.showing.names;
                *names = match names {
                    Names::Shown => Names::Hidden,
                    Names::Hidden => Names::Shown,
                };
            }
            Action::Step(direction) => self.step(direction, stage),
            Action::PinOther => self.type_in(Purpose::Pin),
            Action::HarmonyFrom => self.choose_keyboard(stage),
            Action::ThrowAside if throws => stage.act(Request::ThrowAside),
            Action::ThrowAside => self.ask_to_throw(stage),
            Action::NameSitting => {
                let source = stage.source();
                match source.keeping {
                    Keeping::Growing | Keeping::Stuck => {
                        self.type_in(Purpose::NameSitting(source.sitting));
                    }
                    Keeping::Ready => {
                        let none = "No sitting is going on: the next note begins one.";
                        self.said = Some(none.into());
                    }
                    Keeping::Off => self.said = Some("No sittings are kept here.".into()),
                }
            }
            Action::Tempo => match is_played(&stage.source()) {
                true => self.type_in(Purpose::Tempo),
                false => self.said = Some(NO_CLICK.into()),
            },
            Action::OpenSittings => {
                self.view.help.close();
                self.showing.doing = Doing::Listing {
                    list: Box::new(SittingList::default()),
                    moment: self.showing.doing.moment(),
                };
                stage.act(Request::ListSittings);
            }
            Action::Correct => self.correct(stage),
            Action::HomeIs => self.ask_for_home(stage),
            Action::Order => {
                view.bars = match view.bars {
                    BarOrder::Fifths => BarOrder::Chromatic,
                    BarOrder::Chromatic => BarOrder::Fifths,
                }
            }
            Action::Colours => self.look.palette = self.look.palette.next(),
        }
        Ok(GO_ON)
    }

    /// Keys are letters from here on.
    fn type_in(&mut self, purpose: Purpose) {
        self.type_into(Entry::new(purpose));
    }

    fn type_into(&mut self, entry: Entry) {
        self.view.help.close();
        let moment = self.showing.doing.moment();
        self.showing.doing = Doing::Typing { entry, moment };
    }

    /// Lets the player type what is right at this moment, or says why that is not possible.
    fn correct(&mut self, stage: &mut dyn Stage) {
        if self.showing.names == Names::Hidden {
            self.said = Some(format!(
                "What would be corrected is hidden{}.",
                self.by(Action::Hide)
            ));
            return;
        }
        let source = stage.source();
        let Some(opened) = source.opened else {
            self.said = Some(match source.transport {
                Some(_) => "Only a sitting can be corrected: peregrinus sittings import makes one \
                            of a file."
                    .into(),
                None => format!(
                    "Only a sitting of another day can be corrected: open it{}.",
                    self.by(Action::OpenSittings)
                ),
            });
            return;
        };
        let shown = match self.showing.doing.moment() {
            Moment::Chord(start) => Some(start),
            Moment::Again(again) => Some(again.at),
            Moment::Present => self.view.past().chosen(),
        };
        // At its very end there is nothing to correct.
        let end = source.transport.map_or(Time::ZERO, |t| t.duration);
        let Some(at) = Some(shown.unwrap_or(stage.now())).filter(|at| *at < end) else {
            self.said = Some(
                "Choose a moment first: a chord, a marker, by the mouse, or by scrolling back."
                    .into(),
            );
            return;
        };
        let there = self.there(opened.corrected.as_deref(), at, stage);
        self.type_into(Entry::correcting(at, there));
    }

    /// What the corrected plan has at a moment, or where there is none what was heard.
    fn there(&self, corrected: Option<&CorrectedPlan>, at: Time, stage: &mut dyn Stage) -> String {
        let mut heard = || {
            let regions = &stage.past().0.plan().regions;
            let before = regions.partition_point(|r| r.start <= at).checked_sub(1)?;
            let region = regions.get(before).filter(|r| at < r.end)?;
            Some(region.spelled)
        };
        let spelled = match corrected.map(|plan| (plan, plan.place(at))) {
            Some((plan, Ok(place))) => match plan.regions()[place].center {
                Center::In(spelled) => Some(spelled),
                Center::None => None,
            },
            _ => heard(),
        };
        let name = |t| self.look.notation.tonality(t, self.look.catalogue);
        spelled.map_or("no center".into(), name)
    }

    /// What is thrown away does not come back: the player says it twice.
    fn ask_to_throw(&mut self, stage: &mut dyn Stage) {
        let source = stage.source();
        let kept = source.keeping != Keeping::Off || source.recording.is_some();
        self.throws = kept && is_played(&source);
        self.said = Some(match self.throws {
            true => format!(
                "Once more{} throws the notes of the last aside away for good.",
                self.by(Action::ThrowAside)
            ),
            false => "Nothing is being kept that an aside could be thrown out of.".into(),
        });
    }

    /// The next of the keyboards that play together is heard alone, or all are again.
    fn choose_keyboard(&mut self, stage: &mut dyn Stage) {
        let keyboards = stage.source().keyboards;
        if keyboards.len() < 2 {
            self.said = Some("One keyboard plays: there is none to choose.".into());
            return;
        }
        let next = stage.reading().harmony_from.next(keyboards.len());
        stage.act(Request::Set(engine::Event::HarmonyFrom(next)));
        self.said = Some(match next.one() {
            None => "Harmony from all keyboards.".into(),
            Some(one) => format!("Harmony from {} alone.", keyboard_name(&keyboards, one)),
        });
    }

    /// Passes an action's request on to the stage. What is pinned is what is seen, which may
    /// be frozen.
    fn request(&mut self, action: Action, stage: &mut dyn Stage) {
        match action.request(&self.seen(stage)) {
            Some(request) => {
                stage.act(request);
                self.said = match request {
                    Request::Inertia(inertia) if inertia == stage.usual_inertia() => {
                        Some(format!("{} This is the usual stop.", told(inertia)))
                    }
                    Request::Inertia(inertia) => {
                        let back = self.look.keys.first(Action::UsualInertia).map(|key| {
                            let key = key.shown(self.look.glyphs());
                            format!(" {key} goes back to the usual stop.")
                        });
                        Some(told(inertia) + &back.unwrap_or_default())
                    }
                    Request::Tap(_) => Some(match stage.source().click {
                        None => "Tap on: with the second tap there is a tempo.".into(),
                        Some((click, _)) => tempo(click),
                    }),
                    Request::UsualInertia => Some(told(stage.reading().inertia)),
                    Request::EndSitting => Some(match stage.source().keeping {
                        Keeping::Growing | Keeping::Stuck => {
                            "The sitting ends here; the next note begins another.".into()
                        }
                        Keeping::Ready => {
                            "No sitting is going on: the next note begins one.".into()
                        }
                        Keeping::Off => "No sittings are kept here.".into(),
                    }),
                    _ => None,
                };
            }
            None => {
                self.said = match action {
                    Action::Pin => Some("Nothing is established yet that could be pinned.".into()),
                    Action::Inertia(step) => Some(last_stop(step).into()),
                    _ => None,
                }
            }
        }
    }

    /// The key of an action, to follow what is said: ` (x)`; nothing where it has none.
    fn by(&self, action: Action) -> String {
        let key = self.look.keys.first(action);
        let key = key.map(|key| format!(" ({})", key.shown(self.look.glyphs())));
        key.unwrap_or_default()
    }

    /// Why the key for the harmonized scale, or for home beside here, seems to do nothing.
    fn why_no_scale(&self, stage: &mut dyn Stage) -> Option<String> {
        let wanted = self.view.wanted;
        if wanted.scale && self.showing.names == Names::Hidden {
            return Some(format!(
                "The chords would name what the class is to find: they wait until the names are \
                 back{}.",
                self.by(Action::Hide)
            ));
        }
        match wanted.way {
            Way::Playing => None,
            Way::LookingBack => Some("Looking back there is no scale.".into()),
            Way::Teaching if self.view.compared.is_some() => Some(format!(
                "The mode that you chose stands beside here, so home does not: put it away \
                 first{}.",
                self.by(Action::Close)
            )),
            Way::Teaching if wanted.scale => {
                let reading = self.seen(stage);
                let within = reading.within()?;
                match reading.home.map(|h| h.spelled.tonality) {
                    None => Some("There is no home yet to set beside here.".into()),
                    Some(home) if home == within.tonality && reading.pinned.is_some() => {
                        Some("What is pinned is home: there is nothing to set beside it.".into())
                    }
                    Some(home) if home == within.tonality => {
                        Some("Home is here: there is nothing to set beside it.".into())
                    }
                    Some(_) => None,
                }
            }
            Way::Teaching => None,
        }
    }

    /// Closes what lies on top, one thing at a time.
    fn close(&mut self, stage: &mut dyn Stage) {
        let (view, showing) = (&mut self.view, &mut self.showing);
        if view.help.is_open() {
            return view.help.close();
        }
        match showing.doing {
            Doing::Typing { moment, .. } => showing.doing = Doing::Showing(moment),
            Doing::Listing { .. } => self.listed(ListState::Left, stage),
            Doing::AwaitingHome { .. } | Doing::Showing(Moment::Chord(_) | Moment::Again(_)) => {
                showing.doing = Doing::Showing(Moment::Present);
            }
            Doing::Showing(Moment::Present) if showing.frozen.take().is_some() => {}
            Doing::Showing(Moment::Present) => match view.looks_at() {
                Some(_) => view.past().follow(),
                None if view.compared.take().is_some() => {}
                None if self.opened.is_some() => stage.act(Request::CloseSitting),
                None => {}
            },
        }
    }

    fn freeze(&mut self, stage: &mut dyn Stage) {
        if self.showing.frozen.take().is_some() {
            return;
        }
        self.showing.frozen = Some(Box::new(Still {
            reading: stage.reading(),
            explanation: stage.explanation(),
            now: stage.now(),
            history: stage.past().0.clone(),
            markers: stage.past().1.to_vec(),
        }));
    }

    /// To the chord before or after the one that is shown; after the last but one there is
    /// the present.
    fn step(&mut self, direction: Direction, stage: &mut dyn Stage) {
        let chords = match &self.showing.frozen {
            Some(still) => still.history.chords(),
            None => stage.past().0.chords(),
        };
        // The last one is the present.
        let last = chords.len().saturating_sub(1);
        let at = match self.showing.doing.moment() {
            Moment::Chord(start) => chords.partition_point(|c| c.start < start),
            Moment::Present | Moment::Again(_) => last,
        };
        let to = match direction {
            Direction::Back => at.saturating_sub(1),
            Direction::Forward => at + 1,
        };
        let chord = chords.get(to).filter(|_| to < last);
        let moment = chord.map_or(Moment::Present, |c| Moment::Chord(c.start));
        self.showing.doing.show(moment);
    }

    /// What the player sees: the picture that stands still, or the present.
    fn seen(&self, stage: &mut dyn Stage) -> Reading {
        let present = stage.reading();
        match &self.showing.frozen {
            Some(still) => still.seen(present),
            None => present,
        }
    }

    /// Moves the mode compared with by a step of the brightness order.
    fn compare(&mut self, toward: Toward, stage: &mut dyn Stage) {
        let Some(reference) = self.seen(stage).within().map(|w| w.tonality) else {
            return;
        };
        let from = self.view.compared.unwrap_or(reference.mode);
        let to = brightness::neighbour(self.look.catalogue, from, toward);
        self.view.compared = (to != reference.mode).then_some(to);
    }

    /// A file goes there; of what was played live the readings are shown again.
    fn show_again(&mut self, stage: &mut dyn Stage) {
        let Some(from) = self.view.past().chosen() else {
            self.said = Some("Choose a moment first: a marker, or by scrolling back.".into());
            return;
        };
        match stage.source().transport {
            Some(_) => stage.act(Request::SeekTo(from)),
            None => {
                let again = Again::begin(from, stage.now());
                self.showing.doing.show(Moment::Again(again));
            }
        }
    }

    /// The key that is held is home; where none is, the next one will be. Asked again, the
    /// question or what was said is taken back.
    fn ask_for_home(&mut self, stage: &mut dyn Stage) {
        let reading = stage.reading();
        let doing = &mut self.showing.doing;
        if stage.source().transport.is_some() {
            // A file has no held key to choose: its bass is what sounds now.
            match reading.sounding().iter().next() {
                Some(key) => stage.act(home_is(Some(key))),
                None if reading.stated.is_some() => stage.act(home_is(None)),
                None => self.said = Some("Nothing sounds that could be home.".into()),
            }
            return;
        }
        match reading.held.iter().next() {
            Some(key) => stage.act(home_is(Some(key))),
            None if matches!(doing, Doing::AwaitingHome { .. }) => {
                *doing = Doing::Showing(Moment::Present);
            }
            None if reading.stated.is_some() => stage.act(home_is(None)),
            None => {
                *doing = Doing::AwaitingHome {
                    stroke: (reading.struck, reading.struck_at),
                };
            }
        }
    }
}

/// Why a tap or a tempo means nothing to a file.
const NO_CLICK: &str = "Only to what is played live can a tempo be given.";

/// Whether what is played live has the stage, or goes on behind a sitting that was opened.
fn is_played(source: &Source) -> bool {
    source.link != Link::File || source.opened.is_some()
}

/// Why there is no further stop of inertia.
fn last_stop(step: InertiaStep) -> &'static str {
    match step {
        InertiaStep::Lighter => "chord is the last stop: nothing changes more quickly.",
        InertiaStep::Heavier => "section is the last stop: nothing changes more slowly.",
    }
}

/// What a stop of inertia does, in the words of the music and in seconds.
fn told(inertia: Inertia) -> String {
    let (plain, rich) = inertia.shown_after();
    // What a stop lets pass, in words that follow its name.
    let words = match inertia {
        Inertia::Chord => "follows chord by chord",
        Inertia::Motif => "a few notes in a new place are enough",
        Inertia::Phrase => "lets passing chords pass, follows a phrase",
        Inertia::Period => "lets a borrowed chord or two pass",
        Inertia::Section => "follows only what stays",
    };
    format!(
        "{}: {words}. A new center shows after some {:.0} to {:.0} s, home moves after some {}.",
        inertia.name(),
        plain.seconds().ceil(),
        rich.seconds(),
        length(inertia.home_moves_after()),
    )
}
