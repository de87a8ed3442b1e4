//! After today's runs: the same decisions with today's session taken into account.

use super::situation::{Choice, Situation};
use crate::calibration::Calibration;
use crate::calibration::heading::chord_without_right;
use crate::calibration::recoil::tells_travel;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::geometry;
use crate::log::run::{Kind, Run, Season, Status};
use crate::stats::mixed::Row;

/// A run of today that the calibration would see less often than once in this many is named.
const IMPOSSIBLE_ONCE_IN: f64 = 300.0;

/// How today differs from the calibration, at one target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Today {
    /// Runs that were of use.
    pub runs: usize,
    /// + longer than the calibration says, m.
    pub shift_long_m: f64,
    /// + to the right of it, rad; `None` where nothing is known across.
    pub shift_right_rad: Option<f64>,
    /// Part of the mean miss that is taken out along.
    pub share_along: f64,
    /// And across; `None` without a run that tells.
    pub share_across: Option<f64>,
}

/// A run of today turned into what the fits take.
struct Rows {
    travel: Vec<(Row, f64)>,
    heading: Vec<(Row, f64)>,
    used: usize,
}

/// What today's log adds: the situation before the next run, and what should be said about it.
#[derive(Debug, Clone)]
pub struct Corrected<'a> {
    /// After today's runs.
    pub situation: Situation<'a>,
    /// Before them.
    pub before: Situation<'a>,
    /// Runs that were of use.
    pub runs: usize,
    /// Whether any of them tells about direction.
    pub across: bool,
    /// In words.
    pub warnings: Vec<String>,
}

/// Takes today's runs into account.
///
/// # Errors
/// [`Error::Input`] for two sessions in today's log or a choice that cannot be meant.
pub fn correct<'a>(
    calibration: &'a Calibration,
    today: &Season,
    choice: &Choice,
) -> Result<Corrected<'a>, Error> {
    if today.sessions.len() > 1 {
        return Err(Error::Input(Faults(vec![Fault::error(
            today.files.join(", "),
            format!(
                "holds {} sessions ({}); expected the runs of today only, under one label",
                today.sessions.len(),
                today.sessions.join(", ")
            ),
        )])));
    }
    let before = Situation::new(calibration, choice)?;
    let mut warnings = Vec::new();
    if let Some(label) = today
        .sessions
        .first()
        .filter(|l| before.rig.session_labels.contains(l))
    {
        warnings.push(format!(
            "the calibration already has a session called {label}; today's runs are taken as a new one"
        ));
    }
    let rows = rows(&before, today, &mut warnings);
    let mut situation = before.clone();
    situation.travel = before.rig.travel.posterior.group(&rows.travel);
    situation.heading = before
        .rig
        .heading
        .as_ref()
        .map(|h| h.posterior.group(&rows.heading));
    Ok(Corrected {
        situation,
        before,
        runs: rows.used,
        across: !rows.heading.is_empty(),
        warnings,
    })
}

/// One new run as rows of the two regressions with their responses.
#[derive(Debug, Clone)]
pub(super) struct Observation {
    /// Row of travel and the arc rolled, m.
    pub travel: Option<(Row, f64)>,
    /// Row of heading and the heading excess, rad.
    pub heading: Option<(Row, f64)>,
    /// Build of the run.
    pub build: Option<usize>,
    /// Trim of the run.
    pub trim: Option<usize>,
}

/// Reads a new run against what is known of the rig; `None`, with the reason in `warnings` where it needs one, for a run
/// that tells nothing: another rig's, a hand roll, touched, void, not measured. Labels left blank mean the chosen ones.
pub(super) fn observe(
    situation: &Situation,
    season: &Season,
    run: &Run,
    warnings: &mut Vec<String>,
) -> Option<Observation> {
    let rig = situation.rig;
    if run.kind != Kind::Launch || !matches!(run.status, Status::Ok | Status::Recoil) {
        return None;
    }
    let line = run.line;
    if let Some(other) = other_rig(situation, season, run) {
        warnings.push(format!(
            "line {line}: a run of {other}, not of {}; left out",
            rig.name
        ));
        return None;
    }
    let build = match season.builds[run.build as usize].as_str() {
        "" => Some(situation.build),
        label => rig.travel.builds.iter().position(|b| b.label == label),
    };
    let trim_label = season.trims[run.trim as usize].as_str();
    let trim = match (trim_label, &rig.heading) {
        ("", _) => situation.trim,
        (label, Some(h)) => h.trims.iter().position(|t| t.label == label),
        (_, None) => None,
    };
    let (rest, target) = (run.rest_m?, run.target_m?);
    let Some((arc, psi)) = arc_and_direction(situation, run, trim, (rest, target)) else {
        warnings.push(format!(
            "line {line}: this rest point cannot be reached; left out"
        ));
        return None;
    };
    let mut observed = Observation {
        travel: None,
        heading: None,
        build,
        trim,
    };
    if let Some(turns) = run.turns {
        match build {
            Some(build) if tells_travel(run, rig.travel.builds[build].lead_turns) => {
                let lead = run.lead_turns.or(situation.lead_turns);
                observed.travel = Some((rig.travel.row(build, turns, lead), arc));
            }
            Some(_) => {}
            None => warnings.push(format!(
                "line {line}: the calibration has no build called {}; how far it went says nothing about this build",
                season.builds[run.build as usize]
            )),
        }
    }
    if let (Some(_), Some(aim)) = (run.right_m, run.aim_right_m) {
        match (trim, &rig.heading) {
            (Some(trim), Some(h)) => {
                let excess = psi - geometry::aim_heading(target, aim);
                observed.heading = Some((h.row(trim, arc), excess));
            }
            (None, Some(_)) => warnings.push(format!(
                "line {line}: the calibration has no trim called {trim_label}; nothing can be said about its aim mark"
            )),
            (_, None) => {}
        }
    }
    (observed.travel.is_some() || observed.heading.is_some()).then_some(observed)
}

/// `VEHICLE/WHEELS` of a run that names others than the situation's.
fn other_rig(situation: &Situation, season: &Season, run: &Run) -> Option<String> {
    let rig = situation.rig;
    let (vehicle, wheels) = (
        &season.vehicles[run.vehicle as usize],
        &season.wheels[run.wheels as usize],
    );
    let differs = |label: &str, own: &str| !label.is_empty() && label != own;
    let other = differs(vehicle, &rig.vehicle) || differs(wheels, &rig.wheels);
    other.then(|| format!("{vehicle}/{wheels}"))
}

/// Arc rolled, m, and chord heading of a run; `None` for a rest point that no arc of its trim reaches.
fn arc_and_direction(
    situation: &Situation,
    run: &Run,
    trim: Option<usize>,
    (rest_m, target_m): (f64, f64),
) -> Option<(f64, f64)> {
    let known = trim.zip(situation.rig.heading.as_ref());
    let curvature = known.map_or(0.0, |(k, h)| h.trims[k].curvature_point_per_m);
    let (mut chord, psi) = geometry::chord_and_heading(rest_m, run.right_m.unwrap_or(0.0));
    if let (None, Some((k, h))) = (run.right_m, known) {
        let aimed = run.aim_right_m.map(|aim| (target_m, aim));
        chord = chord_without_right(&h.posterior, h.trims.len(), k, rest_m, aimed);
    }
    let arc = geometry::arc_of_chord(chord, curvature);
    (arc.is_finite() && chord > 0.0).then_some((arc, psi))
}

fn rows(situation: &Situation, today: &Season, warnings: &mut Vec<String>) -> Rows {
    let rig = situation.rig;
    let mut rows = Rows {
        travel: Vec::new(),
        heading: Vec::new(),
        used: 0,
    };
    let mut runs: Vec<&Run> = today.runs.iter().collect();
    runs.sort_by(|a, b| a.order.total_cmp(&b.order));
    for run in runs {
        let Some(observed) = observe(situation, today, run, warnings) else {
            continue;
        };
        let line = run.line;
        if let Some((row, arc)) = observed.travel {
            let known = rig.travel.posterior.new_group_distribution(&row);
            if let Some(words) = impossible(known.cdf(arc), "long", "short") {
                warnings.push(format!("line {line}: {words}"));
            }
            rows.travel.push((row, arc));
        }
        if let (Some((row, excess)), Some(h)) = (observed.heading, &rig.heading) {
            let known = h.posterior.new_group_distribution(&row);
            if let Some(words) = impossible(known.cdf(excess), "to the right", "to the left") {
                warnings.push(format!("line {line}: {words}"));
            }
            rows.heading.push((row, excess));
        }
        rows.used += 1;
    }
    rows
}

/// What to say of a run whose distribution function value is `p`, if chance would hardly ever do it.
fn impossible(p: f64, above: &str, below: &str) -> Option<String> {
    let two_sided = 2.0 * p.min(1.0 - p);
    let side = if p > 0.5 { above } else { below };
    (two_sided < 1.0 / IMPOSSIBLE_ONCE_IN).then(|| {
        format!(
            "farther {side} than the season ever would have it (less than once in {IMPOSSIBLE_ONCE_IN:.0} runs): a very different floor, or a slip (dial, tape, sign)? Check before you trust the correction"
        )
    })
}

impl Corrected<'_> {
    /// How today differs, and the shares taken out, at a target; `None` with no usable run.
    ///
    /// # Errors
    /// Any error of [`super::dial::plain_setting`].
    pub fn today(&self, target_m: f64) -> Result<Option<Today>, Error> {
        if self.runs == 0 {
            return Ok(None);
        }
        let (turns, _) = super::dial::plain_setting(&self.before, target_m)?;
        let row = self.before.travel_row(turns);
        let arc = self.before.arc_to_m(target_m);
        let across = self.across.then_some(());
        Ok(Some(Today {
            runs: self.runs,
            shift_long_m: self.situation.travel.mean(&row) - self.before.travel.mean(&row),
            shift_right_rad: across
                .map(|()| self.situation.heading_mean(arc) - self.before.heading_mean(arc)),
            share_along: self.situation.travel.share(&row),
            share_across: across
                .and(self.situation.known_heading())
                .map(|(h, trim, today)| today.share(&h.row(trim, arc))),
        }))
    }
}
