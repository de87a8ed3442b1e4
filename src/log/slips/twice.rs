//! Rows that were typed or copied twice, and numbers of runs that stand in their session twice.

use std::collections::HashSet;

use rayon::prelude::*;

use super::Slip;
use crate::log::columns::Column;
use crate::log::packed::Picked;
use crate::log::reader::Reading;
use crate::log::run::{Label, Run, Season};

/// Measured values that two rows must share, without a number for the run, before they are one row typed twice:
/// two runs of the same settings agree in long and right to the half centimetre about once in 2,500.
const MEASURED_ALIKE: usize = 3;
/// With two measured values, consecutive rows must else have other settings in all but one of so many.
const SETTINGS_REPEAT: usize = 10;
/// So many rows in the order of earlier ones are those rows again, whatever was measured.
const BLOCK: usize = 3;

/// Every slip of this kind.
pub fn slips(reading: &Reading) -> Vec<Slip> {
    let of_sessions: Vec<Session> = sessions(&reading.season)
        .par_iter()
        .map(|rows| Session::new(reading, rows))
        .collect();
    let mut slips = Vec::new();
    let mut twins = Vec::new();
    for session in of_sessions {
        slips.extend(session.numbered);
        twins.extend(session.twins);
    }
    twins.sort_unstable();
    slips.extend(again(reading, &twins));
    slips
}

/// The runs of each session.
fn sessions(season: &Season) -> Vec<Picked> {
    let mut sessions = vec![Picked::default(); season.sessions.len()];
    for (from, to, shared) in season.runs.stretches() {
        sessions[shared.session as usize].add(from, to);
    }
    sessions
}

/// What is twice in a session.
struct Session {
    /// Numbers of runs.
    numbered: Vec<Slip>,
    /// A row, and the last row before it that says the same; but for those above.
    twins: Vec<(usize, usize)>,
}

impl Session {
    fn new(reading: &Reading, picked: &Picked) -> Self {
        let mut found = Session {
            numbered: Vec::new(),
            twins: Vec::new(),
        };
        let runs = &reading.season.runs;
        let mut numbers = Vec::new();
        if reading.sources.iter().any(|s| s.columns.has(Column::Run)) {
            let numbered = runs.pick(picked);
            let numbered = numbered.filter(|(_, run)| reading.has(run, Column::Run));
            numbers.extend(numbered.map(|(i, run)| {
                let kind = run.kind as u8;
                ((run.vehicle, run.wheels, kind, run.order.to_bits()), i)
            }));
        }
        let same = |earlier: usize, run: &Run| values(&reading.run(earlier)) == values(run);
        let mut told = HashSet::new();
        for (earlier, i) in repeated(numbers) {
            let what = if same(earlier, &reading.run(i)) {
                "the row is the same as"
            } else {
                "this number stands in the same session at"
            };
            told.insert(i);
            found.numbered.push(Slip {
                run: i,
                column: Column::Run,
                why: format!("{what} {}; was it typed twice?", place(reading, earlier)),
            });
        }
        for (earlier, i) in repeated(alike(reading, picked)) {
            let run = reading.run(i);
            if same(earlier, &run) && !told.contains(&i) {
                found.twins.push((i, earlier));
            }
        }
        found
    }
}

/// The runs of a session of which another was measured alike, each with a number for everything it says. Nearly all
/// are alone with their turns, rest and right, so the other columns need not be looked at.
fn alike(reading: &Reading, picked: &Picked) -> Vec<(u64, usize)> {
    let mut measured: Vec<(u64, usize)> = Vec::with_capacity(picked.len());
    for i in picked.iter() {
        let run = reading.season.runs.at(i);
        let rest_m = run.rest_m();
        if rest_m.is_some() {
            let numbers = [run.turns(), rest_m, run.right_m()];
            measured.push((mixed(numbers.map(bits_or_one)), i));
        }
    }
    measured.sort_unstable();
    let of_many = measured.chunk_by(|a, b| a.0 == b.0);
    of_many
        .filter(|group| group.len() > 1)
        .flatten()
        .map(|&(_, i)| (values(&reading.run(i)).mixed(), i))
        .collect()
}

/// Of runs with keys, each that has the key of one before it, with the last such one.
fn repeated<K: Ord>(mut keyed: Vec<(K, usize)>) -> Vec<(usize, usize)> {
    keyed.sort_unstable();
    keyed
        .windows(2)
        .filter(|pair| pair[0].0 == pair[1].0)
        .map(|pair| (pair[0].1, pair[1].1))
        .collect()
}

/// Warnings of rows that say what earlier ones say.
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
            let numbered = reading.has(&run, Column::Run);
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
                    place(reading, first)
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

/// Everything a row of a session says but its number.
#[derive(PartialEq)]
struct Values {
    labels: [Label; 5],
    numbers: [Option<u64>; 10],
    words: [u8; 3],
}

fn values(run: &Run) -> Values {
    let numbers = [
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
    ];
    Values {
        labels: [run.vehicle, run.wheels, run.build, run.trim, run.floor],
        numbers: numbers.map(|number| number.map(f64::to_bits)),
        words: [
            run.kind as u8,
            run.status as u8,
            run.load.map_or(0, |load| 1 + load as u8),
        ],
    }
}

impl Values {
    /// A number that rows of the same values share, and others hardly ever.
    fn mixed(&self) -> u64 {
        let labels = self.labels.iter().map(|&label| u64::from(label));
        let numbers = self.numbers.iter().map(|number| number.unwrap_or(1));
        let words = self.words.iter().map(|&word| u64::from(word));
        mixed(labels.chain(numbers).chain(words))
    }
}

fn bits_or_one(number: Option<f64>) -> u64 {
    number.map_or(1, f64::to_bits)
}

/// A number that hardly any other parts share.
fn mixed(parts: impl IntoIterator<Item = u64>) -> u64 {
    /// The golden ratio in 64 bits, odd.
    const SPREAD: u64 = 0x9e37_79b9_7f4a_7c15;
    parts.into_iter().fold(0, |mixed, part| {
        (mixed.rotate_left(23) ^ part).wrapping_mul(SPREAD)
    })
}

fn settings_are_rarely_repeated(season: &Season) -> bool {
    season.runs.repeated_settings() * SETTINGS_REPEAT < season.runs.len()
}

/// `line 7`, `row 7` or `line 7 of other.csv`.
fn place(reading: &Reading, run: usize) -> String {
    let run = reading.run(run);
    let origin = &reading.sources[run.file as usize].origin;
    let row = origin.row_word();
    if reading.sources.len() == 1 {
        format!("{row} {}", run.line)
    } else {
        format!("{row} {} of {}", run.line, origin.file)
    }
}
