//! Reading: a file's content as the engine takes it in.

use super::corrected::CorrectedWords;
use super::facts::{self, Facts};
use super::words::Word;
use crate::engine::Event;
use crate::meter::{Bars, Click};
use crate::midi::{
    self, Fault, FaultKind, Faults, FileError, Keyboard, Limits, Performance, TextKind, Timed,
};
use crate::plan::Marker;
use crate::theory::Catalogue;
use crate::time::Time;
use std::ops::ControlFlow;

/// What was played, and what belongs to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// Notes and pedals, in order.
    pub notes: Vec<Timed>,
    /// Settings that it was made with, and what the player said, in order.
    pub said: Vec<Said>,
    /// The moments that the file names, in order.
    pub markers: Vec<Marker>,
    pub end: Time,
    /// The clicks that it was played to, each from its moment on, in order; none: it ended.
    pub clicks: Vec<(Time, Option<Click>)>,
    /// Where its bars and beats are, if its clicks or the file's signatures say so.
    pub bars: Option<Bars>,
    /// The names of the keyboards, where there are several: empty if there is one.
    pub keyboards: Vec<String>,
    /// What it says of itself, if it is a sitting.
    pub facts: Facts,
    /// What could not be read of the file; empty if it is whole.
    pub faults: Faults,
}

/// A setting, or something that the player said, at its place among the notes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// How many of [`Recording::notes`] precede it.
    pub before_note: usize,
    pub at: Time,
    /// Never [`Event::Midi`].
    pub event: Event,
}

/// Reads a file of ours, or any other Standard MIDI File, within the default [`Limits`].
/// `catalogue` has the modes that the words name. Words that are not known here, or name
/// another mode, are passed over; the first is a fault, which counts them.
pub fn read(bytes: &[u8], catalogue: &Catalogue) -> Result<Recording, FileError> {
    read_with(bytes, catalogue, &Limits::default(), &mut |_| {
        ControlFlow::Continue(())
    })
}

/// The same within other limits. `progress` is called with the share that is done, from 0
/// to 1, every few thousand events, and may stop the reading with [`FileError::Stopped`].
pub fn read_with(
    bytes: &[u8],
    catalogue: &Catalogue,
    limits: &Limits,
    progress: &mut dyn FnMut(f32) -> ControlFlow<()>,
) -> Result<Recording, FileError> {
    let performance = midi::read_with(bytes, limits, progress)?;
    Ok(Recording::of(performance, catalogue))
}

impl Recording {
    /// From what a file holds.
    pub fn of(performance: Performance, catalogue: &Catalogue) -> Recording {
        let texts = &performance.texts;
        let word = |i: usize| {
            let text = texts.get(i).filter(|t| t.kind == TextKind::Text)?;
            Some((Word::read(&text.text, catalogue)?, text))
        };
        let mut out = Recording::default();
        let mut releases = Vec::new();
        let mut unknown: Option<(&str, u64, usize)> = None;
        let mut corrected = CorrectedWords::default();
        for (i, text) in texts.iter().enumerate() {
            if text.kind == TextKind::Text
                && facts::said(&text.text).is_some_and(|said| corrected.take(i, said))
            {
                continue;
            }
            if text.kind == TextKind::Text && out.facts.take(&text.text, catalogue) {
                continue;
            }
            match word(i) {
                Some((Ok(Word::Event(event)), text)) => out.said.push(Said {
                    before_note: text.before_event,
                    at: text.at,
                    event,
                }),
                Some((Ok(Word::Click(click)), text)) => out.clicks.push((text.at, click)),
                Some((Ok(Word::Release(messages, of)), text)) => releases.push(Release {
                    of,
                    before_event: text.before_event,
                    at: text.at,
                    messages: messages.into(),
                    said: out.said.len(),
                }),
                Some((Err(word), text)) => {
                    unknown.get_or_insert((word.said, text.offset, 0)).2 += 1;
                }
                _ if text.kind == TextKind::Marker
                    && !facts::is_of_the_plan(texts.get(i + 1), text.at) =>
                {
                    out.markers.push(Marker {
                        at: text.at,
                        about: match word(i + 1) {
                            Some((Ok(Word::About(from, to)), next)) if next.at == text.at => {
                                Some((from, to))
                            }
                            _ => None,
                        },
                        name: text.text.clone(),
                    })
                }
                _ => {}
            }
        }
        out.notes = gather(performance.events, &releases, &mut out.said);
        out.end = performance.end;
        let settled = corrected.settle(out.end, catalogue);
        for text in settled.unknown.iter().filter_map(|&i| texts.get(i)) {
            let said = Word::said(&text.text).unwrap_or_default();
            unknown.get_or_insert((said, text.offset, 0)).2 += 1;
        }
        out.facts.partly = settled.partly.map(|words| (words, settled.plan.clone()));
        out.facts.corrected = settled.plan;
        // A click was played to; signatures may be what a program writes by itself. One that ended
        // as it began leaves no bars.
        let clicked = out.clicks.iter().any(|(_, click)| click.is_some());
        let clicks = Bars::of_clicks(out.clicks.iter().copied());
        out.bars = match clicked {
            true => Some(clicks).filter(|bars| *bars != Bars::default()),
            false => performance.bars,
        };
        out.keyboards = performance.keyboards;
        out.faults = performance.faults;
        if let Some((said, offset, count)) = unknown {
            out.faults.push(Fault {
                kind: FaultKind::Unknown {
                    first: said.into(),
                    count,
                },
                offset,
                track: None,
            });
        }
        out
    }

    /// All events for the engine, in order.
    pub fn events(&self) -> impl Iterator<Item = (Time, Event)> + '_ {
        let mut notes = self.notes.iter().enumerate().peekable();
        let mut said = self.said.iter().peekable();
        std::iter::from_fn(move || {
            let next = notes.peek().map_or(usize::MAX, |(i, _)| *i);
            if let Some(said) = said.next_if(|s| s.before_note <= next) {
                return Some((said.at, said.event));
            }
            notes.next().map(|(_, t)| (t.at, Event::Midi(t.event)))
        })
    }

    /// Removes the inertia that it was made with, for a user who asks for another.
    pub fn drop_inertia(&mut self) {
        self.said.retain(|s| !matches!(s.event, Event::Inertia(_)));
    }
}

/// A release as the file has it.
struct Release {
    /// The keyboard, if not all.
    of: Option<Keyboard>,
    before_event: usize,
    at: Time,
    /// How many messages after it spell it out.
    messages: usize,
    /// How many words precede it.
    said: usize,
}

/// Each release becomes one event, in the place of the messages that spell it out; what was said
/// keeps its place among the rest.
fn gather(events: Vec<Timed>, releases: &[Release], said: &mut [Said]) -> Vec<Timed> {
    if releases.is_empty() {
        return events;
    }
    let mut notes = Vec::with_capacity(events.len());
    let mut taken = 0;
    let mut words = said.iter_mut().enumerate().peekable();
    for release in releases {
        while let Some((_, word)) = words.next_if(|(i, _)| *i < release.said) {
            place(word, &mut notes, &events, &mut taken);
        }
        let until = release.before_event.max(taken).min(events.len());
        notes.extend(&events[taken..until]);
        notes.push(Timed {
            at: release.at,
            event: match release.of {
                None => midi::Event::Release,
                Some(keyboard) => midi::Event::ReleaseKeyboard { keyboard },
            },
        });
        let spelled = events[until..].iter().take(release.messages);
        let spelled = spelled.take_while(|t| t.at == release.at && lifts(t.event));
        taken = until + spelled.count();
    }
    for (_, word) in words {
        place(word, &mut notes, &events, &mut taken);
    }
    notes.extend(&events[taken..]);
    notes
}

/// Takes over the events before a word, so that it knows how many these are now.
fn place(word: &mut Said, notes: &mut Vec<Timed>, events: &[Timed], taken: &mut usize) {
    let until = word.before_note.max(*taken).min(events.len());
    notes.extend(&events[*taken..until]);
    *taken = until;
    word.before_note = notes.len();
}

/// Whether this is one of the messages that spell out a release.
fn lifts(event: midi::Event) -> bool {
    use midi::Event::*;
    matches!(
        event,
        Damper { value: 0, .. } | Sostenuto { value: 0, .. } | AllNotesOff { .. }
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Aside, Bassist, Inertia};
    use crate::midi::Text;

    fn text(ms: u64, kind: TextKind, text: &str) -> Text {
        Text {
            at: Time::millis(ms),
            before_event: 0,
            kind,
            offset: 0,
            text: text.into(),
        }
    }

    #[test]
    fn unknown_words_are_one_fault() {
        let with = |texts: &[&str]| {
            let texts = texts.iter().zip(0..).map(|(said, i)| Text {
                offset: 100 + i,
                ..text(i, TextKind::Text, said)
            });
            let recording = of(Performance {
                texts: texts.collect(),
                ..Performance::default()
            });
            recording.faults.lines().collect::<Vec<_>>()
        };
        let known = ["peregrinus: inertia=phrase", "a song", "peregrinus:"];
        assert_eq!(with(&known), [""; 0]);
        let one = [&known[..], &["peregrinus: pin=D zzz"]].concat();
        assert_eq!(
            with(&one),
            ["byte 103: 'pin=D zzz' is not known here and passed over"]
        );
        let many = [vec!["peregrinus: volume=3"; 30], one].concat();
        assert_eq!(
            with(&many),
            ["byte 100: 'volume=3' is not known here, the first of 31 words that are passed over"]
        );
        let long = format!("peregrinus: {}", "é".repeat(500));
        let said = with(&[&long]);
        assert!(said[0].len() < 150 && said[0].contains("é…'"), "{said:?}");
    }

    fn of(performance: Performance) -> Recording {
        Recording::of(performance, Catalogue::standard())
    }

    #[test]
    fn a_marker_knows_what_it_is_about_if_we_wrote_it() {
        let marker = |name| text(40_000, TextKind::Marker, name);
        let ours = |stretch: &str| {
            text(
                40_000,
                TextKind::Text,
                &format!("peregrinus: about {stretch}"),
            )
        };
        let about = |next: Vec<Text>| {
            let all = of(Performance {
                texts: [vec![marker("1")], next].concat(),
                ..Performance::default()
            });
            let all = all.markers;
            assert_eq!((all[0].at, &*all[0].name), (Time::millis(40_000), "1"));
            (all.len(), all[0].about)
        };
        let stretch = Some((Time(600_001), Time::millis(40_000)));
        assert_eq!(about(vec![ours("12.000020 40.000000")]), (1, stretch));
        assert_eq!(about(vec![]), (1, None));
        let other = about(vec![marker("2"), ours("12.000020 40.000000")]);
        assert_eq!(other, (2, None), "it is the second's");
        assert_eq!(about(vec![ours("12 x")]), (1, None));
        let words = "peregrinus: about 12.0 40.0";
        assert_eq!(about(vec![text(40_001, TextKind::Text, words)]), (1, None));
        assert_eq!(
            about(vec![text(40_000, TextKind::Marker, words)]),
            (2, None)
        );
    }

    /// Two channels lifted in the middle, with words on either side and between.
    #[test]
    fn a_release_is_one_event() {
        let at = Time(5);
        let timed = |event| Timed { at, event };
        let note = |channel: usize| {
            timed(midi::Event::NoteOn {
                channel: midi::Channel::ALL[channel],
                key: 60,
                velocity: 64,
            })
        };
        let lifts = |channel: usize| {
            let channel = midi::Channel::ALL[channel];
            [
                timed(midi::Event::Damper { channel, value: 0 }),
                timed(midi::Event::Sostenuto { channel, value: 0 }),
                timed(midi::Event::AllNotesOff { channel }),
            ]
        };
        let word = |before_event, text: &str| Text {
            at,
            before_event,
            kind: TextKind::Text,
            offset: 0,
            text: format!("peregrinus: {text}"),
        };
        let events = [&[note(1), note(3)][..], &lifts(1), &lifts(3), &[note(1)]].concat();
        let texts = vec![
            word(1, "inertia=chord"),
            word(2, "release 6"),
            word(8, "inertia=section"),
            word(9, "release 0"),
            word(9, "aside=true"),
        ];
        let read = |events, texts| {
            of(Performance {
                events,
                texts,
                ..Performance::default()
            })
        };
        let recording = read(events.clone(), texts);
        let release = timed(midi::Event::Release);
        assert_eq!(
            recording.notes,
            [note(1), note(3), release, note(1), release]
        );
        let places: Vec<usize> = recording.said.iter().map(|s| s.before_note).collect();
        assert_eq!(places, [1, 3, 5]);
        let music = |t: Timed| (at, Event::Midi(t.event));
        let expected = [
            music(note(1)),
            (at, Event::Inertia(Inertia::Chord)),
            music(note(3)),
            music(release),
            (at, Event::Inertia(Inertia::Section)),
            music(note(1)),
            music(release),
            (at, Event::Aside(Aside::Begins)),
        ];
        assert_eq!(recording.events().collect::<Vec<_>>(), expected);

        // Another program took messages away: what follows is not taken for them.
        let fewer = [&[note(1), note(3)][..], &lifts(1)[..2], &[note(1)]].concat();
        let recording = read(fewer, vec![word(2, "release 6")]);
        assert_eq!(recording.notes, [note(1), note(3), release, note(1)]);
        // Nor is what others say in a marker.
        let marker = Text {
            kind: TextKind::Marker,
            ..word(2, "release 6")
        };
        assert_eq!(read(events.clone(), vec![marker]).notes, events);
    }

    #[test]
    fn the_inertia_can_be_left_out() {
        let mut recording = of(Performance {
            texts: ["inertia=chord", "bassist=true", "inertia=section"]
                .map(|t| text(0, TextKind::Text, &format!("peregrinus: {t}")))
                .to_vec(),
            ..Performance::default()
        });
        recording.drop_inertia();
        let left: Vec<_> = recording.said.iter().map(|s| s.event).collect();
        assert_eq!(left, [Event::Bassist(Bassist::Plays)]);
    }
}
