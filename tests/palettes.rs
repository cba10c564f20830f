//! The palettes of the screen: whether they can be read, and told apart by those who
//! do not see all colours.
//!
//! Contrast: W3C, Web Content Accessibility Guidelines 2.2, "relative luminance" and
//! "contrast ratio" (www.w3.org/TR/WCAG22/#dfn-relative-luminance), with its bounds:
//! 4.5 for letters (1.4.3), 7 for letters that are to be seen better (1.4.6), 3 for
//! shapes (1.4.11).

use peregrinus::screen::{Depth, Palette, Styles};
use ratatui::style::{Color, Modifier, Style};

#[path = "python/mod.rs"]
mod python;
use python::Python;

const COLOURED: [Palette; 3] = [Palette::Dark, Palette::Light, Palette::Projector];
/// Those at which the screen has a ground of its own.
const PAINTED: [Depth; 2] = [Depth::Indexed, Depth::True];

/// The one role of shapes; all others are written with.
const SHAPES: &str = "faint";

/// 24 bits of red, green and blue.
type Rgb = u32;

/// What a terminal shows the sixteen colours in, by their numbers.
struct Terminal {
    name: &'static str,
    colours: [Rgb; 16],
}

const TERMINALS: [Terminal; 2] = [
    // xterm's resource file XTerm-col.ad: red3, green3 and so on of X11.
    Terminal {
        name: "xterm",
        colours: [
            0x000000, 0xcd0000, 0x00cd00, 0xcdcd00, 0x0000ee, 0xcd00cd, 0x00cdcd, 0xe5e5e5,
            0x7f7f7f, 0xff0000, 0x00ff00, 0xffff00, 0x5c5cff, 0xff00ff, 0x00ffff, 0xffffff,
        ],
    },
    // The text modes of IBM's VGA, as the Linux console has them.
    Terminal {
        name: "VGA",
        colours: [
            0x000000, 0xaa0000, 0x00aa00, 0xaa5500, 0x0000aa, 0xaa00aa, 0x00aaaa, 0xaaaaaa,
            0x555555, 0xff5555, 0x55ff55, 0xffff55, 0x5555ff, 0xff55ff, 0x55ffff, 0xffffff,
        ],
    },
];

/// Of xterm's 256 those that are the same everywhere: a cube of six levels a side and
/// a ramp of greys (xterm's 256colres.pl).
fn indexed(n: u8) -> Rgb {
    let level = |n: u32| if n == 0 { 0 } else { 55 + 40 * n };
    let (r, g, b) = match u32::from(n) {
        0..16 => panic!("{n} is the terminal's own"),
        n @ 16..232 => {
            let n = n - 16;
            (level(n / 36), level(n / 6 % 6), level(n % 6))
        }
        n => (8 + 10 * (n - 232), 8 + 10 * (n - 232), 8 + 10 * (n - 232)),
    };
    r << 16 | g << 8 | b
}

/// A colour that is the same in every terminal.
fn fixed(colour: Color) -> Rgb {
    match colour {
        Color::Indexed(n) => indexed(n),
        Color::Rgb(r, g, b) => u32::from_be_bytes([0, r, g, b]),
        own => panic!("{own} is the terminal's own"),
    }
}

/// The number of one of the sixteen.
fn number(colour: Color) -> usize {
    use Color::*;
    let all = [
        Black,
        Red,
        Green,
        Yellow,
        Blue,
        Magenta,
        Cyan,
        Gray,
        DarkGray,
        LightRed,
        LightGreen,
        LightYellow,
        LightBlue,
        LightMagenta,
        LightCyan,
        White,
    ];
    let found = all.iter().position(|c| *c == colour);
    found.unwrap_or_else(|| panic!("{colour} is none of the sixteen"))
}

impl Terminal {
    fn ground(&self, styles: &Styles) -> Rgb {
        self.colours[number(styles.background.expect("a ground"))]
    }

    /// What a style may come out as: the terminal's own letters are taken to be gray on
    /// black and black on white, and many terminals show the first eight brighter in bold.
    fn shows(&self, style: Style, styles: &Styles) -> Vec<Rgb> {
        let n = match style.fg.expect("a colour") {
            Color::Reset if styles.background == Some(Color::Black) => {
                return vec![self.colours[7]];
            }
            Color::Reset => return vec![self.colours[0]],
            other => number(other),
        };
        let bold = style.add_modifier.contains(Modifier::BOLD);
        match n < 8 && bold {
            true => vec![self.colours[n], self.colours[n + 8]],
            false => vec![self.colours[n]],
        }
    }
}

fn luminance(colour: Rgb) -> f64 {
    let part = |shift: u32| {
        let c = f64::from(colour >> shift & 255) / 255.0;
        match c <= 0.04045 {
            true => c / 12.92,
            false => ((c + 0.055) / 1.055).powf(2.4),
        }
    };
    0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
}

fn contrast(a: Rgb, b: Rgb) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn contrast_and_colours_are_as_published() {
    assert!((contrast(0x000000, 0xffffff) - 21.0).abs() < 1e-9);
    // The lightest grey of equal parts that may be written with on white.
    assert!(contrast(0x767676, 0xffffff) >= 4.5 && contrast(0x777777, 0xffffff) < 4.5);
    assert!(contrast(0x949494, 0xffffff) >= 3.0 && contrast(0x959595, 0xffffff) < 3.0);
    assert!(contrast(0x595959, 0xffffff) >= 7.0 && contrast(0x5a5a5a, 0xffffff) < 7.0);
    let some = [16, 21, 67, 208, 231, 232, 244, 255].map(indexed);
    let want = [
        0x000000, 0x0000ff, 0x5f87af, 0xff8700, 0xffffff, 0x080808, 0x808080, 0xeeeeee,
    ];
    assert_eq!(some, want);
}

#[test]
fn every_letter_can_be_read_on_its_own_ground() {
    for (palette, depth) in COLOURED.iter().flat_map(|&p| PAINTED.map(|d| (p, d))) {
        let styles = palette.styles(depth);
        let letters = if palette == Palette::Projector {
            7.0
        } else {
            4.5
        };
        let ground = fixed(styles.ground().bg.expect("a ground"));
        for (role, style) in styles.roles() {
            let place = format!("{} at {}: {role}", palette.name(), depth.name());
            let least = if role == SHAPES { 3.0 } else { letters };
            // Letters and ground may change places; a ground of its own, or letters
            // made dimmer by an unknown measure, no palette has.
            assert_eq!(style.bg, None, "{place}");
            assert!(!style.add_modifier.contains(Modifier::DIM), "{place}");
            let has = contrast(fixed(style.fg.expect("a colour")), ground);
            assert!(has >= least, "{place}: {has:.2}, and {least} is the least");
        }
    }
}

#[test]
fn every_letter_can_be_read_in_the_colours_of_a_terminal() {
    for palette in COLOURED {
        let styles = palette.styles(Depth::Sixteen);
        for (role, style) in styles.roles() {
            assert_eq!(style.bg, None, "{role}");
            assert!(!style.add_modifier.contains(Modifier::DIM), "{role}");
            for terminal in &TERMINALS {
                let least = if role == SHAPES { 3.0 } else { 4.5 };
                for shown in terminal.shows(style, styles) {
                    let has = contrast(shown, terminal.ground(styles));
                    let (palette, terminal) = (palette.name(), terminal.name);
                    assert!(has >= least, "{palette} on {terminal}: {role} has {has:.2}");
                }
            }
        }
    }
}

// ---- told apart ----

/// What must be told apart where it stands side by side.
const APART: [(&str, &str); 6] = [
    ("center", "inside"),
    ("center", "outside"),
    ("inside", "outside"),
    ("home", "away"),
    ("chord", "contender"),
    ("warning", "text"),
];

/// In CAM02-UCS black and white differ by 100, and about 1 is just noticed between two
/// large patches that touch. Our marks are small, apart, and read from two metres or off
/// a projector: a fifth of the way from black to white, about the most that a terminal's
/// sixteen colours can give to all the pairs at once (common practice, no source).
const LEAST: f64 = 20.0;

/// The pairs of every palette, each with its place, at every depth and on every terminal.
fn pairs() -> Vec<(String, [Rgb; 2])> {
    let mut pairs = Vec::new();
    for (palette, depth) in COLOURED.iter().flat_map(|&p| Depth::ALL.map(|d| (p, d))) {
        let styles = palette.styles(depth);
        let find = |role: &str| {
            let style = styles.roles().find(|r| r.0 == role).expect("a role").1;
            // Then its ground would have to be compared.
            assert!(!style.add_modifier.contains(Modifier::REVERSED), "{role}");
            style
        };
        for (a, b) in APART {
            let mut add = |on: &str, first: Vec<Rgb>, second: Vec<Rgb>| {
                let what = format!("{} at {}{on}: {a}, {b}", palette.name(), depth.name());
                for &x in &first {
                    pairs.extend(second.iter().map(|&y| (what.clone(), [x, y])));
                }
            };
            let (a, b) = (find(a), find(b));
            if depth == Depth::Sixteen {
                for t in &TERMINALS {
                    add(
                        &format!(" on {}", t.name),
                        t.shows(a, styles),
                        t.shows(b, styles),
                    );
                }
            } else {
                let shows = |s: Style| vec![fixed(s.fg.expect("a colour"))];
                add("", shows(a), shows(b));
            }
        }
    }
    pairs
}

fn as_json(pairs: &[(String, [Rgb; 2])]) -> String {
    let pairs: Vec<_> = pairs
        .iter()
        .map(|(what, colours)| {
            let colours = colours.map(|c| format!("#{c:06x}"));
            serde_json::json!({ "what": what, "colours": colours })
        })
        .collect();
    serde_json::json!({ "least": LEAST, "pairs": pairs }).to_string()
}

#[test]
fn roles_are_told_apart_by_those_who_do_not_see_all_colours() {
    let pairs = pairs();
    // Two painted depths, and two terminals; bold may come out in two colours.
    assert!(pairs.len() >= COLOURED.len() * 4 * APART.len());
    let said = python::run(
        Python::Checks,
        "python/check_palettes.py",
        &[],
        &as_json(&pairs),
    );
    println!("{said}");
    assert!(
        said.starts_with(&format!("{} pairs seen in 4 ways", pairs.len())),
        "{said}"
    );
    // A red and a green that only those tell apart who have all cones.
    let alike = [("red, green".to_owned(), [0xb03000, 0x5e6a00])];
    let said = python::fails(
        Python::Checks,
        "python/check_palettes.py",
        &[],
        &as_json(&alike),
    );
    assert!(said.contains("with deuteranomaly"), "{said}");
    assert!(!said.contains("all cones"), "{said}");
}
