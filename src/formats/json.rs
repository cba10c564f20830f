//! The JSON that `analyze` prints: the contract with readers of other programs.
//! Times are seconds, centers and basses pitch classes with C = 0.

use super::Analysis;
use crate::plan::{ChordSpan, Region};
use crate::theory::{Glyphs, Notation};
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Serialize)]
struct Root<'a> {
    file: &'a str,
    duration: f64,
    /// Whether all of the file could be read.
    complete: bool,
    faults: Vec<FaultOut>,
    heard: Plan,
    hindsight: Plan,
    chords: Vec<ChordOut>,
    summary: Summary,
}

#[derive(Serialize)]
struct FaultOut {
    offset: u64,
    track: Option<usize>,
    what: String,
}

#[derive(Serialize)]
struct Plan {
    regions: Vec<RegionOut>,
    home: Vec<RegionOut>,
}

#[derive(Serialize)]
struct RegionOut {
    start: f64,
    end: f64,
    since: f64,
    center: usize,
    spelling: String,
    mode: String,
    scored_as: String,
    open: Vec<u8>,
    /// The modes that fit as well while those degrees are open.
    or: Vec<String>,
    probability: f64,
}

#[derive(Serialize)]
struct ChordOut {
    start: f64,
    end: f64,
    label: String,
    /// What else the same notes are called.
    or: Vec<String>,
    harte: String,
    numeral: Option<String>,
    bass: usize,
    pitches: Vec<u8>,
    voicing: super::voicing::VoicingOut,
}

#[derive(Serialize)]
struct Summary {
    /// Changes of center, as heard.
    center_changes: usize,
    /// Changes of mode on one center, as heard.
    mode_changes: usize,
    chord_changes: usize,
    /// Seconds in each tonality, as heard, most first.
    tonalities: Vec<Share>,
    /// Seconds for each chord label, most first.
    chords: Vec<Share>,
    /// Seconds with no established center.
    without_center: f64,
}

#[derive(Serialize)]
struct Share {
    name: String,
    seconds: f64,
}

/// One object, without a line break at its end.
pub fn analysis(a: &Analysis, pretty: bool) -> Result<String, serde_json::Error> {
    let heard = a.study.heard.plan();
    let root = Root {
        file: a.file,
        duration: round(a.study.duration.seconds()),
        complete: a.faults.is_empty(),
        faults: a
            .faults
            .iter()
            .map(|f| FaultOut {
                offset: f.offset,
                track: f.track,
                what: f.what.clone(),
            })
            .collect(),
        heard: Plan {
            regions: regions(a, &heard.regions),
            home: regions(a, &heard.home),
        },
        hindsight: Plan {
            regions: regions(a, &a.study.hindsight.regions),
            home: regions(a, &a.study.hindsight.home),
        },
        chords: a
            .study
            .heard
            .chords()
            .iter()
            .filter(|c| c.end > c.start)
            .map(|c| chord(a, c))
            .collect(),
        summary: summary(a),
    };
    if pretty {
        serde_json::to_string_pretty(&root)
    } else {
        serde_json::to_string(&root)
    }
}

/// Microseconds are finer than anything heard.
fn round(seconds: f64) -> f64 {
    (seconds * 1e6).round() / 1e6
}

fn regions(a: &Analysis, list: &[Region]) -> Vec<RegionOut> {
    let id = |m| a.catalogue.mode(m).id.clone();
    list.iter()
        .filter(|r| r.end > r.start)
        .map(|r| RegionOut {
            start: round(r.start.seconds()),
            end: round(r.end.seconds()),
            since: round(r.since.seconds()),
            center: r.tonality.center.index(),
            spelling: r.tonic.to_string(),
            mode: id(r.tonality.mode),
            scored_as: a.catalogue.mode(r.tonality.mode).scored_as.clone(),
            open: r.open.numbers().collect(),
            or: r.open.others().map(id).collect(),
            probability: (f64::from(r.probability) * 1e4).round() / 1e4,
        })
        .collect()
}

fn chord(a: &Analysis, c: &ChordSpan) -> ChordOut {
    // Harte's syntax is ASCII whatever the screen shows.
    let plain = Notation {
        glyphs: Glyphs::Ascii,
        ..*a.notation
    };
    ChordOut {
        start: round(c.start.seconds()),
        end: round(c.end.seconds()),
        label: a.notation.sonority(c.sonority, c.within, a.catalogue),
        or: super::readings::others(a, c),
        harte: plain.harte(c.sonority, c.within, a.catalogue),
        numeral: a.notation.numeral(c.sonority, c.within, a.catalogue),
        bass: c.sonority.bass().index(),
        pitches: crate::engine::each(c.keys).collect(),
        voicing: super::voicing::of(a, c),
    }
}

fn summary(a: &Analysis) -> Summary {
    let regions = &a.study.heard.plan().regions;
    let mut tonalities: BTreeMap<String, f64> = BTreeMap::new();
    for r in regions {
        let name = a.notation.tonality(r.tonality, r.tonic, a.catalogue);
        *tonalities.entry(name).or_default() += r.end.since(r.start).seconds();
    }
    let mut chords: BTreeMap<String, f64> = BTreeMap::new();
    let spans = a.study.heard.chords();
    for c in spans {
        let name = a.notation.sonority(c.sonority, c.within, a.catalogue);
        *chords.entry(name).or_default() += c.end.since(c.start).seconds();
    }
    let established: f64 = tonalities.values().sum();
    let pairs = || regions.iter().zip(regions.iter().skip(1));
    let moved = |(p, q): &(&Region, &Region)| p.tonality.center != q.tonality.center;
    Summary {
        center_changes: pairs().filter(moved).count(),
        mode_changes: pairs()
            .filter(|pq| !moved(pq) && pq.0.tonality != pq.1.tonality)
            .count(),
        chord_changes: spans.len().saturating_sub(1),
        tonalities: shares(tonalities),
        chords: shares(chords),
        without_center: round((a.study.duration.seconds() - established).max(0.0)),
    }
}

fn shares(map: BTreeMap<String, f64>) -> Vec<Share> {
    let mut list: Vec<Share> = map
        .into_iter()
        .map(|(name, seconds)| Share {
            name,
            seconds: round(seconds),
        })
        .collect();
    list.sort_by(|a, b| b.seconds.total_cmp(&a.seconds).then(a.name.cmp(&b.name)));
    list
}
