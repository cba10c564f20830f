//! What each key does: one table of actions for the loop, the help and the settings,
//! and the keys that each has for this user.
//!
//! A new action is a row of [`ACTIONS`] and a line in `config/default.toml`.

use super::{Intent, Way};
use crate::engine::{Inertia, Reading, each};
use crate::nearest::nearest;
use crate::theory::PitchClass;
use crate::time::Time;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::fmt;
use std::str::FromStr;

/// What a key asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Wish {
    Quit,
    Suspend,
    Redraw,
    Help,
    /// Closes what lies over the picture.
    Close,
    Heavier,
    Lighter,
    Ask(Intent),
    /// Through the strip: back (true) or forward.
    Scroll(bool),
    /// Nearer (true) or farther.
    Zoom(bool),
    Follow,
    /// This moment of the past.
    Moment(Time),
    Order,
    /// What decides, on and off.
    Why,
    /// The harmonized scale, on and off.
    Scale,
    Colours,
    Way(Way),
    /// The picture stands still, and goes on.
    Freeze,
    /// All names away, and back.
    Hide,
    /// To the chord before (true) or after the one that is shown.
    Step(bool),
    /// The tonality here is pinned, or the pin taken out.
    Pin,
    /// One that is typed is pinned.
    PinOther,
    /// The next key of the piano is home.
    HomeIs,
    Aside,
    /// The mode compared with: a step brighter (true) or darker.
    Compare(bool),
    /// To the marker before (true) or after.
    Jump(bool),
    /// Shows the sitting again from the moment that was chosen.
    Again,
}

/// Something that a key can be given.
struct Action {
    /// As the settings write it.
    name: &'static str,
    /// As the help says it, in at most [`WORDS`] columns.
    words: &'static str,
    /// In force only while a file plays.
    file: bool,
    wish: Wish,
    keys: &'static [Key],
}

/// Columns of an action in words: two stand side by side in eighty.
pub(super) const WORDS: u16 = 27;

const fn action(
    name: &'static str,
    words: &'static str,
    wish: Wish,
    keys: &'static [Key],
) -> Action {
    Action {
        name,
        words,
        file: false,
        wish,
        keys,
    }
}

const fn for_files(a: Action) -> Action {
    Action { file: true, ..a }
}

/// In the order of the help, and of `[keys]` in the settings.
#[rustfmt::skip]
const ACTIONS: &[Action] = &[
    action("quit", "quit", Wish::Quit, &[sign('q')]),
    action("help", "these keys, on and off", Wish::Help, &[sign('?')]),
    action("close", "close what lies on top", Wish::Close, &[named(KeyCode::Esc)]),
    action("playing", "the way for playing", Wish::Way(Way::Playing), &[sign('p')]),
    action("teaching", "the way for teaching", Wish::Way(Way::Teaching), &[sign('t')]),
    action("looking-back", "the whole sitting", Wish::Way(Way::LookingBack), &[sign('l')]),
    action("freeze", "freeze the picture, go on", Wish::Freeze, &[sign('f')]),
    action("hide-names", "hide all names, reveal", Wish::Hide, &[sign('x')]),
    action("chord-back", "the chord before", Wish::Step(true), &[named(KeyCode::Up)]),
    action("chord-forward", "the chord after", Wish::Step(false), &[named(KeyCode::Down)]),
    action("evidence", "what decides, on and off", Wish::Why, &[sign('e')]),
    action("scale", "harmonized scale, on, off", Wish::Scale, &[sign('h')]),
    action("brighter", "compare: a brighter mode", Wish::Compare(true), &[sign('b')]),
    action("darker", "compare: a darker mode", Wish::Compare(false), &[sign('d')]),
    action("pin", "pin what is here, unpin", Wish::Pin, &[sign('n')]),
    action("pin-other", "pin another: type it", Wish::PinOther, &[sign('N')]),
    action("home-is", "home is the next piano key", Wish::HomeIs, &[sign('o')]),
    action("aside", "an aside begins, is over", Wish::Aside, &[sign('a')]),
    action("inertia-lighter", "inertia: quicker to change", Wish::Lighter, &[sign('[')]),
    action("inertia-heavier", "inertia: slower to change", Wish::Heavier, &[sign(']')]),
    action("marker", "mark the phrase before", Wish::Ask(Intent::Mark), &[sign('m')]),
    action("keep", "keep the last 30 seconds", Wish::Ask(Intent::KeepLast), &[sign('k')]),
    action("marker-back", "to the marker before", Wish::Jump(true), &[sign('<')]),
    action("marker-forward", "to the marker after", Wish::Jump(false), &[sign('>')]),
    action("again", "show again from there", Wish::Again, &[named(KeyCode::Enter)]),
    for_files(action("pause", "pause and go on", Wish::Ask(Intent::Pause), &[sign(' ')])),
    for_files(action("seek-back", "five seconds back", Wish::Ask(Intent::Seek(-5.0)), &[named(KeyCode::Left)])),
    for_files(action("seek-forward", "five seconds forward", Wish::Ask(Intent::Seek(5.0)), &[named(KeyCode::Right)])),
    for_files(action("slower", "play more slowly", Wish::Ask(Intent::Speed(false)), &[sign('-')])),
    for_files(action("faster", "play faster", Wish::Ask(Intent::Speed(true)), &[sign('+'), sign('=')])),
    for_files(action("repeat", "repeat: from, to, no more", Wish::Ask(Intent::Repeat), &[sign('r')])),
    action("history-back", "history: back", Wish::Scroll(true), &[sign(',')]),
    action("history-forward", "history: forward", Wish::Scroll(false), &[sign('.')]),
    action("history-nearer", "history: nearer", Wish::Zoom(true), &[sign('z')]),
    action("history-farther", "history: farther", Wish::Zoom(false), &[sign('Z')]),
    action("history-follow", "history: follow the present", Wish::Follow, &[named(KeyCode::End)]),
    action("window-order", "bars in fifths or chromatic", Wish::Order, &[sign('w')]),
    action("colours", "colours: the next palette", Wish::Colours, &[sign('c')]),
    action("suspend", "suspend", Wish::Suspend, &[control('z')]),
    action("redraw", "draw everything anew", Wish::Redraw, &[control('l')]),
];

/// Ends the program whatever the settings say, so that nobody is locked in.
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
    /// One key however the terminal tells it: a character already says whether shift
    /// was down, and under control it has no size.
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

    /// It writes a character by itself.
    pub(super) fn writes(self) -> bool {
        let held = KeyModifiers::CONTROL | KeyModifiers::ALT;
        matches!(self.code, KeyCode::Char(_)) && !self.modifiers.intersects(held)
    }

    /// As the screen shows it: arrows as signs, or everything in ASCII.
    pub(super) fn shown(self, ascii: bool) -> String {
        let text = self.to_string();
        if ascii {
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

/// Why a text is no key: with the nearest name, or what to write.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct KeyError(String);

impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Key, KeyError> {
        let wrong = |what: String| Err(KeyError(format!("'{text}' {what}")));
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
                let guess = nearest(rest, names).map(|near| {
                    let modifiers = &text[..text.len() - rest.len()];
                    format!("did you mean '{modifiers}{near}'? ")
                });
                return wrong(format!(
                    "is no key; {}write a character, or a name such as Space, Enter, Tab, Esc, \
                     Left, PageUp or F1, after Ctrl-, Alt- or Shift- where it needs them",
                    guess.unwrap_or_default()
                ));
            }
        };
        let (ctrl, shift) = (
            modifiers.contains(KeyModifiers::CONTROL),
            modifiers.contains(KeyModifiers::SHIFT),
        );
        let code = match code {
            KeyCode::Char(c) if ctrl => match c.to_ascii_lowercase() {
                // Both send the same byte.
                'i' => return wrong("is the same key to a terminal as Tab: write that".into()),
                'm' => return wrong("is the same key to a terminal as Enter: write that".into()),
                c @ ('a'..='z' | ' ') if !shift => KeyCode::Char(c),
                'a'..='z' | ' ' => {
                    return wrong(
                        "has Shift beside Ctrl, which a terminal does not tell: leave it out"
                            .into(),
                    );
                }
                _ => {
                    return wrong("is no key that a terminal tells: with Ctrl only letters, Space and named keys are".into());
                }
            },
            KeyCode::Char(' ') if shift => {
                return wrong("is the same key to a terminal as Space: write that".into());
            }
            KeyCode::Char(_) if shift => {
                return wrong(
                    "has a Shift too many: write the character that it gives, such as 'Z' or '?'"
                        .into(),
                );
            }
            code => code,
        };
        Ok(Key { code, modifiers })
    }
}

/// Which keys do what: the defaults, and what the user's settings say instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keys {
    /// Of each action, in the order of the table.
    of: Vec<Vec<Key>>,
}

impl Default for Keys {
    fn default() -> Keys {
        let mut keys = Keys {
            of: vec![Vec::new(); ACTIONS.len()],
        };
        for action in ACTIONS {
            keys.bind(action.name, action.keys);
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
pub(super) struct Line {
    pub keys: Vec<Key>,
    pub words: &'static str,
    /// In force only while a file plays.
    pub file: bool,
}

impl Keys {
    /// The names of all actions, in the order of the help.
    pub fn actions() -> impl Iterator<Item = &'static str> {
        ACTIONS.iter().map(|a| a.name)
    }

    /// Gives an action these keys and no others; a name that none has changes nothing.
    pub fn bind(&mut self, action: &str, keys: &[Key]) {
        let Some(at) = ACTIONS.iter().position(|a| a.name == action) else {
            return;
        };
        let quits = (ACTIONS[at].wish == Wish::Quit).then_some(&QUITS);
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
            let pairs = ACTIONS.iter().zip(&self.of);
            pairs.flat_map(|(a, keys)| keys.iter().map(|k| (a.name, *k)))
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
    pub(super) fn wish(&self, key: Key) -> Option<Wish> {
        let at = self.of.iter().position(|keys| keys.contains(&key))?;
        Some(ACTIONS[at].wish)
    }

    /// The first key that asks for this.
    pub(super) fn first(&self, wish: Wish) -> Option<Key> {
        let at = ACTIONS.iter().position(|a| a.wish == wish)?;
        self.of[at].first().copied()
    }

    /// What the help says.
    pub(super) fn lines(&self) -> impl Iterator<Item = Line> {
        ACTIONS.iter().zip(&self.of).map(|(a, keys)| Line {
            keys: keys.clone(),
            words: a.words,
            file: a.file,
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

/// What an action asks for, by its name.
pub(super) fn asks(action: &str) -> Option<Wish> {
    let action = ACTIONS.iter().find(|a| a.name == action)?;
    Some(action.wish)
}

/// What a wish asks of the stage while this is read, if it needs no more than that.
pub(super) fn intent(wish: Wish, reading: &Reading) -> Option<Intent> {
    match wish {
        Wish::Ask(intent) => Some(intent),
        Wish::Heavier | Wish::Lighter => {
            let next = inertia(reading.inertia, wish == Wish::Heavier);
            (next != reading.inertia).then_some(Intent::Inertia(next))
        }
        Wish::Pin => match (reading.pinned, reading.here) {
            (Some(_), _) => Some(Intent::Pin(None)),
            (None, here) => here.map(|e| Intent::Pin(Some((e.tonality, e.tonic)))),
        },
        Wish::Aside => Some(Intent::Aside(reading.aside.is_none())),
        _ => None,
    }
}

/// What an action does where there is no screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    Quit,
    Act(Intent),
    /// It is about what is drawn.
    Nothing,
}

impl Deed {
    /// Of the action of this name, while this is read.
    pub fn of(action: &str, reading: &Reading) -> Deed {
        match asks(action) {
            Some(Wish::Quit) => Deed::Quit,
            // Without a question on a screen: the lowest key that is held, or nothing any more.
            Some(Wish::HomeIs) => {
                let low = each(reading.held).next();
                Deed::Act(Intent::HomeIs(low.map(PitchClass::of_key)))
            }
            Some(wish) => intent(wish, reading).map_or(Deed::Nothing, Deed::Act),
            None => Deed::Nothing,
        }
    }
}

/// Turns the help's pages where it has several, whatever else it does.
pub(super) const TURNS: Key = sign(' ');

/// The stop next to `now`; the last stays itself.
pub(super) fn inertia(now: Inertia, heavier: bool) -> Inertia {
    let at = now as usize;
    let to = if heavier {
        at + 1
    } else {
        at.saturating_sub(1)
    };
    Inertia::ALL.get(to).copied().unwrap_or(now)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::pen::columns;
    use crate::screen::tests::Scene;
    use proptest::prelude::*;

    fn key(text: &str) -> Key {
        text.parse().expect(text)
    }

    #[test]
    fn each_action_has_its_name_and_its_keys() {
        let mut names: Vec<&str> = Keys::actions().collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), ACTIONS.len());
        for a in ACTIONS {
            let kebab = |c: char| c.is_ascii_lowercase() || c == '-';
            assert!(a.name.chars().all(kebab), "{}", a.name);
            assert!(columns(a.words) <= WORDS, "{}", a.words);
            assert!(!a.keys.is_empty(), "{}", a.name);
            // Nothing is bound that cannot be written.
            for k in a.keys {
                assert_eq!(key(&k.to_string()), *k);
            }
        }
        assert_eq!(Keys::default().clash(), None);
    }

    #[test]
    fn releases_are_no_wishes() {
        let keys = Keys::default();
        let wish = |event| pressed(&Event::Key(event)).and_then(|k| keys.wish(k));
        let press = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        assert_eq!(wish(press), Some(Wish::Quit));
        let mut release = press;
        release.kind = KeyEventKind::Release;
        assert_eq!(wish(release), None);
        let shifted = KeyEvent::new(KeyCode::Char('Z'), KeyModifiers::SHIFT);
        assert_eq!(wish(shifted), Some(Wish::Zoom(false)));
        let q = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::CONTROL);
        assert_eq!(wish(q), None);
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
        // Lock keys and the like are nobody's business.
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
        assert_eq!(key("ö").shown(true), "U+00F6");
        assert_eq!(key("Alt-Left").shown(false), "Alt-←");
        assert_eq!(key("Alt-Left").shown(true), "Alt-Left");
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
        let mut keys = Keys::default();
        keys.bind("quit", &[]);
        assert_eq!(keys.wish(key("Ctrl-C")), Some(Wish::Quit));
        assert_eq!(keys.first(Wish::Quit), Some(QUITS));
        keys.bind("marker", &[key("Ctrl-C")]);
        let said = keys.clash().map(|c| c.to_string());
        let want = "Ctrl-C always quits: give marker another key";
        assert_eq!(said.as_deref(), Some(want));
    }

    #[test]
    fn two_actions_on_one_key_are_both_named() {
        let mut keys = Keys::default();
        keys.bind("help", &[key("F1"), key("m"), key("m")]);
        let said = keys.clash().map(|c| c.to_string());
        let want = "'m' is the key of both help and marker: give one of them another";
        assert_eq!(said.as_deref(), Some(want));
        keys.bind("marker", &[]);
        assert_eq!(keys.clash(), None);
        assert_eq!(keys.first(Wish::Ask(Intent::Mark)), None);
    }

    #[test]
    fn without_a_screen_only_the_music_is_spoken_of() {
        let mut reading = Scene::dorian().reading;
        reading.inertia = Inertia::Phrase;
        let of = |action| Deed::of(action, &reading);
        assert_eq!(of("quit"), Deed::Quit);
        assert_eq!(of("marker"), Deed::Act(Intent::Mark));
        let to = |stop| Deed::Act(Intent::Inertia(stop));
        assert_eq!(of("inertia-lighter"), to(Inertia::Motif));
        let here = reading.here.map(|e| (e.tonality, e.tonic));
        assert!(here.is_some() && reading.held != 0);
        assert_eq!(of("pin"), Deed::Act(Intent::Pin(here)));
        let low = each(reading.held).next().map(PitchClass::of_key);
        assert_eq!(of("home-is"), Deed::Act(Intent::HomeIs(low)));
        assert_eq!(of("aside"), Deed::Act(Intent::Aside(true)));
        let later = Reading {
            inertia: Inertia::Section,
            pinned: here,
            aside: Some(Time::ZERO),
            held: 0,
            ..reading
        };
        let of_later = |action| Deed::of(action, &later);
        assert_eq!(of_later("inertia-heavier"), Deed::Nothing);
        assert_eq!(of_later("pin"), Deed::Act(Intent::Pin(None)));
        assert_eq!(of_later("home-is"), Deed::Act(Intent::HomeIs(None)));
        assert_eq!(of_later("aside"), Deed::Act(Intent::Aside(false)));
        let nothing = Scene::nothing().reading;
        assert_eq!(Deed::of("pin", &nothing), Deed::Nothing);
        for drawn in ["help", "colours", "history-back", "no such action"] {
            assert_eq!(of(drawn), Deed::Nothing);
        }
    }

    #[test]
    fn inertia_has_two_ends() {
        assert_eq!(inertia(Inertia::Chord, false), Inertia::Chord);
        assert_eq!(inertia(Inertia::Phrase, true), Inertia::Period);
        assert_eq!(inertia(Inertia::Section, true), Inertia::Section);
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
