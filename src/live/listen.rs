//! The engine's thread on a keyboard.

use super::click::{Clicks, SetClick};
use super::clock::Clock;
use super::feed::{Feed, Publisher, feed};
use super::finder::{Finder, Wanted};
use super::mark::About;
use super::order::Order;
use super::provoke;
use super::record::{RecordError, Recorder};
use super::sitting::{Begins, SittingTap, Sittings};
use super::status::{StatusBoard, Unwritten};
use super::thread::{EngineThread, Stop};
use crate::engine::{Aside, Change, Event, Monitor, Observer, Phrases};
use crate::meter::TypedClick;
use crate::midi::{self, Incoming, IntakeReceiver, Keyboard, Keyboards, Ports, intake};
use crate::sittings::InForce;
use crate::stage::Job;
use crate::time::Time;
use crossbeam_channel::{Receiver, never, select};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// Everything outside the program that the live part touches.
pub struct World {
    pub clock: Arc<dyn Clock>,
    pub ports: Box<dyn Ports>,
}

/// Events that may wait between the port's thread and the engine's.
const QUEUE: usize = 4096;
/// The engine's time stays this far behind the clock, so that an event that was stamped but not
/// yet received is not late.
const BEHIND: Time = Time::millis(3);

/// The engine on a keyboard; dropping it ends all threads and the recording.
pub struct Listener {
    pub feed: Feed,
    clock: Arc<dyn Clock>,
    engine: EngineThread,
    /// Looks for the keyboard; dropped first, so that no more events come in.
    finder: Option<Finder>,
}

/// What is kept of what is played, and the click that it is played to.
#[derive(Default)]
pub struct Keep {
    /// A file to write all of it to.
    pub record: Option<PathBuf>,
    pub sittings: Option<Sittings>,
    pub click: SetClick,
}

/// Starts listening. `monitor`: told nothing yet; `first`: the settings in force.
pub fn listen(
    world: World,
    wanted: Wanted,
    monitor: Monitor,
    first: &[Event],
    keep: Keep,
) -> Result<Listener, RecordError> {
    let World { clock, ports } = world;
    let (publisher, feed, board) = feed();
    let fresh = monitor.clone();
    let sitting = keep
        .sittings
        .and_then(|sittings| SittingTap::start(sittings, &fresh, &board));
    let tell = Tell {
        publisher,
        phrases: Phrases::of_late(),
        sitting,
    };
    let stamp = Arc::clone(&clock);
    let keyboards = match wanted.ports.len() {
        0 | 1 => Keyboards::One,
        _ => Keyboards::Several,
    };
    let (sender, receiver) = intake(QUEUE, &wanted.jobs, keyboards, move || stamp.now());
    let recording = keep
        .record
        .map(|path| Recorder::start(&path, Arc::clone(monitor.catalogue()), board.clone()))
        .transpose()?;
    let mut engine = Engine {
        clock: Arc::clone(&clock),
        heard: Heard {
            monitor,
            fresh,
            in_force: InForce::default(),
            tell,
            recording,
            clicks: Clicks::new(keep.click),
            begun: false,
            asides: 0,
            latest: None,
            named: [keyboards == Keyboards::One; Keyboard::COUNT],
            board: board.clone(),
        },
        intake: receiver,
        board: board.clone(),
        dropped: 0,
    };
    for &event in first {
        engine.heard.take(Time::ZERO, event);
    }
    engine.heard.publish();
    let thread = EngineThread::start(board.clone(), Stop::default(), move |orders| {
        engine.run(orders);
    });
    let finder = Finder::start(ports, wanted, sender, board);
    Ok(Listener {
        feed,
        clock,
        engine: thread,
        finder: Some(finder),
    })
}

impl Listener {
    pub fn order(&self, order: Order) {
        self.engine.order(order);
    }

    pub fn now(&self) -> Time {
        self.clock.now()
    }

    /// Ends all threads, the recording and the sitting: the id of the latest sitting that was
    /// kept, if any. The error is what is not in a file, and why.
    pub fn finish(mut self) -> Result<Option<String>, Unwritten> {
        self.end();
        let status = self.feed.status();
        status.unwritten.map_or(Ok(status.kept), Err)
    }

    fn end(&mut self) {
        self.finder = None;
        self.engine.end(&mut self.feed);
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.end();
    }
}

/// Passes changes on, and keeps the phrases for markers.
struct Tell {
    publisher: Publisher,
    phrases: Phrases,
    sitting: Option<SittingTap>,
}

impl Observer for Tell {
    fn change(&mut self, at: Time, change: Change) {
        self.phrases.change(at, change);
        self.publisher.change(at, change);
        if let Some(sitting) = &mut self.sitting {
            sitting.change(at, change);
        }
    }
}

struct Engine {
    clock: Arc<dyn Clock>,
    heard: Heard,
    intake: IntakeReceiver,
    board: StatusBoard,
    dropped: u64,
}

impl Engine {
    fn run(&mut self, orders: &Receiver<Order>) {
        let mut notes = self.intake.receiver().clone();
        let jumps = self.clock.jumps();
        let panic_at = provoke::wanted();
        loop {
            let wait = self.wait();
            select! {
                recv(notes) -> incoming => match incoming {
                    Ok(incoming) => self.accept(incoming),
                    // No thread looks for keyboards any longer; orders still come.
                    Err(_) => notes = never(),
                },
                recv(orders) -> order => match order {
                    Ok(order) => {
                        self.drain(&notes);
                        self.obey(order);
                    }
                    Err(_) => break,
                },
                recv(jumps) -> _ => {}
                default(wait) => {}
            }
            self.drain(&notes);
            let now = self.clock.now();
            for release in self.intake.silent(now) {
                self.heard.take(now, Event::Midi(release));
            }
            self.heard.advance_to(now.since(BEHIND));
            provoke::check(panic_at, now);
            self.heard.publish();
            // After the reading, so that a job finds the reading of its moment.
            let publisher = &self.heard.tell.publisher;
            self.intake
                .fired()
                .for_each(|number| publisher.job(Job { number, at: now }));
            let dropped = self.intake.dropped();
            if dropped != self.dropped {
                self.dropped = dropped;
                self.board.update(|s| s.dropped = dropped);
            }
            self.heard.tell_missed();
        }
        self.drain(&notes);
        self.heard.finish(self.clock.now());
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Set(event) => self.heard.take(self.clock.now(), event),
            Order::Mark(name, about) => self.heard.mark(self.clock.now(), name, about),
            Order::NameSitting(number, name) => self.heard.name_sitting(number, name),
            Order::Tap(at) => self.heard.tap(self.clock.now(), at),
            Order::Click(typed) => self.heard.type_click(self.clock.now(), typed),
            Order::EndSitting => self.heard.end_sitting(self.clock.now()),
            Order::ThrowAside => self.heard.throw_away_aside(self.clock.now()),
            Order::Explain => self.heard.tell.publisher.explain(&self.heard.monitor),
            // These are for files.
            Order::Pause | Order::Resume | Order::Seek(_) | Order::Speed(_) | Order::Repeat(_) => {}
        }
    }

    fn drain(&mut self, notes: &Receiver<Incoming>) {
        for incoming in notes.try_iter().take(QUEUE) {
            self.accept(incoming);
        }
    }

    fn accept(&mut self, incoming: Incoming) {
        let heard = &mut self.heard;
        self.intake
            .accept(incoming, |t| heard.take(t.at, Event::Midi(t.event)));
    }

    /// Until the next step of the grid, or for ever while it rests.
    fn wait(&mut self) -> Duration {
        let monitor = &self.heard.monitor;
        let next = monitor.next_step().map(|s| s + BEHIND + Time(50));
        let sounding = !monitor.sounding().is_empty();
        let sensing = self.intake.silent_from().filter(|_| sounding);
        let over = self.heard.tell.sitting.as_ref().and_then(SittingTap::over);
        let due = [next, sensing, over].into_iter().flatten().min();
        due.map_or(Duration::from_secs(3600), |at| self.clock.until(at))
    }
}

/// The monitor, and everything that is told of what it hears.
struct Heard {
    monitor: Monitor,
    /// As it was before anything was heard.
    fresh: Monitor,
    in_force: InForce,
    tell: Tell,
    recording: Option<Recorder>,
    clicks: Clicks,
    /// Whether a note has been played.
    begun: bool,
    /// Number of asides of this sitting that may be thrown away.
    asides: usize,
    /// When the latest event was taken in, and from which keyboard.
    latest: Option<(Time, Keyboard)>,
    /// Whether the recorders know how each keyboard is called, or need not.
    named: [bool; Keyboard::COUNT],
    board: StatusBoard,
}

impl Heard {
    /// One event, at the time that the engine takes it in: that is what is kept.
    fn take(&mut self, at: Time, event: Event) {
        let at = self.turn(at.max(self.monitor.now()), event);
        if let Event::Midi(midi::Event::NoteOn { .. }) = event {
            self.begin_bars(at);
        }
        if let Some(sitting) = &mut self.tell.sitting {
            let another = sitting.event(at, event) == Begins::Another;
            if another {
                self.asides = 0;
            }
            // What a recording holds is heard in one go when it is read again.
            if another && self.recording.is_none() {
                self.begin_anew(at);
            }
        }
        if event == Event::Aside(Aside::Begins) && self.monitor.reading().aside.is_none() {
            self.asides += 1;
        }
        self.in_force.take(event);
        self.monitor.on_event(at, event, &mut self.tell);
        if let Some(r) = &mut self.recording {
            r.note(at, event);
        }
    }

    /// Where a note begins a sitting, bars count from 1.
    fn begin_bars(&mut self, at: Time) {
        let first = !std::mem::replace(&mut self.begun, true);
        let begins = match &mut self.tell.sitting {
            Some(sitting) => {
                sitting.advance_to(at);
                sitting.rests()
            }
            None => first,
        };
        if begins {
            if self.clicks.begin(at) {
                self.record_click(at);
            }
            self.tell_click();
        }
    }

    /// Lets the engine's time pass to `now`; the time that it then is. What is written then is not
    /// followed by an event of an earlier time, which a file could not hold.
    fn pass_to(&mut self, now: Time) -> Time {
        let at = now.max(self.monitor.now());
        self.monitor.advance_to(at, &mut self.tell);
        at
    }

    fn tap(&mut self, now: Time, at: Time) {
        let now = self.pass_to(now);
        if self.clicks.tap(at, now) {
            self.record_click(now);
            self.tell_click();
        }
    }

    fn type_click(&mut self, now: Time, typed: TypedClick) {
        let now = self.pass_to(now);
        if self.clicks.typed(now, typed) {
            self.record_click(now);
            self.tell_click();
        }
    }

    fn record_click(&mut self, at: Time) {
        let kept = self.tell.sitting.as_mut().map(|s| &mut s.recorder);
        for recorder in self.recording.iter_mut().chain(kept) {
            recorder.click(at, self.clicks.click());
        }
    }

    fn tell_click(&self) {
        let now = self.clicks.now();
        self.board.update(|s| s.click = now);
    }

    /// When the event is taken in. In a file each of several keyboards has a track, and what
    /// stands at one time is read in the order of the tracks: so another than the one before, or
    /// the word that one of them is gone, comes a tick later.
    fn turn(&mut self, at: Time, event: Event) -> Time {
        let keyboard = match event {
            Event::Midi(midi) => midi.keyboard().unwrap_or(Keyboard::FIRST),
            _ => Keyboard::FIRST,
        };
        let word = matches!(event, Event::Midi(midi::Event::ReleaseKeyboard { .. }));
        let at = match self.latest {
            Some((last, before))
                if at <= last && (keyboard != before || word && keyboard != Keyboard::FIRST) =>
            {
                last + Time(1)
            }
            _ => at,
        };
        self.latest = Some((at, keyboard));
        if matches!(event, Event::Midi(_)) {
            self.name(keyboard);
        }
        at
    }

    /// The recorders are told how a keyboard is called, once.
    fn name(&mut self, keyboard: Keyboard) {
        let Some(named) = self
            .named
            .get_mut(keyboard.index())
            .filter(|named| !**named)
        else {
            return;
        };
        let names = self.board.status().keyboards;
        // Connected, and not in the status yet: the next event asks again.
        let name = names.get(keyboard.index()).filter(|name| !name.is_empty());
        let Some(name) = name.cloned() else { return };
        *named = true;
        let kept = self.tell.sitting.as_mut().map(|s| &mut s.recorder);
        for recorder in self.recording.iter_mut().chain(kept) {
            recorder.keyboard(keyboard, name.clone());
        }
    }

    /// A sitting is heard as it will be when it is read again: without those before it.
    fn begin_anew(&mut self, at: Time) {
        self.monitor = self.fresh.clone();
        self.tell.change(at, Change::Rest);
        let at = at - self.in_force.lead();
        for event in self.in_force.events() {
            self.monitor.on_event(at, event, &mut self.tell);
        }
    }

    fn advance_to(&mut self, now: Time) {
        let at = self.pass_to(now);
        if let Some(sitting) = &mut self.tell.sitting {
            sitting.advance_to(at);
        }
    }

    fn publish(&self) {
        self.tell.publisher.publish(&self.monitor);
    }

    fn mark(&mut self, now: Time, name: String, about: About) {
        let at = self.pass_to(now);
        let marker = about.marker(at, name, |at| self.tell.phrases.before(at));
        let kept = self.tell.sitting.as_mut().map(|s| &mut s.recorder);
        for recorder in self.recording.iter_mut().chain(kept) {
            recorder.mark(marker.clone());
        }
        self.tell.publisher.mark(marker);
    }

    fn name_sitting(&mut self, number: u64, name: String) {
        if let Some(sitting) = &mut self.tell.sitting {
            sitting.recorder.name(number, name);
        }
    }

    fn end_sitting(&mut self, now: Time) {
        let at = self.pass_to(now);
        if let Some(sitting) = &mut self.tell.sitting {
            sitting.end(at);
        }
    }

    fn throw_away_aside(&mut self, now: Time) {
        if self.monitor.reading().aside.is_some() {
            self.take(now, Event::Aside(Aside::Ends));
        }
        // The sitting says what came of it.
        if let Some(sitting) = &mut self.tell.sitting {
            sitting.recorder.throw_away_aside();
        } else {
            let said = match self.asides {
                0 => "there is no aside to throw away",
                _ => "the notes of the last aside will be gone from the recording when it ends",
            };
            self.board.update(|s| s.about_sittings = Some(said.into()));
        }
        // A recording may hold asides of earlier sittings: those stay.
        if let Some(recording) = &mut self.recording
            && self.asides > 0
        {
            self.asides -= 1;
            recording.throw_away_aside();
        }
    }

    fn tell_missed(&mut self) {
        if let Some(sitting) = &mut self.tell.sitting {
            sitting.recorder.tell_slow();
        }
        let kept = self.tell.sitting.as_mut().map(|s| &mut s.recorder);
        for recorder in self.recording.iter_mut().chain(kept) {
            recorder.tell_missed();
        }
    }

    fn finish(&mut self, now: Time) {
        let end = now.max(self.monitor.now());
        if let Some(sitting) = self.tell.sitting.take() {
            sitting.recorder.finish(end);
        }
        if let Some(recorder) = self.recording.take() {
            recorder.finish(end);
        }
    }
}
