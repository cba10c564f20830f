//! The index against its files, whatever happens to it.

use super::super::files::complete;
use super::super::{Sitting, change, correct};
use super::*;
use crate::correction::{Correction, Revision, Signature};
use crate::engine::{Event, Monitor};
use crate::midi;
use crate::plan::{Marker, Open, Region, TonalPlan};
use crate::recording::{Facts, Writer};
use crate::theory::Letters;
use crate::time::Time;
use jiff::ZonedDateTime;
use rusqlite::Connection;
use std::time::{Duration, SystemTime};
use tempfile::TempDir;

fn standard() -> Arc<Catalogue> {
    Arc::new(Catalogue::standard().clone())
}

/// A folder of sittings made as the program makes them.
struct Room {
    _dir: TempDir,
    folder: Folder,
    catalogue: Arc<Catalogue>,
}

const BEGUN: [&str; 3] = [
    "2026-10-25T02:30:00+02:00",
    // Half an hour later, after the change to winter time.
    "2026-10-25T02:00:00+01:00",
    "2026-11-29T20:15:03+01:00",
];

impl Room {
    fn new() -> Room {
        let dir = tempfile::tempdir().expect("a folder");
        Room {
            folder: Folder::new(dir.path().join("sittings")),
            _dir: dir,
            catalogue: standard(),
        }
    }

    fn with_three() -> Room {
        let room = Room::new();
        room.play(BEGUN[0], "D dorian", &[60, 64]);
        room.play(BEGUN[1], "F lydian", &[60, 64, 67]);
        room.play(BEGUN[2], "Bb minor", &[60]);
        room
    }

    fn play(&self, begun: &str, tonality: &str, keys: &[u8]) -> String {
        let offset = &begun[begun.len() - 6..];
        let zoned: ZonedDateTime = format!("{begun}[{offset}]").parse().expect("a moment");
        let growing = self.folder.begin(&zoned).expect("begun");
        let file = std::fs::File::create(&growing.path).expect("made");
        let mut writer = Writer::new(file, Arc::clone(&self.catalogue)).expect("a file");
        for (i, &key) in keys.iter().enumerate() {
            let at = Time::millis(500 * i as u64);
            let channel = midi::Channel::ALL[0];
            let velocity = 70;
            let event = midi::Event::NoteOn {
                channel,
                key,
                velocity,
            };
            writer.event(at, Event::Midi(event));
        }
        let end = Time::millis(4321);
        writer.marker(&Marker {
            at: end,
            about: None,
            name: format!("at the end of {tonality}"),
        });
        writer.finish(end).expect("written");
        let region = Region {
            start: Time::millis(10),
            end,
            since: Time::ZERO,
            spelled: self.catalogue.parse_tonality(tonality).expect("a tonality"),
            open: Open::default(),
            probability: 0.75,
        };
        let facts = Facts {
            begun: Some(begun.into()),
            heard: TonalPlan {
                regions: vec![region],
                home: vec![region],
            },
            ..Facts::default()
        };
        let id = growing.id.clone();
        complete(&self.folder, &growing, &facts, &self.catalogue).expect("completed");
        growing.done();
        id
    }

    /// Corrects one of them, by its place in the list.
    fn correct(&self, place: usize) {
        let correction = Correction::Label {
            at: Time::ZERO,
            center: None,
            word: Some("the beginning".into()),
        };
        let by = Signature {
            who: "anna".into(),
            when: "2026-11-29T12:00:00Z".into(),
        };
        let id = &self.truth()[place].id;
        let revision = Revision::Correct(correction);
        let fresh = Monitor::new(Arc::clone(&self.catalogue)).expect("the weights");
        let go_on = |_| ControlFlow::Continue(());
        let to = (&revision, &by);
        correct(&self.folder, id, to, fresh, &self.catalogue, go_on).expect("corrected");
    }

    fn open(&self) -> Index {
        let mut index = Index::open(&self.folder, &self.catalogue).expect("an index");
        index.refresh(&mut |_, _| {}).expect("refreshed");
        index
    }

    /// What the files say, whatever the index says.
    fn truth(&self) -> Vec<Sitting> {
        let mut all: Vec<Sitting> = (self.folder.ids().expect("ids").iter())
            .map(|id| {
                let path = self.folder.path(id);
                let recording = files::read(&self.folder, id, &self.catalogue).expect("a file");
                let sitting = Sitting::of(id, &recording, &self.catalogue);
                stamped(sitting, Stamp::of(&path).expect("there"))
            })
            .collect();
        all.sort_by(|a, b| (b.at(), &b.id).cmp(&(a.at(), &a.id)));
        all
    }

    fn names(&self) -> Vec<String> {
        let names = std::fs::read_dir(self.folder.root()).expect("listed");
        let mut names: Vec<String> = names
            .map(|e| {
                e.expect("an entry")
                    .file_name()
                    .into_string()
                    .expect("text")
            })
            .filter(|name| name.starts_with("index"))
            .collect();
        names.sort();
        names
    }
}

fn all(index: &mut Index) -> Vec<Sitting> {
    index.list(&Query::default()).expect("a list")
}

#[test]
fn the_list_is_what_the_files_say() {
    let room = Room::with_three();
    let mut index = room.open();
    assert_eq!(all(&mut index), room.truth());
    assert_eq!(index.said(), [""; 0]);
    let list = all(&mut index);
    let begun: Vec<_> = list.iter().map(|s| s.begun.as_deref()).collect();
    // By the moment, not by what the clock showed.
    assert_eq!(begun, [BEGUN[2], BEGUN[1], BEGUN[0]].map(Some));
    assert_eq!(list[0].here[0].label, "B♭ minor");
    assert_eq!((list[1].notes, list[1].seconds), (3, 4.321));
    assert_eq!(list[2].markers, [(4.321, "at the end of D dorian".into())]);
}

#[test]
fn what_changes_in_the_folder_is_seen() {
    let room = Room::with_three();
    let mut index = room.open();
    let id = all(&mut index)[0].id.clone();
    change(&room.folder, &id, &room.catalogue, |facts| {
        facts.name = Some("Evening".into());
        facts.tag("blue");
    })
    .expect("changed");
    std::fs::remove_file(room.folder.path(&all(&mut index)[2].id)).expect("removed");
    room.play("2026-11-30T08:00:00+01:00", "C ionian", &[48]);
    let mut read = Vec::new();
    let progress = &mut |done, of| read.push((done, of));
    assert!(index.refresh(progress).expect("refreshed"));
    assert_eq!(read, [(0, 2), (1, 2)], "only what is new or changed");
    assert!(!index.refresh(&mut |_, _| {}).expect("refreshed"));
    assert_eq!(all(&mut index), room.truth());
    assert_eq!(all(&mut index)[1].name.as_deref(), Some("Evening"));
    // The other program sees the same.
    assert_eq!(all(&mut room.open()), room.truth());
}

#[test]
fn what_is_put_need_not_be_read() {
    let room = Room::with_three();
    let mut index = room.open();
    let id = all(&mut index)[1].id.clone();
    let name = |facts: &mut Facts| facts.name = Some("Noon".into());
    let recording = change(&room.folder, &id, &room.catalogue, name).expect("changed");
    let sitting = Sitting::of(&id, &recording, &room.catalogue);
    index.put(&sitting).expect("put");
    assert_eq!(all(&mut index), room.truth());
    let mut read = 0;
    index.refresh(&mut |_, _| read += 1).expect("refreshed");
    assert_eq!(read, 0);
    // What has no file is no sitting.
    let id = "2001-01-01_00-00-00".into();
    index.put(&Sitting { id, ..sitting }).expect("put");
    assert_eq!(all(&mut index), room.truth());
}

#[test]
fn a_file_that_cannot_be_read_is_said_and_the_others_are_there() {
    let room = Room::with_three();
    let bad = room.folder.path("2026-11-30_00-00-00");
    std::fs::write(&bad, b"no music").expect("written");
    let mut index = room.open();
    assert_eq!(all(&mut index).len(), 3);
    let said = index.said();
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(
        said[0].contains("2026-11-30_00-00-00.mid: left out"),
        "{said:?}"
    );
    // A sitting whose file becomes one of these is not shown as it was.
    let id = all(&mut index)[0].id.clone();
    std::fs::write(room.folder.path(&id), b"no music").expect("written");
    index.refresh(&mut |_, _| {}).expect("refreshed");
    assert_eq!(all(&mut index).len(), 2);
    assert_eq!(index.said().len(), 2);
}

#[test]
fn a_file_of_another_program_is_ordered_by_when_it_was_written() {
    let room = Room::with_three();
    let etude = include_bytes!("../../../recordings/05_ferry_lamp.mid");
    let path = room.folder.path("ferry lamp");
    std::fs::write(&path, etude).expect("written");
    let at: jiff::Timestamp = "2026-11-01T12:00:00Z".parse().expect("a moment");
    let at = SystemTime::try_from(at).expect("a moment");
    let file = std::fs::File::options()
        .write(true)
        .open(&path)
        .expect("opened");
    file.set_modified(at).expect("set");
    let list = all(&mut room.open());
    assert_eq!(list[1].id, "ferry lamp");
    assert_eq!(list, room.truth());
}

#[test]
fn queries() {
    let room = Room::with_three();
    for (id, name, tag) in [(0, "Évening", "Blue"), (1, "noon", "slow")] {
        let id = &room.truth()[id].id;
        let named = |facts: &mut Facts| {
            facts.name = Some(name.into());
            facts.tag(tag);
        };
        change(&room.folder, id, &room.catalogue, named).expect("changed");
    }
    let mut index = room.open();
    let mut places = |query: Query| -> Vec<usize> {
        let found = index.list(&query).expect("a list");
        let all = room.truth();
        let place = |s: &Sitting| all.iter().position(|t| t == s).expect("one of them");
        found.iter().map(place).collect()
    };
    let d = Query::default;
    let at = |text: &str| Some(text.parse().expect("a moment"));
    assert_eq!(places(d()), [0, 1, 2]);
    assert_eq!(
        places(Query {
            limit: Some(2),
            ..d()
        }),
        [0, 1]
    );
    assert_eq!(
        places(Query {
            limit: Some(0),
            ..d()
        }),
        [0; 0]
    );
    assert_eq!(
        places(Query {
            since: at(BEGUN[1]),
            ..d()
        }),
        [0, 1]
    );
    assert_eq!(
        places(Query {
            until: at(BEGUN[1]),
            ..d()
        }),
        [2]
    );
    let center = |text: &str| {
        let note = Letters::English.understand(text).expect("a note");
        Some(note.pitch_class().index() as u8)
    };
    assert_eq!(
        places(Query {
            center: center("A#"),
            ..d()
        }),
        [0]
    );
    assert_eq!(
        places(Query {
            center: center("C"),
            ..d()
        }),
        [0; 0]
    );
    let mode = |id: &str| Some(id.to_owned());
    assert_eq!(
        places(Query {
            mode: mode("lydian"),
            ..d()
        }),
        [1]
    );
    let both = |note, id| Query {
        center: center(note),
        mode: mode(id),
        ..d()
    };
    assert_eq!(places(both("D", "dorian")), [2]);
    assert_eq!(places(both("D", "lydian")), [0; 0]);
    let text = |text: &str| Query {
        text: Some(text.into()),
        ..d()
    };
    assert_eq!(places(text("éVEN")), [0]);
    assert_eq!(places(text("SLOW")), [1]);
    assert_eq!(places(text("end of d")), [2]);
    assert_eq!(places(text("nowhere")), [0; 0]);
    assert_eq!(index.find("noon").expect("found"), room.truth()[1]);
    assert_eq!(index.find("last-3").expect("found"), room.truth()[2]);
    let e = index.find("last-4").expect_err("only three");
    assert_eq!(e.to_string(), "there are only 3 sittings");
}

#[test]
fn the_same_music_is_known() {
    let room = Room::with_three();
    let id = room.truth()[0].id.clone();
    let named = |facts: &mut Facts| facts.name = Some("Named since".into());
    let music = change(&room.folder, &id, &room.catalogue, named).expect("changed");
    let mut index = room.open();
    let same = index.same(&music).expect("looked for").expect("there");
    assert_eq!(same.id, id);
    let mut other = music.clone();
    other.notes[0].at = Time(1);
    assert_eq!(index.same(&other).expect("looked for"), None);
}

/// A name and tags are the file's: no index is needed to keep them.
#[test]
fn an_index_that_is_missing_is_made() {
    let room = Room::with_three();
    let id = room.truth()[0].id.clone();
    let change_it = |facts: &mut Facts| {
        facts.name = Some("Kept".into());
        facts.tag("kept too");
    };
    change(&room.folder, &id, &room.catalogue, change_it).expect("changed");
    let before = all(&mut room.open());
    for name in room.names() {
        std::fs::remove_file(room.folder.root().join(name)).expect("removed");
    }
    let mut index = room.open();
    assert_eq!(all(&mut index), before);
    assert_eq!(before[0].name.as_deref(), Some("Kept"));
    assert_eq!(before[0].tags, ["kept too"]);
    assert_eq!(index.said(), [""; 0]);
    #[cfg(unix)]
    for name in room.names() {
        use std::os::unix::fs::PermissionsExt;
        let path = room.folder.root().join(name);
        let mode = path.metadata().expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{path:?}");
    }
}

#[test]
fn where_no_folder_is_none_is_made() {
    let room = Room::new();
    assert_eq!(all(&mut room.open()), []);
    assert!(!room.folder.root().exists());
}

/// The bytes of an index that is closed.
fn closed(room: &Room) -> Vec<u8> {
    drop(room.open());
    assert_eq!(room.names(), ["index.sqlite"], "no journal is left");
    std::fs::read(room.folder.index()).expect("read")
}

/// Whatever stands in the index's place, the list is what the files say.
fn recovers_from(room: &Room, truth: &[Sitting], bytes: &[u8], what: &str) -> usize {
    for name in room.names() {
        std::fs::remove_file(room.folder.root().join(name)).expect("removed");
    }
    std::fs::write(room.folder.index(), bytes).expect("written");
    let mut index = room.open();
    assert_eq!(all(&mut index), truth, "{what}");
    let said = index.said();
    assert!(index.place == Place::File, "{what}: {said:?}");
    drop(index);
    let aside = room
        .names()
        .iter()
        .filter(|n| n.ends_with("set-aside"))
        .count();
    assert_eq!(aside, said.len(), "{what}: {said:?}");
    // Afterwards nothing is wrong any longer.
    let mut index = room.open();
    assert_eq!(all(&mut index), truth, "{what}");
    assert_eq!(index.said(), [""; 0], "{what}");
    aside
}

#[test]
fn an_index_cut_short_anywhere_is_made_anew() {
    let room = Room::with_three();
    let (bytes, truth) = (closed(&room), room.truth());
    let mut aside = 0;
    for length in (0..bytes.len()).step_by(97) {
        aside += recovers_from(&room, &truth, &bytes[..length], &format!("{length} bytes"));
    }
    assert!(aside > 50, "{aside}");
}

#[test]
fn an_index_with_a_bit_flipped_says_nothing_wrong() {
    let room = Room::with_three();
    let (bytes, truth) = (closed(&room), room.truth());
    let mut random = 0x2545_f491_4f6c_dd1d_u64;
    let mut aside = 0;
    for _ in 0..300 {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        let place = random as usize % (8 * bytes.len());
        let mut flipped = bytes.clone();
        flipped[place / 8] ^= 1 << (place % 8);
        aside += recovers_from(&room, &truth, &flipped, &format!("bit {place}"));
    }
    assert!(aside > 5, "{aside}");
}

#[test]
fn what_is_no_index_is_set_aside() {
    let room = Room::with_three();
    drop(room.open());
    let truth = room.truth();
    assert_eq!(recovers_from(&room, &truth, b"a shopping list", "text"), 1);
    // A second one beside the first.
    std::fs::write(
        room.folder.index(),
        b"another list, longer than the first one was",
    )
    .expect("written");
    let mut index = room.open();
    assert_eq!(all(&mut index), truth);
    assert_eq!(
        index.said(),
        [
            "the index of the sittings is damaged: it was set aside as index.sqlite.set-aside-2, \
             and another is made of the files"
        ]
    );
    let kept = |name: &str| std::fs::read(room.folder.root().join(name)).expect("kept");
    assert_eq!(kept("index.sqlite.set-aside"), b"a shopping list");
    drop(index);
    // A folder.
    std::fs::remove_file(room.folder.index()).expect("removed");
    std::fs::create_dir(room.folder.index()).expect("made");
    assert_eq!(all(&mut room.open()), truth);
}

#[test]
fn an_index_of_a_later_version_is_set_aside() {
    let room = Room::with_three();
    drop(room.open());
    let db = Connection::open(room.folder.index()).expect("opened");
    db.pragma_update(None, "user_version", 99).expect("set");
    drop(db);
    let mut index = room.open();
    assert_eq!(all(&mut index), room.truth());
    assert_eq!(
        index.said(),
        [
            "the index of the sittings was made by a later version of this program: it was set \
             aside as index.sqlite.set-aside, and another is made of the files"
        ]
    );
}

/// Version 1, as it was before tags.
const VERSION_1: &str = "
    CREATE TABLE sitting (
        id TEXT PRIMARY KEY NOT NULL, size INTEGER NOT NULL, modified INTEGER NOT NULL,
        at INTEGER NOT NULL, begun TEXT, seconds REAL NOT NULL, notes INTEGER NOT NULL,
        name TEXT, cut_off INTEGER NOT NULL, here TEXT NOT NULL, home TEXT NOT NULL,
        markers TEXT NOT NULL) STRICT;
    CREATE INDEX newest ON sitting (at, id);
    INSERT INTO sitting VALUES ('2026-11-29_20-15-03', 410, 1796000000000000000,
        1795980000000000000, '2026-11-29T20:15:03+01:00', 4.321, 1, 'as it was', 0,
        '[]', '[]', '[]');
    INSERT INTO sitting VALUES ('1999-01-01_00-00-00', 410, 0, 0, NULL, 1.0, 1, NULL, 0,
        '[]', '[]', '[]');
    PRAGMA user_version = 1;";

/// Version 2, as it was before corrections.
const VERSION_2: &str = "
    CREATE TABLE sitting (
        id TEXT PRIMARY KEY NOT NULL, size INTEGER NOT NULL, modified INTEGER NOT NULL,
        at INTEGER NOT NULL, begun TEXT, seconds REAL NOT NULL, notes INTEGER NOT NULL,
        name TEXT, cut_off INTEGER NOT NULL, here TEXT NOT NULL, home TEXT NOT NULL,
        markers TEXT NOT NULL, tags TEXT NOT NULL DEFAULT '[]',
        crc INTEGER NOT NULL DEFAULT 0) STRICT;
    CREATE INDEX newest ON sitting (at, id);
    INSERT INTO sitting VALUES ('2026-11-29_20-15-03', 410, 1796000000000000000,
        1795980000000000000, '2026-11-29T20:15:03+01:00', 4.321, 1, 'as it was', 0,
        '[]', '[]', '[]', '[\"old\"]', 7);
    PRAGMA user_version = 2;";

/// Version 3, as it was before what is compared with the files had an index; its row is damaged.
const VERSION_3: &str = "
    CREATE TABLE sitting (
        id TEXT PRIMARY KEY NOT NULL, size INTEGER NOT NULL, modified INTEGER NOT NULL,
        at INTEGER NOT NULL, begun TEXT, seconds REAL NOT NULL, notes INTEGER NOT NULL,
        name TEXT, cut_off INTEGER NOT NULL, here TEXT NOT NULL, home TEXT NOT NULL,
        markers TEXT NOT NULL, tags TEXT NOT NULL DEFAULT '[]',
        crc INTEGER NOT NULL DEFAULT 0,
        corrections INTEGER NOT NULL DEFAULT 0) STRICT;
    CREATE INDEX newest ON sitting (at, id);
    INSERT INTO sitting VALUES ('2026-11-29_20-15-03', -1, 1796000000000000000,
        1795980000000000000, '2026-11-29T20:15:03+01:00', 4.321, 1, 'as it was', 0,
        '[]', '[]', '[]', '[\"old\"]', 7, 0);
    PRAGMA user_version = 3;";

#[test]
fn an_index_of_an_earlier_version_is_brought_up_to_this_one() {
    for earlier in [VERSION_1, VERSION_2, VERSION_3] {
        let room = Room::with_three();
        room.correct(0);
        let db = Connection::open(room.folder.index()).expect("opened");
        db.execute_batch(earlier).expect("made");
        drop(db);
        let mut index = Index::open(&room.folder, &room.catalogue).expect("an index");
        // What must be read again is not known yet.
        assert_eq!(all(&mut index), []);
        assert_eq!(index.room().expect("counted"), (0, 0));
        index.refresh(&mut |_, _| {}).expect("refreshed");
        assert_eq!(all(&mut index), room.truth());
        let bytes = room.truth().iter().map(|s| s.size).sum();
        assert_eq!(index.room().expect("counted"), (3, bytes));
        assert_eq!(index.said(), [""; 0]);
        drop(index);
        assert_eq!(room.names(), ["index.sqlite"], "migrated, not set aside");
        let db = Connection::open(room.folder.index()).expect("opened");
        let version = db.query_row("PRAGMA user_version", [], |row| row.get(0));
        assert_eq!(version, Ok(4));
    }
}

#[test]
fn corrections_are_the_files_too() {
    let room = Room::with_three();
    let mut index = room.open();
    assert_eq!(all(&mut index)[1].corrections, 0);
    room.correct(1);
    let count = index.rebuild(&mut |_, _| {}).expect("rebuilt");
    assert_eq!((count, all(&mut index)), (3, room.truth()));
    assert_eq!(all(&mut index)[1].corrections, 1);
    let corrected = Query {
        corrected: true,
        ..Query::default()
    };
    let found = index.list(&corrected).expect("a list");
    assert_eq!(found, [room.truth()[1].clone()]);
}

#[test]
fn an_index_that_another_program_holds_is_done_without() {
    let room = Room::with_three();
    drop(room.open());
    let other = Connection::open(room.folder.index()).expect("opened");
    other
        .execute_batch(
            "PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE; UPDATE sitting SET name = name",
        )
        .expect("locked");
    let began = std::time::Instant::now();
    let mut index = room.open();
    assert!(began.elapsed() < Duration::from_secs(20));
    assert_eq!(all(&mut index), room.truth());
    let held = "the index of the sittings is held by another program: this time the files \
                themselves are read";
    assert_eq!(index.said(), [held]);
    other.execute_batch("COMMIT").expect("unlocked");
    drop(other);
    let mut index = room.open();
    assert_eq!(all(&mut index), room.truth());
    assert_eq!(index.said(), [""; 0]);
    assert!(index.place == Place::File);
    // Held while it is open: what cannot be written there is in memory.
    let other = Connection::open(room.folder.index()).expect("opened");
    other.execute_batch("BEGIN IMMEDIATE").expect("locked");
    room.play("2026-11-30T08:00:00+01:00", "C ionian", &[48]);
    index.refresh(&mut |_, _| {}).expect("refreshed");
    assert_eq!(all(&mut index), room.truth());
    assert_eq!(index.said(), [held]);
}

#[test]
fn two_programs_share_an_index() {
    let room = Room::with_three();
    let (mut one, mut other) = (room.open(), room.open());
    for (i, key) in (40..60).enumerate() {
        room.play(
            &format!("2026-12-01T08:00:{i:02}+01:00"),
            "C ionian",
            &[key],
        );
        let index = if i % 2 == 0 { &mut one } else { &mut other };
        index.refresh(&mut |_, _| {}).expect("refreshed");
    }
    let truth = room.truth();
    assert_eq!(all(&mut one), truth);
    assert_eq!(all(&mut other), truth);
    assert_eq!((one.said(), other.said()), (vec![], vec![]));
}

#[test]
fn rebuilding_reads_every_file() {
    let room = Room::with_three();
    let mut index = room.open();
    let mut read = 0;
    assert_eq!(index.rebuild(&mut |_, _| read += 1).expect("rebuilt"), 3);
    assert_eq!(read, 3);
    assert_eq!(all(&mut index), room.truth());
}

#[test]
fn a_heading_says_what_the_sitting_does() {
    let room = Room::with_three();
    let mut index = room.open();
    for query in [
        Query::default(),
        Query {
            limit: Some(2),
            ..Query::default()
        },
        Query {
            text: Some("f lydian".into()),
            ..Query::default()
        },
    ] {
        let sittings = index.list(&query).expect("a list");
        let wanted: Vec<_> = sittings.iter().map(Sitting::heading).collect();
        assert_eq!(index.headings(&query).expect("a list"), wanted);
        let mut late = Index::open(&room.folder, &room.catalogue).expect("an index");
        let listed = late.refreshed_headings(&query, &mut |_, _| {});
        assert_eq!(listed.expect("a list"), wanted);
        assert!(wanted.iter().all(|heading| !heading.way.is_empty()));
    }
}

/// Listed while it is compared with the files: what has changed since is listed too, and an index
/// that is damaged or missing is made anew.
#[test]
fn headings_are_those_of_the_files() {
    let room = Room::with_three();
    drop(room.open());
    let listed = || {
        let mut index = Index::open(&room.folder, &room.catalogue).expect("an index");
        let listed = index.refreshed_headings(&Query::default(), &mut |_, _| {});
        let listed = listed.expect("a list");
        let wanted: Vec<_> = room.truth().iter().map(Sitting::heading).collect();
        assert_eq!(listed, wanted);
        (listed.len(), index.said().len())
    };
    assert_eq!(listed(), (3, 0));
    room.play("2026-11-30T08:00:00+01:00", "C ionian", &[48]);
    assert_eq!(listed(), (4, 0));
    std::fs::remove_file(room.folder.path(&room.truth()[1].id)).expect("removed");
    assert_eq!(listed(), (3, 0));
    std::fs::write(room.folder.index(), "no index").expect("written");
    assert_eq!(listed(), (3, 1));
    std::fs::remove_file(room.folder.index()).expect("removed");
    assert_eq!(listed(), (3, 0));
    let db = Connection::open(room.folder.index()).expect("opened");
    db.execute_batch("UPDATE sitting SET notes = 77 WHERE name IS NULL")
        .expect("changed");
    drop(db);
    assert_eq!(listed(), (3, 1));
}
