//! What a run costs under the event's rules, and the setting that is expected to cost least.

use super::clearance::Placed;
use super::predict::{Hand, Prediction, cloud_scores};
use super::rounding::{DialSetting, aim_m, steps};
use super::situation::Situation;
use crate::calibration::Rig;
use crate::error::Error;
use crate::geometry;
use crate::setup::{Measure, Score};
use crate::stats::interval::{Interval, Level};
use crate::stats::linalg::dot;
use crate::stats::optimise;

/// Expected scores nearer than this are equal; the smaller setting is then taken.
const TIE: f64 = 1e-9;
/// How far from the plain setting the least cost is looked for, turns (plus two predictive sd).
const LOOK_TURNS: f64 = 2.0;
const LOOK_SD: f64 = 2.0;
/// The same for the aim mark, m (plus two predictive sd).
const LOOK_AIM_M: f64 = 0.3;
/// Of more settings than this only every so-manyth is looked at, then those around the cheapest; fine steps and far
/// targets would have millions. A season's dial and aim mark have about a hundred.
const LOOKED_AT_MOST: i64 = 500;
/// No search reaches farther, in ticks or aim steps: where next to nothing is known, it would have no end.
const REACH_MOST: f64 = 1e9;
/// Passes over turns and aim in turn; each pass can only lower the score.
const PASSES_MAX: usize = 8;

/// Whether the least expected score is just the least miss: no penalty and no price on time.
pub fn is_plain(score: &Score) -> bool {
    score.per_s == 0.0 && score.long_penalty == 0.0 && score.touch_penalty == 0.0
}

/// Run time expected at an arc, s; `None` where too few runs were timed.
pub fn time_s(situation: &Situation, arc_m: f64) -> Option<f64> {
    let line = situation.rig.time.as_ref()?;
    Some(line.mean(&[1.0, arc_m]))
}

/// Run time: (s at no distance, s for each m of arc); `None` where too few runs were timed.
pub fn time_line(rig: &Rig) -> Option<(f64, f64)> {
    let line = rig.time.as_ref()?;
    let at = |x: [f64; 2]| {
        line.nodes()
            .iter()
            .fold(0.0, |sum, n| sum + n.weight * dot(&x, &n.beta))
    };
    Some((at([1.0, 0.0]), at([0.0, 1.0])))
}

/// The rules with what they need at hand.
pub struct Cost<'a> {
    score: &'a Score,
    target_m: f64,
    /// Run time: (s at no distance, s for each m of arc).
    time: Option<(f64, f64)>,
}

impl<'a> Cost<'a> {
    /// The cost of runs at a target.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when time is priced but was not measured.
    pub fn new(situation: &Situation<'a>, target_m: f64) -> Result<Self, Error> {
        let time = time_line(situation.rig);
        let score = &situation.setup.score;
        if score.per_s > 0.0 && time.is_none() {
            return Err(Error::cannot_answer(
                "the score counts seconds ([score] per_s), but fewer than 6 runs have their time in the column time_s",
                "time a few runs, or set per_s to 0",
            ));
        }
        Ok(Cost {
            score,
            target_m,
            time,
        })
    }

    /// Cost of a run that came to rest at a point after an arc, touching or not.
    pub fn of(&self, rest: (f64, f64), arc_m: f64, touched: bool) -> f64 {
        let long = rest.0 - self.target_m;
        let miss = match self.score.measure {
            Measure::Point => long.hypot(rest.1),
            Measure::Line => long.abs(),
        };
        let mut cost = self.score.per_cm * 100.0 * miss.min(self.target_m);
        if long > self.score.long_limit_m {
            cost += self.score.long_penalty;
        }
        if touched {
            cost += self.score.touch_penalty;
        }
        if let (Some((a, b)), true) = (self.time, self.score.per_s > 0.0) {
            cost += self.score.per_s * (a + b * arc_m).max(0.0);
        }
        cost
    }
}

/// The fixed set of runs around one setting, moved to others by what turns and aim do to them on average.
struct Cloud<'c, 'a> {
    cost: Cost<'a>,
    prediction: &'c Prediction,
    m_per_turn: f64,
    obstacle: Option<Placed>,
}

impl Cloud<'_, '_> {
    /// Mean cost at other turns and another aim: arcs shifted by C for each turn, directions by the aim's angle.
    fn mean_cost(&self, turns: f64, aim_right_m: f64) -> f64 {
        let from = self.prediction.hand();
        let farther = self.m_per_turn * (turns - from.turns);
        let turned = geometry::aim_heading(from.target_m, aim_right_m)
            - geometry::aim_heading(from.target_m, from.aim_right_m);
        let scores = cloud_scores();
        let sum = scores.iter().fold(0.0, |sum, &(along, across)| {
            let path = self.prediction.path(along, across, farther, turned);
            let touched = self.cost.score.touch_penalty > 0.0
                && self
                    .obstacle
                    .is_some_and(|o| o.gap_m(path.start_heading, path.arc_m).0 <= 0.0);
            sum + self.cost.of(path.rest, path.arc_m, touched)
        });
        sum / scores.len() as f64
    }
}

/// The setting with the least expected score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Least {
    /// Rounded turns.
    pub dial: DialSetting,
    /// Rounded aim mark, m.
    pub aim_right_m: f64,
    /// Unrounded turns.
    pub turns_exact: f64,
    /// Unrounded aim mark, m.
    pub aim_exact_m: f64,
}

/// Looks for the least expected score around the plain setting, over ticks and aim steps in turn.
///
/// # Errors
/// As [`Cost::new`].
pub fn least(
    situation: &Situation,
    plain: &Prediction,
    turns_exact: f64,
    aim_exact_m: f64,
) -> Result<Least, Error> {
    let setup = situation.setup;
    let target_m = plain.hand().target_m;
    let per_turn = setup.dial.ticks_per_turn;
    let cloud = Cloud {
        cost: Cost::new(situation, target_m)?,
        prediction: plain,
        m_per_turn: situation
            .travel
            .coefficient(situation.known_travel().turns_column),
        obstacle: Placed::new(setup, target_m, situation.curvature_per_m()),
    };
    let tick = 1.0 / f64::from(per_turn);
    let turns_reach = LOOK_SD * plain.arc_scale_m() / cloud.m_per_turn + LOOK_TURNS;
    let aim_reach = LOOK_SD * plain.direction_scale() * target_m + LOOK_AIM_M;
    let step = setup.aim.step_m;
    let across = plain.knows_across();
    let mut dial = DialSetting::nearest(turns_exact, per_turn);
    let mut aim = steps(aim_exact_m, step);
    let (first_dial, first_aim) = (dial.ticks_in_all, aim);
    for _ in 0..PASSES_MAX {
        let before = (dial.ticks_in_all, aim);
        let reach = (turns_reach / tick).ceil().min(REACH_MOST) as i64;
        dial.ticks_in_all = cheapest(
            (first_dial - reach).max(0)..=first_dial.saturating_add(reach),
            |t| cloud.mean_cost(t as f64 * tick, aim as f64 * step),
            |t| t,
        )
        .unwrap_or(dial.ticks_in_all);
        if across {
            let reach = (aim_reach / step).ceil().min(REACH_MOST) as i64;
            let turns = dial.turns();
            aim = cheapest(
                first_aim.saturating_sub(reach)..=first_aim.saturating_add(reach),
                |a| cloud.mean_cost(turns, a as f64 * step),
                i64::abs,
            )
            .unwrap_or(aim);
        }
        if before == (dial.ticks_in_all, aim) {
            break;
        }
    }
    let aim_right_m = aim_m(aim as f64 * step, step);
    let turns = dial.turns();
    let turns_exact = optimise::minimum(
        |t| cloud.mean_cost(t, aim_right_m),
        (turns - tick).max(0.0),
        turns + tick,
        1e-4,
    )?
    .x;
    let aim_exact_m = if across {
        optimise::minimum(
            |a| cloud.mean_cost(turns, a),
            aim_right_m - step,
            aim_right_m + step,
            1e-4 * step.max(1e-3),
        )?
        .x
    } else {
        aim_exact_m
    };
    Ok(Least {
        dial,
        aim_right_m,
        turns_exact,
        aim_exact_m,
    })
}

/// The cheapest of a range; of equals the one with the smaller size.
fn cheapest(
    range: std::ops::RangeInclusive<i64>,
    cost: impl Fn(i64) -> f64,
    size: impl Fn(i64) -> i64,
) -> Option<i64> {
    let (mut from, mut to) = range.into_inner();
    loop {
        let every = to.saturating_sub(from) / LOOKED_AT_MOST + 1;
        let mut best: Option<(i64, f64)> = None;
        for at in (from..=to).step_by(every as usize) {
            let c = cost(at);
            best = match best {
                Some((b, least))
                    if c > least + TIE || (c >= least - TIE && size(at) >= size(b)) =>
                {
                    Some((b, least))
                }
                _ => Some((at, c)),
            };
        }
        let (at, _) = best?;
        if every == 1 {
            return Some(at);
        }
        (from, to) = ((at - every).max(from), at.saturating_add(every).min(to));
    }
}

/// Expected score at a setting (mean) and the value not exceeded with the level's chance; `None` where the miss is
/// not known.
///
/// # Errors
/// As [`Cost::new`].
pub fn expected(
    situation: &Situation,
    prediction: &Prediction,
    miss_high_m: Option<f64>,
    level: Level,
) -> Result<Option<Interval>, Error> {
    let Hand { target_m, .. } = prediction.hand();
    let cost = Cost::new(situation, target_m)?;
    let setup = situation.setup;
    if setup.score.measure == Measure::Point && !prediction.knows_across() {
        return Ok(None);
    }
    let obstacle = Placed::new(setup, target_m, situation.curvature_per_m());
    let mut costs: Vec<f64> = cloud_scores()
        .iter()
        .map(|&(along, across)| {
            let path = prediction.path(along, across, 0.0, 0.0);
            let touched = setup.score.touch_penalty > 0.0
                && obstacle.is_some_and(|o| o.gap_m(path.start_heading, path.arc_m).0 <= 0.0);
            cost.of(path.rest, path.arc_m, touched)
        })
        .collect();
    let mean = costs.iter().fold(0.0, |sum, c| sum + c) / costs.len() as f64;
    let high = match miss_high_m {
        // The plain score is the miss itself, whose distribution is known better than the set of points shows.
        Some(miss) if is_plain(&setup.score) => setup.score.per_cm * 100.0 * miss,
        _ => {
            costs.sort_by(f64::total_cmp);
            let at = (level.probability() * costs.len() as f64).ceil() as usize;
            costs[at.clamp(1, costs.len()) - 1]
        }
    };
    Ok(Some(Interval {
        estimate: mean,
        low: 0.0,
        high: high.max(mean),
    }))
}
