//! Correcting on paper: what to do after one, two and three runs today, for each 10 cm of their mean miss.
//!
//! The share depends a little on the misses themselves (they speak about the spreads too): more for runs that agree on
//! a large miss, less for runs that scatter widely. Here it is that of runs with no residual. `correct` and the card know
//! the runs themselves.

use super::dial::plain_setting;
use super::situation::Situation;
use crate::error::Error;

/// Runs after which paper has an answer.
pub const RUNS: usize = 3;
const RUN_COUNTS: [usize; RUNS] = [1, 2, 3];
/// What the misses on paper are counted in, m.
pub const PER_M: f64 = 0.10;

/// Corrections for each [`PER_M`] of today's mean miss at one target, after 1, 2 and 3 runs there.
#[derive(Debug, Clone, PartialEq)]
pub struct Paper {
    /// Target.
    pub target_m: f64,
    /// Ticks to take off for each 10 cm long (to add when short).
    pub ticks: [f64; RUNS],
    /// How far to move the aim mark left for each 10 cm right, m; `None` where nothing is known across.
    pub aim_m: Option<[f64; RUNS]>,
}

/// Corrections for a target.
///
/// # Errors
/// Any error of [`plain_setting`].
pub fn corrections(situation: &Situation, target_m: f64) -> Result<Paper, Error> {
    let (turns, _) = plain_setting(situation, target_m)?;
    let travel = situation.known_travel();
    let row = situation.travel_row(turns);
    let m_per_tick = situation.travel.coefficient(travel.turns_column)
        / f64::from(situation.setup.dial.ticks_per_turn);
    let shares = travel.posterior.shares_at(&row, RUN_COUNTS);
    let aim_m = situation.known_heading().map(|(known, trim, _)| {
        let row = known.row(trim, situation.arc_to_m(target_m));
        let shares = known.posterior.shares_at(&row, RUN_COUNTS);
        shares.map(|share| share * PER_M)
    });
    Ok(Paper {
        target_m,
        ticks: shares.map(|share| share * PER_M / m_per_tick),
        aim_m,
    })
}
