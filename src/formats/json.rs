//! The JSON that `analyze` prints: the contract with readers of other programs.
//! Times are seconds, centers and basses pitch classes with C = 0.

use super::Analysis;
use super::change::{Harmony, Known, around, common_chord, label, notes_altered, numeral};
use crate::plan::{ChordSpan, HarmonySpan, Marker, Region};
use crate::study::{self, ByPlan};
use crate::theory::{Around, Notation};
use crate::time::Time;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;

#[derive(Serialize)]
struct Root<'a> {
    file: &'a str,
    duration: f64,
    /// Whether all of the file could be read.
    complete: bool,
    faults: Vec<FaultOut>,
    /// How many there are beside those listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    more_faults: Option<usize>,
    /// Left out of plans, chords and summary.
    asides: Vec<StretchOut>,
    markers: Vec<MarkerOut>,
    /// The plan that chords, harmonies and summary are read by, where one is chosen: as heard
    /// otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    plan: Option<&'static str>,
    heard: Plan<'a>,
    hindsight: Plan<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    corrected: Option<Plan<'a>>,
    chords: Listed<'a, ChordOut>,
    harmonies: Listed<'a, HarmonyOut>,
    summary: Summary,
}

#[derive(Serialize)]
struct FaultOut {
    offset: u64,
    track: Option<usize>,
    what: String,
}

#[derive(Serialize)]
struct StretchOut {
    start: f64,
    end: f64,
}

#[derive(Serialize)]
struct MarkerOut {
    at: f64,
    about: Option<StretchOut>,
    name: String,
}

#[derive(Serialize)]
struct Plan<'a> {
    regions: Vec<RegionOut>,
    home: Vec<RegionOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    chords: Option<Listed<'a, ChordOut>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    harmonies: Option<Listed<'a, HarmonyOut>>,
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
    /// The chord common to this tonality and the one before, where the center changed
    /// and there is one.
    pivot: Option<PivotOut>,
    /// The notes that differ from the tonality before: `F→F♯`.
    altered: Vec<String>,
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    said: Option<SaidOut>,
}

/// What a listener has said of a region: a word, and who changed it and when.
#[derive(Serialize)]
struct SaidOut {
    word: Option<String>,
    who: Option<String>,
    when: Option<String>,
}

#[derive(Serialize)]
struct PivotOut {
    chord: String,
    /// Its numeral in the tonality before.
    from: String,
    /// Its numeral here.
    to: String,
    at: f64,
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
    /// Spelled, from the bass upwards.
    notes: Vec<String>,
    pitches: Vec<u8>,
    voicing: super::voicing::VoicingOut,
}

/// A harmony at its own pace.
#[derive(Serialize)]
struct HarmonyOut {
    start: f64,
    end: f64,
    /// Where it begins, where there are bars.
    #[serde(skip_serializing_if = "Option::is_none")]
    bar: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    beat: Option<f64>,
    label: String,
    harte: String,
    numeral: Option<String>,
    bass: usize,
    /// Spelled, from the bass upwards.
    notes: Vec<String>,
    /// A voice that moved by step through it.
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<Vec<String>>,
}

#[derive(Serialize)]
struct Summary {
    /// Changes of center: as heard, or by the plan that is chosen, as all of this.
    center_changes: usize,
    /// Changes of mode on one center.
    mode_changes: usize,
    chord_changes: usize,
    /// Seconds in each tonality, most first.
    tonalities: Vec<Share>,
    /// Seconds for each chord label, most first.
    chords: Vec<Share>,
    /// Seconds with no established center, asides not counted.
    without_center: f64,
}

#[derive(Serialize)]
struct Share {
    name: String,
    seconds: f64,
}

/// A list whose items are made one at a time while they are written: the chords of many hours
/// take no room of their own.
struct Listed<'a, T> {
    make: Box<dyn Fn() -> Items<'a, T> + 'a>,
}

type Items<'a, T> = Box<dyn Iterator<Item = T> + 'a>;

impl<'a, T> Listed<'a, T> {
    fn new<I: Iterator<Item = T> + 'a>(make: impl Fn() -> I + 'a) -> Listed<'a, T> {
        Listed {
            make: Box::new(move || Box::new(make())),
        }
    }
}

impl<T: Serialize> Serialize for Listed<'_, T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq((self.make)())
    }
}

/// How an object is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JsonLayout {
    /// Over lines, indented.
    Indented,
    /// In one line.
    OneLine,
}

/// What stands beside the plans.
struct Shown<'a> {
    regions: &'a [Region],
    chords: &'a [ChordSpan],
    harmonies: &'a [HarmonySpan],
    known: Known,
}

impl<'a> Shown<'a> {
    fn of(a: &Analysis<'a>) -> Shown<'a> {
        let heard = &a.study.heard;
        match a.by {
            None => Shown {
                regions: &heard.plan().regions,
                chords: heard.chords(),
                harmonies: heard.harmonies(),
                known: Known::AsHeard,
            },
            Some(by) => Shown {
                regions: &by.plan.regions,
                chords: &by.chords,
                harmonies: &by.harmonies,
                known: by.which.into(),
            },
        }
    }
}

/// One object, without a line break at its end.
pub fn analysis(a: &Analysis, layout: JsonLayout) -> Result<String, serde_json::Error> {
    let heard = a.study.heard.plan();
    let shown = Shown::of(a);
    let corrected = a.by.filter(|by| by.which == study::Plan::Corrected);
    let root = Root {
        file: a.file,
        duration: round(a.study.duration.seconds()),
        complete: a.faults.is_empty(),
        faults: a
            .faults
            .first()
            .iter()
            .map(|f| FaultOut {
                offset: f.offset,
                track: f.track,
                what: f.kind.to_string(),
            })
            .collect(),
        more_faults: Some(a.faults.more()).filter(|&more| more > 0),
        asides: a.study.heard.asides().map(stretch).collect(),
        markers: markers(a),
        heard: Plan {
            regions: regions(a, &heard.regions),
            home: regions(a, &heard.home),
            chords: None,
            harmonies: None,
        },
        hindsight: Plan {
            regions: regions(a, &a.study.hindsight.regions),
            home: regions(a, &a.study.hindsight.home),
            chords: Some(chords(a, &a.study.chords, Known::InHindsight)),
            harmonies: Some(harmonies(a, &a.study.harmonies, Known::InHindsight)),
        },
        plan: a.by.map(|by| by.which.name()),
        corrected: corrected.map(|by| Plan {
            regions: with_what_was_said(by, regions(a, &by.plan.regions)),
            home: regions(a, &by.plan.home),
            chords: Some(chords(a, &by.chords, Known::InHindsight)),
            harmonies: Some(harmonies(a, &by.harmonies, Known::InHindsight)),
        }),
        chords: chords(a, shown.chords, shown.known),
        harmonies: harmonies(a, shown.harmonies, shown.known),
        summary: summary(a, &shown),
    };
    if layout == JsonLayout::Indented {
        serde_json::to_string_pretty(&root)
    } else {
        serde_json::to_string(&root)
    }
}

fn stretch((start, end): (Time, Time)) -> StretchOut {
    StretchOut {
        start: round(start.seconds()),
        end: round(end.seconds()),
    }
}

fn markers(a: &Analysis) -> Vec<MarkerOut> {
    let marker = |m: &Marker| MarkerOut {
        at: round(m.at.seconds()),
        about: m.about.map(stretch),
        name: m.name.clone(),
    };
    a.study.markers.iter().map(marker).collect()
}

/// Microseconds are finer than anything heard.
fn round(seconds: f64) -> f64 {
    (seconds * 1e6).round() / 1e6
}

fn regions(a: &Analysis, list: &[Region]) -> Vec<RegionOut> {
    let id = |m| a.catalogue.mode(m).id.clone();
    let list: Vec<&Region> = list.iter().filter(|r| r.end > r.start).collect();
    let before = std::iter::once(None).chain(list.iter().map(|&r| Some(r)));
    list.iter()
        .zip(before)
        .map(|(r, before)| RegionOut {
            start: round(r.start.seconds()),
            end: round(r.end.seconds()),
            since: round(r.since.seconds()),
            center: r.spelled.tonality.center.index(),
            spelling: r.spelled.tonic.to_string(),
            mode: id(r.spelled.tonality.mode),
            scored_as: a.catalogue.mode(r.spelled.tonality.mode).scored_as.clone(),
            open: r.open.numbers().collect(),
            or: r.open.others().map(id).collect(),
            probability: (f64::from(r.probability) * 1e4).round() / 1e4,
            pivot: before
                .and_then(|b| common_chord(a, b, r))
                .map(|(at, p)| PivotOut {
                    chord: a.notation.chord(p.chord, p.from.root()),
                    from: p.from.text(a.notation),
                    to: p.to.text(a.notation),
                    at: round(at.seconds()),
                }),
            altered: before.map_or(Vec::new(), |b| notes_altered(a, b, r)),
            said: None,
        })
        .collect()
}

/// The regions of a corrected plan, with what its listener has said of each.
fn with_what_was_said(by: &ByPlan, mut out: Vec<RegionOut>) -> Vec<RegionOut> {
    let regions = by.plan.regions.iter().filter(|r| r.end > r.start);
    for (out, r) in out.iter_mut().zip(regions) {
        let said = by.said(r);
        let signed = said.and_then(|said| said.by.as_ref());
        out.said = Some(SaidOut {
            word: said.and_then(|said| said.word.clone()),
            who: signed.map(|by| by.who.clone()),
            when: signed.map(|by| by.when.clone()),
        });
    }
    out
}

/// Chords in time with their numerals: by what came before, and in hindsight by what
/// comes after as well.
fn chords<'a>(a: &'a Analysis<'a>, spans: &'a [ChordSpan], known: Known) -> Listed<'a, ChordOut> {
    Listed::new(move || {
        let heard = spans.iter().enumerate().filter(|(_, c)| c.end > c.start);
        heard.map(move |(i, c)| chord(a, c, around(spans, i, known)))
    })
}

fn chord(a: &Analysis, c: &ChordSpan, around: Around) -> ChordOut {
    let (within, catalogue) = (c.within, a.catalogue);
    let harte = match c.sonority.chord() {
        // The root as the numeral has it.
        Some(chord) => chord.harte(Notation::PLAIN.root(chord, (within, around), catalogue)),
        None => a.notation.harte(c.sonority, within, catalogue),
    };
    let notes = a
        .notation
        .notes(c.sonority, (c.within, around), a.catalogue);
    ChordOut {
        start: round(c.start.seconds()),
        end: round(c.end.seconds()),
        label: label(a, c, around),
        or: super::readings::others(a, c),
        harte,
        numeral: numeral(a, c, around).map(|n| n.text(a.notation)),
        bass: c.sonority.bass().index(),
        notes: notes.iter().map(|&n| a.notation.name(n)).collect(),
        pitches: c.keys.iter().collect(),
        voicing: super::voicing::of(a, c, around),
    }
}

fn harmonies<'a>(
    a: &'a Analysis<'a>,
    list: &'a [HarmonySpan],
    known: Known,
) -> Listed<'a, HarmonyOut> {
    let out = move |h: Harmony| {
        let chord = chord(a, &h.span, h.around);
        let bars = a
            .study
            .bars
            .as_ref()
            .filter(|_| known == Known::InHindsight);
        let place = bars.and_then(|bars| bars.place(h.span.start));
        HarmonyOut {
            start: chord.start,
            end: chord.end,
            bar: place.map(|p| p.bar),
            beat: place.map(|p| p.beat),
            label: chord.label,
            harte: chord.harte,
            numeral: chord.numeral,
            bass: chord.bass,
            notes: chord.notes,
            line: h.line,
        }
    };
    Listed::new(move || {
        super::change::harmonies(a, list, known)
            .into_iter()
            .map(out)
    })
}

fn summary(a: &Analysis, shown: &Shown) -> Summary {
    let regions = shown.regions;
    let mut tonalities: BTreeMap<String, f64> = BTreeMap::new();
    for r in regions {
        let name = a.notation.tonality(r.spelled, a.catalogue);
        *tonalities.entry(name).or_default() += r.end.since(r.start).seconds();
    }
    let mut chords: BTreeMap<String, f64> = BTreeMap::new();
    let spans = shown.chords;
    for (i, c) in spans.iter().enumerate() {
        let name = label(a, c, around(spans, i, shown.known));
        *chords.entry(name).or_default() += c.end.since(c.start).seconds();
    }
    let established: f64 = tonalities.values().sum();
    let pairs = || regions.iter().zip(regions.iter().skip(1));
    let moved =
        |(p, q): &(&Region, &Region)| p.spelled.tonality.center != q.spelled.tonality.center;
    Summary {
        center_changes: pairs().filter(moved).count(),
        mode_changes: pairs()
            .filter(|pq| !moved(pq) && pq.0.spelled.tonality != pq.1.spelled.tonality)
            .count(),
        chord_changes: spans.len().saturating_sub(1),
        tonalities: shares(tonalities),
        chords: shares(chords),
        without_center: round((a.study.counted().seconds() - established).max(0.0)),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Aside, Change, Established, History, Observer};
    use crate::midi::Faults;
    use crate::plan::{HarmonySpan, Open, TonalPlan};
    use crate::study::Study;
    use crate::theory::{Catalogue, Kinds, Line, PitchClass, PitchClassSet};
    use serde_json::{Value, json};

    /// A study made of given changes: every second a tonality (`E♭ ionian`), or the
    /// keys of a chord from its bass up.
    fn study(changes: &[&str]) -> Study {
        let c = Catalogue::standard();
        let mut heard = History::default();
        for (i, what) in changes.iter().enumerate() {
            let at = Time::millis(1000 * i as u64);
            if let Some(edge) = what.strip_prefix("aside ") {
                let edge = match edge {
                    "begins" => Aside::Begins,
                    _ => Aside::Ends,
                };
                heard.change(at, Change::Aside(edge));
                continue;
            }
            if what.starts_with(char::is_alphabetic) {
                let t = c.parse_tonality(what).expect("a tonality");
                let here = Established {
                    spelled: t,
                    at,
                    since: at,
                    probability: 0.9,
                    open: Open::default(),
                };
                heard.change(at, Change::Here(here));
                continue;
            }
            let keys: Vec<u8> = what.split(' ').map(|k| k.parse().expect("a key")).collect();
            let set: PitchClassSet = keys.iter().map(|&k| PitchClass::of_key(k)).collect();
            let bass = PitchClass::of_key(keys[0]);
            let sonority = Kinds::standard().name(set, bass, PitchClassSet::ALL);
            let keys = keys.iter().copied().collect();
            heard.change(at, Change::Chord { sonority, keys });
        }
        let duration = Time::millis(1000 * changes.len() as u64);
        heard.advance_to(duration);
        Study {
            duration,
            heard,
            hindsight: TonalPlan::default(),
            chords: Vec::new(),
            harmonies: Vec::new(),
            markers: Vec::new(),
            bars: None,
        }
    }

    fn written(changes: &[&str], known: Known) -> (Value, Value) {
        let study = study(changes);
        let a = Analysis {
            file: "a.mid",
            study: &study,
            by: None,
            faults: &Faults::default(),
            catalogue: Catalogue::standard(),
            notation: &Notation::default(),
        };
        let all: Value = serde_json::from_str(&analysis(&a, JsonLayout::OneLine).expect("JSON"))
            .expect("one object");
        let spans = study.heard.chords();
        let chords = serde_json::to_value(chords(&a, spans, known)).expect("JSON");
        if known == Known::AsHeard {
            assert_eq!(all["chords"], chords);
        }
        (all["heard"]["regions"].clone(), chords)
    }

    #[test]
    fn an_augmented_sixth_is_told_by_what_follows() {
        let changes = ["C ionian", "60 64 67", "56 60 63 66", "55 59 62"];
        let of = |known| -> Vec<(Value, Value, Value)> {
            let (_, chords) = written(&changes, known);
            let list = chords.as_array().expect("a list");
            list.iter()
                .map(|c| (c["label"].clone(), c["numeral"].clone(), c["notes"].clone()))
                .collect()
        };
        let flat = json!(["A♭", "C", "E♭", "G♭"]);
        assert_eq!(of(Known::AsHeard)[1], (json!("A♭7"), json!("♭VI7"), flat));
        let sharp = json!(["A♭", "C", "E♭", "F♯"]);
        assert_eq!(
            of(Known::InHindsight)[1],
            (json!("A♭7"), json!("Ger6"), sharp)
        );
        assert_eq!(of(Known::InHindsight)[2].1, "V");
    }

    #[test]
    fn the_text_tells_chords_as_heard_and_in_hindsight() {
        let mut study = study(&["C ionian", "60 64 67", "56 60 63 66", "55 59 62"]);
        study.chords = study.heard.chords().to_vec();
        let step = |from: i32, to| Line::step(PitchClass::new(from), PitchClass::new(to));
        let rising = step(7, 9).and_then(|line| line.on(PitchClass::new(11)));
        let lines = [None, None, rising];
        let harmonies = study.chords.iter().zip(lines);
        study.harmonies = harmonies
            .map(|(&span, line)| HarmonySpan { span, line })
            .collect();
        let text = crate::formats::analysis_text(&Analysis {
            file: "a.mid",
            study: &study,
            by: None,
            faults: &Faults::default(),
            catalogue: Catalogue::standard(),
            notation: &Notation::default(),
        });
        let (chords, paced) = text
            .split_once("  harmonies at their own pace")
            .expect("both");
        let (heard, later) = chords.split_once("  chords, in hindsight\n").expect("both");
        let (_, heard) = heard.split_once("  chords, as heard\n").expect("both");
        let named = |list: &str| -> Vec<String> {
            let words = |l: &str| l.split_whitespace().skip(1).collect::<Vec<_>>().join(" ");
            list.lines().map(words).collect()
        };
        assert_eq!(named(heard), ["C I", "A♭7 ♭VI7", "G V"]);
        assert_eq!(named(later), ["C I", "A♭7 Ger6", "G V"]);
        let (heard, later) = paced
            .split_once("  harmonies at their own pace")
            .expect("both");
        assert_eq!(named(heard).len(), 1, "{heard}");
        assert_eq!(named(later)[1..], ["C I", "A♭7 Ger6", "G V (line G A B)"]);
        assert!(text.lines().all(|l| l == l.trim_end()));
    }

    /// Of an aside only its times are written, nothing that the engine said in it.
    #[test]
    fn asides_are_left_out_and_markers_listed() {
        let mut study = study(&[
            "C ionian",
            "60 64 67",
            "aside begins",
            "E lydian",
            "52 56 59",
            "aside ends",
            "67 71 74",
            "G ionian",
            "62 66 69",
            "aside begins",
        ]);
        let ms = Time::millis;
        study.markers = vec![
            Marker {
                at: ms(8500),
                about: Some((ms(6000), ms(8500))),
                name: "1".into(),
            },
            Marker {
                at: ms(9000),
                about: None,
                name: "of\nothers".into(),
            },
        ];
        let a = Analysis {
            file: "a.mid",
            study: &study,
            by: None,
            faults: &Faults::default(),
            catalogue: Catalogue::standard(),
            notation: &Notation::default(),
        };
        let all: Value =
            serde_json::from_str(&analysis(&a, JsonLayout::OneLine).expect("JSON")).expect("JSON");
        let asides = json!([{"start": 2.0, "end": 5.0}, {"start": 9.0, "end": 10.0}]);
        assert_eq!(all["asides"], asides);
        let about = json!({"start": 6.0, "end": 8.5});
        let one = json!({"at": 8.5, "about": about, "name": "1"});
        let other = json!({"at": 9.0, "about": null, "name": "of\nothers"});
        assert_eq!(all["markers"], json!([one, other]));
        let stretches = |list: &Value| -> Vec<(f64, f64)> {
            let list = list.as_array().expect("a list");
            let time = |r: &Value, key: &str| r[key].as_f64().expect("seconds");
            list.iter()
                .map(|r| (time(r, "start"), time(r, "end")))
                .collect()
        };
        assert_eq!(
            stretches(&all["heard"]["regions"]),
            [(0.0, 2.0), (7.0, 9.0)]
        );
        assert_eq!(
            stretches(&all["chords"]),
            [(1.0, 2.0), (6.0, 8.0), (8.0, 9.0)]
        );
        let summary = &all["summary"];
        assert_eq!(summary["without_center"], 2.0, "of the six that count");
        assert_eq!(summary["center_changes"], 1);
        let text = crate::formats::analysis_text(&a);
        assert!(
            text.contains("  left out, an aside: 0:02.0 – 0:05.0\n"),
            "{text}"
        );
        let markers = "  markers\n      0:08.5  1  (0:06.0 – 0:08.5)\n      0:09.0  of\\nothers\n";
        assert!(text.contains(markers), "{text}");
    }

    #[test]
    fn a_region_says_its_pivot_and_what_it_alters() {
        let (regions, _) = written(
            &[
                "C ionian",
                "60 64 67",
                "57 60 64",
                "G ionian",
                "54 57 60 62",
                "55 59 62",
                "G dorian",
                "55 58 62",
            ],
            Known::AsHeard,
        );
        assert_eq!(regions[0]["pivot"], Value::Null);
        assert_eq!(regions[0]["altered"], json!([]));
        let pivot = json!({"chord": "Am", "from": "vi", "to": "ii", "at": 2.0});
        assert_eq!(regions[1]["pivot"], pivot);
        assert_eq!(regions[1]["altered"], json!(["F→F♯"]));
        // The same center in another mode: no pivot.
        assert_eq!(regions[2]["pivot"], Value::Null);
        assert_eq!(regions[2]["altered"], json!(["B→B♭", "F♯→F"]));
    }
}
