//! The live part as a whole, with a clock and ports of our own: no sound hardware,
//! no sleeping for music.

use crossbeam_channel::{Receiver, Sender, bounded};
use peregrinus::engine::{Event, History, Monitor};
use peregrinus::live::{Clock, Link, Listener, Order, Player, Wanted, World, listen, play};
use peregrinus::midi::{self, Connection, PortError, PortInfo, Ports, Sink};
use peregrinus::plan::{ChordSpan, TonalPlan};
use peregrinus::study::{events, study};
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use proptest::prelude::*;
use std::sync::atomic::{AtomicU64, Ordering::SeqCst};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// A clock that stands until it is set.
struct FakeClock {
    now: AtomicU64,
    jump: Sender<()>,
    jumps: Receiver<()>,
}

impl FakeClock {
    fn new() -> Arc<FakeClock> {
        let (jump, jumps) = bounded(1);
        Arc::new(FakeClock {
            now: AtomicU64::new(0),
            jump,
            jumps,
        })
    }

    fn set(&self, at: Time) {
        self.now.fetch_max(at.0, SeqCst);
        let _ = self.jump.try_send(());
    }
}

impl Clock for FakeClock {
    fn now(&self) -> Time {
        Time(self.now.load(SeqCst))
    }

    fn until(&self, _: Time) -> Duration {
        // Woken by jumps alone; this is only so that a failing test ends.
        Duration::from_secs(20)
    }

    fn jumps(&self) -> Receiver<()> {
        self.jumps.clone()
    }
}

/// Ports that the test plugs and unplugs.
#[derive(Clone, Default)]
struct FakePorts(Arc<Mutex<Shelf>>);

#[derive(Default)]
struct Shelf {
    there: Vec<PortInfo>,
    sink: Option<Sink>,
    changed: bool,
    fault: Option<PortError>,
}

impl FakePorts {
    fn plug(&self, name: &str, id: &str) {
        let mut shelf = self.0.lock().unwrap();
        shelf.there.push(PortInfo {
            name: name.into(),
            id: id.into(),
        });
        shelf.changed = true;
    }

    fn unplug(&self) {
        let mut shelf = self.0.lock().unwrap();
        shelf.there.clear();
        shelf.sink = None;
        shelf.changed = true;
    }

    fn unplug_one(&self, name: &str) {
        let mut shelf = self.0.lock().unwrap();
        shelf.there.retain(|p| p.name != name);
        shelf.changed = true;
    }

    fn fail(&self, fault: Option<PortError>) {
        let mut shelf = self.0.lock().unwrap();
        shelf.fault = fault;
        shelf.changed = true;
    }

    fn send(&self, bytes: &[u8]) -> bool {
        match &mut self.0.lock().unwrap().sink {
            Some(sink) => {
                sink(bytes);
                true
            }
            None => false,
        }
    }
}

struct Wire;
impl Connection for Wire {}

impl Ports for FakePorts {
    fn list(&mut self) -> Result<Vec<PortInfo>, PortError> {
        let shelf = self.0.lock().unwrap();
        shelf.fault.clone().map_or(Ok(shelf.there.clone()), Err)
    }

    fn open(&mut self, port: &PortInfo, sink: Sink) -> Result<Box<dyn Connection>, PortError> {
        let mut shelf = self.0.lock().unwrap();
        if !shelf.there.contains(port) {
            return Err(PortError::Gone {
                port: port.name.clone(),
            });
        }
        shelf.sink = Some(sink);
        Ok(Box::new(Wire))
    }

    fn changed(&mut self) -> Option<bool> {
        Some(std::mem::take(&mut self.0.lock().unwrap().changed))
    }
}

fn monitor() -> Monitor {
    Monitor::new(Arc::new(Catalogue::standard().clone())).unwrap()
}

fn start(record: Option<&std::path::Path>) -> (Listener, FakePorts, Arc<FakeClock>) {
    let (clock, ports) = (FakeClock::new(), FakePorts::default());
    ports.plug("a keyboard", "1");
    let world = World {
        clock: clock.clone(),
        ports: Box::new(ports.clone()),
    };
    let listener = listen(world, Wanted::default(), monitor(), &[], record).unwrap();
    (listener, ports, clock)
}

/// Waits for what another thread does; the limit only ends a failing test.
fn wait_for(mut done: impl FnMut() -> bool) {
    let limit = Instant::now() + Duration::from_secs(20);
    while !done() {
        assert!(Instant::now() < limit, "it never happened");
        std::thread::yield_now();
    }
}

#[test]
fn an_unplugged_keyboard_lets_go_of_its_notes_and_comes_back_by_itself() {
    let (mut listener, ports, clock) = start(None);
    assert_eq!(
        listener.feed.status().link,
        Link::Keyboard,
        "known from the start"
    );
    for round in 0u64..5 {
        clock.set(Time::millis(1000 * round + 100));
        assert!(ports.send(&[0x90, 60, 80, 0x90, 64, 80, 0xb0, 64, 127]));
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.held.count_ones() == 2)
        });
        ports.unplug();
        wait_for(|| listener.feed.status().link == Link::Lost);
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.sounding() == 0 && !r.damper)
        });
        let notice = listener.feed.status().notice.unwrap();
        assert!(notice.contains("a keyboard was unplugged"), "{notice}");
        ports.plug("a keyboard", &format!("again {round}"));
        wait_for(|| listener.feed.status().link == Link::Keyboard);
    }
    // The same name under another id at once: it was away all the same.
    clock.set(Time::millis(9000));
    assert!(ports.send(&[0x90, 60, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held != 0));
    ports.unplug();
    ports.plug("a keyboard", "unseen");
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held == 0));
    wait_for(|| ports.send(&[0x90, 62, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held == 1 << 62));
    assert!(!listener.feed.history().chords().is_empty());
}

#[test]
fn a_keyboard_that_was_held_is_waited_for_and_no_other_taken() {
    let (clock, ports) = (FakeClock::new(), FakePorts::default());
    ports.plug("Stage Piano", "1");
    ports.plug("Small Keys", "2");
    let names = Arc::new(Mutex::new(Vec::new()));
    let kept = names.clone();
    let wanted = Wanted {
        port: Some("stage".into()),
        remember: Some(Box::new(move |name| {
            kept.lock().unwrap().push(name.to_owned())
        })),
        ..Wanted::default()
    };
    let world = World {
        clock,
        ports: Box::new(ports.clone()),
    };
    let listener = listen(world, wanted, monitor(), &[], None).unwrap();
    let told = |link, notice: &str| {
        let s = listener.feed.status();
        s.link == link && s.name == "Stage Piano" && s.notice.is_some_and(|n| n.contains(notice))
    };
    ports.unplug_one("Stage Piano");
    wait_for(|| told(Link::Lost, "Stage Piano was unplugged"));
    // Others come and go, one of them with the part of a name that was asked for.
    ports.plug("Backstage Organ", "3");
    wait_for(|| !ports.0.lock().unwrap().changed);
    // The system goes and comes back: the line about it goes too.
    ports.fail(Some(PortError::NoServer));
    wait_for(|| told(Link::Lost, "no JACK server"));
    ports.fail(None);
    wait_for(|| told(Link::Lost, "Stage Piano is not there yet"));
    ports.plug("Stage Piano", "4");
    wait_for(|| told(Link::Keyboard, "Stage Piano is back"));
    assert_eq!(*names.lock().unwrap(), ["Stage Piano"]);
}

#[test]
fn active_sensing_that_stops_releases_the_notes() {
    let (listener, ports, clock) = start(None);
    clock.set(Time::millis(100));
    assert!(ports.send(&[0xfe, 0x90, 60, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held != 0));
    clock.set(Time::millis(400));
    assert!(ports.send(&[0xfe]));
    clock.set(Time::millis(650));
    wait_for(|| {
        listener
            .feed
            .reading()
            .is_some_and(|r| r.at >= Time::millis(640))
    });
    assert_ne!(
        listener.feed.reading().unwrap().held,
        0,
        "250 ms of silence are allowed"
    );
    clock.set(Time::millis(720));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held == 0));
}

/// Playing: (milliseconds to wait, bytes).
fn performance() -> impl Strategy<Value = Vec<(u64, Vec<u8>)>> {
    let message = prop_oneof![
        6 => (36u8..96, 1u8..127).prop_map(|(k, v)| vec![0x90, k, v]),
        6 => (36u8..96).prop_map(|k| vec![0x80, k, 0]),
        2 => prop_oneof![Just(0u8), Just(127), 40u8..80].prop_map(|v| vec![0xb0, 64, v]),
        1 => prop_oneof![Just(0u8), Just(127)].prop_map(|v| vec![0xb0, 66, v]),
        1 => Just(vec![0xb0, 123, 0]),
    ];
    let wait = prop_oneof![5 => 0u64..60, 3 => 60u64..900, 1 => 900u64..12_000];
    prop::collection::vec((wait, message), 1..150)
}

/// Regions, homes and chords as they stood at a moment.
fn clipped(history: &mut History, at: Time) -> (TonalPlan, Vec<ChordSpan>) {
    history.advance_to(at);
    let mut plan = history.plan().clone();
    for list in [&mut plan.regions, &mut plan.home] {
        list.retain(|r| r.start <= at);
        list.iter_mut().for_each(|r| r.end = r.end.min(at));
    }
    let mut chords = history.chords().to_vec();
    chords.retain(|c| c.start <= at);
    chords.iter_mut().for_each(|c| c.end = c.end.min(at));
    (plan, chords)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(24) })]

    #[test]
    fn what_was_captured_replays_to_the_identical_plan(playing in performance()) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("take.mid");
        let (mut listener, ports, clock) = start(Some(&file));
        let mut at = 0;
        for (i, (wait, bytes)) in playing.iter().enumerate() {
            at += wait;
            // Now and then the clock is asked in between, as a screen would.
            if i % 3 == 0 {
                clock.set(Time::millis(at - wait / 2));
            }
            clock.set(Time::millis(at));
            prop_assert!(ports.send(bytes));
            if i == playing.len() / 2 {
                // By a key, and by a change of the settings.
                listener.set(Event::Inertia(peregrinus::engine::Inertia::Motif));
                listener.set(Event::Bassist(true));
                listener.mark("here");
            }
        }
        let end = Time::millis(at + 500);
        clock.set(end);
        let last = Time::millis(at);
        wait_for(|| listener.feed.reading().is_some_and(|r| r.at > last));
        let mut live = listener.feed.history().clone();
        drop(listener);

        let read = midi::read(&std::fs::read(&file).unwrap()).unwrap();
        prop_assert_eq!(&read.faults, &vec![]);
        let marks = read.texts.iter().filter(|t| t.kind == midi::TextKind::Marker);
        prop_assert_eq!(marks.map(|t| t.text.as_str()).collect::<Vec<_>>(), vec!["here"]);
        prop_assert!(read.end >= last);
        let catalogue = Arc::new(Catalogue::standard().clone());
        let replayed = study(&read, monitor(), &catalogue);
        let mut heard = replayed.heard;
        // The two were asked at different moments after the last note.
        prop_assert_eq!(clipped(&mut live, last), clipped(&mut heard, last));
    }
}

fn etude() -> (Vec<(Time, Event)>, Time) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
    let performance = midi::read(&std::fs::read(path).unwrap()).unwrap();
    (events(&performance), performance.end)
}

fn straight(to: Time) -> History {
    let mut history = History::default();
    let mut monitor = monitor();
    for (at, event) in etude().0.into_iter().filter(|e| e.0 <= to) {
        monitor.on_event(at, event, &mut history);
    }
    monitor.advance_to(to, &mut history);
    history.advance_to(to);
    history
}

fn at(player: &Player, t: Time) -> bool {
    player.position().at == t
}

#[test]
fn a_file_plays_at_its_pace_and_seeking_leaves_no_trace() {
    let (events, end) = etude();
    let clock = FakeClock::new();
    let mut player = play(
        "étude",
        events,
        end,
        monitor(),
        clock.clone(),
        Order::Pause(true),
    );
    let seconds = Time::from_seconds;
    for to in [40.0, 12.5, 33.0, 33.0, 5.0, 61.0, 20.0] {
        player.order(Order::Seek(seconds(to)));
        wait_for(|| at(&player, seconds(to)));
    }
    let history = player.feed.history();
    assert_eq!(history.plan(), straight(seconds(20.0)).plan());
    assert_eq!(history.chords(), straight(seconds(20.0)).chords());

    // Half the pace: two seconds of the clock are one of the file.
    player.order(Order::Speed(0.5));
    player.order(Order::Pause(false));
    wait_for(|| !player.position().paused);
    clock.set(seconds(20.0));
    wait_for(|| at(&player, seconds(30.0)));
    player.order(Order::Pause(true));
    wait_for(|| player.position().paused);
    clock.set(seconds(50.0));
    std::thread::yield_now();
    assert_eq!(player.position().at, seconds(30.0));

    // Between two points, round and round.
    player.order(Order::Repeat(Some((seconds(28.0), seconds(31.0)))));
    player.order(Order::Speed(1.0));
    player.order(Order::Pause(false));
    wait_for(|| !player.position().paused);
    for i in 1..9 {
        clock.set(seconds(50.0 + f64::from(i)));
        wait_for(|| {
            let p = player.position().at;
            p >= seconds(28.0) && p < seconds(31.0)
        });
    }
    player.order(Order::Repeat(None));
    wait_for(|| player.position().repeat.is_none());
    clock.set(seconds(200.0));
    wait_for(|| player.position().ended);
    assert_eq!(player.position().at, end);
    let history = player.feed.history();
    history.advance_to(end);
    assert_eq!(history.plan(), straight(end).plan());
}

/// Asked for on the engine's thread, worked out on another, of the moment that it was asked at.
#[test]
fn what_decides_is_told_on_demand() {
    let (events, end) = etude();
    let pause = Order::Pause(true);
    let player = play("étude", events, end, monitor(), FakeClock::new(), pause);
    let explain = |at: Time| {
        player.order(Order::Seek(at));
        player.order(Order::Explain);
        let step = Time::millis(100);
        let told = || player.feed.explanation();
        wait_for(|| told().is_some_and(|e| e.at <= at && at.since(e.at) <= step));
        told().unwrap()
    };
    assert_eq!(player.feed.explanation(), None);
    for seconds in [20.0, 41.5] {
        let at = Time::from_seconds(seconds);
        let told = explain(at);
        let mut alone = monitor();
        for (at, event) in etude().0.into_iter().filter(|e| e.0 <= at) {
            alone.on_event(at, event, &mut ());
        }
        alone.advance_to(at, &mut ());
        assert_eq!(alone.case().map(|c| c.explain()), Some(told));
        assert!(told.causes.iter().flatten().count() > 3);
    }

    let (listener, ports, clock) = start(None);
    // Before the first note there is nothing to tell.
    listener.explain();
    clock.set(Time::millis(100));
    assert!(ports.send(&[0x90, 50, 80, 0x90, 57, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held != 0));
    assert_eq!(listener.feed.explanation(), None);
    clock.set(Time::millis(1_300));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.here.is_some()));
    listener.explain();
    wait_for(|| listener.feed.explanation().is_some());
    let told = listener.feed.explanation().unwrap();
    assert_eq!(told.since, Time::millis(100));
    let reading = listener.feed.reading().unwrap();
    assert_eq!(reading.here.map(|h| h.tonality), Some(told.tonality));
}

/// Whoever read the feed has stopped, and more is waiting than it holds.
#[test]
fn a_feed_that_nobody_reads_does_not_hold_up_the_end() {
    let note = |i: u64| {
        let (channel, key, velocity) = (0, 40 + (i % 40) as u8, 64);
        let on = midi::Event::NoteOn {
            channel,
            key,
            velocity,
        };
        let off = midi::Event::NoteOff { channel, key };
        [
            (Time::millis(2 * i), on.into()),
            (Time::millis(2 * i + 1), off.into()),
        ]
    };
    let events = (0..20_000).flat_map(note).collect();
    let end = Time::from_seconds(50.0);
    let clock = FakeClock::new();
    let player = play(
        "black",
        events,
        end,
        monitor(),
        clock.clone(),
        Order::Speed(1.0),
    );
    let started = Instant::now();
    // The engine's thread anchors the file to the clock before it publishes.
    wait_for(|| player.feed.reading().is_some());
    clock.set(Time::from_seconds(60.0));
    // It fills the feed, and waits; or it would be at the end.
    while started.elapsed() < Duration::from_secs(3) {
        assert!(!player.position().ended, "the feed holds everything");
        std::thread::sleep(Duration::from_millis(20));
    }
    let (gone, told) = bounded(1);
    std::thread::spawn(move || {
        drop(player);
        let _ = gone.send(());
    });
    assert!(told.recv_timeout(Duration::from_secs(20)).is_ok(), "stuck");
}
