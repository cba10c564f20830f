//! The music of a recording read by one of its three plans.

use crate::correction::{CorrectedPlan, CorrectedRegion};
use crate::plan::{ChordSpan, HarmonySpan, Region, TonalPlan};
use crate::theory::SpelledTonality;
use crate::time::Time;
use clap::ValueEnum;

/// One of the three plans of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Plan {
    /// What the live display said.
    Heard,
    /// What the whole recording makes likeliest.
    Hindsight,
    /// As its listener corrected it.
    Corrected,
}

/// A plan, and the chords and harmonies within its tonalities.
#[derive(Clone, Debug)]
pub struct ByPlan {
    pub which: Plan,
    pub plan: TonalPlan,
    pub chords: Vec<ChordSpan>,
    pub harmonies: Vec<HarmonySpan>,
    corrected: Option<CorrectedPlan>,
}

impl Plan {
    /// As programs read it, and as a user names it.
    pub fn name(self) -> &'static str {
        match self {
            Plan::Heard => "heard",
            Plan::Hindsight => "hindsight",
            Plan::Corrected => "corrected",
        }
    }

    /// As a sentence has it: "home, as heard".
    pub fn title(self) -> &'static str {
        match self {
            Plan::Heard => "as heard",
            Plan::Hindsight => "in hindsight",
            Plan::Corrected => "as corrected",
        }
    }
}

impl ByPlan {
    /// Chords and harmonies within the tonalities of that very plan.
    pub(super) fn own(
        which: Plan,
        plan: &TonalPlan,
        chords: &[ChordSpan],
        harmonies: &[HarmonySpan],
    ) -> ByPlan {
        ByPlan {
            which,
            plan: plan.clone(),
            chords: chords.to_vec(),
            harmonies: harmonies.to_vec(),
            corrected: None,
        }
    }

    /// Chords and harmonies of hindsight, each within the corrected region in which it begins.
    pub(super) fn corrected(
        corrected: &CorrectedPlan,
        chords: &[ChordSpan],
        harmonies: &[HarmonySpan],
    ) -> ByPlan {
        let plan = corrected.plan();
        let within = |at: Time| within(&plan.regions, at);
        let placed = |span: ChordSpan| ChordSpan {
            within: within(span.start),
            ..span
        };
        let harmonies = harmonies.iter().map(|&h| HarmonySpan {
            span: placed(h.span),
            ..h
        });
        ByPlan {
            which: Plan::Corrected,
            chords: chords.iter().map(|&c| placed(c)).collect(),
            harmonies: harmonies.collect(),
            corrected: Some(corrected.clone()),
            plan,
        }
    }

    /// What a listener has said of a region of the plan, if it is corrected.
    pub fn said(&self, region: &Region) -> Option<&CorrectedRegion> {
        let corrected = self.corrected.as_ref()?;
        let place = corrected.place(region.start).ok()?;
        corrected.regions().get(place)
    }
}

fn within(regions: &[Region], at: Time) -> Option<SpelledTonality> {
    let before = regions.partition_point(|r| r.start <= at).checked_sub(1)?;
    let region = regions.get(before)?;
    (at < region.end).then_some(region.spelled)
}
