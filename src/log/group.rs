//! Runs by rig; the newest build and trim.

use std::collections::BTreeSet;

use super::columns::Column;
use super::row::Reading;
use super::run::{Label, Run, Season};
use crate::fault::Fault;

/// More trims or builds than this in one rig are a note in the wrong column (`model.md` §2).
const MOST_LABELS: usize = 50;

/// One vehicle with one wheel set, and its runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rig {
    /// Vehicle label.
    pub vehicle: Label,
    /// Wheel set label.
    pub wheels: Label,
    /// `VEHICLE/WHEELS`; empty where neither has a label.
    pub name: String,
    /// Its runs as indices into [`Season::runs`], in file and row order.
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
pub fn rigs(season: &Season) -> Vec<Rig> {
    let mut rigs: Vec<Rig> = Vec::new();
    let mut place = std::collections::HashMap::new();
    for (i, run) in season.runs.iter().enumerate() {
        let at = *place.entry((run.vehicle, run.wheels)).or_insert_with(|| {
            rigs.push(Rig {
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

/// The build of the newest of these runs; `None` without runs.
///
/// * `runs` — indices into [`Season::runs`], in file and row order
pub fn newest_build(season: &Season, runs: &[usize]) -> Option<Label> {
    newest(season, runs).map(|run| run.build)
}

/// The trim of the newest of these runs; `None` without runs.
pub fn newest_trim(season: &Season, runs: &[usize]) -> Option<Label> {
    newest(season, runs).map(|run| run.trim)
}

/// The newest of these runs: by date where every one has a date (the last written of a day), else the last written.
pub fn newest<'s>(season: &'s Season, runs: &[usize]) -> Option<&'s Run> {
    let all_dated = runs.iter().all(|&i| season.runs[i].date.is_some());
    runs.iter()
        .map(|&i| &season.runs[i])
        // The last of equals.
        .max_by_key(|run| run.date.filter(|_| all_dated))
}

/// An error for each rig with more builds or trims than anybody makes, at the first run beyond.
pub fn too_many_labels(reading: &Reading) -> Vec<Fault> {
    let season = &reading.season;
    let mut faults = Vec::new();
    for rig in rigs(season) {
        for (column, label_of) in [
            (Column::Build, (|run| run.build) as fn(&Run) -> Label),
            (Column::Trim, |run| run.trim),
        ] {
            let mut seen = BTreeSet::new();
            let runs = rig.runs.iter().map(|&i| &season.runs[i]);
            let beyond = runs.into_iter().find(|run| {
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
    fn the_newest_build_is_by_date_when_all_have_one_else_by_order() {
        let dated = season(&[(0, 7, Some(9)), (0, 8, Some(2))]);
        assert_eq!(newest_build(&dated, &[0, 1]), Some(7));
        let half_dated = season(&[(0, 7, Some(9)), (0, 8, None)]);
        assert_eq!(newest_build(&half_dated, &[0, 1]), Some(8));
        let same_day = season(&[(0, 7, Some(9)), (0, 8, Some(9))]);
        assert_eq!(newest_build(&same_day, &[0, 1]), Some(8));
        assert_eq!(newest_trim(&dated, &[]), None);
    }
}
