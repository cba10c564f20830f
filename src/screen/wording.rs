//! Lengths of time, moments and names in few letters.

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_the_first_letters_of_each_word() {
        assert_eq!(abbreviated("Phrygian dominant", 3), "Phr dom");
        assert_eq!(abbreviated("Dorian \u{266d}2", 3), "Dor \u{266d}2");
        assert_eq!(abbreviated("Dorian?", 3), "Dor?");
        assert_eq!(abbreviated("Dorian", 4), "Dorian");
    }
}
