//! After today's runs: the same decisions with today's session taken into account.

use super::situation::{Choice, Situation};
use crate::calibration::Calibration;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::geometry;
use crate::log::run::{Kind, Run, Season, Status};

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
    travel: Vec<(Vec<f64>, f64)>,
    heading: Vec<(Vec<f64>, f64)>,
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
        let tells = run.kind == Kind::Launch && matches!(run.status, Status::Ok | Status::Recoil);
        if !tells {
            continue;
        }
        let line = run.line;
        let (vehicle, wheels) = (
            &today.vehicles[run.vehicle as usize],
            &today.wheels[run.wheels as usize],
        );
        if (!vehicle.is_empty() && *vehicle != rig.vehicle)
            || (!wheels.is_empty() && *wheels != rig.wheels)
        {
            warnings.push(format!(
                "line {line}: a run of {vehicle}/{wheels}, not of {}; left out",
                rig.name
            ));
            continue;
        }
        let build = match today.builds[run.build as usize].as_str() {
            "" => Some(situation.build),
            label => rig.travel.builds.iter().position(|b| b.label == label),
        };
        let trim_label = today.trims[run.trim as usize].as_str();
        let trim = match (trim_label, &rig.heading) {
            ("", _) => situation.trim,
            (label, Some(h)) => h.trims.iter().position(|t| t.label == label),
            (_, None) => None,
        };
        let (Some(rest), Some(target)) = (run.rest_m, run.target_m) else {
            continue;
        };
        let curvature = trim
            .zip(rig.heading.as_ref())
            .map_or(0.0, |(k, h)| h.trims[k].curvature_point_per_m);
        let (chord, psi) = geometry::chord_and_heading(rest, run.right_m.unwrap_or(0.0));
        let arc = geometry::arc_of_chord(chord, curvature);
        if !arc.is_finite() || chord <= 0.0 {
            warnings.push(format!(
                "line {line}: this rest point cannot be reached; left out"
            ));
            continue;
        }
        let mut of_use = false;
        if run.status == Status::Ok
            && let Some(turns) = run.turns
        {
            match build {
                Some(build) => {
                    let lead = run.lead_turns.or(situation.lead_turns);
                    let row = rig.travel.row(build, turns, lead);
                    let known = rig.travel.posterior.new_group_distribution(&row);
                    if let Some(words) = impossible(known.cdf(arc), "long", "short") {
                        warnings.push(format!("line {line}: {words}"));
                    }
                    rows.travel.push((row, arc));
                    of_use = true;
                }
                None => warnings.push(format!(
                    "line {line}: the calibration has no build called {}; how far it went says nothing about this build",
                    today.builds[run.build as usize]
                )),
            }
        }
        if let (Some(_), Some(aim)) = (run.right_m, run.aim_right_m) {
            match (trim, &rig.heading) {
                (Some(trim), Some(h)) => {
                    let row = h.row(trim, arc);
                    let excess = psi - geometry::aim_heading(target, aim);
                    let known = h.posterior.new_group_distribution(&row);
                    if let Some(words) = impossible(known.cdf(excess), "to the right", "to the left") {
                        warnings.push(format!("line {line}: {words}"));
                    }
                    rows.heading.push((row, excess));
                    of_use = true;
                }
                (None, Some(_)) => warnings.push(format!(
                    "line {line}: the calibration has no trim called {trim_label}; no correction of the aim mark"
                )),
                (_, None) => {}
            }
        }
        rows.used += usize::from(of_use);
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
    /// As [`super::dial::plain_setting`].
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
