//! Long work: how far it has got, and whether it is to go on. Knows nobody; everybody may know it.

/// Is told every so often how far the work has got, and says whether it goes on.
pub trait Progress {
    /// `done` goes from 0 to 1. An error ends the work.
    fn reached(&mut self, done: f64) -> Result<(), Stopped>;
}

/// The work was ended from outside before it was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("stopped")]
pub struct Stopped;

/// Nobody is told, and the work goes on to its end.
impl Progress for () {
    fn reached(&mut self, _: f64) -> Result<(), Stopped> {
        Ok(())
    }
}

impl<F: FnMut(f64) -> Result<(), Stopped>> Progress for F {
    fn reached(&mut self, done: f64) -> Result<(), Stopped> {
        self(done)
    }
}

/// One part of the work: its progress from 0 to 1 is that of the whole between two values.
pub struct Part<'a> {
    pub whole: &'a mut dyn Progress,
    pub from: f64,
    pub to: f64,
}

impl Progress for Part<'_> {
    fn reached(&mut self, done: f64) -> Result<(), Stopped> {
        self.whole.reached(self.from + done * (self.to - self.from))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_moves_between_its_ends_and_can_be_stopped() {
        let mut told = Vec::new();
        let mut whole = |done| {
            told.push(done);
            if done < 0.7 { Ok(()) } else { Err(Stopped) }
        };
        let mut part = Part {
            whole: &mut whole,
            from: 0.25,
            to: 0.75,
        };
        let said = [0.0, 0.5, 1.0].map(|done| part.reached(done));
        assert_eq!(said, [Ok(()), Ok(()), Err(Stopped)]);
        assert_eq!(told, [0.25, 0.5, 0.75]);
    }
}
