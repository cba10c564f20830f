//! What an input is, whoever has it.

/// An input that is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortInfo {
    /// As shown and remembered: without the numbers that change with every plugging in; of equal
    /// names the second ends in ` (2)` and so on.
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

    /// Whether any port came or went since asked last; None if the system does not tell, so that
    /// only `list` does.
    fn changed(&mut self) -> Option<bool>;
}

/// An open input, closed when dropped.
pub trait Connection: Send {
    /// Whether it has been connected all the time since it was opened; None if the system does
    /// not tell. Once false it stays false: what was held may have been let go unheard, so release
    /// it and open the port again.
    fn alive(&self) -> Option<bool> {
        None
    }
}

/// What stands between us and a keyboard.
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
    #[error("MIDI does not work here: {what}")]
    Other { what: String },
}

/// What our end of a connection is called, where that shows: with JACK `peregrinus:in`.
pub(super) const OUR_PORT: &str = "in";
