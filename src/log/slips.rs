//! Slips of the pencil that a log shows by itself: each a warning with its line and reason, never a change.
//!
//! A slip is found by comparing a row with the others of its log. What is compared, and from which threshold on
//! something counts as a slip, stands at the top of each file below. The thresholds are set so that a log without
//! slips has hardly a warning: `tests/slips.rs` counts warnings on invented seasons without a slip, and how many of the
//! planted ones are found.

mod far;
mod labels;
mod lead;
mod metres;
mod readings;
mod robust;
mod sizes;
mod slip;
mod turn;
mod twice;
mod whole_log;

pub use robust::median;

use super::group;
use super::reader::Reading;
use super::run::RowSlip;
use crate::fault::Faults;

/// More slips than this are a log to be typed again; pages show the first.
const KEPT_MOST: usize = 40;

/// A warning for every slip that shows, by file and row; and the first of them as pages tell them.
pub fn warnings(reading: &Reading) -> (Vec<RowSlip>, Faults) {
    let mut slips = labels::slips(&reading.season);
    slips.extend(twice::slips(reading));
    slips.extend(whole_log::slips(reading));
    slips.extend(metres::slips(reading));
    for rig in group::rigs(&reading.season) {
        let (of_rig, wrong_size) = sizes::slips(reading, &rig);
        let (otherwise, mut told) = readings::slips(reading, &rig, &wrong_size);
        told.extend(wrong_size);
        told.sort_unstable();
        slips.extend(of_rig);
        slips.extend(otherwise);
        slips.extend(turn::slips(reading, &rig));
        slips.extend(far::slips(reading, &rig, &told));
        slips.extend(lead::slips(reading, &rig));
    }
    // Sorted by run, so that a person goes through the log once.
    slips.sort_by_key(|slip| slip.run);
    let mut kept = Vec::new();
    let mut faults = Vec::with_capacity(slips.len());
    for slip in slips {
        let run = reading.run(slip.run);
        let (file, line) = (run.file, run.line);
        let fault = slip.into_fault(reading);
        if kept.len() < KEPT_MOST {
            let says = fault.sentence();
            kept.push(RowSlip { file, line, says });
        }
        faults.push(fault);
    }
    (kept, Faults(faults))
}
