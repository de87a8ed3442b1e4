//! What a prediction takes at the mean arc or the median direction, against a dense set of runs drawn from its own two
//! distributions and carried through the geometry one by one.

use crate::read::Check;
use haltmark::calibration::Calibration;
use haltmark::calibration::fit::{self, Options};
use haltmark::decide::clearance::Placed;
use haltmark::decide::dial::plain_setting;
use haltmark::decide::predict::{Hand, Path, Prediction};
use haltmark::decide::{Choice, Situation};
use haltmark::geometry::widest;
use haltmark::setup::{Lane, Measure, Obstacle, ObstacleAt, Setup, Side};
use haltmark::simulate::{self, Truth};
use haltmark::stats::distributions::normal_quantile;
use haltmark::stats::interval::Level;

/// Runs along each of the two axes.
const ACROSS: usize = 401;
const TARGETS_M: [f64; 3] = [5.5, 7.5, 9.5];

fn setup() -> Setup {
    let mut setup = Setup::default();
    setup.vehicle.width_m = Some(0.18);
    setup.obstacle = Some(Obstacle {
        at: ObstacleAt::Fraction(0.45),
        right_m: 0.1,
        diameter_m: 0.2,
        pass: Side::Left,
        touch_accept: 0.02,
    });
    setup.lane = Some(Lane { half_width_m: 0.36 });
    setup
}

fn known(sessions: usize, setup: &Setup) -> Calibration {
    let mut truth = Truth::default();
    truth.season.sessions = sessions;
    let season = simulate::season(&truth, 3).season;
    fit::fit(&season, setup, Level::default(), Options::default()).expect("a fit")
}

/// Every season, target and setting: on target, and half a turn too far.
fn each(mut check: impl FnMut(String, &Situation, &Prediction)) {
    let setup = setup();
    for sessions in [2, 6] {
        let known = known(sessions, &setup);
        let situation = Situation::new(&known, &Choice::default()).expect("one rig");
        for target_m in TARGETS_M {
            let (turns, aim_right_m) = plain_setting(&situation, target_m).expect("turns");
            for more in [0.0, 0.5] {
                let hand = Hand {
                    target_m,
                    turns: turns + more,
                    aim_right_m,
                };
                let name = format!("{sessions} sessions, {target_m} m, {more} turns more");
                check(name, &situation, &Prediction::new(&situation, hand));
            }
        }
    }
}

/// Equally likely runs.
fn paths(prediction: &Prediction) -> Vec<Path> {
    let score = |i: usize| normal_quantile((i as f64 + 0.5) / ACROSS as f64);
    let pairs = (0..ACROSS).flat_map(|i| (0..ACROSS).map(move |j| (score(i), score(j))));
    pairs
        .map(|(along, across)| prediction.path(along, across, 0.0, 0.0))
        .collect()
}

fn share(paths: &[Path], of: impl Fn(&Path) -> bool) -> f64 {
    paths.iter().filter(|path| of(path)).count() as f64 / paths.len() as f64
}

fn quantile(paths: &[Path], p: f64, of: impl Fn(&Path) -> f64) -> f64 {
    let mut all: Vec<f64> = paths.iter().map(of).collect();
    all.sort_by(f64::total_cmp);
    all[(p * all.len() as f64) as usize]
}

#[test]
fn along_and_across_are_those_of_the_runs() {
    let mut check = Check::new("long and right");
    let level = Level::default();
    each(|name, _, prediction| {
        let (paths, target_m) = (paths(prediction), prediction.hand().target_m);
        let (long, right) = (
            prediction.long_m(level),
            prediction.right_m(level).expect("across"),
        );
        for (end, p, long, right) in [
            ("low", 0.025, long.low, right.low),
            ("middle", 0.5, long.estimate, right.estimate),
            ("high", 0.975, long.high, right.high),
        ] {
            let runs_long = quantile(&paths, p, |path| path.rest.0 - target_m);
            check.absolute(format!("{name}: long, {end}"), long, runs_long, LONG_M);
            let runs_right = quantile(&paths, p, |path| path.rest.1);
            check.absolute(format!("{name}: right, {end}"), right, runs_right, RIGHT_M);
        }
    });
    check.finish();
}

#[test]
fn the_miss_is_that_of_the_runs() {
    let mut check = Check::new("miss");
    each(|name, _, prediction| {
        let (paths, target_m) = (paths(prediction), prediction.hand().target_m);
        for within_m in [0.05, 0.15, 0.4] {
            let chance = prediction
                .chance_within(within_m, Measure::Point)
                .expect("across");
            let runs = share(&paths, |path| {
                (path.rest.0 - target_m).hypot(path.rest.1) <= within_m
            });
            check.absolute(format!("{name}: within {within_m} m"), chance, runs, CHANCE);
        }
    });
    check.finish();
}

#[test]
fn touching_and_leaving_are_those_of_the_runs() {
    let mut check = Check::new("obstacle and lane");
    let setup = setup();
    let free_m = 0.36 - 0.09;
    each(|name, situation, prediction| {
        let curvature = situation.curvature_per_m();
        let place = Placed::new(&setup, prediction.hand().target_m, curvature).expect("a can");
        let clearance = prediction.clearance().expect("a can and a lane");
        let paths = paths(prediction);
        let touch = share(&paths, |path| {
            place.gap_m(path.start_heading, path.arc_m).0 <= 0.0
        });
        check.absolute(
            format!("{name}: touch"),
            clearance.touch_chance().expect("a can"),
            touch,
            TOUCH,
        );
        let leave = share(&paths, |path| {
            let (right, left) = widest(path.start_heading, curvature, path.arc_m);
            right.max(left) > free_m
        });
        check.absolute(
            format!("{name}: leave"),
            clearance.leave_chance.expect("a lane"),
            leave,
            LEAVE,
        );
        let gap = clearance.gap_m(Level::default()).expect("a can");
        for (p, got) in [(0.025, gap.low), (0.5, gap.estimate), (0.975, gap.high)] {
            let runs = quantile(&paths, p, |path| {
                place.gap_m(path.start_heading, path.arc_m).0
            });
            check.absolute(format!("{name}: gap at {p}"), got, runs, GAP_M);
        }
    });
    check.finish();
}

const LONG_M: f64 = 0.0;
const RIGHT_M: f64 = 0.0;
const CHANCE: f64 = 0.0;
const TOUCH: f64 = 0.0;
const LEAVE: f64 = 0.0;
const GAP_M: f64 = 0.0;
