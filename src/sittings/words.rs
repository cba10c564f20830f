//! Names and tags, as the player types them.

/// Maximum number of characters.
const LONGEST: usize = 100;

/// Not a name or a tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WordsError {
    #[error("this is longer than {LONGEST} characters: write less")]
    TooLong,
    #[error("there is a line break or another control character in this: leave it out")]
    Control,
}

/// A name or a tag without the space around it, which may leave nothing.
pub fn words(text: &str) -> Result<&str, WordsError> {
    let text = text.trim();
    if text.chars().any(char::is_control) {
        return Err(WordsError::Control);
    }
    match text.chars().count() <= LONGEST {
        true => Ok(text),
        false => Err(WordsError::TooLong),
    }
}

/// What can be kept of a text that nobody typed.
pub(super) fn words_of(text: &str) -> String {
    let plain = text.chars().filter(|c| !c.is_control());
    let plain: String = plain.collect();
    let short: String = plain.trim().chars().take(LONGEST).collect();
    short.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_tags_are_short_and_plain() {
        assert_eq!(words(" Étude in E♭ \n"), Ok("Étude in E♭"));
        assert_eq!(words("  "), Ok(""));
        for control in ["a\nb", "a\u{1b}[2J", "a\u{9b}b", "a\0"] {
            assert_eq!(words(control), Err(WordsError::Control), "{control:?}");
        }
        let longest = "é".repeat(LONGEST);
        assert_eq!(words(&longest), Ok(&*longest));
        assert_eq!(words(&(longest.clone() + "é")), Err(WordsError::TooLong));
        for text in ["a\tb\u{7f} ", &(longest + "é")] {
            let kept = words_of(text);
            assert_eq!(words(&kept), Ok(&*kept));
        }
        assert_eq!(words_of(" a\u{1b}b "), "ab");
    }
}
