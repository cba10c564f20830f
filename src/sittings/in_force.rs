//! What a sitting begins with: the settings and pedals in force when its first note sounds.

use crate::engine::Event;
use crate::midi;
use std::mem::discriminant;

/// Settings, what the player has said, and the pedals that are down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InForce(Vec<Event>);

impl InForce {
    /// Takes an event that happened.
    pub fn take(&mut self, event: Event) {
        use midi::Event::{Damper, Release, ResetControllers, Soft, Sostenuto};
        match event {
            Event::Midi(Release) => self.0.retain(|e| !matches!(e, Event::Midi(_))),
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

    /// In the order in which they came.
    pub fn events(&self) -> impl Iterator<Item = Event> + '_ {
        self.0.iter().copied()
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
