//! Past the obstacle and inside the lane: gap, chance of a touch, chance of leaving the lane.
//!
//! The path starts with heading α + δ (and all heading noise put there) and turns with κ̂. At the obstacle its chord
//! heading is α + δ + κs_o/2 + noise, the heading model's own prediction at the arc s_o of closest approach.
//! `model.md` §7.

use super::predict::Hand;
use super::shape::Shape;
use super::situation::Situation;
use crate::calibration::heading::passing;
use crate::geometry;
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::optimise;

/// Start headings looked at, rad either way.
const HEADING_MAX: f64 = 1.2;

/// What is known of one run's way past the obstacle and along the lane.
#[derive(Debug, Clone)]
pub struct Clearance {
    /// The obstacle as this target places it; `None` without one.
    gap: Option<Passing>,
    /// Chance that some part of the vehicle leaves the lane; `None` without a lane.
    pub leave_chance: Option<f64>,
}

#[derive(Debug, Clone)]
struct Passing {
    place: Placed,
    /// Chord heading at closest approach.
    heading: Shape,
    /// What must be taken off it to get the start heading.
    turned: f64,
    arc_m: f64,
    touch_chance: f64,
}

/// An obstacle at its place for one target.
#[derive(Debug, Clone, Copy)]
pub struct Placed {
    passing: geometry::Passing,
    curvature_per_m: f64,
}

impl Placed {
    /// Places the set-up's obstacle for a target and a trim's curvature; `None` without an obstacle.
    pub fn new(setup: &Setup, target_m: f64, curvature_per_m: f64) -> Option<Self> {
        Some(Placed {
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

/// Clearance of the next run of a situation at a setting; `None` with nothing in the way, or nothing known across.
///
/// * `arc_m` — mean arc
/// * `direction` — chord heading at it, rad
pub fn of(situation: &Situation, hand: Hand, arc_m: f64, direction: &Shape) -> Option<Clearance> {
    let setup = situation.setup;
    if setup.obstacle.is_none() && setup.lane.is_none() {
        return None;
    }
    let (known, trim, today) = situation.known_heading()?;
    let alpha = geometry::aim_heading(hand.target_m, hand.aim_right_m);
    let curvature = situation.curvature_per_m();
    let start_mean = alpha + today.mean(&known.row(trim, 0.0));
    let gap = Placed::new(setup, hand.target_m, curvature).map(|place| {
        let (_, along) = place.gap_m(start_mean, arc_m);
        let heading = Shape::new(&today.next_distribution(&known.row(trim, along))).shifted(alpha);
        let turned = curvature * along / 2.0;
        let touch_chance = place.touch_chance(arc_m, |h| heading.cdf(h + turned));
        Passing {
            place,
            heading,
            turned,
            arc_m,
            touch_chance,
        }
    });
    let leave_chance = setup.lane.as_ref().map(|lane| {
        let turned = curvature * arc_m / 2.0;
        let free = lane.half_width_m - half_width_m(setup);
        leave_chance(free, curvature, arc_m, |h| direction.cdf(h + turned))
    });
    Some(Clearance { gap, leave_chance })
}

/// Chance of leaving a lane with `free_m` on either side of the vehicle's middle.
pub fn leave_chance(
    free_m: f64,
    curvature_per_m: f64,
    arc_m: f64,
    upto: impl Fn(f64) -> f64,
) -> f64 {
    let excess = |side: usize| {
        move |h: f64| {
            let wide = geometry::widest(h, curvature_per_m, arc_m);
            (if side == 0 { wide.0 } else { wide.1 }) - free_m
        }
    };
    let over = |side: usize| {
        let f = excess(side);
        if f(0.0).is_finite() && free_m <= 0.0 {
            return 1.0;
        }
        match optimise::root(f, -HEADING_MAX, HEADING_MAX, 1e-9) {
            Ok(h) if side == 0 => 1.0 - upto(h),
            Ok(h) => upto(h),
            Err(_) => 0.0, // the lane is wider than the path is long
        }
    };
    (over(0) + over(1)).min(1.0)
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
        Some(Interval {
            estimate: gap(0.5),
            low: a.min(b),
            high: a.max(b),
        })
    }

    /// Chance of a touch.
    pub fn touch_chance(&self) -> Option<f64> {
        self.gap.as_ref().map(|p| p.touch_chance)
    }
}
