//! Writing inside one rectangle: whatever does not fit is cut at its edge.

use crate::plain;
use crate::theory::Glyphs;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use unicode_width::UnicodeWidthStr;

/// A rectangle of the buffer, with places counted from its upper left corner.
pub(super) struct Pen<'a> {
    buf: &'a mut Buffer,
    area: Rect,
}

impl<'a> Pen<'a> {
    pub fn new(buf: &'a mut Buffer, area: Rect) -> Pen<'a> {
        let area = area.intersection(buf.area);
        Pen { buf, area }
    }

    /// Its first column on the screen.
    pub fn left(&self) -> u16 {
        self.area.x
    }

    pub fn width(&self) -> u16 {
        self.area.width
    }

    pub fn height(&self) -> u16 {
        self.area.height
    }

    /// Writes at (x, y) and returns the column after the text. Names come from outside:
    /// what would command the terminal is written as text.
    pub fn put(&mut self, x: u16, y: u16, text: &str, style: Style) -> u16 {
        if x >= self.area.width || y >= self.area.height {
            return x.saturating_add(columns(text));
        }
        let text = &*plain::name(text);
        let room = (self.area.width - x) as usize;
        let (x, y) = (self.area.x + x, self.area.y + y);
        // Of what was there before only the background stays.
        let style = style.remove_modifier(Modifier::all() - style.add_modifier);
        let (end, _) = self.buf.set_stringn(x, y, text, room, style);
        end - self.area.x
    }

    /// Writes so that the text ends before column `end`.
    pub fn put_right(&mut self, end: u16, y: u16, text: &str, style: Style) {
        self.put(end.saturating_sub(columns(text)), y, text, style);
    }

    /// One character of one column.
    pub fn dot(&mut self, x: u16, y: u16, c: char, style: Style) {
        if x < self.area.width && y < self.area.height {
            let cell = &mut self.buf[(self.area.x + x, self.area.y + y)];
            cell.modifier = Modifier::empty();
            cell.set_char(c).set_style(style);
        }
    }

    /// `n` times the same character.
    pub fn line(&mut self, x: u16, y: u16, n: u16, c: char, style: Style) {
        for i in 0..n.min(self.area.width.saturating_sub(x)) {
            self.dot(x + i, y, c, style);
        }
    }

    /// Lays a style over rows `from..to`.
    pub fn tint(&mut self, from: u16, to: u16, style: Style) {
        let to = to.min(self.area.height);
        if from < to {
            let rows = Rect::new(self.area.x, self.area.y + from, self.area.width, to - from);
            self.buf.set_style(rows, style);
        }
    }

    /// Empties a part, given in the pen's own places, down to the ground.
    pub fn wipe(&mut self, x: u16, y: u16, width: u16, height: u16, ground: Style) {
        for row in y..(y.saturating_add(height)).min(self.area.height) {
            for column in x..(x.saturating_add(width)).min(self.area.width) {
                let cell = &mut self.buf[(self.area.x + column, self.area.y + row)];
                cell.reset();
                cell.set_style(ground);
            }
        }
    }
}

/// Columns that a text takes, as [`Pen::put`] writes it.
pub(super) fn columns(text: &str) -> u16 {
    plain::name(text).width().min(u16::MAX as usize) as u16
}

/// The text, or as much as fits and a mark that something is missing.
pub(super) fn fit(text: &str, room: u16, glyphs: Glyphs) -> String {
    if columns(text) <= room {
        return text.to_owned();
    }
    let mark = match glyphs {
        Glyphs::Unicode => '…',
        Glyphs::Ascii => '~',
    };
    let mut out = String::new();
    for c in text.chars() {
        let mut more = out.clone();
        more.push(c);
        if columns(&more) + 1 > room {
            break;
        }
        out = more;
    }
    if room > 0 {
        out.push(mark);
    }
    out
}

/// The words that fit, and a mark that some are missing; a word is never cut
/// unless it is the first.
pub(super) fn fit_words(text: &str, room: u16, glyphs: Glyphs) -> String {
    if columns(text) <= room {
        return text.to_owned();
    }
    let mark = match glyphs {
        Glyphs::Unicode => "…",
        Glyphs::Ascii => "...",
    };
    let mut ends = text.match_indices(' ').map(|(at, _)| text.split_at(at).0);
    let whole = |words: &&str| !words.is_empty() && columns(words) + columns(mark) <= room;
    match ends.rfind(whole) {
        // The mark stands for what a comma would lead to.
        Some(words) => format!("{}{mark}", words.trim_end_matches([' ', ',', ';', ':'])),
        None => fit(text, room, glyphs),
    }
}

/// Lines of whole words; a word that is wider than a line goes beyond it.
pub(super) fn wrapped(text: &str, room: u16) -> Vec<String> {
    wrapped_after(text, 0, room)
}

/// The same where the first `taken` columns of the first line are taken.
pub(super) fn wrapped_after(text: &str, taken: u16, room: u16) -> Vec<String> {
    let indent = " ".repeat(taken.into());
    let options = textwrap::Options::new(room.into())
        .initial_indent(&indent)
        .break_words(false)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit);
    let lines = textwrap::wrap(text, options).into_iter();
    let own = |(i, line): (usize, std::borrow::Cow<str>)| match i {
        0 => line.get(indent.len()..).unwrap_or_default().to_owned(),
        _ => line.into_owned(),
    };
    lines.enumerate().map(own).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_with_a_mark() {
        assert_eq!(fit("D Dorian", 8, Glyphs::Unicode), "D Dorian");
        assert_eq!(fit("D Dorian", 5, Glyphs::Unicode), "D Do…");
        assert_eq!(fit("D Dorian", 5, Glyphs::Ascii), "D Do~");
        assert_eq!(fit("D Dorian", 0, Glyphs::Unicode), "");
        assert_eq!(fit("日本語", 5, Glyphs::Unicode), "日本…");
    }

    #[test]
    fn what_would_command_a_terminal_is_written_as_text() {
        let name = "a\u{1b}[2J\u{202e}b";
        let written = "a\\x1b[2J\\u{202e}b";
        assert_eq!(columns(name), columns(written));
        let area = Rect::new(0, 0, 20, 1);
        let mut buf = Buffer::empty(area);
        let end = Pen::new(&mut buf, area).put(0, 0, name, Style::new());
        assert_eq!(end, columns(written));
        let row: String = (0..20).map(|x| buf[(x, 0)].symbol()).collect();
        assert_eq!(row.trim_end(), written);
    }

    #[test]
    fn a_sentence_is_cut_between_words() {
        let text = "It is gone; it comes back.";
        assert_eq!(fit_words(text, 26, Glyphs::Unicode), text);
        assert_eq!(
            fit_words(text, 25, Glyphs::Unicode),
            "It is gone; it comes…"
        );
        assert_eq!(fit_words(text, 14, Glyphs::Unicode), "It is gone…");
        assert_eq!(fit_words(text, 14, Glyphs::Ascii), "It is gone...");
        assert_eq!(fit_words(text, 1, Glyphs::Unicode), "…");
        assert_eq!(fit_words("unbreakable words", 6, Glyphs::Unicode), "unbre…");
        assert_eq!(fit_words(" 日本語 日本語", 8, Glyphs::Unicode), " 日本語…");
        assert_eq!(fit_words("x y", 0, Glyphs::Ascii), "");
    }

    #[test]
    fn a_text_is_wrapped_between_words() {
        let lines = wrapped("It is gone; it comes back.", 12);
        assert_eq!(lines, ["It is gone;", "it comes", "back."]);
        let lines = wrapped_after("It is gone; it comes back.", 6, 12);
        assert_eq!(lines, ["It is", "gone; it", "comes back."]);
    }

    #[test]
    fn a_pen_stays_in_its_rectangle() {
        let mut buf = Buffer::filled(Rect::new(0, 0, 9, 3), ratatui::buffer::Cell::new("x"));
        let mut pen = Pen::new(&mut buf, Rect::new(2, 1, 5, 1));
        pen.put(3, 0, "日本", Style::new());
        pen.put_right(1, 0, "abc", Style::new());
        pen.line(0, 0, 400, '-', Style::new());
        pen.put(0, 7, "no", Style::new());
        let rows: Vec<String> = (0..3)
            .map(|y| (0..9).map(|x| buf[(x, y)].symbol()).collect())
            .collect();
        assert_eq!(rows, ["xxxxxxxxx", "xx-----xx", "xxxxxxxxx"]);
    }
}
