//! The one owner of the terminal.
//!
//! [`Ground::take`] enters raw mode and the alternate screen, hides the cursor, asks for
//! reports of the mouse if they are wanted, and sends standard error to a log. Dropping it,
//! a panic in any thread, or a signal, whichever comes first, restores all that exactly
//! once.

use super::surface::{Alarm, MouseReports, Presence, Surface};
use crate::file;
use crossbeam_channel::{Receiver, Sender, bounded};
use ratatui::backend::{Backend, ClearType, CrosstermBackend};
use ratatui::buffer::Buffer;
#[cfg(windows)]
use ratatui::crossterm::event;
use ratatui::crossterm::style::{Attribute, SetAttribute};
use ratatui::crossterm::terminal::{
    BeginSynchronizedUpdate, EndSynchronizedUpdate, EnterAlternateScreen, LeaveAlternateScreen,
    disable_raw_mode, enable_raw_mode, size,
};
use ratatui::crossterm::{Command, cursor, execute, queue};
use ratatui::layout::Rect;
use std::fmt;
use std::io::{self, BufWriter, IsTerminal, Stdout, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, Once, PoisonError};
use std::time::{Duration, Instant};

/// Whether the terminal is ours. The thread that clears it puts the terminal back.
static OURS: AtomicBool = AtomicBool::new(false);
/// Whether the terminal reports the mouse to us.
static MOUSE: AtomicBool = AtomicBool::new(false);
/// Held while a frame is written, so that none lands on the restored screen.
static DRAWING: Mutex<()> = Mutex::new(());
/// Where alarms of signals and panics go.
static LISTENER: Mutex<Option<Sender<Alarm>>> = Mutex::new(None);

fn lock<T>(m: &Mutex<T>) -> MutexGuard<'_, T> {
    m.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The terminal while it is ours.
pub(super) struct Ground {
    backend: CrosstermBackend<BufWriter<Stdout>>,
    shown: Buffer,
    alarms: Receiver<Alarm>,
    log: Option<PathBuf>,
    mouse: MouseReports,
    /// Restored for a while, because the player has suspended the program.
    suspended: bool,
}

impl Ground {
    /// Takes the terminal; `log` is where standard error goes meanwhile.
    pub fn take(log: Option<&Path>, mouse: MouseReports) -> io::Result<Ground> {
        if !io::stdout().is_terminal() {
            return Err(io::Error::other(
                "standard output is no terminal: run it in one, or ask for plain text",
            ));
        }
        let (sender, alarms) = bounded(16);
        *lock(&LISTENER) = Some(sender);
        watch_panics();
        #[cfg(unix)]
        signals::watch()?;
        let ground = Ground {
            backend: CrosstermBackend::new(BufWriter::with_capacity(1 << 16, io::stdout())),
            shown: Buffer::empty(Rect::ZERO),
            alarms,
            log: log.map(Path::to_owned),
            mouse,
            suspended: false,
        };
        enter(ground.log.as_deref(), mouse)?;
        Ok(ground)
    }

    pub fn alarms(&self) -> Receiver<Alarm> {
        self.alarms.clone()
    }

    /// Enters again after having been away, and forgets what was shown.
    fn enter_again(&mut self) -> io::Result<()> {
        self.suspended = false;
        self.shown = Buffer::empty(Rect::ZERO);
        enter(self.log.as_deref(), self.mouse)
    }
}

impl Drop for Ground {
    fn drop(&mut self) {
        restore();
        *lock(&LISTENER) = None;
    }
}

impl Surface for Ground {
    fn size(&self) -> io::Result<(u16, u16)> {
        size()
    }

    fn show(&mut self, picture: &Buffer) -> io::Result<Presence> {
        if self.suspended {
            return Ok(Presence::There);
        }
        let _drawing = lock(&DRAWING);
        if !OURS.load(Ordering::SeqCst) {
            return Ok(Presence::Lost);
        }
        queue!(self.backend, BeginSynchronizedUpdate)?;
        if self.shown.area != picture.area {
            self.backend.clear_region(ClearType::All)?;
            self.shown = Buffer::empty(picture.area);
        }
        // Row by row: most stay as they are, and whole rows are quickly compared.
        let changed: Vec<(Buffer, Buffer)> = changed_rows(&self.shown, picture)
            .into_iter()
            .map(|(y, cells)| {
                let row = |buffer: &Buffer| Buffer {
                    area: Rect::new(0, y, picture.area.width, 1),
                    content: buffer.content[cells.clone()].to_vec(),
                };
                let rows = (row(&self.shown), row(picture));
                self.shown.content[cells].clone_from_slice(&rows.1.content);
                rows
            })
            .collect();
        let cells = changed.iter().flat_map(|(before, now)| before.diff(now));
        self.backend.draw(cells)?;
        queue!(self.backend, EndSynchronizedUpdate)?;
        Write::flush(&mut self.backend)?;
        Ok(Presence::There)
    }

    fn forget(&mut self) {
        self.shown = Buffer::empty(Rect::ZERO);
    }

    fn report_mouse(&mut self, reports: MouseReports) -> io::Result<()> {
        self.mouse = reports;
        let _drawing = lock(&DRAWING);
        // While suspended nothing is sent; it counts when the terminal is taken again.
        if self.suspended || !OURS.load(Ordering::SeqCst) {
            return Ok(());
        }
        MOUSE.store(reports == MouseReports::On, Ordering::SeqCst);
        execute!(io::stdout(), reports)
    }

    /// Gives the terminal back and asks the whole job to stop, as the terminal
    /// itself would; the signal that comes back to us does the stopping.
    fn suspend(&mut self) -> io::Result<()> {
        #[cfg(unix)]
        if signals::may_stop() {
            self.suspended = true;
            restore();
            rustix::process::kill_current_process_group(rustix::process::Signal::TSTP)?;
        }
        Ok(())
    }

    fn stop(&mut self) -> io::Result<()> {
        #[cfg(unix)]
        {
            self.suspended = true;
            restore();
            signals::stop()?;
            self.enter_again()?;
        }
        Ok(())
    }

    fn resume(&mut self) -> io::Result<()> {
        restore();
        self.enter_again()
    }
}

fn enter(log: Option<&Path>, mouse: MouseReports) -> io::Result<()> {
    // Before the terminal is ours. A log that cannot be written is done without.
    let log = log.and_then(|path| file::append(path).ok());
    let _drawing = lock(&DRAWING);
    OURS.store(true, Ordering::SeqCst);
    let screen = || execute!(io::stdout(), EnterAlternateScreen, cursor::Hide);
    let taken = enable_raw_mode().and_then(|()| screen()).and_then(|()| {
        MOUSE.store(mouse == MouseReports::On, Ordering::SeqCst);
        match mouse {
            MouseReports::On => execute!(io::stdout(), mouse),
            MouseReports::Off => Ok(()),
        }
    });
    match taken {
        Ok(()) => {
            aside::divert(log);
            Ok(())
        }
        Err(e) => {
            leave();
            Err(e)
        }
    }
}

/// Restores the terminal if it is ours. From any thread, at any time.
fn restore() {
    // Waits for a frame that is being written, but not for ever: the panic may have come
    // from within it.
    let patience = Instant::now() + Duration::from_millis(250);
    let mut drawing = DRAWING.try_lock().ok();
    while drawing.is_none() && Instant::now() < patience {
        std::thread::sleep(Duration::from_millis(2));
        drawing = DRAWING.try_lock().ok();
    }
    leave();
}

fn leave() {
    if OURS.swap(false, Ordering::SeqCst) {
        // If the terminal is gone there is nothing to restore: errors are ignored.
        if MOUSE.swap(false, Ordering::SeqCst) {
            let _ = execute!(io::stdout(), MouseReports::Off);
        }
        let _ = execute!(
            io::stdout(),
            SetAttribute(Attribute::Reset),
            LeaveAlternateScreen,
            cursor::Show
        );
        let _ = disable_raw_mode();
        aside::put_back();
    }
}

/// Movement alone is never reported: each report would wake the loop.
impl Command for MouseReports {
    /// xterm's control sequences: DEC private modes 1000 (presses, releases, the wheel) and
    /// 1006 (in SGR form, which has no end at column 223).
    fn write_ansi(&self, f: &mut impl fmt::Write) -> fmt::Result {
        f.write_str(match self {
            MouseReports::On => "\x1b[?1000h\x1b[?1006h",
            MouseReports::Off => "\x1b[?1006l\x1b[?1000l",
        })
    }

    #[cfg(windows)]
    fn execute_winapi(&self) -> io::Result<()> {
        match self {
            MouseReports::On => event::EnableMouseCapture.execute_winapi(),
            MouseReports::Off => event::DisableMouseCapture.execute_winapi(),
        }
    }

    #[cfg(windows)]
    fn is_ansi_code_supported(&self) -> bool {
        false
    }
}

/// The rows that differ between two buffers of one size: which, and where their cells are.
fn changed_rows(before: &Buffer, now: &Buffer) -> Vec<(u16, Range<usize>)> {
    let width = usize::from(now.area.width);
    let rows = (0..now.area.height).map(|y| {
        let from = usize::from(y) * width;
        (y, from..from + width)
    });
    rows.filter(|(_, row)| before.content[row.clone()] != now.content[row.clone()])
        .collect()
}

fn tell(alarm: Alarm) -> bool {
    // A window that is being dragged must not fill the channel: one report is enough, as
    // the picture is drawn in the size of its moment.
    let plenty = |waiting: usize| alarm == Alarm::Resized && waiting > 2;
    let told = |l: &Sender<Alarm>| plenty(l.len()) || l.try_send(alarm).is_ok();
    lock(&LISTENER).as_ref().is_some_and(told)
}

/// On a panic in any thread restores the terminal first, so that the message can be read,
/// and ends the loop. Installed once; while the terminal is not ours it only passes the
/// panic on.
fn watch_panics() {
    static INSTALLED: Once = Once::new();
    INSTALLED.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            restore();
            tell(Alarm::Lost);
            before(info);
        }));
    });
}

/// Standard error while the screen is ours: libraries write there too.
mod aside {
    use super::lock;
    use crate::quiet::Quiet;
    use std::fs::File;
    use std::io::{self, IsTerminal};
    use std::sync::Mutex;

    static QUIET: Mutex<Option<Quiet>> = Mutex::new(None);

    /// To `log`, or without one nowhere. Left alone where the user has sent it elsewhere.
    pub fn divert(log: Option<File>) {
        let mut quiet = lock(&QUIET);
        if quiet.is_some() || !io::stderr().is_terminal() {
            return;
        }
        *quiet = Some(log.map_or_else(Quiet::new, Quiet::to));
    }

    pub fn put_back() {
        *lock(&QUIET) = None;
    }
}

/// Signals, on a thread of their own for the life of the program.
#[cfg(unix)]
mod signals {
    use super::{Alarm, restore, tell};
    use rustix::process::{getpgrp, getsid};
    use signal_hook::consts::{
        SIGALRM, SIGCONT, SIGHUP, SIGINT, SIGPROF, SIGQUIT, SIGTERM, SIGTSTP, SIGUSR1, SIGUSR2,
        SIGVTALRM, SIGWINCH, SIGXCPU, SIGXFSZ,
    };
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::io;
    use std::sync::Mutex;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::Duration;

    /// Whether we stopped the process ourselves.
    static STOPPED: AtomicBool = AtomicBool::new(false);
    /// Those that ask for an orderly end.
    const ENDS: [i32; 3] = [SIGTERM, SIGHUP, SIGINT];
    /// Those that end the program where it stands, some with a dump of its memory.
    const KILLS: [i32; 8] = [
        SIGQUIT, SIGUSR1, SIGUSR2, SIGALRM, SIGVTALRM, SIGPROF, SIGXCPU, SIGXFSZ,
    ];
    /// How long the program may take to end in order.
    const GRACE: Duration = Duration::from_secs(3);

    pub fn watch() -> io::Result<()> {
        static WATCHED: Mutex<bool> = Mutex::new(false);
        let mut watched = super::lock(&WATCHED);
        if *watched {
            return Ok(());
        }
        let mut signals = Signals::new([SIGTSTP, SIGCONT, SIGWINCH])?;
        for signal in ENDS.into_iter().chain(KILLS) {
            signals.add_signal(signal)?;
        }
        std::thread::Builder::new()
            .name("signals".into())
            .spawn(move || signals.forever().for_each(on))?;
        *watched = true;
        Ok(())
    }

    fn on(signal: i32) {
        match signal {
            SIGCONT => {
                if !STOPPED.swap(false, Ordering::SeqCst) {
                    tell(Alarm::Continued);
                }
            }
            SIGWINCH => {
                tell(Alarm::Resized);
            }
            SIGTSTP => {
                if !tell(Alarm::Stop) {
                    let _ = emulate_default_handler(SIGTSTP);
                }
            }
            n if KILLS.contains(&n) => {
                end_in_any_case(n);
                restore();
                let _ = emulate_default_handler(n);
            }
            n => {
                end_in_any_case(n);
                // Told first: the loop that finds the terminal restored knows by whom.
                let told = tell(Alarm::Signal(n));
                restore();
                if !told {
                    let _ = emulate_default_handler(n);
                }
            }
        }
    }

    /// Ends the program by the signal itself after a while: ending in order may hang, and
    /// restoring the terminal waits without end where it takes no bytes.
    fn end_in_any_case(signal: i32) {
        std::thread::spawn(move || {
            std::thread::sleep(GRACE);
            let _ = emulate_default_handler(signal);
        });
    }

    /// Stops the whole process until it is continued by a signal.
    pub fn stop() -> io::Result<()> {
        STOPPED.store(true, Ordering::SeqCst);
        emulate_default_handler(SIGTSTP)
    }

    /// Whether a shell with job control started us, which could wake us again: it
    /// gives each job a process group of its own.
    pub fn may_stop() -> bool {
        getsid(None).is_ok_and(|session| session != getpgrp())
    }
}
