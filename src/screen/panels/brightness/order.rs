//! Modes by brightness: which is next, which nearest, and how bright one is.

use crate::screen::keys::Toward;
use crate::theory::{Catalogue, ModeId, Shade, alterations, brightness_order};

/// The family whose modes are the rows, as `config/modes.toml` calls it.
pub(super) const FAMILY: &str = "diatonic";

/// Where the cursor goes: to the mode one step brighter or darker in the order, at its end
/// nowhere. From a mode of another family, to the next one that is brighter or darker.
pub(in crate::screen) fn neighbour(catalogue: &Catalogue, mode: ModeId, toward: Toward) -> ModeId {
    let order = brightness_order(catalogue, FAMILY);
    let at = order.iter().position(|s| s.mode == mode);
    let next = match (at, toward) {
        (Some(at), Toward::Brighter) => at.checked_sub(1),
        (Some(at), Toward::Darker) => Some(at + 1),
        (None, _) => {
            let own = light(catalogue, &order, mode);
            let light = |s: &Shade| catalogue.mode(s.mode).brightness();
            match toward {
                Toward::Brighter => order.iter().rposition(|s| light(s) > own),
                Toward::Darker => order.iter().position(|s| light(s) < own),
            }
        }
    };
    let beyond = || match (at, toward) {
        (Some(_), _) => None,
        (None, Toward::Brighter) => order.first(),
        (None, Toward::Darker) => order.last(),
    };
    let next = next.and_then(|at| order.get(at)).or_else(beyond);
    next.map_or(mode, |s| s.mode)
}

/// The mode of the order that differs from this one in the fewest notes; in a tie, the one that
/// the catalogue calls the nearest.
pub(super) fn nearest(catalogue: &Catalogue, order: &[Shade], mode: ModeId) -> Option<ModeId> {
    let own = catalogue.mode(mode);
    let distance = |s: &Shade| {
        let rung = catalogue.mode(s.mode);
        (alterations(rung, own).len(), rung.id != own.scored_as)
    };
    order.iter().min_by_key(|s| distance(s)).map(|s| s.mode)
}

/// How bright a mode is, compared with those of the order. The sum of its alterations says
/// so only of a mode with each of the seven degrees once; any other counts as bright as the
/// nearest mode of the order.
pub(super) fn light(catalogue: &Catalogue, order: &[Shade], mode: ModeId) -> i32 {
    let own = catalogue.mode(mode);
    let seven = own.degrees.iter().map(|d| d.number).eq(1..=7);
    match nearest(catalogue, order, mode) {
        Some(other) if !seven => catalogue.mode(other).brightness(),
        _ => own.brightness(),
    }
}
