//! What a run costs under the event's rules, and the setting that is expected to cost least.

use super::clearance::{self, PlacedObstacle};
use super::predict::{CLOUD_POINTS, Path, Prediction, cloud_scores};
use super::rounding::{DialSetting, aim_m, steps};
use super::situation::Situation;
use crate::calibration::Rig;
use crate::error::Error;
use crate::geometry;
use crate::setup::{Measure, Score, Setup};
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;
use std::ops::RangeInclusive;

/// Expected scores nearer than this are equal; the smaller setting is then taken.
const TIE: f64 = 1e-9;
/// A difference of expected scores that nobody can tell, as that much of miss, m: where runs scatter by 10 cm, 20,000 of each
/// have means that differ by a millimetre from chance alone. An aim mark is not moved farther for it.
const TOLD_APART_M: f64 = 0.001;
/// How far from the plain setting the least cost is looked for, turns (plus two predictive sd).
const LOOK_TURNS: f64 = 2.0;
const LOOK_SD: f64 = 2.0;
/// How far the least cost is looked for from the plain aim mark, m (plus two predictive sd).
const LOOK_AIM_M: f64 = 0.3;
/// Of more settings than this only every so-manyth is looked at, then those around the cheapest; fine steps and far
/// targets would have millions. A season's dial and aim mark have about a hundred.
const LOOKED_AT_MOST: i64 = 500;
/// No search reaches farther, in ticks or aim steps: where next to nothing is known, it would have no end.
const REACH_MOST: f64 = 1e9;
/// An unrounded aim mark is found to this part of a step.
const AIM_STEP_PARTS: i64 = 1000;
/// Passes over turns and aim in turn.
const PASSES_MAX: usize = 8;

/// Run time expected at an arc, s; `None` where too few runs were timed.
pub fn time_s(situation: &Situation, arc_m: f64) -> Option<f64> {
    let (at_none, per_m) = time_line(situation.rig)?;
    Some(at_none + per_m * arc_m)
}

/// Run time: (s at no distance, s for each m of arc); `None` where too few runs were timed.
pub fn time_line(rig: &Rig) -> Option<(f64, f64)> {
    let line = rig.time.as_ref()?;
    Some((line.coefficient(0), line.coefficient(1)))
}

/// The rules at one target, with what they need at hand.
struct Cost<'a> {
    score: &'a Score,
    target_m: f64,
    /// Run time: (s at no distance, s for each m of arc); `None` where it costs nothing.
    time: Option<(f64, f64)>,
    /// `None` where touching it costs nothing.
    obstacle: Option<PlacedObstacle>,
}

impl<'a> Cost<'a> {
    /// The cost of runs at a target.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when time is priced but was not measured.
    fn at_target(situation: &Situation<'a>, target_m: f64) -> Result<Self, Error> {
        let setup = situation.setup;
        let score = &setup.score;
        let time = time_line(situation.rig).filter(|_| score.per_s > 0.0);
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
            obstacle: PlacedObstacle::new(setup, target_m, situation.curvature_per_m())
                .filter(|_| score.touch_penalty > 0.0),
        })
    }

    /// Cost of one run.
    fn of_run(&self, path: &Path) -> f64 {
        let long = path.rest.0 - self.target_m;
        let miss = match self.score.measure {
            Measure::Point => long.hypot(path.rest.1),
            Measure::Line => long.abs(),
        };
        let mut cost = self.score.per_cm * 100.0 * miss.min(self.target_m);
        if long > self.score.long_limit_m {
            cost += self.score.long_penalty;
        }
        cost += self.of_touch(path);
        if let Some((a, b)) = self.time {
            cost += self.score.per_s * (a + b * path.arc_m).max(0.0);
        }
        cost
    }

    /// What one run costs for touching the obstacle.
    fn of_touch(&self, path: &Path) -> f64 {
        let gap_m = |o: &PlacedObstacle| o.gap_m(path.start_heading, path.arc_m).0;
        match self.obstacle.as_ref().is_some_and(|o| gap_m(o) <= 0.0) {
            true => self.score.touch_penalty,
            false => 0.0,
        }
    }

    /// What of a run's cost the aim mark is chosen by. Where across does not count, touches alone: a run sent aside also falls
    /// a little short, and an aim mark would be moved far aside to save a part of a tick.
    fn of_aim(&self, path: &Path) -> f64 {
        match self.score.measure {
            Measure::Point => self.of_run(path),
            Measure::Line => self.of_touch(path),
        }
    }
}

/// The quasi-random sample of runs at the setting of a prediction. Drawn once: a search asks for its costs a thousand times.
struct Sample<'p> {
    prediction: &'p Prediction,
    /// Arcs, m, and chord headings at the mean arc, rad.
    runs: Vec<(f64, f64)>,
}

impl<'p> Sample<'p> {
    fn of_prediction(prediction: &'p Prediction) -> Self {
        let scores = cloud_scores().iter();
        Sample {
            prediction,
            runs: scores.map(|&(a, b)| prediction.drawn(a, b)).collect(),
        }
    }

    /// Costs of the runs, arcs `farther_m` longer and directions `turned` rad more to the right.
    fn costs(
        &self,
        of_run: impl Fn(&Path) -> f64,
        (farther_m, turned): (f64, f64),
    ) -> impl Iterator<Item = f64> {
        (self.runs.iter()).map(move |&(arc_m, direction)| {
            of_run(
                &self
                    .prediction
                    .path_of(arc_m + farther_m, direction + turned),
            )
        })
    }
}

fn mean(costs: impl Iterator<Item = f64>) -> f64 {
    costs.fold(0.0, |sum, cost| sum + cost) / CLOUD_POINTS as f64
}

/// Expected scores at settings around that of a prediction: the sample is shifted by what turns and aim do on average.
struct Search<'a> {
    setup: &'a Setup,
    cost: Cost<'a>,
    sample: Sample<'a>,
    m_per_turn: f64,
}

impl<'a> Search<'a> {
    /// Around the setting of a prediction.
    ///
    /// # Errors
    /// Any error of [`Cost::at_target`].
    fn around(situation: &Situation<'a>, plain: &'a Prediction) -> Result<Self, Error> {
        let turns_column = situation.known_travel().turns_column;
        Ok(Search {
            setup: situation.setup,
            cost: Cost::at_target(situation, plain.hand().target_m)?,
            sample: Sample::of_prediction(plain),
            m_per_turn: situation.travel.coefficient(turns_column),
        })
    }

    /// How much longer, m, and more to the right, rad, a run goes at turns and an aim mark, m, than as predicted.
    fn shift(&self, (turns, aim_right_m): (f64, f64)) -> (f64, f64) {
        let from = self.sample.prediction.hand();
        let turned = geometry::aim_heading(from.target_m, aim_right_m)
            - geometry::aim_heading(from.target_m, from.aim_right_m);
        (self.m_per_turn * (turns - from.turns), turned)
    }

    /// Expected score at turns and an aim mark, m.
    fn score(&self, at: (f64, f64)) -> f64 {
        let of_run = |path: &Path| self.cost.of_run(path);
        mean(self.sample.costs(of_run, self.shift(at)))
    }

    /// What of the expected score the aim mark is chosen by.
    fn aim_score(&self, at: (f64, f64)) -> f64 {
        let of_aim = |path: &Path| self.cost.of_aim(path);
        mean(self.sample.costs(of_aim, self.shift(at)))
    }

    /// Chance of leaving the lane; 0 without one.
    fn leave_chance(&self, at: (f64, f64)) -> f64 {
        clearance::leave_chance_of(self.setup, self.sample.prediction, self.shift(at))
            .unwrap_or(0.0)
    }

    /// The aim mark at some turns, in steps, and the score that was enough: of a range, on the way from the plain one to the
    /// cheapest, the first that nobody can tell from the cheapest. None at which the lane is left oftener than is accepted, or
    /// than with the plain one.
    fn aim(&self, turns: f64, plain: i64, all: RangeInclusive<i64>) -> (i64, f64) {
        let at = |a: i64| (turns, a as f64 * self.setup.aim.step_m);
        let leaves = |a: i64| self.leave_chance(at(a));
        let leaves_most = clearance::accepted_chance(self.setup).max(leaves(plain));
        let score = |a: i64| match leaves(a) <= leaves_most {
            true => self.aim_score(at(a)),
            false => f64::INFINITY,
        };
        let best = cheapest(all, score, |a| (a - plain).abs());
        let enough = score(best) + self.cost.score.per_cm * 100.0 * TOLD_APART_M;
        (first(plain, best, |a| score(a) <= enough), enough)
    }

    /// Where the score is just enough, m, between an aim mark that was found and its neighbour on the plain one's side. Of a
    /// sample the score has small jumps both ways, between which no root need be.
    fn aim_exact_m(&self, turns: f64, plain: i64, (aim, enough): (i64, f64)) -> f64 {
        let side = (plain - aim).signum() as f64;
        let nearer = |parts: i64| side * parts as f64 / AIM_STEP_PARTS as f64;
        let at = |parts: i64| (aim as f64 + nearer(parts)) * self.setup.aim.step_m;
        let good = |parts: i64| self.aim_score((turns, at(parts))) <= enough;
        at(first(AIM_STEP_PARTS, 0, good))
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

/// Looks for the least expected score around the plain setting, over ticks and aim steps in turn; the aim mark is moved no
/// farther than can be told (`model.md` §3).
///
/// # Errors
/// [`Error::CannotAnswer`] when time is priced but was not measured.
pub fn least(
    situation: &Situation,
    plain: &Prediction,
    turns_exact: f64,
    aim_exact_m: f64,
) -> Result<Least, Error> {
    let setup = situation.setup;
    let search = Search::around(situation, plain)?;
    let per_turn = setup.dial.ticks_per_turn;
    let tick = 1.0 / f64::from(per_turn);
    let step = setup.aim.step_m;
    let turns_reach = LOOK_SD * plain.arc_scale_m() / search.m_per_turn + LOOK_TURNS;
    let aim_reach = LOOK_SD * plain.direction_scale() * plain.hand().target_m + LOOK_AIM_M;
    let around = |middle: i64, reach: f64| {
        let reach = reach.ceil().min(REACH_MOST) as i64;
        middle.saturating_sub(reach)..=middle.saturating_add(reach)
    };
    let across = plain.knows_across();
    let mut dial = DialSetting::nearest(turns_exact, per_turn);
    let plain_aim = steps(aim_exact_m, step);
    let mut found = (plain_aim, f64::INFINITY);
    let all_ticks = around(dial.ticks_in_all, turns_reach / tick);
    let all_ticks = (*all_ticks.start()).max(0)..=*all_ticks.end();
    let all_aims = around(plain_aim, aim_reach / step);
    for pass in 0..PASSES_MAX {
        let at_ticks = |t: i64| search.score((t as f64 * tick, found.0 as f64 * step));
        let ticks = cheapest(all_ticks.clone(), at_ticks, |t| t);
        let stays = dial.ticks_in_all == ticks;
        dial.ticks_in_all = ticks;
        // The aim was looked for at these turns before, but for the first pass.
        if stays && pass > 0 || !across {
            break;
        }
        let aim_before = found.0;
        found = search.aim(dial.turns(), plain_aim, all_aims.clone());
        if found.0 == aim_before {
            break;
        }
    }
    let aim_right_m = aim_m(found.0 as f64 * step, step);
    let turns = dial.turns();
    let lowest = (turns - tick).max(0.0);
    let at_turns = |t| search.score((t, aim_right_m));
    let turns_exact = optimise::minimum(at_turns, lowest, turns + tick, 1e-4)?.x;
    let aim_exact_m = match found.0 == plain_aim {
        true => aim_exact_m,
        false => search.aim_exact_m(turns, plain_aim, found),
    };
    Ok(Least {
        dial,
        aim_right_m,
        turns_exact,
        aim_exact_m,
    })
}

/// The first of the whole numbers from one to another, both included, that is good enough: the last is, and so are those
/// beyond the first.
fn first(from: i64, last: i64, good: impl Fn(i64) -> bool) -> i64 {
    if good(from) {
        return from;
    }
    let (mut short, mut found) = (from, last);
    while (found - short).abs() > 1 {
        let middle = short + (found - short) / 2;
        match good(middle) {
            true => found = middle,
            false => short = middle,
        }
    }
    found
}

/// The cheapest of a range that is not empty; of equals the one with the smaller size.
fn cheapest(
    range: RangeInclusive<i64>,
    cost: impl Fn(i64) -> f64,
    size: impl Fn(i64) -> i64,
) -> i64 {
    let (mut from, mut to) = range.into_inner();
    loop {
        let every = to.saturating_sub(from) / LOOKED_AT_MOST + 1;
        let (mut best, mut least) = (from, cost(from));
        for at in (from..=to).step_by(every as usize).skip(1) {
            let c = cost(at);
            if c < least - TIE || (c <= least + TIE && size(at) < size(best)) {
                (best, least) = (at, c);
            }
        }
        if every == 1 {
            return best;
        }
        (from, to) = ((best - every).max(from), best.saturating_add(every).min(to));
    }
}

/// Expected score at a setting (mean) and the value not exceeded with the level's chance; `None` where the miss is
/// not known.
///
/// # Errors
/// [`Error::CannotAnswer`] when time is priced but was not measured.
pub fn expected(
    situation: &Situation,
    prediction: &Prediction,
    miss_high_m: Option<f64>,
    level: Level,
) -> Result<Option<Interval>, Error> {
    let hand = prediction.hand();
    let cost = Cost::at_target(situation, hand.target_m)?;
    let score = &situation.setup.score;
    if score.measure == Measure::Point && !prediction.knows_across() {
        return Ok(None);
    }
    let sample = Sample::of_prediction(prediction);
    let costs = sample.costs(|path| cost.of_run(path), (0.0, 0.0));
    let mut costs: Vec<f64> = costs.collect();
    let mean = mean(costs.iter().copied());
    let high = match miss_high_m {
        // The plain score is the miss itself, whose distribution is known better than the sample shows.
        Some(miss) if score.is_plain() => score.per_cm * 100.0 * miss,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::file;
    use crate::decide::Choice;
    use crate::decide::dial;
    use crate::decide::predict::next_run;
    use crate::predict::Hand;

    #[test]
    fn the_first_that_is_good_enough_is_found_on_either_side() {
        assert_eq!(first(0, 9, |a| a >= 4), 4);
        assert_eq!(first(0, -9, |a| a <= -4), -4);
        assert_eq!(first(3, 9, |_| true), 3);
        assert_eq!(first(3, 4, |a| a > 3), 4);
    }

    /// No other turns with the same mark are cheaper, and no other mark with the same turns is by more than can be told, with
    /// penalties for going long and for touching that move the turns.
    #[test]
    fn no_other_turns_and_no_other_aim_are_cheaper() {
        let mut calibration = file::example();
        calibration.setup.score.long_limit_m = 0.0;
        calibration.setup.score.long_penalty = 40.0;
        calibration.setup.score.touch_penalty = 200.0;
        let choice = Choice::of_rig("narrow");
        let situation = Situation::new(&calibration, &choice).unwrap();
        let target_m = 8.35;
        let setup = &calibration.setup;
        let (tick, step) = (1.0 / f64::from(setup.dial.ticks_per_turn), setup.aim.step_m);
        let (turns, aim_right_m) = dial::plain_setting(&situation, target_m).unwrap();
        let hand = Hand {
            target_m,
            turns,
            aim_right_m,
        };
        let plain = next_run(&situation, hand);
        let found = least(&situation, &plain, hand.turns, hand.aim_right_m).unwrap();
        let search = Search::around(&situation, &plain).unwrap();
        let costs = |turns, aim| search.score((turns, aim));
        let (turns, aim) = (found.dial.turns(), found.aim_right_m);
        let lowest = costs(turns, aim);
        for steps in (-30..=30).map(f64::from) {
            assert!(
                costs(turns + steps * tick, aim) >= lowest - 2.0 * TIE,
                "{steps} ticks"
            );
            assert!(
                costs(turns, aim + steps * step) >= lowest - 100.0 * TOLD_APART_M - 2.0 * TIE,
                "{steps} marks"
            );
        }
        assert!(
            (turns - hand.turns).abs() > tick,
            "{turns} turns, as without penalties"
        );
    }
}
