//! Does a straight line with one spread describe the runs?

use super::evidence::{Beside, Evidence, Fitted};
use super::worded::{CURVE_P_MAX, said, tested, tested_at};
use crate::calibration::known::Check;
use crate::calibration::rows::span;
use crate::stats::normality::anderson_darling;
use crate::stats::rows::numbered_rows;

/// A curve is looked for from this many different settings, spanning this part of the largest (`model.md` §2).
const SETTINGS_MIN: usize = 4;
const SPAN_MIN: f64 = 0.2;
/// Repeats are compared up to this many different settings; with more, few repeat and the work grows fast.
const SETTINGS_MAX: usize = 60;

/// Straight line against a curve in turns.
pub fn straight(fit: &Fitted) -> Option<Check> {
    let (low, high) = span(fit.turns.iter().copied());
    let wide = high - low >= SPAN_MIN * high;
    if !wide || numbered_rows(&[&fit.turns], SETTINGS_MIN - 1).is_some() {
        return None;
    }
    let p = fit.more(Beside::TurnsSquared)?.test.p;
    Some(tested_at(
        CURVE_P_MAX,
        "straight line is enough",
        p,
        "Every turn brings about the same distance, so one straight line serves for all targets.",
        || {
            "A turn does not bring the same distance everywhere: make runs at the distance you expect and trust settings near them most.".to_string()
        },
    ))
}

/// Pure-error lack of fit, conditional on the sessions at θ̂.
pub fn repeats(fit: &Fitted) -> Option<Check> {
    let estimable: Vec<_> = fit
        .estimable
        .iter()
        .map(|&c| fit.rows.x.column(c))
        .collect();
    let columns: Vec<&[f64]> = estimable.iter().map(|column| column.as_slice()).collect();
    let (setting, settings) = numbered_rows(&columns, SETTINGS_MAX)?;
    if settings <= columns.len() {
        return None;
    }
    let p = fit
        .sums
        .settings_differ(fit.theta, &fit.estimable, &setting)?
        .p;
    Some(tested(
        "runs at one setting scatter as much as runs about the line",
        p,
        "Repeats of a setting and the line agree.",
        || {
            "Some settings go their own way although their repeats agree: read the dial twice and look for a setting written down wrong.".to_string()
        },
    ))
}

/// Name of the report of how spreads grow.
pub const GROWTH: &str = "how much more long runs scatter";

/// How much more long runs scatter than short ones: a report of the growth of spreads, which the settings allow for.
pub fn growth(evidence: &Evidence) -> Check {
    let growths = evidence.travel.posterior.growths();
    let in_100 = |weight: f64| format!("{:.0} in 100", 100.0 * weight);
    let means = match growths[..] {
        [(fixed, _)] => format!(
            "The set-up says how much more long runs differ than short ones: as the distance to the power {fixed}."
        ),
        _ => {
            let each = growths.iter().map(|&(growth, weight)| {
                let how = match growth {
                    0.0 => "not at all",
                    0.5 => "as the square root of the distance",
                    _ => "in step with the distance",
                };
                format!("{how} ({})", in_100(weight))
            });
            format!(
                "How much more long runs differ than short ones, as far as this log tells: {}. Every setting allows for all of these.",
                each.collect::<Vec<_>>().join(", ")
            )
        }
    };
    said(GROWTH, true, means)
}

/// Whether residuals follow the normal curve.
pub fn normal(fit: &Fitted) -> Option<Check> {
    let p = anderson_darling(&fit.studentised)?.p;
    Some(tested(
        &fit.name("runs scatter as chance does"),
        p,
        "Most runs lie near the middle and few far out, as expected.",
        || {
            "A few runs lie much farther out than the rest: look at them in the figure and in the notebook before trusting how far 19 of 20 runs stop.".to_string()
        },
    ))
}
