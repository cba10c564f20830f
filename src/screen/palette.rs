//! Every style of the screen, in one place: the palettes of `config/palettes.toml`.
//!
//! A palette comes in three depths, as many colours as the terminal shows. With 256
//! colours and more the screen is painted with the palette's own ground, so that what
//! was measured holds in any theme; with sixteen the user's theme holds. Colour is
//! never the only cue: shapes, fills and words say the same.

use crate::nearest::nearest;
use ratatui::style::{Color, Modifier, Style};
use std::ffi::OsStr;
use std::sync::LazyLock;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Which colours the terminal is to have.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Palette {
    /// Light letters on a dark ground.
    #[default]
    Dark,
    /// Dark letters on a light ground.
    Light,
    /// Light on black, of the highest contrast.
    Projector,
    /// No colour at all: bold, dim and shapes only.
    Plain,
}

/// How many colours the terminal shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Depth {
    /// Sixteen of its own, which its theme decides.
    #[default]
    Sixteen,
    /// xterm's 256, of which all but the first sixteen are the same everywhere.
    Indexed,
    /// Any: 8 bits each of red, green and blue.
    True,
}

impl std::str::FromStr for Palette {
    type Err = UnknownName;

    fn from_str(s: &str) -> Result<Palette, UnknownName> {
        one_of("palette", s, &Palette::ALL.map(|p| (p.name(), p)))
    }
}

impl Palette {
    pub const ALL: [Palette; 4] = [
        Palette::Dark,
        Palette::Light,
        Palette::Projector,
        Palette::Plain,
    ];

    /// The palette in force: what the command line asks for, else none where the
    /// environment's `NO_COLOR` is set and not empty (no-color.org), else what
    /// the settings say.
    pub fn choose(wanted: Option<Palette>, no_color: Option<&OsStr>, set: Palette) -> Palette {
        wanted.unwrap_or(match no_color {
            Some(v) if !v.is_empty() => Palette::Plain,
            _ => set,
        })
    }

    /// As the settings write it.
    pub fn name(self) -> &'static str {
        match self {
            Palette::Dark => "dark",
            Palette::Light => "light",
            Palette::Projector => "projector",
            Palette::Plain => "none",
        }
    }

    /// The next one, for a key that goes through them.
    pub(super) fn next(self) -> Palette {
        match self {
            Palette::Dark => Palette::Light,
            Palette::Light => Palette::Projector,
            Palette::Projector => Palette::Plain,
            Palette::Plain => Palette::Dark,
        }
    }

    /// Its styles at a depth; without colour the depth says nothing.
    pub fn styles(self, depth: Depth) -> &'static Styles {
        let of = |depths: &'static Depths| match depth {
            Depth::Sixteen => &depths.sixteen,
            Depth::Indexed => &depths.indexed,
            Depth::True => &depths.true_colour,
        };
        match self {
            Palette::Dark => of(&STANDARD.dark),
            Palette::Light => of(&STANDARD.light),
            Palette::Projector => of(&STANDARD.projector),
            Palette::Plain => &STANDARD.none,
        }
    }
}

impl Depth {
    pub const ALL: [Depth; 3] = [Depth::Sixteen, Depth::Indexed, Depth::True];

    /// As the settings write it.
    pub fn name(self) -> &'static str {
        match self {
            Depth::Sixteen => "16",
            Depth::Indexed => "256",
            Depth::True => "true",
        }
    }

    /// The values that the settings may have; none: as the terminal says itself.
    pub fn choices() -> [(&'static str, Option<Depth>); 4] {
        let [a, b, c] = Depth::ALL.map(|d| (d.name(), Some(d)));
        [("auto", None), a, b, c]
    }

    /// What a terminal says of itself by the environment's `COLORTERM` and `TERM`
    /// (common practice, no source).
    pub fn of_terminal(colorterm: Option<&OsStr>, term: Option<&OsStr>) -> Depth {
        if colorterm.is_some_and(|c| c == "truecolor" || c == "24bit") {
            return Depth::True;
        }
        match term.map(OsStr::to_string_lossy) {
            Some(t) if t.contains("256color") => Depth::Indexed,
            _ => Depth::Sixteen,
        }
    }
}

/// Defines the styles and, from the same list, their names in the file.
macro_rules! styles {
    ($($(#[$doc:meta])* $role:ident,)*) => {
        /// What each thing on the screen looks like.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub struct Styles {
            /// The ground that the colours are for, if there are any.
            pub background: Option<Color>,
            $($(#[$doc])* pub $role: Style,)*
        }

        impl Styles {
            /// The roles, as the file names them.
            pub const ROLES: &[&str] = &[$(stringify!($role)),*];

            /// Each role and its style.
            pub fn roles(&self) -> impl Iterator<Item = (&'static str, Style)> {
                [$((stringify!($role), self.$role)),*].into_iter()
            }

            fn new(
                background: Option<Color>,
                mut style: impl FnMut(&str) -> Result<Style, PalettesError>,
            ) -> Result<Styles, PalettesError> {
                Ok(Styles { background, $($role: style(stringify!($role))?,)* })
            }
        }
    };
}

styles! {
    /// Sentences and values.
    text,
    /// What is read before them.
    strong,
    /// Captions and labels.
    quiet,
    /// Rules and idle keys: nothing is lost where a theme hides it.
    faint,
    /// The tonic of here, and notes that are the center.
    center,
    /// The mode of here.
    mode,
    /// Home, and regions at home.
    home,
    /// The chord.
    chord,
    /// Its numeral, and chords that have passed.
    numeral,
    /// The contender.
    contender,
    /// Notes in the mode.
    inside,
    /// Notes outside it.
    outside,
    /// A region that is not home.
    away,
    /// The line of the plan in the tall view, and the names of its lanes.
    lane,
    /// Banners: frozen, pinned, names hidden. Never dimmed by `asleep`.
    banner,
    /// The item of a list that sounds or is chosen.
    lit,
    /// What is wrong.
    warning,
    /// Laid over a picture that has stopped.
    asleep,
}

impl Styles {
    /// What the whole screen is painted with before anything is drawn: nothing where
    /// the terminal's own ground is to stay.
    pub fn ground(&self) -> Style {
        match self.background {
            Some(ground @ (Color::Indexed(_) | Color::Rgb(..))) => Style {
                bg: Some(ground),
                fg: self.text.fg,
                ..Style::new()
            },
            _ => Style::new(),
        }
    }
}

/// The palettes embedded at build.
static STANDARD: LazyLock<Palettes> = LazyLock::new(|| {
    Palettes::parse(include_str!("../../config/palettes.toml"))
        .unwrap_or_else(|e| panic!("the embedded config/palettes.toml does not hold: {e}"))
});

/// A name that stands for nothing: the nearest one, or all where none is near.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnknownName {
    #[error("'{name}' is no {kind}; did you mean {meant}?")]
    Near {
        kind: &'static str,
        name: String,
        meant: String,
    },
    #[error("'{name}' is no {kind}; write one of: {}", valid.join(", "))]
    Far {
        kind: &'static str,
        name: String,
        valid: Vec<String>,
    },
}

/// What is wrong in a file of palettes, and where.
#[derive(Debug, thiserror::Error)]
enum PalettesError {
    #[error("{}", .0.to_string().trim_end())]
    Toml(#[from] toml::de::Error),
    /// Lines are counted from 1.
    #[error("line {line}: {fault}")]
    At { line: usize, fault: Fault },
}

/// What is wrong with an entry of the file.
#[derive(Debug, thiserror::Error)]
enum Fault {
    #[error(transparent)]
    Name(#[from] UnknownName),
    #[error("there is no table [{0}]")]
    NoTable(String),
    #[error("[{table}] lacks '{key}'")]
    Lacking { table: String, key: String },
    #[error("'{key}' must be a table, [{name}]")]
    NotATable { key: String, name: String },
    #[error("{key}: {fault}")]
    Style { key: String, fault: StyleFault },
}

/// What is wrong with the words of a style or of a colour.
#[derive(Debug, thiserror::Error)]
enum StyleFault {
    #[error("it must be a text in quotes")]
    NotText,
    #[error("'{0}': without colour there is bold, regular, dim and reversed")]
    Colourless(String),
    #[error("'{0}': there is a colour before it")]
    SecondColour(String),
    #[error("'{0}' has no colour")]
    NoColour(String),
    #[error("'{0}': write a number from 16 to 255")]
    NotIndexed(String),
    #[error("'{0}': write a colour as #rrggbb")]
    NotRgb(String),
    #[error(transparent)]
    Name(#[from] UnknownName),
}

#[derive(Debug)]
struct Palettes {
    dark: Depths,
    light: Depths,
    projector: Depths,
    none: Styles,
}

#[derive(Debug)]
struct Depths {
    sixteen: Styles,
    indexed: Styles,
    true_colour: Styles,
}

impl Palettes {
    /// Reads the TOML of `config/palettes.toml`; the error says where and what.
    fn parse(text: &str) -> Result<Palettes, PalettesError> {
        let file = DeTable::parse(text)?;
        let file = Table {
            text,
            name: String::new(),
            at: 0,
            entries: file.get_ref(),
        };
        file.allow("palette", &Palette::ALL.map(Palette::name))?;
        let depths = |palette: Palette| {
            let table = file.table(palette.name())?;
            table.allow("depth", &Depth::ALL.map(Depth::name))?;
            let at = |depth: Depth| table.table(depth.name())?.styles(Some(depth));
            Ok::<Depths, PalettesError>(Depths {
                sixteen: at(Depth::Sixteen)?,
                indexed: at(Depth::Indexed)?,
                true_colour: at(Depth::True)?,
            })
        };
        Ok(Palettes {
            dark: depths(Palette::Dark)?,
            light: depths(Palette::Light)?,
            projector: depths(Palette::Projector)?,
            none: file.table(Palette::Plain.name())?.styles(None)?,
        })
    }
}

/// A table of the file, with its name and its place for messages.
struct Table<'t> {
    text: &'t str,
    /// Empty for the whole file.
    name: String,
    /// Where it stands, in bytes.
    at: usize,
    entries: &'t DeTable<'t>,
}

impl<'t> Table<'t> {
    /// What is wrong at a byte of the text.
    fn wrong(&self, at: usize, fault: Fault) -> PalettesError {
        let before = self.text.bytes().take(at).filter(|&b| b == b'\n').count();
        PalettesError::At {
            line: before + 1,
            fault,
        }
    }

    /// Refuses names that are not among the valid ones.
    fn allow(&self, kind: &'static str, valid: &[&str]) -> Result<(), PalettesError> {
        let valid: Vec<_> = valid.iter().map(|v| (*v, ())).collect();
        self.entries.keys().try_for_each(|key| {
            let known = one_of(kind, key.get_ref(), &valid);
            known.map_err(|e| self.wrong(key.span().start, e.into()))
        })
    }

    fn value(&self, key: &str) -> Result<&'t Spanned<DeValue<'t>>, PalettesError> {
        self.entries.get(key).ok_or_else(|| {
            let missing = match self.name.as_str() {
                "" => Fault::NoTable(key.into()),
                name => Fault::Lacking {
                    table: name.into(),
                    key: key.into(),
                },
            };
            self.wrong(self.at, missing)
        })
    }

    fn table(&self, key: &str) -> Result<Table<'t>, PalettesError> {
        let value = self.value(key)?;
        let name = match self.name.as_str() {
            "" => key.to_owned(),
            outer => format!("{outer}.{key}"),
        };
        let at = value.span().start;
        match value.get_ref() {
            DeValue::Table(entries) => Ok(Table {
                text: self.text,
                name,
                at,
                entries,
            }),
            _ => {
                let key = key.into();
                Err(self.wrong(at, Fault::NotATable { key, name }))
            }
        }
    }

    /// Reads the words of a key.
    fn read<T>(
        &self,
        key: &str,
        words: impl FnOnce(&str) -> Result<T, StyleFault>,
    ) -> Result<T, PalettesError> {
        let value = self.value(key)?;
        let read = match value.get_ref() {
            DeValue::String(text) => words(text),
            _ => Err(StyleFault::NotText),
        };
        read.map_err(|fault| {
            let key = key.into();
            self.wrong(value.span().start, Fault::Style { key, fault })
        })
    }

    fn styles(&self, depth: Option<Depth>) -> Result<Styles, PalettesError> {
        let own: &[&str] = if depth.is_some() {
            &["background"]
        } else {
            &[]
        };
        self.allow("role", &[own, Styles::ROLES].concat())?;
        let background = match depth {
            Some(depth) => Some(self.read("background", |word| colour(word, depth))?),
            None => None,
        };
        Styles::new(background, |role| {
            self.read(role, |words| style(words, depth))
        })
    }
}

/// The terminal's sixteen colours by their numbers.
const SIXTEEN: [(&str, Color); 16] = [
    ("black", Color::Black),
    ("red", Color::Red),
    ("green", Color::Green),
    ("yellow", Color::Yellow),
    ("blue", Color::Blue),
    ("magenta", Color::Magenta),
    ("cyan", Color::Cyan),
    ("gray", Color::Gray),
    ("dark-gray", Color::DarkGray),
    ("light-red", Color::LightRed),
    ("light-green", Color::LightGreen),
    ("light-yellow", Color::LightYellow),
    ("light-blue", Color::LightBlue),
    ("light-magenta", Color::LightMagenta),
    ("light-cyan", Color::LightCyan),
    ("white", Color::White),
];

/// A style in words; without a depth it may have no colour, and with one it must.
fn style(words: &str, depth: Option<Depth>) -> Result<Style, StyleFault> {
    let mut style = Style::new();
    for word in words.split_whitespace() {
        style = match (word, depth) {
            ("bold", _) => style.add_modifier(Modifier::BOLD),
            ("regular", _) => style.remove_modifier(Modifier::BOLD),
            ("dim", _) => style.add_modifier(Modifier::DIM),
            ("reversed", _) => style.add_modifier(Modifier::REVERSED),
            (_, None) => {
                return Err(StyleFault::Colourless(word.into()));
            }
            (_, Some(_)) if style.fg.is_some() => {
                return Err(StyleFault::SecondColour(word.into()));
            }
            ("default", Some(Depth::Sixteen)) => style.fg(Color::Reset),
            (_, Some(depth)) => style.fg(colour(word, depth)?),
        };
    }
    if depth.is_some() && style.fg.is_none() {
        return Err(StyleFault::NoColour(words.into()));
    }
    Ok(style)
}

fn colour(word: &str, depth: Depth) -> Result<Color, StyleFault> {
    match (depth, word.parse()) {
        (Depth::Sixteen, _) => Ok(one_of("colour", word, &SIXTEEN)?),
        (Depth::Indexed, Ok(Color::Indexed(n @ 16..))) => Ok(Color::Indexed(n)),
        (Depth::Indexed, _) => Err(StyleFault::NotIndexed(word.into())),
        (Depth::True, Ok(Color::Rgb(r, g, b))) => Ok(Color::Rgb(r, g, b)),
        (Depth::True, _) => Err(StyleFault::NotRgb(word.into())),
    }
}

/// What a name means; `kind` is what it should name.
fn one_of<T: Copy>(kind: &'static str, name: &str, valid: &[(&str, T)]) -> Result<T, UnknownName> {
    if let Some((_, meant)) = valid.iter().find(|(v, _)| *v == name) {
        return Ok(*meant);
    }
    Err(match nearest(name, valid.iter().map(|v| v.0)) {
        Some(meant) => UnknownName::Near {
            kind,
            name: name.into(),
            meant: meant.into(),
        },
        None => UnknownName::Far {
            kind,
            name: name.into(),
            valid: valid.iter().map(|v| v.0.into()).collect(),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = include_str!("../../config/palettes.toml");

    #[test]
    fn no_color_is_honoured_and_a_setting_overrides_it() {
        let set = Some(OsStr::new("1"));
        assert_eq!(Palette::choose(None, set, Palette::Dark), Palette::Plain);
        assert_eq!(
            Palette::choose(None, Some(OsStr::new("")), Palette::Dark),
            Palette::Dark
        );
        assert_eq!(Palette::choose(None, None, Palette::Dark), Palette::Dark);
        assert_eq!(
            Palette::choose(Some(Palette::Light), set, Palette::Dark),
            Palette::Light
        );
    }

    #[test]
    fn one_key_goes_through_all() {
        let mut palette = Palette::default();
        let seen = [(); 4].map(|()| {
            palette = palette.next();
            palette.name()
        });
        assert_eq!(seen, ["light", "projector", "none", "dark"]);
    }

    #[test]
    fn a_terminal_says_how_many_colours_it_has() {
        let depth = |colorterm: Option<&str>, term: Option<&str>| {
            Depth::of_terminal(colorterm.map(OsStr::new), term.map(OsStr::new)).name()
        };
        assert_eq!(depth(Some("truecolor"), Some("xterm")), "true");
        assert_eq!(depth(Some("24bit"), None), "true");
        assert_eq!(depth(Some("1"), Some("tmux-256color")), "256");
        assert_eq!(depth(None, Some("xterm-256color")), "256");
        assert_eq!(depth(None, Some("linux")), "16");
        assert_eq!(depth(Some(""), None), "16");
    }

    #[test]
    fn the_embedded_palettes_hold() {
        let palettes = Palettes::parse(FILE).expect("the embedded palettes");
        assert_eq!(
            palettes.dark.true_colour.background,
            Some(Color::Rgb(0x11, 0x15, 0x1c))
        );
        assert_eq!(palettes.none.background, None);
        // A role is what its line says.
        let outside = palettes.dark.sixteen.outside;
        let meant = Style::new().fg(Color::LightMagenta);
        assert_eq!(outside, meant.add_modifier(Modifier::BOLD));
    }

    #[test]
    fn the_plain_palette_has_no_colour() {
        for depth in Depth::ALL {
            let styles = Palette::Plain.styles(depth);
            assert_eq!(styles.ground(), Style::new());
            for (role, style) in styles.roles() {
                assert_eq!((style.fg, style.bg), (None, None), "{role}");
            }
        }
    }

    /// Only what is measured on its own ground paints it.
    #[test]
    fn sixteen_colours_leave_the_ground_alone() {
        for palette in [Palette::Dark, Palette::Light, Palette::Projector] {
            assert_eq!(palette.styles(Depth::Sixteen).ground(), Style::new());
            for depth in [Depth::Indexed, Depth::True] {
                let styles = palette.styles(depth);
                let ground = styles.ground();
                assert!(ground.bg.is_some() && ground.bg == styles.background);
                assert_eq!(ground.fg, styles.text.fg);
            }
        }
    }

    /// Takes each line of a role out in turn: every palette must define every role.
    #[test]
    fn no_role_may_be_missing() {
        let lines: Vec<&str> = FILE.lines().collect();
        let mut left_out = 0;
        for (i, line) in lines.iter().enumerate() {
            let Some((key, _)) = line.split_once(" = ").filter(|_| !line.starts_with('#')) else {
                continue;
            };
            let without: Vec<&str> = [&lines[..i], &lines[i + 1..]].concat();
            let said = Palettes::parse(&without.join("\n"))
                .expect_err("an error")
                .to_string();
            assert!(said.ends_with(&format!("lacks '{key}'")), "{said}");
            left_out += 1;
        }
        assert_eq!(
            left_out,
            9 * (1 + Styles::ROLES.len()) + Styles::ROLES.len()
        );
    }

    #[test]
    fn what_is_wrong_is_said_with_its_place_and_the_nearest_name() {
        // In the first table that has such a line, so that its place is known.
        let say = |line: &str, instead: &str| {
            let wrong = FILE.replacen(&format!("\n{line}\n"), &format!("\n{instead}\n"), 1);
            assert_ne!(wrong, FILE, "there is no line {line}");
            let at = 1 + wrong.lines().position(|l| l == instead).expect("the line");
            let said = Palettes::parse(&wrong).expect_err("an error").to_string();
            let place = format!("line {at}: ");
            said.strip_prefix(&place)
                .unwrap_or_else(|| panic!("{said}, not at {place}"))
                .to_owned()
        };
        for (line, instead, want) in [
            (
                "lit = \"bold reversed #a8f3ea\"",
                "lid = \"bold reversed #a8f3ea\"",
                "'lid' is no role; did you mean lit?",
            ),
            (
                "mode = \"bold #ffffff\"",
                "mode = \"bald #ffffff\"",
                "mode: 'bald': write a colour as #rrggbb",
            ),
            (
                "mode = \"bold #ffffff\"",
                "mode = \"bold\"",
                "mode: 'bold' has no colour",
            ),
            (
                "mode = \"bold #ffffff\"",
                "mode = \"#ffffff #000000\"",
                "mode: '#000000': there is a colour before it",
            ),
            (
                "mode = \"bold #ffffff\"",
                "mode = 7",
                "mode: it must be a text in quotes",
            ),
            (
                "background = \"233\"",
                "background = \"7\"",
                "background: '7': write a number from 16 to 255",
            ),
            (
                "away = \"light-yellow\"",
                "away = \"ligth-yellow\"",
                "away: 'ligth-yellow' is no colour; did you mean light-yellow?",
            ),
            (
                "[light.256]",
                "[light.265]",
                "'265' is no depth; did you mean 256?",
            ),
            (
                "[none]",
                "[nine]",
                "'nine' is no palette; did you mean none?",
            ),
            (
                "faint = \"dim\"",
                "faint = \"blue\"",
                "faint: 'blue': without colour there is bold, regular, dim and reversed",
            ),
        ] {
            assert_eq!(say(line, instead), want);
        }
        // What is left out has no line of its own: that of its table is named.
        let said = Palettes::parse("[none]\n")
            .expect_err("an error")
            .to_string();
        assert_eq!(said, "line 1: there is no table [dark]");
        let said = Palettes::parse("dark = 1\n")
            .expect_err("an error")
            .to_string();
        assert_eq!(said, "line 1: 'dark' must be a table, [dark]");
        assert!(
            Palettes::parse("[dark\n")
                .expect_err("an error")
                .to_string()
                .contains("line 1")
        );
    }
}
