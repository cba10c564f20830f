//! The house as DEVELOPERS.md draws it: no circle of files, and every room knows only
//! those that its row of the table "Code map" allows.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fmt::Write as _;
use std::path::Path;

#[path = "house/sources.rs"]
mod sources;
use sources::{Edge, Sources};

fn program() -> Sources {
    Sources::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"))
}

// ---- circles ----

/// Groups of files each of which leads to every other of its group, with a way round.
fn circles(edges: &[Edge]) -> Vec<Vec<&Edge>> {
    let mut out: BTreeMap<&str, Vec<&Edge>> = BTreeMap::new();
    for e in edges {
        out.entry(&e.from).or_default().push(e);
    }
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    let mut all = Vec::new();
    for &start in out.keys() {
        if seen.contains(start) {
            continue;
        }
        let around = |from| reached(&out, from);
        let there = around(start);
        let group: BTreeSet<&str> = there
            .iter()
            .copied()
            .filter(|f| around(f).contains(start))
            .collect();
        if group.is_empty() {
            continue;
        }
        seen.extend(&group);
        // Every edge of the group lies on a circle; each file's shortest one is told.
        let mut told: BTreeSet<&Edge> = BTreeSet::new();
        for &file in &group {
            told.extend(way_round(&out, file));
        }
        all.push(told.into_iter().collect());
    }
    all
}

fn reached<'e>(out: &BTreeMap<&'e str, Vec<&'e Edge>>, from: &str) -> BTreeSet<&'e str> {
    let mut seen = BTreeSet::new();
    let mut next: Vec<&str> = vec![from];
    while let Some(file) = next.pop() {
        for e in out.get(file).into_iter().flatten() {
            if seen.insert(e.to.as_str()) {
                next.push(&e.to);
            }
        }
    }
    seen
}

/// The shortest way from a file back to itself.
fn way_round<'e>(out: &BTreeMap<&'e str, Vec<&'e Edge>>, file: &str) -> Vec<&'e Edge> {
    let mut by: BTreeMap<&str, &Edge> = BTreeMap::new();
    let mut next = VecDeque::from([file]);
    while let Some(at) = next.pop_front() {
        for &e in out.get(at).into_iter().flatten() {
            if e.to == file {
                let mut way = vec![e];
                while way[way.len() - 1].from != file {
                    way.push(by[way[way.len() - 1].from.as_str()]);
                }
                way.reverse();
                return way;
            }
            if !by.contains_key(e.to.as_str()) {
                by.insert(&e.to, e);
                next.push_back(&e.to);
            }
        }
    }
    Vec::new()
}

fn tell(edge: &Edge) -> String {
    format!(
        "src/{}:{}: {} is defined in src/{}\n",
        edge.from, edge.line, edge.path, edge.to
    )
}

/// The circles, each with a way round; empty when there is none.
fn circle_faults(edges: &[Edge]) -> String {
    let mut faults = String::new();
    for circle in circles(edges) {
        let files: BTreeSet<&str> = circle.iter().map(|e| e.from.as_str()).collect();
        let names: Vec<&str> = files.into_iter().collect();
        let _ = writeln!(
            faults,
            "a circle of {} files: {}. Move what both need into a file below them, or hand it \
             in from above:",
            names.len(),
            names.join(", ")
        );
        circle.iter().for_each(|e| faults += &tell(e));
    }
    faults
}

#[test]
fn no_circle_of_files() {
    let edges = program().edges();
    // Whoever reads nothing finds nothing.
    assert!(edges.len() > 300, "{} edges", edges.len());
    let faults = circle_faults(&edges);
    assert!(faults.is_empty(), "{faults}");
}

// ---- the table ----

/// Who may know whom: a room, or one file of a room (`midi/event`).
#[derive(Debug, PartialEq)]
enum May {
    Know(Vec<String>),
    KnowAll,
}

/// Rooms by name, with the line of the row.
type Rows = BTreeMap<String, (May, usize)>;

/// The table under "Code map": a room in backticks, what it holds, whom it may know.
fn rows(text: &str) -> Result<Rows, String> {
    let mut rows = Rows::new();
    let lines = text.lines().enumerate().map(|(i, l)| (i + 1, l));
    let section = lines
        .skip_while(|(_, l)| *l != "## Code map")
        .skip(1)
        .take_while(|(_, l)| !l.starts_with("## "));
    for (line, row) in section.filter(|(_, l)| l.starts_with("| `")) {
        let at = |what: &str| format!("DEVELOPERS.md:{line}: {what}");
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let [names, _, may] = cells[..] else {
            return Err(at("a row has a room, what it holds, whom it may know"));
        };
        let may = || match may {
            "nobody" => Ok(May::Know(Vec::new())),
            "all" => Ok(May::KnowAll),
            _ => Ok::<_, String>(May::Know(ticked(may).map_err(|e| at(&e))?)),
        };
        for name in ticked(names).map_err(|e| at(&e))? {
            if rows.insert(name.clone(), (may()?, line)).is_some() {
                return Err(at(&format!("{name} has a row already")));
            }
        }
    }
    match rows.is_empty() {
        true => Err("DEVELOPERS.md: no table under \"Code map\"".into()),
        false => Ok(rows),
    }
}

/// `` `theory`, `time.rs`, `midi/` `` without what a file name has more.
fn ticked(cell: &str) -> Result<Vec<String>, String> {
    let name = |word: &str| {
        let inner = word.trim().strip_prefix('`')?.strip_suffix('`')?;
        let inner = inner.trim_end_matches('/').trim_end_matches(".rs");
        (!inner.is_empty() && !inner.contains('`')).then(|| inner.to_owned())
    };
    cell.split(',')
        .map(|word| {
            name(word).ok_or_else(|| {
                format!("{word:?} is no name in backticks; names stand between commas, or write nobody or all")
            })
        })
        .collect()
}

/// The room that a file is in; the crate's two roots are in none.
fn room(file: &str) -> Option<&str> {
    let first = file.split('/').next()?.trim_end_matches(".rs");
    (!["lib", "main"].contains(&first)).then_some(first)
}

/// What is not as the table says; empty when all is.
fn table_faults(sources: &Sources, rows: &Rows) -> String {
    let mut faults = String::new();
    let rooms: BTreeSet<&str> = sources.files().filter_map(room).collect();
    for name in rooms.iter().filter(|r| !rows.contains_key(**r)) {
        let _ = writeln!(
            faults,
            "src/{name} has no row in the table \"Code map\" of DEVELOPERS.md: write one"
        );
    }
    let files: BTreeSet<&str> = sources
        .files()
        .map(|f| f.trim_end_matches(".rs").trim_end_matches("/mod"))
        .collect();
    for (name, (may, line)) in rows {
        let mut stale = |what: &str| {
            if !files.contains(what) && !rooms.contains(what) {
                let _ = writeln!(
                    faults,
                    "DEVELOPERS.md:{line}: there is no src/{what}: take it out of the row of {name}"
                );
            }
        };
        stale(name);
        if let May::Know(whom) = may {
            whom.iter().for_each(|w| stale(w));
        }
    }
    for e in sources.edges() {
        let (Some(from), Some(to)) = (room(&e.from), room(&e.to)) else {
            continue;
        };
        let Some((May::Know(whom), line)) = rows.get(from) else {
            continue;
        };
        let file = e.to.trim_end_matches(".rs").trim_end_matches("/mod");
        if from != to && !whom.iter().any(|w| w == to || w == file) {
            let _ = writeln!(
                faults,
                "{}    and {from} may not know {to} (DEVELOPERS.md:{line}). Hand it in from \
                 above, move it to a room that both may know, or allow it in the table",
                tell(&e)
            );
        }
    }
    // Nothing points back: not even where no line does it yet.
    let allowed: Vec<Edge> = rows
        .iter()
        .flat_map(|(from, (may, line))| {
            let whom: Vec<&str> = match may {
                May::Know(whom) => whom.iter().map(String::as_str).collect(),
                May::KnowAll => rows
                    .keys()
                    .map(String::as_str)
                    .filter(|r| r != from)
                    .collect(),
            };
            whom.into_iter().map(|to| Edge {
                from: from.clone(),
                to: room(to).unwrap_or(to).to_owned(),
                line: *line,
                path: to.to_owned(),
            })
        })
        .collect();
    for circle in circles(&allowed) {
        let _ = writeln!(faults, "the table lets rooms know each other in a circle:");
        for e in circle {
            let _ = writeln!(
                faults,
                "DEVELOPERS.md:{}: {} may know {}",
                e.line, e.from, e.to
            );
        }
    }
    faults
}

#[test]
fn every_room_knows_only_whom_its_row_allows() {
    let text = include_str!("../DEVELOPERS.md");
    let rows = rows(text).unwrap_or_else(|e| panic!("{e}"));
    assert!(rows.len() > 10, "{rows:?}");
    let faults = table_faults(&program(), &rows);
    assert!(faults.is_empty(), "\n{faults}");
}

// ---- the walk ----

/// The rows of a section's table, each as its cells.
fn table<'t>(text: &'t str, section: &'t str) -> impl Iterator<Item = Vec<&'t str>> {
    let lines = text.lines().skip_while(move |l| *l != section).skip(1);
    let rows = lines.take_while(|l| !l.starts_with("## "));
    let rows = rows.filter(|l| l.starts_with("| ")).skip(1);
    rows.map(|row| row.trim_matches('|').split('|').map(str::trim).collect())
}

/// All names in backticks.
fn backticked(cell: &str) -> impl Iterator<Item = &str> {
    cell.split('`').skip(1).step_by(2)
}

/// Each station of the walk names a function that stands in its file, and each file that
/// is named beside it, or as the place for something new, is there.
#[test]
fn the_walk_and_the_places_for_new_things_are_true() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let map = std::fs::read_to_string(root.join("DEVELOPERS.md")).expect("DEVELOPERS.md");
    let there = |name: &str| root.join("src").join(name).exists() || root.join(name).exists();
    let mut stations = 0;
    for row in table(&map, "## The walk of one event") {
        let [files, functions, what] = row[..] else {
            panic!("a file, its functions, what happens: {row:?}");
        };
        let file = backticked(files).next().expect("a file");
        let source = std::fs::read_to_string(root.join("src").join(file));
        let source = source.unwrap_or_else(|e| panic!("src/{file}: {e}"));
        for function in backticked(functions) {
            let is_there = ["(", "<"].iter().any(|after| {
                let head = format!("fn {function}{after}");
                source.contains(&head)
            });
            assert!(is_there, "src/{file} has no fn {function}");
            stations += 1;
        }
        for other in backticked(what).filter(|w| w.ends_with(".rs")) {
            assert!(there(other), "{other}");
        }
    }
    assert!(stations >= 15, "{stations}");
    let mut places = 0;
    for row in table(&map, "## Where would one put it?") {
        for place in row[1..].iter().flat_map(|cell| backticked(cell)) {
            // Names of code, and the rooms that are not there yet.
            let is_path = place.contains('/') || place.contains('.');
            let to_come = ["sound/", "sittings/", "drills/"].contains(&place);
            assert!(!is_path || to_come || there(place), "{place}");
            places += 1;
        }
    }
    assert!(places >= 15, "{places}");
}

// ---- the checks can fail ----

fn made_up(files: &[(&str, &str)]) -> Sources {
    Sources::parse(files)
}

/// `from → to` of every edge, in order.
fn pairs(files: &[(&str, &str)]) -> Vec<String> {
    let edges = made_up(files).edges();
    edges
        .iter()
        .map(|e| format!("{}:{} {}", e.from, e.line, e.to))
        .collect()
}

#[test]
fn names_are_followed_to_the_file_that_defines_them() {
    let files = [
        ("lib.rs", "pub mod theory; mod time;"),
        (
            "theory/mod.rs",
            "mod chord;\nmod pitch;\npub use chord::{Chord, Kind as Sort};\npub use pitch::*;",
        ),
        (
            "theory/chord.rs",
            "use super::Pitch;\npub struct Chord(Pitch);\npub enum Kind { A }",
        ),
        ("theory/pitch.rs", "pub struct Pitch;\npub fn up() {}"),
        ("time.rs", "pub struct Time;"),
        (
            "a.rs",
            "use crate::theory;\nfn f() -> theory::Sort { todo!() }",
        ),
        (
            "b.rs",
            "fn f() {\n    let _ = vec![crate::theory::up()];\n}",
        ),
        (
            "c.rs",
            "use crate::{theory::{self, Pitch}, time};\nfn f(_: Pitch) { theory::up(); }",
        ),
        ("d.rs", "use crate::theory::*;\n\nfn f(_: Chord) {}"),
        // In a text, in a comment, as a bound: nothing.
        (
            "e.rs",
            "// crate::time::Time\nconst A: &str = \"crate::time::Time\";\nfn f<'a>(x: &'a u8) -> impl Sized + use<'a> { x }",
        ),
        (
            "f.rs",
            "mod inner { use super::super::time::Time; fn f(_: Time) { crate::theory::up() } }",
        ),
        ("main.rs", "fn main() { peregrinus::theory::up() }"),
    ];
    assert_eq!(
        pairs(&files),
        [
            "a.rs:2 theory/chord.rs",
            "b.rs:2 theory/pitch.rs",
            "c.rs:1 theory/pitch.rs",
            "c.rs:1 time.rs",
            "d.rs:3 theory/chord.rs",
            "f.rs:1 theory/pitch.rs",
            "f.rs:1 time.rs",
            "main.rs:1 theory/pitch.rs",
            "theory/chord.rs:1 theory/pitch.rs",
        ]
    );
}

#[test]
fn a_facade_knows_nobody_until_it_has_code_of_its_own() {
    let chord = (
        "theory/chord.rs",
        "use super::Above;\npub struct Chord(Above);",
    );
    let facade = "mod chord;\nmod above;\npub use chord::Chord;\npub use above::Above;";
    let above = ("theory/above.rs", "pub struct Above;");
    let files = [
        ("lib.rs", "mod theory;"),
        ("theory/mod.rs", facade),
        chord,
        above,
    ];
    assert_eq!(pairs(&files), ["theory/chord.rs:1 theory/above.rs"]);
    let own = "mod chord;\npub use chord::Chord;\npub struct Above;\nfn f(_: Chord) {}";
    let files = [("lib.rs", "mod theory;"), ("theory/mod.rs", own), chord];
    let edges = made_up(&files).edges();
    let faults = circle_faults(&edges);
    assert!(
        faults.contains("src/theory/mod.rs:4: chord::Chord is defined in src/theory/chord.rs"),
        "{faults}"
    );
}

#[test]
fn what_only_tests_have_is_left_out() {
    let files = [
        ("lib.rs", "mod a; mod b;\n#[cfg(test)]\nmod only;"),
        (
            "a.rs",
            "#[cfg(test)]\nuse crate::b::B;\n#[cfg(test)]\n#[allow(unused)]\npub(crate) fn f<X, Y>(_: B) { crate::b::g() }\n\
             #[cfg(test)]\nmod tests { use crate::b::B; }\n#[cfg(test)]\nmod more;\nstruct S { #[cfg(test)] x: crate::b::B, y: u8 }",
        ),
        ("a/more.rs", "use crate::b::B;"),
        ("b.rs", "pub struct B;\npub fn g() {}"),
        ("only.rs", "use crate::b::B;"),
    ];
    assert_eq!(pairs(&files), Vec::<String>::new());
    // Not what only mentions tests.
    let files = [
        ("lib.rs", "mod a; mod b;"),
        ("a.rs", "#[cfg(not(test))]\nuse crate::b::B;"),
        ("b.rs", "pub struct B;"),
    ];
    assert_eq!(pairs(&files), ["a.rs:2 b.rs"]);
}

#[test]
fn a_circle_is_named_line_by_line() {
    let files = [
        ("lib.rs", "mod a; mod b; mod c; mod d;"),
        ("a.rs", "\nuse crate::b::B;\npub struct A;"),
        ("b.rs", "use crate::c::C;\npub struct B;"),
        ("c.rs", "pub struct C;\nfn f() { crate::a::A; }"),
        ("d.rs", "use crate::a::A;"),
    ];
    let edges = made_up(&files).edges();
    let faults = circle_faults(&edges);
    assert!(
        faults.starts_with("a circle of 3 files: a.rs, b.rs, c.rs."),
        "{faults}"
    );
    for line in [
        "src/a.rs:2: crate::b::B is defined in src/b.rs",
        "src/b.rs:1: crate::c::C is defined in src/c.rs",
        "src/c.rs:2: crate::a::A is defined in src/a.rs",
    ] {
        assert!(faults.contains(line), "{faults}");
    }
    assert!(!faults.contains("d.rs"), "{faults}");
}

const TABLE: &str = "\
## Code map

| room | holds | may know |
|---|---|---|
| `time.rs` | ticks | nobody |
| `midi/` | `wire` | `time` |
| `engine/` | the rest | `time`, `midi/event` |
| `cli` | commands | all |

## Invariants

| `other` | no room | nobody |
";

const FILES: [(&str, &str); 6] = [
    ("lib.rs", "mod time; mod midi; mod engine; mod cli;"),
    ("time.rs", "pub struct Time;"),
    (
        "midi/mod.rs",
        "mod event; mod wire; pub use event::Event; pub use wire::Wire;",
    ),
    ("midi/event.rs", "use crate::time::Time; pub struct Event;"),
    ("midi/wire.rs", "pub struct Wire;"),
    ("cli/mod.rs", "use crate::midi::Wire;"),
];

#[test]
fn a_forbidden_room_is_named() {
    let with = |engine: &'static str| made_up(&[&FILES[..], &[("engine/mod.rs", engine)]].concat());
    let table = rows(TABLE).expect("a table");
    assert_eq!(table.len(), 4);
    assert_eq!(
        table_faults(&with("use crate::{midi::Event, time::Time};"), &table),
        ""
    );
    // Of a room of which one file is allowed, another; and one that is not allowed at all.
    let faults = table_faults(
        &with("use crate::midi::Event;\nuse crate::midi::Wire;"),
        &table,
    );
    assert!(
        faults.starts_with(
            "src/engine/mod.rs:2: crate::midi::Wire is defined in src/midi/wire.rs\n    \
             and engine may not know midi (DEVELOPERS.md:7)."
        ),
        "{faults}"
    );
    assert_eq!(faults.lines().count(), 2, "{faults}");
    let faults = table_faults(&with("fn f() {\n    crate::cli::main() }"), &table);
    assert!(
        faults.starts_with("src/engine/mod.rs:2: crate::cli::main"),
        "{faults}"
    );
}

#[test]
fn a_stale_row_a_missing_row_and_a_circle_of_rows_are_named() {
    let engine = [("engine/mod.rs", "")];
    let sources = made_up(&[&FILES[..], &engine].concat());
    let faults = |table: &str| table_faults(&sources, &rows(table).expect("a table"));
    assert_eq!(faults(TABLE), "");
    let changed = |old: &str, new: &str| {
        assert!(TABLE.contains(old), "{old}");
        faults(&TABLE.replacen(old, new, 1))
    };
    let gone = changed("| `cli`", "| `attic/` | | nobody |\n| `cli`");
    assert!(
        gone.starts_with("DEVELOPERS.md:8: there is no src/attic"),
        "{gone}"
    );
    let gone = changed("midi/event", "midi/events");
    assert!(
        gone.contains("DEVELOPERS.md:7: there is no src/midi/events"),
        "{gone}"
    );
    let missing = changed("| `time.rs` | ticks | nobody |\n", "");
    assert!(missing.contains("src/time has no row"), "{missing}");
    let back = changed("ticks | nobody", "ticks | `engine`");
    assert!(back.contains("in a circle:\nDEVELOPERS.md:"), "{back}");
    for (bad, says) in [
        ("theory", "\"theory\" is no name in backticks"),
        ("`theory` and `time`", "is no name in backticks"),
        ("", "is no name in backticks"),
    ] {
        let table = TABLE.replacen("`time` |", &format!("{bad} |"), 1);
        let said = rows(&table).expect_err("no names");
        assert!(
            said.starts_with("DEVELOPERS.md:6: ") && said.contains(says),
            "{said}"
        );
    }
    let twice = TABLE.replacen("`midi/`", "`time.rs`", 1);
    assert!(
        rows(&twice)
            .expect_err("twice")
            .contains("time has a row already")
    );
    assert!(
        rows("# Nothing")
            .expect_err("no table")
            .contains("no table")
    );
}
