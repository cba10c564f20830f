//! What must hold for any input at all, one function a fuzz target. The targets feed them
//! with what a fuzzer makes up, `tests/fuzz_corpus.rs` with the corpus that is kept.

// Each fuzz target uses one of them.
#![allow(dead_code)]

use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

use peregrinus::midi::{
    self, FaultKind, Faults, FileWriter, Performance, Text, TextKind, Timed, Wire,
};
use peregrinus::recording::{self, Beat, Facts, Recording, TRACK};
use peregrinus::settings::Settings;
use peregrinus::sittings::{Folder, Index, Query, Sitting};
use peregrinus::theory::{Catalogue, Glyphs, Letters};
use peregrinus::time::Time;

/// Any change to an index of sittings, three bytes each: where, and to what. Whatever it says then,
/// or if it is set aside: the list is what the files say.
pub fn index(changes: &[u8]) {
    thread_local!(static SHELF: Shelf = Shelf::new());
    SHELF.with(|shelf| shelf.with_changes(changes));
}

/// Two sittings with their index.
struct Shelf {
    _dir: tempfile::TempDir,
    folder: Folder,
    catalogue: Arc<Catalogue>,
    index: Vec<u8>,
    truth: Vec<Sitting>,
}

impl Shelf {
    fn new() -> Shelf {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = Folder::new(dir.path());
        let catalogue = Arc::new(Catalogue::standard().clone());
        let etudes = [
            &include_bytes!("../../recordings/02_seven_stones.mid")[..],
            include_bytes!("../../recordings/05_ferry_lamp.mid"),
        ];
        for (name, etude) in ["seven stones", "ferry lamp"].into_iter().zip(etudes) {
            std::fs::write(folder.path(name), etude).expect("written");
        }
        let mut index = Index::open(&folder, &catalogue).expect("an index");
        index.refresh(&mut |_, _| {}).expect("made");
        let truth = index.list(&Query::default()).expect("a list");
        assert_eq!(truth.len(), etudes.len());
        // Closes the file, and with it all is in it.
        drop(index);
        let index = std::fs::read(folder.index()).expect("a file");
        Shelf {
            _dir: dir,
            folder,
            catalogue,
            index,
            truth,
        }
    }

    fn with_changes(&self, changes: &[u8]) {
        for file in std::fs::read_dir(self.folder.root()).expect("a folder") {
            let path = file.expect("an entry").path();
            if path.extension().is_none_or(|e| e != "mid") {
                std::fs::remove_file(path).expect("removed");
            }
        }
        let mut bytes = self.index.clone();
        for change in changes.chunks_exact(3) {
            let at = usize::from(change[0]) << 8 | usize::from(change[1]);
            let at = at % bytes.len();
            bytes[at] = change[2];
        }
        std::fs::write(self.folder.index(), bytes).expect("written");
        let mut index = Index::open(&self.folder, &self.catalogue).expect("an index");
        index.refresh(&mut |_, _| {}).expect("refreshed");
        let mut list = index.list(&Query::default()).expect("a list");
        list.sort_by(|a, b| (b.at(), &b.id).cmp(&(a.at(), &a.id)));
        assert_eq!(list, self.truth);
        assert!(index.said().iter().all(|said| !said.is_empty()));
    }
}

/// Any bytes as a Standard MIDI File: read, or refused with a reason; events in the order
/// of their times, none later than the end.
pub fn file(bytes: &[u8]) {
    match midi::read(bytes) {
        Ok(p) => {
            assert!(p.events.is_sorted_by_key(|e| e.at));
            assert!(p.events.last().is_none_or(|e| e.at <= p.end));
            assert!(p.end <= midi::LONGEST);
        }
        Err(e) => assert!(!e.to_string().is_empty()),
    }
}

/// Any bytes from a port, cut anyhow (the first says how): the same events as when they
/// come one by one.
pub fn wire(bytes: &[u8]) {
    let (&cut, bytes) = bytes.split_first().unwrap_or((&0, &[]));
    let (mut pieces, mut single) = (Vec::new(), Vec::new());
    let mut wire = Wire::new();
    for piece in bytes.chunks(usize::from(cut) + 1) {
        wire.feed(piece, &mut |e| pieces.push(e));
    }
    let mut wire = Wire::new();
    for byte in bytes.chunks(1) {
        wire.feed(byte, &mut |e| single.push(e));
    }
    assert_eq!(pieces, single);
}

/// Any text as settings: taken, or refused with its place.
pub fn settings(text: &str) {
    let mut settings = Settings::standard().expect("the settings that are built in");
    if let Err(e) = settings.override_with(text, Path::new("settings.toml")) {
        assert!(e.to_string().starts_with("settings.toml: "), "{e}");
    }
}

/// Any text as modes of the user's own: taken, each found by its id and written and read
/// again as a tonality; or refused with a reason.
pub fn modes(text: &str) {
    match Catalogue::standard().extended(text) {
        Ok(catalogue) => {
            for (id, mode) in catalogue.iter() {
                assert_eq!(catalogue.find(&mode.id), Some(id), "{:?}", mode.id);
                assert!(!mode.name.is_empty() && mode.set().len() > 1, "{mode:?}");
                let written = format!("D {}", mode.id);
                let read = catalogue.parse_tonality(&written).expect(&written);
                assert_eq!(read.tonality.mode, id, "{written}");
            }
        }
        Err(e) => assert!(!e.to_string().is_empty()),
    }
}

/// Any text as a tonality, in each of the ways to write notes: refused with a reason, or
/// read as what is written again and read alike, in either glyphs.
pub fn tonality(text: &str) {
    let catalogue = Catalogue::standard();
    let ways = [
        Letters::English,
        Letters::German,
        Letters::FixedDo,
        Letters::MovableDo,
    ];
    for letters in ways {
        match catalogue.parse_tonality_in(text, letters) {
            Ok(read) => {
                assert_eq!(read.tonality.center, read.tonic.pitch_class());
                let mode = &catalogue.mode(read.tonality.mode).id;
                for glyphs in [Glyphs::Unicode, Glyphs::Ascii] {
                    let written = format!("{} {mode}", letters.name(read.tonic, glyphs));
                    let again = catalogue.parse_tonality_in(&written, letters);
                    assert_eq!(again.as_ref(), Ok(&read), "{written} of {text}");
                }
            }
            Err(e) => assert!(!e.to_string().is_empty()),
        }
        if let Ok(note) = letters.read(text) {
            let written = letters.name(note, Glyphs::Ascii);
            assert_eq!(letters.read(&written).ok(), Some(note), "{written}");
        }
    }
}

/// Any lines as what a recording keeps: what is taken of them is in the order of their
/// times, and written and read again it is the same. They come as a file's texts among
/// notes that are struck, and written by our own writer among messages that let go.
pub fn recording(text: &str) {
    among_notes(text);
    among_releases(text);
}

/// The corrected plan, as far as it is known, is a plan: it can be taken back step by step, and
/// is the same when it is written in a track of its own and read again.
fn corrected(read: &Recording, bytes: &[u8], catalogue: &Arc<Catalogue>) {
    let facts = Facts {
        corrected: read.facts.corrected.clone(),
        ..Facts::default()
    };
    let track = facts.track(&[], Beat::Ours, catalogue);
    let whole = midi::with_last_track(bytes, TRACK, &track).expect("our own file");
    let again = recording::read(&whole, catalogue).expect("our own file");
    assert_eq!(again.facts.corrected, read.facts.corrected);
    let Some(mut plan) = facts.corrected else {
        return;
    };
    assert!(plan.regions().is_sorted_by(|a, b| a.start < b.start));
    let mut left = plan.steps().len();
    while plan.undo().is_ok() {
        left -= 1;
        assert!(plan.regions().is_sorted_by(|a, b| a.start < b.start));
    }
    assert_eq!(left, 0);
}

/// `!` begins a marker's name, `+` strikes a note before it, and the rest is a word of ours.
fn among_notes(text: &str) {
    let mut performance = Performance::default();
    for (line, i) in text.lines().zip(1..) {
        let at = Time::millis(20 * i);
        let said = line.trim_start_matches('+');
        for _ in said.len()..line.len() {
            performance.events.push(Timed {
                at,
                event: midi::Event::NoteOn {
                    channel: midi::Channel::ALL[0],
                    key: 60,
                    velocity: 64,
                },
            });
        }
        let (kind, text) = match said.strip_prefix('!') {
            Some(name) => (TextKind::Marker, name.to_owned()),
            None => (TextKind::Text, format!("peregrinus: {said}")),
        };
        performance.texts.push(Text {
            at,
            before_event: performance.events.len(),
            kind,
            offset: i,
            text,
        });
        performance.end = at;
    }
    let catalogue = Arc::new(Catalogue::standard().clone());
    let read = Recording::of(performance, &catalogue);
    let events: Vec<_> = read.events().collect();
    assert!(events.is_sorted_by_key(|e| e.0), "{events:?}");
    let file = recording::write(&read, &catalogue, Cursor::new(Vec::new()));
    let bytes = file.expect("a memory never fails").into_inner();
    let again = recording::read(&bytes, &catalogue).expect("our own file");
    corrected(&read, &bytes, &catalogue);
    // What is not known here is not written either.
    let mut unknown = read.faults.first().iter();
    assert!(
        unknown.all(|f| matches!(f.kind, FaultKind::Unknown { .. })) && read.faults.count() <= 1
    );
    assert!(again.faults.is_empty(), "{:?}", again.faults);
    assert_eq!(again.events().collect::<Vec<_>>(), events);
    assert_eq!(again.markers.len(), read.markers.len());
    assert_eq!((&again.clicks, &again.bars), (&read.clicks, &read.bars));
}

/// `#` begins a marker's name; behind each line comes a message that lets go, or all of them.
fn among_releases(lines: &str) {
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut file = FileWriter::new(Cursor::new(Vec::new())).expect("a memory never fails");
    for (i, line) in (0u64..).zip(lines.lines()) {
        // Two at a time, so that markers meet what they are about.
        let at = Time(i / 2);
        match line.strip_prefix('#') {
            Some(name) => file.text(at, TextKind::Marker, name),
            None => file.text(at, TextKind::Text, &format!("peregrinus: {line}")),
        }
        let (channel, key) = (midi::Channel::ALL[line.len() % 16], 60);
        let event = match line.len() % 3 {
            0 => midi::Event::NoteOff { channel, key },
            1 => midi::Event::Damper { channel, value: 0 },
            _ => midi::Event::Release,
        };
        file.push(&Timed { at, event });
    }
    let bytes = file.finish(Time::ZERO).expect("a memory never fails");
    let read = |bytes: &[u8]| recording::read(bytes, &catalogue).expect("our own file");
    let first = read(bytes.get_ref());
    let again = recording::write(&first, &catalogue, Cursor::new(Vec::new()));
    let second = read(again.expect("a memory never fails").get_ref());
    // What is not known here is not written; the facts have a track of their own.
    let known = Recording {
        faults: Faults::default(),
        facts: Facts::default(),
        ..first
    };
    assert_eq!(known, second);
}
