//! No size and no reading breaks the picture.

use super::*;
use crate::engine::{Aside, CANDIDATES, CAUSES};
use crate::listing::{Listing, Opening, Progress, Row, Stretch, words};
use crate::meter::{BarBeat, Click, Meter, Tempo};
use crate::screen::keys::{Direction, Zoom};
use crate::screen::layout::{Panel, SMALLEST, places};
use crate::screen::panels::{
    beside, brightness, chord, evidence, heard_lately, help, here, history, leaning, piano,
    relatives, scale, status,
};
use crate::screen::pen::Pen;
use crate::screen::timeline;
use crate::source::{Going, Keeping, Opened};
use crate::theory::{Chord, KeySet, KindId, ModeId, SpelledTonality, Spelling, Tonality};
use proptest::prelude::*;
use ratatui::buffer::Cell;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};

fn pitch_class() -> impl Strategy<Value = PitchClass> {
    (0..12).prop_map(PitchClass::new)
}

fn time() -> impl Strategy<Value = Time> {
    prop_oneof![
        (0..200u64).prop_map(|s| Time::millis(s * 1000)),
        any::<u64>().prop_map(Time),
    ]
}

/// Modes and scales of the catalogue, and one that is not in it.
fn mode(n: usize) -> ModeId {
    let mut all = Catalogue::standard().all();
    all.nth(n).map_or(ModeId::NOBODYS, |(id, _)| id)
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{0,40}",
        "[é日♭\u{200b}\u{301}\n\t\u{1b}🎹]{0,20}",
        Just("x".repeat(400)),
    ]
}

prop_compose! {
    fn any_established()(
        center in pitch_class(), mode in (0..70usize).prop_map(mode), tonic in -20..20i8,
        at in time(), since in time(), degrees in any::<u8>(), others in prop::collection::vec((0..40usize).prop_map(mode), 0..4),
    ) -> Established {
        Established {
            spelled: SpelledTonality::new(Tonality { center, mode }, Spelling::at(tonic)),
            at,
            since,
            probability: 0.5,
            open: Open::new(degrees, others),
        }
    }
}

fn sonority() -> impl Strategy<Value = Sonority> {
    let kinds: Vec<KindId> = Kinds::standard().iter().map(|(id, _)| id).collect();
    prop_oneof![
        pitch_class().prop_map(Sonority::Note),
        (pitch_class(), pitch_class()).prop_map(|(low, high)| Sonority::Interval { low, high }),
        (pitch_class(), prop::sample::select(kinds), pitch_class())
            .prop_map(|(root, kind, bass)| Sonority::Chord(Chord { root, kind, bass })),
        (any::<u16>(), pitch_class()).prop_map(|(m, bass)| Sonority::Notes {
            set: PitchClassSet::from_mask(m).with(bass),
            bass
        }),
    ]
}

fn share() -> impl Strategy<Value = f32> {
    prop_oneof![
        0.0..1.0f32,
        Just(f32::NAN),
        Just(f32::INFINITY),
        Just(-1.0f32)
    ]
}

fn causes() -> impl Strategy<Value = Removed> {
    let set = || any::<u16>().prop_map(PitchClassSet::from_mask);
    prop_oneof![
        pitch_class().prop_map(Removed::PitchClass),
        set().prop_map(Removed::Bass),
        (sonority(), time()).prop_map(|(s, at)| Removed::Chord(s, at)),
        (set(), time()).prop_map(|(s, at)| Removed::PhraseEnd(s, at)),
    ]
}

prop_compose! {
    fn contenders()(
        e in any_established(), nearness in share(), in_bass in any::<bool>(),
        heard in prop::option::of(pitch_class()),
    ) -> Contender {
        Contender { spelled: e.spelled, probability: 0.2, nearness, in_bass, heard }
    }
}

prop_compose! {
    fn readings()(
        (held, pedalled, damper) in (key_sets(), key_sets(), any::<bool>()),
        window in prop::array::uniform12(share()),
        heard in any::<u16>(),
        chord in prop::option::of((sonority(), time())),
        voiced in prop::option::of((key_sets(), key_sets(), sonority())),
        (here, pinned) in (prop::option::of(any_established()), prop::option::of(any_established())),
        home in prop::option::of(any_established()),
        contender in prop::option::of(contenders()),
        collection in prop::option::of(prop::sample::select(Collection::all().collect::<Vec<_>>())),
        silent_since in prop::option::of(time()),
        begun in any::<bool>(),
        inertia in 0..5usize,
    ) -> Reading {
        Reading {
            held, pedalled, damper, window, chord, here, home, contender, collection, silent_since, begun,
            heard: PitchClassSet::from_mask(heard),
            // Few keys, or nearly all.
            voiced_chord: voiced.map(|(a, b, sonority)| VoicedChord { keys: if a.contains(0) { a } else { a & b }, sonority }),
            inertia: Inertia::ALL[inertia],
            pinned: pinned.map(|p| p.spelled),
            ..Scene::nothing().reading
        }
    }
}

fn key_sets() -> impl Strategy<Value = KeySet> {
    any::<u128>().prop_map(KeySet::from_mask)
}

fn histories() -> impl Strategy<Value = History> {
    let change = prop_oneof![
        any_established().prop_map(Change::Here),
        any_established().prop_map(Change::Refined),
        any_established().prop_map(Change::Home),
        Just(Change::NoCenter),
        Just(Change::Silence),
        Just(Change::Rest),
        prop::option::of(-20..20i8).prop_map(|f| Change::HomeIs(f.map(Spelling::at))),
        prop_oneof![Just(Aside::Begins), Just(Aside::Ends)].prop_map(Change::Aside),
        (sonority(), key_sets()).prop_map(|(sonority, keys)| Change::Chord { sonority, keys }),
    ];
    prop::collection::vec((0..9000u64, change), 0..30).prop_map(|changes| {
        let mut h = History::default();
        let mut at = Time::ZERO;
        for (later, change) in changes {
            at += Time::millis(later);
            h.change(at, change);
        }
        h
    })
}

prop_compose! {
    fn sources()(
        name in text(), opened in any::<bool>(), clicked in prop::option::of((10_000u64..=150_000, 1u8..=15, any::<bool>(), any::<u64>(), 1u8..16)), link in 0..4u8, keeping in 0..4u8, dropped in any::<u64>(),
        recording in prop::option::of(text()), notice in prop::option::of(text()),
        transport in prop::option::of((time(), time(), share(), any::<bool>(), prop::option::of(time()), prop::option::of(time()))),
        going in prop::option::of((time(), share())),
    ) -> Source {
        Source {
            opened: opened.then(|| Opened { date: name.clone(), number: 1, corrected: None }),
            keyboards: vec![],
            away: 0,
            name, dropped, recording, notice,
            sitting: 0,
            click: clicked.and_then(|(beat, count, eighths, bar, beats)| {
                let (tempo, meter) = (Tempo::of_beat(Time(beat))?, Meter::new(count, if eighths { 8 } else { 4 })?);
                Some((Click { tempo, meter, from: Time::ZERO }, BarBeat { bar, beat: beats.into() }))
            }),
            keeping: [Keeping::Off, Keeping::Ready, Keeping::Growing, Keeping::Stuck][keeping as usize % 4],
            link: [Link::Keyboard, Link::Lost, Link::None, Link::File][link as usize % 4],
            transport: transport.map(|(position, duration, speed, paused, a, b)| Transport {
                position, duration, speed, paused, ended: false,
                repeat: match (a, b) {
                    (None, _) => Repeat::Off,
                    (Some(a), None) => Repeat::From(a),
                    (Some(a), Some(b)) => Repeat::Between(a, b),
                },
                going: going.map(|(to, share)| Going { to, share }),
            }),
        }
    }
}

prop_compose! {
    fn explanations()(
        e in any_established(), center_probability in share(), probability in share(), at in time(),
        causes in prop::collection::vec((causes(), share(), share(), any::<bool>(), prop::option::of(any_established())), 0..CAUSES),
    ) -> Explanation {
        let mut all = [None; CAUSES];
        for (place, (removed, a, b, against, other)) in all.iter_mut().zip(causes) {
            let sign = if against { -1.0 } else { 1.0 };
            let instead = other.map(|e| e.spelled);
            *place = Some(Cause { removed, center_change: a * sign, change: b * sign, candidate_changes: [0.0; CANDIDATES], instead });
        }
        Explanation {
            at, since: e.since, spelled: e.spelled, center_probability, probability, causes: all,
            likeliest: e.spelled.tonality, candidates: [None; CANDIDATES], no_center_probability: 0.0,
        }
    }
}

prop_compose! {
    fn rows()(
        name in prop::option::of(text()), tags in prop::collection::vec(text(), 0..3), markers in prop::collection::vec(text(), 0..3),
        length in time(), cut_off in any::<bool>(), way in prop::collection::vec((time(), time(), prop::option::of(any_established()), any::<bool>()), 0..9),
    ) -> Row {
        let way = way.into_iter().map(|(start, end, e, at_home)| Stretch { start, end, at_home, spelled: e.map(|e| e.spelled) });
        Row {
            id: "2026-11-29_20-15-03".into(), date: "2026-11-29 20:15".into(), length, way: way.collect(), cut_off, corrected: cut_off,
            words: words(name.iter().chain(&tags).chain(&markers).map(String::as_str)), name, tags, markers,
        }
    }
}

prop_compose! {
    fn lists()(
        rows in prop::collection::vec(rows(), 0..99), bytes in any::<u64>(), state in 0..4u8, opening in 0..3u8, why in text(),
        said in prop::collection::vec(text(), 0..2), typed in text(), chosen in 0..99usize, seen in 0..99usize,
    ) -> SittingList {
        let count = rows.len();
        let progress = match state {
            0 => Progress::Started,
            1 => Progress::Reading { done: count, of: usize::MAX },
            2 => Progress::Done,
            _ => Progress::Failed(why.clone()),
        };
        let opening = [Opening::None, Opening::Reading, Opening::Failed(why)][usize::from(opening)].clone();
        let listing = Listing { rows: rows.into(), count, bytes, progress, said, opening };
        let mut list = SittingList::default();
        list.fill(listing, Notation::default(), Catalogue::standard());
        let mut press = |code| {
            let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
            list.take(&event, seen, Notation::default(), Catalogue::standard());
        };
        (0..chosen).for_each(|_| press(KeyCode::Down));
        typed.chars().take(chosen % 3).for_each(|c| press(KeyCode::Char(c)));
        list.follow(seen);
        list
    }
}

prop_compose! {
    pub(in crate::screen) fn any_scene()(
        (way, panels, hidden) in (0..3usize, prop::sample::subsequence(&Panel::ALL[..], 0..=7), any::<bool>()),
        (past, still) in (prop::option::of((sonority(), time(), key_sets())), any::<bool>()), banners in prop::collection::vec(text(), 0..3),
        reading in readings(), history in histories(), source in sources(), now in time(), ended in prop::option::of(time()), explanation in prop::option::of(explanations()),
        markers in prop::collection::vec((time(), prop::option::of((time(), time())), text()), 0..6), help in any::<bool>(), scale in any::<bool>(),
        list in prop::option::weighted(0.2, lists()),
    ) -> Scene {
        let markers = markers.into_iter().map(|(at, about, name)| Marker { at, about, name }).collect();
        let past = past.map(|(sonority, start, keys)| ChordSpan { start, end: start, sonority, within: None, keys });
        let (way, panels) = (Way::ALL[way], panels.into_iter().collect());
        Scene { reading, history, markers, source, now, help, ended, explanation, scale, way, panels, hidden, past, still, frozen: still.then_some(now), list, banners, keys: KeyBindings::default() }
    }
}

/// Whether two rectangles share a cell.
fn meet(a: Rect, b: Rect) -> bool {
    !a.is_empty() && !b.is_empty() && a.intersects(b)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_scene_at_any_size(scene in any_scene(), w in 0..250u16, h in 0..70u16, look in 0..8usize) {
        let glyphs = [Glyphs::Unicode, Glyphs::Ascii][look % 2];
        let buf = scene.draw(w, h, Palette::ALL[look / 2], glyphs);
        prop_assert_eq!(buf.area, Rect::new(0, 0, w, h));
    }

    #[test]
    fn panels_have_their_own_places(
        w in 0..400u16, h in 0..120u16, evidence in any::<bool>(), scale in any::<bool>(), way in 0..3usize,
        panels in prop::sample::subsequence(&Panel::ALL[..], 0..=7),
    ) {
        let area = Rect::new(3, 2, w, h);
        let way = Way::ALL[way];
        let wanted = Wanted { way, evidence, scale, panels: panels.iter().copied().collect() };
        match places(area, &wanted) {
            None => prop_assert!(w < SMALLEST.0 || h < SMALLEST.1),
            Some(p) => {
                let all = [
                    p.here, p.chord, p.heard_lately, p.scale, p.leaning, p.evidence, p.piano, p.history, p.notice, p.status,
                    p.brightness, p.relatives, p.lanes,
                ];
                prop_assert_eq!(!p.evidence.is_empty(), evidence);
                prop_assert!(!p.here.is_empty() && !p.status.is_empty() && !p.notice.is_empty());
                prop_assert_eq!(!p.lanes.is_empty(), way == Way::LookingBack);
                for (panel, place) in [
                    (Panel::Leaning, p.leaning), (Panel::Piano, p.piano), (Panel::History, p.history),
                    (Panel::Brightness, p.brightness), (Panel::Relatives, p.relatives),
                ] {
                    prop_assert!(panels.contains(&panel) || place.is_empty(), "{panel:?} was left out");
                }
                for (i, a) in all.iter().enumerate().filter(|(_, a)| !a.is_empty()) {
                    prop_assert_eq!(area.intersection(*a), *a, "panel {} leaves the screen", i);
                    for b in &all[i + 1..] {
                        prop_assert!(!meet(*a, *b), "panel {i} overlaps: {a:?} {b:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_panel_keeps_to_its_place(scene in any_scene(), w in 0..250u16, h in 0..30u16, ascii in any::<bool>()) {
        let area = Rect::new(0, 0, 256, 40);
        let place = Rect::new(4, 3, w, h);
        let picture = scene.picture();
        let glyphs = if ascii { Glyphs::Ascii } else { Glyphs::Unicode };
        let look = scene.look(glyphs);
        let mut view = View::default();
        view.label.follow(&picture);
        let other = scene.reading.home.map_or(SpelledTonality::new(Tonality { center: PitchClass::new(1), mode: mode(30) }, Spelling::at(7)), |h| h.spelled);
        for panel in 0..15 {
            let mut buf = Buffer::filled(area, Cell::new("x"));
            let mut pen = Pen::new(&mut buf, place);
            let sizes = places(Rect::new(0, 0, 240, 67), &Wanted::default()).map(|p| p.size).unwrap_or_default();
            match panel {
                0 => here::draw(&mut pen, sizes, &picture, &look),
                1 => chord::draw(&mut pen, sizes.chord, &picture, &view.label, &look),
                2 => heard_lately::draw(&mut pen, &picture, &view, &look),
                3 => leaning::draw(&mut pen, &picture, &look),
                4 => {
                    let degrees = match ascii != scene.reading.damper {
                        true => piano::Degrees::OfTheMode,
                        false => piano::Degrees::OfWhatSounds,
                    };
                    let lowest = piano::lowest(w, scene.reading.sounding(), 24, degrees);
                    piano::draw(&mut pen, &picture, lowest, &look, degrees);
                }
                5 => {
                    let _ = history::draw(&mut pen, &picture, &view.history, &look);
                }
                6 => status::notice(&mut pen, &picture, &look),
                7 => status::draw(&mut pen, &picture, &look),
                8 => evidence::draw(&mut pen, &picture, &look),
                13 => evidence::panel(&mut pen, &picture, &look),
                9 => scale::draw(&mut pen, &picture, &view.label, &look),
                10 => brightness::draw(&mut pen, &picture, scene.reading.damper.then_some(other.tonality.mode), &look),
                11 => beside::draw(&mut pen, &picture, other, &view.label, &look),
                12 => relatives::draw(&mut pen, &picture, &look),
                _ => {
                    let _ = help::draw(&mut pen, &picture, &view.help, &look);
                }
            }
            for p in area.positions().filter(|p| !place.contains(*p)) {
                prop_assert_eq!(buf[p].symbol(), "x", "panel {} at {:?}", panel, p);
            }
        }
    }
}

/// Scrolling and zooming stay within the history and come back to the present.
#[test]
fn the_history_comes_back_to_the_present() {
    let scene = Scene::wandering();
    let mut view = View::default();
    let look = scene.look(Glyphs::Unicode);
    let picture = scene.picture();
    let text = |view: &mut View| {
        let mut buf = Buffer::empty(Rect::new(0, 0, 80, 24));
        drawn_after(&mut buf, &picture, view, &look);
        as_text(&buf)
    };
    let whole = timeline::whole(&picture);
    let present = text(&mut view);
    view.history.zoom(Zoom::Nearer, whole);
    let near = text(&mut view);
    assert!(
        near.contains("30s") && !near.contains("second idea"),
        "{near}"
    );
    for _ in 0..50 {
        view.history.scroll(Direction::Back, scene.now);
    }
    let past = text(&mut view);
    assert!(past.contains("◂30s") && past.contains("0:00"), "{past}");
    for _ in 0..50 {
        view.history.scroll(Direction::Forward, scene.now);
    }
    assert_eq!(text(&mut view), near);
    view.history.scroll(Direction::Back, scene.now);
    view.history.follow();
    view.history.zoom(Zoom::Farther, whole);
    assert_eq!(text(&mut view), present);
}

/// Where not every key has room, the piano moves by octaves and only when it must.
#[test]
fn the_piano_does_not_jump() {
    let mut scene = Scene::dorian();
    let usual = Scene::nothing();
    let look = usual.look(Glyphs::Unicode);
    let mut view = View::default();
    let mut lowest = |held: &[u8], width: u16| {
        scene.reading.held = keys(held);
        scene.reading.pedalled = KeySet::EMPTY;
        let degrees = piano::Degrees::OfWhatSounds;
        let sounding = scene.reading.sounding();
        view.lowest_key = piano::lowest(width, sounding, view.lowest_key, degrees);
        let mut buf = Buffer::empty(Rect::new(0, 0, width, 3));
        let area = buf.area;
        let mut pen = Pen::new(&mut buf, area);
        piano::draw(&mut pen, &scene.picture(), view.lowest_key, &look, degrees);
        // Whatever is held is seen.
        let seen = as_text(&buf).contains(['◆', '●', '▲']);
        assert_eq!(seen, !held.is_empty(), "{held:?}");
        view.lowest_key
    };
    assert_eq!(lowest(&[60], 60), 24);
    assert_eq!(lowest(&[90], 60), 48);
    // 60 is still in view.
    assert_eq!(lowest(&[60], 60), 48);
    assert_eq!(lowest(&[], 60), 48);
    assert_eq!(lowest(&[36, 38], 60), 36);
}
