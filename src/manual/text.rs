//! A page as plain text.

use super::markup::{Block, Run, Style, Target, Text};
use textwrap::core::display_width;
use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

/// Columns between two columns of a table.
const GAP: usize = 2;

/// The blocks of a page in lines of at most `width` columns, each ended.
pub(super) fn render(blocks: &[Block], width: usize) -> String {
    let mut out = String::new();
    let mut before: Option<&Block> = None;
    for block in blocks {
        let list = matches!((before, block), (Some(Block::Item(_)), Block::Item(_)));
        if before.is_some() && !list {
            out.push('\n');
        }
        out.push_str(&match block {
            Block::Title(text) => underlined(text, "="),
            Block::Heading(text) => underlined(text, "-"),
            Block::Paragraph(text) => wrapped(&sentence(text), width, ["", ""]),
            Block::Item(text) => wrapped(&sentence(text), width, ["- ", "  "]),
            Block::Literal(text) => text.clone(),
            Block::Table(rows) => table(rows, width),
        });
        before = Some(block);
    }
    out
}

fn underlined(text: &Text, line: &str) -> String {
    let text = sentence(text);
    let line = line.repeat(display_width(&text));
    format!("{text}\n{line}\n")
}

/// Lines of at most `width` columns. `before` stands before the first and before each other.
pub(super) fn wrapped(text: &str, width: usize, before: [&str; 2]) -> String {
    // Words are never broken: a command and a numeral are whole or nothing.
    let options = Options::new(width)
        .initial_indent(before[0])
        .subsequent_indent(before[1])
        .break_words(false)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit);
    let mut out = textwrap::fill(text, options);
    out.push('\n');
    out
}

/// Text of a paragraph. A lone character would be lost there: it is quoted.
fn sentence(text: &Text) -> String {
    let run = |run: &Run| {
        let mut said = match run.style {
            Style::Code if display_width(&run.text) == 1 => format!("'{}'", run.text),
            _ => run.text.clone(),
        };
        if let Some(Target::Url(url)) = &run.link {
            said.push_str(&format!(" <{url}>"));
        }
        said
    };
    text.iter().map(run).collect()
}

/// Text of a cell, which stands alone.
fn bare(text: &Text) -> String {
    text.iter().map(|run| run.text.as_str()).collect()
}

/// Rows of cells, wrapped, under a head with a line below it.
pub(super) fn table(rows: &[Vec<Text>], width: usize) -> String {
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| row.iter().map(bare).collect())
        .collect();
    let columns = cells.first().map_or(0, Vec::len);
    // The longest that a column's cells give.
    let longest = |measure: fn(&str) -> usize| -> Vec<usize> {
        let column = |i: usize| cells.iter().filter_map(move |row| row.get(i));
        let longest = |i| column(i).map(|cell| measure(cell)).max().unwrap_or(0);
        (0..columns).map(longest).collect()
    };
    let mut widths = longest(display_width);
    // A word is not broken.
    let least = longest(|cell| cell.split(' ').map(display_width).max().unwrap_or(0));
    let whole = |widths: &[usize]| widths.iter().sum::<usize>() + GAP * columns.saturating_sub(1);
    // The widest gives way until all fit.
    while whole(&widths) > width {
        let some = widths
            .iter_mut()
            .zip(&least)
            .filter(|(w, least)| **w > **least);
        let Some((widest, _)) = some.max_by_key(|(w, _)| **w) else {
            break;
        };
        *widest -= 1;
    }
    let mut out = String::new();
    for (i, row) in cells.iter().enumerate() {
        out.push_str(&beside(row, &widths));
        if i == 0 {
            let rules: Vec<String> = widths.iter().map(|w| "-".repeat(*w)).collect();
            out.push_str(&beside(&rules, &widths));
        }
    }
    out
}

/// A row of cells side by side, each wrapped in its column.
fn beside(row: &[String], widths: &[usize]) -> String {
    let lines: Vec<Vec<String>> = row
        .iter()
        .zip(widths)
        .map(|(cell, width)| {
            let lines = wrapped(cell, *width, ["", ""]);
            lines.lines().map(str::to_owned).collect()
        })
        .collect();
    let mut out = String::new();
    for i in 0..lines.iter().map(Vec::len).max().unwrap_or(0) {
        let mut line = String::new();
        let mut at = 0;
        for (cell, width) in lines.iter().zip(widths) {
            let text = cell.get(i).map_or("", String::as_str);
            line.push_str(&" ".repeat(at - display_width(&line).min(at)));
            line.push_str(text);
            at += width + GAP;
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// Names with what each means, in two columns under a heading.
pub(super) fn list<'a>(
    heading: &str,
    rows: impl Iterator<Item = (&'a str, &'a str)>,
    width: usize,
) -> String {
    let rows: Vec<(&str, &str)> = rows.collect();
    let widest = rows
        .iter()
        .map(|(n, _)| display_width(n))
        .max()
        .unwrap_or(0);
    let rest = " ".repeat(GAP + widest + GAP);
    let row = |(name, what): &(&str, &str)| {
        let first = format!("{:GAP$}{name:widest$}{:GAP$}", "", "");
        wrapped(what, width, [&first, &rest])
    };
    let rows = rows.iter().map(row);
    std::iter::once(format!("{heading}\n"))
        .chain(rows)
        .collect()
}
