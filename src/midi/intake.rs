//! From the thread of a MIDI port to ours: a bounded channel that never loses a release.
//!
//! The port's thread must not wait. When the reader is slow and the channel fills, notes are
//! refused first, so that room is left for releases; when that too is full, releases are noted in
//! a table that the reader takes in after what stood in the channel before them. So a key that was
//! let go never hangs, whatever the load; what was refused is counted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::SeqCst};

use crossbeam_channel::{Receiver, Sender, TrySendError, bounded};

use super::event::{Event, Timed};
use super::wire::{Sensing, Wire, WireEvent};
use crate::time::Time;

/// Both ends. `capacity` is in events, at least 8; a quarter is kept for releases. `clock` gives
/// the time of the stream that the events belong to.
pub fn intake(
    capacity: usize,
    clock: impl Fn() -> Time + Send + Sync + 'static,
) -> (Feeder, Outlet) {
    let capacity = capacity.max(8);
    let (sender, receiver) = bounded(capacity);
    let shared = Arc::new(Shared {
        clock: Box::new(clock),
        refused: AtomicU64::new(0),
        late: AtomicBool::new(false),
        late_keys: [const { AtomicU64::new(0) }; 32],
        late_all: AtomicBool::new(false),
        late_at: AtomicU64::new(0),
        heard: AtomicU64::new(0),
        sensing: AtomicBool::new(false),
    });
    let feeder = Feeder {
        wire: Wire::new(),
        sender,
        reserve: capacity / 4,
        shared: shared.clone(),
    };
    let outlet = Outlet {
        receiver,
        shared,
        sensing: Sensing::new(),
        heard: Time::ZERO,
    };
    (feeder, outlet)
}

struct Shared {
    clock: Box<dyn Fn() -> Time + Send + Sync>,
    refused: AtomicU64,
    /// Whether any of the late releases is set.
    late: AtomicBool,
    /// Keys let go while the channel was full: two words a channel.
    late_keys: [AtomicU64; 32],
    /// Something more than a key was let go.
    late_all: AtomicBool,
    /// When the last of them came.
    late_at: AtomicU64,
    /// When bytes came last.
    heard: AtomicU64,
    /// Whether active sensing was among the bytes since the outlet looked.
    sensing: AtomicBool,
}

/// The port's end, called on its thread. Neither waits nor allocates.
pub struct Feeder {
    wire: Wire,
    sender: Sender<Timed>,
    reserve: usize,
    shared: Arc<Shared>,
}

impl Feeder {
    /// Takes in the next bytes of the connection.
    pub fn bytes(&mut self, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        let at = (self.shared.clock)();
        let Feeder {
            wire,
            sender,
            reserve,
            shared,
        } = self;
        wire.feed(bytes, &mut |message| match message {
            WireEvent::ActiveSensing => shared.sensing.store(true, SeqCst),
            WireEvent::Event(event) => put(sender, *reserve, shared, Timed { at, event }),
        });
        // After the flag, so that whoever sees the flag late does not take an old time for it.
        shared.heard.fetch_max(at.0, SeqCst);
    }

    /// For the next connection: the same channel, a parser that has seen nothing.
    pub fn another(&self) -> Feeder {
        Feeder {
            wire: Wire::new(),
            sender: self.sender.clone(),
            reserve: self.reserve,
            shared: self.shared.clone(),
        }
    }
}

fn put(sender: &Sender<Timed>, reserve: usize, shared: &Shared, timed: Timed) {
    let release = timed.event.releases();
    let places = sender.capacity().unwrap_or(usize::MAX) - sender.len();
    if !release && places <= reserve {
        shared.refused.fetch_add(1, SeqCst);
        return;
    }
    match sender.try_send(timed) {
        Ok(()) | Err(TrySendError::Disconnected(_)) => return,
        Err(TrySendError::Full(_)) if !release => {
            shared.refused.fetch_add(1, SeqCst);
            return;
        }
        Err(TrySendError::Full(_)) => {}
    }
    shared.late_at.fetch_max(timed.at.0, SeqCst);
    let (word, bit) = match timed.event {
        Event::NoteOff { channel, key } => {
            let word = usize::from(channel & 15) * 2 + usize::from(key >> 6 & 1);
            (shared.late_keys.get(word), 1u64 << (key & 63))
        }
        _ => (None, 0),
    };
    let noted = match word {
        Some(word) => {
            word.fetch_or(bit, SeqCst);
            false
        }
        None => shared.late_all.swap(true, SeqCst),
    };
    shared.late.store(true, SeqCst);
    // If the reader emptied the channel meanwhile, nothing would make it look at the table: so
    // try once more. If the channel is full still, the reader looks after its next event.
    if sender.try_send(timed).is_ok() {
        match word {
            Some(word) => {
                word.fetch_and(!bit, SeqCst);
            }
            None if noted => {}
            None => shared.late_all.store(false, SeqCst),
        }
    }
}

/// The reader's end.
pub struct Outlet {
    receiver: Receiver<Timed>,
    shared: Arc<Shared>,
    sensing: Sensing,
    /// The time of the last bytes that `sensing` knows of.
    heard: Time,
}

impl Outlet {
    /// To select on. After each event taken from it call [`take_releases`](Outlet::take_releases).
    pub fn receiver(&self) -> &Receiver<Timed> {
        &self.receiver
    }

    /// How many events were refused so far, releases not among them.
    pub fn dropped(&self) -> u64 {
        self.shared.refused.load(SeqCst)
    }

    /// If releases did not fit into the channel: hands out what is in the channel, then them, in
    /// order of time. Costs one load otherwise.
    pub fn take_releases(&mut self, mut f: impl FnMut(Timed)) {
        if !self.shared.late.swap(false, SeqCst) {
            return;
        }
        let mut at = Time(self.shared.late_at.load(SeqCst));
        let all = self.shared.late_all.swap(false, SeqCst);
        let keys = self
            .shared
            .late_keys
            .each_ref()
            .map(|word| word.swap(0, SeqCst));
        // The notes that these end are in the channel already, if anywhere: they come first.
        // What the sender adds from now on stays for later.
        for _ in 0..self.receiver.len() {
            let Ok(timed) = self.receiver.try_recv() else {
                break;
            };
            at = at.max(timed.at);
            f(timed);
        }
        for (word, bits) in (0u8..).zip(keys) {
            for bit in (0..64).filter(|bit| bits >> bit & 1 == 1) {
                let (channel, key) = (word / 2, word % 2 * 64 + bit);
                let event = Event::NoteOff { channel, key };
                f(Timed { at, event });
            }
        }
        if all {
            let event = Event::Release;
            f(Timed { at, event });
        }
    }

    /// Whether the sender promised by active sensing never to be silent, and has been for more
    /// than 300 ms: true once. The caller then releases everything.
    pub fn silent(&mut self, now: Time) -> bool {
        self.look();
        self.sensing.expired(now)
    }

    /// When to ask [`silent`](Outlet::silent) next, if active sensing has begun.
    pub fn silent_from(&mut self) -> Option<Time> {
        self.look();
        self.sensing.deadline()
    }

    fn look(&mut self) {
        let sensing = self.shared.sensing.swap(false, SeqCst);
        let heard = Time(self.shared.heard.load(SeqCst));
        if sensing || heard > self.heard {
            self.heard = heard;
            self.sensing.heard(heard, sensing);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::HashSet;
    use std::thread;
    use std::time::Duration;

    /// A clock that goes on by a tick whenever it is asked.
    fn counter() -> impl Fn() -> Time + Send + Sync + 'static {
        let count = AtomicU64::new(0);
        move || Time(count.fetch_add(1, SeqCst))
    }

    fn drain(outlet: &mut Outlet) -> Vec<Timed> {
        let mut out = Vec::new();
        while let Ok(timed) = outlet.receiver().try_recv() {
            out.push(timed);
            outlet.take_releases(|t| out.push(t));
        }
        out
    }

    #[test]
    fn notes_are_refused_first_and_releases_never() {
        let (mut feeder, mut outlet) = intake(8, counter());
        for key in 0..10 {
            feeder.bytes(&[0x90, key, 64]);
        }
        assert_eq!(outlet.dropped(), 4, "a quarter is kept");
        for key in 0..10 {
            feeder.bytes(&[0x80, key, 64]);
        }
        assert_eq!(outlet.dropped(), 4);
        let out = drain(&mut outlet);
        assert!(out.is_sorted_by_key(|t| t.at));
        let channel = 0;
        for key in 0..6 {
            let place = |event| out.iter().position(|t| t.event == event).unwrap();
            let velocity = 64;
            let on = place(Event::NoteOn {
                channel,
                key,
                velocity,
            });
            assert!(on < place(Event::NoteOff { channel, key }));
        }
        assert!(drain(&mut outlet).is_empty());
    }

    #[test]
    fn a_pedal_that_does_not_fit_releases_everything() {
        let (mut feeder, mut outlet) = intake(8, counter());
        for _ in 0..20 {
            feeder.bytes(&[0xb0, 64, 0]);
        }
        assert_eq!(drain(&mut outlet).last().unwrap().event, Event::Release);
    }

    #[test]
    fn active_sensing_arms_the_outlet() {
        let now = Arc::new(AtomicU64::new(0));
        let clock = now.clone();
        let (mut feeder, mut outlet) = intake(8, move || Time(clock.load(SeqCst)));
        let ms = |ms| Time::millis(ms);
        feeder.bytes(&[0x90, 60, 64]);
        assert_eq!(outlet.silent_from(), None);
        now.store(ms(1_000).0, SeqCst);
        feeder.bytes(&[0xfe]);
        assert!(!outlet.silent(ms(1_300)));
        now.store(ms(1_200).0, SeqCst);
        feeder.bytes(&[0xf8]);
        assert!(!outlet.silent(ms(1_500)), "any byte counts");
        assert!(outlet.silent(ms(1_530)));
        assert!(!outlet.silent(ms(1_540)), "once");
        feeder.another().bytes(&[0xfe]);
        assert!(outlet.silent_from().is_some());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        /// A flood against a slow reader on another thread: when it is over, exactly nothing
        /// sounds that was let go, and time never went back.
        #[test]
        fn no_key_hangs(
            capacity in 8usize..40,
            messages in prop::collection::vec(
                (0u8..3, 0u8..4, 0u8..3, 0u8..200),
                1..1_500,
            ),
            pause in 1usize..40,
        ) {
            let (mut feeder, mut outlet) = intake(capacity, counter());
            let let_go: HashSet<(u8, u8)> = {
                let mut down = HashSet::new();
                let mut struck = HashSet::new();
                for (channel, key, kind, _) in &messages {
                    match kind {
                        0 => {
                            down.insert((*channel, *key));
                            struck.insert((*channel, *key));
                        }
                        _ => {
                            down.remove(&(*channel, *key));
                        }
                    }
                }
                &struck - &down
            };
            let reader = thread::spawn(move || {
                let mut sounding = HashSet::new();
                let mut last = Time::ZERO;
                let mut on = 0u64;
                let mut hear = |t: Timed| {
                    assert!(t.at >= last, "time goes back");
                    last = t.at;
                    match t.event {
                        Event::NoteOn { channel, key, .. } => {
                            on += 1;
                            sounding.insert((channel, key));
                        }
                        Event::NoteOff { channel, key } => {
                            sounding.remove(&(channel, key));
                        }
                        Event::Release => sounding.clear(),
                        _ => {}
                    }
                };
                let mut taken = 0;
                while let Ok(timed) = outlet.receiver().recv() {
                    hear(timed);
                    outlet.take_releases(&mut hear);
                    taken += 1;
                    if taken % pause == 0 {
                        thread::sleep(Duration::from_micros(100));
                    }
                }
                outlet.take_releases(&mut hear);
                (sounding, on, outlet.dropped())
            });
            let mut struck = 0;
            for (channel, key, kind, wait) in messages {
                match kind {
                    0 => {
                        struck += 1;
                        feeder.bytes(&[0x90 | channel, 60 + key * 3, 64]);
                    }
                    1 => feeder.bytes(&[0x80 | channel, 60 + key * 3, 64]),
                    _ => feeder.bytes(&[0x90 | channel, 60 + key * 3, 0]),
                }
                if wait == 0 {
                    thread::sleep(Duration::from_micros(200));
                }
            }
            drop(feeder);
            let (sounding, on, dropped) = reader.join().unwrap();
            for (channel, key) in let_go {
                prop_assert!(!sounding.contains(&(channel, 60 + key * 3)));
            }
            prop_assert_eq!(on + dropped, struck, "every note arrives or is counted");
        }
    }
}
