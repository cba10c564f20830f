//! Peregrinus.
pub mod midi;
pub mod theory;
pub mod time;
