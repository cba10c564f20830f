//! What each key does: one table for the loop and for the help.

use super::Intent;
use crate::engine::Inertia;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

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
    Order,
    /// What decides, on and off.
    Why,
    /// The harmonized scale, on and off.
    Scale,
    Colours,
}

/// A key as the help shows it.
pub(super) struct Binding {
    pub shown: &'static str,
    pub shown_ascii: &'static str,
    pub words: &'static str,
    /// In force only while a file plays.
    pub file: bool,
    keys: &'static [(KeyCode, KeyModifiers, Wish)],
}

const fn plain(c: char, wish: Wish) -> (KeyCode, KeyModifiers, Wish) {
    (KeyCode::Char(c), KeyModifiers::NONE, wish)
}

const fn control(c: char, wish: Wish) -> (KeyCode, KeyModifiers, Wish) {
    (KeyCode::Char(c), KeyModifiers::CONTROL, wish)
}

const fn named(code: KeyCode, wish: Wish) -> (KeyCode, KeyModifiers, Wish) {
    (code, KeyModifiers::NONE, wish)
}

const fn binding(
    shown: &'static str,
    words: &'static str,
    keys: &'static [(KeyCode, KeyModifiers, Wish)],
) -> Binding {
    Binding {
        shown,
        shown_ascii: shown,
        words,
        file: false,
        keys,
    }
}

const fn for_files(b: Binding) -> Binding {
    Binding { file: true, ..b }
}

pub(super) const BINDINGS: &[Binding] = &[
    binding(
        "q",
        "quit (also Ctrl-C)",
        &[plain('q', Wish::Quit), control('c', Wish::Quit)],
    ),
    binding(
        "?",
        "this help, on and off",
        &[plain('?', Wish::Help), named(KeyCode::Esc, Wish::Close)],
    ),
    binding(
        "e h",
        "evidence (what decides); harmony, on and off",
        &[plain('e', Wish::Why), plain('h', Wish::Scale)],
    ),
    binding(
        "[ ]",
        "inertia: quicker, slower to change",
        &[plain('[', Wish::Lighter), plain(']', Wish::Heavier)],
    ),
    binding(
        "m",
        "set a marker now",
        &[plain('m', Wish::Ask(Intent::Mark))],
    ),
    for_files(binding(
        "space",
        "pause and go on",
        &[plain(' ', Wish::Ask(Intent::Pause))],
    )),
    for_files(Binding {
        shown_ascii: "<- ->",
        ..binding(
            "← →",
            "five seconds back, forward",
            &[
                named(KeyCode::Left, Wish::Ask(Intent::Seek(-5.0))),
                named(KeyCode::Right, Wish::Ask(Intent::Seek(5.0))),
            ],
        )
    }),
    for_files(binding(
        "- +",
        "slower, faster",
        &[
            plain('-', Wish::Ask(Intent::Speed(false))),
            plain('+', Wish::Ask(Intent::Speed(true))),
            plain('=', Wish::Ask(Intent::Speed(true))),
        ],
    )),
    for_files(binding(
        "r",
        "repeat from here, to here, no more",
        &[plain('r', Wish::Ask(Intent::Repeat))],
    )),
    binding(
        ", .",
        "history: back, forward",
        &[
            plain(',', Wish::Scroll(true)),
            plain('.', Wish::Scroll(false)),
        ],
    ),
    binding(
        "z Z f",
        "history: nearer, farther, follow (also End)",
        &[
            plain('z', Wish::Zoom(true)),
            plain('Z', Wish::Zoom(false)),
            plain('f', Wish::Follow),
            named(KeyCode::End, Wish::Follow),
        ],
    ),
    binding(
        "w",
        "bars in fifths or chromatic",
        &[plain('w', Wish::Order)],
    ),
    binding(
        "c",
        "colours: dark, light, projector, none",
        &[plain('c', Wish::Colours)],
    ),
    binding(
        "Ctrl-Z",
        "suspend (Ctrl-L draws anew)",
        &[control('z', Wish::Suspend), control('l', Wish::Redraw)],
    ),
];

/// The wish behind a terminal event. Key releases, which some terminals send
/// too, are dropped here and nowhere else.
pub(super) fn wish(event: &Event) -> Option<Wish> {
    let Event::Key(key) = event else { return None };
    if key.kind == KeyEventKind::Release {
        return None;
    }
    BINDINGS
        .iter()
        .flat_map(|b| b.keys)
        .find(|(code, modifiers, _)| matches(key, *code, *modifiers))
        .map(|(_, _, wish)| *wish)
}

/// A character already says whether shift was down.
fn matches(key: &KeyEvent, code: KeyCode, modifiers: KeyModifiers) -> bool {
    key.code == code && key.modifiers.difference(KeyModifiers::SHIFT) == modifiers
}

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

    #[test]
    fn no_key_has_two_meanings() {
        let all: Vec<_> = BINDINGS.iter().flat_map(|b| b.keys).collect();
        for (i, a) in all.iter().enumerate() {
            for b in &all[i + 1..] {
                assert!((a.0, a.1) != (b.0, b.1), "{:?} twice", a.0);
            }
        }
    }

    #[test]
    fn releases_are_no_wishes() {
        let press = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        assert_eq!(wish(&Event::Key(press)), Some(Wish::Quit));
        let mut release = press;
        release.kind = KeyEventKind::Release;
        assert_eq!(wish(&Event::Key(release)), None);
        let shifted = KeyEvent::new(KeyCode::Char('Z'), KeyModifiers::SHIFT);
        assert_eq!(wish(&Event::Key(shifted)), Some(Wish::Zoom(false)));
        let q = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::CONTROL);
        assert_eq!(wish(&Event::Key(q)), None);
    }

    #[test]
    fn inertia_has_two_ends() {
        assert_eq!(inertia(Inertia::Chord, false), Inertia::Chord);
        assert_eq!(inertia(Inertia::Phrase, true), Inertia::Period);
        assert_eq!(inertia(Inertia::Section, true), Inertia::Section);
    }
}
