//! Rows that were typed or copied twice, and numbers of runs that stand in their session twice.

use std::collections::{HashMap, HashSet};
use std::hash::{Hash, Hasher};

use super::slip::Slip;
use crate::columns::Column;
use crate::log::reader::Reading;
use crate::log::run::{Kind, Label, Load, Run, Season, Status};

/// Measured values that two rows must share, without a number for the run, before they are one row typed twice:
/// two runs of the same settings agree in long and right to the half centimetre about once in 2,500.
const MEASURED_ALIKE: usize = 3;
/// Two shared measured values are enough only where at most one in so many rows repeats the settings of the row above.
const SETTINGS_REPEAT: usize = 10;
/// Fewest consecutive rows equal to earlier ones that are a copy, whatever was measured.
const BLOCK: usize = 3;

/// Every row or number that a season has twice.
pub fn slips(reading: &Reading) -> Vec<Slip> {
    let mut slips = Vec::new();
    let mut twins = Vec::new();
    for rows in sessions(&reading.season) {
        let numbered = numbered_twice(reading, &rows);
        let told: HashSet<usize> = numbered.iter().map(|slip| slip.run).collect();
        slips.extend(numbered);
        let rows = rows
            .into_iter()
            .filter(|&i| reading.run(i).rest_m.is_some());
        let alike = repeated(rows, |i| Content(reading.run(i)));
        twins.extend(alike.into_iter().filter(|(i, _)| !told.contains(i)));
    }
    twins.sort_unstable();
    slips.extend(again(reading, &twins));
    slips
}

/// The runs of each session.
fn sessions(season: &Season) -> Vec<Vec<usize>> {
    let mut sessions = vec![Vec::new(); season.sessions.len()];
    for (i, run) in season.runs.iter().enumerate() {
        sessions[run.session as usize].push(i);
    }
    sessions
}

/// Slips of run numbers that stand in their session twice.
fn numbered_twice(reading: &Reading, session: &[usize]) -> Vec<Slip> {
    let rows = session.iter().copied();
    let numbered = rows.filter(|&i| reading.has(reading.run(i), Column::Run));
    let number = |i| {
        let run: &Run = reading.run(i);
        (run.vehicle, run.wheels, run.kind, run.order.to_bits())
    };
    let slip = |(i, earlier)| {
        let what = if Content(reading.run(earlier)) == Content(reading.run(i)) {
            "the row is the same as"
        } else {
            "this number stands in the same session at"
        };
        Slip {
            run: i,
            column: Column::Run,
            why: format!("{what} {}; was it typed twice?", reading.place(earlier)),
        }
    };
    repeated(numbered, number).into_iter().map(slip).collect()
}

/// Each row that has the key of one before it, with the last such one.
fn repeated<K: Eq + Hash>(
    rows: impl Iterator<Item = usize>,
    key: impl Fn(usize) -> K,
) -> Vec<(usize, usize)> {
    let mut last: HashMap<K, usize> = HashMap::new();
    rows.filter_map(|i| Some((i, last.insert(key(i), i)?)))
        .collect()
}

/// Slips of rows that repeat earlier ones.
///
/// * `twins` — rows in order, each with the earlier one
fn again(reading: &Reading, twins: &[(usize, usize)]) -> Vec<Slip> {
    let mut slips = Vec::new();
    let mut rare_settings = None;
    let mut in_block = 0;
    for (k, &(i, first)) in twins.iter().enumerate() {
        let goes_on = k > 0 && twins[k - 1].0 + 1 == i;
        if in_block > 0 && goes_on {
            in_block -= 1;
            continue;
        }
        in_block = 0;
        let mut next = twins[k..].iter().enumerate();
        let block = next
            .by_ref()
            .take_while(|&(n, &twin)| twin == (i + n, first + n) && first + n < i);
        let block = block.count();
        let run = reading.run(i);
        let measured = [run.rest_m, run.right_m, run.time_s, run.gap_m, run.miss_m];
        let measured = measured.into_iter().flatten().count();
        let next_to_it = first + 1 == i;
        let mut enough = || {
            let numbered = reading.has(run, Column::Run);
            let settings = || settings_are_rarely_repeated(&reading.season);
            measured >= MEASURED_ALIKE
                || (measured == 2 && !numbered && *rare_settings.get_or_insert_with(settings))
        };
        if block >= BLOCK {
            in_block = block - 1;
            slips.push(Slip {
                run: i,
                column: Column::Session,
                why: format!(
                    "{block} rows from here on are the same as those from {} on; were they typed or copied twice?",
                    reading.place(first)
                ),
            });
        } else if next_to_it && enough() {
            slips.push(Slip {
                run: i,
                column: Column::Session,
                why: "the row is the same as the one above it; was it typed twice?".to_string(),
            });
        }
    }
    slips
}

/// A run that compares by everything in its row but session, date and number.
struct Content<'r>(&'r Run);

impl Content<'_> {
    fn labels(&self) -> [Label; 5] {
        let run = self.0;
        [run.vehicle, run.wheels, run.build, run.trim, run.floor]
    }

    fn words(&self) -> (Kind, Status, Option<Load>) {
        (self.0.kind, self.0.status, self.0.load)
    }

    fn numbers(&self) -> [Option<u64>; 10] {
        let run = self.0;
        [
            run.target_m,
            run.turns,
            run.rest_m,
            run.right_m,
            run.aim_right_m,
            run.miss_m,
            run.lead_turns,
            run.recoil_m,
            run.gap_m,
            run.time_s,
        ]
        .map(|number| number.map(f64::to_bits))
    }
}

impl PartialEq for Content<'_> {
    fn eq(&self, other: &Self) -> bool {
        (self.labels(), self.words(), self.numbers())
            == (other.labels(), other.words(), other.numbers())
    }
}

impl Eq for Content<'_> {}

impl Hash for Content<'_> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        (self.labels(), self.words(), self.numbers()).hash(state);
    }
}

/// Whether few rows have target, turns, aim and lead of the row above.
fn settings_are_rarely_repeated(season: &Season) -> bool {
    let settings = |run: &Run| (run.target_m, run.turns, run.aim_right_m, run.lead_turns);
    let pairs = season.runs.windows(2);
    let repeated = pairs.filter(|pair| settings(&pair[0]) == settings(&pair[1]));
    repeated.count() * SETTINGS_REPEAT < season.runs.len()
}
