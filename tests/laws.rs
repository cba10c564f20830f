//! What must hold for any playing at all, over random performances with pedals.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::FileFailurePersistence;

use peregrinus::engine::{
    Aside, Change, Established, Event, Fading, Filter, HarmonyNow, Inertia, Monitor, Observer,
};
use peregrinus::midi::{self, Timed};
use peregrinus::plan::Region;
use peregrinus::plan::{ChordSpan, Marker};
use peregrinus::recording::{self, Recording};
use peregrinus::study::{Study, study};
use peregrinus::theory::{
    Catalogue, Chord, KeySet, ModeId, PitchClass, PitchClassSet, Sonority, SpelledTonality,
    Tonality,
};
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
        let off = midi::Event::NoteOff {
            channel: midi::Channel::ALL[0],
            key,
        };
        all.push((
            at,
            midi::Event::NoteOn {
                channel: midi::Channel::ALL[0],
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
            Gesture::Damper { value } => controls.push((
                now,
                midi::Event::Damper {
                    channel: midi::Channel::ALL[0],
                    value,
                },
            )),
            Gesture::Sostenuto { value } => controls.push((
                now,
                midi::Event::Sostenuto {
                    channel: midi::Channel::ALL[0],
                    value,
                },
            )),
            Gesture::Control { which } => controls.push((
                now,
                match which {
                    0 => midi::Event::AllNotesOff {
                        channel: midi::Channel::ALL[0],
                    },
                    1 => midi::Event::AllSoundOff {
                        channel: midi::Channel::ALL[0],
                    },
                    2 => midi::Event::ResetControllers {
                        channel: midi::Channel::ALL[0],
                    },
                    3 => midi::Event::Release,
                    4 => midi::Event::NoteOn {
                        channel: midi::PERCUSSION,
                        key: 38,
                        velocity: 90,
                    },
                    _ => midi::Event::Soft {
                        channel: midi::Channel::ALL[0],
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

// ---- what the player says beside it ----

/// What is said after so much of the playing, as a share.
type Said = (f64, Event);

fn pin(center: i32, mode: ModeId) -> Event {
    let tonality = Tonality {
        center: PitchClass::new(center),
        mode,
    };
    Event::Pin(Some(SpelledTonality::new(
        tonality,
        catalogue().spell(tonality, None),
    )))
}

/// Pins and statements.
fn said() -> impl Strategy<Value = Vec<Said>> {
    let what = prop_oneof![
        3 => (0..12i32, 0..9usize).prop_map(|(center, mode)| {
            let mode = catalogue().iter().nth(mode).expect("a mode").0;
            pin(center, mode)
        }),
        1 => Just(Event::Pin(None)),
        2 => (0..12i32).prop_map(|c| Event::HomeIs(Some(PitchClass::new(c)))),
        1 => Just(Event::HomeIs(None)),
    ];
    proptest::collection::vec((0.0..1.0f64, what), 0..6)
}

/// Asides that begin and end, not always in that order.
fn asides() -> impl Strategy<Value = Vec<Said>> {
    let edge = prop_oneof![Just(Aside::Begins), Just(Aside::Ends)];
    let aside = (0.0..1.0f64, edge).prop_map(|(part, edge)| (part, Event::Aside(edge)));
    proptest::collection::vec(aside, 0..5)
}

/// The same of music that was transposed by so many semitones.
fn said_up(said: &[Said], by: i32) -> Vec<Said> {
    let up = |event| match event {
        Event::Pin(Some(SpelledTonality { tonality: t, .. })) => {
            pin(t.center.up(by).index() as i32, t.mode)
        }
        Event::HomeIs(Some(center)) => Event::HomeIs(Some(center.up(by))),
        other => other,
    };
    said.iter()
        .map(|&(part, event)| (part, up(event)))
        .collect()
}

/// How many of the notes come before, and when the last of them does.
fn moment(notes: &[Timed], part: f64) -> (usize, Time) {
    let before = (notes.len() as f64 * part) as usize;
    (
        before,
        before.checked_sub(1).map_or(Time::ZERO, |n| notes[n].at),
    )
}

fn together(notes: &[Timed], said: &[Said]) -> Vec<(Time, Event)> {
    let mut said: Vec<_> = said.iter().map(|&(p, e)| (moment(notes, p), e)).collect();
    said.sort_by_key(|s| s.0.0);
    let mut said = said.into_iter().peekable();
    let mut all = Vec::new();
    for (i, t) in notes.iter().enumerate() {
        while let Some(((_, at), event)) = said.next_if(|s| s.0.0 <= i) {
            all.push((at, event));
        }
        all.push((t.at, Event::Midi(t.event)));
    }
    all.extend(said.map(|((_, at), event)| (at, event)));
    all
}

/// As a recording has it.
fn written(notes: &[Timed], said: &[Said]) -> Vec<recording::Said> {
    let word = |&(part, event): &Said| {
        let (before_note, at) = moment(notes, part);
        recording::Said {
            before_note,
            at,
            event,
        }
    };
    let mut words: Vec<_> = said.iter().map(word).collect();
    words.sort_by_key(|w| w.before_note);
    words
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

fn hear(monitor: Monitor, events: &[Timed]) -> (Told, Monitor) {
    hear_said(monitor, events, &[])
}

fn hear_said(mut monitor: Monitor, notes: &[Timed], said: &[Said]) -> (Told, Monitor) {
    let mut told = Told::default();
    for (at, event) in together(notes, said) {
        monitor.on_event(at, event, &mut told);
    }
    monitor.advance_to(end(notes), &mut told);
    (told, monitor)
}

/// A change without what transposing may touch: spelling. Probabilities to the last bit.
fn bare(change: Change, down: i32) -> String {
    let tonality = |e: Established| {
        let t = e.spelled.tonality;
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
    let moved = |keys: KeySet| -> KeySet {
        let key = |k: u8| u8::try_from(i32::from(k) - down).ok();
        keys.iter().filter_map(key).filter(|&k| k < 128).collect()
    };
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
            format!(
                "chord {kind}, {:03x} over {:?}, keys {:?}",
                turned(sonority.set()),
                sonority.bass().up(-down),
                moved(keys)
            )
        }
        Change::Harmony(HarmonyNow {
            chord, since, line, ..
        }) => {
            let Chord { root, kind, bass } = chord;
            let (root, bass) = (root.up(-down), bass.up(-down));
            let notes = line.map(|l| l.notes().iter().map(|n| n.up(-down)).collect::<Vec<_>>());
            format!("harmony {kind:?} on {root:?} over {bass:?} since {since:?}, line {notes:?}")
        }
        Change::VoicedChord(voiced) => {
            let (keys, set) = (moved(voiced.keys), turned(voiced.sonority.set()));
            format!("voiced {keys:?}, {set:03x}")
        }
        Change::NoCenter => "no center".into(),
        Change::Silence => "silence".into(),
        Change::Rest => "rest".into(),
        Change::Pinned(pinned) => match pinned {
            Some(SpelledTonality { tonality: t, .. }) => {
                format!("pinned {} {}", t.center.up(-down).index(), t.mode.index())
            }
            None => "not pinned".into(),
        },
        Change::HomeIs(note) => {
            format!("home is {:?}", note.map(|n| n.pitch_class().up(-down)))
        }
        Change::Aside(edge) => format!("aside {edge:?}"),
        Change::Polymodal(polymodal) => {
            let parts = polymodal.map(|a| [a.top, a.rest].map(|t| (t.center.up(-down), t.mode)));
            format!("polymodal {parts:?}")
        }
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
        Change::Harmony(h) => Change::Harmony(HarmonyNow {
            since: h.since + by,
            ..h
        }),
        other => other,
    }
}

/// Every recording of the études.
fn etudes() -> impl Iterator<Item = (PathBuf, Recording)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    let files = std::fs::read_dir(folder).expect("recordings/");
    let paths = files.map(|file| file.expect("a file").path());
    let midi = paths.filter(|path| path.extension().is_some_and(|e| e == "mid"));
    midi.map(|path| {
        let bytes = std::fs::read(&path).expect("bytes");
        (
            path,
            recording::read(&bytes, &catalogue()).expect("a MIDI file"),
        )
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
    let chord = |c: &Change| {
        matches!(
            c,
            Change::Chord { .. } | Change::VoicedChord(_) | Change::Harmony(_)
        )
    };
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
    let recording = Recording {
        notes: events.to_vec(),
        end: end(events),
        ..Recording::default()
    };
    let plan = study(&recording, monitor(), &catalogue()).hindsight;
    let write = |what: &str, r: &Region| {
        let open: Vec<u8> = r.open.numbers().collect();
        let others: Vec<_> = r.open.others().collect();
        let t = Tonality {
            center: r.spelled.tonality.center.up(-by),
            ..r.spelled.tonality
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
    for (path, recording) in etudes() {
        let read = |by: i32| {
            let mut events = recording.notes.clone();
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
    for (path, recording) in etudes() {
        let hear = |by: i8| {
            let mut m = monitor();
            let filter = Filter {
                transpose: by,
                ..Filter::default()
            };
            m.on_event(Time::ZERO, Event::Filter(filter), &mut ());
            bare_plan(&hear(m, &recording.notes).0, i32::from(by))
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
            prop_assert!((r.held & r.pedalled).is_empty());
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
    /// settings that were changed on the way, what the player said, and the markers.
    #[test]
    fn capture_file_and_replay_give_the_identical_plan(
        notes in playing(),
        settings in proptest::collection::vec((0.0..1.0f64, 0..8u8), 0..4),
        said in said(),
        asides in asides(),
        marked in proptest::collection::vec((0.0..1.0f64, 0..4_000_000u64), 0..4),
    ) {
        let mut all: Vec<Said> = settings.iter().map(|&(part, which)| {
            let event = match which {
                0..5 => Event::Inertia(Inertia::ALL[usize::from(which)]),
                5 => Event::Fading(Fading::Sustained),
                6 => Event::Filter(Filter { channels: 0xffff, transpose: 3 }),
                _ => Event::Filter(Filter { transpose: -2, ..Filter::default() }),
            };
            (part, event)
        }).collect();
        all.extend(said);
        all.extend(asides);
        let said = written(&notes, &all);
        let mut markers: Vec<Marker> = Vec::new();
        for (part, long) in marked {
            let (_, at) = moment(&notes, part);
            let name = format!("no. {}", markers.len());
            markers.push(Marker { at, about: Some((at - Time(long), at)), name });
        }
        markers.sort_by_key(|m| m.at);
        let told = together(&notes, &all);
        let recording = Recording {
            end: end(&notes), notes, said, markers: markers.clone(), ..Recording::default()
        };
        prop_assert_eq!(&recording.events().collect::<Vec<_>>(), &told);

        // Live: the engine hears each thing as it comes.
        let live = study(&recording, monitor(), &catalogue());
        let out = std::io::Cursor::new(Vec::new());
        let bytes = recording::write(&recording, &catalogue(), out).expect("a memory never fails");
        let back = recording::read(bytes.get_ref(), &catalogue()).expect("our own file");
        prop_assert_eq!(&back, &recording);
        let replayed = study(&back, monitor(), &catalogue());
        prop_assert_eq!(live.duration, replayed.duration);
        prop_assert_eq!(&live.heard, &replayed.heard);
        prop_assert_eq!(&live.hindsight, &replayed.hindsight);
        prop_assert_eq!(&live.chords, &replayed.chords);
        prop_assert_eq!(&live.markers, &markers);
        prop_assert_eq!(&replayed.markers, &markers);
        // And study hears what the engine tells.
        let mut direct = monitor();
        let mut history = peregrinus::engine::History::default();
        for (at, event) in told {
            direct.on_event(at, event, &mut history);
        }
        direct.advance_to(recording.end, &mut history);
        history.advance_to(recording.end);
        prop_assert_eq!(&live.heard, &history);
    }

    /// What the player pins and says is home changes nothing of what the engine hears.
    #[test]
    fn what_is_said_changes_no_plan(notes in playing(), said in said()) {
        let (silent, alone) = hear(monitor(), &notes);
        let (told, spoken) = hear_said(monitor(), &notes, &said);
        let own = |t: &(Time, Change)| !matches!(t.1, Change::Pinned(_) | Change::HomeIs(_));
        let heard: Vec<_> = plan(&told).into_iter().filter(own).collect();
        prop_assert_eq!(heard, plan(&silent));
        let (alone, spoken) = (alone.reading(), spoken.reading());
        prop_assert_eq!((alone.here, alone.home), (spoken.here, spoken.home));
        prop_assert_eq!(alone.contender, spoken.contender);
        prop_assert_eq!(alone.ranking, spoken.ranking);
        prop_assert_eq!(alone.collection, spoken.collection);
        // And in hindsight.
        let recording = |said: &[Said]| {
            let said = written(&notes, said);
            Recording { end: end(&notes), notes: notes.clone(), said, ..Recording::default() }
        };
        let silent = study(&recording(&[]), monitor(), &catalogue());
        let spoken = study(&recording(&said), monitor(), &catalogue());
        prop_assert_eq!(&silent.hindsight, &spoken.hindsight);
        prop_assert_eq!(&silent.chords, &spoken.chords);
        let spans = |s: &Study| -> Vec<(Time, Option<_>)> {
            s.heard.chords().iter().map(|c: &ChordSpan| (c.start, c.within)).collect()
        };
        // A chord is named within what is pinned.
        let pins: Vec<(Time, Option<_>)> = together(&notes, &said).into_iter().filter_map(|(at, e)| match e {
            Event::Pin(pinned) => Some((at, pinned)),
            _ => None,
        }).collect();
        for (start, within) in spans(&spoken) {
            let pinned = pins.iter().rev().find(|p| p.0 < start).and_then(|p| p.1);
            if pins.iter().all(|p| p.0 != start) && let Some(pinned) = pinned {
                prop_assert_eq!(within, Some(pinned));
            }
        }
    }

    /// An aside is no part of the plan: what comes before is as if the recording ended there,
    /// in hindsight what comes after is as if it began there.
    #[test]
    fn an_aside_stays_out_of_the_plan(
        notes in playing(),
        parts in (0.0..1.0f64, 0.0..1.0f64),
    ) {
        let (a, b) = (parts.0.min(parts.1), parts.0.max(parts.1));
        let ((i, from), (j, to)) = (moment(&notes, a), moment(&notes, b));
        let studied = |notes: Vec<Timed>, end, said| {
            study(&Recording { notes, end, said, ..Recording::default() }, monitor(), &catalogue())
        };
        let last = end(&notes);
        // All is let go before it is over.
        let release = Timed { at: to, event: midi::Event::Release };
        let events = [&notes[..j], &[release], &notes[j..]].concat();
        let word = |at, before_note, edge| recording::Said { at, before_note, event: Event::Aside(edge) };
        let whole = studied(events, last, vec![word(from, i, Aside::Begins), word(to, j + 1, Aside::Ends)]);
        let before = studied(notes[..i].to_vec(), from, Vec::new());
        let after = studied(notes[j..].to_vec(), last, Vec::new());
        prop_assert_eq!(whole.heard.asides().collect::<Vec<_>>(), vec![(from, to)]);
        prop_assert_eq!(whole.counted(), last - (to - from));

        let regions = |list: &[Region], first: bool| -> Vec<Region> {
            let own = |r: &&Region| r.end > r.start && (r.start < from) == first;
            list.iter().filter(own).copied().collect()
        };
        let (w, b) = (&whole.heard, &before.heard);
        prop_assert_eq!(regions(&w.plan().regions, true), regions(&b.plan().regions, true));
        prop_assert_eq!(regions(&w.plan().home, true), regions(&b.plan().home, true));
        prop_assert_eq!(regions(&whole.hindsight.regions, true), regions(&before.hindsight.regions, true));
        prop_assert_eq!(regions(&whole.hindsight.home, true), regions(&before.hindsight.home, true));
        let chords = |list: &[ChordSpan], first: bool| -> Vec<ChordSpan> {
            let own = |c: &&ChordSpan| c.end > c.start && (c.start < from) == first;
            list.iter().filter(own).copied().collect()
        };
        prop_assert_eq!(chords(w.chords(), true), chords(b.chords(), true));
        prop_assert_eq!(chords(&whole.chords, true), chords(&before.chords, true));

        let bare = |list: &[Region]| -> Vec<_> {
            list.iter().filter(|r| r.end > r.start)
                .map(|r| (r.start, r.end, r.since, r.spelled.tonality, r.probability)).collect()
        };
        for list in [&w.plan().regions, &w.plan().home, &whole.hindsight.regions, &whole.hindsight.home] {
            prop_assert!(regions(list, false).iter().all(|r| r.start >= to && r.since >= to), "{list:?}");
            prop_assert!(regions(list, true).iter().all(|r| r.end <= from), "{list:?}");
        }
        let (w, a) = (&whole.hindsight, &after.hindsight);
        prop_assert_eq!(bare(&regions(&w.regions, false)), bare(&a.regions));
        prop_assert_eq!(bare(&regions(&w.home, false)), bare(&a.home));
        let bare = |list: &[ChordSpan]| -> Vec<_> {
            list.iter().filter(|c| c.end > c.start).map(|c| (c.start, c.end, c.sonority)).collect()
        };
        prop_assert_eq!(bare(&chords(&whole.chords, false)), bare(&after.chords));
        if before.heard.plan().home.is_empty() {
            prop_assert_eq!(bare(&chords(whole.heard.chords(), false)), bare(after.heard.chords()));
        }
    }

    /// Transposed: the same plan exactly, transposed, whatever the register, with what the
    /// player says transposed as well.
    #[test]
    fn transposed_playing_is_heard_transposed(
        gestures in proptest::collection::vec(gesture(), 5..60),
        said in said(),
        asides in asides(),
        by in -24..=24i32,
    ) {
        let said = [said, asides].concat();
        let hear = |by: i32| hear_said(monitor(), &play(&gestures, up(by)), &said_up(&said, by)).0;
        let here = bare_plan(&hear(0), 0);
        let there = bare_plan(&hear(by), by);
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
        said in said(),
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
        let hear = |by: i32| hear_said(sustained(), &play(by), &said_up(&said, by)).0;
        let here = bare(hear(0), 0);
        let there = bare(hear(by), by);
        for (a, b) in here.iter().zip(&there) {
            prop_assert_eq!(a, b);
        }
        prop_assert_eq!(here.len(), there.len());
    }
}
