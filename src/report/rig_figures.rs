//! From results to the plain structs that figures take, for one rig.

use super::RigSettings;
use super::figures::{bias, drift, floor, left_out, parts, recoil, rest, sessions, travel, wrong};
use super::svg::Figure;
use super::words;
use crate::calibration::Calibration;
use crate::calibration::heading::obstacle_at;
use crate::decide::{curves, parts as miss_parts};
use crate::error::Error;
use crate::geometry;
use crate::setup::Measure;

/// Which question a figure answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// Where runs come to rest about the target.
    Rest,
    /// The floor from above.
    Floor,
    /// What the miss is made of.
    Parts,
    /// Each session predicted from the others.
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
    /// Question.
    pub question: Question,
    /// File name without its end.
    pub name: String,
    /// The figure.
    pub figure: Figure,
}

/// Points along a path.
const PATH_POINTS: usize = 40;
/// Predicted rest points shown for each target.
const REST_POINTS: usize = 100;

/// Every figure that a rig's log can make.
///
/// # Errors
/// As [`super::files`].
pub fn all(
    calibration: &Calibration,
    rig: &RigSettings,
    prefix: &str,
) -> Result<Vec<Drawn>, Error> {
    let situation = &rig.situation;
    let known = situation.rig;
    let setup = situation.setup;
    let level = calibration.level;
    let level_words = words::level(level.probability());
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
    let mut floor_targets = Vec::new();
    let mut rest_targets = Vec::new();
    for (setting, prediction) in &rig.three {
        let target_m = setting.target_m;
        let points: Vec<(f64, f64)> = prediction.rest_points().take(REST_POINTS).collect();
        rest_targets.push(rest::RestTarget {
            target_m,
            rest_m: points.iter().map(|&(x, y)| (x - target_m, y)).collect(),
            within_m: setting.miss_m.map(|m| m.high),
        });
        floor_targets.push(floor::FloorTarget {
            target_m,
            aim_right_m: setting.aim_right_m,
            path_m: prediction.median_path(PATH_POINTS),
            rest_m: points,
        });
    }
    let obstacles_m = setup.obstacle.as_ref().map_or_else(Vec::new, |o| {
        let mut at: Vec<(f64, f64)> = rig
            .three
            .iter()
            .map(|(s, _)| (obstacle_at(o, s.target_m), o.right_m))
            .collect();
        at.dedup();
        at
    });
    let rest = rest::Rest {
        targets: rest_targets,
        level: level_words.clone(),
        along_only: setup.score.measure == Measure::Line || known.heading.is_none(),
    };
    add(Question::Rest, "rest", &|n| rest::draw(n, &rest))?;
    let floor = floor::Floor {
        targets: floor_targets,
        obstacles_m,
        obstacle_radius_m: setup.obstacle.as_ref().map_or(0.0, |o| o.diameter_m / 2.0),
        lane_half_width_m: setup.lane.as_ref().map(|l| l.half_width_m),
        vehicle_width_m: setup.vehicle.width_m,
    };
    add(Question::Floor, "floor", &|n| floor::draw(n, &floor))?;

    // The middle one of three, the longer of two, the only one.
    let (middle, _) = &rig.three[rig.three.len() / 2];
    let along = miss_parts::along(situation, middle.dial.turns());
    let across = miss_parts::across(situation, middle.target_m);
    let part = |what: &str, f: &dyn Fn(&miss_parts::Parts) -> f64| parts::Part {
        what: what.to_string(),
        along_m: f(&along),
        across_m: across.as_ref().map(f),
    };
    let made_of = parts::Parts {
        target_m: middle.target_m,
        rows: vec![
            part("from one run to the next", &|p| p.run_to_run_m),
            part("from one day to the next", &|p| p.between_sessions_m),
            part("what the log leaves open", &|p| p.calibration_m),
            part("steps of dial and aim mark", &|p| p.step_m),
        ],
    };
    add(Question::Parts, "parts", &|n| parts::draw(n, &made_of))?;
    if known.left_out.runs > 0 {
        let view = left_out::LeftOut {
            runs: known
                .left_out
                .predictions
                .iter()
                .map(|r| left_out::LeftOutRun {
                    session: r.session as usize,
                    error_m: f64::from(r.error_m),
                    low_m: f64::from(r.low_m),
                    high_m: f64::from(r.high_m),
                })
                .collect(),
            level: level_words.clone(),
            inside: known.left_out.inside,
        };
        add(Question::LeftOut, "left-out", &|n| left_out::draw(n, &view))?;
    }

    let Some(story) = &known.story else {
        return Ok(drawn);
    };
    let span = |from: (f64, f64)| {
        let margin = 0.04 * (from.1 - from.0).max(1e-3);
        (from.0 - margin, from.1 + margin)
    };
    let view = travel::Travel {
        runs: story
            .runs
            .iter()
            .filter(|r| r.in_travel || r.set_aside)
            .map(|r| travel::TravelRun {
                turns: r.turns,
                arc_m: r.arc_m,
                beyond_m: r.arc_m - r.arc_fitted_m,
                build: r.build,
                set_aside: r.set_aside,
            })
            .collect(),
        builds: known
            .travel
            .builds
            .iter()
            .map(|b| words::label(&b.label))
            .collect(),
        build: situation.build,
        line: curves::travel(situation, span(known.travel.turns_range), level)
            .into_iter()
            .map(|p| travel::LinePoint {
                turns: p.x,
                arc_m: p.y,
                line_m: (p.line.0 - p.y, p.line.1 - p.y),
                run_m: (p.run.0 - p.y, p.run.1 - p.y),
            })
            .collect(),
        level: level_words.clone(),
        distance_per_turn_m: known.travel.distance_per_turn_m.estimate,
    };
    add(Question::Travel, "travel", &|n| travel::draw(n, &view))?;
    if let (Some(heading), Some(trim)) = (&known.heading, situation.trim)
        && let Some(line) = curves::bias(situation, span(known.travel.arc_range_m), level)
    {
        let view = bias::Bias {
            runs: story
                .runs
                .iter()
                .filter(|r| r.in_heading || r.set_aside)
                .filter_map(|r| {
                    let k = heading.trims[r.trim?].curvature_point_per_m;
                    let chord = geometry::chord_of_arc(r.arc_m, k);
                    Some(bias::BiasRun {
                        distance_m: chord,
                        right_m: chord * r.heading_rad?.sin(),
                        trim: r.trim?,
                        set_aside: r.set_aside,
                    })
                })
                .collect(),
            trims: heading
                .trims
                .iter()
                .map(|t| words::label(&t.label))
                .collect(),
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
            level: level_words,
        };
        add(Question::Bias, "bias", &|n| bias::draw(n, &view))?;
    }
    let mut floors: Vec<String> = Vec::new();
    let listed = story
        .sessions
        .iter()
        .filter(|s| s.shift_m.is_some() || s.shift_rad.is_some())
        .map(|s| {
            let floor = words::label(&s.floor);
            let at = floors.iter().position(|f| *f == floor).unwrap_or_else(|| {
                floors.push(floor);
                floors.len() - 1
            });
            sessions::Session {
                label: words::label(&s.label),
                floor: at,
                shift_m: s.shift_m,
                shift_across: s.shift_rad,
            }
        })
        .collect();
    let view = sessions::Sessions {
        sessions: listed,
        floors,
        typical_m: known.travel.between_sessions_m.estimate,
        typical_across: known
            .heading
            .as_ref()
            .map(|h| h.between_sessions_rad.estimate),
    };
    add(Question::Sessions, "sessions", &|n| {
        sessions::draw(n, &view)
    })?;
    if let Some(view) = recoil_view(rig) {
        add(Question::Recoil, "recoil", &|n| recoil::draw(n, &view))?;
    }
    if let Some(d) = &story.drift {
        let view = drift::Drift {
            each: "session".to_string(),
            values_m: d.values_m.clone(),
            averages_m: d.averages_m.clone(),
            limits_m: d.limits_m.clone(),
        };
        add(Question::Drift, "drift", &|n| drift::draw(n, &view))?;
    }
    let counts = known.counts;
    let view = wrong::Wrong {
        launches: counts.launches,
        kinds: vec![
            ("void".to_string(), counts.void),
            ("touched the obstacle".to_string(), counts.touched),
            ("rolled back".to_string(), counts.recoiled),
        ],
    };
    add(Question::Wrong, "wrong", &|n| wrong::draw(n, &view))?;
    Ok(drawn)
}

/// Points of the recoil curve.
const CURVE_POINTS: usize = 40;

fn recoil_view(rig: &RigSettings) -> Option<recoil::Recoil> {
    let situation = &rig.situation;
    let known = &situation.build().recoil;
    let (first, last) = (
        known.by_lead.first()?.lead_turns,
        known.by_lead.last()?.lead_turns,
    );
    let story = situation.rig.story.as_ref()?;
    let term = situation.known_travel().lead_term;
    let at = |i: usize| first + (last - first) * i as f64 / (CURVE_POINTS - 1) as f64;
    let travel = situation.known_travel();
    // Straight in the lead, so that an archive's runs need no row of the design each.
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
    Some(recoil::Recoil {
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
