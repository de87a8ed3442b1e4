//! Whose a page is: the logs it was made from, their days, and its rigs.

use super::words;
use crate::calibration::{Calibration, Rig};
use jiff::civil::Date;

/// A rig's name for a heading.
pub fn rig_name(name: &str) -> String {
    match labelled(name) {
        "" => "Your vehicle".to_string(),
        labels => words::label(labels),
    }
}

/// A rig's name as pages show it: of vehicle and wheels what has a label.
pub fn labelled(name: &str) -> &str {
    let name = name.strip_prefix('/').unwrap_or(name);
    name.strip_suffix('/').unwrap_or(name)
}

/// Most rigs that a page's title names one by one.
const NAMED_MAX: usize = 3;

/// Names of rigs for a title, or how many they are.
pub fn rig_names(rigs: &[Rig]) -> String {
    if rigs.len() > NAMED_MAX {
        return words::count(rigs.len(), "rig", "rigs");
    }
    let names: Vec<String> = rigs.iter().map(|rig| rig_name(&rig.name)).collect();
    names.join(", ")
}

/// The logs a calibration came from, with the days of the first and the last run of some of its rigs.
pub fn made_from(calibration: &Calibration, rigs: &[Rig]) -> String {
    let days = || rigs.iter().filter_map(|rig| rig.days);
    let (first, last) = (days().map(|d| d.0).min(), days().map(|d| d.1).max());
    logs_and_days(&calibration.logs, first.zip(last))
}

/// Logs by name, with the days of the first and the last run, where they were written down:
/// `bramble.csv, 2024-11-09 to 2025-02-22`.
pub fn logs_and_days(logs: &[String], days: Option<(Date, Date)>) -> String {
    let names: Vec<String> = logs.iter().map(|l| words::sentence(l)).collect();
    let logs = names.join(", ");
    match days {
        Some((first, last)) if first < last => format!("{logs}, {first} to {last}"),
        Some((only, _)) => format!("{logs}, {only}"),
        None => logs,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rig_without_a_vehicle_is_called_by_its_wheels() {
        assert_eq!(rig_name("Pip/foam"), "Pip/foam");
        assert_eq!(rig_name("/foam"), "foam");
        assert_eq!(rig_name("Pip/"), "Pip");
        assert_eq!(rig_name(""), "Your vehicle");
    }
}
