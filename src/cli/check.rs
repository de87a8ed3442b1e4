//! `haltmark check`: the faults of the logs, what was understood, and the set-up in force.

mod cannot;
mod words;

use std::path::PathBuf;

use serde::Serialize;

use super::args::{CheckArgs, Common};
use super::inputs;
use super::output::{self, Answer};
use crate::calibration::{fit, range};
use crate::error::Error;
use crate::fault::{Fault, FaultPlace, Faults, Severity};
use crate::log::{self, run::Season, summary};
use crate::setup::{self, Setup};

/// Answers `haltmark check`. A log with errors is an answer too: all its faults, and exit status 2.
///
/// # Errors
/// Faults of the set-up file.
pub fn run(args: &CheckArgs, common: &Common) -> Result<Answer, Error> {
    let setup = inputs::setup(common)?;
    let options = log::ReadOptions {
        sheet: args.logs.sheet.clone(),
        ..log::ReadOptions::default()
    };
    match read(args, &setup, &options) {
        Ok((season, mut warnings)) => {
            let beside = match common.setup {
                Some(_) => None,
                None => inputs::setup_beside(&args.logs.logs),
            };
            warnings.0.extend(beside.as_ref().map(not_used));
            let setup = setup.for_log(season.ticks_seen);
            let rigs = summary::summarise(&season);
            let cannot: Vec<Vec<String>> = rigs
                .iter()
                .map(|rig| cannot::tell(&season, rig, &setup))
                .collect();
            let taken = fit::taken(&season, &setup, common.level);
            let shown = words::CheckShown {
                season: &season,
                rigs: &rigs,
                taken: &taken,
                cannot: &cannot,
            };
            let text = if common.quiet {
                String::new()
            } else {
                words::text(&shown, &warnings, &setup)
            };
            Ok(Answer {
                text,
                next: match rigs.iter().any(|rig| cannot::lacks_times(rig, &setup)) {
                    true => String::new(),
                    false => next(&season, args, common, beside.as_ref()),
                },
                // Made only when asked for: it is as long as the log.
                json: common.json.then(|| {
                    output::json(&Checked {
                        faults: faults_json(&warnings),
                        understood: Some(words::understood(&shown)),
                        setup: &setup,
                    })
                }),
                warnings,
                ..Answer::default()
            })
        }
        Err(Error::Input(faults)) => Ok(Answer {
            json: Some(output::json(&Checked {
                faults: faults_json(&faults),
                understood: None,
                setup: &setup,
            })),
            text: String::new(),
            status: Error::Input(Faults::default()).exit_status(),
            // The JSON holds them; said once is enough.
            warnings: if common.json {
                Faults::default()
            } else {
                faults
            },
            ..Answer::default()
        }),
        Err(other) => Err(other),
    }
}

/// The logs, for which the set-up's obstacle stands where it can.
fn read(
    args: &CheckArgs,
    setup: &Setup,
    options: &log::ReadOptions,
) -> Result<(Season, Faults), Error> {
    let read = log::read(&args.logs.logs, setup, options)?;
    range::obstacle_before_logged(setup, range::logged_targets_m(&read.0))?;
    Ok(read)
}

/// The warning of a set-up beside a log that was not given.
fn not_used((beside, setup): &(PathBuf, Setup)) -> Fault {
    let why = format!(
        "stands beside the log and was not used, so nothing is known here of its {}; give it with --setup {}",
        setup::told(setup).join(", "),
        inputs::typed(beside)
    );
    Fault::warning(beside.display().to_string(), why)
}

/// The fit of these logs; where there are no runs yet, a sheet to write them on.
///
/// * `beside` — a set-up beside a log that was not given
fn next(
    season: &Season,
    args: &CheckArgs,
    common: &Common,
    beside: Option<&(PathBuf, Setup)>,
) -> String {
    let setup = match beside {
        Some((path, _)) => format!(" --setup {}", inputs::typed(path)),
        None => inputs::with_setup(common),
    };
    match season.runs.is_empty() {
        true => format!("haltmark sheet --out sheet.html{setup}, to write the first runs on"),
        false => format!("haltmark fit {}{setup}", inputs::typed_all(&args.logs.logs)),
    }
}

#[derive(Serialize)]
struct Checked<'a> {
    faults: Vec<FaultJson<'a>>,
    understood: Option<words::Understood<'a>>,
    setup: &'a Setup,
}

#[derive(Serialize)]
struct FaultJson<'a> {
    severity: &'static str,
    log: &'a str,
    sheet: Option<&'a str>,
    line: Option<usize>,
    letter: Option<&'a str>,
    column: Option<&'a str>,
    read: Option<&'a str>,
    message: String,
}

fn faults_json(faults: &Faults) -> Vec<FaultJson<'_>> {
    faults.0.iter().map(fault_json).collect()
}

fn fault_json(fault: &Fault) -> FaultJson<'_> {
    let (sheet, line, letter) = match &fault.place {
        FaultPlace::File => (None, None, None),
        FaultPlace::Line(line) | FaultPlace::Character { line, .. } => (None, Some(*line), None),
        FaultPlace::Cell { sheet, row, letter } => {
            (Some(sheet.as_str()), Some(*row), letter.as_deref())
        }
    };
    FaultJson {
        severity: match fault.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        },
        log: &fault.file,
        sheet,
        line,
        letter,
        column: fault.column.as_deref(),
        read: fault.read.as_deref(),
        message: fault.to_string(),
    }
}
