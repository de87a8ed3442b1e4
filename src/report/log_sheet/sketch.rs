//! The floor from above, not to scale: start mark, target, which side is plus, and the obstacle where there is one.

use crate::setup::{ObstacleAt, PassSide, Setup};
use serde::Serialize;

/// Where the start mark and the target stand in the sketch, which is 160 wide with its line at 80.
const START_Y: f64 = 122.0;
const TARGET_Y: f64 = 30.0;
const LINE_X: f64 = 80.0;
/// How far from the line an obstacle is drawn, whatever the distance: clear of the line, and still on the sketch.
const ASIDE: f64 = 8.0;
/// How far beside the obstacle the path is drawn.
const CLEAR: f64 = 14.0;

/// The obstacle and the way round it.
#[derive(Serialize)]
pub(super) struct ObstacleSketch {
    x: f64,
    y: f64,
    /// `left` or `right`.
    pass: &'static str,
    /// Where the path bends most.
    bend_x: f64,
    /// Where its label starts or ends.
    label_x: f64,
    label_anchor: &'static str,
}

/// The set-up's obstacle as it is drawn; `None` without one.
pub(super) fn obstacle(setup: &Setup) -> Option<ObstacleSketch> {
    let obstacle = setup.obstacle.as_ref()?;
    let along = match obstacle.at {
        ObstacleAt::Fraction(part) => part,
        ObstacleAt::Distance(at_m) => {
            let longest_m = setup.event.longest_m.or(setup.event.shortest_m);
            longest_m.map_or(0.5, |target_m| at_m / target_m)
        }
    };
    let aside = if obstacle.right_m.abs() < 0.02 {
        0.0
    } else {
        ASIDE.copysign(obstacle.right_m)
    };
    let (pass, side) = match obstacle.pass {
        PassSide::Left => ("left", -1.0),
        PassSide::Right => ("right", 1.0),
    };
    let x = LINE_X + aside;
    // A quadratic curve goes half way to its middle point.
    let bend_x = LINE_X + 2.0 * (aside + side * CLEAR);
    Some(ObstacleSketch {
        x,
        y: START_Y - along.clamp(0.25, 0.7) * (START_Y - TARGET_Y),
        pass,
        bend_x,
        label_x: x - side * 9.0,
        label_anchor: if side < 0.0 { "start" } else { "end" },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The path of the sketch goes by the side that the set-up asks for, wherever the obstacle stands.
    #[test]
    fn the_path_goes_by_the_side_it_must() {
        for (right_m, pass, side) in [
            (0.2, PassSide::Left, -1.0),
            (0.0, PassSide::Left, -1.0),
            (-0.3, PassSide::Left, -1.0),
            (-0.3, PassSide::Right, 1.0),
        ] {
            let mut setup = Setup::default();
            setup.obstacle = Some(crate::setup::Obstacle {
                right_m,
                pass,
                ..obstacle_of_the_contract()
            });
            let drawn = obstacle(&setup).expect("an obstacle");
            let path_x = 0.5 * (LINE_X + drawn.bend_x);
            assert!(side * (path_x - drawn.x) > 7.0, "{right_m}");
            assert!((0.0..=160.0).contains(&path_x));
            assert!((TARGET_Y..START_Y).contains(&drawn.y));
        }
    }

    fn obstacle_of_the_contract() -> crate::setup::Obstacle {
        crate::setup::Obstacle {
            at: ObstacleAt::Distance(3.0),
            right_m: 0.28,
            diameter_m: 0.24,
            pass: PassSide::Left,
            touch_accept: 0.02,
        }
    }
}
