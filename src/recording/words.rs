//! The words of a recording: text events that begin with `peregrinus: `, in ASCII, the one set
//! of characters that every reader of MIDI files knows.
//!
//! | after `peregrinus: ` | says |
//! |---|---|
//! | `inertia=phrase` | how slowly a new tonality is established |
//! | `channels=65023 transpose=-2` | which channels are music (bit n for channel n), semitones added |
//! | `fading=struck` | how notes die away |
//! | `bassist=true` | somebody else plays the roots of the chords |
//! | `harmony=2`, `harmony=all` | which of several keyboards are heard |
//! | `pin=Eb mixolydian`, `pin=none` | names refer to this tonality from here on, or to none |
//! | `home=G#`, `home=none` | the player says what is home, or takes it back |
//! | `aside=true` | what follows stays out of the plan, until `aside=false` |
//! | `click=625000 4/4 12.000000`, `click=none` | bars: microseconds to a beat, the meter, and a downbeat in seconds from the start; or none from here on |
//! | `about 12.000000 14.500000` | the stretch that the marker right before is about, in seconds from the start |
//! | `release 3` | every key and pedal is let go; the number says how many messages follow that spell it out for other programs |
//! | `release 3 keyboard 2` | the same for one of several keyboards |

use crate::engine::{Aside, Bassist, Event, Filter, HarmonyFrom};
use crate::meter::{Click, Tempo};
use crate::midi::Keyboard;
use crate::theory::{Catalogue, Glyphs, Spelling};
use crate::time::{TICKS_PER_SECOND, Time};

const OURS: &str = "peregrinus: ";
const ABOUT: &str = "about ";
const RELEASE: &str = "release ";
const OF_KEYBOARD: &str = " keyboard ";
const PIN: &str = "pin=";
const HOME: &str = "home=";
const CLICK: &str = "click=";
const NONE: &str = "none";
const MICROSECONDS: u64 = 1_000_000 / TICKS_PER_SECOND;

/// What a text of ours says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Word {
    /// A setting, or something that the player says. Never [`Event::Midi`].
    Event(Event),
    /// A click is in force from here on, or none.
    Click(Option<Click>),
    /// The stretch that the marker before is about.
    About(Time, Time),
    /// Everything is let go, or everything of one keyboard; the number of messages that follow
    /// and spell it out.
    Release(u8, Option<Keyboard>),
}

/// A text of ours that says nothing known here: of a later version, or with a mode that the
/// catalogue does not have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unknown<'t> {
    /// What stands after `peregrinus: `.
    pub said: &'t str,
}

impl Word {
    /// Reads a text event; none if it is not ours.
    pub fn read<'t>(text: &'t str, catalogue: &Catalogue) -> Option<Result<Word, Unknown<'t>>> {
        let said = Word::said(text)?;
        Some(Word::known(said, catalogue).ok_or(Unknown { said }))
    }

    /// The text after `peregrinus: `.
    pub fn said(text: &str) -> Option<&str> {
        text.strip_prefix(OURS)
    }

    fn known(text: &str, catalogue: &Catalogue) -> Option<Word> {
        if let Some(stretch) = text.strip_prefix(ABOUT) {
            return about(stretch);
        }
        if let Some(messages) = text.strip_prefix(RELEASE) {
            let (messages, of) = match messages.split_once(OF_KEYBOARD) {
                None => (messages, None),
                Some((messages, number)) => (messages, Some(keyboard(number)?)),
            };
            return Some(Word::Release(messages.parse().ok()?, of));
        }
        if let Some(said) = text.strip_prefix(CLICK) {
            return click(said).map(Word::Click);
        }
        event(text, catalogue).map(Word::Event)
    }

    /// The text; none for notes and pedals, which need no word.
    pub fn text(self, catalogue: &Catalogue) -> Option<String> {
        let said = match self {
            Word::About(from, to) => format!("{ABOUT}{:.6} {:.6}", from.seconds(), to.seconds()),
            Word::Click(None) => format!("{CLICK}{NONE}"),
            Word::Click(Some(Click { tempo, meter, from })) => {
                let beat = tempo.beat().0 * MICROSECONDS;
                format!("{CLICK}{beat} {meter} {:.6}", from.seconds())
            }
            Word::Release(messages, None) => format!("{RELEASE}{messages}"),
            Word::Release(messages, Some(keyboard)) => {
                format!("{RELEASE}{messages}{OF_KEYBOARD}{}", keyboard.number())
            }
            Word::Event(event) => written(event, catalogue)?,
        };
        Some(format!("{OURS}{said}"))
    }
}

fn about(stretch: &str) -> Option<Word> {
    let (from, to) = stretch.split_once(' ')?;
    let (from, to) = (moment(from)?, moment(to)?);
    (from <= to).then_some(Word::About(from, to))
}

fn moment(text: &str) -> Option<Time> {
    let seconds: f64 = text.parse().ok()?;
    (seconds.is_finite() && seconds >= 0.0).then(|| Time::from_seconds(seconds))
}

/// A click, or none where the text says so.
fn click(text: &str) -> Option<Option<Click>> {
    if text == NONE {
        return Some(None);
    }
    let mut parts = text.split(' ');
    let beat: u64 = parts.next()?.parse().ok()?;
    let beat = beat.saturating_add(MICROSECONDS / 2) / MICROSECONDS;
    let click = Click {
        tempo: Tempo::of_beat(Time(beat))?,
        meter: parts.next()?.parse().ok()?,
        from: moment(parts.next()?)?,
    };
    parts.next().is_none().then_some(Some(click))
}

fn keyboard(number: &str) -> Option<Keyboard> {
    Keyboard::numbered(number.parse().ok()?)
}

fn written(event: Event, catalogue: &Catalogue) -> Option<String> {
    let note = |s: Spelling| s.text(Glyphs::Ascii);
    Some(match event {
        Event::Midi(_) => return None,
        Event::Inertia(i) => format!("inertia={}", i.name()),
        Event::Filter(f) => format!("channels={} transpose={}", f.channels, f.transpose),
        Event::Fading(f) => format!("fading={}", f.name()),
        Event::Bassist(Bassist::Plays) => "bassist=true".into(),
        Event::Bassist(Bassist::Absent) => "bassist=false".into(),
        Event::HarmonyFrom(HarmonyFrom::All) => "harmony=all".into(),
        Event::HarmonyFrom(HarmonyFrom::One(keyboard)) => {
            format!("harmony={}", keyboard.number())
        }
        Event::Pin(None) => format!("{PIN}{NONE}"),
        Event::Pin(Some(t)) => {
            format!(
                "{PIN}{} {}",
                note(t.tonic),
                catalogue.mode(t.tonality.mode).id
            )
        }
        Event::HomeIs(None) => format!("{HOME}{NONE}"),
        Event::HomeIs(Some(center)) => format!(
            "{HOME}{}",
            note(Spelling::nearest(center, Spelling::MIDDLE))
        ),
        Event::Aside(Aside::Begins) => "aside=true".into(),
        Event::Aside(Aside::Ends) => "aside=false".into(),
    })
}

fn event(text: &str, catalogue: &Catalogue) -> Option<Event> {
    if let Some(name) = text.strip_prefix(PIN) {
        if name == NONE {
            return Some(Event::Pin(None));
        }
        return Some(Event::Pin(Some(catalogue.parse_tonality(name).ok()?)));
    }
    if let Some(name) = text.strip_prefix(HOME) {
        if name == NONE {
            return Some(Event::HomeIs(None));
        }
        let note: Spelling = name.parse().ok()?;
        return Some(Event::HomeIs(Some(note.pitch_class())));
    }
    let mut filter = Filter::default();
    let mut event = None;
    for word in text.split_whitespace() {
        let (key, value) = word.split_once('=')?;
        event = Some(match key {
            "inertia" => Event::Inertia(value.parse().ok()?),
            "fading" => Event::Fading(value.parse().ok()?),
            "bassist" => Event::Bassist(match value.parse().ok()? {
                true => Bassist::Plays,
                false => Bassist::Absent,
            }),
            "harmony" => Event::HarmonyFrom(match value {
                "all" => HarmonyFrom::All,
                number => HarmonyFrom::One(keyboard(number)?),
            }),
            "aside" => Event::Aside(match value.parse().ok()? {
                true => Aside::Begins,
                false => Aside::Ends,
            }),
            "channels" => {
                filter.channels = value.parse().ok()?;
                Event::Filter(filter)
            }
            "transpose" => {
                filter.transpose = value.parse().ok().filter(|t| (-48..=48).contains(t))?;
                Event::Filter(filter)
            }
            _ => return None,
        });
    }
    event
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Fading, Inertia};
    use crate::meter::Meter;
    use crate::theory::{PitchClass, SpelledTonality, Tonality};
    use proptest::prelude::*;

    fn standard() -> &'static Catalogue {
        Catalogue::standard()
    }

    /// Every setting, and every tonality on every name of its center in use.
    #[test]
    fn what_is_written_is_read() {
        let mut all = vec![Event::Pin(None), Event::HomeIs(None)];
        all.extend([Aside::Begins, Aside::Ends].map(Event::Aside));
        all.push(Event::HarmonyFrom(HarmonyFrom::All));
        all.extend(Keyboard::ALL.map(|k| Event::HarmonyFrom(HarmonyFrom::One(k))));
        all.extend([Bassist::Plays, Bassist::Absent].map(Event::Bassist));
        all.extend(Inertia::ALL.map(Event::Inertia));
        all.extend([Fading::Struck, Fading::Sustained].map(Event::Fading));
        all.extend([0, 1, 0xfdff, 0xffff].into_iter().flat_map(|channels| {
            let filter = |transpose| Filter {
                channels,
                transpose,
            };
            [-48, 0, 3, 48].map(|transpose| Event::Filter(filter(transpose)))
        }));
        all.extend(PitchClass::all().map(|c| Event::HomeIs(Some(c))));
        for (mode, _) in standard().iter() {
            all.extend((-10..=15).map(Spelling::at).map(|tonic| {
                let center = tonic.pitch_class();
                Event::Pin(Some(SpelledTonality::new(Tonality { center, mode }, tonic)))
            }));
        }
        assert!(all.len() > 800);
        let mut words: Vec<Word> = all.into_iter().map(Word::Event).collect();
        for of in [None].into_iter().chain(Keyboard::ALL.map(Some)) {
            words.extend([0, 1, 48, 255].map(|messages| Word::Release(messages, of)));
        }
        words.push(Word::About(Time(600_001), Time::millis(40_000)));
        words.push(Word::About(Time::ZERO, Time::ZERO));
        words.push(Word::Click(None));
        let beats = [10_000, 10_001, 31_250, 149_999, 150_000].map(Time);
        for (beat, from) in beats.into_iter().zip([0, 1, 600_001, 7, 180_000_000_003]) {
            for (count, unit) in [(1, 4), (4, 4), (15, 8), (6, 8)] {
                words.push(Word::Click(Some(Click {
                    tempo: Tempo::of_beat(beat).unwrap(),
                    meter: Meter::new(count, unit).unwrap(),
                    from: Time(from),
                })));
            }
        }
        for word in words {
            let text = word.text(standard()).unwrap();
            assert_eq!(Word::read(&text, standard()), Some(Ok(word)), "{text}");
            assert!(text.is_ascii(), "{text}");
        }
    }

    #[test]
    fn the_words() {
        let said = |event| Word::Event(event).text(standard());
        let text = |t: &str| Some(format!("peregrinus: {t}"));
        let t = standard().parse_tonality("E♭ mixolydian").unwrap();
        let pin = Event::Pin(Some(t));
        assert_eq!(said(pin), text("pin=Eb mixolydian"));
        // A scale as well.
        let t = standard().parse_tonality("D♭ dominant diminished").unwrap();
        let pin = Word::Event(Event::Pin(Some(t)));
        let written = pin.text(standard());
        assert_eq!(written, text("pin=Db octatonic_half_whole"));
        let written = written.unwrap();
        assert_eq!(Word::read(&written, standard()), Some(Ok(pin)));
        assert_eq!(
            said(Event::HomeIs(Some(PitchClass::new(8)))),
            text("home=G#")
        );
        let filter = Event::Filter(Filter::default());
        assert_eq!(said(filter), text("channels=65023 transpose=0"));
        let release = Event::Midi(crate::midi::Event::Release);
        assert_eq!(said(release), None, "it is a word of its own");
        let click = |click| Word::Click(click).text(standard());
        assert_eq!(click(None), text("click=none"));
        let tapped = Click {
            tempo: Tempo::per_minute(96.0).unwrap(),
            meter: Meter::COMMON,
            from: Time(600_001),
        };
        assert_eq!(click(Some(tapped)), text("click=625000 4/4 12.000020"));
        let release = |of| Word::Release(3, of).text(standard());
        assert_eq!(release(None), text("release 3"));
        let second = Keyboard::numbered(2);
        assert_eq!(release(second), text("release 3 keyboard 2"));
        let harmony = Event::HarmonyFrom(HarmonyFrom::One(Keyboard::FIRST));
        assert_eq!(said(harmony), text("harmony=1"));
        let stretch = Word::About(Time::millis(12_000), Time(2_000_001));
        assert_eq!(stretch.text(standard()), text("about 12.000000 40.000020"));
    }

    #[test]
    fn what_says_nothing() {
        for others in [
            "",
            "peregrinus:",
            "inertia=phrase",
            "Peregrinus: inertia=phrase",
        ] {
            assert_eq!(Word::read(others, standard()), None, "{others}");
        }
        for unknown in [
            "peregrinus: ",
            "peregrinus: inertia",
            "peregrinus: inertia=slow",
            "peregrinus: pin=",
            "peregrinus: pin=Eb",
            "peregrinus: pin=Eb nothing",
            "peregrinus: home=",
            "peregrinus: home=H",
            "peregrinus: harmony=0",
            "peregrinus: harmony=5",
            "peregrinus: release 3 keyboard 0",
            "peregrinus: release 3 keyboard ",
            "peregrinus: release keyboard 1",
            "peregrinus: aside=",
            "peregrinus: aside=yes",
            "peregrinus: transpose=49",
            "peregrinus: channels=65536",
            "peregrinus: volume=3",
            "peregrinus: about ",
            "peregrinus: about 12",
            "peregrinus: about 12 x",
            "peregrinus: about 40.0 12.0",
            "peregrinus: about -1 40",
            "peregrinus: about NaN 40",
            "peregrinus: about 1 inf",
            "peregrinus: click=",
            "peregrinus: click=nothing",
            "peregrinus: click=625000",
            "peregrinus: click=625000 4/4",
            "peregrinus: click=625000 4/3 1",
            "peregrinus: click=625000 4/4 -1",
            "peregrinus: click=625000 4/4 inf",
            "peregrinus: click=625000 4/4 1 2",
            "peregrinus: click=199980 4/4 1",
            "peregrinus: click=3000020 4/4 1",
            "peregrinus: click=18446744073709551615 4/4 1",
            "peregrinus: release",
            "peregrinus: release -1",
            "peregrinus: release 256",
        ] {
            let said = &unknown[OURS.len()..];
            let read = Word::read(unknown, standard());
            assert_eq!(read, Some(Err(Unknown { said })), "{unknown}");
        }
    }

    proptest! {
        /// What any text says is said again by what is written for it.
        #[test]
        fn any_text(text in "peregrinus: (about |release |click=|click=625000 |pin=|home=|aside=|inertia=)?\\PC{0,20}") {
            if let Some(Ok(word)) = Word::read(&text, standard()) {
                let written = word.text(standard()).unwrap();
                prop_assert_eq!(Word::read(&written, standard()), Some(Ok(word)));
            }
        }
    }

    /// The page of the manual has each of them as it is read and written.
    #[test]
    fn the_manual_names_the_words() {
        let page = include_str!("../manual/pages/recordings.md");
        let rows = page
            .lines()
            .filter_map(|l| l.strip_prefix("| `")?.split('`').next());
        let rows: Vec<&str> = rows.collect();
        assert_eq!(rows.len(), 12, "{rows:?}");
        for text in rows {
            let Some(Ok(word)) = Word::read(text, standard()) else {
                panic!("{text}");
            };
            assert_eq!(word.text(standard()).as_deref(), Some(text));
        }
    }
}
