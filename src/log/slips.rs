//! Slips of the pencil that a log shows by itself: each a warning with its line and reason, never a change.
//!
//! A slip is found by comparing a row with the others of its log. What is compared, and from which threshold on
//! something counts as a slip, stands at the top of each file below. The thresholds are set so that a log without
//! slips has hardly a warning: `tests/slips.rs` counts warnings on invented seasons without a slip, and how many of the
//! planted ones are found.

mod labels;
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
use crate::fault::Faults;

/// A warning for every slip that shows, by file and row.
pub fn warnings(reading: &Reading) -> Faults {
    let mut slips = labels::slips(&reading.season);
    slips.extend(twice::slips(reading));
    slips.extend(whole_log::slips(reading));
    for rig in group::rigs(&reading.season) {
        let (of_rig, wrong_size) = sizes::slips(reading, &rig);
        slips.extend(of_rig);
        slips.extend(readings::slips(reading, &rig, &wrong_size));
        slips.extend(turn::slips(reading, &rig));
    }
    // Sorted by run, so that a person goes through the log once.
    slips.sort_by_key(|slip| slip.run);
    Faults(
        slips
            .into_iter()
            .map(|slip| slip.into_fault(reading))
            .collect(),
    )
}
