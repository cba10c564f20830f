//! What must hold for any playing at all, over random performances with pedals.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::FileFailurePersistence;

use peregrinus::engine::{Change, Established, Event, Fading, Filter, Inertia, Monitor, Observer};
use peregrinus::midi::{self, Performance, Text, TextKind, Timed};
use peregrinus::plan::Region;
use peregrinus::study::{events, study};
use peregrinus::theory::{Catalogue, Chord, PitchClassSet, Sonority, Tonality};
use peregrinus::time::Time;

// ---- playing ----

/// One thing that hands or feet do.
#[derive(Clone, Debug)]
enum Gesture {
    /// A note of the scale low in the left hand.
    Bass {
        step: u8,
        long: u64,
    },
    /// A chord of the scale, in thirds or fourths, struck within a few milliseconds.
    Chord {
        step: u8,
        notes: u8,
        third: bool,
        low: bool,
        spread: u64,
        long: u64,
    },
    /// A run of the scale upwards or downwards.
    Run {
        step: u8,
        notes: u8,
        up: bool,
        each: u64,
    },
    /// Any key, in the scale or not.
    Any {
        key: u8,
        long: u64,
    },
    /// The damper, half-way positions included.
    Damper {
        value: u8,
    },
    Sostenuto {
        value: u8,
    },
    Control {
        which: u8,
    },
    /// Nothing, now and then for so long that the music begins afresh.
    Rest {
        ms: u64,
    },
    /// Another scale from here on.
    Move {
        center: u8,
        mode: u8,
    },
}

const SCALES: [[i32; 7]; 5] = [
    [0, 2, 4, 5, 7, 9, 11],
    [0, 2, 3, 5, 7, 9, 10],
    [0, 1, 3, 5, 7, 8, 10],
    [0, 2, 4, 6, 7, 9, 11],
    [0, 2, 3, 5, 7, 8, 11],
];

fn gesture() -> impl Strategy<Value = (Gesture, u64)> {
    let long = 100..2500u64;
    let what = prop_oneof![
        4 => (0..7u8, long.clone()).prop_map(|(step, long)| Gesture::Bass { step, long }),
        6 => (0..7u8, 3..6u8, any::<bool>(), any::<bool>(), 0..25u64, long.clone())
            .prop_map(|(step, notes, third, low, spread, long)| Gesture::Chord { step, notes, third, low, spread, long }),
        5 => (0..7u8, 2..9u8, any::<bool>(), 90..500u64)
            .prop_map(|(step, notes, up, each)| Gesture::Run { step, notes, up, each }),
        1 => (30..96u8, long).prop_map(|(key, long)| Gesture::Any { key, long }),
        3 => prop_oneof![Just(0u8), Just(127), 40..70u8].prop_map(|value| Gesture::Damper { value }),
        1 => prop_oneof![Just(0u8), Just(127)].prop_map(|value| Gesture::Sostenuto { value }),
        1 => (0..6u8).prop_map(|which| Gesture::Control { which }),
        1 => prop_oneof![2 => 500..3000u64, 1 => 8000..11000u64].prop_map(|ms| Gesture::Rest { ms }),
        1 => (0..12u8, 0..5u8).prop_map(|(center, mode)| Gesture::Move { center, mode }),
    ];
    // Milliseconds until the next gesture; often at once.
    (what, prop_oneof![1 => Just(0), 4 => 120..900u64])
}

/// Ticks off the millisecond, as hands are.
fn uneven(n: usize) -> u64 {
    (n as u64).wrapping_mul(2_654_435_761) % 50
}

/// Where the hands play: keys near which a scale's center lies.
#[derive(Clone, Copy)]
struct Registers {
    bass: i32,
    /// Chords of the left hand.
    left: i32,
    right: i32,
}

fn play(gestures: &[(Gesture, u64)], at: Registers) -> Vec<Timed> {
    let mut all: Vec<(Time, midi::Event)> = Vec::new();
    let (mut now, mut center, mut mode) = (Time::millis(400), 0i32, 0usize);
    let mut note = |at: Time, key: i32, long: u64| {
        let key = key.clamp(0, 127) as u8;
        let n = all.len();
        let at = Time(at.0 + uneven(n));
        let velocity = 40 + (n as u8).wrapping_mul(37) % 60;
        let off = midi::Event::NoteOff { channel: 0, key };
        all.push((
            at,
            midi::Event::NoteOn {
                channel: 0,
                key,
                velocity,
            },
        ));
        all.push((at + Time::millis(long), off));
    };
    let mut controls = Vec::new();
    for (gesture, gap) in gestures {
        let tone = |base: i32, step: i32| {
            let scale = SCALES[mode];
            base + (center + 6) % 12 - 6
                + scale[step.rem_euclid(7) as usize]
                + 12 * step.div_euclid(7)
        };
        match *gesture {
            Gesture::Bass { step, long } => note(now, tone(at.bass, i32::from(step)), long),
            Gesture::Chord {
                step,
                notes,
                third,
                low: left,
                spread,
                long,
            } => {
                let base = if left { at.left } else { at.right };
                let by = if third { 2 } else { 3 };
                for i in 0..i32::from(notes) {
                    let at = now + Time(spread * 50 * i as u64 / u64::from(notes));
                    note(at, tone(base, i32::from(step) + by * i), long);
                }
            }
            Gesture::Run {
                step,
                notes,
                up,
                each,
            } => {
                for i in 0..i32::from(notes) {
                    let step = i32::from(step) + if up { i } else { 7 - i };
                    note(
                        now + Time::millis(each * i as u64),
                        tone(at.right, step),
                        each * 9 / 10,
                    );
                }
            }
            Gesture::Any { key, long } => note(now, at.right + i32::from(key) % 36, long),
            Gesture::Damper { value } => {
                controls.push((now, midi::Event::Damper { channel: 0, value }))
            }
            Gesture::Sostenuto { value } => {
                controls.push((now, midi::Event::Sostenuto { channel: 0, value }))
            }
            Gesture::Control { which } => controls.push((
                now,
                match which {
                    0 => midi::Event::AllNotesOff { channel: 0 },
                    1 => midi::Event::AllSoundOff { channel: 0 },
                    2 => midi::Event::ResetControllers { channel: 0 },
                    3 => midi::Event::Release,
                    4 => midi::Event::NoteOn {
                        channel: midi::PERCUSSION,
                        key: 38,
                        velocity: 90,
                    },
                    _ => midi::Event::Soft {
                        channel: 0,
                        value: 100,
                    },
                },
            )),
            Gesture::Rest { ms } => now += Time::millis(ms),
            Gesture::Move { center: c, mode: m } => {
                (center, mode) = (i32::from(c) % 12, usize::from(m))
            }
        }
        now += Time::millis(*gap);
    }
    all.extend(controls);
    all.sort_by_key(|(at, e)| (*at, !e.releases()));
    all.into_iter()
        .map(|(at, event)| Timed { at, event })
        .collect()
}

fn playing() -> impl Strategy<Value = Vec<Timed>> {
    proptest::collection::vec(gesture(), 5..60).prop_map(|g| play(&g, up(0)))
}

/// The hands where [`playing`] has them, so many semitones up. Nothing leaves the
/// keyboard within two octaves.
fn up(by: i32) -> Registers {
    Registers {
        bass: 38 + by,
        left: 50 + by,
        right: 62 + by,
    }
}

// ---- hearing ----

#[derive(Default, Clone, PartialEq, Debug)]
struct Told(Vec<(Time, Change)>);

impl Observer for Told {
    fn change(&mut self, at: Time, change: Change) {
        self.0.push((at, change));
    }
}

fn catalogue() -> Arc<Catalogue> {
    static ONE: std::sync::LazyLock<Arc<Catalogue>> =
        std::sync::LazyLock::new(|| Arc::new(Catalogue::standard().clone()));
    Arc::clone(&ONE)
}

fn monitor() -> Monitor {
    Monitor::new(catalogue()).expect("the embedded estimator")
}

/// So long after the last event the grid rests in any case.
const TAIL: Time = Time::millis(12_000);

fn end(events: &[Timed]) -> Time {
    events.last().map_or(Time::ZERO, |t| t.at) + TAIL
}

fn hear(mut monitor: Monitor, events: &[Timed]) -> (Told, Monitor) {
    let mut told = Told::default();
    for t in events {
        monitor.on_event(t.at, t.event, &mut told);
    }
    monitor.advance_to(end(events), &mut told);
    (told, monitor)
}

/// A change without what transposing may touch: spelling. Probabilities to the last bit.
fn bare(change: Change, down: i32) -> String {
    let tonality = |e: Established| {
        let t = e.tonality;
        let open: Vec<u8> = e.open.numbers().collect();
        let others: Vec<_> = e.open.others().collect();
        let t = Tonality {
            center: t.center.up(-down),
            ..t
        };
        format!(
            "{t} at {:?} since {:?}, {:?}, open {open:?} {others:?}",
            e.at, e.since, e.probability
        )
    };
    let turned = |s: PitchClassSet| s.up(-down).mask();
    match change {
        Change::Here(e) => format!("here {}", tonality(e)),
        Change::Refined(e) => format!("refined {}", tonality(e)),
        Change::Home(e) => format!("home {}", tonality(e)),
        Change::Chord { sonority, keys } => {
            let kind = match sonority {
                Sonority::Chord(Chord { root, kind, .. }) => {
                    format!("{:?} on {:?}", kind, root.up(-down))
                }
                Sonority::Note(_) => "note".into(),
                Sonority::Interval { .. } => "interval".into(),
                Sonority::Notes { .. } => "notes".into(),
            };
            let keys = if down >= 0 {
                keys >> down
            } else {
                keys << -down
            };
            format!(
                "chord {kind}, {:03x} over {:?}, keys {keys:x}",
                turned(sonority.set()),
                sonority.bass().up(-down)
            )
        }
        Change::Voiced(voiced) => {
            let keys = match down {
                0.. => voiced.keys >> down,
                _ => voiced.keys << -down,
            };
            format!("voiced {keys:x}, {:03x}", turned(voiced.sonority.set()))
        }
        Change::NoCenter => "no center".into(),
        Change::Silence => "silence".into(),
        Change::Rest => "rest".into(),
    }
}

fn shifted(change: Change, by: Time) -> Change {
    let move_it = |e: Established| Established {
        at: e.at + by,
        since: e.since + by,
        ..e
    };
    match change {
        Change::Here(e) => Change::Here(move_it(e)),
        Change::Refined(e) => Change::Refined(move_it(e)),
        Change::Home(e) => Change::Home(move_it(e)),
        other => other,
    }
}

/// Every recording of the études.
fn etudes() -> impl Iterator<Item = (PathBuf, Performance)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    let files = std::fs::read_dir(folder).expect("recordings/");
    let paths = files.map(|file| file.expect("a file").path());
    let midi = paths.filter(|path| path.extension().is_some_and(|e| e == "mid"));
    midi.map(|path| {
        let bytes = std::fs::read(&path).expect("bytes");
        (path, midi::read(&bytes).expect("a MIDI file"))
    })
}

/// `PROPTEST_CASES` asks for more of them.
fn config(cases: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok();
    ProptestConfig {
        cases: asked.and_then(|n| n.parse().ok()).unwrap_or(cases),
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(
            "proptest-regressions/laws.txt",
        ))),
        ..ProptestConfig::default()
    }
}

/// All but the chords: those go by register, as low notes sound longer and carry more.
fn plan(told: &Told) -> Vec<(Time, Change)> {
    let chord = |c: &Change| matches!(c, Change::Chord { .. } | Change::Voiced(_));
    told.0.iter().copied().filter(|t| !chord(&t.1)).collect()
}

/// Written so that playing transposed by `by` must be written alike.
fn bare_plan(told: &Told, by: i32) -> Vec<String> {
    let write = |(at, c)| format!("{at:?} {}", bare(c, by));
    plan(told).into_iter().map(write).collect()
}

/// The plan in hindsight, written so that a recording transposed by `by` must be written
/// alike: all but spelling, probabilities to the last bit.
fn bare_hindsight(events: &[Timed], by: i32) -> Vec<String> {
    let performance = Performance {
        events: events.to_vec(),
        end: end(events),
        ..Performance::default()
    };
    let plan = study(&performance, monitor(), &catalogue()).hindsight;
    let write = |what: &str, r: &Region| {
        let open: Vec<u8> = r.open.numbers().collect();
        let others: Vec<_> = r.open.others().collect();
        let t = Tonality {
            center: r.tonality.center.up(-by),
            ..r.tonality
        };
        format!(
            "{what} {t} from {:?} to {:?} since {:?}, {:?}, open {open:?} {others:?}",
            r.start, r.end, r.since, r.probability
        )
    };
    let regions = plan.regions.iter().map(|r| write("here", r));
    let homes = plan.home.iter().map(|r| write("home", r));
    regions.chain(homes).collect()
}

/// Each étude in some transpositions, read in hindsight.
#[test]
fn the_etudes_transposed_are_read_alike_in_hindsight() {
    let mut compared = 0;
    for (path, performance) in etudes() {
        let read = |by: i32| {
            let mut events = performance.events.clone();
            for t in &mut events {
                if let midi::Event::NoteOn { key, .. } | midi::Event::NoteOff { key, .. } =
                    &mut t.event
                {
                    *key = u8::try_from(i32::from(*key) + by).expect("a key");
                }
            }
            bare_hindsight(&events, by)
        };
        let here = read(0);
        for by in [-6, -1, 3, 7] {
            assert_eq!(here, read(by), "{} by {by}", path.display());
            compared += here.len();
        }
    }
    assert!(compared > 100, "{compared}");
}

/// Each étude in every transposition: the same plan exactly, transposed.
#[test]
fn the_etudes_transposed_show_the_same_plan() {
    let mut compared = 0;
    for (path, performance) in etudes() {
        let hear = |by: i8| {
            let mut m = monitor();
            let filter = Filter {
                transpose: by,
                ..Filter::default()
            };
            m.on_event(Time::ZERO, Event::Filter(filter), &mut ());
            bare_plan(&hear(m, &performance.events).0, i32::from(by))
        };
        let here = hear(0);
        for by in (-6..=5i8).filter(|&by| by != 0) {
            let there = hear(by);
            for (a, b) in here.iter().zip(&there) {
                assert_eq!(a, b, "{} by {by}", path.display());
            }
            assert_eq!(here.len(), there.len(), "{} by {by}", path.display());
            compared += here.len();
        }
    }
    assert!(compared > 2_000, "{compared}");
}

/// The laws would hold of nothing as well: this playing is heard as music.
#[test]
fn the_random_playing_is_worth_hearing() {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut centers, mut moves, mut rests, mut pedals) = (0, 0, 0, 0);
    let mut regions = 0;
    for _ in 0..60 {
        let events = playing().new_tree(&mut runner).expect("playing").current();
        let (told, _) = hear(monitor(), &events);
        let here = |c: &&(Time, Change)| matches!(c.1, Change::Here(_));
        let said = told.0.iter().filter(here).count();
        regions += bare_hindsight(&events, 0).len();
        centers += usize::from(said > 0);
        moves += usize::from(said > 2);
        // One comes after the last note in any case.
        let rest = |c: &&(Time, Change)| c.1 == Change::Rest;
        rests += usize::from(told.0.iter().filter(rest).count() > 1);
        let down = |t: &Timed| matches!(t.event, midi::Event::Damper { value: 64.., .. });
        pedals += usize::from(events.iter().any(down));
    }
    assert!(
        centers > 50 && moves > 15 && rests > 5 && pedals > 20,
        "{centers} with a center, {moves} that move, {rests} with rests, {pedals} with pedal"
    );
    assert!(regions > 120, "{regions} regions and homes in hindsight");
}

proptest! {
    #![proptest_config(config(48))]

    /// How often the engine is asked changes nothing.
    #[test]
    fn batching_changes_nothing(
        events in playing(),
        pauses in proptest::collection::vec(0..4_000_000u64, 0..200),
    ) {
        let (told, last) = hear(monitor(), &events);
        let mut pauses: Vec<Time> = pauses.into_iter().map(Time).collect();
        pauses.sort();
        let mut pauses = pauses.into_iter().peekable();
        let mut other = monitor();
        let mut again = Told::default();
        for t in &events {
            while let Some(pause) = pauses.next_if(|&p| p < t.at) {
                other.advance_to(pause, &mut again);
                other.reading();
            }
            other.advance_to(t.at, &mut again);
            other.on_event(t.at, t.event, &mut again);
        }
        other.advance_to(end(&events), &mut again);
        prop_assert_eq!(&told, &again);
        prop_assert_eq!(last.reading(), other.reading());
    }

    /// Played later, by any number of ticks: the same, later.
    #[test]
    fn a_shift_in_time_shifts_the_plan(events in playing(), by in 0..100_000_000u64) {
        let by = Time(by);
        let later: Vec<Timed> = events.iter().map(|t| Timed { at: t.at + by, ..*t }).collect();
        let want: Vec<_> = hear(monitor(), &events).0.0.into_iter()
            .map(|(at, c)| (at + by, shifted(c, by)))
            .collect();
        prop_assert_eq!(want, hear(monitor(), &later).0.0);
    }

    /// A copy made at any moment goes on as the original does.
    #[test]
    fn a_copy_goes_on_as_the_original(events in playing(), part in 0.0..1.0f64) {
        let cut = (events.len() as f64 * part) as usize;
        let mut first = monitor();
        let mut told = Told::default();
        for t in &events[..cut] {
            first.on_event(t.at, t.event, &mut told);
        }
        let copy = first.clone();
        prop_assert_eq!(first.reading(), copy.reading());
        let rest = &events[cut..];
        let (a, first) = hear(first, rest);
        // The copy may even wait while the original is far ahead.
        let (b, copy) = hear(copy, rest);
        prop_assert_eq!(a, b);
        prop_assert_eq!(first.reading(), copy.reading());
    }

    /// Whatever is played, a reading is a number between 0 and 1 where it says so.
    #[test]
    fn readings_are_probabilities(events in playing(), inertia in 0..5usize) {
        let mut m = monitor();
        m.on_event(Time::ZERO, Event::Inertia(Inertia::ALL[inertia]), &mut ());
        let check = |m: &Monitor| -> Result<(), TestCaseError> {
            let r = m.reading();
            let sum: f32 = r.window.iter().sum();
            prop_assert!(sum == 0.0 || (sum - 1.0).abs() < 1e-3, "window {sum}");
            prop_assert!(r.window.iter().all(|w| (0.0..=1.0001).contains(w)));
            let mut total = 0.0;
            let mut before = f32::MAX;
            for (_, p) in r.ranking.into_iter().flatten() {
                prop_assert!((0.0..=1.0001).contains(&p) && p <= before, "{:?}", r.ranking);
                before = p;
                total += p;
            }
            prop_assert!(total <= 1.001, "{total}");
            for e in [r.here, r.home].into_iter().flatten() {
                prop_assert!((0.0..=1.0001).contains(&e.probability), "{e:?}");
                prop_assert!(e.since <= e.at && e.at <= r.at, "{e:?}");
            }
            if let Some(c) = r.contender {
                prop_assert!((0.0..=1.0001).contains(&c.probability), "{c:?}");
                prop_assert!((0.0..=1.0).contains(&c.nearness), "{c:?}");
            }
            prop_assert_eq!(r.held & r.pedalled, 0);
            Ok(())
        };
        for t in &events {
            m.on_event(t.at, t.event, &mut ());
            check(&m)?;
        }
        for i in 0..120 {
            m.advance_to(end(&events) - TAIL + Time::millis(100 * i), &mut ());
            check(&m)?;
        }
    }

    /// Written to a file, read back and studied: the identical plan, with the
    /// settings that were changed on the way.
    #[test]
    fn capture_file_and_replay_give_the_identical_plan(
        notes in playing(),
        settings in proptest::collection::vec((0.0..1.0f64, 0..8u8), 0..4),
    ) {
        let mut texts: Vec<Text> = settings.iter().map(|&(part, which)| {
            let before_event = (notes.len() as f64 * part) as usize;
            let at = match before_event {
                0 => Time::ZERO,
                n => notes[n - 1].at,
            };
            let event = match which {
                0..5 => Event::Inertia(Inertia::ALL[usize::from(which)]),
                5 => Event::Fading(Fading::Sustained),
                6 => Event::Filter(Filter { channels: 0xffff, transpose: 3 }),
                _ => Event::Filter(Filter { transpose: -2, ..Filter::default() }),
            };
            let text = format!("{}{}", midi::OURS, event.setting().unwrap_or_default());
            Text { at, before_event, kind: TextKind::Text, text }
        }).collect();
        texts.sort_by_key(|t| t.before_event);
        let performance = Performance { end: end(&notes), events: notes, texts, ..Performance::default() };

        // Live: the engine hears each thing as it comes.
        let live = study(&performance, monitor(), &catalogue());
        let mut bytes = Vec::new();
        midi::write(&performance, &mut bytes).expect("a memory never fails");
        let back = midi::read(&bytes).expect("our own file");
        prop_assert_eq!(&back.faults, &vec![]);
        prop_assert_eq!(events(&back), events(&performance));
        let replayed = study(&back, monitor(), &catalogue());
        prop_assert_eq!(live.duration, replayed.duration);
        prop_assert_eq!(&live.heard, &replayed.heard);
        prop_assert_eq!(&live.hindsight, &replayed.hindsight);
        // And study hears what the engine tells.
        let mut direct = monitor();
        let mut history = peregrinus::engine::History::default();
        for (at, event) in events(&performance) {
            direct.on_event(at, event, &mut history);
        }
        direct.advance_to(performance.end, &mut history);
        history.advance_to(performance.end);
        prop_assert_eq!(&live.heard, &history);
    }

    /// Transposed: the same plan exactly, transposed, whatever the register.
    #[test]
    fn transposed_playing_is_heard_transposed(
        gestures in proptest::collection::vec(gesture(), 5..60),
        by in -24..=24i32,
    ) {
        let here = bare_plan(&hear(monitor(), &play(&gestures, up(0))).0, 0);
        let there = bare_plan(&hear(monitor(), &play(&gestures, up(by))).0, by);
        for (a, b) in here.iter().zip(&there) {
            prop_assert_eq!(a, b);
        }
        prop_assert_eq!(here.len(), there.len());
    }

    /// A recording read in hindsight likewise: the same regions and homes.
    #[test]
    fn transposed_recordings_are_read_transposed(
        gestures in proptest::collection::vec(gesture(), 5..60),
        by in -24..=24i32,
    ) {
        let here = bare_hindsight(&play(&gestures, up(0)), 0);
        let there = bare_hindsight(&play(&gestures, up(by)), by);
        prop_assert_eq!(here, there);
    }

    /// Some octaves away: the same plan exactly, spelling and all.
    #[test]
    fn an_octave_makes_no_difference(
        gestures in proptest::collection::vec(gesture(), 5..60),
        octaves in -2..=2i32,
    ) {
        let by = 12 * octaves;
        let here = plan(&hear(monitor(), &play(&gestures, up(0))).0);
        let there = plan(&hear(monitor(), &play(&gestures, up(by))).0);
        prop_assert_eq!(here, there);
    }

    /// However loud: the same plan and the same chords.
    #[test]
    fn loudness_makes_no_difference(events in playing(), louder in 0.02..2.0f64) {
        let mut others = events.clone();
        for t in &mut others {
            if let midi::Event::NoteOn { velocity, .. } = &mut t.event {
                *velocity = (f64::from(*velocity) * louder).clamp(1.0, 127.0) as u8;
            }
        }
        prop_assert_eq!(hear(monitor(), &events).0, hear(monitor(), &others).0);
    }

    /// Chords too turn with the music, for sounds that do not fade, with the hands in
    /// registers that the transposition does not leave: the bass below 48, the right
    /// hand from 60 up.
    #[test]
    fn transposed_chords_are_named_transposed(
        gestures in proptest::collection::vec(gesture(), 5..60),
        by in -6..=5i32,
    ) {
        let play = |by: i32| play(&gestures, Registers { bass: 24 + by, left: 76 + by, right: 76 + by });
        let sustained = || {
            let mut m = monitor();
            m.on_event(Time::ZERO, Event::Fading(Fading::Sustained), &mut ());
            m
        };
        let bare = |told: Told, by: i32| -> Vec<String> {
            told.0.into_iter().map(|(at, c)| format!("{at:?} {}", bare(c, by))).collect()
        };
        let here = bare(hear(sustained(), &play(0)).0, 0);
        let there = bare(hear(sustained(), &play(by)).0, by);
        for (a, b) in here.iter().zip(&there) {
            prop_assert_eq!(a, b);
        }
        prop_assert_eq!(here.len(), there.len());
    }
}
