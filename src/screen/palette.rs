//! Every style of the screen, in one place.
//!
//! Each palette keeps to the sixteen colours of the terminal, so that the
//! user's own theme holds, and colour is never the only cue: shapes, fills and
//! words say the same.

use ratatui::style::{Color, Modifier, Style};
use std::ffi::OsStr;

/// Which colours the terminal is to have.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Palette {
    /// For light letters on a dark ground.
    #[default]
    Dark,
    /// For dark letters on a light ground.
    Light,
    /// No colour at all: bold, dim and shapes only.
    Plain,
}

impl std::str::FromStr for Palette {
    type Err = String;

    fn from_str(s: &str) -> Result<Palette, String> {
        Palette::ALL
            .into_iter()
            .find(|p| p.name() == s)
            .ok_or_else(|| {
                let all = Palette::ALL.map(Palette::name).join(", ");
                format!("'{s}' is no palette; write one of: {all}")
            })
    }
}

impl Palette {
    pub const ALL: [Palette; 3] = [Palette::Dark, Palette::Light, Palette::Plain];

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
            Palette::Plain => "none",
        }
    }

    /// The next one, for a key that goes through them.
    pub(super) fn next(self) -> Palette {
        match self {
            Palette::Dark => Palette::Light,
            Palette::Light => Palette::Plain,
            Palette::Plain => Palette::Dark,
        }
    }

    pub(super) fn styles(self) -> Styles {
        let plain = Style::new();
        let bold = plain.add_modifier(Modifier::BOLD);
        let dim = plain.add_modifier(Modifier::DIM);
        match self {
            Palette::Dark => Styles {
                text: plain,
                strong: bold,
                quiet: plain.fg(Color::Gray),
                faint: plain.fg(Color::DarkGray),
                center: bold.fg(Color::LightYellow),
                mode: bold.fg(Color::White),
                home: plain.fg(Color::LightBlue),
                chord: bold.fg(Color::LightCyan),
                numeral: plain.fg(Color::LightCyan),
                contender: bold.fg(Color::LightMagenta),
                inside: plain.fg(Color::LightCyan),
                outside: bold.fg(Color::LightMagenta),
                away: plain.fg(Color::LightYellow),
                warning: bold.fg(Color::LightRed),
                asleep: plain.fg(Color::Gray).add_modifier(Modifier::DIM),
            },
            Palette::Light => Styles {
                text: plain,
                strong: bold,
                quiet: plain.fg(Color::DarkGray),
                faint: plain.fg(Color::Gray),
                center: bold.fg(Color::Blue),
                mode: bold,
                home: plain.fg(Color::Blue),
                chord: bold,
                numeral: plain.fg(Color::Blue),
                contender: bold.fg(Color::Magenta),
                inside: plain.fg(Color::Blue),
                outside: bold.fg(Color::Magenta),
                away: plain.fg(Color::Red),
                warning: bold.fg(Color::Red),
                asleep: plain.fg(Color::DarkGray).add_modifier(Modifier::DIM),
            },
            Palette::Plain => Styles {
                text: plain,
                strong: bold,
                quiet: plain,
                faint: dim,
                center: bold,
                mode: bold,
                home: plain,
                chord: bold,
                numeral: plain,
                contender: bold,
                inside: plain,
                outside: bold,
                away: plain,
                warning: bold.add_modifier(Modifier::REVERSED),
                asleep: dim,
            },
        }
    }
}

/// What each thing on the screen looks like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Styles {
    pub text: Style,
    pub strong: Style,
    /// Captions and labels.
    pub quiet: Style,
    /// Rules and idle keys: nothing is lost where a theme hides it.
    pub faint: Style,
    pub center: Style,
    pub mode: Style,
    pub home: Style,
    pub chord: Style,
    pub numeral: Style,
    pub contender: Style,
    /// Notes in the mode.
    pub inside: Style,
    /// Notes outside it.
    pub outside: Style,
    /// A region that is not home.
    pub away: Style,
    pub warning: Style,
    /// Laid over a picture that has stopped.
    pub asleep: Style,
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn the_plain_palette_has_no_colour() {
        let s = Palette::Plain.styles();
        for style in [
            s.center,
            s.chord,
            s.contender,
            s.outside,
            s.warning,
            s.asleep,
        ] {
            assert_eq!((style.fg, style.bg), (None, None));
        }
    }
}
