//! `haltmark compare`: which of two is better, by how much, how sure.

use std::path::Path;

use serde::Serialize;

use super::args::{ByColumn, Common, CompareArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::calibration::rig_name::{NameMeant, did_you_mean, meant};
use crate::decide::compare::{self, Better, By, Compared, ComparedSpreads, Comparison};
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::log::run::{Label, Run, Season};
use crate::log::{self, group};
use crate::report::{compare_page, compare_words, words};
use crate::stats::interval::Interval;

const CM: f64 = 100.0;
/// What else can be asked where vehicle or wheels cannot be held fixed.
const WHOLE_RIGS: &str =
    "; two whole rigs are compared without --rig, each as VEHICLE/WHEELS after --a and --b";

/// Compares what two labels of the logs stand for.
///
/// # Errors
/// Faults of set-up and logs, unknown labels; data that cannot answer.
pub fn run(args: &CompareArgs, common: &Common) -> Result<Answer, Error> {
    let setup = inputs::setup(common)?;
    let options = log::ReadOptions {
        sheet: args.logs.sheet.clone(),
        ..log::ReadOptions::default()
    };
    let (mut season, mut read) = log::read(&args.logs.logs, &setup, &options)?;
    inputs::some_runs(&season)?;
    inputs::say_ticks_once(&mut read, &setup.for_log(season.ticks_seen).dial);
    let by = match args.by {
        ByColumn::Wheels => By::Wheels,
        ByColumn::Vehicle => By::Vehicle,
        ByColumn::Build => By::Build,
        ByColumn::Trim => By::Trim,
        ByColumn::Floor => By::Floor,
    };
    if let Some(asked) = &args.rig {
        hold_fixed(&mut season, by, asked)?;
        both_ran(&season, by, [("--a", &args.a), ("--b", &args.b)], asked)?;
    }
    let found = compare::compare(&season, &setup, common.level, by, &args.a, &args.b)?;
    let mut lines = compare_words::answer(&found);
    if !common.quiet {
        let notes = compare_words::notes(&found);
        let notes = notes.into_iter().chain(newest(&found, args, common));
        lines.extend(notes.map(|n| format!("note: {n}")));
    }
    lines.extend(inputs::page(args.out.as_ref(), "compare.html", common));
    let output = match &args.out {
        Some(folder) => {
            let files = compare_page::files(&found, &season.files)?;
            Some(Output::folder(folder, files))
        }
        None => None,
    };
    let mut inputs = args.logs.logs.clone();
    inputs.extend(common.setup.clone());
    Ok(Answer {
        output,
        inputs,
        text: lines.join("\n"),
        next: next(&found, args, common),
        json: Some(output::json(&CompareJson::from_comparison(&found))),
        warnings: read,
        ..Answer::default()
    })
}

/// On which wheels two vehicles made their newest runs, with the command that compares these; `None` where that is this one.
fn newest(found: &Comparison, args: &CompareArgs, common: &Common) -> Option<String> {
    let [a, b] = found.newest.as_ref()?;
    let rig = |name: &String| inputs::typed(Path::new(name));
    Some(format!(
        "the newest runs are those of {} and {}; to compare these: haltmark compare {}{} --by vehicle --a {} --b {}",
        words::label(a),
        words::label(b),
        inputs::typed_all(&args.logs.logs),
        inputs::with_setup(common),
        rig(a),
        rig(b)
    ))
}

/// Runs of both on a sheet where these would settle which is better; else the fit that gives settings.
fn next(found: &Comparison, args: &CompareArgs, common: &Common) -> String {
    let setup = inputs::with_setup(common);
    let fit = |whose: &str| {
        let logs = inputs::typed_all(&args.logs.logs);
        format!("haltmark fit {logs}{setup}, for the settings of {whose}")
    };
    let answer = &found.at_event.answer;
    match (answer.verdict, answer.runs_to_settle) {
        (Better::A, _) => fit(&words::label(&found.a.label)),
        (Better::B, _) => fit(&words::label(&found.b.label)),
        (Better::Undecided, Some(_)) => {
            format!("haltmark sheet --out sheet.html{setup}, to write more runs of both on")
        }
        (Better::Undecided, None) => fit("both"),
    }
}

/// Keeps only the runs of the vehicle (where wheels are compared), the wheels (where vehicles are) or else the rig that is
/// asked for by its name or a part of it.
///
/// # Errors
/// [`Error::Input`] where no name has that part, or several have.
fn hold_fixed(season: &mut Season, by: By, asked: &str) -> Result<(), Error> {
    let rigs = group::rigs(season);
    let names: Vec<&str> = match by {
        By::Wheels => season.vehicles.iter().map(String::as_str).collect(),
        By::Vehicle => season.wheels.iter().map(String::as_str).collect(),
        _ => rigs.iter().map(|rig| rig.name.as_str()).collect(),
    };
    let NameMeant::One(held) = meant(names.iter().copied(), asked) else {
        let (what, instead) = match by {
            By::Wheels => ("the vehicle to hold fixed, ", WHOLE_RIGS),
            By::Vehicle => ("the wheels to hold fixed, ", WHOLE_RIGS),
            _ => ("", ""),
        };
        let expected = format!(
            "expected {what}the name of one of {}, or a part that no other has{instead}{}",
            names.join(", "),
            did_you_mean(asked, names.iter().copied())
        );
        let fault = Fault::error("--rig", expected).read(asked);
        return Err(Faults::from(fault).into());
    };
    let label = held as u32;
    match by {
        By::Wheels => season.runs.retain(|run| run.vehicle == label),
        By::Vehicle => season.runs.retain(|run| run.wheels == label),
        _ => {
            let (vehicle, wheels) = (rigs[held].vehicle, rigs[held].wheels);
            season
                .runs
                .retain(|run| (run.vehicle, run.wheels) == (vehicle, wheels));
        }
    }
    Ok(())
}

/// Refuses a label of the log that none of the runs has which are held fixed.
///
/// * `names` — with the flags they were given after; `held` — the vehicle or the wheels, as asked for
///
/// # Errors
/// [`Error::Input`] for every such label.
fn both_ran(season: &Season, by: By, names: [(&str, &String); 2], held: &str) -> Result<(), Error> {
    let (labels, label): (_, fn(&Run) -> Label) = match by {
        By::Wheels => (&season.wheels, |run| run.wheels),
        By::Vehicle => (&season.vehicles, |run| run.vehicle),
        _ => return Ok(()),
    };
    let mut faults = Faults::default();
    for (flag, name) in names {
        let at = labels.iter().position(|known| known == name);
        let ran = |at: usize| season.runs.iter().any(|run| label(run) as usize == at);
        if at.is_some_and(|at| !ran(at)) {
            let expected = format!("has no runs with --rig {held}{WHOLE_RIGS}");
            faults.push(Fault::error(flag, expected).read(name));
        }
    }
    match faults.any_error() {
        true => Err(faults.into()),
        false => Ok(()),
    }
}

#[derive(Serialize)]
struct CompareJson<'a> {
    level: f64,
    a: &'a str,
    b: &'a str,
    sessions_shared: usize,
    distance_per_turn_cm: ComparedJson,
    overshoot_cm: ComparedJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    curve_cm_per_m2: Option<ComparedJson>,
    run_to_run_cm: SpreadsJson,
    event_miss_cm: ComparedJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    time_s: Option<ComparedJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    score: Option<ComparedJson>,
    chance_b_better: f64,
    verdict: &'static str,
    runs_to_settle: Option<usize>,
    at_event: AtEventJson,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct AtEventJson {
    miss_cm: ComparedJson,
    chance_b_better: f64,
    verdict: &'static str,
    runs_to_settle: Option<usize>,
}

#[derive(Serialize)]
struct ComparedJson {
    a: Interval,
    b: Interval,
    difference: Interval,
}

impl ComparedJson {
    fn from_compared(c: Compared, unit: f64) -> Self {
        ComparedJson {
            a: c.a.scaled(unit),
            b: c.b.scaled(unit),
            difference: c.difference.scaled(unit),
        }
    }
}

#[derive(Serialize)]
struct SpreadsJson {
    a: Interval,
    b: Interval,
    ratio: Interval,
}

impl SpreadsJson {
    fn from_spreads(s: ComparedSpreads, unit: f64) -> Self {
        SpreadsJson {
            a: s.a.scaled(unit),
            b: s.b.scaled(unit),
            ratio: s.ratio,
        }
    }
}

impl<'a> CompareJson<'a> {
    fn from_comparison(found: &'a Comparison) -> Self {
        CompareJson {
            level: found.level.probability(),
            a: &found.a.label,
            b: &found.b.label,
            sessions_shared: found.sessions_shared,
            distance_per_turn_cm: ComparedJson::from_compared(found.distance_per_turn_m, CM),
            overshoot_cm: ComparedJson::from_compared(found.overshoot_m, CM),
            // 100·κ/2, the unit of `calibration.json`.
            curve_cm_per_m2: found
                .curvature_per_m
                .map(|c| ComparedJson::from_compared(c, CM / 2.0)),
            run_to_run_cm: SpreadsJson::from_spreads(found.run_to_run_m, CM),
            event_miss_cm: ComparedJson::from_compared(found.event_miss_m, CM),
            time_s: found.time_s.map(|c| ComparedJson::from_compared(c, 1.0)),
            score: found.score.map(|c| ComparedJson::from_compared(c, 1.0)),
            chance_b_better: found.first_run.chance_b_better,
            verdict: found.first_run.verdict.name(),
            runs_to_settle: found.first_run.runs_to_settle,
            at_event: AtEventJson {
                miss_cm: ComparedJson::from_compared(found.at_event.miss_m, CM),
                chance_b_better: found.at_event.answer.chance_b_better,
                verdict: found.at_event.answer.verdict.name(),
                runs_to_settle: found.at_event.answer.runs_to_settle,
            },
            warnings: (compare_words::together(found).into_iter())
                .chain(found.warnings.iter().cloned())
                .collect(),
        }
    }
}
