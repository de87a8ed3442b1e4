//! One new run as rows of the two regressions: what `correct` and `review` take of it.

use super::situation::Situation;
use crate::calibration::heading::chord_without_right;
use crate::calibration::recoil::tells_travel;
use crate::geometry;
use crate::log;
use crate::log::group::rig_name;
use crate::log::run::{Kind, Run, Season, Status};
use crate::stats::mixed::Row;

/// One new run as rows of the two regressions with their responses.
#[derive(Debug, Clone)]
pub(super) struct Observation {
    /// Line in its log.
    pub line: usize,
    /// Whether it rolled back.
    pub rolled_back: bool,
    /// Lead it was made at; where none was written, that of the situation.
    pub lead_turns: Option<f64>,
    /// Row of travel and the arc rolled, m.
    pub travel: Option<(Row, f64)>,
    /// Row of heading and the heading excess, rad.
    pub heading: Option<(Row, f64)>,
    /// Build of the run.
    pub build: Option<usize>,
    /// Trim of the run.
    pub trim: Option<usize>,
}

impl Observation {
    /// Whether it rolled back at the lead in use or less, and counts where it came to rest.
    pub(super) fn rolled_back_at_rest(&self) -> bool {
        self.rolled_back && self.travel.is_some()
    }
}

/// Most lines that a sentence lists one by one.
const LISTED: usize = 6;

/// What to say of the runs of other rigs, in one sentence; `None` where there is none.
pub(super) fn others_left_out(situation: &Situation, season: &Season) -> Option<String> {
    let (mut names, mut lines): (Vec<String>, Vec<String>) = Default::default();
    let mut word = "line";
    for run in season.runs.iter().filter(|run| run.kind == Kind::Launch) {
        if let Some(name) = other_rig(situation, season, run) {
            if !names.contains(&name) {
                names.push(name);
            }
            lines.push(run.line.to_string());
            word = log::row_word(&season.files[run.file as usize]);
        }
    }
    let rows = match lines.as_slice() {
        [] => return None,
        [line] => format!("the run of {word} {line} is"),
        several if several.len() <= LISTED => {
            format!("the runs of {word}s {} are", several.join(", "))
        }
        many => format!("{} runs are", many.len()),
    };
    let own = match situation.rig.name.trim_end_matches('/') {
        "" => "the calibration's vehicle, which has no name",
        name => name,
    };
    Some(format!(
        "{rows} of {}, not of {own}, and left out",
        names.join(", ")
    ))
}

/// Reads a new run against what is known of the rig; `None`, with the reason in `warnings` where it needs one, for a run
/// that tells nothing: another rig's ([`others_left_out`] says so), a hand roll, touched, void, not measured. Labels left blank mean the chosen ones.
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
    if other_rig(situation, season, run).is_some() {
        return None;
    }
    let (build, trim) = build_and_trim(situation, season, run);
    let (rest, target) = (run.rest_m?, run.target_m?);
    let Some((arc, psi)) = arc_and_direction(situation, run, trim, (rest, target)) else {
        warnings.push(format!(
            "line {line}: no path of this vehicle ends where the run is written down to have stopped; left out"
        ));
        return None;
    };
    let lead_turns = run.lead_turns.or(situation.lead_turns);
    let mut observed = Observation {
        line: line as usize,
        rolled_back: run.status == Status::Recoil,
        lead_turns,
        travel: None,
        heading: None,
        build,
        trim,
    };
    if let Some(turns) = run.turns {
        match build {
            Some(build) if tells_travel(run, rig.travel.builds[build].lead_turns) => {
                observed.travel = Some((rig.travel.row(build, turns, lead_turns), arc));
            }
            Some(_) => {}
            None => warnings.push(format!(
                "line {line}: the calibration knows no build \"{}\", so how far this run went counts for nothing here",
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
                "line {line}: the calibration knows no trim \"{}\", so where this run headed counts for nothing here",
                season.trims[run.trim as usize]
            )),
            (_, None) => {}
        }
    }
    (observed.travel.is_some() || observed.heading.is_some()).then_some(observed)
}

/// Build and trim of a run, as indices into those of the rig; `None` for one that the calibration does not know.
fn build_and_trim(
    situation: &Situation,
    season: &Season,
    run: &Run,
) -> (Option<usize>, Option<usize>) {
    let rig = situation.rig;
    let build = match season.builds[run.build as usize].as_str() {
        "" => Some(situation.build),
        label => rig.travel.builds.iter().position(|b| b.label == label),
    };
    let trim = match (season.trims[run.trim as usize].as_str(), &rig.heading) {
        ("", _) => situation.trim,
        (label, Some(h)) => h.trims.iter().position(|t| t.label == label),
        (_, None) => None,
    };
    (build, trim)
}

/// `VEHICLE/WHEELS` of a run that names others than the situation's, or the one of the two that it names.
fn other_rig(situation: &Situation, season: &Season, run: &Run) -> Option<String> {
    let rig = situation.rig;
    let (vehicle, wheels) = (
        &season.vehicles[run.vehicle as usize],
        &season.wheels[run.wheels as usize],
    );
    let differs = |label: &str, own: &str| !label.is_empty() && label != own;
    let other = differs(vehicle, &rig.vehicle) || differs(wheels, &rig.wheels);
    other.then(|| match (vehicle.as_str(), wheels.as_str()) {
        ("", name) | (name, "") => name.to_string(),
        _ => rig_name(vehicle, wheels),
    })
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
