//! Works out what the file leaves out of a mode: its id, its characteristic degrees, the nearest
//! mode that other programs know, its family.

use super::fault::{MAX_NAME, ModeFault};
use crate::theory::degree::Degree;
use crate::theory::mode::Mode;
use crate::theory::pitch::{PitchClass, PitchClassSet};
use std::cmp::Ordering;

pub(super) fn set(degrees: &[Degree]) -> PitchClassSet {
    let classes = degrees.iter().map(|d| d.semitones() as i32);
    classes.map(PitchClass::new).collect()
}

/// An id made of a name: small letters and figures, joined by `_`; ♭ and ♯ in words. Where
/// that is not `free` a number follows.
pub(super) fn made_id(name: &str, free: impl Fn(&str) -> bool) -> Result<String, ModeFault> {
    let mut id = String::new();
    let mut gap = false;
    for c in name.chars() {
        let part = match c {
            _ if c.is_ascii_alphanumeric() => String::from(c.to_ascii_lowercase()),
            '♭' => "flat".into(),
            '♯' | '#' => "sharp".into(),
            '♮' => "nat".into(),
            // An apostrophe does not part words: Ray's.
            '\'' | '’' => continue,
            _ => unaccented(c).into(),
        };
        if part.is_empty() {
            gap = true;
            continue;
        }
        if gap && !id.is_empty() {
            id.push('_');
        }
        gap = false;
        id.push_str(&part);
    }
    if !id.contains(|c: char| c.is_ascii_lowercase()) {
        return Err(ModeFault::NoId);
    }
    id.truncate(MAX_NAME);
    let numbered = (2..).map(|n| format!("{id}_{n}"));
    let mut all = std::iter::once(id.clone()).chain(numbered);
    // The numbers never run out, so one is found.
    Ok(all.find(|id| free(id)).unwrap_or_default())
}

/// A letter of the Latin alphabet without its accent; nothing for another.
fn unaccented(c: char) -> &'static str {
    match c.to_lowercase().next().unwrap_or(c) {
        'à'..='å' | 'ā' | 'ă' | 'ą' => "a",
        'æ' => "ae",
        'ç' | 'ć' | 'č' => "c",
        'ď' | 'đ' | 'ð' => "d",
        'è'..='ë' | 'ē' | 'ė' | 'ę' | 'ě' => "e",
        'ğ' => "g",
        'ì'..='ï' | 'ī' | 'į' | 'ı' => "i",
        'ł' | 'ľ' => "l",
        'ñ' | 'ń' | 'ň' => "n",
        'ò'..='ö' | 'ø' | 'ō' | 'ő' => "o",
        'œ' => "oe",
        'ř' => "r",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'ß' => "ss",
        'ť' | 'ţ' | 'ț' => "t",
        'ù'..='ü' | 'ū' | 'ů' | 'ű' | 'ų' => "u",
        'ý' | 'ÿ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        _ => "",
    }
}

/// The degrees in which a mode differs from the major scale or natural minor: from the one that
/// it has more in common with, in a tie from the one with its third. For a mode whose degrees
/// move, the highest of the moved ones: in minor the leading tone.
pub(super) fn characteristic(degrees: &[Degree], movable: &[Degree]) -> Vec<Degree> {
    if let Some(&highest) = movable.iter().max_by_key(|d| d.semitones()) {
        return vec![highest];
    }
    let beside = |of: &[i8; 7]| -> Vec<Degree> {
        let all = degrees.iter().copied();
        all.filter(|d| !has(of, *d)).collect()
    };
    let (major, minor) = (beside(&DIATONIC[0].1), beside(&DIATONIC[2].1));
    match minor.len().cmp(&major.len()) {
        Ordering::Less => minor,
        Ordering::Equal if third(degrees) == Some(-1) => minor,
        _ => major,
    }
}

/// The seven diatonic modes by what their degrees 1 to 7 are raised or lowered by, in the
/// order in which [`scored_as`] prefers one where two are as near.
const DIATONIC: [(&str, [i8; 7]); 7] = [
    ("ionian", [0; 7]),
    ("mixolydian", [0, 0, 0, 0, 0, 0, -1]),
    ("aeolian", [0, 0, -1, 0, 0, -1, -1]),
    ("phrygian", [0, -1, -1, 0, 0, -1, -1]),
    ("dorian", [0, 0, -1, 0, 0, 0, -1]),
    ("lydian", [0, 0, 0, 1, 0, 0, 0]),
    ("locrian", [0, -1, -1, 0, -1, -1, -1]),
];

fn has(scale: &[i8; 7], d: Degree) -> bool {
    scale[(d.number as usize + 6) % 7] == d.alter
}

/// What the third is altered by: -1 or 0; `None` without one, or with both.
fn third(degrees: &[Degree]) -> Option<i8> {
    let mut thirds = degrees.iter().filter(|d| d.number == 3).map(|d| d.alter);
    thirds.next().filter(|_| thirds.next().is_none())
}

/// The nearest of minor and the seven diatonic modes, for readers that know no others.
/// Major is never the answer, as Ionian has its notes.
///
/// A mode with the notes of one that is known counts as that does. Else it is the diatonic mode
/// on the same tonic of which the fewest degrees have to be altered, that is, the one that
/// lacks the fewest of the mode's degrees. In a tie, the first
///
/// 1. with the same third, major or minor, where the mode has one;
/// 2. with a perfect fifth where the mode has one, without where not;
/// 3. in the order Ionian, Mixolydian, Aeolian, Phrygian, Dorian, Lydian, Locrian.
///
/// What comes out as Aeolian and may have the leading tone, as one of its movable degrees,
/// is minor. The rule is our own. It says of the embedded modes what `config/modes.toml`
/// says, but for Phrygian dominant: that counts as Mixolydian there, for its major third.
pub(super) fn scored_as<'a>(degrees: &[Degree], movable: &[Degree], known: &'a [Mode]) -> &'a str {
    let usual = set(degrees);
    let twin = |m: &&Mode| m.set == usual && m.movable.is_empty() && movable.is_empty();
    if let Some(twin) = known.iter().find(twin) {
        return &twin.scored_as;
    }
    nearest(degrees, movable)
}

fn nearest(degrees: &[Degree], movable: &[Degree]) -> &'static str {
    let fifth = set(degrees).contains(PitchClass::new(7));
    let cost = |(_, scale): &(&str, [i8; 7])| {
        let altered = degrees.iter().filter(|d| !has(scale, **d)).count();
        let third = third(degrees).is_some_and(|third| third != scale[2]);
        (altered, third, fifth != (scale[4] == 0))
    };
    // In a tie, the first.
    let nearest = DIATONIC.iter().min_by_key(|m| cost(m));
    let leading = movable.iter().any(|d| d.semitones() == 11);
    match nearest {
        Some(("aeolian", _)) if leading => "minor",
        nearest => nearest.map_or("ionian", |m| m.0),
    }
}

/// The family of a mode: that of the first known mode whose notes are the same from
/// another degree on, else one of its own.
pub(super) fn family<'a>(
    name: &str,
    degrees: &[Degree],
    known: impl IntoIterator<Item = &'a Mode>,
) -> String {
    let own = set(degrees);
    let turned = |m: &&Mode| m.movable.is_empty() && (0..12).any(|by| m.set.up(by) == own);
    let first = known.into_iter().find(turned).map(|m| m.parent.clone());
    first.unwrap_or_else(|| name.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::catalogue::Catalogue;
    use crate::theory::degree::NotADegree;

    fn list(text: &str) -> Result<Vec<Degree>, NotADegree> {
        text.split_whitespace().map(str::parse).collect()
    }

    /// The rule at the head of `config/modes.toml`.
    #[test]
    fn what_is_characteristic_tells_a_mode_from_the_nearer_of_major_and_minor() {
        let c = Catalogue::standard();
        let degrees = |id| &c.mode(c.find(id).expect("a mode")).degrees;
        let (major, minor) = (degrees("ionian"), degrees("aeolian"));
        for (_, m) in c.iter() {
            let beside = |of: &[Degree]| -> Vec<Degree> {
                let all = m.degrees.iter().copied();
                all.filter(|d| !of.contains(d)).collect()
            };
            let (major, minor) = (beside(major), beside(minor));
            if !m.movable.is_empty() {
                let moved = |d: &Degree| m.movable.contains(d);
                assert!(m.characteristic.iter().all(moved), "{}", m.id);
                assert!(!m.characteristic.is_empty(), "{}", m.id);
                continue;
            }
            // Neither is ever as near as the other, but for what is in both.
            assert!(major.len() != minor.len() || major == minor, "{}", m.id);
            let nearer = if minor.len() < major.len() {
                minor
            } else {
                major
            };
            assert_eq!(m.characteristic, nearer, "{}", m.id);
        }
    }

    #[test]
    fn what_is_worked_out_is_what_the_embedded_modes_say() {
        let c = Catalogue::standard();
        let known: Vec<Mode> = c.iter().map(|(_, m)| m.clone()).collect();
        for (at, m) in known.iter().enumerate() {
            assert_eq!(characteristic(&m.degrees, &m.movable), m.characteristic);
            // For its major third.
            let nearest = match m.id.as_str() {
                "phrygian_dominant" => "phrygian",
                _ => &m.scored_as,
            };
            assert_eq!(super::nearest(&m.degrees, &m.movable), nearest, "{}", m.id);
            assert_eq!(scored_as(&m.degrees, &m.movable, &known), m.scored_as);
            assert_eq!(family("x", &m.degrees, &known), m.parent);
            // Of its own family it is the first, or turned into one before it.
            let before = family(&m.parent, &m.degrees, &known[..at]);
            assert_eq!(before, m.parent, "{}", m.id);
        }
    }

    /// Each by its notes, common practice (no source) for the names.
    #[test]
    fn the_nearest_of_modes_that_are_otherwise() {
        let nearest = |degrees: &str| super::nearest(&list(degrees).expect(degrees), &[]);
        for (degrees, want) in [
            // Five notes: those that have them all, by the order.
            ("1 2 3 5 6", "ionian"),
            ("1 b3 4 5 b7", "aeolian"),
            ("1 2 b3 5 b6", "aeolian"),
            ("1 b2 4 5 b6", "phrygian"),
            // Without a third.
            ("1 2 4 5 b7", "mixolydian"),
            ("1 2 4 5 6", "ionian"),
            // Symmetrical: whole tones, half and whole tones, thirds and half tones.
            ("1 2 3 #4 #5 b7", "mixolydian"),
            ("1 2 b3 4 b5 b6 6 7", "locrian"),
            ("1 b2 b3 3 #4 5 6 b7", "mixolydian"),
            ("1 #2 3 5 b6 7", "ionian"),
            // Two degrees away from major and from Phrygian; the third decides.
            ("1 b2 3 4 5 b6 7", "ionian"),
            // From Aeolian and from Lydian.
            ("1 2 b3 #4 5 b6 7", "aeolian"),
            // The fifth decides between Aeolian and Locrian.
            ("1 2 b3 4 b5 b6 b7", "locrian"),
            ("1 2 b3 4 5 6 7", "dorian"),
            ("1 b2 3 #4 #5 #6 7", "lydian"),
        ] {
            assert_eq!(nearest(degrees), want, "{degrees}");
        }
        let leading = list("6 7").expect("degrees");
        let minor = list("1 2 b3 4 5 b6 b7").expect("degrees");
        assert_eq!(super::nearest(&minor, &leading), "minor");
        assert_eq!(super::nearest(&minor, &[]), "aeolian");
    }
}
