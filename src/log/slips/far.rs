//! Several turns miscounted: a run that came to rest many turns' ways from where its turns put it.
//!
//! The other runs of its build say how far turns carry the vehicle (`turn.rs`) and how far runs differ; a run that is off
//! by more than any of them, and by several turns' ways, was written down wrong or went wrong without being marked so.
//! One or two turns are within what days and runs differ by: only a pair of runs shows those.

use std::collections::BTreeMap;

use super::robust::{median, spread};
use super::slip::Slip;
use super::turn;
use crate::columns::Column;
use crate::log::group::RigIndices;
use crate::log::limits;
use crate::log::reader::Reading;
use crate::log::run::Label;
use crate::units::{at_most_decimals, decimals};

/// Least distance from where the turns put a run, in turns' ways. Of 1,200 invented seasons without a slip 2 had such a run,
/// one that scattered five times as far as the others; of 149 with ten turns lost in a run 145 are asked about it, with
/// five 129, with three 52.
const LEAST_TURNS: f64 = 3.0;
/// Least distance in robust sds of all runs of the rig, days and runs together, when very many tell the sd.
const FAR: f64 = 5.0;
/// With an sd from this many runs the threshold is twice [`FAR`]: the sd may be much too small by chance.
const RUNS_THAT_DOUBLE: f64 = 10.0;
/// Least sd, m: a smaller one is chance.
const LEAST_SPREAD_M: f64 = 0.02;
/// Fewest runs of a rig.
const FEWEST_RUNS: usize = 6;
/// Fewest runs of a build: of three others the middle one is sound where one is not.
const FEWEST_OF_BUILD: usize = 4;

/// Every run of a rig that came to rest several turns' ways off.
///
/// * `skip` — runs that have another slip already, in order
pub fn slips(reading: &Reading, rig: &RigIndices, skip: &[usize]) -> Vec<Slip> {
    let alike = turn::alike(reading, rig);
    let Some(turn_m) = turn::way_of_a_turn(&alike) else {
        return Vec::new();
    };
    let offs = offs(&alike, turn_m);
    if offs.len() < FEWEST_RUNS {
        return Vec::new();
    }
    let sd_m = spread(offs.iter().map(|(_, off_m)| *off_m)).unwrap_or(0.0);
    let far = FAR * (1.0 + RUNS_THAT_DOUBLE / offs.len() as f64);
    let far_m = (far * sd_m.max(LEAST_SPREAD_M)).max(LEAST_TURNS * turn_m);
    let is_far = |&(row, off_m): &(turn::TurnRun, f64)| {
        off_m.abs() >= far_m && skip.binary_search(&row.run).is_err()
    };
    let far = offs.into_iter().filter(is_far).take(limits::FAULTS);
    far.map(|(row, off_m)| slip(row, off_m, turn_m)).collect()
}

/// How far each run came to rest from where its turns put it, by the middle of its build, m.
fn offs(alike: &turn::Alike, turn_m: f64) -> Vec<(turn::TurnRun, f64)> {
    let mut by_build: BTreeMap<Label, Vec<turn::TurnRun>> = BTreeMap::new();
    for ((_, build, _), rows) in alike {
        by_build.entry(*build).or_default().extend(rows);
    }
    by_build.retain(|_, rows| rows.len() >= FEWEST_OF_BUILD);
    let above_m = |row: &turn::TurnRun| row.rest_m - turn_m * row.turns;
    let of_build = |rows: Vec<turn::TurnRun>| {
        let middle_m = median(rows.iter().map(above_m).collect()).unwrap_or(0.0);
        rows.into_iter()
            .map(move |row| (row, above_m(&row) - middle_m))
    };
    by_build.into_values().flat_map(of_build).collect()
}

fn slip(row: turn::TurnRun, off_m: f64, turn_m: f64) -> Slip {
    let side = if off_m > 0.0 { "farther" } else { "less far" };
    Slip {
        run: row.run,
        column: Column::Turns,
        why: format!(
            "{} turns came to rest {} cm {side} than the other runs would say, the way of about {} turns: were the turns \
             miscounted, or is the target or the length wrong? If something held or pushed it, its status is void",
            at_most_decimals(row.turns, 3),
            decimals(100.0 * off_m.abs(), 0),
            decimals((off_m / turn_m).abs(), 0)
        ),
    }
}
