//! MIDI inputs, whatever system has them.

/// An input that is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortInfo {
    /// As shown and remembered: without the numbers that change whenever it is plugged in; the
    /// second of two equal names ends in ` (2)`, and so on.
    pub name: String,
    /// As the system names it; may change when it is plugged in again.
    pub id: String,
}

/// Takes the bytes of an input, on a thread of the system.
pub type Sink = Box<dyn FnMut(&[u8]) + Send>;

/// The inputs of a system.
pub trait Ports: Send {
    /// What is there now. Our own ports are not listed.
    fn list(&mut self) -> Result<Vec<PortInfo>, PortError>;

    /// Connects to an input. `sink` must not keep its thread waiting. Drop an earlier connection
    /// first; that can take some 10 ms.
    fn open(&mut self, port: &PortInfo, sink: Sink) -> Result<Box<dyn Connection>, PortError>;

    /// Whether any port came or went since the last call; none if the system does not tell: then
    /// only `list` shows it.
    fn changed(&mut self) -> Option<bool>;
}

/// An open input, closed when dropped.
pub trait Connection: Send {
    /// Whether it has been connected all the time since it was opened; none if the system does not
    /// tell. Once false it stays false: held keys may have been released unheard, so release them
    /// and open the port again.
    fn alive(&self) -> Option<bool> {
        None
    }
}

/// Why an input cannot be listed or opened, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    #[error("no ALSA sequencer: `modprobe snd-seq` as root, connect a keyboard")]
    NoSequencer,
    #[error("no permission for /dev/snd/seq: join the group audio, log in again")]
    NoPermission,
    #[error("\"{port}\" is held by another program: close it there")]
    Busy { port: String },
    #[error("\"{port}\" is gone: connect it again")]
    Gone { port: String },
    #[error("the JACK library is missing: install it (on Debian libjack-jackd2-0)")]
    NoLibrary,
    #[error("no JACK server answers: start one, or use a build without JACK")]
    NoServer,
    #[error("MIDI does not work here: the JACK server does not show our port")]
    NotShown,
    /// `why` is in the words of the library that serves the ports.
    #[error("MIDI does not work here: {why}")]
    Library { why: String },
}

/// The name of our end of a connection, where it is visible: with JACK `peregrinus:in`.
pub(super) const OUR_PORT: &str = "in";
