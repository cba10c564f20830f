//! Inertia: how much it takes until something else is established.

use crate::nearest::nearest;
use crate::time::Time;
use std::str::FromStr;

/// How long and how clearly something must last to be established: five stops.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Inertia {
    Chord,
    Motif,
    #[default]
    Phrase,
    Period,
    Section,
}

impl Inertia {
    pub const ALL: [Inertia; 5] = [
        Inertia::Chord,
        Inertia::Motif,
        Inertia::Phrase,
        Inertia::Period,
        Inertia::Section,
    ];

    pub fn name(self) -> &'static str {
        ["chord", "motif", "phrase", "period", "section"][self as usize]
    }

    /// How long after a change of center the new one is shown, as a rule, where the music is
    /// plain and where it is not: the medians over sets of tunes and over performances
    /// (src/manual/pages/figures.md).
    pub fn shown_after(self) -> (Time, Time) {
        let (plain, rich) = [
            (400, 4000),
            (600, 5200),
            (800, 6300),
            (1800, 6700),
            (5000, 11_600),
        ][self as usize];
        (Time::millis(plain), Time::millis(rich))
    }

    pub(super) fn rules(self) -> Rules {
        // Chosen on the labelled music; what each stop costs and gives stands in
        // src/manual/pages/figures.md.
        let (bar, patience, home) = [
            (0.0, 0.05, 6.0),
            (0.4, 0.3, 12.0),
            (0.7, 0.6, 20.0),
            (1.0, 2.5, 40.0),
            (1.2, 8.0, 80.0),
        ][self as usize];
        Rules {
            bar,
            patience,
            home,
        }
    }
}

/// Error: a name that no stop of inertia has.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("unknown inertia '{0}'{rest}", rest = what_to_write(.0))]
pub struct UnknownInertia(pub String);

/// The stop that a misspelt name comes nearest to, if any, and all of them.
fn what_to_write(text: &str) -> String {
    let names = Inertia::ALL.map(Inertia::name);
    let all = names.join(", ");
    match nearest(text, names) {
        Some(meant) => format!("; did you mean {meant}? The stops are {all}"),
        None => format!(": write one of {all}"),
    }
}

impl FromStr for Inertia {
    type Err = UnknownInertia;
    fn from_str(s: &str) -> Result<Inertia, UnknownInertia> {
        let mut all = Inertia::ALL.into_iter();
        let found = all.find(|i| i.name() == s);
        found.ok_or_else(|| UnknownInertia(s.into()))
    }
}

/// The figures of a stop: how leads are gathered, and how home is weighed.
#[derive(Clone, Copy)]
pub(super) struct Rules {
    /// Subtracted from the lead in each step, as a logarithm.
    pub bar: f32,
    /// What must be gathered to take over, in logarithms times seconds.
    pub patience: f32,
    /// Time constant of home, in seconds.
    pub home: f32,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of the measured stops.
    #[test]
    fn a_change_is_shown_as_long_after_as_was_measured() {
        let measured = include_str!("../../manual/pages/figures.md");
        for stop in Inertia::ALL {
            let row = measured.lines().find_map(|line| {
                let (name, rest) = line.strip_prefix("| ")?.split_once(" | ")?;
                (name.trim_matches('*') == stop.name()).then_some(rest)
            });
            let (plain, rest) = row.and_then(|r| r.split_once(" s, ")).expect("a row");
            let rich = rest.split(" | ").nth(1).and_then(|r| r.strip_suffix(" s"));
            let [plain, rich] = [Some(plain), rich].map(|lag| {
                let seconds = lag.expect("a lag").parse().expect("seconds");
                Time::from_seconds(seconds)
            });
            assert_eq!(stop.shown_after(), (plain, rich), "{stop:?}");
        }
    }

    #[test]
    fn inertia_is_read_by_name() {
        assert_eq!("period".parse(), Ok(Inertia::Period));
        let error = "slow".parse::<Inertia>().expect_err("no stop");
        let said = "unknown inertia 'slow': write one of chord, motif, phrase, period, section";
        assert_eq!(error.to_string(), said);
        let error = "frase".parse::<Inertia>().expect_err("misspelt");
        let said = "unknown inertia 'frase'; did you mean phrase? The stops are chord, motif, \
                    phrase, period, section";
        assert_eq!(error.to_string(), said);
    }
}
