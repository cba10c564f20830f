//! What is being typed: a tonality to be pinned, or a name for the sitting.

use crate::theory::{Catalogue, Glyphs, Letters, SpelledTonality};
use ratatui::crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers};

/// The longest text that is taken: no tonality is longer, no sitting may be.
const LONGEST: usize = 100;

/// What is to become of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    Pin,
    NameSitting,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) struct Entry {
    purpose: Purpose,
    text: String,
    /// What was wrong when Enter was pressed.
    fault: Option<String>,
}

/// What a key did to it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum EntryState {
    /// It is still being typed.
    Open,
    Left,
    Pinned(SpelledTonality),
    /// The sitting's name; empty: none.
    Named(String),
}

impl Entry {
    pub fn new(purpose: Purpose) -> Entry {
        Entry {
            purpose,
            text: String::new(),
            fault: None,
        }
    }

    /// The line that is shown.
    pub fn line(&self, glyphs: Glyphs) -> String {
        let cursor = match glyphs {
            Glyphs::Unicode => '▏',
            Glyphs::Ascii => '_',
        };
        let (what, enter) = match self.purpose {
            Purpose::Pin => ("pin", "Enter pins, Esc leaves"),
            Purpose::NameSitting => ("name of this sitting", "Enter names it, Esc leaves"),
        };
        let told = self.fault.as_deref().unwrap_or(enter);
        format!("{what}: {}{cursor}  {told}", self.text)
    }

    /// Takes a key of the computer's keyboard.
    pub fn take(&mut self, event: &Event, catalogue: &Catalogue, letters: Letters) -> EntryState {
        let Event::Key(key) = event else {
            return EntryState::Open;
        };
        if key.kind == KeyEventKind::Release {
            return EntryState::Open;
        }
        let plain = !key
            .modifiers
            .intersects(KeyModifiers::CONTROL | KeyModifiers::ALT);
        match key.code {
            KeyCode::Esc => return EntryState::Left,
            KeyCode::Enter if self.purpose == Purpose::NameSitting => {
                return EntryState::Named(self.text.trim().to_owned());
            }
            KeyCode::Enter => match catalogue.parse_tonality_in(&self.text, letters) {
                Ok(written) => return EntryState::Pinned(written),
                Err(_) if self.text.trim().is_empty() => {
                    self.fault = Some("nothing is typed yet".to_owned());
                }
                Err(e) => self.fault = Some(e.to_string()),
            },
            KeyCode::Backspace => {
                self.text.pop();
                self.fault = None;
            }
            KeyCode::Char('u') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                *self = Entry::new(self.purpose);
            }
            KeyCode::Char(c) if plain && !c.is_control() && self.text.chars().count() < LONGEST => {
                self.text.push(c);
                self.fault = None;
            }
            _ => {}
        }
        EntryState::Open
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::crossterm::event::KeyEvent;

    fn typed(text: &str) -> (Entry, EntryState) {
        let mut entry = Entry::new(Purpose::Pin);
        let keys = text.chars().map(|c| match c {
            '\n' => KeyCode::Enter,
            '<' => KeyCode::Backspace,
            c => KeyCode::Char(c),
        });
        let mut last = EntryState::Open;
        for code in keys {
            let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
            last = entry.take(&event, Catalogue::standard(), Letters::English);
        }
        (entry, last)
    }

    #[test]
    fn a_tonality_is_typed_and_pinned() {
        let catalogue = Catalogue::standard();
        let want = catalogue.parse_tonality("Eb mixolydian").unwrap();
        let (_, outcome) = typed("Ebb< mixolydian\n");
        assert_eq!(outcome, EntryState::Pinned(want));
    }

    #[test]
    fn the_line_is_cleared_at_once() {
        let (mut entry, _) = typed("D dorain\n");
        let clear = Event::Key(KeyEvent::new(KeyCode::Char('u'), KeyModifiers::CONTROL));
        let outcome = entry.take(&clear, Catalogue::standard(), Letters::English);
        assert_eq!(
            (entry, outcome),
            (Entry::new(Purpose::Pin), EntryState::Open)
        );
    }

    #[test]
    fn a_sitting_is_named() {
        let mut entry = Entry::new(Purpose::NameSitting);
        let mut press = |code| {
            let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
            entry.take(&event, Catalogue::standard(), Letters::English)
        };
        for c in " Évening, q? ".chars() {
            assert_eq!(press(KeyCode::Char(c)), EntryState::Open);
        }
        assert_eq!(
            press(KeyCode::Enter),
            EntryState::Named("Évening, q?".into())
        );
        let line = entry.line(Glyphs::Ascii);
        assert_eq!(
            line,
            "name of this sitting:  Évening, q? _  Enter names it, Esc leaves"
        );
    }

    #[test]
    fn what_is_no_tonality_stays_and_is_explained() {
        let (entry, outcome) = typed("D dorain\n");
        assert_eq!(outcome, EntryState::Open);
        assert!(
            entry.line(Glyphs::Unicode).contains("dorian"),
            "{}",
            entry.line(Glyphs::Unicode)
        );
        assert_eq!(entry.line(Glyphs::Ascii).find('▏'), None);
    }
}
