//! What the screen itself remembers from one picture to the next.

use super::label::Label;
use super::layout::{self, Places, Wanted, Way};
use super::panels::help::HelpView;
use super::panels::piano::{self, Degrees};
use super::picture::Picture;
use super::timeline::{self, TimelineView};
use crate::theory::{ModeId, Spelling};
use crate::time::Time;
use ratatui::layout::Rect;

#[derive(Clone, Debug)]
pub(super) struct View {
    pub help: HelpView,
    /// Which way, and what is shown of it.
    pub wanted: Wanted,
    /// The mode that the teacher compares with, on the same tonic.
    pub compared: Option<ModeId>,
    /// What of the past the history shows.
    pub history: TimelineView,
    /// What of the sitting is shown, looking back.
    pub lanes: TimelineView,
    pub bars: BarOrder,
    /// The lowest key of the piano that is shown, where not all have room.
    pub lowest_key: u8,
    /// The center that the bars of what was heard lately stand around: the last one known.
    pub around: Spelling,
    pub label: Label,
    /// What was drawn last.
    pub drawn: Drawn,
}

/// The order of the bars of what was heard lately.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum BarOrder {
    #[default]
    Fifths,
    Chromatic,
}

/// What drawing a picture found out for the keys and the mouse.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Drawn {
    /// Where the panels are.
    pub places: Places,
    /// The columns of time of the history or the lanes, where either is there.
    pub past: Option<timeline::Drawn>,
    /// Where the rows of the list of sittings are, if it is open.
    pub list: Rect,
    /// Pages that the help has, where it is open.
    pub help_pages: usize,
}

impl View {
    /// Follows the picture that is to be drawn next, in `area`.
    pub fn follow(&mut self, picture: &Picture, area: Rect) {
        if let Some(here) = picture.reading.here {
            self.around = here.spelled.tonic;
        }
        self.label.follow(picture);
        if let Some(places) = layout::places(area, &self.wanted_in(picture)) {
            let sounding = picture.reading.sounding();
            let degrees = self.degrees(picture);
            self.lowest_key = piano::lowest(places.piano.width, sounding, self.lowest_key, degrees);
        }
    }

    /// What is wanted, as far as this picture may show it: a panel that is nothing but
    /// names gives its place to the keys while names are hidden.
    pub fn wanted_in(&self, picture: &Picture) -> Wanted {
        Wanted {
            evidence: self.wanted.evidence && !picture.hidden,
            ..self.wanted
        }
    }

    /// The degrees that the piano writes.
    pub fn degrees(&self, picture: &Picture) -> Degrees {
        match self.wanted.way == Way::Teaching && !picture.hidden {
            true => Degrees::OfTheMode,
            false => Degrees::OfWhatSounds,
        }
    }

    /// The view of the past that is on the screen.
    pub fn past(&mut self) -> &mut TimelineView {
        match self.wanted.way {
            Way::LookingBack => &mut self.lanes,
            Way::Playing | Way::Teaching => &mut self.history,
        }
    }

    /// The moment of the past that is looked at, where the past is on the screen.
    pub fn looks_at(&self) -> Option<Time> {
        let (past, place) = match self.wanted.way {
            Way::LookingBack => (&self.lanes, self.drawn.places.lanes),
            Way::Playing | Way::Teaching => (&self.history, self.drawn.places.history),
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
            history: TimelineView::default(),
            lanes: TimelineView::all(),
            bars: BarOrder::default(),
            lowest_key: 24,
            around: Spelling::at(2),
            label: Label::default(),
            drawn: Drawn::default(),
        }
    }
}
