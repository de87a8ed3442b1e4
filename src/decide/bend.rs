//! Which bend of the path clears the obstacle often enough at every target, and stays in the lane.

use super::clearance::{PlacedObstacle, leave_chance};
use super::situation::Situation;
use crate::calibration::EventRange;
use crate::geometry;
use crate::predict::tabulated::TabulatedQuantiles;
use crate::stats::mixed::Row;
use crate::stats::optimise;

/// |κ| looked at, over the longest target: nearly a half circle (the fit's own bound).
const BEND_MAX: f64 = 1.6;
/// Curvatures looked at before the ends are refined.
const GRID: usize = 48;
/// Ends are refined to this part of the largest curvature.
const REFINED_TO: f64 = 1e-6;
/// Targets looked at between the shortest and the longest.
const TARGETS: usize = 9;

/// The range of curvature κ, 1/m, that keeps the chance of a touch (and of leaving the lane) under what the set-up
/// accepts at every target, each aimed at perfectly; an infinite end is none within reach. `None` without an
/// obstacle, with nothing known across, or where no bend does it.
pub fn wanted(situation: &Situation, range: EventRange) -> Option<(f64, f64)> {
    let accept = situation.setup.obstacle.as_ref()?.touch_accept;
    let (known, _, _) = situation.known_heading()?;
    // Directions of a first run in a new session about a line that is known: no uncertainty of the line.
    let nothing = Row::of_mean_size(vec![0.0; known.posterior.columns()]);
    let about_line = known.posterior.new_group_distribution(&nothing);
    let spread = TabulatedQuantiles::from_mixture(&about_line, 0.0);
    let room = |curvature: f64| accept - largest_chance(situation, range, curvature, &spread);
    let limit = BEND_MAX / range.longest_m;
    let at = |i: usize| limit * (2.0 * i as f64 / GRID as f64 - 1.0);
    let good = |i: usize| room(at(i)) >= 0.0;
    // They lie side by side: more bend touches less and leaves more (so for 1,500 obstacles and lanes drawn at random).
    let first = (0..=GRID).find(|&i| good(i))?;
    let last = (first..GRID).find(|&i| !good(i + 1)).unwrap_or(GRID);
    let end =
        |low: usize, high: usize| optimise::root(room, at(low), at(high), REFINED_TO * limit).ok();
    let low = match first {
        0 => f64::NEG_INFINITY,
        _ => end(first - 1, first)?,
    };
    let high = match last {
        GRID => f64::INFINITY,
        _ => end(last, last + 1)?,
    };
    Some((low, high))
}

/// The larger of the chances of a touch and of leaving the lane, at whichever target it is largest, for a curvature.
///
/// * `spread` — of directions about the aim
fn largest_chance(
    situation: &Situation,
    range: EventRange,
    curvature: f64,
    spread: &TabulatedQuantiles,
) -> f64 {
    let setup = situation.setup;
    let half_width = setup.vehicle.width_m.unwrap_or(0.0) / 2.0;
    let chances = (0..TARGETS).map(|k| {
        let share = k as f64 / (TARGETS - 1) as f64;
        let target = range.shortest_m + (range.longest_m - range.shortest_m) * share;
        let arc = geometry::arc_of_chord(target, curvature);
        let start = -curvature * arc / 2.0;
        let upto = |h: f64| spread.cdf(h - start);
        let touch =
            PlacedObstacle::new(setup, target, curvature).map(|o| o.touch_chance(arc, upto));
        let leave = setup
            .lane
            .as_ref()
            .map(|lane| leave_chance(lane.half_width_m - half_width, curvature, arc, upto));
        touch.into_iter().chain(leave).fold(0.0, f64::max)
    });
    chances.fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::file;
    use crate::decide::Choice;
    use crate::setup::PassSide;

    /// The obstacle on the other side wants the bend to the other side.
    #[test]
    fn a_mirrored_obstacle_wants_the_mirrored_bend() {
        let mut calibration = file::example();
        let choice = Choice::of_rig("narrow");
        let range = calibration.range().unwrap();
        let bends = |calibration: &_| {
            let situation = Situation::new(calibration, &choice).unwrap();
            wanted(&situation, range).unwrap()
        };
        let (low, high) = bends(&calibration);
        assert!(0.0 < low && low < high && high.is_finite());
        let obstacle = calibration.setup.obstacle.as_mut().unwrap();
        obstacle.right_m = -obstacle.right_m;
        obstacle.pass = match obstacle.pass {
            PassSide::Left => PassSide::Right,
            PassSide::Right => PassSide::Left,
        };
        let (other_low, other_high) = bends(&calibration);
        assert!((low + other_high).abs() < 1e-5, "{low} {other_high}");
        assert!((high + other_low).abs() < 1e-5, "{high} {other_low}");
    }
}
