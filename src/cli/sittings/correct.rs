//! `sittings correct`: the plan of a sitting as its listener has it.

use super::super::failure::Failure;
use super::super::{engine, signature};
use super::named::{One, typed};
use super::open::Open;
use super::output::{AnswerFormat, print};
use crate::console::ProgressLine;
use crate::correction::{Center, CorrectedPlan, CorrectedRegion, Correction, Neighbour, Revision};
use crate::plain;
use crate::settings::Settings;
use crate::sittings::{Revised, Sitting};
use crate::theory::{Catalogue, Notation};
use crate::time::Time;
use clap::ArgGroup;
use serde::Serialize;
use serde_json::json;
use std::fmt::Write;
use std::ops::ControlFlow;
use std::process::ExitCode;

/// Moments are written 1:23, 1:23.5 or in seconds.
#[derive(clap::Args)]
#[command(group(ArgGroup::new("what").required(true).multiple(false).args([
    "at", "from", "border", "split", "join", "undo", "restore",
])))]
pub struct Args {
    #[command(flatten)]
    one: One,
    /// What it is in, with --at or --from: a tonic and a mode, "G mixolydian".
    #[arg(value_name = "TONALITY")]
    tonality: Option<String>,
    /// The region that holds this moment: give it a tonality, --none or a --word.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The stretch from here --to there: it becomes one region, with a tonality or --none.
    #[arg(long, value_name = "TIME", requires = "to")]
    from: Option<String>,
    /// The border nearest to this moment moves --to another.
    #[arg(long, value_name = "TIME", requires = "to")]
    border: Option<String>,
    /// Where the stretch ends, or the border moves to.
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// The region that holds this moment becomes two.
    #[arg(long, value_name = "TIME")]
    split: Option<String>,
    /// The region that holds this moment takes in the next one.
    #[arg(long, value_name = "TIME")]
    join: Option<String>,
    /// With --join: it takes in the previous one instead.
    #[arg(long, requires = "join")]
    previous: bool,
    /// There is no center.
    #[arg(long, conflicts_with = "tonality")]
    none: bool,
    /// A word of yours for the region; "" takes it away.
    #[arg(long, value_name = "WORD")]
    word: Option<String>,
    /// Take the last correction back.
    #[arg(long)]
    undo: bool,
    /// Take all corrections back.
    #[arg(long)]
    restore: bool,
}

/// What is asked for, as it was typed.
fn revision(args: &Args, settings: &Settings) -> Result<Revision, Failure> {
    let usage = |what: String| Failure::Usage(what);
    let moment = |option: &str, text: &str| -> Result<Time, Failure> {
        text.parse()
            .map_err(|e| usage(format!("{option} {}: {e}", plain::name(text))))
    };
    let center = match (&args.tonality, args.none) {
        (Some(text), _) => {
            let letters = settings.notation.letters;
            let spelled = settings.catalogue.parse_tonality_in(text, letters);
            Some(Center::In(spelled.map_err(|e| usage(e.to_string()))?))
        }
        (None, true) => Some(Center::None),
        (None, false) => None,
    };
    let word = args.word.as_deref().map(typed).transpose()?;
    let word = word.map(str::to_owned);
    let to = |from: &str| -> Result<Time, Failure> {
        match &args.to {
            Some(to) => moment("--to", to),
            None => Err(usage(format!("{from} needs --to"))),
        }
    };
    let correction = if let Some(at) = &args.at {
        if args.to.is_some() {
            let what = "--at names one region; a stretch is --from TIME --to TIME";
            return Err(usage(what.into()));
        }
        if center.is_none() && word.is_none() {
            let what = "--at needs what is so there: a tonality, such as \"G mixolydian\", --none \
                        for no center, or a --word";
            return Err(usage(what.into()));
        }
        let at = moment("--at", at)?;
        return Ok(Revision::Correct(Correction::Label { at, center, word }));
    } else if let Some(from) = &args.from {
        let Some(center) = center else {
            let what = "--from and --to need what is so there: a tonality, such as \
                        \"G mixolydian\", or --none for no center";
            return Err(usage(what.into()));
        };
        return Ok(Revision::Correct(Correction::Stretch {
            from: moment("--from", from)?,
            to: to("--from")?,
            center,
            word,
        }));
    } else if let Some(near) = &args.border {
        Some(Correction::Border {
            near: moment("--border", near)?,
            to: to("--border")?,
        })
    } else if let Some(at) = &args.split {
        let at = moment("--split", at)?;
        Some(Correction::Split { at })
    } else if let Some(at) = &args.join {
        let at = moment("--join", at)?;
        let with = match args.previous {
            true => Neighbour::Previous,
            false => Neighbour::Next,
        };
        Some(Correction::Join { at, with })
    } else {
        None
    };
    if center.is_some() || word.is_some() {
        let what = "a tonality, --none and --word go with --at TIME, or with --from TIME --to \
                    TIME: correct one thing at a time";
        return Err(usage(what.into()));
    }
    if args.to.is_some() && args.border.is_none() {
        return Err(usage("--to goes with --from or --border".into()));
    }
    Ok(match correction {
        Some(correction) => Revision::Correct(correction),
        None if args.undo => Revision::Undo,
        None => Revision::Restore,
    })
}

pub fn run(args: &Args, settings: &Settings, format: AnswerFormat) -> Result<ExitCode, Failure> {
    // Wrong usage is said before anything is read.
    let revision = revision(args, settings)?;
    let mut open = Open::new(settings)?;
    let sitting = open.find(&args.one.name)?;
    let mut line = ProgressLine::new();
    let title = plain::name(sitting.title()).into_owned();
    let progress = |share: f32| {
        let percent = (100.0 * share) as u32;
        line.tell(share.into(), &format!("{title}, in hindsight: {percent} %"));
        ControlFlow::Continue(())
    };
    let to = (&revision, &signature::now());
    let revised = open.correct(&sitting.id, to, engine::monitor(settings), progress);
    drop(line);
    let revised = revised.map_err(|e| Failure::Failed(format!("{title}: {e}")))?;
    let sitting = open.put_revised(&sitting.id, &revised)?;
    let plan = revised.recording.facts.corrected.as_ref();
    let shown = plan.map(|plan| Shown {
        plan,
        before: Some(&revised.before),
        notation: &settings.notation,
        catalogue: &settings.catalogue,
    });
    let regions: Vec<RegionOut> = shown.as_ref().map_or(Vec::new(), Shown::out);
    let json = json!({
        "id": sitting.id,
        "corrections": sitting.corrections,
        "regions": regions,
    });
    print(format, &json, || told(&sitting, shown.as_ref(), &revised))
}

fn told(sitting: &Sitting, shown: Option<&Shown>, revised: &Revised) -> String {
    let title = plain::name(sitting.title());
    let count = |n: usize| match n {
        1 => "one correction".to_owned(),
        n => format!("{n} corrections"),
    };
    let Some(shown) = shown else {
        let gone = count(revised.before.steps().len().max(1));
        return format!("{title}: {gone} taken back; it has no corrected plan any longer\n");
    };
    let corrections = count(shown.plan.steps().len());
    format!("{title}, corrected: {corrections}; what changed now: *\n") + &shown.text()
}

/// A corrected plan and how it is to be written.
pub struct Shown<'a> {
    pub plan: &'a CorrectedPlan,
    /// As it was, so that what differs is marked.
    pub before: Option<&'a CorrectedPlan>,
    pub notation: &'a Notation,
    pub catalogue: &'a Catalogue,
}

/// A region for a program; of no center `center`, `mode` and `label` are null.
#[derive(Serialize)]
pub struct RegionOut<'a> {
    start: f64,
    end: f64,
    center: Option<usize>,
    mode: Option<&'a str>,
    label: Option<String>,
    word: Option<&'a str>,
    /// Who changed it last and when; null where it is as it was in hindsight.
    who: Option<&'a str>,
    when: Option<&'a str>,
    changed: bool,
}

impl<'a> Shown<'a> {
    /// A line for each region.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for (r, end) in self.plan.stretches() {
            let mark = if self.is_changed(r, end) { '*' } else { ' ' };
            let label = match r.center {
                Center::None => "no center".to_owned(),
                Center::In(spelled) => self.notation.tonality(spelled, self.catalogue),
            };
            let (from, to) = (r.start.to_string(), end.to_string());
            // Writing to a String cannot fail.
            let _ = write!(text, "{mark} {from:>8}  {to:>8}  {label}");
            if let Some(word) = &r.word {
                let _ = write!(text, ", “{}”", plain::name(word));
            }
            if let Some(by) = &r.by {
                let (when, who) = (plain::name(&by.when), plain::name(&by.who));
                let _ = write!(text, "  ({})", format!("{when} {who}").trim());
            }
            text.push('\n');
        }
        text
    }

    pub fn out(&self) -> Vec<RegionOut<'a>> {
        let one = |(r, end): (&'a CorrectedRegion, Time)| {
            let spelled = match r.center {
                Center::None => None,
                Center::In(spelled) => Some(spelled),
            };
            let mode = spelled.map(|t| &*self.catalogue.mode(t.tonality.mode).id);
            let by = r.by.as_ref();
            RegionOut {
                start: r.start.seconds(),
                end: end.seconds(),
                center: spelled.map(|t| t.tonality.center.index()),
                mode,
                label: spelled.map(|t| self.notation.tonality(t, self.catalogue)),
                word: r.word.as_deref(),
                who: by.map(|by| &*by.who),
                when: by.map(|by| &*by.when),
                changed: self.is_changed(r, end),
            }
        };
        self.plan.stretches().map(one).collect()
    }

    fn is_changed(&self, r: &CorrectedRegion, end: Time) -> bool {
        let Some(before) = self.before else {
            return false;
        };
        let place = before.regions().partition_point(|b| b.start < r.start);
        let mut there = before.stretches().skip(place);
        !there.next().is_some_and(|(b, b_end)| {
            (b.start, b_end, b.center, b.open, &b.word) == (r.start, end, r.center, r.open, &r.word)
        })
    }
}
