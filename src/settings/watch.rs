//! Follows the settings while the program runs: changes in the user's files are taken over,
//! and faults in them are shown until they are mended.

use super::values::{Settings, SettingsError};
use crate::screen::Update;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded, unbounded};
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

/// How often the files are looked at. A change counts once it has stood from one look to
/// the next, so that no file is read while it is written.
pub const EVERY: Duration = Duration::from_millis(500);

/// Follows the files as long as it lives.
pub struct Watch {
    _ends: Sender<()>,
}

/// Looks at `files` in this interval and sends what `load` gives that differs from the
/// `settings` in force. A file need not exist. Without a thread nothing is followed.
pub fn follow(
    files: Vec<PathBuf>,
    every: Duration,
    settings: Settings,
    load: impl Fn() -> Result<Settings, SettingsError> + Send + 'static,
) -> (Watch, Receiver<Update>) {
    let (ends, ended) = bounded(0);
    let (send, updates) = unbounded();
    let mut looks = Looks::new(files, settings, load);
    let follow = move || {
        while ended.recv_timeout(every) == Err(RecvTimeoutError::Timeout) {
            if let Some(update) = looks.look()
                && send.send(update).is_err()
            {
                return;
            }
        }
    };
    let thread = std::thread::Builder::new().name("settings".into());
    let _ = thread.spawn(follow);
    (Watch { _ends: ends }, updates)
}

/// Looks at the files, one time after another; the caller decides when.
struct Looks<L> {
    files: Vec<PathBuf>,
    load: L,
    follower: Follower,
    /// As the files stood at the last look.
    before: Vec<Stamp>,
    /// As they stood when they were last read.
    taken: Vec<Stamp>,
}

impl<L: Fn() -> Result<Settings, SettingsError>> Looks<L> {
    fn new(files: Vec<PathBuf>, settings: Settings, load: L) -> Looks<L> {
        Looks {
            before: files.iter().map(stamp).collect(),
            // Read once more at first: they may have changed since they were loaded.
            taken: Vec::new(),
            files,
            load,
            follower: Follower {
                start: settings.clone(),
                settings,
                pending: false,
                wrong: None,
            },
        }
    }

    /// What is new since the last look, once it has stood for one.
    fn look(&mut self) -> Option<Update> {
        let now: Vec<Stamp> = self.files.iter().map(stamp).collect();
        let settled = now == self.before;
        self.before = now;
        // What is wrong may be mended in another file than these.
        if !settled || (self.before == self.taken && self.follower.wrong.is_none()) {
            return None;
        }
        self.taken.clone_from(&self.before);
        self.follower.take((self.load)())
    }
}

/// When a file was changed and how long it is; none where it cannot be seen.
type Stamp = Option<(Option<SystemTime>, u64)>;

fn stamp(file: &PathBuf) -> Stamp {
    let seen = std::fs::metadata(file).ok()?;
    Some((seen.modified().ok(), seen.len()))
}

/// The settings in force, and the fault that was shown last.
struct Follower {
    /// What the program began with.
    start: Settings,
    settings: Settings,
    /// Whether it was said that something needs a new start.
    pending: bool,
    wrong: Option<String>,
}

impl Follower {
    /// What to send of what was read, if anything.
    fn take(&mut self, read: Result<Settings, SettingsError>) -> Option<Update> {
        match read {
            Ok(new) => {
                let mended = self.wrong.take().is_some();
                let update = self.settings.update(&new, &self.start);
                self.settings = new;
                let pending = update.said.is_some();
                let taken_back = std::mem::replace(&mut self.pending, pending) && !pending;
                (mended || taken_back || update != Update::default()).then_some(update)
            }
            Err(e) => {
                let wrong = Some(e.brief());
                let new = wrong != self.wrong;
                self.wrong.clone_from(&wrong);
                new.then(|| Update {
                    refused: wrong,
                    ..Update::default()
                })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Bassist, Event, Inertia};
    use crate::screen::Palette;
    use crate::settings::files::Presence;

    /// The user's files, and who looks at them.
    struct Files {
        folder: tempfile::TempDir,
        looks: Looks<Box<dyn Fn() -> Result<Settings, SettingsError>>>,
    }

    impl Files {
        /// With these settings, or without a file.
        fn new(text: Option<&str>) -> Files {
            let folder = tempfile::tempdir().expect("a folder");
            let file = folder.path().join("settings.toml");
            if let Some(text) = text {
                std::fs::write(&file, text).expect("written");
            }
            let load = move || Settings::read(&file, Presence::Optional);
            let files = ["settings.toml", "modes.toml"].map(|f| folder.path().join(f));
            let settings = load().expect("settings");
            let looks = Looks::new(files.into(), settings, Box::new(load) as _);
            let mut files = Files { folder, looks };
            assert_eq!(files.looks.look(), None, "nothing has changed yet");
            files
        }

        fn write(&self, file: &str, text: &str) {
            std::fs::write(self.folder.path().join(file), text).expect("written");
        }

        /// The update for a change, at the second look, when it has settled.
        fn next(&mut self) -> Update {
            assert_eq!(self.looks.look(), None, "not settled yet");
            self.looks.look().expect("an update")
        }
    }

    #[test]
    fn only_what_changes_is_told() {
        let mut files = Files::new(Some("[screen]\npalette = 'light'\n"));
        files.write(
            "settings.toml",
            "[screen]\npalette = 'light'\n[reading]\nbassist = true\n[keyboard]\ntranspose = -12\n",
        );
        let update = files.next();
        let filter = update
            .events
            .iter()
            .any(|e| matches!(e, Event::Filter(f) if f.transpose == -12));
        assert!(filter && update.events.contains(&Event::Bassist(Bassist::Plays)));
        assert_eq!(update.events.len(), 2);
        let events = update.events.clone();
        let rest = Update {
            events,
            ..Update::default()
        };
        assert_eq!(update, rest);
        // Back to the defaults.
        files.write("settings.toml", "");
        let update = files.next();
        assert_eq!(update.palette, Some(Palette::Dark));
        assert_eq!((update.keys, update.notation), (None, None));
        assert_eq!(update.events.len(), 2);
    }

    #[test]
    fn what_is_wrong_is_told_once_and_until_it_is_mended() {
        let mut files = Files::new(Some("[reading]\ninertia = 'motif'\n"));
        files.write("settings.toml", "[reading]\ninertia = 'motiv'\n");
        let refused = files.next().refused.expect("a fault");
        assert!(
            refused.starts_with("settings.toml: line 2, column 11: "),
            "{refused}"
        );
        for _ in 0..10 {
            assert_eq!(files.looks.look(), None, "told once");
        }
        files.write("settings.toml", "[reading]\ninertia = 'motif' # mended\n");
        // Nothing but that it is right again.
        assert_eq!(files.next(), Update::default());
    }

    #[test]
    fn a_file_that_appears_counts_and_one_that_goes_too() {
        let mut files = Files::new(None);
        files.write("settings.toml", "[reading]\ninertia = 'phrase'\n");
        // The same as the default, but now the user's own word.
        assert_eq!(files.next().events, [Event::Inertia(Inertia::Phrase)]);
        files.write("settings.toml", "[keys]\nquit = 'y'\n");
        assert!(files.next().keys.is_some());
        std::fs::remove_file(files.folder.path().join("settings.toml")).expect("removed");
        let update = files.next();
        assert_eq!(update.keys, Some(crate::screen::KeyBindings::default()));
        // No inertia is set any longer: what is in force stays.
        assert_eq!(update.events, []);
    }

    #[test]
    fn what_needs_a_new_start_is_said() {
        let mut files = Files::new(Some(""));
        files.write("settings.toml", "[keyboard]\nport = 'Piano'\n");
        let said = files.next().said.expect("a line");
        assert_eq!(said, "keyboard.port counts from the next start.");
        let own = "[[mode]]\nid = 'own'\nname = 'Own'\ndegrees = '1 2 3 4 5 6 b7'\nscored_as = 'dorian'\nparent = 'own'\n";
        files.write("modes.toml", own);
        let said = files.next().said.expect("a line");
        // Both are in force only from a start on, and neither is forgotten.
        assert_eq!(
            said,
            "keyboard.port and modes.toml count from the next start."
        );
        let both =
            "[keyboard]\nport = 'Piano'\n[screen]\nlines = true\n[jobs]\nmarker = 'key C8'\n";
        files.write("settings.toml", both);
        let said = files.next().said.expect("a line");
        let all =
            "keyboard.port and modes.toml and [jobs] and screen.lines count from the next start.";
        assert_eq!(said, all);
        files.write(
            "settings.toml",
            &format!("{both}[reading]\nbassist = true\n"),
        );
        assert_eq!(files.next().said.as_deref(), Some(all), "still");
        // As it was at the start.
        files.write("settings.toml", "");
        let said = files.next().said.expect("a line");
        assert_eq!(said, "modes.toml counts from the next start.");
        files.write("modes.toml", "");
        assert_eq!(files.next().said, None);
        files.write("modes.toml", "[[mode]]");
        let refused = files.next().refused.expect("a fault");
        assert!(refused.starts_with("modes.toml: "), "{refused}");
    }

    /// On a thread of its own, in its interval; it ends when the receiver is gone.
    #[test]
    fn it_follows_until_the_receiver_is_gone() {
        let late = Duration::from_secs(10);
        let Files { folder, looks } = Files::new(None);
        let file = folder.path().join("settings.toml");
        let (files, settings) = (looks.files, looks.follower.settings);
        let load = {
            let file = file.clone();
            move || Settings::read(&file, Presence::Optional)
        };
        let (watch, updates) = follow(files, Duration::from_millis(1), settings, load);
        std::fs::write(&file, "[reading]\ninertia = 'section'\n").expect("written");
        let update = updates.recv_timeout(late).expect("an update");
        assert_eq!(update.events, [Event::Inertia(Inertia::Section)]);
        drop(watch);
        assert_eq!(
            updates.recv_timeout(late),
            Err(RecvTimeoutError::Disconnected)
        );
    }
}
