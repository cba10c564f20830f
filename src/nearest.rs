//! What a misspelt name was meant to be.

/// The name most like `text`, whatever the case, by the normalized Damerau-Levenshtein
/// distance; `None` where not even half of it is right.
pub fn nearest<'a>(text: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let text = text.to_lowercase();
    let likeness = |name: &str| strsim::normalized_damerau_levenshtein(&name.to_lowercase(), &text);
    names
        .into_iter()
        .map(|name| (likeness(name), name))
        .filter(|(likeness, _)| *likeness >= 0.5)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_name_is_found_or_none() {
        let names = ["chord", "motif", "phrase", "period", "section"];
        assert_eq!(nearest("frase", names), Some("phrase"));
        assert_eq!(nearest("PERIOD", names), Some("period"));
        assert_eq!(nearest("adagio", names), None);
        assert_eq!(nearest("", names), None);
        assert_eq!(nearest("x", []), None);
    }
}
