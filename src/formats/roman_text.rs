//! The harmonies of a recording at their own pace, in hindsight unless another plan is chosen,
//! as a document in RomanText (Tymoczko, Gotham, Cuthbert, Ariza, ISMIR 2019), as its reader in
//! music21 takes it.
//!
//! A recording has no bars, so its seconds are written as beats, four to a measure. What
//! RomanText cannot say is `NC`, and a `Note` after its measure names it: what is no
//! chord, a chord over a bass that no figure says, a chord while there is no center. A
//! `Note` names too what is over so soon that it has no place of its own.
//! Keys are major or minor; of another mode a `Note` tells its name.
//!
//! Traps of the reader: it takes decimals of a beat that lie within 0.01 of a third or a
//! sixth for that; a chord in the place of the one before is an error; a key between two
//! chords without a beat makes a pivot.

use super::Analysis;
use super::change::{Known, around, line, numeral};
use crate::midi::FaultKind;
use crate::plain;
use crate::plan::{ChordSpan, HarmonySpan};
use crate::theory::{Around, Glyphs, Notation, Sonority, SpelledTonality, Spelling};
use crate::time::Time;
use std::fmt::Write;

/// Beats, and so seconds, in a measure.
const BEATS: u64 = 4;
/// Places in a beat: hundredths.
const PLACES: u64 = 100;
/// Minimum distance between two chords: nearer ones could be read at one place. No chord is
/// moved by more than this.
const APART: u64 = 3;
/// A chord holds through silence as short as this.
const BREATH: Time = crate::engine::BREATH;

/// Names in the notes: the user's conventions would be in the way of other readers.
const PLAIN: Notation = Notation {
    glyphs: Glyphs::Ascii,
    ..Notation::PLAIN
};

/// A key of RomanText: major or minor.
#[derive(Clone, Copy, PartialEq)]
struct Key {
    tonic: Spelling,
    minor: bool,
}

/// What stands at a place of a measure.
struct Entry {
    /// Hundredths of a second.
    at: u64,
    /// `I`, `d: iv`, `NC`.
    text: String,
    /// What notes tell, and of which place.
    notes: Vec<(u64, String)>,
    /// Number of chords that stand in the notes alone.
    unsaid: usize,
}

/// A chord or a silence at its place.
struct Position {
    /// Hundredths of a second.
    at: u64,
    /// Which chord; none for silence.
    chord: Option<usize>,
    /// Chords that found no place beside it.
    beside: Vec<usize>,
}

/// The document, each line ended.
pub fn document(a: &Analysis) -> String {
    let entries = entries(a);
    let all = shown(a).0.iter();
    let all = all.filter(|h| h.span.end > h.span.start).count();
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(out, "Title: {}", title(a.file));
    let _ = writeln!(out, "Analyst: Peregrinus {}", env!("CARGO_PKG_VERSION"));
    for f in a.faults.first() {
        let kind = match &f.kind {
            FaultKind::Damage(_) => "is damaged",
            FaultKind::Limit(_) => "is not read in full",
            FaultKind::Unknown { .. } => "is not understood in full",
        };
        let _ = writeln!(
            out,
            "Note: the recording {kind}: {}",
            plain::name(&f.to_string())
        );
    }
    if let Some(more) = a.faults.and_more() {
        let _ = writeln!(out, "Note: {more}");
    }
    let _ = writeln!(
        out,
        "Note: the recording has no bars: a beat is one second, a measure four; m3 b2.5 is 9.5 s"
    );
    let said = all - entries.iter().map(|e| e.unsaid).sum::<usize>();
    let _ = writeln!(
        out,
        "Note: {said} of {all} harmonies have a numeral; the others are written as notes; NC is one of them, or silence"
    );
    if let Some(by) = a.by {
        let _ = writeln!(out, "Note: keys and numerals {}", by.which.title());
    }
    let _ = writeln!(out, "Time Signature: {BEATS}/4");
    let _ = writeln!(out);
    for entries in entries.chunk_by(|x, y| measure(x.at) == measure(y.at)) {
        let number = entries.first().map_or(1, |e| measure(e.at));
        let _ = write!(out, "m{number}");
        for e in entries {
            match beat(e.at) {
                place if place == "b1" => {}
                place => {
                    let _ = write!(out, " {place}");
                }
            }
            let _ = write!(out, " {}", e.text);
        }
        let _ = writeln!(out);
        for (at, note) in entries.iter().flat_map(|e| &e.notes) {
            let _ = writeln!(out, "Note: m{} {} {note}", measure(*at), beat(*at));
        }
    }
    out
}

fn hundredths(t: Time) -> u64 {
    (t.seconds() * PLACES as f64).round() as u64
}

/// The number of a measure, from 1.
fn measure(at: u64) -> u64 {
    at / (BEATS * PLACES) + 1
}

/// `b2`, `b2.5`, `b2.05`.
fn beat(at: u64) -> String {
    let (whole, places) = (at / PLACES % BEATS + 1, at % PLACES);
    let text = format!("b{whole}.{places:02}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The file's name without folder and ending.
fn title(file: &str) -> String {
    let path = std::path::Path::new(file);
    let stem = path.file_stem().and_then(|s| s.to_str());
    plain::name(stem.unwrap_or(file)).into_owned()
}

/// Where chords and silence stand, in order, each at least [`APART`] after the one before and
/// none moved by more than that; of chords too close together the longest stays.
fn places(chords: &[ChordSpan]) -> Vec<Position> {
    let mut all: Vec<Position> = Vec::new();
    let length = |i: usize| chords.get(i).map(|c| c.end.since(c.start));
    let put = |all: &mut Vec<Position>, at: Time, chord: Option<usize>| {
        let at = hundredths(at);
        let last = match all.last_mut() {
            // Moved itself, beyond where this one begins.
            Some(last) if last.at > at => last,
            last => {
                let soonest = last.map_or(0, |l| l.at + APART);
                let (at, beside) = (at.max(soonest), Vec::new());
                return all.push(Position { at, chord, beside });
            }
        };
        match (last.chord, chord) {
            (Some(short), Some(long)) if length(long) > length(short) => {
                last.beside.push(short);
                last.chord = chord;
            }
            // Silence is long, or the end.
            (Some(short), None) => {
                last.beside.push(short);
                last.chord = None;
            }
            (_, chord) => last.beside.extend(chord),
        }
    };
    let mut end = Time::ZERO;
    for (i, c) in chords.iter().enumerate().filter(|(_, c)| c.end > c.start) {
        let first = end == Time::ZERO;
        if first && c.start > Time::ZERO {
            put(&mut all, Time::ZERO, None);
        } else if c.start.since(end) >= BREATH {
            put(&mut all, end, None);
        }
        end = c.end;
        put(&mut all, c.start, Some(i));
    }
    // The last chord ends where it ended, or with its measure.
    let closed = |last: &Position| measure(last.at) * BEATS * PLACES == hundredths(end);
    if !all.last().is_some_and(closed) {
        put(&mut all, end, None);
    }
    for p in &mut all {
        p.beside.sort_unstable();
    }
    all
}

/// The harmonies in hindsight, or by the plan that is chosen.
fn shown<'a>(a: &Analysis<'a>) -> (&'a [HarmonySpan], Known) {
    match a.by {
        None => (&a.study.harmonies, Known::InHindsight),
        Some(by) => (&by.harmonies, by.which.into()),
    }
}

fn entries(a: &Analysis) -> Vec<Entry> {
    let (harmonies, known) = shown(a);
    let chords: Vec<ChordSpan> = harmonies.iter().map(|h| h.span).collect();
    let chords = &chords[..];
    let mut key: Option<Key> = None;
    let mut within: Option<SpelledTonality> = None;
    let mut entry = |p: Position| {
        let mut e = Entry {
            at: p.at,
            text: "NC".to_owned(),
            notes: Vec::new(),
            unsaid: 0,
        };
        if let Some((i, c)) = p.chord.and_then(|i| Some((i, chords.get(i)?))) {
            let around = around(chords, i, known);
            if let Some((numeral, spelled)) = said(a, c, around) {
                let SpelledTonality { tonality, tonic } = spelled;
                let mode = a.catalogue.mode(tonality.mode);
                let minor = !mode.is_major();
                e.text = numeral;
                if key != Some(Key { tonic, minor }) {
                    key = Some(Key { tonic, minor });
                    let name = tonic.text(Glyphs::Ascii);
                    let name = if minor { name.to_lowercase() } else { name };
                    e.text = format!("{name}: {}", e.text);
                }
                let other = !matches!(mode.id.as_str(), "ionian" | "minor");
                let note = (within != c.within && other).then(|| {
                    let name = PLAIN.tonality(spelled, a.catalogue);
                    let nearest = if minor { "minor" } else { "major" };
                    format!("{name}, written in {nearest}")
                });
                // Out of such a mode into the key that it was written in.
                let back = || {
                    let before = within.map(|t| &a.catalogue.mode(t.tonality.mode).id)?;
                    let from = !matches!(before.as_str(), "ionian" | "minor");
                    (from && within != c.within).then(|| PLAIN.tonality(spelled, a.catalogue))
                };
                e.notes.extend(note.or_else(back).map(|n| (p.at, n)));
                let line = harmonies.get(i).and_then(|h| line(a, h, around));
                let line = line.map(|notes| format!("line {}", notes.join(" ")));
                e.notes.extend(line.map(|n| (p.at, n)));
                within = c.within;
            } else {
                let note = format!("{}: {}", named(a, c, around), why(c));
                e.notes.push((p.at, note));
                e.unsaid += 1;
            }
        }
        for (i, c) in p.beside.iter().filter_map(|&i| Some((i, chords.get(i)?))) {
            let note = format!(
                "{}: too near another",
                named(a, c, around(chords, i, known))
            );
            e.notes.push((hundredths(c.start), note));
            e.unsaid += 1;
        }
        e
    };
    places(chords).into_iter().map(&mut entry).collect()
}

/// The numeral of a chord and where it stands, if RomanText can say it.
fn said(a: &Analysis, c: &ChordSpan, around: Around) -> Option<(String, SpelledTonality)> {
    Some((numeral(a, c, around)?.roman_text()?, c.within?))
}

/// The label of what cannot be said, and its notes.
fn named(a: &Analysis, c: &ChordSpan, around: Around) -> String {
    let label = match c.sonority.chord() {
        Some(chord) => PLAIN.chord(chord, PLAIN.root(chord, (c.within, around), a.catalogue)),
        None => PLAIN.sonority(c.sonority, c.within, a.catalogue),
    };
    let notes = PLAIN.notes(c.sonority, (c.within, around), a.catalogue);
    let notes: Vec<String> = notes.iter().map(|&n| PLAIN.name(n)).collect();
    format!("{label} ({})", notes.join(" "))
}

/// Why it cannot be said.
fn why(c: &ChordSpan) -> &'static str {
    match (c.sonority, c.within) {
        (Sonority::Chord(_), None) => "no center",
        (Sonority::Chord(c), _) if c.bass_member().is_some_and(|m| m.number < 8) => {
            "a degree without a numeral"
        }
        (Sonority::Chord(_), _) => "a bass without a figure",
        _ => "no chord",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::History;
    use crate::plan::{HarmonySpan, TonalPlan};
    use crate::study::Study;
    use crate::theory::{Catalogue, KeySet, Kinds, PitchClass, PitchClassSet};

    /// Chords from and to a millisecond, in a tonality or in none, their keys from the bass.
    fn written(chords: &[(u64, u64, &str, &[u8])]) -> String {
        let catalogue = Catalogue::standard();
        let span = |&(start, end, within, keys): &(u64, u64, &str, &[u8])| {
            let set: PitchClassSet = keys.iter().map(|&k| PitchClass::of_key(k)).collect();
            let bass = PitchClass::of_key(keys[0]);
            ChordSpan {
                start: Time::millis(start),
                end: Time::millis(end),
                sonority: Kinds::standard().name(set, bass, PitchClassSet::ALL),
                within: catalogue.parse_tonality(within).ok(),
                keys: KeySet::EMPTY,
            }
        };
        let study = Study {
            duration: Time::millis(60_000),
            heard: History::default(),
            hindsight: TonalPlan::default(),
            chords: Vec::new(),
            harmonies: chords
                .iter()
                .map(span)
                .map(|span| HarmonySpan { span, line: None })
                .collect(),
            markers: Vec::new(),
            bars: None,
        };
        let text = document(&Analysis {
            file: "a.mid",
            study: &study,
            by: None,
            faults: &crate::midi::Faults::default(),
            catalogue,
            notation: &Notation::default(),
        });
        let (head, body) = text.split_once("\n\n").expect("a head and a body");
        assert!(head.starts_with("Title: a\nAnalyst: Peregrinus "), "{head}");
        body.to_owned()
    }

    #[test]
    fn measures_have_keys_silence_and_notes() {
        let body = written(&[
            (500, 2000, "D dorian", &[50, 53, 57]),
            (2000, 5000, "D dorian", &[55, 59, 62]),
            (5000, 6000, "", &[48, 52, 55]),
            // A breath later, and after a rest.
            (6500, 8000, "C ionian", &[48, 52, 55]),
            (12_000, 13_000, "C ionian", &[50, 55, 59]),
            (13_000, 14_000, "C ionian", &[48, 54, 57, 62]),
            (14_000, 16_000, "C ionian", &[48, 50]),
        ]);
        let want = "\
m1 NC b1.5 d: i b3 IV
Note: m1 b1.5 D Dorian, written in minor
m2 b2 NC b3.5 C: I
Note: m2 b2 C (C E G): no center
Note: m2 b3.5 C Ionian
m3 NC
m4 V64 b2 V42/V b3 NC
Note: m4 b3 major second (C D): no chord
";
        assert_eq!(body, want);
        assert_eq!(written(&[]), "m1 NC\n");
    }

    /// A reader lets what stands last sound to the end of its measure, no farther.
    #[test]
    fn the_last_chord_ends_where_it_ended() {
        let c: &[u8] = &[48, 52, 55];
        let over = |start, end| written(&[(start, end, "C ionian", c)]);
        // Over measures, to the end of one.
        assert_eq!(over(2000, 12_000), "m1 NC b3 C: I\nm4 NC\n");
        assert_eq!(over(0, 8000), "m1 C: I\nm3 NC\n");
        // Within the measure.
        assert_eq!(over(2000, 4000), "m1 NC b3 C: I\n");
        assert_eq!(over(8000, 12_000), "m1 NC\nm3 C: I\n");
        assert_eq!(over(2000, 3000), "m1 NC b3 C: I b4 NC\n");
        assert_eq!(over(2000, 13_000), "m1 NC b3 C: I\nm4 b2 NC\n");
        // So short that its beginning is its end.
        assert_eq!(over(0, 4), "m1 C: I b1.03 NC\n");
    }

    /// Of chords too near for places of their own the longest stays, where it was.
    #[test]
    fn what_has_no_place_is_told_in_a_note() {
        let (c, d, g): (&[u8], &[u8], &[u8]) = (&[48, 52, 55], &[50, 53, 57], &[55, 59, 62]);
        let body = written(&[
            (0, 10, "C ionian", c),
            (10, 20, "G ionian", d),
            (20, 1000, "C ionian", g),
            (1000, 1010, "C ionian", c),
            (1010, 1016, "C ionian", d),
            // The end moves no farther than a chord.
            (1016, 1020, "C ionian", g),
        ]);
        let want = "\
m1 C: I b1.03 V b2 I b2.03 NC
Note: m1 b1.01 Dm (D F A): too near another
Note: m1 b2.01 Dm (D F A): too near another
Note: m1 b2.02 G (G B D): too near another
";
        assert_eq!(body, want);
    }

    /// What the chords after the next one tell (ii7 of ♭III, V of vi), and augmented sixths
    /// in every inversion and of a degree, common-tone sevenths.
    #[test]
    fn numerals_know_the_harmonies_ahead() {
        let body = written(&[
            (0, 1000, "C ionian", &[48, 52, 55]),
            (1000, 2000, "C ionian", &[53, 56, 60, 63]),
            (2000, 3000, "C ionian", &[46, 53, 56, 62]),
            (3000, 4000, "C ionian", &[51, 55, 58]),
            // F♯ in the bass; the sixth to V of vi, upon it.
            (4000, 5000, "C ionian", &[42, 56, 60, 63]),
            (5000, 6000, "C ionian", &[43, 55, 59, 62]),
            (6000, 7000, "C ionian", &[41, 57, 60, 63]),
            (7000, 8000, "C ionian", &[40, 56, 59, 62]),
            (8000, 9000, "C ionian", &[45, 57, 60, 64]),
            // A common-tone diminished seventh.
            (9000, 10_000, "C ionian", &[51, 54, 57, 60]),
            (10_000, 11_000, "C ionian", &[52, 55, 60]),
            // A degree over a note that no figure says.
            (11_000, 12_000, "C ionian", &[38, 48, 52, 55, 58]),
        ]);
        let want = "\
m1 C: I b2 ii7/bIII b3 V7/bIII b4 bIII
m2 bVI42[b7] b2 V b3 VI7[b7]/vi b4 V7/vi
m3 vi b2 #iio7 b3 I6 b4 NC
Note: m3 b4 C7/D (D E G Bb C): a bass without a figure
";
        assert_eq!(body, want);
    }

    /// However near two chords are, the reader has them one after the other: it takes
    /// what lies within 0.01 of a third or a sixth for that.
    #[test]
    fn no_two_chords_are_read_at_one_place() {
        let read = |at: u64| {
            let place = (at % PLACES) as f64 / PLACES as f64;
            let near = [1.0 / 6.0, 1.0 / 3.0, 2.0 / 3.0, 5.0 / 6.0]
                .into_iter()
                .find(|t: &f64| (t - place).abs() <= 0.01 + 1e-9);
            (at / PLACES) as f64 + near.unwrap_or(place)
        };
        for at in 0..4 * PLACES {
            assert!(read(at + APART) > read(at), "{at}");
        }
        let chords: Vec<(u64, u64, &str, &[u8])> = (0..40)
            .map(|i| {
                (
                    3 * i,
                    3 * i + 3,
                    "C ionian",
                    [&[48, 52, 55][..], &[50, 53, 57]][i as usize % 2],
                )
            })
            .collect();
        let body = written(&chords);
        // 3 ms each: said or told, each within `APART` of where it was.
        let told: Vec<&str> = body.lines().filter(|l| l.starts_with("Note: ")).collect();
        let said: Vec<&str> = body.lines().next().expect("a measure").split(' ').collect();
        assert_eq!(said[..4], ["m1", "C:", "I", "b1.03"]);
        let places: Vec<u64> = said
            .iter()
            .filter_map(|w| w.strip_prefix("b1."))
            .map(|w| w.parse().expect("hundredths"))
            .collect();
        assert!(places.windows(2).all(|p| p[1] - p[0] >= APART), "{body}");
        assert!(*places.last().expect("the end") <= 12 + APART, "{body}");
        // The first has no place to tell, the last is silence.
        assert_eq!(places.len() + told.len(), chords.len(), "{body}");
    }

    #[test]
    fn a_place_is_a_measure_and_a_beat() {
        assert_eq!(beat(0), "b1");
        assert_eq!(beat(350), "b4.5");
        assert_eq!(beat(405), "b1.05");
        assert_eq!(beat(1210), "b1.1");
        assert_eq!(beat(799), "b4.99");
    }

    #[test]
    fn a_title_is_one_line() {
        assert_eq!(title("/a/b c.mid"), "b c");
        assert_eq!(title("two\nlines.mid"), "two\\nlines");
        assert_eq!(title(""), "");
    }
}
