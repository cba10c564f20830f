//! The modes from the brightest down, and what is known of each.

use super::names::{degree, name, note, said_alterations};
use super::order::light;
use crate::screen::claim::{self, Claim, Reference};
use crate::screen::look::Look;
use crate::screen::picture::Picture;
use crate::theory::{Mode, ModeId, Shade, alterations};

/// What is known of a mode.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum ModeStatus {
    Nothing,
    /// One of the modes that are still possible.
    Open,
    Present,
    /// Present, but a guess: a degree that decides it has not been heard.
    Guess,
    Heard,
}

/// A note of a mode of the order.
pub(super) struct RungNote {
    pub text: String,
    /// The step from the next brighter mode lowers it.
    pub lowered: bool,
}

/// A mode of the order.
pub(super) struct Rung {
    pub mode: ModeId,
    pub name: String,
    pub said: ModeStatus,
    pub chosen: bool,
    /// Each degree's.
    pub notes: Vec<RungNote>,
    /// What the step from the next brighter one alters: as notes, as degrees.
    pub step: Option<[String; 2]>,
}

/// The order, the brightest first, with what is known.
pub(super) struct Ladder<'a> {
    pub reference: Option<Reference>,
    pub rungs: Vec<Rung>,
    pub order: &'a [Shade],
    /// The present mode if it is none of the rungs: its name, and the rung that it stands
    /// beside.
    pub beside: Option<(String, usize)>,
    /// The name of the mode heard beside a pin if it is none of the rungs.
    pub heard: Option<String>,
    pub chosen: Option<ModeId>,
}

impl<'a> Ladder<'a> {
    pub fn new(order: &'a [Shade], reference: Option<Reference>, look: &Look) -> Ladder<'a> {
        let tonic = reference.map(|r| r.spelled.tonic);
        let mut rungs: Vec<Rung> = Vec::with_capacity(order.len());
        let mut before: Option<&Mode> = None;
        for shade in order {
            let mode = look.catalogue.mode(shade.mode);
            let step = before.map(|b| {
                let all = alterations(b, mode);
                [
                    tonic.map_or(String::new(), |t| {
                        said_alterations(&all, look, note(t, look))
                    }),
                    said_alterations(&all, look, degree(look)),
                ]
            });
            let notes = tonic.into_iter().flat_map(|t| {
                let note = note(t, look);
                mode.degrees.iter().map(move |d| RungNote {
                    text: note(*d),
                    lowered: shade.altered.contains(d),
                })
            });
            rungs.push(Rung {
                mode: shade.mode,
                name: name(shade.mode, reference, look),
                said: ModeStatus::Nothing,
                chosen: false,
                notes: notes.collect(),
                step,
            });
            before = Some(mode);
        }
        Ladder {
            reference,
            rungs,
            order,
            beside: None,
            heard: None,
            chosen: None,
        }
    }

    pub fn mark(&mut self, picture: &Picture, chosen: Option<ModeId>, look: &Look) {
        let Some(reference) = self.reference else {
            return;
        };
        let own = reference.spelled.tonality.mode;
        let mut say =
            |mode: ModeId, said: ModeStatus| match self.rungs.iter_mut().find(|r| r.mode == mode) {
                Some(rung) => {
                    rung.said = said;
                    true
                }
                None => false,
            };
        if reference.claim != Claim::Decided {
            for other in reference.open.others() {
                say(other, ModeStatus::Open);
            }
        }
        let present = match reference.claim {
            Claim::Decided => ModeStatus::Present,
            Claim::Guess => ModeStatus::Guess,
            Claim::Undecided => ModeStatus::Open,
        };
        let among = say(own, present);
        if let Some(here) = picture.reading.here.filter(|_| reference.pinned) {
            let t = here.spelled.tonality;
            let other = t.center == reference.spelled.tonality.center && t.mode != own;
            if other
                && let Some(heard) = claim::mode(t, here.open, look)
                && !say(t.mode, ModeStatus::Heard)
            {
                self.heard = Some(heard);
            }
        }
        if !among && reference.claim != Claim::Undecided {
            let light = light(look.catalogue, self.order, own);
            let bright = |r: &Rung| look.catalogue.mode(r.mode).brightness();
            let at = self.rungs.iter().position(|r| bright(r) <= light);
            let at = at.unwrap_or(self.rungs.len().saturating_sub(1));
            self.beside = Some((name(own, self.reference, look), at));
        }
        self.chosen = chosen.filter(|&c| c != own);
        for rung in &mut self.rungs {
            rung.chosen = Some(rung.mode) == chosen;
        }
    }

    /// The rung that must be in view, and the one that should be in the middle.
    pub fn middle(&self) -> (Option<usize>, usize) {
        let said = |said: &[ModeStatus]| self.rungs.iter().position(|r| said.contains(&r.said));
        let present = said(&[ModeStatus::Present, ModeStatus::Guess]);
        let present = present.or(self.beside.as_ref().map(|b| b.1));
        let middle = present.or(said(&[ModeStatus::Open]));
        let chosen = self.rungs.iter().position(|r| r.chosen);
        (chosen, middle.unwrap_or(self.rungs.len() / 2))
    }
}
