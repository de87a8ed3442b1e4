//! Leave-one-session-out cross-validation: each session predicted from the others, as the event will be.

use super::known::{LeftOut, LeftOutRun};
use super::travel::TravelFit;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{LeaveOut, Posterior};

/// At most so many sessions are left out, evenly chosen: enough for a count, and the work stays that of a season.
const SESSIONS_MAX: usize = 60;

/// Predicts each session of a travel fit from the others: one refit a session by the same engine.
///
/// A session is passed over where the others do not hold its build (or leave too little to fit): nothing could be
/// predicted then. `story_session` turns a session label into the story's index.
pub fn sessions(fit: &TravelFit, level: Level, story_session: impl Fn(usize) -> usize) -> LeftOut {
    let sessions = fit.rows.group.labels().len();
    let mut out = LeftOut::default();
    if sessions < 2 {
        return out;
    }
    let others = LeaveOut::from_rows(&fit.rows, &fit.design);
    let left_out = sessions.min(SESSIONS_MAX);
    // The middle one of each of so many equal stretches.
    for place in (0..left_out).map(|k| (2 * k + 1) * sessions / (2 * left_out)) {
        let Ok(posterior) = Posterior::new(&others.without_group(place), fit.theta_prior_scale)
        else {
            continue;
        };
        out.sessions += 1;
        let session = story_session(fit.rows.group.labels()[place]);
        // Settings repeat within a session, and so does what is expected at them.
        let mut known: Vec<(Vec<f64>, Interval)> = Vec::new();
        for &i in fit.rows.group.members(place) {
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
    }
    out
}
