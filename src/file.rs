//! Ordinary files: read whole, added to, or replaced whole.
//!
//! Anything else is refused unread: it could block for ever (a pipe, a terminal), have no end
//! (`/dev/zero`), or do something when it is opened (a device).

use crate::plain;
use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;

/// Why a file cannot be read, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    #[error("there is no such file: check its name")]
    Missing,
    #[error("this is a folder: name a file in it")]
    Folder,
    #[error("this is no ordinary file")]
    NotOrdinary,
    #[error("there is no permission to read it: ask its owner, or copy it")]
    Permission,
    /// More bytes than the number given.
    #[error("this is larger than {0} bytes, which nobody writes: name another file")]
    TooLarge(u64),
    #[error("this is no text in UTF-8: save it as that")]
    NoText,
    #[error("cannot be read: {}", plain::reason(.0))]
    Unreadable(io::Error),
}

impl From<io::Error> for ReadError {
    fn from(e: io::Error) -> ReadError {
        match e.kind() {
            ErrorKind::NotFound => ReadError::Missing,
            ErrorKind::IsADirectory => ReadError::Folder,
            ErrorKind::PermissionDenied => ReadError::Permission,
            _ => ReadError::Unreadable(e),
        }
    }
}

/// Opens an ordinary file to read it; links are followed. Never blocks.
pub fn open(path: &Path) -> Result<File, ReadError> {
    // Before it is opened, as opening a device may do something; and again after it, as
    // it may be another file by then.
    ordinary(&std::fs::metadata(path)?)?;
    let mut options = OpenOptions::new();
    options.read(true);
    let file = unblocked(&mut options).open(path)?;
    ordinary(&file.metadata()?)?;
    Ok(file)
}

/// Opens an ordinary file to add to it; it is made where there is none. Never blocks.
pub fn append(path: &Path) -> Result<File, ReadError> {
    if let Ok(metadata) = std::fs::metadata(path) {
        ordinary(&metadata)?;
    }
    let mut options = OpenOptions::new();
    options.create(true).append(true);
    let file = unblocked(&mut options).open(path)?;
    ordinary(&file.metadata()?)?;
    Ok(file)
}

/// Opening a pipe does not wait for its other end.
fn unblocked(options: &mut OpenOptions) -> &mut OpenOptions {
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags(rustix::fs::OFlags::NONBLOCK.bits().cast_signed());
    }
    options
}

fn ordinary(metadata: &Metadata) -> Result<(), ReadError> {
    if metadata.is_dir() {
        return Err(ReadError::Folder);
    }
    match metadata.is_file() {
        true => Ok(()),
        false => Err(ReadError::NotOrdinary),
    }
}

/// A whole file of at most `most` bytes.
pub fn bytes(path: &Path, most: u64) -> Result<Vec<u8>, ReadError> {
    let file = open(path)?;
    if file.metadata()?.len() > most {
        return Err(ReadError::TooLarge(most));
    }
    let mut bytes = Vec::new();
    // It may grow, or be longer than it says.
    file.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    match bytes.len() as u64 > most {
        true => Err(ReadError::TooLarge(most)),
        false => Ok(bytes),
    }
}

/// A whole file of text, of at most `most` bytes.
pub fn text(path: &Path, most: u64) -> Result<String, ReadError> {
    String::from_utf8(bytes(path, most)?).map_err(|_| ReadError::NoText)
}

/// Replaces a file, or makes it: a reader finds the old bytes or the new, never a part of them.
/// They are not forced to the disk, which could take seconds. What stood there before is never
/// opened, and so cannot block.
pub fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    put(path, bytes, |_| Ok(()))
}

/// The same, and the bytes have reached the disk before they take the place of the old ones.
pub fn replace_and_sync(path: &Path, bytes: &[u8]) -> io::Result<()> {
    put(path, bytes, File::sync_all)
}

fn put(path: &Path, bytes: &[u8], sync: fn(&File) -> io::Result<()>) -> io::Result<()> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.new", std::process::id()));
    let beside = path.with_file_name(name);
    // A process that was killed may have left one.
    let _ = std::fs::remove_file(&beside);
    let mut file = File::options().write(true).create_new(true).open(&beside)?;
    let written = file.write_all(bytes).and_then(|()| sync(&file));
    drop(file);
    let replaced = written.and_then(|()| std::fs::rename(&beside, path));
    if replaced.is_err() {
        let _ = std::fs::remove_file(&beside);
    }
    replaced
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_ordinary_files_are_read() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("notes");
        std::fs::write(&file, "four").expect("written");
        assert_eq!(text(&file, 4).expect("read"), "four");
        assert!(matches!(bytes(&file, 3), Err(ReadError::TooLarge(3))));
        assert!(matches!(bytes(folder.path(), 9), Err(ReadError::Folder)));
        let missing = folder.path().join("missing");
        assert!(matches!(bytes(&missing, 9), Err(ReadError::Missing)));
        std::fs::write(&file, [0xff]).expect("written");
        assert!(matches!(text(&file, 9), Err(ReadError::NoText)));
    }

    #[cfg(unix)]
    #[test]
    fn what_blocks_or_has_no_end_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let pipe = folder.path().join("pipe.mid");
        let mode = rustix::fs::Mode::from_raw_mode(0o600);
        let kind = rustix::fs::FileType::Fifo;
        rustix::fs::mknodat(rustix::fs::CWD, &pipe, kind, mode, 0).expect("a pipe");
        let link = folder.path().join("link.mid");
        std::os::unix::fs::symlink(&pipe, &link).expect("a link");
        for path in [&pipe, &link, Path::new("/dev/zero"), Path::new("/dev/full")] {
            assert!(
                matches!(open(path), Err(ReadError::NotOrdinary)),
                "{path:?}"
            );
        }
        // A link to an ordinary file is as good as the file.
        let file = folder.path().join("notes");
        std::fs::write(&file, "four").expect("written");
        let link = folder.path().join("link to notes");
        std::os::unix::fs::symlink(&file, &link).expect("a link");
        assert_eq!(bytes(&link, 9).expect("read"), b"four");
    }
}
