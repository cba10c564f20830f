//! The fuzz targets' checks on the corpus that is kept: what a fuzzer once made up to
//! reach every corner still holds. New input is made up by the targets themselves:
//! tests/fuzz/README.md.

use std::path::Path;

#[path = "fuzz/checks.rs"]
mod checks;

/// Runs a check on every file of a folder of tests/fuzz/corpus; `least`: so many there are.
fn replay(target: &str, least: usize, check: impl Fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fuzz/corpus")
        .join(target);
    let files = std::fs::read_dir(&folder).expect("a corpus");
    let mut count = 0;
    for file in files.map(|f| f.expect("an entry").path()) {
        // Said when the check fails.
        println!("{}", file.display());
        check(&std::fs::read(&file).expect("a file"));
        count += 1;
    }
    assert!(count >= least, "{count} files in {}", folder.display());
}

/// As the fuzzer gives text: what is no UTF-8 is passed over, and none of it is kept.
fn text(check: impl Fn(&str)) -> impl Fn(&[u8]) {
    move |bytes| check(std::str::from_utf8(bytes).expect("text"))
}

#[test]
fn file() {
    replay("file", 100, checks::file);
}

#[test]
fn wire() {
    replay("wire", 30, checks::wire);
}

#[test]
fn settings() {
    replay("settings", 100, text(checks::settings));
}

#[test]
fn modes() {
    replay("modes", 100, text(checks::modes));
}

#[test]
fn tonality() {
    replay("tonality", 50, text(checks::tonality));
}

#[test]
fn recording() {
    replay("recording", 50, text(checks::recording));
}

#[test]
fn index() {
    replay("index", 20, checks::index);
}
