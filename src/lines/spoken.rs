//! What a screen reader reads aloud: a sentence for each change, in words.
//!
//! Signs are said whatever the settings' glyphs: readers skip ♭, take # for "number" and
//! a b for a letter, and none tells `ii` from `II`. No line says when it is: it is now.

use crate::engine::{Aside, Change, Established};
use crate::theory::{
    Around, AugmentedMark, Catalogue, Chord, DiminishedMark, Glyphs, HalfDiminished, MajorSeventh,
    MinorMark, Notation, SpelledTonality, Tonality,
};

/// The notation with marks that can be told apart and turned into words.
fn marked(own: Notation) -> Notation {
    let mut notation = own;
    notation.glyphs = Glyphs::Unicode;
    notation.marks.minor = MinorMark::Min;
    notation.marks.major_seventh = MajorSeventh::Maj;
    notation.marks.half_diminished = HalfDiminished::Slashed;
    notation.marks.diminished = DiminishedMark::Ring;
    notation.marks.augmented = AugmentedMark::Plus;
    notation
}

/// Signs, marks and figures, the longer before what they begin with, and what is said.
const WORDS: [(&str, &str); 25] = [
    ("♭♭", " double flat "),
    ("♯♯", " double sharp "),
    ("𝄫", " double flat "),
    ("♭", " flat "),
    ("♯", " sharp "),
    ("♮", " natural "),
    ("ø", " half-diminished "),
    ("°", " diminished "),
    ("+", " augmented "),
    ("subV", "substitute for V"),
    ("major", " major "),
    ("minor", " minor "),
    ("maj", " major "),
    ("min", " minor "),
    ("sus", " suspended "),
    ("add", " added "),
    ("(maj", " major "),
    ("(add", " added "),
    ("(no", " without "),
    ("(", " with "),
    (")", " "),
    // Two figures, not a number.
    ("65", " 6 5"),
    ("64", " 6 4"),
    ("43", " 4 3"),
    ("42", " 4 2"),
];

/// `F♯min7` as `F sharp minor 7`.
fn aloud(text: &str) -> String {
    let mut said = String::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let word = WORDS
            .iter()
            .find_map(|(sign, word)| Some((*word, rest.strip_prefix(sign)?)));
        match word {
            Some((word, behind)) => {
                said.push_str(word);
                rest = behind;
            }
            None => {
                said.push(c);
                rest = &rest[c.len_utf8()..];
            }
        }
    }
    let words: Vec<&str> = said.split_whitespace().collect();
    words.join(" ")
}

/// `C/G` as `C over G`, `D♯7/Fx` as `D sharp 7 over F double sharp`.
fn chord_aloud(label: &str) -> String {
    // Six and nine are two figures of one chord.
    let notes = label.replace("6/9", "6 9");
    let notes = notes.split('/').map(|note| {
        let letter = note.starts_with(|c: char| ('A'..='G').contains(&c));
        match letter && note[1..].starts_with('x') {
            true => note.replacen('x', "♯♯", 1),
            false => note.to_owned(),
        }
    });
    aloud(&notes.collect::<Vec<_>>().join(" over "))
}

/// Names cut short with which a numeral may begin.
const NAMES: [(&str, &str); 5] = [
    ("Ger", "German "),
    ("It", "Italian "),
    ("Fr", "French "),
    ("CT", "common tone "),
    ("N", "Neapolitan "),
];

/// `V65/vi` as `V 6 5 of vi`; over a degree in the bass `IIm7/4` as `II minor 7 over 4`.
fn numeral_aloud(numeral: &str) -> String {
    let mut said = String::new();
    // Six and nine are two figures of one chord.
    let numeral = numeral.replace("6/9", "6 9");
    for (i, part) in numeral.split('/').enumerate() {
        let bass = part.trim_start_matches(['♭', '♯']);
        let bass = bass.starts_with(|c: char| c.is_ascii_digit());
        said.push_str(match (i, bass) {
            (0, _) => "",
            (_, true) => " over ",
            (_, false) => " of ",
        });
        let name = NAMES.iter().find_map(|(sign, name)| {
            let rest = part.strip_prefix(sign)?;
            Some(format!("{name}{rest}"))
        });
        // A major seventh: no numeral has an M.
        let part = name.as_deref().unwrap_or(part).replace('M', "maj");
        said.push_str(&aloud(&part));
    }
    said
}

/// What was said so far, as far as the next sentence depends on it.
pub struct Voice<'a> {
    notation: Notation,
    catalogue: &'a Catalogue,
    here: Option<SpelledTonality>,
    home: Option<SpelledTonality>,
    pinned: Option<SpelledTonality>,
    /// Whether the mode that was said is one of several.
    undecided: bool,
    /// Whether the last tonality said was away from home.
    away: bool,
    /// The chord said last.
    before: Option<Chord>,
    /// Waits for whether home moves with it.
    arrived: Option<Established>,
}

impl<'a> Voice<'a> {
    pub fn new(notation: Notation, catalogue: &'a Catalogue) -> Voice<'a> {
        Voice {
            notation: marked(notation),
            catalogue,
            here: None,
            home: None,
            pinned: None,
            undecided: false,
            away: false,
            before: None,
            arrived: None,
        }
    }

    /// The past was replaced. Says the tonality there, if one is established.
    pub fn past(
        &mut self,
        here: Option<SpelledTonality>,
        pinned: Option<SpelledTonality>,
    ) -> Option<String> {
        *self = Voice {
            here,
            pinned,
            ..Voice::new(self.notation, self.catalogue)
        };
        Some(format!("now {}", self.name(here?)))
    }

    /// The lines that a change is spoken in. The tonality here is spoken together with home,
    /// whose change comes after it: see [`Voice::settle`].
    pub fn say(&mut self, change: Change) -> Vec<String> {
        let mut lines = Vec::new();
        if !matches!(change, Change::Home(_)) {
            lines.extend(self.settle());
        }
        match change {
            Change::Here(e) => self.arrived = Some(e),
            Change::Home(e) => lines.extend(self.home(e)),
            Change::Refined(e) => {
                if self.undecided && e.open.others().next().is_none() {
                    self.undecided = false;
                    lines.push(format!("decided: {}", self.name(e.spelled)));
                }
            }
            Change::NoCenter => {
                self.here = None;
                lines.push("no center".into());
            }
            Change::Pinned(pinned) => {
                self.pinned = pinned;
                lines.push(match pinned {
                    Some(p) => format!("pinned to {}", self.name(p)),
                    None => "no longer pinned".into(),
                });
            }
            Change::HomeIs(note) => lines.push(match note {
                Some(note) => format!("you say that home is {}", aloud(&self.notation.name(note))),
                None => "you no longer say what home is".into(),
            }),
            Change::Aside(Aside::Begins) => lines.push("an aside begins".into()),
            Change::Aside(Aside::Ends) => {
                self.here = None;
                lines.push("the aside is over".into());
            }
            Change::Chord { sonority, .. } => {
                let within = self.pinned.or(self.here);
                let around = Around::from((self.before, None));
                self.before = sonority.chord().or(self.before);
                let (notation, catalogue) = (self.notation, self.catalogue);
                let label = notation.sonority(sonority, (within, around), catalogue);
                let numeral = notation.numeral(sonority, (within, around), catalogue);
                // Only a chord is one.
                let label = match sonority.chord() {
                    Some(_) => format!("chord {}", chord_aloud(&label)),
                    None => aloud(&label),
                };
                lines.push(match numeral {
                    Some(numeral) => format!("{label}, {}", numeral_aloud(&numeral)),
                    None => label,
                });
            }
            Change::Silence => {
                self.before = None;
                lines.push("silence".into());
            }
            Change::Polymodal(Some(polymodal)) => {
                let mode = |t| aloud(&self.notation.mode(t, self.catalogue));
                let (top, rest) = (mode(polymodal.top), mode(polymodal.rest));
                lines.push(format!("top line {top}, the rest {rest}"));
            }
            Change::Polymodal(None) => lines.push("top line and the rest together again".into()),
            Change::VoicedChord(_) | Change::Harmony(_) | Change::Rest => {}
        }
        lines
    }

    /// What still waits to be said.
    pub fn settle(&mut self) -> Option<String> {
        let e = self.arrived.take()?;
        let now = e.spelled;
        self.here = Some(now);
        let others: Vec<String> = std::iter::once(e.spelled.tonality.mode)
            .chain(e.open.others())
            .map(|mode| {
                let mode = self.notation.mode(
                    Tonality {
                        mode,
                        ..e.spelled.tonality
                    },
                    self.catalogue,
                );
                aloud(&mode)
            })
            .collect();
        self.undecided = others.len() > 1;
        let away = self.home.filter(|home| home.tonality != e.spelled.tonality);
        let back = self.away && away.is_none();
        self.away = away.is_some();
        if back {
            return Some(format!("home again: {}", self.name(now)));
        }
        let center = aloud(&self.notation.center(e.spelled, self.catalogue));
        let name = match others.as_slice() {
            [_] => self.name(now),
            [one, other] => format!("{center}, {one} or {other}"),
            _ => format!("{center}, mode open"),
        };
        Some(match away {
            Some(home) => format!("now {name}, home {}", self.name(home)),
            None => format!("now {name}"),
        })
    }

    fn home(&mut self, e: Established) -> Vec<String> {
        let home = e.spelled;
        let before = self.home.replace(home);
        let mut lines: Vec<String> = Vec::new();
        let moved = before.is_some_and(|b| b.tonality != home.tonality);
        if moved {
            // Neither a return nor away: a new home.
            self.away = false;
        }
        lines.extend(self.settle());
        if moved {
            lines.push(format!("home is now {}", self.name(home)));
        }
        lines
    }

    fn name(&self, t: SpelledTonality) -> String {
        let name = self.notation.tonality(t, self.catalogue);
        aloud(&name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Event, Monitor, Observer};
    use crate::plan::Open;
    use crate::theory::Letters;
    use crate::time::Time;
    use std::sync::Arc;

    #[test]
    fn signs_are_said_in_words() {
        for (label, said) in [
            ("F♯min7", "F sharp minor 7"),
            ("B♭maj7♯11/E♭", "B flat major 7 sharp 11 over E flat"),
            ("Cø7", "C half-diminished 7"),
            ("C♯°7", "C sharp diminished 7"),
            ("E♭+", "E flat augmented"),
            ("C7sus4(13)", "C7 suspended 4 with 13"),
            ("Cmin(maj7)(no5)", "C minor major 7 without 5"),
            ("A♭6/9", "A flat 6 9"),
            ("A6/9/E", "A6 9 over E"),
            ("D♯7/Fx", "D sharp 7 over F double sharp"),
            ("E♭♭", "E double flat"),
            ("Domin7", "Do minor 7"),
            ("G13", "G13"),
            ("minor third", "minor third"),
            ("major seventh", "major seventh"),
        ] {
            assert_eq!(chord_aloud(label), said);
        }
        for (numeral, said) in [
            ("I9", "I9"),
            ("vi6/9", "vi6 9"),
            ("V6/9/V", "V6 9 of V"),
            ("V65/vi", "V 6 5 of vi"),
            ("♭VI", "flat VI"),
            ("iiø43", "ii half-diminished 4 3"),
            ("V42(♭5)/V", "V 4 2 with flat 5 of V"),
            ("Ger65/V", "German 6 5 of V"),
            ("It6", "Italian 6"),
            ("N6", "Neapolitan 6"),
            ("CT°7", "common tone diminished 7"),
            ("III+", "III augmented"),
            ("♭IIIM65", "flat III major 6 5"),
            ("IImin7/4", "II minor 7 over 4"),
            ("subV7/V/♯4", "substitute for V7 of V over sharp 4"),
            ("V7/ii over 1", "V7 of ii over 1"),
            ("♭VII over ♯4", "flat VII over sharp 4"),
            ("isus4(add6)", "i suspended 4 added 6"),
        ] {
            assert_eq!(numeral_aloud(numeral), said);
        }
    }

    #[test]
    fn where_the_music_is_is_said_with_home() {
        let catalogue = Catalogue::standard();
        let named = |name: &str| catalogue.parse_tonality(name).expect(name);
        let stands = |name: &str, open: Open| Established {
            spelled: named(name),
            at: Time::ZERO,
            since: Time::ZERO,
            probability: 0.9,
            open,
        };
        let sure = |name: &str| stands(name, Open::default());
        let here = |name: &str| Change::Here(sure(name));
        let home = |name: &str| Change::Home(sure(name));
        let aeolian = named("D Aeolian").tonality.mode;
        let phrygian = named("D Phrygian").tonality.mode;
        let guess = stands("D Dorian", Open::new(1 << 5, [aeolian]));
        let mut voice = Voice::new(Notation::default(), catalogue);
        let mut hear = |changes: &[Change]| {
            let mut lines: Vec<String> = changes.iter().flat_map(|c| voice.say(*c)).collect();
            lines.extend(voice.settle());
            lines
        };
        // Told in one step or in two, home that is here is not worth a word.
        assert_eq!(
            hear(&[Change::Here(guess), home("D Dorian")]),
            ["now D, Dorian or Aeolian"]
        );
        assert_eq!(hear(&[Change::Refined(guess)]), [""; 0]);
        assert_eq!(
            hear(&[Change::Refined(sure("D Dorian"))]),
            ["decided: D Dorian"]
        );
        assert_eq!(hear(&[Change::Refined(sure("D Dorian"))]), [""; 0]);
        assert_eq!(
            hear(&[here("G Mixolydian")]),
            ["now G Mixolydian, home D Dorian"]
        );
        assert_eq!(hear(&[here("D Dorian")]), ["home again: D Dorian"]);
        assert_eq!(
            hear(&[here("E♭ Lydian"), Change::Silence]),
            ["now E flat Lydian, home D Dorian", "silence"]
        );
        assert_eq!(hear(&[home("E♭ Lydian")]), ["home is now E flat Lydian"]);
        assert_eq!(
            hear(&[here("C Aeolian"), home("C Aeolian")]),
            ["now C Aeolian", "home is now C Aeolian"]
        );
        // After a rest the same home begins again.
        assert_eq!(
            hear(&[here("C Aeolian"), home("C Aeolian")]),
            ["now C Aeolian"]
        );
        assert_eq!(hear(&[Change::NoCenter]), ["no center"]);
        let open = Open::new(1 << 5 | 1 << 1, [aeolian, phrygian]);
        assert_eq!(
            hear(&[Change::Here(stands("D Dorian", open))]),
            ["now D, mode open, home C Aeolian"]
        );
        let note = named("B♭ Dorian").tonic;
        assert_eq!(
            hear(&[
                Change::Pinned(Some(named("F♯ Phrygian"))),
                Change::Pinned(None),
                Change::HomeIs(Some(note)),
                Change::HomeIs(None),
                Change::Aside(Aside::Begins),
                Change::Aside(Aside::Ends),
            ]),
            [
                "pinned to F sharp Phrygian",
                "no longer pinned",
                "you say that home is B flat",
                "you no longer say what home is",
                "an aside begins",
                "the aside is over",
            ]
        );
    }

    struct Listener<'a> {
        voice: Voice<'a>,
        lines: Vec<String>,
    }

    impl Observer for Listener<'_> {
        fn change(&mut self, _: Time, change: Change) {
            self.lines.extend(self.voice.say(change));
        }
    }

    /// One of our études, read out.
    fn read_out(file: &[u8], notation: Notation) -> Vec<String> {
        let performance = crate::midi::read(file).expect("an étude");
        let catalogue = Arc::new(Catalogue::standard().clone());
        let mut monitor = Monitor::new(Arc::clone(&catalogue)).expect("a monitor");
        let mut listener = Listener {
            voice: Voice::new(notation, &catalogue),
            lines: Vec::new(),
        };
        for e in &performance.events {
            monitor.on_event(e.at, Event::Midi(e.event), &mut listener);
        }
        monitor.advance_to(performance.end + Time::millis(10_000), &mut listener);
        let rest = listener.voice.settle();
        listener.lines.extend(rest);
        listener.lines
    }

    #[test]
    fn an_etude_read_out_is_all_words() {
        for file in [
            &include_bytes!("../../recordings/01_one_hearth.mid")[..],
            include_bytes!("../../recordings/05_ferry_lamp.mid"),
        ] {
            for letters in [Letters::English, Letters::German, Letters::FixedDo] {
                let notation = Notation {
                    letters,
                    ..Notation::default()
                };
                let lines = read_out(file, notation);
                assert!(lines.len() > 20, "{lines:?}");
                for line in &lines {
                    let word = |c: char| c.is_ascii_alphanumeric() || " ,:-".contains(c);
                    assert!(line.chars().all(word), "{line}");
                    assert!(!line.contains("  ") && line.trim() == line, "{line}");
                }
                // Signs or ASCII in the settings: the same is said.
                let ascii = Notation {
                    glyphs: Glyphs::Ascii,
                    ..notation
                };
                assert_eq!(read_out(file, ascii), lines);
            }
        }
    }
}
