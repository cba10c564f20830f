//! The pictures that README.md and the manual show are those that the screen draws of our
//! études: a file, played to a moment and paused.

use super::*;
use crate::recording;
use crate::source::Transport;

/// A block of a page that shows the screen.
struct Shown {
    page: &'static str,
    file: &'static str,
    /// In seconds.
    at: f64,
    size: (u16, u16),
    palette: Palette,
    /// A second before.
    press: &'static [&'static str],
}

const README: &str = "README.md";
const SCREEN: &str = "src/manual/pages/screen.md";

const ALL: [Shown; 4] = [
    Shown {
        page: README,
        file: "05_ferry_lamp.mid",
        at: 33.5,
        size: (100, 33),
        palette: Palette::Dark,
        press: &[],
    },
    Shown {
        page: README,
        file: "04_kite_over_water.mid",
        at: 51.5,
        size: (80, 24),
        palette: Palette::Plain,
        press: &[],
    },
    Shown {
        page: SCREEN,
        file: "02_seven_stones.mid",
        at: 48.8,
        size: (80, 24),
        palette: Palette::Dark,
        press: &["t"],
    },
    Shown {
        page: SCREEN,
        file: "02_seven_stones.mid",
        at: 48.8,
        size: (80, 24),
        palette: Palette::Dark,
        press: &["l"],
    },
];

impl Shown {
    fn drawn(&self) -> String {
        let options = options(Glyphs::Unicode, self.palette);
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        let bytes = std::fs::read(folder.join(self.file)).expect("an étude");
        let recording = recording::read(&bytes, &options.catalogue).expect("an étude");
        let at = Time::from_seconds(self.at);
        let source = Source {
            name: self.file.into(),
            link: Link::File,
            transport: Some(Transport {
                position: at,
                paused: true,
                ..Transport::start(recording.end)
            }),
            ..Source::default()
        };
        let events: Vec<(Time, Event)> = recording.events().collect();
        let monitor = Monitor::new(Arc::clone(&options.catalogue)).expect("a monitor");
        let playing = Playing::of(monitor, History::default(), events, source);
        let mut sitting = Sitting::of(playing, self.size, &options);
        sitting.play(at - Time::millis(1000)).expect("drawn");
        for name in self.press {
            sitting.press(name).expect("a key");
        }
        sitting.play(at).expect("drawn");
        as_text(&sitting.paper.last)
    }
}

#[test]
fn the_pages_show_what_the_screen_shows() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut faults = String::new();
    let mut pictures = 0;
    for shown in ALL {
        let page = std::fs::read_to_string(root.join(shown.page)).expect("a page");
        let drawn = shown.drawn();
        let lines: Vec<&str> = drawn.lines().map(str::trim_end).collect();
        let wanted = format!("```text\n{}\n```", lines.join("\n").trim_end());
        if !page.contains(&wanted) {
            let _ = writeln!(faults, "{} lacks {}:\n{wanted}", shown.page, shown.file);
        }
        pictures += page.matches("? help\n```").count();
    }
    assert!(faults.is_empty(), "{faults}");
    // Each page is counted once for each of its pictures: no other picture is shown.
    assert_eq!(pictures, 2 * 2 + 2 * 2);
}
