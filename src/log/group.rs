//! Runs by rig; the newest run.

use std::collections::{BTreeSet, HashMap};

use jiff::civil::Date;

use super::columns::Column;
use super::packed::{Picked, Shared};
use super::reader::Reading;
use super::run::{Label, Season};
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
    /// Its runs as indices into [`Season::runs`].
    pub runs: Picked,
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
    let mut place = HashMap::new();
    for (from, to, shared) in season.runs.stretches() {
        let key = (shared.vehicle, shared.wheels);
        let at = *place.entry(key).or_insert_with(|| {
            rigs.push(Rig {
                vehicle: shared.vehicle,
                wheels: shared.wheels,
                name: rig_name(
                    &season.vehicles[shared.vehicle as usize],
                    &season.wheels[shared.wheels as usize],
                ),
                runs: Picked::default(),
            });
            rigs.len() - 1
        });
        rigs[at].runs.add(from, to);
    }
    rigs
}

/// The newest of some runs in file and row order: by date where every one has a date (the last written of a day), else
/// the last written.
///
/// * returns its index in `runs`; `None` without runs
pub fn newest<T>(runs: &[T], date: impl Fn(&T) -> Option<Date>) -> Option<usize> {
    let all_dated = runs.iter().all(|run| date(run).is_some());
    // The last of equals.
    (0..runs.len()).max_by_key(|&i| date(&runs[i]).filter(|_| all_dated))
}

/// An error for each rig with more builds or trims than anybody makes, at the first run beyond.
pub fn too_many_labels(reading: &Reading) -> Vec<Fault> {
    let season = &reading.season;
    let mut faults = Vec::new();
    // No rig has more than the season.
    if season.builds.len().max(season.trims.len()) <= MOST_LABELS {
        return faults;
    }
    for rig in rigs(season) {
        for (column, label_of) in [
            (
                Column::Build,
                (|shared| shared.build) as fn(&Shared) -> Label,
            ),
            (Column::Trim, |shared| shared.trim),
        ] {
            let mut seen = BTreeSet::new();
            let beyond = season.runs.shared_by(&rig.runs).find(|(_, shared)| {
                seen.insert(label_of(shared));
                seen.len() > MOST_LABELS
            });
            if let Some(run) = beyond.and_then(|(runs, _)| season.runs.get(runs.start)) {
                let name = column.name();
                faults.push(reading.error(
                    &run,
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
    use crate::log::run::Run;
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
        assert_eq!(rigs[0].runs.iter().collect::<Vec<_>>(), [0, 2]);
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
