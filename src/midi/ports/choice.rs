//! Which input to use.

use std::fmt;

use super::input::PortInfo;

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

/// The only one: none if there is none, an error if there are several.
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

/// The name most similar to `wanted`, which is in lower case; a part of a name counts as much as
/// all of it.
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
                write!(
                    f,
                    "{} MIDI inputs are there, choose one by --port: ",
                    names.len()
                )?;
                for (i, name) in names.iter().enumerate() {
                    let comma = if i > 0 { ", " } else { "" };
                    write!(f, "{comma}\"{name}\"")?;
                }
                Ok(())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::input::PortError;
    use super::super::names::infos;
    use super::*;

    fn ports(names: &[&str]) -> Vec<PortInfo> {
        let named = |(i, name): (usize, &&str)| (i.to_string(), name.to_string());
        infos(names.iter().enumerate().map(named).collect())
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
            "2 MIDI inputs are there, choose one by --port: \"A\", \"B\""
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
