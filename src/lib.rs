//! Peregrinus.
pub mod midi;
pub mod time;
