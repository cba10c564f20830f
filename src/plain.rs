//! Text made safe for a terminal, and the system's reasons in plain words.
//!
//! Names of files, ports and modes, and arguments, come from outside and may hold
//! characters by which a terminal is commanded. They are shown as text: `\x1b`, `\n`,
//! `\u{9b}`.

use std::borrow::Cow;
use std::fmt::Write;
use std::io::{self, ErrorKind};

/// Names in a row, the last two joined by `word`: `a, b or c`.
pub fn list(names: &[String], word: &str) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} {word} {last}", most.join(", ")),
    }
}

/// A name in one line.
pub fn name(text: &str) -> Cow<'_, str> {
    escaped(text, commands)
}

/// A text of several lines: line feeds stay.
pub fn lines(text: &str) -> Cow<'_, str> {
    escaped(text, |c| c != '\n' && commands(c))
}

/// A path as it is shown to the user.
pub fn path(path: &std::path::Path) -> String {
    name(&path.display().to_string()).into_owned()
}

/// Why the system could not do something, without its number: "the disk is full".
pub fn reason(e: &io::Error) -> String {
    match e.kind() {
        ErrorKind::StorageFull => "the disk is full".into(),
        ErrorKind::QuotaExceeded => "your share of the disk is used up".into(),
        _ => {
            let text = e.to_string();
            let number = e.raw_os_error().map(|n| format!(" (os error {n})"));
            let bare = number.and_then(|n| Some(text.strip_suffix(&n)?.to_owned()));
            name(&bare.unwrap_or(text)).into_owned()
        }
    }
}

/// What a terminal obeys instead of showing it: control characters, and those that turn the
/// direction of writing or begin a line (Unicode Bidirectional Algorithm, UAX 9).
fn commands(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{61c}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn escaped(text: &str, escapes: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&escapes) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            c if !escapes(c) => plain.push(c),
            '\n' => plain.push_str("\\n"),
            '\r' => plain.push_str("\\r"),
            '\t' => plain.push_str("\\t"),
            c => {
                let code = u32::from(c);
                let _ = match code < 0x80 {
                    true => write!(plain, "\\x{code:02x}"),
                    false => write!(plain, "\\u{{{code:x}}}"),
                };
            }
        }
    }
    Cow::Owned(plain)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_commands_a_terminal_is_shown_as_text() {
        assert_eq!(name("\u{1b}[31mred\u{7}.mid"), "\\x1b[31mred\\x07.mid");
        assert_eq!(name("a\nb\r\tc\u{7f}"), "a\\nb\\r\\tc\\x7f");
        assert_eq!(name("\u{9b}2J \u{202e}dim."), "\\u{9b}2J \\u{202e}dim.");
        assert_eq!(lines("one\ntwo\u{1b}"), "one\ntwo\\x1b");
        let usual = "C:\\Étude in E♭ – 夜.mid";
        assert!(matches!(name(usual), Cow::Borrowed(same) if same == usual));
    }

    #[test]
    fn reasons_are_in_plain_words() {
        assert_eq!(reason(&ErrorKind::StorageFull.into()), "the disk is full");
        let other = io::Error::other("a wire\nis cut");
        assert_eq!(reason(&other), "a wire\\nis cut");
        #[cfg(target_os = "linux")]
        for (number, says) in [(28, "the disk is full"), (5, "Input/output error")] {
            assert_eq!(reason(&io::Error::from_raw_os_error(number)), says);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn nothing_plain_commands(text in any::<String>()) {
            let plain = name(&text);
            prop_assert!(!plain.chars().any(commands));
            prop_assert_eq!(name(&plain), plain.as_ref());
            prop_assert!(!lines(&text).chars().any(|c| c.is_control() && c != '\n'));
        }
    }
}
