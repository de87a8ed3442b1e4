//! Where a run ends and how near it passes, written out from the arc itself.
//!
//! Axes: x ahead, y to the right, lengths in m, angles in rad, right positive. Nothing here is shared
//! with the room that reads a log backwards: agreement between the two is a check of both.

/// Where a run rests, as `(ahead_m, right_m)`.
///
/// * `arc_m` — length of the path
/// * `start` — direction of travel at the start mark
/// * `curvature_per_m` — how fast it turns
///
/// The mean over the path of the unit vector of travel, times its length:
/// ∫cos(start + κu)du = s·cos(start + κs/2)·sin(κs/2)/(κs/2), and the same with sin.
pub fn rest_point(arc_m: f64, start: f64, curvature_per_m: f64) -> (f64, f64) {
    let half_turned = curvature_per_m * arc_m / 2.0;
    let towards = start + half_turned;
    // sin(h)/h; below 1e-4 the third term, h^4/120, is under 1e-18.
    let shortened = if half_turned.abs() < 1e-4 {
        1.0 - half_turned * half_turned / 6.0
    } else {
        libm::sin(half_turned) / half_turned
    };
    let chord_m = arc_m * shortened;
    (chord_m * libm::cos(towards), chord_m * libm::sin(towards))
}

/// Length of the path between two points `chord_m` apart, by Newton's method on the chord of a path.
///
/// `None` where no arc up to half a circle reaches that far.
pub fn arc_reaching(chord_m: f64, curvature_per_m: f64) -> Option<f64> {
    let tightest = 2.0 / chord_m;
    if !(chord_m > 0.0 && curvature_per_m.abs() < tightest) {
        return None;
    }
    let mut arc_m = chord_m;
    for _ in 0..60 {
        let (x, y) = rest_point(arc_m, 0.0, curvature_per_m);
        let short_by = chord_m - libm::hypot(x, y);
        // d chord / d arc = cos(κs/2); from below, the concave chord never lets a step overshoot.
        let step = short_by / libm::cos(curvature_per_m * arc_m / 2.0);
        arc_m += step;
        if step.abs() <= 1e-14 * arc_m {
            break;
        }
    }
    arc_m.is_finite().then_some(arc_m)
}

/// Signed distance from the path to a point at the path's closest approach: positive where the point lies to the right
/// of the vehicle, which is where the vehicle passes left of it.
///
/// By search: 400 steps along the path, then the best step cut finer ten times by ten.
pub fn clearance(point_m: (f64, f64), arc_m: f64, start: f64, curvature_per_m: f64) -> f64 {
    let offset = |along_m: f64| {
        let (x, y) = rest_point(along_m, start, curvature_per_m);
        (point_m.0 - x, point_m.1 - y)
    };
    let distance = |along_m: f64| {
        let (dx, dy) = offset(along_m);
        libm::hypot(dx, dy)
    };
    let (mut low, mut high, mut parts) = (0.0, arc_m, 400);
    let mut best = 0.0;
    for _ in 0..11 {
        let step = (high - low) / f64::from(parts);
        let nearest = (0..=parts)
            .map(|i| low + step * f64::from(i))
            .min_by(|a, b| distance(*a).total_cmp(&distance(*b)));
        best = nearest.unwrap_or(best);
        (low, high) = ((best - step).max(0.0), (best + step).min(arc_m));
        parts = 20;
    }
    let towards = start + curvature_per_m * best;
    let (dx, dy) = offset(best);
    // Component of the offset across the direction of travel, right positive.
    let across = dy * libm::cos(towards) - dx * libm::sin(towards);
    distance(best).copysign(across)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, PI, SQRT_2};

    #[test]
    fn a_quarter_circle_to_the_right_ends_as_far_right_as_ahead() {
        // Radius 4 m: the arc is 4·π/2 and ends at (4, 4), going straight across.
        let (x, y) = rest_point(4.0 * FRAC_PI_2, 0.0, 0.25);
        assert!((x - 4.0).abs() < 1e-14 && (y - 4.0).abs() < 1e-14);
        // To the left: mirrored.
        let (x, y) = rest_point(4.0 * FRAC_PI_2, 0.0, -0.25);
        assert!((x - 4.0).abs() < 1e-14 && (y + 4.0).abs() < 1e-14);
    }

    #[test]
    fn a_half_circle_ends_a_diameter_to_the_side() {
        let (x, y) = rest_point(3.0 * PI, 0.0, 1.0 / 3.0);
        assert!(x.abs() < 1e-14 && (y - 6.0).abs() < 1e-14);
    }

    #[test]
    fn started_an_eighth_turn_left_a_quarter_circle_comes_back_to_the_line() {
        let (x, y) = rest_point(4.0 * FRAC_PI_2, -PI / 4.0, 0.25);
        assert!((x - 4.0 * SQRT_2).abs() < 1e-14 && y.abs() < 1e-14);
    }

    #[test]
    fn the_arc_over_a_chord_is_found_again() {
        for curvature in [-0.12, -1e-5, 0.0, 1e-9, 0.02, 0.15] {
            let (x, y) = rest_point(9.5, 0.3, curvature);
            let arc = arc_reaching(x.hypot(y), curvature).expect("an arc below half a circle");
            assert!((arc - 9.5).abs() < 1e-12, "{curvature}: {arc}");
        }
        assert_eq!(arc_reaching(5.0, 0.4), None);
        assert_eq!(arc_reaching(-1.0, 0.0), None);
    }

    #[test]
    fn passing_left_of_a_point_is_positive() {
        assert!((clearance((4.0, 0.3), 8.0, 0.0, 0.0) - 0.3).abs() < 1e-9);
        assert!((clearance((4.0, -0.3), 8.0, 0.0, 0.0) + 0.3).abs() < 1e-9);
        // Centre of the circle: a radius away all along.
        assert!((clearance((0.0, 5.0), 6.0, 0.0, 0.2) - 5.0).abs() < 1e-9);
        // Rest comes before the point: the distance to where it rests, 3-4-5.
        assert!((clearance((7.0, 4.0), 4.0, 0.0, 0.0) - 5.0).abs() < 1e-9);
    }
}
