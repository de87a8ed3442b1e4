//! Cubic Hermite interpolation: cubics through points with a slope at each.

/// Value and slope at `at` of the cubic through the points (x, y) with these slopes.
pub fn through(x: (f64, f64), y: (f64, f64), slope: (f64, f64), at: f64) -> (f64, f64) {
    let width = x.1 - x.0;
    let t = (at - x.0) / width;
    let rise = (y.1 - y.0) / width;
    let (c, d) = (
        3.0 * rise - 2.0 * slope.0 - slope.1,
        slope.0 + slope.1 - 2.0 * rise,
    );
    (
        y.0 + width * t * (slope.0 + t * (c + t * d)),
        slope.0 + t * (2.0 * c + 3.0 * t * d),
    )
}

/// Value at `at` of the piecewise cubic through at least one point (x, y), x rising, with the slope of each; beyond the
/// outermost points the straight line through them.
pub fn interpolated(x: &[f64], y: &[f64], slope: impl Fn(usize) -> f64, at: f64) -> f64 {
    let after = x.partition_point(|x| *x <= at);
    if after == 0 || after == x.len() {
        let end = after.saturating_sub(1);
        return y[end] + slope(end) * (at - x[end]);
    }
    let before = after - 1;
    let ends = (x[before], x[after]);
    let slopes = (slope(before), slope(after));
    through(ends, (y[before], y[after]), slopes, at).0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2 − x + 3x² − 5x³ through its points at −1, 0 and 2 (values 11, 2 and −28, slopes −22, −1 and −49, by hand), and
    /// its tangents beyond.
    #[test]
    fn pieces_of_a_cubic_are_the_cubic() {
        let slopes = [-22.0, -1.0, -49.0];
        let value = |at| interpolated(&[-1.0, 0.0, 2.0], &[11.0, 2.0, -28.0], |i| slopes[i], at);
        for at in [2.0, -0.4, 0.0, 1.9, -1.0, 1.3, 1.2] {
            let wanted = 2.0 - at + 3.0 * at * at - 5.0 * f64::powi(at, 3);
            assert!((value(at) - wanted).abs() < 1e-13, "{at}");
        }
        assert!((value(-3.0) - 55.0).abs() < 1e-13);
        assert!((value(4.0) + 126.0).abs() < 1e-13);
        assert_eq!(value(f64::INFINITY), f64::NEG_INFINITY);
    }

    /// 2 − x + 3x² − 5x³ at −1 and 2, by hand: 11 and −28, slopes −22 and −49.
    #[test]
    fn a_cubic_comes_out_as_itself() {
        for at in [-1.0, -0.4, 0.0, 1.3, 2.0] {
            let (value, slope) = through((-1.0, 2.0), (11.0, -28.0), (-22.0, -49.0), at);
            let wanted = 2.0 - at + 3.0 * at * at - 5.0 * at.powi(3);
            assert!((value - wanted).abs() < 1e-13, "{at}: {value} {wanted}");
            let wanted = -1.0 + 6.0 * at - 15.0 * at * at;
            assert!((slope - wanted).abs() < 1e-13, "{at}: {slope} {wanted}");
        }
    }
}
