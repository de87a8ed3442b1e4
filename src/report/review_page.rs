//! A review as a page.

use super::answer::{self, AnswerFigure, AnswerPage};
use super::figures::review as chart;
use super::file::File;
use super::{review_words, whose, words};
use crate::calibration::Calibration;
use crate::decide::Situation;
use crate::decide::review::Review;
use crate::error::Error;
use crate::stats::interval::Interval;
use std::slice;

/// The files of a review: `review.html` and its figure.
///
/// # Errors
/// [`Error::Internal`] when a figure would hold a number that is not finite.
pub fn files(
    calibration: &Calibration,
    situation: &Situation,
    review: &Review,
) -> Result<Vec<File>, Error> {
    let ends = |(x, i): (f64, Interval)| (x, i.low, i.high);
    let view = chart::ReviewView {
        runs: review
            .runs
            .iter()
            .map(|r| chart::ReviewRun {
                long_m: r.long_m.map(ends),
                right_m: r.right_m.map(ends),
            })
            .collect(),
        level: words::level(review.level.probability()),
    };
    let mut runs = AnswerFigure::new(
        "review",
        chart::draw("review", &view)?,
        "Each bar is where the calibration expected the run, at the setting it was really made with, on a day it knows nothing of. A day's runs move together: all of them on one side is no surprise in itself.",
    );
    if !review.set_aside.is_empty() {
        runs.caption += " What was set aside is not drawn.";
    }
    let cm = |i: &Interval| words::interval(&i.scaled(100.0));
    let mut row = |what: &str, value: Option<String>| {
        if let Some(value) = value {
            runs.rows.push(vec![what.to_string(), value]);
        }
    };
    row("shift along, cm", review.shift_long_m.map(|s| cm(&s.by)));
    row("its p", review.shift_long_m.map(|s| words::p_value(s.p)));
    row(
        "shift across, cm per m",
        review.shift_right_rad.map(|s| cm(&s.by)),
    );
    row("its p", review.shift_right_rad.map(|s| words::p_value(s.p)));
    row(
        "spread over the season's",
        review.spread_ratio.map(|r| words::interval(&r)),
    );
    row("p of one as wide", review.spread_p.map(words::p_value));
    runs.fold = vec![format!(
        "Shift: mean of the new runs less its prediction for new sessions, a mixture over the ratio r of t with variance σ²(h + r²Σ(m_j/m)² + 1/m) for sessions of m_j runs, so an ordinary day's shift is allowed for. Spread: mean square within sessions, corrected for what is not known of the line, over the season's REML σ² with the degrees of freedom within sessions, against F; along and across pooled. Intervals at {}. Set aside: deletion residual given the calibration and the other runs of the session, Bonferroni over both regressions, p < 0.01. Verdict: mean and spread each at half of what that leaves, the mean's half shared by along and across.",
        words::percent(review.level.probability())
    )];
    let sessions: Vec<String> = review
        .sessions
        .iter()
        .filter(|s| !s.is_empty())
        .map(|s| words::label(s))
        .collect();
    let of = match sessions.as_slice() {
        [] => String::new(),
        sessions => format!(" of {}", sessions.join(", ")),
    };
    let mut notes: Vec<String> = review.warnings.iter().map(|w| words::sentence(w)).collect();
    if review.passed_over > 0 {
        notes.push(format!(
            "{} of the log tell nothing here (touched, void, rolled by hand, not measured, or another rig's).",
            words::count(review.passed_over, "run", "runs")
        ));
    }
    let answer = AnswerPage {
        made_from: format!(
            "New runs{of}, in {}, held against the calibration of {}.",
            whose::logs_and_days(&review.logs, review.days),
            whose::made_from(calibration, slice::from_ref(situation.rig))
        ),
        heading: format!(
            "{}: does it still hold?",
            whose::rig_name(&situation.rig.name)
        ),
        about: "Did the vehicle stop as near to its target as foretold, and do its settings still hold?",
        sentences: review_words::advice(review),
        notes,
        figures: vec![runs],
    };
    answer::files("review", "Did it do what was promised?", &answer)
}
