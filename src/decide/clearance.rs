//! Past the obstacle and inside the lane: gap, chance of a touch, chance of leaving the lane.
//!
//! The path starts with heading α + δ (and all heading noise put there) and turns with κ̂. At the obstacle its chord
//! heading is α + δ + κs_o/2 + noise, the heading model's own prediction at the arc s_o of closest approach.
//! `model.md` §7.

use super::situation::Situation;
use crate::calibration::heading::passing;
use crate::geometry;
use crate::predict::Prediction;
use crate::predict::tabulated::TabulatedQuantiles;
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Start headings looked at, rad either way.
const HEADING_MAX: f64 = 1.2;

/// A touch or leaving the lane is warned of from this chance on where the set-up has no obstacle to say otherwise.
const LEAVE_ACCEPT: f64 = 0.02;

/// The chance of a touch, and of leaving the lane, from which on a setting is warned of.
pub fn accepted_chance(setup: &Setup) -> f64 {
    (setup.obstacle.as_ref()).map_or(LEAVE_ACCEPT, |o| o.touch_accept)
}

/// What is known of one run's way past the obstacle and along the lane.
#[derive(Debug, Clone)]
pub struct Clearance {
    /// The obstacle as this target places it; `None` without one.
    gap: Option<ObstacleGap>,
    /// Chance that some part of the vehicle leaves the lane; `None` without a lane.
    pub leave_chance: Option<f64>,
}

#[derive(Debug, Clone)]
struct ObstacleGap {
    place: PlacedObstacle,
    /// Chord heading at closest approach.
    heading: TabulatedQuantiles,
    /// What must be taken off it to get the start heading.
    turned: f64,
    arc_m: f64,
    touch_chance: f64,
}

/// An obstacle at its place for one target.
#[derive(Debug, Clone, Copy)]
pub struct PlacedObstacle {
    passing: geometry::Passing,
    curvature_per_m: f64,
}

impl PlacedObstacle {
    /// Places the set-up's obstacle for a target and a trim's curvature; `None` without an obstacle.
    pub fn new(setup: &Setup, target_m: f64, curvature_per_m: f64) -> Option<Self> {
        Some(PlacedObstacle {
            passing: passing(setup, target_m)?,
            curvature_per_m,
        })
    }

    /// Gap between vehicle and obstacle for a start heading and an arc to rest, m, with the arc of closest approach;
    /// see [`geometry::Passing::gap_m`].
    pub fn gap_m(&self, start_heading: f64, arc_m: f64) -> (f64, f64) {
        self.passing
            .gap_m(start_heading, self.curvature_per_m, arc_m)
    }

    /// The start heading at which the gap closes, if there is one; on the obstacle's side of it the vehicle touches.
    pub fn closing_heading(&self, arc_m: f64) -> Option<f64> {
        let gap = |h: f64| self.gap_m(h, arc_m).0;
        optimise::root(gap, -HEADING_MAX, HEADING_MAX, 1e-9).ok()
    }

    /// Chance of a touch where `upto(h)` is the chance of a start heading of at most h.
    pub fn touch_chance(&self, arc_m: f64, upto: impl Fn(f64) -> f64) -> f64 {
        match self.closing_heading(arc_m) {
            // An obstacle to the right of the path is met by heading more to the right.
            Some(h) if self.passing.side() > 0.0 => 1.0 - upto(h),
            Some(h) => upto(h),
            None if self.gap_m(0.0, arc_m).0 > 0.0 => 0.0,
            None => 1.0,
        }
    }
}

fn half_width_m(setup: &Setup) -> f64 {
    setup.vehicle.width_m.unwrap_or(0.0) / 2.0
}

/// Clearance of the next run of a situation; `None` with nothing in the way, or nothing known across.
///
/// * `prediction` — where that run may come to rest
pub fn of_next_run(situation: &Situation, prediction: &Prediction) -> Option<Clearance> {
    let setup = situation.setup;
    if setup.obstacle.is_none() && setup.lane.is_none() {
        return None;
    }
    let (known, trim, today) = situation.known_heading()?;
    let (hand, arc_m) = (prediction.hand(), prediction.arc_mean_m());
    let target_m = hand.target_m;
    let alpha = geometry::aim_heading(target_m, hand.aim_right_m);
    let curvature = situation.curvature_per_m();
    let start_mean = alpha + today.mean(&known.row(trim, 0.0));
    let gap = PlacedObstacle::new(setup, target_m, curvature).map(|place| {
        let (_, along) = place.gap_m(start_mean, arc_m);
        let excess = today.next_distribution(&known.row(trim, along));
        let heading = TabulatedQuantiles::from_mixture(&excess, alpha);
        let turned = curvature * along / 2.0;
        let touch_chance = place.touch_chance(arc_m, |h| heading.cdf(h + turned));
        ObstacleGap {
            place,
            heading,
            turned,
            arc_m,
            touch_chance,
        }
    });
    Some(Clearance {
        gap,
        leave_chance: leave_chance_of(setup, prediction, (0.0, 0.0)),
    })
}

/// Chance that a run leaves the lane; `None` without a lane, or nothing known across.
///
/// * `farther_m`, `turned` — how much longer, m, and more to the right, rad, the run is made to go than was predicted
pub fn leave_chance_of(
    setup: &Setup,
    prediction: &Prediction,
    (farther_m, turned): (f64, f64),
) -> Option<f64> {
    let lane = setup.lane.as_ref()?;
    let direction = prediction.direction()?;
    let (curvature, arc_m) = (prediction.curvature_per_m(), prediction.arc_mean_m());
    let free = lane.half_width_m - half_width_m(setup);
    // From start headings, which are those of any arc, to directions at the mean arc.
    let by = curvature * arc_m / 2.0 - turned;
    let upto = |h: f64| direction.cdf(h + by);
    Some(leave_chance(free, curvature, arc_m + farther_m, upto))
}

/// Chance of leaving a lane with `free_m` on either side of the vehicle's middle.
pub fn leave_chance(
    free_m: f64,
    curvature_per_m: f64,
    arc_m: f64,
    upto: impl Fn(f64) -> f64,
) -> f64 {
    if free_m <= 0.0 {
        return 1.0;
    }
    // Out to the left is out to the right in a mirror.
    let right = 1.0 - upto(heading_reaching(free_m, curvature_per_m, arc_m));
    let left = upto(-heading_reaching(free_m, -curvature_per_m, arc_m));
    (right + left).min(1.0)
}

/// The start heading from which on a path reaches `free_m` (above 0) to the right of the line; infinite where none does.
///
/// Either at its end, chord·sin(h + κs/2), or, bending back to the left, where it runs parallel to the line,
/// (1 − cos h)/|κ|, if it gets that far: solved for the heading.
fn heading_reaching(free_m: f64, curvature_per_m: f64, arc_m: f64) -> f64 {
    let chord = geometry::chord_of_arc(arc_m, curvature_per_m);
    let at_end = if free_m < chord {
        (free_m / chord).asin() - curvature_per_m * arc_m / 2.0
    } else {
        f64::INFINITY
    };
    if curvature_per_m < 0.0 {
        let parallel = (1.0 + free_m * curvature_per_m).clamp(-1.0, 1.0).acos();
        if 1.0 + free_m * curvature_per_m >= -1.0 && -parallel / curvature_per_m < arc_m {
            return at_end.min(parallel);
        }
    }
    at_end
}

impl Clearance {
    /// Gap to the obstacle, m: central interval.
    pub fn gap_m(&self, level: Level) -> Option<Interval> {
        let passing = self.gap.as_ref()?;
        let gap = |p: f64| {
            passing
                .place
                .gap_m(passing.heading.quantile(p) - passing.turned, passing.arc_m)
                .0
        };
        let tail = level.lower_tail();
        let (a, b) = (gap(tail), gap(1.0 - tail));
        // Near the start mark a path can pass an obstacle on either side, and the gap is least in between.
        Some(Interval::holding(gap(0.5), a.min(b), a.max(b)))
    }

    /// Chance of a touch.
    pub fn touch_chance(&self) -> Option<f64> {
        self.gap.as_ref().map(|p| p.touch_chance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::Choice;
    use crate::decide::predict::{Hand, next_run};
    use crate::setup::Lane;

    /// The largest distance right and left of the line that a path reaches, as `(right_m, left_m)`, both ≥ 0.
    fn widest(heading: f64, curvature_per_m: f64, arc_m: f64) -> (f64, f64) {
        let (_, end) = geometry::arc_end(arc_m, heading, curvature_per_m);
        let mut right = end.max(0.0);
        let mut left = (-end).max(0.0);
        // The path runs parallel to the line where heading + κ·s = 0.
        if curvature_per_m != 0.0 {
            let turning = -heading / curvature_per_m;
            if turning > 0.0 && turning < arc_m {
                let (_, y) = geometry::arc_end(turning, heading, curvature_per_m);
                right = right.max(y);
                left = left.max(-y);
            }
        }
        (right, left)
    }

    #[test]
    fn a_bowed_path_is_widest_where_it_runs_along_the_line() {
        let (right, left) = widest(-0.1, 0.025, 8.0);
        assert!(right < 1e-12);
        // Half-chord bow of a circle of radius 40 whose chord lies on the line: R(1 − cos 0.1).
        assert!((left - 40.0 * (1.0 - 0.1f64.cos())).abs() < 1e-12);
    }

    /// What is free of a lane is what the vehicle leaves of it to either side.
    #[test]
    fn a_wider_vehicle_needs_a_lane_as_much_wider() {
        let mut calibration = crate::calibration::file::example();
        let mut leaves = |half_width_m: f64, width_m: f64| {
            calibration.setup.lane = Some(Lane { half_width_m });
            calibration.setup.vehicle.width_m = Some(width_m);
            let choice = Choice::of_rig("narrow");
            let situation = Situation::new(&calibration, &choice).unwrap();
            let hand = Hand {
                target_m: 8.35,
                turns: 34.0,
                aim_right_m: -0.2,
            };
            let clearance = of_next_run(&situation, &next_run(&situation, hand)).unwrap();
            clearance.leave_chance.unwrap()
        };
        let narrow = leaves(0.4, 0.0);
        assert!((leaves(0.49, 0.18) - narrow).abs() < 1e-12);
        assert!(leaves(0.4, 0.18) > narrow + 0.01, "{narrow}");
    }

    /// From the heading on that is given, and no sooner, the path is as wide as its own points say.
    #[test]
    fn the_lane_is_left_from_the_heading_on_that_is_given() {
        for curvature in [-0.2, -0.05, -0.001, 0.0, 0.03, 0.15] {
            for arc in [5.0, 9.5] {
                for free in [0.2, 0.9, 1.7] {
                    let heading = heading_reaching(free, curvature, arc);
                    let right = |h: f64| widest(h, curvature, arc).0;
                    assert!(heading.is_finite());
                    assert!(
                        (right(heading) - free).abs() < 1e-9,
                        "{curvature} {arc} {free}: {} at {heading}",
                        right(heading)
                    );
                    assert!(right(heading - 1e-3) < free && right(heading + 1e-3) > free);
                }
            }
        }
        assert_eq!(heading_reaching(6.0, 0.0, 5.0), f64::INFINITY);
        let normal = crate::stats::distributions::normal_cdf;
        assert_eq!(leave_chance(20.0, 0.1, 8.0, normal), 0.0);
        // Nothing rolls backwards out of a lane.
        assert_eq!(leave_chance(0.2, 0.1, -0.3, normal), 0.0);
        assert_eq!(leave_chance(-0.1, 0.1, 8.0, normal), 1.0);
    }
}
