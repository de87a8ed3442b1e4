//! What is meant where a command was given something else for a calibration.

use std::path::Path;

use super::inputs::{calibration_file, folder_of_fit, typed};
use crate::fault::{Fault, Faults};
use crate::log;

/// The faults of a calibration that could not be read, with the next step where it can be told what was given instead.
///
/// * `path` — as given
pub fn explained(path: &Path, faults: Faults) -> Faults {
    let Some(expected) = next_step(path) else {
        return faults;
    };
    let name = path.display().to_string();
    let mut faults = faults.0.into_iter();
    let first = faults.next().unwrap_or_else(|| Fault::error(&name, ""));
    Faults::from(Fault {
        file: name,
        expected,
        ..first
    })
}

fn next_step(path: &Path) -> Option<String> {
    let is_json = path.extension().is_some_and(|ending| ending == "json");
    if path.is_dir() {
        let is_empty = !calibration_file(path).is_file();
        return is_empty.then(|| {
            "no calibration.json in this folder; expected one that haltmark fit wrote".to_string()
        });
    }
    if !path.exists() {
        let log = log::log_beside(path)?;
        return Some(format!(
            "there is no such file or folder; {} {}",
            log.display(),
            fit_first(&log)
        ));
    }
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    match folder {
        Some(folder) if !is_json && calibration_file(folder).is_file() => Some(format!(
            "not a calibration; give the folder that it lies in, {}",
            typed(folder)
        )),
        _ => log::is_named_as_log(path).then(|| format!("this {}", fit_first(path))),
    }
}

/// That a log has to be fitted before it is asked about, or was.
fn fit_first(log: &Path) -> String {
    let folder = folder_of_fit(log);
    match calibration_file(&folder).is_file() {
        true => format!(
            "is a log, not a calibration; give the folder of its fit, {}",
            typed(&folder)
        ),
        false => format!(
            "is a log, not a calibration; fit it first (haltmark fit {}), then give the folder that the fit writes, {}",
            typed(log),
            typed(&folder)
        ),
    }
}
