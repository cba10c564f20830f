//! What stands behind the screen: a keyboard or a file.

use crate::engine::{Event, History, Inertia, Reading};
use crate::live::{self, Feed, Listener, Order, Player};
use crate::plan::Marker;
use crate::screen::{Intent, Link, Source, Stage, Transport};
use crate::time::Time;
use crossbeam_channel::Receiver;
use std::time::Duration;

/// The seam between the screen and whoever plays.
pub struct Desk {
    player: Who,
    markers: Vec<Marker>,
    recording: Option<String>,
    /// A line of our own, shown until the way in has one.
    notice: Option<String>,
    /// The first repeat point, while the second is not set.
    repeat_from: Option<Time>,
    idle: Reading,
}

enum Who {
    Keyboard(Listener),
    File(Player),
}

impl Desk {
    pub fn keyboard(listener: Listener, recording: Option<String>, idle: Reading) -> Desk {
        Desk::new(Who::Keyboard(listener), recording, None, idle)
    }

    pub fn file(player: Player, notice: Option<String>, idle: Reading) -> Desk {
        Desk::new(Who::File(player), None, notice, idle)
    }

    fn new(
        player: Who,
        recording: Option<String>,
        notice: Option<String>,
        idle: Reading,
    ) -> Desk {
        Desk { player, markers: Vec::new(), recording, notice, repeat_from: None, idle }
    }

    fn feed(&self) -> &Feed {
        match &self.player {
            Who::Keyboard(l) => &l.feed,
            Who::File(p) => &p.feed,
        }
    }

    fn order(&self, order: Order) {
        if let Who::File(p) = &self.player {
            p.order(order);
        }
    }

    fn set_inertia(&self, inertia: Inertia) {
        match &self.player {
            Who::Keyboard(l) => l.set(Event::Inertia(inertia)),
            Who::File(p) => p.order(Order::Set(Event::Inertia(inertia))),
        }
    }

    fn repeat(&mut self) {
        let Who::File(p) = &self.player else { return };
        let at = p.position();
        match (at.repeat, self.repeat_from.take()) {
            (Some(_), _) => p.order(Order::Repeat(None)),
            (None, None) => self.repeat_from = Some(at.at),
            (None, Some(from)) => p.order(Order::Repeat(Some((from, at.at)))),
        }
    }
}

/// The paces that one key steps through.
const SPEEDS: [f32; 7] = [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0];

impl Stage for Desk {
    fn reading(&mut self) -> Reading {
        self.feed().reading().unwrap_or(self.idle)
    }

    fn history(&mut self) -> &History {
        let now = self.now();
        let feed = match &mut self.player {
            Who::Keyboard(l) => &mut l.feed,
            Who::File(p) => &mut p.feed,
        };
        let history = feed.history();
        history.advance_to(now);
        history
    }

    fn markers(&self) -> &[Marker] {
        &self.markers
    }

    fn source(&mut self) -> Source {
        let status = self.feed().status();
        let transport = match &self.player {
            Who::Keyboard(_) => None,
            Who::File(p) => {
                let at = p.position();
                Some(Transport {
                    position: at.at,
                    duration: at.duration,
                    speed: at.speed,
                    paused: at.paused,
                    ended: at.ended,
                    repeat: match at.repeat {
                        Some((a, b)) => (Some(a), Some(b)),
                        None => (self.repeat_from, None),
                    },
                })
            }
        };
        Source {
            name: status.name,
            link: match status.link {
                live::Link::Keyboard => Link::Keyboard,
                live::Link::Lost => Link::Lost,
                live::Link::None => Link::None,
                live::Link::File => Link::File,
            },
            transport,
            recording: self.recording.clone(),
            dropped: status.dropped,
            notice: status.notice.or_else(|| self.notice.clone()),
        }
    }

    fn now(&self) -> Time {
        match &self.player {
            Who::Keyboard(l) => l.now(),
            Who::File(p) => p.position().at,
        }
    }

    fn act(&mut self, intent: Intent) {
        match intent {
            Intent::Inertia(i) => self.set_inertia(i),
            Intent::Mark => {
                let name = format!("{}", self.markers.len() + 1);
                self.markers.push(Marker { at: self.now(), name });
            }
            Intent::Repeat => self.repeat(),
            Intent::Pause => {
                if let Who::File(p) = &self.player {
                    let at = p.position();
                    if at.ended {
                        p.order(Order::Seek(Time::ZERO));
                    } else {
                        p.order(Order::Pause(!at.paused));
                    }
                }
            }
            Intent::Seek(seconds) => {
                if let Who::File(p) = &self.player {
                    let at = p.position().at.seconds() + f64::from(seconds);
                    p.order(Order::Seek(Time::from_seconds(at)));
                }
            }
            Intent::Speed(faster) => {
                if let Who::File(p) = &self.player {
                    let now = p.position().speed;
                    let next = if faster {
                        SPEEDS.into_iter().find(|&s| s > now + 0.01)
                    } else {
                        SPEEDS.into_iter().rev().find(|&s| s < now - 0.01)
                    };
                    if let Some(speed) = next {
                        self.order(Order::Speed(speed));
                    }
                }
            }
        }
    }

    fn news(&self) -> &Receiver<()> {
        self.feed().news()
    }

    fn failed(&mut self) -> Option<String> {
        self.feed().status().failed
    }

    fn patience(&self) -> Duration {
        // Ages are told by the second; before the first note there are none.
        match self.feed().reading() {
            Some(r) if r.begun => Duration::from_secs(1),
            _ => Duration::from_secs(3600),
        }
    }
}
