//! What a sitting of many hours costs: `cargo bench --bench long_recording [HOURS]`
//!
//! The études one after another, with no rest long enough to begin afresh: the longest stretch
//! there can be. It is written to a file, the program analyses that, and the most memory that
//! it held is printed with the time that it took. Linux tells the memory (`VmHWM` in
//! `/proc/PID/status`, in kB: proc(5)); elsewhere the time alone is printed.

use peregrinus::recording::{self, Recording};
use peregrinus::theory::Catalogue;
use peregrinus::time::Time;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// At most so much for eight hours, in MB.
const MOST: u64 = 128;
/// Between two études: a breath.
const BREATH: Time = Time::millis(500);

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let asked = std::env::args().skip(1).find_map(|a| a.parse().ok());
    let hours: f64 = asked.unwrap_or(8.0);
    let catalogue = std::sync::Arc::new(Catalogue::standard().clone());
    let long = long(Time::from_seconds(hours * 3600.0), &catalogue)?;
    let folder = tempfile::tempdir()?;
    let file = folder.path().join("long.mid");
    recording::write(&long, &catalogue, std::fs::File::create(&file)?)?;

    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(["analyze", "--format", "json"])
        .arg(&file)
        .stdout(Stdio::null())
        .spawn()?;
    let mut most = None;
    let status = loop {
        most = peak(child.id()).or(most);
        match child.try_wait()? {
            Some(status) => break status,
            None => std::thread::sleep(Duration::from_millis(20)),
        }
    };
    let took = start.elapsed().as_secs_f64();
    if !status.success() {
        return Err(format!("analyze: {status}").into());
    }
    let music = long.end.seconds();
    println!(
        "{:.1} h of music, {} notes and pedals: {took:.1} s, {:.0} times real time",
        music / 3600.0,
        long.notes.len(),
        music / took
    );
    match most {
        Some(kb) => println!("at most {} MB of memory", kb / 1024),
        None => println!("the system does not tell how much memory"),
    }
    if hours <= 8.0 && most.is_some_and(|kb| kb / 1024 > MOST) {
        return Err(format!("more than {MOST} MB").into());
    }
    Ok(())
}

/// The études again and again until so much music is there.
fn long(end: Time, catalogue: &Catalogue) -> Result<Recording, Box<dyn std::error::Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    let mut paths: Vec<_> = std::fs::read_dir(folder)?
        .flatten()
        .map(|e| e.path())
        .collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "mid"));
    paths.sort();
    let mut etudes = Vec::new();
    for path in paths {
        etudes.push(recording::read(&std::fs::read(path)?, catalogue)?);
    }
    let mut long = Recording::default();
    for etude in etudes.iter().cycle() {
        let start = long.end;
        long.notes.extend(etude.notes.iter().map(|note| {
            let mut note = *note;
            note.at = start + note.at;
            note
        }));
        long.end = start + etude.end + BREATH;
        if long.end >= end {
            return Ok(long);
        }
    }
    Err("there are no études".into())
}

/// The most memory that a process held so far, in kB.
fn peak(process: u32) -> Option<u64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}
