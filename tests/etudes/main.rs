//! Plays the demo études and writes them into `recordings/`.
//!
//! ```text
//! cargo run --example etudes [-- FOLDER]        write NAME.mid and NAME.toml
//! cargo run --example etudes -- --check [FOLDER]  compare, 1 on a difference
//! cargo run --example etudes -- --show [NAME]     print the score, bar by bar
//! ```

use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[path = "mod.rs"]
mod etudes;

use etudes::score::{self, Hand, QUARTER, Tonality};

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    let done = match *args.as_slice() {
        [] => write(&committed),
        ["--check"] => check(&committed),
        ["--check", folder] => check(Path::new(folder)),
        ["--show"] => show(""),
        ["--show", name] => show(name),
        [folder] if !folder.starts_with('-') => write(Path::new(folder)),
        _ => {
            eprintln!("usage: etudes [FOLDER] | --check [FOLDER] | --show [NAME]");
            return ExitCode::from(2);
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}

fn files(folder: &Path) -> Result<Vec<(PathBuf, Vec<u8>)>, String> {
    let recordings = etudes::record_all()?.into_iter();
    Ok(recordings
        .flat_map(|r| {
            [
                (folder.join(format!("{}.mid", r.name)), r.midi),
                (folder.join(format!("{}.toml", r.name)), r.plan.into_bytes()),
            ]
        })
        .collect())
}

fn write(folder: &Path) -> Result<(), String> {
    let failed = |path: &Path, e: std::io::Error| format!("{}: {e}", path.display());
    std::fs::create_dir_all(folder).map_err(|e| failed(folder, e))?;
    for (path, bytes) in files(folder)? {
        std::fs::write(&path, bytes).map_err(|e| failed(&path, e))?;
        println!("{}", path.display());
    }
    Ok(())
}

fn check(folder: &Path) -> Result<(), String> {
    for (path, bytes) in files(folder)? {
        let found = std::fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        if found != bytes {
            return Err(format!(
                "{}: differs from what the score gives; run `cargo run --example etudes`",
                path.display()
            ));
        }
    }
    Ok(())
}

/// What each hand strikes at every moment, for reading a score without a screen
/// of staves.
fn show(name: &str) -> Result<(), String> {
    let chosen = etudes::pieces::ALL.iter().filter(|p| p.name.contains(name));
    for piece in chosen {
        let score = score::read(piece)?;
        println!("\n{}: {}", piece.title, piece.about);
        let mut bar = None;
        let mut starts: Vec<u32> = score.notes.iter().map(|n| n.start).collect();
        starts.dedup();
        for at in starts {
            if bar != Some(at / piece.bar) {
                bar = Some(at / piece.bar);
                let span = score.spans.iter().rfind(|s| s.start <= at);
                let here = span.map(|s| format!("{} {}", s.here.spelling(), s.here.1));
                println!("bar {}  {}", at / piece.bar + 1, here.unwrap_or_default());
            }
            let beat = f64::from(at % piece.bar) / f64::from(QUARTER) + 1.0;
            println!(
                "  {beat:<6.3} {:<22} {}",
                struck(&score, at, Hand::Left),
                struck(&score, at, Hand::Right)
            );
        }
    }
    Ok(())
}

fn struck(score: &score::Score, at: u32, hand: Hand) -> String {
    let here = score.spans.iter().rfind(|s| s.start <= at).map(|s| s.here);
    let flat = here.is_some_and(|Tonality(center, mode)| {
        center.contains('b') || center == "F" || mode.starts_with("phrygian")
    });
    let names: [&str; 12] = if flat {
        [
            "C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B",
        ]
    } else {
        [
            "C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B",
        ]
    };
    let here = score
        .notes
        .iter()
        .filter(|n| n.start == at && n.voice.hand() == hand);
    here.flat_map(|n| n.keys.iter())
        .map(|k| format!("{}{} ", names[usize::from(k % 12)], i32::from(k / 12) - 1))
        .collect()
}
