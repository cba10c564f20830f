//! What sounds: keys held by the fingers, keys that only a pedal holds, and how
//! much of each is left.

use crate::midi::{Channel, Event, Keyboard, PERCUSSION};
use crate::theory::KeySet;
use crate::time::Time;

/// A value for each key of the keyboard.
#[derive(Clone, Debug)]
pub struct PerKey<T>([T; 128]);

impl<T: Copy> PerKey<T> {
    /// The same value for every key.
    pub fn all(value: T) -> PerKey<T> {
        PerKey([value; 128])
    }

    /// From the lowest key.
    pub fn iter(&self) -> impl Iterator<Item = (u8, &T)> {
        (0..).zip(&self.0)
    }
}

impl<T: Copy + Default> Default for PerKey<T> {
    fn default() -> PerKey<T> {
        PerKey::all(T::default())
    }
}

impl<T> std::ops::Index<u8> for PerKey<T> {
    type Output = T;
    fn index(&self, key: u8) -> &T {
        &self.0[usize::from(key & 127)]
    }
}

impl<T> std::ops::IndexMut<u8> for PerKey<T> {
    fn index_mut(&mut self, key: u8) -> &mut T {
        &mut self.0[usize::from(key & 127)]
    }
}

/// Which of the messages are music to the estimator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filter {
    /// Bit n for channel n (0-15) of every keyboard.
    pub channels: u16,
    /// Semitones added to every key.
    pub transpose: i8,
}

impl Default for Filter {
    /// Every channel but percussion, as written.
    fn default() -> Filter {
        Filter {
            channels: !PERCUSSION.number_bit(),
            transpose: 0,
        }
    }
}

/// Which of several keyboards are music to the estimator.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HarmonyFrom {
    #[default]
    All,
    One(Keyboard),
}

impl HarmonyFrom {
    /// The next choice, of a number of `keyboards`: all, each alone, all again.
    pub fn next(self, keyboards: usize) -> HarmonyFrom {
        let after = self.one().map_or(0, |one| one + 1);
        let next = Keyboard::ALL.get(after).filter(|_| after < keyboards);
        next.copied().map_or(HarmonyFrom::All, HarmonyFrom::One)
    }

    /// The index of the one keyboard, if it is one.
    pub fn one(self) -> Option<usize> {
        match self {
            HarmonyFrom::All => None,
            HarmonyFrom::One(keyboard) => Some(keyboard.index()),
        }
    }

    fn includes(self, keyboard: Keyboard) -> bool {
        match self {
            HarmonyFrom::All => true,
            HarmonyFrom::One(one) => one == keyboard,
        }
    }
}

/// How notes die away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Fading {
    /// As struck strings do: for the chord the bass long, the treble short; for the
    /// center alike in every register.
    #[default]
    Struck,
    /// Not at all while held: organ, strings.
    Sustained,
}

impl Fading {
    pub fn name(self) -> &'static str {
        match self {
            Fading::Struck => "struck",
            Fading::Sustained => "sustained",
        }
    }
}

/// Error: a name that no [`Fading`] has.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("unknown fading '{0}': write struck or sustained")]
pub struct UnknownFading(pub String);

impl std::str::FromStr for Fading {
    type Err = UnknownFading;
    fn from_str(s: &str) -> Result<Fading, UnknownFading> {
        [Fading::Struck, Fading::Sustained]
            .into_iter()
            .find(|f| f.name() == s)
            .ok_or_else(|| UnknownFading(s.into()))
    }
}

/// Seconds in which a struck string of this key falls to 1/e: about 9 s at the
/// bottom of the piano, 3 s in its middle, under 1 s at the top. Common
/// practice, no source: rounded from how long notes of a concert grand serve a
/// harmony, not from how long they can be measured.
fn fade_seconds(key: u8) -> f32 {
    9.0 * (-(f32::from(key) - 21.0).max(0.0) / 36.0).exp()
}

/// The damper counts as down from here on …
const DAMPER_DOWN: u8 = 64;
/// … and as up only below here, so that a foot fluttering through half way does not cut the bass.
const DAMPER_UP: u8 = 48;

#[derive(Clone, Copy, Debug, Default)]
struct ChannelState {
    held: KeySet,
    /// Released while the damper was down.
    damped: KeySet,
    /// Caught by the sostenuto pedal.
    caught: KeySet,
    damper: bool,
    sostenuto: bool,
}

impl ChannelState {
    /// What still sounds after the fingers left.
    fn pedalled(&self) -> KeySet {
        (self.damped | self.caught) & !self.held
    }
}

/// One key that sounds.
#[derive(Clone, Copy, Debug, Default)]
pub struct Strike {
    /// When it was struck.
    pub at: Time,
    /// What is left of it, 1 at the onset.
    pub left: f32,
}

/// All keys of all channels that count.
#[derive(Clone, Debug)]
pub struct Keys {
    filter: Filter,
    harmony_from: HarmonyFrom,
    fading: Fading,
    channels: [ChannelState; Channel::COUNT],
    strikes: [Strike; 128],
    held: KeySet,
    pedalled: KeySet,
    /// What a key keeps over one grid step.
    fade: [f32; 128],
}

/// The effect of an event on the keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    Struck(u8),
    /// Something stopped sounding, or went from finger to pedal.
    Released,
    Nothing,
}

impl Keys {
    /// `step`: the grid on which [`Keys::fade`] will be called.
    pub fn new(step: Time) -> Keys {
        let mut fade = [0.0; 128];
        for (key, f) in fade.iter_mut().enumerate() {
            *f = (-step.seconds() as f32 / fade_seconds(key as u8)).exp();
        }
        Keys {
            filter: Filter::default(),
            harmony_from: HarmonyFrom::All,
            fading: Fading::Struck,
            channels: [ChannelState::default(); Channel::COUNT],
            strikes: [Strike::default(); 128],
            held: KeySet::EMPTY,
            pedalled: KeySet::EMPTY,
            fade,
        }
    }

    /// Keys under the fingers.
    pub fn held(&self) -> KeySet {
        self.held
    }

    /// Keys that only a pedal holds.
    pub fn pedalled(&self) -> KeySet {
        self.pedalled
    }

    /// Held or pedalled keys.
    pub fn sounding(&self) -> KeySet {
        self.held | self.pedalled
    }

    pub fn strike(&self, key: u8) -> Strike {
        self.strikes[key as usize & 127]
    }

    /// Whether the damper of any channel that counts is down.
    pub fn damper(&self) -> bool {
        Channel::ALL
            .iter()
            .any(|&c| self.counts(c) && self.channels[c.index()].damper)
    }

    /// Changing the filter releases everything: keys that sounded may no longer count.
    pub fn set_filter(&mut self, filter: Filter) {
        if filter != self.filter {
            self.filter = filter;
            self.release_all();
        }
    }

    pub fn harmony_from(&self) -> HarmonyFrom {
        self.harmony_from
    }

    /// Keys of a keyboard that no longer counts are released.
    pub fn set_harmony_from(&mut self, from: HarmonyFrom) {
        self.harmony_from = from;
        self.release(|keyboard| !from.includes(keyboard));
    }

    pub fn fading(&self) -> Fading {
        self.fading
    }

    pub fn set_fading(&mut self, fading: Fading) {
        self.fading = fading;
    }

    fn counts(&self, channel: Channel) -> bool {
        self.filter.channels & channel.number_bit() != 0
            && self.harmony_from.includes(channel.keyboard())
    }

    fn key(&self, key: u8) -> Option<u8> {
        u8::try_from(i16::from(key) + i16::from(self.filter.transpose))
            .ok()
            .filter(|&k| k < 128)
    }

    fn release_all(&mut self) {
        self.release(|_| true);
    }

    fn release(&mut self, of: impl Fn(Keyboard) -> bool) {
        for (channel, state) in Channel::ALL.into_iter().zip(&mut self.channels) {
            if of(channel.keyboard()) {
                *state = ChannelState::default();
            }
        }
        self.sum();
    }

    fn sum(&mut self) {
        self.held = self.channels.iter().map(|c| c.held).collect();
        let pedalled: KeySet = self.channels.iter().map(ChannelState::pedalled).collect();
        self.pedalled = pedalled & !self.held;
    }

    /// One event.
    pub fn on_event(&mut self, at: Time, event: Event) -> Happened {
        if event.channel().is_some_and(|c| !self.counts(c)) {
            return Happened::Nothing;
        }
        let before = (self.held, self.pedalled);
        match event {
            Event::NoteOn { channel, key, .. } => {
                let Some(key) = self.key(key) else {
                    return Happened::Nothing;
                };
                let c = &mut self.channels[channel.index()];
                c.held |= KeySet::of(key);
                c.damped &= !KeySet::of(key);
                self.strikes[key as usize] = Strike { at, left: 1.0 };
                self.sum();
                return Happened::Struck(key);
            }
            Event::NoteOff { channel, key } => {
                let Some(key) = self.key(key) else {
                    return Happened::Nothing;
                };
                let c = &mut self.channels[channel.index()];
                let bit = KeySet::of(key);
                if c.held.contains(key) && c.damper {
                    c.damped |= bit;
                }
                c.held &= !bit;
            }
            Event::Damper { channel, value } => {
                let c = &mut self.channels[channel.index()];
                if value >= DAMPER_DOWN {
                    c.damper = true;
                } else if value < DAMPER_UP {
                    c.damper = false;
                    c.damped = KeySet::EMPTY;
                }
            }
            Event::Sostenuto { channel, value } => {
                let c = &mut self.channels[channel.index()];
                if value >= DAMPER_DOWN {
                    if !c.sostenuto {
                        // It catches the keys that are down at that moment, and no others.
                        c.caught = c.held;
                        c.sostenuto = true;
                    }
                } else {
                    c.sostenuto = false;
                    c.caught = KeySet::EMPTY;
                }
            }
            Event::Soft { .. } => {}
            Event::AllSoundOff { channel } => {
                let c = &mut self.channels[channel.index()];
                (c.held, c.damped, c.caught) = (KeySet::EMPTY, KeySet::EMPTY, KeySet::EMPTY);
            }
            Event::ResetControllers { channel } => {
                let c = &mut self.channels[channel.index()];
                (c.damped, c.caught) = (KeySet::EMPTY, KeySet::EMPTY);
                (c.damper, c.sostenuto) = (false, false);
            }
            Event::AllNotesOff { channel } => {
                let c = &mut self.channels[channel.index()];
                if c.damper {
                    c.damped |= c.held;
                }
                c.held = KeySet::EMPTY;
            }
            Event::Release => self.release_all(),
            Event::ReleaseKeyboard { keyboard } => self.release(|k| k == keyboard),
        }
        self.sum();
        if before == (self.held, self.pedalled) {
            Happened::Nothing
        } else {
            Happened::Released
        }
    }

    /// One grid step of dying away.
    pub fn fade(&mut self) {
        if self.fading == Fading::Sustained {
            return;
        }
        for key in (self.held | self.pedalled).iter() {
            self.strikes[key as usize].left *= self.fade[key as usize];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(events: &[Event]) -> Keys {
        let mut k = Keys::new(Time::millis(100));
        for (i, e) in events.iter().enumerate() {
            k.on_event(Time(i as u64), *e);
        }
        k
    }
    fn on(key: u8) -> Event {
        Event::NoteOn {
            channel: Channel::ALL[0],
            key,
            velocity: 80,
        }
    }
    fn off(key: u8) -> Event {
        Event::NoteOff {
            channel: Channel::ALL[0],
            key,
        }
    }
    fn damper(value: u8) -> Event {
        Event::Damper {
            channel: Channel::ALL[0],
            value,
        }
    }
    fn sostenuto(value: u8) -> Event {
        Event::Sostenuto {
            channel: Channel::ALL[0],
            value,
        }
    }

    // What CC 64, 66, 120, 121 and 123 do: MIDI 1.0 Detailed Specification and
    // RP-015, section numbers from memory.
    #[test]
    fn the_damper_holds_what_is_let_go() {
        let k = keys(&[on(60), damper(127), off(60), on(64), off(64)]);
        assert_eq!(
            (k.held(), k.pedalled()),
            (KeySet::EMPTY, KeySet::of(60) | KeySet::of(64))
        );
        assert_eq!(
            keys(&[on(60), damper(127), off(60), damper(0)]).sounding(),
            KeySet::EMPTY
        );
        assert_eq!(
            keys(&[damper(63), on(60), off(60)]).sounding(),
            KeySet::EMPTY,
            "63 is up"
        );
        assert_eq!(
            keys(&[damper(64), on(60), off(60)]).sounding(),
            KeySet::of(60),
            "64 is down"
        );
    }

    #[test]
    fn a_fluttering_foot_does_not_cut_the_bass() {
        let k = keys(&[
            on(36),
            damper(90),
            off(36),
            damper(60),
            damper(66),
            damper(58),
        ]);
        assert_eq!(k.sounding(), KeySet::of(36));
        assert_eq!(
            keys(&[on(36), damper(90), off(36), damper(40)]).sounding(),
            KeySet::EMPTY
        );
    }

    #[test]
    fn sostenuto_catches_only_what_is_down() {
        let k = keys(&[on(36), sostenuto(127), on(60), off(60), off(36)]);
        assert_eq!(k.sounding(), KeySet::of(36));
        let k = keys(&[on(36), sostenuto(127), off(36), sostenuto(0)]);
        assert_eq!(k.sounding(), KeySet::EMPTY);
    }

    #[test]
    fn the_channel_mode_messages() {
        let all_notes_off = Event::AllNotesOff {
            channel: Channel::ALL[0],
        };
        let k = keys(&[damper(127), on(60), on(64), all_notes_off]);
        assert_eq!(
            (k.held(), k.pedalled()),
            (KeySet::EMPTY, KeySet::of(60) | KeySet::of(64)),
            "123 leaves the pedal's"
        );
        let k = keys(&[
            damper(127),
            on(60),
            Event::AllSoundOff {
                channel: Channel::ALL[0],
            },
        ]);
        assert_eq!(k.sounding(), KeySet::EMPTY);
        let k = keys(&[
            damper(127),
            on(60),
            off(60),
            on(64),
            Event::ResetControllers {
                channel: Channel::ALL[0],
            },
        ]);
        assert_eq!((k.held(), k.pedalled()), (KeySet::of(64), KeySet::EMPTY));
        assert_eq!(
            keys(&[damper(127), on(60), off(60), Event::Release]).sounding(),
            KeySet::EMPTY
        );
    }

    #[test]
    fn percussion_and_deaf_channels_do_not_count() {
        let drum = Event::NoteOn {
            channel: PERCUSSION,
            key: 60,
            velocity: 90,
        };
        assert_eq!(keys(&[drum]).sounding(), KeySet::EMPTY);
        let mut k = Keys::new(Time::millis(100));
        k.set_filter(Filter {
            channels: 1,
            transpose: 3,
        });
        k.on_event(Time(0), on(60));
        k.on_event(Time(0), on(126));
        k.on_event(
            Time(0),
            Event::NoteOn {
                channel: Channel::ALL[1],
                key: 50,
                velocity: 9,
            },
        );
        assert_eq!(k.sounding(), KeySet::of(63));
    }

    #[test]
    fn the_bass_outlives_the_treble() {
        let mut k = keys(&[on(36), on(96)]);
        for _ in 0..20 {
            k.fade();
        }
        assert!(k.strike(36).left > 4.0 * k.strike(96).left);
    }
}
