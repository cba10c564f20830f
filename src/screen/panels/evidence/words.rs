//! What was heard, in words.

use super::shown::Evidence;
use crate::engine::{Cause, Explanation, Removed};
use crate::screen::look::Look;
use crate::screen::pen::{columns, fit};
use crate::screen::picture::Picture;
use crate::screen::wording::{abbreviated, length};
use crate::theory::{Glyphs, PitchClassSet, SpelledTonality, spell_degree};
use crate::time::Time;

/// Maximum number of notes that are named of a bass line or of what a phrase ends on.
const NOTES: usize = 4;
/// A chord struck less than this ago counts as sounding.
const SOUNDS: Time = Time::millis(1000);

/// What there is to say without an explanation.
pub(super) fn without(picture: &Picture) -> &'static str {
    match picture.reading.heard.len() {
        _ if picture.reading.here.is_some() => "being worked out",
        0 => "nothing has been heard yet",
        1 => "one note is not enough to tell a center by: play on",
        _ => "too little has been heard to tell a center by: play on",
    }
}

/// Why the notes have no center.
pub(super) fn why_no_center(picture: &Picture) -> String {
    let reading = &picture.reading;
    match (reading.collection, reading.heard.len()) {
        (Some(collection), _) => format!("the notes are {}", collection.name()),
        (None, 8..) => format!(
            "{} different notes were heard lately, none of them as a resting point",
            reading.heard.len()
        ),
        (None, _) => "no note was heard as a resting point".into(),
    }
}

impl Evidence<'_> {
    /// What speaks against it, the strongest first, with figures.
    pub fn against(&self) -> Vec<String> {
        let causes = self.causes();
        let con = causes.iter().rev().filter(|c| self.change(c) < 0.0);
        con.map(|c| self.item(c)).collect()
    }

    /// `D in the bass +41`.
    pub fn item(&self, c: &Cause) -> String {
        let words = words(c.removed, self.e, self.look);
        format!("{words} {}", figure(self.change(c), self.look))
    }

    /// The name of another tonality: of its center alone where only centers are explained.
    pub fn otherwise(&self, t: SpelledTonality) -> String {
        match self.center {
            true => self.look.center(t),
            false => self.look.notation.tonality(t, self.look.catalogue),
        }
    }

    /// What would be said without it, if that is something else, in as much as there is
    /// room for: `else D Aeolian`, `else Aeolian`, `else D Aeol`.
    pub fn instead(&self, cause: &Cause, room: u16, glyphs: Glyphs) -> Option<String> {
        let other = cause.instead?;
        let t = other.tonality;
        let look = self.look;
        if self.center && t.center == self.e.likeliest.center {
            return None;
        }
        let mut names = vec![self.otherwise(other)];
        if !self.center {
            let mode = look.notation.mode(t, look.catalogue);
            if t.center == self.e.spelled.tonality.center {
                names.push(mode.clone());
            }
            let center = look.center(other);
            let short = [5, 4, 3].map(|letters| abbreviated(&mode, letters));
            names.extend(short.map(|mode| format!("{center} {mode}")));
        }
        let texts: Vec<String> = names.iter().map(|n| format!("else {n}")).collect();
        let fits = texts.iter().find(|t| columns(t) <= room).or(texts.last());
        fits.map(|text| fit(text, room, glyphs))
    }

    /// `G in the bass`, `B♭ heard`, `G7 two seconds ago`, `ends on G`; with less room
    /// `bass G`, `B♭`, `G7 2 s ago`, `G7`.
    pub fn row_words(&self, removed: Removed, room: u16, glyphs: Glyphs) -> String {
        let (e, look) = (self.e, self.look);
        let plain = words(removed, e, look);
        let mut all = Vec::new();
        match removed {
            Removed::PitchClass(_) => all.push(format!("{plain} heard")),
            Removed::Chord(_, at) => {
                let label = chord(removed, e, look);
                if e.at.since(at) >= SOUNDS {
                    all.push(format!("{label} {} ago", in_words(e.at.since(at))));
                }
                all.extend([plain.clone(), label]);
            }
            Removed::Bass(set) => {
                all.extend([plain.clone(), format!("bass {}", notes(set, e, look))])
            }
            Removed::PhraseEnd(set, _) => {
                all.extend([plain.clone(), format!("end {}", notes(set, e, look))]);
            }
        }
        let fits = all.iter().find(|t| columns(t) <= room).or(all.last());
        fit(fits.unwrap_or(&plain), room, glyphs)
    }

    /// In a sentence: `G is in the bass`, `F, not F♯, was heard`.
    pub fn clause(&self, cause: &Cause) -> String {
        let (e, look) = (self.e, self.look);
        let within = Some(e.spelled);
        match cause.removed {
            Removed::Bass(set) => {
                let are = if set.len() > 1 { "are" } else { "is" };
                format!("{} {are} in the bass", notes(set, e, look))
            }
            Removed::PitchClass(pc) => {
                let note = look.notation.note_named(pc, within, look.catalogue);
                match self.rival(cause) {
                    Some(other) => format!("{note}, not {other}, was heard"),
                    None => format!("{note} was heard"),
                }
            }
            Removed::Chord(_, at) => {
                let label = chord(cause.removed, e, look);
                match e.at.since(at) {
                    now if now < SOUNDS => format!("{label} is struck"),
                    ago => format!("{label} was struck {} ago", in_words(ago)),
                }
            }
            Removed::PhraseEnd(set, _) => format!("it ends on {}", notes(set, e, look)),
        }
    }

    /// The note that the same degree has in the mode that would be said without this one,
    /// or, of a characteristic note, in the parallel major or minor.
    fn rival(&self, cause: &Cause) -> Option<String> {
        let (e, look) = (self.e, self.look);
        let Removed::PitchClass(pc) = cause.removed else {
            return None;
        };
        if self.center {
            return None;
        }
        let mode = look.catalogue.mode(e.spelled.tonality.mode);
        let own = mode.degree_at(pc.above(e.spelled.tonality.center))?;
        let instead = cause
            .instead
            .filter(|t| t.tonality.center == e.spelled.tonality.center)
            .map(|t| t.tonality.mode);
        let parallel = || {
            let like = if mode.is_major() { "ionian" } else { "aeolian" };
            let characteristic = mode.characteristic.contains(&own);
            look.catalogue.find(like).filter(|_| characteristic)
        };
        let other = look.catalogue.mode(instead.or_else(parallel)?);
        let mut degrees = other.degrees.iter().chain(&other.movable);
        // A mode that has this note too is no rival.
        if degrees.clone().any(|d| d.semitones() == own.semitones()) {
            return None;
        }
        let degree = degrees.find(|d| d.number == own.number)?;
        let tonic = look.notation.tonic(e.spelled, look.catalogue);
        Some(look.notation.above(spell_degree(tonic, *degree), tonic))
    }
}

/// `two seconds`.
fn in_words(t: Time) -> String {
    let number = match t.seconds() as u64 {
        0 | 1 => return "a second".into(),
        2 => "two",
        3 => "three",
        4 => "four",
        5 => "five",
        6 => "six",
        7 => "seven",
        8 => "eight",
        _ => return length(t),
    };
    format!("{number} seconds")
}

/// As many items as there is room for in full.
pub(super) fn listed(items: &[String], room: u16, look: &Look) -> String {
    let between = look.sign(" · ", ", ");
    let mut text = String::new();
    for item in items {
        let gap = if text.is_empty() { "" } else { between };
        if columns(&text) + columns(gap) + columns(item) > room {
            break;
        }
        text.push_str(gap);
        text.push_str(item);
    }
    text
}

/// A probability: `88 %`.
pub(super) fn percent(share: f32) -> String {
    format!("{} %", hundredths(share))
}

/// A change of probability in hundredths, `+41`.
pub(super) fn figure(change: f32, look: &Look) -> String {
    let sign = if change < 0.0 {
        look.sign("−", "-")
    } else {
        "+"
    };
    format!("{sign}{}", hundredths(change.abs()))
}

/// In hundredths, rounded from the half up.
fn hundredths(share: f32) -> i32 {
    let rounded = (share * 100.0).round() as i32;
    // Only what is certain is shown as 100.
    if share < 1.0 {
        rounded.min(99)
    } else {
        rounded
    }
}

/// `D in the bass`, `F`, `G7 2 s ago`, `D triad`, `ends on D`.
fn words(removed: Removed, e: &Explanation, look: &Look) -> String {
    match removed {
        Removed::PitchClass(pc) => {
            let within = Some(e.spelled);
            look.notation.note_named(pc, within, look.catalogue)
        }
        Removed::Bass(set) => format!("{} in the bass", notes(set, e, look)),
        Removed::Chord(_, at) => {
            let label = chord(removed, e, look);
            match e.at.since(at) {
                now if now < SOUNDS => label,
                ago => format!("{label} {} ago", length(ago)),
            }
        }
        Removed::PhraseEnd(set, _) => format!("ends on {}", notes(set, e, look)),
    }
}

/// A few notes, from the center up.
fn notes(set: PitchClassSet, e: &Explanation, look: &Look) -> String {
    let within = Some(e.spelled);
    let own = (0..12).map(|n| e.spelled.tonality.center.up(n));
    let note = |pc| look.notation.note_named(pc, within, look.catalogue);
    let named: Vec<String> = own.filter(|&pc| set.contains(pc)).map(note).collect();
    let more = if named.len() > NOTES {
        look.sign("…", "...")
    } else {
        ""
    };
    let shown = &named[..named.len().min(NOTES)];
    format!("{}{more}", shown.join(" "))
}

/// A chord's label; empty for anything else.
fn chord(removed: Removed, e: &Explanation, look: &Look) -> String {
    let Removed::Chord(sonority, _) = removed else {
        return String::new();
    };
    let within = Some(e.spelled);
    let note = |pc| look.notation.note_named(pc, within, look.catalogue);
    let mut label = look.notation.sonority(sonority, within, look.catalogue);
    // A major triad is written as its root is.
    if sonority.chord().is_some_and(|c| label == note(c.root)) {
        label.push_str(" triad");
    }
    label
}
