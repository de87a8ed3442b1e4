//! Which bend of the path clears the obstacle often enough at every target, and stays in the lane.

use super::clearance::{Placed, leave_chance};
use super::shape::Shape;
use super::situation::Situation;
use crate::calibration::EventRange;
use crate::geometry;

/// |κ| looked at, over the longest target: nearly a half circle (the fit's own bound).
const BEND_MAX: f64 = 1.6;
/// Curvatures looked at before the ends are refined.
const GRID: usize = 48;
const REFINEMENTS: usize = 16;
/// Targets looked at between the shortest and the longest.
const TARGETS: usize = 9;

/// The range of curvature κ, 1/m, that keeps the chance of a touch (and of leaving the lane) under what the set-up
/// accepts at every target, each aimed at perfectly; an infinite end is none within reach. `None` without an
/// obstacle, with nothing known across, or where no bend does it.
pub fn wanted(situation: &Situation, range: EventRange) -> Option<(f64, f64)> {
    let setup = situation.setup;
    let obstacle = setup.obstacle.as_ref()?;
    let (known, _, _) = situation.known_heading()?;
    // Directions of a first run in a new session about a line that is known: no uncertainty of the line.
    let nothing = vec![0.0; known.posterior.columns()];
    let spread = Shape::new(&known.posterior.new_group_distribution(&nothing));
    let limit = BEND_MAX / range.longest_m;
    let half_width = setup.vehicle.width_m.unwrap_or(0.0) / 2.0;
    let good = |curvature: f64| {
        (0..TARGETS).all(|k| {
            let target = range.shortest_m
                + (range.longest_m - range.shortest_m) * k as f64 / (TARGETS - 1) as f64;
            let arc = geometry::arc_of_chord(target, curvature);
            let start = -curvature * arc / 2.0;
            let upto = |h: f64| spread.cdf(h - start);
            let touch = || {
                Placed::new(setup, target, curvature)
                    .map_or(0.0, |placed| placed.touch_chance(arc, upto))
            };
            let leave = || {
                setup.lane.as_ref().map_or(0.0, |lane| {
                    leave_chance(lane.half_width_m - half_width, curvature, arc, upto)
                })
            };
            touch() <= obstacle.touch_accept && leave() <= obstacle.touch_accept
        })
    };
    let at = |i: usize| limit * (2.0 * i as f64 / GRID as f64 - 1.0);
    let now = situation.curvature_per_m();
    // The connected range nearest to the trim's own bend.
    let mut nearest: Vec<usize> = (0..=GRID).collect();
    nearest.sort_by(|&a, &b| (at(a) - now).abs().total_cmp(&(at(b) - now).abs()));
    let seed = nearest.into_iter().find(|&i| good(at(i)))?;
    let mut first = seed;
    while first > 0 && good(at(first - 1)) {
        first -= 1;
    }
    let mut last = seed;
    while last < GRID && good(at(last + 1)) {
        last += 1;
    }
    let refine = |inside: f64, outside: f64| {
        let (mut inside, mut outside) = (inside, outside);
        for _ in 0..REFINEMENTS {
            let middle = 0.5 * (inside + outside);
            if good(middle) {
                inside = middle
            } else {
                outside = middle
            }
        }
        inside
    };
    let low = if first == 0 {
        f64::NEG_INFINITY
    } else {
        refine(at(first), at(first - 1))
    };
    let high = if last == GRID {
        f64::INFINITY
    } else {
        refine(at(last), at(last + 1))
    };
    Some((low, high))
}
