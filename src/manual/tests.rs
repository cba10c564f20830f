//! The pages against the program that they speak of.

use super::*;
use crate::screen::KeyBindings;
use crate::settings::{self, Settings};
use crate::theory::Catalogue;
use markup::{Block, Run, parse};
use std::collections::BTreeSet;
use std::path::Path;
use textwrap::core::display_width;

fn page(topic: &str) -> &'static Page {
    let page = PAGES.iter().find(|p| p.topic == topic);
    page.unwrap_or_else(|| panic!("no page {topic}"))
}

fn blocks(page: &Page) -> Vec<Block> {
    parse(page.source).unwrap_or_else(|e| panic!("{}: {e}", page.topic))
}

/// The rows of all tables of a page, each cell as the words that stand in it as code.
fn rows(topic: &str) -> Vec<Vec<Vec<String>>> {
    let code = |run: &Run| (run.style == markup::Style::Code).then(|| run.text.clone());
    let cell = |cell: &Vec<Run>| cell.iter().filter_map(code).collect();
    let tables = blocks(page(topic)).into_iter().filter_map(|b| match b {
        Block::Table(rows) => Some(rows.into_iter().skip(1)),
        _ => None,
    });
    tables
        .flatten()
        .map(|row| row.iter().map(cell).collect())
        .collect()
}

/// The blocks of a page that stand in their own lines, as they are in the file.
fn fenced<'a>(source: &'a str, kind: &str) -> Vec<&'a str> {
    let parts = source.split("```").skip(1).step_by(2);
    parts.filter_map(|p| p.strip_prefix(kind)).collect()
}

#[test]
fn every_file_is_a_page_and_every_page_is_whole() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/manual/pages");
    let files: BTreeSet<String> = std::fs::read_dir(folder)
        .expect("the folder of pages")
        .map(|e| e.expect("a file").file_name().into_string().expect("text"))
        .collect();
    let pages: BTreeSet<String> = PAGES.iter().map(|p| format!("{}.md", p.topic)).collect();
    assert_eq!(files, pages);
    assert_eq!(pages.len(), PAGES.len(), "a topic twice");
    for page in PAGES {
        let blocks = blocks(page);
        let titles = blocks.iter().filter(|b| matches!(b, Block::Title(_)));
        assert_eq!(titles.count(), 1, "{}", page.topic);
        assert!(matches!(&blocks[0], Block::Title(t) if t[0].text == page.title()));
        for block in &blocks {
            if let Block::Table(rows) = block {
                let lengths: BTreeSet<usize> = rows.iter().map(Vec::len).collect();
                assert_eq!(lengths.len(), 1, "{}: {rows:?}", page.topic);
            }
        }
    }
}

#[test]
fn plain_text_fits_its_columns() {
    for page in PAGES {
        for width in [80, 100] {
            let text = page.plain(width).expect("a page");
            for line in text.lines() {
                assert!(display_width(line) <= width, "{}: {line}", page.topic);
                assert_eq!(line.trim_end(), line, "{}", page.topic);
            }
            assert!(text.ends_with('\n') && !text.ends_with("\n\n"));
        }
        // Nothing is lost where there is less room.
        let words = |text: &str| {
            let all: BTreeSet<String> = text.split_whitespace().map(str::to_owned).collect();
            all.into_iter()
                .filter(|w| !w.starts_with('-'))
                .collect::<BTreeSet<_>>()
        };
        let narrow = words(&page.plain(40).expect("a page"));
        assert_eq!(
            narrow,
            words(&page.plain(100).expect("a page")),
            "{}",
            page.topic
        );
    }
    let list = contents(&[("listen".into(), "Follow a keyboard".into())], 60);
    assert!(list.lines().all(|l| display_width(l) <= 60), "{list}");
    for page in PAGES {
        assert!(list.contains(&format!("  {} ", page.topic)), "{list}");
        assert!(list.contains("Take breaks"), "{list}");
    }
}

#[test]
fn links_lead_somewhere() {
    for page in PAGES {
        let blocks = blocks(page);
        for topic in topics(&blocks) {
            assert!(
                PAGES.iter().any(|p| p.topic == topic),
                "{}: {topic}",
                page.topic
            );
            assert_ne!(topic, page.topic, "a page that points to itself");
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut seen = 0;
    for file in ["README.md", "DEVELOPERS.md", "tests/training/README.md"] {
        let text = std::fs::read_to_string(root.join(file)).expect(file);
        let folder = Path::new(file).parent().expect("a folder");
        for link in text.split("](").skip(1).filter_map(|l| l.split(')').next()) {
            if !link.starts_with("http") {
                assert!(root.join(folder).join(link).exists(), "{file}: {link}");
                seen += 1;
            }
        }
    }
    assert!(seen >= PAGES.len(), "README names every page");
    let readme = include_str!("../../README.md");
    for page in PAGES {
        let link = format!("(src/manual/pages/{}.md)", page.topic);
        assert!(
            readme.contains(&link),
            "README does not name {}",
            page.topic
        );
    }
}

/// A row for each action, in the order of the table, with the keys that it has.
#[test]
fn the_page_of_keys_has_every_action() {
    let settings: toml::Table = settings::DEFAULTS.parse().expect("TOML");
    let keys = settings["keys"].as_table().expect("a table");
    let rows = rows("keys");
    let named: Vec<&str> = rows.iter().map(|r| r[0][0].as_str()).collect();
    assert_eq!(named, KeyBindings::actions().collect::<Vec<_>>());
    for row in &rows {
        let wanted: Vec<String> = match &keys[&row[0][0]] {
            toml::Value::String(key) => vec![key.clone()],
            toml::Value::Array(all) => all
                .iter()
                .map(|k| k.as_str().expect("a key").to_owned())
                .collect(),
            other => panic!("{other}"),
        };
        assert_eq!(row[1], wanted, "{}", row[0][0]);
    }
}

#[test]
fn the_page_of_settings_has_every_key() {
    let text = page("settings").plain(80).expect("a page");
    let settings: toml::Table = settings::DEFAULTS.parse().expect("TOML");
    let mut keys = 0;
    for (table, entries) in &settings {
        assert!(text.contains(&format!("\n[{table}]\n")), "{table}");
        for key in entries.as_table().expect("a table").keys() {
            assert!(text.contains(&format!("\n{key} = ")), "{key}");
            keys += 1;
        }
    }
    assert!(keys > 60, "{keys}");
}

/// What the pages show of settings and modes is taken by the program.
#[test]
fn examples_of_settings_and_modes_hold() {
    let standard = Settings::standard().expect("the defaults");
    let mut examples = 0;
    for page in PAGES {
        for text in fenced(page.source, "toml\n") {
            examples += 1;
            if text.starts_with("[[mode]]") {
                let all = Catalogue::standard().extended(text);
                let all = all.unwrap_or_else(|e| panic!("{}: {e}", page.topic));
                assert!(all.iter().count() > Catalogue::standard().iter().count());
                continue;
            }
            let mut own = standard.clone();
            own.override_with(text, Path::new(page.topic))
                .unwrap_or_else(|e| panic!("{e}"));
        }
    }
    assert!(examples >= 4, "{examples}");
}

/// They would part company otherwise.
#[test]
fn figures_stand_in_one_place() {
    let others = PAGES.iter().filter(|p| p.topic != "figures");
    let others = others.map(|p| (p.topic, p.source));
    for (name, text) in others.chain([("README", include_str!("../../README.md"))]) {
        for unit in ["%", "µs", " ms ", " in 100", "percent"] {
            assert!(!text.contains(unit), "{name}: {unit}");
        }
    }
}

#[test]
fn what_the_manual_cannot_print_is_refused() {
    for source in [
        "# a\n\n1. first\n",
        "# a\n\n- one\n  - within\n",
        "# a\n\n### too deep\n",
        "# a\n\n> quoted\n",
        "# a\n\n<!-- remark -->\n",
        "# a\n\n![picture](x.png)\n",
    ] {
        assert!(parse(source).is_err(), "{source}");
    }
}

#[test]
fn plain_text_looks_so() {
    let source = "# A page\n\nThe key `m` *marks* a `V65/vi`, see [figures](figures.md) or\n\
        [there](https://example.org/x).\n\n- one item that is long enough to be broken\n- two\n\n\
        ## More\n\n| a | what it is |\n|---|---|\n| `x` | a cell that is broken in two |\n\n\
        ```text\n  as it  stands\n```\n";
    let plain = text::render(&parse(source).expect("a page"), 30);
    let wanted = "\
A page
======

The key 'm' marks a V65/vi,
see figures or there
<https://example.org/x>.

- one item that is long enough
  to be broken
- two

More
----

a  what it is
-  ---------------------------
x  a cell that is broken in
   two

  as it  stands
";
    assert_eq!(plain, wanted);
}
