//! What the card's script knows of a calibration: everything a setting is computed from, as JSON.

use crate::calibration::recoil::beyond_rolling_back_m;
use crate::calibration::{self, Calibration, Heading};
use crate::decide::clearance::accepted_chance;
use crate::decide::dial::Warning;
use crate::decide::on_purpose;
use crate::decide::score::time_line;
use crate::error::Error;
use crate::report::{whose, words};
use crate::setup::{Measure, ObstacleAt, PassSide, Setup};
use crate::stats::mixed::Posterior;
use serde::Serialize;

/// The picture of the aim mark reaches out at least this far.
const AIM_REACH_LEAST_M: f64 = 0.1;

#[derive(Serialize)]
struct Known {
    check: String,
    level: f64,
    ticks_per_turn: u32,
    /// Whether settings are whole turns and ticks; else decimal turns in steps of one part in `ticks_per_turn`.
    has_ticks: bool,
    aim_step_m: f64,
    /// Half the width of the picture of the aim mark.
    aim_reach_cm: f64,
    longest_m: f64,
    /// The nearest and the farthest target that can be asked for.
    told_m: (f64, f64),
    width_m: Option<f64>,
    obstacle: Option<Obstacle>,
    lane_half_width_m: Option<f64>,
    touch_accept: f64,
    score: Score,
    words: Words,
    /// The rig that the card opens on.
    newest_rig: usize,
    /// Empty, and last: the JSON of the rigs is inserted into its brackets.
    rigs: [(); 0],
}

#[derive(Serialize)]
struct Obstacle {
    at_m: Option<f64>,
    at_fraction: Option<f64>,
    right_m: f64,
    diameter_m: f64,
    /// Side on which to pass: +1 left of it, −1 right of it.
    side: f64,
}

#[derive(Serialize)]
struct Score {
    measure: &'static str,
    per_cm: f64,
    per_s: f64,
    long_limit_m: f64,
    long_penalty: f64,
    touch_penalty: f64,
}

/// Warnings that depend on the target, as [`Warning::kind`] words them.
#[derive(Serialize)]
struct Words {
    extrapolated: String,
    too_near: String,
    flat: String,
    touch: String,
    leaves_lane: String,
    /// How many runs pass the obstacle by more than the low end of the gap.
    over_gap: String,
    /// With a hole for how far and to which side.
    on_purpose: Option<String>,
    /// The same where it aims aside alone.
    on_purpose_aside: Option<String>,
}

#[derive(Serialize)]
struct Rig<'a> {
    /// The rig's name as pages show it.
    name: &'a str,
    /// Runs behind the numbers and the day of the last, in words.
    made_of: String,
    vehicle: &'a str,
    wheels: &'a str,
    builds: Vec<Build<'a>>,
    newest_build: usize,
    turns_column: usize,
    /// How far off a run that rolled back may be a slip all the same.
    beyond_rolling_back_m: f64,
    mean_turns: f64,
    lead_mean_turns: Option<f64>,
    arc_range_m: (f64, f64),
    arc_room_m: f64,
    time: Option<(f64, f64)>,
    /// Launches fitted for travel, and how many of them rolled back.
    fitted: usize,
    rolled_back: usize,
    warnings: Vec<String>,
    travel: &'a Posterior,
    heading: Option<HeadingKnown<'a>>,
}

#[derive(Serialize)]
struct Build<'a> {
    label: &'a str,
    /// At the lead in use.
    #[serde(flatten)]
    in_use: AtLead,
    /// At each lead that was tried, rising.
    tried: Vec<AtLead>,
}

/// What a lead does.
#[derive(Serialize)]
struct AtLead {
    lead_turns: Option<f64>,
    recoil_chance: Option<f64>,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct HeadingKnown<'a> {
    trims: Vec<Trim<'a>>,
    newest_trim: usize,
    #[serde(flatten)]
    posterior: &'a Posterior,
}

#[derive(Serialize)]
struct Trim<'a> {
    label: &'a str,
    curvature_per_m: f64,
    warnings: Vec<String>,
}

/// What the script knows of a rig, as JSON.
pub fn rig(calibration: &Calibration, known: &calibration::Rig) -> String {
    text(&rig_known(calibration, known))
}

/// All that the card knows, as JSON that is safe inside a page.
///
/// * `check` — the sum that the calibration's file carries
/// * `rigs` — JSON of each, see [`rig`]
/// * `newest_rig` — the one of them that the card opens on
/// * `aim_reach_m` — the farthest aim mark of all settings
///
/// # Errors
/// [`Error::CannotAnswer`] where no range of targets is known.
pub fn json(
    calibration: &Calibration,
    check: &str,
    rigs: &[String],
    newest_rig: usize,
    aim_reach_m: f64,
) -> Result<String, Error> {
    let mut known = text(&head(calibration, check, newest_rig, aim_reach_m)?);
    // The rigs come last, and are JSON already.
    known.truncate(known.len() - "]}".len());
    known.push_str(&rigs.join(","));
    known.push_str("]}");
    // Nothing in a label may end the block or begin markup.
    Ok(harmless(&known))
}

/// JSON without a letter that could begin or end markup: such letters stand in its texts only.
fn harmless(json: &str) -> String {
    let mut out = String::with_capacity(json.len() + 64);
    let mut rest = json;
    while let Some(at) = rest.find(['<', '>', '&']) {
        out.push_str(&rest[..at]);
        out.push_str(match rest.as_bytes()[at] {
            b'<' => "\\u003c",
            b'>' => "\\u003e",
            _ => "\\u0026",
        });
        rest = &rest[at + 1..];
    }
    out.push_str(rest);
    out
}

fn text(value: &impl Serialize) -> String {
    serde_json::to_string(value).expect("plain structs with text keys always serialise")
}

/// Everything the card knows but the rigs.
fn head(
    calibration: &Calibration,
    check: &str,
    newest_rig: usize,
    aim_reach_m: f64,
) -> Result<Known, Error> {
    let setup = &calibration.setup;
    let score = &setup.score;
    let of_any = || (0.0, 0.0);
    let longest_run_m = calibration
        .rigs
        .iter()
        .map(|r| r.travel.arc_range_m.1)
        .fold(0.0, f64::max);
    let (run_m, chance) = (of_any(), 0.0);
    Ok(Known {
        check: check.to_string(),
        level: calibration.level.probability(),
        ticks_per_turn: setup.dial.ticks_per_turn,
        has_ticks: setup.dial.ticks().is_some(),
        aim_step_m: setup.aim.step_m,
        aim_reach_cm: 100.0 * aim_reach_m.max(AIM_REACH_LEAST_M),
        longest_m: (100.0 * calibration.range()?.longest_m.max(longest_run_m)).ceil() / 100.0,
        told_m: calibration.told_targets_m(),
        width_m: setup.vehicle.width_m,
        obstacle: setup.obstacle.as_ref().map(|o| Obstacle {
            at_m: match o.at {
                ObstacleAt::Distance(m) => Some(m),
                ObstacleAt::Fraction(_) => None,
            },
            at_fraction: match o.at {
                ObstacleAt::Fraction(f) => Some(f),
                ObstacleAt::Distance(_) => None,
            },
            right_m: o.right_m,
            diameter_m: o.diameter_m,
            side: match o.pass {
                PassSide::Left => 1.0,
                PassSide::Right => -1.0,
            },
        }),
        lane_half_width_m: setup.lane.as_ref().map(|l| l.half_width_m),
        touch_accept: accepted_chance(setup),
        score: Score {
            measure: match score.measure {
                Measure::Point => "point",
                Measure::Line => "line",
            },
            per_cm: score.per_cm,
            per_s: score.per_s,
            long_limit_m: score.long_limit_m,
            long_penalty: score.long_penalty,
            touch_penalty: score.touch_penalty,
        },
        words: Words {
            extrapolated: Warning::Extrapolated { run_m }.kind().to_string(),
            too_near: Warning::TooNear.kind().to_string(),
            flat: Warning::FlatCalibration.kind().to_string(),
            touch: Warning::Touch { chance }.kind().to_string(),
            leaves_lane: Warning::LeavesLane { chance }.kind().to_string(),
            over_gap: words::level(1.0 - calibration.level.lower_tail()),
            on_purpose: on_purpose::template(setup, true),
            on_purpose_aside: on_purpose::template(setup, false),
        },
        newest_rig,
        rigs: [],
    })
}

fn rig_known<'a>(calibration: &Calibration, known: &'a calibration::Rig) -> Rig<'a> {
    let setup = &calibration.setup;
    let travel = &known.travel;
    // What looks wrong in the log comes first: a setting made from it may be wrong.
    let of_rows = known.warnings.iter().take(known.slips);
    let mut warnings: Vec<String> = of_rows.map(|slip| words::sentence(slip)).collect();
    if known.counts.sessions == 1 {
        warnings.push(Warning::OneSession.to_string());
    }
    if known.heading.is_none() {
        warnings.push(Warning::NothingAcross.to_string());
    }
    if setup.obstacle.is_some() && setup.vehicle.width_m.is_none() {
        warnings.push(Warning::WidthUnknown.to_string());
    }
    Rig {
        name: whose::labelled(&known.name),
        made_of: words::made_of(known),
        vehicle: &known.vehicle,
        wheels: &known.wheels,
        builds: travel
            .builds
            .iter()
            .map(|b| {
                let tried = b.recoil.by_lead.iter().map(|l| Some(l.lead_turns));
                Build {
                    label: &b.label,
                    in_use: at_lead(setup, b, b.lead_turns),
                    tried: tried.map(|lead| at_lead(setup, b, lead)).collect(),
                }
            })
            .collect(),
        newest_build: travel.newest_build,
        turns_column: travel.turns_column,
        beyond_rolling_back_m: beyond_rolling_back_m(
            travel.posterior.coefficient(travel.turns_column),
        ),
        mean_turns: travel.mean_turns,
        lead_mean_turns: travel.lead_term.map(|t| t.mean_turns),
        arc_range_m: travel.arc_range_m,
        arc_room_m: 2.0 * travel.run_to_run_m.estimate,
        time: time_line(known),
        fitted: known.counts.fitted,
        rolled_back: known.counts.rolled_back,
        warnings,
        travel: &travel.posterior,
        heading: known.heading.as_ref().map(heading_known),
    }
}

fn at_lead(setup: &Setup, build: &calibration::Build, lead_turns: Option<f64>) -> AtLead {
    let recoil_chance = lead_turns.and_then(|lead| build.recoil.chance(lead));
    let too_often = recoil_chance.filter(|c| *c > setup.brake.recoil_accept);
    let warnings = too_often.map(|chance| Warning::Recoil { chance }.to_string());
    AtLead {
        lead_turns,
        recoil_chance,
        warnings: warnings.into_iter().collect(),
    }
}

fn heading_known(heading: &Heading) -> HeadingKnown<'_> {
    HeadingKnown {
        trims: heading
            .trims
            .iter()
            .map(|t| Trim {
                label: &t.label,
                curvature_per_m: t.curvature_point_per_m,
                warnings: (t.runs < 2)
                    .then(|| {
                        let trim = words::label(&t.label);
                        Warning::TrimBarelyRun { trim }.to_string()
                    })
                    .into_iter()
                    .collect(),
            })
            .collect(),
        newest_trim: heading.newest_trim,
        posterior: &heading.posterior,
    }
}
