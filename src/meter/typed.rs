//! A click as the player types it.

use super::{Meter, NoMeter, Tempo};
use std::str::FromStr;

/// What the player wants of the click.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TypedClick {
    /// Nothing is typed: there is none any longer.
    End,
    Set {
        tempo: Option<Tempo>,
        meter: Option<Meter>,
    },
}

/// What is wrong with what was typed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TypedClickError {
    #[error("'{0}' is no tempo: type beats a minute, such as 96, or 96 3/4, or a meter alone")]
    NoTempo(String),
    #[error(
        "{0} is no tempo: it lies between {slowest} and {fastest} beats a minute",
        slowest = Tempo::SLOWEST,
        fastest = Tempo::FASTEST
    )]
    Beyond(String),
    #[error("'{0}' is no meter: {NoMeter}")]
    Meter(String),
}

/// `96`, `96 3/4`, `6/8`, or nothing.
impl FromStr for TypedClick {
    type Err = TypedClickError;

    fn from_str(text: &str) -> Result<TypedClick, TypedClickError> {
        let (mut tempo, mut meter) = (None, None);
        for word in text.split_whitespace() {
            if word.contains('/') && meter.is_none() {
                let read = word.parse();
                meter = Some(read.map_err(|NoMeter| TypedClickError::Meter(word.into()))?);
            } else if tempo.is_none() && meter.is_none() {
                tempo = Some(read_tempo(word)?);
            } else {
                return Err(TypedClickError::NoTempo(text.trim().into()));
            }
        }
        Ok(match (tempo, meter) {
            (None, None) => TypedClick::End,
            (tempo, meter) => TypedClick::Set { tempo, meter },
        })
    }
}

fn read_tempo(word: &str) -> Result<Tempo, TypedClickError> {
    let plain = |c: char| c.is_ascii_digit() || c == '.';
    let number = Some(word).filter(|w| w.chars().all(plain));
    let number = number.and_then(|w| w.parse().ok());
    let number = number.ok_or_else(|| TypedClickError::NoTempo(word.into()))?;
    Tempo::per_minute(number).ok_or_else(|| TypedClickError::Beyond(word.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tempo_a_meter_or_both_are_typed() {
        let typed = |text: &str| text.parse::<TypedClick>();
        let set = |tempo: Option<f64>, meter: Option<&str>| {
            Ok(TypedClick::Set {
                tempo: tempo.and_then(Tempo::per_minute),
                meter: meter.map(|m| m.parse().expect("a meter")),
            })
        };
        assert_eq!(typed("96"), set(Some(96.0), None));
        assert_eq!(typed(" 72.5 "), set(Some(72.5), None));
        assert_eq!(typed("96 3/4"), set(Some(96.0), Some("3/4")));
        assert_eq!(typed("6/8"), set(None, Some("6/8")));
        assert_eq!(typed("  "), Ok(TypedClick::End));
        let wrong = |text| typed(text).expect_err(text).to_string();
        assert_eq!(
            wrong("fast"),
            "'fast' is no tempo: type beats a minute, such as 96, or 96 3/4, or a meter alone"
        );
        assert_eq!(
            wrong("400"),
            "400 is no tempo: it lies between 20 and 300 beats a minute"
        );
        assert_eq!(
            wrong("96 3/16"),
            "'3/16' is no meter: a meter is 1 to 15 over 4 or 8, such as 3/4 or 6/8"
        );
        for text in [
            "96 97", "3/4 96", "3/4 6/8", "96 3/4 x", "1e2", "-96", "+96", "nan", "inf", ".",
        ] {
            assert!(typed(text).is_err(), "{text}");
        }
    }
}
