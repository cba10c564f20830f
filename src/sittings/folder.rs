//! Where sittings lie, and what they are called.

use jiff::ZonedDateTime;
use std::fs::{DirEntry, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// The folder of all sittings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folder {
    root: PathBuf,
}

const ENDING: &str = "mid";
const LOCK: &str = "lock";
/// More sittings than this do not begin in one second.
const MOST_IN_A_SECOND: u32 = 1000;

/// A sitting that is being played: its file, and the lock that says that its program lives.
#[derive(Debug)]
pub struct Growing {
    pub id: String,
    pub path: PathBuf,
    lock: PathBuf,
    held: File,
}

impl Folder {
    pub fn new(root: impl Into<PathBuf>) -> Folder {
        Folder { root: root.into() }
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The file of a sitting that has ended.
    pub fn path(&self, id: &str) -> PathBuf {
        self.root.join(format!("{id}.{ENDING}"))
    }

    pub fn index(&self) -> PathBuf {
        self.root.join("index.sqlite")
    }

    fn growing(&self) -> PathBuf {
        self.root.join("growing")
    }

    /// The sittings that have ended, the newest first; none where there is no folder.
    pub fn ids(&self) -> io::Result<Vec<String>> {
        Ok(self.files()?.into_iter().map(|file| file.0).collect())
    }

    /// The same, each with its file.
    pub(super) fn files(&self) -> io::Result<Vec<(String, DirEntry)>> {
        let mut files = files(&self.root, ENDING)?;
        files.sort_by(|a, b| b.0.cmp(&a.0));
        Ok(files)
    }

    /// Makes the folders, for nobody but their owner.
    pub fn make(&self) -> io::Result<()> {
        let mut builder = std::fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(self.growing())
    }

    /// A name for a sitting that begins `at`, which no other has, and its lock.
    pub fn begin(&self, at: &ZonedDateTime) -> io::Result<Growing> {
        self.make()?;
        let name = at.strftime("%Y-%m-%d_%H-%M-%S").to_string();
        for number in 1..=MOST_IN_A_SECOND {
            let id = match number {
                1 => name.clone(),
                _ => format!("{name}-{number}"),
            };
            if self.path(&id).exists() {
                continue;
            }
            let path = self.growing().join(format!("{id}.{ENDING}"));
            let lock = self.growing().join(format!("{id}.{LOCK}"));
            match private().create_new(true).open(&lock) {
                Ok(held) => match held.try_lock() {
                    Ok(()) if is_at(&held, &lock) => {
                        return Ok(Growing {
                            id,
                            path,
                            lock,
                            held,
                        });
                    }
                    // Another program took it for one that was left behind.
                    Ok(()) | Err(TryLockError::WouldBlock) => {}
                    Err(TryLockError::Error(e)) => return Err(e),
                },
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
            }
        }
        Err(ErrorKind::AlreadyExists.into())
    }

    /// Held while the file of a sitting that has ended is compared and replaced: other programs
    /// wait meanwhile.
    pub(super) fn hold(&self) -> io::Result<File> {
        let path = self.root.join("changing.lock");
        let held = private().create(true).truncate(false).open(path)?;
        held.lock()?;
        Ok(held)
    }

    /// The sittings that were being played when their program stopped. Each is ours alone as long
    /// as the value lives. Of one that cannot be had: its file, and why.
    pub fn cut_off(&self) -> io::Result<Vec<Result<Growing, (PathBuf, io::Error)>>> {
        let mut all = Vec::new();
        self.remove_locks_left_behind()?;
        let mut files = files(&self.growing(), ENDING)?;
        files.sort_by(|a, b| a.0.cmp(&b.0));
        for (id, file) in files {
            let path = file.path();
            let lock = self.growing().join(format!("{id}.{LOCK}"));
            let held = match private().create(true).truncate(false).open(&lock) {
                Ok(held) => held,
                Err(why) => {
                    all.push(Err((path, why)));
                    continue;
                }
            };
            match held.try_lock() {
                Ok(()) => {}
                // Its program lives, or another one is looking after it.
                Err(TryLockError::WouldBlock) => continue,
                Err(TryLockError::Error(why)) => {
                    all.push(Err((path, why)));
                    continue;
                }
            }
            if !path.exists() {
                let _ = std::fs::remove_file(&lock);
                continue;
            }
            all.push(Ok(Growing {
                id,
                path,
                lock,
                held,
            }));
        }
        Ok(all)
    }

    /// A program that was killed between the two leaves a lock without a file.
    fn remove_locks_left_behind(&self) -> io::Result<()> {
        for (id, lock) in files(&self.growing(), LOCK)? {
            let path = self.growing().join(format!("{id}.{ENDING}"));
            if path.exists() {
                continue;
            }
            // One that cannot be opened or removed does no harm. While we hold it nobody begins
            // with it.
            if let Ok(held) = private().open(lock.path())
                && held.try_lock().is_ok()
                && !path.exists()
            {
                let _ = std::fs::remove_file(lock.path());
            }
        }
        Ok(())
    }
}

impl Growing {
    /// The lock as well may have been taken away, or another stands in its place.
    pub fn lock_again(&mut self) -> io::Result<()> {
        if !is_at(&self.held, &self.lock) {
            let held = private().create(true).truncate(false).open(&self.lock)?;
            held.try_lock()?;
            self.held = held;
        }
        Ok(())
    }

    /// The file and its lock.
    pub fn paths(&self) -> [PathBuf; 2] {
        [self.path.clone(), self.lock.clone()]
    }

    /// The file has been taken care of, or was never made.
    pub fn done(&self) {
        for path in self.paths() {
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Whether this file stands at a path, and no other: a disk that was away may bring back an older
/// one.
pub(super) fn is_at(file: &File, path: &Path) -> bool {
    let Ok(there) = std::fs::metadata(path) else {
        return false;
    };
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let id = |m: &std::fs::Metadata| (m.dev(), m.ino());
        file.metadata().is_ok_and(|ours| id(&ours) == id(&there))
    }
    // Elsewhere an open file cannot be taken away.
    #[cfg(not(unix))]
    {
        let _ = file;
        there.is_file()
    }
}

/// For nobody but its owner.
pub(super) fn private() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true).write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
}

/// The files in a folder with this ending, each with its name without it; none where there is no
/// folder.
fn files(folder: &Path, ending: &str) -> io::Result<Vec<(String, DirEntry)>> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(e),
    };
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry?;
        let name = entry.file_name();
        let name = Path::new(&name);
        let id = name.file_stem().and_then(|id| id.to_str());
        if let Some(id) = id
            && name.extension().is_some_and(|e| e == ending)
        {
            files.push((id.to_owned(), entry));
        }
    }
    Ok(files)
}
