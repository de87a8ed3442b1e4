//! One turn miscounted: two runs of one session whose settings are a full turn apart, and which came to rest in the same
//! place.
//!
//! A turn carries the vehicle some 20 cm, runs of one session differ by some 5 cm: with as much lead and in one session
//! two runs a turn apart end a turn's way apart, or one of the two was wound or written a turn off. Which of them cannot
//! be told from the two, so both lines are named.

use std::collections::BTreeMap;

use super::robust::{median, slope, spread};
use super::slip::Slip;
use crate::columns::Column;
use crate::log::group::RigIndices;
use crate::log::limits;
use crate::log::reader::Reading;
use crate::log::run::Label;
use crate::units::{at_most_decimals, decimals};

/// How far from a full turn two settings may be: half of a tick of twenty.
const TICK: f64 = 0.026;
/// Rest points within this part of a turn's way are one place: 4 cm of 22.
const SAME_PLACE: f64 = 0.2;
/// How many sds of a difference of two runs the way of a turn must be beyond the difference seen: a sound pair is so near
/// once in 2,000. None of 600 invented seasons had such a pair, and 13 of 400 whose settings are all a turn apart.
const SURE: f64 = 3.3;
/// Sd of runs of one session that is taken where too few runs tell it, m. Such logs have few pairs: of 400 first sessions
/// of five runs whose settings are all a turn apart, 42 were asked about, most of them of vehicles that scatter twice as far.
const USUAL_SPREAD_M: f64 = 0.04;
/// Least sd, m: a smaller one is chance, or a tape read coarsely.
const LEAST_SPREAD_M: f64 = 0.02;
/// Fewest runs that tell slope and sd.
const FEWEST_RUNS: usize = 6;
/// Fewest runs of a session that tell the sd.
const FEWEST_IN_SESSION: usize = 3;

/// One run: its turns and rest.
#[derive(Clone, Copy)]
pub struct TurnRun {
    /// Index into the season's runs.
    pub run: usize,
    /// Turns wound on, above 0.
    pub turns: f64,
    /// Where it came to rest, m, above 0.
    pub rest_m: f64,
}

/// Runs that must end where their turns say: of one session, build and lead (its bits).
pub type Alike = BTreeMap<(Label, Label, u64), Vec<TurnRun>>;

/// The runs of a rig that tell how far turns carry it.
pub fn alike(reading: &Reading, rig: &RigIndices) -> Alike {
    let mut alike: Alike = BTreeMap::new();
    for &i in &rig.runs {
        let run = reading.run(i);
        let (true, Some(turns), Some(rest_m)) = (run.is_fitted(), run.turns, run.rest_m) else {
            continue;
        };
        if turns > 0.0 && rest_m > 0.0 {
            let lead = run.lead_turns.map_or(u64::MAX, f64::to_bits);
            let rows = alike.entry((run.session, run.build, lead)).or_default();
            rows.push(TurnRun {
                run: i,
                turns,
                rest_m,
            });
        }
    }
    alike
}

/// Every pair of a rig's runs that looks like a miscounted turn.
pub fn slips(reading: &Reading, rig: &RigIndices) -> Vec<Slip> {
    let mut alike = alike(reading, rig);
    let Some(turn_m) = way_of_a_turn(&alike) else {
        return Vec::new();
    };
    let apart_m = 2f64.sqrt() * spread_within(&alike, turn_m);
    let mut slips = Vec::new();
    for rows in alike.values_mut() {
        rows.sort_by(|a, b| a.turns.total_cmp(&b.turns));
        for (at, low) in rows.iter().enumerate() {
            let from = at + rows[at..].partition_point(|row| row.turns < low.turns + 1.0 - TICK);
            let pairs = rows[from..]
                .iter()
                .take_while(|row| row.turns <= low.turns + 1.0 + TICK);
            for high in pairs {
                let differ_m = (high.rest_m - low.rest_m).abs();
                let is_one_place = differ_m <= SAME_PLACE * turn_m;
                if is_one_place
                    && turn_m - differ_m >= SURE * apart_m
                    && slips.len() < limits::FAULTS
                {
                    slips.push(slip(reading, *low, *high, turn_m));
                }
            }
        }
    }
    // A run miscounted lies beside every run of the right setting: once is enough.
    slips.sort_by_key(|slip: &Slip| slip.run);
    slips.dedup_by_key(|slip| slip.run);
    slips
}

/// How far a turn carries the vehicle, m: the slope of rest on turns, or the middle of rest over turns where few runs
/// give no slope (which overshoot makes too large by some hundredths).
pub fn way_of_a_turn(alike: &Alike) -> Option<f64> {
    let rows = || alike.values().flatten();
    let overall = median(rows().map(|row| row.rest_m / row.turns).collect())?;
    let mut by_build: BTreeMap<Label, Vec<(f64, f64)>> = BTreeMap::new();
    for ((_, build, _), rows) in alike {
        let points = rows.iter().map(|row| (row.turns, row.rest_m));
        by_build.entry(*build).or_default().extend(points);
    }
    let points: Vec<Vec<(f64, f64)>> = by_build.into_values().collect();
    let sloped = slope(&points);
    let is_sound = rows().count() >= FEWEST_RUNS && (sloped / overall - 1.0).abs() < 0.3;
    Some(if is_sound { sloped } else { overall })
}

/// Robust sd of runs about the line of their own session, m.
fn spread_within(alike: &Alike, turn_m: f64) -> f64 {
    let mut offs = Vec::new();
    for rows in alike
        .values()
        .filter(|rows| rows.len() >= FEWEST_IN_SESSION)
    {
        let off = |row: &TurnRun| row.rest_m - turn_m * row.turns;
        let Some(middle) = median(rows.iter().map(off).collect()) else {
            continue;
        };
        let n = rows.len() as f64;
        let wider = (n / (n - 1.0)).sqrt();
        offs.extend(rows.iter().map(|row| wider * (off(row) - middle)));
    }
    let known = (offs.len() >= FEWEST_RUNS).then(|| spread(offs)).flatten();
    known.unwrap_or(USUAL_SPREAD_M).max(LEAST_SPREAD_M)
}

fn slip(reading: &Reading, low: TurnRun, high: TurnRun, turn_m: f64) -> Slip {
    // Told at the later of the two: that is where one goes on reading.
    let (earlier, later) = match low.run < high.run {
        true => (low, high),
        false => (high, low),
    };
    let turns = |row: TurnRun| at_most_decimals(row.turns, 3);
    Slip {
        run: later.run,
        column: Column::Turns,
        why: format!(
            "{} turns came to rest within {} cm of the {} turns of {}, yet a turn carries it about {} cm: was a turn \
             miscounted in one of the two?",
            turns(later),
            decimals((100.0 * (high.rest_m - low.rest_m).abs()).ceil(), 0),
            turns(earlier),
            reading.place(earlier.run),
            decimals(100.0 * turn_m, 0)
        ),
    }
}
