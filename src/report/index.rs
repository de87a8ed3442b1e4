//! The index of many rigs: a line for each, with the way to its page.

use super::{whose, words};
use crate::decide::RigSettings;
use crate::units;
use serde::Serialize;

/// A rig's row in the index of many rigs.
#[derive(Serialize)]
pub struct RigLine {
    /// The file of its page.
    file: String,
    name: String,
    runs: usize,
    sessions: usize,
    /// Distance per turn, cm.
    turn: String,
    /// What the miss at the middle target is not expected to exceed, cm; empty where it is not known.
    within: String,
    /// Number of checks to look at.
    look: usize,
}

/// The file of the page of rig number `index`.
pub fn page_file(index: usize) -> String {
    format!("rig{}.html", index + 1)
}

/// The line of rig number `index`.
pub fn line((index, rig): (usize, &RigSettings)) -> RigLine {
    let known = rig.situation.rig;
    let (middle, _) = &rig.three[rig.middle];
    RigLine {
        file: page_file(index),
        name: whose::rig_name(&known.name),
        runs: known.counts.fitted,
        sessions: known.counts.sessions,
        turn: units::decimals(100.0 * known.travel.distance_per_turn_m.estimate, 1),
        within: middle
            .miss_m
            .map_or_else(String::new, |miss| words::within_cm(miss.high)),
        look: known.checks.iter().filter(|c| !c.ok).count(),
    }
}
