//! Plays a score as a person might: a tempo that breathes with the phrases, a
//! melody that leads a little, hands that drift apart and together, chords that
//! are not quite together, fingers that overlap, a foot that follows the
//! harmony.
//!
//! Only the four operations of arithmetic are used on floating numbers: they
//! give the same bits on every machine, and so the files are the same bytes.

use super::score::{Hand, Note, Piece, QUARTER, Score, Tonality, Voice};

/// Ticks of a file, in one second: 25,000 to the quarter at 120 to the minute.
pub const TICKS: f64 = 50_000.0;

/// Silence before the first note, in seconds.
const LEAD_IN: f64 = 0.4;

/// One key, as played. Times in ticks.
#[derive(Clone, Copy, Debug)]
pub struct Stroke {
    pub hand: Hand,
    pub key: u8,
    pub velocity: u8,
    pub on: u64,
    pub off: u64,
}

/// A stretch of the plan. Times in ticks.
#[derive(Clone, Copy, Debug)]
pub struct Region {
    pub start: u64,
    pub end: u64,
    pub tonality: Tonality,
}

pub struct Performance {
    pub strokes: Vec<Stroke>,
    /// Positions of the damper pedal.
    pub pedal: Vec<(u64, u8)>,
    pub regions: Vec<Region>,
    pub passing: Vec<Region>,
    pub end: u64,
}

pub fn play(piece: &Piece, score: &Score) -> Performance {
    let mut chance = Chance(piece.seed);
    let clock = Clock::new(piece, score, &mut chance);
    let loudness = Loudness::new(piece, score);
    let mut drift = [0.0; 2];
    let mut strokes = Vec::new();
    // For every section, the first sound of it.
    let mut first = vec![f64::MAX; score.spans.len()];
    for note in &score.notes {
        let right = note.voice.hand() == Hand::Right;
        // A hand's lateness changes slowly, as attention does.
        let late = &mut drift[usize::from(right)];
        *late = 0.6 * *late + 0.005 * chance.bell();
        let lead = match note.voice {
            Voice::Song => -0.012,
            Voice::Second => 0.004,
            _ => 0.0,
        };
        let at = clock.at(note.start) + *late + lead + 0.003 * chance.bell();
        let ends = off_time(note, &clock, &mut chance);
        let section = score.spans.iter().rposition(|s| s.start <= note.start);
        let lower = if note.rolled {
            rolled_below(score, note)
        } else {
            0.0
        };
        let mut spread = 0.0;
        for (i, &key) in note.keys.iter().enumerate() {
            if i > 0 {
                spread += if note.rolled {
                    0.055 + 0.012 * chance.bell()
                } else {
                    0.004 + 0.006 * chance.even()
                };
            }
            let (on, off) = if note.length == 0 {
                let ahead = 0.085 + 0.008 * chance.bell();
                (at - ahead, at + 0.015)
            } else {
                (at + spread + 0.055 * lower, ends)
            };
            let velocity = loudness.velocity(note, i, &mut chance);
            if let Some(first) = section.and_then(|s| first.get_mut(s)) {
                *first = first.min(on);
            }
            strokes.push(Stroke {
                hand: note.voice.hand(),
                key,
                velocity,
                on: ticks(on),
                off: ticks(off.max(on + 0.05)),
            });
        }
    }
    strokes.sort_by_key(|s| (s.on, s.key));
    lift_before_repeats(&mut strokes);
    let finish = clock.at(score.end) + 0.25;
    let pedal = pedal(score, &clock, finish, &mut chance);
    let end = strokes
        .iter()
        .map(|s| s.off)
        .chain(pedal.iter().map(|p| p.0))
        .max()
        .unwrap_or(0);
    let (regions, passing) = plan(score, &first, end);
    Performance {
        strokes,
        pedal,
        regions,
        passing,
        end,
    }
}

fn ticks(seconds: f64) -> u64 {
    (seconds * TICKS).round() as u64
}

/// Keys of rolled chords at the same place that come before this hand's.
fn rolled_below(score: &Score, note: &Note) -> f64 {
    let before = score
        .notes
        .iter()
        .filter(|n| n.rolled && n.start == note.start)
        .filter(|n| n.keys.first() < note.keys.first());
    before.map(|n| n.keys.len() as f64).sum()
}

/// When the finger leaves: over the next note in a line that goes on, a little
/// early before a breath or a rest.
fn off_time(note: &Note, clock: &Clock, chance: &mut Chance) -> f64 {
    let (from, to) = (clock.at(note.start), clock.at(note.start + note.length));
    if note.short {
        return from + (to - from) * (0.4 + 0.1 * chance.even());
    }
    if note.joined && !note.breath {
        return to + 0.015 + 0.03 * chance.even();
    }
    let gap = (0.06 + 0.05 * chance.even()).min((to - from) * 0.2);
    to - gap
}

/// A finger leaves its key before the key is struck again.
fn lift_before_repeats(strokes: &mut Vec<Stroke>) {
    let mut kept: Vec<Stroke> = Vec::with_capacity(strokes.len());
    for stroke in strokes.drain(..) {
        let before = kept.iter_mut().rev().find(|s| s.key == stroke.key);
        if let Some(before) = before
            && before.off + 1_250 > stroke.on
        {
            // 25 ms of air, or as much as there is.
            before.off = stroke.on.saturating_sub(1_250).max(before.on + 500);
        }
        kept.push(stroke);
    }
    *strokes = kept;
}

/// The foot goes up as the new harmony is struck and comes down behind it.
fn pedal(score: &Score, clock: &Clock, finish: f64, chance: &mut Chance) -> Vec<(u64, u8)> {
    let mut moves = Vec::new();
    let mut up = |from: f64, chance: &mut Chance| {
        let step = 0.009 + 0.004 * chance.even();
        for (n, value) in [(0.0, 78), (1.0, 31), (2.0, 0)] {
            moves.push((ticks(from + n * step), value));
        }
    };
    let mut downs = Vec::new();
    for (i, &(start, length)) in score.pedal.iter().enumerate() {
        let at = clock.at(start);
        let next = clock.at(start + length);
        let held_before = i > 0 && score.pedal.get(i - 1).is_some_and(|p| p.0 + p.1 == start);
        let lift = 0.012 + 0.02 * chance.even();
        if held_before {
            up(at + lift, chance);
        }
        let press = at + lift + (0.085 + 0.03 * chance.even()).min((next - at) * 0.3);
        let depth = 98 + (24.0 * chance.even()) as u8;
        for (n, value) in [(0.0, 36), (0.011, 84), (0.023, depth)] {
            downs.push((ticks(press + n), value));
        }
        let last = score.pedal.get(i + 1).is_none_or(|p| p.0 != start + length);
        if last {
            up(
                next.min(finish) + if next < finish { 0.0 } else { 0.2 },
                chance,
            );
        }
    }
    moves.extend(downs);
    moves.sort_by_key(|m| m.0);
    moves
}

/// Sections to regions; each begins with the first sound of its section.
fn plan(score: &Score, first: &[f64], end: u64) -> (Vec<Region>, Vec<Region>) {
    let mut regions: Vec<Region> = Vec::new();
    let mut passing: Vec<Region> = Vec::new();
    for (i, (span, &from)) in score.spans.iter().zip(first).enumerate() {
        let start = ticks(from);
        let until = first.get(i + 1).map_or(end, |&next| ticks(next));
        match regions.last_mut() {
            Some(last) if last.tonality == span.here => last.end = until,
            _ => regions.push(Region {
                start,
                end: until,
                tonality: span.here,
            }),
        }
        if let Some(tonality) = span.passing {
            passing.push(Region {
                start,
                end: until,
                tonality,
            });
        }
    }
    (regions, passing)
}

/// When each division of the score comes, in seconds.
struct Clock(Vec<f64>);

impl Clock {
    fn new(piece: &Piece, score: &Score, chance: &mut Chance) -> Clock {
        let bars = score.end / piece.bar + 2;
        // The pulse wanders a little, over two bars at a time.
        let wander: Vec<f64> = (0..bars).map(|_| 0.014 * chance.bell()).collect();
        let breaths: Vec<(f64, f64, f64)> = score
            .breaths
            .iter()
            .map(|&(at, deep)| {
                let (slow, pause) = if deep { (0.17, 0.13) } else { (0.08, 0.05) };
                (f64::from(at), slow, pause * (0.8 + 0.4 * chance.even()))
            })
            .collect();
        let quarter = f64::from(QUARTER);
        let mut now = LEAD_IN;
        let mut times = Vec::with_capacity(score.end as usize + 2);
        for d in 0..=score.end {
            let at = f64::from(d);
            if d < score.end {
                now += breaths
                    .iter()
                    .filter(|b| b.0 == at)
                    .map(|b| b.2)
                    .sum::<f64>();
            }
            times.push(now);
            let mut pace = line(&score.tempo, d, true).unwrap_or(1.0);
            let bar = at / f64::from(2 * piece.bar);
            let knot = bar as usize;
            let (a, b) = (wander.get(knot), wander.get(knot + 1));
            if let (Some(a), Some(b)) = (a, b) {
                pace *= 1.0 + a + (b - a) * ease(bar - knot as f64);
            }
            for &(breath, slow, _) in &breaths {
                let before = (breath - at) / (1.75 * quarter);
                let after = (at - breath) / (1.0 * quarter);
                for (x, slow) in [(before, slow), (after, 0.5 * slow)] {
                    if (0.0..1.0).contains(&x) {
                        pace *= 1.0 - slow * (1.0 - x) * (1.0 - x);
                    }
                }
            }
            now += 60.0 / (piece.tempo * pace * quarter);
        }
        Clock(times)
    }

    fn at(&self, division: u32) -> f64 {
        let last = self.0.last().copied().unwrap_or(LEAD_IN);
        self.0.get(division as usize).copied().unwrap_or(last)
    }
}

/// The value of a curve through knots.
fn line(knots: &[(u32, f64)], at: u32, smooth: bool) -> Option<f64> {
    let next = knots.partition_point(|k| k.0 <= at);
    let after = knots.get(next).or(knots.last())?;
    let before = next
        .checked_sub(1)
        .and_then(|i| knots.get(i))
        .unwrap_or(after);
    if after.0 <= before.0 {
        return Some(before.1);
    }
    let x = f64::from(at - before.0) / f64::from(after.0 - before.0);
    let x = if smooth { ease(x) } else { x };
    Some(before.1 + (after.1 - before.1) * x)
}

fn ease(x: f64) -> f64 {
    x * x * (3.0 - 2.0 * x)
}

struct Loudness<'a> {
    score: &'a Score,
    bar: u32,
    /// Phrases of the song: start, end, mean key.
    phrases: Vec<(u32, u32, f64)>,
}

impl<'a> Loudness<'a> {
    fn new(piece: &Piece, score: &'a Score) -> Self {
        let mut phrases = Vec::new();
        let mut start = 0;
        for end in score.breaths.iter().map(|b| b.0).chain([score.end]) {
            let tops: Vec<f64> = score
                .notes
                .iter()
                .filter(|n| n.voice == Voice::Song && (start..end).contains(&n.start))
                .filter_map(|n| n.keys.last().map(|&k| f64::from(k)))
                .collect();
            if !tops.is_empty() {
                let mean = tops.iter().sum::<f64>() / tops.len() as f64;
                phrases.push((start, end, mean));
            }
            start = end;
        }
        Loudness {
            score,
            bar: piece.bar,
            phrases,
        }
    }

    /// Of the `i`th key of a note.
    fn velocity(&self, note: &Note, i: usize, chance: &mut Chance) -> u8 {
        let level = line(&self.score.loudness, note.start, false).unwrap_or(70.0);
        let phrase = self
            .phrases
            .iter()
            .find(|p| (p.0..p.1).contains(&note.start));
        // A phrase swells and falls away; the accompaniment goes half the way.
        let (arc, above) = phrase.map_or((0.0, 0.0), |&(start, end, mean)| {
            let x = f64::from(note.start - start) / f64::from(end - start);
            let top = note.keys.last().map_or(mean, |&k| f64::from(k));
            (14.0 * x * (1.0 - x) * (1.3 - 0.6 * x) - 2.0, top - mean)
        });
        let beat = note.start % self.bar;
        let metre = match beat {
            0 => 2.0,
            b if b.is_multiple_of(QUARTER) => 0.0,
            _ => -2.5,
        };
        let own = match note.voice {
            Voice::Song => arc + 0.45 * above + metre * 0.5,
            Voice::Second => -15.0 + 0.7 * arc + metre * 0.5,
            Voice::Tenor => -15.0 + 0.4 * arc + metre,
            _ => -18.0 + 0.5 * arc + metre,
        };
        let top = i + 1 == note.keys.len();
        let inner = match note.voice {
            Voice::Song if !top => -9.0,
            Voice::Ground if i > 0 => -2.0,
            _ => 0.0,
        };
        let grace = if note.length == 0 { -14.0 } else { 0.0 };
        let weight = if note.voice.hand() == Hand::Right {
            7.0
        } else {
            8.0
        };
        let stress = weight * f64::from(note.stress);
        let exact = level + own + inner + grace + stress + 1.8 * chance.bell();
        exact.round().clamp(35.0, 100.0) as u8
    }
}

/// SplitMix64 (Steele, Lea, Flood: Fast Splittable Pseudorandom Number
/// Generators, OOPSLA 2014); constants from memory.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Even over [0, 1).
    fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Bell-shaped about 0, of standard deviation 1, never beyond 3.5.
    fn bell(&mut self) -> f64 {
        let sum = self.even() + self.even() + self.even() + self.even();
        (sum - 2.0) * 1.732_050_807_568_877_2
    }
}
