//! A page as roff, for `man`.

use super::markup::{Block, Run, Style, Target, Text};
use super::text;
use ::roff::{Inline, Roff, bold, italic, roman};

/// Columns that `man` leaves for a table in a terminal of eighty.
const WIDTH: usize = 72;
/// What is wider begins at the left edge.
const INDENTED: usize = 72;

/// What stands in the head of a page.
pub(super) struct Head<'a> {
    pub topic: &'a str,
    pub title: &'a str,
    /// When it was last changed: `2026-11-28`.
    pub date: &'a str,
    /// Of the program.
    pub version: &'a str,
}

/// A page of section 7. `also` are the topics of others that it points to.
pub(super) fn render(head: &Head, blocks: &[Block], also: &[&str]) -> String {
    let mut out = Roff::new();
    let name = format!("peregrinus-{}", head.topic);
    out.control(
        "TH",
        [
            &*name,
            "7",
            head.date,
            &format!("peregrinus {}", head.version),
        ],
    );
    out.control("SH", ["NAME"]);
    out.text([roman(format!("{name} - {}", head.title))]);
    out.control("SH", ["DESCRIPTION"]);
    let mut before: Option<&Block> = None;
    for block in blocks {
        match block {
            Block::Title(_) => {}
            Block::Heading(text) => {
                out.control("SH", [&*words(text)]);
            }
            Block::Paragraph(text) => {
                if !matches!(before, Some(Block::Heading(_) | Block::Title(_))) {
                    out.control("PP", []);
                }
                out.text(inlines(text));
            }
            Block::Item(text) => {
                out.control("IP", ["\\(bu", "3"]);
                out.text(inlines(text));
            }
            Block::Literal(text) => literal(&mut out, text),
            Block::Table(rows) if rows.iter().all(|r| r.len() == 2) => {
                for row in rows.iter().skip(1) {
                    out.control("TP", []);
                    out.text(inlines(&row[0]));
                    out.text(inlines(&row[1]));
                }
            }
            Block::Table(rows) => literal(&mut out, &text::table(rows, WIDTH)),
        }
        before = Some(block);
    }
    out.control("SH", ["SEE ALSO"]);
    let mut pages = vec![bold("peregrinus"), roman("(1)")];
    for topic in also {
        pages.push(roman(", "));
        pages.push(bold(format!("peregrinus-{topic}")));
        pages.push(roman("(7)"));
    }
    out.text(pages);
    out.render()
}

/// Lines as they stand.
fn literal(out: &mut Roff, text: &str) {
    let wide = text
        .lines()
        .any(|l| textwrap::core::display_width(l) > INDENTED);
    out.control("PP", []);
    if wide {
        out.control("in", ["0"]);
    }
    out.control("nf", []);
    for line in text.lines() {
        out.text([roman(line)]);
    }
    out.control("fi", []);
    if wide {
        out.control("in", []);
    }
}

fn words(text: &Text) -> String {
    text.iter().map(|run| run.text.as_str()).collect()
}

fn inlines(text: &Text) -> Vec<Inline> {
    let inline = |run: &Run| {
        let text = run.text.as_str();
        let styled = match run.style {
            Style::Plain => roman(text),
            Style::Strong | Style::Code => bold(text),
            Style::Emphasis => italic(text),
        };
        let url = match &run.link {
            Some(Target::Url(url)) => Some(roman(format!(" <{url}>"))),
            _ => None,
        };
        [Some(styled), url]
    };
    text.iter().flat_map(inline).flatten().collect()
}
