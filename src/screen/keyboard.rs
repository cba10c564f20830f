//! The terminal's keys: read by threads that do nothing but read and send.

use crossbeam_channel::{Receiver, Sender, bounded};
use ratatui::crossterm::event::Event;

/// Events of the terminal. The channel closes when the terminal gives no more.
pub fn keyboard() -> Receiver<Event> {
    let (sender, receiver) = bounded(256);
    // Without a thread the sender is dropped, and the loop ends with an error.
    let _ = std::thread::Builder::new()
        .name("terminal keys".into())
        .spawn(move || events(&sender));
    receiver
}

/// Sends until the receiver is gone or reading fails.
#[cfg(not(unix))]
fn events(sender: &Sender<Event>) {
    while let Ok(event) = ratatui::crossterm::event::read() {
        if sender.send(event).is_err() {
            break;
        }
    }
}

#[cfg(unix)]
use unix::events;

/// On Unix the bytes are read here: see [`super::sequences`] for the reason.
#[cfg(unix)]
mod unix {
    use super::super::sequences::Sequences;
    use super::{Event, Receiver, Sender, bounded};
    use crossbeam_channel::RecvTimeoutError;
    use rustix::io::Errno;
    use std::fs::File;
    use std::io::{self, IsTerminal};
    use std::os::fd::{AsFd, OwnedFd};
    use std::time::Duration;

    /// How long the rest of a sequence may take to arrive: what a terminal writes at once may
    /// come in pieces over a slow line.
    const PATIENCE: Duration = Duration::from_millis(50);
    /// How long to wait once the terminal is closed: it sends a signal too, which is to come
    /// first.
    const FAREWELL: Duration = Duration::from_millis(300);
    /// Pause between reads, where somebody else has made the terminal's reads return at once.
    const NAP: Duration = Duration::from_millis(20);

    pub fn events(sender: &Sender<Event>) {
        let Some(bytes) = bytes() else { return };
        let mut sequences = Sequences::default();
        loop {
            let come = match sequences.is_unfinished() {
                false => bytes.recv().map_err(RecvTimeoutError::from),
                true => bytes.recv_timeout(PATIENCE),
            };
            let events = match come {
                Ok(bytes) => sequences.take(&bytes),
                Err(RecvTimeoutError::Timeout) => sequences.give_up(),
                Err(RecvTimeoutError::Disconnected) => break,
            };
            if events.into_iter().any(|event| sender.send(event).is_err()) {
                return;
            }
        }
        std::thread::sleep(FAREWELL);
    }

    /// What the terminal sends, as it comes. A thread of its own waits for it: some systems
    /// cannot wait for a terminal device and a moment in time at once.
    fn bytes() -> Option<Receiver<Vec<u8>>> {
        let terminal = terminal().ok()?;
        let (sender, receiver) = bounded(64);
        let body = move || {
            let mut buffer = [0; 1024];
            loop {
                match rustix::io::read(terminal.as_fd(), &mut buffer) {
                    Ok(n @ 1..) => {
                        if sender.send(buffer[..n].to_vec()).is_err() {
                            return;
                        }
                    }
                    Err(Errno::INTR) => {}
                    Err(Errno::AGAIN) => std::thread::sleep(NAP),
                    Ok(0) | Err(_) => return,
                }
            }
        };
        std::thread::Builder::new()
            .name("terminal bytes".into())
            .spawn(body)
            .ok()?;
        Some(receiver)
    }

    /// Standard input, or where that is something else the terminal itself.
    fn terminal() -> io::Result<OwnedFd> {
        let input = io::stdin();
        match input.is_terminal() {
            true => input.as_fd().try_clone_to_owned(),
            false => File::open("/dev/tty").map(OwnedFd::from),
        }
    }
}
