//! How likely tonalities and centers are, from the estimator's probabilities.

use crate::engine::estimator::Scores;
use crate::engine::features::total;
use crate::theory::{Catalogue, PitchClass, Tonality};

/// How likely a tonality is, and what is likeliest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Likely {
    /// Of its center, with any mode, and of every center.
    pub center: f32,
    pub centers: [f32; 12],
    pub no_center: f32,
    pub tonality: f32,
    pub likeliest: Tonality,
}

/// How likely things are beside a tonality.
pub(super) fn likely(p: &Scores, tonality: Tonality, catalogue: &Catalogue) -> Likely {
    let centers = centers(p);
    let mut likeliest = tonality;
    // From its center up: in a transposition ties fall alike.
    for (mode, _) in catalogue.iter() {
        for center in (0..12).map(|n| tonality.center.up(n)) {
            let t = Tonality { center, mode };
            if p.of(t) > p.of(likeliest) {
                likeliest = t;
            }
        }
    }
    Likely {
        center: centers[tonality.center.index()],
        centers,
        no_center: total(p.collections),
        tonality: p.of(tonality).unwrap_or(0.0),
        likeliest,
    }
}

/// How likely each center is, with any mode.
fn centers(p: &Scores) -> [f32; 12] {
    std::array::from_fn(|c| p.tonalities.iter().skip(c).step_by(12).sum())
}

/// The likeliest mode on a center.
pub(super) fn likeliest_on(
    p: &Scores,
    center: PitchClass,
    catalogue: &Catalogue,
) -> Option<Tonality> {
    let on = catalogue.iter().map(|(mode, _)| Tonality { center, mode });
    on.reduce(|best, t| if p.of(t) > p.of(best) { t } else { best })
}

/// The likeliest center with its likeliest mode; in a tie, the nearest above `from`.
pub(in crate::engine) fn likeliest_center(
    p: &Scores,
    catalogue: &Catalogue,
    from: PitchClass,
) -> Option<Tonality> {
    let all = centers(p);
    let better = |best: PitchClass, c: PitchClass| {
        let more = all[c.index()] > all[best.index()];
        if more { c } else { best }
    };
    let center = (1..12).map(|n| from.up(n)).fold(from, better);
    likeliest_on(p, center, catalogue)
}
