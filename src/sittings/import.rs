//! Any MIDI file becomes a sitting.

use super::files::{ChangeError, complete};
use super::folder::{Folder, Growing, private};
use super::recover::heard;
use super::sitting::Sitting;
use super::words::words_of;
use crate::engine::Monitor;
use crate::recording::{Facts, Recording};
use crate::theory::Catalogue;
use jiff::ZonedDateTime;
use std::io::Write;
use std::sync::Arc;

/// Puts a file among the sittings. What is not known of it is filled in: it `began` when the file
/// was last written, its name is that of the file, `fresh`, a monitor as it is before anything
/// was heard, works out the plan. `recording` is what the bytes say.
pub fn import(
    folder: &Folder,
    bytes: &[u8],
    recording: &Recording,
    (name, began): (&str, &ZonedDateTime),
    fresh: Monitor,
    catalogue: &Arc<Catalogue>,
) -> Result<Sitting, ChangeError> {
    let mut facts = recording.facts.clone();
    if facts.heard.regions.is_empty() && facts.heard.home.is_empty() {
        facts.heard = heard(recording, fresh);
    }
    let name = Some(words_of(name)).filter(|name| !name.is_empty());
    facts.name = facts.name.or(name);
    let known = facts.begun.as_deref().and_then(moment);
    let at = known.as_ref().unwrap_or(began);
    facts
        .begun
        .get_or_insert_with(|| at.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string());
    let growing = folder.begin(at)?;
    let sitting = put(folder, &growing, bytes, &facts, catalogue);
    growing.done();
    sitting
}

fn put(
    folder: &Folder,
    growing: &Growing,
    bytes: &[u8],
    facts: &Facts,
    catalogue: &Arc<Catalogue>,
) -> Result<Sitting, ChangeError> {
    let mut file = private().create_new(true).open(&growing.path)?;
    file.write_all(bytes)?;
    drop(file);
    let recording = complete(folder, growing, facts, catalogue)?;
    Ok(Sitting::of(&growing.id, &recording, catalogue))
}

/// As the clock of the place had it.
fn moment(begun: &str) -> Option<ZonedDateTime> {
    let at: jiff::Timestamp = begun.parse().ok()?;
    let shown: jiff::civil::DateTime = begun.parse().ok()?;
    let utc = at.to_zoned_datetime(jiff::tz::TimeZone::UTC).datetime();
    let ahead = utc.duration_until(shown).as_secs();
    let offset = jiff::tz::Offset::from_seconds(i32::try_from(ahead).ok()?).ok()?;
    Some(at.to_zoned_datetime(offset.to_time_zone()))
}
