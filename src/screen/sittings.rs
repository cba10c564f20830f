//! The list of sittings: what is typed to search it, what matches, and which one is chosen.

use crate::listing::{Listing, Row, Search};
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
    listing: Listing,
    /// The places in the list of those that match.
    found: Vec<usize>,
    /// The places among these of the chosen one, and of the first that is shown.
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

    pub fn listing(&self) -> &Listing {
        &self.listing
    }

    /// How many match.
    pub fn found(&self) -> usize {
        self.found.len()
    }

    pub fn chosen(&self) -> Option<&Row> {
        self.listing.rows.get(*self.found.get(self.chosen)?)
    }

    /// Those that are shown on this number of rows, and whether each is the chosen one.
    pub fn shown(&self, rows: usize) -> impl Iterator<Item = (&Row, bool)> {
        let places = self.found.iter().enumerate().skip(self.top).take(rows);
        places.filter_map(|(place, at)| Some((self.listing.rows.get(*at)?, place == self.chosen)))
    }

    /// Takes the list as far as it is known by now. The chosen sitting stays chosen, but the first
    /// row stays the first row: until the player moves, that is the newest.
    pub fn fill(&mut self, listing: Listing, notation: Notation, catalogue: &Catalogue) {
        let same = Arc::ptr_eq(&listing.rows, &self.listing.rows);
        let chosen = self.chosen().filter(|_| self.chosen > 0);
        let chosen = chosen.map(|row| row.id.clone());
        self.listing = listing;
        if same {
            return;
        }
        self.search(notation, catalogue);
        let rows = &self.listing.rows;
        let place = chosen.and_then(|id| self.found.iter().position(|&at| rows[at].id == id));
        self.chosen = place.unwrap_or_default();
    }

    /// Searches for what is typed.
    fn search(&mut self, notation: Notation, catalogue: &Catalogue) {
        let mut search = Search::new(&self.typed, notation, catalogue);
        let rows = self.listing.rows.iter().enumerate();
        let matching = rows.filter(|(_, row)| search.matches(row));
        self.found = matching.map(|(at, _)| at).collect();
        (self.chosen, self.top) = (0, 0);
    }

    /// Scrolls so that the chosen one is among this number of rows.
    pub fn follow(&mut self, rows: usize) {
        let rows = rows.max(1);
        let first = (self.chosen + 1).saturating_sub(rows);
        let last = self.found.len().saturating_sub(rows);
        self.top = self.top.clamp(first, self.chosen).min(last.max(first));
    }

    /// Takes a key of the computer's keyboard; a page has this number of rows.
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
                self.search(notation, catalogue);
            }
            KeyCode::Char('u') if control => {
                self.typed.clear();
                self.search(notation, catalogue);
            }
            KeyCode::Char(c)
                if plain && !c.is_control() && self.typed.chars().count() < LONGEST =>
            {
                self.typed.push(c);
                self.search(notation, catalogue);
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
