//! The whole picture: who sits where, and in which size.

use super::help::HelpView;
use super::keys::Keys;
use super::layout::{self, Places, SMALLEST, Wanted, Way};
use super::palette::{Depth, Palette, Styles};
use super::pen::{Pen, columns};
use super::timeline::StripView;
use super::{
    Source, beside, brightness, chord, contender, help, here, lanes, piano, scale, status,
};
use super::{strip, why, window};
use crate::engine::{Explanation, History, Reading};
use crate::plan::{ChordSpan, Marker};
use crate::theory::{Catalogue, Glyphs, ModeId, Notation, Spelling, Tonality};
use crate::time::Time;
use ratatui::buffer::Buffer;

/// What is to be seen: snapshots only.
pub(super) struct Picture<'a> {
    pub reading: &'a Reading,
    pub history: &'a History,
    pub markers: &'a [Marker],
    pub source: &'a Source,
    /// The latest, if any was asked for.
    pub explanation: Option<&'a Explanation>,
    pub now: Time,
    /// How long ago the file ended, if it has: its own time stands still then.
    pub ended: Option<Time>,
    /// No name is to be read, until the class has found it.
    pub hidden: bool,
    /// A chord that was, in the place of the present one.
    pub past: Option<&'a ChordSpan>,
    /// Its time does not go on: nothing more is to be waited for.
    pub still: bool,
    /// How long it has stood still, where the player has frozen it.
    pub frozen: Option<Time>,
    /// What is to be said before the notice: that it is frozen, pinned, an aside.
    pub banners: &'a [String],
}

impl Picture<'_> {
    /// How long it has been still, once that is more than a breath, or since the
    /// file ended.
    pub fn asleep(&self) -> Option<Time> {
        let silent = self.reading.silent_since.map(|s| self.now.since(s));
        if let Some(ended) = self.ended {
            return Some(ended + silent.unwrap_or_default());
        }
        silent.filter(|&s| s >= Time::millis(2000))
    }

    /// Now, or when the last sound ended.
    pub fn moment(&self) -> Time {
        self.reading.silent_since.unwrap_or(self.now)
    }
}

/// How it is to be written.
pub(super) struct Look<'a> {
    pub notation: Notation,
    pub palette: Palette,
    pub depth: Depth,
    pub catalogue: &'a Catalogue,
    /// The keys in force, where they are named.
    pub keys: &'a Keys,
}

impl Look<'_> {
    pub fn ascii(&self) -> bool {
        self.notation.glyphs == Glyphs::Ascii
    }

    /// A tonic in the user's letters.
    pub fn center(&self, t: Tonality, tonic: Spelling) -> String {
        self.notation.center(t, tonic, self.catalogue)
    }

    pub fn styles(&self) -> &'static Styles {
        self.palette.styles(self.depth)
    }

    /// A sign, or what stands for it in ASCII.
    pub fn sign<T>(&self, unicode: T, ascii: T) -> T {
        if self.ascii() { ascii } else { unicode }
    }
}

/// What the screen itself remembers between two pictures.
#[derive(Clone, Debug)]
pub(super) struct View {
    pub help: HelpView,
    /// Which way, and what is shown of it.
    pub wanted: Wanted,
    /// The mode that the teacher compares with, on the same tonic.
    pub compared: Option<ModeId>,
    pub strip: StripView,
    /// What of the sitting is shown, looking back.
    pub lanes: StripView,
    /// The window's bars in chromatic order, not in fifths.
    pub chromatic: bool,
    /// The lowest key shown, where not all have room.
    pub lowest_key: u8,
    /// The center that the window's bars stand around: the last one known.
    pub around: Spelling,
    pub label: chord::Label,
    /// Where the panels were drawn last: what the mouse points at.
    pub places: Places,
}

impl View {
    /// The view of the past that is on the screen.
    pub fn past(&mut self) -> &mut StripView {
        match self.wanted.way {
            Way::LookingBack => &mut self.lanes,
            Way::Playing | Way::Teaching => &mut self.strip,
        }
    }
}

impl View {
    /// The moment of the past that is looked at, where the past is on the screen.
    pub fn looks_at(&self) -> Option<Time> {
        let (past, place) = match self.wanted.way {
            Way::LookingBack => (&self.lanes, self.places.lanes),
            Way::Playing | Way::Teaching => (&self.strip, self.places.strip),
        };
        past.chosen().filter(|_| !place.is_empty())
    }
}

impl Default for View {
    fn default() -> View {
        View {
            help: HelpView::default(),
            wanted: Wanted::default(),
            compared: None,
            strip: StripView::default(),
            lanes: StripView::all(),
            chromatic: false,
            lowest_key: 24,
            around: Spelling::at(2),
            label: chord::Label::default(),
            places: Places::default(),
        }
    }
}

/// Draws everything into the buffer, which is empty before.
pub(super) fn draw(buf: &mut Buffer, picture: &Picture, view: &mut View, look: &Look) {
    let area = buf.area;
    buf.set_style(area, look.styles().ground());
    if let Some(here) = picture.reading.here {
        view.around = here.tonic;
    }
    view.label.follow(picture);
    // Not even its form is to be read off the strip.
    let nothing = History::default();
    let history = if picture.hidden {
        &nothing
    } else {
        picture.history
    };
    let picture = &Picture {
        history,
        ..*picture
    };
    // What is nothing but names gives its place to the keys.
    let wanted = Wanted {
        why: view.wanted.why && !picture.hidden,
        ..view.wanted
    };
    let places = layout::places(area, &wanted);
    view.places = places.unwrap_or_default();
    match places {
        None => too_small(buf, look),
        Some(p) => {
            here::draw(&mut Pen::new(buf, p.here), p.size, picture, look);
            let mut pen = Pen::new(buf, p.chord);
            chord::draw(&mut pen, p.size.chord, picture, &view.label, look);
            if !picture.hidden {
                names(buf, &p, picture, view, look);
            }
            contender::draw(&mut Pen::new(buf, p.contender), picture, look);
            let degrees = view.wanted.way == Way::Teaching && !picture.hidden;
            piano::draw(&mut Pen::new(buf, p.piano), picture, view, look, degrees);
            strip::draw(&mut Pen::new(buf, p.strip), picture, &mut view.strip, look);
            lanes::draw(&mut Pen::new(buf, p.lanes), picture, &mut view.lanes, look);
            status::notice(&mut Pen::new(buf, p.notice), picture, look);
            status::draw(&mut Pen::new(buf, p.status), picture, look);
        }
    }
    if view.help.is_open() {
        help::draw(&mut Pen::new(buf, area), picture, &mut view.help, look);
    }
}

/// The panels that are nothing but names.
fn names(buf: &mut Buffer, p: &Places, picture: &Picture, view: &View, look: &Look) {
    window::draw(&mut Pen::new(buf, p.window), picture, view, look);
    let mut pen = Pen::new(buf, p.scale);
    match other(picture, view) {
        _ if p.scale.is_empty() => {}
        Some(other) => beside::draw(&mut pen, picture, other, &view.label, look),
        None => scale::draw(&mut pen, picture, &view.label, look),
    }
    brightness::draw(
        &mut Pen::new(buf, p.brightness),
        picture,
        view.compared,
        look,
    );
    beside::relatives(&mut Pen::new(buf, p.relatives), picture, look);
    let mut pen = Pen::new(buf, p.why);
    match (p.why.width, p.why.height) {
        (_, 0) => {}
        (40.., 6..) => why::panel(&mut pen, picture, look),
        _ => why::draw(&mut pen, picture, look),
    }
}

/// The tonality that the teacher sets beside: the mode that was chosen, or home.
fn other(picture: &Picture, view: &View) -> Option<(Tonality, Spelling)> {
    if view.wanted.way != Way::Teaching {
        return None;
    }
    let reading = picture.reading;
    let (reference, tonic) = reading.within()?;
    let parallel = |mode| (Tonality { mode, ..reference }, tonic);
    let home = || reading.home.map(|h| (h.tonality, h.tonic));
    let other = view.compared.map(parallel);
    let other = other.or_else(|| home().filter(|_| view.wanted.scale));
    other.filter(|o| o.0 != reference)
}

fn too_small(buf: &mut Buffer, look: &Look) {
    let area = buf.area;
    let mut pen = Pen::new(buf, area);
    let (w, h) = SMALLEST;
    let by = look.sign("×", "x");
    let texts = [
        format!(
            "Too small: Peregrinus needs {w}{by}{h}, this is {}{by}{}.",
            area.width, area.height
        ),
        format!("Too small: needs {w}{by}{h}"),
        format!("needs {w}{by}{h}"),
        format!("{w}{by}{h}"),
    ];
    let text = texts.iter().find(|t| columns(t) <= area.width);
    if let Some(text) = text {
        let x = (area.width - columns(text)) / 2;
        pen.put(x, area.height / 2, text, look.styles().text);
    } else {
        pen.put(0, area.height / 2, "!", look.styles().warning);
    }
}

/// Length of time in words: `6 s`, `4 min`, `2 h`.
pub(super) fn length(t: Time) -> String {
    match t.seconds() as u64 {
        s @ 0..60 => format!("{s} s"),
        s @ 60..3600 => format!("{} min", s / 60),
        s => format!("{} h", s / 3600),
    }
}

/// A place in time: `1:04`, `1:02:03`.
pub(super) fn clock(t: Time) -> String {
    let s = t.seconds() as u64;
    if s < 3600 {
        format!("{}:{:02}", s / 60, s % 60)
    } else {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    }
}
