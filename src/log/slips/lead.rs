//! A brake lead that no brake has: 15 turns written for 1.5.

use std::collections::BTreeMap;

use super::slip::Slip;
use crate::columns::Column;
use crate::log::group::RigIndices;
use crate::log::reader::Reading;
use crate::log::run::Status;
use crate::units::at_most_decimals;

/// Lead beyond which one is asked about, turns: one to two are common practice, and 1.5 without its point is 15.
const LARGE_TURNS: f64 = 5.0;

/// Each lead of a rig that is too large, at the first run that has it.
pub fn slips(reading: &Reading, rig: &RigIndices) -> Vec<Slip> {
    let mut first: BTreeMap<u64, (usize, f64)> = BTreeMap::new();
    for &i in &rig.runs {
        let run = reading.run(i);
        let large = run
            .lead_turns
            .filter(|lead_turns| *lead_turns > LARGE_TURNS);
        if let (Some(lead_turns), true) = (large, run.status != Status::Void) {
            first.entry(lead_turns.to_bits()).or_insert((i, lead_turns));
        }
    }
    let slip = |(run, lead_turns)| Slip {
        run,
        column: Column::LeadTurns,
        why: format!(
            "a brake lead of {} turns; one to two turns are common: is a decimal point missing?",
            at_most_decimals(lead_turns, 3)
        ),
    };
    first.into_values().map(slip).collect()
}
