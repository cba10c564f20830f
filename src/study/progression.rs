//! The harmonies of a whole recording at their own pace, in hindsight.

use crate::engine::{Gathered, LineFollower, Meant, RootedTriad, Stroke};
use crate::plan::{ChordSpan, HarmonySpan, Region};
use crate::theory::{Catalogue, Hearing, Line, PitchClassSet, Sonority};
use crate::time::Time;

/// The harmony meant at each stroke, and what the stroke says of it, become spans.
/// Where too little was heard for a chord there is none. `end`: when the last sound ends.
pub(super) fn harmonies(
    strokes: &[Stroke],
    meant: &[(RootedTriad, Meant)],
    end: Time,
    (mut regions, catalogue): (&[Region], &Catalogue),
) -> Vec<HarmonySpan> {
    let mut out: Vec<HarmonySpan> = Vec::new();
    let mut first = 0;
    let mut lines = LineFollower::default();
    for run in meant.chunk_by(|a, b| a.0 == b.0) {
        let own = &strokes[first..first + run.len()];
        first += run.len();
        let until = |k: usize| own.get(k + 1).or(strokes.get(first)).map_or(end, |s| s.at);
        let (start, stop) = (own[0].at, until(own.len() - 1).max(own[0].at));
        let over = regions.iter().take_while(|r| r.end <= start).count();
        regions = &regions[over..];
        let within = regions
            .first()
            .filter(|r| r.start <= start && start < r.end);
        let within = within.map(|r| r.spelled());
        let mut gathered = Gathered::NOTHING;
        let mut line: Option<Line> = None;
        let mut keys = 0;
        for (k, (stroke, &(_, meant))) in own.iter().zip(run).enumerate() {
            gathered.take(stroke, until(k).since(stroke.at).seconds(), meant);
            keys |= stroke.struck;
            lines.hear(stroke);
            let longer = |new: &Line| line.is_none_or(|l| l.notes().len() < new.notes().len());
            line = lines.within(start).filter(longer).or(line);
        }
        let hearing = Hearing {
            scale: within.map_or(PitchClassSet::ALL, |t| catalogue.all_forms(t.tonality)),
            center: within.map(|t| t.tonality.center),
            before: out.last().and_then(|h| h.span.sonority.chord()),
            bassist: false,
        };
        let Some(chord) = gathered.chord(run[0].0, hearing) else {
            continue;
        };
        let sonority = Sonority::Chord(chord);
        match out.last_mut() {
            Some(before) if before.span.sonority == sonority && before.span.end == start => {
                before.span.end = stop;
                before.span.keys |= keys;
                before.line = before.line.or(line);
            }
            _ => out.push(HarmonySpan {
                span: ChordSpan {
                    start,
                    end: stop,
                    sonority,
                    within,
                    keys,
                },
                line,
            }),
        }
    }
    out
}
