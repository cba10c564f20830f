//! Plays every file of tests/scenarios/ through the engine and compares what it
//! says with what a musician wrote down. The format: tests/scenarios/README.md.

#[path = "common/scenario.rs"]
mod scenario;

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use serde::Deserialize;

use peregrinus::engine::{Change, Collection, Event, Monitor, Observer, Reading};
use peregrinus::midi::Timed;
use peregrinus::plan::ChordSpan;
use peregrinus::recording::Recording;
use peregrinus::study::study;
use peregrinus::theory::{Catalogue, Glyphs, Notation, PitchClass};
use peregrinus::time::Time;
use scenario::pitch_class;

type Scene = scenario::Scenario<Expect>;

#[derive(Deserialize, Clone, Default)]
#[serde(deny_unknown_fields)]
struct Expect {
    at: Option<String>,
    from: Option<String>,
    to: Option<String>,
    center: Option<String>,
    mode: Option<String>,
    spelling: Option<String>,
    open: Option<Vec<u8>>,
    modes: Option<BTreeSet<String>>,
    no_center: Option<bool>,
    collection: Option<String>,
    centers: Option<Vec<String>>,
    center_changes: Option<usize>,
    home: Option<String>,
    label: Option<String>,
    numeral: Option<String>,
    stated: Option<String>,
    aside: Option<bool>,
    apart: Option<Vec<String>>,
    #[serde(default)]
    chords: Vec<(String, String)>,
    #[serde(default)]
    hindsight_chords: Vec<(String, String)>,
    why: Option<String>,
    known_fault: Option<String>,
}

/// How often a stretch is looked at.
const LOOK: Time = Time::millis(50);
/// A chord must stand so long after its stroke.
const CLUSTER: Time = Time::millis(70);

/// What was said, at every moment that anybody asks about.
struct Said {
    readings: Vec<(Time, Reading)>,
    /// Times at which another center than the one before was shown.
    center_changes: Vec<Time>,
    /// The chords in hindsight, if anybody asks about them.
    hindsight: Vec<ChordSpan>,
}

#[derive(Default)]
struct Changes {
    last: Option<PitchClass>,
    at: Vec<Time>,
}

impl Observer for Changes {
    fn change(&mut self, at: Time, change: Change) {
        if let Change::Here(e) = change {
            if self.last.is_some_and(|c| c != e.spelled.tonality.center) {
                self.at.push(at);
            }
            self.last = Some(e.spelled.tonality.center);
        }
    }
}

impl Said {
    fn at(&self, at: Time) -> Option<&Reading> {
        let i = self.readings.binary_search_by_key(&at, |r| r.0).ok()?;
        Some(&self.readings[i].1)
    }
}

fn play(scenario: &Scene) -> Result<Said, String> {
    let events = scenario.performance()?;
    let mut looks: BTreeSet<Time> = BTreeSet::new();
    for e in &scenario.expect {
        looks.extend(moments(scenario, e)?);
        for (place, _) in &e.chords {
            looks.insert(scenario.time(scenario.place(place)?) + CLUSTER);
        }
    }
    let mut monitor =
        Monitor::new(Arc::new(Catalogue::standard().clone())).map_err(|e| e.to_string())?;
    let mut changes = Changes::default();
    for setting in scenario.settings()? {
        monitor.on_event(Time::ZERO, setting, &mut changes);
    }
    let asked = |e: &Expect| !e.hindsight_chords.is_empty();
    let hindsight = if scenario.expect.iter().any(asked) {
        let notes = events.iter().filter_map(|&(at, event)| match event {
            Event::Midi(event) => Some(Timed { at, event }),
            _ => None,
        });
        let recording = Recording {
            notes: notes.collect(),
            end: events.last().map_or(Time::ZERO, |e| e.0),
            ..Recording::default()
        };
        let catalogue = Arc::new(Catalogue::standard().clone());
        study(&recording, monitor.clone(), &catalogue).chords
    } else {
        Vec::new()
    };
    let mut events = events.into_iter().peekable();
    let mut readings = Vec::new();
    for look in looks {
        while let Some((at, event)) = events.next_if(|e| e.0 < look) {
            monitor.on_event(at, event, &mut changes);
        }
        monitor.advance_to(look, &mut changes);
        readings.push((look, monitor.reading()));
    }
    Ok(Said {
        readings,
        center_changes: changes.at,
        hindsight,
    })
}

/// The stretch that an expectation speaks of.
fn stretch(scenario: &Scene, e: &Expect) -> Result<Option<(Time, Time)>, String> {
    let time = |p: &String| Ok::<Time, String>(scenario.time(scenario.place(p)?));
    match (&e.at, &e.from, &e.to) {
        (None, None, None) if !e.chords.is_empty() || !e.hindsight_chords.is_empty() => Ok(None),
        (Some(at), None, None) => {
            let at = time(at)?;
            Ok(Some((at, at + Time(1))))
        }
        (None, Some(from), Some(to)) => {
            let (from, to) = (time(from)?, time(to)?);
            if from < to {
                Ok(Some((from, to)))
            } else {
                Err("'from' must lie before 'to'".into())
            }
        }
        _ => Err("an expectation needs 'at', or 'from' and 'to', or 'chords'".into()),
    }
}

fn moments(scenario: &Scene, e: &Expect) -> Result<Vec<Time>, String> {
    let Some((from, to)) = stretch(scenario, e)? else {
        return Ok(Vec::new());
    };
    Ok((0..)
        .map(|i| Time(from.0 + i * LOOK.0))
        .take_while(|&t| t < to)
        .collect())
}

const ASCII: Notation = Notation {
    glyphs: Glyphs::Ascii,
    ..Notation::PLAIN
};

/// The label shown, in plain letters.
fn label(r: &Reading) -> String {
    match r.chord {
        Some((s, _)) => ASCII.sonority(s, r.within(), Catalogue::standard()),
        None => "nothing".into(),
    }
}

/// The numeral shown, in plain letters.
fn numeral(r: &Reading) -> String {
    r.chord
        .and_then(|(s, _)| ASCII.numeral(s, r.within(), Catalogue::standard()))
        .unwrap_or_else(|| "nothing".into())
}

/// A label as a musician may write it.
fn plain(label: &str) -> String {
    label
        .replace('♭', "b")
        .replace('♯', "#")
        .replace("o7", "dim7")
        .replace('°', "dim")
}

/// The center and mode shown, for a report.
fn shown(r: &Reading) -> String {
    match (r.here, r.collection) {
        (Some(h), _) => ASCII.tonality(h.spelled, Catalogue::standard()),
        (None, Some(c)) => format!("no center ({})", c.name()),
        (None, None) => "no center".into(),
    }
}

/// The first thing in a reading that is not as expected: what was read instead.
fn miss(e: &Expect, r: &Reading) -> Result<Option<String>, String> {
    let catalogue = Catalogue::standard();
    let here = r.here.map(|h| h.spelled.tonality);
    if let Some(center) = &e.center
        && here.map(|t| t.center) != Some(pitch_class(center)?)
    {
        return Ok(Some(shown(r)));
    }
    if let Some(mode) = &e.mode {
        let id = catalogue
            .iter()
            .find(|(_, m)| m.id == *mode)
            .ok_or_else(|| format!("'{mode}' is no id of config/modes.toml"))?
            .0;
        if here.map(|t| t.mode) != Some(id) {
            return Ok(Some(shown(r)));
        }
    }
    if let Some(spelling) = &e.spelling {
        let is = r.here.map(|h| h.spelled.tonic.text(Glyphs::Ascii));
        if is.as_deref() != Some(spelling) {
            return Ok(Some(shown(r)));
        }
    }
    if let Some(open) = &e.open {
        let is: Vec<u8> = r.here.map_or(Vec::new(), |h| h.open.numbers().collect());
        if r.here.is_none() || is != *open {
            return Ok(Some(format!("{} with open degrees {is:?}", shown(r))));
        }
    }
    if let Some(modes) = &e.modes {
        let is: BTreeSet<String> = r
            .here
            .iter()
            .flat_map(|h| std::iter::once(h.spelled.tonality.mode).chain(h.open.others()))
            .map(|m| catalogue.mode(m).id.clone())
            .collect();
        if is != *modes {
            return Ok(Some(format!("{is:?}")));
        }
    }
    if let Some(none) = e.no_center
        && r.here.is_none() != none
    {
        return Ok(Some(shown(r)));
    }
    if let Some(collection) = &e.collection
        && r.collection.map(Collection::name) != Some(collection.as_str())
    {
        return Ok(Some(shown(r)));
    }
    if let Some(centers) = &e.centers
        && let Some(t) = here
    {
        let allowed = centers
            .iter()
            .map(|c| pitch_class(c))
            .collect::<Result<Vec<_>, _>>()?;
        if !allowed.contains(&t.center) {
            return Ok(Some(shown(r)));
        }
    }
    if let Some(home) = &e.home
        && r.home.map(|h| h.spelled.tonality.center) != Some(pitch_class(home)?)
    {
        return Ok(Some(match r.home {
            Some(h) => format!("home {}", ASCII.tonality(h.spelled, catalogue)),
            None => "no home".into(),
        }));
    }
    if let Some(want) = &e.label
        && label(r) != plain(want)
    {
        return Ok(Some(label(r)));
    }
    if let Some(want) = &e.numeral
        && numeral(r) != *want
    {
        return Ok(Some(format!("{} as {}", label(r), numeral(r))));
    }
    if let Some(want) = &e.stated {
        let is = r.stated.map(|(note, _)| note.text(Glyphs::Ascii));
        if is.as_deref() != Some(want) {
            return Ok(Some(format!("home said to be {}", is.unwrap_or_default())));
        }
    }
    if let Some(want) = e.aside
        && r.aside.is_some() != want
    {
        return Ok(Some(format!("aside {}", r.aside.is_some())));
    }
    if let Some(want) = &e.apart
        && apart(r) != *want
    {
        return Ok(Some(format!("apart {:?}", apart(r))));
    }
    Ok(None)
}

/// The modes of the top line and of the rest, where they are not one.
fn apart(r: &Reading) -> Vec<String> {
    let modes = r.polymodal.iter().flat_map(|a| [a.top, a.rest]);
    let id = |mode| Catalogue::standard().mode(mode).id.clone();
    modes.map(|t| id(t.mode)).collect()
}

/// Everything that misses one expectation, as lines.
fn misses(scenario: &Scene, e: &Expect, said: &Said) -> Result<Vec<String>, String> {
    let mut lines = Vec::new();
    // Neighbouring moments with the same miss are one line.
    let mut run: Option<(Time, Time, String)> = None;
    let mut tell = |run: Option<(Time, Time, String)>| {
        if let Some((from, to, what)) = run {
            lines.push(format!(
                "from {} to {}: read {what}",
                scenario.where_is(from),
                scenario.where_is(to)
            ));
        }
    };
    for at in moments(scenario, e)? {
        let reading = said.at(at).ok_or("a moment was not looked at")?;
        run = match (run, miss(e, reading)?) {
            (Some((from, _, what)), Some(now)) if what == now => Some((from, at, what)),
            (before, now) => {
                tell(before);
                now.map(|what| (at, at, what))
            }
        };
    }
    tell(run);
    for (place, want) in &e.chords {
        let at = scenario.time(scenario.place(place)?) + CLUSTER;
        let reading = said.at(at).ok_or("a moment was not looked at")?;
        let is = label(reading);
        if is != plain(want) {
            lines.push(format!("at {place}: {want} expected, read {is}"));
        }
    }
    for (place, want) in &e.hindsight_chords {
        let at = scenario.time(scenario.place(place)?) + CLUSTER;
        let spans = &said.hindsight;
        let is = match spans.iter().find(|c| c.start <= at && at < c.end) {
            Some(c) => ASCII.sonority(c.sonority, c.within, Catalogue::standard()),
            None => "nothing".into(),
        };
        if is != plain(want) {
            lines.push(format!(
                "at {place}, in hindsight: {want} expected, read {is}"
            ));
        }
    }
    if let (Some(most), Some((from, to))) = (e.center_changes, stretch(scenario, e)?) {
        let changes: Vec<String> = said
            .center_changes
            .iter()
            .filter(|&&t| from <= t && t < to)
            .map(|&t| scenario.where_is(t))
            .collect();
        if changes.len() > most {
            lines.push(format!(
                "{} changes of center, at most {most} expected: at {}",
                changes.len(),
                changes.join(", ")
            ));
        }
    }
    Ok(lines)
}

fn describe(e: &Expect) -> String {
    let mut s = match (&e.at, &e.from, &e.to) {
        (Some(at), ..) => format!("at {at}:"),
        (_, Some(from), Some(to)) => format!("{from} to {to}:"),
        _ => String::from("chords"),
    };
    for (key, value) in [
        ("center", &e.center),
        ("mode", &e.mode),
        ("spelling", &e.spelling),
        ("home", &e.home),
        ("label", &e.label),
        ("numeral", &e.numeral),
        ("stated", &e.stated),
        ("collection", &e.collection),
    ] {
        if let Some(v) = value {
            let _ = write!(s, " {key} {v}");
        }
    }
    for (key, value) in [
        ("open", e.open.as_ref().map(|v| format!("{v:?}"))),
        ("modes", e.modes.as_ref().map(|v| format!("{v:?}"))),
        ("centers", e.centers.as_ref().map(|v| format!("{v:?}"))),
        ("no_center", e.no_center.map(|v| v.to_string())),
        ("aside", e.aside.map(|v| v.to_string())),
        ("apart", e.apart.as_ref().map(|v| format!("{v:?}"))),
        ("center_changes", e.center_changes.map(|v| v.to_string())),
    ] {
        if let Some(v) = value {
            let _ = write!(s, " {key} {v}");
        }
    }
    if let Some(why) = &e.why {
        let _ = write!(s, " ({why})");
    }
    s
}

/// Whether an expectation says anything that could fail.
fn says_something(e: &Expect) -> bool {
    !e.chords.is_empty()
        || !e.hindsight_chords.is_empty()
        || [
            &e.center,
            &e.mode,
            &e.spelling,
            &e.collection,
            &e.home,
            &e.label,
            &e.numeral,
            &e.stated,
        ]
        .iter()
        .any(|v| v.is_some())
        || e.open.is_some()
        || e.modes.is_some()
        || e.no_center.is_some()
        || e.aside.is_some()
        || e.apart.is_some()
        || e.centers.is_some()
        || e.center_changes.is_some()
}

/// Complaints about a scenario; none if it holds, known faults included.
fn check(text: &str) -> Result<Vec<String>, String> {
    let scenario = Scene::read(text)?;
    let end = scenario.performance()?.last().map_or(Time::ZERO, |e| e.0);
    for look in scenario.looks()? {
        let times = look.press.iter().map(|press| press.0);
        let times: Vec<Time> = times.chain([look.at]).collect();
        if !times.is_sorted() || look.at > end + Time::millis(60_000) {
            return Err(format!("picture '{}': what is its order?", look.name));
        }
    }
    let said = play(&scenario)?;
    let mut complaints = Vec::new();
    // Two modes at once are rare: whoever does not expect them must not be told of them.
    if scenario.expect.iter().all(|e| e.apart.is_none())
        && let Some((at, r)) = said.readings.iter().find(|(_, r)| r.polymodal.is_some())
    {
        let at = scenario.where_is(*at);
        complaints.push(format!("apart {:?} at {at}, not expected", apart(r)));
    }
    for e in &scenario.expect {
        if !says_something(e) {
            return Err(format!("the expectation '{}' says nothing", describe(e)));
        }
        let lines = misses(&scenario, e, &said)?;
        match (&e.known_fault, lines.is_empty()) {
            (None, false) => {
                complaints.push(format!("{}\n      {}", describe(e), lines.join("\n      ")));
            }
            (Some(_), true) => complaints.push(format!(
                "{}\n      holds now: take its known_fault mark away",
                describe(e)
            )),
            _ => {}
        }
    }
    Ok(complaints)
}

#[test]
fn every_scenario_is_read_as_a_musician_would() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios");
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .expect("tests/scenarios")
        .map(|f| f.expect("a file").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 12, "only {} scenarios", files.len());
    let mut report = String::new();
    for path in &files {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let text = std::fs::read_to_string(path).expect("a text");
        let complaints = check(&text).unwrap_or_else(|e| vec![format!("cannot be played: {e}")]);
        for c in complaints {
            let _ = writeln!(report, "  {name}: {c}");
        }
    }
    assert!(report.is_empty(), "\n{report}");
}

const SMALL: &str = "about = 'x'\ntempo = 60\nbeats = 4\n[[voice]]\nnotes = '[C3 E3 G3]/4 | [C3 E3 G3]'\n[[expect]]\n";

/// The checker itself: a wrong expectation fails, a fault that is none fails.
#[test]
fn a_wrong_expectation_and_an_idle_mark_are_both_told() {
    let check = |rest: &str| check(&format!("{SMALL}{rest}"));
    assert_eq!(check("chords = [['1.1', 'C']]"), Ok(vec![]));
    let wrong = check("chords = [['1.1', 'Am']]").expect("it plays");
    assert_eq!(wrong.len(), 1);
    assert!(
        wrong[0].contains("at 1.1: Am expected, read C"),
        "{wrong:?}"
    );
    let known = check("chords = [['1.1', 'Am']]\nknown_fault = 'it is C'");
    assert_eq!(known, Ok(vec![]));
    assert_eq!(check("hindsight_chords = [['1.1', 'C']]"), Ok(vec![]));
    let wrong = check("hindsight_chords = [['2.1', 'Am']]").expect("it plays");
    assert!(wrong[0].contains("Am expected, read C"), "{wrong:?}");
    let idle = check("chords = [['1.1', 'C']]\nknown_fault = 'none'").expect("it plays");
    assert!(
        idle[0].contains("take its known_fault mark away"),
        "{idle:?}"
    );
    let span = check("from = '1.2'\nto = '3.1'\nlabel = 'G'").expect("it plays");
    assert!(
        span[0].contains("from 1.2.0 (1.00 s)") && span[0].contains("read C"),
        "{span:?}"
    );
    let centers = check("from = '1.1'\nto = '3.1'\ncenters = ['F#']\ncenter_changes = 0");
    assert_eq!(centers.map(|c| c.len()), Ok(1));
}

#[test]
fn a_mistake_in_a_file_is_told_with_its_place() {
    let wrong = |notes: &str| scenario::strokes(notes, 4).map(|_| ()).unwrap_err();
    assert!(wrong("C4/3 | D4/1").contains("after beat 3"));
    assert!(wrong("H4/4").contains("'H4' is no note"));
    assert!(wrong("[C4 E4/2 G4]").contains("after the bracket"));
    assert!(wrong("[C4 E4").contains("not closed"));
    assert!(wrong("C4/0").contains("no length"));
    assert!(wrong("C4/3").contains("no whole number of bars"));
    assert!(check(&format!("{SMALL}at = '1.5'\ncenter = 'C'")).is_err());
    assert!(check(&format!("{SMALL}at = '1.1'")).is_err());
    assert!(check(&format!("{SMALL}at = '1.1'\nmode = 'Dorian'")).is_err());
    let pictures = |rest: &str| check(&format!("{SMALL}at = '1.1'\ncenters = ['C']\n{rest}"));
    let one = "[[picture]]\nname = 'x'\nat = '2.1'\n";
    assert_eq!(pictures(one), Ok(vec![]));
    assert!(pictures(&format!("{one}{one}")).is_err());
    assert!(pictures(&format!("{one}press = [['2.2', 't']]")).is_err());
    assert!(pictures(&format!("{one}press = [['1.2', 't'], ['1.1', 'e']]")).is_err());
    let (thirds, length) = scenario::strokes("C4/1/3 D4 E4 [C4 G4]/3 | r/4", 4).expect("notes");
    assert_eq!((thirds.len(), length), (4, 8.0));
    use scenario::key;
    assert_eq!(
        (key("B#3"), key("Cb4"), key("C-1").is_err()),
        (Ok(60), Ok(59), true)
    );
}
