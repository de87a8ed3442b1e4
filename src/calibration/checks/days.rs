//! How sessions differ, and how well one is predicted from the others.

use super::evidence::{Evidence, Fitted};
use super::worded::{said, tested};
use crate::calibration::known::Check;
use crate::stats::anova::{f_test, within_groups};
use crate::stats::counting::out_at_least;
use crate::stats::mixed::RandomIntercept;
use crate::stats::nested::slopes_differ;

/// Session shift by floor.
pub fn floors(evidence: &Evidence, fit: &Fitted) -> Option<Check> {
    let season = evidence.runs.season;
    let floors: Vec<usize> = fit
        .rows
        .group
        .each()
        .map(|rows| evidence.runs.launches[fit.launches[rows[0]]].run.floor as usize)
        .collect();
    let mut distinct = floors.clone();
    distinct.sort_unstable();
    distinct.dedup();
    let name = fit.name("floors are alike");
    if distinct.len() < 2 {
        let noted = distinct.iter().any(|&f| !season.floors[f].is_empty());
        return (noted && !fit.across).then(|| {
            said(
                &name,
                false,
                "All runs were on one floor: a new floor may differ more. Practise on another one, best the event's own.",
            )
        });
    }
    let means = fit.session_means();
    let all = within_groups(&vec![0; means.len()], &means);
    let p = f_test(all, within_groups(&floors, &means))?.p;
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
pub fn stretch(evidence: &Evidence, fit: &Fitted) -> Option<Check> {
    let travel = evidence.travel;
    // How far a whole day's runs went is asked of the arcs themselves.
    let mut y = travel.rows.y.clone();
    if let Some(term) = travel.lead_term {
        y.axpy(
            -travel.reml.beta[term.column],
            &travel.rows.x.column(term.column),
            1.0,
        );
    }
    let test = slopes_differ(&fit.rows.group, &fit.turns, y.as_slice())?;
    Some(tested(
        "a day shifts all distances alike",
        test.p,
        "What differs from day to day is the same near and far.",
        || {
            "On some days every turn goes farther, not just the whole run: correct after a run at about the distance you will need.".to_string()
        },
    ))
}

/// Leave-one-session-out coverage: as many runs out as chance allows, runs of a day going together.
pub fn left_out(evidence: &Evidence) -> Option<Check> {
    let seen = evidence.left_out;
    if seen.runs == 0 {
        return None;
    }
    let mut of_session = vec![0; evidence.story.sessions.len()];
    for run in &seen.predictions {
        of_session[run.session as usize] += 1;
    }
    of_session.retain(|&runs| runs > 0);
    let reml = &evidence.travel.reml;
    let shared = RandomIntercept::at(reml.r).intraclass_correlation();
    let out = seen.runs - seen.inside;
    let p = out_at_least(out, &of_session, 2.0 * evidence.level.lower_tail(), shared);
    let runs = if seen.runs == 1 { "run" } else { "runs" };
    let counted = format!(
        "{} of {} {runs} went as far as the other days said they would",
        seen.inside, seen.runs
    );
    Some(tested(
        "each day is foretold by the others",
        p,
        &format!("{counted}."),
        || {
            format!(
                "{counted}, fewer than promised: correct after the first run, and find what differs from day to day."
            )
        },
    ))
}

/// The EWMA chart of the sessions, as the figure shows it.
pub fn drift_chart(evidence: &Evidence) -> Option<Check> {
    let chart = evidence.story.drift.as_ref()?;
    let mut points = chart.averages_m.iter().zip(&chart.limits_m);
    let ok = points.all(|(average, limit)| average.abs() <= *limit);
    Some(said(
        "the drift chart stays inside its limits",
        ok,
        if ok {
            "No stretch of the season ran long or short all through."
        } else {
            "For a stretch of the season runs came out long or short all through: see in the figure when it began, and what was changed then."
        },
    ))
}
