//! Several keyboards that play together: a teacher's and a pupil's.

use super::*;

const ID: &str = "2026-11-29_20-15-03";

fn two(keep: Keep) -> (Listener, FakePorts, Arc<FakeClock>) {
    let wanted = Wanted {
        // A part of the name will do.
        ports: vec!["teach".into(), "pup".into()],
        ..Wanted::default()
    };
    start_on(wanted, &PAIR, keep)
}

/// The names of a file's tracks, as another reader has them.
pub fn tracks(bytes: &[u8]) -> Vec<String> {
    let smf = midly::Smf::parse(bytes).expect("a sound file");
    let named = smf.tracks.iter().filter_map(|track| {
        track.iter().find_map(|event| match event.kind {
            midly::TrackEventKind::Meta(midly::MetaMessage::TrackName(name)) => {
                Some(String::from_utf8_lossy(name).into_owned())
            }
            _ => None,
        })
    });
    named.collect()
}

fn held(listener: &Listener, keys: &[u8]) -> bool {
    let keys: KeySet = keys.iter().map(|&key| KeySet::of(key)).collect();
    listener.feed.reading().is_some_and(|r| r.held == keys)
}

#[test]
fn each_lets_go_of_its_own_notes_alone_and_comes_back() {
    let (listener, ports, clock) = two(Keep::default());
    let status = || listener.feed.status();
    assert_eq!(
        (status().link, &*status().name),
        (Link::Keyboard, "Teacher + Pupil")
    );
    clock.set(Time::millis(100));
    assert!(ports.send_from("Teacher", &[0x90, 48, 80, 0x90, 60, 80, 0xb0, 64, 127]));
    // The same key on the same channel, and a pedal of its own.
    assert!(ports.send_from("Pupil", &[0x90, 60, 80, 0x90, 76, 80, 0xb0, 64, 127]));
    wait_for(|| held(&listener, &[48, 60, 76]));
    clock.set(Time::millis(300));
    ports.unplug_one("Pupil");
    wait_for(|| held(&listener, &[48, 60]));
    let reading = listener.feed.reading().expect("a reading");
    assert!(
        reading.pedalled.is_empty() && reading.damper,
        "the teacher's pedal"
    );
    wait_for(|| status().name == "Teacher + Pupil (unplugged)");
    assert_eq!(status().away, 1);
    assert_eq!(status().link, Link::Keyboard, "one is there");
    let notice = status().notice.expect("a line");
    assert!(
        notice.starts_with("Pupil was unplugged; its notes are released"),
        "{notice}"
    );
    // Nothing is taken in its place, and the other goes on.
    ports.plug("A third", "3");
    clock.set(Time::millis(500));
    assert!(ports.send_from("Teacher", &[0x90, 52, 80]));
    wait_for(|| held(&listener, &[48, 52, 60]));
    ports.plug("Pupil", "again");
    wait_for(|| status().name == "Teacher + Pupil");
    assert_eq!(status().notice.as_deref(), Some("Pupil is back"));
    assert_eq!(status().away, 0);
    assert!(ports.send_from("Pupil", &[0x90, 79, 80]));
    wait_for(|| held(&listener, &[48, 52, 60, 79]));
    ports.unplug();
    wait_for(|| held(&listener, &[]));
    wait_for(|| status().link == Link::Lost);
}

#[test]
fn one_that_is_not_there_is_said_and_found_later() {
    let wanted = Wanted {
        ports: PAIR.map(String::from).to_vec(),
        ..Wanted::default()
    };
    let (listener, ports, _) = start_on(wanted, &PAIR[..1], Keep::default());
    let status = listener.feed.status();
    assert_eq!(
        (status.link, &*status.name),
        (Link::Keyboard, "Teacher + Pupil (not there)")
    );
    assert!(status.notice.is_some_and(|notice| notice.contains("Pupil")));
    ports.plug("Pupil", "2");
    wait_for(|| listener.feed.status().name == "Teacher + Pupil");
    assert_eq!(listener.feed.status().notice, None);
}

#[test]
fn active_sensing_that_stops_releases_that_keyboard_alone() {
    let (listener, ports, clock) = two(Keep::default());
    clock.set(Time::millis(100));
    assert!(ports.send_from("Teacher", &[0x90, 48, 80]));
    assert!(ports.send_from("Pupil", &[0xfe, 0x90, 60, 80]));
    wait_for(|| held(&listener, &[48, 60]));
    clock.set(Time::millis(350));
    assert!(ports.send_from("Teacher", &[0x90, 52, 80]));
    wait_for(|| held(&listener, &[48, 52, 60]));
    clock.set(Time::millis(450));
    wait_for(|| held(&listener, &[48, 52]));
}

#[test]
fn harmony_comes_from_both_or_from_one() {
    let (listener, ports, clock) = two(Keep::default());
    clock.set(Time::millis(100));
    assert!(ports.send_from("Teacher", &[0x90, 48, 80, 0x90, 52, 80]));
    assert!(ports.send_from("Pupil", &[0x90, 61, 80]));
    wait_for(|| held(&listener, &[48, 52, 61]));
    let order = |from| listener.order(Order::Set(Event::HarmonyFrom(from)));
    order(HARMONY[1]);
    wait_for(|| held(&listener, &[48, 52]));
    assert!(ports.send_from("Pupil", &[0x90, 63, 80]));
    assert!(ports.send_from("Teacher", &[0x90, 55, 80]));
    wait_for(|| held(&listener, &[48, 52, 55]));
    order(HARMONY[2]);
    wait_for(|| held(&listener, &[]));
    assert!(ports.send_from("Pupil", &[0x90, 65, 80]));
    wait_for(|| held(&listener, &[65]));
    assert_eq!(
        listener.feed.reading().map(|r| r.harmony_from),
        Some(HARMONY[2])
    );
}

/// With a pedal of the pupil's down over the rest between two sittings, and unplugged in the
/// second: what one of them does at the same moment as the other too is read again in its order.
#[test]
fn a_sitting_of_two_has_a_track_for_each() {
    let folder = tempfile::tempdir().unwrap();
    let (listener, ports, clock) = two(keeping(folder.path()));
    let growing = |s: Keeping| listener.feed.status().keeping == s;
    let mut ids = Vec::new();
    for (round, id) in [ID.to_owned(), format!("{ID}-2")].into_iter().enumerate() {
        let mut at = Time::millis(1_000 + 300_000 * round as u64);
        for chord in SHUTTLE {
            clock.set(at);
            assert!(ports.send_from("Pupil", &[0xb0, 64, 0, 0xb0, 64, 127]));
            assert!(ports.send_from("Teacher", &[0x90, chord[0], 80]));
            assert!(ports.send_from("Pupil", &[0x90, chord[1], 80]));
            assert!(ports.send_from("Teacher", &[0x90, chord[2], 80]));
            wait_for(|| held(&listener, &chord));
            at += Time::millis(900);
            clock.set(at);
            assert!(ports.send_from("Teacher", &[0x80, chord[0], 0, 0x80, chord[2], 0]));
            assert!(ports.send_from("Pupil", &[0x80, chord[1], 0]));
            wait_for(|| held(&listener, &[]));
            at += Time::millis(100);
        }
        if round == 1 {
            ports.unplug_one("Pupil");
            wait_for(|| listener.feed.reading().is_some_and(|r| !r.damper));
        }
        clock.set(at + Time::millis(100_000));
        wait_for(|| growing(Keeping::Ready));
        ids.push(id);
    }
    listener.finish().unwrap();
    let gone = midi::Keyboard::ALL[1];
    for (id, releases) in ids.iter().zip([0, 1]) {
        let bytes = std::fs::read(Folder::new(folder.path()).path(id)).expect("a sitting");
        let named = tracks(&bytes);
        assert_eq!(named[..2], PAIR.map(String::from), "{named:?}");
        let recording = recording::read(&bytes, Catalogue::standard()).expect("a recording");
        assert!(recording.faults.is_empty());
        assert_eq!(recording.keyboards, PAIR);
        let release = midi::Event::ReleaseKeyboard { keyboard: gone };
        let told = recording
            .notes
            .iter()
            .filter(|t| t.event == release)
            .count();
        assert_eq!(told, releases);
        let struck = |n: usize| {
            let on = |t: &&midi::Timed| match t.event {
                midi::Event::NoteOn { channel, .. } => channel.keyboard().index() == n,
                _ => false,
            };
            recording.notes.iter().filter(on).count()
        };
        assert_eq!([0, 1].map(struck), [16, 8]);
        same_plan(&recording);
    }
}
