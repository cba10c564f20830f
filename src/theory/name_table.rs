//! The names that every set of notes above a bass may have, with what each costs: all 2048
//! sets, made once with the kinds. What the context says is added when one is looked up
//! (`naming`). Costs are whole thousandths, so that ties are ties.

use super::kind::{FOREIGN_BASS, Kind, KindId, Triad, bass_cost};
use super::pitch::{PitchClass, PitchClassSet};

/// A name of a set above a bass.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    /// Semitones of the root above the bass.
    pub above: u8,
    pub kind: KindId,
    pub cost: i16,
}

/// The names of every set above a bass, that is of every odd mask.
#[derive(Clone, Debug, Default)]
pub(super) struct NameTable {
    pub whole: Lists,
    /// With a root that does not sound.
    pub rootless: Lists,
}

#[derive(Clone, Debug, Default)]
pub(super) struct Lists {
    starts: Vec<u32>,
    all: Vec<Candidate>,
}

impl Lists {
    fn new(mut list: Vec<(u16, Candidate)>) -> Lists {
        // From the bass upwards, so that ties fall alike in every transposition.
        list.sort_by_key(|(mask, c)| (*mask, c.above, c.kind));
        let starts = (0..=2048u16)
            .map(|i| list.partition_point(|(mask, _)| mask >> 1 < i) as u32)
            .collect();
        Lists {
            starts,
            all: list.into_iter().map(|(_, c)| c).collect(),
        }
    }

    pub fn get(&self, above_bass: PitchClassSet) -> &[Candidate] {
        let i = (above_bass.mask() >> 1) as usize;
        &self.all[self.starts[i] as usize..self.starts[i + 1] as usize]
    }
}

/// An inversion that costs this or more is too far-fetched to be a name.
const FAR_FETCHED: f32 = 0.75;
/// A kind that costs less may be named over a bass that is none of its members.
const PLAIN: f32 = 0.195;
/// What each note beyond four adds to an inversion.
const FULL_INVERSION: f32 = 0.08;

fn thousandths(cost: f32) -> i32 {
    (cost * 1e3).round() as i32
}

impl NameTable {
    pub fn new(kinds: &[Kind]) -> NameTable {
        let (mut whole, mut rootless) = (Vec::new(), Vec::new());
        for (i, kind) in kinds.iter().enumerate() {
            for above in 0..12u8 {
                let seen = kind.set().up(i32::from(above));
                let bass = PitchClass::new(0);
                let under = bass.above(PitchClass::new(i32::from(above)));
                let plain = kind.cost < PLAIN && kind.triad() != Triad::Suspended;
                let full = (kind.members.len() as f32 - 4.0).max(0.0) * FULL_INVERSION;
                let cost = match above {
                    0 => Some(kind.cost),
                    // Nothing but steps is a cluster, whichever note is called the root.
                    _ if kind.root_position || seen.is_cluster() => None,
                    _ if seen.contains(bass) => Some(kind.cost + bass_cost(kind, under) + full),
                    // A plain chord of three or four notes over a foreign bass.
                    _ if plain && kind.members.len() <= 4 => Some(kind.cost + FOREIGN_BASS),
                    _ => None,
                };
                let candidate = |cost: f32| Candidate {
                    above,
                    kind: KindId(i as u8),
                    cost: thousandths(cost) as i16,
                };
                if let Some(cost) = cost.filter(|&c| above == 0 || c < FAR_FETCHED) {
                    whole.push((seen.with(bass).mask(), candidate(cost)));
                }
                // Without its root, over any other member as the lowest key.
                if kind.rootless && above != 0 && seen.contains(bass) {
                    let hands = seen.without(PitchClass::new(i32::from(above)));
                    rootless.push((hands.mask(), candidate(0.15 + 0.5 * kind.cost)));
                }
            }
        }
        NameTable {
            whole: Lists::new(whole),
            rootless: Lists::new(rootless),
        }
    }
}
