//! Short scenes at the keyboard in TOML: what is played and said when. The format:
//! tests/scenarios/README.md.

use peregrinus::engine::{self, Event, Fading, Inertia};
use peregrinus::midi;
use peregrinus::theory::{Catalogue, PitchClass, Spelling};
use peregrinus::time::Time;
use serde::Deserialize;
use serde::de::DeserializeOwned;

/// A scene. What is expected of the engine is `E`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario<E> {
    about: String,
    tempo: f64,
    beats: u32,
    #[serde(default)]
    spread: u64,
    inertia: Option<String>,
    fading: Option<String>,
    voice: Vec<Voice>,
    #[serde(default)]
    pedal: Vec<Pedal>,
    #[serde(default)]
    pin: Vec<Pin>,
    #[serde(default)]
    home_is: Vec<HomeIs>,
    #[serde(default)]
    aside: Vec<Aside>,
    #[serde(default)]
    picture: Vec<Picture>,
    pub expect: Vec<E>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Picture {
    name: String,
    at: String,
    #[serde(default)]
    press: Vec<(String, String)>,
}

/// A moment at which the screen is looked at.
pub struct Look<'a> {
    pub name: &'a str,
    pub at: Time,
    /// Keys of the computer's keyboard that are pressed until then, in order.
    pub press: Vec<(Time, &'a str)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Voice {
    notes: String,
    at: Option<String>,
    repeat: Option<u32>,
    velocity: Option<u8>,
    touch: Option<f64>,
    roll: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pedal {
    down: String,
    up: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pin {
    tonality: Option<String>,
    at: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HomeIs {
    note: Option<String>,
    at: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Aside {
    from: String,
    to: String,
}

impl<E: DeserializeOwned> Scenario<E> {
    /// Reads a scene; the error says what is wrong with it.
    pub fn read(text: &str) -> Result<Scenario<E>, String> {
        let scenario: Scenario<E> = toml::from_str(text).map_err(|e| e.to_string())?;
        if scenario.about.is_empty()
            || !scenario.tempo.is_normal()
            || scenario.tempo < 0.0
            || scenario.beats == 0
        {
            return Err("it needs 'about', and a tempo and beats greater than 0".into());
        }
        if scenario.expect.is_empty() {
            return Err("nothing is expected of it".into());
        }
        let looks = scenario.looks()?;
        for (i, look) in looks.iter().enumerate() {
            if looks[..i].iter().any(|other| other.name == look.name) {
                return Err(format!("two pictures are called '{}'", look.name));
            }
        }
        Ok(scenario)
    }
}

impl<E> Scenario<E> {
    /// A number of beats from the start, as time.
    pub fn time(&self, beats: f64) -> Time {
        Time::from_seconds(beats * 60.0 / self.tempo)
    }

    /// `3.1.5`: bar 3, half a beat after its first.
    pub fn place(&self, text: &str) -> Result<f64, String> {
        let bad = || format!("'{text}' is no place: write bar.beat, as 3.1 or 3.1.5");
        let (bar, beat) = text.split_once('.').ok_or_else(bad)?;
        let bar: u32 = bar.parse().map_err(|_| bad())?;
        let beat: f64 = beat.parse().map_err(|_| bad())?;
        if bar < 1 || !(1.0..f64::from(self.beats) + 1.0).contains(&beat) {
            return Err(bad());
        }
        Ok(f64::from((bar - 1) * self.beats) + beat - 1.0)
    }

    /// Bar, beat and seconds, for a report.
    pub fn where_is(&self, at: Time) -> String {
        let beats = at.seconds() * self.tempo / 60.0;
        let bar = (beats / f64::from(self.beats)).floor();
        let beat = beats - bar * f64::from(self.beats) + 1.0;
        format!("{}.{beat:.1} ({:.2} s)", bar + 1.0, at.seconds())
    }

    /// The settings that are not the usual ones.
    pub fn settings(&self) -> Result<Vec<Event>, String> {
        let inertia = self
            .inertia
            .as_ref()
            .map(|i| i.parse::<Inertia>().map_err(|e| e.to_string()));
        let fading = self
            .fading
            .as_ref()
            .map(|f| f.parse::<Fading>().map_err(|e| e.to_string()));
        let inertia = inertia.transpose()?.map(Event::Inertia);
        let fading = fading.transpose()?.map(Event::Fading);
        Ok(inertia.into_iter().chain(fading).collect())
    }

    /// When the screen is looked at.
    pub fn looks(&self) -> Result<Vec<Look<'_>>, String> {
        let mut looks = Vec::new();
        for picture in &self.picture {
            let name = picture.name.as_str();
            let at = self.time(self.place(&picture.at)?);
            let mut press: Vec<(Time, &str)> = Vec::new();
            for (place, keys) in &picture.press {
                let when = self.time(self.place(place)?);
                press.extend(keys.split_whitespace().map(|key| (when, key)));
            }
            looks.push(Look { name, at, press });
        }
        Ok(looks)
    }

    /// Everything that the hands and the foot do, in order.
    pub fn performance(&self) -> Result<Vec<(Time, Event)>, String> {
        // What lets go comes before what strikes at the same time.
        let mut all: Vec<(Time, u8, midi::Event)> = Vec::new();
        for (number, voice) in self.voice.iter().enumerate() {
            self.voice(voice, &mut all)
                .map_err(|e| format!("voice {}: {e}", number + 1))?;
        }
        for pedal in &self.pedal {
            for (place, value) in [(&pedal.down, 127), (&pedal.up, 0)] {
                let damper = midi::Event::Damper {
                    channel: midi::Channel::ALL[0],
                    value,
                };
                all.push((self.time(self.place(place)?), 1, damper));
            }
        }
        all.sort_by_key(|&(at, order, _)| (at, order));
        let mut all: Vec<_> = all
            .into_iter()
            .map(|(at, _, event)| (at, Event::Midi(event)))
            .collect();
        // What is said is said before what is played at the same time.
        all.splice(0..0, self.said()?);
        all.sort_by_key(|e| e.0);
        Ok(all)
    }

    /// What the player says beside the music.
    fn said(&self) -> Result<Vec<(Time, Event)>, String> {
        let mut all = Vec::new();
        for pin in &self.pin {
            let parse = |name: &String| {
                let t = Catalogue::standard().parse_tonality(name);
                t.map_err(|e| e.to_string())
            };
            let pinned = pin.tonality.as_ref().map(parse).transpose()?;
            all.push((self.time(self.place(&pin.at)?), Event::Pin(pinned)));
        }
        for said in &self.home_is {
            let note = said.note.as_deref().map(pitch_class).transpose()?;
            all.push((self.time(self.place(&said.at)?), Event::HomeIs(note)));
        }
        use engine::Aside::{Begins, Ends};
        for aside in &self.aside {
            for (place, edge) in [(&aside.from, Begins), (&aside.to, Ends)] {
                all.push((self.time(self.place(place)?), Event::Aside(edge)));
            }
        }
        Ok(all)
    }

    fn voice(&self, voice: &Voice, all: &mut Vec<(Time, u8, midi::Event)>) -> Result<(), String> {
        let start = match &voice.at {
            Some(place) => self.place(place)?,
            None => 0.0,
        };
        let (strokes, length) = strokes(&voice.notes, self.beats)?;
        let touch = voice.touch.unwrap_or(0.95);
        for turn in 0..voice.repeat.unwrap_or(1) {
            for stroke in &strokes {
                let begin = start + f64::from(turn) * length + stroke.at;
                let on = self.time(begin);
                let off = self.time(begin + stroke.length * touch);
                for (i, &key) in stroke.keys.iter().enumerate() {
                    let late = voice.roll.unwrap_or(0) * i as u64 + self.lateness(on, key);
                    let velocity = voice.velocity.unwrap_or(72);
                    let note_on = midi::Event::NoteOn {
                        channel: midi::Channel::ALL[0],
                        key,
                        velocity,
                    };
                    let on = on + Time::millis(late);
                    if on >= off {
                        return Err(format!("a note of {} beats is too short", stroke.length));
                    }
                    all.push((on, 2, note_on));
                    all.push((
                        off,
                        0,
                        midi::Event::NoteOff {
                            channel: midi::Channel::ALL[0],
                            key,
                        },
                    ));
                }
            }
        }
        Ok(())
    }

    /// Milliseconds, 0 to `spread`, always the same for the same stroke.
    fn lateness(&self, on: Time, key: u8) -> u64 {
        let mixed = (on.0 ^ u64::from(key) << 32).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        (mixed >> 40) % (self.spread + 1)
    }
}

pub struct Stroke {
    at: f64,
    length: f64,
    keys: Vec<u8>,
}

/// Reads `D2/1 [D3 G3 C4]/3 | r/2 …`; also gives its length in beats.
pub fn strokes(text: &str, beats: u32) -> Result<(Vec<Stroke>, f64), String> {
    let mut out: Vec<Stroke> = Vec::new();
    let (mut now, mut length) = (0.0f64, 1.0f64);
    let mut chord: Option<Vec<u8>> = None;
    for word in text.split_whitespace() {
        let bar = |now: f64| (now / f64::from(beats)).round() * f64::from(beats);
        if word == "|" {
            if (now - bar(now)).abs() > 1e-6 {
                return Err(format!(
                    "the bar line after beat {now} does not fall on a bar of {beats} beats"
                ));
            }
            // Thirds of a beat do not add up exactly.
            now = bar(now);
            continue;
        }
        let (open, rest) = match word.strip_prefix('[') {
            Some(rest) => (true, rest),
            None => (false, word),
        };
        if open && chord.replace(Vec::new()).is_some() {
            return Err(format!("'{word}' opens a chord inside a chord"));
        }
        let (name, new_length) = match rest.split_once('/') {
            Some((name, l)) => (name, Some(fraction(l)?)),
            None => (rest, None),
        };
        let (name, close) = match name.strip_suffix(']') {
            Some(name) => (name, true),
            None => (name, false),
        };
        length = new_length.unwrap_or(length);
        let keys = match (&mut chord, name) {
            (None, "r") => Vec::new(),
            (None, name) if !close => vec![key(name)?],
            (Some(keys), name) => {
                keys.push(key(name)?);
                if !close {
                    if new_length.is_some() {
                        return Err(format!("'{word}': the length goes after the bracket"));
                    }
                    continue;
                }
                chord.take().unwrap_or_default()
            }
            _ => return Err(format!("'{word}' closes no chord")),
        };
        let at = now;
        now += length;
        if !keys.is_empty() {
            out.push(Stroke { at, length, keys });
        }
    }
    if chord.is_some() {
        return Err("the last chord is not closed".into());
    }
    if (now / f64::from(beats)).fract() > 1e-6 && (now / f64::from(beats)).fract() < 1.0 - 1e-6 {
        return Err(format!("{now} beats are no whole number of bars"));
    }
    Ok((out, now))
}

fn fraction(text: &str) -> Result<f64, String> {
    let bad = || format!("'/{text}' is no length: write beats, as /1, /0.5 or /1/3");
    let value = match text.split_once('/') {
        Some((a, b)) => {
            let (a, b): (f64, f64) = (a.parse().map_err(|_| bad())?, b.parse().map_err(|_| bad())?);
            a / b
        }
        None => text.parse().map_err(|_| bad())?,
    };
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(bad())
    }
}

/// `F#4` as a MIDI note number, C4 = 60.
pub fn key(text: &str) -> Result<u8, String> {
    let bad = || format!("'{text}' is no note: write a letter, # or b, and the octave, as F#4");
    let octave = text.find(|c: char| c.is_ascii_digit()).ok_or_else(bad)?;
    let note: Spelling = text[..octave].parse().map_err(|_| bad())?;
    let octave: i32 = text[octave..].parse().map_err(|_| bad())?;
    // B#3 is C4: count from the letter, not from the pitch class.
    let letter = Spelling::of(note.letter(), 0).pitch_class().index() as i32;
    let number = 12 * (octave + 1) + letter + i32::from(note.accidental());
    u8::try_from(number)
        .ok()
        .filter(|&k| k < 128)
        .ok_or_else(bad)
}

pub fn pitch_class(name: &str) -> Result<PitchClass, String> {
    name.parse::<Spelling>()
        .map(Spelling::pitch_class)
        .map_err(|e| e.to_string())
}
