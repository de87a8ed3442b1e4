//! From results to the plain structs that figures take, for one rig.

use super::figures::{bias, drift, floor, left_out, parts, recoil, rest, sessions, travel, wrong};
use super::svg::Figure;
use super::words;
use crate::calibration::heading::obstacle_at;
use crate::calibration::{Calibration, Drift, LeftOutRun, Story, StoryRun};
use crate::decide::parts::Parts;
use crate::decide::predict::Prediction;
use crate::decide::{RigSettings, Setting, curves};
use crate::error::Error;
use crate::geometry;
use crate::setup::Measure;

/// Which question a figure answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FigureQuestion {
    /// Where runs come to rest about the target.
    Rest,
    /// The floor from above.
    Floor,
    /// What the miss is made of.
    Parts,
    /// Leave-one-session-out cross-validation: each session predicted from the others.
    LeftOut,
    /// Travel against turns.
    Travel,
    /// Lateral bias against distance.
    Bias,
    /// Sessions in order.
    Sessions,
    /// Recoil and roll-on against lead.
    Recoil,
    /// Drift chart.
    Drift,
    /// How many runs went wrong.
    Wrong,
}

/// A figure with its question and its name.
pub struct Drawn {
    /// The question it answers.
    pub question: FigureQuestion,
    /// File name without its end.
    pub name: String,
    /// The figure.
    pub figure: Figure,
}

/// Number of points along a drawn path.
const PATH_POINTS: usize = 40;
/// Predicted rest points shown for each target.
const REST_POINTS: usize = 100;

/// Every figure that a rig's log can make.
///
/// # Errors
/// [`Error::Internal`] when one would hold a number that is not finite.
pub fn all(
    calibration: &Calibration,
    rig: &RigSettings,
    prefix: &str,
) -> Result<Vec<Drawn>, Error> {
    let known = rig.situation.rig;
    let level = words::level(calibration.level.probability());
    let mut drawn = Vec::new();
    let mut add = |question, name: &str, draw: &dyn Fn(&str) -> Result<Figure, Error>| {
        let name = format!("{prefix}{name}");
        draw(&name).map(|figure| {
            drawn.push(Drawn {
                question,
                name,
                figure,
            })
        })
    };
    let view = rest_view(rig, level.clone());
    add(FigureQuestion::Rest, "rest", &|n| rest::draw(n, &view))?;
    let view = floor_view(rig);
    add(FigureQuestion::Floor, "floor", &|n| floor::draw(n, &view))?;
    let view = parts_view(rig);
    add(FigureQuestion::Parts, "parts", &|n| parts::draw(n, &view))?;
    if known.left_out.runs > 0 {
        let view = left_out_view(rig, level.clone());
        add(FigureQuestion::LeftOut, "left-out", &|n| {
            left_out::draw(n, &view)
        })?;
    }
    let Some(story) = &known.story else {
        return Ok(drawn);
    };
    let view = travel_view(calibration, rig, story, level.clone());
    add(FigureQuestion::Travel, "travel", &|n| {
        travel::draw(n, &view)
    })?;
    if let Some(view) = bias_view(calibration, rig, story, level) {
        add(FigureQuestion::Bias, "bias", &|n| bias::draw(n, &view))?;
    }
    let view = sessions_view(rig, story);
    add(FigureQuestion::Sessions, "sessions", &|n| {
        sessions::draw(n, &view)
    })?;
    if let Some(view) = recoil_view(rig, story) {
        add(FigureQuestion::Recoil, "recoil", &|n| {
            recoil::draw(n, &view)
        })?;
    }
    if let Some(chart) = &story.drift {
        let view = drift_view(chart);
        add(FigureQuestion::Drift, "drift", &|n| drift::draw(n, &view))?;
    }
    let view = wrong_view(rig);
    add(FigureQuestion::Wrong, "wrong", &|n| wrong::draw(n, &view))?;
    Ok(drawn)
}

fn rest_view(rig: &RigSettings, level: String) -> rest::RestView {
    let of_target = |(setting, prediction): &(Setting, Prediction)| rest::RestTarget {
        target_m: setting.target_m,
        rest_m: prediction
            .rest_points()
            .take(REST_POINTS)
            .map(|(x, y)| (x - setting.target_m, y))
            .collect(),
        within_m: setting.miss_m.map(|m| m.high),
    };
    let situation = &rig.situation;
    rest::RestView {
        targets: rig.three.iter().map(of_target).collect(),
        level,
        along_only: situation.setup.score.measure == Measure::Line
            || situation.rig.heading.is_none(),
    }
}

fn floor_view(rig: &RigSettings) -> floor::FloorView {
    let of_target = |(setting, prediction): &(Setting, Prediction)| floor::FloorTarget {
        target_m: setting.target_m,
        aim_right_m: setting.aim_right_m,
        path_m: prediction.median_path(PATH_POINTS),
        rest_m: prediction.rest_points().take(REST_POINTS).collect(),
    };
    let setup = rig.situation.setup;
    let obstacle = setup.obstacle.as_ref();
    let mut obstacles_m: Vec<(f64, f64)> = rig
        .three
        .iter()
        .filter_map(|(s, _)| obstacle.map(|o| (obstacle_at(o, s.target_m), o.right_m)))
        .collect();
    obstacles_m.dedup();
    floor::FloorView {
        targets: rig.three.iter().map(of_target).collect(),
        obstacles_m,
        obstacle_radius_m: obstacle.map_or(0.0, |o| o.diameter_m / 2.0),
        lane_half_width_m: setup.lane.as_ref().map(|l| l.half_width_m),
        vehicle_width_m: setup.vehicle.width_m,
    }
}

fn parts_view(rig: &RigSettings) -> parts::PartsView {
    let (along, across) = &rig.parts;
    let part = |what: &str, size_m: fn(&Parts) -> f64| parts::Part {
        what: what.to_string(),
        along_m: size_m(along),
        across_m: across.as_ref().map(size_m),
    };
    parts::PartsView {
        target_m: rig.three[rig.middle].0.target_m,
        rows: vec![
            part("from one run to the next", |p| p.run_to_run_m),
            part("from one day to the next", |p| p.between_sessions_m),
            part("what the log leaves open", |p| p.calibration_m),
            part("steps of dial and aim mark", |p| p.step_m),
        ],
    }
}

fn left_out_view(rig: &RigSettings, level: String) -> left_out::LeftOutView {
    let known = &rig.situation.rig.left_out;
    let of_run = |r: &LeftOutRun| left_out::LeftOutPoint {
        session: r.session as usize,
        error_m: f64::from(r.error_m),
        low_m: f64::from(r.low_m),
        high_m: f64::from(r.high_m),
    };
    left_out::LeftOutView {
        runs: known.predictions.iter().map(of_run).collect(),
        level,
        inside: known.inside,
    }
}

/// The range of what was run with a margin of 4 % on both sides.
fn span((from, to): (f64, f64)) -> (f64, f64) {
    let margin = 0.04 * (to - from).max(1e-3);
    (from - margin, to + margin)
}

fn travel_view(
    calibration: &Calibration,
    rig: &RigSettings,
    story: &Story,
    level: String,
) -> travel::TravelView {
    let situation = &rig.situation;
    let known = situation.known_travel();
    let of_run = |r: &StoryRun| travel::TravelRun {
        turns: r.turns,
        arc_m: r.arc_m,
        beyond_m: r.arc_m - r.arc_fitted_m,
        build: r.build,
        set_aside: r.set_aside,
    };
    let runs = story.runs.iter().filter(|r| r.in_travel || r.set_aside);
    let line = curves::travel(situation, span(known.turns_range), calibration.level);
    travel::TravelView {
        runs: runs.map(of_run).collect(),
        builds: known
            .builds
            .iter()
            .map(|b| words::label(&b.label))
            .collect(),
        line: line
            .into_iter()
            .map(|p| travel::LinePoint {
                turns: p.x,
                arc_m: p.y,
                line_m: (p.line.0 - p.y, p.line.1 - p.y),
                run_m: (p.run.0 - p.y, p.run.1 - p.y),
            })
            .collect(),
        level,
        distance_per_turn_m: known.distance_per_turn_m.estimate,
    }
}

fn bias_view(
    calibration: &Calibration,
    rig: &RigSettings,
    story: &Story,
    level: String,
) -> Option<bias::BiasView> {
    let situation = &rig.situation;
    let trims = &situation.rig.heading.as_ref()?.trims;
    let trim = situation.trim?;
    let arcs_m = span(situation.known_travel().arc_range_m);
    let line = curves::bias(situation, arcs_m, calibration.level)?;
    let of_run = |r: &StoryRun| {
        let trim = r.trim?;
        let chord = geometry::chord_of_arc(r.arc_m, trims[trim].curvature_point_per_m);
        Some(bias::BiasRun {
            distance_m: chord,
            right_m: chord * r.heading_rad?.sin(),
            trim,
            set_aside: r.set_aside,
        })
    };
    let runs = story.runs.iter().filter(|r| r.in_heading || r.set_aside);
    Some(bias::BiasView {
        runs: runs.filter_map(of_run).collect(),
        trims: trims.iter().map(|t| words::label(&t.label)).collect(),
        trim,
        line: line
            .into_iter()
            .map(|p| bias::BiasPoint {
                distance_m: p.x,
                right_m: p.y,
                line_m: p.line,
                run_m: p.run,
            })
            .collect(),
        level,
    })
}

fn sessions_view(rig: &RigSettings, story: &Story) -> sessions::SessionsView {
    let known = rig.situation.rig;
    let mut floors: Vec<String> = Vec::new();
    let mut place_of = |floor: String| {
        floors.iter().position(|f| *f == floor).unwrap_or_else(|| {
            floors.push(floor);
            floors.len() - 1
        })
    };
    let differing = story
        .sessions
        .iter()
        .filter(|s| s.shift_m.is_some() || s.shift_rad.is_some());
    let sessions = differing
        .map(|s| sessions::Session {
            label: words::label(&s.label),
            floor: place_of(words::label(&s.floor)),
            shift_m: s.shift_m,
            shift_across: s.shift_rad,
        })
        .collect();
    sessions::SessionsView {
        sessions,
        floors,
        typical_m: known.travel.between_sessions_m.estimate,
        typical_across: known
            .heading
            .as_ref()
            .map(|h| h.between_sessions_rad.estimate),
    }
}

fn drift_view(chart: &Drift) -> drift::DriftView {
    drift::DriftView {
        each: "session".to_string(),
        values_m: chart.values_m.clone(),
        averages_m: chart.averages_m.clone(),
        limits_m: chart.limits_m.clone(),
    }
}

fn wrong_view(rig: &RigSettings) -> wrong::WrongView {
    let counts = rig.situation.rig.counts;
    wrong::WrongView {
        launches: counts.launches,
        kinds: vec![
            ("void".to_string(), counts.void),
            ("touched the obstacle".to_string(), counts.touched),
            ("rolled back".to_string(), counts.recoiled),
        ],
    }
}

/// Number of points of the recoil curve.
const CURVE_POINTS: usize = 40;

fn recoil_view(rig: &RigSettings, story: &Story) -> Option<recoil::RecoilView> {
    let situation = &rig.situation;
    let known = &situation.build().recoil;
    let (first, last) = (
        known.by_lead.first()?.lead_turns,
        known.by_lead.last()?.lead_turns,
    );
    let term = situation.known_travel().lead_term;
    let at = |i: usize| first + (last - first) * i as f64 / (CURVE_POINTS - 1) as f64;
    let travel = situation.known_travel();
    // Overshoot is linear in the lead, so the runs of an archive need no row of the design each.
    let at_mean_lead = travel.posterior.coefficient(situation.build);
    let roll_on_at = |lead: f64| {
        term.map_or(at_mean_lead, |t| {
            at_mean_lead + travel.posterior.coefficient(t.column) * (lead - t.mean_turns)
        })
    };
    let roll_on = if term.is_some() {
        story
            .runs
            .iter()
            .filter(|r| r.in_travel && r.build == situation.build)
            .filter_map(|r| {
                let lead = r.lead_turns?;
                Some((lead, roll_on_at(lead) + r.arc_m - r.arc_fitted_m))
            })
            .collect()
    } else {
        Vec::new()
    };
    Some(recoil::RecoilView {
        leads: known
            .by_lead
            .iter()
            .filter(|l| l.watched > 0)
            .map(|l| recoil::Lead {
                lead_turns: l.lead_turns,
                watched: l.watched,
                seen: l.seen,
                chance: l.chance,
            })
            .collect(),
        curve: if known.curve.is_some() && last > first {
            (0..CURVE_POINTS)
                .filter_map(|i| Some((at(i), known.chance(at(i))?)))
                .collect()
        } else {
            Vec::new()
        },
        accept: situation.setup.brake.recoil_accept,
        in_use_turns: situation.lead_turns,
        roll_on_line: if roll_on.is_empty() {
            Vec::new()
        } else {
            [first, last].iter().map(|&l| (l, roll_on_at(l))).collect()
        },
        roll_on,
    })
}
