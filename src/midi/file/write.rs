//! Standard MIDI Files, written.
//!
//! Type 1, 25,000 ticks to the quarter at 120 quarters a minute: one tick of the file is one tick
//! of [`Time`], so that what is written is read back exactly. The first track holds the tempo and
//! the key signatures, the second the events and the texts, in order.
//!
//! Where several keyboards play, the meta event 21 (MIDI port) before an event says which it comes
//! from, and 09 (device name, RP-019) how that keyboard is called.
//!
//! [`Event::Release`] has no message of its own. It is written as controller messages that lift
//! the pedals and all keys of the channels in use, so that no program hangs a note; read back, it
//! is these messages.

use std::io::{self, Seek, SeekFrom, Write};

use super::limits::LONGEST;
use super::performance::{KeySignature, Performance, Text, TextKind};
use crate::midi::event::{Channel, Event, Keyboard, Timed};
use crate::time::Time;

/// Ticks to the quarter.
const DIVISION: u16 = 25_000;
/// The largest delta time, and the largest length, that a file can hold.
const LARGEST: u32 = 0x0fff_ffff;
const END: [u8; 4] = [0x00, 0xff, 0x2f, 0x00];

/// Writes a performance; its format, number of tracks and faults are ignored. Times must not go
/// back: an earlier time counts as the latest one. Texts go where `before_event` puts them.
pub fn write(performance: &Performance, out: &mut impl Write) -> io::Result<()> {
    let mut first = Track::default();
    first.tempo();
    for key in &performance.key_signatures {
        first.key(key);
    }

    let mut second = Track::default();
    for (slot, name) in second.names.iter_mut().zip(&performance.keyboards) {
        *slot = Some(name.clone()).filter(|name| !name.is_empty());
    }
    let mut texts = performance.texts.iter().peekable();
    for (i, timed) in performance.events.iter().enumerate() {
        while let Some(text) = texts.next_if(|t| t.before_event <= i) {
            second.text(text.at.min(timed.at), text.kind, &text.text);
        }
        second.event(timed.at, timed.event);
    }
    for text in texts {
        second.text(text.at, text.kind, &text.text);
    }
    second.pass(performance.end);

    out.write_all(&header())?;
    for track in [first, second] {
        out.write_all(b"MTrk")?;
        out.write_all(&length(track.bytes.len() as u64 + END.len() as u64)?)?;
        out.write_all(&track.bytes)?;
        out.write_all(&END)?;
    }
    out.flush()
}

fn header() -> [u8; 14] {
    let [high, low] = DIVISION.to_be_bytes();
    [b'M', b'T', b'h', b'd', 0, 0, 0, 6, 0, 1, 0, 2, high, low]
}

fn length(bytes: u64) -> io::Result<[u8; 4]> {
    u32::try_from(bytes).map(u32::to_be_bytes).map_err(|_| {
        io::Error::new(
            io::ErrorKind::FileTooLarge,
            "a track of a MIDI file holds at most 4 gigabytes: begin a new file",
        )
    })
}

/// The controllers that release a channel: damper, sostenuto, all notes off.
const LIFTING: [u8; 3] = [64, 66, 123];

fn control(channel: Channel, number: u8, value: u8) -> [u8; 3] {
    [0xb0 | channel.number(), number, value & 127]
}

/// The bytes of one track, without its end.
#[derive(Default)]
struct Track {
    bytes: Vec<u8>,
    now: Time,
    /// Channels with an event since the last release, as [`Channel::bit`] has them.
    used: u64,
    /// Which keyboard the messages belong to.
    from: Keyboard,
    /// The names that are not written yet.
    names: [Option<String>; Keyboard::COUNT],
}

impl Track {
    fn number(&mut self, value: u32) {
        for shift in [21, 14, 7] {
            if value >> shift > 0 {
                self.bytes.push((value >> shift) as u8 | 0x80);
            }
        }
        self.bytes.push(value as u8 & 0x7f);
    }

    /// Writes the delta time to `at`; long ones are split by empty sequencer-specific events.
    fn step(&mut self, at: Time) {
        let at = at.min(LONGEST).max(self.now);
        let mut delta = at.since(self.now).0;
        self.now = at;
        while delta > u64::from(LARGEST) {
            self.number(LARGEST);
            self.bytes.extend([0xff, 0x7f, 0x00]);
            delta -= u64::from(LARGEST);
        }
        self.number(delta as u32);
    }

    /// Lets time pass, so that the end of the track, which follows at once, is at `at`.
    fn pass(&mut self, at: Time) {
        if at > self.now && self.now < LONGEST {
            self.meta(at, 0x7f, &[]);
        }
    }

    fn meta(&mut self, at: Time, kind: u8, content: &[u8]) {
        self.step(at);
        self.bytes.extend([0xff, kind]);
        self.number(content.len() as u32);
        self.bytes.extend(content);
    }

    fn key(&mut self, key: &KeySignature) {
        let content = [key.sharps as u8, u8::from(key.minor)];
        self.meta(key.at, 0x59, &content);
    }

    /// The whole chunk. (No track that is written at once reaches 4 gigabytes.)
    fn chunk(&self) -> Vec<u8> {
        let length = (self.bytes.len() + END.len()) as u32;
        [&b"MTrk"[..], &length.to_be_bytes(), &self.bytes, &END].concat()
    }

    fn tempo(&mut self) {
        self.meta(Time::ZERO, 0x51, &[0x07, 0xa1, 0x20]);
    }

    /// A text longer than a file can hold is cut.
    fn text(&mut self, at: Time, kind: TextKind, text: &str) {
        let kind = match kind {
            TextKind::Text => 1,
            TextKind::Copyright => 2,
            TextKind::TrackName => 3,
            TextKind::Instrument => 4,
            TextKind::Lyric => 5,
            TextKind::Marker => 6,
            TextKind::Cue => 7,
        };
        self.meta(at, kind, cut(text).as_bytes());
    }

    fn message(&mut self, at: Time, from: Keyboard, message: [u8; 3]) {
        self.turn_to(at, from);
        self.step(at);
        self.bytes.extend(message);
    }

    /// What follows comes from this keyboard. Nothing is written before a second one plays.
    fn turn_to(&mut self, at: Time, keyboard: Keyboard) {
        if keyboard == self.from {
            return;
        }
        self.name(at);
        self.from = keyboard;
        self.meta(at, 0x21, &[keyboard.index() as u8]);
        self.name(at);
    }

    fn name(&mut self, at: Time) {
        if let Some(name) = self.names[self.from.index()].take() {
            self.meta(at, 0x09, cut(&name).as_bytes());
        }
    }

    fn event(&mut self, at: Time, event: Event) {
        let message = match event {
            Event::NoteOn {
                channel,
                key,
                velocity,
            } => [0x90 | channel.number(), key & 127, velocity & 127],
            // 64 is the release velocity of keyboards that do not measure it.
            Event::NoteOff { channel, key } => [0x80 | channel.number(), key & 127, 64],
            Event::Damper { channel, value } => control(channel, 64, value),
            Event::Sostenuto { channel, value } => control(channel, 66, value),
            Event::Soft { channel, value } => control(channel, 67, value),
            Event::AllSoundOff { channel } => control(channel, 120, 0),
            Event::ResetControllers { channel } => control(channel, 121, 0),
            Event::AllNotesOff { channel } => control(channel, 123, 0),
            Event::Release | Event::ReleaseKeyboard { .. } => {
                let lifted = self.lifted(event);
                self.used &= !lifted;
                for channel in Channel::ALL {
                    if lifted & channel.bit() != 0 {
                        for number in LIFTING {
                            let message = control(channel, number, 0);
                            self.message(at, channel.keyboard(), message);
                        }
                    }
                }
                return;
            }
        };
        let channel = event.channel().unwrap_or(Channel::ALL[0]);
        self.used |= channel.bit();
        self.message(at, channel.keyboard(), message);
    }

    /// The channels in use that a release lifts, as [`Channel::bit`] has them.
    fn lifted(&self, release: Event) -> u64 {
        let concerned = |channel: &&Channel| match release {
            Event::ReleaseKeyboard { keyboard } => channel.keyboard() == keyboard,
            _ => true,
        };
        let channels = Channel::ALL.iter().filter(concerned);
        self.used & channels.fold(0, |bits, channel| bits | channel.bit())
    }
}

/// As much of a text as a file can hold.
fn cut(text: &str) -> &str {
    let mut end = text.len().min(LARGEST as usize);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    text.get(..end).unwrap_or_default()
}

/// What every file begins with: the header, and the first track with its tempo.
pub(super) fn beginning() -> Vec<u8> {
    let mut first = Track::default();
    first.tempo();
    [&header()[..], &first.chunk()].concat()
}

/// A whole track of texts and key signatures, each in order of time.
pub fn track(texts: &[Text], key_signatures: &[KeySignature]) -> Vec<u8> {
    let mut track = Track::default();
    let mut keys = key_signatures.iter().peekable();
    for text in texts {
        while let Some(key) = keys.next_if(|key| key.at <= text.at) {
            track.key(key);
        }
        track.text(text.at, text.kind, &text.text);
    }
    keys.for_each(|key| track.key(key));
    track.chunk()
}

/// Writes what is played while it is played. After each [`flush`](FileWriter::flush) the file is
/// complete and valid; a crash loses at most what came later.
///
/// Texts, markers too, stand in the track of the notes, since the first track is written before
/// they are known.
pub struct FileWriter<W: Write + Seek> {
    out: W,
    track: Track,
    /// Where the second track's content begins, and how many bytes of it are on the file.
    start: u64,
    written: u64,
}

impl<W: Write + Seek> FileWriter<W> {
    /// Begins a file at the current position of `out`, which should be its start.
    pub fn new(mut out: W) -> io::Result<FileWriter<W>> {
        out.write_all(&beginning())?;
        out.write_all(b"MTrk")?;
        out.write_all(&length(END.len() as u64)?)?;
        let start = out.stream_position()?;
        let mut writer = FileWriter {
            out,
            track: Track::default(),
            start,
            written: 0,
        };
        writer.flush()?;
        Ok(writer)
    }

    /// Takes an event. Times must not go back: an earlier time counts as the latest one.
    pub fn push(&mut self, timed: &Timed) {
        self.track.event(timed.at, timed.event);
    }

    /// How many messages a release would be written as now: three for each channel in use since
    /// the last one.
    pub fn messages_of(&self, release: Event) -> u8 {
        (self.track.lifted(release).count_ones() as usize * LIFTING.len()) as u8
    }

    /// The name of a keyboard that plays beside others: to be said before its first event.
    pub fn keyboard(&mut self, keyboard: Keyboard, name: &str) {
        self.track.names[keyboard.index()] = Some(name.to_owned()).filter(|n| !n.is_empty());
    }

    /// Takes a text, after the events that came before it.
    pub fn text(&mut self, at: Time, kind: TextKind, text: &str) {
        self.track.text(at, kind, text);
    }

    /// Writes everything so far and completes the file. (To sync it to the disk is up to the
    /// file's owner.)
    pub fn flush(&mut self) -> io::Result<()> {
        let whole = self.written + self.track.bytes.len() as u64;
        let length = length(whole + END.len() as u64)?;
        self.out.seek(SeekFrom::Start(self.start + self.written))?;
        // First the content, then its length: the reader copes with a length that is too short.
        self.out.write_all(&self.track.bytes)?;
        self.out.write_all(&END)?;
        self.out.seek(SeekFrom::Start(self.start - 4))?;
        self.out.write_all(&length)?;
        self.out.flush()?;
        self.written = whole;
        self.track.bytes.clear();
        Ok(())
    }

    /// The file, for its owner to sync it after a flush.
    pub fn get_ref(&self) -> &W {
        &self.out
    }

    /// The same, to be changed.
    pub fn get_mut(&mut self) -> &mut W {
        &mut self.out
    }

    /// The file as it is: complete as far as the last flush.
    pub fn into_inner(self) -> W {
        self.out
    }

    /// Lets time pass, so that the file ends at `end`, or with its last event if that is later.
    pub fn pass(&mut self, end: Time) {
        self.track.pass(end);
    }

    /// Completes the file; the performance ends at `end`, or with its last event if that is later.
    pub fn finish(mut self, end: Time) -> io::Result<W> {
        self.track.pass(end);
        self.flush()?;
        Ok(self.out)
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::read_all;
    use super::*;
    use proptest::prelude::*;
    use std::io::Cursor;

    fn bytes(performance: &Performance) -> Vec<u8> {
        let mut out = Vec::new();
        write(performance, &mut out).unwrap();
        out
    }

    /// midly parses the whole file strictly: another reader than ours.
    fn sound(bytes: &[u8]) -> bool {
        midly::Smf::parse(bytes).is_ok_and(|smf| smf.tracks.len() == 2)
    }

    /// Byte for byte; the tempo is that of reference/standards.md section 2.
    #[test]
    fn the_bytes() {
        let events = vec![
            Timed {
                at: Time(0x80),
                event: Event::NoteOn {
                    channel: Channel::ALL[1],
                    key: 60,
                    velocity: 100,
                },
            },
            Timed {
                at: Time(0x80),
                event: Event::Release,
            },
        ];
        let written = bytes(&Performance {
            events,
            end: Time(0x81),
            ..Default::default()
        });
        let expected = [
            b"MThd\0\0\0\x06\0\x01\0\x02\x61\xa8",
            &b"MTrk\0\0\0\x0b\0\xff\x51\x03\x07\xa1\x20\0\xff\x2f\0"[..],
            b"MTrk\0\0\0\x19\x81\0\x91\x3c\x64",
            b"\0\xb1\x40\0\0\xb1\x42\0\0\xb1\x7b\0",
            b"\x01\xff\x7f\0\0\xff\x2f\0",
        ]
        .concat();
        assert_eq!(written, expected);
        assert!(sound(&written));
    }

    fn event() -> impl Strategy<Value = Event> {
        use Event::*;
        // Few channels and keys, so that events meet.
        let channel = prop::sample::select(
            [
                Channel::ALL[0],
                Channel::ALL[1],
                Channel::ALL[9],
                Channel::ALL[15],
            ]
            .to_vec(),
        );
        let value = 0u8..128;
        prop_oneof![
            4 => (channel.clone(), 58u8..63, 1u8..128)
                .prop_map(|(channel, key, velocity)| NoteOn { channel, key, velocity }),
            4 => (channel.clone(), 58u8..63).prop_map(|(channel, key)| NoteOff { channel, key }),
            2 => (channel.clone(), value.clone())
                .prop_map(|(channel, value)| Damper { channel, value }),
            1 => (channel.clone(), value.clone())
                .prop_map(|(channel, value)| Sostenuto { channel, value }),
            1 => (channel.clone(), value).prop_map(|(channel, value)| Soft { channel, value }),
            1 => channel.clone().prop_map(|channel| AllSoundOff { channel }),
            1 => channel.clone().prop_map(|channel| ResetControllers { channel }),
            1 => channel.prop_map(|channel| AllNotesOff { channel }),
        ]
    }

    fn delta() -> impl Strategy<Value = u64> {
        prop_oneof![3 => Just(0), 3 => 0u64..5_000, 1 => 0u64..2_000_000_000]
    }

    #[derive(Clone, Debug)]
    enum Step {
        Event(Event),
        Text(TextKind, String),
        Key(i8, bool),
    }

    fn step() -> impl Strategy<Value = Step> {
        use TextKind::*;
        let kind = prop::sample::select(vec![
            Text, Copyright, TrackName, Instrument, Lyric, Marker, Cue,
        ]);
        prop_oneof![
            8 => event().prop_map(Step::Event),
            2 => (kind, "\\PC{0,200}").prop_map(|(kind, s)| Step::Text(kind, s)),
            1 => (-7i8..=7, any::<bool>()).prop_map(|(sharps, minor)| Step::Key(sharps, minor)),
        ]
    }

    /// As the file gives it back.
    fn performance(steps: Vec<(u64, Step)>, rest: u64) -> Performance {
        let mut out = Performance {
            format: 1,
            tracks: 2,
            ..Default::default()
        };
        for (delta, step) in steps {
            out.end += Time(delta);
            let at = out.end;
            let before_event = out.events.len();
            match step {
                Step::Event(event) => out.events.push(Timed { at, event }),
                Step::Text(kind, text) => out.texts.push(Text {
                    at,
                    before_event,
                    kind,
                    offset: 0,
                    text,
                }),
                Step::Key(sharps, minor) => {
                    out.key_signatures.push(KeySignature { at, sharps, minor })
                }
            }
        }
        out.end += Time(rest);
        out
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(
            steps in prop::collection::vec((delta(), step()), 0..80),
            rest in delta(),
        ) {
            let performance = performance(steps, rest);
            let written = bytes(&performance);
            prop_assert!(sound(&written));
            prop_assert_eq!(read_all(&written), performance);
        }

        #[test]
        fn what_is_recorded_is_read(
            steps in prop::collection::vec((delta(), step(), any::<bool>()), 0..60),
            rest in delta(),
        ) {
            let mut writer = FileWriter::new(Cursor::new(Vec::new())).unwrap();
            let (mut at, mut events, mut texts) = (Time::ZERO, Vec::new(), Vec::new());
            for (delta, step, flush) in steps {
                at += Time(delta);
                match step {
                    Step::Event(event) => {
                        writer.push(&Timed { at, event });
                        events.push(Timed { at, event });
                    }
                    Step::Text(kind, text) => {
                        writer.text(at, kind, &text);
                        texts.push(Text { at, before_event: events.len(), kind, offset: 0, text });
                    }
                    Step::Key(..) => {}
                }
                if flush {
                    let before = writer.get_ref().get_ref().clone();
                    writer.flush().unwrap();
                    let now = writer.get_ref().get_ref();
                    prop_assert!(sound(now));
                    let whole = read_all(now);
                    prop_assert_eq!(&whole.events, &events);
                    prop_assert_eq!(&whole.texts, &texts);
                    prop_assert!(whole.faults.is_empty());
                    // Broken off between content and length: nothing is lost either.
                    let mut torn = now.clone();
                    torn[37..41].copy_from_slice(&before[37..41]);
                    let torn = read_all(&torn);
                    prop_assert_eq!(&torn.events, &events);
                }
            }
            let done = writer.finish(at + Time(rest)).unwrap().into_inner();
            let whole = read_all(&done);
            prop_assert!(sound(&done));
            prop_assert_eq!(whole.events, events);
            prop_assert_eq!(whole.texts, texts);
            prop_assert!(whole.faults.is_empty());
            // Time of the steps that a recorder does not take counts for the end only.
            prop_assert_eq!(whole.end, at + Time(rest));
        }
    }

    /// It lifts what is in use, and leaves nothing to lift.
    #[test]
    fn a_release_is_spelled_out() {
        let mut writer = FileWriter::new(Cursor::new(Vec::new())).unwrap();
        let at = Time(7);
        let mut push = |event| {
            let messages = writer.messages_of(Event::Release);
            writer.push(&Timed { at, event });
            messages
        };
        let on = |channel: usize| Event::NoteOn {
            channel: Channel::ALL[channel],
            key: 60,
            velocity: 64,
        };
        let events = [Event::Release, on(2), on(9), Event::Release, Event::Release];
        assert_eq!(events.map(&mut push), [0, 0, 3, 6, 0]);
        let bytes = writer.finish(at).unwrap().into_inner();
        let lifted = |channel: usize| {
            let channel = Channel::ALL[channel];
            [
                Event::Damper { channel, value: 0 },
                Event::Sostenuto { channel, value: 0 },
                Event::AllNotesOff { channel },
            ]
        };
        let expected = [&[on(2), on(9)][..], &lifted(2), &lifted(9)].concat();
        let read = read_all(&bytes);
        assert!(read.events.iter().all(|t| t.at == at));
        let events: Vec<Event> = read.events.iter().map(|t| t.event).collect();
        assert_eq!(events, expected);
    }

    #[test]
    fn times_that_go_back_wait_and_centuries_end() {
        let note = |at, key| Timed {
            at: Time(at),
            event: Event::NoteOff {
                channel: Channel::ALL[0],
                key,
            },
        };
        let events = vec![note(10, 1), note(5, 2), note(u64::MAX, 3)];
        let read = read_all(&bytes(&Performance {
            events,
            ..Default::default()
        }));
        assert_eq!(read.events, [note(10, 1), note(10, 2), note(LONGEST.0, 3)]);
        assert!(read.faults.is_empty());
    }

    #[test]
    fn a_file_that_cannot_be_written_says_so() {
        let error = write(&Performance::default(), &mut &mut [0u8; 20][..]).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::WriteZero);
        assert_eq!(
            length(1 << 32).unwrap_err().to_string(),
            "a track of a MIDI file holds at most 4 gigabytes: begin a new file"
        );
    }
}
