//! The index of many rigs: a line for each, with the way to its page.

use super::{RigSettings, view, words};
use crate::units;
use serde::Serialize;

/// A rig in the index.
#[derive(Serialize)]
pub struct Line {
    /// The file of its page.
    file: String,
    name: String,
    runs: usize,
    sessions: usize,
    /// Distance per turn, cm.
    turn: String,
    /// What the miss at the middle target is not expected to exceed, cm; empty where it is not known.
    within: String,
    /// How many checks are to be looked at.
    look: usize,
}

/// The line of a rig whose page is `file`.
pub fn line(rig: &RigSettings, file: String) -> Line {
    let known = rig.situation.rig;
    let (middle, _) = &rig.three[rig.three.len() / 2];
    Line {
        file,
        name: view::spoken(&known.name),
        runs: known.counts.fitted,
        sessions: known.counts.sessions,
        turn: units::decimals(100.0 * known.travel.distance_per_turn_m.estimate, 1),
        within: middle
            .miss_m
            .map_or_else(String::new, |miss| words::whole_cm(miss.high)),
        look: known.checks.iter().filter(|c| !c.ok).count(),
    }
}
