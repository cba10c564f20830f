//! While a file is read or studied at a terminal, `q` ends the program as Ctrl-C does.

/// As long as it lives, `q` ends the program: the terminal hands over single keys. Only after a
/// while, so that short work never touches the terminal; only where standard input is one and the
/// program is in front; and not where the output goes into a pipe, as whoever reads it may use
/// the terminal. Signals act as they do by default, but for the terminal being put back first.
///
/// On other systems than Unix it does nothing.
#[must_use = "the key is heeded only while the guard lives"]
pub struct QuitKey {
    #[cfg(unix)]
    watch: Option<unix::Watch>,
}

impl QuitKey {
    #[cfg(unix)]
    pub fn heed() -> QuitKey {
        QuitKey {
            watch: unix::is_alone().then(unix::Watch::start).flatten(),
        }
    }

    #[cfg(not(unix))]
    pub fn heed() -> QuitKey {
        QuitKey {}
    }

    /// Says so behind the progress; empty where the key is not heeded.
    pub fn hint(&self) -> &'static str {
        #[cfg(unix)]
        if self.watch.is_some() {
            return "; q ends it";
        }
        ""
    }
}

#[cfg(unix)]
mod unix {
    use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
    use rustix::fs::FileType;
    use rustix::process::getpgrp;
    use rustix::termios::{
        LocalModes, OptionalActions, SpecialCodeIndex, Termios, tcgetattr, tcgetpgrp, tcsetattr,
    };
    use signal_hook::consts::{
        SIGALRM, SIGHUP, SIGINT, SIGPROF, SIGQUIT, SIGTERM, SIGTSTP, SIGUSR1, SIGUSR2, SIGVTALRM,
        SIGXCPU, SIGXFSZ,
    };
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::convert::Infallible;
    use std::io::{self, IsTerminal, Write};
    use std::sync::{Mutex, MutexGuard, PoisonError};
    use std::thread::{Builder, JoinHandle, sleep};
    use std::time::Duration;

    /// Work that is over by then leaves the terminal alone.
    const PATIENCE: Duration = Duration::from_millis(500);
    /// How often keys are looked for.
    const LOOK: Duration = Duration::from_millis(50);
    /// How long the progress line may take to be cleared at the end: the terminal may take no
    /// bytes.
    const FAREWELL: Duration = Duration::from_millis(100);
    /// Those that end a program by default and can be caught, with the one that stops it.
    const SIGNALS: [i32; 12] = [
        SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGTSTP, SIGUSR1, SIGUSR2, SIGALRM, SIGVTALRM, SIGPROF,
        SIGXCPU, SIGXFSZ,
    ];

    /// The terminal, as far as it is ours.
    struct Held {
        /// Signals are ours to act on.
        watching: bool,
        /// The terminal's settings from before, while ours are in force.
        before: Option<Termios>,
    }

    static HELD: Mutex<Held> = Mutex::new(Held {
        watching: false,
        before: None,
    });

    fn held() -> MutexGuard<'static, Held> {
        HELD.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The thread that waits for the key.
    pub struct Watch {
        over: Option<Sender<Infallible>>,
        thread: Option<JoinHandle<()>>,
    }

    impl Watch {
        pub fn start() -> Option<Watch> {
            let (over, until) = bounded(0);
            let thread = Builder::new().name("quit key".into());
            let thread = thread.spawn(move || watch(&until)).ok()?;
            Some(Watch {
                over: Some(over),
                thread: Some(thread),
            })
        }
    }

    impl Drop for Watch {
        fn drop(&mut self) {
            self.over = None;
            if let Some(thread) = self.thread.take() {
                let _ = thread.join();
            }
            let mut held = held();
            held.put_back();
            held.watching = false;
        }
    }

    /// Whether there is a terminal with a user at it, and nobody else who may want its keys.
    pub fn is_alone() -> bool {
        let piped = rustix::fs::fstat(io::stdout()).is_ok_and(|stat| {
            let kind = FileType::from_raw_mode(stat.st_mode);
            matches!(kind, FileType::Fifo | FileType::Socket)
        });
        let seen = io::stdout().is_terminal() || io::stderr().is_terminal();
        io::stdin().is_terminal() && seen && !piped
    }

    /// Whether the terminal's keys are for this program, not for another job of the shell.
    fn is_in_front() -> bool {
        tcgetpgrp(io::stdin()).is_ok_and(|group| group == getpgrp())
    }

    fn watch(until: &Receiver<Infallible>) {
        let mut wait = PATIENCE;
        while until.recv_timeout(wait) == Err(RecvTimeoutError::Timeout) {
            if wait == PATIENCE && watch_signals().is_err() {
                return;
            }
            wait = LOOK;
            let mut held = held();
            if is_in_front() && held.take() && is_pressed() {
                held.end(SIGINT);
            }
        }
    }

    /// Whether `q` has come, alone: what is typed ahead for the shell may have one in it.
    fn is_pressed() -> bool {
        let mut keys = [0; 256];
        let count = rustix::io::read(io::stdin(), &mut keys).unwrap_or(0);
        count > 0 && keys[..count].iter().all(|&key| key == b'q')
    }

    /// On a thread of its own for the life of the program.
    fn watch_signals() -> io::Result<()> {
        let mut signals = Signals::new(SIGNALS)?;
        Builder::new()
            .name("signals while reading".into())
            .spawn(move || signals.forever().for_each(on))?;
        held().watching = true;
        Ok(())
    }

    fn on(signal: i32) {
        let mut held = held();
        match signal {
            // Others listen to them by now.
            _ if !held.watching => {}
            SIGTSTP => {
                held.put_back();
                clear_line();
                // Goes on here when the program is continued.
                let _ = emulate_default_handler(SIGTSTP);
            }
            _ => held.end(signal),
        }
    }

    impl Held {
        /// Single keys are handed over, unseen; what sends a signal still does. Also anew, where
        /// the shell had the terminal meanwhile.
        fn take(&mut self) -> bool {
            let Ok(now) = tcgetattr(io::stdin()) else {
                return false;
            };
            if !now.local_modes.contains(LocalModes::ICANON) {
                // Where that was not us, another program reads single keys: it has the terminal.
                return self.before.is_some();
            }
            let mut keys = now.clone();
            keys.local_modes -= LocalModes::ICANON | LocalModes::ECHO;
            // A read never waits.
            keys.special_codes[SpecialCodeIndex::VMIN] = 0;
            keys.special_codes[SpecialCodeIndex::VTIME] = 0;
            let taken = tcsetattr(io::stdin(), OptionalActions::Now, &keys).is_ok();
            self.before = taken.then_some(now);
            taken
        }

        /// In the background the terminal is not restored: that would stop us, and the shell has it.
        fn put_back(&mut self) {
            if let Some(before) = self.before.take()
                && is_in_front()
            {
                let _ = tcsetattr(io::stdin(), OptionalActions::Now, &before);
            }
        }

        /// Ends the program by this signal.
        fn end(&mut self, signal: i32) {
            self.put_back();
            clear_line();
            let _ = emulate_default_handler(signal);
        }
    }

    /// Takes the progress away.
    fn clear_line() {
        let (sender, cleared) = bounded(1);
        let clear = move || {
            let mut err = io::stderr().lock();
            if err.is_terminal() {
                let _ = err.write_all(b"\r\x1b[K");
            }
            let _ = sender.send(());
            // No progress is drawn in the meantime.
            sleep(FAREWELL);
        };
        if Builder::new().spawn(clear).is_ok() {
            let _ = cleared.recv_timeout(FAREWELL);
        }
    }
}
