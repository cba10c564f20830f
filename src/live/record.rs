//! What is played, into a file that the player named or into a sitting: each on a thread of its
//! own, on disk at least once a second.

use super::status::{StatusBoard, Unwritten};
use crate::engine::{Change, Event};
use crate::file;
use crate::meter::Click;
use crate::midi::{self, Keyboard};
use crate::plain;
use crate::plan::Marker;
use crate::recording::{self, Writer};
use crate::sittings::Keeper;
use crate::theory::Catalogue;
use crate::time::Time;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TrySendError, bounded};
use std::fs::File;
use std::io::{Cursor, ErrorKind, Seek, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The recording cannot begin.
#[derive(Debug, thiserror::Error)]
#[error("{}: {}", plain::path(path), remedy(why))]
pub struct RecordError {
    path: PathBuf,
    why: std::io::Error,
}

/// What stands in the way, and what to do.
fn remedy(why: &std::io::Error) -> String {
    match why.kind() {
        ErrorKind::AlreadyExists => {
            "is there already and is not written over: choose another name".into()
        }
        ErrorKind::NotFound => "its folder is not there: make it, or choose another".into(),
        ErrorKind::PermissionDenied => {
            "there is no permission to write here: choose another folder".into()
        }
        _ => format!(
            "cannot be written: {}; choose another place",
            plain::reason(why)
        ),
    }
}

enum Note {
    Event(Time, Event),
    Marker(Marker),
    Click(Time, Option<Click>),
    Change(Time, Change),
    Name(u64, String),
    Keyboard(Keyboard, String),
    /// The notes of the last aside are to go.
    ThrowAside,
    End(Time),
}

/// A file that can be made to reach the disk.
trait Disk: Write + Seek + Send + 'static {
    fn sync(&self) -> std::io::Result<()>;
}

impl Disk for File {
    fn sync(&self) -> std::io::Result<()> {
        self.sync_data()
    }
}

/// The engine's end of a recording; dropping it ends the file after the last event.
pub(super) struct Recorder {
    notes: Option<Sender<Note>>,
    writer: Option<JoinHandle<()>>,
    board: StatusBoard,
    name: String,
    /// Number of events that found no room, and how many of these the status has reported.
    missed: u64,
    told: u64,
    /// Whether the status says that the disk is slow.
    slow: Arc<AtomicBool>,
    /// Whether a release may be among them: one is sent as soon as there is room.
    owing: bool,
}

/// Maximum number of events waiting for a slow disk.
const WAITING: usize = 65_536;
/// Number waiting from which the player is told: some seconds of dense playing. With a sound disk
/// events wait for a tenth of a second.
const SLOW: usize = 500;
/// What was played is written after this time at the latest: half of the second that may be lost,
/// so that the disk and the processor have the other half.
const FLUSH: Duration = Duration::from_millis(500);

/// How long an order waits for room among the notes, where a disk is slow.
const ROOM: Duration = Duration::from_millis(100);

impl Recorder {
    /// Begins a recording; an existing file is not overwritten. `catalogue` has the modes that
    /// events name.
    pub fn start(
        path: &Path,
        catalogue: Arc<Catalogue>,
        board: StatusBoard,
    ) -> Result<Recorder, RecordError> {
        let file = File::options()
            .write(true)
            .read(true)
            .create_new(true)
            .open(path);
        let name = plain::path(path);
        let (place, modes) = (path.to_owned(), Arc::clone(&catalogue));
        let then = move |thrown: Vec<Time>| settle(&place, &thrown, &modes);
        file.and_then(|file| Recorder::on(file, name, catalogue, board, WAITING, then))
            .map_err(|why| RecordError {
                path: path.to_owned(),
                why,
            })
    }

    fn on(
        disk: impl Disk,
        name: String,
        catalogue: Arc<Catalogue>,
        board: StatusBoard,
        waiting: usize,
        then: impl FnOnce(Vec<Time>) -> std::io::Result<()> + Send + 'static,
    ) -> std::io::Result<Recorder> {
        let recording = Writer::new(disk, catalogue)?;
        Recorder::work(name, board, waiting, move |notes| {
            let written = write(recording, notes).and_then(then);
            written.map_err(|e| plain::reason(&e))
        })
    }

    /// Keeps one sitting after another.
    pub fn keep(keeper: Keeper, board: StatusBoard) -> std::io::Result<Recorder> {
        let slow = Arc::new(AtomicBool::new(false));
        let (told, tells) = (Arc::clone(&slow), board.clone());
        let caught_up = move || {
            if told.swap(false, Relaxed) {
                tells.caught_up();
            }
        };
        let mut recorder = Recorder::work("sitting".into(), board, WAITING, move |notes| {
            keep(keeper, notes, caught_up)
        })?;
        recorder.slow = slow;
        Ok(recorder)
    }

    /// `work`: on a thread of its own; an error is why something is not written.
    fn work(
        name: String,
        board: StatusBoard,
        waiting: usize,
        work: impl FnOnce(&Receiver<Note>) -> Result<(), String> + Send + 'static,
    ) -> std::io::Result<Recorder> {
        let (notes, receiver) = bounded(waiting);
        let (guard, say, file) = (board.clone(), board.clone(), name.clone());
        let writer = std::thread::Builder::new()
            .name("recorder".into())
            .spawn(move || {
                guard.guard("the recorder", move || {
                    if let Err(why) = work(&receiver) {
                        say.unwritten(Unwritten::Failed { file, why });
                    }
                });
            })?;
        Ok(Recorder {
            notes: Some(notes),
            writer: Some(writer),
            board,
            name,
            missed: 0,
            told: 0,
            slow: Arc::default(),
            owing: false,
        })
    }

    /// An event as the engine took it in.
    pub fn note(&mut self, at: Time, event: Event) {
        let Some(notes) = &self.notes else { return };
        if self.owing {
            let release = Event::Midi(midi::Event::Release);
            self.owing = notes.try_send(Note::Event(at, release)).is_err();
        }
        // The release comes before anything that follows the gap.
        let full = self.owing
            || matches!(
                notes.try_send(Note::Event(at, event)),
                // A recorder that failed has reported it; the monitor goes on without it.
                Err(TrySendError::Full(_))
            );
        if full {
            self.missed += 1;
            self.owing = true;
        }
    }

    /// The name of one of several keyboards, before its first event.
    pub fn keyboard(&mut self, keyboard: Keyboard, name: String) {
        if let Some(notes) = &self.notes {
            let _ = notes.try_send(Note::Keyboard(keyboard, name));
        }
    }

    /// The notes of the last aside are to go: from a sitting at once, from a recording when it
    /// is finished.
    pub fn throw_away_aside(&mut self) {
        // What the player asked for is not dropped; a person asks seldom.
        if let Some(notes) = &self.notes {
            let _ = notes.send_timeout(Note::ThrowAside, ROOM);
        }
    }

    /// A moment that the player flagged.
    pub fn mark(&mut self, marker: Marker) {
        let Some(notes) = &self.notes else { return };
        if let Err(TrySendError::Full(_)) = notes.try_send(Note::Marker(marker)) {
            self.missed += 1;
        }
    }

    /// A click is in force from here on, or none.
    pub fn click(&mut self, at: Time, click: Option<Click>) {
        let Some(notes) = &self.notes else { return };
        if let Err(TrySendError::Full(_)) = notes.try_send(Note::Click(at, click)) {
            self.missed += 1;
        }
    }

    /// What the engine says, of which the plan as heard is made.
    pub fn change(&mut self, at: Time, change: Change) {
        if let Some(notes) = &self.notes {
            let _ = notes.try_send(Note::Change(at, change));
        }
    }

    /// The player names the sitting with this number.
    pub fn name(&mut self, number: u64, name: String) {
        if let Some(notes) = &self.notes {
            let _ = notes.try_send(Note::Name(number, name));
        }
    }

    /// The sitting ends here; the next note begins another.
    pub fn end(&mut self, at: Time) {
        if let Some(notes) = &self.notes {
            let _ = notes.try_send(Note::End(at));
        }
    }

    /// Puts into the status that the disk is slow, once, until it has caught up.
    pub fn tell_slow(&mut self) {
        let waiting = self.notes.as_ref().map_or(0, Sender::len);
        if waiting >= SLOW && !self.slow.swap(true, Relaxed) {
            self.board.slow(waiting);
        }
    }

    /// Puts into the status how many events are missing, when that has grown.
    pub fn tell_missed(&mut self) {
        if self.missed > self.told {
            self.told = self.missed;
            self.board.unwritten(Unwritten::Missed {
                file: self.name.clone(),
                events: self.missed,
            });
        }
    }

    /// Ends the file and waits until it is written; a failure shows in the status.
    pub fn finish(mut self, end: Time) {
        self.tell_missed();
        if let Some(notes) = &self.notes {
            let _ = notes.send(Note::End(end));
        }
    }
}

impl Drop for Recorder {
    /// Also while the engine panics: what was played until then is kept.
    fn drop(&mut self) {
        self.notes = None;
        if let Some(writer) = self.writer.take() {
            let _ = writer.join();
        }
    }
}

/// Returns the times at which asides were thrown away.
fn write(mut recording: Writer<impl Disk>, notes: &Receiver<Note>) -> std::io::Result<Vec<Time>> {
    let mut last = Time::ZERO;
    let mut thrown = Vec::new();
    let mut flushed = Instant::now();
    let mut dirty = false;
    loop {
        // Counted from the last flush, however many events come meanwhile.
        let wait = match dirty {
            true => FLUSH.saturating_sub(flushed.elapsed()),
            false => Duration::from_secs(3600),
        };
        match notes.recv_timeout(wait) {
            Ok(Note::Event(at, event)) => {
                last = at;
                dirty = true;
                recording.event(at, event);
            }
            Ok(Note::Marker(marker)) => {
                last = marker.at;
                dirty = true;
                recording.marker(&marker);
            }
            Ok(Note::Click(at, click)) => {
                last = at;
                dirty = true;
                recording.click(at, click);
            }
            // These are for sittings.
            Ok(Note::Change(..) | Note::Name(..)) => {}
            Ok(Note::Keyboard(keyboard, name)) => recording.keyboard(keyboard, &name),
            Ok(Note::ThrowAside) => thrown.push(last),
            Ok(Note::End(end)) => {
                recording.finish(end)?.sync()?;
                return Ok(thrown);
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                recording.finish(last)?.sync()?;
                return Ok(thrown);
            }
        }
        if dirty && flushed.elapsed() >= FLUSH {
            recording.flush()?;
            recording.get_ref().sync()?;
            flushed = Instant::now();
            dirty = false;
        }
    }
}

/// What a file is given when it is finished: asides lose their notes, where they were thrown away
/// at these times, and each of several keyboards gets a track.
fn settle(path: &Path, thrown: &[Time], catalogue: &Arc<Catalogue>) -> std::io::Result<()> {
    let limits = midi::Limits::none();
    let read = || file::bytes(path, limits.bytes).map_err(std::io::Error::other);
    if !thrown.is_empty() {
        let go_on = &mut |_| ControlFlow::Continue(());
        let whole = recording::read_with(&read()?, catalogue, &limits, go_on);
        let mut whole = whole.map_err(std::io::Error::other)?;
        if !whole.faults.is_empty() {
            return Err(std::io::Error::other(
                "the notes of an aside are still in it, as it is not whole",
            ));
        }
        for &before in thrown {
            // The aside may have begun at the very time of the latest event.
            recording::throw_away_aside(&mut whole, before + Time(1));
        }
        let out = recording::write(&whole, catalogue, Cursor::new(Vec::new()))?;
        file::replace_and_sync(path, &out.into_inner())?;
    }
    // The file is whole without: what stands in the way is no loss.
    if let Some(apart) = read()
        .ok()
        .and_then(|b| recording::with_keyboard_tracks(&b, catalogue))
    {
        let _ = file::replace_and_sync(path, &apart);
    }
    Ok(())
}

/// `caught_up` is called whenever nothing waits.
fn keep(mut keeper: Keeper, notes: &Receiver<Note>, caught_up: impl Fn()) -> Result<(), String> {
    let mut last = Time::ZERO;
    let mut written = Instant::now();
    loop {
        if notes.is_empty() {
            caught_up();
        }
        let wait = match keeper.is_due() {
            true => FLUSH.saturating_sub(written.elapsed()),
            false => Duration::from_secs(3600),
        };
        match notes.recv_timeout(wait) {
            Ok(Note::Event(at, event)) => {
                last = at;
                keeper.event(at, event);
            }
            Ok(Note::Marker(marker)) => keeper.marker(&marker),
            Ok(Note::Keyboard(keyboard, name)) => keeper.keyboard(keyboard, name),
            Ok(Note::ThrowAside) => keeper.throw_away_aside(),
            Ok(Note::Name(number, name)) => keeper.name(number, &name),
            Ok(Note::Click(at, click)) => keeper.click(at, click),
            Ok(Note::Change(at, change)) => keeper.change(at, change),
            Ok(Note::End(at)) => {
                last = at;
                keeper.end(at);
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                return keeper.finish(last).map_err(|e| e.to_string());
            }
        }
        if keeper.is_due() && written.elapsed() >= FLUSH {
            keeper.write();
            written = Instant::now();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::feed::feed;
    use super::*;
    use std::io::SeekFrom;
    use std::sync::{Arc, Mutex, MutexGuard};

    /// A disk with room for this many bytes, which takes nothing while it is locked.
    #[derive(Clone)]
    struct Small(Arc<Mutex<Cursor<Vec<u8>>>>, u64);

    impl Small {
        fn new(room: u64) -> Small {
            Small(Arc::default(), room)
        }

        fn lock(&self) -> MutexGuard<'_, Cursor<Vec<u8>>> {
            self.0.lock().unwrap()
        }
    }

    impl Write for Small {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            let mut inner = self.lock();
            if inner.position() + bytes.len() as u64 > self.1 {
                return Err(ErrorKind::StorageFull.into());
            }
            inner.write(bytes)
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    impl Seek for Small {
        fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
            self.lock().seek(to)
        }
    }

    impl Disk for Small {
        fn sync(&self) -> std::io::Result<()> {
            drop(self.lock());
            Ok(())
        }
    }

    fn key(key: u8) -> Event {
        Event::Midi(midi::Event::NoteOn {
            channel: midi::Channel::ALL[0],
            key,
            velocity: 64,
        })
    }

    fn catalogue() -> Arc<Catalogue> {
        Arc::new(Catalogue::standard().clone())
    }

    fn notes(disk: &Small) -> Vec<midi::Timed> {
        let disk = disk.lock();
        let read = crate::recording::read(disk.get_ref(), Catalogue::standard());
        read.unwrap().notes
    }

    #[test]
    fn a_last_flush_that_fails_is_told() {
        let (_publisher, feed, board) = feed();
        let mut r = Recorder::on(
            Small::new(70),
            "take.mid".into(),
            catalogue(),
            board,
            100,
            |_| Ok(()),
        )
        .unwrap();
        for i in 0..50 {
            r.note(Time::millis(i), key(60));
        }
        r.finish(Time::millis(100));
        let said = feed.status().unwritten.unwrap().to_string();
        assert!(
            said.starts_with("take.mid: cannot be written any more: "),
            "{said}"
        );
    }

    #[test]
    fn what_a_slow_disk_misses_is_counted_and_released() {
        let (_publisher, feed, board) = feed();
        let disk = Small::new(u64::MAX);
        let mut r = Recorder::on(
            disk.clone(),
            "take.mid".into(),
            catalogue(),
            board,
            4,
            |_| Ok(()),
        )
        .unwrap();
        {
            let _stuck = disk.lock();
            // The writer takes events until it flushes; then nothing more goes.
            let limit = Instant::now() + Duration::from_secs(20);
            for i in 0.. {
                r.note(Time::millis(i), key(60));
                if r.missed > 0 {
                    break;
                }
                assert!(Instant::now() < limit);
                std::thread::sleep(Duration::from_millis(1));
            }
        }
        r.tell_missed();
        let limit = Instant::now() + Duration::from_secs(20);
        let mut at = Time::millis(30_000);
        while r.owing {
            assert!(Instant::now() < limit);
            r.note(at, key(62));
            at += Time::millis(1);
            std::thread::yield_now();
        }
        let missed = r.missed;
        r.finish(at);
        let said = feed.status().unwritten.unwrap().to_string();
        assert!(said.contains("events are missing"), "{said}");
        assert!(missed > 0);
        let mut kinds: Vec<_> = notes(&disk)
            .iter()
            .map(|t| Event::Midi(t.event))
            .skip_while(|e| *e == key(60))
            .collect();
        // Room may have been for a release alone, more than once.
        kinds.dedup();
        assert_eq!(kinds, [Event::Midi(midi::Event::Release), key(62)]);
    }

    #[test]
    fn a_recording_whose_engine_dies_is_whole() {
        let (_publisher, feed, board) = feed();
        let disk = Small::new(u64::MAX);
        let mut r = Recorder::on(
            disk.clone(),
            "take.mid".into(),
            catalogue(),
            board.clone(),
            100,
            |_| Ok(()),
        )
        .unwrap();
        board.guard("the engine", move || {
            r.note(Time::millis(5), key(60));
            panic!("provoked");
        });
        assert_eq!(notes(&disk).len(), 1);
        assert_eq!(feed.status().unwritten, None);
        assert_eq!(
            feed.status().failed.unwrap().to_string(),
            "the engine has stopped: provoked"
        );
    }
}
