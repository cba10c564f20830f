//! Without a terminal: one line for each change.

use super::Failure;
use crate::engine::{Change, Established};
use crate::formats::{VoicingOut, Words, voicing_out};
use crate::live::{Feed, News};
use crate::settings::Settings;
use crate::theory::{Around, Chord, Spelling, Tonality};
use crate::time::Time;
use clap::ValueEnum;
use serde::Serialize;
use std::io::{self, Write};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How lines look.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    /// One JSON object a line.
    Json,
}

#[derive(Serialize)]
struct Line<'a> {
    at: f64,
    what: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    center: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mode: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    numeral: Option<String>,
    /// Its notes, intervals, hands and structure.
    #[serde(flatten)]
    voicing: Option<VoicingOut>,
}

/// Prints what `feed` brings until a signal, the end of the file, or a failure.
pub fn follow(
    feed: &mut Feed,
    ended: impl Fn() -> bool,
    settings: &Settings,
    format: Format,
) -> Result<ExitCode, Failure> {
    let stop = stop_flag()?;
    let mut printer = Printer {
        settings,
        format,
        here: None,
        pinned: None,
        before: None,
        around: Around::default(),
        said: None,
        dropped: 0,
    };
    loop {
        let over = stop.load(Ordering::Relaxed) || ended();
        let status = feed.status();
        if status.notice.is_some() && status.notice != printer.said {
            say(status.notice.as_deref().unwrap_or_default());
            printer.said = status.notice;
        }
        if status.dropped > printer.dropped {
            printer.dropped = status.dropped;
            say(&format!(
                "{} messages dropped: they came faster than they can be read",
                status.dropped
            ));
        }
        let mut result = Ok(());
        feed.changes(|news| match news {
            News::Change(at, change) if result.is_ok() => result = printer.print(at, change),
            News::Change(..) => {}
            News::Past { here, pinned } => (printer.here, printer.pinned) = (here, pinned),
        });
        match result.and_then(|()| io::stdout().flush()) {
            // Whoever read has enough.
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => return Ok(ExitCode::SUCCESS),
            other => other?,
        }
        if let Some(why) = status.failed {
            return Err(why.into());
        }
        if over {
            return Ok(ExitCode::SUCCESS);
        }
        let _ = feed.news().recv_timeout(Duration::from_millis(250));
    }
}

/// Standard error may be gone; that is no reason to stop.
fn say(what: &str) {
    let _ = writeln!(io::stderr(), "peregrinus: {what}");
}

/// How long the program may take to end in order after a signal.
#[cfg(unix)]
const GRACE: Duration = Duration::from_secs(5);

/// Set by the first signal. Whoever reads us may have stopped, so that we wait in a write
/// and do not see it: a second signal, or [`GRACE`], ends the program all the same.
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

struct Printer<'a> {
    settings: &'a Settings,
    format: Format,
    here: Option<(Tonality, Spelling)>,
    pinned: Option<(Tonality, Spelling)>,
    /// The chord printed last.
    before: Option<Chord>,
    /// What stood around the sounding chord when it was named.
    around: Around,
    said: Option<String>,
    dropped: u64,
}

impl Printer<'_> {
    fn print(&mut self, at: Time, change: Change) -> io::Result<()> {
        let notation = self.settings.notation;
        let catalogue = &self.settings.catalogue;
        let within = self.pinned.or(self.here);
        let tonality = |what, e: Established| Line {
            at: at.seconds(),
            what,
            center: Some(e.tonality.center.index()),
            mode: Some(&catalogue.mode(e.tonality.mode).id),
            name: Some(notation.tonality(e.tonality, e.tonic, catalogue)),
            numeral: None,
            voicing: None,
        };
        let plain = |what| Line {
            at: at.seconds(),
            what,
            center: None,
            mode: None,
            name: None,
            numeral: None,
            voicing: None,
        };
        let line = match change {
            Change::Here(e) => {
                self.here = Some((e.tonality, e.tonic));
                tonality("here", e)
            }
            Change::Home(e) => tonality("home", e),
            Change::NoCenter => {
                self.here = None;
                plain("no center")
            }
            Change::Pinned(pinned) => {
                self.pinned = pinned;
                Line {
                    center: pinned.map(|(t, _)| t.center.index()),
                    mode: pinned.map(|(t, _)| &*catalogue.mode(t.mode).id),
                    name: pinned.map(|(t, tonic)| notation.tonality(t, tonic, catalogue)),
                    ..plain(pinned.map_or("unpinned", |_| "pinned"))
                }
            }
            Change::HomeIs(note) => Line {
                center: note.map(|note| note.pitch_class().index()),
                name: note.map(|note| notation.name(note)),
                ..plain(note.map_or("unstated", |_| "home is"))
            },
            Change::Aside(true) => plain("aside"),
            Change::Aside(false) => {
                self.here = None;
                plain("aside ends")
            }
            Change::Chord { sonority, .. } => {
                let around = Around::from((self.before, None));
                self.around = around;
                self.before = sonority.chord().or(self.before);
                Line {
                    name: Some(notation.sonority_between(sonority, within, around, catalogue)),
                    numeral: notation.numeral_between(sonority, within, around, catalogue),
                    ..plain("chord")
                }
            }
            Change::Apart(apart) => Line {
                name: apart.map(|a| {
                    let mode = |t| notation.mode(t, catalogue);
                    format!("top line {}, the rest {}", mode(a.top), mode(a.rest))
                }),
                ..plain(apart.map_or("together", |_| "apart"))
            },
            Change::Silence => {
                self.before = None;
                self.around = Around::default();
                plain("silence")
            }
            // In text the chord's own line is enough.
            Change::Voiced(voiced) if self.format == Format::Json => {
                let words = Words {
                    catalogue,
                    notation: &notation,
                };
                let (s, around) = (voiced.sonority, self.around);
                Line {
                    name: Some(notation.sonority_between(s, within, around, catalogue)),
                    voicing: Some(voicing_out(&voiced.voicing(), s, within, around, words)),
                    ..plain("voicing")
                }
            }
            Change::Voiced(_) | Change::Refined(_) | Change::Rest => return Ok(()),
        };
        let mut out = io::stdout().lock();
        match self.format {
            Format::Json => {
                serde_json::to_writer(&mut out, &line)?;
                writeln!(out)
            }
            Format::Text => {
                let name = line.name.unwrap_or_default();
                let numeral = line.numeral.unwrap_or_default();
                let text = format!(
                    "{:>8}  {:<9}  {name:<14} {numeral}",
                    at.to_string(),
                    line.what
                );
                writeln!(out, "{}", text.trim_end())
            }
        }
    }
}
