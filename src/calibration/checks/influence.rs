//! Whether a single run or a single session decides the setting for the middle target.

use super::evidence::Evidence;
use super::said;
use crate::calibration::Check;
use crate::geometry::arc_of_chord;
use nalgebra::DVector;

/// A run may move where the middle target's run stops by this part of the spread from run to run.
const RUN_PART: f64 = 0.5;
/// A session by this part of the spread of a run on a new day.
const SESSION_PART: f64 = 1.0;
/// With more sessions none decides by itself, and each costs a fit.
const SESSIONS_MAX: usize = 50;

/// The run and the session that move the setting most.
pub fn all(evidence: &Evidence) -> Vec<Check> {
    let reml = &evidence.travel.reml;
    let mut checks = Vec::new();
    if let Some((row, moved_m)) = run(evidence) {
        let run = &evidence.runs.launches[evidence.travel.launches[row]].run;
        checks.push(worded(
            "no single run decides the setting",
            moved_m.abs() <= RUN_PART * reml.sigma,
            moved_m,
            &format!("the run in line {}", run.line),
        ));
    }
    if let Some((session, moved_m)) = session(evidence) {
        checks.push(worded(
            "no single day decides the setting",
            moved_m.abs() <= SESSION_PART * reml.sigma.hypot(reml.tau),
            moved_m,
            &format!("session {}", evidence.runs.season.sessions[session]),
        ));
    }
    checks
}

fn worded(name: &str, ok: bool, moved_m: f64, what: &str) -> Check {
    let moved = format!(
        "Without {what} a run to the middle target would stop {:.1} cm {}",
        100.0 * moved_m.abs(),
        if moved_m < 0.0 { "shorter" } else { "farther" },
    );
    let advice = if ok {
        ": too little to matter."
    } else {
        ", which is a lot: make more runs, and read that one again in the notebook."
    };
    said(name, ok, moved + advice)
}

/// How far a run to the middle target stops beyond it with the setting of `without`, where `with` is the truth left
/// out of sight: what leaving something out moves, m.
fn moved_m(evidence: &Evidence, with: &DVector<f64>, without: &DVector<f64>) -> Option<f64> {
    let fit = evidence.travel;
    let newest = *fit.launches.last()?;
    let curvature = evidence.heading.map_or(0.0, |h| {
        let trim = evidence.runs.launches[newest].trim;
        let known = h.trims.iter().position(|&t| t == trim);
        known.map_or(0.0, |k| h.curvature[k])
    });
    let arc_m = arc_of_chord(evidence.middle_m, curvature);
    let mut x = fit.rows.x.row(fit.rows.y.len() - 1).transpose();
    x[fit.turns_column] = 0.0;
    let turns = |beta: &DVector<f64>| (arc_m - x.dot(beta)) / beta[fit.turns_column];
    let per_turn_m = with[fit.turns_column];
    let moved = per_turn_m * (turns(without) - turns(with));
    moved.is_finite().then_some(moved)
}

fn largest(moves: impl Iterator<Item = (usize, f64)>) -> Option<(usize, f64)> {
    moves.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

fn run(evidence: &Evidence) -> Option<(usize, f64)> {
    let fit = evidence.travel;
    let at = fit.design.at(fit.reml.r).ok()?;
    let shifts = fit.rows.deletion_shifts(&at);
    largest(shifts.iter().enumerate().filter_map(|(i, shift)| {
        let without = &at.beta - shift.as_ref()?;
        Some((i, moved_m(evidence, &at.beta, &without)?))
    }))
}

fn session(evidence: &Evidence) -> Option<(usize, f64)> {
    let fit = evidence.travel;
    let by_session = fit.rows.group.each();
    if by_session.len() < 2 || by_session.len() > SESSIONS_MAX {
        return None;
    }
    let with = fit.design.at(fit.reml.r).ok()?;
    largest(by_session.filter_map(|own| {
        let s = fit.rows.group[own[0]];
        let others = fit.rows.filtered(|i| fit.rows.group[i] != s);
        let design = others.design(fit.design.pseudo(), 0.0).ok()?;
        let without = design.at(fit.reml.r).ok()?;
        Some((s, moved_m(evidence, &with.beta, &without.beta)?))
    }))
}
