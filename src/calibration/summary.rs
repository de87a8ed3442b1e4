//! What a rig's fits come to: the numbers that a calibration keeps of them, with their intervals.

pub mod heading;
pub mod story;
pub mod travel;

use super::rows::{Launch, RigRuns};
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Posterior;

/// τ beyond this many times its guess says that the guess was too small to be harmless.
const GUESS_TOO_SMALL: f64 = 3.0;

/// The index, in `kept`, of the newest label among `launches`.
fn newest_index(
    runs: &RigRuns,
    launches: &[usize],
    label: impl Fn(&Launch) -> usize,
    kept: &[usize],
) -> usize {
    runs.newest(launches)
        .and_then(|launch| kept.iter().position(|&k| k == label(launch)))
        .unwrap_or(kept.len() - 1)
}

fn coefficient(
    posterior: &Posterior,
    reml: &nalgebra::DVector<f64>,
    column: usize,
    level: Level,
) -> Interval {
    let mut x = vec![0.0; reml.len()];
    x[column] = 1.0;
    posterior.interval(&x, reml[column], level)
}

/// How many of some launches there are, and how many sessions they were made in.
fn runs_and_sessions(
    runs: &RigRuns,
    launches: &[usize],
    mine: impl Fn(&Launch) -> bool,
) -> (usize, usize) {
    let launches = launches.iter().map(|&i| &runs.launches[i]);
    let mut sessions: Vec<u32> = launches
        .filter(|l| mine(l))
        .map(|l| l.run.session)
        .collect();
    let runs = sessions.len();
    sessions.sort_unstable();
    sessions.dedup();
    (runs, sessions.len())
}
