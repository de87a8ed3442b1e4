//! Leave-one-session-out: each session predicted from the others, as the event will be.

use super::heading::{RATIO_PRIOR_SCALE, TAPE_SD_M};
use super::travel::TravelFit;
use super::{LeftOut, LeftOutRun};
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::Posterior;

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
    let by_session = fit.rows.group.each();
    let mut out = LeftOut::default();
    let sessions = by_session.len();
    if sessions < 2 {
        return out;
    }
    let scale = RATIO_PRIOR_SCALE * setup.prior.between_sessions_m / fit.sigma_m;
    out.predictions.reserve_exact(fit.rows.y.len());
    let mut last: Option<Posterior> = None;
    for own in by_session {
        let Some(posterior) = posterior_of(fit, own, sessions, scale, last.as_ref()) else {
            continue;
        };
        out.sessions += 1;
        let session = story_session(fit.rows.group[own[0]]);
        // Settings repeat within a session, and so does what is expected at them.
        let mut known: Vec<(Vec<f64>, Interval)> = Vec::new();
        for &i in own {
            let x: Vec<f64> = fit.rows.x.row(i).iter().copied().collect();
            let expected = match known.iter().find(|(at, _)| *at == x) {
                Some((_, expected)) => *expected,
                None => {
                    let expected = posterior.new_group_distribution(&x).central(level);
                    known.push((x, expected));
                    expected
                }
            };
            let (low_m, high_m) = (
                expected.low - expected.estimate,
                expected.high - expected.estimate,
            );
            let error_m = fit.rows.y[i] - expected.estimate;
            out.runs += 1;
            out.inside += usize::from(error_m >= low_m && error_m <= high_m);
            // They are drawn, to a fraction of a millimetre.
            out.predictions.push(LeftOutRun {
                session: session as u32,
                error_m: error_m as f32,
                low_m: low_m as f32,
                high_m: high_m as f32,
            });
        }
        last = Some(posterior);
    }
    out
}

/// From so many sessions on the others are taken as all less one, on the ratios of all: one in thirty moves the
/// weights over the ratio by a fifth of their width, and the nodes reach eight widths to either side.
const MANY_SESSIONS: usize = 30;

/// What the rows but for `own` say of the ratio.
fn posterior_of(
    fit: &TravelFit,
    own: &[usize],
    sessions: usize,
    scale: f64,
    last: Option<&Posterior>,
) -> Option<Posterior> {
    if sessions < MANY_SESSIONS {
        let label = fit.rows.group[own[0]];
        let others = fit.rows.filtered(|i| fit.rows.group[i] != label);
        let design = others.design(fit.design.pseudo(), TAPE_SD_M).ok()?;
        return Posterior::new(&design, scale).ok();
    }
    let own = fit.design.group_sums(&fit.rows.x, &fit.rows.y, own);
    let others = fit.design.without(&own);
    fit.posterior.at_these_ratios(&others, scale, last).ok()
}
