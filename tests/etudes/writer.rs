//! The bytes of the two files: what was played, and what was meant.

use std::fmt::Write;

use midly::num::{u4, u7, u15, u24, u28};
use midly::{
    Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent, TrackEventKind,
};

use super::player::{Performance, Region};
use super::score::{Hand, Piece};

const DAMPER: u8 = 64;
/// Microseconds a quarter: 120 to the minute, so that 25,000 ticks are 0.5 s.
const TEMPO: u32 = 500_000;
const DIVISION: u16 = 25_000;

/// A Standard MIDI File, type 1: a track of title and tempo, and one a hand.
/// The pedal is in the left hand's.
pub fn midi(piece: &Piece, played: &Performance) -> Result<Vec<u8>, String> {
    let mut smf = Smf::new(Header::new(
        Format::Parallel,
        Timing::Metrical(u15::new(DIVISION)),
    ));
    let meta = |message| TrackEvent {
        delta: u28::new(0),
        kind: TrackEventKind::Meta(message),
    };
    let mut conductor = vec![
        meta(MetaMessage::TrackName(piece.title.as_bytes())),
        meta(MetaMessage::Tempo(u24::new(TEMPO))),
    ];
    close(&mut conductor, 0, played.end);
    smf.tracks.push(conductor);
    for (hand, name) in [(Hand::Right, "right hand"), (Hand::Left, "left hand")] {
        // At one moment: keys up, then the pedal, then keys down.
        let mut events: Vec<(u64, u8, MidiMessage)> = Vec::new();
        for s in played.strokes.iter().filter(|s| s.hand == hand) {
            let key = u7::new(s.key);
            let (up, down) = (u7::new(64), u7::new(s.velocity));
            events.push((s.off, 0, MidiMessage::NoteOff { key, vel: up }));
            events.push((s.on, 2, MidiMessage::NoteOn { key, vel: down }));
        }
        if hand == Hand::Left {
            for &(at, value) in &played.pedal {
                let (controller, value) = (u7::new(DAMPER), u7::new(value));
                events.push((at, 1, MidiMessage::Controller { controller, value }));
            }
        }
        events.sort_by_key(|e| (e.0, e.1));
        let mut track = vec![meta(MetaMessage::TrackName(name.as_bytes()))];
        let mut now = 0;
        for (at, _, message) in events {
            track.push(TrackEvent {
                delta: delta(now, at),
                kind: TrackEventKind::Midi {
                    channel: u4::new(0),
                    message,
                },
            });
            now = at;
        }
        close(&mut track, now, played.end);
        smf.tracks.push(track);
    }
    let mut bytes = Vec::new();
    smf.write_std(&mut bytes).map_err(|e| e.to_string())?;
    Ok(bytes)
}

fn close(track: &mut Track<'_>, now: u64, end: u64) {
    track.push(TrackEvent {
        delta: delta(now, end),
        kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
    });
}

/// An étude lasts a minute or so: a difference fits easily.
fn delta(from: u64, to: u64) -> u28 {
    u28::new((to - from) as u32)
}

/// The intended plan.
pub fn plan(piece: &Piece, played: &Performance) -> String {
    let mut text = String::new();
    let mut put = |line: std::fmt::Arguments<'_>| {
        // Writing to a String cannot fail.
        let _ = text.write_fmt(line);
    };
    put(format_args!(
        "# The plan that the composer had in mind, written from the score as it was played.\n\
         # Times in seconds. A region begins with its first note; what is passing lies inside\n\
         # a region and does not become one.\n\n\
         title = \"{}\"\nabout = \"{}\"\nduration = {}\n\n[home]\n",
        piece.title,
        piece.about,
        seconds(played.end)
    ));
    let tonality = |t: super::score::Tonality| {
        format!(
            "center = {}\nspelling = \"{}\"\nmode = \"{}\"\n",
            t.center().unwrap_or(0),
            t.spelling(),
            t.1
        )
    };
    put(format_args!("{}", tonality(piece.home)));
    let mut table = |name: &str, region: &Region| {
        put(format_args!(
            "\n[[{name}]]\nstart = {}\nend = {}\n{}",
            seconds(region.start),
            seconds(region.end),
            tonality(region.tonality)
        ));
    };
    for region in &played.regions {
        table("region", region);
    }
    for region in &played.passing {
        table("passing", region);
    }
    text
}

/// Exact: a tick is two hundred-thousandths of a second.
fn seconds(ticks: u64) -> String {
    format!("{}.{:05}", ticks / 50_000, ticks % 50_000 * 2)
}
