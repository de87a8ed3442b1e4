//! Leave-one-session-out: each session predicted from the others, as the event will be.

use super::heading::{RATIO_PRIOR_SCALE, TAPE_SD_M};
use super::travel::TravelFit;
use super::{LeftOut, LeftOutRun};
use crate::setup::Setup;
use crate::stats::interval::Level;
use crate::stats::mixed::{Posterior, Rows};

/// Predicts each session of a travel fit from the others.
///
/// A session is passed over where the others do not hold its build (or leave too little to fit): nothing could be
/// predicted then. `story_session` turns a session label into the story's index.
pub fn sessions(
    fit: &TravelFit,
    setup: &Setup,
    level: Level,
    story_session: impl Fn(usize) -> usize,
) -> LeftOut {
    let mut labels = fit.rows.group.clone();
    labels.sort_unstable();
    labels.dedup();
    let mut out = LeftOut::default();
    if labels.len() < 2 {
        return out;
    }
    let scale = RATIO_PRIOR_SCALE * setup.prior.between_sessions_m / fit.sigma_m;
    for label in labels {
        let others = fit.rows.filtered(|i| fit.rows.group[i] != label);
        let own = fit.rows.filtered(|i| fit.rows.group[i] == label);
        let Some(posterior) = posterior_of(&others, fit, scale) else {
            continue;
        };
        out.sessions += 1;
        for i in 0..own.y.len() {
            let x: Vec<f64> = own.x.row(i).iter().copied().collect();
            let expected = posterior.new_group_distribution(&x).central(level);
            let (low_m, high_m) = (
                expected.low - expected.estimate,
                expected.high - expected.estimate,
            );
            let error_m = own.y[i] - expected.estimate;
            out.runs += 1;
            out.inside += usize::from(error_m >= low_m && error_m <= high_m);
            out.predictions.push(LeftOutRun {
                session: story_session(label),
                error_m,
                low_m,
                high_m,
            });
        }
    }
    out
}

fn posterior_of(others: &Rows, fit: &TravelFit, scale: f64) -> Option<Posterior> {
    let design = others.design(fit.design.pseudo(), TAPE_SD_M).ok()?;
    Posterior::new(&design, scale).ok()
}
