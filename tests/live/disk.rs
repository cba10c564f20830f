//! Sittings on disks that are full, read-only, slow or away: the monitor reads what it would
//! read without them and says what is wrong, and when the disk is well again nothing is missing.

use super::*;
use crossbeam_channel::unbounded;
use std::io::{self, ErrorKind};

/// Two listeners that are played the same: one keeps sittings, the other nothing.
struct Twins {
    keeps: (Listener, FakePorts, Arc<FakeClock>),
    alone: (Listener, FakePorts, Arc<FakeClock>),
    at: Time,
    sent: usize,
}

/// A chord is held for so long, and then let go of for as long.
const HELD: Time = Time::millis(150);
/// Bytes that a round of [`Twins::play`] takes in a file, at least: three keys of eight chords
/// struck and let go of, each a time of one byte and a message of three.
const ROUND: usize = 8 * 6 * 4;
const ID: &str = "2026-11-29_20-15-03";

impl Twins {
    fn new(keep: Keep) -> Twins {
        Twins {
            keeps: start_keeping(Vec::new(), keep),
            alone: start_keeping(Vec::new(), Keep::default()),
            at: Time::millis(1000),
            sent: 0,
        }
    }

    /// Plays, and compares what the two read at every stroke and every release.
    fn play(&mut self, rounds: usize) {
        for chord in (0..rounds).flat_map(|_| SHUTTLE) {
            for status in [0x90, 0x80] {
                let readings = [&self.keeps, &self.alone].map(|(listener, ports, clock)| {
                    clock.set(self.at);
                    for key in chord {
                        assert!(ports.send(&[status, key, 80]));
                    }
                    let held = if status == 0x90 { chord.len() } else { 0 };
                    let mut reading = None;
                    wait_for(|| {
                        reading = listener.feed.reading();
                        reading.is_some_and(|r| r.at == self.at && r.held.len() == held)
                    });
                    reading
                });
                assert_eq!(readings[0], readings[1]);
                self.sent += chord.len();
                self.at += HELD;
            }
        }
    }

    fn status(&self) -> peregrinus::live::Status {
        self.keeps.0.feed.status()
    }

    /// Waits until it is said that nothing is written, and why.
    fn stuck(&self, why: &str) {
        wait_for(|| self.status().keeping == Keeping::Stuck);
        let said = self.status().about_sittings.unwrap();
        assert!(said.contains("in memory alone"), "{said}");
        assert!(said.to_lowercase().contains(why), "{said}");
    }

    fn written_again(&self) {
        wait_for(|| self.status().keeping == Keeping::Growing);
        let said = self.status().about_sittings.unwrap();
        assert_eq!(said, "the sitting is written again, nothing is missing");
    }

    /// Ends everything: all that was played is in the file, and is read as it was heard.
    fn finish(self, root: &Path) {
        let (listener, _, clock) = self.keeps;
        clock.set(self.at + Time::millis(100));
        wait_for(|| listener.feed.reading().is_some_and(|r| r.at > self.at));
        assert_eq!(listener.finish(), Ok(Some(ID.into())));
        let recording = sitting(root, ID);
        assert_eq!(recording.notes.len(), self.sent);
        same_plan(&recording);
        let growing = std::fs::read_dir(root.join("growing")).unwrap();
        assert_eq!(growing.count(), 0);
    }
}

/// Where a process of this test keeps its sittings.
#[cfg(unix)]
const ROOT: &str = "PEREGRINUS_TEST_DISK";

/// Runs one of these tests in a process of its own, which finds its folder in [`ROOT`]; `first`
/// are commands of the shell that it is started with.
#[cfg(unix)]
fn in_a_process(test: &str, shell: &[&str], first: &str, root: &Path) {
    let run = format!("{first} && exec \"$0\" \"$@\"");
    let out = std::process::Command::new(shell[0])
        .args(&shell[1..])
        .args(["-c", &run])
        .arg(std::env::current_exe().unwrap())
        .args(["--exact", test, "--nocapture"])
        .env(ROOT, root)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{said}");
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(said.contains("1 passed"), "{said}");
}

/// A shell that may mount file systems which nobody else sees, if this machine lets us have one.
#[cfg(unix)]
fn mounting() -> Option<&'static [&'static str]> {
    let dir = tempfile::tempdir().unwrap();
    let shells: [&[&str]; 2] = [&["unshare", "-rm", "sh"], &["unshare", "-m", "sh"]];
    shells.into_iter().find(|shell| {
        let mount = "mount -t tmpfs none \"$0\"";
        let tried = std::process::Command::new(shell[0])
            .args(&shell[1..])
            .args(["-c", mount])
            .arg(dir.path())
            .output();
        tried.is_ok_and(|out| out.status.success())
    })
}

/// A limit on the size of files, which the system refuses to pass, is lifted in the end.
#[cfg(unix)]
#[test]
fn a_file_that_may_not_grow_waits_until_it_may() {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let Some(root) = std::env::var_os(ROOT) else {
        let dir = tempfile::tempdir().unwrap();
        let root = dir.path().join("sittings");
        let test = "disk::a_file_that_may_not_grow_waits_until_it_may";
        // Blocks of 512 bytes. The signal that comes with it would end the process.
        let first = "trap '' XFSZ && ulimit -S -f 2";
        return in_a_process(test, &["sh"], first, &root);
    };
    let root = Path::new(&root);
    let limit = getrlimit(Resource::Fsize);
    let bytes = limit.current.expect("a limit") as usize;
    let mut twins = Twins::new(keeping(root));
    twins.play(1);
    wait_for(|| twins.status().keeping == Keeping::Growing);
    twins.play(bytes / ROUND + 1);
    twins.stuck("too large");
    twins.play(3);
    twins.stuck("too large");
    let lifted = Rlimit {
        current: limit.maximum,
        ..limit
    };
    setrlimit(Resource::Fsize, lifted).unwrap();
    twins.written_again();
    twins.play(1);
    twins.finish(root);
}

/// A disk without a free byte, before the first note and again in the middle; then one that
/// takes no writing at all. Where nothing can be mounted the limit above, the seam and the folder
/// below stand for it.
#[cfg(unix)]
#[test]
fn a_full_disk_and_one_that_is_read_only_are_waited_for() {
    let Some(dir) = std::env::var_os(ROOT) else {
        let dir = tempfile::tempdir().unwrap();
        let test = "disk::a_full_disk_and_one_that_is_read_only_are_waited_for";
        match mounting() {
            Some(shell) => {
                let mount = format!("mount -t tmpfs -o size=64k none \"${ROOT}\"");
                in_a_process(test, shell, &mount, dir.path());
            }
            None => println!("no file system can be mounted here"),
        }
        return;
    };
    let dir = Path::new(&dir);
    let filler = dir.join("filler");
    let fill = || {
        let full = std::fs::write(&filler, [0; 100_000]).unwrap_err();
        assert_eq!(full.kind(), ErrorKind::StorageFull);
    };
    let root = dir.join("full");
    let mut twins = Twins::new(keeping(&root));
    fill();
    twins.play(1);
    twins.stuck("full");
    std::fs::remove_file(&filler).unwrap();
    twins.written_again();
    fill();
    // More than is left of a block of the file system.
    twins.play(4096 / ROUND + 1);
    twins.stuck("full");
    std::fs::remove_file(&filler).unwrap();
    twins.written_again();
    twins.play(1);
    twins.finish(&root);

    let remount = |how: &str| {
        let mut mount = std::process::Command::new("mount");
        mount.arg("-o").arg(format!("remount,{how}")).arg(dir);
        assert!(mount.status().unwrap().success());
    };
    let root = dir.join("read-only");
    remount("ro");
    let mut twins = Twins::new(keeping(&root));
    twins.play(1);
    twins.stuck("read-only");
    twins.play(1);
    remount("rw");
    twins.written_again();
    twins.play(1);
    twins.finish(&root);
}

/// A folder that may not be written; for root, who may write everywhere, a file in its place.
#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_waited_for() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let parent = dir.path().join("parent");
    std::fs::create_dir(&parent).unwrap();
    let allow = |mode| {
        std::fs::set_permissions(&parent, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let root = parent.join("sittings");
    allow(0o500);
    let is_root = rustix::process::geteuid().is_root();
    if is_root {
        std::fs::write(&root, "in the way").unwrap();
    }
    let mut twins = Twins::new(keeping(&root));
    twins.play(1);
    twins.stuck(if is_root { "" } else { "permission" });
    twins.play(2);
    allow(0o700);
    if is_root {
        std::fs::remove_file(&root).unwrap();
    }
    twins.written_again();
    twins.play(1);
    twins.finish(&root);
}

/// The folder is taken away while a sitting grows, and with it what was written; it is made
/// anew. Then the old one comes back in its place, with an older state of the file, as a disk
/// does that was unplugged.
#[test]
fn a_folder_that_comes_back_with_an_older_file_holds_everything() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("sittings");
    let growing = root.join("growing").join(format!("{ID}.mid"));
    let length = || std::fs::metadata(&growing).map_or(0, |m| m.len() as usize);
    let mut twins = Twins::new(keeping(&root));
    twins.play(1);
    wait_for(|| length() > ROUND);
    std::fs::rename(&root, dir.path().join("away")).unwrap();
    twins.play(1);
    wait_for(|| length() > 2 * ROUND);
    std::fs::remove_dir_all(&root).unwrap();
    std::fs::rename(dir.path().join("away"), &root).unwrap();
    assert!(length() < 2 * ROUND);
    twins.play(1);
    wait_for(|| length() > 3 * ROUND);
    assert_eq!(twins.status().keeping, Keeping::Growing);
    twins.finish(&root);
}

/// A disk that is full, by what it says when it is told to keep what was written.
#[test]
fn what_does_not_reach_the_disk_is_tried_again() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("sittings");
    let full = Arc::new(std::sync::atomic::AtomicBool::new(true));
    let told = Arc::clone(&full);
    let to_disk = move |file: &File| match told.load(SeqCst) {
        true => Err(io::Error::from(ErrorKind::StorageFull)),
        false => file.sync_data(),
    };
    let mut twins = Twins::new(keeping_on(&root, to_disk));
    twins.play(1);
    twins.stuck("full");
    twins.play(1);
    full.store(false, SeqCst);
    twins.written_again();
    twins.finish(&root);
}

/// While the disk takes its time the monitor waits for nothing, and says that the disk does.
#[test]
fn a_slow_disk_holds_up_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("sittings");
    let (begins, begun) = unbounded();
    let (end, ends) = unbounded::<()>();
    let to_disk = move |file: &File| {
        let _ = begins.send(());
        // It is let go of, once, or for good when the other end is dropped.
        let _ = ends.recv();
        file.sync_data()
    };
    let mut twins = Twins::new(keeping_on(&root, to_disk));
    twins.play(1);
    begun
        .recv_timeout(Duration::from_secs(20))
        .expect("it is written");
    // Far more than it takes to see that the disk is behind.
    twins.play(20);
    wait_for(|| twins.status().keeping == Keeping::Stuck);
    let said = twins.status().about_sittings.unwrap();
    assert!(
        said.starts_with("the disk of the sittings is slow: "),
        "{said}"
    );
    assert!(begun.is_empty(), "the first write has not ended");
    twins.play(1);
    assert!(begun.is_empty(), "the first write has not ended");
    end.send(()).unwrap();
    twins.written_again();
    drop(end);
    twins.play(1);
    let status = twins.status();
    assert_eq!((status.dropped, status.unwritten), (0, None));
    twins.finish(&root);
}

/// What cannot be written when the program ends is said, beside a correction that failed, and
/// the next start keeps what had been written.
#[test]
fn everything_that_fails_at_the_end_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let root = dir.path().join("sittings");
    let folder = Folder::new(&root);
    folder.make().unwrap();
    let etude = include_bytes!("../../recordings/05_ferry_lamp.mid");
    std::fs::write(folder.path("ferry lamp"), etude).unwrap();
    let to_disk = |_: &File| Err(io::Error::from(ErrorKind::StorageFull));
    let mut twins = Twins::new(keeping_on(&root, to_disk));
    twins.play(1);
    twins.stuck("full");
    let sent = twins.sent;
    let catalogue = Arc::new(Catalogue::standard().clone());
    let signed = || Signature {
        who: "anna".into(),
        when: "2026-11-29T12:00:00Z".into(),
    };
    let library = Library::new(folder.clone(), Arc::clone(&catalogue), signed);
    let mut performer = Performer::new(monitor().reading())
        .with_keyboard(twins.keeps.0, None)
        .with_library(library, monitor());
    performer.act(Request::ListSittings);
    wait_for(|| performer.listing().progress == Progress::Done);
    performer.open_sitting("ferry lamp");
    wait_for(|| {
        performer.reading();
        performer.source().opened.is_some()
    });
    performer.revise(Revision::Correct(Correction::Split {
        at: Time::from_seconds(1000.0),
    }));
    let failed = performer.finish(|_| ()).unwrap_err();
    let said: Vec<String> = failed.iter().map(ToString::to_string).collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(
        said[0].starts_with("sitting: cannot be written"),
        "{said:?}"
    );
    assert!(said[0].contains("the disk is full"), "{said:?}");
    assert!(
        said[1].starts_with("the last correction was not written: "),
        "{said:?}"
    );

    let recovered = recover(&folder, &catalogue, &monitor()).unwrap();
    assert!(matches!(&recovered[..], [Recovered::Kept(s)] if s.id == ID && s.cut_off));
    assert_eq!(sitting(&root, ID).notes.len(), sent);
}
