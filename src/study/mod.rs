//! Whole recordings: the plan as heard, and the plan in hindsight.
//!
//! As heard is what the live display said, moment by moment. In hindsight is
//! what the whole recording makes likeliest. They are never mixed.

mod chords;
mod hindsight;
mod sounds;

use crate::engine::{
    Change, Event, Frame, History, Judgement, KeySet, Monitor, Observer, Scores, Stroke,
};
use crate::midi::{ABOUT, OURS, Performance, Text, TextKind};
use crate::plan::{ChordSpan, Marker, TonalPlan};
use crate::theory::Catalogue;
use crate::time::Time;
use chords::Chords;
use hindsight::Hindsight;
pub use hindsight::frames_backward;
pub use sounds::Sound;
use std::sync::Arc;

/// A recording, studied.
#[derive(Clone, Debug)]
pub struct Study {
    pub duration: Time,
    /// Regions, homes and chords as the live display said them.
    pub heard: History,
    /// What the whole makes likeliest.
    pub hindsight: TonalPlan,
    /// And its chords.
    pub chords: Vec<ChordSpan>,
    pub markers: Vec<Marker>,
}

impl Study {
    /// How much of it belongs to the plan: all but asides.
    pub fn counted(&self) -> Time {
        let aside = |(from, to): (Time, Time)| to.min(self.duration).since(from);
        let asides = self.heard.asides().map(aside);
        asides.fold(self.duration, |left, aside| left.since(aside))
    }
}

struct Both {
    heard: History,
    hindsight: Hindsight,
    chords: Chords,
    /// What is heard stays out of the plan.
    aside: bool,
}

impl Observer for Both {
    fn change(&mut self, at: Time, change: Change) {
        self.heard.change(at, change);
        match change {
            Change::Rest if !self.aside => {
                self.hindsight.rest();
                self.chords.rest(at);
            }
            Change::Aside(true) => {
                self.hindsight.leave(at);
                self.chords.rest(at);
                self.aside = true;
            }
            Change::Aside(false) => {
                self.hindsight.come_back(at);
                // Without a stroke in it there is no chord.
                self.chords.rest(at);
                self.aside = false;
            }
            _ => {}
        }
    }

    fn keys(&mut self, at: Time, struck: Option<u8>, sounding: KeySet) {
        self.hindsight.keys(at, struck, sounding);
        self.chords.keys(at, struck, sounding);
    }

    fn stroke(&mut self, stroke: &Stroke, judgement: &Judgement, another: bool) {
        if !self.aside {
            self.chords.stroke(stroke, judgement, another);
        }
    }

    fn step(&mut self, at: Time, frame: &Frame, evidence: &Scores) {
        if !self.aside {
            self.hindsight.step(at, frame, evidence);
        }
    }
}

/// Runs a recording through `monitor` as fast as it goes.
pub fn study(performance: &Performance, mut monitor: Monitor, catalogue: &Arc<Catalogue>) -> Study {
    let mut both = Both {
        heard: History::default(),
        hindsight: Hindsight::new(Arc::clone(catalogue), monitor.backward(), monitor.fading()),
        chords: Chords::default(),
        aside: false,
    };
    for (at, event) in events(performance, catalogue) {
        if let Event::Fading(fading) = event {
            both.hindsight.set_fading(fading);
        }
        monitor.on_event(at, event, &mut both);
    }
    monitor.advance_to(performance.end, &mut both);
    both.heard.advance_to(performance.end);
    let hindsight = both.hindsight.finish(performance.end);
    Study {
        duration: performance.end,
        chords: both.chords.finish(performance.end, &hindsight, catalogue),
        hindsight,
        heard: both.heard,
        markers: markers(performance),
    }
}

/// A recording's notes and the settings it carries, what the player said among them, in
/// order.
pub fn events(performance: &Performance, catalogue: &Catalogue) -> Vec<(Time, Event)> {
    let mut settings = performance
        .texts
        .iter()
        .filter_map(|t| {
            let event = Event::from_setting(t.text.strip_prefix(OURS)?, catalogue)?;
            Some((t.before_event, t.at, event))
        })
        .peekable();
    let mut all = Vec::with_capacity(performance.events.len());
    for (i, timed) in performance.events.iter().enumerate() {
        while let Some((_, at, event)) = settings.next_if(|s| s.0 <= i) {
            all.push((at, event));
        }
        all.push((timed.at, Event::Midi(timed.event)));
    }
    all.extend(settings.map(|(_, at, event)| (at, event)));
    all
}

/// The moments that a file names, with what they are about where the recording is ours.
pub fn markers(performance: &Performance) -> Vec<Marker> {
    let texts = &performance.texts;
    let after = texts.iter().skip(1).map(Some).chain([None]);
    texts
        .iter()
        .zip(after)
        .filter(|(t, _)| t.kind == TextKind::Marker)
        .map(|(t, next)| Marker {
            at: t.at,
            about: next.filter(|next| next.at == t.at).and_then(about),
            name: t.text.clone(),
        })
        .collect()
}

/// `peregrinus: about 12.000000 14.500000`: a stretch, in seconds from the start.
fn about(text: &Text) -> Option<(Time, Time)> {
    let seconds = text.text.strip_prefix(ABOUT)?;
    let (from, to) = seconds.split_once(' ')?;
    let time = |s: &str| {
        let seconds: f64 = s.parse().ok()?;
        (seconds.is_finite() && seconds >= 0.0).then(|| Time::from_seconds(seconds))
    };
    let (from, to) = (time(from)?, time(to)?);
    (text.kind == TextKind::Text && from <= to).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_marker_knows_what_it_is_about_if_we_wrote_it() {
        let text = |ms, kind, text: &str| Text {
            at: Time::millis(ms),
            before_event: 0,
            kind,
            text: text.into(),
        };
        let marker = |name| text(40_000, TextKind::Marker, name);
        let ours = |stretch: &str| text(40_000, TextKind::Text, &format!("{ABOUT}{stretch}"));
        let about = |next: Vec<Text>| {
            let texts = [vec![marker("1")], next].concat();
            let performance = Performance {
                texts,
                ..Performance::default()
            };
            let all = markers(&performance);
            assert_eq!((all[0].at, &*all[0].name), (Time::millis(40_000), "1"));
            (all.len(), all[0].about)
        };
        let stretch = Some((Time(600_001), Time::millis(40_000)));
        assert_eq!(about(vec![ours("12.000020 40.000000")]), (1, stretch));
        assert_eq!(about(vec![]), (1, None));
        let other = about(vec![marker("2"), ours("12.000020 40.000000")]);
        assert_eq!(other, (2, None), "it is the second's");
        for wrong in ["", "12", "12 x", "40.0 12.0", "-1 40", "NaN 40", "1 inf"] {
            assert_eq!(about(vec![ours(wrong)]), (1, None), "{wrong}");
        }
        let later = text(40_001, TextKind::Text, &format!("{ABOUT}12.0 40.0"));
        assert_eq!(about(vec![later]), (1, None));
        let name = text(40_000, TextKind::Marker, &format!("{ABOUT}12.0 40.0"));
        assert_eq!(about(vec![name]), (2, None));
    }
}
