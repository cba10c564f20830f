//! Names of inputs that stay the same.

use super::input::PortInfo;

/// A name without what changes when the keyboard is plugged in again: ALSA's ` 20:0` at the end,
/// and the ` [20]` that bridges from ALSA to JACK put in the middle.
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

/// Ports from the system's ids and names, with lasting names that tell twins apart.
pub(super) fn infos(raw: Vec<(String, String)>) -> Vec<PortInfo> {
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
}
