use super::likely::{Likely, likely};
use super::passage::{Note, Without};
use super::{CANDIDATES, Candidate, Case, Cause, Explanation, Removed};
use crate::engine::estimator::{STEP, Scores};
use crate::engine::monitor::fresh;
use crate::engine::{Fading, Monitor};
use crate::midi::{Channel, Event};
use crate::theory::{Catalogue, PitchClass, PitchClassSet, SpelledTonality, Tonality};
use crate::time::Time;
use proptest::prelude::*;

// ---- the same played again, without the engine's own means ----

/// Each key has a channel of its own, so that one can be silenced alone.
const CHANNELS: [usize; 15] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15];

#[derive(Clone, Debug, Default)]
struct Scene {
    keys: Vec<u8>,
    events: Vec<(Time, Event)>,
}

impl Scene {
    fn channel(&mut self, key: u8) -> Channel {
        let known = self.keys.iter().position(|&k| k == key);
        let n = known.unwrap_or_else(|| {
            self.keys.push(key);
            self.keys.len() - 1
        });
        Channel::ALL[CHANNELS[n]]
    }

    fn note(&mut self, at: f64, long: f64, key: u8) {
        let channel = self.channel(key);
        let velocity = 70;
        let on = Event::NoteOn {
            channel,
            key,
            velocity,
        };
        let off = Event::NoteOff { channel, key };
        self.events.push((Time::from_seconds(at), on));
        self.events.push((Time::from_seconds(at + long), off));
    }

    fn chord(&mut self, at: f64, long: f64, keys: &[u8]) {
        for &key in keys {
            self.note(at, long, key);
        }
    }

    fn pedal(&mut self, at: f64, value: u8) {
        for channel in CHANNELS.map(|n| Channel::ALL[n]) {
            let damper = Event::Damper { channel, value };
            self.events.push((Time::from_seconds(at), damper));
        }
    }

    fn sorted(mut self) -> Scene {
        self.events.sort_by_key(|(at, e)| (*at, !e.releases()));
        self
    }
}

fn heard(scene: &Scene, until: Time) -> Monitor {
    let mut m = fresh();
    for &(at, event) in scene.events.iter().take_while(|e| e.0 <= until) {
        m.on_event(at, event, &mut ());
    }
    m.advance_to(until, &mut ());
    m
}

/// How likely things are when the scene is played to the saved moment,
/// and from there on without something.
fn played_without(
    scene: &Scene,
    (saved, at_saved): (Time, &Monitor),
    case: &Case,
    without: &Without,
) -> Likely {
    let mut m = at_saved.clone();
    let silence = |m: &mut Monitor, at: Time, key: u8| {
        let n = scene.keys.iter().position(|&k| k == key).expect("a key");
        let channel = Channel::ALL[CHANNELS[n]];
        m.on_event(at, Event::AllSoundOff { channel }, &mut ());
    };
    for note in without.notes.iter().filter(|n| n.strike.is_none()) {
        silence(&mut m, saved + Time(1), note.key);
    }
    let struck = |n: &Note| n.strike.map(|s| (case.passage.strikes[s].at, n.key));
    let gone: Vec<(Time, u8)> = without.notes.iter().filter_map(struck).collect();
    let place = |step: usize| saved + Time(STEP.0 * step as u64);
    let (from, to) = (place(without.cut.start), place(without.cut.end));
    let end = case.at - to.since(from);
    let moved = |at: Time| match at {
        at if without.cut.is_empty() || at <= from => at,
        at if at <= to => from + Time(1),
        at => at - to.since(from),
    };
    for &(at, event) in scene.events.iter().filter(|e| e.0 > saved) {
        let new = moved(at);
        if at > case.at || new > end {
            break;
        }
        match event {
            Event::NoteOn { key, .. } if gone.contains(&(at, key)) => {
                silence(&mut m, new, key);
            }
            _ => m.on_event(new, event, &mut ()),
        }
    }
    m.advance_to(end + Time(1), &mut ());
    likely(m.probabilities(), case.spelled.tonality, m.catalogue())
}

/// Compares every change that is stated with what playing again does.
fn check(scene: &Scene, until: f64) -> Explanation {
    let m = heard(scene, Time::from_seconds(until));
    let case = m.case().expect("something was heard");
    let told = case.clone().explain();
    let near = |a: f32, b: f32| (a - b).abs() < 1e-6;
    assert!(near(
        m.probabilities().of(told.spelled.tonality).expect("a mode"),
        told.probability
    ));
    let all = case.passage.removable(case.spelled.tonality.center);
    let causes: Vec<Cause> = told.causes.iter().flatten().copied().collect();
    assert_eq!(causes.len(), all.len());
    let now = m.reading().ranking[0].map(|r| r.0);
    assert_eq!(Some(told.likeliest), now);
    let candidates: Vec<Candidate> = told.candidates.iter().flatten().copied().collect();
    let of_center = |p: &Scores, c: PitchClass| -> f32 {
        (0..m.catalogue().len())
            .map(|m| p.tonalities[m * 12 + c.index()])
            .sum()
    };
    assert!(candidates.iter().all(|c| {
        let p = m.probabilities();
        near(
            of_center(p, c.spelled.tonality.center),
            c.center_probability,
        ) && near(p.of(c.spelled.tonality).expect("a mode"), c.probability)
    }));
    assert!(candidates.is_sorted_by(|a, b| a.center_probability >= b.center_probability));
    let others = (0..12)
        .map(PitchClass::new)
        .filter(|&c| candidates.iter().all(|k| k.spelled.tonality.center != c));
    let least = candidates[CANDIDATES - 1].center_probability;
    assert!(
        others
            .into_iter()
            .all(|c| of_center(m.probabilities(), c) <= least + 1e-6)
    );
    let kin = |t: Tonality| (t.center, m.catalogue().kin(t.mode));
    let saved = told.since;
    let mut at_saved = heard(scene, saved);
    at_saved.advance_to(saved + Time(1), &mut ());
    for (removed, without) in all {
        let same = |c: &&Cause| c.removed == removed;
        let cause = causes.iter().find(same).expect("each is told");
        let left = played_without(scene, (saved, &at_saved), &case, &without);
        assert!(
            near(told.center_probability - cause.center_change, left.center)
                && near(told.probability - cause.change, left.tonality),
            "{cause:?} of {told:?}: {left:?}"
        );
        for (candidate, change) in candidates.iter().zip(cause.candidate_changes) {
            let center = left.centers[candidate.spelled.tonality.center.index()];
            assert!(
                near(candidate.center_probability - change, center),
                "{cause:?}"
            );
        }
        let other = Some(left.likeliest).filter(|&t| kin(t) != kin(told.likeliest));
        assert_eq!(
            cause.instead.map(|i| i.tonality),
            other,
            "{cause:?}: {left:?}"
        );
        if let Some(SpelledTonality { tonality: t, tonic }) = cause.instead {
            assert_eq!(tonic, m.catalogue().spell(t, Some(told.spelled.tonic)));
        }
    }
    told
}

/// Notes, chords, pauses and pedals on at most fifteen keys.
fn playing() -> impl Strategy<Value = Scene> {
    let keys = proptest::sample::subsequence((36..84u8).collect::<Vec<_>>(), 4..=15);
    let gesture = (0..8u8, any::<u16>(), 0..1400u64, 50..2500u64, 0..50u64);
    (keys, proptest::collection::vec(gesture, 20..60)).prop_map(|(keys, gestures)| {
        let mut scene = Scene::default();
        let mut now = 0.05;
        for (what, which, gap, long, odd) in gestures {
            let key = |n: usize| keys[(which as usize / 7 + 3 * n) % keys.len()];
            let long = long as f64 / 1000.0;
            // Off the grid, as hands are.
            let at = |n: usize| now + odd as f64 / 50_000.0 + n as f64 * 0.011;
            match what {
                0 => scene.pedal(at(0), if which % 3 == 0 { 0 } else { 127 }),
                1..=3 => scene.note(at(0), long, key(0)),
                // Twice in a step.
                4 => (0..2).for_each(|n| scene.note(at(3 * n), long, key(0))),
                _ => (0..4).for_each(|n| scene.note(at(n), long, key(n))),
            }
            now += if what < 6 {
                gap as f64 / 2500.0
            } else {
                gap as f64 / 900.0
            };
        }
        scene.sorted()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_told_is_what_playing_again_does(scene in playing(), part in 0.4..1.0f64) {
        let last = scene.events.last().map_or(0.0, |e| e.0.seconds());
        // Later than the first note's own step: without it the grid would begin later.
        check(&scene, (last * part).max(9.0));
    }
}

/// All of it is tried, and most of it matters.
#[test]
fn the_random_playing_has_causes_of_every_kind() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let mut kinds = [0; 4];
    let (mut held, mut turned, mut stood) = (0, 0, 0);
    for _ in 0..20 {
        let scene = playing().new_tree(&mut runner).expect("a scene").current();
        let last = scene.events.last().map_or(0.0, |e| e.0.seconds());
        let case = heard(&scene, Time::from_seconds(last.max(9.0) * 0.8)).case();
        let case = case.expect("heard");
        held += case
            .passage
            .notes()
            .iter()
            .filter(|n| n.strike.is_none())
            .count();
        for cause in case.explain().causes.iter().flatten() {
            let kind = match cause.removed {
                Removed::PitchClass(_) => 0,
                Removed::Bass(_) => 1,
                Removed::Chord(..) => 2,
                Removed::PhraseEnd(..) => 3,
            };
            kinds[kind] += usize::from(cause.change.abs() > 1e-4);
            match cause.instead {
                Some(_) => turned += 1,
                None => stood += 1,
            }
        }
    }
    assert!(
        kinds.iter().all(|&n| n > 5) && held > 5 && turned > 5 && stood > 5,
        "{kinds:?}, {held} held, {turned} turn it, {stood} do not"
    );
}

// ---- scenes ----

fn tonality(name: &str) -> Tonality {
    let t = Catalogue::standard().parse_tonality(name);
    t.expect("a tonality").tonality
}

fn pc(n: i32) -> Removed {
    Removed::PitchClass(PitchClass::new(n))
}

fn change(e: &Explanation, which: impl Fn(Removed) -> bool) -> Cause {
    let mut causes = e.causes.iter().flatten();
    *causes.find(|c| which(c.removed)).expect("among the causes")
}

/// Dm and G over a D that is struck again and again: without it, it would be about C.
fn dorian_vamp() -> Scene {
    let mut s = Scene::default();
    for bar in 0..4 {
        let at = 0.2 + f64::from(bar) * 2.4;
        for beat in 0..4 {
            s.note(at + 0.6 * f64::from(beat), 0.55, 38);
        }
        s.chord(at, 1.1, &[53, 57, 60, 64]);
        s.chord(at + 1.2, 1.1, &[55, 59, 65]);
    }
    s.sorted()
}

/// C and F over a D that is struck again and again: without it, it would be about C.
fn triads_over_a_pedal() -> Scene {
    let mut s = Scene::default();
    for bar in 0..4 {
        let at = 0.2 + f64::from(bar) * 2.4;
        for beat in 0..4 {
            s.note(at + 0.6 * f64::from(beat), 0.55, 38);
        }
        s.chord(at, 1.1, &[60, 64, 67]);
        s.chord(at + 1.2, 1.1, &[60, 65, 69]);
    }
    s.sorted()
}

#[test]
fn a_center_in_the_bass_is_decided_by_the_bass() {
    let told = check(&triads_over_a_pedal(), 9.7);
    assert_eq!(told.spelled.tonality, tonality("D dorian"));
    let first = told.causes[0].expect("a cause");
    let set = PitchClassSet::EMPTY.with(PitchClass::new(2));
    assert_eq!(first.removed, Removed::Bass(set), "{told:?}");
    assert!(first.change > 0.2 && first.center_change > 0.2, "{first:?}");
    let other = first.instead.map(|t| t.tonality.center);
    assert!(
        other.is_some_and(|c| c != PitchClass::new(2)),
        "without it another note is home: {first:?}"
    );
    let own = change(&told, |r| r == pc(9));
    assert_eq!(own.instead, None, "{own:?}");
}

#[test]
fn without_its_raised_fourth_lydian_is_less_likely() {
    let mut s = Scene::default();
    for bar in 0..4 {
        let at = 0.2 + f64::from(bar) * 2.4;
        s.note(at, 2.3, 36);
        // It is first heard after what is remembered begins.
        if bar > 0 {
            s.chord(at, 1.1, &[52, 55, 60]);
            s.chord(at + 1.2, 1.1, &[54, 57, 62]);
        }
    }
    let told = check(&s.sorted(), 9.7);
    assert_eq!(told.spelled.tonality, tonality("C lydian"), "{told:?}");
    let sharp = change(&told, |r| r == pc(6));
    assert!(sharp.change > 0.05, "{told:?}");
    let others = told.causes.iter().flatten();
    let mode = |c: &Cause| c.change - c.center_change;
    let most = others.max_by(|a, b| mode(a).total_cmp(&mode(b)));
    assert_eq!(most.map(|c| c.removed), Some(pc(6)), "{told:?}");
}

/// The white keys up and down, resting on one note.
#[test]
fn the_note_that_is_rested_on_speaks_for_itself() {
    let mut s = Scene::default();
    let mut at = 0.2;
    for _ in 0..3 {
        for key in [64, 65, 67, 69, 67, 65] {
            s.note(at, 0.19, key);
            at += 0.2;
        }
        s.note(at, 1.4, 64);
        at += 1.6;
    }
    let told = check(&s.sorted(), at - 0.2);
    assert_eq!(told.spelled.tonality.center, PitchClass::new(4), "{told:?}");
    let end = change(&told, |w| matches!(w, Removed::PhraseEnd(..)));
    assert!(end.center_change > 0.0, "{told:?}");
}

#[test]
fn a_foreign_note_speaks_against() {
    let mut s = dorian_vamp();
    s.note(8.9, 0.5, 70);
    let told = check(&s.sorted(), 9.7);
    assert_eq!(told.spelled.tonality, tonality("D dorian"));
    let foreign = change(&told, |r| r == pc(10));
    assert!(foreign.change < -0.05, "{told:?}");
}

/// In the first steps nothing is established whatever is played: the explanation is about
/// the likeliest center and compares it with others.
#[test]
fn where_nothing_is_established_the_centers_in_question_are_explained() {
    let s = dorian_vamp();
    for at in [0.45, 0.55, 0.65] {
        let m = heard(&s, Time::from_seconds(at));
        assert_eq!(m.reading().here, None);
        let told = m.case().map(Case::explain).expect("something was heard");
        let first = told.candidates[0].expect("a candidate");
        assert_eq!(told.spelled.tonality, first.spelled.tonality);
        assert_eq!(told.center_probability, first.center_probability);
        let candidates = told.candidates.iter().flatten();
        let centers: f32 = candidates.map(|c| c.center_probability).sum();
        assert!(centers + told.no_center_probability <= 1.0 + 1e-4);
        let moved = |c: &Cause| c.candidate_changes.iter().any(|x| x.abs() > 0.005);
        assert!(told.causes.iter().flatten().any(moved), "{told:?}");
    }
}

#[test]
fn there_is_nothing_to_explain_before_the_first_step() {
    let mut m = fresh();
    assert!(m.case().is_none());
    let (channel, key, velocity) = (Channel::ALL[0], 60, 60);
    let on = Event::NoteOn {
        channel,
        key,
        velocity,
    };
    m.on_event(Time::millis(500), on, &mut ());
    assert!(m.case().is_none());
    m.advance_to(Time::millis(601), &mut ());
    let told = m.case().map(Case::explain).expect("a step");
    assert_eq!(
        (told.since, told.at),
        (Time::millis(500), Time::millis(600))
    );
    // After a rest the music begins again.
    m.on_event(Time::millis(700), Event::Release, &mut ());
    m.on_event(Time::millis(20_000), on, &mut ());
    assert!(m.case().is_none());
}

/// More notes than are kept: the explanation reaches less far back, and stays correct.
#[test]
fn dense_playing_is_explained_less_far_back() {
    let mut s = Scene::default();
    for i in 0..1000 {
        let key = [50, 55, 60, 64, 69][i % 5];
        s.note(0.2 + 0.01 * i as f64, 0.005, key);
    }
    let told = check(&s.sorted(), 10.0);
    let seconds = told.at.since(told.since).seconds();
    assert!((4.0..5.2).contains(&seconds), "{seconds}");
    let mut m = fresh();
    m.on_event(
        Time::ZERO,
        crate::engine::Event::Fading(Fading::Sustained),
        &mut (),
    );
    for i in 0..4000u64 {
        let key = 40 + (i % 40) as u8;
        let (channel, velocity) = (Channel::ALL[0], 50);
        let on = Event::NoteOn {
            channel,
            key,
            velocity,
        };
        m.on_event(Time(100 + 50 * i), on, &mut ());
    }
    // A thousand strikes a second: too many are lost for any explanation.
    assert!(m.case().is_none());
}

/// Transposed playing is explained alike, to the last bit.
#[test]
fn transposition_changes_nothing() {
    let told = |by: i8| {
        let mut m = fresh();
        let transpose = crate::engine::Filter {
            transpose: by,
            ..Default::default()
        };
        m.on_event(Time::ZERO, crate::engine::Event::Filter(transpose), &mut ());
        for (at, event) in dorian_vamp().events {
            m.on_event(at, event, &mut ());
        }
        let told = m.case().expect("heard").explain();
        let down = -i32::from(by);
        let causes = told.causes.map(|c| {
            c.map(|c| {
                let removed = match c.removed {
                    Removed::PitchClass(p) => format!("{:?}", p.up(down)),
                    Removed::Bass(s) => format!("bass {:?}", s.up(down)),
                    Removed::Chord(s, at) => format!("chord {:?} {at:?}", s.set().up(down)),
                    Removed::PhraseEnd(s, at) => format!("end {:?} {at:?}", s.up(down)),
                };
                let instead = c
                    .instead
                    .map(|t| (t.tonality.center.up(down), t.tonality.mode));
                let others = c.candidate_changes.map(f32::to_bits);
                let bits = (c.change.to_bits(), c.center_change.to_bits(), others);
                (removed, bits, instead)
            })
        });
        let candidates = told.candidates.map(|c| {
            c.map(|c| {
                (
                    c.spelled.tonality.center.up(down),
                    c.spelled.tonality.mode,
                    c.probability.to_bits(),
                )
            })
        });
        (told.spelled.tonality.center.up(down), candidates, causes)
    };
    let here = told(0);
    for by in [-7, -2, 1, 6] {
        assert_eq!(told(by), here, "{by}");
    }
}
