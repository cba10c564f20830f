//! What ten thousand sittings cost: `cargo bench --bench sittings`.

use crossbeam_channel::bounded;
use peregrinus::correction::Signature;
use peregrinus::listing::{Listing, Progress, Search};
use peregrinus::live::Library;
use peregrinus::sittings::{Folder, Index, Query, Sitting, Stay};
use peregrinus::theory::{Catalogue, Notation};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

const SITTINGS: u32 = 10_000;
/// Regions of a sitting: a quarter of an hour of wandering.
const REGIONS: u32 = 12;

fn main() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = Folder::new(dir.path().join("sittings"));
    folder.make().expect("made");
    let catalogue = Arc::new(Catalogue::standard().clone());
    let mut index = Index::open(&folder, &catalogue).expect("an index");
    for number in 0..SITTINGS {
        let sitting = sitting(number);
        // The list never opens a file that has not changed.
        std::fs::write(folder.path(&sitting.id), b"MThd").expect("written");
        index.put(&sitting).expect("put");
    }
    drop(index);
    let listed = |what: &str, query: &Query| {
        let mut times: Vec<_> = (0..9)
            .map(|_| {
                let began = Instant::now();
                let mut index = Index::open(&folder, &catalogue).expect("an index");
                index
                    .refresh(&mut |_, _| panic!("nothing has changed"))
                    .expect("refreshed");
                let found = index.list(query).expect("a list");
                assert_eq!(index.said(), [""; 0]);
                (began.elapsed(), found.len())
            })
            .collect();
        times.sort();
        let (median, found) = times[times.len() / 2];
        println!(
            "{what}: {found} of {SITTINGS} sittings in {:.1} ms",
            median.as_secs_f64() * 1e3
        );
    };
    listed("all", &Query::default());
    let limit = Some(20);
    listed(
        "the last twenty",
        &Query {
            limit,
            ..Query::default()
        },
    );
    let text = Some("take 77".into());
    listed(
        "by a part of their name",
        &Query {
            text,
            ..Query::default()
        },
    );
    let (center, mode) = (Some(11), Some("dorian".into()));
    listed(
        "by center and mode",
        &Query {
            center,
            mode,
            ..Query::default()
        },
    );
    by_the_command(&folder);
    in_the_monitor(&folder, &catalogue);
}

/// What `peregrinus sittings` takes from its start to its end, all rows printed.
fn by_the_command(folder: &Folder) {
    let home = tempfile::tempdir().expect("a folder");
    let settings = home.path().join("settings.toml");
    let text = format!("[sittings]\nfolder = {:?}\n", folder.root());
    std::fs::write(&settings, text).expect("written");
    let mut times: Vec<_> = (0..9)
        .map(|_| {
            let began = Instant::now();
            let out = Command::new(env!("CARGO_BIN_EXE_peregrinus"))
                .arg("sittings")
                .arg("--settings")
                .arg(&settings)
                .env("HOME", home.path())
                .output()
                .expect("it starts");
            let took = began.elapsed();
            assert!(out.status.success(), "{out:?}");
            let lines = out.stdout.iter().filter(|b| **b == b'\n').count();
            assert_eq!(lines, SITTINGS as usize);
            took
        })
        .collect();
    times.sort();
    let median = times[times.len() / 2].as_secs_f64() * 1e3;
    println!("the command: {SITTINGS} sittings in {median:.1} ms");
}

/// From the key that opens the list to its first rows, and to all of them; and what a letter
/// costs that is typed then.
fn in_the_monitor(folder: &Folder, catalogue: &Arc<Catalogue>) {
    let mut times: Vec<[Duration; 3]> = Vec::new();
    let mut listing = Listing::default();
    for _ in 0..9 {
        // Nothing is corrected here.
        let nobody = || Signature {
            who: String::new(),
            when: String::new(),
        };
        let library = Library::new(folder.clone(), Arc::clone(catalogue), nobody);
        let (wake, woken) = bounded(1);
        let began = Instant::now();
        library.list(wake);
        let (mut first, mut all) = (None, None);
        loop {
            woken.recv_timeout(Duration::from_secs(60)).expect("news");
            listing = library.listing();
            let rows = listing.rows.len();
            if rows > 0 {
                first.get_or_insert(began.elapsed());
            }
            if rows == SITTINGS as usize {
                all.get_or_insert(began.elapsed());
            }
            if listing.progress == Progress::Done {
                break;
            }
        }
        let all = [first, all].map(|at| at.expect("rows"));
        times.push([all[0], all[1], began.elapsed()]);
    }
    let [first, all, compared] = [0, 1, 2].map(|which| {
        times.sort_by_key(|times| times[which]);
        times[times.len() / 2][which].as_secs_f64() * 1e3
    });
    println!(
        "in the monitor: the first rows in {first:.1} ms, all {SITTINGS} in {all:.1} ms, compared \
         with the files in {compared:.1} ms"
    );
    for typed in ["t", "take 77", "b dorian", "d", "nowhere"] {
        let began = Instant::now();
        let mut search = Search::new(typed, Notation::default(), catalogue);
        let found = listing
            .rows
            .iter()
            .filter(|row| search.matches(row))
            .count();
        println!(
            "typed, {typed:?}: {found} of {SITTINGS} in {:.1} ms",
            began.elapsed().as_secs_f64() * 1e3
        );
    }
}

const CENTERS: [&str; 12] = [
    "C", "D♭", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B",
];
const MODES: [(&str, &str); 3] = [
    ("dorian", "Dorian"),
    ("lydian", "Lydian"),
    ("mixolydian", "Mixolydian"),
];

fn sitting(number: u32) -> Sitting {
    let stay = |region: u32| Stay {
        start: f64::from(region) * 75.0,
        end: f64::from(region + 1) * 75.0,
        center: ((number + region) % 12) as u8,
        mode: MODES[(region % 3) as usize].0.into(),
        label: format!(
            "{} {}",
            CENTERS[((number + region) % 12) as usize],
            MODES[(region % 3) as usize].1
        ),
    };
    let (day, second) = (1 + number / 86_400, number % 86_400);
    let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
    Sitting {
        id: format!("2026-11-{day:02}_{hour:02}-{minute:02}-{second:02}"),
        begun: Some(format!(
            "2026-11-{day:02}T{hour:02}:{minute:02}:{second:02}+01:00"
        )),
        seconds: f64::from(REGIONS) * 75.0,
        notes: 4000,
        name: Some(format!("take {number}")),
        tags: vec!["evening".into(), "slow".into()],
        here: (0..REGIONS).map(stay).collect(),
        home: (0..2).map(stay).collect(),
        markers: vec![(10.0, "1".into()), (20.0, "2".into())],
        ..Sitting::default()
    }
}
