//! The part of Markdown in which pages are written: headings, paragraphs, lists of one
//! level, tables, blocks of code, and in a line code, strong, emphasis and links.

use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag, TagEnd};

/// Stands in a page for the settings file with all defaults.
const DEFAULTS: &str = "<!-- config/default.toml -->";
const DEFAULTS_TEXT: &str = include_str!("../../config/default.toml");

/// What a page is made of, from top to bottom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Block {
    /// The page's title.
    Title(Text),
    /// The heading of a section.
    Heading(Text),
    Paragraph(Text),
    /// An item of a list.
    Item(Text),
    /// Printed as it stands.
    Literal(String),
    /// Rows of cells, all as long as the first, which is the head.
    Table(Vec<Vec<Text>>),
}

/// Text that is wrapped.
pub(super) type Text = Vec<Run>;

/// A piece of text that looks alike throughout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub text: String,
    pub style: Style,
    pub link: Option<Target>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Style {
    #[default]
    Plain,
    Strong,
    Emphasis,
    Code,
}

/// Where a link leads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Target {
    /// A page of this manual, by its topic.
    Page(String),
    Url(String),
}

impl Block {
    /// All its text that is wrapped.
    pub fn texts(&self) -> Vec<&Text> {
        match self {
            Block::Title(t) | Block::Heading(t) | Block::Paragraph(t) | Block::Item(t) => vec![t],
            Block::Literal(_) => Vec::new(),
            Block::Table(rows) => rows.iter().flatten().collect(),
        }
    }
}

/// A page holds Markdown that the manual cannot print.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MarkupError {
    /// The start of a block or of a style.
    #[error("the manual cannot print this Markdown: {0:?}")]
    Tag(Tag<'static>),
    /// Anything else, such as HTML or a rule.
    #[error("the manual cannot print this Markdown: {0:?}")]
    Event(Event<'static>),
}

/// Reads a page.
pub(super) fn parse(source: &str) -> Result<Vec<Block>, MarkupError> {
    let mut reader = Reader::default();
    for event in Parser::new_ext(source, Options::ENABLE_TABLES) {
        reader.take(event)?;
    }
    Ok(reader.blocks)
}

#[derive(Default)]
struct Reader {
    blocks: Vec<Block>,
    /// Of the block that is being read.
    text: Text,
    style: Style,
    link: Option<Target>,
    in_item: bool,
    literal: Option<String>,
    rows: Vec<Vec<Text>>,
}

impl Reader {
    fn take(&mut self, event: Event) -> Result<(), MarkupError> {
        match event {
            Event::Start(tag) => return self.start(tag),
            Event::End(tag) => self.end(tag),
            Event::Text(text) => match &mut self.literal {
                Some(literal) => literal.push_str(&text),
                None => self.run(&text, self.style),
            },
            Event::Code(text) => self.run(&text, Style::Code),
            Event::SoftBreak => self.run(" ", self.style),
            Event::Html(html) if html.trim() == DEFAULTS => {
                self.blocks.push(Block::Literal(DEFAULTS_TEXT.into()));
            }
            other => return Err(MarkupError::Event(other.into_static())),
        }
        Ok(())
    }

    fn start(&mut self, tag: Tag) -> Result<(), MarkupError> {
        match tag {
            Tag::Paragraph | Tag::HtmlBlock | Tag::Table(_) | Tag::TableCell => {}
            Tag::Heading {
                level: HeadingLevel::H1 | HeadingLevel::H2,
                ..
            } => {}
            Tag::List(None) if !self.in_item => {}
            Tag::Item => self.in_item = true,
            Tag::CodeBlock(_) if !self.in_item => self.literal = Some(String::new()),
            Tag::TableHead | Tag::TableRow => self.rows.push(Vec::new()),
            Tag::Emphasis => self.style = Style::Emphasis,
            Tag::Strong => self.style = Style::Strong,
            Tag::Link { dest_url, .. } => {
                self.link = Some(match dest_url.strip_suffix(".md") {
                    Some(topic) if !topic.contains('/') => Target::Page(topic.into()),
                    _ => Target::Url(dest_url.into()),
                });
            }
            other => return Err(MarkupError::Tag(other.into_static())),
        }
        Ok(())
    }

    fn end(&mut self, tag: TagEnd) {
        match tag {
            TagEnd::Heading(level) => {
                let text = std::mem::take(&mut self.text);
                self.blocks.push(match level {
                    HeadingLevel::H1 => Block::Title(text),
                    _ => Block::Heading(text),
                });
            }
            // Of an item the whole is one block.
            TagEnd::Paragraph if !self.in_item => {
                let text = std::mem::take(&mut self.text);
                self.blocks.push(Block::Paragraph(text));
            }
            TagEnd::Item => {
                self.in_item = false;
                let text = std::mem::take(&mut self.text);
                self.blocks.push(Block::Item(text));
            }
            TagEnd::CodeBlock => {
                let literal = self.literal.take().unwrap_or_default();
                self.blocks.push(Block::Literal(literal));
            }
            TagEnd::TableCell => {
                let cell = std::mem::take(&mut self.text);
                if let Some(row) = self.rows.last_mut() {
                    row.push(cell);
                }
            }
            TagEnd::Table => {
                let rows = std::mem::take(&mut self.rows);
                self.blocks.push(Block::Table(rows));
            }
            TagEnd::Emphasis | TagEnd::Strong => self.style = Style::Plain,
            TagEnd::Link => self.link = None,
            _ => {}
        }
    }

    fn run(&mut self, text: &str, style: Style) {
        self.text.push(Run {
            text: text.to_owned(),
            style,
            link: self.link.clone(),
        });
    }
}
