//! What the commands read beside logs: the set-up, a calibration, and which part of it the flags ask for.

use std::path::{Path, PathBuf};

use super::args::{Common, RigArgs};
use super::no_calibration;
use crate::calibration::range::obstacle_before_logged;
use crate::calibration::travel::wheel_diameter_m;
use crate::calibration::{Calibration, file};
use crate::decide::Choice;
use crate::error::Error;
use crate::fault::{Fault, Faults, read_text};
use crate::log::{
    self,
    run::{Kind, Run, Season, Status},
};
use crate::setup::{self, Dial, Setup};
use crate::units::at_most_decimals;

/// The largest calibration that is read; a season's is under 1 MB.
pub const LARGEST_FILE_BYTES: u64 = 256 << 20;

/// The set-up that was asked for, or the defaults.
pub fn setup(common: &Common) -> Result<Setup, Error> {
    match &common.setup {
        Some(path) => setup::read(path),
        None => Ok(Setup::default()),
    }
}

/// Refuses a season of logs with headings and no runs.
///
/// # Errors
/// [`Error::CannotAnswer`] with what would help.
pub fn some_runs(season: &Season) -> Result<(), Error> {
    if !season.runs.is_empty() {
        return Ok(());
    }
    Err(Error::cannot_answer(
        format!("no runs yet in {}", season.files.join(", ")),
        "one row a run would tell; eight to twelve launches at quite different targets are a start, on two days or more",
    ))
}

/// The folder of a log's fit where none is asked for: `reports/` and the log's name without its ending.
pub fn folder_of_fit(log: &Path) -> PathBuf {
    Path::new("reports").join(log.file_stem().unwrap_or_default())
}

/// The file of a calibration: the path itself, or `calibration.json` in a folder that `fit` wrote.
pub fn calibration_file(path: &Path) -> PathBuf {
    match path.is_dir() {
        true => path.join("calibration.json"),
        false => path.to_path_buf(),
    }
}

/// The rig, build, trim and lead that the flags ask for.
pub fn choice(rig: &RigArgs, lead_turns: Option<f64>) -> Choice {
    Choice {
        rig: rig.rig.clone(),
        build: rig.build.clone(),
        trim: rig.trim.clone(),
        lead_turns,
    }
}

/// Reads a calibration, or that of a folder, under the set-up given on the command line where there is one.
///
/// * `rig` — the only one that is needed; all where it is `None`
///
/// # Errors
/// Faults of both; [`Error::Input`] where the new set-up would need another fit.
pub fn calibration(path: &Path, rig: Option<&str>, common: &Common) -> Result<Calibration, Error> {
    let in_folder = calibration_file(path);
    let name = in_folder.display().to_string();
    let mut calibration = read_text(&in_folder, LARGEST_FILE_BYTES, "a calibration")
        .and_then(|text| file::read_for(&name, &text, rig))
        .map_err(|faults| no_calibration::explained(path, faults))?;
    if let Some(setup_path) = &common.setup {
        let new = setup_over(setup_path, &calibration.setup)?;
        needs_no_fit(&setup_path.display().to_string(), &calibration, &new)?;
        obstacle_before_logged(&new, calibration.log_targets_m)?;
        if !new.dial.is_assumed() {
            // A number of ticks that was assumed at the fit, and is told now.
            let caution = calibration.setup.dial.caution();
            calibration.warnings.retain(|w| Some(w) != caution.as_ref());
        }
        calibration.setup = new;
    }
    Ok(calibration)
}

/// A set-up file laid over the set-up of a fit. What it does not say of vehicle, dial, brake and guesses stays as it was, and
/// `[columns]` where it has none, for the day's log is written as the season's was; all else is what the file says.
fn setup_over(path: &Path, old: &Setup) -> Result<Setup, Error> {
    let base = Setup {
        dial: old.dial.clone(),
        vehicle: old.vehicle.clone(),
        wheels_diameter_m: old.wheels_diameter_m.clone(),
        brake: old.brake.clone(),
        prior: old.prior.clone(),
        ..Setup::default()
    };
    let mut new = setup::read_over(path, base)?;
    if new.columns.is_empty() {
        new.columns = old.columns.clone();
    }
    Ok(new)
}

/// Refuses targets that are nowhere near those of the logs.
///
/// # Errors
/// [`Error::CannotAnswer`] for the first of them, with the range that can be answered.
pub fn near_the_logs(calibration: &Calibration, targets_m: &[f64]) -> Result<(), Error> {
    let (shortest_m, longest_m) = calibration.log_targets_m;
    let (least_m, most_m) = calibration.told_targets_m();
    match targets_m.iter().find(|m| **m < least_m || **m > most_m) {
        None => Ok(()),
        Some(target_m) => Err(Error::cannot_answer(
            format!(
                "a target of {} m is too far from those of the log, {} to {} m, for the calibration to say anything",
                at_most_decimals(*target_m, 3),
                at_most_decimals(shortest_m, 3),
                at_most_decimals(longest_m, 3)
            ),
            format!(
                "targets from {} to {} m can be asked for, and runs at {} targets would tell more",
                at_most_decimals(least_m, 3),
                at_most_decimals(most_m, 3),
                if *target_m < least_m {
                    "nearer"
                } else {
                    "farther"
                }
            ),
        )),
    }
}

/// Takes the log's own warning of assumed ticks out of those that were read, where the answer has the calibration's.
pub fn say_ticks_once(read: &mut Faults, dial: &Dial) {
    if dial.is_assumed() {
        read.0.retain(|w| !log::says_ticks_are_assumed(w));
    }
}

/// What to say of today's runs that lack the aim: they say nothing about direction. `None` where there is none.
pub fn without_aim(season: &Season) -> Option<String> {
    let lacks = |run: &&Run| {
        run.kind == Kind::Launch
            && run.status != Status::Void
            && run.right_m.is_some()
            && run.aim_right_m.is_none()
    };
    let lacking: Vec<&Run> = season.runs.iter().filter(lacks).collect();
    let row = log::row_word(&season.files[lacking.first()?.file as usize]);
    let lines: Vec<String> = lacking.iter().map(|run| run.line.to_string()).collect();
    let (first, rest) = lines.split_first()?;
    let which = match rest {
        [] => format!("the run of {row} {first} lacks"),
        _ if rest.len() < 10 => format!("the runs of {row}s {} lack", lines.join(", ")),
        _ => format!("{} runs lack", lines.len()),
    };
    Some(format!(
        "{which} the aim mark (aim_right_cm; 0 where it stood at the target), so left and right tell nothing there and only \
         distance counts"
    ))
}

/// The line that says where a page of the answer is; `None` where none was asked for.
///
/// * `folder` — of `--out`
pub fn page(folder: Option<&PathBuf>, name: &str, common: &Common) -> Option<String> {
    let folder = folder.filter(|_| !common.quiet)?;
    Some(format!("Page: {}", folder.join(name).display()))
}

/// A path as it is typed in a command, `LOG` for standard input, which cannot be read again: in quotation marks where a shell would take it apart.
pub fn typed(path: &Path) -> String {
    if log::is_standard_input(path) {
        return "LOG".to_string();
    }
    let path = path.display().to_string();
    let is_plain =
        |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | '/' | '\\' | ':' | ',');
    match !path.is_empty() && path.chars().all(is_plain) {
        true => path,
        false => format!("\"{path}\""),
    }
}

/// Paths as they are typed in a command, with blanks between.
pub fn typed_all(paths: &[PathBuf]) -> String {
    let typed: Vec<String> = paths.iter().map(|path| typed(path)).collect();
    typed.join(" ")
}

/// A set-up that lies beside one of the logs under the name that `start` gives it.
pub fn setup_beside(logs: &[PathBuf]) -> Option<(PathBuf, Setup)> {
    logs.iter().find_map(|log| {
        let stem = log.file_stem()?.to_string_lossy();
        let beside = log.with_file_name(format!("{stem}-setup.toml"));
        let setup = setup::read(&beside).ok()?;
        (!setup::told(&setup).is_empty()).then_some((beside, setup))
    })
}

/// The flag that gives the set-up again, with a blank before it; empty where none was given.
pub fn with_setup(common: &Common) -> String {
    let given = common.setup.as_ref();
    given.map_or_else(String::new, |path| format!(" --setup {}", typed(path)))
}

/// The flag that names the rig again, with a blank before it; empty where none was named.
pub fn with_rig(rig: &RigArgs) -> String {
    let named = rig.rig.as_ref();
    named.map_or_else(String::new, |name| {
        format!(" --rig {}", typed(Path::new(name)))
    })
}

/// Files that were read for a calibration, and must not be written over.
pub fn files_read(calibration: &Path, common: &Common) -> Vec<PathBuf> {
    std::iter::once(calibration_file(calibration))
        .chain(common.setup.clone())
        .collect()
}

/// Refuses a set-up with a dial, brake, priors or wheel diameters that are not those of the fit: which runs are fitted, and the
/// lead that settings are for, follow from the brake's. A wheel set that nobody fitted may have any diameter.
///
/// * `new` — the set-up laid over that of the fit
fn needs_no_fit(file: &str, calibration: &Calibration, new: &Setup) -> Result<(), Error> {
    let old = &calibration.setup;
    let mut faults = Faults::default();
    let mut changed = |key: &str, differs: bool| {
        if differs {
            faults.push(
                Fault::error(
                    file,
                    "this differs from what the calibration was fitted with; fit again with this set-up, or leave it as it was",
                )
                .column(key),
            );
        }
    };
    changed(
        "[dial] ticks_per_turn",
        old.dial.ticks() != new.dial.ticks(),
    );
    changed(
        "[brake] recoil_from_cm",
        old.brake.recoil_from_m != new.brake.recoil_from_m,
    );
    changed(
        "[brake] recoil_accept",
        old.brake.recoil_accept != new.brake.recoil_accept,
    );
    changed("[prior]", old.prior != new.prior);
    changed(
        "[vehicle] wheel_diameter_cm",
        old.vehicle.wheel_diameter_m != new.vehicle.wheel_diameter_m,
    );
    for (label, diameter_m) in &new.wheels_diameter_m {
        let is_fitted = calibration.rigs.iter().any(|rig| rig.wheels == *label);
        changed(
            &format!("[wheels.{label}] diameter_cm"),
            is_fitted && wheel_diameter_m(old, label) != Some(*diameter_m),
        );
    }
    if faults.any_error() {
        Err(faults.into())
    } else {
        Ok(())
    }
}
