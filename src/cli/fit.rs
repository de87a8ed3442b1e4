//! `haltmark fit`: the main job. Logs in; report, figures, calibration, settings and card out.

use std::path::{Path, PathBuf};

use super::args::{Common, FitArgs};
use super::changed;
use super::inputs;
use super::output::{Answer, Output};
use super::progress;
use crate::calibration::fit::{Options, fit_watched};
use crate::calibration::{Calibration, Rig, file};
use crate::decide::{self, RigSettings};
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::log;
use crate::report;
use crate::report::words;
use crate::setup::{self, Setup};
use crate::stats::interval::Level;

/// Fits every rig of the logs and makes every file.
///
/// # Errors
/// Faults of logs and set-up; data that cannot answer.
pub fn run(args: &FitArgs, common: &Common) -> Result<Answer, Error> {
    let folder = folder(args)?;
    let setup = inputs::setup(common)?;
    let (season, mut warnings) = log::read(&args.logs.logs, &setup, &sheet(args))?;
    inputs::some_runs(&season)?;
    // The calibration says it, for every answer that is made from it.
    warnings.0.retain(|w| !log::says_ticks_are_assumed(w));
    let mut calibration = progress::shown("Fitting rigs", common.quiet, |watch| {
        fit_watched(&season, &setup, common.level, options(args), watch)
    })?;
    decide::complete(&mut calibration)?;
    let advice = decide::advise(&calibration)?;
    let files = report::files(&calibration, &advice)?;
    let before = changed::previous(&folder);
    if common.setup.is_none() {
        warnings
            .0
            .extend(without_setup(&args.logs.logs, &folder, before.as_ref()));
    }
    Ok(Answer {
        open: args.open.then(|| folder.join("report.html")),
        text: summary(
            &calibration,
            &advice,
            before.as_ref(),
            &folder,
            common.quiet,
        ),
        next: next(&advice, &folder),
        json: common.json.then(|| json(&calibration)),
        output: Some(Output::folder(&folder, files)),
        inputs: inputs(args, common),
        warnings,
        ..Answer::default()
    })
}

/// `calibration.json` without its last line end, as every answer is printed.
fn json(calibration: &Calibration) -> String {
    file::write(calibration).trim_end().to_string()
}

fn sheet(args: &FitArgs) -> log::ReadOptions {
    log::ReadOptions {
        sheet: args.logs.sheet.clone(),
        ..log::ReadOptions::default()
    }
}

fn options(args: &FitArgs) -> Options {
    Options {
        keep_all: args.keep_all,
        since: args.since,
    }
}

/// The folder to write to: the one asked for, else `reports/` and the first log's name without its ending.
///
/// # Errors
/// [`Error::Input`] where the first log is standard input, which has no name.
fn folder(args: &FitArgs) -> Result<PathBuf, Error> {
    let first = args.logs.logs.first();
    match (&args.out, first) {
        (Some(folder), _) => Ok(folder.clone()),
        (None, Some(log)) if log::is_standard_input(log) => {
            let why = "runs from standard input have no name for the folder; expected one, such as --out reports/season";
            Err(Faults::from(Fault::error("--out", why)).into())
        }
        (None, first) => Ok(inputs::folder_of_fit(
            first.map_or(Path::new(""), |log| log),
        )),
    }
}

/// Warnings of a fit without a set-up where there is one: beside a log, as `start` names it, or in the calibration that is
/// replaced. Each says what is therefore missing.
fn without_setup(logs: &[PathBuf], folder: &Path, before: Option<&Calibration>) -> Vec<Fault> {
    let missing =
        |setup: &Setup| Some(setup::told(setup).join(", ")).filter(|told| !told.is_empty());
    if let Some((beside, setup)) = inputs::setup_beside(logs) {
        let told = setup::told(&setup).join(", ");
        let why = format!(
            "stands beside the log and was not used, so the fit knows nothing of its {told}; give it with --setup {}",
            inputs::typed(&beside)
        );
        return vec![Fault::warning(beside.display().to_string(), why)];
    }
    let Some(told) = before.and_then(|before| missing(&before.setup)) else {
        return Vec::new();
    };
    let why = format!(
        "the calibration that this fit replaces was made with a set-up; now nothing is known of its {told}; give that file \
         with --setup"
    );
    let replaced = folder.join("calibration.json").display().to_string();
    vec![Fault::warning(replaced, why)]
}

/// Files that were read, and must not be written over.
fn inputs(args: &FitArgs, common: &Common) -> Vec<PathBuf> {
    let logs = args.logs.logs.iter();
    logs.chain(&common.setup).cloned().collect()
}

/// The text for a terminal: a few lines for each rig, what holds for all, where the files are. Empty where `quiet`.
fn summary(
    calibration: &Calibration,
    advice: &[RigSettings],
    before: Option<&Calibration>,
    folder: &Path,
    quiet: bool,
) -> String {
    if quiet {
        return String::new();
    }
    let mut lines = Vec::new();
    for rig in advice {
        lines.extend(rig_lines(rig, calibration.level));
        lines.push(String::new());
    }
    if !calibration.warnings.is_empty() {
        lines.extend(calibration.warnings.iter().map(|w| format!("note: {w}")));
        lines.push(String::new());
    }
    let changed = before.map_or_else(Vec::new, |before| changed::lines(before, advice));
    if !changed.is_empty() {
        lines.extend(changed);
        lines.push(String::new());
    }
    let card = folder.join("card.html");
    lines.push(format!(
        "Card for the event day, to copy to a phone or print: {}",
        card.display()
    ));
    lines.push(format!("Report: {}", folder.join("report.html").display()));
    lines.join("\n")
}

fn rig_lines(settings: &RigSettings, level: Level) -> Vec<String> {
    let rig = settings.situation.rig;
    let travel = &rig.travel;
    let cm = |m: f64| format!("{:.1}", 100.0 * m);
    let name = if rig.name.is_empty() {
        "The vehicle"
    } else {
        &rig.name
    };
    let days = match rig.counts.sessions {
        1 => "1 session".to_string(),
        n => format!("{n} sessions"),
    };
    let mut lines = vec![format!("{name}: {} runs in {days}", rig.counts.fitted)];
    let turn = travel.distance_per_turn_m;
    lines.push(format!(
        "  a turn carries it {} cm ({} to {})",
        cm(turn.estimate),
        cm(turn.low),
        cm(turn.high)
    ));
    let newest = &travel.builds[travel.newest_build];
    lines.push(format!(
        "  roll-on after the turns are used up: {} cm ({} to {})",
        cm(newest.overshoot_m.estimate),
        cm(newest.overshoot_m.low),
        cm(newest.overshoot_m.high)
    ));
    lines.push(format!("  {}", spreads(rig)));
    lines.push(format!(
        "  settings, and how near {} first runs of a new day stop:",
        words::level(level.probability())
    ));
    let three = settings.three.iter();
    let dial = &settings.situation.setup.dial;
    lines.extend(three.map(|(s, _)| format!("  {}", super::dial::line(s, dial))));
    for aside in &rig.set_aside {
        lines.push(format!(
            "  set aside: {}, {}: {}",
            aside.log,
            aside.row(),
            aside.why
        ));
    }
    // The slips of its rows were told with the log's warnings.
    let of_fit = rig.warnings.iter().skip(rig.slips);
    lines.extend(of_fit.map(|w| format!("  note: {w}")));
    lines
}

/// Fewest sessions that say how far days differ.
const DAYS_TOLD_FROM: usize = 3;

/// How far runs and days differ, in words.
fn spreads(rig: &Rig) -> String {
    let travel = &rig.travel;
    let cm = |m: f64| format!("{:.1}", 100.0 * m);
    let runs = format!(
        "how far it goes at {:.1} m differs by about {} cm from one run to the next",
        travel.spread_at_m,
        cm(travel.run_to_run_m.estimate)
    );
    let between = travel.between_sessions_m.estimate;
    let days = if rig.counts.sessions < DAYS_TOLD_FROM {
        let sessions = words::count(rig.counts.sessions, "session", "sessions");
        format!("; how far days differ is not known yet ({sessions})")
    } else if between == 0.0 {
        "; days were not seen to differ".to_string()
    } else {
        format!(", and {} cm from one day to the next", cm(between))
    };
    runs + &days
}

/// The command for the announced target: with the middle target of the first rig in place of it.
fn next(advice: &[RigSettings], folder: &Path) -> String {
    let Some(rig) = advice.first() else {
        return String::new();
    };
    let middle = &rig.three[rig.three.len() / 2].0;
    let name = &rig.situation.rig.name;
    let of = if rig.alone {
        String::new()
    } else {
        format!(" --rig \"{name}\"")
    };
    format!(
        "haltmark dial {} --target {:.2}{of}",
        inputs::typed(folder),
        middle.target_m
    )
}
