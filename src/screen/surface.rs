//! What is drawn on, and what interrupts the drawing.

use ratatui::buffer::Buffer;
use std::io;

/// What interrupts the loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(not(unix), expect(dead_code, reason = "nothing else has signals"))]
pub(super) enum Alarm {
    Signal(i32),
    /// Stop until continued.
    Stop,
    /// Continued after a stop that was not ours.
    Continued,
    /// The terminal has another size.
    Resized,
    /// The terminal was put back by another thread.
    Lost,
}

/// Whether a surface is still ours to be drawn on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Presence {
    There,
    Lost,
}

/// Whether the terminal reports buttons and the wheel of the mouse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MouseReports {
    On,
    Off,
}

impl MouseReports {
    /// As the setting wants them.
    pub fn wanted(mouse: bool) -> MouseReports {
        if mouse {
            MouseReports::On
        } else {
            MouseReports::Off
        }
    }
}

/// What is drawn on: the terminal, or a stand-in.
pub(super) trait Surface {
    fn size(&self) -> io::Result<(u16, u16)>;
    /// Shows a picture.
    fn show(&mut self, picture: &Buffer) -> io::Result<Presence>;
    /// Forgets what was shown, so that everything is drawn anew.
    fn forget(&mut self);
    /// Turns reports of the mouse on or off.
    fn report_mouse(&mut self, reports: MouseReports) -> io::Result<()>;
    /// The player asks to suspend.
    fn suspend(&mut self) -> io::Result<()>;
    /// Stops; returns when continued.
    fn stop(&mut self) -> io::Result<()>;
    /// Takes the terminal anew.
    fn resume(&mut self) -> io::Result<()>;
}
