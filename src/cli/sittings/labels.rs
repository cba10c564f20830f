//! `sittings labels`: corrected sittings as labelled music, to learn weights from.

use super::super::engine;
use super::super::failure::Failure;
use super::open::Open;
use super::output::{AnswerFormat, print};
use crate::console::{self, ProgressLine};
use crate::file;
use crate::formats::labels_line;
use crate::midi::Limits;
use crate::plain;
use crate::recording;
use crate::settings::Settings;
use crate::sittings::{Query, Sitting};
use crate::study::{sounds, study_with};
use serde_json::json;
use std::convert::Infallible;
use std::ops::ControlFlow;
use std::path::Path;
use std::process::ExitCode;

/// Writes a file for each of the sittings, or for each that is corrected.
pub fn run(
    open: &mut Open,
    names: &[String],
    to: &Path,
    settings: &Settings,
    format: AnswerFormat,
) -> Result<ExitCode, Failure> {
    let all = match names {
        [] => open.list(&Query {
            corrected: true,
            ..Query::default()
        })?,
        names => {
            let found = names.iter().map(|name| open.find(name));
            found.collect::<Result<Vec<_>, _>>()?
        }
    };
    if let Some(s) = all.iter().find(|s| s.corrections == 0) {
        return Err(Failure::Failed(format!(
            "{}: nobody has corrected its plan: peregrinus sittings correct does that",
            plain::name(s.title())
        )));
    }
    if all.is_empty() {
        let what = "no sitting is corrected yet: peregrinus sittings correct does that";
        return Err(Failure::Failed(what.into()));
    }
    std::fs::create_dir_all(to).map_err(|e| {
        let (folder, why) = (plain::path(to), plain::reason(&e));
        Failure::Failed(format!("{folder}: this folder cannot be made: {why}"))
    })?;
    let (mut text, mut written, mut failed) = (String::new(), Vec::new(), false);
    for sitting in &all {
        let path = to.join(format!("{}.jsonl", sitting.id));
        let title = plain::name(sitting.title());
        match labels(open, sitting, settings) {
            Ok((line, segments)) => {
                file::replace(&path, line.as_bytes()).map_err(|e| {
                    let (file, why) = (plain::path(&path), plain::reason(&e));
                    Failure::Failed(format!("{file}: cannot be written: {why}"))
                })?;
                text += &format!("{}: {title}, {segments} labels\n", plain::path(&path));
                let file = path.display().to_string();
                written.push(json!({"id": sitting.id, "file": file, "labels": segments}));
            }
            Err(e) => {
                failed = true;
                console::report(&format!("{title}: {e}"));
            }
        }
    }
    let done = print(format, &json!({"labels": written}), || text)?;
    Ok(if failed { ExitCode::FAILURE } else { done })
}

fn labels(open: &Open, sitting: &Sitting, settings: &Settings) -> Result<(String, usize), Failure> {
    let nothing = || Failure::Failed("there is nothing in it that could be learned".into());
    let bytes = file::bytes(&open.folder.path(&sitting.id), Limits::default().bytes)?;
    let recording = recording::read(&bytes, &settings.catalogue)?;
    let corrected = recording.facts.corrected.as_ref().ok_or_else(nothing)?;
    let mut progress = ProgressLine::new();
    let title = plain::name(sitting.title());
    let tell = |share: f32| {
        let percent = (100.0 * share) as u32;
        progress.tell(share.into(), &format!("{title}: {percent} %"));
        ControlFlow::<Infallible>::Continue(())
    };
    let monitor = engine::monitor(settings);
    let sounds = sounds(&recording, monitor.clone());
    let ControlFlow::Continue(study) = study_with(&recording, monitor, &settings.catalogue, tell);
    let by = study.by_corrected(corrected);
    let line = labels_line(&sitting.id, &sounds, corrected, &by, &settings.catalogue)?;
    line.ok_or_else(nothing)
}
