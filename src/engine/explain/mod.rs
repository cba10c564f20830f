//! Why a tonality is likely: each thing heard lately is removed in turn, and the rest is
//! analysed again.
//!
//! [`Recent`] keeps what that needs while the engine runs: about every second what
//! the estimator remembered, and since then what sounded and what was struck. A
//! [`Case`] is a copy of it that any thread may work out. The resulting [`Explanation`] says
//! what would be likely now if the last seconds had been played without this one thing.
//!
//! A removed note is not struck, and does not sound until its key is struck again. The grid
//! goes on even if the removal leaves a long silence.

mod case;
mod explanation;
mod likely;
mod passage;
mod recent;
#[cfg(test)]
mod tests;

pub use case::Case;
pub use explanation::{CANDIDATES, CAUSES, Candidate, Cause, Explanation, Removed};
pub(super) use likely::likeliest_center;
pub(super) use recent::Recent;
