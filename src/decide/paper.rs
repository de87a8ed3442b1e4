//! Correcting on paper: what a miss is worth after the first, the second and the third run of today.
//!
//! A pencil corrects run by run: off the setting that the run was made at, a part of that run's own miss, its gain. With
//! spreads that are known the prediction after n runs is the prediction before the nth plus a/(1 + n·a) of what that run
//! missed it by, a the variance that runs of a day share over that of one run (`model.md` §4). So the gain is the nth part of
//! the share that n runs are corrected by; here averaged over what is not known of the spreads.
//!
//! The shares depend a little on the misses themselves (they speak about the spreads too): more for a large miss, less for
//! runs that scatter widely. Here they are those of runs with no residual. `correct` and the card know the runs themselves.

use super::dial::plain_setting;
use super::situation::Situation;
use crate::error::Error;
use crate::stats::mixed::{Posterior, Row};

/// Runs of a day that paper tells apart; what it says of the last of them serves for those after it.
pub const RUNS: usize = 3;
const RUN_COUNTS: [usize; RUNS] = [1, 2, 3];
/// What the misses on paper are counted in, m.
pub const PER_M: f64 = 0.10;

/// Corrections at one target for each [`PER_M`] that today's first, second and third run missed by.
#[derive(Debug, Clone, PartialEq)]
pub struct Paper {
    /// Target.
    pub target_m: f64,
    /// Ticks to take off the setting that the run was made at, for each 10 cm that it was long (to add when short).
    pub ticks: [f64; RUNS],
    /// How far to move the aim mark left of where it stood for each 10 cm right, m; `None` where nothing is known across.
    pub aim_m: Option<[f64; RUNS]>,
}

/// The other way on after a run that rolled back: less lead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LessLead {
    /// The largest lead tried below the lead in use.
    pub lead_turns: f64,
    /// Ticks to take off every setting for it, below 0 to add.
    pub ticks_off: f64,
}

/// Corrections for a target.
///
/// # Errors
/// Any error of [`plain_setting`].
pub fn corrections(situation: &Situation, target_m: f64) -> Result<Paper, Error> {
    let (turns, _) = plain_setting(situation, target_m)?;
    let travel = situation.known_travel();
    let row = situation.travel_row(turns);
    let m_per_tick = m_per_tick(situation);
    let along = gains(&travel.posterior, &row);
    let aim_m = situation.known_heading().map(|(known, trim, _)| {
        let row = known.row(trim, situation.arc_to_m(target_m));
        gains(&known.posterior, &row).map(|gain| gain * PER_M)
    });
    Ok(Paper {
        target_m,
        ticks: along.map(|gain| gain * PER_M / m_per_tick),
        aim_m,
    })
}

/// Which part of its own miss is corrected after the first, the second and the third run at one place.
fn gains(posterior: &Posterior, row: &Row) -> [f64; RUNS] {
    let shares = posterior.shares_at(row, RUN_COUNTS);
    std::array::from_fn(|i| shares[i] / RUN_COUNTS[i] as f64)
}

/// How far a tick carries it, m.
fn m_per_tick(situation: &Situation) -> f64 {
    let turn_m = (situation.travel).coefficient(situation.known_travel().turns_column);
    turn_m / f64::from(situation.setup.dial.ticks_per_turn)
}

/// What less lead does to the settings; `None` where no less lead was tried, or the lead in use is not known.
pub fn less_lead(situation: &Situation) -> Option<LessLead> {
    let lead_turns = situation.tried_lead_below(situation.lead_turns?)?;
    // A lead moves every run by one length (`model.md` §2), so it is worth as many ticks at every target.
    let less = Situation {
        lead_turns: Some(lead_turns),
        ..situation.clone()
    };
    let turns = situation.known_travel().mean_turns;
    let longer_m = less.arc_mean_m(turns) - situation.arc_mean_m(turns);
    Some(LessLead {
        lead_turns,
        ticks_off: longer_m / m_per_tick(situation),
    })
}
