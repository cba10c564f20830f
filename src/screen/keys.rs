//! What each key does: one table of actions for the loop, the help and the settings,
//! and the keys that each has for this user.
//!
//! A new action is a row of [`BINDINGS`] and a line in `config/default.toml`.

use super::layout::Way;
use crate::engine::{self, Inertia, Reading};
use crate::nearest::nearest;
use crate::stage::{Pace, Request};
use crate::theory::{Glyphs, PitchClass};
use crate::time::Time;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::fmt;
use std::str::FromStr;

/// What a key or the mouse asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Action {
    Quit,
    Suspend,
    Redraw,
    Help,
    /// Closes what lies over the picture.
    Close,
    /// Another stop of inertia.
    Inertia(InertiaStep),
    /// The usual stop of inertia again.
    UsualInertia,
    /// This request goes to the stage, whatever is shown.
    Ask(Request),
    /// Scrolls the history.
    Scroll(Direction),
    Zoom(Zoom),
    /// The history follows the present again.
    Follow,
    /// Chooses this moment of the past.
    Moment(Time),
    /// Throws the notes of the last aside away, when it is asked for twice.
    ThrowAside,
    /// Harmony from all keyboards that play together, or from one.
    HarmonyFrom,
    /// Changes the order of the bars of what was heard lately.
    Order,
    /// Shows or hides the evidence.
    Evidence,
    /// Shows or hides the harmonized scale.
    Scale,
    /// The next palette.
    Colours,
    Way(Way),
    /// Freezes the picture, or resumes.
    Freeze,
    /// Hides all names, or shows them again.
    Hide,
    /// To the chord before or after the one that is shown.
    Step(Direction),
    /// Pins the tonality established here, or unpins.
    Pin,
    /// Pins a tonality that is typed.
    PinOther,
    /// The player says by a piano key what home is.
    HomeIs,
    /// Begins or ends an aside.
    Aside,
    /// The mode compared with becomes the next one in the order of brightness.
    Compare(Toward),
    /// To the marker before or after.
    Jump(Direction),
    /// A name for the sitting that is going on is typed.
    NameSitting,
    /// A tempo and a meter are typed.
    Tempo,
    /// Lists the sittings of other days, to open one.
    OpenSittings,
    /// Corrects the plan of the sitting that was opened: the player types what is right.
    Correct,
    /// Plays the sitting back from the chosen moment.
    Again,
}

/// Which way in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    Back,
    Forward,
}

/// How much time the history shows: less or more of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zoom {
    Nearer,
    Farther,
}

/// Which way in the order of brightness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Toward {
    Brighter,
    Darker,
}

/// Which way among the stops of inertia: quicker or slower to change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InertiaStep {
    Lighter,
    Heavier,
}

/// A row of the table: an action that keys can be given.
struct Binding {
    /// As the settings write it.
    name: &'static str,
    /// As the help says it, in at most [`WORDS`] columns.
    words: &'static str,
    /// In force only while a file plays.
    file: bool,
    action: Action,
    keys: &'static [Key],
}

/// Columns of an action in words: two stand side by side in eighty.
pub(super) const WORDS: u16 = 27;

const fn bind(
    name: &'static str,
    words: &'static str,
    action: Action,
    keys: &'static [Key],
) -> Binding {
    Binding {
        name,
        words,
        file: false,
        action,
        keys,
    }
}

const fn for_files(b: Binding) -> Binding {
    Binding { file: true, ..b }
}

/// In the order of the help, and of `[keys]` in the settings.
#[rustfmt::skip]
const BINDINGS: &[Binding] = &[
    bind("quit", "quit", Action::Quit, &[sign('q')]),
    bind("help", "these keys, on and off", Action::Help, &[sign('?')]),
    bind("close", "close; back to the present", Action::Close, &[named(KeyCode::Esc)]),
    bind("playing", "way: playing", Action::Way(Way::Playing), &[sign('p')]),
    bind("teaching", "way: teaching", Action::Way(Way::Teaching), &[sign('t')]),
    bind("looking-back", "way: looking back", Action::Way(Way::LookingBack), &[sign('l')]),
    bind("freeze", "freeze the picture, resume", Action::Freeze, &[sign('f')]),
    bind("hide-names", "hide the names, show them", Action::Hide, &[sign('x')]),
    bind("chord-back", "the chord before", Action::Step(Direction::Back), &[named(KeyCode::Up)]),
    bind("chord-forward", "the chord after", Action::Step(Direction::Forward), &[named(KeyCode::Down)]),
    bind("evidence", "evidence: on, off", Action::Evidence, &[sign('e')]),
    bind("scale", "harmonized scale: on, off", Action::Scale, &[sign('h')]),
    bind("brighter", "compare: a brighter mode", Action::Compare(Toward::Brighter), &[sign('b')]),
    bind("darker", "compare: a darker mode", Action::Compare(Toward::Darker), &[sign('d')]),
    bind("pin", "pin what is here, or unpin", Action::Pin, &[sign('n')]),
    bind("pin-other", "pin a tonality: type it", Action::PinOther, &[sign('N')]),
    bind("home-is", "say what home is: play it", Action::HomeIs, &[sign('o')]),
    bind("aside", "aside: begin, end", Action::Aside, &[sign('a')]),
    bind("throw-aside", "throw the last aside away", Action::ThrowAside, &[sign('A')]),
    bind("harmony-from", "keyboards: all, or one", Action::HarmonyFrom, &[sign('K')]),
    bind("inertia-lighter", "inertia: quicker to change", Action::Inertia(InertiaStep::Lighter), &[sign('[')]),
    bind("inertia-heavier", "inertia: slower to change", Action::Inertia(InertiaStep::Heavier), &[sign(']')]),
    bind("inertia-default", "inertia: the usual stop", Action::UsualInertia, &[sign('i')]),
    bind("marker", "mark the phrase before", Action::Ask(Request::Mark), &[sign('m')]),
    bind("keep", "keep the last 30 seconds", Action::Ask(Request::KeepLast), &[sign('k')]),
    bind("tap", "tap the tempo", Action::Ask(Request::Tap(None)), &[named(KeyCode::Tab)]),
    bind("tempo", "tempo and meter: type it", Action::Tempo, &[sign('T')]),
    bind("name-sitting", "name the sitting: type it", Action::NameSitting, &[sign('s')]),
    bind("end-sitting", "end the sitting here", Action::Ask(Request::EndSitting), &[sign('S')]),
    bind("open-sittings", "sittings: list, open one", Action::OpenSittings, &[sign('L')]),
    bind("correct", "correct the plan: type it", Action::Correct, &[sign('C')]),
    bind("marker-back", "to the marker before", Action::Jump(Direction::Back), &[sign('<')]),
    bind("marker-forward", "to the marker after", Action::Jump(Direction::Forward), &[sign('>')]),
    bind("again", "replay from that moment", Action::Again, &[named(KeyCode::Enter)]),
    for_files(bind("pause", "pause and go on", Action::Ask(Request::Pause), &[sign(' ')])),
    for_files(bind("seek-back", "five seconds back", Action::Ask(Request::SeekBy(-5.0)), &[named(KeyCode::Left)])),
    for_files(bind("seek-forward", "five seconds forward", Action::Ask(Request::SeekBy(5.0)), &[named(KeyCode::Right)])),
    for_files(bind("slower", "play more slowly", Action::Ask(Request::Pace(Pace::Slower)), &[sign('-')])),
    for_files(bind("faster", "play faster", Action::Ask(Request::Pace(Pace::Faster)), &[sign('+'), sign('=')])),
    for_files(bind("repeat", "repeat: start, end, off", Action::Ask(Request::Repeat), &[sign('r')])),
    bind("history-back", "history: back", Action::Scroll(Direction::Back), &[sign(',')]),
    bind("history-forward", "history: forward", Action::Scroll(Direction::Forward), &[sign('.')]),
    bind("history-nearer", "history: zoom in", Action::Zoom(Zoom::Nearer), &[sign('z')]),
    bind("history-farther", "history: zoom out", Action::Zoom(Zoom::Farther), &[sign('Z')]),
    bind("history-follow", "history: back to now", Action::Follow, &[named(KeyCode::End)]),
    bind("heard-order", "heard lately: order of bars", Action::Order, &[sign('w')]),
    bind("colours", "colours: the next palette", Action::Colours, &[sign('c')]),
    bind("suspend", "suspend", Action::Suspend, &[control('z')]),
    bind("redraw", "redraw the screen", Action::Redraw, &[control('l')]),
];

/// Ends the program whatever the settings say, so that the player is never locked in.
pub(super) const QUITS: Key = control('c');

/// A key of the computer's keyboard with its modifiers, as a terminal tells it.
///
/// Written as in the settings: a character (`q`, `?`, `Z`), or a name (`Space`, `Left`,
/// `F1`), after any of `Ctrl-`, `Alt-` and `Shift-`. Names are read in large or small
/// letters; a character says by itself whether shift is down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Key {
    code: KeyCode,
    modifiers: KeyModifiers,
}

const fn sign(c: char) -> Key {
    named(KeyCode::Char(c))
}

const fn control(c: char) -> Key {
    Key {
        code: KeyCode::Char(c),
        modifiers: KeyModifiers::CONTROL,
    }
}

const fn named(code: KeyCode) -> Key {
    Key {
        code,
        modifiers: KeyModifiers::NONE,
    }
}

/// Every key that has a name rather than a sign.
#[rustfmt::skip]
const NAMED: [(&str, KeyCode); 27] = [
    ("Space", KeyCode::Char(' ')), ("Enter", KeyCode::Enter), ("Tab", KeyCode::Tab), ("Esc", KeyCode::Esc),
    ("Backspace", KeyCode::Backspace), ("Delete", KeyCode::Delete), ("Insert", KeyCode::Insert),
    ("Left", KeyCode::Left), ("Right", KeyCode::Right), ("Up", KeyCode::Up), ("Down", KeyCode::Down),
    ("Home", KeyCode::Home), ("End", KeyCode::End), ("PageUp", KeyCode::PageUp), ("PageDown", KeyCode::PageDown),
    ("F1", KeyCode::F(1)), ("F2", KeyCode::F(2)), ("F3", KeyCode::F(3)), ("F4", KeyCode::F(4)),
    ("F5", KeyCode::F(5)), ("F6", KeyCode::F(6)), ("F7", KeyCode::F(7)), ("F8", KeyCode::F(8)),
    ("F9", KeyCode::F(9)), ("F10", KeyCode::F(10)), ("F11", KeyCode::F(11)), ("F12", KeyCode::F(12)),
];

/// In the order in which they are written.
const MODIFIERS: [(&str, KeyModifiers); 3] = [
    ("Ctrl-", KeyModifiers::CONTROL),
    ("Alt-", KeyModifiers::ALT),
    ("Shift-", KeyModifiers::SHIFT),
];

impl Key {
    /// The same key however the terminal reports it: a character already says whether Shift
    /// was down, and with Ctrl large and small letters are one.
    fn told(event: &KeyEvent) -> Key {
        let all = MODIFIERS.iter().fold(KeyModifiers::NONE, |m, x| m | x.1);
        let modifiers = event.modifiers & all;
        let unshifted = modifiers.difference(KeyModifiers::SHIFT);
        match event.code {
            KeyCode::Char(c) if modifiers.contains(KeyModifiers::CONTROL) => Key {
                code: KeyCode::Char(c.to_ascii_lowercase()),
                modifiers: unshifted,
            },
            KeyCode::Char(_) => Key {
                code: event.code,
                modifiers: unshifted,
            },
            KeyCode::BackTab => Key {
                code: KeyCode::Tab,
                modifiers: modifiers | KeyModifiers::SHIFT,
            },
            code => Key { code, modifiers },
        }
    }

    /// Whether it types a character.
    pub(super) fn writes(self) -> bool {
        let held = KeyModifiers::CONTROL | KeyModifiers::ALT;
        matches!(self.code, KeyCode::Char(_)) && !self.modifiers.intersects(held)
    }

    /// As the screen shows it: arrows as signs, or everything in ASCII.
    pub(super) fn shown(self, glyphs: Glyphs) -> String {
        let text = self.to_string();
        if glyphs == Glyphs::Ascii {
            let plain = |c: char| match c.is_ascii() {
                true => c.to_string(),
                false => format!("U+{:04X}", c as u32),
            };
            return text.chars().map(plain).collect();
        }
        let arrow = match self.code {
            KeyCode::Left => '←',
            KeyCode::Right => '→',
            KeyCode::Up => '↑',
            KeyCode::Down => '↓',
            _ => return text,
        };
        let modifiers = text.rfind('-').map_or("", |at| &text[..=at]);
        format!("{modifiers}{arrow}")
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        for (name, modifier) in MODIFIERS {
            if self.modifiers.contains(modifier) {
                f.write_str(name)?;
            }
        }
        let name = NAMED.iter().find(|(_, code)| *code == self.code);
        match (name, self.code) {
            (Some((name, _)), _) => f.write_str(name),
            (None, KeyCode::Char(c)) if self.modifiers.contains(KeyModifiers::CONTROL) => {
                write!(f, "{}", c.to_ascii_uppercase())
            }
            (None, KeyCode::Char(c)) => write!(f, "{c}"),
            (None, other) => write!(f, "{other}"),
        }
    }
}

/// Why a text names no key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyError {
    #[error(
        "'{text}' is no key; {did_you_mean}write a character, or a name such as Space, Enter, \
         Tab, Esc, Left, PageUp or F1, after Ctrl-, Alt- or Shift- where it needs them",
        did_you_mean = did_you_mean(.nearest.as_deref())
    )]
    Unknown {
        text: String,
        /// The key that a misspelt name comes nearest to, if any, as it is written.
        nearest: Option<String>,
    },
    /// A terminal sends the same byte for the key of this name.
    #[error("'{text}' is the same key to a terminal as {name}: write that")]
    SameAs { text: String, name: &'static str },
    #[error("'{text}' has Shift beside Ctrl, which a terminal does not tell: leave it out")]
    ShiftBesideCtrl { text: String },
    #[error(
        "'{text}' is no key that a terminal tells: with Ctrl only letters, Space and named keys \
         are"
    )]
    SignWithCtrl { text: String },
    /// The character itself says whether Shift is down.
    #[error("'{text}' has a Shift too many: write the character that it gives, such as 'Z' or '?'")]
    ShiftWithCharacter { text: String },
}

fn did_you_mean(nearest: Option<&str>) -> String {
    nearest.map_or(String::new(), |key| format!("did you mean '{key}'? "))
}

impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Key, KeyError> {
        let mut modifiers = KeyModifiers::NONE;
        let mut rest = text;
        while let Some((modifier, behind)) = MODIFIERS.iter().find_map(|(name, modifier)| {
            let (head, behind) = rest.split_at_checked(name.len())?;
            (head.eq_ignore_ascii_case(name) && !behind.is_empty()).then_some((*modifier, behind))
        }) {
            modifiers |= modifier;
            rest = behind;
        }
        let name = NAMED.iter().find(|(n, _)| n.eq_ignore_ascii_case(rest));
        let mut signs = rest.chars();
        let code = match (name, signs.next(), signs.next()) {
            (Some((_, code)), ..) => *code,
            (None, Some(c), None) if !c.is_control() && !c.is_whitespace() => KeyCode::Char(c),
            _ => {
                let names = NAMED.iter().map(|(n, _)| *n);
                let modifiers = &text[..text.len() - rest.len()];
                let nearest = nearest(rest, names).map(|near| format!("{modifiers}{near}"));
                let text = text.to_owned();
                return Err(KeyError::Unknown { text, nearest });
            }
        };
        let (ctrl, shift) = (
            modifiers.contains(KeyModifiers::CONTROL),
            modifiers.contains(KeyModifiers::SHIFT),
        );
        let own = || text.to_owned();
        let same_as = |name| Err(KeyError::SameAs { text: own(), name });
        let code = match code {
            KeyCode::Char(c) if ctrl => match c.to_ascii_lowercase() {
                'i' => return same_as("Tab"),
                'm' => return same_as("Enter"),
                c @ ('a'..='z' | ' ') if !shift => KeyCode::Char(c),
                'a'..='z' | ' ' => return Err(KeyError::ShiftBesideCtrl { text: own() }),
                _ => return Err(KeyError::SignWithCtrl { text: own() }),
            },
            KeyCode::Char(' ') if shift => return same_as("Space"),
            KeyCode::Char(_) if shift => return Err(KeyError::ShiftWithCharacter { text: own() }),
            code => code,
        };
        Ok(Key { code, modifiers })
    }
}

/// Which keys do what: the defaults, and what the user's settings say instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyBindings {
    /// Of each action, in the order of the table.
    of: Vec<Vec<Key>>,
}

impl Default for KeyBindings {
    fn default() -> KeyBindings {
        let mut keys = KeyBindings {
            of: vec![Vec::new(); BINDINGS.len()],
        };
        for b in BINDINGS {
            keys.bind(b.name, b.keys);
        }
        keys
    }
}

/// A key that two actions would have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clash {
    pub key: Key,
    pub actions: [&'static str; 2],
}

impl fmt::Display for Clash {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let Clash { key, actions } = self;
        match *key == QUITS {
            true => write!(f, "{key} always quits: give {} another key", actions[1]),
            false => write!(
                f,
                "'{key}' is the key of both {} and {}: give one of them another",
                actions[0], actions[1]
            ),
        }
    }
}

/// A line of the help.
pub(super) struct HelpLine {
    pub keys: Vec<Key>,
    pub words: &'static str,
    /// In force only while a file plays.
    pub file: bool,
}

impl KeyBindings {
    /// The names of all actions, in the order of the help.
    pub fn actions() -> impl Iterator<Item = &'static str> {
        BINDINGS.iter().map(|b| b.name)
    }

    /// Gives an action these keys and no others; a name that none has changes nothing.
    pub fn bind(&mut self, action: &str, keys: &[Key]) {
        let Some(at) = BINDINGS.iter().position(|b| b.name == action) else {
            return;
        };
        let quits = (BINDINGS[at].action == Action::Quit).then_some(&QUITS);
        let mut own: Vec<Key> = Vec::new();
        for key in keys.iter().chain(quits) {
            if !own.contains(key) {
                own.push(*key);
            }
        }
        self.of[at] = own;
    }

    /// The first key that two actions have, if there is one.
    pub fn clash(&self) -> Option<Clash> {
        let all = || {
            let pairs = BINDINGS.iter().zip(&self.of);
            pairs.flat_map(|(b, keys)| keys.iter().map(|k| (b.name, *k)))
        };
        all().enumerate().find_map(|(i, (second, key))| {
            let (first, _) = all().take(i).find(|(_, k)| *k == key)?;
            Some(Clash {
                key,
                actions: [first, second],
            })
        })
    }

    /// What a key asks for, if anything.
    pub(super) fn action(&self, key: Key) -> Option<Action> {
        let at = self.of.iter().position(|keys| keys.contains(&key))?;
        Some(BINDINGS[at].action)
    }

    /// The first key that asks for this.
    pub(super) fn first(&self, action: Action) -> Option<Key> {
        let at = BINDINGS.iter().position(|b| b.action == action)?;
        self.of[at].first().copied()
    }

    /// What the help says.
    pub(super) fn lines(&self) -> impl Iterator<Item = HelpLine> {
        BINDINGS.iter().zip(&self.of).map(|(b, keys)| HelpLine {
            keys: keys.clone(),
            words: b.words,
            file: b.file,
        })
    }
}

/// The key that a terminal event presses. Key releases, which some terminals send too,
/// are dropped here and nowhere else.
pub(super) fn pressed(event: &Event) -> Option<Key> {
    match event {
        Event::Key(key) if key.kind != KeyEventKind::Release => Some(Key::told(key)),
        _ => None,
    }
}

impl Action {
    /// The action of this name in the settings.
    pub fn named(name: &str) -> Option<Action> {
        let binding = BINDINGS.iter().find(|b| b.name == name)?;
        Some(binding.action)
    }

    /// The same, asked for at this moment.
    pub fn at(self, at: Time) -> Action {
        match self {
            Action::Ask(Request::Tap(_)) => Action::Ask(Request::Tap(Some(at))),
            other => other,
        }
    }

    /// Its request to the stage at this reading; none where it is about what is drawn.
    /// [`Action::HomeIs`] means the lowest key that is held; without one it takes back what
    /// was said.
    pub fn request(self, reading: &Reading) -> Option<Request> {
        let set = |event| Some(Request::Set(event));
        match self {
            Action::Ask(request) => Some(request),
            Action::Inertia(step) => {
                let next = step.from(reading.inertia);
                (next != reading.inertia).then_some(Request::Inertia(next))
            }
            Action::UsualInertia => Some(Request::UsualInertia),
            Action::Pin => match (reading.pinned, reading.here) {
                (Some(_), _) => set(engine::Event::Pin(None)),
                (None, here) => here.and_then(|e| set(engine::Event::Pin(Some(e.spelled)))),
            },
            Action::HomeIs => {
                let low = reading.held.iter().next();
                set(engine::Event::HomeIs(low.map(PitchClass::of_key)))
            }
            Action::Aside => set(engine::Event::Aside(match reading.aside {
                None => engine::Aside::Begins,
                Some(_) => engine::Aside::Ends,
            })),
            _ => None,
        }
    }
}

impl InertiaStep {
    /// The stop next to `now`; the last stays itself.
    fn from(self, now: Inertia) -> Inertia {
        let at = now as usize;
        let to = match self {
            InertiaStep::Lighter => at.saturating_sub(1),
            InertiaStep::Heavier => at + 1,
        };
        Inertia::ALL.get(to).copied().unwrap_or(now)
    }
}

/// Turns the pages of the help where it has several, whatever else the key is bound to.
pub(super) const TURNS: Key = sign(' ');

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::pen::columns;
    use crate::screen::tests::Scene;
    use crate::theory::KeySet;
    use proptest::prelude::*;

    fn key(text: &str) -> Key {
        text.parse().expect(text)
    }

    #[test]
    fn each_action_has_its_name_and_its_keys() {
        let mut names: Vec<&str> = KeyBindings::actions().collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), BINDINGS.len());
        for b in BINDINGS {
            let kebab = |c: char| c.is_ascii_lowercase() || c == '-';
            assert!(b.name.chars().all(kebab), "{}", b.name);
            assert!(columns(b.words) <= WORDS, "{}", b.words);
            assert!(!b.keys.is_empty(), "{}", b.name);
            // Nothing is bound that cannot be written.
            for k in b.keys {
                assert_eq!(key(&k.to_string()), *k);
            }
        }
        assert_eq!(KeyBindings::default().clash(), None);
    }

    #[test]
    fn releases_are_no_actions() {
        let keys = KeyBindings::default();
        let action = |event| pressed(&Event::Key(event)).and_then(|k| keys.action(k));
        let press = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        assert_eq!(action(press), Some(Action::Quit));
        let mut release = press;
        release.kind = KeyEventKind::Release;
        assert_eq!(action(release), None);
        let shifted = KeyEvent::new(KeyCode::Char('Z'), KeyModifiers::SHIFT);
        assert_eq!(action(shifted), Some(Action::Zoom(Zoom::Farther)));
        let q = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::CONTROL);
        assert_eq!(action(q), None);
    }

    #[test]
    fn keys_are_read_as_a_terminal_tells_them() {
        let told = |code, modifiers| {
            let event = Event::Key(KeyEvent::new(code, modifiers));
            pressed(&event).map(|k| k.to_string()).unwrap_or_default()
        };
        let (none, shift) = (KeyModifiers::NONE, KeyModifiers::SHIFT);
        assert_eq!(told(KeyCode::BackTab, shift), "Shift-Tab");
        assert_eq!(told(KeyCode::BackTab, none), "Shift-Tab");
        assert_eq!(told(KeyCode::Left, shift), "Shift-Left");
        assert_eq!(told(KeyCode::Char('?'), shift), "?");
        assert_eq!(told(KeyCode::Char(' '), shift), "Space");
        let both = KeyModifiers::CONTROL | shift;
        assert_eq!(told(KeyCode::Char('C'), both), "Ctrl-C");
        assert_eq!(told(KeyCode::Char('X'), KeyModifiers::ALT), "Alt-X");
        // Lock keys and the like do not count.
        assert_eq!(told(KeyCode::Char('a'), KeyModifiers::SUPER), "a");
    }

    #[test]
    fn names_are_read_in_any_size_and_signs_as_they_are() {
        for (text, written) in [
            ("ctrl-c", "Ctrl-C"),
            ("CTRL-ALT-x", "Ctrl-Alt-X"),
            ("alt-ctrl-x", "Ctrl-Alt-X"),
            ("pageup", "PageUp"),
            ("shift-tab", "Shift-Tab"),
            ("f12", "F12"),
            ("ö", "ö"),
            ("-", "-"),
            ("Alt--", "Alt--"),
            ("Z", "Z"),
        ] {
            assert_eq!(key(text).to_string(), written);
        }
        assert_ne!(key("z"), key("Z"));
        assert_eq!(key("ö").shown(Glyphs::Ascii), "U+00F6");
        assert_eq!(key("Alt-Left").shown(Glyphs::Unicode), "Alt-←");
        assert_eq!(key("Alt-Left").shown(Glyphs::Ascii), "Alt-Left");
    }

    #[test]
    fn what_is_no_key_is_said_with_what_to_write() {
        for (text, said) in [
            ("Spcae", "did you mean 'Space'?"),
            ("Ctrl-Lefft", "did you mean 'Ctrl-Left'?"),
            ("", "write a character"),
            ("Ctrl-", "write a character"),
            ("qq", "'qq' is no key; write"),
            ("Ctrl-I", "write that"),
            ("Ctrl-m", "as Enter"),
            ("Ctrl-Shift-A", "leave it out"),
            ("Ctrl-1", "only letters"),
            ("Shift-a", "write the character that it gives"),
            ("Shift-Space", "as Space"),
            ("\u{7}", "is no key"),
        ] {
            let wrong = text.parse::<Key>().expect_err(text).to_string();
            assert!(wrong.contains(said), "{wrong}");
        }
    }

    #[test]
    fn control_c_quits_whatever_is_bound() {
        let mut keys = KeyBindings::default();
        keys.bind("quit", &[]);
        assert_eq!(keys.action(key("Ctrl-C")), Some(Action::Quit));
        assert_eq!(keys.first(Action::Quit), Some(QUITS));
        keys.bind("marker", &[key("Ctrl-C")]);
        let said = keys.clash().map(|c| c.to_string());
        let want = "Ctrl-C always quits: give marker another key";
        assert_eq!(said.as_deref(), Some(want));
    }

    #[test]
    fn two_actions_on_one_key_are_both_named() {
        let mut keys = KeyBindings::default();
        keys.bind("help", &[key("F1"), key("m"), key("m")]);
        let said = keys.clash().map(|c| c.to_string());
        let want = "'m' is the key of both help and marker: give one of them another";
        assert_eq!(said.as_deref(), Some(want));
        keys.bind("marker", &[]);
        assert_eq!(keys.clash(), None);
        assert_eq!(keys.first(Action::Ask(Request::Mark)), None);
    }

    #[test]
    fn without_a_screen_only_the_music_is_spoken_of() {
        let mut reading = Scene::dorian().reading;
        reading.inertia = Inertia::Phrase;
        let of = |action: &str, reading: &Reading| {
            Action::named(action).and_then(|a| a.request(reading))
        };
        let now = |action| of(action, &reading);
        assert_eq!(Action::named("quit"), Some(Action::Quit));
        assert_eq!(now("marker"), Some(Request::Mark));
        let to = |stop| Some(Request::Inertia(stop));
        assert_eq!(now("inertia-lighter"), to(Inertia::Motif));
        assert_eq!(now("inertia-default"), Some(Request::UsualInertia));
        let here = reading.here.map(|e| e.spelled);
        assert!(here.is_some() && !reading.held.is_empty());
        let set = |event| Some(Request::Set(event));
        assert_eq!(now("pin"), set(engine::Event::Pin(here)));
        let low = reading.held.iter().next().map(PitchClass::of_key);
        assert_eq!(now("home-is"), set(engine::Event::HomeIs(low)));
        assert_eq!(
            now("aside"),
            set(engine::Event::Aside(engine::Aside::Begins))
        );
        let later = Reading {
            inertia: Inertia::Section,
            pinned: here,
            aside: Some(Time::ZERO),
            held: KeySet::EMPTY,
            ..reading
        };
        assert_eq!(of("inertia-heavier", &later), None);
        assert_eq!(of("pin", &later), set(engine::Event::Pin(None)));
        assert_eq!(of("home-is", &later), set(engine::Event::HomeIs(None)));
        assert_eq!(
            of("aside", &later),
            set(engine::Event::Aside(engine::Aside::Ends))
        );
        let nothing = Scene::nothing().reading;
        assert_eq!(of("pin", &nothing), None);
        for drawn in ["quit", "help", "colours", "history-back"] {
            assert!(Action::named(drawn).is_some());
            assert_eq!(now(drawn), None);
        }
        assert_eq!(Action::named("no such action"), None);
    }

    #[test]
    fn a_text_that_names_no_key_says_what_to_write() {
        let names = "write a character, or a name such as Space, Enter, Tab, Esc, Left, PageUp or \
                     F1, after Ctrl-, Alt- or Shift- where it needs them";
        for (text, said) in [
            ("Foobar", format!("is no key; {names}")),
            ("", format!("is no key; {names}")),
            (
                "Alt-Spcae",
                format!("is no key; did you mean 'Alt-Space'? {names}"),
            ),
            (
                "Ctrl-I",
                "is the same key to a terminal as Tab: write that".into(),
            ),
            (
                "ctrl-m",
                "is the same key to a terminal as Enter: write that".into(),
            ),
            (
                "Shift-Space",
                "is the same key to a terminal as Space: write that".into(),
            ),
            (
                "Ctrl-Shift-a",
                "has Shift beside Ctrl, which a terminal does not tell: leave it out".into(),
            ),
            (
                "Ctrl-?",
                "is no key that a terminal tells: with Ctrl only letters, Space and named keys are"
                    .into(),
            ),
            (
                "Shift-z",
                "has a Shift too many: write the character that it gives, such as 'Z' or '?'"
                    .into(),
            ),
        ] {
            let error = text.parse::<Key>().expect_err("no key");
            assert_eq!(error.to_string(), format!("'{text}' {said}"));
        }
    }

    #[test]
    fn inertia_has_two_ends() {
        use InertiaStep::{Heavier, Lighter};
        assert_eq!(Lighter.from(Inertia::Chord), Inertia::Chord);
        assert_eq!(Heavier.from(Inertia::Phrase), Inertia::Period);
        assert_eq!(Heavier.from(Inertia::Section), Inertia::Section);
    }

    fn codes() -> impl Strategy<Value = KeyCode> {
        prop_oneof![
            any::<char>()
                .prop_filter("prints", |c| !c.is_control() && !c.is_whitespace())
                .prop_map(KeyCode::Char),
            (0..NAMED.len()).prop_map(|i| NAMED[i].1),
            Just(KeyCode::BackTab),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        /// What a terminal can tell and the settings can name is the same key.
        #[test]
        fn a_key_is_read_back_as_it_is_written(code in codes(), bits in 0..8u8) {
            let modifiers = MODIFIERS.iter().enumerate().filter(|(i, _)| bits & 1 << i != 0);
            let modifiers = modifiers.fold(KeyModifiers::NONE, |m, (_, x)| m | x.1);
            let told = Key::told(&KeyEvent::new(code, modifiers));
            match told.to_string().parse::<Key>() {
                Ok(read) => prop_assert_eq!(read, told),
                // Of signs with control a terminal tells only letters and Space apart.
                Err(_) => {
                    let rare = matches!(told.code, KeyCode::Char(c) if c == 'i' || c == 'm' || !c.is_ascii_lowercase());
                    prop_assert!(rare && told.modifiers.contains(KeyModifiers::CONTROL), "{}", told);
                }
            }
        }

        #[test]
        fn any_text_is_a_key_or_refused(text in ".{0,12}") {
            if let Ok(key) = text.parse::<Key>() {
                prop_assert_eq!(key.to_string().parse::<Key>(), Ok(key));
            }
        }
    }
}
