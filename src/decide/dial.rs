//! The settings for an announced target, and what to expect of a run made with them.

use super::clearance;
use super::on_purpose::OnPurpose;
use super::predict::{Hand, Prediction, next_run};
use super::rounding::{DialSetting, aim_m};
use super::score;
use super::situation::Situation;
use crate::calibration::EventRange;
use crate::error::Error;
use crate::geometry;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Where turns are looked for at first about a straight line's answer, and how near they are found.
const FIRST_STEP_TURNS: f64 = 0.1;
const TURNS_WITHIN: f64 = 1e-9;

/// Everything to set for one target, with what is expected of the run. Lengths m.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Announced target.
    pub target_m: f64,
    /// Turns and ticks.
    pub dial: DialSetting,
    /// Aim mark; `None` where the log does not tell.
    pub aim_right_m: Option<f64>,
    /// Brake lead; `None` where none was written down.
    pub lead_turns: Option<f64>,
    /// Chance of a recoil at it.
    pub recoil_chance: Option<f64>,
    /// Past the target, at exactly the rounded setting.
    pub long_m: Interval,
    /// Across.
    pub right_m: Option<Interval>,
    /// From 0 to what is not exceeded with the level's chance.
    pub miss_m: Option<Interval>,
    /// Expected run time, s.
    pub time_s: Option<f64>,
    /// Gap to the obstacle.
    pub gap_m: Option<Interval>,
    /// Chance of a touch.
    pub touch_chance: Option<f64>,
    /// Chance of leaving the lane.
    pub leave_chance: Option<f64>,
    /// What to know before using it.
    pub warnings: Vec<Warning>,
}

/// The unrounded setting, with what is not known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exact {
    /// Turns; an infinite end does not exist.
    pub turns: Interval,
    /// Aim mark, m.
    pub aim_right_m: Option<Interval>,
}

/// Something to know before using a setting. Worded here only.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// The target lies beyond the distances run.
    Extrapolated {
        /// Shortest and longest distance run, m.
        run_m: (f64, f64),
    },
    /// The vehicle would go past even with nothing wound on.
    TooNear,
    /// The lead in use rolls back too often.
    Recoil {
        /// Chance of it.
        chance: f64,
    },
    /// The lead asked for lies outside those tried.
    LeadNotTried {
        /// Least and most tried.
        tried: (f64, f64),
    },
    /// The turns needed are poorly estimated: an end of their interval does not exist.
    FlatCalibration,
    /// All runs are of one session.
    OneSession,
    /// The obstacle is too near.
    Touch {
        /// Chance of it.
        chance: f64,
    },
    /// Some part may leave the lane.
    LeavesLane {
        /// Chance of it.
        chance: f64,
    },
    /// Nothing is known across.
    NothingAcross,
    /// The trim rests on a single run.
    TrimBarelyRun {
        /// Label of the trim.
        trim: String,
    },
    /// An obstacle is set up but not the vehicle's width.
    WidthUnknown,
    /// It does not aim at the target itself.
    OnPurpose(OnPurpose),
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let percent = |p: f64| match p {
            p if p > 0.995 => "nearly all".to_string(),
            p => format!("about {:.0} in 100", (100.0 * p).max(1.0)),
        };
        match self {
            Warning::Extrapolated { run_m } => write!(
                f,
                "this target lies outside the distances run so far ({:.2} to {:.2} m): treat the setting as a guess and make a run near it first",
                run_m.0, run_m.1
            ),
            Warning::TooNear => write!(
                f,
                "the vehicle rolls past this target even with no turns wound on"
            ),
            Warning::Recoil { chance } => write!(
                f,
                "with this brake lead {} runs roll back: try less lead at the next practice",
                percent(*chance)
            ),
            Warning::LeadNotTried { tried } => write!(
                f,
                "this lead was never tried (only {} to {} turns were): what it does is a guess",
                tried.0, tried.1
            ),
            Warning::FlatCalibration => write!(
                f,
                "the log hardly tells how far a turn carries the vehicle: make runs at more different distances"
            ),
            Warning::OneSession => write!(
                f,
                "all runs were made in one session: how much another day or floor differs is a guess"
            ),
            Warning::Touch { chance } => write!(
                f,
                "{} runs would touch the obstacle: re-trim for more bend, or practise this distance",
                percent(*chance)
            ),
            Warning::LeavesLane { chance } => {
                write!(
                    f,
                    "{} runs would leave the lane: re-trim for less bend, or clear a wider lane",
                    percent(*chance)
                )
            }
            Warning::NothingAcross => write!(
                f,
                "the log does not tell left from right: write right_cm and aim_right_cm to get an aim mark"
            ),
            Warning::TrimBarelyRun { trim } => {
                write!(f, "trim {trim} has a single run: its aim mark is a guess")
            }
            Warning::WidthUnknown => write!(
                f,
                "the set-up does not say how wide the vehicle is: the gap is from its measuring point"
            ),
            Warning::OnPurpose(why) => write!(f, "{why}"),
        }
    }
}

impl Warning {
    /// What it warns of, without numbers that change from target to target: for one remark below a whole table.
    pub fn kind(&self) -> &str {
        match self {
            Warning::Extrapolated { .. } => {
                "outside the distances run so far: a guess until a run was made near it"
            }
            Warning::TooNear => "rolls past this target even with no turns wound on",
            Warning::Recoil { .. } => {
                "this brake lead rolls back more often than you accept: try less lead at the next practice"
            }
            Warning::LeadNotTried { .. } => "this brake lead was never tried",
            Warning::FlatCalibration => "the log hardly tells how far a turn carries the vehicle",
            Warning::OneSession => {
                "all runs were made in one session: how much another day differs is a guess"
            }
            Warning::Touch { .. } => {
                "touches the obstacle more often than you accept: re-trim for more bend, or practise it"
            }
            Warning::LeavesLane { .. } => "leaves the lane more often than you accept",
            Warning::NothingAcross => "no aim mark: the log does not tell left from right",
            Warning::TrimBarelyRun { .. } => "this trim has a single run: its aim mark is a guess",
            Warning::WidthUnknown => {
                "the set-up does not say how wide the vehicle is: the gap is from its measuring point"
            }
            Warning::OnPurpose(why) => why.reason(),
        }
    }
}

/// Turns and aim that put the mean of a run on the target, unrounded: (turns, aim m).
///
/// # Errors
/// [`Error::CannotAnswer`] when more turns would not carry the vehicle farther.
pub fn plain_setting(situation: &Situation, target_m: f64) -> Result<(f64, f64), Error> {
    let travel = &situation.travel;
    let m_per_turn = travel.coefficient(situation.known_travel().turns_column);
    if m_per_turn <= 0.0 {
        let name = match situation.rig.name.as_str() {
            "" => "the vehicle",
            name => name,
        };
        return Err(Error::cannot_answer(
            format!(
                "{name}: more turns do not carry the vehicle farther in this log, so no number of turns can be given"
            ),
            "make runs at clearly different numbers of turns, and look for mistyped rows",
        ));
    }
    let arc = situation.arc_to_m(target_m);
    if !arc.is_finite() {
        return Err(Error::cannot_answer(
            format!("the path bends so strongly that it cannot reach {target_m:.2} m"),
            "look for right and left swapped in the log",
        ));
    }
    let turns = turns_for(situation, arc, m_per_turn)?;
    let aim = geometry::aim_offset(target_m, -situation.heading_mean(arc));
    Ok((turns, aim))
}

/// The number of turns with which the mean arc is `arc_m`.
///
/// Without runs of today the mean is a straight line. A day's shift grows with the turns as the spreads do, and bends it: a
/// root from the straight line's answer on.
fn turns_for(situation: &Situation, arc_m: f64, m_per_turn: f64) -> Result<f64, Error> {
    let travel = &situation.travel;
    let mean = |turns: f64| travel.mean(&situation.travel_row(turns));
    let straight = (arc_m - mean(0.0)) / m_per_turn;
    if travel.rows() == 0 {
        return Ok(straight);
    }
    let excess = |turns: f64| mean(turns) - arc_m;
    let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
    let turns =
        optimise::root_outward(excess, straight, FIRST_STEP_TURNS, everywhere, TURNS_WITHIN)?;
    Ok(turns)
}

/// The setting for one target.
///
/// # Errors
/// Any error of [`plain_setting`], and when the score counts time that was not measured.
pub fn setting(situation: &Situation, target_m: f64, level: Level) -> Result<Setting, Error> {
    Ok(setting_and_prediction(situation, target_m, level)?.0)
}

/// The setting for one target with the prediction it rests on.
///
/// # Errors
/// Any error of [`setting`].
pub fn setting_and_prediction(
    situation: &Situation,
    target_m: f64,
    level: Level,
) -> Result<(Setting, Prediction), Error> {
    let setup = situation.setup;
    let (turns, aim) = plain_setting(situation, target_m)?;
    let mut dial = DialSetting::nearest(turns, setup.dial.ticks_per_turn);
    let mut aim_right_m = aim_m(aim, setup.aim.step_m);
    let predict = |dial: DialSetting, aim_right_m| {
        let turns = dial.turns();
        let hand = Hand {
            target_m,
            turns,
            aim_right_m,
        };
        next_run(situation, hand)
    };
    let mut prediction = predict(dial, aim_right_m);
    if !setup.score.is_plain() {
        let least = score::least(situation, &prediction, turns, aim)?;
        if (least.dial, least.aim_right_m) != (dial, aim_right_m) {
            (dial, aim_right_m) = (least.dial, least.aim_right_m);
            prediction = predict(dial, aim_right_m);
        }
    }
    let miss_m = prediction.miss_m(setup.score.measure, level);
    let clearance = clearance::of_next_run(situation, &prediction);
    let clearance = clearance.as_ref();
    let recoil_chance = situation
        .lead_turns
        .and_then(|lead| situation.build().recoil.chance(lead));
    let mut setting = Setting {
        target_m,
        dial,
        aim_right_m: situation.known_heading().map(|_| aim_right_m),
        lead_turns: situation.lead_turns,
        recoil_chance,
        long_m: prediction.long_m(level),
        right_m: prediction.right_m(level),
        miss_m,
        time_s: score::time_s(situation, prediction.arc_mean_m()),
        gap_m: clearance.and_then(|c| c.gap_m(level)),
        touch_chance: clearance.and_then(|c| c.touch_chance()),
        leave_chance: clearance.and_then(|c| c.leave_chance),
        warnings: Vec::new(),
    };
    setting.warnings = warnings(situation, &setting, turns);
    let beside = on_purpose(situation, &setting, (turns, aim));
    setting.warnings.extend(beside.map(Warning::OnPurpose));
    Ok((setting, prediction))
}

/// How far beside the target a setting aims because the score asks for it: nothing where it is the plain one, rounded.
///
/// * `plain` — turns and aim mark, m, that put the mean of a run on the target
fn on_purpose(
    situation: &Situation,
    setting: &Setting,
    (turns, aim): (f64, f64),
) -> Option<OnPurpose> {
    let setup = situation.setup;
    let arc_m = situation.arc_mean_m(setting.dial.turns());
    let chord_m = geometry::chord_of_arc(arc_m, situation.curvature_per_m());
    let aimed = setting.aim_right_m.unwrap_or(aim);
    let heading = geometry::aim_heading(setting.target_m, aimed) + situation.heading_mean(arc_m);
    let rounded = DialSetting::nearest(turns, setup.dial.ticks_per_turn);
    let long_m = match setting.dial == rounded {
        true => 0.0,
        false => chord_m * heading.cos() - setting.target_m,
    };
    // A shorter way asks for another aim mark by itself: only where runs come to rest counts.
    let right_m = match aimed == aim_m(aim, setup.aim.step_m) {
        true => 0.0,
        false => chord_m * heading.sin(),
    };
    OnPurpose::new(setup, long_m, right_m)
}

fn warnings(situation: &Situation, setting: &Setting, turns: f64) -> Vec<Warning> {
    let setup = situation.setup;
    let travel = situation.known_travel();
    let mut out = Vec::new();
    let arc = situation.arc_to_m(setting.target_m);
    // A target is extrapolated when it lies beyond what was run by more than the chance of a run.
    let room = 2.0 * travel.run_to_run_m.estimate;
    if arc < travel.arc_range_m.0 - room || arc > travel.arc_range_m.1 + room {
        out.push(Warning::Extrapolated {
            run_m: travel.arc_range_m,
        });
    }
    if turns < 0.0 {
        out.push(Warning::TooNear);
    }
    if let Some(chance) = setting
        .recoil_chance
        .filter(|c| *c > setup.brake.recoil_accept)
    {
        out.push(Warning::Recoil { chance });
    }
    let leads = &situation.build().recoil.by_lead;
    if let (Some(lead), Some(first), Some(last)) = (setting.lead_turns, leads.first(), leads.last())
        && (lead < first.lead_turns || lead > last.lead_turns)
    {
        out.push(Warning::LeadNotTried {
            tried: (first.lead_turns, last.lead_turns),
        });
    }
    if situation.rig.counts.sessions == 1 {
        out.push(Warning::OneSession);
    }
    let accept = clearance::accepted_chance(setup);
    if let Some(chance) = setting.touch_chance.filter(|c| *c > accept) {
        out.push(Warning::Touch { chance });
    }
    if let Some(chance) = setting.leave_chance.filter(|c| *c > accept) {
        out.push(Warning::LeavesLane { chance });
    }
    if setting.aim_right_m.is_none() {
        out.push(Warning::NothingAcross);
    }
    if let Some(trim) = situation.trim().filter(|t| t.runs < 2) {
        out.push(Warning::TrimBarelyRun {
            trim: trim.label.clone(),
        });
    }
    if setup.obstacle.is_some() && setup.vehicle.width_m.is_none() {
        out.push(Warning::WidthUnknown);
    }
    out
}

/// The unrounded setting with the interval that what is not known of the calibration (and of today) leaves open:
/// the connected set around it where the distribution of the line at the needed arc lies within the level
/// (Fieller 1954; `model.md` §3). An end that does not exist is infinite.
///
/// # Errors
/// Any error of [`plain_setting`].
pub fn exact(situation: &Situation, target_m: f64, level: Level) -> Result<Exact, Error> {
    let (mut turns, mut aim) = plain_setting(situation, target_m)?;
    if !situation.setup.score.is_plain() {
        let plain = next_run(
            situation,
            Hand {
                target_m,
                turns,
                aim_right_m: aim,
            },
        );
        let least = score::least(situation, &plain, turns, aim)?;
        (turns, aim) = (least.turns_exact, least.aim_exact_m);
    }
    let arc = situation.arc_mean_m(turns);
    let tail = level.lower_tail();
    // The chance that the line at N lies short of the needed arc: falls as N rises.
    let short = |n: f64| {
        situation
            .travel
            .line_distribution(&situation.travel_row(n))
            .cdf(arc)
    };
    let low = end(|n| short(n) - (1.0 - tail), 0.0, turns).unwrap_or(f64::NEG_INFINITY);
    let high = end(|n| short(n) - tail, turns, 3.0 * turns).unwrap_or(f64::INFINITY);
    let aim_right_m = situation.known_heading().map(|(known, trim, today)| {
        // How far the mean direction may lie off, around the aim that is asked for.
        let line = today.line_distribution(&known.row(trim, situation.arc_to_m(target_m)));
        let middle = line.centre();
        let aimed =
            |by: f64| geometry::aim_offset(target_m, geometry::aim_heading(target_m, aim) - by);
        Interval::holding(
            aim,
            aimed(line.quantile(1.0 - tail) - middle),
            aimed(line.quantile(tail) - middle),
        )
    });
    Ok(Exact {
        turns: Interval::holding(turns, low, high),
        aim_right_m,
    })
}

/// Where `f` changes sign between two ends, `None` where it does not.
fn end(f: impl Fn(f64) -> f64, low: f64, high: f64) -> Option<f64> {
    optimise::root(f, low, high, 1e-9 * high.abs().max(1.0)).ok()
}

/// Settings for every target that can be announced.
#[derive(Debug, Clone)]
pub struct SettingsTable {
    /// All of them, shortest first.
    pub settings: Vec<Setting>,
    /// Shortest, middle and longest (without repeats), with the predictions they rest on.
    pub three: Vec<(Setting, Prediction)>,
}

/// Settings for every target that can be announced, each worked out once.
///
/// # Errors
/// Any error of [`setting`].
pub fn table(
    situation: &Situation,
    range: EventRange,
    level: Level,
) -> Result<SettingsTable, Error> {
    let mut close: Vec<f64> = range.three_m().to_vec();
    close.dedup();
    let mut three = Vec::with_capacity(close.len());
    let mut settings = Vec::new();
    for target_m in range.targets_m() {
        let (setting, prediction) = setting_and_prediction(situation, target_m, level)?;
        if close.contains(&target_m) {
            three.push((setting.clone(), prediction));
        }
        settings.push(setting);
    }
    // A longest that the step does not reach is not among them.
    for target_m in close {
        if !three
            .iter()
            .any(|(s, _): &(Setting, _)| s.target_m == target_m)
        {
            three.push(setting_and_prediction(situation, target_m, level)?);
        }
    }
    three.sort_by(|a, b| a.0.target_m.total_cmp(&b.0.target_m));
    Ok(SettingsTable { settings, three })
}
