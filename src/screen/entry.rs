//! What is being typed: a tonality to be pinned, a tempo, a name for the sitting, or a correction
//! of its plan.

use crate::correction::{Center, Correction, Neighbour, Revision};
use crate::meter::{TypedClick, TypedClickError};
use crate::nearest::nearest;
use crate::theory::{Catalogue, Glyphs, Letters, SpelledTonality, TonalityError};
use crate::time::Time;
use ratatui::crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers};

/// The longest text that is taken: no tonality is longer, no sitting may be.
const LONGEST: usize = 100;

/// What is to become of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    Pin,
    /// To name the sitting with this number.
    NameSitting(u64),
    Tempo,
    /// To correct the plan at this moment.
    Correct(Time),
}

#[derive(Clone, Debug, PartialEq)]
pub(super) struct Entry {
    purpose: Purpose,
    /// What stands at the moment that is corrected.
    there: String,
    text: String,
    /// What was wrong when Enter was pressed.
    fault: Option<EntryFault>,
}

/// What is wrong with what was typed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
enum EntryFault {
    #[error("nothing is typed yet")]
    Empty,
    #[error("did you mean {meant}?")]
    Misspelt { meant: &'static str },
    #[error(transparent)]
    NoTonality(#[from] TonalityError),
    #[error(transparent)]
    NoTempo(#[from] TypedClickError),
}

/// What a key did to it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum EntryState {
    /// It is still being typed.
    Open,
    Left,
    Pinned(SpelledTonality),
    /// The number of the sitting, and its name; empty: none.
    Named(u64, String),
    Clicked(TypedClick),
    Revised(Revision),
}

impl Entry {
    pub fn new(purpose: Purpose) -> Entry {
        Entry {
            purpose,
            there: String::new(),
            text: String::new(),
            fault: None,
        }
    }

    /// A correction of what is `there` at a moment.
    pub fn correcting(at: Time, there: String) -> Entry {
        Entry {
            there,
            ..Entry::new(Purpose::Correct(at))
        }
    }

    /// The line that is shown.
    pub fn line(&self, glyphs: Glyphs) -> String {
        let cursor = match glyphs {
            Glyphs::Unicode => '▏',
            Glyphs::Ascii => '_',
        };
        let (what, enter) = match self.purpose {
            Purpose::Pin => ("pin".to_owned(), "Enter pins, Esc leaves"),
            Purpose::Tempo => {
                let what = "tempo, meter".to_owned();
                (what, "such as 96 3/4; nothing ends it, Esc leaves")
            }
            Purpose::NameSitting(_) => {
                let what = "name of this sitting".to_owned();
                (what, "Enter names it, Esc leaves")
            }
            Purpose::Correct(at) => {
                let what = format!("correct {at}, {}", self.there);
                (what, WAYS)
            }
        };
        let fault = self.fault.as_ref().map(EntryFault::to_string);
        let told = fault.as_deref().unwrap_or(enter);
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
            KeyCode::Enter => match self.entered(catalogue, letters) {
                Ok(state) => return state,
                Err(fault) => self.fault = Some(fault),
            },
            KeyCode::Backspace => {
                self.text.pop();
                self.fault = None;
            }
            KeyCode::Char('u') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                self.text.clear();
                self.fault = None;
            }
            KeyCode::Char(c) if plain && !c.is_control() && self.text.chars().count() < LONGEST => {
                self.text.push(c);
                self.fault = None;
            }
            _ => {}
        }
        EntryState::Open
    }

    /// What comes of it when Enter is pressed, or what is wrong.
    fn entered(&self, catalogue: &Catalogue, letters: Letters) -> Result<EntryState, EntryFault> {
        let text = self.text.trim();
        match self.purpose {
            Purpose::NameSitting(number) => Ok(EntryState::Named(number, text.to_owned())),
            Purpose::Tempo => Ok(EntryState::Clicked(text.parse()?)),
            _ if text.is_empty() => Err(EntryFault::Empty),
            Purpose::Correct(at) => revision(text, at, catalogue, letters).map(EntryState::Revised),
            Purpose::Pin => {
                let written = catalogue.parse_tonality_in(text, letters)?;
                Ok(EntryState::Pinned(written))
            }
        }
    }
}

/// What can be typed to correct a plan, as much as has room beside what is there.
const WAYS: &str = "a tonality, or none split join border undo \"word";
const WORDS: [&str; 7] = [
    "none",
    "border",
    "split",
    "join",
    "join previous",
    "undo",
    "restore",
];

/// What is typed to correct a plan at a moment, or what is wrong with it.
fn revision(
    text: &str,
    at: Time,
    catalogue: &Catalogue,
    letters: Letters,
) -> Result<Revision, EntryFault> {
    let text = text.trim();
    let label = |center, word| Correction::Label { at, center, word };
    if let Some(word) = text.strip_prefix(['"', '“']) {
        let word = word.trim_end_matches(['"', '”']).trim().to_owned();
        return Ok(Revision::Correct(label(None, Some(word))));
    }
    let join = |with| Correction::Join { at, with };
    Ok(Revision::Correct(match &*text.to_lowercase() {
        "none" => label(Some(Center::None), None),
        "border" => Correction::Border { near: at, to: at },
        "split" => Correction::Split { at },
        "join" => join(Neighbour::Next),
        "join previous" => join(Neighbour::Previous),
        "undo" => return Ok(Revision::Undo),
        "restore" => return Ok(Revision::Restore),
        word => match catalogue.parse_tonality_in(text, letters) {
            Ok(spelled) => label(Some(Center::In(spelled)), None),
            Err(e) => match nearest(word, WORDS) {
                Some(meant) => return Err(EntryFault::Misspelt { meant }),
                None => return Err(e.into()),
            },
        },
    }))
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
    fn a_tempo_is_typed() {
        let typed = |text: &str| {
            let mut entry = Entry::new(Purpose::Tempo);
            let mut last = EntryState::Open;
            for c in text.chars() {
                let code = if c == '\n' {
                    KeyCode::Enter
                } else {
                    KeyCode::Char(c)
                };
                let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
                last = entry.take(&event, Catalogue::standard(), Letters::English);
            }
            (entry.line(Glyphs::Ascii), last)
        };
        let clicked = |text: &str| EntryState::Clicked(text.parse().expect("a tempo"));
        assert_eq!(typed("96 3/4\n").1, clicked("96 3/4"));
        assert_eq!(typed("\n").1, EntryState::Clicked(TypedClick::End));
        let (line, state) = typed("960\n");
        assert_eq!(state, EntryState::Open);
        assert_eq!(
            line,
            "tempo, meter: 960_  960 is no tempo: it lies between 20 and 300 beats a minute"
        );
    }

    #[test]
    fn a_sitting_is_named() {
        let mut entry = Entry::new(Purpose::NameSitting(1));
        let mut press = |code| {
            let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
            entry.take(&event, Catalogue::standard(), Letters::English)
        };
        for c in " Évening, q? ".chars() {
            assert_eq!(press(KeyCode::Char(c)), EntryState::Open);
        }
        assert_eq!(
            press(KeyCode::Enter),
            EntryState::Named(1, "Évening, q?".into())
        );
        let line = entry.line(Glyphs::Ascii);
        assert_eq!(
            line,
            "name of this sitting:  Évening, q? _  Enter names it, Esc leaves"
        );
    }

    #[test]
    fn a_plan_is_corrected_by_what_is_typed() {
        let at = Time::millis(20_000);
        let catalogue = Catalogue::standard();
        let typed = |text| revision(text, at, catalogue, Letters::English);
        let spelled = catalogue.parse_tonality("Eb mixolydian").expect("one");
        let label = |center, word: Option<&str>| {
            let word = word.map(Into::into);
            Ok(Revision::Correct(Correction::Label { at, center, word }))
        };
        let correct = |correction| Ok(Revision::Correct(correction));
        for (text, wanted) in [
            ("E♭ Mixolydian", label(Some(Center::In(spelled)), None)),
            (" None ", label(Some(Center::None), None)),
            ("\"the bridge\"", label(None, Some("the bridge"))),
            ("“the bridge", label(None, Some("the bridge"))),
            ("\"", label(None, Some(""))),
            ("border", correct(Correction::Border { near: at, to: at })),
            ("split", correct(Correction::Split { at })),
            (
                "join",
                correct(Correction::Join {
                    at,
                    with: Neighbour::Next,
                }),
            ),
            (
                "join previous",
                correct(Correction::Join {
                    at,
                    with: Neighbour::Previous,
                }),
            ),
            ("undo", Ok(Revision::Undo)),
            ("restore", Ok(Revision::Restore)),
            ("splitt", Err(EntryFault::Misspelt { meant: "split" })),
        ] {
            assert_eq!(typed(text), wanted, "{text}");
        }
        let said = typed("D dorain").expect_err("no mode").to_string();
        assert!(said.contains("did you mean dorian?"), "{said}");
        let line = Entry::correcting(at, "F Ionian".into()).line(Glyphs::Ascii);
        assert!(
            line.starts_with("correct 0:20.0, F Ionian: _  a tonality, or none"),
            "{line}"
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
