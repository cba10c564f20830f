//! The header of a file, and the wrapper that it may stand in.

use super::bytes::{find, starts, u16_at, u32_at};
use super::fault::{Damage, Faults, FileError};

/// Where the header begins, and the bytes as far as they belong to the file inside a wrapper.
pub(super) fn find_header<'a>(
    bytes: &'a [u8],
    faults: &mut Faults,
) -> Result<(&'a [u8], usize), FileError> {
    if bytes.is_empty() {
        return Err(FileError::Empty);
    }
    if bytes.starts_with(b"MThd") {
        return Ok((bytes, 0));
    }
    if bytes.len() < 4 && b"MThd".starts_with(bytes) {
        return Err(FileError::CutInHeader {
            offset: bytes.len() as u64,
        });
    }
    if bytes.starts_with(b"RIFF") && starts(bytes, 8, b"RMID") {
        return riff_data(bytes, faults);
    }
    // A header in the middle counts only with its usual length, so that prose about MIDI files
    // is not taken for one.
    if let Some(at) = find(bytes, 0, b"MThd")
        && u32_at(bytes, at + 4) == Some(6)
    {
        faults.damage(0, None, Damage::BeforeHeader(at));
        return Ok((bytes, at));
    }
    const OTHERS: [(&[u8], &str); 8] = [
        (b"RIFF", "a RIFF file (sound or video)"),
        (b"ID3", "an MP3 recording"),
        (b"OggS", "an Ogg recording"),
        (b"fLaC", "a FLAC recording"),
        (b"PK\x03\x04", "a zip archive (compressed MusicXML is one)"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"%PDF", "a PDF document"),
        (b"<?xml", "an XML document (MusicXML is one)"),
    ];
    if let Some((_, what)) = OTHERS.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return Err(FileError::Other(what));
    }
    let printable = |c: char| !c.is_control() || matches!(c, '\n' | '\r' | '\t' | '\u{c}');
    if std::str::from_utf8(bytes).is_ok_and(|text| text.chars().all(printable)) {
        return Err(FileError::Other("a text file"));
    }
    Err(FileError::NotMidi)
}

/// The content of the `data` chunk of an RMID file. RIFF lengths are little-endian.
fn riff_data<'a>(bytes: &'a [u8], faults: &mut Faults) -> Result<(&'a [u8], usize), FileError> {
    let mut at = 12;
    while let Some(len) = u32_at(bytes, at + 4) {
        let len = len.swap_bytes() as usize;
        let start = at + 8;
        if starts(bytes, at, b"data") {
            let rest = bytes.len() - start;
            if len > rest {
                let (declared, held) = (len, rest);
                faults.damage(at + 4, None, Damage::RiffLength { declared, held });
            }
            return match bytes.get(..start + len.min(rest)) {
                Some(inner) if starts(inner, start, b"MThd") => Ok((inner, start)),
                _ => Err(FileError::NotMidi),
            };
        }
        at = start.saturating_add(len).saturating_add(len % 2);
    }
    Err(FileError::NotMidi)
}

/// How ticks become time.
#[derive(Clone, Copy)]
pub(super) enum Timing {
    /// Ticks in a quarter; the tempo says how long that is.
    Quarter(u16),
    /// `ticks` to each of `per_second.0 / per_second.1` frames: a fixed rate, whatever the tempo.
    Frames { per_second: (u64, u64), ticks: u8 },
}

pub(super) struct Header {
    /// 0, 1 or 2.
    pub format: u8,
    /// As it claims.
    pub tracks: u16,
    pub timing: Timing,
    /// Where the first chunk after it should be.
    pub next: usize,
}

impl Header {
    pub fn read(bytes: &[u8], start: usize, faults: &mut Faults) -> Result<Header, FileError> {
        let cut = FileError::CutInHeader {
            offset: bytes.len() as u64,
        };
        let length = u32_at(bytes, start + 4).ok_or_else(|| cut.clone())? as usize;
        let format = u16_at(bytes, start + 8).ok_or_else(|| cut.clone())?;
        let tracks = u16_at(bytes, start + 10).ok_or_else(|| cut.clone())?;
        let division = u16_at(bytes, start + 12).ok_or(cut)?;
        let mut fault = |at: usize, damage| faults.damage(start + at, None, damage);
        let next = if length < 6 || length > bytes.len() - start - 8 {
            fault(4, Damage::HeaderLength(length));
            start + 14
        } else {
            start + 8 + length
        };
        let format = match u8::try_from(format) {
            Ok(format @ 0..=2) => format,
            _ => {
                fault(8, Damage::Type(format));
                1
            }
        };
        let [high, low] = division.to_be_bytes();
        let offset = start as u64 + 12;
        let timing = if division < 0x8000 {
            if division == 0 {
                return Err(FileError::NoDivision { offset });
            }
            Timing::Quarter(division)
        } else {
            let frames = (high as i8).unsigned_abs();
            if low == 0 {
                return Err(FileError::NoDivision { offset });
            }
            if !matches!(frames, 24 | 25 | 29 | 30) {
                fault(12, Damage::FrameRate(frames));
            }
            // 29 means 30 with dropped frame numbers: 29.97, exactly 30000/1001.
            let per_second = if frames == 29 {
                (30_000, 1_001)
            } else {
                (u64::from(frames), 1)
            };
            Timing::Frames {
                per_second,
                ticks: low,
            }
        };
        Ok(Header {
            format,
            tracks,
            timing,
            next,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::super::testing::*;

    #[test]
    fn the_header_is_longer_and_chunks_are_unknown() {
        let mut bytes = b"MThd\0\0\0\x08\0\x01\0\x01\0\x60\xca\xfe".to_vec();
        bytes.extend(chunk(b"XTRA", b"MTrk"));
        bytes.extend(ended(&NOTE));
        assert_eq!(faults(&bytes), [""; 0]);
        assert_eq!(events(&bytes).len(), 2);
    }

    #[test]
    fn wrapped_in_riff() {
        let smf = file(0, 96, &[ended(&NOTE)]);
        let mut riff = b"RIFF\0\0\0\0RMIDINFO\x03\0\0\0abc\0data".to_vec();
        riff.extend((smf.len() as u32).to_le_bytes());
        riff.extend(&smf);
        riff.push(0);
        assert_eq!(events(&riff).len(), 2);
        assert_eq!(faults(&riff), [""; 0]);
        let cut = &riff[..riff.len() - 3];
        assert_eq!(
            faults(cut),
            [
                "byte 28: the RIFF wrapper says 34 bytes, the file holds 32",
                "byte 50, track 1: the chunk's length says 12 bytes, the file holds 10",
                "byte 62, track 1: the track ends in the middle of an event; its first 2 events are used",
            ]
        );
    }

    #[test]
    fn what_is_no_midi_file() {
        let head = |division| header(0, 1, division);
        let cases: [(&[u8], &str); 10] = [
            (b"", "the file is empty: export or record it again"),
            (
                b"C major, then G\n",
                "this is a text file, not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"<?xml version=\"1.0\"?>",
                "this is an XML document (MusicXML is one), not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"RIFF\0\0\0\0WAVE",
                "this is a RIFF file (sound or video), not a Standard MIDI File: export it as MIDI (.mid) from the program that made it",
            ),
            (
                b"\0\x01\x02",
                "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi",
            ),
            (
                b"RIFF\0\0\0\0RMIDdata\x04\0\0\0abcd",
                "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi",
            ),
            (
                b"MTh",
                "byte 3: the file ends inside its header, before the first track: get a whole copy of it",
            ),
            (
                b"MThd\0\0\0\x06\0\0\0",
                "byte 11: the file ends inside its header, before the first track: get a whole copy of it",
            ),
            (
                &head(0),
                "byte 12: the header gives a division of zero ticks, so no event has a time: export the file again",
            ),
            (
                &head(96),
                "byte 14: after the header there is no track: export the file again",
            ),
        ];
        for (bytes, expected) in cases {
            assert_eq!(read(bytes).unwrap_err().to_string(), expected);
        }
    }
}
