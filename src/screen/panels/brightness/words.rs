//! What is said in words: the caption, and the lines below the modes.

use super::ladder::{Ladder, ModeStatus, Rung};
use super::names::{name, note, said_alterations};
use super::order::nearest;
use crate::screen::claim::Claim;
use crate::screen::look::Look;
use crate::screen::pen::columns;
use crate::theory::{ModeId, alterations};
use ratatui::style::Style;

impl Ladder<'_> {
    /// What the brackets and the pointer mean, those that are drawn.
    pub fn legend(&self, room: u16, look: &Look) -> String {
        // What is needed least stands last, and is left out first.
        let mut parts = Vec::new();
        let present = |r: &Rung| matches!(r.said, ModeStatus::Present | ModeStatus::Guess);
        let word = match self.reference {
            Some(r) if r.pinned => "pinned",
            _ => "here",
        };
        if let Some((name, _)) = &self.beside {
            parts.push(format!("{word}: {name}"));
        }
        match &self.heard {
            Some(heard) => parts.push(format!("heard: {heard}")),
            None if self.rungs.iter().any(|r| r.said == ModeStatus::Heard) => {
                parts.push("(heard)".to_owned());
            }
            None => {}
        }
        let pointer = look.sign("▸", ">");
        if self.rungs.iter().any(|r| r.chosen) {
            parts.push(format!("{pointer} chosen"));
        }
        if self.rungs.iter().any(present) {
            parts.push(format!("[{word}]"));
        }
        while parts.len() > 1 && columns(&parts.join("  ")) > room {
            parts.pop();
        }
        parts.join("  ")
    }

    /// At most `lines` lines, the most important first: each in full, shortened, and its
    /// style.
    pub fn words(&self, lines: usize, look: &Look) -> Vec<(String, String, Style)> {
        let styles = look.styles();
        let Some(reference) = self.reference else {
            return Vec::new();
        };
        let mut list = Vec::new();
        let own = reference.spelled.tonality.mode;
        let note = note(reference.spelled.tonic, look);
        let mode = |id: ModeId| look.catalogue.mode(id);
        if let Some((name, _)) = &self.beside
            && let Some(other) = nearest(look.catalogue, self.order, own)
        {
            let with = alterations(mode(other), mode(own));
            let with = match &with[..] {
                [] if mode(own).movable.is_empty() => "with notes left out".to_owned(),
                [] => {
                    let moved = mode(own).movable.iter().map(|&d| note(d));
                    format!("also with {}", moved.collect::<Vec<_>>().join(" "))
                }
                some => said_alterations(some, look, &note),
            };
            let points = look.sign("◂", "<");
            let like = self.name_of(other, look);
            let long = format!("{points} {name}: like {like}, {with}");
            let short = format!("{points} like {like}, {with}");
            list.push((long, short, styles.strong));
        }
        if let Some(chosen) = self.chosen {
            let with = alterations(mode(own), mode(chosen));
            let with = match &with[..] {
                [] => "the same notes".to_owned(),
                some => said_alterations(some, look, &note),
            };
            let pointer = look.sign("▸", ">");
            let to = self.name_of(chosen, look);
            let long = format!("{pointer} to {to}: {with}");
            list.push((long, format!("{pointer} {with}"), styles.strong));
        }
        if list.is_empty()
            && reference.claim == Claim::Decided
            && let Some(at) = self.rungs.iter().position(|r| r.mode == own)
        {
            let step = |at: Option<usize>, word: &str| {
                let other = self.rungs.get(at?)?.mode;
                let with = said_alterations(&alterations(mode(own), mode(other)), look, &note);
                Some(format!("{word} {with}"))
            };
            let both = |up: &str, down: &str| -> Vec<String> {
                let both = [step(at.checked_sub(1), up), step(Some(at + 1), down)];
                both.into_iter().flatten().collect()
            };
            // The brightest stands on top.
            let (up, down) = (look.sign("▲", "^"), look.sign("▼", "v"));
            let long = both("brighter:", "darker:").join("    ");
            list.push((long, both(up, down).join("  "), styles.quiet));
        }
        list.truncate(lines);
        list
    }

    fn name_of(&self, mode: ModeId, look: &Look) -> String {
        name(mode, self.reference, look)
    }
}
