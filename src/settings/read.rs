//! Settings read from a text in TOML, each value checked by the room that owns it.

use super::fault::{Fault, FaultKind};
use super::table::{At, Faults, Table};
use super::values::{Job, Settings, SettingsError};
use crate::engine::{Fading, Filter, Inertia, Model};
use crate::meter::{Meter, NoMeter, Tempo};
use crate::midi::{Keyboard, PERCUSSION};
use crate::nearest::nearest;
use crate::screen::{Depth, Key, KeyBindings, Palette, Panel, Panels, Way};
use crate::theory::{
    Accidentals, AugmentedMark, Bassist, Cadential, Catalogue, DiminishedMark, Enharmonic, Glyphs,
    HalfDiminished, IonianName, Letters, MajorSeventh, MinorMark, Notation, NumeralBasis,
    NumeralCase,
};
use crate::time::Time;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The embedded defaults, as text.
pub const DEFAULTS: &str = include_str!("../../config/default.toml");

impl Settings {
    /// The embedded defaults alone.
    pub fn standard() -> Result<Settings, SettingsError> {
        let model = Model::standard()
            .map_err(|e| SettingsError::whole("config/estimator.weights".into(), e))?;
        let mut s = Settings {
            ports: Vec::new(),
            filter: Filter::default(),
            fading: Fading::default(),
            inertia: Inertia::default(),
            inertia_is_set: false,
            bassist: Bassist::Absent,
            weights: None,
            model,
            notation: Notation::default(),
            palette: Palette::default(),
            depth: None,
            lines: false,
            mouse: true,
            keys: KeyBindings::default(),
            way: Way::default(),
            panels: Panels::default(),
            jobs: Vec::new(),
            keep: true,
            sittings_folder: None,
            sitting_rest: Time::ZERO,
            sitting_days: None,
            tempo: None,
            meter: Meter::COMMON,
            catalogue: Arc::new(Catalogue::standard().clone()),
        };
        s.override_with(DEFAULTS, Path::new("config/default.toml"))?;
        s.inertia_is_set = false;
        Ok(s)
    }

    /// Takes what `text` sets. `path` is for the message.
    pub fn override_with(&mut self, text: &str, path: &Path) -> Result<(), SettingsError> {
        self.take(text)
            .map_err(|faults| SettingsError::new(path.to_owned(), faults))
    }

    /// Takes all that `text` sets, or nothing.
    fn take(&mut self, text: &str) -> Result<(), Vec<Fault>> {
        let faults = Faults::of(text);
        let mut own = self.clone();
        let mut file = Table::file(&faults);
        own.take_keyboard(file.table("keyboard"), &faults);
        own.take_reading(file.table("reading"));
        own.take_sittings(file.table("sittings"), &faults);
        own.take_click(file.table("click"), &faults);
        own.take_notation(file.table("notation"));
        let mut screen = file.table("screen");
        let palettes = Palette::ALL.map(|p| (p.name(), p));
        set(&mut own.palette, screen.choice("palette", &palettes));
        set(&mut own.depth, screen.choice("depth", &Depth::choices()));
        set(
            &mut own.way,
            screen.choice("way", &Way::ALL.map(|w| (w.name(), w))),
        );
        own.take_panels(&mut screen, &faults);
        set(&mut own.lines, screen.boolean("lines"));
        set(&mut own.mouse, screen.boolean("mouse"));
        screen.finish();
        own.take_keys(file.table("keys"), &faults);
        own.take_jobs(file.table("jobs"), &faults);
        file.finish();
        let faults = faults.in_order();
        if !faults.is_empty() {
            return Err(faults);
        }
        *self = own;
        Ok(())
    }

    fn take_keyboard(&mut self, mut table: Table, faults: &Faults) {
        if let Some(At { value, at }) =
            table.texts("port", "a name in quotation marks, or a list of names")
        {
            let named = value.into_iter().map(|port| port.value);
            self.ports = named.filter(|port| !port.is_empty()).collect();
            if self.ports.len() > Keyboard::COUNT {
                faults.add(at, FaultKind::Ports(self.ports.len()));
            }
        }
        if let Some(channels) = table.integers("channels") {
            self.filter.channels = channel_mask(&channels, faults);
        }
        if let Some(At { value, at }) = table.integer("transpose") {
            match i8::try_from(value) {
                Ok(t @ -48..=48) => self.filter.transpose = t,
                _ => faults.add(at, FaultKind::Transpose(value)),
            }
        }
        let fadings = [Fading::Struck, Fading::Sustained].map(|f| (f.name(), f));
        set(&mut self.fading, table.choice("fading", &fadings));
        table.finish();
    }

    fn take_sittings(&mut self, mut table: Table, faults: &Faults) {
        set(&mut self.keep, table.boolean("keep"));
        if let Some(folder) = table.text("folder") {
            let named = PathBuf::from(folder.value);
            self.sittings_folder = Some(named).filter(|f| !f.as_os_str().is_empty());
        }
        if let Some(At { value, at }) = table.integer("rest") {
            match u64::try_from(value) {
                Ok(seconds @ 10..=86_400) => self.sitting_rest = Time::millis(1000 * seconds),
                _ => faults.add(at, FaultKind::Rest(value)),
            }
        }
        if let Some(At { value, at }) = table.integer("forget_after") {
            match u32::try_from(value) {
                Ok(days @ 0..=36_500) => self.sitting_days = Some(days).filter(|&d| d > 0),
                _ => faults.add(at, FaultKind::ForgetAfter(value)),
            }
        }
        table.finish();
    }

    fn take_click(&mut self, mut table: Table, faults: &Faults) {
        if let Some(At { value, at }) = table.integer("tempo") {
            match (value, Tempo::per_minute(value as f64)) {
                (0, _) => self.tempo = None,
                (_, Some(tempo)) => self.tempo = Some(tempo),
                (_, None) => faults.add(at, FaultKind::Tempo(value)),
            }
        }
        if let Some(At { value, at }) = table.text("meter") {
            match value.parse() {
                Ok(meter) => self.meter = meter,
                Err(NoMeter) => faults.add(at, FaultKind::Meter(value)),
            }
        }
        table.finish();
    }

    fn take_reading(&mut self, mut table: Table) {
        let stops = Inertia::ALL.map(|i| (i.name(), i));
        if let Some(inertia) = table.choice("inertia", &stops) {
            (self.inertia, self.inertia_is_set) = (inertia, true);
        }
        let bassist = table.boolean("bassist").map(|plays| match plays {
            true => Bassist::Plays,
            false => Bassist::Absent,
        });
        set(&mut self.bassist, bassist);
        if let Some(weights) = table.text("weights") {
            self.weights = Some(PathBuf::from(weights.value)).filter(|w| !w.as_os_str().is_empty());
        }
        table.finish();
    }

    #[rustfmt::skip]
    fn take_notation(&mut self, mut table: Table) {
        let own = &mut self.notation;
        let marks = &mut own.marks;
        set(&mut own.numeral_basis, table.choice("numerals", &[("major", NumeralBasis::MajorScale), ("mode", NumeralBasis::Mode)]));
        set(&mut own.case, table.choice("numeral_case", &[
            ("textbook", NumeralCase::Textbook), ("capitals", NumeralCase::Capitals)]));
        set(&mut own.cadential, table.choice("six_four", &[("I64", Cadential::Tonic), ("V", Cadential::Dominant)]));
        set(&mut own.ionian, table.choice("ionian", &[("Ionian", IonianName::Ionian), ("major", IonianName::Major)]));
        set(&mut own.glyphs, table.choice("glyphs", &[("unicode", Glyphs::Unicode), ("ascii", Glyphs::Ascii)]));
        set(&mut own.letters, table.choice("letters", &[
            ("english", Letters::English), ("german", Letters::German),
            ("fixed do", Letters::FixedDo), ("movable do", Letters::MovableDo)]));
        set(&mut marks.minor, table.choice("minor", &[
            ("m", MinorMark::M), ("min", MinorMark::Min), ("−", MinorMark::Dash)]));
        set(&mut marks.major_seventh, table.choice("major_seventh", &[
            ("maj", MajorSeventh::Maj), ("Δ", MajorSeventh::Delta), ("M", MajorSeventh::M)]));
        set(&mut marks.half_diminished, table.choice("half_diminished", &[
            ("m7♭5", HalfDiminished::FlatFive), ("ø7", HalfDiminished::Slashed)]));
        set(&mut marks.diminished, table.choice("diminished", &[
            ("°", DiminishedMark::Ring), ("dim", DiminishedMark::Dim)]));
        set(&mut marks.augmented, table.choice("augmented", &[
            ("aug", AugmentedMark::Aug), ("+", AugmentedMark::Plus)]));
        set(&mut own.accidentals, table.choice("accidentals", &[
            ("by context", Accidentals::ByContext), ("flats", Accidentals::Flats), ("sharps", Accidentals::Sharps)]));
        set(&mut own.enharmonic, table.choice("enharmonic", &[
            ("nearest", Enharmonic::Nearest), ("flats", Enharmonic::Flats), ("sharps", Enharmonic::Sharps)]));
        table.finish();
    }

    fn take_panels(&mut self, table: &mut Table, faults: &Faults) {
        let Some(list) = table.texts(
            "panels",
            "a list of panels, such as [\"piano\", \"history\"]",
        ) else {
            return;
        };
        let read = |text: &At<String>| {
            let found = Panel::ALL.into_iter().find(|p| p.name() == text.value);
            if found.is_none() {
                let no_panel = FaultKind::NoPanel {
                    written: text.value.clone(),
                    nearest: nearest(&text.value, Panel::ALL.map(Panel::name)),
                };
                faults.add(text.at, no_panel);
            }
            found
        };
        self.panels = list.value.iter().filter_map(read).collect();
    }

    fn take_keys(&mut self, mut table: Table, faults: &Faults) {
        let wanted = "a key or a list of keys, such as \"q\" or [\"q\", \"F10\"]";
        let mut places = Vec::new();
        for action in KeyBindings::actions() {
            let Some(list) = table.texts(action, wanted) else {
                continue;
            };
            let name = || table.full(action);
            let read = |text: &At<String>| match text.value.parse::<Key>() {
                Ok(key) => Some(key),
                Err(why) => {
                    faults.add(text.at, FaultKind::NoKey { name: name(), why });
                    None
                }
            };
            let keys: Vec<Key> = list.value.iter().filter_map(read).collect();
            self.keys.bind(action, &keys);
            places.push((action, list.at));
        }
        table.finish();
        // At the last of the two that the user wrote.
        if let Some(clash) = self.keys.clash() {
            let own = places.iter().filter(|(a, _)| clash.actions.contains(a));
            let at = own.map(|(_, at)| *at).max().unwrap_or(0);
            faults.add(at, FaultKind::Clash(clash));
        }
    }

    fn take_jobs(&mut self, mut table: Table, faults: &Faults) {
        let wanted = "a controller or a key of the piano, or a list of them, such as \
                      \"controller 67\" or [\"controller 67\", \"key C8\"]";
        let mut given: Vec<At<Job>> = Vec::new();
        let mut named = Vec::new();
        for action in KeyBindings::actions() {
            let Some(list) = table.texts(action, wanted) else {
                continue;
            };
            named.push(action);
            let name = || table.full(action);
            for At { value, at } in list.value {
                match value.parse() {
                    Ok(trigger) => given.push(At {
                        value: Job { trigger, action },
                        at,
                    }),
                    Err(why) => faults.add(at, FaultKind::NoTrigger { name: name(), why }),
                }
            }
        }
        table.finish();
        // In the order in which they are written, so that the second of two is at fault.
        given.sort_by_key(|job| job.at);
        let mut jobs: Vec<Job> = Vec::new();
        jobs.extend(self.jobs.iter().filter(|job| !named.contains(&job.action)));
        for At { value: job, at } in given {
            match jobs.iter().find(|j| j.trigger == job.trigger) {
                Some(other) if other.action == job.action => {}
                Some(other) => {
                    let two_jobs = FaultKind::TwoJobs {
                        trigger: job.trigger,
                        actions: [other.action, job.action],
                    };
                    faults.add(at, two_jobs);
                }
                None => jobs.push(job),
            }
        }
        self.jobs = jobs;
    }
}

/// Bit n for channel n + 1; none named: all but percussion.
fn channel_mask(channels: &[At<i64>], faults: &Faults) -> u16 {
    if channels.is_empty() {
        return !PERCUSSION.number_bit();
    }
    channels.iter().fold(0, |mask, c| match c.value {
        1..=16 => mask | 1 << (c.value - 1),
        other => {
            faults.add(c.at, FaultKind::Channel(other));
            mask
        }
    })
}

/// Takes a value that was given.
fn set<T>(into: &mut T, value: Option<T>) {
    if let Some(value) = value {
        *into = value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::Trigger;

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
        assert_eq!((s.ports, s.palette), (vec![], Palette::default()));
        assert_eq!(s.depth, None);
        assert_eq!(s.bassist, Bassist::Absent);
        // Every key stands in it.
        let keys = DEFAULTS
            .lines()
            .filter(|l| !l.starts_with('#') && l.contains(" = "));
        assert_eq!(
            keys.count(),
            4 + 3 + 4 + 2 + 13 + 6 + KeyBindings::actions().count()
        );
        assert_eq!(s.keys, KeyBindings::default());
        assert_eq!((s.keep, &s.sittings_folder), (true, &None));
        assert_eq!((s.tempo, s.meter), (None, Meter::COMMON));
        assert_eq!(
            (s.sitting_rest, s.sitting_days),
            (Time::millis(300_000), None)
        );
        assert_eq!(
            (s.jobs.as_slice(), s.lines, s.mouse),
            (&[][..], false, true)
        );
        assert!(!s.inertia_is_set);
        for action in KeyBindings::actions() {
            assert!(DEFAULTS.contains(&format!("\n{action} = ")), "{action}");
        }
    }

    #[test]
    fn conventions_are_taken_and_a_wrong_one_names_the_right_ones() {
        let mut s = Settings::standard().expect("the embedded defaults");
        let text = "[reading]\nbassist = true\n[notation]\nletters = 'german'\nminor = '-'\n\
                    major_seventh = 'Δ'\nhalf_diminished = 'ø7'\ndiminished = 'dim'\n\
                    augmented = '+'\naccidentals = 'sharps'\nenharmonic = 'sharps'\n";
        s.override_with(text, Path::new("s.toml")).expect("right");
        assert_eq!(s.bassist, Bassist::Plays);
        assert_eq!(s.notation.letters, Letters::German);
        assert_eq!(s.notation.marks.minor, MinorMark::Dash);
        assert_eq!(s.notation.marks.major_seventh, MajorSeventh::Delta);
        assert_eq!(s.notation.marks.half_diminished, HalfDiminished::Slashed);
        assert_eq!(s.notation.marks.diminished, DiminishedMark::Dim);
        assert_eq!(s.notation.marks.augmented, AugmentedMark::Plus);
        assert_eq!(s.notation.accidentals, Accidentals::Sharps);
        assert_eq!(s.notation.enharmonic, Enharmonic::Sharps);
        let say = |text: &str| {
            let mut s = s.clone();
            let wrong = s.override_with(text, Path::new("s.toml"));
            wrong.expect_err("an error").to_string()
        };
        assert_eq!(
            say("[notation]\nletters = 'latin'"),
            "s.toml: line 2, column 11: notation.letters is 'latin'; it must be 'english', 'german', \
             'fixed do' or 'movable do'"
        );
        assert_eq!(
            say("[notation]\nminor = 'moll'"),
            "s.toml: line 2, column 9: notation.minor is 'moll'; it must be 'm', 'min' or '−'"
        );
    }

    #[test]
    fn what_is_wrong_is_said_with_its_place_and_the_nearest_name() {
        let s = Settings::standard().expect("the embedded defaults");
        let say = |text: &str| {
            let mut s = s.clone();
            let path = Path::new("folder/s.toml");
            s.override_with(text, path).expect_err("an error").brief()
        };
        for (text, said) in [
            (
                "[keyboard]\nchannels = [1, 0]",
                "line 2, column 16: keyboard.channels holds 0; channels are numbered 1 to 16",
            ),
            (
                "[reading]\n'inertai' = 'phrase'",
                "line 2, column 1: [reading] has no 'inertai'; did you mean 'inertia'?",
            ),
            (
                "[reading]\ninertia = 'frase'",
                "line 2, column 11: reading.inertia is 'frase'; did you mean 'phrase'? It must be \
                 'chord', 'motif', 'phrase', 'period' or 'section'",
            ),
            (
                "\n[readings]",
                "line 2, column 2: there is no table [readings]; did you mean [reading]?",
            ),
            (
                "reading = 3",
                "line 1, column 11: reading is the number 3; it must be a table: write [reading] in \
                 a line of its own",
            ),
            (
                "reading.inertia = true",
                "line 1, column 19: reading.inertia is true; it must be a text in quotation marks",
            ),
            (
                "[keys]\nmarker = ['F5', 'Spcae']",
                "line 2, column 17: keys.marker: 'Spcae' is no key; did you mean 'Space'? write a \
                 character, or a name such as Space, Enter, Tab, Esc, Left, PageUp or F1, after \
                 Ctrl-, Alt- or Shift- where it needs them",
            ),
            (
                "[keys]\nquit = 'y'\nmarker = 'e'",
                "line 3, column 10: keys: 'e' is the key of both evidence and marker: give one of \
                 them another",
            ),
            (
                "[keys]\nmarker = 5",
                "line 2, column 10: keys.marker is the number 5; it must be a key or a list of keys, \
                 such as \"q\" or [\"q\", \"F10\"]",
            ),
        ] {
            assert_eq!(say(text), format!("s.toml: {said}"));
        }
    }

    /// Every fault of a file is reported, from top to end, and nothing of it is taken.
    #[test]
    fn all_faults_are_told_at_once() {
        let mut s = Settings::standard().expect("the embedded defaults");
        let text = "[screen]\npalette = 'drak'\n[keyboard]\ntranspose = 99\nfading = 'sustained'\n";
        let wrong = s.override_with(text, Path::new("s.toml"));
        let wrong = wrong.expect_err("an error").to_string();
        let lines: Vec<&str> = wrong.lines().collect();
        assert_eq!(lines.len(), 2, "{wrong}");
        assert!(
            lines[0].contains(
                "s.toml: line 2, column 11: screen.palette is 'drak'; did you mean 'dark'?"
            )
        );
        assert!(lines[1].contains("s.toml: line 4, column 13: keyboard.transpose is 99"));
        assert_eq!(s.fading, Fading::Struck);
    }

    #[test]
    fn keys_are_the_users_own() {
        let mut s = Settings::standard().expect("the embedded defaults");
        let text = "[keys]\nmarker = ['F5', 'Ctrl-K']\nrepeat = []\nquit = 'r'\n";
        s.override_with(text, Path::new("s.toml")).expect("right");
        let mut wanted = KeyBindings::default();
        let key = |k: &str| k.parse().expect("a key");
        wanted.bind("marker", &[key("F5"), key("Ctrl-K")]);
        wanted.bind("repeat", &[]);
        wanted.bind("quit", &[key("r")]);
        assert_eq!(s.keys, wanted);
        assert_ne!(s.keys, KeyBindings::default());
    }

    /// Places in the list are what the live part tells: the order is that of the file.
    #[test]
    fn jobs_are_given_to_the_piano_when_asked_for() {
        let standard = Settings::standard().expect("the embedded defaults");
        let take = |text: &str| {
            let mut s = standard.clone();
            s.override_with(text, Path::new("s.toml")).map(|()| s.jobs)
        };
        let jobs = take(
            "[jobs]\nmarker = 'controller 67'\nquit = ['key C8', 'key 21', 'key 108']\nhelp = []\n",
        );
        let job = |trigger, action| Job { trigger, action };
        assert_eq!(
            jobs.expect("right"),
            [
                job(Trigger::Controller(67), "marker"),
                job(Trigger::Key(108), "quit"),
                job(Trigger::Key(21), "quit"),
            ]
        );
        for (text, said) in [
            (
                "[jobs]\nquit = 'key C8'\nmarker = ['controller 20', 'key 108']",
                "line 3, column 28: jobs: 'key 108' has two jobs, quit and marker: give one of them \
                 another controller or key",
            ),
            (
                "[jobs]\nmarker = 'key 108'\nquit = 'key C8'",
                "line 3, column 8: jobs: 'key 108' has two jobs, marker and quit: give one of them \
                 another controller or key",
            ),
            (
                "[jobs]\nmarkr = 'key C8'",
                "line 2, column 1: [jobs] has no 'markr'; did you mean 'marker'?",
            ),
            (
                "[jobs]\nmarker = 'pedal 67'",
                "line 2, column 10: jobs.marker: 'pedal 67' is neither a controller nor a key: write \
                 'controller 67', 'key 108' or 'key C8'",
            ),
            (
                "[jobs]\nmarker = ['key C8', 'controller 123']",
                "line 2, column 21: jobs.marker: controller 123 lifts keys or changes the mode of a \
                 channel: give the job to one of 0 to 119",
            ),
            (
                "[jobs]\nmarker = 67",
                "line 2, column 10: jobs.marker is the number 67; it must be a controller or a key of \
                 the piano, or a list of them, such as \"controller 67\" or [\"controller 67\", \
                 \"key C8\"]",
            ),
        ] {
            let wrong = take(text).expect_err(text);
            assert_eq!(wrong.brief(), format!("s.toml: {said}"));
        }
    }
}
