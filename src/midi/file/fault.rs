//! What is wrong with a file, in words.

use std::fmt;

/// Something in the file that is not as the standard has it, or that goes beyond the
/// [`Limits`](super::Limits).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub kind: FaultKind,
    /// Bytes from the start of the file.
    pub offset: u64,
    /// Counted from 1, in the order of the file.
    pub track: Option<usize>,
    pub what: String,
}

/// Whether the file is damaged, or only large.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// It is not as the standard has it.
    Damage,
    /// It goes beyond a limit, and is not read there.
    Limit,
    /// It is well formed, but what it says is not known here.
    Unknown,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}", grouped(self.offset))?;
        if let Some(track) = self.track {
            write!(f, ", track {}", grouped(track as u64))?;
        }
        write!(f, ": {}", self.what)
    }
}

/// The first faults of a file in full, and how many more there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    first: Vec<Fault>,
    more: usize,
}

impl Faults {
    /// How many are kept in full.
    pub const KEPT: usize = 20;

    /// Whether the file is whole.
    pub fn is_empty(&self) -> bool {
        self.first.is_empty()
    }

    /// How many there are in all.
    pub fn count(&self) -> usize {
        self.first.len() + self.more
    }

    /// The first of them, [`Faults::KEPT`] at most, in the order of the file.
    pub fn first(&self) -> &[Fault] {
        &self.first
    }

    /// How many there are beside the first.
    pub fn more(&self) -> usize {
        self.more
    }

    /// A line for each of the first, and one that counts the rest.
    pub fn lines(&self) -> impl Iterator<Item = String> + '_ {
        self.first
            .iter()
            .map(Fault::to_string)
            .chain(self.and_more())
    }

    /// What stands after the first, if there are more: `... and 1,234 more faults`.
    pub fn and_more(&self) -> Option<String> {
        (self.more > 0).then(|| format!("... and {}", count(self.more, "more fault")))
    }

    /// Takes in one more, in the order of the file; of those at one place the earlier comes first.
    pub fn push(&mut self, fault: Fault) {
        let place = self.first.partition_point(|f| f.offset <= fault.offset);
        self.first.insert(place, fault);
        if self.first.len() > Faults::KEPT {
            self.first.pop();
            self.more += 1;
        }
    }

    /// Damage, put into words only if it is among the first.
    pub(super) fn add(
        &mut self,
        offset: usize,
        track: Option<usize>,
        what: impl FnOnce() -> String,
    ) {
        self.put(FaultKind::Damage, offset, track, what);
    }

    /// The same of a limit.
    pub(super) fn limit(
        &mut self,
        offset: usize,
        track: Option<usize>,
        what: impl FnOnce() -> String,
    ) {
        self.put(FaultKind::Limit, offset, track, what);
    }

    fn put(
        &mut self,
        kind: FaultKind,
        offset: usize,
        track: Option<usize>,
        what: impl FnOnce() -> String,
    ) {
        let offset = offset as u64;
        if self.first.len() == Faults::KEPT && self.first.last().is_some_and(|l| l.offset <= offset)
        {
            self.more += 1;
            return;
        }
        self.push(Fault {
            kind,
            offset,
            track,
            what: what(),
        });
    }

    /// Takes over those of a part of the file.
    pub(super) fn append(&mut self, others: Faults) {
        self.more += others.more;
        others.first.into_iter().for_each(|fault| self.push(fault));
    }
}

/// Why nothing can be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    #[error("the file is empty: export or record it again")]
    Empty,
    #[error(
        "this is {0}, not a Standard MIDI File: export it as MIDI (.mid) from the program that made it"
    )]
    Other(&'static str),
    #[error(
        "this is no Standard MIDI File, which begins with the letters MThd: choose a file that ends in .mid, .midi, .smf or .rmi"
    )]
    NotMidi,
    #[error(
        "byte {offset}: the file ends inside its header, before the first track: get a whole copy of it"
    )]
    CutInHeader { offset: u64 },
    #[error(
        "byte {offset}: the header gives a division of zero ticks, so no event has a time: export the file again"
    )]
    NoDivision { offset: u64 },
    #[error("byte {offset}: after the header there is no track: export the file again")]
    NoTracks { offset: u64 },
    #[error(
        "the file holds {}, and {} are many days of music: choose another, or read all of it with --no-limits",
        count(*bytes as usize, "byte"),
        count(*limit as usize, "byte")
    )]
    TooLarge { bytes: u64, limit: u64 },
    #[error("stopped")]
    Stopped,
}

/// 1234567 as 1,234,567.
pub(super) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out
}

/// The verb that agrees with the number: is, are.
pub(super) fn be(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}

/// `1 track`, `1,234 tracks`.
pub(super) fn count(n: usize, thing: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {thing}{s}", grouped(n as u64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_are_kept_in_order_and_the_rest_counted() {
        let mut faults = Faults::default();
        assert_eq!(faults.lines().count(), 0);
        for i in 0..1_000_000usize {
            // From the end, the middle and the start of a file.
            faults.add([3_000_000 - i, 10 + i, 5][i % 3], None, || i.to_string());
        }
        assert_eq!((faults.first().len(), faults.count()), (20, 1_000_000));
        assert!(faults.first().iter().all(|f| f.offset == 5));
        let said: Vec<&str> = faults.first().iter().map(|f| &*f.what).collect();
        assert_eq!(said[..3], ["2", "5", "8"]);
        let last = faults.lines().last();
        assert_eq!(last.as_deref(), Some("... and 999,980 more faults"));
        assert_eq!(faults.lines().count(), 21);

        let mut other = Faults::default();
        other.limit(1, Some(2), || "before all".into());
        other.append(faults);
        assert_eq!((other.first().len(), other.more()), (20, 999_981));
        let first = other.lines().next();
        assert_eq!(first.as_deref(), Some("byte 1, track 2: before all"));
    }
}
