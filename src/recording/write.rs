//! Writing: while it is played, or as a whole.

use super::facts;
use super::read::{Recording, read};
use super::words::Word;
use crate::engine::Event;
use crate::meter::Click;
use crate::midi::{self, FileWriter, Keyboard, TextKind, Timed};
use crate::plan::Marker;
use crate::theory::Catalogue;
use crate::time::Time;
use std::io::{self, Seek, Write};
use std::sync::Arc;

/// Writes a recording while it is made. After each [`flush`](Writer::flush) the file is complete
/// and valid; a crash loses at most what came later. Times must not go back: an earlier time counts
/// as the latest one.
pub struct Writer<W: Write + Seek> {
    file: FileWriter<W>,
    catalogue: Arc<Catalogue>,
}

impl<W: Write + Seek> Writer<W> {
    /// Begins a file at the current position of `out`, which should be its start. `catalogue` has
    /// the modes that events name.
    pub fn new(out: W, catalogue: Arc<Catalogue>) -> io::Result<Writer<W>> {
        let file = FileWriter::new(out)?;
        Ok(Writer { file, catalogue })
    }

    /// Takes an event as the engine took it in.
    pub fn event(&mut self, at: Time, event: Event) {
        let word = match event {
            Event::Midi(release @ midi::Event::Release) => {
                Word::Release(self.file.messages_of(release), None)
            }
            Event::Midi(release @ midi::Event::ReleaseKeyboard { keyboard }) => {
                Word::Release(self.file.messages_of(release), Some(keyboard))
            }
            _ => Word::Event(event),
        };
        self.word(at, word);
        if let Event::Midi(event) = event {
            self.file.push(&Timed { at, event });
        }
    }

    /// Takes a moment that the player flagged, with what it is about.
    pub fn marker(&mut self, marker: &Marker) {
        self.file.text(marker.at, TextKind::Marker, &marker.name);
        if let Some((from, to)) = marker.about {
            self.word(marker.at, Word::About(from, to));
        }
    }

    /// A click is in force from here on, or none.
    pub fn click(&mut self, at: Time, click: Option<Click>) {
        self.word(at, Word::Click(click));
    }

    /// It is a sitting that began at this time (RFC 3339): to be said first.
    pub fn begun(&mut self, when: &str) {
        self.file
            .text(Time::ZERO, TextKind::Text, &facts::begun(when));
    }

    /// The sitting is called so from now on.
    pub fn named(&mut self, at: Time, name: &str) {
        self.file.text(at, TextKind::Text, &facts::named(name));
    }

    /// The name of a keyboard that plays beside others: to be said before its first event.
    pub fn keyboard(&mut self, keyboard: Keyboard, name: &str) {
        self.file.keyboard(keyboard, name);
    }

    /// Lets time pass: the file ends at `end`, or with its last event if that is later.
    pub fn pass(&mut self, end: Time) {
        self.file.pass(end);
    }

    fn word(&mut self, at: Time, word: Word) {
        if let Some(text) = word.text(&self.catalogue) {
            self.file.text(at, TextKind::Text, &text);
        }
    }

    /// Writes everything so far and completes the file. (To sync it to the disk is up to the
    /// file's owner.)
    pub fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }

    /// The file, for its owner to sync it after a flush.
    pub fn get_ref(&self) -> &W {
        self.file.get_ref()
    }

    /// The same, to be changed.
    pub fn get_mut(&mut self) -> &mut W {
        self.file.get_mut()
    }

    /// The file as it is.
    pub fn into_inner(self) -> W {
        self.file.into_inner()
    }

    /// Completes the file; it ends at `end`, or with its last event if that is later.
    pub fn finish(self, end: Time) -> io::Result<W> {
        self.file.finish(end)
    }
}

/// Writes a whole recording, with the same bytes as while it is played. Its faults are not
/// written.
pub fn write<W: Write + Seek>(
    recording: &Recording,
    catalogue: &Arc<Catalogue>,
    out: W,
) -> io::Result<W> {
    let mut writer = Writer::new(out, Arc::clone(catalogue))?;
    write_into(recording, &mut writer);
    writer.finish(recording.end)
}

/// The same at the end of what was written so far.
pub fn write_into<W: Write + Seek>(recording: &Recording, writer: &mut Writer<W>) {
    for (keyboard, name) in Keyboard::ALL.into_iter().zip(&recording.keyboards) {
        writer.keyboard(keyboard, name);
    }
    let mut markers = recording.markers.iter().peekable();
    let mut clicks = recording.clicks.iter().peekable();
    let mut until = |writer: &mut Writer<W>, at: Time| {
        // In order of time, as times must not go back.
        loop {
            let marked = markers.peek().map(|m| m.at).filter(|m| *m <= at);
            let clicked = clicks.peek().map(|(c, _)| *c).filter(|c| *c <= at);
            match (marked, clicked) {
                (None, None) => break,
                (Some(marked), clicked) if clicked.is_none_or(|c| marked < c) => {
                    markers.next().into_iter().for_each(|m| writer.marker(m));
                }
                _ => {
                    let click = clicks.next();
                    click
                        .into_iter()
                        .for_each(|(at, click)| writer.click(*at, *click));
                }
            }
        }
    };
    for (at, event) in recording.events() {
        until(writer, at);
        writer.event(at, event);
    }
    until(writer, Time(u64::MAX));
}

/// A recording's file with a track for each of several keyboards. `None`: one keyboard played, or
/// it would not be read as the same.
pub fn with_keyboard_tracks(bytes: &[u8], catalogue: &Catalogue) -> Option<Vec<u8>> {
    let apart = midi::keyboard_tracks(bytes)?;
    let same = read(&apart, catalogue).ok()? == read(bytes, catalogue).ok()?;
    same.then_some(apart)
}

#[cfg(test)]
mod tests {
    use super::super::read::Said;
    use super::*;
    use crate::engine::{Aside, Bassist, Filter, Inertia};
    use crate::meter::{Bars, Meter, Tempo};
    use crate::theory::PitchClass;
    use proptest::prelude::*;
    use std::io::Cursor;

    fn standard() -> Arc<Catalogue> {
        Arc::new(Catalogue::standard().clone())
    }

    fn written(recording: &Recording) -> Vec<u8> {
        let out = Cursor::new(Vec::new());
        write(recording, &standard(), out).unwrap().into_inner()
    }

    /// Byte for byte: a release is a text, and three messages that other programs understand.
    #[test]
    fn the_bytes() {
        let at = Time(0x80);
        let on = midi::Event::NoteOn {
            channel: midi::Channel::ALL[1],
            key: 60,
            velocity: 100,
        };
        let bytes = written(&Recording {
            notes: [on, midi::Event::Release]
                .map(|event| Timed { at, event })
                .to_vec(),
            markers: vec![Marker {
                at,
                about: Some((Time::ZERO, at)),
                name: "x".into(),
            }],
            end: Time(0x81),
            ..Recording::default()
        });
        let expected = [
            b"MThd\0\0\0\x06\0\x01\0\x02\x61\xa8",
            &b"MTrk\0\0\0\x0b\0\xff\x51\x03\x07\xa1\x20\0\xff\x2f\0"[..],
            b"MTrk\0\0\0\x5e",
            b"\x81\0\xff\x06\x01x",
            b"\0\xff\x01\x23peregrinus: about 0.000000 0.002560",
            b"\0\x91\x3c\x64",
            b"\0\xff\x01\x15peregrinus: release 3",
            b"\0\xb1\x40\0\0\xb1\x42\0\0\xb1\x7b\0",
            b"\x01\xff\x7f\0\0\xff\x2f\0",
        ]
        .concat();
        assert_eq!(bytes, expected);
    }

    fn note() -> impl Strategy<Value = midi::Event> {
        use midi::Event::*;
        let channel = prop::sample::select(
            [
                midi::Channel::ALL[0],
                midi::Channel::ALL[9],
                midi::Channel::ALL[15],
            ]
            .to_vec(),
        );
        prop_oneof![
            4 => (channel.clone(), 58u8..63, 1u8..128)
                .prop_map(|(channel, key, velocity)| NoteOn { channel, key, velocity }),
            4 => (channel.clone(), 58u8..63).prop_map(|(channel, key)| NoteOff { channel, key }),
            2 => (channel.clone(), 0u8..3).prop_map(|(channel, value)| Damper { channel, value }),
            1 => channel.prop_map(|channel| AllNotesOff { channel }),
            2 => Just(Release),
        ]
    }

    fn word() -> impl Strategy<Value = Event> {
        prop_oneof![
            (0usize..5).prop_map(|i| Event::Inertia(Inertia::ALL[i])),
            prop_oneof![Just(Bassist::Plays), Just(Bassist::Absent)].prop_map(Event::Bassist),
            prop_oneof![Just(Aside::Begins), Just(Aside::Ends)].prop_map(Event::Aside),
            (any::<u16>(), -48i8..=48).prop_map(|(channels, transpose)| Event::Filter(Filter {
                channels,
                transpose
            })),
            prop::option::of(0i32..12).prop_map(|c| Event::HomeIs(c.map(PitchClass::new))),
        ]
    }

    #[derive(Clone, Debug)]
    enum Step {
        Note(midi::Event),
        Word(Event),
        Marker(String, Option<u64>),
        Click(Option<Click>),
    }

    fn click() -> impl Strategy<Value = Click> {
        let beat = Tempo::SHORTEST_BEAT.0..=Tempo::LONGEST_BEAT.0;
        (beat, 1u8..=15, 0u64..9_000_000).prop_map(|(beat, count, from)| Click {
            tempo: Tempo::of_beat(Time(beat)).unwrap(),
            meter: Meter::new(count, 8).unwrap(),
            from: Time(from),
        })
    }

    fn step() -> impl Strategy<Value = Step> {
        let back = prop::option::of(0u64..9_000_000);
        prop_oneof![
            6 => note().prop_map(Step::Note),
            1 => word().prop_map(Step::Word),
            1 => prop::option::of(click()).prop_map(Step::Click),
            1 => ("\\PC{0,20}", back).prop_map(|(name, back)| Step::Marker(name, back)),
        ]
    }

    proptest! {
        /// Live or as a whole.
        #[test]
        fn what_is_written_is_read(
            steps in prop::collection::vec((0u64..30_000, step()), 0..60),
            rest in 0u64..3_000,
        ) {
            let mut writer = Writer::new(Cursor::new(Vec::new()), standard()).unwrap();
            let mut recording = Recording::default();
            let mut now = Time::ZERO;
            for (delta, step) in steps {
                // Often at one moment.
                now += Time(delta.saturating_sub(10_000));
                let at = now;
                match step {
                    Step::Note(event) => {
                        writer.event(at, Event::Midi(event));
                        recording.notes.push(Timed { at, event });
                    }
                    Step::Word(event) => {
                        writer.event(at, event);
                        let before_note = recording.notes.len();
                        recording.said.push(Said { before_note, at, event });
                    }
                    Step::Click(click) => {
                        writer.click(at, click);
                        recording.clicks.push((at, click));
                    }
                    Step::Marker(name, back) => {
                        let about = back.map(|back| (at - Time(back), at));
                        let marker = Marker { at, about, name };
                        writer.marker(&marker);
                        recording.markers.push(marker);
                    }
                }
            }
            recording.end = now + Time(rest);
            let clicks = recording.clicks.iter().copied();
            recording.bars = Some(Bars::of_clicks(clicks)).filter(|b| *b != Bars::default());
            let live = writer.finish(recording.end).unwrap().into_inner();
            prop_assert_eq!(&read(&live, &standard()).unwrap(), &recording);
            prop_assert_eq!(&read(&written(&recording), &standard()).unwrap(), &recording);
        }
    }
}
