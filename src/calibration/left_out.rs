//! Leave-one-session-out cross-validation: each session predicted from the others, as the event will be.

use super::known::{LeftOut, LeftOutRun, size};
use super::travel::TravelFit;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{Design, LeaveOut, Posterior, Row};

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
    let growths = fit.growths.each();
    let others: Vec<LeaveOut> = growths
        .iter()
        .map(|at| LeaveOut::from_rows(&at.rows, &at.design))
        .collect();
    let left_out = sessions.min(SESSIONS_MAX);
    // The middle one of each of so many equal stretches.
    for place in (0..left_out).map(|k| (2 * k + 1) * sessions / (2 * left_out)) {
        let designs: Vec<Design> = others.iter().map(|o| o.without_group(place)).collect();
        let shares = growths.iter().map(|at| at.share);
        let designs: Vec<(f64, &Design)> = shares.zip(&designs).collect();
        let Ok(posterior) = Posterior::averaged(&designs, fit.spread_prior) else {
            continue;
        };
        out.sessions += 1;
        let session = story_session(fit.rows.group.labels()[place]);
        // Settings repeat within a session, and so does what is expected at them.
        let mut known: Vec<(Row, Interval)> = Vec::new();
        for &i in fit.rows.group.members(place) {
            let x: Vec<f64> = fit.rows.x.row(i).iter().copied().collect();
            let size = size(x[fit.turns_column], fit.mean_turns);
            let row = Row { x, size };
            let expected = match known.iter().find(|(at, _)| *at == row) {
                Some((_, expected)) => *expected,
                None => {
                    let expected = posterior.new_group_distribution(&row).central(level);
                    known.push((row, expected));
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
