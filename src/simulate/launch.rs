//! One launch: how it is set, where it goes, what is measured of it.

use super::chance::Chance;
use super::day::RigDay;
use super::path::{arc_reaching, clearance, rest_point};
use super::rig::ResolvedRig;
use super::truth::Truth;
use super::truth_keys::{ObstacleTruth, PlantedRow};
use crate::log::run::{Load, Run, Status};
use crate::units::round_to_step;

/// Everything chance decides about one launch, always drawn in one order, needed or not.
pub struct Draws {
    along: f64,
    across: f64,
    wild: f64,
    recoil: f64,
    roll_back: f64,
    short: f64,
    watched: f64,
    void: f64,
    void_along: f64,
    void_across: f64,
    knock: f64,
    broken: f64,
    load_noted: f64,
    time: f64,
    time_noted: f64,
    miss_noted: f64,
    right_noted: f64,
    gap_noted: f64,
    vary_turns: f64,
    vary_aim: f64,
    wild_right: f64,
    slip: f64,
}

impl Draws {
    /// Draws everything from a launch's own stream.
    pub fn from_stream(mut chance: Chance) -> Draws {
        Draws {
            along: chance.normal(),
            across: chance.normal(),
            wild: chance.uniform(),
            recoil: chance.uniform(),
            roll_back: chance.normal(),
            short: chance.normal(),
            watched: chance.uniform(),
            void: chance.uniform(),
            void_along: chance.normal(),
            void_across: chance.normal(),
            knock: chance.uniform(),
            broken: chance.uniform(),
            load_noted: chance.uniform(),
            time: chance.normal(),
            time_noted: chance.uniform(),
            miss_noted: chance.uniform(),
            right_noted: chance.uniform(),
            gap_noted: chance.uniform(),
            vary_turns: chance.normal(),
            vary_aim: chance.normal(),
            wild_right: chance.uniform(),
            slip: chance.uniform(),
        }
    }
}

/// How far dial and aim mark were moved today to chase misses.
#[derive(Debug, Default)]
pub struct Chased {
    turns: f64,
    aim_m: f64,
}

/// What is set before a launch.
#[derive(Debug)]
pub struct LaunchSetting {
    /// Distance to the target.
    pub target_m: f64,
    /// Brake lead.
    pub lead_turns: f64,
    /// Whole ticks wound on.
    pub ticks: f64,
    /// Offset of the aim mark.
    pub aim_right_m: f64,
}

/// One run as it was, not as it was written down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExactRun {
    /// Turns really wound on.
    pub turns: f64,
    /// Length of the path to where it came to rest.
    pub arc_m: f64,
    /// Direction of the straight line from the start mark to there.
    pub chord_heading_rad: f64,
    /// Where it came to rest along the line, m from the start mark.
    pub ahead_m: f64,
    /// Where it came to rest across the line, m, right positive.
    pub right_m: f64,
    /// Clearance from the obstacle, where there is one; below 0 it touched.
    pub gap_m: Option<f64>,
}

/// Outcome of one launch.
#[derive(Debug)]
pub struct Outcome {
    /// The run as it was.
    pub exact: ExactRun,
    /// What became of it.
    pub status: Status,
    /// Roll-back as noted.
    recoil_m: Option<f64>,
}

/// A launch about to be made.
pub struct SimulatedLaunch<'a> {
    /// The truth it is played from.
    pub truth: &'a Truth,
    /// The rig.
    pub rig: &'a ResolvedRig,
    /// Shifts of the rig's session.
    pub day: &'a RigDay,
    /// Its session, counted from 0.
    pub session: usize,
    /// How many launches the session had before.
    pub before: usize,
    /// What chance decides.
    pub draws: Draws,
    /// What is planted in its row.
    pub planted: Option<&'a PlantedRow>,
}

impl SimulatedLaunch<'_> {
    /// What is wound on and where the mark is put.
    pub fn setting(&self, target_m: f64, lead_turns: f64, chased: &Chased) -> LaunchSetting {
        let settings = &self.truth.settings;
        let (straight_rad, curvature_per_m) = self.rig.heading_at(self.truth, self.session);
        let arc_m = arc_reaching(target_m, curvature_per_m).unwrap_or(target_m);
        let overshoot_m = settings
            .believed_overshoot_m
            .unwrap_or_else(|| self.overshoot_m(lead_turns));
        let per_turn_m = settings
            .believed_distance_per_turn_m
            .unwrap_or(self.rig.travel.distance_per_turn_m);
        let turns = (arc_m - overshoot_m) / per_turn_m
            + settings.vary_turns * self.draws.vary_turns
            + chased.turns;
        let straight_to_target_m =
            -target_m * libm::tan(straight_rad + curvature_per_m * arc_m / 2.0);
        let aim_right_m = settings.aim_right_m.unwrap_or(straight_to_target_m)
            + settings.vary_aim_m * self.draws.vary_aim
            + chased.aim_m;
        LaunchSetting {
            target_m,
            lead_turns,
            ticks: whole_ticks(self.truth, turns),
            aim_right_m: stepped(aim_right_m, settings.aim_step_m),
        }
    }

    /// Overshoot at a lead with this session's build, m.
    fn overshoot_m(&self, lead_turns: f64) -> f64 {
        let travel = &self.rig.travel;
        let reference = travel.reference_lead_turns(&self.truth.season.leads_turns);
        self.rig.overshoot_m(self.truth, self.session)
            + travel.lead_m_per_turn * (lead_turns - reference)
    }

    /// The forward model: setting in, rest point out.
    pub fn outcome(&self, setting: &LaunchSetting) -> Outcome {
        let (truth, draws) = (self.truth, &self.draws);
        let turns = turns_from_ticks(truth, setting.ticks);
        let (_, curvature_per_m) = self.rig.heading_at(truth, self.session);
        let mut arc_m = self.free_arc_m(setting.lead_turns, turns);
        let mut start_rad = self.start_rad(setting);

        let said = self.planted.and_then(|row| row.status);
        let becomes = |status, chance: f64, draw: f64| {
            said == Some(status) || (said.is_none() && draw < chance)
        };
        let mut status = Status::Ok;
        if becomes(Status::Void, truth.wrong.void, draws.void) {
            status = Status::Void;
            arc_m += truth.wrong.void_long_m * draws.void_along;
            start_rad += 0.1 * truth.wrong.void_long_m * draws.void_across / setting.target_m;
        }

        let recoil = &truth.recoil;
        let chance = logistic(recoil.per_turn * (setting.lead_turns - recoil.half_lead_turns));
        let mut recoil_m = (draws.watched < recoil.watched).then_some(0.0);
        let mut forward_m = arc_m;
        if status == Status::Ok && becomes(Status::Recoil, chance, draws.recoil) {
            status = Status::Recoil;
            // It turns round before its nut jams, and was seen to, so it rolled at least a centimetre.
            forward_m -= recoil.short_m * libm::exp(0.4 * draws.short);
            let back_m = (recoil.roll_back_m * libm::exp(0.4 * draws.roll_back)).max(0.01);
            recoil_m = Some(taped(truth, back_m).max(0.01));
            arc_m = forward_m - back_m;
        }

        let gap_m = truth.obstacle.as_ref().map(|obstacle| {
            let path = (forward_m.max(0.0), start_rad, curvature_per_m);
            gap_m(obstacle, setting.target_m, path)
        });
        let met = said.is_none() && gap_m.is_some_and(|gap_m| gap_m <= 0.0);
        if status != Status::Void && (said == Some(Status::Touched) || met) {
            status = Status::Touched;
            // What is left of the way is partly lost, and the vehicle knocked aside.
            let at = truth.obstacle.as_ref().map_or(0.5, |obstacle| obstacle.at);
            let at_m = (at * setting.target_m).min(arc_m);
            arc_m = at_m + (arc_m - at_m) * draws.knock;
            start_rad += 0.2 * (draws.knock - 0.5);
        }

        let arc_m = arc_m.max(0.0);
        let (ahead_m, right_m) = rest_point(arc_m, start_rad, curvature_per_m);
        Outcome {
            exact: ExactRun {
                turns,
                arc_m,
                chord_heading_rad: start_rad + curvature_per_m * arc_m / 2.0,
                ahead_m,
                right_m,
                gap_m,
            },
            status,
            recoil_m: recoil_m.filter(|_| matches!(status, Status::Ok | Status::Recoil)),
        }
    }

    /// How far it rolls with nothing in the way: the travel equation.
    fn free_arc_m(&self, lead_turns: f64, turns: f64) -> f64 {
        let (travel, effects) = (&self.rig.travel, &self.truth.effects);
        let mean_m = self.overshoot_m(lead_turns)
            + travel.distance_per_turn_m * self.day.stretch * turns
            + self.bend_m(turns)
            + self.day.long_m * self.grown(turns);
        let own_m = travel.run_to_run_m * self.grown(turns);
        let mut spread_m = libm::hypot(own_m, effects.spread_m_per_m * mean_m);
        if self.draws.wild < effects.wild {
            spread_m *= effects.wild_times;
        }
        let first_m = if self.before == 0 {
            effects.first_run_long_m
        } else {
            0.0
        };
        mean_m
            + spread_m * lopsided(self.draws.along, effects.lopsided)
            + first_m
            + effects.drift_long_m_per_run * self.before as f64
            + self.planted.map_or(0.0, |row| row.long_m)
    }

    /// What the spreads along are multiplied by at a number of turns: 1 at the turns for the middle target.
    fn grown(&self, turns: f64) -> f64 {
        libm::pow(
            (turns / self.middle_turns()).max(0.0),
            self.rig.travel.spread_growth,
        )
    }

    /// Bend of travel in turns, about the turns for the middle target.
    fn bend_m(&self, turns: f64) -> f64 {
        let beyond = turns - self.middle_turns();
        self.truth.effects.bend_m_per_turn2 * beyond * beyond
    }

    /// The turns for the middle target.
    fn middle_turns(&self) -> f64 {
        let targets = &self.truth.season.targets_m;
        let longest_m = targets.iter().copied().fold(f64::MIN, f64::max);
        let shortest_m = targets.iter().copied().fold(f64::MAX, f64::min);
        let travel = &self.rig.travel;
        ((longest_m + shortest_m) / 2.0 - travel.overshoot_m) / travel.distance_per_turn_m
    }

    /// Direction at the start mark, rad: the heading without the bend of the path.
    fn start_rad(&self, setting: &LaunchSetting) -> f64 {
        let (straight_rad, _) = self.rig.heading_at(self.truth, self.session);
        libm::atan2(setting.aim_right_m, setting.target_m)
            + straight_rad
            + self.day.right_rad
            + self.across_rad()
    }

    /// The run's own part of its direction, rad.
    fn across_rad(&self) -> f64 {
        let (effects, draws) = (&self.truth.effects, &self.draws);
        let mut spread_rad = self.rig.heading.run_to_run_rad;
        if draws.wild_right < effects.wild_right {
            spread_rad *= effects.wild_times;
        }
        let with_long = effects.long_with_right.clamp(-1.0, 1.0);
        let first_rad = if self.before == 0 {
            effects.first_run_right_rad
        } else {
            0.0
        };
        spread_rad
            * (with_long * draws.along + libm::sqrt(1.0 - with_long * with_long) * draws.across)
            + first_rad
            + effects.drift_right_rad_per_run * self.before as f64
    }

    /// Writes the measurements into `run`: tape, gap, load and watch, each as finely as it is read.
    pub fn measure(&self, run: &mut Run, outcome: &Outcome, setting: &LaunchSetting) {
        let (truth, draws, exact) = (self.truth, &self.draws, &outcome.exact);
        let target_m = setting.target_m;
        let long_m = exact.ahead_m - target_m;
        run.rest_m = Some(target_m + taped(truth, long_m));
        if draws.right_noted < truth.measuring.right_noted {
            run.right_m = Some(taped(truth, exact.right_m));
        }
        if draws.miss_noted < truth.measuring.miss_noted {
            run.miss_m = Some(taped(truth, libm::hypot(long_m, exact.right_m)));
        }
        run.recoil_m = outcome.recoil_m;
        let went_well = matches!(run.status, Status::Ok | Status::Recoil);
        if let (Some(obstacle), Some(gap_m)) = (&truth.obstacle, exact.gap_m)
            && went_well
            && draws.gap_noted < obstacle.gap_noted
        {
            // Nobody writes a gap of 0 where there is one.
            run.gap_m = Some(taped(truth, gap_m).max(truth.measuring.tape_step_m));
        }
        if let Some(load) = &truth.load
            && draws.load_noted < load.noted
        {
            let chance = logistic(load.per_turn * (setting.lead_turns - load.half_lead_turns));
            let broken = draws.broken < chance;
            run.load = Some(if broken { Load::Broken } else { Load::Whole });
        }
        if let Some(time) = &truth.time
            && went_well
            && draws.time_noted < time.noted
        {
            let time_s = time.start_s + time.s_per_m * exact.arc_m + time.run_to_run_s * draws.time;
            let time_s = round_to_step(time_s.max(0.01), time.step_s.max(0.001));
            run.time_s = Some(settled(time_s, 1e4));
        }
    }

    /// Miswrites the turns by ten with the truth's chance of a slip.
    pub fn slip(&self, run: &mut Run) {
        let (slip, draw) = (self.truth.wrong.slip, self.draws.slip);
        if draw < slip {
            // Nobody writes a negative number of turns.
            let fewer = |turns: f64| draw < 0.5 * slip && turns >= 10.0;
            run.turns = run
                .turns
                .map(|t| if fewer(t) { t - 10.0 } else { t + 10.0 });
        }
    }

    /// Moves dial and mark by a share of the miss that was measured, as is the habit.
    pub fn chase(&self, run: &Run, chased: &mut Chased) {
        if let (Status::Ok, Some(long_m), Some(right_m)) = (run.status, run.long_m(), run.right_m) {
            let chase = self.truth.settings.chase;
            chased.turns -= chase * long_m / self.rig.travel.distance_per_turn_m;
            chased.aim_m -= chase * right_m;
        }
    }
}

/// Signed clearance of a path (length, start direction, curvature); on the wrong side it is below 0.
fn gap_m(obstacle: &ObstacleTruth, target_m: f64, path: (f64, f64, f64)) -> f64 {
    let centre = (obstacle.at * target_m, obstacle.right_m);
    let to_the_right_m = clearance(centre, path.0, path.1, path.2);
    let side = if obstacle.pass_left { 1.0 } else { -1.0 };
    side * to_the_right_m - obstacle.diameter_m / 2.0 - obstacle.width_m / 2.0
}

/// A skewed draw from a normal one, of mean 0 and sd 1; the formula stands at [`super::truth_keys::Effects`].
fn lopsided(z: f64, a: f64) -> f64 {
    (z + a * (z * z - 1.0)) / libm::sqrt(1.0 + 2.0 * a * a)
}

fn logistic(log_odds: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-log_odds))
}

/// Divisions of the dial; a truth made by hand may say 0.
pub fn ticks_per_turn(truth: &Truth) -> f64 {
    f64::from(truth.settings.ticks_per_turn.max(1))
}

/// Turns of so many ticks, added up as the reader of a log adds them.
pub fn turns_from_ticks(truth: &Truth, ticks: f64) -> f64 {
    let whole = (ticks / ticks_per_turn(truth)).floor();
    whole + (ticks - whole * ticks_per_turn(truth)) / ticks_per_turn(truth)
}

/// Turns as whole ticks, at least one.
pub fn whole_ticks(truth: &Truth, turns: f64) -> f64 {
    round_to_step(turns * ticks_per_turn(truth), 1.0).max(1.0)
}

/// A length as the tape gives it.
pub fn taped(truth: &Truth, length_m: f64) -> f64 {
    stepped(length_m, truth.measuring.tape_step_m)
}

/// A length rounded to the step, or to a hundredth of a millimetre where the step is 0.
fn stepped(length_m: f64, step_m: f64) -> f64 {
    let rounded_m = if step_m > 0.0 {
        round_to_step(length_m, step_m)
    } else {
        length_m
    };
    settled(rounded_m, 1e5)
}

/// `x` rounded to a multiple of 1/`parts`, so that it equals the decimal it is written as.
pub fn settled(x: f64, parts: f64) -> f64 {
    // + 0.0 turns a negative zero into the plain one.
    (x * parts).round() / parts + 0.0
}
