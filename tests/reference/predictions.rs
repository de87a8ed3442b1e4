//! What a prediction takes at the mean arc or the median direction, against a dense set of runs drawn from its own two
//! distributions and carried through the geometry one by one.

use crate::read::Check;
use haltmark::calibration::Calibration;
use haltmark::calibration::fit::{self, Options};
use haltmark::decide::clearance::{PlacedObstacle, of_next_run};
use haltmark::decide::dial::plain_setting;
use haltmark::decide::predict::{Hand, Path, Prediction, next_run};
use haltmark::decide::{Choice, Situation};
use haltmark::geometry::arc_end;
use haltmark::setup::{Lane, Measure, Obstacle, ObstacleAt, PassSide, Setup};
use haltmark::simulate::{self, Truth};
use haltmark::stats::distributions::normal_quantile;
use haltmark::stats::interval::Level;

/// Values of the direction that decides and of the other one, which moves it little; for a miss of both.
const MANY: usize = 4001;
const FEW: usize = 41;
const BOTH: usize = 1001;
const TARGETS_M: [f64; 3] = [5.5, 7.5, 9.5];
const WIDTH_M: f64 = 0.18;
const LANE_M: f64 = 0.36;

/// Sizes that `src/model.md`, section 11, gives; a tenth of a millimetre or a few parts in ten thousand are this test's own
/// grid.
const LONG_M: f64 = 1e-3;
const RIGHT_M: f64 = 2e-3;
const CHANCE: f64 = 1e-3;
const GAP_M: f64 = 1e-4;
const LEAVE: f64 = 3e-4;
const TOUCH: f64 = 0.03;

fn setup() -> Setup {
    let mut setup = Setup::default();
    setup.vehicle.width_m = Some(WIDTH_M);
    setup.obstacle = Some(Obstacle {
        at: ObstacleAt::Fraction(0.45),
        right_m: 0.1,
        diameter_m: 0.2,
        pass: PassSide::Left,
        touch_accept: 0.02,
    });
    setup.lane = Some(Lane {
        half_width_m: LANE_M,
    });
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
                check(name, &situation, &next_run(&situation, hand));
            }
        }
    }
}

/// Equally likely runs, so many arcs with so many directions each.
fn paths(prediction: &Prediction, arcs: usize, directions: usize) -> Vec<Path> {
    let score = |i: usize, of: usize| normal_quantile((i as f64 + 0.5) / of as f64);
    let pairs = (0..arcs).flat_map(|i| (0..directions).map(move |j| (i, j)));
    pairs
        .map(|(i, j)| prediction.path(score(i, arcs), score(j, directions), 0.0, 0.0))
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

/// Farthest that a path gets from the line: at its end, or where it runs along the line.
fn widest_m(path: &Path, curvature: f64) -> f64 {
    let aside = |arc_m: f64| arc_end(arc_m, path.start_heading, curvature).1.abs();
    let parallel = -path.start_heading / curvature;
    let on_the_way = (parallel > 0.0 && parallel < path.arc_m).then(|| aside(parallel));
    aside(path.arc_m).max(on_the_way.unwrap_or(0.0))
}

#[test]
fn along_and_across_are_those_of_the_runs() {
    let mut check = Check::new("long and right");
    let level = Level::default();
    each(|name, _, prediction| {
        let target_m = prediction.hand().target_m;
        let by_arc = paths(prediction, MANY, FEW);
        let by_direction = paths(prediction, FEW, MANY);
        let (long, right) = (
            prediction.long_m(level),
            prediction.right_m(level).expect("across"),
        );
        for (end, p, long, right) in [
            ("low", 0.025, long.low, right.low),
            ("middle", 0.5, long.estimate, right.estimate),
            ("high", 0.975, long.high, right.high),
        ] {
            let runs_long = quantile(&by_arc, p, |path| path.rest.0 - target_m);
            check.absolute(format!("{name}: long, {end}"), long, runs_long, LONG_M);
            let runs_right = quantile(&by_direction, p, |path| path.rest.1);
            check.absolute(format!("{name}: right, {end}"), right, runs_right, RIGHT_M);
        }
    });
    check.finish();
}

#[test]
fn the_miss_is_that_of_the_runs() {
    let mut check = Check::new("miss");
    each(|name, _, prediction| {
        let target_m = prediction.hand().target_m;
        let paths = paths(prediction, BOTH, BOTH);
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

/// The gap's middle, and the chance of leaving the lane. The chance of a touch is compared with that of runs whose curve is
/// taken as known, as the expected score takes it: the program's own carries what is not known of the curve, and is farther
/// from 0 and 1.
#[test]
fn passing_the_obstacle_is_that_of_the_runs() {
    let mut check = Check::new("obstacle and lane");
    let setup = setup();
    let free_m = LANE_M - 0.5 * WIDTH_M;
    each(|name, situation, prediction| {
        let curvature = situation.curvature_per_m();
        let place =
            PlacedObstacle::new(&setup, prediction.hand().target_m, curvature).expect("a can");
        let clearance = of_next_run(situation, prediction).expect("a can and a lane");
        let paths = paths(prediction, FEW, MANY);
        let gap_m = |path: &Path| place.gap_m(path.start_heading, path.arc_m).0;
        let gap = clearance.gap_m(Level::default()).expect("a can").estimate;
        check.absolute(
            format!("{name}: gap"),
            gap,
            quantile(&paths, 0.5, gap_m),
            GAP_M,
        );
        let leave = share(&paths, |path| widest_m(path, curvature) > free_m);
        let chance = clearance.leave_chance.expect("a lane");
        check.absolute(format!("{name}: leave"), chance, leave, LEAVE);
        let touch = share(&paths, |path| gap_m(path) <= 0.0);
        let chance = clearance.touch_chance().expect("a can");
        check.absolute(format!("{name}: touch"), chance, touch, TOUCH);
        let nearer_a_half = (chance - 0.5).abs() <= (touch - 0.5).abs() + LEAVE;
        check.holds(format!("{name}: {chance} for {touch}"), nearer_a_half);
    });
    check.finish();
}
