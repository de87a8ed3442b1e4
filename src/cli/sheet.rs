//! `haltmark sheet`: a log sheet to print, filled in for the next session where there is a calibration.

use std::path::Path;

use serde::Serialize;

use super::args::{Common, RigArgs, SheetArgs};
use super::dial;
use super::inputs;
use super::output::{self, Answer, Output};
use crate::decide::Situation;
use crate::decide::dial::Setting;
use crate::decide::next_session;
use crate::decide::rounding::DialSetting;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::report::{log_sheet, words};
use crate::setup::Dial;
use crate::stats::interval::Interval;

const CM: f64 = 100.0;

/// Answers `haltmark sheet`: a log sheet to print.
///
/// # Errors
/// Faults of calibration and set-up; data that cannot answer.
pub fn run(args: &SheetArgs, common: &Common) -> Result<Answer, Error> {
    let made = match &args.calibration {
        Some(path) => next(path, args, common)?,
        None => first(args, common)?,
    };
    let mut inputs: Vec<_> = args.calibration.iter().cloned().collect();
    inputs.extend(common.setup.clone());
    Ok(Answer {
        text: if common.quiet {
            String::new()
        } else {
            text(args, &made)
        },
        next: "haltmark check LOG, when the sheet is typed in".to_string(),
        json: Some(output::json(&made.json)),
        output: Some(Output::file(&args.out, made.page)),
        inputs,
        ..Answer::default()
    })
}

struct Made {
    page: String,
    /// What is filled in, for a person.
    filled: String,
    json: SheetJson,
}

fn seed(common: &Common) -> u64 {
    common.seed.unwrap_or(1)
}

/// The sheet of the next session of a calibration's rig.
fn next(path: &Path, args: &SheetArgs, common: &Common) -> Result<Made, Error> {
    let calibration = inputs::calibration(path, None, common)?;
    let situation = Situation::new(&calibration, &inputs::choice(&args.rig, None))?;
    let range = calibration.range()?;
    let settings = next_session::settings(&situation, range, common.level, seed(common))?;
    let runs = words::count(settings.len(), "run", "runs");
    let of = match situation.rig.name.as_str() {
        "" => String::new(),
        name => format!(" of {}", words::label(name)),
    };
    Ok(Made {
        page: log_sheet::next(&calibration, &situation, &settings, common.level)?,
        filled: format!(
            "{runs}{of}, in mixed order (--seed {} gives another), with settings and the range to expect",
            seed(common).wrapping_add(1)
        ),
        json: SheetJson {
            level: common.level.probability(),
            seed: seed(common),
            rig: situation.rig.name.clone(),
            build: situation.build().label.clone(),
            trim: situation
                .trim()
                .map_or_else(String::new, |t| t.label.clone()),
            runs: settings
                .iter()
                .map(|s| RunJson::known(s, &situation.setup.dial))
                .collect(),
        },
    })
}

/// The sheet of a first session, from the set-up alone.
fn first(args: &SheetArgs, common: &Common) -> Result<Made, Error> {
    let setup = inputs::setup(common)?;
    let name = args.rig.rig.as_deref().unwrap_or("");
    let (vehicle, wheels) = labels(&args.rig)?;
    let meant = args.rig.rig.as_ref().map(|_| wheels);
    let session = next_session::first(&setup, meant, seed(common))?;
    let runs = words::count(session.guesses.len(), "target", "targets");
    let filled = match (session.guesses.is_empty(), session.diameter_m) {
        (true, _) => "empty lines (with --setup and a wheel diameter: targets and a first guess at the turns)".to_string(),
        (false, None) => format!("{runs} in mixed order; no turns, for no wheel diameter is known"),
        (false, Some(_)) => {
            format!("{runs} in mixed order, with a first guess at the turns from the wheel diameter")
        }
    };
    Ok(Made {
        page: log_sheet::first(&setup, &session, vehicle)?,
        filled,
        json: SheetJson {
            level: common.level.probability(),
            seed: seed(common),
            rig: name.to_string(),
            build: String::new(),
            trim: String::new(),
            runs: session
                .guesses
                .iter()
                .map(|guess| RunJson::set(guess.target_m, guess.dial, &setup.dial))
                .collect(),
        },
    })
}

/// Vehicle and wheels from `--rig`, where there is no calibration to look them up in.
fn labels(rig: &RigArgs) -> Result<(&str, &str), Error> {
    if rig.build.is_some() || rig.trim.is_some() {
        let fault = Fault::error(
            "--build, --trim",
            "without a calibration there is nothing to pick them from",
        );
        return Err(Error::Input(Faults::from(fault)));
    }
    match rig.rig.as_deref() {
        None => Ok(("", "")),
        Some(name) => name.split_once('/').ok_or_else(|| {
            let fault = Fault::error(
                "--rig",
                "expected a vehicle and its wheels, as VEHICLE/WHEELS",
            );
            Error::Input(Faults::from(fault.read(name)))
        }),
    }
}

fn text(args: &SheetArgs, made: &Made) -> String {
    format!(
        "Log sheet: {}\n  filled in: {}\nOpen it in a browser and print it (one side, landscape). Afterwards type the rows into your log, with \
         the column names of the sheet, and let `haltmark check` look for slips.",
        args.out.display(),
        made.filled
    )
}

#[derive(Serialize)]
struct SheetJson {
    level: f64,
    seed: u64,
    rig: String,
    build: String,
    trim: String,
    runs: Vec<RunJson>,
}

/// One line of the sheet, in the words of `dial`.
#[derive(Serialize)]
struct RunJson {
    target_m: f64,
    turns: Option<f64>,
    whole_turns: Option<i64>,
    ticks: Option<i64>,
    aim_right_cm: Option<f64>,
    lead_turns: Option<f64>,
    long_cm: Option<Interval>,
    right_cm: Option<Interval>,
}

impl RunJson {
    fn known(setting: &Setting, on: &Dial) -> Self {
        RunJson {
            aim_right_cm: setting.aim_right_m.map(dial::tidy_cm),
            lead_turns: setting.lead_turns,
            long_cm: Some(setting.long_m.scaled(CM)),
            right_cm: setting.right_m.map(|i| i.scaled(CM)),
            ..RunJson::set(setting.target_m, Some(setting.dial), on)
        }
    }

    /// * `on` — the dial; where nobody knows of its ticks, the turns are decimal
    fn set(target_m: f64, dial: Option<DialSetting>, on: &Dial) -> Self {
        let in_ticks = dial.filter(|_| on.ticks().is_some());
        RunJson {
            target_m,
            turns: dial.map(DialSetting::turns),
            whole_turns: in_ticks.map(DialSetting::whole_turns),
            ticks: in_ticks.map(DialSetting::ticks),
            aim_right_cm: None,
            lead_turns: None,
            long_cm: None,
            right_cm: None,
        }
    }
}
