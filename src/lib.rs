//! Peregrinus.
pub mod engine;
pub mod midi;
pub mod plan;
pub mod screen;
pub mod theory;
pub mod time;
