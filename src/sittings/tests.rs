//! Sittings against broken files and a clock that is set back.

use super::files::with_facts;
use super::room::LOW;
use super::*;
use crate::correction::{Center, Correction, Revision, Signature};
use crate::engine::{Aside, Event, Inertia, Monitor};
use crate::midi;
use crate::plan::Marker;
use crate::recording;
use crate::theory::Catalogue;
use crate::time::Time;
use jiff::ZonedDateTime;
use std::fs::File;
use std::io::Cursor;
use std::path::Path;
use std::sync::{Arc, Mutex};

const ETUDE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/recordings/05_ferry_lamp.mid");

fn catalogue() -> Arc<Catalogue> {
    Arc::new(Catalogue::standard().clone())
}

fn monitor() -> Monitor {
    Monitor::new(catalogue()).expect("the embedded weights")
}

fn calendar() -> ZonedDateTime {
    "2026-11-29T20:15:03+01:00[+01:00]".parse().expect("a date")
}

fn to_disk() -> ToDisk {
    Box::new(File::sync_data)
}

/// Forty events of every kind, a tenth of a second apart: the first strikes a key.
fn played() -> Vec<Event> {
    let channel = midi::Channel::ALL[0];
    let mut all = Vec::new();
    for round in 0..8u8 {
        let key = 50 + 2 * round;
        all.extend([
            Event::Midi(midi::Event::NoteOn {
                channel,
                key,
                velocity: 70,
            }),
            Event::Midi(midi::Event::Damper {
                channel,
                value: 100 - round,
            }),
            match round % 4 {
                0 => Event::Inertia(Inertia::Chord),
                1 => Event::Aside(Aside::Begins),
                2 => Event::Aside(Aside::Ends),
                _ => Event::Inertia(Inertia::Phrase),
            },
            Event::Midi(midi::Event::NoteOff { channel, key }),
            Event::Midi(midi::Event::Damper { channel, value: 0 }),
        ]);
    }
    all
}

/// A sitting's growing file, and how long it was when each event had been written.
fn growing() -> (Vec<u8>, Vec<usize>) {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path());
    let path = dir.path().join("growing").join("2026-11-29_20-15-03.mid");
    let mut keeper = Keeper::new(folder, catalogue(), Box::new(calendar), to_disk(), |_| {});
    let read = || std::fs::read(&path).expect("a growing file");
    let mut lengths = Vec::new();
    for (event, tenths) in played().into_iter().zip(0..) {
        keeper.event(Time::millis(100 * tenths), event);
        keeper.write();
        lengths.push(read().len());
    }
    (read(), lengths)
}

/// The track's end, which every write puts behind the latest event.
const TRACK_END: usize = 4;

fn lets_go(event: Event) -> bool {
    use midi::Event::{Damper, NoteOff};
    matches!(event, Event::Midi(NoteOff { .. } | Damper { value: 0, .. }))
}

fn strike() -> Event {
    Event::Midi(midi::Event::NoteOn {
        channel: midi::Channel::ALL[0],
        key: 60,
        velocity: 64,
    })
}

/// Puts a file where a program that was killed would have left it.
fn left(root: &Path, bytes: &[u8]) -> Folder {
    let folder = Folder::new(root);
    folder.make().expect("a folder");
    std::fs::write(root.join("growing").join("cut.mid"), bytes).expect("written");
    folder
}

/// Cut off after any byte: every event that was whole by then is kept, and nothing else.
#[test]
fn a_file_cut_off_at_any_byte_is_kept_to_its_last_whole_event() {
    let (whole, lengths) = growing();
    let (catalogue, fresh) = (catalogue(), monitor());
    let all = recording::read(&whole, &catalogue).expect("whole");
    assert!(all.faults.is_empty());
    let events: Vec<(Time, Event)> = all.events().collect();
    assert_eq!(events.len(), lengths.len());
    let dir = tempfile::tempdir().expect("a folder");
    let mut kept_before = 0;
    for length in 0..=whole.len() {
        let root = dir.path().join(length.to_string());
        let folder = left(&root, &whole[..length]);
        let there = lengths.iter().filter(|&&l| l - TRACK_END <= length).count();
        let recovered = recover(&folder, &catalogue, &fresh).expect("a folder");
        let kept = match &recovered[..] {
            [Recovered::Kept(sitting)] => {
                let read = read(&folder, &sitting.id, &catalogue).expect("a sitting");
                assert!(read.faults.is_empty() && read.facts.cut_off, "{length}");
                read.events().collect()
            }
            // No note is whole yet.
            [] | [Recovered::Left { .. }] => Vec::new(),
            more => panic!("{length}: {more:?}"),
        };
        let struck = there.min(1);
        let alike = kept.iter().zip(&events).take_while(|(a, b)| a == b).count();
        assert!(alike >= there * struck, "{length}: {alike} of {there}");
        // What was down when it was cut off is let go of there, and nothing else is added.
        let last = alike.checked_sub(1).map(|last| kept[last].0);
        assert!(
            kept[alike..]
                .iter()
                .all(|&(at, event)| lets_go(event) && Some(at) == last),
            "{length}: {kept:?}"
        );
        assert!(alike >= kept_before, "{length}");
        kept_before = alike;
    }
    assert_eq!(kept_before, events.len());
}

/// Whatever bit is flipped: nothing panics, and what can be read of it is kept whole.
#[test]
fn flipped_bits_lose_no_more_than_they_must() {
    const FLIPS: usize = 10_000;
    /// One in so many is put through the whole recovery.
    const RECOVERED: usize = 100;
    let (whole, _) = growing();
    let (catalogue, fresh) = (catalogue(), monitor());
    let dir = tempfile::tempdir().expect("a folder");
    let mut dice = 0x666c_6970_7065_6421_u64;
    let (mut readable, mut unreadable) = (0, 0);
    for flip in 0..FLIPS {
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        let bit = (dice >> 16) as usize % (8 * whole.len());
        let mut bytes = whole.clone();
        bytes[bit / 8] ^= 1 << (bit % 8);
        if let Ok(read) = recording::read(&bytes, &catalogue) {
            readable += 1;
            let kept = with_facts(&bytes, &read, &read.facts, &catalogue).expect("in memory");
            let again = recording::read(&kept, &catalogue).expect("what was written");
            let said =
                |read: &recording::Recording| -> Vec<(Time, Event)> { read.events().collect() };
            assert_eq!(said(&again), said(&read), "bit {bit}");
        } else {
            unreadable += 1;
        }
        if flip % RECOVERED == 0 {
            let root = dir.path().join(flip.to_string());
            let folder = left(&root, &bytes);
            for one in recover(&folder, &catalogue, &fresh).expect("a folder") {
                match one {
                    Recovered::Kept(sitting) => {
                        let read = read(&folder, &sitting.id, &catalogue).expect("a sitting");
                        assert!(read.facts.cut_off && !read.notes.is_empty(), "bit {bit}");
                    }
                    Recovered::Left { path, .. } => {
                        assert_eq!(std::fs::read(path).expect("it stays"), bytes);
                    }
                }
            }
        }
    }
    // The header has few of the bits.
    assert!(readable > 9 * unreadable, "{readable} {unreadable}");
}

/// The clock goes from summer to winter time and is then set back by days: no name is given
/// twice, and the order is that of the clock.
#[test]
fn names_stay_unique_and_in_order_when_the_clock_is_set_back() {
    let dates = [
        "2026-10-25T02:30:00+02:00",
        // A quarter of an hour of music later, after the change to winter time.
        "2026-10-25T02:30:00+01:00",
        "2026-10-25T03:00:00+01:00",
        // Set back to where it has been.
        "2026-10-25T02:30:00+02:00",
        "2026-10-20T12:00:00+02:00",
    ];
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path());
    let next = Arc::new(Mutex::new(dates.into_iter()));
    let calendar = move || {
        let date = next.lock().expect("no panic").next().expect("a date");
        let offset = &date[date.len() - 6..];
        format!("{date}[{offset}]").parse().expect("a date")
    };
    let kept = Arc::new(Mutex::new(Vec::new()));
    let told = Arc::clone(&kept);
    let mut keeper = Keeper::new(
        folder.clone(),
        catalogue(),
        Box::new(calendar),
        to_disk(),
        move |news| {
            if let News::Kept { sitting, .. } = news {
                told.lock().expect("no panic").push(sitting.id);
            }
        },
    );
    for (_, minutes) in dates.iter().zip(0..) {
        let at = Time::millis(60_000 * minutes);
        keeper.event(at, strike());
        keeper.marker(&Marker {
            at: at + Time::millis(500),
            about: None,
            name: format!("the {minutes}th"),
        });
        keeper.end(at + Time::millis(1000));
    }
    keeper.finish(Time::millis(600_000)).expect("a disk");
    let kept = kept.lock().expect("no panic").clone();
    assert_eq!(
        kept,
        [
            "2026-10-25_02-30-00",
            "2026-10-25_02-30-00-2",
            "2026-10-25_03-00-00",
            "2026-10-25_02-30-00-3",
            "2026-10-20_12-00-00",
        ]
    );
    // Each holds what was played in it, and says when that was.
    for ((id, date), minutes) in kept.iter().zip(dates).zip(0..) {
        let read = read(&folder, id, &catalogue()).expect("a sitting");
        assert_eq!(read.facts.begun.as_deref(), Some(date));
        assert_eq!(read.markers[0].name, format!("the {minutes}th"));
    }
    let mut index = Index::open(&folder, &catalogue()).expect("an index");
    index.refresh(&mut |_, _| {}).expect("read");
    let listed = index.list(&Query::default()).expect("a list");
    let order: Vec<&str> = listed.iter().map(|s| s.id.as_str()).collect();
    let newest_first = [
        "2026-10-25_03-00-00",
        "2026-10-25_02-30-00-2",
        "2026-10-25_02-30-00-3",
        "2026-10-25_02-30-00",
        "2026-10-20_12-00-00",
    ];
    assert_eq!(order, newest_first);
}

/// A disk with little room is said once, and again only when there has been room meanwhile.
#[test]
fn little_room_is_said_once() {
    let dir = tempfile::tempdir().expect("a folder");
    let left = Arc::new(Mutex::new(Some(LOW)));
    let told = Arc::new(Mutex::new(Vec::new()));
    let (tells, says) = (Arc::clone(&left), Arc::clone(&told));
    let folder = Folder::new(dir.path());
    let mut keeper = Keeper::new(
        folder,
        catalogue(),
        Box::new(calendar),
        to_disk(),
        move |news| {
            if let News::Narrow { free } = news {
                says.lock().expect("no panic").push(free);
            }
        },
    )
    .with_space(Box::new(move |_| *tells.lock().expect("no panic")));
    let mut minute = 0;
    let mut play = |free: Option<u64>| {
        *left.lock().expect("no panic") = free;
        for tenths in 0..100 {
            let at = Time::millis(60_000 * minute + 100 * tenths);
            keeper.event(at, strike());
            keeper.write();
        }
        minute += 1;
        // The next is another sitting.
        if free == Some(7) {
            keeper.end(Time::millis(60_000 * minute));
        }
    };
    for free in [
        Some(LOW),
        Some(LOW - 1),
        Some(5),
        None,
        Some(7),
        Some(6),
        Some(LOW),
    ] {
        play(free);
    }
    assert_eq!(*told.lock().expect("no panic"), [LOW - 1, 7, 6]);
}

/// What is old goes, but for what anything was ever said of; what cannot go stays.
#[test]
fn only_old_sittings_that_nothing_was_said_of_go_by_themselves() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path());
    let catalogue = catalogue();
    let days = [1, 2, 3, 4, 5, 28];
    let next = Arc::new(Mutex::new(days.into_iter()));
    let calendar = move || {
        let day = next.lock().expect("no panic").next().expect("a day");
        let date = format!("2026-11-{day:02}T20:00:00+01:00[+01:00]");
        date.parse().expect("a date")
    };
    let mut keeper = Keeper::new(
        folder.clone(),
        catalogue.clone(),
        Box::new(calendar),
        to_disk(),
        |_| {},
    );
    for (day, minutes) in days.into_iter().zip(0..) {
        let at = Time::millis(60_000 * minutes);
        keeper.event(at, strike());
        match day {
            2 => keeper.name(2, "Named"),
            3 => keeper.marker(&Marker {
                at,
                about: None,
                name: "marked".into(),
            }),
            _ => {}
        }
        keeper.end(at + Time::millis(1000));
    }
    keeper.finish(Time::millis(600_000)).expect("a disk");
    let id = |day: u32| format!("2026-11-{day:02}_20-00-00");
    let tags = |facts: &mut recording::Facts| facts.tags.push("kept".into());
    change(&folder, &id(4), &catalogue, tags).expect("tagged");

    let center = Some(Center::None);
    let split = Correction::Label {
        at: Time::ZERO,
        center,
        word: Some("mine".into()),
    };
    let by = Signature {
        who: String::new(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let revision = Revision::Correct(split);
    let goes_on = |_| std::ops::ControlFlow::Continue(());
    correct(
        &folder,
        &id(5),
        (&revision, &by),
        monitor(),
        &catalogue,
        goes_on,
    )
    .expect("corrected");
    // One that was put there by hand, and says nothing of itself.
    std::fs::copy(ETUDE, folder.path("by hand")).expect("copied");
    let until = "2026-11-20T00:00:00Z".parse().expect("a date");
    let no_trash = TrashError {
        why: "no trash".into(),
    };
    let nowhere = |_: &str| Err(no_trash.clone());
    let stays = clear(&folder, &catalogue, until, nowhere).expect("an index");
    let left = Some((1, no_trash.clone()));
    assert_eq!(stays, Cleared { gone: 0, left });
    assert_eq!(folder.ids().expect("a folder").len(), days.len() + 1);

    let remove = |id: &str| {
        std::fs::remove_file(folder.path(id)).map_err(|e| TrashError { why: e.to_string() })
    };
    let future = "2030-01-01T00:00:00Z".parse().expect("a date");
    for until in [until, future] {
        let one = Cleared {
            gone: 1,
            left: None,
        };
        let gone = clear(&folder, &catalogue, until, remove).expect("an index");
        assert_eq!(gone, one);
    }
    let mut left: Vec<String> = [5, 4, 3, 2].into_iter().map(id).collect();
    let mut index = Index::open(&folder, &catalogue).expect("an index");
    let listed = index.list(&Query::default()).expect("a list");
    let listed: Vec<String> = listed.into_iter().map(|s| s.id).collect();
    left.insert(0, "by hand".into());
    assert_eq!(listed, left);
}

/// Of two programs that change one sitting at once the second writes nothing, and says so; a
/// file that was taken away meanwhile does not come back.
#[test]
fn a_change_is_never_written_over_another() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path());
    let catalogue = catalogue();
    folder.make().expect("a folder");
    std::fs::copy(ETUDE, folder.path("one")).expect("copied");
    let tag = |tag: &'static str| move |facts: &mut recording::Facts| facts.tag(tag);
    let late = change(&folder, "one", &catalogue, |facts| {
        change(&folder, "one", &catalogue, tag("first")).expect("tagged");
        facts.tag("second");
    });
    assert!(matches!(late, Err(ChangeError::Changed)), "{late:?}");
    let tags = || {
        read(&folder, "one", &catalogue)
            .expect("a sitting")
            .facts
            .tags
    };
    assert_eq!(tags(), ["first"]);
    change(&folder, "one", &catalogue, tag("second")).expect("tagged");
    assert_eq!(tags(), ["first", "second"]);
    let gone = change(&folder, "one", &catalogue, |facts| {
        std::fs::remove_file(folder.path("one")).expect("removed");
        facts.tag("third");
    });
    assert!(gone.is_err() && !folder.path("one").exists());
}

/// A growing file in which no note can be read is not thrown away while anything may be in it;
/// and one that cannot be had keeps none of the others from being looked after.
#[test]
fn what_cannot_be_recovered_stays_and_the_others_are_kept() {
    let (whole, lengths) = growing();
    let dir = tempfile::tempdir().expect("a folder");
    let growing = |id: &str, ending: &str| {
        let name = format!("{id}.{ending}");
        dir.path().join("growing").join(name)
    };
    let folder = left(dir.path(), &whole);
    // The strike of the first key is cut in two, and a track of nonsense.
    let torn = &whole[..lengths[0] - TRACK_END - 1];
    let nonsense = [&whole[..33], &[0xff; 40]].concat();
    // Nothing was played in these: a beginning, and a part of one.
    let beginning = recording::Writer::new(Cursor::new(Vec::new()), catalogue());
    let beginning = beginning.expect("in memory").into_inner().into_inner();
    for (id, bytes) in [
        ("torn", torn),
        ("nonsense", &nonsense),
        ("locked", &whole),
        ("empty", &beginning),
        ("begun", &beginning[..20]),
        ("nothing", b""),
    ] {
        std::fs::write(growing(id, "mid"), bytes).expect("written");
    }
    // No file can be opened where a folder is.
    std::fs::create_dir(growing("locked", "lock")).expect("made");
    let mut left = Vec::new();
    let mut kept = Vec::new();
    for one in recover(&folder, &catalogue(), &monitor()).expect("a folder") {
        match one {
            Recovered::Kept(sitting) => kept.push(sitting.id),
            Recovered::Left { path, why } => {
                assert!(!why.to_string().is_empty());
                left.push(path);
            }
        }
    }
    assert_eq!(kept, ["cut"]);
    left.sort();
    let stays = ["locked", "nonsense", "torn"].map(|id| growing(id, "mid"));
    assert_eq!(left, stays);
    for (path, bytes) in stays.iter().zip([&whole[..], &nonsense, torn]) {
        assert_eq!(std::fs::read(path).expect("it stays"), bytes);
    }
    for id in ["cut", "empty", "begun", "nothing"] {
        assert!(!growing(id, "mid").exists(), "{id}");
    }
}

/// A name goes to the sitting that it was typed for: while that is played, when it waits for its
/// disk, and when it stands among the others.
#[test]
fn a_name_reaches_its_sitting_whenever_it_comes() {
    let dir = tempfile::tempdir().expect("a folder");
    let root = dir.path().join("sittings");
    let folder = Folder::new(&root);
    let told = Arc::new(Mutex::new(Vec::new()));
    let tells = Arc::clone(&told);
    let say = move |news| tells.lock().expect("no panic").push(news);
    let calendar = Box::new(calendar);
    let mut keeper = Keeper::new(folder.clone(), catalogue(), calendar, to_disk(), say);
    let play = |keeper: &mut Keeper, minute: u64| {
        let at = Time::millis(60_000 * minute);
        keeper.event(at, strike());
        at + Time::millis(1000)
    };
    let end = play(&mut keeper, 1);
    keeper.name(1, "first");
    keeper.end(end);
    // No folder can be where a file is.
    std::fs::rename(&root, dir.path().join("away")).expect("renamed");
    std::fs::write(&root, "in the way").expect("written");
    let end = play(&mut keeper, 2);
    keeper.end(end);
    keeper.name(2, "second");
    keeper.name(9, "none");
    std::fs::remove_file(&root).expect("removed");
    std::fs::rename(dir.path().join("away"), &root).expect("renamed");
    let end = play(&mut keeper, 3);
    keeper.end(end);
    let end = play(&mut keeper, 4);
    keeper.name(1, "");
    keeper.name(3, "third");
    keeper.finish(end).expect("a disk");

    let names = ["", "-2", "-3", "-4"].map(|number| {
        let id = format!("2026-11-29_20-15-03{number}");
        read(&folder, &id, &catalogue())
            .expect("a sitting")
            .facts
            .name
    });
    let names = names.each_ref().map(Option::as_deref);
    assert_eq!(names, [None, Some("second"), Some("third"), None]);
    let told = told.lock().expect("no panic");
    let late: Vec<_> = told
        .iter()
        .filter(|news| matches!(news, News::Named { .. }))
        .collect();
    let named = |id: &str, name: &str| News::Named {
        id: id.into(),
        name: name.into(),
        failed: None,
    };
    let wanted = [
        named("2026-11-29_20-15-03", ""),
        named("2026-11-29_20-15-03-3", "third"),
    ];
    assert_eq!(late, wanted.iter().collect::<Vec<_>>());
}

/// Of a disk that takes nothing for longer than memory is kept for it, what is missing is
/// counted; before what comes after the gap all keys are let go of.
#[test]
fn what_finds_no_room_in_memory_is_counted_and_let_go_of() {
    const MOST: usize = 100;
    let dir = tempfile::tempdir().expect("a folder");
    let root = dir.path().join("sittings");
    std::fs::write(&root, "in the way").expect("written");
    let missed = Arc::new(Mutex::new(0));
    let tells = Arc::clone(&missed);
    let say = move |news| {
        if let News::Missed(count) = news {
            *tells.lock().expect("no panic") = count;
        }
    };
    let folder = Folder::new(&root);
    let mut keeper = Keeper::new(
        folder.clone(),
        catalogue(),
        Box::new(calendar),
        to_disk(),
        say,
    )
    .with_room_for(MOST);
    let key = |key: u8| {
        Event::Midi(midi::Event::NoteOn {
            channel: midi::Channel::ALL[0],
            key: key % 128,
            velocity: 64,
        })
    };
    for i in 0..120 {
        keeper.event(Time::millis(100 * u64::from(i)), key(i));
        keeper.write();
    }
    std::fs::remove_file(&root).expect("removed");
    keeper.write();
    keeper.event(Time::millis(20_000), key(127));
    keeper.finish(Time::millis(21_000)).expect("a disk");
    assert_eq!(*missed.lock().expect("no panic"), 20);
    let notes = read(&folder, "2026-11-29_20-15-03", &catalogue())
        .expect("a sitting")
        .notes;
    let events: Vec<Event> = notes.iter().map(|t| Event::Midi(t.event)).collect();
    let before: Vec<Event> = (0..100).map(key).collect();
    assert_eq!(events[..MOST], before);
    assert_eq!(
        events[MOST..],
        [Event::Midi(midi::Event::Release), key(127)]
    );
}

/// A program was killed before its file was made: its lock goes, that of one that lives stays.
#[test]
fn a_lock_without_a_file_is_removed_unless_it_is_held() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path());
    let begun = calendar();
    let lives = folder.begin(&begun).expect("a disk");
    drop(folder.begin(&begun).expect("a disk"));
    let locks = || {
        let names = std::fs::read_dir(dir.path().join("growing")).expect("a folder");
        let mut names: Vec<_> = names.map(|f| f.expect("a file").file_name()).collect();
        names.sort();
        names
    };
    assert_eq!(locks().len(), 2);
    assert!(folder.cut_off().expect("a disk").is_empty());
    assert_eq!(locks(), ["2026-11-29_20-15-03.lock"]);
    // Its name is free again, and nobody else's is taken.
    let next = folder.begin(&begun).expect("a disk");
    assert_eq!(next.id, "2026-11-29_20-15-03-2");
    assert_eq!(locks().len(), 2);
    assert!(lives.paths()[1].exists());
}
