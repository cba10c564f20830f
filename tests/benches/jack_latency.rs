//! From a key to the reading, over JACK. `cargo bench --features jack --bench jack_latency`
//!
//! The time from handing a note to the keyboard's client until the screen's side has a
//! reading that holds it. One period of the server (256 frames at 48,000 a second, 5.3 ms)
//! passes at most until the client is called; then the note crosses the server.

#[path = "../common/jackd.rs"]
mod jackd;

use jackd::{Keyboard, Server, forget_the_dead, sweep};
use peregrinus::engine::Monitor;
use peregrinus::live::{Keep, SystemClock, Wanted, World, listen};
use peregrinus::midi;
use peregrinus::source::Link;
use peregrinus::theory::Catalogue;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

const NOTES: usize = 300;
const INNER: &str = "PEREGRINUS_BENCH_INNER";

fn main() {
    if std::env::var_os(INNER).is_some() {
        return measure();
    }
    // As in the tests: libjack reads the server's name from the environment.
    let name = format!("peregrinus-latency-{}", std::process::id());
    forget_the_dead();
    let server = Server::start(&name);
    let this = std::env::current_exe().unwrap_or_else(|e| panic!("{e}"));
    let status = Command::new(this)
        .env("JACK_DEFAULT_SERVER", &name)
        .env("JACK_NO_START_SERVER", "1")
        .env(INNER, "1")
        .status();
    drop(server);
    sweep(&name);
    assert!(status.is_ok_and(|s| s.success()), "the measurement failed");
}

fn measure() {
    let keyboard = Keyboard::new("keyboard");
    let monitor = Monitor::new(Arc::new(Catalogue::standard().clone()));
    let world = World {
        clock: Arc::new(SystemClock::start()),
        ports: midi::system("peregrinus"),
    };
    let mut listener = listen(
        world,
        Wanted::default(),
        monitor.unwrap_or_else(|e| panic!("{e}")),
        &[],
        Keep::default(),
    )
    .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(listener.feed.status().link, Link::Keyboard);
    std::thread::sleep(Duration::from_millis(100));
    let mut times = Vec::new();
    for i in 0..NOTES {
        let key = 48 + (i * 7 % 36) as u8;
        let start = Instant::now();
        keyboard
            .send
            .send([0x90, key, 64])
            .unwrap_or_else(|e| panic!("{e}"));
        let held = |r: &peregrinus::engine::Reading| r.held.contains(key);
        while !listener.feed.reading().as_ref().is_some_and(held) {
            let _ = listener.feed.news().recv_timeout(Duration::from_millis(5));
            assert!(start.elapsed() < Duration::from_secs(2), "a note is lost");
        }
        times.push(start.elapsed());
        keyboard
            .send
            .send([0x80, key, 0])
            .unwrap_or_else(|e| panic!("{e}"));
        listener.feed.history();
        // Not in step with the server's periods.
        std::thread::sleep(Duration::from_micros(12_000 + (i as u64 * 1_733) % 5_333));
    }
    times.sort_unstable();
    let at = |q: f64| times[((times.len() - 1) as f64 * q) as usize].as_secs_f64() * 1e3;
    println!(
        "key to reading over JACK, {NOTES} notes, periods of 5.33 ms: median {:.2} ms   p99 {:.2} ms   max {:.2} ms",
        at(0.5),
        at(0.99),
        at(1.0)
    );
}
