//! What is asked for: some of the sittings, or the one that a word means.

use super::super::sitting::Sitting;
use crate::nearest::nearest;
use crate::plain;
use jiff::Timestamp;

/// Which sittings to list: those that fit all that is said here.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Query {
    pub since: Option<Timestamp>,
    /// Not this moment itself.
    pub until: Option<Timestamp>,
    /// The pitch class of a center that was visited.
    pub center: Option<u8>,
    /// The id of a mode that was visited: on `center`, if that is said too.
    pub mode: Option<String>,
    /// A part of the name, a tag or a marker, in capitals or not.
    pub text: Option<String>,
    /// Their plan was corrected.
    pub corrected: bool,
    /// Maximum number of sittings.
    pub limit: Option<usize>,
}

impl Query {
    /// Whether every sitting is wanted, its time and the limit aside.
    pub(super) fn takes_any(&self) -> bool {
        self.center.is_none() && self.mode.is_none() && self.text.is_none() && !self.corrected
    }

    /// Whether a sitting is wanted, its time and the limit aside.
    pub(super) fn fits(&self, s: &Sitting) -> bool {
        let visited = || {
            s.here.iter().chain(&s.home).any(|stay| {
                self.center.is_none_or(|c| c == stay.center)
                    && self.mode.as_ref().is_none_or(|m| *m == stay.mode)
            })
        };
        let said = || {
            let Some(part) = &self.text else { return true };
            let part = part.to_lowercase();
            let markers = s.markers.iter().map(|(_, name)| name);
            let mut all = s.name.iter().chain(&s.tags).chain(markers);
            all.any(|text| text.to_lowercase().contains(&part))
        };
        (self.center.is_none() && self.mode.is_none() || visited())
            && (!self.corrected || s.corrections > 0)
            && said()
    }
}

/// Why a word means no sitting.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unknown {
    #[error("there are no sittings yet")]
    None,
    /// `last-9` of fewer.
    #[error("there are only {0} sittings")]
    Fewer(usize),
    #[error("no sitting has this name{}; peregrinus sittings lists them", meant(.0.as_deref()))]
    NoSuch(Option<String>),
    /// The names that fit.
    #[error("this may be {}: write more of it", several(.0))]
    Several(Vec<String>),
}

fn meant(name: Option<&str>) -> String {
    name.map_or(String::new(), |n| {
        format!("; did you mean {}?", plain::name(n))
    })
}

/// Maximum number of names that are listed.
const MOST: usize = 5;

fn several(names: &[String]) -> String {
    let mut all: Vec<String> = names.iter().map(|n| plain::name(n).into_owned()).collect();
    if names.len() > MOST {
        all.truncate(MOST - 1);
        all.push(format!("{} others", names.len() - all.len()));
    }
    plain::list(&all, "or")
}

/// The place of the one that a word means among all ids with their names, the newest first.
pub(super) fn choose(word: &str, all: &[(String, Option<String>)]) -> Result<usize, Unknown> {
    if all.is_empty() {
        return Err(Unknown::None);
    }
    if let Some(back) = back(word) {
        return match back <= all.len() {
            true => Ok(back - 1),
            false => Err(Unknown::Fewer(all.len())),
        };
    }
    // An id is nobody else's.
    if let Some(place) = all.iter().position(|(id, _)| id == word) {
        return Ok(place);
    }
    let lower = word.to_lowercase();
    type Fits<'w> = &'w dyn Fn(&str) -> bool;
    let ways: [Fits; 3] = [
        &|text| text == word,
        &|text| text.to_lowercase() == lower,
        &|text| !lower.is_empty() && text.to_lowercase().contains(&lower),
    ];
    for fits in ways {
        let fitting: Vec<usize> = (0..all.len())
            .filter(|i| fits(&all[*i].0) || all[*i].1.as_deref().is_some_and(fits))
            .collect();
        match fitting[..] {
            [] => {}
            [one] => return Ok(one),
            _ => {
                let called = |i: &usize| match &all[*i] {
                    (id, Some(name)) => format!("{id} ({name})"),
                    (id, None) => id.clone(),
                };
                return Err(Unknown::Several(fitting.iter().map(called).collect()));
            }
        }
    }
    let names = all.iter().flat_map(|(id, name)| [Some(id), name.as_ref()]);
    let near = nearest(word, names.flatten().map(String::as_str));
    Err(Unknown::NoSuch(near.map(str::to_owned)))
}

/// `last` is 1, and so is `last-1`; `last-2` the second last.
fn back(word: &str) -> Option<usize> {
    let rest = word.strip_prefix("last")?;
    match rest.strip_prefix('-') {
        None => rest.is_empty().then_some(1),
        Some(number) => number.parse().ok().filter(|n| *n > 0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<(String, Option<String>)> {
        let of = |id: &str, name: &str| {
            let name = (!name.is_empty()).then(|| name.to_owned());
            (id.to_owned(), name)
        };
        vec![
            of("2026-11-29_20-15-03", "Rain on the lake"),
            of("2026-11-29_08-00-00", ""),
            of("2026-11-28_20-15-03", "rain"),
            of("2026-11-27_10-00-00", "Étude"),
            of("2026-11-26_10-00-00", "Étude"),
        ]
    }

    #[test]
    fn a_word_means_one_sitting() {
        for (word, place) in [
            ("last", 0),
            ("last-1", 0),
            ("last-2", 1),
            ("last-5", 4),
            ("2026-11-28_20-15-03", 2),
            // A whole name before a part of another.
            ("rain", 2),
            ("RAIN", 2),
            ("lake", 0),
            ("_08-", 1),
        ] {
            assert_eq!(choose(word, &all()), Ok(place), "{word}");
        }
    }

    #[test]
    fn what_means_none_or_several_is_said() {
        let said = |word: &str| choose(word, &all()).expect_err(word).to_string();
        assert_eq!(said("last-6"), "there are only 5 sittings");
        assert_eq!(
            said("étude"),
            "this may be 2026-11-27_10-00-00 (Étude) or 2026-11-26_10-00-00 (Étude): write more \
             of it"
        );
        assert_eq!(
            said("rian"),
            "no sitting has this name; did you mean rain?; peregrinus sittings lists them"
        );
        for word in ["", "last-0", "last-x", "zzzzzzzz"] {
            let wanted = "no sitting has this name; peregrinus sittings lists them";
            assert_eq!(said(word), wanted, "{word}");
        }
        assert_eq!(choose("last", &[]), Err(Unknown::None));
        let many: Vec<_> = (0..9).map(|i| (format!("take {i}"), None)).collect();
        let said = choose("take", &many).expect_err("several").to_string();
        let wanted = "this may be take 0, take 1, take 2, take 3 or 5 others: write more of it";
        assert_eq!(said, wanted);
    }
}
