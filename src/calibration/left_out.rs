//! Leave-one-session-out: each session predicted from the others, as the event will be.

use super::heading::{RATIO_PRIOR_SCALE, TAPE_SD_M};
use super::travel::TravelFit;
use super::{LeftOut, LeftOutRun};
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{LeavingOut, NewRow, Posterior};

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
    let many = sessions >= MANY_SESSIONS;
    let others = (sessions >= SOME_SESSIONS)
        .then(|| LeavingOut::of(&fit.design, scale, many).ok())
        .flatten();
    out.predictions.reserve_exact(fit.rows.y.len());
    let mut x = vec![0.0; fit.rows.x.ncols()];
    let mut few: Vec<Posterior> = Vec::new();
    for own in by_session {
        let posterior = match &others {
            Some(others) => {
                let own = fit.design.group_sums(&fit.rows.x, &fit.rows.y, own);
                others.without(&own).ok()
            }
            None => of_the_others(fit, own, scale),
        };
        let Some(mut posterior) = posterior else {
            continue;
        };
        if !many {
            posterior = posterior.sharing(few.iter());
        }
        out.sessions += 1;
        let session = story_session(fit.rows.group[own[0]]);
        let mut expected = Expected::of(&posterior, level, many);
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
        if !many {
            few.push(posterior);
        }
    }
    out
}

/// From so many sessions on the others are taken as all less one.
const SOME_SESSIONS: usize = 4;
/// From so many on coarsely, and what a new session does has one shape at all settings: one in thirty moves little.
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
    fn of(posterior: &'p Posterior, level: Level, many: bool) -> Self {
        if !many {
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

/// What the rows but for `own` say, fitted by themselves.
fn of_the_others(fit: &TravelFit, own: &[usize], scale: f64) -> Option<Posterior> {
    let label = fit.rows.group[own[0]];
    let others = fit.rows.filtered(|i| fit.rows.group[i] != label);
    let design = others.design(fit.design.pseudo(), TAPE_SD_M).ok()?;
    Posterior::new(&design, scale).ok()
}
