//! The manual as the program prints it: for man, as plain text, and what it shows of the
//! commands against the commands.

use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn peregrinus(args: &[&str]) -> Output {
    let home = tempfile::tempdir().unwrap();
    // Settings that are wrong are no reason to have no manual.
    let config = home.path().join("config/peregrinus");
    std::fs::create_dir_all(&config).unwrap();
    if args.first() == Some(&"man") {
        std::fs::write(config.join("settings.toml"), "[no such table]").unwrap();
    }
    Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path().join("config"))
        .env("XDG_STATE_HOME", home.path().join("state"))
        .env("XDG_DATA_HOME", home.path().join("data"))
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn printed(args: &[&str]) -> String {
    let output = peregrinus(args);
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && err.is_empty(), "{args:?}: {err}");
    String::from_utf8(output.stdout).unwrap()
}

/// Runs a checker on a file; it must have nothing to say.
#[cfg(unix)]
fn accepted(program: &str, args: &[&str], file: &Path) {
    let output = Command::new(program).args(args).arg(file).output();
    let output = output.unwrap_or_else(|e| panic!("{program}: {e}; tests/prepare installs it"));
    let said = [output.stdout.as_slice(), &output.stderr].concat();
    let said = String::from_utf8_lossy(&said);
    assert!(
        output.status.success() && said.is_empty(),
        "{program} {args:?}: {said}"
    );
}

/// Topics and commands, as the list names them.
fn listed() -> (Vec<String>, Vec<String>) {
    let list = printed(&["man", "--list"]);
    let (topics, commands) = list.split_once("\nCommands\n").expect("two lists");
    let names = |text: &str| -> Vec<String> {
        let lines = text.lines().filter_map(|l| l.strip_prefix("  "));
        let names = lines.filter(|l| !l.starts_with(' '));
        names
            .filter_map(|l| Some(l.split_whitespace().next()?.to_owned()))
            .collect()
    };
    (names(topics), names(commands))
}

#[test]
fn no_topic_has_a_command_s_name() {
    let (topics, commands) = listed();
    assert!(
        topics.len() >= 16 && commands.len() >= 8,
        "{topics:?} {commands:?}"
    );
    let all: BTreeSet<&String> = topics.iter().chain(&commands).collect();
    assert_eq!(all.len(), topics.len() + commands.len());
}

#[test]
#[cfg(unix)]
fn pages_for_man_are_well_formed() {
    let folder = tempfile::tempdir().unwrap();
    let (topics, commands) = listed();
    let names = topics.iter().map(|t| (Some(t), "7"));
    let names = names.chain(commands.iter().map(|c| (Some(c), "1")));
    for (name, section) in names.chain([(None, "1")]) {
        let mut args = vec!["man", "--roff"];
        args.extend(name.map(String::as_str));
        let page = printed(&args);
        let title = name.map_or("peregrinus".to_owned(), |c| format!("peregrinus-{c}"));
        let head = format!(".TH {title} {section}");
        assert!(page.contains(&head), "{head}: {page}");
        let file = folder.path().join(format!("{title}.{section}"));
        std::fs::write(&file, &page).unwrap();
        // A line break beside an empty line, which the generator makes, is only a warning.
        accepted("mandoc", &["-T", "lint", "-W", "error"], &file);
        let groff = ["-K", "utf8", "-T", "utf8", "-man", "-ww", "-z"];
        accepted("groff", &groff, &file);
        // What man shows is what the plain text has, but for how its lines are broken.
        if section == "7" {
            let shown = Command::new("mandoc")
                .args(["-T", "utf8", "-K", "utf-8"])
                .arg(&file)
                .output()
                .unwrap();
            let shown = words(&struck_once(&String::from_utf8_lossy(&shown.stdout)));
            let plain = words(&without_heads(&printed(&["man", name.unwrap()])));
            let missing: Vec<&String> = plain.difference(&shown).collect();
            assert!(missing.is_empty(), "{title}: {missing:?}");
        }
    }
}

/// The longer words of a text.
#[cfg(unix)]
fn words(text: &str) -> BTreeSet<String> {
    let all = text.split(|c: char| !c.is_alphanumeric());
    all.filter(|w| w.len() > 3).map(str::to_lowercase).collect()
}

/// Plain text without the heads of tables, which man does not show where there are two
/// columns, and without its last paragraph, which man has in other words.
#[cfg(unix)]
fn without_heads(plain: &str) -> String {
    let (body, _) = plain.rsplit_once("\n\n").expect("paragraphs");
    let rule = |l: &str| l.contains("-  -") && l.chars().all(|c| c == '-' || c == ' ');
    let below = body.lines().skip(1).chain([""]);
    let lines = body.lines().zip(below).filter(|(_, below)| !rule(below));
    lines.map(|(line, _)| format!("{line}\n")).collect()
}

/// Text in which letters are struck over each other to be bold or underlined.
#[cfg(unix)]
fn struck_once(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\u{8}' => drop(out.pop()),
            c => out.push(c),
        }
    }
    out
}

#[test]
fn all_is_plain_text_unless_roff_is_asked_for() {
    let plain = printed(&["man", "numerals"]);
    assert!(plain.starts_with("Numerals and spelling\n====="), "{plain}");
    assert!(plain.lines().all(|l| l.chars().count() <= 80));
    for args in [
        &["man", "--roff"][..],
        &["man", "analyze", "--roff"],
        &["man", "numerals", "--roff"],
    ] {
        let text = printed(args);
        assert!(text.contains("\n.TH peregrinus"), "{args:?}: {text}");
    }
    assert_eq!(printed(&["man", "--list"]), printed(&["man"]));
    let help = printed(&["man", "analyze"]);
    assert!(help.contains("Usage: peregrinus analyze"), "{help}");
}

#[test]
fn what_there_is_no_page_for_is_said() {
    let output = peregrinus(&["man", "numeral"]);
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("'numerals'"), "{err}");
    assert!(output.stdout.is_empty());
}

/// A command line as a shell splits it: at spaces outside of quotation marks.
fn arguments(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    for (i, part) in line.split('"').enumerate() {
        for (j, piece) in part.split(|c| c == ' ' && i % 2 == 0).enumerate() {
            if j > 0 {
                words.push(String::new());
            }
            words.last_mut().unwrap().push_str(piece);
        }
    }
    words.retain(|w| !w.is_empty());
    words
}

/// Blocks that begin with `$ peregrinus …` show what the command prints, to its end or to
/// a line that says "…".
#[test]
fn examples_print_what_they_show() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let pages = std::fs::read_dir(root.join("src/manual/pages")).unwrap();
    let pages = pages.map(|p| p.unwrap().path());
    let mut run = 0;
    for file in pages.chain([root.join("README.md")]) {
        let text = std::fs::read_to_string(&file).unwrap();
        for block in text.split("```").skip(1).step_by(2) {
            let Some((_, shown)) = block.split_once("\n$ peregrinus ") else {
                continue;
            };
            let (command, shown) = shown.split_once('\n').unwrap();
            let args = arguments(command);
            let args: Vec<&str> = args.iter().map(String::as_str).collect();
            let output = printed(&args);
            match shown.strip_suffix("…\n") {
                Some(beginning) => assert!(
                    output.starts_with(beginning) && output != beginning,
                    "{}: {command}\n{output}",
                    file.display()
                ),
                None => assert_eq!(output, shown, "{}: {command}", file.display()),
            }
            run += 1;
        }
    }
    assert!(run >= 3, "{run}");
}

/// All names of fields in a JSON value.
fn fields(value: &Value, all: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                all.insert(key.clone());
                fields(value, all);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| fields(v, all)),
        _ => {}
    }
}

/// The page names each field of the JSON, and none that there is not.
#[test]
fn the_page_of_json_names_every_field() {
    let page = include_str!("../src/manual/pages/json.md");
    let rows = page.lines().filter_map(|l| l.strip_prefix("| `"));
    let named: BTreeSet<&str> = rows.flat_map(|l| l.split('`').step_by(2)).collect();
    let mut is = BTreeSet::new();
    // The second has markers and asides, and a chord that is struck by both hands.
    for file in [
        "recordings/02_seven_stones.mid",
        "recordings/04_kite_over_water.mid",
    ] {
        let json = printed(&["analyze", file, "--format", "json"]);
        fields(&serde_json::from_str(&json).unwrap(), &mut is);
        let args = [
            "replay", file, "--from", "70", "--speed", "4", "--format", "json",
        ];
        let live = printed(&args);
        for line in live.lines() {
            fields(&serde_json::from_str(line).unwrap(), &mut is);
        }
    }
    let is: BTreeSet<&str> = is.iter().map(String::as_str).collect();
    // Only of a file that is damaged, or that has markers or asides, or of a corrected sitting:
    // tests/sittings.rs.
    let rare = BTreeSet::from([
        "offset",
        "track",
        "about",
        "plan",
        "corrected",
        "word",
        "who",
        "when",
    ]);
    let unknown: Vec<_> = is.difference(&named).collect();
    assert!(unknown.is_empty(), "not on the page: {unknown:?}");
    let gone: Vec<_> = named
        .difference(&is)
        .filter(|n| !rare.contains(**n))
        .collect();
    assert!(gone.is_empty(), "on the page alone: {gone:?}");
}
