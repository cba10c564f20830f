//! The tracks of a file on one line of time.
//!
//! The tracks are parsed side by side and their events taken in order of time, so that beside the
//! file's bytes only the result is held.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::bars::Signatures;
use super::chunks::Track;
use super::clock::Clock;
use super::fault::{Excess, Faults, FileError};
use super::header::Timing;
use super::held::Held;
use super::limits::{LONGEST, Limits, PAUSE};
use super::performance::{KeySignature, Performance, Text};
use super::progress::{EVERY, Progress};
use super::track::{Content, Events, Item};
use super::unison::Unison;
use crate::midi::event::{Event, Keyboard, Timed};
use crate::time::{TICKS_PER_SECOND, Time};

/// What is done at a track's end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum AtEnd {
    /// What still sounds is let go.
    Release,
    /// What still sounds goes on, unless the track is cut off.
    AsWritten,
}

/// The events of a track, with the release of what it leaves sounding where that is wanted.
struct Voice<'a> {
    events: Events<'a>,
    /// Kept where what sounds at the end is to be released.
    held: Option<Box<Held>>,
    /// What comes before the parser goes on, the next one last.
    waiting: Vec<Item<'a>>,
    ended: bool,
}

impl<'a> Voice<'a> {
    fn new(track: &Track<'a>, at_end: AtEnd) -> Voice<'a> {
        Voice {
            events: Events::new(track.bytes, track.start),
            held: (at_end == AtEnd::Release || !track.ended).then(Box::default),
            waiting: Vec::new(),
            ended: false,
        }
    }

    /// The next one; the track's end is the last, whether it is written or not.
    fn next(&mut self) -> Option<Item<'a>> {
        if let Some(item) = self.waiting.pop() {
            return Some(item);
        }
        if self.ended {
            return None;
        }
        // Faults were reported when the track was found.
        let next = self.events.next(&mut |_, _| {});
        let item = next.unwrap_or(Item {
            tick: self.events.tick(),
            offset: self.events.offset(),
            what: Content::End,
        });
        match (item.what, &mut self.held) {
            (Content::Event(event), Some(held)) => held.hear(event),
            (Content::End, held) => {
                self.ended = true;
                if let Some(held) = held {
                    let (tick, offset) = (item.tick, item.offset);
                    let release = |event| Item {
                        tick,
                        offset,
                        what: Content::Event(event),
                    };
                    self.waiting.push(item);
                    let releases = held.releases().into_iter().rev();
                    self.waiting.extend(releases.map(release));
                    return self.waiting.pop();
                }
            }
            _ => {}
        }
        Some(item)
    }
}

/// Whether the reading goes on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Advance {
    On,
    /// A limit is reached; what follows is left out.
    Over,
}

/// The line of time as it grows.
pub(super) struct Merge<'f> {
    clock: Clock,
    limits: &'f Limits,
    faults: &'f mut Faults,
    progress: &'f mut Progress<'f>,
    out: Performance,
    /// Items so far, and in all.
    items: (usize, usize),
    notes: usize,
    /// The second of the music that it is in, and how many notes began in it.
    second: (u64, usize),
    /// When a note began last.
    struck: Option<Time>,
    /// How long was played, longer pauses counted as [`PAUSE`].
    played: Time,
    /// How many texts and key signatures were read.
    texts: usize,
    /// Ticks to the quarter, where there can be bars; and the tempo, once one was set.
    division: Option<u16>,
    tempo: Option<u32>,
    signatures: Option<Signatures>,
    names: [Option<String>; Keyboard::COUNT],
}

impl<'f> Merge<'f> {
    /// Of a file of this type.
    pub fn run(
        format: u8,
        timing: Timing,
        tracks: &[Track],
        limits: &'f Limits,
        faults: &'f mut Faults,
        progress: &'f mut Progress<'f>,
    ) -> Result<Performance, FileError> {
        let played: usize = tracks.iter().map(|t| t.played).sum();
        // A note begins and ends, and here and there a pedal moves.
        let most = limits.notes.saturating_mul(3);
        let mut merge = Merge {
            clock: Clock::new(timing),
            limits,
            faults,
            progress,
            out: Performance {
                format,
                tracks: tracks.len(),
                events: Vec::with_capacity(played.min(most)),
                ..Performance::default()
            },
            items: (0, tracks.iter().map(|t| t.items).sum()),
            notes: 0,
            second: (0, 0),
            struck: None,
            played: Time::ZERO,
            texts: 0,
            division: match timing {
                Timing::Quarter(division) if format != 2 => Some(division),
                _ => None,
            },
            tempo: None,
            signatures: None,
            names: Default::default(),
        };
        let reading = match format {
            2 => merge.patterns(tracks)?,
            _ => merge.together(tracks)?,
        };
        if reading == Advance::Over {
            merge.release();
        }
        merge.out.events.shrink_to_fit();
        merge.name_keyboards();
        merge.out.bars = merge.signatures.map(Signatures::bars);
        Ok(merge.out)
    }

    fn name_keyboards(&mut self) {
        let keyboards = self.out.events.iter().filter_map(|t| t.event.keyboard());
        let last = keyboards.max().map_or(0, Keyboard::index);
        if last > 0 {
            let names = self.names.iter_mut().take(last + 1);
            self.out.keyboards = names.map(|name| name.take().unwrap_or_default()).collect();
        }
    }

    /// The tracks follow one another.
    fn patterns(&mut self, tracks: &[Track]) -> Result<Advance, FileError> {
        for (index, track) in tracks.iter().enumerate() {
            let mut voice = Voice::new(track, AtEnd::Release);
            let mut unison = Unison::of(std::iter::empty());
            self.clock.restart();
            while let Some(item) = voice.next() {
                if self.take(index, &item, &mut unison)? == Advance::Over {
                    return Ok(Advance::Over);
                }
            }
        }
        Ok(Advance::On)
    }

    /// The tracks play together; at equal times in their order.
    fn together(&mut self, tracks: &[Track]) -> Result<Advance, FileError> {
        let mut unison = Unison::of(tracks.iter().map(|t| t.channels));
        let voices = tracks.iter().map(|track| {
            let mut voice = Voice::new(track, AtEnd::AsWritten);
            (voice.next(), voice)
        });
        let mut voices: Vec<_> = voices.collect();
        let first = |(index, (item, _)): (usize, &(Option<Item>, _))| {
            item.as_ref().map(|item| Reverse((item.tick, index)))
        };
        let mut heap: BinaryHeap<_> = voices.iter().enumerate().filter_map(first).collect();
        while let Some(Reverse((_, index))) = heap.pop() {
            let Some((next, voice)) = voices.get_mut(index) else {
                break;
            };
            while let Some(item) = next.take() {
                if self.take(index, &item, &mut unison)? == Advance::Over {
                    return Ok(Advance::Over);
                }
                *next = voice.next();
                let Some(item) = next else { break };
                let place = Reverse((item.tick, index));
                if heap.peek().is_some_and(|other| *other > place) {
                    heap.push(place);
                    break;
                }
            }
        }
        Ok(Advance::On)
    }

    fn take(
        &mut self,
        index: usize,
        item: &Item,
        unison: &mut Unison,
    ) -> Result<Advance, FileError> {
        self.items.0 += 1;
        if self.items.0.is_multiple_of(EVERY) || matches!(item.what, Content::Nothing) {
            let (done, all) = self.items;
            (self.progress)(done.min(all) as f32 / all as f32)?;
        }
        let track = Some(index + 1);
        let at = self.clock.at(item.tick);
        let Some(at) = at.filter(|at| *at <= self.limits.length) else {
            let excess = match self.limits.length {
                LONGEST => Excess::Longest(LONGEST),
                most => Excess::Length(most),
            };
            self.faults.limit(item.offset, track, excess);
            return Ok(Advance::Over);
        };
        match item.what {
            Content::Event(event @ Event::NoteOn { .. }) => {
                if let Some(excess) = self.beyond(at) {
                    self.faults.limit(item.offset, track, excess);
                    return Ok(Advance::Over);
                }
                if !self.crowded(at, item.offset, track) && unison.passes(index, event) {
                    self.out.events.push(Timed { at, event });
                }
            }
            Content::Event(event) => {
                if unison.passes(index, event) {
                    self.out.events.push(Timed { at, event });
                }
            }
            Content::Name(keyboard, name) => {
                // The first that it is given.
                self.names[keyboard.index()].get_or_insert_with(|| decode(name));
            }
            Content::Text(kind, text) => {
                if self.text(item.offset, track) {
                    self.out.texts.push(Text {
                        at,
                        before_event: self.out.events.len(),
                        kind,
                        offset: item.offset as u64,
                        text: decode(text),
                    });
                }
            }
            Content::Key { sharps, minor } => {
                if self.text(item.offset, track) {
                    let key = KeySignature { at, sharps, minor };
                    self.out.key_signatures.push(key);
                }
            }
            Content::Tempo(tempo) => {
                self.clock.set_tempo(tempo);
                self.tempo = Some(tempo);
                if let Some(signatures) = &mut self.signatures {
                    signatures.tempo((at, item.tick), tempo);
                }
            }
            Content::Signature(signature) => {
                let here = (at, item.tick);
                match (&mut self.signatures, self.division) {
                    (_, None) => {}
                    (Some(before), _) => before.signature(here, signature),
                    (None, Some(division)) => {
                        let first = Signatures::begin(division, here, self.tempo, signature);
                        self.signatures = Some(first);
                    }
                }
            }
            Content::End | Content::Nothing => {}
        }
        self.out.end = at;
        Ok(Advance::On)
    }

    /// Counts a note; if it is one too many in all, why.
    fn beyond(&mut self, at: Time) -> Option<Excess> {
        self.notes += 1;
        let pause = self.struck.replace(at).map(|before| at - before);
        self.played += pause.unwrap_or_default().min(PAUSE);
        let Limits {
            notes,
            patience,
            pace,
            ..
        } = *self.limits;
        if self.notes > notes {
            return Some(Excess::Notes(notes));
        }
        let slow = pace.0.saturating_mul(self.notes as u64);
        if self.played > patience && self.played.0 > patience.0.saturating_add(slow) {
            return Some(Excess::Slow { patience, pace });
        }
        None
    }

    /// Whether a note is one too many within its second; the first of these is reported.
    fn crowded(&mut self, at: Time, offset: usize, track: Option<usize>) -> bool {
        let second = at.0 / TICKS_PER_SECOND;
        if self.second.0 != second {
            self.second = (second, 0);
        }
        self.second.1 += 1;
        let most = self.limits.notes_a_second;
        if self.second.1 == most.saturating_add(1) {
            self.faults.limit(offset, track, Excess::NotesASecond(most));
        }
        self.second.1 > most
    }

    /// Counts a text or key signature; false if it is one too many.
    fn text(&mut self, offset: usize, track: Option<usize>) -> bool {
        self.texts += 1;
        let most = self.limits.texts;
        if self.texts == most.saturating_add(1) {
            self.faults.limit(offset, track, Excess::Texts(most));
        }
        self.texts <= most
    }

    /// Lets go of what sounds where the reading ends before the file does.
    fn release(&mut self) {
        let at = self.out.end;
        let mut held = Held::default();
        self.out.events.iter().for_each(|t| held.hear(t.event));
        let releases = held.releases().into_iter();
        self.out
            .events
            .extend(releases.map(|event| Timed { at, event }));
    }
}

/// As UTF-8 if it is that, else as Latin-1.
fn decode(text: &[u8]) -> String {
    match std::str::from_utf8(text) {
        Ok(text) => text.into(),
        Err(_) => text.iter().copied().map(char::from).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::super::testing::*;
    use super::*;
    use crate::midi::event::Channel;

    #[test]
    fn patterns_follow_one_another() {
        let first = [
            &[0x00, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40][..],
            &[0x00, 0x90, 0x3c, 0x40, 0x60, 0xff, 0x2f, 0x00],
        ]
        .concat();
        // The tempo of the first pattern does not reach the second.
        let second = [0x00, 0x91, 0x3e, 0x40, 0x60, 0x81, 0x3e, 0x40];
        let bytes = file(2, 96, &[track(&first), ended(&second)]);
        assert_eq!(
            events(&bytes),
            [
                (0, ON(0, 60, 64)),
                (50_000, OFF(0, 60)),
                (50_000, ON(1, 62, 64)),
                (75_000, OFF(1, 62)),
            ]
        );
        assert_eq!(faults(&bytes), [""; 0]);
    }

    #[test]
    fn at_equal_times_the_order_of_the_file() {
        let one = ended(&[0x60, 0x90, 60, 64, 0x60, 0x80, 60, 64]);
        let two = ended(&[0x60, 0x91, 62, 64, 0x60, 0x81, 62, 64]);
        assert_eq!(
            events(&file(1, 25_000, &[one, two])),
            [
                (96, ON(0, 60, 64)),
                (96, ON(1, 62, 64)),
                (192, OFF(0, 60)),
                (192, OFF(1, 62)),
            ]
        );
    }

    #[test]
    fn a_damaged_track_leaves_nothing_sounding() {
        let content = [
            0x00, 0x93, 60, 64, 0x00, 0x93, 64, 64, 0x00, 0xb3, 64, 127, 0x10, 0x83, 64, 0, 0x60,
        ];
        let performance = read(&file(0, 25_000, &[track(&content)])).unwrap();
        assert_eq!(performance.faults.count(), 1);
        let at = Time(16);
        let channel = Channel::ALL[3];
        assert_eq!(
            performance.events[3..],
            [
                Timed {
                    at,
                    event: OFF(3, 64)
                },
                Timed {
                    at,
                    event: OFF(3, 60)
                },
                Timed {
                    at,
                    event: Event::Damper { channel, value: 0 }
                },
            ]
        );
    }
}
