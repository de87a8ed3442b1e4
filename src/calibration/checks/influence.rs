//! Whether a single run or a single session decides the setting for the middle target.

use super::evidence::Evidence;
use super::worded::said;
use crate::calibration::known::Check;
use crate::geometry::arc_of_chord;
use crate::log;
use crate::stats::mixed::LeaveOut;
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
    if let Some((row, shift_m)) = run(evidence) {
        let run = &evidence.runs.launches[evidence.travel.launches[row]].run;
        let row = log::row_word(&evidence.runs.season.files[run.file as usize]);
        checks.push(worded(
            "no single run decides the setting",
            shift_m.abs() <= RUN_PART * reml.sigma,
            shift_m,
            (&format!("the run in {row} {}", run.line), "that run"),
        ));
    }
    if let Some((session, shift_m)) = session(evidence) {
        checks.push(worded(
            "no single day decides the setting",
            shift_m.abs() <= SESSION_PART * reml.sigma.hypot(reml.tau),
            shift_m,
            (
                &format!("session {}", evidence.runs.season.sessions[session]),
                "that day",
            ),
        ));
    }
    checks
}

fn worded(name: &str, ok: bool, shift_m: f64, (what, again): (&str, &str)) -> Check {
    let shift = format!(
        "Without {what} a run to the middle target would stop {:.1} cm {}",
        100.0 * shift_m.abs(),
        if shift_m < 0.0 { "shorter" } else { "farther" },
    );
    let advice = if ok {
        ": too little to matter.".to_string()
    } else {
        format!(", which is a lot: make more runs, and look at {again} in the notebook again.")
    };
    said(name, ok, shift + &advice)
}

/// The setting for the middle target and where runs with it stop.
struct Middle {
    arc_m: f64,
    /// Design row there, turns 0.
    x: DVector<f64>,
    turns_column: usize,
    /// Overshoot and distance per turn of the fit.
    with: (f64, f64),
}

impl Middle {
    fn from_evidence(evidence: &Evidence, with: &DVector<f64>) -> Option<Self> {
        let fit = evidence.travel;
        let newest = *fit.launches.last()?;
        let curvature = evidence.heading.map_or(0.0, |h| {
            let trim = evidence.runs.launches[newest].trim;
            let known = h.trims.iter().position(|&t| t == trim);
            known.map_or(0.0, |k| h.curvature[k])
        });
        let mut x = fit.rows.x.row(fit.rows.y.len() - 1).transpose();
        x[fit.turns_column] = 0.0;
        Some(Middle {
            arc_m: arc_of_chord(evidence.middle_m, curvature),
            with: (x.dot(with), with[fit.turns_column]),
            x,
            turns_column: fit.turns_column,
        })
    }

    /// How far a run stops beyond the target with the setting of other coefficients, where those of the fit are the
    /// truth; `shift` is what the fit's are more than those, m.
    fn shift_m(&self, shift: &DVector<f64>) -> Option<f64> {
        let (overshoot, per_turn) = self.with;
        let turns = |overshoot: f64, per_turn: f64| (self.arc_m - overshoot) / per_turn;
        let without = turns(
            overshoot - self.x.dot(shift),
            per_turn - shift[self.turns_column],
        );
        let shift_m = per_turn * (without - turns(overshoot, per_turn));
        shift_m.is_finite().then_some(shift_m)
    }
}

fn largest(moves: impl Iterator<Item = (usize, f64)>) -> Option<(usize, f64)> {
    moves.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

fn run(evidence: &Evidence) -> Option<(usize, f64)> {
    let fit = evidence.travel;
    let likeliest = fit.likeliest();
    let with = likeliest.design.at(fit.reml.r).ok()?;
    let middle = Middle::from_evidence(evidence, &with.beta)?;
    let deletions = likeliest.rows.deletions(&with);
    largest(
        deletions
            .iter()
            .enumerate()
            .filter_map(|(i, deletion)| Some((i, middle.shift_m(&deletion.as_ref()?.shift)?))),
    )
}

fn session(evidence: &Evidence) -> Option<(usize, f64)> {
    let fit = evidence.travel;
    let labels = fit.rows.group.labels();
    if labels.len() < 2 || labels.len() > SESSIONS_MAX {
        return None;
    }
    let likeliest = fit.likeliest();
    let with = likeliest.design.at(fit.reml.r).ok()?;
    let middle = Middle::from_evidence(evidence, &with.beta)?;
    let others = LeaveOut::from_rows(&likeliest.rows, &likeliest.design);
    largest(labels.iter().enumerate().filter_map(|(place, &label)| {
        let without = others.without_group(place).at(fit.reml.r).ok()?;
        Some((label, middle.shift_m(&(&with.beta - without.beta))?))
    }))
}
