//! Which degrees of a tonality have not been heard yet.

use crate::plan::Open;
use crate::theory::{Catalogue, ModeId, PitchClassSet, Tonality};

/// The degrees of a tonality that have not been heard as its mode has them, and the diatonic
/// modes that differ from it in those alone. A degree that has only been heard otherwise is
/// open as well: D Aeolian with B, and never B♭, may be Dorian.
pub fn open(
    catalogue: &Catalogue,
    t: Tonality,
    heard: PitchClassSet,
    likely: impl Fn(Tonality) -> f32,
) -> Open {
    let mode = catalogue.mode(t.mode);
    let mut degrees = 0u8;
    let mut undecided = PitchClassSet::EMPTY;
    for d in &mode.degrees {
        // The forms of this degree number that occur in the diatonic modes.
        let forms: &[i32] = match d.number {
            1 => &[0],
            2 => &[1, 2],
            3 => &[3, 4],
            4 => &[5, 6],
            5 => &[6, 7],
            6 => &[8, 9],
            _ => &[10, 11],
        };
        let other = mode.movable.iter().filter(|m| m.number == d.number);
        let heard_so = std::iter::once(d)
            .chain(other)
            .any(|form| heard.contains(t.center.up(form.semitones() as i32)));
        if !heard_so && d.number != 1 {
            degrees |= 1 << (d.number - 1);
            for &f in forms {
                undecided = undecided.with(t.center.up(f));
            }
        }
    }
    if degrees == 0 {
        return Open::default();
    }
    let own = catalogue.set(t).minus(undecided);
    let mut others: [(f32, Option<ModeId>); 8] = [(0.0, None); 8];
    let fitting = catalogue.iter().filter(|(id, m)| {
        *id != t.mode
            && m.parent == "diatonic"
            && m.movable.is_empty()
            && m.set().up(t.center.index() as i32).minus(undecided) == own
    });
    for (slot, (id, _)) in others.iter_mut().zip(fitting) {
        *slot = (
            likely(Tonality {
                center: t.center,
                mode: id,
            }),
            Some(id),
        );
    }
    others.sort_by(|a, b| b.1.is_some().cmp(&a.1.is_some()).then(b.0.total_cmp(&a.0)));
    Open::new(degrees, others.into_iter().filter_map(|o| o.1))
}
