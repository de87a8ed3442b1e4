//! `haltmark review`: after the event, did the runs land where the calibration said?

use std::path::PathBuf;

use serde::Serialize;

use super::args::{Common, ReviewArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::calibration::InsideCount;
use crate::calibration::rig_name::{NameMeant, meant};
use crate::calibration::{Calibration, SetAside};
use crate::decide::review::{self, Review};
use crate::decide::{Situation, situation};
use crate::error::Error;
use crate::log::{self, group, run::Season};
use crate::report::{review_page, review_words};
use crate::setup;
use crate::stats::interval::Interval;

const CM: f64 = 100.0;

/// Compares the runs of logs with the predictions of a calibration.
///
/// # Errors
/// Faults of calibration, set-up and logs; data that cannot answer.
pub fn run(args: &ReviewArgs, common: &Common) -> Result<Answer, Error> {
    let calibration = inputs::calibration(&args.calibration, None, common)?;
    let options = log::ReadOptions {
        kind: log::LogKind::Day,
        sheet: args.logs.sheet.clone(),
    };
    let (season, mut read) = log::read(&args.logs.logs, &calibration.setup, &options)?;
    inputs::some_runs(&season)?;
    inputs::say_ticks_once(&mut read, &calibration.setup.dial);
    let mut choice = inputs::choice(&args.rig, None);
    if choice.rig.is_none() {
        choice.rig = only_rig(&calibration, &season)?;
    }
    let situation = Situation::new(&calibration, &choice)?;
    let mut review = review::review(&situation, &season, common.level)?;
    review.warnings.extend(inputs::without_aim(&season));
    let mut lines = review_words::advice(&review);
    lines.extend(review.warnings.iter().map(|w| format!("note: {w}")));
    lines.extend(inputs::page(args.out.as_ref(), "review.html", common));
    let output = match &args.out {
        Some(folder) => {
            let files = review_page::files(&calibration, &situation, &review)?;
            Some(Output::folder(folder, files))
        }
        None => None,
    };
    let mut inputs = inputs::files_read(&args.calibration, common);
    inputs.extend(args.logs.logs.clone());
    Ok(Answer {
        output,
        inputs,
        text: lines.join("\n"),
        next: match review.all_are_known() {
            true => String::new(),
            false => next(&calibration, &args.logs.logs, common),
        },
        json: Some(output::json(&ReviewJson::from_review(&situation, &review))),
        warnings: read,
        ..Answer::default()
    })
}

/// The fit of the season with these runs.
fn next(calibration: &Calibration, logs: &[PathBuf], common: &Common) -> String {
    let path = |name: &String| match name == log::STANDARD_INPUT_NAME {
        true => PathBuf::from(log::STANDARD_INPUT),
        false => PathBuf::from(name),
    };
    let mut season: Vec<PathBuf> = calibration.logs.iter().map(path).collect();
    let new = logs
        .iter()
        .filter(|log| !calibration.logs.contains(&log.display().to_string()));
    season.extend(new.cloned());
    let setup = match (&common.setup, inputs::setup_beside(&season)) {
        (Some(_), _) => inputs::with_setup(common),
        // Which file the calibration was made with it does not know.
        _ if setup::told(&calibration.setup).is_empty() => String::new(),
        (None, Some((beside, _))) => format!(" --setup {}", inputs::typed(&beside)),
        (None, None) => " --setup SETUP.toml".to_string(),
    };
    format!(
        "haltmark fit {}{setup}, so that these runs count too",
        inputs::typed_all(&season)
    )
}

#[derive(Serialize)]
struct ReviewJson<'a> {
    level: f64,
    rig: &'a str,
    runs: usize,
    set_aside: &'a [SetAside],
    known: usize,
    inside: InsideJson,
    expected: f64,
    shift_long_cm: Option<Interval>,
    shift_right_cm_per_m: Option<Interval>,
    spread_ratio: Option<Interval>,
    verdict: &'static str,
    verdict_with_all: &'static str,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    warnings: &'a [String],
}

#[derive(Serialize)]
struct InsideJson {
    long: CountJson,
    right: CountJson,
    miss: CountJson,
}

/// Of how many runs something was predicted, and how many fell inside.
#[derive(Serialize)]
struct CountJson {
    of: usize,
    inside: usize,
}

impl<'a> ReviewJson<'a> {
    fn from_review(situation: &'a Situation, review: &'a Review) -> Self {
        let inside = |InsideCount { of, inside }: InsideCount| CountJson { of, inside };
        ReviewJson {
            level: review.level.probability(),
            rig: &situation.rig.name,
            runs: review.counted(),
            set_aside: &review.set_aside,
            known: review.known,
            inside: InsideJson {
                long: inside(review.inside_long),
                right: inside(review.inside_right),
                miss: inside(review.inside_miss),
            },
            expected: review.expected(),
            shift_long_cm: review.shift_long_m.map(|s| s.by.scaled(CM)),
            shift_right_cm_per_m: review.shift_right_rad.map(|s| s.by.scaled(CM)),
            spread_ratio: review.spread_ratio,
            verdict: review.verdict.name(),
            verdict_with_all: review.verdict_with_all.name(),
            warnings: &review.warnings,
        }
    }
}

/// The name of the calibration's rig in the log; `None` where the log has several of them, or does not tell.
///
/// # Errors
/// [`Error::Input`] where the calibration holds several rigs, and none of a name that the log has.
fn only_rig(calibration: &Calibration, season: &Season) -> Result<Option<String>, Error> {
    let in_log = group::rigs(season);
    let name = |rig: usize| calibration.rigs[rig].name.clone();
    let mut known =
        (0..calibration.rigs.len()).filter(|&rig| in_log.iter().any(|g| g.name == name(rig)));
    if let Some(first) = known.next() {
        return Ok(known.next().is_none().then(|| name(first)));
    }
    let named = in_log.iter().find(|rig| !rig.name.is_empty());
    let Some(named) = named.filter(|_| calibration.rigs.len() > 1) else {
        return Ok(None);
    };
    match meant(
        calibration.rigs.iter().map(|rig| rig.name.as_str()),
        &named.name,
    ) {
        NameMeant::One(rig) => Ok(Some(name(rig))),
        NameMeant::Several(_) => Ok(None),
        NameMeant::None => {
            let log = season.files.join(", ");
            Err(situation::no_such_rig(&log, &named.name, calibration))
        }
    }
}
