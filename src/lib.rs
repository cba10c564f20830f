//! Peregrinus.
pub mod cli;
pub mod engine;
pub mod formats;
pub mod live;
pub mod midi;
pub mod plan;
pub mod quiet;
pub mod screen;
pub mod settings;
pub mod study;
pub mod theory;

pub mod time;
