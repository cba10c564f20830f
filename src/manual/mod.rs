//! The manual: a page a topic, written once in Markdown under `pages/`, embedded, and
//! printed as plain text or as roff for `man`.
//!
//! A new page is a file there and a line in [`PAGES`].

mod markup;
mod roff;
#[cfg(test)]
mod tests;
mod text;

use markup::{Block, Target};

pub use markup::MarkupError;

/// When what the manual says was last changed: a page for `man` has a date.
pub const CHANGED: &str = "2026-11-28";

/// A page of the manual.
#[derive(Clone, Copy, Debug)]
pub struct Page {
    /// What it is called for by, `peregrinus man TOPIC`; its file's name.
    pub topic: &'static str,
    source: &'static str,
}

macro_rules! page {
    ($topic:literal) => {
        Page {
            topic: $topic,
            source: include_str!(concat!("pages/", $topic, ".md")),
        }
    };
}

/// All pages, in the order in which one would read them.
pub const PAGES: &[Page] = &[
    page!("screen"),
    page!("keys"),
    page!("playing"),
    page!("chords"),
    page!("numerals"),
    page!("tables"),
    page!("own-modes"),
    page!("settings"),
    page!("lines"),
    page!("json"),
    page!("romantext"),
    page!("recordings"),
    page!("keeping"),
    page!("midi"),
    page!("estimator"),
    page!("limits"),
    page!("figures"),
];

impl Page {
    /// What the page is about, in a few words: its heading.
    pub fn title(&self) -> &'static str {
        let first = self.source.lines().next().unwrap_or_default();
        first.trim_start_matches('#').trim()
    }

    /// As plain text in lines of at most `width` columns; a picture of the screen takes
    /// eighty, and a table no fewer than its longest words.
    pub fn plain(&self, width: usize) -> Result<String, MarkupError> {
        let blocks = markup::parse(self.source)?;
        let mut out = text::render(&blocks, width);
        let also: Vec<String> = topics(&blocks)
            .iter()
            .map(|topic| format!("peregrinus man {topic}"))
            .collect();
        if !also.is_empty() {
            let also = format!("See also: {}", also.join(", "));
            out.push('\n');
            out.push_str(&text::wrapped(&also, width, ["", ""]));
        }
        Ok(out)
    }

    /// As a page for `man`, in section 7, of things in general.
    pub fn roff(&self, version: &str) -> Result<String, MarkupError> {
        let blocks = markup::parse(self.source)?;
        let head = roff::Head {
            topic: self.topic,
            title: self.title(),
            date: CHANGED,
            version,
        };
        Ok(roff::render(&head, &blocks, &topics(&blocks)))
    }
}

/// The pages that a page points to, in its order.
fn topics(blocks: &[Block]) -> Vec<&str> {
    let mut all = Vec::new();
    let texts = blocks.iter().flat_map(Block::texts);
    for run in texts.flatten() {
        if let Some(Target::Page(topic)) = &run.link
            && !all.contains(&topic.as_str())
        {
            all.push(topic.as_str());
        }
    }
    all
}

/// What stands above and below the lists of topics and commands.
const HEAD: &str = "peregrinus man TOPIC prints a page of the manual, peregrinus man COMMAND \
                    the page of a command; --roff prints it for man.";
const FOOT: &str = "Take breaks, warm up, and stop when something hurts; pain that stays is \
                    for a professional to look at, not for a practice tool.";

/// The list of topics, and of the commands with what each does, in lines of at most
/// `width` columns.
pub fn contents(commands: &[(String, String)], width: usize) -> String {
    let topics = PAGES.iter().map(|p| (p.topic, p.title()));
    let commands = commands.iter().map(|(name, about)| (&**name, &**about));
    [
        text::wrapped(HEAD, width, ["", ""]),
        text::list("Topics", topics, width),
        text::list("Commands", commands, width),
        text::wrapped(FOOT, width, ["", ""]),
    ]
    .join("\n")
}
