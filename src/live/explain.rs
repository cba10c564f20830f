//! Works out explanations beside the engine's thread, which only hands out the case.

use super::status::{StatusBoard, lock};
use crate::engine::{Case, Explanation};
use crossbeam_channel::{Sender, TrySendError, bounded};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// Where the latest explanation is kept.
pub(super) type Slot = Arc<Mutex<Option<Explanation>>>;

/// The engine's end. Its thread starts with the first case and ends with it.
pub(super) struct Explainer {
    slot: Slot,
    board: StatusBoard,
    thread: Option<(Sender<Case>, JoinHandle<()>)>,
}

impl Explainer {
    pub fn new(slot: Slot, board: StatusBoard) -> Explainer {
        Explainer {
            slot,
            board,
            thread: None,
        }
    }

    /// Hands a case over. While another is worked out, at most one waits; a further one
    /// is dropped, and asked for again if it is still wanted.
    pub fn hand(&mut self, case: Case) {
        if self.thread.is_none() {
            self.thread = self.start();
        }
        if let Some((cases, _)) = &self.thread {
            match cases.try_send(case) {
                // If the thread has died, the status says so.
                Ok(()) | Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {}
            }
        }
    }

    fn start(&self) -> Option<(Sender<Case>, JoinHandle<()>)> {
        let (cases, waiting) = bounded::<Case>(1);
        let (slot, board) = (Arc::clone(&self.slot), self.board.clone());
        let guard = self.board.clone();
        let work = move || {
            for case in waiting {
                let explanation = case.explain();
                *lock(&slot) = Some(explanation);
                board.tell();
            }
        };
        let thread = std::thread::Builder::new()
            .name("explain".into())
            .spawn(move || guard.guard("what explains", work));
        match thread {
            Ok(thread) => Some((cases, thread)),
            Err(e) => {
                let why = format!("explanations cannot be worked out: {e}");
                self.board.update(|s| s.notice = Some(why));
                None
            }
        }
    }
}

impl Drop for Explainer {
    fn drop(&mut self) {
        if let Some((cases, thread)) = self.thread.take() {
            drop(cases);
            let _ = thread.join();
        }
    }
}
