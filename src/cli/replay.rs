//! `replay FILE`: a file through the very same engine, at its own pace.

use super::failure::Failure;
use super::own::Own;
use super::quit::QuitKey;
use super::{engine, file, monitor};
use crate::console::{self, ProgressLine};
use crate::live::{Order, SHORTEST_REPEAT, SPEEDS, SystemClock, play};
use crate::plain;
use crate::source::Repeat;
use crate::time::Time;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

#[derive(clap::Args)]
pub struct Args {
    /// A MIDI file, or a sitting: last, last-2, its id or name.
    file: PathBuf,
    /// How fast, 0.25 to 4 times the file's own pace.
    #[arg(long, default_value_t = 1.0, value_name = "TIMES")]
    speed: f32,
    /// Where to begin: 0:45, or in seconds.
    #[arg(
        long,
        default_value = "0:00",
        value_name = "TIME",
        allow_negative_numbers = true
    )]
    from: String,
    /// Repeat what lies between two moments: 0:12.5-0:20, or in seconds.
    #[arg(long, value_name = "FROM-TO")]
    repeat: Option<String>,
    #[command(flatten)]
    monitor: monitor::Args,
    #[command(flatten)]
    much: file::Much,
}

pub fn run(args: Args, own: &Own) -> Result<ExitCode, Failure> {
    let usage = |what: String| Err(Failure::Usage(what));
    let (slowest, fastest) = SPEEDS;
    if !(slowest..=fastest).contains(&args.speed) {
        return usage(format!(
            "--speed {}: it must lie between {slowest} and {fastest}",
            args.speed
        ));
    }
    let from: Time = match args.from.parse() {
        Ok(from) => from,
        Err(e) => return usage(format!("--from {}: {e}", plain::name(&args.from))),
    };
    let repeat = match &args.repeat {
        Some(text) => match span(text) {
            Ok(repeat) => Some(repeat),
            Err(e) => return usage(format!("--repeat {}: {e}", plain::name(text))),
        },
        None => None,
    };
    let file = plain::path(&args.file);
    let path = file::meant(&args.file, &own.settings)
        .map_err(|e| Failure::Failed(format!("{file}: {e}")))?;
    let file = plain::path(&path);
    let settings = args.monitor.taken(own.settings.clone(), own);
    let draws = monitor::draws(&settings);
    // Without a screen no key is ever heeded.
    let quit = draws.then(QuitKey::heed);
    let mut line = ProgressLine::with_hint(quit.as_ref().map_or("", QuitKey::hint));
    let mut tell = |share: f32| {
        let percent = (100.0 * share) as u32;
        line.tell(share.into(), &format!("reading {file}: {percent} %"));
        ControlFlow::Continue(())
    };
    let limits = args.much.limits();
    let mut recording = file::read(&path, &own.settings.catalogue, &limits, &mut tell)
        .map_err(|e| Failure::Failed(format!("{file}: {e}")))?;
    line.clear();
    let end = recording.end;
    let length = || format!("{file} is {:.1} seconds long", end.seconds());
    if from > end {
        return usage(format!(
            "--from {}: this lies past the end, {}",
            args.from,
            length()
        ));
    }
    if let Some((_, to)) = repeat
        && to > end
    {
        return usage(format!(
            "--repeat {}: this lies past the end, {}",
            args.repeat.as_deref().unwrap_or_default(),
            length()
        ));
    }
    if args.monitor.inertia.is_some() {
        recording.drop_inertia();
    }
    let monitor = engine::monitor(&settings);
    let idle = monitor.reading();
    let name = path
        .file_name()
        .map_or(file.clone(), |n| n.to_string_lossy().into_owned());
    let damaged = recording.faults.sentence();
    let player = play(
        &name,
        recording.events().collect(),
        recording.end,
        monitor,
        Arc::new(SystemClock::start()),
        Order::Pause,
    )
    .with_keyboards(recording.keyboards.clone());
    player.order(Order::Speed(args.speed));
    if from > Time::ZERO {
        player.order(Order::Seek(from));
    }
    if let Some((from, to)) = repeat {
        player.order(Order::Repeat(Repeat::Between(from, to)));
    }
    // Nothing before that is played.
    player.order(Order::Resume);
    let markers = std::mem::take(&mut recording.markers);
    let tell = || {
        for fault in recording.faults.lines() {
            console::report(&format!("{file}: {fault}"));
        }
    };
    // Where there is a screen, when that is gone.
    if !draws {
        tell();
    }
    let performer = monitor::performer(idle, args.monitor.usual(own))
        .with_file(player, damaged)
        .with_markers(markers);
    // The screen has keys of its own.
    drop(quit);
    let outcome = monitor::show(performer, &settings, own, args.monitor.format)?;
    if draws {
        tell();
    }
    Ok(match recording.faults.is_empty() {
        false if outcome == ExitCode::SUCCESS => ExitCode::FAILURE,
        _ => outcome,
    })
}

/// Why a text names no span of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
enum SpanError {
    #[error("write two moments, such as 0:12.5-0:20, or 12.5-20 in seconds")]
    NotTwoMoments,
    #[error("the second moment must be at least {} seconds later than the first", SHORTEST_REPEAT.seconds())]
    TooShort,
}

/// Reads a span, such as `0:12.5-0:20` or `12.5-20`.
fn span(text: &str) -> Result<(Time, Time), SpanError> {
    let bad = SpanError::NotTwoMoments;
    let (a, b) = text.split_once('-').ok_or(bad)?;
    let moment = |s: &str| s.parse::<Time>().map_err(|_| bad);
    let (a, b) = (moment(a)?, moment(b)?);
    match b.since(a) >= SHORTEST_REPEAT {
        true => Ok((a, b)),
        false => Err(SpanError::TooShort),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_is_read_in_minutes_or_in_seconds() {
        let wanted = Ok((Time::from_seconds(12.5), Time::from_seconds(80.0)));
        for text in ["0:12.5-1:20", "12.5-80", " 12.5 - 1:20 "] {
            assert_eq!(span(text), wanted, "{text}");
        }
        for text in ["", "20", "12.5-", "0:75-2:00", "start-end", "1e3-2e3"] {
            assert_eq!(span(text), Err(SpanError::NotTwoMoments), "{text}");
        }
        assert_eq!(span("1:20-0:12"), Err(SpanError::TooShort));
    }
}
