//! The engine's thread, on a keyboard or on a file, and the way of orders to it.

use super::feed::Feed;
use super::order::Order;
use super::status::StatusBoard;
use crate::stage::StageError;
use crossbeam_channel::{Receiver, Sender, unbounded};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

/// Whether the engine's thread is to end, whatever it is doing.
#[derive(Clone, Default)]
pub(super) struct Stop(Arc<AtomicBool>);

impl Stop {
    pub fn is_asked_for(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// The engine's thread as its owner sees it: it takes orders, and is ended.
pub(super) struct EngineThread {
    orders: Option<Sender<Order>>,
    stop: Stop,
    thread: Option<JoinHandle<()>>,
}

impl EngineThread {
    /// Starts it. `work` ends when no more orders can come, and what takes long in it looks
    /// at `stop`. Without a thread there is nothing to show: the status says so.
    pub fn start(
        board: StatusBoard,
        stop: Stop,
        work: impl FnOnce(&Receiver<Order>) + Send + 'static,
    ) -> EngineThread {
        // Without a bound: a person gives few orders.
        let (orders, receiver) = unbounded();
        let guard = board.clone();
        let thread = std::thread::Builder::new()
            .name("engine".into())
            .spawn(move || guard.guard("the engine", move || work(&receiver)));
        let thread = match thread {
            Ok(thread) => Some(thread),
            Err(e) => {
                let why = e.to_string();
                board.update(|s| s.failed = Some(StageError::NotStarted { why }));
                None
            }
        };
        EngineThread {
            orders: Some(orders),
            stop,
            thread,
        }
    }

    pub fn order(&self, order: Order) {
        if let Some(orders) = &self.orders {
            let _ = orders.send(order);
        }
    }

    /// Ends the thread and waits for it. `feed` takes no more from it.
    pub fn end(&mut self, feed: &mut Feed) {
        feed.close();
        self.stop.0.store(true, Ordering::Relaxed);
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
