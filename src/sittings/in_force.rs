//! What a sitting begins with: the settings and pedals in force when its first note sounds.

use crate::engine::Event;
use crate::midi::{self, Keyboard};
use crate::time::Time;
use std::mem::discriminant;

/// Settings, what the player has said, and the pedals that are down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InForce(Vec<Event>);

impl InForce {
    /// Takes an event that happened.
    pub fn take(&mut self, event: Event) {
        use midi::Event::{Damper, Release, ReleaseKeyboard, ResetControllers, Soft, Sostenuto};
        match event {
            Event::Midi(Release) => self.0.retain(|e| !matches!(e, Event::Midi(_))),
            Event::Midi(ReleaseKeyboard { keyboard }) => self.0.retain(|e| match e {
                Event::Midi(pedal) => pedal.keyboard() != Some(keyboard),
                _ => true,
            }),
            Event::Midi(ResetControllers { channel }) => self.0.retain(|e| match e {
                Event::Midi(pedal) => pedal.channel() != Some(channel),
                _ => true,
            }),
            Event::Midi(
                pedal @ (Damper { channel, value }
                | Sostenuto { channel, value }
                | Soft { channel, value }),
            ) => {
                self.0.retain(|e| match e {
                    Event::Midi(other) => {
                        discriminant(other) != discriminant(&pedal)
                            || other.channel() != Some(channel)
                    }
                    _ => true,
                });
                if value > 0 {
                    self.0.push(event);
                }
            }
            Event::Midi(_) => {}
            _ => {
                self.0.retain(|e| discriminant(e) != discriminant(&event));
                self.0.push(event);
            }
        }
    }

    /// In the order in which they came, but those of later keyboards behind the others.
    pub fn events(&self) -> impl Iterator<Item = Event> + '_ {
        let mut all = self.0.clone();
        all.sort_by_key(|&event| from(event));
        all.into_iter()
    }

    /// How long before the first note they are written: in a file with a track for each keyboard
    /// what several say at one time has the order of the tracks.
    pub fn lead(&self) -> Time {
        let later = self.0.iter().any(|&event| from(event) != Keyboard::FIRST);
        Time(u64::from(later))
    }
}

/// The keyboard whose track an event is written to.
fn from(event: Event) -> Keyboard {
    match event {
        Event::Midi(midi) => midi.keyboard().unwrap_or(Keyboard::FIRST),
        _ => Keyboard::FIRST,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Aside, Inertia};

    #[test]
    fn the_last_of_each_is_in_force() {
        let damper = |channel: usize, value| {
            Event::Midi(midi::Event::Damper {
                channel: midi::Channel::ALL[channel],
                value,
            })
        };
        let mut all = InForce::default();
        for event in [
            Event::Inertia(Inertia::Chord),
            damper(0, 90),
            damper(1, 90),
            Event::Aside(Aside::Begins),
            damper(0, 64),
            Event::Inertia(Inertia::Phrase),
            damper(1, 0),
        ] {
            all.take(event);
        }
        let left = [
            Event::Aside(Aside::Begins),
            damper(0, 64),
            Event::Inertia(Inertia::Phrase),
        ];
        assert_eq!(all.events().collect::<Vec<_>>(), left);
        all.take(Event::Midi(midi::Event::Release));
        assert_eq!(all.events().count(), 2);
    }
}
