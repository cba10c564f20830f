//! The list of sittings: what is looked for, what of it is there, and which one is chosen.

use crate::shelf::{Row, Shelf, Sought};
use crate::theory::{Catalogue, Notation};
use ratatui::crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers};
use ratatui::crossterm::event::{MouseButton, MouseEvent, MouseEventKind};
use ratatui::layout::Rect;
use std::sync::Arc;

/// The longest text that is taken.
const LONGEST: usize = 100;
/// Rows that a turn of the wheel goes by.
const WHEEL: usize = 3;

#[derive(Clone, Debug, Default)]
pub(super) struct SittingList {
    typed: String,
    shelf: Shelf,
    /// The places on the shelf of those that fit.
    found: Vec<usize>,
    /// The place among these of the one that is chosen, and of the first that is to be seen.
    chosen: usize,
    top: usize,
}

/// What a key or the mouse did to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum ListState {
    Open,
    Left,
    /// This sitting is to be opened.
    Chosen(String),
}

impl SittingList {
    pub fn typed(&self) -> &str {
        &self.typed
    }

    pub fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    /// How many fit.
    pub fn found(&self) -> usize {
        self.found.len()
    }

    pub fn chosen(&self) -> Option<&Row> {
        self.shelf.rows.get(*self.found.get(self.chosen)?)
    }

    /// Those that are to be seen on so many rows, and whether each is chosen.
    pub fn seen(&self, rows: usize) -> impl Iterator<Item = (&Row, bool)> {
        let places = self.found.iter().enumerate().skip(self.top).take(rows);
        places.filter_map(|(place, at)| Some((self.shelf.rows.get(*at)?, place == self.chosen)))
    }

    /// Takes what there is of the list by now. The one that is chosen stays so, unless it is the
    /// newest.
    pub fn fill(&mut self, shelf: Shelf, notation: Notation, catalogue: &Catalogue) {
        let same = Arc::ptr_eq(&shelf.rows, &self.shelf.rows);
        let chosen = self.chosen().filter(|_| self.chosen > 0);
        let chosen = chosen.map(|row| row.id.clone());
        self.shelf = shelf;
        if same {
            return;
        }
        self.look(notation, catalogue);
        let rows = &self.shelf.rows;
        let place = chosen.and_then(|id| self.found.iter().position(|&at| rows[at].id == id));
        self.chosen = place.unwrap_or_default();
    }

    /// Looks for what is typed.
    fn look(&mut self, notation: Notation, catalogue: &Catalogue) {
        let mut sought = Sought::new(&self.typed, notation, catalogue);
        let rows = self.shelf.rows.iter().enumerate();
        let fitting = rows.filter(|(_, row)| sought.fits(row));
        self.found = fitting.map(|(at, _)| at).collect();
        (self.chosen, self.top) = (0, 0);
    }

    /// Takes in how many rows there is room for: the one that is chosen is among them.
    pub fn follow(&mut self, rows: usize) {
        let rows = rows.max(1);
        let first = (self.chosen + 1).saturating_sub(rows);
        let last = self.found.len().saturating_sub(rows);
        self.top = self.top.clamp(first, self.chosen).min(last.max(first));
    }

    /// Takes a key of the computer's keyboard; `page` rows were to be seen.
    pub fn take(
        &mut self,
        event: &Event,
        page: usize,
        notation: Notation,
        catalogue: &Catalogue,
    ) -> ListState {
        let Event::Key(key) = event else {
            return ListState::Open;
        };
        if key.kind == KeyEventKind::Release {
            return ListState::Open;
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let plain = !control && !key.modifiers.contains(KeyModifiers::ALT);
        let page = page.max(1);
        match key.code {
            KeyCode::Esc => return ListState::Left,
            KeyCode::Enter => return self.open(),
            KeyCode::Up => self.choose(self.chosen.saturating_sub(1)),
            KeyCode::Down => self.choose(self.chosen + 1),
            KeyCode::PageUp => self.choose(self.chosen.saturating_sub(page)),
            KeyCode::PageDown => self.choose(self.chosen + page),
            KeyCode::Home => self.choose(0),
            KeyCode::End => self.choose(usize::MAX),
            KeyCode::Backspace => {
                self.typed.pop();
                self.look(notation, catalogue);
            }
            KeyCode::Char('u') if control => {
                self.typed.clear();
                self.look(notation, catalogue);
            }
            KeyCode::Char(c)
                if plain && !c.is_control() && self.typed.chars().count() < LONGEST =>
            {
                self.typed.push(c);
                self.look(notation, catalogue);
            }
            _ => {}
        }
        ListState::Open
    }

    /// The wheel goes through the list; a click chooses, and opens the one that is chosen. `rows`
    /// is where they were drawn.
    pub fn point(&mut self, event: &MouseEvent, rows: Rect) -> ListState {
        match event.kind {
            MouseEventKind::ScrollUp => self.choose(self.chosen.saturating_sub(WHEEL)),
            MouseEventKind::ScrollDown => self.choose(self.chosen + WHEEL),
            MouseEventKind::Down(MouseButton::Left)
                if (rows.top()..rows.bottom()).contains(&event.row) =>
            {
                let place = self.top + usize::from(event.row - rows.top());
                if place == self.chosen {
                    return self.open();
                }
                if place < self.found.len() {
                    self.choose(place);
                }
            }
            _ => {}
        }
        ListState::Open
    }

    fn open(&self) -> ListState {
        match self.chosen() {
            Some(row) => ListState::Chosen(row.id.clone()),
            None => ListState::Open,
        }
    }

    fn choose(&mut self, place: usize) {
        self.chosen = place.min(self.found.len().saturating_sub(1));
    }
}
