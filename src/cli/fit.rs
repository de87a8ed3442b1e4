//! `haltmark fit`: the main job. Logs in; report, figures, calibration, settings and card out.

use std::path::PathBuf;

use super::args::{self, Common};
use super::output::{Answer, Staged};
use super::progress::Progress;
use crate::calibration::{Calibration, Rig, file, fit::Chosen, fit::Options};
use crate::decide::{self, Setting};
use crate::error::Error;
use crate::log;
use crate::report::{self, Report};

/// Fits every rig of the logs and makes every file.
///
/// # Errors
/// Faults of logs and set-up; data that cannot answer.
pub fn run(args: &args::Fit, common: &Common) -> Result<Answer, Error> {
    let setup = super::setup(common)?;
    let options = log::Options {
        sheet: args.logs.sheet.clone(),
    };
    let (season, warnings) = log::read(&args.logs.logs, &setup, &options)?;
    let options = Options {
        keep_all: args.keep_all,
        since: args.since,
    };
    let chosen = Chosen::of(&season, &setup, common.level, options)?;
    let folder = args
        .out
        .clone()
        .unwrap_or_else(|| default_folder(&args.logs.logs));
    let mut inputs = args.logs.logs.clone();
    inputs.extend(common.setup.clone());
    let mut refused = chosen.refused()?;
    let (staged, calibration, made) = loop {
        let staged = Staged::of_folder(&folder, &inputs)?;
        let put = |name: &str, bytes: &[u8]| staged.stage(folder.join(name), bytes);
        let about = chosen.about();
        let report = Report::new(&about, chosen.count(&refused), &put)?;
        let fitting = Progress::new("Fitting rigs", common.quiet);
        let watch = |done, all| fitting.at(done, all);
        let each = |index, mut rig| {
            decide::complete_rig(&setup, about.range()?, &mut rig)?;
            let made = report.rig(index, &rig)?;
            rig.drawn();
            Ok((rig, made))
        };
        // What was staged without knowing of a rig that is refused goes unplaced.
        if let Some((calibration, made)) = chosen.fit_each(&mut refused, &watch, each)? {
            break (staged, calibration, made);
        }
    };
    // Neither is needed any more, and together they are most of what is held.
    drop(chosen);
    drop(season);
    let put = |name: &str, bytes: &[u8]| staged.stage(folder.join(name), bytes);
    let (mut json, check) = file::write_and_sum(&calibration);
    put("calibration.json", json.as_bytes())?;
    // A league's is megabytes, let go of where nobody asked for it.
    json.truncate(json.trim_end().len());
    let json = common.json.then_some(json);
    let settings = report::finish(&calibration, &check, made, &put)?;
    Ok(Answer {
        text: if common.quiet || common.json {
            String::new()
        } else {
            summary(&calibration, &settings, &folder)
        },
        json,
        staged: Some(staged),
        warnings,
        ..Answer::default()
    })
}

/// `reports/` and the first log's name without its ending.
fn default_folder(logs: &[PathBuf]) -> PathBuf {
    let stem = logs
        .first()
        .and_then(|log| log.file_stem())
        .unwrap_or_default();
    PathBuf::from("reports").join(stem)
}

/// What a person wants to know at once, a few lines a rig.
fn summary(
    calibration: &Calibration,
    settings: &[Vec<Setting>],
    folder: &std::path::Path,
) -> String {
    let mut lines = Vec::new();
    for (rig, settings) in calibration.rigs.iter().zip(settings) {
        lines.extend(rig_lines(rig, settings));
        lines.push(String::new());
    }
    lines.push(format!(
        "Card for the event day, to copy to a phone or print: {}",
        folder.join("card.html").display()
    ));
    lines.push(format!("Report: {}", folder.join("report.html").display()));
    lines.join("\n")
}

/// * `settings` — at the shortest, middle and longest target
fn rig_lines(rig: &Rig, settings: &[Setting]) -> Vec<String> {
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
    lines.push(format!(
        "  differs by about {} cm from one run to the next and {} cm from one day to the next",
        cm(travel.run_to_run_m.estimate),
        cm(travel.between_sessions_m.estimate)
    ));
    lines.extend(
        settings
            .iter()
            .map(|s| format!("  {}", super::dial::line(s))),
    );
    for aside in &rig.set_aside {
        lines.push(format!(
            "  set aside: {}, line {}: {}",
            aside.log, aside.line, aside.why
        ));
    }
    lines.extend(rig.warnings.iter().map(|w| format!("  note: {w}")));
    lines
}
