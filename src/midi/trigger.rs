//! Controllers and keys that have a job beside the music.

use super::event::{Channel, Event};
use std::fmt;
use std::str::FromStr;

/// What sets off a job: a controller that rises through 64, or a key that is struck, on any
/// channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Trigger {
    /// 0-119.
    Controller(u8),
    /// 0-127, middle C = 60.
    Key(u8),
}

/// Why a text names no trigger, and what to write instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TriggerError {
    #[error(
        "'{0}' is neither a controller nor a key: write 'controller 67', 'key 108' or 'key C8'"
    )]
    Neither(String),
    #[error("'{0}' is no controller: their numbers are 0 to 119, the soft pedal is 67")]
    NoController(String),
    /// MIDI 1.0: the channel mode messages.
    #[error(
        "controller {0} lifts keys or changes the mode of a channel: give the job to one of 0 to 119"
    )]
    ChannelMode(u8),
    #[error(
        "'{0}' is no key: write its number, 0 to 127, or its name and octave, with middle C = C4 (21 or A0 is the lowest of a piano, 108 or C8 the highest)"
    )]
    NoKey(String),
}

impl FromStr for Trigger {
    type Err = TriggerError;

    /// `controller 67`, `key 108`, `key C8`.
    fn from_str(text: &str) -> Result<Trigger, TriggerError> {
        let neither = || TriggerError::Neither(text.trim().to_owned());
        let (what, which) = text
            .trim()
            .split_once(char::is_whitespace)
            .ok_or_else(neither)?;
        let which = which.trim();
        match what.to_ascii_lowercase().as_str() {
            "controller" => match which.parse() {
                Ok(number @ 0..=119) => Ok(Trigger::Controller(number)),
                Ok(number @ 120..=127) => Err(TriggerError::ChannelMode(number)),
                _ => Err(TriggerError::NoController(which.to_owned())),
            },
            "key" => which
                .parse()
                .ok()
                .filter(|key| *key < 128)
                .or_else(|| key(which))
                .map(Trigger::Key)
                .ok_or_else(|| TriggerError::NoKey(which.to_owned())),
            _ => Err(neither()),
        }
    }
}

impl fmt::Display for Trigger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trigger::Controller(number) => write!(f, "controller {number}"),
            Trigger::Key(key) => write!(f, "key {key}"),
        }
    }
}

/// `C4` is 60, `Bb-1` 10, `F♯3` 54.
fn key(name: &str) -> Option<u8> {
    let mut chars = name.chars();
    let letter = match chars.next()?.to_ascii_uppercase() {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    let rest = chars.as_str();
    let octave = rest.trim_start_matches(['#', '♯', 'b', '♭']);
    let accidentals = rest.strip_suffix(octave)?.chars();
    let raised: i32 = accidentals
        .map(|c| if matches!(c, '#' | '♯') { 1 } else { -1 })
        .sum();
    let octave: i32 = octave.parse().ok().filter(|o| (-2..=10).contains(o))?;
    let key = 12 * (octave + 1) + letter + raised;
    u8::try_from(key).ok().filter(|key| *key < 128)
}

/// What comes from the wire: an event, or a controller that is not one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Message {
    Event(Event),
    Controller {
        channel: Channel,
        number: u8,
        value: u8,
    },
}

/// Separates what has a job from the music. Does not allocate once it is made.
pub(super) struct Jobs {
    triggers: Vec<Trigger>,
    /// For each trigger the channels on which its controller is up.
    up: Vec<u64>,
    /// The places of those triggered and not fetched yet.
    fired: Vec<usize>,
}

/// Maximum number of jobs waiting; a person does not trigger more at once.
const WAITING: usize = 16;

impl Jobs {
    pub fn new(triggers: &[Trigger]) -> Jobs {
        Jobs {
            triggers: triggers.to_vec(),
            up: vec![0; triggers.len()],
            fired: Vec::with_capacity(WAITING),
        }
    }

    /// The controllers that have a job, bit n for controller n.
    pub fn controllers(triggers: &[Trigger]) -> u128 {
        triggers.iter().fold(0, |all, t| match t {
            Trigger::Controller(number) => all | 1 << (number & 127),
            Trigger::Key(_) => all,
        })
    }

    /// The event, unless it belongs to a job.
    pub fn pass(&mut self, message: Message) -> Option<Event> {
        let (trigger, channel, value) = match message {
            Message::Controller {
                channel,
                number,
                value,
            } => (Trigger::Controller(number), channel, value),
            Message::Event(event) => match event {
                Event::NoteOn {
                    channel,
                    key,
                    velocity: _,
                } => (Trigger::Key(key), channel, 127),
                Event::NoteOff { channel, key } => (Trigger::Key(key), channel, 0),
                Event::Damper { channel, value } => (Trigger::Controller(64), channel, value),
                Event::Sostenuto { channel, value } => (Trigger::Controller(66), channel, value),
                Event::Soft { channel, value } => (Trigger::Controller(67), channel, value),
                Event::Release => {
                    // A keyboard that is gone holds nothing down.
                    self.up.fill(0);
                    return Some(event);
                }
                Event::ReleaseKeyboard { keyboard } => {
                    let of_it = Channel::ALL.iter().filter(|c| c.keyboard() == keyboard);
                    let bits = of_it.fold(0, |bits, channel| bits | channel.bit());
                    self.up.iter_mut().for_each(|up| *up &= !bits);
                    return Some(event);
                }
                _ => return Some(event),
            },
        };
        let bit = channel.bit();
        let mut mine = false;
        for (i, (t, up)) in self.triggers.iter().zip(&mut self.up).enumerate() {
            if *t != trigger {
                continue;
            }
            mine = true;
            let was = *up & bit != 0;
            let is = value >= 64;
            *up = if is { *up | bit } else { *up & !bit };
            // A key that is struck again was released, even if no release came.
            let again = matches!(trigger, Trigger::Key(_)) || !was;
            if is && again && self.fired.len() < WAITING {
                self.fired.push(i);
            }
        }
        match message {
            Message::Event(event) if !mine => Some(event),
            _ => None,
        }
    }

    /// Those triggered since the last call, by their places in the list of triggers.
    pub fn fired(&mut self) -> impl Iterator<Item = usize> + use<'_> {
        self.fired.drain(..)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triggers_as_a_player_writes_them() {
        let read = |text: &str| text.parse::<Trigger>();
        for (text, trigger) in [
            ("controller 67", Trigger::Controller(67)),
            (" Controller  0 ", Trigger::Controller(0)),
            ("controller 119", Trigger::Controller(119)),
            ("key 108", Trigger::Key(108)),
            ("key 0", Trigger::Key(0)),
            ("key C8", Trigger::Key(108)),
            ("key c4", Trigger::Key(60)),
            ("KEY A0", Trigger::Key(21)),
            ("key F♯3", Trigger::Key(54)),
            ("key Bb3", Trigger::Key(58)),
            ("key C-1", Trigger::Key(0)),
            ("key G9", Trigger::Key(127)),
            ("key Cb4", Trigger::Key(59)),
        ] {
            assert_eq!(read(text), Ok(trigger), "{text}");
            assert_eq!(read(&trigger.to_string()), Ok(trigger));
        }
        for (text, error) in [
            ("", TriggerError::Neither("".into())),
            ("67", TriggerError::Neither("67".into())),
            ("pedal 67", TriggerError::Neither("pedal 67".into())),
            ("controller", TriggerError::Neither("controller".into())),
            ("controller soft", TriggerError::NoController("soft".into())),
            ("controller 128", TriggerError::NoController("128".into())),
            ("controller -1", TriggerError::NoController("-1".into())),
            ("controller 123", TriggerError::ChannelMode(123)),
            ("key 128", TriggerError::NoKey("128".into())),
            ("key H4", TriggerError::NoKey("H4".into())),
            ("key C", TriggerError::NoKey("C".into())),
            ("key G♯9", TriggerError::NoKey("G♯9".into())),
            (
                "key C99999999999",
                TriggerError::NoKey("C99999999999".into()),
            ),
        ] {
            assert_eq!(read(text), Err(error), "{text}");
        }
        assert_eq!(
            read("pedal").unwrap_err().to_string(),
            "'pedal' is neither a controller nor a key: write 'controller 67', 'key 108' or 'key C8'"
        );
    }

    #[test]
    fn a_job_is_set_off_once_and_is_no_music() {
        let mut jobs = Jobs::new(&[
            Trigger::Controller(67),
            Trigger::Key(108),
            Trigger::Controller(20),
        ]);
        let soft = |channel: usize, value| {
            let channel = Channel::ALL[channel];
            Message::Event(Event::Soft { channel, value })
        };
        let other = |number, value| Message::Controller {
            channel: Channel::ALL[0],
            number,
            value,
        };
        let fired = |jobs: &mut Jobs| jobs.fired().collect::<Vec<_>>();
        for value in [0, 30, 63, 64, 100, 127, 64, 63, 64, 0] {
            assert_eq!(jobs.pass(soft(0, value)), None);
        }
        assert_eq!(fired(&mut jobs), [0, 0], "through 64 twice");
        // Each channel by itself.
        assert_eq!(jobs.pass(soft(0, 127)), None);
        assert_eq!(jobs.pass(soft(1, 127)), None);
        assert_eq!(fired(&mut jobs), [0, 0]);
        let (channel, velocity) = (Channel::ALL[3], 1);
        for key in [107, 108] {
            let on = Event::NoteOn {
                channel,
                key,
                velocity,
            };
            let off = Event::NoteOff { channel, key };
            let music = key != 108;
            assert_eq!(jobs.pass(Message::Event(on)), music.then_some(on));
            assert_eq!(jobs.pass(Message::Event(on)), music.then_some(on));
            assert_eq!(jobs.pass(Message::Event(off)), music.then_some(off));
        }
        assert_eq!(fired(&mut jobs), [1, 1]);
        assert_eq!(jobs.pass(other(20, 127)), None);
        assert_eq!(jobs.pass(other(21, 127)), None, "no music either");
        let damper = Event::Damper {
            channel: Channel::ALL[0],
            value: 127,
        };
        assert_eq!(jobs.pass(Message::Event(damper)), Some(damper));
        assert_eq!(
            jobs.pass(Message::Event(Event::Release)),
            Some(Event::Release)
        );
        assert_eq!(fired(&mut jobs), [2]);
        // They are not fetched: only a limited number is kept.
        for i in 0..100 {
            jobs.pass(other(20, if i % 2 == 0 { 0 } else { 127 }));
        }
        assert_eq!(fired(&mut jobs).len(), WAITING);
        assert_eq!(Jobs::controllers(&jobs.triggers), 1 << 67 | 1 << 20);
    }
}
