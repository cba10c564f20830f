//! Corrections of a sitting's plan, kept in its file.

use super::files::{ChangeError, try_change};
use super::folder::Folder;
use crate::correction::{
    CorrectedPlan, CorrectionError, NothingToUndo, Revision, Signature, Undone,
};
use crate::engine::Monitor;
use crate::recording::Recording;
use crate::study::study_with;
use crate::theory::Catalogue;
use std::ops::ControlFlow;
use std::sync::Arc;

/// Why a sitting was not corrected; its file is as it was.
#[derive(Debug, thiserror::Error)]
pub enum CorrectError {
    #[error(transparent)]
    File(#[from] ChangeError),
    #[error(transparent)]
    Correction(#[from] CorrectionError),
    #[error(
        "of its corrections not all is understood, maybe for a mode that is not there: bring the \
         mode back, or take all corrections back"
    )]
    NotUnderstood,
    #[error("nothing is corrected in this sitting, and so nothing can be taken back")]
    NotCorrected,
    #[error(
        "what is kept of its corrections is damaged, and they cannot be taken back one by one: \
         take all of them back"
    )]
    Undo(#[from] NothingToUndo),
    /// `progress` broke it off.
    #[error("this was broken off")]
    Stopped,
}

/// A sitting whose corrected plan was revised.
#[derive(Clone, Debug)]
pub struct Revised {
    /// What its file says now.
    pub recording: Recording,
    /// The corrected plan before, or the plan in hindsight where there was none.
    pub before: CorrectedPlan,
}

/// Revises a sitting's corrected plan. The first correction is one of the plan in hindsight,
/// which `fresh`, a monitor as it is before anything was heard, works out; `progress` gets the
/// share of that which is done, 0 to 1, and may break it off.
pub fn correct(
    folder: &Folder,
    id: &str,
    (revision, by): (&Revision, &Signature),
    fresh: Monitor,
    catalogue: &Arc<Catalogue>,
    progress: impl FnMut(f32) -> ControlFlow<()>,
) -> Result<Revised, CorrectError> {
    let mut before = None;
    let recording = try_change(folder, id, catalogue, |recording| {
        // What is not understood is kept as it is; it could not be kept beside a change.
        if recording.facts.partly.is_some() && *revision != Revision::Restore {
            return Err(CorrectError::NotUnderstood);
        }
        let plan = match (recording.facts.corrected.take(), revision) {
            (Some(plan), _) => plan,
            (None, Revision::Correct(_)) => in_hindsight(recording, fresh, catalogue, progress)?,
            (None, Revision::Undo | Revision::Restore) => return Err(CorrectError::NotCorrected),
        };
        let mut plan = before.insert(plan).clone();
        recording.facts.corrected = match revision {
            Revision::Correct(correction) => {
                plan.correct(correction, by)?;
                Some(plan)
            }
            Revision::Undo => match plan.undo()? {
                Undone::First => None,
                Undone::Step => Some(plan),
            },
            Revision::Restore => None,
        };
        Ok(())
    })?;
    let before = before.ok_or(CorrectError::NotCorrected)?;
    Ok(Revised { recording, before })
}

/// The plan in hindsight, to be corrected.
fn in_hindsight(
    recording: &Recording,
    fresh: Monitor,
    catalogue: &Arc<Catalogue>,
    progress: impl FnMut(f32) -> ControlFlow<()>,
) -> Result<CorrectedPlan, CorrectError> {
    match study_with(recording, fresh, catalogue, progress) {
        ControlFlow::Continue(study) => Ok(CorrectedPlan::of(&study.hindsight, recording.end)),
        ControlFlow::Break(()) => Err(CorrectError::Stopped),
    }
}
