//! `sittings show --plan`: one of the three plans of a sitting.

use super::super::engine;
use super::super::failure::Failure;
use super::open::Open;
use super::output::{AnswerFormat, print};
use super::{correct, list};
use crate::console::ProgressLine;
use crate::file;
use crate::midi::Limits;
use crate::plain;
use crate::plan::{Region, TonalPlan};
use crate::recording;
use crate::settings::Settings;
use crate::sittings::{Sitting, Stay};
use crate::study::{Plan, study_with};
use serde_json::{Value, json};
use std::convert::Infallible;
use std::ops::ControlFlow;
use std::process::ExitCode;

pub fn run(
    sitting: &Sitting,
    which: Plan,
    open: &Open,
    settings: &Settings,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    let catalogue = &settings.catalogue;
    let bytes = file::bytes(&open.folder.path(&sitting.id), Limits::default().bytes)?;
    let recording = recording::read(&bytes, catalogue)?;
    let title = plain::name(sitting.title());
    let plan = match (which, &recording.facts.corrected) {
        (Plan::Heard, _) => recording.facts.heard.clone(),
        (Plan::Corrected, Some(corrected)) => corrected.plan(),
        (Plan::Corrected, None) => {
            return Err(Failure::Failed(format!(
                "{title}: nobody has corrected its plan: peregrinus sittings correct does that"
            )));
        }
        (Plan::Hindsight, _) => {
            let mut line = ProgressLine::new();
            let tell = |share: f32| {
                let percent = (100.0 * share) as u32;
                line.tell(share.into(), &format!("{title}, in hindsight: {percent} %"));
                ControlFlow::<Infallible>::Continue(())
            };
            let monitor = engine::monitor(settings);
            let ControlFlow::Continue(study) = study_with(&recording, monitor, catalogue, tell);
            study.hindsight
        }
    };
    let stays = |regions: &[Region]| -> Vec<Stay> {
        let stays = regions.iter().map(|r| Stay::of(r, catalogue));
        stays.collect()
    };
    let TonalPlan { regions, home } = &plan;
    let shown = Sitting {
        here: stays(regions),
        home: stays(home),
        ..sitting.clone()
    };
    let corrected = recording.facts.corrected.as_ref();
    let corrected = corrected.filter(|_| which == Plan::Corrected);
    let corrected = corrected.map(|plan| correct::Shown {
        plan,
        before: None,
        notation: &settings.notation,
        catalogue,
    });
    let mut json = serde_json::to_value(list::Shown::of(&shown, &open.folder))?;
    if let Value::Object(fields) = &mut json {
        fields.insert("plan".into(), which.name().into());
        if let Some(corrected) = &corrected {
            fields.insert("regions".into(), json!(corrected.out()));
        }
    }
    print(format, &json, || {
        let what = |part: &str| format!("{part}, {}", which.title());
        let here = match &corrected {
            Some(corrected) => format!("\n{}\n{}", what("here"), corrected.text()),
            None => list::stays_text(&what("here"), &shown.here),
        };
        list::head_text(&shown, &open.folder)
            + &here
            + &list::stays_text(&what("home"), &shown.home)
            + &list::markers_text(&shown)
    })
}
