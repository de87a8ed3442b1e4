//! Leave-one-session-out: each session predicted from the others, as the event will be.

use super::heading::{RATIO_PRIOR_SCALE, TAPE_SD_M};
use super::travel::TravelFit;
use super::{LeftOut, LeftOutRun};
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{NewRow, Posterior};

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
    let sessions = by_session.len();
    let mut out = LeftOut::default();
    if sessions < 2 {
        return out;
    }
    let scale = RATIO_PRIOR_SCALE * setup.prior.between_sessions_m / fit.sigma_m;
    out.predictions.reserve_exact(fit.rows.y.len());
    let mut last: Option<Posterior> = None;
    let mut x = vec![0.0; fit.rows.x.ncols()];
    for own in by_session {
        let Some(posterior) = posterior_of(fit, own, sessions, scale, last.as_ref()) else {
            continue;
        };
        out.sessions += 1;
        let session = story_session(fit.rows.group[own[0]]);
        let mut expected = Expected::of(&posterior, level, sessions);
        for &i in own {
            x.iter_mut()
                .zip(fit.rows.x.row(i).iter())
                .for_each(|(x, &cell)| *x = cell);
            let expected = expected.at(&x);
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
/// weights over the ratio by a fifth of their width, and the nodes reach seven widths to either side. What one more
/// session does has one shape then at all settings.
const MANY_SESSIONS: usize = 30;

/// What is expected of the runs of one session.
enum Expected<'p> {
    /// Each setting by itself, once.
    Few {
        posterior: &'p Posterior,
        level: Level,
        known: Vec<(Vec<f64>, Interval)>,
    },
    /// Moved and stretched from setting to setting.
    Many(NewRow<'p>),
}

impl<'p> Expected<'p> {
    fn of(posterior: &'p Posterior, level: Level, sessions: usize) -> Self {
        if sessions < MANY_SESSIONS {
            return Expected::Few {
                posterior,
                level,
                known: Vec::new(),
            };
        }
        Expected::Many(NewRow::of(posterior, level))
    }

    fn at(&mut self, x: &[f64]) -> Interval {
        match self {
            Expected::Many(row) => row.central(x),
            Expected::Few {
                posterior,
                level,
                known,
            } => {
                // Settings repeat within a session, and so does what is expected at them.
                if let Some((_, expected)) = known.iter().find(|(at, _)| at == x) {
                    return *expected;
                }
                let expected = posterior.new_group_distribution(x).central(*level);
                known.push((x.to_vec(), expected));
                expected
            }
        }
    }
}

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
