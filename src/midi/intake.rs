//! From the thread of a MIDI port to ours: a bounded channel that never loses a release.
//!
//! The port's thread must not wait. When the reader is slow and the channel fills, notes are
//! refused first, so that room is left for releases; when that is full too, releases are noted in
//! a table. Everything carries a stamp, by which the reader restores the order of what comes
//! through the channel and through the table. So no released key hangs, whatever the load, and no
//! held key is cut short; refused notes are counted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::SeqCst};

use crossbeam_channel::{Receiver, Sender, TrySendError, bounded};

use super::event::{Channel, Event, Keyboard, Timed};
use super::trigger::{Jobs, Message, Trigger};
use super::wire::{Sensing, Wire, WireEvent};
use crate::time::Time;

/// Makes both ends. `capacity` is in events, at least 8; a quarter is reserved for releases.
/// `clock` gives the time of the stream that the events belong to. Keys and controllers with one
/// of the `jobs` are not handed out as music: see [`IntakeReceiver::fired`]. Where there is one
/// keyboard, what concerns it concerns everything: [`Event::Release`].
pub fn intake(
    capacity: usize,
    jobs: &[Trigger],
    keyboards: Keyboards,
    clock: impl Fn() -> Time + Send + Sync + 'static,
) -> (IntakeSender, IntakeReceiver) {
    let capacity = capacity.max(8);
    let (sender, receiver) = bounded(capacity);
    let shared = Arc::new(Shared {
        clock: Box::new(clock),
        stamp: AtomicU64::new(0),
        refused: AtomicU64::new(0),
        late: AtomicBool::new(false),
        late_keys: [const { AtomicU64::new(0) }; KEYS],
        keyboards,
        late_all: [const { AtomicU64::new(0) }; Keyboard::COUNT],
        heard: [const { AtomicU64::new(0) }; Keyboard::COUNT],
        sensing: [const { AtomicBool::new(false) }; Keyboard::COUNT],
    });
    let controllers = Jobs::controllers(jobs);
    let sender = IntakeSender {
        keyboard: Keyboard::FIRST,
        wire: Wire::with_controllers(controllers),
        controllers,
        sender,
        reserve: capacity / 4,
        shared: shared.clone(),
    };
    let receiver = IntakeReceiver {
        receiver,
        shared,
        jobs: Jobs::new(jobs),
        pending: Vec::with_capacity(KEYS + Keyboard::COUNT),
        sensing: [Sensing::new(); Keyboard::COUNT],
        heard: [Time::ZERO; Keyboard::COUNT],
    };
    (sender, receiver)
}

/// Whether one keyboard is connected at a time, or several.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keyboards {
    One,
    Several,
}

impl Keyboards {
    /// What releases all that this keyboard holds.
    fn release(self, keyboard: Keyboard) -> Event {
        match self {
            Keyboards::One => Event::Release,
            Keyboards::Several => Event::ReleaseKeyboard { keyboard },
        }
    }
}

/// Keys of all channels.
const KEYS: usize = Channel::COUNT * 128;

/// An event on its way. [`IntakeReceiver::accept`] tells what it is.
#[derive(Clone, Copy, Debug)]
pub struct Incoming {
    stamp: Stamp,
    message: Message,
}

/// The time, and in the lowest bits the order of events at one time. Never zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Stamp(u64);

impl Stamp {
    /// How many bits count the events within one tick of 20 µs; further events are put into the
    /// next tick.
    const BITS: u32 = 12;

    fn at(self) -> Time {
        Time(self.0 >> Stamp::BITS)
    }
}

struct Shared {
    clock: Box<dyn Fn() -> Time + Send + Sync>,
    /// The stamp given last.
    stamp: AtomicU64,
    refused: AtomicU64,
    /// Whether there may be something in the table below.
    late: AtomicBool,
    /// The table: for each key the stamp of a release that found the channel full, or 0.
    late_keys: [AtomicU64; KEYS],
    keyboards: Keyboards,
    /// For each keyboard the same for releases of more than one key.
    late_all: [AtomicU64; Keyboard::COUNT],
    /// For each keyboard when its last bytes came.
    heard: [AtomicU64; Keyboard::COUNT],
    /// Whether active sensing came from it since the receiver last looked.
    sensing: [AtomicBool; Keyboard::COUNT],
}

impl Shared {
    fn stamp(&self, at: Time) -> Stamp {
        self.stamp.fetch_max(at.0 << Stamp::BITS, SeqCst);
        Stamp(self.stamp.fetch_add(1, SeqCst) + 1)
    }
}

/// The port's end, called on its thread. Neither waits nor allocates.
pub struct IntakeSender {
    keyboard: Keyboard,
    wire: Wire,
    /// Controllers that have a job, bit n for controller n.
    controllers: u128,
    sender: Sender<Incoming>,
    reserve: usize,
    shared: Arc<Shared>,
}

impl IntakeSender {
    /// Takes in the next bytes of the connection.
    pub fn bytes(&mut self, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        let at = (self.shared.clock)();
        let IntakeSender {
            keyboard,
            wire,
            sender,
            reserve,
            shared,
            ..
        } = self;
        let keyboard = *keyboard;
        // Set before the flag `sensing`, so that the receiver never pairs the flag with an older time.
        shared.heard[keyboard.index()].fetch_max(at.0, SeqCst);
        let send = |message| {
            let stamp = shared.stamp(at);
            put(
                sender,
                *reserve,
                shared,
                keyboard,
                Incoming { stamp, message },
            );
        };
        wire.feed(bytes, &mut |message| match message {
            WireEvent::ActiveSensing => shared.sensing[keyboard.index()].store(true, SeqCst),
            WireEvent::Event(Event::Release) => {
                send(Message::Event(shared.keyboards.release(keyboard)));
            }
            WireEvent::Event(event) => send(Message::Event(event.of(keyboard))),
            WireEvent::Controller {
                channel,
                number,
                value,
            } => send(Message::Controller {
                channel: channel.of(keyboard),
                number,
                value,
            }),
        });
    }

    /// The connection is gone: releases everything of it, after all that it has sent.
    pub fn release(&self) {
        let stamp = self.shared.stamp((self.shared.clock)());
        let message = Message::Event(self.shared.keyboards.release(self.keyboard));
        put(
            &self.sender,
            self.reserve,
            &self.shared,
            self.keyboard,
            Incoming { stamp, message },
        );
    }

    /// A sender for the next connection of a keyboard: on the same channel, with a fresh parser.
    pub fn another(&self, keyboard: Keyboard) -> IntakeSender {
        IntakeSender {
            keyboard,
            wire: Wire::with_controllers(self.controllers),
            controllers: self.controllers,
            sender: self.sender.clone(),
            reserve: self.reserve,
            shared: self.shared.clone(),
        }
    }
}

fn put(
    sender: &Sender<Incoming>,
    reserve: usize,
    shared: &Shared,
    keyboard: Keyboard,
    incoming: Incoming,
) {
    let release = match incoming.message {
        Message::Event(event) => event.releases(),
        Message::Controller { .. } => false,
    };
    let places = sender.capacity().unwrap_or(usize::MAX) - sender.len();
    if !release && places <= reserve {
        shared.refused.fetch_add(1, SeqCst);
        return;
    }
    match sender.try_send(incoming) {
        Ok(()) | Err(TrySendError::Disconnected(_)) => return,
        Err(TrySendError::Full(_)) if !release => {
            shared.refused.fetch_add(1, SeqCst);
            return;
        }
        Err(TrySendError::Full(_)) => {}
    }
    let place = match incoming.message {
        Message::Event(Event::NoteOff { channel, key }) => shared
            .late_keys
            .get(channel.index() * 128 + usize::from(key)),
        _ => None,
    };
    place
        .unwrap_or(&shared.late_all[keyboard.index()])
        .fetch_max(incoming.stamp.0, SeqCst);
    shared.late.store(true, SeqCst);
    // If the reader has emptied the channel meanwhile, nothing makes it look at the table: so try
    // once more. If the channel is still full, the reader looks at the table after the events in
    // it. A release that arrives twice in a row does no harm.
    let _ = sender.try_send(incoming);
}

/// The reader's end.
pub struct IntakeReceiver {
    receiver: Receiver<Incoming>,
    shared: Arc<Shared>,
    /// Releases from the table that are not due yet, the latest first.
    pending: Vec<Incoming>,
    jobs: Jobs,
    /// For each keyboard.
    sensing: [Sensing; Keyboard::COUNT],
    /// The time of the last bytes that `sensing` has seen.
    heard: [Time; Keyboard::COUNT],
}

impl IntakeReceiver {
    /// The channel, to wait on or select; pass what it gives to [`accept`](IntakeReceiver::accept).
    pub fn receiver(&self) -> &Receiver<Incoming> {
        &self.receiver
    }

    /// How many events were refused so far; releases never are.
    pub fn dropped(&self) -> u64 {
        self.shared.refused.load(SeqCst)
    }

    /// The jobs triggered by what was accepted since the last call, by their places in the list
    /// given to [`intake`].
    pub fn fired(&mut self) -> impl Iterator<Item = usize> + use<'_> {
        self.jobs.fired()
    }

    /// Hands out an event from the channel, and with it, in order of time, late releases and what
    /// must come before them; what has a job is left out.
    pub fn accept(&mut self, incoming: Incoming, mut hear: impl FnMut(Timed)) {
        let mut next = Some(incoming);
        loop {
            // Looked up after taking `next`, so that what the sender noted before it is seen.
            self.look_up();
            // If the channel is empty, everything before the late releases has been handed out.
            let due = |late: &Incoming| next.is_none_or(|next| late.stamp <= next.stamp);
            while let Some(late) = self.pending.pop_if(|late| due(late)) {
                self.pass(late).into_iter().for_each(&mut hear);
            }
            match next {
                Some(incoming) => self.pass(incoming).into_iter().for_each(&mut hear),
                None => return,
            }
            if self.pending.is_empty() {
                return;
            }
            next = self.receiver.try_recv().ok();
        }
    }

    fn pass(&mut self, incoming: Incoming) -> Option<Timed> {
        let event = self.jobs.pass(incoming.message)?;
        let at = incoming.stamp.at();
        Some(Timed { at, event })
    }

    /// Moves the table's releases into `pending`.
    fn look_up(&mut self) {
        if !self.shared.late.swap(false, SeqCst) {
            return;
        }
        let take = |place: &AtomicU64| match place.load(SeqCst) {
            0 => None,
            _ => Some(Stamp(place.swap(0, SeqCst))),
        };
        let channels = self.shared.late_keys.chunks(128);
        for (channel, keys) in Channel::ALL.into_iter().zip(channels) {
            for (key, place) in (0..).zip(keys) {
                if let Some(stamp) = take(place) {
                    let message = Message::Event(Event::NoteOff { channel, key });
                    self.pending.push(Incoming { stamp, message });
                }
            }
        }
        for (keyboard, place) in Keyboard::ALL.into_iter().zip(&self.shared.late_all) {
            if let Some(stamp) = take(place) {
                let message = Message::Event(self.shared.keyboards.release(keyboard));
                self.pending.push(Incoming { stamp, message });
            }
        }
        self.pending
            .sort_unstable_by_key(|late| std::cmp::Reverse(late.stamp));
    }

    /// What releases a keyboard that does active sensing and has been silent for more than
    /// 300 ms: each once.
    pub fn silent(&mut self, now: Time) -> impl Iterator<Item = Event> + use<> {
        self.listen();
        let keyboards = self.shared.keyboards;
        let expired = self.sensing.each_mut().map(|sensing| sensing.expired(now));
        let expired = Keyboard::ALL.into_iter().zip(expired).filter(|(_, is)| *is);
        expired.map(move |(keyboard, _)| keyboards.release(keyboard))
    }

    /// When to ask [`silent`](IntakeReceiver::silent) next, if active sensing has begun.
    pub fn silent_from(&mut self) -> Option<Time> {
        self.listen();
        self.sensing.iter().filter_map(Sensing::deadline).min()
    }

    fn listen(&mut self) {
        let shared = self.shared.sensing.iter().zip(&self.shared.heard);
        for ((sensing, at), mine) in self.sensing.iter_mut().zip(&mut self.heard).zip(shared) {
            let (told, heard) = mine;
            let (told, heard) = (told.swap(false, SeqCst), Time(heard.load(SeqCst)));
            if told || heard > *at {
                *at = heard;
                match told {
                    true => sensing.sensed(heard),
                    false => sensing.heard(heard),
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::{HashMap, HashSet};
    use std::thread;
    use std::time::Duration;

    /// A clock that goes on by a tick whenever it is asked.
    fn counter() -> impl Fn() -> Time + Send + Sync + 'static {
        let count = AtomicU64::new(0);
        move || Time(count.fetch_add(1, SeqCst))
    }

    fn drain(receiver: &mut IntakeReceiver) -> Vec<Timed> {
        let mut out = Vec::new();
        while let Ok(incoming) = receiver.receiver().try_recv() {
            receiver.accept(incoming, |t| out.push(t));
        }
        out
    }

    #[test]
    fn notes_are_refused_first_and_releases_never() {
        let (mut sender, mut receiver) = intake(8, &[], Keyboards::One, counter());
        for key in 0..10 {
            sender.bytes(&[0x90, key, 64]);
        }
        assert_eq!(receiver.dropped(), 4, "a quarter is kept");
        for key in 0..10 {
            sender.bytes(&[0x80, key, 64]);
        }
        assert_eq!(receiver.dropped(), 4);
        let (channel, velocity) = (Channel::ALL[0], 64);
        let ons = (0..6).map(|key| Event::NoteOn {
            channel,
            key,
            velocity,
        });
        let offs = (0..10).map(|key| Event::NoteOff { channel, key });
        let times = (0..6).chain(10..20).map(Time);
        let expected: Vec<_> = times
            .zip(ons.chain(offs))
            .map(|(at, event)| Timed { at, event })
            .collect();
        assert_eq!(drain(&mut receiver), expected);
        assert_eq!(drain(&mut receiver), []);
    }

    #[test]
    fn order_within_one_time() {
        let (mut sender, mut receiver) = intake(8, &[], Keyboards::One, || Time(7));
        // Off and on again in one packet, the channel filling up on the way.
        let packet: Vec<u8> = (0..12).flat_map(|_| [0x90, 60, 64, 0x90, 60, 0]).collect();
        sender.bytes(&packet);
        let out = drain(&mut receiver);
        assert!(out.iter().all(|t| t.at == Time(7)));
        assert_eq!(
            out.last().unwrap().event,
            Event::NoteOff {
                channel: Channel::ALL[0],
                key: 60
            }
        );
    }

    #[test]
    fn a_pedal_that_does_not_fit_releases_everything() {
        let (mut sender, mut receiver) = intake(8, &[], Keyboards::One, counter());
        for _ in 0..20 {
            sender.bytes(&[0xb0, 64, 0]);
        }
        let last = Timed {
            at: Time(19),
            event: Event::Release,
        };
        assert_eq!(drain(&mut receiver).last(), Some(&last));
    }

    #[test]
    fn a_release_keeps_its_place_among_the_notes() {
        let (mut sender, mut receiver) = intake(8, &[], Keyboards::One, || Time(3));
        sender.bytes(&[0x90, 60, 64]);
        sender.release();
        sender.another(Keyboard::FIRST).bytes(&[0x90, 62, 64]);
        let keys: Vec<_> = drain(&mut receiver)
            .into_iter()
            .map(|t| match t.event {
                Event::NoteOn { key, .. } => Some(key),
                _ => None,
            })
            .collect();
        assert_eq!(keys, [Some(60), None, Some(62)]);
        // Nor is it lost when there is no room.
        for _ in 0..20 {
            sender.bytes(&[0x80, 60, 0]);
        }
        sender.release();
        let last = drain(&mut receiver).pop().map(|t| t.event);
        assert_eq!(last, Some(Event::Release));
    }

    #[test]
    fn active_sensing_arms_the_receiver() {
        let now = Arc::new(AtomicU64::new(0));
        let clock = now.clone();
        let (mut sender, mut receiver) =
            intake(8, &[], Keyboards::One, move || Time(clock.load(SeqCst)));
        let ms = Time::millis;
        sender.bytes(&[0x90, 60, 64]);
        assert_eq!(receiver.silent_from(), None);
        now.store(ms(1_000).0, SeqCst);
        sender.bytes(&[0xfe]);
        assert_eq!(receiver.silent(ms(1_300)).count(), 0);
        now.store(ms(1_200).0, SeqCst);
        sender.bytes(&[0xf8]);
        assert_eq!(receiver.silent(ms(1_500)).count(), 0, "any byte counts");
        assert_eq!(receiver.silent(ms(1_530)).count(), 1);
        assert_eq!(receiver.silent(ms(1_540)).count(), 0, "once");
        sender.another(Keyboard::FIRST).bytes(&[0xfe]);
        assert!(receiver.silent_from().is_some());
    }

    /// Under a flood too nothing of a key with a job is heard, and others do not hang.
    #[test]
    fn what_has_a_job_is_not_handed_out() {
        let jobs = [Trigger::Key(60), Trigger::Controller(20)];
        let (mut sender, mut receiver) = intake(8, &jobs, Keyboards::One, counter());
        sender.bytes(&[
            0x90, 60, 64, 0xb0, 20, 127, 21, 127, 0x90, 62, 64, 0x80, 60, 0,
        ]);
        let mut heard = drain(&mut receiver);
        assert_eq!(receiver.fired().collect::<Vec<_>>(), [0, 1]);
        assert_eq!(receiver.fired().count(), 0);
        for _ in 0..20 {
            sender.bytes(&[0x80, 60, 0, 0x80, 62, 0]);
        }
        sender
            .another(Keyboard::FIRST)
            .bytes(&[0xb0, 20, 0, 20, 64]);
        heard.extend(drain(&mut receiver));
        let all = |t: &Timed| match t.event {
            Event::NoteOn { key, .. } | Event::NoteOff { key, .. } => key,
            event => panic!("{event:?} was not sent"),
        };
        assert!(heard.len() > 2 && heard.iter().map(all).all(|key| key == 62));
        assert!(matches!(
            heard.last().map(|t| t.event),
            Some(Event::NoteOff { .. })
        ));
    }

    proptest! {
        // What threads do cannot be replayed.
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
        /// A flood against a slow reader on another thread. Time never goes back; in the end
        /// exactly those keys sound whose last stroke arrived and was not let go; every stroke
        /// arrives or is counted.
        #[test]
        fn no_key_hangs(
            capacity in 8usize..40,
            messages in prop::collection::vec(
                (0u8..3, 60u8..64, 0u8..3, 0u8..200),
                1..1_500,
            ),
            pause in 1usize..40,
        ) {
            let (mut sender, mut receiver) = intake(capacity, &[], Keyboards::One, counter());
            let reader = thread::spawn(move || {
                let mut sounding = HashSet::new();
                let mut struck = HashMap::new();
                let mut ons = 0u64;
                let mut last = Time::ZERO;
                let mut taken = 0;
                while let Ok(incoming) = receiver.receiver().recv() {
                    receiver.accept(incoming, |t| {
                        assert!(t.at >= last, "time goes back");
                        last = t.at;
                        match t.event {
                            Event::NoteOn { channel, key, .. } => {
                                ons += 1;
                                struck.insert((channel, key), t.at.0);
                                sounding.insert((channel, key));
                            }
                            Event::NoteOff { channel, key } => {
                                sounding.remove(&(channel, key));
                            }
                            event => panic!("{event:?} was not sent"),
                        }
                    });
                    taken += 1;
                    if taken % pause == 0 {
                        thread::sleep(Duration::from_micros(100));
                    }
                }
                (sounding, struck, ons, receiver.dropped())
            });
            let mut sent = 0;
            let mut let_go = HashMap::new();
            // The clock counts the messages.
            for (i, (channel, key, kind, wait)) in (0u64..).zip(messages) {
                if kind == 0 {
                    sent += 1;
                    sender.bytes(&[0x90 | channel, key, 64]);
                } else {
                    let_go.insert((Channel::new(channel).unwrap(), key), i);
                    sender.bytes(&[if kind == 1 { 0x80 } else { 0x90 } | channel, key, 0]);
                }
                if wait == 0 {
                    thread::sleep(Duration::from_micros(200));
                }
            }
            drop(sender);
            let (sounding, struck, ons, dropped) = reader.join().unwrap();
            let held = struck.into_iter().filter(|(key, at)| let_go.get(key).is_none_or(|off| at > off));
            let held: HashSet<_> = held.map(|(key, _)| key).collect();
            prop_assert_eq!(sounding, held);
            prop_assert_eq!(ons + dropped, sent);
        }
    }
}
