//! Hours of dense playing through the live path, as fast as the machine goes: the memory that
//! they take, in a process of their own.

use super::*;
use std::process::Command;

/// Where that process keeps its sitting.
const ROOT: &str = "PEREGRINUS_TEST_SOAK";
/// At most so much, in kB.
const MOST: u64 = 64_000;
/// What the history of an hour may take, which is kept to be looked back on: a chord four times
/// a second and its harmony. In kB.
const HISTORY: u64 = 4_000;
const QUARTER: Time = Time::millis(900_000);

/// An hour; `PEREGRINUS_SOAK=8` plays as many, and prints what they take.
#[test]
fn an_hour_of_dense_playing_takes_little_memory() {
    let hours = std::env::var("PEREGRINUS_SOAK").map_or(1, |n| n.parse().expect("a number"));
    let Some(root) = std::env::var_os(ROOT) else {
        let dir = tempfile::tempdir().unwrap();
        let test = "soak::an_hour_of_dense_playing_takes_little_memory";
        let out = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", test, "--nocapture"])
            .env(ROOT, dir.path())
            .output()
            .unwrap();
        let [said, failed] = [&out.stdout, &out.stderr].map(|s| String::from_utf8_lossy(s));
        println!("{said}");
        assert!(out.status.success(), "{failed}");
        assert!(said.contains("1 passed"), "{said}");
        return;
    };
    let root = Path::new(&root);
    let begun = Instant::now();
    let (mut listener, ports, clock) = start_keeping(Vec::new(), keeping(root));
    let (mut at, mut struck, mut resident) = (Time::millis(1000), 0, Vec::new());
    for quarter in 0..4 * hours {
        struck += play_densely(&mut listener, &ports, &clock, at, quarter);
        at += QUARTER;
        resident.push(memory("VmRSS:"));
    }
    clock.set(at);
    let chords = listener.feed.history().chords().len();
    assert!(chords as u64 > 3 * 3600 * hours, "{chords} chords");
    let status = listener.feed.status();
    assert_eq!((status.dropped, status.unwritten), (0, None));
    listener.finish().unwrap();
    let most = memory("VmHWM:");
    let kept = sitting(root, "2026-11-29_20-15-03");
    let notes = |t: &&midi::Timed| matches!(t.event, midi::Event::NoteOn { .. });
    assert_eq!(kept.notes.iter().filter(notes).count(), struck);

    let times = at.seconds() / begun.elapsed().as_secs_f64();
    println!("{hours} h, {struck} notes, {chords} chords, {times:.0} times real time");
    println!("every quarter of an hour: {resident:?} kB, at most {most} kB");
    assert!(most < MOST, "{most} kB");
    // From the first hour on, or from the first quarter of the only one.
    let first = if hours > 1 { 3 } else { 0 };
    let later = resident.len() as u64 - 1 - first as u64;
    let grown = resident[resident.len() - 1].saturating_sub(resident[first]);
    assert!(grown <= HISTORY * later / 4, "{resident:?}");
}

/// A quarter of an hour, with another chord of three keys and the pedal every 250 ms, a fifth
/// further up every minute; the number of keys struck.
fn play_densely(
    listener: &mut Listener,
    ports: &FakePorts,
    clock: &FakeClock,
    from: Time,
    quarter: u64,
) -> usize {
    let (mut struck, mut at) = (0, from);
    for second in 0..900u64 {
        let up = ((15 * quarter + second / 60) * 7 % 12) as u8;
        for beat in 0..4 {
            let chord = SHUTTLE[usize::from(beat % 2)].map(|key| key + up);
            clock.set(at);
            ports.send(&[0xb0, 64, 0]);
            for key in chord {
                assert!(ports.send(&[0x90, key, 60 + 10 * beat]));
            }
            struck += chord.len();
            ports.send(&[0xb0, 64, 127]);
            at += Time::millis(200);
            clock.set(at);
            for key in chord {
                ports.send(&[0x80, key, 0]);
            }
            at += Time::millis(50);
        }
        // The engine is not left behind, and the screen takes what there is.
        wait_for(|| {
            listener
                .feed
                .reading()
                .is_some_and(|r| r.at + Time::millis(500) >= at)
        });
        listener.feed.history();
    }
    struck
}

/// What the system says of this process, in kB: proc(5).
fn memory(of: &str) -> u64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = text.lines().find_map(|l| l.strip_prefix(of)).unwrap();
    line.split_whitespace().next().unwrap().parse().unwrap()
}
