//! midir alone: ALSA, CoreMIDI, Windows MM.

use midir::{ConnectErrorKind, MidiInput, MidiInputConnection, MidiInputPort};

use super::input::{Connection, OUR_PORT, PortError, PortInfo, Ports, Sink};
use super::names::infos;
use crate::quiet::Quiet;

pub struct System {
    client_name: String,
    /// For listing, kept open.
    lister: Option<MidiInput>,
}

impl System {
    pub fn new(client_name: String) -> System {
        System {
            client_name,
            lister: None,
        }
    }
}

impl Ports for System {
    fn list(&mut self) -> Result<Vec<PortInfo>, PortError> {
        let lister = match &mut self.lister {
            Some(lister) => lister,
            empty => empty.insert(client(&self.client_name)?),
        };
        let named = |port: MidiInputPort| {
            // A port that has just gone has no name.
            lister.port_name(&port).ok().map(|name| (port.id(), name))
        };
        Ok(infos(
            lister.ports().into_iter().filter_map(named).collect(),
        ))
    }

    fn open(&mut self, port: &PortInfo, mut sink: Sink) -> Result<Box<dyn Connection>, PortError> {
        let input = client(&self.client_name)?;
        let gone = || PortError::Gone {
            port: port.name.clone(),
        };
        let source = input.find_port_by_id(&port.id).ok_or_else(gone)?;
        match input.connect(&source, OUR_PORT, move |_, bytes, _| sink(bytes), ()) {
            Ok(connection) => Ok(Box::new(Open {
                _connection: connection,
            })),
            Err(error) => Err(match error.kind() {
                ConnectErrorKind::InvalidPort => gone(),
                // Windows: its inputs serve one program at a time.
                ConnectErrorKind::Other(what) if what.contains("MMSYSERR_ALLOCATED") => {
                    PortError::Busy {
                        port: port.name.clone(),
                    }
                }
                ConnectErrorKind::Other(why) => PortError::Library { why: why.into() },
            }),
        }
    }

    fn changed(&mut self) -> Option<bool> {
        None
    }
}

struct Open {
    _connection: MidiInputConnection<()>,
}

impl Connection for Open {}

/// midir tells only that it failed; on Linux the device file tells why.
fn client(name: &str) -> Result<MidiInput, PortError> {
    if cfg!(target_os = "linux")
        && let Some(error) = sequencer()
    {
        return Err(error);
    }
    // Libraries print while they open a client, and only then. What others say meanwhile is lost
    // as well, so nothing else is done under the guard.
    let _quiet = Quiet::new();
    MidiInput::new(name).map_err(|error| {
        if cfg!(target_os = "linux") {
            // The file may be there although the driver is not.
            PortError::NoSequencer
        } else {
            PortError::Library {
                why: error.to_string(),
            }
        }
    })
}

/// What is wrong with ALSA's sequencer, as far as its file tells.
fn sequencer() -> Option<PortError> {
    use std::fs::File;
    use std::io::ErrorKind;
    let opened = File::options().read(true).write(true).open("/dev/snd/seq");
    match opened {
        Err(error) if error.kind() == ErrorKind::PermissionDenied => Some(PortError::NoPermission),
        Err(_) => Some(PortError::NoSequencer),
        Ok(_) => None,
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;
    use std::fs::File;
    use std::io::ErrorKind;
    use std::process::Command;

    /// As the device file has it, and whatever ALSA has to say about it is not printed. In a
    /// process of its own, since standard error is one for all tests.
    #[test]
    fn the_sequencer_or_one_clear_line() {
        const INNER: &str = "PEREGRINUS_TEST_ALSA";
        if std::env::var_os(INNER).is_some() {
            let mut ports = System::new("peregrinus".into());
            let device = File::options().read(true).write(true).open("/dev/snd/seq");
            let expected = match device.map_err(|error| error.kind()) {
                Ok(_) => None,
                Err(ErrorKind::PermissionDenied) => Some(PortError::NoPermission),
                Err(_) => Some(PortError::NoSequencer),
            };
            assert_eq!(ports.list().err(), expected);
            assert_eq!(ports.changed(), None);
            let port = PortInfo {
                name: "Piano".into(),
                id: "200:7".into(),
            };
            let gone = PortError::Gone {
                port: "Piano".into(),
            };
            assert_eq!(
                ports.open(&port, Box::new(|_| ())).err(),
                expected.or(Some(gone))
            );
            return;
        }
        let name = "midi::ports::plain::tests::the_sequencer_or_one_clear_line";
        let output = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", name, "--nocapture"])
            .env(INNER, "1")
            .output()
            .unwrap();
        assert_eq!(String::from_utf8_lossy(&output.stderr), "");
        assert!(String::from_utf8_lossy(&output.stdout).contains("1 passed"));
    }
}
