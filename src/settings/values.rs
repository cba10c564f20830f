//! What the user may set, as values, and what is wrong with a file of settings.

use super::fault::{Fault, FaultKind};
use crate::engine::{self, Fading, Filter, Inertia, Model};
use crate::folders;
use crate::meter::{Meter, Tempo};
use crate::midi::Trigger;
use crate::plain;
use crate::screen::{Depth, KeyBindings, Palette, Panels, Way};
use crate::theory::{Bassist, Catalogue, Notation};
use crate::time::Time;
use std::path::PathBuf;
use std::sync::Arc;

/// Everything that the user may set, checked.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The ports that the user named, if any: a keyboard each.
    pub ports: Vec<String>,
    pub filter: Filter,
    pub fading: Fading,
    pub inertia: Inertia,
    /// Whether the user's own settings name it.
    pub inertia_is_set: bool,
    pub bassist: Bassist,
    /// The file of weights that the user named, if any: [`Settings::load`] reads it.
    pub weights: Option<PathBuf>,
    pub model: Arc<Model>,
    pub notation: Notation,
    pub palette: Palette,
    /// How many colours the terminal shows; none: as it says itself.
    pub depth: Option<Depth>,
    /// Plain lines rather than a screen, in a terminal too.
    pub lines: bool,
    /// The mouse counts.
    pub mouse: bool,
    pub keys: KeyBindings,
    /// The way to begin, and the panels to be seen.
    pub way: Way,
    pub panels: Panels,
    pub jobs: Vec<Job>,
    /// Whether everything that is played is kept.
    pub keep: bool,
    /// The folder of sittings that the user named, if any: see [`Settings::sittings`].
    pub sittings_folder: Option<PathBuf>,
    /// A sitting ends after this much silence.
    pub sitting_rest: Time,
    /// Days after which a sitting without a name, a tag, a marker or a correction goes to the
    /// trash; none: never.
    pub sitting_days: Option<u32>,
    /// The tempo that each sitting begins with; none: it is tapped, or there is none.
    pub tempo: Option<Tempo>,
    /// Of that tempo, and of what is tapped.
    pub meter: Meter,
    pub catalogue: Arc<Catalogue>,
}

/// Something that the piano does beside the music.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Job {
    pub trigger: Trigger,
    /// One of [`KeyBindings::actions`].
    pub action: &'static str,
}

/// What is wrong with a settings file, and where: a line for each fault.
#[derive(Debug, thiserror::Error)]
#[error("{}", self.told(&plain::path(path)).join("\n"))]
pub struct SettingsError {
    path: PathBuf,
    faults: Vec<Fault>,
}

impl SettingsError {
    pub(super) fn new(path: PathBuf, faults: Vec<Fault>) -> SettingsError {
        SettingsError { path, faults }
    }

    /// Of a whole file.
    pub(super) fn whole(path: PathBuf, kind: impl Into<FaultKind>) -> SettingsError {
        let (place, kind) = (None, kind.into());
        SettingsError::new(path, vec![Fault { place, kind }])
    }

    /// From the top of the file to its end.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    fn told(&self, file: &str) -> Vec<String> {
        let told = |fault: &Fault| match fault.place {
            Some((line, column)) => format!("{file}: line {line}, column {column}: {}", fault.kind),
            None => format!("{file}: {}", fault.kind),
        };
        self.faults.iter().map(told).collect()
    }

    /// The first fault in one line, with the file's bare name.
    pub fn brief(&self) -> String {
        let name = self.path.file_name().unwrap_or(self.path.as_os_str());
        let all = self.told(&plain::name(&name.to_string_lossy()));
        let first = all.first().and_then(|text| text.lines().next());
        first.unwrap_or_default().to_owned()
    }
}

impl Settings {
    /// The folder of sittings; none on a system that has no place for a user's data.
    pub fn sittings(&self) -> Option<PathBuf> {
        let usual = || Some(folders::data()?.join("sittings"));
        self.sittings_folder.clone().or_else(usual)
    }

    /// The settings that change a reading, as events for the engine's start.
    pub fn events(&self) -> [engine::Event; 4] {
        [
            engine::Event::Filter(self.filter),
            engine::Event::Fading(self.fading),
            engine::Event::Inertia(self.inertia),
            engine::Event::Bassist(self.bassist),
        ]
    }
}
