//! A decimal point in the wrong place, or metres and centimetres mixed up: target, rest or turns ten or a hundred
//! times too large or too small.
//!
//! Metres for each turn are nearly the same in every run of a rig. A row whose metres per turn are 10 or 100 times
//! the middle of the rig, or that part of it, within a factor of 1.26 (a tenth of the way to the next power of
//! ten), is a slip: no brake, floor or string changes distance tenfold.

use super::robust::median;
use super::slip::Slip;
use crate::columns::Column;
use crate::log::group::RigIndices;
use crate::log::reader::Reading;
use crate::log::run::Status;
use crate::units::at_most_decimals;

/// Fewest runs of a rig from which the usual distance per turn is known.
const FEWEST_RUNS: usize = 4;
/// Largest distance from a power of ten, as a decimal logarithm.
const NEAR: f64 = 0.1;

/// The slips of a rig, and its runs that have one, in order.
pub fn slips(reading: &Reading, rig: &RigIndices) -> (Vec<Slip>, Vec<usize>) {
    let mut slips = Vec::new();
    let mut wrong: Vec<usize> = Vec::new();
    let sized = sized(reading, rig);
    if sized.len() < FEWEST_RUNS {
        return (slips, wrong);
    }
    let middle = |of: fn(&Sized) -> f64| median(sized.iter().map(of).collect());
    let (Some(usual), Some(usual_length), Some(usual_turns)) = (
        middle(Sized::length_of_turn_m),
        middle(|s| s.length_m),
        middle(|s| s.turns),
    ) else {
        return (slips, wrong);
    };
    for s in &sized {
        let Some(power) = power_of_ten(s.length_of_turn_m() / usual) else {
            continue;
        };
        if wrong.last() == Some(&s.run) {
            continue;
        }
        wrong.push(s.run);
        // Of length and turns, the one that is farther from the usual is taken for the wrong one.
        let length_off = (s.length_m / usual_length).log10().abs();
        let turns_off = (s.turns / usual_turns).log10().abs();
        let times = 10_i32.pow(power.unsigned_abs());
        let length = format!("{} m", at_most_decimals(s.length_m, 3));
        let turns = format!("{} turns", at_most_decimals(s.turns, 3));
        let (column, this, beside, is_large) = if length_off >= turns_off {
            (s.column, length, turns, power > 0)
        } else {
            (Column::Turns, turns, length, power < 0)
        };
        slips.push(Slip {
            run: s.run,
            column,
            why: format!(
                "{this} with {beside} is about {times} times {} for the other runs; is a decimal point in the wrong \
                 place, or is it in another unit than the column?",
                if is_large { "too much" } else { "too little" }
            ),
        });
    }
    (slips, wrong)
}

/// A length that the turns should carry the vehicle, and the column it was read from.
struct Sized {
    run: usize,
    length_m: f64,
    turns: f64,
    column: Column,
}

impl Sized {
    fn length_of_turn_m(&self) -> f64 {
        self.length_m / self.turns
    }
}

/// Targets and rests of a rig; a rest only where it was written as such, for otherwise it was computed from the target.
fn sized(reading: &Reading, rig: &RigIndices) -> Vec<Sized> {
    let mut sized = Vec::new();
    for &i in &rig.runs {
        let run = reading.run(i);
        let Some(turns) = run.turns.filter(|turns| *turns > 0.0) else {
            continue;
        };
        if run.status == Status::Void {
            continue;
        }
        let rest_m = run.rest_m.filter(|_| !reading.has(run, Column::Long));
        for (length_m, column) in [(run.target_m, Column::Target), (rest_m, Column::Rest)] {
            let length_m = length_m.filter(|length_m| *length_m > 0.0);
            sized.extend(length_m.map(|length_m| Sized {
                run: i,
                length_m,
                turns,
                column,
            }));
        }
    }
    sized
}

/// −2, −1, 1 or 2 where a ratio is about that power of ten.
fn power_of_ten(ratio: f64) -> Option<i32> {
    let power = ratio.log10();
    let whole = power.round();
    ((1.0..=2.0).contains(&whole.abs()) && (power - whole).abs() < NEAR).then_some(whole as i32)
}

#[cfg(test)]
mod tests {
    use super::power_of_ten;

    #[test]
    fn only_tens_and_hundreds_count() {
        for (ratio, power) in [
            (10.5, Some(1)),
            (0.0098, Some(-2)),
            (1.2, None),
            (5.0, None),
            (30.0, None),
            (1000.0, None),
        ] {
            assert_eq!(power_of_ten(ratio), power, "{ratio}");
        }
    }
}
