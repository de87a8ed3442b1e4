//! How sessions differ, and how well one is foretold by the others.

use super::evidence::{Evidence, Fitted};
use super::{said, tested};
use crate::calibration::Check;
use crate::stats::nested::{more_columns, slopes_differ};
use nalgebra::{DMatrix, DVector};

/// Session shift by floor.
pub fn floors(evidence: &Evidence, fit: &Fitted) -> Option<Check> {
    let season = evidence.runs.season;
    let sessions = fit.sessions();
    let floor = |rows: &[usize]| {
        let launch = &evidence.runs.launches[fit.launches[rows[0]]];
        launch.run.floor
    };
    let floors: Vec<u32> = sessions.iter().map(|(_, rows)| floor(rows)).collect();
    let mut distinct = floors.clone();
    distinct.sort_unstable();
    distinct.dedup();
    let name = fit.name("floors are alike");
    if distinct.len() < 2 {
        let noted = distinct
            .iter()
            .any(|&f| !season.floors[f as usize].is_empty());
        return (noted && !fit.across).then(|| {
            said(
                &name,
                false,
                "All runs were on one floor: a new floor may differ more. Practise on another one, best the event's own.",
            )
        });
    }
    let n = sessions.len();
    let means = DVector::from_iterator(
        n,
        sessions.iter().map(|(_, rows)| {
            rows.iter().map(|&i| fit.studentised[i]).sum::<f64>() / rows.len() as f64
        }),
    );
    let ones = DMatrix::from_element(n, 1, 1.0);
    let each = DMatrix::from_fn(n, distinct.len() - 1, |i, j| {
        f64::from(u8::from(floors[i] == distinct[j + 1]))
    });
    let p = more_columns(&ones, &each, &means)?.test.p;
    Some(tested(
        &name,
        p,
        "Days on different floors differ no more than days on one floor.",
        || {
            "Floors differ more than days do: before the event, run on its own floor or correct after the first run.".to_string()
        },
    ))
}

/// A session that stretches distance instead of shifting it.
pub fn stretch(fit: &Fitted) -> Option<Check> {
    let test = slopes_differ(&fit.rows.group, &fit.turns, fit.rows.y.as_slice())?;
    Some(tested(
        "a day shifts all distances alike",
        test.p,
        "What differs from day to day is the same near and far.",
        || {
            "On some days every turn goes farther, not just the whole run: correct after a run at about the distance you will need.".to_string()
        },
    ))
}

/// Leave-one-session-out coverage.
pub fn left_out(evidence: &Evidence) -> Option<Check> {
    let seen = evidence.left_out;
    (seen.runs > 0).then(|| {
        // Fewer than 4 of 5 would be far from the 19 of 20 that is promised.
        let ok = 5 * seen.inside >= 4 * seen.runs;
        said(
            "each day is foretold by the others",
            ok,
            format!(
                "{} of {} runs stopped where the other days said they would{}",
                seen.inside,
                seen.runs,
                if ok {
                    "."
                } else {
                    ": fewer than promised, so trust no distance by itself and correct after the first run."
                }
            ),
        )
    })
}
