//! MIDI inputs of the system, behind a trait, so that the program also runs with others.
//!
//! midir speaks to the system: ALSA on Linux, or JACK with the feature of that name; CoreMIDI and
//! Windows MM elsewhere. What midir lacks is here: names that stay the same when a keyboard is
//! plugged in again, errors that say what to do, and, with JACK, news of ports that come and go.

use std::fmt;

// midir has JACK everywhere but on Windows.
#[cfg(all(feature = "jack", not(windows)))]
mod jack;
#[cfg(all(feature = "jack", not(windows)))]
use jack::System;
#[cfg(not(all(feature = "jack", not(windows))))]
mod plain;
#[cfg(not(all(feature = "jack", not(windows))))]
use plain::System;

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

/// The system's own inputs. Nothing is opened before it is asked for.
pub fn system(client_name: &str) -> Box<dyn Ports> {
    // The backends panic at a NUL in a name.
    Box::new(System::new(client_name.replace('\0', "")))
}

/// What our end of a connection is called, where that shows: with JACK `peregrinus:in`.
const OUR_PORT: &str = "in";

/// Which input to use, when `wanted` (by the player, now) or `remembered` (from the last time) say
/// so: the one of exactly that name, else the only one whose name has `wanted` in it, in capitals
/// or not; without `wanted` the one remembered, else the only one there is. A port that only
/// passes on what programs send is chosen only by name.
pub fn choose<'a>(
    ports: &'a [PortInfo],
    wanted: Option<&str>,
    remembered: Option<&str>,
) -> Result<&'a PortInfo, ChoiceError> {
    let named = |name: &str| ports.iter().find(|port| port.name == name);
    if let Some(wanted) = wanted {
        let lower = wanted.to_lowercase();
        let part = |port: &&PortInfo| port.name.to_lowercase().contains(&lower);
        return match named(wanted) {
            Some(port) => Ok(port),
            None => only(ports.iter().filter(part)).unwrap_or_else(|| {
                Err(ChoiceError::NoSuch {
                    wanted: wanted.into(),
                    nearest: nearest(ports, &lower),
                })
            }),
        };
    }
    if let Some(port) = remembered.and_then(named) {
        return Ok(port);
    }
    let keyboard = |port: &&PortInfo| !port.name.contains("Midi Through");
    only(ports.iter().filter(keyboard)).unwrap_or(Err(ChoiceError::None))
}

/// None if there is none, an error if there are several.
fn only<'a>(
    mut ports: impl Iterator<Item = &'a PortInfo>,
) -> Option<Result<&'a PortInfo, ChoiceError>> {
    let first = ports.next()?;
    let rest: Vec<_> = ports.map(|port| port.name.clone()).collect();
    if rest.is_empty() {
        return Some(Ok(first));
    }
    let names = std::iter::once(first.name.clone()).chain(rest).collect();
    Some(Err(ChoiceError::Several(names)))
}

/// The name most like `wanted`, which is in small letters; a part of a name counts as much as all
/// of it.
fn nearest(ports: &[PortInfo], wanted: &str) -> Option<String> {
    let likeness = |name: &str| {
        let name = name.to_lowercase();
        let parts = name.split([':', ' ']).chain([name.as_str()]);
        parts
            .map(|part| strsim::normalized_damerau_levenshtein(part, wanted))
            .fold(0.0, f64::max)
    };
    let scored = ports.iter().map(|port| (likeness(&port.name), &port.name));
    scored
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.clone())
}

/// Why no input is chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ChoiceError {
    /// There is no keyboard.
    None,
    NoSuch {
        wanted: String,
        nearest: Option<String>,
    },
    /// The names that would do.
    Several(Vec<String>),
}

impl std::error::Error for ChoiceError {}

impl fmt::Display for ChoiceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ChoiceError::None => {
                f.write_str("no MIDI keyboard is connected: connect one and switch it on")
            }
            ChoiceError::NoSuch {
                wanted,
                nearest: None,
            } => {
                write!(
                    f,
                    "no MIDI input is named \"{wanted}\", nor any other: connect the keyboard and switch it on"
                )
            }
            ChoiceError::NoSuch {
                wanted,
                nearest: Some(nearest),
            } => {
                write!(
                    f,
                    "no MIDI input is named \"{wanted}\"; the nearest is \"{nearest}\""
                )
            }
            ChoiceError::Several(names) => {
                write!(f, "{} MIDI inputs would do, name one: ", names.len())?;
                for (i, name) in names.iter().enumerate() {
                    let comma = if i > 0 { ", " } else { "" };
                    write!(f, "{comma}\"{name}\"")?;
                }
                Ok(())
            }
        }
    }
}

/// A name without what changes at the next plugging in: ALSA's ` 20:0` at the end, and ` [20]`,
/// which bridges from ALSA to JACK put in the middle.
fn lasting(raw: &str) -> String {
    let number = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let address = |s: &str| {
        s.split_once(':')
            .is_some_and(|(a, b)| number(a) && number(b))
    };
    let mut name = match raw.rsplit_once(' ') {
        Some((name, last)) if address(last) => name.to_string(),
        _ => raw.to_string(),
    };
    let mut from = 0;
    while let Some(open) = name
        .get(from..)
        .and_then(|rest| rest.find(" ["))
        .map(|i| from + i)
    {
        let close = name
            .get(open..)
            .and_then(|rest| rest.find(']'))
            .map(|i| open + i);
        match close {
            Some(close) if name.get(open + 2..close).is_some_and(number) => {
                name.replace_range(open..=close, "");
                from = open;
            }
            _ => from = open + 2,
        }
    }
    name
}

/// Ports from the system's ids and names, with names that last and tell twins apart.
fn infos(raw: Vec<(String, String)>) -> Vec<PortInfo> {
    let mut out: Vec<PortInfo> = Vec::with_capacity(raw.len());
    for (id, name) in raw {
        let plain = lasting(&name);
        let taken = |name: &str| out.iter().any(|port| port.name == name);
        let numbered = (2..).map(|n| format!("{plain} ({n})"));
        let name = std::iter::once(plain.clone())
            .chain(numbered)
            .find(|name| !taken(name));
        out.push(PortInfo {
            name: name.unwrap_or(plain),
            id,
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ports(names: &[&str]) -> Vec<PortInfo> {
        let named = |(i, name): (usize, &&str)| (i.to_string(), name.to_string());
        infos(names.iter().enumerate().map(named).collect())
    }

    #[test]
    fn names_that_last() {
        let table = [
            (
                "Digital Piano:Digital Piano MIDI 1 20:0",
                "Digital Piano:Digital Piano MIDI 1",
            ),
            ("Port 10", "Port 10"),
            ("Part 1:2", "Part"),
            ("Part a:2", "Part a:2"),
            ("20:0", "20:0"),
            (
                "a2j:Keys [24] (capture): Keys MIDI 1",
                "a2j:Keys (capture): Keys MIDI 1",
            ),
            ("Keys [mk 2] [3] [é", "Keys [mk 2] [é"),
            ("", ""),
        ];
        for (raw, expected) in table {
            assert_eq!(lasting(raw), expected, "{raw}");
        }
    }

    #[test]
    fn twins() {
        let ports = ports(&["Keys 20:0", "Keys 24:0", "Keys (2) 28:0", "Keys 32:0"]);
        let names: Vec<_> = ports.iter().map(|p| p.name.as_str()).collect();
        assert_eq!(names, ["Keys", "Keys (2)", "Keys (2) (2)", "Keys (3)"]);
        assert_eq!(ports[3].id, "3");
    }

    #[test]
    fn choosing() {
        let all = ports(&[
            "Midi Through:Midi Through Port-0",
            "Port 10",
            "Port 1",
            "Grand Piano",
        ]);
        let some = &all[1..];
        let names = |names: &[&str]| {
            Err(ChoiceError::Several(
                names.iter().map(|n| n.to_string()).collect(),
            ))
        };
        let name = |ports, wanted, remembered| {
            choose(ports, wanted, remembered).map(|port| port.name.clone())
        };
        let found = |name: &str| Ok(name.to_string());
        // An exact name beats a part of one.
        assert_eq!(name(&all, Some("Port 1"), None), found("Port 1"));
        assert_eq!(
            name(&all, Some("grand"), Some("Port 1")),
            found("Grand Piano")
        );
        assert_eq!(
            name(some, Some("port"), None),
            names(&["Port 10", "Port 1"])
        );
        assert_eq!(name(&all, None, Some("Port 1")), found("Port 1"));
        assert_eq!(
            name(&all, None, Some("Port")),
            names(&["Port 10", "Port 1", "Grand Piano"])
        );
        assert_eq!(
            name(some, None, None),
            names(&["Port 10", "Port 1", "Grand Piano"])
        );
        // The only one; one that is no keyboard does not count, unless named.
        assert_eq!(name(&all[..2], None, Some("Gone")), found("Port 10"));
        assert_eq!(name(&all[..1], None, None), Err(ChoiceError::None));
        assert_eq!(
            name(&all[..1], Some("through"), None),
            found("Midi Through:Midi Through Port-0")
        );
        assert_eq!(name(&[], None, Some("Port 1")), Err(ChoiceError::None));
        // A name that is not there is not replaced by another.
        let wanted = "Grand Pano".to_string();
        let nearest = Some("Grand Piano".to_string());
        assert_eq!(
            name(&all, Some("Grand Pano"), Some("Port 1")),
            Err(ChoiceError::NoSuch { wanted, nearest })
        );
    }

    /// They stand on one line of 80 columns, after `demo: `.
    #[test]
    fn what_keeps_every_keyboard_away_is_said_shortly() {
        use PortError::*;
        for error in [NoSequencer, NoPermission, NoLibrary, NoServer] {
            let line = error.to_string();
            assert!(line.chars().count() <= 68, "{line}");
        }
        assert!(ChoiceError::None.to_string().chars().count() <= 68);
    }

    #[test]
    fn what_errors_say() {
        let several = ChoiceError::Several(vec!["A".into(), "B".into()]);
        assert_eq!(
            several.to_string(),
            "2 MIDI inputs would do, name one: \"A\", \"B\""
        );
        let none = choose(&[], Some("x"), None).unwrap_err();
        assert_eq!(
            none.to_string(),
            "no MIDI input is named \"x\", nor any other: connect the keyboard and switch it on"
        );
        assert_eq!(
            choose(&ports(&["Piano"]), Some("pano"), None)
                .unwrap_err()
                .to_string(),
            "no MIDI input is named \"pano\"; the nearest is \"Piano\""
        );
        let gone = PortError::Gone {
            port: "Piano".into(),
        };
        assert_eq!(gone.to_string(), "\"Piano\" is gone: connect it again");
    }
}
