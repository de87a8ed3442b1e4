//! Runs by rig; the newest run.

use std::collections::{BTreeSet, HashMap};

use jiff::civil::Date;

use super::reader::Reading;
use super::run::{Label, Run, Season};
use crate::columns::Column;
use crate::fault::Fault;

/// Most trims or builds of one rig; more mean that notes stand in the wrong column (`model.md` §2).
const MOST_LABELS: usize = 50;

/// One vehicle with one wheel set, and the indices of its runs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RigIndices {
    /// Vehicle label.
    pub vehicle: Label,
    /// Wheel set label.
    pub wheels: Label,
    /// `VEHICLE/WHEELS`; empty where neither has a label.
    pub name: String,
    /// Its runs as indices into [`Season::runs`], in order.
    pub runs: Vec<usize>,
}

/// The name of a rig; empty where neither vehicle nor wheels has a label.
pub fn rig_name(vehicle: &str, wheels: &str) -> String {
    if vehicle.is_empty() && wheels.is_empty() {
        String::new()
    } else {
        format!("{vehicle}/{wheels}")
    }
}

/// Every rig with its runs, in order of first appearance.
pub fn rigs(season: &Season) -> Vec<RigIndices> {
    let mut rigs: Vec<RigIndices> = Vec::new();
    let mut place = HashMap::new();
    for (i, run) in season.runs.iter().enumerate() {
        let key = (run.vehicle, run.wheels);
        let at = *place.entry(key).or_insert_with(|| {
            rigs.push(RigIndices {
                vehicle: run.vehicle,
                wheels: run.wheels,
                name: rig_name(
                    &season.vehicles[run.vehicle as usize],
                    &season.wheels[run.wheels as usize],
                ),
                runs: Vec::new(),
            });
            rigs.len() - 1
        });
        rigs[at].runs.push(i);
    }
    rigs
}

/// The newest of some runs in file and row order: by date where every one has a date (the last written of a day), else
/// the last written.
///
/// * returns its index in `runs`; `None` without runs
pub fn newest<T>(runs: &[T], date: impl Fn(&T) -> Option<Date>) -> Option<usize> {
    let all_dated = runs.iter().all(|run| date(run).is_some());
    // `max_by_key` gives the last of equals.
    (0..runs.len()).max_by_key(|&i| date(&runs[i]).filter(|_| all_dated))
}

/// An error for each rig with more builds or trims than anybody makes, at the first run beyond.
pub fn too_many_labels(reading: &Reading) -> Vec<Fault> {
    let season = &reading.season;
    let mut faults = Vec::new();
    // No rig has more labels than the season.
    if season.builds.len().max(season.trims.len()) <= MOST_LABELS {
        return faults;
    }
    for rig in rigs(season) {
        for (column, label_of) in [
            (Column::Build, (|run| run.build) as fn(&Run) -> Label),
            (Column::Trim, |run| run.trim),
        ] {
            let mut seen = BTreeSet::new();
            let mut runs = rig.runs.iter().map(|&i| reading.run(i));
            let beyond = runs.find(|run| {
                seen.insert(label_of(run));
                seen.len() > MOST_LABELS
            });
            if let Some(run) = beyond {
                let name = column.name();
                faults.push(reading.error(
                    run,
                    format!(
                        "more than {MOST_LABELS} different labels in the column {name} for one rig; expected one \
                         label for each {name}, and remarks in the column note"
                    ),
                ));
            }
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn season(rows: &[(Label, Label, Option<i8>)]) -> Season {
        Season {
            vehicles: vec!["Thistle".into(), "Heron".into()],
            wheels: vec!["foam".into()],
            runs: rows
                .iter()
                .map(|&(vehicle, build, day)| Run {
                    vehicle,
                    build,
                    date: day.map(|day| date(2026, 3, day)),
                    ..Run::default()
                })
                .collect(),
            ..Season::default()
        }
    }

    #[test]
    fn rigs_come_in_order_of_first_appearance() {
        let rigs = rigs(&season(&[(1, 0, None), (0, 0, None), (1, 0, None)]));
        assert_eq!(rigs[0].name, "Heron/foam");
        assert_eq!(rigs[0].runs, [0, 2]);
        assert_eq!(rigs[1].name, "Thistle/foam");
    }

    #[test]
    fn the_newest_is_by_date_when_all_have_one_else_by_order() {
        let newest = |days: &[Option<i8>]| newest(days, |day| day.map(|day| date(2026, 3, day)));
        assert_eq!(newest(&[Some(9), Some(2)]), Some(0));
        assert_eq!(newest(&[Some(9), None]), Some(1));
        assert_eq!(newest(&[Some(9), Some(9)]), Some(1));
        assert_eq!(newest(&[]), None);
    }
}
