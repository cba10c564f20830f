//! Pictures from hand-made readings and histories, as text.

use super::draw;
use super::keys::KeyBindings;
use super::layout::{Panels, Wanted, Way};
use super::look::Look;
use super::palette::{Depth, Palette};
use super::panels::help::HelpView;
use super::pen::Pen;
use super::picture::Picture;
use super::sittings::SittingList;
use super::view::View;
use crate::engine::{
    CANDIDATES, Cause, Change, Collection, Contender, Established, Explanation, History, Inertia,
    Observer, Reading, Removed, VoicedChord,
};
use crate::meter::{BarBeat, Click, Tempo};
use crate::plan::{ChordSpan, Marker, Open};
use crate::source::{Link, Repeat, Source, Transport};
use crate::theory::{
    Catalogue, Glyphs, KeySet, Kinds, Notation, PitchClass, PitchClassSet, Sonority,
    SpelledTonality, Tonality,
};
use crate::time::Time;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

pub(super) mod any_size;
mod correcting;
mod pictures;
mod scenes;
mod sittings;
mod teaching;
mod the_loop;

pub(super) fn sec(s: f64) -> Time {
    Time::from_seconds(s)
}

pub(super) fn established(name: &str, since: f64, at: f64) -> Established {
    let t = Catalogue::standard()
        .parse_tonality(name)
        .expect("a tonality");
    Established {
        spelled: t,
        at: sec(at),
        since: sec(since),
        probability: 0.9,
        open: Open::default(),
    }
}

fn open(mut e: Established, degrees: &[u8], others: &[&str]) -> Established {
    let bits = degrees.iter().fold(0, |b, n| b | 1 << (n - 1));
    let others = others
        .iter()
        .map(|m| Catalogue::standard().find(m).expect("a mode"));
    e.open = Open::new(bits, others);
    e
}

fn keys(list: &[u8]) -> KeySet {
    list.iter().copied().collect()
}

pub(super) fn named(list: &[u8], within: &str) -> Sonority {
    let t = Catalogue::standard()
        .parse_tonality(within)
        .expect("a tonality");
    let set: PitchClassSet = list.iter().map(|&k| PitchClass::of_key(k)).collect();
    let bass = list.iter().min().copied().unwrap_or(0);
    let home = Catalogue::standard().all_forms(t.tonality);
    Kinds::standard().name(set, PitchClass::of_key(bass), home)
}

fn voiced_chord(list: &[u8], within: &str) -> Option<VoicedChord> {
    Some(VoicedChord {
        keys: keys(list),
        sonority: named(list, within),
    })
}

/// Everything one picture is made of.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub reading: Reading,
    pub history: History,
    pub markers: Vec<Marker>,
    pub source: Source,
    pub now: Time,
    pub help: bool,
    pub keys: KeyBindings,
    /// What decides, if that is shown.
    pub explanation: Option<Explanation>,
    /// The harmonized scale is shown.
    pub scale: bool,
    /// How long ago the file ended.
    pub ended: Option<Time>,
    pub way: Way,
    pub panels: Panels,
    pub hidden: bool,
    pub past: Option<ChordSpan>,
    pub still: bool,
    pub frozen: Option<Time>,
    pub list: Option<SittingList>,
    pub banners: Vec<String>,
}

/// A click, and a place in its bars.
fn in_bar(tempo: f64, meter: &str, (bar, beat): (u64, f64)) -> Option<(Click, BarBeat)> {
    let click = Click {
        tempo: Tempo::per_minute(tempo)?,
        meter: meter.parse().ok()?,
        from: Time::ZERO,
    };
    Some((click, BarBeat { bar, beat }))
}

impl Scene {
    /// Before the first note.
    pub fn nothing() -> Scene {
        Scene {
            reading: Reading {
                at: Time::ZERO,
                held: KeySet::EMPTY,
                pedalled: KeySet::EMPTY,
                damper: false,
                struck: KeySet::EMPTY,
                struck_at: Time::ZERO,
                window: [0.0; 12],
                heard: PitchClassSet::EMPTY,
                chord: None,
                harmony: None,
                voiced_chord: None,
                here: None,
                home: None,
                contender: None,
                polymodal: None,
                pinned: None,
                stated: None,
                aside: None,
                ranking: [None; 5],
                collection: None,
                silent_since: None,
                begun: false,
                inertia: Inertia::Phrase,
                harmony_from: Default::default(),
            },
            history: History::default(),
            markers: Vec::new(),
            source: Source {
                name: "Digital Piano".into(),
                link: Link::Keyboard,
                ..Source::default()
            },
            now: Time::ZERO,
            help: false,
            keys: KeyBindings::default(),
            explanation: None,
            scale: false,
            ended: None,
            way: Way::Playing,
            panels: Panels::default(),
            hidden: false,
            past: None,
            still: false,
            frozen: None,
            list: None,
            banners: Vec::new(),
        }
    }

    /// D Dorian for a while; the sixth has not been heard.
    pub fn dorian() -> Scene {
        let mut s = Scene::nothing();
        let here = open(established("D dorian", 2.0, 3.5), &[6], &["aeolian"]);
        let chord = [50, 53, 57, 60];
        s.now = sec(14.2);
        s.reading.at = s.now;
        s.reading.begun = true;
        s.reading.here = Some(here);
        s.reading.home = Some(here);
        s.reading.held = keys(&chord);
        s.reading.pedalled = keys(&[38, 62]);
        s.reading.damper = true;
        s.reading.chord = Some((named(&chord, "D dorian"), sec(14.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "D dorian");
        // D E F G A C.
        let w = [
            0.13, 0.0, 0.26, 0.0, 0.08, 0.17, 0.0, 0.11, 0.0, 0.2, 0.0, 0.0,
        ];
        s.hear(w);
        let h = &mut s.history;
        h.change(
            sec(1.0),
            Change::Chord {
                sonority: named(&[50, 57], "D dorian"),
                keys: KeySet::EMPTY,
            },
        );
        h.change(sec(3.5), Change::Here(here));
        h.change(sec(3.5), Change::Home(here));
        h.change(
            sec(5.0),
            Change::Chord {
                sonority: named(&[43, 47, 50], "D dorian"),
                keys: KeySet::EMPTY,
            },
        );
        h.change(
            sec(10.0),
            Change::Chord {
                sonority: named(&chord, "D dorian"),
                keys: KeySet::EMPTY,
            },
        );
        h.advance_to(s.now);
        s
    }

    /// A bare fifth on D: neither the third nor anything else is known.
    pub fn fifth() -> Scene {
        let mut s = Scene::nothing();
        let modes = ["mixolydian", "dorian", "aeolian"];
        let here = open(established("D ionian", 1.0, 3.0), &[2, 3, 4, 6, 7], &modes);
        let chord = [50, 57];
        s.now = sec(9.0);
        s.reading.at = s.now;
        s.reading.begun = true;
        s.reading.here = Some(here);
        s.reading.home = Some(here);
        s.reading.held = keys(&chord);
        s.reading.chord = Some((named(&chord, "D ionian"), sec(1.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "D ionian");
        s.hear([0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0]);
        s.history.change(sec(3.0), Change::Here(here));
        s.history.change(sec(3.0), Change::Home(here));
        s.history.advance_to(s.now);
        s
    }

    /// G Mixolydian inside D Dorian, with E Aeolian near, later on.
    pub fn wandering() -> Scene {
        let mut s = Scene::dorian();
        let home = established("D dorian", 2.0, 3.5);
        let here = established("G mixolydian", 61.0, 63.0);
        let h = &mut s.history;
        h.change(sec(20.0), Change::Here(established("F lydian", 18.0, 20.0)));
        h.change(sec(32.0), Change::Silence);
        h.change(
            sec(38.0),
            Change::Chord {
                sonority: named(&[50, 53, 57], "D dorian"),
                keys: KeySet::EMPTY,
            },
        );
        h.change(sec(40.0), Change::Here(established("D dorian", 38.0, 40.0)));
        h.change(sec(63.0), Change::Here(here));
        let chord = [43, 59, 62, 65, 69];
        h.change(
            sec(65.0),
            Change::Chord {
                sonority: named(&chord, "G mixolydian"),
                keys: KeySet::EMPTY,
            },
        );
        s.now = sec(67.4);
        h.advance_to(s.now);
        s.markers = vec![
            Marker {
                at: sec(19.0),
                about: None,
                name: "second idea".into(),
            },
            Marker {
                at: sec(61.0),
                about: None,
                name: "bridge".into(),
            },
        ];
        let e = established("E aeolian", 60.0, 60.0);
        s.reading = Reading {
            at: s.now,
            here: Some(here),
            home: Some(home),
            held: keys(&chord),
            pedalled: keys(&[66, 52]),
            chord: Some((named(&chord, "G mixolydian"), sec(65.0))),
            voiced_chord: voiced_chord(&chord, "G mixolydian"),
            contender: Some(Contender {
                spelled: e.spelled,
                probability: 0.3,
                nearness: 0.62,
                in_bass: true,
                heard: Some(PitchClass::new(6)),
            }),
            ..s.reading
        };
        s.hear([
            0.05, 0.0, 0.15, 0.0, 0.08, 0.12, 0.04, 0.28, 0.0, 0.1, 0.0, 0.18,
        ]);
        s
    }

    /// Modes of some seconds each on one center, then a move to A♭.
    pub fn one_center() -> Scene {
        let mut s = Scene::dorian();
        for (at, name) in [
            (20.0, "D phrygian"),
            (29.0, "D aeolian"),
            (37.0, "D phrygian dominant"),
            (44.0, "D lydian"),
            (46.0, "Ab lydian"),
            (52.0, "Db mixolydian"),
        ] {
            let here = established(name, at, at);
            s.history.change(sec(at), Change::Here(here));
            s.reading.here = Some(here);
        }
        s.now = sec(57.0);
        s.reading.at = s.now;
        s.history.advance_to(s.now);
        s
    }

    /// Wandering, after the hands have been off the keys for eight seconds.
    pub fn stopped() -> Scene {
        let mut s = Scene::wandering();
        s.history.change(sec(67.4), Change::Silence);
        s.now = sec(75.9);
        s.history.advance_to(s.now);
        s.reading = Reading {
            at: s.now,
            held: KeySet::EMPTY,
            pedalled: KeySet::EMPTY,
            damper: false,
            chord: None,
            silent_since: Some(sec(67.4)),
            ..s.reading
        };
        s
    }

    /// A minor, on its dominant seventh: a chord of the harmonic form.
    pub fn dominant() -> Scene {
        let mut s = Scene::dorian();
        let here = established("A minor", 2.0, 3.5);
        let chord = [40, 56, 59, 62];
        s.reading.here = Some(here);
        s.reading.home = Some(here);
        s.reading.held = keys(&chord);
        s.reading.pedalled = KeySet::EMPTY;
        s.reading.chord = Some((named(&chord, "A minor"), sec(14.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "A minor");
        s
    }

    /// With the harmonized scale.
    pub fn harmonized(mut self) -> Scene {
        self.scale = true;
        self
    }

    /// With names pinned to a tonality.
    pub fn pinned(mut self, name: &str) -> Scene {
        let pin = established(name, 0.0, 0.0);
        self.reading.pinned = Some(pin.spelled);
        self
    }

    /// Established here: another.
    pub fn here(mut self, name: &str) -> Scene {
        self.reading.here = Some(established(name, 2.0, 3.5));
        self
    }

    /// Draws what `panel` draws, in a place of its own.
    pub fn panel(
        &self,
        (width, height): (u16, u16),
        notation: Notation,
        panel: impl FnOnce(&mut Pen, &Picture, &Look),
    ) -> Buffer {
        let mut buf = Buffer::empty(Rect::new(0, 0, width, height));
        let picture = self.picture();
        let look = Look {
            notation,
            ..self.look(notation.glyphs)
        };
        let area = buf.area;
        panel(&mut Pen::new(&mut buf, area), &picture, &look);
        buf
    }

    /// An upper structure: D over C7, under both hands.
    pub fn upper() -> Scene {
        let mut s = Scene::dorian();
        let here = established("C mixolydian", 2.0, 3.5);
        let chord = [36, 52, 58, 66, 69, 74];
        s.reading.here = Some(here);
        s.reading.home = Some(here);
        s.reading.held = keys(&chord);
        s.reading.pedalled = KeySet::EMPTY;
        s.reading.chord = Some((named(&chord, "C mixolydian"), sec(14.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "C mixolydian");
        s
    }

    /// A stack of fourths in one hand.
    pub fn quartal() -> Scene {
        let mut s = Scene::dorian();
        let chord = [62, 67, 72];
        s.reading.held = keys(&chord);
        s.reading.pedalled = KeySet::EMPTY;
        s.reading.chord = Some((named(&chord, "D dorian"), sec(14.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "D dorian");
        s
    }

    /// A whole-tone run.
    pub fn whole_tone() -> Scene {
        let mut s = Scene::nothing();
        let chord = [60, 62, 64, 66, 68];
        s.now = sec(4.0);
        s.reading.begun = true;
        s.reading.collection = Some(Collection::WHOLE_TONE);
        s.reading.held = keys(&chord);
        s.reading.chord = Some((named(&chord, "C ionian"), sec(3.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "C ionian");
        s.hear([0.2, 0.0, 0.2, 0.0, 0.2, 0.0, 0.2, 0.0, 0.1, 0.0, 0.1, 0.0]);
        s.history.advance_to(s.now);
        s
    }

    /// A file, paused between repeat points, in a tonality with a long name.
    pub fn file() -> Scene {
        let mut s = Scene::wandering();
        let here = established("F# phrygian dominant", 61.0, 63.0);
        s.reading.here = Some(here);
        s.reading.home = Some(established("B minor", 2.0, 3.5));
        s.reading.contender = None;
        let chord = [54, 58, 61, 64, 67];
        s.reading.held = keys(&chord);
        s.reading.chord = Some((named(&chord, "F# phrygian dominant"), sec(65.0)));
        s.reading.voiced_chord = voiced_chord(&chord, "F# phrygian dominant");
        s.history.change(sec(67.4), Change::Here(here));
        s.source = Source {
            name: "several modes on one center.mid".into(),
            link: Link::File,
            transport: Some(Transport {
                position: sec(67.4),
                duration: sec(82.0),
                speed: 0.5,
                paused: true,
                ended: false,
                repeat: Repeat::Between(sec(60.0), sec(70.0)),
                going: None,
            }),
            ..Source::default()
        };
        s
    }

    /// The file three seconds after its end, its last chord still held.
    pub fn ended() -> Scene {
        let mut s = Scene::file();
        s.now = sec(82.0);
        s.reading.at = s.now;
        s.history.advance_to(s.now);
        if let Some(t) = &mut s.source.transport {
            t.position = t.duration;
            t.paused = false;
            t.ended = true;
        }
        s.ended = Some(sec(3.0));
        s
    }

    /// The keyboard was unplugged, and the queue had overflowed before.
    pub fn lost() -> Scene {
        let mut s = Scene::stopped();
        s.source.link = Link::Lost;
        s.source.dropped = 12;
        s.source.recording = Some("evening.mid".into());
        s.source.notice =
            Some("Digital Piano is gone; it comes back by itself when plugged in.".into());
        s
    }

    /// The bass, a note, a chord and a long last note speak for what is established, the
    /// note above the center against it.
    pub fn explained(mut self) -> Scene {
        let Some(here) = self.reading.here else {
            return self;
        };
        let center = here.spelled.tonality.center;
        let up = |n| PitchClassSet::EMPTY.with(center.up(n));
        let g7 = named(&[43, 53, 59, 62], "D dorian");
        let at = self.reading.at;
        let other = |name: &str| {
            let e = established(name, 0.0, 0.0);
            Some(e.spelled)
        };
        let mut causes = [None; crate::engine::CAUSES];
        let all = [
            (Removed::Bass(up(0)), 0.31, 0.41),
            (Removed::PitchClass(center.up(3)), 0.02, 0.12),
            (Removed::Chord(g7, at - sec(2.5)), 0.05, 0.1),
            (Removed::PhraseEnd(up(0), at - sec(1.0)), 0.07, 0.08),
            (Removed::PitchClass(center.up(7)), 0.03, 0.02),
            (Removed::PitchClass(center.up(5)), 0.001, 0.001),
            (Removed::PitchClass(center.up(10)), -0.01, -0.02),
            (Removed::PitchClass(center.up(8)), -0.03, -0.05),
        ];
        // Without the bass another center, without the third another mode.
        let ionian = other("C ionian").map(|t| SpelledTonality {
            tonality: Tonality {
                center,
                ..t.tonality
            },
            tonic: here.spelled.tonic,
        });
        let instead = [other("A aeolian"), ionian];
        let instead = instead.into_iter().chain(std::iter::repeat(None));
        let all = all.into_iter().zip(instead);
        for (place, ((removed, center_change, change), instead)) in causes.iter_mut().zip(all) {
            *place = Some(Cause {
                removed,
                candidate_changes: [0.0; CANDIDATES],
                center_change,
                change,
                instead,
            });
        }
        self.explanation = Some(Explanation {
            at,
            since: at - sec(7.5),
            spelled: here.spelled,
            center_probability: 0.97,
            probability: 0.88,
            likeliest: here.spelled.tonality,
            candidates: [None; CANDIDATES],
            no_center_probability: 0.0,
            causes,
        });
        self
    }

    fn hear(&mut self, window: [f32; 12]) {
        self.reading.window = window;
        self.reading.heard = PitchClass::all()
            .filter(|p| window[p.index()] > 0.0)
            .collect();
    }

    pub fn draw(&self, width: u16, height: u16, palette: Palette, glyphs: Glyphs) -> Buffer {
        self.draw_after(&mut self.view(), width, height, palette, glyphs)
    }

    /// What is to be seen, as the scene says.
    fn view(&self) -> View {
        let mut help = HelpView::default();
        if self.help {
            help.press(1);
        }
        View {
            help,
            wanted: Wanted {
                way: self.way,
                panels: self.panels,
                evidence: self.explanation.is_some(),
                scale: self.scale,
            },
            ..View::default()
        }
    }

    pub fn picture(&self) -> Picture<'_> {
        Picture {
            reading: &self.reading,
            history: &self.history,
            markers: &self.markers,
            source: &self.source,
            explanation: self.explanation.as_ref(),
            now: self.now,
            ended: self.ended,
            hidden: self.hidden,
            past: self.past.as_ref(),
            still: self.still,
            frozen: self.frozen,
            list: self.list.as_ref(),
            banners: &self.banners,
        }
    }

    /// In the usual conventions.
    pub fn look(&self, glyphs: Glyphs) -> Look<'_> {
        Look {
            notation: Notation {
                glyphs,
                ..Notation::default()
            },
            palette: Palette::Dark,
            depth: Depth::default(),
            catalogue: Catalogue::standard(),
            keys: &self.keys,
        }
    }

    /// With what the screen remembers of the picture before.
    fn draw_after(
        &self,
        view: &mut View,
        width: u16,
        height: u16,
        palette: Palette,
        glyphs: Glyphs,
    ) -> Buffer {
        let notation = Notation {
            glyphs,
            ..Notation::default()
        };
        self.draw_in(notation, view, (width, height), (palette, Depth::default()))
    }

    /// In other colours.
    fn draw_coloured(&self, size: (u16, u16), colours: (Palette, Depth)) -> Buffer {
        self.draw_in(Notation::default(), &mut self.view(), size, colours)
    }

    /// In other conventions and colours.
    fn draw_in(
        &self,
        notation: Notation,
        view: &mut View,
        (width, height): (u16, u16),
        (palette, depth): (Palette, Depth),
    ) -> Buffer {
        let mut buf = Buffer::empty(Rect::new(0, 0, width, height));
        let picture = self.picture();
        let look = Look {
            notation,
            palette,
            depth,
            catalogue: Catalogue::standard(),
            keys: &self.keys,
        };
        drawn_after(&mut buf, &picture, view, &look);
        buf
    }

    pub fn text(&self, width: u16, height: u16, glyphs: Glyphs) -> String {
        as_text(&self.draw(width, height, Palette::Dark, glyphs))
    }
}

/// Draws the picture as the loop does: the view follows it, then it is drawn.
pub(super) fn drawn_after(buf: &mut Buffer, picture: &Picture, view: &mut View, look: &Look) {
    view.follow(picture, buf.area);
    view.drawn = draw::draw(buf, picture, view, look);
}

pub(super) fn as_text(buf: &Buffer) -> String {
    let rows = (0..buf.area.height).map(|y| {
        let row: String = (0..buf.area.width).map(|x| buf[(x, y)].symbol()).collect();
        row.trim_end().to_owned()
    });
    rows.collect::<Vec<_>>().join("\n")
}
