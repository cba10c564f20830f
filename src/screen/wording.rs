//! Lengths of time, moments and names in few letters.

use crate::meter::Click;
use crate::time::Time;

/// A length of time: `6 s`, `4 min`, `2 h`.
pub(super) fn length(t: Time) -> String {
    match t.seconds() as u64 {
        s @ 0..60 => format!("{s} s"),
        s @ 60..3600 => format!("{} min", s / 60),
        s => format!("{} h", s / 3600),
    }
}

/// A moment: `1:04`, `1:02:03`.
pub(super) fn clock(t: Time) -> String {
    let s = t.seconds() as u64;
    if s < 3600 {
        format!("{}:{:02}", s / 60, s % 60)
    } else {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    }
}

/// A number with its thousands apart: `10,000`.
pub(super) fn number(n: usize) -> String {
    let digits = n.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// Room on a disk: `640 kB`, `1.2 MB`, `12 MB`.
pub(super) fn room(bytes: u64) -> String {
    let (unit, whole) = match bytes {
        0..=999_000 => return format!("{} kB", bytes.div_ceil(1000)),
        999_001..1_000_000_000 => ("MB", bytes as f64 / 1e6),
        _ => ("GB", bytes as f64 / 1e9),
    };
    match whole < 9.95 {
        true => format!("{whole:.1} {unit}"),
        false => format!("{whole:.0} {unit}"),
    }
}

/// The first letters of each word: `Phr dom`. A guess keeps its question mark. A word that
/// would lose only one or two letters stays whole.
pub(super) fn abbreviated(mode: &str, letters: usize) -> String {
    let word = |w: &str| match w.chars().count() {
        n if n > letters + 2 => w.chars().take(letters).collect(),
        _ => w.to_owned(),
    };
    let (mode, mark) = mode.strip_suffix('?').map_or((mode, ""), |m| (m, "?"));
    let words: Vec<String> = mode.split(' ').map(word).collect();
    words.join(" ") + mark
}

/// The click in force, in words.
pub(super) fn tempo(click: Click) -> String {
    format!("{} beats a minute, {}.", click.tempo, click.meter)
}

/// A keyboard of several, by its name if it has one.
pub(super) fn keyboard_name(keyboards: &[String], index: usize) -> String {
    let name = keyboards.get(index).filter(|name| !name.is_empty());
    name.cloned()
        .unwrap_or_else(|| format!("keyboard {}", index + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_room() {
        let numbers = [0, 999, 1000, 10_000, 1_234_567].map(number);
        assert_eq!(numbers, ["0", "999", "1,000", "10,000", "1,234,567"]);
        for (bytes, told) in [
            (0, "0 kB"),
            (1, "1 kB"),
            (999_000, "999 kB"),
            (999_001, "1.0 MB"),
            (1_240_000, "1.2 MB"),
            (9_960_000, "10 MB"),
            (12_400_000, "12 MB"),
            (3_000_000_000, "3.0 GB"),
        ] {
            assert_eq!(room(bytes), told);
        }
    }

    #[test]
    fn names_keep_the_first_letters_of_each_word() {
        assert_eq!(abbreviated("Phrygian dominant", 3), "Phr dom");
        assert_eq!(abbreviated("Dorian \u{266d}2", 3), "Dor \u{266d}2");
        assert_eq!(abbreviated("Dorian?", 3), "Dor?");
        assert_eq!(abbreviated("Dorian", 4), "Dorian");
    }
}
