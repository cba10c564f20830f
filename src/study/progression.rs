//! The harmonies of a whole recording at their own pace, in hindsight.

use crate::engine::{CHANGE, HarmonyEvidence, LineFollower, Meant, RootedTriad, Stroke};
use crate::meter::Bars;
use crate::plan::{ChordSpan, HarmonySpan, Region};
use crate::theory::{Bassist, Catalogue, Hearing, KeySet, Line, PitchClassSet, Sonority};
use crate::time::Time;

/// The factor of a change's price: harmonies begin on bars rather than on other beats, and seldom
/// between them.
const ON_A_BAR: f32 = 0.7;
const BETWEEN: f32 = 1.6;
/// What lies this near to a beat is on it.
const NEAR: Time = Time::millis(90);

/// The price of a change at this moment.
pub(super) fn price(bars: Option<&Bars>, at: Time) -> f32 {
    CHANGE * bars.map_or(1.0, |bars| accent(bars, at))
}

fn accent(bars: &Bars, at: Time) -> f32 {
    let Some(beat) = bars.nearest(at) else {
        return 1.0;
    };
    match at.since(beat).max(beat.since(at)) {
        off if off > NEAR => BETWEEN,
        _ if bars.place(beat).is_some_and(|place| place.beat < 1.5) => ON_A_BAR,
        _ => 1.0,
    }
}

/// Takes the harmony meant at each stroke, and what the stroke says of it, and makes spans of
/// them, from beat to beat where there are bars. Where too little was heard for a chord there
/// is none.
pub(super) struct Sheet<'a> {
    strokes: &'a [Stroke],
    /// When the last sound ends.
    end: Time,
    /// Those that are not over.
    regions: &'a [Region],
    catalogue: &'a Catalogue,
    pub bars: Option<&'a Bars>,
    /// How many strokes were taken.
    taken: usize,
    run: Option<Run>,
    lines: LineFollower,
    out: Vec<HarmonySpan>,
}

/// Strokes of one harmony.
struct Run {
    harmony: RootedTriad,
    start: Time,
    gathered: HarmonyEvidence,
    line: Option<Line>,
    keys: KeySet,
}

impl<'a> Sheet<'a> {
    pub fn new(
        strokes: &'a [Stroke],
        end: Time,
        (regions, catalogue): (&'a [Region], &'a Catalogue),
        bars: Option<&'a Bars>,
    ) -> Sheet<'a> {
        Sheet {
            strokes,
            end,
            regions,
            catalogue,
            bars,
            taken: 0,
            run: None,
            lines: LineFollower::default(),
            out: Vec::new(),
        }
    }

    /// Of the next stroke.
    pub fn take(&mut self, harmony: RootedTriad, meant: Meant) {
        let Some(stroke) = self.strokes.get(self.taken) else {
            return;
        };
        self.taken += 1;
        let until = self.strokes.get(self.taken).map_or(self.end, |s| s.at);
        if let Some(run) = self.run.take_if(|run| run.harmony != harmony) {
            self.close(run, stroke.at);
        }
        let run = self.run.get_or_insert(Run {
            harmony,
            start: stroke.at,
            gathered: HarmonyEvidence::NOTHING,
            line: None,
            keys: KeySet::EMPTY,
        });
        let seconds = until.since(stroke.at).seconds();
        run.gathered.take(stroke, seconds, meant);
        run.keys |= stroke.struck;
        self.lines.hear(stroke);
        let before = run.line;
        let longer = |new: &Line| before.is_none_or(|l| l.notes().len() < new.notes().len());
        run.line = self.lines.within(run.start).filter(longer).or(before);
    }

    fn close(&mut self, run: Run, stop: Time) {
        let start = run.start;
        let over = self.regions.iter().take_while(|r| r.end <= start).count();
        self.regions = &self.regions[over..];
        let within = self.regions.first();
        let within = within.filter(|r| r.start <= start && start < r.end);
        let within = within.map(|r| r.spelled);
        let hearing = Hearing {
            scale: within.map_or(PitchClassSet::ALL, |t| self.catalogue.all_forms(t.tonality)),
            center: within.map(|t| t.tonality.center),
            before: self.out.last().and_then(|h| h.span.sonority.chord()),
            bassist: Bassist::Absent,
        };
        let Some(chord) = run.gathered.chord(run.harmony, run.line, hearing) else {
            return;
        };
        let sonority = Sonority::Chord(chord);
        match self.out.last_mut() {
            Some(before) if before.span.sonority == sonority && before.span.end == start => {
                before.span.end = stop;
                before.span.keys |= run.keys;
                before.line = before.line.or(run.line);
            }
            _ => self.out.push(HarmonySpan {
                span: ChordSpan {
                    start,
                    end: stop,
                    sonority,
                    within,
                    keys: run.keys,
                },
                line: run.line,
            }),
        }
    }

    /// There are no more strokes.
    pub fn finish(mut self) -> Vec<HarmonySpan> {
        if let Some(run) = self.run.take() {
            let stop = self.end.max(run.start);
            self.close(run, stop);
        }
        if let Some(bars) = self.bars {
            for HarmonySpan { span, .. } in &mut self.out {
                let nearest = |at| bars.nearest(at).unwrap_or(at);
                (span.start, span.end) = (nearest(span.start), nearest(span.end));
            }
        }
        self.out
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::Monitor;
    use crate::midi::{Channel, Event, Timed};
    use crate::plan::HarmonySpan;
    use crate::recording::Recording;
    use crate::study::study;
    use crate::theory::{Around, Catalogue, Notation, Sonority};
    use crate::time::Time;
    use std::sync::Arc;

    /// What is written over the bars: keys and from when to when, in beats of 500 ms. As heard,
    /// and in hindsight.
    fn sheet(notes: &[(f64, f64, &[u8])]) -> [String; 2] {
        let mut events = Vec::new();
        for &(on, off, keys) in notes {
            for &key in keys {
                let (channel, velocity) = (Channel::ALL[0], 80);
                let struck = Event::NoteOn {
                    channel,
                    key,
                    velocity,
                };
                let at = |beats: f64| Time::from_seconds(beats / 2.0);
                events.push((at(on), 1, struck));
                events.push((at(off), 0, Event::NoteOff { channel, key }));
            }
        }
        events.sort_by_key(|&(at, order, _)| (at, order));
        let end = events.last().expect("notes").0;
        let notes = events.into_iter();
        let recording = Recording {
            notes: notes.map(|(at, _, event)| Timed { at, event }).collect(),
            end,
            ..Recording::default()
        };
        let catalogue = Arc::new(Catalogue::standard().clone());
        let monitor = Monitor::new(Arc::clone(&catalogue)).expect("the weights");
        let study = study(&recording, monitor, &catalogue);
        let notation = Notation::PLAIN;
        let written = |h: &HarmonySpan| {
            let Sonority::Chord(chord) = h.span.sonority else {
                panic!("{:?} is no chord", h.span.sonority)
            };
            let root = notation.root(chord, (h.span.within, Around::default()), &catalogue);
            let label = notation.chord(chord, root);
            match h.line {
                Some(line) => {
                    let notes: Vec<String> = line.spelled(root).map(|n| n.to_string()).collect();
                    format!("{label} ({})", notes.join(" "))
                }
                None => label,
            }
        };
        [study.heard.harmonies(), &study.harmonies].map(|list| {
            let all: Vec<String> = list.iter().map(written).collect();
            all.join(" | ")
        })
    }

    /// A chord comped on two and four over a bass in quarters.
    fn walking(bars: &[(&[u8], [u8; 4])]) -> Vec<(f64, f64, Vec<u8>)> {
        let mut out = Vec::new();
        for (bar, (chord, bass)) in bars.iter().enumerate() {
            let first = 4.0 * bar as f64;
            for (beat, &key) in bass.iter().enumerate() {
                let on = first + beat as f64;
                out.push((on, on + 0.95, vec![key]));
            }
            for beat in [1.0, 3.0] {
                out.push((first + beat, first + beat + 0.6, chord.to_vec()));
            }
        }
        out
    }

    fn of(notes: &[(f64, f64, Vec<u8>)]) -> [String; 2] {
        let all: Vec<(f64, f64, &[u8])> = notes.iter().map(|(a, b, k)| (*a, *b, &k[..])).collect();
        sheet(&all)
    }

    /// Common practice, no source: a bass that walks through root, third, fifth and a passing
    /// note, or alternates root and fifth, moves under one harmony.
    #[test]
    fn a_bass_moves_under_a_harmony() {
        let seventh: &[u8] = &[58, 64, 69];
        let blues = [
            (seventh, [36, 40, 43, 45]),
            (seventh, [48, 46, 43, 40]),
            (&[57, 63, 67], [41, 45, 48, 50]),
            (&[57, 63, 67], [53, 51, 48, 45]),
        ];
        for label in of(&walking(&blues)) {
            let roots: Vec<&str> = label.split(" | ").collect();
            assert_eq!(roots.len(), 2, "{label}");
            assert!(
                roots[0].starts_with("C") && roots[1].starts_with("F"),
                "{label}"
            );
            assert!(roots.iter().all(|r| !r.contains('/')), "{label}");
        }
        let alternating = [
            (&[60, 64, 67][..], [36, 43, 36, 43]),
            (&[60, 64, 67], [36, 43, 36, 43]),
            (&[59, 62, 67], [43, 38, 43, 38]),
            (&[60, 64, 67], [36, 43, 36, 43]),
        ];
        assert_eq!(of(&walking(&alternating)), ["C | G | C", "C | G | C"]);
    }

    /// Common practice, no source.
    #[test]
    fn a_line_that_falls_through_a_harmony_is_named_in_it() {
        let falling = [
            (0.0, 1.9, &[45, 60, 64, 69][..]),
            (2.0, 3.9, &[45, 60, 64, 68]),
            (4.0, 5.9, &[45, 60, 64, 67]),
            (6.0, 7.9, &[45, 60, 64, 66]),
            (8.0, 11.9, &[50, 57, 60, 65]),
            (12.0, 15.9, &[40, 56, 59, 62]),
            (16.0, 19.9, &[45, 57, 60, 64]),
        ];
        let [_, hindsight] = sheet(&falling);
        assert!(hindsight.starts_with("Am"), "{hindsight}");
        let first = hindsight.split(" | ").next().unwrap_or_default();
        assert!(first.ends_with("(A G♯ G F♯)"), "{hindsight}");
    }

    /// Each chord of a block cadence, held for two beats, is a harmony.
    #[test]
    fn block_chords_are_harmonies_of_their_own() {
        let cadence = [
            (0.0, 1.9, &[48, 60, 64, 67][..]),
            (2.0, 3.9, &[53, 57, 60, 65]),
            (4.0, 5.9, &[55, 59, 62, 65]),
            (6.0, 9.9, &[48, 60, 64, 67]),
        ];
        assert_eq!(sheet(&cadence), ["C | F | G7 | C", "C | F | G7 | C"]);
    }

    /// A third that nobody played is not claimed.
    #[test]
    fn nothing_that_was_not_heard_is_named() {
        let fifths = [(0.0, 3.9, &[40, 47, 52][..]), (4.0, 7.9, &[40, 47, 52])];
        assert_eq!(sheet(&fifths), ["", ""]);
    }
}
