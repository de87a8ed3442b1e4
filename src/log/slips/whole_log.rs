//! What is wrong with a whole log and shows in no single row: no minus anywhere.

use super::robust::median;
use super::slip::Slip;
use crate::columns::Column;
use crate::log::reader::Reading;
use crate::log::run::{Run, Status};

/// Fewest runs of a log, measured along and across, none of which is short or left, that make one ask for the minus
/// signs. Vehicles that always stop long and right are made, but of 600 invented seasons of so many runs none was.
const FEWEST_BOTH: usize = 16;
/// Fewest runs where only one direction was measured. A season that is always long is nothing rare (1 in 20): the sizes
/// must look like those of lengths that lost their sign as well.
const FEWEST_ONE: usize = 20;
/// Part of the lengths below half of their median from which on they look so: 0.26 of a normal distribution about 0
/// without its signs, 0.13 of one that is above 0 nearly always.
const SMALL_PART: f64 = 0.2;

/// Every log of a season that has no minus.
pub fn slips(reading: &Reading) -> Vec<Slip> {
    let mut rows: Vec<Vec<usize>> = vec![Vec::new(); reading.logs.len()];
    for (i, run) in reading.season.runs.iter().enumerate() {
        if run.status != Status::Void {
            rows[run.file as usize].push(i);
        }
    }
    let mut slips = Vec::new();
    for rows in &rows {
        let long = Lengths::new(reading, rows, Column::Long, Run::long_m);
        let right = Lengths::new(reading, rows, Column::Right, |run| run.right_m);
        slips.extend(without_minus(&long, &right));
    }
    slips
}

/// The lengths of one column of a log that are not 0, m.
struct Lengths {
    column: Column,
    /// The first run that has one.
    first: usize,
    lengths_m: Vec<f64>,
}

impl Lengths {
    fn new(reading: &Reading, rows: &[usize], column: Column, of: fn(&Run) -> Option<f64>) -> Self {
        let mut lengths = Lengths {
            column,
            first: 0,
            lengths_m: Vec::new(),
        };
        let Some(&first) = rows.first() else {
            return lengths;
        };
        if !reading.has(reading.run(first), column) {
            return lengths;
        }
        for &i in rows {
            // Computed from rest and target, a zero is rarely exact.
            if let Some(length_m) = of(reading.run(i)).filter(|x| x.abs() > 1e-9) {
                if lengths.lengths_m.is_empty() {
                    lengths.first = i;
                }
                lengths.lengths_m.push(length_m);
            }
        }
        lengths
    }

    fn has_minus(&self) -> bool {
        self.lengths_m.iter().any(|x| *x < 0.0)
    }

    fn count(&self) -> usize {
        self.lengths_m.len()
    }

    /// Whether many are small beside the median.
    fn look_unsigned(&self) -> bool {
        let Some(middle) = median(self.lengths_m.clone()) else {
            return false;
        };
        let small = self.lengths_m.iter().filter(|x| **x < middle / 2.0).count();
        small as f64 >= SMALL_PART * self.count() as f64
    }
}

fn without_minus(long: &Lengths, right: &Lengths) -> Option<Slip> {
    if long.has_minus() || right.has_minus() {
        return None;
    }
    let both = long.count().min(right.count()) >= FEWEST_BOTH;
    let one = |lengths: &Lengths, other: &Lengths| {
        lengths.count() >= FEWEST_ONE && other.count() == 0 && lengths.look_unsigned()
    };
    let (lengths, none) = match (both, one(long, right), one(right, long)) {
        (true, ..) => (long, "none is short, and none left"),
        (_, true, _) => (long, "none is short"),
        (.., true) => (right, "none is left"),
        _ => return None,
    };
    Some(Slip {
        run: lengths.first,
        column: lengths.column,
        why: format!(
            "of {} runs {none}: were the minus signs (or the words short and left) left out? Every sign decides which way \
             the setting goes",
            lengths.count()
        ),
    })
}
