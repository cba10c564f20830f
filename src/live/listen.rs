//! The engine's thread on a keyboard.

use super::clock::Clock;
use super::feed::{Feed, Publisher, feed};
use super::keeper::{Keeper, Wanted};
use super::order::Order;
use super::provoke;
use super::record::{RecordError, Recorder};
use super::status::{StatusBoard, Unwritten};
use super::thread::{EngineThread, Stop};
use crate::engine::{Change, Event, Monitor, Observer, Phrases};
use crate::midi::{self, Incoming, IntakeReceiver, Ports, intake};
use crate::time::Time;
use crossbeam_channel::{Receiver, never, select};
use std::path::Path;
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
    keeper: Option<Keeper>,
}

/// Starts listening. `first` are the settings in force, `record` a file to write.
pub fn listen(
    world: World,
    wanted: Wanted,
    mut monitor: Monitor,
    first: &[Event],
    record: Option<&Path>,
) -> Result<Listener, RecordError> {
    let World { clock, ports } = world;
    let (publisher, feed, board) = feed();
    let mut tell = Tell {
        publisher,
        phrases: Phrases::of_late(),
    };
    let stamp = Arc::clone(&clock);
    let (sender, receiver) = intake(QUEUE, &wanted.jobs, move || stamp.now());
    let mut recording = record
        .map(|path| Recorder::start(path, Arc::clone(monitor.catalogue()), board.clone()))
        .transpose()?;
    for &event in first {
        monitor.on_event(Time::ZERO, event, &mut tell);
        if let Some(r) = &mut recording {
            r.note(Time::ZERO, event);
        }
    }
    tell.publisher.publish(&monitor);
    let mut engine = Engine {
        clock: Arc::clone(&clock),
        monitor,
        tell,
        recording,
        intake: receiver,
        board: board.clone(),
        dropped: 0,
    };
    let thread = EngineThread::start(board.clone(), Stop::default(), move |orders| {
        engine.run(orders);
    });
    let keeper = Keeper::start(ports, wanted, sender, board);
    Ok(Listener {
        feed,
        clock,
        engine: thread,
        keeper: Some(keeper),
    })
}

impl Listener {
    pub fn order(&self, order: Order) {
        self.engine.order(order);
    }

    pub fn now(&self) -> Time {
        self.clock.now()
    }

    /// Ends all threads and the recording; the error is what is not in its file, and why.
    pub fn finish(mut self) -> Result<(), Unwritten> {
        self.end();
        self.feed.status().unwritten.map_or(Ok(()), Err)
    }

    fn end(&mut self) {
        self.keeper = None;
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
}

impl Observer for Tell {
    fn change(&mut self, at: Time, change: Change) {
        self.phrases.change(at, change);
        self.publisher.change(at, change);
    }
}

struct Engine {
    clock: Arc<dyn Clock>,
    monitor: Monitor,
    tell: Tell,
    recording: Option<Recorder>,
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
            if self.intake.silent(now) {
                self.take(now, Event::Midi(midi::Event::Release));
            }
            self.monitor
                .advance_to(now.since(BEHIND).max(self.monitor.now()), &mut self.tell);
            provoke::check(panic_at, now);
            let publisher = &self.tell.publisher;
            publisher.publish(&self.monitor);
            // After the reading, so that a job finds the reading of its moment.
            self.intake.fired().for_each(|number| publisher.job(number));
            let dropped = self.intake.dropped();
            if dropped != self.dropped {
                self.dropped = dropped;
                self.board.update(|s| s.dropped = dropped);
            }
            if let Some(r) = &mut self.recording {
                r.tell_missed();
            }
        }
        self.drain(&notes);
        let end = self.clock.now().max(self.monitor.now());
        if let Some(r) = self.recording.take() {
            r.finish(end);
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Set(event) => self.take(self.clock.now(), event),
            Order::Mark(name, about) => {
                let at = self.clock.now().max(self.monitor.now());
                self.monitor.advance_to(at, &mut self.tell);
                let marker = about.marker(at, name, |at| self.tell.phrases.before(at));
                if let Some(r) = &mut self.recording {
                    r.mark(marker.clone());
                }
                self.tell.publisher.mark(marker);
            }
            Order::Explain => self.tell.publisher.explain(&self.monitor),
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
        let Engine {
            monitor,
            tell,
            recording,
            intake,
            ..
        } = self;
        intake.accept(incoming, |t| {
            let at = t.at.max(monitor.now());
            monitor.on_event(at, t.event, tell);
            if let Some(r) = recording {
                r.note(at, Event::Midi(t.event));
            }
        });
    }

    /// One event, at the time that the engine takes it in: that is what is recorded.
    fn take(&mut self, at: Time, event: Event) {
        let at = at.max(self.monitor.now());
        self.monitor.on_event(at, event, &mut self.tell);
        if let Some(r) = &mut self.recording {
            r.note(at, event);
        }
    }

    /// Until the next step of the grid, or for ever while it rests.
    fn wait(&mut self) -> Duration {
        let next = self.monitor.next_step().map(|s| s + BEHIND + Time(50));
        let sounding = !self.monitor.sounding().is_empty();
        let sensing = self.intake.silent_from().filter(|_| sounding);
        let due = match (next, sensing) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        due.map_or(Duration::from_secs(3600), |at| self.clock.until(at))
    }
}
