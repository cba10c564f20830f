//! The engine's thread, on a keyboard or on a file, and the way of orders to it.

use super::feed::Feed;
use super::order::Order;
use super::status::StatusBoard;
use crossbeam_channel::{Receiver, Sender, unbounded};
use std::thread::JoinHandle;

/// The engine's thread as seen by whoever gives it orders; dropping it ends the thread.
pub(super) struct EngineThread {
    orders: Option<Sender<Order>>,
    thread: Option<JoinHandle<()>>,
}

impl EngineThread {
    /// Starts it. `work` ends when no more orders can come. Without a thread there is
    /// nothing to show: the status says so.
    pub fn start(
        board: StatusBoard,
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
                board.update(|s| s.failed = Some(format!("the engine cannot start: {e}")));
                None
            }
        };
        EngineThread {
            orders: Some(orders),
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
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
