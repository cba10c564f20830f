//! A file, played through the engine at its own pace: speed, seek, pause, repeat.

use super::clock::Clock;
use super::feed::{Feed, Publisher, feed};
use super::order::Order;
use super::provoke;
use super::status::lock;
use super::thread::{EngineThread, Stop};
use crate::engine::{Change, Event, History, Monitor, Observer};
use crate::source::{Going, Link, Repeat, Transport};
use crate::time::Time;
use crossbeam_channel::{Receiver, never, select};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::time::Duration;

#[derive(Clone, Copy)]
struct Places {
    now: Transport,
    /// Where it will stand once the orders that wait are obeyed.
    ahead: Transport,
}

/// A file being played; dropping it ends its thread.
pub struct Player {
    pub feed: Feed,
    places: Arc<Mutex<Places>>,
    engine: EngineThread,
}

/// The slowest and the fastest pace.
pub const SPEEDS: (f32, f32) = (0.25, 4.0);
/// The shortest stretch that is repeated.
pub const SHORTEST_REPEAT: Time = Time::millis(200);
/// How much music is worked through between two looks whether the program ends, and on the way
/// to another place whether there is an order.
const LOOK: Time = Time::millis(10_000);
/// A seek that takes longer shows its progress.
const PATIENCE: Time = Time::millis(50);
/// The distance of checkpoints at first: seeking runs the engine from the last one.
const CHECKPOINT: Time = Time::millis(10_000);
/// At most this many are kept, further apart in a longer file: each holds the whole past.
const CHECKPOINTS: usize = 32;

/// Plays `events` to their `end`. `monitor` has been told the settings in force.
pub fn play(
    name: &str,
    events: Vec<(Time, Event)>,
    end: Time,
    monitor: Monitor,
    clock: Arc<dyn Clock>,
    order: Order,
) -> Player {
    let (publisher, feed, board) = feed();
    board.update(|s| {
        s.link = Link::File;
        s.name = name.to_owned();
    });
    let start = Transport::start(end);
    let places = Arc::new(Mutex::new(Places {
        now: start,
        ahead: start,
    }));
    let shared = Arc::clone(&places);
    let mut playback = Playback::new(clock, events, end, monitor, publisher, shared);
    playback.obey(order);
    let stop = playback.stop.clone();
    let engine = EngineThread::start(board, stop, move |orders| playback.run(orders));
    Player {
        feed,
        places,
        engine,
    }
}

impl Player {
    pub fn order(&self, order: Order) {
        // Held until it is sent: see `tell`.
        let mut places = lock(&self.places);
        let p = &mut places.ahead;
        match order {
            Order::Pause => p.paused = true,
            Order::Resume => p.paused = false,
            Order::Seek(to) => {
                p.position = to.min(p.duration);
                p.ended = p.position >= p.duration;
            }
            Order::Speed(speed) if speed.is_finite() => {
                p.speed = speed.clamp(SPEEDS.0, SPEEDS.1);
            }
            Order::Repeat(repeat) => p.repeat = repeat,
            Order::Speed(_)
            | Order::Set(_)
            | Order::Mark(..)
            | Order::NameSitting(..)
            | Order::EndSitting
            | Order::ThrowAside
            | Order::Tap(_)
            | Order::Click(_)
            | Order::Explain => {}
        }
        self.engine.order(order);
    }

    /// Where it stands.
    pub fn transport(&self) -> Transport {
        lock(&self.places).now
    }

    /// The names of the keyboards, where several play in the file.
    pub fn with_keyboards(self, names: Vec<String>) -> Player {
        self.feed.name_keyboards(names);
        self
    }

    /// Where it will stand when the orders that wait have been carried out: keys may come faster.
    pub fn ahead(&self) -> Transport {
        lock(&self.places).ahead
    }

    /// A function that gives where it stands, without the player.
    pub fn watch(&self) -> impl Fn() -> Transport + use<> {
        let places = Arc::clone(&self.places);
        move || lock(&places).now
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        self.engine.end(&mut self.feed);
    }
}

struct Checkpoint {
    at: Time,
    next: usize,
    monitor: Monitor,
    history: History,
}

/// The file on the engine's thread.
struct Playback {
    clock: Arc<dyn Clock>,
    events: Vec<(Time, Event)>,
    end: Time,
    /// The event that comes next.
    next: usize,
    at: Time,
    /// The clock's time and the file's time when pace or place changed last.
    anchor: (Time, Time),
    speed: f32,
    paused: bool,
    ended: bool,
    repeat: Repeat,
    checkpoints: Vec<Checkpoint>,
    spacing: Time,
    monitor: Monitor,
    history: History,
    publisher: Publisher,
    places: Arc<Mutex<Places>>,
    orders: Receiver<Order>,
    /// Orders that came on the way to another place and are obeyed there.
    waiting: VecDeque<Order>,
    /// The program ends: a long seek does not hold it up.
    stop: Stop,
}

/// How a stretch of the file is gone through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stretch {
    /// At its pace: the front ends get its changes.
    Played,
    /// At once, on the way to another place.
    Skipped,
}

/// Passes changes to the history and, while the file plays, to the front ends.
struct Tell<'a>(&'a mut History, Option<&'a mut Publisher>);

impl<'a> Tell<'a> {
    fn of(stretch: Stretch, history: &'a mut History, publisher: &'a mut Publisher) -> Tell<'a> {
        Tell(history, (stretch == Stretch::Played).then_some(publisher))
    }
}

impl Observer for Tell<'_> {
    fn change(&mut self, at: Time, change: Change) {
        self.0.change(at, change);
        if let Some(p) = &mut self.1 {
            p.change(at, change);
        }
    }
}

impl Playback {
    /// At the beginning of the file, about to play.
    fn new(
        clock: Arc<dyn Clock>,
        events: Vec<(Time, Event)>,
        end: Time,
        monitor: Monitor,
        publisher: Publisher,
        places: Arc<Mutex<Places>>,
    ) -> Playback {
        Playback {
            clock,
            events,
            end,
            next: 0,
            at: Time::ZERO,
            anchor: (Time::ZERO, Time::ZERO),
            speed: 1.0,
            paused: false,
            ended: false,
            repeat: Repeat::Off,
            checkpoints: vec![Checkpoint {
                at: Time::ZERO,
                next: 0,
                monitor: monitor.clone(),
                history: History::default(),
            }],
            spacing: CHECKPOINT,
            monitor,
            history: History::default(),
            publisher,
            places,
            orders: never(),
            waiting: VecDeque::new(),
            stop: Stop::default(),
        }
    }

    fn run(&mut self, orders: &Receiver<Order>) {
        self.orders = orders.clone();
        self.anchor = (self.clock.now(), self.at);
        self.publisher.publish(&self.monitor);
        let jumps = self.clock.jumps();
        let panic_at = provoke::wanted();
        loop {
            let order = match self.waiting.pop_front() {
                Some(order) => Some(order),
                None => {
                    let wait = self.wait();
                    select! {
                        recv(orders) -> order => match order {
                            Ok(order) => Some(order),
                            Err(_) => return,
                        },
                        recv(jumps) -> _ => None,
                        default(wait) => None,
                    }
                }
            };
            if let Some(order) = order {
                self.play_to_now();
                self.obey(order);
            }
            self.play_to_now();
            provoke::check(panic_at, self.at);
            self.tell();
        }
    }

    /// Where the file should be by the clock.
    fn target(&self) -> Time {
        if self.paused || self.ended {
            return self.at;
        }
        let gone = self.clock.now().since(self.anchor.0).seconds() * f64::from(self.speed);
        self.anchor.1 + Time::from_seconds(gone)
    }

    fn wait(&self) -> Duration {
        if self.paused || self.ended {
            return Duration::from_secs(3600);
        }
        let event = self.events.get(self.next).map_or(self.end, |e| e.0);
        let due = self
            .monitor
            .next_step()
            .map_or(event, |s| event.min(s + Time(1)));
        // The position moves on the screen even while nothing sounds.
        let due = due.min(self.at + Time::millis(200)).min(self.end);
        let seconds = due.since(self.at).seconds() / f64::from(self.speed);
        let target = self.anchor.0
            + Time::from_seconds(
                self.at.since(self.anchor.1).seconds() / f64::from(self.speed) + seconds,
            );
        self.clock.until(target)
    }

    fn play_to_now(&mut self) {
        // At the very beginning what lies there is not played yet.
        if self.paused {
            return;
        }
        let target = self.target();
        match self.repeat {
            Repeat::Between(from, to) if self.at < to && target >= to => {
                self.play_to(to, Stretch::Played);
                self.seek(from);
            }
            _ if target >= self.end => {
                self.play_to(self.end, Stretch::Played);
                self.ended = true;
            }
            _ => self.play_to(target, Stretch::Played),
        }
    }

    fn play_to(&mut self, target: Time, stretch: Stretch) {
        while let Some(&(at, event)) = self.events.get(self.next).filter(|e| e.0 <= target) {
            self.check(at);
            self.advance_to(at, stretch);
            if self.stop.is_asked_for() {
                return;
            }
            self.next += 1;
            let mut tell = Tell::of(stretch, &mut self.history, &mut self.publisher);
            self.monitor.on_event(at, event, &mut tell);
        }
        self.advance_to(target, stretch);
        self.history.advance_to(target);
        self.at = target;
    }

    /// Takes the engine to `target`, a little at a time, unless the program ends.
    fn advance_to(&mut self, target: Time, stretch: Stretch) {
        while !self.stop.is_asked_for() {
            let next = target.min(self.monitor.now() + LOOK);
            let mut tell = Tell::of(stretch, &mut self.history, &mut self.publisher);
            self.monitor.advance_to(next, &mut tell);
            if next >= target {
                return;
            }
        }
    }

    /// Keeps a checkpoint before the event at `at`, now and then.
    fn check(&mut self, at: Time) {
        if self
            .checkpoints
            .last()
            .is_some_and(|c| at >= c.at + self.spacing)
        {
            if self.checkpoints.len() >= CHECKPOINTS {
                // The first, from which everything can be reached, stays.
                let mut i = 0;
                self.checkpoints.retain(|_| {
                    i += 1;
                    i % 2 == 1
                });
                self.spacing += self.spacing;
            }
            self.checkpoints.push(Checkpoint {
                at: self.monitor.now(),
                next: self.next,
                monitor: self.monitor.clone(),
                history: self.history.clone(),
            });
        }
    }

    /// Goes to a place, or where an order on the way says.
    fn seek(&mut self, to: Time) {
        let (began, left) = (self.clock.now(), self.at);
        let mut to = to.min(self.end);
        self.go_back_for(to);
        let mut from = self.at;
        loop {
            self.play_to(to.min(self.at + LOOK), Stretch::Skipped);
            if self.at >= to || self.stop.is_asked_for() {
                break;
            }
            if let Some(other) = self.listen_on_the_way() {
                to = other.min(self.end);
                self.go_back_for(to);
                from = self.at;
            }
            if self.clock.now().since(began) >= PATIENCE {
                let (gone, whole) = (self.at.since(from), to.since(from));
                let share = (gone.seconds() / whole.seconds().max(1e-9)) as f32;
                lock(&self.places).now = Transport {
                    position: left,
                    going: Some(Going { to, share }),
                    ..self.stands()
                };
                self.publisher.moved();
            }
        }
        self.publisher.past(&self.history, &self.monitor);
        self.ended = to >= self.end;
        self.anchor = (self.clock.now(), self.at);
    }

    /// What is ordered on the way to another place: pace and pause at once, another place to go
    /// to is given back, and anything else waits, with all that comes behind it.
    fn listen_on_the_way(&mut self) -> Option<Time> {
        let mut other = None;
        while let Ok(order) = self.orders.try_recv() {
            match order {
                order if !self.waiting.is_empty() => self.waiting.push_back(order),
                Order::Seek(to) => other = Some(to),
                Order::Pause | Order::Resume | Order::Speed(_) => self.obey(order),
                order => self.waiting.push_back(order),
            }
        }
        other
    }

    /// To the last checkpoint before a place, unless the way there from here is shorter.
    fn go_back_for(&mut self, to: Time) {
        let last = self
            .checkpoints
            .iter()
            .rposition(|c| c.at <= to)
            .unwrap_or(0);
        if to < self.at || self.checkpoints[last].at > self.at {
            let c = &self.checkpoints[last];
            self.next = c.next;
            self.monitor = c.monitor.clone();
            self.history = c.history.clone();
            self.at = c.at;
        }
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Explain => return self.publisher.explain(&self.monitor),
            Order::Mark(name, about) => {
                let phrase = |at| self.history.phrase_before(at);
                return self.publisher.mark(about.marker(self.at, name, phrase));
            }
            Order::Pause => self.paused = true,
            Order::Resume => self.paused = false,
            Order::Seek(to) => self.seek(to),
            Order::Speed(speed) if speed.is_finite() => {
                self.speed = speed.clamp(SPEEDS.0, SPEEDS.1);
            }
            Order::Speed(_)
            | Order::NameSitting(..)
            | Order::EndSitting
            | Order::ThrowAside
            | Order::Tap(_)
            | Order::Click(_) => {}
            Order::Repeat(repeat) => {
                self.repeat = match repeat {
                    Repeat::Between(a, b) => {
                        let (from, to) = (a.min(b), a.max(b).min(self.end));
                        // Repeating an empty stretch would never end.
                        match to.since(from) >= SHORTEST_REPEAT {
                            true => Repeat::Between(from, to),
                            false => Repeat::Off,
                        }
                    }
                    other => other,
                };
                if let Repeat::Between(from, to) = self.repeat
                    && self.at >= to
                {
                    self.seek(from);
                }
            }
            Order::Set(event) => {
                let mut tell = Tell(&mut self.history, Some(&mut self.publisher));
                self.monitor.on_event(self.at, event, &mut tell);
                if matches!(event, Event::HomeIs(_) | Event::Aside(_)) {
                    self.events.insert(self.next, (self.at, event));
                    self.next += 1;
                    // Checkpoints of later moments do not know of it.
                    let (next, at) = (self.next, self.at);
                    self.checkpoints.retain(|c| c.next < next && c.at <= at);
                } else {
                    // The checkpoints were made under the old setting.
                    for c in &mut self.checkpoints {
                        c.monitor.on_event(c.at, event, &mut c.history);
                    }
                }
            }
        }
        self.anchor = (self.clock.now(), self.at);
    }

    fn stands(&self) -> Transport {
        Transport {
            position: self.at,
            duration: self.end,
            speed: self.speed,
            paused: self.paused,
            ended: self.ended,
            repeat: self.repeat,
            going: None,
        }
    }

    fn tell(&self) {
        let mut places = lock(&self.places);
        places.now = self.stands();
        // `order` sends under the same lock.
        if self.orders.is_empty() && self.waiting.is_empty() {
            places.ahead = places.now;
        }
        drop(places);
        self.publisher.publish(&self.monitor);
    }
}

#[cfg(test)]
mod tests {
    use super::super::clock::SystemClock;
    use super::*;
    use crate::midi;
    use crate::theory::Catalogue;

    #[test]
    fn a_seek_through_ten_hours_does_not_hold_up_the_end() {
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let (events, end) = hours(10);
        let clock = Arc::new(SystemClock::start());
        let player = play("ten hours", events, end, monitor, clock, Order::Pause);
        player.order(Order::Seek(end));
        std::thread::sleep(Duration::from_millis(200));
        assert!(player.transport().position < end, "it is on its way");
        let asked = std::time::Instant::now();
        drop(player);
        assert!(
            asked.elapsed() < Duration::from_secs(1),
            "{:?}",
            asked.elapsed()
        );
    }

    /// A note a second, so that the grid never rests.
    fn hours(hours: u64) -> (Vec<(Time, Event)>, Time) {
        let (channel, key, velocity) = (midi::Channel::ALL[0], 48, 64);
        let note = |i: u64| {
            let on = midi::Event::NoteOn {
                channel,
                key,
                velocity,
            };
            let off = midi::Event::NoteOff { channel, key };
            let at = Time::millis(i * 1000);
            [(at, on.into()), (at + Time::millis(500), off.into())]
        };
        let seconds = 3600 * hours;
        let events = (0..seconds).flat_map(note).collect();
        (events, Time::millis(1000 * seconds))
    }

    fn wait_until(player: &Player, what: &str, is_so: impl Fn(Transport) -> bool) {
        let began = std::time::Instant::now();
        while !is_so(player.transport()) {
            let now = player.transport();
            assert!(began.elapsed() < Duration::from_secs(20), "{what}: {now:?}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    #[test]
    fn a_long_way_is_told_and_orders_are_heard_on_it() {
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let (events, end) = hours(100);
        let clock = Arc::new(SystemClock::start());
        let player = play("long", events, end, monitor, clock, Order::Speed(1.0));
        player.order(Order::Pause);
        let far = Time::millis(350_000_000);
        player.order(Order::Seek(far));
        let going = |t: Transport, to| t.going.filter(|g| g.to == to);
        wait_until(&player, "it is on its way", |t| {
            going(t, far).is_some_and(|g| g.share > 0.0 && g.share < 1.0)
        });
        let now = player.transport();
        let left = Time::millis(1000);
        assert!(
            now.position < left,
            "what is seen is of where it left: {now:?}"
        );
        assert!(now.paused && !now.ended);
        // The pace on the way; what belongs to a moment when it is there.
        player.order(Order::Speed(2.0));
        wait_until(&player, "the pace", |t| {
            t.speed == 2.0 && going(t, far).is_some()
        });
        // Another place instead.
        let near = Time::millis(5_000);
        player.order(Order::Seek(near));
        player.order(Order::Repeat(Repeat::From(near)));
        assert_eq!(player.ahead().position, near);
        wait_until(&player, "the other place", |t| {
            t.position == near && t.going.is_none() && t.repeat == Repeat::From(near)
        });
        assert_eq!(player.ahead(), player.transport());
    }

    #[test]
    fn what_begins_paused_plays_nothing_on_the_way() {
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let (events, end) = hours(1);
        let clock = Arc::new(SystemClock::start());
        let mut player = play("later", events, end, monitor, clock, Order::Pause);
        let later = Time::millis(600_200);
        player.order(Order::Seek(later));
        player.order(Order::Resume);
        wait_until(&player, "a note there", |t| {
            t.position > later + Time::millis(1500)
        });
        let mut changes = Vec::new();
        player.feed.changes(&mut |news| {
            if let crate::stage::News::Change(at, change) = news {
                changes.push((at, change));
            }
        });
        assert!(!changes.is_empty());
        assert!(changes.iter().all(|c| c.0 >= later), "{changes:?}");
    }

    #[test]
    fn a_way_in_pieces_is_as_one() {
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let (events, end) = hours(1);
        let places = Arc::new(Mutex::new(Places {
            now: Transport::start(end),
            ahead: Transport::start(end),
        }));
        let middle = Time::millis(1_234_567);
        let heard = |go: fn(&mut Playback, Time)| {
            let (publisher, _feed, _board) = feed();
            let (clock, places) = (Arc::new(SystemClock::start()), Arc::clone(&places));
            let (events, monitor) = (events.clone(), monitor.clone());
            let mut t = Playback::new(clock, events, end, monitor, publisher, places);
            go(&mut t, middle);
            (t.at, t.next, t.history.clone(), t.monitor.reading())
        };
        let at_once = heard(|t, to| t.play_to(to, Stretch::Skipped));
        assert_eq!(heard(Playback::seek), at_once);
    }

    #[test]
    fn a_long_file_keeps_few_checkpoints() {
        let (publisher, _feed, _board) = feed();
        let monitor = Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap();
        let end = Time::millis(3_600_000);
        let note = |i: u64| {
            let (channel, key, velocity) = (midi::Channel::ALL[0], 48 + (i % 12) as u8, 64);
            let on = midi::Event::NoteOn {
                channel,
                key,
                velocity,
            };
            let off = midi::Event::NoteOff { channel, key };
            let at = Time::millis(i * 20_000);
            [(at, on.into()), (at + Time::millis(500), off.into())]
        };
        let start = Transport {
            paused: true,
            ..Transport::start(end)
        };
        let places = Arc::new(Mutex::new(Places {
            now: start,
            ahead: start,
        }));
        let clock = Arc::new(SystemClock::start());
        let events = (0..180).flat_map(note).collect();
        let mut t = Playback::new(clock, events, end, monitor, publisher, places);
        t.paused = true;
        let middle = Time::millis(1_234_000);
        t.play_to(middle, Stretch::Skipped);
        let heard = t.history.clone();
        t.play_to(end, Stretch::Skipped);
        let kept = t.checkpoints.len();
        assert!((CHECKPOINTS / 4..=CHECKPOINTS).contains(&kept), "{kept}");
        let gaps = t.checkpoints.windows(2).map(|c| c[1].at.since(c[0].at));
        let widest = gaps.max().unwrap();
        assert!(widest <= t.spacing + Time::millis(20_000), "{widest:?}");
        t.seek(middle);
        assert_eq!(t.history, heard);
    }
}
