//! The live part as a whole, with a clock and ports of our own: no sound hardware,
//! no sleeping for music.

use crossbeam_channel::{Receiver, Sender, bounded};
use peregrinus::correction::{Center, Correction, Revision, Signature};
use peregrinus::engine::{
    Aside, Bassist, Event, Fading, Filter, HarmonyFrom, History, Inertia, Monitor, Reading,
};
use peregrinus::listing::Progress;
use peregrinus::live::{
    About, Clock, Keep, Library, Listener, Order, Player, SetClick, Sittings, SystemClock, Wanted,
    World, listen, play,
};
use peregrinus::meter::Tempo;
use peregrinus::midi::{self, Connection, PortError, PortInfo, Ports, Sink, Trigger};
use peregrinus::performer::Performer;
use peregrinus::plan::{ChordSpan, Marker, Region, TonalPlan};
use peregrinus::recording::{self, Recording};
use peregrinus::screen::Action;
use peregrinus::settings::Settings;
use peregrinus::sittings::{Folder, Recovered, recover};
use peregrinus::source::{Keeping, Link, Repeat};
use peregrinus::stage::{Request, Stage};
use peregrinus::study::study;
use peregrinus::theory::{Catalogue, KeySet, PitchClass, Spelling};
use peregrinus::time::Time;
use proptest::prelude::*;
use std::fs::File;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering::SeqCst};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

#[path = "live/disk.rs"]
mod disk;
#[path = "live/keyboards.rs"]
mod keyboards;
#[cfg(unix)]
#[path = "python/mod.rs"]
mod python;
#[cfg(target_os = "linux")]
#[path = "live/soak.rs"]
mod soak;

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
    /// By the name of the port.
    sinks: Vec<(String, Sink)>,
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
        shelf.sinks.clear();
        shelf.changed = true;
    }

    fn unplug_one(&self, name: &str) {
        let mut shelf = self.0.lock().unwrap();
        shelf.there.retain(|p| p.name != name);
        shelf.sinks.retain(|(port, _)| port != name);
        shelf.changed = true;
    }

    fn fail(&self, fault: Option<PortError>) {
        let mut shelf = self.0.lock().unwrap();
        shelf.fault = fault;
        shelf.changed = true;
    }

    fn send(&self, bytes: &[u8]) -> bool {
        self.send_where(|_| true, bytes)
    }

    fn send_from(&self, name: &str, bytes: &[u8]) -> bool {
        self.send_where(|port| port == name, bytes)
    }

    fn send_where(&self, is: impl Fn(&str) -> bool, bytes: &[u8]) -> bool {
        let sinks = &mut self.0.lock().unwrap().sinks;
        let sink = sinks.iter_mut().find(|(port, _)| is(port));
        sink.map(|(_, sink)| sink(bytes)).is_some()
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
        shelf.sinks.retain(|(name, _)| *name != port.name);
        shelf.sinks.push((port.name.clone(), sink));
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
    start_with(Vec::new(), record)
}

fn start_with(
    jobs: Vec<Trigger>,
    record: Option<&std::path::Path>,
) -> (Listener, FakePorts, Arc<FakeClock>) {
    let record = record.map(Path::to_owned);
    let keep = Keep {
        record,
        ..Keep::default()
    };
    start_keeping(jobs, keep)
}

fn start_keeping(jobs: Vec<Trigger>, keep: Keep) -> (Listener, FakePorts, Arc<FakeClock>) {
    let wanted = Wanted {
        jobs,
        ..Wanted::default()
    };
    start_on(wanted, &["a keyboard"], keep)
}

/// With these keyboards plugged in.
fn start_on(wanted: Wanted, there: &[&str], keep: Keep) -> (Listener, FakePorts, Arc<FakeClock>) {
    let (clock, ports) = (FakeClock::new(), FakePorts::default());
    for name in there {
        ports.plug(name, name);
    }
    let world = World {
        clock: clock.clone(),
        ports: Box::new(ports.clone()),
    };
    let listener = listen(world, wanted, monitor(), &[], keep).unwrap();
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
        wait_for(|| listener.feed.reading().is_some_and(|r| r.held.len() == 2));
        ports.unplug();
        wait_for(|| listener.feed.status().link == Link::Lost);
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.sounding().is_empty() && !r.damper)
        });
        let notice = listener.feed.status().notice.unwrap();
        assert!(notice.contains("a keyboard was unplugged"), "{notice}");
        ports.plug("a keyboard", &format!("again {round}"));
        wait_for(|| listener.feed.status().link == Link::Keyboard);
    }
    // The same name under another id at once: it was away all the same.
    clock.set(Time::millis(9000));
    assert!(ports.send(&[0x90, 60, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| !r.held.is_empty()));
    ports.unplug();
    ports.plug("a keyboard", "unseen");
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held.is_empty()));
    wait_for(|| ports.send(&[0x90, 62, 80]));
    wait_for(|| {
        listener
            .feed
            .reading()
            .is_some_and(|r| r.held == KeySet::of(62))
    });
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
        ports: vec!["stage".into()],
        remember: Some(Box::new(move |name| {
            kept.lock().unwrap().push(name.to_owned())
        })),
        ..Wanted::default()
    };
    let world = World {
        clock,
        ports: Box::new(ports.clone()),
    };
    let listener = listen(world, wanted, monitor(), &[], Keep::default()).unwrap();
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
    wait_for(|| listener.feed.reading().is_some_and(|r| !r.held.is_empty()));
    clock.set(Time::millis(400));
    assert!(ports.send(&[0xfe]));
    clock.set(Time::millis(650));
    wait_for(|| {
        listener
            .feed
            .reading()
            .is_some_and(|r| r.at >= Time::millis(640))
    });
    assert!(
        !listener.feed.reading().unwrap().held.is_empty(),
        "250 ms of silence are allowed"
    );
    clock.set(Time::millis(720));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.held.is_empty()));
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

/// Regions, homes, chords, asides and what the player said, as they stood at a moment.
type Stood = (
    TonalPlan,
    Vec<ChordSpan>,
    Vec<(Time, Time)>,
    Vec<(Time, Option<Spelling>)>,
);

fn clipped(history: &mut History, at: Time) -> Stood {
    history.advance_to(at);
    let mut plan = history.plan().clone();
    for list in [&mut plan.regions, &mut plan.home] {
        list.retain(|r| r.start <= at);
        list.iter_mut().for_each(|r| r.end = r.end.min(at));
    }
    let mut chords = history.chords().to_vec();
    chords.retain(|c| c.start <= at);
    chords.iter_mut().for_each(|c| c.end = c.end.min(at));
    let asides = history.asides().map(|(from, to)| (from, to.min(at)));
    let stated = history.stated().to_vec();
    (plan, chords, asides.collect(), stated)
}

const HARMONY: [HarmonyFrom; 3] = [
    HarmonyFrom::All,
    HarmonyFrom::One(midi::Keyboard::FIRST),
    HarmonyFrom::One(midi::Keyboard::ALL[1]),
];

/// What a player may say beside the music.
#[derive(Clone, Debug)]
enum Word {
    Set(Event),
    Mark,
    Keep,
}

fn word() -> impl Strategy<Value = Word> {
    let pin = [
        "D dorian",
        "Eb mixolydian",
        "F# phrygian_dominant",
        "Cb lydian",
    ];
    let pin = prop::sample::select(pin.to_vec()).prop_map(|name| {
        let t = Catalogue::standard().parse_tonality(name).unwrap();
        Event::Pin(Some(t))
    });
    let said = prop_oneof![
        3 => pin,
        1 => Just(Event::Pin(None)),
        2 => (0..12).prop_map(|n| Event::HomeIs(Some(PitchClass::new(n)))),
        1 => Just(Event::HomeIs(None)),
        3 => prop_oneof![Just(Aside::Begins), Just(Aside::Ends)].prop_map(Event::Aside),
        1 => prop_oneof![Just(Inertia::Motif), Just(Inertia::Section)].prop_map(Event::Inertia),
        1 => prop_oneof![Just(Fading::Sustained), Just(Fading::Struck)].prop_map(Event::Fading),
        1 => prop_oneof![Just(Bassist::Plays), Just(Bassist::Absent)].prop_map(Event::Bassist),
        1 => prop::sample::select(HARMONY.to_vec()).prop_map(Event::HarmonyFrom),
        1 => (-3i8..4).prop_map(|transpose| Event::Filter(Filter { transpose, ..Filter::default() })),
    ];
    prop_oneof![4 => said.prop_map(Word::Set), 2 => Just(Word::Mark), 1 => Just(Word::Keep)]
}

/// Two keyboards that play together.
const PAIR: [&str; 2] = ["Teacher", "Pupil"];

/// Where what is played is kept.
#[derive(Clone, Copy, Debug)]
enum Keeps {
    Recording,
    Sitting,
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    #[test]
    fn what_was_captured_replays_to_the_identical_plan(
        playing in performance(),
        // From which of two keyboards each message comes; from one, if there are none.
        from in prop_oneof![Just(vec![]), prop::collection::vec(any::<bool>(), 20)],
        words in prop::collection::vec((any::<prop::sample::Index>(), word()), 0..8),
        keeps in prop_oneof![Just(Keeps::Recording), Just(Keeps::Sitting)],
    ) {
        let mut playing = playing;
        let folder = tempfile::tempdir().unwrap();
        let (file, keep) = match keeps {
            Keeps::Recording => {
                let file = folder.path().join("take.mid");
                let record = Some(file.clone());
                (file, Keep { record, ..Keep::default() })
            }
            // A sitting begins with its first note: at once, so that both count from the same.
            Keeps::Sitting => {
                playing.insert(0, (0, vec![0x90, 60, 80]));
                let file = Folder::new(folder.path()).path("2026-11-29_20-15-03");
                (file, keeping(folder.path()))
            }
        };
        let several = !from.is_empty();
        let wanted = Wanted {
            ports: if several { PAIR.map(String::from).to_vec() } else { vec![] },
            ..Wanted::default()
        };
        let (mut listener, ports, clock) = start_on(wanted, if several { &PAIR } else { &PAIR[..1] }, keep);
        let mut at = 0;
        for (i, (wait, bytes)) in playing.iter().enumerate() {
            at += wait;
            // Now and then the clock is asked in between, as a screen would.
            if i % 3 == 0 {
                clock.set(Time::millis(at - wait / 2));
            }
            clock.set(Time::millis(at));
            let second = several && from[i % from.len()];
            prop_assert!(ports.send_from(PAIR[usize::from(second)], bytes));
            for (_, word) in words.iter().filter(|w| w.0.index(playing.len()) == i) {
                match word {
                    Word::Set(event) => listener.order(Order::Set(*event)),
                    Word::Mark => listener.order(Order::Mark("here".into(), About::Phrase)),
                    Word::Keep => listener.order(Order::Mark("kept".into(), About::Last(Time::millis(30_000)))),
                }
            }
        }
        let last = Time::millis(at);
        // What was said is taken in before time goes on: the last word comes back.
        listener.order(Order::Mark("here".into(), About::Phrase));
        let set = words.iter().filter(|w| !matches!(w.1, Word::Set(_))).count();
        let mut markers = Vec::new();
        wait_for(|| {
            markers.extend(listener.feed.markers());
            markers.len() == set + 1
        });
        clock.set(Time::millis(at + 500));
        wait_for(|| listener.feed.reading().is_some_and(|r| r.at > last + Time::millis(400)));
        let mut live = listener.feed.history().clone();
        drop(listener);

        let read = read(&file);
        prop_assert!(read.faults.is_empty());
        prop_assert!(read.end >= last);
        let catalogue = Arc::new(Catalogue::standard().clone());
        let replayed = study(&read, monitor(), &catalogue);
        prop_assert_eq!(&markers, &replayed.markers);
        let mut heard = replayed.heard;
        for m in markers {
            let phrase = heard.phrase_before(m.at);
            let kept = (m.at - Time::millis(30_000), m.at);
            prop_assert_eq!(m.about, Some(if m.name == "here" { phrase } else { kept }));
        }
        // The two were asked at different moments after the last note.
        prop_assert_eq!(clipped(&mut live, last), clipped(&mut heard, last));
        if let Keeps::Sitting = keeps {
            same_plan_or_none(&read);
        }
        // Each has a track with its name.
        let second = |t: &midi::Timed| t.event.keyboard().is_some_and(|k| k.index() == 1);
        if read.notes.iter().any(second) {
            prop_assert_eq!(&read.keyboards[1], PAIR[1]);
            let bytes = std::fs::read(&file).unwrap();
            prop_assert!(keyboards::tracks(&bytes).contains(&PAIR[1].to_owned()));
        }
    }
}

fn read(file: impl AsRef<Path>) -> Recording {
    let bytes = std::fs::read(file).unwrap();
    recording::read(&bytes, Catalogue::standard()).unwrap()
}

fn etude() -> (Vec<(Time, Event)>, Time) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");
    let recording = read(path);
    (recording.events().collect(), recording.end)
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
    player.transport().position == t
}

#[test]
fn a_file_plays_at_its_pace_and_seeking_leaves_no_trace() {
    let (events, end) = etude();
    let clock = FakeClock::new();
    let mut player = play("étude", events, end, monitor(), clock.clone(), Order::Pause);
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
    player.order(Order::Resume);
    wait_for(|| !player.transport().paused);
    clock.set(seconds(20.0));
    wait_for(|| at(&player, seconds(30.0)));
    player.order(Order::Pause);
    wait_for(|| player.transport().paused);
    clock.set(seconds(50.0));
    std::thread::yield_now();
    assert_eq!(player.transport().position, seconds(30.0));

    // Between two points, round and round.
    player.order(Order::Repeat(Repeat::Between(seconds(28.0), seconds(31.0))));
    player.order(Order::Speed(1.0));
    player.order(Order::Resume);
    wait_for(|| !player.transport().paused);
    for i in 1..9 {
        clock.set(seconds(50.0 + f64::from(i)));
        wait_for(|| {
            let p = player.transport().position;
            p >= seconds(28.0) && p < seconds(31.0)
        });
    }
    player.order(Order::Repeat(Repeat::Off));
    wait_for(|| player.transport().repeat == Repeat::Off);
    clock.set(seconds(200.0));
    wait_for(|| player.transport().ended);
    assert_eq!(player.transport().position, end);
    let history = player.feed.history();
    history.advance_to(end);
    assert_eq!(history.plan(), straight(end).plan());
}

/// A marker belongs to the moment that the file had reached, and to the phrase before it;
/// so does what the listener says. Pins are for all of the file.
#[test]
fn a_file_is_marked_and_spoken_over() {
    let (events, end) = etude();
    let pause = Order::Pause;
    let mut player = play("étude", events, end, monitor(), FakeClock::new(), pause);
    let seconds = Time::from_seconds;
    let go = |player: &Player, to: Time| {
        player.order(Order::Seek(to));
        wait_for(|| at(player, to));
    };
    go(&player, seconds(30.0));
    player.order(Order::Mark("1".into(), About::Phrase));
    player.order(Order::Mark("kept 1".into(), About::Last(seconds(12.5))));
    let mut markers = Vec::new();
    wait_for(|| {
        markers.extend(player.feed.markers());
        markers.len() == 2
    });
    let marker = |name: &str, about| Marker {
        at: seconds(30.0),
        about: Some(about),
        name: name.into(),
    };
    let phrase = straight(seconds(30.0)).phrase_before(seconds(30.0));
    assert!(phrase.0 < seconds(28.5) && phrase.1 == seconds(30.0));
    let kept = (seconds(17.5), seconds(30.0));
    assert_eq!(markers, [marker("1", phrase), marker("kept 1", kept)]);

    let pinned = Catalogue::standard()
        .parse_tonality("Eb mixolydian")
        .unwrap();
    let pinned = Some(pinned);
    player.order(Order::Set(Event::Pin(pinned)));
    player.order(Order::Set(Event::HomeIs(Some(PitchClass::new(9)))));
    player.order(Order::Set(Event::Aside(Aside::Begins)));
    go(&player, seconds(36.0));
    player.order(Order::Set(Event::Aside(Aside::Ends)));
    // There and back again, over all checkpoints.
    for to in [58.0, 12.0, 33.0, 45.0, 5.0] {
        let to = seconds(to);
        go(&player, to);
        let reading = || player.feed.reading().filter(|r| r.at == to);
        wait_for(|| reading().is_some());
        let reading = reading().unwrap();
        let aside = (seconds(30.0)..seconds(36.0)).contains(&to);
        assert_eq!(reading.aside, aside.then_some(seconds(30.0)));
        assert_eq!(reading.within(), pinned);
        let said = reading.stated.map(|(note, at)| (note.pitch_class(), at));
        let want = (PitchClass::new(9), seconds(30.0));
        assert_eq!(said, (to >= seconds(30.0)).then_some(want));
    }
    go(&player, seconds(50.0));
    let history = player.feed.history().clone();
    let asides: Vec<_> = history.asides().collect();
    assert_eq!(asides, [(seconds(30.0), seconds(36.0))]);
    let inside = |r: &peregrinus::plan::Region| r.end > seconds(30.0) && r.start < seconds(36.0);
    assert!(!history.plan().regions.iter().any(inside));
    assert!(
        history
            .plan()
            .regions
            .iter()
            .any(|r| r.start > seconds(36.0))
    );
    let chords = history.chords().iter().filter(|c| c.start > seconds(36.0));
    assert!(chords.clone().count() > 3);
    assert!(chords.into_iter().all(|c| c.within == pinned));
    let inside = |c: &ChordSpan| c.end > seconds(30.0) && c.start < seconds(36.0);
    assert!(!history.chords().iter().any(inside));
}

/// A key and a controller with a job: told to the screen, which is woken, and neither heard
/// nor recorded.
#[test]
fn jobs_from_the_piano() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("take.mid");
    let jobs = ["controller 67", "key C8", "controller 20"];
    let jobs = jobs.map(|t| t.parse().unwrap()).to_vec();
    let (mut listener, ports, clock) = start_with(jobs, Some(&file));
    clock.set(Time::millis(100));
    let music = [0x90, 60, 80, 0xb0, 64, 127];
    assert!(ports.send(&[&music[..], &[0xb0, 67, 127, 67, 0]].concat()));
    assert!(ports.send(&[0x90, 108, 80, 108, 0, 0xb0, 20, 63, 20, 64, 21, 127]));
    let mut done = Vec::new();
    wait_for(|| {
        let _ = listener.feed.news().recv_timeout(Duration::from_secs(20));
        done.extend(listener.feed.jobs().map(|job| job.number));
        done.len() == 3
    });
    assert_eq!(done, [0, 1, 2]);
    let reading = listener.feed.reading().unwrap();
    assert_eq!((reading.held, reading.damper), (KeySet::of(60), true));
    assert_eq!(listener.feed.history().chords().len(), 1);
    listener.finish().unwrap();
    let read = read(&file);
    let (channel, key) = (midi::Channel::ALL[0], 60);
    let velocity = 80;
    let heard = [
        midi::Event::NoteOn {
            channel,
            key,
            velocity,
        },
        midi::Event::Damper {
            channel,
            value: 127,
        },
    ];
    assert_eq!(
        read.notes.iter().map(|t| t.event).collect::<Vec<_>>(),
        heard
    );
}

/// From the words of the settings to what is asked for: the place in the list is the link.
#[test]
fn jobs_from_the_settings() {
    let mut settings = Settings::standard().unwrap();
    let text = "[jobs]\ninertia-heavier = 'controller 67'\nmarker = ['key C8', 'key A0']\n";
    settings.override_with(text, "s.toml".as_ref()).unwrap();
    let triggers = settings.jobs.iter().map(|job| job.trigger).collect();
    let (mut listener, ports, clock) = start_with(triggers, None);
    clock.set(Time::millis(100));
    let mut done = Vec::new();
    for (bytes, count) in [
        (&[0x90, 21, 80, 0x90, 60, 80][..], 1),
        (&[0xb0, 67, 127], 2),
        (&[0x90, 108, 1], 3),
    ] {
        assert!(ports.send(bytes));
        wait_for(|| {
            let _ = listener.feed.news().recv_timeout(Duration::from_millis(20));
            done.extend(listener.feed.jobs().map(|job| job.number));
            done.len() == count
        });
    }
    let reading = listener.feed.reading().unwrap();
    let requests: Vec<Option<Request>> = done
        .iter()
        .map(|&n| Action::named(settings.jobs[n].action))
        .map(|action| action.and_then(|a| a.request(&reading)))
        .collect();
    let marks = Some(Request::Mark);
    let heavier = Some(Request::Inertia(Inertia::Period));
    assert_eq!(requests, [marks, heavier, marks]);
    assert_eq!(reading.held, KeySet::of(60), "only the music is heard");
    assert_eq!(listener.feed.history().chords().len(), 1);
}

/// Asked for on the engine's thread, worked out on another, of the moment that it was asked at.
#[test]
fn what_decides_is_told_on_demand() {
    let (events, end) = etude();
    let pause = Order::Pause;
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
    listener.order(Order::Explain);
    clock.set(Time::millis(100));
    assert!(ports.send(&[0x90, 50, 80, 0x90, 57, 80]));
    wait_for(|| listener.feed.reading().is_some_and(|r| !r.held.is_empty()));
    assert_eq!(listener.feed.explanation(), None);
    clock.set(Time::millis(1_300));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.here.is_some()));
    listener.order(Order::Explain);
    wait_for(|| listener.feed.explanation().is_some());
    let told = listener.feed.explanation().unwrap();
    assert_eq!(told.since, Time::millis(100));
    let reading = listener.feed.reading().unwrap();
    assert_eq!(
        reading.here.map(|h| h.spelled.tonality),
        Some(told.spelled.tonality)
    );
}

/// Whoever read the feed has stopped, and more is waiting than it holds.
#[test]
fn a_feed_that_nobody_reads_does_not_hold_up_the_end() {
    let note = |i: u64| {
        let (channel, key, velocity) = (midi::Channel::ALL[0], 40 + (i % 40) as u8, 64);
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
        assert!(!player.transport().ended, "the feed holds everything");
        std::thread::sleep(Duration::from_millis(20));
    }
    let (gone, told) = bounded(1);
    std::thread::spawn(move || {
        drop(player);
        let _ = gone.send(());
    });
    assert!(told.recv_timeout(Duration::from_secs(20)).is_ok(), "stuck");
}

/// Sittings in a folder of the test, by a calendar that stands.
fn keeping(root: &Path) -> Keep {
    keeping_on(root, File::sync_data)
}

/// The same, on a disk of the test's own.
fn keeping_on(
    root: &Path,
    to_disk: impl FnMut(&File) -> std::io::Result<()> + Send + 'static,
) -> Keep {
    let calendar = || {
        let when = "2026-11-29T20:15:03+01:00[+01:00]".parse();
        when.expect("a date")
    };
    let sittings = Sittings {
        folder: Folder::new(root),
        calendar: Box::new(calendar),
        to_disk: Box::new(to_disk),
        rest: Time::millis(60_000),
        days: None,
    };
    Keep {
        sittings: Some(sittings),
        ..Keep::default()
    }
}

/// Plays chords of three keys, a second each, from `at` on; returns when the last ends.
fn play_chords(ports: &FakePorts, clock: &FakeClock, mut at: Time, chords: &[[u8; 3]]) -> Time {
    for chord in chords {
        clock.set(at);
        for &key in chord {
            ports.send(&[0x90, key, 80]);
        }
        at += Time::millis(900);
        clock.set(at);
        for &key in chord {
            ports.send(&[0x80, key, 0]);
        }
        at += Time::millis(100);
    }
    clock.set(at);
    at
}

/// D Dorian: i and IV.
const SHUTTLE: [[u8; 3]; 8] = {
    let (i, iv) = ([50, 65, 69], [55, 71, 74]);
    [i, iv, i, iv, i, iv, i, iv]
};

fn sitting(root: &Path, id: &str) -> Recording {
    let bytes = std::fs::read(Folder::new(root).path(id)).expect("a sitting");
    let recording = recording::read(&bytes, Catalogue::standard()).expect("a recording");
    assert!(recording.faults.is_empty());
    // Another reader than ours.
    assert!(midly::Smf::parse(&bytes).is_ok_and(|smf| smf.tracks.len() == 3));
    recording
}

/// The name that a file has, if it can be read.
fn name_of(path: &Path) -> Option<String> {
    let bytes = std::fs::read(path).ok()?;
    recording::read(&bytes, Catalogue::standard())
        .ok()?
        .facts
        .name
}

/// What is said of it when it is read again is what was said of it live.
fn same_plan(recording: &Recording) {
    let kept = &recording.facts.heard;
    assert!(!kept.regions.is_empty() && !kept.home.is_empty());
    same_plan_or_none(recording);
}

/// The same, where there may have been too little for a plan.
fn same_plan_or_none(recording: &Recording) {
    let study = study(
        recording,
        monitor(),
        &Arc::new(Catalogue::standard().clone()),
    );
    let plan = study.heard.plan();
    let kept = &recording.facts.heard;
    let close = |a: &[Region], b: &[Region]| {
        assert_eq!(a.len(), b.len(), "{a:?} {b:?}");
        for (a, b) in a.iter().zip(b) {
            assert_eq!(
                (a.start, a.end, a.since, a.spelled, a.open),
                (b.start, b.end, b.since, b.spelled, b.open)
            );
            // Four digits are written.
            assert!((a.probability - b.probability).abs() < 1e-4);
        }
    };
    close(&plan.regions, &kept.regions);
    close(&plan.home, &kept.home);
}

/// From the first note, without being asked; the second after a rest is a sitting of its own,
/// read again exactly as it was heard.
#[test]
fn sittings_are_kept_and_read_again_as_they_were_heard() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("a").join("sittings");
    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(&root));
    wait_for(|| listener.feed.status().keeping == Keeping::Ready);
    listener.order(Order::Set(Event::Inertia(Inertia::Motif)));
    let inertia = |r: Reading| r.inertia == Inertia::Motif;
    wait_for(|| listener.feed.reading().is_some_and(inertia));
    let end = play_chords(&ports, &clock, Time::millis(5_000), &SHUTTLE);
    listener.order(Order::NameSitting(1, "Évening".into()));
    let growing = root.join("growing").join("2026-11-29_20-15-03.mid");
    wait_for(|| name_of(&growing).is_some());
    // The pedal stays down over the rest, and belongs to what comes after it.
    ports.send(&[0xb0, 64, 127]);
    clock.set(end + Time::millis(10));
    wait_for(|| listener.feed.status().keeping == Keeping::Growing);
    clock.set(end + Time::millis(70_000));
    wait_for(|| listener.feed.status().keeping == Keeping::Ready);
    let kept = listener.feed.status().about_sittings.unwrap();
    assert_eq!(kept, "kept as 2026-11-29_20-15-03");
    // A fifth up: G Dorian, and home is said anew.
    let up = SHUTTLE.map(|chord| chord.map(|key| key + 5));
    let again = play_chords(&ports, &clock, end + Time::millis(90_000), &up);
    clock.set(again + Time::millis(50));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.at > again));
    listener.finish().unwrap();

    let first = sitting(&root, "2026-11-29_20-15-03");
    assert_eq!(
        first.facts.begun.as_deref(),
        Some("2026-11-29T20:15:03+01:00")
    );
    assert!(!first.facts.cut_off && first.notes.len() == 49);
    assert_eq!(first.facts.name.as_deref(), Some("Évening"));
    let second = sitting(&root, "2026-11-29_20-15-03-2");
    let pedal = |r: &Recording| matches!(r.notes[0].event, midi::Event::Damper { value: 127, .. });
    assert!(!pedal(&first) && pedal(&second));
    let inertia = Event::Inertia(Inertia::Motif);
    for (recording, center) in [(&first, 2), (&second, 7)] {
        assert_eq!(recording.said.first().map(|s| s.event), Some(inertia));
        assert_eq!(recording.notes.iter().map(|t| t.at).min(), Some(Time::ZERO));
        let here = recording.facts.heard.regions[0].spelled.tonality;
        assert_eq!(here.center, PitchClass::new(center));
        same_plan(recording);
    }
    assert!(Folder::new(&root).cut_off().unwrap().is_empty());
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!((mode(&root), mode(&root.join("growing"))), (0o700, 0o700));
        let path = Folder::new(&root).path("2026-11-29_20-15-03");
        assert_eq!(mode(&path), 0o600);
    }
}

/// From the file at once, from a recording when it is finished; what is played before, after and
/// over its edges stays, and so does the plan.
#[test]
fn an_aside_is_thrown_away() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let take = folder.path().join("take.mid");
    let keep = Keep {
        record: Some(take.clone()),
        ..keeping(&root)
    };
    let (listener, ports, clock) = start_keeping(Vec::new(), keep);
    let about = || listener.feed.status().about_sittings.unwrap_or_default();
    let struck = |r: &Recording| -> Vec<u8> {
        let on = |t: &midi::Timed| match t.event {
            midi::Event::NoteOn { key, .. } => Some(key),
            _ => None,
        };
        r.notes.iter().filter_map(on).collect()
    };
    let all = [SHUTTLE, SHUTTLE].concat().concat();
    listener.order(Order::ThrowAside);
    let mut at = play_chords(&ports, &clock, Time::millis(1_000), &SHUTTLE);
    wait_for(|| {
        listener
            .feed
            .reading()
            .is_some_and(|r| r.at + Time::millis(10) > at)
    });
    listener.order(Order::ThrowAside);
    wait_for(|| about() == "no aside of this sitting has notes to throw away");
    let aside = |edge| {
        listener.order(Order::Set(Event::Aside(edge)));
        let is = edge == Aside::Begins;
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.aside.is_some() == is)
        });
    };
    aside(Aside::Begins);
    at = play_chords(
        &ports,
        &clock,
        at + Time::millis(500),
        &[[61, 63, 66], [68, 70, 73]],
    );
    listener.order(Order::Mark("inside".into(), About::Phrase));
    wait_for(|| {
        listener
            .feed
            .reading()
            .is_some_and(|r| r.at + Time::millis(10) > at)
    });
    // It is thrown away while it goes on, which ends it.
    listener.order(Order::ThrowAside);
    wait_for(|| about().ends_with("are gone from this sitting for good"));
    assert_eq!(listener.feed.reading().map(|r| r.aside), Some(None));
    let growing = root.join("growing").join("2026-11-29_20-15-03.mid");
    assert_eq!(struck(&read(&growing)), all[..24]);
    at = play_chords(&ports, &clock, at + Time::millis(500), &SHUTTLE);
    clock.set(at + Time::millis(50));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.at > at));
    listener.finish().unwrap();
    let kept = sitting(&root, "2026-11-29_20-15-03");
    same_plan(&kept);
    for recording in [kept, read(&take)] {
        assert!(recording.faults.is_empty());
        assert_eq!(struck(&recording), all);
        assert_eq!(recording.markers, []);
        let said: Vec<Event> = recording.said.iter().map(|s| s.event).collect();
        assert_eq!(said, [Aside::Begins, Aside::Ends].map(Event::Aside));
    }
}

/// What is played while the list is open, while a sitting of another day is looked back on and
/// played, and while settings change there, is kept with the rest, and heard as if it had been
/// on the screen.
#[test]
fn what_is_played_while_another_sitting_is_shown_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let catalogue = Arc::new(Catalogue::standard().clone());
    Folder::new(&root).make().unwrap();
    let etude = include_bytes!("../recordings/05_ferry_lamp.mid");
    std::fs::write(Folder::new(&root).path("ferry lamp"), etude).unwrap();

    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(&root));
    wait_for(|| listener.feed.status().keeping == Keeping::Ready);
    let signed = || Signature {
        who: "anna".into(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let library = Library::new(Folder::new(&root), Arc::clone(&catalogue), signed);
    let mut performer = Performer::new(monitor().reading())
        .with_keyboard(listener, None)
        .with_library(library, monitor());
    let chords = |at, few: usize| play_chords(&ports, &clock, at, &SHUTTLE[..few]);
    let mut at = chords(Time::millis(5_000), 4);

    performer.act(Request::ListSittings);
    at = chords(at, 4);
    wait_for(|| performer.listing().progress == Progress::Done);
    let listing = performer.listing();
    assert_eq!((listing.count, listing.rows.len()), (1, 1));
    let id = listing.rows[0].id.clone();
    assert_eq!(performer.source().opened, None);

    performer.open_sitting(&id);
    at = chords(at, 4);
    wait_for(|| {
        performer.reading();
        let source = performer.source();
        let ended = source.transport.is_some_and(|t| t.ended);
        source.opened.is_some() && ended
    });
    // Nobody looks at the list any longer.
    assert!(performer.listing().rows.is_empty());
    // All of it is there to look back on, as the étude's own file gives it.
    let whole = study(
        &recording::read(etude, &catalogue).unwrap(),
        monitor(),
        &catalogue,
    );
    wait_for(|| {
        let (history, markers) = performer.past();
        history.plan() == whole.heard.plan() && markers.is_empty()
    });
    // The words that are about the music go to the music that is shown, a setting to both.
    performer.act(Request::Mark);
    performer.act(Request::Set(Event::Pin(Some(
        catalogue.parse_tonality("F ionian").unwrap(),
    ))));
    performer.act(Request::Set(Event::Aside(Aside::Begins)));
    performer.act(Request::Inertia(Inertia::Section));
    performer.name_sitting(1, "Meanwhile".into());
    performer.act(Request::Pause);
    at = chords(at, 4);
    wait_for(|| performer.past().1.len() == 1);
    assert_eq!(performer.source().keeping, Keeping::Growing);

    performer.act(Request::CloseSitting);
    let (source, reading) = (performer.source(), performer.reading());
    assert_eq!((source.opened, source.transport), (None, None));
    assert_eq!((reading.pinned, reading.aside), (None, None));
    wait_for(|| performer.reading().inertia == Inertia::Section);
    assert!(performer.past().1.is_empty());
    at = chords(at, 4);
    clock.set(at + Time::millis(50));
    wait_for(|| performer.reading().at > at);
    let heard = performer.past().0.plan().clone();
    assert!(!heard.regions.is_empty());
    performer.finish(|_| ()).unwrap();

    let kept = sitting(&root, "2026-11-29_20-15-03");
    assert_eq!(kept.facts.name.as_deref(), Some("Meanwhile"));
    let struck = |e: &&midi::Timed| matches!(e.event, midi::Event::NoteOn { .. });
    assert_eq!(kept.notes.iter().filter(struck).count(), 3 * 4 * 5);
    let said: Vec<Event> = kept.said.iter().map(|s| s.event).collect();
    assert_eq!(said, [Event::Inertia(Inertia::Section)]);
    assert!(kept.markers.is_empty());
    same_plan(&kept);
    // The same from the first note on as the screen had when it was back.
    let begun = |plan: &[Region]| -> Vec<_> { plan.iter().map(|r| r.spelled).collect() };
    assert_eq!(begun(&kept.facts.heard.regions), begun(&heard.regions));
}

/// A sitting that is opened is corrected in its file, and what was heard stays what it was, on
/// the screen and when the corrected file is opened again.
#[test]
fn an_opened_sitting_is_corrected() {
    let folder = tempfile::tempdir().unwrap();
    let kept = Folder::new(folder.path().join("sittings"));
    let catalogue = Arc::new(Catalogue::standard().clone());
    kept.make().unwrap();
    let etude = include_bytes!("../recordings/05_ferry_lamp.mid");
    std::fs::write(kept.path("ferry lamp"), etude).unwrap();
    let signed = || Signature {
        who: "anna".into(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let file = play(
        "demo",
        Vec::new(),
        Time::ZERO,
        monitor(),
        Arc::new(SystemClock::start()),
        Order::Pause,
    );
    let library = Library::new(kept.clone(), Arc::clone(&catalogue), signed);
    let mut performer = Performer::new(monitor().reading())
        .with_file(file, None)
        .with_library(library, monitor());
    let open = |performer: &mut Performer| {
        performer.act(Request::ListSittings);
        wait_for(|| performer.listing().progress == Progress::Done);
        performer.open_sitting("ferry lamp");
        wait_for(|| {
            performer.reading();
            let source = performer.source();
            let ended = source.transport.is_some_and(|t| t.ended);
            source.opened.is_some() && ended
        });
    };
    let corrected = |performer: &mut Performer| performer.source().opened.unwrap().corrected;
    let music = recording::read(etude, &catalogue).unwrap();
    let heard = study(&music, monitor(), &catalogue).heard;

    open(&mut performer);
    assert_eq!(corrected(&mut performer), None);
    wait_for(|| performer.past().0.plan() == heard.plan());
    let at = Time::from_seconds(20.0);
    let spelled = catalogue.parse_tonality("G mixolydian").unwrap();
    let center = Some(Center::In(spelled));
    let word = None;
    performer.revise(Revision::Correct(Correction::Label { at, center, word }));
    wait_for(|| {
        performer.reading();
        corrected(&mut performer).is_some()
    });
    let plan = corrected(&mut performer).unwrap();
    let region = &plan.regions()[plan.place(at).unwrap()];
    assert_eq!(region.center, Center::In(spelled));
    assert_eq!(region.by, Some(signed()));
    let said = performer.source().notice.unwrap();
    assert_eq!(said, "Written: one correction.");
    assert_eq!(performer.past().0.plan(), heard.plan());
    // What cannot be is said, and nothing changes.
    performer.revise(Revision::Correct(Correction::Split {
        at: Time::from_seconds(1000.0),
    }));
    wait_for(|| {
        performer.reading();
        let said = performer.source().notice.unwrap_or_default();
        said.starts_with("Not corrected: 16:40.0 lies past the end")
    });
    assert_eq!(corrected(&mut performer).as_deref(), Some(&*plan));

    // From its file the same, and the music byte for byte the same.
    performer.act(Request::CloseSitting);
    open(&mut performer);
    assert_eq!(corrected(&mut performer).as_deref(), Some(&*plan));
    wait_for(|| performer.past().0.plan() == heard.plan());
    let bytes = std::fs::read(kept.path("ferry lamp")).unwrap();
    assert_eq!(bytes[12..etude.len()], etude[12..]);
    // One that is on its way when the program ends is written.
    performer.revise(Revision::Correct(Correction::Split { at }));
    performer.finish(|_| ()).unwrap();
    let bytes = std::fs::read(kept.path("ferry lamp")).unwrap();
    let written = recording::read(&bytes, &catalogue).unwrap();
    assert_eq!(written.facts.corrected.unwrap().steps().len(), 2);
    assert_eq!((written.notes, written.said), (music.notes, music.said));
}

/// Of all that there is to say while a sitting of another day is shown, what is most urgent is
/// said first: a keyboard that was lost, a correction that was written, the sitting that was kept
/// meanwhile, what is wrong with the file.
#[test]
fn what_is_most_urgent_is_said_first() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let kept = Folder::new(&root);
    kept.make().unwrap();
    let etude = include_bytes!("../recordings/05_ferry_lamp.mid");
    std::fs::write(kept.path("ferry lamp"), &etude[..etude.len() - 30]).unwrap();
    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(&root));
    let signed = || Signature {
        who: "anna".into(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let catalogue = Arc::new(Catalogue::standard().clone());
    let library = Library::new(kept, catalogue, signed);
    let mut performer = Performer::new(monitor().reading())
        .with_keyboard(listener, None)
        .with_library(library, monitor());
    let said = |performer: &mut Performer, wanted: &str| {
        wait_for(|| {
            performer.reading();
            let notice = performer.source().notice;
            notice.is_some_and(|notice| notice.starts_with(wanted))
        });
    };
    performer.act(Request::ListSittings);
    wait_for(|| performer.listing().progress == Progress::Done);
    performer.open_sitting("ferry lamp");
    wait_for(|| {
        performer.reading();
        performer.source().opened.is_some()
    });
    let bytes = std::fs::read(root.join("ferry lamp.mid")).unwrap();
    let faults = recording::read(&bytes, Catalogue::standard())
        .unwrap()
        .faults;
    let damage = faults.sentence().unwrap();
    said(&mut performer, &damage);
    play_chords(&ports, &clock, Time::millis(1_000), &SHUTTLE[..1]);
    wait_for(|| performer.source().keeping == Keeping::Growing);
    assert_eq!(performer.source().notice.as_deref(), Some(&*damage));
    performer.act(Request::EndSitting);
    said(&mut performer, "kept as 2026-11-29_20-15-03");
    let at = Time::from_seconds(5.0);
    performer.revise(Revision::Correct(Correction::Split { at }));
    said(&mut performer, "Written: one correction.");
    ports.unplug();
    said(&mut performer, "a keyboard was unplugged");
    ports.plug("a keyboard", "2");
    said(&mut performer, "Written: one correction.");
    performer.finish(|_| ()).unwrap();
}

/// A name that is typed while its sitting ends, and another begins, is the name of the first.
#[test]
fn a_name_goes_to_the_sitting_that_was_going_on_when_it_was_begun() {
    let folder = tempfile::tempdir().unwrap();
    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(folder.path()));
    let at = play_chords(&ports, &clock, Time::millis(1_000), &SHUTTLE[..1]);
    wait_for(|| listener.feed.status().sitting == 1);
    listener.order(Order::EndSitting);
    wait_for(|| listener.feed.status().kept.is_some());
    play_chords(&ports, &clock, at, &SHUTTLE[..1]);
    wait_for(|| listener.feed.status().sitting == 2);
    listener.order(Order::NameSitting(1, "first".into()));
    wait_for(|| {
        let said = listener.feed.status().about_sittings.unwrap_or_default();
        said == "2026-11-29_20-15-03 is called first"
    });
    listener.finish().unwrap();
    let name = |id| sitting(folder.path(), id).facts.name;
    assert_eq!(name("2026-11-29_20-15-03").as_deref(), Some("first"));
    assert_eq!(name("2026-11-29_20-15-03-2"), None);
}

/// Chords to a click that is tapped, by order and from the piano, changed and ended; the same
/// without. What a click gives are bars, the same live, in the sitting and in the recording.
#[test]
fn a_click_gives_bars_and_changes_no_reading() {
    let folder = tempfile::tempdir().unwrap();
    let ms = Time::millis;
    let run = |name: &str, clicked: bool| {
        let (root, file) = (
            folder.path().join(name),
            folder.path().join(format!("{name}.mid")),
        );
        let keep = Keep {
            record: Some(file.clone()),
            ..keeping(&root)
        };
        let pedal = vec!["controller 20".parse().unwrap()];
        let (mut listener, ports, clock) = start_keeping(pedal, keep);
        let order = |order| {
            if clicked {
                listener.order(order);
            }
        };
        let click = || listener.feed.status().click;
        clock.set(ms(1_000));
        order(Order::Tap(ms(1_000)));
        clock.set(ms(1_520));
        order(Order::Tap(ms(1_520)));
        let tempo = || click().map(|now| now.click.tempo.to_string());
        let tempo_is = |tempo_now: &str| {
            let wanted = clicked.then(|| tempo_now.to_owned());
            wait_for(|| tempo() == wanted);
        };
        tempo_is("115");
        // The third comes from the piano.
        clock.set(ms(2_000));
        assert!(ports.send(&[0xb0, 20, 127, 20, 0]));
        let mut jobs = Vec::new();
        wait_for(|| {
            jobs.extend(listener.feed.jobs());
            !jobs.is_empty()
        });
        assert_eq!((jobs[0].number, jobs[0].at), (0, ms(2_000)));
        order(Order::Tap(jobs[0].at));
        tempo_is("120");
        let end = play_chords(&ports, &clock, ms(3_000), &SHUTTLE);
        assert_eq!(end, ms(11_000));
        wait_for(|| listener.feed.reading().is_some_and(|r| r.at >= ms(10_990)));
        let place =
            |ms| click().map(|now| now.bars.place(Time::millis(ms)).map(|p| (p.bar, p.beat)));
        // The sitting counts from its first note.
        assert_eq!(place(3_000), clicked.then_some(Some((1, 1.0))));
        assert_eq!(place(9_250), clicked.then_some(Some((4, 1.5))));
        order(Order::Click("3/4".parse().unwrap()));
        let three = || click().is_some_and(|now| now.click.meter.count() == 3);
        wait_for(|| three() == clicked);
        assert_eq!(place(12_500), clicked.then_some(Some((6, 1.0))));
        let end = play_chords(&ports, &clock, end, &SHUTTLE);
        order(Order::Click("".parse().unwrap()));
        wait_for(|| click().is_none());
        let end = play_chords(&ports, &clock, end, &SHUTTLE[..2]);
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.at >= end - ms(10))
        });
        let history = listener.feed.history();
        let heard = (history.plan().clone(), history.chords().to_vec());
        listener.finish().unwrap();
        (heard, sitting(&root, "2026-11-29_20-15-03"), read(&file))
    };
    let (heard, sitting, recording) = run("clicked", true);
    let (heard_without, sitting_without, recording_without) = run("plain", false);
    assert_eq!(heard, heard_without);
    for (with, without) in [
        (&sitting, &sitting_without),
        (&recording, &recording_without),
    ] {
        assert!(with.events().eq(without.events()));
        assert_eq!(with.facts.heard, without.facts.heard);
        assert!(without.clicks.is_empty() && without.bars.is_none());
    }
    same_plan(&sitting);

    let place = |r: &Recording, ms| {
        let place = r.bars.as_ref().expect("bars").place(Time::millis(ms))?;
        Some((place.bar, place.beat))
    };
    for (at, of_sitting) in [
        (1_000, None),
        (3_000, Some((1, 1.0))),
        (9_250, Some((4, 1.5))),
        (11_000, Some((5, 1.0))),
        (12_500, Some((6, 1.0))),
        (18_750, Some((10, 1.5))),
        (19_500, None),
    ] {
        if at >= 3_000 {
            assert_eq!(place(&sitting, at - 3_000), of_sitting, "{at}");
        }
        // The recording has the bar of the taps before.
        let of_recording = of_sitting.map(|(bar, beat)| (bar + 1, beat));
        let of_recording = if at == 1_000 {
            Some((1, 1.0))
        } else {
            of_recording
        };
        assert_eq!(place(&recording, at), of_recording, "{at}");
    }
}

/// The tempo of the settings begins with each sitting; a kill loses nothing of it.
#[test]
fn a_click_is_kept_across_a_kill() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let keep = Keep {
        click: SetClick {
            tempo: Tempo::per_minute(96.0),
            meter: "6/8".parse().unwrap(),
        },
        ..keeping(&root)
    };
    let (listener, ports, clock) = start_keeping(Vec::new(), keep);
    let end = play_chords(&ports, &clock, Time::millis(1_234), &SHUTTLE);
    listener.order(Order::Tap(end));
    let growing = root.join("growing").join("2026-11-29_20-15-03.mid");
    let clicks = |path: &Path| {
        let bytes = std::fs::read(path).unwrap_or_default();
        recording::read(&bytes, Catalogue::standard()).map_or(Vec::new(), |r| r.clicks)
    };
    wait_for(|| clicks(&growing).len() == 2);
    let other = folder.path().join("other");
    Folder::new(&other).make().unwrap();
    let copy = other.join("growing").join("2026-11-29_20-15-03.mid");
    std::fs::copy(&growing, &copy).unwrap();
    listener.finish().unwrap();
    let catalogue = Arc::new(Catalogue::standard().clone());
    let all = recover(&Folder::new(&other), &catalogue, &monitor()).unwrap();
    assert!(
        matches!(&all[..], [Recovered::Kept(kept)] if kept.cut_off),
        "{all:?}"
    );
    for root in [&root, &other] {
        let kept = sitting(root, "2026-11-29_20-15-03");
        let begins = kept.clicks[0].1.expect("a click");
        assert_eq!((kept.clicks[0].0, begins.from), (Time::ZERO, Time::ZERO));
        assert_eq!(
            (begins.tempo.to_string(), begins.meter.to_string()),
            ("96".into(), "6/8".into())
        );
        assert_eq!(kept.clicks[1].0, Time::millis(8_000));
        let place = |ms| kept.bars.as_ref().and_then(|b| b.place(Time::millis(ms)));
        let place = |ms| place(ms).map(|p| (p.bar, p.beat));
        assert_eq!(place(1_250), Some((2, 1.0)));
        // A tap alone: one is here, and the tempo stays.
        assert_eq!(place(8_000), Some((8, 1.0)));
        assert_eq!(place(9_250), Some((9, 1.0)));
    }
}

/// What is on the disk at any moment is what the next start keeps whole.
#[test]
fn a_sitting_that_is_cut_off_is_kept_whole() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(&root));
    play_chords(&ports, &clock, Time::millis(1_000), &SHUTTLE);
    let growing = root.join("growing").join("2026-11-29_20-15-03.mid");
    let notes = |path: &Path| {
        let bytes = std::fs::read(path).unwrap_or_default();
        recording::read(&bytes, Catalogue::standard()).map_or(0, |r| r.notes.len())
    };
    listener.order(Order::NameSitting(1, "cut".into()));
    wait_for(|| notes(&growing) == 48 && name_of(&growing).is_some());
    // As the disk is when the machine stops; and another program does not touch what lives.
    let other = folder.path().join("other");
    let folder_of_other = Folder::new(&other);
    folder_of_other.make().unwrap();
    let copy = other.join("growing").join("2026-11-29_20-15-03.mid");
    std::fs::copy(&growing, &copy).unwrap();
    let catalogue = Arc::new(Catalogue::standard().clone());
    let living = recover(&Folder::new(&root), &catalogue, &monitor()).unwrap();
    assert!(living.is_empty(), "{living:?}");
    let whole = std::fs::read(&copy).unwrap();
    listener.finish().unwrap();

    for length in [whole.len(), whole.len() - 1, whole.len() / 2, 120, 30, 3, 0] {
        std::fs::write(&copy, &whole[..length]).unwrap();
        let before = notes(&copy);
        let all = recover(&folder_of_other, &catalogue, &monitor()).unwrap();
        match (before, &all[..]) {
            (0, []) => {}
            // It is no MIDI file yet; nothing in it is a note.
            (0, [Recovered::Left { .. }]) => std::fs::remove_file(&copy).unwrap(),
            (_, [Recovered::Kept(kept)]) => {
                assert!(kept.cut_off);
                let recording = sitting(&other, &kept.id);
                assert_eq!(recording.notes.len(), before, "{length} bytes");
                assert!(recording.facts.cut_off);
                let named = Some("cut".to_owned()).filter(|_| length >= whole.len() - 1);
                assert_eq!(recording.facts.name, named, "{length} bytes");
                std::fs::remove_file(folder_of_other.path(&kept.id)).unwrap();
            }
            other => panic!("{length} bytes: {other:?}"),
        }
        assert!(!copy.exists(), "{length} bytes");
    }
}

/// A folder that is taken away is made again; one that cannot be made is waited for, and said.
#[test]
fn a_disk_that_goes_and_comes_back_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    // No folder can be where a file is.
    std::fs::write(&root, "in the way").unwrap();
    let (listener, ports, clock) = start_keeping(Vec::new(), keeping(&root));
    let at = play_chords(&ports, &clock, Time::millis(1_000), &SHUTTLE);
    wait_for(|| listener.feed.status().keeping == Keeping::Stuck);
    let said = listener.feed.status().about_sittings.unwrap();
    assert!(said.contains("in memory alone"), "{said}");
    std::fs::remove_file(&root).unwrap();
    wait_for(|| listener.feed.status().keeping == Keeping::Growing);
    // In the middle of it everything is deleted.
    let growing = root.join("growing").join("2026-11-29_20-15-03.mid");
    assert!(growing.exists());
    std::fs::remove_dir_all(&root).unwrap();
    let at = play_chords(&ports, &clock, at, &SHUTTLE);
    wait_for(|| growing.exists());
    clock.set(at + Time::millis(100));
    wait_for(|| listener.feed.reading().is_some_and(|r| r.at > at));
    listener.finish().unwrap();
    let recording = sitting(&root, "2026-11-29_20-15-03");
    assert_eq!(recording.notes.len(), 96);
    same_plan(&recording);
}

/// Where a process of this test keeps its sittings; what it plays comes through a pipe.
const KEEPS: &str = "PEREGRINUS_TEST_KEEPS";
/// How many play at once, into one folder.
const AT_ONCE: usize = 12;

/// Copies of the program that play into one folder are killed at random moments. All
/// that was played but the last moment is on the disk, every file is whole, and the next start
/// keeps all of them.
#[test]
fn every_kill_leaves_whole_sittings() {
    if let Some(root) = std::env::var_os(KEEPS) {
        return plays_what_comes(Path::new(&root));
    }
    const KILLS: usize = 17 * AT_ONCE;
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("sittings");
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut dice = 0x7369_7474_696e_6773_u64;
    let mut kept = 0;
    let mut losses = Vec::new();
    for _ in 0..KILLS / AT_ONCE {
        // Each plays a key of its own, by which its file is known.
        let players = (0..AT_ONCE as u8).map(|n| {
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            let root = root.clone();
            let until = Duration::from_millis(300 + dice % 2000);
            std::thread::spawn(move || kill_while_it_plays(&root, 40 + n, until))
        });
        let players: Vec<_> = players.collect();
        let sent: Vec<_> = players.into_iter().map(|p| p.join().unwrap()).collect();
        let growing = std::fs::read_dir(root.join("growing")).unwrap().flatten();
        let growing = growing.map(|f| f.path());
        let growing: Vec<_> = growing
            .filter(|f| f.extension().is_some_and(|e| e == "mid"))
            .collect();
        let mut found = 0;
        for file in &growing {
            let bytes = std::fs::read(file).unwrap();
            // Another reader than ours takes it as it is.
            assert!(midly::Smf::parse(&bytes).is_ok_and(|smf| smf.tracks.len() == 2));
            let struck = recording::read(&bytes, &catalogue).unwrap().notes;
            let key = |t: &midi::Timed| match t.event {
                midi::Event::NoteOn { key, .. } => Some(key),
                _ => None,
            };
            let Some(first) = struck.iter().find_map(key) else {
                continue;
            };
            found += 1;
            let count = struck.iter().filter(|t| key(t) == Some(first)).count();
            assert!(struck.iter().all(|t| key(t).is_none_or(|k| k == first)));
            let (sent, killed) = &sent[usize::from(first - 40)];
            assert!(count <= sent.len(), "{count} of {}", sent.len());
            let lost = sent.get(count).map_or(Duration::ZERO, |&at| *killed - at);
            losses.push(lost);
        }
        // Those that played for longer than may be lost.
        let must = sent.iter().filter(|(_, killed)| *killed > LOST).count();
        assert!(found >= must, "{found} of {must}");
        for one in recover(&Folder::new(&root), &catalogue, &monitor()).unwrap() {
            assert!(matches!(&one, Recovered::Kept(s) if s.cut_off), "{one:?}");
            kept += 1;
        }
        assert_eq!(std::fs::read_dir(root.join("growing")).unwrap().count(), 0);
        assert_eq!(Folder::new(&root).ids().unwrap().len(), kept);
    }
    assert!(kept * 3 > KILLS * 2, "{kept} of {KILLS}");
    losses.sort_unstable();
    let (most, worst) = (losses[losses.len() * 9 / 10], losses[losses.len() - 1]);
    println!("{most:?} lost by nine in ten, {worst:?} at most; {kept} kept");
    // The worst of them waits for the others' disk and processor.
    assert!(most < Duration::from_secs(1), "{losses:?}");
    let mut files = Vec::new();
    for id in Folder::new(&root).ids().unwrap() {
        let recording = sitting(&root, &id);
        assert!(recording.facts.cut_off);
        let struck = |t: &&midi::Timed| matches!(t.event, midi::Event::NoteOn { .. });
        let struck = recording.notes.iter().filter(struck).count();
        files.push((Folder::new(&root).path(&id), struck));
    }
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(["analyze", "--format", "jsonl"])
        .args(files.iter().map(|(path, _)| path))
        .output()
        .unwrap();
    assert!(out.status.success(), "{out:?}");
    let analysed = String::from_utf8(out.stdout).unwrap();
    assert_eq!(analysed.lines().count(), files.len());
    #[cfg(unix)]
    in_mido(&files);
}

/// mido finds so many keys struck in each of these files.
#[cfg(unix)]
fn in_mido(files: &[(std::path::PathBuf, usize)]) {
    let line =
        |(path, struck): &(std::path::PathBuf, usize)| format!("{struck} {}\n", path.display());
    let lines: String = files.iter().map(line).collect();
    let script = "python/check_kept.py";
    let read = python::run(python::Python::Checks, script, &[], &lines);
    assert_eq!(read.trim(), files.len().to_string());
}

/// Who plays for longer than this has something on the disk: one second, and what others take of
/// the processor.
const LOST: Duration = Duration::from_millis(2000);

/// Starts a copy, plays, and kills it: when each note was sent, and when it was killed.
fn kill_while_it_plays(root: &Path, key: u8, until: Duration) -> (Vec<Duration>, Duration) {
    use std::io::{BufRead, BufReader, Write};
    let mut child = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "every_kill_leaves_whole_sittings", "--nocapture"])
        .env(KEEPS, root)
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap()).lines();
    while !out.next().unwrap().unwrap().contains("ready") {}
    let mut pipe = child.stdin.take().unwrap();
    let begun = Instant::now();
    let mut sent = Vec::new();
    while begun.elapsed() < until {
        pipe.write_all(&[0x90, key, 80]).unwrap();
        sent.push(begun.elapsed());
        std::thread::sleep(Duration::from_millis(8));
        pipe.write_all(&[0x80, key, 0]).unwrap();
        std::thread::sleep(Duration::from_millis(2));
    }
    let killed = begun.elapsed();
    child.kill().unwrap();
    child.wait().unwrap();
    (sent, killed)
}

/// A copy that listens to its standard input until it is killed.
fn plays_what_comes(root: &Path) {
    use std::io::Read;
    let ports = FakePorts::default();
    ports.plug("a pipe", "1");
    let world = World {
        clock: Arc::new(SystemClock::start()),
        ports: Box::new(ports.clone()),
    };
    let sittings = Sittings {
        folder: Folder::new(root),
        calendar: Box::new(jiff::ZonedDateTime::now),
        to_disk: Box::new(File::sync_data),
        rest: Time::millis(60_000),
        days: None,
    };
    let keep = Keep {
        sittings: Some(sittings),
        ..Keep::default()
    };
    let listener = listen(world, Wanted::default(), monitor(), &[], keep).unwrap();
    wait_for(|| ports.send(&[0xfe]));
    println!("ready");
    let mut message = [0; 3];
    while std::io::stdin().read_exact(&mut message).is_ok() {
        ports.send(&message);
    }
    listener.finish().unwrap();
}
