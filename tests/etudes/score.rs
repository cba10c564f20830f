//! A small language for keyboard scores.
//!
//! A piece is a row of sections, each in one tonality; a section has one line of
//! text a voice, and all its lines are equally long. A line is a row of tokens:
//!
//! | token | meaning |
//! |---|---|
//! | `D4q` | a note: letter, accidentals (`#`, `b`), octave (C4 is middle C), length |
//! | `D3+A3h` | several keys at once |
//! | `,E5` | a grace note, crushed in just before the next note |
//! | `r` | a rest |
//! | `P` | in the pedal line: the damper pedal is changed here and held |
//! | `w h q e s t` | whole, half, quarter, eighth, sixteenth, thirty-second; `.` adds half, `3` makes a triplet, `~` ties on another length; none: as the token before |
//! | `>` `<` | after a note: stressed, held back |
//! | `!` | after a note: short |
//! | `%` | after a chord: rolled from the bottom |
//! | `'` `"` | after a note: a phrase ends with it, a section of the piece ends with it |
//! | `@70` | the song's loudness (a key velocity) is 70 here, and moves evenly between such marks |
//! | `*0.9` | the tempo is 0.9 of the piece's here, and moves smoothly between such marks |
//! | `\|` | a bar line: the bar must be full |

/// Divisions of a quarter note in which scores are counted.
pub const QUARTER: u32 = 48;

/// The widest stretch of one hand, in semitones: a tenth.
pub const REACH: u8 = 16;

/// Who plays a line, and how loud it stands in the whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Voice {
    /// Right hand, the melody.
    Song,
    /// Right hand, beneath the melody.
    Second,
    /// Left hand, above the ground.
    Tenor,
    /// Left hand, bass and accompaniment.
    Ground,
    /// The right foot.
    Pedal,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    Right,
    Left,
}

impl Voice {
    pub fn hand(self) -> Hand {
        match self {
            Voice::Song | Voice::Second => Hand::Right,
            Voice::Tenor | Voice::Ground | Voice::Pedal => Hand::Left,
        }
    }
}

/// A center, as letter and accidentals ("Eb"), and the id of a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tonality(pub &'static str, pub &'static str);

impl Tonality {
    /// 0-11, C is 0.
    pub fn center(self) -> Option<u8> {
        pitch_class(self.0)
    }

    /// As musicians write it: `E♭`.
    pub fn spelling(self) -> String {
        self.0.replace('b', "♭").replace('#', "♯")
    }
}

pub struct Section {
    /// The tonality this section is in. Neighbours in the same one are one region.
    pub here: Tonality,
    /// What is touched in passing, without becoming a region.
    pub passing: Option<Tonality>,
    pub lines: &'static [(Voice, &'static str)],
}

pub struct Piece {
    /// Of its files, without extension.
    pub name: &'static str,
    pub title: &'static str,
    pub about: &'static str,
    /// Of the player's small liberties.
    pub seed: u64,
    /// Divisions in a bar.
    pub bar: u32,
    /// Quarters a minute.
    pub tempo: f64,
    pub home: Tonality,
    pub sections: &'static [Section],
}

#[derive(Clone, Debug)]
pub struct Note {
    pub voice: Voice,
    pub start: u32,
    /// Zero for a grace note, which stands at the start of the note it leads to.
    pub length: u32,
    /// Lowest first.
    pub keys: Vec<u8>,
    pub stress: i8,
    pub short: bool,
    pub rolled: bool,
    /// A phrase ends with it.
    pub breath: bool,
    /// The next thing in its voice is a note without a rest between.
    pub joined: bool,
}

/// A section's place in the score.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub start: u32,
    pub here: Tonality,
    pub passing: Option<Tonality>,
}

#[derive(Debug, Default)]
pub struct Score {
    /// By start.
    pub notes: Vec<Note>,
    /// Where the pedal is changed, and how long it is then held.
    pub pedal: Vec<(u32, u32)>,
    /// Phrase ends; true where a section of the piece ends.
    pub breaths: Vec<(u32, bool)>,
    pub loudness: Vec<(u32, f64)>,
    pub tempo: Vec<(u32, f64)>,
    pub spans: Vec<Span>,
    pub end: u32,
}

/// Reads the sections of a piece and checks that two hands can play them.
pub fn read(piece: &Piece) -> Result<Score, String> {
    let mut score = Score::default();
    for (n, section) in piece.sections.iter().enumerate() {
        let start = score.end;
        let mut ends: Vec<u32> = Vec::new();
        for &(voice, text) in section.lines {
            let end = Line::new(piece, voice, start)
                .read(text, &mut score)
                .map_err(|e| format!("section {}, {voice:?}, {e}", n + 1))?;
            ends.push(end);
        }
        score.end = *ends.iter().max().ok_or("a section without lines")?;
        if ends.iter().any(|&end| end != score.end) {
            let lengths: Vec<u32> = ends.iter().map(|end| end - start).collect();
            return Err(format!(
                "section {}: its lines differ in length: {lengths:?}",
                n + 1
            ));
        }
        for tonality in [Some(section.here), section.passing].into_iter().flatten() {
            tonality
                .center()
                .ok_or_else(|| format!("section {}: no such center: {}", n + 1, tonality.0))?;
        }
        score.spans.push(Span {
            start,
            here: section.here,
            passing: section.passing,
        });
    }
    score.notes.sort_by_key(|n| n.start);
    score.breaths.sort_unstable();
    score.breaths.dedup_by_key(|b| b.0);
    score.loudness.sort_by_key(|knot| knot.0);
    score.tempo.sort_by_key(|knot| knot.0);
    join(&mut score.notes);
    playable(piece, &score.notes)?;
    Ok(score)
}

/// Marks the notes that another of their voice follows at once.
fn join(notes: &mut [Note]) {
    for i in 0..notes.len() {
        let (voice, end) = (notes[i].voice, notes[i].start + notes[i].length);
        notes[i].joined = notes
            .iter()
            .any(|n| n.voice == voice && n.length > 0 && n.start == end);
    }
}

/// Within the piano, within reach, and no hand over the other.
fn playable(piece: &Piece, notes: &[Note]) -> Result<(), String> {
    for note in notes {
        let at = place(piece, note.start);
        let held = |hand| {
            notes
                .iter()
                .filter(move |n| n.voice.hand() == hand)
                .filter(|n| n.start <= note.start && note.start < n.start + n.length)
                .flat_map(|n| n.keys.iter().copied())
        };
        for hand in [Hand::Right, Hand::Left] {
            let (low, high) = (held(hand).min(), held(hand).max());
            if let (Some(low), Some(high)) = (low, high) {
                if low < 21 || high > 108 {
                    return Err(format!("{at}: off the piano"));
                }
                if high - low > REACH {
                    return Err(format!("{at}: {hand:?} hand reaches from {low} to {high}"));
                }
            }
        }
        if let (Some(left), Some(right)) = (held(Hand::Left).max(), held(Hand::Right).min())
            && left >= right
        {
            return Err(format!("{at}: the hands collide: {left}, {right}"));
        }
    }
    Ok(())
}

/// Bar and beat, for messages.
pub fn place(piece: &Piece, at: u32) -> String {
    let beat = f64::from(at % piece.bar) / f64::from(QUARTER) + 1.0;
    format!("bar {}, beat {beat}", at / piece.bar + 1)
}

struct Line<'a> {
    piece: &'a Piece,
    voice: Voice,
    at: u32,
    length: u32,
}

impl<'a> Line<'a> {
    fn new(piece: &'a Piece, voice: Voice, at: u32) -> Self {
        Line {
            piece,
            voice,
            at,
            length: QUARTER,
        }
    }

    fn read(mut self, text: &str, score: &mut Score) -> Result<u32, String> {
        for token in text.split_whitespace() {
            self.token(token, score)
                .map_err(|e| format!("{}: `{token}`: {e}", place(self.piece, self.at)))?;
        }
        Ok(self.at)
    }

    fn token(&mut self, token: &str, score: &mut Score) -> Result<(), String> {
        if token == "|" {
            return match self.at % self.piece.bar {
                0 => Ok(()),
                _ => Err("the bar is not full".into()),
            };
        }
        let number = |text: &str| text.parse::<f64>().map_err(|e| e.to_string());
        if let Some(level) = token.strip_prefix('@') {
            score.loudness.push((self.at, number(level)?));
            return Ok(());
        }
        if let Some(factor) = token.strip_prefix('*') {
            score.tempo.push((self.at, number(factor)?));
            return Ok(());
        }
        let grace = token.starts_with(',');
        let mut rest = token.trim_start_matches(',');
        let mut keys = Vec::new();
        let silent = rest.starts_with(['r', 'P']);
        let pedal = rest.starts_with('P');
        if silent {
            rest = &rest[1..];
        } else {
            loop {
                let end = rest
                    .find(|c: char| c.is_ascii_digit())
                    .ok_or("a note needs its octave")?;
                let (name, tail) = rest.split_at(end);
                keys.push(key(name, &tail[..1])?);
                rest = &tail[1..];
                match rest.strip_prefix('+') {
                    Some(more) => rest = more,
                    None => break,
                }
            }
            keys.sort_unstable();
        }
        let marks = rest
            .find(|c| !"whqest.3~".contains(c))
            .unwrap_or(rest.len());
        let (length, marks) = rest.split_at(marks);
        if !length.is_empty() {
            self.length = length.split('~').map(part).sum::<Result<u32, String>>()?;
        }
        let mut note = Note {
            voice: self.voice,
            start: self.at,
            length: if grace { 0 } else { self.length },
            keys,
            stress: 0,
            short: false,
            rolled: false,
            breath: false,
            joined: false,
        };
        for mark in marks.chars() {
            match mark {
                '>' => note.stress += 1,
                '<' => note.stress -= 1,
                '!' => note.short = true,
                '%' => note.rolled = true,
                '\'' | '"' => {
                    note.breath = true;
                    score.breaths.push((self.at + note.length, mark == '"'));
                }
                _ => return Err(format!("what is `{mark}`?")),
            }
        }
        if pedal != (self.voice == Voice::Pedal) && !token.starts_with('r') {
            return Err("not for this line".into());
        }
        self.at += note.length;
        if pedal {
            score.pedal.push((note.start, note.length));
        } else if !silent {
            score.notes.push(note);
        }
        Ok(())
    }
}

/// One length: a letter, dots, a triplet's 3.
fn part(text: &str) -> Result<u32, String> {
    let whole = 4 * QUARTER;
    let mut marks = text.chars();
    let mut length = match marks.next() {
        Some('w') => whole,
        Some('h') => whole / 2,
        Some('q') => whole / 4,
        Some('e') => whole / 8,
        Some('s') => whole / 16,
        Some('t') => whole / 32,
        _ => return Err(format!("no length: `{text}`")),
    };
    let mut dot = length / 2;
    for mark in marks {
        match mark {
            '.' => {
                length += dot;
                dot /= 2;
            }
            '3' => length = length * 2 / 3,
            _ => return Err(format!("no length: `{text}`")),
        }
    }
    Ok(length)
}

fn pitch_class(name: &str) -> Option<u8> {
    let mut signs = name.chars();
    let letter = match signs.next()? {
        'C' => 0i32,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    let mut class = letter;
    for sign in signs {
        class += match sign {
            '#' => 1,
            'b' => -1,
            _ => return None,
        };
    }
    u8::try_from(class.rem_euclid(12)).ok()
}

/// The MIDI key of a name and an octave. Cb4 is the B below middle C.
fn key(name: &str, octave: &str) -> Result<u8, String> {
    let unknown = || format!("no such note: {name}{octave}");
    let class = i32::from(pitch_class(name).ok_or_else(unknown)?);
    let letter = name.get(..1).and_then(pitch_class).ok_or_else(unknown)?;
    let octave: i32 = octave.parse().map_err(|_| unknown())?;
    // The octave is the letter's, whatever its signs make of it.
    let shift = (class - i32::from(letter) + 6).rem_euclid(12) - 6;
    u8::try_from(12 * (octave + 1) + i32::from(letter) + shift).map_err(|_| unknown())
}
