//! Plane geometry of a run: arc, chord, heading, aim and clearance. Pure functions of numbers.
//!
//! Axes: x ahead from the start mark to the target, y to the right. Lengths in m, angles in rad, right positive,
//! curvature in 1/m, right positive. A vehicle with fixed steering rolls a circular arc; all formulas are smooth
//! through zero curvature, so that a fit may pass through it. Source: `model.md` §1 (tangent–chord angle); checked
//! against closed forms at 50 digits in `tests/reference/geometry.rs`.

use crate::setup::PassSide;

/// Below this |κ·length/2| the quotient series are used; their first term left out is under 1e-17 there.
const SERIES_BELOW: f64 = 1e-2;

/// sin(h)/h, smooth through 0.
fn sinc(h: f64) -> f64 {
    if h.abs() < SERIES_BELOW {
        let q = h * h;
        1.0 - q / 6.0 * (1.0 - q / 20.0 * (1.0 - q / 42.0 * (1.0 - q / 72.0)))
    } else {
        h.sin() / h
    }
}

/// asin(h)/h, smooth through 0.
fn asinc(h: f64) -> f64 {
    if h.abs() < SERIES_BELOW {
        let q = h * h;
        1.0 + q * (1.0 / 6.0 + q * (3.0 / 40.0 + q * (15.0 / 336.0 + q * (105.0 / 3456.0))))
    } else {
        h.asin() / h
    }
}

/// Straight distance between the ends of an arc of length `arc_m`.
pub fn chord_of_arc(arc_m: f64, curvature_per_m: f64) -> f64 {
    arc_m * sinc(curvature_per_m * arc_m / 2.0)
}

/// Length of the arc over a chord, shorter than half a circle; NaN where no circle of that curvature spans it
/// (|κ|·chord > 2).
pub fn arc_of_chord(chord_m: f64, curvature_per_m: f64) -> f64 {
    chord_m * asinc(curvature_per_m * chord_m / 2.0)
}

/// Where a steadily curving run ends, as `(ahead_m, right_m)` from the start mark.
///
/// * `arc_m` — length of the path itself, ≥ 0
/// * `heading` — direction at the start
/// * `curvature_per_m` — how fast it turns; zero is a straight line
pub fn arc_end(arc_m: f64, heading: f64, curvature_per_m: f64) -> (f64, f64) {
    let chord = chord_of_arc(arc_m, curvature_per_m);
    let direction = heading + curvature_per_m * arc_m / 2.0;
    (chord * direction.cos(), chord * direction.sin())
}

/// Straight distance and direction of a point `(ahead_m, right_m)` from the start mark.
pub fn chord_and_heading(ahead_m: f64, right_m: f64) -> (f64, f64) {
    (ahead_m.hypot(right_m), right_m.atan2(ahead_m))
}

/// Direction of an aim mark that stands at the target's distance, `aim_right_m` to the right of it.
pub fn aim_heading(target_m: f64, aim_right_m: f64) -> f64 {
    aim_right_m.atan2(target_m)
}

/// The aim mark's offset at the target's distance for a direction: the inverse of [`aim_heading`].
pub fn aim_offset(target_m: f64, heading: f64) -> f64 {
    target_m * heading.tan()
}

/// How far a point lies to the right of a path, and how far along the path the nearest point is.
///
/// * `heading`, `curvature_per_m` — the path from the start mark
/// * `arc_m` — where the path ends; beyond either end the distance to that end is taken, with the sign kept
/// * returns `(to_the_right_m, along_m)`, `along_m` within `0..=arc_m`
pub fn offset_from_path(
    point: (f64, f64),
    heading: f64,
    curvature_per_m: f64,
    arc_m: f64,
) -> (f64, f64) {
    let (sin, cos) = heading.sin_cos();
    // The point in the frame of the start heading.
    let u = point.0 * cos + point.1 * sin;
    let v = -point.0 * sin + point.1 * cos;
    let k = curvature_per_m;
    let square = u * u + v * v;
    // (1 − R)/κ with R = κ · distance to the circle's centre, multiplied out so that κ → 0 is harmless.
    let root = (1.0 - 2.0 * k * v + k * k * square).max(0.0).sqrt();
    let right = (2.0 * v - k * square) / (1.0 + root);
    let angle = (k * u).atan2(1.0 - k * v);
    let along = if k.abs() < 1e-9 {
        u / (1.0 - k * v)
    } else {
        angle / k
    };
    if along >= 0.0 && along <= arc_m {
        return (right, along);
    }
    // A mean arc may be below 0 where too few turns are wound on; nothing rolls backwards.
    let along = along.clamp(0.0, arc_m.max(0.0));
    let end = arc_end(along, heading, k);
    let distance = (point.0 - end.0).hypot(point.1 - end.1);
    (distance.copysign(right), along)
}

/// A round obstacle, and how much room the vehicle takes to get by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passing {
    /// The obstacle's centre, as `(ahead_m, right_m)` from the start mark.
    pub centre_m: (f64, f64),
    /// The obstacle's radius and half the vehicle's width together.
    pub reach_m: f64,
    /// The side of the obstacle that the vehicle must go by.
    pub pass: PassSide,
}

impl Passing {
    /// Free room between vehicle and obstacle at closest approach before rest, and the arc at which that is.
    ///
    /// * `heading`, `curvature_per_m`, `arc_m` — the path of the vehicle's middle from the start mark to rest
    /// * returns `(gap_m, along_m)`; a gap of 0 or less is a touch, and the wrong side is always negative
    ///
    /// Source: `model.md` §7.
    pub fn gap_m(&self, heading: f64, curvature_per_m: f64, arc_m: f64) -> (f64, f64) {
        let (centre_to_the_right_m, along_m) =
            offset_from_path(self.centre_m, heading, curvature_per_m, arc_m);
        let gap_m = self.side() * centre_to_the_right_m - self.reach_m;
        (gap_m, along_m)
    }

    /// +1 where the path must have the obstacle on its right (to pass it on the left), −1 on its left.
    pub fn side(&self) -> f64 {
        match self.pass {
            PassSide::Left => 1.0,
            PassSide::Right => -1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smooth_through_straight() {
        let mut last = arc_end(8.0, 0.1, -2e-3);
        for i in -199..200 {
            let next = arc_end(8.0, 0.1, f64::from(i) * 1e-5);
            assert!((next.0 - last.0).abs() < 5e-4 && (next.1 - last.1).abs() < 5e-4);
            last = next;
        }
        let (below, above) = (SERIES_BELOW - 1e-9, SERIES_BELOW + 1e-9);
        assert!((sinc(below) - sinc(above)).abs() < 1e-10);
        assert!((asinc(below) - asinc(above)).abs() < 1e-10);
    }

    #[test]
    fn a_quarter_circle_to_the_right() {
        let radius = 4.0;
        let (ahead, right) = arc_end(radius * std::f64::consts::FRAC_PI_2, 0.0, 1.0 / radius);
        assert!((ahead - 4.0).abs() < 1e-12 && (right - 4.0).abs() < 1e-12);
    }

    #[test]
    fn a_point_right_of_a_straight_path_is_right() {
        let (right, along) = offset_from_path((3.0, 0.5), 0.0, 0.0, 8.0);
        assert!((right - 0.5).abs() < 1e-12 && (along - 3.0).abs() < 1e-12);
    }

    /// The line from the start mark through (4, 3), 5 m away: 1 m to its right there is (4 − 3/5, 3 + 4/5).
    #[test]
    fn a_path_that_heads_to_a_side_has_its_own_right() {
        let (right, along) = offset_from_path((3.4, 3.8), 3f64.atan2(4.0), 0.0, 8.0);
        assert!((right - 1.0).abs() < 1e-12 && (along - 5.0).abs() < 1e-12);
    }

    #[test]
    fn a_point_beyond_rest_is_measured_to_the_rest_point() {
        let (right, along) = offset_from_path((11.0, -4.0), 0.0, 0.0, 8.0);
        assert!((right + 5.0).abs() < 1e-12 && (along - 8.0).abs() < 1e-12);
    }

    #[test]
    fn distance_to_a_curved_path_is_distance_to_its_circle() {
        // Circle of radius 5 about (0, 5): the point (3, 1) is 5 from the centre, so on the path.
        let (right, along) = offset_from_path((3.0, 1.0), 0.0, 0.2, 10.0);
        assert!(right.abs() < 1e-12);
        assert!((along - 5.0 * (0.6f64).asin()).abs() < 1e-12);
    }

    #[test]
    fn passing_left_needs_the_obstacle_on_the_right() {
        let mut post = Passing {
            centre_m: (4.0, 0.5),
            reach_m: 0.2,
            pass: PassSide::Left,
        };
        assert!((post.gap_m(0.0, 0.0, 8.0).0 - 0.3).abs() < 1e-12);
        post.pass = PassSide::Right;
        assert!((post.gap_m(0.0, 0.0, 8.0).0 + 0.7).abs() < 1e-12);
        post.centre_m = (4.0, -0.5);
        assert!((post.gap_m(0.0, 0.0, 8.0).0 - 0.3).abs() < 1e-12);
    }

    #[test]
    fn a_run_that_stops_before_the_obstacle_is_measured_from_where_it_stops() {
        let post = Passing {
            centre_m: (7.0, 4.0),
            reach_m: 0.5,
            pass: PassSide::Left,
        };
        // 3 ahead and 4 to the right of rest: 5 away.
        assert!((post.gap_m(0.0, 0.0, 4.0).0 - 4.5).abs() < 1e-12);
    }

    /// Bow of a circle of radius R over half its chord: R − √(R² − (T/2)²), to the left here; the obstacle stands on
    /// the line.
    #[test]
    fn a_bowed_path_clears_an_obstacle_on_the_line_by_its_bow() {
        let (radius, target): (f64, f64) = (20.0, 8.0);
        let post = Passing {
            centre_m: (target / 2.0, 0.0),
            reach_m: 0.25,
            pass: PassSide::Left,
        };
        let arc = arc_of_chord(target, 1.0 / radius);
        let bow = radius - (radius * radius - target * target / 4.0).sqrt();
        let (gap, along) = post.gap_m(-arc / radius / 2.0, 1.0 / radius, arc);
        assert!((along - arc / 2.0).abs() < 1e-12);
        assert!((gap - (bow - 0.25)).abs() < 1e-12);
    }
}
