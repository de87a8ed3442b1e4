//! Does it matter when a run was made: first of its session, later in it, later in the season?

use super::evidence::{Beside, Fitted};
use super::worded::tested;
use crate::calibration::known::Check;
use crate::stats::correlation::correlation;

/// Fewest sessions for a trend over the season; with three, one degree of freedom is left.
const SESSIONS_MIN: usize = 4;

/// The checks of order.
pub fn all(fit: &Fitted) -> Vec<Check> {
    [first_run(fit), within_session(fit), over_season(fit)]
        .into_iter()
        .flatten()
        .collect()
}

/// First run of a session against the rest.
fn first_run(fit: &Fitted) -> Option<Check> {
    let first = &fit.first;
    let firsts = first.iter().sum::<f64>();
    if firsts < 2.0 || first.len() as f64 - firsts < 2.0 {
        return None;
    }
    let more = fit.more_within(&[], Beside::First)?;
    Some(tested(
        &fit.name("the first run of a day is like the rest"),
        more.test.p,
        "First runs do as the others do, so the settings hold for the first run at the event.",
        || {
            format!(
                "The first run of a day goes about {} than the rest: make one warm-up run where it is allowed, or expect this at the event.",
                fit.far(more.last)
            )
        },
    ))
}

/// Drift within a session, first runs aside.
fn within_session(fit: &Fitted) -> Option<Check> {
    if fit.position.iter().all(|&p| p < 2.0) {
        return None;
    }
    let more = fit.more_within(&[Beside::First], Beside::Position)?;
    Some(tested(
        &fit.name("runs do not drift during a day"),
        more.test.p,
        "Late runs of a day do as early ones do.",
        || {
            format!(
                "Each run goes about {} than the one before: look for string that stretches, elastic that tires, and dusty wheels.",
                fit.far(more.last)
            )
        },
    ))
}

/// A trend of the sessions over the season, with S − 2 degrees of freedom.
fn over_season(fit: &Fitted) -> Option<Check> {
    let means = fit.session_means();
    if means.len() < SESSIONS_MIN {
        return None;
    }
    let order: Vec<f64> = (0..means.len()).map(|k| k as f64).collect();
    let c = correlation(&order, &means)?;
    Some(tested(
        &fit.name("no drift over the season"),
        c.p,
        "Late sessions do as early ones did.",
        || {
            "Sessions drift from the first to the last: fit the newest ones alone (--since) and look for what wears or works loose.".to_string()
        },
    ))
}
