//! Without a terminal, or where no screen is wanted: one line for each change, for a pipe,
//! or worded to be read aloud.

mod spoken;

use crate::console;
use crate::engine::{Aside, Change, Established};
use crate::formats::{VoicingOut, Words, voicing_out};
use crate::meter::Click;
use crate::plain;
use crate::plan::Claim;
use crate::screen::Action;
use crate::source::{Link, Source};
use crate::stage::{Chronicle, News, Request, StageError};
use crate::theory::{Around, Catalogue, Chord, Notation, SpelledTonality};
use crate::time::Time;
use clap::ValueEnum;
use serde::Serialize;
use spoken::Voice;
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How lines look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LineFormat {
    Text,
    /// One JSON object a line.
    Json,
}

/// How the lines are to be.
#[derive(Clone, Copy, Debug)]
pub struct Options<'a> {
    pub format: LineFormat,
    /// Text is worded to be read aloud.
    pub spoken: bool,
    pub notation: Notation,
    /// The catalogue that the changes' tonalities belong to.
    pub catalogue: &'a Catalogue,
    /// The actions that the piano sets off, in the order of their triggers: what
    /// [`crate::stage::Stage::job`] counts.
    pub jobs: &'a [&'static str],
}

/// Why no more lines can be written.
#[derive(Debug, thiserror::Error)]
pub enum LinesError {
    /// A part behind the lines has failed for good.
    #[error(transparent)]
    Stage(#[from] StageError),
    #[error("the output cannot be written: {}", plain::reason(.0))]
    Write(#[from] io::Error),
    /// Without them an ordered end cannot be told from being killed.
    #[error("signals cannot be received: {}", plain::reason(.0))]
    Signals(io::Error),
}

#[derive(Serialize)]
struct OutputLine<'a> {
    #[serde(skip)]
    time: Time,
    at: f64,
    what: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    center: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mode: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// The degrees of the mode that have not been heard.
    #[serde(skip_serializing_if = "Option::is_none")]
    open: Option<Vec<u8>>,
    /// The modes that fit as well while those degrees are open.
    #[serde(skip_serializing_if = "Option::is_none")]
    or: Option<Vec<&'a str>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    numeral: Option<String>,
    /// Its notes, intervals, hands and structure.
    #[serde(flatten)]
    voicing: Option<VoicingOut>,
}

impl OutputLine<'_> {
    fn of(time: Time, what: &'static str) -> Self {
        OutputLine {
            time,
            at: time.seconds(),
            what,
            center: None,
            mode: None,
            name: None,
            open: None,
            or: None,
            numeral: None,
            voicing: None,
        }
    }
}

/// A line that is read aloud.
fn spoken(line: &str) -> io::Result<()> {
    writeln!(io::stdout().lock(), "{}", plain::name(line))
}

/// How it ended.
pub struct LinesOutcome {
    /// The last notice about the way in that went to standard error.
    pub told: Option<String>,
    pub end: Result<(), LinesError>,
}

/// Prints what the stage brings until a signal, the end of the file, or a failure. Jobs set
/// off from the piano are done as far as they need no screen.
pub fn follow(stage: &mut dyn Chronicle, options: &Options) -> LinesOutcome {
    let mut printer = Printer {
        options,
        voice: (options.spoken && options.format == LineFormat::Text)
            .then(|| Voice::new(options.notation, options.catalogue)),
        here: None,
        pinned: None,
        said: None,
        before: None,
        around: Around::default(),
        way_in: Source::default(),
        click: (Time::ZERO, None, None),
        waiting: Waiting::default(),
    };
    let end = print(stage, options, &mut printer);
    LinesOutcome {
        told: printer.way_in.notice,
        end,
    }
}

fn print(
    stage: &mut dyn Chronicle,
    options: &Options,
    printer: &mut Printer,
) -> Result<(), LinesError> {
    let stop = stop_flag().map_err(LinesError::Signals)?;
    // How long nothing has come.
    let mut quiet = Duration::ZERO;
    loop {
        let over = stop.load(Ordering::Relaxed) || stage.ended();
        let source = stage.source();
        let click = source.click.map(|(click, _)| click);
        printer.tell_way_in(source);
        let mut result = Ok(());
        stage.changes(&mut |news| {
            if result.is_ok() {
                result = printer.take(news);
            }
        });
        let now = stage.now();
        let result = result.and_then(|()| printer.tell_click(now, click));
        let result =
            result.and_then(|()| printer.settle(now, if over { Duration::MAX } else { quiet }));
        match result.and_then(|()| io::stdout().flush()) {
            // The reader has closed the pipe: a normal end.
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => return Ok(()),
            other => other?,
        }
        if let Some(why) = stage.failed() {
            return Err(why.into());
        }
        if over {
            return Ok(());
        }
        while let Some(job) = stage.job() {
            let action = options
                .jobs
                .get(job.number)
                .and_then(|name| Action::named(name))
                .map(|action| action.at(job.at));
            if action == Some(Action::Quit) {
                return Ok(());
            }
            let reading = stage.reading();
            let Some(request) = action.and_then(|a| a.request(&reading)) else {
                continue;
            };
            stage.act(request);
            if let Request::Inertia(_) | Request::UsualInertia = request {
                let stop = stage.reading().inertia;
                console::report(&format!("inertia {}", stop.name()));
            }
        }
        quiet = match stage.news().recv_timeout(LOOK) {
            Ok(()) => Duration::ZERO,
            Err(_) => quiet + LOOK,
        };
    }
}

/// How long the program may take to end in order after a signal.
#[cfg(unix)]
const GRACE: Duration = Duration::from_secs(5);

/// Set by the first signal. The reader of the pipe may have stopped, so that a write blocks
/// and the flag is not seen: a second signal, or [`GRACE`], ends the program all the same.
fn stop_flag() -> io::Result<Arc<AtomicBool>> {
    let flag = Arc::new(AtomicBool::new(false));
    #[cfg(unix)]
    {
        use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
        use signal_hook::flag::{register, register_conditional_default};
        use signal_hook::{iterator::Signals, low_level::emulate_default_handler};
        let set = [SIGINT, SIGTERM, SIGHUP];
        for signal in set {
            // In this order: the first signal must not find the flag set by itself.
            register_conditional_default(signal, Arc::clone(&flag))?;
            register(signal, Arc::clone(&flag))?;
        }
        let mut signals = Signals::new(set)?;
        std::thread::Builder::new()
            .name("signals".into())
            .spawn(move || {
                if let Some(signal) = signals.forever().next() {
                    std::thread::sleep(GRACE);
                    let _ = emulate_default_handler(signal);
                }
            })?;
    }
    Ok(flag)
}

/// A chord is printed when no key has been struck for this long after it: keys struck together
/// are one line.
const STROKE: Time = Time::millis(50);
/// A tempo that lasts this long is said.
const STAYS: Time = Time::millis(2000);
/// How long news is waited for at a time.
const LOOK: Duration = Duration::from_millis(250);
/// A rest shorter than this, with a chord after it, is no line.
const SHORT_REST: Time = Time::millis(1000);

/// In text, a chord or a rest that has not been printed yet, and the news behind it.
#[derive(Default)]
struct Waiting {
    first: Option<(Time, Change)>,
    behind: Vec<News>,
}

impl Waiting {
    /// Since when it waits, and for how long.
    fn patience(&self) -> Option<(Time, Time)> {
        let (at, change) = self.first.as_ref()?;
        Some(match change {
            Change::Silence => (*at, SHORT_REST),
            _ => (*at, STROKE),
        })
    }

    /// What waits no longer when something happens at `at`.
    fn due(&mut self, at: Time) -> Vec<News> {
        match self.patience() {
            Some((since, long)) if at <= since + long => Vec::new(),
            _ => self.all(),
        }
    }

    /// What waits no longer when nothing has come for so long, while a file is paused too.
    fn overdue(&mut self, quiet: Duration) -> Vec<News> {
        match self.patience() {
            Some((_, long)) if quiet.as_secs_f64() < long.seconds() => Vec::new(),
            _ => self.all(),
        }
    }

    fn all(&mut self) -> Vec<News> {
        let first = self
            .first
            .take()
            .map(|(at, change)| News::Change(at, change));
        first.into_iter().chain(self.behind.drain(..)).collect()
    }

    /// Takes what is new; gives what is to be printed now.
    fn take(&mut self, news: News) -> Vec<News> {
        let News::Change(at, change) = news else {
            let mut out = self.all();
            out.push(news);
            return out;
        };
        let mut out = self.due(at);
        match change {
            Change::Chord { .. } => {
                // The chord that waited was a part of this one, and the rest was short.
                self.first = None;
                out.extend(self.all());
                self.first = Some((at, change));
            }
            Change::Silence => {
                out.extend(self.all());
                self.first = Some((at, change));
            }
            _ if self.first.is_some() => self.behind.push(News::Change(at, change)),
            _ => out.push(News::Change(at, change)),
        }
        out
    }
}

struct Printer<'a> {
    options: &'a Options<'a>,
    /// Instead of what follows, where it is read aloud.
    voice: Option<Voice<'a>>,
    here: Option<SpelledTonality>,
    pinned: Option<SpelledTonality>,
    /// How much of the mode here has been said.
    said: Option<Claim>,
    /// The chord printed last.
    before: Option<Chord>,
    /// What stood around the sounding chord when it was named.
    around: Around,
    /// As it was last reported.
    way_in: Source,
    /// Since when there is this click, and the one that was said.
    click: (Time, Option<Click>, Option<Click>),
    waiting: Waiting,
}

impl Printer<'_> {
    /// What is new about the way in, on standard error.
    fn tell_way_in(&mut self, source: Source) {
        let before = &self.way_in;
        if source.notice.is_some() && source.notice != before.notice {
            console::report(source.notice.as_deref().unwrap_or_default());
        }
        if source.dropped > before.dropped {
            console::report(&format!(
                "{} messages dropped: they came faster than they can be read",
                source.dropped
            ));
        }
        // Without a screen the user must hear that it has begun.
        let met = source.name != before.name && matches!(source.link, Link::Keyboard | Link::File);
        if self.voice.is_some() && met {
            console::report(&match source.link {
                Link::File => format!("playing {}", source.name),
                _ => format!("listening to {}", source.name),
            });
        }
        let going = |source: &Source| Some(source.transport?.going?.to);
        if let Some(to) = going(&source)
            && self.voice.is_some()
            && going(before) != Some(to)
        {
            console::report(&format!("going to {to}"));
        }
        if before.link == Link::File && source.link != Link::File {
            // A keyboard's music begins: nothing carries over from the demo.
            (self.here, self.pinned, self.before) = (None, None, None);
            self.around = Around::default();
            if let Some(voice) = &mut self.voice {
                voice.past(None, None);
            }
        }
        self.way_in = Source {
            // A notice is printed once, even if the way in has dropped it by then.
            notice: source.notice.or(self.way_in.notice.take()),
            ..source
        };
    }

    /// Says another tempo or meter, once it has stayed: while it is tapped it changes from tap to
    /// tap.
    fn tell_click(&mut self, now: Time, click: Option<Click>) -> io::Result<()> {
        let same = |a: Option<Click>, b: Option<Click>| {
            let shown = |c: Click| (c.tempo.to_string(), c.meter);
            a.map(shown) == b.map(shown)
        };
        let (since, latest, said) = &mut self.click;
        if !same(click, *latest) {
            (*since, *latest) = (now, click);
        }
        if same(*latest, *said) || now.since(*since) < STAYS {
            return Ok(());
        }
        *said = *latest;
        let line = match *said {
            Some(click) => format!("tempo {}, meter {}", click.tempo, click.meter),
            None => "no bars any longer".into(),
        };
        match self.voice {
            Some(_) => return spoken(&line.replace('/', " ")),
            None => console::report(&line),
        }
        Ok(())
    }

    fn take(&mut self, news: News) -> io::Result<()> {
        match self.options.format {
            LineFormat::Json => self.pass_on(news),
            LineFormat::Text => {
                let mut due = self.waiting.take(news).into_iter();
                due.try_for_each(|news| self.pass_on(news))
            }
        }
    }

    fn pass_on(&mut self, news: News) -> io::Result<()> {
        match (news, &mut self.voice) {
            (News::Change(at, change), None) => self.print(at, change),
            (News::Change(_, change), Some(voice)) => {
                let lines = voice.say(change);
                lines.iter().try_for_each(|line| spoken(line))
            }
            (News::Past { here, pinned }, None) => {
                (self.here, self.pinned) = (here, pinned);
                Ok(())
            }
            (News::Past { here, pinned }, Some(voice)) => {
                let now = voice.past(here, pinned);
                now.map_or(Ok(()), |line| spoken(&line))
            }
            (News::Marker(marker), None) => self.write(&OutputLine {
                name: Some(marker.name),
                ..OutputLine::of(marker.at, "marker")
            }),
            (News::Marker(marker), Some(_)) => spoken(&format!("marker {}", marker.name)),
        }
    }

    /// Prints what need not wait any longer, now that nothing has come for `quiet`.
    fn settle(&mut self, now: Time, quiet: Duration) -> io::Result<()> {
        let mut due = self.waiting.due(now);
        due.extend(self.waiting.overdue(quiet));
        due.into_iter().try_for_each(|news| self.pass_on(news))?;
        if self.waiting.first.is_some() {
            return Ok(());
        }
        let waits = self.voice.as_mut().and_then(Voice::settle);
        waits.map_or(Ok(()), |line| spoken(&line))
    }

    fn print(&mut self, at: Time, change: Change) -> io::Result<()> {
        let Options {
            notation,
            catalogue,
            ..
        } = *self.options;
        let within = self.pinned.or(self.here);
        let tonality = |what, e: Established| OutputLine {
            center: Some(e.spelled.tonality.center.index()),
            mode: Some(&catalogue.mode(e.spelled.tonality.mode).id),
            name: Some(match e.open.claim() {
                Claim::Decided => notation.tonality(e.spelled, catalogue),
                Claim::Guess => format!("{}?", notation.tonality(e.spelled, catalogue)),
                Claim::Undecided => notation.center(e.spelled, catalogue),
            }),
            open: Some(e.open.numbers().collect()),
            or: Some(e.open.others().map(|m| &*catalogue.mode(m).id).collect()),
            ..OutputLine::of(at, what)
        };
        let plain = |what| OutputLine::of(at, what);
        let line = match change {
            Change::Here(e) => {
                self.here = Some(e.spelled);
                tonality("here", e)
            }
            Change::Home(e) => tonality("home", e),
            // What was open has been heard, of the same tonality.
            Change::Refined(e)
                if self.said.is_some_and(|said| said != e.open.claim())
                    || self.here.is_some_and(|here| here != e.spelled) =>
            {
                self.here = Some(e.spelled);
                tonality("known", e)
            }
            Change::NoCenter => {
                self.here = None;
                plain("no center")
            }
            Change::Pinned(pinned) => {
                self.pinned = pinned;
                OutputLine {
                    center: pinned.map(|t| t.tonality.center.index()),
                    mode: pinned.map(|t| &*catalogue.mode(t.tonality.mode).id),
                    name: pinned.map(|t| notation.tonality(t, catalogue)),
                    ..plain(pinned.map_or("unpinned", |_| "pinned"))
                }
            }
            Change::HomeIs(note) => OutputLine {
                center: note.map(|note| note.pitch_class().index()),
                name: note.map(|note| notation.name(note)),
                ..plain(note.map_or("unstated", |_| "home is"))
            },
            Change::Aside(Aside::Begins) => plain("aside"),
            Change::Aside(Aside::Ends) => {
                self.here = None;
                plain("aside ends")
            }
            Change::Chord { sonority, .. } => {
                let around = Around::from((self.before, None));
                self.around = around;
                self.before = sonority.chord().or(self.before);
                OutputLine {
                    name: Some(notation.sonority(sonority, (within, around), catalogue)),
                    numeral: notation.numeral(sonority, (within, around), catalogue),
                    ..plain("chord")
                }
            }
            Change::Polymodal(polymodal) => OutputLine {
                name: polymodal.map(|a| {
                    let mode = |t| notation.mode(t, catalogue);
                    format!("top line {}, the rest {}", mode(a.top), mode(a.rest))
                }),
                ..plain(polymodal.map_or("together", |_| "apart"))
            },
            Change::Silence => {
                self.before = None;
                self.around = Around::default();
                plain("silence")
            }
            // In text the chord's own line is enough.
            Change::VoicedChord(voiced) if self.options.format == LineFormat::Json => {
                let words = Words {
                    catalogue,
                    notation: &notation,
                };
                let (s, around) = (voiced.sonority, self.around);
                OutputLine {
                    name: Some(notation.sonority(s, (within, around), catalogue)),
                    voicing: Some(voicing_out(&voiced.voicing(), s, within, around, words)),
                    ..plain("voicing")
                }
            }
            Change::VoicedChord(_) | Change::Refined(_) | Change::Harmony(_) | Change::Rest => {
                return Ok(());
            }
        };
        match change {
            Change::Here(e) | Change::Refined(e) => self.said = Some(e.open.claim()),
            Change::NoCenter | Change::Aside(_) => self.said = None,
            _ => {}
        }
        self.write(&line)
    }

    fn write(&self, line: &OutputLine) -> io::Result<()> {
        let mut out = io::stdout().lock();
        match self.options.format {
            LineFormat::Json => {
                serde_json::to_writer(&mut out, line)?;
                writeln!(out)
            }
            LineFormat::Text => {
                let name = line.name.as_deref().unwrap_or_default();
                let numeral = line.numeral.as_deref().unwrap_or_default();
                let at = line.time.to_string();
                let text = format!("{at:>8}  {:<9}  {name:<14} {numeral}", line.what);
                writeln!(out, "{}", plain::name(text.trim_end()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::{KeySet, PitchClass, Sonority};

    fn chord(ms: u64, note: i32) -> News {
        let sonority = Sonority::Note(PitchClass::new(note));
        News::Change(
            Time::millis(ms),
            Change::Chord {
                sonority,
                keys: KeySet::of(0),
            },
        )
    }

    fn silence(ms: u64) -> News {
        News::Change(Time::millis(ms), Change::Silence)
    }

    /// The moments of what is printed, in order, once all has come.
    fn printed(news: Vec<News>) -> Vec<String> {
        let mut waiting = Waiting::default();
        let mut out: Vec<News> = news.into_iter().flat_map(|n| waiting.take(n)).collect();
        out.extend(waiting.all());
        let said = out.iter().map(|news| match news {
            News::Change(at, Change::Chord { .. }) => format!("chord {}", at.seconds()),
            News::Change(at, Change::Silence) => format!("silence {}", at.seconds()),
            News::Change(at, _) => format!("other {}", at.seconds()),
            _ => "past".into(),
        });
        said.collect()
    }

    #[test]
    fn a_stroke_is_one_line() {
        let keys = vec![chord(0, 0), chord(20, 4), chord(60, 7), chord(400, 2)];
        assert_eq!(printed(keys), ["chord 0.06", "chord 0.4"]);
    }

    #[test]
    fn a_short_rest_is_none() {
        let short = vec![chord(0, 0), silence(500), chord(1400, 2)];
        assert_eq!(printed(short), ["chord 0", "chord 1.4"]);
        let long = vec![chord(0, 0), silence(500), chord(1600, 2)];
        assert_eq!(printed(long), ["chord 0", "silence 0.5", "chord 1.6"]);
    }

    #[test]
    fn where_nothing_comes_a_chord_is_printed_before_a_rest() {
        let mut waiting = Waiting::default();
        let quarter = Duration::from_millis(250);
        waiting.take(chord(0, 0));
        assert_eq!(waiting.overdue(Duration::ZERO).len(), 0);
        assert_eq!(waiting.overdue(quarter).len(), 1);
        waiting.take(silence(500));
        assert_eq!(waiting.overdue(quarter).len(), 0);
        assert_eq!(waiting.overdue(4 * quarter).len(), 1);
    }

    #[test]
    fn what_comes_behind_a_chord_stays_behind_it() {
        let rest = News::Change(Time::millis(30), Change::Rest);
        let news = vec![chord(0, 0), rest.clone(), chord(40, 4), chord(300, 5)];
        assert_eq!(printed(news), ["other 0.03", "chord 0.04", "chord 0.3"]);
        let past = News::Past {
            here: None,
            pinned: None,
        };
        assert_eq!(
            printed(vec![chord(0, 0), rest, past]),
            ["chord 0", "other 0.03", "past"]
        );
    }
}
