//! The rooms' options, composed: defaults embedded from `config/default.toml`,
//! overridden by the user's file, each value checked by the room that owns it.

use crate::engine::{self, Fading, Filter, Inertia, Learned, Model, Monitor};
use crate::midi::PERCUSSION;
use crate::screen::{Depth, Palette};
use crate::theory::{
    Accidentals, AugmentedMark, Cadential, Catalogue, DiminishedMark, Glyphs, HalfDiminished,
    Letters, MajorSeventh, Measure, MinorMark, Notation, NumeralCase, Ties,
};
use crate::time::Time;
use etcetera::BaseStrategy;
use serde::Deserialize;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The embedded defaults, as text.
pub const DEFAULTS: &str = include_str!("../config/default.toml");

/// Everything that the user may set, checked.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The port that the user named, if any.
    pub port: Option<String>,
    pub filter: Filter,
    pub fading: Fading,
    pub inertia: Inertia,
    /// Somebody else plays the roots: chords are read as rootless voicings.
    pub bassist: bool,
    /// The file of weights that the user named, if any: [`Settings::load`] reads it.
    pub weights: Option<PathBuf>,
    pub model: Arc<Model>,
    pub notation: Notation,
    pub palette: Palette,
    /// How many colours the terminal shows; none: as it says itself.
    pub depth: Option<Depth>,
    pub catalogue: Arc<Catalogue>,
}

/// What is wrong with a settings file, and where.
#[derive(Debug, thiserror::Error)]
#[error("{}: {what}", path.display())]
pub struct SettingsError {
    path: PathBuf,
    what: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    keyboard: Option<Keyboard>,
    reading: Option<Reading>,
    notation: Option<NotationFile>,
    screen: Option<Screen>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Keyboard {
    port: Option<String>,
    channels: Option<Vec<i64>>,
    transpose: Option<i64>,
    fading: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Reading {
    inertia: Option<String>,
    bassist: Option<bool>,
    weights: Option<PathBuf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NotationFile {
    numerals: Option<String>,
    numeral_case: Option<String>,
    six_four: Option<String>,
    ionian: Option<String>,
    glyphs: Option<String>,
    letters: Option<String>,
    minor: Option<String>,
    major_seventh: Option<String>,
    half_diminished: Option<String>,
    diminished: Option<String>,
    augmented: Option<String>,
    accidentals: Option<String>,
    ties: Option<String>,
}

/// The values that a key of `[notation]` may have: each as the user writes it.
fn choice<T: Copy>(
    key: &str,
    value: Option<String>,
    of: &[(&str, T)],
    into: &mut T,
) -> Result<(), String> {
    let Some(value) = value else { return Ok(()) };
    // Signs may be typed in ASCII too.
    let plain = |s: &str| s.replace('♭', "b").replace('−', "-");
    match of.iter().find(|(name, _)| plain(name) == plain(&value)) {
        Some((_, meant)) => {
            *into = *meant;
            Ok(())
        }
        None => {
            let names: Vec<String> = of.iter().map(|(name, _)| format!("'{name}'")).collect();
            let (last, first) = names
                .split_last()
                .map_or((String::new(), &[][..]), |(l, f)| (l.clone(), f));
            Err(format!(
                "notation.{key} is '{value}'; it must be {} or {last}",
                first.join(", ")
            ))
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Screen {
    palette: Option<String>,
    depth: Option<String>,
}

impl Settings {
    /// The embedded defaults alone.
    pub fn standard() -> Result<Settings, SettingsError> {
        let model = Model::standard().map_err(|e| SettingsError {
            path: "config/estimator.weights".into(),
            what: e.to_string(),
        })?;
        let mut s = Settings {
            port: None,
            filter: Filter::default(),
            fading: Fading::default(),
            inertia: Inertia::default(),
            bassist: false,
            weights: None,
            model,
            notation: Notation::default(),
            palette: Palette::default(),
            depth: None,
            catalogue: Arc::new(Catalogue::standard().clone()),
        };
        s.override_with(DEFAULTS, Path::new("config/default.toml"))?;
        Ok(s)
    }

    /// The defaults and the user's files, where there are any: `settings.toml`,
    /// and `modes.toml` with modes of the user's own.
    pub fn load(file: Option<&Path>) -> Result<Settings, SettingsError> {
        let mut s = Settings::standard()?;
        let named = file.map(Path::to_owned);
        let path = named
            .clone()
            .or_else(|| config_dir().map(|d| d.join("settings.toml")));
        if let Some(path) = path {
            match std::fs::read_to_string(&path) {
                Ok(text) => s.override_with(&text, &path)?,
                Err(e) if e.kind() == std::io::ErrorKind::NotFound && named.is_none() => {}
                Err(e) => {
                    return Err(SettingsError {
                        what: unreadable(&e),
                        path,
                    });
                }
            }
            if let Some(weights) = &s.weights {
                // Beside the settings, unless it says where from the root on.
                let weights = path.with_file_name("").join(weights);
                let model = read_weights(&weights).map_err(|what| SettingsError {
                    path: weights,
                    what,
                })?;
                s.model = Arc::new(model);
            }
            let modes = path.with_file_name("modes.toml");
            match std::fs::read_to_string(&modes) {
                Ok(text) => {
                    let all = s.catalogue.extended(&text).map_err(|e| SettingsError {
                        path: modes,
                        what: e.to_string().trim_end().to_owned(),
                    })?;
                    s.catalogue = Arc::new(all);
                }
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
                Err(e) => {
                    return Err(SettingsError {
                        what: unreadable(&e),
                        path: modes,
                    });
                }
            }
        }
        Ok(s)
    }

    /// Takes what `text` sets. `path` is for the message.
    pub fn override_with(&mut self, text: &str, path: &Path) -> Result<(), SettingsError> {
        self.take(text).map_err(|what| SettingsError {
            path: path.to_owned(),
            what,
        })
    }

    fn take(&mut self, text: &str) -> Result<(), String> {
        let file: File = toml::from_str(text).map_err(|e| e.to_string().trim_end().to_owned())?;
        if let Some(k) = file.keyboard {
            if let Some(port) = k.port {
                self.port = Some(port).filter(|p| !p.is_empty());
            }
            if let Some(channels) = k.channels {
                self.filter.channels = channel_mask(&channels)?;
            }
            if let Some(t) = k.transpose {
                self.filter.transpose = i8::try_from(t)
                    .ok()
                    .filter(|t| (-48..=48).contains(t))
                    .ok_or(format!(
                        "keyboard.transpose is {t}; it must lie between -48 and 48"
                    ))?;
            }
            if let Some(f) = k.fading {
                self.fading = f.parse().map_err(|e| format!("keyboard.fading: {e}"))?;
            }
        }
        if let Some(r) = file.reading {
            if let Some(i) = r.inertia {
                self.inertia = i.parse().map_err(|e| format!("reading.inertia: {e}"))?;
            }
            if let Some(bassist) = r.bassist {
                self.bassist = bassist;
            }
            if let Some(weights) = r.weights {
                self.weights = Some(weights).filter(|w| !w.as_os_str().is_empty());
            }
        }
        if let Some(n) = file.notation {
            let own = &mut self.notation;
            let marks = &mut own.marks;
            choice(
                "numerals",
                n.numerals,
                &[("major", Measure::Major), ("mode", Measure::Mode)],
                &mut own.measure,
            )?;
            choice(
                "numeral_case",
                n.numeral_case,
                &[
                    ("textbook", NumeralCase::Textbook),
                    ("capitals", NumeralCase::Capitals),
                ],
                &mut own.case,
            )?;
            choice(
                "six_four",
                n.six_four,
                &[("I64", Cadential::Tonic), ("V", Cadential::Dominant)],
                &mut own.cadential,
            )?;
            choice(
                "ionian",
                n.ionian,
                &[("Ionian", false), ("major", true)],
                &mut own.ionian_is_major,
            )?;
            choice(
                "glyphs",
                n.glyphs,
                &[("unicode", Glyphs::Unicode), ("ascii", Glyphs::Ascii)],
                &mut own.glyphs,
            )?;
            choice(
                "letters",
                n.letters,
                &[
                    ("english", Letters::English),
                    ("german", Letters::German),
                    ("fixed do", Letters::FixedDo),
                    ("movable do", Letters::MovableDo),
                ],
                &mut own.letters,
            )?;
            choice(
                "minor",
                n.minor,
                &[
                    ("m", MinorMark::M),
                    ("min", MinorMark::Min),
                    ("−", MinorMark::Dash),
                ],
                &mut marks.minor,
            )?;
            choice(
                "major_seventh",
                n.major_seventh,
                &[
                    ("maj", MajorSeventh::Maj),
                    ("Δ", MajorSeventh::Delta),
                    ("M", MajorSeventh::M),
                ],
                &mut marks.major_seventh,
            )?;
            choice(
                "half_diminished",
                n.half_diminished,
                &[
                    ("m7♭5", HalfDiminished::FlatFive),
                    ("ø7", HalfDiminished::Slashed),
                ],
                &mut marks.half_diminished,
            )?;
            choice(
                "diminished",
                n.diminished,
                &[("°", DiminishedMark::Ring), ("dim", DiminishedMark::Dim)],
                &mut marks.diminished,
            )?;
            choice(
                "augmented",
                n.augmented,
                &[("aug", AugmentedMark::Aug), ("+", AugmentedMark::Plus)],
                &mut marks.augmented,
            )?;
            choice(
                "accidentals",
                n.accidentals,
                &[
                    ("by context", Accidentals::ByContext),
                    ("flats", Accidentals::Flats),
                    ("sharps", Accidentals::Sharps),
                ],
                &mut own.accidentals,
            )?;
            choice(
                "ties",
                n.ties,
                &[
                    ("nearest", Ties::Nearest),
                    ("flats", Ties::Flats),
                    ("sharps", Ties::Sharps),
                ],
                &mut own.ties,
            )?;
        }
        if let Some(s) = file.screen {
            if let Some(p) = s.palette {
                self.palette = p.parse().map_err(|e| format!("screen.palette: {e}"))?;
            }
            if let Some(d) = s.depth {
                self.depth = Depth::set(&d).map_err(|e| format!("screen.depth: {e}"))?;
            }
        }
        Ok(())
    }

    /// The settings that change a reading, as the engine is told them first.
    pub fn events(&self) -> [engine::Event; 4] {
        [
            engine::Event::Filter(self.filter),
            engine::Event::Fading(self.fading),
            engine::Event::Inertia(self.inertia),
            engine::Event::Bassist(self.bassist),
        ]
    }

    /// A monitor with the catalogue and the weights in force, told nothing yet.
    pub fn untold_monitor(&self) -> Monitor {
        let estimator = Learned::new(&self.catalogue, Arc::clone(&self.model));
        Monitor::with_estimator(Arc::clone(&self.catalogue), estimator)
    }

    /// The same, told the settings in force.
    pub fn monitor(&self) -> Monitor {
        let mut monitor = self.untold_monitor();
        for event in self.events() {
            monitor.on_event(Time::ZERO, event, &mut ());
        }
        monitor
    }
}

fn unreadable(e: &std::io::Error) -> String {
    match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file: check its name".into(),
        std::io::ErrorKind::InvalidData => "this is no text in UTF-8: save it as that".into(),
        _ => format!("cannot be read: {e}"),
    }
}

fn read_weights(path: &Path) -> Result<Model, String> {
    let file = std::fs::File::open(path).map_err(|e| unreadable(&e))?;
    let mut bytes = Vec::new();
    // A byte more than can be right is enough to see that it is not.
    file.take(Model::MAX_BYTES as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| unreadable(&e))?;
    Model::parse(&bytes).map_err(|e| e.to_string())
}

fn channel_mask(channels: &[i64]) -> Result<u16, String> {
    if channels.is_empty() {
        return Ok(!(1 << PERCUSSION));
    }
    channels.iter().try_fold(0u16, |mask, &c| match c {
        1..=16 => Ok(mask | 1 << (c - 1)),
        _ => Err(format!(
            "keyboard.channels holds {c}; channels are numbered 1 to 16"
        )),
    })
}

/// Where the user's settings live.
pub fn config_dir() -> Option<PathBuf> {
    Some(
        etcetera::choose_base_strategy()
            .ok()?
            .config_dir()
            .join("peregrinus"),
    )
}

/// Where what the program remembers by itself lives: the last keyboard, the log.
pub fn state_dir() -> Option<PathBuf> {
    let dirs = etcetera::choose_base_strategy().ok()?;
    Some(
        dirs.state_dir()
            .unwrap_or_else(|| dirs.data_dir())
            .join("peregrinus"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sample_file_holds_the_defaults() {
        let s = Settings::standard().expect("the embedded defaults");
        assert_eq!(s.filter, Filter::default());
        assert_eq!(
            (s.fading, s.inertia),
            (Fading::default(), Inertia::default())
        );
        assert_eq!(s.weights, None);
        assert_eq!(s.notation, Notation::default());
        assert_eq!((s.port, s.palette), (None, Palette::default()));
        assert_eq!(s.depth, None);
        assert!(!s.bassist);
        // Every key stands in it.
        let keys = DEFAULTS
            .lines()
            .filter(|l| !l.starts_with('#') && l.contains(" = "));
        assert_eq!(keys.count(), 4 + 3 + 13 + 2);
    }

    #[test]
    fn conventions_are_taken_and_a_wrong_one_names_the_right_ones() {
        let mut s = Settings::standard().expect("the embedded defaults");
        let text = "[reading]\nbassist = true\n[notation]\nletters = 'german'\nminor = '-'\n\
                    major_seventh = 'Δ'\nhalf_diminished = 'ø7'\ndiminished = 'dim'\n\
                    augmented = '+'\naccidentals = 'sharps'\nties = 'sharps'\n";
        s.override_with(text, Path::new("s.toml")).expect("right");
        assert!(s.bassist);
        assert_eq!(s.notation.letters, Letters::German);
        assert_eq!(s.notation.marks.minor, MinorMark::Dash);
        assert_eq!(s.notation.marks.major_seventh, MajorSeventh::Delta);
        assert_eq!(s.notation.marks.half_diminished, HalfDiminished::Slashed);
        assert_eq!(s.notation.marks.diminished, DiminishedMark::Dim);
        assert_eq!(s.notation.marks.augmented, AugmentedMark::Plus);
        assert_eq!(s.notation.accidentals, Accidentals::Sharps);
        assert_eq!(s.notation.ties, Ties::Sharps);
        let say = |text: &str| {
            let mut s = s.clone();
            let wrong = s.override_with(text, Path::new("s.toml"));
            wrong.expect_err("an error").to_string()
        };
        assert_eq!(
            say("[notation]\nletters = 'latin'"),
            "s.toml: notation.letters is 'latin'; it must be 'english', 'german', 'fixed do' or 'movable do'"
        );
        assert_eq!(
            say("[notation]\nminor = 'moll'"),
            "s.toml: notation.minor is 'moll'; it must be 'm', 'min' or '−'"
        );
        assert!(say("[reading]\nbassist = 'yes'").contains("line 2"));
    }

    #[test]
    fn what_is_wrong_is_said_with_its_place() {
        let mut s = Settings::standard().expect("the embedded defaults");
        let mut say = |text: &str| {
            let path = Path::new("s.toml");
            s.override_with(text, path)
                .map_err(|e| e.to_string())
                .expect_err("an error")
        };
        assert_eq!(
            say("[keyboard]\nchannels = [0]"),
            "s.toml: keyboard.channels holds 0; channels are numbered 1 to 16"
        );
        assert!(say("[reading]\ninertai = 'phrase'").contains("line 2"));
        assert_eq!(
            say("[notation]\nsix_four = 'K'"),
            "s.toml: notation.six_four is 'K'; it must be 'I64' or 'V'"
        );
        assert!(say("[notation]\nnumeral_case = 'jazz'").contains("'textbook' or 'capitals'"));
        assert!(
            say("[reading]\ninertia = 'slow'").contains("chord, motif, phrase, period, section")
        );
    }

    #[test]
    fn weights_are_read_from_beside_the_settings() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("s.toml");
        std::fs::write(&file, "[reading]\nweights = 'own.weights'").expect("written");
        let own = folder.path().join("own.weights");
        let embedded = include_bytes!("../config/estimator.weights");
        std::fs::write(&own, embedded).expect("written");
        let standard = Model::standard().expect("the embedded weights");
        let model = |file| Settings::load(Some(file)).expect("settings").model;
        assert!(!Arc::ptr_eq(&model(&file), &standard));
        // A byte changed on the way.
        let mut damaged = embedded.to_vec();
        damaged[100] ^= 1;
        std::fs::write(&own, damaged).expect("written");
        let said = Settings::load(Some(&file))
            .map(|_| ())
            .expect_err("an error");
        assert_eq!(
            said.to_string(),
            format!(
                "{}: the weights are damaged, their checksum does not hold: fetch the file again",
                own.display()
            )
        );
        std::fs::write(&file, "[reading]\nweights = ''").expect("written");
        assert!(Arc::ptr_eq(&model(&file), &standard));
    }
}
