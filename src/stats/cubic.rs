//! The cubic through two points with a slope at each (Hermite).

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

#[cfg(test)]
mod tests {
    use super::*;

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
