//! A further track at the end of a file, which leaves the tracks before it as they are.

use super::write::beginning;

/// A file with `track` (a whole chunk) as its last: instead of the last one if that has the
/// name, or after it. `None`: the bytes are not whole to the last, or of type 2, whose tracks
/// follow one another.
pub fn with_last_track(bytes: &[u8], name: &str, track: &[u8]) -> Option<Vec<u8>> {
    let number = |at: usize| Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?));
    let length = |at: usize| {
        let four = bytes.get(at..at + 4)?.try_into().ok()?;
        usize::try_from(u32::from_be_bytes(four)).ok()
    };
    if !bytes.starts_with(b"MThd") {
        return None;
    }
    let (format, claimed) = (number(8)?, number(10)?);
    let first = 8 + length(4)?;
    if first < 14 || format > 1 {
        return None;
    }
    let (mut at, mut count, mut last) = (first, 0u16, first);
    while at < bytes.len() {
        let end = at.checked_add(8)?.checked_add(length(at + 4)?)?;
        let chunk = bytes.get(at..end)?;
        if chunk.starts_with(b"MTrk") {
            count = count.checked_add(1)?;
            last = at;
        }
        at = end;
    }
    if count != claimed || count == 0 {
        return None;
    }
    let named = is_named(bytes.get(last..)?, name);
    let keep = if named { last } else { bytes.len() };
    let count = if named { count } else { count.checked_add(1)? };
    let mut out = Vec::with_capacity(keep + track.len());
    out.extend(&bytes[..8]);
    out.extend(1u16.to_be_bytes());
    out.extend(count.to_be_bytes());
    out.extend(bytes.get(12..keep)?);
    out.extend(track);
    Some(out)
}

/// Whether a track begins with its name.
fn is_named(track: &[u8], name: &str) -> bool {
    let Ok(length) = u8::try_from(name.len()) else {
        return false;
    };
    let after_length = track.get(8..).unwrap_or_default();
    after_length.starts_with(&[0, 0xff, 3, length])
        && after_length[4..].starts_with(name.as_bytes())
}

/// Whether a file was written by [`FileWriter`](super::FileWriter): one of its ticks is one of
/// ours.
pub fn counts_as_we_do(bytes: &[u8]) -> bool {
    let ours = beginning();
    // All but the number of tracks.
    bytes.len() >= ours.len() && bytes[..10] == ours[..10] && bytes[12..ours.len()] == ours[12..]
}

#[cfg(test)]
mod tests {
    use super::super::{FileWriter, Text, TextKind, read, track};
    use super::*;
    use crate::midi::{Channel, Event, Timed};
    use crate::time::Time;
    use std::io::Cursor;

    fn file() -> Vec<u8> {
        let mut writer = FileWriter::new(Cursor::new(Vec::new())).unwrap();
        writer.push(&Timed {
            at: Time::millis(10),
            event: Event::NoteOn {
                channel: Channel::ALL[0],
                key: 60,
                velocity: 64,
            },
        });
        writer.finish(Time::millis(500)).unwrap().into_inner()
    }

    fn named(name: &str, said: &str) -> Vec<u8> {
        let text = |kind, text: &str| Text {
            at: Time::millis(20),
            before_event: 0,
            kind,
            offset: 0,
            text: text.into(),
        };
        let mut name = text(TextKind::TrackName, name);
        name.at = Time::ZERO;
        track(&[name, text(TextKind::Text, said)], &[])
    }

    #[test]
    fn it_is_put_after_the_others_and_then_replaced() {
        let whole = file();
        assert!(counts_as_we_do(&whole));
        let once = with_last_track(&whole, "ours", &named("ours", "one")).unwrap();
        assert!(once.starts_with(&whole[..10]) && once[12..].starts_with(&whole[12..]));
        assert!(midly::Smf::parse(&once).is_ok_and(|smf| smf.tracks.len() == 3));
        assert!(counts_as_we_do(&once));
        let twice = with_last_track(&once, "ours", &named("ours", "two")).unwrap();
        let other = with_last_track(&once, "other", &named("other", "two")).unwrap();
        assert!(midly::Smf::parse(&twice).is_ok_and(|smf| smf.tracks.len() == 3));
        assert!(midly::Smf::parse(&other).is_ok_and(|smf| smf.tracks.len() == 4));
        let read = read(&twice).unwrap();
        assert!(read.faults.is_empty());
        let said: Vec<&str> = read.texts.iter().map(|t| &*t.text).collect();
        assert_eq!(said, ["ours", "two"]);
        assert_eq!(read.texts[1].at, Time::millis(20));
        assert_eq!(read.events, super::super::read(&whole).unwrap().events);
    }

    #[test]
    fn what_is_not_whole_is_left_alone() {
        let whole = with_last_track(&file(), "ours", &named("ours", "one")).unwrap();
        for length in 0..whole.len() {
            let cut = &whole[..length];
            assert_eq!(with_last_track(cut, "ours", &[]), None, "{length} bytes");
        }
        let mut second = whole.clone();
        second[9] = 2;
        assert_eq!(with_last_track(&second, "ours", &[]), None);
        let mut more = whole;
        more.push(0);
        assert_eq!(with_last_track(&more, "ours", &[]), None);
    }
}
