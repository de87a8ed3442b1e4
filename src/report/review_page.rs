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
    let answer = AnswerPage {
        made_from: format!(
            "New runs{}, in {}, held against the calibration of {}.",
            of_sessions(review),
            whose::logs_and_days(&review.logs, review.days),
            whose::made_from(calibration, slice::from_ref(situation.rig))
        ),
        heading: format!(
            "{}: does it still hold?",
            whose::rig_name(&situation.rig.name)
        ),
        about: "Did the vehicle stop as near to its target as foretold, and do its settings still hold?",
        sentences: review_words::advice(review),
        notes: notes(review),
        figures: vec![runs(review)?],
    };
    answer::files("review", "Did it do what was promised?", &answer)
}

/// Every run against where it was expected, with the numbers behind the verdict.
fn runs(review: &Review) -> Result<AnswerFigure, Error> {
    let ends = |(x, i): (f64, Interval)| (x, i.low, i.high);
    let each = review.runs.iter().map(|r| chart::ReviewRun {
        long_m: r.long_m.map(ends),
        right_m: r.right_m.map(ends),
        rolled_back: r.rolled_back,
    });
    let view = chart::ReviewView {
        runs: each.collect(),
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
    runs.rows = rows(review);
    runs.fold = vec![format!(
        "Shift: mean of the new runs less its prediction for new sessions, a mixture over the ratio r of t with variance σ²(h + r²Σ(m_j/m)² + 1/m) for sessions of m_j runs, so an ordinary day's shift is allowed for. Spread: mean square within sessions, corrected for what is not known of the line, over the season's REML σ² with the degrees of freedom within sessions, against F; along and across pooled. Intervals at {}. Set aside: deletion residual given the calibration and the other runs of the session, Bonferroni over both regressions, p < 0.01. Verdict: mean and spread each at half of what that leaves, the mean's half shared by along and across.",
        words::percent(review.level.probability())
    )];
    Ok(runs)
}

/// What was found and how surprising it is, where it could be told.
fn rows(review: &Review) -> Vec<Vec<String>> {
    let cm = |i: &Interval| words::interval(&i.scaled(100.0));
    let (along, across) = (review.shift_long_m, review.shift_right_rad);
    [
        ("shift along, cm", along.map(|s| cm(&s.by))),
        ("its p", along.map(|s| words::p_value(s.p))),
        ("shift across, cm per m", across.map(|s| cm(&s.by))),
        ("its p", across.map(|s| words::p_value(s.p))),
        (
            "spread over the season's",
            review.spread_ratio.map(|r| words::interval(&r)),
        ),
        ("p of one as wide", review.spread_p.map(words::p_value)),
    ]
    .into_iter()
    .filter_map(|(what, value)| Some(vec![what.to_string(), value?]))
    .collect()
}

/// Of which sessions the new runs are, as the end of a phrase; nothing where none has a name.
fn of_sessions(review: &Review) -> String {
    let named = review.sessions.iter().filter(|s| !s.is_empty());
    match named.map(|s| words::label(s)).collect::<Vec<_>>() {
        names if names.is_empty() => String::new(),
        names => format!(" of {}", names.join(", ")),
    }
}

fn notes(review: &Review) -> Vec<String> {
    let mut notes: Vec<String> = review.warnings.iter().map(|w| words::sentence(w)).collect();
    if review.passed_over > 0 {
        notes.push(format!(
            "{} of the log tell nothing here (touched, void, rolled by hand, not measured, or another rig's).",
            words::count(review.passed_over, "run", "runs")
        ));
    }
    notes
}
