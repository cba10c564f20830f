//! A sitting's file: completed, and changed. What is written is written beside it, made to reach
//! the disk, and then takes its place, so that a file is always the old one or the new one.

use super::folder::{Folder, Growing, private};
use crate::file::{self, ReadError};
use crate::meter::Bars;
use crate::midi::{self, FileError, Limits};
use crate::plan::Marker;
use crate::recording::{self, Beat, Facts, Recording, TRACK};
use crate::theory::Catalogue;
use std::fs::File;
use std::io::{self, Cursor, Write};
use std::path::Path;
use std::sync::Arc;

/// A sitting's file cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum ChangeError {
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error(transparent)]
    Damaged(#[from] FileError),
    #[error("cannot be written: {}", crate::plain::reason(.0))]
    Write(#[from] io::Error),
    #[error("no note in it can be read: it is damaged")]
    NoNote,
    #[error("another program has changed it meanwhile: nothing was written, try again")]
    Changed,
}

/// Puts what is known of it into a sitting that has ended, and a whole file among the others;
/// the growing one stays.
pub(super) fn complete(
    folder: &Folder,
    growing: &Growing,
    facts: &Facts,
    catalogue: &Arc<Catalogue>,
) -> Result<Recording, ChangeError> {
    let bytes = file::bytes(&growing.path, Limits::default().bytes)?;
    let mut recording = recording::read(&bytes, catalogue)?;
    let bytes = recording::with_keyboard_tracks(&bytes, catalogue).unwrap_or(bytes);
    let bytes = with_facts(&bytes, &recording, facts, catalogue)?;
    put(&folder.path(&growing.id), &bytes)?;
    recording.facts = facts.clone();
    Ok(recording)
}

/// Reads a sitting that has ended.
pub fn read(folder: &Folder, id: &str, catalogue: &Catalogue) -> Result<Recording, ChangeError> {
    let bytes = file::bytes(&folder.path(id), Limits::default().bytes)?;
    Ok(recording::read(&bytes, catalogue)?)
}

/// A sitting's file for other programs: byte for byte as it is, or, if it was played to a click,
/// with the tempos and time signatures that put bar lines where it has them.
pub fn export(folder: &Folder, id: &str, catalogue: &Catalogue) -> Result<Vec<u8>, ChangeError> {
    let bytes = file::bytes(&folder.path(id), Limits::default().bytes)?;
    let Ok(recording) = recording::read(&bytes, catalogue) else {
        return Ok(bytes);
    };
    let clicks = Bars::of_clicks(recording.clicks);
    let with_bars = midi::with_bar_lines(&bytes, clicks.lines(recording.end));
    Ok(with_bars.unwrap_or(bytes))
}

/// Changes what is known of a sitting. What was played stays byte for byte what it was.
pub fn change(
    folder: &Folder,
    id: &str,
    catalogue: &Arc<Catalogue>,
    change: impl FnOnce(&mut Facts),
) -> Result<Recording, ChangeError> {
    try_change(folder, id, catalogue, |recording| {
        change(&mut recording.facts);
        Ok(())
    })
}

/// The same, where the recording says how, or that it cannot be: then nothing is written.
pub(super) fn try_change<E: From<ChangeError>>(
    folder: &Folder,
    id: &str,
    catalogue: &Arc<Catalogue>,
    change: impl FnOnce(&mut Recording) -> Result<(), E>,
) -> Result<Recording, E> {
    let path = folder.path(id);
    let limit = Limits::default().bytes;
    let bytes = file::bytes(&path, limit).map_err(ChangeError::from)?;
    let mut recording = recording::read(&bytes, catalogue).map_err(ChangeError::from)?;
    change(&mut recording)?;
    let new = with_facts(&bytes, &recording, &recording.facts, catalogue);
    let new = new.map_err(ChangeError::from)?;
    // Working out the change may have taken long: nobody else's is to be written over, nor a
    // file that was taken away to come back.
    let alone = folder.hold().map_err(ChangeError::from)?;
    if file::bytes(&path, limit).map_err(ChangeError::from)? != bytes {
        return Err(ChangeError::Changed.into());
    }
    put(&path, &new).map_err(ChangeError::from)?;
    drop(alone);
    Ok(recording)
}

/// A file's bytes with its facts in the last track. A file that is not whole is written anew, of
/// all that could be read.
pub(super) fn with_facts(
    bytes: &[u8],
    recording: &Recording,
    facts: &Facts,
    catalogue: &Arc<Catalogue>,
) -> io::Result<Vec<u8>> {
    let track = |beat, markers: &[Marker]| facts.track(markers, beat, catalogue);
    let beat = match midi::counts_as_we_do(bytes) {
        true => Beat::Ours,
        false => Beat::Foreign,
    };
    if let Some(whole) = midi::with_last_track(bytes, TRACK, &track(beat, &recording.markers)) {
        return Ok(whole);
    }
    let anew = recording::write(recording, catalogue, Cursor::new(Vec::new()))?.into_inner();
    let track = track(Beat::Ours, &recording.markers);
    midi::with_last_track(&anew, TRACK, &track)
        .ok_or_else(|| io::Error::other("the file just written is not whole"))
}

/// Writes a file beside its place, and puts it there when it has reached the disk.
pub(super) fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let beside = path.with_extension(format!("{}.new", std::process::id()));
    // A program that was killed may have left one.
    let _ = std::fs::remove_file(&beside);
    let mut file = private().create_new(true).open(&beside)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    drop(file);
    let there = written.and_then(|()| std::fs::rename(&beside, path));
    if there.is_err() {
        let _ = std::fs::remove_file(&beside);
        return there;
    }
    // The name as well; not every system can.
    if let Some(folder) = path.parent().and_then(|folder| File::open(folder).ok()) {
        let _ = folder.sync_all();
    }
    Ok(())
}
